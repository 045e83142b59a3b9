"""What a construction's sheet shows, against the published table and the tables that scenes use."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from raycover.catalogue import load_catalogue
from raycover.kit.sheet_figures import TABLE_DEG, NoFigure, sheet_figures
from raycover.kit.sheet_words import facts, figure, notes, summary
from raycover.physics.slab import loss_db

CATALOGUE = load_catalogue()


def test_the_published_figures_of_glass() -> None:
    """6 mm glass, coherent: 3.20, 3.10, 2.77 dB at 5.8 GHz and 3.88, 3.43, 3.21 at 24.125, 0, 45, 60° [C from V]."""
    figures = sheet_figures(CATALOGUE, "glass-6")
    assert [band.frequency_ghz for band in figures.bands] == [5.8, 24.125]
    fine = figures.rows(fine=True)[[TABLE_DEG.index(a) for a in (0, 45, 60)]]
    for band, expected in zip(figures.bands, ((3.20, 3.10, 2.77), (3.88, 3.43, 3.21)), strict=True):
        assert band.coherent_db[fine] == pytest.approx(expected, abs=0.006)


@pytest.mark.parametrize("name", ["glass-6", "plasterboard-foil-12.5", "coated-glazing"])
def test_the_curves_are_what_scenes_reckon_with(name: str) -> None:
    figures, made = sheet_figures(CATALOGUE, name), CATALOGUE.constructions[name]
    cos = np.cos(np.radians(figures.fine_deg))
    for band in figures.bands:
        table = made.loss_table(band.frequency_ghz, "averaged")
        np.testing.assert_allclose(band.averaged_db, table.loss_db(cos), atol=0.02)
        mirrored = made.reflection_table(band.frequency_ghz, "averaged").power(cos)
        np.testing.assert_allclose(band.mirrored, mirrored, atol=1e-3)
        coarse = band.averaged_db[::2]
        assert ((band.low_db <= coarse + 0.02) & (coarse <= band.high_db + 0.02)).all()
        assert ((band.mirrored_low <= band.mirrored_high) & (band.mirrored_high <= 1)).all()


def test_frequencies_are_drawn_where_there_are_figures_only() -> None:
    """Brick's row ends at 40 GHz, floorboard's begins at 50 (ITU-R P.2040-3/4 rows [V])."""
    (brick,) = sheet_figures(CATALOGUE, "brick-100").stretches
    assert (brick.frequency_ghz[0], brick.frequency_ghz[-1]) == (1, 40)
    board = sheet_figures(CATALOGUE, "floorboard")
    assert (board.stretches[0].frequency_ghz[0], board.stretches[0].frequency_ghz[-1]) == (50, 100)
    assert [band.frequency_ghz for band in board.bands] == [50]
    assert board.missing_ghz == (5.8, 24.125)
    assert any("no figure at 5.8 GHz" in note for note in notes(board))
    (coated,) = sheet_figures(CATALOGUE, "coated-glazing").stretches
    assert (coated.frequency_ghz[0], coated.frequency_ghz[-1]) == (6.75, 16.95)


def test_measured_and_computed_losses_stay_apart(tmp_path: Path) -> None:
    """6 mm of glass, said to be measured at 20 dB from 5 to 10 GHz: the curves on either side end there."""
    (tmp_path / "models").mkdir()
    (tmp_path / "models" / "constructions.yaml").write_text(
        "constructions:\n  x:\n    layers: [{material: glass, thickness_mm: 6}]\n    source: ours\n"
        "    measured: [{frequency_ghz: 5, loss_db: 20}, {frequency_ghz: 10, loss_db: 20}]\n"
    )
    below, among, above = sheet_figures(load_catalogue(tmp_path), "x").stretches
    assert below.frequency_ghz[-1] == pytest.approx(5.0)
    assert above.frequency_ghz[0] == pytest.approx(10.0)
    assert (among.averaged_db == 20).all()
    assert below.averaged_db.max() < 5
    assert above.averaged_db[0] < 5


def test_a_material_is_shown_as_a_sheet_of_10_mm() -> None:
    figures = sheet_figures(CATALOGUE, "wood", [10.0])
    layers = figures.made.layers
    assert [layer.thickness_m for layer in layers] == [0.01]
    assert figures.bands[0].coherent_db[0] == pytest.approx(float(loss_db(layers, 10.0, 1.0, losses="coherent")))
    assert "10 mm" in summary(figures)


def test_a_frequency_asked_for_must_be_known() -> None:
    with pytest.raises(NoFigure, match=r"41 GHz: brick \(1 to 40 GHz\)"):
        sheet_figures(CATALOGUE, "brick-100", [5.8, 41.0])
    with pytest.raises(KeyError):
        sheet_figures(CATALOGUE, "paper wall")


def test_words() -> None:
    coated = sheet_figures(CATALOGUE, "coated-glazing")
    assert ("measured", "33.7 dB at 6.75 GHz, 42.3 dB at 16.95 GHz") in facts(coated)
    assert any("those at 6.75 GHz" in note for note in notes(coated))
    assert figure(coated.bands[0]) == ("33.7 dB", "leaves 2 % of the reach")  # 10^(−33.7/20) = 0.0207
    steel = sheet_figures(CATALOGUE, "steel-panel")
    assert figure(steel.bands[0]) == ("opaque", "nothing passes")

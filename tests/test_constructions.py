"""Constructions at a frequency: measured before layers, what stands in, what is refused, and varied."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import raycover
from raycover.catalogue import Catalogue, load_catalogue
from raycover.constructions import Construction
from raycover.errors import InputError

COS = np.cos(np.radians([0.0, 45.0, 70.0]))


def own(folder: Path, text: str) -> Catalogue:
    (folder / "models").mkdir(exist_ok=True)
    (folder / "models" / "constructions.yaml").write_text("constructions:\n" + text, encoding="utf-8")
    return load_catalogue(folder)


BOARD = "  x: {layers: [{material: plasterboard, thickness_mm: 12.5}], measured: [ROWS], source: ours}\n"


def test_measured_wins_over_layers_within_its_range(tmp_path: Path) -> None:
    rows = "{frequency_ghz: 5, loss_db: 10}, {frequency_ghz: 6, loss_db: 12}"
    made = own(tmp_path, BOARD.replace("ROWS", rows)).constructions["x"]
    plain = load_catalogue().constructions["plasterboard-12.5"]
    assert made.loss_table(5.0, "averaged").loss_db(0.5) == pytest.approx(10.0)
    assert 10 < made.loss_table(5.8, "averaged").loss_db(0.5) < 12
    for losses in ("averaged", "coherent"):
        np.testing.assert_array_equal(
            made.loss_table(24.125, losses).loss_db(COS),  # type: ignore[arg-type]
            plain.loss_table(24.125, losses).loss_db(COS),  # type: ignore[arg-type]
        )
    # the layers tell the reflection, never more than what doesn't pass
    np.testing.assert_allclose(
        made.reflection_table(5.8, "averaged").loss_db(COS), plain.reflection_table(5.8, "averaged").loss_db(COS)
    )
    assert made.doubt_at(5.8) is None
    assert made.doubt_at(24.125) is None
    assert made.thickness_m == 0.0125


def test_measured_reflection_is_kept_and_bounded(tmp_path: Path) -> None:
    rows = "{frequency_ghz: 5, loss_db: 10, reflection_db: 3}, {frequency_ghz: 6, loss_db: 10, reflection_db: 5}"
    made = own(tmp_path, f"  x: {{measured: [{rows}], source: ours}}\n").constructions["x"]
    assert made.reflection_table(5.0, "averaged").loss_db(0.3) == pytest.approx(3.0)
    assert made.reflection_table(6.0, "averaged").loss_db(0.3) == pytest.approx(5.0)


def test_far_from_what_was_measured(tmp_path: Path) -> None:
    """An octave is the farthest that a measurement reaches (our rule)."""
    made = own(tmp_path, "  x: {measured: [{frequency_ghz: 5.8, loss_db: 3}], source: ours}\n").constructions["x"]
    assert made.doubt_at(5.8) is None
    near = made.doubt_at(11.6)
    assert near is not None
    assert near.stands_in == "5.8 GHz"
    far = made.doubt_at(24.125)
    assert far is not None
    assert (far.known, far.stands_in) == (("x (measured at 5.8 GHz)",), "")
    with pytest.raises(ValueError, match="too far away"):
        made.loss_table(24.125, "averaged")
    with pytest.raises(ValueError, match="too far away"):
        made.reflection_table(24.125, "averaged")


SCENE = """raycover: 1
rooms: [{name: r, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: %s}]
detectors:
  - {name: D1, model: microwave-omni-%s, at: [2, 2], mounting: 2.5}
  - {name: D2, model: microwave-omni-%s, at: [4, 2], mounting: 2.5}
"""


def scene(folder: Path, walls: str, first: str, second: str) -> raycover.Scene:
    path = folder / "scene.yaml"
    path.write_text(SCENE % (walls, first, second), encoding="utf-8")
    return raycover.load(path)


def test_a_scene_is_warned_once_a_frequency(tmp_path: Path) -> None:
    found = [w for w in scene(tmp_path, "coated-glazing", "5.8", "5.8").warnings if w.code == "nearby-measurement"]
    assert [w.position.line for w in found] == [4]
    assert "coated-glazing (measured 6.75 to 16.95 GHz): at 6.75 GHz" in found[0].message
    found = [w for w in scene(tmp_path, "coated-glazing", "5.8", "24").warnings if w.code == "nearby-measurement"]
    assert [w.position.line for w in found] == [4, 5]
    assert "at 16.95 GHz" in found[1].message


def test_a_scene_far_from_what_was_measured_is_refused(tmp_path: Path) -> None:
    own(tmp_path, "  wall: {measured: [{frequency_ghz: 5.8, loss_db: 3}], source: ours}\n")
    with pytest.raises(InputError) as caught:
        scene(tmp_path, "wall", "5.8", "24")
    (problem,) = caught.value.problems
    assert (problem.code, problem.position.line) == ("frequency-outside-material", 5)
    assert "there is no figure for wall (measured at 5.8 GHz)" in problem.message


def test_studs_inline(tmp_path: Path) -> None:
    made = scene(
        tmp_path,
        "{layers: [{material: plasterboard, thickness_mm: 12.5}, {air_mm: 75}], "
        "studs: {pitch_mm: 400, width_mm: 45, material: wood}}",
        "5.8",
        "5.8",
    ).constructions_used()[0]
    assert made.name == "12.5 mm plasterboard + 75 mm air on 45 mm studs of wood each 400 mm"
    assert made.studs is not None
    with pytest.raises(InputError, match='unknown material "wod"'):
        scene(tmp_path, "{layers: [{air_mm: 75}], studs: {pitch_mm: 400, width_mm: 45, material: wod}}", "5.8", "5.8")


CATALOGUE = load_catalogue()


@pytest.mark.parametrize("frequency_ghz", [5.8, 24.125])
@pytest.mark.parametrize("name", list(CATALOGUE.constructions))
def test_varied_by_nothing_is_the_sheet_as_drawn(name: str, frequency_ghz: float) -> None:
    made = CATALOGUE.constructions[name]
    n_parts = len(made.parts(frequency_ghz))
    loss, mirrored = made.varied(frequency_ghz, COS, np.ones((3, n_parts)))
    assert loss.shape == mirrored.shape == (3, 3)
    drawn = made.loss_table(frequency_ghz, "coherent").loss_db(COS)
    power = made.reflection_table(frequency_ghz, "coherent").power(COS)
    for k in range(3):
        np.testing.assert_allclose(loss[k], drawn, atol=0.01)
        np.testing.assert_allclose(10 ** (-mirrored[k] / 10), power, atol=1e-3)
    both = made.varied(frequency_ghz, COS, np.ones((3, n_parts)), each_polarisation=True)
    assert both[0].shape == both[1].shape == (2, 3, 3)


@pytest.mark.parametrize("name", list(CATALOGUE.constructions))
def test_energy_is_never_gained_when_varied(name: str) -> None:
    """|R|² + |T|² ≤ 1 in every draw, each polarisation by itself."""
    made = CATALOGUE.constructions[name]
    shape = (40, len(made.parts(24.125)))
    rng = np.random.default_rng(5)
    factors = rng.uniform(0.8, 1.2, shape), rng.uniform(0.7, 1.3, shape), rng.uniform(0.3, 2, shape)
    loss, mirrored = made.varied(24.125, COS, *factors, each_polarisation=True)
    assert (10 ** (-loss / 10) + 10 ** (-mirrored / 10) <= 1 + 1e-9).all()


def test_a_measured_film_varied_by_hand() -> None:
    """Twice the conductance of a film costs 20·log10 2 = 6.02 dB more."""
    made: Construction = CATALOGUE.constructions["coated-glazing"]
    (part,) = made.parts(5.8)
    assert (part.thickness, part.a) == (0, 0)
    assert part.c > 0
    loss, mirrored = made.varied(5.8, 1.0, 1.0, 1.0, [[1.0], [2.0], [0.0]])
    assert loss[:, 0] == pytest.approx([33.7, 39.72, 0.0], abs=0.005)
    assert mirrored[0, 0] > mirrored[1, 0]
    assert mirrored[2, 0] == np.inf


@pytest.mark.parametrize("factors", [np.ones((2, 2)), -np.ones((2, 3)), np.full((2, 3), np.nan)])
def test_bad_factors(factors: np.ndarray) -> None:
    with pytest.raises(ValueError, match="factors must"):
        CATALOGUE.constructions["stud-wall-100"].varied(5.8, COS, factors)

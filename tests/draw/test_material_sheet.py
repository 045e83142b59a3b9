"""The sheet of a construction: nothing overlaps or leaves the paper, the words are the figures, files are whole."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place
from PIL import Image

from raycover.catalogue import Catalogue, load_catalogue
from raycover.draw.layer_section import scale_for
from raycover.draw.material_sheet import draw_material_sheet, material_page
from raycover.kit.sheet_figures import SheetFigures, sheet_figures

AWKWARD = """constructions:
  many-layers:
    layers:
%s
    source: "%s"
  measured-beside-layers:
    layers: [{material: concrete, thickness_mm: 2500}, {material: metal, thickness_mm: 0.01}]
    measured: [{frequency_ghz: 5, loss_db: 90}, {frequency_ghz: 30, loss_db: 140}]
    source: "$x^2$ 検知器 of our own"
"""


@pytest.fixture(scope="module")
def catalogue(tmp_path_factory: pytest.TempPathFactory) -> Catalogue:
    folder = tmp_path_factory.mktemp("own")
    (folder / "models").mkdir()
    layers = "\n      - {air_mm: 3}\n".join(
        f"      - {{material: {name}, thickness_mm: {mm}}}"
        for name, mm in (("glass", 0.4), ("wood", 26), ("glass", 0.4))
    )
    text = AWKWARD % (layers, "a source of many words " * 20)
    (folder / "models" / "constructions.yaml").write_text(text, encoding="utf-8")
    return load_catalogue(folder)


_KNOWN: dict[str, SheetFigures] = {}


def figures_of(catalogue: Catalogue, name: str) -> SheetFigures:
    """Worked out once."""
    if name not in _KNOWN:
        _KNOWN[name] = sheet_figures(catalogue, name)
    return _KNOWN[name]


@pytest.mark.parametrize(
    "name",
    [
        "glass-6",
        "stud-wall-steel-100",
        "reinforced-concrete-200",
        "coated-glazing",
        "steel-panel",
        "wire-mesh-50",
        "plasterboard-foil-12.5",
        "blind-roller",
        "floorboard",
        "glass-fibre polyester",
        "many-layers",
        "measured-beside-layers",
    ],
)
def test_no_text_overlaps_or_leaves_the_page(name: str, catalogue: Catalogue) -> None:
    page = material_page(figures_of(catalogue, name), version="0.0", dpi=100)
    assert_texts_are_in_place(page)
    words = " | ".join(text for text, _ in page.text_boxes())
    assert name in words
    assert "walk-test before hand-over" in words


@pytest.fixture(scope="module")
def glass(catalogue: Catalogue) -> SheetFigures:
    return figures_of(catalogue, "glass-6")


def test_the_words_are_the_figures(glass: SheetFigures) -> None:
    words = [text for text, _ in material_page(glass, dpi=60).text_boxes()]
    for band in glass.bands:
        assert f"{band.averaged_db[0]:.1f} dB" in words
        assert f"{band.frequency_ghz:g} GHz" in words
    assert "6 mm" in words
    assert any("P.2040" in text for text in words)


@pytest.mark.parametrize(("ending", "start"), [(".png", b"\x89PNG"), (".pdf", b"%PDF"), (".svg", b"<?xml")])
def test_every_kind_of_file(ending: str, start: bytes, glass: SheetFigures, tmp_path: Path) -> None:
    paths = [tmp_path / f"{k}{ending}" for k in "ab"]
    for path in paths:
        draw_material_sheet(glass, path, dpi=60)
    first, second = (path.read_bytes() for path in paths)
    assert first.startswith(start)
    assert first == second  # the same figures, the same bytes
    assert sorted(p.name for p in tmp_path.iterdir()) == [p.name for p in paths]
    if ending == ".png":
        with Image.open(paths[0]) as picture:  # A4 landscape, 297 × 210 mm (ISO 216)
            assert picture.size == pytest.approx((297 / 25.4 * 60, 210 / 25.4 * 60), abs=1)


def test_layers_are_to_scale(catalogue: Catalogue) -> None:
    """Straight lines of the section of a stud wall lie 12.5, 75 and 12.5 mm apart at the scale said."""
    figures = figures_of(catalogue, "stud-wall-steel-100")
    page = material_page(figures, dpi=60)
    scale = scale_for(figures.made, (10.0, 136.0, 84.0, 173.0))
    assert f"cut across, 1 : {scale:g}" in [text for text, _ in page.text_boxes()]
    levels = set()
    for drawn in page.axes.collections:
        for path in drawn.get_paths():
            points = path.vertices
            is_edge = len(points) == 2 and points[0, 1] == points[1, 1]
            if is_edge and np.allclose(sorted(points[:, 0]), (10.0, 84.0)) and points[0, 1] > 130:
                levels.add(round(float(points[0, 1]), 6))
    apart = -np.diff(sorted(levels, reverse=True)) * scale
    np.testing.assert_allclose(apart, [12.5, 75, 12.5], rtol=1e-6)

"""DXF back to the drawing office, read again by ezdxf: places, areas, layers, and the plan it lies over."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely

import raycover
from raycover.building.build import build
from raycover.draw.dxf import write_dxf
from raycover.draw.dxf_marks import block_name
from raycover.draw.glyphs import WORDS
from raycover.errors import MissingPart
from raycover.importing.dxf import import_dxf
from raycover.importing.dxf_options import DxfOptions
from raycover.solving.coverage import solve

ROOM = """
raycover: 1
title: Brindle Court
date: "3 Feb 2026"
grid: 0.1
rooms: [{name: Long room, outline: [[0, 0], [10, 0], [10, 6], [0, 6]], height: 3, walls: brick-215}]
partitions: [{name: Screen, line: [[5, 2], [5, 6]], height: 3, construction: stud-wall-100}]
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [2, 3], mounting: 3}
  - {name: "D2 %%d ^J", model: microwave-corridor-24, at: [8, 3], mounting: 2.5, turn_deg: 30,
     masks: [{from_deg: 60, to_deg: 100}]}
planes: [{name: floor, height: 0}, {name: "a;b", height: 0.75}, {name: "a=b", height: 1}]
"""


def written(text: str, path: Path) -> tuple[Any, Any]:
    scene = raycover.load_text(text)
    building = build(scene)
    coverage = solve(scene, building=building)
    write_dxf(scene, building, coverage, path)
    document = ezdxf.readfile(path)
    assert not document.audit().errors
    return document, coverage


def on(document: Any, layer: str, kind: str = "LWPOLYLINE") -> list[Any]:
    return [e for e in document.modelspace() if e.dxf.layer == layer and e.dxftype() == kind]


def area_m2(entities: list[Any], metres: float = 1.0) -> float:
    """Signed: outer outlines run anticlockwise, holes clockwise."""
    total = 0.0
    for entity in entities:
        assert entity.closed
        points = np.array([p[:2] for p in entity.get_points()])
        x, y = (points - points[0]).T  # survey coordinates have too few digits to spare
        total += float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    return total * metres**2


def test_areas_agree_with_the_coverage(example: Any, tmp_path: Path) -> None:
    write_dxf(example.scene, example.building, example.coverage, tmp_path / "coverage.dxf")
    document = ezdxf.readfile(tmp_path / "coverage.dxf")
    assert not document.audit().errors
    assert document.units == ezdxf.units.M
    for name, plane in example.coverage.items():
        if plane.surface.stairs is not None:
            continue
        seen = on(document, f"RAYCOVER-COVERAGE-{name.upper()}")
        edge = sum(shapely.LinearRing([p[:2] for p in e.get_points()]).length for e in seen)
        grid = plane.surface.grid
        assert area_m2(seen) == pytest.approx(plane.area_where(plane.detected), abs=0.25 * grid * edge + grid**2)
        missed = area_m2(on(document, f"RAYCOVER-GAPS-{name.upper()}"))
        assert missed + area_m2(seen) == pytest.approx(plane.area_m2, rel=0.02)


def test_everything_has_its_layer(tmp_path: Path) -> None:
    document, coverage = written(ROOM, tmp_path / "a.dxf")
    used = {e.dxf.layer for e in document.modelspace()}
    assert all(layer.startswith("RAYCOVER-") for layer in used)
    for part in ("WALLS", "ROOMS", "ROOM-NAMES", "DETECTORS", "MASKS", "NOTES", "COVERAGE-FLOOR", "GAPS-FLOOR",
                 "GAP-LETTERS-FLOOR", "GAP-HATCH-FLOOR", "FOOTPRINTS-FLOOR"):  # fmt: skip
        assert f"RAYCOVER-{part}" in used
    shown = {layer.dxf.name for layer in document.layers if layer.is_on()}
    assert "RAYCOVER-COVERAGE-FLOOR" in shown
    # Two planes whose names differ only by what DXF forbids keep apart; all but the first plane are switched off.
    assert {"RAYCOVER-COVERAGE-A_B", "RAYCOVER-COVERAGE-A_B-2"} <= used - shown
    assert len(coverage) == 3


def test_detectors_are_blocks_with_their_tags(tmp_path: Path) -> None:
    document, coverage = written(ROOM, tmp_path / "a.dxf")
    first, second = on(document, "RAYCOVER-DETECTORS", "INSERT")
    assert (first.dxf.insert.x, first.dxf.insert.y, first.dxf.rotation) == pytest.approx((2, 3, 0))
    assert (second.dxf.insert.x, second.dxf.insert.y, second.dxf.rotation) == pytest.approx((8, 3, 30))
    assert first.get_attrib_text("TAG") == "D1"
    assert second.get_attrib_text("TAG").startswith("D2 %")
    assert "%%" not in second.get_attrib_text("TAG")  # which would be read as a degree sign
    assert second.get_attrib_text("HEIGHT") == "2.5 m"
    assert first.get_attrib_text("MODEL") == coverage.units[0].title
    assert [a.is_invisible for a in first.attribs] == [False, True, True]
    assert {block_name(sort) for sort in WORDS} <= {block.name for block in document.blocks}


def test_gap_letters_are_those_of_the_plan(tmp_path: Path) -> None:
    document, coverage = written(ROOM, tmp_path / "a.dxf")
    gaps = [g for g in coverage["floor"].gaps if g.area_m2 >= 0.05]
    found = on(document, "RAYCOVER-GAP-LETTERS-FLOOR", "TEXT")
    assert [t.dxf.text for t in found] == list("abcdefghij")[: len(gaps)]
    for text, gap in zip(found, gaps, strict=True):
        at = text.get_placement()[1]
        assert (at.x, at.y) == pytest.approx(gap.at[:2], abs=1e-6)


def test_walls_at_their_thickness_and_cautions(tmp_path: Path) -> None:
    document, _ = written(ROOM, tmp_path / "a.dxf")
    # brick-215 around 10 × 6 m of centre lines; the stud wall from (5, 2) up to the brick's inner face.
    ring = (10.215 * 6.215) - (9.785 * 5.785)
    layers = raycover.load_text(ROOM).catalogue.constructions["stud-wall-100"]
    stud = layers.thickness_m * (4 - 0.215 / 2)
    assert area_m2(on(document, "RAYCOVER-WALLS")) == pytest.approx(ring + stud, rel=2e-3)
    said = " ".join(t.dxf.text for t in on(document, "RAYCOVER-NOTES", "TEXT"))
    for phrase in ("walk-test", "Not a safety function", "Brindle Court, revision A, 3 Feb 2026", "reserve 3 dB"):
        assert phrase in said


@pytest.mark.parametrize(("units", "code", "metres"), [("mm", 4, 0.001), ("ft", 2, 0.3048)])
def test_units_and_origin_of_the_plan(tmp_path: Path, units: str, code: int, metres: float) -> None:
    plan = f"plan: {{units: {units}, origin: [451234000, 207000000]}}\n"
    document, coverage = written(ROOM + plan, tmp_path / "a.dxf")
    assert document.header["$INSUNITS"] == code
    first = on(document, "RAYCOVER-DETECTORS", "INSERT")[0]
    wanted = (451234000 + 2 / metres, 207000000 + 3 / metres)
    assert (first.dxf.insert.x, first.dxf.insert.y) == pytest.approx(wanted, abs=1e-3)
    assert first.dxf.xscale == pytest.approx(1 / metres)
    seen = coverage["floor"].area_where(coverage["floor"].detected)
    assert area_m2(on(document, "RAYCOVER-COVERAGE-FLOOR"), metres) == pytest.approx(seen, rel=0.02)


def test_out_over_the_plan_that_came_in(tmp_path: Path) -> None:
    plan = ezdxf.new()
    plan.header["$INSUNITS"] = 4
    corners = [(451_234_567.0, 207_000_123.0), (451_240_567.0, 207_000_123.0), (451_240_567.0, 207_004_123.0),
               (451_234_567.0, 207_004_123.0)]  # fmt: skip
    plan.modelspace().add_lwpolyline(corners, close=True, dxfattribs={"layer": "ROOMS"})
    plan.saveas(tmp_path / "in.dxf")
    text = import_dxf(tmp_path / "in.dxf", DxfOptions()).text
    document, _ = written(text, tmp_path / "out.dxf")
    (room,) = on(document, "RAYCOVER-ROOMS")
    back = np.array([p[:2] for p in room.get_points()])
    assert sorted(map(tuple, back.round(3).tolist())) == sorted(corners)


def test_storeys_keep_to_their_own_layers(tmp_path: Path) -> None:
    floor = "outline: [[0, 0], [10, 0], [10, 6], [0, 6]], height: 3, walls: brick-215"
    text = f"""
raycover: 1
grid: 0.2
storeys: [{{name: Ground, floor: 0}}, {{name: First, floor: 3}}]
rooms:
  - {{name: Shop, {floor}}}
  - {{name: Flat, {floor}, floor: 3}}
detectors:
  - {{name: G1, model: ceiling-infrared-general, at: [2, 3], mounting: 3, room: Shop}}
  - {{name: F1, model: ceiling-infrared-general, at: [2, 3], mounting: 2.5, room: Flat}}
planes: [{{name: floor, height: 0}}]
"""
    document, _ = written(text, tmp_path / "a.dxf")
    ring = (10.215 * 6.215) - (9.785 * 5.785)
    for storey, tag in (("GROUND", "G1"), ("FIRST", "F1")):
        assert area_m2(on(document, f"RAYCOVER-WALLS-{storey}")) == pytest.approx(ring, rel=2e-3)
        (unit,) = on(document, f"RAYCOVER-DETECTORS-{storey}", "INSERT")
        assert unit.get_attrib_text("TAG") == tag
        assert on(document, f"RAYCOVER-COVERAGE-FLOOR {storey}")
        assert document.layers.get(f"RAYCOVER-WALLS-{storey}").is_on() == (storey == "GROUND")


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        written(ROOM, tmp_path / f"{name}.dxf")
    assert (tmp_path / "a.dxf").read_bytes() == (tmp_path / "b.dxf").read_bytes()
    assert ezdxf.options.write_fixed_meta_data_for_testing is False


def test_without_ezdxf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "ezdxf", None)
    scene = raycover.load_text(ROOM)
    building = build(scene)
    with pytest.raises(MissingPart, match=r"raycover\[dxf\]"):
        write_dxf(scene, building, solve(scene, building=building), tmp_path / "a.dxf")
    assert not list(tmp_path.iterdir())

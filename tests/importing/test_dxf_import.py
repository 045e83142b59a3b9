"""DXF import, on files that ezdxf itself writes: geometry, names, layers, units, and every file that won't do."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import pytest
import shapely

import raycover
from raycover.building.build import build
from raycover.errors import InputError, MissingPart, Problem
from raycover.importing.dxf import import_dxf
from raycover.importing.dxf_options import DxfOptions
from raycover.importing.imported import Imported
from raycover.scene.schema import Scene
from raycover.solving.coverage import solve

MM, CM, M, INCH, FOOT = 4, 5, 6, 1, 2  # $INSUNITS, DXF reference, header section


class Plan:
    """A drawing in the making; all lengths in its own units."""

    def __init__(self, units: int = M, version: str = "R2010") -> None:
        self.document = ezdxf.new(version, setup=True)
        self.document.header["$INSUNITS"] = units
        self.space: Any = self.document.modelspace()

    def outline(self, *points: tuple[float, ...], layer: str = "ROOMS", close: bool = True, form: str = "xyb") -> None:
        self.space.add_lwpolyline(points, format=form[: len(points[0])], close=close, dxfattribs={"layer": layer})

    def box(self, x: float, y: float, wide: float, deep: float, layer: str = "ROOMS") -> None:
        self.outline((x, y), (x + wide, y), (x + wide, y + deep), (x, y + deep), layer=layer)

    def line(self, *points: tuple[float, float], layer: str = "WALLS") -> None:
        for start, end in pairwise(points):
            self.space.add_line(start, end, dxfattribs={"layer": layer})

    def text(self, words: str, x: float, y: float, layer: str = "TEXT", height: float = 0.3) -> None:
        self.space.add_text(words, dxfattribs={"layer": layer, "height": height}).set_placement((x, y))

    def save(self, folder: Path) -> Path:
        self.document.saveas(folder / "plan.dxf")
        return folder / "plan.dxf"


def read(plan: Plan, folder: Path, **options: Any) -> tuple[Scene, Imported]:
    made = import_dxf(plan.save(folder), DxfOptions(**options))
    return raycover.load_text(made.text), made


def areas(scene: Scene) -> dict[str, float]:
    return {room.name: shapely.Polygon(room.outline).area for room in scene.rooms}


def problem(make: Callable[[], Any]) -> Problem:
    with pytest.raises(InputError) as caught:
        make()
    (found,) = caught.value.problems
    assert found.help
    return found


# ---- geometry


@pytest.mark.parametrize(
    ("code", "metres"), [(MM, 0.001), (CM, 0.01), (M, 1.0), (14, 0.1), (INCH, 0.0254), (FOOT, 0.3048)]
)
def test_units_of_the_file(tmp_path: Path, code: int, metres: float) -> None:
    plan = Plan(code)
    plan.box(2 / metres, 1 / metres, 8 / metres, 6 / metres)
    scene, _ = read(plan, tmp_path)
    assert shapely.Polygon(scene.rooms[0].outline).equals_exact(shapely.box(2, 1, 10, 7), 1e-3, normalize=True)
    assert scene.plan is None or scene.plan.units == {MM: "mm", CM: "cm", 14: "dm", INCH: "in", FOOT: "ft"}[code]


@pytest.mark.parametrize("version", ["R12", "R2000", "R2018"])
def test_versions_and_polylines_of_both_kinds(tmp_path: Path, version: str) -> None:
    plan = Plan(version=version)
    corners = [(0, 0), (6, 0), (6, 4), (0, 4)]
    plan.space.add_polyline2d(corners, close=True, dxfattribs={"layer": "ROOMS"})
    plan.document.header["$INSUNITS"] = M
    scene, _ = read(plan, tmp_path, units="m")  # R12 has no $INSUNITS
    assert areas(scene) == {"Room 1": pytest.approx(24)}


def test_binary_files(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4)
    plan.document.saveas(tmp_path / "b.dxf", fmt="bin")
    assert areas(raycover.load_text(import_dxf(tmp_path / "b.dxf", DxfOptions()).text)) == {"Room 1": pytest.approx(24)}


def test_bulges_become_chords_near_the_arc(tmp_path: Path) -> None:
    plan = Plan()
    # A square of 10 m whose east side is a half circle (bulge 1): 100 + π·5²/2 m².
    plan.outline((0, 0, 0), (10, 0, 1), (10, 10, 0), (0, 10, 0))
    scene, _ = read(plan, tmp_path)
    outline = np.array(scene.rooms[0].outline)
    assert shapely.Polygon(outline).area == pytest.approx(100 + math.pi * 12.5, rel=2e-3)
    east = outline[outline[:, 0] > 10.01]
    assert np.hypot(east[:, 0] - 10, east[:, 1] - 5) == pytest.approx(5, abs=2e-3)
    assert 8 < len(east) < 200


def test_circles_and_ellipses(tmp_path: Path) -> None:
    plan = Plan()
    plan.space.add_circle((0, 0), 4, dxfattribs={"layer": "ROOMS"})
    plan.space.add_ellipse((20, 0), (6, 0), 0.5, dxfattribs={"layer": "ROOMS"})
    scene, _ = read(plan, tmp_path)
    assert sorted(areas(scene).values()) == pytest.approx([math.pi * 16, math.pi * 18], rel=5e-3)


def test_lines_that_close_a_loop_are_a_room(tmp_path: Path) -> None:
    plan = Plan()
    plan.line((0, 0), (8, 0), (8, 5), (0, 5), (0, 0), layer="ROOMS")
    plan.line((5, 0), (5, 5), layer="ROOMS")  # meets the others half-way: two rooms
    scene, made = read(plan, tmp_path)
    assert sorted(areas(scene).values()) == pytest.approx([15, 25])
    assert any("enclose" in what for what in made.report.guessed)
    build(scene)


def test_an_outline_left_open_by_a_hair_is_closed(tmp_path: Path) -> None:
    plan = Plan(MM)
    plan.outline((0, 0), (6000, 0), (6000, 4000), (0, 4000), (0, 0.5), close=False)
    assert list(areas(read(plan, tmp_path)[0]).values()) == pytest.approx([24], abs=0.01)


def test_rooms_from_lines_of_walls_alone(tmp_path: Path) -> None:
    plan = Plan()
    plan.line((0, 0), (9, 0), (9, 6), (0, 6), (0, 0))
    plan.line((4, 0), (4, 6))
    plan.line((4, 3), (6, 3))  # ends in the room
    scene, _ = read(plan, tmp_path)
    assert sorted(areas(scene).values()) == pytest.approx([24, 30])
    assert [p.line for p in scene.partitions] == [[(4.0, 3.0), (6.0, 3.0)]]


def test_blocks_are_opened_wherever_they_stand(tmp_path: Path) -> None:
    plan = Plan(MM)
    unit = plan.document.blocks.new("CELL")
    unit.add_lwpolyline([(0, 0), (3000, 0), (3000, 2000), (0, 2000)], close=True)  # on layer 0: takes the block's
    pair = plan.document.blocks.new("PAIR")
    pair.add_blockref("CELL", (0, 0))
    pair.add_blockref("CELL", (3000, 0))
    plan.space.add_blockref("PAIR", (1000, 500), dxfattribs={"layer": "ROOMS"})
    plan.space.add_blockref("CELL", (0, 9000), dxfattribs={"layer": "ROOMS", "rotation": 90})
    plan.space.add_blockref("CELL", (20000, 0), dxfattribs={"layer": "ROOMS", "xscale": -1})
    rows = {"layer": "ROOMS", "column_count": 2, "column_spacing": 4000}
    plan.space.add_blockref("CELL", (0, 20000), dxfattribs=rows)
    scene, _ = read(plan, tmp_path)
    found = sorted(shapely.Polygon(r.outline).bounds for r in scene.rooms)
    wanted = [(-2, 9, 0, 12), (0, 20, 3, 22), (1, 0.5, 4, 2.5), (4, 0.5, 7, 2.5), (4, 20, 7, 22), (17, 0, 20, 2)]
    assert np.array(found) == pytest.approx(np.array(wanted))


def test_a_plan_drawn_from_below_is_seen_from_above(tmp_path: Path) -> None:
    plan = Plan()  # extrusion (0, 0, −1): the entity's own x runs west
    ring = [(0, 0), (5, 0), (5, 3), (0, 3)]
    plan.space.add_lwpolyline(ring, close=True, dxfattribs={"layer": "ROOMS", "extrusion": (0, 0, -1)})
    assert shapely.Polygon(read(plan, tmp_path)[0].rooms[0].outline).bounds == (-5, 0, 0, 3)


# ---- what is one room and what is none


def test_doubles_wholes_and_small_outlines_are_left_out(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4)
    plan.box(0, 0, 6, 4)
    plan.box(6, 0, 6, 4)
    plan.box(0, 0, 12, 4)  # round both
    plan.box(2, 2, 0.4, 0.4)
    scene, made = read(plan, tmp_path)
    assert sorted(areas(scene).values()) == pytest.approx([24, 24])
    left = " ".join(made.report.left_out)
    assert "drawn twice" in left
    assert "around several rooms" in left
    assert "smaller than" in left


def test_a_room_in_a_hall_is_cut_out_of_it(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 20, 10)
    plan.box(15, 6, 5, 4)  # in a corner
    scene, _ = read(plan, tmp_path)
    assert sorted(areas(scene).values()) == pytest.approx([20, 180])
    build(scene)


def test_a_room_in_the_midst_of_a_hall(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 20, 10)
    plan.box(8, 4, 4, 3)
    plan.text("Hall", 2, 2)
    plan.text("Kiosk", 10, 5)
    scene, made = read(plan, tmp_path)
    assert areas(scene) == pytest.approx({"Hall part 1": 94, "Hall part 2": 94, "Kiosk": 12})
    # Nothing stands where the hall was cut; the kiosk has its four walls.
    walls = [s for s in build(scene).sheets if s.kind == "wall"]
    length = sum(s.polygon.area for s in walls) / 2.8
    assert length == pytest.approx(2 * (20 + 10) + 2 * (4 + 3))
    assert any("cut into parts" in what for what in made.report.guessed)


def test_outlines_that_cross_themselves(tmp_path: Path) -> None:
    plan = Plan()
    plan.outline((0, 0), (10, 0), (10, 6), (0, 6), (1, -1))
    scene, made = read(plan, tmp_path)
    assert len(scene.rooms) == 1
    assert any("cross themselves" in what for what in made.report.guessed)


def test_rooms_drawn_to_the_faces_of_their_walls_share_one_wall(tmp_path: Path) -> None:
    plan = Plan()
    # Walls of 0.1 m between three rooms; the outer walls are not drawn.
    plan.box(0, 0, 5, 4)
    plan.box(5.1, 0, 3, 4)
    plan.box(0, 4.1, 8.1, 2)
    scene, made = read(plan, tmp_path)
    outlines = {shapely.Polygon(r.outline).bounds for r in scene.rooms}
    assert outlines == {(0, 0, 5.05, 4.05), (5.05, 0, 8.1, 4.05), (0, 4.05, 8.1, 6.1)}
    assert any("middle of each wall" in what for what in made.report.guessed)
    # Every wall stands once: the outer ring and the two walls within.
    length = sum(s.polygon.area for s in build(scene).sheets if s.kind == "wall") / 2.8
    assert length == pytest.approx(2 * (8.1 + 6.1) + 8.1 + 4.05)


def test_rooms_a_corridor_apart_stay_as_they_are(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 5, 4)
    plan.box(0, 5.2, 5, 4)  # 1.2 m away
    plan.box(5.2, 0, 0.9, 4)  # a shaft between two rooms: walls of 0.2 m on both sides
    plan.box(6.3, 0, 5, 4)
    scene, _ = read(plan, tmp_path)
    outlines = {shapely.Polygon(r.outline).bounds for r in scene.rooms}
    assert outlines == {(0, 0, 5.1, 4), (0, 5.2, 5, 9.2), (5.1, 0, 6.2, 4), (6.2, 0, 11.3, 4)}


def test_turned_rooms_share_one_wall_too(tmp_path: Path) -> None:
    plan = Plan()
    turn = np.radians(31.0)
    rotation = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    for x in (0.0, 4.2):
        corners = np.array([(x, 0), (x + 4, 0), (x + 4, 3), (x, 3)]) @ rotation
        plan.outline(*map(tuple, corners.tolist()))
    scene, _ = read(plan, tmp_path)
    assert sorted(areas(scene).values()) == pytest.approx([12.3, 12.3], abs=0.01)
    first, second = (shapely.Polygon(room.outline) for room in scene.rooms)
    assert first.distance(second) < 2e-3
    build(scene)


# ---- names


def test_names_from_texts_inside(tmp_path: Path) -> None:
    plan = Plan()
    for k in range(4):
        plan.box(6 * k, 0, 6, 4)
    plan.text('Größe: 1/2 "Lager"', 1, 1, height=0.4)  # what no file name holds becomes a blank
    plan.text("door 900", 1, 3, height=0.1)
    several = plan.space.add_mtext("Office\\P24.0 m²\\P2.07", dxfattribs={"layer": "TEXT", "char_height": 0.3})
    several.set_location((7, 2))
    plan.text("Office", 13, 2)
    plan.text("2.08", 13, 1)
    plan.text("2.09", 19, 1)
    scene, _ = read(plan, tmp_path)
    assert [room.name for room in sorted(scene.rooms, key=lambda r: min(p[0] for p in r.outline))] == [
        "Größe 1 2 Lager", "Office 2.07", "Office 2.08", "Room 2.09",
    ]  # fmt: skip


def test_names_from_attributes_of_a_room_tag(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4)
    plan.text("LOUD NOTE", 1, 1, height=0.9)
    tag = plan.document.blocks.new("TAG")
    tag.add_attdef("ROOM_NAME", (0, 0), dxfattribs={"height": 0.2})
    plan.space.add_blockref("TAG", (3, 2), dxfattribs={"layer": "X"}).add_auto_attribs({"ROOM_NAME": "Plant room"})
    assert [room.name for room in read(plan, tmp_path)[0].rooms] == ["Plant room"]


# ---- partitions


def test_partitions_within_rooms_only(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 10, 6)
    plan.line((4, 0), (4, 3), (6, 3))  # joined: one partition with a corner
    plan.line((0, 0.1), (10, 0.1))  # a face of the room's own south wall
    plan.line((8, 4), (14, 4))  # runs out of the room
    plan.line((30, 0), (30, 9))  # outside
    plan.box(2, 4, 3, 0.12, layer="WALLS")  # the body of a wall
    scene, made = read(plan, tmp_path)
    lines = sorted([tuple(map(tuple, np.round(p.line, 3).tolist())) for p in scene.partitions])
    assert lines == [((2.0, 4.06), (5.0, 4.06)), ((4.0, 0.0), (4.0, 3.0), (6.0, 3.0)), ((8.0, 4.0), (10.0, 4.0))]
    assert any("outside every room" in why for why in made.report.left_out)
    assert any("faces" in why for why in made.report.left_out)
    assert not any("parallel" in what for what in made.report.guessed)
    build(scene)


def test_two_faces_of_one_wall_are_spoken_of(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 10, 6)
    plan.line((4, 0), (4, 4))
    plan.line((4.1, 0), (4.1, 4))
    _, made = read(plan, tmp_path)
    assert any("two faces of one wall" in what for what in made.report.guessed)


# ---- layers and options


def test_layers_as_told_in_any_case_with_patterns(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4, layer="Ebene 1 links")
    plan.box(6, 0, 6, 4, layer="Ebene 1 rechts")
    plan.box(0, 0, 9, 9, layer="ROOMS")
    plan.line((2, 0), (2, 2), layer="x")
    scene, _ = read(plan, tmp_path, rooms=("ebene 1*",), partitions=("X",), height=3.2, walls="brick-100")
    assert len(scene.rooms) == 2
    assert {room.height for room in scene.rooms} == {3.2}
    assert (scene.rooms[0].walls, scene.partitions[0].construction) == ("brick-100", "brick-100")


@pytest.mark.parametrize("layer", ["A-AREA-IDEN", "00_Räume", "Spaces", "E2-ROOM", "gross_zone"])
def test_layers_by_their_names(tmp_path: Path, layer: str) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4, layer=layer)
    plan.box(0, 0, 50, 40, layer="FRAME")
    scene, made = read(plan, tmp_path)
    assert list(areas(scene).values()) == pytest.approx([24])
    assert made.report.guessed["rooms from layers, by their names"] == [layer]


def test_layers_switched_off_are_read_only_when_named(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4, layer="ROOMS OLD")
    plan.box(0, 0, 7, 4, layer="ROOMS NEW")
    plan.document.layers.add("ROOMS OLD").off()
    assert list(areas(read(plan, tmp_path)[0]).values()) == pytest.approx([28])
    assert list(areas(read(plan, tmp_path, rooms=("ROOMS OLD",))[0]).values()) == pytest.approx([24])


def test_when_no_layer_looks_like_rooms_all_are_listed(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4, layer="L1")
    plan.box(0, 0, 7, 4, layer="L2")
    plan.text("x", 0, 0, layer="L3")
    plan.space.add_hatch(dxfattribs={"layer": "L4"})
    found = problem(lambda: read(plan, tmp_path))
    assert found.code == "no-rooms"
    for line in ("L1: 1 outlines, the largest 24 m²", "L3: 1 texts", "L4: 1 HATCH", "--rooms LAYER"):
        assert line in found.help
    found = problem(lambda: read(plan, tmp_path, rooms=("L9",)))
    assert found.code == "no-layer"
    assert "L2: 1 outlines" in found.help


def test_what_is_mapped_guessed_and_left_out_stands_in_the_file(tmp_path: Path) -> None:
    plan = Plan(MM)
    plan.box(0, 0, 6000, 4000)
    plan.line((0, -1000), (6000, -1000), layer="DIMS")
    plan.space.add_hatch(dxfattribs={"layer": "HATCHES"})
    _, made = read(plan, tmp_path)
    head = [line for line in made.text.splitlines() if line.startswith("#")]
    said = ("plan.dxf", "1 rooms", "plan in mm, by the file", "ROOMS", "2.8 m", "stud-wall-100", "DIMS (1)", "doors")
    for word in (*said, "HATCH (1)"):
        assert any(word in line for line in head), word


# ---- units


def test_a_silent_file_asks_for_units_with_likely_sizes(tmp_path: Path) -> None:
    plan = Plan(0)
    plan.box(0, 0, 6000, 4000)
    found = problem(lambda: read(plan, tmp_path))
    assert found.code == "no-units"
    assert "--units mm (6 × 4 m)" in found.help
    scene, _ = read(plan, tmp_path, units="mm")
    assert list(areas(scene).values()) == pytest.approx([24])
    assert problem(lambda: read(plan, tmp_path, units="furlong")).code == "bad-option"


def test_a_room_of_40_km_is_refused(tmp_path: Path) -> None:
    plan = Plan(M)
    plan.box(0, 0, 40_000, 20_000)  # millimetres in a file that says metres
    plan.text("Hall", 5, 5)
    found = problem(lambda: read(plan, tmp_path))
    assert found.code == "wrong-units"
    assert 'check units: room "Hall" would be 40 km long' in found.message
    assert "--units mm (40 m)" in found.help
    scene, made = read(plan, tmp_path, units="mm")
    assert list(areas(scene).values()) == pytest.approx([800])
    assert "the file says m" in made.text


def test_a_room_of_millimetres_is_refused(tmp_path: Path) -> None:
    plan = Plan(MM)
    plan.box(0, 0, 900, 800)  # centimetres, say: 0.9 m by 0.8 m, no building
    assert problem(lambda: read(plan, tmp_path)).code == "wrong-units"


def test_survey_coordinates_are_moved_and_remembered(tmp_path: Path) -> None:
    plan = Plan(MM)
    plan.box(451_234_500.0, 207_000_250.0, 6000, 4000)
    scene, _ = read(plan, tmp_path)
    assert shapely.Polygon(scene.rooms[0].outline).bounds == pytest.approx((0.5, 0.25, 6.5, 4.25))
    assert scene.plan is not None
    assert (scene.plan.units, scene.plan.origin) == ("mm", (451_234_000.0, 207_000_000.0))


# ---- files that won't do


def test_files_that_are_no_drawing(tmp_path: Path) -> None:
    plan = Plan()
    plan.box(0, 0, 6, 4)
    whole = plan.save(tmp_path).read_bytes()
    cases = {
        "cut.dxf": (whole[: len(whole) // 2], "cut off"),
        "words.dxf": (b"hello, this is no drawing\n" * 50, "no DXF"),
        "empty.dxf": (b"", "no DXF"),
        "other.dxf": (b"AC1032" + bytes(300), "DWG under another name"),
        "broken.dxf": (b"  0\nSECTION\n  2\nENTITIES\n  0\nLINE\n 10\nabc\n  0\nEOF\n", ""),
    }
    for name, (data, said) in cases.items():
        (tmp_path / name).write_bytes(data)
        found = problem(lambda name=name: import_dxf(tmp_path / name, DxfOptions(units="m")))  # type: ignore[misc]
        assert said in found.message, name
        assert str(tmp_path / name) == found.position.file
    assert "cannot read" in problem(lambda: import_dxf(tmp_path / "gone.dxf", DxfOptions())).message


def test_a_file_of_2_gb_is_refused_unread(tmp_path: Path) -> None:
    with open(tmp_path / "big.dxf", "wb") as file:
        file.truncate(2 * 1024**3)  # sparse: no disk is used
    assert "2,048 MB" in problem(lambda: import_dxf(tmp_path / "big.dxf", DxfOptions())).message


def test_a_block_that_holds_itself_ends(tmp_path: Path) -> None:
    plan = Plan()
    ring = plan.document.blocks.new("RING")
    ring.add_lwpolyline([(0, 0), (6, 0), (6, 4), (0, 4)], close=True, dxfattribs={"layer": "ROOMS"})
    ring.add_blockref("RING", (0, 0))
    plan.space.add_blockref("RING", (0, 0))
    scene, made = read(plan, tmp_path)
    assert list(areas(scene).values()) == pytest.approx([24])
    assert any("nested too deep" in name for name in made.report.left_out["entities that hold no lines"])


def test_without_ezdxf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "ezdxf", None)
    with pytest.raises(MissingPart, match=r"raycover\[dxf\]"):
        import_dxf(tmp_path / "plan.dxf", DxfOptions())


# ---- the whole way


def test_an_imported_plan_maps(tmp_path: Path) -> None:
    plan = Plan(MM)
    plan.box(0, 0, 6000, 4000)
    plan.box(6000, 0, 6000, 4000)
    plan.line((3000, 0), (3000, 2000))
    _, made = read(plan, tmp_path)
    unit = "detectors: [{name: D1, model: ceiling-infrared-general, at: [1.5, 2], mounting: 2.8}]\n"
    coverage = solve(raycover.load_text(made.text + unit))
    assert coverage["floor"].area_m2 == pytest.approx(48)
    assert 0 < coverage.share("floor") < 0.5  # the second room is behind a wall

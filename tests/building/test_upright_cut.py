"""Upright cuts: chords, thicknesses and areas in closed form."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely
import small_scenes
import trimesh
from mesh_scenes import built, write

from raycover.building.build import build
from raycover.building.upright_cut import (
    CutLine,
    boxes_beyond,
    cut_boxes,
    cut_objects,
    cut_sheets,
    extent,
    openings_beyond,
    room_profiles,
    stairs_along,
)

ROOM = {"name": "Hall", "outline": [[0, 0], [10, 0], [10, 6], [0, 6]], "height": 4, "walls": "brick-215"}


def test_looking_left_and_right_are_mirror_images() -> None:
    left = CutLine.between((0, 0), (10, 0))
    right = CutLine.between((0, 0), (10, 0), looking_left=False)
    assert left.place(np.array([3.0, 2.0])) == pytest.approx([3, 2])
    assert right.place(np.array([3.0, -2.0])) == pytest.approx([7, 2])
    assert right.at(np.array(7.0)) == pytest.approx([3, 0])


def test_walls_cut_askew_are_thicker() -> None:
    """A wall of 215 mm cut at 45° shows 215·√2 mm; its floor and ceiling their own thickness."""
    building = build(small_scenes.scene(rooms=[ROOM | {"floor_construction": "concrete-200"}]))
    cut = cut_sheets(CutLine.between((2, -1), (9, 6)), building.sheets)
    walls = [c for c in cut if c.sheet.kind == "wall"]
    assert [c.thick for c in walls] == pytest.approx([0.215 * np.sqrt(2)] * len(walls))
    assert {c.sheet.name for c in walls} == {"Hall/wall 0", "Hall/wall 2"}
    floor = next(c for c in cut if c.sheet.kind == "floor")
    assert floor.thick == pytest.approx(0.2)
    assert np.ptp([floor.start[0], floor.end[0]]) == pytest.approx(6 * np.sqrt(2))


def test_a_wall_in_the_plane_is_not_cut() -> None:
    building = build(small_scenes.scene(rooms=[ROOM]))
    assert not [
        c for c in cut_sheets(CutLine.between((0, 6), (10, 6)), building.sheets) if c.sheet.name == "Hall/wall 2"
    ]


def test_chord_of_a_turned_box() -> None:
    """Through the middle of 2 × 1 m turned by 45°: 1/sin 45° long. Beside it, 1 m off and beyond."""
    box = {"name": "B", "centre": [5, 3], "size": [2, 1, 1.5], "base": 0.5, "turn_deg": 45, "material": "goods"}
    boxes = build(small_scenes.scene(rooms=[ROOM], solids=[box])).boxes
    met, oblong = cut_boxes(CutLine.between((0, 3), (10, 3)), boxes)
    assert met.tolist() == [0]
    half = 0.5 / np.sin(np.radians(45))
    assert oblong[0] == pytest.approx([5 - half, 0.5, 5 + half, 2.0])
    assert not len(cut_boxes(CutLine.between((0, 1.9), (10, 1.9)), boxes)[0])
    reach = 1.5 / np.sqrt(2)  # of its corners
    _, seen, near = boxes_beyond(CutLine.between((0, 1.5), (10, 1.5)), boxes, 3.0)
    assert seen[0] == pytest.approx([5 - reach, 0.5, 5 + reach, 2.0])
    assert near[0] == pytest.approx(1.5 - reach)
    assert not len(boxes_beyond(CutLine.between((0, 1.5), (10, 1.5), looking_left=False), boxes, 3.0)[0])


def test_profile_under_a_pitched_roof() -> None:
    """Eaves 3 m, ridge 5 m in the middle of 6 m: a gable of 6·3 + 6·2/2 m²; cut along the ridge an oblong."""
    roof = {"kind": "pitched", "ridge": "x", "eaves": 3, "ridge_height": 5, "construction": "steel-panel"}
    room = {k: v for k, v in ROOM.items() if k != "height"} | {"roof": roof}
    rooms = build(small_scenes.scene(rooms=[room])).rooms
    ((index, across),) = room_profiles(CutLine.between((4, -1), (4, 7)), rooms)
    assert index == 0
    assert across.area == pytest.approx(24)
    ((_, along),) = room_profiles(CutLine.between((0, 3), (10, 3)), rooms)
    assert along.bounds == pytest.approx((0, 0, 10, 5))


def test_a_sphere_cut_off_its_middle(tmp_path: Path) -> None:
    """A ball of radius 1 cut 0.6 m beside its middle: a disc of radius 0.8."""
    ball = trimesh.creation.icosphere(5, 1.0).apply_translation([0, 0, 1])
    building = built(tmp_path, {"file": write(tmp_path, "ball.stl", ball)})
    middle = building.objects[0].bounds.mean(axis=0)
    line = CutLine.between((middle[0] - 5, middle[1] - 0.6), (middle[0] + 5, middle[1] - 0.6))
    ((one, flat),) = cut_objects(line, building.objects)
    assert one.closed
    assert flat.area == pytest.approx(np.pi * 0.64, rel=5e-3)
    assert shapely.centroid(flat).coords[0] == pytest.approx((5, middle[2]), abs=1e-3)


def test_doors_beyond_and_what_a_drawing_shows() -> None:
    door = {"edge": 2, "at": 2, "width": 1, "height": 2.1, "fill": "steel-door"}
    building = build(small_scenes.scene(rooms=[ROOM | {"openings": [door]}]))
    line = CutLine.between((0, 2), (10, 2))
    assert openings_beyond(line, building.openings, 10)[0] == pytest.approx([7, 0, 8, 2.1])
    assert not len(openings_beyond(line, building.openings, 3))
    assert extent(line, building) == pytest.approx((0, 0, 10, 4))


def test_steps_of_a_flight() -> None:
    """A straight flight of 0.2 m rises and 0.25 m goings: the n-th step stands 0.2·n high."""
    stairs = {"name": "S", "kind": "straight", "at": [2, 2], "rise": 1.6, "risers": 8, "going": 0.25, "width": 1.2}
    building = build(small_scenes.scene(rooms=[ROOM], stairs=[stairs]))
    piece = building.stairs[0].pieces[0]
    start = piece.origin[:2] + 0.5 * piece.across[:2]
    line = CutLine.between(tuple(start - piece.along[:2]), tuple(start + 4 * piece.along[:2]))
    (found,) = stairs_along(line, building.stairs, np.array([0.9, 1.1, 1.3, 2.6, 4.9]))
    assert found == pytest.approx([np.nan, 0.2, 0.4, 1.4, np.nan], nan_ok=True)

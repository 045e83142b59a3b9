"""Racking, cubicles, desks and solids against counts and dimensions worked by hand."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from small_scenes import scene

from raycover.building.build import build
from raycover.building.mesh import box_triangles
from raycover.building.parts import Boxes, Building

TURNS = [0.0, 90.0, 180.0, 270.0, 33.0, -118.5]
RACK = {"name": "R", "at": [3, 4], "bays": 4, "levels": 3}


def built(**parts: Any) -> Building:
    return build(scene(**parts))


def back(points: np.ndarray, at: tuple[float, float], turn_deg: float) -> np.ndarray:
    """Points of the scene in the local frame of a thing at `at`, turned by `turn_deg`."""
    a = np.radians(turn_deg)
    moved = points[..., :2] - at
    return np.stack([moved @ [np.cos(a), np.sin(a)], moved @ [-np.sin(a), np.cos(a)]], axis=-1)


def extents(boxes: Boxes, at: tuple[float, float] = (0, 0), turn_deg: float = 0) -> np.ndarray:
    """(n, 2, 3) lowest and highest local corner of each box."""
    plan = back(boxes.footprints(), at, turn_deg)
    z = boxes.centre[:, 2:] + np.array([-0.5, 0.5]) * boxes.size[:, 2:]
    return np.stack([np.column_stack([plan.min(1), z[:, 0]]), np.column_stack([plan.max(1), z[:, 1]])], axis=1)


def overlap(one: np.ndarray, two: np.ndarray) -> float:
    """The smallest side of what two extents share; negative when apart."""
    return float((np.minimum(one[1], two[1]) - np.maximum(one[0], two[0])).min())


@pytest.mark.parametrize("turn_deg", TURNS)
def test_rack_counts_and_extent(turn_deg: float) -> None:
    """4 bays, 3 levels: 5 frames of 2 uprights, 2 beam levels front and rear, 3 pallets a bay and level."""
    building = built(racking=[{**RACK, "turn_deg": turn_deg}])
    assert Counter(building.boxes.kinds) == {"upright": 10, "beam": 16, "goods": 36}
    found = extents(building.boxes, (3, 4), turn_deg)
    frames = found[np.array([k == "upright" for k in building.boxes.kinds])]
    length = 4 * (2.7 + 0.1) + 0.1
    np.testing.assert_allclose(frames[:, 0].min(0), [0, 0, 0], atol=1e-9)
    np.testing.assert_allclose(frames[:, 1].max(0), [length, 1.1, 4.8], atol=1e-9)
    # a pallet stands out 50 mm front and rear (EN 15620: 1.2 m pallet, 1.1 m frame)
    goods = found[np.array([k == "goods" for k in building.boxes.kinds])]
    np.testing.assert_allclose([goods[:, 0, 1].min(), goods[:, 1, 1].max()], [-0.05, 1.15], atol=1e-9)
    np.testing.assert_allclose(
        extents(building.envelopes, (3, 4), turn_deg)[0], [[0, 0, 0], [length, 1.1, 4.8]], atol=1e-9
    )
    (mark,) = building.racks
    assert shapely.Polygon(mark.corners).area == pytest.approx(length * 1.1)
    assert shapely.Polygon(mark.corners).exterior.is_ccw
    assert (mark.bottom, mark.top, mark.bays) == (0, pytest.approx(4.8), 4)


def test_loads_fit_between_beams() -> None:
    """Loads stand on a beam level or the floor, below the next beam, and overlap neither steel nor each other."""
    boxes = built(racking=[RACK]).boxes
    found = extents(boxes)
    goods = [i for i, k in enumerate(boxes.kinds) if k == "goods"]
    assert sorted({round(float(found[i, 0, 2]), 9) for i in goods}) == [0, 1.6, 3.2]
    for i in goods:
        for j in range(len(boxes)):
            assert i == j or overlap(found[i], found[j]) < 1e-9, (boxes.names[i], boxes.names[j])
    assert found[goods, 1, 2].max() < 4.8


def test_heights_of_loads_given() -> None:
    boxes = built(racking=[{**RACK, "goods_height": 1.0}]).boxes
    assert {round(float(s), 9) for s, k in zip(boxes.size[:, 2], boxes.kinds, strict=True) if k == "goods"} == {1.0}


def test_empty_frames() -> None:
    building = built(racking=[{**RACK, "goods": False}])
    assert set(building.boxes.kinds) == {"upright", "beam"}
    assert {m.name for m in building.boxes.materials} == {"metal"}
    assert not building.racks[0].loaded


def test_one_level_has_no_beams() -> None:
    assert Counter(built(racking=[{**RACK, "levels": 1}]).boxes.kinds) == {"upright": 10, "goods": 12}


@pytest.mark.parametrize("turn_deg", TURNS)
def test_back_to_back(turn_deg: float) -> None:
    one, two = (built(racking=[{**RACK, "turn_deg": turn_deg, "back_to_back": b}]) for b in (False, True))
    assert len(two.boxes) == 2 * len(one.boxes)
    assert set(two.boxes.owners) == {"R"}
    found = extents(two.boxes, (3, 4), turn_deg)
    rear = np.array([name.startswith("R/rear") for name in two.boxes.names])
    frames = np.array([k == "upright" for k in two.boxes.kinds])
    np.testing.assert_allclose(found[rear & frames][:, 0, 1].min(), 1.1 + 0.25, atol=1e-9)
    np.testing.assert_allclose(found[rear & frames][:, 1, 1].max(), 2.45, atol=1e-9)
    assert max(overlap(a, b) for a in found[rear] for b in found[~rear]) == pytest.approx(
        -0.15
    )  # 0.25 less two overhangs
    assert len(two.envelopes) == 1
    assert two.envelopes.size[0] == pytest.approx([11.3, 2.45, 4.8])


def test_rack_stands_on_its_room() -> None:
    hall = {"name": "hall", "outline": [[0, 0], [30, 0], [30, 20], [0, 20]], "floor": 3.2, "height": 8, "walls": "none"}
    boxes = built(rooms=[hall], racking=[{**RACK, "base": 0.2}]).boxes
    assert extents(boxes)[:, 0, 2].min() == pytest.approx(3.4)


def test_solid_turns_about_its_centre() -> None:
    column = {"name": "c", "centre": [10, 12], "size": [2, 1, 3], "base": 0.5, "turn_deg": 90, "material": "concrete"}
    (found,) = extents(built(solids=[column]).boxes)
    np.testing.assert_allclose(found, [[9.5, 11, 0.5], [10.5, 13, 3.5]], atol=1e-12)


@pytest.mark.parametrize("turn_deg", TURNS)
def test_boxes_are_closed_and_face_outward(turn_deg: float) -> None:
    """trimesh calls each box a volume (closed, consistent, outward), of its closed-form size."""
    boxes = built(
        racking=[{**RACK, "turn_deg": turn_deg, "back_to_back": True}],
        solids=[
            {"name": "c", "centre": [90, -70], "size": [0.4, 0.7, 11], "turn_deg": turn_deg, "material": "concrete"}
        ],
    ).boxes
    triangles = box_triangles(boxes).reshape(len(boxes), 12, 3, 3)
    for i, each in enumerate(triangles):
        mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(each))
        assert mesh.is_volume
        assert mesh.volume == pytest.approx(float(np.prod(boxes.size[i])))


def sheets(building: Building) -> dict[str, tuple[np.ndarray, str]]:
    """Lowest and highest corner (2, 3) and kind of each sheet."""
    found = {}
    for sheet in building.sheets:
        points = sheet.frame.to_space(np.array(sheet.polygon.exterior.coords))
        found[sheet.name] = (np.stack([points.min(0), points.max(0)]), sheet.kind)
    return found


ROW = {"name": "WC", "at": [0, 0], "count": 3}


def test_cubicles() -> None:
    """Four dividers, two pieces of front a cubicle, a door each; 0.15 m clear below, top at 2 m."""
    building = built(cubicles=[ROW])
    found = sheets(building)
    assert Counter(kind for _, kind in found.values()) == {"panel": 4 + 6, "door": 3}
    every = np.array([box for box, _ in found.values()])
    np.testing.assert_allclose(every.min((0, 1)), [0, 0, 0.15], atol=1e-9)
    np.testing.assert_allclose(every.max((0, 1)), [2.55, 1.5, 2.0], atol=1e-9)
    np.testing.assert_allclose(found["WC/divider 1"][0], [[0.85, 0, 0.15], [0.85, 1.5, 2]], atol=1e-9)
    np.testing.assert_allclose(found["WC/door 2"][0], [[0.975, 1.5, 0.15], [1.575, 1.5, 2]], atol=1e-9)
    fronts = sum(s.polygon.area for s in building.sheets if "front" in s.name or "door" in s.name)
    assert fronts == pytest.approx(2.55 * 1.85)


def test_open_doors_stand_inward() -> None:
    found = sheets(built(cubicles=[{**ROW, "doors": ["open", "closed", "open"], "door": "door-wood-40"}]))
    assert [found[f"WC/door {i}"][1] for i in (1, 2, 3)] == ["leaf", "door", "leaf"]
    np.testing.assert_allclose(found["WC/door 1"][0], [[0.125, 0.9, 0.15], [0.125, 1.5, 2]], atol=1e-9)


@pytest.mark.parametrize(("left", "right", "names"), [(False, True, "123"), (True, False, "012"), (False, False, "12")])
def test_ends_against_walls(left: bool, right: bool, names: str) -> None:
    found = sheets(built(cubicles=[{**ROW, "left_end": left, "right_end": right}]))
    assert [n[-1] for n in found if "divider" in n] == list(names)


@pytest.mark.parametrize("turn_deg", TURNS)
def test_cubicles_turned(turn_deg: float) -> None:
    straight, turned = built(cubicles=[ROW]), built(cubicles=[{**ROW, "at": [7, -3], "turn_deg": turn_deg}])
    for one, two in zip(straight.sheets, turned.sheets, strict=True):
        a = one.frame.to_space(np.array(one.polygon.exterior.coords))
        b = two.frame.to_space(np.array(two.polygon.exterior.coords))
        np.testing.assert_allclose(back(b, (7, -3), turn_deg), a[:, :2], atol=1e-9)
        np.testing.assert_allclose(b[:, 2], a[:, 2], atol=1e-9)


def test_desks() -> None:
    building = built(desks=[{"name": "row", "at": [1, 2], "count": 3, "gap": 0.2}])
    found = sheets(building)
    assert Counter(kind for _, kind in found.values()) == {"desk": 3, "panel": 6}
    np.testing.assert_allclose(found["row/desk 2"][0], [[2.8, 2, 0.73], [4.4, 2.8, 0.73]], atol=1e-9)
    np.testing.assert_allclose(found["row/desk 3 right"][0], [[6.17, 2, 0], [6.17, 2.8, 0.73]], atol=1e-9)


def test_each_of_neighbouring_desks_stands_on_its_own_panels() -> None:
    found = sheets(built(desks=[{"name": "row", "at": [1, 2], "count": 3}]))
    assert sum(kind == "panel" for _, kind in found.values()) == 6

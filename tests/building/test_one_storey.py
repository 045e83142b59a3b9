"""One storey of a building by itself: what belongs to it, what is cut off where the next begins."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import scene

from raycover.building.build import build
from raycover.building.one_storey import one_storey, top_of

SQUARE = [[0, 0], [4, 0], [4, 4], [0, 4]]
BESIDE = [[4, 0], [8, 0], [8, 4], [4, 4]]


def room(name: str, floor: float, height: float = 3.0, outline: Any = SQUARE, **more: Any) -> dict[str, Any]:
    return {"name": name, "outline": outline, "floor": floor, "height": height, "walls": "brick-215", **more}


def building(**more: Any) -> Any:
    return build(scene(rooms=[room("A", 0), room("B", 3), room("Atrium", 0, 6.0, BESIDE)], **more))


def test_a_building_of_one_storey_is_itself() -> None:
    made = build(scene(rooms=[room("A", 0)]))
    assert one_storey(made, made.storeys[0]) is made


def test_rooms_sheets_and_levels() -> None:
    made = building()
    assert [s.level for s in made.storeys] == [0, 3]
    lower, upper = (one_storey(made, s) for s in made.storeys)
    assert [r.name for r in lower.rooms] == ["A", "Atrium"]
    assert [r.name for r in upper.rooms] == ["B"]
    assert (lower.ground, upper.ground) == (0, 3)
    assert [top_of(made, s) for s in made.storeys] == [3, 6]
    assert upper.bounds[:, 2].tolist() == [3, 6]
    assert upper.floor_at(1, 1) == 3
    assert upper.floor_at(50, 50) == 3  # outside its rooms the storey's own level counts


def test_a_tall_wall_is_cut_at_the_next_level() -> None:
    """The atrium's outer wall, 4 m long and 6 m high: 12 m² of it on either storey."""
    made = building()
    for storey, low in zip(made.storeys, (0, 3), strict=True):
        part = one_storey(made, storey)
        walls = [s for s in part.sheets if s.kind == "wall" and s.owner == "Atrium"]
        corners = [s.frame.to_space(np.asarray(s.polygon.exterior.coords)) for s in walls]
        ends = [c for c in corners if np.ptp(c[:, 0]) < 1e-9 and c[0, 0] == pytest.approx(8)]
        assert len(ends) == 1
        assert (ends[0][:, 2].min(), ends[0][:, 2].max()) == pytest.approx((low, low + 3))
        (sheet,) = [s for s, c in zip(walls, corners, strict=True) if c is ends[0]]
        assert sheet.polygon.area == pytest.approx(12)


def test_things_stand_on_their_storey_and_tall_ones_show_above() -> None:
    solids = [
        {"name": "low", "room": "A", "centre": [1, 1], "size": [0.5, 0.5, 1], "material": "metal"},
        {"name": "up", "room": "B", "centre": [2, 2], "size": [0.5, 0.5, 1], "material": "metal"},
        {"name": "mast", "room": "Atrium", "centre": [6, 2], "size": [0.5, 0.5, 5.5], "material": "metal"},
    ]
    made = building(solids=solids)
    lower, upper = (one_storey(made, s) for s in made.storeys)
    assert lower.boxes.names == ("low", "mast")
    assert upper.boxes.names == ("up", "mast")


def test_openings_belong_to_their_storey() -> None:
    door = {"edge": 0, "at": 1, "width": 0.9, "height": 2.1, "fill": "door-wood-40"}
    rooms = [room("A", 0, openings=[door]), room("B", 3, openings=[{**door, "at": 2}])]
    made = build(scene(rooms=rooms))
    assert [len(one_storey(made, s).openings) for s in made.storeys] == [1, 1]
    assert [one_storey(made, s).openings[0].owner for s in made.storeys] == ["A", "B"]


def test_side_by_side_each_thing_is_on_the_storey_it_stands_on() -> None:
    """An atrium 6 m high beside two storeys: its walls, mast and rack stand on the lower one and nowhere else."""
    door = {"edge": 0, "at": 1, "width": 0.9, "height": 2.1, "fill": "door-wood-40"}
    solids = [
        {"name": "up", "room": "B", "centre": [2, 2], "size": [0.5, 0.5, 1], "material": "metal"},
        {"name": "mast", "room": "Atrium", "centre": [6, 2], "size": [0.5, 0.5, 5.5], "material": "metal"},
        {"name": "pole outside", "centre": [-3, 2], "size": [0.5, 0.5, 5.5], "material": "metal"},
    ]
    screen = {"name": "screen", "room": "Atrium", "line": [[5, 3], [7, 3]], "height": 5, "construction": "glass-6"}
    rack = {"name": "R", "room": "Atrium", "at": [5, 0.5], "bays": 1, "bay_width": 2, "levels": 3, "base": 0.5}
    window = {**door, "sill": 4.0, "height": 1.0, "fill": "glass-6"}
    rooms = [room("A", 0), room("B", 3, openings=[door]), room("Atrium", 0, 6.0, BESIDE, openings=[window])]
    made = build(scene(rooms=rooms, solids=solids, partitions=[screen], racking=[rack]))
    lower, upper = (one_storey(made, s, once=True) for s in made.storeys)
    assert {"mast", "pole outside"} <= set(lower.boxes.names)
    assert set(upper.boxes.names) == {"up"}
    assert [len(part.racks) for part in (lower, upper)] == [1, 0]
    assert {s.owner for s in upper.sheets} <= {"A", "B", "Atrium"}, "A's ceiling and the wall it shares are B's too"
    assert [m.owner for m in upper.openings] == ["B"]
    plans = [s.frame.to_space(np.asarray(s.polygon.exterior.coords))[:, 0] for s in upper.sheets]
    assert max(float(x.max()) for x in plans) == pytest.approx(4), "nothing of the atrium beyond the wall they share"
    assert any(np.ptp(x) < 1e-9 and x[0] == pytest.approx(4) for x in plans)
    both = one_storey(made, made.storeys[1])
    assert {"mast", "pole outside", "up"} <= set(both.boxes.names), "a plan cuts what rises through it"

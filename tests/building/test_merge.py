"""Faces in one place: one sheet where they agree, a reported error where they don't."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_scenes import scene

import raycover
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.errors import InputError
from raycover.rays.ray_scene import RayScene


def moved(
    points: Any, turn_deg: float = 0.0, at: tuple[float, float] = (0.0, 0.0), digits: int = 15
) -> list[list[float]]:
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    found: list[list[float]] = (np.asarray(points, float) @ turn + at).round(digits).tolist()
    return found


def oblong(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def room(name: str, outline: Any, **more: Any) -> dict[str, Any]:
    return {"name": name, "outline": outline, "height": 3, "walls": "brick-100", **more}


def built(*rooms: dict[str, Any], **more: Any) -> Building:
    return build(scene(rooms=list(rooms), **more))


def wall_area(building: Building) -> float:
    return float(sum(s.polygon.area for s in building.sheets if s.kind == "wall"))


def crossed(building: Building, start: Any, end: Any, frequency_ghz: float | None = 5.8) -> list[str]:
    rays = RayScene(building)
    line = rays.segments(np.asarray(start, float), np.asarray([end], float))
    return [c.object for c in rays.crossings(line, frequency_ghz, "averaged")]


A, B = oblong(0, 0, 4, 5), oblong(4, 0, 9, 5)
TURNS = [0.0, 45.0, 33.0, 90.0, 135.0, 201.7]


@pytest.mark.parametrize("turn_deg", TURNS)
@pytest.mark.parametrize("opposite", [False, True])
@pytest.mark.parametrize("at", [(0.0, 0.0), (150.0, -80.0)])
def test_shared_wall_is_one_sheet(turn_deg: float, opposite: bool, at: tuple[float, float]) -> None:
    other = B[::-1] if opposite else B
    building = built(room("a", moved(A, turn_deg, at)), room("b", moved(other, turn_deg, at)))
    # 6 walls: 4 + 4 − 1 shared; (18 + 20 − 5) m by 3 m
    assert len(building.sheets) == 7
    assert wall_area(building) == pytest.approx(33 * 3, rel=1e-6)
    start, end = moved([[2, 2.5], [7, 2.6]], turn_deg, at)
    assert len(crossed(building, [*start, 1], [*end, 1])) == 1


@pytest.mark.parametrize("turn_deg", TURNS)
def test_partial_overlap(turn_deg: float) -> None:
    """b's wall overlaps 2 of a's 5 metres and stands out 3 m beyond."""
    b = oblong(4, 3, 9, 8)
    building = built(room("a", moved(A, turn_deg)), room("b", moved(b, turn_deg)))
    assert wall_area(building) == pytest.approx((18 + 20 - 2) * 3, rel=1e-6)
    for y, n in ((1, 1), (4, 1), (7, 1)):
        start, end = moved([[3.5, y], [4.5, y + 0.01]], turn_deg)
        assert len(crossed(building, [*start, 1], [*end, 1])) == n


@pytest.mark.parametrize("turn_deg", [33.0, 12.3])
def test_coordinates_to_the_nearest_millimetre(turn_deg: float) -> None:
    """Turned plans are typed to the millimetre: corners then miss the neighbour's wall by up to 0.7 mm."""
    a, b, c = oblong(0, 0, 30, 5), oblong(3, 5, 9, 9), oblong(9, 5, 13, 9)
    door = {"edge": 0, "at": 1, "width": 1, "height": 2, "fill": "none"}
    rooms = [room(n, moved(o, turn_deg, (60, 20), 3)) for n, o in (("a", a), ("b", b), ("c", c))]
    rooms[1]["openings"] = [door]
    building = built(*rooms)
    # a has 70 m, b 20 of which 6 shared with a, c 16 of which 4 with a and 4 with b
    assert wall_area(building) == pytest.approx((70 + 14 + 8) * 3 - 2, abs=0.05)
    through, beside = moved([[4.5, 4], [4.5, 6]], turn_deg, (60, 20)), moved([[7, 4], [7.4, 6]], turn_deg, (60, 20))
    assert crossed(building, [*through[0], 1], [*through[1], 1]) == []
    assert len(crossed(building, [*beside[0], 1], [*beside[1], 1])) == 1
    rooms[2]["walls"] = "brick-215"
    with pytest.raises(InputError) as caught:
        built(*rooms)
    assert {p.code for p in caught.value.problems} == {"coincident-faces"}


@pytest.mark.parametrize("owner", ["a", "b"])
@pytest.mark.parametrize("state", ["open", "closed"])
def test_openings_of_either_cut_both(owner: str, state: str) -> None:
    edge, at = (1, 2.0) if owner == "a" else (3, 2.0)
    opening = {"edge": edge, "at": at, "width": 1, "height": 2, "fill": "door-wood-40", "state": state}
    a, b = room("a", A), room("b", B)
    (a if owner == "a" else b)["openings"] = [opening]
    building = built(a, b)
    assert wall_area(building) == pytest.approx(33 * 3 - 2)
    through = crossed(building, [3, 2.5, 1], [5, 2.5, 1])
    assert through == ([] if state == "open" else [f"{owner}/opening 0"])


def test_same_door_in_both_rooms_is_one_door() -> None:
    door = {"at": 2, "width": 1, "height": 2, "fill": "door-wood-40"}
    building = built(room("a", A, openings=[{"edge": 1, **door}]), room("b", B, openings=[{"edge": 3, **door}]))
    assert sum(s.polygon.area for s in building.sheets if s.kind == "door") == pytest.approx(2)


@pytest.mark.parametrize("change", [{"state": "open"}, {"fill": "glass-6"}, {"fill": "none"}])
def test_door_written_twice_must_be_alike(change: dict[str, str]) -> None:
    door = {"at": 2, "width": 1, "height": 2, "fill": "door-wood-40"}
    with pytest.raises(InputError) as caught:
        built(room("a", A, openings=[{"edge": 1, **door}]), room("b", B, openings=[{"edge": 3, **door, **change}]))
    assert [p.code for p in caught.value.problems] == ["openings-disagree"]


def test_none_yields_to_the_other() -> None:
    building = built(room("a", A, walls="none"), room("b", B))
    assert crossed(building, [2, 2.5, 1], [7, 2.5, 1]) == ["b/wall 3"]
    assert wall_area(building) == pytest.approx(20 * 3)


def test_disagreement_is_reported_once_with_both_lines() -> None:
    yaml = (
        "raycover: 1\nrooms:\n"
        "  - name: a\n    outline: [[0, 0], [4, 0], [4, 5], [0, 5]]\n    height: 3\n    walls: brick-100\n"
        "  - name: b\n    outline: [[4, 0], [9, 0], [9, 5], [4, 5]]\n    height: 2.5\n    walls: glass-6\n"
    )
    with pytest.raises(InputError) as caught:
        build(raycover.load_text(yaml))
    (problem,) = caught.value.problems
    assert (problem.code, problem.position.line) == ("coincident-faces", 10)
    assert "line 6" in problem.message
    assert "12.5 m²" in problem.message  # 5 m by the lower height


def test_stacked_rooms_share_a_slab() -> None:
    low = room("low", A, ceiling="concrete-150")
    high = room("high", A, floor=3, floor_construction="concrete-150")
    building = built(low, high)
    assert sum(s.polygon.area for s in building.sheets if not s.vertical) == pytest.approx(20)
    assert len(crossed(building, [2, 2, 1], [2.5, 2.5, 4])) == 1
    with pytest.raises(InputError, match="coincident-faces"):
        built(low, {**high, "floor_construction": "concrete-200"})


def test_coplanar_but_apart_stays_apart() -> None:
    """Two rooms in line, 1 m apart, and one above the other's wall line: nothing to merge, nothing to report."""
    building = built(room("a", A), room("b", oblong(5, 0, 9, 5), walls="glass-6"))
    assert wall_area(building) == pytest.approx((18 + 18) * 3)
    building = built(room("a", A), room("b", A, floor=3, walls="glass-6"))
    assert wall_area(building) == pytest.approx(18 * 3 * 2)


def test_parallel_two_millimetres_apart_are_two_walls() -> None:
    building = built(room("a", A), room("b", oblong(4.002, 0, 9, 5), walls="glass-6"))
    assert len(crossed(building, [2, 2.5, 1], [7, 2.5, 1])) == 2


def test_three_in_one_place() -> None:
    """Two rooms and a partition along their shared wall: one sheet when alike; each strange one reported once."""
    screen = {"name": "p", "line": [[4, 1], [4, 6]], "height": 3, "construction": "brick-100"}
    building = built(room("a", A), room("b", B), partitions=[screen])
    assert wall_area(building) == pytest.approx(33 * 3)
    assert sum(s.polygon.area for s in building.sheets if s.kind == "partition") == pytest.approx(3)
    assert len(crossed(building, [2, 2.5, 1], [7, 2.5, 1])) == 1
    with pytest.raises(InputError) as caught:
        built(room("a", A), room("b", B), partitions=[{**screen, "construction": "glass-6"}])
    assert len(caught.value.problems) == 1


def test_help_for_a_cubicle_against_a_wall() -> None:
    row = {"name": "WC", "at": [0, 0.5], "count": 2}
    with pytest.raises(InputError, match="left_end: false"):
        built(room("a", A), cubicles=[row])
    building = built(room("a", A), cubicles=[{**row, "left_end": False}])
    assert not any(s.name == "WC/divider 0" for s in building.sheets)


def test_a_desk_may_stand_against_a_wall() -> None:
    """Its top touches the wall with an edge; its side panels stand in from the ends."""
    assert built(room("a", A), desks=[{"name": "desk", "at": [0, 1]}]).sheets


def test_help_for_a_desk_in_a_wall() -> None:
    with pytest.raises(InputError, match="move it a few millimetres clear"):
        built(room("a", A), desks=[{"name": "desk", "at": [-0.03, 1]}])


@given(
    x=st.floats(1, 9),
    low=st.floats(0, 4),
    length=st.floats(0.5, 8),
    turn_deg=st.floats(0, 360),
    far=st.floats(-300, 300),
)
def test_shared_part_counts_once(x: float, low: float, length: float, turn_deg: float, far: float) -> None:
    """Whatever the turn and place: the walls of two rooms less the part they share (plane geometry)."""
    a, b = oblong(0, 0, x, 5), oblong(x, low, x + 3, low + length)
    building = built(room("a", moved(a, turn_deg, (far, 1))), room("b", moved(b, turn_deg, (far, 1))))
    shared = max(min(5, low + length) - low, 0)
    assert wall_area(building) == pytest.approx(3 * (2 * (x + 5) + 2 * (3 + length) - shared), rel=1e-5)


@pytest.mark.parametrize("digits", [15, 3])
def test_neighbours_under_other_ceilings_touch_and_no_more(digits: int) -> None:
    """Two rooms along the side of a third, all under ceilings of their own, at any turn; as computed, and typed to the
    millimetre, where a corner on another room's side may lie 0.7 mm off it. Slivers of that are no overlap."""
    outlines = {"plasterboard-12.5": (0, 0, 18, 4), "ceiling-tile-15": (0, 4, 7.3, 9), "concrete-150": (7.3, 4, 18, 9)}
    rng = np.random.default_rng(11)
    for turn_deg, *at in rng.uniform([0, -50, -50], [360, 50, 50], (60, 3)):
        rooms = [
            room(ceiling, moved(oblong(*outline), turn_deg, tuple(at), digits), ceiling=ceiling)
            for ceiling, outline in outlines.items()
        ]
        ceilings = [s for s in built(*rooms).sheets if s.kind == "ceiling"]
        assert sorted(s.polygon.area for s in ceilings) == pytest.approx([36.5, 53.5, 72.0], abs=0.03)


def test_a_strip_of_two_millimetres_is_an_overlap() -> None:
    rooms = [
        room("a", oblong(0, 0, 6, 4), ceiling="concrete-150"),
        room("b", oblong(0, 3.998, 6, 9), ceiling="ceiling-tile-15", walls="none"),
    ]
    with pytest.raises(InputError, match="lies in the same place"):
        built(*rooms)

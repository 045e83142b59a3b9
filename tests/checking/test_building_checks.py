"""What stands in a building: each check on a scene spoiled just so, and on sound ones that it leaves alone."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import scene

import raycover
from raycover.building.build import build
from raycover.checking import check_building
from raycover.errors import Problem
from raycover.solving.coverage import make_units

DOOR = {"edge": 0, "at": 1, "width": 1, "height": 2.1, "fill": "door-wood-40"}


def room(name: str = "A", x: float = 0, y: float = 0, w: float = 10, d: float = 8, **more: Any) -> dict[str, Any]:
    outline = [[x, y], [x + w, y], [x + w, y + d], [x, y + d]]
    return {"name": name, "outline": outline, "height": 3, "walls": "brick-100", "ceiling": "plasterboard-12.5",
            "openings": [DOOR], **more}  # fmt: skip


def found(**parts: Any) -> list[Problem]:
    parts.setdefault("rooms", [room()])
    made = scene(**parts)
    building = build(made)
    return check_building(made, building, make_units(made, building))


def codes(**parts: Any) -> list[str]:
    return [problem.code for problem in found(**parts)]


def only(**parts: Any) -> Problem:
    problems = found(**parts)
    assert len(problems) == 1, problems
    assert problems[0].help
    assert problems[0].position.line > 0
    return problems[0]


def unit(at: tuple[float, float], mounting: float = 2.8, model: str = "ceiling-infrared-general", **more: Any) -> Any:
    return {"name": "D", "model": model, "at": list(at), "mounting": mounting, **more}


def box(x: float, y: float, size: tuple[float, float, float] = (2, 1, 2), **more: Any) -> dict[str, Any]:
    return {"name": "Box", "centre": [x, y], "size": list(size), "material": "timber", **more}


def rack(x: float, y: float, name: str = "R", **more: Any) -> dict[str, Any]:
    return {"name": name, "at": [x, y], "bays": 1, "levels": 1, **more}


def test_the_examples_stand(example: Any) -> None:
    made = raycover.load(example.path)
    assert check_building(made, example.building, example.coverage.units) == []


# ---- racking, solids, desks


def test_a_rack_through_a_wall() -> None:
    """A bay of 2.9 m over the corner at x = 10: 1.1 m deep, so 1.1 m of the wall lies in it."""
    problem = only(racking=[rack(8.5, 4)])
    assert (problem.code, problem.severity) == ("rack-through-wall", "error")
    assert 'rack "R" stands through "A/wall 1", along 1.08 m' in problem.message


@pytest.mark.parametrize("at", [(7.1, 4), (7.105, 4), (0, 4), (0, 6.9)])
def test_a_rack_against_a_wall(at: tuple[float, float]) -> None:
    assert "rack-through-wall" not in codes(racking=[rack(*at)])


def test_a_rack_under_a_bulkhead_and_through_it() -> None:
    bulkhead = {"name": "B", "line": [[4, 0], [4, 8]], "base": 2.0, "height": 1.0, "construction": "plasterboard-12.5"}
    assert "rack-through-wall" not in codes(racking=[rack(3, 4)], partitions=[bulkhead])
    assert "rack-through-wall" in codes(racking=[rack(3, 4, level_pitch=2.5)], partitions=[bulkhead])


def test_racks_in_each_other() -> None:
    problem = only(racking=[rack(2, 3), rack(3, 3.5, "S")])
    assert (problem.code, problem.severity) == ("racks-overlap", "error")
    assert 'racks "R" (line 1) and "S" stand in each other over 1.1 m²' in problem.message
    assert codes(racking=[rack(2, 3), rack(4.9, 3, "S"), rack(2, 4.1, "T")]) == []
    assert codes(rooms=[room(height=6)], racking=[rack(2, 3), rack(2, 3, "S", base=1.7)]) == []


def test_solids_through_walls_but_columns_stand_in_them() -> None:
    problem = only(solids=[box(10, 4)])
    assert (problem.code, problem.severity) == ("solid-through-wall", "warning")
    assert codes(solids=[box(10, 4, (0.4, 0.4, 3))]) == []
    assert codes(solids=[box(9, 4)]) == []


def test_a_lintel_is_part_of_its_wall() -> None:
    assert codes(solids=[box(10, 4, (0.3, 1.5, 0.25), base=2.1)]) == []
    assert codes(solids=[box(10, 4, (0.8, 1.5, 0.25), base=2.1)]) == ["solid-through-wall"]


def test_a_conveyor_through_its_opening() -> None:
    hatch = {"edge": 1, "at": 3, "width": 2, "height": 1, "sill": 0.5, "fill": "none"}
    belt = box(10, 4, (4, 1, 0.8), base=0.6)
    assert codes(rooms=[room(openings=[DOOR, hatch])], solids=[belt]) == []
    assert codes(solids=[belt]) == ["solid-through-wall"]


def test_a_column_in_a_rack_is_a_note() -> None:
    problem = only(racking=[rack(3, 3)], solids=[box(4, 3.5, (0.5, 0.5, 2.2))])
    assert (problem.code, problem.severity) == ("solid-in-rack", "note")


def test_desks_through_a_partition() -> None:
    desks = {"name": "Row", "at": [3, 4], "count": 2}
    screen = {"name": "P", "line": [[5.4, 0], [5.4, 8]], "height": 3, "construction": "stud-wall-100",
              "openings": [{"at": 1, "width": 1, "height": 2.1, "fill": "door-wood-40"}]}  # fmt: skip
    problem = only(desks=[desks], partitions=[screen])
    assert (problem.code, problem.severity) == ("desk-through-wall", "warning")
    assert '"Row/desk 2" stands through "P"' in problem.message
    over = {**screen, "base": 0.9, "height": 1.0, "openings": []}
    assert "desk-through-wall" not in codes(desks=[desks], partitions=[over])
    between = {**screen, "line": [[4.6, 0], [4.6, 8]]}
    assert codes(desks=[desks], partitions=[between]) == []


# ---- what is typed by its corner or its line


def cubicle_row(**more: Any) -> dict[str, Any]:
    return {"name": "WC", "at": [6, 8], "turn_deg": 180, "count": 4, **more}


def test_cubicles_turned_about_the_wrong_corner_stand_through_the_wall() -> None:
    """Four standard cubicles from x = 0.3 toward −x: the wall at x = 0 stands in the first of them."""
    row = cubicle_row(at=[0.3, 8])
    by_code = {p.code: p for p in found(cubicles=[row])}
    assert by_code["cubicles-through-wall"].severity == "error"
    assert '"WC" stands through "A/wall 3"' in by_code["cubicles-through-wall"].message
    assert '"WC" stands outside every room, with ' in by_code["outside-rooms"].message
    assert "rear left corner" in by_code["outside-rooms"].help
    assert codes(cubicles=[cubicle_row(doors="open", opens="outward")]) == []


def test_fixtures_are_told_once_a_row_and_stand_among_cubicles() -> None:
    basins = {"name": "Basins", "kind": "basin", "at": [4, -0.4], "count": 3}
    assert codes(fixtures=[basins]) == ["thing-through-wall", "outside-rooms"]
    assert codes(fixtures=[{**basins, "at": [4, 0.05]}]) == []
    pans = {"name": "Pans", "kind": "wc", "at": [5.8, 7.95], "turn_deg": 180, "count": 4, "pitch": 0.85}
    assert codes(cubicles=[cubicle_row()], fixtures=[pans]) == []


def test_tables_and_desks_outside() -> None:
    table = {"name": "T", "centre": [14, 4], "size": [2, 1]}
    assert only(tables=[table]).message == '"T" stands outside every room, wholly'
    assert sorted(codes(tables=[{**table, "centre": [10, 4]}])) == ["desk-through-wall", "outside-rooms"]
    assert codes(tables=[{**table, "centre": [5, 4]}]) == []
    assert "outside-rooms" in codes(desks=[{"name": "Row", "at": [12, 4], "count": 2}])


def test_a_stair_that_stops_short_of_its_floor() -> None:
    """18 risers up 3 m: 17 treads of 0.28 m end 4.76 m from the foot, which lies at y = 1."""
    stair = {"name": "S", "room": "A", "at": [4, 1], "rise": 3, "risers": 18, "width": 1.2}

    def told(end: float) -> list[str]:
        void = {"outline": [[4, 1], [5.2, 1], [5.2, end], [4, end]]}
        upper = room("B", floor=3, openings=[], ceiling="none", voids=[void])
        return [p.message for p in found(rooms=[room(), upper], stairs=[stair]) if p.code == "stair-off-floor"]

    assert told(5.76 + 0.26) == ['the head of stair "S" ends 0.26 m short of the floor at 3 m']
    assert not told(5.76)
    assert not told(5.76 + 0.05), "half a wall"
    assert not told(5.5), "a void too short is told by the headroom"
    assert "no floor within 2.5 m" in told(8.0)[0]


def test_a_stair_through_a_wall() -> None:
    """It climbs along +y from y = 6 and needs 4.5 m; the wall stands at y = 8."""
    upper = room("U", floor=3, openings=[])
    stair = {"name": "S", "kind": "straight", "room": "A", "at": [4, 6], "rise": 3}
    (problem,) = [p for p in found(rooms=[room(), upper], stairs=[stair]) if p.code == "stair-through-wall"]
    assert problem.severity == "warning"
    assert 'stair "S" runs through "A/wall 2"' in problem.message
    inside = {**stair, "at": [4, 1]}
    assert "stair-through-wall" not in codes(rooms=[room(), upper], stairs=[inside])


def test_partitions_beside_rooms_and_above_ceilings() -> None:
    problem = only(partitions=[partition(4, -2, 4, 6)])
    assert (problem.code, problem.severity) == ("outside-rooms", "warning")
    assert "over 1.85 m of its 8.00 m" in problem.message
    problem = only(partitions=[partition(4, 0, 4, 6, height=3.4)])
    assert (problem.code, problem.severity) == ("partition-above-ceiling", "error")
    assert 'rises to 3.4 m in "A", which is 3 m high there' in problem.message
    assert codes(partitions=[partition(4, 0, 4, 6, height=3.2)]) == []


# ---- slits and double walls


def partition(x0: float, y0: float, x1: float, y1: float, height: float = 3, **more: Any) -> dict[str, Any]:
    return {"name": "P", "line": [[x0, y0], [x1, y1]], "height": height, "construction": "stud-wall-100", **more}


@pytest.mark.parametrize(
    ("short", "words"), [(0.002, "2 mm"), (0.05, "50 mm"), (0.0599, "60 mm"), (0.001, None), (0.0, None), (0.2, None)]
)
def test_a_partition_short_of_a_wall(short: float, words: str | None) -> None:
    problems = [p for p in found(partitions=[partition(4, short, 4, 6)]) if p.code == "partition-slit"]
    if words is None:
        assert problems == []
    else:
        (problem,) = problems
        assert problem.severity == "warning"
        assert f'the start of partition "P" stops {words} short of "A/wall 0"' in problem.message


def test_the_slit_is_one_that_light_passes() -> None:
    """What is warned of is so: through the slit of 50 mm a ray passes, and none once the line is mended."""
    from raycover.rays.ray_scene import RayScene

    for short, clear in ((0.05, True), (0.0, False)):
        rays = RayScene(build(scene(rooms=[room()], partitions=[partition(4, short, 4, 6)])))
        points = np.array([[5.0, 0.03, 1.0]])
        blocker = rays.first_blocker(rays.segments(np.array([3.0, 0.03, 1.0]), points))
        assert (int(blocker[0]) < 0) is clear


def test_short_of_a_thick_wall_and_of_a_column() -> None:
    thick = [room(walls="brick-215")]
    assert "partition-slit" in codes(rooms=thick, partitions=[partition(4, 0.11, 4, 6)])
    assert "partition-slit" in codes(partitions=[partition(4, 1.02, 4, 6)], solids=[box(4, 0.8, (0.4, 0.4, 3))])
    assert "partition-slit" not in codes(partitions=[partition(4, 1.0, 4, 6)], solids=[box(4, 0.8, (0.4, 0.4, 3))])


def test_partitions_that_meet_each_other() -> None:
    tee = {**partition(4, 4, 7, 4), "name": "Q"}
    assert codes(partitions=[partition(4, 0, 4, 6), tee]) == []
    short = {**partition(4.03, 4, 7, 4), "name": "Q"}
    assert codes(partitions=[partition(4, 0, 4, 6), short]) == ["partition-slit"]


def test_a_low_screen_and_one_that_just_misses_the_ceiling() -> None:
    assert codes(partitions=[partition(4, 0, 4, 6, height=1.4)]) == []
    problem = only(partitions=[partition(4, 0, 4, 6, height=2.97)])
    assert problem.code == "partition-slit"
    assert 'stops 30 mm below the ceiling of "A"' in problem.message


def test_walls_drawn_to_their_faces() -> None:
    problem = only(rooms=[room(), room("B", x=10.12, openings=[{**DOOR, "at": 4}])])
    assert (problem.code, problem.severity) == ("double-wall", "note")
    assert "120 mm apart over 8.0 m" in problem.message
    assert codes(rooms=[room(), room("B", x=10)]) == []
    assert codes(rooms=[room(), room("B", x=11)]) == []


# ---- doors


def test_a_door_against_the_next_room_s_wall() -> None:
    rooms = [room(openings=[DOOR, {**DOOR, "edge": 1}]), room("B", x=10.12)]
    by_code = {p.code: p for p in found(rooms=rooms)}
    assert by_code["opening-blocked"].severity == "warning"
    assert '"A/opening 1" leads against "B/wall 3", 120 mm away' in by_code["opening-blocked"].message


def test_a_door_against_a_rack_and_a_door_beside_one() -> None:
    assert sorted(codes(racking=[rack(0.5, 0.2)])) == ["opening-blocked", "unreachable-floor"]
    assert codes(racking=[rack(0.5, 0.8)]) == []
    assert codes(racking=[rack(2.2, 0.2)]) == []


def test_a_door_that_opens_on_nothing_but_outside_is_fine() -> None:
    assert codes() == []


def test_a_door_over_a_drop() -> None:
    high = room("B", x=10, floor=1.2, height=1.8, openings=[])
    door = {**DOOR, "edge": 1, "sill": 0}
    (problem,) = [p for p in found(rooms=[room(openings=[DOOR, door]), high]) if p.code == "opening-drop"]
    assert '"A/opening 1" joins the floor of "B" to that of "A", 1.20 m lower' in problem.message
    step = room("B", x=10, floor=0.15, height=2.85, openings=[])
    assert "opening-drop" not in codes(rooms=[room(openings=[DOOR, door]), step])


def test_a_room_without_a_door() -> None:
    problem = only(rooms=[room(), room("B", x=10, openings=[])])
    assert (problem.code, problem.severity) == ("room-without-door", "warning")
    assert problem.message == 'room "B" has no door'


def test_rooms_entered_from_next_door_through_a_gap_or_with_a_wall_left_out() -> None:
    shared = {**DOOR, "edge": 1}
    assert codes(rooms=[room(openings=[DOOR, shared]), room("B", x=10, openings=[])]) == []
    gap = {**shared, "fill": "none"}
    assert codes(rooms=[room(openings=[DOOR, gap]), room("B", x=10, openings=[])]) == []
    bay = room("B", x=10, openings=[], walls=["brick-100", "brick-100", "brick-100", "none"])
    assert "room-without-door" not in codes(rooms=[room(), bay])


def test_a_window_is_no_door() -> None:
    window = {"edge": 1, "at": 1, "width": 2, "height": 1.2, "sill": 0.9, "fill": "glass-6"}
    assert codes(rooms=[room(openings=[DOOR, window]), room("B", x=10, openings=[])]) == ["room-without-door"]


def test_a_study_without_doors_is_left_alone() -> None:
    assert codes(rooms=[room(openings=[]), room("B", x=10, openings=[])]) == []


# ---- floor that nobody can reach


def test_an_island_behind_a_partition() -> None:
    """A corner of 3 m × 8 m walled off, 24 m²."""
    problem = only(partitions=[partition(7, 0, 7, 8)])
    assert (problem.code, problem.severity) == ("unreachable-floor", "warning")
    area = float(problem.message.split("about ")[1].split(" m²")[0])
    assert area == pytest.approx(24, rel=0.05)
    x, y = (float(v) for v in problem.message.split("around (")[1].split(")")[0].split(", "))
    assert 7 < x < 10
    assert 0 < y < 8


def test_a_deck_is_reached_by_its_open_edges() -> None:
    """One side open to the yard is a way in; one that is open to a room that nobody reaches is none."""
    deck = {**room("Deck", x=10, openings=[]), "walls": ["brick-100", "none", "brick-100", "brick-100"]}
    assert codes(rooms=[room(), deck]) == []
    beyond = room("Beyond", x=20, openings=[])
    assert "unreachable-floor" in codes(rooms=[room(), deck, beyond])


@pytest.mark.parametrize("state", ["open", "closed"])
def test_doors_are_passable_open_or_closed(state: str) -> None:
    door = {"at": 2, "width": 0.8, "height": 2.1, "fill": "door-wood-40", "state": state}
    assert codes(partitions=[partition(7, 0, 7, 8, openings=[door])]) == []


@pytest.mark.parametrize(("wide", "reached"), [(0.2, False), (0.45, True), (1.0, True)])
def test_how_narrow_a_way_may_be(wide: float, reached: bool) -> None:
    ways = codes(partitions=[partition(7, wide, 7, 8)])
    assert ("unreachable-floor" not in ways) is reached


def test_a_window_and_a_low_screen_stop_a_person_a_bulkhead_does_not() -> None:
    window = {"at": 2, "width": 4, "height": 1.4, "sill": 0.8, "fill": "none"}
    assert codes(partitions=[partition(7, 0, 7, 8, openings=[window])]) == ["unreachable-floor"]
    assert codes(partitions=[partition(7, 0, 7, 8, height=0.9)]) == ["unreachable-floor"]
    assert codes(partitions=[partition(7, 0, 7, 8, height=0.8, base=2.1)]) == []


def test_an_island_among_racks_and_solids() -> None:
    """Four boxes about a yard of 2 m × 2 m."""
    walls = [
        {**box(5, 2.5, (4, 1, 2)), "name": "S"}, {**box(5, 5.5, (4, 1, 2)), "name": "N"},
        {**box(3.5, 4, (1, 2, 2)), "name": "W"}, {**box(6.5, 4, (1, 2, 2)), "name": "E"},
    ]  # fmt: skip
    problem = only(solids=walls)
    assert problem.code == "unreachable-floor"
    area = float(problem.message.split("about ")[1].split(" m²")[0])
    assert area == pytest.approx(4, rel=0.1)
    assert codes(solids=walls[:3]) == []


def test_the_gap_behind_a_rack_is_no_island() -> None:
    """A strip too narrow to stand in is nobody's floor."""
    assert codes(racking=[rack(3, 6.75, bays=2), rack(3, 6.75 - 1.3, "S", bays=2)]) == []


def test_cubicles_are_reached_through_their_doors() -> None:
    row = {"name": "WC", "at": [6, 8], "turn_deg": 180, "count": 4, "floor_gap": 0.1}
    assert codes(cubicles=[row]) == []


def test_rooms_in_a_chain_from_the_way_in() -> None:
    """Only the first room has a door outside; the last is cut off when the door between is left out."""
    between = {**DOOR, "edge": 1}
    chain = [room(openings=[DOOR, between]), room("B", x=10, openings=[between]), room("C", x=20, openings=[])]
    assert codes(rooms=chain) == []
    pair = [room(), room("B", x=10, openings=[between]), room("C", x=20, openings=[])]
    problems = found(rooms=pair)
    assert [p.code for p in problems] == ["unreachable-floor"]
    assert '"B"' in problems[0].message or '"C"' in problems[0].message


def test_a_turned_room() -> None:
    turn = np.radians(31)
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    outline = (np.array([[0, 0], [10, 0], [10, 8], [0, 8]]) @ matrix.T).tolist()
    line = (np.array([[7, 0], [7, 8]]) @ matrix.T).tolist()
    turned = {**room(), "outline": outline}
    assert codes(rooms=[turned]) == []
    assert codes(rooms=[turned], partitions=[{**partition(0, 0, 1, 1), "line": line}]) == ["unreachable-floor"]


def test_storeys_by_themselves() -> None:
    upper = room("U", floor=3, openings=[])
    assert codes(rooms=[room(), upper]) == ["room-without-door"]
    upper = room("U", floor=3)
    assert codes(rooms=[room(), upper]) == []
    cut_off = {**partition(7, 0, 7, 8), "room": "U"}
    assert codes(rooms=[room(), upper], partitions=[cut_off]) == ["unreachable-floor"]


# ---- detectors


@pytest.mark.parametrize(("x", "near"), [(0.05, True), (0.25, True), (0.35, False), (5, False)])
def test_a_ceiling_unit_near_a_wall(x: float, near: bool) -> None:
    problems = found(detectors=[unit((x, 4))])
    assert [p.code for p in problems] == ["detector-near"] * near
    if near:
        assert f'"D" hangs {x * 1000:.0f} mm from "A/wall 3"' in problems[0].message


def test_a_wall_unit_on_its_wall_looks_away() -> None:
    assert codes(detectors=[unit((0.05, 4), 2.4, "wall-infrared")]) == []
    assert codes(detectors=[unit((0.05, 4), 2.4, "wall-infrared", turn_deg=180)]) == ["detector-near"]


def test_a_unit_beside_a_duct_and_one_under_it() -> None:
    duct = {**box(5, 4, (8, 0.5, 0.4), base=2.4), "material": "metal"}
    assert codes(detectors=[unit((5, 4.35))], solids=[duct]) == ["detector-near"]
    assert codes(detectors=[unit((5, 4), 2.4)], solids=[duct]) == []
    assert codes(detectors=[unit((5, 4.35))], solids=[{**duct, "base": 0, "size": [8, 0.5, 2.2]}]) == []


def test_a_unit_on_a_column() -> None:
    assert codes(detectors=[unit((5.25, 4))], solids=[box(5, 4, (0.4, 0.4, 3))]) == ["detector-near"]


def test_a_unit_over_a_low_screen() -> None:
    assert codes(detectors=[unit((4, 4))], partitions=[partition(4, 0, 4, 6, height=1.6)]) == []

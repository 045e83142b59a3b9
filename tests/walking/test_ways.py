"""Routes of a scene: what they mean, and everything that can be wrong with them, at its line."""

from __future__ import annotations

import numpy as np
import pytest
from walk_scenes import hall, scene, ways

import raycover
from raycover.building.build import build
from raycover.errors import InputError
from raycover.walking.kinematics import make_track
from raycover.walking.obstacles import obstacles
from raycover.walking.ways import make_ways

TEXT = """\
raycover: 1
rooms:
  - name: Office
    outline: [[0, 0], [8, 0], [8, 6], [0, 6]]
    height: 2.8
    walls: stud-wall-100
    openings:
      - {name: Front door, edge: 0, at: 3.5, width: 0.9, height: 2.1, fill: door-wood-40}
      - {edge: 1, at: 2.0, width: 0.9, height: 2.1, fill: door-wood-40}
  - name: Store
    outline: [[8, 0], [12, 0], [12, 6], [8, 6]]
    height: 2.8
    walls: stud-wall-100
desks:
  - {name: Desks, at: [1, 4], count: 3, seat: true}
routes:
"""


def load(*routes: str) -> raycover.scene.schema.Scene:  # type: ignore[name-defined]
    return raycover.load_text(TEXT + "".join(f"  - {route}\n" for route in routes))


def problems(*routes: str) -> list[tuple[str, int, str]]:
    made = load(*routes)
    with pytest.raises(InputError) as caught:
        make_ways(made, build(made))
    return [(p.code, p.position.line - 16, f"{p.message}; {p.help}") for p in caught.value.problems]


def test_every_desk_has_a_way_to_it() -> None:
    made = load("{name: In, from: Front door, to: every desk, seated_s: 60}")
    found = ways(made)
    assert [way.name for way in found] == [f"In, Desks/seat {k}" for k in (1, 2, 3)]
    assert {way.route for way in found} == {"In"}
    for way, (x, y) in zip(found, [(1.8, 3.75), (3.4, 3.75), (5.0, 3.75)], strict=True):
        np.testing.assert_allclose(way.line[0, :2], (3.95, 0))
        np.testing.assert_allclose(way.line[-1, :2], (x, y), atol=1e-6)
        assert way.heading_deg == pytest.approx(90)
        assert way.length >= np.hypot(x - 3.95, y) - 1e-6


@pytest.mark.parametrize(
    ("begin", "end", "first", "last"),
    [
        ("Front door", "Desks/seat 2", (3.95, 0), (3.4, 3.75)),
        ("Office/opening 0", "Desks", (3.95, 0), None),
        ("Office/edge 1", "Office", (8, 2.45), None),
        ("Office/Front door", "Store", (3.95, 0), (10, 3)),
        ("[1, 1]", "[7, 1]", (1, 1), (7, 1)),
        ("Desks/seat 1", "Front door", (1.8, 3.75), (3.95, 0)),
    ],
)
def test_what_from_and_to_may_say(
    begin: str, end: str, first: tuple[float, float], last: tuple[float, float] | None
) -> None:
    (way,) = ways(load(f"{{name: A, from: {begin}, to: {end}}}"))
    np.testing.assert_allclose(way.line[0, :2], first, atol=1e-6)
    if last is not None:
        np.testing.assert_allclose(way.line[-1, :2], last, atol=1.2)


def test_closed_doors_are_walked_through_walls_are_not() -> None:
    (way,) = ways(load("{name: A, from: '[1, 1]', to: Store}".replace("'[1, 1]'", "[1, 1]")))
    cut = way.line[:, 0]
    k = int(np.flatnonzero(cut > 8)[0])
    share = (8 - cut[k - 1]) / (cut[k] - cut[k - 1])
    y = way.line[k - 1, 1] + share * (way.line[k, 1] - way.line[k - 1, 1])
    assert 2.0 < y < 2.9


def test_all_that_is_wrong_at_once() -> None:
    found = problems(
        "{name: A, line: [[1, 1], [10, 5]]}",
        "{name: B, line: [[1, 1], [1, 9]]}",
        "{name: C, from: Frnt door, to: every desk}",
        "{name: D, from: Front door, to: Dseks}",
        "{name: E, line: [[1, 1], [3, 1]], pauses: [{at: 5, seconds: 3}]}",
        "{name: F, line: [[1, 1], [3, 1]], pauses: [{at: [2, 4], seconds: 3}]}",
        "{name: G, line: [[1, 1], [3, 1], [3, 1]]}",
        "{name: H, from: [20, 20], to: Desks}",
        "{name: I, stairs: S1}",
        "{name: J, line: [[2, 3], [2, 5]]}",
        "{name: K, from: Front door, to: Front door}",
        "{name: L, from: [1, 1], to: [1, 1]}",
    )
    codes = {line: code for code, line, _ in found}
    assert codes == {
        1: "route-blocked", 2: "route-outside", 3: "unknown-place", 4: "unknown-place", 5: "pause-beyond",
        6: "pause-beside", 7: "repeated-point", 8: "route-outside", 9: "unknown-stair", 10: "route-blocked",
        11: "route-nowhere", 12: "route-nowhere",
    }  # fmt: skip
    words = {line: text for _, line, text in found}
    assert 'runs through "Office"' in words[1]
    assert "outside every room" in words[2]
    assert 'did you mean "Front door"?' in words[3]
    assert 'did you mean "Desks"?' in words[4]
    assert 'through "Desks"' in words[10]


def test_a_desk_nobody_reaches_says_why() -> None:
    made = hall(
        size=(8, 6),
        desks=[{"name": "Far", "at": [6, 2], "seat": True}, {"name": "Near", "at": [1, 2], "seat": True}],
        partitions=[{"name": "Wall", "line": [[4, 0], [4, 6]], "height": 2.8, "construction": "stud-wall-100"}],
        routes=[{"name": "In", "from": [1, 5], "to": "every desk"}],
    )
    with pytest.raises(InputError) as caught:
        make_ways(made, build(made))
    (problem,) = caught.value.problems
    assert problem.code == "unreachable"
    assert 'cannot reach "Far/seat 1"' in problem.message
    assert 'shut by "Wall"' in problem.message
    assert "a person needs 0.5 m" in problem.help


def test_a_wheelchair_needs_more_room() -> None:
    gap = [
        {"name": "W1", "line": [[4, 0], [4, 2]], "height": 2.8, "construction": "stud-wall-100"},
        {"name": "W2", "line": [[4, 2.65], [4, 6]], "height": 2.8, "construction": "stud-wall-100"},
    ]
    for person, passes in (("adult", True), ("wheelchair", False)):
        route = {"name": "A", "from": [1, 2], "to": [7, 2], "person": person}
        made = hall(size=(8, 6), partitions=gap, routes=[route])
        if passes:
            assert ways(made)
        else:
            with pytest.raises(InputError, match=r"a wheelchair needs 0\.75 m"):
                ways(made)


@pytest.mark.parametrize(
    ("route", "message"),
    [
        ("{name: A, line: [[1, 1], [3, 1]], speed: 0}", "must be at least 0.1, got 0"),
        ("{name: A, line: [[1, 1], [3, 1]], speed: 4}", "at most 3"),
        ("{name: A, line: [[1, 1], [3, 1]], pauses: [{at: 1, seconds: -2}]}", "seconds"),
        ("{name: A, line: [[1, 1], [3, 1]], person: adlt}", 'did you mean "adult"?'),
        ("{name: A, line: [[1, 1]]}", "2"),
        ("{name: A}", "a route is a line, or from and to, or stairs"),
        ("{name: A, from: Front door}", "to is missing"),
        ("{name: A, line: [[1, 1], [3, 1]], to: Desks}", "just one of them"),
        ("{name: A, stairs: S, person: wheelchair}", "no wheelchair goes on stairs"),
        ("{name: A, line: [[1, 1], [3, 1]], room: Offce}", 'did you mean "Office"?'),
    ],
)
def test_what_reading_refuses(route: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        load(route)
    assert message in str(caught.value)
    assert caught.value.problems[0].position.line == 17


def test_names_of_routes_are_names_of_files() -> None:
    with pytest.raises(InputError, match="differs from another only by capitals"):
        load("{name: a, line: [[1, 1], [3, 1]]}", "{name: A, line: [[1, 1], [3, 1]]}")


def test_a_stair_is_walked_up_its_middle() -> None:
    made = scene(
        rooms=[{"name": "Stair hall", "outline": [[0, 0], [4, 0], [4, 9], [0, 9]], "height": 6, "walls": "brick-215"}],
        stairs=[{"name": "S1", "at": [1, 1], "rise": 3, "width": 1.2}],
        routes=[{"name": "Up", "stairs": "S1"}, {"name": "Down", "stairs": "S1", "direction": "down"}],
    )
    up, down = ways(made)
    # A step of floor is free ahead of the foot, 0.4 m and half a body; nothing but the stair leads to its head.
    np.testing.assert_allclose(up.line[1:], down.line[::-1])
    assert up.line[0] == pytest.approx((1.6, 0.6, 0.0))
    assert up.line[1] == pytest.approx((1.6, 1.0, 0.0))
    assert up.line[-1, 2] == pytest.approx(3.0)
    assert up.speed == pytest.approx(1.2 * 0.35)
    assert down.speed == pytest.approx(1.2 * 0.5)


def test_one_comes_to_a_stair_by_the_floor_of_its_storey() -> None:
    def storey(name: str, floor: float, voids: list[dict[str, object]]) -> dict[str, object]:
        outline = [[0, 0], [4, 0], [4, 9], [0, 9]]
        return {"name": name, "outline": outline, "floor": floor, "height": 3, "walls": "brick-215", "voids": voids}

    void = {"outline": [[1, 1], [2.2, 1], [2.2, 6.5], [1, 6.5]], "through": "floor"}
    stairs = {"name": "S1", "room": "Low", "at": [1, 1.5], "rise": 3, "width": 1.2, "risers": 16, "going": 0.25}
    box = {"name": "Box", "room": "Low", "centre": [1.6, 0.6], "size": [0.4, 0.4, 1], "material": "goods"}
    rooms = [storey("Low", 0, []), storey("High", 3, [void])]
    both = [{"name": "Up", "stairs": "S1"}, {"name": "Down", "stairs": "S1", "direction": "down"}]
    up, down = ways(scene(rooms=rooms, stairs=[stairs], routes=both))
    head = up.line[-1]
    assert up.line[0] == pytest.approx((1.6, 0.5, 0))
    # The head, 1.5 + 15 · 0.25 m along, lies over the void: no floor to come from, so none is made up.
    assert down.line[0] == pytest.approx(head)
    up, _ = ways(scene(rooms=rooms, stairs=[stairs], solids=[box], routes=both))
    assert up.line[0] == pytest.approx((1.6, 1.1, 0)), "less where something stands there"
    # 1.0 m of floor at 1.2 m/s, then 3.75 m of going at 0.35 of that: 0.8333 + 8.9286 s.
    track = make_track(ways(scene(rooms=rooms, stairs=[stairs], routes=both))[0])
    assert track.seconds == pytest.approx(1 / 1.2 + 3.75 / 0.42, abs=track.step_s)
    assert np.interp(1 / 1.2, track.time_s, track.walked_m) == pytest.approx(1.0, abs=0.02)
    meets = {**void, "outline": [[1, 1], [2.2, 1], [2.2, head[1]], [1, head[1]]]}
    _, down = ways(scene(rooms=[rooms[0], {**rooms[1], "voids": [meets]}], stairs=[stairs], routes=both))
    assert down.line[0] == pytest.approx((1.6, head[1] + 1.0, 3))


def test_what_stops_a_person_and_what_does_not() -> None:
    made = hall(
        size=(10, 8), walls="stud-wall-100",
        room={"openings": [{"edge": 0, "at": 1, "width": 1, "height": 2.1, "fill": "door-wood-40"},
                           {"edge": 0, "at": 4, "width": 1, "height": 1.2, "sill": 0.9, "fill": "glass-6"}]},
        solids=[
            {"name": "Duct", "centre": [5, 5], "size": [1, 1, 0.4], "base": 2.4, "material": "metal"},
            {"name": "Mat", "centre": [7, 5], "size": [1, 1, 0.03], "material": "timber"},
            {"name": "Box", "centre": [8, 5], "size": [0.5, 0.5, 0.4], "material": "goods"},
        ],
    )  # fmt: skip
    found = obstacles(build(made), (0,), 1.75)
    assert {"Box"} == set(found.names) - {"Hall"}
    assert not found.met(np.array([1.5, 1.0]), np.array([1.5, -1.0]))
    assert found.met(np.array([4.5, 1.0]), np.array([4.5, -1.0]))[0][1] == "Hall"

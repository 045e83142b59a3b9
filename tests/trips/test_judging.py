"""What units make of nuisances: hand-worked margins, walls, doors, steady heat, and what never can be."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.catalogue import load_catalogue
from raycover.errors import InputError
from raycover.trips import Effect, Trips, find_trips
from raycover.trips.places import place
from raycover.trips.words import way

MICROWAVE = pattern({"circle": {"diameter": 12}}, mounting=3, motion="radial", frequency_ghz=5.8, reach_behind=0.3)
#: Slant range to the edge of that footprint.
S0 = float(np.hypot(6, 3))
INFRARED = pattern({"circle": {"diameter": 10}}, mounting=3)
ROOM = {"name": "Room", "outline": [[0, 0], [10, 0], [10, 8], [0, 8]], "height": 3, "walls": "brick-215"}
FAN = {"name": "Fan", "kind": "fan", "at": [8, 4], "height": 1, "size": [0.02, 0.02, 0.02]}


def trips(nuisance: Any, made: Any = MICROWAVE, rooms: Any = None, **parts: Any) -> Trips:
    units = parts.pop("detectors", [detector((4, 4), 3, made)])
    listed = nuisance if isinstance(nuisance, list) else [nuisance]
    return find_trips(
        scene(rooms=[ROOM] if rooms is None else rooms, detectors=units, nuisances=listed, grid=1.0, **parts)
    )


def only(nuisance: Any, made: Any = MICROWAVE, **parts: Any) -> Effect:
    (found,) = trips(nuisance, made, **parts).effects
    return found


def test_a_fan_in_the_open() -> None:
    """40·log10(s0/d) + 10·log10(0.1/0.73), d from a unit at (4, 4, 3) to a tiny fan at (8, 4, 1) [C].

    √45 over √20 m: 7.04 dB, less 8.63 dB.
    """
    found = only(FAN)
    expected = 40 * np.log10(S0 / np.hypot(4, 2)) + 10 * np.log10(0.1 / 0.73)
    assert expected == pytest.approx(7.04 - 8.63, abs=0.01)
    # the nearest corner of a fan of 2 cm lies up to 1 cm nearer in each direction
    assert found.margin_db == pytest.approx(expected, abs=0.12)
    assert found.person_db + sum(found.terms.values()) == pytest.approx(found.margin_db)
    assert (found.verdict, found.technology, found.crossings) == ("may trip", "microwave", ())


def test_ten_times_the_echo_is_ten_db_more() -> None:
    small, large = only(FAN), only({**FAN, "cross_section_m2": 1.0})
    assert large.margin_db - small.margin_db == pytest.approx(10)
    assert large.verdict == "trips"


def test_what_stands_between_counts_twice() -> None:
    """A plasterboard partition square to the ray: its one-way loss at that angle, from the catalogue, twice."""
    wall = {"name": "P", "line": [[6, 0], [6, 8]], "height": 3, "construction": "plasterboard-12.5"}
    free, behind = only(FAN), only(FAN, partitions=[wall])
    table = load_catalogue().constructions["plasterboard-12.5"].loss_table(5.8, "averaged")
    loss = float(table.loss_db(np.array([4 / np.hypot(4, 2)]))[0])
    assert free.margin_db - behind.margin_db == pytest.approx(2 * loss, abs=0.02)
    assert [c.object for c in behind.crossings] == ["P/0"] or behind.crossings[0].owner == "P"


def test_a_pipe_in_a_stud_wall_has_one_board_before_it() -> None:
    """The pipe's margin behind one board: that of the open, less that board twice at its angle; the wall not at all."""
    wall = {"name": "P", "line": [[8, 0], [8, 8]], "height": 3, "construction": "stud-wall-100"}
    pipe = {"name": "Pipe", "kind": "pipe", "at": [8, 4], "height": 1, "size": [0.02, 0.02, 0.02]}
    free = only({**pipe, "cross_section_m2": 0.05})
    inside = only({**pipe, "cross_section_m2": 0.05, "behind": "plasterboard-12.5"}, partitions=[wall])
    table = load_catalogue().constructions["plasterboard-12.5"].loss_table(5.8, "averaged")
    loss = float(table.loss_db(np.array([4 / np.hypot(4, 2)]))[0])
    assert free.margin_db - inside.margin_db == pytest.approx(2 * loss, abs=0.1)
    assert inside.crossings == ()
    # seen from the other side it is the same
    beyond = only(
        {**pipe, "cross_section_m2": 0.05, "behind": "plasterboard-12.5"},
        partitions=[wall],
        rooms=[{**ROOM, "outline": [[0, 0], [16, 0], [16, 8], [0, 8]]}],
        detectors=[detector((12, 4), 3, MICROWAVE)],
    )
    assert beyond.margin_db == pytest.approx(inside.margin_db, abs=1e-3)


def test_a_pipe_in_no_wall_is_refused() -> None:
    with pytest.raises(InputError) as error:
        trips({"name": "Pipe", "kind": "pipe", "at": [5, 4], "behind": "plasterboard-12.5"})
    assert [p.code for p in error.value.problems] == ["no-wall"]


def test_what_reaches_through_a_wall_is_not_there() -> None:
    """A curtain 0.1 m thick on the near face of an opaque wall: nothing of it is seen from the next room."""
    next_room = {**ROOM, "name": "Next", "outline": [[10, 0], [18, 0], [18, 8], [10, 8]]}
    rooms = [{**ROOM, "walls": "steel-panel"}, {**next_room, "walls": "steel-panel"}]
    curtain = {"name": "Curtain", "kind": "curtain", "at": [9.97, 4], "size": [0.1, 2, 2], "cross_section_m2": 5}
    found = only(curtain, rooms=rooms, detectors=[detector((13, 4), 3, MICROWAVE)])
    assert found.margin_db == -np.inf
    assert found.reason == "blocked"


def test_a_machine_drawn_as_a_solid_of_its_own_size_is_seen() -> None:
    """Points lie on the faces, where rays end: the solid does not hide itself."""
    solid = {"name": "Press", "centre": [8, 4], "size": [1, 1, 1.2], "material": "metal"}
    machine = {"name": "Press at work", "kind": "machine", "at": [8, 4], "size": [1, 1, 1.2], "height": 0.6}
    assert only(machine, solids=[solid]).margin_db == pytest.approx(only(machine).margin_db, abs=0.1)


def test_a_vehicle_is_noticed_by_what_it_comes_nearer() -> None:
    """Straight past the unit it has no radial speed: the worst place lies ahead of or behind the nearest one."""
    line = {"name": "Van", "kind": "vehicle", "line": [[-20, 12], [20, 12]], "height": 1, "size": [4, 0.02, 0.02]}
    found = only({**line, "speed_mps": 5, "above_ambient_k": 0}, rooms=[{**ROOM, "walls": "none"}])
    points, margins = found.points, found.margins_db
    nearest = int(np.argmin(np.abs(points[:, 0] - 4)))
    assert margins[nearest] < found.margin_db - 3
    x = found.at[0] - 4
    distance = np.sqrt(x**2 + 8**2 + 2**2)
    radial = 5 * abs(x) / distance
    passed = -10 * np.log10((1 + (0.1 / radial) ** 2) * (1 + (radial / 3) ** 2))
    walker = -10 * np.log10((1 + (0.1 / 1.22) ** 2) * (1 + (1.22 / 3) ** 2))
    expected = 40 * np.log10(S0 / distance) + 10 * np.log10(10 / 0.73) + min(passed - walker, 0)
    assert found.margin_db == pytest.approx(expected, abs=0.05)


HEATER = {"name": "Heater", "kind": "heater", "at": [6, 4], "height": 0.5, "size": [0.5, 0.5, 0.5], "surface_c": 80}


def test_a_heater_by_hand() -> None:
    """A flat patch of 0.5 × 0.5 m on the floor under a unit 3 m up, 80 °C within 20 s [C].

    Margin of a person there 40·log10(√34/3); heat 20.55 dB; at 3 m a half zone of an 11° pair has 0.1327 m², which
    patch and person both fill; a high pass of τ = 1.59 s leaves r^(r/(1−r)), r = 12.57, of the change: −23.9 dB.
    """
    found = only({**HEATER, "at": [4, 4], "height": 0, "size": [0.5, 0.5]}, INFRARED)
    r = 20 * 0.2 * np.pi
    change = 20 * np.log10(r ** (r / (1 - r)))
    assert change == pytest.approx(-23.9, abs=0.05)
    # the middle of the patch is its nearest point; 2 mm are for the floor
    expected = 40 * np.log10(np.sqrt(34) / 3) + 20.55 + 0.0 + change
    assert found.margin_db == pytest.approx(expected, abs=0.1)


def test_steady_heat_gives_no_signal_and_moving_heat_all_of_it() -> None:
    steady = only({**HEATER, "steady": True}, INFRARED)
    assert (steady.margin_db, steady.verdict, steady.reason) == (-np.inf, "no", "change")
    slow, fast = (only({**HEATER, "change_s": s}, INFRARED) for s in (300, 1e-4))
    moving = only({**HEATER, "moves": "sometimes", "steady": True, "cross_section_m2": 1}, INFRARED)
    assert slow.margin_db < fast.margin_db
    assert fast.margin_db == pytest.approx(moving.margin_db, abs=0.1)


def test_infrared_sees_no_heat_through_glass_nor_beyond_its_lens() -> None:
    pane = {"name": "G", "line": [[5, 0], [5, 8]], "height": 3, "construction": "glass-6"}
    behind = only(HEATER, INFRARED, partitions=[pane])
    assert (behind.margin_db, behind.reason, behind.blocker) == (
        -np.inf,
        "blocked",
        "G/0",
    ) or behind.reason == "blocked"
    # the lens edge at 2.5 m up is 0.83 m from the axis
    outside = only({**HEATER, "height": 2.5, "size": [0.1, 0.1, 0.1]}, INFRARED)
    assert (outside.margin_db, outside.reason) == (-np.inf, "outside-lens")


def test_each_technology_is_asked_for_what_it_answers_to() -> None:
    both = [detector((4, 4), 3, MICROWAVE, "M"), detector((3, 4), 3, INFRARED, "P")]
    found = trips([FAN, HEATER, {**FAN, "name": "Hot fan", "surface_c": 60}], detectors=both).effects
    assert {(e.nuisance, e.unit) for e in found} == {("Fan", "M"), ("Heater", "P"), ("Hot fan", "M"), ("Hot fan", "P")}
    asked = trips([{**FAN, "detectors": ["M2"]}], detectors=[*both, detector((5, 4), 3, MICROWAVE, "M2")]).effects
    assert [e.unit for e in asked] == ["M2"]


CORRIDOR = {"name": "Corridor", "outline": [[10, 0], [12, 0], [12, 8], [10, 8]], "height": 3, "walls": "brick-215"}
DOOR = {"name": "Door", "edge": 1, "at": 3.5, "width": 1, "height": 2.1, "fill": "door-wood-40"}
PEOPLE = {"name": "Passers-by", "kind": "doorway", "line": [[11, 0.5], [11, 7.5]]}


def test_people_beyond_a_door_are_seen_while_it_stands_open() -> None:
    rooms = [{**ROOM, "openings": [DOOR]}, CORRIDOR]
    hung = [detector((8, 4), 3, INFRARED)]
    closed = only(PEOPLE, rooms=rooms, detectors=hung)
    opened = only({**PEOPLE, "opens": ["Door"]}, rooms=rooms, detectors=hung)
    assert closed.margin_db == -np.inf
    assert opened.margin_db > 0
    # a person: no term but the person's own margin, at the nearest point through the door
    assert opened.terms == {}
    assert opened.margin_db == pytest.approx(40 * np.log10(np.sqrt(34) / opened.distance_m), abs=1e-3)


def test_people_are_no_nuisance_to_the_units_of_their_own_room() -> None:
    rooms = [{**ROOM, "openings": [DOOR]}, CORRIDOR]
    hung = [detector((8, 4), 3, INFRARED, "Here"), detector((11, 4), 3, INFRARED, "There")]
    assert {e.unit for e in trips(PEOPLE, rooms=rooms, detectors=hung).effects} == {"Here"}
    named = trips({**PEOPLE, "detectors": ["There"]}, rooms=rooms, detectors=hung)
    assert {e.unit for e in named.effects} == {"There"}


@settings(max_examples=8)
@given(
    x=st.floats(0.5, 9.5),
    y=st.floats(0.5, 7.5),
    kind=st.sampled_from(["fan", "machine", "sign"]),
    wall=st.floats(1.0, 9.0),
    made=st.sampled_from(["glass-6", "brick-100", "steel-panel", "plasterboard-12.5"]),
)
def test_one_wall_more_never_raises_a_margin(x: float, y: float, kind: str, wall: float, made: str) -> None:
    thing = {"name": "T", "kind": kind, "at": [x, y], "height": 1, "surface_c": 60}
    units = [detector((4, 4), 3, MICROWAVE, "M"), detector((5, 4), 3, INFRARED, "P")]
    line = {"name": "W", "line": [[wall, 0.01], [wall, 7.99]], "height": 2.99, "construction": made}
    free = {e.unit: e.margin_db for e in trips(thing, detectors=units, partitions=[]).effects}
    shut = {e.unit: e.margin_db for e in trips(thing, detectors=units, partitions=[line]).effects}
    assert all(shut[unit] <= free[unit] + 1e-6 for unit in free)


def test_points_lie_over_the_whole_thing() -> None:
    made = scene(
        rooms=[ROOM], nuisances=[{"name": "M", "kind": "machine", "at": [5, 4], "size": [2, 1, 1], "turn_deg": 90}]
    )
    (source,) = place(made, build(made))
    assert source.points.min(axis=0) == pytest.approx([4.5, 3, 0.1], abs=1e-6)
    assert source.points.max(axis=0) == pytest.approx([5.5, 5, 1.1], abs=1e-6)
    # from straight above it shows its top, from far along x its turned long side
    assert source.area_m2(np.array([5.0, 4.0, 1e6])) == pytest.approx(2.0, abs=1e-3)
    assert source.area_m2(np.array([1e6, 4.0, 0.6])) == pytest.approx(2.0, abs=1e-3)


def test_a_fan_round_a_metal_corner_is_reached_by_the_wall_that_mirrors_it() -> None:
    """Behind a metal partition with nothing but the metal wall beside it: the image's distance makes the margin [C].

    Unit (2, 2, 3), fan (2, 6, 1) behind a partition at y = 4 from x = 0 to 3.5; the wall x = 8 mirrors the fan to
    (14, 6, 1): 40·log10(√45/√(12² + 4² + 2²)) + 10·log10(10/0.73).
    """
    room = {**ROOM, "outline": [[0, 0], [8, 0], [8, 8], [0, 8]], "walls": ["none", "steel-panel", "none", "none"]}
    wall = {"name": "P", "line": [[0, 4], [3.5, 4]], "height": 3, "construction": "steel-panel"}
    fan = {**FAN, "at": [2, 6], "cross_section_m2": 10}
    hung = [detector((2, 2), 3, MICROWAVE)]
    straight, mirrored = (
        only(fan, rooms=[room], partitions=[wall], detectors=hung, conditions={"reflections": k}) for k in (0, 1)
    )
    assert (straight.margin_db, straight.reason, straight.mirror) == (-np.inf, "blocked", None)
    expected = 40 * np.log10(np.sqrt(45 / (144 + 16 + 4))) + 10 * np.log10(10 / 0.73)
    assert mirrored.margin_db == pytest.approx(expected, abs=0.1)
    assert mirrored.mirror == "Room/wall 1"
    assert way(mirrored) == "by way of Room/wall 1"

"""Rooms with an air of their own, asked by the whole project: needs, remedies, walks, nuisances, heat, proposals.

By hand: 20·log10 k of a clothed person is 2.756 dB at −20 °C (3.5 clo) and −8.718 dB at 30 °C [C], see
tests/solving/test_airs.py, where both are worked out by Planck's law.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from small_scenes import detector

import raycover
from raycover.asking.upright import solve_sections
from raycover.building.build import build
from raycover.editing.live import LiveCoverage, Look
from raycover.errors import InputError
from raycover.exchange.summary import summary
from raycover.loading import in_state
from raycover.physics.disturbance import source_contrast
from raycover.physics.infrared import contrast_db, worn_contrast
from raycover.proving.firmness import with_chances
from raycover.proving.needs import prove
from raycover.rays.ray_scene import RayScene
from raycover.scene.varying import Change, varied
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather
from raycover.solving.surfaces import make_surfaces
from raycover.trips.finding import find_trips
from raycover.walking.grid_walk import grid_walk
from raycover.walking.sensing import sensors_of
from raycover.walking.walk import walk

COLD_DB, WARM_DB = 2.756, -8.718
#: Reach 5 m from a unit at 3 m: lens edge at 4 m on the floor; it answers to people who sit as well.
EYE = {
    "kind": "infrared",
    "declared": [
        {"mounting": 3.0, "plane": 0.0, "motion": motion, "shape": {"circle": {"diameter": 8}}}
        for motion in ("tangential", "radial", "presence")
    ],
}


def three_rooms(air: float | None = 30, **more: Any) -> raycover.Scene:
    """Like rooms side by side with like units, the middle one with an air of its own, open gaps between."""
    gap = {"at": 1, "width": 4, "height": 2.2, "sill": 0, "fill": "none", "state": "open"}
    rooms: list[dict[str, Any]] = [
        {"name": name, "outline": [[x, 0], [x + 6, 0], [x + 6, 6], [x, 6]], "height": 3.2, "walls": "steel-panel",
         "openings": [{**gap, "edge": edge} for edge in edges]}
        for name, x, edges in (("West", 0, [1]), ("Middle", 6, [1, 3]), ("East", 12, [3]))
    ]  # fmt: skip
    if air is not None:
        rooms[1]["ambient_c"] = air
    units = [detector((x, 3), 3.0, EYE, name) for name, x in (("W", 3), ("M", 9), ("E", 15))]
    data = {"raycover": 1, "title": "rooms", "grid": 0.25, "rooms": rooms, "detectors": units, **more}
    return raycover.load_text(json.dumps(data))


NEED = {"name": "all", "rooms": ["West", "Middle"], "height": 0, "share": 0.5}


def test_needs_go_by_the_room_and_a_needs_own_air_goes_over_all() -> None:
    """Below each unit 40·log10(5/3) = 8.87 dB; in the middle room 8.72 dB less; with the need's own air both less."""
    scene = three_rooms(needs=[NEED, {**NEED, "name": "hot", "ambient_c": 30}, {**NEED, "name": "as", "ambient_c": 20}])
    proof = prove(scene)
    peaks = [[float(place.margin_db.max()) for place in verdict.places] for verdict in proof.needs]
    nearest = 40 * np.log10(5 / np.sqrt(9 + 2 * 0.05**2))
    for found, heat in zip(peaks, ([0, WARM_DB], [WARM_DB, WARM_DB], [0, 0]), strict=True):
        assert found == pytest.approx([nearest + db for db in heat], abs=0.03)
    assert [v.met for v in proof.needs] == [False, False, True]
    # The map beside the proof, and the worst spot's words, say the same.
    plane = raycover.solve(scene)["floor"]
    middle = (plane.x > 6) & (plane.x < 12)
    np.testing.assert_allclose(plane.margin_db[:, middle].max(), 40 * np.log10(5 / np.sqrt(9 + 2 * 0.125**2)) + WARM_DB,
                               atol=2e-3)  # fmt: skip


def test_chances_go_by_the_room() -> None:
    """A place in warm air is as sure as in a scene that is warm everywhere, its neighbour as sure as in a cool one."""
    chance = {}
    for name, scene in (
        ("rooms", three_rooms(26, needs=[NEED])),
        ("cool", three_rooms(None, needs=[NEED])),
        ("warm", three_rooms(None, needs=[NEED], conditions={"ambient_c": 26})),
    ):
        (verdict,) = with_chances(prove(scene)).needs
        chance[name] = [place.probability for place in verdict.places]
    assert chance["rooms"] == pytest.approx([chance["cool"][0], chance["warm"][1]])
    assert chance["cool"][1] > chance["warm"][1]


def test_a_missed_place_says_the_air_it_is_missed_in() -> None:
    needs = [{"name": "floor", "rooms": ["Middle"], "height": 0, "share": 0.95}]
    (verdict,) = prove(three_rooms(needs=needs)).needs
    (place,) = verdict.places
    assert place.way is not None
    assert "at 30 °C" in place.way.words or place.way.cause == "outside-lens"


def test_seats_and_sections_go_by_the_room() -> None:
    """Like seats in like rooms: 8.72 dB apart; in a section the field of the middle room is that of its neighbour less
    8.72 dB."""
    desks = [{"name": f"Desk {x}", "at": [x, 3], "count": 1, "seat": True} for x in (2.0, 8.0)]
    scene = three_rooms(desks=desks, sections=[{"name": "A", "line": [[0, 3], [18, 3]]}])
    west, middle = (seat.margin_db for seat in raycover.solve(scene).seats)
    assert middle - west == pytest.approx(WARM_DB, abs=2e-3)
    bare = three_rooms(sections=[{"name": "A", "line": [[0, 3], [18, 3]]}])
    building = build(bare)
    (field,) = solve_sections(bare, building, RayScene(building), make_units(bare, building), threads=1)
    s = field.surface.x
    # What only the room's own unit sees, well inside the room and away from where its neighbours' reach begins.
    high = field.surface.floor[:, 0] > 1.9
    near = [field.margin_db[np.ix_(high, np.abs(s - x) < 0.6)] for x in (3.0, 9.0)]
    assert near[0].shape == near[1].shape
    np.testing.assert_allclose(near[1].max() - near[0].max(), WARM_DB, atol=0.3)


def test_simulated_walks_take_the_air_of_each_step() -> None:
    """From cool to warm: in each room the signal is that of a walk through a scene of that air everywhere."""
    routes = [{"name": "Through", "line": [[1, 3.5], [11, 3.5]]}]
    found = {}
    for name, scene in (
        ("rooms", three_rooms(26, routes=routes)),
        ("cool", three_rooms(None, routes=routes)),
        ("warm", three_rooms(None, routes=routes, conditions={"ambient_c": 26})),
    ):
        (found[name],) = walk(scene)
    x = found["rooms"].track.position[:, 0]
    for k in range(3):
        mine, cool, warm = (found[name].seen[k].signal for name in ("rooms", "cool", "warm"))
        assert found["rooms"].seen[k].mode == "simulated"
        np.testing.assert_array_equal(mine[x < 5.99], cool[x < 5.99])
        np.testing.assert_array_equal(mine[x > 6.01], warm[x > 6.01])


def test_a_simulated_walk_through_a_freezer_is_refused_at_the_rooms_key() -> None:
    into = [{"name": "In", "line": [[1, 3], [9, 3]]}]
    with pytest.raises(InputError, match="holds for air of 0 to 40 °C, not -20 °C") as caught:
        walk(three_rooms(-20, routes=into))
    (problem,) = caught.value.problems
    assert "--declared" in problem.help
    (declared,) = walk(three_rooms(-20, routes=into), declared=True)
    (cool,) = walk(three_rooms(None, routes=into), declared=True)
    x = declared.track.position[:, 0]
    there = (x > 6.01) & np.isfinite(cool.seen[1].margin_db)
    assert there.any()
    np.testing.assert_allclose(declared.seen[1].margin_db[there], cool.seen[1].margin_db[there] + COLD_DB, atol=2e-3)
    # Next door nobody minds the freezer.
    walk(three_rooms(-20, routes=[{"name": "In", "line": [[1, 3], [5, 3]]}]))


def test_grid_walks_take_the_air_of_each_cell() -> None:
    found = {}
    for name, scene in (
        ("rooms", three_rooms(26, grid=1.0)),
        ("cool", three_rooms(None, grid=1.0)),
        ("warm", three_rooms(None, grid=1.0, conditions={"ambient_c": 26})),
    ):
        building = build(scene)
        units = make_units(scene, building)[:2]
        surface = make_surfaces(scene, building)[0][0]
        sensors = {k: s for k, s in sensors_of(scene, make_units(scene, building)).items() if k != "E"}
        found[name] = grid_walk(surface, units, sensors, RayScene(building), Weather.of(scene), threads=1)
        middle = (surface.x > 6) & (surface.x < 12)
    for kind in ("chance", "seated"):
        mine, cool, warm = (getattr(found[name], kind) for name in ("rooms", "cool", "warm"))
        np.testing.assert_array_equal(mine[..., middle], warm[..., middle])
        np.testing.assert_array_equal(mine[..., ~middle], cool[..., ~middle])
    assert np.nanmean(found["cool"].chance) > np.nanmean(found["rooms"].chance)


def test_the_window_says_what_solving_says() -> None:
    """Also after its slider has moved, which moves the scene's air and leaves the rooms theirs."""
    scene = three_rooms(-20, planes=[{"name": "floor", "height": 0}])
    live = LiveCoverage(scene, threads=1)
    for air in (20.0, 27.0):
        live.set_ambient(air)
        found, asked = live.coverage(Look(0)), raycover.solve(varied(scene, Change(ambient_c=air)))
        np.testing.assert_array_equal(found["floor"].margin_db, asked["floor"].margin_db)
        assert found.air == asked.air == f"{air:g} °C (Middle −20 °C)"


def test_a_hot_thing_stands_out_against_the_air_of_its_room() -> None:
    """A surface at 60 °C in the freezer and one in the hall: apart by the contrasts of Planck's law."""
    things = [
        {"name": f"Heater {x}", "kind": "heater", "at": [x, 3], "height": 1.0, "surface_c": 60, "size": [0.3, 0.3, 0.3]}
        for x in (4.0, 10.0)
    ]
    trips = find_trips(three_rooms(-20, nuisances=things))
    terms = {(e.nuisance, e.unit): e.terms["contrast"] for e in trips.effects}
    assert terms["Heater 4.0", "W"] == pytest.approx(float(contrast_db(source_contrast(60, 20))), abs=0.01)
    assert terms["Heater 10.0", "M"] == pytest.approx(float(contrast_db(source_contrast(60, -20))), abs=0.01)
    assert trips.source_air_c == {"Heater 4.0": 20, "Heater 10.0": -20}
    assert trips.rooms_c == {"Middle": -20}


def test_other_air_for_the_scene_leaves_the_rooms_theirs() -> None:
    scene = three_rooms(-20, planes=[{"name": "floor", "height": 0}])
    hot = raycover.solve(varied(scene, Change(ambient_c=30)))["floor"]
    as_drawn = raycover.solve(scene)["floor"]
    inside = (hot.x > 6.3) & (hot.x < 11.7)
    np.testing.assert_array_equal(hot.margin_db[:, inside], as_drawn.margin_db[:, inside])
    west = hot.margin_db[:, hot.x < 6].max() - as_drawn.margin_db[:, hot.x < 6].max()
    assert west == pytest.approx(WARM_DB, abs=2e-3)


def test_conditions_of_states_change_the_scenes_air_only() -> None:
    data = three_rooms(-20, states=[{"name": "Summer", "conditions": {"ambient_c": 30}}])
    summer = in_state(data, "Summer")
    assert summer.conditions.ambient_c == 30
    assert [room.ambient_c for room in summer.rooms] == [None, -20, None]


STATES = [
    {"name": "Warm", "set": {"Middle": {"ambient_c": 30}}},
    {"name": "Cold", "conditions": {"ambient_c": 30}, "set": {"Mid*": {"ambient_c": -20}}},
    {"name": "Off", "conditions": {"ambient_c": 4}, "set": {"Middle": {"ambient_c": 4}, "West": {"ambient_c": 20}}},
]


def test_states_set_rooms_air() -> None:
    """Below each unit, 40·log10(5/3) dB at 20 °C: 8.72 dB less at 30 °C, 2.76 dB more at −20 °C, room by room."""
    scene = three_rooms(None, states=STATES, planes=[{"name": "floor", "height": 0}])
    nearest = 40 * np.log10(5 / np.sqrt(9 + 2 * 0.125**2))
    in_4_c = float(contrast_db(worn_contrast(4)))
    for name, airs, heat in (
        ("as drawn", "20 °C", (0, 0, 0)),
        ("Warm", "20 °C (Middle 30 °C)", (0, WARM_DB, 0)),
        ("Cold", "30 °C (Middle −20 °C)", (WARM_DB, COLD_DB, WARM_DB)),
        ("Off", "4 °C (West 20 °C)", (0, in_4_c, in_4_c)),
    ):
        coverage = raycover.solve(in_state(scene, name))
        assert coverage.air == airs
        x, margin = coverage["floor"].x, coverage["floor"].margin_db
        peaks = [margin[:, (x > left) & (x < left + 6)].max() for left in (0, 6, 12)]
        assert peaks == pytest.approx([nearest + db for db in heat], abs=2e-3)


def test_a_room_set_by_a_state_is_that_room_drawn_so() -> None:
    """Bit for bit, whatever the room says by itself, and nothing but its air is new."""
    for drawn in (None, -20):
        stated = in_state(three_rooms(drawn, states=STATES), "Warm")
        typed = three_rooms(30)
        assert [room.model_dump() for room in stated.rooms] == [room.model_dump() for room in typed.rooms]
        assert stated.state == "Warm"
        for name, plane in raycover.solve(typed).items():
            np.testing.assert_array_equal(raycover.solve(stated)[name].margin_db, plane.margin_db)


def test_states_that_set_no_air_leave_the_rooms_as_they_are() -> None:
    data = three_rooms(-20, states=[{"name": "Open", "set": {"Middle/opening 0": "closed"}}])
    assert [room.ambient_c for room in in_state(data, "Open").rooms] == [None, -20, None]


def test_needs_of_states_go_by_their_air() -> None:
    needs = [{**NEED, "name": f"in {state}", "state": state} for state in ("as drawn", "Warm", "Cold")]
    proof = prove(three_rooms(None, states=STATES, needs=needs))
    peaks = [[float(place.margin_db.max()) for place in verdict.places] for verdict in proof.needs]
    nearest = 40 * np.log10(5 / np.sqrt(9 + 2 * 0.05**2))
    for found, heat in zip(peaks, ([0, 0], [0, WARM_DB], [WARM_DB, COLD_DB]), strict=True):
        assert found == pytest.approx([nearest + db for db in heat], abs=0.03)
    assert [v.met for v in proof.needs] == [True, False, False]


def test_who_trips_whom_names_the_air_of_its_state() -> None:
    zones = [
        {"name": name, "area": [[x, 1], [x + 4, 1], [x + 4, 5], [x, 5]], "detectors": [unit]}
        for name, unit, x in (("Z1", "W", 1), ("Z2", "M", 7))
    ]
    needs = [
        {"name": f"in {state}", "whose": "others", "state": state, "never": True, "zones": ["Z1", "Z2"]}
        for state in ("as drawn", "Cold")
    ]
    proof = prove(three_rooms(None, states=STATES, zones=zones, needs=needs))
    assert [(matrix.state, matrix.air) for matrix in proof.matrices] == [
        ("as drawn", "20 °C"),
        ("Cold", "30 °C (Middle −20 °C)"),
    ]


def test_the_window_casts_those_who_can_see_the_air_that_changed() -> None:
    """A state that warms a room out of the reach of all but one, and air that microwave does not mind."""
    rooms = [
        {"name": name, "outline": [[x, 0], [x + 6, 0], [x + 6, 6], [x, 6]], "height": 3.2, "walls": "steel-panel"}
        for name, x in (("A", 0), ("B", 20), ("C", 40))
    ]
    radar = {**EYE, "kind": "microwave", "frequency_ghz": 5.8}
    units = [detector((3, 3), 3.0, EYE, "1"), detector((23, 3), 3.0, EYE, "2"), detector((43, 3), 3.0, radar, "3")]
    states = [{"name": "Hot", "set": {"A": {"ambient_c": 33}, "C": {"ambient_c": 33}}}]
    text = json.dumps({"raycover": 1, "title": "apart", "rooms": rooms, "detectors": units, "states": states,
                       "planes": [{"name": "floor", "height": 0}]})  # fmt: skip
    scene = raycover.load_text(text)
    live = LiveCoverage(scene, threads=1)
    for change, n_cast in (
        (lambda: None, 3),
        (lambda: live.set_state("Hot"), 1),
        (lambda: live.set_ambient(25), 2),
        (lambda: live.coverage(Look(0)), 0),
    ):
        before = live.n_cast
        change()
        found = live.coverage(Look(0))
        assert live.n_cast - before == n_cast
        np.testing.assert_array_equal(found["floor"].margin_db, raycover.solve(live.scene)["floor"].margin_db)


def test_the_window_takes_the_air_of_a_state() -> None:
    scene = three_rooms(-20, states=STATES, planes=[{"name": "floor", "height": 0}])
    live = LiveCoverage(scene, threads=1)
    for name in ("Warm", "Cold", "as drawn"):
        live.set_state(name)
        found, asked = live.coverage(Look(0)), raycover.solve(in_state(scene, name))
        assert found.air == asked.air
        np.testing.assert_array_equal(found["floor"].margin_db, asked["floor"].margin_db)


def test_at_the_command_line(tmp_path: Path, command_line: Any) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text(
        """
raycover: 1
title: two airs
grid: 0.5
rooms:
  - {name: Hall, outline: [[0, 0], [6, 0], [6, 6], [0, 6]], height: 3.2, walls: steel-panel}
  - {name: Freezer, outline: [[6, 0], [12, 0], [12, 6], [6, 6]], height: 3.2, walls: steel-panel, ambient_c: -20}
detectors:
  - {name: D1, model: ceiling-infrared-general, at: [3, 3], mounting: 3}
  - {name: D2, model: ceiling-infrared-general, at: [9, 3], mounting: 3}
""",
        encoding="utf-8",
    )
    code, out, _ = command_line("probe", str(path), "--at", "9,3,0", "--json")
    assert code == 0
    said = json.loads(out)
    assert said["ambient_c"] == -20
    assert said["detectors"][1]["margin_db"] == pytest.approx(8.87 + COLD_DB, abs=0.01)
    code, out, _ = command_line("probe", str(path), "--at", "9,3,0")
    assert 'in room "Freezer", air at −20 °C: seen by D2' in out
    assert summary(raycover.solve(raycover.load(path)))["conditions"] == {
        "ambient_c": 20,
        "reserve_db": 3,
        "rooms_c": {"Freezer": -20},
    }
    code, out, err = command_line(
        "sweep", str(path), "--set", "rooms/Freezer/ambient_c=-20,34", "--processes", "1", "--json"
    )
    assert code == 0, err
    rows = json.loads(out)["rows"]
    seen = [row["planes"]["floor"]["share"] for row in rows]
    assert seen[0] > 0.9
    assert seen[1] == pytest.approx(seen[0] / 2)
    text = path.read_text(encoding="utf-8").replace("ambient_c: -20", "ambient_c: warm, temperature: 4")
    path.write_text(text, encoding="utf-8")
    code, _, err = command_line("check", str(path))
    assert code == 2
    assert "temperature" in err
    assert "ambient_c" in err

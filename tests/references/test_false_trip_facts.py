"""Facts of the trade about false trips, "common practice, no source", each by what follows from it here.

Sizes, speeds and heat are the kinds' own defaults, which are ours.
"""

from __future__ import annotations

from typing import Any

import pytest
from small_scenes import scene

from raycover.trips import Effect, Trips, find_trips

ROOM = {"name": "Room", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "height": 2.5, "walls": "stud-wall-100"}
NEXT = {**ROOM, "name": "Next", "outline": [[8, 0], [14, 0], [14, 6], [8, 6]]}
INFRARED, MICROWAVE = "ceiling-infrared-general", "microwave-omni-5.8"


def effect(nuisance: dict[str, Any], model: str, **parts: Any) -> Effect:
    made = scene(
        rooms=[ROOM, NEXT], detectors=[{"name": "D", "model": model, "at": [4, 3], "mounting": 2.5}], grid=1.0,
        nuisances=[{"name": "N", **nuisance}], **parts,
    )  # fmt: skip
    (found,) = find_trips(made).effects
    return found


def test_a_running_fan_trips_a_microwave_unit_in_its_room() -> None:
    assert effect({"kind": "fan", "at": [6.5, 3], "height": 2.2}, MICROWAVE).verdict == "trips"


def test_water_in_a_plastic_pipe_trips_it_near_by_and_not_across_the_next_room() -> None:
    wall = {"name": "W", "line": [[5.8, 0], [5.8, 6]], "height": 2.5, "construction": "stud-wall-100"}
    near = effect({"kind": "pipe", "at": [5.8, 3], "behind": "plasterboard-12.5"}, MICROWAVE, partitions=[wall])
    far = effect({"kind": "pipe", "at": [13.9, 3]}, MICROWAVE)
    assert near.verdict == "trips"
    assert far.verdict == "no"


def test_people_in_the_next_room_trip_it_through_a_light_wall_and_not_through_metal() -> None:
    people = {"kind": "doorway", "at": [9.5, 3]}
    assert effect(people, MICROWAVE).verdict == "trips"
    metal = {"name": "M", "line": [[8.2, 0], [8.2, 6]], "height": 2.5, "construction": "steel-panel"}
    assert effect(people, MICROWAVE, partitions=[metal]).verdict == "no"


@pytest.mark.parametrize("at", [[5.0, 3.5], [3, 2]])
def test_a_switching_heater_in_view_trips_an_infrared_unit_and_a_steady_one_does_not(at: list[float]) -> None:
    heater = {"kind": "heater", "at": at, "height": 0.5}
    assert effect(heater, INFRARED).verdict == "trips"
    assert effect({**heater, "steady": True}, INFRARED).verdict == "no"


def test_infrared_does_not_see_a_vehicle_through_a_window() -> None:
    """Glass is opaque from 8 to 14 µm (4 mm float transmits 0.02 [V, engineering handbook table])."""
    glazed = {
        **ROOM,
        "openings": [{"edge": 0, "at": 1, "width": 6, "height": 2.2, "fill": "glass-6", "state": "closed"}],
    }
    made = {"name": "V", "kind": "vehicle", "line": [[-5, -1.5], [12, -1.5]], "height": 0.75}
    for state, seen in (("closed", False), ("open", True)):
        glazed["openings"][0]["state"] = state
        scene_ = scene(
            rooms=[glazed], nuisances=[made], grid=1.0,
            detectors=[{"name": "D", "model": "wide-infrared-rectangular", "at": [4, 1], "mounting": 2.5}],
        )  # fmt: skip
        (found,) = find_trips(scene_).effects
        assert (found.verdict == "trips") is seen, state


def test_the_workshop_tells_its_story(workshop_trips: Trips) -> None:
    trips = workshop_trips
    said = {(e.nuisance, e.unit): e.verdict for e in trips.effects}
    assert said["Extract fan", "M2"] == "trips"
    assert said["Waste pipe", "M2"] == said["Waste pipe", "M3"] == "trips"
    assert said["Extract fan", "M3"] == "no"  # a stud wall and two metres more
    assert said["Radiator", "P2"] == "no"
    assert said["Gas heater", "P2"] == "trips"
    assert said["Sun on the floor", "P2"] == "may trip"
    assert [p.units for p in trips.flagged] == [("M2", "M3")]
    assert all(r.mask.closes for r in trips.remedies)

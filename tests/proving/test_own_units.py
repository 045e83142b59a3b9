"""Rooms and what stands in them judged by the units that hang in the same room: a unit next door sees in through glass.

By hand, glass-6 at 5.8 GHz, normal incidence: n = √6.31 = 2.512 (ITU-R P.2040, glass), r² = 0.185, half the phase of a
round trip 2π·2.512·6/51.69 = 1.832, so an Airy sheet passes 1/(1 + 1.115·sin² 1.832) = −3.10 dB; 2.85 Np/m of bulk
loss is 0.15 dB more. There and back 6.5 dB.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.errors import InputError
from raycover.proving.mending.bench import asks, cases_of
from raycover.proving.needs import Proof, prove
from raycover.proving.proof_words import asked_words, way_words
from raycover.scene.schema import Scene

SLANT = np.sqrt(50.0)
GLASS_DB = 6.5
#: Next door, 1 m up: a person 1 m up is seen as far as √50 m.
WAVE = pattern({"circle": {"diameter": 14}}, mounting=1, motion="radial", frequency_ghz=5.8, reach_behind=1)
#: In the office: on the floor all within 1 m of x = 1, from wall to wall.
HALF = pattern({"rectangle": {"length": 2, "width": 8}}, mounting=3)
ROOMS = [
    {"name": "Office", "outline": [[0, 0], [4, 0], [4, 4], [0, 4]], "height": 3, "walls": "none"},
    {"name": "Meeting", "outline": [[4, 0], [8, 0], [8, 4], [4, 4]], "height": 3, "walls": "none"},
]
FRONT = {"name": "Front", "line": [[4, 0], [4, 4]], "height": 3, "construction": "glass-6"}
DESK = {"name": "Desk", "at": [2.0, 2.3], "count": 1, "seat": True}


def two_rooms(*needs: dict[str, Any], **more: Any) -> Scene:
    units = [detector((1, 2), 3, HALF, "In"), detector((5.5, 2), 1, WAVE, "Next door")]
    return scene(
        rooms=ROOMS, partitions=[FRONT], detectors=units, needs=list(needs), grid=0.1,
        conditions={"losses": "coherent"}, **more,
    )  # fmt: skip


def shares(proof: Proof) -> list[float]:
    return [verdict.places[0].figures.share for verdict in proof.needs]


def test_a_room_by_its_own_units_by_hand() -> None:
    """On the floor the office's unit sees 2 of 4 m. The one next door sees on, through the glass, as far as its reach.

    On the floor, 1 m below it, that is √50·10^(−6.5/40) = 4.86 m along the slant at normal incidence: to x = 0.74.
    """
    floor = {"rooms": ["Office"], "height": 0}
    any_unit, own = prove(two_rooms({"name": "any", **floor}, {"name": "own", **floor, "whose": "own"})).needs
    assert own.places[0].figures.share == pytest.approx(0.5, abs=0.01)
    assert any_unit.places[0].figures.share > 0.9
    assert [[v.situation.units[k].name for k in v.places[0].units] for v in (any_unit, own)] == [
        ["In", "Next door"], ["In"],
    ]  # fmt: skip
    assert asked_words(own.need) == "all of it seen, by its own units"
    assert not prove(two_rooms({"name": "own", **floor, "whose": "own"})).matrices  # nobody asks who may not trip


def test_a_seat_seen_through_the_glass_is_not_seen_by_its_own() -> None:
    """5.5 − 2 = 3.5 m away at the unit's height: 40·log10(√50/3.5) − 6.5 = 5.7 dB by the unit next door."""
    seat = {"area": [[1.95, 1.95], [2.05, 1.95], [2.05, 2.05], [1.95, 2.05]], "height": 1, "motion": "radial"}
    made = two_rooms(
        {"name": "spot", **seat, "detectors": ["Next door"]},
        {"name": "any", "seats": ["Office"], "motion": "radial", "heights": [1.0]},
        {"name": "own", "desks": ["Desk"], "motion": "radial", "heights": [1.0], "whose": "own"},
        desks=[DESK],
    )
    spot, seen, own = prove(made).needs
    assert spot.places[0].figures.worst_db == pytest.approx(40 * np.log10(SLANT / 3.5) - GLASS_DB, abs=0.3)
    assert seen.met
    assert not own.met
    assert [own.situation.units[k].name for k in own.places[0].units] == ["In"]


def test_a_room_without_a_unit_has_none_of_its_own() -> None:
    needs = {"name": "own", "rooms": "all", "height": 0, "whose": "own", "share": 0.3}
    made = two_rooms(needs)
    alone = made.model_copy(update={"detectors": made.detectors[1:]})
    (verdict,) = prove(alone).needs
    assert [place.met for place in verdict.places] == [False, True]
    assert way_words(verdict, verdict.places[0]) == "no unit of its own"
    # one more counts where it hangs
    case = next(case for case in cases_of(prove(alone), None) if case.site.name == "Office")
    west, east = prove(made).needs[0].situation.units
    assert asks(case, west)
    assert not asks(case, east)


def test_beside_a_set_own_units_count_for_what_stands_in_rooms() -> None:
    made = two_rooms({"set": "open office", "rooms": ["Office"], "whose": "own"}, desks=[DESK])
    assert {need.whose for need in made.needs} == {"own"}
    with pytest.raises(InputError, match='no need of the set "office zones" has a whose'):
        two_rooms({"set": "office zones", "whose": "own"}, zones=[{"name": "Z", "detectors": [], "rooms": ["Office"]}])

"""What trips dual units: a fan that microwave sees and infrared does not, a heater the other way round."""

from __future__ import annotations

from typing import Any

import pytest
from dual_scenes import room

from raycover.trips import find_trips
from raycover.trips.judging import Effect
from raycover.trips.words import reason

FAN = {"name": "Fan", "kind": "fan", "at": [3.5, 4.5], "height": 1.5}
HEATER = {"name": "Heater", "kind": "heater", "at": [3.5, 4.5], "height": 0.5}


def tripped(nuisance: dict[str, Any], kind: str = "dual", **setting: Any) -> Effect | None:
    found = find_trips(room(kind, detector=setting, nuisances=[nuisance], grid=0.5), threads=1)
    return next(iter(found.effects), None)


@pytest.mark.parametrize(("nuisance", "answers"), [(FAN, "microwave"), (HEATER, "infrared")])
def test_both_must_be_tripped_by_it_or_one_is_enough(nuisance: dict[str, Any], answers: str) -> None:
    """Of a thing that one technology does not answer to, `and` makes nothing, `or` what the other makes."""
    lone = tripped(nuisance, answers)
    assert lone is not None
    assert lone.margin_db > 0
    either, both = tripped(nuisance, combine="or"), tripped(nuisance, combine="and")
    assert either is not None
    assert (either.margin_db, either.technology, either.unit) == (lone.margin_db, answers, "D1")
    assert both is not None
    assert (both.margin_db, both.verdict) == (-float("inf"), "no")
    other = {"microwave": "infrared", "infrared": "microwave"}[answers]
    assert reason(both) == f"its {other} half does not answer to it"


def test_a_fan_switches_nothing_on_that_infrared_must_trigger_but_may_hold_it() -> None:
    alone = tripped(FAN, "microwave")
    assert alone is not None
    found = tripped(FAN, combine="trigger-then-hold")
    assert found is not None
    assert (found.verdict, found.held_db) == ("no", alone.margin_db)
    assert reason(found).startswith("its infrared half does not answer to it; but once on it is held (+")
    assert tripped(HEATER, combine="trigger-then-hold").verdict == "trips"  # type: ignore[union-attr]


def test_two_dual_units_disturb_each_other_as_microwave_units_do() -> None:
    """By their microwave halves; the pair is named by the housings, and a unit does not disturb itself."""
    made = room(detector={"combine": "or"})
    spec = made.detectors[0]
    twin = spec.model_copy(update={"name": "D2", "at": (1.5, 3.0)})
    pair = made.model_copy(update={"detectors": [spec, twin]})
    found = find_trips(pair, threads=1).interference
    assert [one.units for one in found] == [("D1", "D2")]


def test_a_mask_as_remedy_covers_both_halves() -> None:
    (found,) = find_trips(room(nuisances=[HEATER], grid=0.5), threads=1).remedies
    assert found.mask.closes

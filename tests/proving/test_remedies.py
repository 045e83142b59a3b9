"""Remedies for overspill: the closed form of sensitivity, masks, moves, and that none hides what it costs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, scene
from test_needs import BIG, SLANT, UNIT, spot

from raycover.proving.needs import prove
from raycover.proving.remedies import Remedy, Trouble, find_remedies
from raycover.proving.sensitivity import pct_for, sensitivity_keys, shift_db
from raycover.proving.trials import mask_over
from raycover.scene.schema import Scene
from raycover.solving.coverage import solve


def troubles(made: Scene) -> tuple[Trouble, ...]:
    return find_remedies(prove(made), solve(made))


def only(remedies: tuple[Remedy, ...], kind: str) -> Remedy:
    found = [remedy for remedy in remedies if remedy.kind == kind]
    assert found, [remedy.words for remedy in remedies]
    return found[0]


@pytest.mark.parametrize("excess", [0.01, 1.0, 3.0, 7.0, 12.0, 20.0, 39.0])
def test_sensitivity_by_bisection_is_the_closed_form(excess: float) -> None:
    """The margin goes with 40·log10 of the reach: p = 100·10^(−excess/40) %, rounded down."""
    assert pct_for(excess) == int(np.floor(100 * 10 ** (-excess / 40)))
    assert excess + shift_db(pct_for(excess) or 0) <= 1e-9


def test_sensitivity_counts_from_where_it_is_set() -> None:
    """From 80 % on, 6 dB takes 80·10^(−6/40) = 56.6 %; a unit that allows 60 % at least cannot."""
    assert pct_for(6.0, 80.0) == 56
    assert shift_db(56, 80.0) == pytest.approx(40 * np.log10(0.7))
    assert pct_for(6.0, 80.0, 60.0) is None
    assert pct_for(-1.0, 80.0) == 80


def test_no_sensitivity_is_too_little_to_ask() -> None:
    assert pct_for(0.0) == 100
    assert pct_for(-3.0) == 100
    assert pct_for(41.0) is None
    assert pct_for(np.inf) is None


def test_sensitivity_behind_plasterboard_by_hand() -> None:
    """At 5 m behind 0.92 dB of plasterboard [C]: 6.02 − 1.84 = 4.18 dB, so 10^(−7.18/40) = 66.1 %, hence 66 %."""
    wall = {"name": "Wall", "line": [[4, 0], [4, 8]], "height": 3, "construction": "plasterboard-12.5"}
    needs = [spot(6, 4, never=True), spot(3, 4, "bench")]
    unit = detector((1, 4), 1, UNIT)
    made = scene(rooms=[BIG], partitions=[wall], conditions={"losses": "coherent"}, detectors=[unit], needs=needs)
    (trouble,) = troubles(made)
    assert (trouble.unit, trouble.needs) == ("D1", ("spot",))
    plain = only(trouble.remedies, "sensitivity")
    assert plain.keys == {"sensitivity_pct": 66}
    assert plain.stops
    assert plain.missed == ()
    assert plain.worst_db == pytest.approx(40 * np.log10(SLANT / 5) - 1.84 + 40 * np.log10(0.66), abs=0.02)
    assert plain.worst_db <= -3
    # the reach on the 1 m plane goes from 7.07 m to 66 % of it: what the floor of the hall loses is told
    assert plain.largest_area_lost[1] > 10


def test_a_remedy_that_fails_a_need_says_so_and_comes_last() -> None:
    """The bench lies as far as the street: less sensitivity costs it, a mask does not."""
    needs = [spot(5, 4, "street", never=True), spot(13, 4, "bench")]
    made = scene(rooms=[BIG], detectors=[detector((9, 4), 1, UNIT)], needs=needs)
    (trouble,) = troubles(made)
    plain, mask = only(trouble.remedies, "sensitivity"), only(trouble.remedies, "mask")
    assert (plain.stops, plain.missed) == (True, ("bench",))
    assert (mask.stops, mask.missed) == (True, ())
    assert mask.keys == {"masks": [{"from_deg": 175.0, "to_deg": 185.0, "off_axis_from_deg": 85.0}]}
    assert trouble.remedies[0].missed == ()
    assert trouble.remedies.index(mask) < trouble.remedies.index(plain)


def test_a_mask_beyond_the_largest_share_is_refused() -> None:
    """All of the hall beyond x = 10 takes nearly half of the pattern, of which a tenth may be masked."""
    narrow = {**UNIT, "largest_mask_share": 0.1}
    street = {"name": "street", "area": [[10.1, 0], [13, 0], [13, 8], [10.1, 8]], "height": 0.2, "never": True}
    made = scene(rooms=[BIG], grid=0.25, detectors=[detector((9, 4), 1, narrow)], needs=[street])
    (trouble,) = troubles(made)
    refused = [remedy for remedy in trouble.remedies if remedy.kind == "mask"]
    assert [remedy.stops for remedy in refused] == [False]
    assert "10% is the most" in refused[0].note
    assert trouble.remedies[0].stops


def test_a_move_stays_within_a_metre_and_off_the_walls() -> None:
    needs = [spot(14.5, 4, "street", never=True), spot(9, 4, "bench")]
    made = scene(rooms=[BIG], detectors=[detector((7.2, 4), 1, UNIT)], needs=needs)
    (trouble,) = troubles(made)
    move = only(trouble.remedies, "move")
    away = np.linalg.norm(np.array(move.keys["at"]) - [7.2, 4])
    assert 0 < away <= 1
    # 7.3 m away now; 3 dB clear is from 7.0711·10^(3/40) = 8.404 m on: a metre is not enough, the rest is sensitivity
    assert move.keys["sensitivity_pct"] >= 97
    assert (move.stops, move.missed) == (True, ())
    plain = only(trouble.remedies, "sensitivity")
    assert plain.keys["sensitivity_pct"] == int(100 * 7.3 / 8.404)


def test_nothing_to_mend_where_nothing_is_wrong() -> None:
    made = scene(rooms=[BIG], detectors=[detector((2, 4), 1, UNIT)], needs=[spot(19, 4, never=True)])
    assert prove(made).met
    assert troubles(made) == ()


@pytest.mark.parametrize(("azimuths", "wanted"), [([10, 20, 30], (5, 35)), ([350, 5], (345, 10)), ([100.0], (95, 105))])
def test_the_narrowest_mask(azimuths: list[float], wanted: tuple[float, float]) -> None:
    mask = mask_over(np.array(azimuths, float), np.full(len(azimuths), 60.0))
    assert mask is not None
    assert (mask.from_deg, mask.to_deg) == wanted
    assert mask.off_axis_from_deg == 55
    inside = mask.covers_azimuth(np.cos(np.radians(azimuths)), np.sin(np.radians(azimuths)))
    assert inside.all()


def test_no_mask_all_around() -> None:
    assert mask_over(np.arange(0, 360, 10.0), np.full(36, 60.0)) is None


def test_what_is_recommended_for_the_washroom_holds_when_it_is_done(washroom: Any) -> None:
    """The best remedy, written into the scene as its keys say, is judged again from the start."""
    from raycover.scene.needs import NeedSpec

    extra = [NeedSpec(name="Cubicles", cubicles=["WC"]), NeedSpec(name="Corridor", rooms=["Corridor"], never=True)]
    made = washroom.scene.model_copy(update={"needs": extra})
    (trouble,) = find_remedies(prove(made))
    best = trouble.remedies[0]
    assert best.stops
    assert best.missed == ()
    unit = made.detectors[0]
    assert unit.name == trouble.unit
    keys = {key: value for key, value in best.keys.items() if key in type(unit).model_fields}
    mended = made.model_copy(update={"detectors": [unit.model_copy(update=keys), *made.detectors[1:]]})
    after = prove(mended)
    never = after.needs[1].places[0]
    assert float(never.best_db.max()) == pytest.approx(best.worst_db, abs=1e-6)


def test_a_microwave_half_with_a_setting_of_its_own_goes_along() -> None:
    """Sensitivity shifts every margin alike: of a dual unit both halves are lowered by one ratio, rounded down."""
    from raycover.scene.devices import DetectorSpec

    plain = DetectorSpec(name="D", model="m", at=(0, 0), mounting=3)
    dual = DetectorSpec(name="D", model="m", at=(0, 0), mounting=3, sensitivity_pct=80, microwave_pct=60)
    assert sensitivity_keys(plain, 55, 100) == {"sensitivity_pct": 55}
    assert sensitivity_keys(dual, 55, 80) == {"sensitivity_pct": 55, "microwave_pct": 41.2}  # 41.25
    assert sensitivity_keys(dual, 97, 80) == {"sensitivity_pct": 97, "microwave_pct": 72.8}  # 72.75


def test_many_places_missed_are_counted() -> None:
    from raycover.proving.proof_words import remedy_cost

    def said(n: int) -> str:
        class Cost:
            missed = tuple(f"Table/seat {k}" for k in range(1, n + 1))
            share_lost, lost_at, largest_area_lost = 0.0, "", ("", 0.0)

        return remedy_cost(Cost())  # type: ignore[arg-type]

    assert said(3) == "misses Table/seat 1, Table/seat 2 and Table/seat 3"
    assert said(8) == "misses Table/seat 1, Table/seat 2 and 6 more"


@pytest.mark.parametrize(("lost", "words"), [(0.052, "−5 % of R1/R2"), (0.003, "−0.3 % of R1/R2")])
def test_a_small_share_lost_is_not_said_to_be_none(lost: float, words: str) -> None:
    from raycover.proving.proof_words import remedy_cost

    class Cost:
        missed, share_lost, lost_at, largest_area_lost = (), lost, "R1/R2", ("", 0.0)

    assert remedy_cost(Cost()) == words  # type: ignore[arg-type]

"""What stops a nuisance: masks that close just what they cover, less reach in closed form, and what either costs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_scenes import detector, pattern, scene

from raycover.detectors import Unit, make_unit
from raycover.physics.margin import mask_loss_db, to_local
from raycover.scene.devices import PatternSpec
from raycover.solving.coverage import solve
from raycover.trips import find_trips
from raycover.trips.remedies import Costs, mask_over, masked

INFRARED = pattern({"circle": {"diameter": 10}}, mounting=3, largest_mask_share=0.25)
ROOM = {"name": "Room", "outline": [[0, 0], [10, 0], [10, 8], [0, 8]], "height": 3, "walls": "brick-215"}
HEATER = {"name": "Heater", "kind": "heater", "at": [7, 4], "height": 0.3, "size": [0.4, 0.6, 0.6], "surface_c": 120}


def found(nuisance: Any = HEATER, **parts: Any) -> Any:
    hung = parts.pop("detectors", [detector((4, 4), 3, INFRARED)])
    return find_trips(scene(rooms=[ROOM], detectors=hung, nuisances=[nuisance], planes=[{"name": "floor", "height": 0}],
                            grid=0.1, **parts))  # fmt: skip


def unit(at: tuple[float, float] = (4, 4), turn: float = 0.0, tilt: float = 0.0) -> Unit:
    from raycover.scene.devices import DetectorSpec

    made = PatternSpec.model_validate(INFRARED)
    return make_unit(
        DetectorSpec.model_validate({"name": "D", "pattern": INFRARED, "at": at, "mounting": 3, "turn_deg": turn,
                                     "tilt_deg": tilt}), made, 0.0)  # fmt: skip


def hidden(made: Unit, points: Any) -> Any:
    offset = tuple((np.asarray(points, float) - made.position).T)
    return np.isinf(mask_loss_db(to_local(made.rotation, offset), made.masks))  # type: ignore[arg-type]


def test_the_mask_closes_the_heater_and_nothing_five_degrees_beyond() -> None:
    trips = found()
    (remedy,) = trips.remedies
    effect = remedy.effect
    assert effect.verdict == "trips"
    assert (remedy.mask.closes, remedy.mask.margin_db, remedy.mask.fits) == (True, -np.inf, True)
    # worked by hand: seen from (4, 4), corners at (2.8 to 3.2, ±0.3) and heights 0 to 0.6 under 3 m
    mask = remedy.mask.mask
    side = np.degrees(np.arctan2(0.3, 2.8))
    near, far = np.degrees(np.arctan2(2.8, 3.0)), np.degrees(np.arctan2(np.hypot(3.2, 0.3), 2.4))
    assert (mask.from_deg, mask.to_deg - 360) == pytest.approx((360 - side, side), abs=4.5)
    assert mask.from_deg <= 360 - side
    assert mask.to_deg - 360 >= side
    assert mask.off_axis_from_deg == pytest.approx(near - 2, abs=1)
    assert mask.off_axis_to_deg == pytest.approx(far + 2, abs=1)
    made = masked(trips.units[0], [mask])
    angle = np.radians(np.arange(side + 6, 360 - side - 6, 1.0))
    around = np.stack([4 + 3 * np.cos(angle), 4 + 3 * np.sin(angle), np.full(angle.shape, 0.3)], axis=1)
    assert hidden(made, effect.points).all()
    assert not hidden(made, around).any()


@settings(max_examples=60)
@given(
    centre=st.tuples(st.floats(-5, 5), st.floats(-5, 5), st.floats(0, 2.5)),
    spread=st.floats(0.01, 2.0),
    turn=st.floats(-180, 180),
    tilt=st.floats(-60, 60),
    seed=st.integers(0, 2**16),
)
def test_a_mask_covers_all_it_is_made_for(centre: Any, spread: float, turn: float, tilt: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    points = np.array([4.0, 4.0, 0.0]) + np.array(centre) + spread * (rng.random((40, 3)) - 0.5)
    made = unit(turn=turn, tilt=tilt)
    assert hidden(masked(made, [mask_over(made, points)]), points).all()


def test_less_reach_by_the_closed_form() -> None:
    """The margin goes with 40·log10 of the reach: p = 10^(−(m + reserve)/40), the next whole per cent below."""
    (remedy,) = found().remedies
    exact = 100 * 10 ** (-(remedy.effect.margin_db + 3) / 40)
    percent = remedy.sensitivity.to_percent
    assert percent < exact <= percent + 1 + 1e-9
    left = remedy.effect.margin_db + 40 * np.log10(percent / 100)
    assert left < -3 <= left + 40 * np.log10((percent + 1) / percent)
    assert remedy.keep_m == pytest.approx(remedy.effect.distance_m * 100 / exact)


MICROWAVE = pattern({"circle": {"diameter": 12}}, mounting=3, motion="radial", frequency_ghz=5.8)


def test_half_a_metre_back_from_a_fan_is_enough() -> None:
    """A fan of 0.1 m² 4 m off and 2 m down gives −1.6 dB of a reach of √45 m; from 4.5 m √24.25 m: −3.26 dB [C]."""
    fan = {"name": "Fan", "kind": "fan", "at": [8, 4], "height": 1, "size": [0.02, 0.02, 0.02]}
    beyond = 40 * np.log10(np.sqrt(45 / (4.49**2 + 1.99**2))) + 10 * np.log10(0.1 / 0.73)
    assert beyond == pytest.approx(20 * np.log10(45 / 24.25) - 8.63, abs=0.05)
    (remedy,) = found(fan, detectors=[detector((4, 4), 3, MICROWAVE)]).remedies
    assert remedy.move is not None
    # of the ring's places those straight back and 30° to its sides do: what costs least is taken
    assert remedy.move.by_m == 0.5
    assert remedy.move.at in {(3.5, 4), (3.57, 4.25), (3.57, 3.75)}
    assert beyond - 0.01 <= remedy.move.margin_db < -3
    assert "move" in remedy.ways


def test_a_unit_does_not_move_from_one_nuisance_to_the_next() -> None:
    """A second fan as far off on the other side, harmless as it is, would trip the unit half a metre nearer."""
    fans = [
        {"name": name, "kind": "fan", "at": at, "height": 1, "size": [0.02, 0.02, 0.02]}
        for name, at in (("Near", [8, 4]), ("Far", [0.5, 4]))
    ]
    fans[1]["cross_section_m2"] = 0.045  # −3.3 dB from 3.5 m
    made = scene(
        rooms=[ROOM], detectors=[detector((4, 4), 3, MICROWAVE)], planes=[{"name": "floor", "height": 0}], grid=0.5,
        nuisances=fans,
    )  # fmt: skip
    trips = find_trips(made)
    (remedy,) = trips.remedies
    assert remedy.effect.nuisance == "Near"
    assert remedy.move is None or remedy.move.at != (3.5, 4)


def test_what_a_mask_costs_is_the_area_it_blinds() -> None:
    """A sector of 90° of one round unit that nobody helps: a quarter of its footprint, in closed form [C]."""
    made = scene(
        rooms=[{**ROOM, "outline": [[-6, -6], [6, -6], [6, 6], [-6, 6]]}], detectors=[detector((0, 0), 3, INFRARED)],
        planes=[{"name": "floor", "height": 0}], grid=0.05,
    )  # fmt: skip
    from raycover.physics.pattern import Mask
    from raycover.solving.casting import Weather

    coverage = solve(made)
    costs = Costs(coverage, Weather.of(made))
    cost = costs.of(0, masked(coverage.units[0], [Mask(0, 90)]))
    assert cost.share == pytest.approx(0.25, abs=0.005)
    assert cost.lost_m2 == pytest.approx(np.pi * 25 / 4, rel=0.01)
    # at 80 % of its reach the lens edge stays, the slant range shrinks to 0.8·√34 m: r² = 0.64·34 − 9
    lowered = costs.lowered(0, -40 * np.log10(0.8))
    assert lowered.share == pytest.approx(1 - (0.64 * 34 - 9) / 25, abs=0.005)


def test_what_another_unit_sees_is_not_lost() -> None:
    twin = [detector((4, 4), 3, INFRARED, "A"), detector((4.3, 4), 3, INFRARED, "B")]
    alone, helped = found().remedies[0], found(detectors=twin).remedies
    assert alone.mask.cost.lost_m2 > 0.3
    assert all(r.mask.cost.lost_m2 < 0.02 for r in helped)


def test_a_mask_too_large_is_not_the_answer() -> None:
    """A heater right under the unit takes the whole middle: all round, more than the entry allows."""
    (remedy,) = found({**HEATER, "at": [4, 4], "size": [4, 4, 0.4]}).remedies
    assert remedy.mask.mask.span_deg == 360
    assert not remedy.mask.fits
    assert remedy.best != "mask"


def test_all_masks_of_a_unit_together() -> None:
    made = scene(
        rooms=[ROOM], detectors=[detector((4, 4), 3, INFRARED)], planes=[{"name": "floor", "height": 0}], grid=0.2,
        nuisances=[HEATER, {**HEATER, "name": "Other", "at": [4, 1.5]}],
    )  # fmt: skip
    trips = find_trips(made)
    (together,) = trips.masks
    assert together.nuisances == tuple(r.effect.nuisance for r in trips.remedies)
    assert together.share == pytest.approx(sum(r.mask.share for r in trips.remedies))
    assert together.cost is not None
    assert together.cost.lost_m2 == pytest.approx(sum(r.mask.cost.lost_m2 for r in trips.remedies), rel=0.02)

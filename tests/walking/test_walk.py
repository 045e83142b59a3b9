"""Walking past declared footprints, by hand; rooms, lights and reasons."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from walk_scenes import CIRCLE, detector, hall, past_one, pattern, scene, walks

STEP_M = 1.0 * 0.04


def test_a_straight_walk_over_a_round_infrared_footprint() -> None:
    """[C] 8 m across from 2.5 m; of an adult's heights the lowest, 0.3 m, meets the lens edge first, at
    4·(2.5 − 0.3)/2.5 = 3.52 m from below the unit. From 8 m away at 1 m/s: after 4.48 s; out again after 11.52 s."""
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-8, 0], [8, 0]], speed=1)
    (found,) = walks(made)
    assert found.first is not None
    assert found.first.seconds == pytest.approx(4.48, abs=0.041)
    assert found.first.metres == pytest.approx(4.48, abs=0.041)
    assert found.first.detector == "D1"
    seen = found.track.position[found.noticed]
    assert np.abs(seen[:, 0]).max() == pytest.approx(3.52, abs=STEP_M)
    assert found.share == pytest.approx(7.04 / 16, abs=0.01)
    assert found.longest is not None
    assert found.longest.seconds == pytest.approx(4.48, abs=0.09)
    assert found.longest.why.cause == "outside-lens"


def test_a_child_is_met_further_out() -> None:
    """[C] Lowest height 0.2 m: 4·2.3/2.5 = 3.68 m."""
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-8, 0], [8, 0]], speed=1, person="child")
    (found,) = walks(made)
    assert found.first is not None
    assert found.first.metres == pytest.approx(8 - 3.68, abs=0.041)


def test_microwave_has_no_lens_edge() -> None:
    """[C] s0 = √(4² + 2.5²) to the declared edge on the floor; the head at 1.6 m is met at √(s0² − 0.9²) = 4.63 m.

    At the declared walk of 1.22 m/s, with one motion declared across and the other taken for the same, direction does
    not matter.
    """
    made = past_one(
        pattern(CIRCLE, mounting=2.5, motion="tangential", frequency_ghz=5.8), line=[[-8, 0], [0, 0]], speed=1.22
    )
    (found,) = walks(made)
    assert found.first is not None
    assert found.first.metres == pytest.approx(8 - 4.630, abs=0.05)


def test_microwave_toward_and_across() -> None:
    """[C] Declared toward the unit, 8 m across; across the line of sight the reach is 0.8 of that (our assumption),
    −3.88 dB. Head at 1.6 m, 0.9 m below the unit, walk of 1.22 m/s. Toward: cos²ψ = r²/(r² + 0.9²), the margin is 0
    where 40·log10(s0/s) + 10·log10(cos²ψ + sin²ψ·10^(−0.388)) = 0, r = 4.604 m. On a line 3.8 m aside, where it is
    nearest: s = √(3.8² + 0.9²) = 3.905 m, 40·log10(4.717/3.905) − 3.88 = −0.60 dB.
    """
    unit = pattern(CIRCLE, mounting=2.5, motion="radial", frequency_ghz=5.8)
    s0 = math.hypot(4, 2.5)
    r = np.linspace(4, 5, 10001)
    s2 = r**2 + 0.9**2
    exact = 40 * np.log10(s0 / np.sqrt(s2)) + 10 * np.log10(r**2 / s2 + 0.9**2 / s2 * 10**-0.388)
    out = float(r[np.abs(exact).argmin()])
    assert out == pytest.approx(4.604, abs=0.001)
    derived = {"conditions": {"derive_motions": True}}
    (toward,) = walks(past_one(unit, line=[[-8, 0], [0, 0]], speed=1.22, scene_has=derived))
    assert toward.first is not None
    assert toward.first.metres == pytest.approx(8 - out, abs=0.05)
    (across,) = walks(past_one(unit, line=[[-4, 3.8], [4, 3.8]], speed=1.22, scene_has=derived))
    nearest = int(np.abs(across.track.position[:, 0]).argmin())
    assert across.seen[0].margin_db[nearest] == pytest.approx(40 * math.log10(s0 / 3.905) - 3.876, abs=0.02)
    assert not across.noticed[nearest]
    # Nothing derived: across the line of sight there is no margin at all.
    (bare,) = walks(past_one(unit, line=[[-4, 3.8], [4, 3.8]], speed=1.22))
    assert bare.seen[0].margin_db[nearest] < -20


def test_direction_decides_where_both_are_declared() -> None:
    """[C] Straight toward the unit only the radial footprint counts, straight across at a tangent only the other."""
    declared = [
        {"mounting": 2.5, "plane": 0, "motion": "tangential", "shape": {"circle": {"diameter": 10}}},
        {"mounting": 2.5, "plane": 0, "motion": "radial", "shape": {"circle": {"diameter": 5}}},
    ]
    both = {"kind": "infrared", "declared": declared}
    (toward,) = walks(past_one(both, line=[[-8, 0], [0, 0]], speed=1))
    assert toward.first is not None
    assert toward.first.metres == pytest.approx(8 - 2.5 * 2.2 / 2.5, abs=0.041)
    assert toward.longest is not None
    assert (toward.longest.why.cause, toward.longest.why.detector) in (("direction", "D1"), ("outside-lens", "D1"))
    # On a line 4 m aside one moves straight across where it is nearest.
    (across,) = walks(past_one(both, line=[[-8, 4], [8, 4]], speed=1))
    middle = len(across.noticed) // 2
    assert across.noticed[middle]
    assert across.noticed.sum() * STEP_M < 2.1 * math.sqrt((5 * 2.2 / 2.5) ** 2 - 16) + 0.2


def test_who_sits_still_is_noticed_by_presence_only() -> None:
    line = [[-2, 0], [0, 1]]
    (moving,) = walks(past_one(pattern(CIRCLE, mounting=2.5), line=line, seated_s=20))
    assert not moving.noticed[moving.track.pose == 2].any()
    assert moving.longest is not None
    assert moving.longest.why.cause == "no-presence"
    (still,) = walks(past_one(pattern(CIRCLE, mounting=2.5, motion="presence"), line=line, seated_s=20))
    assert still.noticed[still.track.pose == 2].all()
    assert still.longest is None or still.longest.seconds < 2


def test_the_light_goes_off_over_someone_seated() -> None:
    """[C] Noticed until the seat is taken, hold 5 s: then 15 of 20 s seated in the dark."""
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-2, 0], [0, 1]], seated_s=20)
    (found,) = walks(made, hold_s=5)
    ((begin, end),) = found.light.left
    assert end - begin == pytest.approx(15, abs=0.1)
    assert found.shortest_hold_s == pytest.approx(20, abs=0.1)


def test_hold_times_of_scene_detector_and_command() -> None:
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-8, 0], [8, 0]])
    assert walks(made)[0].seen[0].hold_s == 900
    other = made.model_copy(update={"conditions": made.conditions.model_copy(update={"hold_s": 60.0})})
    assert walks(other)[0].seen[0].hold_s == 60
    own = other.model_copy(update={"detectors": [other.detectors[0].model_copy(update={"hold_s": 30.0})]})
    assert walks(own)[0].seen[0].hold_s == 30
    assert walks(own, hold_s=7)[0].seen[0].hold_s == 7


def test_zones_give_hold_times_and_say_what_a_walk_lights() -> None:
    """[C] Zone of 45 s: lit from the notice after 4.48 s to the end of the walk of 16 s."""
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-8, 0], [8, 0]], speed=1)
    zoned = scene(
        zones=[{"name": "Z", "detectors": ["D*"], "hold_s": 45}],
        **{key: json.loads(made.model_dump_json(by_alias=True, exclude_unset=True))[key]
           for key in ("detectors", "routes")},
    )  # fmt: skip
    (found,) = walks(zoned)
    assert found.seen[0].hold_s == 45
    assert found.zones["Z"] == (pytest.approx((4.48, 16.0), abs=0.05),)


def test_absence_is_switched_on_by_hand() -> None:
    """[C] On by hand at the start; with a hold of 3 s off again at 3 s, and a notice does not bring it back."""
    detectors = [detector((0, 0), 2.5, pattern(CIRCLE, mounting=2.5))]
    routes = [{"name": "A", "line": [[-8, 0], [8, 0]], "speed": 1}]
    zones = [{"name": "Z", "detectors": ["D1"], "mode": "absence", "hold_s": 3}]
    (found,) = walks(scene(detectors=detectors, routes=routes, zones=zones))
    assert found.light.waits == ()
    assert found.light.left == (pytest.approx((3.0, 16.0), abs=0.05),)
    assert found.light.off_at_s == pytest.approx(3.0, abs=0.05)


def test_what_counts_are_the_detectors_of_the_room_one_is_in() -> None:
    """Microwave in the corridor sees through the board wall; it lights the corridor, not the office."""
    strong = pattern({"circle": {"diameter": 30}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    weak = pattern({"circle": {"diameter": 4}}, mounting=2.5)
    made = scene(
        rooms=[
            {"name": "Office", "outline": [[0, 0], [8, 0], [8, 8], [0, 8]], "height": 3, "walls": "plasterboard-12.5",
             "openings": [{"edge": 0, "at": 3.5, "width": 1, "height": 2.1, "fill": "door-wood-40"}]},
            {"name": "Corridor", "outline": [[0, -2], [8, -2], [8, 0], [0, 0]], "height": 3,
             "walls": "plasterboard-12.5"},
        ],
        detectors=[detector((4, -1), 2.5, strong, "C"), detector((4, 6), 2.5, weak, "O")],
        routes=[{"name": "In", "line": [[1, -1], [4, -1], [4, 6]], "speed": 1}],
    )  # fmt: skip
    (found,) = walks(made)
    assert [entry.room for entry in found.entries] == ["Corridor", "Office"]
    corridor, office = found.entries
    assert corridor.first is not None
    assert (corridor.first.detector, corridor.first.seconds) == ("C", pytest.approx(0.0))
    assert office.first is not None
    assert office.first.detector == "O"
    # [C] Lens edge of 2 m at the floor, 2·2.2/2.5 = 1.76 m at 0.3 m: 6 − 1.76 m from the threshold.
    assert office.first.metres == pytest.approx(6 - 1.76, abs=0.1)
    assert found.others == ("C",)
    assert [round(begin, 1) for begin, _ in found.light.waits] == [round(office.at_s, 1)]


def test_what_hides_a_walker_is_named() -> None:
    made = hall(
        size=(12, 4),
        solids=[{"name": "Stack", "centre": [6, 2.9], "size": [4, 0.6, 2.5], "material": "goods"}],
        detectors=[detector((6, 3.6), 2.5, pattern({"circle": {"diameter": 14}}, mounting=2.5))],
        routes=[{"name": "Behind", "line": [[5, 1.9], [7, 1.9]]}],
    )
    (found,) = walks(made)
    assert found.longest is not None
    assert (found.longest.why.cause, found.longest.why.blocked_by) == ("blocked", "Stack")


def test_twice_the_same() -> None:
    made = past_one(pattern(CIRCLE, mounting=2.5), line=[[-8, 1], [8, 0]])
    one, two = walks(made)[0], walks(made)[0]
    np.testing.assert_array_equal(one.seen[0].margin_db, two.seen[0].margin_db)
    assert one.first is not None
    assert two.first is not None
    assert one.first.seconds == two.first.seconds


def test_no_detector_no_notice() -> None:
    made = hall(routes=[{"name": "A", "line": [[1, 1], [9, 9]]}])
    (found,) = walks(made)
    assert found.first is None
    assert found.longest is not None
    assert found.longest.why.cause == "no-detector"
    assert found.light.off_at_s is None

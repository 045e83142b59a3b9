"""What a unit's margin is with nothing in the way, and through one slab: settings, bodies, motions, elevation."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_scenes import detector, open_floor, pattern, scene

import raycover
from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.detectors import Unit
from raycover.physics.motion import WALK_MPS
from raycover.rays.ray_scene import RayScene
from raycover.solving.casting import judge
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather, moving_margin_db, open_air, open_margin_db

CLEAR = Weather(0.0, "coherent")
CIRCLE_12 = {"circle": {"diameter": 12}}


def microwave(shape: dict[str, Any] | None = None, **more: Any) -> Any:
    return pattern(shape or CIRCLE_12, mounting=2.5, motion="radial", frequency_ghz=5.8, **more)


def unit(made: Any, **more: Any) -> Unit:
    """The unit of a pattern, 2.5 m above the origin; `conditions` go to the scene."""
    conditions = more.pop("conditions", {})
    placed = open_floor(detector((0, 0), 2.5, made, **more), conditions=conditions)
    (only,) = make_units(placed, build(placed))
    return only


def margin(of: Unit, point: tuple[float, float, float], motion: str = "any", target_m2: float | None = None) -> float:
    """Margin (dB) at a point given from the floor below the unit."""
    offset = tuple(np.array([v]) for v in (point[0], point[1], point[2] - 2.5))
    return float(open_margin_db(of, offset, of.footprints_for(motion, target_m2), CLEAR)[0])  # type: ignore[arg-type]


def reach_along(plane: raycover.solving.coverage.PlaneCoverage) -> float:
    return math.sqrt(plane.area_where(plane.detected) / math.pi)


@pytest.mark.parametrize("kind", ["microwave", "infrared"])
def test_half_the_sensitivity_is_half_the_reach(kind: str) -> None:
    """12 m across from 2.5 m: s0 = 6.5 m; at 50 % it is 3.25 m, so √(3.25² − 2.5²) = 2.08 m on the floor. Infrared
    the same within its lens edge, which the setting leaves where it is."""
    made = microwave() if kind == "microwave" else pattern(CIRCLE_12, mounting=2.5)
    half, full = unit(made, sensitivity_pct=50), unit(made)
    assert margin(half, (1, 1, 0)) - margin(full, (1, 1, 0)) == pytest.approx(40 * math.log10(0.5))
    floor = raycover.solve(open_floor(detector((0, 0), 2.5, made, sensitivity_pct=50), half=4, grid=0.05))["floor"]
    assert reach_along(floor) == pytest.approx(math.sqrt(3.25**2 - 2.5**2), abs=0.03)
    wide = made | {"sensitivity_pct": {"from": 50, "to": 150}}
    beyond = raycover.solve(open_floor(detector((0, 0), 2.5, wide, sensitivity_pct=150), half=11, grid=0.1))["floor"]
    expected = 6.0 if kind == "infrared" else math.sqrt(9.75**2 - 2.5**2)
    assert reach_along(beyond) == pytest.approx(expected, abs=0.05)


def test_microwave_sees_twelve_metres_across_in_the_open() -> None:
    """12 m across in the open (common practice, no source), as it is declared; from 3 m up on one a metre lower."""
    floor = raycover.solve(open_floor(detector((0, 0), 2.5, microwave()), half=7, grid=0.05))["floor"]
    assert 2 * reach_along(floor) == pytest.approx(12, abs=0.05)


def test_a_smaller_body_scales_the_reach() -> None:
    """σ^¼: against the declared walker's 0.73 m² [2nd] a 0.37 m² person (least of Proc. IRE 46, 1958 [V]) is noticed
    out to 6.5·(0.37/0.73)^¼ = 5.484 m, √(5.484² − 2.5²) = 4.88 m on the floor."""
    for plane, reach in (
        ({"target_m2": 0.37}, math.sqrt((6.5 * (0.37 / 0.73) ** 0.25) ** 2 - 2.5**2)),
        ({"body": "walker"}, 6.0),
        ({"body": "seated"}, math.sqrt((6.5 * (0.03 / 0.73) ** 0.25) ** 2 - 2.5**2)),
    ):
        solved = raycover.solve(open_floor(detector((0, 0), 2.5, microwave()), half=7, grid=0.05, plane=plane))["floor"]
        assert reach_along(solved) == pytest.approx(reach, abs=0.03)
    infrared = pattern(CIRCLE_12, mounting=2.5)
    plane = {"body": "breathing"}
    solved = raycover.solve(open_floor(detector((0, 0), 2.5, infrared), half=7, grid=0.05, plane=plane))["floor"]
    assert reach_along(solved) == pytest.approx(6, abs=0.03)


def test_presence_is_declared_with_a_seated_person_already() -> None:
    made = pattern({"circle": {"diameter": 6}}, mounting=2.5, plane=0.75, motion="presence", frequency_ghz=5.8)
    of = unit(made)
    assert margin(of, (3, 0, 0.75), target_m2=0.03) == pytest.approx(0, abs=1e-9)
    assert margin(of, (3, 0, 0.75), target_m2=0.73) == pytest.approx(0, abs=1e-9)
    assert margin(of, (3, 0, 0.75), target_m2=0.003) == pytest.approx(-10)


def test_a_motion_not_declared_gives_no_margin_unless_the_scene_derives_it() -> None:
    plain, derived = unit(microwave()), unit(microwave(), conditions={"derive_motions": True})
    for motion in ("tangential", "presence"):
        assert np.isneginf(margin(plain, (1, 0, 0), motion))
    assert margin(derived, (1, 0, 0), "radial") == margin(plain, (1, 0, 0), "radial")
    difference = {
        m: margin(derived, (1, 0, 0), m) - margin(plain, (1, 0, 0), "radial") for m in ("tangential", "presence")
    }
    # 0.8 of the reach across (our assumption): −3.88 dB; 10·log10(0.03/0.73) = −13.86 dB
    assert difference == pytest.approx({"tangential": -3.88, "presence": -13.86}, abs=0.01)
    infrared = unit(pattern(CIRCLE_12, mounting=2.5), conditions={"derive_motions": True})
    assert [f.motion for f in infrared.footprints] == ["tangential"]


def test_what_is_derived_is_said() -> None:
    placed = open_floor(detector((0, 0), 2.5, microwave()), conditions={"derive_motions": True})
    told = [p for p in placed.warnings if p.code == "derived-motion"]
    assert [p.severity for p in told] == ["warning", "warning"]
    assert "tangential motion is not declared, taken from radial by -3.9 dB" in told[0].message
    assert "our assumption" in told[0].message
    (view,) = probe(placed, (1.0, 0.0, 0.5), motion="presence")
    assert set(view.unit.derived_motions) == {"tangential", "presence"}


def test_an_elevation_table_decides_what_the_floor_above_sees() -> None:
    """Unit 2.5 m up under a slab of 150 mm concrete at 2.8 m, a person straight above, 0.5 m over it, at 3.3 m.

    s0 = √(6² + 2.5²) = 6.5 m, of which 0.4 straight behind: 2.6 m against 0.8 m, and 21.02 dB one way through
    150 mm of concrete at 5.8 GHz, square on [C]: 40·log10(2.6/0.8) − 2·21.02 = 20.47 − 42.04 = −21.57 dB.
    Through 15 mm ceiling board, 0.25 dB [C], 20.47 − 0.50 = 19.97 dB. Without a table there is nothing behind.
    """
    table = [[0, 1], [90, 1], [180, 0.4]]
    for construction, loss in (("concrete-150", 21.02), (None, 0.25)):
        layers = construction or {"layers": [{"material": "ceiling board", "thickness_mm": 15}]}
        slab = {
            "name": "slab",
            "corners": [[-9, -9, 2.8], [9, -9, 2.8], [9, 9, 2.8], [-9, 9, 2.8]],
            "construction": layers,
        }
        placed = scene(
            sheets=[slab],
            detectors=[
                detector((0, 0), 2.5, microwave(elevation=table)),
                detector((0, 0), 2.5, microwave(), name="D2"),
            ],
            conditions={"losses": "coherent"},
        )
        (with_table, without) = probe(placed, (0.0, 0.0, 3.3))
        assert with_table.margin_db == pytest.approx(40 * math.log10(2.6 / 0.8) - 2 * loss, abs=0.03)
        assert np.isneginf(without.margin_db)
        assert without.cause == "out-of-reach"


def test_front_to_back_ratio_is_a_share_of_the_reach_behind() -> None:
    """20 dB one way: a tenth of the reach, as reach_behind: 0.1."""
    ratio, share = unit(microwave(front_to_back_db=20)), unit(microwave(reach_behind=0.1))
    assert margin(ratio, (1, 1, 3)) == pytest.approx(margin(share, (1, 1, 3)))


@settings(max_examples=25, deadline=None)
@given(st.floats(-180, 180), st.floats(-60, 60))
def test_beams_and_tables_turn_and_tilt_with_the_unit(turn: float, tilt: float) -> None:
    """A point that turns and tilts with the unit keeps its margin."""
    points = np.random.default_rng(2).normal(scale=4, size=(3, 40))
    for more in (
        {"beams": [{"azimuth_deg": 0, "off_axis_deg": 60, "width_deg": 60}]},
        {"elevation": [[0, 1], [70, 1], [180, 0.2]]},
    ):
        made = microwave({"ellipse": {"length": 14, "width": 7}}, **more)
        straight, turned = unit(made), unit(made, turn_deg=turn, tilt_deg=tilt)
        moved = turned.rotation @ points
        one = open_margin_db(straight, (points[0], points[1], points[2]), straight.footprints, CLEAR)
        two = open_margin_db(turned, (moved[0], moved[1], moved[2]), turned.footprints, CLEAR)
        assert two == pytest.approx(one, abs=1e-6)


def test_the_parts_make_up_the_whole() -> None:
    masks = [{"from_deg": 0, "to_deg": 90, "loss_db": 4}]
    of = unit(microwave(), masks=masks)
    x, y, z = (np.array(v) for v in ([2.0, -2.0], [2.0, 2.0], [-2.5, -2.5]))
    air = open_air(of, (x, y, z), of.footprints, Weather(-3.0, "coherent"))
    assert np.asarray(air.mask_db).tolist() == [4, 0]
    assert air.heat_db == 0  # warm air is nothing to microwave
    assert air.margin_db == pytest.approx(air.reach_db - [8, 0])
    assert air.in_lens.all()


def test_a_partial_mask_is_the_cause_only_where_it_makes_the_miss() -> None:
    """s0 = 6.5 m, 4 dB one way: reach × 10^(−4/20) = 4.10 m behind the mask. At 5 m slant it is the mask, at 7 m
    distance would do by itself, at 4 m all is well."""
    placed = open_floor(detector((0, 0), 2.5, microwave(), masks=[{"from_deg": -45, "to_deg": 45, "loss_db": 4}]))
    (of,) = make_units(placed, build(placed))
    slant = np.array([4.0, 5.0, 7.0])
    points = np.stack([np.sqrt(slant**2 - 2.5**2), np.zeros(3), np.full(3, 1e-3)], axis=1)
    judged = judge(of, points, "any", RayScene(build(placed)), CLEAR)
    assert [raycover.solving.coverage.CAUSES[c] for c in judged.cause] == ["none", "masked", "out-of-reach"]


def test_walking_direction_from_two_declared_footprints() -> None:
    """Straight at the unit the radial footprint counts, across the line of sight the tangential one."""
    made = microwave() | {"declared": [
        {"mounting": 2.5, "motion": "radial", "shape": {"circle": {"diameter": 14}}},
        {"mounting": 2.5, "motion": "tangential", "shape": {"circle": {"diameter": 11}}},
    ]}  # fmt: skip
    of = unit(made)
    offset = (np.array([3.0, 3.0, 3.0]), np.zeros(3), np.full(3, -1.0))
    toward, across = np.array([-3.0, 0, 1.0]) / math.sqrt(10) * WALK_MPS, np.array([0.0, WALK_MPS, 0.0])
    velocity = np.array([toward, across, -toward]).T
    moving = moving_margin_db(of, offset, (velocity[0], velocity[1], velocity[2]), CLEAR)
    point = (3.0, 0.0, 1.5)
    radial, tangential = margin(of, point, "radial"), margin(of, point, "tangential")
    assert moving == pytest.approx([radial, tangential, radial])
    with pytest.raises(ValueError, match="infrared"):
        moving_margin_db(unit(pattern(CIRCLE_12, mounting=2.5)), offset, offset, CLEAR)


@pytest.mark.parametrize(
    ("model", "along", "wide_to"), [("microwave-corridor-24", 10.0, 1.3), ("microwave-corridor-5.8", 8.7, 1.5)]
)
def test_the_corridor_entries_in_a_corridor(model: str, along: float, wide_to: float) -> None:
    """10 m each way and 3 m wide in a corridor (common practice, no source), for a person walking along it.

    The 24 GHz entry, declared 22 × 2.4 m on the floor, gives the length and 2.6 m of the width, the 5.8 GHz one, 18 ×
    2.6 m, the width and 8.7 m; each is asserted for what it declares.
    """
    outline = [[-12, -1.5], [12, -1.5], [12, 1.5], [-12, 1.5]]
    placed = scene(
        rooms=[{"name": "corridor", "outline": outline, "height": 2.7, "walls": "brick-100"}],
        detectors=[{"name": "D1", "model": model, "at": [0, 0], "mounting": 2.5}],
        planes=[{"name": "person", "target": "person", "heights": [0.3, 1.0, 1.6], "motion": "radial"}],
        grid=0.1,
    )
    plane = raycover.solve(placed)["person"]
    x, y = np.abs(plane.x), np.abs(plane.y)
    assert plane.detected[y < 0.1][:, x < along].all()
    assert not plane.detected[:, x > along + 1.3].any()
    assert plane.detected[y < wide_to][:, x < 2].all()


def test_a_corridor_unit_of_two_beams() -> None:
    """10 m each way and 3 m wide from 2.5 m (common practice, no source), declared so, whatever its two beams."""
    beams = [{"azimuth_deg": azimuth, "off_axis_deg": 50, "width_deg": 80} for azimuth in (0, 180)]
    made = microwave({"rectangle": {"length": 20, "width": 3}}, beams=beams)
    floor = raycover.solve(open_floor(detector((0, 0), 2.5, made, turn_deg=90), half=13, grid=0.05))["floor"]
    assert floor.area_where(floor.detected) == pytest.approx(60, rel=0.01)
    y, x = np.nonzero(floor.detected)
    assert np.ptp(floor.y[y]) == pytest.approx(20, abs=0.1)
    assert np.ptp(floor.x[x]) == pytest.approx(3, abs=0.1)

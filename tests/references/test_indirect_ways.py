"""Facts of the trade about microwave by indirect ways. Common practice, no source, each figure."""

from __future__ import annotations

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

import raycover

CORRIDOR = {
    "name": "C", "outline": [[-20, -1.5], [20, -1.5], [20, 1.5], [-20, 1.5]], "height": 2.6,
    "ceiling": "plasterboard-12.5", "floor_construction": "concrete-150",
}  # fmt: skip


def extent(plane: raycover.solving.coverage.PlaneCoverage) -> tuple[float, float]:
    """Metres seen along the axis of the corridor, and across it below the unit."""
    row, column = (int(np.argmin(np.abs(axis - 0.01))) for axis in (plane.y, plane.x))
    return float(plane.detected[row].sum()) * 0.05, float(plane.detected[:, column].sum()) * 0.05


def test_ten_metres_each_way_and_three_wide_between_walls() -> None:
    """10 m each way and 3 m wide in a corridor (common practice, no source), and its walls do not spoil that.

    Worked by hand for the floor on the axis, brick of 215 mm: at r = 11 m the straight way is s = 11.28 m and lies
    40·log10(10.31/11.28) = −1.56 dB short, s0 = √(10² + 2.5²) = 10.31 m. By a wall 1.5 m off the way is 11.67 m
    long, leaves at 15.3° where the declared 20 × 3 m ends after 1.5/sin 15.3° = 5.70 m (s0 = 6.23 m), and meets
    the wall at cos = 3/11.67 = 0.257, where brick reflects a mean |R|² of 0.315 [C], 5.0 dB one way:
    40·log10(6.23/11.67) − 2·5.0 = −20.9 dB. Together 20·log10(10^(−1.56/20) + 2·10^(−20.9/20)) = +0.1 dB: just
    seen. So the corridor's walls add about 1 m each way, not several.
    """
    made = pattern({"rectangle": {"length": 20, "width": 3}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    for walls, more in (("none", (20.0, 20.0)), ("brick-215", (22.0, 22.4))):
        one = scene(
            rooms=[{**CORRIDOR, "walls": walls}], detectors=[detector((0, 0), 2.5, made)],
            planes=[{"name": "floor", "height": 0}], grid=0.05, conditions={"reflections": 1},
        )  # fmt: skip
        along, across = extent(raycover.solve(one)["floor"])
        assert more[0] - 0.11 <= along <= more[1] + 0.11
        assert across == pytest.approx(3.0, abs=0.06)


def test_a_washroom_unit_sees_more_by_its_walls(washroom) -> None:  # type: ignore[no-untyped-def]
    """Reflections never take anything away, and add to what is assured in the cubicles."""
    straight, mirrored = (
        raycover.solve(with_reflections(washroom.scene, k), building=washroom.building, rays=washroom.rays)
        for k in (0, 1)
    )
    for name, plane in mirrored.items():
        before = straight[name]
        seen = plane.surface.inside & np.isfinite(before.margin_db)
        assert (plane.margin_db[seen] >= before.margin_db[seen] - 1e-4).all()
        assert plane.share >= before.share
    assert mirrored["person"].assured_share > straight["person"].assured_share


def test_a_stairwell_is_served_by_indirect_ways(stairwell) -> None:  # type: ignore[no-untyped-def]
    """Serves a stairwell by indirect ways (common practice, no source).

    What holds in the example: the unit of the first floor alone sees some of the stair only by walls, flights and
    landings; all three units see every tread and landing already straight through the flights, and with
    reflections all of it with the reserve.
    """
    middle = stairwell.scene.model_copy(update={"detectors": [stairwell.scene.detectors[1]]})
    straight, mirrored = (
        raycover.solve(with_reflections(middle, k), building=stairwell.building, rays=stairwell.rays)["floor Stair B"]
        for k in (0, 1)
    )
    only_by_mirrors = mirrored.detected & ~straight.detected
    assert mirrored.area_where(only_by_mirrors) > 0.2
    assert not (straight.detected & ~mirrored.detected).any()
    stair = stairwell.coverage["floor Stair B"]
    assert stair.share == pytest.approx(1.0)
    assert stair.assured_share > 0.999


def with_reflections(one: raycover.Scene, reflections: int = 1) -> raycover.Scene:
    conditions = one.conditions.model_copy(update={"reflections": reflections})
    return one.model_copy(update={"conditions": conditions})

"""Studies: hand-worked footprints, shadows and people behind a low wall; what an option may ask for."""

from __future__ import annotations

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.asking.studying import Caster, bands, holds, study
from raycover.errors import InputError
from raycover.scene.schema import Scene
from raycover.scene.varying import Change, varied


def hall(*detectors: object, **parts: object) -> Scene:
    room = {"name": "Hall", "outline": [[0, 0], [12, 0], [12, 12], [0, 12]], "height": 8, "walls": "brick-100"}
    return scene(rooms=[room], detectors=list(detectors), planes=[{"name": "floor", "height": 0}], grid=0.05, **parts)


CEILING = pattern({"circle": {"diameter": 6}}, mounting=4)


def test_the_footprint_shrinks_as_the_unit_is_lowered() -> None:
    # Similar triangles: r = 3 m at 4 m, so 0.75·H; area π·(0.75·H)² of 144 m². Above the declared 4 m the slant range
    # of 5 m holds: at 5 m √(25 − 25) = 0 m of floor on the axis alone. [C]
    found = study(hall(detector((6, 6), 4, CEILING)), [Change(mounting=h) for h in (2, 3, 4)], ["D1"], ladder=False)
    for step, height in zip(found.steps, (2, 3, 4), strict=True):
        expected = np.pi * (0.75 * height) ** 2 / 144
        assert step.planes["floor"].share == pytest.approx(expected, rel=0.01)
    assert bands(found.steps, 0.1) == [(1, 2)]  # 7.7 %, 11.0 %, 19.6 %: shares worked out as above
    assert not holds(found.steps[0], 0.1)


def test_only_the_named_detectors_move() -> None:
    made = hall(detector((3, 6), 4, CEILING), detector((9, 6), 4, CEILING, name="D2"))
    changed = varied(made, Change(mounting=3.0, tilt_deg=5.0), ["D2"])
    assert [(d.mounting, d.tilt_deg) for d in changed.detectors] == [(4, 0), (3, 5)]
    assert varied(made, Change(ambient_c=31.0)).conditions.ambient_c == 31
    both = study(made, [Change(mounting=3.0)], ["D1", "D2"], ladder=False).steps[0].planes["floor"].share
    one = study(made, [Change(mounting=3.0)], ["D2"], ladder=False).steps[0].planes["floor"].share
    assert one - both == pytest.approx(np.pi * (3**2 - 2.25**2) / 144, rel=0.02)


def test_who_hides_behind_a_low_wall() -> None:
    # Unit at 3 m over (6, 6); a wall 1.5 m high at x = 8. Behind it at x = 9 the line of sight over the wall is
    # 1.5 − (1.5/2)·1 = 0.75 m high, so somebody is seen from 0.8 m on; at x = 9.9 from 0.1 m on (0.075 m). [C]
    wide = pattern({"circle": {"diameter": 16}}, mounting=3)
    wall = {"name": "counter", "line": [[8, 1], [8, 11]], "height": 1.5, "construction": "brick-100"}
    made = hall(detector((6, 6), 3, wide), partitions=[wall])
    caster = Caster(made, ["D1"])
    plane = caster.planes(Change())["floor"]
    lowest = caster.seen_from(Change(), plane.surface)

    def at(x: float, y: float) -> float:
        return float(lowest[np.abs(plane.y - y).argmin(), np.abs(plane.x - x).argmin()])

    assert at(9.0, 6.0) == 0.8
    assert at(9.91, 6.0) == 0.1
    assert at(7.5, 6.0) == 0.1
    unseen = caster.unseen(Change())
    assert unseen is not None
    # Close behind the wall an adult of 1.7 m stands out over it, a child of 1.1 m hides for 8 < x < 8.53: the line of
    # sight is 1.1 m high at 8 + 0.4/0.75; in plan a strip 10 m long, straight since the wall is (projection). [C]
    beyond = (lowest > 1.1 + 1e-9) & plane.surface.inside & (plane.x > 8)[None, :] & (plane.x < 9.9)[None, :]
    middle = np.abs(plane.y - 6).argmin()
    assert plane.x[beyond[middle]].max() == pytest.approx(8.53, abs=0.06)


def test_racking_full_empty_and_away() -> None:
    rack = {"name": "R1", "at": [2, 5], "bays": 3, "levels": 3, "fill": 0.5}
    made = hall(detector((6, 9), 7.5, pattern({"circle": {"diameter": 16}}, mounting=7.5)), racking=[rack])
    changes = [Change(racks=r) for r in ("full", "as drawn", "empty", "none")]
    shares = [s.planes["floor"].share for s in study(made, changes, ["D1"], ladder=False).steps]
    assert shares == sorted(shares)
    assert shares[0] < shares[2] < shares[3]
    areas = {s.planes["floor"].area_m2 for s in study(made, changes, ["D1"], ladder=False).steps}
    assert len(areas) == 1  # taking the rack away adds no floor


def test_a_unit_above_its_ceiling_is_refused_with_its_value() -> None:
    made = hall(detector((6, 6), 4, CEILING))
    with pytest.raises(InputError) as caught:
        study(made, [Change(mounting=h) for h in (7.0, 9.0, 10.0)], ["D1"])
    (problem,) = caught.value.problems
    assert problem.code == "detector-above-ceiling"
    assert problem.message.startswith("with mounting 9 m: ")

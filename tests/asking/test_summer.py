"""Reach in warm air: slant range with the square root of the contrast, the lens edge where it is."""

from __future__ import annotations

import numpy as np
import pytest
from small_scenes import detector, open_floor, pattern

from raycover.asking.summer import summer_reach
from raycover.building.build import build
from raycover.physics.infrared import contrast_factor
from raycover.solving.coverage import make_units


def test_reach_against_air_temperature() -> None:
    # r = 4 m from 2.5 m: slant 4.717 m. At 25 °C k = .69 (clothed; PHYSICS §3 [C]): slant 4.717·√.69 = 3.92 m, in plan
    # √(3.92² − 2.5²) = 3.02 m. At 30 °C k = .37: slant 2.87 m, in plan 1.41 m. At 10 °C (k 1.54) the lens ends it: 4 m.
    made = open_floor(
        detector((0, 0), 2.5, pattern({"circle": {"diameter": 8}}, mounting=2.5)),
        detector((3, 0), 2.5, pattern({"circle": {"diameter": 8}}, mounting=2.5, frequency_ghz=5.8), name="D2"),
    )
    infrared, microwave = summer_reach(make_units(made, build(made)), [10.0, 20.0, 25.0, 30.0, 40.0])
    assert [r.plan_m for r in infrared.reaches][:4] == pytest.approx([4.0, 4.0, 3.02, 1.41], abs=0.03)
    assert infrared.reaches[2].slant_m == pytest.approx(np.hypot(4, 2.5) * np.sqrt(contrast_factor(25.0)))
    assert [r.plan_m for r in microwave.reaches] == pytest.approx([4.0] * 5)
    assert infrared.detectors == ("D1",)

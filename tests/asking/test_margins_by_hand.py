"""Margins of whole scenes against a pocket calculator: distance, setting, mask, sheet at an angle, chord, air.

40·log10(s0/s) − 2·L + 20·log10(k): the radar and radiation laws; losses that are looked up are those of the tables
in tests/references. Each number was worked out by hand from the plan before it was compared.
"""

from __future__ import annotations

from typing import Any

import pytest
from small_scenes import scene

from raycover.asking.probe import probe

RADAR = {
    "kind": "microwave", "frequency_ghz": 5.8, "reach_behind": 0,
    "declared": [
        {"mounting": 2.5, "plane": 0, "motion": "radial", "shape": {"circle": {"diameter": 12}}},
        {"mounting": 2.5, "plane": 0.75, "motion": "presence", "shape": {"circle": {"diameter": 6}}},
    ],
}  # fmt: skip
LENS = {
    "kind": "infrared",
    "declared": [{"mounting": 3, "plane": 0, "motion": "tangential", "shape": {"circle": {"diameter": 8}}}],
}
PARTS: dict[str, Any] = {
    "rooms": [{"name": "A", "outline": [[-20, -20], [20, -20], [20, 20], [-20, 20]], "height": 12, "walls": "none",
               "ceiling": "none"}],
    "partitions": [
        {"name": "P", "line": [[2, -10], [2, -1]], "height": 3, "construction": "plasterboard-12.5"},
        {"name": "B", "line": [[-2, 1], [-2, 10]], "height": 3, "construction": "brick-215"},
    ],
    "solids": [{"name": "Goods", "centre": [0, 5], "size": [1, 2, 3], "material": "goods"}],
    "detectors": [
        {"name": "U", "pattern": RADAR, "at": [0, 0], "mounting": 2.5,
         "masks": [{"from_deg": 350, "to_deg": 10, "loss_db": 3}]},
        {"name": "V", "pattern": LENS, "at": [10, 0], "mounting": 3, "sensitivity_pct": 80},
    ],
}  # fmt: skip


@pytest.mark.parametrize(
    ("unit", "at", "motion", "ambient_c", "by_hand", "within"),
    [
        # s0 = √(6² + 2.5²) = 6.5
        ("U", (0, -4, 0), "any", 20, 5.57, 0.01),  # s = 4.717
        ("U", (-4, -4, 0), "any", 20, 0.86, 0.01),  # s = 6.185
        ("U", (6, 0, 0), "any", 20, -6.00, 0.01),  # on the edge, 3 dB of mask each way
        ("U", (4, 0, 0), "any", 20, -0.43, 0.01),  # 5.57 − 6
        ("U", (3, 0, 0.75), "presence", 20, -6.00, 0.01),  # s = s0 = √(3² + 1.75²), the mask
        ("U", (4, -4, 0), "any", 20, -1.98, 0.05),  # 0.86 − 2 · 1.42: a board at 50° off square
        ("U", (-4, 4, 0), "any", 20, -13.5, 0.15),  # 0.86 − 2 · 7.2: a brick at 50°
        ("U", (0, 8, 0), "any", 20, -54.7, 0.05),  # 8.38 m, a quarter of it, 2.095 m, through goods of 12 dB/m
        # s0 = √(4² + 3²) = 5; 80 % of the reach takes 40·log10(0.8) = −3.88
        ("V", (6, 0, 0), "any", 20, -3.88, 0.01),
        ("V", (12, 0, 0), "any", 20, 1.80, 0.01),  # s = √13
        ("V", (10, 0, 0), "any", 20, 5.00, 0.01),  # s = 3, right under it
        ("V", (12, 0, 0), "any", 25, -1.42, 0.1),  # k = 0.69
        ("V", (12, 0, 0), "any", 30, -6.84, 0.2),  # k = 0.37
    ],
)
def test_by_hand(
    unit: str, at: tuple[float, float, float], motion: str, ambient_c: float, by_hand: float, within: float
) -> None:
    found = probe(scene(**PARTS, conditions={"ambient_c": ambient_c}), at, motion=motion)
    (seen,) = (one for one in found if one.unit.name == unit)
    assert seen.margin_db == pytest.approx(by_hand, abs=within)

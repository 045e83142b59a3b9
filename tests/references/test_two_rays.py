"""Ways by one mirror against two-ray cases worked by hand.

All units: a circle of 12 m declared from 1 m, the same all round, so s0 = √(6² + 1²), s0² = 37, and the one-way
power of a way of length s relative to what is just noticed is 37/s² times what it loses. Losses coherent.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from scipy.constants import epsilon_0, speed_of_light
from small_scenes import detector, pattern, scene

from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather
from raycover.solving.paths import Traced, trace

ROUND = pattern({"circle": {"diameter": 12}}, mounting=1.0, motion="radial", frequency_ghz=5.8, reach_behind=1)
S0_SQUARE = 37.0


def made(*, at: tuple[float, float] = (0, 0), mounting: float = 1.0, reflections: int = 1, **parts: Any) -> Scene:
    conditions = {"losses": "coherent", "reflections": reflections}
    return scene(
        detectors=[detector(at, mounting, ROUND)],
        conditions=conditions,
        planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}],
        **parts,
    )


def wall(name: str, start: tuple[float, float], end: tuple[float, float], construction: str, **more: Any) -> Any:
    return {"name": name, "line": [start, end], "height": 4, "base": -1, "construction": construction, **more}


def traced(one: Scene, *points: tuple[float, float, float]) -> Traced:
    building = build(one)
    (unit,) = make_units(one, building)
    return trace(unit, np.array(points, float), "any", RayScene(building), Weather.of(one))


def by_hand(*powers: float) -> float:
    """Margin (dB) of ways with these one-way powers."""
    return 20 * math.log10(sum(powers))


def reflected(relative: float, sigma: float, thickness: float, cosine: float, frequency_ghz: float = 5.8) -> float:
    """|R|² of one layer, mean of both polarisations, written out from ITU-R P.2040 §2.2 (through open libraries)."""
    omega = 2 * math.pi * frequency_ghz * 1e9
    eta = complex(relative, -sigma / (omega * epsilon_0))
    root = np.sqrt(eta - (1 - cosine**2))
    q = omega / speed_of_light * thickness * root
    power = 0.0
    for r in ((cosine - root) / (cosine + root), (eta * cosine - root) / (eta * cosine + root)):
        power += 0.5 * abs(r * (1 - np.exp(-2j * q)) / (1 - r**2 * np.exp(-2j * q))) ** 2
    return float(power)


def test_a_metal_wall_behind_the_unit() -> None:
    """Wall 2 m behind, target 3 m ahead: 37/3² straight, 37/(2 + 2 + 3)² by the wall; 13.74 dB. [C]"""
    ways = traced(made(partitions=[wall("steel", (-2, -9), (-2, 9), "steel-panel")]), (3, 0, 1))
    assert ways.point.tolist() == [0, 0]
    assert ways.offset.tolist() == [[3, 0, 0], [-7, 0, 0]]
    assert ways.way_margin_db() == pytest.approx([by_hand(37 / 9), by_hand(37 / 49)])
    assert ways.margin_db() == pytest.approx([by_hand(37 / 9, 37 / 49)])
    assert ways.margin_db() == pytest.approx([13.74], abs=0.01)


def test_a_plasterboard_wall_beside_unit_and_target() -> None:
    """Both 1.5 m from the wall and 4 m apart: 5 m by the wall at cos 0.6; 12.5 mm, ε 2.73, σ 0.0085·5.8^0.9395. [C]"""
    board = wall("board", (-9, 1.5), (9, 1.5), "plasterboard-12.5")
    ways = traced(made(partitions=[board]), (4, 0, 1))
    power = reflected(2.73, 0.0085 * 5.8**0.9395, 0.0125, 0.6)
    assert ways.reflect_cosine[1] == pytest.approx(0.6)
    assert ways.reflect_db[1] == pytest.approx(-10 * math.log10(power), abs=0.01)
    assert ways.margin_db()[0] == pytest.approx(by_hand(37 / 16, 37 / 25 * power), abs=0.01)


def test_around_a_corner_only_the_image_sees() -> None:
    """A steel screen stands between; a steel wall 3 m aside shows the way round: √(6² + 8²) = 10 m, −8.6 dB. [C]"""
    screen = wall("screen", (4, -20), (4, 2), "steel-panel")
    mirror = wall("mirror", (-20, 3), (20, 3), "steel-panel")
    parts = {"partitions": [screen, mirror]}
    (straight,) = probe(made(**parts, reflections=0), (8, 0, 1))
    assert (straight.margin_db, straight.cause) == (-math.inf, "out-of-reach")
    ways = traced(made(**parts), (8, 0, 1))
    assert ways.margin_db()[0] == pytest.approx(by_hand(37 / 100), abs=1e-6)


def test_seen_by_the_image_alone() -> None:
    """Steel screen at x = 2, steel wall 2.5 m aside: 3.2² + 5² = 35.24 m² to a target at 3.2 m, +0.42 dB. [C]"""
    screen = wall("screen", (2, -20), (2, 1.5), "steel-panel")
    parts = {"partitions": [screen, wall("mirror", (-20, 2.5), (20, 2.5), "steel-panel")]}
    (straight,) = probe(made(**parts, reflections=0), (3.2, 0, 1))
    assert (straight.detected, straight.cause) == (False, "blocked")
    (seen,) = probe(made(**parts), (3.2, 0, 1))
    assert seen.margin_db == pytest.approx(by_hand(37 / 35.24), abs=1e-6)
    assert (seen.detected, seen.cause) == (True, "none")
    # Farther off the image sees too little: 4² + 5² = 41 m², −0.9 dB. What stands in the straight way is the cause.
    (missed,) = probe(made(**parts), (4, 0, 1))
    assert missed.margin_db == pytest.approx(by_hand(37 / 41), abs=1e-6)
    assert (missed.detected, missed.cause) == (False, "blocked")


def test_both_legs_lose_what_they_cross() -> None:
    """A board across the first leg, another across the last, each at its own incidence; the mirror is not crossed."""
    mirror = wall("mirror", (-20, 4), (20, 4), "steel-panel")
    first = wall("first", (-9, 1), (1.4, 1), "plasterboard-12.5")
    last = wall("last", (4.5, -1), (4.5, 3.2), "glass-6")
    ways = traced(made(partitions=[mirror, first, last]), (6, 0, 1))
    k = int(np.flatnonzero(ways.mirror >= 0)[0])
    mine = ways.way == k
    # Up at cos 0.8 through the board (normal to y), down at cos 0.6 through the glass (normal to x).
    assert ways.reflect_cosine[k] == pytest.approx(0.8)
    assert ways.cosine[mine] == pytest.approx([0.8, 0.6], abs=2e-4)  # legs end 1 mm off the mirror
    assert ways.way_margin_db()[k] == pytest.approx(by_hand(37 / 100) - 2 * ways.loss_db[mine].sum(), abs=1e-6)
    assert ways.loss_db[mine].min() > 0.5


def test_a_hole_reflects_nothing() -> None:
    """A steel wall with a gap of 1 m: no way where the mirror would be met in the gap, one beside it."""
    gap = [{"at": 8.5, "width": 1.0, "height": 3, "sill": 0}]
    mirror = wall("mirror", (-9, 2), (9, 2), "steel-panel", openings=gap)
    one = made(partitions=[mirror])
    ways = traced(one, (0.9, 0, 1), (-0.9, 0, 1), (1.1, 0, 1), (-1.1, 0, 1))
    assert ways.point.tolist() == [0, 1, 2, 3, 2, 3]
    # What is left beside and over the gap is one wall.
    assert len(set(ways.mirror[4:].tolist())) == 1

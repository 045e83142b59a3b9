"""Microwave units of one band near each other: flagged by the rule of thumb, never beyond metal or another band."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.catalogue import load_catalogue
from raycover.trips import Interference, find_trips
from raycover.trips.interference import share_band


def unit(at: tuple[float, float], name: str, ghz: float = 5.8, **more: Any) -> Any:
    made = pattern({"circle": {"diameter": 12}}, mounting=3, motion="radial", frequency_ghz=ghz)
    return detector(at, 3, made, name, **more)


ROOM = {"name": "Room", "outline": [[0, 0], [40, 0], [40, 8], [0, 8]], "height": 3, "walls": "brick-215"}


def pairs(*units: Any, **parts: Any) -> tuple[Interference, ...]:
    return find_trips(scene(rooms=[{**ROOM, **parts.pop("room", {})}], detectors=list(units), **parts)).interference


def test_two_alike_by_hand() -> None:
    """4π·s0⁴/(σ·d²) less 30 dB for s0 = √45 m and d = 4 m [C], on one ceiling, nothing between."""
    (pair,) = pairs(unit((4, 4), "A"), unit((8, 4), "B"), room={"ceiling": "plasterboard-12.5"})
    expected = 10 * np.log10(4 * np.pi * 45**2 / (0.73 * 16)) - 30
    assert pair.index_db == pytest.approx(expected, abs=0.02)
    assert pair.flagged
    assert pair.loss_db == 0
    assert pair.distance_m == pytest.approx(4, abs=1e-4)
    # at the distance that is said to be clear they are just at the limit
    (there,) = pairs(unit((4, 4), "A"), unit((4 + pair.clear_m, 4), "B"))
    assert there.index_db == pytest.approx(0, abs=0.02)


def test_a_wall_between_counts_once() -> None:
    wall = {"name": "W", "line": [[6, 0], [6, 8]], "height": 3, "construction": "brick-100"}
    (free,), (shut,) = (pairs(unit((4, 4), "A"), unit((8, 4), "B"), partitions=p) for p in ([], [wall]))
    loss = float(load_catalogue().constructions["brick-100"].loss_table(5.8, "averaged").loss_db(np.ones(1))[0])
    assert free.index_db - shut.index_db == pytest.approx(loss, abs=0.02)
    assert shut.loss_db == pytest.approx(loss, abs=0.01)
    metal = {**wall, "construction": "steel-panel"}
    assert pairs(unit((4, 4), "A"), unit((8, 4), "B"), partitions=[metal]) == ()


def test_other_bands_infrared_and_masks() -> None:
    assert pairs(unit((4, 4), "A"), unit((8, 4), "B", 24.125)) == ()
    infrared = detector((8, 4), 3, pattern({"circle": {"diameter": 8}}, mounting=3), "P")
    assert pairs(unit((4, 4), "A"), infrared) == ()
    total = {"masks": [{"from_deg": 315, "to_deg": 45}]}
    assert pairs(unit((4, 4), "A", **total), unit((8, 4), "B")) == ()


def test_the_worst_pair_comes_first() -> None:
    found = pairs(unit((4, 4), "A"), unit((8, 4), "B"), unit((10, 4), "C"))
    assert [p.units for p in found] == [("B", "C"), ("A", "B"), ("A", "C")]


@pytest.mark.parametrize(
    ("one", "other", "same"), [(5.8, 5.8, True), (5.73, 5.87, True), (5.8, 24.125, False), (10.5, 10.55, True),
                               (9.4, 10.5, False), (5.8, 5.9, False), (24.0, 24.25, True)]
)  # fmt: skip
def test_bands(one: float, other: float, same: bool) -> None:
    """Licence-exempt bands 5.725–5.875 and 24.00–24.25 GHz (EN 300 440, 47 CFR 15.245/15.249 [V])."""
    made = find_trips(scene(rooms=[ROOM], detectors=[unit((4, 4), "A", one), unit((8, 4), "B", other)])).units
    assert share_band(*made) is same

"""Lobes in files: tints told apart by everybody, each lobe from its neighbours, and what has come through a wall."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
import pytest
from colorspacious import cspace_convert, deltaE

from raycover.draw import palette
from raycover.draw.sharing.shells import make_shells, tints
from raycover.draw.view3d.laying import through_walls
from raycover.solving.casting import Weather


@dataclass(frozen=True)
class Disc:
    """As much of a lobe as tints look at."""

    x: float
    y: float
    radius: float = 1.0

    @property
    def vertices(self) -> np.ndarray:
        phi = np.linspace(0, 2 * np.pi, 24)
        return np.column_stack(
            [self.x + self.radius * np.cos(phi), self.y + self.radius * np.sin(phi), np.zeros(24)]
        )  # fmt: skip


def rgb(colour: str) -> np.ndarray:
    return np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)]) / 255


@pytest.mark.parametrize("sight", [None, "deuteranomaly", "protanomaly", "tritanomaly"])
def test_tints_differ_for_every_sight(sight: str | None) -> None:
    """Machado 2009 at full severity by colorspacious; 16 in CAM02-UCS, where about 1 is just told apart."""
    seen = []
    for colour in (palette.THROUGH, *(face for face, _ in palette.TINTS)):
        value = rgb(colour)
        if sight is not None:
            value = cspace_convert(value, {"name": "sRGB1+CVD", "cvd_type": sight, "severity": 100}, "sRGB1")
        seen.append(np.clip(value, 0, 1))
    for one, other in itertools.combinations(seen, 2):
        assert deltaE(one, other, input_space="sRGB1") > 16


def test_neighbours_differ_and_the_rest_stay_as_lobes_are() -> None:
    row = {f"D{k}": Disc(1.5 * k, 0.0) for k in range(7)}
    found = tints(row)  # type: ignore[arg-type]
    assert all(found[f"D{k}"] != found[f"D{k + 1}"] for k in range(6))
    assert set(found.values()) == {0, 1}
    assert tints({"A": Disc(0, 0), "B": Disc(5, 0)}) == {"A": 0, "B": 0}  # type: ignore[dict-item]
    three = tints({"A": Disc(0, 0), "B": Disc(1, 0), "C": Disc(0.5, 0.8)})  # type: ignore[dict-item]
    assert sorted(three.values()) == [0, 1, 2]
    assert tints({}) == {}


def test_what_has_come_through_a_wall_is_told(corridor) -> None:  # type: ignore[no-untyped-def]
    """Of a microwave unit in a corridor of stud walls the part in the rooms beside, of an infrared unit nothing."""
    units = [unit for unit in corridor.coverage.units if unit.name in ("M1", "P7")]
    weather = Weather.of(corridor.scene)
    shells = make_shells(weather, corridor.building, corridor.rays, units, "any")
    passed = shells["M1"]
    assert len(passed.beyond)
    assert len(passed.free)
    assert not len(shells["P7"].beyond)
    rooms = corridor.building.rooms_at(passed.free.mean(axis=1))
    home = corridor.building.rooms_at(passed.lobe.position[None])[0]
    assert (rooms == home).mean() > 0.9
    np.testing.assert_array_equal(
        passed.through, through_walls(passed.lobe, corridor.building, "microwave", np.zeros(3))
    )  # fmt: skip

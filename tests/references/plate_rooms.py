"""Rooms of flat plates for the radio references, once for every engine: an empty room, a partition, a stairwell.

Own floor and ceiling are left out where a room is one: a declared reach was found with them, so they never mirror.
"""

from __future__ import annotations

from dataclasses import dataclass

import coherent_engine
import numpy as np
from numpy.typing import NDArray
from p2040 import MATERIALS

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Plate:
    """A rectangle: corner, two edges (3,) [m], a P.2040 material and its thickness [m]."""

    corner: tuple[float, float, float]
    u: tuple[float, float, float]
    v: tuple[float, float, float]
    material: str
    thickness_m: float


@dataclass(frozen=True)
class PlateRoom:
    """Plates, a unit, and points (n, 3) to look at."""

    plates: tuple[Plate, ...]
    unit: tuple[float, float, float]
    points: Floats

    def for_engine(self, frequency_ghz: float) -> coherent_engine.Rooms:
        sheets = [
            (
                np.array(p.corner, float),
                np.array(p.u, float),
                np.array(p.v, float),
                [(MATERIALS[p.material].permittivity(frequency_ghz), p.thickness_m)],
            )
            for p in self.plates
        ]
        return coherent_engine.one_room(sheets, frequency_ghz)


@dataclass(frozen=True)
class PathList:
    """Paths, one a row: its point, number of mirrors, length [m], one-way power relative to 1 m of open air."""

    point: NDArray[np.int64]
    mirrors: NDArray[np.int64]
    length_m: Floats
    power: Floats

    def up_to(self, mirrors: int) -> PathList:
        chosen = self.mirrors <= mirrors
        return PathList(self.point[chosen], self.mirrors[chosen], self.length_m[chosen], self.power[chosen])

    def total(self, n_points: int) -> Floats:
        """Power (n_points,) of all paths, phases left out."""
        return np.bincount(self.point, self.power, minlength=n_points)


def shared(one: PathList, two: PathList) -> tuple[PathList, PathList]:
    """Of two lists the paths that both hold: same point, same number of mirrors, lengths alike to 5 mm.

    Where one list holds a length twice (a mirror's two triangles meet there, or two mirrors tie), powers are added.
    """
    rows = [np.stack([p.point, p.mirrors, np.round(p.length_m * 200).astype(np.int64)], axis=1) for p in (one, two)]
    found = []
    everything, place = np.unique(np.concatenate(rows), axis=0, return_inverse=True)
    place = place.ravel()
    split = (place[: len(rows[0])], place[len(rows[0]) :])
    both = np.isin(np.arange(len(everything)), split[0]) & np.isin(np.arange(len(everything)), split[1])
    for paths, at in zip((one, two), split, strict=True):
        power = np.bincount(at, paths.power, minlength=len(everything))
        found.append(PathList(everything[both, 0], everything[both, 1], everything[both, 2] / 200, power[both]))
    return found[0], found[1]


def _points(low: list[float], high: list[float], n: int = 200) -> Floats:
    """Points spread evenly and the same every time, off every plane of symmetry."""
    return np.random.default_rng(20).uniform(low, high, (n, 3))


def _walls(x: float, y: float, height: float, material: str, thickness_m: float) -> tuple[Plate, ...]:
    up = (0, 0, height)
    return (
        Plate((0, 0, 0), (x, 0, 0), up, material, thickness_m),
        Plate((x, 0, 0), (0, y, 0), up, material, thickness_m),
        Plate((0, y, 0), (x, 0, 0), up, material, thickness_m),
        Plate((0, 0, 0), (0, y, 0), up, material, thickness_m),
    )


def empty_room() -> PlateRoom:
    """6 × 4 m between brick walls."""
    return PlateRoom(_walls(6, 4, 2.7, "brick", 0.1), (1.5, 2.1, 2.5), _points([0.3, 0.3, 0.1], [5.7, 3.7, 1.8]))


def behind_partition() -> PlateRoom:
    """The same with a plasterboard partition; all points beyond it."""
    partition = Plate((3.2, 0, 0), (0, 4, 0), (0, 0, 2.7), "plasterboard", 0.0125)
    return PlateRoom(
        (*_walls(6, 4, 2.7, "brick", 0.1), partition), (1.5, 2.1, 2.5), _points([3.4, 0.3, 0.1], [5.7, 3.7, 1.8])
    )


def stairwell() -> PlateRoom:
    """Two storeys of 3 m: brick shaft, concrete floor, half landing, two flights as slabs; the unit under the roof."""
    slab = 0.15
    plates = (
        *_walls(2.6, 5.2, 6.0, "brick", 0.215),
        Plate((0, 0, 0), (2.6, 0, 0), (0, 5.2, 0), "concrete", slab),
        Plate((0, 0, 3), (2.6, 0, 0), (0, 1.3, 0), "concrete", slab),  # the upper floor's landing
        Plate((0, 3.9, 1.5), (2.6, 0, 0), (0, 1.3, 0), "concrete", slab),  # the half landing
        Plate((0, 1.3, 0), (1.2, 0, 0), (0, 2.6, 1.5), "concrete", slab),  # the flight up to it
        Plate((1.4, 1.3, 3), (1.2, 0, 0), (0, 2.6, -1.5), "concrete", slab),  # and on
    )
    return PlateRoom(plates, (1.3, 0.65, 5.6), _points([0.2, 0.2, 0.1], [2.4, 5.0, 4.8]))


ROOMS = {"empty room": empty_room, "behind a plasterboard partition": behind_partition, "stairwell": stairwell}

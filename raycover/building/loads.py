"""Which places of a rack are loaded, with what and how high: the same scene gives the same loads, always."""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Floats
from raycover.scene.storage import Load, Racking

Bools = NDArray[np.bool_]


@dataclass(frozen=True)
class Loads:
    """Arrays over (row, level, bay, place): `filled`; `height` (m), pallet included; `material`, an index into
    `materials`."""

    filled: Bools
    height: Floats
    material: NDArray[np.intp]
    materials: tuple[str, ...]


def plan_loads(rack: Racking, surface_m: float = 0.0) -> Loads:
    """What lies where in a rack; `surface_m` is the thickness of its shelves (m)."""
    shape = (1 + rack.back_to_back, rack.levels, rack.bays, rack.places_per_bay)
    height = np.full(shape, rack.load_height(surface_m))
    if rack.top_of_load is not None:
        height[:, -1] = rack.top_of_load - rack.level_heights[-1]
    material = np.zeros(shape, np.intp)
    materials = [rack.goods_material]
    if rack.loads is None:
        filled = np.full(shape, rack.goods)
        if rack.fill is not None:
            filled = chosen(_draw(rack, shape), np.ones(shape, bool), rack.fill)
        return Loads(filled, height, material, (*materials,))
    filled = np.zeros(shape, bool)
    drawn = _draw(rack, shape)
    for load in rack.loads:
        covered = _covered(load, shape)
        filled |= covered if load.share is None else chosen(drawn, covered, load.share)
        if load.height is not None:
            height[covered] = load.height
        if load.material is not None:
            if load.material not in materials:
                materials.append(load.material)
            material[covered] = materials.index(load.material)
    return Loads(filled, height, material, (*materials,))


def chosen(drawn: NDArray[np.uint64], covered: Bools, share: float) -> Bools:
    """A share of the covered places, to the nearest whole number of them: those with the lowest draw.

    A larger share keeps the places of a smaller one and adds to them.
    """
    places = np.flatnonzero(covered)
    order = np.argsort(drawn.ravel()[places], kind="stable")
    found = np.zeros(covered.size, bool)
    found[places[order[: int(share * len(places) + 0.5)]]] = True
    return found.reshape(covered.shape)


def _draw(rack: Racking, shape: tuple[int, ...]) -> NDArray[np.uint64]:
    """A draw for each place. Raw words of a bit generator, whose stream numpy keeps from version to version."""
    source = np.random.PCG64(np.random.SeedSequence([rack.seed, zlib.crc32(rack.name.encode())]))
    return np.asarray(source.random_raw(int(np.prod(shape))), np.uint64).reshape(shape)


def _covered(load: Load, shape: tuple[int, ...]) -> Bools:
    covered = np.zeros(shape, bool)
    rows = slice(None) if load.row is None else slice(0, 1) if load.row == "front" else slice(1, 2)
    bays = slice(None) if load.bays is None else np.array(load.bays) - 1
    covered[rows, load.level - 1, bays] = True
    return covered

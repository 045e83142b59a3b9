"""Which air a point is in, where rooms have an air of their own (`rooms[].ambient_c`).

A person is dressed for the room that they stand in and as warm as its air lets them be; what stands behind them, the
far side of that room, is as warm as that air too. So the contrast at a point is that of the air around the point.
Through which air the ray goes, and in which the unit hangs, does not matter: some metres of air neither add to nor
take from what passes between 8 and 14 µm. Left out: a background seen through an opening into another air, and
clothing that is still warm, or cold, from the room before.

A point is in the room that holds it, floor to ceiling (or roof); where several do, on a border or a slab, in the one
with the highest floor, of those in the first of the file: what stands on a slab is in the room above it. Outside every
room the air is the scene's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from raycover.building.parts import RoomShape
from raycover.building.walls import room_shapes
from raycover.content import digest
from raycover.physics.infrared import contrast_db, worn_contrast
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
#: Borders are known to this (m).
_NEAR_M = 1e-6


@dataclass(frozen=True, eq=False)
class Airs:
    """The airs of a scene: `ambient_c` (k,) in °C, the scene's own first, each other one once.

    `rooms` are those of an air of their own and all that border on them, in the order in which they are asked for a
    point; `of_room` says which air each has.
    """

    rooms: tuple[RoomShape, ...]
    of_room: tuple[int, ...]
    ambient_c: tuple[float, ...]

    @classmethod
    def of(cls, scene: Scene) -> Airs | None:
        """Those of a scene; None where no room has another air than the scene's."""
        general = scene.conditions.ambient_c
        own = [general if room.ambient_c is None else room.ambient_c for room in scene.rooms]
        ambient = tuple(dict.fromkeys([general, *own]))
        if len(ambient) == 1:
            return None
        shapes = room_shapes(scene)
        tree = shapely.STRtree([shape.polygon for shape in shapes])
        others = [shapes[k].polygon for k, air in enumerate(own) if air != general]
        near = np.unique(tree.query(others, predicate="dwithin", distance=2 * _NEAR_M)[1]).tolist()
        order = sorted(near, key=lambda k: -shapes[k].floor)  # stable: of one floor by their order in the file
        return cls(tuple(shapes[k] for k in order), tuple(ambient.index(own[k]) for k in order), ambient)

    @cached_property
    def content(self) -> bytes:
        """The digest of all that tells airs apart."""
        rooms = [(one.polygon, one.floor, one.height, one.form) for one in self.rooms]
        return digest(rooms, self.of_room, self.ambient_c)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Airs) and self.content == other.content

    def __hash__(self) -> int:
        return hash(self.content)

    @cached_property
    def contrast_db(self) -> Floats:
        """(k,) contrast of a person dressed for each air, against a declaration's at 20 °C."""
        return np.asarray(contrast_db(worn_contrast(np.array(self.ambient_c))))

    @cached_property
    def _outlines(self) -> tuple[tuple[Any, tuple[float, float, float, float]], ...]:
        grown = [one.polygon.buffer(_NEAR_M, join_style="mitre") for one in self.rooms]
        for one in grown:
            shapely.prepare(one)
        return tuple((one, one.bounds) for one in grown)

    @cached_property
    def _boxes(self) -> Floats:
        """(n, 2, 3) lowest and highest corner of each room, borders included."""
        outlines = np.reshape([bounds for _, bounds in self._outlines], (-1, 2, 2))
        floor = np.array([one.floor for one in self.rooms])
        top = floor + [one.height for one in self.rooms]
        upright = np.stack([floor - _NEAR_M, top + _NEAR_M], axis=1)
        return np.concatenate([outlines, upright[:, :, None]], axis=2)

    def within(self, low: ArrayLike, high: ArrayLike) -> Airs | None:
        """Those that points between two corners (3,) can be in; None where that is the scene's alone.

        There `at` says the same of both, in °C.
        """
        boxes, low, high = self._boxes, np.asarray(low, float), np.asarray(high, float)
        there = ((boxes[:, 0] <= high) & (boxes[:, 1] >= low)).all(axis=1)
        if there.all():
            return self
        rooms = np.flatnonzero(there).tolist()
        used = sorted({0, *(self.of_room[k] for k in rooms)})
        if len(used) == 1:
            return None
        return Airs(
            tuple(self.rooms[k] for k in rooms),
            tuple(used.index(self.of_room[k]) for k in rooms),
            tuple(self.ambient_c[k] for k in used),
        )

    def at(self, x: ArrayLike, y: ArrayLike, z: ArrayLike) -> Index:
        """Which air points are in, by index; coordinates (m) of shapes that broadcast, to which the answer broadcasts.

        0, the scene's, outside every room.
        """
        x, y, z = (np.asarray(value, float) for value in (x, y, z))
        flat = np.broadcast_arrays(x, y)
        found = np.full(np.broadcast_shapes(x.shape, y.shape, z.shape), -1, np.intp)
        for room, air, (outline, (x0, y0, x1, y1)) in zip(self.rooms, self.of_room, self._outlines, strict=True):
            near = np.asarray((x0 <= flat[0]) & (flat[0] <= x1) & (y0 <= flat[1]) & (flat[1] <= y1))
            if not near.any():
                continue
            px, py = flat[0][near], flat[1][near]
            held = np.zeros(near.shape, bool)
            held[near] = shapely.contains_xy(outline, px, py)
            top: Floats | float = room.floor + room.height
            if room.form is not None:
                over = np.full(near.shape, -np.inf)
                over[near] = room.top_at(np.column_stack([px, py]))
                top = over
            within = held & (room.floor - _NEAR_M <= z) & (z <= top + _NEAR_M)
            found[within & (found < 0)] = air
        return np.maximum(found, 0)

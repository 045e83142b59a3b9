"""The floor that is tested: storey by storey, what of it somebody can reach, and where a place lies in words."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.parts import Building
from raycover.building.walls import half_walls
from raycover.errors import InputError, Problem
from raycover.scene.bearings import compass
from raycover.scene.schema import Scene
from raycover.walking.ground import Ground, TooLarge, make_ground
from raycover.walking.people import FIGURES
from raycover.walking.wayfinding import Wayfinder

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
#: Places are looked at so far apart (m) at least, and about so many of a storey.
_FINEST, _MOST = 0.25, 1500
#: Places keep this far (m) from the middle of walls, and so of doors.
_OFF_WALLS = 0.3
#: Two walls that a place is measured from stand at least this square to each other (sine).
_SQUARE = 0.5


@dataclass(frozen=True)
class Floor:
    """One storey: its `rooms` (indices), `level` (m), the ground people walk on, and places (n, 3) that they reach.

    `rows`, `columns` (n,) say where in a raster of `step` m the places lie; `shape` is the raster's.
    """

    name: str | None
    level: float
    rooms: tuple[int, ...]
    finder: Wayfinder
    places: Floats
    rows: Index
    columns: Index
    step: float
    shape: tuple[int, int]

    @property
    def ground(self) -> Ground:
        return self.finder.ground

    def raster(self, values: NDArray[np.bool_]) -> NDArray[np.bool_]:
        """Values (n,) of places as a raster (ny, nx), False elsewhere."""
        whole = np.zeros(self.shape, bool)
        whole[self.rows, self.columns] = values
        return whole


def floors_of(scene: Scene, building: Building) -> list[Floor]:
    """The storeys of a building, the lowest first. Raises InputError for a floor that is too large to walk on."""
    storeys = [(s.name, s.level, s.rooms) for s in sorted(building.storeys, key=lambda s: s.level)]
    if not storeys:
        storeys = [("", building.ground, tuple(range(len(building.rooms))))]
    named = len(storeys) > 1
    return [_floor(scene, building, name if named else None, level, rooms) for name, level, rooms in storeys]


def _floor(scene: Scene, building: Building, name: str | None, level: float, rooms: tuple[int, ...]) -> Floor:
    try:
        ground = make_ground(building, rooms, "adult")
    except TooLarge:
        raise InputError(
            [
                Problem(
                    "too-large", "the floor has more cells than a walk is planned on",
                    scene.position("rooms" if scene.rooms else "detectors"), "test it in parts, a scene each",
                )
            ]
        ) from None  # fmt: skip
    finder = Wayfinder(ground, FIGURES["adult"].radius)
    free = ground.clear >= finder.radius
    labels, n = ndimage.label(free, np.ones((3, 3), int))
    if n:  # what somebody gets to: the largest piece, and pieces that are no mere corner between things
        size = np.bincount(labels.ravel())[1:] * ground.cell**2
        free &= np.isin(labels, 1 + np.flatnonzero((size >= 1.0) & (size >= 0.02 * size.max())))
    step = max(_FINEST, float(np.sqrt(free.sum() * ground.cell**2 / _MOST)))
    every = max(round(step / ground.cell), 1)
    rows, columns = np.nonzero(free[every // 2 :: every, every // 2 :: every])
    flat = (rows * every + every // 2) * ground.shape[1] + columns * every + every // 2
    plan = ground.middle(flat)
    if rooms:  # nobody stands in a doorway while its door is to be shut
        lines = shapely.union_all([building.rooms[r].polygon.boundary for r in rooms])
        clear = ~shapely.dwithin(shapely.points(plan), lines, _OFF_WALLS)
        plan, rows, columns = plan[clear], rows[clear], columns[clear]
    places = np.column_stack([plan, np.full(len(plan), level)])
    for r in rooms:
        room = building.rooms[r]
        if room.floor != level:
            places[shapely.intersects_xy(room.polygon, plan[:, 0], plan[:, 1]), 2] = room.floor
    shape = (int(rows.max(initial=0)) + 1, int(columns.max(initial=0)) + 1)
    return Floor(name, level, rooms, finder, places, rows, columns, every * ground.cell, shape)


@dataclass(frozen=True)
class Measured:
    """A distance (m) to a wall's face, and which wall: `1.20 m from the north wall`."""

    distance_m: float
    wall: str
    foot: tuple[float, float]

    @property
    def words(self) -> str:
        return f"{self.distance_m:.2f} m from the {self.wall} wall"


def measured_from(scene: Scene, building: Building, at: Floats) -> tuple[Measured, ...]:
    """Distances (m) of a place (3,) from the faces of two walls of its room, the nearest that stand square enough.

    Empty outside every room: then its coordinates must do.
    """
    index = int(building.rooms_at(np.array([[at[0], at[1], at[2] + 0.05]]))[0])
    if index < 0:
        return ()
    edges = _edges(scene, index)
    start, along, length, inward, half = edges
    offset = at[:2] - start
    place = np.einsum("ij,ij->i", offset, along)
    distance = np.einsum("ij,ij->i", offset, inward) - half
    order = np.flatnonzero((place >= 0) & (place <= length) & (distance >= -1e-6))
    order = order[np.argsort(distance[order], kind="stable")]
    if not len(order):
        return ()
    first = int(order[0])
    square = [
        int(k) for k in order if abs(float(along[first, 0] * along[k, 1] - along[first, 1] * along[k, 0])) >= _SQUARE
    ]
    chosen = [first, *square[:1]]
    return tuple(
        Measured(
            max(float(distance[k]), 0.0), _side(-inward[k], scene.north_deg),
            (float(at[0] - distance[k] * inward[k, 0]), float(at[1] - distance[k] * inward[k, 1])),
        )
        for k in chosen
    )  # fmt: skip


def _edges(scene: Scene, index: int) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Of a room's edges: starts, unit vectors along, lengths, unit vectors inward, half the walls' thickness."""
    outline = np.asarray(scene.rooms[index].outline, float)
    along = np.roll(outline, -1, axis=0) - outline
    length = np.linalg.norm(along, axis=1)
    along = along / length[:, None]
    turn = 1.0 if shapely.Polygon(outline).exterior.is_ccw else -1.0
    inward = turn * np.column_stack([-along[:, 1], along[:, 0]])
    return outline, along, length, inward, half_walls(scene, index)


def _side(outward: Floats, north_deg: float) -> str:
    """The side of a room that a direction (2,) points to."""
    return compass(float(np.degrees(np.arctan2(outward[1], outward[0]))), north_deg)

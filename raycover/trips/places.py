"""Where nuisances are: points over their extent, the way they move, what covers them inside a wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, Sheet
from raycover.building.storeys import Floors
from raycover.errors import InputError, Problem
from raycover.rays.ray_scene import LIFT
from raycover.scene.nuisances import IN_WALL_M, Nuisance
from raycover.scene.schema import Scene
from raycover.trips.sunlight import sunlit_patches

Floats = NDArray[np.floating]

#: Points over a thing lie this far (m) apart, with no more than so many along one side of it.
_STEP, _MOST = 0.15, 12
#: Places along a line lie this far (m) apart, and no more than so many.
_LINE_STEP, _MOST_PLACES = 0.2, 2000
#: A point this near (m) to a room's border may lie in its wall: the room it counts to is then its middle's.
_BORDER = 0.02


@dataclass(frozen=True)
class Source:
    """A nuisance in its place.

    `points` (n, 3) absolute; `along` (n, 3) unit vectors of its way, zero for what stands; `turn_rad` (n,) of the
    box at each point; `outlines`, each (m, 2) in plan, the line for what moves along one; `host` the wall that it
    stands inside; `flat_m2` (n,) the area of the level patch at each point, where it is no box; `middles` (k, 3) and
    `middle_turn_rad` (k,): the thing at each place of its way.
    """

    spec: Nuisance
    points: Floats
    along: Floats
    turn_rad: Floats
    outlines: tuple[Floats, ...]
    host: Sheet | None = None
    flat_m2: Floats | None = None
    middles: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    middle_turn_rad: Floats = field(default_factory=lambda: np.zeros(0))

    def area_m2(self, unit_at: Floats) -> Floats:
        """Area (n,) that it shows across the line of sight to a unit at (3,): that of a box, faces added up."""
        sight = self.points - unit_at
        sight = sight / np.maximum(np.linalg.norm(sight, axis=1, keepdims=True), 1e-9)
        if self.flat_m2 is not None:
            return np.asarray(np.abs(sight[:, 2]) * self.flat_m2)
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x = sight[:, 0] * cos + sight[:, 1] * sin
        y = sight[:, 1] * cos - sight[:, 0] * sin
        a, b, c = self.spec.extent
        return np.asarray(np.abs(x) * b * c + np.abs(y) * a * c + np.abs(sight[:, 2]) * a * b)


def place(scene: Scene, building: Building) -> tuple[Source, ...]:
    """Every nuisance of a scene in its place.

    Raises InputError where one leaves open which room it stands in, or stands `behind` something but in no wall.
    """
    floors = Floors(scene, building.rooms)
    problems: list[Problem] = []
    found = []
    for index, spec in enumerate(scene.nuisances):
        if spec.through is not None:
            patch = _sunlit(scene, building, spec)
            if patch is None:
                problems.append(
                    Problem(
                        "no-sun",
                        f'"{spec.name}": no sun falls through "{spec.through}" on the floor while it stands there',
                        scene.position("nuisances", index, "sun"),
                        "azimuth_deg counts clockwise from north (see north_deg); the opening must be one of a room",
                    )
                )
            else:
                found.append(patch)
            continue
        at = spec.at if spec.at is not None else spec.line[0]  # type: ignore[index]
        floor = floors.under("nuisances", index, spec)(*at)
        host = None
        if spec.behind is not None:
            host = _host(building, np.array([*at, floor + spec.middle]))
            if host is None:
                problems.append(
                    Problem(
                        "no-wall",
                        f'"{spec.name}" stands behind something, but no wall or partition is within '
                        f"{IN_WALL_M:g} m of it",
                        scene.position("nuisances", index, "behind", key=True),
                        "move it into its wall, or take behind out: it then stands free in the room",
                    )
                )
        found.append(_source(spec, floor, building, host))
    if floors.problems or problems:
        raise InputError([*floors.problems, *problems])
    return tuple(found)


def _source(spec: Nuisance, floor: float, building: Building, host: Sheet | None) -> Source:
    z = floor + spec.middle
    if spec.line is not None:
        places, along = _stations(np.asarray(spec.line, float))
        turn = np.arctan2(along[:, 1], along[:, 0])
        _, b, c = spec.extent
        # the middle and the sides, low, half-way up and high; ends of the box come with the next places
        across, up = np.meshgrid([-b / 2, 0.0, b / 2], [-c / 2, 0.0, c / 2])
        offsets = np.stack([np.zeros(9), across.ravel(), up.ravel()], axis=1)
        n = len(places)
        turn_all = np.repeat(turn, 9)
        local = np.tile(offsets, (n, 1))
        points = np.repeat(np.column_stack([places, np.full(n, z)]), 9, axis=0) + _turned(local, turn_all)
        ways = np.repeat(np.column_stack([along, np.zeros(n)]), 9, axis=0)
        outline = np.asarray(spec.line, float)
        middles, turns = np.column_stack([places, np.full(n, z)]), turn
    else:
        assert spec.at is not None
        angle = np.radians(spec.turn_deg)
        local = _over_a_box(spec.extent)
        turn_all = np.full(len(local), angle)
        points = np.array([*spec.at, z]) + _turned(local, turn_all)
        ways = np.zeros_like(points)
        middles, turns = np.array([[*spec.at, z]]), np.array([angle])
        half = np.array(spec.extent[:2]) / 2
        flat = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * half
        outline = _turned(np.column_stack([flat, np.zeros(4)]), np.full(4, angle))[:, :2] + np.asarray(spec.at)
    kept = _of_its_room(points, middles[0], building, spec)
    points = points[kept]
    points[:, 2] = np.maximum(points[:, 2], floor + LIFT)
    return Source(
        spec, points, ways[kept], turn_all[kept], (outline,), host, middles=middles, middle_turn_rad=turns
    )  # fmt: skip


def _sunlit(scene: Scene, building: Building, spec: Nuisance) -> Source | None:
    """Patches that the sun draws on a floor, points all over them; None where it draws none."""
    assert spec.through is not None
    assert spec.sun is not None
    patches, floor = sunlit_patches(scene, building, spec.through, spec.sun)
    if not patches:
        return None
    points, areas = [], []
    for patch in patches:
        x0, y0, x1, y1 = patch.bounds
        step = max(_STEP, (x1 - x0) / (4 * _MOST), (y1 - y0) / (4 * _MOST))
        grid = np.stack(np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)), -1)
        flat = np.concatenate([grid.reshape(-1, 2), np.asarray(patch.exterior.coords)[:-1, :2]])
        flat = flat[np.asarray(shapely.intersects_xy(patch, flat[:, 0], flat[:, 1]))]
        points.append(np.column_stack([flat, np.full(len(flat), floor + LIFT)]))
        areas.append(np.full(len(flat), patch.area))
    every = np.concatenate(points)
    rings = tuple(np.asarray(patch.exterior.coords)[:-1, :2] for patch in patches)
    n = len(every)
    return Source(spec, every, np.zeros((n, 3)), np.zeros(n), rings, flat_m2=np.concatenate(areas))


def _stations(line: Floats) -> tuple[Floats, Floats]:
    """Places (n, 2) along a polyline and its direction (n, 2) at each."""
    steps = np.diff(line, axis=0)
    lengths = np.linalg.norm(steps, axis=1)
    run = np.concatenate([[0.0], np.cumsum(lengths)])
    n = int(np.clip(np.ceil(run[-1] / _LINE_STEP), 1, _MOST_PLACES)) + 1
    where = np.linspace(0.0, run[-1], n)
    leg = np.clip(np.searchsorted(run, where, side="right") - 1, 0, len(steps) - 1)
    direction = steps[leg] / np.maximum(lengths[leg], 1e-9)[:, None]
    return line[leg] + direction * (where - run[leg])[:, None], direction


def _over_a_box(size: Sequence[float]) -> Floats:
    """Points (n, 3) over the faces of a box about the origin, corners and edges included; flat for a flat one."""
    axes = [
        np.linspace(-s / 2, s / 2, int(np.clip(np.ceil(s / _STEP), 1, _MOST)) + 1) if s else np.zeros(1) for s in size
    ]
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1).reshape(-1, 3)
    on_face = np.any(np.isclose(np.abs(grid), np.asarray(size) / 2), axis=1)
    return grid[on_face]


def _turned(local: Floats, turn_rad: Floats) -> Floats:
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return np.stack([local[:, 0] * cos - local[:, 1] * sin, local[:, 0] * sin + local[:, 1] * cos, local[:, 2]], axis=1)


def _of_its_room(points: Floats, middle: Floats, building: Building, spec: Nuisance) -> NDArray[np.bool_]:
    """Which points lie on the same side of its room's walls as its middle: what reaches through them is not there.

    What moves along a line may pass from room to room.
    """
    everything = np.ones(len(points), bool)
    if spec.line is not None or spec.behind is not None or not building.rooms:
        return everything
    home = building.room_at(*(float(v) for v in middle)) or building.room_at(float(middle[0]), float(middle[1]))
    if home is None:
        inside = building.rooms_at(points) >= 0
        return ~inside if not inside.all() else everything
    within = np.asarray(shapely.contains_xy(home.polygon.buffer(-_BORDER), points[:, 0], points[:, 1]))
    return within if within.any() else everything


def _host(building: Building, middle: Floats) -> Sheet | None:
    """The wall or partition that a place lies in, the nearest one."""
    best, nearest = None, IN_WALL_M
    for sheet in building.sheets:
        if not sheet.vertical or sheet.kind not in ("wall", "partition", "panel"):
            continue
        off = abs(float((middle - sheet.frame.origin) @ sheet.frame.normal))
        flat = shapely.Point(sheet.frame.to_plane(middle[None])[0])
        if off < nearest and sheet.polygon.distance(flat) < 1e-6:
            best, nearest = sheet, off
    return best

"""What a catalogue entry reaches in the open: outlines on planes, sections of margin, a table by height.

No building here: free space at 20 °C, the unit upright. What a scene's walls leave of it is `coverage`'s business.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import footprints_of, reach_behind_of, shape_of
from raycover.physics.margin import inside_lens, largest_reach_m, reach_margin_db
from raycover.physics.pattern import Footprint
from raycover.physics.shapes import Array
from raycover.scene.devices import DetectorModel, PatternSpec

FLOOR, DESK = 0.0, 0.75
#: A point this close (dB) to the limit counts as on it.
_ON_LIMIT_DB = 1e-9
_N_RADII = 240
_N_HALVINGS = 40


@dataclass(frozen=True)
class Outline:
    """Limit of detection on a plane: `azimuth_rad` (n,) rising over the turn, `radius_m` (n,), 0 where unseen."""

    azimuth_rad: Array
    radius_m: Array

    @property
    def x(self) -> Array:
        return self.radius_m * np.cos(self.azimuth_rad)

    @property
    def y(self) -> Array:
        return self.radius_m * np.sin(self.azimuth_rad)

    @property
    def length(self) -> float:
        """Extent (m) along azimuth 0."""
        return float(np.ptp(np.append(self.x, 0.0)))

    @property
    def width(self) -> float:
        """Extent (m) across azimuth 0."""
        return float(np.ptp(np.append(self.y, 0.0)))

    @property
    def reach(self) -> float:
        return float(self.radius_m.max())

    @property
    def is_round(self) -> bool:
        return bool(np.ptp(self.radius_m) < 1e-6 * max(self.reach, 1e-9))


@dataclass(frozen=True)
class ReachRow:
    """One motion at one mounting height: limits on the floor and at desk height, and how far to trust them."""

    mounting: float
    motion: str
    floor: Outline
    desk: Outline
    extrapolated: bool
    outside_range: bool


@dataclass(frozen=True)
class Section:
    """Margins in a plane: `margin_db` (nz, nx), the best of all motions, −inf outside the lens.

    `x` (nx,) metres from the unit's axis, `z` (nz,) metres above the floor (in plan: the local y). `offset`:
    how far (m) a section across lies ahead of the unit along azimuth 0.
    """

    x: Array
    z: Array
    margin_db: Array
    offset: float = 0.0


@dataclass(frozen=True)
class UnitReach:
    """All that a sheet of a unit shows, computed: see `unit_reach`.

    `floor` and `desk` by motion; `top` (m): how high anything is seen, behind the mounting plane included.
    """

    model: DetectorModel
    mounting: float
    footprints: tuple[Footprint, ...]
    floor: dict[str, Outline]
    desk: dict[str, Outline]
    plan: Section
    along: Section
    across: Section
    rows: tuple[ReachRow, ...]
    top: float


def outline(footprint: Footprint, kind: str, mounting: float, plane: float) -> Outline:
    """Where detection ends on a plane (m above the floor) under a unit at `mounting` (m), in the open at 20 °C.

    The outermost radius with margin ≥ 0 and, for infrared, within the lens edge. All zero where the plane is not
    below the unit.
    """
    jumps = np.asarray(footprint.shape.corners_rad)
    turn = np.linspace(0, 2 * np.pi, 361)
    azimuth = np.unique(np.concatenate([turn, jumps, jumps - 1e-7, jumps + 1e-7]) % (2 * np.pi))
    azimuth = np.append(azimuth, 2 * np.pi)
    return Outline(azimuth, reached(footprint, kind, mounting - plane, azimuth))


def reached(footprint: Footprint, kind: str, below: float, azimuth: Array) -> Array:
    """Outermost radius (n,) seen at azimuths (n,) `below` (m) an upright unit, in the open at 20 °C; 0 where none."""
    if below <= 0:
        return np.zeros_like(azimuth)
    cos, sin = np.cos(azimuth), np.sin(azimuth)
    if kind == "infrared":
        bound = footprint.shape.radius(cos, sin) * below / footprint.drop
    else:
        bound = np.full_like(azimuth, largest_reach_m(footprint))

    def seen(radius: Array) -> NDArray[np.bool_]:
        local = (radius * cos, radius * sin, np.full_like(radius, -below))
        return np.asarray(reach_margin_db(local, footprint) >= -_ON_LIMIT_DB)

    steps = np.linspace(0, 1, _N_RADII + 1)[:, None] * bound
    found = seen(steps)
    last = _N_RADII - np.argmax(found[::-1], axis=0)
    column = np.arange(azimuth.size)
    inner, outer = steps[last, column], steps[np.minimum(last + 1, _N_RADII), column]
    for _ in range(_N_HALVINGS):
        middle = (inner + outer) / 2
        inside = seen(middle)
        inner, outer = np.where(inside, middle, inner), np.where(inside, outer, middle)
    return np.where(found.any(axis=0), inner, 0.0)


def table_heights(pattern: PatternSpec, more: Sequence[float] = ()) -> list[float]:
    """Mounting heights (m) worth a row: declared ones, the ends of the range, even steps between, and `more`."""
    heights = {d.mounting for d in pattern.declared} | set(more)
    if pattern.mounting is not None:
        low, high = pattern.mounting.from_m, pattern.mounting.to_m
        heights |= {low, high}
        step = next(s for s in (0.25, 0.5, 1, 2, 5, 10, 20, 50, 10_000) if (high - low) / s <= 4.6)
        between = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
        # a step that nearly repeats a height already there says nothing new
        heights |= {float(h) for h in between if min(abs(h - known) for known in heights) > 0.4 * step}
    return sorted(heights)


def reach_table(pattern: PatternSpec, heights: Sequence[float]) -> tuple[ReachRow, ...]:
    """A row for each mounting height (m) and declared motion."""
    allowed = pattern.mounting
    rows = []
    for mounting in heights:
        outside = allowed is not None and not allowed.holds(mounting)
        for footprint in footprints_of(pattern, mounting):
            floor, desk = (outline(footprint, pattern.kind, mounting, plane) for plane in (FLOOR, DESK))
            rows.append(ReachRow(mounting, footprint.motion, floor, desk, footprint.extrapolated, outside))
    return tuple(rows)


def is_sector(pattern: PatternSpec) -> bool:
    """Whether every footprint is a sector short of the whole turn: such a unit is spoken of by its reach."""
    return all(d.shape.sector is not None and shape_of(d.shape).constant is None for d in pattern.declared)


def unit_reach(model: DetectorModel, mounting: float | None = None, heights: Sequence[float] = ()) -> UnitReach:
    """Everything a sheet of a unit shows, at a mounting height (m; by default the lowest declared).

    `heights`: further mounting heights for the table.
    """
    if mounting is None:
        mounting = min(d.mounting for d in model.declared)
    footprints = footprints_of(model, mounting)
    floor = {f.motion: outline(f, model.kind, mounting, FLOOR) for f in footprints}
    desk = {f.motion: outline(f, model.kind, mounting, DESK) for f in footprints}
    top = mounting + (_highest(footprints, reach_behind_of(model)) if model.kind == "microwave" else 0.0)
    # beyond the limits far enough for a margin around them on paper
    widest = 1.15 * max(o.reach for o in (*floor.values(), *desk.values())) + 0.7 * max(top, 1.75)
    x = np.linspace(-widest, widest, 1001)
    z = np.linspace(0.0, max(top, mounting + 0.3), 401)
    flat = np.zeros((z.size, x.size))
    wide, high = flat + x, flat + (z[:, None] - mounting)
    down = np.full((x.size, x.size), -mounting)
    # A sector sees nothing straight beside it: cut it half-way out instead.
    sideways = max(float(f.shape.radius(np.zeros(1), np.ones(1))[0]) for f in footprints)
    ahead = 0.5 * max(o.reach for o in floor.values()) if sideways < 0.02 * widest else 0.0
    plan = _best(model, footprints, (np.broadcast_to(x, down.shape), np.broadcast_to(x[:, None], down.shape), down))
    return UnitReach(
        model=model,
        mounting=mounting,
        footprints=footprints,
        floor=floor,
        desk=desk,
        plan=Section(x, x, plan),
        along=Section(x, z, _best(model, footprints, (wide, flat, high))),
        across=Section(x, z, _best(model, footprints, (flat + ahead, wide, high)), ahead),
        rows=reach_table(model, table_heights(model, [mounting, *heights])),
        top=top,
    )


def _highest(footprints: Sequence[Footprint], behind: float | None) -> float:
    """How far (m) above its mounting plane a microwave unit reaches at most, by directions a degree apart."""
    off_axis, azimuth = np.radians(np.arange(90.5, 181.0))[:, None], np.radians(np.arange(360.0))
    up = -np.cos(off_axis) + 0 * azimuth
    local = (np.sin(off_axis) * np.cos(azimuth), np.sin(off_axis) * np.sin(azimuth), up)
    with np.errstate(divide="ignore"):
        reach = [10 ** (reach_margin_db(local, f, behind) / 40) for f in footprints]
    # a little more than what was asked lies between the directions
    return 1.03 * float((np.max(reach, axis=0) * up).max())


def _best(model: DetectorModel, footprints: Sequence[Footprint], local: tuple[Array, Array, Array]) -> Array:
    """Best margin (dB) of the motions, −inf outside the lens."""
    infrared = model.kind == "infrared"
    behind = reach_behind_of(model)
    best = np.full(local[0].shape, -np.inf)
    for footprint in footprints:
        with np.errstate(divide="ignore", invalid="ignore"):
            margin = reach_margin_db(local, footprint, behind)
            if infrared:
                margin = np.where(inside_lens(local, footprint), margin, -np.inf)
        best = np.fmax(best, margin)
    return best

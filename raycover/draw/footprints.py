"""Declared footprints on a plane: the outline within which a detector's data sheet says that it sees."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.reach import reached
from raycover.detectors import Unit
from raycover.physics.pattern import Footprint
from raycover.solving.combining import deciding

Floats = NDArray[np.float64]
_N_AZIMUTHS = 360
#: Directions flatter than this (radians below the horizontal) never meet the plane in a drawing.
_FLATTEST = 0.02


def outline(unit: Unit, motion: str, z: float) -> Floats | None:
    """The declared footprint on a level z (m), closed, (n, 2) in plan; None where nothing is declared for it.

    Of several motions that count the widest at each azimuth, of a dual unit what its halves make together. Infrared:
    the lens edge carried down to z. Microwave: where the reach meets z. A sensitivity setting counts in both,
    obstacles and masks in none.
    """
    footprints = unit.footprints_for(motion)
    drop = float(unit.position[2] - z)
    if not footprints or drop <= 0:
        return None
    azimuth = _azimuths(footprints)
    cos, sin = np.cos(azimuth), np.sin(azimuth)
    edges = []
    for part in unit.parts:
        candidates = np.stack([np.zeros((len(azimuth), 2)), *(_edge(part, f, cos, sin, drop)
                                                             for f in part.footprints_for(motion))])  # fmt: skip
        reach = np.hypot(candidates[..., 0], candidates[..., 1])
        edges.append(candidates[reach.argmax(axis=0), np.arange(len(azimuth))])
    reaches = [np.hypot(edge[:, 0], edge[:, 1]) for edge in edges]
    best = np.choose(deciding(unit, motion, reaches, reaches)[:, None], edges)
    if not np.abs(best).max() > 0:
        return None
    return np.concatenate([best, best[:1]]) + unit.position[:2]


def _azimuths(footprints: tuple[Footprint, ...]) -> Floats:
    corners = np.array([c for f in footprints for c in f.shape.corners_rad] or [0.0])
    spread = np.linspace(0, 2 * np.pi, _N_AZIMUTHS, endpoint=False)
    return np.unique(np.concatenate([spread, *(np.mod(corners + d, 2 * np.pi) for d in (-1e-6, 0.0, 1e-6))]))


def _edge(unit: Unit, footprint: Footprint, cos: Floats, sin: Floats, drop: float) -> Floats:
    """(n, 2) offsets in plan from the unit of a footprint's edge at `drop` below it."""
    radius = np.asarray(footprint.shape.radius(cos, sin), float)
    slant = np.hypot(radius, footprint.drop) * footprint.gain_ratio
    if unit.kind == "microwave" and unit.tilt_deg == 0:
        if footprint.directivity is not None:
            return _where_it_ends(unit, footprint, cos, sin, drop)
        flat = np.sqrt(np.maximum(slant**2 - drop**2, 0.0)) * (radius > 0)
        local = np.stack([flat * cos, flat * sin, np.full_like(flat, -drop)], axis=1)
        return np.asarray((local @ unit.rotation.T)[:, :2], np.float64)
    direction = np.stack([radius * cos, radius * sin, np.full_like(radius, -footprint.drop)], axis=1) @ unit.rotation.T
    length = np.linalg.norm(direction, axis=1)
    down = -direction[:, 2] / length
    with np.errstate(divide="ignore", invalid="ignore"):
        distance = np.where(down > _FLATTEST, drop / down, np.inf)
    if unit.tilt_deg != 0 or unit.kind == "microwave":
        # A tilted unit may look at the horizon: its slant range is where it ends.
        distance = np.minimum(distance, np.maximum(slant, drop))
    elif footprint.gain_db < 0:
        flat = np.minimum(np.sqrt(np.maximum(slant**2 - drop**2, 0.0)), radius / footprint.drop * drop)
        return np.asarray((np.stack([flat * cos, flat * sin, 0 * flat], axis=1) @ unit.rotation.T)[:, :2], np.float64)
    return np.asarray((direction / length[:, None] * distance[:, None])[:, :2], np.float64)


def _where_it_ends(unit: Unit, footprint: Footprint, cos: Floats, sin: Floats, drop: float) -> Floats:
    """(n, 2) offsets in plan of the outermost points at `drop` below an upright unit that it reaches."""
    limit = reached(footprint, unit.kind, drop, np.arctan2(sin, cos))
    return np.asarray(
        (np.stack([limit * cos, limit * sin, np.full_like(limit, -drop)], axis=1) @ unit.rotation.T)[:, :2]
    )


def within(points: Floats, limits: Any) -> list[Floats]:
    """The parts (n, 2) of an outline that lie within a polygon."""
    inside = shapely.intersection(shapely.LineString(points), limits)
    parts = _lines_in(inside)
    merged = shapely.line_merge(shapely.MultiLineString(parts)) if parts else shapely.MultiLineString()
    return [np.asarray(p.coords) for p in shapely.get_parts(merged) if len(p.coords) > 1]


def without_doubles(lines: list[Floats], tolerance: float = 0.12) -> list[Floats]:
    """Lines less the stretches that run along an earlier one: dashes on dashes would read as a full line."""
    shapes = [shapely.LineString(line) for line in lines]
    bands = [shapely.buffer(shape, tolerance, cap_style="flat") for shape in shapes]
    tree = shapely.STRtree(bands)
    kept: list[Floats] = []
    for index, shape in enumerate(shapes):
        for earlier in sorted(int(k) for k in tree.query(shape) if k < index):
            shared = shapely.intersection(shape, bands[earlier])
            # Crossings are short: only what runs alongside is taken out.
            long_ones = [p for p in shapely.get_parts(shared) if p.length > 10 * tolerance]
            if long_ones:
                shape = shapely.difference(shape, shapely.buffer(shapely.union_all(long_ones), tolerance / 4))
        kept += [np.asarray(p.coords) for p in _lines_in(shape)]
    return kept


def _lines_in(shape: Any) -> list[Any]:
    return [p for p in shapely.get_parts(shape) if p.geom_type == "LineString" and not p.is_empty]


def is_long(unit: Unit) -> bool:
    """Whether its field is a long one: twice as long along azimuth 0 as across it."""
    along, across = _reach(unit, (0.0, np.pi)), _reach(unit, (np.pi / 2, -np.pi / 2))
    return bool(unit.footprints) and along.min() >= 1.9 * across.max() > 0


def _reach(unit: Unit, azimuths: tuple[float, float]) -> Floats:
    angle = np.array(azimuths)
    reach = [np.asarray(f.shape.radius(np.cos(angle), np.sin(angle)), float) for f in unit.footprints]
    return np.max(reach, axis=0) if reach else np.zeros(2)

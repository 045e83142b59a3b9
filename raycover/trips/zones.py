"""Which zones of a simulated lens fall on a hot source, and what signal its heat gives there against the threshold.

A second opinion beside the margin of the declared footprint: the lens is the entry's own or a generic one, the
threshold that of its declared test. What covers both halves of a zone alike cancels, so the aim is varied by a zone
either way and the strongest signal counts. Of things that move in place all their heat is taken to come and go: an
upper bound.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.physics.infrared import band_radiance
from raycover.physics.lens import Zones
from raycover.physics.signal import band_pass, patch_signal
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.trips.judging import ZoneHits, change_of
from raycover.trips.places import Source
from raycover.walking.sensing import Sensor

Floats = NDArray[np.floating]

#: Pieces of a surface are this large (m), with no more than so many along a side; fewer of what moves along a line.
_PIECE, _MOST, _MOST_MOVING = 0.04, 40, 6
#: Aims tried, evenly over a zone's step either way.
_N_AIMS = 33


def zone_hits(sensor: Sensor, source: Source, rays: RayScene, ambient_c: float) -> ZoneHits:
    """Zones of a unit on a hot source, and the signal of its heat."""
    spec = source.spec
    surface = spec.surface_at(ambient_c)
    assert surface is not None
    radiance = spec.emissivity * float(band_radiance(surface) - band_radiance(ambient_c))
    place, normal, area = _pieces(source)
    seen = ~rays.infrared_blocked(rays.segments(sensor.unit.position, place.reshape(-1, 3), sensor.unit.ahead))
    strength = radiance * area * seen.reshape(area.shape)
    local = sensor.local(place)
    turned = normal @ sensor.unit.rotation
    hits = _zones_on(sensor.zones, local[seen.reshape(area.shape)])
    if spec.line is not None:
        peak = _passing(sensor, local, turned, strength, spec.speeds_mps[1])
    else:
        step = max((360 / r.count for r in sensor.zones.rings if r.count), default=0.0)
        aims = np.radians(np.linspace(-step, step, _N_AIMS)) / 2
        signals = [float(patch_signal(sensor.image, _spun(local[0], a), _spun(turned[0], a), strength[0]).sum())
                   for a in aims]  # fmt: skip
        peak = float(np.abs(signals).max()) * 10 ** (change_of(spec) / 20)
    with np.errstate(divide="ignore"):
        level = float(20 * np.log10(peak / sensor.calibration.threshold))
    return ZoneHits(hits, len(sensor.zones.rings), sensor.generic, level)


def _zones_on(zones: Zones, local: Floats) -> tuple[tuple[int, int], ...]:
    """(ring, zone) of every zone that a point (n, 3) of the unit's frame lies in."""
    off_axis = np.degrees(np.arctan2(np.hypot(local[:, 0], local[:, 1]), -local[:, 2]))
    azimuth = np.degrees(np.arctan2(local[:, 1], local[:, 0]))
    found: set[tuple[int, int]] = set()
    for number, ring in enumerate(sorted(zones.rings, key=lambda r: r.off_axis_deg), 1):
        step = 360 / ring.count
        zone = np.round((azimuth - ring.offset_deg) / step)
        along = np.abs(azimuth - ring.offset_deg - zone * step) * np.sin(np.radians(off_axis))
        inside = (np.abs(off_axis - ring.off_axis_deg) <= ring.height_deg / 2) & (along <= ring.width_deg / 2)
        found |= {(number, int(k)) for k in np.unique(zone[inside].astype(int) % ring.count + 1)}
    return tuple(sorted(found))


def _passing(sensor: Sensor, local: Floats, normal: Floats, strength: Floats, speed_mps: float) -> float:
    """Peak of the amplifier's output while a thing runs along its line; places (k, n, 3) an even step apart."""
    raw = patch_signal(sensor.image, local, normal, strength).sum(axis=1)
    if speed_mps <= 0 or len(raw) < 2:
        return 0.0
    way = np.linalg.norm(np.diff(local.mean(axis=1), axis=0), axis=1)
    time = np.concatenate([[0.0], np.cumsum(way)]) / speed_mps
    even = np.arange(0.0, time[-1] + sensor.step_s, sensor.step_s)
    return float(np.abs(band_pass(np.interp(even, time, raw), sensor.step_s)).max())


def _spun(vectors: Floats, angle: float) -> Floats:
    """Vectors (n, 3) turned about the unit's axis."""
    cos, sin = np.cos(angle), np.sin(angle)
    x, y, z = np.moveaxis(vectors, -1, 0)
    return np.stack([x * cos - y * sin, x * sin + y * cos, z], axis=-1)


def _pieces(source: Source) -> tuple[Floats, Floats, Floats]:
    """Middles (k, n, 3), normals (k, n, 3) and areas (k, n) of a surface's pieces, at each of k places of its way."""
    spec = source.spec
    if source.flat_m2 is not None:
        return _patches(source)
    local, normal, area = _box_pieces(spec.extent, _MOST if spec.line is None else _MOST_MOVING)
    middles, turns = source.middles, source.middle_turn_rad
    cos, sin = np.cos(turns)[:, None], np.sin(turns)[:, None]

    def placed(v: Floats) -> Floats:
        return np.stack([v[:, 0] * cos - v[:, 1] * sin, v[:, 0] * sin + v[:, 1] * cos,
                         np.broadcast_to(v[:, 2], (len(turns), len(v)))], axis=-1)  # fmt: skip

    place = placed(local) + middles[:, None, :]
    return place + LIFT * placed(normal), placed(normal), np.broadcast_to(area, place.shape[:2])


def _box_pieces(size: tuple[float, float, float], most: int) -> tuple[Floats, Floats, Floats]:
    """Pieces of a box's faces about the origin: middles, outward normals (n, 3), areas (n,)."""
    places, normals, areas = [], [], []
    for axis in range(3):
        u, v = (k for k in range(3) if k != axis)
        if size[u] <= 0 or size[v] <= 0:
            continue
        counts = [int(np.clip(np.ceil(size[k] / _PIECE), 1, most)) for k in (u, v)]
        a, b = ((np.arange(n) + 0.5) / n * size[k] - size[k] / 2 for n, k in zip(counts, (u, v), strict=True))
        grid = np.stack(np.meshgrid(a, b, indexing="ij"), axis=-1).reshape(-1, 2)
        for side in (-1.0, 1.0):
            place, normal = np.zeros((len(grid), 3)), np.zeros((len(grid), 3))
            place[:, u], place[:, v], place[:, axis] = grid[:, 0], grid[:, 1], side * size[axis] / 2
            normal[:, axis] = side
            places.append(place)
            normals.append(normal)
            areas.append(np.full(len(grid), size[u] * size[v] / len(grid)))
    return np.concatenate(places), np.concatenate(normals), np.concatenate(areas)


def _patches(source: Source) -> tuple[Floats, Floats, Floats]:
    """Pieces of level patches, looking up."""
    height = float(source.points[:, 2].max())
    places, areas = [], []
    for ring in source.outlines:
        shape = shapely.Polygon(ring)
        x0, y0, x1, y1 = shape.bounds
        step = max(_PIECE, (x1 - x0) / _MOST, (y1 - y0) / _MOST)
        grid = np.stack(np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step)), -1)
        flat = grid.reshape(-1, 2)
        flat = flat[np.asarray(shapely.contains_xy(shape, flat[:, 0], flat[:, 1]))]
        if len(flat):
            places.append(np.column_stack([flat, np.full(len(flat), height)]))
            areas.append(np.full(len(flat), shape.area / len(flat)))
    place = np.concatenate(places)
    normal = np.broadcast_to(np.array([0.0, 0.0, 1.0]), place.shape)
    return place[None], normal[None], np.concatenate(areas)[None]

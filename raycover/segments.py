"""Segments ready for a ray tracer: clear of what they start from, short of what they end at, in single precision."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.enclosed import faces_at
from raycover.tracers import Single

Floats = NDArray[np.floating]
#: The one tolerance (m): segments start this clear of the detector and end this short of the target, and
#: crossings nearer than this to each other count once.
TOLERANCE = 1e-3
#: Targets on a floor are lifted this far (m) for casting, so that from below the slab is crossed, not missed.
LIFT = 2 * TOLERANCE


@dataclass(frozen=True)
class Segments:
    """Segments ready for a tracer: clear of the detector and short of the targets, recentred, float32."""

    origins: Single
    directions: Single
    lengths: Single


class Launch:
    """Where segments in a building start and end, relative to its `centre` (3,)."""

    def __init__(self, building: Building, centre: Floats) -> None:
        self._building, self._centre = building, centre
        self._hung: dict[tuple[float, float, float], list[tuple[Floats, float]]] = {}

    def to(self, position: Floats, targets: NDArray[np.floating]) -> Segments:
        """Segments from one position (3,) to targets (n, 3)."""
        directions = np.empty((len(targets), 3), np.float32)
        np.subtract(targets, position, out=directions, casting="unsafe")
        return self.along(position, directions)

    def along(self, position: Floats, directions: Single) -> Segments:
        """Segments from one position (3,) by the offsets (n, 3) of their targets.

        A position within the tolerance of a face hangs on it: its segments start on their targets' side.
        """
        shift: Single | None = None
        for normal, distance in self.hung_on(position):
            side = np.where(directions @ normal.astype(np.float32) < -distance, -TOLERANCE, TOLERANCE)
            moved = ((side - distance)[:, None] * normal).astype(np.float32)
            shift = moved if shift is None else shift + moved
        if shift is not None:
            directions = directions - shift
        square = np.einsum("ij,ij->i", directions, directions)
        clear = np.float32(TOLERANCE) / np.maximum(np.sqrt(square), np.float32(3 * TOLERANCE))
        origins = directions * clear[:, None]
        origins += (position - self._centre).astype(np.float32)
        if shift is not None:
            origins += shift
        return Segments(origins, directions, 1 - 2 * clear)

    def between(self, starts: Floats, ends: Floats) -> Segments:
        """Segments from each start (n, 3) to its end (n, 3), the tolerance short of both."""
        directions = (ends - starts).astype(np.float32)
        square = np.einsum("ij,ij->i", directions, directions)
        clear = np.float32(TOLERANCE) / np.maximum(np.sqrt(square), np.float32(3 * TOLERANCE))
        origins = directions * clear[:, None]
        origins += (starts - self._centre).astype(np.float32)
        return Segments(origins, directions, 1 - 2 * clear)

    def hung_on(self, position: Floats) -> list[tuple[Floats, float]]:
        """Unit normal (3,) and signed distance (m) of each plane, each once, whose face a position (3,) hangs on."""
        place = (float(position[0]), float(position[1]), float(position[2]))
        if (planes := self._hung.get(place)) is None:
            planes = self._hung[place] = self._hung_on(position)
        return planes

    def _hung_on(self, position: Floats) -> list[tuple[Floats, float]]:
        """As `hung_on`, found.

        A step of the tolerance along a grazing ray would not leave such a face: single precision, or a place
        written to the nearest millimetre, would put the start behind it.
        """
        found: list[tuple[Floats, float]] = []
        normals, offsets = self._sheet_planes
        distances = normals @ position - offsets
        for index in np.flatnonzero(np.abs(distances) <= TOLERANCE).tolist():
            sheet = self._building.sheets[index]
            flat = shapely.Point(sheet.frame.to_plane(position[None])[0])
            if sheet.polygon.distance(flat) <= TOLERANCE:
                found.append((normals[index], float(distances[index])))
        boxes = self._building.boxes
        low, high = self._box_extents
        chosen = self._boxes_near(position)
        for axis in (2, 0, 1):
            there = (low[axis, chosen] <= position[axis]) & (position[axis] <= high[axis, chosen])
            chosen = chosen[there]
        chosen.sort()
        if len(chosen):
            local = turned(position - boxes.centre[chosen], boxes.turn_rad[chosen])
            beyond = np.abs(local) - boxes.size[chosen] / 2
            on = (np.abs(beyond) <= TOLERANCE) & (beyond.max(axis=1, keepdims=True) <= TOLERANCE)
            for row, axis in np.argwhere(on).tolist():
                outward = np.eye(3)[[axis]] * np.sign(local[row, axis])
                normal = turned(outward, -boxes.turn_rad[chosen[[row]]])[0]
                found.append((normal, float(beyond[row, axis])))
        for one in self._building.objects:
            if np.all(one.bounds[0] - TOLERANCE <= position) and np.all(position <= one.bounds[1] + TOLERANCE):
                for index in faces_at(one, position, TOLERANCE):
                    normal = one.normals[index]
                    found.append((normal, float(normal @ (position - one.triangles[index, 0]))))
        distinct: list[tuple[Floats, float]] = []
        for normal, distance in found:
            if all(abs(float(normal @ other)) < 0.99 for other, _ in distinct):
                distinct.append((normal, distance))
        return distinct

    @cached_property
    def _box_extents(self) -> tuple[Floats, Floats]:
        """Lowest and highest coordinates (3, n) of the boxes, a tolerance wide of them."""
        boxes = self._building.boxes
        plan = boxes.footprints()
        up = boxes.size[:, 2] / 2
        low = np.vstack([plan.min(axis=1).T, boxes.centre[:, 2] - up])
        high = np.vstack([plan.max(axis=1).T, boxes.centre[:, 2] + up])
        return low - TOLERANCE, high + TOLERANCE

    def _boxes_near(self, position: Floats) -> NDArray[np.intp]:
        """Boxes, in no order, that may reach to a position: those that do along the building's longer side."""
        axis, order, lows, widest = self._box_order
        first = np.searchsorted(lows, position[axis] - widest, "left")
        last = np.searchsorted(lows, position[axis], "right")
        return order[first:last]

    @cached_property
    def _box_order(self) -> tuple[int, NDArray[np.intp], Floats, float]:
        """An axis, the boxes by their lowest coordinate along it, those coordinates, and the largest width (m)."""
        bounds = self._building.bounds
        axis = int(np.argmax(bounds[1, :2] - bounds[0, :2]))
        low, high = (extent[axis] for extent in self._box_extents)
        order = np.argsort(low, kind="stable")
        # A little more than the widest, since low + (high − low) need not be high to the last bit.
        return axis, order, low[order], float((high - low).max(initial=0.0)) + TOLERANCE

    @cached_property
    def _sheet_planes(self) -> tuple[Floats, Floats]:
        """Unit normals (n, 3) and offsets (n,) of the sheets' planes."""
        frames = [sheet.frame for sheet in self._building.sheets]
        along, up = (np.array([getattr(f, axis) for f in frames]).reshape(-1, 3) for axis in ("u", "v"))
        normals = np.cross(along, up)
        origins = np.array([frame.origin for frame in frames]).reshape(-1, 3)
        return normals, np.einsum("ij,ij->i", normals, origins)


def turned(vectors: Floats, turn_rad: Floats) -> Floats:
    """Vectors (n, 3) of the scene in the frames of boxes turned by (n,)."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    x, y, z = vectors.T
    return np.stack([x * cos + y * sin, y * cos - x * sin, z], axis=1)


def take(segments: Segments, index: NDArray[np.integer]) -> Segments:
    """Some of the segments, by index."""
    return Segments(segments.origins[index], segments.directions[index], segments.lengths[index])


def in_metres(segments: Segments) -> Segments:
    """The same segments with unit directions and lengths in metres."""
    norm = np.sqrt(np.einsum("ij,ij->i", segments.directions, segments.directions))
    norm = np.maximum(norm, np.finfo(np.float32).tiny)  # a target in the detector itself has no direction
    return Segments(segments.origins, segments.directions / norm[:, None], segments.lengths * norm)


def extent(segments: Segments) -> tuple[Single, Single]:
    """Lowest and highest coordinates (3,) of segments, of which there must be one at least."""
    low, high = np.empty((2, 3), np.float32)
    for axis in range(3):  # a column at a time: numpy reduces long columns of three side by side slowly
        starts = segments.origins[:, axis]
        ends = starts + segments.directions[:, axis] * segments.lengths
        low[axis] = min(starts.min(), ends.min())
        high[axis] = max(starts.max(), ends.max())
    return low, high

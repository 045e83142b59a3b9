"""Segments ready for a ray tracer: clear of what they start from, short of what they end at, in single precision."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.rays.enclosed import faces_at
from raycover.rays.vectors import Single, columns, norm, rows, scaled

Floats = NDArray[np.floating]
#: The one tolerance (m): segments start this clear of the detector and end this short of the target, and
#: crossings nearer than this to each other count once.
TOLERANCE = 1e-3
#: Targets on a floor are lifted this far (m) for casting, so that from below the slab is crossed, not missed.
LIFT = 2 * TOLERANCE
#: A face whose unit normal rises by less than this counts as upright; a unit that looks along it by less, as looking
#: along it.
_LEANING = 0.1


@dataclass(frozen=True)
class Segments:
    """Segments ready for a tracer: clear of the detector and short of the targets, recentred, float32."""

    origins: Single
    directions: Single
    lengths: Single


#: A plane that a place hangs on: its unit normal, the place's signed distance (m) from it, and on which side it hangs,
#: 1 or −1 along the normal; 0 where either may be.
Plane = tuple[tuple[float, float, float], float, int]


@dataclass(frozen=True)
class Hung:
    """A face that a place hangs on: unit `normal` (3,) and signed `distance` (m) of its plane; `through` it, as through
    a sheet, one may look from the other side."""

    normal: Floats
    distance: float
    through: bool

    def side(self, ahead: Floats | None) -> int:
        """On which side of it a unit hangs, 1 or −1 along the normal; 0 where nobody knows."""
        if not self.through:
            return 0
        if abs(self.normal[2]) >= _LEANING:
            return -int(np.sign(self.normal[2]))
        away = 0.0 if ahead is None else float(self.normal @ ahead)
        return int(np.sign(away)) if abs(away) >= _LEANING else 0


@dataclass(frozen=True)
class Fan:
    """Segments whose common start is not yet said: `directions` (n, 3) to the targets, less the step off a face that
    the start hangs on, `ahead` (n, 3) where each begins from that start, `lengths` (n,), `shift` (n, 3) that step."""

    directions: Single
    ahead: Single
    lengths: Single
    shift: Single | None


class Launch:
    """Where segments in a building start and end, relative to its `centre` (3,)."""

    def __init__(self, building: Building, centre: Floats) -> None:
        self._building, self._centre = building, centre
        self._hung: dict[tuple[float, float, float], list[Hung]] = {}

    def to(self, position: Floats, targets: NDArray[np.floating], ahead: Floats | None = None) -> Segments:
        """Segments from one position (3,) to targets (n, 3); `ahead` as for `along`."""
        directions = columns(len(targets))
        np.subtract(targets, position, out=directions, casting="unsafe")
        return self.along(position, directions, ahead)

    def along(self, position: Floats, directions: Single, ahead: Floats | None = None) -> Segments:
        """Segments from one position (3,) by the offsets (n, 3) of their targets.

        A position within the tolerance of a face hangs on it: its segments start on their targets' side, so that the
        face is not crossed. A unit knows better on which side of a sheet it hangs: under a level or sloped one, since
        nobody mounts one on a floor, and before an upright one that it looks away from, along `ahead` (3,), if it
        looks one way. What lies on the other side is then seen through the sheet. A desk may carry a unit or hide one.
        """
        return self.from_fan(position, self.fan(self.planes_at(position, ahead), directions))

    def planes_at(self, position: Floats, ahead: Floats | None = None) -> tuple[Plane, ...]:
        """The planes whose faces a position (3,) hangs on, looking `ahead` if it looks one way; for `fan`."""
        place = (float(position[0]), float(position[1]), float(position[2]))
        if (found := self._hung.get(place)) is None:
            found = self._hung[place] = self._hung_on(position)
        return tuple((tuple(on.normal.tolist()), on.distance, on.side(ahead)) for on in found)

    def fan(self, planes: tuple[Plane, ...], directions: Single) -> Fan:
        """Segments by the offsets (n, 3) of their targets from any position that hangs on such planes."""
        shift: Single | None = None
        for normal, distance, own in planes:
            side = np.where(directions @ np.array(normal, np.float32) < -distance, -TOLERANCE, TOLERANCE)
            if own:
                # Twice the tolerance, of which a ray square to the face steps one before it starts.
                side = np.where(side * own < 0, 2 * TOLERANCE * own, side)
            moved = ((side - distance) * np.array(normal)[:, None]).astype(np.float32).T
            shift = moved if shift is None else shift + moved
        if shift is not None:
            directions = directions - shift
        clear = _clear(directions)
        return Fan(directions, scaled(directions, clear), 1 - 2 * clear, shift)

    def from_fan(self, position: Floats, fan: Fan, index: NDArray[np.intp] | None = None) -> Segments:
        """The segments of a fan from a position (3,), or some of them by index."""
        shift = fan.shift
        if index is None:
            origins, directions, lengths = fan.ahead.copy("K"), fan.directions, fan.lengths
        else:
            origins, directions = rows(fan.ahead, index), rows(fan.directions, index)
            lengths, shift = fan.lengths.take(index), None if shift is None else rows(shift, index)
        origins += (position - self._centre).astype(np.float32)
        if shift is not None:
            origins += shift
        return Segments(origins, directions, lengths)

    def between(self, starts: Floats, ends: Floats) -> Segments:
        """Segments from each start (n, 3) to its end (n, 3), the tolerance short of both."""
        directions = columns(len(starts))
        np.subtract(ends, starts, out=directions, casting="unsafe")
        clear = _clear(directions)
        origins = scaled(directions, clear)
        origins += (starts - self._centre).astype(np.float32)
        return Segments(origins, directions, 1 - 2 * clear)

    def _hung_on(self, position: Floats) -> list[Hung]:
        """The faces that a position hangs on, one a plane.

        A step of the tolerance along a grazing ray would not leave such a face: single precision, or a place
        written to the nearest millimetre, would put the start behind it.
        """
        found: list[Hung] = []
        normals, offsets = self._sheet_planes
        distances = normals @ position - offsets
        for index in np.flatnonzero(np.abs(distances) <= TOLERANCE).tolist():
            sheet = self._building.sheets[index]
            flat = shapely.Point(sheet.frame.to_plane(position[None])[0])
            if sheet.polygon.distance(flat) <= TOLERANCE:
                found.append(Hung(normals[index], float(distances[index]), sheet.kind != "desk"))
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
                found.append(Hung(normal, float(beyond[row, axis]), False))
        for one in self._building.objects:
            if np.all(one.bounds[0] - TOLERANCE <= position) and np.all(position <= one.bounds[1] + TOLERANCE):
                for index in faces_at(one, position, TOLERANCE):
                    normal = one.normals[index]
                    found.append(Hung(normal, float(normal @ (position - one.triangles[index, 0])), not one.closed))
        distinct: list[Hung] = []
        for face in found:
            if all(abs(float(face.normal @ other.normal)) < 0.99 for other in distinct):
                distinct.append(face)
        return distinct

    @cached_property
    def _box_extents(self) -> tuple[Floats, Floats]:
        """Lowest and highest coordinates (3, n) of the boxes, a tolerance wide of them."""
        boxes = self._building.boxes
        plan, up = boxes.plan_bounds, boxes.size[:, 2] / 2
        low = np.vstack([plan[0].T, boxes.centre[:, 2] - up])
        high = np.vstack([plan[1].T, boxes.centre[:, 2] + up])
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


def off_floor(points: Floats, lifted: NDArray[np.bool_] | bool | None) -> Floats:
    """Points (…, 3) with those on a floor, `lifted` (…), where rays are cast to; None: none of them."""
    return points if lifted is None else points + np.array([0.0, 0.0, LIFT]) * np.asarray(lifted)[..., None]


def turned(vectors: Floats, turn_rad: Floats) -> Floats:
    """Vectors (n, 3) of the scene in the frames of boxes turned by (n,)."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    x, y, z = vectors.T
    return np.stack([x * cos + y * sin, y * cos - x * sin, z], axis=1)


def _clear(directions: Single) -> Single:
    """The tolerance as a share (n,) of directions (n, 3) to targets."""
    far: Single = np.maximum(norm(directions), np.float32(3 * TOLERANCE))
    return np.divide(np.float32(TOLERANCE), far, out=far)


def take(segments: Segments, index: NDArray[np.integer]) -> Segments:
    """Some of the segments, by index."""
    return Segments(rows(segments.origins, index), rows(segments.directions, index), segments.lengths.take(index))


def in_metres(segments: Segments) -> Segments:
    """The same segments with unit directions and lengths in metres."""
    # A target in the detector itself has no direction.
    metres = np.maximum(norm(segments.directions), np.finfo(np.float32).tiny)
    directions = columns(len(metres))
    np.divide(segments.directions.T, metres, out=directions.T)
    return Segments(segments.origins, directions, segments.lengths * metres)


def joined(many: Sequence[Segments]) -> Segments:
    """Segments one set after the other."""
    if len(many) == 1:
        return many[0]
    return Segments(*(np.concatenate([getattr(one, name) for one in many]) for name in Segments.__dataclass_fields__))


def extents(segments: Segments, firsts: NDArray[np.intp]) -> tuple[Single, Single]:
    """Lowest and highest coordinates (k, 3) of bundles of segments, given where each begins; none is empty."""
    low, high = np.empty((2, len(firsts), 3), np.float32)
    for axis in range(3):
        starts = segments.origins[:, axis]
        ends = starts + segments.directions[:, axis] * segments.lengths
        low[:, axis] = np.minimum.reduceat(np.minimum(starts, ends), firsts)
        high[:, axis] = np.maximum.reduceat(np.maximum(starts, ends), firsts)
    return low, high

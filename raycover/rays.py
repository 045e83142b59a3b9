"""What stands between a detector and points: infrared stopped by everything solid, microwave weakened.

Sheets of one construction are traced as one set, each construction by itself: then no crossing can hide
another of a different construction at a joint, and "within 1 mm counts once, the lossier wins" is a matter of
sorting. Boxes' chords are computed exactly once a ray is known to touch them, those of imported closed objects
by their entries and exits (see `enclosed`).
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, MeshObject
from raycover.catalogue import Construction, Losses
from raycover.enclosed import Enclosures, faces_at
from raycover.mirrors import Mirrors, make_mirrors
from raycover.tracers import Bools, Ints, Single, Tracer, default_backend, make_tracer

#: The one tolerance (m): segments start this clear of the detector and end this short of the target, and
#: crossings nearer than this to each other count once.
TOLERANCE = 1e-3
#: Targets on a floor are lifted this far (m) for casting, so that from below the slab is crossed, not missed.
LIFT = 2 * TOLERANCE
#: Faces of boxes are told apart down to this (m).
_BOX_STEP = 1e-4

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class Crossing:
    """One thing a ray meets on its way: `loss_db` one way, infinite where nothing passes."""

    object: str
    owner: str
    construction: str
    distance_m: float
    incidence_deg: float
    loss_db: float


@dataclass(frozen=True)
class Segments:
    """Segments ready for a tracer: clear of the detector and short of the targets, recentred, float32."""

    origins: Single
    directions: Single
    lengths: Single


@dataclass(frozen=True)
class Met:
    """Crossings, arrays (k,): which ray, distance (m) along it, cosine of incidence, chord (m, 0 for sheets), one-way
    loss (dB), part and flat face."""

    ray: Ints
    distance: Floats
    cosine: Floats
    chord_m: Floats
    loss_db: Floats
    part: Ints
    face: Ints

    @classmethod
    def join(cls, many: Sequence[Met]) -> Met:
        if not many:
            none, nothing = np.zeros(0, np.int32), np.zeros(0)
            return cls(none, nothing, nothing, nothing, nothing, none, none)
        return cls(*(np.concatenate([getattr(one, name) for one in many]) for name in cls.__dataclass_fields__))

    def take(self, index: NDArray[np.integer]) -> Met:
        return Met(*(getattr(self, name)[index] for name in self.__dataclass_fields__))

    def once(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """(starts, order): sorted by `order`, along each ray, the crossings from each start on count as one.

        Crossings within the tolerance of the one before form a cluster, of which the lossiest counts. A flat face
        met again after the step is the same crossing, at grazing incidence and single precision.
        """
        order = np.lexsort((self.distance, self.ray))
        if not len(order):
            return order, order
        ray, distance, face = self.ray[order], self.distance[order], self.face[order]
        apart = (np.diff(distance) > TOLERANCE) & (np.diff(face) != 0)
        new = np.concatenate([[True], (np.diff(ray) != 0) | apart])
        return np.flatnonzero(new), order


@dataclass(frozen=True)
class _SheetSet:
    construction: Construction
    tracer: Tracer
    part: Ints
    face: Ints
    normals: Floats


class RayScene:
    """A building ready for casting. `n_rays` counts the segments asked so far."""

    def __init__(self, building: Building, backend: str | None = None) -> None:
        self.building = building
        self.backend = backend if backend is not None else default_backend()
        self.n_rays = 0
        self._count_lock = threading.Lock()
        triangles = building.mesh.triangles
        self._centre = building.bounds.mean(axis=0)
        self._triangles = (triangles - self._centre).astype(np.float32)
        self._by_construction: dict[Construction, list[int]] = defaultdict(list)
        for index, sheet in enumerate(building.sheets):
            self._by_construction[sheet.construction].append(index)
        self._first_object = len(building.sheets) + len(building.boxes)
        for index, one in enumerate(building.objects):
            if not one.closed and isinstance(one.made_of, Construction):
                self._by_construction[one.made_of].append(self._first_object + index)
        self._enclosures = Enclosures(building, self.backend)
        # Materials of boxes by number: hashing one a box is what a ray scene must not do a ray.
        self._materials = list(dict.fromkeys(building.boxes.materials))
        number = {material: i for i, material in enumerate(self._materials)}
        self._material_of = np.array([number[m] for m in building.boxes.materials], np.int32)
        self._hung: dict[tuple[float, float, float], list[tuple[Floats, float]]] = {}
        self._tracers: dict[tuple[str, float | None], Tracer] = {}
        self._parts: dict[tuple[str, float | None], Ints] = {}
        self._lock = threading.Lock()

    def segments(self, position: Floats, targets: NDArray[np.floating]) -> Segments:
        """Segments from one position (3,) to targets (n, 3)."""
        directions = np.empty((len(targets), 3), np.float32)
        np.subtract(targets, position, out=directions, casting="unsafe")
        return self.segments_along(position, directions)

    def segments_along(self, position: Floats, directions: Single) -> Segments:
        """Segments from one position (3,) by the offsets (n, 3) of their targets.

        A position within the tolerance of a face hangs on it: its segments start on their targets' side.
        """
        shift: Single | None = None
        place = (float(position[0]), float(position[1]), float(position[2]))
        if (planes := self._hung.get(place)) is None:
            planes = self._hung[place] = self._hung_on(position)
        for normal, distance in planes:
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

    def segments_between(self, starts: Floats, ends: Floats) -> Segments:
        """Segments from each start (n, 3) to its end (n, 3), the tolerance short of both."""
        directions = (ends - starts).astype(np.float32)
        square = np.einsum("ij,ij->i", directions, directions)
        clear = np.float32(TOLERANCE) / np.maximum(np.sqrt(square), np.float32(3 * TOLERANCE))
        origins = directions * clear[:, None]
        origins += (starts - self._centre).astype(np.float32)
        return Segments(origins, directions, 1 - 2 * clear)

    def _hung_on(self, position: Floats) -> list[tuple[Floats, float]]:
        """Unit normal (3,) and signed distance (m) of each plane, each once, whose face a position hangs on.

        A step of the tolerance along a grazing ray would not leave such a face: single precision, or a place
        written to the nearest millimetre, would put the start behind it.
        """
        found: list[tuple[Floats, float]] = []
        normals, offsets = self._sheet_planes
        distances = normals @ position - offsets
        for index in np.flatnonzero(np.abs(distances) <= TOLERANCE).tolist():
            sheet = self.building.sheets[index]
            flat = shapely.Point(sheet.frame.to_plane(position[None])[0])
            if sheet.polygon.distance(flat) <= TOLERANCE:
                found.append((normals[index], float(distances[index])))
        boxes = self.building.boxes
        low, high = self._box_extents
        chosen = np.flatnonzero((low[2] <= position[2]) & (position[2] <= high[2]))
        for axis in (0, 1):
            there = (low[axis, chosen] <= position[axis]) & (position[axis] <= high[axis, chosen])
            chosen = chosen[there]
        if len(chosen):
            local = _turned(position - boxes.centre[chosen], boxes.turn_rad[chosen])
            beyond = np.abs(local) - boxes.size[chosen] / 2
            on = (np.abs(beyond) <= TOLERANCE) & (beyond.max(axis=1, keepdims=True) <= TOLERANCE)
            for row, axis in np.argwhere(on).tolist():
                outward = np.eye(3)[[axis]] * np.sign(local[row, axis])
                normal = _turned(outward, -boxes.turn_rad[chosen[[row]]])[0]
                found.append((normal, float(beyond[row, axis])))
        for one in self.building.objects:
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
    def mirrors(self) -> Mirrors:
        """The building's large flat surfaces, made when first asked for."""
        return make_mirrors(self.building, self.backend)

    @cached_property
    def _box_extents(self) -> tuple[Floats, Floats]:
        """Lowest and highest coordinates (3, n) of the boxes, a tolerance wide of them."""
        boxes = self.building.boxes
        plan = boxes.footprints()
        up = boxes.size[:, 2] / 2
        low = np.vstack([plan.min(axis=1).T, boxes.centre[:, 2] - up])
        high = np.vstack([plan.max(axis=1).T, boxes.centre[:, 2] + up])
        return low - TOLERANCE, high + TOLERANCE

    @cached_property
    def _sheet_planes(self) -> tuple[Floats, Floats]:
        """Unit normals (n, 3) and offsets (n,) of the sheets' planes."""
        frames = [sheet.frame for sheet in self.building.sheets]
        along, up = (np.array([getattr(f, axis) for f in frames]).reshape(-1, 3) for axis in ("u", "v"))
        normals = np.cross(along, up)
        origins = np.array([frame.origin for frame in frames]).reshape(-1, 3)
        return normals, np.einsum("ij,ij->i", normals, origins)

    def infrared_blocked(self, segments: Segments) -> Bools:
        """Whether anything solid stands in the way, (n,)."""
        self._count(len(segments.origins))
        return self._tracer("infrared").occluded(segments.origins, segments.directions, segments.lengths)

    def microwave_loss_db(self, segments: Segments, frequency_ghz: float, losses: Losses) -> Floats:
        """One-way loss (n,) in dB along segments; infinite where something opaque stands in the way."""
        n = len(segments.origins)
        self._count(n)
        tracer = self._tracer("microwave", frequency_ghz)
        loss = np.zeros(n)
        loss[tracer.occluded(segments.origins, segments.directions, segments.lengths)] = np.inf
        open_rays = np.flatnonzero(loss == 0)
        if len(open_rays):
            loss[open_rays] = self.partial_loss_db(take(segments, open_rays), frequency_ghz, losses)[0]
        return loss

    def partial_loss_db(self, segments: Segments, frequency_ghz: float, losses: Losses) -> tuple[Floats, Ints]:
        """One-way loss (n,) of what weakens but does not stop, and the part (n,) that costs most, −1 none."""
        met = self._lossy_met(_unit(segments), frequency_ghz, losses)
        ray, loss, part = met.ray, met.loss_db, met.part
        n = len(segments.origins)
        worst = np.full(n, -1, np.int32)
        if not len(ray):
            return np.zeros(n), worst
        order = np.argsort(loss, kind="stable")
        worst[ray[order]] = part[order]
        starts, order = met.once()
        ray, loss = ray[order], loss[order]
        total = np.bincount(ray[starts], np.maximum.reduceat(loss, starts), minlength=n)
        return np.asarray(total, np.float64), worst

    def leg_loss_db(self, segments: Segments, frequency_ghz: float, losses: Losses) -> Floats:
        """As `microwave_loss_db`, for segments most of which meet nothing: one question sorts those out first."""
        loss = np.zeros(len(segments.origins))
        self._count(len(loss))
        tracer = self._tracer("weakening", frequency_ghz)
        met = np.flatnonzero(tracer.occluded(segments.origins, segments.directions, segments.lengths))
        if len(met):
            loss[met] = self.microwave_loss_db(take(segments, met), frequency_ghz, losses)
        return loss

    def first_blocker(self, segments: Segments, frequency_ghz: float | None = None) -> Ints:
        """The part (n,) that stops each segment first, −1 for none; infrared where no frequency is given."""
        kind = "infrared" if frequency_ghz is None else "microwave"
        self._count(len(segments.origins))
        triangle, _ = self._tracer(kind, frequency_ghz).first(segments.origins, segments.directions, segments.lengths)
        parts = self._parts[kind, frequency_ghz]
        return np.where(triangle >= 0, parts[triangle] if len(parts) else -1, -1).astype(np.int32)

    def first_above(self, points: NDArray[np.floating], reach: float) -> tuple[Floats, Ints]:
        """What hangs straight above points (n, 3): its height (n,) over them in m and its part (n,).

        Infinite and −1 where nothing is met within `reach` m. Everything counts, whatever it is made of.
        """
        return self._first_met(points, np.array([0.0, 0.0, 1.0]), reach)

    def free_m(self, points: NDArray[np.floating], direction: Floats, reach: float) -> Floats:
        """How far (n,) in m the way from points (n, 3) along a unit vector (3,) is free, up to `reach`."""
        return np.minimum(self._first_met(points, direction, reach)[0], reach)

    def _first_met(self, points: NDArray[np.floating], direction: Floats, reach: float) -> tuple[Floats, Ints]:
        n = len(points)
        self._count(n)
        origins = (points - self._centre).astype(np.float32)
        along = np.tile(np.asarray(direction, np.float32), (n, 1))
        triangle, distance = self._tracer("everything").first(origins, along, np.full(n, reach, np.float32))
        parts = self._parts["everything", None]
        found = np.where(triangle >= 0, parts[triangle] if len(parts) else -1, -1).astype(np.int32)
        return np.where(found >= 0, distance.astype(float), np.inf), found

    def crossings(self, segments: Segments, frequency_ghz: float | None, losses: Losses) -> list[Crossing]:
        """Everything one segment meets, in order from the detector (`segments` holds just that one)."""
        line = _unit(segments)
        found: list[_Met] = []
        for sheets in self._sheet_sets:
            _, distance, triangle = sheets.tracer.crossings(line.origins, line.directions, line.lengths, TOLERANCE)
            cosine = np.abs(np.einsum("ij,j->i", sheets.normals[triangle], line.directions[0]))
            loss = self._sheet_loss_db(sheets.construction, cosine, frequency_ghz, losses)
            found += zip(
                distance.tolist(), cosine.tolist(), sheets.part[triangle].tolist(), loss.tolist(),
                sheets.face[triangle].tolist(), strict=True,
            )  # fmt: skip
        ray, box = self._members_met(line, "boxes", None, len(self.building.sheets))
        enter, leave, cosine = self._chords(line, ray, box)
        for t0, t1, cos, b in zip(enter, leave, cosine, box, strict=True):
            material = self.building.boxes.materials[b]
            rate = np.inf if frequency_ghz is None else material.loss_db_per_m(frequency_ghz)
            part = len(self.building.sheets) + int(b)
            if t1 > t0:
                found.append((float(t0), float(cos), part, float(rate * (t1 - t0)), part))
        for k, _, enter, leave, cosine in self._passages(line, "objects", None):
            loss = self._passage_loss_db(k, leave - enter, cosine, frequency_ghz, losses)
            for t0, cos, db in zip(enter, cosine, loss, strict=True):
                found.append((float(t0), float(cos), self._first_object + k, float(db), -1 - len(found)))
        return [self._crossing(*entry[:4]) for entry in _once(sorted(found))]

    def _sheet_loss_db(
        self, construction: Construction, cosine: Floats, frequency_ghz: float | None, losses: Losses
    ) -> Floats:
        """One-way loss (n,) of crossing a sheet; infrared (no frequency): none or all."""
        if frequency_ghz is None:
            return np.full(len(cosine), np.inf if construction.stops_infrared else 0.0)
        return construction.loss_table(frequency_ghz, losses).loss_db(cosine)

    def _passage_loss_db(
        self, index: int, chord: Floats, cosine: Floats, frequency_ghz: float | None, losses: Losses
    ) -> Floats:
        """One-way loss (n,) of passing through a closed imported object: by its chord, or once for a plate."""
        made = self.building.objects[index].made_of
        if isinstance(made, Construction):
            return self._sheet_loss_db(made, cosine, frequency_ghz, losses)
        rate = np.inf if frequency_ghz is None else made.loss_db_per_m(frequency_ghz)
        return np.asarray(rate * chord)

    def _passages(
        self, line: Segments, kind: str, frequency_ghz: float | None
    ) -> list[tuple[int, Ints, Floats, Floats, Floats]]:
        """(object, rays, distances of entry and of exit, cosines) of every closed object of a set that rays pass."""
        ray, index = self._members_met(line, kind, frequency_ghz, self._first_object)
        found = []
        for k in np.unique(index).tolist():
            mine = ray[index == k]
            origins = line.origins[mine].astype(float) + self._centre
            passed = self._enclosures.passages(k, origins, line.directions[mine], line.lengths[mine])
            found.append((k, mine[passed.ray], passed.enter, passed.leave, passed.cosine))
        return found

    def _crossing(self, distance: float, cosine: float, part: int, loss: float) -> Crossing:
        building = self.building
        return Crossing(
            building.part_name(part),
            building.part_owner(part),
            building.part_made_of(part).name,
            distance + TOLERANCE,
            float(np.degrees(np.arccos(np.clip(cosine, 0, 1)))),
            loss,
        )

    def _count(self, n: int) -> None:
        with self._count_lock:
            self.n_rays += n

    def _tracer(self, kind: str, frequency_ghz: float | None = None) -> Tracer:
        """The set of what stops this kind altogether, made when first asked for."""
        key = (kind, frequency_ghz)
        if key not in self._tracers:
            with self._lock:
                if key not in self._tracers:
                    part = self.building.mesh.part
                    chosen = self._members(kind, frequency_ghz)[part] if len(part) else np.zeros(0, bool)
                    self._parts[key] = part[chosen]
                    self._tracers[key] = make_tracer(self._triangles[chosen], self.backend)
        return self._tracers[key]

    def _members(self, kind: str, frequency_ghz: float | None) -> Bools:
        """Which parts belong to a set.

        `infrared` and `microwave`: what stops it altogether; `weakening`: what stops or weakens microwave;
        `lossy boxes`, `lossy objects`: what weakens
        microwave by its bulk; `boxes`, `objects`: every box, every closed imported object; `everything`:
        every part.
        """
        building = self.building
        if kind == "everything":
            return np.ones(building.n_parts, bool)
        sheets, boxes, objects = (
            np.zeros(n, bool) for n in (len(building.sheets), len(building.boxes), len(building.objects))
        )
        if kind == "infrared":
            sheets[:] = [s.construction.stops_infrared for s in building.sheets]
            boxes[:] = True
            objects[:] = [one.stops_infrared for one in building.objects]
        elif kind == "microwave":
            sheets[:] = [s.construction.kind == "opaque" for s in building.sheets]
            boxes[:] = np.isinf(self._box_rates(frequency_ghz))
            objects[:] = [_opaque(one, frequency_ghz) for one in building.objects]
        elif kind == "weakening":
            sheets[:] = [_weakens(s.construction) for s in building.sheets]
            boxes[:] = True
            objects[:] = [not isinstance(o.made_of, Construction) or _weakens(o.made_of) for o in building.objects]
        elif kind == "lossy boxes":
            boxes[:] = ~np.isinf(self._box_rates(frequency_ghz))
        elif kind == "lossy objects":
            objects[:] = [one.closed and _lossy(one, frequency_ghz) for one in building.objects]
        else:
            boxes[:] = kind == "boxes"
            objects[:] = [kind == "objects" and one.closed for one in building.objects]
        return np.concatenate([sheets, boxes, objects])

    def _box_rates(self, frequency_ghz: float | None) -> Floats:
        """Bulk loss (n_boxes,) in dB per metre, infinite where opaque; infrared is stopped by every box."""
        if not self._materials or frequency_ghz is None:
            return np.full(len(self.building.boxes), np.inf)
        return np.array([m.loss_db_per_m(frequency_ghz) for m in self._materials])[self._material_of]

    @cached_property
    def _sheet_sets(self) -> list[_SheetSet]:
        """Sheets by construction, each set with its tracer, parts and unit normals a triangle."""
        sets = []
        for construction, members in self._by_construction.items():
            member = np.zeros(self.building.n_parts, bool)
            member[members] = True
            chosen = member[self.building.mesh.part]
            part = self.building.mesh.part[chosen]
            normal = np.zeros((self.building.n_parts, 3))
            flat = [p for p in members if p < len(self.building.sheets)]
            normal[flat] = np.reshape([self.building.sheets[p].frame.normal for p in flat], (-1, 3))
            normals = normal[part]
            for p in members[len(flat) :]:
                normals[part == p] = self.building.objects[p - self._first_object].normals
            tracer = make_tracer(self._triangles[chosen], self.backend)
            sets.append(_SheetSet(construction, tracer, part, self.building.mesh.face[chosen], normals))
        return sets

    def lossy_crossings(
        self, line: Segments, frequency_ghz: float, losses: Losses
    ) -> tuple[Ints, Floats, Floats, Ints, Ints]:
        """(ray, distance, one-way loss, part, flat face) of all crossings of what weakens but does not stop.

        A ray crosses each flat face once; every passage through a solid counts as a face of its own.
        """
        met = self._lossy_met(line, frequency_ghz, losses)
        return met.ray, met.distance, met.loss_db, met.part, met.face

    def _lossy_met(self, line: Segments, frequency_ghz: float, losses: Losses) -> Met:
        """All crossings of what weakens but does not stop, in no order and not yet counted once."""
        found: list[Met] = []
        for sheets in self._sheet_sets:
            if sheets.construction.kind in ("opaque", "open"):
                continue
            self._count(len(line.origins))
            ray, distance, triangle = sheets.tracer.crossings(line.origins, line.directions, line.lengths, TOLERANCE)
            cosine = np.abs(np.einsum("ij,ij->i", sheets.normals[triangle], line.directions[ray]))
            loss = sheets.construction.loss_table(frequency_ghz, losses).loss_db(cosine)
            part, face = sheets.part[triangle], sheets.face[triangle]
            found.append(Met(ray, distance.astype(float), cosine, np.zeros(len(ray)), loss, part, face))
        ray, box = self._members_met(line, "lossy boxes", frequency_ghz, len(self.building.sheets))
        if len(ray):
            enter, leave, cosine = self._chords(line, ray, box)
            chord = np.maximum(leave - enter, 0)
            part = (box + len(self.building.sheets)).astype(np.int32)
            found.append(Met(ray, enter, cosine, chord, self._box_rates(frequency_ghz)[box] * chord, part, part))
        for k, ray, enter, leave, cosine in self._passages(line, "lossy objects", frequency_ghz):
            loss = self._passage_loss_db(k, leave - enter, cosine, frequency_ghz, losses)
            chord = np.zeros(len(ray)) if isinstance(self.building.objects[k].made_of, Construction) else leave - enter
            n_passed = sum(len(one.ray) for one in found)
            face = -1 - n_passed - np.arange(len(ray), dtype=np.int32)
            part = np.full(len(ray), self._first_object + k, np.int32)
            found.append(Met(ray, enter, cosine, chord, loss, part, face))
        return Met.join(found)

    def met(self, segments: Segments, frequency_ghz: float, losses: Losses) -> Met:
        """Everything that costs microwave something along segments, each crossing once and in order along each.

        Of a segment that is stopped, only what stops it first, at infinite loss.
        """
        stops = self.first_blocker(segments, frequency_ghz)
        stopped, through = np.flatnonzero(stops >= 0), np.flatnonzero(stops < 0)
        n = len(stopped)
        met = self._lossy_met(_unit(take(segments, through)), frequency_ghz, losses)
        starts, kept = met.once()
        some = met.take(kept[starts])
        loss = np.maximum.reduceat(met.loss_db[kept], starts) if len(starts) else met.loss_db
        # Where several count once, the lossiest speaks for them.
        lossiest = met.take(_lossiest(met.loss_db[kept], starts, kept)) if len(starts) else met
        zero = np.zeros(n)
        barred = Met(stopped.astype(np.int32), zero, zero + 1, zero, zero + np.inf, stops[stopped], stops[stopped])
        ray = through.astype(np.int32)[lossiest.ray]
        counted = Met(
            ray, some.distance, lossiest.cosine, lossiest.chord_m, loss, lossiest.part, lossiest.face
        )  # fmt: skip
        return Met.join([barred, counted])

    def _members_met(self, line: Segments, kind: str, frequency_ghz: float | None, first: int) -> tuple[Ints, Ints]:
        """Pairs (ray, member), each once, of a set that rays touch; members count from the part `first`."""
        tracer = self._tracer(kind, frequency_ghz)
        parts = self._parts[kind, frequency_ghz]
        if not len(parts):
            return np.zeros(0, np.int32), np.zeros(0, np.int32)
        self._count(len(line.origins))
        ray, _, triangle = tracer.crossings(line.origins, line.directions, line.lengths, _BOX_STEP)
        n = self.building.n_parts
        pairs = np.unique(ray.astype(np.int64) * n + parts[triangle] - first)
        return (pairs // n).astype(np.int32), (pairs % n).astype(np.int32)

    def _chords(self, line: Segments, ray: Ints, box: Ints) -> tuple[Floats, Floats, Floats]:
        """Distances (m) at which rays enter and leave boxes, and the cosine of incidence on entering."""
        boxes = self.building.boxes
        offset = line.origins[ray].astype(float) + self._centre - boxes.centre[box]
        along = line.directions[ray].astype(float)
        offset, along = _turned(offset, boxes.turn_rad[box]), _turned(along, boxes.turn_rad[box])
        half = boxes.size[box] / 2
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            one, two = (-half - offset) / along, (half - offset) / along
        outside = (along == 0) & (np.abs(offset) > half)
        near = np.where(along == 0, np.where(outside, np.inf, -np.inf), np.minimum(one, two))
        far = np.where(along == 0, np.where(outside, -np.inf, np.inf), np.maximum(one, two))
        axis = near.argmax(axis=1)
        rows = np.arange(len(ray))
        enter = np.maximum(near[rows, axis], 0)
        leave = np.minimum(far.min(axis=1), line.lengths[ray])
        return enter, leave, np.abs(along[rows, axis])


def _lossiest(loss: Floats, starts: NDArray[np.intp], order: NDArray[np.intp]) -> NDArray[np.intp]:
    """Of each cluster of sorted losses (k,), the index of its lossiest, by `order`."""
    cluster = np.cumsum(np.isin(np.arange(len(loss)), starts)) - 1
    by_loss = np.lexsort((loss, cluster))
    return order[by_loss[np.append(np.flatnonzero(np.diff(cluster[by_loss])), len(loss) - 1)]]


def _turned(vectors: Floats, turn_rad: Floats) -> Floats:
    """Vectors (n, 3) of the scene in the frames of boxes turned by (n,)."""
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    x, y, z = vectors.T
    return np.stack([x * cos + y * sin, y * cos - x * sin, z], axis=1)


def take(segments: Segments, index: NDArray[np.integer]) -> Segments:
    """Some of the segments, by index."""
    return Segments(segments.origins[index], segments.directions[index], segments.lengths[index])


def _unit(segments: Segments) -> Segments:
    """The same segments with unit directions and lengths in metres."""
    norm = np.sqrt(np.einsum("ij,ij->i", segments.directions, segments.directions))
    norm = np.maximum(norm, np.finfo(np.float32).tiny)  # a target in the detector itself has no direction
    return Segments(segments.origins, segments.directions / norm[:, None], segments.lengths * norm)


#: Distance, cosine of incidence, part, loss in dB, flat face.
_Met = tuple[float, float, int, float, int]


def _opaque(one: MeshObject, frequency_ghz: float | None) -> bool:
    """Whether nothing passes an imported object."""
    if isinstance(one.made_of, Construction):
        return one.made_of.kind == "opaque"
    return frequency_ghz is None or bool(np.isinf(one.made_of.loss_db_per_m(frequency_ghz)))


def _weakens(construction: Construction) -> bool:
    """Whether microwave loses anything in a sheet."""
    return construction.kind != "open" and not (construction.kind == "layers" and not construction.layers)


def _lossy(one: MeshObject, frequency_ghz: float | None) -> bool:
    """Whether an imported object weakens what passes it."""
    return not _opaque(one, frequency_ghz) and getattr(one.made_of, "kind", "") != "open"


def _once(ordered: Sequence[_Met]) -> list[_Met]:
    """Of crossings within the tolerance of each other, the lossiest; of one flat face's, the first."""
    kept: list[_Met] = []
    last, face = -np.inf, None
    for entry in ordered:
        if kept and (entry[0] - last <= TOLERANCE or entry[4] == face):
            if entry[3] > kept[-1][3]:
                kept[-1] = (kept[-1][0], *entry[1:])
        else:
            kept.append(entry)
        last, face = entry[0], entry[4]
    return kept

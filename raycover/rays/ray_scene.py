"""What stands between a detector and points: infrared stopped by everything solid, microwave weakened.

Sheets of constructions that touch are traced as different sets: then no crossing can hide another of a different
construction at a joint, and "within 1 mm counts once, the lossier wins" is a matter of sorting. Boxes' chords are
computed exactly once a ray is known to touch them, those of imported closed objects by their entries and exits (see
`enclosed`).
"""

from __future__ import annotations

import threading
from collections import defaultdict
from collections.abc import Iterator
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.building.mesh import BOX_FACES
from raycover.building.parts import Building
from raycover.catalogue import Construction, Losses
from raycover.rays.crossed import Crossing as Crossing
from raycover.rays.crossed import Met, Row, Tally, by_rank, lossiest_of, once
from raycover.rays.enclosed import Enclosures
from raycover.rays.heap import keep_what_is_freed
from raycover.rays.mirrors import Mirrors, make_mirrors
from raycover.rays.ray_sets import RaySets
from raycover.rays.segments import LIFT as LIFT
from raycover.rays.segments import TOLERANCE as TOLERANCE
from raycover.rays.segments import Launch, Segments, extents, in_metres
from raycover.rays.segments import take as take
from raycover.rays.sheet_sets import Sheets, SheetSet, sheet_sets
from raycover.rays.tracers import (
    Alike,
    Bools,
    Ints,
    Runs,
    Tracer,
    default_backend,
    make_tracer,
    recentred,
)
from raycover.rays.vectors import rows

#: Faces of boxes are told apart down to this (m).
_BOX_STEP = 1e-4

Floats = NDArray[np.floating]


class RayScene:
    """A building ready for casting. `n_rays` counts the segments asked so far."""

    def __init__(self, building: Building, backend: str | None = None) -> None:
        keep_what_is_freed()
        self.building = building
        self.backend = backend if backend is not None else default_backend()
        self.n_rays = 0
        self._count_lock = threading.Lock()
        self._own = threading.local()
        self._centre = building.bounds.mean(axis=0)
        self._by_construction: dict[Construction, list[int]] = defaultdict(list)
        for index, sheet in enumerate(building.sheets):
            self._by_construction[sheet.construction].append(index)
        self._first_object = len(building.sheets) + len(building.boxes)
        for index, one in enumerate(building.objects):
            if not one.closed and isinstance(one.made_of, Construction):
                self._by_construction[one.made_of].append(self._first_object + index)
        self._enclosures = Enclosures(building, self.backend)
        self._sets = RaySets(building)
        self.launch = Launch(building, self._centre)
        self._tracers: dict[tuple[str, float | None], Tracer] = {}
        self._parts: dict[tuple[str, float | None], Ints] = {}
        self._lock = threading.Lock()

    def segments(self, position: Floats, targets: NDArray[np.floating], ahead: Floats | None = None) -> Segments:
        """Segments from one position (3,) to targets (n, 3); of a unit that looks one way, `ahead` (3,) says which."""
        return self.launch.to(position, targets, ahead)

    def segments_between(self, starts: Floats, ends: Floats) -> Segments:
        """Segments from each start (n, 3) to its end (n, 3), the tolerance short of both."""
        return self.launch.between(starts, ends)

    @cached_property
    def mirrors(self) -> Mirrors:
        """The building's large flat surfaces, made when first asked for."""
        return make_mirrors(self.building, self.backend)

    def infrared_blocked(self, segments: Segments) -> Bools:
        """Whether anything solid stands in the way, (n,)."""
        self.count(len(segments.origins))
        return self._tracer("infrared").occluded(segments.origins, segments.directions, segments.lengths)

    def microwave_loss_db(
        self, segments: Segments, frequency_ghz: float, losses: Losses, firsts: NDArray[np.intp] | None = None
    ) -> Floats:
        """One-way loss (n,) in dB along segments; infinite where something opaque stands in the way.

        `firsts`: where bundles of segments begin that lie together, of one unit each, say; it saves asking.
        """
        n = len(segments.origins)
        self.count(n)
        tracer = self._tracer("microwave", frequency_ghz)
        loss = np.zeros(n)
        loss[tracer.occluded(segments.origins, segments.directions, segments.lengths)] = np.inf
        through = np.flatnonzero(loss == 0)
        if len(through) == n:
            return self._lossy_db(in_metres(segments), frequency_ghz, losses, firsts)
        if len(through):
            line = in_metres(take(segments, through))
            firsts = None if firsts is None else np.unique(np.searchsorted(through, firsts))
            loss[through] = self._lossy_db(line, frequency_ghz, losses, firsts)
        return loss

    def _lossy_db(
        self, line: Segments, frequency_ghz: float, losses: Losses, firsts: NDArray[np.intp] | None
    ) -> Floats:
        """What rays lose altogether, (n,) dB, to what weakens but does not stop, each crossing once."""
        n = len(line.lengths)
        tally = Tally(n, float(line.lengths.max(initial=0.0)))
        for sheets, runs in self._sheets_met(line, firsts):
            tally.next_set()
            for met in sheets.tracer.rounds(line.origins, line.directions, line.lengths, TOLERANCE, runs):
                cosine = sheets.cosine(met.triangle, met.along)
                loss = sheets.loss_db(met.triangle, cosine, frequency_ghz, losses)
                tally.add(met.ray, met.distance, loss)
                if met.before is not None:
                    tally.doubt(sheets.met_again(met, cosine, tally.near_m - TOLERANCE))
        for one in self._bulk_met(line, frequency_ghz, losses):
            for here in by_rank(one.ray):
                tally.next_set()  # boxes may well touch each other
                tally.add(one.ray.take(here).astype(np.intp), one.distance.take(here), one.loss_db.take(here))
        if len(doubtful := tally.doubtful):
            settled = self.lossy_met(take(line, doubtful), frequency_ghz, losses)
            tally.loss_db[doubtful] = settled.added_db(len(doubtful))
        return tally.loss_db

    def _sheets_met(self, line: Segments, firsts: NDArray[np.intp] | None) -> Iterator[tuple[SheetSet, Runs]]:
        """The sets of sheets that weaken, each with those runs of rays that may meet it.

        `firsts`: where bundles of rays begin, of one unit each, say; None: all of them are one.
        """
        n = len(line.lengths)
        if not n:
            return
        firsts = np.zeros(1, np.intp) if firsts is None else firsts[firsts < n]
        low, high = extents(line, firsts)
        lasts = np.append(firsts[1:], n)
        for sheets in self._sheet_sets:
            if not sheets.weakens or not (met := sheets.met_by(low, high)).any():
                continue
            if met.all():
                runs = [(0, n)]
            else:
                ends = np.flatnonzero(np.diff(met, prepend=False, append=False)).reshape(-1, 2)
                runs = [(int(firsts[a]), int(lasts[b - 1])) for a, b in ends.tolist()]
            self.count(sum(last - first for first, last in runs))
            yield sheets, runs

    def partial_loss_db(self, segments: Segments, frequency_ghz: float, losses: Losses) -> tuple[Floats, Ints]:
        """One-way loss (n,) of what weakens but does not stop, and the part (n,) that costs most, −1 none."""
        met = self.lossy_met(in_metres(segments), frequency_ghz, losses)
        n = len(segments.origins)
        worst = np.full(n, -1, np.int32)
        order = np.argsort(met.loss_db, kind="stable")
        worst[met.ray[order]] = met.part[order]
        return met.added_db(n), worst

    def leg_loss_db(self, segments: Segments, frequency_ghz: float, losses: Losses) -> Floats:
        """As `microwave_loss_db`, for segments most of which meet nothing: one question sorts those out first."""
        loss = np.zeros(len(segments.origins))
        self.count(len(loss))
        tracer = self._tracer("weakening", frequency_ghz)
        met = np.flatnonzero(tracer.occluded(segments.origins, segments.directions, segments.lengths))
        if len(met):
            loss[met] = self.microwave_loss_db(take(segments, met), frequency_ghz, losses)
        return loss

    def stopped_at_m(self, line: Segments, frequency_ghz: float | None = None) -> Floats:
        """Distance (n,) along segments in metres to what stops each first, infinite where nothing does."""
        kind = "infrared" if frequency_ghz is None else "microwave"
        triangle, distance = self._tracer(kind, frequency_ghz).first(line.origins, line.directions, line.lengths)
        return np.where(triangle >= 0, distance.astype(float) + TOLERANCE, np.inf)

    def first_blocker(self, segments: Segments, frequency_ghz: float | None = None) -> Ints:
        """The part (n,) that stops each segment first, −1 for none; infrared where no frequency is given."""
        kind = "infrared" if frequency_ghz is None else "microwave"
        self.count(len(segments.origins))
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
        self.count(n)
        origins = (points - self._centre).astype(np.float32)
        along = np.tile(np.asarray(direction, np.float32), (n, 1))
        triangle, distance = self._tracer("everything").first(origins, along, np.full(n, reach, np.float32))
        parts = self._parts["everything", None]
        found = np.where(triangle >= 0, parts[triangle] if len(parts) else -1, -1).astype(np.int32)
        return np.where(found >= 0, distance.astype(float), np.inf), found

    def crossings(self, segments: Segments, frequency_ghz: float | None, losses: Losses) -> list[Crossing]:
        """Everything one segment meets, in order from the detector (`segments` holds just that one)."""
        line = in_metres(segments)
        found: list[Row] = []
        for sheets in self._sheet_sets:
            _, distance, triangle = sheets.tracer.crossings(line.origins, line.directions, line.lengths, TOLERANCE)
            cosine = sheets.cosine(triangle, np.broadcast_to(line.directions, (len(triangle), 3)))
            loss = sheets.loss_db(triangle, cosine, frequency_ghz, losses)
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
        return [self._crossing(*entry[:4]) for entry in once(sorted(found))]

    def _plate_loss_db(
        self, construction: Construction, cosine: Floats, frequency_ghz: float | None, losses: Losses
    ) -> Floats:
        """One-way loss (n,) of crossing a plate; infrared (no frequency): none or all."""
        if frequency_ghz is None:
            return np.full(len(cosine), np.inf if construction.stops_infrared else 0.0)
        return construction.loss_table(frequency_ghz, losses).loss_db(cosine)

    def _passage_loss_db(
        self, index: int, chord: Floats, cosine: Floats, frequency_ghz: float | None, losses: Losses
    ) -> Floats:
        """One-way loss (n,) of passing through a closed imported object: by its chord, or once for a plate."""
        made = self.building.objects[index].made_of
        if isinstance(made, Construction):
            return self._plate_loss_db(made, cosine, frequency_ghz, losses)
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

    @property
    def n_rays_here(self) -> int:
        """Segments that this thread has asked so far."""
        return int(getattr(self._own, "n_rays", 0))

    def count(self, n: int) -> None:
        """Count segments as asked."""
        self._own.n_rays = self.n_rays_here + n
        with self._count_lock:
            self.n_rays += n

    def _tracer(self, kind: str, frequency_ghz: float | None = None) -> Tracer:
        """The set of what stops this kind altogether, made when first asked for."""
        key = (kind, frequency_ghz)
        if key not in self._tracers:
            with self._lock:
                if key not in self._tracers:
                    part = self.building.mesh.part
                    chosen = self._sets.of(kind, frequency_ghz)[part] if len(part) else np.zeros(0, bool)
                    self._parts[key] = part[chosen]
                    triangles = self.building.mesh.triangles
                    triangles = triangles if chosen.all() else triangles[chosen]
                    boxes = len(self.building.sheets) + np.array([0, len(self.building.boxes)])
                    first, last = np.searchsorted(self._parts[key], boxes).tolist()  # parts stand in order
                    self._tracers[key] = make_tracer(
                        triangles, self.backend, Alike(first, last, BOX_FACES), self._centre
                    )
        return self._tracers[key]

    @cached_property
    def _sheet_sets(self) -> list[SheetSet]:
        """Sheets with their tracers, in sets none of which can hide what counts."""
        found = []
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
            triangles = recentred(self.building.mesh.triangles[chosen], self._centre)
            found.append((construction, Sheets(triangles, part, self.building.mesh.face[chosen], normals)))
        return sheet_sets(found, self.backend)

    def lossy_met(self, line: Segments, frequency_ghz: float, losses: Losses) -> Met:
        """All crossings of what weakens but does not stop, in no order and not yet counted once (`Met.once`)."""
        found: list[Met] = []
        for sheets, _ in self._sheets_met(line, None):
            ray, distance, triangle = sheets.tracer.crossings(line.origins, line.directions, line.lengths, TOLERANCE)
            cosine = sheets.cosine(triangle, rows(line.directions, ray))
            loss = sheets.loss_db(triangle, cosine, frequency_ghz, losses)
            part, face = sheets.part[triangle], sheets.face[triangle]
            found.append(Met(ray, distance.astype(float), cosine, np.zeros(len(ray)), loss, part, face))
        return Met.join([*found, *self._bulk_met(line, frequency_ghz, losses)])

    def _bulk_met(self, line: Segments, frequency_ghz: float, losses: Losses) -> list[Met]:
        """Passages through boxes, and through closed imported objects, that weaken but do not stop."""
        found: list[Met] = []
        if not len(line.lengths):
            return found
        ray, box = self._members_met(line, "lossy boxes", frequency_ghz, len(self.building.sheets))
        if len(ray):
            enter, leave, cosine = self._chords(line, ray, box)
            if not (met := np.isfinite(enter)).all():  # the tracer met an edge beside which a ray runs outside, level
                ray, box = ray[met], box[met]
                enter, leave, cosine = enter[met], leave[met], cosine[met]
            chord = np.maximum(leave - enter, 0)
            part = (box + len(self.building.sheets)).astype(np.int32)
            found.append(Met(ray, enter, cosine, chord, self._sets.box_rates(frequency_ghz)[box] * chord, part, part))
        n_passed = 0
        for k, ray, enter, leave, cosine in self._passages(line, "lossy objects", frequency_ghz):
            loss = self._passage_loss_db(k, leave - enter, cosine, frequency_ghz, losses)
            chord = np.zeros(len(ray)) if isinstance(self.building.objects[k].made_of, Construction) else leave - enter
            face = -1 - n_passed - np.arange(len(ray), dtype=np.int32)
            n_passed += len(ray)
            part = np.full(len(ray), self._first_object + k, np.int32)
            found.append(Met(ray, enter, cosine, chord, loss, part, face))
        return found

    def met(self, segments: Segments, frequency_ghz: float, losses: Losses) -> Met:
        """Everything that costs microwave something along segments, each crossing once and in order along each.

        Of a segment that is stopped, only what stops it first, at infinite loss.
        """
        stops = self.first_blocker(segments, frequency_ghz)
        stopped, through = np.flatnonzero(stops >= 0), np.flatnonzero(stops < 0)
        n = len(stopped)
        met = self.lossy_met(in_metres(take(segments, through)), frequency_ghz, losses)
        starts, kept = met.once()
        some = met.take(kept[starts])
        loss = np.maximum.reduceat(met.loss_db[kept], starts) if len(starts) else met.loss_db
        # Where several count once, the lossiest speaks for them.
        lossiest = met.take(lossiest_of(met.loss_db[kept], starts, kept)) if len(starts) else met
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
        self.count(len(line.origins))
        rays: list[Ints] = []
        members: list[Ints] = []
        for met in tracer.rounds(line.origins, line.directions, line.lengths, _BOX_STEP):
            ray, member = met.ray, parts.take(met.triangle)
            if met.before is not None:  # most go in by one face and out by the next
                other = (member != parts.take(met.before[0])).nonzero()[0]
                ray, member = ray.take(other), member.take(other)
            if len(ray):
                rays.append(ray.astype(np.int32))
                members.append(member - np.int32(first))
        if not rays:
            return np.zeros(0, np.int32), np.zeros(0, np.int32)
        every, which = np.concatenate(rays), np.concatenate(members)
        if len(rays) > 2:  # one member may have been met again after another
            pairs = np.unique(every.astype(np.int64) * self.building.n_parts + which)
            every, which = (some.astype(np.int32) for some in np.divmod(pairs, self.building.n_parts))
        return every, which

    def _chords(self, line: Segments, ray: Ints, box: Ints) -> tuple[Floats, Floats, Floats]:
        """Distances (m) at which rays enter and leave boxes, and the cosine of incidence on entering."""
        frames = self._box_frames.take(box, axis=1)
        cos, sin, half = frames[3], frames[4], frames[5:]
        start, along = (
            _turned_back(v, cos, sin)
            for v in (rows(line.origins, ray).T + frames[:3], rows(line.directions, ray).T.astype(float))
        )
        with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
            one, two = (-half - start) / along, (half - start) / along
        near, far = np.minimum(one, two), np.maximum(one, two)
        if not along.all():
            outside = np.abs(start) > half
            near = np.where(along == 0, np.where(outside, np.inf, -np.inf), near)
            far = np.where(along == 0, np.where(outside, -np.inf, np.inf), far)
        last = np.maximum(np.maximum(near[0], near[1]), near[2])
        through = np.where(near[0] == last, along[0], np.where(near[1] == last, along[1], along[2]))
        leave = np.minimum(np.minimum(far[0], far[1]), far[2])
        return np.maximum(last, 0), np.minimum(leave, line.lengths.take(ray)), np.abs(through)

    @cached_property
    def _box_frames(self) -> Floats:
        """Of each box a column (8, n): how far (m) the scene's centre lies from its own, the cosine and sine of its
        turn, and half its sides (m)."""
        boxes = self.building.boxes
        turn = np.array([np.cos(boxes.turn_rad), np.sin(boxes.turn_rad)])
        return np.concatenate([self._centre[:, None] - boxes.centre.T, turn, boxes.size.T / 2])


def _turned_back(vectors: Floats, cos: Floats, sin: Floats) -> Floats:
    """Vectors (3, n) of the scene in the frames of boxes turned by angles of cosines and sines (n,)."""
    x, y, z = vectors
    return np.stack([x * cos + y * sin, y * cos - x * sin, z])

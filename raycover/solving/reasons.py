"""Why nobody is noticed where nobody is: cause, nearest detector and gap of every missed cell.

Worked out when first asked for: the margins are what `solve` casts, this is a question about them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from raycover.content import digest
from raycover.detectors import Unit
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.casting import BLOCKED, MATERIAL_LOSS, Judgement, Weather, judge, potential_db
from raycover.solving.gaps import Gap, find_gaps, label_gaps
from raycover.solving.kept.answers import kept, of_surface, of_units, worth
from raycover.solving.kept.digests import physics
from raycover.solving.kept.store import Arrays, active
from raycover.solving.surfaces import Surface

#: This many nearest detectors are asked which would come closest to seeing a cell that none nearly sees.
_ASKED = 4
Index = NDArray[np.intp]


@dataclass(frozen=True)
class Reasons:
    """(ny, nx) rasters, −1 outside: `cause` codes as `casting.CAUSES`, `nearest` detector; `label` of the gap
    a cell belongs to, 0 none; and the gaps, largest first."""

    cause: NDArray[np.int8]
    nearest: NDArray[np.int32]
    label: NDArray[np.int32]
    gaps: tuple[Gap, ...]


@dataclass(frozen=True)
class Explainer:
    """Detectors and what stands between, kept by a coverage to answer why."""

    units: tuple[Unit, ...]
    rays: RayScene
    weather: Weather
    doubtful_db: float

    def explain(self, surface: Surface, margin_db: NDArray[np.float32], best: NDArray[np.int32]) -> Reasons:
        """Reasons on a surface, from its best margins and the detectors that gave them (−1 none)."""
        missed = surface.inside & (margin_db < 0)
        cause = np.where(surface.inside, 0, -1).astype(np.int8)
        nearest = best.copy()
        blocker = np.full(surface.shape, -1, np.int32)
        half = np.zeros(surface.shape, np.int32)
        rows, columns = np.nonzero(missed)
        if len(rows) and self.units:
            found = self._found(surface, rows, columns, margin_db, best)
            for raster, name in ((cause, "cause"), (nearest, "nearest"), (blocker, "blocker"), (half, "half")):
                raster[rows, columns] = found[name]
        elif len(rows):
            cause[rows, columns] = 1  # no detector at all: out of reach of any
        labels, n = label_gaps(surface, missed)
        building = self.rays.building
        owners, owner_of = building.owners
        owner_of = np.append(owner_of, -1)  # the last answers for −1, nothing in the way
        blocking: NDArray[np.int32] = owner_of[blocker].astype(np.int32)
        # Gaps name parts: each detector's first, and behind them all the second ones.
        parts = [unit.parts[0] for unit in self.units] + [unit.parts[-1] for unit in self.units]
        names = tuple(part.tag for part in parts)
        halves = tuple(part.kind if part.housing else None for part in parts)
        part_of = np.where(nearest >= 0, nearest + len(self.units) * half, nearest)
        hiding = (BLOCKED, MATERIAL_LOSS)
        gaps = find_gaps(surface, labels, n, cause, blocking, part_of, owners, names, hiding, halves)
        return Reasons(cause, nearest, labels, tuple(gaps))

    def _found(
        self, surface: Surface, rows: Index, columns: Index, margin_db: NDArray[np.float32], best: NDArray[np.int32]
    ) -> Arrays:
        """Of missed cells (n,) the `cause`, the `nearest` detector, what part is the `blocker`, and which `half`."""

        def work() -> Arrays:
            chosen = self._nearest(surface, rows, columns, margin_db, best)
            cause, half = np.zeros((2, len(rows)), np.int8)
            blocker = np.full(len(rows), -1, np.int32)
            for u, mine in _each(chosen):
                judged = self._judge(self.units[u], surface, rows[mine], columns[mine])
                cause[mine], blocker[mine], half[mine] = judged.cause, judged.blocker, judged.half
            return {"cause": cause, "nearest": chosen, "blocker": blocker, "half": half}

        parts = [part for unit in self.units for part in unit.parts]
        if active() is None or not any(worth(part, self.weather, len(rows)) for part in parts):
            return work()
        return kept(
            digest(
                physics(), "reasons", of_units(self.units, self.rays, self.weather), self.doubtful_db,
                of_surface(surface), surface.room, surface.room_names, surface.storey, self.rays.building.storeys,
                margin_db, best,
            ),
            self.rays, work,
        )  # fmt: skip

    def _nearest(
        self,
        surface: Surface,
        rows: Index,
        columns: Index,
        margin_db: NDArray[np.float32],
        best: NDArray[np.int32],
    ) -> NDArray[np.int32]:
        """The detector (n,) nearest to seeing each missed cell.

        The one with the highest margin where that is within `doubtful_db` of the limit; elsewhere the one
        that distance alone would let see best, of the same room where it has any.
        """
        chosen = best[rows, columns].copy()
        lost = np.flatnonzero((chosen < 0) | (margin_db[rows, columns] < -self.doubtful_db))
        members = self._units_by_room(surface)
        room = surface.room[rows[lost], columns[lost]]
        for r in np.unique(room):
            mine = lost[room == r]
            chosen[mine] = self._closest(surface, members[int(r)], rows[mine], columns[mine])
        return chosen

    def _units_by_room(self, surface: Surface) -> list[NDArray[np.int32]]:
        """For each room of a surface, the detectors that hang in it; else those of its storey, else all."""
        building = self.rays.building
        everyone = np.arange(len(self.units), dtype=np.int32)
        home = building.rooms_at(np.array([u.position for u in self.units]))
        index = {room.name: i for i, room in enumerate(building.rooms)}
        members = [everyone[home == index.get(name, -2)] for name in surface.room_names]
        storey = next((s.rooms for s in building.storeys if s.name == surface.storey), ())
        beside = everyone[np.isin(home, storey)]
        otherwise = beside if len(beside) else everyone
        return [mine if len(mine) else otherwise for mine in members]

    def _closest(self, surface: Surface, among: NDArray[np.int32], rows: Index, columns: Index) -> NDArray[np.int32]:
        """Of the few nearest among some detectors, the one that distance alone would let see best."""
        points = surface.points(rows, columns, float(np.median(surface.heights)))
        n_asked = min(_ASKED, len(among))
        _, near = cKDTree(np.array([self.units[u].position for u in among])).query(points, k=n_asked)
        near = among[near.reshape(len(points), n_asked)]
        score = np.full(near.shape, -np.inf)
        for u, where in _each(near):
            potential = potential_db(self.units[u], points[where // n_asked], surface.motion, surface.target_m2)
            score.reshape(-1)[where] = potential
        return near[np.arange(len(points)), score.argmax(axis=1)].astype(np.int32)

    def _judge(self, unit: Unit, surface: Surface, rows: Index, columns: Index) -> Judgement:
        """How a detector misses cells; a person is judged at the height that it comes nearest to seeing."""
        n, heights = len(rows), surface.heights
        judged = judge(
            unit,
            np.concatenate([surface.points(rows, columns, height) for height in heights]),
            surface.motion,
            self.rays,
            self.weather,
            lifted=np.repeat([height < LIFT for height in heights], n),
            target_m2=surface.target_m2,
            people=np.tile(np.arange(n), len(heights)),
        )
        if len(heights) == 1:
            return judged
        # Any finite margin is nearer than none; among none, what distance alone would give decides.
        score = np.where(np.isfinite(judged.margin_db), judged.margin_db, judged.potential_db - 1e3)
        pick = np.arange(n) + n * score.reshape(len(heights), n).argmax(axis=0)
        return Judgement(*(getattr(judged, f)[pick] for f in Judgement.__dataclass_fields__))


def _each(values: NDArray[np.integer]) -> Iterator[tuple[int, Index]]:
    """Each value that there is, lowest first, and where it stands, in order and as in one row.

    One sort for all: looking through all cells for every detector would take the square of a building's size.
    """
    row = values.reshape(-1)
    order = np.argsort(row, kind="stable")
    found, starts = np.unique(row[order], return_index=True)
    yield from zip(found.tolist(), np.split(order, starts[1:]), strict=True)

"""Two small plans of what a remedy does to a need: its places as they stand, and as they would be."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from raycover.draw.mending_panel import DrawPlan, SmallPlans
from raycover.draw.page import Box, Page
from raycover.draw.projection import Projection
from raycover.draw.proof_groups import Group, Solved, coverage_of, planes_of
from raycover.draw.proof_panels import Shown, draw_plan_panel, draw_unrolled
from raycover.draw.unrolled import runs_of
from raycover.proving.mending import Mend, Mending, verdict_then
from raycover.proving.needs import NeedVerdict, PlaceVerdict, Proof

#: What lies so far (m) around the rooms and places concerned is shown, too.
_AROUND = 0.6
#: How low and high (mm) a small plan may be.
_LOWEST, _HIGHEST = 24.0, 52.0
#: How high (mm) a run of an unrolled stair is.
_A_RUN = 30.0


@dataclass(frozen=True)
class NowAndThen:
    """A need as it stands and as it would be with a remedy; the plans show the storey or stair of its first miss."""

    now: NeedVerdict
    mend: Mend

    @cached_property
    def then(self) -> NeedVerdict:
        return verdict_then(self.now, self.mend)

    def plans(self, solved: Solved, *, dpi: float) -> SmallPlans:
        """What draws the two plans; maps are solved when first drawn and kept in `solved`."""

        def plan(verdict: NeedVerdict) -> DrawPlan:
            return lambda page, box: self._draw(page, box, verdict, solved, dpi)

        return SmallPlans(plan(self.now), plan(self.then), self.height)

    def height(self, width: float) -> float:
        """How high (mm) a plan so wide (mm) is, within bounds that a column of words can take."""
        if self._stairs is not None:
            building = self.now.situation.building
            shape = next(s for s in building.stairs if s.name == self._stairs)
            return min(_A_RUN * len(runs_of(shape, self.now.situation.scene.grid)), _HIGHEST)
        x0, y0, x1, y1 = self._bounds(self._shown(self.now))
        return float(np.clip(width * (y1 - y0) / (x1 - x0) + 2.0, _LOWEST, _HIGHEST))

    @property
    def _first(self) -> PlaceVerdict:
        """The first miss that is mended, or else the first."""
        mended = {place.site.name for place in self.then.places if place.met}
        missed = [place for place in self.now.places if not place.met]
        return next((place for place in missed if place.site.name in mended), missed[0])

    @property
    def _stairs(self) -> str | None:
        first = self._first.site
        return first.owner if first.piece >= 0 else None

    def _shown(self, verdict: NeedVerdict) -> tuple[Shown, ...]:
        """Places on the storey, or the stair, of the first miss."""
        first, stairs = self._first.site, self._stairs
        return tuple(
            Shown(verdict, place)
            for place in verdict.places
            if place.site.storey == first.storey and (place.site.piece >= 0) == (stairs is not None)
            and (stairs is None or place.site.owner == stairs)
        )  # fmt: skip

    def _draw(self, page: Page, box: Box, verdict: NeedVerdict, solved: Solved, dpi: float) -> None:
        first, stairs, shown = self._first.site, self._stairs, self._shown(verdict)
        group = Group(verdict.situation, first.heights, first.motion, first.target_m2, stairs, (first.storey,), shown)
        coverage = coverage_of(group, solved)
        plane = planes_of(group, coverage)[0]
        building = verdict.situation.building
        if stairs is not None:
            shape = next(s for s in building.stairs if s.name == stairs)
            draw_unrolled(page, building, coverage, plane, shape, shown, box, dpi=dpi)
            return
        projection = Projection.fitted(self._bounds(shown), box, clear=1.0)
        draw_plan_panel(page, building, coverage, plane, shown, projection, dpi=dpi, names=False)

    def _bounds(self, shown: tuple[Shown, ...]) -> Box:
        """Rooms of the unit and of what was missed, in plan (m)."""
        building = self.now.situation.building
        missed = {place.site.name for place in self.now.places if not place.met}
        outlines = [one.place.site.outline for one in shown if one.place.site.name in missed]
        spots = [unit.position for unit in (*self.now.situation.units, *self.then.situation.units)
                 if unit.name in {change.unit for change in self.mend.changes}]  # fmt: skip
        rooms = [building.room_at(float(x), float(y), float(z)) for x, y, z in spots]
        shapes = [*outlines, *(room.polygon for room in rooms if room is not None)]
        shapes += [shapely.Point(spot[:2]) for spot in spots]
        x0, y0, x1, y1 = (float(v) for v in shapely.total_bounds(shapes))
        return x0 - _AROUND, y0 - _AROUND, x1 + _AROUND, y1 + _AROUND


def now_and_then(proof: Proof, mending: Mending) -> NowAndThen | None:
    """What the best remedy of a need does, where one was found that helps."""
    if mending.best is None:
        return None
    now = next(v for v in proof.needs if v.need.name == mending.need and not v.need.never)
    return NowAndThen(now, mending.best)

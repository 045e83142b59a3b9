"""What stands in the window's 3D part: groups of actors by name, each taken away and put back as a whole."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.lobes import Lobe, make_lobe
from raycover.building.parts import Building
from raycover.draw import palette
from raycover.draw.view3d import stage
from raycover.draw.view3d.camera import View, long_side_deg
from raycover.draw.view3d.cutaway import Cuts
from raycover.draw.view3d.floor_map import make_map, map_level_m, shifted
from raycover.draw.view3d.laying import (
    ceiling_over,
    home_of,
    moved_lobe,
    representative,
    shifted_seats,
    slab_of,
    through_walls,
)
from raycover.draw.view3d.people import seated_figures
from raycover.draw.view3d.solids import Drawn, outlines_under
from raycover.draw.view3d.stair_bodies import stair_map
from raycover.draw.view3d.tray_bodies import draw_trays
from raycover.draw.view3d.trays import Tray, lifts, trays_of
from raycover.draw.view3d.window.picking import Target
from raycover.draw.view3d.window.state import State
from raycover.draw.view3d.window.verdict import FAILS, REACHES
from raycover.editing.live import LiveCoverage
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.underlay import Underlay

Floats = NDArray[np.floating[Any]]

#: Without one chosen, the lobes of this many representative detectors are shown.
_MOST_LOBES = 4
#: Longest side of the map's picture (px), and while something is dragged: it is drawn anew at every step then.
_MAP_PX, _DRAFT_PX = 1200, 560
_OBLIQUE_DEG = 38.0


class Scenery:
    """Actors of the 3D part. `coverage` is what they show; `targets` are the maps, to be clicked."""

    def __init__(self, pyvista: Any, plotter: Any, live: LiveCoverage, state: State, underlay: Underlay | None) -> None:
        self.pyvista, self.plotter, self.live, self.state, self.underlay = pyvista, plotter, live, state, underlay
        self.coverage: Coverage = live.coverage(state.look)
        self.targets: list[Target] = []
        #: Pixels a point of lines and dots; `draw` again after a change.
        self.scale = 0.0
        self._actors: dict[str, list[Any]] = {}
        self._lobes: dict[tuple[str, str], tuple[Any, Any, Lobe]] = {}
        self._drawn: dict[tuple[Any, ...], Drawn] = {}
        self._standing: tuple[Drawn, float] | None = None
        self._lifted: tuple[tuple[Any, ...], Floats] | None = None
        #: Names of rooms, and the surfaces that they were looked for on.
        self.named: tuple[list[Any], list[Any]] | None = None
        self.trays: tuple[Tray, ...] = ()
        self.moved: Floats = np.zeros((0, 3))
        self._lay()

    # What is shown.

    @property
    def building(self) -> Building:
        return self.live.building

    @property
    def planes(self) -> tuple[PlaneCoverage, ...]:
        """The maps, on all storeys and stairs."""
        return tuple(self.coverage.values())

    @property
    def shifts(self) -> Floats:
        """How far (n, 3) each detector, on or off, is moved with its storey."""
        return np.asarray(self.moved[home_of(self.trays, self.building, self.live.units)])

    def shift_at(self, level: float) -> Floats:
        """How far (3,) what stands on the ground at a level (m) is moved."""
        under = [k for k, tray in enumerate(self.trays) if tray.level <= level + 0.06]
        return np.asarray(self.moved[under[-1] if under else 0])

    @property
    def tops(self) -> Floats:
        """Where detectors (n, 3), on or off, are drawn."""
        return np.array([u.position for u in self.live.units]).reshape(-1, 3) + self.shifts

    @property
    def area(self) -> Any:
        return shapely.union_all([tray.area for tray in self.trays])

    @property
    def oblique(self) -> View:
        return View(long_side_deg(self.area) - 64, _OBLIQUE_DEG)

    @property
    def points(self) -> Floats:
        """What the eye should see of it all (n, 3)."""
        return np.concatenate([self._solids().points, self.tops])

    def margins(self, plane: PlaneCoverage) -> NDArray[np.float32]:
        """Margins on a map: of all detectors, or of the chosen one alone."""
        chosen, on = self.state.detector, self.live.on
        if not self.state.alone or chosen is None or chosen not in on:
            return plane.margin_db
        alone = np.where(plane.surface.inside, -np.inf, np.nan).astype(np.float32)
        patch = plane.patches[on.index(chosen)]
        if patch is not None:
            inside = plane.surface.inside[patch.window]
            alone[patch.window][inside] = patch.margin_db[inside]
        return alone

    # Drawing.

    def solve(self) -> None:
        """Take up what has been edited. Raises InputError where that cannot be mapped."""
        self.coverage = self.live.coverage(self.state.look)
        self._lay()

    def draw(self) -> None:
        """Everything anew, at its best."""
        self.solids()
        self.map()
        self.lobes()
        self.marks()

    def draw_draft(self) -> None:
        """What moves with a dragged detector, coarser."""
        self.map(draft=True)
        self._take_away("lobes")
        self.marks()

    def put(self, group: str, actors: list[Any]) -> None:
        """Put actors in the place of a group's."""
        self._take_away(group)
        self._actors[group] = actors

    def _take_away(self, group: str) -> None:
        for actor in self._actors.pop(group, []):
            self.plotter.remove_actor(actor, reset_camera=False, render=False)

    def _lay(self) -> None:
        self.trays = trays_of(self.building, self.coverage, tuple(self.coverage))
        key = (self.building, *(tray.area.wkb for tray in self.trays))
        if self._lifted is None or self._lifted[0][0] is not key[0] or self._lifted[0][1:] != key[1:]:
            self._lifted = key, lifts(self.trays, self.oblique, slab_of(self.trays))
        self.moved = self._lifted[1]

    def _solids(self) -> Drawn:
        key = (id(self.building), *(tray.area.wkb for tray in self.trays), self.state.low_walls)
        if key not in self._drawn:
            if len(self._drawn) > 8:
                self._drawn.clear()
            cuts = Cuts.for_area(self.area, max((r.height for r in self.building.rooms), default=3.0))
            slab = slab_of(self.trays)
            self._drawn[key] = draw_trays(self.trays, self.moved, None, cuts, slab_m=slab, low=self.state.low_walls)
        return self._drawn[key]

    def solids(self) -> None:
        pyvista, plotter, drawn = self.pyvista, self.plotter, self._solids()
        if self._standing is None or self._standing[0] is not drawn or self._standing[1] != self.scale:
            self._standing = drawn, self.scale
            actors = stage.add_solids(pyvista, plotter, drawn, line_px=1.0 * self.scale, ghosts=stage.FAINT_GHOSTS)
            glass = stage.add_glass(pyvista, plotter, drawn)
            self.put("solids", [*actors, *([glass] if glass is not None else [])])
        figures = seated_figures(shifted_seats(self.coverage, self.trays, self.moved))
        seated = [
            stage.add_people(pyvista, plotter, some, colour=colour)
            for some, colour in zip(figures, (stage.PEOPLE, stage.UNNOTICED), strict=True)
        ]
        self.put("people", [actor for actor in seated if actor is not None])

    def map(self, *, draft: bool = False) -> None:
        x0, y0, x1, y1 = self.area.bounds
        span = max(x1 - x0, y1 - y0)
        px_per_m, hatch_m, hatched = (_DRAFT_PX if draft else _MAP_PX) / span, span / 110, self.state.hatched
        actors: list[Any] = []
        covered: list[Floats] = []
        targets: list[Target] = []
        for tray, by in zip(self.trays, self.moved, strict=True):
            floor = make_map(
                tray.plane, tray.building, px_per_m=px_per_m, hatch_m=hatch_m, margin_db=self.margins(tray.plane),
                hatched=hatched, underlay=None if draft else self.underlay,
            )  # fmt: skip
            shown = [(tray.plane, floor)]
            shown += [
                (r.plane, stair_map(
                    r.plane, r.stairs, r.run, px_per_m=px_per_m, hatch_m=hatch_m, margin_db=self.margins(r.plane),
                    hatched=hatched,
                ))
                for r in tray.runs if r.plane is not None
            ]  # fmt: skip
            for plane, some in shown:
                lying = shifted(some, by)
                actors += stage.add_map(
                    self.pyvista, self.plotter, lying, line_px=1.2 * self.scale, limits=self.state.hatched and not draft
                )
                corners = np.concatenate([sheet.triangles for sheet in lying.sheets])
                targets.append(Target(plane.surface, corners, by))
            covered.append(outlines_under(tray.building, map_level_m(tray.plane)) + by)
        actors += stage.add_covered(self.pyvista, self.plotter, np.concatenate(covered), line_px=1.0 * self.scale)
        self.targets = targets
        self.put("map", actors)

    def lobes(self) -> None:
        self._take_away("lobes")
        on, chosen = self.live.on, self.state.detector
        if not self.state.lobes:
            return
        if chosen is not None:
            wanted = [chosen] if chosen in on else []
        else:
            units = self.coverage.units
            wanted = [on[units.index(u)] for u in representative(units, self.planes, _MOST_LOBES)]
        actors: list[Any] = []
        for index in wanted:
            lobe = self._lobe(index)
            actors += stage.add_lobe(
                self.pyvista, self.plotter, moved_lobe(lobe, self.shifts[index]), line_px=1.0 * self.scale,
                through=through_walls(lobe, self.building, self.live.units[index].kind),
            )  # fmt: skip
        self._actors["lobes"] = actors

    def _lobe(self, index: int) -> Lobe:
        unit, rays, motion = self.live.units[index], self.live.rays, self.planes[0].surface.motion
        known = self._lobes.get((unit.name, motion))
        if known is None or known[0] is not unit or known[1] is not rays or known[2] is None:
            top = ceiling_over(unit, self.building)
            lobe = make_lobe(unit, rays, self.live.weather, motion=motion, below_m=top)
            self._lobes[unit.name, motion] = known = unit, rays, lobe
        return known[2]

    def marks(self) -> None:
        self._take_away("marks")
        units = self.live.units
        if not self.state.marks or not units:
            return
        tops = self.tops
        down = np.array([u.mounting for u in units]) - map_level_m(self.planes[0])
        feet = tops - np.column_stack([np.zeros((len(tops), 2)), np.maximum(down, 0.0)])
        dot = float(np.hypot(*np.ptp(np.array(self.area.bounds).reshape(2, 2), axis=0))) / 420
        on = np.isin(np.arange(len(units)), self.live.on)
        self._actors["marks"] = [
            *stage.add_drops(self.pyvista, self.plotter, tops[on], feet[on], dot, line_px=1.2 * self.scale),
            *stage.add_dots(self.pyvista, self.plotter, tops, on, chosen=self.state.detector, scale=self.scale),
        ]

    def rays(self, reach: Floats, fail: Floats, dots: Floats, goals: Floats) -> None:
        """Lines of sight (n, 2, 3) that reach and that don't, dots at what they meet and where they end."""
        pyvista, plotter = self.pyvista, self.plotter
        actors = stage.add_ways(pyvista, plotter, reach, REACHES, line_px=2.2 * self.scale)
        actors += stage.add_ways(pyvista, plotter, fail, FAILS, line_px=1.6 * self.scale)
        ends = [*stage.add_points(pyvista, plotter, dots, palette.INK, 8 * self.scale)]
        ends += stage.add_points(pyvista, plotter, goals, palette.INK, 11 * self.scale)
        actors += [stage.before_all(actor) for actor in ends]
        self.put("rays", actors)

"""`draw_view`: the building cut open with the map on its plane, as a picture for a client."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from raycover.asking.lobes import Lobe, make_lobe
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw.footprints import outline, within
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.png import PNG_LEVEL, png_of
from raycover.draw.stair_cuts import arrival
from raycover.draw.stair_cuts import outline as outline_of
from raycover.draw.view3d import environment, stage
from raycover.draw.view3d.camera import Fit, Lens, View, choose_view, fit
from raycover.draw.view3d.cutaway import Cuts, screens, standing_things
from raycover.draw.view3d.floor_map import FloorMap, make_map, map_level_m, mapped_area, shifted
from raycover.draw.view3d.imported import imported_things
from raycover.draw.view3d.laying import (
    ceiling_over,
    home_of,
    moved_lobe,
    representative,
    seen_areas,
    shifted_seats,
    slab_of,
    through_walls,
)
from raycover.draw.view3d.people import figure, seated_figures, stand_people
from raycover.draw.view3d.solids import Drawn, outlines_under
from raycover.draw.view3d.stair_bodies import stair_map
from raycover.draw.view3d.still_page import VIEWPORT, draw_picture, draw_sheet, viewport_px
from raycover.draw.view3d.tray_bodies import draw_trays
from raycover.draw.view3d.trays import Tray, choose_tray_view, group_of, lifts, links, trays_of
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.underlay import read_underlay
from raycover.whole_file import write_whole

Floats = NDArray[np.floating[Any]]

#: Rendered this many times larger than shown, then brought down.
_FINER = 2
#: Footprints of more units than this are a tangle: none is drawn then.
_MOST_FOOTPRINTS = 24
#: People stand no nearer (m) to an eye.
_NEAREST_PERSON_M = 4.0
#: Nothing is so high (m): what is cut there stays whole.
_WHOLE_M = 1e4
#: Things taller than this (m) hide no more when a view is chosen: they are cut down anyway.
_TALLEST_M = 6.0
#: Ambient occlusion darkens everything by this much at the least; measured.
_SSAO_DARKENS = 0.952


@dataclass(frozen=True)
class Shot:
    """How a still is taken, where that is said: in parallel projection from the best of some `views`, or from an `eye`
    (3,).

    `target` (3,) is the middle of the picture, `parallel_m` its height; `walls` and `things` (m over the floor) where
    these are cut off; `lobes` the names of detectors whose fields are shown, None for a few that are chosen.
    """

    views: tuple[View, ...] = ()
    eye: Floats | None = None
    target: Floats | None = None
    fov_deg: float = 50.0
    parallel_m: float | None = None
    walls: float | None = None
    things: float | None = None
    lobes: tuple[str, ...] | None = None
    detectors: bool = True
    people: bool = True

    def cuts(self, cuts: Cuts, *, inside: bool) -> Cuts | None:
        """Cuts for everything alike, where heights are said or the eye is `inside`; None: as suits the view."""
        if self.walls is None and self.things is None and not inside:
            return None
        walls = self.walls if self.walls is not None else _WHOLE_M if inside else cuts.high
        things = self.things if self.things is not None else _WHOLE_M
        return Cuts(walls, walls, walls, things)


AS_SUITS = Shot()


@dataclass(frozen=True)
class Laid:
    """A storey's map where the picture shows it: moved by `offset` (3,)."""

    plane: PlaneCoverage
    floor_map: FloorMap
    offset: Floats


@dataclass(frozen=True)
class Composed:
    """Everything that a still shows, decided before anything is drawn.

    `tops` and `feet` (n, 3) are where detectors and the points below them are shown; `planes` the maps shown, of
    which `laid` lie on storeys and `stair_maps` on stairs; `links` (n, 2, 3) join storeys that are pulled apart.
    `through`: which triangles of each lobe lie beyond a wall; `hidden` (n,): detectors that the eye cannot see.
    """

    plane_name: str
    planes: tuple[PlaneCoverage, ...]
    laid: tuple[Laid, ...]
    stair_maps: tuple[FloorMap, ...]
    drawn: Drawn
    placed: Fit
    units: tuple[Unit, ...]
    tops: Floats
    feet: Floats
    lobes: tuple[Lobe, ...]
    figures: tuple[Floats, ...]
    dashes: Floats
    covered: Floats
    links: Floats
    unnoticed: tuple[Floats, ...] = ()
    through: tuple[NDArray[np.bool_], ...] = ()
    hidden: NDArray[np.bool_] | None = None

    @property
    def plane(self) -> PlaneCoverage:
        return self.planes[0]

    @property
    def laid_planes(self) -> tuple[PlaneCoverage, ...]:
        return tuple(laid.plane for laid in self.laid)

    @property
    def maps(self) -> tuple[FloorMap, ...]:
        return (*(laid.floor_map for laid in self.laid), *self.stair_maps)

    @property
    def shell_opacity(self) -> float:
        """Shells over much of the map are fainter, so that its colours still show: hardly more than their ribs where
        they fill the picture, as in a small room."""
        every = self.planes[0].explainer.units
        seen = dict(zip((u.name for u in every), seen_areas(self.planes), strict=True))
        whole = sum(plane.area_m2 for plane in self.planes)
        share = sum(seen[lobe.name] for lobe in self.lobes) / max(whole, 1e-9)
        return float(np.clip(0.24 - 0.18 * share, 0.06, 0.22))

    @property
    def points(self) -> Floats:
        """(n, 3): everything in the picture."""
        lobes = [lobe.vertices[np.unique(lobe.triangles)] for lobe in self.lobes if len(lobe.triangles)]
        sheets = [sheet.triangles.reshape(-1, 3) for some in self.maps for sheet in some.sheets]
        return np.concatenate([self.drawn.points, self.tops, self.feet, *lobes, *sheets])


def draw_view(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    path: str | Path,
    *,
    plane_name: str | None = None,
    rays: RayScene | None = None,
    wording: Wording = ENGLISH,
) -> None:
    """Draw a still of 1920 × 1080 pixels: the cutaway, the map on its plane, detectors, a few lobes.

    `plane_name` is the plane to map, the scene's first unless given, on all storeys and stairs together; `rays`
    saves making them again. The file appears whole or not at all. Raises MissingPart where 3D cannot be drawn,
    KeyError for an unknown plane, OSError where the file cannot be written.
    """
    pyvista = environment.load_for_pictures()
    name = next(iter(coverage.by_plane())) if plane_name is None else plane_name
    width, height = viewport_px()
    composed = compose(scene, building, coverage, name, rays, width, height)
    picture = render(pyvista, composed)
    save_still(draw_sheet(scene, coverage, composed, picture, wording=wording).pixels(), path)


def save_still(pixels: NDArray[np.uint8], path: str | Path) -> None:
    """Write a finished page (h, w, 3) as a PNG, whole or not at all."""
    data = io.BytesIO()
    Image.fromarray(pixels).save(data, "PNG", compress_level=PNG_LEVEL)
    write_whole(Path(path), data.getvalue())


def view_picture(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    *,
    plane_name: str | None = None,
    rays: RayScene | None = None,
    wording: Wording = ENGLISH,
) -> tuple[bytes, float]:
    """What `draw_view` shows without the page around it: a PNG with names only, and its width over height.

    Raises MissingPart where 3D cannot be drawn, KeyError for an unknown plane.
    """
    pyvista = environment.load_for_pictures()
    name = next(iter(coverage.by_plane())) if plane_name is None else plane_name
    composed = compose(scene, building, coverage, name, rays, *viewport_px())
    pixels, dpi = draw_picture(scene, composed, render(pyvista, composed), wording)
    return png_of(pixels, dpi=dpi), pixels.shape[1] / pixels.shape[0]


def compose(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    name: str,
    rays: RayScene | None,
    width: int,
    height: int,
    shot: Shot = AS_SUITS,
    *,
    view: View | None = None,
) -> Composed:
    """Choose the view (unless one is given), the cuts, the people and the lobes for a frame of width × height pixels.

    `name` is a plane of the scene, or one of its maps. From an eye one storey is seen: that of what it looks at.
    """
    shot = shot if view is None else replace(shot, views=(view,))
    names = group_of(coverage, name)
    if shot.eye is not None:
        names = _storey_seen(coverage, names, shot)
    planes = tuple(coverage[n] for n in names)
    trays = trays_of(building, coverage, names)
    area = shapely.union_all([tray.area for tray in trays])
    cuts = Cuts.for_area(area, max((r.height for r in building.rooms), default=3.0))
    slab = slab_of(trays)
    units = coverage.units if shot.detectors else ()
    if shot.eye is not None:
        units = _units_of(trays, building, units)
    home = home_of(trays, building, units)
    standing = [
        (t.footprint, min(t.top - t.bottom, _TALLEST_M))
        for tray in trays
        for t in (*standing_things(tray.building), *imported_things(tray.building))
    ]
    things = [(outline, tall) for outline, tall in standing if tall > cuts.things]
    things += [screen for tray in trays for screen in screens(tray.building, cuts.low)]
    corners = [_extremes(tray, cuts) for tray in trays]
    hung = np.array([u.position for u in units]).reshape(-1, 3)
    if shot.eye is not None and shot.target is not None:
        view = Lens.between(shot.eye, shot.target, shot.fov_deg, width, height).view
    elif len(shot.views) == 1:
        view = shot.views[0]
    elif len(trays) == 1:
        extremes = np.concatenate([*corners, hung])
        view = choose_view(area, _gathered(things), extremes, width / height, views=shot.views)
    else:
        with_units = [np.concatenate([some, hung[home == k]]) for k, some in enumerate(corners)]
        view = choose_tray_view(trays, _gathered(things), with_units, width / height, slab, shot.views)
    moved = lifts(trays, view, slab)
    by = moved[home] if len(units) else np.zeros((0, 3))
    tops = hung + by
    feet = np.concatenate([np.zeros((0, 3)), _feet(units, planes[0])]) + by
    inside = shot.eye is not None and building.room_at(*(float(v) for v in shot.eye)) is not None
    alike = shot.cuts(cuts, inside=inside)
    if alike is None:
        drawn = draw_trays(trays, moved, view, cuts, slab_m=slab)
    else:
        drawn = draw_trays(trays, moved, None, alike, slab_m=slab, low=True, roofed=inside and shot.walls is None)
    weather = Weather.of(scene)
    caster = RayScene(building) if rays is None else rays
    motion = planes[0].surface.motion
    lobes = tuple(
        moved_lobe(make_lobe(u, caster, weather, motion=motion, below_m=ceiling_over(u, building)), by[units.index(u)])
        for u in _shown_lobes(shot, units, coverage.units, planes, inside=inside)
    )
    shells = [lobe.vertices[np.unique(lobe.triangles)] for lobe in lobes if len(lobe.triangles)]
    shown = [some + shift for some, shift in zip(corners, moved, strict=True)]
    placed = _placed(shot, view, np.concatenate([drawn.points, *shown, tops, *shells]), width, height)
    underlay = read_underlay(scene)
    px_per_m, hatch_m = 0.85 * _FINER / placed.metres, float(9.5 * placed.metres)
    laid, stair_maps, figures, dashes, covered = [], [], [], [], []
    for k, (tray, shift) in enumerate(zip(trays, moved, strict=True)):
        floor_map = make_map(tray.plane, tray.building, px_per_m=px_per_m, hatch_m=hatch_m, underlay=underlay)
        laid.append(Laid(tray.plane, shifted(floor_map, shift), shift))
        stair_maps += [
            shifted(stair_map(r.plane, r.stairs, r.run, px_per_m=px_per_m, hatch_m=hatch_m), shift)
            for r in tray.runs
            if r.plane is not None
        ]
        mine = tuple(unit for unit, at in zip(units, home, strict=True) if at == k)
        if shot.people:
            seen = None if shot.eye is None else _in_sight(placed, shot.eye, caster if inside else None)
            figures += [f + shift for f in _people(tray, feet[home == k] if len(units) else feet, placed, seen)]
        if len(units) <= _MOST_FOOTPRINTS:
            dashes.append(_dashes(mine, tray.plane, tray.area, placed) + shift)
        covered.append(outlines_under(tray.building, map_level_m(tray.plane)) + shift)
    seated, unnoticed = seated_figures(shifted_seats(coverage, trays, moved))
    nothing = np.zeros((0, 2, 3))
    names_of = [unit.name for unit in units]
    return Composed(
        name, planes, tuple(laid), tuple(stair_maps), drawn, placed, units, tops, feet, lobes, (*figures, *seated),
        np.concatenate([nothing, *dashes]), np.concatenate([nothing, *covered]), links(trays, moved, view), unnoticed,
        tuple(
            through_walls(lobe, building, units[k].kind, by[k]) for lobe in lobes for k in [names_of.index(lobe.name)]
        ),
        _hidden(shot, caster, tops) if inside and alike is not None else None,
    )  # fmt: skip


def _storey_seen(coverage: Coverage, names: tuple[str, ...], shot: Shot) -> tuple[str, ...]:
    """The maps of the storey that an eye looks at: the highest whose floor lies below that."""
    flat = [name for name in names if coverage[name].surface.stairs is None]
    assert shot.target is not None
    z = float(shot.target[2]) + 0.1
    floors = {name: float(np.min(coverage[name].surface.floor)) for name in flat}
    under = [name for name in flat if floors[name] <= z] or [min(flat, key=lambda name: floors[name])]
    return (max(under, key=lambda name: floors[name]),)


def _units_of(trays: tuple[Tray, ...], building: Building, units: tuple[Unit, ...]) -> tuple[Unit, ...]:
    """The detectors that hang in what is shown."""
    rooms = {room.name for tray in trays for room in tray.building.rooms}
    home = building.rooms_at(np.array([u.position for u in units]).reshape(-1, 3))
    return tuple(unit for unit, room in zip(units, home, strict=True) if room < 0 or building.rooms[room].name in rooms)


def _shown_lobes(
    shot: Shot, units: tuple[Unit, ...], every: tuple[Unit, ...], planes: tuple[PlaneCoverage, ...], *, inside: bool
) -> list[Unit]:
    if shot.lobes is None and inside:
        return []  # from within, a shell is a veil over everything
    if shot.lobes is not None:
        return [unit for unit in units if unit.name in shot.lobes]
    # Planes count every detector of the scene, of which only some may be shown.
    return [unit for unit in representative(every, planes) if any(unit is one for one in units)]


def _placed(shot: Shot, view: View, points: Floats, width: int, height: int) -> Fit:
    """The view in its frame: as said, or with everything in it."""
    if shot.eye is not None and shot.target is not None and shot.parallel_m is None:
        return Lens.between(shot.eye, shot.target, shot.fov_deg, width, height)
    if shot.parallel_m is None:
        return fit(view, points, width, height, margin_px=14)
    middle = shot.target if shot.target is not None else (points.min(axis=0) + points.max(axis=0)) / 2
    return Fit(view, width, height, shot.parallel_m / height, view.project(middle))


def _hidden(shot: Shot, rays: RayScene, tops: Floats) -> NDArray[np.bool_] | None:
    """(n,) detectors that something stands before, seen from the eye."""
    if shot.eye is None or not len(tops):
        return None
    return np.asarray(rays.infrared_blocked(rays.segments(np.asarray(shot.eye, float), tops - [0.0, 0.0, 0.01])))


def _in_sight(placed: Fit, eye: Floats, rays: RayScene | None) -> Callable[[Floats], NDArray[np.bool_]]:
    """What says which places (n, 3) an eye sees a person at: in the frame, not too near, nothing before their waist."""

    def seen(places: Floats) -> NDArray[np.bool_]:
        waist = places + np.array([0.0, 0.0, 1.0])
        flat = placed.pixels(waist)
        ok = np.all((flat > 40) & (flat < np.array([placed.width, placed.height]) - 40), axis=1)
        ok &= np.linalg.norm(waist - eye, axis=1) > _NEAREST_PERSON_M
        if rays is not None and ok.any():
            ok[ok] = ~rays.infrared_blocked(rays.segments(np.asarray(eye, float), waist[ok]))
        return ok

    return seen


def _people(
    tray: Tray, feet: Floats, placed: Fit, seen: Callable[[Floats], NDArray[np.bool_]] | None = None
) -> list[Floats]:
    """Figures (n, 3, 3) on a storey's free floor, where they are `seen` if that is asked."""
    m2_each = max(18.0, (46 * placed.metres) ** 2)
    on_floor = map_level_m(tray.plane) < 0.3
    people = stand_people(
        tray.plane, tray.building, feet[:, :2], most=8 if on_floor else 3, m2_each=m2_each,
        apart_m=max(1.6, 85 * placed.metres), seen=seen,
    )  # fmt: skip
    return [figure(at, heading, left_foot_first=k % 2 == 0) for k, (at, heading) in enumerate(people)]


def render(pyvista: Any, composed: Composed, finer: int = _FINER) -> NDArray[np.uint8]:
    """The frame's pixels (h, w, 3): opaque things shaded by what stands near, lobes and glass over them.

    Rendered `finer` times larger than shown, then brought down.
    """
    placed = composed.placed
    size = (placed.width * finer, placed.height * finer)
    plotter = pyvista.Plotter(off_screen=True, window_size=size, lighting="none")
    # Every actor added would otherwise be worth a frame of its own.
    plotter.suppress_rendering = True
    try:
        plotter.render_window.SetMultiSamples(0)
        plotter.set_background("white")
        stage.light(pyvista, plotter, placed.view.toward, placed.view.right)
        stage.aim(plotter, placed, composed.points)
        line = 0.9 * finer
        for some in composed.maps:
            stage.add_map(pyvista, plotter, some, line_px=line)
        stage.add_solids(pyvista, plotter, composed.drawn, line_px=line)
        stage.add_people(pyvista, plotter, composed.figures)
        stage.add_people(pyvista, plotter, composed.unnoticed, colour=stage.UNNOTICED)
        stage.add_footprints(pyvista, plotter, composed.dashes, line_px=0.9 * finer)
        stage.add_covered(pyvista, plotter, composed.covered, line_px=0.9 * finer)
        stage.add_links(pyvista, plotter, composed.links, 5 * placed.metres, line_px=0.8 * finer)
        stage.add_drops(pyvista, plotter, composed.tops, composed.feet, 3.2 * placed.metres, line_px=0.85 * finer)
        plain = _shot(plotter)
        radius = float(np.clip(14 * placed.metres * 2, 0.12, 1.4))
        plotter.enable_ssao(radius=radius, bias=0.085 * radius, kernel_size=128, blur=True)
        shaded = _shot(plotter)
        plotter.disable_ssao()
        stage.add_glass(pyvista, plotter, composed.drawn)
        for lobe, beyond in zip(composed.lobes, composed.through, strict=True):
            stage.add_lobe(pyvista, plotter, lobe, line_px=0.6 * finer, opacity=composed.shell_opacity, through=beyond)
        if composed.lobes or not composed.drawn.glass.empty:
            plotter.enable_depth_peeling(8)
            final = _shot(plotter)
        else:
            final = plain
    finally:
        plotter.close()
    shade = np.clip((shaded + 1.0) / (plain + 1.0) / _SSAO_DARKENS, 0.0, 1.0)
    mixed = np.clip(final * shade, 0, 255).astype(np.uint8)
    small = Image.fromarray(mixed).resize((placed.width, placed.height), Image.Resampling.LANCZOS)
    return np.asarray(small)


def _shot(plotter: Any) -> NDArray[np.float32]:
    plotter.suppress_rendering = False
    # The first frame is what `show` draws; asked again it would lay out everything anew.
    if plotter.render_window.GetNeverRendered():
        plotter.show(auto_close=False, interactive=False)
    else:
        plotter.render()
    plotter.suppress_rendering = True
    return np.asarray(plotter.image, np.float32)[..., :3]


def _extremes(tray: Tray, cuts: Cuts) -> Floats:
    """Corners of the mapped area at the floor and at the height walls are cut, and of its stairs (n, 3)."""
    points = []
    for polygon, floor in mapped_area(tray.plane, tray.building):
        flat = shapely.get_coordinates(polygon)
        for z in (floor, floor + cuts.low, floor + map_level_m(tray.plane)):
            points.append(np.column_stack([flat, np.full(len(flat), z)]))
    for run in tray.runs:
        for strip in run.run.strips:
            flat = shapely.get_coordinates(outline_of(piece := run.stairs.pieces[strip.piece]))
            points.append(np.column_stack([flat, np.full(len(flat), arrival(piece))]))
    return np.concatenate(points)


def _feet(units: tuple[Unit, ...], plane: PlaneCoverage) -> Floats:
    """The points (n, 3) below detectors, on the map."""
    level = map_level_m(plane)
    return np.array(
        [[u.position[0], u.position[1], min(u.position[2] - u.mounting + level, u.position[2])] for u in units]
    ).reshape(-1, 3)


def _gathered(things: list[tuple[Any, float]], most: int = 300) -> list[tuple[Any, float]]:
    """The bulkiest things: enough to choose a view by."""
    return sorted(things, key=lambda thing: -thing[0].area * thing[1])[:most]


def _dashes(units: tuple[Unit, ...], plane: PlaneCoverage, area: Any, placed: Fit) -> Floats:
    """Dashes (n, 2, 3) along declared footprints within the mapped area, of a length on the picture."""
    level = map_level_m(plane)
    on, off = 7 * placed.metres * 1.2, 4.5 * placed.metres * 1.2
    found: list[Floats] = []
    for unit in units:
        z = float(unit.position[2] - unit.mounting + level)
        ring = outline(unit, plane.surface.motion, z)
        if ring is None:
            continue
        for line in within(ring, area.buffer(-0.02)):
            string = shapely.LineString(line)
            starts = np.arange(0.0, string.length, on + off)
            a = shapely.get_coordinates(shapely.line_interpolate_point(string, starts))
            b = shapely.get_coordinates(shapely.line_interpolate_point(string, np.minimum(starts + on, string.length)))
            pairs = np.stack([a, b], axis=1)
            found.append(np.concatenate([pairs, np.full((*pairs.shape[:2], 1), z + 0.012)], axis=-1))
    return np.concatenate(found) if found else np.zeros((0, 2, 3))


__all__ = ["VIEWPORT", "Composed", "compose", "draw_view", "render", "representative"]

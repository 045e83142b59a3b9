"""`draw_view`: the building cut open with the map on its plane, as a picture for a client."""

from __future__ import annotations

import io
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from raycover.building.parts import Building
from raycover.casting import Weather
from raycover.coverage import Coverage, PlaneCoverage
from raycover.detectors import Unit
from raycover.draw.footprints import outline, within
from raycover.draw.png import png_of, write_whole
from raycover.draw.stair_cuts import arrival
from raycover.draw.stair_cuts import outline as outline_of
from raycover.draw.view3d import environment, stage
from raycover.draw.view3d.camera import Fit, View, choose_view, fit
from raycover.draw.view3d.cutaway import Cuts, screens, standing_things
from raycover.draw.view3d.floor_map import FloorMap, make_map, map_level_m, mapped_area, shifted
from raycover.draw.view3d.imported import imported_things
from raycover.draw.view3d.people import figure, seated_figures, stand_people
from raycover.draw.view3d.solids import Drawn, outlines_under
from raycover.draw.view3d.stair_bodies import stair_map
from raycover.draw.view3d.still_page import SIZE_PX, VIEWPORT, draw_picture, draw_sheet, viewport_px
from raycover.draw.view3d.tray_bodies import draw_trays
from raycover.draw.view3d.trays import Tray, choose_tray_view, group_of, lifts, links, trays_of
from raycover.lobes import Lobe, make_lobe
from raycover.rays import RayScene
from raycover.scene.schema import Scene
from raycover.seats import SeatView
from raycover.underlay import read_underlay

Floats = NDArray[np.floating[Any]]

#: Rendered this many times larger than shown, then brought down.
_FINER = 2
#: Lobes shown at most; more would hide the map they explain.
_MOST_LOBES = 2
#: Footprints of more units than this are a tangle: none is drawn then.
_MOST_FOOTPRINTS = 24
#: Things taller than this (m) hide no more when a view is chosen: they are cut down anyway.
_TALLEST_M = 6.0
#: Ambient occlusion darkens everything by this much at the least; measured.
_SSAO_DARKENS = 0.952


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
        """Shells over much of the map are fainter, so that its colours still show."""
        seen = dict(zip((u.name for u in self.units), seen_areas(self.planes), strict=True))
        whole = sum(plane.area_m2 for plane in self.planes)
        share = sum(seen[lobe.name] for lobe in self.lobes) / max(whole, 1e-9)
        return float(np.clip(0.24 - 0.18 * share, 0.14, 0.22))

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
    page = draw_sheet(scene, coverage, composed, picture)
    image = Image.fromarray(page)
    assert image.size == SIZE_PX, f"the page came out {image.size}"
    data = io.BytesIO()
    image.save(data, "PNG", optimize=True)
    write_whole(Path(path), data.getvalue())


def view_picture(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    *,
    plane_name: str | None = None,
    rays: RayScene | None = None,
) -> tuple[bytes, float]:
    """What `draw_view` shows without the page around it: a PNG with names only, and its width over height.

    Raises MissingPart where 3D cannot be drawn, KeyError for an unknown plane.
    """
    pyvista = environment.load_for_pictures()
    name = next(iter(coverage.by_plane())) if plane_name is None else plane_name
    composed = compose(scene, building, coverage, name, rays, *viewport_px())
    pixels, dpi = draw_picture(scene, composed, render(pyvista, composed))
    return png_of(pixels, dpi=dpi), pixels.shape[1] / pixels.shape[0]


def compose(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    name: str,
    rays: RayScene | None,
    width: int,
    height: int,
    *,
    view: View | None = None,
) -> Composed:
    """Choose the view (unless one is given), the cuts, the people and the lobes for a frame of width × height pixels.

    `name` is a plane of the scene, or one of its maps.
    """
    names = group_of(coverage, name)
    planes = tuple(coverage[n] for n in names)
    trays = trays_of(building, coverage, names)
    area = shapely.union_all([tray.area for tray in trays])
    cuts = Cuts.for_area(area, max((r.height for r in building.rooms), default=3.0))
    slab = slab_of(trays)
    units = coverage.units
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
    if view is not None:
        pass
    elif len(trays) == 1:
        view = choose_view(area, _gathered(things), np.concatenate([*corners, hung]), width / height)
    else:
        with_units = [np.concatenate([some, hung[home == k]]) for k, some in enumerate(corners)]
        view = choose_tray_view(trays, _gathered(things), with_units, width / height, slab)
    moved = lifts(trays, view, slab)
    by = moved[home] if len(units) else np.zeros((0, 3))
    tops = hung + by
    feet = np.concatenate([np.zeros((0, 3)), _feet(units, planes[0])]) + by
    drawn = draw_trays(trays, moved, view, cuts, slab_m=slab)
    weather = Weather.of(scene.conditions)
    caster = RayScene(building) if rays is None else rays
    motion = planes[0].surface.motion
    lobes = tuple(
        moved_lobe(make_lobe(u, caster, weather, motion=motion, below_m=ceiling_over(u, building)), by[units.index(u)])
        for u in representative(units, planes)
    )
    shells = [lobe.vertices[np.unique(lobe.triangles)] for lobe in lobes if len(lobe.triangles)]
    shown = [some + shift for some, shift in zip(corners, moved, strict=True)]
    placed = fit(view, np.concatenate([drawn.points, *shown, tops, *shells]), width, height, margin_px=14)
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
        figures += [figure + shift for figure in _people(tray, feet[home == k] if len(units) else feet, placed)]
        if len(units) <= _MOST_FOOTPRINTS:
            dashes.append(_dashes(mine, tray.plane, tray.area, placed) + shift)
        covered.append(outlines_under(tray.building, map_level_m(tray.plane)) + shift)
    seated, unnoticed = seated_figures(shifted_seats(coverage, trays, moved))
    nothing = np.zeros((0, 2, 3))
    return Composed(
        name, planes, tuple(laid), tuple(stair_maps), drawn, placed, units, tops, feet, lobes, (*figures, *seated),
        np.concatenate([nothing, *dashes]), np.concatenate([nothing, *covered]), links(trays, moved, view), unnoticed,
    )  # fmt: skip


def slab_of(trays: tuple[Tray, ...]) -> float:
    """How thick (m) the edge of a floor is drawn."""
    area = shapely.union_all([tray.area for tray in trays]).area
    return float(np.clip(0.012 * np.sqrt(area), 0.06, 0.4))


def home_of(trays: tuple[Tray, ...], building: Building, units: tuple[Unit, ...]) -> NDArray[np.intp]:
    """The tray (n,) that each detector hangs in: that of its room, else the highest whose floor is below it."""
    if not units:
        return np.zeros(0, np.intp)
    rooms = building.rooms_at(np.array([u.position for u in units]))
    tray_of = {room.name: k for k, tray in enumerate(trays) for room in tray.building.rooms}
    found = []
    for unit, room in zip(units, rooms, strict=True):
        under = [k for k, tray in enumerate(trays) if tray.level <= float(unit.position[2]) + 1e-6]
        by_level = under[-1] if under else 0
        found.append(tray_of.get(building.rooms[room].name, by_level) if room >= 0 else by_level)
    return np.array(found, np.intp)


def shifted_seats(coverage: Coverage, trays: tuple[Tray, ...], moved: Floats) -> tuple[SeatView, ...]:
    """Seated people where the picture shows their storey."""
    found = []
    for seat in coverage.seats:
        under = [k for k, tray in enumerate(trays) if tray.level <= seat.at[2] + 0.06]
        x, y, z = (float(v) for v in np.asarray(seat.at) + moved[under[-1] if under else 0])
        found.append(replace(seat, at=(x, y, z)))
    return tuple(found)


def moved_lobe(lobe: Lobe, by: Floats) -> Lobe:
    """A lobe where the picture shows it."""
    if not by.any():
        return lobe
    ribs = tuple(rib + by for rib in lobe.ribs)
    return replace(lobe, position=lobe.position + by, vertices=lobe.vertices + by, ribs=ribs)


def _people(tray: Tray, feet: Floats, placed: Fit) -> list[Floats]:
    """Figures (n, 3, 3) on a storey's free floor."""
    m2_each = max(18.0, (46 * placed.metres) ** 2)
    on_floor = map_level_m(tray.plane) < 0.3
    people = stand_people(
        tray.plane, tray.building, feet[:, :2], most=8 if on_floor else 3, m2_each=m2_each,
        apart_m=max(1.6, 85 * placed.metres),
    )  # fmt: skip
    return [figure(at, heading, left_foot_first=k % 2 == 0) for k, (at, heading) in enumerate(people)]


def seen_areas(planes: tuple[PlaneCoverage, ...]) -> Floats:
    """What each detector sees of some maps together (n,), m²."""
    return np.sum([[area for area, _ in plane.detector_areas()] for plane in planes], axis=0)


def representative(
    units: tuple[Unit, ...], plane: PlaneCoverage | tuple[PlaneCoverage, ...], most: int = _MOST_LOBES
) -> list[Unit]:
    """A few units to show in 3D: different sorts first, that see much of the plane, far from each other."""
    seen = seen_areas(plane if isinstance(plane, tuple) else (plane,))
    sees = np.flatnonzero(seen > 0)
    if len(sees) <= most:
        return [units[k] for k in sees]
    places = np.array([u.position[:2] for u in units])
    best_of = {u.title: max(seen[k] for k in sees if units[k].title == u.title) for u in (units[k] for k in sees)}
    chosen = [int(sees[np.argmax(seen[sees])])]
    while len(chosen) < most:
        taken = {units[k].title for k in chosen}
        span = max(float(np.ptp(places, axis=0).max()), 1e-9)

        def worth(k: int, taken: set[str] = taken, span: float = span) -> float:
            apart = min(float(np.hypot(*(places[k] - places[c]))) for c in chosen) / span
            return 2.0 * (units[k].title not in taken) + seen[k] / best_of[units[k].title] + 2.0 * apart

        chosen.append(max((int(k) for k in sees if k not in chosen), key=worth))
    return [units[k] for k in sorted(chosen)]


def render(pyvista: Any, composed: Composed) -> NDArray[np.uint8]:
    """The frame's pixels (h, w, 3): opaque things shaded by what stands near, lobes and glass over them."""
    placed = composed.placed
    size = (placed.width * _FINER, placed.height * _FINER)
    plotter = pyvista.Plotter(off_screen=True, window_size=size, lighting="none")
    # Every actor added would otherwise be worth a frame of its own.
    plotter.suppress_rendering = True
    try:
        plotter.render_window.SetMultiSamples(0)
        plotter.set_background("white")
        stage.light(pyvista, plotter, placed.view.toward, placed.view.right)
        stage.aim(plotter, placed, composed.points)
        line = 0.9 * _FINER
        for some in composed.maps:
            stage.add_map(pyvista, plotter, some, line_px=line)
        stage.add_solids(pyvista, plotter, composed.drawn, line_px=line)
        stage.add_people(pyvista, plotter, composed.figures)
        stage.add_people(pyvista, plotter, composed.unnoticed, colour=stage.UNNOTICED)
        stage.add_footprints(pyvista, plotter, composed.dashes, line_px=0.9 * _FINER)
        stage.add_covered(pyvista, plotter, composed.covered, line_px=0.9 * _FINER)
        stage.add_links(pyvista, plotter, composed.links, 5 * placed.metres, line_px=0.8 * _FINER)
        stage.add_drops(pyvista, plotter, composed.tops, composed.feet, 3.2 * placed.metres, line_px=0.85 * _FINER)
        plain = _shot(plotter)
        radius = float(np.clip(14 * placed.metres * 2, 0.12, 1.4))
        plotter.enable_ssao(radius=radius, bias=0.085 * radius, kernel_size=128, blur=True)
        shaded = _shot(plotter)
        plotter.disable_ssao()
        stage.add_glass(pyvista, plotter, composed.drawn)
        for lobe in composed.lobes:
            stage.add_lobe(pyvista, plotter, lobe, line_px=0.6 * _FINER, opacity=composed.shell_opacity)
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


def ceiling_over(unit: Unit, building: Building) -> float:
    """Up to where a lobe is drawn: the ceiling, which a cutaway leaves out, or the unit itself where there is none."""
    room = building.room_at(*unit.position)
    if room is None:
        return float(unit.position[2])
    if room.tiles is not None and unit.position[2] <= room.floor + room.tiles + 1e-3:
        return room.floor + room.tiles
    return room.floor + room.height


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

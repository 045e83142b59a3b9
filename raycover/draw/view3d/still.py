"""`draw_view`: the building cut open with the map on its plane, as a picture for a client."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from raycover.building.parts import Building
from raycover.casting import Weather
from raycover.coverage import Coverage, PlaneCoverage
from raycover.detectors import Unit
from raycover.draw.footprints import outline, within
from raycover.draw.png import write_whole
from raycover.draw.view3d import environment, stage
from raycover.draw.view3d.camera import Fit, choose_view, fit
from raycover.draw.view3d.cutaway import Cuts, screens, standing_things
from raycover.draw.view3d.floor_map import FloorMap, make_map, map_level_m, mapped_area, whole_area
from raycover.draw.view3d.imported import imported_things
from raycover.draw.view3d.people import figure, seated_figures, stand_people
from raycover.draw.view3d.solids import Drawn, draw_solids, outlines_under
from raycover.draw.view3d.still_page import SIZE_PX, VIEWPORT, draw_sheet, viewport_px
from raycover.lobes import Lobe, make_lobe
from raycover.rays import RayScene
from raycover.scene.schema import Scene

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
class Composed:
    """Everything that a still shows, decided before anything is drawn."""

    plane: PlaneCoverage
    plane_name: str
    drawn: Drawn
    placed: Fit
    floor_map: FloorMap
    units: tuple[Unit, ...]
    feet: Floats
    lobes: tuple[Lobe, ...]
    figures: tuple[Floats, ...]
    dashes: Floats
    covered: Floats
    unnoticed: tuple[Floats, ...] = ()

    @property
    def tops(self) -> Floats:
        return np.array([u.position for u in self.units]).reshape(-1, 3)

    @property
    def shell_opacity(self) -> float:
        """Shells over much of the map are fainter, so that its colours still show."""
        seen = {u.name: area for u, (area, _) in zip(self.units, self.plane.detector_areas(), strict=True)}
        share = sum(seen[lobe.name] for lobe in self.lobes) / max(self.plane.area_m2, 1e-9)
        return float(np.clip(0.24 - 0.18 * share, 0.14, 0.22))

    @property
    def points(self) -> Floats:
        """(n, 3): everything in the picture."""
        lobes = [lobe.vertices[np.unique(lobe.triangles)] for lobe in self.lobes if len(lobe.triangles)]
        sheets = [sheet.triangles.reshape(-1, 3) for sheet in self.floor_map.sheets]
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

    `plane_name` is the plane to map, the scene's first unless given; `rays` saves making them again. The file
    appears whole or not at all. Raises MissingPart where 3D cannot be drawn, KeyError for an unknown plane,
    OSError where the file cannot be written.
    """
    pyvista = environment.load_for_pictures()
    name = next(iter(coverage)) if plane_name is None else plane_name
    width, height = viewport_px()
    composed = compose(scene, building, coverage, name, rays, width, height)
    picture = render(pyvista, composed)
    page = draw_sheet(scene, coverage, composed, picture)
    image = Image.fromarray(page)
    assert image.size == SIZE_PX, f"the page came out {image.size}"
    data = io.BytesIO()
    image.save(data, "PNG", optimize=True)
    write_whole(Path(path), data.getvalue())


def compose(
    scene: Scene, building: Building, coverage: Coverage, name: str, rays: RayScene | None, width: int, height: int
) -> Composed:
    """Choose the view, the cuts, the people and the lobes for a frame of width × height pixels."""
    plane = coverage[name]
    area = whole_area(plane, building)
    cuts = Cuts.for_area(area, max((r.height for r in building.rooms), default=3.0))
    units = coverage.units
    tops = np.array([u.position for u in units]).reshape(-1, 3)
    feet = _feet(units, plane, building)
    all_things = standing_things(building) + imported_things(building)
    standing = [(t.footprint, min(t.top - t.bottom, _TALLEST_M)) for t in all_things]
    things = [(outline, tall) for outline, tall in standing if tall > cuts.things]
    things += screens(building, cuts.low)
    corners = _extremes(plane, building, cuts)
    view = choose_view(area, _gathered(things), np.concatenate([corners, tops]), width / height)
    slab = float(np.clip(0.012 * np.sqrt(area.area), 0.06, 0.4))
    drawn = draw_solids(building, area, view, cuts, slab_m=slab)
    weather = Weather.of(scene.conditions)
    caster = RayScene(building) if rays is None else rays
    motion = plane.surface.motion
    lobes = tuple(
        make_lobe(u, caster, weather, motion=motion, below_m=ceiling_over(u, building))
        for u in representative(units, plane)
    )
    shells = [lobe.vertices[np.unique(lobe.triangles)] for lobe in lobes if len(lobe.triangles)]
    placed = fit(view, np.concatenate([drawn.points, corners, tops, *shells]), width, height, margin_px=14)
    floor_map = make_map(plane, building, px_per_m=0.85 * _FINER / placed.metres, hatch_m=float(9.5 * placed.metres))
    avoid = feet[:, :2] if len(feet) else np.zeros((0, 2))
    m2_each = max(18.0, (46 * placed.metres) ** 2)
    on_floor = map_level_m(plane) < 0.3
    people = stand_people(
        plane, building, avoid, most=8 if on_floor else 3, m2_each=m2_each, apart_m=max(1.6, 85 * placed.metres)
    )
    seated, unnoticed = seated_figures(coverage.seats)
    figures = tuple(figure(at, heading, left_foot_first=k % 2 == 0) for k, (at, heading) in enumerate(people))
    dashes = np.zeros((0, 2, 3)) if len(units) > _MOST_FOOTPRINTS else _dashes(units, plane, building, area, placed)
    covered = outlines_under(building, map_level_m(plane))
    return Composed(
        plane, name, drawn, placed, floor_map, units, feet, lobes, (*figures, *seated), dashes, covered, unnoticed
    )


def representative(units: tuple[Unit, ...], plane: PlaneCoverage, most: int = _MOST_LOBES) -> list[Unit]:
    """A few units to show in 3D: different sorts first, that see much of the plane, far from each other."""
    seen = np.array([area for area, _ in plane.detector_areas()])
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
        stage.add_map(pyvista, plotter, composed.floor_map, line_px=line)
        stage.add_solids(pyvista, plotter, composed.drawn, line_px=line)
        stage.add_people(pyvista, plotter, composed.figures)
        stage.add_people(pyvista, plotter, composed.unnoticed, colour=stage.UNNOTICED)
        stage.add_footprints(pyvista, plotter, composed.dashes, line_px=0.9 * _FINER)
        stage.add_covered(pyvista, plotter, composed.covered, line_px=0.9 * _FINER)
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


def _extremes(plane: PlaneCoverage, building: Building, cuts: Cuts) -> Floats:
    """Corners of the mapped area at the floor and at the height walls are cut (n, 3)."""
    import shapely

    points = []
    for polygon, floor in mapped_area(plane, building):
        flat = shapely.get_coordinates(polygon)
        for z in (floor, floor + cuts.low, floor + map_level_m(plane)):
            points.append(np.column_stack([flat, np.full(len(flat), z)]))
    return np.concatenate(points)


def _feet(units: tuple[Unit, ...], plane: PlaneCoverage, building: Building) -> Floats:
    """The points (n, 3) below detectors, on the map."""
    level = map_level_m(plane)
    return np.array(
        [[u.position[0], u.position[1], min(u.position[2] - u.mounting + level, u.position[2])] for u in units]
    ).reshape(-1, 3)


def _gathered(things: list[tuple[Any, float]], most: int = 300) -> list[tuple[Any, float]]:
    """The bulkiest things: enough to choose a view by."""
    return sorted(things, key=lambda thing: -thing[0].area * thing[1])[:most]


def _dashes(units: tuple[Unit, ...], plane: PlaneCoverage, building: Building, area: Any, placed: Fit) -> Floats:
    """Dashes (n, 2, 3) along declared footprints within the mapped area, of a length on the picture."""
    import shapely

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

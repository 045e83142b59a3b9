"""`open_window`: an interactive look around the building. Plain VTK, no other toolkit."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image

from raycover.building.parts import Building
from raycover.casting import Weather
from raycover.coverage import Coverage, PlaneCoverage
from raycover.draw.png import write_whole
from raycover.draw.view3d import environment, stage
from raycover.draw.view3d.camera import View, fit, long_side_deg
from raycover.draw.view3d.cutaway import Cuts
from raycover.draw.view3d.floor_map import make_map, map_level_m, shifted
from raycover.draw.view3d.panel import WIDTH_PX, Shown, help_image, panel_image
from raycover.draw.view3d.people import seated_figures
from raycover.draw.view3d.solids import Drawn, outlines_under
from raycover.draw.view3d.stair_bodies import stair_map
from raycover.draw.view3d.still import ceiling_over, home_of, moved_lobe, representative, shifted_seats, slab_of
from raycover.draw.view3d.tray_bodies import draw_trays
from raycover.draw.view3d.trays import Tray, lifts, trays_of
from raycover.lobes import Lobe, make_lobe
from raycover.rays import RayScene
from raycover.scene.schema import Scene
from raycover.underlay import read_underlay

Floats = NDArray[np.floating[Any]]

_SIZE_PX = (1500, 880)
_SMALLEST_PX = (640, 420)
#: Without one chosen, the lobes of this many representative detectors are shown.
_MOST_LOBES = 4
#: Longest side of the map's picture here: it is drawn anew at every step.
_MAP_PX = 1200
_OBLIQUE_DEG, _SIDE_DEG = 38.0, 24.0


def open_window(
    scene: Scene, building: Building, coverage: Coverage, rays: RayScene | None = None, *, off_screen: bool = False
) -> Any | None:
    """Open the window and stay until it is closed; returns None.

    With `off_screen` nothing opens: returns the plotter, drawn once, for the caller to use and close. Raises
    MissingPart where there is no display (or, off screen, no way to draw).
    """
    window = Window(scene, building, coverage, rays, off_screen=off_screen)
    if off_screen:
        return window.plotter
    window.run()
    return None


@dataclass
class State:
    """What the window shows. `detector` is None for all together."""

    plane: int = 0
    detector: int | None = None
    marks: bool = True
    lobes: bool = False
    low_walls: bool = True
    hatched: bool = True
    help: bool = False
    side: int = 0
    message: str = ""


class Window:
    """The window and its keys. `press` is what a key does; `state` is what is shown."""

    def __init__(
        self,
        scene: Scene,
        building: Building,
        coverage: Coverage,
        rays: RayScene | None = None,
        *,
        off_screen: bool = False,
        size: tuple[int, int] = _SIZE_PX,
        folder: Path | None = None,
    ) -> None:
        self.pyvista = environment.load_for_pictures() if off_screen else environment.load_for_window()
        self.scene, self.building, self.coverage = scene, building, coverage
        self.underlay = read_underlay(scene)
        self.rays = RayScene(building) if rays is None else rays
        self.folder = Path.cwd() if folder is None else folder
        self.groups = coverage.by_plane()
        self.names = list(self.groups)
        self.state = State()
        self._groups: dict[str, list[Any]] = {}
        self._lobes: dict[tuple[int, str], Lobe] = {}
        self._trays: dict[str, tuple[Tray, ...]] = {}
        self._moved: dict[str, Floats] = {}
        self._drawn: dict[tuple[tuple[bytes, ...], bool], Drawn] = {}
        self._standing: Drawn | None = None
        self._size = (0, 0)
        self.plotter = self.pyvista.Plotter(
            off_screen=off_screen, window_size=size, lighting="none", title=f"raycover: {scene.title}"
        )
        try:
            self._begin()
        except BaseException:
            self.plotter.close()
            raise

    @property
    def planes(self) -> tuple[PlaneCoverage, ...]:
        """The maps of the chosen plane, on all its storeys and stairs."""
        return tuple(self.coverage[name] for name in self.groups[self.names[self.state.plane]])

    @property
    def plane(self) -> PlaneCoverage:
        """The first of them, which says what is mapped."""
        return self.planes[0]

    @property
    def trays(self) -> tuple[Tray, ...]:
        """The storeys of the chosen plane."""
        name = self.names[self.state.plane]
        if name not in self._trays:
            self._trays[name] = trays_of(self.building, self.coverage, self.groups[name])
        return self._trays[name]

    @property
    def moved(self) -> Floats:
        """How far (n, 3) each storey is moved, by what the oblique view needs."""
        name = self.names[self.state.plane]
        if name not in self._moved:
            self._moved[name] = lifts(self.trays, self._oblique(), slab_of(self.trays))
        return self._moved[name]

    def run(self) -> None:
        """Hand over to the person at the keyboard until the window is closed."""
        try:
            self.plotter.iren.start()
        finally:
            self.plotter.close()

    def press(self, key: str) -> None:
        """Do what a key (VTK's name of it) stands for; other keys do nothing."""
        if key in ("q", "Escape"):
            self._leave()
            return
        action = self._actions().get(key)
        if action is None and key.isdigit() and 0 < int(key) <= len(self.names):
            chosen = int(key) - 1
            action = lambda: self._choose_plane(chosen)  # noqa: E731
        if action is None:
            return
        self.state.message = ""
        # One frame a key, however many things change.
        self.plotter.suppress_rendering = True
        try:
            action()
            self._draw_panel()
        finally:
            self.plotter.suppress_rendering = False
        self.plotter.render()

    def _actions(self) -> dict[str, Callable[[], None]]:
        state = self.state
        return {
            "n": lambda: self._choose_plane((state.plane + 1) % len(self.names)),
            "p": lambda: self._choose_plane((state.plane - 1) % len(self.names)),
            "Right": lambda: self._step(1),
            "Left": lambda: self._step(-1),
            "a": lambda: self._choose_detector(None),
            "d": lambda: self._flip("marks", self._draw_marks),
            "l": lambda: self._flip("lobes", self._draw_lobes),
            "w": lambda: self._flip("low_walls", self._draw_solids),
            "g": lambda: self._flip("hatched", self._draw_map),
            "h": lambda: self._flip("help", self._draw_help),
            "t": lambda: self._look(View(long_side_deg(self._area()) - 90, 89.9)),
            "i": lambda: self._look(self._oblique()),
            "v": self._next_side,
            "s": self._save,
        }

    def _flip(self, what: str, draw: Callable[[], None]) -> None:
        setattr(self.state, what, not getattr(self.state, what))
        draw()

    def _choose_plane(self, index: int) -> None:
        self.state.plane = index
        self._draw_everything()

    def _step(self, by: int) -> None:
        n = len(self.coverage.units)
        if n:
            now = self.state.detector
            self._choose_detector((0 if by > 0 else n - 1) if now is None else (now + by) % n)

    def _choose_detector(self, index: int | None) -> None:
        self.state.detector = index
        if index is not None:
            self.state.lobes = True
        self._draw_map()
        self._draw_lobes()
        self._draw_marks()

    def _next_side(self) -> None:
        self.state.side += 1
        turn = long_side_deg(self._area()) - 90 + 90 * (self.state.side - 1)
        self._look(View(turn, _SIDE_DEG))

    def _save(self) -> None:
        """Save the window as a picture under the first free name."""
        taken = [p.name for p in self.folder.glob("raycover-view-*.png")]
        name = next(n for k in range(1, 10_000) if (n := f"raycover-view-{k:03d}.png") not in taken)
        data = io.BytesIO()
        self.plotter.render_window.Render()
        Image.fromarray(np.asarray(self.plotter.image)[..., :3]).save(data, "PNG")
        try:
            write_whole(self.folder / name, data.getvalue())
            self.state.message = f"saved {name}"
        except OSError as error:
            self.state.message = f"not saved: {error.strerror or error}"

    def _leave(self) -> None:
        if self.plotter.iren is not None:
            self.plotter.iren.terminate_app()

    # Drawing: groups of actors by name, each taken away and put back as a whole.

    def _begin(self) -> None:
        plotter = self.plotter
        plotter.suppress_rendering = True
        plotter.render_window.SetMultiSamples(4)
        plotter.set_background("white")
        for direction, colour, intensity in (((0.5, 0.9, 1.0), "#FFF8EE", 0.75), ((-0.8, 0.1, 0.6), "#E3ECF5", 0.35)):
            lamp = self.pyvista.Light(position=direction, light_type="camera light", color=colour, intensity=intensity)
            plotter.add_light(lamp)
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._beside = vtkRenderer()
        self._beside.SetBackground(1, 1, 1)
        self._beside.InteractiveOff()
        plotter.render_window.AddRenderer(self._beside)
        self._draw_everything()
        self._look(self._oblique())
        self._lay_out()
        plotter.suppress_rendering = False
        plotter.show(auto_close=False, interactive=False, interactive_update=not plotter.off_screen)
        self._listen()
        plotter.render()

    def _listen(self) -> None:
        """Take the keyboard over: none of VTK's or PyVista's own keys stay."""
        iren = self.plotter.iren
        if iren is None:
            return
        if not self.plotter.off_screen:
            self.plotter.enable_terrain_style(mouse_wheel_zooms=True, shift_pans=True)
        iren.interactor.RemoveObservers("KeyPressEvent")
        iren.interactor.RemoveObservers("CharEvent")
        iren.interactor.AddObserver("KeyPressEvent", lambda caller, _event: self.press(caller.GetKeySym() or ""))
        self.plotter.render_window.AddObserver("ModifiedEvent", lambda *_: self._lay_out())

    def _draw_everything(self) -> None:
        for draw in (self._draw_solids, self._draw_map, self._draw_lobes, self._draw_marks):
            draw()

    def _take_away(self, group: str) -> None:
        for actor in self._groups.pop(group, []):
            self.plotter.remove_actor(actor, reset_camera=False, render=False)

    def _area(self) -> Any:
        return shapely.union_all([tray.area for tray in self.trays])

    def _solids(self) -> Drawn:
        key = (tuple(tray.area.wkb for tray in self.trays), self.state.low_walls)
        if key not in self._drawn:
            cuts = Cuts.for_area(self._area(), max((r.height for r in self.building.rooms), default=3.0))
            slab = slab_of(self.trays)
            self._drawn[key] = draw_trays(self.trays, self.moved, None, cuts, slab_m=slab, low=key[1])
        return self._drawn[key]

    def _draw_solids(self) -> None:
        if self._solids() is self._standing:
            return
        self._standing = self._solids()
        self._take_away("solids")
        actors = stage.add_solids(self.pyvista, self.plotter, self._solids(), line_px=1.0, ghosts=stage.FAINT_GHOSTS)
        glass = stage.add_glass(self.pyvista, self.plotter, self._solids())
        figures = seated_figures(shifted_seats(self.coverage, self.trays, self.moved))
        seated = [
            stage.add_people(self.pyvista, self.plotter, some, colour=colour)
            for some, colour in zip(figures, (stage.PEOPLE, stage.UNNOTICED), strict=True)
        ]
        self._groups["solids"] = [*actors, *(actor for actor in (glass, *seated) if actor is not None)]

    def _margins(self, plane: PlaneCoverage) -> NDArray[np.float32]:
        """Margins on a map: of all detectors, or of the chosen one alone."""
        if self.state.detector is None:
            return plane.margin_db
        alone = np.where(plane.surface.inside, -np.inf, np.nan).astype(np.float32)
        patch = plane.patches[self.state.detector]
        if patch is not None:
            inside = plane.surface.inside[patch.window]
            alone[patch.window][inside] = patch.margin_db[inside]
        return alone

    def _draw_map(self) -> None:
        x0, y0, x1, y1 = self._area().bounds
        span = max(x1 - x0, y1 - y0)
        px_per_m, hatch_m, hatched = _MAP_PX / span, span / 110, self.state.hatched
        actors: list[Any] = []
        covered: list[Floats] = []
        for tray, by in zip(self.trays, self.moved, strict=True):
            shown = [
                make_map(
                    tray.plane, tray.building, px_per_m=px_per_m, hatch_m=hatch_m,
                    margin_db=self._margins(tray.plane), hatched=hatched, underlay=self.underlay,
                )
            ]  # fmt: skip
            shown += [
                stair_map(
                    r.plane, r.stairs, r.run, px_per_m=px_per_m, hatch_m=hatch_m, margin_db=self._margins(r.plane),
                    hatched=hatched,
                )
                for r in tray.runs if r.plane is not None
            ]  # fmt: skip
            for some in shown:
                actors += stage.add_map(
                    self.pyvista, self.plotter, shifted(some, by), line_px=1.2, limits=self.state.hatched
                )
            covered.append(outlines_under(tray.building, map_level_m(tray.plane)) + by)
        self._take_away("map")
        actors += stage.add_covered(self.pyvista, self.plotter, np.concatenate(covered), line_px=1.0)
        self._groups["map"] = actors

    def _draw_lobes(self) -> None:
        self._take_away("lobes")
        if not self.state.lobes:
            return
        units = self.coverage.units
        if self.state.detector is not None:
            chosen = [self.state.detector]
        else:
            chosen = [units.index(u) for u in representative(units, self.planes, _MOST_LOBES)]
        actors: list[Any] = []
        for index in chosen:
            lobe = moved_lobe(self._lobe(index), self._shifts()[index])
            actors += stage.add_lobe(self.pyvista, self.plotter, lobe, line_px=1.0)
        self._groups["lobes"] = actors

    def _shifts(self) -> Floats:
        """How far (n, 3) each detector is moved with its storey."""
        return np.asarray(self.moved[home_of(self.trays, self.building, self.coverage.units)])

    def _lobe(self, index: int) -> Lobe:
        motion = self.plane.surface.motion
        key = (index, motion)
        if key not in self._lobes:
            unit = self.coverage.units[index]
            weather = Weather.of(self.scene.conditions)
            top = ceiling_over(unit, self.building)
            self._lobes[key] = make_lobe(unit, self.rays, weather, motion=motion, below_m=top)
        return self._lobes[key]

    def _draw_marks(self) -> None:
        self._take_away("marks")
        units = self.coverage.units
        if not self.state.marks or not units:
            return
        tops = np.array([u.position for u in units])
        feet = tops.copy()
        by = self._shifts()
        feet[:, 2] = np.minimum([u.position[2] - u.mounting + map_level_m(self.plane) for u in units], tops[:, 2])
        tops, feet = tops + by, feet + by
        dot = float(np.hypot(*np.ptp(np.array(self._area().bounds).reshape(2, 2), axis=0))) / 420
        actors = stage.add_drops(self.pyvista, self.plotter, tops, feet, dot, line_px=1.2)
        actors += stage.add_marks(self.pyvista, self.plotter, tops, [u.name for u in units], chosen=self.state.detector)
        self._groups["marks"] = actors

    def _draw_help(self) -> None:
        self._take_away("help")
        if self.state.help:
            card = stage.flat_image(self.pyvista, help_image())
            width, height = self._size
            card.SetPosition(max((width - WIDTH_PX - 504) // 2, 0), max((height - 205) // 2, 0))
            self.plotter.add_actor(card, reset_camera=False, render=False)
            self._groups["help"] = [card]

    def _draw_panel(self) -> None:
        state, units = self.state, self.coverage.units
        unit = units[state.detector] if state.detector is not None else None
        shown = Shown(
            title=self.scene.title,
            surface=self.plane.surface,
            margin_db=np.concatenate([self._margins(plane).ravel() for plane in self.planes]),
            area=np.concatenate([np.asarray(plane.surface.area, float).ravel() for plane in self.planes]),
            parts=len(self.planes),
            reserve_db=self.plane.reserve_db,
            ambient_c=self.coverage.ambient_c,
            plane_name=self.names[state.plane],
            plane_number=state.plane + 1,
            n_planes=len(self.names),
            detector=unit.name if unit is not None else None,
            detector_title=unit.title if unit is not None else "",
            detector_number=(state.detector or 0) + 1,
            n_detectors=len(units),
            states=(
                ("d", "on" if state.marks else "off"),
                ("l", "on" if state.lobes else "off"),
                ("w", "low" if state.low_walls else "high"),
                ("g", "hatched" if state.hatched else "plain"),
            ),
            message=state.message,
        )
        self._beside.RemoveAllViewProps()
        self._beside.AddViewProp(stage.flat_image(self.pyvista, panel_image(shown, self._size[1])))

    def _lay_out(self) -> None:
        """Keep the panel's width when the window's changes."""
        width, height = self.plotter.render_window.GetSize()
        size = (max(int(width), _SMALLEST_PX[0]), max(int(height), _SMALLEST_PX[1]))
        if size == self._size:
            return
        aspect = (size[0] - WIDTH_PX) / size[1]
        before = (self._size[0] - WIDTH_PX) / max(self._size[1], 1)
        if before > aspect > 0:
            # Narrower than before: the same width of building stays in sight.
            self.plotter.camera.parallel_scale *= before / aspect
        self._size = size
        share = 1 - WIDTH_PX / size[0]
        self.plotter.renderer.SetViewport(0, 0, share, 1)
        self._beside.SetViewport(share, 0, 1, 1)
        self._draw_panel()
        self._draw_help()

    # Looking: the camera.

    def _oblique(self) -> View:
        return View(long_side_deg(self._area()) - 64, _OBLIQUE_DEG)

    def _look(self, view: View) -> None:
        width, height = self.plotter.render_window.GetSize()
        tops = np.array([u.position for u in self.coverage.units]).reshape(-1, 3)
        tops = tops + self._shifts() if len(tops) else tops
        points = np.concatenate([self._solids().points, tops])
        placed = fit(view, points, max(int(width) - WIDTH_PX, 50), max(int(height), 50), margin_px=36)
        stage.aim(self.plotter, placed, points)
        self.plotter.renderer.ResetCameraClippingRange()


__all__ = ["State", "Window", "open_window"]

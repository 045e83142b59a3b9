"""The window itself: what it is made of, and how a change becomes a frame. Plain VTK, no other toolkit."""

from __future__ import annotations

import math
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from raycover.draw.view3d import environment, stage
from raycover.draw.view3d.camera import View, fit
from raycover.draw.view3d.window.canvas import Spot
from raycover.draw.view3d.window.commands import Commands
from raycover.draw.view3d.window.keys import help_card
from raycover.draw.view3d.window.labels import Label, LabelLayer
from raycover.draw.view3d.window.panel import LOWEST, WIDTH, Shown, draw_panel
from raycover.draw.view3d.window.pointer import Pointer
from raycover.draw.view3d.window.scenery import Scenery
from raycover.draw.view3d.window.speaking import labels_of, shown_of
from raycover.draw.view3d.window.state import State
from raycover.draw.view3d.window.verdict import Line, ways_of, words_of
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage
from raycover.errors import InputError
from raycover.underlay import read_underlay

#: Of the window as it opens, in points: pixels of a plain screen.
_SIZE = (1500, 880)
_SMALLEST_PX = (700, 480)
#: Type and controls are made so much larger at a key press, no smaller or larger than this, and take half of the width.
_STEP, _SMALLEST_SCALE, _LARGEST_SCALE, _PANEL_SHARE = 0.125, 0.7, 4.0, 0.5
#: The scale goes in steps of one over this.
_SCALE_STEPS = 16
#: A trial that takes longer (s) is not followed while something is dragged, only when it is let go.
_TOO_SLOW_S = 0.5
#: VTK's numbers of the plain arrow and the hand.
_ARROW, _HAND = 0, 9


class Window:
    """The window. `press` is what a key does, `act` what a control does, `pointer` takes the mouse.

    `state` is what is shown of the `live` coverage; `spots` and `n_rows` are what of the panel can be clicked.
    """

    def __init__(
        self,
        live: LiveCoverage,
        file: SceneFile | None = None,
        *,
        off_screen: bool = False,
        size: tuple[int, int] | None = None,
        scale: float | None = None,
        folder: Path | None = None,
    ) -> None:
        """`size` in pixels; `scale` is how many of them a point of type has: as the screen is set if not given."""
        self.pyvista = environment.load_for_pictures() if off_screen else environment.load_for_window()
        self.live, self.file = live, file
        self.folder = Path.cwd() if folder is None else folder
        self.state = State()
        if not live.units:
            self.state.message = "The scene has no detector: a map of nothing"
        self.commands, self.pointer = Commands(self), Pointer(self)
        self.press, self.act = self.commands.press, self.commands.act
        self.spots: list[Spot] = []
        self.n_rows = 1
        self.verdict: list[Line] = []
        self.printing = False
        self.is_slow = False
        self._way_labels: list[Label] = []
        self._size, self._aspect = (0, 0), 0.0
        self._asked = self._hand = False
        if scale is None:
            scale = 1.0 if off_screen else environment.screen_scale()
        self._screen_scale = scale
        opens = size or (round(_SIZE[0] * scale), round(_SIZE[1] * scale))
        self.plotter = self.pyvista.Plotter(
            off_screen=off_screen, window_size=opens, lighting="none", title=f"raycover: {live.scene.title}"
        )
        try:
            self.scenery = Scenery(self.pyvista, self.plotter, live, self.state, read_underlay(live.scene))
            self._begin()
        except BaseException:
            self.plotter.close()
            raise

    @property
    def height(self) -> int:
        """Of the window, px."""
        return self._size[1]

    @property
    def scale(self) -> float:
        """Pixels a point: as the screen and the person at it want it, but so that the panel finds room."""
        width, height = self._size
        most = max(min(height / LOWEST, _PANEL_SHARE * width / WIDTH, _LARGEST_SCALE), _SMALLEST_SCALE)
        wanted = min(max(self._screen_scale * self.state.enlarged, _SMALLEST_SCALE), most)
        # In steps: a window that is dragged larger by its edge is not drawn anew at every pixel.
        return max(math.floor(wanted * _SCALE_STEPS) / _SCALE_STEPS, _SMALLEST_SCALE)

    @property
    def panel_width(self) -> int:
        """Of the panel, px."""
        return round(WIDTH * self.scale)

    @property
    def look_height(self) -> float:
        """The height (m) looked at; of several the middle one."""
        return float(np.median(self.state.look.spec(self.live.scene).target_heights))

    @property
    def heights(self) -> tuple[float, float]:
        """How low and how high (m) a plane may lie."""
        return 0.0, round(max((room.height for room in self.live.building.rooms), default=3.0), 2)

    def run(self) -> None:
        """Hand over to the person at the keyboard until the window is closed."""
        try:
            self.plotter.iren.start()
        finally:
            self.close()

    def close(self) -> None:
        """Give everything back. VTK keeps what listens to it, and that the window: so nothing may listen any more."""
        plotter = self.plotter
        if not plotter._closed:
            listened = [plotter.renderer, plotter.render_window]
            if plotter.iren is not None:
                listened += [plotter.iren.interactor.GetInteractorStyle(), plotter.iren.interactor]
            for one in listened:
                one.RemoveAllObservers()
            self._beside.RemoveAllViewProps()
            plotter.render_window.RemoveRenderer(self._beside)
            plotter.close()

    def leave(self) -> None:
        """Close, but ask once where edits would be lost."""
        if self.live.changed and self.file is not None and not self._asked:
            with self.frame():
                self.state.message = "Detectors have changed: s saves them, closing once more leaves without"
            self._asked = True
        elif self.plotter.iren is not None:
            self.plotter.iren.terminate_app()

    # Showing.

    @contextmanager
    def frame(self, *, fresh: bool = False, timed: bool = False) -> Iterator[None]:
        """Changes that make one frame together; what is wrong with them is said in it.

        `fresh` takes the last message away; `timed` notes whether this was too slow to follow a hand.
        """
        began, self._asked = time.perf_counter(), False
        if fresh:
            self.state.message = ""
        self.plotter.suppress_rendering = True
        try:
            yield
        except InputError as error:
            self.state.message = _first(error)
        finally:
            self._draw_panel()
            self.plotter.suppress_rendering = False
        self.plotter.render()
        if timed:
            self.is_slow = self.is_slow or time.perf_counter() - began > _TOO_SLOW_S
        else:
            self.is_slow = False

    def update(self, *, trial: bool = False) -> None:
        """Solve what has changed and draw it anew, while something is dragged coarser."""
        self.scenery.solve()
        if trial:
            self.scenery.draw_draft()
        else:
            self.scenery.draw()
        self.judge()
        self.draw_labels()

    def judge(self) -> None:
        """What is seen of the place asked about, and its lines of sight."""
        scenery, place, live = self.scenery, self.state.place, self.live
        self.verdict, self._way_labels = [], []
        if place is None:
            scenery.put("rays", [])
            return
        views, surface = live.probe(place, self.state.look), scenery.planes[0].surface
        room = live.building.room_at(*place)
        self.verdict = words_of(views, place, surface, room.name if room is not None else "outside every room")
        tops = dict(zip((u.name for u in live.units), scenery.tops, strict=True))
        moved = scenery.shift_at(place[2])
        reach, fail, self._way_labels, dots = ways_of(views, tops, moved, every=self.state.every_ray)
        goals = np.array([view.point for view in views] or [place])
        # Heights of a person are looked at one by one: one dot each.
        scenery.rays(reach, fail, dots, np.unique(goals, axis=0) + moved)

    def draw_labels(self) -> None:
        self.labels.show(self.pyvista, [*self._way_labels, *labels_of(self.live, self.scenery, self.state)])

    def draw_help(self) -> None:
        actors = []
        if self.state.help:
            width, height = self._size
            room = width - self.panel_width
            picture = help_card(room, height, self.scale).pixels()
            card = stage.flat_image(self.pyvista, picture)
            left = (room - picture.shape[1]) // 2
            card.SetPosition(max(left, 0), max((height - picture.shape[0]) // 2, 0))
            self.plotter.add_actor(card, reset_camera=False, render=False)
            actors = [card]
        self.scenery.put("help", actors)

    def shown(self) -> Shown:
        """What the panel says now."""
        can_save = self.file is not None
        return shown_of(self.live, self.scenery, self.state, self.verdict, self.heights, can_save=can_save)

    def _draw_panel(self) -> None:
        drawn = draw_panel(self.shown(), self._size[1], self.scale)
        self.spots, self.n_rows = drawn.canvas.spots, drawn.n_rows
        self._beside.RemoveAllViewProps()
        self._beside.AddViewProp(stage.flat_image(self.pyvista, drawn.canvas.pixels()))

    def look(self, view: View) -> None:
        """Look from a direction, everything in sight."""
        width, height = self.plotter.render_window.GetSize()
        points = self.scenery.points
        placed = fit(
            view, points, max(int(width) - self.panel_width, 50), max(int(height), 50), margin_px=round(36 * self.scale)
        )
        stage.aim(self.plotter, placed, points)
        self.plotter.renderer.ResetCameraClippingRange()

    # The window as such.

    def _begin(self) -> None:
        plotter = self.plotter
        plotter.suppress_rendering = True
        plotter.render_window.SetMultiSamples(4)
        if not plotter.off_screen:
            # Frames and bars of a desktop take a little of its screen.
            screen, size = plotter.render_window.GetScreenSize(), plotter.render_window.GetSize()
            plotter.window_size = [
                min(size[0], max(screen[0] - 40, _SMALLEST_PX[0])), min(size[1], max(screen[1] - 90, _SMALLEST_PX[1])),
            ]  # fmt: skip
        plotter.set_background("white")
        for direction, colour, intensity in (((0.5, 0.9, 1.0), "#FFF8EE", 0.75), ((-0.8, 0.1, 0.6), "#E3ECF5", 0.35)):
            lamp = self.pyvista.Light(position=direction, light_type="camera light", color=colour, intensity=intensity)
            plotter.add_light(lamp)
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._beside = vtkRenderer()
        self._beside.SetBackground(1, 1, 1)
        self._beside.InteractiveOff()
        plotter.render_window.AddRenderer(self._beside)
        self.labels = LabelLayer(plotter.renderer)
        self._lay_out()
        self.look(self.scenery.oblique)
        plotter.suppress_rendering = False
        plotter.show(auto_close=False, interactive=False, interactive_update=not plotter.off_screen)
        self._listen()

    def _listen(self) -> None:
        """Take keyboard and mouse over: none of VTK's or PyVista's own keys stay."""
        iren = self.plotter.iren
        if iren is None:
            return
        if not self.plotter.off_screen:
            self.plotter.enable_terrain_style(mouse_wheel_zooms=True, shift_pans=True)
        asks, pointer = iren.interactor, self.pointer
        asks.RemoveObservers("KeyPressEvent")
        asks.RemoveObservers("CharEvent")
        asks.AddObserver(
            "KeyPressEvent",
            lambda who, _: self.press(who.GetKeySym() or "", control=_commands(who), shift=bool(who.GetShiftKey())),
        )
        asks.AddObserver("ExitEvent", lambda *_: self.leave())
        first: dict[str, Callable[[int, int], bool]] = {
            "LeftButtonPressEvent": pointer.down,
            "MouseMoveEvent": lambda x, y: pointer.move(x, y, fine=bool(asks.GetControlKey())),
            "LeftButtonReleaseEvent": pointer.up,
            "MouseWheelForwardEvent": lambda x, y: pointer.wheel(x, y, 1, shift=bool(asks.GetShiftKey())),
            "MouseWheelBackwardEvent": lambda x, y: pointer.wheel(x, y, -1, shift=bool(asks.GetShiftKey())),
        }
        for event, takes in first.items():
            _hear(asks, event, takes)
        # While the building is turned the style keeps all events to itself, the release of a click among them.
        style = asks.GetInteractorStyle()
        style.AddObserver("EndInteractionEvent", lambda *_: pointer.up(*asks.GetEventPosition()))
        self.plotter.render_window.AddObserver("ModifiedEvent", lambda *_: self._lay_out())

    def on_panel(self, x: int) -> bool:
        return x >= self._size[0] - self.panel_width

    def on_canvas(self, x: int, y: int) -> tuple[float, float]:
        """A pixel of the window in points of the panel."""
        return (x - (self._size[0] - self.panel_width)) / self.scale, (self._size[1] - 1 - y) / self.scale

    def enlarge(self, step: int) -> None:
        """Type and controls a step larger or smaller, or (0) as they were."""
        state = self.state
        with self.frame(fresh=True):
            before = self.scale
            state.enlarged = 1.0 if step == 0 else max(state.enlarged + _STEP * step, _STEP)
            if step and self.scale == before:
                state.enlarged -= _STEP * step
                state.message = "No larger here: make the window larger" if step > 0 else "No smaller"
            else:
                state.message = f"Type and controls at {self.scale / self._screen_scale:.0%}"
            self._lay_out()

    def show_hand(self, over: bool) -> None:
        """The mouse's pointer as a hand over what can be dragged."""
        if over != self._hand:
            self._hand = over
            self.plotter.render_window.SetCurrentCursor(_HAND if over else _ARROW)

    def _lay_out(self) -> None:
        """Keep the panel's width when the window's changes."""
        if self.printing:
            return
        width, height = self.plotter.render_window.GetSize()
        size = (max(int(width), _SMALLEST_PX[0]), max(int(height), _SMALLEST_PX[1]))
        before, scaled = self._aspect, self.scenery.scale
        if size == self._size and self.scale == scaled:
            return
        self._size = size
        self._aspect = (size[0] - self.panel_width) / size[1]
        if before > self._aspect > 0:
            # Narrower than before: the same width of building stays in sight.
            self.plotter.camera.parallel_scale *= before / self._aspect
        share = 1 - self.panel_width / size[0]
        self.plotter.renderer.SetViewport(0, 0, share, 1)
        self._beside.SetViewport(share, 0, 1, 1)
        if self.scale != scaled:
            self.scenery.scale = self.labels.scale = self.scale
            self.scenery.draw()
            self.judge()
            self.draw_labels()
        self._draw_panel()
        self.draw_help()


def _commands(asks: Any) -> bool:
    """Whether the key for commands is held: Ctrl, on a Mac Command too (which VTK gives as Alt)."""
    return bool(asks.GetControlKey()) or (sys.platform == "darwin" and bool(asks.GetAltKey()))


def _hear(asks: Any, event: str, takes: Callable[[int, int], bool]) -> None:
    """Hear an event before the style that turns the building does, which gets what is not taken."""

    def heard(caller: Any, _event: str) -> None:
        if takes(*caller.GetEventPosition()):
            caller.GetCommand(tag).SetAbortFlag(1)

    tag = asks.AddObserver(event, heard, 10.0)


def _first(error: InputError) -> str:
    """The first problem in a sentence, with what to do."""
    problem = error.problems[0]
    more = f" (and {len(error.problems) - 1} more)" if len(error.problems) > 1 else ""
    return f"{problem.message}{more}: {problem.help}" if problem.help else f"{problem.message}{more}"

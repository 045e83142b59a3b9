"""The mouse: the panel's controls, detectors dragged in plan, places clicked. What is left turns the building."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from raycover.draw.view3d.window.canvas import Spot
from raycover.draw.view3d.window.commands import LIFT_M, TURN_DEG
from raycover.draw.view3d.window.picking import Eye, Nowhere, nearest, place_under

if TYPE_CHECKING:
    from raycover.draw.view3d.window.app import Window

#: A click may shake by this much; a detector is met within this much (points).
_SHAKE, _REACH = 4, 13
#: Steps (m) in which a detector is dragged, coarse and fine.
COARSE_M, FINE_M = 0.05, 0.01


@dataclass
class _Grip:
    """A detector in hand: where it was taken (px) and how far (m) from its middle."""

    index: int
    start: tuple[int, int]
    off: tuple[float, float]
    moving: bool = False


class Pointer:
    """Mouse events in pixels of the window, (0, 0) at its lower left. Each method tells whether it took the event."""

    def __init__(self, window: Window) -> None:
        self.window = window
        self._slide: Spot | None = None
        self._grip: _Grip | None = None
        self._pressed: tuple[int, int] | None = None

    @property
    def busy(self) -> bool:
        """Whether something is being dragged."""
        return self._grip is not None or self._slide is not None

    def down(self, x: int, y: int) -> bool:
        window = self.window
        self._pressed = None
        if window.on_panel(x):
            self._press_panel(x, y)
            return True
        index = None if window.state.hanging else self.detector_at(x, y)
        if index is None:
            self._pressed = (x, y)
            return False
        place = Eye.of(window.plotter.renderer).on_level(x, y, float(window.scenery.tops[index][2]))
        at = window.live.design.detectors[index].at
        by = window.scenery.shifts[index]
        off = (0.0, 0.0) if place is None else (place[0] - at[0] - float(by[0]), place[1] - at[1] - float(by[1]))
        self._grip = _Grip(index, (x, y), off)
        window.act("detector", index)
        return True

    def move(self, x: int, y: int, *, fine: bool = False) -> bool:
        window, grip = self.window, self._grip
        if self._slide is not None:
            window.act(self._slide.does, self._slide.value_at(window.on_canvas(x, y)[0]), trial=True)
            return True
        if grip is None:
            window.show_hand(not window.on_panel(x) and self.detector_at(x, y) is not None)
            return False
        if not grip.moving and max(abs(x - grip.start[0]), abs(y - grip.start[1])) < _SHAKE * window.scale:
            return True
        grip.moving = True
        place = Eye.of(window.plotter.renderer).on_level(x, y, float(window.scenery.tops[grip.index][2]))
        if place is not None:
            by = window.scenery.shifts[grip.index]
            step = FINE_M if fine else COARSE_M
            at = tuple(
                round(round((p - o - float(b)) / step) * step, 3) for p, o, b in zip(place, grip.off, by, strict=False)
            )
            window.commands.drag(grip.index, at)  # type: ignore[arg-type]
        return True

    def up(self, x: int, y: int) -> bool:
        window, grip, slide, pressed = self.window, self._grip, self._slide, self._pressed
        self._grip = self._slide = self._pressed = None
        if slide is not None:
            window.act(slide.does, slide.value_at(window.on_canvas(x, y)[0]))
            return True
        if grip is not None:
            if grip.moving:
                window.commands.drop(grip.index)
            return True
        if (
            pressed is not None
            and max(abs(x - pressed[0]), abs(y - pressed[1])) < _SHAKE * window.scale
            and not window.on_panel(x)
        ):
            try:
                place = place_under(Eye.of(window.plotter.renderer), window.scenery.targets, x, y)
                window.act("hang" if window.state.hanging else "place", place)
            except Nowhere as where:
                if window.state.hanging and where.place is not None:
                    window.act("hang", where.place)  # over goods or a rack it may hang all the same
                else:
                    window.act("nowhere")
        return False

    def wheel(self, x: int, y: int, step: int, *, shift: bool = False) -> bool:
        """A notch away from the user is +1."""
        window = self.window
        if window.on_panel(x):
            window.act("scroll", -3 * step)
            return True
        held = self._grip.index if self._grip is not None else self.detector_at(x, y)
        if held is None or held != window.state.detector:
            return False
        if self._grip is not None and self._grip.moving:
            window.commands.drop(held)
        window.act("lift" if shift else "turn", step * (LIFT_M if shift else TURN_DEG))
        return True

    def cancel(self) -> bool:
        """Let go without doing anything; whether there was something in hand."""
        held = self.busy
        self._grip = self._slide = self._pressed = None
        return held

    def detector_at(self, x: int, y: int) -> int | None:
        """The detector (by index) under a pixel."""
        window = self.window
        if not window.state.marks or not window.live.units:
            return None
        return nearest(Eye.of(window.plotter.renderer).pixels(window.scenery.tops), x, y, _REACH * window.scale)

    def _press_panel(self, x: int, y: int) -> None:
        window = self.window
        px, py = window.on_canvas(x, y)
        spot = next((s for s in reversed(window.spots) if s.holds(px, py)), None)
        if spot is None:
            return
        if spot.span is not None:
            self._slide = spot
            window.act(spot.does, spot.value_at(px), trial=True)
        else:
            window.act(spot.does, spot.value)

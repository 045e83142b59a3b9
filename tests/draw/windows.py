"""Hands and eyes for tests of the window: where things are drawn, what mouse and keyboard say, a display of our own."""

from __future__ import annotations

import gc
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
import pytest
from processes import ended, told

from raycover.draw.view3d.window import Window
from raycover.draw.view3d.window.canvas import Spot
from raycover.draw.view3d.window.picking import Eye

SIZE = (780, 600)


@contextmanager
def virtual_display(size: str = "1280x900", *more: str) -> Iterator[str]:
    """The name of a virtual X display, which stays when its last window closes."""
    xvfb = shutil.which("Xvfb")
    if xvfb is None:
        pytest.skip("no Xvfb here (apt-get install xvfb)")
    read, write = os.pipe()
    server = subprocess.Popen(
        [xvfb, "-displayfd", str(write), "-noreset", "-screen", "0", f"{size}x24", "-nolisten", "tcp", *more],
        pass_fds=(write,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        try:
            number = told(read, b"\n", 60, "Xvfb").decode().strip()
        finally:
            os.close(read)
        if not number:
            pytest.skip("Xvfb does not start here")
        yield f":{number}"
    finally:
        gc.collect()  # VTK ends the process where a window, however dead, loses its display
        ended(server)


def hand_over(window: Window, steps: Sequence[Callable[[], object]], every_ms: int, *, more: int = 200) -> bool:
    """Run a real window, a step at each tick of its clock; whether it closed by itself, at most `more` ticks later.

    A step that answers False has not come to its end: it is done again at the next tick, out of `more`.
    VTK only prints what goes wrong in whoever listens to it: here that ends the window, and is raised.
    """
    left, wrong, late = list(steps), [], iter(range(more))
    interactor, leave = window.plotter.iren.interactor, window.plotter.iren.terminate_app
    was_left: list[bool] = []

    def tick(*_: object) -> None:
        try:
            if left:
                if left[0]() is not False or next(late, None) is None:
                    left.pop(0)
            elif next(late, None) is None:
                was_left.append(True)
                leave()
        except BaseException as error:
            wrong.append(error)
            leave()

    interactor.AddObserver("TimerEvent", tick)
    interactor.CreateRepeatingTimer(every_ms)
    del interactor
    try:
        window.run()
    finally:
        window.close()
    if wrong:
        raise wrong[0]
    return not left and not was_left


def picture(window: Window) -> np.ndarray:
    window.plotter.render()
    return np.asarray(window.plotter.image)[..., :3].astype(int)


def pixel_of(window: Window, index: int) -> tuple[int, int]:
    """Where a detector is drawn."""
    x, y = Eye.of(window.plotter.renderer).pixels(window.scenery.tops[index : index + 1])[0]
    return round(float(x)), round(float(y))


def pixel_over(window: Window, x: float, y: float, z: float) -> tuple[int, int]:
    px, py = Eye.of(window.plotter.renderer).pixels(np.array([[x, y, z]]))[0]
    return round(float(px)), round(float(py))


def spot(window: Window, does: str, value: object = None) -> Spot:
    return next(s for s in window.spots if s.does == does and (value is None or s.value == value))


def middle(window: Window, found: Spot, share: float = 0.5) -> tuple[int, int]:
    """A pixel of the window within a spot of the panel."""
    x0, y0, x1, y1 = (window.scale * v for v in found.box)
    return round(SIZE[0] - window.panel_width + x0 + share * (x1 - x0)), round(SIZE[1] - 1 - (y0 + y1) / 2)


def click(window: Window, x: int, y: int) -> None:
    window.pointer.down(x, y)
    window.pointer.up(x, y)


def type_key(window: Window, key: str) -> None:
    """What X tells VTK when a key is pressed."""
    interactor = window.plotter.iren.interactor
    interactor.SetKeyEventInformation(0, 0, key if len(key) == 1 else "\0", 0, key)
    interactor.InvokeEvent("KeyPressEvent")
    interactor.InvokeEvent("CharEvent")
    interactor.InvokeEvent("KeyReleaseEvent")


def mouse(window: Window, event: str, x: int, y: int) -> None:
    """What X tells VTK of the mouse."""
    interactor = window.plotter.iren.interactor
    interactor.SetEventInformation(x, y, 0, 0, "\0", 0, None)
    interactor.InvokeEvent(event)

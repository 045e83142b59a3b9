"""`open_window`: a window to look around the building and to move its detectors in."""

from __future__ import annotations

from typing import Any

from raycover.draw.view3d.window.app import Window
from raycover.draw.view3d.window.state import State
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage

__all__ = ["State", "Window", "open_window"]


def open_window(
    live: LiveCoverage, file: SceneFile | None = None, *, off_screen: bool = False, scale: float | None = None
) -> Any | None:
    """Open the window and stay until it is closed; returns None. `file` is what changed detectors are saved into.

    `scale` is the size of type and controls, 1 on a plain screen; as the screen is set if not given.

    With `off_screen` nothing opens: returns the plotter, drawn once, for the caller to use and close. Raises
    MissingPart where there is no display (or, off screen, no way to draw).
    """
    window = Window(live, file, off_screen=off_screen, scale=scale)
    if off_screen:
        return window.plotter
    window.run()
    return None

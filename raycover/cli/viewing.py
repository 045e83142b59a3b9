"""The command that opens the window. It loads no more than the window needs, so that it opens soon."""

from __future__ import annotations

from pathlib import Path

from raycover.cli.choosing import chosen_states
from raycover.cli.printing import talk, warn
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage, Look
from raycover.errors import option_error
from raycover.rays.tracers import SLOW_WARNING

#: Sizes of type that a window takes.
LEAST, MOST = 0.7, 4.0


def view_scene(path: Path, *, threads: int | None, state: str | None = None, scale: float | None = None) -> None:
    """Open the window on a scene: what it shows first is solved, the rest when it is looked at."""
    from raycover.draw.view3d import open_window, require_display

    if scale is not None and not LEAST <= scale <= MOST:
        raise option_error("--scale", f"{scale:g} is no size of type", f"write one from {LEAST:g} to {MOST:g}")
    require_display()
    file = SceneFile(path)
    (name,) = chosen_states(file.scene, [] if state is None else [state], all_states=False)
    live = LiveCoverage(file.scene, state=name, threads=threads)
    if live.rays.backend != "embree":
        talk(SLOW_WARNING)
    warn(live.warnings(Look(0)))
    open_window(live, file, scale=scale)

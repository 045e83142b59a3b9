"""Pictures and a window in three dimensions: the only place that knows PyVista and VTK.

Importing this loads neither; they come with the first picture, once it is sure that they can draw here.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__all__ = [
    "display_report",
    "draw_building_view",
    "draw_camera",
    "draw_view",
    "open_window",
    "require_display",
    "save_isometric",
    "view_picture",
]

if TYPE_CHECKING:
    from raycover.draw.view3d.building_still import draw_building_view
    from raycover.draw.view3d.camera_still import draw_camera
    from raycover.draw.view3d.environment import display_report, require_display
    from raycover.draw.view3d.isometric import save_isometric
    from raycover.draw.view3d.still import draw_view, view_picture
    from raycover.draw.view3d.window import open_window

_HOME = {
    "draw_building_view": "raycover.draw.view3d.building_still",
    "draw_camera": "raycover.draw.view3d.camera_still",
    "display_report": "raycover.draw.view3d.environment",
    "draw_view": "raycover.draw.view3d.still",
    "open_window": "raycover.draw.view3d.window",
    "require_display": "raycover.draw.view3d.environment",
    "save_isometric": "raycover.draw.view3d.isometric",
    "view_picture": "raycover.draw.view3d.still",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")

"""Bodies, map, lobes and people put on a PyVista stage: colours, light, lines. What is drawn, not what it means."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.asking.lobes import Lobe
from raycover.draw import palette
from raycover.draw.view3d.camera import Fit, Lens
from raycover.draw.view3d.floor_map import FloorMap
from raycover.draw.view3d.meshes import to_lines, to_polylines, to_surface
from raycover.draw.view3d.solids import Drawn

Floats = NDArray[np.floating[Any]]

#: (face, edge) colours by role; an edge of None draws none.
COLOURS: dict[str, tuple[str, str | None]] = {
    "slab": ("#DAD8D2", "#7C858A"),
    "wall": ("#F4F3F0", "#4A555C"),
    "cap": (palette.INK, None),
    "door": ("#C3CACD", "#4A555C"),
    "panel": ("#EFEEEA", "#4A555C"),
    "desk": (palette.BENCH, "#5E6B73"),
    "sheet": ("#E6E5E0", "#5E6B73"),
    "stair": ("#E3E0DA", "#4A555C"),
    "solid": ("#DAD7D0", "#4A555C"),
    "fixture": ("#FBFBF9", "#5E6B73"),
    "mesh": ("#D3D6D5", "#5E6B73"),
    "goods 0": ("#E6E2D8", "#8C8F8C"),
    "goods 1": ("#DCD8CD", "#8C8F8C"),
    "goods 2": ("#EEEBE3", "#8C8F8C"),
    "pallet": ("#C6BDA9", None),
    "upright": ("#6C7980", "#4A555C"),
    "beam": ("#98A2A7", "#5E6B73"),
    "deck": ("#CDC9BF", "#7C858A"),
    "wire": ("#98A2A7", None),
    "guard": ("#8A7F5C", "#4A555C"),
    "ceiling": ("#D3D2CE", "#B4B8B7"),
    "hung": ("#DAD7D0", "#4A555C"),
}
#: Without light, colours come out 1.12 times as bright: ambient and diffuse parts add up. From above no light reaches
#: the face of a ceiling.
_UNLIT = ("cap", "ceiling")
#: A lobe's shell is so many times stronger where it has passed a wall.
_THROUGH = 1.55
PEOPLE = "#2A363E"
#: Seated people whom nobody notices.
UNNOTICED = "#D9A441"
#: Outlines of what was cut away: seen at a glance, or held back where all racking is cut.
CLEAR_GHOSTS, FAINT_GHOSTS = "#4A555C", "#A3ACB1"


def light(pyvista: Any, plotter: Any, toward: Floats, right: Floats) -> None:
    """A warm key over the viewer's right shoulder and a cool fill from the left, in scene directions."""
    plotter.remove_all_lights()
    up = np.array([0.0, 0.0, 1.0])
    flat = np.array([toward[0], toward[1], 0.0])
    flat /= max(float(np.linalg.norm(flat)), 1e-9)
    for direction, colour, intensity in (
        (0.30 * flat + 0.42 * right + 0.85 * up, "#FFF8EE", 0.80),
        (0.75 * flat - 0.62 * right + 0.25 * up, "#E3ECF5", 0.30),
    ):
        lamp = pyvista.Light(position=tuple(100 * direction), focal_point=(0, 0, 0), color=colour, intensity=intensity)
        lamp.positional = False
        plotter.add_light(lamp)


def add_solids(pyvista: Any, plotter: Any, drawn: Drawn, *, line_px: float, ghosts: str = CLEAR_GHOSTS) -> list[Any]:
    """Every opaque body with its edge lines, and the outlines of what was cut away."""
    actors = []
    for role, body in drawn.bodies.items():
        face, edge = COLOURS[role]
        pale = role in ("wall", "panel", "desk")
        actors.append(
            plotter.add_mesh(
                to_surface(pyvista, body.triangles), color=face, lighting=role not in _UNLIT,
                ambient=0.68 if pale else 0.60, diffuse=0.46 if pale else 0.52, specular=0.0, smooth_shading=False,
                show_scalar_bar=False, reset_camera=False,
            )
        )  # fmt: skip
        if edge is not None and len(body.edges):
            actors.append(_lines(pyvista, plotter, to_lines(pyvista, body.edges), edge, line_px))
    if len(drawn.ghosts):
        actors.append(_lines(pyvista, plotter, to_lines(pyvista, drawn.ghosts), ghosts, line_px * 0.8))
    if len(drawn.glass_lines):
        actors.append(_lines(pyvista, plotter, to_lines(pyvista, drawn.glass_lines), "#4F6F7D", line_px * 1.3))
    return actors


def add_glass(pyvista: Any, plotter: Any, drawn: Drawn) -> Any | None:
    if drawn.glass.empty:
        return None
    return plotter.add_mesh(
        to_surface(pyvista, drawn.glass.triangles), color=palette.GLASS, opacity=0.34, lighting=False,
        reset_camera=False, show_scalar_bar=False,
    )  # fmt: skip


def add_map(pyvista: Any, plotter: Any, floor_map: FloorMap, *, line_px: float, limits: bool = True) -> list[Any]:
    """The map on its plane, unlit: its colours are data. `limits`: with the limit lines."""
    actors = []
    texture = pyvista.numpy_to_texture(np.ascontiguousarray(floor_map.image[::-1]))
    texture.interpolate = True
    texture.mipmap = True
    for sheet in floor_map.sheets:
        surface = to_surface(pyvista, sheet.triangles)
        surface.active_texture_coordinates = sheet.places.reshape(-1, 2).astype(np.float32)
        actors.append(plotter.add_mesh(surface, texture=texture, lighting=False, reset_camera=False))
    if limits and floor_map.limits:
        lines = to_polylines(pyvista, floor_map.limits)
        if lines.n_points:
            actors.append(_lines(pyvista, plotter, lines, palette.INK, line_px * 0.9))
    return actors


def add_people(pyvista: Any, plotter: Any, figures: Sequence[Floats], *, colour: str = PEOPLE) -> Any | None:
    """Figures (n, 3, 3), smooth, dark unless another colour is given."""
    if not len(figures):
        return None
    surface = to_surface(pyvista, np.concatenate(figures)).clean(tolerance=1e-5)
    return plotter.add_mesh(
        surface, color=colour, ambient=0.55, diffuse=0.62, specular=0.0, smooth_shading=True, reset_camera=False,
        show_scalar_bar=False,
    )  # fmt: skip


def add_drops(pyvista: Any, plotter: Any, tops: Floats, feet: Floats, dot_m: float, *, line_px: float) -> list[Any]:
    """Lines from detectors (n, 3) to the points below them, and dots there."""
    if not len(tops):
        return []
    actors = [_lines(pyvista, plotter, to_lines(pyvista, np.stack([tops, feet], axis=1)), palette.ACCENT, line_px)]
    phi = np.linspace(0, 2 * np.pi, 25)
    rim = np.column_stack([np.cos(phi), np.sin(phi), np.zeros(25)]) * dot_m
    centre = feet[:, None] + [0, 0, 0.012]
    fan = np.stack(np.broadcast_arrays(centre, centre + rim[:-1], centre + rim[1:]), axis=2).reshape(-1, 3, 3)
    actors.append(plotter.add_mesh(to_surface(pyvista, fan), color=palette.ACCENT, lighting=False, reset_camera=False))
    return actors


def add_footprints(pyvista: Any, plotter: Any, dashes: Floats, *, line_px: float) -> list[Any]:
    """Dashes (n, 2, 3) of declared footprints: accent on a white casing."""
    if not len(dashes):
        return []
    return [_lines(pyvista, plotter, to_lines(pyvista, dashes + np.array([0, 0, 0.004])), palette.ACCENT, line_px)]


def add_covered(pyvista: Any, plotter: Any, lines: Floats, *, line_px: float) -> list[Any]:
    """Outlines (n, 2, 3) of what lies just under a map."""
    return [_lines(pyvista, plotter, to_lines(pyvista, lines), palette.THIRD_INK, line_px)] if len(lines) else []


def add_links(pyvista: Any, plotter: Any, lines: Floats, dash_m: float, *, line_px: float) -> list[Any]:
    """Dashes along lines (n, 2, 3) between storeys that are pulled apart."""
    dashes = []
    for start, end in lines:
        length = float(np.linalg.norm(end - start))
        n = max(round(length / (1.6 * dash_m)), 1)
        at = np.arange(n)[:, None] / n
        along = end - start
        dashes.append(np.stack([start + at * along, start + (at + 0.6 / n) * along], axis=1))
    if not dashes:
        return []
    return [_lines(pyvista, plotter, to_lines(pyvista, np.concatenate(dashes)), palette.SECOND_INK, line_px)]


def add_lobe(
    pyvista: Any,
    plotter: Any,
    lobe: Lobe,
    *,
    line_px: float,
    opacity: float = 0.22,
    through: NDArray[np.bool_] | None = None,
    colours: tuple[str, str] = palette.TINTS[0],
) -> list[Any]:
    """A translucent shell and its ribs in some colours; where it has come `through` a wall, violet and stronger."""
    if not len(lobe.triangles):
        return []
    beyond = np.zeros(len(lobe.triangles), bool) if through is None else through
    actors = [
        plotter.add_mesh(
            to_surface(pyvista, lobe.vertices[lobe.triangles[chosen]]), color=colour, opacity=strength, lighting=False,
            culling="back", reset_camera=False, show_scalar_bar=False,
        )
        for chosen, colour, strength in ((~beyond, colours[0], opacity), (beyond, palette.THROUGH, _THROUGH * opacity))
        if chosen.any()
    ]  # fmt: skip
    ribs = to_polylines(pyvista, lobe.ribs)
    if ribs.n_points:
        actors.append(
            plotter.add_mesh(
                ribs, color=colours[1], opacity=0.55, line_width=line_px, lighting=False, reset_camera=False
            )
        )
    return actors


def add_dots(
    pyvista: Any, plotter: Any, tops: Floats, on: NDArray[np.bool_], *, chosen: int | None = None, scale: float = 1.0
) -> list[Any]:
    """Detectors (n, 3) as dots: the chosen one large, others paler then, those that are off grey."""
    index = np.arange(len(tops))
    pale = "#C98F80" if chosen is not None else palette.ACCENT
    actors = []
    for mine, colour, size in (
        (~on & (index != chosen), palette.THIRD_INK, 9),
        (on & (index != chosen), pale, 9 if chosen is not None else 13),
        (~on & (index == chosen), palette.THIRD_INK, 15),
        (on & (index == chosen), palette.ACCENT, 15),
    ):
        actors += add_points(pyvista, plotter, tops[mine], colour, size * scale)
    return actors


def add_points(pyvista: Any, plotter: Any, points: Floats, colour: str, size_px: float) -> list[Any]:
    """Round dots (n, 3)."""
    if not len(points):
        return []
    return [
        plotter.add_mesh(
            pyvista.PolyData(np.asarray(points, np.float32)), color=colour, style="points", point_size=size_px,
            render_points_as_spheres=True, lighting=False, reset_camera=False, show_scalar_bar=False,
        )
    ]  # fmt: skip


def add_ways(pyvista: Any, plotter: Any, lines: Floats, colour: str, *, line_px: float) -> list[Any]:
    """Lines of sight (n, 2, 3), before all else: where a wall hides one is told by where it crosses."""
    if not len(lines):
        return []
    return [before_all(_lines(pyvista, plotter, to_lines(pyvista, lines), colour, line_px))]


def before_all(actor: Any) -> Any:
    """An actor drawn over what stands before it."""
    actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
    actor.mapper.SetRelativeCoincidentTopologyLineOffsetParameters(0.0, -66_000.0)
    actor.mapper.SetRelativeCoincidentTopologyPointOffsetParameter(-66_000.0)
    return actor


def flat_image(pyvista: Any, image: NDArray[np.uint8]) -> Any:
    """A picture (h, w, 3), row 0 at the top, to lie flat on the window, a pixel a pixel."""
    from vtkmodules.vtkRenderingCore import vtkActor2D, vtkImageMapper

    height, width = image.shape[:2]
    grid = pyvista.ImageData(dimensions=(width, height, 1))
    grid.point_data["rgb"] = np.ascontiguousarray(image[::-1]).reshape(-1, 3)
    grid.set_active_scalars("rgb")
    mapper = vtkImageMapper()
    mapper.SetInputData(grid)
    mapper.SetColorWindow(255)
    mapper.SetColorLevel(127.5)
    actor = vtkActor2D()
    actor.SetMapper(mapper)
    return actor


def aim(plotter: Any, placed: Fit, points: Floats) -> None:
    """Point the camera as a fit says, near and far planes close about all points (n, 3).

    A tight range matters: ambient occlusion reads depths, and in a wide range they are too coarse for it.
    """
    view = placed.view
    if isinstance(placed, Lens):
        camera, depth = plotter.camera, placed.depth(points)
        camera.parallel_projection = False
        camera.position, camera.focal_point = tuple(placed.eye), tuple(placed.target)
        camera.up = tuple(view.up)
        camera.view_angle = placed.fov_deg
        ahead = depth[depth > 0]
        far = float(ahead.max()) + 1.0 if len(ahead) else 10.0
        camera.clipping_range = (max(0.08, 0.5 * float(ahead.min(initial=far))), far)
        return
    middle = placed.centre[0] * view.right + placed.centre[1] * view.up
    depth = points @ view.toward
    away = float(depth.max()) + 10.0
    camera = plotter.camera
    camera.parallel_projection = True
    camera.focal_point = tuple(middle)
    camera.position = tuple(middle + view.toward * away)
    # Straight up, which is the same picture, keeps the horizon level when the camera is turned by hand.
    camera.up = (0.0, 0.0, 1.0)
    camera.parallel_scale = placed.height * placed.metres / 2
    camera.clipping_range = (9.0, away - float(depth.min()) + 1.0)


def _lines(pyvista: Any, plotter: Any, lines: Any, colour: str, width_px: float) -> Any:
    actor = plotter.add_mesh(lines, color=colour, line_width=width_px, lighting=False, reset_camera=False)
    # Nearer by a hair than the faces they run along.
    actor.mapper.SetResolveCoincidentTopologyToPolygonOffset()
    actor.mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-1.0, -2.0)
    return actor

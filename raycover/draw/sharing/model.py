"""A plane of a solved scene as a model: binary glTF that slides, browsers and drawing programs open."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover import __version__
from raycover.building.parts import Building
from raycover.draw import palette, words
from raycover.draw.sharing.cells import halves
from raycover.draw.sharing.gltf import Glb, chained
from raycover.draw.sharing.shells import Shell, make_shells
from raycover.draw.sharing.storeys import Level, ShownPlane, show_plane
from raycover.draw.view3d.meshes import round_cone
from raycover.draw.view3d.stage import COLOURS, PEOPLE, UNNOTICED
from raycover.draw.view3d.still import representative
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import Coverage

Floats = NDArray[np.floating[Any]]

#: Nodes by what they hold: (name, roles of bodies).
GROUPS = (
    ("floor slab", ("slab",)),
    ("walls", ("wall", "cap")),
    ("doors", ("door",)),
    ("panels", ("panel",)),
    ("stairs", ("stair",)),
    ("furniture", ("desk", "sheet", "fixture")),
    ("racking", ("upright", "beam", "deck", "wire", "guard")),
    ("goods", ("goods 0", "goods 1", "goods 2", "pallet")),
    ("solids", ("solid",)),
    ("machines", ("mesh",)),
)
#: Edges are drawn of these only: those of goods and racking would double a file.
_EDGED = ("slab", "wall", "door", "panel", "stair", "desk", "sheet", "fixture", "solid", "mesh")
#: With no choice given, the lobes of this many representative detectors.
FEW = 4
_LOBE_OPACITY, _THROUGH_OPACITY = 0.2, 0.32
#: Maps of more cells than this have neighbours of one colour in one piece; smaller ones a piece a cell.
CELLS_EACH = 30_000
#: Bodies of more triangles leave normals out: readers then make flat ones themselves (glTF 2.0, 3.7.2.1), and corners
#: of a box need be held once only.
MOST_WITH_NORMALS = 12_000


def model_glb(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    rays: RayScene,
    *,
    plane_name: str | None = None,
    cut_m: float | None = None,
    lobes: str = "few",
) -> bytes:
    """A plane's model as GLB. Raises KeyError for an unknown plane.

    Walls are cut `cut_m` above their floor (what suits the building's size if not given), racking and goods stand
    whole. `lobes` is "all", "few" (those of four representative detectors) or "none". Storeys stay where they are,
    each under a node of its own.
    """
    name = next(iter(coverage.by_plane())) if plane_name is None else plane_name
    shown = show_plane(building, coverage, name, cut_m=cut_m, apart=False)
    extras = {"title": scene.title, "plane": name, "caution": " ".join(words.CAUTION)}
    glb = Glb(f"raycover {__version__}", extras)
    root = glb.node(scene.title or "scene")
    several = len(shown.levels) > 1
    for level in shown.levels:
        place = glb.node(f"storey {level.name}", under=root) if several else root
        _add_level(glb, place, level, shown)
    _add_detectors(glb, root, shown)
    motion = shown.planes[0].surface.motion
    chosen = {"all": shown.units, "few": representative(shown.units, shown.planes, FEW), "none": ()}[lobes]
    _add_lobes(glb, root, make_shells(Weather.of(scene), building, rays, chosen, motion))
    return glb.bytes()


def _add_level(glb: Glb, place: int, level: Level, shown: ShownPlane) -> None:
    for some in level.maps:
        cells = some.cells
        rgb = palette.margin_rgb(some.plane.margin_db[cells.rows, cells.columns], some.plane.reserve_db)
        corners, rgb = cells.strips(rgb) if len(rgb) > CELLS_EACH else (cells.corners, rgb)
        share = {"seen": round(some.plane.share, 6), "assured": round(some.plane.assured_share, 6)}
        node = glb.node(f"map {some.name}", under=place, extras=share)
        white = glb.material("map", palette.PAPER, unlit=True)
        glb.triangles(node, white, halves(corners), rgb=np.repeat(rgb, 2, axis=0), flat=False)
    drawn = level.drawn
    for name, roles in GROUPS:
        held = [role for role in roles if role in drawn.bodies]
        if not held:
            continue
        node = glb.node(name, under=place)
        for role in held:
            face, edge = COLOURS[role]
            body = drawn.bodies[role]
            flat = len(body.triangles) <= MOST_WITH_NORMALS
            glb.triangles(node, glb.material(role, face, unlit=role == "cap"), body.triangles, flat=flat)
            if edge is not None and role in _EDGED:
                glb.lines(node, glb.material(f"edge {edge}", edge, unlit=True), body.edges)
    if not drawn.glass.empty:
        node = glb.node("glazing", under=place)
        glb.triangles(node, glb.material("glass", palette.GLASS, opacity=0.34), drawn.glass.triangles)
        glb.lines(node, glb.material("frames", "#4F6F7D", unlit=True), drawn.glass_lines)
    if len(drawn.ghosts):
        node = glb.node("overhead outlines", under=place)
        glb.lines(node, glb.material("outline", "#4A555C", unlit=True), drawn.ghosts)
    for name, figures, colour in (
        ("seated people, noticed", level.seated, PEOPLE),
        ("seated people, not noticed", level.unnoticed, UNNOTICED),
    ):
        if len(figures):
            glb.triangles(
                glb.node(name, under=place), glb.material(name, colour), figures, flat=len(figures) <= MOST_WITH_NORMALS
            )


def _add_detectors(glb: Glb, root: int, shown: ShownPlane) -> None:
    if not shown.units:
        return
    place = glb.node("detectors", under=root)
    corners = np.concatenate([some.cells.corners.reshape(-1, 3) for level in shown.levels for some in level.maps])
    span = float(np.hypot(*np.ptp(corners[:, :2], axis=0))) if len(corners) else 10.0
    radius = float(np.clip(span / 220, 0.05, 0.35))
    accent = glb.material("detector", palette.ACCENT)
    line = glb.material("drop line", palette.ACCENT, unlit=True)
    for unit, top, foot in zip(shown.units, shown.tops, shown.feet, strict=True):
        about = {"unit": unit.title, "kind": unit.kind, "mounting_m": round(float(unit.mounting), 3)}
        node = glb.node(f"detector {unit.name}", under=place, extras=about)
        glb.triangles(node, accent, round_cone(top, top + np.array([0, 0, radius / 4]), radius, radius))
        glb.lines(node, line, np.stack([top, foot])[None])


def _add_lobes(glb: Glb, root: int, shells: dict[str, Shell]) -> None:
    if not shells:
        return
    place = glb.node("lobes", under=root)
    for name, shell in shells.items():
        node = glb.node(f"lobe {name}", under=place)
        face, rib = shell.colours
        if len(shell.free):
            tinted = glb.material(f"lobe {face}", face, opacity=_LOBE_OPACITY, unlit=True)
            glb.triangles(node, tinted, shell.free, flat=False)
        if len(shell.beyond):
            beyond = glb.material("lobe through a wall", palette.THROUGH, opacity=_THROUGH_OPACITY, unlit=True)
            glb.triangles(node, beyond, shell.beyond, flat=False)
        glb.lines(node, glb.material(f"lobe ribs {rib}", rib, opacity=0.55, unlit=True), chained(shell.lobe.ribs))

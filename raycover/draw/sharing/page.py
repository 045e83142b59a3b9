"""A solved scene as one page of HTML: turned in any browser, asked by clicks, with nothing fetched from anywhere.

What a click says is read from the coverage's own arrays, which the page holds; its script computes no physics. With
detectors switched off, a cell's margin is the best of the others' own margins, as in `coverage.combine`.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from importlib import resources
from typing import Any

import numpy as np
from scipy import ndimage

from raycover import __version__
from raycover.building.parts import Building
from raycover.draw import palette, words
from raycover.draw.footprints import outline, within
from raycover.draw.glyphs import WORDS, sort_of
from raycover.draw.sharing.gltf import chained
from raycover.draw.sharing.pack import Pack, script_json
from raycover.draw.sharing.shells import Shell, make_shells
from raycover.draw.sharing.storeys import WHOLE_M, Level, ShownMap, ShownPlane, show_plane
from raycover.draw.tables import letters
from raycover.draw.title_block import state_shown
from raycover.draw.view3d.floor_map import map_level_m
from raycover.draw.view3d.stage import COLOURS, PEOPLE, UNNOTICED
from raycover.draw.view3d.still import representative
from raycover.errors import InputError, Problem
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import CAUSES, Weather
from raycover.solving.coverage import Coverage, PlaneCoverage

#: So many cells of all maps together, at most: more make a page that phones do not open.
MOST_CELLS = 1_000_000
#: So many margins of single detectors; beyond, detectors are switched on and off without the map following.
MOST_MARGINS = 12_000_000
#: Gaps listed and lettered a map, the largest.
_MOST_GAPS = 24
_SMALLEST_GAP_M2 = 0.05
#: Lobes shown when the page opens.
_FIRST_LOBES = 2
_GROUPS = {
    "goods": ("goods 0", "goods 1", "goods 2", "pallet"),
    "racking": ("upright", "beam", "deck", "wire", "guard"),
}
#: What the inside of a cut thing is filled with; others with a shade of their own.
_INK_INSIDE = ("wall", "panel", "door", "cap", "stair")
_INSIDE = "#8E969A"


def page_html(
    scene: Scene, building: Building, coverage: Coverage, rays: RayScene, *, cut_m: float | None = None
) -> str:
    """The page. Walls and racking are first cut `cut_m` above their floor, by what suits the size if not given.

    Raises InputError where the maps have more than `MOST_CELLS` cells. The same input gives the same text.
    """
    n_cells = sum(int(plane.surface.inside.sum()) for plane in coverage.values())
    if n_cells > MOST_CELLS:
        raise InputError(
            [
                Problem(
                    "page-too-large",
                    f"the maps have {n_cells:,} cells, a page holds {MOST_CELLS:,}",
                    scene.position("grid"),
                    "make grid coarser, map fewer planes, or export a model (-o model.glb), which holds one plane",
                )
            ]
        )
    pack = Pack()
    held = _data(pack, scene, building, coverage, rays, cut_m)
    parts = {
        "TITLE": html.escape(scene.title or "raycover"),
        "STYLE": _file("page.css"),
        "LICENCE": html.escape(_file("three-LICENSE.txt")),
        "LIBRARY": _file("three.min.js"),
        "VIEWER": _file("viewer.js"),
        "DATA": script_json(held),
        "ARRAYS": pack.text(),
    }
    pieces = _file("page.html").split("%%")
    # Placeholders stand between double percent signs, so that no text put in is looked through again.
    return "".join(parts[piece] if k % 2 else piece for k, piece in enumerate(pieces))


def _file(name: str) -> str:
    return resources.files("raycover.draw.sharing").joinpath("web", name).read_text(encoding="utf-8")


def _data(
    pack: Pack, scene: Scene, building: Building, coverage: Coverage, rays: RayScene, cut_m: float | None
) -> dict[str, Any]:
    shown = [show_plane(building, coverage, name, cut_m=WHOLE_M, apart=True) for name in coverage.by_plane()]
    n_margins = sum(p.margin_db.size for plane in coverage.values() for p in plane.patches if p is not None)
    each = n_margins <= MOST_MARGINS
    lobes = {
        motion: make_shells(Weather.of(scene), building, rays, coverage.units, motion)
        for motion in dict.fromkeys(some.planes[0].surface.motion for some in shown)
    }
    rooms = {room.name for room in building.rooms}
    several = len(building.storeys) > 1
    first = representative(coverage.units, shown[0].planes, _FIRST_LOBES)
    return {
        "raycover": __version__,
        "title": scene.title,
        "revision": " · ".join(part for part in (scene.revision and f"revision {scene.revision}", scene.date) if part),
        "reserve": coverage.reserve_db,
        "north": scene.north_deg,
        "cut": cut_m if cut_m is not None else round(shown[0].cut_m, 2),
        "classes": _classes(coverage.reserve_db),
        "causes": [_cause_words(code) for code in CAUSES],
        "caution": list(words.CAUTION),
        "each": each,
        "units": [
            {
                "name": unit.name,
                "title": unit.title,
                "words": WORDS[sort_of(unit)],
                "kind": unit.kind,
                "mounting": round(float(unit.mounting), 3),
                "lobe": unit in first,
                "lobes": {motion: _shell(pack, some[unit.name]) for motion, some in lobes.items() if unit.name in some},
            }
            for unit in coverage.units
        ],
        "planes": [_plane(pack, scene, some, coverage, rooms, each=each, several=several) for some in shown],
        "people": {"noticed": PEOPLE, "missed": UNNOTICED},
        "through": palette.THROUGH,
    }


def _shell(pack: Pack, shell: Shell) -> dict[str, Any]:
    """A lobe: its faces, those beyond a wall if there are any, its ribs and colours."""
    face, rib = shell.colours
    found = {**pack.indexed(shell.free), "ribs": pack.indexed(chained(shell.lobe.ribs)), "tint": face, "rib": rib}
    if len(shell.beyond):
        found["beyond"] = pack.indexed(shell.beyond)
    return found


def _classes(reserve_db: float) -> list[dict[str, Any]]:
    """The classes with their colours, one a step of `palette.STEP_DB` from the lower bound."""
    found = []
    for k, one in enumerate(palette.classes(reserve_db)):
        n = max(int(np.ceil((one.to_db - one.from_db) / palette.STEP_DB - 1e-9)), 1)
        margins = one.from_db + (np.arange(n) + 0.5) * palette.STEP_DB
        if one.to_db <= one.from_db:
            rgb = palette.class_rgb(k, 0.0)[None]
        else:
            rgb = palette.margin_rgb(np.minimum(margins, one.to_db - 1e-6), reserve_db)
        found.append({"name": one.name, "from": one.from_db, "to": one.to_db, "rgb": rgb.tolist()})
    return found


def _cause_words(code: str) -> str:
    """Why a cell is missed, {who} being the detector nearest to seeing it."""
    return {
        "blocked": "hidden from {who}",
        "material-loss": "too weak from {who}",
        "out-of-reach": "beyond the reach of {who}",
        "outside-lens": "outside the lens of {who}",
        "masked": "masked at {who}",
        "too-warm": "air too warm for {who}",
    }.get(code, "")


def _plane(
    pack: Pack, scene: Scene, shown: ShownPlane, coverage: Coverage, rooms: set[str], *, each: bool, several: bool
) -> dict[str, Any]:
    surface = shown.planes[0].surface
    return {
        "name": shown.name,
        "words": words.subtitle(surface, coverage.air, state_shown(scene)),
        "mapped": words.mapped(surface) if len(shown.planes) == 1 else "floors and stairs",
        "motion": surface.motion,
        "azimuth": float(shown.view.azimuth_deg),
        "elevation": float(shown.view.elevation_deg),
        "tops": shown.tops.round(3).tolist(),
        "feet": shown.feet.round(3).tolist(),
        "lift": [round(float(shown.levels[k].offset[2]), 3) for k in shown.home],
        "footprints": _footprints(pack, shown),
        "levels": [
            {
                "name": level.name,
                "floor": round(float(level.floor + level.offset[2]), 4),
                "tall": round(_tall(level), 3),
                "parts": _parts(pack, level),
                "maps": [_map(pack, one, level, rooms, each=each, several=several) for one in level.maps],
                "rooms": _room_names(level),
            }
            for level in shown.levels
        ],
    }


def _tall(level: Level) -> float:
    """How high things stand over a storey's floor (m)."""
    points = level.drawn.triangles.reshape(-1, 3)
    top = float(points[:, 2].max()) if len(points) else 0.0
    return max(top - level.floor - float(level.offset[2]), 0.5)


def _parts(pack: Pack, level: Level) -> list[dict[str, Any]]:
    """Bodies by role, with how each is drawn and cut."""
    group = {role: name for name, roles in _GROUPS.items() for role in roles}
    found: list[dict[str, Any]] = []
    for role, body in level.drawn.bodies.items():
        face, edge = COLOURS[role]
        made: dict[str, Any] = {
            "role": role, "group": group.get(role, "building"), "face": face, "edge": edge,
            "inside": palette.INK if role in _INK_INSIDE else _INSIDE, "cut": role not in ("slab", "stair"),
            "flat": role == "cap",
        }  # fmt: skip
        if group.get(role) == "goods":
            made |= _whole_loads(pack, body.triangles, body.edges)
        else:
            made["faces"] = pack.indexed(body.triangles)
            made["lines"] = pack.indexed(body.edges) if edge is not None and len(body.edges) else None
        found.append(made)
    drawn = level.drawn
    if not drawn.glass.empty:
        found.append(
            {"role": "glass", "group": "building", "face": palette.GLASS, "edge": "#4F6F7D", "opacity": 0.34,
             "cut": True, "flat": True, "faces": pack.indexed(drawn.glass.triangles),
             "lines": pack.indexed(drawn.glass_lines)}
        )  # fmt: skip
    if len(level.covered):
        found.append({"role": "covered", "group": "building", "edge": palette.THIRD_INK, "cut": False,
                      "faces": None, "lines": pack.indexed(level.covered)})  # fmt: skip
    for role, figures, colour in (("noticed", level.seated, PEOPLE), ("missed", level.unnoticed, UNNOTICED)):
        if len(figures):
            found.append(
                {"role": role, "group": "people", "face": colour, "cut": False, "faces": pack.indexed(figures)}
            )
    return found


def _whole_loads(pack: Pack, triangles: Any, edges: Any) -> dict[str, Any]:
    """Boxes of loads in the order of their tops: a load is shown whole or, its top above the cut, not at all."""
    n = len(edges) // 12
    tops = triangles.reshape(n, -1, 3)[..., 2].max(axis=1)
    order = np.argsort(tops, kind="stable")
    return {
        "faces": pack.indexed(triangles.reshape(n, -1, 3, 3)[order].reshape(-1, 3)),
        "lines": pack.indexed(edges.reshape(n, -1, 2, 3)[order].reshape(-1, 3)),
        "tops": pack.add(tops[order], "<f4"),
    }


def _map(pack: Pack, one: ShownMap, level: Level, rooms: set[str], *, each: bool, several: bool) -> dict[str, Any]:
    plane, cells = one.plane, one.cells
    at = cells.rows, cells.columns
    rows, columns = plane.surface.shape
    where = (cells.rows * columns + cells.columns).astype(np.int64)
    patches = []
    for index, patch in enumerate(plane.patches if each else ()):
        if patch is None:
            continue
        margins = np.full((rows, columns), -np.inf, np.float32)
        margins[patch.window] = patch.margin_db
        mine = margins[at]
        some = np.flatnonzero(np.isfinite(mine))
        if len(some):
            patches.append({"unit": index, "cells": pack.add(np.diff(some, prepend=0), "<i4"),
                            "margin": pack.add(mine[some], "<f4")})  # fmt: skip
    middles = cells.corners.mean(axis=1)
    return {
        "name": one.name,
        "corners": pack.points(cells.corners.reshape(-1, 3)),
        "where": pack.add(np.diff(where, prepend=0), "<i4"),
        "columns": columns,
        "margin": pack.add(plane.margin_db[at], "<f4"),
        "area": pack.add(plane.surface.area[at], "<f4"),
        "cause": pack.add(np.maximum(plane.cause[at], 0), "|i1"),
        "best": pack.add(plane.best_detector[at], "<i4"),
        "gap": pack.add(plane.gap[at], "<i4"),
        "patches": patches,
        "gaps": _gaps(plane, level, middles, plane.gap[at], rooms, several=several),
    }


def _gaps(
    plane: PlaneCoverage, level: Level, middles: Any, labels: Any, rooms: set[str], *, several: bool
) -> list[dict[str, Any]]:
    """The gaps with a cell here: letters for the largest, words for all of them."""
    here = set(np.unique(labels).tolist())
    mine = [gap for gap in plane.gaps if gap.label in here]
    found = []
    names = letters(_MOST_GAPS)
    for k, gap in enumerate(mine):
        if k < _MOST_GAPS and gap.area_m2 >= _SMALLEST_GAP_M2:
            nearest = int(np.linalg.norm(middles - (np.array(gap.at) + level.offset), axis=1).argmin())
            found.append(
                {"label": gap.label, "letter": names[k], "area": round(gap.area_m2, 3),
                 "widest": round(gap.widest_m, 3), "room": gap.room, "cell": nearest,
                 "cause": words.cause(gap, rooms, stacked=several)}
            )  # fmt: skip
        else:
            found.append({"label": gap.label, "cause": words.cause(gap, rooms, stacked=several)})
    return found


def _room_names(level: Level) -> list[dict[str, Any]]:
    """Names of rooms, each in the middle of the widest free place of its map."""
    found = []
    for one in level.maps:
        surface = one.plane.surface
        if surface.stairs is not None or len(surface.room_names) < 2:
            continue
        room = surface.room[one.cells.rows, one.cells.columns]
        for index, name in enumerate(surface.room_names):
            mine = np.flatnonzero(room == index)
            if not len(mine):
                continue
            depth = ndimage.distance_transform_edt(np.pad(surface.room == index, 1))[1:-1, 1:-1]
            chosen = mine[int(depth[one.cells.rows[mine], one.cells.columns[mine]].argmax())]
            found.append({"name": name, "at": one.cells.corners[chosen].mean(axis=0).round(3).tolist()})
    return found


def _footprints(pack: Pack, shown: ShownPlane) -> list[dict[str, Any] | None]:
    """Declared footprints on the map, by detector; None where nothing is declared for the motion."""
    level = map_level_m(shown.planes[0])
    found: list[dict[str, Any] | None] = []
    for unit, home in zip(shown.units, shown.home, strict=True):
        z = float(unit.position[2] - unit.mounting + level)
        ring = outline(unit, shown.planes[0].surface.motion, z)
        lines = [] if ring is None else within(ring, shown.levels[home].area.buffer(-0.02))
        up = z + 0.012 + float(shown.levels[home].offset[2])
        placed = [np.column_stack([line, np.full(len(line), up)]) for line in lines]
        found.append(pack.indexed(chained(placed)) if placed else None)
    return found


__all__: Sequence[str] = ["MOST_CELLS", "MOST_MARGINS", "page_html"]

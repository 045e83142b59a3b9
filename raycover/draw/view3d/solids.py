"""A building as bodies to draw, by what they are made to look like. Knows no VTK: triangles and lines only."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw.view3d.camera import View
from raycover.draw.view3d.cutaway import (
    SLIM_M2,
    Cuts,
    Standing,
    UprightPiece,
    cut_heights,
    standing_things,
    upright_pieces,
)
from raycover.draw.view3d.imported import imported_bodies, imported_things
from raycover.draw.view3d.meshes import NOTHING, Body, boxes, join, level, prism, sides
from raycover.draw.view3d.overhead import JOINT_M, overhead_bodies, plates, ruled_m
from raycover.draw.view3d.walls import glass_bodies, panel_bodies, wall_bodies

Floats = NDArray[np.floating[Any]]

#: Ink on top of a cut wall (m), and the least drawn thickness of the floor slab.
_CAP_M, _SLAB_M = 0.03, 0.35
#: Wires of a deck are drawn this wide, this far apart (m): a mesh seen from afar, not the wires it has.
_WIRE_M, _WIRES_APART_M = 0.02, 0.3


@dataclass(frozen=True)
class Drawn:
    """Bodies by role, what is only outlined, glass, and the points that a picture must hold.

    `ruled_m` is how far apart ceilings are ruled, where they are shown.
    """

    bodies: dict[str, Body]
    ghosts: Floats
    glass: Body
    glass_lines: Floats
    things: list[Standing] = field(default_factory=list)
    cut_at: list[float] = field(default_factory=list)
    ruled_m: float | None = None

    @property
    def triangles(self) -> Floats:
        """(n, 3, 3): every opaque face."""
        return np.concatenate([NOTHING.triangles, *(b.triangles for b in self.bodies.values())])

    @property
    def points(self) -> Floats:
        """(n, 3): everything drawn, outlines and glass included."""
        parts = [self.triangles.reshape(-1, 3), self.ghosts.reshape(-1, 3), self.glass.triangles.reshape(-1, 3)]
        return np.concatenate(parts)


def draw_solids(
    building: Building, area: Any, view: View | None, cuts: Cuts, *, slab_m: float = _SLAB_M, low: bool = False,
    roofed: bool = False,
) -> Drawn:  # fmt: skip
    """Everything that stands in a building, cut open for a view; without one everything alike, high or `low`.

    `area` is the mapped area in plan (shapely), `slab_m` how thick the floor's edge is drawn. `roofed`: with ceilings,
    roofs and what hangs, for an eye inside.
    """
    pieces = upright_pieces(building, area, view, cuts, low=low)
    bodies: dict[str, Body] = {}
    walls = [p for p in pieces if _looks(p) == "wall"]
    bodies["wall"], bodies["cap"] = wall_bodies(walls, JOINT_M if roofed else _CAP_M)
    bodies["door"] = panel_bodies([p for p in pieces if _looks(p) == "door"])
    bodies["panel"] = panel_bodies([p for p in pieces if _looks(p) == "panel"])
    glass, glass_lines = glass_bodies([p for p in pieces if _looks(p) == "glass"])
    flat = [s for s in building.sheets if s.kind in ("desk", "sheet") or s.loc[:1] == ("desks",)]
    bodies["desk"] = join([b for s in flat if s.kind != "sheet" for b in plates(s)])
    bodies["sheet"] = join([b for s in flat if s.kind == "sheet" for b in plates(s)])
    bodies["slab"] = _slab(building, area, slab_m)
    imported = imported_things(building)
    things = standing_things(building) + imported
    cut_at = cut_heights(things, area, view, cuts, low=low)
    bodies |= _boxes(building, things, cut_at)
    bodies["deck"], bodies["wire"] = _decks(building, things, cut_at)
    first = len(things) - len(imported)
    heights = {thing.owner: height for thing, height in zip(imported, cut_at[first:], strict=True)}
    bodies["mesh"], panes = imported_bodies(building, heights)
    glass, glass_lines = join([glass, panes]), np.concatenate([glass_lines, panes.edges])
    ghosts = _ghosts(things, cut_at)
    if roofed:
        bodies["ceiling"], lights, bodies["hung"] = overhead_bodies(building)
        glass, glass_lines = join([glass, lights]), np.concatenate([glass_lines, lights.edges])
    else:
        ghosts = np.concatenate([ghosts, overhead_lines(building)])
    return Drawn(
        {k: b for k, b in bodies.items() if not b.empty}, ghosts, glass, glass_lines, things, cut_at,
        ruled_m(building) if roofed else None,
    )  # fmt: skip


def _looks(piece: UprightPiece) -> str:
    if piece.sheet.construction.glazing:
        return "glass"
    return {"door": "door", "window": "glass", "panel": "panel", "leaf": "panel"}.get(piece.sheet.kind, "wall")


def _slab(building: Building, area: Any, thickness: float) -> Body:
    """The floor's edge under each level, walls' thickness beyond the rooms. The map itself lies on top."""
    by_level: dict[float, list[Any]] = {}
    for room in building.rooms:
        by_level.setdefault(room.floor, []).append(room.polygon)
    if not by_level:
        by_level[0.0] = [area]
    voids = shapely.union_all([room.void for room in building.rooms if room.void is not None])
    beyond = max((s.construction.thickness_m for s in building.sheets if s.kind == "wall"), default=0.0) / 2
    bodies = []
    for floor, outlines in by_level.items():
        plan = shapely.union_all(outlines).buffer(max(beyond, 0.02), join_style="mitre")
        plan = plan if voids.is_empty else plan.difference(voids)
        bodies += [sides(plan, floor - thickness, floor - 0.004), level(plan, floor - 0.004)]
    return join(bodies)


def _boxes(building: Building, things: list[Standing], cut_at: list[float]) -> dict[str, Body]:
    """Solids, goods on their pallets, uprights and beams, cut at their thing's height."""
    every = building.boxes
    limit = np.full(len(every), np.inf)
    for thing, height in zip(things, cut_at, strict=True):
        limit[thing.boxes] = height
    half = every.size[:, 2] / 2
    bottom = every.centre[:, 2] - half
    top = np.minimum(every.centre[:, 2] + half, limit)
    kinds = np.array(every.kinds)
    # Goods cut through look broken: a load is drawn whole or left out, and its pallet, which comes just before, too.
    whole = (kinds != "goods") | (every.centre[:, 2] + half <= limit + 1e-6)
    whole[:-1] &= (kinds[:-1] != "pallet") | whole[1:]
    shown = (top > bottom + 1e-3) & whole

    def body(
        chosen: NDArray[np.bool_], low: Floats, high: Floats, *, shrink: float = 0.0, closed: bool = False
    ) -> Body:
        index = np.flatnonzero(chosen)
        centre, size = every.centre[index].copy(), every.size[index].copy()
        centre[:, 2], size[:, 2] = (low[index] + high[index]) / 2, high[index] - low[index]
        size[:, :2] -= shrink
        return boxes(centre, size, every.turn_rad[index], closed=closed)

    tone = (np.cumsum(kinds == "goods") * 2654435761 >> 7) % 3
    found = {f"goods {t}": body(shown & (kinds == "goods") & (tone == t), bottom, top) for t in range(3)}
    found["pallet"] = body(shown & (kinds == "pallet"), bottom, top, shrink=0.06)
    for kind in ("solid", "fixture", "upright", "beam", "guard"):
        # Undersides, so that one cut open where it is shown has an inside.
        found[kind] = body(shown & (kinds == kind), bottom, top, closed=True)
    return found


def _decks(building: Building, things: list[Standing], cut_at: list[float]) -> tuple[Body, Body]:
    """Decks and shelves of racks that are not cut away: plates, and those of open mesh as wires."""
    racks: dict[str, list[tuple[Any, float]]] = {}
    for thing, height in zip(things, cut_at, strict=True):
        if thing.rack:
            racks.setdefault(thing.owner, []).append((thing.footprint, height))
    plates, wires = [NOTHING], [NOTHING]
    for sheet in (s for s in building.sheets if s.kind == "deck"):
        flat = shapely.get_coordinates(shapely.envelope(shapely.get_parts(sheet.polygon))).reshape(-1, 5, 2)
        low, high = flat.min(axis=1), flat.max(axis=1)
        corners = sheet.frame.to_space(np.stack([low[0], high[-1]]))
        middle = shapely.Point(corners.mean(axis=0)[:2])
        z = float(corners[0, 2])
        limit = next((height for outline, height in racks.get(sheet.owner, []) if outline.contains(middle)), np.inf)
        if z > limit:
            continue
        if sheet.construction.kind == "open":
            lying, across = _wires(low, high)
            low, high = np.concatenate([lying[0], across[0]]), np.concatenate([lying[1], across[1]])
        spot = sheet.frame.to_space((low + high) / 2)
        size = np.column_stack([high - low, np.full(len(low), sheet.construction.thickness_m)])
        turn = np.full(len(low), np.arctan2(sheet.frame.u[1], sheet.frame.u[0]))
        made = boxes(spot, size, turn)
        if sheet.construction.kind == "open":
            wires.append(Body(made.triangles, NOTHING.edges))
        else:
            plates.append(made)
    return join(plates), join(wires)


def _wires(low: Floats, high: Floats) -> tuple[tuple[Floats, Floats], tuple[Floats, Floats]]:
    """Lowest and highest corners of wires along and across oblongs (n, 2), all of one size."""
    span = high[0] - low[0]
    found = []
    for axis in (0, 1):
        n = max(round(float(span[1 - axis]) / _WIRES_APART_M), 1)
        offset = np.zeros((n + 1, 2))
        offset[:, 1 - axis] = np.linspace(0, span[1 - axis] - _WIRE_M, n + 1)
        start = (low[:, None] + offset).reshape(-1, 2)
        size = np.full(2, _WIRE_M)
        size[axis] = span[axis]
        found.append((start, start + size))
    return found[0], found[1]


def overhead_lines(building: Building) -> Floats:
    """Outlines (n, 2, 3) of what a cutaway leaves out above: sloped roofs, roof lights, what hangs."""
    lines: list[Floats] = [np.zeros((0, 2, 3))]
    for roof in building.roofs:
        lines += [roof.lines, roof.ridges]
        lines += [np.stack([light, np.roll(light, -1, axis=0)], axis=1) for light in roof.lights]
    hung = np.flatnonzero([kind == "hung" for kind in building.boxes.kinds])
    if len(hung):
        every = building.boxes
        lines.append(boxes(every.centre[hung], every.size[hung], every.turn_rad[hung]).edges)
    return np.concatenate(lines)


def _ghosts(things: list[Standing], cut_at: list[float]) -> Floats:
    """Outlines (n, 2, 3) of what was cut away of racks, both rows of one together, and of bulky things."""
    groups: dict[tuple[str, int, int], list[Any]] = {}
    for k, (thing, height) in enumerate(zip(things, cut_at, strict=True)):
        if thing.top - height > 0.3 and (thing.rack or thing.footprint.area > SLIM_M2):
            key = (thing.owner if thing.rack else f"{thing.owner} {k}", round(height * 100), round(thing.top * 100))
            groups.setdefault(key, []).append(thing.footprint)
    lines: list[Floats] = [np.zeros((0, 2, 3))]
    for (_, low, high), outlines in groups.items():
        outline = shapely.simplify(shapely.convex_hull(shapely.union_all(outlines)), 0.06)
        lines.append(prism(outline, low / 100, high / 100).edges)
    return np.concatenate(lines)


def outlines_under(building: Building, level_m: float) -> Floats:
    """Outlines (n, 2, 3) on a map `level_m` over the floor of the desk tops that it covers."""
    lines: list[Floats] = [np.zeros((0, 2, 3))]
    for sheet in building.sheets:
        if sheet.kind != "desk":
            continue
        corners = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))
        z = building.floor_at(*corners[:, :2].mean(axis=0)) + level_m
        if z - float(corners[0, 2]) + 0.02 > 0.0 and level_m > 0.3:
            raised = corners.copy()
            raised[:, 2] = z + 0.008
            lines.append(np.stack([raised[:-1], raised[1:]], axis=1))
    return np.concatenate(lines)

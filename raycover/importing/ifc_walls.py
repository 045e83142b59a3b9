"""IFC walls and curtain walls → walls by centre line, with their openings and what fills them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.catalogue import Catalogue
from raycover.importing import materials
from raycover.importing.ifc_shapes import Body, Shapes, label, openings, parts, whole, words
from raycover.importing.imported import Report
from raycover.importing.materials import Made
from raycover.importing.walls import (
    Wall,
    WallOpening,
    centre_line,
    footprint_of,
    profile,
    put_in_one_piece,
    span_on_line,
    split_profile,
)

Floats = NDArray[np.floating]

#: Unfilled openings smaller than this (m²) are passages of pipes and cables.
SMALLEST_OPENING = 0.04


def wall_elements(model: Any) -> list[Any]:
    """Walls and curtain walls that stand for themselves, not as parts of others."""
    found = [e for kind in ("IfcWall", "IfcCurtainWall") for e in model.by_type(kind)]
    return [e for e in found if (parent := whole(e)) is None or not parent.is_a("IfcWall")]


class WallReader:
    """Reads one wall after another; remembers which doors and windows have found their place."""

    def __init__(self, shapes: Shapes, catalogue: Catalogue, report: Report) -> None:
        self._shapes = shapes
        self._catalogue = catalogue
        self._report = report
        self._footprints: list[Any] = []
        self.walls: list[Wall] = []
        self.placed: set[int] = set()

    def read(self, element: Any, storey: str) -> None:
        """Add the wall of an element, or leave it out with a word why."""
        name = label(element)
        body = self._shapes.body(element)
        if body is None:
            self._report.leave("walls without a body", name)
            return
        glazed = element.is_a("IfcCurtainWall")
        layers = [] if glazed else self._shapes.layers(element)
        given = [layer.thickness_m for layer in layers]
        hint = sum(t for t in given if t is not None) if given and None not in given else None
        footprint = footprint_of(body.vertices, body.faces)
        middle = _glazed_line(body) if glazed else centre_line(footprint, hint)
        if middle is None or np.linalg.norm(np.diff(middle.line, axis=0), axis=1).sum() < 0.02:
            self._report.leave("walls without a length", name)
            return
        low, high = float(body.vertices[:, 2].min()), float(body.vertices[:, 2].max())
        made = self._made_of(element, layers, middle.thickness, glazed=glazed)
        wall = Wall(name, middle.line, low, high, middle.thickness, made.ref, storey, made_of_notes=made.guesses)
        for material in made.unknown:
            self._report.guess("materials that the table does not know", material)
        if made.guesses:
            self._report.guess("what walls are made of", name)
        if middle.note:
            wall.notes.append(middle.note)
            self._report.guess("curved, bent and odd walls, written as straight pieces", name)
        if len(middle.line) == 2 and not glazed:
            self._cut_to_shape(wall, body)
        for opening, fillings in openings(element):
            self._open(wall, footprint, opening, fillings)
        if glazed:
            for part in parts(element):
                if part.is_a("IfcDoor") or part.is_a("IfcWindow"):
                    self._stand_in(wall, footprint, part, is_guess=False)
        self.walls.append(wall)
        self._footprints.append(footprint)

    def _made_of(self, element: Any, layers: Sequence[Any], thickness: float, *, glazed: bool) -> Made:
        if glazed:
            return materials.window(words(element))
        made = materials.layered(layers, thickness, self._catalogue)
        if made is not None:
            return made
        for said in words(element):
            found = materials.material_of(said)
            if found is not None and found[0] != materials.AIR:
                rows = [(found[0], 1000 * thickness)]
                return Made(materials.named(rows, self._catalogue), [f'material by its name "{said[:40]}"'])
        return materials.default_wall(thickness, self._catalogue)

    def _cut_to_shape(self, wall: Wall, body: Body) -> None:
        """Gables and slopes: the wall keeps the oblong over its whole length, the rest stands as flat sheets."""
        bottom, top, pieces = split_profile(profile(body.vertices, body.faces, wall.line))
        if not pieces:
            return
        along = (wall.line[1] - wall.line[0]) / wall.length
        wall.base, wall.top, wall.drawn = bottom, top, wall.line.copy()
        wall.gables = [np.column_stack([wall.line[0] + piece[:, :1] * along, piece[:, 1]]) for piece in pieces]
        wall.notes.append("not an oblong in elevation: the rest of it stands under sheets")

    def _open(self, wall: Wall, footprint: Any, opening: Any, fillings: list[Any]) -> None:
        body = self._shapes.body(opening)
        filling = fillings[0] if fillings else None
        if filling is not None:
            self.placed.add(filling.id())
        name = label(filling if filling is not None else opening)
        if body is None:
            self._report.leave("openings without a body", name)
            return
        hole = self._hole(wall, footprint, body.vertices, name)
        if hole is None:
            self._report.leave("openings that miss their wall", name)
            return
        size = float(np.linalg.norm(hole.end - hole.start)) * (hole.high - hole.low)
        if filling is None and size < SMALLEST_OPENING:
            self._report.leave("openings for pipes and cables", name)
            return
        across = float(np.prod(np.ptp(body.vertices, axis=0)))
        if body.volume < 0.9 * across and not _askew(wall.line):
            hole.notes.append("not an oblong in the model")
            self._report.guess("openings that are no oblongs", name)
        self._fill(hole, filling)
        wall.openings.append(hole)

    def _hole(self, wall: Wall, footprint: Any, points: Floats, name: str) -> WallOpening | None:
        span = span_on_line(points, wall.line, footprint)
        if span is None:
            return None
        start, end = max(span[0], 0.0), min(span[1], wall.length)
        low, high = max(float(points[:, 2].min()), wall.base), min(float(points[:, 2].max()), wall.top)
        if end - start < 0.01 or high - low < 0.01:
            return None
        if len(wall.line) > 2:
            wall.line = put_in_one_piece(wall.line, start, end)
        path = shapely.LineString(wall.line)
        ends = [shapely.get_coordinates(path.interpolate(s))[0] for s in (start, end)]
        return WallOpening(name, ends[0], ends[1], low, high)

    def _fill(self, hole: WallOpening, filling: Any | None) -> None:
        if filling is None:
            return
        if filling.is_a("IfcDoor"):
            made = materials.door(words(filling))
        elif filling.is_a("IfcWindow"):
            made = materials.window(words(filling))
        else:
            hole.notes.append(f"filled by an {filling.is_a()}, left open")
            self._report.guess("openings filled by neither door nor window, left open", hole.name)
            return
        hole.fill = made.ref
        hole.notes += made.guesses
        if made.guesses:
            kind = "doors" if filling.is_a("IfcDoor") else "windows"
            self._report.guess(f"what {kind} are made of", hole.name)

    def stand_in_walls(self, elements: Iterable[Any]) -> None:
        """Doors and windows that no opening was made for: an opening where they stand in a wall."""
        loose = [e for e in elements if e.id() not in self.placed]
        tree = shapely.STRtree(self._footprints) if self._footprints else None
        for element in loose:
            body = self._shapes.body(element)
            index = None
            if body is not None and tree is not None:
                middle = body.vertices.min(axis=0) / 2 + body.vertices.max(axis=0) / 2
                near = tree.query(shapely.Point(middle[:2]), predicate="dwithin", distance=0.1)
                standing = [int(i) for i in near if self.walls[i].base < middle[2] < self.walls[i].top]
                index = min(standing, key=lambda i: self._footprints[i].area, default=None)
            if index is None:
                self._report.leave("doors and windows in no wall", label(element))
            else:
                self._stand_in(self.walls[index], self._footprints[index], element, is_guess=True)

    def _stand_in(self, wall: Wall, footprint: Any, element: Any, *, is_guess: bool) -> None:
        self.placed.add(element.id())
        name = label(element)
        body = self._shapes.body(element)
        hole = None if body is None else self._hole(wall, footprint, body.vertices, name)
        if hole is None:
            self._report.leave("doors and windows in no wall", name)
            return
        if is_guess:
            hole.notes.append("the file has no opening for it")
            self._report.guess("openings for doors and windows that the file has none for", name)
        self._fill(hole, element)
        wall.openings.append(hole)


def _glazed_line(body: Body) -> Any:
    """A curtain wall's line: its mullions stand out, so the oblong round its plan counts, not its footprint."""
    hull = shapely.convex_hull(shapely.multipoints(body.vertices[:, :2]))
    if hull.geom_type != "Polygon":
        return None
    return centre_line(shapely.minimum_rotated_rectangle(hull))


def _askew(line: Floats) -> bool:
    way = np.abs(line[-1] - line[0])
    return bool(way.min() > 1e-3 * way.max())

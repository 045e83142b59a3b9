"""A storey with numbered points on it: for the sheet that goes to site, and for what comes back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.one_storey import one_storey
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import palette
from raycover.draw.building_plan import building_bounds, floor_surface, light_paper
from raycover.draw.mapping import paper_map
from raycover.draw.page import Box, Page
from raycover.draw.plan_page import Marked, PlanPage, draw_layers
from raycover.draw.projection import Projection
from raycover.draw.proof_marks import TICK, draw_verdict
from raycover.solving.coverage import PlaneCoverage

Floats = NDArray[np.floating]
Sort = Literal["plain", "noticed as predicted", "quiet as predicted", "missed though predicted",
               "noticed though not predicted"]  # fmt: skip
#: Radius (mm) of a numbered disc, of a mark, of a mark in the key.
RADIUS, MARK, SMALL = 2.0, 1.8, 1.25
_NUMBER_PT = 6.5
#: A line from a point to the wall that it is measured from is drawn up to this length (mm).
_LONGEST_TAPE = 18.0
#: The ring of a point where nobody was to be noticed and nobody was is this much smaller.
_QUIET = 0.55
_DIAMOND = np.array([(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0)])


@dataclass(frozen=True)
class Numbered:
    """A point on paper: its number, where it lies (x, y in m), its mark, and where on walls it is measured from."""

    number: int
    at: tuple[float, float]
    sort: Sort = "plain"
    feet: tuple[tuple[float, float], ...] = ()


def storey_shown(building: Building, name: str | None) -> Building:
    """The part of a building that a plan shows: a storey by name, all of it where there is but one."""
    storey = next((s for s in building.storeys if s.name == name), None)
    return building if storey is None or len(building.storeys) < 2 else one_storey(building, storey)


def bounds_with(shown: Building, points: Sequence[Numbered]) -> Box:
    """What a plan must show (m): the building, and points beyond it."""
    x0, y0, x1, y1 = building_bounds(shown)
    at = np.array([*(p.at for p in points), (x0, y0), (x1, y1)])
    low, high = at.min(axis=0), at.max(axis=0)
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def draw_storey_with(
    page: Page,
    building: Building,
    shown: Building,
    units: Sequence[Unit],
    points: Sequence[Numbered],
    projection: Projection,
    *,
    ways: Sequence[Floats] = (),
    plane: PlaneCoverage | None = None,
    dpi: float,
) -> Marked:
    """A storey with units, the ways walked (each (n, 2), m) and the points; over the map of a plane if one is given."""
    sketch = PlanPage.on(page, projection)
    picture = light_paper(projection)
    floor = [part for room in shown.rooms for part in shapely.get_parts(room.walkable)]
    if plane is None:
        sketch.drawing.areas(floor, 1.0, face=palette.BENCH)
    else:
        outlines = [room.walkable for room in shown.rooms]
        picture = paper_map(plane.surface, plane.margin_db, plane.reserve_db, outlines, projection, dpi=dpi)
        draw_layers(page, picture, sketch.strokes)
    sketch.draw_storey(shown, floor_surface(shown) if plane is None else plane.surface)
    placed = [projection.to_paper(way) for way in ways]
    page.lines(placed, palette.PAPER, 1.5, 9.0, alpha=0.8, clip=projection.frame)
    page.lines(placed, palette.ACCENT, 0.55, 9.1, dashes=(2.2, 1.6), clip=projection.frame)
    sketch.strokes.add(placed, 3.0)
    home = building.rooms_at(np.array([u.position for u in units]).reshape(-1, 3))
    names = {room.name for room in shown.rooms}
    mine = [u for u, k in zip(units, home, strict=True) if shown is building or building.rooms[k].name in names]
    marked = sketch.mark_units(mine)
    sketch.draw_stairs(building, shown)
    centres = projection.to_paper([p.at for p in points]).reshape(-1, 2)
    taped = [
        np.array([c, f]) for c, p in zip(centres, points, strict=True) for f in projection.to_paper(p.feet or [p.at])
    ]
    taped = [line for line in taped if RADIUS < np.linalg.norm(line[1] - line[0]) <= _LONGEST_TAPE]
    page.lines(taped, palette.SECOND_INK, 0.35, 9.2, clip=projection.frame)
    page.discs([line[1] for line in taped], 0.35, 9.2, face=palette.SECOND_INK)
    for centre, point in zip(centres, points, strict=True):
        reach = (RADIUS if point.sort == "plain" else MARK) + 0.2
        sketch.placer.take((*(centre - reach), *(centre + reach)))
        draw_mark(page, centre, point.sort)
    sketch.placer.note_strokes(sketch.strokes.lines)
    for centre, point in zip(centres, points, strict=True):
        _number(page, sketch, centre, point)
    rooms = (
        [r.walkable for r in shown.rooms],
        [r.name for r in shown.rooms],
        [float(r.walkable.area) for r in shown.rooms],
    )
    sketch.write_names(picture, marked, shown, rooms)
    return marked


def draw_mark(page: Page, at: Floats, sort: Sort, radius: float = MARK, z: float = 21.0) -> None:
    """The mark of a point: told apart by shape and by dark and light, so that a grey print shows it."""
    if sort == "plain":
        page.discs([at], RADIUS + 0.3, z, face=palette.PAPER)
        page.discs([at], RADIUS, z + 0.1, face=palette.PAPER, edge=palette.INK, width_pt=0.8)
    elif sort == "noticed as predicted":
        draw_verdict(page, at, met=True, radius=radius, z=z)
    elif sort == "missed though predicted":
        draw_verdict(page, at, met=False, radius=radius, z=z)
    elif sort == "quiet as predicted":
        page.discs([at], radius * _QUIET + 0.45, z, face=palette.PAPER)
        page.discs([at], radius * _QUIET, z + 0.1, face=palette.PAPER, edge=palette.INK, width_pt=1.1 * radius / MARK)
    else:
        for size, face, layer in ((radius * 1.25 + 0.45, palette.PAPER, z), (radius * 1.25, palette.INK, z + 0.1)):
            page.areas([[at + _DIAMOND * size]], layer, face=face)
        page.lines([at + TICK * radius], palette.PAPER, 1.2, z + 0.2, cap="round")


def _number(page: Page, sketch: PlanPage, centre: Floats, point: Numbered) -> None:
    """The number: in its disc, or beside its mark."""
    text = str(point.number)
    extent = page.lettering.extent(text, "bold", _NUMBER_PT)
    if point.sort == "plain":
        size = _NUMBER_PT if point.number < 100 else 5.5
        x, y = float(centre[0]), float(centre[1])
        page.text(x, y - extent.above * 0.37, text, size, font="bold", ha="center", z=22.0)
        return
    size_mm = (extent.width + 0.6, extent.height + 0.2)
    around = (2 * MARK, 2 * MARK)
    placed = sketch.placer.near(centre, size_mm, (0.1, 0.8, 2.0, 4.0, 7.0), leader_from=2.0, around=around)
    if placed is None:
        return
    if placed.leader is not None:
        page.lines([np.array([placed.leader, centre])], palette.INK, 0.35, 20.5)
    x, y = placed.centre
    page.text(x, y - extent.above * 0.37, text, _NUMBER_PT, font="bold", ha="center", z=22.0, halo_pt=1.8)

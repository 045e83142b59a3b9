"""The building alone, in plan: what has been typed, with the numbers that more typing needs.

Edges of rooms carry their numbers, which openings refer to; a table says what the building is made of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.one_storey import one_storey
from raycover.building.parts import Building, StoreyShape
from raycover.building.stairs import SKIN
from raycover.building.walls import half_walls
from raycover.detectors import Unit
from raycover.draw import palette, plan, sheet, tables, underlaid, words
from raycover.draw.labels import Placer
from raycover.draw.lettering import ENGLISH, Wording, named
from raycover.draw.mapping import PaperMap
from raycover.draw.page import Page
from raycover.draw.plan_page import PlanPage, write_tags
from raycover.draw.png import save_png
from raycover.draw.projection import Box, Projection
from raycover.draw.section_marks import draw_section_marks
from raycover.draw.title_block import draw_surround, state_shown
from raycover.scene.air import own_air
from raycover.scene.schema import Scene
from raycover.signs import minus
from raycover.solving.surfaces import Surface
from raycover.solving.uncast import Inventory
from raycover.underlay import read_underlay

Floats = NDArray[np.float64]
_MOST_ROOMS = 16
#: Edges shorter than this (mm of paper) carry no number; from so many edges on none does.
_SHORTEST_EDGE, _MOST_EDGES = 5.0, 400
#: Names of more things than this would hide the plan.
_MOST_THINGS = 60


def draw_building_plan(
    scene: Scene,
    building: Building,
    units: Sequence[Unit],
    held: Inventory,
    path: str | Path,
    *,
    storey: StoreyShape | None = None,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save the plan of a building, or of one of its storeys, as a PNG, A4 landscape; nothing is solved for it.

    The file appears whole or not at all. Raises OSError where it cannot be written.
    """
    page = make_building_plan(
        scene, building, units, held, storey=storey, sheet_number=sheet_number, dpi=dpi, wording=wording
    )
    save_png(page.pixels(), path, dpi=dpi)


def make_building_plan(
    scene: Scene,
    building: Building,
    units: Sequence[Unit],
    held: Inventory,
    *,
    storey: StoreyShape | None = None,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_building_plan` saves."""
    shown = building if storey is None else one_storey(building, storey)
    indices = range(len(building.rooms)) if storey is None else storey.rooms
    projection = Projection.fitted(building_bounds(shown), sheet.FRAME)
    page = Page(dpi=dpi, wording=wording)
    sketch = PlanPage.on(page, projection)
    outlines = [room.polygon for room in shown.rooms]
    drawing, placer = sketch.drawing, sketch.placer
    drawing.areas([part for room in shown.rooms for part in shapely.get_parts(room.walkable)], 1.0, face=palette.BENCH)
    underlay = read_underlay(scene)
    if underlay is not None and underlay.shows_on(None if storey is None else storey.name):
        page.image(underlaid.alone(underlay, projection, dpi), projection.frame, 1.5)
    sketch.draw_storey(shown, floor_surface(shown))
    home = building.rooms_at(np.array([u.position for u in units]).reshape(-1, 3))
    mine = tuple(u for u, room in zip(units, home, strict=True) if storey is None or room in storey.rooms)
    draw_section_marks(page, projection, scene.sections, shown, placer)
    marked = sketch.mark_units(mine)
    sketch.draw_stairs(building, shown)
    key = sheet.Key(marked.sorts, False, False, marked.masked)
    annotator = sketch.annotator(light_paper(projection))
    n_tags = write_tags(annotator, marked)
    areas = [held.rooms[i].area_m2 for i in indices]
    n_names = annotator.room_names(outlines, [room.name for room in shown.rooms], areas, own_air(scene))
    numbered = _edge_numbers(page, projection, placer, [_edges(scene, i) for i in indices])
    annotator.rack_names(shown)
    annotator.thing_names(shown, [*(s.name for s in shown.stairs), *_things(scene)][:_MOST_THINGS])
    annotator.wide_doors(shown)
    sheet.draw_left_out(page, n_tags, n_names)
    _draw_column(
        page, replace(held, rooms=tuple(held.rooms[i] for i in indices)), key, numbered=numbered, alone=storey is None
    )
    _draw_surround(page, scene, building, projection, storey, sheet_number)
    return page


def building_bounds(building: Building) -> Box:
    corners = [building.bounds[:, :2]]
    if building.rooms:
        # Beside a storey that is shown others may reach further: its rooms are what is looked at.
        corners = [np.reshape(room.polygon.bounds, (2, 2)) for room in building.rooms]
    corners += [b.footprints().reshape(-1, 2) for b in (building.boxes, building.envelopes) if len(b)]
    corners += [one.bounds[:, :2] for one in building.objects]
    every = np.concatenate(corners)
    low, high = every.min(axis=0), every.max(axis=0)
    return float(low[0]), float(low[1]), float(max(high[0], low[0] + 0.1)), float(max(high[1], low[1] + 0.1))


def floor_surface(building: Building) -> Surface:
    """A surface at floor level, for drawing what stands on it."""
    level = min((room.floor for room in building.rooms), default=0.0)
    nothing = np.zeros((1, 1))
    return Surface(
        "floor", "any", "point", (0.0,), 1.0, np.zeros(1), np.zeros(1), float(level), nothing.astype(np.int16),
        nothing.astype(bool), nothing, ("",),
    )  # fmt: skip


def light_paper(projection: Projection) -> PaperMap:
    """No map beneath the words: they are written in ink."""
    return PaperMap(np.zeros((2, 2), np.float32), np.full((2, 2), palette.ASSURED, np.int8), projection.frame, 3.0)


def _things(scene: Scene) -> list[str]:
    """Names of what stands about, larger kinds first."""
    lists = (scene.cubicles, scene.solids, scene.meshes, scene.desks, scene.tables, scene.partitions, scene.sheets)
    return [thing.name for some in lists for thing in some]


def _edges(scene: Scene, index: int) -> tuple[Floats, Floats]:
    """Corners of a room (n, 2), and half the thickness (n,) of the wall along each edge (m)."""
    return np.asarray(scene.rooms[index].outline, float), np.asarray(half_walls(scene, index), float)


def _edge_numbers(page: Page, projection: Projection, placer: Placer, rooms: Sequence[tuple[Floats, Floats]]) -> bool:
    """The number of each edge inside its room, at the middle of the edge or beside it; whether there are any."""
    if sum(len(outline) for outline, _ in rooms) > _MOST_EDGES:
        return False
    found = False
    for outline, half in rooms:
        corners = projection.to_paper(outline)
        shape = shapely.Polygon(corners)
        inward = 1.0 if shape.exterior.is_ccw else -1.0
        for edge, (start, end) in enumerate(zip(corners, np.roll(corners, -1, axis=0), strict=True)):
            length = float(np.linalg.norm(end - start))
            if length < _SHORTEST_EDGE:
                continue
            along = (end - start) / length
            across = np.array([-along[1], along[0]]) * inward
            extent = page.lettering.extent(str(edge), "sans", 6.0)
            shares = np.array([0.5, 0.42, 0.58, 0.32, 0.68, 0.2, 0.8])
            centres = start + shares[:, None] * (end - start) + across * (2.0 + half[edge] * projection.mm_per_m)
            inside = shapely.contains_xy(shape, centres[:, 0], centres[:, 1])
            size = (extent.width + 1.2, extent.height + 0.4)
            index = placer.place(size, centres[inside], 6.0 * np.abs(shares[inside] - 0.5), most=30.0)
            if index is None:
                continue
            x, y = (float(v) for v in centres[inside][index])
            page.discs([(x, y)], 1.45, 14.6, face=palette.PAPER, edge=palette.SECOND_INK, width_pt=0.35)
            page.text(
                x, y - extent.above * 0.37, str(edge), 6.0, ha="center", color=palette.SECOND_INK, z=15.0
            )  # fmt: skip
            found = True
    return found


def _draw_column(page: Page, held: Inventory, key: sheet.Key, *, numbered: bool, alone: bool) -> None:
    """Figures and tables; `alone` where the building has but one storey."""
    left, right = sheet.COLUMN, sheet.RIGHT
    n = len(held.rooms)
    beside = (f"m² of floor in {n} room{'s' * (n != 1)},", "nothing is solved here")
    sheet.draw_headline(page, words.area(held.floor_m2), beside)
    page.rule(left, right, 191.7, 1.1)
    width = right - left
    y = tables.draw_table(page, _room_table(page, held, width), left, 187.0, right)
    foot = sheet.COLUMN_FOOT + key.height + (9.0 if numbered else 0.0)
    counts = tables.Table(
        ("Holds" if alone else "All storeys hold", ""),
        ((0.0, "left"), (width, "right")),
        tuple(tables.Row((name, str(k))) for name, k in held.counts),
    )
    if held.counts and counts.height <= y - foot:
        y = tables.draw_table(page, counts, left, y, right)
    made = _construction_table(page, held, width, y - foot)
    if made is not None:
        tables.draw_table(page, made, left, y, right)
    if numbered:
        top = sheet.COLUMN_FOOT + key.height + 5.0
        page.rule(left, right, top + 4.4, 0.5)
        page.discs([(left + 1.9, top + 0.8)], 1.45, 25.0, face=palette.PAPER, edge=palette.SECOND_INK, width_pt=0.35)
        page.text(left + 1.9, top + 0.05, "0", 6.0, ha="center", color=palette.SECOND_INK)
        page.text(left + 6.5, top, "edge, as openings count it", 6.5)
    sheet.draw_key(page, key)


def _room_table(page: Page, held: Inventory, width: float) -> tables.Table:
    rooms = held.rooms[:_MOST_ROOMS]
    rows = tuple(
        tables.Row(
            (
                page.lettering.fit(named(room.name), "sans", 6.5, width - 32.5),
                words.area(room.area_m2),
                minus(f"{room.floor:.2f}"),
                f"{room.height:.2f}",
            )
        )
        for room in rooms
    )
    note = f"{len(held.rooms) - len(rooms)} more" if len(held.rooms) > len(rooms) else ""
    if not rows:
        note = "There is no room."
    places = ((0.0, "left"), (width - 25.0, "right"), (width - 12.0, "right"), (width, "right"))
    return tables.Table(("Room", "m²", "floor", "height"), places, rows, note)


def _construction_table(page: Page, held: Inventory, width: float, height: float) -> tables.Table | None:
    """What the building is made of, in m² of walls, slabs and panels; as much as there is room for."""
    rows = [
        tables.Row(
            (
                page.lettering.fit(name if name == SKIN.name else named(name), "sans", 6.5, width - 14.0),
                words.area(area),
            )
        )
        for name, area in held.areas
    ]
    return tables.as_many_as_fit(("Made of", "m²"), ((0.0, "left"), (width, "right")), rows, height)


def _draw_surround(
    page: Page,
    scene: Scene,
    building: Building,
    projection: Projection,
    storey: StoreyShape | None,
    sheet_number: tuple[int, int],
) -> None:
    where = f", {storey.name}" if storey is not None else ""
    words_of_state = "".join(f" · {state}" for state in state_shown(scene))
    draw_surround(
        page,
        scene,
        projection,
        subtitle=f"The building as the scene describes it{where}{words_of_state}",
        drawing=", ".join([f"Building plan{where}", *state_shown(scene)]),
        conditions=words.doors(building) or "no doors",
        number=sheet_number,
    )

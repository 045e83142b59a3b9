"""A probability plan: how often each place of a plane is seen when everything uncertain varies, on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw import plan, sheet, words
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.mapping import paper_map
from raycover.draw.page import Page
from raycover.draw.plan_page import PlanPage
from raycover.draw.png import save_png
from raycover.draw.probability_sheet import Varied, draw_chance_map
from raycover.draw.projection import Projection
from raycover.draw.stair_sheet import make_stair_sheet
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.scene.schema import Scene
from raycover.solving.chance_maps import ChanceMaps
from raycover.solving.coverage import Coverage

Floats = NDArray[np.float64]
_BAR_WIDTH, _BAR_HEIGHT = 6.5, 46.0
_MOST_ROOMS = 8
_HISTOGRAM = 20


def draw_chances(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    maps: ChanceMaps,
    plane_name: str,
    path: str | Path,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    notes: Sequence[str] = (),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> None:
    """Save the probability plan of one map as a PNG, A4 landscape; on a stair its sheet, unrolled.

    `notes`: lines that say what was varied. The file appears whole or not at all. Raises KeyError for a plane that
    the maps have not.
    """
    if maps[plane_name].plane.surface.stairs is not None:
        varied = Varied(maps, maps[plane_name], notes)
        page = make_stair_sheet(
            scene, building, coverage, plane_name,
            sheet_number=sheet_number, dpi=dpi, varied=varied, wording=wording,
        )  # fmt: skip
    else:
        page = make_chances(
            scene, building, coverage, maps, plane_name,
            sheet_number=sheet_number, notes=notes, dpi=dpi, wording=wording,
        )  # fmt: skip
    save_png(page.pixels(), path, dpi=dpi)


def make_chances(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    maps: ChanceMaps,
    plane_name: str,
    *,
    sheet_number: tuple[int, int] = (1, 1),
    notes: Sequence[str] = (),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """The page that `draw_chances` saves of a flat map."""
    chances = maps[plane_name]
    plane = chances.plane
    shown = shown_storey(building, plane)
    outlines = plan.outlines_of(scene, shown, plane)
    projection = Projection.fitted(plan.bounds_of(shown, plane, outlines), sheet.FRAME)
    page = Page(dpi=dpi, wording=wording)
    sketch = PlanPage.on(page, projection)
    as_plane = Varied(maps, chances).as_plane
    picture = paper_map(plane.surface, as_plane.margin_db, as_plane.reserve_db, outlines, projection, dpi=dpi)
    lines = draw_chance_map(page, picture, sketch.strokes)
    has_voids = sketch.draw_storey(shown, plane.surface)
    mine, _ = units_by_storey(building, shown, plane, coverage.units)
    marked = sketch.mark_units(mine)
    sketch.draw_stairs(building, shown)
    key = sheet.Key(marked.sorts, False, False, marked.masked, voids=has_voids)
    varied = Varied(maps, chances, notes)
    varied.draw_column(page, key, lines)
    sketch.write_names(picture, marked, shown, plan.named_rooms(scene, plane, outlines))
    sheet.draw_frame(page, projection)
    sheet.draw_north(page, scene.north_deg)
    surface = plane.surface
    where = f"{surface.storey} ({words.level(shown.ground)} m)" if surface.storey is not None else ""
    name = f"Probability plan, {surface.plane}, {where}" if where else f"Probability plan, {surface.name}"
    varied.draw_words(page, scene, projection, sheet_number, name, where)
    return page

"""The building alone in 3D: cut open, its floors bare, with detectors in their places; nothing is solved for it."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from raycover.building.parts import Building
from raycover.draw import palette, words
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.page import Page
from raycover.draw.title_block import state_shown
from raycover.draw.view3d import environment, still, still_page
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage
from raycover.solving.uncast import Inventory
from raycover.whole_file import write_whole

_MOST_ROOMS, _PITCH = 12, 5.6


def draw_building_view(
    scene: Scene, building: Building, bare: Coverage, held: Inventory, path: str | Path, *, wording: Wording = ENGLISH
) -> None:
    """Draw a still of 1920 × 1080 pixels of a building; `bare` is what `uncast` gives.

    The file appears whole or not at all. Raises MissingPart where 3D cannot be drawn, OSError where the file
    cannot be written.
    """
    pixels = building_sheet(scene, building, bare, held, wording=wording)
    data = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels)).save(data, "PNG", optimize=True)
    write_whole(Path(path), data.getvalue())


def building_sheet(
    scene: Scene,
    building: Building,
    bare: Coverage,
    held: Inventory,
    *,
    heading: bool = True,
    wording: Wording = ENGLISH,
) -> NDArray[np.uint8]:
    """The page of `draw_building_view` (1080, 1920, 3), without its `heading` where it becomes a slide."""
    pyvista = environment.load_for_pictures()
    width, height = still_page.viewport_px()
    composed = still.compose(scene, building, bare, "floor", bare.rays, width, height)
    composed = replace(composed, dashes=np.zeros((0, 2, 3)))
    picture = still.render(pyvista, composed)
    page, box = still_page.page_with(picture, wording=wording)
    left, right = still_page.COLUMN, still_page.RIGHT
    if heading:
        title, size = page.lettering.fit_size(named(scene.title), "serif", (28, 24, 20), left - still_page.LEFT - 8)
        page.text(still_page.LEFT, 174.6, title, size, font="serif")
        text = " · ".join(["The building as the scene describes it, cut open", *state_shown(scene)])
        page.text(still_page.LEFT, 166.3, text, 11.5, color=palette.SECOND_INK)
    _column(page, held, left, right)
    still_page._foot(page, scene, composed, mapped=False)
    still_page.write_names(page, composed, box, still_page.MM_PER_PX)
    still_page._north(page, scene, composed, picture, box)
    return page.pixels()


def _column(page: Page, held: Inventory, left: float, right: float) -> None:
    page.text(left, 172.6, words.area(held.floor_m2), 38, font="serif")
    n = len(held.rooms)
    page.text(left, 163.6, f"m² of floor in {n} room{'s' * (n != 1)}", 10.5, color=palette.SECOND_INK)
    page.rule(left, right, 158.3, 1.1)
    y = 151.6
    for title, unit, rows in (
        ("Rooms", "m²", [(named(room.name), words.area(room.area_m2)) for room in held.rooms]),
        ("Holds", "", [(name, str(k)) for name, k in held.counts]),
    ):
        if not rows:
            continue
        page.text(left, y, title, 11, font="bold")
        page.text(right, y, unit, 9.5, font="bold", ha="right")
        for name, figure in rows[:_MOST_ROOMS]:
            y -= _PITCH
            page.text(left, y, page.lettering.fit(clean(name), "sans", 9.5, right - left - 16), 9.5)
            page.text(right, y, figure, 9.5, ha="right")
        if len(rows) > _MOST_ROOMS:
            y -= _PITCH
            page.text(left, y, f"{len(rows) - _MOST_ROOMS} more", 9.5, color=palette.SECOND_INK)
        page.rule(left, right, y - 4.5, 0.5, palette.RULE)
        y -= 12.0

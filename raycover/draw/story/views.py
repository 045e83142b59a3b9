"""Slides that are pictures of the building: its detectors, its coverage, its gaps, and before beside after."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw import palette, words
from raycover.draw.glyphs import WORDS, Mark, draw_marks, sort_of
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.page import Page
from raycover.draw.story.slide import blank, draw_foot
from raycover.draw.tables import letters
from raycover.draw.view3d import environment, still_page, still_signs
from raycover.draw.view3d.camera import View, fit
from raycover.draw.view3d.floor_map import map_level_m
from raycover.draw.view3d.margin_bar import rectangle
from raycover.draw.view3d.still import Composed, Shot, compose, render, representative
from raycover.draw.view3d.still_page import COLUMN, LEFT, RIGHT, page_with, viewport_px
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.coverage import Coverage
from raycover.solving.gaps import Gap
from raycover.solving.uncast import uncast

Pixels = NDArray[np.uint8]
Floats = NDArray[np.floating[Any]]

#: Lobes of one picture at most: more are a fog.
_MOST_LOBES = 6
#: Gaps lettered on the slide at most, none smaller than this (m²).
_MOST_GAPS, _SMALLEST_M2 = 8, 0.05
#: Height (mm) of the lowest line of the key under their list.
_KEY_FOOT = 20.0
#: Frames of a pair (mm): left and right, their height.
_PAIR_WIDE, _PAIR_TOP, _PAIR_BOTTOM = 153.0, 152.0, 46.0


@dataclass(frozen=True)
class Told:
    """A scene with everything made of it, and the language that it is told in."""

    scene: Scene
    building: Building
    rays: RayScene
    coverage: Coverage
    wording: Wording = ENGLISH


@dataclass(frozen=True)
class Marked:
    """A gap with its letter, on one of the maps of a plane (by index among those composed)."""

    letter: str
    gap: Gap
    map: int


def coverage_view(told: Told, name: str) -> tuple[Pixels, Composed, Pixels]:
    """A plane's map in the building: (the slide's body, how it was composed, the picture alone)."""
    pyvista = environment.load_for_pictures()
    composed = compose(told.scene, told.building, told.coverage, name, told.rays, *viewport_px())
    picture = render(pyvista, composed)
    page = still_page.draw_sheet(told.scene, told.coverage, composed, picture, heading=False, wording=told.wording)
    return page.pixels(), composed, picture


def detectors_view(told: Told, view: View) -> Pixels:
    """The building bare, with its detectors, and the lobes of those that speak for the others."""
    pyvista = environment.load_for_pictures()
    bare = uncast(told.scene, told.building)
    first = told.coverage.by_plane()[next(iter(told.coverage.by_plane()))]
    chosen = representative(told.coverage.units, tuple(told.coverage[n] for n in first), _MOST_LOBES)
    shot = Shot(lobes=tuple(unit.name for unit in chosen), people=False)
    composed = compose(told.scene, told.building, bare, "floor", told.rays, *viewport_px(), shot, view=view)
    composed = replace(composed, dashes=np.zeros((0, 2, 3)))
    picture = render(pyvista, composed)
    page, box = page_with(picture, wording=told.wording)
    units = told.coverage.units
    page.text(COLUMN, 172.6, str(len(units)), 38, font="serif")
    page.text(COLUMN, 163.6, "detectors" if len(units) != 1 else "detector", 10.5, color=palette.SECOND_INK)
    page.rule(COLUMN, RIGHT, 158.3, 1.1)
    _models(page, told, composed)
    still_page._foot(page, told.scene, composed, mapped=False)
    still_page.write_names(page, composed, box, still_page.MM_PER_PX)
    still_page._north(page, told.scene, composed, picture, box)
    return page.pixels()


def _models(page: Page, told: Told, composed: Composed) -> None:
    """How many of each sort hang how high; whose lobes are shown."""
    counts = Counter((u.title, sort_of(u), round(float(u.mounting), 2)) for u in told.coverage.units)
    y = 149.0
    for (title, sort, mounting), n in counts.most_common(9):
        draw_marks(page, [Mark(sort, np.array([COLUMN + 3.0, y + 1.2]), 0.0)], 0.95)
        page.text(RIGHT, y, f"× {n}", 10, ha="right")
        for k, line in enumerate(page.lettering.wrap(clean(title), "bold", 9.5, RIGHT - COLUMN - 20, 3)):
            y -= 4.4 if k else 0.0
            page.text(COLUMN + 10.0, y, line, 9.5, font="bold")
        page.text(COLUMN + 10.0, y - 4.6, f"{WORDS[sort]}, at {mounting:g} m", 8.6, color=palette.SECOND_INK)
        y -= 12.0
    if len(counts) > 9:
        page.text(COLUMN, y, f"{len(counts) - 9} more sorts", 9, color=palette.SECOND_INK)
        y -= 6.0
    lobed = [clean(lobe.name) for lobe in composed.lobes]
    if lobed:
        page.areas(
            [[rectangle((COLUMN, y - 0.6, COLUMN + 8.0, y + 2.9))]], 4.0, face="#F7DDB5", edge="#B5701C", width_pt=0.7
        )
        text = f"seen by {', '.join(lobed)}, in 3D"
        for k, line in enumerate(page.lettering.wrap(text, "sans", 9, RIGHT - COLUMN - 12, 3)):
            page.text(COLUMN + 12.0, y - 4.2 * k, line, 9)
            low = y - 4.2 * k - 7.0
        if any(some.any() for some in composed.through):
            box = (COLUMN, low - 0.6, COLUMN + 8.0, low + 2.9)
            page.areas([[rectangle(box)]], 4.0, face="#D9BFD5", edge="#7A4571", width_pt=0.7)
            page.text(COLUMN + 12.0, low, "what has passed a wall", 9)


def gaps_of(composed: Composed) -> list[Marked]:
    """The largest gaps of the maps composed, with letters."""
    every = [(gap, k) for k, plane in enumerate(composed.planes) for gap in plane.gaps if gap.area_m2 >= _SMALLEST_M2]
    largest = sorted(every, key=lambda one: -one[0].area_m2)[:_MOST_GAPS]
    return [Marked(letter, gap, k) for letter, (gap, k) in zip(letters(len(largest)), largest, strict=False)]


def gaps_view(told: Told, composed: Composed, picture: Pixels, marked: Sequence[Marked]) -> Pixels:
    """The same picture with its gaps lettered, and beside it why each is not seen."""
    page, box = page_with(picture, wording=told.wording)
    whole = sum(plane.area_m2 for plane in composed.planes)
    missed = sum(gap.area_m2 for plane in composed.planes for gap in plane.gaps)
    page.text(COLUMN, 172.6, percent(missed / max(whole, 1e-9)), 38, font="serif")
    what = words.mapped(composed.plane.surface) if len(composed.planes) == 1 else "floors and stairs"
    said = f"of the {what} is not seen: {words.area(missed)} m²"
    text, size = page.lettering.fit_size(said, "sans", (10.5, 10, 9.5, 9, 8.4), RIGHT - COLUMN)
    page.text(COLUMN, 163.6, text, size, color=palette.SECOND_INK)
    page.rule(COLUMN, RIGHT, 158.3, 1.1)
    rooms = {room.name for room in told.building.rooms}
    y, lowest = 151.0, _KEY_FOOT + still_signs.STEP * still_signs.n_signs(composed)
    for k, one in enumerate(marked):
        cause = words.cause(one.gap, rooms, stacked=len(told.building.storeys) > 1)
        lines = page.lettering.wrap(clean(cause), "bold", 9.5, RIGHT - COLUMN - 22, 2)
        if y - 4.5 * len(lines) - 8.2 < lowest:
            marked = marked[:k]
            break
        _letter(page, (COLUMN + 2.6, y + 1.2), one.letter)
        page.text(RIGHT, y, f"{words.area(one.gap.area_m2)} m²", 9.5, ha="right")
        for line in lines:
            page.text(COLUMN + 8.0, y, line, 9.5, font="bold")
            y -= 4.5
        about = f"{clean(one.gap.room)}, widest circle {one.gap.widest_m:.1f} m"
        page.text(
            COLUMN + 8.0, y, page.lettering.fit(about, "sans", 8.5, RIGHT - COLUMN - 8), 8.5, color=palette.SECOND_INK
        )
        y -= 8.2
    n = sum(len(plane.gaps) for plane in composed.planes) - len(marked)
    if n > 0:
        page.text(COLUMN, y, f"{n} smaller one{'s' * (n != 1)}", 9, color=palette.SECOND_INK)
    _gaps_key(page, composed)
    offsets = _offsets(composed)
    taken = []
    for one in marked:
        if one.map in offsets:
            plane = composed.planes[one.map]
            onto_map = [0.0, 0.0, map_level_m(plane) - plane.surface.heights[0]]
            at = np.array(one.gap.at) + offsets[one.map] + np.array(onto_map)
            x, y = composed.placed.pixels(at[None])[0] * still_page.MM_PER_PX + np.array(box[:2])
            _letter(page, (float(x), float(y)), one.letter)
            taken.append((float(x) - 2.8, float(y) - 2.8, float(x) + 2.8, float(y) + 2.8))
    still_page._foot(page, told.scene, composed)
    still_page.write_names(page, composed, box, still_page.MM_PER_PX, taken=taken)
    still_page._north(page, told.scene, composed, picture, box)
    return page.pixels()


def _gaps_key(page: Page, composed: Composed) -> None:
    """What the figures and shells are, at the foot of the column."""
    n = still_signs.n_signs(composed)
    if n:
        y = _KEY_FOOT + still_signs.STEP * (n - 1)
        page.rule(COLUMN, RIGHT, y + 5.6, 0.5, palette.RULE)
        y = still_signs.seated_sign(page, composed, COLUMN, y)
        still_signs.shell_signs(page, composed, COLUMN, RIGHT, y)


def _offsets(composed: Composed) -> dict[int, Floats]:
    """How far (3,) the maps that lie on storeys are moved in the picture, by their index."""
    found = {}
    for index, plane in enumerate(composed.planes):
        for laid in composed.laid:
            if laid.plane is plane:
                found[index] = laid.offset
    return found


def _letter(page: Page, at: tuple[float, float], letter: str) -> None:
    page.discs([at], 2.5, 23.0, face=palette.PAPER, edge=palette.INK, width_pt=0.6)
    extent = page.lettering.extent(letter, "bold", 9.5)
    page.text(at[0], at[1] - 0.39 * extent.above, letter, 9.5, font="bold", ha="center", z=24.0)


def pair_view(before: Told, after: Told, name: str) -> tuple[Pixels, tuple[float, float]]:
    """A plane before and after, by one camera at one scale: (the slide's body, the two shares seen)."""
    pyvista = environment.load_for_pictures()
    width, height = round(_PAIR_WIDE / 25.4 * 144), round((_PAIR_TOP - _PAIR_BOTTOM) / 25.4 * 144)
    shot = Shot(lobes=())  # lobes would hide what is compared
    first = compose(before.scene, before.building, before.coverage, name, before.rays, width, height, shot)
    view = first.placed.view
    second = compose(after.scene, after.building, after.coverage, name, after.rays, width, height, shot, view=view)
    placed = fit(view, np.concatenate([first.points, second.points]), width, height, margin_px=14)
    page = blank(before.wording)
    shares = []
    for told, composed, x in ((before, first, LEFT), (after, second, RIGHT - _PAIR_WIDE)):
        composed = replace(composed, placed=placed)
        picture = render(pyvista, composed)
        corner = (round(x / 25.4 * 144) * 25.4 / 144, round(_PAIR_BOTTOM / 25.4 * 144) * 25.4 / 144)
        box = (*corner, corner[0] + width * 25.4 / 144, corner[1] + height * 25.4 / 144)
        page.image(np.ascontiguousarray(picture[::-1]), box, 1.0)
        still_page.write_names(page, composed, box, still_page.MM_PER_PX)
        shares.append(_pair_figures(page, told, composed, x, "before" if told is before else "after"))
    page.lines([[((LEFT + RIGHT) / 2, 20.0), ((LEFT + RIGHT) / 2, 158.0)]], palette.RULE, 0.5, 25.0)
    draw_foot(page, after.scene, f"plane {clean(name)}, both from the {view.compass(before.scene.north_deg)}")
    return page.pixels(), (shares[0], shares[1])


def _pair_figures(page: Page, told: Told, composed: Composed, x: float, when: str) -> float:
    area = max(sum(plane.area_m2 for plane in composed.planes), 1e-9)
    seen, assured = (
        sum(p.area_where(m) for p, m in zip(composed.planes, some, strict=True)) / area
        for some in ([p.detected for p in composed.planes], [p.assured for p in composed.planes])
    )
    figure = page.text(x, 26.5, percent(seen), 38, font="serif")
    left = x + figure.width + 6.0
    n, largest = len(told.coverage.units), max((g.area_m2 for p in composed.planes for g in p.gaps), default=0.0)
    page.text(left, 34.0, when, 13, font="bold")
    page.text(left, 29.0, f"seen, {percent(assured)} assured, by {n} detector{'s' * (n != 1)}", 10.5)
    page.text(left, 24.4, f"largest gap {words.area(largest)} m²", 10.5, color=palette.SECOND_INK)
    title, size = page.lettering.fit_size(named(told.scene.title), "italic", (13, 11, 10), _PAIR_WIDE)
    page.text(x, 154.6, title, size, font="italic")
    return seen

"""The page around a 3D still: title, headline, legend, key, cautions, and detectors' marks and names on the picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from copy import deepcopy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray
from PIL import Image, ImageDraw

import raycover
from raycover.draw import palette, words
from raycover.draw.glyphs import WORDS, Mark, draw_marks, size_factor, sort_of
from raycover.draw.labels import Placer
from raycover.draw.legend import distribution
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.page import MM_PER_INCH, Page
from raycover.draw.view3d.camera import Lens
from raycover.draw.view3d.floor_map import map_level_m
from raycover.draw.view3d.margin_bar import draw_margin_bar, rectangle
from raycover.scene.air import air_of
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.coverage import Coverage, PlaneCoverage

if TYPE_CHECKING:
    from raycover.draw.view3d.still import Composed
from raycover.draw.view3d.still_signs import STEP, TEXT_X, seated_sign, shell_signs

Floats = NDArray[np.floating[Any]]
Box = tuple[float, float, float, float]

SIZE_PX = (1920, 1080)
_DPI = 144.0
MM_PER_PX = MM_PER_INCH / _DPI


@dataclass(frozen=True)
class Format:
    """The shape of a page: 1920 pixels wide, laid out for 1080; on a taller one more of the picture shows."""

    height_px: int = SIZE_PX[1]

    @property
    def taller(self) -> float:
        """How much taller (mm) than 1080 pixels it is."""
        return (self.height_px - SIZE_PX[1]) * MM_PER_PX

    @property
    def size_mm(self) -> tuple[float, float]:
        # A hair more than so many pixels: matplotlib rounds down.
        return SIZE_PX[0] * MM_PER_PX + 1e-3, self.height_px * MM_PER_PX + 1e-3

    @property
    def viewport(self) -> Box:
        """The picture of the building on the page (x0, y0, x1, y1 in mm)."""
        x0, y0, x1, y1 = VIEWPORT
        return x0, y0, x1, y1 + self.taller

    @property
    def viewport_px(self) -> tuple[int, int]:
        x0, y0, x1, y1 = self.viewport
        return round((x1 - x0) / MM_PER_PX), round((y1 - y0) / MM_PER_PX)


VIEWPORT: Box = (7.0, 17.5, 254.0, 163.0)
WIDE = Format()
#: A4 landscape has sides of 1 to √2 (ISO 216).
FORMATS = {"16:9": WIDE, "A4": Format(1358)}
_LEFT, _RIGHT = LEFT, RIGHT = 12.0, 327.0
_COLUMN = COLUMN = 261.0
_PICTURE_Z = 1.0
#: The legend's bar beside a table of storeys.
_SMALLER_BAR = 0.72
#: Seen flatter than this (degrees) the north needle says nothing.
_FLATTEST_NEEDLE_DEG = 12.0
#: Sizes that names of rooms are tried in.
_ROOM_PT = (15.0, 12.0, 10.0, 8.5)


def viewport_px() -> tuple[int, int]:
    return WIDE.viewport_px


def draw_sheet(
    scene: Scene,
    coverage: Coverage,
    composed: Composed,
    picture: NDArray[np.uint8],
    form: Format = WIDE,
    name: str | None = None,
    *,
    heading: bool = True,
    wording: Wording = ENGLISH,
) -> Page:
    """The finished page about a picture of the building (h, w, 3), row 0 at the top; `name` is that of the camera.

    Without its `heading` where a title is put over it elsewhere, as on slides.
    """
    page, box = page_with(picture, form, wording)
    upper = page.moved(0.0, form.taller)
    if heading:
        _heading(upper, scene, composed.plane, name)
    _headline(upper, coverage, composed.planes)
    lowest = _legend(upper, composed.planes)
    _key(upper, composed, lowest, form.taller)
    _foot(page, scene, composed)
    write_names(page, composed, box, MM_PER_PX)
    _north(page, scene, composed, picture, box)
    return page


def draw_picture(
    scene: Scene, composed: Composed, picture: NDArray[np.uint8], wording: Wording = ENGLISH
) -> tuple[NDArray[np.uint8], float]:
    """The picture with marks, names and north but no page around it, cut to what it shows; its pixels an inch."""
    page, box = page_with(picture, wording=wording)
    write_names(page, composed, box, MM_PER_PX)
    _north(page, scene, composed, picture, box)
    drawn = page.pixels()
    inked = drawn.min(axis=-1) < 250
    rows, columns = np.flatnonzero(inked.any(axis=1)), np.flatnonzero(inked.any(axis=0))
    if not len(rows):
        return drawn, _DPI
    pad = 8
    top, left = max(rows[0] - pad, 0), max(columns[0] - pad, 0)
    return drawn[top : rows[-1] + pad, left : columns[-1] + pad], _DPI


def page_with(picture: NDArray[np.uint8], form: Format = WIDE, wording: Wording = ENGLISH) -> tuple[Page, Box]:
    """A page with a picture of the building (h, w, 3) on it, and where it lies (mm)."""
    page = Page(dpi=_DPI, size=form.size_mm, wording=wording)
    height, width = picture.shape[:2]
    corner = np.round(np.array(VIEWPORT[:2]) / MM_PER_PX) * MM_PER_PX
    box = (corner[0], corner[1], corner[0] + width * MM_PER_PX, corner[1] + height * MM_PER_PX)
    page.image(np.ascontiguousarray(picture[::-1]), box, _PICTURE_Z)
    return page, box


def _heading(page: Page, scene: Scene, plane: PlaneCoverage, name: str | None) -> None:
    width = _COLUMN - _LEFT - 8
    title, size = page.lettering.fit_size(named(scene.title), "serif", (28, 24, 20), width)
    page.text(_LEFT, 174.6, title, size, font="serif")
    text = words.subtitle(plane.surface, air_of(scene), [scene.state] if scene.states else [])
    text = text if name is None else f"{clean(name)} · {text}"
    text, size = page.lettering.fit_size(text, "sans", (11.5, 10, 9), width)
    page.text(_LEFT, 166.3, text, size, color=palette.SECOND_INK)


def _headline(page: Page, coverage: Coverage, planes: Sequence[PlaneCoverage]) -> None:
    area = sum(plane.area_m2 for plane in planes)
    seen, assured = (sum(p.area_where(chosen) for p, chosen in zip(planes, some, strict=True)) / max(area, 1e-12)
                     for some in ([p.detected for p in planes], [p.assured for p in planes]))  # fmt: skip
    page.text(_COLUMN, 172.6, percent(seen), 38, font="serif")
    first, second = words.headline(planes[0].surface, assured, len(coverage.units))
    if len(planes) > 1:
        stairs = any(plane.surface.stairs is not None for plane in planes)
        first = "of floors and stairs is seen," if stairs else "of all floors is seen,"
    text, size = page.lettering.fit_size(f"{first} {second}", "sans", (10.5, 10, 9.5, 9, 8.4), _RIGHT - _COLUMN)
    page.text(_COLUMN, 163.6, text, size, color=palette.SECOND_INK)
    page.rule(_COLUMN, _RIGHT, 158.3, 1.1)


def _legend(page: Page, planes: Sequence[PlaneCoverage]) -> float:
    """The legend of margins; returns the height (mm) of the rule below it."""
    plane = planes[0]
    page.text(_COLUMN, 151.6, "Margin over the limit, dB", 11, font="bold")
    margins = np.concatenate([some.margin_db.ravel() for some in planes])
    areas = np.concatenate([np.asarray(some.surface.area, float).ravel() for some in planes])
    shares = distribution(margins, areas, plane.reserve_db).by_class
    size = 1.0 if len(planes) == 1 else _SMALLER_BAR
    bottom = draw_margin_bar(page, list(shares), plane.reserve_db, (_COLUMN, _RIGHT), 146.4, size)
    page.rule(_COLUMN, _RIGHT, bottom - 5.5, 0.5, palette.RULE)
    return bottom - 5.5


def _key(page: Page, composed: Composed, top: float, taller: float = 0.0) -> None:
    """What the signs in the picture mean, one a line; `taller` mm are free below."""
    y = top - 8.0
    left, text_x, step = _COLUMN, _COLUMN + TEXT_X, STEP
    width = _RIGHT - text_x
    sorts = list(dict.fromkeys(sort_of(unit) for unit in composed.units))
    for sort in sorts:
        draw_marks(page, [Mark(sort, np.array([left + 4.0, y + 1.1]), 0.0)], 0.95)
        page.text(text_x, y, page.lettering.fit(f"detector: {WORDS[sort]}", "sans", 9.5, width), 9.5)
        y -= step
    if composed.units:
        x = left + 4.0
        page.lines([[(x, y + 3.0), (x, y - 0.6)]], palette.ACCENT, 0.8, 5.0)
        page.discs([(x, y - 0.6)], 0.55, 5.0, face=palette.ACCENT)
        page.text(text_x, y, "down to the point below it", 9.5)
        y -= step
    y = seated_sign(page, composed, left, y)
    if len(composed.dashes):
        page.lines([[(left, y + 1.1), (left + 8, y + 1.1)]], palette.ACCENT, 0.9, 5.0, dashes=(4.0, 2.2))
        page.text(text_x, y, "declared footprint", 9.5)
        y -= step
    y = shell_signs(page, composed, left, _RIGHT, y)
    if len(composed.covered):
        page.areas([[rectangle((left, y - 0.5, left + 8.0, y + 2.9))]], 4.0, edge=palette.THIRD_INK, width_pt=0.9)
        page.text(text_x, y, "desk just under the map", 9.5)
        y -= step
    if len(composed.drawn.ghosts):
        page.areas([[rectangle((left, y - 0.5, left + 8.0, y + 2.9))]], 4.0, edge="#4A555C", width_pt=0.7)
        page.text(text_x, y, "cut away, outline only", 9.5)
        y -= step
    if len(composed.links):
        page.lines([[(left, y + 1.1), (left + 8, y + 1.1)]], palette.SECOND_INK, 0.8, 5.0, dashes=(3.0, 2.0))
        page.text(text_x, y, "storeys pulled apart", 9.5)
        y -= step
    y = _parts(page, composed, y, taller)
    rows = int((y - 5.4 - 20.0 + taller) / 5.6)
    total = sum(plane.area_m2 for plane in composed.planes)
    every = sorted((g for plane in composed.planes for g in plane.gaps), key=lambda gap: -gap.area_m2)
    gaps = [g for g in every if g.area_m2 >= 0.01 * total][: max(min(rows, 4), 0)]
    if gaps:
        page.rule(_COLUMN, _RIGHT, y + 1.6, 0.5, palette.RULE)
        y -= 5.4
        page.text(_COLUMN, y, "Largest gaps", 9.5, font="bold")
        page.text(_RIGHT, y, "m²", 9.5, font="bold", ha="right")
        room = _RIGHT - _COLUMN - 14
        said = [clean(words.cause(gap)) for gap in gaps]
        whole = [clean(f"{gap.room}: {text}") for gap, text in zip(gaps, said, strict=True)]
        several = sum(len(plane.surface.room_names) for plane in composed.planes) > 1
        if several and all(page.lettering.extent(text, "sans", 9).width <= room for text in whole):
            said = whole  # all with their rooms, or none
        for gap, text in zip(gaps, said, strict=True):
            y -= 5.6
            page.text(_COLUMN, y, page.lettering.fit(text, "sans", 9, room), 9)
            page.text(_RIGHT, y, words.area(gap.area_m2), 9, ha="right")


def _parts(page: Page, composed: Composed, y: float, taller: float = 0.0) -> float:
    """The share seen of every storey and stair, where there are several; the height (mm) below the last line."""
    if len(composed.planes) < 2:
        return y
    rows = int((y - 5.4 - 18.5 + taller) / 5.2)
    if rows < 2:
        return y
    page.rule(_COLUMN, _RIGHT, y + 1.6, 0.5, palette.RULE)
    y -= 5.4
    page.text(_COLUMN, y, "Seen", 9.5, font="bold")
    page.text(_RIGHT, y, "%", 9.5, font="bold", ha="right")
    # The highest storey first, as the picture has it; where all don't fit, those seen worst.
    order = [*reversed(composed.laid_planes), *(p for p in composed.planes if p.surface.stairs is not None)]
    if len(order) > rows:
        worst = sorted(order, key=lambda plane: plane.share)[: rows - 1]
        order = [plane for plane in order if any(plane is some for some in worst)]
    for plane in order:
        y -= 5.2
        name = plane.surface.storey or plane.surface.stairs or plane.surface.name
        page.text(_COLUMN, y, page.lettering.fit(named(name), "sans", 9, _RIGHT - _COLUMN - 16), 9)
        page.text(_RIGHT, y, percent(plane.share).removesuffix(" %"), 9, ha="right")
    if len(order) < len(composed.planes):
        y -= 5.2
        n = len(composed.planes) - len(order)
        page.text(_COLUMN, y, f"{n} others are seen better, or as well", 9, color=palette.SECOND_INK)
    return y - 6.6


def _foot(page: Page, scene: Scene, composed: Composed, *, mapped: bool = True) -> None:
    """Cautions, and where one looks from; of a building without a map no plane is named."""
    view = composed.placed.view
    plane = f"plane {clean(composed.plane_name)}, " if mapped and len(composed.plane_name) < 24 else ""
    how = f"{composed.placed.fov_deg:g}° perspective" if isinstance(composed.placed, Lens) else "parallel projection"
    seen_from = f"{plane}from the {view.compass(scene.north_deg)}, {view.words}, {how}"
    date = scene.date if scene.date is not None else words.today()
    ruled = composed.drawn.ruled_m
    above = "" if ruled is None else f"ceiling ruled each {ruled:g} m · "
    below = f"{above}raycover {raycover.__version__} · revision {clean(scene.revision)} · {clean(date)}"
    draw_foot(page, (seen_from, below))


def draw_foot(page: Page, notes: tuple[str, str]) -> None:
    """Rule and cautions, whole, with a note at the end of each of their two lines."""
    page.rule(_LEFT, _RIGHT, 14.8, 1.1)
    for y, caution, note in zip((10.3, 6.0), words.CAUTION, notes, strict=True):
        extent = page.text(_RIGHT, y, note, 8.3, color=palette.SECOND_INK, ha="right")
        text, size = page.lettering.fit_size(caution, "sans", (8.3, 7.8, 7.3, 6.8), _RIGHT - _LEFT - extent.width - 5.0)
        page.text(_LEFT, y, text, size)


def write_names(
    page: Page,
    composed: Composed,
    box: Box,
    mm_per_px: float,
    *,
    tag_pt: float = 10.0,
    area: Box | None = None,
    taken: Sequence[Box] = (),
) -> None:
    """Marks and tags of detectors, and names of rooms, each where it covers nothing of weight.

    `box` (mm) is where the picture lies, `mm_per_px` how large its pixels are there; names keep
    within `area`, all of it unless given, and off what is `taken`.
    """
    placed = composed.placed

    def on_page(points: Floats) -> Floats:
        return np.asarray(placed.pixels(points)) * mm_per_px + np.array(box[:2])

    placer = Placer((float(box[0]), float(box[1]), float(box[2]), float(box[3])) if area is None else area)
    for one in taken:
        placer.take(one)
    tops, feet = (on_page(some) if len(some) else np.zeros((0, 2)) for some in (composed.tops, composed.feet))
    hidden = np.zeros(len(tops), bool) if composed.hidden is None else composed.hidden
    within = np.all((tops > np.array(box[:2]) + 1) & (tops < np.array(box[2:]) - 1), axis=1) & ~hidden
    units = [unit for unit, ok in zip(composed.units, within, strict=True) if ok]
    tops, feet = tops[within], feet[within]
    n = len(units)
    strokes = [(np.stack([a, b]), 1.0) for a, b in zip(tops, feet, strict=True)]
    strokes += [(on_page(line), 0.15) for line in composed.dashes]
    placer.note_strokes(strokes)
    for figure in composed.figures:
        flat = on_page(figure.reshape(-1, 3))
        placer.take((*flat.min(axis=0), *flat.max(axis=0)))
    factor = size_factor(np.asarray(tops, np.float64))
    marks = []
    for unit, place in zip(units, tops, strict=True):
        ahead = placed.view.project((unit.rotation[:, 0] * np.array([1, 1, 0]))[None])[0]
        marks.append(Mark(sort_of(unit), place, float(np.degrees(np.arctan2(ahead[1], ahead[0])))))
        reach = 1.9 * factor
        placer.take((place[0] - reach, place[1] - reach, place[0] + reach, place[1] + reach))
    draw_marks(page, marks, factor)
    size = tag_pt if n <= 25 else 0.85 * tag_pt
    for unit, place in zip(units, tops, strict=True):
        text = page.lettering.fit(named(unit.name), "bold", size, 34)
        extent = page.lettering.extent(text, "bold", size)
        gaps = (2.2 * factor + 0.5, 4.0, 6.5, 9.5)
        found = placer.near(place, (extent.width + 0.8, extent.height), gaps, leader_from=5.0)
        if found is None:
            continue
        x, y = found.centre
        if found.leader is not None:
            page.lines([[place, found.leader]], palette.ACCENT, 0.5, 19.0)
        page.text(
            x - extent.width / 2, y - extent.height / 2 + extent.below, text, size, font="bold", color=palette.ACCENT,
            z=22.0, halo_pt=2.2,
        )  # fmt: skip
    _storey_names(page, composed, placer, on_page)
    _room_names(page, composed, placer, on_page)


def _storey_names(page: Page, composed: Composed, placer: Placer, on_page: Callable[[Floats], Floats]) -> None:
    """The name and level of each storey to the left of its floor."""
    if len(composed.laid) < 2:
        return
    for laid in composed.laid:
        corners = on_page(np.concatenate([sheet.triangles.reshape(-1, 3) for sheet in laid.floor_map.sheets]))
        left = corners[int(corners[:, 0].argmin())]
        name = page.lettering.fit(named(laid.plane.surface.storey or ""), "italic", 13.0, 48.0)
        level = f"{words.level(float(np.min(laid.plane.surface.floor)))} m"
        extents = [page.lettering.extent(name, "italic", 13.0), page.lettering.extent(level, "sans", 9.0)]
        size = (max(e.width for e in extents) + 1.0, sum(e.height for e in extents) + 0.6)
        gaps = (3.0, 5.0, 8.0, 12.0)
        placed = placer.near(left, size, gaps, prefer_deg=180.0)
        if placed is None:
            continue
        right, top = placed.centre[0] + size[0] / 2, placed.centre[1] + size[1] / 2
        page.text(right, top - extents[0].above, name, 13.0, font="italic", ha="right", z=21.0, halo_pt=2.4)
        y = top - extents[0].height - 0.6 - extents[1].above
        page.text(right, y, level, 9.0, color=palette.SECOND_INK, ha="right", z=21.0, halo_pt=2.0)


def _room_names(page: Page, composed: Composed, placer: Placer, on_page: Callable[[Floats], Floats]) -> None:
    """Names of rooms on their floors, clear of what stands there; one that has no room of its own is left out."""
    if sum(len(laid.plane.surface.room_names) for laid in composed.laid) < 2:
        return
    busy = _busy(composed, on_page, page.size)
    wanted: list[tuple[str, Any, Floats]] = []
    for laid in composed.laid:
        surface, level = laid.plane.surface, map_level_m(laid.plane)
        sheets = dict(zip(surface.room_names, laid.floor_map.sheets, strict=False))
        for index, name in enumerate(surface.room_names):
            rows, columns = np.nonzero(surface.room == index)
            if not len(rows) or name not in sheets:
                continue
            floor = np.broadcast_to(np.asarray(surface.floor_at(rows, columns)), rows.shape)
            places = np.column_stack([surface.x[columns], surface.y[rows], floor + level]) + laid.offset
            centres = on_page(places)
            centres = centres[:: max(len(centres) // 1500, 1)]
            corners = on_page(sheets[name].triangles.reshape(-1, 3)).reshape(-1, 3, 2)
            wanted.append((named(name), shapely.union_all(shapely.polygons(corners)).buffer(0.6), centres))
    # One size for all, so that a size says nothing about a room, and names for nearly all rooms or for none.
    best: list[tuple[str, float, float, float]] = []
    for size in _ROOM_PT:
        placed = _try_names(page, wanted, size, busy, deepcopy(placer))
        if len(placed) > len(best):
            best = placed
        if len(placed) >= 0.8 * len(wanted):
            break
    if len(best) < 0.5 * len(wanted):
        return
    for text, size, x, y in best:
        extent = page.lettering.extent(text, "italic", size)
        at = (x - extent.width / 2, y - extent.height / 2 + extent.below)
        page.text(*at, text, size, font="italic", z=21.0, halo_pt=2.6)


def _try_names(
    page: Page, wanted: Sequence[tuple[str, Any, Floats]], size: float, busy: Floats, placer: Placer
) -> list[tuple[str, float, float, float]]:
    """(name, size, x, y) of every room whose name finds a place in one size."""
    found = []
    for text, outline, centres in wanted:
        fits = _within(page, text, size, centres, outline)
        if not fits.any():
            continue
        extent = page.lettering.extent(text, "italic", size)
        places = centres[fits]
        costs = 0.02 * np.linalg.norm(places - centres.mean(axis=0), axis=1)
        costs += 8.0 * _cover(busy, places, (extent.width + 1.5, extent.height + 1.0))
        chosen = placer.place((extent.width + 1.0, extent.height), places, costs, most=8.0)
        if chosen is not None:
            found.append((text, size, float(places[chosen, 0]), float(places[chosen, 1])))
    return found


def _within(page: Page, text: str, size: float, centres: Floats, outline: Any) -> NDArray[np.bool_]:
    """Which places (n, 2) hold a name within an outline on the page."""
    extent = page.lettering.extent(text, "italic", size)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [extent.width / 2, extent.above / 2]
    points = centres[:, None] + corners
    found: NDArray[np.bool_] = shapely.contains_xy(outline, points[..., 0], points[..., 1]).all(axis=1)
    return found


#: Pixels a mm of the raster that says where something stands.
_BUSY_PER_MM = 2.0


def _busy(composed: Composed, on_page: Callable[[Floats], Floats], size_mm: tuple[float, float]) -> Floats:
    """Summed-area table of where, on the page, something other than floor and map is drawn."""
    width, height = (round(v * _BUSY_PER_MM) for v in size_mm)
    image = Image.new("L", (width, height), 0)
    draw = ImageDraw.Draw(image)
    standing = [b.triangles for role, b in composed.drawn.bodies.items() if role != "slab"]
    if standing:
        triangles = np.concatenate(standing)
        flat = on_page(triangles.reshape(-1, 3)).reshape(-1, 6) * _BUSY_PER_MM
        for corners in flat.tolist():
            draw.polygon(corners, fill=1)
    filled = np.asarray(image, np.float64)
    return np.pad(filled.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))


def _cover(busy: Floats, centres: Floats, size: tuple[float, float]) -> Floats:
    """Share (n,) of boxes about centres (n, 2) in mm that is busy."""
    half = np.array(size) / 2
    low = np.clip(np.round((centres - half) * _BUSY_PER_MM).astype(int), 0, np.array(busy.shape)[::-1] - 1)
    high = np.clip(np.round((centres + half) * _BUSY_PER_MM).astype(int), 0, np.array(busy.shape)[::-1] - 1)
    x0, y0, x1, y1 = low[:, 0], low[:, 1], high[:, 0], high[:, 1]
    total = busy[y1, x1] - busy[y0, x1] - busy[y1, x0] + busy[y0, x0]
    return np.asarray(total / np.maximum((x1 - x0) * (y1 - y0), 1))


def _north(page: Page, scene: Scene, composed: Composed, picture: NDArray[np.uint8], box: Box) -> None:
    """A needle lying on the floor, in the emptiest corner of the picture's frame."""
    angle = np.radians(scene.north_deg)
    view = composed.placed.view
    if abs(view.elevation_deg) < _FLATTEST_NEEDLE_DEG:
        return  # lying on the floor it would be a line; the foot of the page says where one looks from
    north = view.project(np.array([[np.cos(angle), np.sin(angle), 0.0]]))[0]
    across = view.project(np.array([[-np.sin(angle), np.cos(angle), 0.0]]))[0]
    reach = 11.0
    corners = [(box[2] - reach, box[1] + reach), (box[0] + reach + 4, box[1] + reach), (box[2] - reach, box[3] - reach)]
    corners.append((box[0] + reach + 4, box[3] - reach))
    filled = [_filled(picture, box, c, reach) for c in corners]
    if min(filled) > 0.02:
        corners, filled = [(box[2] - reach, box[3] + 14.0)], [0.0]
    centre = np.array(corners[int(np.argmin(filled))])
    tip, tail = centre + 6.5 * north, centre - 4.0 * north
    left, right, waist = tail + 2.2 * across, tail - 2.2 * across, centre - 2.2 * north
    page.areas([[np.array([tip, left, waist])]], 5.0, face=palette.INK, edge=palette.INK, width_pt=0.6)
    page.areas([[np.array([tip, right, waist])]], 5.0, face=palette.PAPER, edge=palette.INK, width_pt=0.6)
    extent = page.lettering.extent("N", "serif", 12)
    at = tip + 2.8 * north / max(float(np.linalg.norm(north)), 1e-9)
    page.text(at[0], at[1] - extent.above / 2, "N", 12, font="serif", ha="center")


def _filled(picture: NDArray[np.uint8], box: Box, centre: tuple[float, float], reach: float) -> float:
    """Share of a square about a place on the page (mm) that is not white."""
    height = len(picture)
    x0, x1 = (round((centre[0] + d - box[0]) / MM_PER_PX) for d in (-reach, reach))
    y0, y1 = (height - round((centre[1] + d - box[1]) / MM_PER_PX) for d in (reach, -reach))
    part = picture[max(y0, 0) : max(y1, 0), max(x0, 0) : max(x1, 0)]
    return float((part.min(axis=-1) < 245).mean()) if part.size else 1.0

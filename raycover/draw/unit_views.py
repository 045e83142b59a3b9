"""Plan and sections of a single unit on paper: its field in the open, footprints, lens edges, a person for scale."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from contourpy import contour_generator
from numpy.typing import ArrayLike, NDArray

from raycover.asking.reach import DESK, Outline, Section, UnitReach
from raycover.draw.page import Box, Page, arc
from raycover.draw.palette import ACCENT, INK, PAPER, SECOND_INK, margin_rgb

RESERVE_DB = 3.0
#: Dashes (pt) by motion: walking across is the footprint that data sheets lead with.
DASHES: dict[str, tuple[float, ...] | None] = {"tangential": (5, 2.2), "radial": (1.2, 1.4), "presence": None}
SCALES = (20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1500, 2000, 3000, 5000, 7500, 10_000)
#: What is not seen keeps this share of its colour: the sheet is about what is.
_UNSEEN = 0.30
#: A beam whose axis leaves a section's plane by no more than this (sine) lies in it.
_IN_SECTION = 0.02
#: A walking person of 1.75 m: outline of body and limbs, (x, z) in metres from between the feet.
_BODY = np.array(
    [
        (-0.24, 0.02), (-0.20, 0.42), (-0.14, 0.86), (-0.15, 1.10), (-0.22, 0.84), (-0.29, 0.86), (-0.23, 1.30),
        (-0.16, 1.42), (-0.06, 1.46), (-0.06, 1.52), (0.06, 1.52), (0.06, 1.46), (0.16, 1.42), (0.23, 1.30),
        (0.30, 0.90), (0.24, 0.87), (0.15, 1.12), (0.14, 0.86), (0.19, 0.44), (0.30, 0.03), (0.18, 0.0),
        (0.08, 0.42), (0.0, 0.72), (-0.09, 0.40), (-0.12, 0.0),
    ]
)  # fmt: skip
_HEAD_AT, _HEAD_RADIUS, PERSON_HEIGHT = 1.625, 0.125, 1.75


@dataclass(frozen=True)
class Frame:
    """A place on paper for a drawing: `origin` (mm) is where metres (0, 0) fall, `scale` mm per metre."""

    origin: tuple[float, float]
    scale: float

    def points(self, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
        """(n, 2) mm for metres x and y, broadcast."""
        both = np.broadcast_arrays(np.asarray(x, float), np.asarray(y, float))
        return np.asarray(self.origin) + self.scale * np.stack(both, axis=-1)

    def y(self, metres: float) -> float:
        return self.origin[1] + self.scale * metres


def shown_outlines(unit: UnitReach) -> dict[str, Outline]:
    """By motion, what the plan shows: presence at desk height, walking on the floor; what is never seen left out."""
    shown = {m: (unit.desk if m == "presence" else unit.floor)[m] for m in unit.floor}
    return {motion: limit for motion, limit in shown.items() if limit.reach > 0}


def draw_plan(page: Page, unit: UnitReach, frame: Frame, box: Box) -> None:
    """The field on the floor and the footprint of each motion, within `box`."""
    _field(page, unit.plan, frame, box)
    (x, y), chain = frame.origin, (9.0, 2.5, 1.5, 2.5)
    page.lines(
        [[(box[0] - 3, y), (box[2] + 3, y)], [(x, box[1] - 2), (x, box[3] + 2)]], SECOND_INK, 0.3, 5, dashes=chain
    )
    for motion, limit in shown_outlines(unit).items():
        line = [frame.points(limit.x, limit.y)]
        page.lines(line, PAPER, 1.9, 9, alpha=0.7)
        page.lines(line, ACCENT, 0.85 if motion == "tangential" else 0.7, 9.5, dashes=DASHES[motion])
    _glyph(page, frame.origin, round_field=all(f.is_round for f in unit.footprints))


def draw_section(page: Page, unit: UnitReach, section: Section, frame: Frame, box: Box, axis: str) -> None:
    """Margins in a vertical plane, the floor at the frame's origin. `axis`: "along" or "across"."""
    x0, x1 = box[0], box[2]
    floor, desk, mounting = frame.y(0), frame.y(DESK), frame.y(unit.mounting)
    _field(page, section, frame, box)
    page.lines(_limit_lines(section, frame), INK, 0.55, 6, clip=box)
    page.areas([[[(x0, floor - 1.1), (x1, floor - 1.1), (x1, floor), (x0, floor)]]], 8, face=INK)
    page.lines([[(x0, desk), (x1, desk)]], INK, 0.35, 7, dashes=(2.0, 2.0))
    page.lines([[(x0, mounting), (x1, mounting)]], SECOND_INK, 0.4, 7, dashes=(7.0, 3.0))
    spread = _apart([floor, desk, mounting], 2.6)
    for height, words in zip(spread, ("floor", f"desk {DESK:g} m", f"unit at {unit.mounting:g} m"), strict=True):
        page.text(x1 + 1.2, height - 0.75, words, 6, color=SECOND_INK)
    if unit.model.kind == "infrared" and section.offset == 0:
        _lens_edges(page, unit, frame, (x0, floor, x1, mounting), axis)
    if section.offset == 0:
        _beam_axes(page, unit, frame, box, axis)
    _person(page, frame, _standing_at(unit, axis, section.offset))
    if section.offset == 0:
        page.lines([[(frame.origin[0], mounting), (frame.origin[0], mounting + 1.4)]], ACCENT, 0.7, 20)
        half_disc = arc((frame.origin[0], mounting), 1.5, 180, 360)
        page.areas([[half_disc]], 21, face=PAPER, edge=ACCENT, width_pt=0.9)


def _limit_lines(section: Section, frame: Frame) -> list[NDArray[np.float64]]:
    """Where the margin passes 0 dB for want of reach; lens edges are drawn as such."""
    margin = np.ma.masked_invalid(section.margin_db)
    lines = contour_generator(section.x, section.z, np.ma.clip(margin, -40.0, 40.0)).lines(0.0)
    return [frame.points(line[:, 0], line[:, 1]) for line in map(np.asarray, lines)]


def _standing_at(unit: UnitReach, axis: str, offset: float) -> float:
    """Where the person stands (m from the middle of the section): well inside the first footprint."""
    limit = next(iter(shown_outlines(unit).values()), None)
    side = 0.0 if limit is None else float((limit.x if axis == "along" else limit.y).max())
    return 0.0 if offset else max(0.55 * side, 0.45)


def _field(page: Page, section: Section, frame: Frame, box: Box) -> None:
    """The map of margins: full colour where seen, pale where not."""
    step_x, step_z = section.x[1] - section.x[0], section.z[1] - section.z[0]
    columns = _within(frame.origin[0] + frame.scale * section.x, box[0], box[2])
    rows = _within(frame.origin[1] + frame.scale * section.z, box[1], box[3])
    margin = section.margin_db[rows, columns]
    rgb = margin_rgb(margin, RESERVE_DB)
    rgb = np.where((margin >= 0)[..., None], rgb, paled(rgb))
    x, z = section.x[columns], section.z[rows]
    (x0, y0), (x1, y1) = frame.points([x[0] - step_x / 2, x[-1] + step_x / 2], [z[0] - step_z / 2, z[-1] + step_z / 2])
    page.image(rgb, (float(x0), float(y0), float(x1), float(y1)), 1)


def paled(rgb: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A colour (…, 3) as it is drawn where nothing is seen."""
    return np.asarray(255 - _UNSEEN * (255 - rgb.astype(float))).astype(np.uint8)


def _within(places: NDArray[np.floating], low: float, high: float) -> slice:
    start, stop = np.searchsorted(places, [low - 1e-9, high + 1e-9])
    return slice(int(start), max(int(stop), int(start) + 1))


def _lens_edges(page: Page, unit: UnitReach, frame: Frame, box: Box, axis: str) -> None:
    """Straight lines from the unit to where the lens ends on the floor, each motion in its dashes."""
    for footprint in unit.footprints:
        directions = np.array([1.0, -1.0])
        zero = np.zeros(2)
        cos, sin = (directions, zero) if axis == "along" else (zero, directions)
        ends = footprint.shape.radius(cos, sin) / footprint.drop * unit.mounting * directions
        lines = [frame.points([0.0, end], [unit.mounting, 0.0]) for end in ends if end != 0]
        page.lines(lines, ACCENT, 0.6, 9, dashes=DASHES[footprint.motion], clip=box)


def _beam_axes(page: Page, unit: UnitReach, frame: Frame, box: Box, axis: str) -> None:
    """Where the beams of an entry aim that lie in the plane of the section."""
    far = (box[2] - box[0]) / frame.scale
    for beam in unit.model.beams or ():
        azimuth, off_axis = np.radians(beam.azimuth_deg), np.radians(beam.off_axis_deg)
        ahead, beside = (np.cos(azimuth), np.sin(azimuth)) if axis == "along" else (np.sin(azimuth), np.cos(azimuth))
        if abs(beside * np.sin(off_axis)) > _IN_SECTION:
            continue
        x, z = far * ahead * np.sin(off_axis), unit.mounting - far * np.cos(off_axis)
        page.lines([frame.points([0.0, x], [unit.mounting, z])], ACCENT, 0.5, 9, dashes=(9.0, 2.5, 1.5, 2.5), clip=box)


def _person(page: Page, frame: Frame, at: float) -> None:
    body = frame.points(at + _BODY[:, 0], _BODY[:, 1])
    centre = frame.points(at, _HEAD_AT)
    head = arc(centre, _HEAD_RADIUS * frame.scale, 0, 360)
    page.areas([[body], [head]], 11.5, face=PAPER, edge=PAPER, width_pt=1.2)
    page.areas([[body], [head]], 12, face=INK)


def _glyph(page: Page, at: tuple[float, float], *, round_field: bool) -> None:
    """A ring with a dot (all round) or a bar along azimuth 0, and a tick at azimuth 0."""
    x, y = at
    page.discs([at], 1.85, 20, face=PAPER)
    page.discs([at], 1.5, 21, face=PAPER, edge=ACCENT, width_pt=0.9)
    if round_field:
        page.discs([at], 0.45, 22, face=ACCENT)
    else:
        page.lines([[(x - 0.93, y), (x + 0.93, y)]], ACCENT, 1.7, 22)
    page.lines([[(x + 1.5, y), (x + 2.9, y)]], ACCENT, 1.2, 21)


def _apart(heights: list[float], gap: float) -> list[float]:
    """Rising heights moved up where they stand closer than `gap`."""
    placed: list[float] = []
    for height in heights:
        placed.append(max(height, placed[-1] + gap) if placed else height)
    return placed


def scale_bar(page: Page, right: float, y: float, scale: float) -> None:
    """A bar of four parts, ink and paper, that ends at `right`; `scale` in mm per metre."""
    step = next((s for s in (0.25, 0.5, 1, 2, 5, 10, 20, 50, 100) if s * scale >= 6), 200)
    width = step * scale
    x = right - 4 * width
    for k in range(4):
        left, right = x + k * width, x + (k + 1) * width
        ring = [(left, y), (right, y), (right, y + 1.1), (left, y + 1.1)]
        page.areas([[ring]], 10, face=INK if k % 2 == 0 else PAPER, edge=INK, width_pt=0.5)
    for k in range(5):
        page.text(x + k * width, y + 2.0, f"{k * step:g}", 6, ha="center", color=SECOND_INK)
    page.text(x + 4 * width + 3.4, y + 2.0, "m", 6, color=SECOND_INK)


def dimension(page: Page, start: tuple[float, float], end: tuple[float, float], words: str) -> None:
    """A dimension line with oblique ticks; its figure above a level line, left of an upright one."""
    page.lines([[start, end]], INK, 0.4, 10)
    ticks = [[(x - 0.7, y - 0.7), (x + 0.7, y + 0.7)] for x, y in (start, end)]
    page.lines(ticks, INK, 0.7, 10)
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    if start[1] == end[1]:
        page.text(middle[0], middle[1] + 0.9, words, 6.5, ha="center", halo_pt=2.0)
    else:
        page.text(middle[0] - 1.3, middle[1] - 0.8, words, 6.5, ha="right", halo_pt=2.0)

"""Plan and sections of a single unit on paper, in millimetres: footprints, lens edges, a person for scale."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Circle, PathPatch, Polygon, Wedge
from matplotlib.path import Path as Outline2D
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from raycover.draw.palette import ACCENT, INK, PAPER, RULE, SECOND_INK, margin_rgb

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from raycover.reach import Outline, Section, UnitReach

RESERVE_DB = 3.0
#: Dashes (pt) by motion: walking across is the footprint that data sheets lead with.
DASHES: dict[str, tuple[float, ...]] = {"tangential": (5, 2.2), "radial": (1.4, 1.6), "presence": ()}
SCALES = (20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1500, 2000, 3000, 5000, 7500, 10_000)
#: A walking person of 1.75 m, half outline right side then left, as (x, z) in metres.
_PERSON = np.array(
    [
        (-0.26, 0.0), (-0.20, 0.42), (-0.13, 0.84), (-0.16, 1.12), (-0.23, 0.86), (-0.29, 0.88), (-0.22, 1.36),
        (-0.13, 1.45), (-0.05, 1.47), (0.05, 1.47), (0.13, 1.45), (0.22, 1.36), (0.31, 0.92), (0.25, 0.89),
        (0.15, 1.14), (0.13, 0.84), (0.19, 0.44), (0.27, 0.02), (0.16, 0.0), (0.09, 0.42), (0.0, 0.74),
        (-0.10, 0.40), (-0.15, 0.0),
    ]
)  # fmt: skip


@dataclass(frozen=True)
class Frame:
    """A place on paper for a drawing: `origin` (mm) is where metres (0, 0) fall, `scale` mm per metre."""

    origin: tuple[float, float]
    scale: float

    def x(self, metres: NDArray[np.floating] | float) -> NDArray[np.floating]:
        return self.origin[0] + np.asarray(metres) * self.scale

    def y(self, metres: NDArray[np.floating] | float) -> NDArray[np.floating]:
        return self.origin[1] + np.asarray(metres) * self.scale


def halo(width: float = 1.8) -> list[withStroke]:
    return [withStroke(linewidth=width, foreground=PAPER)]


def text(ax: Axes, x: float, y: float, words: str, size: float = 6.5, **more: object) -> None:
    """Text at a place in mm; dollar signs mean nothing."""
    options: dict[str, object] = {"color": INK, "va": "baseline", "parse_math": False, **more}
    ax.text(x, y, words, fontsize=size, **options)  # type: ignore[arg-type]


def draw_plan(ax: Axes, unit: UnitReach, frame: Frame, box: tuple[float, float, float, float]) -> None:
    """The field on the floor and the footprint of each motion. `box`: x0, y0, x1, y1 in mm to stay within."""
    _field(ax, unit.plan, frame, box)
    for motion, limit in shown_outlines(unit).items():
        _footprint(ax, frame.x(limit.x), frame.y(limit.y), motion)
    ax.plot([box[0], box[2]], [frame.origin[1]] * 2, color=SECOND_INK, lw=0.3, dashes=(12, 3, 2, 3), zorder=5)
    ax.plot([frame.origin[0]] * 2, [box[1], box[3]], color=SECOND_INK, lw=0.3, dashes=(12, 3, 2, 3), zorder=5)
    _glyph(ax, frame.origin, round_field=all(f.shape.constant is not None for f in unit.footprints))


def shown_outlines(unit: UnitReach) -> dict[str, Outline]:
    """By motion, what the plan shows: presence at desk height, walking on the floor."""
    return {m: (unit.desk if m == "presence" else unit.floor)[m] for m in unit.floor}


def draw_section(
    ax: Axes, unit: UnitReach, section: Section, frame: Frame, box: tuple[float, float, float, float], axis: str
) -> None:
    """Margins in a vertical plane, floor at the frame's origin. `axis`: "along" or "across"."""
    x0, _, x1, y1 = box
    floor, mounting = float(frame.y(0)), float(frame.y(unit.mounting))
    _field(ax, section, frame, (x0, floor, x1, y1))
    levels = section.margin_db
    if np.isfinite(levels).any() and levels.max() > 0 > levels.min():
        filled = np.where(np.isfinite(levels), levels, -99.0)
        drawn = ax.contour(
            frame.x(section.x), frame.y(section.z), filled, [0.0], colors=INK, linewidths=0.55, zorder=6
        )
        drawn.set_clip_path(_rectangle((x0, floor, x1, y1)), ax.transData)
    ax.fill_between([x0, x1], floor - 1.1, floor, color=INK, lw=0, zorder=8)
    desk = float(frame.y(0.75))
    ax.plot([x0, x1], [desk, desk], color=INK, lw=0.35, dashes=(2, 2), zorder=7)
    text(ax, x1 + 1.2, desk, "desk", 6, color=SECOND_INK, va="center")
    text(ax, x1 + 1.2, floor - 0.5, "floor", 6, color=SECOND_INK, va="center")
    ax.plot([x0, x1], [mounting, mounting], color=SECOND_INK, lw=0.35, dashes=(6, 3), zorder=7)
    text(ax, x1 + 1.2, mounting, f"{unit.mounting:g} m", 6, color=SECOND_INK, va="center")
    if unit.model.kind == "infrared" and section.offset == 0:
        _lens_edges(ax, unit, frame, (x0, floor, x1, mounting), axis)
    reach = (unit.along if axis == "along" else unit.across).x.max()
    _person(ax, frame, _standing_at(unit, axis, section.offset, reach), floor)
    if section.offset == 0:
        _glyph_in_section(ax, (frame.origin[0], mounting))


def _standing_at(unit: UnitReach, axis: str, offset: float, widest: float) -> float:
    limit = next(iter(unit.floor.values()))
    side = limit.x.max() if axis == "along" else limit.y.max()
    if side <= 0:
        return 0.3 * widest
    return 0.0 if offset else 0.55 * float(side)


def _field(ax: Axes, section: Section, frame: Frame, box: tuple[float, float, float, float]) -> None:
    """The map of margins: full colour where seen, pale where not."""
    rgb = margin_rgb(section.margin_db, RESERVE_DB).astype(float)
    seen = (section.margin_db >= 0)[..., None]
    rgb = np.where(seen, rgb, 255 - 0.30 * (255 - rgb))
    dx, dz = np.diff(section.x[:2])[0] / 2, np.diff(section.z[:2])[0] / 2
    extent = (
        float(frame.x(section.x[0] - dx)), float(frame.x(section.x[-1] + dx)),
        float(frame.y(section.z[0] - dz)), float(frame.y(section.z[-1] + dz)),
    )  # fmt: skip
    image = ax.imshow(rgb.astype(np.uint8), extent=extent, origin="lower", interpolation="bilinear", zorder=1, aspect="auto")
    image.set_clip_path(_rectangle(box), ax.transData)


def _rectangle(box: tuple[float, float, float, float]) -> Outline2D:
    x0, y0, x1, y1 = box
    return Outline2D([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)])


def _footprint(ax: Axes, x: NDArray[np.floating], y: NDArray[np.floating], motion: str) -> None:
    if np.ptp(x) == 0:
        return
    ax.plot(x, y, color=PAPER, lw=2.0, alpha=0.7, zorder=9, solid_joinstyle="miter")
    dashes = DASHES.get(motion, ())
    style = (0, dashes) if dashes else "solid"
    ax.plot(x, y, color=ACCENT, lw=0.9 if motion == "tangential" else 0.75, ls=style, zorder=9.5)


def _lens_edges(ax: Axes, unit: UnitReach, frame: Frame, box: tuple[float, float, float, float], axis: str) -> None:
    """Straight lines from the unit to where the lens ends on the floor, each motion in its dashes."""
    directions = ((1.0, 0.0), (-1.0, 0.0)) if axis == "along" else ((0.0, 1.0), (0.0, -1.0))
    for footprint in unit.footprints:
        for cos, sin in directions:
            radius = float(footprint.shape.radius(np.array([cos]), np.array([sin]))[0])
            if radius <= 0:
                continue
            end = radius / footprint.drop * unit.mounting * (cos + sin)
            dashes = DASHES.get(footprint.motion, ())
            line = ax.plot(
                frame.x([0, end]), frame.y([unit.mounting, 0]), color=ACCENT, lw=0.6,
                ls=(0, dashes) if dashes else "solid", zorder=9,
            )[0]  # fmt: skip
            line.set_clip_path(_rectangle(box), ax.transData)


def _person(ax: Axes, frame: Frame, at: float, floor: float) -> None:
    x, z = frame.x(at + _PERSON[:, 0]), floor + _PERSON[:, 1] * frame.scale
    body = Polygon(np.column_stack([x, z]), closed=True, fc=INK, ec=PAPER, lw=0.5, zorder=12, joinstyle="round")
    head = Circle((float(frame.x(at)), floor + 1.62 * frame.scale), 0.115 * frame.scale, fc=INK, ec=PAPER, lw=0.4, zorder=12)
    ax.add_patch(body)
    ax.add_patch(head)


def _glyph(ax: Axes, at: tuple[float, float], *, round_field: bool) -> None:
    """A ring with a dot (all round) or a bar along azimuth 0, and a tick at azimuth 0."""
    x, y = at
    ax.add_patch(Circle(at, 1.85, fc=PAPER, ec="none", zorder=20))
    ax.add_patch(Circle(at, 1.5, fc=PAPER, ec=ACCENT, lw=0.9, zorder=21))
    if round_field:
        ax.add_patch(Circle(at, 0.45, fc=ACCENT, ec="none", zorder=22))
    else:
        ax.plot([x - 0.93, x + 0.93], [y, y], color=ACCENT, lw=1.7, solid_capstyle="butt", zorder=22)
    ax.plot([x + 1.5, x + 2.9], [y, y], color=ACCENT, lw=1.2, solid_capstyle="butt", zorder=21)


def _glyph_in_section(ax: Axes, at: tuple[float, float]) -> None:
    x, y = at
    ax.plot([x, x], [y, y + 1.4], color=ACCENT, lw=0.7, zorder=20)
    ax.add_patch(Wedge((x, y), 1.5, 180, 360, fc=PAPER, ec=ACCENT, lw=0.9, zorder=21))


def section_letter(ax: Axes, x: float, y: float, letters: str, words: str, note: str) -> None:
    """Heading of a drawing: italic name and a note in the second ink."""
    name = ax.text(x, y, f"{letters}  {words}".strip(), fontsize=11.5, family="STIXGeneral", style="italic", color=INK)
    ax.annotate(
        note, xy=(1, 0), xycoords=name, xytext=(7, 2.2), textcoords="offset points",
        fontsize=6.5, color=SECOND_INK, parse_math=False,
    )  # fmt: skip


def scale_bar(ax: Axes, x: float, y: float, scale: float) -> None:
    """A bar of four parts, ink and paper, in metres; `scale` in mm per metre."""
    step = next(s for s in (0.25, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000) if s * scale >= 6)
    for k in range(4):
        corners = [(x + k * step * scale, y), (x + (k + 1) * step * scale, y)]
        ax.add_patch(
            PathPatch(
                _rectangle((corners[0][0], y, corners[1][0], y + 1.1)), fc=INK if k % 2 == 0 else PAPER, ec=INK, lw=0.5
            )
        )
    for k in range(5):
        words = f"{k * step:g}" + (" m" if k == 4 else "")
        text(ax, x + k * step * scale, y + 2.2, words, 6, ha="center" if k < 4 else "left", color=SECOND_INK)


def dimension(ax: Axes, start: tuple[float, float], end: tuple[float, float], words: str) -> None:
    """A dimension line with oblique ticks, level or upright."""
    (x0, y0), (x1, y1) = start, end
    ax.plot([x0, x1], [y0, y1], color=INK, lw=0.4, zorder=10)
    for x, y in (start, end):
        ax.plot([x - 0.7, x + 0.7], [y - 0.7, y + 0.7], color=INK, lw=0.7, zorder=10)
    upright = x0 == x1
    ax.text(
        (x0 + x1) / 2 - (0.9 if upright else 0), (y0 + y1) / 2 + (0 if upright else 0.8), words, fontsize=6.5, color=INK,
        rotation=90 if upright else 0, ha="right" if upright else "center", va="center" if upright else "bottom",
        zorder=15, path_effects=halo(), parse_math=False,
    )  # fmt: skip


__all__ = ["DASHES", "RULE", "SCALES", "Frame", "draw_plan", "draw_section", "shown_outlines"]

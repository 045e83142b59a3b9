"""A walked route on a plan: who notices the person where, which way they go, when they are where."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.draw import palette
from raycover.draw.labels import Placer
from raycover.draw.lettering import named
from raycover.draw.page import Page
from raycover.draw.people import draw_person
from raycover.draw.projection import Projection
from raycover.walking.kinematics import SIT, STAND
from raycover.walking.light import stretches
from raycover.walking.walk import Seen, Walk
from raycover.walking.words import clock, span

Floats = NDArray[np.float64]
#: Over walls and doors, under names and detectors.
_Z = 10.0
#: The route's classes by how many notice: width of the edge and of the fill (pt), fill.
NOBODY = palette.hex_of(palette.class_rgb(palette.NOT_SEEN, 0.5))
ONE = palette.hex_of(palette.class_rgb(palette.SEEN, 0.7))
SEVERAL = palette.hex_of(palette.class_rgb(palette.ASSURED, 0.7))
#: Lines of detectors beside the route: first offset and pitch (mm), and how many at most.
_FIRST_OFF, _PITCH, _MOST = 2.1, 1.5, 5
_TICK_STEPS = (5, 10, 15, 30, 60, 120, 300, 600)
_LEAST_TICK_MM, _ARROW_MM = 4.0, 26.0
#: From this length (mm) on every piece of a detector's line has its tag.
_TAGGED = 12.0


@dataclass(frozen=True)
class OnPaper:
    """A walk on a page: `places` (t, 2) of its steps in mm, `along` (t,) mm walked."""

    places: Floats
    along: Floats


def on_paper(walk: Walk, projection: Projection) -> OnPaper:
    places = projection.to_paper(walk.track.position[:, :2])
    step = np.linalg.norm(np.diff(places, axis=0), axis=1)
    return OnPaper(places, np.concatenate([[0.0], np.cumsum(step)]))


def draw_route(page: Page, walk: Walk, projection: Projection, placer: Placer) -> OnPaper:
    """The route itself, its arrows, time ticks and ends; text keeps off it."""
    paper = on_paper(walk, projection)
    clip = projection.frame
    n = walk.n_noticing
    for level in (0, 1, 2):
        chosen = n == level if level < 2 else n >= 2
        for line in _lines(paper, chosen):
            draw_class(page, line, level, clip)
    _arrows(page, paper)
    _ticks(page, walk, paper, placer)
    _ends(page, walk, paper, placer)
    _take_line(placer, paper.places)
    return paper


def draw_class(page: Page, line: Floats, level: int, clip: tuple[float, float, float, float] | None = None) -> None:
    """A piece (n, 2) of route that nobody (0), one (1) or several (2) notice."""
    if level == 0:
        page.lines([line], palette.PAPER, 3.0, _Z, clip=clip)
        page.lines([line], NOBODY, 1.7, _Z + 0.1, dashes=(4.0, 2.2), clip=clip)
    else:
        edge, fill, colour = ((2.6, 1.4, ONE), (4.2, 3.0, SEVERAL))[level - 1]
        page.lines([line], palette.PAPER, edge + 1.2, _Z, clip=clip)
        page.lines([line], palette.INK, edge, _Z + 0.1, clip=clip)
        page.lines([line], colour, fill, _Z + 0.2, clip=clip)


def draw_noticed_by(page: Page, walk: Walk, paper: OnPaper, lanes: Sequence[Seen], placer: Placer) -> list[str]:
    """A line beside the route for each detector that notices, tagged; names of those with no room for one."""
    left_out: list[str] = []
    k = 0
    for seen in lanes:
        pieces = [
            line
            for line in _lines(paper, seen.noticed_here)
            if float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) > 0.8
        ]
        if not pieces:
            continue
        if k == _MOST:
            left_out.append(seen.name)
            continue
        off = _FIRST_OFF + k * _PITCH
        k += 1
        longest = max(pieces, key=_length)
        for piece in pieces:
            beside = _beside(piece, off)
            if beside is None:
                continue
            page.lines([beside], palette.PAPER, 1.7, _Z + 0.3, alpha=0.85, clip=placer.frame)
            page.lines([beside], palette.ACCENT, 0.7, _Z + 0.4, clip=placer.frame)
            bars = [_bar(beside[0], beside[1]), _bar(beside[-1], beside[-2])]
            page.lines(bars, palette.ACCENT, 0.7, _Z + 0.4, clip=placer.frame)
            if piece is longest or _length(piece) > _TAGGED:
                _tag(page, seen.name, beside, placer)
            _take_line(placer, beside)
    return left_out


def _tag(page: Page, name: str, line: Floats, placer: Placer) -> None:
    text = page.lettering.fit(named(name), "bold", 6.0, 16.0)
    extent = page.lettering.extent(text, "bold", 6.0)
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    shares = np.array([0.5, 0.35, 0.65, 0.2, 0.8, 0.1, 0.9])
    spots = np.column_stack([np.interp(shares * reached[-1], reached, line[:, j]) for j in (0, 1)])
    ahead = np.column_stack([np.interp(shares * reached[-1] + 0.1, reached, line[:, j]) for j in (0, 1)]) - spots
    across = np.column_stack([-ahead[:, 1], ahead[:, 0]]) / np.maximum(np.linalg.norm(ahead, axis=1), 1e-9)[:, None]
    spots = np.concatenate([spots + across * out for out in (0.0, 1.5, 2.6, 4.0)])
    costs = np.tile(4 * np.abs(shares - 0.5), 4) + np.repeat([0.0, 1.0, 3.0, 6.0], len(shares))
    index = placer.place((extent.width + 0.6, extent.height - 0.6), spots, costs, most=60.0)
    if index is not None:
        x, y = (float(v) for v in spots[index])
        page.text(
            x, y - 0.36 * extent.above, text, 6.0, font="bold", color=palette.ACCENT, ha="center", z=_Z + 2, halo_pt=2.2
        )  # fmt: skip


def draw_marks(page: Page, walk: Walk, paper: OnPaper, placer: Placer) -> None:
    """Where the person is first noticed, and the longest stretch in which nobody notices them."""
    gap = walk.longest
    if gap is not None:
        a, b = (round(t / walk.track.step_s) for t in (gap.from_s, gap.to_s))
        words = f"unnoticed {span(gap.seconds)}" + (f", {gap.metres:.1f} m" if gap.metres > 0.05 else "")
        line = _thin(paper.places[a : b + 1])
        middle = paper.places[(a + b) // 2]
        if len(line) > 1 and paper.along[b] - paper.along[a] > 1.5:
            beside = _beside(line, -2.4)
            if beside is not None:
                page.lines([beside], palette.PAPER, 1.9, _Z + 0.3, clip=placer.frame)
                page.lines([beside], NOBODY, 0.8, _Z + 0.5, clip=placer.frame)
                bars = [_bar(beside[0], beside[1]), _bar(beside[-1], beside[-2])]
                page.lines(bars, NOBODY, 0.8, _Z + 0.5, clip=placer.frame)
                middle = shapely.get_coordinates(shapely.LineString(beside).interpolate(0.5, normalized=True))[0]
        _label(page, words, middle, placer, bold=False)
    if walk.first is not None and walk.first.seconds > 0.05:
        at = paper.places[round(walk.first.seconds / walk.track.step_s)]
        page.areas([[at + np.array([(0, 1.7), (1.7, 0), (0, -1.7), (-1.7, 0)])]], _Z + 3, face=palette.PAPER,
                   edge=palette.INK, width_pt=0.8)  # fmt: skip
        page.areas([[at + np.array([(0, 0.8), (0.8, 0), (0, -0.8), (-0.8, 0)])]], _Z + 3.1, face=palette.INK)
        placer.take((at[0] - 1.8, at[1] - 1.8, at[0] + 1.8, at[1] + 1.8))
        _label(page, f"first noticed {walk.first.seconds:.1f} s, {walk.first.metres:.1f} m", at, placer, bold=True)


def _label(page: Page, text: str, at: Floats, placer: Placer, *, bold: bool) -> None:
    font = "bold" if bold else "sans"
    extent = page.lettering.extent(text, font, 6.5)  # type: ignore[arg-type]
    size = (extent.width + 1.0, extent.height)
    placed = placer.near(at, size, (2.4, 4.0, 6.0, 9.0, 13.0, 18.0), leader_from=3.5)
    if placed is None:
        return
    if placed.leader is not None:
        page.lines([np.stack([placed.leader, at])], palette.PAPER, 1.5, _Z + 1.0, alpha=0.8)
        page.lines([np.stack([placed.leader, at])], palette.INK, 0.5, _Z + 1.1)
    y = placed.centre[1] - extent.height / 2 + extent.below
    page.text(placed.centre[0], y, text, 6.5, font=font, ha="center", z=_Z + 4, halo_pt=2.4)  # type: ignore[arg-type]


def _lines(paper: OnPaper, chosen: NDArray[np.bool_]) -> list[Floats]:
    """Pieces (n, 2) of the route where steps are chosen, each up to the step that follows."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(np.int8)))
    found = []
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        line = _thin(paper.places[a : min(b + 1, len(chosen))])
        if len(line) > 1:
            found.append(line)
    return found


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _thin(line: Floats) -> Floats:
    """A line without the steps that do not move, straight stretches without what lies in them."""
    kept = line[np.concatenate([[True], np.linalg.norm(np.diff(line, axis=0), axis=1) > 1e-6])]
    return shapely.get_coordinates(shapely.simplify(shapely.LineString(kept), 0.01)) if len(kept) > 1 else kept


def _beside(line: Floats, off: float) -> Floats | None:
    """A line to the left (mm; negative: right) of another."""
    moved = shapely.offset_curve(shapely.LineString(line), off, join_style="mitre", mitre_limit=2.0)
    parts = [part for part in shapely.get_parts(moved) if part.length > 0.3]
    if not parts:
        return None
    return np.asarray(shapely.get_coordinates(max(parts, key=lambda part: part.length)))


def _bar(at: Floats, inner: Floats) -> Floats:
    along = (inner - at) / max(float(np.linalg.norm(inner - at)), 1e-9)
    across = np.array([-along[1], along[0]]) * 0.6
    return np.stack([at - across, at + across])


def _arrows(page: Page, paper: OnPaper) -> None:
    """Chevrons along the route."""
    length = float(paper.along[-1])
    n = max(int(length / _ARROW_MM), 1)
    marks = []
    for at in (np.arange(n) + 0.5) / n * length:
        both = np.array([at, min(at + 0.8, length)])
        here, ahead = np.stack([np.interp(both, paper.along, paper.places[:, k]) for k in (0, 1)], axis=1)
        if np.linalg.norm(ahead - here) < 0.1:
            continue
        along = (ahead - here) / np.linalg.norm(ahead - here)
        across = np.array([-along[1], along[0]])
        barb = here - along * 1.1
        marks.append(np.stack([here + along * 1.7, barb + across * 1.35, here - along * 0.4, barb - across * 1.35]))
    page.areas([[mark] for mark in marks], _Z + 0.8, face=palette.INK, edge=palette.PAPER, width_pt=0.5)


def _ticks(page: Page, walk: Walk, paper: OnPaper, placer: Placer) -> None:
    """A tick every so many seconds, numbered; those that fall on a stop are left out."""
    track = walk.track
    mm_per_s = walk.way.speed * (paper.along[-1] / max(track.length_m, 1e-9))
    step = next((s for s in _TICK_STEPS if s * mm_per_s >= _LEAST_TICK_MM), _TICK_STEPS[-1])
    last = -np.inf
    for seconds in np.arange(step, track.seconds, step):
        k = round(seconds / track.step_s)
        if paper.along[k] - last < 1.5 or paper.along[k] > paper.along[-1] - 1.5:
            continue
        last = float(paper.along[k])
        angle = float(track.heading_rad[k])
        across = np.array([-np.sin(angle), np.cos(angle)])
        at = paper.places[k]
        page.lines([[at - across * 1.3, at + across * 1.3]], palette.PAPER, 1.8, _Z + 0.6)
        page.lines([[at - across * 1.3, at + across * 1.3]], palette.INK, 0.8, _Z + 0.7)
        text = f"{seconds:g}" if track.seconds < 120 else clock(seconds)
        extent = page.lettering.extent(text, "sans", 6.0)
        size = (extent.width + 0.3, extent.height - 0.4)
        centres = [at - across * 2.7, at + across * 2.7, at - across * 3.6, at + across * 3.6]
        index = placer.place(size, centres, [0.0, 2.0, 3.0, 5.0], most=40.0)
        if index is not None:
            x, y = (float(v) for v in centres[index])
            page.text(x, y - 0.36 * extent.above, text, 6.0, ha="center", z=_Z + 2, halo_pt=2.0)


def _ends(page: Page, walk: Walk, paper: OnPaper, placer: Placer) -> None:
    """A ring at the start, the person at the end, a disc at each stop."""
    track = walk.track
    page.discs([paper.places[0]], 1.1, _Z + 2.0, face=palette.PAPER, edge=palette.INK, width_pt=0.9)
    for begin, _ in stretches(track.time_s, track.pose == STAND):
        at = paper.places[round(begin / track.step_s)]
        page.discs([at], 1.0, _Z + 2.0, face=palette.PAPER, edge=palette.INK, width_pt=0.6)
        page.discs([at], 0.45, _Z + 2.1, face=palette.INK)
    end = paper.places[-1]
    if walk.way.heading_deg is not None or (track.pose == SIT).any():
        sitting = track.pose == SIT
        noticed = bool((walk.noticed & sitting).any()) if sitting.any() else bool(walk.noticed[-1])
        draw_person(page, end, float(np.degrees(track.heading_rad[-1])), 3.2, noticed=noticed)
    else:
        square = end + 0.95 * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
        page.areas([[square]], _Z + 2.0, face=palette.INK, edge=palette.PAPER, width_pt=0.6)
    for at in (paper.places[0], end):
        placer.take((at[0] - 1.5, at[1] - 1.5, at[0] + 1.5, at[1] + 1.5))


def _take_line(placer: Placer, line: Floats) -> None:
    """Keep text off the route: small boxes along it."""
    thin = _thin(line)
    if len(thin) < 2:
        return
    curve = shapely.LineString(thin)
    for at in np.arange(0.0, curve.length, 1.6):
        x, y = curve.interpolate(at).coords[0]
        placer.take((x - 0.8, y - 0.8, x + 0.8, y + 0.8))

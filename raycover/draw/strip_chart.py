"""The strip chart of a walk: a lane of signal a detector over time, what the person does, and the light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from raycover.draw import hatching, palette
from raycover.draw.lettering import clean, named
from raycover.draw.page import Box, Page
from raycover.signs import minus
from raycover.walking.kinematics import POSES, WALK
from raycover.walking.light import stretches
from raycover.walking.walk import Seen, Walk
from raycover.walking.words import clock, span

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: Lanes of margins end at ± this (dB), those of simulated signals at ± this many thresholds.
SPAN_DB, SPAN_THRESHOLDS = 12.0, 3.0
#: Room to the left for names and to the right for what comes after (mm), heights of the bars.
LEFT, RIGHT = 15.0, 21.0
_BAR, _ROW, _AXIS, _BETWEEN = 4.6, 4.2, 6.5, 1.6
_STEPS_S = (1, 2, 5, 10, 15, 20, 30, 60, 120, 300, 600, 900, 1800, 3600)
_LEAST_TICK = 8.0
LIT = palette.hex_of(palette.class_rgb(palette.ASSURED, 0.6))
SEEN = palette.hex_of(palette.class_rgb(palette.SEEN, 0.7))
DARK = palette.hex_of(palette.class_rgb(palette.NOT_SEEN, 0.5))


@dataclass(frozen=True)
class TimeAxis:
    """Seconds to mm: straight where one walks; long stops and seats (`breaks`, from and to in s) are shortened."""

    times: Floats
    places: Floats
    breaks: tuple[tuple[float, float], ...]

    def x(self, seconds: float | Floats) -> Floats:
        return np.asarray(np.interp(seconds, self.times, self.places))

    @property
    def mm_per_s(self) -> float:
        """On the stretches that are not shortened."""
        rates = np.diff(self.places) / np.maximum(np.diff(self.times), 1e-9)
        return float(rates.max())


def time_axis(walk: Walk, x0: float, x1: float) -> TimeAxis:
    """The axis of a walk between two places (mm)."""
    track = walk.track
    still = stretches(track.time_s, track.pose != WALK)
    walking = track.seconds - sum(b - a for a, b in still)
    longest = max(0.3 * walking, 6.0)
    knots, breaks = [(0.0, 0.0)], []
    for begin, end in still:
        at = knots[-1][1] + begin - knots[-1][0]
        knots.append((begin, at))
        shown = min(end - begin, longest)
        if shown < 0.9 * (end - begin):
            breaks.append((begin, end))
        else:
            shown = end - begin
        knots.append((end, at + shown))
    knots.append((track.seconds, knots[-1][1] + track.seconds - knots[-1][0]))
    times, shown_s = np.array(knots, float).T
    keep = np.concatenate([[True], np.diff(times) > 1e-9])
    times, shown_s = times[keep], shown_s[keep]
    return TimeAxis(times, x0 + shown_s / max(shown_s[-1], 1e-9) * (x1 - x0), tuple(breaks))


def shown_lanes(walk: Walk, n_most: int) -> tuple[list[Seen], list[Seen]]:
    """The detectors with lanes, in the scene's order: those nearest to noticing; and the rest."""
    near = sorted(
        (k for k, seen in enumerate(walk.seen) if seen.best_db > -SPAN_DB or seen.noticed.any()),
        key=lambda k: (not walk.seen[k].noticed_here.any(), not walk.seen[k].counts.any(), -walk.seen[k].best_db),
    )
    chosen = sorted(near[:n_most])
    return [walk.seen[k] for k in chosen], [s for k, s in enumerate(walk.seen) if k not in chosen]


def height_of(n_lanes: int, lane: float) -> float:
    """Height (mm) of a chart with lanes of a height."""
    return _AXIS + n_lanes * lane + 2 * (_ROW + _BETWEEN) + _BAR + 1.0


def draw_strip_chart(page: Page, walk: Walk, lanes: Sequence[Seen], box: Box) -> None:
    """The chart in a box (mm): light on top, then rooms and doing, a lane a detector, and the time axis."""
    x0, y0, x1, y1 = box
    axis = time_axis(walk, x0 + LEFT, x1 - RIGHT)
    top = y1 - _BAR
    _light_bar(page, walk, axis, (x0, top, x1, y1))
    rows_top = top - _BETWEEN
    _word_row(page, "room", _room_words(walk), axis, x0, rows_top - _ROW, rows_top)
    low = rows_top - _ROW - 0.6
    _word_row(page, "person", _pose_words(walk), axis, x0, low - _ROW, low)
    lanes_top, lanes_foot = low - _ROW - _BETWEEN, y0 + _AXIS
    _unnoticed_band(page, walk, axis, lanes_foot, lanes_top)
    each = (lanes_top - lanes_foot) / max(len(lanes), 1)
    for k, seen in enumerate(lanes):
        high = lanes_top - k * each
        _lane(page, walk, seen, axis, (x0, high - each + 0.7, x1, high - 0.7))
    _thresholds(page, walk, axis, lanes_foot, rows_top)
    _first_line(page, walk, axis, lanes_foot, y1)
    _time_axis(page, axis, y0 + _AXIS, x0, x1)


def _light_bar(page: Page, walk: Walk, axis: TimeAxis, box: Box) -> None:
    x0, y0, _, y1 = box
    left, right = float(axis.places[0]), float(axis.places[-1])
    page.text(x0, y0 + 1.4, "light", 6.5, font="bold")
    page.areas([[_oblong(left, y0, right, y1)]], 5.0, face=LIT)
    time = walk.track.time_s
    entered = set(walk.light.waits)
    for stretch in (*walk.light.waits, *walk.light.left):
        a, b = (float(v) for v in axis.x(np.array(stretch)))
        dark = (a, y0, b, y1)
        page.areas([[_oblong(*dark)]], 5.1, face=DARK)
        cells = np.ones((8, max(int((b - a) * 8), 1)), bool)
        if b - a > 0.3:
            lines = hatching.hatch_lines(cells, dark, hatching.NOT_SEEN_MM, step=0.05)
            page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 5.2, alpha=hatching.OPACITY, clip=dark)
        words = "dark" if stretch in entered else "left in the dark"
        long = span(stretch[1] - stretch[0])
        _word_in(page, (f"{words} {long}", words, f"dark {long}", long, "dark"), dark, white=True)
    for begin, end in stretches(time, walk.light.on):
        a, b = (float(v) for v in axis.x(np.array([begin, end])))
        _word_in(page, ("light on", "on"), (a, y0, b, y1), white=False)
    page.areas([[_oblong(left, y0, right, y1)]], 5.3, edge=palette.INK, width_pt=0.5)
    off = walk.light.off_at_s
    note = "never on" if off is None else f"off at {clock(off)}" if off > time[-1] else "off"
    if off is not None and off > time[-1]:
        page.lines([[(right + 0.4, (y0 + y1) / 2), (right + 3.2, (y0 + y1) / 2)]], palette.INK, 0.7, 25.0)
        tip, middle = right + 3.4, (y0 + y1) / 2
        head = [(tip, middle), (tip - 1.1, middle + 0.6), (tip - 1.1, middle - 0.6)]
        page.areas([[head]], 25.0, face=palette.INK)
    page.text(right + 4.4, y0 + 1.5, note, 6.0, color=palette.SECOND_INK)


def _word_in(page: Page, words: Sequence[str], box: Box, *, white: bool) -> None:
    """The first of some words that fits in a bar."""
    x0, y0, x1, _ = box
    for text in words:
        if page.lettering.extent(text, "bold", 6.0).width < x1 - x0 - 1.2:
            color, halo = (palette.PAPER, DARK) if white else (palette.INK, LIT)
            page.text(
                (x0 + x1) / 2, y0 + 1.5, text, 6.0, font="bold", color=color, ha="center", halo_pt=1.8, halo=halo
            )  # fmt: skip
            return


def _room_words(walk: Walk) -> list[tuple[float, float, str]]:
    starts = [entry.at_s for entry in walk.entries]
    ends = [*starts[1:], walk.track.seconds]
    return [(a, b, entry.room) for a, b, entry in zip(starts, ends, walk.entries, strict=True)]


def _pose_words(walk: Walk) -> list[tuple[float, float, str]]:
    track = walk.track
    change = np.flatnonzero(np.diff(track.pose)) + 1
    edges = [0, *change.tolist(), len(track.time_s) - 1]
    found = []
    for a, b in pairwise(edges):
        # The step from one doing to the next belongs to the earlier.
        begin, end = float(track.time_s[max(a - 1, 0)]), float(track.time_s[b if b == edges[-1] else b - 1])
        name = POSES[track.pose[min(a, len(track.pose) - 1)]]
        words = {"walk": "walks", "stand": "stands", "sit": "sits"}[name]
        found.append((begin, end, words if name == "walk" else f"{words} {span(end - begin)}"))
    return found


def _word_row(
    page: Page, head: str, parts: Sequence[tuple[float, float, str]], axis: TimeAxis, x0: float, y0: float, y1: float
) -> None:
    page.text(x0, y0 + 1.2, head, 6.0, color=palette.SECOND_INK)
    left, right = float(axis.places[0]), float(axis.places[-1])
    page.lines([[(left, y0), (right, y0)]], palette.RULE, 0.5, 5.0)
    for begin, end, words in parts:
        a, b = (float(v) for v in axis.x(np.array([begin, end])))
        page.lines([[(a, y0), (a, y1)]], palette.SECOND_INK, 0.4, 5.0)
        if b - a > 3.0:
            text = page.lettering.fit(clean(words), "sans", 6.0, b - a - 1.6)
            if len(text) > 2:
                page.text(a + 0.8, y0 + 1.2, text, 6.0, halo_pt=1.8)


def _unnoticed_band(page: Page, walk: Walk, axis: TimeAxis, y0: float, y1: float) -> None:
    """The longest stretch in which nobody notices, shaded through all lanes."""
    gap = walk.longest
    if gap is None:
        return
    a, b = (float(v) for v in axis.x(np.array([gap.from_s, gap.to_s])))
    page.areas([[_oblong(a, y0, b, y1)]], 3.0, face=palette.GOODS, alpha=0.9)
    page.lines([[(a, y0), (a, y1)], [(b, y0), (b, y1)]], palette.SECOND_INK, 0.4, 3.1, dashes=(1.4, 1.2))


def _lane(page: Page, walk: Walk, seen: Seen, axis: TimeAxis, box: Box) -> None:
    x0, y0, _, y1 = box
    left, right = float(axis.places[0]), float(axis.places[-1])
    middle = (y0 + y1) / 2
    tag = page.lettering.fit(named(seen.name), "bold", 7.0, LEFT - 2.0)
    page.text(x0, middle - 0.2, tag, 7.0, font="bold", color=palette.ACCENT)
    counts = bool(seen.counts.any())
    page.text(x0, middle - 2.9, "signal" if seen.signal is not None else "margin", 6.0, color=palette.SECOND_INK)
    time = walk.track.time_s
    x = axis.x(time)
    y, levels = _heights(seen, y0, y1)
    face = SEEN if counts else palette.RULE
    if seen.signal is not None:
        # In shortened time a swinging signal would be a blot: its range stands for it.
        for begin, end in axis.breaks:
            within = (time > begin + 1e-9) & (time <= end + 1e-9)
            _range(page, x[within], y[within], face if seen.noticed[within].any() else palette.RULE)
            y = np.where(within, np.nan, y)
        page.lines([[(left, middle), (right, middle)]], palette.RULE, 0.5, 3.6)
        for level, beyond in zip(levels, (seen.signal <= -1, seen.signal >= 1), strict=True):
            _filled(page, x, y, level, beyond & np.isfinite(y), face)
    else:
        _filled(page, x, y, levels[0], seen.noticed, face)
    page.lines([[(left, level), (right, level)] for level in levels], palette.INK, 0.5, 6.5)
    for line in _runs(x, y):
        page.lines([line], palette.INK if counts else palette.SECOND_INK, 0.55, 7.0, clip=(left, y0, right, y1))
    page.lines([[(left, y0), (left, y1)]], palette.INK, 0.5, 7.0)
    at = [begin for begin, _ in stretches(time, seen.triggers) if not any(a < begin < b for a, b in axis.breaks)]
    some = axis.x(np.array(at)) if at else np.zeros(0)
    apart: list[float] = []
    for v in some.tolist():
        if not apart or v - apart[-1] > 1.0:
            apart.append(v)
    marks = [np.array([(v, y1 - 1.5), (v - 0.75, y1), (v + 0.75, y1)]) for v in apart]
    filled = palette.INK if counts else palette.PAPER
    page.areas([[mark] for mark in marks], 8.0, face=filled, edge=palette.INK, width_pt=0.4)
    _lane_note(page, walk, seen, right, middle)


def _range(page: Page, x: Floats, y: Floats, face: str) -> None:
    """What a signal swings between, as a bar."""
    known = np.isfinite(y)
    if known.any():
        low, high = float(y[known].min()), float(y[known].max())
        box = _oblong(float(x[known][0]), low, float(x[known][-1]), max(high, low + 0.2))
        page.areas([[box]], 4.0, face=face, edge=palette.INK, width_pt=0.4)


def _lane_note(page: Page, walk: Walk, seen: Seen, right: float, middle: float) -> None:
    """To the right of a lane: how much of the time, or how near it came."""
    if seen.noticed.any():
        text = f"{100 * seen.noticed.mean():.0f} % of time"
    elif np.isfinite(seen.best_db):
        text = minus(f"best {seen.best_db:+.1f} dB")
    else:
        text = "nothing"
    page.text(right + 1.5, middle - 0.2, text, 6.0)
    if not seen.counts.any():
        page.text(right + 1.5, middle - 2.8, "other room", 6.0, color=palette.SECOND_INK)
    elif seen.noticed.any():
        first = float(walk.track.time_s[np.flatnonzero(seen.noticed)[0]])
        page.text(right + 1.5, middle - 2.8, f"from {first:.1f} s", 6.0, color=palette.SECOND_INK)


def _heights(seen: Seen, y0: float, y1: float) -> tuple[Floats, list[float]]:
    """Heights (t,) of a lane's line (mm), NaN where there is none, and of its threshold lines."""
    middle, half = (y0 + y1) / 2, (y1 - y0) / 2
    if seen.signal is not None:
        unit = half / SPAN_THRESHOLDS
        # Beyond the declared edge nothing counts: there is no line there.
        shown = np.where(seen.signal == 0, np.nan, np.clip(seen.signal, -SPAN_THRESHOLDS, SPAN_THRESHOLDS))
        return middle + shown * unit, [middle - unit, middle + unit]
    shown = np.where(seen.margin_db > -SPAN_DB, np.clip(seen.margin_db, -SPAN_DB, SPAN_DB), np.nan)
    return middle + shown / SPAN_DB * half, [middle]


def _filled(page: Page, x: Floats, y: Floats, base: float, chosen: Bools, face: str) -> None:
    """The area between a line and its threshold where someone is noticed."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(np.int8)))
    areas = []
    for a, b in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        line = np.column_stack([x[a:b], np.nan_to_num(y[a:b], nan=base)])
        line = _thinned(line)
        areas.append([np.concatenate([[(line[0, 0], base)], line, [(line[-1, 0], base)]])])
    page.areas(areas, 4.0, face=face)


def _runs(x: Floats, y: Floats) -> list[Floats]:
    """Pieces (n, 2) of a line where it is known."""
    known = np.isfinite(y)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    pieces = [np.column_stack([x[a:b], y[a:b]]) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [_thinned(piece) for piece in pieces if len(piece) > 1]


def _thinned(line: Floats, step: float = 0.08) -> Floats:
    """A line over rising x (mm) with at most four points a step: first, lowest, highest, last."""
    if len(line) < 4 * (line[-1, 0] - line[0, 0]) / step + 8:
        return line
    cell = np.floor((line[:, 0] - line[0, 0]) / step).astype(int)
    order = np.lexsort((line[:, 1], cell))
    first = np.flatnonzero(np.concatenate([[True], np.diff(cell) > 0]))
    last = np.append(first[1:], len(line)) - 1
    kept = np.unique(np.concatenate([first, last, order[first], order[last]]))
    return line[kept]


def _thresholds(page: Page, walk: Walk, axis: TimeAxis, y0: float, y1: float) -> None:
    """Where one room ends and the next begins, through all lanes."""
    for entry in walk.entries[1:]:
        x = float(axis.x(entry.at_s))
        page.lines([[(x, y0), (x, y1)]], palette.INK, 0.5, 3.5, dashes=(3.0, 1.2, 0.8, 1.2))


def _first_line(page: Page, walk: Walk, axis: TimeAxis, y0: float, y1: float) -> None:
    if walk.first is not None and walk.first.seconds > 0.05:
        x = float(axis.x(walk.first.seconds))
        page.lines([[(x, y0), (x, y1)]], palette.ACCENT, 0.7, 9.0)


def _time_axis(page: Page, axis: TimeAxis, y: float, x0: float, x1: float) -> None:
    left, right = float(axis.places[0]), float(axis.places[-1])
    page.lines([[(left, y), (right, y)]], palette.INK, 0.7, 10.0)
    step = next((s for s in _STEPS_S if s * axis.mm_per_s >= _LEAST_TICK), _STEPS_S[-1])
    ticks = [t for t in np.arange(0, axis.times[-1] + 1e-9, step)
             if not any(a + 0.01 < t < b - 0.01 for a, b in axis.breaks)]  # fmt: skip
    ends = [b for _, b in axis.breaks]
    ticks = [t for t in ticks if all(abs(float(axis.x(t) - axis.x(b))) > 6.0 for b in ends)] + ends
    long = axis.times[-1] >= 120
    page.lines([[(float(axis.x(t)), y), (float(axis.x(t)), y - 1.2)] for t in ticks], palette.INK, 0.5, 10.0)
    for t in ticks:
        text = clock(t) if long or t in ends else f"{t:g}"
        page.text(float(axis.x(t)), y - 4.0, text, 6.0, ha="center", color=palette.SECOND_INK)
    page.text(right + 4.4, y - 4.0, "min:s" if long else "s", 6.0, color=palette.SECOND_INK)
    for a, b in axis.breaks:
        middle = float(axis.x((a + b) / 2))
        page.areas([[_oblong(middle - 0.5, y - 0.8, middle + 0.5, y + 0.8)]], 10.1, face=palette.PAPER)
        page.lines([[(middle + dx - 0.5, y - 1.1), (middle + dx + 0.5, y + 1.1)] for dx in (-0.5, 0.5)],
                   palette.INK, 0.6, 10.2)  # fmt: skip


def _oblong(x0: float, y0: float, x1: float, y1: float) -> Floats:
    return np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])

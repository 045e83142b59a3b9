"""Slides that are tables: what is asked, and what the proof says."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raycover.draw import palette, words
from raycover.draw.lettering import ENGLISH, Font, Wording, clean
from raycover.draw.page import Page
from raycover.draw.proof_marks import draw_verdict
from raycover.draw.story.slide import blank, draw_foot
from raycover.draw.view3d.still_page import LEFT, RIGHT
from raycover.proving.needs import Figures, NeedVerdict, Proof
from raycover.proving.proof_words import asked_words, assumptions, found_words, way_words
from raycover.scene.schema import Scene
from raycover.signs import margin_words
from raycover.solving.coverage import Coverage

_HEAD_PT, _ROW_PT, _NOTE_PT = 10.5, 13.0, 9.5
_TOP, _BOTTOM, _NOTE_MM = 150.0, 22.0, 5.2
#: Rows no higher and no lower than this (mm).
_TALLEST, _LOWEST = 15.0, 7.6


def need_slide(scene: Scene, coverage: Coverage, proof: Proof | None, wording: Wording = ENGLISH) -> NDArray[np.uint8]:
    """What is asked of the detectors; without needs, the maps that are read instead."""
    page = blank(wording)
    if proof is not None:
        rows = [(v.need.name, page.said(clean(asked_words(v.need))), _where(v)) for v in proof.needs]
        _table(page, ("need", "what is asked", "where"), (LEFT, 105.0, 232.0), rows)
    else:
        planes = [(name, coverage[maps[0]].surface) for name, maps in coverage.by_plane().items()]
        rows = [(name, words.subtitle(surface, coverage.air), "every room") for name, surface in planes]
        _table(page, ("plane", "what its map shows", "where"), (LEFT, 75.0, 262.0), rows)
    draw_foot(page, scene)
    return page.pixels()


def _where(verdict: NeedVerdict) -> str:
    n = len(verdict.places)
    return verdict.places[0].site.name if n == 1 else f"{n} places"


def proof_slide(scene: Scene, proof: Proof, wording: Wording = ENGLISH) -> NDArray[np.uint8]:
    """Verdicts, need by need: the worst place of each."""
    page = blank(wording)
    rows, below = [], []
    for verdict in proof.needs:
        worst = min(verdict.places, key=lambda p: (p.met, _badness(verdict, p.figures)))
        n = sum(place.met for place in verdict.places)
        rows.append(
            (
                verdict.need.name,
                f"{n} of {len(verdict.places)}",
                f"{worst.site.name}: {found_words(verdict.need, worst.figures)}",
                margin_words(worst.figures.worst_db),
            )
        )
        below.append(page.way(clean(way_words(verdict, worst))))
    marks = [verdict.met for verdict in proof.needs]
    places = (LEFT + 9.0, 118.0, 150.0, RIGHT)
    lowest = _table(page, ("need", "places met", "its worst place", "margin there"), places, rows, marks, below)
    _rests_on(page, assumptions(proof), lowest - 9.0)
    draw_foot(page, scene)
    return page.pixels()


def _badness(verdict: NeedVerdict, found: Figures) -> tuple[float, float]:
    """Sorts the worst place first: the most seen of what nobody shall see, the least of what somebody shall, the
    latest that somebody who walks is noticed."""
    if verdict.need.never:
        return -found.share, -found.worst_db
    late = found.longest_s if found.longest_s is not None else found.first_m
    return (found.share if late is None else -late), found.worst_db


def _table(
    page: Page,
    heads: Sequence[str],
    places: Sequence[float],
    rows: Sequence[Sequence[str]],
    marks: Sequence[bool] | None = None,
    below: Sequence[str] | None = None,
) -> float:
    """Rows under heads, their columns beginning at `places` (mm); a column that begins at the right edge ends there.

    `marks` are verdicts, `below` what is said in small under the third column. Returns where the
    table ends (mm).
    """
    most = int((_TOP - _BOTTOM - 8) / _LOWEST)
    shown = rows if len(rows) <= most else rows[: most - 1]
    pitch = float(np.clip((_TOP - _BOTTOM - 8) / max(len(shown), 1), _LOWEST, _TALLEST))
    size = _ROW_PT if pitch > 9.5 else 11.0

    def room(k: int) -> float:
        """How wide (mm) a column may be."""
        if places[k] >= RIGHT - 1e-6:
            return 30.0
        if k + 2 == len(places) and places[-1] >= RIGHT - 1e-6:
            return RIGHT - 32.0 - places[k]
        return (RIGHT if k + 1 == len(places) else places[k + 1] - 5.0) - places[k]

    def put(row: Sequence[str], y: float, sizes_pt: Sequence[float], *, strong: bool) -> None:
        for k, (x, text) in enumerate(zip(places, row, strict=True)):
            font: Font = "bold" if strong or k == 0 else "sans"
            fitted = page.lettering.fit(clean(text), font, sizes_pt[k], room(k))
            page.text(x, y, fitted, sizes_pt[k], font=font, ha="right" if x >= RIGHT - 1e-6 else "left")

    def fitting(rows: Sequence[Sequence[str]], size_pt: float, *, strong: bool) -> list[float]:
        """A size for each column, the same for all its rows, in which they fit where any does."""
        found = []
        for k in range(len(places)):
            font: Font = "bold" if strong or k == 0 else "sans"
            tried = [
                page.lettering.fit_size(clean(row[k]), font, (size_pt, 10.0, 9.0, 8.0), room(k))[1] for row in rows
            ]
            found.append(min(tried, default=size_pt))
        return found

    put(heads, _TOP + 3.2, fitting([heads], _HEAD_PT, strong=True), strong=True)
    sizes = fitting(shown, size, strong=False)
    page.rule(LEFT, RIGHT, _TOP, 1.1)
    y = _TOP
    for number, row in enumerate(shown):
        middle = y - pitch / 2
        if marks is not None:
            draw_verdict(page, (LEFT + 3.0, middle), met=marks[number], radius=2.6)
        two = below is not None and pitch > 11.5
        put(row, middle + (0.8 if two else -1.6), sizes, strong=False)
        if below is not None and two:
            said = page.lettering.fit(below[number], "sans", _NOTE_PT, RIGHT - 32.0 - places[2])
            page.text(places[2], middle - 4.6, said, _NOTE_PT, color=palette.SECOND_INK)
        y -= pitch
        page.rule(LEFT, RIGHT, y, 0.5, palette.RULE)
    if len(shown) < len(rows):
        y -= 5.2
        page.text(LEFT, y, f"{len(rows) - len(shown)} more", _NOTE_PT, color=palette.SECOND_INK)
    return y


def _rests_on(page: Page, said: Sequence[str], top: float) -> None:
    """What the verdicts rest on, as far as there is room below a table."""
    lines = [
        line for one in said for line in page.lettering.wrap(page.said(clean(one)), "sans", _NOTE_PT, RIGHT - LEFT, 2)
    ]
    room = int((top - _BOTTOM) / _NOTE_MM)
    if room < 2:
        return
    page.text(LEFT, top, "What it rests on", _HEAD_PT, font="bold")
    for k, line in enumerate(lines[: room - 1]):
        page.text(LEFT, top - (k + 1) * _NOTE_MM - 0.6, line, _NOTE_PT, color=palette.SECOND_INK)

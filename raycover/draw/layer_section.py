"""A construction cut open: its layers to scale from the face above to the face below, studs and bars within."""

from __future__ import annotations

import numpy as np

from raycover.constructions import Construction
from raycover.draw.page import Box, Page, arc
from raycover.draw.palette import BENCH, GOODS, INK, PAPER, SECOND_INK, THIRD_INK
from raycover.physics.slab import Layer, Material

#: Scales on paper, 1 : n.
SCALES = (0.1, 0.2, 0.5, 1, 2, 2.5, 5, 10, 20, 25, 50, 100, 200, 500, 1000)
_MASONRY = ("concrete", "brick", "marble", "block", "stone")
_TIMBER = ("wood", "chipboard", "plywood", "floorboard", "laminate")
_GLASS = "#DCE8EC"
_THINNEST = 0.35  # mm on paper: thinner layers are drawn so thick


def scale_for(made: Construction, box: Box) -> float:
    """The largest usual scale at which the sheet fits its box, with more than a pitch of its studs or bars."""
    wide, high = box[2] - box[0], box[3] - box[1]
    thick = 1000 * made.thickness_m
    along = 0.0
    if made.studs is not None:
        along = 1000 * (made.studs.pitch_m + made.studs.width_m)
    if made.mats is not None:
        along = max(along, 2200 * made.mats.pitch_m)
    return next((s for s in SCALES if thick / s <= high and along / s <= wide), SCALES[-1])


def draw_section(page: Page, made: Construction, box: Box, scale: float, labels_x: float, right: float) -> None:
    """The section in `box` (mm) and its layers' names from `labels_x` to `right`."""
    x0, _, x1, y1 = box
    per_metre = 1000 / scale
    height = max(made.thickness_m * per_metre, _THINNEST)
    top = y1 - min(4.0, max(0.0, box[3] - box[1] - height))
    if not made.layers:
        words = {"opaque": "metal in it: opaque", "open": "taken as air"}.get(made.kind, "measured, layers not told")
        face = {"opaque": INK, "open": PAPER}.get(made.kind, _GLASS if made.glazing else GOODS)
        _box(page, (x0, top - height, x1, top), face)
        _label(page, [(top - height / 2, f"{1000 * made.thickness_m:g} mm", words)], x1, labels_x, right)
        return
    rows = []
    y = top
    for i, layer in enumerate(made.layers):
        thick = max(layer.thickness_m * per_metre, _THINNEST)
        _layer(page, (x0, y - thick, x1, y), layer.material)
        if made.studs is not None and i == made.buildup.gap:
            _studs(page, made, (x0, y - thick, x1, y), per_metre)
        rows.append((y - thick / 2, *_words(layer)))
        y -= thick
    if made.mats is not None:
        _bars(page, made, (x0, y, x1, top), per_metre)
    _label(page, rows, x1, labels_x, right)
    _within(page, made, y - 4.6, x0)


def _words(layer: Layer) -> tuple[str, str]:
    name = "air" if layer.material is None else layer.material.name
    return f"{1000 * layer.thickness_m:g} mm", name


def _within(page: Page, made: Construction, y: float, x: float) -> None:
    """Studs and bars in words, under the section."""
    said = []
    if (studs := made.studs) is not None:
        said.append(f"studs of {studs.material.name}, {1000 * studs.width_m:g} mm each {1000 * studs.pitch_m:g} mm")
    if (mats := made.mats) is not None:
        count = "one mat" if mats.n_mats == 1 else f"{mats.n_mats} mats"
        said.append(f"{count} of {1000 * mats.bar_m:g} mm bars each {1000 * mats.pitch_m:g} mm, both ways")
    if said:
        page.text(x, y, page.lettering.fit("; ".join(said), "sans", 6.5, 128), 6.5)


def _label(page: Page, rows: list[tuple[float, str, str]], edge: float, x: float, right: float) -> None:
    """Names beside their layers, spread where layers are thin, with a leader each."""
    pitch = 3.4
    wanted = [y for y, _, _ in rows]
    places = [wanted[0]]
    for y in wanted[1:]:
        places.append(min(y, places[-1] - pitch))
    shift = (sum(wanted) - sum(places)) / len(rows)
    for (y, size, name), place in zip(rows, places, strict=True):
        at = place + shift
        page.lines([[(edge, y), (edge + 1.4, y), (x - 1.4, at), (x - 0.4, at)]], SECOND_INK, 0.3, 9)
        words = page.text(x, at - 0.8, size, 6.5, font="bold")
        left = x + max(words.width + 1.6, 12.0)
        page.text(left, at - 0.8, page.lettering.fit(name, "sans", 6.5, right - left), 6.5)


def _layer(page: Page, box: Box, material: Material | None) -> None:
    """A layer's face and hatch by what it is made of."""
    if material is None:
        _box(page, box, PAPER)
    elif material.is_metal:
        _box(page, box, INK)
    elif "glass" in material.name and "fibre" not in material.name:
        _box(page, box, _GLASS)
    elif any(word in material.name for word in _MASONRY):
        _box(page, box, GOODS)
        _hatch(page, box, 2.0)
    elif any(word in material.name for word in _TIMBER):
        _box(page, box, GOODS)
        lines = [[(box[0], y), (box[2], y)] for y in np.arange(box[1] + 0.9, box[3] - 0.3, 1.1)]
        page.lines(lines, THIRD_INK, 0.25, 6, clip=box)
    else:
        _box(page, box, BENCH)


def _box(page: Page, box: Box, face: str) -> None:
    x0, y0, x1, y1 = box
    page.areas([[[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]], 5, face=face)
    page.lines([[(x0, y0), (x1, y0)], [(x0, y1), (x1, y1)]], INK, 0.6, 7)


def _hatch(page: Page, box: Box, spacing: float) -> None:
    x0, y0, x1, y1 = box
    high = y1 - y0
    starts = np.arange(x0 - high, x1, spacing)
    page.lines([[(x, y0), (x + high, y1)] for x in starts], THIRD_INK, 0.3, 6, clip=box)


def _studs(page: Page, made: Construction, box: Box, per_metre: float) -> None:
    """Studs across the gap: timber as boards on end, metal as channels of bent sheet."""
    assert made.studs is not None
    x0, y0, x1, y1 = box
    pitch, width = made.studs.pitch_m * per_metre, made.studs.width_m * per_metre
    middles = [x for x in np.arange((x0 + x1) / 2 - 20 * pitch, x1, pitch) if x0 < x + width / 2 and x - width / 2 < x1]
    if len(middles) < 2:
        middles = [m - pitch / 2 for m in [*middles, middles[-1] + pitch]]
    for x in middles:
        left, right = max(x - width / 2, x0), min(x + width / 2, x1)
        if made.studs.material.is_metal:
            channel = [
                (x + width / 2, y0 + 0.4),
                (x - width / 2, y0 + 0.4),
                (x - width / 2, y1 - 0.4),
                (x + width / 2, y1 - 0.4),
            ]
            page.lines([channel], INK, 1.2, 8, clip=box)
            continue
        _layer(page, (left, y0, right, y1), made.studs.material)
        page.lines([[(left, y0), (left, y1)], [(right, y0), (right, y1)]], INK, 0.5, 8)


def _bars(page: Page, made: Construction, box: Box, per_metre: float) -> None:
    """Bars across the cut as discs, those along it as lines, each mat near its face."""
    assert made.mats is not None
    x0, y0, x1, y1 = box
    pitch, bar = made.mats.pitch_m * per_metre, max(made.mats.bar_m * per_metre, 0.5)
    thick = y1 - y0
    depths = [0.2] if made.mats.n_mats == 1 else np.linspace(0.2, 0.8, made.mats.n_mats).tolist()
    centres = np.arange((x0 + x1) / 2 - 20 * pitch, x1 - bar / 2, pitch)
    centres = centres[centres > x0 + bar / 2]
    for depth in depths:
        y = y0 + depth * thick
        page.areas([[[(x0, y - bar), (x1, y - bar), (x1, y), (x0, y)]]], 8, face=INK)
        page.areas([[arc((x, y + bar / 2), bar / 2, 0, 360)] for x in centres], 8.5, face=INK)

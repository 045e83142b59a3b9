"""A short film (GIF): a door swings shut, and the map follows; who sits behind a cubicle's door is noticed, or not."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from raycover.draw import palette, words
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.story.moving import FOOT_PX, SIZE_PX, as_gif, foot, lettered
from raycover.draw.view3d import environment
from raycover.draw.view3d.camera import View
from raycover.draw.view3d.floor_map import map_level_m
from raycover.draw.view3d.people import seated_figure
from raycover.draw.view3d.still import Composed, Shot, compose, render
from raycover.draw.view3d.trays import group_of
from raycover.draw.walk_plan import NOBODY
from raycover.proving.swinging import Door, Moment
from raycover.shares import percent
from raycover.solving.coverage import PlaneCoverage

Floats = NDArray[np.floating[Any]]

_FIRST_MS, _FRAME_MS, _LAST_MS = 1400, 170, 2200
#: So much (m) is shown about a cubicle's door, about another one; all of a building that is smaller.
_CUBICLE_M, _ABOUT_M = 5.2, 9.0
#: Over a map that lies higher than the first (m), walls and panels stand out by the second.
_HIGH_M, _ABOVE_M = 0.3, 0.35


def door_film(moments: Iterable[Moment], door: Door, plane_name: str, wording: Wording = ENGLISH) -> bytes:
    """The film of one door over the map of a plane. The same input gives the same bytes.

    Raises MissingPart where 3D cannot be drawn.
    """
    pyvista = environment.load_for_pictures()
    frames: list[Image.Image] = []
    first: Composed | None = None
    for moment in moments:
        composed = _composed(moment, door, plane_name, first)
        first = composed if first is None else first
        picture = Image.fromarray(render(pyvista, replace(composed, placed=first.placed)))
        frames.append(_frame(picture, moment, door, replace(composed, placed=first.placed), wording))
    times = [_FIRST_MS, *[_FRAME_MS] * (len(frames) - 2), _LAST_MS][: len(frames)]
    return as_gif(frames, times)


def _composed(moment: Moment, door: Door, plane_name: str, first: Composed | None) -> Composed:
    """One moment by the camera of the first, with a person behind a cubicle's door and nobody else."""
    view: View | None = None if first is None else first.placed.view
    shot = Shot(lobes=(), people=False)
    about = _ABOUT_M if door.number is None else _CUBICLE_M
    if float(np.ptp(moment.building.bounds[:, :2], axis=0).min()) > about:
        shot = replace(shot, parallel_m=about, target=_middle(moment, door))
    planes = tuple(moment.coverage[name] for name in group_of(moment.coverage, plane_name))
    if (level := map_level_m(planes[0])) > _HIGH_M:
        shot = replace(shot, walls=level + _ABOVE_M)
    composed = compose(
        moment.scene, moment.building, moment.coverage, plane_name, moment.rays, SIZE_PX[0], SIZE_PX[1] - FOOT_PX, shot,
        view=view,
    )  # fmt: skip
    figures: tuple[Floats, ...] = ()
    unnoticed: tuple[Floats, ...] = ()
    if door.inside is not None and (found := cell_at(composed.planes, door.inside)) is not None:
        plane, row, column = found
        ground = float(np.asarray(plane.surface.floor_at(np.array([row]), np.array([column]))).ravel()[0])
        offset = next((laid.offset for laid in composed.laid if laid.plane is plane), np.zeros(3))
        figure = seated_figure(np.array([*door.inside, ground]) + offset, _facing(moment, door))
        if plane.margin_db[row, column] >= 0:
            figures = (figure,)
        else:
            unnoticed = (figure,)
    return replace(composed, figures=figures, unnoticed=unnoticed, dashes=np.zeros((0, 2, 3)))


def cell_at(planes: Iterable[PlaneCoverage], place: tuple[float, float]) -> tuple[PlaneCoverage, int, int] | None:
    """The map and the cell (row, column) of a place in plan; None where no map lies there."""
    for plane in planes:
        surface = plane.surface
        if surface.places is not None:
            continue
        row, column = (int(np.argmin(np.abs(axis - v))) for axis, v in ((surface.y, place[1]), (surface.x, place[0])))
        near = abs(surface.x[column] - place[0]) <= surface.grid and abs(surface.y[row] - place[1]) <= surface.grid
        if near and surface.inside[row, column]:
            return plane, row, column
    return None


def _facing(moment: Moment, door: Door) -> float:
    """Which way (rad) who sits in a cubicle looks: to its door."""
    middle = _middle(moment, door)
    assert door.inside is not None
    return float(np.arctan2(middle[1] - door.inside[1], middle[0] - door.inside[0]))


def _middle(moment: Moment, door: Door) -> Floats:
    """The middle (3,) of a door's opening."""
    if door.number is None:
        mark = next(mark for mark in moment.building.openings if mark.loc == door.loc)
        start, end = np.array(mark.start), np.array(mark.end)
        return np.array([*((start + end) / 2), mark.sill])
    name = door.name.split("/")[-1].replace("door", "front")
    row = moment.scene.cubicles[int(door.loc[1])].name
    fronts = [s for s in moment.building.sheets if s.name in (f"{row}/{name} left", f"{row}/{name} right")]
    ends = np.concatenate([np.asarray(s.frame.to_space(_corners(s.polygon))) for s in fronts])
    return np.array([*ends[:, :2].mean(axis=0), float(ends[:, 2].min())])


def _corners(polygon: Any) -> Floats:
    x0, y0, x1, y1 = polygon.bounds
    return np.array([[x0, y0], [x1, y1]])


def _frame(picture: Image.Image, moment: Moment, door: Door, composed: Composed, wording: Wording) -> Image.Image:
    page = Image.new("RGB", SIZE_PX, palette.PAPER)
    page.paste(picture, (0, 0))
    draw = ImageDraw.Draw(page)
    tops = composed.placed.pixels(composed.tops)
    feet = composed.placed.pixels(composed.feet)
    for unit, top, low in zip(composed.units, tops, feet, strict=True):
        x, y = float(top[0]), picture.height - float(top[1])
        draw.line([(x, y), (float(low[0]), picture.height - float(low[1]))], fill=palette.ACCENT)
        draw.ellipse((x - 5, y - 5, x + 5, y + 5), fill=palette.PAPER, outline=palette.ACCENT, width=2)
        draw.text((x + 8, y - 6), clean(unit.name), font=lettered("bold", 12), fill=palette.ACCENT, anchor="ls",
                  stroke_width=2, stroke_fill=palette.PAPER)  # fmt: skip
    angle = "open" if moment.open_deg >= 90 else "closed" if moment.open_deg <= 0 else f"{moment.open_deg:g}° open"
    said, colour = _said(moment, door, composed)
    surface = composed.plane.surface
    title = f"{clean(moment.scene.title)} · {words.subtitle(surface, moment.coverage.air)}"
    foot(draw, f"{clean(door.name)}: {angle}", said, colour, title, wording)
    return page


def _said(moment: Moment, door: Door, composed: Composed) -> tuple[str, str]:
    """What of the place behind the door, or of the whole plane, is noticed."""
    area = max(sum(plane.area_m2 for plane in composed.planes), 1e-9)
    share = sum(plane.area_where(plane.detected) for plane in composed.planes) / area
    whole = f"{percent(share)} of the plane is seen"
    found = None if door.inside is None else cell_at(composed.planes, door.inside)
    if found is None:
        return whole, palette.INK
    plane, row, column = found
    margin, best = float(plane.margin_db[row, column]), int(plane.best_detector[row, column])
    if margin >= 0 and best >= 0:
        name = clean(moment.coverage.units[best].name)
        return f"who is inside is noticed by {name}, +{margin:.1f} dB; {whole}", palette.ACCENT
    return f"nobody notices who is inside; {whole}", NOBODY

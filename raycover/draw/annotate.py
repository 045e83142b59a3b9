"""Words on the plan: gap letters, detector tags, names of rooms, racks, and of what the gaps name, wide doors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import glyphs, palette, words
from raycover.draw.doors import distinct, inward, is_wide
from raycover.draw.labels import Placer
from raycover.draw.lettering import Font, clean
from raycover.draw.page import Page
from raycover.draw.projection import Projection
from raycover.gaps import Gap
from raycover.surfaces import Surface

Floats = NDArray[np.float64]
_DISC = 1.75
_LEADER_PT = 0.5
#: Longest detector tag and object name on the plan, mm.
_LONGEST_TAG, _LONGEST_NAME = 24.0, 34.0


class Annotator:
    """Places text on one plan, in the order of its methods' calls: what comes first gets the better place."""

    def __init__(self, page: Page, projection: Projection, placer: Placer) -> None:
        self.page, self.projection, self.placer = page, projection, placer

    def _size(self, text: str, font: Font, size_pt: float) -> tuple[float, float]:
        extent = self.page.lettering.extent(text, font, size_pt)
        return extent.width + 0.4, extent.height

    def _write(
        self, centre: tuple[float, float], text: str, font: Font, size_pt: float, color: str, z: float, halo_pt: float
    ) -> None:
        """One line whose box is centred at a point."""
        extent = self.page.lettering.extent(text, font, size_pt)
        y = centre[1] - extent.height / 2 + extent.below
        self.page.text(centre[0], y, text, size_pt, font=font, color=color, ha="center", z=z, halo_pt=halo_pt)

    def _leader(self, start: Any, end: Any, color: str = palette.INK) -> None:
        self.page.lines([[start, end]], palette.PAPER, 1.5, 14.0, alpha=0.8)
        self.page.lines([[start, end]], color, _LEADER_PT, 14.1)

    def gap_marks(self, surface: Surface, labels: NDArray[np.int32], gaps: Sequence[Gap], names: Sequence[str]) -> None:
        """A letter in each listed gap, or beside it on a leader where it is too small."""
        for gap, name in zip(gaps, names, strict=True):
            size = (2 * _DISC, 2 * _DISC)
            wide = gap.widest_m * self.projection.mm_per_m / 2 >= 2.0
            centres = self.projection.to_paper(self._places_in(surface, labels, gap) if wide else [gap.at[:2]])
            index = self.placer.place(size, centres, np.linspace(0.0, 2.0, len(centres)), most=12.0)
            if index is not None and wide:
                self._disc(centres[index], name)
                continue
            if index is not None:  # too small to hold its mark: the mark would hide it
                self.placer.release()
            target = self.projection.to_paper(gap.at[:2])
            placed = self.placer.near(target, size, (2.6, 3.6, 5.0, 7.0, 10.0, 14.0), leader_from=0.0)
            if placed is not None:
                self._leader(placed.centre, target)
                self.page.discs([target], 0.32, 14.2, face=palette.INK, edge=palette.PAPER, width_pt=0.3)
                self._disc(np.array(placed.centre), name)

    def _places_in(self, surface: Surface, labels: NDArray[np.int32], gap: Gap) -> Floats:
        """Places (n, 2) m in a gap where a mark fits, the middle of its widest circle first."""
        rows, columns = np.nonzero(labels == gap.label)
        some = np.linspace(0, len(rows) - 1, min(len(rows), 400)).astype(int)
        points = np.stack([surface.x[columns[some]], surface.y[rows[some]]], axis=1)
        reach = np.linalg.norm(points - gap.at[:2], axis=1)
        near = points[(reach < max(gap.widest_m, 1e-9) * 0.75)]
        order = np.argsort(np.linalg.norm(near - gap.at[:2], axis=1))
        return np.concatenate([[gap.at[:2]], near[order]])

    def _disc(self, centre: Floats, name: str) -> None:
        self.page.discs([centre], _DISC, 17.0, face=palette.PAPER, edge=palette.INK, width_pt=0.35)
        size = 7.0 if len(name) == 1 else 6.0
        extent = self.page.lettering.extent(name, "bold", size)
        self.page.text(float(centre[0]), float(centre[1]) - 0.30 * extent.above, name, size, font="bold", ha="center", z=17.1)

    def tags(self, units: Sequence[Unit], centres: Floats, factor: float) -> int:
        """A tag beside each detector's mark; how many found no place."""
        size_pt = 7.0 if factor > 0.7 else 6.0
        ring = (glyphs.RING + glyphs.COLLAR) * factor
        n_left_out = 0
        for unit, centre in zip(units, centres, strict=True):
            tag = self.page.lettering.fit(clean(unit.name), "bold", size_pt, _LONGEST_TAG)
            box = self._size(tag, "bold", size_pt)
            gaps = [ring + g for g in (0.1, 0.9, 2.4, 4.5, 7.0)]
            placed = self.placer.near(centre, box, gaps, leader_from=ring + 2.0)
            if placed is None:
                n_left_out += 1
                continue
            if placed.leader is not None:
                toward = np.array(placed.leader) - centre
                start = centre + toward / max(np.linalg.norm(toward), 1e-9) * ring
                self._leader(start, placed.leader, palette.ACCENT)
            self._write(placed.centre, tag, "bold", size_pt, palette.ACCENT, 22.0, 2.0)
        return n_left_out

    def room_names(self, outlines: Sequence[Any], names: Sequence[str], areas: Sequence[float]) -> None:
        """Names in italics with the area below, largest rooms first; on a leader where a room is too small."""
        for index in sorted(range(len(names)), key=lambda k: -outlines[k].area):
            self._room_name(outlines[index], clean(names[index]), f"{words.area(areas[index])} m²")

    def _room_name(self, outline: Any, name: str, area: str) -> None:
        shape = shapely.transform(outline, self.projection.to_paper)
        frame = shapely.box(*self.projection.frame)
        shape = shape.intersection(frame) if not frame.contains(shape) else shape
        if shape.is_empty or shape.area < 1.0:
            return
        middle = shapely.point_on_surface(shape) if not shape.contains(shape.centroid) else shape.centroid
        x0, y0, x1, y1 = shape.bounds
        step = max(1.0, np.sqrt((x1 - x0) * (y1 - y0) / 4000))
        xx, yy = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
        points = np.stack([xx.ravel(), yy.ravel()], axis=1)
        away = np.linalg.norm((points - [middle.x, middle.y]) / np.maximum([x1 - x0, y1 - y0], 1.0), axis=1)
        shapely.prepare(shape)
        for size_pt in (12.0, 10.0, 8.5, 7.5):
            text = name if self.page.lettering.extent(name, "italic", size_pt).width <= x1 - x0 - 1.5 else ""
            if not text and size_pt == 7.5 and x1 - x0 > 14:
                text = self.page.lettering.fit(name, "italic", size_pt, x1 - x0 - 2.0)
            if not text:
                continue
            width, height = self._size(text, "italic", size_pt)
            note_width, note_height = self._size(area, "sans", 6.0)
            for whole in (True, False):
                size = (max(width, note_width), height + note_height - 0.2) if whole else (width, height)
                half = np.array(size) / 2 + 0.5
                fits = shapely.contains_properly(
                    shape, shapely.box(*(points - half).T, *(points + half).T)
                )
                index = self.placer.place(size, points[fits], 6.0 * away[fits], most=16.0 if size_pt > 7.5 else 40.0)
                if index is None:
                    continue
                x, y = points[fits][index]
                if whole:
                    self._write((x, y + note_height / 2), text, "italic", size_pt, palette.INK, 15.0, 2.6)
                    self._write((x, y - height / 2), area, "sans", 6.0, palette.SECOND_INK, 15.0, 2.0)
                else:
                    self._write((x, y), text, "italic", size_pt, palette.INK, 15.0, 2.6)
                return
        self._room_name_outside(name, np.array([middle.x, middle.y]), min(x1 - x0, y1 - y0) / 2)

    def _room_name_outside(self, name: str, middle: Floats, inner: float) -> None:
        text = self.page.lettering.fit(name, "italic", 8.5, _LONGEST_NAME)
        placed = self.placer.near(middle, self._size(text, "italic", 8.5), [inner + g for g in (2.0, 4.0, 7.0, 11.0)], leader_from=0.0, most=14.0)
        if placed is not None and placed.leader is not None:
            self._leader(placed.leader, middle)
            self.page.discs([middle], 0.35, 14.2, face=palette.INK, edge=palette.PAPER, width_pt=0.3)
            self._write(placed.centre, text, "italic", 8.5, palette.INK, 15.0, 2.6)

    def rack_names(self, building: Building) -> None:
        """Each rack's name once, near its beginning, inside its row."""
        rows: dict[str, list[Floats]] = {}
        for rack in building.racks:
            rows.setdefault(rack.owner, []).append(rack.corners)
        for name, corners in rows.items():
            text = self.page.lettering.fit(clean(name), "sans", 6.5, _LONGEST_TAG)
            share = np.linspace(0.02, 0.98, 60)[:, None]
            lines = [((c[0] + c[3]) / 2 + share * ((c[1] + c[2]) / 2 - (c[0] + c[3]) / 2)) for c in corners]
            centres = self.projection.to_paper(np.concatenate(lines))
            cost = np.tile(np.linspace(0, 6, 60), len(lines)) + np.repeat(np.arange(len(lines)) * 1.0, 60)
            size = self._size(text, "sans", 6.5)
            index = self.placer.place(size, centres, cost, most=45.0)
            if index is not None:
                x, y = centres[index]
                self._write((float(x), float(y)), text, "sans", 6.5, palette.INK, 15.0, 1.8)

    def thing_names(self, building: Building, names: Sequence[str]) -> None:
        """Names of the things that the table of gaps speaks of, each once, in it or beside it."""
        known = {rack.owner for rack in building.racks} | {room.name for room in building.rooms}
        for name in dict.fromkeys(names):
            points = _points_of(building, name)
            if name in known or points is None:
                continue
            low, high = self.projection.to_paper([points.min(axis=0), points.max(axis=0)])
            text = self.page.lettering.fit(clean(name), "sans", 6.0, _LONGEST_NAME)
            size = self._size(text, "sans", 6.0)
            middle = (low + high) / 2
            if np.all(np.array(size) + 0.6 < high - low):
                index = self.placer.place(size, [middle], [0.0], most=40.0)
                if index is not None:
                    self._write((float(middle[0]), float(middle[1])), text, "sans", 6.0, palette.INK, 15.0, 1.8)
                    continue
            inner = float(min((high - low) / 2))
            placed = self.placer.near(middle, size, [inner + g for g in (0.6, 1.6, 3.0, 5.0)], leader_from=inner + 2.5)
            if placed is not None:
                if placed.leader is not None:
                    self._leader(placed.leader, middle)
                self._write(placed.centre, text, "sans", 6.0, palette.INK, 15.0, 1.8)

    def wide_doors(self, building: Building) -> None:
        """Width and height of wide doors, outside their wall where there is a place."""
        for mark in distinct(building.openings):
            if not is_wide(mark):
                continue
            start, end = np.array(mark.start), np.array(mark.end)
            text = f"{np.linalg.norm(end - start):.1f} × {mark.top - mark.sill:.1f}"
            size = self._size(text, "sans", 6.0)
            out = -inward(mark, building)
            middle = self.projection.to_paper((start + end) / 2)
            reach = abs(out) @ (np.array(size) / 2)
            centres = [middle + out * (reach + g + mark.wall_thickness / 2 * self.projection.mm_per_m) for g in (0.8, 1.6)]
            index = self.placer.place(size, centres, [0.0, 1.0], most=6.0)
            if index is not None:
                x, y = centres[index]
                self._write((float(x), float(y)), text, "sans", 6.0, palette.SECOND_INK, 15.0, 1.8)


def _points_of(building: Building, owner: str) -> Floats | None:
    """Plan points (n, 2) of everything that belongs to one thing of the scene."""
    plan = building.boxes.footprints()
    points = [plan[k] for k, name in enumerate(building.boxes.owners) if name == owner]
    points += [
        s.frame.to_space(shapely.get_coordinates(s.polygon))[:, :2] for s in building.sheets if s.owner == owner
    ]
    return np.concatenate(points) if points else None

"""Words on the plan: gap letters, detector tags, names of rooms, racks, and of what the gaps name, wide doors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.doors import distinct
from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.draw import glyphs, palette, words
from raycover.draw.doors import inward, is_wide
from raycover.draw.labels import Placer
from raycover.draw.lettering import Font, named
from raycover.draw.mapping import PaperMap
from raycover.draw.page import Page
from raycover.draw.projection import Projection
from raycover.scene.air import degrees
from raycover.solving.gaps import Gap
from raycover.solving.surfaces import Surface

Floats = NDArray[np.float64]
_DISC = 1.75
_LEADER_PT = 0.5
#: With more detectors or rooms than this, their words stand where they belong or are left out.
_CROWD = 100
#: Longest detector tag and object name on the plan, mm.
_LONGEST_TAG, _LONGEST_NAME = 24.0, 34.0


class Annotator:
    """Places text on one plan, in the order of its methods' calls: what comes first gets the better place."""

    def __init__(self, page: Page, projection: Projection, placer: Placer, picture: PaperMap) -> None:
        self.page, self.projection, self.placer, self.picture = page, projection, placer, picture

    def _size(self, text: str, font: Font, size_pt: float) -> tuple[float, float]:
        extent = self.page.lettering.extent(text, font, size_pt)
        return extent.width + 0.4, extent.height

    def _write(
        self,
        centre: tuple[float, float],
        text: str,
        font: Font,
        size_pt: float,
        color: str,
        z: float,
        halo_pt: float,
        halo: str = palette.PAPER,
    ) -> None:
        """One line whose box is centred at a point."""
        extent = self.page.lettering.extent(text, font, size_pt)
        y = centre[1] - extent.height / 2 + extent.below
        self.page.text(
            centre[0], y, text, size_pt, font=font, color=color, ha="center", z=z, halo_pt=halo_pt, halo=halo
        )

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
        y = float(centre[1]) - 0.39 * extent.above
        self.page.text(float(centre[0]), y, name, size, font="bold", ha="center", z=17.1)

    def tags(self, units: Sequence[Unit], centres: Floats, factor: float) -> int:
        """A tag beside each detector's mark; how many found no place."""
        size_pt = 7.0 if factor > 0.7 else 6.0
        ring = (glyphs.RING + glyphs.COLLAR) * factor
        n_left_out = 0
        crowded = len(units) > _CROWD
        for unit, centre in zip(units, centres, strict=True):
            tag = self.page.lettering.fit(named(unit.name), "bold", size_pt, _LONGEST_TAG)
            box = self._size(tag, "bold", size_pt)
            # In a crowd leaders would be a thicket: a tag stands by its mark there or not at all.
            gaps = [ring + g for g in ((0.1, 0.9) if crowded else (0.1, 0.9, 2.4, 4.5, 7.0))]
            most = 20.0 if crowded else np.inf
            placed = self.placer.near(centre, box, gaps, leader_from=ring + 2.0, most=most)
            if placed is None:
                n_left_out += 1
                continue
            if placed.leader is not None:
                toward = np.array(placed.leader) - centre
                start = centre + toward / max(np.linalg.norm(toward), 1e-9) * ring
                self._leader(start, placed.leader, palette.ACCENT)
            self._write(placed.centre, tag, "bold", size_pt, palette.ACCENT, 22.0, 2.0)
        return n_left_out

    def other_tags(self, tags: Sequence[str], centres: Floats) -> None:
        """Small tags beside the places of detectors that hang on other storeys, where there is room for them."""
        for tag, centre in zip(tags, centres, strict=True):
            text = self.page.lettering.fit(named(tag), "sans", 6.0, _LONGEST_TAG)
            placed = self.placer.near(centre, self._size(text, "sans", 6.0), (1.5, 2.3, 3.5), most=25.0)
            if placed is not None:
                self._write(placed.centre, text, "sans", 6.0, palette.ACCENT, 16.0, 1.8)

    def room_names(
        self,
        outlines: Sequence[Any],
        names: Sequence[str],
        areas: Sequence[float],
        rooms_c: Mapping[str, float] | None = None,
    ) -> int:
        """Names in italics with the area below, largest rooms first; on a leader where a room is too small.

        `rooms_c`: the air (°C) of rooms which have their own, written beside the area. Returns how many found no place.
        """
        n_left_out = 0
        for index in sorted(range(len(names)), key=lambda k: -outlines[k].area):
            name, area = named(names[index]), f"{words.area(areas[index])} m²"
            if rooms_c and names[index] in rooms_c:
                area = f"{area} · {degrees(rooms_c[names[index]])}"
            done = self._room_name(outlines[index], name, area)
            if not done and len(names) <= _CROWD:
                done = self._room_name_outside(outlines[index], name)
            n_left_out += not done
        return n_left_out

    def _on_paper(self, outline: Any) -> Any:
        """A room's outline (shapely, m) in mm, as far as the frame shows it."""
        shape, frame = shapely.transform(outline, self.projection.to_paper), shapely.box(*self.projection.frame)
        return shape if frame.contains(shape) else shape.intersection(frame)

    def _room_name(self, outline: Any, name: str, area: str) -> bool:
        shape = self._on_paper(outline)
        if shape.is_empty or shape.area < 1.0:
            return False
        middle = shape.centroid if shape.contains(shape.centroid) else shapely.point_on_surface(shape)
        x0, y0, x1, y1 = shape.bounds
        step = max(1.0, np.sqrt((x1 - x0) * (y1 - y0) / 4000))
        xx, yy = np.meshgrid(np.arange(x0 + step / 2, x1, step), np.arange(y0 + step / 2, y1, step))
        points = np.stack([xx.ravel(), yy.ravel()], axis=1)
        away = np.linalg.norm((points - [middle.x, middle.y]) / np.maximum([x1 - x0, y1 - y0], 1.0), axis=1)
        shapely.prepare(shape)
        for lines, size_pt, most in self._settings(name, x1 - x0 - 1.5):
            sizes = [self._size(line, "italic", size_pt) for line in lines]
            width, pitch = max(w for w, _ in sizes), sizes[0][1] + 0.2
            note_width, note_height = self._size(area, "sans", 6.0)
            for noted in (True, False):
                size = (max(width, note_width) if noted else width, len(lines) * pitch + (note_height + 0.3) * noted)
                half = np.array(size) / 2 + 0.5
                fits = shapely.contains_properly(shape, shapely.box(*(points - half).T, *(points + half).T))
                index = self.placer.place(size, points[fits], 6.0 * away[fits], most=most)
                if index is None:
                    continue
                x, y = points[fits][index]
                dark = self._is_dark((x, y), size)
                top = y + size[1] / 2
                for line in lines:
                    self._name((x, top - pitch / 2), line, "italic", size_pt, dark=dark)
                    top -= pitch
                if noted:
                    self._name((x, top - 0.3 - note_height / 2), area, "sans", 6.0, dark=dark)
                return True
        return False

    def _settings(self, name: str, width: float) -> list[tuple[list[str], float, float]]:
        """Ways to set a room's name (lines, size, dearest place), best first; none where even two lines won't do."""
        ways: list[tuple[list[str], float, float]] = []
        for size_pt in (12.0, 10.0, 8.5, 7.5):
            most = 16.0 if size_pt > 8 else 40.0
            for n_lines in (1, 2, 3):
                lines = self.page.lettering.wrap(name, "italic", size_pt, width, n_lines)
                if " ".join(lines) == name and (n_lines == 1 or len(lines) == n_lines):
                    ways.append((lines, size_pt, most))
        return ways

    def _is_dark(self, centre: tuple[float, float], size: tuple[float, float]) -> bool:
        """Whether most of the map under a box lies in shade."""
        x0, y0, x1, y1 = self.picture.box
        ny, nx = self.picture.classes.shape
        half = np.array(size) / 2
        low = np.floor((np.array(centre) - half - [x0, y0]) / [x1 - x0, y1 - y0] * [nx, ny]).astype(int)
        high = np.ceil((np.array(centre) + half - [x0, y0]) / [x1 - x0, y1 - y0] * [nx, ny]).astype(int)
        under = self.picture.classes[max(low[1], 0) : max(high[1], 1), max(low[0], 0) : max(high[0], 1)]
        return bool(((under >= 0) & (under < palette.SEEN)).mean() > 0.5)

    def _name(self, centre: tuple[float, float], text: str, font: Font, size_pt: float, *, dark: bool) -> None:
        """A name on the map: ink in the light, white in the shade."""
        small = font == "sans"
        colour = palette.PAPER if dark else palette.SECOND_INK if small and text.endswith("m²") else palette.INK
        halo = palette.hex_of(palette.class_rgb(palette.NOT_SEEN)) if dark else palette.PAPER
        self._write(centre, text, font, size_pt, colour, 15.0 if small else 15.1, 1.8 if small else 2.2, halo)

    def _room_name_outside(self, outline: Any, name: str) -> bool:
        """A name beside its room on a leader that ends at a clear spot in it."""
        shape = self._on_paper(outline)
        if shape.is_empty:
            return False
        inner = shapely.point_on_surface(shape)
        middle = np.array([inner.x, inner.y])
        x0, y0, x1, y1 = shape.bounds
        shares = np.array([[0.5, 0.5], [0.5, 0.25], [0.5, 0.75], [0.25, 0.5], [0.75, 0.5], [0.3, 0.3], [0.7, 0.7]])
        spots = np.concatenate([[middle], np.array([x0, y0]) + shares * [x1 - x0, y1 - y0]])
        spots = spots[shapely.contains_xy(shape, spots)]
        clear = self.placer.free(np.concatenate([spots - 0.6, spots + 0.6], axis=1))
        spot = spots[int(clear.argmax())] if len(spots) else middle
        text = self.page.lettering.fit(name, "italic", 8.5, _LONGEST_NAME)
        placed = self.placer.near(
            spot, self._size(text, "italic", 8.5), (2.0, 4.0, 7.0, 11.0), leader_from=0.0, most=14.0,
            around=(min(x1 - x0, 20.0), min(y1 - y0, 20.0)),
        )  # fmt: skip
        if placed is None or placed.leader is None:
            return False
        self._leader(placed.leader, spot)
        self.page.discs([spot], 0.35, 14.2, face=palette.INK, edge=palette.PAPER, width_pt=0.3)
        self._write(placed.centre, text, "italic", 8.5, palette.INK, 15.0, 2.2)
        return True

    def rack_names(self, building: Building) -> None:
        """Each rack's name once, near its beginning, inside its row."""
        rows: dict[str, list[Floats]] = {}
        for rack in building.racks:
            rows.setdefault(rack.owner, []).append(self.projection.to_paper(rack.corners))
        for name, corners in rows.items():
            text = self.page.lettering.fit(named(name), "sans", 6.5, _LONGEST_TAG)
            size = self._size(text, "sans", 6.5)
            centres, costs = _places_along(corners, size)
            index = self.placer.place(size, centres, costs, most=45.0)
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
            text = self.page.lettering.fit(named(name), "sans", 6.0, _LONGEST_NAME)
            size = self._size(text, "sans", 6.0)
            middle = (low + high) / 2
            if np.all(np.array(size) + 0.6 < high - low):
                shares = np.linspace(-0.5, 0.5, 9)
                grid = np.stack(np.meshgrid(shares, shares), axis=-1).reshape(-1, 2)
                centres = middle + grid * (high - low - size)
                index = self.placer.place(size, centres, 4.0 * np.linalg.norm(grid, axis=1), most=14.0)
                if index is not None:
                    x, y = (float(v) for v in centres[index])
                    bare = name not in (*building.boxes.owners, *(o.owner for o in building.objects)) and not any(
                        s.kind in ("desk", "tread") and s.owner == name for s in building.sheets
                    )
                    self._name((x, y), text, "sans", 6.0, dark=bare and self._is_dark((x, y), size))
                    continue
            around = (float(high[0] - low[0]), float(high[1] - low[1]))
            placed = self.placer.near(middle, size, (0.6, 1.6, 3.0, 5.0), around=around, leader_from=2.5, most=22.0)
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
            reach += mark.wall_thickness / 2 * self.projection.mm_per_m
            centres = [middle + out * (reach + gap) for gap in (0.8, 1.6)]
            index = self.placer.place(size, centres, [0.0, 1.0], most=6.0)
            if index is not None:
                x, y = centres[index]
                self._write((float(x), float(y)), text, "sans", 6.0, palette.SECOND_INK, 15.0, 1.8)


def _places_along(rows: Sequence[Floats], size: tuple[float, float]) -> tuple[Floats, Floats]:
    """Where a rack's name may stand, with costs: in its rows (outlines in mm) from the front end on, else at an end.

    A row shallower than the text has it at an end, where the outline doesn't cross it.
    """
    share = np.linspace(0.02, 0.98, 60)[:, None]
    centres, costs = [], []
    for rank, c in enumerate(rows):
        start, end = (c[0] + c[3]) / 2, (c[1] + c[2]) / 2
        along = (end - start) / max(float(np.linalg.norm(end - start)), 1e-9)
        reach = float(np.abs(along) @ np.array(size)) / 2 + 0.8
        depth = float(np.linalg.norm(c[3] - c[0]))
        centres += [start + share * (end - start), [start - along * reach, end + along * reach]]
        inside = np.linspace(0, 6, 60) + rank + (25.0 if depth < size[1] else 0.0)
        costs += [inside, np.array([8.0, 9.0]) + rank]
    return np.concatenate(centres), np.concatenate(costs)


def _points_of(building: Building, owner: str) -> Floats | None:
    """Plan points (n, 2) of everything that belongs to one thing of the scene."""
    plan = building.boxes.footprints()
    points = [plan[k] for k, name in enumerate(building.boxes.owners) if name == owner]
    points += [s.frame.to_space(shapely.get_coordinates(s.polygon))[:, :2] for s in building.sheets if s.owner == owner]
    points += [one.bounds[:, :2] for one in building.objects if one.owner == owner]
    return np.concatenate(points) if points else None

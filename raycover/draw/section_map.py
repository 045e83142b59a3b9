"""The field of a section on paper: full colour where people move, pale in the air above, lines of limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.asking.upright import PEOPLE_ZONE_M, SectionField, over_void
from raycover.building.parts import Building
from raycover.building.upright_cut import cut_boxes, stairs_along
from raycover.draw import hatching, palette
from raycover.draw.mapping import PaperMap, paper_map
from raycover.draw.page import Page
from raycover.draw.projection import Projection

Floats = NDArray[np.floating]
LIMIT_PT = 0.55


@dataclass(frozen=True)
class SectionMap:
    """A section's field resampled to the picture's pixels, and which of them lie where people move."""

    picture: PaperMap
    zone: NDArray[np.bool_]


def section_map(field: SectionField, building: Building, projection: Projection, *, dpi: float) -> SectionMap:
    outlines: list[Any] = [polygon for _, polygon in field.profiles]
    picture = paper_map(field.surface, field.margin_db, field.reserve_db, outlines, projection, dpi=dpi)
    low_s, low_z, high_s, high_z = projection.shown
    nz, ns = picture.classes.shape
    s = low_s + (np.arange(ns) + 0.5) * (high_s - low_s) / ns
    z = low_z + (np.arange(nz) + 0.5) * (high_z - low_z) / nz
    zone = np.zeros((nz, ns), bool)
    for room, polygon in field.profiles:
        floor = building.rooms[room].floor if room >= 0 else building.ground
        x0, _, x1, _ = polygon.bounds
        rows, columns = (z >= floor) & (z <= floor + PEOPLE_ZONE_M), (s >= x0) & (s <= x1)
        columns &= ~over_void(building, room, field.line, s)
        zone[np.ix_(rows, columns)] = True
    for steps in stairs_along(field.line, building.stairs, s):
        over = z[:, None] - steps[None]
        with np.errstate(invalid="ignore"):
            zone |= (over >= 0) & (over <= PEOPLE_ZONE_M)
    # Nobody stands in racking: its bays are as pale as the air.
    for s0, z0, s1, z1 in cut_boxes(field.line, building.envelopes)[1]:
        zone[np.ix_((z >= z0) & (z <= z1), (s >= s0) & (s <= s1))] = False
    return SectionMap(picture, zone & (picture.classes >= 0))


def draw_section_map(page: Page, made: SectionMap) -> bool:
    """Colours, hatches where people move, the limit; whether there is a limit line."""
    picture = made.picture
    rgba = picture.rgba()
    above = ~made.zone & (picture.classes >= 0)
    rgba[above, :3] = palette.pale(rgba[above, :3])
    page.image(rgba, picture.box, 1.0)
    for index, spacing in ((palette.NOT_SEEN, hatching.NOT_SEEN_MM), (palette.DOUBTFUL, hatching.DOUBTFUL_MM)):
        lines = hatching.hatch_lines((picture.classes == index) & made.zone, picture.box, spacing)
        page.lines(lines, palette.PAPER, hatching.WIDTH_PT, 2.0, alpha=hatching.OPACITY, clip=picture.box)
    limit = picture.limit_lines()
    page.lines(limit, palette.INK, LIMIT_PT, 3.0, clip=picture.box)
    return bool(limit)


def zone_tops(field: SectionField, building: Building) -> list[Floats]:
    """Lines (2, 2) over (s, z) at the top of the people zone, one a room that is cut and higher than that."""
    found = []
    for room, polygon in field.profiles:
        floor = building.rooms[room].floor if room >= 0 else building.ground
        level = shapely.LineString(
            [(field.bounds[0] - 1, floor + PEOPLE_ZONE_M), (field.bounds[2] + 1, floor + PEOPLE_ZONE_M)]
        )
        for part in shapely.get_parts(level.intersection(polygon)):
            if part.geom_type == "LineString" and part.length > 0.05:
                found.append(np.asarray(part.coords)[[0, -1]])
    return found

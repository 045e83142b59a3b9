"""Walls as lines: from the footprint of a wall's body to its centre line, and openings on it.

Plain geometry, metres; no file format is known here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

Floats = NDArray[np.floating]

#: A side that is straight to this (m) is one line.
STRAIGHT = 0.005
#: A curved centre line is cut into chords that stay this near (m) to it.
CHORD = 0.01
#: Edges across a curved or bent wall stand off square by no more than this.
_CAP_TURN_DEG = (55.0, 125.0)


@dataclass
class WallOpening:
    """An opening: two points (2,) of the wall's centre line in plan, heights absolute, what fills it."""

    name: str
    start: Floats
    end: Floats
    low: float
    high: float
    fill: Any = "none"
    notes: list[str] = field(default_factory=list)


@dataclass
class Wall:
    """A wall by its centre line (n, 2), heights absolute.

    `gables` (m, 3) are parts above or below its oblong, by the ends `drawn` (2, 2) of its body.
    """

    name: str
    line: Floats
    base: float
    top: float
    thickness: float
    construction: Any = "none"
    storey: str = ""
    openings: list[WallOpening] = field(default_factory=list)
    gables: list[Floats] = field(default_factory=list)
    drawn: Floats | None = None
    notes: list[str] = field(default_factory=list)
    made_of_notes: list[str] = field(default_factory=list)

    @property
    def length(self) -> float:
        return float(np.linalg.norm(np.diff(self.line, axis=0), axis=1).sum())


@dataclass(frozen=True)
class CentreLine:
    """Centre line (n, 2) and thickness (m) of a footprint; `note` says what had to be assumed."""

    line: Floats
    thickness: float
    note: str = ""


def centre_line(footprint: Any, thickness_hint: float | None = None) -> CentreLine | None:
    """The centre line of a wall's footprint (a shapely polygon), or None where it has no area.

    Straight walls may be cut at any angle at their ends: all that counts is that their two sides are parallel.
    `thickness_hint` (m), e.g. the sum of its layers, tells the sides of a wall shorter than thick.
    """
    if footprint.is_empty or footprint.area < 1e-4:
        return None
    straight = _straight(footprint, thickness_hint)
    if straight is not None:
        return straight
    if len(footprint.interiors):
        return _ring(footprint)
    bent = _between_caps(footprint)
    if bent is not None:
        return bent
    along, across = _oblong_axes(footprint)
    line, thickness = _midline(footprint, along, across)
    return CentreLine(line, thickness, "footprint of no even thickness, taken as one straight wall")


def footprint_of(vertices: Floats, faces: NDArray[np.integer]) -> Any:
    """The plan of a body (n, 3), (m, 3) as a polygon; the hull where no face lies flat enough to be projected."""
    triangles = vertices[faces][:, :, :2]
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    area = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    flat = np.abs(area) > 1e-7
    if flat.any():
        polygon = shapely.union_all(shapely.polygons(triangles[flat]), grid_size=1e-5)
        parts = [polygon] if polygon.geom_type == "Polygon" else list(getattr(polygon, "geoms", []))
        parts = [part for part in parts if part.geom_type == "Polygon"]
        if parts:
            return max(parts, key=lambda part: part.area)
    return shapely.convex_hull(shapely.multipoints(vertices[:, :2]))


def _straight(footprint: Any, thickness_hint: float | None) -> CentreLine | None:
    along, across = _oblong_axes(footprint)
    points = shapely.get_coordinates(footprint)
    if thickness_hint is not None:
        long, short = np.ptp(points @ along), np.ptp(points @ across)
        if abs(long - thickness_hint) < 1e-3 < abs(short - thickness_hint):
            along, across = across, along
    sideways = points @ across
    low, high = sideways.min(), sideways.max()
    on_a_side = (sideways - low < STRAIGHT) | (high - sideways < STRAIGHT)
    # Notches and chases are no reason to bend a wall, as long as nearly all of its plan fills the oblong.
    filled = footprint.area / max(np.ptp(points @ along) * (high - low), 1e-12)
    if not on_a_side.all() and filled < 0.9:
        return None
    line, thickness = _midline(footprint, along, across)
    return CentreLine(line, thickness)


def _oblong_axes(footprint: Any) -> tuple[Floats, Floats]:
    """Unit vectors along and across the smallest oblong around a footprint, `along` turned to +x (or +y)."""
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(footprint))
    sides = np.diff(ring, axis=0)[:2] if len(ring) >= 4 else np.array([[1.0, 0.0], [0.0, 1.0]])
    lengths = np.linalg.norm(sides, axis=1)
    along = sides[int(lengths[1] > lengths[0] + 1e-9)]
    along = along / np.linalg.norm(along)
    # The edges themselves are better than the oblong's, which is fitted to single corners.
    edges = np.diff(shapely.get_coordinates(footprint.exterior), axis=0)
    spans = np.linalg.norm(edges, axis=1)
    units = edges / np.maximum(spans, 1e-12)[:, None]
    near = (np.abs(units @ along) > 0.999) & (spans > 1e-3)
    if near.any():
        along = units[near][np.argmax(spans[near])]
    along = np.where(np.abs(along) < 1e-9, 0.0, along)
    along = along / np.linalg.norm(along)
    if along[0] < -1e-9 or (abs(along[0]) <= 1e-9 and along[1] < 0):
        along = -along
    return along, np.array([-along[1], along[0]])


def _midline(footprint: Any, along: Floats, across: Floats) -> tuple[Floats, float]:
    points = shapely.get_coordinates(footprint)
    stations, sideways = points @ along, points @ across
    middle = (sideways.min() + sideways.max()) / 2 * across
    ends = np.array([stations.min() * along + middle, stations.max() * along + middle])
    return ends, float(np.ptp(sideways))


def _between_caps(footprint: Any) -> CentreLine | None:
    """The middle between the two long sides of a band that is curved or bent, found by its two square ends."""
    ring = shapely.get_coordinates(footprint.simplify(1e-4).exterior)[:-1]
    if not shapely.LinearRing(ring).is_ccw:
        ring = ring[::-1]
    n = len(ring)
    steps = np.roll(ring, -1, axis=0) - ring
    spans = np.linalg.norm(steps, axis=1)
    before = np.roll(steps, 1, axis=0)
    turn = np.degrees(
        np.arctan2(before[:, 0] * steps[:, 1] - before[:, 1] * steps[:, 0], np.einsum("ij,ij->i", before, steps))
    )
    # A band of length L and thickness t has area L·t and circumference 2 (L + t).
    half = footprint.exterior.length / 2
    thickness = (half - np.sqrt(max(half**2 - 4 * footprint.area, 0.0))) / 2
    low, high = _CAP_TURN_DEG
    square = (turn > low) & (turn < high)
    is_cap = square & np.roll(square, -1) & (np.abs(spans - thickness) < 0.4 * thickness)
    best: tuple[float, int, int] | None = None
    caps = [int(i) for i in np.flatnonzero(is_cap)]
    for i, one in enumerate(caps):
        for two in caps[i + 1 :]:
            right = spans[one + 1 : two].sum()
            left = spans.sum() - right - spans[one] - spans[two]
            unlike = abs(right - left) / max(right + left, 1e-9) if right > 0 and left > 0 else np.inf
            if best is None or unlike < best[0]:
                best = (float(unlike), one, two)
    if best is None or best[0] > 0.5:
        return None
    _, one, two = best
    right = ring[np.arange(one + 1, two + 1)]
    left = ring[np.arange(two + 1, one + n + 1) % n][::-1]
    stations = np.unique(np.concatenate([_stations(right), _stations(left), np.linspace(0, 1, 49)]))
    middle = (_along(right, stations) + _along(left, stations)) / 2
    simple = shapely.get_coordinates(shapely.LineString(middle).simplify(CHORD))
    # Resampling rounds corners off; those of a bent wall are found again as the middle of its corners.
    return CentreLine(_sharp(simple, right, left), float(thickness), "curved or bent, written as straight pieces")


def _sharp(simple: Floats, right: Floats, left: Floats) -> Floats:
    """Middles of paired corners where both sides have as many: exact for bent walls; else the line as it is."""
    if len(right) == len(left):
        exact: Floats = (right + left) / 2
        return shapely.get_coordinates(shapely.LineString(exact).simplify(CHORD))
    return simple


def _stations(line: Floats) -> Floats:
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return reached / reached[-1]


def _along(line: Floats, stations: Floats) -> Floats:
    own = _stations(line)
    return np.stack([np.interp(stations, own, line[:, k]) for k in (0, 1)], axis=1)


def _ring(footprint: Any) -> CentreLine | None:
    """The middle of a wall that runs round and closes."""
    thickness = 2 * footprint.area / (footprint.exterior.length + footprint.interiors[0].length)
    middle = shapely.Polygon(footprint.exterior).buffer(-thickness / 2, join_style="mitre")
    if middle.is_empty or middle.geom_type != "Polygon":
        return None
    line = shapely.get_coordinates(middle.exterior.simplify(CHORD))
    return CentreLine(line, float(thickness), "runs round and closes, written as straight pieces")


def profile(vertices: Floats, faces: NDArray[np.integer], line: Floats) -> Any:
    """A straight wall's body seen square to its line: a polygon of distance along it and height."""
    along = line[1] - line[0]
    along = along / np.linalg.norm(along)
    seen = np.stack([(vertices[:, :2] - line[0]) @ along, vertices[:, 2]], axis=1)
    triangles = seen[faces]
    a, b = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
    facing = np.abs(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]) > 1e-7
    return shapely.union_all(shapely.polygons(triangles[facing]), grid_size=1e-5)


def split_profile(shape: Any) -> tuple[float, float, list[Floats]]:
    """A wall's profile as one oblong over its whole length (bottom, top) and the pieces left, (m, 2) each.

    Bottom and top are equal where there is no such oblong: then everything is in the pieces.
    """
    x0, low, x1, high = shape.bounds
    if shape.area > 0.995 * (x1 - x0) * (high - low):
        return low, high, []
    filled = shapely.union_all([shapely.Polygon(part.exterior) for part in polygons(shape)])
    stations = np.unique(np.clip(shapely.get_coordinates(filled)[:, 0], x0 + 1e-3, x1 - 1e-3))
    # Between corners the edge is straight, so that the extremes are at corners (or a hair beside a step).
    stations = np.unique(np.clip(np.concatenate([stations - 2e-4, stations + 2e-4]), x0 + 1e-4, x1 - 1e-4))
    cuts = [filled.intersection(shapely.LineString([(x, low - 1), (x, high + 1)])).bounds for x in stations]
    cuts = [cut for cut in cuts if not np.isnan(cut[1])]
    corners = shapely.get_coordinates(filled)[:, 1]
    bottom, top = _nearest(corners, max(cut[1] for cut in cuts)), _nearest(corners, min(cut[3] for cut in cuts))
    if top - bottom < 0.1:
        bottom = top = low
        left = filled
    else:
        left = filled.difference(shapely.box(x0 - 1, bottom, x1 + 1, top))
    pieces = [part for part in polygons(left.buffer(0)) if part.area > 0.01]
    return float(bottom), float(top), [shapely.get_coordinates(part.exterior.simplify(1e-4))[:-1] for part in pieces]


def _nearest(heights: Floats, height: float) -> float:
    """The height among those of corners within 2 mm of one found beside a corner, else that one."""
    nearest = float(heights[np.argmin(np.abs(heights - height))])
    return nearest if abs(nearest - height) < 2e-3 else height


def polygons(shape: Any) -> list[Any]:
    """The polygons in any shapely geometry."""
    if shape.geom_type == "Polygon":
        return [] if shape.is_empty else [shape]
    return [part for inner in getattr(shape, "geoms", []) for part in polygons(inner)]


def span_on_line(points: Floats, line: Floats, footprint: Any) -> tuple[float, float] | None:
    """Where a body (n, 3) that pierces a wall starts and ends along the wall's line; None where it misses it."""
    if len(line) == 2:
        along = (line[1] - line[0]) / np.linalg.norm(line[1] - line[0])
        stations = (points[:, :2] - line[0]) @ along
        return float(stations.min()), float(stations.max())
    hull = shapely.convex_hull(shapely.multipoints(points[:, :2])).buffer(1e-6)
    path = shapely.LineString(line)
    common = path.intersection(hull)
    if common.length < 0.01:
        common = hull.intersection(footprint.buffer(0.02))
    if common.is_empty:
        return None
    stations = shapely.line_locate_point(path, shapely.points(shapely.get_coordinates(common)))
    return float(stations.min()), float(stations.max())


def put_in_one_piece(line: Floats, start: float, end: float) -> Floats:
    """A bent line with the part between two stations made straight, so that an opening fits one piece of it."""
    path = shapely.LineString(line)
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    ends = [shapely.get_coordinates(path.interpolate(s))[0] for s in (start, end)]
    before = [p for p, s in zip(line, reached, strict=True) if s < start - 1e-3]
    after = [p for p, s in zip(line, reached, strict=True) if s > end + 1e-3]
    return np.array([*before, *ends, *after])

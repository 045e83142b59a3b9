"""Gaps against closed forms: area, widest circle, place, cause."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.ops import split
from small_scenes import scene

from raycover.building.build import build
from raycover.solving.gaps import Gap, find_gaps, label_gaps
from raycover.solving.surfaces import Surface, make_surfaces

HALL = {"name": "hall", "outline": [[0, 0], [20, 0], [20, 10], [0, 10]], "height": 3, "walls": "none"}


def surface_of(*rooms: dict[str, Any], grid: float = 0.25, height: float = 0.75) -> Surface:
    return _surface(json.dumps(list(rooms) or [HALL]), grid, height)


@cache
def _surface(rooms: str, grid: float, height: float) -> Surface:
    """Made once for all examples: nothing changes it."""
    whole = scene(rooms=json.loads(rooms), grid=grid, planes=[{"name": "desk", "height": height}])
    return make_surfaces(whole, build(whole))[0][0]


def gaps_of(surface: Surface, missed: np.ndarray, **rasters: np.ndarray) -> list[Gap]:
    labels, n = label_gaps(surface, missed & surface.inside)
    flat = {
        key: np.full(surface.shape, value, np.int32) for key, value in (("cause", 1), ("blocker", -1), ("nearest", 0))
    }
    flat.update(rasters)
    return find_gaps(
        surface,
        labels,
        n,
        flat["cause"].astype(np.int8),
        flat["blocker"],
        flat["nearest"],
        ("rack", "wall"),
        ("D1", "D2"),
        (4, 5),
    )


def where(surface: Surface, x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    xx, yy = np.meshgrid(surface.x, surface.y)
    found: np.ndarray = (x0 < xx) & (xx < x1) & (y0 < yy) & (yy < y1)
    return found


def inside_gap(surface: Surface, missed: np.ndarray, gap: Gap) -> bool:
    """Whether the circle of a gap lies in missed cells: every cell it overlaps is one."""
    xx, yy = np.meshgrid(surface.x, surface.y)
    half = surface.grid / 2
    dx = np.maximum(np.abs(xx - gap.at[0]) - half, 0)
    dy = np.maximum(np.abs(yy - gap.at[1]) - half, 0)
    return bool(missed[np.hypot(dx, dy) < gap.widest_m / 2 - 1e-9].all())


@given(nx=st.integers(1, 30), ny=st.integers(1, 25), x=st.integers(0, 40), y=st.integers(0, 10))
def test_rectangle(nx: int, ny: int, x: int, y: int) -> None:
    """The widest circle of a rectangle is as wide as its shorter side: exactly, on whole cells."""
    surface = surface_of()
    x1, y1 = min(x + nx, 80) * 0.25, min(y + ny, 40) * 0.25
    missed = where(surface, x * 0.25, y * 0.25, x1, y1)
    (gap,) = gaps_of(surface, missed)
    sides = x1 - x * 0.25, y1 - y * 0.25
    assert gap.area_m2 == pytest.approx(sides[0] * sides[1])
    assert gap.widest_m == pytest.approx(min(sides))
    assert inside_gap(surface, missed, gap)
    assert gap.at[2] == 0.75


@pytest.mark.parametrize("radius", [0.8, 2.0, 4.3])
def test_disc(radius: float) -> None:
    """A disc's widest circle is itself, to a cell of its raster."""
    surface = surface_of(grid=0.1)
    xx, yy = np.meshgrid(surface.x, surface.y)
    missed = np.hypot(xx - 10, yy - 5) <= radius
    (gap,) = gaps_of(surface, missed)
    assert gap.widest_m == pytest.approx(2 * radius, abs=0.15)
    assert gap.area_m2 == pytest.approx(np.pi * radius**2, rel=0.05)
    assert gap.at[:2] == pytest.approx((10, 5), abs=0.1)
    assert inside_gap(surface, missed, gap)


@pytest.mark.parametrize("width", [1.0, 2.0, 3.0])
def test_l_shape(width: float) -> None:
    """Two arms of width w: the circle in the elbow touches both outer sides and the inner corner.

    Its radius r fits w√2 = r(1 + √2) from the outer corner's diagonal: diameter 2w·√2/(1 + √2) = 1.172 w.
    """
    surface = surface_of(grid=0.05)
    missed = where(surface, 1, 1, 9, 1 + width) | where(surface, 1, 1, 1 + width, 9)
    (gap,) = gaps_of(surface, missed)
    assert gap.widest_m == pytest.approx(2 * width * np.sqrt(2) / (1 + np.sqrt(2)), abs=0.05)
    assert gap.at[:2] == pytest.approx((1 + gap.widest_m / 2,) * 2, abs=0.06)
    assert inside_gap(surface, missed, gap)


def test_labels_never_cross_rooms() -> None:
    b = {**HALL, "name": "b", "outline": [[20, 0], [30, 0], [30, 10], [20, 10]]}
    surface = surface_of(HALL, b)
    gaps = gaps_of(surface, where(surface, 18, 2, 23, 4))
    assert [(g.room, g.area_m2) for g in gaps] == [("b", pytest.approx(6)), ("hall", pytest.approx(4))]


@given(seed=st.integers(0, 10_000), share=st.floats(0.02, 0.9))
def test_areas_sum_to_the_missed_area(seed: int, share: float) -> None:
    """Whatever is missed: largest first, every area accounted for, every place inside its own gap."""
    outline = [[0, 0], [9, 1], [7.3, 6], [3, 3.3], [0.4, 7]]
    surface = surface_of(
        {**HALL, "outline": outline},
        {**HALL, "name": "b", "outline": [[10, 0], [14, 0], [14, 3], [10, 3]]},
        grid=0.5,
    )
    missed = (np.random.default_rng(seed).uniform(size=surface.shape) < share) & surface.inside
    gaps = gaps_of(surface, missed)
    assert sum(g.area_m2 for g in gaps) == pytest.approx(float(surface.area[missed].sum()))
    assert [g.area_m2 for g in gaps] == sorted((g.area_m2 for g in gaps), reverse=True)
    labels, n = label_gaps(surface, missed)
    assert n == len(gaps) == len({g.label for g in gaps})
    for gap in gaps:
        assert inside_gap(surface, labels == gap.label, gap)
        assert gap.widest_m >= surface.grid - 1e-9


def test_cells_at_a_corner_join() -> None:
    surface = surface_of()
    assert len(gaps_of(surface, where(surface, 1, 1, 2, 2) | where(surface, 2, 2, 3, 3))) == 1
    assert len(gaps_of(surface, where(surface, 1, 1, 2, 2) | where(surface, 2.25, 2.25, 3, 3))) == 2


def test_cause_of_most_of_the_area() -> None:
    surface = surface_of()
    missed = where(surface, 1, 1, 5, 3)
    cause, blocker, nearest = (np.full(surface.shape, v, np.int32) for v in (1, -1, 0))
    blocked = where(surface, 1, 1, 3.5, 3)
    cause[blocked], nearest[blocked] = 4, 1
    blocker[where(surface, 1, 1, 2, 3)], blocker[where(surface, 2, 1, 3.5, 3)] = 0, 1
    (gap,) = gaps_of(surface, missed, cause=cause, blocker=blocker, nearest=nearest)
    assert (gap.cause, gap.blocked_by, gap.detector) == (4, "wall", "D2")
    cause[blocked] = 2
    (gap,) = gaps_of(surface, missed, cause=cause, blocker=blocker, nearest=nearest)
    assert (gap.cause, gap.blocked_by) == (2, None)  # nothing in the way is the reason


def test_no_detector_near() -> None:
    surface = surface_of()
    none = np.full(surface.shape, -1, np.int32)
    (gap,) = gaps_of(surface, where(surface, 1, 1, 2, 2), nearest=none)
    assert (gap.detector, gap.blocked_by) == (None, None)


def test_no_gap() -> None:
    surface = surface_of()
    assert gaps_of(surface, np.zeros(surface.shape, bool)) == []


def test_place_stands_on_the_floor_of_its_room() -> None:
    surface = surface_of(
        {**HALL, "floor": 3.2}, {**HALL, "name": "b", "outline": [[20, 0], [22, 0], [22, 10], [20, 10]]}
    )
    gaps = gaps_of(surface, surface.inside)
    assert [g.at[2] for g in gaps] == pytest.approx([3.95, 0.75])


CURTAIN = {"name": "curtain", "line": [[8, 0], [8, 10]], "height": 3, "construction": "plasterboard-12.5"}

DOOR = {"name": "way", "at": 5, "width": 1.5, "height": 2.1, "fill": "plasterboard-12.5"}


def divided(*parts: dict[str, Any], height: float = 0.75, grid: float = 0.25, **more: Any) -> Surface:
    hall = {"rooms": [HALL], "planes": [{"name": "desk", "height": height}], "grid": grid}
    whole = scene(**{**hall, "partitions": list(parts), **more})
    return make_surfaces(whole, build(whole))[0][0]


def test_a_partition_divides_a_gap() -> None:
    """A hall of 20 × 10 m with a partition at x = 8 m, all missed: 8 × 10 m and 12 × 10 m, circles of 8 m and 10 m."""
    surface = divided(CURTAIN)
    large, small = gaps_of(surface, surface.inside)
    assert (large.area_m2, small.area_m2) == (pytest.approx(120), pytest.approx(80))
    assert (large.widest_m, small.widest_m) == (pytest.approx(10), pytest.approx(8))
    assert large.at[0] - large.widest_m / 2 >= 8 - 1e-9
    assert small.at[:2] == pytest.approx((4, 5), abs=1)


@pytest.mark.parametrize("grid", [0.25, 0.4])
@pytest.mark.parametrize("line", [[[2, 0], [13.7, 10]], [[7.125, 0], [7.125, 10]], [[0, 5.2], [9, 5.2], [9, 10]]])
def test_no_line_of_a_partition_leaks(line: list[list[float]], grid: float) -> None:
    """Slanted, along cells' centres, bent: two gaps, and each cell in the one of its side by shapely's word."""
    surface = divided({**CURTAIN, "line": line}, grid=grid)
    labels, n = label_gaps(surface, surface.inside)
    assert n == 2
    sides = split(shapely.box(0, 0, 20, 10), shapely.LineString(line)).geoms
    xx, yy = np.meshgrid(surface.x, surface.y)
    for side in sides:
        well_in = shapely.contains_xy(side.buffer(-1e-3), xx, yy) & surface.inside
        assert len(np.unique(labels[well_in])) == 1


@pytest.mark.parametrize(
    ("change", "height", "n"),
    [
        ({"openings": [{**DOOR, "state": "closed"}]}, 0.75, 2),
        ({"openings": [{**DOOR, "state": "open"}]}, 0.75, 1),
        ({"openings": [{**DOOR, "sill": 0.9, "height": 1.2}]}, 1.5, 2),  # glazed
        ({"openings": [{**DOOR, "sill": 0.9, "height": 1.2, "fill": "none"}]}, 1.5, 1),
        ({"openings": [{**DOOR, "sill": 0.9, "height": 1.2, "fill": "none"}]}, 0.0, 2),  # its sill
        ({"base": 0.75}, 0.75, 1),  # passed under
        ({"height": 1.2}, 1.5, 1),  # not at the map's height
        ({"height": 1.2}, 0.75, 2),
        ({"height": 0.7}, 0.0, 1),  # furniture
        ({"line": [[8, 0], [8, 9]]}, 0.75, 1),  # a way round its end
        ({"base": 0.15}, 0.0, 2),  # a panel's gap at the floor
    ],
)
def test_what_divides_a_gap(change: dict[str, Any], height: float, n: int) -> None:
    surface = divided({**CURTAIN, **change}, height=height)
    assert len(gaps_of(surface, surface.inside)) == n


def test_no_circle_lies_across_a_partition_with_a_doorway() -> None:
    """Joined through a doorway it is one gap, whose widest circle still lies on one side: 10 m, not across x = 8 m."""
    way = {"name": "way", "at": 0.5, "width": 0.8, "height": 2.1, "sill": 0, "fill": "none"}
    surface = divided({**CURTAIN, "openings": [way]})
    (gap,) = gaps_of(surface, surface.inside & where(surface, 0, 0, 16, 10))
    assert gap.area_m2 == pytest.approx(160)
    assert gap.widest_m == pytest.approx(8, abs=0.3)
    assert abs(gap.at[0] - 8) >= gap.widest_m / 2 - 1e-9


def test_a_rooms_wall_divides_a_map_over_inside_and_outside_and_a_rooms_own_map_has_no_need_of_it() -> None:
    """Cells' centres on the wall itself, x = 0 and 20 of a grid of 0.5 m from −4.25 m."""
    closed = {**HALL, "walls": "plasterboard-12.5"}
    extent = {"name": "desk", "height": 0.75, "extent": [-4.25, -4.25, 24.25, 14.25]}
    over = scene(rooms=[closed], planes=[extent], grid=0.5)
    surface = make_surfaces(over, build(over))[0][0]
    outside, inside = gaps_of(surface, surface.inside)
    assert inside.area_m2 == pytest.approx(200, abs=16)
    assert outside.area_m2 + inside.area_m2 == pytest.approx(28.5 * 18.5)
    assert surface_of(closed).barred is None


def test_a_circle_beside_a_partitions_end() -> None:
    """Between a partition at x = 8 m and one at 11 m that ends at y = 8 m, y up to 10 m: a circle in the upper corner
    that touches that end has (3 − r)² + (2 − r)² = r², so r = 5 − √12 and is 3.07 m wide."""
    surface = divided(CURTAIN, {**CURTAIN, "name": "screen", "line": [[11, 0], [11, 8]]}, grid=0.1)
    (gap,) = gaps_of(surface, surface.inside & where(surface, 8, 0, 12, 10))
    assert gap.widest_m == pytest.approx(2 * (5 - np.sqrt(12)), abs=0.07)
    assert gap.at[:2] == pytest.approx((8 + gap.widest_m / 2, 10 - gap.widest_m / 2), abs=0.1)


def test_a_partition_from_a_corner_beside_another_floor_does_not_leak() -> None:
    """From the inner corner of an L to its outer one, where the cell across that corner is of a room 3 m up."""
    arms = {**HALL, "outline": [[4, 0], [8, 0], [8, 8], [0, 8], [0, 4], [4, 4]]}
    above = {**HALL, "name": "b", "outline": [[0, 0], [4, 0], [4, 4], [0, 4]], "floor": 3}
    surface = divided({**CURTAIN, "line": [[4, 4], [8, 8]]}, rooms=[arms, above])
    gaps = gaps_of(surface, surface.inside)
    assert [(gap.room, gap.area_m2) for gap in gaps] == [
        ("hall", pytest.approx(24, abs=1)), ("hall", pytest.approx(24, abs=1)), ("b", pytest.approx(16)),
    ]  # fmt: skip


def crosses(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> bool:
    """Whether two stretches a to b and c to d cross: the ends of each lie on two sides of the other."""

    def side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


def flooded(surface: Surface, missed: np.ndarray, lines: list[np.ndarray]) -> np.ndarray:
    """Gaps cell by cell: neighbours are of one unless the line between their centres crosses what stands."""
    found = np.full(surface.shape, -1)
    count = 0
    for start in np.argwhere(missed).tolist():
        if found[tuple(start)] >= 0:
            continue
        waiting = [start]
        found[tuple(start)] = count
        while waiting:
            row, column = waiting.pop()
            for there in ((row + k, column + j) for k in (-1, 0, 1) for j in (-1, 0, 1)):
                if not all(0 <= v < n for v, n in zip(there, missed.shape, strict=True)):
                    continue
                if not missed[there] or found[there] >= 0 or surface.room[there] != surface.room[row, column]:
                    continue
                one, other = (np.array([surface.x[c], surface.y[r]]) for r, c in ((row, column), there))
                if not any(crosses(one, other, *line) for line in lines):
                    found[there] = count
                    waiting.append(there)
        count += 1
    return found


@settings(max_examples=25)
@given(seed=st.integers(0, 100_000), share=st.sampled_from([1.0, 0.85, 0.6]), grid=st.sampled_from([0.4, 0.5]))
def test_gaps_are_what_a_flood_of_cells_finds(seed: int, share: float, grid: float) -> None:
    """Random partitions at random, some with a doorway at their begin, in two rooms; written a second time above."""
    random = np.random.default_rng(seed)
    rooms = [{**HALL, "outline": [[0, 0], [6, 0], [6, 3], [3, 3], [3, 5], [0, 5]]},
             {**HALL, "name": "b", "outline": [[3, 3], [6, 3], [6, 5], [3, 5]]}]  # fmt: skip
    parts, lines = [], []
    for k in range(random.integers(1, 6)):
        line = random.uniform(0, [6, 5], (2, 2)).round(3)
        if (length := float(np.linalg.norm(line[1] - line[0]))) < 1.2:
            continue
        doorway = bool(random.uniform() < 0.4)
        height = float(random.choice([0.7, 1.2, 3.0]))  # 0.7: furniture
        more = {"openings": [{**DOOR, "at": 0.1, "width": 0.9, "fill": "none"}]} if doorway and height == 3 else {}
        parts.append({**CURTAIN, "name": f"p{k}", "line": line.tolist(), "height": height, **more})
        spans = [(0.0, 0.1), (1.0, length)] if more else [(0.0, length)]
        along = (line[1] - line[0]) / length
        if height > 1:
            # 1 mm longer, so that those that meet leave no slit.
            lines += [np.array([line[0] + along * (a - 1e-3), line[0] + along * (b + 1e-3)]) for a, b in spans]
    surface = divided(*parts, rooms=rooms, grid=grid)
    missed = surface.inside & (random.uniform(size=surface.shape) < share)
    labels, n = label_gaps(surface, missed)
    expected = flooded(surface, missed, lines)
    assert set(np.unique(labels[missed])) == set(range(1, n + 1))
    assert not labels[~missed].any()
    pairs = set(zip(labels[missed].tolist(), expected[missed].tolist(), strict=True))
    assert len(pairs) == n == expected.max() + 1

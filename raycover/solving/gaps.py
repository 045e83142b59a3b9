"""Gaps: connected areas where nobody is noticed, with their size, widest circle, place and cause.

Rooms divide them, and so does what stands between cells at the map's height (`barriers`): a partition, a panel, a
curtain from near the floor up, a shut door. Through an open doorway within a room a gap goes on. No circle lies across
what stands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from raycover.solving.barriers import Barred
from raycover.solving.surfaces import Surface

_EIGHT = np.ones((3, 3), int)


@dataclass(frozen=True)
class Gap:
    """`at` (x, y, z) is the middle of the widest circle (diameter `widest_m`) that fits in the gap.

    `cause` is that of most of its area, `blocked_by` the thing of the scene that hides most of it, if any;
    `detector` the one nearest to seeing most of it, of a dual one `half` the half that the cause is of. `label` numbers
    it in the plane's label raster.
    """

    label: int
    room: str
    area_m2: float
    widest_m: float
    at: tuple[float, float, float]
    cause: int
    blocked_by: str | None
    detector: str | None
    half: str | None = None


def label_gaps(surface: Surface, missed: NDArray[np.bool_]) -> tuple[NDArray[np.int32], int]:
    """(ny, nx) labels from 1 of connected missed cells, never across rooms or what stands between; 0 elsewhere."""
    labels = np.zeros(surface.shape, np.int32)
    total = 0
    for room, window in _room_windows(surface):
        mine = missed[window] & (surface.room[window] == room)
        barred = None if surface.barred is None else surface.barred.window(*window)
        found, n = ndimage.label(mine, _EIGHT) if barred is None or not barred.any else _connected(mine, barred)
        view = labels[window]
        view[mine] = found[mine] + total
        total += n
    return labels, total


def _connected(mine: NDArray[np.bool_], barred: Barred) -> tuple[NDArray[np.integer], int]:
    """As `ndimage.label`, where something stands between cells.

    Cells beside what stands are looked at link by link; all others join as if nothing did.
    """
    every, lower, upper = slice(None), slice(None, -1), slice(1, None)
    cuts = (barred.right, barred.up, barred.rising, barred.falling)
    ends = (((every, lower), (every, upper)), ((lower, every), (upper, every)),
            ((lower, lower), (upper, upper)), ((upper, lower), (lower, upper)))  # fmt: skip
    beside = np.zeros(mine.shape, bool)
    for (at, to), cut in zip(ends, cuts, strict=True):
        beside[at] |= cut
        beside[to] |= cut
    beside &= mine
    number, n_away = ndimage.label(mine & ~beside, _EIGHT)
    count = n_away + int(beside.sum())
    number[beside] = np.arange(n_away + 1, count + 1)
    links = []
    for (at, to), cut in zip(ends, cuts, strict=True):
        free = (beside[at] | beside[to]) & mine[at] & mine[to] & ~cut
        links.append(np.stack([number[at][free], number[to][free]]))
    one, other = np.concatenate(links, axis=1) - 1
    graph = coo_array((np.ones(len(one), bool), (one, other)), shape=(count, count))
    n, part = connected_components(graph, directed=False)
    return np.append(0, part + 1)[number], n


def _room_windows(surface: Surface) -> list[tuple[int, tuple[slice, slice]]]:
    windows = ndimage.find_objects(surface.room.astype(np.int32) + 1)
    return [(room, window) for room, window in enumerate(windows) if window is not None]


def find_gaps(
    surface: Surface,
    labels: NDArray[np.int32],
    n: int,
    cause: NDArray[np.int8],
    blocker: NDArray[np.int32],
    nearest: NDArray[np.int32],
    owners: tuple[str, ...],
    detectors: tuple[str, ...],
    hiding: tuple[int, ...],
    halves: tuple[str | None, ...] = (),
) -> list[Gap]:
    """The gaps of a plane, largest first.

    `cause`, `blocker` (index into `owners`, −1 none) and `nearest` (index into `detectors`) are (ny, nx); `halves` go
    with `detectors`; `hiding` are the causes of which something in the way is the reason.
    """
    if n == 0:
        return []
    index = np.arange(1, n + 1)
    area = ndimage.sum_labels(surface.area, labels, index)
    widest, places = _widest(labels, n, surface.grid, surface.barred)
    cells = np.flatnonzero(labels)
    gap, weight = labels.ravel()[cells] - 1, surface.area.ravel()[cells]
    main_cause = _majority(gap, cause.ravel()[cells].astype(int), weight, n)
    main_blocker = _majority(gap, blocker.ravel()[cells].astype(int), weight, n)
    main_detector = _majority(gap, nearest.ravel()[cells].astype(int), weight, n)
    row, column = np.floor(places).astype(np.intp).T
    at = surface.points(row, column, surface.heights[0])
    if surface.places is None:
        at[:, :2] += (places - np.floor(places))[:, ::-1] * surface.grid
    at = at.tolist()
    rooms = surface.room[row, column].tolist()
    gaps = [
        Gap(
            label=k + 1,
            room=surface.room_names[rooms[k]],
            area_m2=float(area[k]),
            widest_m=float(widest[k]),
            at=(at[k][0], at[k][1], at[k][2]),
            cause=int(main_cause[k]),
            blocked_by=owners[main_blocker[k]] if main_cause[k] in hiding and main_blocker[k] >= 0 else None,
            detector=detectors[main_detector[k]] if main_detector[k] >= 0 else None,
            half=halves[main_detector[k]] if halves and main_detector[k] >= 0 else None,
        )
        for k in range(n)
    ]
    return sorted(gaps, key=lambda gap: (-gap.area_m2, gap.at))


def widest_gap(surface: Surface, labels: NDArray[np.int32], n: int) -> tuple[float, NDArray[np.float64]]:
    """Diameter (m) of the widest circle that fits in any of n labelled gaps, and how deep (m, (ny, nx)) cells lie."""
    if n == 0:
        return 0.0, np.zeros(surface.shape)
    widest, _ = _widest(labels, n, surface.grid, surface.barred)
    if surface.barred is None:
        depth = ndimage.distance_transform_edt(np.pad(labels > 0, 1))[1:-1, 1:-1] * surface.grid
    else:
        depth = ndimage.distance_transform_edt(_free_nodes(labels > 0, surface.barred))[1::2, 1::2] * surface.grid / 2
    return float(widest.max()), np.asarray(depth)


def _widest(
    labels: NDArray[np.int32], n: int, grid: float, barred: Barred | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Diameter (m) of the widest circle in each gap, and its middle in cells (row, column), halves allowed, (n, 2).

    Middles are tried at cells' centres, corners and sides: on that lattice the nearest point of a gap's outline
    is a node too, so the diameter is exact for the cells as drawn, of an even or an odd number across. What stands
    between two cells counts as on the side that they share.
    """
    deepest, places = np.zeros(n), np.zeros((n, 2))
    for k, (rows, columns) in enumerate(ndimage.find_objects(labels)):
        between = None if barred is None else barred.window(rows, columns)
        free = _free_nodes(labels[rows, columns] == k + 1, between)
        depth = ndimage.distance_transform_edt(free)
        place = np.unravel_index(int(depth.argmax()), depth.shape)
        deepest[k] = depth[place]
        places[k] = rows.start + (place[0] - 1) / 2, columns.start + (place[1] - 1) / 2
    return deepest * grid, places


def _free_nodes(mine: NDArray[np.bool_], barred: Barred | None) -> NDArray[np.bool_]:
    """(2 ny + 1, 2 nx + 1) centres, sides and corners of cells (ny, nx) that have nothing but them around."""
    free = np.pad(mine, 1)
    for axis in (0, 1):
        # A node is free when the cells on both sides of it are in the gap.
        node = np.arange(2 * free.shape[axis] - 3)
        free = free.take((node + 1) // 2, axis) & free.take(node // 2 + 1, axis)
    if barred is not None:
        free[1::2, 2:-1:2] &= ~barred.right
        free[2:-1:2, 1::2] &= ~barred.up
        free[2:-1:2, 2:-1:2] &= ~(barred.rising | barred.falling)
    return free


def _majority(
    group: NDArray[np.integer], value: NDArray[np.integer], weight: NDArray[np.floating], n: int
) -> NDArray[np.int64]:
    """The value (>= 0) with most weight in each of n groups; −1 where a group has none."""
    known = value >= 0
    best = np.full(n, -1, np.int64)
    if not known.any():
        return best
    base = int(value.max()) + 1
    pairs, inverse = np.unique(group[known].astype(np.int64) * base + value[known], return_inverse=True)
    order = np.argsort(np.bincount(inverse, weight[known]), kind="stable")
    best[pairs[order] // base] = pairs[order] % base
    return best

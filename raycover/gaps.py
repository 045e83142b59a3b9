"""Gaps: connected areas where nobody is noticed, with their size, widest circle, place and cause."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from raycover.surfaces import Surface

_EIGHT = np.ones((3, 3), int)


@dataclass(frozen=True)
class Gap:
    """`at` (x, y, z) is the middle of the widest circle (diameter `widest_m`) that fits in the gap.

    `cause` is that of most of its area, `blocked_by` the thing of the scene that hides most of it, if any;
    `detector` the one nearest to seeing most of it. `label` numbers it in the plane's label raster.
    """

    label: int
    room: str
    area_m2: float
    widest_m: float
    at: tuple[float, float, float]
    cause: int
    blocked_by: str | None
    detector: str | None


def label_gaps(surface: Surface, missed: NDArray[np.bool_]) -> tuple[NDArray[np.int32], int]:
    """(ny, nx) labels from 1 of connected missed cells, never across rooms; 0 elsewhere."""
    labels = np.zeros(surface.shape, np.int32)
    total = 0
    for room, window in _room_windows(surface):
        mine = missed[window] & (surface.room[window] == room)
        found, n = ndimage.label(mine, _EIGHT)
        view = labels[window]
        view[mine] = found[mine] + total
        total += n
    return labels, total


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
) -> list[Gap]:
    """The gaps of a plane, largest first.

    `cause`, `blocker` (index into `owners`, −1 none) and `nearest` (index into `detectors`) are (ny, nx);
    `hiding` are the causes of which something in the way is the reason.
    """
    if n == 0:
        return []
    index = np.arange(1, n + 1)
    area = ndimage.sum_labels(surface.area, labels, index)
    widest, places = _widest(labels, n, surface.grid)
    cells = np.flatnonzero(labels)
    gap, weight = labels.ravel()[cells] - 1, surface.area.ravel()[cells]
    main_cause = _majority(gap, cause.ravel()[cells].astype(int), weight, n)
    main_blocker = _majority(gap, blocker.ravel()[cells].astype(int), weight, n)
    main_detector = _majority(gap, nearest.ravel()[cells].astype(int), weight, n)
    at = surface.points(places[:, 0], places[:, 1], surface.heights[0]).tolist()
    rooms = surface.room[places[:, 0], places[:, 1]].tolist()
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
        )
        for k in range(n)
    ]
    return sorted(gaps, key=lambda gap: (-gap.area_m2, gap.at))


def _widest(labels: NDArray[np.int32], n: int, grid: float) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Diameter (m) of the widest circle in each gap, and the cell (row, column) of its middle, (n, 2)."""
    deepest, places = np.ones(n), np.zeros((n, 2), np.intp)
    for k, (rows, columns) in enumerate(ndimage.find_objects(labels)):
        mine = labels[rows, columns] == k + 1
        # A strip up to two cells wide holds no deeper cell than its own border.
        if min(mine.shape) <= 2:
            place = np.unravel_index(int(mine.argmax()), mine.shape)
        else:
            depth = ndimage.distance_transform_edt(np.pad(mine, 1))[1:-1, 1:-1]
            place = np.unravel_index(int(depth.argmax()), depth.shape)
            deepest[k] = depth[place]
        places[k] = place[0] + rows.start, place[1] + columns.start
    # From a cell's centre to the next centre outside is half a cell too far.
    return (2 * deepest - 1) * grid, places


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

"""What every candidate would see: sparse matrices of cells by candidates, worked out in chunks."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import scipy.sparse as sp
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from raycover.detectors import Unit
from raycover.physics.margin import largest_reach_m
from raycover.proving.needs import Situation
from raycover.proving.sites import Site
from raycover.scene.needs import NeedSpec

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
Progress = Callable[[int, int], None]
#: Ways by mirrors add less than this (dB) where the straight way alone is beyond all reach: they are longer.
_MIRRORS_DB = 9.0
#: A place of no more cells than this is looked at as one.
_FEW = 300


@dataclass(frozen=True)
class Asked:
    """Some cells of a place of a need: `cells` (k,) by index, `weight` (k,) the area (m²) each stands for."""

    need: NeedSpec
    situation: Situation
    site: Site
    cells: Ints
    weight: Floats

    @property
    def thinned(self) -> Site:
        return self.site.some(self.cells)


def thin(need: NeedSpec, situation: Situation, site: Site, most: int) -> Asked:
    """A place looked at in about `most` of its cells, spread evenly; each stands for the cells nearest to it."""
    n = len(site)
    if n <= most:
        return Asked(need, situation, site, np.arange(n), site.area)
    step = int(np.ceil(np.sqrt(n / most)))
    if site.rows is None:
        chosen = np.linspace(0, n - 1, most).astype(int)
    else:
        offset = step // 2
        chosen = np.flatnonzero((site.rows % step == offset) & (site.columns % step == offset))
        if not len(chosen):
            chosen = np.linspace(0, n - 1, most).astype(int)
    return with_cells(Asked(need, situation, site, np.arange(0), np.zeros(0)), chosen)


def with_cells(asked: Asked, more: Ints) -> Asked:
    """The same looked at in more cells, their weights shared out anew."""
    cells = np.unique(np.concatenate([asked.cells, more])).astype(int)
    site = asked.site
    _, nearest = cKDTree(site.ground[cells]).query(site.ground)
    weight = np.bincount(nearest, site.area, minlength=len(cells)).astype(float)
    return Asked(asked.need, asked.situation, site, cells, weight)


def reaching(units: Sequence[Unit], tree: Any, asked: Asked, limit_db: float = 0.0) -> dict[int, float]:
    """{unit by index: how far (m) it may have `limit_db`} of those that may have it at a cell of a place."""
    motion = asked.site.motion
    reach = {}
    found = {}
    for k, unit in enumerate(units):
        key = id(unit.footprints)
        if key not in reach:
            footprints = asked.site.asked(unit).footprints_for(motion)
            warm = max(asked.situation.weather.most_db(unit), 0.0)
            reach[key] = max((largest_reach_m(f, unit.reach_behind) for f in footprints), default=0.0)
            mirrored = _MIRRORS_DB if asked.situation.weather.reflections else 0.0
            reach[key] *= 10 ** ((warm + mirrored - limit_db) / 40)
        if reach[key] > 0 and tree.query(unit.position, distance_upper_bound=reach[key])[0] < np.inf:
            found[k] = reach[key]
    return found


def margins_by(units: Sequence[Unit], asked: Asked, limit_db: float = 0.0, *, only: Ints | None = None) -> Any:
    """(k cells, m units) CSC of margins (dB) of at least `limit_db` at the cells of a place; nothing else is stored.

    `only`: units, by index, that are asked; the others see nothing. All if None.
    """
    site = asked.thinned
    n = len(site)
    tree = cKDTree(site.points)
    some = range(len(units)) if only is None else only.tolist()
    live = {some[k]: reach for k, reach in reaching([units[k] for k in some], tree, asked, limit_db).items()}
    situation = asked.situation

    def work(k: int) -> tuple[Ints, Floats]:
        near = np.arange(n)
        part = site
        if n > _FEW and not site.lines:  # of a large place a unit reaches a part
            inside = np.asarray(tree.query_ball_point(units[k].position, live[k] + 1e-6), int) % n
            near = np.unique(inside)
            part = site.some(near)
        margin = situation.margin_db(units[k], part, least_db=limit_db)
        cells = np.flatnonzero(margin >= limit_db)
        return near[cells], margin[cells]

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        found = list(pool.map(work, live, chunksize=16))
    counts = np.zeros(len(units), int)
    counts[list(live)] = [len(cells) for cells, _ in found]
    return columns(
        np.concatenate([*(margin for _, margin in found), np.zeros(0)]),
        np.concatenate([*(cells for cells, _ in found), np.zeros(0, int)]), counts, n,
    )  # fmt: skip


def columns(data: Floats, rows: Ints, counts: Ints, n_rows: int) -> Any:
    """A sparse table (n_rows, m) column by column, `counts` (m,) entries in each; a stored 0 dB stays stored."""
    starts = np.concatenate([[0], np.cumsum(counts)])
    return sp.csc_array((data, rows.astype(np.int32), starts.astype(np.int64)), shape=(n_rows, len(counts)))


def stored(margins: Any) -> Any:
    """1 where a table of margins holds any, whatever it is."""
    return type(margins)((np.ones(len(margins.data), np.int8), margins.indices, margins.indptr), shape=margins.shape)


def seen_by(units: Sequence[Unit], asked: Asked, limit_db: float = 0.0, *, only: Ints | None = None) -> Any:
    """(k cells, m units) CSC, 1 where the margin of a place's cell from a unit is at least `limit_db`."""
    return stored(margins_by(units, asked, limit_db, only=only))

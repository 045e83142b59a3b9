"""Upright sheets near a place: those found by the tree are those that a look at every one finds."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from raycover.building.upright_sheets import UprightSheets


def scattered(n: int) -> UprightSheets:
    random = np.random.default_rng(7)
    angle = random.choice([0.0, np.pi / 2, 0.4], n)
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    shapes = shapely.box(0, 0, random.integers(1, 5, n).astype(float), 2.5)
    words = np.full(n, "partition")
    return UprightSheets(shapes, random.integers(0, 40, (n, 2)).astype(float), along, words, words)


@pytest.mark.parametrize("half", [0.0, 1.0, 7.25, 100.0])
def test_the_tree_finds_what_a_look_at_every_sheet_finds(half: float) -> None:
    """Corners on whole metres: boxes that only touch count, and a place may be one point."""
    sheets = scattered(300)
    begin, _, end, _ = sheets.bounds.T
    ends = sheets.ends(begin, end)
    found = 0
    for centre in np.random.default_rng(8).integers(0, 40, (40, 2)):
        bounds = np.stack([centre - half, centre + half])
        plainly = ((ends.min(axis=1) <= bounds[1]) & (ends.max(axis=1) >= bounds[0])).all(axis=1)
        assert sheets.near(bounds).tolist() == np.flatnonzero(plainly).tolist()
        found += plainly.sum()
    assert found


def test_no_sheet_is_near_where_none_stands() -> None:
    assert UprightSheets.of([]).near(np.array([[0.0, 0.0], [9.0, 9.0]])).tolist() == []

"""Sheets in sets: which share one, and that neither joints nor the sharing change what a way loses."""

from __future__ import annotations

import numpy as np
import pytest

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.rays.segments import joined
from raycover.rays.sheet_sets import Sheets, sheet_sets

GHZ = 5.8
FACE = np.array([[[0, 0], [1, 0], [1, 1]], [[0, 0], [1, 1], [0, 1]]], float)


def upright(x: float, y: float = 0.0) -> Sheets:
    """A square metre across x, from a height of 0 and a place along y on."""
    triangles = np.empty((2, 3, 3), np.float32)
    triangles[..., 0] = x
    triangles[..., 1:] = np.add(FACE, [y, 0])
    return Sheets(triangles, np.zeros(2, np.int32), np.zeros(2, np.int32), np.tile([1.0, 0, 0], (2, 1)))


@pytest.mark.parametrize(
    ("apart", "meet"), [(0.0, True), (0.0015, True), (0.0025, False), (1.0, False)], ids=lambda v: str(v)
)
def test_sheets_touch_within_twice_the_tolerance(apart: float, meet: bool) -> None:
    assert upright(0).may_touch(upright(apart)) is meet
    assert upright(0, 0).may_touch(upright(0, 1 + apart)) is meet


@pytest.fixture(scope="module")
def flat() -> RayScene:
    """Rooms of three constructions, a glazed opening and desks: joints of every sort, and things that stand free."""
    return RayScene(
        build(
            raycover.load_text("""
raycover: 1
title: flat
rooms:
  - {name: A, outline: [[0, 0], [5, 0], [5, 4], [0, 4]], height: 3, walls: stud-wall-100, ceiling: concrete-150,
     openings: [{edge: 1, at: 1, width: 1, height: 2.1, fill: door-wood-40}]}
  - {name: B, outline: [[5, 0], [9, 0], [9, 4], [5, 4]], height: 3, ceiling: concrete-150,
     walls: [brick-100, brick-100, brick-100, none]}
  - {name: C, outline: [[0, 0], [9, 0], [9, 4], [0, 4]], floor: 3, height: 3, walls: stud-wall-100}
desks: [{name: D, room: C, at: [2, 1], count: 3, gap: 0.3}]
solids: [{name: Box, room: C, centre: [7, 2], size: [1, 1, 2], material: timber}]
planes: [{name: floor, height: 0}]
""")
        )
    )


def test_what_touches_stands_apart(flat: RayScene) -> None:
    sets = [{c.name for c in s.constructions} for s in flat._sheet_sets if s.weakens]
    assert sum(len(s) for s in sets) == len(set().union(*sets))
    for one, other in (
        ("stud-wall-100", "door-wood-40"),
        ("stud-wall-100", "concrete-150"),
        ("brick-100", "concrete-150"),
    ):
        assert not any({one, other} <= s for s in sets)
    assert len(sets) < len(set().union(*sets))  # the desks share one


def test_losses_are_those_of_all_crossings_put_in_order(flat: RayScene) -> None:
    """Ways to a raster of round numbers, so that many run into joints and along sheets; each way by itself tells."""
    x, y, z = np.meshgrid(np.arange(0.5, 9, 0.5), np.arange(0.5, 4, 0.5), [0.75, 2.1, 4.0, 5.0])
    targets = np.stack([x.ravel(), y.ravel(), z.ravel()], axis=1)
    found, known = [], []
    for start in ([2.5, 2.0, 5.5], [5.0, 2.0, 2.5], [1.0, 0.5, 2.1]):
        segments = flat.segments(np.array(start), targets)
        found.append(flat.microwave_loss_db(segments, GHZ, "averaged"))
        alone = (flat.segments(np.array(start), target[None]) for target in targets)
        known.append([sum(c.loss_db for c in flat.crossings(one, GHZ, "averaged")) for one in alone])
    loss, each = np.concatenate(found), np.concatenate(known)
    finite = np.isfinite(each)
    assert (np.isfinite(loss) == finite).all()
    assert finite.sum() > 1000
    np.testing.assert_allclose(loss[finite], each[finite], rtol=0, atol=1e-9)


def test_bundles_change_nothing(flat: RayScene) -> None:
    """Saying which segments lie together saves questions, and no answer differs by a bit."""
    rng = np.random.default_rng(3)
    parts = [
        flat.segments(np.array(start), rng.uniform(low, [low[0] + 2, low[1] + 2, low[2] + 1], (300, 3)))
        for start, low in (([1, 1, 2.5], [1, 1, 0]), ([7, 3, 2.5], [6, 1, 0]), ([4, 2, 5.5], [1, 1, 3.2]))
    ]
    whole = joined(parts)
    at_once = flat.microwave_loss_db(whole, GHZ, "averaged")
    before = flat.n_rays
    bundled = flat.microwave_loss_db(whole, GHZ, "averaged", np.array([0, 300, 600]))
    asked = flat.n_rays - before
    flat.microwave_loss_db(whole, GHZ, "averaged")
    assert asked < flat.n_rays - before - asked
    np.testing.assert_array_equal(bundled, at_once)
    np.testing.assert_array_equal(
        at_once, np.concatenate([flat.microwave_loss_db(part, GHZ, "averaged") for part in parts])
    )


def test_no_sheets_make_no_sets() -> None:
    assert sheet_sets([], "embree") == []

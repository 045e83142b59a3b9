"""Two coverages side by side: what is gained and lost, on one raster and across two.

Areas are checked against geometry by hand: over open ground a unit declared with a circle sees that circle.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, open_floor, pattern

from raycover.exchange.comparison import comparison_json
from raycover.solving.comparing import GAINED, KEPT, LOST, NEITHER, Comparison, changes, compare
from raycover.solving.coverage import Coverage, solve

CIRCLE = pattern({"circle": {"diameter": 6}}, mounting=3)


def floor(*at: tuple[float, float], **more: Any) -> Coverage:
    hung = [detector(place, 3, CIRCLE, name=f"D{k}") for k, place in enumerate(at)]
    return solve(open_floor(*hung, **more))


def pair(one: Coverage, two: Coverage) -> Comparison:
    return compare(one, two, ("one", "two"))


def test_codes() -> None:
    before = np.array([-1.0, -1.0, 1.0, 1.0, np.nan, 1.0, -np.inf, 0.0])
    after = np.array([-2.0, 0.0, -0.1, 5.0, 1.0, np.nan, 1.0, -np.inf])
    assert changes(before, after).tolist() == [NEITHER, GAINED, LOST, KEPT, -1, -1, GAINED, LOST]


def test_a_unit_moved_by_more_than_its_reach() -> None:
    """A circle 6 m across has 28.27 m²: moved clear of itself it loses one and gains another."""
    plane = pair(floor((-5, 0)), floor((5, 0))).planes["floor"]
    disc = np.pi * 9
    assert plane.area_of(GAINED) == pytest.approx(disc, rel=0.01)
    assert plane.area_of(LOST) == pytest.approx(disc, rel=0.01)
    assert plane.area_of(KEPT) == 0
    assert plane.area_of(NEITHER) == pytest.approx(24**2 - 2 * disc, rel=0.01)


def test_a_unit_moved_by_half_its_width() -> None:
    """Two circles of radius r a distance r apart share r²·(2π/3 − √3/2) (elementary geometry of the lens)."""
    plane = pair(floor((-1.5, 0)), floor((1.5, 0))).planes["floor"]
    shared = 9 * (2 * np.pi / 3 - np.sqrt(3) / 2)
    assert plane.area_of(KEPT) == pytest.approx(shared, rel=0.02)
    assert plane.area_of(LOST) == pytest.approx(np.pi * 9 - shared, rel=0.02)
    # on the right of the middle the unit has come nearer, on the left it has gone away
    middle = plane.surface.shape[0] // 2
    row, kept = plane.difference_db[middle], plane.change[middle] == KEPT
    x = plane.surface.x
    assert np.all(row[kept & (x > 0.1)] > 0)
    assert np.all(row[kept & (x < -0.1)] < 0)
    assert plane.stronger_m2 == pytest.approx(plane.weaker_m2, rel=0.01)
    assert 0 < plane.stronger_m2 <= plane.area_of(KEPT) / 2


def test_a_coverage_against_itself() -> None:
    one = floor((0, 0))
    plane = pair(one, one).planes["floor"]
    assert (plane.area_of(GAINED), plane.area_of(LOST), plane.stronger_m2, plane.weaker_m2) == (0, 0, 0, 0)
    assert plane.area_of(KEPT) + plane.area_of(NEITHER) == pytest.approx(plane.before.area_m2)
    assert np.nanmax(np.abs(plane.difference_db)) == 0


def test_there_and_back() -> None:
    one, two = floor((-2, 0)), floor((1, 1), (3, -2))
    there, back = pair(one, two).planes["floor"], pair(two, one).planes["floor"]
    for code, opposite in ((GAINED, LOST), (LOST, GAINED), (KEPT, KEPT), (NEITHER, NEITHER)):
        assert there.area_of(code) == pytest.approx(back.area_of(opposite))


def test_grids_that_do_not_agree() -> None:
    """A finer grid and another extent: compared where both have cells, cell by nearest cell."""
    plane = pair(floor((0, 0), half=5, grid=0.2), floor((0, 0), half=8, grid=0.07)).planes["floor"]
    assert plane.change.shape == plane.before.margin_db.shape
    assert (plane.change >= 0).all()
    assert plane.area_of(KEPT) == pytest.approx(np.pi * 9, rel=0.03)
    assert plane.area_of(GAINED) + plane.area_of(LOST) < 0.03 * np.pi * 9
    back = pair(floor((0, 0), half=8, grid=0.07), floor((0, 0), half=5, grid=0.2)).planes["floor"]
    outside = np.abs(back.surface.x) > 5.11
    assert (back.change[:, outside] == -1).all()
    assert back.before.area_where(back.change >= 0) == pytest.approx(100, rel=0.05)


def test_detectors_that_only_one_has() -> None:
    found = pair(floor((-4, 0)), floor((-4, 0), (4, 0)))
    areas = found.detector_areas("floor")
    assert list(areas) == ["D0", "D1"]
    assert areas["D1"][0] is None
    assert areas["D1"][1] == pytest.approx((np.pi * 9, np.pi * 9), rel=0.01)


def test_planes_that_only_one_has() -> None:
    one, two = floor((0, 0)), floor((0, 0), plane={"name": "desk", "height": 0.75})
    found = pair(one, two)
    assert found.planes == {}
    assert found.unpaired == (("floor",), ("desk",))


def test_json_says_both_sides() -> None:
    said = json.loads(json.dumps(comparison_json(pair(floor((-5, 0)), floor((5, 0), (0, 5)))), allow_nan=False))
    plane = said["planes"]["floor"]
    assert plane["share_change"] == pytest.approx(plane["after"]["share"] - plane["before"]["share"])
    assert plane["gained_m2"] - plane["lost_m2"] == pytest.approx(
        plane["after"]["detected_m2"] - plane["before"]["detected_m2"]
    )
    assert said["detectors"]["D1"]["floor"]["before"] is None
    assert (said["before"]["label"], said["after"]["label"], said["version"]) == ("one", "two", 1)

"""Cubicles, desks and solids against counts and dimensions worked by hand."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest
from box_extents import back, extents
from small_scenes import scene

from raycover.building.build import build
from raycover.building.parts import Building

TURNS = [0.0, 90.0, 180.0, 270.0, 33.0, -118.5]


def built(**parts: Any) -> Building:
    return build(scene(**parts))


def test_solid_turns_about_its_centre() -> None:
    column = {"name": "c", "centre": [10, 12], "size": [2, 1, 3], "base": 0.5, "turn_deg": 90, "material": "concrete"}
    (found,) = extents(built(solids=[column]).boxes)
    np.testing.assert_allclose(found, [[9.5, 11, 0.5], [10.5, 13, 3.5]], atol=1e-12)


def sheets(building: Building) -> dict[str, tuple[np.ndarray, str]]:
    """Lowest and highest corner (2, 3) and kind of each sheet."""
    found = {}
    for sheet in building.sheets:
        points = sheet.frame.to_space(np.array(sheet.polygon.exterior.coords))
        found[sheet.name] = (np.stack([points.min(0), points.max(0)]), sheet.kind)
    return found


ROW = {"name": "WC", "at": [0, 0], "count": 3}


def test_cubicles() -> None:
    """Four dividers, two pieces of front a cubicle, a door each; 0.15 m clear below, top at 2 m."""
    building = built(cubicles=[ROW])
    found = sheets(building)
    assert Counter(kind for _, kind in found.values()) == {"panel": 4 + 6, "door": 3}
    every = np.array([box for box, _ in found.values()])
    np.testing.assert_allclose(every.min((0, 1)), [0, 0, 0.15], atol=1e-9)
    np.testing.assert_allclose(every.max((0, 1)), [2.55, 1.5, 2.0], atol=1e-9)
    np.testing.assert_allclose(found["WC/divider 1"][0], [[0.85, 0, 0.15], [0.85, 1.5, 2]], atol=1e-9)
    np.testing.assert_allclose(found["WC/door 2"][0], [[0.975, 1.5, 0.15], [1.575, 1.5, 2]], atol=1e-9)
    fronts = sum(s.polygon.area for s in building.sheets if "front" in s.name or "door" in s.name)
    assert fronts == pytest.approx(2.55 * 1.85)


def test_open_doors_stand_inward() -> None:
    found = sheets(built(cubicles=[{**ROW, "doors": ["open", "closed", "open"], "door": "door-wood-40"}]))
    assert [found[f"WC/door {i}"][1] for i in (1, 2, 3)] == ["leaf", "door", "leaf"]
    np.testing.assert_allclose(found["WC/door 1"][0], [[0.125, 0.9, 0.15], [0.125, 1.5, 2]], atol=1e-9)


@pytest.mark.parametrize(("left", "right", "names"), [(False, True, "123"), (True, False, "012"), (False, False, "12")])
def test_ends_against_walls(left: bool, right: bool, names: str) -> None:
    found = sheets(built(cubicles=[{**ROW, "left_end": left, "right_end": right}]))
    assert [n[-1] for n in found if "divider" in n] == list(names)


@pytest.mark.parametrize("turn_deg", TURNS)
def test_cubicles_turned(turn_deg: float) -> None:
    straight, turned = built(cubicles=[ROW]), built(cubicles=[{**ROW, "at": [7, -3], "turn_deg": turn_deg}])
    for one, two in zip(straight.sheets, turned.sheets, strict=True):
        a = one.frame.to_space(np.array(one.polygon.exterior.coords))
        b = two.frame.to_space(np.array(two.polygon.exterior.coords))
        np.testing.assert_allclose(back(b, (7, -3), turn_deg), a[:, :2], atol=1e-9)
        np.testing.assert_allclose(b[:, 2], a[:, 2], atol=1e-9)


def test_desks() -> None:
    building = built(desks=[{"name": "row", "at": [1, 2], "count": 3, "gap": 0.2}])
    found = sheets(building)
    assert Counter(kind for _, kind in found.values()) == {"desk": 3, "panel": 6}
    np.testing.assert_allclose(found["row/desk 2"][0], [[2.8, 2, 0.73], [4.4, 2.8, 0.73]], atol=1e-9)
    np.testing.assert_allclose(found["row/desk 3 right"][0], [[6.17, 2, 0], [6.17, 2.8, 0.73]], atol=1e-9)


def test_each_of_neighbouring_desks_stands_on_its_own_panels() -> None:
    found = sheets(built(desks=[{"name": "row", "at": [1, 2], "count": 3}]))
    assert sum(kind == "panel" for _, kind in found.values()) == 6

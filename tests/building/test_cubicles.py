"""Cubicles by kind, mixed rows, rows back to back, doors at an angle; sanitary ware."""

from __future__ import annotations

from collections import Counter
from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import scene

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.errors import InputError
from raycover.rays.ray_scene import RayScene
from raycover.scene.fittings import Cubicles

ROW = {"name": "WC", "at": [0, 0]}
ROOM = {"name": "room", "outline": [[-2, -4], [12, -4], [12, 6], [-2, 6]], "height": 2.6, "walls": "brick-100"}


def built(row: dict[str, Any], **parts: Any) -> Building:
    return build(scene(cubicles=[{**ROW, **row}], **parts))


def ends(building: Building, name: str) -> np.ndarray:
    """(2, 2) where a panel starts and ends in plan."""
    (sheet,) = (s for s in building.sheets if s.name == f"WC/{name}")
    points = sheet.frame.to_space(np.array(sheet.polygon.exterior.coords))
    along = (points - sheet.frame.origin) @ sheet.frame.u
    return points[[along.argmin(), along.argmax()], :2]


def only(code: str, **parts: Any) -> Any:
    with pytest.raises(InputError) as caught:
        build(scene(**parts))
    (problem,) = caught.value.problems
    assert problem.code == code
    assert problem.position.line
    assert problem.help
    return problem


@pytest.mark.parametrize(
    ("kind", "width", "depth"),
    [("standard", 0.85, 1.5), ("ambulant", 0.8, 1.5), ("enlarged", 1.2, None), ("wheelchair", 1.5, 2.2)],
)
def test_sizes_by_kind(kind: str, width: float, depth: float | None) -> None:
    """850 × 1500 standard, ambulant ≥ 800 × 1500, enlarged 1200 wide, wheelchair 1500 × 2200, citing Approved
    Document M and BS 6465-2 [2nd]."""
    building = built({"kind": kind, "count": 2})
    np.testing.assert_allclose(ends(building, "divider 1")[:, 0], width)
    if depth is not None:
        np.testing.assert_allclose(ends(building, "divider 0"), [[0, 0], [0, depth]], atol=1e-12)
    heights = np.concatenate([s.frame.to_space(shapely.get_coordinates(s.polygon))[:, 2] for s in building.sheets])
    # Top 1950 to 2000 mm, gap under 100 to 150 mm [M].
    assert 1.95 <= heights.max() <= 2.0
    assert 0.1 <= heights.min() <= 0.15


def test_given_sizes_win() -> None:
    building = built({"kind": "wheelchair", "count": 1, "width": 1.7, "depth": 2.4, "door_width": 1.0})
    np.testing.assert_allclose(ends(building, "divider 1"), [[1.7, 0], [1.7, 2.4]])
    np.testing.assert_allclose(ends(building, "door 1"), [[0.35, 2.4], [1.35, 2.4]])


def test_a_mixed_row() -> None:
    """Each its own size, side by side; a divider is as deep as the deeper of its two."""
    building = built({"cells": ["standard", "standard", "ambulant", "wheelchair"]})
    assert Counter(s.kind for s in building.sheets) == {"panel": 5 + 8, "door": 4}
    x = [0, 0.85, 1.7, 2.5, 4.0]
    depth = [1.5, 1.5, 1.5, 2.2, 2.2]
    for i in range(5):
        np.testing.assert_allclose(ends(building, f"divider {i}"), [[x[i], 0], [x[i], depth[i]]], atol=1e-12)
    np.testing.assert_allclose(ends(building, "door 4"), [[2.8, 2.2], [3.7, 2.2]])
    np.testing.assert_allclose(ends(building, "front 3 right")[1], [2.5, 1.5])


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, -33.0])
def test_back_to_back_rows_share_a_rear_panel(turn_deg: float) -> None:
    building = built({"count": 3, "back_to_back": True, "at": [3, 1], "turn_deg": turn_deg})
    panels = Counter(s.kind for s in building.sheets)
    assert panels == {"panel": 1 + 2 * (4 + 6), "door": 6}
    total = sum(s.polygon.area for s in building.sheets)
    assert total == pytest.approx(1.85 * (2.55 + 2 * (4 * 1.5 + 2.55)))
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    np.testing.assert_allclose(
        (ends(building, "rear divider 3") - [3, 1]) @ turn.T, [[2.55, 0], [2.55, -1.5]], atol=1e-9
    )
    np.testing.assert_allclose((ends(building, "rear") - [3, 1]) @ turn.T, [[0, 0], [2.55, 0]], atol=1e-9)
    # One panel is crossed between two cubicles back to back.
    rays = RayScene(building)
    start, end = np.array([[0.4, 0.7], [0.4, -0.7]]) @ turn + [3, 1]
    met = rays.crossings(rays.segments(np.array([*start, 1.0]), np.array([[*end, 1.0]])), 5.8, "averaged")
    assert [crossing.object for crossing in met] == ["WC/rear"]


@pytest.mark.parametrize("angle", [15.0, 30.0, 60.0, 90.0])
@pytest.mark.parametrize("opens", ["inward", "outward"])
def test_a_door_ajar(angle: float, opens: str) -> None:
    """Hinged at its left post, 0.6 m wide: its edge lies at 0.6·(cos, ±sin) from there."""
    building = built({"count": 1, "doors": {"ajar_deg": angle}, "opens": opens})
    a = np.radians(angle)
    way = 1 if opens == "outward" else -1
    np.testing.assert_allclose(
        ends(building, "door 1"),
        [[0.125, 1.5], [0.125 + 0.6 * np.cos(a), 1.5 + way * 0.6 * np.sin(a)]],
        atol=1e-9,
    )
    (door,) = (s for s in building.sheets if s.name == "WC/door 1")
    assert (door.kind, door.polygon.area) == ("leaf", pytest.approx(0.6 * 1.85))


def test_open_is_square_and_by_kind_outward() -> None:
    building = built({"cells": ["standard", "wheelchair"], "doors": "open"})
    np.testing.assert_allclose(ends(building, "door 1"), [[0.125, 1.5], [0.125, 0.9]])
    np.testing.assert_allclose(ends(building, "door 2"), [[1.15, 2.2], [1.15, 3.1]])
    mirrored = built({"count": 1, "kind": "wheelchair", "back_to_back": True, "doors": ["closed", "open"]})
    np.testing.assert_allclose(ends(mirrored, "rear door 1"), [[0.3, -2.2], [0.3, -3.1]])


def test_infrared_sees_through_the_gap_of_a_door_ajar() -> None:
    """From in front a point behind is hidden by the door at 0° and free through what 60° leaves open."""
    start, inside = np.array([0.75, 2.4, 1.2]), np.array([[0.68, 0.9, 1.2]])
    for angle, hidden in (("closed", True), ({"ajar_deg": 60}, False)):
        rays = RayScene(built({"count": 1, "doors": angle}))
        assert rays.infrared_blocked(rays.segments(start, inside)).tolist() == [hidden]


def test_doors_one_by_one_and_both_rows() -> None:
    states = ["closed", {"ajar_deg": 20}, "open", "closed"]
    row = Cubicles.model_validate({**ROW, "count": 2, "back_to_back": True, "doors": states})
    assert row.door_angles == [0, 20, 90, 0]
    only("doors-count", cubicles=[{**ROW, "count": 2, "back_to_back": True, "doors": ["open", "closed"]}])


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ({}, "count-or-cells"),
        ({"count": 2, "cells": ["standard"]}, "count-or-cells"),
        ({"cells": ["standard"], "kind": "ambulant"}, "count-or-cells"),
        ({"count": 1, "width": 0.5}, "door-too-wide"),
        ({"cells": ["wheelchair", "standard"], "door_width": 0.9}, "door-too-wide"),
        ({"count": 1, "doors": {"ajar_deg": 120}}, "door-through-panel"),
        ({"count": 2, "doors": ["closed", {"ajar_deg": 91}]}, "door-through-panel"),
        ({"count": 1, "floor_gap": 2}, "no-panel"),
    ],
)
def test_what_is_refused(row: dict[str, Any], code: str) -> None:
    only(code, cubicles=[{**ROW, **row}])


def test_headroom() -> None:
    """Panels end below what covers them; where people cannot stand upright there is a warning."""
    low = {**ROOM, "height": 1.95}
    only("cubicle-above-ceiling", rooms=[low], cubicles=[{**ROW, "count": 2}])
    building = build(scene(rooms=[low], cubicles=[{**ROW, "count": 2, "top": 1.9}]))
    assert [p.code for p in building.warnings] == ["low-headroom"]
    roof = {"kind": "mono", "direction_deg": 0, "eaves": 1.5, "ridge_height": 5, "construction": "steel-panel"}
    sloped = {k: v for k, v in ROOM.items() if k != "height"} | {"roof": roof}
    # 1.5 m at x = −2, 0.25 m higher each metre: 2.0 m at x = 0, 2.25 m at x = 1.
    assert not build(scene(rooms=[sloped], cubicles=[{**ROW, "count": 2}])).warnings
    only("cubicle-above-ceiling", rooms=[sloped], cubicles=[{**ROW, "at": [-0.5, 0], "count": 2}])


def test_sanitary_ware_blocks() -> None:
    """Sizes are from memory: what counts is that each stands against its wall, inside its size."""
    kinds = ("wc", "urinal", "basin")
    for kind in kinds:
        building = build(scene(fixtures=[{"name": "F", "kind": kind, "at": [2, 1], "turn_deg": 90, "count": 2}]))
        low = np.concatenate([building.boxes.footprints().min(axis=(0, 1)), [building.boxes.centre[0, 2]]])
        assert set(building.boxes.kinds) == {"fixture"}
        assert low[1] == pytest.approx(1)
        assert building.boxes.footprints()[..., 0].max() == pytest.approx(2)  # turned by 90°, y runs to −x
        assert len(building.boxes) == (4 if kind == "wc" else 2)
    own = {"name": "F", "kind": "basin", "at": [0, 0], "size": [0.6, 0.5, 0.2], "base": 0.7}
    boxes = build(scene(rooms=[{**ROOM, "floor": 1}], fixtures=[own])).boxes
    np.testing.assert_allclose(boxes.centre, [[0.3, 0.25, 1.8]])


def test_a_mirror_stops_both() -> None:
    rays = RayScene(build(scene(fixtures=[{"name": "M", "kind": "mirror", "at": [0, 0], "count": 2, "pitch": 1}])))
    segments = rays.segments(np.array([0.3, -1, 0.9]), np.array([[0.3, 1, 1.5], [0.3, 1, 0.9]]))
    assert rays.infrared_blocked(segments).tolist() == [True, False]
    assert rays.microwave_loss_db(segments, 5.8, "averaged").tolist() == [np.inf, 0]


def test_fixtures_take_only_what_they_are_made_of() -> None:
    fixture = {"name": "F", "kind": "mirror", "at": [0, 0], "material": "metal"}
    only("not-for-this-kind", fixtures=[fixture])
    only("not-for-this-kind", fixtures=[{**fixture, "kind": "wc", "material": "ceramic", "construction": "glass-6"}])
    only("unknown-material", fixtures=[{**fixture, "kind": "wc", "material": "ceramics"}])

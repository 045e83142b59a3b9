"""Screens on desks, tables, and where people sit."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import scene

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.errors import InputError

ROW = {"name": "row", "at": [1, 2]}


def built(**parts: Any) -> Building:
    return build(scene(**parts))


def extents(building: Building, part: str) -> dict[str, np.ndarray]:
    """Lowest and highest corner (2, 3) of the sheets whose name holds a word."""
    found = {}
    for sheet in building.sheets:
        if part in sheet.name:
            points = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))
            found[sheet.name] = np.stack([points.min(0), points.max(0)])
    return found


def test_a_back_screen_stands_on_the_desk() -> None:
    """From the top, 0.73 m, to 1.2 m above the floor, along the far edge."""
    found = extents(built(desks=[{**ROW, "count": 2, "screen": {}}]), "screen")
    assert list(found) == ["row/screen 1 back", "row/screen 2 back"]
    np.testing.assert_allclose(found["row/screen 2 back"], [[2.6, 2.78, 0.73], [4.2, 2.78, 1.2]])


def test_neighbours_share_their_side_screen() -> None:
    """Three desks pushed together with screens left and right: four in all; apart, six."""
    screen = {"height": 1.4, "sides": ["left", "right"], "construction": "glass-6"}
    together = built(desks=[{**ROW, "count": 3, "screen": screen}])
    assert len(extents(together, "screen")) == 4
    assert len(extents(built(desks=[{**ROW, "count": 3, "gap": 0.2, "screen": screen}]), "screen")) == 6
    sides = sorted(float(box[0, 0]) for box in extents(together, "screen").values())
    np.testing.assert_allclose(sides, [1.02, 2.6, 4.2, 5.78])
    assert {s.construction.name for s in together.sheets if "screen" in s.name} == {"glass-6"}


def test_a_screen_below_its_desk_is_refused() -> None:
    with pytest.raises(InputError, match="screen-too-low"):
        built(desks=[{**ROW, "screen": {"height": 0.4}}])


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 200.0])
def test_seats_at_desks(turn_deg: float) -> None:
    """Middle of each desk's near side, 0.25 m before it (half a body 0.5 m deep, 3GPP [2nd]), looking at it."""
    building = built(
        rooms=[
            {"name": "r", "outline": [[-9, -9], [9, -9], [9, 9], [-9, 9]], "floor": 2, "height": 3, "walls": "none"}
        ],
        desks=[{**ROW, "turn_deg": turn_deg, "count": 2, "gap": 0.4, "base": 0.1, "seat": True}],
    )
    a = np.radians(turn_deg)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    places = (np.array([seat.at for seat in building.seats]) - [1, 2]) @ turn.T
    np.testing.assert_allclose(places, [[0.8, -0.25], [2.8, -0.25]], atol=1e-9)
    assert [(seat.name, seat.ground, seat.heading_deg) for seat in building.seats] == [
        ("row/seat 1", 2.1, (90 + turn_deg) % 360),
        ("row/seat 2", 2.1, (90 + turn_deg) % 360),
    ]
    assert not built(desks=[ROW]).seats


def test_a_rectangular_table_and_its_places() -> None:
    """2.4 × 1.0 m holds four on each long side (0.6 m each); the odd one takes the left end."""
    table = {"name": "T", "centre": [4, 3], "size": [2.4, 1.0]}
    building = built(tables=[{**table, "seats": 9}])
    np.testing.assert_allclose(extents(building, "top")["T/top"], [[2.8, 2.5, 0.74], [5.2, 3.5, 0.74]])
    places = {seat.at: seat.heading_deg for seat in building.seats}
    assert len(places) == 9
    for x in (3.1, 3.7, 4.3, 4.9):
        near, far = ((p, h) for p, h in places.items() if p[0] == pytest.approx(x))
        assert {round(near[0][1], 9), round(far[0][1], 9)} == {2.25, 3.75}
    (left,) = ((p, h) for p, h in places.items() if p[0] == pytest.approx(2.55))
    assert left == ((pytest.approx(2.55), pytest.approx(3.0)), 0.0)
    ten = built(tables=[{**table, "seats": 10}]).seats
    assert sum(seat.at[1] == pytest.approx(3.0) for seat in ten) == 2


@pytest.mark.parametrize("diameter", [0.9, 1.5])
def test_a_round_table_and_its_places(diameter: float) -> None:
    building = built(tables=[{"name": "T", "centre": [4, 3], "diameter": diameter, "seats": 5, "turn_deg": 20}])
    assert extents(building, "top")
    (top,) = building.sheets
    assert top.polygon.area == pytest.approx(np.pi * diameter**2 / 4, rel=1e-9)
    for k, seat in enumerate(building.seats):
        out = np.array(seat.at) - [4, 3]
        assert np.hypot(*out) == pytest.approx(diameter / 2 + 0.25)
        assert np.degrees(np.arctan2(out[1], out[0])) % 360 == pytest.approx(20 + 72 * k)
        assert (seat.heading_deg - 180) % 360 == pytest.approx(20 + 72 * k)


@pytest.mark.parametrize(
    ("table", "code"),
    [
        ({"size": [2.4, 1.0], "seats": 11}, "table-too-small"),
        ({"diameter": 0.9, "seats": 9}, "table-too-small"),
        ({"seats": 2}, "table-shape"),
        ({"size": [2, 1], "diameter": 1}, "table-shape"),
        ({"diameter": 1, "top": "oak"}, "unknown-construction"),
    ],
)
def test_tables_refused(table: dict[str, Any], code: str) -> None:
    with pytest.raises(InputError) as caught:
        built(tables=[{"name": "T", "centre": [0, 0], **table}])
    assert [p.code for p in caught.value.problems] == [code]

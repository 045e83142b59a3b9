"""Sample points and the areas they stand for, against shapely's areas of the outlines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from small_scenes import scene

from raycover.building.build import build
from raycover.errors import InputError, Problem
from raycover.solving.surfaces import Surface, make_surfaces


def made(*, grid: float = 0.25, planes: Any = None, **parts: Any) -> tuple[list[Surface], list[Problem]]:
    whole = scene(grid=grid, planes=planes or [{"name": "floor", "height": 0}], **parts)
    return make_surfaces(whole, build(whole))


def room(name: str, outline: Any, **more: Any) -> dict[str, Any]:
    return {"name": name, "outline": np.asarray(outline).tolist(), "height": 3, "walls": "none", **more}


def turned(points: Any, turn_deg: float, at: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    a = np.radians(turn_deg)
    return np.asarray(points, float) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + at


def check(surface: Surface, outlines: list[Any], rel: float) -> None:
    """Areas add up to each outline's and no sample point lies outside its room."""
    xx, yy = np.meshgrid(surface.x, surface.y)
    for index, outline in enumerate(outlines):
        mine = surface.room == index
        polygon = shapely.Polygon(outline)
        assert surface.area[mine].sum() == pytest.approx(polygon.area, rel=rel)
        assert shapely.dwithin(polygon, shapely.points(xx[mine], yy[mine]), 1e-9).all()
    assert (surface.area[~surface.inside] == 0).all()
    assert np.array_equal(surface.inside, surface.room >= 0)


RECTILINEAR = {
    "on the grid": [[0, 0], [8, 0], [8, 5], [0, 5]],
    "off the grid": [[0.13, -0.07], [8.31, -0.07], [8.31, 5.02], [0.13, 5.02]],
    "L": [[0, 0], [8.1, 0], [8.1, 3.37], [4.44, 3.37], [4.44, 6.2], [0, 6.2]],
    "U": [[0, 0], [9, 0], [9, 6.1], [6.3, 6.1], [6.3, 2.2], [2.9, 2.2], [2.9, 6.1], [0, 6.1]],
    "collinear points": [[0, 0], [3, 0], [8.1, 0], [8.1, 5], [0, 5], [0, 2.5]],
}
ODD = {
    "triangle": [[0, 0], [9.3, 1.1], [2.2, 7.7]],
    "turned": turned([[0, 0], [9, 0], [9, 5], [0, 5]], 33, (150, -80)),
    "turned a little": turned([[0, 0], [40, 0], [40, 5], [0, 5]], 0.01),
    "concave": [[0, 0], [10, 0.4], [9.5, 8], [5, 2.2], [0.7, 7.9]],
    "sharp": [[0, 0], [12, 0.6], [12, 5], [0.5, 0.8]],
}


@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize("name", RECTILINEAR)
def test_rectilinear_rooms(name: str, clockwise: bool) -> None:
    outline = RECTILINEAR[name][::-1] if clockwise else RECTILINEAR[name]
    (surface,), _ = made(rooms=[room("a", outline)])
    check(surface, [outline], 1e-9)


@pytest.mark.parametrize("clockwise", [False, True])
@pytest.mark.parametrize("name", ODD)
def test_odd_outlines(name: str, clockwise: bool) -> None:
    outline = np.asarray(ODD[name])[:: -1 if clockwise else 1]
    (surface,), _ = made(rooms=[room("a", outline)])
    check(surface, [outline], 1e-6)


@given(
    x=st.floats(-50, 50),
    y=st.floats(-50, 50),
    split=st.floats(2, 8),
    turn_deg=st.floats(0, 360),
    grid=st.floats(0.1, 0.7),
)
def test_two_rooms_side_by_side(x: float, y: float, split: float, turn_deg: float, grid: float) -> None:
    """No cell is in both, none of the floor is lost, whatever the turn, place and grid."""
    outlines = [
        turned(o, turn_deg, (x, y))
        for o in ([[0, 0], [split, 0], [split, 6], [0, 6]], [[split, 0], [11, 0], [11, 6], [split, 6]])
    ]
    (surface,), _ = made(grid=grid, rooms=[room(n, o) for n, o in zip("ab", outlines, strict=True)])
    check(surface, outlines, 1e-6)


def test_cells_on_a_shared_border_have_one_owner() -> None:
    """Centres exactly on the wall between two rooms, upright and level."""
    outlines = [
        [[0, 0], [2.125, 0], [2.125, 2.125], [0, 2.125]],
        [[2.125, 0], [4, 0], [4, 2.125], [2.125, 2.125]],
        [[0, 2.125], [4, 2.125], [4, 5], [0, 5]],
    ]
    (surface,), _ = made(rooms=[room(n, o) for n, o in zip("abc", outlines, strict=True)])
    check(surface, outlines, 1e-9)
    assert (surface.room >= 0).all()


def test_cell_centres() -> None:
    (surface,), _ = made(rooms=[room("a", [[1, 2], [3, 2], [3, 3], [1, 3]])])
    np.testing.assert_allclose(surface.x, 1.125 + 0.25 * np.arange(8))
    np.testing.assert_allclose(surface.y, 2.125 + 0.25 * np.arange(4))
    assert surface.edges == pytest.approx((1, 3, 2, 3))
    np.testing.assert_allclose(surface.area, 0.0625)


HALL = [[0, 0], [20, 0], [20, 10], [0, 10]]


def covered(surface: Surface) -> float:
    return 200 - float(surface.area.sum())


def test_solids_are_left_out_where_they_stand() -> None:
    """2×1 m from 0.5 to 1.5 m up: floor and ceiling planes are whole, the one between lacks 2 m²."""
    box = {"name": "b", "centre": [5, 5], "size": [2, 1, 1], "base": 0.5, "material": "metal"}
    planes = [{"name": f"p{h}", "height": h} for h in (0.0, 0.4, 0.75, 1.6)]
    surfaces, _ = made(rooms=[room("a", HALL)], solids=[box], planes=planes)
    assert [covered(s) for s in surfaces] == pytest.approx([0, 0, 2, 0])
    (low,), _ = made(rooms=[room("a", HALL)], solids=[{**box, "base": 0}])
    assert covered(low) == pytest.approx(2)


def test_a_turned_solid_takes_its_footprint() -> None:
    box = {"name": "b", "centre": [8, 5], "size": [6, 3, 1], "turn_deg": 33, "material": "metal"}
    (surface,), _ = made(rooms=[room("a", HALL)], solids=[box], grid=0.05)
    assert covered(surface) == pytest.approx(18, rel=0.01)


@pytest.mark.parametrize("goods", [True, False])
@pytest.mark.parametrize("turn_deg", [0, 180, 90])
def test_racks_are_left_out_loaded_or_not(goods: bool, turn_deg: float) -> None:
    """3 bays of 2.8 m and the last upright: 8.5 by 1.1 m; loads stand out 50 mm front and rear."""
    rack = {"name": "R", "at": [10.02, 5.02], "turn_deg": turn_deg, "bays": 3, "levels": 2, "goods": goods}
    hall = HALL if turn_deg != 90 else turned(HALL, 90, (14, 0))
    (surface,), _ = made(rooms=[room("a", hall)], racking=[rack], grid=0.1)
    assert covered(surface) == pytest.approx(8.5 * (1.2 if goods else 1.1), rel=0.03)


def test_a_person_needs_every_height_free() -> None:
    shelf = {"name": "b", "centre": [5, 5], "size": [2, 1, 0.2], "base": 1.5, "material": "metal"}
    (surface,), _ = made(
        rooms=[room("a", HALL)], solids=[shelf], planes=[{"name": "p", "target": "person", "heights": [0.3, 1.6]}]
    )
    assert covered(surface) == pytest.approx(2)


def test_floors_at_different_heights() -> None:
    rooms = [room("low", HALL), room("high", [[20, 0], [30, 0], [30, 10], [20, 10]], floor=3.2)]
    (surface,), _ = made(rooms=rooms, planes=[{"name": "desk", "height": 0.75}])
    row, column = np.nonzero(surface.inside)
    points = surface.points(row, column, 0.75)
    assert set(points[points[:, 0] < 20, 2].tolist()) == {0.75}
    assert set(points[points[:, 0] > 20, 2].round(9).tolist()) == {3.95}
    (level,), _ = made(
        rooms=[room("a", HALL, floor=3.2)],
        solids=[{"name": "b", "centre": [5, 5], "size": [2, 1, 1], "material": "metal"}],
    )
    assert covered(level) == pytest.approx(2)


@pytest.mark.parametrize("high", [10.0, 10.05, 10.2])
def test_extents(high: float) -> None:
    """Outside rooms too; a cell whose centre falls past the end gives its area to its neighbour."""
    (surface,), _ = made(planes=[{"name": "yard", "height": 0, "extent": [-5, -4, high, 4]}])
    assert surface.area.sum() == pytest.approx((high + 5) * 8)
    row, column = np.nonzero(surface.inside)
    points = surface.points(row, column, 0.0)
    assert points[:, 0].max() <= high
    assert surface.room_names == ("extent",)


def test_extent_over_rooms_takes_their_floor() -> None:
    (surface,), _ = made(
        rooms=[room("a", [[0, 0], [2, 0], [2, 2], [0, 2]], floor=1.5)],
        planes=[{"name": "yard", "height": 0.5, "extent": [-2, 0, 2, 2]}],
    )
    row, column = np.nonzero(surface.inside)
    z = surface.points(row, column, 0.5)[:, 2]
    assert z.tolist() == np.where(surface.x[column] > 0, 2.0, 0.5).tolist()


def test_coarse_grid_is_warned_about() -> None:
    _, warnings = made(rooms=[room("small", [[0, 0], [2, 0], [2, 2], [0, 2]]), room("large", turned(HALL, 0, (2, 0)))])
    assert [(w.code, w.severity) for w in warnings] == [("coarse-grid", "warning")]
    assert '"small" has only 64 cells' in warnings[0].message
    assert made(rooms=[room("small", [[0, 0], [2.5, 0], [2.5, 2.5], [0, 2.5]])])[1] == []


def test_stacked_rooms_make_storeys() -> None:
    """One surface a plane and storey, named by level; an extent is one surface whatever lies above."""
    rooms = [room("a", HALL), room("b", HALL, floor=3)]
    surfaces, _ = made(rooms=rooms)
    assert [s.name for s in surfaces] == ["floor +0.00", "floor +3.00"]
    assert [s.floor for s in surfaces] == [0.0, 3.0]
    surfaces, _ = made(rooms=rooms, planes=[{"name": "yard", "height": 0, "extent": [0, 0, 5, 5]}])
    assert len(surfaces) == 1


def test_a_strip_of_rounding_is_no_storey() -> None:
    """Two rooms over one another by half a millimetre, as turned plans typed to the millimetre may be."""
    rooms = [room("a", HALL), room("b", [[19.9995, 0], [30, 0], [30, 10], [19.9995, 10]], floor=3)]
    assert len(made(rooms=rooms)[0]) == 1


def test_a_plane_needs_a_place() -> None:
    with pytest.raises(InputError) as caught:
        made()
    assert [p.code for p in caught.value.problems] == ["plane-nowhere"]

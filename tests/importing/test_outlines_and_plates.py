"""Rooms' outlines grown to centre lines, and slabs shared out: plain geometry with known answers."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from raycover.importing.outlines import WallSides, apart, from_walls, to_centre_lines, without_holes
from raycover.importing.plates import Plate, Room, facets, fit_walls, lay_floors, left_over, on_plane
from raycover.importing.walls import Wall


def wall(*line: tuple[float, float], thickness: float = 0.2, base: float = 0.0, top: float = 2.8) -> Wall:
    return Wall("w", np.array(line, float), base, top, thickness, "brick-100")


BOX = [wall((0, 0), (6, 0)), wall((6, 0), (6, 4), thickness=0.4), wall((6, 4), (0, 4)), wall((0, 4), (0, 0))]


def test_an_outline_grows_to_each_walls_line() -> None:
    inside = shapely.box(0.1, 0.1, 5.8, 3.9)
    grown = to_centre_lines(inside, WallSides(BOX), 0, 2.5)
    assert grown.equals(shapely.box(0, 0, 6, 4))
    # Lining of 20 mm before the wall's face: still that wall.
    assert to_centre_lines(inside.buffer(-0.02, join_style="mitre"), WallSides(BOX), 0, 2.5).equals(grown)
    # Drawn at the centre lines already: stays.
    assert to_centre_lines(grown, WallSides(BOX), 0, 2.5).equals(grown)
    # On another storey there are no walls.
    assert to_centre_lines(inside, WallSides(BOX), 3, 5.5).equals(inside)


def test_an_edge_before_two_walls_steps_across() -> None:
    walls = [*BOX[1:], wall((0, 0), (3, 0)), wall((3, -0.1), (6, -0.1), thickness=0.4)]
    grown = to_centre_lines(shapely.box(0.1, 0.1, 5.8, 3.9), WallSides(walls), 0, 2.5)
    assert grown.area == pytest.approx(24 + 3 * 0.1, abs=0.03)
    assert grown.bounds == pytest.approx((0, -0.1, 6, 4))


def test_a_notch_round_a_column_stays() -> None:
    inside = shapely.box(0.1, 0.1, 5.8, 3.9).difference(shapely.box(0, 0, 0.5, 0.5))
    grown = to_centre_lines(inside, WallSides(BOX), 0, 2.5)
    assert grown.area == pytest.approx(24 - 0.25)


def test_rooms_from_loops_of_walls() -> None:
    walls = [*BOX, wall((2, 0), (2, 4)), wall((2, 2), (4, 2)), wall((6, 0), (6.2, 0)), wall((6.2, 0), (6.2, 4)),
             wall((6.2, 4), (6, 4))]  # fmt: skip
    assert [loop.area for loop in from_walls(walls)] == pytest.approx([16, 8])  # the cavity is no room


def test_holes_are_cut_away() -> None:
    ring = shapely.box(0, 0, 6, 4).difference(shapely.box(1, 1, 2, 2)).difference(shapely.box(4, 2, 5, 3))
    pieces = without_holes(ring)
    assert all(not len(piece.interiors) for piece in pieces)
    assert shapely.union_all(pieces).equals(ring)


def test_overlapping_rooms_are_put_apart() -> None:
    outlines = [shapely.box(0, 0, 4, 4), shapely.box(3.9, 0, 8, 4), shapely.box(0, 0, 8, 4)]
    done = apart(outlines, [(0, 2.5), (0, 2.5), (2.6, 5)])
    assert done[0] is outlines[0]
    assert done[1].bounds == pytest.approx((4, 0, 8, 4), abs=0.003)
    assert done[2] is outlines[2]


def test_undersides_of_a_body() -> None:
    box = trimesh.creation.box((4, 3, 0.2))
    ((plane, plan),) = facets(np.asarray(box.vertices), np.asarray(box.faces))
    assert plan.area == pytest.approx(12)
    assert on_plane(np.array([[1.0, 1.0]]), plane)[0].tolist() == pytest.approx([1, 1, -0.1])


def storeys() -> tuple[list[Room], list[Plate]]:
    """Two rooms on each of two storeys on three slabs; the first floor is left open over a stair."""
    rooms = []
    for level in (0.0, 3.0):
        for x in (0.0, 4.0):
            outline = shapely.box(x, 0, x + 4, 5)
            rooms.append(Room(f"{x}{level}", outline, level, 2.7, outline.buffer(-0.1, join_style="mitre")))
    whole = shapely.box(-0.1, -0.1, 8.1, 5.1)
    well = whole.difference(shapely.box(1, 1, 2, 4))
    balcony = shapely.union_all([well, shapely.box(8, 0, 9.5, 5)])
    plates = [
        Plate("ground", whole, -0.3, 0.0, "concrete-200"),
        Plate("first", balcony, 2.75, 3.0, "concrete-150"),
        Plate("roof", whole, 5.75, 6.0, "concrete-150"),
    ]
    return rooms, plates


def test_every_slab_is_there_once() -> None:
    rooms, plates = storeys()
    assert lay_floors(rooms, plates) == []
    assert [room.floor_construction for room in rooms] == ["concrete-200"] * 2 + ["concrete-150"] * 2
    assert [room.ceiling for room in rooms] == ["none"] * 2 + ["concrete-150"] * 2
    assert [room.height for room in rooms] == pytest.approx([2.7, 2.7, 2.75, 2.75])
    ((hole, through),) = rooms[2].voids
    assert hole.equals(shapely.box(1, 1, 2, 4))
    assert through == "floor"
    (balcony,) = left_over(plates)
    assert balcony.corners[:, 2].tolist() == [3.0] * 4
    assert balcony.corners[:, 0].max() == 9.5


def test_finishes_lie_on_the_slab_and_a_bare_room_is_told() -> None:
    outline = shapely.box(0, 0, 4, 4)
    room = Room("r", outline, 0.06, 2.5, outline)
    screed = Plate("screed", outline, 0.0, 0.06, {"layers": [{"material": "concrete", "thickness_mm": 60}]})
    slab = Plate("slab", outline, -0.2, 0.0, {"layers": [{"material": "wood", "thickness_mm": 200}]})
    twice = Plate("slab again", outline, -0.2, 0.0, slab.construction)
    lost = Room("lost", shapely.box(10, 0, 12, 2), 0, 2.5, shapely.box(10, 0, 12, 2))
    assert lay_floors([room, lost], [slab, screed, twice]) == [lost]
    assert [layer["thickness_mm"] for layer in room.floor_construction["layers"]] == [60, 200]
    assert left_over([slab, screed, twice]) == []


def test_walls_reach_the_sheets_of_their_slabs() -> None:
    """Ending at a slab's underside, a wall is brought to where the slab's sheet lies; one through it is left."""
    rooms, plates = storeys()
    plans = [plate.plan for plate in plates]
    lay_floors(rooms, plates)
    walls = [
        wall((0, 0), (8, 0), top=2.75),
        wall((0, 5), (8, 5), top=6.0),
        wall((0, 0), (0, 5), base=3.0, top=5.75),
        wall((4, 0), (4, 5), top=2.2),
    ]
    fit_walls(walls, plates, plans)
    assert [(w.base, w.top) for w in walls] == [(0, 3.0), (0, 5.75), (3.0, 5.75), (0, 2.2)]

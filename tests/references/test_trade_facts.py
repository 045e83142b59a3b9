"""Facts of the trade and what follows from them. Common practice, no source, each figure.

A pattern is written where it is used; asserted is what follows, worked by hand beside it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from small_scenes import detector, open_floor, pattern, scene

import raycover
from raycover.asking.probe import probe


def width_along(plane: raycover.solving.coverage.PlaneCoverage, axis: str) -> float:
    """Length (m) seen along an axis through the origin."""
    if axis == "x":
        row = int(np.argmin(np.abs(plane.y)))
        return float(plane.detected[row].sum()) * plane.surface.grid
    column = int(np.argmin(np.abs(plane.x)))
    return float(plane.detected[:, column].sum()) * plane.surface.grid


def test_general_ceiling_unit_lower_and_on_a_desk() -> None:
    """6 × 8 m from 2.5 m (common practice, no source): 4.8 × 6.4 m from 2 m, 4.2 × 5.6 m at a 0.75 m desk."""
    made = pattern({"rectangle": {"length": 8, "width": 6}}, mounting=2.5)
    lower = raycover.solve(open_floor(detector((0, 0), 2.0, made), half=6, grid=0.05))["floor"]
    assert width_along(lower, "x") == pytest.approx(6.4, abs=0.1)
    assert width_along(lower, "y") == pytest.approx(4.8, abs=0.1)
    desk = raycover.solve(open_floor(detector((0, 0), 2.5, made), half=6, grid=0.05, height=0.75))["floor"]
    assert width_along(desk, "x") == pytest.approx(5.6, abs=0.1)
    assert width_along(desk, "y") == pytest.approx(4.2, abs=0.1)


def test_dense_unit_holds_its_square_between_its_declarations() -> None:
    """20 × 20 m, mounted 2.5 to 10 m (common practice, no source): still 20 × 20 m from 6 m."""
    made = {
        "kind": "infrared",
        "declared": [
            {"mounting": h, "plane": 0, "motion": "tangential", "shape": {"rectangle": {"length": 20, "width": 20}}}
            for h in (2.5, 10)
        ],
    }
    floor = raycover.solve(open_floor(detector((0, 0), 6, made), half=12, grid=0.1))["floor"]
    assert floor.area_where(floor.detected) == pytest.approx(400, rel=0.01)
    # Above its highest declaration the angles stay, so the square grows; below, it shrinks: (2/2.5)² = 0.64.
    low = raycover.solve(open_floor(detector((0, 0), 2, made), half=12, grid=0.1))["floor"]
    assert low.area_where(low.detected) == pytest.approx(256, rel=0.02)


def test_person_behind_a_closed_cubicle_door() -> None:
    """12 m across in the open, through light panels without sight (common practice, no source).

    Worked by hand, coherent losses: unit at 2.5 m over (0, 0), person at (2, 0, 0.5), the door between them
    upright at x = 1. s = √(2² + 2²) = 2.828 m, incidence 45°; s0 = √(6² + 2.5²) = 6.5 m; 13 mm chipboard at 45°
    and 5.8 GHz costs 1.83 dB one way [C]. Margin = 40·log10(6.5 / 2.828) − 2·1.83 = 14.45 − 3.66 = 10.8 dB.
    """
    made = pattern({"circle": {"diameter": 12}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    room = {"name": "room", "outline": [[-3, -3], [3, -3], [3, 3], [-3, 3]], "height": 2.6, "walls": "brick-100"}
    door = {"layers": [{"material": "chipboard", "thickness_mm": 13}]}
    cubicles = {
        "name": "WC", "at": [3, -0.45], "turn_deg": 90, "count": 1, "width": 0.9, "depth": 2.0,
        "door_width": 0.6, "door": door,
    }  # fmt: skip
    closed = scene(
        rooms=[room],
        cubicles=[cubicles],
        detectors=[detector((0, 0), 2.5, made)],
        conditions={"losses": "coherent"},
    )
    (view,) = probe(closed, (2.0, 0.0, 0.5))
    assert [c.object for c in view.crossings] == ["WC/door 1"]
    assert view.crossings[0].incidence_deg == pytest.approx(45, abs=0.1)
    assert view.crossings[0].loss_db == pytest.approx(1.83, abs=0.01)
    assert view.margin_db == pytest.approx(40 * math.log10(6.5 / math.sqrt(8)) - 2 * 1.83, abs=0.03)
    assert view.detected
    # An infrared unit of the same footprint sees nobody there.
    infrared = pattern({"circle": {"diameter": 12}}, mounting=2.5)
    (view,) = probe(scene(rooms=[room], cubicles=[cubicles], detectors=[detector((0, 0), 2.5, infrared)]), (2, 0, 0.5))
    assert (view.detected, view.cause) == (False, "blocked")


@pytest.mark.parametrize(
    ("construction", "loss_db"),
    [("glass-6", 3.20), ("door-wood-40", 1.64), ("plasterboard-12.5", 0.92)],
)
def test_microwave_reaches_on_through_light_materials(construction: str, loss_db: float) -> None:
    """Through glass, wood, plasterboard (common practice, no source); reach shrinks by 10^(−L/20), L coherent [C].

    The wall stands square to the ray: unit and target both at 1 m, so normal incidence.
    """
    made = pattern({"circle": {"diameter": 12}}, mounting=1.0, motion="radial", frequency_ghz=5.8, reach_behind=1)
    wall = {"name": "wall", "line": [[1, -9], [1, 9]], "height": 3, "construction": construction}
    placed = scene(partitions=[wall], detectors=[detector((0, 0), 1.0, made)], conditions={"losses": "coherent"},
                   planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}])  # fmt: skip
    reach = math.sqrt(36 + 1) * 10 ** (-loss_db / 20)
    inside, outside = (probe(placed, (reach * f, 0, 1.0))[0] for f in (0.995, 1.005))
    assert inside.detected
    assert not outside.detected
    assert outside.cause == "material-loss"


def test_corridor_unit_reaches_both_ways_and_little_across() -> None:
    """10 m each way and 3 m wide from about 2.5 m (common practice, no source).

    A turned unit follows its corridor; on a plane 1 m up the reach surface is a little wider:
    √(10² + 2.5² − 1.5²) = 10.2 m each way.
    """
    made = pattern({"rectangle": {"length": 20, "width": 3}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    floor = raycover.solve(open_floor(detector((0, 0), 2.5, made, turn_deg=90), half=13, grid=0.05))["floor"]
    assert width_along(floor, "y") == pytest.approx(20, abs=0.1)
    assert width_along(floor, "x") == pytest.approx(3, abs=0.1)
    higher = raycover.solve(open_floor(detector((0, 0), 2.5, made), half=13, grid=0.05, height=1))["floor"]
    assert width_along(higher, "x") == pytest.approx(20.4, abs=0.1)


def test_quarter_mask_of_a_long_pattern() -> None:
    """A mask may blank up to a quarter of the pattern (common practice, no source).

    90° to one side of a 30 × 4 m field, from −45° to 45°, covers the end beyond the diagonals: half the area
    less two small triangles, (60 − 4) / 120 = 46.7 %, far more than a quarter; 90° of a circle is just a quarter.
    """
    long = pattern({"rectangle": {"length": 30, "width": 4}}, mounting=12, largest_mask_share=0.25)
    with pytest.raises(raycover.InputError, match=r"46\.7% of the pattern, 25% is the most"):
        open_floor(detector((0, 0), 12, long, masks=[{"from_deg": -45, "to_deg": 45}]))
    round_ = pattern({"circle": {"diameter": 12}}, mounting=2.5, largest_mask_share=0.25)
    allowed = open_floor(detector((0, 0), 2.5, round_, masks=[{"from_deg": -45, "to_deg": 45}]), half=7, grid=0.05)
    floor = raycover.solve(allowed)["floor"]
    assert floor.area_where(floor.detected) == pytest.approx(0.75 * math.pi * 36, rel=0.005)
    with pytest.raises(raycover.InputError, match="mask-too-large"):
        open_floor(detector((0, 0), 2.5, round_, masks=[{"from_deg": -46, "to_deg": 45}]))


def test_high_bay_unit_lower_down() -> None:
    """36 m across from 14 m (common practice, no source): 36·10/14 = 25.7 m from 10 m, 20.6 m from 8 m."""
    made = pattern({"circle": {"diameter": 36}}, mounting=14)
    for height, across in ((10, 25.7), (8, 20.6)):
        floor = raycover.solve(open_floor(detector((0, 0), height, made), half=20, grid=0.1))["floor"]
        assert width_along(floor, "x") == pytest.approx(across, abs=0.15)
        assert floor.area_where(floor.detected) == pytest.approx(math.pi * (36 * height / 14 / 2) ** 2, rel=0.005)


def test_what_two_racks_leave_of_an_aisle_pattern() -> None:
    """An aisle unit covering 30 × 4 m (common practice, no source), from 12 m, between racks 8 m high.

    Centred over a 2.7 m aisle the floor between the racks is seen whole, 30 × 2.7 m; the rest of the pattern
    falls on the racks. Hung 1 m to one side, over the far edge's side, the near rack's top edge, 0.35 m off,
    throws no shadow into the aisle, while across it the edge of the pattern, 2 m off, ends 1 m past the middle.
    """
    made = pattern({"rectangle": {"length": 30, "width": 4}}, mounting=12)
    racks = [
        {"name": name, "centre": [0, side * (1.35 + 0.55)], "size": [34, 1.1, 8], "material": "goods"}
        for name, side in (("left", 1), ("right", -1))
    ]
    for offset, width in ((0.0, 2.7), (1.0, 1.35 + 1.0)):
        floor = raycover.solve(open_floor(detector((0, offset), 12, made), half=18, grid=0.05, solids=racks))["floor"]
        x, y = np.meshgrid(floor.x, floor.y)
        aisle = shapely.contains_xy(shapely.box(-17, -1.35, 17, 1.35), x, y)
        assert floor.area_where(floor.detected & aisle) == pytest.approx(30 * width, rel=0.01)
        assert floor.area_where(floor.detected & ~aisle) == 0.0


def test_aisle_unit_in_real_racking_is_blind_to_the_next_aisle(depot) -> None:  # type: ignore[no-untyped-def]
    """In the depot example the aisle units trip nowhere in a neighbouring aisle at floor level."""
    floor = depot.coverage["floor"]
    names = depot.coverage.detector_names
    for name, centre in (("D1", 3.6), ("D4", 9.05), ("D5", 14.5)):
        patch = floor.patches[names.index(name)]
        y = floor.y[patch.rows]
        seen = y[(patch.margin_db >= 0).any(axis=1)]
        assert seen.min() > centre - 2.3
        assert seen.max() < centre + 2.3

"""What a coverage says: shares, counts, causes, the nearest detector, persons, motions."""

from __future__ import annotations

import math

import numpy as np
import pytest
from small_scenes import detector, open_floor, pattern, scene

import raycover
from raycover.asking.probe import probe
from raycover.solving.casting import CAUSES

ROOM = {"name": "room", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "height": 3, "walls": "brick-100"}
CIRCLE = pattern({"circle": {"diameter": 6}}, mounting=2.5)
MICROWAVE = pattern({"circle": {"diameter": 10}}, mounting=2.5, motion="radial", frequency_ghz=5.8)


def cause_at(made: raycover.Scene, *point: float, motion: str = "any") -> list[str]:
    return [view.cause for view in probe(made, point, motion=motion)]  # type: ignore[arg-type]


def test_shares_and_areas_add_up(example) -> None:  # type: ignore[no-untyped-def]
    for name, plane in example.coverage.items():
        assert plane.share == pytest.approx(plane.area_where(plane.detected) / plane.area_m2)
        assert 0 <= plane.assured_share <= plane.share <= 1
        rooms = plane.rooms()
        assert sum(area for area, _, _ in rooms.values()) == pytest.approx(plane.area_m2)
        assert sum(a * s for a, s, _ in rooms.values()) == pytest.approx(plane.area_where(plane.detected))
        assert sum(gap.area_m2 for gap in plane.gaps) == pytest.approx(plane.area_m2 * (1 - plane.share), abs=1e-6)
        assert np.isnan(plane.margin_db[~plane.surface.inside]).all()
        for raster in (plane.count, plane.cause, plane.best_detector):
            assert (raster[~plane.surface.inside] == -1).all()
            assert (raster[plane.surface.inside] >= 0).all()
        assert ((plane.cause == 0) == plane.detected)[plane.surface.inside].all()
        assert ((plane.count > 0) == plane.detected)[plane.surface.inside].all()
        assert (plane.gap > 0).sum() == (plane.surface.inside & ~plane.detected).sum()
        assert example.coverage.share(name) == plane.share


def test_examples_tell_their_story(depot, office, washroom) -> None:  # type: ignore[no-untyped-def]
    """Aisles seen, low screens and desks hide, every cubicle noticed with its door closed."""
    floor = depot.coverage["floor"]
    assert len(depot.coverage.units) >= 8
    x, y = np.meshgrid(floor.x, floor.y)
    for centre in (3.6, 9.05, 14.5):
        aisle = (np.abs(y - centre) < 1.4) & (x > 17) & (x < 45) & floor.surface.inside
        assert floor.detected[aisle].mean() > 0.97
    assert any(gap.blocked_by == "Low screen" for gap in office.coverage["floor"].gaps)
    assert office.coverage["desk"].share < office.coverage["person"].share
    person = washroom.coverage["person"]
    x, y = np.meshgrid(person.x, person.y)
    for cubicle in range(4):
        inside = (np.abs(x - (0.6 + 0.9 * (cubicle + 0.5))) < 0.35) & (y > 2.8) & (y < 4.1)
        assert person.detected[inside].mean() > 0.99
    corridor = person.surface.room_names.index("Corridor")
    assert person.detected[person.surface.room == corridor].any(), "microwave passes the brick: the overspill shows"


def test_map_and_probe_agree(example) -> None:  # type: ignore[no-untyped-def]
    rng = np.random.default_rng(5)
    plane = next(plane for plane in example.coverage.values() if len(plane.surface.heights) == 1)
    motion = plane.surface.motion
    rows, columns = np.nonzero(plane.surface.inside)
    for k in rng.choice(len(rows), 25, replace=False):
        row, column = rows[k], columns[k]
        (point,) = plane.surface.points(np.array([row]), np.array([column]), plane.surface.heights[0])
        views = probe(example.scene, tuple(point), motion=motion, building=example.building, rays=example.rays)
        best = max(view.margin_db for view in views)
        if np.isfinite(plane.margin_db[row, column]):
            assert plane.margin_db[row, column] == pytest.approx(best, abs=1e-3)
        else:
            assert best < -9 + 1e-6
        seen = sum(view.detected for view in views)
        assert plane.count[row, column] == seen
        if not seen:
            nearest = views[plane.best_detector[row, column]]
            assert CAUSES[plane.cause[row, column]] == nearest.cause


def test_causes_in_their_order() -> None:
    made = scene(rooms=[ROOM], detectors=[detector((2, 3), 2.5, CIRCLE, masks=[{"from_deg": 80, "to_deg": 100}])])
    assert cause_at(made, 3, 3, 0) == ["none"]
    assert cause_at(made, 7, 3, 0) == ["outside-lens"]
    assert cause_at(made, 2, 5, 0) == ["masked"]
    assert cause_at(made, 2, 7, 0) == ["outside-lens"]
    # Above the ceiling side of the lens nothing counts, however near.
    assert cause_at(made, 2, 3, 2.9) == ["outside-lens"]


def test_blocked_out_of_reach_and_material_loss() -> None:
    steel = {"name": "steel", "line": [[4, 0], [4, 6]], "height": 3, "construction": "steel-panel"}
    board = {**steel, "name": "board", "construction": "brick-215"}
    for partition, cause in ((steel, "blocked"), (board, "material-loss")):
        made = scene(rooms=[ROOM], partitions=[partition], detectors=[detector((2, 3), 2.5, MICROWAVE)])
        assert cause_at(made, 6, 3, 1) == [cause]
        assert cause_at(made, 7.9, 0.1, 0) == ["out-of-reach"]
    infrared = scene(rooms=[ROOM], partitions=[board], detectors=[detector((3.5, 3), 2.5, CIRCLE)])
    assert cause_at(infrared, 4.5, 3, 0) == ["blocked"]


def test_too_warm_where_twenty_degrees_would_do() -> None:
    """k = 0.367 at 30 °C: 20·log10 k = −8.7 dB. At the declared edge 0 dB becomes −8.7."""
    made = scene(rooms=[ROOM], detectors=[detector((3, 3), 2.5, CIRCLE)], conditions={"ambient_c": 30})
    (view,) = probe(made, (5.999, 3, 0))
    assert view.cause == "too-warm"
    assert view.margin_db == pytest.approx(20 * math.log10(0.367), abs=0.02)


def test_undeclared_motion_gives_no_margin() -> None:
    made = scene(rooms=[ROOM], detectors=[detector((3, 3), 2.5, CIRCLE)])
    (view,) = probe(made, (3, 3, 0), motion="presence")
    assert (view.margin_db, view.cause) == (-np.inf, "out-of-reach")


def test_any_motion_is_the_best_declared_one() -> None:
    both = {
        "kind": "infrared",
        "declared": [
            {"mounting": 2.5, "plane": 0, "motion": "tangential", "shape": {"circle": {"diameter": 6}}},
            {"mounting": 2.5, "plane": 0, "motion": "presence", "shape": {"rectangle": {"length": 8, "width": 1}}},
        ],
    }
    floor = raycover.solve(open_floor(detector((0, 0), 2.5, both), half=5, grid=0.05))["floor"]
    tongue = 2 * (8 / 2 - 3) * 1 + 2 * 1 * 3 - 2 * (9 * math.asin(0.5 / 3) + 0.5 * math.sqrt(9 - 0.25))
    assert floor.area_where(floor.detected) == pytest.approx(math.pi * 9 + tongue, rel=0.005)


def test_person_is_seen_if_any_height_is() -> None:
    wall = {"name": "low", "line": [[1.2, -4], [1.2, 4]], "height": 1.3, "construction": "chipboard-18"}
    wide = pattern({"circle": {"diameter": 12}}, mounting=2.5)
    half = {"half": 5, "grid": 0.1}
    person = {"height": None, "heights": [0.3, 1.0, 1.6], "target": "person"}
    by_height = [raycover.solve(open_floor(detector((0, 0), 2.5, wide), **half, height=h, partitions=[wall]))["floor"]
                 for h in (0.3, 1.0, 1.6)]  # fmt: skip
    plane = {"name": "floor", "extent": [-5, -5, 5, 5], **{k: v for k, v in person.items() if v is not None}}
    together = raycover.solve(
        scene(detectors=[detector((0, 0), 2.5, wide)], partitions=[wall], planes=[plane], grid=0.1)
    )
    expected = np.maximum.reduce([p.margin_db for p in by_height])
    assert together["floor"].margin_db == pytest.approx(expected, abs=1e-5)
    assert together["floor"].share > max(p.share for p in by_height)


def test_count_and_alone() -> None:
    pair = open_floor(detector((-1, 0), 2.5, CIRCLE, "A"), detector((1, 0), 2.5, CIRCLE, "B"), half=5, grid=0.05)
    floor = raycover.solve(pair)["floor"]
    lens = 2 * 9 * math.acos(1 / 3) - 2 * math.sqrt(9 - 1)  # two discs of radius 3, centres 2 m apart
    assert floor.area_where(floor.count == 2) == pytest.approx(lens, rel=0.01)
    (seen, alone), _ = floor.detector_areas()
    assert seen == pytest.approx(9 * math.pi, rel=0.01)
    assert alone == pytest.approx(9 * math.pi - lens, rel=0.02)


def test_one_thread_and_many_agree(depot) -> None:  # type: ignore[no-untyped-def]
    alone = raycover.solve(depot.scene, building=depot.building, threads=1)
    for name, plane in alone.items():
        assert np.array_equal(plane.margin_db, depot.coverage[name].margin_db, equal_nan=True)
        assert np.array_equal(plane.best_detector, depot.coverage[name].best_detector)


def test_no_detectors_at_all() -> None:
    floor = raycover.solve(scene(rooms=[ROOM]))["floor"]
    assert floor.share == 0
    assert [gap.area_m2 for gap in floor.gaps] == [pytest.approx(48)]
    assert CAUSES[floor.gaps[0].cause] == "out-of-reach"
    assert floor.gaps[0].widest_m == pytest.approx(6, abs=0.3)


def test_slow_backend_agrees_and_is_named() -> None:
    from raycover.building.build import build
    from raycover.rays.ray_scene import RayScene

    board = {"name": "board", "line": [[4, 0], [4, 4]], "height": 3, "construction": "plasterboard-12.5"}
    units = [detector((2, 3), 2.5, MICROWAVE, "H"), detector((5, 2), 2.5, CIRCLE, "P")]
    made = scene(rooms=[ROOM], partitions=[board], detectors=units, grid=0.5)
    building = build(made)
    fast = raycover.solve(made, building=building)
    slow = raycover.solve(made, building=building, rays=RayScene(building, "trimesh"))
    assert (fast.backend, slow.backend) == ("embree", "trimesh")
    for name in fast:
        assert slow[name].margin_db == pytest.approx(fast[name].margin_db, abs=1e-3, nan_ok=True)


def test_a_room_without_a_detector_asks_its_own_storey_first() -> None:
    """Upstairs, a far unit of that storey answers for an empty room, not the near one under its floor."""
    slab = {"floor_construction": "concrete-150", "height": 3, "walls": "brick-100"}
    low = {"name": "low", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "floor": 0, **slab}
    empty = {"name": "empty", "outline": [[0, 0], [4, 0], [4, 6], [0, 6]], "floor": 3, **slab}
    other = {"name": "other", "outline": [[4, 0], [8, 0], [8, 6], [4, 6]], "floor": 3, **slab}
    units = [
        detector((2, 3), 2.5, CIRCLE, "below", room="low"),
        detector((7.5, 3), 2.5, CIRCLE, "beside", room="other"),
    ]
    solved = raycover.solve(scene(rooms=[low, empty, other], detectors=units, grid=0.2))
    (gap,) = [g for g in solved["floor +3.00"].gaps if g.room == "empty"]
    assert gap.detector == "beside"

"""Ways by mirrors: one rule for maps, single points and traces; invariants; what is left out; what is refused."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from small_scenes import detector, pattern, scene

import raycover
from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.rays.reflecting import reflection_table
from raycover.scene.schema import Scene
from raycover.solving import coverage as coverage_module
from raycover.solving import paths
from raycover.solving.casting import cast, judge
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather, open_margin_db
from raycover.solving.paths import Traced, imaging, trace
from raycover.solving.surfaces import make_surfaces

ROUND = pattern({"circle": {"diameter": 12}}, mounting=1.2, motion="radial", frequency_ghz=5.8, reach_behind=1)
OBLONG = pattern({"rectangle": {"length": 14, "width": 5}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
MIRRORED = {"reflections": 1}
FLOOR = {"name": "floor", "height": 0}
CORNERS = [(0.0, 0.0), (8.0, 0.0), (8.0, 5.0), (4.5, 5.0), (4.5, 9.0), (0.0, 9.0)]


def place(x: float, y: float, turn_deg: float = 0.0, *, flipped: bool = False) -> list[float]:
    """A point of the plan, mirrored in x = 0 if wished, then turned about the origin."""
    x = -x if flipped else x
    turn = np.radians(turn_deg)
    return [float(x * np.cos(turn) - y * np.sin(turn)), float(x * np.sin(turn) + y * np.cos(turn))]


def building_parts(turn_deg: float = 0.0, *, flipped: bool = False) -> dict[str, Any]:
    """An L-shaped room of mixed walls with a screen, a machine and a door."""

    def at(x: float, y: float) -> list[float]:
        return place(x, y, turn_deg, flipped=flipped)

    walls = ["brick-100", "steel-panel", "stud-wall-100", "glass-6", "brick-215", "plasterboard-12.5"]
    outline = [at(*corner) for corner in CORNERS]
    room = {"name": "room", "outline": outline, "height": 3, "ceiling": "concrete-150", "walls": walls}
    screen = {"name": "screen", "line": [at(3, 2), at(3, 4.5)], "height": 2.1, "construction": "steel-panel"}
    board = {"name": "board", "line": [at(1, 6.5), at(4, 6.5)], "height": 2.4, "construction": "laminate-13"}
    machine = {
        "name": "machine", "centre": at(6.5, 1.2), "size": [1.2, 0.8, 1.6], "turn_deg": turn_deg, "material": "metal"
    }  # fmt: skip
    return {"rooms": [room], "partitions": [screen, board], "solids": [machine]}


def made(reflections: int = 1, made_of: Any = ROUND, at: tuple[float, float] = (1.7, 3.3), **more: Any) -> Scene:
    mounting = more.pop("mounting", 1.2)
    return scene(
        detectors=[detector(at, mounting, made_of, **more.pop("unit", {}))],
        conditions={"reflections": reflections},
        planes=[FLOOR],
        **{**building_parts(), "grid": 0.25, **more},
    )


def ready(one: Scene) -> tuple[Unit, RayScene, Weather]:
    building = build(one)
    (unit,) = make_units(one, building)
    return unit, RayScene(building), Weather.of(one)


def somewhere(n: int, seed: int = 3) -> NDArray[np.float64]:
    """Points within the L and a little beyond."""
    rng = np.random.default_rng(seed)
    return rng.uniform([-1, -1, 0.05], [9, 10, 2.9], (n, 3))


def traced(one: Scene, points: NDArray[np.float64]) -> Traced:
    unit, rays, weather = ready(one)
    return trace(unit, points, "any", rays, weather)


def test_trace_judge_map_and_probe_agree() -> None:
    one = made(made_of=OBLONG, mounting=2.4, unit={"masks": [{"from_deg": 60, "to_deg": 110, "loss_db": 6}]})
    unit, rays, weather = ready(one)
    (surface,), _ = make_surfaces(one, rays.building)
    patch = cast(unit, surface, rays, weather)
    assert patch is not None
    assert patch.mirrored is not None
    assert patch.mirrored.n_ways > 1000
    whole = np.full(surface.shape, -np.inf)
    whole[patch.window] = patch.margin_db
    rows, columns = np.nonzero(surface.inside)
    points = surface.points(rows, columns, 0.0)
    lifted = np.ones(len(points), bool)
    judged = judge(unit, points, "any", rays, weather, lifted=lifted)
    seen = whole[rows, columns]
    finite = np.isfinite(seen)
    assert finite.any()
    assert seen[finite] == pytest.approx(judged.margin_db[finite], abs=1e-3)
    assert (judged.margin_db[~finite] < -9).all()
    ways = trace(unit, points, "any", rays, weather, lifted=lifted)
    both = np.isfinite(judged.margin_db)
    assert ways.margin_db()[both] == pytest.approx(judged.margin_db[both], abs=1e-9)
    assert np.array_equal(np.isfinite(ways.margin_db()), both)
    assert ways.mirror[: len(points)].tolist() == [-1] * len(points)
    for k in (10, 200, 333):
        (view,) = probe(one, tuple(points[k]), building=rays.building, rays=rays)
        mine = np.flatnonzero(ways.point == k)
        assert view.margin_db == pytest.approx(judged.margin_db[k], abs=1e-6)
        each = [way.margin_db for way in view.ways]
        assert sorted(each) == pytest.approx(sorted(ways.way_margin_db()[mine]), abs=1e-6)
        assert [sum(c.loss_db for c in way.crossings) for way in view.ways if np.isfinite(way.margin_db)] == (
            pytest.approx(_losses(ways, mine, each), abs=0.01)
        )


def _losses(ways: Traced, mine: NDArray[np.intp], margins: list[float]) -> list[float]:
    """Crossings' losses of a point's ways, in the order of the margins given."""
    loss = np.bincount(ways.way, ways.loss_db, minlength=len(ways.point))[mine]
    own = ways.way_margin_db()[mine]
    return [float(loss[np.argmin(np.abs(own - m))]) for m in margins if np.isfinite(m)]


def test_straight_alone_is_what_it_was() -> None:
    """`reflections: 0`: the margin in the open less twice what is crossed, bit for bit, and no way by a mirror."""
    one = made(0)
    unit, rays, weather = ready(one)
    points = somewhere(500)
    judged = judge(unit, points, "any", rays, weather)
    assert unit.frequency_ghz is not None
    segments = rays.segments(unit.position, points)
    loss = rays.microwave_loss_db(segments, unit.frequency_ghz, weather.losses)
    open_db = open_margin_db(unit, tuple((points - unit.position).T), unit.footprints_for("any"), weather)
    assert np.array_equal(judged.margin_db, open_db + -2 * loss)
    assert np.array_equal(judged.straight_db, judged.margin_db)
    assert (trace(unit, points, "any", rays, weather).mirror == -1).all()
    assert raycover.solve(one).reflections is None


def test_swapping_unit_and_target_changes_nothing() -> None:
    """Reciprocity, the pattern a sphere, all at one height: every way by every mirror, forth and back."""
    points = somewhere(40, seed=8)
    points[:, 2] = 1.2
    inside = [p for p in points if build(made()).room_at(*p) is not None][:14]
    here = (1.7, 3.3)
    forth = traced(made(at=here), np.array(inside))
    for k, point in enumerate(inside):
        back = traced(made(at=(float(point[0]), float(point[1]))), np.array([[*here, 1.2]]))
        mine = forth.point == k
        assert sorted(back.way_margin_db()) == pytest.approx(sorted(forth.way_margin_db()[mine]), abs=0.02)
        assert sorted(back.mirror) == sorted(forth.mirror[mine])


@pytest.mark.parametrize("turn_deg", [0.0, 37.0])
@pytest.mark.parametrize("flipped", [False, True])
def test_turning_and_mirroring_the_scene_changes_nothing(turn_deg: float, flipped: bool) -> None:
    points = somewhere(300)
    here = traced(made(), points)
    at = place(1.7, 3.3, turn_deg, flipped=flipped)
    moved = points.copy()
    moved[:, :2] = [place(x, y, turn_deg, flipped=flipped) for x, y in points[:, :2]]
    one = made(at=(at[0], at[1]), unit={"turn_deg": turn_deg}, **building_parts(turn_deg, flipped=flipped))
    there = traced(one, moved)
    one_db, other_db = (np.maximum(ways.margin_db(), -40) for ways in (here, there))
    same = np.abs(one_db - other_db) < 0.02
    # A way that meets an edge within a millimetre may fall either side of it.
    assert same.mean() > 0.985
    assert (there.mirror >= 0).sum() == pytest.approx((here.mirror >= 0).sum(), rel=0.01)


def test_energy_never_grows() -> None:
    """What a sheet reflects to a point and passes to the point's image is no more than arrives there without it."""
    rng = np.random.default_rng(4)
    points = np.column_stack([rng.uniform(0.5, 6, 40), rng.uniform(-3, 3, 40), rng.uniform(0.2, 2.5, 40)])
    images = points * [-1, 1, 1]
    extent = {"planes": [{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}]}
    for name in ("plasterboard-12.5", "glass-6", "brick-215", "laminate-13", "double-glazing-6-16-6", "steel-panel"):
        wall = {"name": "wall", "line": [[0, -30], [0, 30]], "height": 30, "base": -12, "construction": name}
        one = scene(partitions=[wall], detectors=[detector((2, 0), 1.2, ROUND)], conditions=MIRRORED, **extent)
        ways = traced(one, np.concatenate([points, images]))
        power = 10 ** (ways.way_margin_db() / 20)
        by_mirror = np.zeros(len(points))
        kept = ways.mirror >= 0
        assert (ways.point[kept] < len(points)).all()
        by_mirror[ways.point[kept]] = power[kept]
        passed = power[len(points) : 2 * len(points)]
        arriving = 10 ** (ways.open_db[len(points) : 2 * len(points)] / 20)
        assert ((by_mirror + passed) / arriving).max() <= 1 + 5e-3, name


def test_several_ways_are_never_more_than_all_of_them_unhindered() -> None:
    ways = traced(made(), somewhere(400))
    most = np.bincount(ways.point, 10 ** (ways.open_db / 20))
    assert (10 ** (ways.margin_db() / 20) <= most * (1 + 1e-9)).all()
    assert (ways.reflect_db >= 0).all()
    assert (ways.loss_db >= 0).all()


def test_a_hall_open_to_all_sides_has_no_images() -> None:
    """12 m across stays 12 m: floor and ceiling of the unit's own room are left out, and there is nothing else."""
    room = {"name": "hall", "outline": [[-9, -9], [9, -9], [9, 9], [-9, 9]], "height": 3, "walls": "none",
            "ceiling": "concrete-150", "floor_construction": "concrete-150"}  # fmt: skip
    ceiling = pattern({"circle": {"diameter": 12}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    parts = {"rooms": [room], "planes": [FLOOR], "grid": 0.1}
    straight, mirrored = (
        raycover.solve(scene(detectors=[detector((0, 0), 2.5, ceiling)], conditions={"reflections": k}, **parts))
        for k in (0, 1)
    )
    assert np.array_equal(straight["floor"].margin_db, mirrored["floor"].margin_db, equal_nan=True)
    assert mirrored.reflections is not None
    assert dict(mirrored.reflections.n_images) == {"D1": 0}
    row = int(np.argmin(np.abs(mirrored["floor"].y)))
    assert mirrored["floor"].detected[row].sum() * 0.1 == pytest.approx(12, abs=0.15)


def test_what_is_left_out_is_no_more_than_stated(monkeypatch: pytest.MonkeyPatch) -> None:
    one = made()
    unit, rays, weather = ready(one)
    points = somewhere(3000)
    straight = judge(unit, points, "any", rays, weather).straight_db
    offset = points - unit.position

    def asked() -> tuple[paths.Ways, NDArray[Any], paths.Mirrored]:
        seen = imaging(unit, unit.footprints_for("any"), rays, weather)
        assert seen is not None
        ways = seen.by_mirrors(offset, straight)
        return (ways, *ways.added_to(straight))

    monkeypatch.setattr(paths, "WAY_LOWEST_DB", -16.0)
    monkeypatch.setattr(paths, "WAY_BELOW_DB", 16.0)
    few, some_db, report = asked()
    monkeypatch.setattr(paths, "WAY_LOWEST_DB", -400.0)
    monkeypatch.setattr(paths, "WAY_BELOW_DB", 800.0)
    many, all_db, nothing = asked()
    assert len(few.point) < len(many.point)
    assert nothing.dropped_db < 1e-9
    missing = many.total(len(points)) - few.total(len(points))
    assert (missing >= -1e-12).all()
    assert (missing <= few.dropped * (1 + 1e-9) + 1e-12).all()
    seen = all_db >= 0
    assert 0.05 < (all_db[seen] - some_db[seen]).max() <= report.dropped_db
    # The bound holds for every image and point before any ray.
    seen_by = imaging(unit, unit.footprints_for("any"), rays, weather)
    assert seen_by is not None
    assert (seen_by.pairs(offset).total >= many.total(len(points)) * (1 - 1e-9)).all()


def test_bound_of_reflection_holds_at_every_angle() -> None:
    unit, rays, weather = ready(made())
    seen = imaging(unit, unit.footprints_for("any"), rays, weather)
    assert seen is not None
    cosine = np.linspace(0, 1, 20001)
    step = np.minimum((cosine * seen.images.bound.shape[1]).astype(int), seen.images.bound.shape[1] - 1)
    mirrors = rays.mirrors
    for k, plane in enumerate(seen.images.plane):
        for mirror in np.flatnonzero(seen.images.allowed & (mirrors.plane == plane)):
            table = reflection_table(mirrors.made_of[mirrors.made[mirror]], 5.8, "averaged")
            assert (10 ** (-table.loss_db(cosine) / 10) <= seen.images.bound[k, step]).all()


def test_a_masked_unit_sees_by_a_mirror() -> None:
    """Masked towards the target, it sees it by the wall behind; the cause is none, on maps as at points."""
    wall = {"name": "wall", "line": [[-1.5, -9], [-1.5, 9]], "height": 4, "base": -1, "construction": "steel-panel"}
    unit = detector((0, 0), 1.2, ROUND, masks=[{"from_deg": -40, "to_deg": 40}])
    plane = {"name": "p", "height": 1.2, "extent": [1, -0.5, 4, 0.5]}
    one = scene(partitions=[wall], detectors=[unit], conditions=MIRRORED, planes=[plane], grid=0.25)
    (view,) = probe(one, (2.125, 0.125, 1.2))
    assert (view.cause, view.detected) == ("none", True)
    assert [way.mirror for way in view.ways] == [None, "wall"]
    assert view.ways[0].margin_db == -np.inf
    solved = raycover.solve(one)["p"]
    assert solved.detected[2, 4]
    straight = raycover.solve(
        one.model_copy(update={"conditions": one.conditions.model_copy(update={"reflections": 0})})
    )
    assert not straight["p"].detected.any()


def test_too_many_images_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(coverage_module, "MOST_LOOKS", 1000)
    with pytest.raises(raycover.InputError) as caught:
        raycover.solve(made())
    (problem,) = caught.value.problems
    assert problem.code == "too-many-images"
    assert problem.position.line == 1
    assert problem.position.column is not None
    assert '"D1" has' in problem.message
    assert "write reflections: 0" in (problem.help or "")
    assert raycover.solve(made(0)).reflections is None


def test_slow_backend_agrees() -> None:
    one = made(grid=0.5)
    building = build(one)
    fast = raycover.solve(one, building=building)["floor"]
    slow = raycover.solve(one, building=building, rays=RayScene(building, "trimesh"))["floor"]
    same = np.isclose(fast.margin_db, slow.margin_db, atol=0.02, equal_nan=True)
    assert same.mean() > 0.98


def test_infrared_is_not_traced() -> None:
    infrared = pattern({"circle": {"diameter": 6}}, mounting=2.5)
    one = made(made_of=infrared, mounting=2.4)
    unit, rays, weather = ready(one)
    with pytest.raises(ValueError, match="only microwave"):
        trace(unit, somewhere(2), "any", rays, weather)
    solved = raycover.solve(one)
    assert solved.reflections is not None
    assert (dict(solved.reflections.n_images), solved.reflections.n_ways) == ({}, 0)


def test_a_smaller_body_and_a_lower_setting_count_on_every_way() -> None:
    """10·log10(0.1/σ0) on the margin of each way, so of all together: the ways are the same."""
    points = somewhere(60)
    unit, rays, weather = ready(made())
    whole, small = (trace(unit, points, "any", rays, weather, target_m2=m2) for m2 in (1.0, 0.1))
    found = np.isfinite(whole.way_margin_db()[: len(points)])
    less = whole.way_margin_db()[: len(points)][found] - small.way_margin_db()[: len(points)][found]
    assert less == pytest.approx(10.0)
    seen = np.isfinite(whole.margin_db())
    # What falls below the lowest way that is followed is left out of the second: nothing that counts where margins
    # matter, and never is there more than 10 dB less of everything.
    matters = whole.margin_db() >= 0
    assert matters.sum() > 10
    assert (whole.margin_db()[matters] - small.margin_db()[matters]) == pytest.approx(10.0, abs=0.3)
    assert (small.margin_db()[seen] <= whole.margin_db()[seen] - 10.0 + 1e-6).all()
    judged = judge(unit, points, "any", rays, weather, target_m2=0.1)
    assert judged.margin_db[seen] == pytest.approx(small.margin_db()[seen], abs=1e-9)

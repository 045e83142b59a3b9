"""Fields of sections: cones and walls worked out by hand, and the same judge as everywhere else."""

from __future__ import annotations

import numpy as np
import pytest
import small_scenes
from small_scenes import detector, pattern

from raycover.asking.upright import PEOPLE_ZONE_M, SectionField, solve_section
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import LOWEST_DB, Weather, judge
from raycover.solving.coverage import make_units

HALL = {"name": "Hall", "outline": [[0, 0], [24, 0], [24, 12], [0, 12]], "height": 11, "walls": "steel-panel"}
#: Declared at 10 m: a circle of 12 m across on the floor. A cone of half angle atan(6/10).
CONE = pattern({"circle": {"diameter": 12}}, mounting=10)


def field_of(scene: Scene, index: int = 0) -> SectionField:
    building = build(scene)
    return solve_section(
        scene.sections[index], scene, building, RayScene(building), make_units(scene, building), threads=1
    )


def under_a_cone(y: float) -> Scene:
    """One detector at (12, 6) that looks down, cut along the hall at y."""
    section = {"name": "A", "line": [[0, y], [24, y]]}
    return small_scenes.scene(rooms=[HALL], detectors=[detector((12, 6), 10, CONE)], sections=[section])


def width_at(field: SectionField, z: float) -> float:
    row = int(np.argmin(np.abs(field.surface.y - z)))
    return float((field.margin_db[row] >= 0).sum()) * field.surface.grid


def test_a_declared_cone_narrows_with_height() -> None:
    """Mounted at 10 m a field 6 m wide to either side at the floor is half as wide at 5 m: 6·(10 − z)/10."""
    field = field_of(
        small_scenes.scene(
            rooms=[HALL], detectors=[detector((12, 6), 10, CONE)], sections=[{"name": "A", "line": [[0, 6], [24, 6]]}]
        )
    )
    for z in (0.5, 2.5, 5.0, 7.5, 9.0):
        row = int(np.argmin(np.abs(field.surface.y - z)))
        exact = 12 * (10 - field.surface.y[row]) / 10
        assert width_at(field, z) == pytest.approx(exact, abs=2.1 * field.surface.grid)
    assert field.surface.y[-1] <= 10.0  # nothing above who looks
    (limit,) = field.limits
    edges = sorted(line[-1, 0] for line in limit.lines if np.allclose(line[0], [12, 10]))
    assert edges == pytest.approx([6, 18], abs=0.06)


def test_two_metres_off_the_axis_a_cone_is_a_hyperbola() -> None:
    """In a plane d beside the axis the cone's half width at height z is √((0.6·(10 − z))² − d²)."""
    d = 2.0
    field = field_of(
        small_scenes.scene(
            rooms=[HALL],
            detectors=[detector((12, 6), 10, CONE)],
            sections=[{"name": "A", "line": [[0, 6 + d], [24, 6 + d]]}],
        )
    )
    for z in (1.0, 4.0, 6.0):
        row = int(np.argmin(np.abs(field.surface.y - z)))
        half = np.sqrt((0.6 * (10 - field.surface.y[row])) ** 2 - d**2)
        assert width_at(field, z) == pytest.approx(2 * half, abs=2.1 * field.surface.grid)
    assert width_at(field, 7.0) == 0  # 0.6·3 m < 2 m
    assert not field.in_cut
    assert not field.limits


def test_the_people_zone_and_its_shares() -> None:
    """A wall 2 m high of 24 m, seen over 12·(10 − z)/10: the mean over z from 0 to 2.2 m."""
    field = field_of(
        small_scenes.scene(
            rooms=[HALL], detectors=[detector((12, 6), 10, CONE)], sections=[{"name": "A", "line": [[0, 6], [24, 6]]}]
        )
    )
    assert field.zone_area.sum() == pytest.approx(24 * PEOPLE_ZONE_M, rel=0.02)
    assert field.share == pytest.approx((12 - 0.6 * PEOPLE_ZONE_M) / 24, rel=0.02)


def test_racks_hide_the_next_aisle_and_hold_nobody() -> None:
    rack = {"name": "R", "at": [9, 3], "turn_deg": 90, "bays": 2, "levels": 3}
    wide = detector((5, 6), 10, pattern({"circle": {"diameter": 40}}, mounting=10))
    section = {"name": "A", "line": [[0, 6], [24, 6]]}
    field = field_of(small_scenes.scene(rooms=[HALL], racking=[rack], detectors=[wide], sections=[section]))
    row = int(np.argmin(np.abs(field.surface.y - 1.0)))
    beside = np.abs(field.surface.x - 7.0).argmin(), np.abs(field.surface.x - 9.5).argmin()
    assert field.margin_db[row, beside[0]] >= 0
    assert np.isneginf(field.margin_db[row, beside[1]])  # behind the rack's goods
    assert not field.zone[row, np.abs(field.surface.x - 8.4).argmin()]  # in the rack


MICROWAVE = pattern({"circle": {"diameter": 14}}, mounting=4, frequency_ghz=5.8, motion="radial", reach_behind=0.5)
MIXED = small_scenes.scene(
    rooms=[HALL],
    partitions=[
        {"name": "Light", "line": [[15, 0], [15, 12]], "height": 6, "construction": "plasterboard-12.5"},
        {"name": "Steel", "line": [[20, 0], [20, 12]], "height": 4, "construction": "steel-panel"},
    ],
    solids=[{"name": "Stack", "centre": [8, 6], "size": [1, 1, 2], "material": "goods"}],
    detectors=[
        detector((5, 5.5), 9, CONE),
        detector((12, 6), 4, MICROWAVE, "M"),
    ],
    sections=[{"name": "A", "line": [[1, 5], [23, 7]]}],
)  # fmt: skip


@pytest.mark.parametrize("reflections", [0, 1])
def test_the_field_is_what_the_judge_says(reflections: int) -> None:
    """At cells drawn at random the margin is that of `judge`, microwave through partitions and by mirrors too."""
    conditions = MIXED.conditions.model_copy(update={"reflections": reflections})
    scene = MIXED.model_copy(update={"conditions": conditions})
    building = build(scene)
    rays, units = RayScene(building), make_units(scene, building)
    field = solve_section(scene.sections[0], scene, building, rays, units, threads=1)
    rng = np.random.default_rng(5)
    rows, columns = np.nonzero(field.surface.inside)
    some = rng.choice(len(rows), 400, replace=False)
    at = rows[some], columns[some]
    points = np.column_stack([field.surface.places[at], field.surface.y[at[0]]])
    weather = Weather.of(scene)
    margins = np.max([judge(unit, points, "any", rays, weather).margin_db for unit in units], axis=0)
    followed = margins >= LOWEST_DB + 0.1
    assert followed.sum() > 150
    assert field.margin_db[at][followed] == pytest.approx(margins[followed], abs=0.02)
    assert (field.margin_db[at][~followed] < LOWEST_DB + 0.2).all()


def test_microwave_passes_what_infrared_does_not() -> None:
    field = field_of(MIXED)
    row = int(np.argmin(np.abs(field.surface.y - 1.0)))
    behind = field.margin_db[row, np.abs(field.surface.x - (16.5 - 1)).argmin()]
    assert field.units[field.best[row, np.abs(field.surface.x - 15.5).argmin()]].name == "M"
    assert behind > 0
    assert np.isneginf(field.margin_db[row, np.abs(field.surface.x - 20.5).argmin()])  # behind steel


def test_storeys_have_zones_of_their_own(stairwell) -> None:  # type: ignore[no-untyped-def]
    scene = stairwell.scene
    field = solve_section(
        scene.sections[0], scene, stairwell.building, stairwell.rays, stairwell.coverage.units, threads=1
    )
    column = int(np.abs(field.surface.x - 1.0).argmin())  # in the lobbies
    zone = field.surface.y[field.zone[:, column]]
    floors = sorted({room.floor for room in stairwell.building.rooms})
    for floor in floors:
        mine = zone[(zone > floor) & (zone < floor + PEOPLE_ZONE_M + 0.01)]
        assert len(mine) == pytest.approx(PEOPLE_ZONE_M / field.surface.grid, abs=2)
    assert len(zone) == pytest.approx(len(floors) * PEOPLE_ZONE_M / field.surface.grid, abs=4)


def test_nobody_moves_over_a_void() -> None:
    """A hall of two storeys, the upper floor open from x = 4 on: the people zone above it ends there."""
    outline = [[0, 0], [8, 0], [8, 4], [0, 4]]
    open_part = [[4, 0], [8, 0], [8, 4], [4, 4]]
    rooms = [
        {"name": "Low", "outline": outline, "height": 3, "walls": "brick-100",
         "voids": [{"outline": open_part, "through": "ceiling"}]},
        {"name": "Up", "floor": 3, "outline": outline, "height": 3, "walls": "brick-100",
         "voids": [{"outline": open_part, "through": "floor"}]},
    ]  # fmt: skip
    round_unit = detector((2, 2), 2.8, pattern({"circle": {"diameter": 6}}, mounting=2.8), room="Up")
    cut = {"name": "A", "line": [[0, 2], [8, 2]]}
    made = small_scenes.scene(rooms=rooms, sections=[cut], detectors=[round_unit])
    field = field_of(made)
    x, z = field.surface.x, field.surface.y
    assert field.zone[np.ix_((z > 3.1) & (z < 5.1), (x > 0.2) & (x < 3.9))].all()
    assert not field.zone[np.ix_(z > 3.1, x > 4.1)].any()
    assert field.zone[np.ix_((z > 0.1) & (z < 2.1), (x > 0.2) & (x < 7.8))].all()

"""Rooms with an air of their own: margins by the air where somebody stands, and everybody who asks says the same."""

from __future__ import annotations

import copy
import json
from typing import Any

import numpy as np
import pytest
from scipy.constants import Boltzmann, Planck, speed_of_light
from scipy.integrate import quad
from small_scenes import detector, pattern

import raycover
from raycover.asking.lobes import open_reach_m
from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.errors import InputError
from raycover.rays.ray_scene import RayScene
from raycover.report.words import report_words
from raycover.scene.air import air_of
from raycover.solving.airs import Airs
from raycover.solving.casting import cast, cast_many, felt, judge, margins
from raycover.solving.coverage import make_units
from raycover.solving.doubt import chances
from raycover.solving.open_air import Weather
from raycover.solving.surfaces import make_surfaces

#: Reach 5 m from a unit at 3 m: lens edge at 4 m on the floor.
EYE = pattern({"circle": {"diameter": 8}}, mounting=3.0)
RADAR = pattern({"circle": {"diameter": 8}}, mounting=3.0, frequency_ghz=5.8)


def two_rooms(**more: Any) -> dict[str, Any]:
    """A hall at 20 °C, a freezer at −20 °C behind a wall with a wide open gap, a unit in the middle of each."""
    gap = {"edge": 1, "at": 1, "width": 6, "height": 2.5, "sill": 0, "fill": "none", "state": "open"}
    return {
        "raycover": 1,
        "title": "two airs",
        "grid": 0.25,
        "rooms": [
            {"name": "Hall", "outline": [[0, 0], [8, 0], [8, 8], [0, 8]], "height": 3.5, "walls": "steel-panel",
             "openings": [gap]},
            {"name": "Freezer", "outline": [[8, 0], [16, 0], [16, 8], [8, 8]], "height": 3.5, "walls": "steel-panel",
             "openings": [{**gap, "edge": 3}], "ambient_c": -20},
        ],
        "planes": [{"name": "floor", "height": 0}, {"name": "person", "target": "person", "heights": [0.3, 1.0]}],
        "detectors": [detector((4, 4), 3.0, EYE, "Warm"), detector((12, 4), 3.0, EYE, "Cold")],
        **more,
    }  # fmt: skip


def made(data: dict[str, Any]) -> raycover.Scene:
    return raycover.load_text(json.dumps(data))


def radiance(celsius: float) -> float:
    """Planck's law between 8 and 14 µm by adaptive quadrature, W/m²/sr: not the package's own."""

    def spectral(wave: float) -> float:
        return 2 * Planck * speed_of_light**2 / wave**5 / np.expm1(
            Planck * speed_of_light / (wave * Boltzmann * (celsius + 273.15))
        )  # fmt: skip

    return float(quad(spectral, 8e-6, 14e-6, epsabs=0, epsrel=1e-10)[0])


def person(air_c: float, clo: float) -> float:
    """A clothed person's radiance above the room's: our assumption, resistances as ISO 7730 has them [2nd]."""
    skin = 33.5 + 0.13 * (air_c - 22)
    clothing = air_c + (skin - air_c) * (1 / 11.7) / (0.155 * clo + 1 / 11.7)
    room = radiance(air_c)
    return 0.85 * 0.95 * (radiance(clothing) - room) + 0.15 * 0.98 * (radiance(skin) - room)


#: 20·log10 of k at −20 °C in 3.5 clo: skin 28.0 °C, clothing −13.5 °C, 1.37 times the contrast at 20 °C in 0.7 clo.
COLD_DB = 20 * np.log10(person(-20.0, 3.5) / person(20.0, 0.7))


def test_by_hand() -> None:
    """Below each unit, 3 m away: 40·log10(5/3) = 8.87 dB at 20 °C; in the freezer 2.76 dB more."""
    assert pytest.approx(2.756, abs=2e-3) == COLD_DB
    plane = raycover.solve(made(two_rooms()))["floor"]
    row = int(np.argmin(np.abs(plane.y - 4.0)))
    for x, heat in ((4.125, 0.0), (12.125, COLD_DB)):
        column = int(np.argmin(np.abs(plane.x - x)))
        slant = np.sqrt((plane.x[column] - (x - 0.125)) ** 2 + (plane.y[row] - 4) ** 2 + 9)
        assert plane.margin_db[row, column] == pytest.approx(40 * np.log10(5 / slant) + heat, abs=2e-3)
    cells = {x: probe(made(two_rooms()), (x, 4.0, 0.0)) for x in (4.0, 12.0)}
    warm, cold = (next(v for v in cells[x] if v.unit.name == n) for x, n in ((4.0, "Warm"), (12.0, "Cold")))
    assert warm.margin_db == pytest.approx(8.874, abs=1e-3)
    assert cold.margin_db == pytest.approx(8.874 + COLD_DB, abs=2e-3)


def test_warm_store_beside_a_cool_office() -> None:
    """Clothed, k = 0.3666 at 30 °C [C]: −8.72 dB, a reach of 5 m becomes 3.03 m, just the floor below."""
    data = two_rooms()
    data["rooms"][1]["ambient_c"] = 30
    plane = raycover.solve(made(data))["floor"]
    hot = plane.margin_db[:, plane.x > 8]
    nearest = np.hypot(3, np.hypot(0.125, 0.125))
    assert hot.max() == pytest.approx(40 * np.log10(5 / nearest) - 8.718, abs=2e-3)
    assert plane.margin_db[:, plane.x < 8].max() == pytest.approx(40 * np.log10(5 / nearest), abs=2e-3)


def test_the_air_counts_where_somebody_stands_not_where_the_unit_hangs() -> None:
    """A unit in the hall sees somebody through the gap in the freezer's air."""
    data = two_rooms(detectors=[detector((7.5, 4), 3.0, EYE, "Gap")])
    plane = raycover.solve(made(data))["floor"]
    one_air = copy.deepcopy(data)
    del one_air["rooms"][1]["ambient_c"]
    same = raycover.solve(made(one_air))["floor"]
    beyond, here = (np.isfinite(same.margin_db) & side for side in (plane.x > 8, plane.x < 8))
    assert beyond.any()
    np.testing.assert_allclose(plane.margin_db[beyond], same.margin_db[beyond] + COLD_DB, atol=2e-3)
    np.testing.assert_array_equal(plane.margin_db[here], same.margin_db[here])


def test_everybody_who_asks_says_the_same() -> None:
    """Maps of units alike in one go and each by itself, points judged, margins of needs, varied cases as drawn."""
    places = [(2.0, 2.0), (10.0, 2.0), (6.0, 6.0), (14.0, 6.0), (7.5, 4.0), (8.5, 4.0)]
    data = two_rooms(detectors=[detector(at, 3.0, EYE, f"D{k}") for k, at in enumerate(places)])
    scene = made(data)
    building = build(scene)
    units, rays, weather = make_units(scene, building), RayScene(building), Weather.of(scene)
    assert weather.airs is not None
    for surface in make_surfaces(scene, building)[0]:
        together = cast_many(units, surface, rays, weather)
        for unit, patch in zip(units, together, strict=True):
            alone = cast(unit, surface, rays, weather)
            assert patch is not None
            assert alone is not None
            np.testing.assert_array_equal(patch.margin_db, alone.margin_db)
            row, column = np.nonzero(np.isfinite(patch.margin_db))
            rows, columns = row + patch.rows.start, column + patch.columns.start
            best = np.full(len(row), -np.inf)
            for height in surface.heights:
                points = surface.points(rows, columns, height)
                lifted = np.full(len(points), height == 0)
                judged = judge(unit, points, surface.motion, rays, weather, lifted=lifted).margin_db
                straight = margins(unit, points, surface.motion, rays, weather, lifted=lifted)
                np.testing.assert_allclose(straight, judged, atol=1e-9)
                found = chances([unit], points, surface.motion, rays, weather, scene.doubt, lifted=lifted)
                near = judged > -9
                np.testing.assert_allclose(found.margin_db[near], judged[near], atol=1e-6)
                best = np.maximum(best, judged)
            np.testing.assert_allclose(patch.margin_db[row, column], best, rtol=0, atol=1e-4)


def test_varied_cases_are_those_of_the_air_around() -> None:
    """Case by case as in a scene that has the room's air everywhere."""
    scene = made(two_rooms())
    cold = copy.deepcopy(two_rooms(conditions={"ambient_c": -20}))
    del cold["rooms"][1]["ambient_c"]
    points = np.array([[12.0, 4, 0], [13, 5, 1], [4, 4, 0]])
    found = []
    for one in (scene, made(cold)):
        building = build(one)
        unit = make_units(one, building)[1]
        found.append(chances([unit], points[:2], "any", RayScene(building), Weather.of(one), one.doubt).draws)
    np.testing.assert_allclose(found[0], found[1], atol=1e-4)


def test_microwave_knows_no_air() -> None:
    data = two_rooms(detectors=[detector((4, 4), 3.0, RADAR, "R1"), detector((12, 4), 3.0, RADAR, "R2")])
    same = copy.deepcopy(data)
    del same["rooms"][1]["ambient_c"]
    first, second = raycover.solve(made(data)), raycover.solve(made(same))
    for name in first:
        np.testing.assert_array_equal(first[name].margin_db, second[name].margin_db)


def test_a_room_in_the_scenes_own_air_changes_nothing() -> None:
    data = two_rooms()
    data["rooms"][1]["ambient_c"] = 20
    same = copy.deepcopy(data)
    del same["rooms"][1]["ambient_c"]
    assert Weather.of(made(data)).airs is None
    first, second = raycover.solve(made(data)), raycover.solve(made(same))
    for name in first:
        np.testing.assert_array_equal(first[name].margin_db, second[name].margin_db)


def test_where_points_belong() -> None:
    """Storeys: what stands on a slab is in the room above; a border is the first room's; outside all, the scene's."""
    room = {"outline": [[0, 0], [4, 0], [4, 4], [0, 4]], "height": 3, "walls": "none"}
    beside = [[4, 0], [8, 0], [8, 4], [4, 4]]
    rooms = [
        {**room, "name": "Below", "ambient_c": 5},
        {**room, "name": "Above", "floor": 3},
        {**room, "name": "Attic", "floor": 6, "ambient_c": 40},
        {**room, "name": "Beside", "outline": beside, "ambient_c": 10},
    ]
    scene = made({"raycover": 1, "title": "storeys", "rooms": rooms})
    airs = Airs.of(scene)
    assert airs is not None
    points = np.array([
        [1, 1, 0.0], [1, 1, 2.9], [1, 1, 3.0], [1, 1, 5.9], [1, 1, 6.0], [1, 1, 9.0], [1, 1, 9.1],
        [4, 1, 1.0], [5, 1, 1.0], [5, 1, 4.0], [9, 1, 1.0], [1, 1, -0.5],
    ])  # fmt: skip
    found = np.array(airs.ambient_c)[airs.at(*points.T)]
    assert found.tolist() == [5, 5, 20, 20, 40, 40, 20, 5, 10, 20, 20, 20]
    # Arrays that broadcast: a raster is asked by its axes.
    axis = np.array([1.0, 5.0, 9.0])
    raster = airs.at(axis[None, :], np.array([[1.0], [2.0]]), 1.0)
    assert np.array(airs.ambient_c)[raster].tolist() == [[5, 10, 20]] * 2


def test_airs_in_reach() -> None:
    """Between any two corners the same as all of them; none where only the scene's air is in reach."""
    rng = np.random.default_rng(5)

    def square(x: float, y: float) -> list[list[float]]:
        return [[x, y], [x + 4, y], [x + 4, y + 4], [x, y + 4]]

    rooms = [
        {"name": f"R{i}{j}{k}", "outline": square(4 * i, 4 * j), "floor": 3 * k, "height": 3, "walls": "none",
         **({"ambient_c": 5 * (i - 2)} if i != 3 and j != 1 else {})}
        for i in range(5) for j in range(3) for k in range(2)
    ]  # fmt: skip
    airs = Airs.of(made({"raycover": 1, "title": "many", "rooms": rooms}))
    assert airs is not None
    n_fewer = 0
    for _ in range(60):
        low, high = np.sort(rng.uniform([-2, -2, -1], [22, 14, 7], (2, 3)), axis=0)
        points = rng.uniform(low, high, (200, 3))
        points[:60] = np.clip(np.round(points[:60] / [4, 4, 3]) * [4, 4, 3], low, high)  # also on borders
        some = airs.within(low, high)
        want = np.array(airs.ambient_c)[airs.at(*points.T)]
        found = np.full(200, 20.0) if some is None else np.array(some.ambient_c)[some.at(*points.T)]
        np.testing.assert_array_equal(found, want)
        n_fewer += some is not airs
    assert n_fewer > 30
    assert airs.within((13, 5, 0), (15, 7, 3)) is None
    assert airs.within((-9, -9, -9), (99, 99, 99)) is airs


def test_a_room_out_of_reach_means_nothing() -> None:
    """To the last bit: a unit's patch is that of a scene in which the room is as its neighbours."""
    data = two_rooms()
    data["rooms"].append({
        "name": "Loft", "outline": [[20, 0], [28, 0], [28, 8], [20, 8]], "height": 3.5, "walls": "none", "ambient_c": 35
    })  # fmt: skip
    data["detectors"].append(detector((24, 4), 3.0, RADAR, "Loft"))
    plain = copy.deepcopy(data)
    del plain["rooms"][1]["ambient_c"]
    far = copy.deepcopy(data)
    del far["rooms"][2]["ambient_c"]
    patches, feels = [], []
    for one in (data, far, plain):
        scene = made(one)
        building = build(scene)
        units, rays, weather = make_units(scene, building), RayScene(building), Weather.of(scene)
        surface = make_surfaces(scene, building)[0][0]
        patches.append(cast_many(units, surface, rays, weather))
        feels.append([felt(unit, surface, weather) for unit in units])
    # A loft that neither sees: all the same. A freezer that one sees: that one's alone.
    assert feels[0] == feels[1]
    assert [a == b for a, b in zip(feels[0], feels[2], strict=True)] == [True, False, True]
    for which, same in ((1, [True, True, True]), (2, [True, False, True])):
        for mine, other, alike in zip(patches[0], patches[which], same, strict=True):
            assert mine is not None
            assert other is not None
            assert (mine.window == other.window) is alike or not alike
            assert np.array_equal(mine.margin_db, other.margin_db) is alike


def test_under_a_roof_the_air_ends_with_it() -> None:
    shed = {"name": "Shed", "outline": [[0, 0], [4, 0], [4, 4], [0, 4]], "walls": "none", "ambient_c": 5,
            "roof": {"kind": "pitched", "construction": "steel-panel", "eaves": 2, "ridge_height": 4, "ridge": "x"},
            }  # fmt: skip
    airs = Airs.of(made({"raycover": 1, "title": "shed", "rooms": [shed]}))
    assert airs is not None
    assert airs.at([1, 1], [2, 0.2], [3.5, 3.5]).tolist() == [1, 0]


def test_a_lobe_ends_where_the_air_lets_it() -> None:
    """From 5 m up 5.41 m in the hall; in the freezer, beyond the border at x = 8 m, times 10^(2.76/40): 6.34 m."""
    eye = pattern({"circle": {"diameter": 9}}, mounting=3.0)
    data = two_rooms(detectors=[detector((4, 4), 5.0, eye, "D")])
    for room in data["rooms"]:
        room["height"] = 6
    scene = made(data)
    (unit,) = make_units(scene, build(scene))
    reach = np.sqrt(4.5**2 + 9)  # 5.41 m
    tilt = np.arctan2(4.4, 3.0)
    way = np.array([[np.sin(tilt), 0, -np.cos(tilt)], [-np.sin(tilt), 0, -np.cos(tilt)], [0, 0, -1.0]])
    found = open_reach_m(unit, way, Weather.of(scene))
    # 5.41 m to the east is 8.47 m along x, in the freezer: notice goes on to 6.34 m; west and down it is the hall's.
    assert found == pytest.approx([reach * 10 ** (COLD_DB / 40), reach, reach], abs=2e-3)
    hot = copy.deepcopy(data)
    hot["rooms"][1]["ambient_c"] = 30
    ends = open_reach_m(unit, way, Weather.of(made(hot)))
    # In the hot room 5.41 m shrink to 3.3 m: notice ends at the border, 4 m along x.
    assert ends == pytest.approx([4 / np.sin(tilt), reach, reach], abs=2e-3)


def test_kept_answers_tell_airs_apart() -> None:
    from raycover.solving.kept.digests import of_weather

    keys = []
    for value in (-20, -19, 20, None):
        data = two_rooms()
        data["rooms"][1]["ambient_c"] = value
        if value is None:
            del data["rooms"][1]["ambient_c"]
        keys.append(of_weather(Weather.of(made(data)), "infrared"))
    moved = two_rooms()
    moved["rooms"][0]["ambient_c"] = -20
    del moved["rooms"][1]["ambient_c"]
    keys.append(of_weather(Weather.of(made(moved)), "infrared"))
    assert keys[2] == keys[3]
    assert len({*keys}) == 4
    assert Weather.of(made(two_rooms())) == Weather.of(made(two_rooms()))
    assert of_weather(Weather.of(made(two_rooms())), "microwave") == of_weather(Weather.of(made(moved)), "microwave")


def test_words_name_the_airs() -> None:
    data = two_rooms()
    assert air_of(made(data)) == "20 °C (Freezer −20 °C)"
    data["rooms"][0]["ambient_c"] = -20
    assert air_of(made(data)) == "20 °C (2 rooms −20 °C)"
    data["rooms"][0]["ambient_c"] = 4
    assert air_of(made(data)) == "20 °C (2 rooms −20 to 4 °C)"


@pytest.mark.parametrize(("value", "said"), [("cold", "number"), (-31, "-30"), (55, "50"), (True, "number")])
def test_bad_air(value: object, said: str) -> None:
    data = two_rooms()
    data["rooms"][1]["ambient_c"] = value
    with pytest.raises(InputError) as caught:
        made(data)
    (problem,) = caught.value.problems
    assert said in f"{problem.message} {problem.help}"
    assert problem.position.loc == ("rooms", 1, "ambient_c") if hasattr(problem.position, "loc") else True


def test_cold_and_warm_rooms_are_advised_at_their_key() -> None:
    data = two_rooms()
    data["rooms"][0]["ambient_c"] = 31
    codes = {problem.code: problem for problem in made(data).warnings}
    assert {"cold-air", "warm-air"} <= set(codes)
    assert codes["cold-air"].message.startswith('room "Freezer": at −20 °C people are dressed for the cold')
    assert codes["warm-air"].message.startswith('room "Hall": at 31 °C people stand out little')
    german = report_words("de").warning_patterns
    assert all(any(pattern.fullmatch(p.message) for pattern, _ in german) for p in codes.values())
    data["detectors"] = [detector((4, 4), 3.0, RADAR, "R1")]
    assert not {"cold-air", "warm-air"} & {problem.code for problem in made(data).warnings}

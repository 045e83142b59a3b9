"""Probability maps: they agree with what is asked point by point, whatever the tiles and threads."""

from __future__ import annotations

import numpy as np
import pytest
import small_scenes

from raycover.scene.schema import Scene
from raycover.solving.chance_maps import ChanceMaps, vary
from raycover.solving.coverage import Coverage, solve
from raycover.solving.doubt import chances
from raycover.solving.open_air import Weather
from raycover.spreads import Draws

CIRCLE = {"circle": {"diameter": 7.0}}


@pytest.fixture(scope="module")
def solved() -> tuple[Scene, Coverage, ChanceMaps]:
    """Two rooms of plasterboard, infrared and microwave; a plane of three heights."""
    rooms = [
        {"name": n, "outline": [[x, 0], [x + 5, 0], [x + 5, 4], [x, 4]], "height": 2.6, "walls": "plasterboard-12.5"}
        for n, x in (("one", 0), ("two", 5))
    ]
    made = small_scenes.pattern(CIRCLE, mounting=2.5, motion="radial", frequency_ghz=5.8)
    scene = small_scenes.scene(
        rooms=rooms,
        detectors=[
            small_scenes.detector((2, 2), 2.5, small_scenes.pattern(CIRCLE, mounting=2.5), "infrared"),
            small_scenes.detector((7, 2), 2.5, made, "microwave"),
        ],
        planes=[{"name": "floor", "height": 0}, {"name": "people", "target": "person", "heights": [0.3, 1.0, 1.6]}],
        conditions={"reflections": 1},
        doubt={"cases": 64},
        grid=0.25,
    )
    coverage = solve(scene, threads=1)
    return scene, coverage, vary(scene, coverage, threads=1)


@pytest.mark.parametrize("name", ["floor", "people"])
def test_map_is_what_points_say(solved: tuple[Scene, Coverage, ChanceMaps], name: str) -> None:
    scene, coverage, maps = solved
    surface = coverage[name].surface
    row, column = np.nonzero(surface.inside)
    best = np.full((64, len(row)), -np.inf)
    draws = Draws(scene.doubt)
    for height in surface.heights:
        points = surface.points(row, column, height)
        found = chances(
            coverage.units, points, surface.motion, coverage.rays, Weather.of(scene), draws,
            lifted=np.full(len(points), height < 0.002),
        )  # fmt: skip
        best = np.maximum(best, found.draws)
    np.testing.assert_allclose(maps[name].probability[row, column], (best >= 0).mean(axis=0), atol=1e-6)
    assert np.isnan(maps[name].probability[~surface.inside]).all()
    area = surface.area[row, column]
    np.testing.assert_allclose(maps[name].share, (best >= 0) @ area / area.sum())
    assert maps[name].expected_share == pytest.approx(
        float((maps[name].probability[row, column] * area).sum() / area.sum())
    )


def test_a_smaller_body_is_seen_less_surely() -> None:
    """A plane whose body is 0.073 m², ten times less than the walker's 0.73: 10 dB less in every case [C]."""
    made = small_scenes.pattern(CIRCLE, mounting=2.5, motion="radial", frequency_ghz=5.8, reach_behind=1)
    point, chance = np.array([[1.75, 0.25, 0.0]]), {}
    cases = []
    for target in (0.73, 0.073):
        scene = small_scenes.open_floor(
            small_scenes.detector((0, 0), 2.5, made), half=4, grid=0.5, plane={"target_m2": target}, doubt={"cases": 64}
        )
        coverage = solve(scene, threads=1)
        chance[target] = vary(scene, coverage, threads=1)["floor"].probability
        found = chances(
            coverage.units, point, "any", coverage.rays, Weather.of(scene), scene.doubt,
            lifted=np.ones(1, bool), target_m2=target,
        )  # fmt: skip
        assert chance[target][8, 11] == pytest.approx(found.probability[0])
        cases.append(found.draws)
    np.testing.assert_allclose(cases[0] - cases[1], 10, atol=1e-3)
    assert chance[0.073].mean() < 0.6 * chance[0.73].mean()


def test_tiles_and_threads_do_not_show(
    solved: tuple[Scene, Coverage, ChanceMaps], monkeypatch: pytest.MonkeyPatch
) -> None:
    scene, coverage, maps = solved
    monkeypatch.setattr("raycover.solving.chance_maps._TILE", 11)
    again = vary(scene, coverage, threads=2)
    for name in maps:
        np.testing.assert_array_equal(again[name].probability, maps[name].probability)
        np.testing.assert_allclose(again[name].share, maps[name].share)


def test_firm_is_no_more_than_nine_parts_in_ten_of_doubt(solved: tuple[Scene, Coverage, ChanceMaps]) -> None:
    """Classes part the area; what is firm is seen as drawn but for a sliver, and rooms add up to the plane."""
    _, coverage, maps = solved
    for name, found in maps.items():
        parts = [found.share_of(*ends) for ends in ((0, 0.05), (0.05, 0.5), (0.5, 0.95), (0.95, 2))]
        assert sum(parts) == pytest.approx(1)
        firm = found.probability >= 0.95
        assert coverage[name].detected[firm].mean() > 0.99
        assert 0 < found.firm_share < coverage[name].share
        rooms = coverage[name].rooms()
        total = sum(area * float(found.rooms[room].mean()) for room, (area, _, _) in rooms.items())
        assert total == pytest.approx(found.expected_share * coverage[name].area_m2)

"""What must hold of whole scenes of every technology, wall and screen at once, whatever their margins are.

Where a scene stands, how it is turned, in which order and units it is typed changes nothing; what is closed, added or
more lossy never lets more through. `test_invariants.py` holds some of this for maps of one room with boxes.
"""

from __future__ import annotations

import copy
import json
import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from plain_scenes import Case, case
from small_scenes import detector, open_floor, pattern

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.scene.stating import apply_state
from raycover.solving.casting import judge
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather

STRAIGHT, MIRRORED = [(seed, 0) for seed in range(200, 208)], [(seed, 1) for seed in range(300, 304)]
ALIKE_DB = 0.01


def margins(data: dict[str, Any] | raycover.Scene, points: np.ndarray, one: Case) -> np.ndarray:
    """Margins (units, points) by scene data, or of a scene."""
    made = data
    if not isinstance(made, raycover.Scene):
        made = raycover.load_text(json.dumps({"raycover": 1, "title": "test", **made}))
    building = build(made)
    rays, weather = RayScene(building), Weather.of(made)
    rooms = [building.room_at(*p) for p in points]
    lifted = np.array([r is not None and abs(p[2] - r.floor) < LIFT for p, r in zip(points, rooms, strict=True)])
    units = sorted(make_units(made, building), key=lambda unit: unit.name)
    return np.array(
        [judge(u, points, one.motion, rays, weather, lifted=lifted, target_m2=one.target_m2).margin_db for u in units]
    )


def assert_alike(found: np.ndarray, expected: np.ndarray) -> None:
    assert np.isfinite(expected).sum() > 0.1 * expected.size
    with np.errstate(invalid="ignore"):
        off = np.where(found == expected, 0.0, np.abs(found - expected))
    assert off.max() < ALIKE_DB, np.argwhere(off >= ALIKE_DB)[:5]


def elsewhere(one: Case, place: Callable[[float, float], list[float]], turn_deg: float, lift: float) -> Case:
    """The whole scene and its points where `place` puts them."""
    data = copy.deepcopy(one.scene)
    for room in data["rooms"]:
        room["outline"] = [place(*corner) for corner in room["outline"]]
        room["floor"] += lift
    for part in data.get("partitions", []):
        part["line"] = [place(*corner) for corner in part["line"]]
    for part in data.get("solids", []):
        part["centre"] = place(*part["centre"])
        part["turn_deg"] += turn_deg
    for part in data.get("sheets", []):
        part["corners"] = [[*place(x, y), z + lift] for x, y, z in part["corners"]]
    for unit in data["detectors"]:
        unit["at"] = place(*unit["at"])
        unit["turn_deg"] += turn_deg
    points = np.array([[*place(x, y), z + lift] for x, y, z in one.points])
    return Case(data, points, one.motion, one.target_m2)


@pytest.mark.parametrize(("seed", "reflections"), STRAIGHT + MIRRORED)
def test_where_it_stands_and_how_it_is_turned(seed: int, reflections: int) -> None:
    """Moved by 15 km and up, and turned: single precision, recentred, holds at coordinates of a national grid."""
    one = case(seed, reflections)
    here = margins(one.scene, one.points, one)
    rng = np.random.default_rng(seed)
    east, north, turn = *rng.uniform(-15_000, 15_000, 2).round(3), float(rng.uniform(0, math.tau))

    def turned(x: float, y: float) -> list[float]:
        return [x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)]

    moved = elsewhere(one, lambda x, y: [float(x + east), float(y + north)], 0.0, 47.111)
    assert_alike(margins(moved.scene, moved.points, one), here)
    about = elsewhere(one, turned, math.degrees(turn), 0.0)
    assert_alike(margins(about.scene, about.points, one), here)


@pytest.mark.parametrize(("seed", "reflections"), STRAIGHT + MIRRORED)
def test_in_a_mirror(seed: int, reflections: int) -> None:
    """The scene as seen in a mirror along y: outlines run the other way, openings are counted from the other end."""
    one = case(seed, reflections)
    flipped = elsewhere(one, lambda x, y: [-x, y], 0.0, 0.0)
    for room in flipped.scene["rooms"]:
        room["outline"] = room["outline"][::-1]
        room["walls"] = [room["walls"][(2 - edge) % 4] for edge in range(4)]
        for opening in room.get("openings", []):
            edge = opening["edge"] = (2 - opening["edge"]) % 4
            length = math.dist(room["outline"][edge], room["outline"][(edge + 1) % 4])
            opening["at"] = length - opening["at"] - opening["width"]
    for part in flipped.scene.get("solids", []):
        part["turn_deg"] = -part["turn_deg"]
    for unit in flipped.scene["detectors"]:
        unit["turn_deg"] = 180 - unit["turn_deg"]
        # Its own front and sides: azimuth φ of the unit becomes −φ.
        for mask in unit.get("masks", []):
            mask["from_deg"], mask["to_deg"] = -mask["to_deg"], -mask["from_deg"]
    assert_alike(margins(flipped.scene, flipped.points, one), margins(one.scene, one.points, one))


@pytest.mark.parametrize(("seed", "reflections"), STRAIGHT[:4] + MIRRORED[:2])
def test_order_and_units_of_what_is_typed(seed: int, reflections: int) -> None:
    """Every list turned round that may be, every length in millimetres."""
    one = case(seed, reflections)
    lengths = {
        "outline", "height", "floor", "at", "width", "line", "corners", "centre", "size", "mounting", "base", "sill",
        "diameter", "length", "reach", "plane",
    }  # fmt: skip

    def in_mm(value: Any) -> Any:
        return [in_mm(part) for part in value] if isinstance(value, list) else f"{value * 1000:.12g} mm"

    def retyped(value: Any, key: str = "") -> Any:
        if isinstance(value, dict):
            return {k: retyped(v, k) for k, v in value.items()}
        if key in lengths:
            return in_mm(value)
        if isinstance(value, list) and value and isinstance(value[0], dict):
            return [retyped(part) for part in reversed(value)]
        return value

    assert_alike(margins(retyped(one.scene), one.points, one), margins(one.scene, one.points, one))


@pytest.mark.parametrize("seed", [seed for seed, _ in STRAIGHT])
def test_what_is_closed_or_more_lossy_lets_no_more_through(seed: int) -> None:
    """Straight ways only. A state that opens everything equals the scene typed open; closing lowers; so does a
    correction of 3 dB to every wall, of whole multiples of 6 dB at a straight microwave way."""
    one = case(seed, 0)
    drawn = copy.deepcopy(one.scene)
    holders = [*drawn["rooms"], *drawn.get("partitions", [])]
    openings = [opening for holder in holders for opening in holder.get("openings", [])]
    for opening in openings:
        opening["state"] = "closed"
    closed = margins(drawn, one.points, one)
    state = {"name": "Open", "set": {f"{h['name']}/opening *": "open" for h in holders if h.get("openings")}}
    if state["set"]:
        made = raycover.load_text(json.dumps({"raycover": 1, "title": "test", **drawn, "states": [state]}))
        in_state = margins(apply_state(made, 0), one.points, one)
        for opening in openings:
            opening["state"] = "open"
        np.testing.assert_array_equal(in_state, margins(drawn, one.points, one))
        # Whoever stands in a doorway is seen through nothing either way, so "no more" needs a hair.
        assert (closed <= in_state + 1e-4).all()
    used = {wall for room in drawn["rooms"] for wall in room["walls"]} & {"brick-100", "plasterboard-12.5"}
    as_drawn = margins(one.scene, one.points, one)
    lossier = margins(
        {**one.scene, "corrections": {"loss_db": dict.fromkeys(used, 3)}} if used else one.scene, one.points, one
    )
    assert (lossier <= as_drawn + 1e-4).all()
    kinds = [unit["pattern"]["kind"] for unit in sorted(one.scene["detectors"], key=lambda unit: unit["name"])]
    for kind, before, after in zip(kinds, as_drawn, lossier, strict=True):
        known = np.isfinite(before)
        steps = (before[known] - after[known]) / (6 if kind == "microwave" else 1)
        if kind == "microwave":
            np.testing.assert_allclose(steps, np.round(steps), atol=1e-4)
        if kind == "infrared":
            np.testing.assert_array_equal(steps, 0)


def test_area_converges_as_lattice_points_in_a_circle_do() -> None:
    """Cells whose centre is seen, times their area, against πr²: the rms error of a circle laid at random on a lattice
    of pitch h is h²·√(0.6765·r/h), of order h^1.5 (D. G. Kendall, Quart. J. Math. 19, 1948, 1-26 [M]).

    With 40 places a rms scatters by 1/√80 = 11 %: three times that is allowed.
    """
    radius, rng = 3.0, np.random.default_rng(5)
    found = []
    pitches = (0.5, 0.25, 0.125)
    for grid in pitches:
        errors = []
        for x, y in rng.uniform(0, grid, (40, 2)):
            unit = detector((float(x), float(y)), 2.5, pattern({"circle": {"diameter": 2 * radius}}, mounting=2.5))
            floor = raycover.solve(open_floor(unit, half=4, grid=grid))["floor"]
            errors.append(floor.area_where(floor.detected) - math.pi * radius**2)
        found.append(math.sqrt(np.mean(np.square(errors))))
        expected = grid**2 * math.sqrt(0.6765 * radius / grid)
        assert found[-1] == pytest.approx(expected, rel=0.35)
    order = np.polyfit(np.log(pitches), np.log(found), 1)[0]
    assert order == pytest.approx(1.5, abs=0.3)

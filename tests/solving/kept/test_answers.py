"""Answers looked up are those that would be cast, to the last bit; what matters to one makes it another."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from conftest import Solved
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import raycover
from raycover.building.build import build
from raycover.content import Located
from raycover.proving import situations
from raycover.proving.needs import Proof, prove
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Patch, Weather
from raycover.solving.casting import cast_many as cast_anew
from raycover.solving.coverage import Coverage, make_units, solve
from raycover.solving.kept import answers
from raycover.solving.kept.folder import VARIABLE
from raycover.solving.kept.store import Store, active
from raycover.solving.surfaces import make_surfaces

#: Two rooms, racks at both ends of the long one, units of every kind; lengths on the grid, so that rays meet corners.
SCENE: dict[str, Any] = {
    "raycover": 1,
    "title": "Two rooms",
    "grid": 0.5,
    "rooms": [
        {"name": "Hall", "outline": [[0, 0], [60, 0], [60, 12], [0, 12]], "height": 6, "walls": "brick-215",
         "openings": [{"edge": 3, "at": 4, "width": 2, "height": 2.5, "fill": "steel-door", "name": "Gate"}]},
        {"name": "Office", "outline": [[-8, 0], [0, 0], [0, 12], [-8, 12]], "height": 3,
         "walls": ["brick-215", "none", "brick-215", "brick-215"]},
    ],
    "partitions": [
        {"name": "Screen", "line": [[6, 2], [6, 8]], "height": 3, "construction": "plasterboard-12.5"},
        {"name": "Far screen", "line": [[52, 2], [52, 8]], "height": 3, "construction": "chipboard-18"},
    ],
    "racking": [
        {"name": "Near", "at": [9, 3], "bays": 2, "levels": 2},
        {"name": "Far", "at": [45, 3], "bays": 2, "levels": 2},
    ],
    "detectors": [
        {"name": "A", "model": "ceiling-infrared-general", "at": [4, 4], "mounting": 3},
        {"name": "B", "model": "microwave-omni-5.8", "at": [3, 5], "mounting": 3},
        {"name": "C", "model": "ceiling-infrared-general", "at": [54, 6], "mounting": 3},
        {"name": "D", "model": "ceiling-dual", "at": [-4, 6], "mounting": 2.8},
    ],
    "planes": [
        {"name": "floor", "height": 0},
        {"name": "person", "target": "person", "heights": [0.3, 1.0, 1.6]},
    ],
    "needs": [
        {"name": "Gate", "rooms": ["Hall"], "share": 0.1},
        {"name": "office", "rooms": ["Office"], "share": 0.9, "motion": "presence"},
        {"name": "ways in", "door": "Gate", "first_within": 1.5},
    ],
}  # fmt: skip


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """A store in use, in which everything is kept however few rays it takes."""
    monkeypatch.setenv(VARIABLE, str(tmp_path))
    monkeypatch.setattr(answers, "_FEWEST", 0)
    found = active()
    assert found is not None
    return found


@pytest.fixture
def cast_again(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Names of detectors that were cast on surfaces which they reach."""
    names: list[str] = []

    def spied(units: Any, *rest: Any) -> list[Patch | None]:
        found = cast_anew(units, *rest)
        names.extend(unit.name for unit, patch in zip(units, found, strict=True) if patch is not None)
        return found

    monkeypatch.setattr(answers, "cast_anew", spied)
    return names


def changed(*path: Any, **values: Any) -> Scene:
    """The scene with some values at a place, `changed("detectors", 0, mounting=3.2)`; of the scene itself without."""
    data = copy.deepcopy(SCENE)
    at: Any = data
    for step in path:
        at = at[step]
    at.update(values)
    return raycover.load_text(json.dumps(data))


def assert_same_patches(one: Patch | None, other: Patch | None) -> None:
    assert (one is None) == (other is None)
    if one is not None and other is not None:
        assert one.window == other.window
        assert one.margin_db.tobytes() == other.margin_db.tobytes()
        assert one.margin_db.dtype == other.margin_db.dtype
        assert one.mirrored == other.mirrored


def assert_same(mine: Coverage, fresh: Coverage) -> None:
    """Every array bit for bit, the causes and gaps, and the rays that it took."""
    assert list(mine) == list(fresh)
    for name, plane in fresh.items():
        for a, b in zip(mine[name].patches, plane.patches, strict=True):
            assert_same_patches(a, b)
        for array in ("margin_db", "count", "seeing", "cause", "best_detector", "gap"):
            assert getattr(mine[name], array).tobytes() == getattr(plane, array).tobytes(), (name, array)
        assert mine[name].gaps == plane.gaps
    assert mine.reflections == fresh.reflections
    assert mine.seats == fresh.seats
    assert mine.n_rays == fresh.n_rays


def test_every_example_is_solved_alike_with_and_without(example: Solved, store: Store, cast_again: list[str]) -> None:
    fresh = solve(example.scene, building=example.building, rays=(rays := RayScene(example.building)))
    n_cast = len(cast_again)
    for plane in fresh.values():
        assert plane.gaps is not None
    again = solve(example.scene, building=example.building, rays=RayScene(example.building))
    assert_same(again, fresh)
    assert rays.n_rays == again.n_rays
    assert len(cast_again) == n_cast
    # and what was solved without any store is the same
    for name, plane in example.coverage.items():
        for mine, theirs in zip(again[name].patches, plane.patches, strict=True):
            assert_same_patches(mine, theirs)
        assert again[name].cause.tobytes() == plane.cause.tobytes()
        assert again[name].gaps == plane.gaps


def test_without_a_store_nothing_is_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv(VARIABLE, raising=False)
    solve(changed())
    monkeypatch.setenv(VARIABLE, "off")
    solve(changed())
    assert not list(tmp_path.iterdir())


#: What is changed, and which detectors must be cast again for it, by name.
MATTERS: list[tuple[tuple[Any, ...], dict[str, Any], str]] = [
    (("detectors", 0), {"at": [4.5, 4]}, "A"),
    (("detectors", 0), {"mounting": 3.2}, "A"),
    (("detectors", 0), {"turn_deg": 10}, "A"),
    (("detectors", 0), {"tilt_deg": 10}, "A"),
    (("detectors", 0), {"sensitivity_pct": 80}, "A"),
    (("detectors", 0), {"masks": [{"from_deg": 0, "to_deg": 40}]}, "A"),
    (("detectors", 0), {"model": "high-bay-infrared-round"}, "A"),
    (("detectors", 3), {"microwave_pct": 50}, "D"),
    (("detectors", 3), {"combine": "and"}, "D"),
    ((), {"corrections": {"reach_db": {"microwave-omni-5.8": -1}}}, "B"),
    ((), {"corrections": {"loss_db": {"brick-215": 2}}}, "BD"),
    ((), {"conditions": {"ambient_c": 28}}, "ACD"),
    (("rooms", 1), {"ambient_c": 4}, "D"),
    ((), {"conditions": {"losses": "coherent"}}, "BD"),
    ((), {"conditions": {"reflections": 1}}, "BD"),
    ((), {"grid": 0.4}, "ABCD"),
    (("planes", 0), {"height": 0.1}, "ABCD"),
    (("planes", 0), {"motion": "presence"}, "ABCD"),
    (("partitions", 0), {"construction": "brick-100"}, "BD"),
    (("partitions", 0), {"height": 2.5}, "ABD"),
    (("partitions", 0), {"line": [[6, 2], [6, 7.5]]}, "ABD"),
    (("racking", 0), {"at": [6.6, 3]}, "AB"),
    (("rooms", 0, "openings", 0), {"state": "open"}, "ABD"),
    (("rooms", 1), {"walls": ["plasterboard-12.5", "none", "brick-215", "brick-215"]}, "BD"),
]


@pytest.mark.parametrize(("path", "values", "names"), MATTERS, ids=lambda value: str(value)[:40])
def test_what_matters_casts_those_again_whom_it_concerns(
    path: tuple[Any, ...], values: dict[str, Any], names: str, store: Store, cast_again: list[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    solve(changed(), threads=1)
    cast_again.clear()
    scene = changed(*path, **values)
    mine = solve(scene, threads=1)
    assert set(names) <= set(cast_again)
    monkeypatch.setenv(VARIABLE, "off")
    assert_same(mine, solve(scene, threads=1))


#: What is changed, and whom it is nothing to.
NOTHING: list[tuple[tuple[Any, ...], dict[str, Any], str]] = [
    ((), {"title": "Other words"}, "ABCD"),
    (("rooms", 1), {"ambient_c": 4}, "ABC"),  # out of the reach of A and C, and nothing to microwave
    (("detectors", 0), {"name": "Z", "note": "by the door"}, "ZBCD"),
    (("planes", 0), {"name": "ground"}, "ABCD"),
    ((), {"conditions": {"reserve_db": 6}}, "ABCD"),
    ((), {"conditions": {"ambient_c": 28}}, "B"),
    (("detectors", 0), {"at": [4.5, 4]}, "BCD"),
    (("racking", 1), {"at": [45, 3.5]}, "AB"),
    (("racking", 0), {"at": [9, 3.5]}, "AC"),
    (("partitions", 1), {"construction": "laminate-13"}, "ABCD"),
    (("partitions", 0), {"construction": "laminate-13"}, "AC"),
    (("rooms", 1), {"walls": ["plasterboard-12.5", "none", "brick-215", "brick-215"]}, "AC"),
]


@pytest.mark.parametrize(("path", "values", "names"), NOTHING, ids=lambda value: str(value)[:40])
def test_what_is_nothing_to_a_detector_leaves_it(
    path: tuple[Any, ...], values: dict[str, Any], names: str, store: Store, cast_again: list[str]
) -> None:
    solve(changed(), threads=1)
    assert set(cast_again) == set("ABCD")
    cast_again.clear()
    solve(changed(*path, **values), threads=1)
    assert not set(names) & set(cast_again)


def _one_of(*values: Any) -> st.SearchStrategy[Any]:
    return st.sampled_from(values)


WALLS = _one_of("brick-215", "plasterboard-12.5", "stud-wall-100", "steel-panel")
PLACES = st.integers(0, 8).map(lambda k: 1 + k / 2)
SCENES = st.fixed_dictionaries(
    {
        "hall": WALLS, "office": WALLS, "screen": WALLS, "far": WALLS, "door": _one_of("open", "closed"),
        "screen_at": PLACES, "rack_at": PLACES, "far_rack_at": PLACES, "length": _one_of(60, 60, 60, 62),
        "a_at": PLACES, "b_at": PLACES, "turn": _one_of(0, 0, 90), "mask": st.booleans(),
        "conditions": _one_of({}, {}, {"ambient_c": 28}, {"losses": "coherent"}, {"reflections": 1}),
        "height": _one_of(0, 0.5), "grid": _one_of(0.5, 0.5, 0.6), "grid_from": _one_of(-8, -8, -8.5),
    }
)  # fmt: skip


def _drawn(said: dict[str, Any]) -> Scene:
    data = copy.deepcopy(SCENE)
    hall, office = data["rooms"]
    hall["walls"], office["walls"] = said["hall"], [said["office"], "none", said["office"], said["office"]]
    hall["outline"][1][0] = hall["outline"][2][0] = said["length"]
    office["outline"][0][0] = office["outline"][3][0] = said["grid_from"]
    hall["openings"][0]["state"] = said["door"]
    near, far = data["partitions"]
    near["construction"], far["construction"] = said["screen"], said["far"]
    near["line"][1][1] = 3 + said["screen_at"]
    data["racking"][0]["at"][1], data["racking"][1]["at"][1] = said["rack_at"], said["far_rack_at"]
    a, b, _, d = data["detectors"]
    a["at"][1], b["at"][1] = said["a_at"], said["b_at"]
    d["turn_deg"] = said["turn"]
    if said["mask"]:
        a["masks"] = [{"from_deg": 30, "to_deg": 60}]
    return raycover.load_text(
        json.dumps({
            **data, "conditions": said["conditions"], "grid": said["grid"],
            "planes": [{"name": "floor", "height": said["height"]}], "needs": [],
        })
    )  # fmt: skip


#: Every answer that any scene drawn below had, by its key.
_SEEN: dict[bytes, tuple[Any, ...]] = {}


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(SCENES)
def test_one_key_never_has_two_answers(store: Store, said: dict[str, Any]) -> None:
    """Over random scenes: whatever was changed, the answer under a key is that under the same key before."""
    scene = _drawn(said)
    building = build(scene)
    rays, weather = RayScene(building), Weather.of(scene)
    surfaces, _ = make_surfaces(scene, building)
    for unit in make_units(scene, building):
        for surface in surfaces:
            asked = answers._Asked.of(unit, surface, rays, weather)
            (patch,) = cast_anew([unit], surface, rays, weather)
            if asked is None:
                assert patch is None
                continue
            row, column = asked._corner
            answer: tuple[Any, ...] = ()
            if patch is not None:
                place = patch.rows.start - row, patch.columns.start - column
                answer = (*place, patch.margin_db.tobytes(), patch.mirrored, patch.n_rays)
            assert _SEEN.setdefault(asked.key, answer) == answer, unit.name


def test_random_scenes_share_answers() -> None:
    """The test above says something only where keys were met again, and not always."""
    if not _SEEN:
        pytest.skip("the test above was not run")
    assert len(_SEEN) < 25 * 4


def _margins(proof: Proof) -> list[Any]:
    return [place.margin_db.tobytes() for verdict in proof.needs for place in verdict.places]


def test_needs_are_judged_alike(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    first, again = prove(changed()), prove(changed())
    assert any(place.site.lines for verdict in first.needs for place in verdict.places)  # walked in by a door
    assert store.size()[0] > 0
    assert _margins(again) == _margins(first)
    with monkeypatch.context() as patched:
        patched.setattr(situations, "margins", None)  # nothing is worked out: all of it is there
        patched.setattr(situations, "margins_at", None)
        assert _margins(prove(changed())) == _margins(first)
    other = prove(changed("partitions", 0, height=2.0))
    monkeypatch.setenv(VARIABLE, "off")
    assert _margins(prove(changed())) == _margins(first)
    assert _margins(prove(changed("partitions", 0, height=2.0))) == _margins(other)


def test_other_physics_have_other_answers(store: Store, cast_again: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    solve(changed())
    cast_again.clear()
    solve(changed())
    assert not cast_again
    monkeypatch.setattr(answers, "physics", lambda: b"another version")
    solve(changed())
    assert set(cast_again) == set("ABCD")


def test_a_damaged_answer_is_cast_again(store: Store, cast_again: list[str]) -> None:
    fresh = solve(changed())
    for path in store.folder.rglob("*.kept"):
        content = bytearray(path.read_bytes())
        content[-1] ^= 1
        path.write_bytes(content)
    cast_again.clear()
    assert_same(solve(changed()), fresh)
    assert set(cast_again) == set("ABCD")
    cast_again.clear()
    solve(changed())
    assert not cast_again


def test_kept_margins_may_be_written_to(store: Store) -> None:
    """What is looked up is the caller's own, as what is cast."""
    solve(changed())
    again = solve(changed())
    patch = next(patch for patch in again["floor"].patches if patch is not None)
    patch.margin_db[...] = 0
    assert np.isneginf(solve(changed())["floor"].patches[0].margin_db).any()  # type: ignore[union-attr]


def test_of_no_point_nothing_is_kept(stairwell: Solved) -> None:
    """A place without a point to look at, such as a map off which everything has been taken."""
    nowhere = Located.of("a map", np.zeros((0, 3)), 1.75)
    assert (nowhere.n_points, nowhere.corners.shape) == (0, (2, 3))
    unit, weather = stairwell.coverage.units[0], Weather.of(stairwell.scene)
    assert unit.kind == "microwave"
    assert weather.reflections  # one such answer of a single point would be kept
    assert answers.worth(unit, weather, 1)
    assert not answers.worth(unit, weather, nowhere.n_points)

"""What a scene file may say: the schema's words, its defaults against the program's behaviour, its bounds."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from pydantic import ValidationError
from pydantic.fields import FieldInfo

import raycover
from raycover.building.build import build
from raycover.errors import InputError
from raycover.scene import devices, meshes, parts, quantities
from raycover.scene.reading import read_text
from raycover.scene.schema import Scene
from raycover.scene.validate import validate

ROOM = "rooms: [{name: r, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: brick-100}]\n"
UNIT = "detectors: [{name: D, model: microwave-omni-5.8, at: [2, 2], mounting: 2.5}]\n"
BASE = "raycover: 1\n" + ROOM + UNIT
CLASSES = [
    found
    for module in (parts, devices, meshes)
    for found in vars(module).values()
    if isinstance(found, type) and issubclass(found, quantities.Strict) and found is not quantities.Strict
]


def load(text: str) -> Scene:
    return raycover.load_text(BASE + text)


def fields() -> Iterator[tuple[type[quantities.Strict], str, FieldInfo]]:
    for made in CLASSES:
        for name, info in made.model_fields.items():
            yield made, name, info


# ---- words


def test_every_key_is_explained() -> None:
    """A designer who misses a key is told what it is for; shapes are told by their class."""
    bare = [f"{made.__name__}.{name}" for made, name, info in fields() if not info.description]
    assert [name for name in bare if not name.startswith("ShapeSpec.")] == []


def test_a_json_schema_for_editors() -> None:
    schema = Scene.model_json_schema()
    assert schema["additionalProperties"] is False
    assert schema["required"] == ["raycover"]
    assert schema["properties"]["raycover"]["const"] == 1
    assert {"rooms", "partitions", "solids", "racking", "cubicles", "desks", "sheets"} <= set(schema["properties"])


class Later(quantities.Strict):
    """A mapping with a key that is part of the format but not built."""

    name: str
    sooner: float = 0.0
    later: quantities.NotBuiltYet = None


def test_keys_that_are_reserved_are_refused_and_never_suggested() -> None:
    with pytest.raises(InputError) as caught:
        validate(Later, read_text("name: A\nlater: []\n", "some.yaml"))
    (problem,) = caught.value.problems
    assert (problem.code, problem.position.line, problem.position.column) == ("not-built-yet", 2, 1)
    with pytest.raises(InputError) as caught:
        validate(Later, read_text("name: A\nweather: fair\n", "some.yaml"))
    assert caught.value.problems[0].help.startswith("known: ")
    assert "later" not in caught.value.problems[0].help


def test_a_scene_cannot_be_changed() -> None:
    scene = load("")
    with pytest.raises(ValidationError):
        scene.grid = 1.0  # type: ignore[misc]


def test_a_scene_made_by_hand_says_that_it_has_no_catalogue() -> None:
    scene = Scene(raycover=1)
    assert str(scene.position("rooms", 0)) == "scene"
    with pytest.raises(RuntimeError, match="without load"):
        scene.catalogue  # noqa: B018


# ---- lengths and numbers


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("2500 mm", 2.5),
        ("2500mm", 2.5),
        ('"2500 mm"', 2.5),
        ("2.5 m", 2.5),
        ("2.5m", 2.5),
        ("+2.5", 2.5),
        ("25e-1", 2.5),
        ("2", 2.0),
        ("2500.5 mm", 2.5005),
    ],
)
def test_lengths(text: str, metres: float) -> None:
    scene = raycover.load_text(BASE.replace("mounting: 2.5", f"mounting: {text}"))
    assert scene.detectors[0].mounting == pytest.approx(metres, abs=1e-12)


def test_millimetres_work_everywhere() -> None:
    scene = raycover.load_text(
        BASE.replace("[2, 2]", "[2000 mm, 2 m]").replace("[6, 4]", "[6000 mm, 4]")
        + "grid: 250 mm\nplanes: [{name: desk, height: 750 mm, extent: [0, 0, 3000 mm, 2]}]\n"
        + "solids: [{name: s, centre: [4, 1], size: [400 mm, 0.4, 3 m], material: metal}]\n"
    )
    assert scene.detectors[0].at == (2, 2)
    assert scene.rooms[0].outline[2] == (6, 4)
    assert scene.grid == 0.25
    assert (scene.planes[0].height, scene.planes[0].extent) == (0.75, (0, 0, 3, 2))
    assert scene.solids[0].size == (0.4, 0.4, 3)


def test_angles_and_ratios_take_no_unit() -> None:
    for value in ("90 deg", "90 mm", '"90"'):
        with pytest.raises(InputError) as caught:
            raycover.load_text(BASE.replace("at: [2, 2]", f"at: [2, 2], turn_deg: {value}"))
        assert caught.value.problems[0].message.startswith('turn_deg in detectors[0] ("D") expects a number')


# ---- what is not said: defaults


def test_documented_defaults() -> None:
    scene = load("")
    assert (scene.title, scene.grid, scene.north_deg) == ("Untitled", 0.25, 90)
    given = scene.conditions
    assert (given.ambient_c, given.reserve_db, given.reflections, given.losses) == (20, 3, 0, "averaged")
    assert [(p.name, p.height, p.target, p.motion) for p in scene.planes] == [
        ("floor", 0, "point", "any"),
        ("desk", 0.75, "point", "any"),
    ]
    person = load("planes: [{name: people, target: person}]\n").planes[0]
    assert person.target_heights == (0.3, 1.0, 1.6)
    unit = scene.detectors[0]
    assert (unit.turn_deg, unit.tilt_deg, unit.masks) == (0, 0, [])
    pattern = load("").pattern_of(unit)
    assert pattern.kind == "microwave"


LONG = {
    "conditions": "conditions: {ambient_c: 20, reserve_db: 3, reflections: 0, losses: averaged}\n",
    "planes": "planes: [{name: floor, height: 0, target: point, motion: any}, {name: desk, height: 0.75}]\n",
    "grid": "grid: 0.25\n",
    "partitions": (
        "partitions: [{{name: p, line: [[3, 0], [3, 4]], {base}height: 3, construction: plasterboard-12.5, "
        "openings: [{{at: 1, width: 1, height: 2{rest}}}]}}]\n"
    ),
    "racking": (
        "racking: [{{name: R, at: [3.2, 2], bays: 1, levels: 2, bay_width: 1.5{rest}}}]\n"
    ),
    "cubicles": "cubicles: [{{name: C, at: [3, 2], count: 2{rest}}}]\n",
    "desks": "desks: [{{name: T, at: [3, 1]{rest}}}]\n",
}  # fmt: skip


def margins(text: str) -> list[Any]:
    return [plane.margin_db for plane in raycover.solve(raycover.load_text(text), threads=1).values()]


@pytest.mark.parametrize(
    ("short", "long"),
    [
        ("", LONG["conditions"] + LONG["planes"] + LONG["grid"]),
        (
            LONG["partitions"].format(base="", rest=""),
            LONG["partitions"].format(base="base: 0, ", rest=", sill: 0, fill: none, state: closed"),
        ),
        (
            LONG["racking"].format(rest=""),
            LONG["racking"].format(
                rest=", turn_deg: 0, base: 0, depth: 1.1, level_pitch: 1.6, back_to_back: false, flue_gap: 0.25, "
                "upright: 0.1, beam_height: 0.12, goods: true, goods_material: goods, pallets_per_bay: 1, "
                "kind: pallet, first_level: 0, decks: none, end_guards: false"
            ),
        ),
        (
            LONG["cubicles"].format(rest=""),
            LONG["cubicles"].format(
                rest=", turn_deg: 0, base: 0, width: 0.85, depth: 1.5, floor_gap: 0.15, top: 2.0, panel: laminate-13, "
                "door: laminate-13, door_width: 0.6, doors: closed, left_end: true, right_end: true"
            ),
        ),
        (
            LONG["desks"].format(rest=""),
            LONG["desks"].format(
                rest=", turn_deg: 0, base: 0, size: [1.6, 0.8], height: 0.73, count: 1, gap: 0, top: chipboard-18"
            ),
        ),
    ],
    ids=["scene", "partition", "racking", "cubicles", "desks"],
)
def test_defaults_are_what_happens(short: str, long: str) -> None:
    """A value left out and the same value written out give the very same map; that the thing is there shows."""
    first, second = margins(BASE + short), margins(BASE + long)
    for a, b in zip(first, second, strict=True):
        np.testing.assert_array_equal(a, b)
    if short:
        assert any(not np.array_equal(a, b, equal_nan=True) for a, b in zip(first, margins(BASE), strict=True))


def test_walls_ceiling_and_floor_default_to_nothing_but_walls() -> None:
    bare = build(load("")).sheets
    assert {sheet.loc[2] for sheet in bare} == {"walls"}
    text = BASE.replace("walls: brick-100", "walls: none, ceiling: none, floor_construction: none")
    assert build(raycover.load_text(text)).sheets == ()


def test_an_explicit_zero_or_false_is_kept() -> None:
    scene = load(
        "conditions: {reserve_db: 0, ambient_c: 0}\n"
        "racking: [{name: R, at: [3.2, 2], bays: 1, levels: 1, bay_width: 1.5, goods: false, flue_gap: 0}]\n"
        "cubicles: [{name: C, at: [0.5, 0.2], count: 1, floor_gap: 0, left_end: false}]\n"
        "planes: [{name: floor, height: 0}]\n"
    )
    assert (scene.conditions.reserve_db, scene.conditions.ambient_c) == (0, 0)
    assert (scene.racking[0].goods, scene.racking[0].flue_gap) == (False, 0)
    assert (scene.cubicles[0].floor_gap, scene.cubicles[0].left_end) == (0, False)
    assert scene.planes[0].target_heights == (0.0,)


# ---- patterns and masks


def test_a_pattern_of_its_own() -> None:
    text = BASE.replace(
        "model: microwave-omni-5.8",
        "pattern: {kind: microwave, frequency_ghz: 24.125, reach_behind: 0, bus_current_ma: 0, largest_mask_share: 0, "
        "mounting: {from: 2, to: 3}, declared: [{mounting: 2.5, motion: radial, shape: {polar: [[0, 5], [90, 0], "
        "[359.5, 5]]}}]}",
    )
    pattern = raycover.load_text(text).detectors[0].pattern
    assert pattern is not None
    assert (pattern.reach_behind, pattern.bus_current_ma, pattern.largest_mask_share) == (0, 0, 0)
    assert pattern.mounting is not None
    assert (pattern.mounting.from_m, pattern.mounting.to_m) == (2, 3)
    assert pattern.declared[0].plane == 0
    assert pattern.declared[0].shape.polar == [(0, 5), (90, 0), (359.5, 5)]


@pytest.mark.parametrize("name", ["Hall 2.1", "Küche", "a-b_c", "Raum (neu)", "+1"])
def test_names_that_files_can_hold(name: str) -> None:
    assert load(f'planes: [{{name: "{name}", height: 0}}]\n').planes[0].name == name


@pytest.mark.parametrize("name", ["a/b", "a\\\\b", ".hidden", "c:d", "what?", " a", "a ", "", "a\\nb", "x" * 81])
def test_names_that_files_cannot_hold(name: str) -> None:
    with pytest.raises(InputError) as caught:
        load(f'planes: [{{name: "{name}", height: 0}}]\n')
    assert caught.value.problems[0].message.startswith("name in planes[0]")

"""Errors of pydantic's, placed in the file and in plain words."""

from __future__ import annotations

import enum
import json
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    RootModel,
    Tag,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from raycover.errors import InputError, Problem, did_you_mean, nearest
from raycover.scene.reading import read_text
from raycover.scene.validate import read_model, validate


class Base(BaseModel):
    model_config = ConfigDict(extra="forbid")


Metres = Annotated[float, Field(strict=True, allow_inf_nan=False, json_schema_extra={"unit": "metres"})]


class Mask(Base):
    from_deg: Annotated[float, Field(strict=True)] = Field(description="where the mask begins")
    to_deg: float


class Layer(Base):
    material: str
    thickness_mm: float = Field(gt=0)


class Inline(Base):
    """A construction in place."""

    layers: list[Layer] = Field(min_length=1)


class Circle(Base):
    form: Literal["circle"]
    diameter: Metres


class Rectangle(Base):
    form: Literal["rectangle"]
    length: Metres
    width: Metres


class Kind(enum.Enum):
    INFRARED = "infrared"
    MICROWAVE = "microwave"


class Detector(Base):
    name: str = Field(min_length=1, max_length=10)
    at: tuple[Metres, Metres] = Field(description="place on the plan")
    mounting: Metres = Field(gt=0, le=30, description="height above the floor of its room")
    kind: Kind = Kind.INFRARED
    shape: Annotated[Circle | Rectangle, Field(discriminator="form")] | None = None
    masks: list[Mask] = []


class Room(Base):
    name: str
    outline: list[tuple[Metres, Metres]] = Field(min_length=3)
    walls: str | Inline | list[str | Inline] = "none"
    height: Metres | Literal["open", "unknown"] = 3.0

    @field_validator("outline")
    @classmethod
    def _rising(cls, value: list[tuple[float, float]]) -> list[tuple[float, float]]:
        if value[0] == value[-1]:
            raise ValueError("the outline ends where it begins")
        return value


class Scene(Base):
    title: str = "Untitled"
    grid: Metres = Field(0.25, gt=0)
    bays: int = Field(1, strict=True, description="bays in a row")
    lit: Annotated[bool, Field(strict=True)] = True
    reflections: Literal[0, 1] = 0
    losses: Literal["averaged", "coherent"] = "averaged"
    rooms: list[Room] = []
    detectors: list[Detector] = []
    labels: dict[str, Metres] = {}

    @model_validator(mode="after")
    def _names(self) -> Scene:
        seen: set[str] = set()
        for i, detector in enumerate(self.detectors):
            if detector.name in seen:
                raise PydanticCustomError(
                    "same_name",
                    'the name "{name}" is used twice',
                    {"name": detector.name, "help": "rename one", "at": ["detectors", i, "name"]},
                )
            seen.add(detector.name)
        return self


def problems_of(text: str, model: type[BaseModel] = Scene) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        validate(model, read_text(text, "scene.yaml"))
    return caught.value.problems


def only(text: str, model: type[BaseModel] = Scene) -> Problem:
    (problem,) = problems_of(text, model)
    return problem


def place(problem: Problem) -> tuple[str, int, int]:
    return problem.code, problem.position.line, problem.position.column


def test_a_sound_file() -> None:
    scene = validate(Scene, read_text("title: x\ndetectors:\n- {name: P, at: [1, 2.5], mounting: 3}\n", "s"))
    assert scene.detectors[0].at == (1.0, 2.5)


DETECTORS = """\
title: two
detectors:
  - {name: D1, at: [1, 2], mounting: 3}
  - name: P
    at: [4, 5]
"""


def test_unknown_key_is_pointed_at_and_named() -> None:
    problem = only(DETECTORS + "    mounting: 3\n    msaks: []\n")
    assert place(problem) == ("unknown-key", 7, 5)
    assert problem.message == 'unknown key "msaks" in detectors[1] ("P")'
    assert problem.help == 'did you mean "masks"?'


def test_a_misspelt_required_key_is_one_problem() -> None:
    problem = only(DETECTORS + "    mountng: 3\n")
    assert place(problem) == ("unknown-key", 6, 5)
    assert problem.message == 'unknown key "mountng" in detectors[1] ("P")'
    assert problem.help == 'did you mean "mounting"? it must be given'


def test_a_key_that_is_there_already_is_not_suggested() -> None:
    problem = only("title: x\ntitel: y\n")
    assert problem.message == 'unknown key "titel" at the top level'
    assert 'did you mean "title"' not in problem.help
    assert "grid" in problem.help


def test_unknown_keys_deep_down() -> None:
    text = "rooms:\n- name: hall\n  outline: [[0, 0], [1, 0], [1, 1]]\n  walls:\n"
    problem = only(text + "    layers:\n    - {material: brick, thickness_mm: 100, thicknes: 1}\n")
    assert place(problem) == ("unknown-key", 6, 44)
    assert problem.message == 'unknown key "thicknes" in layers[0] in walls in rooms[0] ("hall")'
    problem = only(text + "  - {layers: [{material: brick, thickness: 100}]}\n")
    assert place(problem) == ("unknown-key", 5, 33)
    assert problem.help.startswith('did you mean "thickness_mm"?')


def test_missing_key_is_placed_at_its_parent() -> None:
    problem = only(DETECTORS)
    assert place(problem) == ("missing-key", 4, 5)
    assert problem.message == 'missing key "mounting" in detectors[1] ("P")'
    assert problem.help == "mounting: height above the floor of its room (metres)"


def test_missing_key_at_the_top() -> None:
    class Needs(Base):
        raycover: Literal[1]
        circle: Circle

    problems = problems_of("\n\n# so\nother: 1\n", Needs)
    assert [place(p) for p in problems] == [
        ("missing-key", 4, 1),
        ("missing-key", 4, 1),
        ("unknown-key", 4, 1),
    ]
    assert problems[0].message == 'missing key "raycover" at the top level'
    assert problems[0].help == "write 1"
    assert problems[1].help == "write a group of keys (form, diameter)"


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [
        ("grid: abc", 'grid expects a number of metres, got text "abc"', ""),
        ("grid: 2,5", 'grid expects a number of metres, got text "2,5"', "write 2.5 with a point"),
        ("grid: ',5'", 'grid expects a number of metres, got text ",5"', "write 0.5 with a point"),
        ("grid: -2,05", 'grid expects a number of metres, got text "-2,05"', "write -2.05 with a point"),
        ("grid: '2.5'", 'grid expects a number of metres, got text "2.5"', "write 2.5 without quotes"),
        ("grid: 1_000", 'grid expects a number of metres, got text "1_000"', "write 1000"),
        ("grid: 25 cm", 'grid expects a number of metres, got text "25 cm"', "metres without its unit"),
        ("grid: true", "grid expects a number of metres, got true", ""),
        ("grid: [1, 2]", "grid expects a number of metres, got a list of 2", ""),
        ("grid: {a: 1}", "grid expects a number of metres, got a group of keys (a)", ""),
        ("grid:", "grid expects a number of metres, got nothing", "write a value here"),
        ("bays: 1.5", "bays expects a whole number, got the number 1.5", "bays: bays in a row"),
        ("bays: x", 'bays expects a whole number, got text "x"', "bays: bays in a row"),
        ("title: 5", "title expects text, got the number 5", "put it in quotes"),
        ("title: false", "title expects text, got false", "put it in quotes"),
        ("lit: yes", 'lit expects true or false, got text "yes"', "write true or false"),
        ("rooms: hall", 'rooms expects a list, got text "hall"', ""),
        ("rooms: {name: hall}", 'rooms ("hall") expects a list, got a group of keys (name)', "begins with a dash"),
        ("rooms: [hall]", 'rooms[0] expects a group of keys (name, outline), got text "hall"', ""),
        ("labels: [1]", "labels expects a group of keys, got a list of 1", ""),
        ("labels: {a: x}", 'a in labels expects a number of metres, got text "x"', ""),
    ],
)
def test_wrong_type(text: str, message: str, hint: str) -> None:
    problem = only(text + "\n")
    assert problem.code == "wrong-type"
    assert problem.message == message
    assert hint in problem.help
    assert problem.position.line == 1


@pytest.mark.parametrize(
    ("at", "code", "column", "message"),
    [
        ("[1]", "wrong-length", 17, 'at in detectors[0] ("D") expects a list of 2 numbers, got a list of 1'),
        ("[1, 2, 3]", "wrong-length", 17, 'at in detectors[0] ("D") must have at most 2 entries, has 3'),
        ("[1, x]", "wrong-type", 21, 'at[1] in detectors[0] ("D") expects a number of metres, got text "x"'),
        ("3", "wrong-type", 17, 'at in detectors[0] ("D") expects a list of 2 numbers, got the number 3'),
    ],
)
def test_fixed_lists(at: str, code: str, column: int, message: str) -> None:
    problem = only(f"detectors:\n- {{name: D, at: {at}, mounting: 3}}\n")
    assert place(problem) == (code, 2, column)
    assert problem.message == message


def test_a_height_in_at_of_a_detector() -> None:
    """Whether or not mounting stands there too, the error says at once that this is the height."""
    for more in ("", ", mounting: 3"):
        problems = problems_of(f"detectors:\n- {{name: D, model: wall-infrared, at: [1.5, 2, 2.8]{more}}}\n")
        found = [p for p in problems if p.code == "wrong-length"]
        assert [p.help for p in found] == [
            "a detector's height is not in at, it is mounting: write at: [1.5, 2], mounting: 2.8"
        ]


def test_decimal_commas_in_a_list() -> None:
    problem = only("detectors:\n- {name: D, at: [2,5, 3,0], mounting: 3}\n")
    assert problem.help == "if 2,5 is one number, write 2.5 with a point"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("grid: 0", "grid must be more than 0 metres, got 0"),
        ("grid: -0.25", "grid must be more than 0 metres, got -0.25"),
        (
            "detectors: [{name: D, at: [0, 0], mounting: 30.5}]",
            'mounting in detectors[0] ("D") must be at most 30 metres, got 30.5',
        ),
    ],
)
def test_out_of_range(text: str, message: str) -> None:
    problem = only(text)
    assert problem.code == "out-of-range"
    assert problem.message == message


def test_lengths_of_text_and_lists() -> None:
    problems = problems_of(
        "detectors:\n- {name: '', at: [0, 0], mounting: 1}\n- {name: abcdefghijkl, at: [0, 0], mounting: 1}\n"
        "rooms:\n- {name: hall, outline: [[0, 0]]}\n"
    )
    assert [p.code for p in problems] == ["wrong-length"] * 3
    assert problems[0].message.endswith("must have at least 1 character, has 0")
    assert problems[1].message.endswith("must have at most 10 characters, has 12")
    assert problems[2].message == 'outline in rooms[0] ("hall") must have at least 3 entries, has 1'


@pytest.mark.parametrize(
    ("text", "code", "message", "hint"),
    [
        (
            "losses: avaraged",
            "not-allowed",
            'losses expects one of "averaged", "coherent", got text "avaraged"',
            'did you mean "averaged"?',
        ),
        ("reflections: 2", "not-allowed", "reflections expects one of 0, 1, got the number 2", ""),
        ("reflections: two", "wrong-type", 'reflections expects one of 0, 1, got text "two"', ""),
        (
            "detectors: [{name: D, at: [0, 0], mounting: 1, kind: infra-red}]",
            "not-allowed",
            'kind in detectors[0] ("D") expects one of "infrared", "microwave", got text "infra-red"',
            'did you mean "infrared"?',
        ),
    ],
)
def test_choices(text: str, code: str, message: str, hint: str) -> None:
    problem = only(text)
    assert (problem.code, problem.message, problem.help) == (code, message, hint)


# ---- unions: one sensible message


HEIGHT = 'height in rooms[0] ("hall") expects a number of metres or one of "open", "unknown"'


def room(extra: str) -> str:
    return f"rooms:\n- {{name: hall, outline: [[0, 0], [1, 0], [1, 1]], {extra}}}\n"


@pytest.mark.parametrize(
    ("extra", "code", "column", "message"),
    [
        (
            "walls: 5",
            "wrong-type",
            58,
            'walls in rooms[0] ("hall") expects text or a group of keys (layers) or a list, got the number 5',
        ),
        (
            "walls: [a, 5]",
            "wrong-type",
            62,
            'walls[1] in rooms[0] ("hall") expects text or a group of keys (layers), got the number 5',
        ),
        (
            "walls: {layers: []}",
            "wrong-length",
            67,
            'layers in walls in rooms[0] ("hall") must have at least 1 entry, has 0',
        ),
        (
            "walls: {layers: [{material: x, thickness_mm: -1}]}",
            "out-of-range",
            96,
            'thickness_mm in layers[0] in walls in rooms[0] ("hall") must be more than 0, got -1',
        ),
        (
            "height: opne",
            "not-allowed",
            59,
            f'{HEIGHT}, got text "opne"',
        ),
        (
            "height: []",
            "wrong-type",
            59,
            f"{HEIGHT}, got an empty list",
        ),
    ],
)
def test_unions(extra: str, code: str, column: int, message: str) -> None:
    problem = only(room(extra))
    assert place(problem) == (code, 2, column)
    assert problem.message == message


def test_union_of_words_suggests_one() -> None:
    assert only(room("height: opne")).help == 'did you mean "open"?'
    assert only(room("height: '2,5'")).help == "write 2.5 with a point"


def detector(shape: str) -> str:
    return f"detectors:\n- {{name: D, at: [0, 0], mounting: 1, shape: {shape}}}\n"


@pytest.mark.parametrize(
    ("shape", "code", "column", "message", "hint"),
    [
        (
            "{form: circel, diameter: 2}",
            "not-allowed",
            52,
            'form in shape in detectors[0] ("D") must be one of "circle", "rectangle", got text "circel"',
            'did you mean "circle"?',
        ),
        (
            "{diameter: 2}",
            "missing-key",
            45,
            'missing key "form" in shape in detectors[0] ("D")',
            'form: one of "circle", "rectangle"',
        ),
        ("5", "wrong-type", 45, 'shape in detectors[0] ("D") expects a group of keys, got the number 5', ""),
        (
            "{form: rectangle, length: 2, wdth: 1}",
            "unknown-key",
            74,
            'unknown key "wdth" in shape in detectors[0] ("D")',
            'did you mean "width"? it must be given',
        ),
        (
            "{form: circle, diameter: x}",
            "wrong-type",
            70,
            'diameter in shape in detectors[0] ("D") expects a number of metres, got text "x"',
            "",
        ),
    ],
)
def test_discriminated_unions(shape: str, code: str, column: int, message: str, hint: str) -> None:
    problem = only(detector(shape))
    assert place(problem) == (code, 2, column)
    assert (problem.message, hint in problem.help) == (message, True)


def test_union_without_a_discriminator_picks_the_member_meant() -> None:
    class Loose(Base):
        shape: Circle | Rectangle

    problem = only("shape:\n  form: rectangle\n  length: 2\n  width: wide\n", Loose)
    assert place(problem) == ("wrong-type", 4, 10)
    # two errors either way, but the form says which was meant
    problems = problems_of("shape: {form: rectangle}\n", Loose)
    assert [p.message for p in problems] == ['missing key "length" in shape', 'missing key "width" in shape']


def test_tag_with_the_name_of_a_key() -> None:
    """A union told apart by a function, whose tags are also the keys of the data."""

    class Round(Base):
        circle: Circle

        @model_validator(mode="after")
        def _small(self) -> Round:
            if self.circle.diameter > 9:
                raise ValueError("too wide")
            return self

    class Square(Base):
        square: Rectangle

    class Holder(Base):
        shape: Annotated[
            Annotated[Round, Tag("circle")] | Annotated[Square, Tag("square")],
            Discriminator(lambda v: next(iter(v), None) if isinstance(v, dict) else None),
        ]

    problem = only("shape: {circle: {form: circle, diametr: 1}}\n", Holder)
    assert place(problem) == ("unknown-key", 1, 32)
    assert problem.help == 'did you mean "diameter"? it must be given'
    problem = only("shape: {circle: 7}\n", Holder)
    assert place(problem) == ("wrong-type", 1, 17)
    problem = only("shape: {circle: {form: circle, diameter: 10}}\n", Holder)
    assert place(problem) == ("invalid-value", 1, 8)  # the tag, not the key of the same name
    assert place(only("shape: {oval: 7}\n", Holder)) == ("not-allowed", 1, 8)


# ---- validators of the model's own


def test_value_error_is_passed_through() -> None:
    problem = only("rooms:\n- {name: hall, outline: [[0, 0], [1, 0], [0, 0]]}\n")
    assert place(problem) == ("invalid-value", 2, 25)
    assert problem.message == 'outline in rooms[0] ("hall"): the outline ends where it begins'


def test_custom_error_with_help_and_a_deeper_place() -> None:
    row = "- {name: D, at: [0, 0], mounting: 1}\n"
    problem = only("detectors:\n" + row + row)
    assert place(problem) == ("same-name", 3, 10)
    assert problem.message == 'name in detectors[1] ("D"): the name "D" is used twice'
    assert problem.help == "rename one"


def test_custom_error_pointing_at_a_key_and_one_pointing_nowhere() -> None:
    def refuse(value: Any) -> Any:
        raise PydanticCustomError("no_good", "no good", {"key": True, "at": ["absent"]})

    class Odd(Base):
        a: Annotated[Any, AfterValidator(refuse)]

    assert place(only("a:   5\n", Odd)) == ("no-good", 1, 1)


def test_a_key_put_in_by_a_validator() -> None:
    def expand(value: Any) -> Any:
        return {"form": "circle", "diameter": value, "extra": 1}

    class Short(Base):
        circle: Annotated[Circle, BeforeValidator(expand)]

    problems = problems_of("circle: wide\n", Short)
    assert {place(p) for p in problems} == {("wrong-type", 1, 9), ("unknown-key", 1, 9)}


def test_aliases_are_the_names_in_the_file() -> None:
    class Range(Base):
        from_m: float = Field(alias="from", description="lowest height")
        to_m: float = Field(alias="to", gt=0)

    problems = problems_of("to: -1\nform: 2\n", Range)
    assert [place(p) for p in problems] == [("out-of-range", 1, 5), ("unknown-key", 2, 1)]
    assert problems[1].help == 'did you mean "from"? it must be given'
    assert only("to: 1\n", Range).help == "from: lowest height"


def test_keys_of_a_dictionary() -> None:
    class Table(Base):
        rows: dict[Annotated[str, Field(max_length=3)], float]

    problem = only("rows:\n  ok: 1\n  lengthy: 2\n", Table)
    assert place(problem) == ("wrong-length", 3, 3)


def test_recursive_and_root_models() -> None:
    class Part(Base):
        name: str
        parts: list[Part] = []

    class Whole(RootModel[dict[str, Part]]):
        pass

    problem = only("a:\n  name: A\n  parts: [{name: B, parts: [{nmae: C}]}]\n", Whole)
    assert place(problem) == ("unknown-key", 3, 30)
    assert problem.message == 'unknown key "nmae" in parts[0] in parts[0] ("B") in a ("A")'


def test_a_model_without_a_json_schema() -> None:
    class Thing:
        pass

    class Opaque(BaseModel):
        model_config = ConfigDict(extra="forbid", arbitrary_types_allowed=True)
        thing: Thing
        size: float

    problems = problems_of("thing: 1\nsize: x\nother: 2\n", Opaque)
    assert [place(p) for p in problems] == [("wrong-type", 1, 8), ("wrong-type", 2, 7), ("unknown-key", 3, 1)]


# ---- everything in one go


def test_all_at_once_and_in_the_order_of_the_file() -> None:
    text = """\
grid: -1
rooms:
  - {name: hall, outline: [[0, 0]], walls: 3}
detectors:
  - {nme: D, at: [1], mounting: 2,5 m}
  - {name: E, at: [1, 2], mounting: high, masks: [{from_deg: 1}]}
gird: 2
"""
    text = text.replace("2,5 m", "'2,5'")
    assert [place(p) for p in problems_of(text)] == [
        ("out-of-range", 1, 7),
        ("wrong-length", 3, 27),
        ("wrong-type", 3, 44),
        ("unknown-key", 5, 6),
        ("wrong-length", 5, 18),
        ("wrong-type", 5, 33),
        ("wrong-type", 6, 37),
        ("missing-key", 6, 51),
        ("unknown-key", 7, 1),
    ]


def test_reading_and_checking_in_one_go(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text("title: a\ntitle: b\ngrid: .inf\nbays: *x\nlosses: loud\n")
    with pytest.raises(InputError) as caught:
        read_model(Scene, path)
    assert [(p.code, p.position.line) for p in caught.value.problems] == [
        ("duplicate-key", 2),
        ("not-finite", 3),
        ("yaml-alias", 4),  # and nothing about what stands in for the alias
        ("not-allowed", 5),
    ]
    path.write_text("title: a\ntitle: b\n")
    with pytest.raises(InputError):
        read_model(Scene, path)
    path.write_text("title: a\n")
    scene, document = read_model(Scene, path)
    assert (scene.title, document.data) == ("a", {"title": "a"})


def test_a_part_of_a_file() -> None:
    text = "version: 1\nunits:\n- {name: D, at: [0, 0], mounting: 1}\n- {name: E, at: [0, 0]}\n"
    document = read_text(text, "s")
    assert validate(Detector, document, at=("units", 0)).name == "D"
    with pytest.raises(InputError) as caught:
        validate(Detector, document, at=("units", 1))
    (problem,) = caught.value.problems
    assert place(problem) == ("missing-key", 4, 3)
    assert problem.message == 'missing key "mounting" in units[1] ("E")'


def test_control_characters_never_reach_the_terminal() -> None:
    problem = only('"a\\x1b[31m": 1\ntitle: "\\e[0m"\n')
    assert "\x1b" not in problem.frame()


NUMBERS = st.integers() | st.floats(allow_nan=False, allow_infinity=False)
KEYS = st.sampled_from(["name", "at", "mounting", "shape", "form", "diameter", "walls", "layers", "outline"])
VALUES = st.recursive(
    st.none() | st.booleans() | NUMBERS | st.text("a1,._", max_size=5),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=15,
)


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])  # nothing here depends on the clock
@given(st.dictionaries(st.sampled_from([*Scene.model_fields, "extra"]), VALUES, max_size=5))
def test_any_data_is_accepted_or_refused_with_places(data: dict[str, Any]) -> None:
    document = read_text(json.dumps(data, indent=1), "s.json")
    try:
        read: Scene | tuple[Problem, ...] = validate(Scene, document)
    except InputError as error:
        read = error.problems
    if isinstance(read, tuple):
        assert read
        assert all(p.position.line and p.position.column and p.message and p.code for p in read)
    else:
        assert set(data) <= set(Scene.model_fields)


# ---- suggestions and frames


def test_nearest() -> None:
    assert nearest("mountng", ["masks", "mounting"]) == "mounting"
    assert nearest("WALLS", ["floor", "walls"]) == "walls"
    assert nearest("xyz", ["floor", "walls"]) is None
    assert nearest("a", []) is None
    assert did_you_mean("xyz", ["floor", "walls"]) == "known: floor, walls"


def test_the_caret_stands_under_the_culprit() -> None:
    rows = only("title: 'wide\tone'\ngrid: {a: 1, b: [x]}\n").frame().splitlines()
    assert rows[0].startswith("scene.yaml:2:7: error: ")
    assert rows[1][rows[2].index("^")] == "{"

"""Reading YAML strictly, with a place for every value."""

from __future__ import annotations

import json
import math
import os
import string
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from raycover.errors import InputError, Problem
from raycover.scene import reading
from raycover.scene.reading import Document, read_text, read_yaml
from raycover.scene.scalars import plain_scalar

# Nothing here may depend on the clock of a shared machine.
untimed = settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])

SCENE = """\
title: Brackenfield depot
rooms:
  - name: hall
    outline: [[0, 0], [40, 0], [40, 24]]
  - {name: office, height: 2.7}
grid: 0.25
"""


def found(text: str) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        read_text(text, "scene.yaml")
    return caught.value.problems


def places(text: str) -> list[tuple[str, int, int]]:
    return [(p.code, p.position.line, p.position.column) for p in found(text)]


@pytest.fixture(params=["libyaml", "pure Python"])
def parser(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Both parsers: PyYAML is built without libyaml on some machines."""
    if request.param == "libyaml":
        if not yaml.__with_libyaml__:
            pytest.skip("this PyYAML was built without libyaml")
        monkeypatch.setattr(reading, "_Loader", yaml.CSafeLoader)
    else:
        monkeypatch.setattr(reading, "_Loader", yaml.SafeLoader)
    return str(request.param)


# ---- data and places


def test_data_is_plain(parser: str) -> None:
    document = read_text(SCENE, "scene.yaml")
    assert document.data == {
        "title": "Brackenfield depot",
        "rooms": [
            {"name": "hall", "outline": [[0, 0], [40, 0], [40, 24]]},
            {"name": "office", "height": 2.7},
        ],
        "grid": 0.25,
    }
    assert list(document.data) == ["title", "rooms", "grid"]


@pytest.mark.parametrize(
    ("loc", "key", "line", "column"),
    [
        (("title",), False, 1, 8),
        (("title",), True, 1, 1),
        (("rooms",), True, 2, 1),
        (("rooms", 0), False, 3, 5),
        (("rooms", 0, "name"), False, 3, 11),
        (("rooms", 0, "outline"), True, 4, 5),
        (("rooms", 0, "outline"), False, 4, 14),
        (("rooms", 0, "outline", 2, 1), False, 4, 37),
        (("rooms", 1), False, 5, 5),
        (("rooms", 1, "height"), True, 5, 20),
        (("rooms", 1, "height"), False, 5, 28),
        (("grid",), False, 6, 7),
        # what isn't there is placed at the nearest parent that is
        (("rooms", 1, "walls"), False, 5, 5),
        (("rooms", 1, "walls"), True, 5, 5),
        (("rooms", 7, "name"), False, 3, 3),
        (("grid", "deeper", 0), False, 6, 7),
        (("nothing",), False, 1, 1),
        ((), False, 1, 1),
    ],
)
def test_positions(parser: str, loc: tuple[str | int, ...], key: bool, line: int, column: int) -> None:
    position = read_text(SCENE, "scene.yaml").position(loc, key=key)
    assert (position.file, position.line, position.column) == ("scene.yaml", line, column)
    assert position.text == SCENE.splitlines()[line - 1]


def test_columns_count_characters_not_bytes(parser: str) -> None:
    document = read_text("title: {a: Øresund №1 🏭, b: 2}\r\ngrid: 1\rlast: 2\n", "s.yaml")
    assert document.position(("title", "b")).column == 29
    assert document.position(("grid",)).line == 2  # \r\n is one line break
    assert document.position(("last",)).line == 3  # and so is \r: YAML 1.2.2, section 5.4


def test_a_value_left_out_is_placed_after_its_colon(parser: str) -> None:
    document = read_text("title:\ngrid: 1\n", "s.yaml")
    assert document.data["title"] is None
    assert (document.position(("title",)).line, document.position(("title",)).column) == (1, 7)


# ---- scalars: YAML 1.2.2 (2021-10-01), section 10.3.2 "Tag Resolution", table of regular expressions

CORE_SCHEMA = [
    # null | Null | NULL | ~, and /* Empty */
    *((word, None) for word in ("null", "Null", "NULL", "~", "")),
    *((word, word) for word in ("nUll", "none", "None", "nil")),
    # true | True | TRUE | false | False | FALSE
    *((word, True) for word in ("true", "True", "TRUE")),
    *((word, False) for word in ("false", "False", "FALSE")),
    *((word, word) for word in ("yes", "No", "on", "OFF", "y", "n", "tRUE")),
    # [-+]? [0-9]+    0o [0-7]+    0x [0-9a-fA-F]+
    ("0", 0), ("-0", 0), ("+12", 12), ("-19", -19), ("010", 10), ("007", 7),
    ("0o7", 7), ("0o14", 12), ("0o", "0o"), ("0o8", "0o8"), ("-0o7", "-0o7"), ("0O7", "0O7"),
    ("0x3A", 58), ("0xff", 255), ("0x", "0x"), ("0xg", "0xg"), ("+0x1", "+0x1"), ("0b1", "0b1"),
    # [-+]? ( \. [0-9]+ | [0-9]+ ( \. [0-9]* )? ) ( [eE] [-+]? [0-9]+ )?
    ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12000.0), ("-2E+05", -200000.0), ("1e3", 1000.0),
    ("1.5e-3", 0.0015), ("-.5", -0.5), ("5.e1", 50.0),
    *((word, word) for word in (".", "-", "+", "1.2.3", "e3", "1e", "1e3.5", "1 000", "--1", "1.5m")),
    # what YAML 1.1 took for numbers, and 1.2 leaves alone
    *((word, word) for word in ("1_000", "1:30", "190:20:30", "2,5", "0b1010", "2024-01-01")),
    # [-+]? ( \.inf | \.Inf | \.INF )
    (".inf", math.inf), ("-.Inf", -math.inf), ("+.INF", math.inf), (".iNF", ".iNF"), ("inf", "inf"),
    ("nan", "nan"), ("NaN", "NaN"), ("-.nan", "-.nan"), ("Infinity", "Infinity"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "value"), CORE_SCHEMA)
def test_core_schema(text: str, value: Any) -> None:
    read = plain_scalar(text)
    assert read == value
    assert type(read) is type(value)


@pytest.mark.parametrize("text", [".nan", ".NaN", ".NAN"])
def test_core_schema_nan(text: str) -> None:
    assert math.isnan(plain_scalar(text))  # type: ignore[arg-type]


def test_example_10_9_of_the_specification(parser: str) -> None:
    """YAML 1.2.2, example 10.9 "Core Tag Resolution", less its infinities and NaN, which are refused."""
    text = """\
A null: null
Also a null: # Empty
Not a null: ""
Booleans: [ true, True, false, FALSE ]
Integers: [ 0, 0o7, 0x3A, -19 ]
Floats: [ 0., -0.0, .5, +12e03, -2E+05 ]
"""
    assert read_text(text, "s.yaml").data == {
        "A null": None,
        "Also a null": None,
        "Not a null": "",
        "Booleans": [True, True, False, False],
        "Integers": [0, 7, 58, -19],
        "Floats": [0.0, -0.0, 0.5, 12000.0, -200000.0],
    }


def test_quotes_make_text(parser: str) -> None:
    assert read_text("a: '1'\nb: \"true\"\nc: |\n  null\nd: >-\n  2.5\n", "s").data == {
        "a": "1",
        "b": "true",
        "c": "null\n",
        "d": "2.5",
    }


# ---- JSON is YAML (YAML 1.2.2, section 1.2: "every JSON file is also a valid YAML file")

# libyaml reads YAML 1.1, where a surrogate pair of escapes is an error and DEL, C1 controls, NEL and the
# Unicode separators cannot stand unescaped; so text is dumped both ways, with the characters each can carry.
BMP_TEXT = st.text(st.characters(max_codepoint=0xFFFF, exclude_categories=["Cs"]), max_size=60)
RAW_TEXT = st.text(
    st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp", "Cn"], exclude_characters="\ufeff"), max_size=60
)
NUMBERS = st.integers(-(10**300), 10**300) | st.floats(allow_nan=False, allow_infinity=False)


def json_like(text: st.SearchStrategy[str]) -> st.SearchStrategy[dict[str, Any]]:
    values = st.recursive(
        st.none() | st.booleans() | NUMBERS | text,
        lambda inner: st.lists(inner, max_size=5) | st.dictionaries(text, inner, max_size=5),
        max_leaves=20,
    )
    return st.dictionaries(text, values, max_size=6)


@untimed
@given(json_like(BMP_TEXT), st.sampled_from([None, 0, 2]))
def test_json_reads_back(data: dict[str, Any], indent: int | None) -> None:
    assert read_text(json.dumps(data, indent=indent), "s.json").data == data


@untimed
@given(json_like(RAW_TEXT))
def test_json_with_any_script_reads_back(data: dict[str, Any]) -> None:
    assert read_text(json.dumps(data, ensure_ascii=False), "s.json").data == data


@untimed
@given(json_like(st.text(string.ascii_letters, min_size=1)))
def test_every_value_has_its_place(data: dict[str, Any]) -> None:
    text = json.dumps(data, indent=1)
    document = read_text(text, "s.json")

    def check(value: Any, loc: tuple[str | int, ...]) -> None:
        position = document.position(loc)
        rest = "\n".join([position.text[position.column - 1 :], *document.lines[position.line :]])
        assert json.JSONDecoder().raw_decode(rest)[0] == value
        for part, inner in value.items() if isinstance(value, dict) else enumerate(value):
            if isinstance(part, str):
                key = document.position((*loc, part), key=True)
                assert key.text[key.column - 1 :].startswith(json.dumps(part) + ":")
            if isinstance(inner, dict | list):
                check(inner, (*loc, part))

    check(data, ())


@untimed
@given(st.text(st.sampled_from("ab: -[]{},'\"\n\t#&*!|>?%@0.\\\x00\ufeff\u2028"), max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        read = read_text(text, "s.yaml").data
    except InputError as error:
        read, problems = None, error.problems
    if read is not None:
        assert isinstance(read, dict)
    else:
        assert problems
        assert all(p.position.line >= 1 and p.position.column >= 1 and p.frame() for p in problems)


# ---- refusals


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n", "---\n", "---\n...\n", "\ufeff"])
def test_empty(parser: str, text: str) -> None:
    assert places(text) == [("empty-file", 1, 1)]


@pytest.mark.parametrize(
    ("text", "what", "column"),
    [
        ("- 1\n- 2\n", "a list", 1),
        ("just words\n", "text", 1),
        ("5", "a number", 1),
        ("true", "true or false", 1),
        ("~", "null", 1),
        ("  null # so\n", "null", 3),
        ("''", "text", 1),
    ],
)
def test_top_level(parser: str, text: str, what: str, column: int) -> None:
    (problem,) = found(text)
    assert (problem.code, problem.position.line, problem.position.column) == ("wrong-type", 1, column)
    assert problem.message.endswith(f"not {what}")


def test_duplicate_keys(parser: str) -> None:
    text = "a: 1\nb:\n  c: 1\n  d: 2\n  c: 3\na: 2\n'a': 3\n"
    assert places(text) == [("duplicate-key", 5, 3), ("duplicate-key", 6, 1), ("duplicate-key", 7, 1)]
    messages = [p.message for p in found(text)]
    assert "first is on line 3" in messages[0]
    assert "first is on line 1" in messages[1]
    assert "first is on line 1" in messages[2]


@pytest.mark.parametrize(
    ("text", "line", "column", "hint"),
    [
        ("a: 1\n5: x\n", 2, 1, 'put it in quotes: "5"'),
        ("true: x\n", 1, 1, 'put it in quotes: "true"'),
        ("a:\n  1.5: x\n", 2, 3, 'put it in quotes: "1.5"'),
        ("a: 1\n?\n: x\n", 2, 2, "write a key before the colon"),
        ("a: 1\n~: x\n", 2, 1, 'put it in quotes: "~"'),
        ("? [a, b]\n: x\n", 1, 3, "put text that holds brackets in quotes"),
        ("? {a: b}\n: x\n", 1, 3, "put text that holds brackets in quotes"),
        ("a: {mounting: 2,5}\n", 1, 17, "write 2.5 with a point"),
        ("a: {mounting: -12,05, b: 1}\n", 1, 19, "write -12.05 with a point"),
    ],
)
def test_non_text_keys(text: str, line: int, column: int, hint: str) -> None:
    (problem,) = found(text)
    assert (problem.code, problem.position.line, problem.position.column) == ("non-text-key", line, column)
    assert problem.help == hint


def test_words_of_yaml_1_1_are_text_keys(parser: str) -> None:
    assert read_text("on: 1\nyes: 2\nn: 3\n", "s").data == {"on": 1, "yes": 2, "n": 3}


@pytest.mark.parametrize(
    ("value", "column"),
    [
        ("!!python/object/apply:os.system ['true']", 4),
        ("!!python/name:os.system", 4),
        ("!x {a: 1}", 4),
        ("! x", 4),
        ("!!str 5", 4),
        ("[1, !!int '5']", 8),
        ("!unknown!handle 5", 4),
    ],
)
def test_tags(parser: str, value: str, column: int) -> None:
    problems = found(f"b: 1\na: {value}\n")
    assert [(p.code, p.position.line, p.position.column) for p in problems] == [("yaml-tag", 2, column)]


def test_anchors_and_aliases(parser: str) -> None:
    text = "a: &one {x: 1}\nb: *one\nc:\n  <<: *one\nd: [*one]\n"
    assert places(text) == [
        ("yaml-alias", 1, 4),
        ("yaml-alias", 2, 4),
        ("yaml-alias", 4, 7),
        ("yaml-alias", 5, 5),
    ]
    assert all("write the value out" in p.help for p in found(text))
    assert places("a: *nowhere\n") == [("yaml-alias", 1, 4)]


def test_alias_bomb(parser: str) -> None:
    rows = ["a0: &a0 [lol, lol]"]
    rows += [f"a{i}: &a{i} [{', '.join([f'*a{i - 1}'] * 10)}]" for i in range(1, 40)]
    problems = found("\n".join(rows))
    assert {p.code for p in problems} == {"yaml-alias"}
    assert len(problems) == reading.MAX_PROBLEMS


def test_several_documents(parser: str) -> None:
    assert places("a: 1\n---\nb: 2\n---\nc: 3\n") == [("several-documents", 2, 1)]
    assert read_text("%YAML 1.2\n---\na: 1\n...\n", "s").data == {"a": 1}


@pytest.mark.parametrize(
    ("text", "line", "column", "words"),
    [
        ("a: 1\n\tb: 2\n", 2, 1, "tab"),
        ("a:\n  - 1\n\t- 2\n", 3, 1, "tab"),
        ("a:\n  \tb: 1\n", 2, 3, "tab"),
        ("title: depot: north\n", 1, 13, "colon"),
        ("a: 1\n b: 2\n", 2, 3, "colon"),
        ("a: @home\n", 1, 4, '"@"'),
        ("a: `x`\n", 1, 4, '"`"'),
        ("a: [1, 2\n", 1, 4, "]"),
        ("a: {b: 1\n", 1, 4, "}"),
        ("a: [1, 2}\n", 1, 9, "]"),
        ("a: 'never closed\nb: 1\n", 1, 4, "never closed"),
        ("a: ]\n", 1, 4, "value is missing"),
        ("- 1\nb: 2\n", 2, 1, ""),
        ("a:\n  - 1\n - 2\n", 3, 2, "does not fit"),
        ("a: 'x' y\n", 1, 8, "does not fit"),
        ("{a: 1}\nb: 2\n", 2, 1, "after the end"),
        ("a: - 1\n", 1, 4, "list entry"),
    ],
)
def test_syntax(parser: str, text: str, line: int, column: int, words: str) -> None:
    (problem,) = found(text)
    assert (problem.code, problem.position.line, problem.position.column) == ("yaml-syntax", line, column)
    assert words in problem.message
    assert problem.help


def test_what_went_before_a_syntax_error_is_told_too(parser: str) -> None:
    assert places("a: 1\na: 2\nb: .inf\nc: [1\n") == [
        ("duplicate-key", 2, 1),
        ("not-finite", 3, 4),
        ("yaml-syntax", 4, 4),
    ]


def test_half_a_character_in_escapes() -> None:
    if not yaml.__with_libyaml__:
        pytest.skip("only libyaml refuses surrogates in escapes")
    (problem,) = found('a: "\\ud83c\\udfed"\n')
    assert (problem.code, problem.position.line) == ("yaml-syntax", 1)
    assert "surrogate" in problem.message


@pytest.mark.parametrize("brackets", ["[", "{a: "])
def test_nesting(parser: str, brackets: str) -> None:
    closing = "]" if brackets == "[" else "}"
    inside = "a: " + brackets * 49 + closing * 49

    def depth(value: Any) -> int:
        inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
        return 0 if inner is None else 1 + max(map(depth, inner), default=0)

    assert depth(read_text(inside, "s").data) == 50
    assert places("a: " + brackets * 50 + closing * 50) == [("too-deep", 1, 4 + 49 * len(brackets))]
    assert [p.code for p in found("a: " + brackets * 100_000)] == ["too-deep"]


def test_deep_nesting_in_block_style(parser: str) -> None:
    assert [p.code for p in found("a:\n" + "- " * 5000 + "x\n")] == ["too-deep"]


def test_not_finite(parser: str) -> None:
    text = "a: .nan\nb: [1, -.INF]\nc: 1e999\n"
    text += "d: " + "9" * 5000 + "\ne: 0x" + "f" * 600 + "\nf: -" + "9" * 309 + "\n"
    assert places(text) == [("not-finite", i, c) for i, c in ((1, 4), (2, 8), (3, 4), (4, 4), (5, 4), (6, 4))]
    problems = found(text)
    assert "not a finite number" in problems[0].message
    assert "too large" in problems[2].message
    assert all(len(p.message) < 100 for p in problems)
    assert read_text("a: " + "0" * 5000 + "7", "s").data == {"a": 7}


@pytest.mark.parametrize("character", ["\x00", "\x07", "\x1b", "\x7f", "\x85", "\u2028", "\ufffe", "\ufeff"])
def test_control_characters(parser: str, character: str) -> None:
    (problem,) = found(f"a: 1\nb: x{character}y\n")
    assert (problem.code, problem.position.line, problem.position.column) == ("control-character", 2, 5)
    assert character not in problem.frame()


def test_lone_surrogate_in_text() -> None:
    assert places("a: \ud800\n") == [("control-character", 1, 4)]


def test_recoverable_problems_can_be_collected(parser: str) -> None:
    problems: list[Problem] = []
    document = read_text("a: 1\na: 2\nb: *x\n5: y\nc: ok\n", "s", problems=problems)
    assert document.data == {"a": 1, "b": None, "c": "ok"}
    assert [p.code for p in problems] == ["duplicate-key", "yaml-alias", "non-text-key"]
    with pytest.raises(InputError):  # but a file that can't be read through can't be checked
        read_text("a: [", "s", problems=problems)


# ---- files


def refused(path: Path) -> Problem:
    with pytest.raises(InputError) as caught:
        read_yaml(path)
    (problem,) = caught.value.problems
    assert problem.position.file == str(path)
    return problem


def test_file(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text(SCENE, encoding="utf-8")
    document = read_yaml(path)
    assert isinstance(document, Document)
    assert document.path == path
    assert document.name == str(path)
    assert document.lines[0] == "title: Brackenfield depot"
    assert str(document.position(("grid",))) == f"{path}:6:7"


def test_byte_order_mark_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_bytes(b"\xef\xbb\xbftitle: x\n")
    document = read_yaml(path)
    assert document.data == {"title": "x"}
    assert document.position(("title",)).column == 8


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_other_encodings(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "scene.yaml"
    path.write_bytes("title: x\ngrid: 1\n".encode(encoding))
    problem = refused(path)
    assert problem.code in ("not-utf8", "control-character")
    assert "UTF-8" in problem.help


def test_latin_1(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_bytes("title: é\n".encode() + "name: café\n".encode("latin-1"))
    problem = refused(path)
    assert (problem.code, problem.position.line, problem.position.column) == ("not-utf8", 2, 10)
    assert "0xe9" in problem.message


def test_binary(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_bytes(b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\xff" * 50)
    assert refused(path).code == "not-utf8"
    path.write_bytes(b"PK\x03\x04\x00\x00\n" * 50)
    assert refused(path).code == "control-character"


def test_missing_file(tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text("a: 1")
    (tmp_path / "notes.txt").write_text("")
    problem = refused(tmp_path / "scnee.yaml")
    assert problem.code == "missing-file"
    assert problem.help == f'did you mean "{tmp_path / "scene.yaml"}"?'
    assert refused(tmp_path / "qqq").help == f"YAML files in {tmp_path}: scene.yaml"
    assert "cannot be opened" in refused(tmp_path / "no" / "scene.yaml").help


def test_folder(tmp_path: Path) -> None:
    (tmp_path / "other.yaml").write_text("a: 1")
    problem = refused(tmp_path)
    assert problem.code == "not-a-file"
    assert "other.yaml" in problem.help


def test_file_used_as_a_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("a: 1")
    assert refused(tmp_path / "file" / "scene.yaml").code == "unreadable"


@pytest.mark.parametrize("name", ["nul\0.yaml", "x" * 5000 + ".yaml"])
def test_impossible_name(tmp_path: Path, name: str) -> None:
    assert refused(tmp_path / name).code == "unreadable"


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read any file, whatever its permissions"
)
def test_no_permission(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text("a: 1")
    path.chmod(0)
    try:
        assert refused(path).code == "unreadable"
    finally:
        path.chmod(0o600)


def test_no_permission_whoever_runs_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same refusal with the operating system's answer stood in for, since tests often run as root."""

    def refuse(*_args: Any, **_kwargs: Any) -> Any:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "scene.yaml"
    path.write_text("a: 1")
    monkeypatch.setattr("builtins.open", refuse)
    problem = refused(path)
    assert problem.code == "unreadable"
    assert "may not read" in problem.message


def test_too_large(tmp_path: Path) -> None:
    path = tmp_path / "scene.yaml"
    with path.open("wb") as file:
        file.truncate(32 * 1024 * 1024 + 1)  # sparse: takes no room on the disk
    problem = refused(path)
    assert problem.code == "too-large"
    assert "32 MB" in problem.message
    if Path("/dev/zero").exists():
        assert refused(Path("/dev/zero")).code == "too-large"  # an endless file is not read to its end

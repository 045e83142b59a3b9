"""Text that says something else and is otherwise the same: each layout by hand, then any data in any layout."""

from __future__ import annotations

import copy
import difflib
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.errors import InputError
from raycover.loading import load, load_text
from raycover.scene.reading import read_source, read_text
from raycover.scene.splicing import add, drop, put, same, spliced

EXAMPLES = sorted((Path(__file__).parents[2] / "examples").glob("*/scene.yaml"))


def changed(text: str, *edits: tuple[Any, ...]) -> str:
    data = copy.deepcopy(read_text(text, "scene.yaml").data)
    for do, *rest in edits:
        do(data, *rest)
    return spliced(text, data)


FLOW = """\
raycover: 1   # the version
detectors:   # from the left
  - {name: D1, model: a, at: [1.20,  3], mounting: 2.5}   # by the door
  - {name: "Größe, 2", at: [1.20, 3 m], mounting: 2700 mm}
planes: [{name: floor, height: 0}]
"""


def test_a_number_changes_alone() -> None:
    text = changed(FLOW, (put, ("detectors", 0, "at"), [1.2, 3.25]), (put, ("detectors", 1, "mounting"), 2.6))
    assert text == FLOW.replace("[1.20,  3]", "[1.20,  3.25]").replace("2700 mm", "2.6")


def test_nothing_changes_nothing() -> None:
    for text in (FLOW, FLOW.replace("\n", "\r\n"), "\ufeff" + FLOW):
        assert changed(text, (put, ("detectors", 0, "mounting"), 2.5)) is text


def test_keys_come_last_in_their_group() -> None:
    text = changed(FLOW, (put, ("detectors", 0, "turn_deg"), 90), (put, ("grid",), 0.1),
                   (put, ("detectors", 0, "masks"), [{"from_deg": 0, "to_deg": 10}]))  # fmt: skip
    assert "mounting: 2.5, turn_deg: 90, masks: [{from_deg: 0, to_deg: 10}]}   # by the door\n" in text
    assert text.endswith("planes: [{name: floor, height: 0}]\ngrid: 0.1\n")


def test_a_long_line_is_broken_under_its_first_key() -> None:
    text = changed(FLOW, (put, ("detectors", 0, "state"), "x" * 60))
    assert f"mounting: 2.5,\n     state: {'x' * 60}}}   # by the door\n" in text


def test_entries_are_added_in_the_style_of_their_neighbour() -> None:
    new = {"name": "D3", "at": [1, 2.5], "mounting": 2.4}
    assert changed(FLOW, (add, ("detectors",), new)) == FLOW.replace(
        "2700 mm}\n", "2700 mm}\n  - {name: D3, at: [1, 2.5], mounting: 2.4}\n"
    )
    block = "detectors:\n- name: D1   # first\n  at: [1, 2]\n\n# planes\nplanes: []\n"
    assert changed(block, (add, ("detectors",), new), (add, ("planes",), {"name": "floor"})) == (
        "detectors:\n- name: D1   # first\n  at: [1, 2]\n- name: D3\n  at: [1, 2.5]\n  mounting: 2.4\n\n"
        "# planes\nplanes: [{name: floor}]\n"
    )
    wide = "detectors:\n  -   name: D1\n      at: [1, 2]"
    assert (
        changed(wide, (add, ("detectors",), new)) == wide + "\n  -   name: D3\n      at: [1, 2.5]\n      mounting: 2.4"
    )


def test_a_list_that_was_not_there() -> None:
    new = {"name": "D1", "at": [1, 2]}
    assert changed("grid: 1\n", (add, ("detectors",), new)) == "grid: 1\ndetectors:\n  - {name: D1, at: [1, 2]}\n"
    assert changed("detectors:   # none yet\ngrid: 1\n", (add, ("detectors",), new)) == (
        "detectors: [{name: D1, at: [1, 2]}]   # none yet\ngrid: 1\n"
    )
    assert changed("grid: 1\n", (put, ("conditions", "ambient_c"), 24)) == "grid: 1\nconditions: {ambient_c: 24}\n"
    assert changed("grid: 1", (put, ("conditions", "ambient_c"), 24)) == "grid: 1\nconditions: {ambient_c: 24}"


def test_entries_in_brackets_over_several_lines() -> None:
    text = "planes: [\n  {name: floor},   # low\n  {name: desk}   # high\n  ]   # end\n"
    assert changed(text, (add, ("planes",), {"name": "top"})) == (
        "planes: [\n  {name: floor},   # low\n  {name: desk},\n  {name: top}   # high\n  ]   # end\n"
    )
    assert changed(text, (drop, ("planes", 0))) == "planes: [\n  {name: desk}   # high\n  ]   # end\n"
    assert changed(text, (drop, ("planes", 1))) == ("planes: [\n  {name: floor},   # low\n     # high\n  ]   # end\n")


def test_dropped_keys() -> None:
    text = changed(FLOW, (drop, ("detectors", 0, "model")), (drop, ("detectors", 1, "mounting")), (drop, ("planes",)))
    assert text == (
        "raycover: 1   # the version\ndetectors:   # from the left\n"
        "  - {name: D1, at: [1.20,  3], mounting: 2.5}   # by the door\n"
        '  - {name: "Größe, 2", at: [1.20, 3 m]}\n'
    )
    block = "a:\n  - # one\n    x: 1   # gone\n    y: 2   # stays\n  - x: 1\n    y: 2\n    z: 3\n"
    assert changed(block, (drop, ("a", 0, "x")), (drop, ("a", 1, "x")), (drop, ("a", 1, "z"))) == (
        "a:\n  - # one\n    y: 2   # stays\n  - y: 2\n"
    )


def test_one_key_for_another() -> None:
    """An entry with a pattern of its own becomes one of a model, flow or block."""
    flow = "detectors:\n  - {name: D1, pattern: {kind: infrared}}   # old\n"
    edits = ((drop, ("detectors", 0, "pattern")), (put, ("detectors", 0, "model"), "m-1"))
    assert changed(flow, *edits) == "detectors:\n  - {name: D1, model: m-1}   # old\n"
    block = "detectors:\n  - name: D1\n    pattern:   # made up\n      kind: infrared\n  - name: D2\n"
    assert changed(block, *edits) == "detectors:\n  - name: D1\n    model: m-1\n  - name: D2\n"


def test_dropped_entries_and_names_that_move_up() -> None:
    text = "a:\n  - {name: one}\n  # about two\n  - {name: two}   # 2\n  - {name: three, x: 1}   # 3\nb: 1\n"
    assert changed(text, (drop, ("a", 0)), (put, ("a", 1, "x"), 5)) == (
        "a:\n  # about two\n  - {name: two}   # 2\n  - {name: three, x: 5}   # 3\nb: 1\n"
    )
    assert changed(text, (drop, ("a", 2)), (add, ("a",), {"name": "four"}), (add, ("a",), {"name": "five"})) == (
        "a:\n  - {name: one}\n  # about two\n  - {name: two}   # 2\n  - {name: four}   # 3\n  - {name: five}\nb: 1\n"
    )
    assert changed(text, (drop, ("a", 0)), (drop, ("a", 0)), (drop, ("a", 0))) == "a: []\nb: 1\n"


def test_an_entry_put_before_all() -> None:
    text = "a:\n  - {name: one}\nb: [x, y]\n"
    data = {"a": [{"name": "zero"}, {"name": "one"}], "b": ["w", "x", "y"]}
    assert spliced(text, data) == "a:\n  - {name: zero}\n  - {name: one}\nb: [w, x, y]\n"


def test_kinds_that_change() -> None:
    text = "a:   # walls\n  - x\n  - y\nb:\n- 1\n- 2\nc: |\n  long\n  text\nd: 'q'  # q\ne: none\n"
    data = {"a": "none", "b": 3, "c": "short", "d": [1, 2], "e": {"k": "a: b"}}
    assert spliced(text, data) == 'a: none   # walls\nb: 3\nc: short\nd: [1, 2]  # q\ne: {k: "a: b"}\n'
    assert spliced("a: {x, y: }\n", {"a": {"x": 1, "y": "t"}}) == "a: {x: 1, y: t}\n"
    assert spliced("a:\n  -\n  - \nb: 1\n", {"a": [1, 2], "b": True}) == "a:\n  - 1\n  - 2 \nb: true\n"


def test_line_breaks_and_the_mark_are_kept() -> None:
    text = ("\ufeff" + FLOW).replace("\n", "\r\n")
    edits = ((put, ("detectors", 0, "at"), [1.2, 3.25]), (add, ("detectors",), {"name": "D3"}), (drop, ("planes",)))
    wanted = ("\ufeff" + changed(FLOW, *edits)).replace("\n", "\r\n")
    assert changed(text, *edits) == wanted
    assert changed(FLOW.rstrip(), *edits) == changed(FLOW, *edits).rstrip()


def test_text_is_quoted_where_it_must_be() -> None:
    for value in ("true", "1", "a # b", "Größe", "x: y", "line\nbreak", "", "[", "ß 😀", "~", "-"):
        text = changed(FLOW, (put, ("detectors", 0, "name"), value), (put, ("title",), value))
        read = read_text(text, "scene.yaml").data
        assert (read["detectors"][0]["name"], read["title"]) == (value, value)


def test_true_is_not_one() -> None:
    assert not same({"a": [1]}, {"a": [True]})
    assert same({"a": [1]}, {"a": (1.0,)})
    assert changed("a: 1\n", (put, ("a",), True)) == "a: true\n"


def test_what_cannot_be_read_is_refused() -> None:
    for text in ("a: &x 1\nb: *x\n", "a: [1\n", "a: 1\na: 2\n"):
        with pytest.raises(InputError):
            spliced(text, {"a": 2})


def test_no_place_is_an_error_and_not_a_broken_file() -> None:
    """A key behind a question mark is read, but nothing can be put under it."""
    text = "a: [\n1, # one\n2]\nb:\n- - 1\n  - 2\n"
    assert changed(text, (add, ("a",), 3)) == "a: [\n1, # one\n2,\n3]\nb:\n- - 1\n  - 2\n"
    assert read_text(changed(text, (add, ("b",), 3)), "x").data["b"] == [[1, 2], 3]
    with pytest.raises(InputError) as caught:
        changed("? a\n: 1\n", (put, ("b",), 2))
    assert caught.value.problems[0].code == "cannot-splice"


def test_a_place_that_is_not_there() -> None:
    with pytest.raises(IndexError):
        put({"detectors": []}, ("detectors", 0, "at"), 1)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.parent.name)
def test_only_the_lines_of_what_moved_change(path: Path) -> None:
    """Every detector of every example moved by 5 cm and one more put in: as many lines differ, and it loads."""
    text = read_source(path)
    data = copy.deepcopy(read_text(text, str(path)).data)
    for unit in data["detectors"]:
        unit["at"] = [round(float(unit["at"][0]) + 0.05, 3), unit["at"][1]]
    add(data, ("detectors",), {**data["detectors"][0], "name": "One more"})
    made = spliced(text, data, str(path))
    diff = [line for line in difflib.ndiff(text.split("\n"), made.split("\n")) if line[0] in "+-"]
    gone, come = (sum(line[0] == sign for line in diff) for sign in "-+")
    assert gone <= len(data["detectors"]) - 1
    assert come - gone in (1, 2, 3, 4, 5, 6, 7, 8) if "\n  - name" in made else come - gone in (1, 2, 3)
    scene = load_text(made, str(path), folder=path.parent)
    assert [unit.name for unit in scene.detectors] == [*(u.name for u in load(path).detectors), "One more"]


SCALARS = st.one_of(
    st.none(), st.booleans(), st.integers(-1000, 1000), st.floats(-1e6, 1e6, allow_nan=False, width=32),
    st.text(st.sampled_from("ab1 #:-[]{},'\"\n\\ßé😀?&*!|>%@`~"), max_size=6),
)  # fmt: skip
KEYS = st.sampled_from(["name", "at", "b", "c d", "ö", "1", "x: y"])
TREES = st.recursive(
    SCALARS, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(KEYS, inner, max_size=4), max_leaves=14
)
DOCUMENTS = st.dictionaries(KEYS, TREES, min_size=1, max_size=5)


def mixed(value: Any, spare: list[Any], random: Any) -> Any:
    """The value with some of what it holds changed, dropped, renamed or put in, at any depth."""
    if random.random() < 0.15:
        return random.choice(spare)
    if isinstance(value, dict):
        kept = {k: mixed(v, spare, random) for k, v in value.items() if random.random() < 0.8}
        return {**kept, random.choice(["b", "new"]): random.choice(spare)} if random.random() < 0.4 else kept
    if isinstance(value, list):
        kept_items = [mixed(v, spare, random) for v in value if random.random() < 0.8]
        for _ in range(random.choice([0, 0, 1, 2])):
            kept_items.insert(random.randint(0, len(kept_items)), random.choice(spare))
        return kept_items
    return value


@settings(max_examples=200)
@given(DOCUMENTS, st.lists(TREES, min_size=1, max_size=5), st.sampled_from([True, False, None]), st.booleans(),
       st.sampled_from(["\n", "\r\n"]), st.randoms(use_true_random=False))  # fmt: skip
def test_any_data_in_any_layout(old: Any, spare: Any, flow: Any, indented: bool, line_break: str, random: Any) -> None:
    class Dumper(yaml.SafeDumper):
        def increase_indent(self, flow: bool = False, indentless: bool = False) -> None:
            super().increase_indent(flow, indentless and not indented)

    made: Any = yaml.dump(old, Dumper=Dumper, default_flow_style=flow, allow_unicode=True, width=60, sort_keys=False,
                          line_break=line_break)  # fmt: skip
    try:
        read = read_text(made, "x").data
    except InputError:
        return  # what another YAML reads otherwise, or an alias
    target = {**read, **{key: mixed(value, spare, random) for key, value in read.items()}}
    if random.random() < 0.3:
        target["added"] = random.choice(spare)
    for name in [name for name in target if random.random() < 0.2][: len(target) - 1]:
        del target[name]
    out = spliced(made, target, "x")
    assert same(read_text(out, "x").data, target)
    assert spliced(out, target, "x") is out

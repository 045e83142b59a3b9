"""States of a scene: what a state can set, what it leaves alone, and how mistakes in one are reported."""

from __future__ import annotations

import pytest

import raycover
from raycover.building.build import build
from raycover.errors import InputError, Problem
from raycover.loading import in_state
from raycover.scene.schema import Scene

BASE = """\
raycover: 1
rooms:
  - name: Hall
    outline: [[0, 0], [12, 0], [12, 8], [0, 8]]
    height: 4
    walls: brick-100
    openings:
      - {edge: 0, at: 1, width: 3, height: 3, fill: steel-door}
      - {name: Way out, edge: 1, at: 1, width: 1, height: 2.1, fill: door-wood-40}
  - name: Yard office
    outline: [[12, 0], [16, 0], [16, 8], [12, 8]]
    height: 4
    walls: brick-100
    openings:
      - {name: Way out, edge: 3, at: 6, width: 1, height: 2.1, fill: door-wood-40}
partitions:
  - {name: Folding wall, line: [[8, 0], [8, 8]], height: 4, construction: chipboard-18}
solids:
  - {name: Lorry, centre: [2.5, 1.5], size: [2, 2, 3], material: metal}
  - {name: Crane, centre: [6, 4], size: [1, 1, 1], base: 3, material: metal}
racking: [{name: R1, at: [1, 6], bays: 2, levels: 2}]
cubicles: [{name: WC, at: [16, 8], turn_deg: 180, count: 2, right_end: false, left_end: false}]
desks: [{name: Desks, at: [9, 2]}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [4, 3], mounting: 3}]
planes: [{name: floor, height: 0}]
"""
N = BASE.count("\n")


def scene(*lines: str, state_name: str = "") -> Scene:
    return raycover.load_text(BASE + "\n".join([*lines, state_name, ""]))


def state(text: str, name: str = "other") -> Scene:
    return in_state(scene(f"states: [{{name: {name}, set: {{{text}}}}}]"), name)


def problems(*lines: str) -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        scene(*lines)
    return caught.value.problems


def only(text: str) -> Problem:
    (problem,) = problems("states:", f"  - {{name: other, set: {{{text}}}}}")
    assert problem.position.line == N + 2
    return problem


# ---- what a state sets


def test_an_opening_by_its_place() -> None:
    changed = state('"Hall/opening 0": open')
    assert [o.state for o in changed.rooms[0].openings] == ["open", "closed"]
    assert [mark.state for mark in build(changed).openings] == ["open", "closed", "closed"]


def test_an_opening_by_its_name_in_both_its_rooms() -> None:
    """A door that both its rooms write has one name, and opens in both: else its two halves would disagree."""
    changed = state("Way out: open")
    assert [mark.state for mark in build(changed).openings] == ["closed", "open", "open"]


def test_many_openings_by_a_star() -> None:
    changed = state('"Hall/opening *": open')
    assert [o.state for o in changed.rooms[0].openings] == ["open", "open"]
    assert [o.state for o in changed.rooms[1].openings] == ["closed"]


def test_a_star_and_then_one_of_them() -> None:
    changed = state('"Hall/opening *": open, "Hall/opening 0": closed')
    assert [o.state for o in changed.rooms[0].openings] == ["closed", "open"]


@pytest.mark.parametrize(
    ("value", "kinds"),
    [("open", ["leaf", "leaf"]), ("[open, closed]", ["leaf", "door"]), ("closed", ["door", "door"])],
)
def test_cubicle_doors(value: str, kinds: list[str]) -> None:
    built = build(state(f"WC: {value}"))
    doors = {s.name: s.kind for s in built.sheets if s.name.startswith("WC/door")}
    assert [doors["WC/door 1"], doors["WC/door 2"]] == kinds


def test_a_solid_elsewhere() -> None:
    changed = state("Crane: {centre: [9 ft, 5], base: 2.5, turn_deg: 90}")
    box = changed.solids[1]
    assert (box.centre, box.base, box.turn_deg, box.size) == ((2.7432, 5.0), 2.5, 90.0, (1.0, 1.0, 1.0))
    assert changed.solids[0].centre == (2.5, 1.5)


def test_what_is_not_given_stays() -> None:
    changed = state("Crane: {base: 0}")
    assert changed.solids[1].centre == (6.0, 4.0)
    assert changed.solids[1].base == 0.0


def test_racking_emptied_and_moved() -> None:
    changed = state("R1: {goods: false, at: [2, 6]}")
    built = build(changed)
    assert set(built.boxes.kinds) == {"solid", "upright", "beam"}
    assert changed.racking[0].at == (2.0, 6.0)


@pytest.mark.parametrize("written", ["fill: 0.5, seed: 3", "loads: [{level: 1, bays: [1]}]", "goods: false", ""])
@pytest.mark.parametrize(
    ("value", "n"), [("{goods: false}", 0), ("{goods: true}", 12), ("{fill: 1}", 12), ("{fill: 0}", 0)]
)
def test_what_a_state_says_of_loads_takes_the_place_of_what_is_drawn(written: str, value: str, n: int) -> None:
    """Two bays of two levels, three EUR pallets side by side."""
    text = BASE.replace("bays: 2, levels: 2}", f"bays: 2, levels: 2, {written}}}".replace(", }", "}"))
    changed = in_state(raycover.load_text(text + f"states: [{{name: s, set: {{R1: {value}}}}}]\n"), "s")
    assert build(changed).boxes.kinds.count("goods") == n


def test_things_away() -> None:
    changed = state("Lorry: absent, Folding wall: absent, Desks: absent")
    assert [s.name for s in changed.solids] == ["Crane"]
    assert (changed.partitions, changed.desks) == ([], [])
    assert "Folding wall" not in {s.owner for s in build(changed).sheets}


def test_another_temperature() -> None:
    base = scene("states: [{name: summer, conditions: {ambient_c: 31}}]")
    changed = in_state(base, "summer")
    assert (changed.conditions.ambient_c, base.conditions.ambient_c) == (31.0, 20.0)
    assert changed.conditions.reserve_db == base.conditions.reserve_db
    (warning,) = changed.warnings
    assert (warning.code, warning.position.line) == ("warm-air", N + 1)
    assert warning.message.startswith('in state "summer": ')
    assert base.warnings == ()


def test_the_scene_as_drawn_is_never_changed() -> None:
    base = scene('states: [{name: other, set: {"Hall/opening *": open, Lorry: absent, WC: open}}]')
    before = base.model_dump()
    changed = in_state(base, "other")
    assert base.model_dump() == before
    assert changed is not base
    assert changed.partitions is base.partitions
    assert base.state == "as drawn"
    assert changed.state == "other"


def test_the_state_as_drawn_has_a_name() -> None:
    base = scene("states: [{name: other, set: {WC: open}}]", state_name="state_name: Night")
    assert base.state_names == ("Night", "other")
    assert in_state(base, "Night") is base
    with pytest.raises(ValueError, match="already"):
        in_state(in_state(base, "other"), "Night")


def test_load_takes_a_state(tmp_path: object) -> None:
    with pytest.raises(InputError) as caught:
        in_state(scene("states: [{name: Doors open, set: {WC: open}}]"), "doors open")
    (problem,) = caught.value.problems
    assert problem.code == "unknown-state"
    assert problem.help == 'did you mean "Doors open"?'


def test_the_air_of_rooms() -> None:
    changed = state('"*": {ambient_c: 4}, Hall: {ambient_c: -20.5}')
    assert [room.ambient_c for room in changed.rooms] == [-20.5, 4]
    (base,) = {room.ambient_c for room in scene("").rooms}
    assert base is None


def test_a_room_and_a_thing_of_one_name() -> None:
    """A row of cubicles is often called as its room: with an air the room is meant, with all else never."""
    text = BASE.replace("name: Yard office", "name: WC")
    for value, air, doors in (("{ambient_c: 16}", 16, "closed"), ("open", None, "open")):
        changed = in_state(raycover.load_text(f"{text}states: [{{name: s, set: {{WC: {value}}}}}]\n"), "s")
        assert changed.rooms[1].ambient_c == air
        assert changed.cubicles[0].doors == doors


def test_an_advice_on_a_states_air_stands_where_the_state_sets_it() -> None:
    stated = scene("states:", "  - {name: other, set: {", "      Hall: {ambient_c: 31}}}")
    (problem,) = stated.warnings if stated.warnings else in_state(stated, "other").warnings
    assert problem.code == "warm-air"
    assert problem.message.startswith('in state "other": room "Hall": at 31 °C people stand out little')
    assert problem.position.line == N + 3
    assert not in_state(scene("states:", "  - {name: other, set: {Hall: {ambient_c: 21}}}"), "other").warnings


# ---- mistakes


@pytest.mark.parametrize(
    ("text", "code", "words", "help_"),
    [
        ('"Hall/opening 2": open', "unknown-target", '"Hall/opening 2"', 'did you mean "Hall/opening '),
        ('"Hall/Way out": open', "unknown-target", '"Hall/Way out"', 'write "Way out"'),
        ("Lory: absent", "unknown-target", '"Lory"', 'did you mean "Lorry"?'),
        ('"Dock *": open', "unknown-target", '"Dock *"', ""),
        ('"*": absent', "ambiguous-target", "means several things", "write out"),
        ('"Hall/opening 0": absent', "wrong-state", "it is open or closed", "write open or closed"),
        ('"Hall/opening 0": {at: [1, 2]}', "wrong-state", "it is open or closed", "write open or closed"),
        ("Lorry: open", "wrong-state", "is a solid: it cannot be open", "takes absent, a new base or centre"),
        ("Lorry: [open]", "wrong-state", "cannot be a list of states", "absent"),
        ("Lorry: {goods: true}", "wrong-state", "it has no goods", "base or centre or turn_deg"),
        ("R1: {centre: [1, 2]}", "wrong-state", "it has no centre", "at or base or fill or goods"),
        ("Lorry: {base: null}", "wrong-state", "base has no value", "base or centre"),
        ("Folding wall: closed", "wrong-state", "is a partition: it cannot be closed", "absent"),
        ("WC: [open]", "doors-count", "2 cubicles but 1 door states", "one a cubicle"),
        ("Lorry: {}", "empty-change", "nothing is changed", "{goods: false}"),
        ("Lorry: {centre: [2,5, 1]}", "wrong-length", "at most 2 entries", "new centre"),
        ("Hal: {ambient_c: 4}", "unknown-target", 'no room "Hal" whose air could be set', 'did you mean "Hall"?'),
        ("R1: {ambient_c: 4}", "wrong-state", "it has no ambient_c", "racking takes absent"),
        ('"Hall/opening 0": {ambient_c: 4}', "wrong-state", "it is open or closed", "write open or closed"),
        ("Hall: absent", "wrong-state", "is a room: it cannot be absent", "a room takes a new ambient_c"),
        ("Hall: open", "wrong-state", "is a room: it cannot be open", "a room takes a new ambient_c"),
        ("Hall: {ambient_c: 4, base: 1}", "wrong-state", "it has no base", "{ambient_c: …}"),
        ("Hall: {ambient_c: null}", "wrong-state", "ambient_c has no value", "{ambient_c: …}"),
        ("Hall: {ambient_c: 51}", "out-of-range", "at most 50, got 51", "air temperature"),
        ("Hall: {ambient_c: cold}", "wrong-type", "expects a number", "plain number"),
        ("Hall: {ambient: 4}", "unknown-key", '"ambient"', "ambient_c"),
        ("WC: ajar", "", "", ""),
        ("WC: [ajar, open]", "", "", ""),
        ("Lorry: {place: [1, 2]}", "unknown-key", '"place"', ""),
    ],
)
def test_mistakes_have_their_line_and_what_to_do(text: str, code: str, words: str, help_: str) -> None:
    problem = only(text)
    assert not code or problem.code == code
    assert words in problem.message
    assert help_ in problem.help


def test_a_name_of_two_kinds_of_thing() -> None:
    text = BASE.replace("name: Desks", "name: Lorry")
    with pytest.raises(InputError) as caught:
        raycover.load_text(text + "states: [{name: s, set: {Lorry: absent}}]\n")
    (problem,) = caught.value.problems
    assert problem.code == "ambiguous-target"
    assert "solids on line 19, desks on line" in problem.message


@pytest.mark.parametrize(
    ("lines", "code"),
    [
        ("states: [{name: a, set: {WC: open}}, {name: A, set: {WC: open}}]", "same-name"),
        ("states: [{name: As drawn, set: {WC: open}}]", "same-name"),
        ("states: [{name: a}]", "empty-state"),
        ("states: [{name: a, set: {}}]", "empty-state"),
        (f"states: [{{name: {'a' * 41}, set: {{WC: open}}}}]", "wrong-length"),
        (f"state_name: {'a' * 41}", "wrong-length"),
        ("states: [{name: a/b, set: {WC: open}}]", "bad-name"),
        ("states: [{set: {WC: open}}]", "missing-key"),
        ("states: {a: {WC: open}}", "wrong-type"),
        ("states: [{name: a, conditions: {reserve_db: 1}}]", "unknown-key"),
        ("states: [{name: a, conditions: {ambient_c: 90}}]", "out-of-range"),
    ],
)
def test_bad_states(lines: str, code: str) -> None:
    assert code in [p.code for p in problems(lines)]


def test_a_state_whose_maps_would_be_named_as_a_plane() -> None:
    text = BASE.replace(
        "planes: [{name: floor, height: 0}]", 'planes: [{name: floor, height: 0}, {name: "floor, s", height: 1}]'
    )
    with pytest.raises(InputError) as caught:
        raycover.load_text(text + "states: [{name: s, set: {WC: open}}]\n")
    assert [p.code for p in caught.value.problems] == ["taken-name"]


def test_what_fails_only_in_a_state_is_reported_at_that_state() -> None:
    (problem,) = problems("states:", "  - name: busy", "    set:", "      Lorry: {centre: [99999, 1]}")
    assert problem.position.line == N + 4
    base = scene("states: [{name: s, set: {WC: [open, open], Crane: {centre: [3, 3]}}}]")
    changed = in_state(base, "s")
    assert changed.position("solids", 1, "centre").line == N + 1
    assert changed.position("solids", 1, "size").line == base.position("solids", 1, "size").line
    assert changed.position("cubicles", 0, "doors").line == N + 1


def test_places_of_what_stays_when_something_is_away() -> None:
    changed = state("Lorry: absent, Crane: {base: 1}")
    assert changed.position("solids", 0, "material").line == 20
    assert changed.position("solids", 0, "base").line == N + 1


def test_a_name_that_turns_the_writing_round_is_refused_and_shown_without_it() -> None:
    (problem, *_) = problems('states: [{name: "door\\u202enepo", set: {Lorry: absent}}]')
    assert problem.code == "bad-name"
    assert '"door·nepo"' in problem.message

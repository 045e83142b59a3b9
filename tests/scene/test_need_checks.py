"""Needs as a file says them: every mistake found at once, with its line and what to do."""

from __future__ import annotations

import pytest

import raycover
from raycover.errors import InputError, Problem

HEAD = """\
raycover: 1
rooms:
  - {name: Ward, outline: [[0,0],[4,0],[4,4],[0,4]], height: 2.6, walls: brick-100}
  - {name: Loft, outline: [[0,0],[4,0],[4,4],[0,4]], floor: 3, height: 2.6, walls: brick-100}
desks: [{name: Row, room: Ward, at: [1,1]}]
detectors: [{name: D1, room: Ward, model: microwave-omni-5.8, at: [2,2], mounting: 2.5}]
storeys: [{name: Below, floor: 0}, {name: Above, floor: 3}]
needs:
"""


def problems(*needs: str) -> list[Problem]:
    with pytest.raises(InputError) as caught:
        raycover.load_text(HEAD + "".join(f"  - {need}\n" for need in needs))
    return list(caught.value.problems)


@pytest.mark.parametrize(
    ("need", "code", "words"),
    [
        ("{name: a, rooms: [Wart]}", "unknown-room", 'did you mean "Ward"?'),
        ("{name: a, rooms: [Ward], plane: flor}", "unknown-plane", 'did you mean "floor"?'),
        ("{name: a, rooms: [Ward], state: open}", "unknown-state", "as drawn"),
        ("{name: a, rooms: [Ward], detectors: [DD1]}", "unknown-detector", 'did you mean "D1"?'),
        ("{name: a, cubicles: [WC]}", "unknown-cubicles", "no cubicles"),
        ("{name: a, stairs: [S]}", "unknown-stairs", "no stairs"),
        ("{name: a, desks: [Row]}", "no-seats", "seat: true"),
        ("{name: a, area: [[1,1],[2,2],[2,1],[1,2]], room: Ward}", "crossing-area", "in order"),
        ("{name: a, area: [[1,1],[2,2],[3,3]]}", "empty-area", "three corners"),
        ("{name: a, area: []}", "empty-area", "in order"),
        ("{name: a, area: [[9,1],[10,1],[10,2]]}", "area-outside", "never: true"),
        ("{name: a, area: [[900,1],[901,1],[901,2]], never: true}", "area-outside", "metres"),
        ("{name: a, area: [[1,1],[2,1],[2,2]]}", "which-room", "storey: NAME"),
        ("{name: a, area: [[1,1],[2,1],[2,2]], storey: Abov}", "unknown-storey", 'did you mean "Above"?'),
        ("{name: a, rooms: [Ward], never: true, share: 0.9}", "never-with-share", "clear_db"),
        ("{name: a, rooms: [Ward], never: true, largest_gap: 1}", "never-with-share", "clear_db"),
        ("{name: a, rooms: [Ward], clear_db: 3}", "not-for-this", "never: true"),
        ("{name: a, rooms: [Ward], doors: open}", "not-for-this", "take it out"),
        ("{name: a, rooms: [Ward], height: 1, plane: floor}", "one-height", "take one out"),
        ("{name: a, rooms: [Ward], tables: [T]}", "one-where", "one need for each"),
        ("{name: a}", "no-where", "cubicles"),
        ("{name: a, rooms: [Ward], motion: running}", "not-allowed", "motion"),
        ("{name: a, rooms: [Ward], share: 95}", "out-of-range", "least share"),
        ("{name: a, rooms: [Ward], first_within: 1}", "not-for-this", "doors_of: [Office]"),
        ("{name: a, rooms: [Ward], shaer: 1}", "unknown-key", 'did you mean "share"?'),
    ],
)
def test_a_mistake_is_told_with_its_line(need: str, code: str, words: str) -> None:
    found = problems(need)
    assert [p.code for p in found] == [code], [p.frame() for p in found]
    assert found[0].position.line == 9
    assert words in found[0].help


def test_all_at_once() -> None:
    found = problems("{name: a, rooms: [Wart], plane: flor}", "{name: a, rooms: [Ward], state: shut}")
    assert [p.code for p in found] == ["unknown-room", "unknown-plane", "same-name", "unknown-state"]
    assert [p.position.line for p in found] == [9, 9, 10, 10]


def test_what_is_right_is_read() -> None:
    scene = raycover.load_text(
        HEAD + "  - {name: Bench, area: [[1,1],[2,1],[2,2]], room: Loft, plane: desk, motion: presence, share: 0.95}\n"
        "  - {name: Street, area: [[-3,0],[0,0],[0,4]], floor: 0.2, never: true, clear_db: 6, detectors: [D1]}\n"
    )
    bench, street = scene.needs
    assert (bench.where, bench.least_share, street.reserve_db) == ("area", 0.95, 6)
    assert (
        raycover.load_text(HEAD + "  - {name: All, rooms: [Ward], largest_gap: 600 mm}\n").needs[0].least_share is None
    )

"""Ready-made sets of needs: what an entry stands for, and what is wrong with one. Their figures are ours, no source."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.catalogue import load_need_sets, load_spaces
from raycover.cli.main import main
from raycover.errors import InputError
from raycover.exchange.proof import proof_json
from raycover.proving.needs import prove
from raycover.proving.proof_words import assumptions, why_words
from raycover.scene.need_sets import OURS
from raycover.scene.needs import NeedSpec

OFFICE = {"name": "Office", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "height": 2.8, "walls": "none"}
STORE = {"name": "Store", "outline": [[8, 0], [12, 0], [12, 6], [8, 6]], "height": 2.8, "walls": "none"}
DESKS = [
    {"name": "Row", "at": [2, 2], "count": 2, "seat": True},
    {"name": "Store desk", "at": [9, 2], "count": 1, "seat": True},
]
SEES = pattern({"circle": {"diameter": 14}}, mounting=2.8, motion="presence", plane=0.75)


def office(*needs: dict[str, Any], **more: Any) -> Any:
    units = [detector((4, 3), 2.8, SEES, "D1"), detector((10, 3), 2.8, SEES, "D2")]
    return scene(rooms=[OFFICE, STORE], desks=DESKS, detectors=units, needs=list(needs), grid=0.2, **more)


def test_a_set_is_its_needs() -> None:
    """Three seats in two rooms; the set is asked of one room with two of them."""
    made = office(
        {"set": "open office", "rooms": ["Office"]}, {"set": "open office", "name": "Store", "rooms": ["Store"]}
    )
    assert [need.name for need in made.needs] == [
        "open office, seats",
        "open office, ways",
        "Store, seats",
        "Store, ways",
    ]
    proof = prove(made)
    named = [[place.site.name for place in need.places] for need in proof.needs]
    assert named == [["Row/seat 1", "Row/seat 2"], ["Office"], ["Store desk/seat 1"], ["Store"]]
    assert proof.needs[0].places[0].site.motion == "presence"
    assert proof.needs[1].need.largest_gap == 1.0
    found = proof_json(proof)["needs"][0]
    assert (found["set"], found["source"]) == ("open office", OURS)
    assert why_words(proof.needs[0].need).endswith("(ours, no source)")


def test_what_stands_beside_a_set() -> None:
    """Share and gap where the set's need has one; units, state and air for all of them."""
    said = {"set": "open office", "share": 0.5, "largest_gap": 2, "detectors": ["D1"], "ambient_c": 25}
    seats, ways = office(said).needs
    assert (seats.share, seats.largest_gap, seats.detectors, seats.ambient_c) == (0.5, None, ["D1"], 25)
    assert (ways.share, ways.largest_gap, ways.detectors, ways.ambient_c) == (0.5, 2, ["D1"], 25)
    again = office({"set": "corridor"}, {"set": "corridor"}).needs
    assert [need.name for need in again] == ["corridor, floor", "corridor 2, floor"]


def test_what_a_set_finds_nothing_of_is_left_out_and_said() -> None:
    bare = scene(rooms=[OFFICE], detectors=[detector((4, 3), 2.8, SEES)], needs=[{"set": "open office"}])
    proof = prove(bare)
    assert [need.need.name for need in proof.needs] == ["open office, ways"]
    assert proof.left_out == ("open office, seats",)
    assert any("Left out" in words and "open office, seats" in words for words in assumptions(proof))
    with pytest.raises(InputError, match="stairwell, flights"):
        prove(scene(rooms=[OFFICE], needs=[{"set": "open office"}, {"set": "stairwell"}]))


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("{set: ‸open ofice}", 'did you mean "open office"?'),
        ("{set: open office, rooms: [‸Offce]}", 'did you mean "Office"?'),
        ("{set: open office, ‸stairs: all}", "is asked of rooms, not of stairs"),
        ("{set: open office, ‸never: true}", "never does not go with a set"),
        ("{set: open office, ‸clear_db: 2}", 'no need of the set "open office" has a clear_db'),
        ("{set: washroom, share: ‸1.2}", "share"),
        ("{set: open office, name: ‸A name of nearly forty characters long}", "40 at most"),
        ("‸{rooms: [Office]}", 'missing key "name"'),
        ("{name: x, rooms: [Office], ‸within: [Office]}", "within goes with cubicles, desks and tables"),
        ("{name: x, seats: [‸Offce]}", 'unknown room "Offce"'),
    ],
)
def test_errors_point_at_the_entry(line: str, words: str) -> None:
    text = "raycover: 1\nrooms: [{name: Office, outline: [[0,0],[8,0],[8,6],[0,6]], height: 3, walls: none}]\nneeds:\n"
    with pytest.raises(InputError) as error:
        raycover.load_text(f"{text}- {{name: first, rooms: all}}\n- {line.replace('‸', '')}\n")
    (problem,) = error.value.problems
    assert words in problem.message + problem.help
    assert (problem.position.line, problem.position.column) == (5, line.index("‸") + 3)


def test_every_packaged_set_stands_for_sound_needs() -> None:
    sets = load_need_sets()
    assert set(load_spaces()) <= set(sets)  # a set for every kind of space that the catalogue ranks units for
    for name, spec in sets.items():
        for need in spec.needs_at(name, NeedSpec(set=name)):
            assert need.why, need.name
            assert need.source, need.name
            assert len(need.name) <= 40


def test_sets_of_ones_own(tmp_path: Path) -> None:
    (tmp_path / "models").mkdir()
    need = "{name: floor, places: rooms, why: w, source: brief 3}"
    own = f"sets: {{canteen: {{asks: rooms, reason: r, needs: [{need}]}}}}\n"
    (tmp_path / "models" / "need_sets.yaml").write_text(own, encoding="utf-8")
    text = "raycover: 1\nrooms: [{name: A, outline: [[0,0],[8,0],[8,6],[0,6]], height: 3, walls: none}]\n"
    made = raycover.load_text(f"{text}needs: [{{set: canteen}}]", folder=tmp_path)
    assert [(need.name, need.source) for need in made.needs] == [("canteen, floor", "brief 3")]


def test_sets_are_listed(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["models", "--needs"])
    assert not left.value.code
    out = capsys.readouterr().out
    assert "washroom" in out
    assert "no gap wider than 0.8 m" in out
    with pytest.raises(SystemExit):
        main(["models", "--needs", "--json"])
    found = json.loads(capsys.readouterr().out)["sets"]
    assert found["washroom"]["needs"][0]["source"] == OURS

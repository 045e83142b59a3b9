"""Remedies written into a scene's file: comments stay, and the new scene proves what was said."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import yaml

from raycover.cli.main import main
from raycover.loading import load_text
from raycover.proving.mending import applying, find_mending
from raycover.proving.mending.applying import Mended, mend_text, with_step
from raycover.proving.mending.losses import is_less
from raycover.proving.mending.steps import Step, at_one_unit, is_moved_too_far
from raycover.proving.mending.uniting import misses_no_more, one_for_both
from raycover.proving.mending_words import chance_note, mend_rows
from raycover.proving.needs import prove

SCENE = """\
# Tendered as is
raycover: 1
title: Two rooms
grid: 0.25
rooms:
  - {name: Left, outline: [[0, 0], [6, 0], [6, 6], [0, 6]], height: 3, walls: brick-215}
  - {name: Right, outline: [[6, 0], [12, 0], [12, 6], [6, 6]], height: 3, walls: brick-215}
detectors:   # from the left
  - {name: D1, at: [2.4,  3], mounting: 3, pattern: &P}   # too far left
  - name: D2   # hangs across
    mounting: 3
    at: [8, 3]
    turn_deg: 90
    pattern:   # a long field
      kind: infrared
      declared:
        - {mounting: 3, plane: 0, motion: tangential, shape: {rectangle: {length: 8.6, width: 8}}}
needs:
  - {name: Both rooms, rooms: [Left, Right], height: 0, share: 0.9}
  - {name: Left whole, rooms: [Left], height: 0}   # every corner
""".replace(
    "&P", "{kind: infrared, declared: [{mounting: 3, plane: 0, motion: tangential, shape: {circle: {diameter: 8.6}}}]}"
)


def test_all_needs_are_met_by_steps_and_comments_stay() -> None:
    before = prove(load_text(SCENE))
    assert not before.met
    mended = mend_text(SCENE, "scene.yaml", None)
    assert mended.proof.met
    assert mended.steps
    again = prove(load_text(mended.text))
    assert again.met
    for comment in ("# Tendered as is", "# from the left", "# too far left", "# hangs across", "# every corner"):
        assert mended.text.count(comment) == 1
    changed = {step.unit for step in mended.steps}
    old, new = (yaml.safe_load(text) for text in (SCENE, mended.text))
    for entry in old["detectors"]:
        if entry["name"] not in changed:
            assert entry in new["detectors"]
    assert {key: value for key, value in old.items() if key != "detectors"} == {
        key: value for key, value in new.items() if key != "detectors"
    }


def test_every_remedy_written_down_proves_what_it_says() -> None:
    """Of every remedy listed: its keys in the file give its share, its widest gap and its margin."""
    proof = prove(load_text(SCENE))
    for number, mending in enumerate(find_mending(proof)):
        for mend in mending.remedies:
            text = with_step(SCENE, Step(mending.need, mend.unit, mend.words, mend.keys, mend.is_new), "scene.yaml")
            places = prove(load_text(text)).needs[number].places
            assert {place.site.name for place in places if not place.met} == {name for name, _ in mend.still}
            told = [place for place in places if place.site.name in mend.mended]
            if told:
                assert abs(min(place.figures.share for place in told) - mend.share) < 1e-9
                assert abs(min(place.figures.worst_db for place in told) - mend.worst_db) < 1e-6


def test_a_model_takes_the_place_of_a_pattern() -> None:
    step = Step("n", "D2", "model", {"model": "ceiling-infrared-general"}, False)
    text = with_step(SCENE, step, "scene.yaml")
    assert "    turn_deg: 90\n    model: ceiling-infrared-general\nneeds:" in text
    assert load_text(text).detectors[1].model == "ceiling-infrared-general"


def test_never_areas_are_mended_too_and_masks_add_up() -> None:
    """A street behind plasterboard that a unit is tripped from, and a mask that is there stays there."""
    unit = ("{kind: microwave, frequency_ghz: 5.8, reach_behind: 1, declared: [{mounting: 1, plane: 0, motion: radial, "
            "shape: {circle: {diameter: 14}}}]}")  # fmt: skip
    scene = f"""\
raycover: 1
title: t
rooms: [{{name: Hall, outline: [[0, 0], [20, 0], [20, 8], [0, 8]], height: 3, walls: none}}]
detectors:
  - {{name: D1, at: [9, 4], mounting: 1, masks: [{{from_deg: 80, to_deg: 100}}], pattern: {unit}}}
needs:
  - {{name: street, area: [[4.99, 3.99], [5.01, 3.99], [5.01, 4.01], [4.99, 4.01]], height: 1, never: true}}
  - {{name: bench, area: [[12.99, 3.99], [13.01, 3.99], [13.01, 4.01], [12.99, 4.01]], height: 1}}
"""
    mended = mend_text(scene, "scene.yaml", None)
    assert mended.proof.met
    assert [step.need for step in mended.steps] == ["street"]
    masks = load_text(mended.text).detectors[0].masks
    assert (masks[0].from_deg, masks[0].to_deg) == (80, 100)
    assert "masks" not in mended.steps[0].keys or len(masks) == 2


def test_the_command_writes_a_new_scene_and_never_the_old_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    def run(*words: object) -> tuple[int, str]:
        with pytest.raises(SystemExit) as left:
            main(["prove", *map(str, words)])
        out, err = capsys.readouterr()
        return int(left.value.code or 0), out + err

    path, new = tmp_path / "scene.yaml", tmp_path / "new.yaml"
    text = SCENE.replace("rooms: [Left, Right]", "rooms: [Right]") + "doubt: {cases: 16}\n"
    path.write_bytes(text.replace("\n", "\r\n").encode())
    code, said = run(path, "--mended", new)
    assert code == 1, said
    assert path.read_bytes() == text.replace("\n", "\r\n").encode()
    written = new.read_bytes().decode()
    assert written.count("\r\n") == written.count("\n") >= text.count("\n")
    for words in ("what would mend it, tried by casting", "Changed in", "2 of 2 needs met there", "hang it elsewhere"):
        assert words in said
    assert run(new)[0] == 0
    for target, problem in ((path, "same-file"), (new, "file-exists"), (tmp_path / "new.txt", "not-yaml")):
        code, said = run(path, "--mended", target)
        assert (code, problem in said) == (2, True)
    assert new.read_bytes().decode() == written


LOUNGE = """\
raycover: 1
title: Two tables of a lounge
grid: 0.25
rooms:
  - {name: Lounge, outline: [[0, 0], [16, 0], [16, 6], [0, 6]], height: 3, walls: brick-215}
detectors:
  - {name: D1, at: [12, 3], mounting: 3, pattern: {kind: infrared, declared: [{mounting: 3, plane: 0, motion: tangential, shape: {circle: {diameter: 6}}}]}}
needs:
  - {name: Left table, area: [[2, 2], [3.5, 2], [3.5, 4], [2, 4]], height: 0}
  - {name: Right table, area: [[4.5, 2], [6, 2], [6, 4], [4.5, 4]], height: 0}
"""  # noqa: E501


def hung(monkeypatch: pytest.MonkeyPatch, scene: str, *at: float) -> Mended:
    """A scene mended, where the search first hangs one more like D1 at these x a need each."""
    pattern = yaml.safe_load(scene)["detectors"][0]["pattern"]
    steps = []
    for k, (need, x) in enumerate(zip(yaml.safe_load(scene)["needs"], at, strict=True), 2):
        keys = {"name": f"D{k}", "pattern": pattern, "at": [x, 3], "mounting": 3}
        steps.append(Step(need["name"], f"D{k}", f"one more, D{k}", keys, True))
    first = iter([steps])
    search = applying._next
    with monkeypatch.context() as patch:
        patch.setattr(applying, "_next", lambda *now: next(first, None) or search(*now))
        mended = mend_text(scene, "scene.yaml", None)
    assert len(yaml.safe_load(mended.text)["detectors"]) == 1 + len(mended.steps)
    return mended


@pytest.mark.parametrize("right", [5.2, 5.6])
def test_one_new_unit_for_two_where_one_does(monkeypatch: pytest.MonkeyPatch, right: float) -> None:
    """A circle of 3 m about (4, 3) holds both tables, 2.24 m from it at most; of two units each misses the other table,
    since (2.9, 3) to (6, 2) are 3.26 m and (5.2, 3) to (2, 2) 3.35 m."""
    mended = hung(monkeypatch, LOUNGE, 2.9, right)
    assert mended.proof.met
    assert prove(load_text(mended.text)).met
    (step,) = mended.steps
    assert (step.unit, step.need) == ("D2", "Left table, Right table")


def test_two_stay_where_no_one_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """From (2, ·) to (9.5, ·) are 7.5 m: more than the 6 m of a unit's circle."""
    far = LOUNGE.replace("[[4.5, 2], [6, 2], [6, 4], [4.5, 4]]", "[[8, 2], [9.5, 2], [9.5, 4], [8, 4]]")
    mended = hung(monkeypatch, far.replace("at: [12, 3]", "at: [14, 3]"), 2.9, 8.7)
    assert mended.proof.met
    assert [step.unit for step in mended.steps] == ["D2", "D3"]


def test_a_new_unit_that_a_later_one_makes_needless_is_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    """The unit hung last, at (4, 3), sees both tables."""
    mended = hung(monkeypatch, LOUNGE, 2.9, 4.0)
    assert mended.proof.met
    assert [(step.unit, step.keys["at"]) for step in mended.steps] == [("D3", [4.0, 3])]


def test_units_that_each_show_a_part_stay_though_the_need_is_missed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Three circles of 28.3 m² at most cannot show 96 m²: missed either way, but with fewer of them more is missing."""
    need = "  - {name: Both, area: [[0, 0], [9, 0], [9, 6], [0, 6]], height: 0, share: 0.99}\n"
    scene = LOUNGE[: LOUNGE.index("needs:")] + "needs:\n" + need + need.replace("Both", "Again")
    monkeypatch.setattr(applying, "MOST_STEPS", 2)
    mended = hung(monkeypatch, scene, 2.5, 6.5)
    assert not mended.proof.met
    assert [step.unit for step in mended.steps] == ["D2", "D3"]


def test_one_line_a_unit_told_against_the_scene_as_it_was() -> None:
    """Moved by 0.6 m, then by 0.8 m square to it, are 1 m; much lower, then higher, is lower; there and back
    is nothing; another model leaves nothing of the settings that went with the one before."""
    scene = load_text(SCENE)
    units = prove(scene).needs[0].situation.units
    pattern = yaml.safe_load(SCENE)["detectors"][0]["pattern"]
    new = {"name": "D3", "pattern": pattern, "at": [3, 5], "mounting": 3}
    steps = [
        Step("A", "D1", "move 0.60 m to (3, 3)", {"at": [3.0, 3.0]}, False),
        Step("A", "D2", "hang lower, at 2.5 m", {"mounting": 2.5}, False),
        Step("B", "D3", "one more, D3", new, True),
        Step("B", "D1", "move 0.80 m to (3, 3.8)", {"at": [3.0, 3.8]}, False),
        Step("B", "D1", "sensitivity 90 %", {"sensitivity_pct": 90}, False),
        Step("C", "D2", "hang higher, at 2.75 m", {"mounting": 2.75}, False),
        Step("C", "D3", "sensitivity 80 %", {"sensitivity_pct": 80}, False),
    ]
    told = at_one_unit(steps, scene, units)
    assert [(step.need, step.unit, step.words) for step in told] == [
        ("A, B", "D1", "move 1.00 m to (3, 3.8), sensitivity 90 %"),
        ("A, C", "D2", "hang lower, at 2.75 m"),
        ("B, C", "D3", "one more, D3: the same kind at (3, 5) m, 3 m up, sensitivity 80 %"),
    ]
    texts = []
    for done in (steps, told):
        text = SCENE
        for step in done:
            text = with_step(text, step, "scene.yaml")
        texts.append(text)
    assert yaml.safe_load(texts[0]) == yaml.safe_load(texts[1])
    back = [steps[1], Step("B", "D2", "hang higher, at 3 m", {"mounting": 3}, False)]
    assert at_one_unit(back, scene, units) == ()
    other = [
        Step("A", "D2", "setting", {"microwave_pct": 50, "turn_deg": 0}, False),
        Step("B", "D2", "model", {"model": "ceiling-infrared-general"}, False),
    ]
    (one,) = at_one_unit(other, scene, units)
    assert one.keys == {"model": "ceiling-infrared-general", "turn_deg": 0}
    assert one.words == "model ceiling-infrared-general, turn to 0°"


def test_no_unit_is_moved_bit_by_bit_beyond_a_move() -> None:
    scene = load_text(SCENE)

    def step(x: float, *, new: bool = False) -> Step:
        return Step("A", "D1", "move", {"at": [x, 3]}, new)

    assert [is_moved_too_far(step(x), scene) for x in (2.4, 5.4, 5.5)] == [False, False, True]
    assert not is_moved_too_far(step(5.5, new=True), scene)
    assert not is_moved_too_far(Step("A", "D1", "setting", {"sensitivity_pct": 90}, False), scene)


def test_a_line_told_once_is_in_what_is_written(monkeypatch: pytest.MonkeyPatch) -> None:
    first = iter([
        [Step("Left whole", "D1", "hang lower, at 2.5 m", {"mounting": 2.5}, False)],
        [Step("Left whole", "D1", "hang higher, at 3 m", {"mounting": 3}, False)],
    ])  # fmt: skip
    monkeypatch.setattr(applying, "_next", lambda *now: next(first, []))
    mended = mend_text(SCENE, "scene.yaml", None)
    assert mended.steps == ()
    assert mended.text == SCENE


def test_one_for_both_of_units_that_no_need_knows() -> None:
    """Where a unit is in no situation of the needs there is nothing to try, and no traceback."""
    proof = prove(load_text(LOUNGE))
    pattern = yaml.safe_load(LOUNGE)["detectors"][0]["pattern"]
    entries = [{"name": name, "pattern": pattern, "at": [x, 3], "mounting": 3} for name, x in (("D7", 2), ("D8", 5))]
    assert one_for_both(proof, proof, *entries) is None
    assert one_for_both(replace(proof, needs=()), replace(proof, needs=()), *entries) is None


def test_misses_no_more_holds_for_places_still_missed() -> None:
    """A bench from x = 0 to 8 m: a unit that sees 3 m about (4, 3) shows 6 m of it, about (2, 3) 5 m; missed both ways.

    A share that grows does not make up for a gap that does.
    """
    need = "  - {name: Bench, area: [[0, 2.9], [8, 2.9], [8, 3.1], [0, 3.1]], height: 0}\n"
    text = LOUNGE[: LOUNGE.index("needs:")].replace("grid: 0.25", "grid: 0.1") + "needs:\n" + need
    better, worse = (prove(load_text(text.replace("at: [12, 3]", f"at: [{x}, 3]"))) for x in (4, 2))
    shares = [proof.needs[0].places[0].figures.share for proof in (better, worse)]
    assert shares == pytest.approx([6 / 8, 5 / 8], abs=0.02)
    assert not better.met
    assert not worse.met
    assert misses_no_more(better, worse) == (
        better.needs[0].places[0].figures.largest_gap_m <= worse.needs[0].places[0].figures.largest_gap_m
    )
    assert not misses_no_more(worse, better)
    assert misses_no_more(worse, worse)
    spec, now = worse.needs[0].need, worse.needs[0].places[0].figures
    assert is_less(spec, now, replace(now, share=now.share + 0.1, largest_gap_m=now.largest_gap_m + 0.1))
    assert not is_less(spec, now, replace(now, share=now.share - 1e-6))


def test_a_chance_not_asked_for_is_said() -> None:
    proof = prove(load_text(SCENE))
    mending = find_mending(proof)[0]
    assert {row.chance for row in mend_rows(mending)} == {"–"}
    assert chance_note(mending).startswith("– in chance: not tried, since only the first 3")
    asked = replace(mending, remedies=tuple(replace(mend, chance=0.5) for mend in mending.remedies))
    assert {row.chance for row in mend_rows(asked)} == {"50 %"}
    assert chance_note(asked) == ""

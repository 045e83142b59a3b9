"""Edits: the way back and forth."""

from __future__ import annotations

from raycover.editing.edits import MOST, Edits


def test_there_and_back() -> None:
    edits = Edits("a")
    assert (edits.can_undo, edits.undo(), edits.redo()) == (False, None, None)
    edits.do("b", "to b")
    edits.do("c", "to c")
    assert edits.undo() == "to c"
    assert edits.now == "b"
    assert edits.undo() == "to b"
    assert (edits.now, edits.can_undo) == ("a", False)
    assert edits.redo() == "to b"
    assert edits.now == "b"


def test_a_new_edit_forgets_what_was_undone() -> None:
    edits = Edits("a")
    edits.do("b", "to b")
    edits.undo()
    edits.do("c", "to c")
    assert not edits.can_redo
    assert edits.undo() == "to c"
    assert edits.now == "a"


def test_a_design_that_is_no_other_is_no_edit() -> None:
    edits = Edits((1, 2))
    edits.do((1, 2), "nothing")
    assert not edits.can_undo


def test_steps_of_one_thread_count_as_one_until_they_part() -> None:
    edits = Edits(0)
    for step in (5, 10, 15):
        edits.do(step, f"turned to {step}", "turn")
    edits.part()
    edits.do(20, "turned to 20", "turn")
    edits.do(99, "moved")
    edits.undo()
    assert edits.now == 20
    assert edits.undo() == "turned to 20"
    assert edits.now == 15
    assert edits.undo() == "turned to 15"
    assert (edits.now, edits.can_undo) == (0, False)


def test_a_thread_never_swallows_what_came_before_it() -> None:
    edits = Edits(0)
    edits.do(1, "one", "turn")
    edits.undo()
    edits.do(2, "two", "turn")
    assert edits.undo() == "two"
    assert edits.now == 0


def test_the_oldest_steps_are_dropped() -> None:
    edits = Edits(0)
    for k in range(1, MOST + 50):
        edits.do(k, str(k))
    while edits.undo():
        pass
    assert edits.now == 50

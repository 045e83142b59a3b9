"""Numbers that an option cannot take: what is allowed, what was got, what to write; never the parser's own words."""

from __future__ import annotations

from collections.abc import Callable

import pytest

Run = Callable[..., tuple[int, str, str]]


@pytest.mark.parametrize(
    ("words", "said", "help_"),
    [
        (["place", "x.yaml", "--seconds", "-1"], '--seconds: error: expects a number from 1 to 86400, got "-1"', "60"),
        (["place", "x.yaml", "--seconds=abc"], '--seconds: error: expects a number from 1 to 86400, got "abc"', "60"),
        (["place", "x.yaml", "--pitch", "0"], '--pitch: error: expects a number from 0.1 to 100, got "0"', "0.1"),
        (["walktest", "x.yaml", "--points", "61"], "--points: error: expects a whole number from 1 to 60, got", "24"),
        (["walktest", "x.yaml", "--points", "2.5"], "--points: error: expects a whole number from 1 to 60, got", "24"),
        (["map", "x.yaml", "--threads", "0"], '--threads: error: expects a whole number from 1 to 256, got "0"', "1"),
        (["sweep", "x.yaml", "--seed", "-1"], '--seed: error: expects a whole number of 0 or more, got "-1"', "0"),
        (["sweep", "x.yaml", "--share", "95"], '--share: error: expects a number from 0 to 1, got "95"', "1"),
        (["view", "x.yaml", "--scale", "big"], '--scale: error: expects a number, got "big"', "1"),
        (["models", "--for", "office", "--mounting", "high"], '--mounting: error: expects a number, got "high"', "1"),
    ],
)
def test_a_number_that_does_not_do(words: list[str], said: str, help_: str, command_line: Run) -> None:
    code, out, err = command_line(*words)
    assert (code, out) == (2, "")
    assert err.startswith(said)
    option = said.partition(":")[0]
    assert f"help: write {option} {help_} (" in err
    assert "Usage" not in err
    assert "Input should" not in err


def test_other_wrong_options_are_told_as_before(command_line: Run) -> None:
    code, _, err = command_line("probe", "x.yaml")
    assert code == 2
    assert "--at" in err
    code, _, err = command_line("place", "x.yaml", "--seconds")
    assert code == 2
    assert "--seconds" in err

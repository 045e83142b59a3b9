"""Sections and cameras as a scene file says them: what is refused, where, and what to do."""

from __future__ import annotations

import json
from typing import Any

import pytest

import raycover
from raycover.errors import InputError

ROOM = {"name": "Hall", "outline": [[0, 0], [10, 0], [10, 8], [0, 8]], "height": 6, "walls": "brick-215"}


def refused(**parts: Any) -> list[tuple[str, str]]:
    """(code, message) of every problem."""
    with pytest.raises(InputError) as caught:
        raycover.load_text(json.dumps({"raycover": 1, "rooms": [ROOM], **parts}))
    assert all(problem.position.line for problem in caught.value.problems)
    return [(problem.code, problem.message) for problem in caught.value.problems]


@pytest.mark.parametrize(
    ("section", "code"),
    [
        ({"name": "A", "line": [[0, 4], [0, 4]]}, "section-too-short"),
        ({"name": "A", "line": [[0, 4], [0.2, 4]]}, "section-too-short"),
        ({"name": "A", "line": [[20, 4], [30, 4]]}, "section-outside"),
        ({"name": "A", "line": [[0, 4], [10, 4]], "looking": "up"}, "not-allowed"),
        ({"name": "A", "line": [[0, 4], [5, 4], [10, 4]]}, "wrong-length"),
        ({"name": "A", "line": [[0, 4], [10, 4]], "depth": 0}, "out-of-range"),
        ({"name": "A/B", "line": [[0, 4], [10, 4]]}, "bad-name"),
        ({"name": "A", "line": [[0, 4], [10, 4]], "dept": 3}, "unknown-key"),
    ],
)
def test_a_section_that_cuts_nothing_is_refused(section: dict[str, Any], code: str) -> None:
    found = refused(sections=[section])
    assert [c for c, _ in found] == [code], found


def test_sections_of_one_name_are_refused() -> None:
    line = [[0, 4], [10, 4]]
    assert refused(sections=[{"name": "A", "line": line}, {"name": "a", "line": line}])[0][0] == "same-name"


def test_a_sound_section() -> None:
    text = json.dumps({"raycover": 1, "rooms": [ROOM], "sections": [{"name": "A", "line": [["-50 cm", 4], [12, 4]]}]})
    (section,) = raycover.load_text(text).sections
    assert (section.looking, section.depth, section.motion) == ("left", 10, "any")
    assert section.line[0] == (-0.5, 4)

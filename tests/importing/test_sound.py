"""What a scene would refuse is taken out, and said so; the rest keeps its comments."""

from __future__ import annotations

import pytest

import raycover
from raycover.errors import InputError
from raycover.importing.assemble import Written
from raycover.importing.imported import Report
from raycover.importing.sound import sound_text


def wall(name: str, line: list[list[float]], construction: str = "brick-100", **more: object) -> dict[str, object]:
    return {"name": name, "line": line, "height": 2.5, "construction": construction, **more}


def test_what_does_not_fit_is_taken_out() -> None:
    hole = {"at": 1, "width": 1, "height": 2, "fill": "none"}
    walls = [
        wall("a", [[0, 0], [4, 0]], openings=[hole, {**hole, "at": 3.5}, {**hole, "at": 2.5, "width": 0.8}]),
        wall("same place", [[0, 0], [4, 0]], "brick-215"),
        wall("b", [[0, 0], [0, 4]]),
    ]
    bent = {"name": "bent", "corners": [[0, 0, 0], [1, 0, 0], [1, 1, 1], [0, 1, 0]], "construction": "brick-100"}
    written = Written({"title": "x", "partitions": walls, "sheets": [bent]})
    written.heads["partitions", 1] = "--- upper ---"
    for k in range(3):
        written.say(("partitions", 0, "openings", k), f"hole {k}")
        written.say(("partitions", k), f"wall {k}")
    report = Report()
    text = sound_text(written, report, None)
    scene = raycover.load_text(text)
    assert [p.name for p in scene.partitions] == ["a", "b"]
    assert [o.at for o in scene.partitions[0].openings] == [1, 2.5]
    assert not scene.sheets
    assert "hole 0" in text
    assert "hole 1" not in text
    assert "hole 2" in text
    assert "wall 1" not in text
    assert text.index("--- upper ---") < text.index("name: b")
    assert any("coincident-faces" in why for why in report.left_out)
    assert any("opening-outside-wall" in why for why in report.left_out)
    assert any("bad-sheet" in why for why in report.left_out)


def test_what_cannot_be_mended_is_raised() -> None:
    with pytest.raises(InputError):
        sound_text(Written({"title": "x" * 500}), Report(), None)

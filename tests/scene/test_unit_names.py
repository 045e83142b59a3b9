"""New units are named in line with those of their technology."""

from __future__ import annotations

import pytest

import raycover
from raycover.editing.live import LiveCoverage
from raycover.scene.unit_names import next_name

INFRARED, MICROWAVE = "infrared", "microwave"
SCENE = """\
raycover: 1
title: Names
rooms:
  - {name: Hall, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-215}
detectors:
  - {name: I1, model: ceiling-infrared-general, at: [2, 3], mounting: 2.8}
  - {name: I2, model: ceiling-infrared-general, at: [4, 3], mounting: 2.8}
  - {name: M7, model: microwave-omni-5.8, at: [6, 3], mounting: 2.8}
planes: [{name: floor, height: 0}]
grid: 0.5
"""


@pytest.mark.parametrize(
    ("there", "kind", "name"),
    [
        ([("I1", INFRARED), ("I2", INFRARED), ("M7", MICROWAVE)], MICROWAVE, "M8"),
        ([("I1", INFRARED), ("I2", INFRARED), ("M7", MICROWAVE)], INFRARED, "I3"),
        ([("I1", INFRARED), ("I2", INFRARED)], MICROWAVE, "D1"),
        ([("D1", INFRARED), ("D2", INFRARED)], MICROWAVE, "D3"),  # the letter is everybody's
        ([("D1", MICROWAVE), ("D5", INFRARED)], MICROWAVE, "D6"),
        ([("Hall", MICROWAVE), ("I1", INFRARED)], MICROWAVE, "D1"),
        ([], "dual", "D1"),
    ],
)
def test_the_next_name(there: list[tuple[str, str]], kind: str, name: str) -> None:
    assert next_name(there, kind) == name


def test_the_window_names_by_technology_not_by_neighbours() -> None:
    live = LiveCoverage(raycover.load_text(SCENE), threads=1)
    added = [
        live.add((x, 2.0, 0.0), model=model)
        for x, model in ((1.0, "microwave-omni-5.8"), (3.0, "ceiling-infrared-general"), (5.0, "ceiling-dual"))
    ]
    assert [live.design.detectors[k].name for k in added] == ["M8", "I3", "D1"]

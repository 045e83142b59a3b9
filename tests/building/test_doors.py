"""What counts as a door, counted alike wherever it is said."""

from __future__ import annotations

import raycover
from raycover.building.build import build
from raycover.building.doors import doors_of
from raycover.draw import words
from raycover.draw.view3d.window.speaking import _doors, tabs_of
from raycover.editing.live import LiveCoverage
from raycover.scene.stating import with_doors

SCENE = """\
raycover: 1
title: Doors
rooms:
  - name: Hall
    outline: [[0, 0], [12, 0], [12, 8], [0, 8]]
    height: 3
    walls: brick-100
    openings:
      - {name: Front, edge: 0, at: 1, width: 3.0, height: 2.5, fill: glass-10}
      - {name: Way in, edge: 0, at: 5, width: 1.8, height: 2.1, fill: glass-10}
      - {name: Roller, edge: 1, at: 1, width: 4.0, height: 2.8, fill: steel-door}
      - {name: Hatch, edge: 2, at: 1, width: 0.8, height: 1.0, fill: door-wood-40}
      - {name: Window, edge: 2, at: 4, width: 2, height: 1.2, sill: 0.9, fill: glass-6}
      - {name: Gap, edge: 2, at: 8, width: 2, height: 2.1, fill: none, state: open}
      - {name: Back, edge: 3, at: 1, width: 0.9, height: 2.0, fill: door-wood-40, state: open}
detectors: [{name: D1, model: ceiling-infrared-general, at: [6, 4], mounting: 2.8}]
planes: [{name: floor, height: 0}]
grid: 0.5
"""
CUBICLES = "cubicles: [{name: WC, at: [8, 5], count: 2, doors: closed}]\n"


def test_doors_open_and_people_pass() -> None:
    """No window, no gap, no hatch, no front of glass too wide to swing."""
    building = build(raycover.load_text(SCENE))
    assert sorted(mark.name for mark in doors_of(building)) == ["Hall/Back", "Hall/Roller", "Hall/Way in"]
    assert words.doors(building) == "1 of 3 doors open"


def test_all_doors_open_leaves_fronts_windows_and_hatches() -> None:
    changed = with_doors(raycover.load_text(SCENE), "open")
    assert {o.name for o in changed.rooms[0].openings if o.state == "open"} == {"Gap", "Back", "Roller", "Way in"}
    assert words.doors(build(changed)) == "doors open"


def test_cubicle_doors_are_said_by_themselves_where_they_stand_otherwise() -> None:
    scene = raycover.load_text(SCENE + CUBICLES)
    assert words.doors(build(scene)) == "1 of 3 doors open, cubicle doors closed"
    assert words.doors(build(with_doors(scene, "closed"))) == "doors closed"
    lone = SCENE.replace("    openings:\n", "    openings: []\n")
    lone = "\n".join(line for line in lone.splitlines() if not line.startswith("      - ")) + "\n"
    assert words.doors(build(raycover.load_text(lone + CUBICLES))) == "doors closed"
    assert words.doors(build(raycover.load_text(lone))) == ""


def test_the_window_counts_the_same_doors() -> None:
    """What else can be opened is listed after them, by what it is."""
    live = LiveCoverage(raycover.load_text(SCENE))
    assert tabs_of(live, "doors") == (
        ("Detectors (1)", "detectors", False), ("Setting", "setting", False), ("Doors (3)", "doors", True),
    )  # fmt: skip
    notes = [row.note for row in _doors(live)]
    assert notes == ["door"] * 3 + ["front", "hatch", "window"]
    assert [mark.is_door for mark in live.doors] == [True] * 3 + [False] * 3

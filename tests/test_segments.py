"""Where segments start: clear of whatever their unit hangs on, in a building of many boxes."""

from __future__ import annotations

import numpy as np
import pytest

import raycover
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.segments import TOLERANCE, Launch, turned


@pytest.fixture(scope="module")
def store() -> Building:
    """Racks in three directions and one long thing, which makes the widest box of all."""
    return build(
        raycover.load_text("""
raycover: 1
title: store
rooms: [{name: Hall, outline: [[0, 0], [40, 0], [40, 30], [0, 30]], height: 9, walls: steel-panel}]
racking:
  - {name: R1, at: [2, 2], bays: 6, levels: 4, back_to_back: true}
  - {name: R2, at: [30, 3], turn_deg: 90, bays: 5, levels: 3}
  - {name: R3, at: [12, 12], turn_deg: 27, bays: 4, levels: 4}
solids: [{name: Beam, centre: [20, 28], size: [36, 0.4, 0.4], base: 6, material: metal}]
planes: [{name: floor, height: 0}]
""")
    )


def test_a_unit_on_a_box_hangs_on_its_face(store: Building) -> None:
    """Of places on the side of every seventh box, each finds that side, whatever the box is and wherever it stands."""
    launch = Launch(store, np.zeros(3))
    boxes = store.boxes
    for k in range(0, len(boxes), 7):
        side = turned(np.array([[boxes.size[k, 0] / 2, 0.0, 0.0]]), -boxes.turn_rad[[k]])[0]
        outward = side / np.linalg.norm(side)
        # Two boxes that meet there may bring the same plane from either side: each plane is told once.
        found = launch._hung_on(boxes.centre[k] + side)
        assert any(abs(normal @ outward) > 0.999 and abs(distance) <= TOLERANCE for normal, distance in found)


def test_a_unit_in_the_open_hangs_on_nothing(store: Building) -> None:
    launch = Launch(store, np.zeros(3))
    assert launch._hung_on(np.array([38.0, 26.0, 5.0])) == []


def test_owners_are_those_of_the_parts(store: Building) -> None:
    names, index = store.owners
    assert [names[k] for k in index] == [store.part_owner(part) for part in range(store.n_parts)]
    assert list(names) == sorted(set(names))

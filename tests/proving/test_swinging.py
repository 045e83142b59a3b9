"""Doors that swing shut: the ends are the scene's own states, between them the leaf stands true."""

from __future__ import annotations

import math

import numpy as np
import pytest

import raycover
from raycover.errors import InputError
from raycover.proving.swinging import ANGLES, door_named, doors_of, plane_for, swings
from raycover.scene.stating import with_openings
from raycover.solving.coverage import solve

SCENE = """
raycover: 1
title: Washroom
rooms:
  - {name: Wash, outline: [[0, 0], [4, 0], [4, 4], [0, 4]], height: 2.6, walls: brick-100,
     openings: [{edge: 0, at: 1, width: 0.9, height: 2.1, fill: door-wood-40, name: Way},
                {edge: 1, at: 1, width: 1, height: 1, sill: 1, fill: glass-6},
                {edge: 2, at: 3, width: 0.8, height: 2.1}]}
  - {name: Lobby, outline: [[0, -2], [4, -2], [4, 0], [0, 0]], height: 2.6, walls: brick-100}
partitions:
  - {name: Screen, line: [[0.5, 1.5], [3, 1.5]], height: 2, construction: chipboard-18,
     openings: [{at: 0.5, width: 0.8, height: 2, fill: door-wood-40}]}
cubicles: [{name: WC, at: [3.9, 4], turn_deg: 180, count: 2, width: 0.9, depth: 1.5, doors: [closed, {ajar_deg: 30}]}]
detectors: [{name: P, model: ceiling-infrared-general, at: [2, 0.8], mounting: 2.6}]
planes: [{name: floor, height: 0}, {name: seated, height: 1.0, motion: presence}]
grid: 0.1
"""


@pytest.fixture(scope="module")
def scene() -> raycover.Scene:
    return raycover.load_text(SCENE)


def test_doors_have_the_names_that_states_use(scene: raycover.Scene) -> None:
    """No window, no plain gap; cubicles first."""
    assert [door.name for door in doors_of(scene)] == ["WC/door 1", "WC/door 2", "Way", "Screen/opening 0"]
    first = door_named(scene, None)
    assert first is not None
    assert first.name == "WC/door 1"
    assert first.inside == pytest.approx((3.45, 3.25))
    assert plane_for(scene) == "seated"
    with pytest.raises(InputError, match='no door is named "WC/door 3"'):
        door_named(scene, "WC/door 3")
    bare = scene.model_copy(update={"cubicles": []})
    assert door_named(bare, None) is None


@pytest.mark.parametrize("name", ["Way", "Screen/opening 0"])
def test_the_ends_are_the_scenes_own_states(scene: raycover.Scene, name: str) -> None:
    door = door_named(scene, name)
    assert door is not None
    shown = scene.model_copy(update={"planes": scene.planes[:1]})
    found = list(swings(scene, door, "floor", angles=(90.0, 45.0, 0.0), threads=1))
    for moment, state in ((found[0], "open"), (found[-1], "closed")):
        fresh = solve(with_openings(shown, {door.loc: state}), threads=1)
        for plane, of in fresh.items():
            np.testing.assert_array_equal(moment.coverage[plane].margin_db, of.margin_db)
    shares = [moment.coverage["floor"].area_where(moment.coverage["floor"].detected) for moment in found]
    assert shares[0] > shares[1] > shares[2]  # infrared: the leaf hides more and more


def test_a_cubicle_closes_and_its_neighbour_stays_ajar() -> None:
    scene = raycover.load_text(SCENE.replace("at: [2, 0.8]", "at: [3.4, 1.9]"))
    door = door_named(scene, None)
    assert door is not None
    wide, half, shut = swings(scene, door, "seated", angles=(90.0, 60.0, 0.0), threads=1)
    assert [m.scene.cubicles[0].door_angles for m in (wide, half, shut)] == [[90, 30], [60, 30], [0, 30]]
    assert scene.cubicles[0].door_angles == [0, 30]
    fresh = solve(scene.model_copy(update={"planes": scene.planes[1:]}), threads=1)
    np.testing.assert_array_equal(shut.coverage["seated"].margin_db, fresh["seated"].margin_db)
    assert wide.coverage.share("seated") > shut.coverage.share("seated")


def test_the_leaf_hangs_at_its_hinge_and_swings_into_its_room(scene: raycover.Scene) -> None:
    """0.9 m wide at 60°: its tip 0.45 m along the wall and 0.9·sin 60° into the room, as high as the opening."""
    door = door_named(scene, "Way")
    assert door is not None
    (moment,) = swings(scene, door, "floor", angles=(60.0,), threads=1)
    corners = np.array(moment.scene.sheets[-1].corners)
    assert corners[:2] == pytest.approx(np.array([[1, 0, 0], [1.45, 0.9 * math.sin(math.radians(60)), 0]]))
    assert corners[2:, 2] == pytest.approx([2.1, 2.1])
    assert moment.scene.sheets[-1].construction == "door-wood-40"
    assert ANGLES[0] == 90
    assert ANGLES[-1] == 0
    assert list(ANGLES) == sorted(ANGLES, reverse=True)

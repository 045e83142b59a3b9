"""A coverage under edits: maps equal those of a fresh solve to the last bit, and only what moved is cast again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import raycover
from raycover.editing.live import LiveCoverage, Look
from raycover.errors import InputError
from raycover.scene.devices import DetectorSpec, MaskSpec
from raycover.solving.coverage import solve

SCENE = """
raycover: 1
title: Two rooms
rooms:
  - {name: Hall, outline: [[0, 0], [10, 0], [10, 6], [0, 6]], height: 4, walls: brick-215, ceiling: steel-panel,
     openings: [{edge: 1, at: 2, width: 1, height: 2.1, fill: steel-door, name: Way}]}
  - {name: Side, outline: [[10, 0], [14, 0], [14, 6], [10, 6]], height: 3, walls: brick-215}
solids: [{name: Column, centre: [4, 3], size: [0.4, 0.4, 4], material: concrete}]
racking: [{name: Rack, at: [1.5, 0.2], bays: 2, levels: 2, depth: 0.9}]
desks: [{name: Desk, at: [11, 1], count: 1}]
detectors:
  - {name: A, model: ceiling-infrared-general, at: [2.5, 4], mounting: 3}
  - {name: B, model: microwave-omni-5.8, at: [8, 3], mounting: 3}
  - {name: C, model: ceiling-infrared-general, at: [12, 3], mounting: 2.8, turn_deg: 30}
  - {name: D, model: ceiling-dual, at: [5, 1.5], mounting: 3}
planes:
  - {name: floor, height: 0}
  - {name: desk, height: 0.75, motion: presence}
  - {name: person, target: person, heights: [0.3, 1.0, 1.6]}
states:
  - {name: door open, set: {Way: open}}
  - {name: summer, set: {Column: absent}, conditions: {ambient_c: 30}}
grid: 0.2
"""


@pytest.fixture
def live() -> LiveCoverage:
    return LiveCoverage(raycover.load_text(SCENE), threads=1)


def assert_as_solved(live: LiveCoverage, look: Look) -> None:
    """Margins and counts are those of a fresh solve of the scene as it is designed."""
    fresh = solve(live.scene_on.model_copy(update={"planes": [look.spec(live.scene)]}), threads=1)
    mine = live.coverage(look)
    assert list(mine) == list(fresh)
    for name, plane in fresh.items():
        np.testing.assert_array_equal(mine[name].margin_db, plane.margin_db)
        np.testing.assert_array_equal(mine[name].count, plane.count)
        np.testing.assert_array_equal(mine[name].seeing, plane.seeing)
    assert mine.seats == fresh.seats


LOOKS = [Look(0), Look(1), Look(2), Look(0, 1.35), Look(2, 0.4, "presence"), Look(1, None, "radial")]


@pytest.mark.parametrize("look", LOOKS, ids=str)
def test_after_edits_maps_are_those_of_a_fresh_solve(live: LiveCoverage, look: Look) -> None:
    assert_as_solved(live, look)
    live.move(0, at=(3.15, 4.4))
    assert_as_solved(live, look)
    live.move(1, mounting=2.4, turn_deg=45.0)
    live.move(2, tilt_deg=10.0)
    live.move(3, at=(5.2, 1.6))
    assert_as_solved(live, look)
    live.switch(1)
    assert_as_solved(live, look)
    live.set_door(live.doors[0], "open")
    live.set_ambient(28)
    assert_as_solved(live, look)
    live.set_state("summer")
    assert_as_solved(live, look)
    while live.undo():
        pass
    assert_as_solved(live, look)
    while live.redo():
        pass
    assert_as_solved(live, look)


def test_moving_one_casts_that_one_alone(live: LiveCoverage) -> None:
    look = Look(0)
    live.coverage(look)
    before, n = live.coverage(look)["floor"], live.n_cast
    assert n == 4
    live.move(0, at=(3.0, 4.0))
    after = live.coverage(look)["floor"]
    assert live.n_cast == n + 1
    assert after.patches[1] is before.patches[1]
    assert after.patches[2] is before.patches[2]
    live.switch(1)
    live.coverage(look)
    live.switch(1)
    live.coverage(look)
    assert live.n_cast == n + 1
    live.set_ambient(25)  # the air is nothing to B, which is microwave
    warm = live.coverage(look)["floor"]
    assert live.n_cast == n + 4
    assert warm.patches[1] is before.patches[1]


def test_a_trial_is_no_edit(live: LiveCoverage) -> None:
    look = Look(0)
    drawn = live.coverage(look)["floor"].margin_db
    for x in (3.0, 3.05, 3.1):
        live.move(0, trial=True, at=(x, 4.0))
        assert_as_solved(live, look)
    assert not live.edits.can_undo
    live.back()
    np.testing.assert_array_equal(live.coverage(look)["floor"].margin_db, drawn)
    live.move(0, trial=True, at=(3.1, 4.0))
    live.move(0, at=(3.1, 4.0))
    assert live.undo() == "A moved"
    np.testing.assert_array_equal(live.coverage(look)["floor"].margin_db, drawn)


@pytest.mark.parametrize(
    ("values", "said"),
    [
        ({"at": (4.0, 3.0)}, 'hangs inside "Column"'),
        ({"mounting": 4.5}, "is mounted at 4.5 m in"),
        ({"at": (30.0, 3.0)}, "outside every room"),
    ],
)
def test_what_cannot_stand_changes_nothing(live: LiveCoverage, values: dict[str, object], said: str) -> None:
    before = live.design
    with pytest.raises(InputError, match=said):
        live.move(0, **values)  # type: ignore[arg-type]
    assert live.design == before
    assert not live.edits.can_undo
    assert_as_solved(live, Look(0))


def test_only_detectors_in_other_places_ask_to_be_saved(live: LiveCoverage) -> None:
    live.switch(0)
    live.set_ambient(30)
    live.set_state("door open")
    assert not live.changed
    live.move(0, turn_deg=5.0)
    assert live.changed
    live.undo()
    assert not live.changed


def test_a_state_takes_its_doors_and_its_air(live: LiveCoverage) -> None:
    live.set_door(live.doors[0], "open")
    live.set_ambient(11)
    live.set_state("summer")
    assert live.weather.ambient_c == 30
    assert [door.state for door in live.doors] == ["closed"]
    live.set_state("door open")
    assert live.weather.ambient_c == 20
    assert [door.state for door in live.doors] == ["open"]
    assert live.undo() == 'state "door open"'
    assert live.weather.ambient_c == 30


def test_with_all_off_nothing_is_seen(live: LiveCoverage) -> None:
    for index in range(4):
        live.switch(index)
    plane = live.coverage(Look(0))["floor"]
    assert np.isneginf(plane.margin_db[plane.surface.inside]).all()
    assert live.coverage(Look(0)).units == ()
    assert live.probe((2, 4, 0), Look(0)) == []


def test_without_detectors_the_map_is_of_nothing() -> None:
    text = SCENE[: SCENE.index("detectors:")] + SCENE[SCENE.index("planes:") :]
    live = LiveCoverage(raycover.load_text(text), threads=1)
    plane = live.coverage(Look(0))["floor"]
    assert live.units == ()
    assert plane.share == 0
    assert_as_solved(live, Look(0))


def test_a_probe_says_what_the_map_shows(live: LiveCoverage) -> None:
    """At a cell's centre the best margin is the cell's; for a person, at the height that each sees best."""
    for look in (Look(0), Look(1), Look(2)):
        plane = next(iter(live.coverage(look).values()))
        rows, columns = np.nonzero(plane.margin_db > -8)
        for row, column in list(zip(rows, columns, strict=True))[::97]:
            views = live.probe((float(plane.x[column]), float(plane.y[row]), 0.0), look)
            best = max(view.margin_db for view in views)
            assert best == pytest.approx(float(plane.margin_db[row, column]), abs=2e-3)
            assert {view.name for view in views} == {"A", "B", "C", "D"}
    assert live.probe((2, 4, 0), Look(2))[0].point[2] in (0.3, 1.0, 1.6)


def test_a_look_is_the_plane_as_a_file_would_say_it(live: LiveCoverage) -> None:
    spec = replace(live.look("person"), height=1.2, motion="radial").spec(live.scene)
    assert (spec.target, spec.target_heights, spec.motion) == ("point", (1.2,), "radial")
    assert live.look("desk").spec(live.scene) is live.scene.planes[1]


def test_reflections_follow_too() -> None:
    """Ways by mirrors, of a moved microwave unit, are looked for again."""
    text = SCENE.replace("grid: 0.2", "grid: 0.4\nconditions: {reflections: 1}")
    live = LiveCoverage(raycover.load_text(text), threads=1)
    live.coverage(Look(0))
    live.move(1, at=(7.0, 2.0))
    assert_as_solved(live, Look(0))


def test_one_more_is_cast_alone_and_one_less_not_at_all(live: LiveCoverage) -> None:
    look = Look(0)
    live.coverage(look)
    n = live.n_cast
    index = live.add((7.0, 5.0, 0.0), like=0)
    assert index == 4
    spec = live.design.detectors[index]
    assert (spec.name, spec.model, spec.at, spec.mounting) == ("D1", "ceiling-infrared-general", (7.0, 5.0), 3.0)
    assert_as_solved(live, look)
    assert live.n_cast == n + 1
    live.remove(1)
    assert [unit.name for unit in live.units] == ["A", "C", "D", "D1"]
    assert_as_solved(live, look)
    assert live.n_cast == n + 1
    assert live.undo() == "B taken down"
    assert_as_solved(live, look)
    assert live.undo() == "D1 added at (7, 5)"
    assert_as_solved(live, look)
    live.redo()
    live.redo()
    assert_as_solved(live, look)
    assert live.n_cast == n + 1
    assert live.changed


def test_the_way_back_over_one_taken_down_while_off(live: LiveCoverage) -> None:
    live.switch(1)
    live.switch(2)
    live.remove(1)
    assert live.on == (0, 2)
    assert_as_solved(live, Look(0))
    live.undo()
    assert live.on == (0, 3)
    assert_as_solved(live, Look(0))


def test_another_entry_a_setting_a_mask_cast_that_one_alone(live: LiveCoverage) -> None:
    look = Look(0)
    live.coverage(look)
    n = live.n_cast
    live.choose_model(0, "high-bay-infrared-round")
    assert_as_solved(live, look)
    live.move(0, sensitivity_pct=70.0)
    assert_as_solved(live, look)
    live.move(0, masks=[MaskSpec(from_deg=0, to_deg=90)])
    assert_as_solved(live, look)
    assert live.n_cast == n + 3
    assert any("meant for" in said for said in live.doubts(0))
    live.choose_model(3, "microwave-omni-5.8")
    assert_as_solved(live, look)


def test_a_new_one_hangs_below_its_ceiling_under_a_free_name() -> None:
    text = SCENE.replace("name: A", "name: P7").replace("name: B", "name: P9").replace("name: C,", "name: L1,")
    live = LiveCoverage(raycover.load_text(text), threads=1)
    index = live.add((11.0, 5.02, 0.0), like=0)
    assert live.design.detectors[index] == DetectorSpec(
        name="P10", model="ceiling-infrared-general", at=(11.0, 5.0), mounting=3.0
    )
    live.remove(0)
    index = live.add((12.5, 2.0, 0.0))
    spec = live.design.detectors[index]
    assert (spec.name, spec.model, spec.mounting, spec.turn_deg) == ("P11", "ceiling-infrared-general", 2.8, 30.0)
    live.remove(1)  # L1, the room's only one
    index = live.add((12.5, 2.0, 0.0))
    assert live.design.detectors[index].mounting == 2.8
    index = live.add((2.5, 2.0, 0.0), model="microwave-omni-5.8")
    spec = live.design.detectors[index]
    assert (spec.name, spec.model, spec.mounting <= 3.95) == ("P13", "microwave-omni-5.8", True)


def test_what_cannot_be_added_or_taken_down_changes_nothing() -> None:
    live = LiveCoverage(raycover.load_text(SCENE + "zones: [{name: Z, detectors: [A], mode: presence}]\n"))
    before = live.design
    with pytest.raises(InputError, match='hangs inside "Column"'):
        live.add((4.0, 3.0, 0.0), like=0)
    with pytest.raises(InputError, match="outside every room"):
        live.add((30.0, 3.0, 0.0), like=0)
    with pytest.raises(InputError, match='"A" cannot be taken down, the scene asks for it: zone "Z"'):
        live.remove(0)
    with pytest.raises(InputError, match="its masks take"):
        live.move(0, masks=[MaskSpec(from_deg=0, to_deg=350)])
    with pytest.raises(InputError, match="is set to 5 % of its reach"):
        live.move(0, sensitivity_pct=5.0)
    assert live.design == before
    assert not live.edits.can_undo
    live.remove(2)


def test_one_that_is_named_goes_with_its_name_when_that_is_asked_for() -> None:
    live = LiveCoverage(raycover.load_text(SCENE + "zones: [{name: Z, detectors: [A, B, 'C*'], mode: presence}]\n"))
    before, zones = live.design, live.scene.zones
    with pytest.raises(InputError, match='"A" is named by zone "Z"') as error:
        live.remove(0)
    assert error.value.problems[0].code == "detector-named"
    assert live.design == before
    live.remove(0, unnamed=True)
    assert live.scene.zones[0].detectors == ["B", "C*"]
    assert live.changed
    assert live.undo() == 'A taken down and out of zone "Z"'
    assert live.scene.zones == zones
    assert not live.changed
    assert live.redo() is not None
    assert live.scene.zones[0].detectors == ["B", "C*"]

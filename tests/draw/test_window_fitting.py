"""Detectors hung, taken down, made another entry, set and masked in the window, by key, button and slider."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from displays import needs_3d
from view3d_scenes import SMALL
from windows import SIZE, click, middle, pixel_of, pixel_over, spot

import raycover
from raycover.draw.view3d.window import Window, scenery
from raycover.draw.view3d.window.fitting import azimuth_deg
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage
from raycover.solving.coverage import solve

pytestmark = needs_3d


@pytest.fixture
def window(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Window]:
    monkeypatch.setattr(scenery, "_MAP_PX", 200)
    path = tmp_path / "scene.yaml"
    path.write_text(SMALL.replace("mounting: 4.5}", "mounting: 4.5}   # over the racks") + "# the end\n")
    file = SceneFile(path)
    shown = Window(LiveCoverage(file.scene), file, off_screen=True, size=SIZE, folder=tmp_path)
    yield shown
    shown.close()


def assert_as_solved(window: Window) -> None:
    """What is shown is what a fresh solve of the scene on hand finds."""
    scene = window.live.scene
    fresh = solve(scene.model_copy(update={"planes": [scene.planes[window.state.plane]]}))
    for name, plane in fresh.items():
        np.testing.assert_array_equal(window.scenery.coverage[name].margin_db, plane.margin_db)


def names(window: Window) -> list[str]:
    return [unit.name for unit in window.live.units]


def test_hang_one_where_asked_move_it_save_it_take_it_down(window: Window) -> None:
    file, live = window.file, window.live
    assert file is not None
    before, n = file.path.read_text(), live.n_cast
    click(window, *pixel_over(window, 9.0, 3.0, 0.0))
    click(window, *middle(window, spot(window, "begin hanging")))
    assert names(window) == ["A", "B", "D1"]
    spec = live.design.detectors[2]
    assert spec.at == pytest.approx((9, 3), abs=0.06)
    assert (spec.model, spec.mounting) == ("wide-infrared-rectangular", 4.5)  # as its neighbour in the room
    assert window.state.message == f"D1 hangs at ({spec.at[0]:g}, {spec.at[1]:g}), 4.5 m high"
    assert window.verdict[0].text.startswith("Seen by ")
    assert live.n_cast == n + 1
    assert_as_solved(window)
    window.pointer.down(*pixel_of(window, 2))
    window.pointer.move(*pixel_over(window, 8.0, 6.0, 4.5))
    window.pointer.up(*pixel_over(window, 8.0, 6.0, 4.5))
    window.press("s")
    after = file.path.read_text()
    line = "  - {name: D1, model: wide-infrared-rectangular, at: [8, 6], mounting: 4.5}\n"
    assert after.replace(line, "") == before
    assert after.index("name: B") < after.index("name: D1") < after.index("planes:")
    window.press("r")
    assert names(window) == ["A", "B"]
    assert window.state.detector is None
    assert window.state.message == "D1 is taken down; u brings it back"
    assert_as_solved(window)
    window.press("u")
    assert names(window) == ["A", "B", "D1"]
    window.press("y")
    window.press("s")
    assert file.path.read_text() == before


def test_the_next_click_hangs_one_and_escape_does_not(window: Window) -> None:
    window.press("f")
    assert window.state.message == "Click the place over which it shall hang; Esc: none"
    window.press("Escape")
    click(window, *pixel_over(window, 14.5, 6.5, 0.0))
    assert len(window.live.units) == 2
    assert window.state.place is not None
    window.press("x")
    window.press("Left")
    assert names(window)[window.state.detector or 0] == "B"
    window.press("Insert")
    click(window, *pixel_over(window, 14.5, 6.5, 0.0))
    assert names(window) == ["A", "B", "D1"]
    spec = window.live.design.detectors[2]
    assert (spec.model, spec.mounting) == ("microwave-omni-5.8", 2.6)  # as the chosen one
    assert window.state.detector == 2
    assert not window.state.hanging
    click(window, *pixel_of(window, 0))
    window.press("Delete")
    assert names(window) == ["B", "D1"]
    window.press("u")
    window.press("Right")
    assert window.state.detector == 0


def test_what_cannot_stand_is_said_and_nothing_is_lost(window: Window) -> None:
    window.press("Left")
    window.act("hang", (-4.0, 3.0, 0.0))
    assert "stands outside every room" in window.state.message
    window.act("hang", None)
    assert window.state.message.startswith("Click the floor of a room")
    window.act("hang", (2.6, 2.5, 0.0))
    assert window.state.message.startswith('detector "D1" hangs inside "R1": move it out')
    assert names(window) == ["A", "B"]
    assert not window.live.edits.can_undo
    window.press("r")
    window.press("r")
    assert window.state.message == "Choose a detector first: click it, or → and ←"


def test_another_entry_by_list_and_by_key(window: Window) -> None:
    live = window.live
    window.press("Right")
    click(window, *middle(window, spot(window, "tab", "setting")))
    n = live.n_cast
    click(window, *middle(window, spot(window, "model", "high-bay-infrared-round")))
    assert live.design.detectors[0].model == "high-bay-infrared-round"
    assert live.n_cast == n + 1
    assert window.state.message.startswith("A is now High-bay infrared, all round. But ")  # hung too low for it
    assert "outside the" in window.state.message
    assert any(line.style == "doubt" for line in window.shown().chosen)
    assert_as_solved(window)
    window.press("bracketleft")
    assert live.design.detectors[0].model == "high-bay-infrared-aisle"
    window.press("u")  # steps through entries are one step back
    assert live.design.detectors[0].model == "wide-infrared-rectangular"
    window.press("x")
    window.act("model", "ceiling-dual")
    assert window.state.message == "The next one hung: Ceiling, infrared and microwave"
    window.act("hang", (14.5, 6.5, 0.0))
    assert live.design.detectors[2].model == "ceiling-dual"


def test_a_setting_by_slider_and_key(window: Window) -> None:
    live = window.live
    window.press("Right")
    window.act("tab", "setting")
    before = window.scenery.planes[0].share
    window.pointer.down(*middle(window, spot(window, "sensitivity"), 0.98))
    for share in (0.8, 0.6):
        window.pointer.move(*middle(window, spot(window, "sensitivity"), share))
    window.pointer.up(*middle(window, spot(window, "sensitivity"), 0.6))
    value = live.design.detectors[0].sensitivity_pct
    assert 50 < value < 75
    assert window.scenery.planes[0].share < before
    assert_as_solved(window)
    window.press("k")
    assert live.design.detectors[0].sensitivity_pct == value + 5
    window.press("u")
    window.press("u")
    assert live.design.detectors[0].sensitivity_pct == 100
    window.press("k")
    assert live.design.detectors[0].sensitivity_pct == 100  # no more than its entry allows


def test_a_place_is_masked_and_seen_again(window: Window) -> None:
    live, file = window.live, window.file
    assert file is not None
    window.press("Right")
    window.press("z")
    assert window.state.message == "Click the place that it shall not see first, then mask it"
    window.act("place", (6.5, 6.5, 0.0))  # 45° from A, which looks along x
    assert azimuth_deg(live.units[0], (6.5, 6.5, 0.0)) == pytest.approx(45)
    assert window.verdict[0].text.startswith("Seen by A")
    window.press("z")
    (mask,) = live.design.detectors[0].masks
    assert (mask.from_deg, mask.to_deg) == (30, 60)
    assert window.verdict[0].text.startswith("Not seen: masked (A)")
    assert_as_solved(window)
    window.act("tab", "setting")
    window.pointer.down(*middle(window, spot(window, "mask to"), 0.66))
    window.pointer.up(*middle(window, spot(window, "mask to"), 0.64))
    (mask,) = live.design.detectors[0].masks
    assert (mask.from_deg, mask.to_deg) == (30, 50)
    window.press("s")
    assert "masks: [{from_deg: 30, to_deg: 50}]}   # over the racks" in file.path.read_text()
    window.act("mask from", -170.0)
    assert "its masks take" in window.state.message
    assert live.design.detectors[0].masks == [mask]
    window.press("z")
    assert live.design.detectors[0].masks == []
    window.press("s")
    assert raycover.load(file.path).detectors[0].masks == []
    window.act("mask", None)
    window.act("mask", 0)
    assert live.design.detectors[0].masks == []


def test_one_that_a_zone_names_is_taken_down_there_too_when_it_is_said_twice(window: Window) -> None:
    file = window.file
    assert file is not None
    file.path.write_text(file.path.read_text() + "zones: [{name: Z, detectors: [A, B], mode: presence}]\n")
    named = SceneFile(file.path)
    shown = Window(LiveCoverage(named.scene), named, off_screen=True, size=SIZE, folder=file.path.parent)
    try:
        shown.press("Right")
        shown.press("r")
        assert shown.state.message == '"A" is named by zone "Z": once more (r) takes it down there, too'
        assert names(shown) == ["A", "B"]
        shown.press("Up")  # another edit: it must be said anew
        shown.press("r")
        assert names(shown) == ["A", "B"]
        shown.press("r")
        assert shown.state.message == 'A is taken down, and out of zone "Z"; u brings it back'
        assert shown.live.scene.zones[0].detectors == ["B"]
        shown.press("s")
        assert "detectors: [B], mode" in named.path.read_text()
        shown.press("u")
        assert names(shown) == ["A", "B"]
        assert shown.live.scene.zones[0].detectors == ["A", "B"]
    finally:
        shown.close()

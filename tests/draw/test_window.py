"""The window: what its keys, controls and mouse do, off screen and in a real window under a virtual X display."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from displays import needs_3d
from PIL import Image
from view3d_scenes import SMALL, made
from windows import (
    SIZE,
    click,
    hand_over,
    middle,
    mouse,
    picture,
    pixel_of,
    pixel_over,
    spot,
    type_key,
    virtual_display,
)

import raycover
from raycover.draw.view3d import open_window
from raycover.draw.view3d.window import Window, scenery
from raycover.draw.view3d.window.keys import KEYS
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage, Look
from raycover.errors import MissingPart
from raycover.solving.casting import CAUSES
from raycover.solving.coverage import solve


@pytest.fixture(scope="module", autouse=True)
def _coarse() -> Iterator[None]:
    """Maps drawn coarse and prints small: what is looked at here is not how fine they are."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(scenery, "_MAP_PX", 300)
        yield


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    folder = tmp_path_factory.mktemp("saved")
    path = folder / "scene.yaml"
    path.write_text(SMALL + "states: [{name: door open, set: {Store/opening 1: open}}]\n# the end\n")
    file = SceneFile(path)
    shown = Window(LiveCoverage(file.scene), file, off_screen=True, size=SIZE, folder=folder)
    yield shown
    shown.close()


@pytest.fixture
def window(opened: Window) -> Window:
    """The one window, as it was when it opened."""
    while opened.live.undo():
        pass
    opened.state.__init__()  # type: ignore[misc]
    opened.plotter.suppress_rendering = True  # who looks at it draws it
    opened._lay_out()
    opened.update()
    opened.draw_help()
    opened.look(opened.scenery.oblique)
    opened._draw_panel()
    opened.plotter.suppress_rendering = False
    return opened


@pytest.fixture(scope="module")
def display() -> Iterator[str]:
    with virtual_display() as name:
        yield name


@needs_3d
@pytest.mark.parametrize("key", ["n", "Right", "d", "w", "g", "h", "t", "v"])
def test_a_key_changes_the_picture_and_the_way_back_restores_it(window: Window, key: str) -> None:
    back = {"n": "p", "Right": "x", "t": "i", "v": "i"}.get(key, key)
    if key == "Right":
        window.press("l")  # a chosen detector shows its lobe, and so must the picture before it
    before = picture(window)
    window.press(key)
    assert (picture(window) != before).any(axis=-1).mean() > 0.0008
    window.press(back)
    assert (picture(window) != before).any(axis=-1).mean() < 0.0004


@needs_3d
def test_keys_change_the_state(window: Window) -> None:
    state = window.state
    window.press("2")
    assert state.plane == 1
    window.press("9")  # there is no ninth plane
    assert state.plane == 1
    window.press("1")
    assert state.plane == 0
    window.press("Left")
    assert state.detector == len(window.live.units) - 1
    window.press("Right")
    assert state.detector == 0
    assert state.lobes
    window.press("a")
    assert state.alone
    window.press("a")
    assert not state.alone
    window.press("x")
    assert state.detector is None
    window.press("m")
    assert state.look == Look(0, None, "tangential")
    window.press("Prior")
    assert state.look == Look(0, 0.1, "tangential")
    window.press("plus")
    assert window.live.weather.ambient_c == 21
    window.press("e")
    assert window.live.design.state == "door open"
    before = (state.look, state.detector, state.marks, state.low_walls, state.hatched, state.help, window.live.design)
    for key in ("f", "r", "3", "j", "F5", "k"):
        window.press(key)  # VTK's and PyVista's own, and unknown ones
    after = (state.look, state.detector, state.marks, state.low_walls, state.hatched, state.help, window.live.design)
    assert after == before


@needs_3d
def test_keys_move_the_chosen_detector(window: Window) -> None:
    window.press("Up")
    assert window.state.message == "Choose a detector first: click it, or → and ←"
    window.press("Right")
    for key in ("Down", "period", "period", "greater"):
        window.press(key)
    spec = window.live.design.detectors[0]
    assert (spec.mounting, spec.turn_deg, spec.tilt_deg) == (4.4, 10.0, 5.0)
    window.press("z", control=True)
    assert window.state.message == "Undone: A tilted to 5°"
    window.press("u")  # both steps of the turn
    assert window.live.design.detectors[0].turn_deg == 0
    window.press("y")
    assert window.live.design.detectors[0].turn_deg == 10
    window.live.move(0, mounting=4.9)
    window.press("Up")
    window.press("Up")
    assert "which is 5 m high" in window.state.message
    assert window.live.design.detectors[0].mounting == 5.0
    window.press("space")
    assert window.live.on == (1,)


@needs_3d
def test_one_detector_shows_just_its_own_margins(window: Window) -> None:
    window.press("Right")
    plane = window.scenery.planes[0]
    assert window.scenery.margins(plane) is plane.margin_db
    window.press("a")
    patch = plane.patches[0]
    assert patch is not None
    shown = window.scenery.margins(plane)
    np.testing.assert_array_equal(np.isnan(shown), ~plane.surface.inside)
    inside = plane.surface.inside[patch.window]
    np.testing.assert_array_equal(shown[patch.window][inside], patch.margin_db[inside])
    others = plane.surface.inside.copy()
    others[patch.window] = False
    assert np.isneginf(shown[others]).all()


@needs_3d
def test_a_click_on_the_map_asks_who_sees_that_place(window: Window) -> None:
    click(window, *pixel_over(window, 8.0, 3.0, 0.0))
    place = window.state.place
    assert place is not None
    assert place == pytest.approx((8.0, 3.0, 0.0), abs=0.04)
    views = {view.name: view.margin_db for view in window.live.probe(place, window.state.look)}
    head = window.verdict[0].text
    assert head == f"Seen by A, +{views['A']:.1f} dB"
    assert any(label.text.startswith("A: +") for label in window.labels.labels)
    window.press("x")
    assert window.verdict == []
    click(window, 5, 5)  # beside the building
    assert window.state.place is None


@needs_3d
def test_a_miss_is_told_with_what_stands_in_the_way(window: Window) -> None:
    plane = window.scenery.planes[0]
    row, column = np.argwhere((plane.cause == CAUSES.index("blocked")) & (plane.best_detector == 0))[0]
    window.act("place", (float(plane.x[column]), float(plane.y[row]), 0.0))
    assert window.verdict[0].text.startswith("Not seen: hidden from A by ")
    window.press("b")
    texts = [label.text for label in window.labels.labels]
    assert "A: hidden" in texts
    window.act("switch", 1)
    assert window.verdict[0].text.startswith("Not seen: hidden from A by ")
    assert any("stops it" in line.text for line in window.verdict)
    assert any("stops it" in label.text for label in window.labels.labels)


@needs_3d
def test_a_dragged_detector_takes_the_map_along(window: Window) -> None:
    before = window.scenery.planes[0].margin_db
    n = window.live.n_cast
    x, y = pixel_of(window, 0)
    goal = pixel_over(window, 7.0, 4.0, 4.5)
    assert window.pointer.down(x, y)
    assert window.pointer.move(*goal)
    assert not window.live.edits.can_undo
    assert window.pointer.up(*goal)
    at = window.live.design.detectors[0].at
    assert at == pytest.approx((7.0, 4.0), abs=0.06)
    assert np.round(np.array(at) / 0.05, 6) == pytest.approx(np.round(np.array(at) / 0.05))
    assert window.live.n_cast == n + 1
    fresh = solve(window.live.scene.model_copy(update={"planes": [window.live.scene.planes[0]]}))
    np.testing.assert_array_equal(window.scenery.planes[0].margin_db, fresh["floor"].margin_db)
    window.press("u")
    np.testing.assert_array_equal(window.scenery.planes[0].margin_db, before)


@needs_3d
def test_a_detector_let_go_in_a_wrong_place_goes_back(window: Window) -> None:
    x, y = pixel_of(window, 0)
    goal = pixel_over(window, -3.0, 3.0, 4.5)
    window.pointer.down(x, y)
    window.pointer.move(*goal)
    window.pointer.up(*goal)
    assert "outside every room" in window.state.message
    assert window.live.design.detectors[0].at == (5, 5)
    assert not window.live.edits.can_undo


@needs_3d
def test_escape_lets_go_of_a_dragged_detector(window: Window) -> None:
    window.pointer.down(*pixel_of(window, 0))
    window.pointer.move(*pixel_over(window, 7.0, 4.0, 4.5))
    window.press("Escape")
    assert window.live.design.detectors[0].at == (5, 5)
    assert not window.pointer.up(10, 10)
    assert not window.live.edits.can_undo


@needs_3d
def test_the_wheel_turns_and_lifts_the_chosen_detector(window: Window) -> None:
    x, y = pixel_of(window, 0)
    assert not window.pointer.wheel(x, y, 1)  # not chosen: the eye comes nearer
    click(window, x, y)
    assert window.state.detector == 0
    assert window.pointer.wheel(x, y, 1)
    assert window.pointer.wheel(x, y, -1, shift=True)
    spec = window.live.design.detectors[0]
    assert (spec.turn_deg, spec.mounting) == (5.0, 4.4)


@needs_3d
def test_controls_of_the_panel(window: Window) -> None:
    click(window, *middle(window, spot(window, "plane", 1)))
    assert window.state.plane == 1
    click(window, *middle(window, spot(window, "motion", "radial")))
    assert window.state.look == Look(1, None, "radial")
    click(window, *middle(window, spot(window, "detector", 1)))
    assert window.state.detector == 1
    click(window, *middle(window, spot(window, "switch", 0)))
    assert window.live.on == (1,)
    click(window, *middle(window, spot(window, "state", "door open")))
    assert window.live.design.state == "door open"
    click(window, *middle(window, spot(window, "tab", "doors")))
    doors = window.live.doors
    index = next(k for k, door in enumerate(doors) if door.kind == "door" and door.owner == "Store")
    assert doors[index].state == "open"
    click(window, *middle(window, spot(window, "door", index)))
    assert window.live.doors[index].state == "closed"
    click(window, *middle(window, spot(window, "undo")))
    assert window.live.doors[index].state == "open"
    click(window, *middle(window, spot(window, "redo")))
    assert window.live.doors[index].state == "closed"


@needs_3d
def test_the_height_slider_solves_a_free_plane(window: Window) -> None:
    window.pointer.down(*middle(window, spot(window, "height"), 0.2))
    window.pointer.move(*middle(window, spot(window, "height"), 0.3))
    window.pointer.up(*middle(window, spot(window, "height"), 0.3))
    height = window.state.look.height
    assert height == pytest.approx(0.3 * 5, abs=0.051)
    fresh = solve(window.live.scene.model_copy(update={"planes": [Look(0, height).spec(window.live.scene)]}))
    np.testing.assert_array_equal(window.scenery.planes[0].margin_db, fresh["floor"].margin_db)
    click(window, *middle(window, spot(window, "plane", 0)))
    assert window.state.look == Look(0)


@needs_3d
def test_the_air_slider_is_one_edit(window: Window) -> None:
    window.pointer.down(*middle(window, spot(window, "air"), 0.5))
    for share in (0.6, 0.7, 0.8):
        window.pointer.move(*middle(window, spot(window, "air"), share))
    window.pointer.up(*middle(window, spot(window, "air"), 0.8))
    assert window.live.weather.ambient_c == pytest.approx(-30 + 0.8 * 80, abs=1)
    window.press("u")
    assert window.live.weather.ambient_c == 20
    assert not window.live.edits.can_undo


@needs_3d
def test_saving_keeps_comments_and_all_else(window: Window) -> None:
    file = window.file
    assert file is not None
    before = file.path.read_text()
    window.press("s")
    assert window.state.message == "Nothing to save: every detector is as the file has it"
    window.press("Right")
    window.press("period")
    window.live.move(0, at=(5.5, 4.25))
    window.press("s")
    assert window.state.message == "Saved into scene.yaml"
    after = file.path.read_text()
    assert after.replace("at: [5.5, 4.25], mounting: 4.5, turn_deg: 5}", "at: [5, 5], mounting: 4.5}") == before
    assert raycover.load(file.path).detectors == list(window.live.design.detectors)
    while window.live.undo():
        pass
    window.press("s")
    assert raycover.load(file.path).detectors[0].at == (5, 5)


@needs_3d
def test_a_file_that_changed_meanwhile_is_left_alone(window: Window) -> None:
    file = window.file
    assert file is not None
    kept = file.path.read_text()
    window.press("Right")
    window.press("period")
    file.path.write_text(kept + "# somebody else was here\n")
    window.press("s")
    assert "changed on disk since it was opened" in window.state.message
    assert file.path.read_text() == kept + "# somebody else was here\n"
    assert window.live.changed
    file.path.write_text(kept)


@needs_3d
def test_a_picture_for_print_takes_the_next_free_name(window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    window.act("place", (8.0, 3.0, 0.0))
    window.press("c")
    monkeypatch.setattr("raycover.draw.view3d.window.print_page.DPI", 40.0)
    window.press("c")
    assert sorted(p.name for p in window.folder.glob("*.png")) == ["raycover-view-001.png", "raycover-view-002.png"]
    said, _, where = window.state.message.rpartition(" in ")
    assert said == "Saved raycover-view-002.png, A4 at 300 dpi,"
    assert str(window.folder.resolve()).endswith(where.removeprefix("…"))
    assert len(where) <= 40
    with Image.open(window.folder / "raycover-view-001.png") as image:
        assert image.size == (3508, 2480)
        assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)


@needs_3d
def test_a_folder_that_cannot_be_written_is_told(window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(window, "folder", Path("/proc/nowhere"))
    monkeypatch.setattr("raycover.draw.view3d.window.print_page.DPI", 40.0)
    window.press("c")
    assert window.state.message.startswith("Not saved")


@needs_3d
def test_every_key_is_listed(window: Window) -> None:
    listed = {key for _, some in KEYS for keys, _ in some for key in keys.split()}
    assert listed - {"1", "…", "9", "q", "Esc"} == set(window.commands.actions())


@needs_3d
def test_unsaved_edits_are_asked_about_once(window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    left: list[str] = []
    monkeypatch.setattr(window.plotter.iren, "terminate_app", lambda: left.append("left"), raising=False)
    window.press("q")
    assert left == ["left"]
    window.press("Right")
    window.press("period")
    window.press("q")
    assert left == ["left"]
    assert "s saves them" in window.state.message
    window.press("g")
    window.press("q")  # asked again after something else was done
    assert left == ["left"]
    window.press("q")
    assert left == ["left", "left"]


@needs_3d
def test_off_screen_it_gives_its_plotter() -> None:
    text = SMALL[: SMALL.index("detectors:")] + SMALL[SMALL.index("planes:") :]
    live = LiveCoverage(raycover.load_text(text))  # a map of nothing
    plotter = open_window(live, off_screen=True)
    try:
        assert plotter is not None
        assert np.asarray(plotter.image).std() > 20
    finally:
        plotter.close()


def test_without_a_display_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(MissingPart, match="the window needs a display"):
        open_window(LiveCoverage(made().scene))


def test_a_real_window_takes_keys_and_mouse_and_closes(
    display: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DISPLAY", display)
    path = tmp_path / "scene.yaml"
    path.write_text(SMALL + "# the end\n")
    file = SceneFile(path)
    window = Window(LiveCoverage(file.scene), file, size=SIZE)
    assert window.plotter.render_window.GetClassName() == "vtkXOpenGLRenderWindow"
    seen: list[object] = []

    def eye() -> tuple[float, ...]:
        return tuple(window.plotter.camera.position)

    def drag() -> None:
        start, goal = pixel_of(window, 0), pixel_over(window, 7.0, 4.0, 4.5)
        before = eye()
        mouse(window, "LeftButtonPressEvent", *start)
        mouse(window, "MouseMoveEvent", *goal)
        mouse(window, "LeftButtonReleaseEvent", *goal)
        seen.append(eye() == before)  # the detector moved, not the eye

    def turn() -> None:
        before = eye()
        mouse(window, "LeftButtonPressEvent", 40, 40)
        mouse(window, "MouseMoveEvent", 140, 60)
        mouse(window, "LeftButtonReleaseEvent", 140, 60)
        seen.append(eye() != before)

    def probe() -> None:
        at = pixel_over(window, 8.0, 3.0, 0.0)
        mouse(window, "LeftButtonPressEvent", *at)
        mouse(window, "LeftButtonReleaseEvent", *at)

    def slide() -> None:
        start, end = (middle(window, spot(window, "height"), share) for share in (0.05, 0.2))
        mouse(window, "LeftButtonPressEvent", *start)
        mouse(window, "MouseMoveEvent", *end)
        mouse(window, "LeftButtonReleaseEvent", *end)

    steps = [
        drag, probe, turn, slide, *(lambda k=k: type_key(window, k) for k in ("w", "e", "s", "h", "Escape", "Escape")),
    ]  # fmt: skip  # VTK would leave at an e; the first Escape puts the help away

    assert hand_over(window, steps, 20), "Escape did not close it"
    assert seen == [True, True]
    assert window.state.place is not None
    assert window.state.look.height == pytest.approx(1.0, abs=0.1)
    assert not window.state.low_walls
    assert window.plotter._closed
    assert raycover.load(path).detectors[0].at == pytest.approx((7.0, 4.0), abs=0.06)
    assert path.read_text().endswith("# the end\n")


def test_it_follows_the_size_of_its_window(display: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DISPLAY", display)
    window = Window(LiveCoverage(made().scene), size=SIZE)
    try:
        window.plotter.render_window.SetSize(900, 560)
        window.plotter.render()
        share = window.plotter.renderer.GetViewport()[2]
        assert share == pytest.approx(1 - window.panel_width / 900, abs=1e-6)
        side = picture(window)[:, -window.panel_width :]
        assert (side.min(axis=-1) < 128).mean() > 0.01  # the panel is drawn, with its controls
    finally:
        window.close()


@needs_3d
def test_rooms_are_named_where_their_floor_is_free(window: Window) -> None:
    named = {label.text: label for label in window.labels.labels if label.font == "italic"}
    assert set(named) == {"Store", "Office"}
    building = window.live.building
    for name, label in named.items():
        room = building.room_at(*(float(v) for v in label.at))
        assert room is not None
        assert room.name == name
        assert not any(
            low[0] < label.at[0] < high[0] and low[1] < label.at[1] < high[1]
            for low, high in ((c.min(axis=0), c.max(axis=0)) for c in building.boxes.footprints())
        )
    assert window.labels.labels[0].text in ("A", "B")  # detectors are served first
    window.press("d")
    assert not window.labels.labels

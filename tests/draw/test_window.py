"""The window: what its keys do, off screen and in a real window under a virtual X display."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from view3d_scenes import Made, made

from raycover.draw.view3d import display_report, open_window
from raycover.draw.view3d.panel import KEYS
from raycover.draw.view3d.window import Window
from raycover.errors import MissingPart

SIZE = (800, 560)


def drawable() -> bool:
    try:
        display_report()
    except MissingPart:
        return False
    return True


needs_3d = pytest.mark.skipif(not drawable(), reason="neither EGL nor an X display here (apt-get install libegl1)")


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    m = made()
    shown = Window(
        m.scene, m.building, m.coverage, m.rays, off_screen=True, size=SIZE, folder=tmp_path_factory.mktemp("saved")
    )
    yield shown
    shown.plotter.close()


@pytest.fixture(scope="module")
def display() -> Iterator[str]:
    """A virtual X display of our own."""
    xvfb = shutil.which("Xvfb")
    if xvfb is None:
        pytest.skip("no Xvfb here (apt-get install xvfb)")
    read, write = os.pipe()
    server = subprocess.Popen(
        [xvfb, "-displayfd", str(write), "-screen", "0", "1200x800x24", "-nolisten", "tcp"],
        pass_fds=(write,),
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    try:
        with os.fdopen(read) as told:
            number = told.readline().strip()
        if not number:
            pytest.skip("Xvfb does not start here")
        yield f":{number}"
    finally:
        server.terminate()
        server.wait(timeout=10)


def picture(window: Window) -> np.ndarray:
    window.plotter.render()
    return np.asarray(window.plotter.image)[..., :3].astype(int)


@needs_3d
@pytest.mark.parametrize("key", ["n", "Right", "d", "w", "g", "h", "t", "v"])
def test_a_key_changes_the_picture_and_the_way_back_restores_it(window: Window, key: str) -> None:
    back = {"n": "p", "Right": "a", "t": "i", "v": "i"}.get(key, key)
    if key == "Right":
        window.press("l")  # a chosen detector shows its lobe, and so must the picture before it
    before = picture(window)
    window.press(key)
    assert (picture(window) != before).any(axis=-1).mean() > 0.0008
    window.press(back)
    assert (picture(window) != before).any(axis=-1).mean() < 0.0004
    if key == "Right":
        window.press("l")


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
    assert state.detector == len(window.coverage.units) - 1
    window.press("Right")
    assert state.detector == 0
    assert state.lobes
    window.press("a")
    assert state.detector is None
    window.press("l")
    assert not state.lobes
    before = (state.plane, state.detector, state.marks, state.low_walls, state.hatched, state.help)
    for key in ("e", "f", "r", "3", "j", "u", "F5", "comma"):
        window.press(key)  # VTK's and PyVista's own, and unknown ones
    assert (state.plane, state.detector, state.marks, state.low_walls, state.hatched, state.help) == before


@needs_3d
def test_one_detector_shows_just_its_own_margins(window: Window) -> None:
    window.press("Right")
    plane, patch = window.plane, window.plane.patches[0]
    assert patch is not None
    shown = window._margins(plane)
    window.press("a")
    window.press("l")
    np.testing.assert_array_equal(np.isnan(shown), ~plane.surface.inside)
    inside = plane.surface.inside[patch.window]
    np.testing.assert_array_equal(shown[patch.window][inside], patch.margin_db[inside])
    others = plane.surface.inside.copy()
    others[patch.window] = False
    assert np.isneginf(shown[others]).all()


@needs_3d
def test_a_picture_is_saved_under_the_next_free_name(window: Window) -> None:
    window.press("s")
    window.press("s")
    assert sorted(p.name for p in window.folder.iterdir()) == ["raycover-view-001.png", "raycover-view-002.png"]
    assert window.state.message == "saved raycover-view-002.png"
    with Image.open(window.folder / "raycover-view-001.png") as image:
        assert image.size == SIZE


@needs_3d
def test_a_folder_that_cannot_be_written_is_told(window: Window, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(window, "folder", Path("/proc/nowhere"))
    window.press("s")
    assert window.state.message.startswith("not saved")


@needs_3d
def test_every_key_is_listed(window: Window) -> None:
    listed = {key for keys, _ in KEYS for key in keys.split()}
    does = {"→": "Right", "←": "Left"}
    assert {does.get(k, k) for k in listed - {"1", "…", "9", "q"}} == set(window._actions())


@needs_3d
def test_off_screen_it_gives_its_plotter() -> None:
    m = made()
    plotter = open_window(m.scene, m.building, m.coverage, m.rays, off_screen=True)
    try:
        assert plotter is not None
        assert np.asarray(plotter.image).std() > 20
    finally:
        plotter.close()


def test_without_a_display_it_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    m = made()
    with pytest.raises(MissingPart, match="the window needs a display"):
        open_window(m.scene, m.building, m.coverage, m.rays)


def type_key(window: Window, key: str) -> None:
    """What X tells VTK when a key is pressed."""
    interactor = window.plotter.iren.interactor
    interactor.SetKeyEventInformation(0, 0, key if len(key) == 1 else "\0", 0, key)
    interactor.InvokeEvent("KeyPressEvent")
    interactor.InvokeEvent("CharEvent")
    interactor.InvokeEvent("KeyReleaseEvent")


def test_a_real_window_opens_takes_keys_and_closes(display: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DISPLAY", display)
    small: Made = made()
    window = Window(small.scene, small.building, small.coverage, small.rays, size=SIZE)
    assert window.plotter.render_window.GetClassName() == "vtkXOpenGLRenderWindow"
    keys = ["n", "Right", "w", "e", "q"]  # VTK would leave at an e

    def next_key(*_args: object) -> None:
        type_key(window, keys.pop(0))

    interactor = window.plotter.iren.interactor
    interactor.AddObserver("TimerEvent", next_key)
    interactor.CreateRepeatingTimer(20)
    window.run()
    assert not keys
    assert window.state.plane == 1
    assert window.state.detector == 0
    assert not window.state.low_walls
    assert window.plotter._closed


def test_it_follows_the_size_of_its_window(display: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("DISPLAY", display)
    small: Made = made()
    window = Window(small.scene, small.building, small.coverage, small.rays, size=SIZE)
    try:
        window.plotter.render_window.SetSize(760, 500)
        window.plotter.render()
        share = window.plotter.renderer.GetViewport()[2]
        assert share == pytest.approx(1 - 330 / 760, abs=1e-6)
        side = picture(window)[:, -330:]
        assert (side.min(axis=-1) < 128).mean() > 0.01  # the panel is drawn, with its keys
    finally:
        window.plotter.close()

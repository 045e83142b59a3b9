"""The window on other screens: type and controls on one of many pixels, under a window manager."""

from __future__ import annotations

import os
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from displays import needs_3d
from processes import ended
from view3d_scenes import SMALL, made
from windows import click, hand_over, spot, virtual_display

from raycover.draw.view3d import environment
from raycover.draw.view3d.window import Window, scenery
from raycover.editing.keeping import SceneFile
from raycover.editing.live import LiveCoverage


def test_a_screen_says_how_fine_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """96 dots an inch are the plain screen of X and of the desktops on it."""
    monkeypatch.delenv("GDK_SCALE", raising=False)
    monkeypatch.delenv("QT_SCALE_FACTOR", raising=False)
    for dpi, scale in (("96", 1.0), ("192", 2.0), ("140", 1.5)):
        with virtual_display("1920x1200", "-dpi", dpi) as name:
            monkeypatch.setenv("DISPLAY", name)
            assert environment.screen_scale() == scale
    monkeypatch.setenv("GDK_SCALE", "3")
    assert environment.screen_scale() == 3
    monkeypatch.setenv("GDK_SCALE", "large")
    monkeypatch.setenv("DISPLAY", ":nowhere")
    assert environment.screen_scale() == 1


@needs_3d
def test_everything_to_read_and_press_grows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(scenery, "_MAP_PX", 200)
    window = Window(LiveCoverage(made().scene), off_screen=True, size=(1400, 1420), scale=2.0, folder=tmp_path)
    try:
        assert (window.scale, window.panel_width) == (2.0, 680)
        assert window.plotter.renderer.GetViewport()[2] == pytest.approx(1 - 680 / 1400)
        assert window.labels.scale == window.scenery.scale == 2
        x0, y0, x1, y1 = spot(window, "plane", 1).box
        click(window, round(720 + x0 + x1), round(1420 - y0 - y1))
        assert window.state.plane == 1
        window.press("minus", control=True)
        assert window.panel_width == 595
        for _ in range(3):
            window.press("plus", control=True)
        assert window.state.message.startswith("No larger here")  # the panel still holds everything
        assert window.scale == 2
        window.press("0", control=True)
        assert window.scale == 2
    finally:
        window.close()


@pytest.fixture(scope="module")
def display() -> Iterator[str]:
    """A display with a window manager, which outlives all windows."""
    if shutil.which("openbox") is None or shutil.which("wmctrl") is None:
        pytest.skip("no window manager here (apt-get install openbox wmctrl)")
    with virtual_display() as name:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("DISPLAY", name)
            manager = subprocess.Popen(["openbox"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            _until_managed(name)
            yield name
        finally:
            ended(manager)


def _until_managed(display: str) -> None:
    """A window manager takes its time to start; before that nobody hears what it is asked."""
    until = time.monotonic() + 60
    while subprocess.run(
        ["wmctrl", "-m"], capture_output=True, timeout=60, env={**os.environ, "DISPLAY": display}
    ).returncode:
        assert time.monotonic() < until, "the window manager does not start"
        time.sleep(0.05)


def test_a_window_manager_sizes_hides_and_closes_it(
    display: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a desktop does: unsaved edits are asked about when its button closes the window, as when q does."""
    monkeypatch.setattr(scenery, "_MAP_PX", 200)
    monkeypatch.setenv("DISPLAY", display)
    path = tmp_path / "scene.yaml"
    path.write_text(SMALL)
    file = SceneFile(path)
    window = Window(LiveCoverage(file.scene), file, size=(800, 600))
    seen: list[object] = []

    def asks(*said: str) -> Callable[[], object]:
        return lambda: subprocess.run(["wmctrl", *said], check=False, capture_output=True, timeout=60)

    def edit() -> None:
        seen.append(tuple(window.plotter.render_window.GetSize()))
        seen.append(window.plotter.renderer.GetViewport()[2])
        window.press("Right")
        window.press("period")

    def sized() -> bool:
        """Asked again until it is: a window that has just come is not yet known to the window manager."""
        if tuple(window.plotter.render_window.GetSize()) != (900, 640):
            asks("-r", "raycover", "-e", "0,10,20,900,640")()
            return False
        return True

    wait: list[Callable[[], object]] = [lambda: None] * 6
    steps: list[Callable[[], object]] = [
        *wait, sized, *wait, asks("-r", "raycover", "-b", "add,hidden"),
        *wait, asks("-a", "raycover"), *wait, edit, asks("-c", "raycover"),
        lambda: window.state.message.startswith("Detectors have changed"), lambda: seen.append(window.state.message),
        asks("-c", "raycover"),
    ]  # fmt: skip
    closed = hand_over(window, steps, 50, more=480)
    size, share, message = seen
    assert size == (900, 640)
    assert share == pytest.approx(1 - window.panel_width / 900, abs=1e-3)
    assert str(message).startswith("Detectors have changed: s saves them")
    assert closed, "the second closing did not end it"

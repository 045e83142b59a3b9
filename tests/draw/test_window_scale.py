"""Type and controls on screens of many pixels: how fine a screen is, and what becomes larger."""

from __future__ import annotations

from pathlib import Path

import pytest
from displays import needs_3d
from view3d_scenes import made
from windows import click, spot, virtual_display

from raycover.draw.view3d import environment
from raycover.draw.view3d.window import Window, scenery
from raycover.live import LiveCoverage


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
        assert window.scale == pytest.approx(1420 / 700)
        window.press("0", control=True)
        assert window.scale == 2
    finally:
        window.close()

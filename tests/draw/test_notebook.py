"""Pictures from Python: Axes and a Plotter to go on with, and the notebook of the examples, run as it stands.

The notebook's code is plain Python without magics, so its cells are run one after the other in one namespace: a kernel
with its twenty packages would test no more of ours.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
import pytest
from storey_scenes import HOUSE
from view3d_scenes import made

from raycover.draw import palette
from raycover.draw.view3d.environment import egl_works
from raycover.errors import MissingPart

FOLDER = Path(__file__).parents[2] / "examples" / "notebook"


@pytest.fixture
def figures() -> Iterator[Any]:
    """pyplot without a display, everything closed after."""
    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    yield plt
    plt.close("all")


def test_a_plot_is_axes_in_metres(figures: Any) -> None:
    coverage = made().coverage
    axes = coverage.plot("desk")
    assert axes.get_xlabel() == "x, m"
    assert axes.get_xlim()[1] - axes.get_xlim()[0] == pytest.approx(16 * 1.04)
    assert "desk" in axes.get_title()
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert [label.split("  ")[0] for label in labels] == list(reversed(palette.CLASS_NAMES))
    assert {text.get_text() for text in axes.texts} == {"A", "B"}
    extent = axes.images[0].get_extent()
    assert list(extent) == pytest.approx([0, 16, 0, 8])


def test_a_plot_takes_axes_and_refuses_unknown_maps(figures: Any) -> None:
    _, axes = figures.subplots()
    coverage = made().coverage
    assert coverage.plot(ax=axes) is axes
    with pytest.raises(KeyError):
        coverage.plot("attic", ax=axes)


def test_a_stair_is_plotted_unrolled(figures: Any) -> None:
    coverage = made(HOUSE).coverage
    name = next(name for name, plane in coverage.items() if plane.surface.stairs is not None)
    axes = coverage.plot(name)
    assert "unrolled" in axes.get_xlabel()
    upper = coverage.plot("floor Upper")
    assert {text.get_text() for text in upper.texts} == {"P2", "M1"}


@pytest.mark.skipif(sys.platform.startswith("linux") and not egl_works(), reason="no way to draw 3D here")
def test_show_gives_a_plotter_with_the_map_as_a_mesh() -> None:
    coverage = made().coverage
    plotter = coverage.show(lobes=["A"], off_screen=True)
    try:
        mesh = plotter.actors["map floor"].mapper.dataset
        plane = coverage["floor"]
        assert mesh.n_cells == int(plane.surface.inside.sum())
        assert np.array_equal(np.asarray(mesh.cell_data["margin_db"]), plane.margin_db[plane.surface.inside])
        picture = plotter.screenshot(return_img=True)
        assert len(np.unique(picture.reshape(-1, 3), axis=0)) > 100
        with pytest.raises(KeyError, match="no detector"):
            coverage.show(lobes=["Z"], off_screen=True)
    finally:
        plotter.close()


def test_the_notebook_runs(figures: Any, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    if sys.platform.startswith("linux") and not egl_works():
        pytest.skip("no way to draw 3D here")
    monkeypatch.chdir(FOLDER)
    monkeypatch.delenv("DISPLAY", raising=False)
    cells = json.loads(Path("washroom.ipynb").read_text(encoding="utf-8"))["cells"]
    assert not [cell for cell in cells if cell.get("outputs")], "leave outputs out: they grow old"
    space: dict[str, Any] = {}
    for cell in cells:
        if cell["cell_type"] == "code":
            exec(compile("".join(cell["source"]), cell["id"], "exec"), space)
    assert "becomes" in capsys.readouterr().out
    assert space["changed"].share("floor") > space["coverage"].share("floor")
    assert len(figures.get_fignums()) == 4
    assert "walk-test" in "".join(cells[-1]["source"])


def test_without_a_way_to_draw_it_says_what_is_missing(monkeypatch: pytest.MonkeyPatch) -> None:
    from raycover.draw.view3d import environment

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(environment, "egl_works", lambda: False)
    monkeypatch.setattr(environment, "display_problem", lambda: "there is none here")
    with pytest.raises(MissingPart, match="libegl1"):
        made().coverage.show()

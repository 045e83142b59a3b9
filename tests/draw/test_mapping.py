"""The map on paper: cells resampled to pixels without inventing classes, and footprints' outlines."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from raycover.detectors import Unit
from raycover.draw import footprints, palette
from raycover.draw.mapping import paper_map
from raycover.draw.projection import Projection
from raycover.physics.margin import unit_rotation
from raycover.physics.pattern import Footprint
from raycover.physics.shapes import Circle, Rectangle
from raycover.solving.surfaces import Surface

FRAME = (0.0, 0.0, 100.0, 80.0)


def surface(room: np.ndarray, grid: float = 0.5) -> Surface:
    ny, nx = room.shape
    inside = room >= 0
    x, y = ((np.arange(n) + 0.5) * grid for n in (nx, ny))
    area = np.where(inside, grid**2, 0.0)
    names = tuple(f"room {k}" for k in range(room.max() + 1))
    return Surface("floor", "any", "point", (0.0,), grid, x, y, 0.0, room.astype(np.int16), inside, area, names)


def drawn(margin: np.ndarray, room: np.ndarray | None = None, outlines: list[Any] | None = None) -> Any:
    room = np.zeros(margin.shape, int) if room is None else room
    ny, nx = margin.shape
    outlines = [shapely.box(0, 0, nx / 2, ny / 2)] if outlines is None else outlines
    projection = Projection.fitted((0, 0, nx / 2, ny / 2), FRAME)
    return paper_map(surface(room), margin.astype(np.float32), 3.0, outlines, projection, dpi=150), projection


def test_a_gentle_field_is_interpolated() -> None:
    x = (np.arange(20) + 0.5) * 0.5
    margin = np.tile(4 + 0.4 * x, (16, 1))
    picture, projection = drawn(margin)
    ny, nx = picture.margin_db.shape
    rows, columns = np.nonzero(picture.classes >= 0)
    paper = np.stack([(columns + 0.5) / nx * 100, (rows + 0.5) / ny * 80], axis=1)
    place = projection.to_plan(paper)[:, 0]
    middle = (place > 0.75) & (place < 9.25)
    assert picture.margin_db[rows, columns][middle] == pytest.approx(4 + 0.4 * place[middle], abs=0.02)


def test_a_jump_brings_no_class_that_no_cell_has() -> None:
    rng = np.random.default_rng(3)
    margin = np.where(rng.random((16, 20)) > 0.5, 12.0, -np.inf)
    picture, _ = drawn(margin)
    assert set(np.unique(picture.classes)) == {-1, palette.NOT_SEEN, palette.ASSURED}


def test_areas_on_paper_are_those_of_the_cells() -> None:
    margin = np.full((16, 20), 12.0)
    margin[4:12, 5:15] = -np.inf
    picture, _ = drawn(margin)
    inside = picture.classes >= 0
    assert (picture.classes == palette.NOT_SEEN).sum() / inside.sum() == pytest.approx(80 / 320, rel=0.04)


def test_rooms_do_not_bleed_into_each_other() -> None:
    room = np.zeros((16, 20), int)
    room[:, 10:] = 1
    margin = np.where(room == 0, 12.0, 1.0)
    outlines = [shapely.box(0, 0, 5, 8), shapely.box(5, 0, 10, 8)]
    picture, _ = drawn(margin, room, outlines)
    found = picture.margin_db[picture.classes >= 0]
    assert np.minimum(abs(found - 1.0), abs(found - 12.0)).max() < 1e-4


def test_limit_line_runs_where_seen_meets_unseen() -> None:
    margin = np.full((16, 20), 5.0)
    margin[:, 10:] = -5.0
    picture, projection = drawn(margin)
    lines = picture.limit_lines()
    assert len(lines) == 1
    assert projection.to_plan(lines[0])[:, 0] == pytest.approx(5.0, abs=0.06)
    everything, _ = drawn(np.full((16, 20), 5.0))
    assert everything.limit_lines() == []


def unit(kind: Any, shape: Any, *, drop: float, mounting: float, turn: float = 0.0, tilt: float = 0.0) -> Unit:
    return Unit(
        "D", "D", kind, 5.8 if kind == "microwave" else None, np.array([10.0, 20.0, mounting]), mounting,
        unit_rotation(turn, tilt), turn, tilt, (Footprint("tangential", shape, drop, False),), (),
        0.0 if kind == "microwave" else None,
    )  # fmt: skip


def test_infrared_footprint_grows_with_the_height_above_the_plane() -> None:
    made = unit("infrared", Circle(8), drop=2.5, mounting=5.0)
    reach = np.linalg.norm(footprints.outline(made, "any", 0.0) - [10, 20], axis=1)  # type: ignore[operator]
    assert reach == pytest.approx(8.0)


def test_microwave_footprint_is_where_the_slant_range_meets_the_plane() -> None:
    made = unit("microwave", Circle(8), drop=3.0, mounting=3.0)
    reach = np.linalg.norm(footprints.outline(made, "any", 1.0) - [10, 20], axis=1)  # type: ignore[operator]
    assert reach == pytest.approx(np.sqrt(5.0**2 - 2.0**2))


def test_footprint_turns_with_its_unit() -> None:
    made = unit("infrared", Rectangle(10, 4), drop=3.0, mounting=3.0, turn=90.0)
    found = footprints.outline(made, "any", 0.0)
    assert found is not None
    assert np.ptp(found, axis=0) == pytest.approx([4, 10])
    assert footprints.outline(made, "presence", 0.0) is None
    assert footprints.outline(made, "any", 3.5) is None


def test_a_tilted_unit_looks_further_ahead() -> None:
    made = unit("infrared", Circle(6), drop=3.0, mounting=3.0, tilt=30.0)
    found = footprints.outline(made, "any", 0.0)
    assert found is not None
    assert found[:, 0].max() - 10 > 10 - found[:, 0].min()


def test_lines_along_each_other_are_drawn_once() -> None:
    first = np.array([[0.0, 0.0], [10.0, 0.0]])
    second = np.array([[5.0, 0.0], [15.0, 0.0]])
    crossing = np.array([[3.0, -5.0], [3.0, 5.0]])
    kept = footprints.without_doubles([first, second, crossing])
    lengths = [float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) for line in kept]
    assert sum(lengths) == pytest.approx(10 + 5 + 10, abs=0.2)

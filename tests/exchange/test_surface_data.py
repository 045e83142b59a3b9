"""Stairs as VTK polygons: written cells lie where the stair's cells are, with their figures."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from raycover.exchange.summary import summary
from raycover.exchange.surface_data import write_surface_data
from raycover.solving.surfaces import cell_corners


def read(path: Path) -> Any:
    from vtkmodules.vtkIOXML import vtkXMLPolyDataReader

    reader = vtkXMLPolyDataReader()
    reader.SetFileName(str(path))
    reader.Update()
    return reader.GetOutput()


def test_cells_lie_on_the_treads_and_face_up(stairwell: Any) -> None:
    (stairs,) = stairwell.building.stairs
    surface = stairwell.coverage["floor Stair B"].surface
    corners, rows, columns = cell_corners(surface, stairs)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    assert (normal[:, 2] > 0).all()
    assert np.abs(normal[:, :2]).max() < 1e-12
    middle = corners.mean(axis=1)
    assert middle == pytest.approx(surface.points(rows, columns, 0.0), abs=surface.grid / 4)
    # Two flights of 9 treads and a landing a storey, twice: 18.346 m² in plan.
    assert normal[:, 2].sum() == pytest.approx(2 * (2 * 9 * 0.28 * 1.2 + 1.25 * 2.5), rel=1e-6)


def test_written_and_read_back(stairwell: Any, tmp_path: Path) -> None:
    from vtkmodules.util.numpy_support import vtk_to_numpy

    (stairs,) = stairwell.building.stairs
    plane = stairwell.coverage["person Stair B"]
    write_surface_data(plane, stairs, tmp_path / "s.vtp")
    data = read(tmp_path / "s.vtp")
    assert data.GetNumberOfCells() == int(plane.surface.inside.sum())
    arrays = {data.GetCellData().GetArrayName(k): vtk_to_numpy(data.GetCellData().GetArray(k)) for k in range(4)}
    assert set(arrays) == {"margin_db", "count", "cause", "best_detector"}
    _, rows, columns = cell_corners(plane.surface, stairs)
    assert np.array_equal(arrays["margin_db"], plane.margin_db[rows, columns])
    assert np.array_equal(arrays["cause"], plane.cause[rows, columns])
    # Cells lie at the plane's first height above the tread.
    low = data.GetBounds()[4]
    assert low == pytest.approx(3.2 / 20 + 0.3)


def test_the_summary_says_where_a_map_lies(stairwell: Any) -> None:
    planes = summary(stairwell.coverage)["planes"]
    assert list(planes) == list(stairwell.coverage)
    told = {name: (p["plane"], p["storey"], p["stairs"]) for name, p in planes.items()}
    assert told["floor First floor"] == ("floor", "First floor", None)
    assert told["person Stair B"] == ("person", None, "Stair B")

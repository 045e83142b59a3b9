"""A stair's map as VTK polygon data (.vtp), which ParaView and others open: every cell where it lies in space.

VTK's own writer, from the modules that need no display driver.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import StairShape
from raycover.exchange.image_data import add_cell_arrays, save
from raycover.solving.coverage import PlaneCoverage
from raycover.solving.surfaces import cell_corners


def write_surface_data(
    plane: PlaneCoverage, stairs: StairShape, path: Path, probability: NDArray[np.float32] | None = None
) -> None:
    """Cells of treads and landings as quadrilaterals, with the cell arrays of image data.

    `margin_db` (float32), `count`, `cause`, `best_detector` (int32), and `probability` (ny, nx) if given. Cells lie at
    the plane's first height above the tread. Raises OSError where the file cannot be written.
    """
    from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
    from vtkmodules.vtkCommonCore import vtkPoints
    from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
    from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

    surface = plane.surface
    corners, rows, columns = cell_corners(surface, stairs)
    n = len(corners)
    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(corners.reshape(-1, 3), np.float64), deep=True))
    cells = vtkCellArray()
    cells.SetData(
        numpy_to_vtkIdTypeArray(np.arange(n + 1, dtype=np.int64) * 4, deep=True),
        numpy_to_vtkIdTypeArray(np.arange(4 * n, dtype=np.int64), deep=True),
    )
    data = vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(cells)
    add_cell_arrays(data, plane, (rows, columns), probability)
    save(vtkXMLPolyDataWriter(), data, path)

"""A stair's map as VTK polygon data (.vtp), which ParaView and others open: every cell where it lies in space.

VTK's own writer, from the modules that need no display driver.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import StairShape
from raycover.coverage import PlaneCoverage
from raycover.exchange.image_data import add_cell_arrays, save
from raycover.surfaces import Surface, unrolled

Floats = NDArray[np.floating]


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


def cell_corners(surface: Surface, stairs: StairShape) -> tuple[Floats, NDArray[np.intp], NDArray[np.intp]]:
    """Corners (n, 4, 3) of the cells of a stair's surface, anticlockwise from above, and their rows and columns."""
    deep = stairs.span / len(surface.y)
    corners, rows, columns = [], [], []
    for strip in unrolled(stairs, surface.grid):
        piece = stairs.pieces[strip.piece]
        row, column = np.nonzero(surface.inside[:, strip.columns])
        along = column * strip.wide
        # The outermost cells end where the piece does.
        low = np.clip(row * deep - piece.across_from, 0.0, piece.width)
        high = np.clip((row + 1) * deep - piece.across_from, 0.0, piece.width)
        z = piece.height(along + strip.wide / 2) + surface.heights[0]
        # `across` is to the right of `along`: along first runs anticlockwise the other way round.
        ends = [(along, low), (along, high), (along + strip.wide, high), (along + strip.wide, low)]
        if float(np.cross(piece.along, piece.across)[2]) > 0:
            ends = ends[::-1]
        corner = [piece.origin[:2] + a[:, None] * piece.along[:2] + b[:, None] * piece.across[:2] for a, b in ends]
        flat = np.stack(corner, axis=1)
        corners.append(np.concatenate([flat, np.broadcast_to(z[:, None, None], (len(z), 4, 1))], axis=-1))
        rows.append(row)
        columns.append(column + strip.column)
    return np.concatenate(corners), np.concatenate(rows), np.concatenate(columns)

"""A plane's raster as VTK image data (.vti), which ParaView and others open.

VTK's own writer, from the modules that need no display driver.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.solving.coverage import PlaneCoverage
from raycover.solving.surfaces import Surface

Single = NDArray[np.float32]


def write_image_data(plane: PlaneCoverage, path: Path, probability: Single | None = None) -> None:
    """Cell arrays `margin_db` (float32, NaN outside), `count`, `cause`, `best_detector` (int32, −1 outside).

    With `probability` (ny, nx) an array of that name, float32, NaN outside.
    """
    from vtkmodules.vtkIOXML import vtkXMLImageDataWriter

    image = _raster(plane.surface)
    add_cell_arrays(image, plane, (slice(None), slice(None)), probability)
    save(vtkXMLImageDataWriter(), image, path)


def write_cells(surface: Surface, arrays: Mapping[str, NDArray[np.floating]], path: Path) -> None:
    """Cell arrays (ny, nx) of a flat surface by name, as float32; the first is the one shown."""
    from vtkmodules.util.numpy_support import numpy_to_vtk
    from vtkmodules.vtkIOXML import vtkXMLImageDataWriter

    image = _raster(surface)
    for name, values in arrays.items():
        array = numpy_to_vtk(np.ascontiguousarray(values, np.float32).ravel(), deep=True)
        array.SetName(name)
        image.GetCellData().AddArray(array)
    image.GetCellData().SetActiveScalars(next(iter(arrays)))
    save(vtkXMLImageDataWriter(), image, path)


def _raster(surface: Surface) -> Any:
    """Image data without arrays, a cell a cell of the surface."""
    from vtkmodules.vtkCommonDataModel import vtkImageData

    n_rows, n_columns = surface.shape
    image = vtkImageData()
    image.SetDimensions(n_columns + 1, n_rows + 1, 1)
    image.SetSpacing(surface.grid, surface.grid, surface.grid)
    floor = float(np.min(surface.floor))
    image.SetOrigin(surface.edges[0], surface.edges[2], floor + surface.heights[0])
    return image


def add_cell_arrays(data: Any, plane: PlaneCoverage, cells: tuple[Any, Any], probability: Single | None = None) -> None:
    """Give VTK data the arrays of a plane's chosen cells (rows, columns); what every file of ours holds."""
    from vtkmodules.util.numpy_support import numpy_to_vtk

    arrays = {
        "margin_db": plane.margin_db.astype(np.float32),
        "count": plane.count.astype(np.int32),
        "cause": plane.cause.astype(np.int32),
        "best_detector": plane.best_detector.astype(np.int32),
    }
    if probability is not None:
        arrays["probability"] = probability.astype(np.float32)
    for name, values in arrays.items():
        array = numpy_to_vtk(np.ascontiguousarray(values[cells]).ravel(), deep=True)
        array.SetName(name)
        data.GetCellData().AddArray(array)
    data.GetCellData().SetActiveScalars("margin_db")


def save(writer: Any, data: Any, path: Path) -> None:
    """Write VTK data by one of VTK's writers. Raises OSError where the file cannot be written."""
    writer.SetFileName(str(path))
    writer.SetInputData(data)
    if not writer.Write():
        raise OSError(0, "VTK could not write the file", str(path))

"""People for scale: quiet round figures, walking, and where they stand in a picture."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.parts import Building
from raycover.building.sections import footprint
from raycover.draw.mannequin import Pose, around, chair, limbs, raster
from raycover.solving.coverage import PlaneCoverage
from raycover.solving.seats import SeatView

Floats = NDArray[np.floating[Any]]

#: Cells (m) of the raster that a body's surface is found on.
_STEP_M = 0.03
#: Clear floor kept around a figure (m).
_CLEAR_M = 0.55
#: How near (m) to what is to be avoided is too near.
_SHY_M = 1.5


def figure(at: Floats, heading_rad: float, *, left_foot_first: bool = True) -> Floats:
    """(n, 3, 3) triangles of a walking person 1.75 m tall standing at `at` (3,)."""
    local = _surface("walking")
    if not left_foot_first:  # the other foot first is the mirror image, its faces turned back outward
        local = (local * np.array([1.0, -1.0, 1.0]))[:, ::-1]
    return _turned(local, heading_rad) + at


def seated_figure(at: Floats, heading_rad: float) -> Floats:
    """(n, 3, 3) triangles of a person on a plain chair, hands before them; `at` (3,) is the ground below the trunk."""
    return _turned(_surface("seated"), heading_rad) + at


def limb_points(at: Floats, heading_rad: float, pose: Pose, *, left_foot_first: bool = True) -> Floats:
    """(limbs, n, 3) points about each part of a person, whose convex hulls together are their outline on a picture."""
    local = np.stack([around(limb) for limb in (*limbs(pose), *(chair() if pose == "seated" else ()))])
    if not left_foot_first:
        local = local * np.array([1.0, -1.0, 1.0])
    return _turned(local, heading_rad) + at


@lru_cache(maxsize=2)
def _surface(pose: Pose) -> Floats:
    """(n, 3, 3) triangles of a body at the origin, looking along x."""
    from vtkmodules.util.numpy_support import numpy_to_vtk, vtk_to_numpy
    from vtkmodules.vtkCommonDataModel import vtkImageData
    from vtkmodules.vtkFiltersCore import vtkFlyingEdges3D

    bodies = [limbs(pose)] if pose == "walking" else [limbs(pose), chair()]
    found = []
    for parts in bodies:
        distance, axes = raster(parts, _STEP_M)
        image = vtkImageData()
        image.SetDimensions(*distance.shape)
        image.SetSpacing(_STEP_M, _STEP_M, _STEP_M)
        image.SetOrigin(*(float(axis[0]) for axis in axes))
        image.GetPointData().SetScalars(numpy_to_vtk(distance.ravel(order="F"), deep=True))
        contour = vtkFlyingEdges3D()
        contour.SetInputData(image)
        contour.SetValue(0, 0.0)
        contour.Update()
        made = contour.GetOutput()
        points = vtk_to_numpy(made.GetPoints().GetData()).astype(float)
        corners = vtk_to_numpy(made.GetPolys().GetConnectivityArray()).reshape(-1, 3)
        found.append(points[corners[:, ::-1]])  # outward
    return np.concatenate(found)


def seated_figures(seats: Sequence[SeatView]) -> tuple[tuple[Floats, ...], tuple[Floats, ...]]:
    """Figures of seated people: those noticed, those not."""
    made = [(seated_figure(np.array(seat.at), float(np.radians(seat.heading_deg))), seat.noticed) for seat in seats]
    return tuple(f for f, noticed in made if noticed), tuple(f for f, noticed in made if not noticed)


def _turned(local: Floats, heading_rad: float) -> Floats:
    cos, sin = np.cos(heading_rad), np.sin(heading_rad)
    return np.stack(
        [local[..., 0] * cos - local[..., 1] * sin, local[..., 0] * sin + local[..., 1] * cos, local[..., 2]], axis=-1
    )


def stand_people(
    plane: PlaneCoverage,
    building: Building,
    avoid: Floats,
    *,
    most: int = 8,
    m2_each: float = 110.0,
    apart_m: float = 1.6,
    seen: Callable[[Floats], NDArray[np.bool_]] | None = None,
) -> list[tuple[Floats, float]]:
    """Places (3,) and headings (rad) on free floor where people are noticed, far from each other.

    `avoid` (n, 2) are plan points to keep away from, such as those below detectors; `seen` says which places (n, 3)
    may be taken.
    """
    surface = plane.surface
    bare = ~furniture(building, surface.x, surface.y)
    # Where they are assured, or at least noticed.
    for free in (plane.assured & bare, plane.detected & bare):
        clear = ndimage.distance_transform_edt(np.pad(free, 1))[1:-1, 1:-1] * surface.grid
        rows, columns = np.nonzero(clear >= _CLEAR_M)
        if seen is not None and len(rows):
            z = np.broadcast_to(np.asarray(surface.floor_at(rows, columns)), rows.shape)
            some = seen(np.column_stack([surface.x[columns], surface.y[rows], z]))
            rows, columns = rows[some], columns[some]
        if len(rows):
            break
    else:
        return []
    places = np.column_stack([surface.x[columns], surface.y[rows]])
    wanted = int(np.clip(round(plane.area_m2 / m2_each), 1, most))
    # Farthest-point choice among all free places, first of all far from what is to be avoided.
    taken: list[int] = []
    apart = np.full(len(places), 1e3)
    clear_of = np.full(len(places), 1e3)
    for point in avoid:
        # Places run row by row: only those near enough to matter are looked at.
        first, last = np.searchsorted(places[:, 1], [point[1] - _SHY_M, point[1] + _SHY_M])
        near = slice(int(first), int(last))
        clear_of[near] = np.minimum(clear_of[near], np.hypot(*(places[near] - point).T))
    room_clear = 1.5 * np.minimum(clear[rows, columns], 2.0) + np.minimum(clear_of, _SHY_M)
    for _ in range(wanted):
        best = int(np.argmax(np.minimum(apart, 6.0) + room_clear))
        if apart[best] < apart_m:
            break
        taken.append(best)
        apart = np.minimum(apart, np.hypot(*(places - places[best]).T))
    standing = []
    for k, index in enumerate(taken):
        ground = float(np.asarray(surface.floor_at(rows[index], columns[index])))
        # A golden-angle turn from one to the next looks like chance and is always the same.
        standing.append((np.array([*places[index], ground]), float(k * 2.39996)))
    return standing


def furniture(building: Building, x: Floats, y: Floats) -> NDArray[np.bool_]:
    """(ny, nx) cells over or under desks, boxes, and thin sheets standing on the floor."""
    taken = np.zeros((len(y), len(x)), bool)
    xx, yy = np.meshgrid(x, y)
    outlines = [sheet.polygon for sheet in building.sheets if sheet.kind == "desk"]
    loose = ~np.isin(np.array(building.boxes.kinds, object), ("goods", "pallet", "upright", "beam"))
    plans = np.concatenate([building.boxes.footprints(loose), building.envelopes.footprints()])
    outlines += [shapely.Polygon(plan) for plan in plans[:5000]]
    outlines += [footprint([one]) for one in building.objects]
    for sheet in building.sheets:
        if sheet.vertical and sheet.kind in ("wall", "partition", "door", "window", "panel", "leaf"):
            corners = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))[:, :2]
            outlines.append(shapely.convex_hull(shapely.multipoints(corners)).buffer(0.1))
    for outline in outlines:
        x0, y0, x1, y1 = outline.bounds
        rows, columns = (y >= y0) & (y <= y1), (x >= x0) & (x <= x1)
        if rows.any() and columns.any():
            window = np.ix_(rows, columns)
            taken[window] |= shapely.contains_xy(outline, xx[window], yy[window])
    return taken

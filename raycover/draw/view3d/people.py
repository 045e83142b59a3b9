"""People for scale: quiet round figures, walking, and where they stand in a picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage

from raycover.building.parts import Building
from raycover.building.sections import footprint
from raycover.coverage import PlaneCoverage
from raycover.draw.view3d.meshes import round_cone
from raycover.scene.seating import POPLITEAL, SEAT_HEIGHTS
from raycover.seats import SeatView

Floats = NDArray[np.floating[Any]]

#: Clear floor kept around a figure (m).
_CLEAR_M = 0.55


def figure(at: Floats, heading_rad: float, *, left_foot_first: bool = True) -> Floats:
    """(n, 3, 3) triangles of a walking person 1.75 m tall standing at `at` (3,)."""
    s = 1.0 if left_foot_first else -1.0
    # Local x is ahead, y to the left, metres.
    limbs = [
        ((0.0, 0.095, 0.90), (0.16 * s, 0.10, 0.50), 0.085, 0.062),  # left thigh, shin, foot
        ((0.16 * s, 0.10, 0.50), (0.22 * s - 0.10 * (s < 0), 0.10, 0.09), 0.060, 0.042),
        ((0.22 * s - 0.10 * (s < 0), 0.10, 0.05), (0.36 * s + 0.32 * (s < 0), 0.115, 0.045), 0.045, 0.034),
        ((0.0, -0.095, 0.90), (-0.12 * s, -0.10, 0.50), 0.085, 0.062),  # right
        ((-0.12 * s, -0.10, 0.50), (-0.30 * s + 0.10 * (s < 0), -0.10, 0.12), 0.060, 0.042),
        ((-0.30 * s + 0.10 * (s < 0), -0.10, 0.08), (-0.17 * s + 0.18 * (s < 0), -0.115, 0.045), 0.045, 0.034),
        ((0.0, 0.0, 0.90), (0.03, 0.0, 1.08), 0.120, 0.125),  # hips, chest
        ((0.03, 0.0, 1.08), (0.045, 0.0, 1.36), 0.125, 0.135),
        ((0.045, 0.17, 1.40), (-0.07 * s, 0.23, 1.14), 0.058, 0.046),  # left arm
        ((-0.07 * s, 0.23, 1.14), (-0.10 * s + 0.09, 0.22, 0.90), 0.045, 0.036),
        ((0.045, -0.17, 1.40), (0.13 * s, -0.23, 1.15), 0.058, 0.046),  # right arm
        ((0.13 * s, -0.23, 1.15), (0.22 * s + 0.06, -0.21, 0.95), 0.045, 0.036),
        ((0.045, 0.0, 1.42), (0.06, 0.0, 1.53), 0.058, 0.055),  # neck, head
        ((0.065, 0.0, 1.615), (0.07, 0.0, 1.645), 0.098, 0.105),
    ]
    parts = []
    for k, (start, end, r0, r1) in enumerate(limbs):
        part = round_cone(start, end, r0, r1)
        if k in (6, 7):
            part = part * np.array([0.82, 1.38, 1.0])  # a body is broader than deep
        parts.append(part)
    local = np.concatenate(parts)
    return _turned(local, heading_rad) + at


def seated_figure(at: Floats, heading_rad: float) -> Floats:
    """(n, 3, 3) triangles of a person on a plain chair, hands before them; `at` (3,) is the ground below the trunk."""
    seat, shoulder, head = POPLITEAL, SEAT_HEIGHTS[1], SEAT_HEIGHTS[2]
    limbs = [
        ((0.0, 0.0, seat + 0.12), (0.02, 0.0, shoulder - 0.06), 0.13, 0.135),  # hips, chest
        ((0.02, 0.0, shoulder), (0.04, 0.0, head - 0.08), 0.058, 0.055),  # neck, head
        ((0.05, 0.0, head - 0.05), (0.055, 0.0, head - 0.01), 0.098, 0.103),
        *(((0.02, s * 0.09, seat + 0.08), (0.42, s * 0.10, seat + 0.07), 0.085, 0.062) for s in (1, -1)),  # thighs
        *(((0.42, s * 0.10, seat + 0.05), (0.40, s * 0.10, 0.09), 0.060, 0.042) for s in (1, -1)),  # shins
        *(((0.38, s * 0.10, 0.045), (0.54, s * 0.115, 0.04), 0.045, 0.034) for s in (1, -1)),  # feet
        *(((0.03, s * 0.18, shoulder - 0.03), (0.08, s * 0.22, 0.80), 0.058, 0.046) for s in (1, -1)),  # arms
        *(((0.08, s * 0.22, 0.80), (0.32, s * 0.15, 0.79), 0.045, 0.036) for s in (1, -1)),
        ((-0.04, 0.0, 0.04), (-0.04, 0.0, seat - 0.04), 0.035, 0.035),  # chair: foot, seat, back
        ((-0.18, 0.0, seat - 0.02), (0.12, 0.0, seat - 0.02), 0.03, 0.03),
        ((-0.24, 0.0, seat + 0.15), (-0.27, 0.0, seat + 0.45), 0.05, 0.05),
    ]
    parts = [round_cone(start, end, r0, r1) for start, end, r0, r1 in limbs]
    parts[0] = parts[0] * np.array([0.82, 1.38, 1.0])
    parts[-2] = parts[-2] * np.array([1.0, 6.0, 1.0])
    parts[-1] = parts[-1] * np.array([1.0, 3.6, 1.0])
    return _turned(np.concatenate(parts), heading_rad) + at


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
) -> list[tuple[Floats, float]]:
    """Places (3,) and headings (rad) on free floor where people are noticed, far from each other.

    `avoid` (n, 2) are plan points to keep away from, such as those below detectors.
    """
    surface = plane.surface
    free = plane.assured & ~_furniture(building, surface.x, surface.y)
    if not free.any():
        free = plane.detected & ~_furniture(building, surface.x, surface.y)
    padded = np.pad(free, 1)
    clear = ndimage.distance_transform_edt(padded)[1:-1, 1:-1] * surface.grid
    rows, columns = np.nonzero(clear >= _CLEAR_M)
    if not len(rows):
        return []
    places = np.column_stack([surface.x[columns], surface.y[rows]])
    wanted = int(np.clip(round(plane.area_m2 / m2_each), 1, most))
    # Farthest-point choice among all free places, first of all far from what is to be avoided.
    taken: list[int] = []
    apart = np.full(len(places), 1e3)
    clear_of = np.full(len(places), 1e3)
    for point in avoid:
        clear_of = np.minimum(clear_of, np.hypot(*(places - point).T))
    room_clear = 1.5 * np.minimum(clear[rows, columns], 2.0) + np.minimum(clear_of, 1.5)
    for _ in range(wanted):
        best = int(np.argmax(np.minimum(apart, 6.0) + room_clear))
        if apart[best] < apart_m:
            break
        taken.append(best)
        apart = np.minimum(apart, np.hypot(*(places - places[best]).T))
    standing = []
    for k, index in enumerate(taken):
        z = float(np.asarray(surface.floor_at(rows[index], columns[index])))
        # A golden-angle turn from one to the next looks like chance and is always the same.
        standing.append((np.array([*places[index], z]), float(k * 2.39996)))
    return standing


def _furniture(building: Building, x: Floats, y: Floats) -> NDArray[np.bool_]:
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

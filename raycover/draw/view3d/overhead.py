"""What a cutaway leaves out and an eye inside a room sees: ceilings and roofs, their lights, what hangs below them."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, Sheet
from raycover.draw.view3d.meshes import Body, boxes, join, plate

Floats = NDArray[np.floating[Any]]

#: Ceilings are ruled so far apart (m), the first that gives no more than so many lines: an eye reads depth by it.
_RULED_M, _MOST_LINES = (1.0, 2.0, 5.0, 10.0), 24
#: From below a ceiling has no thickness: it is drawn so thin (m), its rules so far below, the ink at its joint so high.
THIN_M, _BELOW_M, JOINT_M = 0.012, 0.004, 0.018


def overhead_bodies(building: Building) -> tuple[Body, Body, Body]:
    """(ceilings and roofs with rules on them, roof lights, what hangs); a room open above has none."""
    lying = [s for s in building.sheets if s.kind in ("ceiling", "window") and not s.vertical]
    opaque = [s for s in lying if s.kind == "ceiling" and not s.construction.glazing]
    lights = [s for s in lying if s not in opaque]
    hung = np.flatnonzero([kind == "hung" for kind in building.boxes.kinds])
    every = building.boxes
    hanging = boxes(every.centre[hung], every.size[hung], every.turn_rad[hung], closed=True)
    step = ruled_m(building)
    faces = join([body for s in opaque for body in plates(s, THIN_M)])
    rules = np.concatenate([faces.edges, *(rules_on(s, step) for s in opaque)])
    return Body(faces.triangles, rules), join([body for s in lights for body in plates(s, THIN_M)]), hanging


def ruled_m(building: Building) -> float:
    """How far apart (m) ceilings are ruled."""
    spans = [max(r.polygon.bounds[2] - r.polygon.bounds[0], r.polygon.bounds[3] - r.polygon.bounds[1])
             for r in building.rooms]  # fmt: skip
    longest = max(spans, default=0.0)
    return next((step for step in _RULED_M if longest / step <= _MOST_LINES), _RULED_M[-1])


def rules_on(sheet: Sheet, step: float) -> Floats:
    """Lines (n, 2, 3) on the underside of a sheet, on whole multiples of a step (m) in its plane, both ways."""
    a0, b0, a1, b1 = sheet.polygon.bounds
    found: list[Floats] = []
    for low, high, start, end, across in ((a0, a1, b0, b1, False), (b0, b1, a0, a1, True)):
        for at in np.arange(np.floor(low / step) + 1, np.ceil(high / step)) * step:
            ends = [(start, at), (end, at)] if across else [(at, start), (at, end)]
            inside = shapely.intersection(shapely.LineString(ends), sheet.polygon)
            found += [
                shapely.get_coordinates(part)[[0, -1]] for part in shapely.get_parts(inside)
                if part.geom_type == "LineString"
            ]  # fmt: skip
    if not found:
        return np.zeros((0, 2, 3))
    flat = np.concatenate(found)
    down = np.array([0.0, 0.0, THIN_M / 2 + _BELOW_M])
    return np.asarray(sheet.frame.to_space(flat)).reshape(-1, 2, 3) - down


def plates(sheet: Sheet, thickness_m: float | None = None) -> list[Body]:
    """A flat sheet as plates of its own thickness, or of another."""
    thickness = max(sheet.construction.thickness_m, 0.025) if thickness_m is None else thickness_m
    bodies = []
    for part in shapely.get_parts(sheet.polygon):
        rings = [np.asarray(ring.coords)[:-1] for ring in (part.exterior, *part.interiors)]
        outline, *holes = (sheet.frame.to_space(ring) for ring in rings)
        bodies.append(plate(outline, holes, thickness))
    return bodies

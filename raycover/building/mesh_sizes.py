"""Whether an imported mesh can be meant as large as it comes out, and whether it stands in the building at all."""

from __future__ import annotations

import numpy as np

from raycover.building.parts import Floats
from raycover.errors import Problem
from raycover.scene.meshes import METRES
from raycover.scene.schema import Scene

#: A mesh this many times as large as the rest of the scene is a slip of units; the rest counts as …
_TOO_LARGE, _LEAST_SCENE = 20.0, 10.0
#: … at least that many metres. Nothing anywhere is larger than this, nor smaller than that (m).
_LARGEST, _SMALLEST = 20_000.0, 0.01


def size_problem(scene: Scene, index: int, corners: Floats) -> Problem | None:
    """What is wrong with the size of a mesh with corners (n, 3) in metres, upright: an error, a warning or nothing."""
    spec = scene.meshes[index]
    size = np.ptp(corners, axis=0)
    across = float(np.linalg.norm(size))
    rest = _scene_span(scene)
    limit = _LARGEST if rest is None else min(_TOO_LARGE * max(rest, _LEAST_SCENE), _LARGEST)
    given = "scale" if spec.scale is not None else "units" if spec.units is not None else "file"
    where = scene.position("meshes", index, given)
    measured = f'"{spec.name}" measures {_by(size)}'
    if across > limit or across < _SMALLEST:
        wrong = "no building is so large" if across > _LARGEST else "far larger than the scene"
        if across < _SMALLEST:
            wrong = "smaller than a finger"
        help_ = "check units" + _other_units(size, spec.metres, rest)
        return Problem("mesh-units", f"{measured}, {wrong}", where, help_)
    if rest is not None and across > 1.2 * max(rest, _LEAST_SCENE):
        help_ = "check units" + _other_units(size, spec.metres, rest)
        return Problem("mesh-units", f"{measured}, larger than the building", where, help_, severity="warning")
    return None


def outside_rooms(scene: Scene, index: int, placed: Floats) -> list[Problem]:
    """A warning where no room holds any of a mesh whose corners (n, 3) are placed in plan."""
    if not scene.rooms:
        return []
    low, high = placed[:, :2].min(axis=0), placed[:, :2].max(axis=0)
    for room in scene.rooms:
        outline = np.asarray(room.outline, float)
        if np.all(outline.min(axis=0) <= high) and np.all(low <= outline.max(axis=0)):
            return []
    spec = scene.meshes[index]
    off = (low + high) / 2 - np.asarray(spec.at[:2])
    return [
        Problem(
            "mesh-outside",
            f'"{spec.name}" stands outside every room: '
            f"x {low[0]:.1f} to {high[0]:.1f}, y {low[1]:.1f} to {high[1]:.1f}",
            scene.position("meshes", index, "at"),
            f"at places the file's origin; the middle of its objects lies ({off[0]:.1f}, {off[1]:.1f}) m from there",
            severity="warning",
        )
    ]


def _by(size: Floats) -> str:
    return " × ".join(f"{v:.3g}" if v < 1000 else f"{v:,.0f}" for v in size) + " m"


def _other_units(size: Floats, metres: float, rest: float | None) -> str:
    """Units that would make sense, in words."""
    most = rest if rest is not None else 100.0
    likely = []
    for name, each in METRES.items():
        across = float(np.linalg.norm(size)) / metres * each
        if each != metres and 0.1 <= across <= max(most, _LEAST_SCENE):
            likely.append(f'"units: {name}" makes it {_by(size / metres * each)}')
    return (": " + "; ".join(likely)) if likely else ""


def _scene_span(scene: Scene) -> float | None:
    """Diagonal in plan (m) of everything but meshes, None for a scene of nothing else."""
    points = [p for room in scene.rooms for p in room.outline]
    points += [p for partition in scene.partitions for p in partition.line]
    points += [p[:2] for sheet in scene.sheets for p in sheet.corners]
    points += [item.centre for item in scene.solids]
    for things in (scene.racking, scene.cubicles, scene.desks, scene.detectors):
        points += [item.at for item in things]
    for plane in scene.planes:
        if plane.extent is not None:
            points += [plane.extent[:2], plane.extent[2:]]
    if not points:
        return None
    return float(np.linalg.norm(np.ptp(np.array(points, float), axis=0)))

"""Coincident faces: one sheet where they agree, a reported error where they don't.

Two rooms that share a wall line each bring that wall; a storey's ceiling is the next one's floor. Crossing it
must cost its loss once, so overlapping faces in one plane merge when their constructions agree (or one is
`none`), and the openings of either cut both.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from raycover.building.faces import Face, Hole
from raycover.building.parts import Frame, Sheet
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: Faces nearer than this (m) lie in one plane.
PLANE_TOLERANCE = 1e-3
#: Overlaps smaller than this (m²) are touching edges.
AREA_TOLERANCE = 1e-6


def merge(scene: Scene, faces: Sequence[Face]) -> tuple[list[Sheet], list[Problem]]:
    """Sheets, with holes cut and filled, and the problems of coincident faces that disagree."""
    sheets: list[Sheet] = []
    problems: list[Problem] = []
    for group in _planes(faces):
        if len(group) == 1 and not group[0].holes:
            sheets += _sheet(group[0], group[0].polygon)
        else:
            _merge_plane(scene, group, sheets, problems)
    return sheets, problems


def _planes(faces: Sequence[Face]) -> Iterable[list[Face]]:
    """Faces by the plane they lie in."""
    groups: dict[tuple[int, ...], list[Face]] = defaultdict(list)
    for face in faces:
        normal = face.frame.normal
        largest = int(np.argmax(np.abs(normal)))
        normal = normal * np.sign(normal[largest])
        # An odd shift keeps round coordinates away from the borders between steps.
        offset = float(normal @ face.frame.origin) + 0.0003718
        key = (*np.round(normal * 1e5 + 0.1234).astype(int).tolist(), round(offset / PLANE_TOLERANCE))
        groups[key].append(face)
    return groups.values()


def _merge_plane(scene: Scene, group: Sequence[Face], sheets: list[Sheet], problems: list[Problem]) -> None:
    frame = group[0].frame
    outlines = [_in_frame(face.polygon, face.frame, frame) for face in group]
    holes = [(_in_frame(hole.polygon, face.frame, frame), face, hole) for face in group for hole in face.holes]
    cut = shapely.union_all([outline for outline, _, _ in holes]) if holes else None
    tree = shapely.STRtree(outlines)
    for index, (face, outline) in enumerate(zip(group, outlines, strict=True)):
        if face.construction is None:
            continue
        net = outline if cut is None else outline.difference(cut)
        for other in sorted(int(i) for i in tree.query(outline)):
            earlier = group[other]
            if other >= index or earlier.construction is None:
                continue
            shared = outline.intersection(outlines[other]).area
            if shared <= AREA_TOLERANCE:
                continue
            if earlier.construction != face.construction:
                problems.append(_disagree(scene, face, earlier, shared))
                break
            net = net.difference(outlines[other])
        sheets += _sheet(face, net, frame)
    filled: list[tuple[Any, Hole]] = []
    for outline, face, hole in holes:
        if hole.fill is None:
            continue
        net = outline
        for earlier_outline, earlier_hole in filled:
            shared = outline.intersection(earlier_outline).area
            if shared > AREA_TOLERANCE:
                if earlier_hole.fill != hole.fill:
                    problems.append(
                        Problem(
                            "openings-disagree",
                            f'"{hole.name}" and "{earlier_hole.name}" fill the same place differently',
                            scene.position(*hole.loc),
                            "write the opening in one of the two rooms only, or alike in both",
                        )
                    )
                net = net.difference(earlier_outline)
        filled.append((outline, hole))
        made = Face(hole.name, face.owner, hole.kind, frame, net, hole.fill, hole.loc)
        sheets += _sheet(made, net, frame)


def _disagree(scene: Scene, face: Face, earlier: Face, shared: float) -> Problem:
    assert face.construction is not None and earlier.construction is not None
    place = scene.position(*earlier.loc)
    return Problem(
        "coincident-faces",
        f'"{face.name}" ({face.construction.name}) lies in the same place as "{earlier.name}" '
        f"({earlier.construction.name}, line {place.line}), over {shared:.3g} m²",
        scene.position(*face.loc),
        "give both the same construction, or write none for one of them",
    )


def _sheet(face: Face, polygon: Any, frame: Frame | None = None) -> list[Sheet]:
    """The sheet of a face, or nothing where nothing is left of it."""
    if face.construction is None or polygon.area <= AREA_TOLERANCE:
        return []
    whole = _areal(polygon)
    return [Sheet(face.name, face.owner, face.kind, frame or face.frame, whole, face.construction, face.loc)]


def _areal(polygon: Any) -> Any:
    """Only the polygons of a geometry (a difference may leave lines and points behind)."""
    if polygon.geom_type in ("Polygon", "MultiPolygon"):
        return polygon
    return shapely.MultiPolygon([g for g in polygon.geoms if g.geom_type == "Polygon" and g.area > AREA_TOLERANCE])


def _in_frame(polygon: Any, old: Frame, new: Frame) -> Any:
    """A polygon of one frame in the coordinates of another frame of the same plane."""
    if old is new:
        return polygon
    origin = new.to_plane(old.origin[None])[0]
    a, d = float(old.u @ new.u), float(old.u @ new.v)
    b, e = float(old.v @ new.u), float(old.v @ new.v)
    moved = affinity.affine_transform(polygon, [a, b, d, e, origin[0], origin[1]])
    # A micrometre grid, so that edges shared by two faces are the same numbers.
    return shapely.set_precision(moved, 1e-6, mode="pointwise")

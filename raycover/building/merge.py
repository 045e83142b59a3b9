"""Coincident faces: one sheet where they agree, a reported error where they don't.

Two rooms that share a wall line each bring that wall; a storey's ceiling is the next one's floor. Crossing it
must cost its loss once, so overlapping faces in one plane merge when their constructions agree (or one is
`none`), and the openings of either cut both.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import shapely
from shapely import affinity

from raycover.building.faces import Face, Hole
from raycover.building.parts import Frame, Sheet
from raycover.building.planes import planes
from raycover.errors import Problem
from raycover.scene.schema import Scene

#: Overlaps smaller than this (m²) are touching edges.
AREA_TOLERANCE = 1e-6
#: So are those narrower than this (m): corners to the nearest millimetre may lie 0.7 mm off the edge that they are
#: meant to lie on, either way.
WIDTH_TOLERANCE = 1.5e-3


def merge(scene: Scene, faces: Sequence[Face]) -> tuple[list[Sheet], list[Problem]]:
    """Sheets, with holes cut and filled, and the problems of coincident faces that disagree."""
    sheets: list[Sheet] = []
    problems: list[Problem] = []
    for group in planes(faces):
        if len(group) == 1 and not group[0].holes:
            sheets += _sheet(group[0], group[0].polygon)
        else:
            _merge_plane(scene, group, sheets, problems)
    return sheets, problems


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
            shared = _shared_m2(outline, outlines[other])
            if shared == 0:
                continue
            if earlier.construction != face.construction:
                problems.append(_disagree(scene, face, earlier, shared))
                break
            net = net.difference(outlines[other])
        sheets += _sheet(face, net, frame)
    done: list[tuple[Any, Hole]] = []
    for outline, face, hole in holes:
        net = outline
        for earlier_outline, earlier_hole in done:
            if _shared_m2(outline, earlier_outline) == 0:
                continue
            if earlier_hole.fill != hole.fill:
                problems.append(_openings_disagree(scene, hole, earlier_hole))
            if earlier_hole.fill is not None:
                net = net.difference(earlier_outline)
        done.append((outline, hole))
        made = Face(hole.name, face.owner, hole.kind, face.frame, net, hole.fill, hole.loc)
        sheets += _sheet(made, net, frame)


def _shared_m2(one: Any, two: Any) -> float:
    """Area that two polygons share; 0 where they only touch."""
    shared = one.intersection(two)
    area = float(shared.area)
    # A strip of width w and length l has w·l of area and 2·l of edge.
    return 0.0 if area <= max(AREA_TOLERANCE, WIDTH_TOLERANCE * shared.length / 2) else area


def _openings_disagree(scene: Scene, hole: Hole, earlier: Hole) -> Problem:
    return Problem(
        "openings-disagree",
        f'"{hole.name}" and "{earlier.name}" (line {scene.position(*earlier.loc).line}) '
        "fill the same place differently, or one is open and the other closed",
        scene.position(*hole.loc),
        "write the opening in one of the two rooms only, or alike in both",
    )


def _disagree(scene: Scene, face: Face, earlier: Face, shared: float) -> Problem:
    assert face.construction is not None
    assert earlier.construction is not None
    place = scene.position(*earlier.loc)
    movable = {face.loc[0], earlier.loc[0]} & {"desks", "cubicles"}
    help_ = "give both the same construction, or write none for one of them"
    if face.loc[0] == earlier.loc[0] == "rooms":
        help_ += ": walls as a list, one an edge; openings there then belong to the other room"
    if movable:
        help_ = "move it a few millimetres clear"
    if "cubicles" in movable:
        help_ = "write left_end: false or right_end: false where a wall stands in for the panel"
    return Problem(
        "coincident-faces",
        f'"{face.name}" ({face.construction.name}) lies in the same place as "{earlier.name}" '
        f"({earlier.construction.name}, line {place.line}), over {shared:.3g} m²",
        scene.position(*face.loc),
        help_,
    )


def _sheet(face: Face, polygon: Any, frame: Frame | None = None) -> list[Sheet]:
    """The sheet of a face, or nothing where nothing is left of it; `frame` is the one the polygon is given in."""
    if face.construction is None or polygon.area <= AREA_TOLERANCE:
        return []
    whole = _areal(polygon)
    if frame is not None:
        # Back in its own frame: a face that lies in the group's plane to a millimetre stays where it was.
        whole = _in_frame(whole, frame, face.frame)
    return [Sheet(face.name, face.owner, face.kind, face.frame, whole, face.construction, face.loc)]


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

"""Sheets, boxes and imported objects → triangles, each knowing its part."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import mapbox_earcut
import numpy as np
import shapely

from raycover.building.parts import Boxes, Floats, Ints, Mesh, MeshObject, Sheet

#: The twelve triangles of a box by its corners 0-3 below, 4-7 above, each face outward.
BOX_FACES = np.array(
    [
        [0, 2, 1], [0, 3, 2], [4, 5, 6], [4, 6, 7],
        [0, 1, 5], [0, 5, 4], [1, 2, 6], [1, 6, 5],
        [2, 3, 7], [2, 7, 6], [3, 0, 4], [3, 4, 7],
    ]
)  # fmt: skip


#: Sheets reach this far (m) over their edges in the mesh: a joint stays shut in single precision, and where
#: its coordinates were written to the nearest millimetre. A twice-covered joint is crossed once (see rays).
JOINT_OVERLAP = 1e-3


def triangulate(sheets: Sequence[Sheet], boxes: Boxes, objects: Sequence[MeshObject] = ()) -> Mesh:
    """Every face as triangles, sheets grown by the joint overlap; parts numbered sheets, then boxes, then objects."""
    pieces: list[Floats] = []
    parts: list[Ints] = []
    grown = shapely.buffer([sheet.polygon for sheet in sheets], JOINT_OVERLAP, join_style="mitre")
    for part, (sheet, polygon) in enumerate(zip(sheets, grown, strict=True)):
        flat = sheet_triangles(polygon)
        pieces.append(sheet.frame.to_space(flat.reshape(-1, 2)).reshape(-1, 3, 3))
        parts.append(np.full(len(flat), part, np.int32))
    parts.append(np.repeat(np.arange(len(boxes), dtype=np.int32) + len(sheets), len(BOX_FACES)))
    faces = list(parts)
    n_before = len(sheets) + len(boxes)
    n_faces = n_before + len(objects)
    for k, one in enumerate(objects):
        parts.append(np.full(len(one.triangles), n_before + k, np.int32))
        faces.append(one.facet + n_faces)
        n_faces += int(one.facet.max(initial=-1)) + 1
    # Boxes are most of a large building: their triangles are made in place.
    triangles = np.empty((sum(map(len, parts)), 3, 3))
    first = sum(map(len, pieces))
    last = first + len(BOX_FACES) * len(boxes)
    np.concatenate([np.zeros((0, 3, 3)), *pieces], out=triangles[:first])
    box_triangles(boxes, triangles[first:last])
    np.concatenate([np.zeros((0, 3, 3)), *(one.triangles for one in objects)], out=triangles[last:])
    return Mesh(triangles, np.concatenate(parts).astype(np.int32), np.concatenate(faces).astype(np.int32))


def sheet_triangles(polygon: Any) -> Floats:
    """(n, 3, 2) triangles of a shapely (multi)polygon, holes left out."""
    found = []
    pieces = shapely.get_parts(polygon)
    if len(pieces) > 4:  # decks of racking: many oblongs alike, each two triangles
        convex, pieces = _convex_fours(pieces)
        found = [convex[:, [[0, 1, 2], [0, 2, 3]]].reshape(-1, 3, 2)]
    for piece in pieces:
        rings = [np.asarray(ring.coords)[:-1] for ring in (piece.exterior, *piece.interiors)]
        vertices = np.concatenate(rings)
        if len(rings) == 1 and len(vertices) == 3:
            found.append(vertices[None])
            continue
        ends = np.cumsum([len(ring) for ring in rings]).astype(np.uint32)
        index = mapbox_earcut.triangulate_float64(vertices, ends).reshape(-1, 3)
        found.append(vertices[index])
    return np.concatenate(found) if found else np.zeros((0, 3, 2))


def _convex_fours(pieces: Any) -> tuple[Floats, Any]:
    """Corners (n, 4, 2) of the convex four-cornered polygons without holes, and the others."""
    four = (shapely.get_num_coordinates(pieces) == 5) & (shapely.get_num_interior_rings(pieces) == 0)
    corners = shapely.get_coordinates(pieces[four]).reshape(-1, 5, 2)[:, :4]
    step = np.roll(corners, -1, axis=1) - corners
    after = np.roll(step, -1, axis=1)
    turn = step[..., 0] * after[..., 1] - step[..., 1] * after[..., 0]
    convex = (turn > 0).all(axis=1) | (turn < 0).all(axis=1)
    return corners[convex], np.concatenate([pieces[~four], pieces[four][~convex]])


def box_triangles(boxes: Boxes, out: Floats | None = None) -> Floats:
    """(12·n, 3, 3) triangles of boxes, facing outward; written into `out` if given."""
    if out is None:
        out = np.empty((len(BOX_FACES) * len(boxes), 3, 3))
    if not len(boxes):
        return out
    plan = boxes.footprints()
    half = boxes.size[:, 2] / 2
    corners = np.empty((len(boxes), 8, 3))
    corners[:, :4, :2] = corners[:, 4:, :2] = plan
    corners[:, :4, 2] = (boxes.centre[:, 2] - half)[:, None]
    corners[:, 4:, 2] = (boxes.centre[:, 2] + half)[:, None]
    whole = out.reshape(len(boxes), *BOX_FACES.shape, 3)  # a view: `out` is in one piece
    np.take(corners, BOX_FACES, axis=1, out=whole, mode="clip")  # "clip" writes without a buffer between
    return out

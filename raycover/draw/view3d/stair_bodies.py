"""Stairs in three dimensions: stepped bodies, and their maps laid on treads and landings."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.mesh import sheet_triangles
from raycover.building.parts import StairPiece, StairShape
from raycover.draw import palette
from raycover.draw.stair_cuts import profile
from raycover.draw.unrolled import Run, strip_map
from raycover.draw.view3d.floor_map import ABOVE_M, MOST_PX, FloorMap, Sheet3D, engrave, filled, map_level_m
from raycover.draw.view3d.meshes import Body
from raycover.solving.coverage import PlaneCoverage

Floats = NDArray[np.floating[Any]]


#: Thickness (m) of a flight's last riser in pictures.
_RISER_M = 0.02


def stair_body(piece: StairPiece, waist: float) -> Body:
    """A piece as a solid: its profile drawn across its width, an edge line at every step."""
    side = profile(piece, waist)
    if piece.kind == "flight" and piece.n_treads:
        # The last riser, up to where the flight arrives, is a board and not a line: a body has no thin fins.
        tread, top = len(side) - 4, len(side) - 3
        back = [_RISER_M, 0.0]
        side = np.concatenate([side[:tread], [side[tread] - back, side[top] - back], side[top:]])
    near = piece.origin * [1, 1, 0] + side[:, :1] * piece.along + side[:, 1:] * np.array([0.0, 0.0, 1.0])
    far = near + piece.across * piece.width
    flat = sheet_triangles(shapely.Polygon(side))
    upright = piece.origin * [1, 1, 0] + flat[..., :1] * piece.along + flat[..., 1:] * np.array([0.0, 0.0, 1.0])
    a, b, c, d = near, np.roll(near, -1, axis=0), np.roll(far, -1, axis=0), far
    around = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    rings = [np.stack([line, np.roll(line, -1, axis=0)], axis=1) for line in (near, far)]
    triangles = np.concatenate([upright, upright + piece.across * piece.width, around])
    return Body(triangles, np.concatenate([*rings, np.stack([near, far], axis=1)]))


def stair_map(
    plane: PlaneCoverage,
    stairs: StairShape,
    run: Run,
    *,
    px_per_m: float,
    hatch_m: float,
    margin_db: NDArray[np.float32] | None = None,
    hatched: bool = True,
) -> FloorMap:
    """The map of a run, or that of other margins (ny, nx) on it, a piece a tread and landing."""
    px_per_m = min(px_per_m, MOST_PX / max(run.length, stairs.span))
    box = (0.0, 0.0, run.length, stairs.span)
    margins = plane.margin_db if margin_db is None else margin_db
    flat = strip_map(plane, margins, stairs, run, box, dpi=25.4 * px_per_m)
    image = palette.margin_rgb(filled(flat), plane.reserve_db)
    if hatched:
        engrave(image, flat.classes, px_per_m, hatch_m)
    level = map_level_m(plane)
    sheets = []
    for strip in run.strips:
        piece = stairs.pieces[strip.piece]
        n = max(piece.n_treads, 1)
        ends = np.linspace(0.0, piece.length, n + 1)
        for low, high in pairwise(ends.tolist()):
            z = float(piece.height(np.array([(low + high) / 2]))[0]) + level + ABOVE_M
            sheets.append(_quad(stairs, run, piece, strip.start - run.start, (low, high), z))
    return FloorMap(image, box, tuple(sheets), (), level)


def _quad(stairs: StairShape, run: Run, piece: StairPiece, start: float, span: Sequence[float], z: float) -> Sheet3D:
    corners = np.array([(span[0], 0.0), (span[1], 0.0), (span[1], piece.width), (span[0], piece.width)])
    plan = piece.origin[:2] + corners[:, :1] * piece.along[:2] + corners[:, 1:] * piece.across[:2]
    space = np.column_stack([plan, np.full(4, z)])
    places = np.column_stack(
        [(start + corners[:, 0]) / run.length, (stairs.span - piece.across_from - corners[:, 1]) / stairs.span]
    )
    order = np.array([[0, 1, 2], [0, 2, 3]])
    if float(np.cross(piece.along, piece.across)[2]) < 0:
        order = order[:, ::-1]
    return Sheet3D(space[order], places[order])

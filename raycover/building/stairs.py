"""Stairs → treads, risers, strings and soffits, and the pieces people walk on.

A flight's loss to microwave is counted once, in its soffit, which carries the stair's construction at the
middle of its waist; treads, risers and strings are its skin: they stop infrared and cost microwave nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely

from raycover.building.faces import Face, Gathered, Placing
from raycover.building.fittings import FloorAt
from raycover.building.parts import Floats, Frame, Loc, SheetKind, StairPiece, StairShape
from raycover.catalogue import Construction
from raycover.errors import Problem
from raycover.scene.schema import Scene
from raycover.scene.storeys import Stairs

#: The surface of a step: stops infrared; the flight's own loss is counted in the soffit.
SKIN = Construction("stair surface", "layers", 0.03, source="loss of a flight counted in its soffit; our assumption")
#: A stair may miss the floor it leads to by this much (m): what rounding leaves.
_REACH = 2e-3
#: Strings stand in this far from a flight's sides, so that a flight against a wall touches it with edges only.
_STRING_INSET = 0.01
UP = np.array([0.0, 0.0, 1.0])


def add_stairs(scene: Scene, index: int, stairs: Stairs, floor_at: FloorAt, into: Gathered) -> None:
    """Faces and walking pieces of a stair; an error where it stops short of the next floor."""
    foot = floor_at(*stairs.at) + stairs.base
    loc: Loc = ("stairs", index, "construction")
    construction = scene.catalogue.construction(stairs.construction)
    if construction is None:
        into.problems.append(
            Problem(
                "no-construction",
                f'stair "{stairs.name}" is made of none',
                scene.position(*loc),
                "name a construction of the catalogue",
            )
        )
        return
    pieces = []
    for storey in range(stairs.repeat):
        pieces += [
            replace(piece, origin=piece.origin + UP * (foot + storey * stairs.rise)) for piece in _pieces(stairs)
        ]
    head = foot + stairs.repeat * stairs.rise
    into.problems += _short(scene, index, stairs, foot, head)
    for number, piece in enumerate(pieces):
        name = f"{stairs.name}/{piece.kind} {number + 1}"
        into.faces += _flight_faces(name, stairs, piece, construction, loc) if piece.kind == "flight" else [
            _face(name, stairs.name, "tread", Frame(piece.origin, piece.along, piece.across),
                  shapely.box(0, 0, piece.length, piece.width), construction, loc)
        ]  # fmt: skip
    span = 2 * stairs.width + stairs.well if stairs.kind == "half-landing" else stairs.width
    into.stairs.append(StairShape(stairs.name, tuple(pieces), span, foot, head))


def _pieces(stairs: Stairs) -> list[StairPiece]:
    """The pieces of one storey, in the scene's plan, from z = 0."""
    n, going, width = stairs.riser_count, stairs.going, stairs.width
    riser = stairs.rise / n
    placing = Placing(stairs.at, stairs.turn_deg)
    mirror = 1.0 if stairs.hand == "right" else -1.0

    def space(x: float, y: float, z: float) -> Floats:
        return np.array([*placing.points(np.array([[x, y]]))[0], z])

    def way(x: float, y: float) -> Floats:
        a, b = placing.points(np.array([[0.0, 0.0], [x, y]]))
        return np.array([*(b - a), 0.0])

    def flight(x: float, y: float, z: float, along: Floats, across: Floats, risers: int, start: float) -> StairPiece:
        treads = risers - 1
        return StairPiece("flight", space(x, y, z), along, across, treads * going, width, start, treads, going, riser)

    ahead, right, back = way(0, 1), way(1, 0), way(0, -1)
    if stairs.kind == "straight":
        return [flight(0, 0, 0, ahead, right, n, 0)]
    first = (n + 1) // 2
    second = n - first
    run, depth, z = (first - 1) * going, stairs.landing_depth, first * riser
    lower = flight(0, 0, 0, ahead, right, first, 0)
    if stairs.kind == "half-landing":
        span = 2 * width + stairs.well
        far = width + stairs.well
        left = 0.0 if mirror > 0 else -far
        lower = replace(lower, across_from=-left)
        landing = StairPiece("landing", space(left, run, z), ahead, right, depth, span, 0.0)
        # Unrolled, all pieces run across in one direction, whichever hand that is for the climber.
        upper = flight(far if mirror > 0 else -far, run, z, back, right, second, far if mirror > 0 else 0.0)
        return [lower, landing, upper]
    landing = StairPiece("landing", space(0, run, z), ahead, right, max(depth, width), width, 0.0)
    if mirror > 0:
        upper = flight(width, run + width, z, right, way(0, -1), second, 0)
    else:
        upper = flight(0, run, z, way(-1, 0), ahead, second, 0)
    return [lower, landing, upper]


def _flight_faces(name: str, stairs: Stairs, piece: StairPiece, construction: Construction, loc: Loc) -> Iterator[Face]:
    n, going, rise = piece.n_treads, piece.going, piece.rise
    skin = SKIN
    for i in range(n):
        corner = piece.origin + piece.along * i * going + UP * (i + 1) * rise
        tread = shapely.box(0, 0, going, piece.width)
        yield _face(f"{name}/tread", stairs.name, "tread", Frame(corner, piece.along, piece.across), tread, skin, loc)
    if not stairs.open_risers:
        for i in range(n + 1):
            corner = piece.origin + piece.along * i * going + UP * i * rise
            riser = shapely.box(0, 0, piece.width, rise)
            yield _face(f"{name}/riser", stairs.name, "riser", Frame(corner, piece.across, UP), riser, skin, loc)
    # The soffit runs through the middle of the waist, half its thickness under the inner corners of the steps,
    # from where it leaves the floor.
    drop = construction.thickness_m / 2 * np.hypot(going, rise) / going
    clear = min(drop * going / rise, n * going)
    slope = np.array([going, rise]) / np.hypot(going, rise)
    start = piece.origin + piece.along * clear + UP * (clear / going * rise - drop)
    soffit = shapely.box(0, 0, (n * going - clear) / slope[0], piece.width)
    frame = Frame(start, piece.along * slope[0] + UP * slope[1], piece.across)
    yield _face(f"{name}/soffit", stairs.name, "soffit", frame, soffit, construction, loc)
    if not stairs.open_risers:
        steps = [((i + k) * going, (i + 1) * rise) for i in range(n) for k in (0, 1)]
        under = [(n * going, n * rise - drop), (clear, clear / going * rise - drop)]
        profile = shapely.Polygon([(0.0, 0.0), *steps, *under])
        for side, offset in (("left", _STRING_INSET), ("right", piece.width - _STRING_INSET)):
            frame = Frame(piece.origin + piece.across * offset, piece.along, UP)
            yield _face(f"{name}/string {side}", stairs.name, "string", frame, profile.buffer(0), skin, loc)


def _face(
    name: str, owner: str, kind: SheetKind, frame: Frame, polygon: shapely.Polygon, made_of: Construction, loc: Loc
) -> Face:
    return Face(name, owner, kind, frame, polygon, made_of, loc)


def _short(scene: Scene, index: int, stairs: Stairs, foot: float, head: float) -> list[Problem]:
    """A stair that does not reach a floor, where there is one to reach within a storey of its head."""
    above = sorted(room.floor for room in scene.rooms if room.floor > foot + 0.5 * stairs.rise)
    problems = []
    for level in [foot + (k + 1) * stairs.rise for k in range(stairs.repeat)]:
        near = min(above, key=lambda floor: abs(floor - level), default=None)
        if near is not None and _REACH < abs(near - level) < 1.5:
            problems.append(
                Problem(
                    "stair-short",
                    f'stair "{stairs.name}" arrives at {level:.3f} m; the floor there is at {near:.3f} m',
                    scene.position("stairs", index, "rise"),
                    f"make rise {stairs.rise + near - level:.4g}, or check the floors",
                )
            )
            break
    return problems

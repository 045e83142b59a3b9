"""Racking → boxes and faces: frames, beams, decks and pallets; posts and shelves; columns and arms; what lies in them.

Dimensions not given are those of the scene's presets and kinds; nothing here is a product's. Bracing of frames is
left out: it is thin.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.faces import Face, Gathered, Placing
from raycover.building.loads import Loads, plan_loads
from raycover.building.parts import Boxes, BoxKind, Floats, Frame, Loc, RackMark
from raycover.catalogue import Construction, SolidMaterial
from raycover.scene.schema import Scene
from raycover.scene.storage import BEAM_DEPTH, EUR_PALLET, Racking

FloorAt = Callable[[float, float], float]
#: Share of its place that a box on a shelf takes, along the shelf. From memory, common practice.
_ON_SHELF = 0.94
#: Share of a column's width that an arm is wide. From memory, common practice.
_ARM = 0.5
#: An end guard: height, thickness, and clear of the frame (m). From memory, common practice: 400 mm high.
_GUARD_HEIGHT, _GUARD_THICK, _GUARD_OFF = 0.4, 0.1, 0.1


@dataclass
class _Parts:
    """Boxes of one row gathered in its own frame: y runs from its front to its rear."""

    row: str
    centres: list[Floats] = field(default_factory=list)
    sizes: list[Floats] = field(default_factory=list)
    kinds: list[BoxKind] = field(default_factory=list)
    names: list[str] = field(default_factory=list)
    materials: list[SolidMaterial] = field(default_factory=list)

    def put(
        self, kind: BoxKind, label: str, material: SolidMaterial, xs: Floats, ys: Floats, zs: Floats, size: Floats
    ) -> None:
        """Boxes of one size (3,) at every one of `xs`, `ys` and middle heights `zs`."""
        x, y, z = (axis.ravel() for axis in np.meshgrid(xs, ys, zs, indexing="ij"))
        n = len(x)
        self.centres.append(np.stack([x, y, z], axis=1))
        self.sizes.append(np.tile(size, (n, 1)))
        self.kinds += [kind] * n
        self.names += [f"{self.row}/{label}"] * n
        self.materials += [material] * n


def add_racking(scene: Scene, index: int, rack: Racking, floor_at: FloorAt, into: Gathered) -> None:
    """Every part of a rack; a second row, facing the other way, behind when back to back."""
    placing = Placing(rack.at, rack.turn_deg)
    middle = placing.points(np.array([[rack.length / 2, rack.depth / 2]]))[0]
    bottom = floor_at(*middle) + rack.base
    surface = None if rack.surface is None else scene.catalogue.construction(rack.surface)
    loads = plan_loads(rack, surface.thickness_m if surface is not None else 0.0)
    loc: Loc = ("racking", index)
    names = [f"{rack.name}/front", f"{rack.name}/rear"] if rack.back_to_back else [rack.name]
    for k, name in enumerate(names):
        parts = _Parts(name)
        _frames(scene, rack, parts)
        _goods(scene, rack, loads, k, parts)
        near = k * (rack.depth + rack.flue_gap)
        if rack.end_guards and k == 0:
            _guards(scene, rack, parts)
        into.boxes.append(_placed(rack, loc, placing, bottom, parts, near, facing_back=k == 1))
        if surface is not None:
            into.faces += _surfaces(rack, name, loc, placing, bottom, near, surface)
        low, high = near, near + rack.depth
        corners = np.array([[0, low], [rack.length, low], [rack.length, high], [0, high]])
        into.racks.append(
            RackMark(
                rack.name,
                placing.points(corners),
                rack.bays,
                bottom,
                bottom + rack.frame_top,
                bool(loads.filled[k].any()),
                rack.kind,
                loads.filled[k].any(axis=(0, 2)),
                facing_back=k == 1,
            )
        )
    into.envelopes.append(_envelope(scene, rack, loc, placing, bottom, loads))


def _top(rack: Racking, loads: Loads) -> float:
    """The highest steel or load above the feet."""
    tops = np.array(rack.level_heights)[:, None, None] + loads.height
    return max(rack.frame_top, float(tops[loads.filled].max(initial=0.0)))


def _placed(
    rack: Racking, loc: Loc, placing: Placing, bottom: float, parts: _Parts, near: float, *, facing_back: bool
) -> Boxes:
    centre, size = np.concatenate(parts.centres), np.concatenate(parts.sizes)
    if facing_back:
        centre[:, 1] = rack.depth - centre[:, 1]
    centre[:, 1] += near
    n = len(centre)
    return Boxes(
        np.column_stack([placing.points(centre[:, :2]), centre[:, 2] + bottom]),
        size,
        np.full(n, placing.turn_rad),
        tuple(parts.kinds),
        tuple(parts.names),
        (rack.name,) * n,
        tuple(parts.materials),
        (loc,) * n,
    )


def _envelope(scene: Scene, rack: Racking, loc: Loc, placing: Placing, bottom: float, loads: Loads) -> Boxes:
    """The whole rack as one box, out to its loads, for what no person can stand in; never cast against."""
    top = _top(rack, loads)
    out = max(rack.overhang, 0.0) if loads.filled.any() else 0.0
    size = np.array([[rack.length, rack.whole_depth + 2 * out, top]])
    middle = placing.points(np.array([[rack.length / 2, rack.whole_depth / 2]]))
    return Boxes(
        np.column_stack([middle, [bottom + top / 2]]),
        size,
        np.array([placing.turn_rad]),
        ("solid",),
        (rack.name,),
        (rack.name,),
        (scene.catalogue.solids["metal"],),
        (loc,),
    )


def _bays_x(rack: Racking) -> Floats:
    """Middles (m) of the bays along the row."""
    return np.arange(rack.bays) * rack.bay_pitch + rack.upright + rack.bay_width / 2


def _frames(scene: Scene, rack: Racking, into: _Parts) -> None:
    """Uprights with beams, posts, or columns with arms and feet."""
    metal = scene.catalogue.solids["metal"]
    frames = np.arange(rack.bays + 1) * rack.bay_pitch + rack.upright / 2
    half, height = rack.upright / 2, rack.frame_top
    off_floor = np.array([z for z in rack.level_heights if z > 0])
    if rack.kind == "cantilever":
        size = np.array([rack.upright, rack.upright, height])
        into.put("upright", "column", metal, frames, np.array([rack.depth - half]), np.array([height / 2]), size)
        reach = rack.depth - rack.upright
        arm = np.array([rack.upright * _ARM, reach, rack.beam_height])
        # The lowest arm is a foot on the floor where there is no more room under it.
        zs = np.maximum(off_floor - rack.beam_height / 2, rack.beam_height / 2)
        into.put("beam", "arm", metal, frames, np.array([reach / 2]), zs, arm)
        return
    size = np.array([rack.upright, rack.upright, height])
    label = "post" if rack.kind == "shelving" else "upright"
    into.put("upright", label, metal, frames, np.array([half, rack.depth - half]), np.array([height / 2]), size)
    if rack.kind == "pallet":
        faces = np.array([BEAM_DEPTH / 2, rack.depth - BEAM_DEPTH / 2])
        beam = np.array([rack.bay_width, BEAM_DEPTH, rack.beam_height])
        into.put("beam", "beam", metal, _bays_x(rack), faces, off_floor - rack.beam_height / 2, beam)


def _goods(scene: Scene, rack: Racking, loads: Loads, row: int, into: _Parts) -> None:
    """Loads of one row, each on its pallet in a pallet rack, a pallet just before what it carries."""
    level, bay, place = np.nonzero(loads.filled[row])
    n = len(level)
    if not n:
        return
    solids = scene.catalogue.solids
    made_of = np.empty(len(loads.materials), object)
    made_of[:] = [solids[name] for name in loads.materials]
    material = made_of[loads.material[row][level, bay, place]]
    share = rack.bay_width / rack.places_per_bay
    x = _bays_x(rack)[bay] + (place - (rack.places_per_bay - 1) / 2) * share
    z = np.array(rack.level_heights)[level]
    height = loads.height[row][level, bay, place]
    labels = np.array([f"{into.row}/level {k + 1}" for k in range(rack.levels)], object)[level]
    if rack.kind == "pallet":
        deep, wide, low = EUR_PALLET
        y = np.full(n, rack.depth / 2)
        pallet, load = np.full((2, n, 3), (wide, deep, low))
        load[:, 2] = height - low
        middles = [np.stack([x, y, z + low / 2], axis=1), np.stack([x, y, z + (low + height) / 2], axis=1)]
        wood = np.full(n, solids["pallet"], object)
        into.centres.append(_alternating(*middles))
        into.sizes.append(_alternating(pallet, load))
        into.kinds += ["pallet", "goods"] * n
        into.names += _alternating(labels, labels).tolist()
        into.materials += _alternating(wood, material).tolist()
        return
    if rack.kind == "cantilever":
        # Long goods run past the columns, clear in front of them: neighbouring loads are one.
        deep, wide = rack.depth - rack.upright, rack.bay_pitch
    else:
        deep, wide = rack.depth, share * _ON_SHELF
    into.centres.append(np.stack([x, np.full(n, deep / 2), z + height / 2], axis=1))
    into.sizes.append(np.column_stack([np.full(n, wide), np.full(n, deep), height]))
    into.kinds += ["goods"] * n
    into.names += labels.tolist()
    into.materials += material.tolist()


def _alternating(one: NDArray[np.generic], two: NDArray[np.generic]) -> Floats:
    """The first of one, the first of two, the second of one, …"""
    joined: Floats = np.stack([one, two], axis=1).reshape(2 * len(one), *one.shape[1:])
    return joined


def _guards(scene: Scene, rack: Racking, into: _Parts) -> None:
    """One across each end, over both rows where back to back."""
    ends = np.array([-_GUARD_OFF - _GUARD_THICK / 2, rack.length + _GUARD_OFF + _GUARD_THICK / 2])
    size = np.array([_GUARD_THICK, rack.whole_depth, _GUARD_HEIGHT])
    metal = scene.catalogue.solids["metal"]
    middle, height = np.array([rack.whole_depth / 2]), np.array([_GUARD_HEIGHT / 2])
    into.put("guard", "end guard", metal, ends, middle, height, size)


def _surfaces(
    rack: Racking, row: str, loc: Loc, placing: Placing, bottom: float, near: float, construction: Construction
) -> list[Face]:
    """Decks between the beams, or shelves between the posts: one sheet a level, with a piece a bay.

    Its top is level with what the loads stand on, so the sheet runs half its thickness lower.
    """
    inset = BEAM_DEPTH if rack.kind == "pallet" else 0.0
    label = "deck" if rack.kind == "pallet" else "shelf"
    middle = _bays_x(rack)
    low, high = near + inset, near + rack.depth - inset
    pieces = shapely.MultiPolygon(
        list(shapely.box(middle - rack.bay_width / 2, low, middle + rack.bay_width / 2, high))
    )
    axes = placing.points(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    along, across = axes[1] - axes[0], axes[2] - axes[0]
    found = []
    for level, height in enumerate(rack.level_heights, 1):
        if height <= 0:
            continue
        z = bottom + height - construction.thickness_m / 2
        frame = Frame(np.array([*placing.at, z]), np.array([*along, 0.0]), np.array([*across, 0.0]))
        found.append(Face(f"{row}/level {level} {label}", rack.name, "deck", frame, pieces, construction, loc))
    return found

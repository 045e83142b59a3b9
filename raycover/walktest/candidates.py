"""Where one could test: places on open floor, in cubicles, on seats, and what needs speak of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.proving.needs import NeedVerdict, PlaceVerdict, Situation
from raycover.proving.sites import cubicle_outlines
from raycover.scene.schema import Scene
from raycover.walktest.floor import Floor
from raycover.walktest.moves import MOVES, ON_FOOT

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
Sort = Literal["floor", "cubicle", "seat", "spot"]
#: A body's middle keeps this far (m) from the edge of an area beyond every room.
_INSET = 0.25
#: Of an area beyond every room so many spots are looked at.
_MOST_SPOTS = 200


@dataclass(frozen=True, eq=False)
class Block:
    """Places (n, 3) of one sort, done by one move: `floor` (index) where they are a storey's raster of places, `names`
    of each place, empty on open floor."""

    sort: Sort
    move: str
    ground: Floats
    names: tuple[str, ...]
    floor: int = -1


@dataclass(frozen=True)
class Candidates:
    """All blocks one after another: `ground` (n, 3), `moves`, `names`, `sorts` (n,); `starts` where each begins."""

    blocks: tuple[Block, ...]
    ground: Floats
    moves: tuple[str, ...]
    names: tuple[str, ...]
    sorts: tuple[Sort, ...]
    starts: tuple[int, ...]

    @classmethod
    def of(cls, blocks: Sequence[Block]) -> Candidates:
        kept = tuple(block for block in blocks if len(block.ground))
        return cls(
            kept,
            np.concatenate([np.zeros((0, 3)), *(block.ground for block in kept)]),
            tuple(block.move for block in kept for _ in block.names),
            tuple(name for block in kept for name in block.names),
            tuple(block.sort for block in kept for _ in block.names),
            tuple(np.cumsum([0, *(len(block.ground) for block in kept)])[:-1].tolist()),
        )

    def span(self, k: int) -> slice:
        return slice(self.starts[k], self.starts[k] + len(self.blocks[k].ground))


@dataclass(frozen=True)
class Wanted:
    """A place of a need: candidates (indices) in it, of which one should be tested: the one with the most margin where
    nobody may trip (`never`), else the one with the least. `missed` as judged."""

    need: str
    place: str
    never: bool
    missed: bool
    within: Index = field(repr=False)


def motions_of(scene: Scene) -> list[str]:
    """Motions that a scene's planes and needs ask for, and any."""
    asked = [plane.motion for plane in scene.planes]
    asked += [need.motion for need in scene.needs if need.motion is not None]
    return list(dict.fromkeys(["any", *asked]))


def find_candidates(
    scene: Scene, building: Building, units: Sequence[Unit], floors: Sequence[Floor], needs: Sequence[NeedVerdict]
) -> tuple[Candidates, list[Wanted]]:
    """Places to choose from, and which of them needs want tested."""
    motions = motions_of(scene)
    declared = {footprint.motion for unit in units for footprint in unit.footprints}
    cubicles = [(f"{row.name} {n}", shapely.Polygon(c), row) for row in scene.cubicles
                for n, c in enumerate(cubicle_outlines(row), 1)]  # fmt: skip
    seated = bool(building.seats or cubicles) and "presence" in declared
    blocks: list[Block] = []
    for f, floor in enumerate(floors):
        names = _names(floor, cubicles)
        keys = [ON_FOOT[m] for m in motions if m != "presence" or not seated]
        blocks += [Block("floor", key, floor.places, names, f) for key in keys if _possible(key, declared)]
    for name, outline, row in cubicles:
        middle = outline.centroid
        room = next((r for r in building.rooms if r.name == row.room), None) or building.room_at(middle.x, middle.y)
        ground = np.array([[middle.x, middle.y, building.ground if room is None else room.floor]])
        keys = ["walk", *(["sit"] if seated and "presence" in motions else [])]
        blocks += [Block("cubicle", key, ground, (name,)) for key in keys]
    if seated and building.seats:
        ground = np.array([[*seat.at, seat.ground] for seat in building.seats])
        blocks.append(Block("seat", "sit", ground, tuple(seat.name for seat in building.seats)))
    wanted: list[tuple[NeedVerdict, PlaceVerdict, int | None]] = []
    for verdict in needs:
        for place in verdict.places:
            spots = _spots(place, building)
            number = None
            if spots is not None:
                number = len(blocks)
                blocks.append(spots)
            wanted.append((verdict, place, number))
    every = Candidates.of(blocks)
    return every, [w for w in (_wanted(v, p, n, blocks, every, floors) for v, p, n in wanted) if len(w.within)]


def _possible(key: str, declared: set[str]) -> bool:
    return key == "walk" or MOVES[key].motion in declared


def _names(floor: Floor, cubicles: Sequence[tuple[str, Any, Any]]) -> tuple[str, ...]:
    names = np.full(len(floor.places), "", object)
    for name, outline, _ in cubicles:
        names[shapely.intersects_xy(outline, floor.places[:, 0], floor.places[:, 1])] = name
    return tuple(names.tolist())


def move_for(place: PlaceVerdict) -> str:
    """What is done in a place of a need."""
    site = place.site
    return "sit" if site.motion == "presence" and site.kind in ("seat", "cubicle") else ON_FOOT[site.motion]


def _spots(place: PlaceVerdict, building: Building) -> Block | None:
    """Spots of a place that no floor holds: beyond every room, or on a stair. None where a floor or a seat does."""
    site = place.site
    if site.kind == "seat" or (site.piece < 0 and building.room_at(*site.ground[0][:2]) is not None):
        return None
    inner = site.outline.buffer(-_INSET)
    fits = np.flatnonzero(shapely.intersects_xy(inner, site.ground[:, 0], site.ground[:, 1]))
    if not len(fits):
        fits = np.array([place.figures.cell])
    order = np.argsort(-place.best_db[fits], kind="stable")
    chosen = fits[order[:_MOST_SPOTS]]
    return Block("spot", move_for(place), site.ground[chosen], (site.name,) * len(chosen))


def _wanted(
    verdict: NeedVerdict, place: PlaceVerdict, number: int | None, blocks: Sequence[Block], every: Candidates,
    floors: Sequence[Floor],
) -> Wanted:  # fmt: skip
    key = move_for(place)
    site = place.site
    if number is not None:
        kept = [block for block in blocks if len(block.ground)]
        span = every.span(kept.index(blocks[number]))
        within = np.arange(span.start, span.stop)
    else:
        there = np.array([move == key for move in every.moves], bool)
        there &= np.abs(every.ground[:, 2] - float(np.median(site.ground[:, 2]))) < 0.5
        there &= shapely.intersects_xy(site.outline, every.ground[:, 0], every.ground[:, 1])
        if site.kind == "seat":
            there &= np.array([name == site.name for name in every.names], bool)
        within = np.flatnonzero(there)
    return Wanted(verdict.need.name, site.name, verdict.need.never, not place.met, within)


def in_situation(verdict: NeedVerdict, scene: Scene) -> bool:
    """Whether a need was judged in the scene as it stands: its state, its doors, its air."""
    found: Situation = verdict.situation
    same = found.scene.cubicles == scene.cubicles and found.scene.conditions == scene.conditions
    return found.scene.state == scene.state and same

"""Where units may hang, and which: every candidate that `place` chooses from."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise, product

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.aisles import Aisle
from raycover.building.parts import Building, RoomShape
from raycover.detectors import Unit, make_unit
from raycover.placing.offers import Candidates, Offer, hung_at, joined
from raycover.proving.hanging import BELOW_CEILING_M, OFF_WALL_M, HangingPlaces
from raycover.scene.devices import DetectorModel, DetectorSpec
from raycover.scene.placing import PITCH, PlacingSpec
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
#: A unit as high as possible hangs this far (m) below its ceiling.
BELOW_TOP = 0.02
#: Where nobody says how high a wall unit hangs (m).
ON_WALL = 2.4
#: Where the scene does not say how far apart: closer than a metre, by halves, until a room has so many places, but
#: never closer than so (m).
_FEW, _CLOSEST = 24, 0.25
#: Racks stand so near (m) to the floor of their room; so near (m) to its line a place lies in the middle of an aisle.
_LEVEL, MIDDLE = 0.5, 0.05


def find_candidates(scene: Scene, building: Building, spec: PlacingSpec, rooms: Sequence[int]) -> Candidates:
    """Every place in some rooms (by index) where a unit offered may hang."""
    hanging = HangingPlaces(scene, building)
    lots = []
    for index in rooms:
        room = building.rooms[index]
        for model in _models(scene, spec):
            price = spec.prices.get(model.name, 1.0)
            for mounting in heights_in(scene, building, spec, model, room):
                for places, turns in _places(hanging, spec, model, room, mounting):
                    for turn, tilt in product(turns, _tilts(spec, model)):
                        lots.append(hung_at(scene, room, index, Offer(model, mounting, turn, price, tilt), places))
    return joined(lots)


def _models(scene: Scene, spec: PlacingSpec) -> Iterator[DetectorModel]:
    names = spec.models
    if names is None:
        names = list(dict.fromkeys(d.model for d in scene.detectors if d.model is not None))
    for name in names:
        yield scene.catalogue.detectors[name]


def as_declared(model: DetectorModel) -> Unit:
    """A unit that hangs as its entry was declared: whether it is round, or looks one way as from a wall."""
    height = next(d.mounting for part in model.parts for d in part.declared or ())
    return make_unit(DetectorSpec(name="unit", model=model.name, at=(0, 0), mounting=height), model, 0)


def heights_in(
    scene: Scene, building: Building, spec: PlacingSpec, model: DetectorModel, room: RoomShape
) -> tuple[float, ...]:
    """Mounting heights (m) at which a unit may hang in a room, within what its entry allows.

    Those asked for, else those at which one is drawn in the room or another hangs on its ceiling, else that ceiling, or
    for units on walls 2.4 m; up to a metre lower where the entry asks for that.
    """
    top = room.height if room.tiles is None else room.tiles
    allowed = model.mounting
    low, high = (0.0, np.inf) if allowed is None else (allowed.from_m, allowed.to_m)
    if spec.mounting is not None:
        wanted = list(spec.mounting)
    else:
        drawn = _drawn_in(scene, building, room, [model.name])
        on_walls = as_declared(model).is_one_sided
        if not drawn and not on_walls:  # as high as what hangs on the same ceiling
            known = scene.catalogue.detectors
            others = {d.model for d in scene.detectors if d.model is not None}
            others = {name for name in others if not as_declared(known[name]).is_one_sided}
            near = _drawn_in(scene, building, room, others)
            drawn = [h for h in near if low <= h <= high and h >= top - BELOW_CEILING_M]
        below = max(min(top - BELOW_TOP, high), top - BELOW_CEILING_M)
        wanted = drawn or [min(ON_WALL, high) if on_walls else below]
    return tuple(dict.fromkeys(round(h, 4) for h in wanted if low - 1e-9 <= h <= min(high, top) + 1e-6))


def _drawn_in(scene: Scene, building: Building, room: RoomShape, models: Collection[str]) -> list[float]:
    """Mounting heights (m) at which units of some models are drawn in a room."""
    mine = [d for d in scene.detectors if d.model in models]
    homes = [d.room or getattr(building.room_at(*d.at, room.floor + d.mounting), "name", None) for d in mine]
    return sorted({d.mounting for d, home in zip(mine, homes, strict=True) if home == room.name})


def _tilts(spec: PlacingSpec, model: DetectorModel) -> tuple[float, ...]:
    """Tilts worth offering: units in a ceiling hang upright."""
    return tuple(spec.tilts_deg) if spec.tilts_deg is not None and as_declared(model).is_one_sided else (0.0,)


def _turns(spec: PlacingSpec, model: DetectorModel) -> tuple[float, ...]:
    """Turns worth offering: one for a round unit, else those asked for."""
    if as_declared(model).is_round:
        return (0.0,)
    return tuple(spec.turns_deg) if spec.turns_deg is not None else (0.0, 90.0)


def _places(
    hanging: HangingPlaces, spec: PlacingSpec, model: DetectorModel, room: RoomShape, mounting: float
) -> Iterator[tuple[Floats, tuple[float, ...]]]:  # fmt: skip
    """Places (n, 2) with the turns offered there."""
    if as_declared(model).is_one_sided:
        yield from _on_walls(hanging, spec, room, mounting)
        return
    turns = _turns(spec, model)
    aisles = aisles_along(hanging, spec, room, mounting)
    if "ceiling" in spec.sorts:
        pitch = PITCH if spec.pitch is None else spec.pitch
        while True:
            places = _grid(room, pitch, spec.from_wall)
            free = free_places(hanging, spec, room, places, mounting)
            kept = places[free & ~beside_middles(spec, aisles, places)]
            if spec.pitch is not None or len(kept) >= _FEW or pitch / 2 < _CLOSEST - 1e-9:
                break
            pitch /= 2
        if len(kept):
            yield kept, turns
    for sort, lines in (
        ("lines", [np.asarray(line, float) for line in spec.lines]),
        ("aisles", [a.middle for a in aisles]),
    ):
        for start, end in (pair for line in lines for pair in pairwise(line) if sort in spec.sorts):
            mine = turns
            if len(turns) > 1 and spec.turns_deg is None:  # a long unit lies along its line, or across it
                bearing = float(np.degrees(np.arctan2(*(end - start)[::-1]))) % 180
                mine = tuple(round(bearing + turn, 3) % 180 for turn in (0.0, 90.0))
            places = _along(start, end, PITCH if spec.pitch is None else spec.pitch)
            kept = places[free_places(hanging, spec, room, places, mounting)]
            if len(kept):
                yield kept, mine


def aisles_along(hanging: HangingPlaces, spec: PlacingSpec, room: RoomShape, mounting: float) -> list[Aisle]:
    """Aisles on a room's floor over whose middle units may hang."""
    if "aisles" not in spec.sorts:
        return []
    found = [aisle for aisle in hanging.aisles if abs(aisle.bottom - room.floor) <= _LEVEL]
    return [
        a for a in found if free_places(hanging, spec, room, _along(a.middle[0], a.middle[1], PITCH), mounting).any()
    ]


def beside_middles(spec: PlacingSpec, aisles: Sequence[Aisle], places: Floats) -> NDArray[np.bool_]:
    """(n,) which places (n, 2) hang over an aisle, but not over its middle, as nobody hangs them unless told to."""
    beside = np.zeros(len(places), bool)
    for aisle in aisles if spec.along is None else ():
        over = shapely.contains_xy(shapely.Polygon(aisle.corners).buffer(MIDDLE), *places.T)
        beside |= over & (shapely.distance(shapely.LineString(aisle.middle), shapely.points(places)) > MIDDLE)
    return beside


def _grid(room: RoomShape, pitch: float, from_wall: float) -> Floats:
    """A lattice of whole steps, centred in the room's bounding box, as an installer would set it out."""
    x0, y0, x1, y1 = room.polygon.bounds

    def steps(low: float, high: float) -> Floats:
        n = max(int(np.floor((high - low - 2 * from_wall) / pitch + 1e-9)), 0)
        return (low + high) / 2 + (np.arange(n + 1) - n / 2) * pitch

    x, y = np.meshgrid(steps(x0, x1), steps(y0, y1))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _along(start: Floats, end: Floats, pitch: float) -> Floats:
    length = float(np.linalg.norm(end - start))
    n = max(int(np.floor(length / pitch + 1e-9)), 0)
    share = 0.5 + (np.arange(n + 1) - n / 2) * (pitch / length if length else 0.0)
    return start + share[:, None] * (end - start)


def free_places(
    hanging: HangingPlaces, spec: PlacingSpec, room: RoomShape, places: Floats, mounting: float,
    *, from_wall: float | None = None,
) -> NDArray[np.bool_]:  # fmt: skip
    """(n,) which places lie in the room, clear of walls and solids, where units are allowed and reach the ceiling."""
    x, y = places.T
    inside = shapely.contains_xy(room.polygon.buffer(-(spec.from_wall if from_wall is None else from_wall)), x, y)
    if spec.within:
        inside &= shapely.contains_xy(shapely.union_all([shapely.Polygon(o) for o in spec.within]), x, y)
    for outline in spec.not_within:
        inside &= ~shapely.intersects_xy(shapely.Polygon(outline), x, y)
    inside &= hanging.top(room, places) >= mounting - 1e-6  # NaN, under a hole in the ceiling, is not
    points = np.column_stack([places, np.full(len(places), room.floor + mounting)])
    if from_wall is None:  # on a ceiling
        inside &= hanging.off_partitions(points, spec.from_wall)
    return np.asarray(inside & hanging.free(points))


def _on_walls(
    hanging: HangingPlaces, spec: PlacingSpec, room: RoomShape, mounting: float
) -> Iterator[tuple[Floats, tuple[float, ...]]]:
    """Along every wall of a room, looking into it, and in its corners, looking out between their walls."""
    pitch = PITCH if spec.pitch is None else spec.pitch
    walls, corners = hanging.along_walls(room, pitch), hanging.in_corners(room)
    places, turns = (np.concatenate([one, other]) for one, other in zip(walls, corners, strict=True))
    if not len(places):
        return
    free = free_places(hanging, spec, room, places, mounting, from_wall=OFF_WALL_M / 2)
    turns = np.round(turns, 1) % 360
    for turn in np.unique(turns[free]).tolist():
        yield places[free & (turns == turn)], (turn,)

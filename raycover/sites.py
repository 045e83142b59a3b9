"""Places that a need speaks of, as points to judge: cells of rooms, areas, aisles, cubicles, flights; seats."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.aisles import Aisle, find_aisles
from raycover.building.faces import Placing
from raycover.building.parts import Building, RoomShape, StairShape
from raycover.content import SHORT, digest
from raycover.detectors import Unit
from raycover.doorways import Entrances, Line
from raycover.enclosed import Enclosures
from raycover.errors import InputError, Problem, did_you_mean
from raycover.rays import LIFT
from raycover.scene.devices import PlaneSpec
from raycover.scene.fittings import Cubicles
from raycover.scene.needs import PERSON_HEIGHTS, NeedSpec, named
from raycover.scene.schema import Scene
from raycover.scene.seating import SEAT_HEIGHTS
from raycover.scene.wiring_checks import members
from raycover.stays import stays_of
from raycover.surfaces import Surface, area_surface, stair_surface, unrolled
from raycover.walking.people import FIGURES

Floats = NDArray[np.floating]
Kind = Literal["cubicle", "flight", "landing", "room", "area", "seat", "aisle", "zone", "door", "way"]
#: A place is looked at in at least about so many cells, but in none finer than `_FINEST` (m).
_CELLS, _FINEST = 150, 0.02
#: In a cubicle the middle of a body keeps this far (m) from panels and walls: half the depth of a body 0.5 × 0.5 m
#: in plan (3GPP TR 38.901's sample body, second hand); in a narrow one this share of half its width.
_BODY, _BODY_SHARE = 0.25, 0.8


@dataclass(frozen=True)
class Site:
    """One place: its cells' ground (n, 3) absolute, the area (n,) each stands for, what is asked of it.

    `surface` is the raster of those cells, with `rows` and `columns` (n,); None for a seat, which is one point.
    `target_m2`: radar cross section of what moves there, None for what each declaration assumes.
    Of aisles and zones `own` names the units that belong to it, `others` those of the need's other ones. Of a door
    `lines` are those walked in by, their steps one after another the cells, or only some of them (`steps`). A way is
    one line; `heard` says of each unit at which steps its notice counts, `hold_s` the hold time of the light there.
    `outline` (shapely, m in plan) is for drawing; on a stair `owner` and `piece` say where it lies.
    """

    name: str
    kind: Kind
    owner: str
    ground: Floats
    area: Floats
    heights: tuple[float, ...]
    motion: str
    outline: Any
    storey: str | None = None
    surface: Surface | None = None
    rows: Any = None
    columns: Any = None
    piece: int = -1
    target_m2: float | None = None
    own: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    lines: tuple[Line, ...] = ()
    steps: NDArray[np.intp] | None = None
    heard: Mapping[str, NDArray[np.bool_]] | None = None
    hold_s: float = 0.0

    def __len__(self) -> int:
        return len(self.ground)

    @property
    def label(self) -> str:
        """Its name where the thing it belongs to is clear: `flight 1`."""
        return self.name.removeprefix(f"{self.owner}, ") if self.piece >= 0 else self.name

    @property
    def short(self) -> str:
        """For a plan: of a way to one of many seats, the seat alone."""
        return self.label.rpartition(", ")[2] if self.kind == "way" else self.label

    @cached_property
    def points(self) -> Floats:
        """(n heights · n cells, 3): all cells at the first height, then at the next."""
        up = np.repeat(np.asarray(self.heights, float), len(self))
        return np.tile(self.ground, (len(self.heights), 1)) + up[:, None] * [0.0, 0.0, 1.0]

    @cached_property
    def lifted(self) -> NDArray[np.bool_]:
        """(n heights · n cells,): points that lie on the floor."""
        return np.repeat(np.asarray(self.heights) < LIFT, len(self))

    @property
    def n_points(self) -> int:
        """How many points are looked at, of a door's lines those of every step."""
        if not self.lines:
            return len(self.points)
        return sum(len(one.track.time_s) * len(FIGURES[one.person].walking) for one in self.lines)

    @cached_property
    def looked_at(self) -> tuple[bytes, Floats]:
        """A digest of the points, or of the steps walked, and the corners (2, 3) of where they lie."""
        if not self.lines:
            what = digest(self.motion, self.heights, self.points, self.lifted, size=SHORT)
            return what, _span(self.points, LIFT)
        tracks = [
            (one.person, one.track.time_s, one.track.position, one.track.heading_rad, one.track.pose)
            for one in self.lines
        ]
        feet = np.concatenate([one.track.position for one in self.lines])
        tall = max(figure.tall for figure in FIGURES.values())
        return digest(tracks, size=SHORT), _span(feet, tall)

    def asked(self, unit: Unit) -> Unit:
        """A unit as it answers to what moves here."""
        return unit.asked_about(self.target_m2)

    @cached_property
    def walked(self) -> Any:
        """(n,) metres past a door's threshold of each step."""
        return self.stepped(np.concatenate([line.track.walked_m for line in self.lines]))

    @cached_property
    def line_of(self) -> Any:
        """(n,) which line a step belongs to."""
        return self.stepped(np.repeat(np.arange(len(self.lines)), [len(line.track.walked_m) for line in self.lines]))

    @property
    def time_s(self) -> Any:
        """(n,) when each step of a way is taken."""
        return self.stepped(self.lines[0].track.time_s)

    def stepped(self, along: Any) -> Any:
        """Of what is known at every step of a door's lines, that at the cells."""
        return along if self.steps is None else along[self.steps]

    def best(self, margin_db: Floats) -> Floats:
        """(…, n): the best over heights of margins (…, n heights · n cells)."""
        shape = np.shape(margin_db)
        return np.asarray(np.reshape(margin_db, (*shape[:-1], len(self.heights), len(self))).max(axis=-2))

    def some(self, index: NDArray[np.integer]) -> Site:
        """The same place looked at in some of its cells only; without a raster."""
        steps = self.steps if self.steps is not None else np.arange(len(self))
        return replace(
            self, ground=self.ground[index], area=self.area[index], surface=None, rows=None, columns=None,
            steps=steps[index] if self.lines else None,
        )  # fmt: skip


def _span(points: Floats, above: float) -> Floats:
    """(2, 3) lowest and highest corner of points (n, 3) and of what is so far (m) above them."""
    low, high = points.min(axis=0), points.max(axis=0)
    return np.array([low, high + np.array([0.0, 0.0, above])])


def need_problems(scene: Scene, building: Building) -> list[Problem]:
    """What only the building knows to be wrong with the needs of a scene's state: racks that do not face each other."""
    here = [(k, need) for k, need in enumerate(scene.needs) if (need.state or scene.state_name) == scene.state]
    sites = Sites(scene, building)
    return [
        problem
        for index, need in here
        for problem in (*sites.unknown_aisles(need, index), *sites.unknown_doors(need, index))
    ]


class Sites:
    """Makes the places of needs in one state of a scene; `units` are those that may belong to a place."""

    def __init__(self, scene: Scene, building: Building, units: Sequence[Unit] = ()) -> None:
        self._scene, self._building, self._units = scene, building, units
        self._enclosures = Enclosures(building)
        self._rooms = {room.name: room for room in building.rooms}

    def of(self, need: NeedSpec, index: int | None) -> tuple[Site, ...]:
        """The places of a need, number `index` among the scene's. Raises InputError where one is not there."""
        kind = need.where
        if index is not None and (unknown := [*self.unknown_aisles(need, index), *self.unknown_doors(need, index)]):
            raise InputError(unknown)
        make = {
            "area": self._area, "rooms": self._rooms_named, "cubicles": self._cubicles, "stairs": self._stairs,
            "desks": self._seats, "tables": self._seats, "aisles": self._aisles,
            "seats": self._seats, "zones": self._zones, "beyond_aisles": self._beyond, "door": self._doors,
            "doors_of": self._doors, "routes": self._routes, None: self._whole_plane,
        }[kind]  # fmt: skip
        made = make(need)
        target = self._plane(need).cross_section_m2
        found = tuple(replace(site, target_m2=target) for site in made if len(site))
        if not found:
            loc = ("needs", index, kind or "plane") if index is not None else ()
            raise InputError(
                [
                    Problem(
                        "place-missing",
                        f'need "{need.name}" has no place to judge in state "{self._scene.state}"',
                        self._scene.position(*loc),
                        "nothing of the kind stands there in that state, or racks and solids fill the whole area",
                    )
                ]
            )
        return found

    def _plane(self, need: NeedSpec) -> PlaneSpec:
        """Heights and motion as a plane: the one named, or a person's."""
        named = next((plane for plane in self._scene.planes if plane.name == need.plane), None)
        if named is not None:
            return named.model_copy(update={} if need.motion is None else {"motion": need.motion})
        seat = need.where in ("desks", "tables", "seats")
        heights = tuple(need.heights) if need.heights is not None else SEAT_HEIGHTS if seat else PERSON_HEIGHTS
        motion = need.motion if need.motion is not None else "presence" if seat else "any"
        if need.height is not None:
            return PlaneSpec(name=need.name, height=need.height, motion=motion)
        return PlaneSpec(name=need.name, target="person", heights=list(heights), motion=motion)

    def _grid(self, area: float) -> float:
        """The scene's cells, or finer ones where the place would have few."""
        return float(min(self._scene.grid, max(np.sqrt(area / _CELLS), _FINEST)))

    def _storey_of(self, room: RoomShape | None) -> str | None:
        if room is None or len(self._building.storeys) < 2:
            return None
        number = self._building.rooms.index(room)
        return next((storey.name for storey in self._building.storeys if number in storey.rooms), None)

    def _flat(
        self, need: NeedSpec, name: str, kind: Kind, owner: str, outline: Any, rooms: list[RoomShape],
        *, ground: float = 0.0, beyond: bool = False, storey: str | None = None, judged: Any = None,
    ) -> Site:  # fmt: skip
        """A place in plan: what of an outline lies in rooms, and `beyond` them on a `ground` (m).

        `judged` is the part of it to look at, all if not given.
        """
        surface = area_surface(
            self._plane(need), outline if judged is None else judged, rooms, self._building, self._enclosures,
            self._grid((outline if judged is None else judged).area),
            name=name, ground=ground, beyond=beyond,
        )  # fmt: skip
        rows, columns = np.nonzero(surface.inside)
        return Site(
            name, kind, owner, surface.points(rows, columns, 0.0), surface.area[rows, columns], surface.heights,
            surface.motion, outline, storey, surface, rows, columns,
        )  # fmt: skip

    def _rooms_named(self, need: NeedSpec) -> Iterator[Site]:
        for name in named("all" if need.rooms is None else need.rooms, list(self._rooms)):
            room = self._rooms[name]
            yield self._flat(need, name, "room", name, room.walkable, [room], storey=self._storey_of(room))

    def _whole_plane(self, need: NeedSpec) -> Iterator[Site]:
        plane = self._plane(need)
        if plane.extent is not None:
            outline = shapely.box(*plane.extent)
            yield self._flat(need, need.name, "area", "", outline, list(self._building.rooms), beyond=True)
            return
        yield from self._rooms_named(need)
        for stairs in self._building.stairs:
            yield from self._pieces(need, stairs)

    def _area(self, need: NeedSpec) -> Iterator[Site]:
        outline = shapely.Polygon(need.area)
        building = self._building
        rooms = [room for room in building.rooms if room.polygon.intersection(outline).area > 1e-6]
        storey = next((s for s in building.storeys if s.name == need.storey), None)
        ground = 0.0 if storey is None else storey.level
        if need.room is not None:
            rooms = [self._rooms[need.room]]
            ground = rooms[0].floor
        elif storey is not None:
            rooms = [room for room in rooms if building.rooms.index(room) in storey.rooms]
        elif need.floor is not None:
            ground = need.floor
            rooms = [room for room in rooms if abs(room.floor - ground) < 0.5]
        extent = self._plane(need).extent
        beyond = (need.never and need.room is None) or extent is not None
        name = need.storey or (self._storey_of(rooms[0]) if rooms else self._level_of(ground))
        yield self._flat(need, need.name, "area", "", outline, rooms, ground=ground, beyond=beyond, storey=name)

    def _level_of(self, ground: float) -> str | None:
        """The storey nearest to a level, where there are several."""
        if len(self._building.storeys) < 2:
            return None
        return min(self._building.storeys, key=lambda storey: abs(storey.level - ground)).name

    def _cubicles(self, need: NeedSpec) -> Iterator[Site]:
        wanted = named(need.cubicles, [row.name for row in self._scene.cubicles])
        for row in self._scene.cubicles:
            if row.name not in wanted:
                continue
            for number, corners in enumerate(cubicle_outlines(row), 1):
                outline = shapely.Polygon(corners)
                middle = outline.centroid
                room = self._room_under(row, middle)
                if need.within is not None and (room is None or room.name not in need.within):
                    continue
                inside = outline if room is None else outline.intersection(room.polygon)
                judged = inside.buffer(-min(_BODY, _BODY_SHARE * min(_sides(corners)) / 2), join_style="mitre")
                yield self._flat(
                    need, f"{row.name} {number}", "cubicle", row.name, inside, [] if room is None else [room],
                    beyond=room is None, storey=self._storey_of(room), judged=judged,
                )  # fmt: skip

    def _in_rooms(self, names: Sequence[str] | None, x: float, y: float, z: float) -> bool:
        """Whether a place lies in one of the rooms named, if any are."""
        return names is None or any(self._rooms[name].holds(x, y, z) for name in names)

    def _room_under(self, row: Cubicles, middle: Any) -> RoomShape | None:
        if row.room is not None:
            return self._rooms[row.room]
        return self._building.room_at(middle.x, middle.y)

    def _stairs(self, need: NeedSpec) -> Iterator[Site]:
        wanted = named(need.stairs, [stairs.name for stairs in self._building.stairs])
        for stairs in self._building.stairs:
            if stairs.name in wanted:
                yield from self._pieces(need, stairs)

    def _pieces(self, need: NeedSpec, stairs: StairShape) -> Iterator[Site]:
        whole = stair_surface(self._plane(need), stairs, self._scene.grid)
        for strip in unrolled(stairs, self._scene.grid):
            piece = stairs.pieces[strip.piece]
            here = slice(strip.column, strip.column + strip.n_columns)
            assert whole.places is not None
            name = f"{stairs.name}, {piece.kind} {strip.piece + 1}"
            part = replace(
                whole, name=name, x=whole.x[here], floor=np.asarray(whole.floor)[:, here], room=whole.room[:, here],
                inside=whole.inside[:, here], area=whole.area[:, here], places=whole.places[:, here],
            )  # fmt: skip
            rows, columns = np.nonzero(part.inside)
            along, across = piece.along[:2] * piece.length, piece.across[:2] * piece.width
            foot = piece.origin[:2]
            corners = [foot, foot + along, foot + along + across, foot + across]
            yield Site(
                name, piece.kind, stairs.name, part.points(rows, columns, 0.0), part.area[rows, columns], part.heights,
                part.motion, shapely.Polygon(corners), None, part, rows, columns, strip.piece,
            )  # fmt: skip

    @cached_property
    def aisles(self) -> tuple[Aisle, ...]:
        """Every aisle there is in this state."""
        return find_aisles(self._building)

    def aisles_named(self, given: Sequence[str] | Literal["all"]) -> list[Aisle]:
        """Aisles by name, all of them if asked; names that none has are left out."""
        if given == "all":
            return list(self.aisles)
        return [aisle for name in given for aisle in self.aisles if name in aisle.names]

    def unknown_aisles(self, need: NeedSpec, index: int) -> list[Problem]:
        """Names among a need's aisles that no aisle has: the racks do not face each other."""
        known = [name for aisle in self.aisles for name in aisle.names[:1]]
        key = "aisles" if need.aisles is not None else "beyond_aisles"
        given = getattr(need, key)
        state = f' in state "{self._scene.state}"' if self._scene.states else ""
        return [
            Problem(
                "unknown-aisle",
                f'there is no aisle "{name}"{state}',
                self._scene.position("needs", index, key, k),
                did_you_mean(name, known) if known else "no two racks face each other 1 to 6 m apart",
            )
            for k, name in enumerate(() if given in (None, "all") else given)
            if not self.aisles_named([name])
        ]

    def _aisles(self, need: NeedSpec) -> Iterator[Site]:
        chosen = self.aisles_named(need.aisles or ())
        owned = [self._units_over(aisle) for aisle in chosen]
        for aisle, own in zip(chosen, owned, strict=True):
            room = self._room_of(aisle)
            rooms = [] if room is None else self._level_rooms(room, aisle.outline)
            site = self._flat(
                need, aisle.name, "aisle", "", aisle.outline, rooms, ground=aisle.bottom, beyond=room is None,
                storey=self._storey_of(room),
            )  # fmt: skip
            yield replace(site, own=own, others=_without(own, owned))

    def _beyond(self, need: NeedSpec) -> Iterator[Site]:
        """Of each room with aisles the floor outside them; units over those aisles are all others' there."""
        chosen = self.aisles_named(need.beyond_aisles or ())
        owned = [self._units_over(aisle) for aisle in chosen]
        homes = [self._room_of(aisle) for aisle in chosen]
        for room in dict.fromkeys(room.name for room in homes if room is not None):
            shape = self._rooms[room]
            mine = [a.outline for a, home in zip(chosen, homes, strict=True) if home is shape]
            outline = shape.walkable.difference(shapely.union_all(mine).buffer(1e-6))
            site = self._flat(
                need, f"{room}, beyond the aisles", "area", room, outline, [shape], storey=self._storey_of(shape)
            )
            theirs = [own for own, home in zip(owned, homes, strict=True) if home is shape]
            yield replace(site, others=_without((), theirs))

    def _room_of(self, aisle: Aisle) -> RoomShape | None:
        x, y = (float(v) for v in aisle.middle.mean(axis=0))
        return self._building.room_at(x, y, aisle.bottom + 0.1)

    def _level_rooms(self, room: RoomShape, outline: Any) -> list[RoomShape]:
        """Rooms of a room's level that an outline lies in."""
        level = [other for other in self._building.rooms if other.floor == room.floor]
        return [other for other in level if other.polygon.intersection(outline).area > 1e-6]

    def _units_over(self, aisle: Aisle) -> tuple[str, ...]:
        """Names of the units that hang over an aisle, on its storey."""
        quad = shapely.Polygon(aisle.corners).buffer(1e-6)
        room = self._room_of(aisle)
        return tuple(
            unit.name
            for unit in self._units
            if quad.contains(shapely.Point(unit.position[:2]))
            and (room is None or room.floor <= unit.position[2] + 1e-6 <= room.floor + room.height + 2e-6)
        )

    def _zones(self, need: NeedSpec) -> Iterator[Site]:
        with_floor = [zone for zone in self._scene.zones if zone.area is not None or zone.rooms is not None]
        wanted = named(need.zones, [zone.name for zone in with_floor])
        zones = [zone for zone in with_floor if zone.name in wanted]
        owned = [tuple(members(self._scene, zone.detectors)) for zone in zones]
        for zone, own in zip(zones, owned, strict=True):
            rooms = list(self._building.rooms) if zone.rooms is None else [self._rooms[name] for name in zone.rooms]
            outline = shapely.union_all([room.walkable for room in rooms])
            if zone.area is not None:
                area = shapely.Polygon(zone.area)
                rooms = [room for room in rooms if room.polygon.intersection(area).area > 1e-6]
                outline = area.intersection(shapely.union_all([room.walkable for room in rooms]))
            site = self._flat(need, zone.name, "zone", "", outline, rooms, storey=self._storey_of(rooms[0]))
            yield replace(site, own=own, others=_without(own, owned))

    def _doors(self, need: NeedSpec) -> Iterator[Site]:
        assert need.first_within is not None
        entrances = Entrances(self._scene, self._building)
        if need.door is not None:
            found = entrances.named(need.door, need.first_within)
        else:
            found = entrances.into(named(need.doors_of, list(self._rooms)), need.first_within)
        homes = self._building.rooms_at(np.array([unit.position for unit in self._units]).reshape(-1, 3))
        for entrance in found:
            room = entrance.room
            own = tuple(
                unit.name
                for unit, home in zip(self._units, homes, strict=True)
                if home >= 0 and self._building.rooms[home] is room
            )
            ground = np.concatenate([line.track.position for line in entrance.lines])
            marks = [shapely.LineString(line.asked(need.first_within)).buffer(0.03) for line in entrance.lines]
            yield Site(
                entrance.name, "door", room.name, ground, np.ones(len(ground)), FIGURES["adult"].walking, "any",
                shapely.union_all(marks), self._storey_of(room), own=own or tuple(unit.name for unit in self._units),
                lines=entrance.lines,
            )  # fmt: skip

    def _routes(self, need: NeedSpec) -> Iterator[Site]:
        assert need.routes is not None
        for stay in stays_of(self._scene, self._building, self._units, need.routes):
            track, figure = stay.track, FIGURES[stay.way.person]
            names = [unit.name for unit in self._units]
            middle = track.position[len(track.position) // 2]
            room = self._building.room_at(float(middle[0]), float(middle[1]), float(middle[2]) + 0.1)
            yield Site(
                stay.way.name, "way", "", track.position, np.ones(len(track.position)), figure.walking, "any",
                shapely.LineString(stay.way.line[:, :2]).buffer(0.03), self._storey_of(room),
                lines=(Line(stay.way.name, track, track.length_m, stay.way.person),),
                heard=dict(zip(names, stay.counts, strict=True)), hold_s=stay.hold_s,
            )  # fmt: skip

    def unknown_doors(self, need: NeedSpec, index: int) -> list[Problem]:
        """A need's door that is none."""
        if need.door is None:
            return []
        entrances = Entrances(self._scene, self._building)
        if need.door in entrances.names:
            return []
        help_ = did_you_mean(need.door, entrances.names) if entrances.names else "the scene has no doors to walk in by"
        where = self._scene.position("needs", index, "door")
        return [Problem("unknown-door", f'unknown door "{need.door}"', where, help_)]

    def _seats(self, need: NeedSpec) -> Iterator[Site]:
        plane = self._plane(need)
        owners = [
            name
            for kind in ("desks", "tables")
            for name in named(
                "all" if need.seats is not None else getattr(need, kind), [r.name for r in getattr(self._scene, kind)]
            )
        ]
        rooms = need.within if need.seats in (None, "all") else need.seats
        for seat in self._building.seats:
            if seat.owner in owners and self._in_rooms(rooms, *seat.at, seat.ground + 0.1):
                ground = np.array([[*seat.at, seat.ground]])
                room = self._building.room_at(*seat.at, seat.ground + 0.1)
                yield Site(
                    seat.name, "seat", seat.owner, ground, np.ones(1), plane.target_heights, plane.motion,
                    shapely.Point(seat.at).buffer(0.25), self._storey_of(room),
                )  # fmt: skip


def _without(own: Sequence[str], every: Sequence[Sequence[str]]) -> tuple[str, ...]:
    """Names in any of some lists that are not one's own."""
    return tuple(dict.fromkeys(name for names in every for name in names if name not in own))


def _sides(corners: Floats) -> tuple[float, float]:
    return float(np.linalg.norm(corners[1] - corners[0])), float(np.linalg.norm(corners[2] - corners[1]))


def cubicle_outlines(row: Cubicles) -> Iterator[Floats]:
    """Corners (4, 2) in plan of each cubicle of a row, left to right, then those of the row behind."""
    placing = Placing(row.at, row.turn_deg)
    for side in (1.0, -1.0) if row.back_to_back else (1.0,):
        x = 0.0
        for width, depth in row.sizes:
            y = side * depth
            yield placing.points(np.array([(x, 0.0), (x + width, 0.0), (x + width, y), (x, y)]))
            x += width

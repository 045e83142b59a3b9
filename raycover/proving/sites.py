"""Places that a need speaks of, as points to judge: cells of rooms, areas, aisles, cubicles, flights; seats."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal, TypeVar, cast

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.aisles import Aisle, find_aisles, why_none
from raycover.building.faces import Placing
from raycover.building.parts import Building, RoomShape, StairShape
from raycover.content import Located
from raycover.detectors import Unit
from raycover.errors import InputError, Problem, did_you_mean
from raycover.proving.doorways import Entrance, Entrances, Line
from raycover.proving.owning import homes_of, own_of, without
from raycover.proving.stays import longest_hold_s, stays_of, walked_ways
from raycover.rays.enclosed import Enclosures
from raycover.rays.ray_scene import LIFT
from raycover.scene.devices import PlaneSpec
from raycover.scene.fittings import Cubicles
from raycover.scene.needs import IN_A_ROOM, PERSON_HEIGHTS, NeedSpec, named
from raycover.scene.routes import Person
from raycover.scene.schema import Scene
from raycover.scene.seating import SEAT_HEIGHTS
from raycover.scene.wiring_checks import members
from raycover.solving.surfaces import Surface, area_surface, stair_surface, unrolled
from raycover.walking.declared import Steps
from raycover.walking.people import FIGURES

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Made = TypeVar("Made")
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
    `own` names the units that belong to it where the need asks whose, `others` those of its other places. Of a door
    `lines` are those walked in by, their steps one after another the cells, or only some of them (`steps`). A way is
    one line through `rooms` (t,), by index, whose units count there; `hold_s` is the hold time of the light.
    `floor` (shapely) is that of the aisle which an end leads into.
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
    rooms: NDArray[np.integer] | None = None
    hold_s: float = 0.0
    floor: Any = None

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

    @property
    def on_plan(self) -> str:
        """As `short`, of a seat its number alone: its desk or table stands beside it."""
        return self.short.rpartition("/seat ")[2] if self.kind in ("seat", "way") else self.short

    @cached_property
    def points(self) -> Floats:
        """(n heights · n cells, 3): all cells at the first height, then at the next."""
        up = np.repeat(np.asarray(self.heights, float), len(self))
        return np.tile(self.ground, (len(self.heights), 1)) + up[:, None] * [0.0, 0.0, 1.0]

    @cached_property
    def lifted(self) -> NDArray[np.bool_]:
        """(n heights · n cells,): points that lie on the floor."""
        return np.repeat(np.asarray(self.heights) < LIFT, len(self))

    @cached_property
    def looked_at(self) -> Located:
        """What is looked at: the points, or the steps walked."""
        if not self.lines:
            return Located.of((self.motion, self.heights, self.points, self.lifted), self.points, LIFT)
        feet = np.concatenate([steps.position for _, steps in self.afoot.values()])
        tall = max(figure.tall for figure in FIGURES.values())
        return Located.of((len(self), list(self.afoot.items())), feet, tall)

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

    @cached_property
    def step_of(self) -> Any:
        """(n,) which step of its own line a step is."""
        return self.stepped(np.concatenate([np.arange(len(line.track.walked_m)) for line in self.lines]))

    @cached_property
    def afoot(self) -> dict[Person, tuple[NDArray[np.intp], Steps]]:
        """Of each kind of person that walks here: which of the cells are its steps, and those steps."""
        found = {}
        for person in dict.fromkeys(line.person for line in self.lines):
            mine = [k for k, line in enumerate(self.lines) if line.person == person]
            cells = [np.flatnonzero(self.line_of == k) for k in mine]
            taken = [Steps.of(self.lines[k].track, self.step_of[at]) for k, at in zip(mine, cells, strict=True)]
            found[person] = np.concatenate(cells), Steps.join(taken)
        return found

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

    @classmethod
    def joined(cls, sites: Sequence[Site]) -> Site:
        """Places that are looked at alike as one, cell after cell; without a raster. Walks by doors, or ways."""
        first = sites[0]
        if len(sites) == 1:
            return first
        ground, area = (np.concatenate([getattr(site, key) for site in sites]) for key in ("ground", "area"))
        found = replace(first, ground=ground, area=area, surface=None, rows=None, columns=None)
        if not first.lines:
            return found
        lengths = [sum(len(line.track.walked_m) for line in site.lines) for site in sites]
        steps = [np.arange(n) if site.steps is None else site.steps for site, n in zip(sites, lengths, strict=True)]
        before = np.cumsum([0, *lengths[:-1]])
        return replace(
            found,
            lines=tuple(line for site in sites for line in site.lines),
            steps=np.concatenate([some + start for some, start in zip(steps, before, strict=True)]),
            rooms=None if first.rooms is None else np.concatenate([site.rooms for site in sites]),
        )


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
        self._made: dict[object, Any] | None = None

    def told(self, scene: Scene, units: Sequence[Unit], known: Sequence[Site] = ()) -> Sites:
        """The places of one need with other units, those of a scene that differs in detectors and zones alone.

        What does not hang on the units is made once for all that are told so; `known` are places made before.
        """
        if self._made is None:
            self._made = {site.name: site for site in known if site.surface is not None}
        other = copy(self)
        other._scene, other._units = scene, units
        return other

    def _once(self, key: object, make: Callable[[], Made]) -> Made:
        if self._made is None:
            return make()
        if key not in self._made:
            self._made[key] = make()
        return cast(Made, self._made[key])

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
        made = self._doors(need) if need.first_within is not None else make(need)
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
        if need.whose is not None and kind in IN_A_ROOM:
            own = own_of([site.ground for site in found], self._units, self._building)
            found = tuple(replace(site, own=names) for site, names in zip(found, own, strict=True))
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
        return self._once(
            name,
            lambda: self._flat_made(
                need, name, kind, owner, outline, rooms, ground, beyond, storey, outline if judged is None else judged
            ),
        )

    def _flat_made(
        self, need: NeedSpec, name: str, kind: Kind, owner: str, outline: Any, rooms: list[RoomShape], ground: float,
        beyond: bool, storey: str | None, judged: Any,
    ) -> Site:  # fmt: skip
        surface = area_surface(
            self._plane(need), judged, rooms, self._building, self._enclosures, self._grid(judged.area),
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
                why_none(self._building, name)
                or (did_you_mean(name, known) if known else "no two racks face each other 1 to 6 m apart"),
            )
            for k, name in enumerate(() if given in (None, "all") else given)
            if not self.aisles_named([name])
        ]

    def _aisles(self, need: NeedSpec) -> Iterator[Site]:
        chosen = self.aisles_named(need.aisles or ())
        belonging = self.belonging(need)
        for aisle in chosen:
            room = self._room_of(aisle)
            rooms = [] if room is None else self._level_rooms(room, aisle.outline)
            site = self._flat(
                need, aisle.name, "aisle", "", aisle.outline, rooms, ground=aisle.bottom, beyond=room is None,
                storey=self._storey_of(room),
            )  # fmt: skip
            own, others = belonging[aisle.name]
            yield replace(site, own=self._named(own), others=self._named(others))

    def _beyond(self, need: NeedSpec) -> Iterator[Site]:
        """Of each room with aisles the floor outside them; units over those aisles are all others' there."""
        chosen = self.aisles_named(need.beyond_aisles or ())
        belonging = self.belonging(need)
        homes = [self._room_of(aisle) for aisle in chosen]
        for room in dict.fromkeys(room.name for room in homes if room is not None):
            shape = self._rooms[room]
            mine = [a.outline for a, home in zip(chosen, homes, strict=True) if home is shape]
            outline = shape.walkable.difference(shapely.union_all(mine).buffer(1e-6))
            site = self._flat(
                need, f"{room}, beyond the aisles", "area", room, outline, [shape], storey=self._storey_of(shape)
            )
            yield replace(site, others=self._named(belonging[site.name][1]))

    def _room_of(self, aisle: Aisle) -> RoomShape | None:
        x, y = (float(v) for v in aisle.middle.mean(axis=0))
        return self._building.room_at(x, y, aisle.bottom + 0.1)

    def _level_rooms(self, room: RoomShape, outline: Any) -> list[RoomShape]:
        """Rooms of a room's level that an outline lies in."""
        level = [other for other in self._building.rooms if other.floor == room.floor]
        return [other for other in level if other.polygon.intersection(outline).area > 1e-6]

    def belonging(self, need: NeedSpec) -> dict[str, tuple[Bools, Bools]]:
        """{place: which units (n,) are its own, which are the others'} of a need of aisles, or of the floor beyond.

        A unit is an aisle's own where it hangs over it, on its storey; the others' are those over any other aisle of
        the scene, whether the need names that one or not.
        """
        if need.aisles is not None:
            over, _ = self._over(self.aisles)
            some = over.any(axis=0)
            own = dict(zip((aisle.name for aisle in self.aisles), over, strict=True))
            return {a.name: (own[a.name], some & ~own[a.name]) for a in self.aisles_named(need.aisles)}
        over, homes = self._over(self.aisles_named(need.beyond_aisles or ()))
        none = np.zeros(len(self._units), bool)
        rooms = {room.name: room for room in homes if room is not None}
        return {
            f"{name}, beyond the aisles": (none, np.asarray(over[[home is room for home in homes]].any(axis=0)))
            for name, room in rooms.items()
        }

    def _over(self, aisles: Sequence[Aisle]) -> tuple[Bools, list[RoomShape | None]]:
        """(aisles, units) which units hang over which aisles, and the rooms that these lie in."""
        homes = [self._room_of(aisle) for aisle in aisles]
        x, y, z = np.array([unit.position for unit in self._units]).reshape(-1, 3).T
        over = np.zeros((len(aisles), len(self._units)), bool)
        for k, (aisle, room) in enumerate(zip(aisles, homes, strict=True)):
            over[k] = shapely.contains_xy(shapely.Polygon(aisle.corners).buffer(1e-6), x, y)
            if room is not None:
                over[k] &= (room.floor <= z + 1e-6) & (z + 1e-6 <= room.floor + room.height + 2e-6)
        return over, homes

    def _named(self, chosen: Bools) -> tuple[str, ...]:
        return tuple(self._units[k].name for k in np.flatnonzero(chosen).tolist())

    def _zones(self, need: NeedSpec) -> Iterator[Site]:
        with_floor = [zone for zone in self._scene.zones if zone.area is not None or zone.rooms is not None]
        wanted = named(need.zones, [zone.name for zone in with_floor])
        zones = [zone for zone in with_floor if zone.name in wanted]
        owned = {zone.name: tuple(members(self._scene, zone.detectors)) for zone in self._scene.zones}
        for zone in zones:
            rooms = list(self._building.rooms) if zone.rooms is None else [self._rooms[name] for name in zone.rooms]
            outline = shapely.union_all([room.walkable for room in rooms])
            if zone.area is not None:
                area = shapely.Polygon(zone.area)
                rooms = [room for room in rooms if room.polygon.intersection(area).area > 1e-6]
                outline = area.intersection(shapely.union_all([room.walkable for room in rooms]))
            site = self._flat(need, zone.name, "zone", "", outline, rooms, storey=self._storey_of(rooms[0]))
            yield replace(site, own=owned[zone.name], others=without(owned[zone.name], list(owned.values())))

    def _doors(self, need: NeedSpec) -> Iterator[Site]:
        within = need.first_within
        assert within is not None
        found = self._once("entrances", lambda: self._entrances(need, within))
        homes = homes_of(self._units, self._building)
        for entrance in found:
            room = entrance.room
            own = tuple(
                unit.name
                for unit, home in zip(self._units, homes, strict=True)
                if home >= 0 and self._building.rooms[home] is room and (need.whose is None or entrance.is_under(unit))
            )
            ground = np.concatenate([line.track.position for line in entrance.lines])
            marks = [shapely.LineString(line.asked(within)).buffer(0.03) for line in entrance.lines]
            yield Site(
                entrance.name, "door", room.name, ground, np.ones(len(ground)), FIGURES["adult"].walking, "any",
                shapely.union_all(marks), self._storey_of(room), lines=entrance.lines, floor=entrance.floor,
                own=own if own or need.whose is not None else tuple(unit.name for unit in self._units),
            )  # fmt: skip

    def _entrances(self, need: NeedSpec, within: float) -> list[Entrance]:
        entrances = Entrances(self._scene, self._building)
        if need.aisles is not None:
            return entrances.at_ends(self.aisles_named(need.aisles), within)
        if need.door is not None:
            return entrances.named(need.door, within)
        return entrances.into(named(need.doors_of, list(self._rooms)), within)

    def _routes(self, need: NeedSpec) -> Iterator[Site]:
        given = need.routes
        assert given is not None
        walked = self._once(longest_hold_s(self._scene), lambda: walked_ways(self._scene, self._building, given))
        for stay in stays_of(self._scene, self._building, self._units, walked):
            track, figure = stay.track, FIGURES[stay.way.person]
            middle = track.position[len(track.position) // 2]
            room = self._building.room_at(float(middle[0]), float(middle[1]), float(middle[2]) + 0.1)
            yield Site(
                stay.way.name, "way", "", track.position, np.ones(len(track.position)), figure.walking, "any",
                shapely.LineString(stay.way.line[:, :2]).buffer(0.03), self._storey_of(room),
                lines=(Line(stay.way.name, track, track.length_m, stay.way.person),),
                rooms=stay.rooms, hold_s=stay.hold_s,
            )  # fmt: skip

    def unknown_doors(self, need: NeedSpec, index: int) -> list[Problem]:
        """A need's door that is none."""
        return [] if need.door is None else Entrances(self._scene, self._building).unknown(need, index)

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

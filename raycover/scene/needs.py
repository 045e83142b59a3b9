"""What a scene needs of its detectors: where people must be noticed, and where nobody may trip a unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.scene.devices import Share
from raycover.scene.fittings import DoorState
from raycover.scene.quantities import Air, Coordinate, Name, Number, Point2, PositiveLength, ShortName, Strict
from raycover.scene.routes import PlaceText

#: Keys that say where a need holds.
WHERE = (
    "area", "rooms", "cubicles", "stairs", "desks", "tables", "seats", "aisles", "beyond_aisles", "zones", "door",
    "doors_of", "routes",
)  # fmt: skip
#: Of those the sorts of place whose own units are the ones that hang in the same room.
IN_A_ROOM = ("rooms", "cubicles", "desks", "tables", "seats")
#: Keys that may stand beside `set`: where the set holds, and what it lets be said otherwise.
BESIDE_SET = (
    "name", "rooms", "stairs", "aisles", "zones", "routes", "share", "largest_gap", "by", "clear_db", "detectors",
    "whose", "state", "ambient_c",
)  # fmt: skip
#: Heights (m) of a person's parts, where a need names no plane and no height: those of a plane's person.
PERSON_HEIGHTS = (0.3, 1.0, 1.6)
#: A unit that must not trip keeps this much (dB) below its limit unless the need says otherwise: the usual reserve.
CLEAR_DB = 3.0
Names = Annotated[list[Name], Field(min_length=1, max_length=1000)]
#: Names, or all there are.
NamesOrAll = Names | Literal["all"]
#: An aisle's name holds a slash, which no other name may.
AisleName = Annotated[str, Field(min_length=1, max_length=200)]
SetName = Annotated[str, Field(min_length=1, max_length=40)]
Words = Annotated[str, Field(min_length=1, max_length=600)]
Aisles = Annotated[list[AisleName], Field(min_length=1, max_length=1000)] | Literal["all"]


class NeedSpec(Strict):
    """Where people must be noticed, how much of it, or where nobody may be.

    `cubicles`, `stairs`, `rooms`, `desks` and `tables` are places each: every cubicle, every flight and landing,
    every room, every seat is judged by itself.
    """

    name: ShortName = Field("", description="name of the need; with set only if it shall be called otherwise")
    set: SetName | None = Field(None, description="a ready-made set of needs, in place of one: open office, say")
    area: list[Point2] | None = Field(None, max_length=2000, description="outline [x, y] of an area, any polygon")
    rooms: NamesOrAll | None = Field(None, description="rooms by name, each a place; or all")
    cubicles: NamesOrAll | None = Field(None, description="rows of cubicles by name, each cubicle a place; or all")
    stairs: NamesOrAll | None = Field(None, description="stairs by name, each flight and landing a place; or all")
    desks: NamesOrAll | None = Field(None, description="rows of desks by name, each seat a place; or all")
    tables: NamesOrAll | None = Field(None, description="tables by name, each seat a place; or all")
    seats: NamesOrAll | None = Field(None, description="rooms by name, each seat at a desk or table in them a place")
    within: Names | None = Field(None, description="of cubicles, desks, tables: only what stands in these rooms")
    aisles: Aisles | None = Field(
        None, description="floor between two racks, R1/R2, or a rack and a wall, R1/wall 2, each a place; all of them"
    )
    beyond_aisles: Aisles | None = Field(None, description="all floor of their rooms that lies outside these aisles")
    zones: NamesOrAll | None = Field(None, description="zones that say their floor, each a place; or all of those")
    door: PlaceText | None = Field(None, description="a door to come in by: its name, ROOM/opening N or ROOM/edge N")
    doors_of: NamesOrAll | None = Field(None, description="rooms by name, each door of theirs a place; or all")
    routes: NamesOrAll | None = Field(
        None, description="routes by name, each a place: nobody on them goes unnoticed for the hold time; or all"
    )
    first_within: PositiveLength | None = Field(
        None,
        description="who comes in by a door, or into an aisle by an end, is noticed within so many metres of that",
    )
    whose: Literal["own", "others"] | None = Field(
        None,
        description="which units count at each: of aisles and zones its own, or those of every other; of rooms, "
        "cubicles and seats own, those that hang in the same room",
    )
    largest_area: Annotated[Number, Field(gt=0, le=1e6)] | None = Field(
        None, description="of zones: how large each may be, in m²"
    )
    room: str | None = Field(None, description="of an area where rooms lie one above another: its room")
    storey: str | None = Field(None, description="of an area where rooms lie one above another: its storey")
    floor: Coordinate | None = Field(
        None, description="of an area outside every room: height of its ground above z = 0"
    )
    doors: DoorState | None = Field(None, description="of cubicles: how all their doors stand; as drawn if not given")
    plane: str | None = Field(None, description="a plane of the scene, for its heights and motion")
    height: Coordinate | None = Field(None, description="or a height above the floor")
    heights: list[Coordinate] | None = Field(
        None, min_length=1, max_length=12, description="or heights of a person's parts; 0.3, 1.0 and 1.6 m if not given"
    )
    motion: Literal["any", "tangential", "radial", "presence"] | None = Field(
        None, description="which motion; the plane's, presence on seats, else any"
    )
    share: Share | None = Field(None, description="least share of each place that is seen; 1 if nothing is asked")
    largest_gap: PositiveLength | None = Field(None, description="widest circle that a gap may hold")
    never: bool = Field(False, strict=True, description="true: nobody there may trip a unit")
    clear_db: Annotated[Number, Field(ge=0, le=60)] | None = Field(
        None, description="with never: how far below its limit a unit stays, 3 dB if not given"
    )
    detectors: Names | None = Field(None, description="the units that count, all if not given")
    state: str | None = Field(None, description="state of the scene, the one drawn if not given")
    by: Annotated[int, Field(ge=1, le=20, strict=True)] = Field(
        1, description="how many different units must see every spot of it"
    )
    ambient_c: Air | None = Field(
        None, description="air temperature it is judged at, °C; that of the conditions if not given"
    )
    why: Words | None = Field(None, description="why it is asked, in words for the proof")
    source: Words | None = Field(None, description="whose word that is: a brief, a code, ours")

    @property
    def where(self) -> str | None:
        """The key that says where; None for all of a plane."""
        return next((key for key in WHERE if getattr(self, key) is not None), None)

    @property
    def least_share(self) -> float | None:
        """The share asked; all of it where nothing else is asked; None where only gaps or the area count."""
        if self.walked:
            return None
        if self.share is not None or (self.largest_gap is None and self.largest_area is None):
            return 1.0 if self.share is None else self.share
        return None

    @property
    def walked(self) -> bool:
        """Whether it is judged by walking: in by a door, or along routes."""
        return self.first_within is not None or self.routes is not None

    @property
    def asks_who_trips(self) -> bool:
        """Whether it tells units that may see a place from those that may not: of aisles and zones."""
        return self.whose is not None and self.where not in IN_A_ROOM and not self.walked

    @property
    def only_area(self) -> bool:
        """Whether it asks nothing of units: how large a zone is."""
        return self.largest_area is not None and self.least_share is None and self.largest_gap is None

    @property
    def reserve_db(self) -> float:
        """With never: how far (dB) below its limit a unit must stay."""
        return CLEAR_DB if self.clear_db is None else self.clear_db

    @model_validator(mode="after")
    def _sound(self) -> NeedSpec:
        if self.set is not None:
            for key in sorted(self.model_fields_set - {"set", *BESIDE_SET}):
                raise _wrong("not_for_set", f"{key} does not go with a set: its needs say that themselves",
                             f"beside set stand {', '.join(BESIDE_SET[:-1])} and {BESIDE_SET[-1]}", key)  # fmt: skip
            return self
        if not self.name:
            raise _wrong("missing_key", 'missing key "name"', "name the need, or write set: for a ready-made set")
        given = [key for key in WHERE if getattr(self, key) is not None]
        if len(given) > 1:
            raise _wrong("one_where", f"a need holds in one sort of place, not in {' and '.join(given)}",
                         "write one need for each", given[1])  # fmt: skip
        if not given and self.plane is None:
            raise _wrong("no_where", "the need does not say where",
                         f"give it {', '.join(WHERE[:-1])} or {WHERE[-1]}, or a plane for all of it")  # fmt: skip
        heights = [key for key in ("plane", "height", "heights") if getattr(self, key) is not None]
        if len(heights) > 1:
            raise _wrong("one_height", f"a need has one of plane, height and heights, not {' and '.join(heights)}",
                         "take one out", heights[1])  # fmt: skip
        for key, owner in (("room", "area"), ("storey", "area"), ("floor", "area"), ("doors", "cubicles")):
            if getattr(self, key) is not None and owner not in given:
                raise _wrong("not_for_this", f"{key} goes with {owner} only", "take it out", key)
        if self.whose is not None and not {"aisles", "beyond_aisles", "zones", *IN_A_ROOM} & set(given):
            raise _wrong("not_for_this", "whose goes with aisles, beyond_aisles, zones, rooms, cubicles and seats",
                         "take it out", "whose")  # fmt: skip
        if self.whose == "others" and set(IN_A_ROOM) & set(given):
            raise _wrong("not_for_this", f"of {given[0]} only own units are told apart, those that hang in the room",
                         "write whose: own, or name the units that count: detectors: [NAME]", "whose")  # fmt: skip
        if self.whose == "own" and self.beyond_aisles is not None:
            raise _wrong("not_for_this", "no unit has the floor beyond its aisle as its own",
                         "write whose: others, or aisles", "whose")  # fmt: skip
        doors = {"door", "doors_of"} & set(given)
        within = self.first_within is not None
        if within != bool(doors) and not (within and "aisles" in given):
            raise _wrong("not_for_this", "first_within goes with door or doors_of, and they with it, or with aisles",
                         "write, for example, doors_of: [Office], first_within: 1.5",
                         "first_within" if within else given[0])  # fmt: skip
        if within and self.whose == "others":
            raise _wrong("not_for_this", "nobody asks when the units of others notice first",
                         "write whose: own, or take it out", "whose")  # fmt: skip
        walked = within or "routes" in given
        for key in ("share", "largest_gap", "by", "never", "plane", "height", "heights", "motion") if walked else ():
            if key in self.model_fields_set:
                raise _wrong("not_for_this", f"people are walkers here, as in walks: {key} says nothing",
                             "take it out", key)  # fmt: skip
        if self.largest_area is not None and "zones" not in given:
            raise _wrong("not_for_this", "largest_area goes with zones only", "take it out", "largest_area")
        if self.within is not None and not {"cubicles", "desks", "tables"} & set(given):
            raise _wrong("not_for_this", "within goes with cubicles, desks and tables", "take it out", "within")
        if sum(getattr(self, key) is not None for key in ("room", "storey", "floor")) > 1:
            raise _wrong("one_ground", "an area has one of room, storey and floor", "keep the one that says it best")
        if self.never:
            for key, why in (
                ("share", "nobody may be noticed anywhere"),
                ("largest_gap", "gaps are what it wants"),
                ("by", "one unit that trips is one too many"),
            ):
                if key in self.model_fields_set and getattr(self, key) is not None:
                    raise _wrong("never_with_share", f"never takes no {key}: {why}",
                                 "take it out; clear_db says how far below the limit units must stay", key)  # fmt: skip
        elif self.clear_db is not None:
            raise _wrong("not_for_this", "clear_db goes with never only", "take it out, or write never: true",
                         "clear_db")  # fmt: skip
        if self.by > 1 and self.detectors is not None and self.by > len(self.detectors):
            raise _wrong("by_too_many", f"by: {self.by} asks for more units than the {len(self.detectors)} that count",
                         "name more detectors, or ask for fewer", "by")  # fmt: skip
        if self.area is not None and len(self.area) < 3:
            raise _wrong("empty_area", f"an area needs three corners or more, this has {len(self.area)}",
                         "give its corners in order: area: [[0, 0], [4, 0], [4, 3], [0, 3]]", "area")  # fmt: skip
        return self


def named(given: Sequence[str] | Literal["all"] | None, known: Sequence[str]) -> list[str]:
    """The names that a key of a need gives, `all` being every one known."""
    return list(known) if given == "all" else list(given or ())


def _wrong(code: str, message: str, help_: str, at: str | None = None) -> PydanticCustomError:
    context: dict[str, Any] = {"what": message, "help": help_}
    if at is not None:
        context.update(at=[at], key=True)
    return PydanticCustomError(code, "{what}", context)

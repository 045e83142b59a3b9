"""Racking as a scene file says it: pallet racks, shelving, cantilever racks, and what lies in them.

A rack stands in the scene as one item, whatever its kind. Keys not given take the figures of its `preset`, else
those of its `kind`; whatever is written in the scene wins.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator

from raycover.scene.parts import ConstructionRef, Count, InRoom
from raycover.scene.quantities import (
    Coordinate,
    Degrees,
    Name,
    NonNegativeLength,
    Number,
    Point2,
    PositiveLength,
    Strict,
)

Kind = Literal["pallet", "shelving", "cantilever"]
Row = Literal["front", "rear"]
Share = Annotated[Number, Field(ge=0, le=1)]
Level = Annotated[int, Field(ge=1, le=40, strict=True)]

#: EUR pallet, metres: into the rack, along the aisle, height [V, EN 13698-1 as PHYSICS §5 gives it].
EUR_PALLET = (1.2, 0.8, 0.144)
#: A place for one EUR pallet along a beam, clearances included: three in a bay of 2.7 m [M, common practice].
_PLACE = 0.9
#: Width of a place on a shelf. From memory, common practice: two boxes in a bay of 0.95 m.
_SHELF_PLACE = 0.45
#: Depth of a beam, front to back. From memory, common practice.
BEAM_DEPTH = 0.05
#: Clear height kept above loads for handling, by kind. From memory, common practice.
LIFT_CLEARANCE: dict[Kind, float] = {"pallet": 0.15, "shelving": 0.05, "cantilever": 0.15}
#: What lies in a deck of each name. Wire is open to both technologies.
DECKS = {"wire": "wire-mesh-50", "chipboard": "chipboard-38"}


@dataclass(frozen=True)
class Preset:
    """Figures of one way of working a pallet store.

    `aisle` is the narrowest and widest clear aisle between loads (m) that it suits, `duty` the class of EN 15620,
    `source` where the figures come from.
    """

    title: str
    duty: str
    aisle: tuple[float, float]
    keys: dict[str, Any]
    source: str


#: Classes [V] and the ranges that the figures lie in [M]; the choice within a range, and the number of levels
#: (about what such a truck lifts to), are ours.
_SOURCE = "class: EN 15620 [V]; figures: from memory, common practice [M]"
PRESETS: dict[str, Preset] = {
    "counterbalance": Preset(
        "wide aisle, counterbalance trucks",
        "400, wide aisle",
        (3.7, 3.7),
        {"bay_width": 2.7, "depth": 1.1, "levels": 4, "level_pitch": 1.6, "flue_gap": 0.2},
        _SOURCE,
    ),
    "reach": Preset(
        "narrow aisle, reach trucks",
        "400, narrow aisle",
        (2.7, 2.7),
        {"bay_width": 2.7, "depth": 1.1, "levels": 6, "level_pitch": 1.7, "flue_gap": 0.25},
        _SOURCE,
    ),
    "very-narrow-aisle": Preset(
        "very narrow aisle, guided trucks",
        "300A/B, very narrow aisle",
        (1.6, 1.8),
        {"bay_width": 2.7, "depth": 1.1, "levels": 7, "level_pitch": 1.75, "flue_gap": 0.3},
        _SOURCE,
    ),
}

#: What a kind has in place of a pallet rack's defaults. From memory, common practice; no source.
_KINDS: dict[str, dict[str, Any]] = {
    "shelving": {
        "bay_width": 0.95, "depth": 0.5, "level_pitch": 0.4, "first_level": 0.1, "flue_gap": 0.0, "upright": 0.05,
        "goods_material": "cartons",
    },
    "cantilever": {
        "bay_width": 1.3, "depth": 1.2, "level_pitch": 1.0, "first_level": 0.2, "flue_gap": 0.0, "upright": 0.2,
        "beam_height": 0.15, "goods_material": "timber",
    },
}  # fmt: skip
#: Keys that mean something for one kind, or for some.
KEYS_OF: dict[str, tuple[Kind, ...]] = {
    "preset": ("pallet",),
    "decks": ("pallet",),
    "pallets_per_bay": ("pallet",),
    "shelf": ("shelving",),
    "beam_height": ("pallet", "cantilever"),
}


class Load(Strict):
    """What lies on one level: all of it, some bays, or a share of their places."""

    level: Level = Field(description="level, from 1: the lowest")
    bays: list[Count] | None = Field(None, min_length=1, max_length=1000, description="bays from 1; all if not given")
    share: Share | None = Field(None, description="share of the places in those bays, drawn with the rack's seed")
    row: Row | None = Field(None, description="front or rear row of a back-to-back rack; both if not given")
    material: str | None = Field(None, description="what they are made of; the rack's goods_material if not given")
    height: PositiveLength | None = Field(None, description="height of a load, with its pallet if it has one")


class Racking(InRoom):
    """Pallet racking, shelving or cantilever: bays along local x, levels upward; two rows when back to back.

    `at` is the front left corner of the frames; local x runs along the aisle, local y into the rack. Bays count
    from 1 at `at`, levels from 1 at the lowest.
    """

    # Levels may come from the preset, so an editor must not ask for them; pydantic does where there is none.
    model_config = ConfigDict(json_schema_extra=lambda schema: schema["required"].remove("levels"))

    name: Name = Field(description="name of the rack")
    kind: Kind = Field("pallet", description="pallet, shelving or cantilever")
    preset: Literal["counterbalance", "reach", "very-narrow-aisle"] | None = Field(
        None, description="counterbalance, reach or very-narrow-aisle: figures for keys not given"
    )
    at: Point2 = Field(description="front left corner of the frames [x, y]")
    turn_deg: Degrees = Field(0.0, description="anticlockwise turn about that corner")
    base: Coordinate = Field(0.0, description="height of its feet above the floor")
    bays: Count = Field(description="number of bays along the aisle")
    levels: Level = Field(description="storage levels, the floor included")
    bay_width: PositiveLength = Field(2.7, description="clear width of a bay between uprights")
    depth: PositiveLength = Field(1.1, description="depth of a frame")
    level_pitch: PositiveLength = Field(1.6, description="height from one level to the next")
    first_level: NonNegativeLength = Field(0.0, description="height of the lowest level above the feet")
    frame_height: PositiveLength | None = Field(
        None, description="top of the uprights above the feet; one level_pitch above the top level if not given"
    )
    back_to_back: bool = Field(False, strict=True, description="a second row behind the first")
    flue_gap: NonNegativeLength = Field(0.25, description="gap between the two rows")
    upright: PositiveLength = Field(0.1, description="width of an upright, post or column")
    beam_height: PositiveLength = Field(0.12, description="height of a beam or arm")
    decks: Literal["none", "wire", "chipboard"] = Field("none", description="none, wire or chipboard on the beams")
    shelf: ConstructionRef = Field("steel-shelf", description="construction of the shelves of shelving")
    end_guards: bool = Field(False, strict=True, description="steel guards on the floor at both ends")
    goods: bool = Field(True, strict=True, description="loaded (true) or empty frames (false)")
    fill: Share | None = Field(None, description="share of the places that are loaded, drawn with the seed")
    seed: Annotated[int, Field(ge=0, le=2**32 - 1, strict=True)] = Field(
        0, description="for fill and share: another number, other places"
    )
    loads: list[Load] | None = Field(None, max_length=10_000, description="what lies where, by level and bay")
    goods_material: str = Field("goods", description="what the loads are made of")
    goods_height: PositiveLength | None = Field(None, description="height of a load with its pallet")
    top_of_load: PositiveLength | None = Field(
        None, description="top of the loads on the top level above the feet; it may stand over the uprights"
    )
    pallets_per_bay: Annotated[int, Field(ge=1, le=12, strict=True)] | None = Field(
        None, description="EUR pallets side by side; one for each 0.9 m of the bay if not given"
    )

    @model_validator(mode="before")
    @classmethod
    def _figures(cls, data: Any) -> Any:
        """What the preset or the kind says of keys that are not written."""
        if not isinstance(data, dict):
            return data
        kind, preset = data.get("kind"), data.get("preset")
        of_kind = _KINDS.get(kind, {}) if isinstance(kind, str) else {}
        named = preset if isinstance(preset, str) and preset in PRESETS else next(iter(PRESETS))
        # Beside a misspelt preset no key is missing that one spelt right would have given: any stands in for it.
        of_preset = {} if preset is None else PRESETS[named].keys
        return {**of_kind, **of_preset, **data}

    @property
    def aisle(self) -> tuple[float, float] | None:
        """Narrowest and widest clear aisle between loads (m) that the preset suits."""
        return None if self.preset is None else PRESETS[self.preset].aisle

    @property
    def bay_pitch(self) -> float:
        return self.bay_width + self.upright

    @property
    def length(self) -> float:
        """Along the aisle, over the outer uprights."""
        return self.bays * self.bay_pitch + self.upright

    @property
    def whole_depth(self) -> float:
        """Front to rear of the frames, of both rows and the gap where back to back."""
        return 2 * self.depth + self.flue_gap if self.back_to_back else self.depth

    @property
    def level_heights(self) -> list[float]:
        """What the loads of each level stand on, above the feet."""
        return [self.first_level + k * self.level_pitch for k in range(self.levels)]

    @property
    def frame_top(self) -> float:
        if self.frame_height is not None:
            return self.frame_height
        return self.first_level + self.levels * self.level_pitch

    @property
    def overhang(self) -> float:
        """How far loads stand out over the frames, front and rear (m); less than nothing where they stay within."""
        return (EUR_PALLET[0] - self.depth) / 2 if self.kind == "pallet" else 0.0

    @property
    def places_per_bay(self) -> int:
        """Loads side by side on one level of a bay."""
        if self.kind == "cantilever":
            return 1
        if self.kind == "shelving":
            return max(int(self.bay_width / _SHELF_PLACE + 1e-9), 1)
        if self.pallets_per_bay is not None:
            return self.pallets_per_bay
        return max(int(self.bay_width / _PLACE + 1e-9), 1)

    @property
    def surface(self) -> ConstructionRef | None:
        """The construction of shelves or decks, None where there are none."""
        if self.kind == "shelving":
            return self.shelf
        return DECKS.get(self.decks) if self.kind == "pallet" else None

    @property
    def is_loaded(self) -> bool:
        """Whether anything may lie in it."""
        if self.loads is not None:
            return any(load.share != 0 for load in self.loads)
        return self.goods and self.fill != 0

    def load_height(self, surface_m: float = 0.0) -> float:
        """Height of a load that is not given its own, with its pallet; `surface_m` is the thickness of a shelf."""
        if self.goods_height is not None:
            return self.goods_height
        return self.clear_height(surface_m) - LIFT_CLEARANCE[self.kind]

    def clear_height(self, surface_m: float = 0.0) -> float:
        """From what a load stands on to the beam, arm or shelf above."""
        return self.level_pitch - (surface_m if self.kind == "shelving" else self.beam_height)

    def materials(self) -> set[str]:
        """Names of the solid materials of what lies in it."""
        if not self.is_loaded:
            return set()
        listed = [load.material for load in self.loads] if self.loads is not None else [None]
        found = {name if name is not None else self.goods_material for name in listed}
        return found | {"pallet"} if self.kind == "pallet" else found

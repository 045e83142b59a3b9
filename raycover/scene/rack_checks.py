"""Checks of racking: keys that go together, levels and loads that fit, loads that are there, aisles wide enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from raycover.errors import Problem, did_you_mean
from raycover.scene.schema import Scene
from raycover.scene.storage import BEAM_DEPTH, EUR_PALLET, KEYS_OF, PRESETS, Load, Racking

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue

#: What a length may be off by (m) before it is called wrong.
_ROUNDING = 1e-6


def check_racking(scene: Scene, catalogue: Catalogue) -> Iterator[Problem]:
    """Every problem of the racks of a scene, one by one, and of the aisles between them."""
    shapes = [shapely.Polygon(room.outline) for room in scene.rooms]
    sound = all(shape.is_valid for shape in shapes)
    for index, rack in enumerate(scene.racking):
        problems = _Rack(scene, catalogue, index, rack)
        yield from problems.keys()
        yield from problems.steel()
        yield from problems.loads()
        if sound:
            yield from problems.room(shapes)
    yield from _aisles(scene)


class _Rack:
    """The checks of one rack."""

    def __init__(self, scene: Scene, catalogue: Catalogue, index: int, rack: Racking) -> None:
        self.scene, self.catalogue, self.index, self.rack = scene, catalogue, index, rack
        surface = rack.surface
        known = not isinstance(surface, str) or surface in catalogue.constructions
        # An inline construction may hold an unknown material, which is reported as such.
        try:
            made = catalogue.construction(surface) if surface is not None and known else None
        except KeyError:
            made = None
        self.surface_m = made.thickness_m if made is not None else 0.0

    def problem(self, code: str, message: str, help_: str, *loc: str | int, key: bool = False) -> Problem:
        where = self.scene.position("racking", self.index, *loc, key=key)
        return Problem(code, f'"{self.rack.name}": {message}', where, help_)

    def keys(self) -> Iterator[Problem]:
        """Keys that mean nothing beside the others."""
        rack, given = self.rack, self.rack.model_fields_set
        for key, kinds in KEYS_OF.items():
            if key in given and rack.kind not in kinds:
                message = f"{key} means nothing for kind: {rack.kind}"
                help_ = f"take it out; it goes with kind: {' or '.join(kinds)}"
                yield self.problem("key-not-for-kind", message, help_, key, key=True)
        if "fill" in given and "loads" in given:
            message = "both fill and loads say what is loaded"
            yield self.problem("fill-and-loads", message, "keep one of the two", "loads", key=True)
        for key in ("fill", "loads"):
            if key in given and not rack.goods:
                message = f"goods: false says that it is empty, {key} that it is not"
                yield self.problem("goods-and-loads", message, "keep one of the two", key, key=True)
        drawn = rack.fill is not None or any(load.share is not None for load in rack.loads or [])
        if "seed" in given and not drawn:
            help_ = "give fill, or a share in loads; or take the seed out"
            yield self.problem("seed-without-fill", "there is nothing to draw with this seed", help_, "seed", key=True)

    def steel(self) -> Iterator[Problem]:
        """Frames, beams and shelves that stand clear of each other."""
        rack = self.rack
        if rack.kind == "shelving":
            if self.surface_m >= rack.level_pitch:
                message = f"shelves {self.surface_m:g} m thick leave no room in a level of {rack.level_pitch:g} m"
                yield self.problem("shelf-too-thick", message, "make level_pitch larger", "level_pitch")
        elif rack.beam_height >= rack.level_pitch:
            message = f"a beam of {rack.beam_height:g} m leaves no room in a level of {rack.level_pitch:g} m"
            yield self.problem("beam-too-high", message, "make beam_height smaller than level_pitch", "beam_height")
        top = rack.level_heights[-1]
        if rack.frame_top < top - _ROUNDING:
            message = f"level {rack.levels} lies at {top:.3g} m, above the top of the frames at {rack.frame_top:.3g} m"
            yield self.problem("frame-too-low", message, "make frame_height larger, or levels fewer", "frame_height")
        least = 2 * max(rack.upright, BEAM_DEPTH if rack.kind == "pallet" else 0.0)
        if rack.depth < least:
            message = f"a depth of {rack.depth:g} m does not hold two uprights of {rack.upright:g} m"
            yield self.problem("rack-too-shallow", message, f"make depth at least {least:.3g}", "depth")

    def loads(self) -> Iterator[Problem]:
        """Loads that stand where they are said to, and do not reach into steel or each other."""
        rack = self.rack
        yield from self.listed()
        clear = rack.clear_height(self.surface_m)
        if clear <= 0:
            return
        lowest = EUR_PALLET[2] if rack.kind == "pallet" else 0.0
        loaded = rack.is_loaded
        load = rack.goods_height
        if (load is not None and load > clear + _ROUNDING) or (
            load is None and loaded and rack.load_height(self.surface_m) <= lowest
        ):
            yield self.problem(
                "load-too-high",
                f"loads must fit {clear:.3g} m between what they stand on and the beam, arm or shelf above",
                "lower goods_height or raise level_pitch",
                "goods_height",
            )
        for k, height, top_level in self.heights():
            loc = ("goods_height",) if k is None else ("loads", k, "height")
            if height <= lowest:
                message = f"a load {height:g} m high is no higher than its pallet, {lowest:g} m"
                yield self.problem("load-too-low", message, "give its height with the pallet", *loc)
            elif k is not None and height > clear + _ROUNDING and not top_level:
                message = f"a load {height:g} m high does not fit the {clear:.3g} m of its level"
                yield self.problem("load-too-high", message, "lower it, or raise level_pitch", *loc)
        if rack.top_of_load is not None and rack.top_of_load - rack.level_heights[-1] <= lowest:
            top = rack.level_heights[-1]
            message = f"the loads of level {rack.levels} stand at {top:.3g} m and cannot end at {rack.top_of_load:g} m"
            yield self.problem("load-too-low", message, f"make top_of_load more than {top + lowest:.4g}", "top_of_load")
        if loaded and rack.kind == "pallet":
            yield from self.pallets()

    def pallets(self) -> Iterator[Problem]:
        rack = self.rack
        deep, wide, _ = EUR_PALLET
        n = rack.places_per_bay
        if n * wide > rack.bay_width + _ROUNDING:
            one = "one EUR pallet is" if n == 1 else f"{n} EUR pallets are"
            key = "pallets_per_bay" if "pallets_per_bay" in rack.model_fields_set else "bay_width"
            message = f"{one} {n * wide:.3g} m wide and the bay {rack.bay_width:g} m"
            yield self.problem("load-too-wide", message, "make bay_width larger, or pallets_per_bay fewer", key)
        if (
            rack.decks == "none"
            and (rack.levels > 1 or rack.first_level > 0)
            and rack.overhang < _ROUNDING - BEAM_DEPTH
        ):
            message = f"a pallet {deep:g} m deep falls between beams of frames {rack.depth:g} m deep"
            help_ = f"make depth less than {deep + 2 * BEAM_DEPTH:g}, or give decks: wire or chipboard"
            yield self.problem("load-off-beams", message, help_, "depth")
        if rack.back_to_back and rack.flue_gap < 2 * rack.overhang - _ROUNDING:
            message = f"loads stand out {rack.overhang:.3g} m over the frames and meet in a gap of {rack.flue_gap:g} m"
            yield self.problem("loads-collide", message, f"make flue_gap at least {2 * rack.overhang:.3g}", "flue_gap")

    def heights(self) -> Iterator[tuple[int | None, float, bool]]:
        """Heights that are given: by which entry of loads (None: the rack's own), and whether of the top level."""
        if self.rack.goods_height is not None:
            yield None, self.rack.goods_height, False
        for k, load in enumerate(self.rack.loads or []):
            if load.height is not None:
                yield k, load.height, load.level >= self.rack.levels

    def listed(self) -> Iterator[Problem]:
        """Entries of loads that name what is there, each place once."""
        rack = self.rack
        taken: dict[tuple[int, str], dict[int, int]] = {}
        for k, load in enumerate(rack.loads or []):
            at = ("loads", k)
            if load.level > rack.levels:
                message = f"there are levels 1 to {rack.levels}, not {load.level}"
                yield self.problem("no-such-level", message, "levels count from 1, the lowest", *at, "level")
                continue
            for i, bay in enumerate(load.bays or []):
                if bay > rack.bays:
                    message = f"there are bays 1 to {rack.bays}, not {bay}"
                    yield self.problem("no-such-bay", message, "bays count from 1, at the rack's `at`", *at, "bays", i)
            if load.row is not None and not rack.back_to_back:
                message = "a rack of one row has no front or rear row"
                yield self.problem("no-such-row", message, "take row out, or say back_to_back: true", *at, "row")
            if load.material is not None and load.material not in self.catalogue.solids:
                help_ = did_you_mean(load.material, sorted(self.catalogue.solids))
                message = f'unknown material "{load.material}"'
                yield self.problem("unknown-material", message, help_, *at, "material")
            twice = self.twice(k, load, taken)
            if twice is not None:
                bay, first = twice
                message = f"bay {bay} of level {load.level} is loaded by entry {first + 1} of loads already"
                yield self.problem("loaded-twice", message, "name each bay of a level once", *at)

    def twice(self, k: int, load: Load, taken: dict[tuple[int, str], dict[int, int]]) -> tuple[int, int] | None:
        """A bay that an earlier entry, or this one, names already, and which entry; what is named is noted down."""
        clash: tuple[int, int] | None = None
        bays = load.bays if load.bays is not None else list(range(1, self.rack.bays + 1))
        for row in (load.row,) if load.row is not None else ("front", "rear"):
            mine = taken.setdefault((load.level, row), {})
            fresh: dict[int, int] = {}
            for bay in bays:
                if clash is None and (bay in mine or bay in fresh):
                    clash = bay, mine.get(bay, k)
                fresh[bay] = k
            mine.update(fresh)
        return clash

    def room(self, shapes: list[Any]) -> Iterator[Problem]:
        """Racks and loads below the ceiling of the room that holds their middle."""
        rack = self.rack
        middle = shapely.Point(_corners(rack, 0.0, rack.whole_depth).mean(axis=0))
        holding = [room for room, shape in zip(self.scene.rooms, shapes, strict=True) if shape.distance(middle) < 1e-6]
        holding = [room for room in holding if rack.room is None or room.name == rack.room]
        if not holding:
            return
        ceiling = max(room.height for room in holding) - rack.base + _ROUNDING
        steel = rack.frame_height if rack.frame_height is not None else rack.level_heights[-1]
        loads = self.top_of_loads()
        message = f'in "{holding[0].name}", which is {holding[0].height:g} m high'
        if max(steel, loads) > ceiling:
            what = "loads reach" if loads > steel else "frames reach"
            message = f"{what} {rack.base + max(steel, loads):.4g} m {message}"
            yield self.problem(
                "rack-above-ceiling", message, "make levels fewer, or level_pitch or loads lower", "levels"
            )
        elif rack.frame_top > ceiling:
            # Loads fit, and nobody said how high the frames are: a level higher than the top one is a guess.
            message = f"frames are drawn {rack.base + rack.frame_top:.4g} m high {message}"
            found = self.problem("rack-above-ceiling", message, "give frame_height, the top of its uprights", "levels")
            yield replace(found, severity="warning")

    def top_of_loads(self) -> float:
        rack = self.rack
        if not rack.is_loaded:
            return 0.0
        heights = rack.level_heights
        if rack.top_of_load is not None:
            heights[-1] = rack.top_of_load - rack.load_height(self.surface_m)
        tops = [z + rack.load_height(self.surface_m) for z in heights]
        if rack.loads is not None:
            tops = [
                rack.level_heights[load.level - 1] + load.height if load.height is not None else tops[load.level - 1]
                for load in rack.loads
                if load.level <= rack.levels and load.share != 0
            ]
        return max(tops, default=0.0)


def _corners(rack: Racking, near: float, far: float) -> Any:
    """(4, 2) plan corners of a strip along the whole rack, from local y `near` to `far`."""
    turn = np.radians(rack.turn_deg)
    local = np.array([[0.0, near], [rack.length, near], [rack.length, far], [0.0, far]])
    matrix = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    return local @ matrix + rack.at


def _level(rack: Racking) -> tuple[str | None, float]:
    """Racks stand beside each other where this agrees."""
    return rack.room, rack.base


def _aisles(scene: Scene) -> Iterator[Problem]:
    """A warning where racks of a preset stand nearer to others, loads included, than its trucks need."""
    if all(rack.aisle is None for rack in scene.racking):
        return
    overhang = [max(rack.overhang, 0.0) if rack.is_loaded else 0.0 for rack in scene.racking]
    whole = [
        shapely.Polygon(_corners(rack, -out, rack.whole_depth + out))
        for rack, out in zip(scene.racking, overhang, strict=True)
    ]
    tree = shapely.STRtree(whole)
    told: set[tuple[int, int]] = set()  # both of two racks that face each other would say the same
    for index, rack in enumerate(scene.racking):
        if rack.aisle is None or rack.preset is None:
            continue
        least, out = rack.aisle[0], overhang[index]
        strips = [(-out - least, -out)]
        if rack.back_to_back:
            strips.append((rack.whole_depth + out, rack.whole_depth + out + least))
        found: list[tuple[float, int]] = []
        for near, far in strips:
            strip = shapely.Polygon(_corners(rack, near, far)).buffer(-0.01, join_style="mitre")
            for other in tree.query(strip, predicate="intersects").tolist():
                if other != index and _level(scene.racking[other]) == _level(rack):
                    found.append((float(whole[other].distance(whole[index])), other))
        fresh = [(gap, other) for gap, other in found if (other, index) not in told]
        told.update((index, other) for _, other in found)
        if fresh:
            gap, other = min(fresh)
            preset = PRESETS[rack.preset]
            yield Problem(
                "aisle-too-narrow",
                f'"{rack.name}" leaves {gap:.2f} m clear to "{scene.racking[other].name}"; '
                f"{preset.title} (EN 15620 class {preset.duty}) take about {least:g} m",
                scene.position("racking", index, "at"),
                "move it, or choose another preset; the trucks' maker has the last word",
                severity="warning",
            )

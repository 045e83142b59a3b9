"""Changes at a unit that sees too little: less mask, another turn, tilt, place, height or model."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.detectors import Unit, make_unit
from raycover.proving.models import Subject, other_models
from raycover.proving.trials import FARTHEST_M, STEP_M, Trial, height_words, move_words, moved
from raycover.scene.devices import DetectorSpec, PatternSpec
from raycover.scene.wiring_checks import members
from raycover.signs import minus

Floats = NDArray[np.floating]
Kind = Literal["sensitivity", "mask", "turn", "tilt", "move", "height", "model", "one more", "divide"]
#: What a change asks for, cheapest first: a setting, hanging it elsewhere, another unit, one more with its line,
#: its light switched in parts.
COST: dict[str, int] = {
    "sensitivity": 1, "mask": 1, "turn": 1, "tilt": 1, "move": 2, "height": 2, "model": 3, "one more": 4, "divide": 5,
}  # fmt: skip
COST_WORDS = {1: "a setting", 2: "hang it elsewhere", 3: "another model", 4: "one more unit", 5: "another circuit"}
BESIDE_WORDS = {**COST_WORDS, 2: "another place"}
TWICE_WORDS = {
    1: "two settings", 2: "two other places", 3: "two other models", 4: "two more units", 5: "two more circuits",
}  # fmt: skip
MANY_WORDS = {1: "settings", 2: "other places", 3: "other models", 4: "more units", 5: "more circuits"}
#: A unit is moved in its room, aisle and zone, and no farther (m) than so (common practice, no source: its cable's
#: slack, the same field of the ceiling); beyond that it is one more unit, and the old one is given up.
MOST_MOVED_M = 3.0
#: Steps (degrees, m) that changes are tried in, and how far from level a unit is tilted.
_TURN_STEP, _TILT_STEP, _MOST_TILT, _HEIGHT_STEP = 15, 10, 40, 0.25


def is_aimed(unit: Unit) -> bool:
    """Whether it hangs so that it can be tilted: it looks one way, or is tilted now. One in a ceiling cannot be."""
    return unit.tilt_deg != 0 or unit.is_one_sided


def changes_of(subject: Subject, *, coarse: bool = False) -> Iterator[Trial]:
    """Everything worth trying, but for sensitivity, which needs no ray. `coarse`: turns and moves by double steps."""
    times = 2 if coarse else 1
    yield from _unmasked(subject)
    yield from turned(subject, times * _TURN_STEP, 180)
    yield from tilted(subject)
    yield from shifted(subject, times * STEP_M, FARTHEST_M)
    yield from raised(subject)
    yield from other_models(subject)


def _unmasked(subject: Subject) -> Iterator[Trial]:
    masks = subject.spec.masks
    for k, mask in enumerate(masks):
        left = [m for i, m in enumerate(masks) if i != k]
        keys = [m.model_dump(exclude_unset=True, exclude_none=True) for m in left]
        words = f"take its mask {mask.from_deg:g}° to {mask.to_deg:g}° off"
        yield Trial("mask", words, subject.made({"masks": left}), {"masks": keys})


def turned(subject: Subject, step: int, farthest: int) -> Iterator[Trial]:
    """Turns of a pattern that is not round, by whole steps (degrees) up to a farthest one each way."""
    unit = subject.unit
    if unit.is_round and unit.tilt_deg == 0 and not unit.all_masks:
        return
    for by in range(step, farthest + 1, step):
        for sign in (1, -1) if by < 180 else (1,):
            turn = round((unit.turn_deg + sign * by) % 360, 1)
            yield Trial("turn", f"turn to {turn:g}°", subject.made({"turn_deg": turn}), {"turn_deg": turn})


def tilted(subject: Subject) -> Iterator[Trial]:
    if not is_aimed(subject.unit):
        return
    for tilt in range(-_MOST_TILT, _MOST_TILT + 1, _TILT_STEP):
        if abs(tilt - subject.unit.tilt_deg) > 1:
            words = minus(f"tilt to {tilt:+d}°")
            yield Trial("tilt", words, subject.made({"tilt_deg": float(tilt)}), {"tilt_deg": tilt})


def shifted(subject: Subject, step: float, farthest: float, around: Floats | None = None) -> Iterator[Trial]:
    """Places by whole steps (m), no farther than `farthest` from its own or from `around` (2,), never over 1 m."""
    unit = subject.unit
    n = round(farthest / step)
    steps = np.arange(-n, n + 1) * step
    offsets = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    if around is not None:
        offsets = offsets + (around - unit.position[:2])
    far = np.linalg.norm(offsets, axis=1)
    offsets = offsets[np.argsort(far, kind="stable")]
    far = np.sort(far)
    offsets = offsets[(far > 1e-6) & (far <= FARTHEST_M + 1e-9)]
    for place in subject.places.near(unit, offsets):
        x, y = (round(float(v), 3) for v in place)
        yield moved(unit, x, y)


def rehung(subject: Subject, entry: Mapping[str, Any], like: Unit) -> Trial | None:
    """The unit hung where one more of its kind (`like`, by its `entry`) would hang; None where it is of another kind.

    One with masks was fitted to its place: it stays. None, too, where that is no move any more (see `MOST_MOVED_M`).
    """
    spec, unit = subject.spec, subject.unit
    if spec.masks or not _same_kind(spec, entry, subject.pattern) or not is_move(subject, like):
        return None
    room = subject.places.room_of(like)
    keys: dict[str, Any] = {"at": entry["at"], "mounting": entry["mounting"]}
    if spec.turn_deg or "turn_deg" in entry:
        keys["turn_deg"] = entry.get("turn_deg", 0)
    if spec.tilt_deg:
        keys["tilt_deg"] = 0
    if room is not None and (spec.room is not None or "room" in entry):
        keys["room"] = room.name
    floor = float(like.position[2] - like.mounting)
    made = make_unit(
        spec.model_copy(update=keys), subject.pattern, floor, derive=subject.scene.conditions.derive_motions,
        corrected_db=subject.scene.reach_correction_db(spec),
    )  # fmt: skip
    x, y = entry["at"]
    far = float(np.hypot(x - unit.position[0], y - unit.position[1]))
    turned = f", turned to {keys['turn_deg']:g}°" if "turn_deg" in keys else ""
    words = f"{move_words(far, (x, y))}, {entry['mounting']:g} m up{turned}"
    return Trial("move", words, made, keys)


def is_move(subject: Subject, there: Unit) -> bool:
    """Whether a unit that comes to hang `there` has only been moved: near by, in its room, over its aisle and zone."""
    unit, places = subject.unit, subject.places
    if float(np.hypot(*(there.position - unit.position)[:2])) > MOST_MOVED_M + 1e-9:
        return False
    if places.room_of(unit) is not places.room_of(there):
        return False
    one, other = (shapely.Point(each.position[:2]) for each in (unit, there))
    if any(aisle.outline.covers(one) != aisle.outline.covers(other) for aisle in places.aisles):
        return False
    own = [z for z in subject.scene.zones if z.area and unit.name in members(subject.scene, z.detectors)]
    floors = [shapely.Polygon(zone.area) for zone in own]
    return all(floor.covers(other) for floor in floors if floor.covers(one))


def _same_kind(spec: DetectorSpec, entry: Mapping[str, Any], pattern: PatternSpec) -> bool:
    if spec.model is not None:
        return entry.get("model") == spec.model
    return "pattern" in entry and DetectorSpec.model_validate(entry).pattern == pattern


def heights_for(pattern: PatternSpec, lowest: float, top: float) -> Floats:
    """Mounting heights (m) by whole steps that an entry is meant for, up to what hangs over, and that top itself."""
    low, high = max(pattern.meant_for.from_m, lowest), min(pattern.meant_for.to_m, top)
    if high < low - 1e-9:
        return np.zeros(0)
    steps = np.arange(np.ceil(low / _HEIGHT_STEP - 1e-9), np.floor(high / _HEIGHT_STEP + 1e-9) + 1) * _HEIGHT_STEP
    return np.unique(np.round([*steps, high], 3))


def raised(subject: Subject) -> Iterator[Trial]:
    unit = subject.unit
    room = subject.places.room_of(unit)
    if room is None:
        return
    top = float(np.nan_to_num(subject.places.top(room, unit.position[None, :2])[0], nan=unit.mounting))
    heights = heights_for(subject.pattern, 0.0, top)
    points = np.column_stack(
        [np.tile(unit.position[:2], (len(heights), 1)), heights + unit.position[2] - unit.mounting]
    )
    for height in heights[subject.places.free(points)] if len(heights) else ():
        if abs(height - unit.mounting) > 0.01:
            keys = {"mounting": float(height)}
            yield Trial("height", height_words(height, unit.mounting), subject.made(keys), keys)

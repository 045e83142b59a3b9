"""Changes at one unit that are worth trying where it sees too far: another place, aim or mask."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.physics.margin import to_local, unit_rotation
from raycover.physics.pattern import Mask
from raycover.proving.hanging import HangingPlaces
from raycover.scene.devices import PatternSpec
from raycover.scene.schema import Scene
from raycover.signs import minus
from raycover.trips.remedies import share_of

Floats = NDArray[np.floating]
#: A unit is moved by whole steps (m), no farther than so.
STEP_M, FARTHEST_M = 0.25, 1.0
#: A mask begins and ends on whole steps (degrees), at least this much beyond what it must hide.
_MASK_STEP, _MASK_BEYOND = 5, 3.0
_TILTS_DEG = (10.0, 20.0, 30.0, 40.0)


@dataclass(frozen=True)
class Trial:
    """A unit changed. `words` say how (empty: as it is), `keys` are what its entry would hold.

    `refused`: it cannot be done, `note` says why. `least_pct`: the least sensitivity that it allows, None for that of
    the unit's entry as it is.
    """

    kind: str
    words: str
    unit: Unit
    keys: dict[str, Any] = field(default_factory=dict)
    refused: bool = False
    note: str = ""
    least_pct: float | None = None


def trials_of(
    scene: Scene, building: Building, index: int, unit: Unit, points: Floats, excess_db: Floats
) -> Iterator[Trial]:
    """Everything worth trying for detector `index`, which sees points (n, 3) too well by `excess_db` (n,)."""
    yield Trial("sensitivity", "", unit)
    yield from _moves(scene, building, unit)
    yield from _aims(unit, points[excess_db > 0])
    yield from _masks(scene, index, unit, points, excess_db)


def _moves(scene: Scene, building: Building, unit: Unit) -> Iterator[Trial]:
    n = int(FARTHEST_M / STEP_M)
    steps = np.arange(-n, n + 1) * STEP_M
    offsets = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    reach = np.linalg.norm(offsets, axis=1)
    offsets = offsets[(reach > 0) & (reach <= FARTHEST_M + 1e-9)]
    for place in HangingPlaces(scene, building).near(unit, offsets):
        x, y = (round(float(v), 3) for v in place)
        yield moved(unit, x, y)


def move_words(far: float, at: Sequence[float]) -> str:
    """A unit hung so far off (m), at (x, y)."""
    return f"move {far:.2f} m to ({at[0]:g}, {at[1]:g})"


def height_words(height: float, was: float) -> str:
    """A unit hung at another height (m) than it was."""
    return f"hang {'higher' if height > was else 'lower'}, at {height:g} m"


def one_more_words(name: str, label: str, at: Sequence[float], mounting: float | None = None, room: str = "") -> str:
    """A new unit of a kind at (x, y), in a room where that is to be said, so high (m) up where that is known."""
    where = f" in {room}" if room else ""
    height = f", {mounting:g} m up" if mounting is not None else ""
    return f"one more, {name}: {label} at ({at[0]:g}, {at[1]:g}) m{where}{height}"


def moved(unit: Unit, x: float, y: float) -> Trial:
    """A unit hung elsewhere at the same height."""
    far = float(np.hypot(x - unit.position[0], y - unit.position[1]))
    words = move_words(far, (x, y))
    there = replace(unit, position=np.array([x, y, unit.position[2]]))
    return Trial("move", words, there, {"at": [x, y]})


def _aims(unit: Unit, hot: Floats) -> Iterator[Trial]:
    """Turns for a pattern that is not round, and tilts away from what it must not see."""
    if not len(hot):
        return
    toward = hot[:, :2] - unit.position[:2]
    bearing = float(np.degrees(np.arctan2(*toward.mean(axis=0)[::-1])))
    aims: list[tuple[float, float]] = []
    if not unit.is_round:
        aims += [((unit.turn_deg + step) % 360, unit.tilt_deg) for step in range(15, 360, 15)]
        aims += [(unit.turn_deg, unit.tilt_deg + sign * tilt) for tilt in _TILTS_DEG for sign in (1, -1)]
    aims += [((bearing + 180 + off) % 360, tilt) for tilt in _TILTS_DEG for off in (-30, 0, 30)]
    for turn, tilt in dict.fromkeys((round(turn % 360), round(tilt)) for turn, tilt in aims):
        if abs(tilt) > 60:
            continue
        aimed = replace(unit, rotation=unit_rotation(turn, tilt), turn_deg=float(turn), tilt_deg=float(tilt))
        tilted = "" if tilt == round(unit.tilt_deg) else minus(f", tilt {tilt}°")
        words = f"turn to {turn}°{tilted}"
        yield Trial("aim", words, aimed, {"turn_deg": turn, "tilt_deg": tilt})


def _masks(scene: Scene, index: int, unit: Unit, points: Floats, excess_db: Floats) -> Iterator[Trial]:
    """Masks over what is seen too well: all of it, or where that is too large the worst of it."""
    pattern = scene.pattern_of(scene.detectors[index])
    most = largest_share(pattern)

    def share(mask: Mask) -> float:
        return share_of(replace(unit, masks=(*unit.masks, mask)), pattern)

    def fits(mask: Mask) -> bool:
        return share(mask) <= most + 1e-9

    hot = Hot.of(unit, points, excess_db)
    whole = hot.mask()
    if whole is None:
        return
    if fits(whole):
        yield _masked(unit, whole, share(whole))
        return
    taken = share(whole)
    yield Trial(
        "mask", _mask_words(whole), replace(unit, masks=(*unit.masks, whole)), {"masks": [_mask_keys(whole)]},
        refused=True, note=f"takes {taken:.0%} of the pattern, {most:.0%} is the most",
    )  # fmt: skip
    part = hot.part(fits)
    if part is not None:
        yield replace(_masked(unit, part, share(part)), kind="part mask")


def largest_share(pattern: PatternSpec) -> float:
    """The largest share of its pattern that an entry lets masks take; all of it where it does not say."""
    return pattern.largest_mask_share if pattern.largest_mask_share is not None else 1.0


@dataclass(frozen=True)
class Hot:
    """Directions (n,) in a unit's frame, degrees, in which it sees too well, and by how much (dB)."""

    azimuth_deg: Floats
    off_axis_deg: Floats
    excess_db: Floats

    @classmethod
    def of(cls, unit: Unit, points: Floats, excess_db: Floats) -> Hot:
        x, y, z = to_local(unit.rotation, tuple((points - unit.position).T))
        return cls(np.degrees(np.arctan2(y, x)) % 360, np.degrees(np.arctan2(np.hypot(x, y), -z)), excess_db)

    def mask(self, above_db: float = 0.0) -> Mask | None:
        """One mask over all that is seen too well by more than so much; None where it lies all around, or nowhere."""
        hot = self.excess_db > above_db
        return mask_over(self.azimuth_deg[hot], self.off_axis_deg[hot]) if hot.any() else None

    def part(self, fits: Callable[[Mask], bool]) -> Mask | None:
        """The mask that fits over the worst of it, so that sensitivity must take the least of the rest."""
        low, high = 0.0, float(self.excess_db.max())
        for _ in range(12):
            middle = (low + high) / 2
            mask = self.mask(middle)
            low, high = (low, middle) if mask is None or fits(mask) else (middle, high)
        part = self.mask(high)
        return part if part is not None and fits(part) else None


def _masked(unit: Unit, mask: Mask, share: float) -> Trial:
    return Trial(
        "mask", _mask_words(mask), replace(unit, masks=(*unit.masks, mask)), {"masks": [_mask_keys(mask)]},
        note=f"{share:.0%} of the pattern",
    )  # fmt: skip


def mask_over(azimuth_deg: Floats, off_axis_deg: Floats) -> Mask | None:
    """The narrowest mask on whole steps over directions (n,) in the unit's frame; None where they lie all around."""
    around = np.sort(np.unique(np.round(azimuth_deg, 3)) % 360)
    gaps = np.diff(np.concatenate([around, around[:1] + 360]))
    widest = int(gaps.argmax())
    if gaps[widest] <= 2 * (_MASK_BEYOND + _MASK_STEP):
        return None
    start = around[(widest + 1) % len(around)] - _MASK_BEYOND
    end = around[widest] + _MASK_BEYOND
    start = np.floor(start / _MASK_STEP) * _MASK_STEP
    end = np.ceil(end / _MASK_STEP) * _MASK_STEP
    inner = np.floor((off_axis_deg.min() - _MASK_BEYOND) / _MASK_STEP) * _MASK_STEP
    return Mask(float(start % 360), float(end % 360), off_axis_from_deg=float(max(inner, 0.0)))


def _mask_keys(mask: Mask) -> dict[str, float]:
    keys = {"from_deg": mask.from_deg, "to_deg": mask.to_deg}
    return keys if mask.off_axis_from_deg == 0 else {**keys, "off_axis_from_deg": mask.off_axis_from_deg}


def _mask_words(mask: Mask) -> str:
    ring = f", beyond {mask.off_axis_from_deg:g}° off axis" if mask.off_axis_from_deg else ""
    return f"mask {mask.from_deg:g}° to {mask.to_deg:g}°{ring}"

"""What would stop a nuisance from tripping a unit, and what each costs of the area that is seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit, declarations_of
from raycover.physics.margin import to_local
from raycover.physics.pattern import Mask, mask_share
from raycover.scene.devices import PatternSpec
from raycover.solving.casting import Patch, Weather
from raycover.solving.coverage import Coverage
from raycover.solving.kept.answers import cast
from raycover.trips.judging import Effect

Floats = NDArray[np.floating]

#: A mask goes this far (degrees) beyond what it covers: people set them by hand.
CLEAR_DEG = 2.0
#: Nearer to the axis than this (degrees) a sector has no sides: the mask goes all round.
_AXIS_DEG = 3.0
#: Units are seldom set lower than this (per cent of reach; ours).
_LEAST_PERCENT = 30


@dataclass(frozen=True)
class Cost:
    """What is lost: area (m²) seen before by this unit alone, and its share of all that is seen; by plane too."""

    lost_m2: float
    share: float
    planes: dict[str, float]


@dataclass(frozen=True)
class MaskRemedy:
    """A mask over a nuisance: its share of the pattern with the masks there are, and whether the entry allows it.

    `margin_db` is what the nuisance still reaches with it; `closes` where it then neither trips nor may.
    """

    mask: Mask
    share: float
    allowed: float | None
    margin_db: float
    closes: bool
    cost: Cost | None

    @property
    def fits(self) -> bool:
        return self.allowed is None or self.share <= self.allowed + 1e-6


@dataclass(frozen=True)
class SensitivityRemedy:
    """Less reach: the setting, in per cent of the present reach, at which the nuisance neither trips nor may."""

    to_percent: int
    cost: Cost | None


@dataclass(frozen=True)
class MoveRemedy:
    """A place (x, y) near by, at the same height, where the nuisance neither trips the unit nor may."""

    at: tuple[float, float]
    by_m: float
    margin_db: float
    cost: Cost | None


@dataclass(frozen=True)
class Remedies:
    """What stops one effect, each way with its cost; `move` None where no place near by does.

    `keep_m`: from this distance on it stops by itself, with the same things between.
    """

    effect: Effect
    mask: MaskRemedy
    sensitivity: SensitivityRemedy
    move: MoveRemedy | None
    keep_m: float

    @property
    def ways(self) -> tuple[str, ...]:
        """What works, the cheapest first: mask, sensitivity, move; only distance where none does."""
        found: list[tuple[float, int, str]] = []
        if self.mask.fits and self.mask.closes:
            found.append((_share(self.mask.cost, self.mask.share), 0, "mask"))
        if self.sensitivity.to_percent >= _LEAST_PERCENT:
            found.append((_share(self.sensitivity.cost, 1 - self.sensitivity.to_percent / 100), 1, "sensitivity"))
        if self.move is not None:
            found.append((_share(self.move.cost, 1.0), 2, "move"))
        return tuple(word for _, _, word in sorted(found)) or ("distance",)

    @property
    def best(self) -> str:
        return self.ways[0]


def _share(cost: Cost | None, otherwise: float) -> float:
    """What a way costs, to the thousandth: of ways alike the simplest comes first."""
    return round(cost.share if cost is not None else otherwise, 3)


def mask_over(unit: Unit, points: Floats) -> Mask:
    """The smallest sector of a unit's pattern, in whole degrees, that covers points (n, 3) with a little to spare."""
    x, y, z = to_local(unit.rotation, tuple((points - unit.position).T))
    off_axis = np.degrees(np.arctan2(np.hypot(x, y), -z))
    inner = max(np.floor(off_axis.min() - CLEAR_DEG), 0.0)
    outer = min(np.ceil(off_axis.max() + CLEAR_DEG), 180.0)
    azimuth = np.sort(np.degrees(np.arctan2(y, x)) % 360)
    gaps = np.diff(np.concatenate([azimuth, azimuth[:1] + 360]))
    widest = int(np.argmax(gaps))
    if off_axis.min() < _AXIS_DEG or gaps[widest] <= 2 * CLEAR_DEG + 2:
        return Mask(0.0, 360.0, inner, outer)
    # At a small angle off the axis a degree of azimuth is little: spare what the same clearance needs there.
    spare = min(CLEAR_DEG / max(np.sin(np.radians(min(off_axis.min(), 90.0))), 0.1), gaps[widest] / 2 - 1)
    start = float(np.floor(azimuth[(widest + 1) % len(azimuth)] - spare))
    end = float(np.ceil(azimuth[widest] + spare))
    return Mask(start % 360, start % 360 + (end - start) % 360, inner, outer)


class Costs:
    """What changes of one unit cost on the planes of a solved scene."""

    def __init__(self, coverage: Coverage, weather: Weather) -> None:
        self.coverage, self.weather = coverage, weather

    def of(self, index: int, changed: Unit) -> Cost:
        """The unit number `index` cast again as `changed`."""
        return self._cost(
            index, lambda plane: cast(changed, self.coverage[plane].surface, self.coverage.rays, self.weather)
        )

    def lowered(self, index: int, by_db: float) -> Cost:
        """The unit number `index` with every margin lower by so many dB: no ray is needed."""

        def less(plane: str) -> Patch | None:
            patch = self.coverage[plane].patches[index]
            return None if patch is None else replace(patch, margin_db=patch.margin_db - np.float32(by_db))

        return self._cost(index, less)

    def _cost(self, index: int, again: Callable[[str], Patch | None]) -> Cost:
        lost, seen, planes = 0.0, 0.0, {}
        for name, plane in self.coverage.items():
            before = plane.patches[index]
            seen += plane.area_where(plane.detected)
            planes[name] = 0.0
            if before is None:
                continue
            alone = np.zeros(plane.surface.shape, bool)
            alone[before.window] = (before.margin_db >= 0) & (plane.count[before.window] == 1)
            after = again(name)
            if after is not None:
                alone[after.window] &= after.margin_db < 0
            planes[name] = plane.area_where(alone)
            lost += planes[name]
        return Cost(lost, lost / seen if seen else 0.0, planes)


def masked(unit: Unit, masks: Sequence[Mask]) -> Unit:
    return replace(unit, masks=(*unit.masks, *masks))


def share_of(unit: Unit, pattern: PatternSpec) -> float:
    """The largest share that a unit's masks take of any declared footprint; of a dual one, of either half."""
    return max(
        mask_share(part.masks, declared)
        for part, half in zip(unit.parts, pattern.parts, strict=True)
        for declared in declarations_of(half)
    )

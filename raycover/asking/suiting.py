"""Which detector for this kind of space: the catalogue ranked, and why each entry falls out.

A first choice before anything is drawn: each entry alone, over open floor, at the space's mounting height. The scene
decides; this only saves trying what cannot do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raycover.detectors import Unit, make_unit
from raycover.physics.infrared import contrast_db, contrast_factor
from raycover.scene.devices import DetectorModel, DetectorSpec, PatternSpec
from raycover.scene.spaces import SpaceNeed, SpaceSpec
from raycover.solving.combining import over_parts
from raycover.solving.open_air import Weather, open_margin_db

#: Points of a need: on the axes at full reach and at half, on the diagonal at half.
_AT = ((1, 0), (-1, 0), (0, 1), (0, -1), (0.5, 0), (-0.5, 0), (0.5, 0.5), (-0.5, -0.5))
#: The same for a unit on a wall, which looks one way: all the length before it.
_BEFORE = ((2, 0), (1, 1), (1, -1), (1, 0), (0.5, 0.5), (0.5, -0.5))


@dataclass(frozen=True)
class Fit:
    """How an entry suits a space: least margin (dB) over what is needed, why it falls out, what to mind.

    `margin_db` is −inf where something needed is not seen at all. An entry suits where nothing is in `falls_out`.
    """

    name: str
    title: str
    margin_db: float
    turn_deg: float
    falls_out: tuple[str, ...]
    mind: tuple[str, ...]

    @property
    def suits(self) -> bool:
        return not self.falls_out


def rank(
    space: SpaceSpec,
    entries: Sequence[DetectorModel],
    *,
    mounting: float | None = None,
    air_c: float | None = None,
) -> list[Fit]:
    """Every entry for a space, the best first; mounting height (m) and warmest air (°C) else those of the space."""
    height = space.mounting if mounting is None else mounting
    air = space.air_c if air_c is None else air_c
    fits = [_fit(space, entry, height, air) for entry in entries]
    return sorted(fits, key=lambda fit: (not fit.suits, len(fit.falls_out), -fit.margin_db, fit.name))


def _fit(space: SpaceSpec, entry: DetectorModel, height: float, air: float) -> Fit:
    falls_out: list[str] = []
    mind: list[str] = []
    worst: list[tuple[float, float]] = []
    for turn in (0.0, 90.0):
        unit = make_unit(
            DetectorSpec(name="unit", model=entry.name, at=(0, 0), mounting=height, turn_deg=turn), entry, 0
        )
        worst.append((min((margin(unit, need, height, air) for need in space.needs), default=-np.inf), turn))
    # Turned across only where that is better: installers read azimuth 0 as along the room.
    best, turn = max(worst, key=lambda pair: (pair[0], -pair[1]))
    unit = _unit(entry, height, turn)
    for need in space.needs:
        falls_out += _short(entry, unit, need, height, air)
    if entry.mounting is not None and not entry.mounting.holds(height):
        falls_out.append(f"meant for {entry.mounting}, not {height:g} m")
    # A dual entry is taken as it leaves the works.
    if space.sight == "obstructed" and (entry.kind == "infrared" or entry.combine == "and"):
        falls_out.append("infrared stops at closed doors, panels and slabs")
    if space.sight == "obstructed" and entry.combine == "trigger-then-hold":
        mind.append("holds behind closed doors and panels, but is switched on only in sight of its infrared half")
    if space.beyond == "light walls" and (entry.kind == "microwave" or entry.combine == "or"):
        mind.append("sees through light walls: prove what lies beside")
    if space.beyond == "light walls" and entry.combine == "trigger-then-hold":
        mind.append("people beyond light walls may hold it: prove what lies beside")
    mind += _protection(space, entry, falls_out)
    return Fit(entry.name, entry.title, best, turn, tuple(dict.fromkeys(falls_out)), tuple(mind))


def _unit(entry: DetectorModel, mounting: float, turn_deg: float) -> Unit:
    spec = DetectorSpec(name="unit", model=entry.name, at=(0, 0), mounting=mounting, turn_deg=turn_deg)
    return make_unit(spec, entry, 0)


def margin(unit: Unit, need: SpaceNeed, height: float, air_c: float) -> float:
    """Least margin (dB) over a need's points in open air; −inf where the motion is not declared."""
    before, beside = np.array(_BEFORE if unit.is_one_sided else _AT).T
    x, y = (before, beside) if unit.turn_deg == 0 or not unit.is_one_sided else (beside, before)
    x, y = x * need.length, y * need.width
    offset = x, y, np.full(len(x), need.plane - height)
    weather = Weather(float(contrast_db(contrast_factor(air_c))), "averaged")
    margins = over_parts(
        unit, need.motion, lambda part: open_margin_db(part, offset, part.footprints_for(need.motion), weather)
    )
    return float(margins.min())


def _short(entry: PatternSpec, unit: Unit, need: SpaceNeed, height: float, air: float) -> list[str]:
    """Why a need is missed, nothing where it is met."""
    if not unit.footprints_for(need.motion):
        return [f"declares no {need.motion} motion"]
    if margin(unit, need, height, air) >= 0:
        return []
    asked = f"{need.length:g} × {need.width:g} m each way at {need.plane:g} m for {need.motion} motion"
    if margin(unit, need, height, 20.0) >= 0:
        return [f"too little contrast at {air:g} °C for {asked}"]
    furthest = _furthest(unit, need, height)
    return [f"sees {furthest:.0%} of {asked}"]


def _furthest(unit: Unit, need: SpaceNeed, height: float) -> float:
    """The share of a need's reach at which the unit still sees all of it at 20 °C; 0 where not even there."""
    shares = np.linspace(0.0, 1.0, 101)[1:]
    met = [margin(unit, _scaled(need, share), height, 20.0) >= 0 for share in shares]
    return float(shares[np.argmin(met) - 1]) if not all(met) and met[0] else float(all(met))


def _scaled(need: SpaceNeed, share: float) -> SpaceNeed:
    return need.model_copy(update={"length": need.length * share, "width": need.width * share})


def _protection(space: SpaceSpec, entry: DetectorModel, falls_out: list[str]) -> list[str]:
    """What to mind about protection; an entry known to be too open falls out."""
    if entry.protection is None:
        return [] if space.protection == "IP20" else [f"no protection class declared, {space.protection} is needed"]
    needed, has = digits(space.protection), digits(entry.protection)
    if any(h < n for h, n in zip(has, needed, strict=True)):
        falls_out.append(f"{entry.protection}, {space.protection} is needed")
    return []


def digits(protection: str) -> tuple[int, int]:
    """The two digits of a protection class (IEC 60529), X as 0."""
    return int(protection[2].replace("X", "0")), int(protection[3].replace("X", "0"))

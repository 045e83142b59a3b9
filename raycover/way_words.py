"""The way of a signal in words: through what, by what, how much it loses there; and why somebody is missed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.casting import CAUSES, Weather, judge
from raycover.detectors import Unit
from raycover.rays import LIFT, Crossing, RayScene

Floats = NDArray[np.floating]
#: Losses below this (dB) are not worth a word.
_WORTH_DB = 0.05
#: What a sheet of a kind is called; others by their own kind.
_KINDS = {"leaf": "door", "tread": "landing", "soffit": "flight", "desk": "desk top", "sheet": "sheet"}
#: What constructions and materials are called where their own name says it badly.
_SHORT = {"door-wood": "wooden", "stud-wall": "stud", "steel-panel": "steel", "steel-door": "steel"}


@dataclass(frozen=True)
class Way:
    """How one unit sees one point. `words` say the way where it gets through, and why not where it doesn't.

    `margin_db` may be −inf; `crossings` are what the straight way meets; `loss_db` one way, along it.
    """

    unit: str
    at: tuple[float, float, float]
    distance_m: float
    margin_db: float
    cause: str
    crossings: tuple[Crossing, ...]
    words: str

    @property
    def loss_db(self) -> float:
        return float(sum(crossing.loss_db for crossing in self.crossings))


def way_to(unit: Unit, point: Floats, motion: str, rays: RayScene, weather: Weather) -> Way:
    """The way from a unit to a point (3,) on or above the floor."""
    lifted = _on_floor(rays.building, point)
    target = point + np.array([0.0, 0.0, LIFT * lifted])
    seen = judge(unit, target[None], motion, rays, weather)
    met = tuple(rays.crossings(rays.segments(unit.position, target[None]), unit.frequency_ghz, weather.losses))
    margin, distance = float(seen.margin_db[0]), float(seen.distance_m[0])
    cause = CAUSES[seen.cause[0]]
    words = through_words(rays.building, met)
    if cause != "none":
        words = _missed_words(unit, cause, met, words, margin, distance, float(seen.potential_db[0]))
    x, y, z = (float(v) for v in point)
    return Way(unit.name, (x, y, z), distance, margin, cause, met, words)


def _on_floor(building: Building, point: Floats) -> bool:
    room = building.room_at(float(point[0]), float(point[1]), float(point[2]))
    return room is not None and abs(float(point[2]) - room.floor) < LIFT


def _missed_words(
    unit: Unit, cause: str, met: Sequence[Crossing], through: str, margin: float, distance: float, potential: float
) -> str:
    if cause == "blocked":
        stops = next((c for c in met if not np.isfinite(c.loss_db)), None)
        return f"hidden by {stops.object}" if stops is not None else "hidden"
    if cause == "material-loss":
        return f"lost {through}"
    if cause == "out-of-reach":
        # Margin goes with the fourth power of the distance: so far is too far.
        beyond = distance * (1 - 10 ** (potential / 40)) if np.isfinite(potential) else np.inf
        return f"{beyond:.1f} m beyond the reach" if np.isfinite(beyond) else "no such motion is declared"
    if cause == "too-warm":
        return "in reach at 20 °C, air too warm"
    return {"outside-lens": "outside the lens", "masked": "masked"}.get(cause, cause)


def through_words(building: Building, crossings: Sequence[Crossing]) -> str:
    """`through laminate panel WC/divider 2, 1.6 dB`; `free sight` where nothing is crossed that costs anything."""
    costly = [c for c in crossings if c.loss_db >= _WORTH_DB]
    if not costly:
        return "free sight"
    loss = sum(c.loss_db for c in costly)
    names = [called(building, c) for c in costly]
    if len(names) > 3:
        worst = sorted(range(len(names)), key=lambda k: -costly[k].loss_db)[:2]
        names = [*(names[k] for k in sorted(worst)), f"{len(names) - 2} more"]
    listed = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
    return f"through {listed}, " + (f"{loss:.1f} dB" if np.isfinite(loss) else "which stops it")


def called(building: Building, crossing: Crossing) -> str:
    """A thing with what it is made of and what it is: `brick wall Washroom/wall 0`."""
    kind, made = _kinds(building).get(crossing.object, ("", crossing.construction))
    material = short_name(made)
    kind = _KINDS.get(kind, kind)
    if kind and crossing.object.rsplit("/", 1)[-1].startswith(kind):  # the name says it already
        kind = ""
    return " ".join(word for word in (material, kind, crossing.object) if word)


def short_name(construction: str) -> str:
    """`laminate-13` → `laminate`: a construction without its figures."""
    bare = construction.rstrip("0123456789.-")
    return _SHORT.get(bare, bare.replace("-", " "))


def _kinds(building: Building) -> dict[str, tuple[str, str]]:
    """{name of a part: (kind, made of)}."""
    return {sheet.name: (sheet.kind, sheet.construction.name) for sheet in building.sheets}

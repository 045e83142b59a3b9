"""The way of a signal in words: through what, by what, how much it loses there; and why somebody is missed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.listing import listed
from raycover.rays.ray_scene import LIFT, Crossing, RayScene
from raycover.rays.segments import off_floor
from raycover.solving.casting import CAUSES, Weather, judge, potential_db
from raycover.solving.combining import deciding
from raycover.solving.paths import Traced, trace

Floats = NDArray[np.floating]
#: Losses below this (dB) are not worth a word.
_WORTH_DB = 0.05
#: What other ways add is told from here on (dB).
_WORTH_ADDING_DB = 1.0
_FREE = "free sight"
_NO_MOTION = "no such motion is declared"
#: What a sheet of a kind is called; others by their own kind.
_KINDS = {"leaf": "door", "tread": "landing", "soffit": "flight", "desk": "desk top", "sheet": "sheet"}
#: What constructions and materials are called where their own name says it badly.
_SHORT = {"door-wood": "wooden", "stud-wall": "stud", "steel-panel": "steel", "steel-door": "steel"}


@dataclass(frozen=True)
class Bounce:
    """The mirror that a way goes by, and what it loses there (dB, one way)."""

    object: str
    called: str
    incidence_deg: float
    loss_db: float


@dataclass(frozen=True)
class Way:
    """How one unit sees one point. `words` say the way where it gets through, and why not where it doesn't.

    `margin_db`, of all ways together, may be −inf; `crossings` are what the strongest way meets, `by` the mirror
    that it goes by, if any; `loss_db` one way, along it.
    """

    unit: str
    at: tuple[float, float, float]
    distance_m: float
    margin_db: float
    cause: str
    crossings: tuple[Crossing, ...]
    words: str
    by: Bounce | None = None

    @property
    def loss_db(self) -> float:
        return float(sum(crossing.loss_db for crossing in self.crossings)) + (self.by.loss_db if self.by else 0.0)


def way_to(unit: Unit, point: Floats, motion: str, rays: RayScene, weather: Weather) -> Way:
    """The strongest way from a unit to a point (3,) on or above the floor."""
    lifted = rays.building.is_on_floor(point, LIFT)
    target = off_floor(point, lifted)
    seen = judge(unit, target[None], motion, rays, weather)
    straight = tuple(
        rays.crossings(rays.segments(unit.position, target[None], unit.ahead), unit.frequency_ghz, weather.losses)
    )
    margin, distance = float(seen.margin_db[0]), float(seen.distance_m[0])
    cause = CAUSES[seen.cause[0]]
    met, by, more = straight, None, ""
    if unit.frequency_ghz is not None and weather.reflections:
        met, by, more = _strongest(trace(unit, target[None], motion, rays, weather), rays.building, straight)
    words = _words(rays.building, met, by) + more
    if cause != "none":
        heat = float(weather.heat_db(unit, tuple(point - unit.position)))
        words = _missed_words(cause, straight, words, distance, float(seen.potential_db[0]) + heat, by)
        if cause in ("out-of-reach", "too-warm") and heat != 0 and words != _NO_MOTION:
            words = f"{words} at {float(weather.ambient_at(point[None])[0]):g} °C"
    x, y, z = (float(v) for v in point)
    return Way(unit.name, (x, y, z), distance, margin, cause, met, words, by)


def best_way(unit: Unit, points: Floats, motion: str, rays: RayScene, weather: Weather) -> Way:
    """Of one person's points (n, 3) the way to the one that a unit sees best; of a dual unit, of its deciding half."""
    best = []
    for part in unit.parts:
        ways = [way_to(part, point, motion, rays, weather) for point in points]
        best.append(max(ways, key=lambda way: (way.margin_db, -way.distance_m)))
    if not unit.halves:
        return best[0]
    margins = [np.array([way.margin_db]) for way in best]
    reach = [potential_db(part, points, motion).max(keepdims=True) for part in unit.parts]
    which = int(deciding(unit, motion, margins, reach)[0])
    return replace(best[which], unit=unit.name, words=f"{unit.parts[which].kind} half: {best[which].words}")


def _strongest(
    traced: Traced, building: Building, straight: tuple[Crossing, ...]
) -> tuple[tuple[Crossing, ...], Bounce | None, str]:
    """What the strongest of all ways to one point meets, the mirror it goes by, and what the others add in words."""
    margins = traced.way_margin_db()
    order = np.argsort(-margins)
    best = int(order[0])
    if not np.isfinite(margins[best]):
        return straight, None, ""
    added = float(traced.margin_db()[0] - margins[best])
    others = order[1:][np.isfinite(margins[order[1:]])]
    more = ""
    if added >= _WORTH_ADDING_DB and len(others):
        next_best = int(others[0])
        way = f"by {_mirror(building, traced, next_best)}" if traced.mirror[next_best] >= 0 else "straight"
        more = f"; {way}{' and others' if len(others) > 1 else ''}, {added:+.1f} dB"
    if traced.mirror[best] < 0:
        return straight, None, more
    parts = [(k, int(traced.part[k])) for k in np.flatnonzero(traced.way == best)]
    met = tuple(
        Crossing(
            building.part_name(part), building.part_owner(part), building.part_made_of(part).name, float("nan"),
            float(np.degrees(np.arccos(np.clip(traced.cosine[k], 0, 1)))), float(traced.loss_db[k]),
        )
        for k, part in parts
    )  # fmt: skip
    angle = float(np.degrees(np.arccos(np.clip(traced.reflect_cosine[best], 0, 1))))
    name = building.part_name(int(traced.mirror_part[best]))
    by = Bounce(name, _mirror(building, traced, best), angle, float(traced.reflect_db[best]))
    return met, by, more


def _mirror(building: Building, traced: Traced, way: int) -> str:
    """The mirror of a way, as `called` calls what is crossed."""
    part = int(traced.mirror_part[way])
    made = building.part_made_of(part).name
    return called(building, Crossing(building.part_name(part), "", made, 0.0, 0.0, 0.0))


def _words(building: Building, met: Sequence[Crossing], by: Bounce | None) -> str:
    if by is None:
        return through_words(building, met)
    words = f"by {by.called}, {by.loss_db:.1f} dB"
    through = through_words(building, met)
    return words if through == _FREE else f"{words}, and {through}"


def _missed_words(
    cause: str, straight: Sequence[Crossing], words: str, distance: float, potential: float, by: Bounce | None
) -> str:
    if cause == "blocked":
        stops = next((c for c in straight if not np.isfinite(c.loss_db)), None)
        hidden = f"hidden by {stops.object}" if stops is not None else "hidden"
        return hidden if by is None else f"{hidden}, too weak {words}"
    if cause == "material-loss":
        return f"lost {words}" if by is None else f"too weak {words}"
    if cause in ("out-of-reach", "too-warm"):
        # Margin goes with the fourth power of the distance: so far is too far.
        beyond = distance * (1 - 10 ** (potential / 40)) if np.isfinite(potential) else np.inf
        return f"{beyond:.1f} m beyond the reach" if np.isfinite(beyond) else _NO_MOTION
    return {"outside-lens": "outside the lens", "masked": "masked"}.get(cause, cause)


def through_words(building: Building, crossings: Sequence[Crossing]) -> str:
    """`through laminate panel WC/divider 2, 1.6 dB`; `free sight` where nothing is crossed that costs anything."""
    costly = [c for c in crossings if c.loss_db >= _WORTH_DB]
    if not costly:
        return _FREE
    loss = sum(c.loss_db for c in costly)
    names = [called(building, c) for c in costly]
    if len(names) > 3:
        worst = sorted(range(len(names)), key=lambda k: -costly[k].loss_db)[:2]
        names = [*(names[k] for k in sorted(worst)), f"{len(names) - 2} more"]
    return f"through {listed(names)}, " + (f"{loss:.1f} dB" if np.isfinite(loss) else "which stops it")


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

"""What each unit makes of each nuisance: the margin at the worst point of it, and how that comes about."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from raycover.catalogue import Construction
from raycover.detectors import Unit
from raycover.physics import disturbance
from raycover.physics.infrared import contrast_db
from raycover.physics.microwave import cross_section_db
from raycover.rays.ray_scene import LIFT, Crossing, RayScene
from raycover.scene.nuisances import Nuisance
from raycover.scene.schema import Scene
from raycover.solving.casting import CAUSES, Weather, judge, potential_db
from raycover.solving.combining import combined_db, deciding
from raycover.solving.paths import imaging
from raycover.trips.places import Source

Floats = NDArray[np.floating]
Verdict = Literal["trips", "may trip", "no"]

#: Ways by mirrors that add less than this (dB) are not spoken of.
_DECIDES_DB = 3.0
#: Where distance alone leaves less than this (dB), only the best point is followed up.
LOWEST_DB = -30.0


@dataclass(frozen=True)
class Rules:
    """What holds for every pair: the reserve (dB), the air, what people and losses are like.

    `pitch_deg` by infrared unit: of a pair of its lens' zones.
    """

    reserve_db: float
    people: Weather
    pitch_deg: Mapping[str, float]

    @classmethod
    def of(cls, scene: Scene, pitch_deg: Mapping[str, float]) -> Rules:
        return cls(scene.conditions.reserve_db, Weather.of(scene), pitch_deg)

    def verdict(self, margin_db: float) -> Verdict:
        return "trips" if margin_db >= 0 else "may trip" if margin_db >= -self.reserve_db else "no"


@dataclass(frozen=True)
class ZoneHits:
    """Zones of a simulated lens that fall on a source: (ring, zone), rings from 1 inmost, zones from 1 anticlockwise.

    `n_rings` of the lens; `generic`: derived from the footprint; `signal_db`: strongest signal against the threshold
    of the declared test, −inf where there is none.
    """

    zones: tuple[tuple[int, int], ...]
    n_rings: int
    generic: bool
    signal_db: float


@dataclass(frozen=True)
class Effect:
    """What a unit makes of a nuisance, at the worst point `at` (3,) of it.

    `margin_db` = `person_db`, that of a person there, + each of `terms` (words → dB); `reason` says what keeps it
    from more, where it does not trip; `crossings` those of the straight way, `mirror` the part that the best way by a
    mirror goes by, where such ways make the margin. `margins_db` and `points` (n,) (n, 3) are those of all points
    looked at; `zones`, of hot things in sight, what the simulated lens makes of them. What a dual unit makes of it is
    told of the half that decides, `technology`, and `halves` are the margins of both (−inf: answers to no such thing);
    one of `trigger-then-hold` is asked whether it is switched on, `held_db` is the margin with which it is then held.
    """

    nuisance: str
    kind: str
    unit: str
    technology: Literal["infrared", "microwave"]
    margin_db: float
    verdict: Verdict
    person_db: float
    terms: dict[str, float]
    at: tuple[float, float, float]
    distance_m: float
    reason: str
    blocker: str | None
    crossings: tuple[Crossing, ...]
    mirror: str | None
    margins_db: Floats
    points: Floats
    zones: ZoneHits | None = None
    halves: Mapping[str, float] | None = None
    held_db: float | None = None


def concerns(source: Source, unit: Unit, rays: RayScene) -> bool:
    """Whether a unit is asked: its technology answers to such a thing, and it is not there to notice it.

    People beyond a door are noticed rightly by the units of the room that they walk in.
    """
    spec = source.spec
    if spec.detectors is not None and unit.name not in spec.detectors:
        return False
    if spec.default.person:
        home = rays.building.rooms_at(np.concatenate([unit.position[None], source.points]))
        return spec.detectors is not None or home[0] < 0 or home[0] not in home[1:]
    return any(_answers(source, part) for part in unit.parts)


def _answers(source: Source, unit: Unit) -> bool:
    """Whether a unit of one technology answers to such a thing at all."""
    spec = source.spec
    if spec.default.person:
        return True
    return spec.echo_m2 is not None if unit.kind == "microwave" else spec.is_hot


def effect(source: Source, unit: Unit, rays: RayScene, rules: Rules, behind: Construction | None = None) -> Effect:
    """What a unit makes of a nuisance. `behind`: what covers it where it stands inside a wall.

    Each half of a dual unit is judged at its own worst point, and their margins are combined.
    """
    answering = [_answers(source, part) for part in unit.parts]
    found = [
        _effect(source, part, rays, rules, behind) if answers else None
        for part, answers in zip(unit.parts, answering, strict=True)
    ]
    told = [one for one in found if one is not None]
    if not unit.halves:
        return told[0]
    margins = [np.array([-np.inf if one is None else one.margin_db]) for one in found]
    which = int(deciding(unit, "any", margins, margins)[0])
    margin = float(combined_db(unit, "any", margins)[0])
    by = found[which] or told[0]
    halves: dict[str, float] = {part.kind: float(db[0]) for part, db in zip(unit.parts, margins, strict=True)}
    held = max(halves.values()) if unit.combine == "trigger-then-hold" else None
    one = replace(by, unit=unit.name, halves=halves, held_db=held, margin_db=margin, verdict=rules.verdict(margin))
    if found[which] is None:  # the half that it hangs on does not answer, whatever the other makes of it
        return replace(one, reason=f"{unit.parts[which].kind}-half", margins_db=np.full_like(by.margins_db, -np.inf))
    return one


def _effect(source: Source, unit: Unit, rays: RayScene, rules: Rules, behind: Construction | None) -> Effect:
    points = source.points if source.host is None else _on_our_side(source, unit)
    weather = rules.people if source.spec.default.person else rules.people.unheated
    parts = _microwave_terms(source, unit) if unit.kind == "microwave" else _infrared_terms(source, unit, points, rules)
    if source.host is not None and behind is not None:
        parts["cover"] = _cover_db(source, unit, points, behind, rules)
    parts = {name: np.broadcast_to(v, len(points)) for name, v in parts.items()}
    bound = potential_db(unit, points, "any") + sum(np.where(np.isfinite(v), v, 0.0) for v in parts.values())
    if bound.max() < LOWEST_DB:
        best = [int(np.argmax(bound))]
        points, parts = points[best], {name: v[best] for name, v in parts.items()}
    extra = sum(parts.values(), np.zeros(len(points)))
    judged = judge(unit, points, "any", rays, weather)
    # What stands inside a wall lies just behind its mirror: only the straight way to it means anything.
    person = judged.margin_db if source.host is None else judged.straight_db
    margins = person + extra
    # Where nothing gets through, what distance alone would make of it tells the point to speak of.
    worst = int(np.argmax(margins)) if np.isfinite(margins).any() else int(np.argmax(judged.potential_db))
    met = rays.crossings(
        rays.segments(unit.position, points[[worst]], unit.ahead), unit.frequency_ghz, rules.people.losses
    )
    blocker = int(judged.blocker[worst])
    terms = {name: float(v[worst]) for name, v in parts.items()}
    margin = float(margins[worst])
    return Effect(
        nuisance=source.spec.name,
        kind=source.spec.kind,
        unit=unit.name,
        technology="microwave" if unit.kind == "microwave" else "infrared",
        margin_db=margin,
        verdict=rules.verdict(margin),
        person_db=float(person[worst]),
        terms=terms,
        at=(float(points[worst, 0]), float(points[worst, 1]), float(points[worst, 2])),
        distance_m=float(judged.distance_m[worst]),
        reason="" if margin >= 0 else _reason(CAUSES[judged.cause[worst]], terms),
        blocker=rays.building.part_name(blocker) if blocker >= 0 else None,
        crossings=tuple(met),
        mirror=_mirror(unit, points[worst], float(person[worst]), float(judged.straight_db[worst]), rays, weather),
        margins_db=margins,
        points=points,
    )


def _mirror(
    unit: Unit, point: Floats, margin_db: float, straight_db: float, rays: RayScene, weather: Weather
) -> str | None:
    """The part that the best way by a mirror goes by, where those ways decide the margin."""
    if not margin_db > straight_db + _DECIDES_DB:
        return None
    seen = imaging(unit, unit.footprints_for("any"), rays, weather)
    if seen is None:
        return None
    ways = seen.by_mirrors((point - unit.position)[None], np.array([straight_db]))
    return rays.building.part_name(int(ways.part[int(np.argmax(ways.margin_db))])) if len(ways.part) else None


def _reason(cause: str, terms: dict[str, float]) -> str:
    """Why it does not trip: what keeps a person unseen there, else the term that costs most."""
    if cause != "none":
        return cause
    return min(terms, key=lambda name: terms[name]) if terms else "none"


def _microwave_terms(source: Source, unit: Unit) -> dict[str, Floats]:
    spec = source.spec
    if spec.default.person and spec.cross_section_m2 is None:
        echo = 0.0
    else:
        assert spec.echo_m2 is not None
        echo = float(cross_section_db(spec.echo_m2, disturbance.WALKER_M2))
    slow, fast = spec.speeds_mps
    moving = np.any(source.along != 0, axis=1)
    sight = source.points - unit.position
    sight = sight / np.maximum(np.linalg.norm(sight, axis=1, keepdims=True), 1e-9)
    # Parts of what stands move every way; what runs along its line comes nearer by the cosine only.
    radial = np.where(moving, np.abs(np.einsum("ij,ij->i", sight, source.along)), 1.0)
    return {"size": np.asarray(echo), "speed": disturbance.doppler_db(slow * radial, fast * radial)}


def _infrared_terms(source: Source, unit: Unit, points: Floats, rules: Rules) -> dict[str, Floats]:
    """By points (n, 3): what stands somewhere is as warm as it is in the air there, and seen against that air."""
    spec = source.spec
    if spec.default.person:
        return {}
    airs, which = np.unique(rules.people.ambient_at(points), return_inverse=True)
    contrast = np.array([contrast_db(_contrast_in(spec, air)) for air in airs.tolist()])[which.ravel()]
    slant = np.linalg.norm(source.points - unit.position, axis=1)
    size = disturbance.fill_db(source.area_m2(unit.position), slant, rules.pitch_deg[unit.name])
    return {"contrast": contrast, "size": size, "change": np.asarray(change_of(spec))}


def _contrast_in(spec: Nuisance, ambient_c: float) -> Floats:
    """Contrast of a hot thing against air of a temperature (°C), relative to a person's at 20 °C."""
    surface = spec.surface_at(ambient_c)
    assert surface is not None
    return disturbance.source_contrast(surface, ambient_c, spec.emissivity)


def change_of(spec: Nuisance) -> float:
    """What a detector that answers to change only makes of the way its heat changes, dB; −inf where it never does."""
    ways = [0.0] if spec.motion != "never" else []
    change, flicker = spec.heat
    if change is not None:
        ways.append(float(disturbance.change_db(change)))
    if flicker is not None:
        ways.append(float(disturbance.flicker_db(flicker)))
    return max(ways, default=-np.inf)


def _on_our_side(source: Source, unit: Unit) -> Floats:
    """Points of what stands inside a wall, brought to the face of that wall's sheet that a unit looks at.

    The wall itself is then not crossed: what covers the thing towards the room counts instead.
    """
    assert source.host is not None
    frame = source.host.frame
    normal = frame.normal
    off = (source.points - frame.origin) @ normal
    side = 1.0 if float((unit.position - frame.origin) @ normal) >= 0 else -1.0
    return np.asarray(source.points + (side * 2 * LIFT - off)[:, None] * normal)


def _cover_db(source: Source, unit: Unit, points: Floats, behind: Construction, rules: Rules) -> Floats:
    assert source.host is not None
    if unit.frequency_ghz is None:
        return np.asarray(-np.inf if behind.stops_infrared else 0.0)
    sight = points - unit.position
    length = np.maximum(np.linalg.norm(sight, axis=1), 1e-9)
    cosine = np.abs(sight @ source.host.frame.normal) / length
    return np.asarray(-2 * behind.loss_table(unit.frequency_ghz, rules.people.losses).loss_db(cosine))


def effects(
    pairs: Sequence[tuple[Source, Construction | None, RayScene]], units: Sequence[Unit], rules: Rules
) -> list[Effect]:
    """Every effect of (nuisance, cover, what rays meet while it is there) on the units that answer to it."""
    return [
        effect(source, unit, rays, rules, behind)
        for source, behind, rays in pairs
        for unit in units
        if concerns(source, unit, rays)
    ]

"""Detectors made ready: a scene's detector with its pattern resolved for where it hangs.

This is where the words of the scene and the catalogue become the plain numbers that the physics takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from raycover.errors import Problem
from raycover.physics.directivity import Beam, Beams, Directivity, Elevation, share_behind
from raycover.physics.margin import unit_rotation, worst_against_footprint_db
from raycover.physics.microwave import body_db, sensitivity_db
from raycover.physics.motion import SpeedBand, with_derived
from raycover.physics.pattern import Declaration, Footprint, Mask, mask_share, resolve, with_gain
from raycover.physics.shapes import Array, Circle, Ellipse, Polar, Rectangle, Sector, Shape
from raycover.scene.devices import DetectorSpec, MaskSpec, PatternSpec, ShapeSpec
from raycover.scene.schema import Scene


@dataclass(frozen=True)
class Unit:
    """A detector in its place.

    `position` (3,) absolute, `rotation` (3, 3) with the unit's axes as columns, `footprints` one a declared
    motion at its mounting height (its sensitivity setting and directivity in them), `reach_behind` None for
    infrared, `speeds` the radial speeds it answers to where its entry says. `corrected_db` is what the scene's
    corrections add to its margin, in the footprints too.
    """

    name: str
    title: str
    kind: Literal["infrared", "microwave"]
    frequency_ghz: float | None
    position: Array
    mounting: float
    rotation: Array
    turn_deg: float
    tilt_deg: float
    footprints: tuple[Footprint, ...]
    masks: tuple[Mask, ...]
    reach_behind: float | None
    speeds: SpeedBand | None = None
    sensitivity_pct: float = 100.0
    corrected_db: float = 0.0

    @property
    def derived_motions(self) -> dict[str, str]:
        """{motion that is not declared: how it is taken from one that is}."""
        return {f.motion: f.derived for f in self.footprints if f.derived}

    def footprints_for(self, motion: str, target_m2: float | None = None) -> tuple[Footprint, ...]:
        """The footprints that count for a motion ("any": all); empty where it is not declared.

        `target_m2`: radar cross section (m²) of what moves, each declaration compared with the body it assumes
        (`microwave.body_db`); None: that body. Infrared knows none.
        """
        chosen = tuple(f for f in self.footprints if motion in ("any", f.motion))
        if target_m2 is None or self.kind == "infrared":
            return chosen
        return tuple(with_gain(f, body_db(target_m2, f.motion)) for f in chosen)


def shape_of(spec: ShapeSpec) -> Shape:
    """The physics' shape for a shape of a file."""
    if spec.circle is not None:
        return Circle(spec.circle.diameter)
    if spec.rectangle is not None:
        return Rectangle(spec.rectangle.length, spec.rectangle.width)
    if spec.ellipse is not None:
        return Ellipse(spec.ellipse.length, spec.ellipse.width)
    if spec.sector is not None:
        return Sector(spec.sector.reach, spec.sector.spread_deg)
    assert spec.polar is not None
    return Polar(tuple(a for a, _ in spec.polar), tuple(r for _, r in spec.polar))


def declarations_of(pattern: PatternSpec) -> tuple[Declaration, ...]:
    return tuple(Declaration(d.mounting, d.plane, d.motion, shape_of(d.shape)) for d in pattern.declared)


def masks_of(specs: Sequence[MaskSpec]) -> tuple[Mask, ...]:
    return tuple(
        Mask(
            m.from_deg,
            m.to_deg,
            m.off_axis_from_deg,
            m.off_axis_to_deg,
            m.loss_db if m.loss_db is not None else np.inf,
        )
        for m in specs
    )


def directivity_of(pattern: PatternSpec) -> Directivity | None:
    """What an entry says of directions off its footprint, None where it says nothing."""
    if pattern.elevation is not None:
        return Elevation(tuple(a for a, _ in pattern.elevation), tuple(s for _, s in pattern.elevation))
    if pattern.beams is not None:
        return Beams(tuple(Beam(b.azimuth_deg, b.off_axis_deg, b.width_deg) for b in pattern.beams))
    return None


def reach_behind_of(pattern: PatternSpec) -> float | None:
    """Share of the reach behind the mounting plane: None for infrared, 0 where the entry says nothing."""
    if pattern.kind == "infrared":
        return None
    if pattern.front_to_back_db is not None:
        return share_behind(pattern.front_to_back_db)
    return pattern.reach_behind if pattern.reach_behind is not None else 0.0


def speeds_of(pattern: PatternSpec) -> SpeedBand | None:
    """The radial speeds that an entry answers to, None where it says nothing."""
    if pattern.speed is not None:
        return SpeedBand(pattern.speed.from_mps, pattern.speed.to_mps)
    if pattern.band_hz is not None and pattern.frequency_ghz is not None:
        return SpeedBand.of_doppler(*pattern.band_hz, pattern.frequency_ghz)
    return None


def footprints_of(pattern: PatternSpec, mounting: float, *, derive: bool = False) -> tuple[Footprint, ...]:
    """What an entry declares, resolved for a mounting height (m).

    `derive`: with the motions that a microwave entry does not declare.
    """
    footprints = resolve(declarations_of(pattern), mounting, directivity_of(pattern))
    return with_derived(footprints, speeds_of(pattern)) if derive and pattern.kind == "microwave" else footprints


def make_unit(
    detector: DetectorSpec, pattern: PatternSpec, floor: float, *, derive: bool = False, corrected_db: float = 0.0
) -> Unit:
    """A detector ready for casting, `floor` (m) the floor it is mounted above; `derive` as for `footprints_of`.

    `corrected_db` is what a scene's corrections add to its margin.
    """
    footprints = footprints_of(pattern, detector.mounting, derive=derive)
    if detector.sensitivity_pct != 100:
        footprints = tuple(with_gain(f, sensitivity_db(detector.sensitivity_pct)) for f in footprints)
    if corrected_db:
        footprints = tuple(with_gain(f, corrected_db) for f in footprints)
    return Unit(
        name=detector.name,
        title=getattr(pattern, "title", "own pattern"),
        kind=pattern.kind,
        frequency_ghz=pattern.frequency_ghz,
        position=np.array([*detector.at, floor + detector.mounting]),
        mounting=detector.mounting,
        rotation=unit_rotation(detector.turn_deg, detector.tilt_deg),
        turn_deg=detector.turn_deg,
        tilt_deg=detector.tilt_deg,
        footprints=footprints,
        masks=masks_of(detector.masks),
        reach_behind=reach_behind_of(pattern),
        speeds=speeds_of(pattern),
        sensitivity_pct=detector.sensitivity_pct,
        corrected_db=corrected_db,
    )


def check_detectors(scene: Scene) -> list[Problem]:
    """Masks beyond what an entry allows, masks of the wrong kind, heights that nobody declared, wrong settings.

    Unknown models and constructions are passed over: `check_scene` reports those.
    """
    found: list[Problem] = []
    for index, detector in enumerate(scene.detectors):
        if detector.model is not None and detector.model not in scene.catalogue.detectors:
            continue
        pattern = scene.pattern_of(detector)
        for k, mask in enumerate(detector.masks):
            if mask.loss_db is not None and pattern.kind == "infrared":
                found.append(
                    Problem(
                        "mask-loss",
                        f'"{detector.name}": an infrared mask is always total, loss_db means nothing there',
                        scene.position("detectors", index, "masks", k, "loss_db"),
                        "take loss_db out",
                    )
                )
        found += _settings(scene, index, pattern)
        if detector.masks and pattern.largest_mask_share is not None:
            share = max(mask_share(masks_of(detector.masks), d) for d in declarations_of(pattern))
            if share > pattern.largest_mask_share + 1e-6:
                found.append(
                    Problem(
                        "mask-too-large",
                        f'"{detector.name}": its masks take {share:.1%} of the pattern, '
                        f"{pattern.largest_mask_share:.0%} is the most",
                        scene.position("detectors", index, "masks"),
                        "mask less, turn the unit, or choose a model with a narrower pattern",
                    )
                )
        if (allowed := pattern.mounting) is not None and not (
            allowed.from_m - 1e-9 <= detector.mounting <= allowed.to_m + 1e-9
        ):
            found.append(
                Problem(
                    "mounting-height",
                    f'"{detector.name}" is mounted at {detector.mounting:g} m, outside the '
                    f"{allowed.from_m:g} to {allowed.to_m:g} m it is meant for",
                    scene.position("detectors", index, "mounting"),
                    "choose another model, or ask its maker",
                    severity="warning",
                )
            )
        elif any(f.extrapolated for f in resolve(declarations_of(pattern), detector.mounting)):
            heights = sorted({d.mounting for d in pattern.declared})
            found.append(
                Problem(
                    "outside-declared-heights",
                    f'"{detector.name}" is mounted at {detector.mounting:g} m, outside the declared mounting heights '
                    f"({', '.join(f'{h:g}' for h in heights)} m): the nearest one's angles and slant ranges are used",
                    scene.position("detectors", index, "mounting"),
                    "add a declaration for this height to the model if its data sheet has one",
                    severity="warning",
                )
            )
        found += _outside_materials(scene, index)
    return found


#: An elevation table may differ from the declared footprint by so much (dB): tables are read off diagrams.
_CONTRADICTS_DB = 0.5


def contradictions(pattern: PatternSpec) -> list[str]:
    """Where an elevation table says another thing than a declared footprint, in words."""
    if pattern.elevation is None:
        return []
    found = []
    for declared in pattern.declared:
        (footprint,) = (f for f in footprints_of(pattern, declared.mounting) if f.motion == declared.motion)
        lack, excess = worst_against_footprint_db(footprint)
        where = f"{declared.motion} at {declared.mounting:g} m"
        if lack > _CONTRADICTS_DB:
            found.append(f"{where}: the elevation table leaves parts of the footprint unseen, by up to {lack:.1f} dB")
        if excess > _CONTRADICTS_DB:
            found.append(f"{where}: by the elevation table it reaches beyond its footprint, by up to {excess:.1f} dB")
    return found


def _settings(scene: Scene, index: int, pattern: PatternSpec) -> list[Problem]:
    """A sensitivity that the unit cannot be set to, motions that are derived, a table against its footprint."""
    detector = scene.detectors[index]
    source = ("detectors", index, "model" if detector.pattern is None else "pattern")
    low, high = pattern.settings_pct
    found = []
    if not low - 1e-9 <= detector.sensitivity_pct <= high + 1e-9:
        given = "" if pattern.sensitivity_pct is not None else " (its entry does not say: these are usual)"
        found.append(
            Problem(
                "sensitivity-range",
                f'"{detector.name}" is set to {detector.sensitivity_pct:g} % of its reach, '
                f"{low:g} to {high:g} % is what it allows{given}",
                scene.position("detectors", index, "sensitivity_pct"),
                "set it within that range, or give the entry sensitivity_pct: {from, to} as its data sheet says",
            )
        )
    found += [
        Problem(
            "elevation-against-footprint",
            f'"{detector.name}": {what}',
            scene.position(*source, *(["elevation"] if detector.model is None else [])),
            "check both against the data sheet: on the declared plane the table must give the declared footprint",
        )
        for what in contradictions(pattern)
    ]
    if scene.conditions.derive_motions:
        found += [
            Problem(
                "derived-motion",
                f'"{detector.name}": {footprint.motion} motion is not declared, taken {footprint.derived}',
                scene.position(*source),
                "declare it as its data sheet does, or leave derive_motions out: then such a plane gets no margin",
                severity="warning",
            )
            for footprint in footprints_of(pattern, detector.mounting, derive=True)
            if footprint.derived
        ]
    return found


def _outside_materials(scene: Scene, index: int) -> list[Problem]:
    """A microwave frequency at which something in the scene has no figure, or only a nearby one."""
    pattern = scene.pattern_of(scene.detectors[index])
    if pattern.kind != "microwave" or pattern.frequency_ghz is None:
        return []
    frequency = pattern.frequency_ghz
    doubts = [doubt for made in scene.constructions_used() if (doubt := made.doubt_at(frequency)) is not None]
    made_of = {solid.material for solid in scene.solids}.union(*(rack.materials() for rack in scene.racking))
    made_of |= {row.material for row in scene.fixtures if row.kind != "mirror"}
    made_of |= {made.material for mesh in scene.meshes for _, made in mesh.said if made.material is not None}
    solids = {scene.catalogue.solids[name].material for name in made_of & set(scene.catalogue.solids)}
    outside = {known for doubt in doubts if not doubt.stands_in for known in doubt.known}
    outside |= {
        material.known_words for material in solids if material is not None and not material.holds_at(frequency)
    }
    own = scene.detectors[index].pattern is not None
    at = scene.position("detectors", index, *(("pattern", "frequency_ghz") if own else ("model",)))
    found = []
    if outside:
        found.append(
            Problem(
                "frequency-outside-material",
                f"at {frequency:g} GHz there is no figure for {', '.join(sorted(outside))}",
                at,
                "use another construction or solid, or a material of your own measured at this frequency",
            )
        )
    nearby = [f"{', '.join(doubt.known)}: at {doubt.stands_in}" for doubt in doubts if doubt.stands_in]
    earlier = (scene.pattern_of(detector) for detector in scene.detectors[:index])
    if nearby and all(other.frequency_ghz != frequency for other in earlier):
        found.append(
            Problem(
                "nearby-measurement",
                f"losses at {frequency:g} GHz are those measured nearest to it: {'; '.join(nearby)}",
                at,
                "reckon with a few dB more or less, or enter a construction of your own measured at this frequency",
                severity="warning",
            )
        )
    return found

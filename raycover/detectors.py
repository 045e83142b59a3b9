"""Detectors made ready: a scene's detector with its pattern resolved for where it hangs.

This is where the words of the scene and the catalogue become the plain numbers that the physics takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from raycover.errors import Problem
from raycover.physics.margin import unit_rotation
from raycover.physics.pattern import Declaration, Footprint, Mask, mask_share, resolve
from raycover.physics.shapes import Array, Circle, Ellipse, Polar, Rectangle, Sector, Shape
from raycover.scene.devices import DetectorSpec, MaskSpec, PatternSpec, ShapeSpec
from raycover.scene.schema import Scene


@dataclass(frozen=True)
class Unit:
    """A detector in its place.

    `position` (3,) absolute, `rotation` (3, 3) with the unit's axes as columns, `footprints` one a declared
    motion at its mounting height, `reach_behind` None for infrared.
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

    def footprints_for(self, motion: str) -> tuple[Footprint, ...]:
        """The footprints that count for a motion ("any": all); empty where it is not declared."""
        return tuple(f for f in self.footprints if motion in ("any", f.motion))


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


def make_unit(detector: DetectorSpec, pattern: PatternSpec, floor: float) -> Unit:
    """A detector ready for casting, `floor` (m) the floor it is mounted above."""
    behind: float | None = None
    if pattern.kind == "microwave":
        behind = pattern.reach_behind if pattern.reach_behind is not None else 0.0
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
        footprints=resolve(declarations_of(pattern), detector.mounting),
        masks=masks_of(detector.masks),
        reach_behind=behind,
    )


def check_detectors(scene: Scene) -> list[Problem]:
    """Masks beyond what an entry allows, masks of the wrong kind, mounting heights that nobody declared.

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

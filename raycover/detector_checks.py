"""Detectors against their entries and the scene: settings, masks, heights, materials at their frequency."""

from __future__ import annotations

from raycover.detectors import declarations_of, footprints_of, masks_of
from raycover.errors import Problem
from raycover.physics.margin import worst_against_footprint_db
from raycover.physics.pattern import mask_share, resolve
from raycover.scene.devices import DetectorSpec, PatternSpec
from raycover.scene.schema import Scene


def check_detectors(scene: Scene) -> list[Problem]:
    """Masks beyond what an entry allows, masks of the wrong kind, heights that nobody declared, wrong settings.

    Unknown models and constructions are passed over: `check_scene` reports those.
    """
    found: list[Problem] = []
    for index, detector in enumerate(scene.detectors):
        if detector.model is not None and detector.model not in scene.catalogue.detectors:
            continue
        pattern = scene.pattern_of(detector)
        found += _as_dual(scene, index, pattern)
        for k, mask in enumerate(detector.masks):
            if mask.loss_db is not None and (mask.half or pattern.kind) != "microwave":
                dual = pattern.kind == "dual"
                found.append(
                    Problem(
                        "mask-loss",
                        f'"{detector.name}": an infrared mask is always total, loss_db means nothing there',
                        scene.position("detectors", index, "masks", k, "loss_db"),
                        "say half: microwave, or take loss_db out" if dual else "take loss_db out",
                    )
                )
        allowed = pattern.mounting
        outside = allowed is not None and not allowed.holds(detector.mounting)
        if allowed is not None and outside:
            found.append(
                Problem(
                    "mounting-height",
                    f'"{detector.name}" is mounted at {detector.mounting:g} m, outside the {allowed} it is meant for',
                    scene.position("detectors", index, "mounting"),
                    "choose another model, or ask its maker",
                    severity="warning",
                )
            )
        for part in pattern.parts:
            found += _settings(scene, index, part)
            found += _masks(scene, index, part)
            if not outside:
                found += _undeclared_height(scene, index, part)
            found += _outside_materials(scene, index, part)
    return found


def _as_dual(scene: Scene, index: int, pattern: PatternSpec) -> list[Problem]:
    """Keys of dual units at one that is none, and a trigger where nothing is triggered."""
    detector = scene.detectors[index]
    loc = ("detectors", index)
    if pattern.kind == "dual":
        combine = detector.combine or pattern.combine
        if detector.trigger is None or combine == "trigger-then-hold":
            return []
        return [
            Problem(
                "trigger-without-hold",
                f'"{detector.name}": trigger means nothing with combine: {combine}',
                scene.position(*loc, "trigger", key=True),
                "take it out, or write combine: trigger-then-hold",
            )
        ]
    given: list[tuple[str | int, ...]] = [
        (key,) for key in ("combine", "trigger", "microwave_pct") if getattr(detector, key) is not None
    ]
    given += [("masks", k, "half") for k, mask in enumerate(detector.masks) if mask.half is not None]
    return [
        Problem(
            "only-for-dual",
            f'"{detector.name}" is {pattern.kind} alone: {key[-1]} is for dual units',
            scene.position(*loc, *key, key=True),
            "take it out, or choose a dual model (raycover models lists them)",
        )
        for key in given
    ]


def _said_of(detector: DetectorSpec, part: PatternSpec, pattern: PatternSpec) -> str:
    """How messages call a unit, or one half of a dual one."""
    return f'"{detector.name}"' if part is pattern else f'"{detector.name}" ({part.kind} half)'


def _masks(scene: Scene, index: int, part: PatternSpec) -> list[Problem]:
    """Masks that take more of the pattern than its entry allows."""
    detector = scene.detectors[index]
    masks = masks_of([m for m in detector.masks if m.half in (None, part.kind)])
    if not masks or part.largest_mask_share is None:
        return []
    share = max(mask_share(masks, d) for d in declarations_of(part))
    if share <= part.largest_mask_share + 1e-6:
        return []
    return [
        Problem(
            "mask-too-large",
            f"{_said_of(detector, part, scene.pattern_of(detector))}: its masks take {share:.1%} of the pattern, "
            f"{part.largest_mask_share:.0%} is the most",
            scene.position("detectors", index, "masks"),
            "mask less, turn the unit, or choose a model with a narrower pattern",
        )
    ]


def _undeclared_height(scene: Scene, index: int, part: PatternSpec) -> list[Problem]:
    """A mounting height outside those that footprints are declared for."""
    detector = scene.detectors[index]
    if not any(f.extrapolated for f in resolve(declarations_of(part), detector.mounting)):
        return []
    heights = sorted({d.mounting for d in part.declared})
    return [
        Problem(
            "outside-declared-heights",
            f"{_said_of(detector, part, scene.pattern_of(detector))} is mounted at {detector.mounting:g} m, outside "
            f"the declared mounting heights ({', '.join(f'{h:g}' for h in heights)} m): the nearest one's angles and "
            "slant ranges are used",
            scene.position("detectors", index, "mounting"),
            "add a declaration for this height to the model if its data sheet has one",
            severity="warning",
        )
    ]


#: An elevation table may differ from the declared footprint by so much (dB): tables are read off diagrams.
_CONTRADICTS_DB = 0.5


def contradictions(pattern: PatternSpec) -> list[str]:
    """Where an elevation table says another thing than a declared footprint, in words."""
    if pattern.elevation is None:
        return []
    found: list[str] = []
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
    """A sensitivity that a unit or half cannot be set to, motions that are derived, a table against its footprint."""
    detector = scene.detectors[index]
    whole = scene.pattern_of(detector)
    said = _said_of(detector, pattern, whole)
    half = () if pattern is whole else (pattern.kind,)
    source = ("detectors", index, *(("model",) if detector.pattern is None else ("pattern", *half)))
    by_itself = half == ("microwave",) and detector.microwave_pct is not None
    key = "microwave_pct" if by_itself else "sensitivity_pct"
    setting = getattr(detector, key)
    low, high = pattern.settings_pct
    found = []
    if not low - 1e-9 <= setting <= high + 1e-9:
        given = "" if pattern.sensitivity_pct is not None else " (its entry does not say: these are usual)"
        found.append(
            Problem(
                "sensitivity-range",
                f"{said} is set to {setting:g} % of its reach, {low:g} to {high:g} % is what it allows{given}",
                scene.position("detectors", index, key),
                "set it within that range, or give the entry sensitivity_pct: {from, to} as its data sheet says",
            )
        )
    found += [
        Problem(
            "elevation-against-footprint",
            f"{said}: {what}",
            scene.position(*source, *(["elevation"] if detector.model is None else [])),
            "check both against the data sheet: on the declared plane the table must give the declared footprint",
        )
        for what in contradictions(pattern)
    ]
    if scene.conditions.derive_motions:
        found += [
            Problem(
                "derived-motion",
                f"{said}: {footprint.motion} motion is not declared, taken {footprint.derived}",
                scene.position(*source),
                "declare it as its data sheet does, or leave derive_motions out: then such a plane gets no margin",
                severity="warning",
            )
            for footprint in footprints_of(pattern, detector.mounting, derive=True)
            if footprint.derived
        ]
    return found


def _outside_materials(scene: Scene, index: int, pattern: PatternSpec) -> list[Problem]:
    """A microwave frequency at which something in the scene has no figure, or only a nearby one."""
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
    own = scene.detectors[index].pattern
    half = () if own is None or own.kind != "dual" else (pattern.kind,)
    at = scene.position("detectors", index, *(("model",) if own is None else ("pattern", *half, "frequency_ghz")))
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
    earlier = (part for detector in scene.detectors[:index] for part in scene.pattern_of(detector).parts)
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

"""What is odd about a detector's figures without being wrong: worth a second look at the data sheet.

Rules and their status: the opposite orders of tangential and radial reach follow from how the technologies
sense motion (Doppler; lens zones), presence under high bays from a simulation of our own, and lens angles and
frequency bands are common practice and EN 300 440.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from raycover.detector_checks import contradictions
from raycover.detectors import footprints_of, shape_of
from raycover.physics.shapes import azimuth_cells
from raycover.scene.devices import DeclaredSpec, PatternSpec

#: Licence-exempt bands (GHz) that these units use: EN 300 440, 47 CFR 15.245 and 15.249.
BANDS_GHZ = ((5.725, 5.875), (24.0, 24.25))
#: Lens edges beyond this angle off the axis (degrees) are rare; common practice, no source.
STEEPEST_LENS_DEG = 80.0
#: Above this mounting height (m) a seated person's small movements stay below an infrared threshold: our model.
HIGHEST_PRESENCE = 6.0
_TOLERANCE = 1e-9


def largest_radius(declared: DeclaredSpec) -> float:
    """Largest radius (m) of a declared footprint, from below the unit."""
    shape = shape_of(declared.shape)
    phi, _ = azimuth_cells(shape.corners_rad)
    corners = np.asarray(shape.corners_rad)
    phi = np.concatenate([phi, corners, corners - 1e-9, corners + 1e-9, np.linspace(0, 2 * np.pi, 5)])
    return float(shape.radius(np.cos(phi), np.sin(phi)).max())


def notes(pattern: PatternSpec) -> list[str]:
    """One sentence for each figure worth a second look; empty where nothing is odd."""
    if len(pattern.parts) > 1:
        return list(dict.fromkeys(f"{part.kind} half: {note}" for part in pattern.parts for note in notes(part)))
    infrared = pattern.kind == "infrared"
    found = [*_motions(pattern, infrared=infrared), *(_lenses(pattern) if infrared else _frequency(pattern))]
    if (allowed := pattern.mounting) is not None:
        outside = sorted({d.mounting for d in pattern.declared if not allowed.holds(d.mounting)})
        if outside:
            heights = ", ".join(f"{h:g}" for h in outside)
            found.append(f"a footprint is declared at {heights} m, outside the mounting range: is one of them a slip?")
    if missing := [m for m in ("tangential", "radial", "presence") if m not in {d.motion for d in pattern.declared}]:
        found.append(f"{' and '.join(missing)} not declared: a plane that asks for it gets nothing from this unit")
        footprints = footprints_of(pattern, pattern.declared[0].mounting, derive=True)
        found += [
            f"{f.motion} not declared: a scene with conditions: {{derive_motions: true}} takes it {f.derived}"
            for f in footprints
            if f.derived
        ]
    found += contradictions(pattern)
    if pattern.largest_mask_share is None:
        found.append("no largest mask share: masks of any size will be accepted")
    return found


def _motions(pattern: PatternSpec, *, infrared: bool) -> list[str]:
    found = []
    by_place = {(d.motion, d.mounting, d.plane): largest_radius(d) for d in pattern.declared}
    for (motion, mounting, plane), radial in by_place.items():
        tangential = by_place.get(("tangential", mounting, plane))
        if motion != "radial" or tangential is None:
            continue
        if infrared and radial > tangential + _TOLERANCE:
            found.append(
                f"at {mounting:g} m radial ({radial:g} m) reaches farther than tangential ({tangential:g} m): infrared "
                "usually sees walking across best; are the two swapped?"
            )
        if not infrared and tangential > radial + _TOLERANCE:
            found.append(
                f"at {mounting:g} m tangential ({tangential:g} m) reaches farther than radial ({radial:g} m): "
                "microwave senses walking toward it best (Doppler); are the two swapped?"
            )
    return found


def _lenses(pattern: PatternSpec) -> list[str]:
    found = []
    for d in pattern.declared:
        angle = float(np.degrees(np.arctan2(largest_radius(d), d.mounting - d.plane)))
        if angle > STEEPEST_LENS_DEG + _TOLERANCE:
            found.append(
                f"{d.motion} at {d.mounting:g} m: the lens edge lies {angle:.0f}° off the axis, more than "
                f"{STEEPEST_LENS_DEG:g}° is rare; is it a diameter given as a radius, or is the height too low?"
            )
    highest = max((d.mounting for d in pattern.declared if d.motion == "presence"), default=0.0)
    if highest > HIGHEST_PRESENCE:
        found.append(
            f"presence is declared from {highest:g} m: infrared rarely notices a seated person from above "
            f"{HIGHEST_PRESENCE:g} m"
        )
    for low, high in combinations(sorted(pattern.declared, key=lambda d: d.mounting), 2):
        same = (low.motion, low.plane) == (high.motion, high.plane) and low.mounting < high.mounting
        if same and largest_radius(low) > largest_radius(high) + _TOLERANCE:
            found.append(
                f"{low.motion} is larger at {low.mounting:g} m than at {high.mounting:g} m: "
                "an infrared footprint usually grows with height"
            )
    return found


def _frequency(pattern: PatternSpec) -> list[str]:
    frequency = pattern.frequency_ghz
    if frequency is None or any(low <= frequency <= high for low, high in BANDS_GHZ):
        return []
    bands = " and ".join(f"{low:g} to {high:g}" for low, high in BANDS_GHZ)
    return [f"{frequency:g} GHz lies outside the licence-exempt bands known here ({bands} GHz): check the data sheet"]

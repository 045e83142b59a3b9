"""What a construction does to microwave, worked out for its sheet: against angle, against frequency, in a table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from raycover.catalogue import Catalogue
from raycover.constructions import Construction
from raycover.physics.slab import Layer

Floats = NDArray[np.float64]

BANDS_GHZ = (5.8, 24.125)
"""Middles of the licence-exempt bands that detectors use (EN 300 440)."""

SHEET_M = 0.010
"""A material by itself is shown as a sheet so thick (m)."""

LOWEST_GHZ, HIGHEST_GHZ = 1.0, 100.0
_STEEPEST_DEG = 85
TABLE_DEG = (0, 30, 45, 60, 75)
_PER_DECADE, _FINE_PER_DECADE = 60, 500
_HAIR = 1e-9


@dataclass(frozen=True)
class AtFrequency:
    """One-way losses [dB] and mirrored shares of power at one frequency: (n_fine,), low and high (n_angles,)."""

    frequency_ghz: float
    averaged_db: Floats
    coherent_db: Floats
    low_db: Floats
    high_db: Floats
    mirrored: Floats
    mirrored_coherent: Floats
    mirrored_low: Floats
    mirrored_high: Floats
    stands_in: str


@dataclass(frozen=True)
class AgainstFrequency:
    """Straight through, one stretch of frequencies without a gap: losses [dB], each (n,); coherent (m,), finer."""

    frequency_ghz: Floats
    averaged_db: Floats
    low_db: Floats
    high_db: Floats
    coherent_ghz: Floats
    coherent_db: Floats


@dataclass(frozen=True)
class SheetFigures:
    """A construction, or a material as a sheet, at some frequencies and over all that it has figures for."""

    made: Construction
    is_material: bool
    source: str
    material_sources: tuple[str, ...]
    edition: str
    angles_deg: Floats
    fine_deg: Floats
    bands: tuple[AtFrequency, ...]
    stretches: tuple[AgainstFrequency, ...]
    missing_ghz: tuple[float, ...]

    @property
    def is_opaque(self) -> bool:
        return self.made.kind == "opaque"

    @property
    def is_fixed(self) -> bool:
        """Whether nothing is known to vary with thickness: measured, open or opaque."""
        return not self.made.layers or any(self.made.measured.covers(band.frequency_ghz) for band in self.bands)

    def rows(self, *, fine: bool = False) -> NDArray[np.intp]:
        """Where the angles of the table stand in `angles_deg`, or in `fine_deg`."""
        return np.searchsorted(self.fine_deg if fine else self.angles_deg, TABLE_DEG)


class NoFigure(ValueError):
    """There is no figure at a frequency asked for; `known` says where there are."""

    def __init__(self, frequency_ghz: float, known: Sequence[str]) -> None:
        self.frequency_ghz, self.known = frequency_ghz, tuple(known)
        super().__init__(f"no figure at {frequency_ghz:g} GHz: {', '.join(known)}")


def sheet_of(catalogue: Catalogue, name: str) -> tuple[Construction, bool, str] | None:
    """(construction, whether it stands for a material by itself, source) by name; None where neither has it."""
    if name in catalogue.constructions:
        made = catalogue.constructions[name]
        return made, False, made.source
    if name in catalogue.materials:
        material = catalogue.materials[name]
        kind = "opaque" if material.is_metal else "layers"
        source = catalogue.sources[f"material {name}"]
        return Construction(name, kind, SHEET_M, (Layer(SHEET_M, material),), source=source), True, source  # type: ignore[arg-type]
    return None


def sheet_figures(catalogue: Catalogue, name: str, frequencies_ghz: Sequence[float] = ()) -> SheetFigures:
    """Everything the sheet shows. Raises KeyError for an unknown name, `NoFigure` at a frequency asked for.

    Without `frequencies_ghz` the two bands are taken, those that there are figures for; with a figure for neither,
    the end of its range that is nearest to them.
    """
    found = sheet_of(catalogue, name)
    if found is None:
        raise KeyError(name)
    made, is_material, source = found
    for frequency in frequencies_ghz:
        if (doubt := made.doubt_at(frequency)) is not None and not doubt.stands_in:
            raise NoFigure(frequency, doubt.known)
    stretches = _stretches(made)
    chosen = list(frequencies_ghz) or [f for f in BANDS_GHZ if _is_known(made, f)]
    if not chosen:
        ends = [end for low_high in stretches for end in low_high]
        chosen = [min(ends, key=lambda f: min(abs(np.log(f / band)) for band in BANDS_GHZ))]
    angles, fine = np.arange(0.0, _STEEPEST_DEG + 1), np.arange(0.0, _STEEPEST_DEG + 0.1, 0.5)
    return SheetFigures(
        made,
        is_material,
        source,
        () if is_material else _sources(catalogue, made),
        catalogue.edition,
        angles,
        fine,
        tuple(_at(made, frequency, angles, fine) for frequency in chosen),
        tuple(_against(made, low, high) for low, high in stretches),
        tuple(f for f in BANDS_GHZ if not frequencies_ghz and not _is_known(made, f)),
    )


def _sources(catalogue: Catalogue, made: Construction) -> tuple[str, ...]:
    """Where the materials' figures come from, those of one source together."""
    names: dict[str, list[str]] = {}
    for material in made.materials:
        if (source := catalogue.sources.get(f"material {material.name}")) is not None:
            names.setdefault(source, []).append(material.name)
    return tuple(f"{', '.join(of)}: {source}" for source, of in names.items())


def _is_known(made: Construction, frequency_ghz: float) -> bool:
    doubt = made.doubt_at(frequency_ghz)
    return doubt is None or bool(doubt.stands_in)


def _at(made: Construction, frequency_ghz: float, angles_deg: Floats, fine_deg: Floats) -> AtFrequency:
    cos, fine = np.cos(np.radians(angles_deg)), np.cos(np.radians(fine_deg))
    low, high = made.loss_spread_db(frequency_ghz, cos)
    most, least = made.reflection_spread_db(frequency_ghz, cos)
    doubt = made.doubt_at(frequency_ghz)
    return AtFrequency(
        frequency_ghz,
        made.loss_db(frequency_ghz, fine, "averaged"),
        made.loss_db(frequency_ghz, fine, "coherent"),
        low,
        high,
        made.mirrored_power(frequency_ghz, fine, "averaged"),
        made.mirrored_power(frequency_ghz, fine, "coherent"),
        10 ** (-least / 10),
        10 ** (-most / 10),
        "" if doubt is None else doubt.stands_in,
    )


def _stretches(made: Construction) -> list[tuple[float, float]]:
    """Ranges of frequency (GHz) that a curve can be drawn over: what every material has figures for."""
    if made.kind in ("opaque", "open"):
        return [(LOWEST_GHZ, HIGHEST_GHZ)]
    edges = {LOWEST_GHZ, HIGHEST_GHZ}
    for material in made.materials:
        edges |= {end for ends in material.ranges_ghz for end in ends}
    if made.measured:
        edges |= {made.measured.from_ghz, made.measured.to_ghz}
    ordered = sorted(edge for edge in edges if LOWEST_GHZ <= edge <= HIGHEST_GHZ)
    found: list[tuple[float, float]] = []
    for low, high in pairwise(ordered):
        if made.doubt_at(float(np.sqrt(low * high))) is not None:
            continue
        # measured and computed losses do not meet: each keeps to its side of where measuring began or ended
        ends = (low * (1 + _HAIR), high * (1 - _HAIR)) if made.measured and made.layers else (low, high)
        if made.measured.covers(float(np.sqrt(low * high))):
            ends = low, high
        if found and found[-1][1] == ends[0]:
            found[-1] = found[-1][0], ends[1]
        else:
            found.append(ends)
    return found or [(edge, edge) for edge in ordered if made.doubt_at(edge) is None]


def _against(made: Construction, low_ghz: float, high_ghz: float) -> AgainstFrequency:
    straight = np.ones(1)
    frequency, fine = _steps(low_ghz, high_ghz, _PER_DECADE), _steps(low_ghz, high_ghz, _FINE_PER_DECADE)
    rows = [
        (
            float(made.loss_db(f, straight, "averaged")[0]),
            *(float(end[0]) for end in made.loss_spread_db(f, straight)),
        )
        for f in frequency.tolist()
    ]
    coherent = np.array([float(made.loss_db(f, straight, "coherent")[0]) for f in fine.tolist()])
    averaged, low, high = np.array(rows).T
    return AgainstFrequency(frequency, averaged, low, high, fine, coherent)


def _steps(low_ghz: float, high_ghz: float, per_decade: int) -> Floats:
    """Frequencies even by ratio from one end to the other, both hit exactly."""
    if high_ghz <= low_ghz:
        return np.array([low_ghz])
    steps = np.geomspace(low_ghz, high_ghz, max(2, round(per_decade * np.log10(high_ghz / low_ghz)) + 1))
    steps[0], steps[-1] = low_ghz, high_ghz
    return steps

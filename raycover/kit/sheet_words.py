"""A construction's figures in words: what it is, what is known of it, what to mind."""

from __future__ import annotations

import numpy as np

from raycover.constructions import Construction
from raycover.kit.sheet_figures import AtFrequency, SheetFigures
from raycover.physics.slab import SPREAD


def summary(figures: SheetFigures) -> str:
    """One sentence of what the sheet is."""
    made = figures.made
    if figures.is_material:
        return f"A material by itself, as a sheet of {1000 * made.thickness_m:g} mm in air."
    if made.kind == "open":
        return "Open to microwave and to infrared."
    if not made.layers and made.kind == "opaque":
        return "Opaque: neither microwave nor infrared passes; what comes is mirrored."
    if not made.layers:
        return "Known by measured losses; infrared stops at it."
    return f"{layers_words(made)}; infrared stops at it.".capitalize()


def layers_words(made: Construction) -> str:
    """Layers in order, studs and bars."""
    words = " + ".join(
        f"{1000 * layer.thickness_m:g} mm {'air' if layer.material is None else layer.material.name}"
        for layer in made.layers
    )
    if (studs := made.studs) is not None:
        words += f", studs of {studs.material.name}"
    if made.mats is not None:
        words += ", reinforced"
    return words


def figure(band: AtFrequency) -> tuple[str, str]:
    """The loss straight through as a headline, and what stands beside it."""
    loss = float(band.averaged_db[0])
    if not np.isfinite(loss):
        return "opaque", "nothing passes"
    return f"{loss:.1f} dB", f"leaves {percent(10 ** (-loss / 20))} of the reach"


def percent(share: float) -> str:
    """A share in whole per cent; what is left of very little is said as such."""
    return "< 1 %" if 0 < share < 0.005 else f"{100 * share:.0f} %"


def facts(figures: SheetFigures) -> list[tuple[str, str]]:
    """(label, value): permittivity, conductivity and range of each material, or of what was measured."""
    made = figures.made
    rows = []
    at = figures.bands[0].frequency_ghz
    for material in made.materials[:4]:
        if not material.holds_at(at):
            rows.append((material.name, material.known_words))
            continue
        eta = material.permittivity(at)
        sigma = -eta.imag * 2 * np.pi * at * 1e9 * 8.8541878128e-12
        known = " and ".join(f"{low:g}–{high:g} GHz" for low, high in material.ranges_ghz)
        value = "opaque" if material.is_metal else f"ε {eta.real:.3g}, σ {sigma:.3g} S/m at {at:g} GHz; {known}"
        rows.append((material.name, value))
    if made.measured:
        shown = made.measured.rows[:4]
        more = " …" if len(made.measured.rows) > 4 else ""
        told = ", ".join(f"{row.loss_db:g} dB at {row.frequency_ghz:g} GHz" for row in shown)
        rows.append(("measured", told + more))
    if not rows:
        rows.append(("to both", "open" if made.kind == "open" else "opaque"))
    return rows


def notes(figures: SheetFigures) -> list[str]:
    """What the reader should mind."""
    made = figures.made
    found = []
    for band in figures.bands:
        if band.stands_in:
            found.append(
                f"at {band.frequency_ghz:g} GHz nothing was measured: the figures are those at {band.stands_in}; "
                "reckon with a few dB more or less"
            )
    for frequency in figures.missing_ghz:
        found.append(f"there is no figure at {frequency:g} GHz: a scene with a detector of that band is refused")
    if made.measured and not made.measured.reflects and not made.layers:
        found.append("reflection was not measured: taken for that of a thin conducting film, |R|² = (1 − 10^(−L/20))²")
    if made.measured and made.layers:
        low, high = made.measured.from_ghz, made.measured.to_ghz
        found.append(f"measured losses hold from {low:g} to {high:g} GHz, elsewhere the layers' own")
    if made.studs is not None:
        metal = made.studs.material.is_metal
        found.append(
            "studs: power mean over the area"
            + (", their shadow grows with the angle" if metal else "")
            + "; right behind one a unit sees less (our assumption)"
        )
    if made.mats is not None:
        found.append("what bars stop is an estimate of ours, no source")
    spreads = [
        f"{m.name} ε {100 * m.spread_a:.0f} %, σ {100 * m.spread_c:.0f} %" for m in made.materials if not m.is_metal
    ]
    if spreads:
        found.append(
            f"from one batch to another (s.d.): {', '.join(spreads)}; thickness ±{100 * SPREAD:.0f} % (our assumptions)"
        )
    return found

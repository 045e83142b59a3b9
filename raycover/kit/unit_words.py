"""A detector's figures in words: for the sheet, the tables on a terminal and what follows an entry."""

from __future__ import annotations

from raycover.asking.reach import Outline
from raycover.detectors import Unit, reach_behind_of, speeds_of
from raycover.scene.devices import DetectorModel


def size_words(limit: Outline, *, sector: bool, unit: str = "") -> str:
    """`7.0` across, `12.0 × 10.0`, a sector's reach, or a dash where nothing is seen; metres."""
    if limit.reach <= 0:
        return "–"
    if sector:
        return f"{limit.reach:.1f}{unit}"
    if limit.is_round:
        return f"Ø {2 * limit.reach:.1f}{unit}"
    return f"{limit.length:.1f} × {limit.width:.1f}{unit}"


def combining_words(unit: Unit | DetectorModel) -> str:
    """How a dual unit combines its halves, in words."""
    if unit.combine == "trigger-then-hold":
        first = "both together" if unit.trigger == "both" else "infrared"
        return f"{first} must trigger, then either half holds"
    return "both halves must notice" if unit.combine == "and" else "either half notices"


def facts(model: DetectorModel) -> list[tuple[str, str]]:
    """(label, value) of an entry's other figures, units included."""
    kind = model.kind if model.frequency_ghz is None else f"{model.kind}, {model.frequency_ghz:g} GHz"
    listed = [("Technology", kind + (f" ({model.family})" if model.family else ""))]
    listed.append(("Declared from", ", ".join(f"{h:g}" for h in sorted({d.mounting for d in model.declared})) + " m"))
    if model.mounting is not None:
        listed.append(("Mounting range", str(model.mounting)))
    share = model.largest_mask_share
    listed.append(("Masks", "no limit given" if share is None else f"up to {100 * share:g} % of the declared area"))
    if model.kind == "microwave":
        listed += _radiation(model)
    if (setting := model.sensitivity_pct) is not None:
        listed.append(("Sensitivity", f"{setting.from_pct:g} to {setting.to_pct:g} % of the reach"))
    if model.bus_current_ma is not None:
        listed.append(("Bus current", f"{model.bus_current_ma:g} mA"))
    return listed


def _radiation(model: DetectorModel) -> list[tuple[str, str]]:
    """What holds off the footprint, and which speeds count."""
    listed = []
    if model.elevation is not None:
        rows = " · ".join(f"{angle:g}° {100 * share:g} %" for angle, share in model.elevation)
        listed.append(("Reach off axis", rows))
    else:
        behind = reach_behind_of(model) or 0.0
        ratio = "" if model.front_to_back_db is None else f" ({model.front_to_back_db:g} dB front to back)"
        least = "at least " if model.beams is not None else ""
        listed.append(("Reach behind it", f"{least}{100 * behind:.3g} % of the reach{ratio}, above the mounting plane"))
    if model.beams is not None:
        beams = "; ".join(f"azimuth {b.azimuth_deg:g}°, {b.off_axis_deg:g}° off its axis" for b in model.beams)
        widths = sorted({f"{b.width_deg:g}°" for b in model.beams})
        listed.append((f"Beams ({len(model.beams)})", f"{beams}; {' and '.join(widths)} wide at half power"))
    if (speeds := speeds_of(model)) is not None:
        band = "" if model.band_hz is None else f" ({model.band_hz[0]:g} to {model.band_hz[1]:g} Hz)"
        listed.append(("Radial speeds", f"{speeds.from_mps:.2g} to {speeds.to_mps:.2g} m/s{band}"))
    return listed


def sources(model: DetectorModel) -> list[str]:
    """Where the figures come from, each source once, with the motions it covers."""
    covered: dict[str, list[str]] = {}
    for declared in model.declared:
        named = covered.setdefault(declared.source or "no source given", [])
        if declared.motion not in named:
            named.append(declared.motion)
    listed = [f"footprints ({', '.join(motions)}): {source}" for source, motions in covered.items()]
    others = f"other figures: {model.source or 'no source given'}"
    return [*listed, others, "rows between and beyond: computed in the open at 20 °C"]

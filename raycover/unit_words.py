"""A detector's figures in words: for the sheet, the tables on a terminal and what follows an entry."""

from __future__ import annotations

from raycover.reach import Outline
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


def facts(model: DetectorModel) -> list[tuple[str, str]]:
    """(label, value) of an entry's other figures, units included."""
    kind = model.kind if model.frequency_ghz is None else f"{model.kind}, {model.frequency_ghz:g} GHz"
    listed = [("Technology", kind + (f" ({model.family})" if model.family else ""))]
    listed.append(("Declared from", ", ".join(f"{h:g}" for h in sorted({d.mounting for d in model.declared})) + " m"))
    if model.mounting is not None:
        listed.append(("Mounting range", f"{model.mounting.from_m:g} to {model.mounting.to_m:g} m"))
    share = model.largest_mask_share
    listed.append(("Masks", "no limit given" if share is None else f"up to {100 * share:g} % of the declared area"))
    if model.kind == "microwave":
        behind = 0.0 if model.reach_behind is None else model.reach_behind
        listed.append(("Reach behind it", f"{100 * behind:g} % of the reach, above the mounting plane"))
    if model.bus_current_ma is not None:
        listed.append(("Bus current", f"{model.bus_current_ma:g} mA"))
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

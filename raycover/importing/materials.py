"""Names that architects give materials → the catalogue's materials, constructions and solids.

The table is common practice in the languages of the files most often met (English, German, French, Dutch,
Spanish, Italian, Scandinavian); from memory, no source. What it doesn't know is guessed, and said so.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from raycover.catalogue import Catalogue, Construction
from raycover.scene.construction import InlineConstruction

AIR = "air"

#: In this order, the first that is found in a name holds: (pattern, material of the catalogue, what is assumed).
_NAMES: tuple[tuple[str, str, str], ...] = (
    (r"insul|d[äa]mm|isol|mineral ?woo?l|rock ?woo?l|glass ?woo?l|steinwoll|glaswoll|mineralwoll|\bwol\b|laine|lana "
     r"|polystyr|\beps\b|\bxps\b|\bpir\b|\bpur\b|foam|schaum", AIR, "insulation counts as air"),
    (r"stud|fram(e|ing)|st[äa]nder|c-?profil|batten|lattung|ossature|regel", AIR,
     "studs and battens left out, their depth counts as air"),
    (r"\bair\b|cavity|luft|hohlraum|lame d.air|spouw|c[áa]mara|intercapedine|void|ventilat", AIR, ""),
    (r"membrane|dampf|vapou?r|vapor|foil|folie|barri?er|felt|bitum|dpc\b|dpm\b|water ?proof|abdicht", AIR,
     "membranes count as air"),
    (r"gypsum ?fib|gips|gyps|plaster ?board|dry ?wall|pl[âa]tre|placo|yeso|cartongesso|pladur", "plasterboard", ""),
    (r"aerated|\baac\b|porenbeton|gasbeton|cellul", "brick", "aerated blocks count as brick"),
    (r"concrete|beton|béton|hormig|calcestruzzo|betong|screed|estrich|chape|precast", "concrete", ""),
    (r"brick|masonry|ziegel|mauerwerk|klinker|kalksand|brique|ma[çc]onner|baksteen|metselwerk|ladrillo|mattone|laterizio"
     r"|tegel|tegl|clay|block|parpaing|cmu\b", "brick", ""),
    (r"plaster|putz|render|stucco|enduit|mortar|m[öo]rtel|intonaco|pleister|mortero|\blime\b", "plasterboard",
     "plaster and render count as plasterboard"),
    (r"plywood|sperrholz|contreplaqu|multiplex|triplex|kryssfin", "plywood", ""),
    (r"chip ?board|particle|spanplatte|agglom|\bosb\b|\bmdf\b|hdf\b|fib(re|er) ?board|spaanplaat", "chipboard", ""),
    (r"laminate|\bhpl\b", "solid laminate", ""),
    (r"carpet|teppich|moquette|tapijt|needle", "carpet tile", ""),
    (r"vinyl|linol|\bpvc\b|rubber|resilient", "vinyl tile", ""),
    (r"ceiling (tile|board|panel)|acoustic|akustik|mineral ?fi?b|suspended ceiling", "ceiling board", ""),
    (r"wood|timber|holz|parkett|parquet|\bbois\b|hout\b|madera|legno|\btr[äae]\b|\btre\b|oak|pine|spruce|fichte|eiche"
     r"|\bclt\b|glulam|larch|beech|cedar", "wood", ""),
    (r"glass|glas\b|verglas|glaz|verre|vetro|vidrio|cristal|glasss?", "glass", ""),
    (r"steel|stahl|metal|metall|acier|staal|acero|acciaio|st[åa]l\b|alumin|zinc|zink|copper|kupfer|iron|\blead\b|tin\b",
     "metal", ""),
    (r"stone|marble|marmor|granit|naturstein|pierre|steen|piedra|pietra|slate|schiefer|terrazzo|ceramic|keramik|tile"
     r"|fliese|carrelage|porcelain|gravel|kies", "marble", "stone and ceramics count as marble"),
)  # fmt: skip
_COMPILED = tuple((re.compile(pattern, re.IGNORECASE), material, note) for pattern, material, note in _NAMES)

#: Layers thinner than this (mm) are films.
_FILM_MM = 1.0


@dataclass(frozen=True)
class LayerRead:
    """A layer as the file tells it: its material's name (None: none given) and thickness (m; None: not given)."""

    name: str | None
    thickness_m: float | None
    air: bool = False


@dataclass(frozen=True)
class Made:
    """What something is made of, as a scene says it, and each guess made on the way."""

    ref: Any
    guesses: list[str] = field(default_factory=list)
    unknown: list[str] = field(default_factory=list)


def material_of(name: str) -> tuple[str, str] | None:
    """(material of the catalogue or AIR, what is assumed) for a name, or None where the table has nothing."""
    for pattern, material, note in _COMPILED:
        if pattern.search(name):
            return material, note
    return None


def layered(layers: Sequence[LayerRead], thickness_m: float, catalogue: Catalogue) -> Made | None:
    """A construction from layers, or None where there are none. `thickness_m` is that of the body.

    Layers without a thickness share what is left of the body's; what the table doesn't know counts as
    plasterboard when thin, else as brick.
    """
    given = [layer for layer in layers if layer.name or layer.air or layer.thickness_m]
    if not given:
        return None
    guesses: list[str] = []
    unknown: list[str] = []
    open_ones = [layer for layer in given if layer.thickness_m is None]
    known_m = sum(layer.thickness_m for layer in given if layer.thickness_m is not None)
    if len(open_ones) > 1:
        guesses.append(f"{len(open_ones)} materials share its thickness evenly: the file gives none")
    each_m = max(thickness_m - known_m, 0.001) / len(open_ones) if open_ones else 0.0
    rows: list[tuple[str, float]] = []
    for layer in given:
        mm = 1000 * (each_m if layer.thickness_m is None else layer.thickness_m)
        if mm < _FILM_MM:
            continue
        found = (AIR, "") if layer.air else material_of(layer.name or "")
        if found is None:
            stand_in = "plasterboard" if mm < 30 else "brick"
            found = stand_in, f'"{layer.name or "no name"}" counts as {stand_in}'
            unknown.append(layer.name or "no name")
        if found[1]:
            _add(guesses, found[1])
        if rows and rows[-1][0] == found[0]:
            rows[-1] = found[0], rows[-1][1] + mm
        else:
            rows.append((found[0], mm))
    if not rows:
        return None
    total = sum(mm for _, mm in rows) / 1000
    if not open_ones and abs(total - thickness_m) > max(0.05 * thickness_m, 0.005):
        _add(guesses, f"its layers are {1000 * total:.0f} mm thick, its body {1000 * thickness_m:.0f} mm")
    return Made(named(rows[:20], catalogue), guesses, unknown)


def named(rows: Sequence[tuple[str, float]], catalogue: Catalogue) -> Any:
    """Rows of (material or AIR, mm) as the catalogue's construction of the same layers, else inline."""
    layers = [
        {"air_mm": round(mm, 2)} if material == AIR else {"material": material, "thickness_mm": round(mm, 2)}
        for material, mm in rows
    ]
    wanted = catalogue.construction(InlineConstruction.model_validate({"layers": layers}))
    assert wanted is not None
    for name, entry in catalogue.constructions.items():
        if _plain(entry) and len(entry.layers) == len(wanted.layers) and all(
            a.material == b.material and abs(a.thickness_m - b.thickness_m) < 1e-4
            for a, b in zip(entry.layers, wanted.layers, strict=True)
        ):  # fmt: skip
            return name
    return {"layers": layers}


def _plain(entry: Construction) -> bool:
    """Whether its layers are all there is to it."""
    return not (entry.glazing or entry.measured or entry.studs or entry.mats)


def default_wall(thickness_m: float, catalogue: Catalogue) -> Made:
    """A wall of which nothing is known: boards on studs when thin, brick when thick."""
    mm = max(1000 * thickness_m, 1.0)
    if mm <= 30:
        rows = [("plasterboard", mm)]
    elif mm <= 160:
        rows = [("plasterboard", 12.5), (AIR, max(mm - 25, 1.0)), ("plasterboard", 12.5)]
    else:
        rows = [("brick", mm)]
    kind = {1: rows[0][0]}.get(len(rows), "boards on studs")
    return Made(named(rows, catalogue), [f"no material given, taken as {kind}"])


def default_slab(thickness_m: float, catalogue: Catalogue) -> Made:
    mm = max(1000 * thickness_m, 1.0)
    return Made(named([("concrete", mm)], catalogue), ["no material given, taken as concrete"])


#: What a door or window is by a word spoken of it: (words, construction, what that is).
_DOORS = (
    (r"steel|metal|stahl|alumin\w*|acier|roller|shutter|sectional|rolltor|staal|acero", "steel-door", "metal"),
    (r"glass|glaz\w*|glas\b|verre|vetro|vidrio", "glass-10", "glass"),
    (r"\w*wood|timber|holz|\bbois\b|hout\b|madera|legno|oak|eiche|\btr[äe]\b", "door-wood-40", ""),
)
_WINDOWS = (
    (r"low.?e\b|coated|solar|beschichtet|w[äa]rmeschutz", "coated-glazing", "coated"),
    (r"single|einfach|simple vitrage", "glass-6", "one pane"),
    (r"double|triple|doppel|dreifach|isolier|insulat", "double-glazing-6-16-6", ""),
)


def door(names: Sequence[str]) -> Made:
    """A door's leaf from the words spoken of it."""
    return _by_word(names, _DOORS, Made("door-wood-40", ["timber leaf, none told"]))


def window(names: Sequence[str]) -> Made:
    """A window's panes from the words spoken of it; the frame is left out."""
    return _by_word(names, _WINDOWS, Made("double-glazing-6-16-6", ["two uncoated panes, none told"]))


def _by_word(names: Sequence[str], table: Sequence[tuple[str, str, str]], otherwise: Made) -> Made:
    for pattern, construction, what in table:
        found = re.search(pattern, " ".join(names), re.IGNORECASE)
        if found:
            return Made(construction, [f'{what} by the word "{found[0]}"'] if what else [])
    return otherwise


def solid(names: Sequence[str]) -> tuple[str, str]:
    """(material of a solid, guess) from the words spoken of a column or beam."""
    for name in names:
        found = material_of(name)
        if found is not None:
            kind = {"concrete": "concrete", "wood": "timber", "metal": "metal", "plywood": "timber"}.get(found[0])
            if kind is not None:
                return kind, ""
            if found[0] in ("brick", "marble"):
                return "concrete", f'"{_short(name)}" counts as concrete'
    told = f'"{_short(names[0])}"' if names else "no material given"
    return "concrete", f"{told}, taken as concrete"


def _add(guesses: list[str], text: str) -> None:
    if text not in guesses:
        guesses.append(text)


def _short(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= 40 else text[:39] + "…"

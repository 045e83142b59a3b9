"""Figures as people copy them from a data sheet: `7 m`, `7000 mm`, `25 %`, `tangential 2.5 circle 7`.

Forgiving about units and filler words, strict about meaning: whatever could be read in two ways is refused
with what to write instead. No file and no terminal here, so that options and questions read alike.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from raycover.errors import nearest

#: Nobody hangs a unit higher or declares a larger reach (m): beyond this a figure is in other units.
HIGHEST_MOUNTING, LONGEST_REACH = 60.0, 300.0
FORMS = (
    "MOTION MOUNTING [on PLANE] circle DIAMETER | rectangle LENGTH WIDTH | ellipse LENGTH WIDTH | "
    "sector REACH SPREAD_DEG | polar DEG:M,DEG:M,…"
)
MEANING = {
    "tangential": "walking across the line of sight",
    "radial": "walking toward the unit",
    "presence": "small movements of a seated person",
}
_MOTIONS = {
    "tangential": "tangential",
    "across": "tangential",
    "radial": "radial",
    "toward": "radial",
    "towards": "radial",
    "presence": "presence",
    "seated": "presence",
}
_KINDS = {
    "infrared": "infrared",
    "ir": "infrared",
    "pir": "infrared",
    "passive infrared": "infrared",
    "microwave": "microwave",
    "mw": "microwave",
    "hf": "microwave",
    "radar": "microwave",
    "high frequency": "microwave",
}
_SHAPES: dict[str, tuple[str, ...]] = {
    "circle": ("diameter",),
    "rectangle": ("length", "width"),
    "ellipse": ("length", "width"),
    "sector": ("reach", "spread_deg"),
}
SHAPES = (*_SHAPES, "polar")
_FILLERS = frozenset(
    ["at", "from", "by", "of", "the", "mounting", "mounted", "diameter", "reach", "spread", "length", "width", "height"]
)
_METRES = {"": 1.0, "m": 1.0, "mm": 0.001, "cm": 0.01, "metre": 1.0, "metres": 1.0, "meter": 1.0, "meters": 1.0}
_FEET = {"ft": 0.3048, "feet": 0.3048, "foot": 0.3048, "'": 0.3048, "in": 0.0254, "inch": 0.0254, '"': 0.0254}
_ANGLES = {"": 1.0, "deg": 1.0, "degrees": 1.0, "°": 1.0}
_NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)"
_QUANTITY = re.compile(rf"(?P<number>{_NUMBER})\s*(?P<unit>\D*)")
_COMMA = re.compile(r"^([-+]?\d+),(\d+)(.*)$")
#: Words that belong to the number before them even after a blank; a word written close to it always does.
_UNIT_WORDS = "|".join(sorted((u for u in (*_METRES, *_FEET, *_ANGLES) if u.isalpha()), key=len, reverse=True))
_TOKEN = re.compile(
    rf"[-+]?[\d.][\d.,]*(?:[^\W\d_]+|\s*(?:(?:{_UNIT_WORDS})\b|[°'\"]))?|[^\W\d_][\w-]*|\S", re.IGNORECASE
)


class Refused(Exception):
    """An answer that cannot be taken: what is wrong, what to do, and where in the text (from 0)."""

    def __init__(self, code: str, message: str, help: str = "", column: int = 0) -> None:
        super().__init__(message)
        self.code, self.message, self.help, self.column = code, message, help, column

    def shifted(self, by: int) -> Refused:
        return Refused(self.code, self.message, self.help, self.column + by)


def _quantity(text: str, units: Mapping[str, float], what: str, example: str) -> float:
    """A number with its unit, in the base unit, rounded to a millionth so that 15.4 stays 15.4."""
    text = text.strip()
    if found := _COMMA.match(text):
        mended = f"{found[1]}.{found[2]}{found[3]}"
        raise Refused("decimal-comma", f'a decimal comma: "{text}"', f"write {mended} with a point")
    found_quantity = _QUANTITY.fullmatch(text)
    if found_quantity is None:
        raise Refused("not-a-number", f'{what} is expected here, not "{text}"', f"write, for example, {example}")
    value, unit = float(found_quantity["number"]), found_quantity["unit"].strip()
    scale = units.get(unit, units.get(unit.lower()))
    if scale is None and units is _METRES and unit.lower() in _FEET:
        metres = round(value * _FEET[unit.lower()], 3)
        raise Refused("unknown-unit", f'"{text}" is not metric', f"write {metres:g} m, if that is what it means")
    if scale is None:
        raise Refused("unknown-unit", f'the unit "{unit}" is not known here', f"write, for example, {example}")
    return round(value * scale, 6)


def length(text: str, what: str = "a length", *, at_most: float = LONGEST_REACH, zero: bool = False) -> float:
    """Metres from `7`, `7 m`, `700 cm` or `7000 mm`. Raises Refused."""
    value = _quantity(text, _METRES, what, "7 or 7 m or 7000 mm")
    if value < 0 or (value == 0 and not zero):
        raise Refused("not-positive", f"{what} is {value:g} m", "write a length above 0")
    if value > at_most:
        hint = f"write {text.strip()} mm if these are millimetres" if re.fullmatch(_NUMBER, text.strip()) else ""
        raise Refused("too-long", f"{what} of {value:g} m is beyond {at_most:g} m", hint or "check the unit")
    return value


def mounting(text: str) -> float:
    """A mounting height in metres. Raises Refused."""
    return length(text, "a mounting height", at_most=HIGHEST_MOUNTING)


def plane(text: str) -> float:
    """The height of a declared plane in metres; the floor is 0. Raises Refused."""
    if text.strip().lower() in ("floor", "the floor"):
        return 0.0
    return length(text, "the height of a plane", at_most=HIGHEST_MOUNTING, zero=True)


def spread(text: str) -> float:
    """A sector's full opening angle in degrees. Raises Refused."""
    value = _quantity(text, _ANGLES, "an angle in degrees", "110")
    if not 0 < value <= 360:
        raise Refused("angle-range", f"a sector opens by {value:g} degrees", "give the full angle, above 0 to 360")
    return value


def share(text: str) -> float:
    """A share from 0 to 1, of `25 %` or `0.25`. Raises Refused."""
    value = _quantity(text, {"": 1.0, "%": 0.01, "percent": 0.01}, "a share", "25 % or 0.25")
    if 1 < value <= 100 and "%" not in text:
        raise Refused("share-range", f"{value:g} is more than the whole", f"write {value:g} % or {value / 100:g}")
    if not 0 <= value <= 1:
        raise Refused("share-range", "a share lies between 0 and 100 %", "write, for example, 25 %")
    return value


def frequency(text: str) -> float:
    """GHz from `5.8`, `5.8 GHz` or `24125 MHz`. Raises Refused."""
    value = _quantity(
        text, {"": 1.0, "GHz": 1.0, "ghz": 1.0, "MHz": 1e-3, "mhz": 1e-3}, "a frequency", "5.8 or 24.125 GHz"
    )
    if not 0 < value <= 1000:
        raise Refused("frequency-range", f"a frequency of {value:g} GHz", "write GHz, or MHz with its unit")
    return value


def current(text: str) -> float:
    """Bus current in mA. Raises Refused."""
    value = _quantity(text, {"": 1.0, "mA": 1.0, "ma": 1.0}, "a current in mA", "8 or 8 mA")
    if not 0 <= value <= 1000:
        raise Refused(
            "current-range", f"a bus current of {value:g} mA", "write what one unit draws from the bus, in mA"
        )
    return value


def kind(text: str) -> str:
    """infrared or microwave, by those names or the trade's short ones. Raises Refused."""
    if text.strip().lower().startswith("dual"):
        raise Refused(
            "dual-by-hand",
            "a dual entry has two halves, which are not asked for one by one here",
            "write its file by hand: kind: dual with infrared: and microwave: (README: Detectors of two technologies)",
        )
    return _word(text, _KINDS, "kind", "infrared (also: pir) or microwave (also: hf, radar)")


def motion(text: str) -> str:
    """tangential, radial or presence. Raises Refused."""
    known = ", ".join(f"{name} ({words})" for name, words in MEANING.items())
    return _word(text, _MOTIONS, "motion", known)


def shape_name(text: str) -> str:
    """One of the five shapes. Raises Refused."""
    return _word(text, {name: name for name in SHAPES}, "shape", ", ".join(SHAPES))


def _word(text: str, known: Mapping[str, str], what: str, valid: str) -> str:
    folded = " ".join(text.lower().split())
    if folded in known:
        return known[folded]
    starts = {value for name, value in known.items() if folded and name.startswith(folded)}
    if len(starts) == 1:
        return starts.pop()
    near = nearest(folded, tuple(known)) if folded else None
    hint = f'did you mean "{near}"?' if near is not None else f"write {valid}"
    raise Refused(f"unknown-{what}", f'unknown {what} "{text.strip()}"', hint)


def dimensions(name: str, text: str) -> dict[str, Any]:
    """A shape's own figures: `7` of a circle (or `radius 3.5`), `12 x 10`, `11 110`, `0:5, 90:3, …`.

    Returns what the entry says under the shape's name. Raises Refused with its place in `text`.
    """
    if name == "polar":
        return {"polar": _polar(text)}
    keys = _SHAPES[name]
    tokens = [(column, word) for column, word in _tokens(text) if word.lower() not in _FILLERS]
    as_radius = bool(name == "circle" and tokens and tokens[0][1].lower() in ("radius", "r"))
    if as_radius:
        tokens = tokens[1:]
    if len(tokens) != len(keys):
        expected = {"circle": "its diameter", "sector": "its reach and its full angle"}.get(name, "length and width")
        example = {"circle": "circle 7", "sector": "sector 11 110"}.get(name, f"{name} 12 10")
        message = f"a {name} has {expected}: {len(keys)} figure{'s' * (len(keys) > 1)}, not {len(tokens)}"
        column = tokens[len(keys)][0] if len(tokens) > len(keys) else len(text.rstrip())
        raise Refused("wrong-figures", message, f"write, for example, {example}", column)
    values: dict[str, float] = {}
    for key, (column, word) in zip(keys, tokens, strict=True):
        try:
            values[key] = spread(word) if key == "spread_deg" else length(word, f"the {key} of the {name}")
        except Refused as refused:
            raise refused.shifted(column) from None
    if as_radius:
        values["diameter"] = round(2 * values["diameter"], 6)
    return {name: values}


def _polar(text: str) -> list[list[float]]:
    rows: list[list[float]] = []
    for found in re.finditer(r"[^,;\s]+", text):
        pair = found[0].split(":")
        if len(pair) != 2 or not all(pair):
            raise Refused(
                "wrong-figures",
                f'"{found[0]}" is not an azimuth and a radius',
                "write degrees:metres, as in 0:5, 90:3.5, 180:5, 270:3.5 (a point for decimals)",
                found.start(),
            )
        try:
            azimuth = _quantity(pair[0], _ANGLES, "an azimuth in degrees", "90")
            radius = length(pair[1], "a radius", zero=True)
        except Refused as refused:
            raise refused.shifted(found.start()) from None
        if rows and not rows[-1][0] < azimuth < rows[0][0] + 360:
            raise Refused(
                "polar-order",
                f"azimuth {azimuth:g} does not rise within one turn",
                "sort the pairs by azimuth, from 0 to below 360",
                found.start(),
            )
        rows.append([azimuth, radius])
    if len(rows) < 3 or not any(radius > 0 for _, radius in rows):
        raise Refused(
            "wrong-figures",
            "a polar shape needs three pairs or more, one of them above 0 m",
            "write degrees:metres, as in 0:5, 90:3.5, 180:5, 270:3.5",
            len(text.rstrip()),
        )
    return rows


def _tokens(text: str) -> list[tuple[int, str]]:
    """(column, word or number with its unit); a multiplication sign and a comma before a blank are blanks."""
    # same length throughout, so that columns stay those of the user's text
    text = re.sub(r"(?<=[\dm\s])[x×*](?=[\s\d.])", " ", text)
    text = re.sub(r"[⌀Ø]", " ", text)
    text = re.sub(r"[,;:](?=\s|$)", " ", text)
    return [(found.start(), found[0].strip()) for found in _TOKEN.finditer(text) if found[0].strip()]


def declared(text: str) -> dict[str, Any]:
    """One declared footprint in one line, in the form of `FORMS`; lengths in metres or with their unit.

    Returns {mounting, plane, motion, shape}. Raises Refused with its place in `text`.
    """
    tokens = [(column, word) for column, word in _tokens(text) if word.lower() not in _FILLERS - {"radius"}]
    if not tokens:
        raise Refused("wrong-figures", "nothing is declared here", f"write {FORMS}")

    def take(index: int, parse: Any, what: str) -> Any:
        if index >= len(tokens):
            raise Refused("wrong-figures", f"{what} is missing", f"write {FORMS}", len(text.rstrip()))
        column, word = tokens[index]
        try:
            return parse(word)
        except Refused as refused:
            raise refused.shifted(column) from None

    result: dict[str, Any] = {}
    result["motion"] = take(0, motion, "the motion")
    result["mounting"] = take(1, mounting, "the mounting height")
    index, result["plane"] = 2, 0.0
    if len(tokens) > 2 and tokens[2][1].lower() == "on":
        result["plane"], index = take(3, plane, "the plane"), 4
    name = take(index, shape_name, "the shape")
    if result["plane"] >= result["mounting"]:
        raise Refused("plane-above-unit", "the plane is not below the mounting height", "check both", tokens[1][0])
    start = tokens[index][0] + len(tokens[index][1])
    try:
        shape = dimensions(name, text[start:])
    except Refused as refused:
        raise refused.shifted(start) from None
    return {"mounting": result["mounting"], "plane": result["plane"], "motion": result["motion"], "shape": shape}


def in_words(footprint: Mapping[str, Any]) -> str:
    """A declared footprint read back in full, so that a slip is seen at once."""
    ((name, figures),) = footprint["shape"].items()
    if name == "circle":
        size = f"a circle {figures['diameter']:g} m across (diameter)"
    elif name == "sector":
        size = f"a sector reaching {figures['reach']:g} m, {figures['spread_deg']:g}° wide about azimuth 0"
    elif name == "polar":
        size = f"{len(figures)} radii by azimuth, up to {max(radius for _, radius in figures):g} m"
    else:
        article = "an" if name == "ellipse" else "a"
        size = f"{article} {name} {figures['length']:g} m along azimuth 0 by {figures['width']:g} m across"
    where = "on the floor" if footprint["plane"] == 0 else f"on a plane {footprint['plane']:g} m above the floor"
    motion = footprint["motion"]
    return f"{motion} ({MEANING[motion]}), mounted at {footprint['mounting']:g} m: {size}, {where}"


def mounting_range(text: str) -> tuple[float, float]:
    """Lowest and highest mounting height from `2.2 4`, `2.2-4` or `2.2 to 4 m`. Raises Refused."""
    # a sign between two figures is a dash; the unit at the end holds for both
    dashed = re.sub(r"(?<=[\dm])\s*(?:-|–|to\b)\s*(?=[\d.])", " ", text.strip())
    figures = [word for _, word in _tokens(dashed) if word.lower() not in _FILLERS | {"to"}]
    if len(figures) != 2:
        raise Refused("wrong-figures", "a mounting range has two heights", "write, for example, 2.2 to 4")
    unit = re.sub(r"^[\d.,]*\s*", "", figures[1])
    low = mounting(figures[0] if re.search(r"[^\d.,]", figures[0]) else f"{figures[0]} {unit}")
    high = mounting(figures[1])
    if high < low:
        raise Refused("range-order", "the range ends below its start", f"write {high:g} to {low:g}")
    return low, high

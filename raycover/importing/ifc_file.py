"""Opening an IFC file: what it must be, what is refused, its units, its north, its storeys."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import Any

from raycover.errors import InputError, MissingPart, Position, Problem

#: Larger files are refused: parsed, they take ten times their size of memory.
MAX_BYTES = 1024**3
_SCHEMAS = ("IFC2X3", "IFC4", "IFC4X3")
EXPORT = "export the architect's model again: walls, slabs, doors, windows, columns, stairs and spaces of one building"


def open_ifc(path: Path) -> Any:
    """The file as ifcopenshell's model.

    Raises MissingPart without ifcopenshell, InputError for what is no whole IFC-SPF file of a known schema.
    """
    try:
        import ifcopenshell
    except ImportError as error:
        raise MissingPart(
            "IFC files are read by ifcopenshell, which is not installed: pip install 'raycover[ifc]' "
            "(or: pip install ifcopenshell)"
        ) from error
    _check_frame(path)
    try:
        model = ifcopenshell.open(str(path))
    except (ifcopenshell.Error, ifcopenshell.SchemaError, OSError, RuntimeError, ValueError) as error:
        raise _refused(path, "bad-ifc", f"cannot be read as IFC: {_plain(error)}", EXPORT) from error
    return model


def _check_frame(path: Path) -> None:
    """Size, first and last words: a cut-off file parses without a murmur, so its end is looked for here."""
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            told = f"the file has {size / 1024**3:.1f} GB, {MAX_BYTES / 1024**3:.0f} GB is the most"
            raise _refused(path, "too-large", told, EXPORT)
        with path.open("rb") as file:
            head = file.read(65536)
            file.seek(max(size - 4096, 0))
            tail = file.read()
    except OSError as error:
        reason = error.strerror or str(error)
        raise _refused(path, "cannot-read", f"cannot read: {reason}", "check the path") from error
    if not head.strip():
        raise _refused(path, "bad-ifc", "the file is empty", EXPORT)
    if b"ISO-10303-21" not in head[:4096]:
        hint = "unpack it first: it is a ZIP" if head[:2] == b"PK" else "an IFC file begins with ISO-10303-21"
        raise _refused(path, "bad-ifc", "this is not an IFC file", hint)
    if b"END-ISO-10303-21" not in tail:
        raise _refused(path, "cut-short", "the file is cut short: its end is missing", "copy or download it again")
    schema = re.search(rb"FILE_SCHEMA\s*\(\s*\(\s*'([^']*)'", head)
    name = schema[1].decode("ascii", "replace").upper() if schema else "none"
    if not name.startswith(_SCHEMAS):
        hint = f"export it as one of {', '.join(_SCHEMAS)}"
        raise _refused(path, "unknown-schema", f"its schema is {name}", hint)


def _refused(path: Path, code: str, message: str, hint: str) -> InputError:
    return InputError([Problem(code, message, Position(str(path)), hint)])


def _plain(error: Exception) -> str:
    return " ".join(str(error).split())[:200] or type(error).__name__


def north_deg(model: Any) -> tuple[float, str]:
    """Direction of north, anticlockwise from +x, and where that was found.

    True north of the model's context first (IfcGeometricRepresentationContext.TrueNorth), else the grid north of
    the map conversion (IfcMapConversion.XAxisAbscissa, XAxisOrdinate: +x of the model in eastings, northings).
    """
    for context in model.by_type("IfcGeometricRepresentationContext", include_subtypes=False):
        north = getattr(context, "TrueNorth", None)
        if north is not None and context.ContextType in ("Model", None):
            x, y = north.DirectionRatios[:2]
            if math.hypot(x, y) > 1e-9:
                return _tidy(math.degrees(math.atan2(y, x))), "true north"
    if model.schema != "IFC2X3":
        for conversion in model.by_type("IfcMapConversion"):
            east, north_ = conversion.XAxisAbscissa, conversion.XAxisOrdinate
            if east is not None and north_ is not None and math.hypot(east, north_) > 1e-9:
                return _tidy(90.0 - math.degrees(math.atan2(north_, east))), "grid north of the map conversion"
    return 90.0, ""


def _tidy(angle: float) -> float:
    return round(angle, 4) + 0.0


def unit_scale(model: Any, path: Path) -> float:
    """Metres in one length unit of the file. Raises InputError where the file tells none."""
    import ifcopenshell.util.unit

    projects = model.by_type("IfcProject")
    if not projects:
        raise _refused(path, "no-project", "the file holds no project", EXPORT)
    units = projects[0].UnitsInContext
    named = [u for u in (units.Units if units is not None else ()) if getattr(u, "UnitType", "") == "LENGTHUNIT"]
    if not named:
        raise _refused(path, "no-units", "the file does not tell its unit of length", EXPORT)
    return float(ifcopenshell.util.unit.calculate_unit_scale(model))


def unit_name(model: Any) -> str:
    """The unit of length in words."""
    for unit in model.by_type("IfcProject")[0].UnitsInContext.Units:
        if getattr(unit, "UnitType", "") == "LENGTHUNIT":
            return f"{getattr(unit, 'Prefix', None) or ''}{unit.Name}".lower()
    return "?"


def storeys(model: Any, scale: float) -> list[tuple[Any, str, float]]:
    """(storey, name, elevation in metres), the lowest first."""
    found = []
    for storey in model.by_type("IfcBuildingStorey"):
        name = " ".join(str(part) for part in (storey.LongName, storey.Name) if part) or "storey"
        found.append((storey, storey.Name or name, float(storey.Elevation or 0.0) * scale))
    return sorted(found, key=lambda row: row[2])


def title(model: Any) -> str:
    """A title from the names of project and building."""
    project = model.by_type("IfcProject")[0]
    buildings = model.by_type("IfcBuilding")
    names = [project.LongName or project.Name]
    if len(buildings) == 1:
        names.append(buildings[0].LongName or buildings[0].Name)
    words: list[str] = []
    for name in names:
        text = " ".join(str(name or "").split())
        if text and text not in words:
            words.append(text)
    return ", ".join(words)[:120] or "Untitled"

"""A DXF file as plain shapes by layer: lines and outlines in metres, labels, and what was not read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.errors import InputError, MissingPart, Position, Problem
from raycover.scene.received import UNITS_M

Floats = NDArray[np.float64]
#: $INSUNITS of the DXF reference (header section): 1 inches, 2 feet, 4 mm, 5 cm, 6 m, 14 dm; 0 is not said.
INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m", 14: "dm"}
_MOST_BYTES = 200 * 1024 * 1024
_MOST_ENTITIES = 1_000_000
#: Blocks in blocks are opened this deep; a block that holds itself ends there.
_DEEPEST = 12
#: Curves become chords that stray from them by this much at most (m).
_SAGITTA_M = 0.005
_CURVES = frozenset(("LINE", "LWPOLYLINE", "POLYLINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE"))
_TEXTS = frozenset(("TEXT", "MTEXT", "ATTRIB"))


@dataclass(frozen=True)
class Shape:
    """A polyline (n, 2) in metres; a closed one does not repeat its first point."""

    layer: str
    points: Floats
    closed: bool


@dataclass(frozen=True)
class Label:
    """A line of text at a place (m), with its height (m) and the tag of an attribute, if it is one."""

    layer: str
    text: str
    at: tuple[float, float]
    height: float
    tag: str = ""


@dataclass
class Drawing:
    """What was read. `hidden` are layers switched off or frozen; `unread` counts entities by layer and type."""

    units: str
    units_from: str
    shapes: list[Shape] = field(default_factory=list)
    labels: list[Label] = field(default_factory=list)
    hidden: frozenset[str] = frozenset()
    unread: Counter[tuple[str, str]] = field(default_factory=Counter)
    n_blocks: int = 0
    n_mended: int = 0


def read_dxf(path: Path, units: str | None, progress: Callable[[int, int], None]) -> Drawing:
    """Read the model space of a DXF, ASCII or binary, blocks opened. `units` overrides what the file says.

    Raises InputError for a file that is no DXF, is cut off, too large, or says no units; MissingPart without ezdxf.
    """
    try:
        import ezdxf  # noqa: F401
    except ImportError:
        raise MissingPart("importing DXF needs ezdxf: pip install 'raycover[dxf]'") from None
    document, n_mended = _document(path)
    said = INSUNITS.get(int(document.header.get("$INSUNITS", 0)))
    chosen = units if units is not None else said
    if chosen is None:
        raise _no_units(path, document)
    drawing = Drawing(chosen, "--units" if units is not None else "the file", n_mended=n_mended)
    if units is not None and said is not None and said != units:
        drawing.units_from = f"--units (the file says {said})"
    drawing.hidden = frozenset(layer.dxf.name for layer in document.layers if layer.is_off() or layer.is_frozen())
    factor = UNITS_M[chosen]
    space = document.modelspace()
    for done, entity in enumerate(_flat(space, drawing)):
        if done >= _MOST_ENTITIES:
            raise _refused(path, f"more than {_MOST_ENTITIES:,} entities", "export the floor plan's layers alone")
        if done % 2000 == 0:
            progress(done, max(len(space), done))
        _take(entity, factor, drawing)
    return drawing


def _document(path: Path) -> tuple[Any, int]:
    """The file as ezdxf reads it, and how many faults it mended."""
    import ezdxf
    from ezdxf import recover

    try:
        size = path.stat().st_size
        with open(path, "rb") as file:
            start = file.read(64)
            file.seek(max(size - 512, 0))
            end = file.read(512)
    except OSError as error:
        raise _refused(path, f"cannot read: {error.strerror or error}", "give a DXF file") from None
    if size > _MOST_BYTES:
        hint = "export the floor plan's layers alone"
        raise _refused(path, f"the file has {size / 1024**2:,.0f} MB, {_MOST_BYTES // 1024**2} are the most", hint)
    if start[:4] == b"AC10":
        raise _refused(path, "this is a DWG under another name", "save it as DXF in the drawing program")
    if b"EOF" not in end:
        words = "the file is no DXF" if b"SECTION" not in start else "the file is cut off: it has no end mark"
        raise _refused(path, words, "export it again, or ask for the file once more")
    try:
        if start.startswith(b"AutoCAD Binary DXF"):  # which the mending reader does not know
            document = ezdxf.readfile(path)
            auditor = document.audit()
        else:
            document, auditor = recover.readfile(path)
    except Exception as error:  # a broken file may end ezdxf in any way
        raise _refused(path, f"the file is broken: {error}", "export it again as DXF") from None
    return document, len(auditor.fixes) + len(auditor.errors)


def _refused(path: Path, message: str, help_text: str) -> InputError:
    return InputError([Problem("bad-dxf", message, Position(str(path)), help_text)])


def _no_units(path: Path, document: Any) -> InputError:
    """The file says no units: each that would make a likely building is proposed."""
    raw = Drawing("m", "")
    for entity in _flat(document.modelspace(), raw):
        _take(entity, 1.0, raw)
    if not raw.shapes:
        return _refused(path, "the drawing holds no lines", "is the plan in the model space of this file?")
    points = np.concatenate([shape.points for shape in raw.shapes])
    size = np.ptp(points, axis=0)
    likely = [
        f"--units {unit} ({size[0] * metres:.4g} × {size[1] * metres:.4g} m)"
        for unit, metres in UNITS_M.items()
        if 2 <= size.max() * metres <= 2000
    ]
    hint = "write " + (" or ".join(likely) if likely else "--units mm, cm, m, in or ft")
    return InputError([Problem("no-units", "the drawing does not say its units", Position(str(path)), hint)])


def _flat(entities: Any, drawing: Drawing, layer: str | None = None, depth: int = 0) -> Iterator[tuple[Any, str]]:
    """Entities with their layers, blocks opened: what lies on layer 0 in a block takes the block's layer."""
    for entity in entities:
        own = str(entity.dxf.get("layer", "0"))
        on = layer if layer is not None and own == "0" else own
        if entity.dxftype() != "INSERT":
            yield entity, on
            continue
        drawing.n_blocks += depth == 0
        yield from ((attribute, on) for attribute in entity.attribs)
        if depth >= _DEEPEST:
            drawing.unread[on, "blocks nested too deep"] += 1
            continue
        for single in entity.multi_insert() if entity.mcount > 1 else (entity,):
            yield from _flat(single.virtual_entities(), drawing, on, depth + 1)


def _take(found: tuple[Any, str], factor: float, drawing: Drawing) -> None:
    entity, layer = found
    kind = entity.dxftype()
    if kind in _TEXTS:
        drawing.labels += _labels(entity, kind, layer, factor)
    elif kind in _CURVES and (shape := _shape(entity, layer, factor)) is not None:
        drawing.shapes.append(shape)
    else:
        drawing.unread[layer, kind] += 1


def _shape(entity: Any, layer: str, factor: float) -> Shape | None:
    """An entity's line; None for a mesh, or what has no length in plan."""
    from ezdxf import path as paths

    try:
        way = paths.make_path(entity)
        points = np.array([(v.x, v.y) for v in way.flattening(_SAGITTA_M / factor)], float).reshape(-1, 2) * factor
    except (TypeError, ValueError, ZeroDivisionError, ArithmeticError):
        return None
    if len(points) < 2 or not np.isfinite(points).all():
        return None
    points = points[np.concatenate([[True], np.linalg.norm(np.diff(points, axis=0), axis=1) > 1e-6])]
    closed = bool(getattr(entity, "is_closed", False)) or entity.dxftype() == "CIRCLE"
    # Lines that end where they began were meant to be closed, whatever their flag says.
    if len(points) > 3 and np.linalg.norm(points[0] - points[-1]) < 2e-3:
        points, closed = points[:-1], True
    if len(points) < (3 if closed else 2):
        return None
    return Shape(layer, points, closed)


def _labels(entity: Any, kind: str, layer: str, factor: float) -> Iterator[Label]:
    if kind == "MTEXT":
        lines, at, height = entity.plain_text(split=True), entity.dxf.insert, entity.dxf.get("char_height", 0.0)
    else:
        lines, height = [entity.plain_text()], entity.dxf.get("height", 0.0)
        at = entity.get_placement()[1] or entity.dxf.insert
    tag = str(entity.dxf.get("tag", "")) if kind == "ATTRIB" else ""
    for line in lines:
        text = " ".join(str(line).split())
        if text:
            yield Label(layer, text, (at.x * factor, at.y * factor), float(height) * factor, tag)

"""IFC building models → scenes: `import_ifc` reads one file and tells what it mapped, guessed and left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from raycover.catalogue import Catalogue, load_catalogue
from raycover.errors import InputError, Position, Problem
from raycover.importing.assemble import Parts, assemble
from raycover.importing.ifc_file import EXPORT, north_deg, open_ifc, storeys, title, unit_name, unit_scale
from raycover.importing.imported import Imported, Progress, Report
from raycover.importing.joints import join, part_coincident
from raycover.importing.plates import Box, fit_walls, lay_floors, left_over
from raycover.importing.sound import sound_text

if TYPE_CHECKING:
    from raycover.importing.ifc_shapes import Shapes

#: Farther from the origin than this (m) a model is moved there: it stands in a national grid.
_FAR = 2000.0
#: No building is wider (m): its unit of length must be wrong.
_WIDEST = 20_000.0
#: Classes that are dealt with, or are no things that stand in the way; the rest is left out and counted.
_HANDLED = (
    "IfcWall", "IfcCurtainWall", "IfcSlab", "IfcRoof", "IfcCovering", "IfcColumn", "IfcBeam", "IfcStair",
    "IfcStairFlight", "IfcRamp", "IfcRampFlight", "IfcDoor", "IfcWindow", "IfcOpeningElement", "IfcVirtualElement",
    "IfcFeatureElement", "IfcPlate", "IfcMember", "IfcBuildingElementPart",
)  # fmt: skip


def import_ifc(path: Path, *, progress: Progress | None = None, folder: Path | None = None) -> Imported:
    """The scene of an IFC file (IFC2X3, IFC4, IFC4X3), all its storeys.

    `progress` is called with (elements read, all); `folder` is where the scene will stand, for its own `models/`.
    Raises MissingPart without ifcopenshell, InputError for a file that is broken, cut short, too large, of
    another schema, or holds neither walls nor spaces.
    """
    model = open_ifc(path)
    from raycover.importing.ifc_shapes import FAULTS

    report = Report()
    try:
        parts, head = _read(model, unit_scale(model, path), path, report, progress)
    except FAULTS as fault:
        told = f"the file contradicts itself: {type(fault).__name__}: {str(fault)[:200]}"
        raise InputError([Problem("damaged", told, Position(str(path)), EXPORT)]) from fault
    text = sound_text(assemble(parts, report), report, folder)
    comments_head = [*head, "", *report.lines(), *_what_next()]
    return Imported("".join(f"# {line}".rstrip() + "\n" for line in _clean(comments_head)) + text, report)


def _read(model: Any, scale: float, path: Path, report: Report, progress: Progress | None) -> tuple[Parts, list[str]]:
    from raycover.importing.ifc_plates import PlateReader, flight_elements, plate_elements
    from raycover.importing.ifc_shapes import FAULTS, Shapes, whole
    from raycover.importing.ifc_spaces import grow_to_walls, read_box, read_spaces, rooms_from_walls
    from raycover.importing.ifc_walls import WallReader, wall_elements

    catalogue: Catalogue = load_catalogue()
    shapes = Shapes(model, scale)
    levels = storeys(model, scale)
    order = {storey.id(): k for k, (storey, _, _) in enumerate(levels)}
    walls, spaces = wall_elements(model), model.by_type("IfcSpace")
    if not walls and not spaces:
        raise _nothing(model, path)
    _move_to_origin(shapes, [*walls, *spaces], path)
    plates, flights = plate_elements(model), flight_elements(model)
    bars = [e for kind in ("IfcColumn", "IfcBeam") for e in model.by_type(kind) if not _in_curtain_wall(e, whole)]
    step = _counter(progress, len(walls) + len(spaces) + len(plates) + len(flights) + len(bars))

    wall_reader, plate_reader = WallReader(shapes, catalogue, report), PlateReader(shapes, catalogue, report)
    boxes: list[Box] = []

    def read_bar(element: Any, storey: str) -> None:
        box = read_box(element, shapes, storey, report)
        boxes.extend([box] if box is not None else [])

    for elements, read_one in (
        (walls, wall_reader.read),
        (plates, plate_reader.read),
        (flights, plate_reader.read_flight),
        (bars, read_bar),
    ):
        for element, storey in _by_storey(elements, order, levels):
            try:
                read_one(element, storey)
            except FAULTS as fault:
                report.leave(f"what the file describes wrongly ({type(fault).__name__})", _called(element))
            next(step)
    wall_reader.placed |= plate_reader.placed
    wall_reader.stand_in_walls([*model.by_type("IfcDoor"), *model.by_type("IfcWindow")])
    _check_width(wall_reader.walls, path)
    moved = join(wall_reader.walls)
    kept, doubled = part_coincident(wall_reader.walls)
    for name, why in doubled:
        report.guess("walls that overlap another, dropped or moved aside", f"{name} ({why})")

    rooms = read_spaces(_by_storey(spaces, order, levels), shapes, report)
    if rooms:
        grow_to_walls(rooms, kept, report)
    else:
        rooms = rooms_from_walls(kept, [name for _, name, _ in levels], report)
    for _ in spaces:
        next(step)
    plans = [plate.plan for plate in plate_reader.plates]
    for room in lay_floors(rooms, plate_reader.plates):
        report.guess("rooms with no slab under them, left without a floor", room.name)
    fit_walls(kept, plate_reader.plates, plans)
    _count_the_rest(model, whole, report)
    north, found_in = north_deg(model)
    rank = {name: k for k, (_, name, _) in enumerate(levels)}
    sheets = [*plate_reader.sheets, *left_over(plate_reader.plates)]
    sheets.sort(key=lambda sheet: rank.get(sheet.storey, len(rank)))
    parts = Parts(title(model), north, rooms, kept, sheets, boxes)
    head = [
        f"Imported from {path.name} ({model.schema}, lengths in {unit_name(model)}), to be looked over and edited.",
        f"Storeys: {', '.join(f'{name} at {z:.3f} m' for _, name, z in levels) or 'none'}.",
    ]
    if found_in:
        head.append(f"North is {found_in}.")
    if shapes.shift.any():
        x, y, z = shapes.shift
        head.append(f"Moved to the origin: the file's coordinates are these plus ({x:.0f}, {y:.0f}, {z:.0f}) m.")
    if moved:
        head.append(f"{moved} wall ends were brought to the centre lines of the walls they meet.")
    return parts, head


def _called(element: Any) -> str:
    try:
        return str(element.Name or f"{element.is_a()} {element.id()}")
    except (AttributeError, RuntimeError, TypeError):
        return f"#{element.id()}"


def _counter(progress: Progress | None, n: int) -> Iterator[None]:
    for done in range(1, n + 1):
        if progress is not None:
            progress(done, n)
        yield
    while True:
        yield


def _by_storey(
    elements: Sequence[Any], order: dict[int, int], levels: Sequence[tuple[Any, str, float]]
) -> list[tuple[Any, str]]:
    """Elements with the name of their storey, the lowest storey first, else as in the file."""
    from raycover.importing.ifc_shapes import storey_of

    found = []
    for element in elements:
        storey = storey_of(element)
        rank = order.get(storey.id(), len(order)) if storey is not None else len(order)
        found.append((rank, element))
    found.sort(key=lambda pair: pair[0])
    return [(element, levels[rank][1] if rank < len(levels) else "") for rank, element in found]


def _in_curtain_wall(element: Any, whole: Any) -> bool:
    parent = whole(element)
    return parent is not None and parent.is_a("IfcCurtainWall")


def _move_to_origin(shapes: Shapes, elements: Sequence[Any], path: Path) -> None:
    """Take a round number of metres off models that stand in a national grid."""
    for element in elements:
        body = shapes.body(element)
        if body is None:
            continue
        middle = (body.vertices.min(axis=0) + body.vertices.max(axis=0)) / 2
        far = np.hypot(middle[0], middle[1]) > _FAR
        shapes.shift = np.array([*(np.round(middle[:2], -1) if far else (0.0, 0.0)), 0.0])
        return


def _check_width(walls: Sequence[Any], path: Path) -> None:
    if not walls:
        return
    points = np.concatenate([wall.line for wall in walls])
    width = float(np.ptp(points, axis=0).max())
    tallest = max(walls, key=lambda wall: wall.top - wall.base)
    if width > _WIDEST or tallest.top - tallest.base > 1000:
        told = f"its walls span {width / 1000:.0f} km"
        if width <= _WIDEST:
            told = f'the wall "{tallest.name}" is {tallest.top - tallest.base:.0f} m high'
        hint = "the unit of length in the file is wrong: set it where the model was drawn, and export again"
        raise InputError([Problem("too-wide", told, Position(str(path)), hint)])


def _nothing(model: Any, path: Path) -> InputError:
    counted = Counter(e.is_a() for e in model.by_type("IfcElement"))
    listed = ", ".join(f"{n} {kind}" for kind, n in counted.most_common(4)) or "no building elements at all"
    return InputError(
        [
            Problem(
                "no-building",
                f"the file holds neither walls nor spaces, but {listed}",
                Position(str(path)),
                "export the architect's model with walls and spaces as IfcWall and IfcSpace",
            )
        ]
    )


def _count_the_rest(model: Any, whole: Any, report: Report) -> None:
    """Everything that stands in the building and has no place in the scene, by class."""
    for element in model.by_type("IfcElement"):
        kind = element.is_a()
        if kind in ("IfcPlate", "IfcMember") and whole(element) is None:
            report.leave("plates and members outside curtain walls", element.Name or f"{kind} {element.id()}")
        elif kind == "IfcCovering":
            predefined = element.PredefinedType
            if predefined not in ("CEILING", "FLOORING"):
                report.leave("coverings that are neither ceiling nor flooring", element.Name or str(element.id()))
        elif not any(element.is_a(handled) for handled in _HANDLED):
            report.leave(kind, element.Name or f"{kind} {element.id()}")


def _what_next() -> list[str]:
    return [
        "",
        "A prediction from a drawing, not a survey: check heights, doors and glazing on site.",
        "Next: add detectors, for example",
        "  detectors:",
        "    - {name: D1, model: ceiling-infrared-general, at: [X, Y], mounting: 2.5}",
    ]


def _clean(lines: Sequence[str]) -> Iterator[str]:
    for line in lines:
        yield "".join(c if c.isprintable() else " " for c in line)

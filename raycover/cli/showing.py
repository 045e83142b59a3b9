"""`raycover models show`: a unit's sheet as a picture and its reach as a table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import raycover
from raycover.asking.reach import DESK, Outline, UnitReach, is_sector, unit_reach
from raycover.catalogue import Catalogue, unknown_name
from raycover.cli.listing import catalogue_for, entry_json
from raycover.cli.printing import data, talk
from raycover.cli.simulated import print_simulated, simulated_json
from raycover.cli.tables import table
from raycover.errors import InputError, Position, Problem
from raycover.exchange import data_sheet
from raycover.exchange.data_sheet import Refused
from raycover.exchange.entry_notes import notes
from raycover.exchange.files import writing
from raycover.kit.unit_words import combining_words, facts, size_words, sources
from raycover.scene.devices import DetectorModel

if TYPE_CHECKING:
    from raycover.draw.lettering import Wording

_Sheet = tuple[UnitReach, Path | None]
CAUTION = "A prediction, not a site test: walk-test before hand-over. Makers' instructions come before this tool."


def show(
    name: str,
    output: Path | None,
    mounting: list[str],
    scene_folder: Path | None,
    *,
    drawing: bool,
    lang: str = "en",
    as_json: bool,
) -> None:
    """Draw an entry of the catalogue and print its table. Raises InputError."""
    from raycover.report.words import report_words

    wording = report_words(lang).wording
    heights = _heights(mounting)
    catalogue: Catalogue = catalogue_for(scene_folder)
    if name not in catalogue.detectors:
        raise InputError([unknown_name("detector", name, catalogue.detectors, Position("NAME"))])
    model = catalogue.detectors[name]
    target = output if output is not None else None if as_json else Path(f"{name}.png")
    drawn = sheets(model, target if drawing else None, heights, wording)
    file = str(catalogue.origins["detector", name])
    if as_json:
        from raycover.exchange.summary import stamp

        if len(drawn) == 1:
            ((unit, path),) = drawn
            data({**stamp(), **unit_json(unit), "file": file, "picture": _text(path)})
            return
        halves = {unit.model.kind: {**unit_json(unit), "picture": _text(path)} for unit, path in drawn}
        data({**stamp(), "detector": entry_json(model), "halves": halves, "file": file, "caution": CAUTION})
        return
    if model.kind == "dual":
        print(f"{model.name}: {model.title}")
        print(f"{'Combined':<16} {combining_words(model)}, as it leaves the works")
        print()
    for unit, path in drawn:
        print_unit(unit)
        if path is not None:
            talk(f"Drawn {path}, mounted at {unit.mounting:g} m.")


def sheets(
    model: DetectorModel, path: Path | None, heights: Sequence[float] = (), wording: Wording | None = None
) -> list[_Sheet]:
    """An entry's reach with the picture it is drawn to; of a dual one each half, in a picture of its own."""
    found: list[_Sheet] = []
    for part in model.parts:
        own = path
        if part is not model:
            part = part.model_copy(update={"title": f"{model.title}, {part.kind} half"})
            own = None if path is None else path.with_name(f"{path.stem}-{part.kind}{path.suffix}")
        unit = unit_reach(part, heights[0] if heights else None, heights[1:])
        if own is not None:
            draw(unit, own, wording)
        found.append((unit, own))
    return found


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


def _heights(given: list[str]) -> list[float]:
    heights, problems = option_values("--mounting", given, data_sheet.mounting)
    if problems:
        raise InputError(problems)
    return heights


def option_values(option: str, given: Sequence[str], read: Callable[[str], float]) -> tuple[list[float], list[Problem]]:
    """What a repeated option says, read value by value, and what is wrong with it."""
    found: list[float] = []
    problems: list[Problem] = []
    for number, text in enumerate(given, 1):
        try:
            found.append(read(text))
        except Refused as refused:
            problems.append(option_problem(option, text, refused, number))
    return found, problems


def option_problem(option: str, text: str, refused: Refused, number: int = 1) -> Problem:
    """What is wrong with an option's value, with a caret into it; `number` counts repeated options."""
    return Problem(refused.code, refused.message, Position(option, number, refused.column + 1, text), refused.help)


def draw(unit: UnitReach, path: Path, wording: Wording | None = None) -> None:
    """Draw the sheet; its folder is made where missing. Raises InputError where it cannot be written."""
    from raycover.draw.lettering import ENGLISH
    from raycover.draw.unit_sheet import draw_unit_sheet

    if path.suffix.lower() != ".png":
        raise InputError(
            [Problem("wrong-ending", "the drawing is a PNG", Position(str(path)), f"write -o {path.name}.png")]
        )
    with writing(path):
        draw_unit_sheet(
            unit, path, notes=tuple(notes(unit.model)), version=raycover.__version__, wording=wording or ENGLISH
        )


def print_unit(unit: UnitReach) -> None:
    """Facts, reach by mounting height, sources and notes, on stdout."""
    model, sector = unit.model, is_sector(unit.model)
    print(f"{model.name}: {model.title}")
    if model.description:
        print(model.description)
    for label, value in facts(model):
        print(f"{label:<16} {value}")
    size = "reach of the sector" if sector else "Ø diameter, or length × width"
    rows = []
    for row in unit.rows:
        trust = (
            "outside its mounting range"
            if row.outside_range
            else "outside the declared heights"
            if row.extrapolated
            else ""
        )
        cells = (size_words(limit, sector=sector) for limit in (row.floor, row.desk))
        rows.append([f"{row.mounting:g}", row.motion, *cells, trust])
    print()
    table(
        ["mounting, m", "motion", "on the floor, m", f"at {DESK:g} m, m", "note"],
        rows,
        title=f"Reach in the open at 20 °C ({size}; – not seen)",
        right=(0, 2, 3),
    )
    print_simulated(model, unit.mounting)
    print()
    print("Sources")
    for source in sources(model):
        print(f"  {source}")
    for note in notes(model):
        print(f"  note: {note}")
    print(CAUTION)


def unit_json(unit: UnitReach) -> dict[str, Any]:
    """An entry with its reach by mounting height."""
    model: DetectorModel = unit.model
    return {
        "detector": entry_json(model),
        "mounting_m": unit.mounting,
        "reach": [
            {
                "mounting_m": row.mounting,
                "motion": row.motion,
                "floor": _outline_json(row.floor),
                "desk": _outline_json(row.desk),
                "outside_declared_heights": row.extrapolated,
                "outside_mounting_range": row.outside_range,
            }
            for row in unit.rows
        ],
        "desk_m": DESK,
        "simulated": simulated_json(model, unit.mounting),
        "notes": notes(model),
        "caution": CAUTION,
    }


def _outline_json(limit: Outline) -> dict[str, float] | None:
    if limit.reach <= 0:
        return None
    return {"length_m": round(limit.length, 4), "width_m": round(limit.width, 4), "reach_m": round(limit.reach, 4)}

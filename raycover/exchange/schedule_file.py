"""The schedule as CSV or XLSX, in a language, numbers written its way. Text from the scene stays text."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from raycover.errors import MissingPart
from raycover.exchange.files import write_bytes_whole, write_whole
from raycover.kit.schedule import Entry, Schedule
from raycover.language import Language

#: Columns by key of the language's words, with how each is read from an entry; numbers stay numbers in XLSX.
COLUMNS = (
    "tag", "title", "model", "room", "x", "y", "mounting", "turn", "tilt", "masks", "sensitivity", "hold", "line",
    "address", "zones", "mode", "status", "fixing", "protection", "remark", "technology",
)  # fmt: skip
#: What a spreadsheet would take for a formula where it stands first in a cell.
FORMULA = ("=", "+", "-", "@", "\t", "\r")


def cells(entry: Entry, words: Language) -> list[str | float | int | None]:
    """One row: numbers as numbers, texts in the language."""
    masks = []
    for (start, end, low, high), half in zip(entry.masks, entry.mask_halves, strict=True):
        text = f"{words.number(start)}–{words.number(end)}"
        if low > 0 or high < 180:
            off = words["off axis"].format(**{"from": words.number(low), "to": words.number(high)})
            text += f" ({off})"
        if half is not None:
            text += f" ({words[half]})"
        masks.append(text)
    return [
        entry.tag, entry.title, entry.model, entry.room, *entry.at, entry.mounting, entry.turn_deg, entry.tilt_deg,
        "; ".join(masks), entry.sensitivity_pct, entry.hold_s, entry.line, entry.address, ", ".join(entry.zones),
        ", ".join(words[mode] for mode in entry.modes), words[entry.status], entry.fixing, entry.protection, entry.note,
        words[entry.technology],
    ]  # fmt: skip


def schedule_csv(schedule: Schedule, words: Language) -> str:
    """The schedule as CSV; separated by semicolons where the comma is for decimals."""
    text = io.StringIO()
    writer = csv.writer(text, delimiter=";" if words.decimal_comma else ",", lineterminator="\n")
    writer.writerow([words[key] for key in COLUMNS])
    for entry in schedule.entries:
        writer.writerow([_plain(cell, words) for cell in cells(entry, words)])
    return text.getvalue()


def _plain(cell: str | float | None, words: Language) -> str:
    if cell is None:
        return ""
    if isinstance(cell, str):
        # An apostrophe first tells spreadsheets that what follows is text.
        return f"'{cell}" if cell.startswith(FORMULA) else cell
    return words.number(float(cell))


def write_schedule(schedule: Schedule, words: Language, title: str, path: Path) -> None:
    """Write .csv or .xlsx, whole or not at all. Raises InputError where it cannot, MissingPart without openpyxl."""
    if path.suffix.lower() == ".xlsx":
        write_bytes_whole(path, _workbook(schedule, words, title))
    else:
        # With a mark of order, so that spreadsheets read it as UTF-8.
        write_whole(path, "\ufeff" + schedule_csv(schedule, words))


def _workbook(schedule: Schedule, words: Language, title: str) -> bytes:
    try:
        from openpyxl import Workbook
        from openpyxl.styles import Alignment, Font
        from openpyxl.utils import get_column_letter
    except ImportError as error:
        raise MissingPart("XLSX needs openpyxl: pip install 'raycover[xlsx]'; .csv works without") from error

    book = Workbook()
    sheet = book.active
    sheet.title = _sheet_name(words["schedule"])
    lines: list[list[Any]] = [[title], [words["caution"]], [], [words[key] for key in COLUMNS]]
    lines += [cells(entry, words) for entry in schedule.entries]
    if schedule.sensors:
        lines += [[], [words["light sensor"]]]
        for sensor in schedule.sensors:
            remark = ", ".join(p for p in (words["near glazing"] if sensor.near_glazing else "", sensor.note) if p)
            lines.append([words["light sensor"], "", "", sensor.zone, *sensor.at, *[""] * 13, remark])
    for row, line in enumerate(lines, 1):
        for column, value in enumerate(line, 1):
            fill_cell(sheet.cell(row, column), value)
    for cell in sheet[4]:
        cell.font = Font(bold=True)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
    sheet["A1"].font = Font(bold=True, size=14)
    sheet.freeze_panes = "B5"
    for k in range(1, len(COLUMNS) + 1):
        longest = max(
            (len(str(line[k - 1])) for line in lines[4:] if len(line) >= k and line[k - 1] is not None), default=4
        )
        sheet.column_dimensions[get_column_letter(k)].width = min(max(longest + 2, 9), 36)
    numbers = book.create_sheet(_sheet_name(words["quantities"]))
    counts: list[list[Any]] = [[words["title"], words["status"], words["number"]]]
    counts += [[kind, words[status], n] for kind, status, n in schedule.quantities]
    for row, line in enumerate(counts, 1):
        for column, value in enumerate(line, 1):
            fill_cell(numbers.cell(row, column), value)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def fill_cell(cell: Any, value: Any) -> None:
    """Put a value in a cell; text that begins like a formula stays text."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    cell.value = ILLEGAL_CHARACTERS_RE.sub("", value) if isinstance(value, str) else value
    if isinstance(value, str):
        cell.data_type = "s"


def _sheet_name(text: str) -> str:
    """A sheet's name: 31 characters at most, none that they cannot hold."""
    return "".join(" " if c in "[]:*?/\\" else c for c in text)[:31]

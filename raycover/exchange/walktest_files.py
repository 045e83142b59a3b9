"""A walk test as table to fill in (CSV, XLSX) and as JSON; what came back as JSON, and the scene that it corrects."""

from __future__ import annotations

import copy
import csv
import io
from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Protocol

from raycover.errors import MissingPart
from raycover.exchange.results_file import COLUMNS, heads
from raycover.exchange.schedule_file import FORMULA, fill_cell
from raycover.exchange.summary import finite, stamp
from raycover.language import Language, language
from raycover.proving.proof_words import CAUTION
from raycover.scene.reading import read_text
from raycover.scene.splicing import put, spliced
from raycover.walktest.making import Point, WalkTest
from raycover.walktest.marking import code_of
from raycover.walktest.reconciling import Estimate, Share, Table
from raycover.walktest.returned import Compared, Returned, conclusions, reach_percent
from raycover.walktest.unknowns import AS_BUILT_DB, LAPSE, NOISE_DB

_Cells = list[str | float | int | None]
#: How wide columns of a workbook are (characters), those not named 10.
_WIDE = {"no": 5, "room": 16, "place": 14, "from_walls": 46, "how": 40, "why": 60, "remark": 40, "code": 8, "seen": 8}


class Speaking(Protocol):
    """What puts sentences about points into a language, as `draw.lettering.Wording` does."""

    @property
    def label(self) -> Callable[[str], str]: ...

    @property
    def course(self) -> Callable[[str], str]: ...


def cells(test: WalkTest, point: Point, words: Language, speaking: Speaking | None = None) -> _Cells:
    """A row of the table, in the order of `COLUMNS`, in a language; `speaking` puts its sentences into it."""
    x, y, z = point.at
    state = test.scene.state if test.scene.states else ""
    label = speaking.label if speaking is not None else str
    why = point.why if speaking is None else point.why_in(speaking.label, speaking.course)
    walls = ", ".join(map(label, (m.words for m in point.measured))) or label(from_walls(point))
    return [
        point.number, point.storey or "", point.room, label(point.place), x, y, z, walls,
        words[f"move {point.move.key}"], label(point.move.said(point.unit)),
        ", ".join(point.watch) or words["watch any"], words[f"expected {point.expected}"], round(point.chance, 2), why,
        state, code_of(point.number, point.at, point.move.key, point.watch), "", "",
    ]  # fmt: skip


def from_walls(point: Point) -> str:
    """How a place is found with a tape; its coordinates outside every room."""
    if not point.measured:
        return f"x {point.at[0]:.2f}, y {point.at[1]:.2f}"
    return ", ".join(measured.words for measured in point.measured)


def sheet_csv(test: WalkTest, lang: str = "en", speaking: Speaking | None = None) -> str:
    """The table as CSV, with a byte order mark so that spreadsheets read it as UTF-8; with semicolons where the
    language has decimal commas."""
    words = language(lang)
    text = io.StringIO()
    writer = csv.writer(text, delimiter=";" if words.decimal_comma else ",", lineterminator="\n")
    writer.writerow(heads(words))
    for point in test.points:
        writer.writerow([_plain(value, words) for value in cells(test, point, words, speaking)])
    return "\ufeff" + text.getvalue()


def _plain(value: str | float | None, words: Language) -> str:
    if isinstance(value, str):
        return f"'{value}" if value.startswith(FORMULA) else value
    text = "" if value is None else f"{value:g}" if isinstance(value, int) else f"{value:.2f}"
    return text.replace(".", ",") if words.decimal_comma else text


def sheet_xlsx(test: WalkTest, lang: str = "en", speaking: Speaking | None = None) -> bytes:
    """The table as a workbook: the columns to fill in marked, yes or no to choose. Raises MissingPart."""
    words = language(lang)
    try:
        from openpyxl import Workbook
        from openpyxl.styles import Alignment, Font, PatternFill
        from openpyxl.utils import get_column_letter
        from openpyxl.worksheet.datavalidation import DataValidation
    except ImportError as error:
        raise MissingPart("XLSX needs openpyxl: pip install 'raycover[xlsx]'; the CSV works without") from error

    book = Workbook()
    page = book.active
    page.title = words["walk test"].capitalize()
    lines: list[_Cells] = [
        [f"{test.scene.title}: {words['walk test']}"],
        [words["walk test caution"]],
        list(heads(words)),
    ]
    lines += [cells(test, point, words, speaking) for point in test.points]
    for row, line in enumerate(lines, 1):
        for column, value in enumerate(line, 1):
            fill_cell(page.cell(row, column), value)
    page["A1"].font = Font(bold=True, size=14)
    for cell in page[3]:
        cell.font = Font(bold=True)
    seen = COLUMNS.index("seen") + 1
    choice = DataValidation(type="list", formula1=f'"{words["expected yes"]},{words["expected no"]}"', allow_blank=True)
    page.add_data_validation(choice)
    for row in range(4, len(lines) + 1):
        choice.add(page.cell(row, seen))
        for column in (seen, seen + 1):
            page.cell(row, column).fill = PatternFill("solid", fgColor="FFF3D6")
        for name in ("how", "why", "from_walls", "remark"):
            page.cell(row, COLUMNS.index(name) + 1).alignment = Alignment(wrap_text=True, vertical="top")
    page.freeze_panes = "B4"
    for k, name in enumerate(COLUMNS, 1):
        page.column_dimensions[get_column_letter(k)].width = _WIDE.get(name, 10)
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def walktest_json(test: WalkTest) -> dict[str, Any]:
    """The points with what is expected, and what the test is expected to settle."""
    return {
        **stamp(),
        "title": test.scene.title,
        "state": test.scene.state,
        "length_m": round(test.length_m, 2),
        "left_out": list(test.left_out),
        "points": [
            {
                "no": point.number,
                "storey": point.storey,
                "room": point.room,
                "place": point.place,
                "at": list(point.at),
                "from_walls": [{"distance_m": round(m.distance_m, 2), "wall": m.wall} for m in point.measured],
                "move": point.move.key,
                "watch": list(point.watch),
                "detector": point.unit,
                "expected": point.expected,
                "margin_db": finite(point.margin_db),
                "chance": point.chance,
                "purpose": point.purpose,
                "cause": point.cause,
                "code": code_of(point.number, point.at, point.move.key, point.watch),
            }
            for point in test.points
        ],
        "unknowns": [
            {
                "kind": test.unknowns.kind(k),
                "name": name,
                "sd_db": float(test.unknowns.prior_db[k]),
                "sd_after_db": float(test.known_db[k]),
            }
            for k, name in enumerate(test.unknowns.names)
        ],
        "caution": CAUTION,
    }


def reconcile_json(returned: Returned) -> dict[str, Any]:
    """What came back beside what was predicted, and the correction that it supports."""
    found = returned.found
    return {
        **stamp(),
        "title": returned.scene.title,
        "state": returned.scene.state,
        "answered": len(returned.points),
        "unanswered": returned.n_blank,
        "before": _table(found.before),
        "after": _table(found.after),
        "supported": found.supported,
        "odds": min(found.odds, 1e9),
        "fits": found.fits,
        "fit_p": found.fit_p,
        "coin_log_odds": found.coin_log_odds,
        "corrections": returned.corrections(),
        "unknowns": [_estimate(e, returned) for e in found.estimates],
        "tied": [{"one": one, "other": other, "correlation": tied} for one, other, tied in found.tied],
        "points": [_compared(point) for point in returned.points],
        "assumed": {"noise_db": NOISE_DB, "lapse": LAPSE, "as_built_db": AS_BUILT_DB},
        "conclusions": conclusions(returned),
        "caution": CAUTION,
    }


def _table(table: Table) -> dict[str, Any]:
    return {
        "predicted_noticed": table.hits,
        "predicted_missed": table.missed,
        "not_predicted_noticed": table.false,
        "not_predicted_quiet": table.quiet,
        "noticed_of_predicted": _share(table.noticed_of_predicted),
        "noticed_of_not_predicted": _share(table.noticed_of_others),
        "as_predicted": _share(table.right),
    }


def _share(share: Share) -> dict[str, Any]:
    low, high = share.interval
    return {"k": share.k, "n": share.n, "low": low, "high": high}


def _estimate(e: Estimate, returned: Returned) -> dict[str, Any]:
    return {
        "kind": e.kind,
        "name": e.name,
        "in_force_db": e.in_force_db,
        "prior_sd_db": e.prior_db,
        "estimate_db": e.estimate_db,
        "sd_db": e.sd_db,
        "told": e.told,
        "proposed_db": e.proposed_db,
        "proposed_sd_db": e.proposed_sd_db,
        **({"proposed_reach_percent": reach_percent(e.proposed_db)} if e.kind == "reach" and e.proposed_db else {}),
        "deciding_points": [returned.points[k].answer.number for k in e.deciding],
    }


def _compared(point: Compared) -> dict[str, Any]:
    return {
        "no": point.answer.number,
        "at": list(point.at),
        "room": point.room,
        "move": point.answer.move,
        "watch": list(point.answer.watch),
        "seen": point.answer.seen,
        "predicted": point.predicted,
        "verdict": point.verdict,
        "margin_db": finite(point.margin_db),
        "corrected_margin_db": finite(point.corrected_db),
        "chance": point.chance,
        "detector": point.unit,
        "cause": point.cause,
        "remark": point.answer.remark,
    }


def corrected_text(text: str, name: str, corrections: Mapping[str, Mapping[str, float]]) -> str:
    """A scene's text with other corrections, all the rest as it was written. Raises InputError as `spliced`."""
    data = copy.deepcopy(read_text(text, name).data)
    put(data, ("corrections",), {key: dict(table) for key, table in corrections.items()})
    changed = spliced(text, data, name)
    at = changed.find("\ncorrections:") + 1
    if "corrections:" in text or not at:
        return changed
    line_break = "\r\n" if changed[at - 2 : at] == "\r\n" else "\n"
    said = f"# from a walk test, {date.today().isoformat()}: dB added to reaches, and to losses one way"
    return changed[:at] + said + line_break + changed[at:]

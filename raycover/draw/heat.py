"""Maps side by side at several air temperatures, with what each leaves of the detectors' reach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from raycover.asking.summer import SummerRow
from raycover.building.parts import Building
from raycover.draw import plan, words
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.multiples import MOST_COLUMNS, MOST_ROWS, Multiples, Small, make_multiples, sheets_of
from raycover.draw.page import Page
from raycover.draw.png import save_png
from raycover.draw.tables import Row, Table
from raycover.scene.air import kept_words, own_air
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage

_WHY = (
    "Warm air comes close to skin and clothing in temperature: the contrast falls, and the infrared reach with its "
    "square root. Ends and corners go first. Microwave does not mind."
)
_NONE = "Every detector here is microwave: the air's temperature changes nothing."
#: Lines of the table of reaches that the side of a sheet has room for.
_MOST_ROWS = 6


def draw_heat(
    scene: Scene,
    building: Building,
    found: Mapping[float, Coverage],
    rows: Sequence[SummerRow],
    folder: Path,
    wording: Wording = ENGLISH,
) -> list[str]:
    """Write the sheets into a folder; their names."""
    pages = make_heat(scene, building, found, rows, wording=wording)
    names = ["heat.png"] if len(pages) == 1 else [f"heat {k + 1}.png" for k in range(len(pages))]
    for name, page in zip(names, pages, strict=True):
        save_png(page.pixels(), folder / name, dpi=page.dpi)
    return names


def make_heat(
    scene: Scene,
    building: Building,
    found: Mapping[float, Coverage],
    rows: Sequence[SummerRow],
    *,
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> list[Page]:
    """The sheets: planes down, temperatures across; stairs keep their own sheets and are left out."""
    first = next(iter(found.values()))
    planes = [name for name, plane in first.items() if plane.surface.stairs is None]
    parts = sheets_of(planes, MOST_ROWS, list(found), MOST_COLUMNS)
    infrared = sorted((r for r in rows if r.kind == "infrared"), key=lambda r: -r.reaches[0].plan_m)
    kept = kept_words(own_air(scene))
    kept = f"{kept}." if kept else ""
    pages = []
    for index, (names, ambients) in enumerate(parts):
        made = Multiples(
            drawing="Coverage against air temperature",
            subtitle="The same detectors in colder and warmer air",
            columns=tuple(f"{value:g} °C" for value in ambients),
            rows=tuple((named(name), words.height_phrase(first[name].surface)) for name in names),
            plans=tuple(
                tuple(Small(building, found[value][name], found[value].units) for value in ambients) for name in names
            ),
            notes=tuple(note for note in (_WHY if infrared else _NONE, kept) if note),
            table=partial(_reach_table, infrared, ambients) if infrared else None,
            otherwise=tuple(_reach_lines(infrared, ambients)),
            conditions=" · ".join(p for p in (f"reserve {first.reserve_db:g} dB", words.doors(building)) if p),
        )
        pages.append(make_multiples(scene, made, sheet_number=(index + 1, len(parts)), dpi=dpi, wording=wording))
    return pages


def _reach_table(rows: Sequence[SummerRow], ambients: Sequence[float], page: Page, width: float) -> Table:
    """The reach of each model at each temperature, furthest first."""
    shown = rows[:_MOST_ROWS]
    step = 16.0
    ends = [width - step * (len(ambients) - 1 - k) for k in range(len(ambients))]
    body = tuple(
        Row(
            (
                page.lettering.fit(clean(f"{row.title}, at {row.mounting:g} m"), "sans", 6.5, ends[0] - 14.0),
                *(f"{r.plan_m:.1f} m" for r in row.reaches if r.ambient_c in ambients),
            )
        )
        for row in shown
    )
    left_out = len(rows) - len(shown)
    note = f"{left_out} more in the table that raycover heat prints" if left_out else ""
    heads = ("Furthest reach in plan, best direction", *(f"{a:g} °C" for a in ambients))
    return Table(heads, ((0.0, "left"), *((x, "right") for x in ends)), body, note)


def _reach_lines(rows: Sequence[SummerRow], ambients: Sequence[float]) -> list[str]:
    """The reach of each model in words, furthest first."""
    lines = []
    for row in rows[:_MOST_ROWS]:
        reaches = [f"{r.plan_m:.1f}" for r in row.reaches if r.ambient_c in ambients]
        lines.append(f"{row.title}, mounted at {row.mounting:g} m: reaches {' / '.join(reaches)} m.")
    if len(rows) > _MOST_ROWS:
        lines.append(f"{len(rows) - _MOST_ROWS} more in the table that raycover heat prints.")
    return lines

"""The sheets of a study: what mounting, tilt or turn change, small plans of a few steps, what racking takes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from raycover.asking.studying import Step, Study, bands, holds
from raycover.draw import palette, plan, sheet, words
from raycover.draw.chart import Chart, Line, draw_chart
from raycover.draw.lettering import ENGLISH, Wording, clean, named
from raycover.draw.multiples import MOST_COLUMNS, MOST_ROWS, Multiples, Small, make_multiples, sheets_of
from raycover.draw.page import Page
from raycover.draw.png import save_png
from raycover.draw.tables import Row, Table, draw_table
from raycover.draw.title_block import draw_block
from raycover.scene.air import air_of
from raycover.scene.schema import Scene
from raycover.scene.varying import Change
from raycover.shares import percent
from raycover.signs import minus

#: What can run along the chart, in the order in which it is chosen: field, its name, its unit.
_AXES = (("mounting", "Mounting height", "m"), ("tilt_deg", "Tilt", "°"), ("turn_deg", "Turn", "°"))
_DASHES: tuple[tuple[float, ...] | None, ...] = (None, (4.0, 1.6), (1.4, 1.4), (6.0, 1.4, 1.4, 1.4))
_CHARTS = (10.0, 33.5, 229.0, 178.0)


@dataclass(frozen=True)
class Shown:
    """A step with its planes as small plans, for the sheets of plans."""

    change: Change
    plans: Mapping[str, Small]


def axis_of(study: Study) -> tuple[str, str, str]:
    """What runs along the chart: the first of mounting, tilt, turn that takes several values."""
    for name, title, unit in _AXES:
        if len({getattr(step.change, name) for step in study.steps}) > 1:
            return name, title, unit
    return _AXES[0]


def along_axis(study: Study) -> Study:
    """One step for each value along the chart: of those that share it the one that sees most."""
    name, _, _ = axis_of(study)
    best: dict[float, Step] = {}
    for step in study.steps:
        value = getattr(step.change, name)
        if value not in best or _mean_share(step) > _mean_share(best[value]):
            best[value] = step
    return Study(tuple(best[v] for v in sorted(best)), study.rooms, study.detectors)


def _mean_share(step: Step) -> float:
    return float(np.mean([p.share for p in step.planes.values()]))


def draw_study(
    scene: Scene,
    study: Study,
    shown: Sequence[Shown],
    racks: tuple[Study, Sequence[Shown]] | None,
    folder: Path,
    *,
    need: float | None,
    now: float | None,
    wording: Wording = ENGLISH,
) -> list[str]:
    """Write the sheets into a folder: sweep.png, `sweep plans.png`, `sweep racking.png`; their names."""
    pages = {"sweep.png": make_chart_sheet(scene, study, need=need, now=now, sheet_number=(1, 1), wording=wording)}
    pages |= make_plan_sheets(scene, "sweep plans", "Plans of chosen steps", shown, (_CHOSEN,), wording)
    if racks is not None:
        pages |= make_plan_sheets(
            scene, "sweep racking", "What the racking takes away", racks[1], (_RACKS,), wording, names_given=False
        )
    for name, page in pages.items():
        save_png(page.pixels(), folder / name, dpi=page.dpi)
    return list(pages)


_CHOSEN = "Steps taken evenly from first to last. The figures of every step stand in sweep.csv."
_RACKS = (
    "The same detectors over the same aisles with every place loaded, with bare frames, and with no racking at all. "
    "What differs between them is hidden by goods, and by frames."
)


def make_chart_sheet(
    scene: Scene,
    study: Study,
    *,
    need: float | None,
    now: float | None,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = plan.DPI,
    wording: Wording = ENGLISH,
) -> Page:
    """Shares, gaps and unseen people along the axis, with the best step's figures; `need` is the share asked for."""
    page = Page(dpi=dpi, wording=wording)
    name, title, unit = axis_of(study)
    lined = along_axis(study)
    x = np.array([getattr(step.change, name) or 0.0 for step in lined.steps], float)
    label = f"{title}, {unit}" if unit != "°" else f"{title}, degrees"
    planes = list(lined.steps[0].planes)
    share = tuple(
        Line(named(plane), np.array([100 * s.planes[plane].share for s in lined.steps]), _DASHES[k % 4], width_pt=1.1)
        for k, plane in enumerate(planes)
    )
    marked = now if now is not None and x.min() <= now <= x.max() else None
    shaded = tuple((float(x[a]), float(x[b])) for a, b in bands(lined.steps, need)) if need is not None else ()
    x0, y0, x1, y1 = _CHARTS
    foot = 20.0 * max(np.floor(min(float(line.values.min()) for line in share) / 20.0 - 1e-9), 0.0)
    charts = [
        Chart(
            "Seen, per cent of the floor of the rooms studied", x, label, share, foot, 100.0,
            lambda v: f"{v:g}", shaded, ((100 * need, f"asked for: {100 * need:g} %"),) if need else (), marked,
        ),
        _people_chart(lined, x, label, marked),
    ]  # fmt: skip
    middle = y0 + (y1 - y0) * 0.44
    draw_chart(page, charts[0], (x0, middle + 4.0, x1, y1))
    draw_chart(page, charts[1], (x0, y0 - 2.0, x1, middle))
    _draw_side(page, lined, planes, need, name, unit)
    several = len(study.steps) > len(lined.steps)
    who = words_of(study.detectors)
    subtitle = f"{title} of {who}" + (", best of the other values at each" if several else "")
    sheet.draw_title(page, scene.title, subtitle)
    draw_block(
        page,
        scene,
        drawing=f"Study of {title.lower()}",
        conditions=f"{air_of(scene)} · reserve {scene.conditions.reserve_db:g} dB",
        scale=None,
        number=sheet_number,
    )
    return page


def words_of(detectors: Sequence[str]) -> str:
    """Names of detectors, the first few of many."""
    if len(detectors) <= 6:
        return ", ".join(detectors)
    return f"{', '.join(detectors[:5])} and {len(detectors) - 5} more"


def _people_chart(study: Study, x: np.ndarray, label: str, marked: float | None) -> Chart:
    """Floor on which an adult or a child stands unseen, and the largest gap of any plane."""
    gap = np.array([max(p.gap_m2 for p in s.planes.values()) for s in study.steps])
    lines = [Line("largest gap", gap, _DASHES[1], width_pt=1.0)]
    if all(s.unseen is not None for s in study.steps):
        adult = np.array([s.unseen.adult_m2 for s in study.steps if s.unseen is not None])
        child = np.array([s.unseen.child_m2 for s in study.steps if s.unseen is not None])
        lines = [
            Line("adult of 1.7 m unseen", adult, None, width_pt=1.1),
            Line("child of 1.1 m unseen", child, _DASHES[2], width_pt=1.1),
            *lines,
        ]
    top = max(float(line.values.max()) for line in lines)
    return Chart(
        "Floor on which somebody stands unseen, and the largest gap, m²", x, label, tuple(lines), 0.0,
        max(1.05 * top, 1.0), lambda v: f"{v:g}", (), (), marked,
    )  # fmt: skip


def _draw_side(page: Page, study: Study, planes: Sequence[str], need: float | None, name: str, unit: str) -> None:
    """In the right column: the step that sees most, and a table of steps."""
    left, right = sheet.COLUMN, sheet.RIGHT
    best = max(study.steps, key=_mean_share)
    value = minus(f"{getattr(best.change, name) or 0.0:g}")
    figure = f"{value} {unit}" if unit != "°" else f"{value}°"
    sheet.draw_headline(page, figure, ("sees most: " + percent(_mean_share(best)), "mean over the planes"))
    page.rule(left, right, 190.0, 0.5)
    width = right - left
    columns = planes[:2]
    ends = [width - 12.5 * (len(columns) - k) for k in range(len(columns))]
    rows = []
    pick = _spread_out(len(study.steps), 17)
    for k in pick:
        step = study.steps[k]
        tall = "–" if step.unseen is None else "> 2.0" if step.unseen.tall_m is None else f"{step.unseen.tall_m:.1f}"
        rows.append(
            Row(
                (
                    minus(f"{getattr(step.change, name) or 0.0:g}"),
                    *(f"{100 * step.planes[p].share:.1f}" for p in columns),
                    tall,
                ),
                strong=step is best,
            )
        )
    heads = (
        unit if unit != "°" else "degrees",
        *(page.lettering.fit(named(p), "bold", 6.5, 11.5) for p in columns),
        "tall m",
    )
    places = ((0.0, "left"), *((e, "right") for e in ends), (width, "right"))
    note = "seen in per cent; tall: see below"
    y = draw_table(page, Table(heads, places, tuple(rows), note), left, 186.0, right)
    texts = [
        "tall: on all but 5 % of the floor nobody taller than this passes unseen; > 2.0: even people of 2 m do.",
        "Counted in the rooms that the detectors hang in; every other detector stays as it is.",
    ]
    if need is not None:
        met = [s for s in study.steps if holds(s, need)]
        texts.insert(
            0,
            f"{100 * need:g} % on every plane holds at {len(met)} of {len(study.steps)} steps (shaded)."
            if met
            else f"No step reaches {100 * need:g} % on every plane.",
        )
    y -= 5.0
    for text in texts:
        for line in page.lettering.wrap(clean(text), "sans", 6.5, width, 6):
            page.text(left, y, line, 6.5, color=palette.SECOND_INK)
            y -= 3.3
        y -= 1.6


def _spread_out(n: int, most: int) -> list[int]:
    return list(range(n)) if n <= most else sorted({round(k * (n - 1) / (most - 1)) for k in range(most)})


def make_plan_sheets(
    scene: Scene,
    name: str,
    drawing: str,
    shown: Sequence[Shown],
    notes: tuple[str, ...],
    wording: Wording = ENGLISH,
    *,
    names_given: bool = True,
) -> dict[str, Page]:
    """Small plans: planes down, steps across; `names_given` where the planes have the scene's names, not our own."""
    if not shown:
        return {}
    planes = list(shown[0].plans)
    parts = sheets_of(planes, MOST_ROWS, list(shown), MOST_COLUMNS)
    pages = {}
    for index, (rows, columns) in enumerate(parts):
        first = shown[0].plans
        made = Multiples(
            drawing=drawing,
            subtitle=drawing,
            columns=tuple(step.change.words() for step in columns),
            rows=tuple((named(r) if names_given else r, words.height_phrase(first[r].plane.surface)) for r in rows),
            plans=tuple(tuple(step.plans[r] for step in columns) for r in rows),
            notes=notes,
            conditions=f"{air_of(scene)} · reserve {scene.conditions.reserve_db:g} dB",
        )
        file = f"{name}.png" if len(parts) == 1 else f"{name} {index + 1}.png"
        pages[file] = make_multiples(scene, made, sheet_number=(index + 1, len(parts)), wording=wording)
    return pages

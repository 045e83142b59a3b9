"""The words along the foot of a sheet, and what stands around a plan: alike on every drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from raycover import __version__
from raycover.draw import palette, sheet, words
from raycover.draw.lettering import Font, clean, named
from raycover.draw.page import Page
from raycover.draw.projection import Projection
from raycover.scene.schema import Scene


@dataclass(frozen=True)
class TitleBlock:
    """The words along the foot of a sheet."""

    project: str
    drawing: str
    conditions: str
    scale: str
    date: str
    revision: str
    sheet: str


def state_shown(scene: Scene) -> tuple[str, ...]:
    """What a drawing says beside its name: the state where the scene has several, and that it is corrected."""
    corrected = scene.corrections is not None and scene.corrections.in_force
    return (*((scene.state,) if scene.states else ()), *(("corrections in force",) if corrected else ()))


def date_of(date: str | None) -> str:
    """The date that a drawing carries: the scene's, or today's."""
    return date if date is not None else words.today()


def draw_block(
    page: Page, scene: Scene, *, drawing: str, conditions: str, scale: int | None, number: tuple[int, int]
) -> None:
    """The title block of a scene's drawing; `scale` is its denominator, None where lengths mean nothing."""
    block = TitleBlock(
        project=named(scene.title),
        drawing=drawing,
        conditions=conditions,
        scale="–" if scale is None else f"1 : {scale}",
        date=date_of(scene.date),
        revision=named(scene.revision),
        sheet=f"{number[0]} of {number[1]}",
    )
    draw_title_block(page, block)


def draw_surround(
    page: Page,
    scene: Scene,
    projection: Projection,
    *,
    subtitle: str,
    drawing: str,
    conditions: str,
    number: tuple[int, int],
) -> None:
    """Title, neat line, scale bar, north and title block around a plan on A4."""
    sheet.draw_title(page, scene.title, subtitle)
    sheet.draw_frame(page, projection)
    sheet.draw_scale_bar(page, projection)
    sheet.draw_north(page, scene.north_deg)
    draw_block(page, scene, drawing=drawing, conditions=conditions, scale=projection.scale, number=number)


def draw_title_block(page: Page, block: TitleBlock) -> None:
    right = sheet.RIGHT + page.wider
    places = [place * (right - sheet.MARGIN) / 277.0 for place in (0.0, 58.0, 126.0, 190.0, 214.0, 238.0, 257.0, 277.0)]
    heads = ("Project", "Drawing", "Conditions", f"Scale on {page.paper}", "Date", "Revision", "Sheet")
    values = (block.project, block.drawing, block.conditions, block.scale, block.date, block.revision, block.sheet)
    page.rule(sheet.MARGIN, right, 27.0, 1.1)
    for k, (head, value) in enumerate(zip(heads, values, strict=True)):
        x, width = sheet.MARGIN + places[k] + (1.8 if k else 0.0), places[k + 1] - places[k] - (3.4 if k else 1.6)
        page.text(x, 23.4, head, 6.5, color=palette.SECOND_INK)
        font = "bold" if k == 0 else "sans"
        sizes = (9.0, 8.0, 7.5) if k == 0 else (7.5, 7.0, 6.5)
        whole, size = page.lettering.fit_size(clean(value), font, sizes, width)  # type: ignore[arg-type]
        lines = [whole] if whole == clean(value) else page.lettering.wrap(clean(value), font, 6.5, width, 2)  # type: ignore[arg-type]
        for line, y in zip(lines, (17.6,) if len(lines) == 1 else (19.7, 16.7), strict=True):
            page.text(x, y, line, size if len(lines) == 1 else 6.5, font=font)  # type: ignore[arg-type]
        if k:
            page.lines([[(sheet.MARGIN + places[k], 16.2), (sheet.MARGIN + places[k], 25.4)]], palette.RULE, 0.5, 25.0)
    page.rule(sheet.MARGIN, right, 15.2, 0.4, palette.RULE)
    for line, y in zip(words.CAUTION, (12.2, 9.4), strict=True):
        page.text(sheet.MARGIN, y, line, 6)
    page.text(right, 12.2, f"raycover {__version__}", 6, ha="right", color=palette.SECOND_INK)


def draw_fields(page: Page, fields: Sequence[tuple[float, str, str, float]], caution: str, version: str) -> None:
    """The foot of a sheet about one thing of the catalogue: (x from the margin, label, value, width) in mm each."""
    left, right = sheet.MARGIN, sheet.RIGHT
    page.rule(left, right, 26.6, 1.1)
    for x, label, value, wide in fields:
        if x:
            page.lines([[(left + x - 2, 17.4), (left + x - 2, 25.4)]], palette.RULE, 0.5, 10)
        page.text(left + x, 23.2, label, 6, color=palette.SECOND_INK)
        font: Font = "bold" if x == 0 else "sans"
        page.text(left + x, 18.4, page.lettering.fit(value, font, 7.5, wide), 7.5, font=font)
    page.rule(left, right, 15.2, 0.4, palette.RULE)
    page.text(left, 11.6, caution, 6)
    page.text(right, 11.6, f"raycover {version}".strip(), 6, color=palette.SECOND_INK, ha="right")

"""An isometric sheet: the building cut open in true isometry, drawn to a scale along its axes, with a title block."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.draw import palette, sheet, tables, words
from raycover.draw.glyphs import WORDS, Mark, draw_marks, sort_of
from raycover.draw.legend import distribution, draw_legend
from raycover.draw.lettering import ENGLISH, Wording, clean
from raycover.draw.page import A4_LANDSCAPE, MM_PER_INCH, Page
from raycover.draw.png import save_png
from raycover.draw.projection import scales
from raycover.draw.title_block import draw_block, state_shown
from raycover.draw.true_scale import save_vector
from raycover.draw.view3d import environment
from raycover.draw.view3d.camera import Fit, View
from raycover.draw.view3d.stage import UNNOTICED
from raycover.draw.view3d.still import Composed, Shot, compose, render
from raycover.draw.view3d.still_page import write_names
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.coverage import Coverage, PlaneCoverage

Floats = NDArray[np.floating]
#: Looking along a cube's diagonal all three axes are foreshortened alike, to √(2/3) (ISO 5456-3).
ELEVATION_DEG = float(np.degrees(np.arcsin(1 / np.sqrt(3))))
FORESHORTENED = float(np.sqrt(2 / 3))
#: Views to choose from: each corner of a building that lies square to the axes.
VIEWS = tuple(View(azimuth, ELEVATION_DEG) for azimuth in (-45.0, -135.0, 45.0, 135.0))
#: Dots an inch of the picture at most: print needs no more where lines and words are drawn over it.
_MOST_DPI, _MOST_PX = 220.0, 3200
_ROW = 4.3


@dataclass(frozen=True)
class Laid:
    """What an isometric shows and how large: `scale` along its axes, `per_mm` pixels a mm, `frame` (mm) on the page."""

    composed: Composed
    scale: int
    per_mm: float
    frame: tuple[float, float, float, float]


def lay_isometric(
    scene: Scene, building: Building, coverage: Coverage, *, rays: RayScene, dpi: float, size: tuple[float, float]
) -> Laid:
    """The scene's first plane, on all storeys and stairs, fitted to a page of a size (mm)."""
    x0, y0, x1, y1 = sheet.frame_on(size)
    frame = (x0, y0 - 3.0, x1, y1 + 8.0)
    per_mm = min(min(dpi, _MOST_DPI) / MM_PER_INCH, _MOST_PX / (x1 - x0))
    width, height = round((frame[2] - frame[0]) * per_mm), round((frame[3] - frame[1]) * per_mm)
    name = next(iter(coverage.by_plane()))
    composed = compose(scene, building, coverage, name, rays, width, height, Shot(VIEWS))
    scale, composed = to_scale(composed, per_mm)
    return Laid(composed, scale, per_mm, frame)


def isometric_page(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    laid: Laid,
    picture: NDArray[np.uint8],
    *,
    sheet_number: tuple[int, int] = (1, 1),
    dpi: float = 200,
    size: tuple[float, float] = A4_LANDSCAPE,
    vector: bool = False,
    wording: Wording = ENGLISH,
) -> Page:
    """The sheet about a picture of the building (h, w, 3), row 0 at the top."""
    page, composed = Page(dpi=dpi, size=size, vector=vector, wording=wording), laid.composed
    x0, y0 = laid.frame[:2]
    height, width = picture.shape[:2]
    box = (x0, y0, x0 + width / laid.per_mm, y0 + height / laid.per_mm)
    page.image(np.ascontiguousarray(picture[::-1]), box, 1.0)
    write_names(page, composed, box, 1 / laid.per_mm, tag_pt=7.5)
    _column(page, coverage, composed)
    where = "All storeys" if len(composed.laid) > 1 else ""
    subtitle = words.subtitle(composed.plane.surface, coverage.air, state_shown(scene), where)
    sheet.draw_title(page.moved(0.0, page.taller), scene.title, subtitle)
    view = composed.placed.view
    sheet.draw_north(page.moved(page.wider, page.taller), _needle_deg(view, scene.north_deg))
    note = f"Isometric from the {view.compass(scene.north_deg)}, 1 : {laid.scale} along the three axes"
    page.text(x0, 29.0, note, 6, color=palette.SECOND_INK)
    draw_block(
        page, scene,
        drawing=", ".join([f"Isometric, {composed.plane_name}", *state_shown(scene)]),
        conditions=words.conditions(coverage, building), scale=laid.scale, number=sheet_number,
    )  # fmt: skip
    return page


def to_scale(composed: Composed, px_per_mm: float) -> tuple[int, Composed]:
    """The finest round scale along the axes at which everything fits, and the picture at that scale."""
    fitted = composed.placed
    for scale in scales():
        # A metre along an axis is foreshortened on the picture's plane, and drawn 1000/scale mm long.
        metres = FORESHORTENED * scale / 1000 / px_per_mm
        if metres >= fitted.metres * (1 - 1e-9):
            placed = Fit(fitted.view, fitted.width, fitted.height, metres, fitted.centre)
            return scale, replace(composed, placed=placed)
    raise AssertionError("unreachable: the scales have no end")


def _needle_deg(view: View, north_deg: float) -> float:
    """Direction on the page (degrees) that north points in."""
    angle = np.radians(north_deg)
    across, up = view.project(np.array([[np.cos(angle), np.sin(angle), 0.0]]))[0]
    return float(np.degrees(np.arctan2(up, across)))


def _column(page: Page, coverage: Coverage, composed: Composed) -> None:
    """Headline, legend, a table of storeys or rooms, and the key."""
    upper, lower = page.moved(page.wider, page.taller), page.moved(page.wider, 0.0)
    planes = composed.planes
    reserve = planes[0].reserve_db
    margin = np.concatenate([plane.margin_db.ravel() for plane in planes])
    area = np.concatenate([np.asarray(plane.surface.area, float).ravel() for plane in planes])
    found = distribution(margin, area, reserve)
    total = max(float(area.sum()), 1e-12)
    seen, sure = (float(area[margin >= least].sum()) / total for least in (0.0, reserve))
    sheet.draw_headline(
        upper, percent(seen), words.headline(planes[0].surface, sure, len(coverage.units))
    )  # fmt: skip
    sheet.draw_class_bar(upper, found.by_class.tolist())
    draw_legend(
        upper, sheet.COLUMN, sheet.LEGEND_FOOT, sheet.RIGHT, found, reserve, words.mapped(planes[0].surface)
    )  # fmt: skip
    width = sheet.RIGHT - sheet.COLUMN
    rows = _rows(page, planes, width)
    shown = rows[:9]
    note = f"{len(rows) - len(shown)} more" if len(rows) > len(shown) else ""
    made = tables.Table(
        ("Room" if len(planes) == 1 else "Storey, stair", "m²", "seen"),
        ((0.0, "left"), (width - 13.0, "right"), (width, "right")), tuple(shown), note,
    )  # fmt: skip
    tables.draw_table(upper, made, sheet.COLUMN, sheet.COLUMN_TOP, sheet.RIGHT)
    _key(lower, composed)


def _rows(page: Page, planes: Sequence[PlaneCoverage], width: float) -> list[tables.Row]:
    figures = (
        [(name, area, share) for name, (area, share, _) in planes[0].rooms().items()]
        if len(planes) == 1
        else [(p.surface.storey or p.surface.stairs or p.surface.name, p.area_m2, p.share) for p in planes]
    )
    return [
        tables.Row((page.lettering.fit(clean(name), "sans", 6.5, width - 27.0), words.area(area), percent(share)))
        for name, area, share in figures
    ]


def _key(page: Page, composed: Composed) -> None:
    x, text_x = sheet.COLUMN, sheet.COLUMN + 6.5
    sorts = list(dict.fromkeys(sort_of(unit) for unit in composed.units))
    rows: list[tuple[str, str]] = [("mark", sort) for sort in sorts]
    rows += [("drop", "down to the point below it")] if composed.units else []
    rows += [("unnoticed", "seated, not noticed")] if composed.unnoticed else []
    rows += [("footprint", "declared footprint")] if len(composed.dashes) else []
    names = " and by ".join(clean(lobe.name) for lobe in composed.lobes)
    rows += [("lobe", f"seen by {names}, in 3D")] if composed.lobes else []
    rows += [("through", "what has passed a wall")] if any(some.any() for some in composed.through) else []
    rows += [("cut", "cut away, outline only")] if len(composed.drawn.ghosts) else []
    rows += [("apart", "storeys pulled apart")] if len(composed.links) else []
    top = sheet.COLUMN_FOOT + _ROW * len(rows) + 1.8
    page.rule(x, sheet.RIGHT, top, 0.5)
    y = top - 4.4
    for what, text in rows:
        box = [(x, y - 0.5), (x + 4.6, y - 0.5), (x + 4.6, y + 2.1), (x, y + 2.1)]
        line = [[(x, y + 0.8), (x + 4.6, y + 0.8)]]
        if what == "mark":
            draw_marks(page, [Mark(text, np.array([x + 1.9, y + 0.8]), 0.0)])  # type: ignore[arg-type]
            text = WORDS[text]  # type: ignore[index]
        elif what == "drop":
            page.lines([[(x + 1.9, y + 2.4), (x + 1.9, y - 0.4)]], palette.ACCENT, 0.6, 25.0)
            page.discs([(x + 1.9, y - 0.4)], 0.4, 25.0, face=palette.ACCENT)
        elif what == "unnoticed":
            page.discs([(x + 1.9, y + 1.6)], 0.5, 25.0, face=UNNOTICED)
            body = [(x + 1.2, y - 0.4), (x + 2.6, y - 0.4), (x + 2.6, y + 1.0), (x + 1.2, y + 1.0)]
            page.areas([[body]], 25.0, face=UNNOTICED)
        elif what == "footprint":
            page.lines(line, palette.ACCENT, 0.6, 25.0, dashes=(3.0, 1.32))
        elif what in ("lobe", "through"):
            face, edge = ("#F7DDB5", "#B5701C") if what == "lobe" else ("#D9BFD5", "#7A4571")
            page.areas([[box]], 25.0, face=face, edge=edge, width_pt=0.4)
        elif what == "cut":
            page.areas([[box]], 25.0, edge="#4A555C", width_pt=0.4)
        else:
            page.lines(line, palette.SECOND_INK, 0.5, 25.0, dashes=(2.2, 1.6))
        page.text(text_x, y, page.lettering.fit(text, "sans", 6.5, sheet.RIGHT - text_x), 6.5)
        y -= _ROW


def save_isometric(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    path: Path,
    *,
    rays: RayScene,
    sheet_number: tuple[int, int],
    dpi: float,
    size: tuple[float, float] = A4_LANDSCAPE,
    wording: Wording = ENGLISH,
) -> None:
    """Save the sheet as PNG, PDF or SVG, by the path's ending. The file appears whole or not at all.

    Raises MissingPart where 3D cannot be drawn, OSError where the file cannot be written.
    """
    pyvista = environment.load_for_pictures()
    vector = path.suffix != ".png"
    laid = lay_isometric(scene, building, coverage, rays=rays, dpi=dpi, size=size)
    picture = render(pyvista, laid.composed)
    page = isometric_page(
        scene, building, coverage, laid, picture,
        sheet_number=sheet_number, dpi=dpi, size=size, vector=vector, wording=wording,
    )  # fmt: skip
    if vector:
        save_vector(page, path, title=f"{scene.title}: isometric", date=scene.date)
    else:
        save_png(page.pixels(), path, dpi=dpi, shaded=True)

"""The files that `map` writes of one state: plans, sections, 3D pictures, data."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from raycover.asking.upright import SectionField
from raycover.cli import chances as chance_talk
from raycover.cli.paper import Sheets, fitting
from raycover.cli.printing import progress
from raycover.cli.solved import Solved
from raycover.errors import MissingPart
from raycover.exchange.image_data import write_image_data
from raycover.exchange.surface_data import write_surface_data
from raycover.solving.chance_maps import ChanceMaps

if TYPE_CHECKING:
    from raycover.draw.lettering import Wording


@dataclass(frozen=True)
class Wanted:
    """What is drawn, in which forms and language."""

    sheets: Sheets
    view: bool
    isometric: bool
    wording: Wording


def write_maps(
    done: Solved, fields: Sequence[SectionField], draft: Path, wanted: Wanted, maps: ChanceMaps | None
) -> str | None:
    """Maps, sections and 3D pictures of one state; what is missing for the last."""
    scene, coverage = done.scene, done.coverage
    label = "" if scene.state == scene.state_name else f", {scene.state}"
    n_plans = len(coverage)
    n_sheets = n_plans + len(fields) + wanted.isometric + 1
    n_steps, missing = n_sheets + len(scene.cameras), None
    with progress("drawing") as step:
        for index, name in enumerate(coverage):
            step(index, n_steps)
            number = (index + 1, n_sheets)
            _write_map(done, name, draft / f"{name}{label}", number, wanted, maps)
            if maps is not None:
                path = draft / f"{name}{label} probability.png"
                chance_talk.draw(scene, done.building, coverage, maps, name, path, number, wanted.wording)
        for index, field in enumerate(fields, n_plans):
            step(index, n_steps)
            _write_section(done, field, draft / f"section {field.name}{label}", (index + 1, n_sheets), wanted)
        drawn: list[Callable[[], None]] = []
        if wanted.isometric:
            drawn += _isometrics(done, draft / f"isometric{label}", (n_plans + len(fields) + 1, n_sheets), wanted)
        if wanted.view:
            drawn += _pictures(done, draft, label, wanted.wording)
        for index, draw in enumerate(drawn, n_plans + len(fields)):
            step(index, n_steps)
            try:
                draw()
            except MissingPart as error:
                missing = str(error)
                break
    return missing


def _write_map(
    done: Solved, name: str, path: Path, number: tuple[int, int], wanted: Wanted, maps: ChanceMaps | None
) -> None:
    """Draw one map and write its data, at a path less its ending: .png and .vti, on a stair .vtp."""
    from raycover.draw.plan import draw_plan
    from raycover.draw.stair_sheet import draw_stairs
    from raycover.draw.true_scale import draw_plan_pdf

    scene, building, _, coverage = done
    sheets, wording = wanted.sheets, wanted.wording
    plane = coverage[name]
    probability = None if maps is None else maps[name].probability
    stairs = next((s for s in building.stairs if s.name == plane.surface.stairs), None)
    draw_png = draw_plan if stairs is None else draw_stairs
    draw_png(scene, building, coverage, name, _ending(path, ".png"), sheet=number, dpi=sheets.dpi, wording=wording)
    if stairs is None:
        write_image_data(plane, _ending(path, ".vti"), probability)
    else:
        write_surface_data(plane, stairs, _ending(path, ".vtp"), probability)
    for ending, paper in sheets.vectors:
        target = _ending(path, ending)
        fitting(
            paper,
            lambda target=target, paper=paper: draw_plan_pdf(  # type: ignore[misc]
                scene,
                building,
                coverage,
                name,
                target,
                paper=paper.name,
                scale=paper.scale,
                sheet=number,
                wording=wording,
            ),
        )


def _write_section(done: Solved, field: SectionField, path: Path, number: tuple[int, int], wanted: Wanted) -> None:
    from raycover.draw.section_sheet import draw_section
    from raycover.draw.true_scale import draw_section_pdf

    scene, building, _, coverage = done
    sheets, wording = wanted.sheets, wanted.wording
    draw_section(
        scene, building, coverage, field, _ending(path, ".png"), sheet_number=number, dpi=sheets.dpi, wording=wording
    )
    for ending, paper in sheets.vectors:
        target = _ending(path, ending)
        fitting(
            paper,
            lambda target=target, paper=paper: draw_section_pdf(  # type: ignore[misc]
                scene,
                building,
                coverage,
                field,
                target,
                paper=paper.name,
                scale=paper.scale,
                sheet=number,
                wording=wording,
            ),
        )


def _isometrics(done: Solved, path: Path, number: tuple[int, int], wanted: Wanted) -> list[Callable[[], None]]:
    """What draws the isometric sheet, in each of its forms."""
    from raycover.draw.page import PAPERS
    from raycover.draw.view3d import save_isometric

    scene, building, rays, coverage = done
    sheets = wanted.sheets
    forms = [(".png", sheets.dpi, "A4"), *((ending, sheets.dpi, paper.name) for ending, paper in sheets.vectors)]
    return [
        partial(
            save_isometric, scene, building, coverage, _ending(path, ending),
            rays=rays, sheet_number=number, dpi=dpi, size=PAPERS[paper], wording=wanted.wording,
        )
        for ending, dpi, paper in forms
    ]  # fmt: skip


def _pictures(done: Solved, draft: Path, label: str, wording: Wording) -> list[Callable[[], None]]:
    """What draws each 3D picture."""
    from raycover.draw.view3d import draw_camera, draw_view

    scene, building, rays, coverage = done
    return [
        partial(draw_view, scene, building, coverage, draft / f"view{label}.png", rays=rays, wording=wording),
        *(
            partial(
                draw_camera,
                scene,
                building,
                coverage,
                spec,
                draft / f"camera {spec.name}{label}.png",
                rays=rays,
                wording=wording,
            )
            for spec in scene.cameras
        ),
    ]


def _ending(path: Path, ending: str) -> Path:
    """The path with an ending more: names may hold points."""
    return path.with_name(path.name + ending)

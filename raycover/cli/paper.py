"""`--pdf PAPER --scale N` of `map`: what was asked for, checked before anything is solved, and drawn after."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from raycover.building.parts import Building
from raycover.coverage import Coverage
from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.scene.schema import Scene


@dataclass(frozen=True)
class Paper:
    """A sheet by name and a scale by its denominator; without one, the finest round scale that fits."""

    name: str
    scale: int | None


def paper_asked(pdf: str | None, scale: str | None) -> Paper | None:
    """The sheet that the options ask for. Raises InputError for a paper or scale that is none."""
    from raycover.draw.page import PAPERS

    if pdf is None:
        if scale is not None:
            raise _refused("--scale", "a scale needs paper", "write --pdf A3 --scale 100")
        return None
    if pdf.upper() not in PAPERS:
        raise _refused("--pdf", f'unknown paper "{pdf}"', did_you_mean(pdf.upper(), sorted(PAPERS)))
    if scale is None or scale.lower() == "auto":
        return Paper(pdf.upper(), None)
    found = re.fullmatch(r"\s*(?:1\s*:\s*)?(\d{1,6})\s*", scale)
    if not found or int(found[1]) < 1:
        raise _refused("--scale", f'expects 50, 100, another whole number or auto, got "{scale}"', "write --scale 100")
    return Paper(pdf.upper(), int(found[1]))


def draw_pdf(
    scene: Scene, building: Building, coverage: Coverage, plane: str, path: Path, asked: Paper, sheet: tuple[int, int]
) -> None:
    """Write one plane's plan. Raises InputError where the building does not fit."""
    from raycover.draw.projection import DoesNotFit
    from raycover.draw.true_scale import draw_plan_pdf

    try:
        draw_plan_pdf(scene, building, coverage, plane, path, paper=asked.name, scale=asked.scale, sheet=sheet)
    except DoesNotFit as error:
        width, depth = error.size_m
        raise _refused(
            "--scale",
            f"{width:.1f} × {depth:.1f} m do not fit on {asked.name} at 1:{error.scale}",
            f"write --scale {error.fitting}, --scale auto, or take larger paper",
        ) from None


def _refused(option: str, message: str, help_text: str) -> InputError:
    return InputError([Problem("bad-option", message, Position(option), help_text)])

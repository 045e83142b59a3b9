"""Pictures against those that were looked at and found good, small and with a tolerance: what moves is seen here.

What they say is tested elsewhere, in numbers. After a change that is meant, look at the new pictures and keep them:

    RAYCOVER_KEEP_LOOKS=1 .venv/bin/python -m pytest tests/draw/test_looks.py
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from displays import needs_3d
from matplotlib.testing.compare import compare_images
from numpy.typing import NDArray
from PIL import Image

from raycover.asking.upright import solve_sections
from raycover.draw.plan import make_plan
from raycover.draw.section_sheet import make_section

LOOKS = Path(__file__).parent / "looks"
#: Width of the kept pictures (px), and the root mean square by which others may differ (of 255): letters of another
#: FreeType differ by less, a missing hatch or a legend that moved by more.
WIDTH, TOLERANCE = 400, 4.0
Pixels = NDArray[np.uint8]


def plan(example: Any) -> Pixels:
    name = next(iter(example.coverage))
    page = make_plan(example.scene, example.building, example.coverage, name, dpi=100)
    return np.asarray(page.pixels())


def section(example: Any) -> Pixels:
    (field, *_) = solve_sections(example.scene, example.building, example.rays, example.coverage.units)
    return np.asarray(make_section(example.scene, example.building, example.coverage, field, dpi=100).pixels())


def still(example: Any) -> Pixels:
    from raycover.draw.view3d import view_picture

    png, _ = view_picture(example.scene, example.building, example.coverage, rays=example.rays)
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def compared(pixels: Pixels, name: str, folder: Path) -> None:
    small = Image.fromarray(pixels[..., :3])
    small = small.resize((WIDTH, round(WIDTH * small.height / small.width)), Image.Resampling.LANCZOS)
    kept = LOOKS / f"{name}.png"
    if os.environ.get("RAYCOVER_KEEP_LOOKS"):
        LOOKS.mkdir(exist_ok=True)
        small.save(kept, optimize=True)
    small.save(folder / kept.name)
    assert compare_images(str(kept), str(folder / kept.name), tol=TOLERANCE) is None


@pytest.mark.parametrize(("name", "made"), [("office-plan", plan), ("stairwell-section", section)])
def test_sheets_look_as_they_did(
    name: str, made: Callable[[Any], Pixels], tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    example = request.getfixturevalue(name.partition("-")[0])
    compared(made(example), name, tmp_path)


@needs_3d
def test_a_still_looks_as_it_did(washroom: Any, tmp_path: Path) -> None:
    compared(still(washroom), "washroom-still", tmp_path)


def test_a_difference_is_seen(tmp_path: Path) -> None:
    """The comparison can fail: a tenth of the sheet greyed."""
    kept = np.asarray(Image.open(LOOKS / "office-plan.png").convert("RGB")).copy()
    rows = kept.shape[0] // 10
    kept[:rows] = 128
    Image.fromarray(kept).save(tmp_path / "other.png")
    assert compare_images(str(LOOKS / "office-plan.png"), str(tmp_path / "other.png"), tol=TOLERANCE) is not None

"""Hatches: lines at their angle and spacing on paper, inside what they hatch and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest

from raycover.draw.hatching import hatch_lines

BOX = (10.0, 20.0, 50.0, 40.0)


def cells(points: np.ndarray, shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    size = np.array([(BOX[2] - BOX[0]) / shape[1], (BOX[3] - BOX[1]) / shape[0]])
    column, row = np.clip(np.floor((points - BOX[:2]) / size).astype(int), 0, np.array(shape[::-1]) - 1).T
    return row, column


def test_lines_stay_inside_what_is_hatched() -> None:
    rng = np.random.default_rng(1)
    chosen = rng.random((20, 40)) > 0.6
    lines = hatch_lines(chosen, BOX, 1.1, step=0.05)
    share = np.linspace(0.1, 0.9, 9)[:, None, None]
    points = (lines[:, 0] + share * (lines[:, 1] - lines[:, 0])).reshape(-1, 2)
    # Ends are true to within the step: a line may cut a corner by as much.
    near = [chosen[cells(points + np.array(shift) * 0.05, chosen.shape)] for shift in ((1, 1), (-1, -1), (0, 0))]
    assert len(lines) > 50
    assert np.any(near, axis=0).all()
    assert np.mean(near[2]) > 0.99


@pytest.mark.parametrize("spacing", [1.1, 2.2, 0.5])
@pytest.mark.parametrize("resolution", [1, 4])
def test_spacing_is_in_millimetres_whatever_the_resolution(spacing: float, resolution: int) -> None:
    lines = hatch_lines(np.ones((20 * resolution, 40 * resolution), bool), BOX, spacing)
    across = np.unique(np.round(lines[:, 0] @ [-np.sqrt(0.5), np.sqrt(0.5)], 6))
    assert np.diff(across) == pytest.approx(spacing)
    along = lines[:, 1] - lines[:, 0]
    assert np.degrees(np.arctan2(along[:, 1], along[:, 0])) == pytest.approx(45)
    # Length of line per area is one over the spacing; ends are rounded to half a cell.
    assert np.linalg.norm(along, axis=1).sum() == pytest.approx(40 * 20 / spacing, rel=0.05)


def test_neighbouring_areas_join_up() -> None:
    left, right = np.zeros((20, 40), bool), np.zeros((20, 40), bool)
    left[:, :20], right[:, 20:] = True, True
    whole = hatch_lines(left | right, BOX, 1.1)
    parts = np.concatenate([hatch_lines(left, BOX, 1.1), hatch_lines(right, BOX, 1.1)])

    def length(lines: np.ndarray) -> float:
        return float(np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1).sum())

    def offsets(lines: np.ndarray) -> set[float]:
        return set(np.round(lines[:, 0] @ [-np.sqrt(0.5), np.sqrt(0.5)], 6))

    assert length(parts) == pytest.approx(length(whole))
    assert offsets(parts) == offsets(whole)


def test_nothing_to_hatch() -> None:
    assert hatch_lines(np.zeros((5, 5), bool), BOX, 1.1).shape == (0, 2, 2)

"""Two units near each other become one between them where that does, judged on all cells."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from placing_scenes import circle, made, radio, room

from raycover.placing import layout
from raycover.placing.layout import place


def bench(depth: float) -> dict[str, Any]:
    """A strip of 4 m along the near wall of a room 5.2 m wide; a corridor behind its far wall is to be quiet."""
    steel, wall = "steel-panel", "plasterboard-12.5"
    return {
        "rooms": [
            room(5.2, depth) | {"walls": [steel, steel, wall, steel]},
            room(5.2, 2, "Corridor", (0, depth)) | {"walls": [wall, steel, steel, steel]},
        ],
        "needs": [
            {"name": "bench", "area": [[0.6, 0.3], [4.6, 0.3], [4.6, 0.9], [0.6, 0.9]], "height": 0.0},
            {"name": "quiet", "rooms": ["Corridor"], "height": 1.0, "never": True},
        ],
        "placing": {"models": ["radio"], "masks": False},
    }


def test_one_unit_between_two_weak_ones(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On whole pitches two units, set lower for the corridor, share the strip; one off the lattice sees all of it."""
    radio(tmp_path, "radio", circle(6))
    scene = made(tmp_path, **bench(3.7))
    found = place(scene)
    assert found.met
    assert len(found.new) == 1
    assert found.bound <= found.cost
    (unit,) = found.detectors
    assert unit.sensitivity_pct < 100
    monkeypatch.setattr(layout, "merged", lambda scene, spec, judge, best, *more: best)
    apart = place(scene)
    assert apart.met
    assert len(apart.new) == 2
    assert np.linalg.norm(np.subtract(*(d.at for d in apart.detectors))) <= 1.5


def test_what_hangs_at_a_pitch_asked_for_stays_on_it(tmp_path: Path) -> None:
    radio(tmp_path, "radio", circle(6))
    parts = bench(3.7)
    found = place(made(tmp_path, **{**parts, "placing": {**parts["placing"], "pitch": 0.5}}))
    assert found.met
    for unit in found.detectors:
        np.testing.assert_allclose(np.subtract(unit.at, (2.6, 1.85)) / 0.25 % 1, 0, atol=1e-6)

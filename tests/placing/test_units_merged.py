"""Two units near each other become one between them where that does, judged on all cells."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from placing_scenes import circle, entries, made, radio, room

from raycover.placing import layout
from raycover.placing.layout import place
from raycover.proving.needs import prove
from raycover.scene.devices import DetectorSpec
from raycover.scene.schema import Scene


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
    monkeypatch.setattr(layout, "merged", lambda scene, spec, judge, best, **more: best)
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


#: An aisle 2 m wide between two rows 1.1 m deep, y from 2.1 to 4.1, x from 2 to 7.7: its middle is (4.85, 3.1).
AISLE = [
    {"name": "R1", "at": [7.7, 2.1], "turn_deg": 180, "bays": 2, "levels": 1, "goods": False, "depth": 1.1},
    {"name": "R2", "at": [2, 4.1], "bays": 2, "levels": 1, "goods": False, "depth": 1.1},
]


def enough(scene: Scene, places: list[tuple[float, float]], **how: Any) -> list[tuple[float, float]]:
    """Of places those where one unit alone meets every need, each proved by itself."""
    units = [DetectorSpec(name="U", at=at, **how) for at in places]
    return [u.at for u in units if prove(scene.model_copy(update={"detectors": [u]})).met]


def test_one_unit_over_an_aisle_where_its_lens_just_fills_it(tmp_path: Path) -> None:
    """The farthest cell is 2.86 m off the aisle's middle, 3.34 m off the whole pitches beside it: the lens sees 3 m.

    From none of the pitches one unit does it; of all places on the line, 5 cm apart, those about the middle. Past the
    middle by 2 m it would trip from beyond the aisle's end.
    """
    entries(tmp_path, disc=circle(3))
    needs = [
        {"name": "aisle", "aisles": ["R1/R2"], "height": 0.0},
        {"name": "beyond", "area": [[9, 2], [9.8, 2], [9.8, 4], [9, 4]], "height": 0.0, "never": True},
    ]
    scene = made(tmp_path, rooms=[room(10, 7)], racking=AISLE, needs=needs, placing={"models": ["disc"]})
    found = place(scene)
    assert found.met
    assert found.bound <= found.cost
    (unit,) = found.detectors
    pitches = [(x + 0.35, 3.1) for x in range(2, 7)]
    every = [(round(2.5 + 0.05 * k, 2), 3.1) for k in range(94)]
    assert not enough(scene, pitches, model="disc", mounting=3.0)
    assert unit.at in enough(scene, every, model="disc", mounting=3.0)


def test_one_unit_on_a_wall_between_two(tmp_path: Path) -> None:
    """The far corners are 3.4 m off the middle of a wall 4 m long, 3.7 m off the pitches beside it; it sees 3.5 m."""
    entries(tmp_path, wall="{sector: {reach: 3.5, spread_deg: 170}}")
    needs = [{"name": "floor", "area": [[0, 0.9], [4, 0.9], [4, 3], [0, 3]], "height": 0.0}]
    placing = {"models": ["wall"], "within": [[[0.4, 0], [3.6, 0], [3.6, 0.3], [0.4, 0.3]]]}
    scene = made(tmp_path, rooms=[room(4, 3)], needs=needs, placing=placing)
    found = place(scene)
    assert found.met
    assert found.bound <= found.cost
    (unit,) = found.detectors
    assert unit.at[1] == pytest.approx(0.1)
    how = {"model": "wall", "mounting": 3.0, "turn_deg": 90}
    assert not enough(scene, [(0.5, 0.1), (1.5, 0.1), (2.5, 0.1), (3.5, 0.1)], **how)
    assert unit.at in enough(scene, [(round(1.5 + 0.05 * k, 2), 0.1) for k in range(21)], **how)

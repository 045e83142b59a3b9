"""Where ceiling units may hang: over the middle of aisles, off partitions and curtains, not in mid-air under a hall."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from placing_scenes import circle, entries, floor_of, made, room

from raycover.building.build import build
from raycover.placing.candidates import find_candidates
from raycover.proving.mending.finding import find_mending
from raycover.proving.needs import prove
from raycover.scene.placing import PlacingSpec

#: An aisle 2 m wide between two rows 1.1 m deep, y from 2.1 to 4.1, x from 2 to 7.7: its middle is y = 3.1.
RACKS = [
    {"name": "R1", "at": [7.7, 2.1], "turn_deg": 180, "bays": 2, "levels": 1, "goods": False, "depth": 1.1},
    {"name": "R2", "at": [2, 4.1], "bays": 2, "levels": 1, "goods": False, "depth": 1.1},
]


def candidates_of(folder: Path, **parts: Any) -> np.ndarray:
    entries(folder, disc=circle(4))
    parts["placing"] = {"models": ["disc"], "pitch": 0.5, **parts.get("placing", {})}
    scene = made(folder, needs=[floor_of()], **parts)
    return find_candidates(scene, build(scene), scene.placing, [0]).at


def over_aisle(at: np.ndarray) -> np.ndarray:
    return at[(at[:, 0] > 2.2) & (at[:, 0] < 7.5) & (at[:, 1] > 2.15) & (at[:, 1] < 4.05)]


def test_over_an_aisle_only_its_middle(tmp_path: Path) -> None:
    found = over_aisle(candidates_of(tmp_path, rooms=[room(10, 7)], racking=RACKS))
    assert len(found) > 3
    assert found[:, 1] == pytest.approx(3.1)


def test_a_grid_over_an_aisle_where_the_scene_asks_for_that(tmp_path: Path) -> None:
    asked = {"along": ["ceiling"]}
    found = over_aisle(candidates_of(tmp_path, rooms=[room(10, 7)], racking=RACKS, placing=asked))
    assert len(set(found[:, 1])) > 2


@pytest.mark.parametrize(("height", "kept"), [(3.2, False), (3.0, False), (2.0, True)])
def test_not_in_the_line_of_a_partition_that_comes_up_to_it(height: float, kept: bool, tmp_path: Path) -> None:
    """Hung in its line a unit would see both sides of it; over a low screen it may hang. 3 m up, 0.4 m off."""
    screen = {"name": "P", "line": [[5, 0], [5, 6]], "height": height, "construction": "plasterboard-12.5"}
    found = candidates_of(tmp_path, rooms=[room(10, 6)], partitions=[screen], placing={"from_wall": 0.4})
    assert bool((np.abs(found[:, 0] - 5) < 0.39).any()) is kept


def test_no_remedy_hangs_in_mid_air(tmp_path: Path) -> None:
    """Entries for 2.2 to 5 m are no answer under a ceiling of 8 m, though on a hot day they would see best."""
    hall = {**room(12, 9), "height": 8.0}
    units = [{"name": "H1", "model": "high-bay-infrared-round", "at": [2.5, 2.5], "mounting": 8.0}]
    scene = made(tmp_path, rooms=[hall], detectors=units, needs=[floor_of(ambient_c=30)], grid=0.5)
    (tried,) = find_mending(prove(scene))
    assert tried.n_tried > 0
    new = [c.keys for mend in tried.remedies for c in mend.changes if c.is_new and "wall" not in str(c.keys["model"])]
    assert min((keys["mounting"] for keys in new), default=8.0) >= 7.0


def test_other_entries_hang_as_high_as_what_hangs_on_the_same_ceiling(tmp_path: Path) -> None:
    """Not 2 cm lower than the unit that is drawn there; one on a wall says nothing of the ceiling."""
    units = [
        {"name": "D1", "model": "ceiling-infrared-general", "at": [2, 2], "mounting": 3.1},
        {"name": "W1", "model": "wall-infrared", "at": [0.2, 4], "mounting": 2.4},
    ]
    entries(tmp_path, disc=circle(4))
    scene = made(tmp_path, rooms=[room(10, 7)], detectors=units, needs=[floor_of()])
    asked = PlacingSpec(models=["disc"])
    found = find_candidates(scene, build(scene), asked, [0])
    assert {offer.mounting for offer in found.offers} == {3.1}

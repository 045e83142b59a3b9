"""Margins of random whole scenes against a second, plain statement of the physics (`plain_margin.py`).

What the other checks hold one by one — slabs, footprints, shadows, mirrors — is held here all together: which parts a
ray meets, at what angle, what counts once, where a unit hangs, how halves combine. Sources stand beside the formulae of
the reference; `tmm` checks its sheets here. Status: the formulae are textbook, the rules the project's own.
"""

from __future__ import annotations

import json
import math

import numpy as np
import plain_margin as plain
import pytest
import tmm
from plain_scenes import Case, case
from scipy.constants import speed_of_light

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.casting import judge
from raycover.solving.coverage import make_units
from raycover.solving.open_air import Weather

#: Largest difference (dB) that tables and single precision may make.
ALIKE_DB = 0.01


def both(one: Case) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Margins by raycover and by the reference, of each detector at each point that is not doubtful, and which."""
    made = raycover.load_text(json.dumps({"raycover": 1, "title": "test", **one.scene}))
    building = build(made)
    rays, weather = RayScene(building), Weather.of(made)
    parts = plain.Building(one.scene)
    points = np.array([p for p in one.points if not any(box.holds(p, 2e-3) for box in parts.boxes)]).reshape(-1, 3)
    rooms = [building.room_at(*p) for p in points]
    lifted = np.array(
        [room is not None and abs(p[2] - room.floor) < LIFT for p, room in zip(points, rooms, strict=True)]
    )
    found, expected, labels = [], [], []
    for unit, spec in zip(make_units(made, building), one.scene["detectors"], strict=True):
        of = judge(unit, points, one.motion, rays, weather, lifted=lifted, target_m2=one.target_m2).margin_db
        reference = plain.Detector(parts, one.scene, spec)
        for point, up, margin in zip(points, lifted, of, strict=True):
            try:
                wanted = reference.margin_db(point, one.motion, one.target_m2, LIFT if up else 0.0)
            except plain.Doubtful:
                continue
            found.append(float(margin))
            expected.append(wanted)
            labels.append(f"{spec['name']} at {point.round(4).tolist()}")
    return np.array(found), np.array(expected), labels


@pytest.mark.parametrize(("reflections", "seeds"), [(0, range(28)), (1, range(100, 118))])
def test_random_scenes(reflections: int, seeds: range) -> None:
    """Every margin to 0.01 dB, and −inf where the reference says so; hardly any ray is too close to call."""
    n_asked = n_judged = n_finite = 0
    for seed in seeds:
        one = case(seed, reflections)
        found, expected, labels = both(one)
        with np.errstate(invalid="ignore"):
            alike = (found == expected) | (np.abs(found - expected) < ALIKE_DB)
        wrong = [(labels[k], found[k], expected[k]) for k in np.flatnonzero(~alike)]
        assert not wrong, (seed, wrong[:5])
        n_asked += len(one.points) * len(one.scene["detectors"])
        n_judged += len(found)
        n_finite += int(np.isfinite(expected).sum())
    assert n_judged > 0.75 * n_asked
    assert n_finite > 0.3 * n_judged


def test_random_scenes_with_rooms_of_their_own_air() -> None:
    """Whatever air units hang in and rays go through, that of the room around the point counts."""
    apart = 0
    for seed in range(40, 50):
        one = case(seed, 0)
        for room, air in zip(one.scene["rooms"], ([10, 30], [26, 15], [22, None])[seed % 3], strict=True):
            if air is not None:
                room["ambient_c"] = air
        found, expected, labels = both(one)
        with np.errstate(invalid="ignore"):
            alike = (found == expected) | (np.abs(found - expected) < ALIKE_DB)
        assert alike.all(), [(labels[k], found[k], expected[k]) for k in np.flatnonzero(~alike)][:5]
        for room in one.scene["rooms"]:
            room.pop("ambient_c", None)
        before = both(one)[0]
        apart += int((np.abs(found[np.isfinite(found)] - before[np.isfinite(found)]) > 0.5).sum())
    assert apart > 20  # else the scenes say nothing


@pytest.mark.parametrize("name", plain.LAYERS)
@pytest.mark.parametrize("ghz", [5.8, 10.5, 24.125])
def test_the_reference_itself(name: str, ghz: float) -> None:
    """Its sheets against `tmm` (other time sign, so conjugate), at three angles."""
    for angle in (0.0, 0.7, 1.3):
        indices = [1.0, *(np.sqrt(np.conj(plain.permittivity(m, ghz))) for m, _ in plain.LAYERS[name]), 1.0]
        depths = [np.inf, *(mm * 1e-3 for _, mm in plain.LAYERS[name]), np.inf]
        runs = [tmm.coh_tmm(pol, indices, depths, angle, speed_of_light / (ghz * 1e9)) for pol in "sp"]
        passed, mirrored = plain.powers(name, ghz, math.cos(angle), "coherent")
        assert passed == pytest.approx(np.mean([run["T"] for run in runs]), rel=1e-9)
        assert mirrored == pytest.approx(np.mean([run["R"] for run in runs]), rel=1e-9, abs=1e-12)


def test_contrast_of_the_reference() -> None:
    """Factors computed on paper from Planck's law [C]: 1.54 at 10 °C, 0.50 at 28, 0.37 at 30, 0.02 at 35."""
    for ambient_c, factor in ((10.0, 1.54), (20.0, 1.0), (28.0, 0.50), (30.0, 0.37), (35.0, 0.02)):
        assert 10 ** (plain.contrast_db(ambient_c) / 20) == pytest.approx(factor, abs=0.005)

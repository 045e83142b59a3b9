"""Truths against bands: does the middle 95 % of the varied cases hold what the independent engine finds?

A truth is drawn for each random room: every layer of every sheet perturbed by itself, coherent slabs, one linear
polarisation carried along all ways, up to three reflections, and a person, a reach and a mounting height of its own.
The package sees the room as drawn, and says a band. Nothing of the truth's draws is shared with the band's.
"""

from __future__ import annotations

from dataclasses import dataclass

import coherent_engine as engine
import numpy as np
import small_scenes
import truth_rooms
from numpy.typing import NDArray

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.scene.doubt import DoubtSpec
from raycover.solving.coverage import make_units
from raycover.solving.doubt import chances
from raycover.solving.open_air import Weather
from raycover.spreads import Draws

Floats = NDArray[np.float64]
REACH = 8.0  # m, declared on the floor
#: Ways alone: person, reach, mounting and aim as drawn, in the truth and in the band.
WAYS_ALONE = DoubtSpec(cross_section_db=0, reach_percent=0, mounting=0, aim_deg=0)


@dataclass(frozen=True)
class Compared:
    """Margins (R, N) in dB: truth, as drawn, lower and upper end of the band; kinds of rooms (R,)."""

    truth_db: Floats
    drawn_db: Floats
    low_db: Floats
    high_db: Floats
    kind: NDArray[np.str_]

    @property
    def held(self) -> NDArray[np.bool_]:
        return (self.low_db <= self.truth_db) & (self.truth_db <= self.high_db)


def _scene_of(rooms: truth_rooms.Truths, r: int) -> raycover.Scene:
    sheets = []
    for s in np.flatnonzero(rooms.made_of[r] != "").tolist():
        o, u, v = rooms.origin[r, s], rooms.u[r, s], rooms.v[r, s]
        corners = [c.tolist() for c in (o, o + u, o + u + v, o + v)]
        sheets.append({"name": f"s{s}", "corners": corners, "construction": str(rooms.made_of[r, s])})
    x, y, z = rooms.unit[r].tolist()
    shape = {"circle": {"diameter": 2 * REACH}}
    made = small_scenes.pattern(
        shape, mounting=z, motion="radial", frequency_ghz=float(rooms.frequency_ghz[r]), reach_behind=1
    )
    return small_scenes.scene(
        sheets=sheets, detectors=[small_scenes.detector((x, y), z, made)], conditions={"reflections": 1}
    )


def compare(rooms: truth_rooms.Truths, doubt: DoubtSpec, seed: int) -> Compared:
    """Truths of rooms against the bands of a `doubt:`."""
    rng = np.random.default_rng(seed)
    n, shape = len(rooms), rooms.points.shape[:2]
    psi = rng.uniform(0, np.pi, n)
    polarisation = np.stack([np.cos(psi), np.sin(psi), 0 * psi], axis=1)
    up = rng.uniform(-1, 1, n) * doubt.mounting
    person = rng.standard_normal(n) * doubt.cross_section_db
    reach = 40 * np.log10(1 + rng.uniform(-1, 1, n) * doubt.reach_percent / 100)
    ways = engine.trace(
        rooms.perturbed(rng), rooms.unit + up[:, None] * [0, 0, 1], rooms.points, order=3, polarisation=polarisation
    )
    edge_db = 20 * np.log10(REACH**2 + rooms.unit[:, 2] ** 2)
    truth = 20 * np.log10(ways.total(shape)) + (edge_db + person + reach)[:, None]
    draws = Draws(doubt)
    drawn, low, high = (np.empty(shape) for _ in range(3))
    for r in range(n):
        scene = _scene_of(rooms, r)
        building = build(scene)
        units, rays = make_units(scene, building), RayScene(building)
        found = chances(units, rooms.points[r], "any", rays, Weather.of(scene), draws, lowest_db=-300.0)
        drawn[r] = found.margin_db
        low[r], high[r] = found.band_db()
    return Compared(truth, drawn, low, high, rooms.kind)


def words(found: Compared) -> str:
    """How many of the rooms (at their first point) and of all points the band holds."""
    first, every = found.held[:, 0], found.held
    below, above = (found.truth_db < found.low_db).mean(), (found.truth_db > found.high_db).mean()
    width = np.median(found.high_db - found.low_db)
    kinds = ", ".join(f"{k} {every[found.kind == k].mean():.1%}" for k in np.unique(found.kind))
    return (
        f"{first.sum()} of {len(first)} rooms held, {every.mean():.1%} of {every.size} points ({kinds}); "
        f"{below:.1%} below, {above:.1%} above; width {width:.1f} dB in the median"
    )

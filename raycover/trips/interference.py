"""Microwave units that may disturb each other: a rule of thumb, ours, stated with every figure it gives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raycover.detectors import Unit
from raycover.physics.disturbance import REJECTION_DB, interference_db
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.casting import Weather, judge

#: Licence-exempt bands (GHz), EN 300 440 and 47 CFR 15.245/15.249: an entry's figure is nominal, so all units of one
#: band count as of one frequency.
BANDS = ((5.725, 5.875), (24.00, 24.25))
#: Outside those bands, frequencies within this share of each other count as one (ours).
SAME_SHARE = 0.01

RULE = (
    "Rule of thumb, ours: two units of one band are flagged where what one sends straight to the other still stands "
    f"above the echo that just triggers it with {REJECTION_DB:g} dB of rejection taken off. Reflections are left out; "
    "units that are synchronised or pulsed are better off."
)


@dataclass(frozen=True)
class Interference:
    """Two units of one band: `index_db` (0 or more: flagged), the way between them and its one-way loss.

    `clear_m`: from this distance on, with the same things between them, they are not flagged.
    """

    units: tuple[str, str]
    band: str
    distance_m: float
    loss_db: float
    index_db: float
    clear_m: float

    @property
    def flagged(self) -> bool:
        return self.index_db >= 0


def band_of(frequency_ghz: float) -> int | None:
    return next((k for k, (low, high) in enumerate(BANDS) if low <= frequency_ghz <= high), None)


def share_band(one: Unit, other: Unit) -> bool:
    """Whether two units may meet on one frequency."""
    a, b = one.frequency_ghz, other.frequency_ghz
    if a is None or b is None:
        return False
    band = band_of(a)
    if band is not None or band_of(b) is not None:
        return band == band_of(b)
    return abs(a - b) <= SAME_SHARE * max(a, b)


def interferences(units: Sequence[Unit], rays: RayScene, weather: Weather) -> list[Interference]:
    """Every pair of microwave units of one band with a way between them, the worst first."""
    chosen = [part for unit in units for part in unit.parts if part.frequency_ghz is not None]
    n = len(chosen)
    if n < 2:
        return []
    # Units mostly hang on one ceiling: what is looked at lies just in front of it.
    places = np.array([u.position - 2 * LIFT * u.rotation[:, 2] for u in chosen])
    margins = np.array([judge(u, places, "any", rays, weather).straight_db for u in chosen])
    found = []
    for i, one in enumerate(chosen[:-1]):
        partners = [j for j in range(i + 1, n) if share_band(one, chosen[j])]
        if not partners:
            continue
        assert one.frequency_ghz is not None
        distance = np.linalg.norm(places[partners] - one.position, axis=1)
        segments = rays.segments(one.position, places[partners], one.ahead)
        loss = rays.microwave_loss_db(segments, one.frequency_ghz, weather.losses)
        index = interference_db(margins[i, partners], margins[partners, i], distance, loss)
        for j, d, db, k in zip(partners, distance.tolist(), loss.tolist(), index.tolist(), strict=True):
            if np.isfinite(k):
                names, band = (one.tag, chosen[j].tag), _band_words(one.frequency_ghz)
                # the index falls by 20 dB a decade of distance: reaches do not change with it
                found.append(Interference(names, band, d, db, k, d * 10 ** (k / 20)))
    return sorted(found, key=lambda pair: -pair.index_db)


def _band_words(frequency_ghz: float) -> str:
    k = band_of(frequency_ghz)
    return f"{frequency_ghz:g} GHz" if k is None else f"{BANDS[k][0]:g} to {BANDS[k][1]:g} GHz"

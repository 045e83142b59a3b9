"""How much sensitivity takes from every margin, and what a unit must be set to for that.

The margin goes with 40·log10 of the reach, so a setting of p per cent of it shifts every margin alike: no ray is cast.
"""

from __future__ import annotations

import numpy as np

from raycover.scene.devices import DetectorSpec

#: Sensitivity is set in whole per cents, no lower than this where the entry does not say.
LEAST_PCT = 10


def pct_for(excess_db: float, now_pct: float = 100.0, least_pct: float = LEAST_PCT) -> float | None:
    """The highest whole sensitivity [%] that takes an excess away: now·10^(−excess/40).

    As it is now where there is no excess; None below the least that the unit allows.
    """
    if not excess_db > 0:
        return now_pct
    if not np.isfinite(excess_db):
        return None
    low, high = 0, int(np.ceil(now_pct))  # bisection, on what the margin would be
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if excess_db + shift_db(middle, now_pct) <= 1e-9 else (low, middle)
    return low if low >= least_pct else None


def shift_db(pct: float, now_pct: float = 100.0) -> float:
    """What another sensitivity [% of the reach] does to every margin, dB."""
    return float(40 * np.log10(pct / now_pct)) if pct > 0 else -np.inf


def sensitivity_keys(spec: DetectorSpec | None, pct: float, now: float) -> dict[str, float]:
    """What an entry holds for another sensitivity: a microwave half with a setting of its own goes along."""
    if spec is None or spec.microwave_pct is None:
        return {"sensitivity_pct": pct}
    exact = 10 * spec.microwave_pct * pct / now
    rounded = np.ceil(exact - 1e-6) if pct > now else np.floor(exact + 1e-6)  # safe either way
    return {"sensitivity_pct": pct, "microwave_pct": float(rounded / 10)}

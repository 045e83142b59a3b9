"""How sure is it? Margins in varied cases: the chance that anybody is noticed, and verdicts that say how firm they are.

What is varied, by how much and by whose word stands in `spreads`; how one unit's margins follow in `varied`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.scene.doubt import DoubtSpec
from raycover.solving.combining import combined_db
from raycover.solving.open_air import Weather
from raycover.solving.varied import farthest_m, unit_cases
from raycover.spreads import Draws

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]

#: The words of a verdict.
MET_FIRMLY = "met in ≥ 95 % of varied cases"
MET_AS_EXPECTED = "met as expected"
#: As drawn it is met, in most varied cases it is not.
MET_BARELY = "met as drawn, in most varied cases not"
NOT_MET = "not met"
#: Share of the varied cases in which a need must be met to be called firm.
FIRM_SHARE = 0.95


@dataclass(frozen=True)
class MissRate:
    """How often a stated band missed the truth: `share` of the cases, found over `n_rooms` of `n_points` in all."""

    share: float
    n_rooms: int
    n_rooms_held: int
    n_points: int
    date: str
    how: str

    @property
    def words(self) -> str:
        """One sentence for a proof page."""
        return (
            f"The stated 95 % band was tested against {self.n_rooms} random rooms it was not drawn from ({self.date}): "
            f"it missed the truth at {self.share:.1%} of {self.n_points:,} points and held it in {self.n_rooms_held} "
            f"of the {self.n_rooms} rooms, looked at in one point each. {self.how}"
        )


#: Found by tests/benchmarks/truth_band_misses.py, which prints these figures anew; a test holds a smaller sample to it.
MISS_RATE = MissRate(
    share=0.071,
    n_rooms=200,
    n_rooms_held=186,
    n_points=1000,
    date="27 November 2026",
    how="Truths are computed, not measured: an independent engine with coherent slabs, every layer of every sheet "
    "perturbed, one polarisation carried along, three reflections; straight and once-mirrored ways in the band.",
)
#: Points looked at together: bounds the memory, whatever the number of points.
_CHUNK = 8192


@dataclass(frozen=True)
class Chances:
    """Points (n,) seen by at least one of several units, in varied cases.

    `margin_db` (n,) the best margin as drawn; `draws` (n_cases, n) the best margin in each case, −inf where nothing
    is noticed or nothing was followed.
    """

    margin_db: Floats
    draws: NDArray[np.float32]

    @property
    def detected(self) -> Bools:
        """(n_cases, n): noticed by at least one unit."""
        return self.draws >= 0

    @property
    def probability(self) -> Floats:
        """(n,) share of the cases in which at least one unit notices."""
        return self.detected.mean(axis=0)

    def band_db(self, share: float = 0.95) -> tuple[Floats, Floats]:
        """(n,) lower and upper end of the middle `share` of the cases."""
        tail = (1 - share) / 2
        # Order statistics, not interpolation: −inf may stand beside a number.
        low, high = np.quantile(self.draws, [tail, 1 - tail], axis=0, method="nearest")
        return low.astype(float), high.astype(float)

    def share_met(self, area_m2: Floats, share: float) -> Bools:
        """(n_cases,): at least `share` of the area (n,) is noticed."""
        return np.asarray(self.detected @ area_m2 >= share * area_m2.sum() * (1 - 1e-9))

    def quiet(self) -> Bools:
        """(n_cases,): nobody is noticed at any of the points."""
        return np.asarray(~self.detected.any(axis=1))


def chances(
    units: Sequence[Unit],
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    doubt: DoubtSpec | Draws,
    *,
    lifted: Bools | None = None,
    lowest_db: float = -30.0,
    target_m2: float | None = None,
    n_heights: int = 1,
) -> Chances:
    """How units see points (n, 3) in varied cases.

    Pass the same `Draws` to several questions about one scene: sheets' tables are then worked out once. `lifted` (n,)
    marks points on a floor; `target_m2` is the radar cross section of what moves there, None what each declaration
    assumes. Points may be so many heights (`n_heights`) of the same people, all at the first, then at the next: each
    half of a dual unit then counts by its best height. Cases are the same for the same seed, whatever else is asked.
    """
    units = asked_about(units, target_m2)
    draws = doubt if isinstance(doubt, Draws) else Draws(doubt)
    drawn = np.full(len(points), -np.inf)
    best = np.full((draws.n, len(points)), -np.inf, np.float32)
    n, step = len(points) // n_heights, max(_CHUNK // n_heights, 1)
    for start in range(0, n, step):
        part = (np.arange(start, min(start + step, n)) + n * np.arange(n_heights)[:, None]).ravel()
        floor = None if lifted is None else lifted[part]
        mine, cases = drawn[part], best[:, part]
        take_best(mine, cases, units, points[part], motion, rays, weather, draws, floor, lowest_db, n_heights=n_heights)
        drawn[part], best[:, part] = mine, cases
    return Chances(drawn, best)


def asked_about(units: Sequence[Unit], target_m2: float | None) -> Sequence[Unit]:
    """Units as they see a body of a radar cross section (m²); None: the one that each declaration assumes."""
    return [unit.asked_about(target_m2) for unit in units]


def take_best(
    drawn: Floats,
    best: NDArray[np.float32],
    units: Sequence[Unit],
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    draws: Draws,
    lifted: Bools | None,
    lowest_db: float,
    *,
    until_seen: bool = False,
    n_heights: int = 1,
) -> None:
    """Raise `drawn` (n,) and `best` (n_cases, n) to the margins of units at points (n, 3), where those are better.

    `until_seen`: the nearest unit first, and a point that is seen in every case is left alone from then on.
    `n_heights` as for `chances`; with it a dual unit's margin of a person stands at all of their points.
    """
    low, high = points.min(axis=0), points.max(axis=0)
    apart = [float(np.linalg.norm(np.clip(unit.position, low, high) - unit.position)) for unit in units]
    middle = [float(np.linalg.norm((low + high) / 2 - unit.position)) for unit in units]
    for k in np.argsort(middle, kind="stable").tolist() if until_seen else range(len(units)):
        unit = units[k]
        if apart[k] > max(farthest_m(part, motion, weather, draws, lowest_db) for part in unit.parts):
            continue
        if unit.halves:
            of_person = _of_dual(unit, points, motion, rays, weather, draws, lifted, lowest_db, n_heights)
            for mine, whole in zip((drawn, best), of_person, strict=True):
                np.maximum(mine, np.tile(whole, n_heights), out=mine)
            continue
        open_still = np.flatnonzero(best.min(axis=0) < 0) if until_seen else np.arange(len(points))
        if not len(open_still):
            return
        on_floor = None if lifted is None else lifted[open_still]
        found = unit_cases(unit, points[open_still], motion, rays, weather, draws, lifted=on_floor, lowest_db=lowest_db)
        at = open_still[found.at]
        drawn[at] = np.maximum(drawn[at], found.drawn_db)
        best[:, at] = np.maximum(best[:, at], found.margin_db)


def _of_dual(
    unit: Unit,
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    draws: Draws,
    lifted: Bools | None,
    lowest_db: float,
    n_heights: int,
) -> tuple[Floats, NDArray[np.float32]]:
    """A dual unit's margins of people, (n / n_heights,) as drawn and (n_cases, n / n_heights) case by case."""
    drawn, cases = [], []
    for part in unit.parts:
        mine, best = np.full(len(points), -np.inf), np.full((draws.n, len(points)), -np.inf, np.float32)
        take_best(mine, best, [part], points, motion, rays, weather, draws, lifted, lowest_db)
        drawn.append(mine.reshape(n_heights, -1).max(axis=0))
        cases.append(best.reshape(draws.n, n_heights, -1).max(axis=1))
    return combined_db(unit, motion, drawn), np.asarray(combined_db(unit, motion, cases), np.float32)


def verdict(met: bool, cases: Bools | float) -> str:
    """The words for a need: `met` as drawn, and in which cases, (n_cases,) or their share.

    A need that is missed as drawn is not met, however many cases meet it.
    """
    if not met:
        return NOT_MET
    share = float(np.mean(cases))
    return MET_FIRMLY if share >= FIRM_SHARE else MET_AS_EXPECTED if share >= 0.5 else MET_BARELY

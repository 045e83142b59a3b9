"""How firm the verdicts of a proof are: in how many varied cases each place, and each need, is met."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.proving.cases import few_steps
from raycover.proving.mending import MOST_CHANCES, Mend, Mending, verdict_then
from raycover.proving.needs import NeedVerdict, PlaceVerdict, Proof, Situation, figures_of, is_met
from raycover.proving.remedies import Remedy, Trouble
from raycover.proving.sensitivity import shift_db
from raycover.proving.sites import Site
from raycover.proving.walked_cases import best_along
from raycover.scene.needs import NeedSpec
from raycover.solving.doubt import chances, verdict
from raycover.spreads import Draws

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Progress = Callable[[int, int], None]
#: A place of more cells than this is looked at in so many of them in the varied cases.
_MOST_CELLS = 1200
#: Margins further below the limit than this (dB) no case brings over it.
_LOWEST_DB = -30.0


def with_chances(proof: Proof, progress: Progress | None = None) -> Proof:
    """The proof with the share of varied cases in which each place and need is met, and verdicts that say so.

    A never-need is met in a case where no unit is tripped: what it must stay clear by is its reserve for such cases.
    """
    draws = Draws(proof.scene.doubt)
    firm = []
    for done, need in enumerate(proof.needs):
        if progress is not None:
            progress(done, len(proof.needs))
        firm.append(_firm(need, draws))
    return replace(proof, needs=tuple(firm), n_cases=draws.n)


def with_quiet(proof: Proof, troubles: Sequence[Trouble], progress: Progress | None = None) -> tuple[Trouble, ...]:
    """The remedies that stop a unit with the share of varied cases in which it then stays quiet."""
    draws = Draws(proof.scene.doubt)
    told = []
    n_all = sum(len(trouble.remedies) for trouble in troubles)
    done = 0
    for trouble in troubles:
        remedies = []
        for remedy in trouble.remedies:
            if progress is not None:
                progress(done, n_all)
            done += 1
            remedies.append(replace(remedy, quiet=_quiet(proof, trouble, remedy, draws)) if remedy.stops else remedy)
        told.append(replace(trouble, remedies=tuple(remedies)))
    return tuple(told)


def with_firm_mends(proof: Proof, mendings: Sequence[Mending], progress: Progress | None = None) -> tuple[Mending, ...]:
    """The first remedies that mend a need with the share of varied cases in which it is met then."""
    draws = Draws(proof.scene.doubt)
    told = []
    for done, mending in enumerate(mendings):
        if progress is not None:
            progress(done, len(mendings))
        verdict = next(v for v in proof.needs if v.need.name == mending.need and not v.need.never)
        remedies = [
            replace(mend, chance=_mended(verdict, mend, draws)) if k < MOST_CHANCES and mend.mends else mend
            for k, mend in enumerate(mending.remedies)
        ]
        told.append(replace(mending, remedies=tuple(remedies)))
    return tuple(told)


def _mended(verdict: NeedVerdict, mend: Mend, draws: Draws) -> float:
    """Share of the cases in which all places of a need are met with a remedy done."""
    then = verdict_then(verdict, mend)
    met = np.ones(draws.n, bool)
    for place in then.places:
        met &= _cases(then.need, place, then.situation, draws)
    return float(met.mean())


def _quiet(proof: Proof, trouble: Trouble, remedy: Remedy, draws: Draws) -> float | None:
    """Share of the cases in which the changed unit is tripped from none of the areas that it is tripped from now."""
    if remedy.changed is None:
        return None
    shift = shift_db(remedy.pct, remedy.changed.sensitivity_pct)
    quiet = np.ones(draws.n, bool)
    for found in proof.needs:
        if found.need.name not in trouble.needs:
            continue
        for place in found.places:
            some = place.site.some(_chosen(found.need, place))
            rays, weather = found.situation.rays, found.situation.weather
            cases = chances(
                [some.asked(remedy.changed)], some.points, place.site.motion, rays, weather, draws, lifted=some.lifted,
                lowest_db=_LOWEST_DB, n_heights=len(some.heights),
            )  # fmt: skip
            quiet &= ~(cases.draws + np.float32(shift) >= 0).any(axis=1)
    return float(quiet.mean())


def _firm(found: NeedVerdict, draws: Draws) -> NeedVerdict:
    everywhere = np.ones(draws.n, bool)
    places = []
    for place in found.places:
        met = _cases(found.need, place, found.situation, draws)
        everywhere &= met
        places.append(replace(place, probability=float(met.mean())))
    words = verdict(found.met, everywhere)
    return replace(found, places=tuple(places), probability=float(everywhere.mean()), words=words)


def _cases(need: NeedSpec, place: PlaceVerdict, situation: Situation, draws: Draws) -> Bools:
    """(n_cases,): in which cases a place is as needed."""
    site = place.site
    chosen = _chosen(need, place)
    some = site if len(chosen) == len(site) else site.some(chosen)
    units = [site.asked(situation.units[k]) for k in place.units]
    if len(units) < need.by:
        return np.full(draws.n, place.met)
    if need.largest_area is not None and place.figures.area_m2 > need.largest_area + 1e-6:
        return np.zeros(draws.n, bool)
    best = _best_in_cases(need, some, units, situation, draws)
    if need.never:
        return np.asarray(~(best >= 0).any(axis=1))
    if need.walked:
        return np.array([is_met(need, figures_of(need, some, one)) for one in best])
    if need.largest_gap is not None:
        whole = _spread_to(site, chosen, best)
        return np.array([is_met(need, figures_of(need, site, one)) for one in whole])
    share = (best >= 0) @ some.area / some.area.sum()
    return np.asarray(share >= (need.least_share or 0.0) - 1e-9)


def _best_in_cases(need: NeedSpec, site: Site, units: Sequence[Unit], situation: Situation, draws: Draws) -> Floats:
    """(n_cases, n) the margin that decides at each cell: the best, or of several units asked for the last of them."""

    def best(some: Sequence[Unit]) -> Floats:
        found = chances(
            some, site.points, site.motion, situation.rays, situation.weather, draws, lifted=site.lifted,
            lowest_db=_LOWEST_DB, n_heights=len(site.heights),
        )  # fmt: skip
        return site.best(found.draws)

    if site.lines:
        return best_along(site, units, situation, draws, _LOWEST_DB)
    if need.by == 1:
        return best(units)
    top = np.full((need.by, draws.n, len(site)), -np.inf, np.float32)  # the best so far, the least of them first
    for unit in units:
        top[0] = np.maximum(top[0], best([unit]))
        top.sort(axis=0)
    return top[0]


def _chosen(need: NeedSpec, place: PlaceVerdict) -> NDArray[np.intp]:
    """Cells to look at: all, or of many those nearest to the limit of a never-area, else spread over the place."""
    n = len(place.site)
    if need.routes is not None:
        return few_steps(place.site)
    if n <= _MOST_CELLS or place.site.lines:
        return np.arange(n)
    if need.never:
        return np.sort(np.argsort(-place.best_db)[:_MOST_CELLS])
    return np.unique(np.linspace(0, n - 1, _MOST_CELLS).astype(np.intp))


def _spread_to(site: Site, chosen: NDArray[np.intp], best_db: Floats) -> Floats:
    """(n_cases, n) for all cells of a place, each as the nearest of those looked at."""
    if len(chosen) == len(site):
        return best_db
    from scipy.spatial import cKDTree

    _, nearest = cKDTree(site.ground[chosen]).query(site.ground)
    return np.asarray(best_db[:, nearest])

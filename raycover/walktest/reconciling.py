"""Answers of a walk test against the reckoning: hits and misses, and the correction that they support, if any.

The correction is the most likely one: answers' chances (`walktest.unknowns`), normal priors from the scene's doubt.
Its spread is Laplace's, with the expected information: H = Σ I(M_i)·g_i·g_iᵀ + diag(1/prior²), covariance H⁻¹. Which
unknowns to correct at all is a comparison of models by their evidence,

    log p(answers) ≈ log L(θ) + log prior(θ) + (k/2)·log 2π − ½·log det H,

so that an unknown that the answers say nothing of, or do not need, stays where it is (MacKay, Neural Computation 4
(1992) 415, section 2.3: Occam's factor; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import xlogy
from scipy.stats import binomtest

from raycover.walktest.unknowns import Unknowns, chance, information, log_likelihood, slope
from raycover.walktest.ways import Response

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: Below this share of a prior's variance taken away the answers say nothing of an unknown.
TOLD = 0.2
#: Odds against no correction at all from which one is proposed: "substantial" on Jeffreys' scale (from memory).
ODDS = 10**0.5
#: Answers as unlikely as theirs come in fewer than this share of draws from the reckoning itself: it does not fit them.
FITS = 0.01
_DRAWS = 20_000
#: Two unknowns this closely tied cannot be told apart by these answers.
TIED = 0.9


@dataclass(frozen=True)
class Share:
    """`k` of `n` with Wilson's 95 % interval for the share behind it."""

    k: int
    n: int

    @property
    def interval(self) -> tuple[float, float]:
        if not self.n:
            return 0.0, 1.0
        found = binomtest(self.k, self.n).proportion_ci(0.95, "wilson")
        return float(found.low), float(found.high)


@dataclass(frozen=True)
class Table:
    """Predicted against noticed: `hits` predicted and noticed, `missed` predicted but not noticed, `false` noticed
    though not predicted, `quiet` neither."""

    hits: int
    missed: int
    false: int
    quiet: int

    @classmethod
    def of(cls, predicted: Bools, seen: Bools) -> Table:
        return cls(
            int((predicted & seen).sum()), int((predicted & ~seen).sum()), int((~predicted & seen).sum()),
            int((~predicted & ~seen).sum()),
        )  # fmt: skip

    @property
    def noticed_of_predicted(self) -> Share:
        return Share(self.hits, self.hits + self.missed)

    @property
    def noticed_of_others(self) -> Share:
        return Share(self.false, self.false + self.quiet)

    @property
    def right(self) -> Share:
        return Share(self.hits + self.quiet, self.hits + self.missed + self.false + self.quiet)


@dataclass(frozen=True)
class Fit:
    """The most likely corrections (n,) in dB with their covariance; only `active` (n,) ones were free."""

    active: Bools
    added_db: Floats
    covariance: Floats
    log_evidence: float

    @property
    def sd_db(self) -> Floats:
        return np.sqrt(np.diag(self.covariance))


@dataclass(frozen=True)
class Estimate:
    """One unknown. `prior_db`, `sd_db` its standard deviation before and after the answers, everything else free too;
    `estimate_db` the most likely total correction then; `proposed_db` that of the chosen correction with its own
    `proposed_sd_db`, None where it stays uncorrected. `deciding` are the points that move it most, the most first."""

    name: str
    kind: str
    words: str
    in_force_db: float
    prior_db: float
    estimate_db: float
    sd_db: float
    proposed_db: float | None
    proposed_sd_db: float | None
    deciding: tuple[int, ...]

    @property
    def told(self) -> float:
        """Share of the prior's variance that the answers took away."""
        return 1 - (self.sd_db / self.prior_db) ** 2


@dataclass(frozen=True)
class Reconciliation:
    """Answers (n,) against the reckoning: `margin_db` and `chance` as the scene stands, `corrected_db` with the
    proposed correction; `odds` for it against none; `tied` pairs of unknowns that cannot be told apart.

    `fit_p` is the share of draws from the corrected reckoning that are as unlikely as the answers or more so,
    `coin_log_odds` the log likelihood ratio of the corrected reckoning to a coin tossed at each point.
    """

    seen: Bools
    margin_db: Floats
    chance: Floats
    corrected_db: Floats
    before: Table
    after: Table
    estimates: tuple[Estimate, ...]
    odds: float
    tied: tuple[tuple[str, str, float], ...]
    fit_p: float
    coin_log_odds: float

    @property
    def fits(self) -> bool:
        """Whether the answers are such as the reckoning, corrected as proposed, would bring, and better than a coin."""
        return self.fit_p >= FITS and (self.coin_log_odds > 0 or self.after.right.n < 5)

    @property
    def predicted(self) -> Bools:
        return self.margin_db >= 0

    @property
    def supported(self) -> bool:
        return any(e.proposed_db is not None for e in self.estimates)

    @property
    def in_force(self) -> bool:
        return any(e.in_force_db for e in self.estimates)


def reconcile(response: Response, seen: Bools, unknowns: Unknowns) -> Reconciliation:
    """Compare answers (n,) of a response's points with it, and correct what they let be corrected."""
    seen = np.asarray(seen, bool)
    every = np.ones(response.n_unknowns, bool)
    margin, _ = response.margins(np.zeros(response.n_unknowns))
    whole = fit(response, seen, unknowns, every)
    none = fit(response, seen, unknowns, ~every)
    chosen = _select(response, seen, unknowns, whole)
    odds = float(np.exp(np.clip(chosen.log_evidence - none.log_evidence, -700, 700)))
    if odds < ODDS:
        chosen = none
    corrected, _ = response.margins(chosen.added_db)
    estimates = tuple(
        Estimate(
            unknowns.names[k], unknowns.kind(k), unknowns.words(k), float(unknowns.in_force_db[k]),
            float(unknowns.prior_db[k]), float(unknowns.in_force_db[k] + whole.added_db[k]), float(whole.sd_db[k]),
            float(unknowns.in_force_db[k] + chosen.added_db[k]) if chosen.active[k] else None,
            float(chosen.sd_db[k]) if chosen.active[k] else None,
            _deciding(response, seen, chosen if chosen.active[k] else whole, k),
        )
        for k in range(response.n_unknowns)
    )  # fmt: skip
    return Reconciliation(
        seen, margin, chance(margin), corrected, Table.of(margin >= 0, seen), Table.of(corrected >= 0, seen), estimates,
        odds, _tied(whole, unknowns), fit_chance(corrected, seen),
        float(log_likelihood(corrected, seen).sum() + len(seen) * np.log(2)),
    )  # fmt: skip


def fit_chance(margin_db: Floats, seen: Bools) -> float:
    """Share of answers drawn from margins (n,) that are no likelier than those given (n,): a test of goodness of fit.

    The likelihood of yes and no has no table for few points, so it is drawn, from a fixed seed. A fit has had its
    unknowns moved toward these answers, so that the test errs toward accepting it.
    """
    if not len(seen):
        return 1.0
    p = chance(margin_db)
    drawn = np.random.default_rng(1).random((_DRAWS, len(p))) < p
    # A slack for ties that sums in another order would break.
    return float(np.mean(_log_chance(p, drawn) <= _log_chance(p, seen) + 1e-9))


def _log_chance(p: Floats, seen: Bools) -> Floats:
    return np.asarray((xlogy(seen, p) + xlogy(~seen, 1 - p)).sum(axis=-1))


def fit(response: Response, seen: Bools, unknowns: Unknowns, active: Bools) -> Fit:
    """The most likely corrections where only `active` (n_unknowns,) ones may differ from nothing."""
    free = np.flatnonzero(active)
    held = np.where(active, 0.0, unknowns.mean_db)
    prior, mean = unknowns.prior_db[free], unknowns.mean_db[free]

    def full(values: Floats) -> Floats:
        added = held.copy()
        added[free] = values
        return added

    def cost(values: Floats) -> tuple[float, Floats]:
        margin, slopes = response.answers(full(values))
        off = (values - mean) / prior
        downhill = _score(margin, seen) @ slopes[:, free] - off / prior
        return float(0.5 * off @ off - log_likelihood(margin, seen).sum()), -downhill

    start = np.zeros(len(free))
    if len(free):
        bounds = [(low if np.isfinite(low) else None, None) for low in unknowns.lowest_db[free]]
        found = minimize(cost, np.maximum(start, unknowns.lowest_db[free]), jac=True, method="L-BFGS-B", bounds=bounds)
        start = found.x
    added = full(start)
    margin, slopes = response.answers(added)
    told = (slopes[:, free] * information(margin)[:, None]).T @ slopes[:, free]
    precision = told + np.diag(prior**-2)
    covariance = np.zeros((response.n_unknowns,) * 2)
    covariance[np.ix_(free, free)] = np.linalg.inv(precision)
    off = (start - mean) / prior
    log_prior = float(-0.5 * off @ off - np.log(prior).sum())
    log_evidence = float(log_likelihood(margin, seen).sum()) + log_prior - 0.5 * float(np.linalg.slogdet(precision)[1])
    return Fit(active.copy(), added, covariance, log_evidence)


def _score(margin: Floats, seen: Bools) -> Floats:
    """d log likelihood / d margin (n,)."""
    p = chance(margin)
    return np.where(seen, slope(margin) / p, -slope(margin) / (1 - p))


def _select(response: Response, seen: Bools, unknowns: Unknowns, whole: Fit) -> Fit:
    """From all unknowns free, one after another taken back as long as the evidence grows."""
    told = 1 - (whole.sd_db / unknowns.prior_db) ** 2
    best = fit(response, seen, unknowns, told >= TOLD)
    while best.active.any():
        fewer = []
        for k in np.flatnonzero(best.active):
            active = best.active.copy()
            active[k] = False
            fewer.append(fit(response, seen, unknowns, active))
        found = max(fewer, key=lambda one: one.log_evidence)
        if found.log_evidence < best.log_evidence:
            break
        best = found
    return best


def _deciding(response: Response, seen: Bools, found: Fit, k: int, most: int = 3) -> tuple[int, ...]:
    """Points whose answers move an unknown most: what leaving each out would change, to first order."""
    margin, slopes = response.answers(found.added_db)
    moved = np.abs((_score(margin, seen)[:, None] * slopes) @ found.covariance[:, k])
    order = np.argsort(-moved, kind="stable")[:most]
    least = 0.05 * max(float(found.sd_db[k]), 1e-9)
    return tuple(int(i) for i in order if moved[i] >= least)


def _tied(whole: Fit, unknowns: Unknowns) -> tuple[tuple[str, str, float], ...]:
    sd = whole.sd_db
    with np.errstate(invalid="ignore", divide="ignore"):
        together = whole.covariance / np.outer(sd, sd)
    one, other = np.nonzero(np.triu(np.abs(together) >= TIED, 1))
    return tuple(
        (unknowns.words(int(a)), unknowns.words(int(b)), float(together[a, b])) for a, b in zip(one, other, strict=True)
    )

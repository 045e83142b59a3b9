"""Answers against the reckoning: the correction comes back with the uncertainty that it claims.

Margins worked by hand in the docstring of `raycover.walktest`. Coverage of an interval: a normal posterior holds the
truth within two standard deviations in 95.4 % of draws from its own prior; 60 · 3 intervals then lie with 99.9 % chance
between 160 and 179 held (binomial). Synthetic sites draw their answers by their own line of code, not by the package's.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import norm

from raycover.walktest.reconciling import Share, Table, fit, fit_chance, reconcile
from raycover.walktest.unknowns import LAPSE, NOISE_DB, Unknowns, information, log_likelihood
from raycover.walktest.ways import Response

Floats = NDArray[np.floating]


def site(margin_db: Floats, crossed: Floats, models: int = 1) -> Response:
    """Points with one straight way each, of units of one or more models in turn."""
    n, k = crossed.shape
    every = np.arange(n)
    return Response(
        n, tuple(f"M{m}" for m in range(models)), tuple(f"C{c}" for c in range(k)), np.arange(models), every,
        every % models, every, margin_db, crossed,
    )  # fmt: skip


def unknowns(response: Response, reach: float = 2.0, loss: float = 1.5, in_force: Floats | None = None) -> Unknowns:
    n = response.n_unknowns
    models = len(response.models)
    there = np.zeros(n) if in_force is None else in_force
    prior = np.array([reach] * models + [loss] * (n - models))
    return Unknowns(response.names, models, prior, -there, np.full(n, -np.inf), there)


def varied_site(rng: np.random.Generator, n: int = 60) -> Response:
    """Half of the points in the open, half behind one or two walls, margins spread about the edge."""
    crossed = np.zeros((n, 2))
    crossed[n // 3 :, 0] = 1
    crossed[2 * n // 3 :, 1] = rng.integers(1, 3, n - 2 * n // 3)
    return site(rng.uniform(-7, 7, n), crossed)


def answered(response: Response, truth: Floats, rng: np.random.Generator, noise: float = NOISE_DB) -> NDArray[np.bool_]:
    """Yes or no at each point of a site whose corrections are `truth`, by normal noise and a lapse now and then."""
    margin = response.margin_db + truth[0] - 2 * response.crossed @ truth[1:]
    seen = margin + rng.normal(0, noise, len(margin)) >= 0
    lapses = rng.random(len(margin)) < LAPSE
    return np.where(lapses, rng.random(len(margin)) < 0.5, seen)


def test_slopes_are_those_worked_by_hand() -> None:
    """Two ways to one point, 0 dB and −6.0206 dB: amplitudes 1 and ½, shares ⅔ and ⅓; the second crosses C0 twice."""
    response = Response(
        1, ("M0",), ("C0",), np.array([0]), np.array([0]), np.array([0]), np.array([0, 0]), np.array([0.0, -6.0206]),
        np.array([[0.0], [2.0]]),
    )  # fmt: skip
    best, slopes = response.answers(np.zeros(2))
    assert best[0] == pytest.approx(20 * np.log10(1.5), abs=1e-4)
    assert slopes[0] == pytest.approx([1.0, -2 * 2 / 3], abs=1e-4)
    more, _ = response.answers(np.array([0.0, 0.01]))
    assert (more - best)[0] / 0.01 == pytest.approx(-4 / 3, abs=0.01)


def test_an_answer_tells_most_at_the_edge() -> None:
    """At 0 dB: (φ(0)/σ)² / ¼ = (2/π)/σ² with no lapse; (1 − λ)² of that with."""
    assert information(np.array([0.0]))[0] == pytest.approx((1 - LAPSE) ** 2 * 2 / np.pi / NOISE_DB**2)
    told = information(np.array([-12.0, -3.0, 0.0, 3.0, 12.0]))
    assert told[0] < 1e-3 * told[2]
    assert told[1] < told[2] > told[3]
    impossible = log_likelihood(np.array([-np.inf, np.inf]), np.array([True, False]))
    assert impossible == pytest.approx(np.log([LAPSE / 2] * 2))


def held(seeds: int, *, noise: float = NOISE_DB, truth: Floats | None = None) -> int:
    """In how many of the intervals of ±2 sd the truth lies, three unknowns a seed; drawn from the prior if None."""
    inside = 0
    for seed in range(seeds):
        rng = np.random.default_rng([seed, 7])
        response = varied_site(rng)
        known = unknowns(response)
        drawn = rng.normal(0, known.prior_db) if truth is None else truth
        found = fit(response, answered(response, drawn, rng, noise), known, np.ones(3, bool))
        inside += int((np.abs(found.added_db - drawn) <= 2 * found.sd_db).sum())
    return inside


def test_its_uncertainty_is_what_it_says() -> None:
    assert 160 <= held(60) <= 179


def test_a_wrong_site_fails_the_same_test() -> None:
    """A site with three times the noise, or one where every wall is 8 dB worse, is none that the prior thinks of."""
    assert held(60, noise=3 * NOISE_DB) < 160
    assert held(60, truth=np.array([-1.5, 8.0, -8.0])) < 160


def test_a_known_change_comes_back() -> None:
    """Plasterboard +2 dB one way, unit reach −1.5 dB: over 60 seeds the mean lies near, drawn a little to the prior."""
    truth = np.array([-1.5, 2.0, 0.0])
    found = []
    for seed in range(60):
        rng = np.random.default_rng([seed, 11])
        response = varied_site(rng, 90)
        known = unknowns(response)
        seen = answered(response, truth, rng)
        found.append(fit(response, seen, known, np.ones(3, bool)).added_db)
    assert np.mean(found, axis=0) == pytest.approx(truth, abs=0.45)
    assert 148 <= held(60, truth=truth) <= 180


def test_nothing_wrong_is_seldom_corrected() -> None:
    """With the scene as it is, odds of √10 for a correction come up in less than one test of four."""
    proposed = 0
    for seed in range(40):
        rng = np.random.default_rng([seed, 13])
        response = varied_site(rng, 40)
        seen = answered(response, np.zeros(3), rng)
        proposed += reconcile(response, seen, unknowns(response)).supported
    assert proposed < 10


def test_a_fit_is_tested_by_its_own_chances() -> None:
    """Ten points far inside, chance 1 − λ/2 = 0.99 each: one or more no has 1 − 0.99¹⁰ = 9.6 %, two or more 0.43 %."""
    margin = np.full(10, 40.0)
    for n_no, tail in ((0, 1.0), (1, 1 - 0.99**10), (2, 1 - 0.99**10 - 10 * 0.01 * 0.99**9)):
        seen = np.arange(10) >= n_no
        assert fit_chance(margin, seen) == pytest.approx(tail, abs=0.008)


def test_answers_by_a_coin_fit_no_correction_and_those_of_a_site_do() -> None:
    """Nonsense must be told from a changed building: eight draws of each, of a test that errs in 1 % at most."""
    truth = np.array([2.0, 1.0, -1.0])
    sound, tossed = [], []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        response = varied_site(rng, 30)
        sound.append(reconcile(response, answered(response, truth, rng), unknowns(response)).fits)
        tossed.append(reconcile(response, rng.random(30) < 0.5, unknowns(response)).fits)
    assert all(sound)
    assert not any(tossed)


def test_what_cannot_be_told_apart_is_said() -> None:
    """All points behind one wall: a wall +1 dB and a reach −2 dB are the same to every answer."""
    rng = np.random.default_rng(3)
    response = site(rng.uniform(-5, 5, 80), np.ones((80, 1)))
    seen = answered(response, np.array([-2.0, 1.0]), rng)
    found = reconcile(response, seen, unknowns(response))
    ((one, other, tied),) = found.tied
    assert {one, other} == {"reach of M0", "loss of C0"}
    assert tied > 0.8
    whole = fit(response, seen, unknowns(response), np.ones(2, bool))
    assert whole.added_db[0] - 2 * whole.added_db[1] == pytest.approx(-4, abs=1.2)


def test_what_is_not_crossed_is_not_corrected() -> None:
    rng = np.random.default_rng(5)
    crossed = np.zeros((40, 2))
    crossed[20:, 0] = 1
    response = site(rng.uniform(-4, 4, 40), crossed)
    seen = answered(response, np.array([3.0, 0.0, 0.0]), rng)
    found = reconcile(response, seen, unknowns(response))
    assert found.estimates[2].proposed_db is None
    assert found.estimates[2].told == pytest.approx(0)
    assert found.estimates[2].deciding == ()
    assert found.estimates[0].proposed_db is not None
    assert found.odds > 3
    assert found.after.right.k > found.before.right.k


def test_a_second_reckoning_on_the_corrected_scene_gives_the_same() -> None:
    """Corrections are measured from nothing: with the same answers the corrected scene is proposed again."""
    rng = np.random.default_rng(8)
    plain = varied_site(rng, 80)
    seen = answered(plain, np.array([-2.5, 2.0, 0.0]), rng)
    first = reconcile(plain, seen, unknowns(plain))
    in_force = np.array([e.proposed_db or 0.0 for e in first.estimates])
    corrected = site(plain.margin_db + in_force[0] - 2 * plain.crossed @ in_force[1:], plain.crossed)
    second = reconcile(corrected, seen, unknowns(corrected, in_force=in_force))
    for one, other in zip(first.estimates, second.estimates, strict=True):
        assert other.estimate_db == pytest.approx(one.estimate_db, abs=0.02)
        assert (other.proposed_db is None) == (one.proposed_db is None)
    assert second.before == first.after


def test_wilson_intervals() -> None:
    """Wilson's 95 % interval by its formula: 8 of 10 gives 0.490 to 0.943 (Newcombe, Stat. Med. 17 (1998) 857)."""
    z, p, n = norm.ppf(0.975), 0.8, 10
    centre, half = (p + z * z / (2 * n)), z * np.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    assert Share(8, 10).interval == pytest.approx([(centre + s * half) / (1 + z * z / n) for s in (-1, 1)])
    assert Share(8, 10).interval == pytest.approx((0.490, 0.943), abs=5e-4)
    assert Share(0, 0).interval == (0.0, 1.0)


def test_two_by_two() -> None:
    predicted, seen = np.array([1, 1, 1, 0, 0], bool), np.array([1, 1, 0, 1, 0], bool)
    table = Table.of(predicted, seen)
    assert (table.hits, table.missed, table.false, table.quiet) == (2, 1, 1, 1)
    assert (table.noticed_of_predicted, table.noticed_of_others, table.right) == (Share(2, 3), Share(1, 2), Share(3, 5))

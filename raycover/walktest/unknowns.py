"""What a walk test can put right, how far off each is thought to be beforehand, and how likely an answer is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr, ndtr

from raycover.catalogue import Construction
from raycover.detectors import Unit
from raycover.rays.ray_scene import RayScene
from raycover.scene.corrections import CorrectionsSpec
from raycover.solving.open_air import Weather
from raycover.spreads import Draws
from raycover.walktest.ways import Response

Floats = NDArray[np.floating]
#: What differs from answer to answer (dB, standard deviation): feet 0.15 m off at 4 m are 0.7 dB, a body turned, the
#: floor's own reflections. Our assumption.
NOISE_DB = 2.0
#: Share of answers that have nothing to do with the margin: a tick in the wrong row, somebody else in the room. Ours.
LAPSE = 0.02
#: A wall that is built is not always the one that is drawn: standard deviation (dB, one way). Our assumption.
AS_BUILT_DB = 1.5
#: Least prior spread (dB): nothing is known to the last digit.
_LEAST_DB = 0.3


@dataclass(frozen=True)
class Unknowns:
    """The unknowns of a response, models' reaches then constructions' losses (n,): `prior_db` their standard deviation
    before any answer, `mean_db` where that prior lies seen from the scene as it stands (0 but for corrections already
    in force, which are themselves measured from nothing), `lowest_db` what a loss can sink by."""

    names: tuple[str, ...]
    n_models: int
    prior_db: Floats
    mean_db: Floats
    lowest_db: Floats
    in_force_db: Floats

    def kind(self, k: int) -> str:
        return "reach" if k < self.n_models else "loss"

    def words(self, k: int) -> str:
        return f"reach of {self.names[k]}" if k < self.n_models else f"loss of {self.names[k]}"


def unknowns_of(
    response: Response,
    units: Sequence[Unit],
    rays: RayScene,
    weather: Weather,
    draws: Draws,
    corrections: CorrectionsSpec | None,
) -> Unknowns:
    """Priors from the scene's `doubt`: the person who walks and the units' reach; layers, and what may be built."""
    kinds = {response.models[response.reach_of[k]]: unit.technologies for k, unit in enumerate(units)}
    reach = draws.doubt.reach_percent / 100
    unit_db = 40 / np.log(10) * reach / np.sqrt(3)  # even within ± that share
    contrasts = [draws.contrast_db(c) for c in (weather.airs.ambient_c if weather.airs else (weather.ambient_c,))]
    # Where rooms have airs of their own, by that in which least is sure.
    thermal = max(float(np.std(contrast[np.isfinite(contrast)])) for contrast in contrasts)
    person = {"microwave": draws.doubt.cross_section_db, "infrared": thermal}
    # Both halves of a dual model are corrected alike: by what is less sure of the two.
    models = [float(np.hypot(max(person[kind] for kind in kinds[model]), unit_db)) for model in response.models]
    frequencies = sorted({unit.frequency_ghz for unit in units if unit.frequency_ghz is not None})
    made = {one.name: one for one in _constructions(rays)}
    losses = [_loss_spread(made[name], frequencies, draws) for name in response.constructions]
    lowest = [_least_loss(made[name], frequencies, weather) for name in response.constructions]
    in_force = _in_force(response, corrections)
    prior = np.maximum(np.array([*models, *losses], float), _LEAST_DB)
    low = np.array([*np.full(len(models), -np.inf), *(-v for v in lowest)])
    return Unknowns(response.names, len(models), prior, -in_force, low, in_force)


def _constructions(rays: RayScene) -> list[Construction]:
    of_objects = [one.made_of for one in rays.building.objects if isinstance(one.made_of, Construction)]
    return list(dict.fromkeys([*(sheet.construction for sheet in rays.building.sheets), *of_objects]))


def _loss_spread(made: Construction, frequencies: Sequence[float], draws: Draws) -> float:
    """Standard deviation (dB) of a one-way loss square on: by its layers, or as a share of what was measured."""
    spreads = [0.0]
    for frequency in frequencies:
        if made.kind == "layers" and made.layers:
            sheet = draws.sheet(made, frequency)
            passed = sheet.passed.mean(axis=0)[-1]
            spreads.append(float(np.std(-10 * np.log10(np.maximum(passed, 1e-12)))))
        else:
            loss = float(made.loss_db(frequency, 1.0, "averaged"))
            spreads.append(loss * float(np.std(draws.loss_factor(made))))
    return float(np.hypot(max(spreads), AS_BUILT_DB))


def _least_loss(made: Construction, frequencies: Sequence[float], weather: Weather) -> float:
    """What a loss can sink by (dB) before it would be a gain, square on."""
    return min((float(np.ravel(made.loss_db(f, 1.0, weather.losses))[0]) for f in frequencies), default=0.0)


def _in_force(response: Response, corrections: CorrectionsSpec | None) -> Floats:
    if corrections is None:
        return np.zeros(response.n_unknowns)
    tables: tuple[tuple[Sequence[str], Mapping[str, float]], ...] = (
        (response.models, corrections.reach_db), (response.constructions, corrections.loss_db),
    )  # fmt: skip
    return np.array([table.get(name, 0.0) for names, table in tables for name in names])


def chance(margin_db: ArrayLike) -> Floats:
    """Chance of a yes at a margin (dB, maybe −inf)."""
    return np.asarray(LAPSE / 2 + (1 - LAPSE) * ndtr(np.asarray(margin_db, float) / NOISE_DB))


def log_likelihood(margin_db: Floats, seen: NDArray[np.bool_]) -> Floats:
    """Logarithm of the chance (n,) of each answer at its margin."""
    with np.errstate(invalid="ignore"):
        inner = log_ndtr(np.where(seen, margin_db, -margin_db) / NOISE_DB)
    return np.logaddexp(np.log(LAPSE / 2), np.log1p(-LAPSE) + inner)


def slope(margin_db: Floats) -> Floats:
    """d chance / d margin (n,), 0 where the margin is infinite."""
    finite = np.isfinite(margin_db)
    z = np.where(finite, margin_db, 0.0) / NOISE_DB
    return np.where(finite, (1 - LAPSE) * np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi) / NOISE_DB, 0.0)


def information(margin_db: Floats) -> Floats:
    """What one answer tells of its margin (n,), 1/dB²: slope² / (P·(1 − P))."""
    p = chance(margin_db)
    return np.asarray(slope(margin_db) ** 2 / (p * (1 - p)))

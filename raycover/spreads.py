"""What is uncertain about a margin, how much and by whose word; and the varied cases drawn from it.

One case is one building on one day: every sheet of a construction is alike in it (a job is built from one delivery,
and a thickness that is off in one wall is off in the next), every unit has its own mounting, aim, reach and
polarisation, and the same person walks for all of them. Taking the sheets of a construction alike is the careful
side: errors of several walls in a row add up instead of evening out.

Cases are scrambled Sobol points. Each group of quantities has a sequence of its own, seeded by `seed` and the group's
name and then shuffled (two scrambles of one sequence share their leading digits, so unshuffled ones would go hand in
hand). A further unit or construction changes no other's cases.
"""

from __future__ import annotations

import zlib
from collections.abc import Set
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from raycover.catalogue import Construction, SolidMaterial
from raycover.physics.infrared import REFERENCE_C, clo_worn, person_contrast
from raycover.physics.slab import varied_loss_db
from raycover.scene.doubt import DoubtSpec

Floats = NDArray[np.floating]
Single = NDArray[np.float32]

#: Steps of the cosine at which a varied sheet's power is tabulated; between them it is taken as straight.
N_STEPS = 256
#: Mountings and aims drawn for a unit: what they change is worked out this often, not once a case.
N_POSES = 16
#: Conductivity and permittivity of what states only a loss: standard deviation of that loss in dB, as a share of it.
STATED_LOSS_SPREAD = 0.10
BULK_LOSS_SPREAD = 0.30


@dataclass(frozen=True)
class Source:
    """Where a spread comes from: its name in `doubt:`, what it is, whose word it is, and how far that was checked."""

    key: str
    what: str
    source: str
    status: str


#: Status: [2nd] read in a text that describes the source, [C] computed here, "ours" our assumption.
SOURCES = (
    Source(
        "thickness_percent", "thickness of every layer and air gap", "our assumption, as for averaged losses", "ours"
    ),
    Source("materials", "permittivity and conductivity", "each material's own spread; ordinarily 5 % and 30 %", "ours"),
    Source("cross_section_db", "radar cross section of a person", "3GPP TR 38.901 sensing model, s.d. 3.94 dB", "2nd"),
    Source("mounting", "mounting height", "our assumption: as built against as drawn", "ours"),
    Source("aim_deg", "aim and turn of a unit", "our assumption: by eye, on an uneven ceiling", "ours"),
    Source("reach_percent", "reach from one unit to the next", "our assumption; ask the maker", "ours"),
    Source("polarised", "polarisation of a microwave unit", "unknown: even over all directions in its plane", "ours"),
    Source("deeper", "further reflections than the first", "our coherent engine in 90 random rooms", "C"),
    Source("ambient_k", "air temperature beside a person", "our assumption", "ours"),
    Source("clo", "clothing of a person", "our assumption: indoor clothing, summer to winter", "ours"),
)


def in_words(doubt: DoubtSpec, kinds: Set[str]) -> list[str]:
    """What a `doubt:` varies for units of these kinds ("infrared", "microwave"), a short line each."""
    lines = [
        ("infrared", doubt.ambient_k, f"air ±{doubt.ambient_k:g} K"),
        ("infrared", doubt.clo[1] > doubt.clo[0], f"clothing {doubt.clo[0]:g} to {doubt.clo[1]:g} clo"),
        ("microwave", doubt.cross_section_db, f"cross section of a person, s.d. {doubt.cross_section_db:g} dB"),
        ("microwave", doubt.thickness_percent, f"thickness of layers ±{doubt.thickness_percent:g} %"),
        ("microwave", doubt.materials, f"materials, {doubt.materials:g} × their own spread"),
        ("microwave", doubt.polarised, "polarisation of the units"),
        ("microwave", doubt.deeper, "further reflections, with reflections: 1"),
        ("", doubt.reach_percent, f"reach of a unit ±{doubt.reach_percent:g} %"),
        ("", doubt.mounting, f"mounting height ±{doubt.mounting:g} m"),
        ("", doubt.aim_deg, f"aim and turn ±{doubt.aim_deg:g}°"),
    ]
    return [line for kind, varied, line in lines if varied and (not kind or kind in kinds)]


#: What further reflections bring, one way, as drawn from 90 random rooms (offices, washrooms, stairwells) by the
#: coherent engine of tests/references with up to three reflections [C]: a share of what single reflections bring,
#: median 0.28, log-normal; and, so that deep shadows fill as they do in truth, a level below open air,
#: −11 dB less an exponential draw of mean 12 dB (5 to 95 %: −12 to −47 dB).
DEEPER_MEDIAN, DEEPER_LOG_SD = 0.28, 0.85
FILL_TOP_DB, FILL_MEAN_DB = -11.0, 12.0


@dataclass(frozen=True)
class Poses:
    """Mountings and aims drawn for one unit: `raised_m` (p,), `turned_rad` (p, 3) about its own axes; `of` (n,) the
    pose of each case."""

    raised_m: Floats
    turned_rad: Floats
    of: NDArray[np.intp]


class Draws:
    """The varied cases of a `doubt:`, quantity by quantity, each (n_cases, …) and drawn when first asked for."""

    def __init__(self, doubt: DoubtSpec) -> None:
        self.doubt = doubt
        self.n = doubt.cases
        self._contrasts: dict[float, Floats] = {}
        self._groups: dict[tuple[str, ...], Floats] = {}
        self._sheets: dict[tuple[Construction, float], SheetCases] = {}

    def even(self, *name: str, k: int = 1, n: int | None = None) -> Floats:
        """(n, k) points in the open unit cube, spread evenly, of the group `name`."""
        if name not in self._groups:
            from scipy.stats import qmc  # slow to import

            group = zlib.crc32("\x1f".join(name).encode())
            rng = np.random.default_rng([self.doubt.seed, group])
            points = qmc.Sobol(k, rng=rng).random(self.n if n is None else n)
            rng.shuffle(points)
            self._groups[name] = np.clip(points, 1e-9, 1 - 1e-9)
        return self._groups[name]

    @cached_property
    def _person(self) -> Floats:
        return self.even("person", k=3)

    @cached_property
    def cross_section_db(self) -> Floats:
        """(n,) of the person who walks, relative to the one that the declaration assumes."""
        return self.doubt.cross_section_db * ndtri(self._person[:, 0])

    def contrast_db(self, ambient_c: float) -> Floats:
        """(n,) thermal contrast of the person who walks, relative to that of a declaration at 20 °C; may be −inf."""
        if ambient_c not in self._contrasts:
            self._contrasts[ambient_c] = self._contrast_db(ambient_c)
        return self._contrasts[ambient_c]

    def _contrast_db(self, ambient_c: float) -> Floats:
        air = ambient_c + self.doubt.ambient_k * (2 * self._person[:, 1] - 1)
        low, high = self.doubt.clo
        more = clo_worn(ambient_c) - clo_worn(REFERENCE_C)  # for the cold, everybody
        k = person_contrast(air, low + more + (high - low) * self._person[:, 2])
        with np.errstate(divide="ignore"):
            return np.asarray(20 * np.log10(np.abs(k)))

    def unit_reach_db(self, unit: str) -> Floats:
        """(n,) margin that a unit gains or loses by its own reach."""
        share = self.doubt.reach_percent / 100 * (2 * self._unit(unit)[:, 0] - 1)
        return np.asarray(40 * np.log10(1 + share))

    def polarisation_rad(self, unit: str) -> Floats:
        """(n,) direction of a unit's field in its own plane, from its x."""
        return np.pi * self._unit(unit)[:, 1]

    def deeper_share(self, unit: str) -> Floats:
        """(n,) what further reflections bring, as a share of what single ones do."""
        if not self.doubt.deeper:
            return np.zeros(self.n)
        return np.asarray(DEEPER_MEDIAN * np.exp(DEEPER_LOG_SD * ndtri(self._unit(unit)[:, 2])))

    def fill_power(self, unit: str) -> Floats:
        """(n,) what further reflections bring into shadows, one-way power relative to open air."""
        if not self.doubt.deeper:
            return np.zeros(self.n)
        return np.asarray(10 ** ((FILL_TOP_DB + FILL_MEAN_DB * np.log(self._unit(unit)[:, 3])) / 10))

    def _unit(self, unit: str) -> Floats:
        return self.even("unit", unit, k=4)

    def poses(self, unit: str) -> Poses:
        """Where a unit hangs and looks: as many as `N_POSES`, or one where neither is in doubt."""
        if not self.doubt.mounting and not self.doubt.aim_deg:
            return Poses(np.zeros(1), np.zeros((1, 3)), np.zeros(self.n, np.intp))
        points = 2 * self.even("pose", unit, k=4, n=N_POSES) - 1
        which = np.arange(self.n) % N_POSES
        np.random.default_rng([self.doubt.seed, zlib.crc32(f"order\x1f{unit}".encode())]).shuffle(which)
        return Poses(self.doubt.mounting * points[:, 0], np.radians(self.doubt.aim_deg) * points[:, 1:], which)

    def sheet(self, made: Construction, frequency_ghz: float) -> SheetCases:
        """A construction of layers, case by case."""
        key = (made, frequency_ghz)
        if key not in self._sheets:
            n_layers = len(made.layers)
            points = self.even("construction", made.name, k=3 * n_layers).reshape(self.n, n_layers, 3)
            thickness = 1 + self.doubt.thickness_percent / 100 * (2 * points[..., 0] - 1)
            spread = np.array(
                [[0.0, 0.0] if (m := layer.material) is None else [m.spread_a, m.spread_c] for layer in made.layers]
            )
            log_sd = np.sqrt(np.log1p((self.doubt.materials * spread) ** 2))
            factors = np.exp(log_sd * ndtri(points[..., 1:]))
            cosines = np.linspace(0, 1, N_STEPS + 1)
            loss, mirrored = varied_loss_db(
                made.layers, frequency_ghz, cosines, thickness, factors[..., 0], factors[..., 1], each_polarisation=True
            )
            self._sheets[key] = SheetCases(_power(made.corrected_db(loss)), _power(mirrored))
        return self._sheets[key]

    def loss_factor(self, made: Construction | SolidMaterial) -> Floats:
        """(n,) factor on the loss in dB of what is no layered sheet: measured losses, solids' bulk."""
        spread = STATED_LOSS_SPREAD if isinstance(made, Construction) else BULK_LOSS_SPREAD
        log_sd = np.sqrt(np.log1p((self.doubt.materials * spread) ** 2))
        return np.asarray(np.exp(log_sd * ndtri(self.even("loss", made.name)[:, 0])))


@dataclass(frozen=True)
class SheetCases:
    """Power that a sheet passes and mirrors, (2, N_STEPS + 1, n_cases) each: TE, TM; by even steps of the cosine."""

    passed: Single
    mirrored: Single

    def at(self, table: Single, cosine: Floats) -> tuple[Single, Single]:
        """(k, n_cases) TE and TM power at cosines of incidence (k,)."""
        position = np.clip(cosine, 0, 1) * N_STEPS
        index = np.minimum(position.astype(np.intp), N_STEPS - 1)
        share = (position - index).astype(np.float32)[:, None]
        te, tm = (one[index] + share * (one[index + 1] - one[index]) for one in table)
        return te, tm


def _power(loss_db: Floats) -> Single:
    """(2, n_cases, n_cos) dB as power (2, n_cos, n_cases)."""
    return np.ascontiguousarray(np.swapaxes(10 ** (-loss_db / 10), 1, 2), np.float32)

"""The threshold of an infrared detector, found from its own declared test.

A data sheet says how far a person walking across is noticed at 20 °C, from some mounting height. The test is done
here in the open: people walk 2 m across at the declared edge, at many azimuths, six runs each (three lanes, two phases
of the gait); the threshold is the median over azimuths of the runs' root mean square. Each further declared motion
gets an offset of its own, so that its footprint comes out too: one threshold cannot meet several. Beyond a declared
edge nothing counts.

The scatter over azimuth and gait says how much a median hides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from raycover.physics.body import Body
from raycover.physics.infrared import REFERENCE_C
from raycover.physics.lens import ResponseImage, Zones, middle_m, response_image
from raycover.physics.pattern import Footprint
from raycover.physics.signal import band_pass, pulse_level, walk_signals
from raycover.physics.walks import TEST_WALK_M, arms_of, body_for, time_step, walks_of

Floats = NDArray[np.floating]

#: The declared test: azimuths, phases of the gait, and lanes to the side (m). Our assumption: six runs at every
#: azimuth, since a single one may lie in a null where a zone's halves balance.
N_AZIMUTHS, N_PHASES, LANES_M = 48, 2, (-0.4, 0.0, 0.4)
#: Of an outline that is not a circle, the test is done where it reaches at least this share of its farthest point.
FAR_SHARE = 0.75
#: Offsets beyond this (dB) say that the declared footprints do not go together in this lens.
DOUBTFUL_OFFSET_DB = 12.0
#: Below this share of the signal half-way in, the edge is not seen by the zones at all.
_LEAST_SHARE = 0.01


class CannotCalibrate(ValueError):
    """The declared footprint does not come out of the lens; the message says why, `help` what to do."""

    def __init__(self, message: str, help_text: str) -> None:
        super().__init__(message)
        self.help = help_text


@dataclass(frozen=True)
class Scatter:
    """One declared motion's test at its edge: what a median hides.

    `edge_m` the farthest declared radius; `low_db`, `high_db`: 10th and 90th percentile over azimuths, against the
    threshold of that motion; `run_db` standard deviation over an azimuth's runs (lanes and gait; seated: which way
    someone faces), its median; `share` of all runs that trigger; `share_azimuths`: of azimuths at which all do.
    """

    motion: str
    edge_m: float
    low_db: float
    high_db: float
    run_db: float
    share: float
    share_azimuths: float


@dataclass(frozen=True)
class Calibration:
    """`threshold` (W/m²) for the motion it was found with (`base`); others are `offset_db` more sensitive."""

    threshold: float
    base: str
    offset_db: dict[str, float]
    scatter: tuple[Scatter, ...]
    mounting: float
    warnings: tuple[str, ...] = field(default=())

    def threshold_for(self, motion: str) -> float:
        return float(self.threshold * 10 ** (-self.offset_db.get(motion, 0.0) / 20))


def edge_azimuths(footprint: Footprint, n: int = N_AZIMUTHS) -> Floats:
    """Azimuths (n,) rad at which a declared edge is tested: its far parts that face the unit, evenly.

    So a long field is tested at its ends, not along its sides.
    """
    phi = (np.arange(3600) + 0.5) * 2 * np.pi / 3600
    radius = footprint.shape.radius(np.cos(phi), np.sin(phi))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.abs(np.gradient(np.log(radius), phi))
    far = radius >= FAR_SHARE * radius.max()
    facing = far & (slope <= 1)
    far = phi[facing if facing.any() else far]
    return far[((np.arange(n) + 0.5) * len(far) / n).astype(int)]


def edge_outputs(
    image: ResponseImage,
    mounting: float,
    azimuth: Floats,
    radius: Floats,
    motion: str,
    *,
    ambient_c: float = REFERENCE_C,
    length_m: float = TEST_WALK_M,
    body: Body | None = None,
    n_phases: int = N_PHASES,
    lanes_m: Sequence[float] = LANES_M,
) -> tuple[Floats, float]:
    """The amplifier's output (n, runs, t) for people at azimuths (n,) rad and distances (n,) m, and its time step.

    Tangential: walking across; radial: toward; runs are lanes times phases of the gait. Presence: seated facing four
    ways, which are its runs.
    """
    step = time_step(mounting)
    base = np.stack([radius * np.cos(azimuth), radius * np.sin(azimuth), np.full_like(radius, -mounting)], axis=1)
    if motion == "presence":
        n_runs = 4
        sitting = body_for("seated", mounting) if body is None else body
        headings: Floats = (azimuth[:, None] + np.arange(4) * np.pi / 2).ravel()
        walks = arms_of(sitting, headings, ambient_c=ambient_c, step_s=step)
    else:
        walker = body_for("adult", mounting) if body is None else body
        headings = azimuth + (np.pi / 2 if motion == "tangential" else np.pi)
        n_runs = n_phases * len(lanes_m)
        phases = np.arange(n_phases) * 2 * np.pi / n_phases
        walks = walks_of(walker, headings, phases, ambient_c=ambient_c, step_s=step, length_m=length_m, lanes_m=lanes_m)
    raw = walk_signals(walks, image, np.repeat(base, n_runs, axis=0), np.arange(len(walks.place)))
    return band_pass(raw, step).reshape(len(azimuth), n_runs, -1), step


@dataclass(frozen=True)
class DeclaredTest:
    """One declared motion: its footprint, and the mounting height (m) that it is declared at."""

    footprint: Footprint
    mounting: float

    @property
    def motion(self) -> str:
        return self.footprint.motion


@lru_cache(maxsize=256)
def calibrate(zones: Zones, tests: tuple[DeclaredTest, ...]) -> Calibration:
    """The threshold of a lens from what is declared of it, in the order of `MOTIONS`; the first sets the threshold.

    Raises CannotCalibrate where the declared edge lies outside the zones or too few pulses are counted.
    """
    image = lens_image(zones, tests)
    levels: dict[str, Floats] = {}
    for test in tests:
        azimuth, radius = _edge(test.footprint)
        output, _ = edge_outputs(image, test.mounting, azimuth, radius, test.motion)
        levels[test.motion] = pulse_level(output, zones.n_pulses)
        _check_reached(zones, image, test, levels[test.motion])
    base = tests[0].motion
    typical = {motion: float(np.median(of_runs(level))) for motion, level in levels.items()}
    offsets = {m: float(20 * np.log10(typical[base] / value)) for m, value in typical.items()}
    warnings = [
        f"the declared {test.motion} edge at {test.footprint.largest_radius:.1f} m takes a threshold "
        f"{abs(offsets[test.motion]):.0f} dB {'lower' if offsets[test.motion] > 0 else 'higher'} than that of {base}: "
        "these figures hardly go together in this lens"
        for test in tests
        if abs(offsets[test.motion]) > DOUBTFUL_OFFSET_DB
    ]
    scatter = tuple(_scatter(test.footprint, levels[test.motion], typical[test.motion]) for test in tests)
    return Calibration(typical[base], base, offsets, scatter, tests[0].mounting, tuple(warnings))


def lens_image(zones: Zones, tests: tuple[DeclaredTest, ...]) -> ResponseImage:
    """The lens' response, cut off where what is declared at the first test's height ends."""
    mounting = tests[0].mounting
    return response_image(zones, tuple(t.footprint for t in tests if t.mounting == mounting), mounting)


def of_runs(level: Floats) -> Floats:
    """One level (n,) of an azimuth's runs (n, runs): their root mean square."""
    return np.asarray(np.sqrt(np.mean(np.square(level), axis=1)))


def _edge(footprint: Footprint) -> tuple[Floats, Floats]:
    azimuth = edge_azimuths(footprint)
    return azimuth, footprint.shape.radius(np.cos(azimuth), np.sin(azimuth))


def _check_reached(zones: Zones, image: ResponseImage, test: DeclaredTest, level: Floats) -> None:
    median, mounting, motion = float(np.median(level)), test.mounting, test.motion
    edge = test.footprint.largest_radius
    azimuth, radius = _edge(test.footprint)
    inside = edge_outputs(image, mounting, azimuth[::6], radius[::6] / 2, motion)[0]
    if median > _LEAST_SHARE * float(np.median(np.abs(inside).max(axis=-1))):
        return
    reached = pulse_level(edge_outputs(image, mounting, azimuth, radius, motion)[0], 1)
    if zones.n_pulses > 1 and float(np.median(reached)) > 0 and median == 0:
        what = "of an arm" if motion == "presence" else f"walks of {TEST_WALK_M:g} m"
        raise CannotCalibrate(
            f"half of the test {what} at the declared {motion} edge ({edge:g} m) never give {zones.n_pulses} pulses, "
            "so there is no threshold at which they trigger",
            "count fewer pulses, or give narrower zones",
        )
    looked = np.degrees(np.arctan2(edge, mounting - middle_m(mounting)))
    raise CannotCalibrate(
        f"the declared {motion} edge, {edge:g} m away from {mounting:g} m high, is seen {looked:.0f}° off axis at "
        f"mid-body, but the zones end at {zones.outermost_deg:.0f}°: a person there gives no signal",
        "give the ring that looks there, or a smaller footprint",
    )


def _scatter(footprint: Footprint, level: Floats, typical: float) -> Scatter:
    """Statistics of levels (azimuths, runs) against the threshold of their motion."""
    with np.errstate(divide="ignore"):
        db = np.maximum(20 * np.log10(level / typical), -120.0)
        azimuths = np.maximum(20 * np.log10(of_runs(level) / typical), -120.0)
    low, high = np.percentile(azimuths, [10, 90])
    return Scatter(
        footprint.motion,
        footprint.largest_radius,
        float(low),
        float(high),
        float(np.median(db.std(axis=1))),
        float((db >= 0).mean()),
        float((db >= 0).all(axis=1).mean()),
    )

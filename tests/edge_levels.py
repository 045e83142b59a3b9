"""What tests of the simulated infrared detector share: a lens made for a footprint, and signals at its edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from raycover.physics.calibration import Calibration, DeclaredTest, calibrate, edge_outputs, lens_image, of_runs
from raycover.physics.lens import ResponseImage, Zones, generic_zones, pair_pitch_deg
from raycover.physics.pattern import Footprint
from raycover.physics.shapes import Shape

Floats = NDArray[np.floating]
AZIMUTHS = np.linspace(0, 2 * np.pi, 24, endpoint=False)


@dataclass(frozen=True)
class Made:
    """A lens derived from one tangential footprint, with its threshold."""

    mounting: float
    zones: Zones
    image: ResponseImage
    calibration: Calibration

    def levels(
        self, radius: Floats | float, motion: str = "tangential", *, mounting: float | None = None,
        azimuths: Floats = AZIMUTHS, ambient_c: float = 20.0,
    ) -> Floats:  # fmt: skip
        """Level (n,) of people at a distance (m) at each azimuth, W/m²."""
        height = self.mounting if mounting is None else mounting
        at = np.broadcast_to(np.asarray(radius, float), azimuths.shape)
        output, _ = edge_outputs(self.image, height, azimuths, at, motion, ambient_c=ambient_c)
        return of_runs(np.abs(output).max(axis=-1))

    def margin_db(self, radius: float, motion: str = "tangential", **more: float) -> float:
        """Median margin over azimuths."""
        level = float(np.median(self.levels(radius, motion, **more)))  # type: ignore[arg-type]
        return float(20 * np.log10(max(level, 1e-12) / self.calibration.threshold))

    def reach(self, radii: Floats, motion: str = "tangential", **more: float) -> float:
        """The largest of some radii (m) with a median margin of at least 0 dB."""
        return max((float(r) for r in radii if self.margin_db(float(r), motion, **more) >= 0), default=0.0)


def made(shape: Shape, mounting: float, pitch_deg: float | None = None, *, family: str = "") -> Made:
    """A lens derived from a tangential footprint on the floor, calibrated on it."""
    footprint = Footprint("tangential", shape, mounting, False)
    zones = generic_zones(footprint, mounting, pitch_deg or pair_pitch_deg(family, footprint, mounting))
    tests = (DeclaredTest(footprint, mounting),)
    return Made(mounting, zones, lens_image(zones, tests), calibrate(zones, tests))

"""From metres to millimetres of paper: round scales and the frame they are fitted to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
#: Scales that plans and sections are drawn to, finest first; beyond the last they go on 1, 2, 2.5, 5. Those of ISO 5455
#: and, between them, those that scale rules carry or their faces read ten times larger (30 off 300, 40 off 400): common
#: practice, no source.
SCALES = (20, 25, 30, 40, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 600, 750, 1000, 1250, 1500, 2000, 2500, 5000)


def scales() -> Iterator[int]:
    """Denominators of round scales, finest first, without end."""
    yield from SCALES
    factor = 1
    while True:
        factor *= 10
        for step in (1000, 2000, 2500, 5000):
            yield step * factor


def choose_scale(width_m: float, height_m: float, width_mm: float, height_mm: float) -> int:
    """The finest round scale (its denominator) at which width × height (m) fits in a frame (mm)."""
    for scale in scales():
        if width_m * 1000 / scale <= width_mm + 1e-9 and height_m * 1000 / scale <= height_mm + 1e-9:
            return scale
    raise AssertionError("unreachable: the scales have no end")


class DoesNotFit(ValueError):
    """A building (`size_m`) is too large for a sheet at a scale; at `fitting` it would do."""

    def __init__(self, size_m: tuple[float, float], scale: int, fitting: int) -> None:
        super().__init__(f"{size_m[0]:.1f} × {size_m[1]:.1f} m do not fit at 1:{scale}; 1:{fitting} does")
        self.size_m, self.scale, self.fitting = size_m, scale, fitting


@dataclass(frozen=True)
class Projection:
    """Plan metres to paper: `scale` the denominator, `frame` the box (mm) whose middle shows `middle` (m)."""

    scale: int
    frame: Box
    middle: tuple[float, float]

    @classmethod
    def fitted(cls, bounds: Box, frame: Box, clear: float = 4.5, scale: int | None = None) -> Projection:
        """Show bounds (xmin, ymin, xmax, ymax in m) in the middle of a frame with `clear` mm around.

        At `scale`, or the finest round one that fits. Raises DoesNotFit for a scale at which they don't.
        """
        x0, y0, x1, y1 = bounds
        room = (frame[2] - frame[0] - 2 * clear, frame[3] - frame[1] - 2 * clear)
        fitting = choose_scale(x1 - x0, y1 - y0, *room)
        if scale is None:
            scale = fitting
        elif max((x1 - x0) * 1000 / scale - room[0], (y1 - y0) * 1000 / scale - room[1]) > 2 * clear:
            raise DoesNotFit((x1 - x0, y1 - y0), scale, fitting)
        return cls(scale, frame, ((x0 + x1) / 2, (y0 + y1) / 2))

    def cropped(self, bounds: Box, clear: float = 5.0) -> Projection:
        """The same drawing with its frame no larger than bounds (m) and `clear` mm around need."""
        low, high = self.to_paper([bounds[:2], bounds[2:]])
        x0, y0, x1, y1 = self.frame
        frame = (
            max(x0, float(low[0]) - clear), max(y0, float(low[1]) - clear),
            min(x1, float(high[0]) + clear), min(y1, float(high[1]) + clear),
        )  # fmt: skip
        middle = self.to_plan([(frame[0] + frame[2]) / 2, (frame[1] + frame[3]) / 2])
        return Projection(self.scale, frame, (float(middle[0]), float(middle[1])))

    @property
    def mm_per_m(self) -> float:
        return 1000 / self.scale

    @property
    def _offset(self) -> Floats:
        x0, y0, x1, y1 = self.frame
        return np.array([(x0 + x1) / 2, (y0 + y1) / 2]) - np.array(self.middle) * self.mm_per_m

    def to_paper(self, points: ArrayLike) -> Floats:
        """(…, 2) m → (…, 2) mm."""
        return np.asarray(points, float) * self.mm_per_m + self._offset

    def to_plan(self, points: ArrayLike) -> Floats:
        """(…, 2) mm → (…, 2) m."""
        return (np.asarray(points, float) - self._offset) / self.mm_per_m

    @property
    def shown(self) -> Box:
        """What the frame shows, in metres."""
        low, high = self.to_plan([self.frame[:2], self.frame[2:]])
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def round_step(at_least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is no smaller than this."""
    power = 10.0 ** np.floor(np.log10(at_least))
    return float(next(power * k for k in (1, 2, 5, 10) if power * k >= at_least * (1 - 1e-9)))

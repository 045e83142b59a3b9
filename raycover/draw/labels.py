"""Automatic placing of text: no two boxes overlap, none leaves the frame, strong lines are kept off where possible."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageDraw

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
#: Raster of strokes, cells a mm.
_PER_MM = 4
#: Clear space between boxes, mm.
_CLEAR = 0.35


@dataclass(frozen=True)
class Placed:
    """A box that found its place: its centre (mm), and where its leader ends, if it needs one."""

    centre: tuple[float, float]
    leader: tuple[float, float] | None = None


@dataclass
class Placer:
    """Finds places for boxes in a frame, best first, and remembers what is taken."""

    frame: Box
    _busy: Floats = field(init=False)
    #: Boxes taken, in the first rows of an array that grows by doubling: thousands of tags ask for all of them.
    _boxes: Floats = field(init=False)
    _n_taken: int = 0

    def __post_init__(self) -> None:
        self._busy = np.zeros((2, 2))
        self._boxes = np.zeros((64, 4))

    def note_strokes(self, strokes: Sequence[tuple[Floats, float]]) -> None:
        """Rasterise polylines (mm) with weights; where they cross the heavier counts."""
        x0, y0, x1, y1 = self.frame
        image = Image.new("L", (int((x1 - x0) * _PER_MM) + 1, int((y1 - y0) * _PER_MM) + 1), 0)
        draw = ImageDraw.Draw(image)
        for line, weight in sorted(strokes, key=lambda stroke: stroke[1]):
            places = np.clip((np.asarray(line, float) - [x0, y0]) * _PER_MM, -1e5, 1e5)
            draw.line([tuple(p) for p in places], fill=round(weight * 10), width=2)
        heavy = np.asarray(image, np.float64) / 10
        self._busy = np.pad(heavy.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))

    def take(self, box: Box) -> None:
        """Keep every later box off this one."""
        if self._n_taken == len(self._boxes):
            self._boxes = np.concatenate([self._boxes, np.zeros_like(self._boxes)])
        self._boxes[self._n_taken] = box
        self._n_taken += 1

    def release(self) -> None:
        """Give back the place taken last."""
        self._n_taken -= 1

    def stroke_cost(self, boxes: Floats) -> Floats:
        """Weight of strokes under boxes (n, 4), per mm² of box."""
        ny, nx = self._busy.shape
        cells = (boxes - np.array([*self.frame[:2], *self.frame[:2]])) * _PER_MM
        column = np.clip(np.round(cells[:, [0, 2]]), 0, nx - 1).astype(int)
        row = np.clip(np.round(cells[:, [1, 3]]), 0, ny - 1).astype(int)
        busy = self._busy
        total = (
            busy[row[:, 1], column[:, 1]]
            - busy[row[:, 0], column[:, 1]]
            - busy[row[:, 1], column[:, 0]]
            + busy[row[:, 0], column[:, 0]]
        )
        area = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
        return np.asarray(total / np.maximum(area, 1e-9) / _PER_MM**2 * 10)

    def free(self, boxes: Floats) -> NDArray[np.bool_]:
        """Which boxes (n, 4) lie in the frame and off everything taken."""
        frame = np.array(self.frame)
        inside = np.concatenate([boxes[:, :2] >= frame[:2] + 0.5, boxes[:, 2:] <= frame[2:] - 0.5], axis=1)
        clear: NDArray[np.bool_] = np.asarray(np.all(inside, axis=1), bool).reshape(-1)
        if self._n_taken and clear.any():
            some = boxes[clear]
            # Only those near by can be in the way.
            low, high = some[:, :2].min(axis=0) - _CLEAR, some[:, 2:].max(axis=0) + _CLEAR
            taken = self._boxes[: self._n_taken]
            taken = taken[((taken[:, :2] < high) & (taken[:, 2:] > low)).all(axis=1)]
            hit = (
                (some[:, None, 0] < taken[None, :, 2] + _CLEAR)
                & (some[:, None, 2] > taken[None, :, 0] - _CLEAR)
                & (some[:, None, 1] < taken[None, :, 3] + _CLEAR)
                & (some[:, None, 3] > taken[None, :, 1] - _CLEAR)
            )
            clear[clear] = ~hit.any(axis=1)
        return clear

    def place(
        self, size: tuple[float, float], centres: ArrayLike, costs: ArrayLike, *, most: float = np.inf
    ) -> int | None:
        """Index of the best of candidate centres (n, 2) for a box (width, height), or None where none is free.

        `costs` (n,) add to those of the strokes beneath; candidates dearer than `most` are not taken. The place
        is then taken.
        """
        centres = np.asarray(centres, float).reshape(-1, 2)
        if not len(centres):
            return None
        half = np.array(size) / 2
        boxes = np.concatenate([centres - half, centres + half], axis=1)
        cost = np.where(self.free(boxes), np.asarray(costs, float) + self.stroke_cost(boxes), np.inf)
        best = int(cost.argmin())
        if not cost[best] <= most or not np.isfinite(cost[best]):
            return None
        self.take(tuple(boxes[best]))
        return best

    def near(
        self,
        point: ArrayLike,
        size: tuple[float, float],
        gaps: Sequence[float],
        *,
        most: float = np.inf,
        leader_from: float = np.inf,
        around: tuple[float, float] = (0.0, 0.0),
        prefer_deg: float = 30.0,
    ) -> Placed | None:
        """Place a box beside a point, its nearest edge `gaps` mm away (nearer ones first).

        From a gap of `leader_from` on the box gets a leader to the point. `around` is the size of a thing about
        the point that gaps count from.
        """
        point = np.asarray(point, float)
        angle = np.radians(np.arange(0, 360, 15))
        direction = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        # Text reads best to the right and a little above its point.
        turn = 0.5 * (1 - np.cos(angle - np.radians(prefer_deg)))
        centres, costs, reach = [], [], []
        for rank, gap in enumerate(gaps):
            out = np.clip(direction * 1.6, -1, 1) * (np.array(size) + around) / 2 + direction * gap
            centres.append(point + out)
            costs.append(turn + 4.0 * rank)
            reach += [gap] * len(angle)
        index = self.place(size, np.concatenate(centres), np.concatenate(costs), most=most)
        if index is None:
            return None
        centre = np.concatenate(centres)[index]
        leader = self._leader(centre, size, point, wanted=reach[index] >= leader_from)
        return Placed((float(centre[0]), float(centre[1])), leader)

    @staticmethod
    def _leader(
        centre: Floats, size: tuple[float, float], point: Floats, *, wanted: bool
    ) -> tuple[float, float] | None:
        """The point of the box's edge that a leader to the point starts from."""
        if not wanted:
            return None
        half = np.array(size) / 2
        end = np.clip(point, centre - half, centre + half)
        return float(end[0]), float(end[1])

"""How high a room is over each point of its plan: flat, or under a sloped roof. Plain numbers, no faces."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.scene.parts import Room

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class RoofForm:
    """One slope, or two that meet over the middle. Heights (m) count from the room's floor.

    `across` (2,) is the unit vector in plan up the slope (mono) or from one eaves to the other (pitched);
    `low` and `high` are where the outline begins and ends along it.
    """

    across: tuple[float, float]
    low: float
    high: float
    eaves: float
    ridge_height: float
    pitched: bool

    @property
    def along(self) -> tuple[float, float]:
        """Unit vector in plan along eaves and ridge: where a pitched roof's ridge runs to."""
        return self.across[1], -self.across[0]

    @property
    def ridge(self) -> float:
        """Where the ridge lies, measured along `across`."""
        return (self.low + self.high) / 2 if self.pitched else self.high

    @cached_property
    def rise(self) -> float:
        """Height gained a metre in plan."""
        return (self.ridge_height - self.eaves) / (self.ridge - self.low)

    def place(self, points: Floats) -> Floats:
        """Where points (n, 2) lie along `across`, (n,)."""
        return np.asarray(points, float) @ np.array(self.across)

    def clear(self, points: Floats) -> Floats:
        """Height (n,) of the roof above the floor at points (n, 2); beyond the eaves the slope goes on."""
        down: Floats = np.abs(self.place(points) - self.ridge) if self.pitched else self.ridge - self.place(points)
        return self.ridge_height - self.rise * down

    def lowest_over(self, corners: Floats) -> float:
        """Least height (m) over a convex piece of plan: a roof is lowest at a corner."""
        return float(self.clear(corners).min())


def roof_form(room: Room) -> RoofForm | None:
    """The form of a room's roof, None under a flat ceiling."""
    roof = room.roof
    if roof is None:
        return None
    pitched = roof.kind == "pitched"
    if roof.ridge is not None:
        across = (0.0, 1.0) if roof.ridge == "x" else (-1.0, 0.0)
    else:
        assert roof.direction_deg is not None
        turn = np.radians(roof.direction_deg + (90 if pitched else 0))
        # Quarter turns are common: exact zeros keep walls and slopes on the same numbers.
        cos, sin = (0.0 if abs(v) < 1e-15 else float(v) for v in (np.cos(turn), np.sin(turn)))
        across = (cos, sin)
    places = np.asarray(room.outline, float) @ np.array(across)
    return RoofForm(across, float(places.min()), float(places.max()), roof.eaves, roof.ridge_height, pitched)


def clear_height(room: Room, x: float, y: float) -> float:
    """Height (m) above the floor of what covers a room over (x, y)."""
    form = roof_form(room)
    return room.height if form is None else float(form.clear(np.array([[x, y]]))[0])


def highest(room: Room) -> float:
    """Height (m) above the floor of a room's highest point: its ceiling, or its ridge."""
    return room.height if room.roof is None else room.roof.ridge_height

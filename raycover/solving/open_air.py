"""What a unit's margin is with nothing in the way: distance, lens edge, heat and masks.

The one place where this is put together; what stands in the way comes after (`casting`). Offsets may be those of
mirror images as well: nothing here asks where in the building a point lies.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from raycover.catalogue import Losses
from raycover.detectors import Unit
from raycover.physics.infrared import contrast_db, worn_contrast
from raycover.physics.margin import inside_lens, mask_loss_db, reach_margin_db, to_local
from raycover.physics.motion import moving_db
from raycover.physics.pattern import Footprint
from raycover.scene.schema import Scene
from raycover.solving.airs import Airs

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
#: Offsets unit → points along the building's axes (m), arrays that broadcast.
Offset = tuple[Floats, Floats, Floats]


@dataclass(frozen=True)
class Weather:
    """What conditions mean for the casting: contrast in dB, which losses, reflections of microwave (0 or 1), air.

    `contrast_db` and `ambient_c` are those of the scene's air; `airs` tells the air of rooms that have their own, None
    where one air is everywhere.
    """

    contrast_db: float
    losses: Losses
    reflections: int = 0
    ambient_c: float = 20.0
    airs: Airs | None = None

    @classmethod
    def of(cls, scene: Scene) -> Weather:
        conditions = scene.conditions
        contrast = float(contrast_db(worn_contrast(conditions.ambient_c)))
        return cls(contrast, conditions.losses, conditions.reflections, conditions.ambient_c, Airs.of(scene))

    def airs_of(self, unit: Unit) -> Airs | None:
        """The airs that a unit of one technology tells apart: microwave none."""
        return self.airs if unit.kind == "infrared" else None

    def felt_by(self, unit: Unit) -> Weather:
        """The same as a unit of one technology feels it: the air is nothing to microwave, its losses nothing to
        infrared."""
        if unit.kind == "infrared":
            return replace(self, losses="averaged", reflections=0)
        return replace(self, contrast_db=0.0, ambient_c=20.0, airs=None)

    def most_db(self, unit: Unit) -> float:
        """What air adds to a unit's margins where it adds most."""
        airs = self.airs_of(unit)
        if airs is not None:
            return float(airs.contrast_db.max())
        return self.contrast_db if unit.kind == "infrared" else 0.0

    def heat_db(self, unit: Unit, offset: Offset) -> Floats | float:
        """What air adds to a unit's margins at points: one number where it is the same everywhere."""
        airs = self.airs_of(unit)
        if airs is not None:
            return np.asarray(airs.contrast_db[airs.at(*(at + d for at, d in zip(unit.position, offset, strict=True)))])
        return self.contrast_db if unit.kind == "infrared" else 0.0

    def ambient_at(self, points: Floats) -> Floats:
        """Temperature (n,) of the air in °C at points (n, 3)."""
        if self.airs is None:
            return np.full(len(points), self.ambient_c)
        return np.array(self.airs.ambient_c)[self.airs.at(*points.T)]

    @property
    def unheated(self) -> Weather:
        """The same with the contrast of a declaration everywhere."""
        return replace(self, contrast_db=0.0, airs=None)


@dataclass(frozen=True)
class OpenAir:
    """Margins in the open and what they are made of, arrays of the points' common shape.

    `potential_db`: the best footprint by distance alone at 20 °C, lens and masks aside; `reach_db`: the same of
    the footprints whose lens holds the point, −inf outside them all; `in_lens`: whether any does (microwave: all);
    `heat_db`: what warm or cold air adds, one number where it is the same everywhere; `mask_db`: one-way loss of the
    masks, infinite behind a total one.
    """

    potential_db: Floats
    reach_db: Floats
    in_lens: Bools
    heat_db: Floats | float
    mask_db: Floats | float

    @cached_property
    def unmasked_db(self) -> Floats:
        if isinstance(self.heat_db, float) and self.heat_db == 0:
            return self.reach_db
        return self.reach_db + self.heat_db

    @cached_property
    def margin_db(self) -> Floats:
        """All of it: may be −inf."""
        if isinstance(self.mask_db, float) and self.mask_db == 0:
            return self.unmasked_db
        with np.errstate(invalid="ignore"):
            return self.unmasked_db - 2 * self.mask_db


def open_air(unit: Unit, offset: Offset, footprints: Sequence[Footprint], weather: Weather) -> OpenAir:
    """How a unit sees points at offsets (x, y, z) from it with nothing in the way.

    `footprints`: those that count, `unit.footprints_for(motion)` or fewer; with none every margin is −inf and
    nothing lies outside the lens (it is out of reach, not out of sight). Raises ValueError for a dual unit: its parts
    are asked one by one (`combining`).
    """
    if unit.halves:
        raise ValueError(f"{unit.name} is a dual unit: ask its parts")
    local = to_local(unit.rotation, offset)
    shape = np.broadcast_shapes(*(part.shape for part in local))
    potential: Floats | None = None
    reach: Floats | None = None
    in_lens: Bools | None = None
    for footprint in footprints:
        margin = reach_margin_db(local, footprint, unit.reach_behind)
        potential = margin if potential is None else np.maximum(potential, margin)
        if unit.kind == "infrared":
            within = inside_lens(local, footprint)
            in_lens = within if in_lens is None else in_lens | within
            margin = np.where(within, margin, -np.inf)
        reach = margin if reach is None else np.maximum(reach, margin)
    nothing = np.float64(-np.inf)
    return OpenAir(
        np.broadcast_to(nothing if potential is None else potential, shape),
        np.broadcast_to(nothing if reach is None else reach, shape),
        np.broadcast_to(np.True_ if in_lens is None else in_lens, shape),
        weather.heat_db(unit, offset),
        mask_loss_db(local, unit.masks) if unit.masks else 0.0,
    )


def open_margin_db(unit: Unit, offset: Offset, footprints: Sequence[Footprint], weather: Weather) -> Floats:
    """Margin (dB) with nothing in the way, may be −inf; arguments as for `open_air`."""
    return open_air(unit, offset, footprints, weather).margin_db


def distance_margin_db(unit: Unit, offset: Offset, footprints: Sequence[Footprint]) -> Floats:
    """Margin (dB) of the best footprint by distance alone at 20 °C, lens and masks aside."""
    local = to_local(unit.rotation, offset)
    best = np.full(np.broadcast_shapes(*(part.shape for part in local)), -np.inf)
    for footprint in footprints:
        best = np.maximum(best, reach_margin_db(local, footprint, unit.reach_behind))
    return best


def moving_margin_db(
    unit: Unit, offset: Offset, velocity: Offset, weather: Weather, *, target_m2: float | None = None
) -> Floats:
    """Margin (dB) of somebody who walks, with nothing in the way, for a microwave unit.

    `velocity`: (x, y, z) along the building's axes (m/s), arrays that broadcast with the offsets; of an image, the
    image's velocity. The declared margins of walking along and across the line of sight are blended by the radial
    speed and the unit's band (`motion.moving_db`); a body other than a walker is `target_m2`. Raises ValueError
    for an infrared unit.
    """
    if unit.kind == "infrared":
        raise ValueError("an infrared unit answers to zones crossed, not to Doppler")
    distance, speed = (np.sqrt(sum(np.square(part) for part in parts)) for parts in (offset, velocity))
    with np.errstate(divide="ignore", invalid="ignore"):
        cosine = sum(a * b for a, b in zip(offset, velocity, strict=True)) / (distance * speed)
    margins = {
        motion: open_margin_db(unit, offset, unit.footprints_for(motion, target_m2), weather)
        for motion in ("radial", "tangential")
    }
    return moving_db(
        margins["radial"], margins["tangential"], np.nan_to_num(np.clip(cosine, -1, 1)), speed, unit.speeds
    )

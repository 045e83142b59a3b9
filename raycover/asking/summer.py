"""What warm air leaves of an infrared detector's reach.

The contrast of a clothed person against the air falls towards skin temperature; the slant reach falls with √|k|
(`physics.infrared.contrast_factor`), the lens edge stays where it is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from raycover.detectors import Unit
from raycover.physics.infrared import worn_contrast


@dataclass(frozen=True)
class Reach:
    """At one air temperature: contrast factor k, slant reach (m), furthest reach in plan on the declared plane (m)."""

    ambient_c: float
    contrast: float
    slant_m: float
    plan_m: float


@dataclass(frozen=True)
class SummerRow:
    """A model at one mounting height, for the motion that reaches furthest: what each air temperature leaves."""

    title: str
    kind: str
    mounting: float
    motion: str
    plane_m: float
    detectors: tuple[str, ...]
    reaches: tuple[Reach, ...]


def summer_reach(units: Sequence[Unit], ambients_c: Sequence[float]) -> tuple[SummerRow, ...]:
    """One row a model and mounting height, of dual ones a row each half. Microwave does not mind the air; its rows say
    the same throughout."""
    rows: dict[tuple[object, ...], list[Unit]] = {}
    for unit in (part for whole in units for part in whole.parts):
        rows.setdefault((unit.title, unit.kind, unit.mounting, unit.footprints), []).append(unit)
    return tuple(_row(same, ambients_c) for same in rows.values() if same[0].footprints)


def _row(units: Sequence[Unit], ambients_c: Sequence[float]) -> SummerRow:
    unit = units[0]
    widest = max(unit.footprints, key=lambda f: f.largest_radius)
    reaches = []
    for ambient in ambients_c:
        k = float(worn_contrast(ambient)) if unit.kind == "infrared" else 1.0
        slant = widest.largest_slant * np.sqrt(abs(k))
        in_plan = float(np.sqrt(max(slant**2 - widest.drop**2, 0.0)))
        if unit.kind == "infrared":
            in_plan = min(in_plan, widest.largest_radius)
        reaches.append(Reach(ambient, k, float(slant), in_plan))
    title = f"{unit.title}, {unit.kind} half" if unit.housing else unit.title
    return SummerRow(
        title, unit.kind, unit.mounting, widest.motion, unit.mounting - widest.drop,
        tuple(u.tag for u in units), tuple(reaches),
    )  # fmt: skip

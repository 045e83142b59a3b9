"""Raw faces before merging: what each thing of the scene contributes to its plane."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from raycover.building.parts import (
    Boxes,
    Floats,
    Frame,
    HungMark,
    Loc,
    MeshObject,
    OpeningMark,
    RackMark,
    RoofMark,
    SeatMark,
    SheetKind,
    StairShape,
)
from raycover.catalogue import Construction
from raycover.errors import Problem

UP = np.array([0.0, 0.0, 1.0])


@dataclass
class Hole:
    """An opening in a face: its polygon in the face's plane and what fills it (None: nothing)."""

    polygon: Any
    name: str
    kind: SheetKind
    fill: Construction | None
    loc: Loc


@dataclass
class Face:
    """A flat polygon in its frame with its construction (None for `none`) and the holes cut in it."""

    name: str
    owner: str
    kind: SheetKind
    frame: Frame
    polygon: Any
    construction: Construction | None
    loc: Loc
    holes: list[Hole] = field(default_factory=list)


@dataclass
class Gathered:
    """What the makers of parts put together, in the order of the scene."""

    faces: list[Face] = field(default_factory=list)
    boxes: list[Boxes] = field(default_factory=list)
    envelopes: list[Boxes] = field(default_factory=list)
    openings: list[OpeningMark] = field(default_factory=list)
    racks: list[RackMark] = field(default_factory=list)
    stairs: list[StairShape] = field(default_factory=list)
    seats: list[SeatMark] = field(default_factory=list)
    roofs: list[RoofMark] = field(default_factory=list)
    hung: list[HungMark] = field(default_factory=list)
    objects: list[MeshObject] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)


def upright_frame(start: Floats, end: Floats) -> Frame:
    """The vertical plane over a line in plan: u along it, v up, origin at its start and z = 0."""
    along = np.array([*(np.asarray(end, float) - np.asarray(start, float)), 0.0])
    return Frame(np.array([*np.asarray(start, float), 0.0]), along / np.linalg.norm(along), UP)


def level_frame(z: float) -> Frame:
    return Frame(np.array([0.0, 0.0, z]), np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]))


def oblong(u0: float, v0: float, u1: float, v1: float) -> Any:
    return shapely.box(u0, v0, u1, v1)


@dataclass(frozen=True)
class Placing:
    """A local frame in plan: `at` and an anticlockwise turn."""

    at: tuple[float, float]
    turn_deg: float

    @property
    def turn_rad(self) -> float:
        return float(np.radians(self.turn_deg))

    def points(self, local: Floats) -> Floats:
        """(n, 2) local → (n, 2) in the scene."""
        cos, sin = np.cos(self.turn_rad), np.sin(self.turn_rad)
        # Quarter turns are common, and exact zeros keep neighbouring faces in one plane.
        cos, sin = (0.0 if abs(c) < 1e-15 else float(c) for c in (cos, sin))
        local = np.asarray(local, float)
        x = self.at[0] + local[:, 0] * cos - local[:, 1] * sin
        y = self.at[1] + local[:, 0] * sin + local[:, 1] * cos
        return np.stack([x, y], axis=1)

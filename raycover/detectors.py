"""Detectors made ready: a scene's detector with its pattern resolved for where it hangs.

This is where the words of the scene and the catalogue become the plain numbers that the physics takes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np

from raycover.content import SHORT, digest
from raycover.physics.directivity import Beam, Beams, Directivity, Elevation, share_behind
from raycover.physics.margin import unit_rotation
from raycover.physics.microwave import body_db, sensitivity_db
from raycover.physics.motion import SpeedBand, with_derived
from raycover.physics.pattern import Declaration, Footprint, Mask, resolve, with_gain
from raycover.physics.shapes import Array, Circle, Ellipse, Polar, Rectangle, Sector, Shape, azimuth_cells
from raycover.scene.devices import DetectorSpec, MaskSpec, PatternSpec, ShapeSpec
from raycover.scene.halves import Combine, HalfKind, Trigger

#: Of a unit's digest, how it is called is left out; its footprints are added one by one.
_NAMES = frozenset({"name", "title", "housing", "footprints"})


@lru_cache(maxsize=4096)
def _looked_to(footprints: tuple[Footprint, ...]) -> Array | None:
    """The direction (2,), in the unit's frame, of the middle of what footprints declare; None if that is all round."""
    middle, area = np.zeros(2), 0.0
    for footprint in footprints:
        phi, width = azimuth_cells(footprint.shape.corners_rad, n=360)
        direction = np.stack([np.cos(phi), np.sin(phi)])
        part = width * footprint.shape.radius(*direction) ** 2
        middle, area = middle + direction @ part, area + float(part.sum())
    if not area or (off := float(np.linalg.norm(middle))) < _ONE_SIDED * area:
        return None
    return np.asarray(middle / off)


@lru_cache(maxsize=4096)
def _looks_to_one_side(footprints: tuple[Footprint, ...]) -> bool:
    middle = _looked_to(footprints)
    if middle is None or middle[0] <= _TOWARD_0:
        return False
    cos_phi, sin_phi = np.array([1.0, -1.0]), np.zeros(2)
    ahead, behind = np.max([footprint.shape.radius(cos_phi, sin_phi) for footprint in footprints], axis=0)
    return bool(behind < _BEHIND * ahead)


@lru_cache(maxsize=4096)
def _of_footprint(footprint: Footprint) -> bytes:
    """The digest of a footprint: few are shared by many units."""
    return digest(footprint, size=SHORT)


#: A unit looks one way where its directions, weighed by the area they declare, add up to this share or more.
_ONE_SIDED = 0.15
#: To the side of azimuth 0 where that way lies within 60° of it (its cosine), and the reach behind is less than this
#: share of that ahead: wall units may declare a little behind them.
_TOWARD_0, _BEHIND = 0.5, 0.3


@dataclass(frozen=True)
class Half:
    """One technology of a dual unit: what is its own, the rest is the housing's. `masks` cover this half alone."""

    kind: HalfKind
    frequency_ghz: float | None
    footprints: tuple[Footprint, ...]
    reach_behind: float | None
    speeds: SpeedBand | None
    sensitivity_pct: float
    masks: tuple[Mask, ...] = ()


@dataclass(frozen=True)
class Unit:
    """A detector in its place.

    `position` (3,) absolute, `rotation` (3, 3) with the unit's axes as columns, `footprints` one a declared
    motion at its mounting height (its sensitivity setting and directivity in them), `reach_behind` None for
    infrared, `speeds` the radial speeds it answers to where its entry says. `corrected_db` is what the scene's
    corrections add to its margin, in the footprints too.

    A dual unit has two `halves` and is `combine`d from their answers (`combining`); nothing is cast for it but for
    its `parts`, which are units of one technology in the same housing. Its `footprints` are those of both,
    `frequency_ghz`, `reach_behind` and `speeds` those of the microwave half.
    """

    name: str
    title: str
    kind: Literal["infrared", "microwave", "dual"]
    frequency_ghz: float | None
    position: Array
    mounting: float
    rotation: Array
    turn_deg: float
    tilt_deg: float
    footprints: tuple[Footprint, ...]
    masks: tuple[Mask, ...]
    reach_behind: float | None
    speeds: SpeedBand | None = None
    sensitivity_pct: float = 100.0
    corrected_db: float = 0.0
    halves: tuple[Half, ...] = ()
    combine: Combine = "or"
    trigger: Trigger = "infrared"
    housing: str = ""

    @cached_property
    def parts(self) -> tuple[Unit, ...]:
        """What is cast: itself, or of a dual unit the infrared and the microwave half as units of their own."""
        if not self.halves:
            return (self,)
        return tuple(
            replace(
                self,
                name=f"{self.name}/{half.kind}",
                kind=half.kind,
                frequency_ghz=half.frequency_ghz,
                footprints=half.footprints,
                masks=(*self.masks, *half.masks),
                reach_behind=half.reach_behind,
                speeds=half.speeds,
                sensitivity_pct=half.sensitivity_pct,
                halves=(),
                housing=self.name,
            )
            for half in self.halves
        )

    @cached_property
    def content(self) -> bytes:
        """A digest of all that it is but its names."""
        values = [getattr(self, field.name) for field in fields(self) if field.name not in _NAMES]
        return digest(values, list(map(_of_footprint, self.footprints)), size=SHORT)

    @cached_property
    def ahead(self) -> Array | None:
        """Where it looks, a unit vector (3,), if it looks one way, as units on walls do; None if all round.

        By the declared area's middle, which of a sector of up to some 300° lies well off the unit.
        """
        middle = _looked_to(self.footprints)
        return None if middle is None else np.asarray(self.rotation[:, :2] @ middle)

    @property
    def is_one_sided(self) -> bool:
        """Whether it looks to the side of azimuth 0 and hardly behind: such units hang on walls."""
        return _looks_to_one_side(self.footprints)

    @property
    def is_round(self) -> bool:
        """Whether it sees alike at every azimuth: upright and without masks its turn then means nothing."""
        return all(footprint.is_round for footprint in self.footprints)

    @property
    def tag(self) -> str:
        """The name on the plan: of a half, that of its housing."""
        return self.housing or self.name

    @property
    def technologies(self) -> frozenset[str]:
        """Which of infrared and microwave it has."""
        return frozenset(part.kind for part in self.parts)

    @property
    def all_masks(self) -> tuple[Mask, ...]:
        """Its masks, those of one half of a dual unit among them."""
        return tuple(dict.fromkeys(mask for part in self.parts for mask in part.masks))

    @property
    def derived_motions(self) -> dict[str, str]:
        """{motion that is not declared: how it is taken from one that is}."""
        return {f.motion: f.derived for f in self.footprints if f.derived}

    def footprints_for(self, motion: str, target_m2: float | None = None) -> tuple[Footprint, ...]:
        """The footprints that count for a motion ("any": all); empty where it is not declared.

        `target_m2`: radar cross section (m²) of what moves, each declaration compared with the body it assumes
        (`microwave.body_db`); None: that body. Infrared knows none.
        """
        if self.halves:
            return tuple(f for part in self.parts for f in part.footprints_for(motion, target_m2))
        chosen = tuple(f for f in self.footprints if motion in ("any", f.motion))
        if target_m2 is None or self.kind == "infrared":
            return chosen
        return tuple(with_gain(f, body_db(target_m2, f.motion)) for f in chosen)

    def asked_about(self, target_m2: float | None) -> Unit:
        """The unit as it answers to a body of a radar cross section (m²); None: the one each declaration assumes."""
        if target_m2 is None:
            return self
        halves = tuple(
            replace(half, footprints=part.footprints_for("any", target_m2))
            for half, part in zip(self.halves, self.parts, strict=False)
        )
        return replace(self, footprints=self.footprints_for("any", target_m2), halves=halves)


def shape_of(spec: ShapeSpec) -> Shape:
    """The physics' shape for a shape of a file."""
    if spec.circle is not None:
        return Circle(spec.circle.diameter)
    if spec.rectangle is not None:
        return Rectangle(spec.rectangle.length, spec.rectangle.width)
    if spec.ellipse is not None:
        return Ellipse(spec.ellipse.length, spec.ellipse.width)
    if spec.sector is not None:
        return Sector(spec.sector.reach, spec.sector.spread_deg)
    assert spec.polar is not None
    return Polar(tuple(a for a, _ in spec.polar), tuple(r for _, r in spec.polar))


def declarations_of(pattern: PatternSpec) -> tuple[Declaration, ...]:
    return tuple(Declaration(d.mounting, d.plane, d.motion, shape_of(d.shape)) for d in pattern.declared)


def masks_of(specs: Sequence[MaskSpec]) -> tuple[Mask, ...]:
    return tuple(
        Mask(
            m.from_deg,
            m.to_deg,
            m.off_axis_from_deg,
            m.off_axis_to_deg,
            m.loss_db if m.loss_db is not None else np.inf,
        )
        for m in specs
    )


def directivity_of(pattern: PatternSpec) -> Directivity | None:
    """What an entry says of directions off its footprint, None where it says nothing."""
    if pattern.elevation is not None:
        return Elevation(tuple(a for a, _ in pattern.elevation), tuple(s for _, s in pattern.elevation))
    if pattern.beams is not None:
        return Beams(tuple(Beam(b.azimuth_deg, b.off_axis_deg, b.width_deg) for b in pattern.beams))
    return None


def reach_behind_of(pattern: PatternSpec) -> float | None:
    """Share of the reach behind the mounting plane: None for infrared, 0 where the entry says nothing."""
    if pattern.kind == "infrared":
        return None
    if pattern.front_to_back_db is not None:
        return share_behind(pattern.front_to_back_db)
    return pattern.reach_behind if pattern.reach_behind is not None else 0.0


def speeds_of(pattern: PatternSpec) -> SpeedBand | None:
    """The radial speeds that an entry answers to, None where it says nothing."""
    if pattern.speed is not None:
        return SpeedBand(pattern.speed.from_mps, pattern.speed.to_mps)
    if pattern.band_hz is not None and pattern.frequency_ghz is not None:
        return SpeedBand.of_doppler(*pattern.band_hz, pattern.frequency_ghz)
    return None


def footprints_of(pattern: PatternSpec, mounting: float, *, derive: bool = False) -> tuple[Footprint, ...]:
    """What an entry declares, resolved for a mounting height (m).

    `derive`: with the motions that a microwave entry does not declare.
    """
    footprints = resolve(declarations_of(pattern), mounting, directivity_of(pattern))
    return with_derived(footprints, speeds_of(pattern)) if derive and pattern.kind == "microwave" else footprints


def make_unit(
    detector: DetectorSpec, pattern: PatternSpec, floor: float, *, derive: bool = False, corrected_db: float = 0.0
) -> Unit:
    """A detector ready for casting, `floor` (m) the floor it is mounted above; `derive` as for `footprints_of`.

    `corrected_db` is what a scene's corrections add to its margin.
    """
    halves = tuple(_half(detector, part, derive=derive, corrected_db=corrected_db) for part in pattern.parts)
    last = halves[-1]
    return Unit(
        name=detector.name,
        title=getattr(pattern, "title", "own pattern"),
        kind=pattern.kind,
        frequency_ghz=last.frequency_ghz,
        position=np.array([*detector.at, floor + detector.mounting]),
        mounting=detector.mounting,
        rotation=unit_rotation(detector.turn_deg, detector.tilt_deg),
        turn_deg=detector.turn_deg,
        tilt_deg=detector.tilt_deg,
        footprints=tuple(f for half in halves for f in half.footprints),
        masks=masks_of([m for m in detector.masks if m.half is None]),
        reach_behind=last.reach_behind,
        speeds=last.speeds,
        sensitivity_pct=detector.sensitivity_pct,
        corrected_db=corrected_db,
        halves=halves if len(halves) > 1 else (),
        combine=detector.combine or pattern.combine or "or",
        trigger=detector.trigger or pattern.trigger or "infrared",
    )


def _half(detector: DetectorSpec, pattern: PatternSpec, *, derive: bool, corrected_db: float) -> Half:
    """What a pattern of one technology makes of a detector; of its masks those that name it."""
    setting = detector.sensitivity_pct
    if detector.microwave_pct is not None and pattern.kind == "microwave":
        setting = detector.microwave_pct
    footprints = footprints_of(pattern, detector.mounting, derive=derive)
    if setting != 100:
        footprints = tuple(with_gain(f, sensitivity_db(setting)) for f in footprints)
    if corrected_db:
        footprints = tuple(with_gain(f, corrected_db) for f in footprints)
    return Half(
        kind="infrared" if pattern.kind == "infrared" else "microwave",
        frequency_ghz=pattern.frequency_ghz,
        footprints=footprints,
        reach_behind=reach_behind_of(pattern),
        speeds=speeds_of(pattern),
        sensitivity_pct=setting,
        masks=masks_of([m for m in detector.masks if m.half == pattern.kind]),
    )

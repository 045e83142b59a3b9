"""Simulated infrared detectors: a unit with zones and a calibrated threshold, and a person followed past it.

    sensor = sensor_of(unit, pattern)
    trace = follow(sensor, Track.along([(0, 0, 0), (5, 0, 0)]), make_body("adult"), rays, ambient_c=20)
    trace.signal, trace.margin_db, trace.noticed

What the building hides is ray cast patch by patch, so half a body over a pallet gives half a signal. It is a model of
a detector, checked against no real one: walk-test before hand-over.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d
from scipy.spatial.transform import Rotation

from raycover.detectors import Unit, declarations_of
from raycover.errors import InputError, Position, Problem
from raycover.physics.body import WALKING_MPS, Body, make_body
from raycover.physics.calibration import (
    Calibration,
    CannotCalibrate,
    DeclaredTest,
    calibrate,
    lens_image,
)
from raycover.physics.lens import ResponseImage, Ring, Zones, generic_zones, outer_ring_deg, pair_pitch_deg
from raycover.physics.margin import to_local
from raycover.physics.microwave import sensitivity_db
from raycover.physics.pattern import MOTIONS, Declaration, Footprint, resolve
from raycover.physics.signal import band_pass, patch_signal, patch_strength
from raycover.physics.walks import time_step
from raycover.rays.ray_scene import RayScene
from raycover.scene.devices import PatternSpec
from raycover.scene.schema import Scene

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]
Pose = Literal["walk", "stand", "sit"]

#: Said with every result of this kind.
MODEL_CAUTION = "A simulated detector, checked against no real one: a prediction, walk-test before hand-over."
#: The clothed person of the model holds for these air temperatures (°C).
AMBIENT_RANGE_C = (0.0, 40.0)
#: Pulses count together when they come within this long (s) of each other (our assumption).
PULSE_WINDOW_S = 4.0
#: A person starts, stops and turns over about this long (s).
_EASE_S = 0.4
#: Rays are cast for so many patches at once.
_MOST_RAYS = 500_000


@dataclass(frozen=True)
class Edge:
    """Where a declared motion ends: `footprint` at the unit's mounting height, `plane` (m) it is declared on."""

    motion: str
    footprint: Footprint
    plane: float


@dataclass(frozen=True, eq=False)
class Sensor:
    """A unit with zones and a calibrated threshold.

    `image` is its lens with masks on; `edges` one a declared motion; `step_s` the time step that its height asks for;
    `generic` where the zones are derived from the footprint, not given; `tests` are what it was calibrated on.
    """

    unit: Unit
    zones: Zones
    image: ResponseImage
    calibration: Calibration
    edges: tuple[Edge, ...]
    step_s: float
    generic: bool
    tests: tuple[DeclaredTest, ...]

    @property
    def name(self) -> str:
        return self.unit.name

    def local(self, points: Floats) -> Floats:
        """Points (…, 3) of the building in the unit's frame."""
        return np.stack(to_local(self.unit.rotation, tuple(np.moveaxis(points - self.unit.position, -1, 0))), axis=-1)

    def terms(self, feet: Floats, heading_rad: Floats, *, seated: Bools | bool = False) -> tuple[Floats, Floats]:
        """Extra sensitivity (n,) in dB and how far out (n,), 1 on the declared edge, for people at `feet` (n, 3).

        Between walking across and toward, both go by the square of the cosine to the line of sight; a motion that is
        not declared takes those of the one that the threshold was found with. A sensitivity setting is in it, and a
        correction.
        """
        away = feet[:, :2] - self.unit.position[:2]
        distance = np.hypot(away[:, 0], away[:, 1])
        along = away[:, 0] * np.cos(heading_rad) + away[:, 1] * np.sin(heading_rad)
        toward = np.where(distance > 1e-9, (along / np.maximum(distance, 1e-9)) ** 2, 0.5)
        seated = np.broadcast_to(np.asarray(seated), distance.shape)
        offsets, outs = {}, {}
        setting_db = float(sensitivity_db(self.unit.sensitivity_pct)) + self.unit.corrected_db
        for motion in MOTIONS:
            offsets[motion] = self.calibration.offset_db.get(motion, 0.0) + setting_db
            outs[motion] = self._how_far(feet, self._edge(motion))
        mixed_db = (1 - toward) * offsets["tangential"] + toward * offsets["radial"]
        with np.errstate(divide="ignore", invalid="ignore"):
            mixed_out = outs["tangential"] ** (1 - toward) * outs["radial"] ** toward
        return np.where(seated, offsets["presence"], mixed_db), np.where(seated, outs["presence"], mixed_out)

    def _edge(self, motion: str) -> Edge:
        found = {edge.motion: edge for edge in self.edges}
        return found.get(motion, found[self.calibration.base])

    def _how_far(self, feet: Floats, edge: Edge) -> Floats:
        x, y, z = np.moveaxis(self.local(feet + np.array([0.0, 0.0, edge.plane])), -1, 0)
        flat, down = np.hypot(x, y), -z
        with np.errstate(divide="ignore", invalid="ignore"):
            radius = edge.footprint.shape.radius(np.where(flat > 0, x / flat, 1.0), np.where(flat > 0, y / flat, 0.0))
            out = np.where(flat > 0, (flat / down) / (radius / edge.footprint.drop), 0.0)
        return np.where(down > 0, out, np.inf)


def zones_of(pattern: PatternSpec, tests: Sequence[DeclaredTest]) -> tuple[Zones, bool]:
    """The lens that a pattern gives, or one derived from its footprint; whether it is derived."""
    given = pattern.zones
    if given is not None:
        rings = tuple(Ring(r.off_axis_deg, r.count, r.width_deg, r.height_deg, r.offset_deg) for r in given.rings)
        return Zones(rings, given.element, given.pulses), False
    widest = max(tests, key=lambda test: outer_ring_deg(test.footprint.largest_radius, test.mounting))
    pitch = pair_pitch_deg(getattr(pattern, "family", ""), widest.footprint, widest.mounting)
    return generic_zones(widest.footprint, widest.mounting, pitch), True


def declared_tests(declarations: tuple[Declaration, ...], mounting: float) -> tuple[DeclaredTest, ...]:
    """What is declared for a mounting height (m), each motion at the declared height nearest to it."""
    tests = []
    for motion in MOTIONS:
        heights = [d.mounting for d in declarations if d.motion == motion]
        if heights:
            at = float(np.clip(mounting, min(heights), max(heights)))
            (footprint,) = (f for f in resolve(declarations, at) if f.motion == motion)
            tests.append(DeclaredTest(footprint, at))
    return tuple(tests)


def sensor_of(unit: Unit, pattern: PatternSpec) -> Sensor:
    """The simulated detector of an infrared unit. Raises CannotCalibrate with the reason.

    Lens and threshold are those of the nearest declared mounting height: outside the declared heights the unit stays
    the same and only its height changes.
    """
    if unit.kind != "infrared":
        raise ValueError(f'"{unit.name}" is no infrared unit')
    declarations = declarations_of(pattern)
    tests = declared_tests(declarations, unit.mounting)
    zones, generic = zones_of(pattern, tests)
    calibration = calibrate(zones, tests)
    edges = []
    for footprint in unit.footprints:
        nearest = min(
            (d for d in declarations if d.motion == footprint.motion), key=lambda d: abs(d.mounting - unit.mounting)
        )
        plane = nearest.plane if footprint.extrapolated else unit.mounting - footprint.drop
        edges.append(Edge(footprint.motion, footprint, plane))
    image = lens_image(zones, tests).masked(unit.masks)
    return Sensor(unit, zones, image, calibration, tuple(edges), time_step(unit.mounting), generic, tests)


def turned_lenses(sensor: Sensor, n: int) -> tuple[Sensor, ...]:
    """The same unit with its zones turned by 0, 1/n, 2/n … of a zone, each calibrated; itself where zones are given.

    Where the zones of a derived lens fall nobody knows: what holds for all of these does not hang on it.
    """
    if not sensor.generic:
        return (sensor,)
    turned = [sensor]
    for k in range(1, n):
        rings = tuple(
            replace(ring, offset_deg=ring.offset_deg + k / n * 360 / ring.count) for ring in sensor.zones.rings
        )
        zones = replace(sensor.zones, rings=rings)
        image = lens_image(zones, sensor.tests).masked(sensor.unit.masks)
        turned.append(replace(sensor, zones=zones, image=image, calibration=calibrate(zones, sensor.tests)))
    return tuple(turned)


def sensors_of(scene: Scene, units: Sequence[Unit]) -> dict[str, Sensor]:
    """{name: simulated detector} of every infrared unit of a scene, and infrared half of a dual one.

    Raises InputError for all that cannot be.
    """
    found: dict[str, Sensor] = {}
    problems: list[Problem] = []
    for index, (spec, unit) in enumerate(zip(scene.detectors, units, strict=True)):
        part, pattern = unit.parts[0], scene.pattern_of(spec).parts[0]
        if part.kind != "infrared":
            continue
        try:
            found[part.name] = sensor_of(part, pattern)
        except CannotCalibrate as error:
            key = "pattern" if spec.pattern is not None else "model"
            problems.append(
                Problem(
                    "cannot-calibrate",
                    f'"{part.name}" cannot be simulated: {error}',
                    scene.position("detectors", index, key),
                    error.help,
                )
            )
    if problems:
        raise InputError(problems)
    return found


def check_ambient(ambient_c: float, position: Position | None = None) -> None:
    """Raise InputError for air temperatures at which the model's clothed person does not hold."""
    low, high = AMBIENT_RANGE_C
    if not low <= ambient_c <= high:
        raise InputError(
            [
                Problem(
                    "temperature-out-of-range",
                    f"the simulated detector holds for air of {low:g} to {high:g} °C, not {ambient_c:g} °C: outside it "
                    "people dress otherwise than the model's",
                    position or Position("ambient_c"),
                    "give a temperature within that range, or take the declared footprints: walk --declared",
                )
            ]
        )


@dataclass(frozen=True, eq=False)
class Track:
    """A way through the building: `time_s` (t,) even, `position` (t, 3) of the feet, `heading_rad` (t,), `moving` (t,).

    `pose`: walk (stands where it does not move), stand, or sit (an arm moves all the time).
    """

    time_s: Floats
    position: Floats
    heading_rad: Floats
    moving: Bools
    pose: Pose = "walk"

    @classmethod
    def along(
        cls,
        corners: Sequence[Sequence[float]],
        *,
        speed_mps: float = WALKING_MPS,
        stand_s: tuple[float, float] = (1.0, 1.0),
        step_s: float = 0.08,
    ) -> Track:
        """A walk along corners (k, 3) of the feet at one speed, standing before and after for `stand_s` seconds."""
        if not speed_mps > 0:
            raise ValueError("the speed must be above zero")
        points = np.asarray(corners, float).reshape(-1, 3)
        legs = np.linalg.norm(np.diff(points, axis=0), axis=1)
        reached = np.concatenate([[0], np.cumsum(legs)])
        n = max(int(np.ceil((sum(stand_s) + reached[-1] / speed_mps) / step_s)) + 1, 2)
        time = np.arange(n) * step_s
        way = np.clip((time - stand_s[0]) * speed_mps, 0, reached[-1])
        position = np.stack([np.interp(way, reached, points[:, axis]) for axis in range(3)], axis=1)
        leg = np.clip(np.searchsorted(reached, way, side="right") - 1, 0, len(legs) - 1)
        ahead = np.diff(points, axis=0)[leg]
        moving = (way > 0) & (way < reached[-1])
        return cls(time, position, np.arctan2(ahead[:, 1], ahead[:, 0]), moving)


@dataclass(frozen=True, eq=False)
class Trace:
    """One unit's answer to a person on a track, at the track's times (t,).

    `signal`: the amplifier's output in thresholds, with sign: the largest since the time before. `margin_db` 20·log10
    of its size, −inf beyond the declared edge. `pulses`: excursions beyond the threshold so far. `noticed`: the unit
    triggers. `visible`: share of the body's surface toward the unit that nothing hides.
    """

    time_s: Floats
    signal: Floats
    margin_db: Floats
    pulses: NDArray[np.int64]
    noticed: Bools
    visible: Floats


def follow(
    sensor: Sensor,
    track: Track,
    body: Body,
    rays: RayScene | None,
    ambient_c: float,
    *,
    gait_phase: float = 0.0,
    clipped: bool = True,
    background_c: float | None = None,
) -> Trace:
    """Follow a person along a track past one detector.

    `rays` None: nothing in the way. `gait_phase` (rad) at the start. `clipped`: beyond the declared edge nothing
    counts. `background_c`: what stands behind the person, the air's temperature if not given. Raises InputError for
    air outside `AMBIENT_RANGE_C`.
    """
    check_ambient(ambient_c)
    fine = _resampled(track, sensor.step_s)
    raw, visible = _raw(sensor, fine, body, rays, ambient_c, gait_phase, background_c)
    offset_db, out = sensor.terms(fine.position, fine.heading_rad, seated=track.pose == "sit")
    signal = band_pass(raw, fine.step_s) / (sensor.calibration.threshold * 10 ** (-offset_db / 20))
    if clipped:
        signal = np.where(out <= 1 + 1e-9, signal, 0.0)
    level = np.where(np.abs(signal) >= 1, np.sign(signal), 0)
    begins = (level != 0) & (level != np.concatenate([[0], level[:-1]]))
    running = np.cumsum(begins)
    window = max(round(PULSE_WINDOW_S / fine.step_s), 1)
    recent = running - np.concatenate([np.zeros(window, int), running])[: len(running)]
    noticed = (level != 0) & (recent >= sensor.zones.n_pulses)
    # Back to the track's own times: what stands between two of them is kept by its largest.
    m, t = fine.n_between, len(track.time_s)
    index = np.concatenate([np.zeros(m - 1, int), np.arange(len(signal))]).reshape(t, m)
    largest = index[np.arange(t), np.abs(signal)[index].argmax(axis=1)]
    with np.errstate(divide="ignore"):
        margin = 20 * np.log10(np.abs(signal[largest]))
    ends = index[:, -1]
    return Trace(track.time_s, signal[largest], margin, running[ends], noticed[index].any(axis=1), visible[ends])


@dataclass(frozen=True, eq=False)
class _Fine:
    """A track at the detector's own time step; `amplitude` how much of the gait there is."""

    time_s: Floats
    position: Floats
    heading_rad: Floats
    amplitude: Floats
    pose: Pose
    step_s: float
    n_between: int


def _resampled(track: Track, step_s: float) -> _Fine:
    steps = np.diff(track.time_s)
    if len(steps) == 0 or not np.allclose(steps, steps[0], rtol=1e-3, atol=1e-6) or steps[0] <= 0:
        raise ValueError("a track needs two times or more, evenly spaced and rising")
    m = max(int(np.ceil(steps[0] / step_s - 1e-6)), 1)
    fine = float(steps[0]) / m
    time = track.time_s[0] + np.arange((len(track.time_s) - 1) * m + 1) * fine

    def at(values: Floats) -> Floats:
        return np.interp(time, track.time_s, values)

    ease = max(round(_EASE_S / fine), 1)
    position = np.stack([at(track.position[:, axis]) for axis in range(3)], axis=1)
    heading = uniform_filter1d(at(np.unwrap(track.heading_rad)), ease, mode="nearest")
    amplitude = uniform_filter1d(at(np.asarray(track.moving, float)), ease, mode="nearest")
    if track.pose == "stand":
        amplitude = np.zeros_like(amplitude)
    return _Fine(time, position, heading, amplitude, track.pose, fine, m)


def _raw(
    sensor: Sensor, fine: _Fine, body: Body, rays: RayScene | None, ambient_c: float, gait_phase: float,
    background_c: float | None,
) -> tuple[Floats, Floats]:  # fmt: skip
    """Signal (t,) before the amplifier, W/m², and the visible share (t,) of what faces the unit."""
    if fine.pose == "sit":
        body = body.seated if body.seated is not None else make_body("seated", 210)
    if body.cycle_m:
        travelled = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(fine.position, axis=0), axis=1))])
        phase = gait_phase + 2 * np.pi * travelled / body.cycle_m
        amplitude = fine.amplitude
    else:
        phase = gait_phase + 2 * np.pi * (fine.time_s - fine.time_s[0]) / body.cycle_s
        amplitude = np.ones_like(phase)
    strength = patch_strength(body, ambient_c, background_c)
    raw, visible = np.zeros(len(phase)), np.ones(len(phase))
    size = max(_MOST_RAYS // body.n_patches, 1)
    for start in range(0, len(phase), size):
        part = slice(start, start + size)
        place, normal = body.pose(phase[part], amplitude[part])
        turn = Rotation.from_euler("z", fine.heading_rad[part, None]).as_matrix()
        place = fine.position[part, None] + np.einsum("tij,tnj->tni", turn, place)
        normal = np.einsum("tij,tnj->tni", turn, normal)
        sight = place - sensor.unit.position
        facing = np.maximum(-np.einsum("tni,tni->tn", sight, normal), 0) / np.linalg.norm(sight, axis=-1)
        seen = facing > 0
        if rays is not None:
            rows, columns = np.nonzero(seen)
            blocked = rays.infrared_blocked(
                rays.segments(sensor.unit.position, place[rows, columns], sensor.unit.ahead)
            )
            seen[rows, columns] = ~blocked
        local = sensor.local(place)
        value = patch_signal(sensor.image, local, normal @ sensor.unit.rotation, strength)
        raw[part] = (value * seen).sum(axis=1)
        shown = (facing * body.area).sum(axis=1)
        visible[part] = (facing * body.area * seen).sum(axis=1) / np.maximum(shown, 1e-12)
    return raw, visible

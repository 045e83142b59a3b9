"""People as patches: a walking adult, a child, someone seated who moves an arm, a wheelchair user.

Cylinders about a chain of joints, their sides and ends cut into patches. Patches that face away are not seen
(the outward normal says so); one limb in front of another is not told apart.

Dimensions: stature 1.740 m, seat to shoulder 0.595 m, popliteal 0.440 m are a British man's of the 50th
percentile [V]; heights of joints are shares of stature after Drillis and Contini as textbooks of biomechanics
give them [M]; girths and the swing of limbs are ours, chosen so that the skin's area comes near the
1.9 m² of Du Bois' formula [M]. The small-motion arm, 76 × 76 × 381 mm at 0.914 m and 90°/s, is that of
NEMA WD 7 [2nd].
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Kind = Literal["adult", "child", "seated", "wheelchair"]
KINDS: tuple[Kind, ...] = ("adult", "child", "seated", "wheelchair")

#: Walking speed, m/s: 1.22 ± 0.15 in the test of NEMA WD 7 [2nd].
WALKING_MPS = 1.22
#: Two steps of an adult, m, at that speed [M].
STRIDE_M = 1.40
#: The small-motion arm: square side and length (m), height (m), turning rate (deg/s) and swept angle (NEMA WD 7 [2nd]).
ARM_SIDE_M, ARM_LENGTH_M, ARM_HEIGHT_M, ARM_DEG_PER_S, ARM_SWEEP_DEG = 0.076, 0.381, 0.914, 90.0, 90.0
#: From this mounting height (m) up 54 patches do; below, 210 (their error there is 3 dB and more).
FINE_BELOW_M = 8.0

#: Poses: the phase of the gait or arm (t,) rad and how much of the movement there is (t,), to rotations and places.
_Joints = Callable[[Floats, Floats], "tuple[Floats, Floats]"]


@dataclass(frozen=True, eq=False)
class Body:
    """A person in n patches.

    `area` (n,) m², `bare` (n,) share of each patch that is skin, `moves` (n,) False for what rests while the
    person is seated, `height` (m) of the whole. `cycle_m`: way of one cycle of the gait, 0 for who does not walk;
    `cycle_s`: time of one cycle of an arm, 0 for who walks. `seated`: the same person sitting, if there is one.
    """

    kind: Kind
    area: Floats
    bare: Floats
    moves: NDArray[np.bool_]
    height: float
    cycle_m: float
    cycle_s: float
    seated: Body | None
    _part: NDArray[np.intp]
    _offset: Floats
    _normal: Floats
    _joints: _Joints

    @property
    def n_patches(self) -> int:
        return len(self.area)

    def pose(self, phase: Floats, amplitude: Floats | float = 1.0) -> tuple[Floats, Floats]:
        """Places and outward normals (t, n, 3) of the patches at phases (t,) rad.

        The origin lies on the floor below the body, x ahead, y to the left. `amplitude` 0 stands still.
        """
        phase = np.atleast_1d(np.asarray(phase, float))
        turn, origin = self._joints(phase, np.broadcast_to(np.asarray(amplitude, float), phase.shape))
        turned = turn[:, self._part]
        place = origin[:, self._part] + np.einsum("tnij,nj->tni", turned, self._offset)
        return place, np.einsum("tnij,nj->tni", turned, self._normal)


@dataclass(frozen=True)
class _Part:
    """A cylinder from its joint along its own −z (or +z where `length` < 0): half axes in x and y."""

    length: float
    half_x: float
    half_y: float
    n_round: int
    n_along: int
    bare: float = 0.0
    top: bool = False
    bottom: bool = False


@lru_cache(maxsize=16)
def make_body(kind: Kind = "adult", n_patches: int = 210) -> Body:
    """A person of 54 or 210 patches (walkers), fewer or more for those who sit."""
    if n_patches not in (54, 210):
        raise ValueError(f"bodies have 54 or 210 patches, not {n_patches!r}")
    fine = n_patches == 210
    if kind == "adult":
        return _walker("adult", 1.740, 1.0, STRIDE_M, fine, _seated("seated", fine))
    if kind == "child":
        # About five years: stature 1.10 m, head larger in proportion [M].
        return _walker("child", 1.100, 1.35, STRIDE_M * 1.10 / 1.74, fine, None)
    if kind in ("seated", "wheelchair"):
        return _seated(kind, fine)
    raise ValueError(f"kind must be one of {', '.join(KINDS)}, not {kind!r}")


def _rotation(angle: Floats, axis: str) -> Floats:
    """(t, 3, 3). About y a positive angle swings what hangs down ahead; about z anticlockwise."""
    cos, sin, one, none = np.cos(angle), np.sin(angle), np.ones_like(angle), np.zeros_like(angle)
    rows = [[cos, none, -sin], [none, one, none], [sin, none, cos]]
    if axis == "z":
        rows = [[cos, -sin, none], [sin, cos, none], [none, none, one]]
    return np.moveaxis(np.array(rows), -1, 0)


def _walker(kind: Kind, stature: float, head: float, stride: float, fine: bool, seated: Body | None) -> Body:
    h = stature / 1.740
    limb = (6, 3) if fine else (4, 1)
    thigh, shank, foot = 0.245 * stature, 0.246 * stature, 0.039 * stature
    upper, lower = 0.186 * stature, 0.254 * stature  # the hand counts with the forearm
    trunk, neck = 0.288 * stature, 0.182 * stature
    parts = [
        _Part(-trunk, 0.115 * h, 0.165 * h, *((10, 4) if fine else (6, 2)), top=True),
        _Part(-neck, 0.085 * h * head, 0.075 * h * head, *((8, 2) if fine else (4, 1)), bare=0.75, top=True),
    ]
    for _ in (1, -1):
        parts += [
            _Part(thigh, 0.078 * h, 0.078 * h, *limb),
            _Part(shank, 0.052 * h, 0.052 * h, *limb),
            _Part(0.152 * stature, 0.030 * h, 0.045 * h, 3 if fine else 1, 1),
            _Part(upper, 0.046 * h, 0.046 * h, *limb, top=True),
            _Part(lower, 0.036 * h, 0.036 * h, *limb, bare=0.35),
        ]
    hip_side, shoulder_side = 0.085 * h, 0.205 * h

    def joints(phase: Floats, amplitude: Floats) -> tuple[Floats, Floats]:
        t = len(phase)
        turn, origin = np.zeros((t, len(parts), 3, 3)), np.zeros((t, len(parts), 3))
        legs = []
        for side in (1, -1):
            swing = side * np.sin(phase) * np.radians(25) * amplitude
            # The knee bends while its leg swings ahead.
            knee = (np.radians(5) + np.radians(50) * np.maximum(side * np.cos(phase), 0) ** 2) * amplitude
            arm = -side * np.sin(phase) * np.radians(22) * amplitude
            legs.append((side, swing, swing - knee, arm))
        drops = [thigh * np.cos(a) + shank * np.cos(b) + foot for _, a, b, _ in legs]
        hip = np.maximum(*drops)
        up = np.stack([np.zeros(t), np.zeros(t), np.ones(t)], axis=1)
        turn[:, :2] = np.eye(3)
        origin[:, 0] = hip[:, None] * up
        origin[:, 1] = (hip + trunk)[:, None] * up
        for index, (side, a, b, arm) in enumerate(legs):
            k = 2 + 5 * index
            sideways = np.array([0.0, side * hip_side, 0.0])
            knee_at = hip[:, None] * up + sideways + _hanging(thigh, a)
            ankle = knee_at + _hanging(shank, b)
            turn[:, k], origin[:, k] = _rotation(a, "y"), hip[:, None] * up + sideways
            turn[:, k + 1], origin[:, k + 1] = _rotation(b, "y"), knee_at
            # The foot: a cylinder along the ground, its heel a quarter of it behind the ankle.
            sole = b + np.pi / 2
            below = _hanging(foot - 0.030 * h, b) - _hanging(0.25 * 0.152 * stature, sole)
            turn[:, k + 2], origin[:, k + 2] = _rotation(sole, "y"), ankle + below
            shoulder = (hip + trunk)[:, None] * up + np.array([0.0, side * shoulder_side, -0.03 * h])
            elbow = shoulder + _hanging(upper, arm)
            turn[:, k + 3], origin[:, k + 3] = _rotation(arm, "y"), shoulder
            bent = arm + np.radians(20)
            turn[:, k + 4], origin[:, k + 4] = _rotation(bent, "y"), elbow
        return turn, origin

    offset, normal, area, bare, part = _patches(parts)
    moves = np.ones(len(area), bool)
    return Body(kind, area, bare, moves, stature, stride, 0.0, seated, part, offset, normal, joints)


def _hanging(length: float, angle: Floats) -> Floats:
    """(t, 3): from a joint to the far end of what hangs from it at an angle ahead."""
    return length * np.stack([np.sin(angle), np.zeros_like(angle), -np.cos(angle)], axis=1)


def _seated(kind: Kind, fine: bool) -> Body:
    """An adult on a chair who swings the small-motion arm; in a wheelchair, both arms push its wheels."""
    seat = 0.440 if kind == "seated" else 0.500  # a wheelchair's seat lies a little higher [M]
    shoulder = seat + 0.595
    limb = (6, 3) if fine else (4, 1)
    upper, lower, trunk, head = 0.186 * 1.74, 0.254 * 1.74, 0.595 - 0.05, 0.182 * 1.74
    parts = [
        _Part(-trunk, 0.115, 0.165, *((10, 4) if fine else (6, 2)), top=True),
        _Part(-head, 0.085, 0.075, *((6, 2) if fine else (4, 1)), bare=0.75, top=True),
    ]
    for _ in (1, -1):
        parts += [_Part(0.42, 0.078, 0.078, *limb), _Part(0.42, 0.052, 0.052, *limb)]
    arms = 2 if kind == "wheelchair" else 1
    for _ in range(arms):
        parts += [_Part(upper, 0.046, 0.046, *limb), _Part(lower, 0.036, 0.036, *limb, bare=0.35)]
    n_still = 6
    if kind == "seated":
        # A bar of 76 mm side as a cylinder of the same girth; the last patches are its own.
        girth = 4 * ARM_SIDE_M / (2 * np.pi)
        parts.append(_Part(ARM_LENGTH_M, girth, girth, *((8, 4) if fine else (6, 2)), bare=0.35, top=True, bottom=True))
        n_still = 8

    def joints(phase: Floats, amplitude: Floats) -> tuple[Floats, Floats]:
        t = len(phase)
        turn, origin = np.zeros((t, len(parts), 3, 3)), np.zeros((t, len(parts), 3))
        turn[:, :2] = np.eye(3)
        origin[:, 0, 2], origin[:, 1, 2] = seat + 0.05, shoulder
        for index, side in enumerate((1, -1)):
            k = 2 + 2 * index
            turn[:, k], origin[:, k] = _rotation(np.full(t, np.pi / 2), "y"), [0.0, side * 0.085, seat + 0.08]
            turn[:, k + 1], origin[:, k + 1] = np.eye(3), [0.42, side * 0.085, seat + 0.02]
        # A triangle between −1 and 1: a steady turn one way, then back.
        sweep = (2 / np.pi) * np.arcsin(np.sin(phase)) * amplitude
        for index, side in enumerate((1, -1) if arms == 2 else (1,)):
            k = 6 + 2 * index
            ahead = np.radians(25) * sweep if arms == 2 else np.zeros(t)
            bent = ahead + np.radians(60)
            at = np.broadcast_to(np.array([0.0, side * 0.205, shoulder - 0.03]), (t, 3))
            turn[:, k], origin[:, k] = _rotation(ahead, "y"), at
            turn[:, k + 1], origin[:, k + 1] = _rotation(bent, "y"), at + _hanging(upper, ahead)
        if kind == "seated":
            level = _rotation(np.full(t, np.pi / 2), "y")
            turn[:, -1] = _rotation(np.radians(ARM_SWEEP_DEG / 2) * sweep, "z") @ level
            origin[:, -1] = [0.05, -0.205, ARM_HEIGHT_M]
        return turn, origin

    offset, normal, area, bare, part = _patches(parts)
    moves = part >= n_still
    period = 2 * ARM_SWEEP_DEG / ARM_DEG_PER_S
    stroke = 0.9 if kind == "wheelchair" else 0.0  # way of one push of the wheels [M]
    return Body(
        kind, area, bare, np.ones_like(moves) if stroke else moves, shoulder + head, stroke, 0.0 if stroke else period,
        None, part, offset, normal, joints,
    )  # fmt: skip


def _patches(parts: list[_Part]) -> tuple[Floats, Floats, Floats, Floats, NDArray[np.intp]]:
    """Places and normals (n, 3) in the parts' own frames, areas and bare shares (n,), part (n,)."""
    places, normals, areas, bare, owner = [], [], [], [], []
    for index, one in enumerate(parts):
        angle = 2 * np.pi * (np.arange(one.n_round) + 0.5) / one.n_round
        sign = np.sign(one.length)
        depth = (np.arange(one.n_along) + 0.5) / one.n_along
        a, b = one.half_x, one.half_y
        # Area of each strip by its arc, summed finely; normals of an ellipse.
        fine = np.linspace(0, 2 * np.pi, 360 * one.n_round, endpoint=False)
        arc = np.hypot(a * np.sin(fine), b * np.cos(fine)).reshape(one.n_round, 360).sum(axis=1) * (fine[1] - fine[0])
        outward = np.stack([np.cos(angle) * b, np.sin(angle) * a, 0 * angle], axis=1)
        outward /= np.linalg.norm(outward, axis=1, keepdims=True)
        ring = np.stack([a * np.cos(angle), b * np.sin(angle), 0 * angle], axis=1)
        place = np.repeat(ring[None], one.n_along, axis=0)
        place[..., 2] -= depth[:, None] * one.length
        places.append(place.reshape(-1, 3))
        normals.append(np.tile(outward, (one.n_along, 1)))
        areas.append(np.tile(arc * abs(one.length) / one.n_along, one.n_along))
        ends = [(one.top, 0.0 if sign > 0 else -one.length, 1.0), (one.bottom, -one.length, -1.0)]
        for there, z, up in ends:
            if there:
                places.append(np.array([[0, 0, z]]))
                normals.append(np.array([[0, 0, up]]))
                areas.append(np.array([np.pi * a * b]))
        count = one.n_round * one.n_along + sum(there for there, _, _ in ends)
        # A slip of skin is at the far end (hands); a head is bare all over but for hair.
        bare.append(np.full(count, one.bare))
        owner.append(np.full(count, index))
    return (
        np.concatenate(places), np.concatenate(normals), np.concatenate(areas),
        np.concatenate(bare), np.concatenate(owner).astype(np.intp),
    )  # fmt: skip

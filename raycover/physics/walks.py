"""Short walks and seated arms as poses over time, turned to every heading and into a unit's frame."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raycover.physics.body import FINE_BELOW_M, WALKING_MPS, Body, Kind, make_body
from raycover.physics.signal import FAR_STEP_S, NEAR_STEP_S, Walks, patch_strength

Floats = NDArray[np.floating]

#: Length (m) of a walk of the declared test (our assumption).
TEST_WALK_M = 2.0
#: A seated person moves an arm for this long (s): later swings repeat the first.
ARM_TEST_S = 4.0


def time_step(mounting: float) -> float:
    """Time step (s) by mounting height (m)."""
    return NEAR_STEP_S if mounting < FINE_BELOW_M else FAR_STEP_S


def body_for(kind: Kind, mounting: float) -> Body:
    """A body as fine as a mounting height (m) asks for."""
    return make_body(kind, 210 if mounting < FINE_BELOW_M else 54)


def walks_of(
    body: Body,
    headings_rad: Sequence[float] | Floats,
    phases_rad: Sequence[float] | Floats,
    *,
    ambient_c: float,
    step_s: float,
    length_m: float = TEST_WALK_M,
    speed_mps: float = WALKING_MPS,
    rotation: Floats | None = None,
    lanes_m: Sequence[float] | Floats = (0.0,),
    n_levels: int = 8,
    level_top_m: float = 1.75,
) -> Walks:
    """Straight walks about a middle, one a heading, lane and phase, in that order (phase runs fastest).

    `rotation` (3, 3): the unit's axes as columns; lanes lie to the left of the middle (m).
    """
    n_steps = max(int(np.ceil(length_m / speed_mps / step_s - 1e-9)) + 1, 2)
    along = (np.arange(n_steps) - (n_steps - 1) / 2) * step_s * speed_mps
    phases = [2 * np.pi * along / body.cycle_m + phase for phase in phases_rad]
    posed = [body.pose(phase) for phase in phases]
    place = np.stack([p for p, _ in posed])
    place[..., 0] += along[None, :, None]
    place = np.stack([place + np.array([0.0, lane, 0.0]) for lane in lanes_m])
    normal = np.stack([np.stack([n for _, n in posed])] * len(lanes_m))
    return _turned(body, place, normal, headings_rad, ambient_c, step_s, rotation, n_levels, level_top_m)


def arms_of(
    body: Body,
    headings_rad: Sequence[float] | Floats,
    *,
    ambient_c: float,
    step_s: float,
    rotation: Floats | None = None,
    n_levels: int = 8,
    level_top_m: float = 1.75,
) -> Walks:
    """Someone seated who moves an arm, one a heading; what rests is left out, since nothing of it passes the band."""
    time = np.arange(int(np.ceil(ARM_TEST_S / step_s))) * step_s
    place, normal = body.pose(2 * np.pi * time / body.cycle_s)
    place, normal = place[:, body.moves], normal[:, body.moves]
    made = _turned(
        body, place[None, None], normal[None, None], headings_rad, ambient_c, step_s, rotation, n_levels, level_top_m
    )
    return Walks(made.place, made.normal, made.level, made.strength[body.moves], step_s)


def _turned(
    body: Body, place: Floats, normal: Floats, headings: Sequence[float] | Floats, ambient_c: float, step_s: float,
    rotation: Floats | None, n_levels: int, level_top_m: float,
) -> Walks:  # fmt: skip
    """Poses (lanes, phases, t, n, 3) turned to every heading and into the unit's frame, as (k, t, n, 3)."""
    angle = np.asarray(headings, float)
    cos, sin, none, one = np.cos(angle), np.sin(angle), np.zeros_like(angle), np.ones_like(angle)
    turn = np.moveaxis(np.array([[cos, -sin, none], [sin, cos, none], [none, none, one]]), -1, 0)
    if rotation is not None:
        turn = rotation.T @ turn
    level = np.clip(place[..., 2] / level_top_m * n_levels, 0, n_levels - 1).astype(np.uint8)
    shape = (-1, *place.shape[-3:])
    return Walks(
        _all_turned(place, turn).reshape(shape),
        _all_turned(normal, turn).reshape(shape),
        np.ascontiguousarray(np.broadcast_to(level, (len(angle), *level.shape)).reshape(shape[:-1])),
        patch_strength(body, ambient_c),
        step_s,
    )


def _all_turned(vectors: Floats, turn: Floats) -> NDArray[np.float32]:
    """Vectors (…, 3) by every rotation (h, 3, 3), as (h, k, 3) float32."""
    return np.ascontiguousarray(vectors.reshape(-1, 3).astype(np.float32) @ turn.transpose(0, 2, 1).astype(np.float32))

"""Tracks: hand-worked times, rounded corners, poses."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from raycover.walking.kinematics import POSES, SIT, STAND, WALK, make_track, rounded, settled
from raycover.walking.ways import Way


def way(points: list[tuple[float, float]], speed: float = 1.2, **more: object) -> Way:
    line = np.column_stack([np.array(points, float), np.zeros(len(points))])
    return Way("A", "A", line, speed, **more)  # type: ignore[arg-type]


def test_a_straight_walk() -> None:
    """[C] 6 m at 1.2 m/s: 5 s, 125 steps of 0.04 s."""
    track = make_track(way([(0, 0), (6, 0)]))
    assert track.seconds == pytest.approx(5.0)
    assert len(track.time_s) == 126
    np.testing.assert_allclose(track.position[:, 0], 1.2 * track.time_s, atol=1e-9)
    assert not track.heading_rad.any()
    assert track.moving.all()


def test_pauses_and_a_seat_at_the_end() -> None:
    """[C] 6 m at 1.5 m/s with 3 s at 3 m and 10 s seated: 4 + 3 + 10 s."""
    track = make_track(way([(0, 0), (6, 0)], 1.5, pauses=((3.0, 3.0),), seated_s=10.0, heading_deg=90.0))
    assert track.seconds == pytest.approx(17.0)
    at = {pose: track.pose == k for k, pose in enumerate(POSES)}
    assert at["stand"].sum() * 0.04 == pytest.approx(3.0, abs=0.041)
    assert at["sit"].sum() * 0.04 == pytest.approx(10.0, abs=0.041)
    np.testing.assert_allclose(track.position[at["stand"], 0], 3.0)
    np.testing.assert_allclose(track.heading_rad[at["sit"]], np.pi / 2)
    assert not track.moving[at["stand"] | at["sit"]].any()
    assert [WALK, STAND, SIT] == [0, 1, 2]


def test_a_right_angle_is_an_arc() -> None:
    """[C] Two stretches of 4 m, radius 0.35 m: the arc of 0.55 m takes the place of 0.7 m; heading turns evenly."""
    line = rounded(np.array([[0.0, 0], [4, 0], [4, 4]]), 0.35)
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert length == pytest.approx(8 - 0.7 + 0.35 * np.pi / 2, abs=2e-3)
    arc = line[1:-1]
    np.testing.assert_allclose(np.linalg.norm(arc - [3.65, 0.35], axis=1), 0.35, atol=1e-9)
    track = make_track(way([(0, 0), (4, 0), (4, 4)]))
    turn = np.diff(track.heading_rad)
    assert (turn > -1e-9).all()
    assert turn.max() < 0.04 * 1.2 / 0.35 * 1.6
    assert track.heading_rad[-1] == pytest.approx(np.pi / 2)


@given(
    st.lists(st.tuples(st.floats(-20, 20), st.floats(-20, 20)), min_size=2, max_size=8),
    st.floats(0.1, 3),
)
def test_nobody_is_faster_than_their_speed(points: list[tuple[float, float]], speed: float) -> None:
    track = make_track(way(points, speed))
    steps = np.linalg.norm(np.diff(track.position, axis=0), axis=1)
    assert steps.max(initial=0.0) <= speed * 0.04 + 1e-9
    np.testing.assert_allclose(track.position[0, :2], points[0], atol=1e-9)
    np.testing.assert_allclose(track.position[-1, :2], points[-1], atol=1e-9)
    assert np.isfinite(track.heading_rad).all()


def test_no_speed_no_track() -> None:
    with pytest.raises(ValueError, match="above zero"):
        make_track(way([(0, 0), (1, 0)], 0.0))


def test_a_step_on_a_threshold_enters_no_room() -> None:
    room = np.array([2, 2, 0] + [1] * 10 + [0] + [1] * 5 + [3], np.int32)
    assert settled(room, 0.1).tolist() == [1] * 20
    assert settled(np.array([4, 4], np.int32), 0.04).tolist() == [4, 4]

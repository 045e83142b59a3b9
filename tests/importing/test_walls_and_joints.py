"""Centre lines of footprints and the joints between them: plain geometry with known answers."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from raycover.importing.joints import join, part_coincident
from raycover.importing.walls import Wall, centre_line, footprint_of, put_in_one_piece, split_profile


def turned(ring: list[tuple[float, float]], degrees: float) -> shapely.Polygon:
    return shapely.affinity.rotate(shapely.Polygon(ring), degrees, origin=(0, 0))


def wall(name: str, *line: tuple[float, float], thickness: float = 0.2, base: float = 0.0, top: float = 3.0) -> Wall:
    return Wall(name, np.array(line, float), base, top, thickness, "brick-100")


@settings(max_examples=60)
@given(st.floats(0.3, 30), st.floats(0.03, 0.25), st.floats(0, 180), st.floats(-0.9, 0.9), st.floats(-0.9, 0.9))
def test_a_straight_wall_cut_at_any_angle(length: float, thick: float, turn: float, left: float, right: float) -> None:
    """Mitred ends: the line runs through the middle, as long as the longer side."""
    a, b = min(left, 0.4 * length / thick) * thick / 2, min(right, 0.4 * length / thick) * thick / 2
    ring = [(a, -thick / 2), (length - b, -thick / 2), (length + b, thick / 2), (-a, thick / 2)]
    found = centre_line(turned(ring, turn))
    assert found is not None
    assert found.thickness == pytest.approx(thick, abs=1e-6)
    assert not found.note
    back = shapely.get_coordinates(shapely.affinity.rotate(shapely.LineString(found.line), -turn, origin=(0, 0)))
    assert np.abs(back[:, 1]).max() < 1e-6
    assert sorted(back[:, 0]) == pytest.approx([-abs(a), length + abs(b)], abs=1e-6)


def test_a_pier_shorter_than_thick_is_told_by_its_layers() -> None:
    pier = shapely.box(0, 0, 0.2, 0.4)
    assert centre_line(pier).thickness == pytest.approx(0.2)
    assert centre_line(pier, 0.4).thickness == pytest.approx(0.4)
    assert np.ptp(centre_line(pier, 0.4).line[:, 0]) == pytest.approx(0.2)


def test_bent_round_and_closed_walls() -> None:
    bent = shapely.Polygon([(0, 0), (4, 0), (4, 3), (3.8, 3), (3.8, 0.2), (0, 0.2)])
    found = centre_line(bent)
    line = found.line if found.line[0][0] < 1 else found.line[::-1]
    assert line == pytest.approx(np.array([[0, 0.1], [3.9, 0.1], [3.9, 3]]))
    assert found.thickness == pytest.approx(0.2, rel=0.03)
    assert "bent" in found.note
    drum = shapely.Point(0, 0).buffer(5.1, quad_segs=32).difference(shapely.Point(0, 0).buffer(4.9, quad_segs=32))
    found = centre_line(drum)
    assert (found.line[0] == found.line[-1]).all()
    assert np.hypot(*found.line.T) == pytest.approx(np.full(len(found.line), 5), abs=0.02)
    assert centre_line(shapely.Polygon()) is None
    blob = shapely.Polygon([(0, 0), (3, 0.5), (1.4, 1.2), (0.2, 2.5)])
    assert "taken as one straight wall" in centre_line(blob).note


def test_the_footprint_of_a_box_of_triangles() -> None:
    import trimesh

    box = trimesh.creation.box((2, 0.2, 3))
    found = footprint_of(np.asarray(box.vertices), np.asarray(box.faces))
    assert found.equals(shapely.box(-1, -0.1, 1, 0.1))
    upright = np.array([[0, 0, 0], [2, 0, 0], [2, 0.0, 3.0]])  # nothing lies flat
    assert footprint_of(upright, np.array([[0, 1, 2]])).length == pytest.approx(2)


def test_profiles() -> None:
    assert split_profile(shapely.box(0, 1, 5, 4)) == (1, 4, [])
    gable = shapely.Polygon([(0, 0), (6, 0), (6, 2.5), (3, 4), (0, 2.5)])
    bottom, top, (piece,) = split_profile(gable)
    assert (bottom, top) == (0, 2.5)
    assert shapely.Polygon(piece).area == pytest.approx(4.5)
    triangle = shapely.Polygon([(0, 0), (6, 0), (3, 4)])
    bottom, top, (piece,) = split_profile(triangle)
    assert bottom == top
    assert shapely.Polygon(piece).area == pytest.approx(12)
    stepped = shapely.Polygon([(0, 0), (6, 0), (6, 2), (3, 2), (3, 3), (0, 3)])
    bottom, top, (piece,) = split_profile(stepped)
    assert (bottom, top) == (0, 2)
    assert shapely.Polygon(piece).equals(shapely.box(0, 2, 3, 3))


def test_an_opening_gets_one_straight_piece() -> None:
    angles = np.linspace(0, np.pi / 2, 9)
    line = np.stack([5 * np.cos(angles), 5 * np.sin(angles)], axis=1)
    cut = put_in_one_piece(line, 2.0, 3.2)
    lengths = np.linalg.norm(np.diff(cut, axis=0), axis=1)
    assert lengths.max() == pytest.approx(1.2, rel=0.02)


@pytest.mark.parametrize("turn", [0, 17, 90, 201])
def test_butt_joints_meet_at_centre_lines(turn: float) -> None:
    """A corner (one wall runs through), a T, and a wall drawn 20 mm short."""
    lines = [((-0.1, 0), (6.1, 0)), ((0, 0.1), (0, 4)), ((3, 0.1), (3, 2)), ((6, 0.12), (6, 4))]
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    spin = np.array([[c, s], [-s, c]])
    walls = [Wall(str(k), np.array(line, float) @ spin, 0, 3, 0.2) for k, line in enumerate(lines)]
    assert join(walls) == 5
    back = [np.round(w.line @ spin.T, 5) + 0.0 for w in walls]
    assert back[0].tolist() == [[0, 0], [6, 0]]
    assert back[1].tolist() == [[0, 0], [0, 4]]
    assert back[2] == pytest.approx(np.array([[3, 0], [3, 2]]), abs=6e-4)
    assert back[3].tolist() == [[6, 0], [6, 4]]


def test_what_does_not_meet_stays() -> None:
    walls = [
        wall("a", (0, 0), (6, 0)),
        wall("far", (3, 0.5), (3, 2)),
        wall("above", (4, 0.1), (4, 2), base=3, top=6),
        wall("through", (5, -2), (5, 2)),
    ]
    before = [w.line.copy() for w in walls]
    assert join(walls) == 0
    assert all((w.line == b).all() for w, b in zip(walls, before, strict=True))


def test_a_wall_that_goes_on_thicker_is_closed_across() -> None:
    """Flush on one face: 200 mm goes on as 100 mm, the lines 50 mm apart."""
    walls = [wall("thick", (0, 0), (3, 0)), wall("thin", (3, 0.05), (6, 0.05), thickness=0.1)]
    assert join(walls) == 2
    assert walls[0].line.tolist() == [[0, 0], [3, 0], [3, 0.05]]
    gap = [wall("one", (0, 0), (2.99, 0)), wall("two", (3, 0), (6, 0))]
    join(gap)
    assert gap[0].line.tolist() == [[0, 0], [3, 0]]


def test_doubles_go_and_overlaps_move() -> None:
    walls = [wall("a", (0, 0), (6, 0)), wall("inside", (1, 0), (3, 0)), wall("over", (5, 0), (8, 0)),
             wall("on top", (0, 0), (6, 0), base=3, top=6)]  # fmt: skip
    walls[2].construction = "brick-215"
    kept, said = part_coincident(walls)
    assert [w.name for w in kept] == ["a", "over", "on top"]
    assert abs(kept[1].line[0, 1]) == pytest.approx(0.002)
    assert said == [("inside", "inside a"), ("over", "overlaps a")]

"""Triangles as files bring them: merged, turned outward, told closed from open; trimesh's volumes are the measure."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh
from mesh_scenes import soup
from numpy.testing import assert_array_equal

from raycover.building.mending import facets, mend, merge
from raycover.building.solid_angle import winding_number

L_PLAN = shapely.Polygon([(0, 0), (3, 0), (3, 1), (1, 1), (1, 2), (0, 2)])
SHAPES = {
    "box": trimesh.creation.box((1, 2, 3)),
    "L": trimesh.creation.extrude_polygon(L_PLAN, 1.5),
    "torus": trimesh.creation.torus(1, 0.3),
    "sphere": trimesh.creation.icosphere(3),
    "ring": trimesh.creation.annulus(0.5, 1.0, 0.4),
}


@pytest.mark.parametrize("name", SHAPES)
def test_soup_is_merged(name: str) -> None:
    """Every corner written once a face, as in STL, moved by less than 3 µm: closed again, of trimesh's volume."""
    shape = SHAPES[name]
    loose = soup(shape)
    assert not loose.is_watertight
    shaken = loose.vertices + np.random.default_rng(1).uniform(-1.5e-6, 1.5e-6, loose.vertices.shape)
    for vertices in (loose.vertices, shaken):
        found = mend(vertices, loose.faces)
        assert (found.closed, found.n_turned, found.n_open) == (True, 0, 0)
        assert len(found.vertices) == len(shape.vertices)
        assert found.volume == pytest.approx(shape.volume, rel=1e-4)
        assert found.area == pytest.approx(shape.area, rel=1e-4)


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize("share", [0.05, 0.45, 1.0])
def test_turned_faces_are_turned_back(name: str, share: float) -> None:
    shape = soup(SHAPES[name])
    turned = np.random.default_rng(5).random(len(shape.faces)) < share
    faces = np.where(turned[:, None], shape.faces[:, ::-1], shape.faces)
    found = mend(shape.vertices, faces)
    assert found.closed
    assert found.n_turned == turned.sum()
    assert found.volume == pytest.approx(SHAPES[name].volume, rel=1e-9)
    mended = trimesh.Trimesh(found.vertices, found.faces, process=False)
    assert mended.is_volume


def test_holes_stay_open() -> None:
    box = SHAPES["box"]
    found = mend(np.asarray(box.vertices), np.asarray(box.faces)[2:])
    assert (found.closed, found.volume) == (False, 0.0)
    assert found.n_open == 4  # the two triangles of one side are gone: its four sides are left
    strip = trimesh.Trimesh([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 3]], process=False)
    assert mend(strip.vertices, strip.faces).n_open == 4


def test_a_strip_with_one_side() -> None:
    """A Möbius strip thickened to no thickness: every edge but the rim has two faces, and no winding fits."""
    n = 24
    turn = np.linspace(0, 2 * np.pi, n, endpoint=False)
    middle = np.stack([np.cos(turn), np.sin(turn), np.zeros(n)], axis=1)
    across = np.stack([np.cos(turn) * np.cos(turn / 2), np.sin(turn) * np.cos(turn / 2), np.sin(turn / 2)], axis=1)
    vertices = np.concatenate([middle - 0.3 * across, middle + 0.3 * across, [[0, 0, 3]]])
    quads = [(k, k + n, (k + 1) + n, k + 1) for k in range(n - 1)] + [(n - 1, 2 * n - 1, 0, n)]
    faces = [f for a, b, c, d in quads for f in ((a, b, c), (a, c, d))]
    rim = (
        [(k, k + 1) for k in range(n - 1)]
        + [(n - 1, n)]
        + [(k + n, k + 1 + n) for k in range(n - 1)]
        + [(2 * n - 1, 0)]
    )
    faces += [(a, b, 2 * n) for a, b in rim]  # closed over the rim by a cone
    found = mend(vertices, np.array(faces))
    assert (found.closed, found.n_open) == (False, 0)


def test_cavities_stay_and_bodies_inside_out_do_not() -> None:
    outer, inner = trimesh.creation.icosphere(3, 2.0), trimesh.creation.icosphere(2, 1.0)
    shell = trimesh.util.concatenate([outer, inner.copy()])
    hollow = trimesh.util.concatenate([outer, trimesh.Trimesh(inner.vertices, inner.faces[:, ::-1], process=False)])
    net = outer.volume - inner.volume
    assert mend(hollow.vertices, hollow.faces).volume == pytest.approx(net)
    assert mend(hollow.vertices, hollow.faces[:, ::-1]).volume == pytest.approx(net)
    assert mend(shell.vertices, shell.faces).volume == pytest.approx(outer.volume + inner.volume)
    beside = inner.copy().apply_translation([5, 0, 0])
    pair = trimesh.util.concatenate([outer, trimesh.Trimesh(beside.vertices, beside.faces[:, ::-1], process=False)])
    found = mend(pair.vertices, pair.faces)
    assert found.volume == pytest.approx(outer.volume + inner.volume)
    assert found.n_turned == len(inner.faces)


@pytest.mark.parametrize("shift", [(1, 1, 0), (1, 0, 0), (1, 1, 1)])
def test_bodies_that_touch_are_closed(shift: tuple[int, int, int]) -> None:
    """Two cubes that share an edge, a side or a corner: edges with four faces, and still an inside."""
    pair = trimesh.util.concatenate([trimesh.creation.box(), trimesh.creation.box().apply_translation(shift)])
    found = mend(*merge(pair.vertices, pair.faces))
    assert found.closed
    assert found.volume == pytest.approx(2)


def test_flat_faces() -> None:
    box = soup(SHAPES["box"].subdivide())
    vertices, faces = merge(box.vertices, box.faces)
    number = facets(vertices, faces)
    assert len(np.unique(number)) == 6
    normals = trimesh.Trimesh(vertices, faces, process=False).face_normals
    for k in range(6):
        assert np.ptp(normals[number == k], axis=0).max() < 1e-9
    ball = SHAPES["sphere"]
    assert len(np.unique(facets(ball.vertices, ball.faces))) == len(ball.faces)


def test_winding_number() -> None:
    """1 inside, 0 outside, 1/2 seen flat on: the solid angle of a cube's face from its middle is 4π/6."""
    box = trimesh.creation.box()
    points = np.array([[0, 0, 0], [0.4, -0.4, 0.45], [0.6, 0, 0], [9, 9, 9]])
    assert winding_number(np.asarray(box.triangles), points) == pytest.approx([1, 1, 0, 0], abs=1e-12)
    side = box.triangles[np.abs(box.face_normals[:, 2] - 1) < 1e-9]
    assert winding_number(side, np.zeros((1, 3))) == pytest.approx([1 / 6])
    many = np.random.default_rng(2).uniform(-1.5, 1.5, (400, 3))
    torus = SHAPES["torus"]
    inside = torus.contains(many)
    assert inside.any()
    assert_array_equal(winding_number(np.asarray(torus.triangles), many) > 0.5, inside)

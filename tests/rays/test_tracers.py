"""What every tracer promises: the same answers for one set of triangles, and none where there is nothing."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from raycover.building.mesh import BOX_FACES, box_triangles
from raycover.building.parts import Boxes
from raycover.rays.tracers import Alike, EmbreeTracer, EmptyTracer, TrimeshTracer, default_backend, make_tracer

BACKENDS = ["embree", "trimesh"]


def square(x: float, half: float = 1.0) -> np.ndarray:
    """Two triangles facing x."""
    a, b, c, d = ([x, -half, -half], [x, half, -half], [x, half, half], [x, -half, half])
    return np.array([[a, b, c], [a, c, d]], np.float32)


def rays(*rows: list[float]) -> np.ndarray:
    return np.array(rows, np.float32)


def test_backends() -> None:
    assert default_backend() == "embree"
    triangles = square(1)
    assert isinstance(make_tracer(triangles, "embree"), EmbreeTracer)
    assert isinstance(make_tracer(triangles, "trimesh"), TrimeshTracer)
    assert isinstance(make_tracer(triangles[:0], "embree"), EmptyTracer)


@pytest.mark.parametrize("backend", BACKENDS)
def test_segments_end(backend: str) -> None:
    """A wall behind the target or the origin does not count: lengths are in units of the directions."""
    tracer = make_tracer(square(2), backend)
    origins = rays([0, 0.1, 0.2], [0, 0.1, 0.2], [0, 0.1, 0.2], [3, 0.1, 0.2], [0, 1.5, 0])
    directions = rays([4, 0, 0], [4, 0, 0], [-4, 0, 0], [4, 0, 0], [4, 0, 0])
    lengths = np.array([1, 0.4, 1, 1, 1], np.float32)
    assert tracer.occluded(origins, directions, lengths).tolist() == [True, False, False, False, False]
    triangle, distance = tracer.first(origins, directions, lengths)
    assert (triangle >= 0).tolist() == [True, False, False, False, False]
    assert distance[0] == pytest.approx(0.5)


@pytest.mark.parametrize("backend", BACKENDS)
def test_crossings_of_several(backend: str) -> None:
    """Squares 1, 2 and 3 m away, and one 0.5 mm behind the second: passed over where the step says so."""
    triangles = np.concatenate([square(1), square(2), square(2.0005), square(3)])
    tracer = make_tracer(triangles, backend)
    ray, distance, triangle = tracer.crossings(
        rays([0, 0.3, 0.1], [0, 0.3, 0.1]), rays([1, 0, 0], [1, 0, 0]), np.array([5, 2.5], np.float32), 1e-3
    )
    far = np.sort(distance[ray == 0])
    assert far[[0, 1, -1]] == pytest.approx([1, 2, 3], abs=1e-5)
    assert len(far) == (3 if backend == "embree" else 4)
    assert distance[ray == 1].max() < 2.01
    assert set((triangle[ray == 0] // 2).tolist()) >= {0, 1, 3}


@pytest.mark.parametrize("backend", [*BACKENDS, "empty"])
def test_no_rays_and_no_hits(backend: str) -> None:
    tracer = EmptyTracer() if backend == "empty" else make_tracer(square(1), backend)
    none, nothing = np.zeros((0, 3), np.float32), np.zeros(0, np.float32)
    assert tracer.occluded(none, none, nothing).shape == (0,)
    assert [a.shape for a in tracer.first(none, none, nothing)] == [(0,), (0,)]
    assert [a.shape for a in tracer.crossings(none, none, nothing, 1e-3)] == [(0,)] * 3
    away = (rays([0, 0, 0]), rays([-1, 0, 0]), np.ones(1, np.float32))
    assert not tracer.occluded(*away)[0]
    triangle, reach = tracer.first(*away)
    assert (triangle[0], reach[0]) == (-1, 1)
    assert [len(a) for a in tracer.crossings(*away, 1e-3)] == [0, 0, 0]


def test_backends_agree_away_from_edges() -> None:
    rng = np.random.default_rng(3)
    corners = rng.uniform(-5, 5, (60, 1, 3)) + rng.uniform(-1.5, 1.5, (60, 3, 3))
    triangles = corners.astype(np.float32)
    origins = rng.uniform(-6, 6, (4000, 3)).astype(np.float32)
    directions = rng.uniform(-6, 6, (4000, 3)).astype(np.float32) - origins
    ones = np.ones(4000, np.float32)
    embree, slow = (make_tracer(triangles, b) for b in BACKENDS)
    one, two = embree.first(origins, directions, ones), slow.first(origins, directions, ones)
    # 4,000 random rays and 60 triangles: none of these happens to graze an edge within single precision.
    assert np.array_equal(one[0], two[0])
    np.testing.assert_allclose(one[1], two[1], atol=1e-5)
    assert np.array_equal(embree.occluded(origins, directions, ones), one[0] >= 0)
    assert 0.1 < (one[0] >= 0).mean() < 0.9


@pytest.mark.parametrize("backend", BACKENDS)
def test_arguments_stay_as_they_were(backend: str) -> None:
    """Embree writes over the lengths it is given: not over the caller's."""
    tracer = make_tracer(square(2), backend)
    given = rays([0, 0.1, 0.2]), rays([4, 0, 0]), np.ones(1, np.float32)
    tracer.occluded(*given)
    tracer.first(*given)
    tracer.crossings(*given, 1e-3)
    assert [a.tolist() for a in given] == [rays([0, 0.1, 0.2]).tolist(), [[4, 0, 0]], [1]]


def test_first_queries_from_many_threads() -> None:
    """The first query commits the scene: eight at once must all get the answer."""
    rng = np.random.default_rng(5)
    triangles = (rng.uniform(-5, 5, (20000, 1, 3)) + rng.uniform(-0.1, 0.1, (20000, 3, 3))).astype(np.float32)
    origins = np.zeros((2000, 3), np.float32)
    directions = rng.uniform(-5, 5, (2000, 3)).astype(np.float32)
    ones = np.ones(2000, np.float32)
    expected = EmbreeTracer(triangles).occluded(origins, directions, ones)
    fresh = EmbreeTracer(triangles)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda _: fresh.occluded(origins, directions, ones), range(8)))
    assert all(np.array_equal(each, expected) for each in found)
    assert expected.any()


def test_pieces_that_are_alike_answer_as_their_triangles() -> None:
    """Corners kept once a box, sheets before and imported objects after: the very same hits, to the last bit."""
    rng = np.random.default_rng(5)
    n = 120
    nothing = ((),) * n
    boxes = Boxes(
        rng.uniform(-4, 4, (n, 3)), rng.uniform(0.1, 1.5, (n, 3)), rng.uniform(0, 6, n),
        *nothing[:1], tuple(map(str, range(n))), *nothing[:3],
    )  # fmt: skip
    triangles = np.concatenate([square(-2), box_triangles(boxes), square(2)]).astype(np.float32)
    flat = EmbreeTracer(triangles)
    tracer = make_tracer(triangles, "embree", Alike(2, 2 + 12 * n, BOX_FACES))
    origins = rng.uniform(-6, 6, (4000, 3)).astype(np.float32)
    directions = rng.normal(size=(4000, 3)).astype(np.float32)
    lengths = np.full(4000, 4, np.float32)
    for one, other in zip(
        tracer.first(origins, directions, lengths), flat.first(origins, directions, lengths), strict=True
    ):
        np.testing.assert_array_equal(one, other)
    hit = tracer.first(origins, directions, lengths)[0]
    assert {0, 1} & set(hit.tolist())
    assert {2 + 12 * n, 3 + 12 * n} & set(hit.tolist())
    assert ((hit >= 2) & (hit < 2 + 12 * n)).sum() > 500

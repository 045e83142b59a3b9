"""One question, is the line of sight free, asked of several ray tracers: time a ray as a multiple of ours, in one run.

    .venv/bin/python tests/benchmarks/peers.py

The depot's triangles and one high-bay unit's rays. Slow tracers are asked part of the rays. All answers are counted
against ours. Open3D (its RaycastingScene) and numba take part where they are installed.
"""

from __future__ import annotations

import importlib.util
import time
from collections.abc import Callable

import numpy as np
from enlarged import DEPOT
from numpy.typing import NDArray

import raycover
from raycover.building.build import build
from raycover.rays.ray_scene import RayScene
from raycover.rays.segments import Segments, take
from raycover.rays.tracers import Tracer, TrimeshTracer, make_tracer

Bools = NDArray[np.bool_]
Ask = Callable[[Segments], Bools]


def brute_force(triangles: NDArray[np.float32]) -> Ask:
    """Every ray against every triangle (Möller and Trumbore 1997, in double precision), compiled by numba."""
    import numba

    @numba.njit(fastmath=False)  # type: ignore[untyped-decorator]
    def stopped(origins, directions, lengths, a, e1, e2):  # type: ignore[no-untyped-def]
        found = np.zeros(len(origins), np.bool_)
        for i in range(len(origins)):
            ox, oy, oz = origins[i]
            dx, dy, dz = directions[i]
            for k in range(len(a)):
                px, py, pz = dy * e2[k, 2] - dz * e2[k, 1], dz * e2[k, 0] - dx * e2[k, 2], dx * e2[k, 1] - dy * e2[k, 0]
                det = e1[k, 0] * px + e1[k, 1] * py + e1[k, 2] * pz
                if abs(det) < 1e-12:
                    continue
                tx, ty, tz = ox - a[k, 0], oy - a[k, 1], oz - a[k, 2]
                u = (tx * px + ty * py + tz * pz) / det
                if u < 0 or u > 1:
                    continue
                qx, qy, qz = ty * e1[k, 2] - tz * e1[k, 1], tz * e1[k, 0] - tx * e1[k, 2], tx * e1[k, 1] - ty * e1[k, 0]
                v = (dx * qx + dy * qy + dz * qz) / det
                if v < 0 or u + v > 1:
                    continue
                t = (e2[k, 0] * qx + e2[k, 1] * qy + e2[k, 2] * qz) / det
                if 0 <= t <= lengths[i]:
                    found[i] = True
                    break
        return found

    corners = triangles.astype(float)
    a, e1, e2 = corners[:, 0], corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]

    def ask(segments: Segments) -> Bools:
        parts = (segments.origins, segments.directions, segments.lengths)
        return np.asarray(stopped(*(part.astype(float) for part in parts), a, e1, e2))

    return ask


def open3d_scene(triangles: NDArray[np.float32]) -> Ask:
    """Open3D's RaycastingScene, on as many threads as it takes."""
    import open3d

    scene = open3d.t.geometry.RaycastingScene()
    vertices = triangles.reshape(-1, 3)
    scene.add_triangles(vertices, np.arange(len(vertices), dtype=np.uint32).reshape(-1, 3))

    def ask(segments: Segments) -> Bools:
        # One length for all: the directions are made as long as each ray.
        rays = np.hstack([segments.origins, segments.directions * segments.lengths[:, None]])
        blocked: Bools = scene.test_occlusions(rays, tfar=1.0).numpy()
        return blocked

    return ask


def main() -> None:
    building = build(raycover.load(DEPOT))
    rays = RayScene(building)
    centre = building.bounds.mean(axis=0)
    triangles = (building.mesh.triangles - centre).astype(np.float32)
    x, y = np.meshgrid(np.arange(0.1, 48, 0.125), np.arange(0.1, 28, 0.125))
    targets = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 1.0)])
    segments = rays.segments(np.array([24.0, 14.5, 10.5]), targets)
    ask_ours = _asking(make_tracer(triangles, rays.backend))
    peers: list[tuple[str, int, Callable[[], Ask]]] = [
        ("trimesh's own tracer", 400, lambda: _asking(TrimeshTracer(triangles))),
    ]
    if importlib.util.find_spec("numba") is not None:
        peers.append(("every triangle, by numba", 2000, lambda: brute_force(triangles)))
    if importlib.util.find_spec("open3d") is not None:
        peers.append(("Open3D's RaycastingScene", len(targets), lambda: open3d_scene(triangles)))

    print(f"{len(triangles):,} triangles; seconds a ray over those of the tracer in use ({rays.backend}), scene made")
    spread = np.random.default_rng(1).permutation(len(targets))
    answer, spent = timed(ask_ours, segments)
    each = spent / len(targets)
    print(f"  ours: {1e-6 / each:.1f} million rays a second on this machine, now; {answer.mean():.1%} blocked")
    for name, n, make in peers:
        some = take(segments, np.sort(spread[:n]))
        ask = make()
        ask(take(some, np.arange(2)))  # compiled, or its scene made
        found, spent = timed(ask, some)
        differ = int((found != ask_ours(some)).sum())
        print(f"  {name}: {spent / n / each:,.1f} times; {differ} of {n:,} answers differ", flush=True)


def _asking(tracer: Tracer) -> Ask:
    return lambda some: tracer.occluded(some.origins, some.directions, some.lengths)


def timed(ask: Ask, segments: Segments) -> tuple[Bools, float]:
    """The answers, and the least processor seconds of three."""
    least = np.inf
    for _ in range(3):
        began = time.process_time()
        found = ask(segments)
        least = min(least, time.process_time() - began)
    return found, float(least)


if __name__ == "__main__":
    main()

"""What comes out: the summary, image data read back by another program's reader, and the arrays of a script."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import pyvista

import raycover
from raycover.asking.probe import probe
from raycover.exchange.image_data import write_image_data
from raycover.exchange.summary import finite, probe_json, summary

GRID = 0.25
#: An L-shaped room of 36 m² with a column of 1 m² on the floor map; one microwave unit and one that sees nothing.
SCENE = f"""\
raycover: 1
title: L
conditions: {{reserve_db: 3}}
rooms:
  - name: L
    outline: [[1, 2], [9, 2], [9, 5], [5, 5], [5, 8], [1, 8]]
    floor: 1.5
    height: 3
    walls: [brick-100, brick-100, steel-panel, steel-panel, brick-100, brick-100]
solids:
  - {{name: column, centre: [3, 4], size: [1, 1, 2], material: metal}}
detectors:
  - name: A
    at: [2, 3]
    mounting: 2.5
    pattern:
      kind: microwave
      frequency_ghz: 5.8
      declared: [{{mounting: 2.5, motion: radial, shape: {{circle: {{diameter: 9}}}}}}]
  - name: B
    at: [8, 3]
    mounting: 2.5
    pattern:
      kind: infrared
      declared: [{{mounting: 2.5, motion: tangential, shape: {{circle: {{diameter: 2}}}}}}]
planes:
  - {{name: floor, height: 0}}
  - {{name: desk, height: 0.75, motion: presence}}
  - {{name: people, target: person, heights: [0.3, 1.0, 1.6]}}
  - {{name: yard, height: 1, extent: [-1, -1, 3, 1]}}
grid: {GRID}
"""
CAUSES = ["none", "out-of-reach", "outside-lens", "masked", "blocked", "material-loss", "too-warm"]


@pytest.fixture(scope="module")
def coverage() -> raycover.Coverage:
    return raycover.solve(raycover.load_text(SCENE))


@pytest.fixture(scope="module")
def figures(coverage: raycover.Coverage) -> dict:
    return json.loads(json.dumps(summary(coverage), allow_nan=False))


# ---- summary


def test_summary_has_the_keys_that_scripts_rely_on(figures: dict) -> None:
    assert figures["version"] == 1
    assert {"planes", "detectors", "rays", "seconds", "backend"} <= set(figures)
    assert figures["title"] == "L"
    assert list(figures["planes"]) == ["floor", "desk", "people", "yard"]
    for plane in figures["planes"].values():
        assert {"area_m2", "detected_m2", "share", "assured_share", "rooms", "gaps"} <= set(plane)
        for gap in plane["gaps"]:
            assert {"area_m2", "widest_m", "at", "cause", "blocked_by"} <= set(gap)
            assert gap["cause"] in CAUSES[1:]
            assert len(gap["at"]) == 3
    assert set(figures["detectors"]) == {"A", "B"}
    for planes in figures["detectors"].values():
        assert all({"detected_m2", "alone_m2"} <= set(plane) for plane in planes.values())
        assert list(planes) == list(figures["planes"])
    assert figures["rays"] > 0
    assert figures["backend"] in ("embree", "trimesh")
    assert "walk-test" in figures["caution"]


def test_areas_are_those_of_the_rooms(figures: dict) -> None:
    """L-shaped room: 8·3 + 4·3 = 36 m², less the column's 1 m² where the map crosses it."""
    for name in ("floor", "desk", "people"):
        assert figures["planes"][name]["area_m2"] == pytest.approx(35, abs=0.6)  # whole cells of the column
        assert list(figures["planes"][name]["rooms"]) == ["L"]
    assert figures["planes"]["yard"]["area_m2"] == pytest.approx(8)


def test_figures_add_up(figures: dict) -> None:
    for plane in figures["planes"].values():
        assert plane["share"] == pytest.approx(plane["detected_m2"] / plane["area_m2"], abs=1e-6)
        assert 0 <= plane["assured_share"] <= plane["share"] <= 1
        rooms = plane["rooms"].values()
        assert sum(room["area_m2"] for room in rooms) == pytest.approx(plane["area_m2"], abs=1e-5)
        assert sum(room["area_m2"] * room["share"] for room in rooms) == pytest.approx(plane["detected_m2"], abs=1e-5)
        gaps = [gap["area_m2"] for gap in plane["gaps"]]
        assert gaps == sorted(gaps, reverse=True)
        assert sum(gaps) == pytest.approx(plane["area_m2"] - plane["detected_m2"], abs=1e-4)
        assert all(0 < gap["widest_m"] <= 2 * np.sqrt(gap["area_m2"]) for gap in plane["gaps"])
    for name, plane in figures["planes"].items():
        seen = [detector[name] for detector in figures["detectors"].values()]
        assert all(d["alone_m2"] <= d["detected_m2"] + 1e-9 for d in seen)
        alone, most = sum(d["alone_m2"] for d in seen), sum(d["detected_m2"] for d in seen)
        assert alone - 1e-5 <= plane["detected_m2"] <= most + 1e-5


def test_what_follows_from_the_scene(figures: dict) -> None:
    planes, detectors = figures["planes"], figures["detectors"]
    assert planes["desk"]["detected_m2"] == 0  # nobody declares presence
    assert [gap["area_m2"] for gap in planes["desk"]["gaps"]] == [planes["desk"]["area_m2"]]
    assert detectors["A"]["desk"] == {"detected_m2": 0, "alone_m2": 0}
    # a circle of 2 m across in the open, in cells of 0.25 m; a person's head stands nearer to the lens, feet not
    assert detectors["B"]["floor"]["detected_m2"] == pytest.approx(np.pi, abs=0.35)
    assert detectors["B"]["people"]["detected_m2"] <= detectors["B"]["floor"]["detected_m2"]
    # a gap may not be blamed on an object without naming it
    gaps = [gap for plane in planes.values() for gap in plane["gaps"]]
    assert all(gap["blocked_by"] for gap in gaps if gap["cause"] == "blocked")


# ---- image data


@pytest.mark.parametrize("name", ["floor", "desk", "people", "yard"])
def test_image_data_reads_back(name: str, coverage: raycover.Coverage, figures: dict, tmp_path: Path) -> None:
    """Read by VTK's own reader, as ParaView does."""
    plane = coverage[name]
    path = tmp_path / f"{name}.vti"
    write_image_data(plane, path)
    image = pyvista.read(path)
    assert isinstance(image, pyvista.ImageData)
    assert set(image.cell_data.keys()) == {"margin_db", "count", "cause", "best_detector"}
    n_rows, n_columns = plane.margin_db.shape
    assert image.dimensions == (n_columns + 1, n_rows + 1, 1)
    assert image.spacing == pytest.approx((GRID, GRID, GRID))
    assert image.origin == pytest.approx(
        {"floor": (1, 2, 1.5), "desk": (1, 2, 2.25), "people": (1, 2, 1.8), "yard": (-1, -1, 1)}[name]
    )
    margin = np.asarray(image.cell_data["margin_db"]).reshape(n_rows, n_columns)
    count, cause, best = (
        np.asarray(image.cell_data[key]).reshape(n_rows, n_columns) for key in ("count", "cause", "best_detector")
    )
    assert margin.dtype == np.float32
    assert {a.dtype for a in (count, cause, best)} == {np.dtype(np.int32)}
    np.testing.assert_array_equal(margin, plane.margin_db)
    centres = np.asarray(image.cell_centers().points).reshape(n_rows, n_columns, 3)
    np.testing.assert_allclose(centres[0, :, 0], plane.x, atol=1e-6)
    np.testing.assert_allclose(centres[:, 0, 1], plane.y, atol=1e-6)
    outside = np.isnan(margin)
    for array in (count, cause):
        np.testing.assert_array_equal(array == -1, outside)
    assert (best[outside] == -1).all()
    if name != "yard":
        corner = (centres[..., 0] > 5) & (centres[..., 1] > 5)
        column = (abs(centres[..., 0] - 3) < 0.5) & (abs(centres[..., 1] - 4) < 0.5)
        np.testing.assert_array_equal(outside, corner | column)
    inside = ~outside
    np.testing.assert_array_equal(cause[inside] == 0, margin[inside] >= 0)
    np.testing.assert_array_equal(count[inside] > 0, margin[inside] >= 0)
    assert set(np.unique(cause[inside])) <= set(range(7))
    assert set(np.unique(best[inside])) <= {-1, 0, 1}
    seen = (margin >= 0).sum() * GRID**2
    assert seen == pytest.approx(figures["planes"][name]["detected_m2"], abs=1e-6)


def test_image_data_that_cannot_be_written(coverage: raycover.Coverage, tmp_path: Path) -> None:
    with pytest.raises(OSError, match="VTK could not write the file"):
        write_image_data(coverage["floor"], tmp_path / "nowhere" / "floor.vti")


# ---- probe


def test_probe_json_has_no_infinity() -> None:
    scene = raycover.load_text(SCENE)
    said = probe_json((5.3, 5.3, 2), probe(scene, (5.3, 5.3, 2)), 20.0)
    assert json.loads(json.dumps(said, allow_nan=False)) == said
    blocked = said["detectors"][0]
    assert (blocked["cause"], blocked["margin_db"], blocked["detected"]) == ("blocked", None, False)
    assert None in [crossing["loss_db"] for crossing in blocked["crossings"]]  # steel
    assert said["detected"] is False
    assert said["version"] == 1


def test_probe_agrees_with_the_map(coverage: raycover.Coverage) -> None:
    scene = raycover.load_text(SCENE)
    plane = coverage["floor"]
    rng = np.random.default_rng(7)
    for row, column in rng.permutation(np.argwhere(plane.count >= 0))[:12]:
        views = probe(scene, (float(plane.x[column]), float(plane.y[row]), 1.5))
        assert sum(view.detected for view in views) == plane.count[row, column]
        best = max(view.margin_db for view in views)
        if plane.margin_db[row, column] > -9:
            assert best == pytest.approx(plane.margin_db[row, column], abs=1e-3)


def test_finite() -> None:
    assert finite(0.0) == 0
    assert [finite(v) for v in (np.inf, -np.inf, np.nan)] == [None, None, None]


# ---- the arrays of a script


def test_arrays(coverage: raycover.Coverage, figures: dict) -> None:
    assert list(coverage) == ["floor", "desk", "people", "yard"]
    assert len(coverage) == 4
    plane = coverage["desk"]
    shape = (24, 32)  # 6 m by 8 m
    assert plane.margin_db.shape == plane.detected.shape == plane.count.shape == plane.cause.shape == shape
    assert plane.margin_db.dtype == np.float32
    assert plane.detected.dtype == bool
    np.testing.assert_allclose(plane.x, 1.125 + GRID * np.arange(32))
    np.testing.assert_allclose(plane.y, 2.125 + GRID * np.arange(24))
    for name, plane in coverage.items():
        assert coverage.share(name) == plane.share == figures["planes"][name]["share"]
        np.testing.assert_array_equal(plane.detected, np.nan_to_num(plane.margin_db, nan=-1) >= 0)
    with pytest.raises(KeyError):
        coverage["attic"]
    with pytest.raises(KeyError):
        coverage.share("attic")


def test_load_takes_a_path_or_its_text(tmp_path: Path, coverage: raycover.Coverage) -> None:
    path = tmp_path / "scene.yaml"
    path.write_text(SCENE, encoding="utf-8")
    for given in (path, str(path)):
        scene = raycover.load(given)
        assert isinstance(scene, raycover.Scene)
        assert scene.title == "L"
    again = raycover.solve(scene, threads=2)
    np.testing.assert_array_equal(again["people"].margin_db, coverage["people"].margin_db)
    with pytest.raises(raycover.InputError) as caught:
        raycover.load(tmp_path / "none.yaml")
    assert caught.value.problems[0].code == "missing-file"

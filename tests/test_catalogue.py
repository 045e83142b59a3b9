"""The catalogue: what is in it, where it comes from, and the user's own folders."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import yaml

import raycover
from raycover.catalogue import Catalogue, load_catalogue, packaged_folder
from raycover.detectors import declarations_of
from raycover.errors import InputError
from raycover.physics.pattern import resolve

CONSTRUCTIONS = (
    "steel-panel", "plasterboard-12.5", "stud-wall-100", "chipboard-18", "laminate-13", "glass-6",
    "double-glazing-6-16-6", "coated-glazing", "brick-100", "brick-215", "concrete-150", "door-wood-40", "wire-mesh-50",
)  # fmt: skip
ENTRY = """\
raycover_detector: 1
name: {name}
title: Mine
kind: infrared
declared:
  - {{mounting: 2.5, motion: radial, shape: {{circle: {{diameter: {diameter}}}}}}}
"""


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("RAYCOVER_MODELS", raising=False)
        return load_catalogue()


# ---- what is in it


def test_names_that_scenes_rely_on(catalogue: Catalogue) -> None:
    assert set(CONSTRUCTIONS) <= set(catalogue.constructions)
    assert {"concrete", "metal", "goods", "timber"} <= set(catalogue.solids)
    assert {"concrete", "brick", "plasterboard", "wood", "glass", "chipboard", "metal"} <= set(catalogue.materials)


def test_every_family_of_detector_is_there(catalogue: Catalogue) -> None:
    kinds = [model.kind for model in catalogue.detectors.values()]
    assert kinds.count("infrared") >= 5
    assert kinds.count("microwave") >= 4
    bands = {round(m.frequency_ghz, 1) for m in catalogue.detectors.values() if m.frequency_ghz is not None}
    assert {5.8, 24.1} <= bands
    heights = [d.mounting for m in catalogue.detectors.values() for d in m.declared]
    assert min(heights) <= 2.5
    assert max(heights) >= 10


def test_every_figure_has_a_source(catalogue: Catalogue) -> None:
    assert all(entry.source for entry in (*catalogue.constructions.values(), *catalogue.solids.values()))
    assert all(catalogue.sources[f"material {name}"] for name in catalogue.materials)
    for model in catalogue.detectors.values():
        assert all(declared.source or model.source for declared in model.declared), model.name
        assert model.title
        assert model.family
        assert model.description


def test_figures_are_sensible(catalogue: Catalogue) -> None:
    for model in catalogue.detectors.values():
        assert model.mounting is not None
        for height in np.linspace(model.mounting.from_m, model.mounting.to_m, 5):
            for footprint in resolve(declarations_of(model), float(height)):
                assert 0 < footprint.largest_radius < 60
    for construction in catalogue.constructions.values():
        assert 0 < construction.thickness_m < 1


@pytest.mark.parametrize("losses", ["averaged", "coherent"])
@pytest.mark.parametrize("frequency_ghz", [5.8, 24.125])
def test_every_construction_has_a_loss_in_both_bands(catalogue: Catalogue, frequency_ghz: float, losses: str) -> None:
    for construction in catalogue.constructions.values():
        loss_db = construction.loss_table(frequency_ghz, losses).loss_db(np.array([1.0, 0.5]))
        assert (loss_db >= 0).all(), construction.name
        assert np.isinf(loss_db).all() == (construction.kind == "opaque"), construction.name
    for solid in catalogue.solids.values():
        assert solid.loss_db_per_m(frequency_ghz) > 0
        assert np.isinf(solid.loss_db_per_m(frequency_ghz)) == solid.opaque


def test_what_stops_what(catalogue: Catalogue) -> None:
    """Common practice, no source: steel stops both, mesh with a 50 mm aperture neither, the rest infrared only."""
    named = catalogue.constructions
    assert named["steel-panel"].kind == "opaque"
    assert named["wire-mesh-50"].kind == "open"
    assert not named["wire-mesh-50"].stops_infrared
    assert all(c.stops_infrared for name, c in named.items() if name != "wire-mesh-50")
    assert named["glass-6"].glazing
    assert named["stud-wall-100"].thickness_m == pytest.approx(0.1, abs=0.005)


def test_the_packaged_files_are_the_ones_in_the_checkout() -> None:
    folder = packaged_folder()
    names = ["constructions.yaml", "detectors", "materials.yaml", "need_sets.yaml", "spaces.yaml"]
    assert sorted(path.name for path in folder.iterdir()) == names
    for path in (folder / "detectors").iterdir():
        assert yaml.safe_load(path.read_text(encoding="utf-8"))["name"] == path.stem


def test_a_construction_by_reference(catalogue: Catalogue) -> None:
    assert catalogue.construction("none") is None
    assert catalogue.construction("glass-6") is catalogue.constructions["glass-6"]
    with pytest.raises(KeyError):
        catalogue.construction("paper")


# ---- the user's own


def scene_in(folder: Path, more: str) -> raycover.Scene:
    path = folder / "scene.yaml"
    path.write_text(
        "raycover: 1\nrooms: [{name: r, outline: [[0, 0], [6, 0], [6, 4], [0, 4]], height: 3, walls: none}]\n" + more,
        encoding="utf-8",
    )
    return raycover.load(path)


def write(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, encoding="utf-8")
    return path


def test_models_beside_the_scene(tmp_path: Path) -> None:
    models = tmp_path / "models"
    write(
        models / "materials.yaml",
        "materials:\n  felt: {a: 1.5, b: 0, c: 0.01, d: 0, valid_ghz: [1, 30], source: measured}\n"
        "solids:\n  bales: {loss_db_per_m: 0, source: measured}\n  blocks: {material: felt, source: measured}\n",
    )
    write(
        models / "constructions.yaml",
        "constructions:\n"
        "  felt-20: {layers: [{material: felt, thickness_mm: 20}], source: measured}\n"
        "  curtain: {measured: [{frequency_ghz: 5.8, loss_db: 1.5}, {frequency_ghz: 24, loss_db: 0}], source: own}\n"
        "  foil: {layers: [{material: metal, thickness_mm: 1}], source: measured}\n",
    )
    write(models / "detectors" / "mine.yaml", ENTRY.format(name="mine", diameter=6))
    write(models / "detectors" / "other.yml", ENTRY.format(name="other", diameter=5))
    write(models / "detectors" / "notes.txt", "not an entry")
    scene = scene_in(
        tmp_path,
        "partitions: [{name: P, line: [[3, 0], [3, 4]], height: 3, construction: felt-20}]\n"
        "solids: [{name: B, centre: [5, 1], size: [1, 1, 1], material: bales}]\n"
        "detectors:\n  - {name: D, model: mine, at: [2, 2], mounting: 2.5}\n"
        "  - {name: E, model: other, at: [2, 2], mounting: 2.5}\n",
    )
    catalogue = scene.catalogue
    assert catalogue.solids["bales"].loss_db_per_m(5.8) == 0
    assert 0 < catalogue.solids["blocks"].loss_db_per_m(5.8) < np.inf
    assert catalogue.constructions["foil"].kind == "opaque"  # metal in it
    curtain = catalogue.constructions["curtain"]
    # linear in dB over log f: 1.5·(1 − ln(7/5.8)/ln(24/5.8)) = 1.5·(1 − 0.18805/1.42025) = 1.3014
    found = [float(curtain.loss_table(f, "averaged").loss_db(1.0)) for f in (5.8, 7, 24.1)]
    assert found == pytest.approx([1.5, 1.3014, 0], abs=1e-4)
    assert catalogue.origins["detector", "mine"] == models.resolve() / "detectors" / "mine.yaml"
    coverage = raycover.solve(scene)
    assert coverage.detector_names == ("D", "E")
    assert coverage.share("floor") > 0


def test_folders_named_by_the_environment(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("one", "two"):
        write(tmp_path / name / "detectors" / f"{name}.yaml", ENTRY.format(name=name, diameter=6))
    listed = [str(tmp_path / "one"), str(tmp_path / "two"), str(tmp_path / "gone"), ""]
    monkeypatch.setenv("RAYCOVER_MODELS", os.pathsep.join(listed))
    assert {"one", "two"} <= set(load_catalogue().detectors)
    monkeypatch.delenv("RAYCOVER_MODELS")
    assert not {"one", "two"} & set(load_catalogue().detectors)


def test_the_very_same_entry_twice_is_no_clash(tmp_path: Path) -> None:
    """A checkout's models/ beside an installed copy holds the same entries."""
    source = packaged_folder()
    for name in ("materials.yaml", "constructions.yaml", "detectors/wall-infrared.yaml"):
        write(tmp_path / "models" / name, (source / name).read_text(encoding="utf-8"))
    assert set(load_catalogue(tmp_path).detectors) == set(load_catalogue().detectors)


def test_a_name_is_never_shadowed(tmp_path: Path) -> None:
    write(tmp_path / "models" / "detectors" / "mine.yaml", ENTRY.format(name="wall-infrared", diameter=6))
    with pytest.raises(InputError) as caught:
        load_catalogue(tmp_path)
    (problem,) = caught.value.problems
    assert (problem.code, problem.position.line, problem.position.column) == ("name-taken", 2, 1)
    assert str(packaged_folder() / "detectors" / "wall-infrared.yaml") in problem.message


@pytest.mark.parametrize(
    ("name", "text", "code", "line"),
    [
        ("materials.yaml", "materials:\n  m: {a: 1, b: 0, c: -1, d: 0, valid_ghz: [1, 2], source: x}\n",
         "out-of-range", 2),
        ("materials.yaml", "materials:\n  m: {a: 1, b: 0, c: 1, d: 0, valid_ghz: [2, 1], source: x}\n", "range-order",
         2),
        ("materials.yaml", 'materials:\n  m: {a: 1, b: 0, c: 1, d: 0, valid_ghz: [1, 2], source: ""}\n',
         "wrong-length", 2),
        ("materials.yaml", "solids:\n  s: {opaque: true, loss_db_per_m: 0, source: x}\n", "one-loss", 2),
        ("materials.yaml", "solids:\n  s: {material: felt, source: x}\n", "unknown-material", 2),
        ("constructions.yaml", "constructions:\n  c: {source: x}\n", "one-loss", 2),
        ("constructions.yaml", "constructions:\n  c: {opaque: yes, source: x}\n", "wrong-type", 2),
        ("constructions.yaml", "constructions:\n  c: {layers: [{material: felt, thickness_mm: 1}], source: x}\n",
         "unknown-material", 2),
        ("constructions.yaml", "constructions:\n  c: {layers: [{material: wood}], source: x}\n", "bad-layer", 2),
        ("constructions.yaml", "construction: {}\n", "unknown-key", 1),
        ("constructions.yaml",
         "constructions:\n  c:\n    layers: [{material: wood, thickness_mm: 0}]\n    source: x\n", "out-of-range", 3),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    measured:\n      - {frequency_ghz: 5, loss_db: -1}\n",
         "out-of-range", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    layers: [{air_mm: 75}]\n"
         "    studs: {pitch_mm: 40, width_mm: 45, material: wood}\n", "wider-than-pitch", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    layers: [{air_mm: 75}]\n"
         "    studs: {pitch_mm: 400, width_mm: 45, material: wod}\n", "unknown-material", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    layers: [{material: wood, thickness_mm: 5}]\n"
         "    studs: {pitch_mm: 400, width_mm: 45, material: wood}\n", "no-gap", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    opaque: true\n"
         "    studs: {pitch_mm: 400, width_mm: 45, material: wood}\n", "no-gap", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    layers: [{material: concrete, thickness_mm: 150}]\n"
         "    reinforcement: {pitch_mm: 10, bar_mm: 12}\n", "wider-than-pitch", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    layers: [{air_mm: 150}]\n"
         "    reinforcement: {pitch_mm: 150, bar_mm: 12}\n", "no-layer", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    measured:\n      - {frequency_ghz: 5, loss_db: 1}\n"
         "      - {frequency_ghz: 5, loss_db: 2}\n", "measured-twice", 6),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    measured:\n"
         "      - {frequency_ghz: 5, loss_db: 3, reflection_db: 4}\n"
         "      - {frequency_ghz: 6, loss_db: 3}\n", "some-reflections", 6),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    measured:\n"
         "      - {frequency_ghz: 5, loss_db: 1, reflection_db: 1}\n",
         "energy-gained", 5),
        ("constructions.yaml",
         "constructions:\n  c:\n    source: x\n    measured:\n"
         "      - {frequency_ghz: 5, loss_db: 1, incidence_deg: 90}\n",
         "out-of-range", 5),
        ("materials.yaml", "materials:\n  m: {a: 2, valid_ghz: [1, 2], source: x}\n", "missing-key", 2),
        ("materials.yaml",
         "materials:\n  m:\n    source: x\n    measured:\n"
         "      - {frequency_ghz: 5, permittivity: 0.5, conductivity_s_per_m: 0}\n", "out-of-range", 5),
        ("materials.yaml",
         "materials:\n  m:\n    source: x\n    measured:\n"
         "      - {frequency_ghz: 5, permittivity: 2, conductivity_s_per_m: 0}\n"
         "      - {frequency_ghz: 5, permittivity: 3, conductivity_s_per_m: 0}\n", "measured-twice", 6),
        ("materials.yaml",
         "materials:\n  m: {a: 2, b: 0, c: 0, d: 0, valid_ghz: [1, 2], source: x, spread: {a: 2, c: 0, source: x}}\n",
         "out-of-range", 2),
        ("materials.yaml", "solids:\n  s: {loss_db_per_m: 3, share: 0.5, source: x}\n", "share-of-nothing", 2),
        ("constructions.yaml", "", "empty-file", 1),
        ("detectors/d.yaml", ENTRY.format(name="d", diameter=6) + "frequency_ghz: 5.8\n", "not-for-infrared", 7),
        ("detectors/d.yaml", ENTRY.format(name="d", diameter=-6), "out-of-range", 6),
        ("detectors/d.yaml", ENTRY.format(name="a/b", diameter=6), "bad-name", 2),
        ("detectors/d.yaml", ENTRY.format(name="d", diameter=6).replace("title: Mine\n", ""), "missing-key", 1),
    ],
)  # fmt: skip
def test_bad_entries(name: str, text: str, code: str, line: int, tmp_path: Path) -> None:
    path = write(tmp_path / "models" / name, text)
    with pytest.raises(InputError) as caught:
        load_catalogue(tmp_path)
    (problem,) = caught.value.problems
    assert (problem.code, problem.position.line) == (code, line)
    assert problem.position.file == str(path.resolve())

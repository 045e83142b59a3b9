"""The packaged catalogue against the terms of its standards, the published slab table and closed forms."""

from __future__ import annotations

import math
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from p2040 import BANDS_GHZ, COHERENT_DB

from raycover.asking.reach import outline
from raycover.catalogue import load_catalogue, packaged_folder
from raycover.detectors import declarations_of
from raycover.exchange.detector_file import entry_text, read_entry, write_entry
from raycover.exchange.entry_notes import BANDS_GHZ as EXEMPT_GHZ
from raycover.exchange.entry_notes import largest_radius, notes
from raycover.physics.pattern import resolve
from raycover.physics.slab import loss_db
from raycover.scene.devices import DetectorModel

CATALOGUE = load_catalogue()
ENTRIES = sorted(CATALOGUE.detectors.values(), key=lambda m: m.name)
EVERY_ENTRY = pytest.mark.parametrize("model", ENTRIES, ids=[m.name for m in ENTRIES])
#: Entries of one technology, and both halves of dual ones.
PARTS = [part for model in ENTRIES for part in model.parts]
EVERY_PART = pytest.mark.parametrize("model", PARTS, ids=[f"{m.name}-{m.kind}" for m in PARTS])

#: Every catalogue holds these (the project's own contract with scenes), and what the slab table calls them.
CONSTRUCTIONS = {
    "steel-panel": None,
    "plasterboard-12.5": "12.5 mm plasterboard",
    "stud-wall-100": "12.5 + 75 air + 12.5 plasterboard",
    "chipboard-18": None,
    # chipboard's row stands in for solid laminate: our assumption
    "laminate-13": "13 mm chipboard",
    "glass-6": "6 mm glass",
    "double-glazing-6-16-6": "6-16-6 uncoated glazing",
    "coated-glazing": None,
    "brick-100": "100 mm brick",
    "brick-215": "215 mm brick",
    "concrete-150": "150 mm concrete",
    "door-wood-40": "40 mm wood",
    "wire-mesh-50": None,
}


def test_every_file_is_an_entry_named_as_its_file() -> None:
    files = {path.stem for path in (packaged_folder() / "detectors").glob("*.yaml")}
    assert files == set(CATALOGUE.detectors)
    assert len(files) >= 9


def test_dual_entries_are_those_of_the_plain_ones_in_one_housing() -> None:
    """Their figures are ours: what the plain entries declare, so that a comparison shows what combining does."""
    plain = CATALOGUE.detectors
    for name, infrared, microwave in (
        ("ceiling-dual", "ceiling-infrared-general", "microwave-omni-5.8"),
        ("wall-dual", "wall-infrared", None),
    ):
        halves = plain[name].parts
        for half, other in zip(halves, (infrared, microwave), strict=True):
            if other is not None:
                assert declarations_of(half) == declarations_of(plain[other])
                assert half.reach_behind == plain[other].reach_behind
        assert plain[name].combine == "trigger-then-hold"
        assert plain[name].mounting == plain[infrared].mounting
        assert (plain[name].bus_current_ma or 0) < 8 + 15


def test_the_families_asked_for_are_there() -> None:
    """Both technologies, and both licence-exempt bands (EN 300 440 [V]) for each microwave family."""
    families: dict[str, set[float | None]] = {}
    for model in ENTRIES:
        families.setdefault(model.family, set()).add(model.frequency_ghz)
    assert {"ceiling infrared", "wide infrared", "high-bay infrared", "wall infrared"} <= set(families)
    for family in ("microwave omnidirectional", "microwave two-lobe"):
        assert families[family] == {5.8, 24.125}


@EVERY_PART
def test_each_figure_has_a_source(model: DetectorModel) -> None:
    assert model.source
    assert model.description
    for declared in model.declared:
        assert declared.source
    for figure in ("mounting", "largest_mask_share", "bus_current_ma", "reach_behind", "frequency_ghz"):
        word = {"largest_mask_share": "mask share", "mounting": "mounting range", "frequency_ghz": "frequency"}
        if getattr(model, figure) is not None:
            assert word.get(figure, figure.removesuffix("_ma").replace("_", " ")) in model.source


@EVERY_ENTRY
def test_figures_are_written_as_a_person_would(model: DetectorModel) -> None:
    """No trace of binary fractions such as 15.399999999999999 in the file."""
    text = (packaged_folder() / "detectors" / f"{model.name}.yaml").read_text(encoding="utf-8")
    assert "00000" not in text
    assert "99999" not in text
    assert text == entry_text(model)


@EVERY_PART
def test_motions_are_those_of_the_standard(model: DetectorModel) -> None:
    """Tangential, radial, presence: terms of IEC 63180 [terms 2nd]."""
    assert {d.motion for d in model.declared} <= {"tangential", "radial", "presence"}
    assert {"tangential", "radial"} <= {d.motion for d in model.declared}


@EVERY_PART
def test_no_presence_under_high_bays(model: DetectorModel) -> None:
    """A seated person's arm at nadir lies 11 to 20 dB below threshold from 8 m and above (our simulation)."""
    if model.kind == "infrared" and max(d.mounting for d in model.declared) > 6:
        assert "presence" not in {d.motion for d in model.declared}
        assert "no presence" in model.description


@EVERY_PART
def test_which_way_of_walking_reaches_farther(model: DetectorModel) -> None:
    """Radar senses walking toward it best (Doppler, f = 2v·cos ψ/λ), infrared lenses walking across (common
    practice, no source; our simulation shows exceptions, none of which the catalogue declares)."""
    reach = {(d.motion, d.mounting): largest_radius(d) for d in model.declared if d.motion != "presence"}
    for mounting in {d.mounting for d in model.declared}:
        tangential, radial = reach["tangential", mounting], reach["radial", mounting]
        if model.kind == "infrared":
            assert radial <= tangential
        else:
            assert tangential <= radial


@EVERY_PART
def test_frequencies_lie_in_the_exempt_bands(model: DetectorModel) -> None:
    """5.725–5.875 and 24.00–24.25 GHz: EN 300 440, 47 CFR 15.245/15.249 [V]."""
    assert EXEMPT_GHZ == ((5.725, 5.875), (24.0, 24.25))
    if model.kind == "microwave":
        assert model.frequency_ghz is not None
        assert any(low <= model.frequency_ghz <= high for low, high in EXEMPT_GHZ)
    else:
        assert model.frequency_ghz is None


@EVERY_PART
def test_walking_is_noticed_at_every_height_an_entry_is_meant_for(model: DetectorModel) -> None:
    """A mounting range that ends where nothing is seen on the floor would mislead."""
    assert model.mounting is not None
    for mounting in np.linspace(model.mounting.from_m, model.mounting.to_m, 9):
        for footprint in resolve(declarations_of(model), float(mounting)):
            if footprint.motion != "presence":
                assert outline(footprint, model.kind, float(mounting), 0.0).reach > 0.5


@EVERY_ENTRY
def test_packaged_entries_give_no_cause_for_a_second_look(model: DetectorModel) -> None:
    assert all("not declared" in note for note in notes(model))


@EVERY_ENTRY
def test_an_entry_reads_back_equal(model: DetectorModel, tmp_path: Path) -> None:
    path = write_entry(model, tmp_path)
    assert path == tmp_path / "detectors" / f"{model.name}.yaml"
    assert read_entry(path.read_text(encoding="utf-8"), str(path)) == model


@EVERY_PART
def test_between_two_declared_heights_the_radius_is_linear(model: DetectorModel) -> None:
    """r(H) = r₁ + (H − H₁)/(H₂ − H₁)·(r₂ − r₁) at every azimuth: the closed form."""
    phi = np.radians([0.0, 17.0, 45.0, 90.0, 200.0])
    for motion in ("tangential", "radial"):
        known = sorted((d for d in declarations_of(model) if d.motion == motion), key=lambda d: d.mounting)
        for low, high in pairwise(known):
            for share in (0.25, 0.5, 0.9):
                mounting = low.mounting + share * (high.mounting - low.mounting)
                (found,) = (f for f in resolve(declarations_of(model), mounting) if f.motion == motion)
                first, second = (d.shape.radius(np.cos(phi), np.sin(phi)) for d in (low, high))
                np.testing.assert_allclose(
                    found.shape.radius(np.cos(phi), np.sin(phi)), first + share * (second - first), rtol=1e-12
                )
                assert not found.extrapolated


def test_reach_between_and_beyond_declared_heights_by_hand() -> None:
    """Figures put in here, the outcome worked on paper: 4 m across from 2 m and 8 m across from 4 m."""
    declared = [
        {"mounting": 2, "motion": "tangential", "shape": {"circle": {"diameter": 4}}},
        {"mounting": 4, "motion": "tangential", "shape": {"circle": {"diameter": 8}}},
    ]
    model = DetectorModel.model_validate(
        {"raycover_detector": 1, "name": "x", "title": "x", "kind": "infrared", "declared": declared}
    )

    def radius(mounting: float, plane: float = 0.0) -> float:
        (footprint,) = resolve(declarations_of(model), mounting)
        return outline(footprint, "infrared", mounting, plane).reach

    assert radius(3.0) == pytest.approx(3.0, rel=1e-9)  # linear: 2 + (4 − 2)/2
    assert radius(1.5) == pytest.approx(1.5, rel=1e-9)  # below: the lens angle holds, 1.5·2/2
    assert radius(3.0, 1.5) == pytest.approx(1.5, rel=1e-9)  # half the drop, half the radius
    # above: slant range √(4² + 4²) holds, so r = √(32 − 5²) = √7, within the lens edge at 5 m
    assert radius(5.0) == pytest.approx(math.sqrt(7), rel=1e-9)


def test_microwave_reach_is_a_sphere_by_hand() -> None:
    """6 m radius from 2.5 m: slant √42.25 = 6.5 m, so √(6.5² − 1.75²) at desk height and √(6.5² − 3.3²) from 3.3 m."""
    declared = [{"mounting": 2.5, "motion": "radial", "shape": {"circle": {"diameter": 12}}}]
    model = DetectorModel.model_validate(
        {
            "raycover_detector": 1,
            "name": "x",
            "title": "x",
            "kind": "microwave",
            "frequency_ghz": 5.8,
            "declared": declared,
        }
    )
    (footprint,) = resolve(declarations_of(model), 2.5)
    assert outline(footprint, "microwave", 2.5, 0.75).reach == pytest.approx(math.sqrt(6.5**2 - 1.75**2), rel=1e-9)
    (footprint,) = resolve(declarations_of(model), 3.3)
    assert footprint.extrapolated
    assert outline(footprint, "microwave", 3.3, 0.0).reach == pytest.approx(math.sqrt(6.5**2 - 3.3**2), rel=1e-9)


def test_the_constructions_every_scene_may_name() -> None:
    assert set(CONSTRUCTIONS) <= set(CATALOGUE.constructions)
    assert {"concrete", "metal", "goods", "timber"} <= set(CATALOGUE.solids)
    assert all(made.source for made in CATALOGUE.constructions.values())
    assert all(made.source for made in CATALOGUE.solids.values())
    assert all(CATALOGUE.sources[f"material {name}"] for name in CATALOGUE.materials)
    assert "P.2040" in CATALOGUE.edition
    assert CATALOGUE.constructions["steel-panel"].kind == "opaque"
    assert CATALOGUE.constructions["wire-mesh-50"].kind == "open"
    assert [name for name, made in CATALOGUE.constructions.items() if not made.stops_infrared] == ["wire-mesh-50"]


@pytest.mark.parametrize(("name", "row"), [(n, r) for n, r in CONSTRUCTIONS.items() if r is not None])
def test_constructions_give_the_published_coherent_losses(name: str, row: str) -> None:
    """Coherent one-way loss at 0, 45 and 60°, 5.8 and 24.125 GHz, to 0.01 dB [C] from P.2040-3/4 rows [V]."""
    cos = np.cos(np.radians([0, 45, 60]))
    for frequency, expected in zip(BANDS_GHZ, COHERENT_DB[row], strict=True):
        made = loss_db(CATALOGUE.constructions[name].layers, frequency, cos, losses="coherent")
        np.testing.assert_allclose(made, expected, rtol=0, atol=0.0051)


def test_other_constructions_of_the_published_table() -> None:
    """18 mm plywood and 15 mm ceiling board stand in the same table [C]."""
    cos = np.cos(np.radians([0, 45, 60]))
    for name, row in (("plywood-18", "18 mm plywood"), ("ceiling-tile-15", "15 mm ceiling board")):
        for frequency, expected in zip(BANDS_GHZ, COHERENT_DB[row], strict=True):
            made = loss_db(CATALOGUE.constructions[name].layers, frequency, cos, losses="coherent")
            np.testing.assert_allclose(made, expected, rtol=0, atol=0.0051)


@pytest.mark.parametrize(("frequency_ghz", "loss"), [(5.8, 33.7), (24.125, 42.3)])
def test_coated_glazing_is_as_measured(frequency_ghz: float, loss: float) -> None:
    """One way 33.7 dB at 6.75 GHz and 42.3 dB at 16.95 GHz: arXiv 2405.01362, abstract [V]."""
    table = CATALOGUE.constructions["coated-glazing"].loss_table(frequency_ghz, "averaged")
    assert table.loss_db([1.0, 0.5]) == pytest.approx([loss, loss])


@pytest.mark.parametrize("frequency_ghz", [5.8, 24.125])
@pytest.mark.parametrize(
    ("name", "nearly_open"), [("curtain-heavy", True), ("blind-roller", True), ("blind-foil", False)]
)
def test_curtains_and_blinds(name: str, nearly_open: bool, frequency_ghz: float) -> None:
    """Cloth stops infrared and costs microwave next to nothing; metal in it stops both. Our assumption, no source;
    0.5 dB is 6 % of the reach."""
    made = CATALOGUE.constructions[name]
    loss_db = made.loss_table(frequency_ghz, "averaged").loss_db(np.cos(np.radians([0.0, 45.0])))
    assert made.stops_infrared
    assert (loss_db < 0.5).all() if nearly_open else np.isinf(loss_db).all()
    assert "our assumption" in made.source

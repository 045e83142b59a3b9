"""Every construction of the catalogue against an independent library, other measurements and a standard's brackets.

Status marks: [V] read in the source named, [2nd] read in a text about it, [C] computed, [M] from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
import tmm
from p2040 import BANDS_GHZ
from scipy.constants import speed_of_light

from raycover.catalogue import load_catalogue
from raycover.physics.slab import SPREAD_A, SPREAD_C, Layer, loss_db, reflectance, transmittance

CATALOGUE = load_catalogue()


def stacks() -> dict[str, tuple[Layer, ...]]:
    """Layers of every construction, and those through a stud where there is one that isn't metal."""
    found = {}
    for name, made in CATALOGUE.constructions.items():
        if made.kind != "layers":
            continue
        found[name] = made.layers
        if made.studs is not None and not made.studs.material.is_metal:
            gap = made.buildup.gap
            filled = Layer(made.layers[gap].thickness_m, made.studs.material)
            found[f"{name}, through a stud"] = (*made.layers[:gap], filled, *made.layers[gap + 1 :])
    return found


STACKS = stacks()
every_stack = pytest.mark.parametrize("name", list(STACKS))
both_bands = pytest.mark.parametrize("frequency_ghz", BANDS_GHZ)


@both_bands
@every_stack
def test_against_tmm_at_0_to_80_degrees(name: str, frequency_ghz: float) -> None:
    """PyPI `tmm`, an optics library of the other time sign: n = √(conj η). Powers passed and mirrored, TE and TM."""
    layers = STACKS[name]
    indices = [1.0, *(np.sqrt(np.conj(layer.permittivity(frequency_ghz))) for layer in layers), 1.0]
    depths = [np.inf, *(layer.thickness_m for layer in layers), np.inf]
    wavelength = speed_of_light / (frequency_ghz * 1e9)
    for angle in np.radians(np.arange(0, 81, 10)):
        passed = transmittance(layers, frequency_ghz, np.cos(angle))
        mirrored = reflectance(layers, frequency_ghz, np.cos(angle))
        for pol, t, r in zip("sp", passed, mirrored, strict=True):
            theirs = tmm.coh_tmm(pol, indices, depths, angle, wavelength)
            assert -20 * np.log10(abs(t)) == pytest.approx(-10 * np.log10(theirs["T"]), abs=1e-9)
            assert abs(t) ** 2 == pytest.approx(theirs["T"], abs=1e-9)
            assert abs(r) ** 2 == pytest.approx(theirs["R"], abs=1e-9)


@both_bands
@every_stack
def test_reversed_layers_pass_the_same(name: str, frequency_ghz: float) -> None:
    """Reciprocity, exact physics."""
    layers, cos = STACKS[name], np.cos(np.radians([0.0, 40.0, 80.0]))
    np.testing.assert_allclose(
        loss_db(layers, frequency_ghz, cos, losses="coherent"),
        loss_db(layers[::-1], frequency_ghz, cos, losses="coherent"),
        rtol=1e-9,
        atol=1e-12,
    )


@pytest.mark.parametrize(
    ("name", "at_5_8", "at_24", "within_db"),
    [
        ("glass-6", 2 + 0.2 * 5.8, 2 + 0.2 * 24.125, 4.0),
        ("door-wood-40", 4.85 + 0.12 * 5.8, 4.85 + 0.12 * 24.125, 5.0),
        ("concrete-200", 5 + 4 * 5.8, 5 + 4 * 24.125, 25.0),
        ("coated-glazing", 23 + 0.3 * 5.8, 23 + 0.3 * 24.125, 13.0),
    ],
)
def test_same_order_as_a_standard_s_building_losses(name: str, at_5_8: float, at_24: float, within_db: float) -> None:
    """3GPP TR 38.901 table 7.4.3-1 [M]: glass 2 + 0.2f, wood 4.85 + 0.12f, concrete 5 + 4f, coated glass 23 + 0.3f dB.

    Thicknesses are not given there: wide brackets, the same order and not the same wall.
    """
    made = CATALOGUE.constructions[name]
    for frequency, expected in ((5.8, at_5_8), (24.125, at_24)):
        assert float(made.loss_table(frequency, "averaged").loss_db(1.0)) == pytest.approx(expected, abs=within_db)


@pytest.mark.parametrize(
    ("name", "permittivity", "tangent"),
    [("acrylic", 2.61, 0.01), ("pvc", 2.71, 0.006), ("polycarbonate", 2.76, 0.006)],
)
def test_plastics_have_the_tangents_they_name(name: str, permittivity: float, tangent: float) -> None:
    """Permittivities and tan δ near 11 GHz: Riddle, Baker-Jarvis & Krupka, IEEE Trans. MTT 51 (2003) 727, through a
    university's table [2nd]; polycarbonate's tan δ [M]. tan δ = −Im η/Re η."""
    eta = CATALOGUE.materials[name].permittivity(11.0)
    assert eta.real == pytest.approx(permittivity)
    assert -eta.imag / eta.real == pytest.approx(tangent, rel=0.01)


def test_default_spread_covers_two_editions_of_one_table() -> None:
    """Edition 1 of P.2040 at 9 GHz, through another library's page: concrete 5.31 and 0.19305 S/m, brick 3.75 and
    0.038, plasterboard 2.94 and 0.054914, wood 1.99 and 0.049528, glass 6.27 and 0.059075 [2nd]."""
    editions = {
        "concrete": (5.31, 0.19305),
        "brick": (3.75, 0.038),
        "plasterboard": (2.94, 0.054914),
        "wood": (1.99, 0.049528),
        "glass": (6.27, 0.059075),
    }
    off = []
    for name, (permittivity, sigma) in editions.items():
        made = CATALOGUE.materials[name]
        off.append((made.a / permittivity - 1, made.c * 9**made.d / sigma - 1))
    a, c = np.abs(off).max(axis=0)
    assert a == pytest.approx(0.08, abs=0.01)
    assert c == pytest.approx(0.33, abs=0.01)
    assert a < 2 * SPREAD_A
    assert c < 2 * SPREAD_C


def test_what_is_in_the_catalogue() -> None:
    """The kinds that a designer of indoor detection meets; names describe, each has a source."""
    assert {
        "plasterboard-foil-12.5",
        "stud-wall-timber-100",
        "stud-wall-steel-100",
        "reinforced-concrete-200",
        "hollow-block-190",
        "door-hollow-40",
        "door-chipboard-44",
        "steel-door",
        "acrylic-5",
        "polycarbonate-multiwall-16",
        "grp-3",
        "pvc-strips-3",
    } <= set(CATALOGUE.constructions)
    assert {"goods", "cartons", "paper", "textiles", "plastic goods", "foodstuff", "liquid", "metal goods"} <= set(
        CATALOGUE.solids
    )
    for made in (*CATALOGUE.constructions.values(), *CATALOGUE.solids.values()):
        assert made.source


def test_solids_of_a_share_by_hand() -> None:
    """0.6 of polycarbonate: bulk loss 8.686·π·√ε·tan δ/λ = 8.686·π·1.6613·0.006/0.05169 = 5.26 dB/m, times 0.6."""
    assert CATALOGUE.solids["plastic goods"].loss_db_per_m(5.8) == pytest.approx(0.6 * 5.26, abs=0.03)


@both_bands
def test_what_common_sense_orders(frequency_ghz: float) -> None:
    """Common practice, no source: more layers cost more, steel studs more than none, bars more than none."""

    def at(name: str) -> float:
        return float(CATALOGUE.constructions[name].loss_table(frequency_ghz, "averaged").loss_db(1.0))

    for less, more in (
        ("stud-wall-100", "stud-wall-steel-100"),
        ("stud-wall-steel-100", "stud-wall-steel-125"),
        ("concrete-200", "reinforced-concrete-200"),
        ("hollow-block-190", "concrete-200"),
        ("door-hollow-40", "door-chipboard-44"),
        ("door-chipboard-44", "door-chipboard-54"),
    ):
        assert at(less) < at(more)
    assert at("plasterboard-foil-12.5") == math.inf

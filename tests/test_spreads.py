"""The varied cases: spread as they say, alike for the same seed, and each group independent of the others."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

import raycover
from raycover.catalogue import load_catalogue
from raycover.errors import InputError
from raycover.physics.infrared import contrast_factor, person_contrast
from raycover.scene.doubt import DoubtSpec
from raycover.spreads import SOURCES, Draws, in_words


def test_spreads_are_those_asked_for() -> None:
    draws = Draws(DoubtSpec(cases=512))
    assert draws.cross_section_db.std() == pytest.approx(3.94, rel=0.03)
    assert abs(draws.cross_section_db.mean()) < 0.05
    reach = 10 ** (draws.unit_reach_db("D1") / 40)
    assert 0.9 <= reach.min() < 0.901
    assert 1.099 < reach.max() <= 1.1
    poses = draws.poses("D1")
    assert np.abs(poses.raised_m).max() <= 0.1
    assert np.abs(poses.raised_m).max() > 0.08
    assert np.degrees(np.abs(poses.turned_rad)).max() <= 3
    assert np.bincount(poses.of).tolist() == [32] * 16


def test_groups_do_not_go_hand_in_hand() -> None:
    """Two scrambles of one sequence share their leading digits; shuffled, 120 pairs of groups stay uncorrelated."""
    draws = Draws(DoubtSpec(cases=256))
    columns = np.array([draws.even("unit", f"D{k}", k=4)[:, 0] for k in range(16)])
    off = np.corrcoef(columns)[~np.eye(16, dtype=bool)]
    assert np.abs(off).max() < 4 / np.sqrt(256)
    assert np.abs(off).mean() < 1.2 / np.sqrt(256)


def test_each_number_of_cases_and_seed_is_repeatable() -> None:
    one, two = Draws(DoubtSpec(seed=7)), Draws(DoubtSpec(seed=7))
    np.testing.assert_array_equal(one.even("x", k=5), two.even("x", k=5))
    assert not np.array_equal(one.even("x", k=5), Draws(DoubtSpec(seed=8)).even("x", k=5))


def test_nothing_varied_leaves_the_sheet_as_drawn() -> None:
    from raycover.physics.slab import transmittance

    made = load_catalogue().constructions["stud-wall-100"]
    sheet = Draws(DoubtSpec(thickness_percent=0, materials=0)).sheet(made, 5.8)
    te, tm = sheet.at(sheet.passed, np.array([0.5, 1.0]))
    assert np.ptp(te, axis=1).max() < 1e-6
    drawn = transmittance(made.layers, 5.8, [0.5, 1.0])
    np.testing.assert_allclose(te[:, 0], np.abs(drawn[0]) ** 2, rtol=1e-3)
    np.testing.assert_allclose(tm[:, 0], np.abs(drawn[1]) ** 2, rtol=1e-3)


def test_person_in_other_clothing() -> None:
    """0.7 clo is the ordinary person; less clothing is warmer outside: 26.9 °C against 25.8 at 20 °C, by hand [C]."""
    np.testing.assert_allclose(person_contrast([10, 20, 30], 0.7), contrast_factor([10, 20, 30]))
    assert person_contrast(20, 0.5) > 1 > person_contrast(20, 1.0)
    with pytest.raises(ValueError, match="insulation"):
        person_contrast(20, -0.1)


def test_every_spread_says_whose_word_it_is() -> None:
    keys = set(DoubtSpec.model_fields) - {"cases", "seed"}
    assert {source.key for source in SOURCES} == keys
    assert all(source.source and source.status in {"2nd", "C", "ours"} for source in SOURCES)


def test_words_leave_out_what_does_not_vary() -> None:
    assert in_words(DoubtSpec(aim_deg=0), {"infrared"}) == [
        "air ±2 K", "clothing 0.5 to 1 clo", "reach of a unit ±10 %", "mounting height ±0.1 m",
    ]  # fmt: skip
    assert "polarisation of the units" in in_words(DoubtSpec(), {"microwave"})


def test_cases_are_a_power_of_two() -> None:
    with pytest.raises(ValidationError, match="power of two"):
        DoubtSpec(cases=100)


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("doubt: {cases: 100}", "no power of two"),
        ("doubt: {clo: [1, 0.5]}", "ends below its start"),
        ("doubt: {thicknes_percent: 5}", "thickness_percent"),
        ("doubt: {reach_percent: -1}", "reach_percent"),
        ("doubt: {mounting: 3}", "mounting"),
    ],
)
def test_bad_doubt_is_an_error_with_its_line(line: str, says: str) -> None:
    with pytest.raises(InputError) as caught:
        raycover.load_text(f"raycover: 1\ntitle: t\n{line}\n")
    (problem,) = caught.value.problems
    assert problem.position.line == 3
    assert says in f"{problem.message} {problem.help}"

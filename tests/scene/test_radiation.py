"""What a file may not say of elevation, beams, speeds, settings and bodies: one message each, at its place."""

from __future__ import annotations

import pytest

import raycover
from raycover.errors import InputError, Problem

SCENE = """\
raycover: 1
{top}detectors:
  - name: D
    at: [0, 0]
    mounting: 2.5{own}
    pattern:
      kind: microwave
      frequency_ghz: 5.8
      declared:
        - {{mounting: 2.5, motion: radial, shape: {{circle: {{diameter: 12}}}}}}
      {key}
planes: [{{name: p, height: 0, extent: [0, 0, 1, 1]{plane}}}]
"""
BEAM = "{azimuth_deg: 0, off_axis_deg: 60, width_deg: 60}"


def refused(key: str = "", **more: str) -> Problem:
    words = {"top": "", "own": "", "plane": "", **more}
    with pytest.raises(InputError) as caught:
        raycover.load_text(SCENE.format(key=key, **words))
    return caught.value.problems[0]


@pytest.mark.parametrize(
    ("key", "code", "column"),
    [
        ("elevation: [[0, 1], [90, -0.5], [180, 0]]", "out-of-range", 32),
        ("elevation: [[0, 1], [200, 1]]", "out-of-range", 28),
        ("elevation: [[0, 1], [90, 0.5], [80, 0.1], [180, 0]]", "elevation-order", 38),
        ("elevation: [[0, 1], [90, 0.5]]", "elevation-ends", 27),
        ("elevation: [[10, 1], [180, 0.5]]", "elevation-ends", 19),
        ("elevation: [[0, 1], [60, 1], [65, 0], [70, 0], [180, 0]]", "elevation-without-reach", 18),
        ("elevation: [[0, 1]]", "wrong-length", 18),
        ("elevation: [[0, 0.1], [60, 1], [180, 0.5]]", "elevation-against-footprint", 18),
        (f"beams: [{BEAM}]\n      elevation: [[0, 1], [180, 1]]", "one-of-two", 7),
        ("reach_behind: 0.1\n      front_to_back_db: 10", "one-of-two", 7),
        ("reach_behind: 0.1\n      elevation: [[0, 1], [180, 1]]", "one-of-two", 7),
        ("beams: []", "wrong-length", 14),
        ("beams: [{azimuth_deg: 0, off_axis_deg: 60, width_deg: 0}]", "out-of-range", 61),
        ("beams: [{azimuth_deg: 0, off_axis_deg: 60}]", "missing-key", 15),
        ("band_hz: [100, 10]", "range-order", 16),
        ("band_hz: [10, 100]\n      speed: {from: 0.1, to: 2}", "one-of-two", 7),
        ("speed: {from: 2, to: 0.1}", "range-order", 14),
        ("speed: {from: 0, to: 0.1}", "out-of-range", 21),
        ("sensitivity_pct: {from: 80, to: 20}", "range-order", 24),
        ("front_to_back_db: -3", "out-of-range", 25),
    ],
)
def test_an_entry_that_cannot_be(key: str, code: str, column: int) -> None:
    problem = refused(key)
    assert (problem.code, problem.position.line, problem.position.column) == (code, 11 + key.count("\n"), column)


def test_a_table_must_reach_where_the_footprint_ends() -> None:
    """12 m across from 2.5 m ends atan(6/2.5) = 67.4° off the axis."""
    assert "67 degrees off the axis" in refused("elevation: [[0, 1], [60, 1], [65, 0], [70, 0], [180, 0]]").message


@pytest.mark.parametrize("key", ["elevation: [[0, 1], [180, 1]]", f"beams: [{BEAM}]", "band_hz: [1, 2]"])
def test_nothing_of_it_for_infrared(key: str) -> None:
    text = SCENE.format(key=key, top="", own="", plane="").replace("microwave\n      frequency_ghz: 5.8", "infrared")
    with pytest.raises(InputError) as caught:
        raycover.load_text(text)
    assert [p.code for p in caught.value.problems] == ["not-for-infrared"]


def test_settings_beyond_what_the_unit_allows() -> None:
    problem = refused(own="\n    sensitivity_pct: 5")
    assert (problem.code, problem.position.line) == ("sensitivity-range", 6)
    assert "10 to 100 % is what it allows" in problem.message
    wide = "sensitivity_pct: {from: 50, to: 150}"
    assert refused(wide, own="\n    sensitivity_pct: 160").code == "sensitivity-range"
    raycover.load_text(SCENE.format(key=wide, top="", own="\n    sensitivity_pct: 140", plane=""))


def test_bodies() -> None:
    assert refused(plane=", body: dancer").code == "not-allowed"
    assert refused(plane=", target_m2: 0").code == "out-of-range"
    assert refused(plane=", body: seated, target_m2: 1").code == "one-of-two"
    planes = raycover.load_text(SCENE.format(key="", top="", own="", plane=", body: seated")).planes
    assert planes[0].cross_section_m2 == 0.03
    assert refused(top="conditions: {derive_motions: yes}\n").code == "wrong-type"

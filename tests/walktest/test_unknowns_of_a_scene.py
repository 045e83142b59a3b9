"""What is thought of a scene's unknowns before any answer, from its `doubt`; what is watched; the text of a correction.

Worked by hand: ±10 % of reach, evenly, is a margin of 40·lg(1 ± 0.1): slope 40/ln 10 = 17.37 dB, over √3 1.003 dB; with
a person's cross section of 3.94 dB (3GPP TR 38.901, second hand) hypot(3.94, 1.003) = 4.066 dB.
"""

from __future__ import annotations

import numpy as np
import pytest

import raycover
from raycover.exchange.walktest_files import corrected_text
from raycover.spreads import Draws
from raycover.walktest.situated import Situated
from raycover.walktest.unknowns import AS_BUILT_DB, Unknowns, chance, unknowns_of

SCENE = """\
raycover: 1
rooms: [{name: Hall, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-100}]
partitions: [{name: Screen, line: [[4, 0], [4, 6]], height: 3, construction: plasterboard-12.5}]
detectors:
  - {name: M, model: microwave-omni-5.8, at: [2, 3], mounting: 2.5}
  - {name: P, model: ceiling-infrared-general, at: [6, 3], mounting: 2.5}
doubt: {cases: 64}
"""


def unknowns(text: str) -> Unknowns:
    there = Situated.of(raycover.load_text(text))
    response = there.respond(np.array([[5.0, 3.0, 0.0], [3.0, 3.0, 0.0]]), ["walk", "walk"])
    draws = Draws(there.scene.doubt)
    return unknowns_of(response, there.units, there.rays, there.weather, draws, there.scene.corrections)


def test_priors_are_those_of_the_doubt() -> None:
    found = unknowns(SCENE)
    prior = dict(zip(found.names, found.prior_db, strict=True))
    assert prior["microwave-omni-5.8"] == pytest.approx(4.066, abs=1e-3)
    assert 1.003 < prior["ceiling-infrared-general"] < 2.5
    assert AS_BUILT_DB < prior["plasterboard-12.5"] < prior["brick-100"] < 3
    assert not found.mean_db.any()
    surer = unknowns(SCENE.replace("{cases: 64}", "{cases: 64, cross_section_db: 0, reach_percent: 0}"))
    assert surer.prior_db[0] == pytest.approx(0.3)  # never nothing


def test_a_loss_cannot_sink_below_nothing() -> None:
    found = unknowns(SCENE)
    lowest = dict(zip(found.names, found.lowest_db, strict=True))
    loss = raycover.load_text(SCENE).catalogue.constructions["plasterboard-12.5"].loss_db(5.8, 1.0, "averaged")
    assert lowest["plasterboard-12.5"] == pytest.approx(-float(np.ravel(loss)[0]))
    assert lowest["microwave-omni-5.8"] == -np.inf


def test_corrections_in_force_are_measured_from_nothing() -> None:
    found = unknowns(SCENE + "corrections: {reach_db: {microwave-omni-5.8: -2}, loss_db: {brick-100: 1}}\n")
    mean = dict(zip(found.names, found.mean_db, strict=True))
    assert (mean["microwave-omni-5.8"], mean["brick-100"], mean["plasterboard-12.5"]) == (2.0, -1.0, 0.0)


def test_only_watched_units_count() -> None:
    there = Situated.of(raycover.load_text(SCENE))
    ground = np.array([[6.0, 3.0, 0.0], [6.0, 3.0, 0.0], [2.0, 3.0, 0.0]])
    response = there.respond(ground, ["walk"] * 3)
    alone = response.by_unit(np.zeros(response.n_unknowns))
    watched, _ = response.watching([there.only(["P"]), None, there.only(["P"])]).margins(np.zeros(response.n_unknowns))
    assert watched[0] == pytest.approx(alone[0, 1])
    assert watched[1] == pytest.approx(alone[1].max())
    assert watched[2] == -np.inf  # behind the screen nothing infrared passes


def test_chances_of_an_answer() -> None:
    assert chance(0.0) == pytest.approx(0.5)
    assert chance([-np.inf, np.inf]) == pytest.approx([0.01, 0.99])


@pytest.mark.parametrize("line_break", ["\n", "\r\n"])
def test_a_corrected_scene_keeps_its_text(line_break: str) -> None:
    text = SCENE.replace("\n", line_break)
    changed = corrected_text(text, "scene.yaml", {"loss_db": {"brick-100": 1.5}})
    assert changed.startswith(text)
    assert changed.count("\n") - changed.count("\r\n") == (0 if line_break == "\r\n" else changed.count("\n"))
    assert "# from a walk test, " in changed
    again = corrected_text(changed, "scene.yaml", {"loss_db": {"brick-100": 2.5}})
    assert again == changed.replace("1.5}", "2.5}")
    flow = corrected_text('{"raycover": 1, "grid": 0.5}', "scene.yaml", {"reach_db": {"M": -1.0}})
    assert raycover.load_text(
        flow.replace('"M"', "microwave-omni-5.8").replace("M:", "microwave-omni-5.8:")
    ).corrections

"""Corrections of a scene: honoured by everything that casts, said wherever they count, refused where they mean nothing.

Hand-worked: a way that crosses one sheet twice (there and back) loses twice its one-way loss, so −1.2 dB of reach and
+2.5 dB of one-way loss take 1.2 + 2 · 2.5 = 6.2 dB off the margin behind it, and 1.2 dB before it.
"""

from __future__ import annotations

import numpy as np
import pytest

import raycover
from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.catalogue import load_catalogue
from raycover.draw.plan import state_shown
from raycover.errors import InputError
from raycover.exchange.summary import summary
from raycover.loading import in_state
from raycover.proving.needs import prove
from raycover.proving.proof_words import assumptions
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.solving.doubt import chances
from raycover.solving.paths import trace

PLAIN = """\
raycover: 1
grid: 0.5
rooms: [{name: Hall, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-100}]
partitions: [{name: Screen, line: [[4, 0], [4, 6]], height: 3, construction: plasterboard-12.5}]
detectors: [{name: D1, model: microwave-omni-5.8, at: [2, 3], mounting: 2.5}]
planes: [{name: floor, height: 0}]
doubt: {cases: 16}
states: [{name: hot, conditions: {ambient_c: 30}}]
"""
CORRECTED = PLAIN + "corrections: {reach_db: {microwave-omni-5.8: -1.2}, loss_db: {plasterboard-12.5: 2.5}}\n"
BEHIND, BEFORE = (6.0, 3.0, 1.0), (3.0, 3.0, 1.0)


def differences(of: list[float], to: list[float]) -> list[float]:
    return [b - a for a, b in zip(of, to, strict=True)]


def test_probe_map_trace_and_chances_all_move_by_the_same() -> None:
    found: list[list[float]] = []
    for text in (PLAIN, CORRECTED):
        scene = raycover.load_text(text)
        building = build(scene)
        rays = RayScene(building)
        unit = make_units(scene, building)[0]
        points = np.array([BEHIND, BEFORE])
        weather = Weather.of(scene)
        plane = raycover.solve(scene)["floor"]
        row, behind, before = (int(np.argmin(abs(a - v))) for a, v in ((plane.y, 3), (plane.x, 5.25), (plane.x, 3)))
        traced = trace(unit, points, "any", rays, weather).margin_db()
        varied = chances([unit], points, "any", rays, weather, scene.doubt).draws
        found.append([probe(scene, p)[0].margin_db for p in (BEHIND, BEFORE)] + traced.tolist()
                     + [float(plane.margin_db[row, behind]), float(plane.margin_db[row, before])]
                     + varied[3].tolist())  # fmt: skip
    assert differences(*found) == pytest.approx([-6.2, -1.2] * 4, abs=1e-3)


def test_a_state_keeps_them() -> None:
    drawn, hot = (raycover.load_text(CORRECTED), in_state(raycover.load_text(CORRECTED), "hot"))
    assert probe(hot, BEHIND)[0].margin_db == pytest.approx(probe(drawn, BEHIND)[0].margin_db)


def test_a_loss_never_becomes_a_gain() -> None:
    scene = raycover.load_text(PLAIN + "corrections: {loss_db: {plasterboard-12.5: -20}}\n")
    assert probe(scene, BEHIND)[0].crossings[0].loss_db == 0


def test_reflections_stay_as_they_are() -> None:
    catalogue = load_catalogue()
    for name in ("plasterboard-12.5", "coated-glazing"):
        plain, corrected = catalogue.construction(name), catalogue.corrected({name: 3.0}).construction(name)
        assert plain is not None
        assert corrected is not None
        cos = np.array([0.3, 1.0])
        same = [made.reflection_table(5.8, "averaged").loss_db(cos) for made in (plain, corrected)]
        assert same[1] == pytest.approx(same[0])
        (loss, mirrored), (more, still) = (made.varied(5.8, cos) for made in (plain, corrected))
        assert more - loss == pytest.approx(3.0)
        assert still == pytest.approx(mirrored)
        assert corrected.loss_db(5.8, cos, "averaged") - plain.loss_db(5.8, cos, "averaged") == pytest.approx(3.0)


def test_they_are_said() -> None:
    scene = raycover.load_text(CORRECTED)
    (note,) = scene.warnings
    assert note.severity == "note"
    assert "reach of microwave-omni-5.8 −1.2 dB; loss of plasterboard-12.5 +2.5 dB one way" in note.message
    assert state_shown(scene) == ("as drawn", "corrections in force")
    figures = summary(raycover.solve(scene))
    assert figures["corrections"]["loss_db"] == {"plasterboard-12.5": 2.5}
    assert "corrections" not in summary(raycover.solve(raycover.load_text(PLAIN)))
    asked = "needs: [{name: All, rooms: [Hall]}]\n"
    said, unsaid = (" ".join(assumptions(prove(raycover.load_text(text + asked)))) for text in (CORRECTED, PLAIN))
    assert "Corrected by a test on site: reach of microwave-omni-5.8 −1.2 dB" in said
    assert "Corrected" not in unsaid


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("{reach_db: {microwave-omni-5.9: 1}}", "unknown-model"),
        ("{loss_db: {plasterbord: 1}}", "unknown-construction"),
        ("{loss_db: {steel-panel: 1}}", "nothing-to-correct"),
        ("{reach_db: {microwave-omni-5.8: 50}}", "out-of-range"),
        ("{reach: {microwave-omni-5.8: 1}}", "unknown-key"),
    ],
)
def test_what_means_nothing_is_refused(text: str, code: str) -> None:
    with pytest.raises(InputError) as caught:
        raycover.load_text(f"{PLAIN}corrections: {text}\n")
    (problem,) = caught.value.problems
    assert problem.position.line == 9
    assert problem.position.column > 10
    assert problem.code == code


def test_what_no_detector_has_is_warned_of() -> None:
    scene: Scene = raycover.load_text(PLAIN + "corrections: {reach_db: {ceiling-infrared-general: 1}}\n")
    assert [p.code for p in scene.warnings if p.severity == "warning"] == ["correction-unused"]

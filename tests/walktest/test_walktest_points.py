"""A walk test of a scene: its points are places one gets to, found by a tape, with what is expected there and why."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

import raycover
from raycover.asking.probe import probe
from raycover.errors import InputError
from raycover.scene.schema import Scene
from raycover.spreads import Draws
from raycover.walktest.answers import Answer, Answers
from raycover.walktest.floor import measured_from
from raycover.walktest.making import WalkTest, make_walk_test
from raycover.walktest.moves import MOVES
from raycover.walktest.reconciling import fit
from raycover.walktest.returned import compare
from raycover.walktest.situated import Situated
from raycover.walktest.unknowns import NOISE_DB, unknowns_of

SHOP = """\
raycover: 1
title: Shop
grid: 0.25
doubt: {cases: 16}
rooms:
  - name: Shop
    outline: [[0, 0], [10, 0], [10, 6], [0, 6]]
    height: 3
    walls: brick-100
    openings: [{edge: 0, at: 1, width: 1, height: 2, fill: door-wood-40, state: closed}]
partitions:
  - name: Back wall
    line: [[6, 0], [6, 6]]
    height: 3
    construction: plasterboard-12.5
    openings: [{at: 2.5, width: 1, height: 2.1, fill: door-wood-40, state: closed}]
solids: [{name: Safe, centre: [8, 5], size: [1, 1, 2], material: metal}]
cubicles: [{name: WC, at: [9.95, 0.05], turn_deg: 90, count: 2}]
detectors:
  - {name: M1, model: microwave-omni-5.8, at: [2, 3], mounting: 2.5}
  - {name: P1, model: ceiling-infrared-general, at: [8, 3], mounting: 2.5}
states: [{name: door open, set: {"Back wall/opening 0": open}}]
needs:
  - {name: Street, area: [[-3, 0], [-0.2, 0], [-0.2, 6], [-3, 6]], never: true}
  - {name: All, rooms: [Shop]}
"""


@lru_cache
def scene(text: str = SHOP) -> Scene:
    return raycover.load_text(text)


@lru_cache
def shop(n: int = 24) -> WalkTest:
    return make_walk_test(scene(), n_points=n)


def test_every_kind_is_there_in_one_short_round() -> None:
    test = shop()
    assert [p.number for p in test.points] == list(range(1, len(test.points) + 1))
    assert 6 <= len(test.points) <= 24
    purposes = " ".join(p.purpose for p in test.points)
    for kind in ('nobody here may trip a unit ("Street")', 'missed ("All", Shop)', "a cubicle", "in the field of P1"):
        assert kind in purposes
    assert 5 < test.length_m < 60


def test_points_can_be_stood_on_and_do_not_crowd() -> None:
    test = shop()
    at = np.array([p.at for p in test.points])
    apart = np.linalg.norm(at[:, None] - at[None], axis=-1)[~np.eye(len(at), dtype=bool)]
    assert apart.min() >= 0.375  # marks of 4 mm do not lie on one another
    inside = [p for p in test.points if p.room == "Shop"]
    for p in inside:
        assert 0.05 + 0.2 <= p.at[0] <= 9.95 - 0.2
        assert not (7.4 <= p.at[0] <= 8.6 and 4.4 <= p.at[1] <= 5.6), "in the safe, or closer than a body to it"


def test_what_is_expected_is_what_probe_says() -> None:
    for p in shop().points:
        margins = [
            view.margin_db
            for height in p.move.heights
            for view in probe(scene(), (p.at[0], p.at[1], p.at[2] + height), motion=p.move.motion)
        ]
        assert p.margin_db == pytest.approx(max(margins), abs=0.05)
        assert p.expected == ("yes" if p.chance >= 0.8 else "no" if p.chance <= 0.2 else "doubtful")


def test_places_are_measured_from_wall_faces() -> None:
    """(3, 1) in a room 10 × 6 m drawn to wall centre lines, brick 100 mm: 0.95 m from the south, 2.95 from the west."""
    there = Situated.of(scene())
    found = measured_from(scene(), there.building, np.array([3.0, 1.0, 0.0]))
    assert [(round(m.distance_m, 3), m.wall) for m in found] == [(0.95, "south"), (2.95, "west")]
    assert found[0].words == "0.95 m from the south wall"
    assert measured_from(scene(), there.building, np.array([-1.0, 1.0, 0.0])) == ()
    turned = raycover.load_text(SHOP + "north_deg: 0\n")  # north along +x: what lay south lies east
    assert measured_from(turned, there.building, np.array([3.0, 1.0, 0.0]))[0].wall == "east"


def test_fewer_points_a_state_and_one_unit() -> None:
    assert len(shop(3).points) == 3
    assert not shop().left_out
    assert "All, Shop" in shop(1).left_out
    opened = make_walk_test(scene(), state="door open", n_points=4)
    assert opened.scene.state == "door open"
    watched = make_walk_test(scene(), detectors=["P1"], n_points=6)
    assert {p.watch for p in watched.points} == {("P1",)}
    assert {p.unit for p in watched.points} == {"P1"}


def test_the_same_scene_gives_the_same_points() -> None:
    assert make_walk_test(scene(), n_points=24).points == shop().points


@pytest.mark.parametrize(
    "text",
    ["raycover: 1\nrooms: [{name: A, outline: [[0,0],[4,0],[4,4],[0,4]], height: 3, walls: brick-100}]\n",
     "raycover: 1\nrooms: [{name: A, outline: [[0,0],[0.3,0],[0.3,0.3],[0,0.3]], height: 3, walls: brick-100}]\n"
     "detectors: [{name: D, model: microwave-omni-5.8, at: [0.15, 0.15], mounting: 2.5}]\n"],
)  # fmt: skip
def test_nothing_to_test_is_said(text: str) -> None:
    with pytest.raises(InputError) as caught:
        make_walk_test(raycover.load_text(text))
    assert [p.code for p in caught.value.problems] == ["nothing-to-test"]


def test_a_scene_without_rooms_is_tested_where_its_detectors_are() -> None:
    text = (
        "raycover: 1\ndoubt: {cases: 16}\ndetectors: [{name: D, model: microwave-omni-5.8, at: [0, 0], mounting: 2.5}]"
    )
    test = make_walk_test(raycover.load_text(text + "\nplanes: [{name: f, height: 0, extent: [-6, -6, 6, 6]}]\n"))
    assert test.points
    assert {p.room for p in test.points} == {"outside"}


def answers(test: WalkTest, added_db: dict[str, float], **more: object) -> Answers:
    """What would be answered at a test's points without noise if reaches and losses were off by so much."""
    there = Situated.of(test.scene)
    response = there.respond(np.array([p.at for p in test.points]), [p.move.key for p in test.points])
    margin, _ = response.margins(np.array([added_db.get(name, 0.0) for name in response.names]))
    given = [
        Answer(p.number, p.at, p.move.key, p.watch, bool(m >= 0), "", scene().position())
        for p, m in zip(test.points, margin, strict=True)
    ]
    return Answers(tuple(given), 0, None)


def test_answers_as_predicted_ask_for_no_correction() -> None:
    returned = compare(scene(), answers(shop(), {}))
    assert returned.found.before.right.k == len(shop().points)
    assert returned.corrections() is None
    assert {p.verdict for p in returned.points} <= {"noticed as predicted", "quiet as predicted"}


def test_a_weak_unit_is_found() -> None:
    returned = compare(scene(), answers(shop(), {"microwave-omni-5.8": -9.0}))
    found = returned.corrections()
    assert found is not None
    assert found["reach_db"]["microwave-omni-5.8"] < -2
    assert returned.found.after.right.k > returned.found.before.right.k


def test_losses_as_seen_through_the_same_rays() -> None:
    """What the response makes of an added loss is what casting the corrected scene makes of it."""
    added = {"plasterboard-12.5": 2.0, "microwave-omni-5.8": -1.0}
    corrected = raycover.load_text(
        SHOP + "corrections: {reach_db: {microwave-omni-5.8: -1.0}, loss_db: {plasterboard-12.5: 2.0}}\n"
    )
    points = np.array([p.at for p in shop().points])
    moves = [p.move.key for p in shop().points]
    plain, cast = (Situated.of(s).respond(points, moves) for s in (scene(), corrected))
    said, _ = plain.margins(np.array([added.get(name, 0.0) for name in plain.names]))
    held, _ = cast.margins(np.zeros(cast.n_unknowns))
    near = np.isfinite(held) & (held > -25)
    assert near.sum() > 5
    assert said[near] == pytest.approx(held[near], abs=0.02)


def test_answers_that_do_not_fit_the_scene_are_refused() -> None:
    here = scene().position()
    wrong = Answers(
        (
            Answer(1, (100.0, 2.0, 0.0), "walk", (), True, "", here),
            Answer(2, (2.0, 2.0, 0.0), "walk", ("M9",), True, "", here),
        ), 0, None,
    )  # fmt: skip
    with pytest.raises(InputError) as caught:
        compare(scene(), wrong)
    assert [p.code for p in caught.value.problems] == ["far-away", "unknown-unit"]
    with pytest.raises(InputError, match="which the scene has not"):
        compare(scene(), Answers((Answer(1, (2.0, 2.0, 0.0), "walk", (), True, "", here),), 0, "dor open"))


def test_moves_stand_for_declared_motions() -> None:
    assert {move.motion for move in MOVES.values()} == {"any", "tangential", "radial", "presence"}
    assert MOVES["across"].said("M1") == "walk across the line to M1, a metre each way"


def test_on_a_cast_scene_truths_lie_within_what_is_stated() -> None:
    """Answers at 80 places of the shop, truths drawn from the priors (no loss below 0): two standard deviations hold
    95.4 % of normal truths; here ways by mirrors, two units and a best of three heights stand between. Over 40 seeds
    the share of intervals that hold lies between 90 % and 99 % (binomial, 99.9 %, some 120 of them)."""
    there = Situated.of(raycover.load_text(SHOP + "conditions: {reflections: 1}\n"))
    places = np.random.default_rng(5).uniform([0.4, 0.4, 0], [9.6, 5.6, 0], (80, 3)) * [1, 1, 0]
    response = there.respond(places, ["walk"] * len(places))
    known = unknowns_of(response, there.units, there.rays, there.weather, Draws(there.scene.doubt), None)
    held, n = 0, 0
    for seed in range(40):
        rng = np.random.default_rng([seed, 21])
        truth = np.maximum(rng.normal(0, known.prior_db), known.lowest_db)
        margin, _ = response.margins(truth)
        seen = margin + rng.normal(0, NOISE_DB, len(margin)) >= 0
        found = fit(response, seen, known, np.ones(len(truth), bool))
        spoken = found.sd_db < 0.9 * known.prior_db
        held += int((np.abs(found.added_db - truth) <= 2 * found.sd_db)[spoken].sum())
        n += int(spoken.sum())
    assert n > 60
    assert 0.90 <= held / n <= 0.99

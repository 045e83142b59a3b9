"""Units of two technologies: margins by hand, and exactly those of their halves combined, whoever asks."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from dual_scenes import halves, room
from numpy.typing import NDArray
from small_scenes import scene

import raycover
from raycover.asking.lobes import make_lobe
from raycover.asking.probe import probe
from raycover.asking.upright import limit_lines
from raycover.building.build import build
from raycover.building.upright_cut import CutLine
from raycover.draw.footprints import outline
from raycover.errors import InputError
from raycover.exchange.detector_file import entry_text, read_entry, typed
from raycover.proving.needs import prove
from raycover.proving.remedies import find_remedies
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.casting import OUTSIDE_LENS, Weather, judge
from raycover.solving.combining import for_people
from raycover.solving.coverage import Coverage, make_units
from raycover.solving.doubt import chances
from raycover.solving.surfaces import make_surfaces
from raycover.spreads import Draws
from raycover.walking.grid_walk import grid_walk
from raycover.walktest.moves import MOVES
from raycover.walktest.ways import respond

RULES = {
    "or": np.maximum,
    "and": np.minimum,
    "trigger-then-hold": lambda infrared, microwave: infrared,
}


@pytest.fixture(scope="module")
def alone() -> dict[str, Coverage]:
    """Each half solved as a unit of its own."""
    return {kind: raycover.solve(room(kind), threads=1) for kind in ("infrared", "microwave")}


def whole(coverage: Coverage, name: str) -> NDArray[np.floating]:
    """The one unit's margins on a whole plane."""
    plane = coverage[name]
    margin = np.full(plane.surface.shape, -np.inf, np.float32)
    if (patch := plane.patches[0]) is not None:
        margin[patch.window] = patch.margin_db
    return margin


@pytest.mark.parametrize("combine", RULES)
@pytest.mark.parametrize("plane", ["floor", "sit", "people"])
def test_maps_are_exactly_those_of_the_halves_combined(combine: str, plane: str, alone: dict[str, Coverage]) -> None:
    """A seated person is held (presence: the higher margin), everyone else must trigger first. Of a person at three
    heights each half counts by its best: the minimum is that of the halves' own maps, not height by height."""
    dual = raycover.solve(room(detector={"combine": combine}), threads=1)
    rule = np.maximum if combine == "trigger-then-hold" and plane == "sit" else RULES[combine]
    expected = rule(whole(alone["infrared"], plane), whole(alone["microwave"], plane))
    np.testing.assert_array_equal(whole(dual, plane), expected)
    assert dual[plane].count.max() == 1


def test_trigger_by_both_is_the_lower_until_it_holds(alone: dict[str, Coverage]) -> None:
    dual = raycover.solve(room(detector={"combine": "trigger-then-hold", "trigger": "both"}), threads=1)
    for name, rule in (("floor", np.minimum), ("sit", np.maximum)):
        expected = rule(whole(alone["infrared"], name), whole(alone["microwave"], name))
        np.testing.assert_array_equal(whole(dual, name), expected)


@pytest.mark.parametrize(("combine", "seen", "half"), [("or", True, "microwave"), ("and", False, "infrared")])
def test_behind_plasterboard_by_hand(combine: str, seen: bool, half: str) -> None:
    """2.5 m out on the floor: s = √(2.5² + 2.5²) = 3.536 m, s0 = √(6² + 2.5²) = 6.5 m, so +10.58 dB in the open, less
    twice the 1.30 dB of 12.5 mm plasterboard at 45° (slab formula of ITU-R P.2040): +7.98 dB by microwave; infrared
    sees no farther than 2 m, and not through plasterboard."""
    (view,) = probe(room(detector={"combine": combine}), (6, 3, 0))
    assert view.detected is seen
    infrared, microwave = view.halves
    assert microwave.margin_db == pytest.approx(40 * np.log10(6.5 / np.sqrt(12.5)) - 2 * 1.30, abs=0.02)
    assert (infrared.margin_db, infrared.cause, microwave.cause) == (-np.inf, "outside-lens", "none")
    assert view.decided_by == half
    assert view.margin_db == (microwave if seen else infrared).margin_db
    assert [c.object for c in view.crossings] == ["Screen"]


def test_behind_the_screen_it_is_held_but_not_switched_on() -> None:
    """A need for presence is met by what holds; one for walking is missed there."""
    area = [[5.3, 2.3], [6.3, 2.3], [6.3, 3.7], [5.3, 3.7]]
    needs = [{"name": motion, "area": area, "height": 0.75, "motion": motion} for motion in ("presence", "tangential")]
    found = prove(room(detector={"combine": "trigger-then-hold"}, needs=needs))
    assert [need.met for need in found.needs] == [True, False]
    ways = [need.places[0].way for need in found.needs]
    assert ways[0] is not None
    assert ways[0].words.startswith("microwave half: through plasterboard")
    assert ways[1] is not None
    assert (ways[1].unit, ways[1].cause, ways[1].words) == ("D1", "outside-lens", "infrared half: outside the lens")


@pytest.mark.parametrize("combine", RULES)
def test_needs_of_people_combine_the_halves_whole(combine: str) -> None:
    """The need's margin at every cell is that of the halves' own, best height first."""
    area = [[2.2, 1.2], [4.8, 1.2], [4.8, 4.8], [2.2, 4.8]]
    need = {"needs": [{"name": "All", "area": area, "heights": [0.3, 1.6], "motion": "tangential"}]}
    margin = {kind: prove(room(kind, **need)).needs[0].places[0].margin_db[0] for kind in ("infrared", "microwave")}
    dual = prove(room(detector={"combine": combine}, **need)).needs[0].places[0].margin_db[0]
    np.testing.assert_array_equal(dual, RULES[combine](margin["infrared"], margin["microwave"]))


def test_seats_are_held_by_either_half() -> None:
    """Seats ask for presence. The one behind the screen, about 3 m out: microwave alone. Margins are those of the
    halves, each at the height it sees best."""
    desks = [{"name": "Desks", "at": [5.9, 2.2], "count": 1, "seat": True}]
    line = {"or": True, "trigger-then-hold": True, "and": False}
    margins = [
        raycover.solve(room(kind, desks=desks), threads=1).seats[0].margin_db for kind in ("infrared", "microwave")
    ]
    for combine, noticed in line.items():
        (seat,) = raycover.solve(room(detector={"combine": combine}, desks=desks), threads=1).seats
        assert seat.noticed is noticed
        assert seat.margin_db == (max if noticed else min)(margins)
        assert seat.half == ("microwave" if noticed else "infrared")
        assert (seat.cause == "none") is noticed


def test_people_are_noticed_by_the_best_point_of_each_half() -> None:
    """Head seen by infrared, hip by microwave: both notice the person though no point has both."""
    dual = make_units(made := room(detector={"combine": "and"}), build(made))[0]
    infrared, microwave = np.array([-np.inf, 3.0, 1.0, -2.0]), np.array([4.0, -5.0, -1.0, -1.5])
    margin, half = for_people(dual, "any", [infrared, microwave], np.zeros(4), np.array([0, 0, 1, 1]))
    assert margin.max() == 3.0
    assert margin.tolist() == [-np.inf, 3.0, -1.0, -2.0]
    assert half[1] == 0  # the lower of 3 and 4 is infrared's, at the head
    assert half[2] == 1


def test_a_gap_names_the_half_that_it_hangs_on() -> None:
    plane = raycover.solve(room(detector={"combine": "and"}), threads=1)["floor"]
    gap = plane.gaps[0]
    assert (gap.detector, gap.half, gap.cause) == ("D1", "infrared", OUTSIDE_LENS)
    assert set(np.unique(plane.best_detector)) <= {-1, 0}


@pytest.mark.parametrize("combine", RULES)
def test_every_varied_case_combines_the_halves_cases(combine: str) -> None:
    """Case by case the same as the two halves asked by themselves; the housing's pose is one, so both tilt alike."""
    made = room(detector={"combine": combine})
    building = build(made)
    rays, weather, draws = RayScene(building), Weather.of(made), Draws(made.doubt)
    (unit,) = make_units(made, building)
    points = np.array([[3.5, 4.2, 0.0], [6.0, 3.0, 0.0], [4.4, 3.0, 1.0], [1.0, 1.0, 0.3]])
    ask: Any = lambda units: chances(units, points, "any", rays, weather, draws)  # noqa: E731
    infrared, microwave = (ask([part]) for part in unit.parts)
    found = ask([unit])
    np.testing.assert_array_equal(found.draws, RULES[combine](infrared.draws, microwave.draws))
    np.testing.assert_array_equal(found.margin_db, RULES[combine](infrared.margin_db, microwave.margin_db))
    # As drawn they are what the map says.
    lone = judge(unit, points, "any", rays, weather).margin_db
    near = np.isfinite(found.margin_db)
    np.testing.assert_allclose(found.margin_db[near], lone[near], atol=1e-4)


def test_heights_of_one_person_count_together_in_varied_cases() -> None:
    made = room(detector={"combine": "and"})
    building = build(made)
    rays, weather, draws = RayScene(building), Weather.of(made), Draws(made.doubt)
    (unit,) = make_units(made, building)
    ground = np.array([[3.5, 4.2, 0.0], [4.6, 3.0, 0.0]])
    points = np.concatenate([ground + np.array([0, 0, h]) for h in (0.3, 1.6)])
    both = chances([unit], points, "any", rays, weather, draws, n_heights=2)
    parts = [chances([part], points, "any", rays, weather, draws).draws.reshape(-1, 2, 2) for part in unit.parts]
    expected = np.minimum(*(part.max(axis=1) for part in parts))
    np.testing.assert_array_equal(both.draws.reshape(-1, 2, 2).max(axis=1), expected)


@pytest.mark.parametrize("combine", ["or", "and"])
def test_a_lobe_ends_where_the_halves_together_end(combine: str) -> None:
    """Along each direction the farther or the nearer end of both (each starts at the unit and has one end)."""
    made = room(detector={"combine": combine})
    building = build(made)
    rays, weather = RayScene(building), Weather.of(made)
    (unit,) = make_units(made, building)
    lobe = make_lobe(unit, rays, weather, n_azimuths=36, n_rings=12)
    ends = lobe.position + (lobe.distance_m[..., None] - 0.01) * lobe.directions
    inside = (lobe.distance_m > 0.1) & ~lobe.on_floor
    assert judge(unit, ends[inside], "any", rays, weather).margin_db.min() >= 0
    beyond = lobe.position + (lobe.distance_m[..., None] + 0.01) * lobe.directions
    far = inside & (beyond[..., 2] > 0.02)
    # Through a screen a lobe may end on its far side; nothing beyond an end is noticed.
    assert (judge(unit, beyond[far], "any", rays, weather).margin_db < 0).mean() > 0.99


@pytest.mark.parametrize(("combine", "reach"), [("or", 6.0), ("and", 2.0), ("trigger-then-hold", 2.0)])
def test_footprints_on_a_plan(combine: str, reach: float) -> None:
    """On the floor at azimuth 0: 2 m to the lens' edge, 6 m by microwave."""
    (unit,) = make_units(made := room(detector={"combine": combine}), build(made))
    line = outline(unit, "any", 0.0)
    assert line is not None
    assert line[:, 0].max() - 3.5 == pytest.approx(reach, abs=1e-6)


@pytest.mark.parametrize("combine", RULES)
def test_the_grid_walk_combines_runs(combine: str) -> None:
    """By declared footprints, so that runs are noticed by whole cells: walking asks to trigger, sitting to be held."""
    found = {}
    for kind in ("infrared", "microwave", "dual"):
        made = room(kind, detector={} if kind != "dual" else {"combine": combine}, grid=0.5)
        building = build(made)
        surface = next(s for s in make_surfaces(made, building)[0] if s.name == "floor")
        units = make_units(made, building)
        found[kind] = grid_walk(surface, units, {}, RayScene(building), Weather.of(made), threads=1)
    infrared, microwave, dual = (found[kind] for kind in ("infrared", "microwave", "dual"))
    np.testing.assert_array_equal(dual.chance, RULES[combine](infrared.chance, microwave.chance))
    seated = np.minimum if combine == "and" else np.maximum
    np.testing.assert_array_equal(dual.seated, seated(infrared.seated, microwave.seated))


def test_settings_and_masks_may_be_of_one_half() -> None:
    """Half the reach takes 40·log10(0.5) = −12.04 dB of the microwave half; a mask of infrared leaves it alone."""
    plain, lowered = room(), room(detector={"microwave_pct": 50})
    one, two = (probe(made, (3.5, 4.0, 0))[0] for made in (plain, lowered))
    assert two.halves[1].margin_db - one.halves[1].margin_db == pytest.approx(40 * np.log10(0.5), abs=1e-6)
    assert two.halves[0].margin_db == one.halves[0].margin_db
    masked = room(detector={"masks": [{"from_deg": 80, "to_deg": 100, "half": "infrared"}]})
    (view,) = probe(masked, (3.5, 4.0, 0))
    assert (view.halves[0].cause, view.halves[1].cause) == ("masked", "none")
    assert view.halves[1].margin_db == one.halves[1].margin_db


def test_a_half_that_does_not_declare_a_motion() -> None:
    """`and` then never notices it, `or` leaves it to the other half."""
    for combine, detected in (("or", True), ("and", False)):
        own = {"kind": "dual", "combine": combine, **halves(infrared=("tangential",))}
        made = scene(detectors=[{"name": "D1", "at": [0, 0], "mounting": 2.5, "pattern": own}])
        (view,) = probe(made, (0.5, 0, 0.75), motion="presence")
        assert view.detected is detected


@pytest.mark.parametrize(
    ("change", "code", "line"),
    [
        ({"detector": {"trigger": "both"}}, "trigger-without-hold", "trigger means nothing with combine: or"),
        ({"detector": {"combine": "xor"}}, "not-allowed", "combine"),
        ({"own": {"combine": None}}, "missing-key", "needs combine"),
        ({"own": {"microwave": None}}, "missing-key", "needs microwave"),
        ({"own": {"declared": [{"mounting": 2.5, "motion": "radial", "shape": {"circle": {"diameter": 3}}}]}},
         "not-for-dual", "belongs to one of its halves"),
        ({"own": {"frequency_ghz": 5.8}}, "not-for-dual", "belongs to one of its halves"),
        ({"own": {"trigger": "both"}}, "trigger-without-hold", "trigger means nothing"),
        ({"own": {"kind": "infrared"}}, "only-for-dual", "for dual patterns only"),
        ({"detector": {"masks": [{"from_deg": 0, "to_deg": 9, "loss_db": 3}]}}, "mask-loss", "always total"),
        ({"detector": {"microwave_pct": 500}}, "sensitivity-range", "microwave half"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(change: dict[str, Any], code: str, line: str) -> None:
    own = {"kind": "dual", "combine": "or", **halves(), **change.get("own", {})}
    own = {key: value for key, value in own.items() if value is not None}
    with pytest.raises(InputError) as caught:
        room(detector={"pattern": own, **change.get("detector", {})})
    assert code in {problem.code for problem in caught.value.problems}
    assert any(line in problem.message for problem in caught.value.problems)


@pytest.mark.parametrize("key", [{"combine": "or"}, {"trigger": "both"}, {"microwave_pct": 50},
                                 {"masks": [{"from_deg": 0, "to_deg": 9, "half": "infrared"}]}])  # fmt: skip
def test_keys_of_dual_units_are_refused_at_others(key: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="is for dual units"):
        room("infrared", detector=key)


def test_the_classroom_tells_its_story(classroom: Any) -> None:
    """Microwave alone is set off from the corridor behind its stud wall; triggered by infrared nothing there is.

    Seats at the ends of the rows are held by microwave alone: infrared alone would leave them in the dark.
    """
    assert all(seat.noticed for seat in classroom.coverage.seats)
    assert {seat.half for seat in classroom.coverage.seats} == {"microwave"}
    met = {}
    for combine in ("trigger-then-hold", "or", "and"):
        set_so = [d.model_copy(update={"combine": combine}) for d in classroom.scene.detectors]
        scene = classroom.scene.changed({"detectors": set_so}, classroom.scene.state, lambda places: places)
        met[combine] = [need.met for need in prove(scene).needs]
    assert met == {"trigger-then-hold": [True, True], "or": [True, False], "and": [False, True]}


@pytest.mark.parametrize("combine", RULES)
@pytest.mark.parametrize("move", ["across", "sit"])
def test_a_walk_test_on_site_expects_what_the_maps_say(combine: str, move: str) -> None:
    """The margins from which points are chosen are those of `judge`, a person's heights taken together."""
    made = room(detector={"combine": combine})
    building = build(made)
    rays, weather = RayScene(building), Weather.of(made)
    units = make_units(made, building)
    ground = np.array([[3.5, 4.2, 0.0], [6.0, 3.0, 0.0], [4.6, 2.0, 0.0], [2.0, 1.2, 0.0]])
    response = respond(ground, [move] * len(ground), units, ["D1"], rays, weather)
    found = response.margins(np.zeros(response.n_unknowns))[0]
    heights = MOVES[move].heights
    points = np.concatenate([ground + np.array([0, 0, height]) for height in heights])
    lifted, people = np.repeat(np.asarray(heights) < LIFT, 4), np.tile(np.arange(4), len(heights))
    seen = judge(units[0], points, MOVES[move].motion, rays, weather, lifted=lifted, people=people).margin_db
    np.testing.assert_allclose(found, seen.reshape(-1, 4).max(axis=0), atol=1e-5)


@pytest.mark.parametrize(("combine", "reach"), [("or", 6.0), ("and", 2.0), ("trigger-then-hold", 2.0)])
def test_limits_in_an_upright_cut(combine: str, reach: float) -> None:
    """In the upright plane along x, westward: 2 m on the floor to the lens' edge; microwave passes the wall, of which
    brick leaves it less than 6 m."""
    made = room(detector={"combine": combine})
    building = build(made)
    (unit,) = make_units(made, building)
    line = CutLine.between((0, 3), (8, 3))
    lines = limit_lines(unit, line, "tangential", RayScene(building), Weather.of(made))
    west = 3.5 - float(np.concatenate(lines)[:, 0].min())
    assert west == pytest.approx(reach, abs=0.06) if combine != "or" else 3.5 < west < reach


def test_an_entry_with_everything_reads_back_equal() -> None:
    made = halves()
    made["infrared"] |= {
        "source": "sheet 1",
        "zones": {"element": "dual", "rings": [{"off_axis_deg": 40, "count": 12, "width_deg": 11, "height_deg": 9}]},
    }
    made["microwave"] |= {"source": "sheet 2", "band_hz": [8, 60]}
    model = typed(
        {"raycover_detector": 1, "name": "own-dual", "title": "Own", "kind": "dual", "combine": "trigger-then-hold",
         "trigger": "both", **made, "mounting": {"from": 2, "to": 4}, "bus_current_ma": 12,
         "sensitivity_pct": {"from": 20, "to": 120}, "source": "sheet 3"}
    )  # fmt: skip
    assert read_entry(entry_text(model), "own-dual.yaml") == model
    infrared, microwave = model.parts
    assert (infrared.source, microwave.source) == ("sheet 1", "sheet 2")
    assert (infrared.settings_pct, microwave.mounting) == ((20, 120), model.mounting)


def test_a_remedy_by_sensitivity_sets_both_halves_back() -> None:
    """Where the microwave half has a setting of its own it is lowered by the same share: margins all shift alike."""
    area = [[6.2, 2.6], [6.6, 2.6], [6.6, 3.4], [6.2, 3.4]]
    needs = [{"name": "Beyond", "area": area, "height": 0, "motion": "tangential", "never": True}]
    made = room(detector={"combine": "or", "microwave_pct": 80, "sensitivity_pct": 100}, needs=needs)
    (trouble,) = find_remedies(prove(made))
    (lowered,) = [remedy for remedy in trouble.remedies if remedy.kind == "sensitivity"]
    assert lowered.stops
    assert lowered.keys["microwave_pct"] == pytest.approx(np.floor(8 * lowered.keys["sensitivity_pct"] + 1e-6) / 10)
    spec = made.detectors[0].model_copy(update=lowered.keys)
    after = prove(made.changed({"detectors": [spec]}, made.state, lambda places: places))
    assert after.met
    assert float(after.needs[0].places[0].best_db.max()) <= lowered.worst_db + 1e-6

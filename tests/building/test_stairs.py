"""Storeys, voids and stairs: heights, areas and limits worked by hand."""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.rays.ray_scene import RayScene
from raycover.solving.surfaces import make_surfaces

WELL = [[0, 0], [2.7, 0], [2.7, 6], [0, 6]]
HOLE = [[0, 1.5], [2.7, 1.5], [2.7, 6], [0, 6]]
ALL_ROUND = pattern({"circle": {"diameter": 30}}, mounting=2.5, motion="radial", frequency_ghz=5.8, reach_behind=1)
SEES_ALL = pattern({"circle": {"diameter": 400}}, mounting=2.5)


def storey(k: int, n: int, **more: Any) -> dict[str, Any]:
    voids = [{"outline": HOLE, "through": "floor"}] if k else []
    voids += [{"outline": HOLE, "through": "ceiling"}] if k < n - 1 else []
    return {
        "name": f"Stair {k}", "outline": WELL, "floor": 3 * k, "height": 3, "walls": "brick-215",
        "ceiling": "concrete-150", "floor_construction": "concrete-150", "voids": voids, **more,
    }  # fmt: skip


def stairs(**more: Any) -> dict[str, Any]:
    return {
        "name": "S", "at": [0.05, 1.5], "rise": 3, "risers": 18, "going": 0.25, "width": 1.25,
        "room": "Stair 0", **more,
    }  # fmt: skip


def stairwell(n: int = 2, **more: Any) -> raycover.Scene:
    kind = {"kind": "half-landing", "landing": 1.25, "repeat": n - 1}
    return scene(rooms=[storey(k, n) for k in range(n)], stairs=[stairs(**kind, **more)], grid=0.1)


def kinds(building: Building) -> Counter[str]:
    return Counter(sheet.kind for sheet in building.sheets if sheet.owner == "S")


def test_half_landing_counts_and_heights() -> None:
    """18 risers: nine to the landing at 1.5 m, nine on; eight treads a flight."""
    building = build(stairwell())
    assert kinds(building) == {"tread": 8 + 8 + 1, "riser": 18, "soffit": 2, "string": 4}
    (made,) = building.stairs
    assert (made.foot, made.head, made.span) == (0, 3, pytest.approx(2.6))
    lower, landing, upper = made.pieces
    assert landing.origin[2] == pytest.approx(1.5)
    assert lower.height(np.array([0.1, 1.9])) == pytest.approx([3 / 18, 8 * 3 / 18])
    assert upper.height(np.array([0.1, 1.9])) == pytest.approx([1.5 + 3 / 18, 1.5 + 8 * 3 / 18])
    # The upper flight comes back beside the lower one and ends over its foot.
    assert upper.origin[:2] == pytest.approx([0.05 + 1.35, 1.5 + 2.0])
    assert (upper.origin + upper.along * upper.length)[1] == pytest.approx(1.5)


def test_walking_surface_is_the_plan_area_of_treads_and_landing() -> None:
    """Two flights 8 × 0.25 × 1.25 m and a landing 1.25 × 2.6 m; twice that over two storeys."""
    for n in (2, 3):
        scene_ = stairwell(n)
        surfaces, _ = make_surfaces(scene_, build(scene_))
        (surface,) = [s for s in surfaces if s.stairs == "S" and s.plane == "floor"]
        assert surface.area.sum() == pytest.approx((n - 1) * (2 * 8 * 0.25 * 1.25 + 1.25 * 2.6))
        heights = np.unique(np.round(np.asarray(surface.floor)[surface.inside], 6))
        assert heights == pytest.approx([(k + 1) * 3 / 18 for k in range(18 * (n - 1)) if (k + 1) % 18], abs=1e-6)


def test_cells_lie_on_their_treads() -> None:
    """A ray straight down from just above a cell meets a tread or the landing within a hair."""
    scene_ = stairwell()
    building = build(scene_)
    surfaces, _ = make_surfaces(scene_, building)
    (surface,) = [s for s in surfaces if s.stairs and s.plane == "floor"]
    rows, columns = np.nonzero(surface.inside)
    points = surface.points(rows, columns, 0.0)
    rays = RayScene(building)
    hung = points + np.array([0, 0, 0.05])
    for point, above in zip(points[::37], hung[::37], strict=True):
        part = int(rays.first_blocker(rays.segments(above, (point - [0, 0, 0.05])[None]))[0])
        assert building.sheets[part].kind == "tread"


@pytest.mark.parametrize("hand", ["left", "right"])
@pytest.mark.parametrize("turn_deg", [0, 90, 37])
def test_every_kind_arrives_where_it_should(hand: str, turn_deg: float) -> None:
    turn = np.radians(turn_deg)
    ahead, right = np.array([-np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), np.sin(turn)])
    side = 1 if hand == "right" else -1
    for kind, along, across in (
        ("straight", 17 * 0.25, 0.0),
        ("half-landing", 0.0, side * 1.35),
        # Nine treads to the quarter landing, eight more to the side of it.
        ("quarter-turn", 8 * 0.25, (1.25 if side > 0 else 0) + side * 8 * 0.25),
    ):
        made = build(scene(stairs=[stairs(kind=kind, hand=hand, turn_deg=turn_deg, at=[5, 7], room=None)], planes=[
            {"name": "p", "height": 0, "extent": [0, 0, 1, 1]}])).stairs[0]  # fmt: skip
        last = made.pieces[-1]
        end = (last.origin + last.along * last.length)[:2] - [5, 7]
        corner = along * ahead + across * right
        # The end of the last tread is one of the two corners of the top edge.
        width = np.hypot(*(last.across[:2] * last.width))
        assert min(np.linalg.norm(end - corner), np.linalg.norm(end + last.across[:2] * width - corner)) < 0.11 or (
            kind == "quarter-turn" and np.linalg.norm(end - corner) < 1.26
        )
        assert last.origin[2] + (last.n_treads + 1) * last.rise == pytest.approx(3)


def test_a_flight_costs_its_waist_once() -> None:
    """From straight below a flight: 150 mm concrete at the pitch's incidence, and nothing for the steps.

    Pitch atan(166.7 / 250) = 33.7°, so a vertical ray meets the soffit at 33.7° to its normal.
    """
    made = scene(
        stairs=[stairs(room=None)],
        detectors=[detector((0.6, 3.6), 0.05, ALL_ROUND)],
        planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}],
        conditions={"losses": "coherent"},
    )
    (view,) = probe(made, (0.6, 3.6, 2.6))
    lossy = [c for c in view.crossings if c.loss_db > 0]
    assert [c.object for c in lossy] == ["S/flight 1/soffit"]
    assert lossy[0].incidence_deg == pytest.approx(math.degrees(math.atan(3 / 18 / 0.25)), abs=0.1)
    assert 21.0 < lossy[0].loss_db < 22.1  # 21.02 dB square on, 22.06 dB at 45° [C]


def test_infrared_does_not_pass_a_flight_nor_its_side() -> None:
    made = scene(stairs=[stairs(room=None)], planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}])
    rays = RayScene(build(made))
    side = rays.segments(np.array([-3.0, 3.5, 1.4]), np.array([[4.0, 3.5, 1.4]]))  # into the steps' flank
    over = rays.segments(np.array([-3.0, 3.5, 1.6]), np.array([[4.0, 3.5, 1.6]]))
    under = rays.segments(np.array([-3.0, 3.5, 0.9]), np.array([[4.0, 3.5, 0.9]]))
    assert [bool(rays.infrared_blocked(s)[0]) for s in (side, over, under)] == [True, False, False]


def test_open_risers_let_light_through_between_treads() -> None:
    made = [scene(stairs=[stairs(room=None, open_risers=flag)], planes=[
        {"name": "p", "height": 0, "extent": [0, 0, 1, 1]}]) for flag in (False, True)]  # fmt: skip
    assert [kinds(build(m))["riser"] for m in made] == [18, 0]
    assert [kinds(build(m))["string"] for m in made] == [2, 0]


def test_voids_are_cut_from_both_slabs_and_from_the_map() -> None:
    """Net slab between the storeys: 2.7 × 6 less 2.7 × 4.5 m, once; the upper map's floor is that too."""
    made = stairwell()
    building = build(made)
    slab = [s for s in building.sheets if s.kind in ("ceiling", "floor") and abs(s.frame.origin[2] - 3) < 1e-9]
    assert sum(s.polygon.area for s in slab) == pytest.approx(2.7 * 1.5)
    surfaces, _ = make_surfaces(made, building)
    upper = next(s for s in surfaces if s.storey == "+3.00" and s.plane == "floor")
    assert upper.area.sum() == pytest.approx(2.7 * 1.5)


def test_a_slab_is_crossed_once_from_storey_to_storey() -> None:
    solid = [{**storey(k, 2), "voids": []} for k in range(2)]
    made = scene(
        rooms=solid, detectors=[detector((1, 1), 2.0, ALL_ROUND, room="Stair 1")], conditions={"losses": "coherent"}
    )
    (view,) = probe(made, (1, 1, 1))
    assert [c.owner for c in view.crossings] == ["Stair 0"]
    assert view.crossings[0].loss_db == pytest.approx(21.02, abs=0.01)


def test_seen_from_below_through_the_void_and_not_through_the_slab() -> None:
    made = scene(
        rooms=[storey(0, 2), storey(1, 2)],
        detectors=[detector((1.35, 0.7), 2.9, SEES_ALL, room="Stair 1")],
        planes=[{"name": "floor", "height": 0}],
    )
    seen = {tuple(p): probe(made, p)[0].cause for p in ((1.35, 4, 0), (1.35, 0.7, 0))}  # type: ignore[arg-type]
    assert seen == {(1.35, 4, 0): "none", (1.35, 0.7, 0): "blocked"}


def test_named_storeys_and_their_surfaces() -> None:
    named = [{"name": "Ground", "floor": 0}, {"name": "First", "floor": 3}]
    coverage = raycover.solve(scene(rooms=[storey(0, 2), storey(1, 2)], storeys=named, grid=0.1))
    assert list(coverage) == ["floor Ground", "floor First", "desk Ground", "desk First"]
    assert coverage["floor First"].surface.storey == "First"


def test_two_stacked_rooms_in_one_storey_are_refused() -> None:
    with pytest.raises(raycover.InputError, match=r"stacked-in-storey"):
        build(scene(rooms=[storey(0, 2), storey(1, 2)], storeys=[{"name": "All", "floor": 0}]))


def test_a_split_level_is_one_storey() -> None:
    beside = {**storey(1, 2), "outline": [[2.7, 0], [6, 0], [6, 6], [2.7, 6]], "floor": 1.2, "voids": []}
    lower = {**storey(0, 2), "voids": []}
    coverage = raycover.solve(scene(rooms=[lower, beside], grid=0.1))
    assert list(coverage) == ["floor", "desk"]
    assert sorted(np.unique(coverage["floor"].surface.floor)) == [0, 1.2]


@pytest.mark.parametrize("kind", ["solids", "detectors"])
def test_stacked_rooms_ask_which_one_is_meant(kind: str) -> None:
    rooms = [{**storey(k, 2), "voids": []} for k in range(2)]
    thing: dict[str, Any] = (
        {"name": "box", "centre": [1, 1], "size": [0.3, 0.3, 0.3], "material": "metal"}
        if kind == "solids"
        else detector((1, 1), 2.0, ALL_ROUND)
    )
    with pytest.raises(raycover.InputError, match=r"which-room"):
        raycover.solve(scene(rooms=rooms, **{kind: [thing]}))
    box = {"name": "b", "centre": [1, 1], "size": [0.3, 0.3, 0.3], "material": "metal", "room": "Stair 1"}
    made = build(scene(rooms=rooms, solids=[box]))
    assert made.boxes.centre[0, 2] == pytest.approx(3.15)
    with pytest.raises(raycover.InputError, match=r"unknown room \"Stair 7\""):
        raycover.solve(scene(rooms=rooms, **{kind: [{**thing, "room": "Stair 7"}]}))


def test_a_stair_that_stops_short() -> None:
    with pytest.raises(raycover.InputError, match=r"arrives at 2\.800 m; the floor there is at 3\.000 m"):
        build(scene(rooms=[storey(0, 2), storey(1, 2)], stairs=[stairs(rise=2.8)]))


@pytest.mark.parametrize("kind", ["half-landing", "quarter-turn"])
def test_every_flight_has_a_tread(kind: str) -> None:
    """A flight of one riser has no tread; of two it has one. Without `risers` a low stair gets two a flight, too."""
    with pytest.raises(raycover.InputError, match=r"of 3 risers has a flight without a tread"):
        build(scene(rooms=[storey(0, 1, height=4)], stairs=[stairs(kind=kind, rise=0.5, risers=3)]))
    for risers in ({"risers": 4}, {"risers": None}):
        low = build(scene(rooms=[storey(0, 1, height=4)], stairs=[stairs(kind=kind, rise=0.5, **risers)]))
        assert [piece.n_treads for piece in low.stairs[0].pieces if piece.kind == "flight"] == [1, 1]


def test_only_half_landings_repeat() -> None:
    with pytest.raises(raycover.InputError, match="repeat-kind"):
        scene(stairs=[stairs(repeat=2)])


@pytest.mark.parametrize(("more", "said"), [
    ({"risers": 14}, r"rise of 214 mm.*150 to 170 mm"),
    ({"going": 0.2, "risers": 18}, r"going of 200 mm.*250 to 400 mm"),
    # 2 × 176.5 + 250 = 603 mm is within 550 to 700; the rise alone is above 170 mm.
    ({"risers": 17}, r"rise of 176 mm"),
    ({"kind": "half-landing", "landing": 0.9}, r"landing 900 mm.*1200 mm"),
])  # fmt: skip
def test_limits_of_approved_document_k(more: dict[str, Any], said: str) -> None:
    """Approved Document K table 1.1, general access: rise 150–170, going 250–400, 2R+G 550–700, landing 1200 mm [V]."""
    import re

    made = scene(rooms=[storey(0, 2), storey(1, 2)], stairs=[stairs(**more)])
    warnings = [p for p in made.warnings if p.code == "stair-limits"]
    assert warnings
    assert any(re.search(said, p.message) for p in warnings), [p.message for p in warnings]
    assert all("Approved Document K" in p.message and "local" in p.help for p in warnings)
    good = scene(rooms=[storey(0, 2), storey(1, 2)], stairs=[stairs(risers=18, going=0.28)])
    assert not [p for p in good.warnings if p.code == "stair-limits"]

"""Racking of every kind against counts, volumes and areas worked by hand, and its loads against what was asked for."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from collections import Counter
from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from box_extents import extents, overlap
from processes import LONGEST
from small_scenes import scene

from raycover.building.build import build
from raycover.building.loads import plan_loads
from raycover.building.mesh import box_triangles, sheet_triangles
from raycover.building.parts import Boxes, Building
from raycover.errors import InputError
from raycover.scene.storage import PRESETS, Racking

TURNS = [0.0, 90.0, 180.0, 270.0, 33.0, -118.5]
RACK = {"name": "R", "at": [3, 4], "bays": 4, "levels": 3}
SHELVES = {"name": "S", "kind": "shelving", "at": [0, 0], "bays": 5, "levels": 4}
ARMS = {"name": "C", "kind": "cantilever", "at": [0, 0], "bays": 3, "levels": 3}


def built(**parts: Any) -> Building:
    return build(scene(**parts))


def of_kind(boxes: Boxes, kind: str) -> np.ndarray:
    return np.flatnonzero(np.array(boxes.kinds) == kind)


def volumes(boxes: Boxes) -> dict[str, float]:
    """Volume (m³) by kind."""
    each = boxes.size.prod(axis=1)
    return {kind: float(each[of_kind(boxes, kind)].sum()) for kind in set(boxes.kinds)}


# ---- pallet racks


@pytest.mark.parametrize("turn_deg", TURNS)
def test_rack_counts_and_extent(turn_deg: float) -> None:
    """4 bays, 3 levels: 5 frames of 2 uprights, 2 beam levels front and rear, 3 pallets a bay and level."""
    building = built(racking=[{**RACK, "turn_deg": turn_deg}])
    assert Counter(building.boxes.kinds) == {"upright": 10, "beam": 16, "pallet": 36, "goods": 36}
    found = extents(building.boxes, (3, 4), turn_deg)
    frames = found[of_kind(building.boxes, "upright")]
    length = 4 * (2.7 + 0.1) + 0.1
    np.testing.assert_allclose(frames[:, 0].min(0), [0, 0, 0], atol=1e-9)
    np.testing.assert_allclose(frames[:, 1].max(0), [length, 1.1, 4.8], atol=1e-9)
    # a pallet 1.2 m deep stands out 50 mm front and rear of a frame of 1.1 m
    goods = found[of_kind(building.boxes, "goods")]
    np.testing.assert_allclose([goods[:, 0, 1].min(), goods[:, 1, 1].max()], [-0.05, 1.15], atol=1e-9)
    whole = extents(building.envelopes, (3, 4), turn_deg)[0]
    np.testing.assert_allclose(whole, [[0, -0.05, 0], [length, 1.15, 4.8]], atol=1e-9)
    (mark,) = building.racks
    assert shapely.Polygon(mark.corners).area == pytest.approx(length * 1.1)
    assert shapely.Polygon(mark.corners).exterior.is_ccw
    assert (mark.bottom, mark.top, mark.bays) == (0, pytest.approx(4.8), 4)


def test_every_load_stands_on_a_eur_pallet() -> None:
    """1200 × 800 × 144 mm [V, EN 13698-1, as PHYSICS §5 gives it], the short side along the aisle."""
    boxes = built(racking=[RACK]).boxes
    found = extents(boxes)
    pallets, goods = of_kind(boxes, "pallet"), of_kind(boxes, "goods")
    np.testing.assert_allclose(found[pallets, 1] - found[pallets, 0], np.tile([0.8, 1.2, 0.144], (36, 1)), atol=1e-9)
    np.testing.assert_allclose(found[goods, 0, 2], found[pallets, 1, 2], atol=1e-9)
    np.testing.assert_allclose(found[goods, 0, :2], found[pallets, 0, :2], atol=1e-9)
    assert {boxes.materials[k].name for k in pallets} == {"pallet"}
    assert volumes(boxes)["pallet"] == pytest.approx(36 * 1.2 * 0.8 * 0.144)


def test_volumes_in_closed_form() -> None:
    """Uprights 0.1 × 0.1 × 4.8, beams 2.7 × 0.05 × 0.12, loads to 0.15 m under the beam above."""
    found = volumes(built(racking=[RACK]).boxes)
    assert found["upright"] == pytest.approx(10 * 0.1 * 0.1 * 4.8)
    assert found["beam"] == pytest.approx(16 * 2.7 * 0.05 * 0.12)
    assert found["goods"] == pytest.approx(36 * 1.2 * 0.8 * (1.6 - 0.12 - 0.15 - 0.144))


@pytest.mark.parametrize(
    "rack",
    [
        RACK, {**RACK, "first_level": 0.3}, {**RACK, "back_to_back": True, "flue_gap": 0.1}, SHELVES, ARMS,
        {**ARMS, "back_to_back": True}, {**RACK, "bay_width": 3.6, "decks": "wire", "depth": 1.0},
    ],
)  # fmt: skip
def test_nothing_overlaps(rack: dict[str, Any]) -> None:
    """Loads stand on a level, below the next one, and overlap neither steel nor each other."""
    boxes = built(racking=[rack]).boxes
    found = extents(boxes)
    for i in range(len(boxes)):
        for j in range(i):
            assert overlap(found[i], found[j]) < 1e-9, (boxes.names[i], boxes.names[j])


def test_loads_stand_on_their_levels() -> None:
    boxes = built(racking=[RACK]).boxes
    found = extents(boxes)
    assert sorted(set(found[of_kind(boxes, "pallet"), 0, 2].round(9).tolist())) == [0, 1.6, 3.2]
    assert found[of_kind(boxes, "goods"), 1, 2].max() < 4.8


def test_heights_of_loads_given() -> None:
    """A height counts with its pallet; the top level's may end above the uprights."""
    boxes = built(racking=[{**RACK, "goods_height": 1.0, "top_of_load": 5.0, "frame_height": 3.4}]).boxes
    tops = extents(boxes)[of_kind(boxes, "goods"), 1, 2]
    assert sorted(set(tops.round(9).tolist())) == [1.0, 2.6, 5.0]
    building = built(racking=[{**RACK, "top_of_load": 5.0, "frame_height": 3.4}])
    assert building.racks[0].top == pytest.approx(3.4)
    assert extents(building.envelopes)[0, 1, 2] == pytest.approx(5.0)


def test_empty_frames() -> None:
    building = built(racking=[{**RACK, "goods": False}])
    assert set(building.boxes.kinds) == {"upright", "beam"}
    assert {m.name for m in building.boxes.materials} == {"metal"}
    assert not building.racks[0].loaded


def test_one_level_has_no_beams_unless_it_is_raised() -> None:
    assert Counter(built(racking=[{**RACK, "levels": 1}]).boxes.kinds) == {"upright": 10, "pallet": 12, "goods": 12}
    raised = built(racking=[{**RACK, "levels": 1, "first_level": 0.4}]).boxes
    assert len(of_kind(raised, "beam")) == 8
    assert extents(raised)[of_kind(raised, "beam"), 1, 2] == pytest.approx(0.4)


@pytest.mark.parametrize(("bay_width", "places"), [(0.9, 1), (1.8, 2), (2.7, 3), (3.6, 4), (1.5, 1)])
def test_pallets_beside_each_other(bay_width: float, places: int) -> None:
    """A EUR pallet takes 0.9 m of a beam: three in 2.7 m [M, PHYSICS §5: the bay's clear width]."""
    rack = {**RACK, "bay_width": bay_width}
    assert len(of_kind(built(racking=[rack]).boxes, "pallet")) == 4 * 3 * places


@pytest.mark.parametrize("turn_deg", TURNS)
def test_back_to_back(turn_deg: float) -> None:
    one, two = (built(racking=[{**RACK, "turn_deg": turn_deg, "back_to_back": b}]) for b in (False, True))
    assert len(two.boxes) == 2 * len(one.boxes)
    assert set(two.boxes.owners) == {"R"}
    found = extents(two.boxes, (3, 4), turn_deg)
    rear = np.array([name.startswith("R/rear") for name in two.boxes.names])
    frames = np.array([k == "upright" for k in two.boxes.kinds])
    np.testing.assert_allclose(found[rear & frames][:, 0, 1].min(), 1.1 + 0.25, atol=1e-9)
    np.testing.assert_allclose(found[rear & frames][:, 1, 1].max(), 2.45, atol=1e-9)
    between = max(overlap(a, b) for a in found[rear] for b in found[~rear])
    assert between == pytest.approx(-0.15)  # the flue of 0.25 less two overhangs
    assert len(two.envelopes) == 1
    assert two.envelopes.size[0] == pytest.approx([11.3, 2.55, 4.8])


def test_rack_stands_on_its_room() -> None:
    hall = {"name": "hall", "outline": [[0, 0], [30, 0], [30, 20], [0, 20]], "floor": 3.2, "height": 8, "walls": "none"}
    boxes = built(rooms=[hall], racking=[{**RACK, "base": 0.2}]).boxes
    assert extents(boxes)[:, 0, 2].min() == pytest.approx(3.4)


@pytest.mark.parametrize("turn_deg", TURNS)
def test_end_guards(turn_deg: float) -> None:
    """One across each end, 400 mm high [M, common practice], clear of the frames."""
    boxes = built(racking=[{**RACK, "turn_deg": turn_deg, "back_to_back": True, "end_guards": True}]).boxes
    found = extents(boxes, (3, 4), turn_deg)[of_kind(boxes, "guard")]
    np.testing.assert_allclose(found[0], [[-0.2, 0, 0], [-0.1, 2.45, 0.4]], atol=1e-9)
    np.testing.assert_allclose(found[1], [[11.4, 0, 0], [11.5, 2.45, 0.4]], atol=1e-9)


# ---- decks and shelves


@pytest.mark.parametrize("turn_deg", TURNS)
@pytest.mark.parametrize(("decks", "made_of"), [("wire", "wire-mesh-50"), ("chipboard", "chipboard-38")])
def test_decks(decks: str, made_of: str, turn_deg: float) -> None:
    """One sheet a level off the floor, a piece a bay between the beams, its top where the loads stand."""
    rack = {**RACK, "turn_deg": turn_deg, "decks": decks, "back_to_back": True}
    found = sorted((s for s in built(racking=[rack]).sheets if s.kind == "deck"), key=lambda s: s.name)
    assert [s.name for s in found] == [f"R/{row}/level {k} deck" for row in ("front", "rear") for k in (2, 3)]
    for sheet, level in zip(found, (1.6, 3.2, 1.6, 3.2), strict=True):
        assert sheet.construction.name == made_of
        assert sheet.polygon.area == pytest.approx(4 * 2.7 * (1.1 - 2 * 0.05))
        z = sheet.frame.to_space(shapely.get_coordinates(sheet.polygon))[:, 2]
        np.testing.assert_allclose(z, level - sheet.construction.thickness_m / 2, atol=1e-9)
        assert sheet_triangles(sheet.polygon).shape == (8, 3, 2)
    assert not [s for s in built(racking=[RACK]).sheets if s.kind == "deck"]


def test_many_pieces_are_cut_in_triangles_of_their_area() -> None:
    """Oblongs by two triangles each, others by ears; holes left out. The sum is the area, whatever the mix."""
    hole = shapely.box(20, 0, 23, 3).difference(shapely.box(21, 1, 22, 2))
    dart = shapely.Polygon([(30, 0), (34, 0), (31, 1), (30, 4)])
    pieces = shapely.MultiPolygon([*(shapely.box(2 * k, 0, 2 * k + 1, 2) for k in range(6)), hole, dart])
    triangles = sheet_triangles(pieces)
    sides = triangles[:, 1:] - triangles[:, :1]
    areas = np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]) / 2
    assert areas.sum() == pytest.approx(pieces.area)
    inside = [pieces.buffer(1e-9).contains(shapely.Polygon(t)) for t in triangles]
    assert all(inside)


def test_shelving() -> None:
    """5 bays of 0.95 m: 6 frames of 2 posts; shelves at 0.1, 0.5, 0.9, 1.3 m; two boxes a bay on each."""
    building = built(racking=[SHELVES])
    boxes = building.boxes
    assert Counter(boxes.kinds) == {"upright": 12, "goods": 40}
    shelves = [s for s in building.sheets if s.kind == "deck"]
    assert [s.name for s in shelves] == [f"S/level {k} shelf" for k in (1, 2, 3, 4)]
    assert {s.construction.name for s in shelves} == {"steel-shelf"}
    assert [s.polygon.area for s in shelves] == pytest.approx([5 * 0.95 * 0.5] * 4)
    found = extents(boxes)[of_kind(boxes, "goods")]
    assert sorted(set(found[:, 0, 2].round(9).tolist())) == pytest.approx([0.1, 0.5, 0.9, 1.3])
    assert volumes(boxes)["goods"] == pytest.approx(40 * (0.475 * 0.94) * 0.5 * (0.4 - 0.03 - 0.05))
    assert volumes(boxes)["upright"] == pytest.approx(12 * 0.05 * 0.05 * (0.1 + 4 * 0.4))
    assert {boxes.materials[k].name for k in of_kind(boxes, "goods")} == {"cartons"}
    boards = built(racking=[{**SHELVES, "shelf": "chipboard-18"}])
    assert {s.construction.name for s in boards.sheets} == {"chipboard-18"}


def test_cantilever() -> None:
    """4 columns at the rear, an arm each and level, loads from column to column that touch each other."""
    boxes = built(racking=[ARMS]).boxes
    assert Counter(boxes.kinds) == {"upright": 4, "beam": 12, "goods": 9}
    found = extents(boxes)
    columns, arms, goods = (found[of_kind(boxes, kind)] for kind in ("upright", "beam", "goods"))
    np.testing.assert_allclose([columns[:, 0, 1].min(), columns[:, 1, 1].max()], [1.0, 1.2], atol=1e-9)
    np.testing.assert_allclose([arms[:, 0, 1].min(), arms[:, 1, 1].max()], [0.0, 1.0], atol=1e-9)
    assert sorted(set(arms[:, 1, 2].round(9).tolist())) == pytest.approx([0.2, 1.2, 2.2])
    assert sorted(set(goods[:, 0, 2].round(9).tolist())) == pytest.approx([0.2, 1.2, 2.2])
    assert goods[:, :, 0].min() == pytest.approx(0.1)
    assert goods[:, :, 0].max() == pytest.approx(3 * 1.5 + 0.1)
    assert volumes(boxes)["goods"] == pytest.approx(9 * 1.5 * 1.0 * (1.0 - 0.15 - 0.15))
    assert {boxes.materials[k].name for k in of_kind(boxes, "goods")} == {"timber"}


def test_a_double_cantilever_has_its_columns_in_the_middle() -> None:
    building = built(racking=[{**ARMS, "back_to_back": True}])
    columns = extents(building.boxes)[of_kind(building.boxes, "upright")]
    assert sorted(set(columns[:, 0, 1].round(9).tolist())) == pytest.approx([1.0, 1.2])
    assert [mark.facing_back for mark in building.racks] == [False, True]


@pytest.mark.parametrize("turn_deg", TURNS)
def test_boxes_are_closed_and_face_outward(turn_deg: float) -> None:
    """trimesh calls each box a volume (closed, consistent, outward), of its closed-form size."""
    racks = [
        {**RACK, "back_to_back": True, "end_guards": True},
        {**SHELVES, "at": [40, 0]},
        {**ARMS, "at": [60, 3], "back_to_back": True},
    ]
    boxes = built(
        racking=[{**rack, "turn_deg": turn_deg} for rack in racks],
        solids=[
            {"name": "c", "centre": [90, -70], "size": [0.4, 0.7, 11], "turn_deg": turn_deg, "material": "concrete"}
        ],
    ).boxes
    triangles = box_triangles(boxes).reshape(len(boxes), 12, 3, 3)
    _, first = np.unique(np.round(boxes.size, 6), axis=0, return_index=True)
    for i in first.tolist():  # one of each size: they are all made alike
        mesh = trimesh.Trimesh(**trimesh.triangles.to_kwargs(triangles[i]))
        assert mesh.is_volume
        assert mesh.volume == pytest.approx(float(np.prod(boxes.size[i])))
    flat = triangles.reshape(-1, 3, 3)
    whole = np.einsum("ij,ij->i", flat[:, 0], np.cross(flat[:, 1], flat[:, 2])).sum() / 6
    assert whole == pytest.approx(float(boxes.size.prod(axis=1).sum()))


# ---- what is loaded


LONG = {"name": "R", "at": [0, 0], "bays": 50, "levels": 6}


def loaded(rack: dict[str, Any]) -> np.ndarray:
    """Lower corners (n, 3) of the pallets, in order."""
    boxes = built(racking=[rack]).boxes
    return extents(boxes)[of_kind(boxes, "pallet"), 0].round(6)


@pytest.mark.parametrize("fill", [0.0, 0.3, 0.8, 1.0])
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_fill_is_the_share_that_is_loaded(fill: float, seed: int) -> None:
    """900 places: the whole to the nearest one; each level within 4 standard deviations of a binomial draw."""
    found = loaded({**LONG, "fill": fill, "seed": seed})
    assert len(found) == round(900 * fill)
    deviation = math.sqrt(150 * fill * (1 - fill))
    for level in range(6):
        assert abs(int(np.isclose(found[:, 2], level * 1.6).sum()) - 150 * fill) <= 4 * deviation


def test_one_seed_one_draw() -> None:
    first, same, other = (loaded({**LONG, "fill": 0.5, "seed": seed}) for seed in (7, 7, 8))
    np.testing.assert_array_equal(first, same)
    assert len(other) == len(first)
    assert not np.array_equal(first, other)
    renamed = loaded({**LONG, "name": "Q", "fill": 0.5, "seed": 7})
    assert not np.array_equal(first, renamed), "two racks of one seed are not loaded alike"


def test_the_draw_is_the_same_in_another_process() -> None:
    """Nothing hangs on the order of sets or the hashing of text, which differ from process to process."""
    rack = {**LONG, "bays": 5, "fill": 0.5, "seed": 3}
    code = (
        "import sys, raycover; from raycover.building.loads import plan_loads\n"
        "scene = raycover.load_text(sys.stdin.read())\n"
        "print(plan_loads(scene.racking[0]).filled.ravel().astype(int).tolist())"
    )
    text = json.dumps({"raycover": 1, "racking": [rack]})
    here = plan_loads(scene(racking=[rack]).racking[0]).filled.ravel().astype(int).tolist()
    done = subprocess.run(
        [sys.executable, "-c", code], input=text, capture_output=True, text=True, check=True,
        env={**os.environ, "PYTHONHASHSEED": "12345"}, timeout=LONGEST,
    )  # fmt: skip
    assert json.loads(done.stdout) == here


def test_more_fill_only_adds() -> None:
    some, more = ({tuple(p) for p in loaded({**LONG, "fill": fill}).tolist()} for fill in (0.4, 0.6))
    assert some < more


def test_loads_by_level_and_bay() -> None:
    rack = {
        **RACK,
        "bays": 6,
        "loads": [
            {"level": 1, "bays": [1, 2, 5]},
            {"level": 2, "share": 0.5, "material": "liquid", "height": 1.0},
            {"level": 3, "bays": [6], "material": "cartons"},
        ],
    }
    building = built(racking=[rack])
    boxes = building.boxes
    goods = of_kind(boxes, "goods")
    found = extents(boxes, (3, 4))[goods]
    bay = ((found[:, 0, 0] - 0.1) / 2.8).astype(int) + 1
    level = (found[:, 0, 2] / 1.6).astype(int) + 1
    assert Counter(bay[level == 1].tolist()) == {1: 3, 2: 3, 5: 3}
    assert Counter(bay[level == 3].tolist()) == {6: 3}
    assert (level == 2).sum() == 9
    made_of = np.array([boxes.materials[k].name for k in goods])
    assert [set(made_of[level == k]) for k in (1, 2, 3)] == [{"goods"}, {"liquid"}, {"cartons"}]
    np.testing.assert_allclose(found[level == 2, 1, 2], 2.6)
    assert building.racks[0].loaded_bays.tolist() == [k in {*bay.tolist()} for k in range(1, 7)]


def test_loads_by_row() -> None:
    loads = [{"level": 1, "row": "front"}, {"level": 2, "bays": [1], "row": "rear"}]
    building = built(racking=[{**RACK, "back_to_back": True, "loads": loads}])
    boxes = building.boxes
    assert Counter(boxes.names[k] for k in of_kind(boxes, "goods")) == {"R/front/level 1": 12, "R/rear/level 2": 3}
    assert [mark.loaded_bays.tolist() for mark in building.racks] == [[True] * 4, [True, False, False, False]]


def test_a_hundred_thousand_parts() -> None:
    """40 bays, 20 levels, 3 places, back to back, 9 racks: counts in closed form, one sheet a row and level."""
    big = {"bays": 40, "levels": 20, "back_to_back": True, "decks": "wire"}
    building = built(racking=[{"name": f"R{k}", "at": [0, 5 * k], **big} for k in range(9)])
    each = {"upright": 2 * 41 * 2, "beam": 2 * 40 * 2 * 19, "pallet": 2 * 40 * 20 * 3, "goods": 2 * 40 * 20 * 3}
    assert Counter(building.boxes.kinds) == {kind: 9 * n for kind, n in each.items()}
    assert len(building.boxes) > 100_000
    assert len(building.sheets) == 9 * 2 * 19
    assert len(building.mesh.triangles) == 12 * len(building.boxes) + 9 * 2 * 19 * 40 * 2


# ---- presets


@pytest.mark.parametrize(
    ("name", "duty", "aisle"),
    [
        ("counterbalance", "400", (3.7, 3.7)),
        ("reach", "400", (2.7, 2.7)),
        ("very-narrow-aisle", "300A/B", (1.6, 1.8)),
    ],
)
def test_presets(name: str, duty: str, aisle: tuple[float, float]) -> None:
    """EN 15620 classes [V]; bay 2.7 m, frame 1.1 m, flue 200–300 mm, pitch 1.5–2.0 m, aisles [M], PHYSICS §5."""
    preset = PRESETS[name]
    rack = scene(racking=[{"name": "R", "at": [0, 0], "bays": 1, "preset": name}]).racking[0]
    assert duty in preset.duty
    assert rack.aisle == aisle
    assert (rack.bay_width, rack.depth) == (2.7, 1.1)
    assert 0.2 <= rack.flue_gap <= 0.3
    assert 1.5 <= rack.level_pitch <= 2.0
    assert rack.places_per_bay == 3
    assert preset.source


def test_a_key_that_is_written_wins_over_the_preset() -> None:
    given = {"preset": "reach", "levels": 3, "level_pitch": 2.0, "flue_gap": 0.0, "bay_width": 1.8}
    rack = scene(racking=[{"name": "R", "at": [0, 0], "bays": 1, **given}]).racking[0]
    assert (rack.levels, rack.level_pitch, rack.flue_gap, rack.bay_width, rack.depth) == (3, 2.0, 0.0, 1.8, 1.1)
    assert rack.frame_top == 6.0


def test_an_editor_is_not_told_to_ask_for_levels() -> None:
    """A preset brings them, so the JSON Schema leaves them free; without one they are asked for on reading."""
    assert "levels" not in Racking.model_json_schema()["required"]
    with pytest.raises(InputError) as caught:
        scene(racking=[{"name": "R", "at": [0, 0], "bays": 1}])
    assert "levels" in caught.value.problems[0].message

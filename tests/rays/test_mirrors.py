"""Which surfaces of a building mirror, and which of them a unit has an image in."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.rays.mirrors import Images, Mirrors, images_of, make_mirrors, smallest_side_m
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units

ROUND = pattern({"circle": {"diameter": 12}}, mounting=2.5, motion="radial", frequency_ghz=5.8, reach_behind=1)
ROOM = {"name": "room", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "height": 3, "walls": "brick-100"}


def mirrors_of(made: Scene) -> Mirrors:
    return make_mirrors(build(made), "embree")


def names(mirrors: Mirrors, images: Images | None = None) -> list[str]:
    chosen = range(len(mirrors)) if images is None else np.flatnonzero(images.allowed).tolist()
    return sorted(mirrors.name(k) for k in chosen)


def images(made: Scene, *, every: bool = False) -> list[str]:
    """Names of the mirrors in which the scene's only unit has an image."""
    building = build(made)
    mirrors = make_mirrors(building, "embree")
    (unit,) = make_units(made, building)
    found = images_of(mirrors, unit.position, unit.mounting, 5.8, "averaged", every=every)
    return names(mirrors, found)


def one(mounting: float = 2.5, at: tuple[float, float] = (4, 3), room: str | None = None, **parts: Any) -> Scene:
    held = {} if room is None else {"room": room}
    return scene(detectors=[detector(at, mounting, ROUND, **held)], **parts)


def test_smallest_side_is_a_fresnel_zone() -> None:
    """First zone's radius √(λ·d1·d2/(d1 + d2)), λ 51.7 and 12.4 mm, 3 m legs: 0.279 and 0.137 m. [C]"""
    assert smallest_side_m(5.8) / 2 == pytest.approx(0.279, abs=0.001)
    assert smallest_side_m(24.125) / 2 == pytest.approx(0.137, abs=0.001)


def test_a_wall_with_a_door_is_one_mirror() -> None:
    """The door that fills the hole is another; so is what another construction continues in the same plane."""
    door = {"edge": 0, "at": 3, "width": 0.9, "height": 2.1, "fill": "door-wood-40"}
    mirrors = mirrors_of(scene(rooms=[{**ROOM, "openings": [door]}]))
    assert names(mirrors) == ["room/opening 0", "room/wall 0", "room/wall 1", "room/wall 2", "room/wall 3"]
    assert sorted(mirrors.area)[0] == pytest.approx(0.9 * 2.1, rel=0.01)
    assert mirrors.n_planes == 4


def test_walls_of_rooms_in_a_row_and_over_each_other_are_one_mirror() -> None:
    """Two rooms side by side on two storeys: their four walls on y = 0 are one mirror of 8 × 6 m."""
    rooms = [
        {**ROOM, "name": f"{x}{z}", "outline": [[x, 0], [x + 4, 0], [x + 4, 6], [x, 6]], "floor": z}
        for x in (0, 4)
        for z in (0, 3)
    ]
    mirrors = mirrors_of(scene(rooms=rooms))
    upright = np.abs(mirrors.normal[mirrors.plane, 1]) > 0.99
    assert upright.sum() == 2
    assert mirrors.area[upright] == pytest.approx([48, 48], rel=0.01)


def test_apart_in_one_plane_are_two_mirrors_and_one_image() -> None:
    walls = [
        {"name": name, "line": [[x, 1], [x + 2, 1]], "height": 3, "construction": "steel-panel"}
        for name, x in (("a", 0), ("b", 5))
    ]
    mirrors = mirrors_of(scene(partitions=walls, planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}]))
    assert names(mirrors) == ["a", "b"]
    assert mirrors.n_planes == 1


def test_mesh_and_stair_treads_reflect_nothing() -> None:
    mesh = {"name": "mesh", "line": [[0, 1], [2, 1]], "height": 3, "construction": "wire-mesh-50"}
    stairs = {
        "name": "S", "kind": "straight", "at": [2, 1], "rise": 2.8, "going": 0.28, "width": 1.2, "risers": 16,
        "construction": "concrete-150",
    }  # fmt: skip
    assert names(mirrors_of(scene(rooms=[{**ROOM, "walls": "none"}], partitions=[mesh], stairs=[stairs]))) == [
        "S/flight 1/soffit"
    ]


def test_own_floor_and_ceiling_are_left_out() -> None:
    """Floor, slab and tiles of the unit's own room; those of the next storey mirror."""
    slabs = {"ceiling": "concrete-150", "floor_construction": "concrete-150"}
    above = {**ROOM, **slabs, "name": "above", "floor": 3}
    room = {**ROOM, **slabs, "suspended_ceiling": {"height": 2.6}}
    walls = [f"room/wall {k}" for k in range(4)]
    assert images(one(room="room", rooms=[room, above])) == sorted(["above/ceiling", *walls])
    everything = sorted(["above/ceiling", "room/ceiling", "room/floor", "room/suspended ceiling", *walls])
    assert images(one(room="room", rooms=[room, above]), every=True) == everything
    # Above the tiles it is the same room; and a unit in the tiles neither crosses them nor mirrors in them.
    assert images(one(2.8, room="room", rooms=[room, above])) == sorted(["above/ceiling", *walls])
    assert images(one(2.6, room="room", rooms=[room, above]), every=True) == [
        name for name in everything if name != "room/suspended ceiling"
    ]
    # A unit upstairs has the ground floor below the slab it stands on.
    upstairs = scene(rooms=[room, above], detectors=[detector((4, 3), 2.5, ROUND, room="above")])
    assert images(upstairs) == sorted(["room/floor", "room/suspended ceiling", *walls])


def test_own_roof_is_a_ceiling() -> None:
    roof = {"kind": "pitched", "ridge": "x", "eaves": 3, "ridge_height": 5, "construction": "steel-panel"}
    room = {"name": "hall", "outline": ROOM["outline"], "walls": "brick-100", "roof": roof}
    assert images(one(rooms=[room])) == [f"hall/wall {k}" for k in range(4)]
    assert len(images(one(rooms=[room]), every=True)) == 6


def test_over_a_void_the_floor_below_is_the_units_own() -> None:
    """A unit over a stair well stands over the floor that is seen through it; one beside the well does not."""
    slabs = {"ceiling": "concrete-150", "floor_construction": "concrete-150"}
    well = [[2, 2], [6, 2], [6, 5], [2, 5]]
    rooms = [
        {**ROOM, **slabs, "voids": [{"outline": well, "through": "ceiling"}]},
        {**ROOM, **slabs, "name": "above", "floor": 3, "voids": [{"outline": well, "through": "floor"}]},
    ]
    upstairs = {"mounting": 2.5, "made": ROUND, "room": "above"}
    assert "room/floor" not in images(scene(rooms=rooms, detectors=[detector((4, 3), **upstairs)]))
    assert "room/floor" in images(scene(rooms=rooms, detectors=[detector((1, 1), **upstairs)]))


def test_sheets_and_flights_mirror_whatever_they_lie_under() -> None:
    """A `sheet` flat over the unit is no ceiling of a room, and mirrors."""
    sheet = {
        "name": "canopy", "corners": [[1, 1, 2.9], [7, 1, 2.9], [7, 5, 2.9], [1, 5, 2.9]], "construction": "steel-panel"
    }  # fmt: skip
    assert "canopy" in images(one(rooms=[ROOM], sheets=[sheet]))


def test_a_unit_fixed_to_a_wall_does_not_mirror_in_it() -> None:
    """Within half the wall's thickness of its centre line it is on its face; a hand's breadth off it mirrors."""
    assert "room/wall 3" not in images(one(rooms=[ROOM], at=(0.05, 3)))
    assert "room/wall 3" in images(one(rooms=[ROOM], at=(0.15, 3)))


def test_boxes_mirror_outward_with_sides_large_enough() -> None:
    """A machine of 2 × 1 × 0.4 m: top and bottom are large enough at 5.8 GHz, its sides of 0.4 m are not."""
    box = {"name": "M", "centre": [4, 3], "size": [2, 1, 0.4], "material": "metal"}
    made = one(solids=[box], planes=[{"name": "p", "height": 0, "extent": [0, 0, 1, 1]}])
    mirrors = mirrors_of(made)
    assert len(mirrors) == 6
    assert images(made) == ["M", "M"]
    top = int(np.flatnonzero(np.isclose(mirrors.offset * np.sign(mirrors.normal[:, 2]), 0.4))[0])
    above = np.sign(mirrors.normal[top, 2])
    points = np.array([[4.2, 3.1, 0.4], [5.2, 3.1, 0.4]])
    planes = np.full(2, top, np.int32)
    assert (mirrors.hit(planes, points, np.full(2, above))[0] >= 0).tolist() == [True, False]
    assert (mirrors.hit(planes, points, np.full(2, -above))[0] >= 0).tolist() == [False, False]


def test_racking_fronts() -> None:
    """Loads' fronts mirror, as what they are of; frames and beams are too narrow."""
    rack = {"name": "R", "at": [0, 1], "bays": 3, "levels": 3, "bay_width": 2.7}
    hall = {**ROOM, "walls": "none", "height": 8}
    for material, loss in (("metal goods", 0.0), ("goods", 14.7)):
        mirrors = mirrors_of(scene(rooms=[hall], racking=[{**rack, "goods_material": material}]))
        assert not [k for k in range(len(mirrors)) if "upright" in mirrors.name(k) and mirrors.side[k] > 0.2]
        front = [
            k for k in range(len(mirrors))
            if mirrors.side[k] >= smallest_side_m(5.8) and abs(mirrors.normal[mirrors.plane[k], 1]) > 0.99
        ]  # fmt: skip
        assert front
        assert {mirrors.made_of[mirrors.made[k]].name for k in front} == {material}
        cosine = np.ones(len(front))
        assert mirrors.reflect_db(np.array(front, np.int32), cosine, 5.8, "averaged") == pytest.approx(loss, abs=0.05)


def test_goods_reflect_as_a_half_space_of_their_index() -> None:
    """((1.45 − 1)/(1.45 + 1))² = 3.37 %, 14.72 dB square on; all of it at grazing. [C]"""
    from raycover.catalogue import load_catalogue
    from raycover.rays.reflecting import reflection_table

    table = reflection_table(load_catalogue().solids["goods"], 5.8, "averaged")
    assert table.loss_db(1.0) == pytest.approx(-20 * math.log10(0.45 / 2.45), abs=0.01)
    assert table.loss_db(1e-4) < 0.1


def test_no_more_is_reflected_and_passed_than_arrives() -> None:
    """|R|² + |T|² ≤ 1 for every sheet of the catalogue at 0–89°."""
    from raycover.catalogue import load_catalogue
    from raycover.rays.reflecting import reflection_table

    cos = np.cos(np.radians(np.arange(0, 90, 1.0)))
    for construction in load_catalogue().constructions.values():
        for frequency in (5.8, 24.125):
            for losses in ("averaged", "coherent"):
                back = 10 ** (-reflection_table(construction, frequency, losses).loss_db(cos) / 10)
                on = 10 ** (-construction.loss_table(frequency, losses).loss_db(cos) / 10)
                # Averaged tables of each are interpolated, and averaged over different variants.
                assert (back + on).max() <= 1 + 5e-3, construction.name

"""What is seen and heard through racking, against projections by shapely and losses worked by hand."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.constants import speed_of_light
from small_scenes import detector, open_floor, pattern, scene

import raycover
from raycover.building.build import build
from raycover.building.mesh import box_triangles
from raycover.catalogue import load_catalogue
from raycover.rays.ray_scene import RayScene

RACK = {"name": "R", "at": [0, 0], "bays": 3, "levels": 3}


def targets() -> np.ndarray:
    """Points beyond the rack, 2.6 m behind its front, over its inner bay and all its height."""
    x, z = np.meshgrid(np.linspace(1.0, 7.5, 130), np.linspace(0.05, 4.75, 94))
    return np.stack([x.ravel(), np.full(x.size, 2.6), z.ravel()], axis=1)


def shadows(rays: RayScene, eye: np.ndarray, y: float) -> Any:
    """What the boxes hide of the upright plane at y from a point before them, in (x, z): hulls of their corners."""
    corners = box_triangles(rays.building.boxes).reshape(-1, 36, 3)
    thrown = eye + (corners - eye) * ((y - eye[1]) / (corners[..., 1] - eye[1]))[..., None]
    return shapely.union_all(shapely.convex_hull(shapely.multipoints([t[:, [0, 2]] for t in thrown])))


@pytest.mark.parametrize("rack", [{"goods": False}, {"loads": [{"level": 2}]}, {}], ids=["empty", "one level", "full"])
def test_sight_through_a_rack(rack: dict[str, Any]) -> None:
    """Empty frames hide their steel and no more; loads hide what their outlines do, by union of projections."""
    rays = RayScene(build(scene(racking=[{**RACK, **rack}])))
    eye, points = np.array([4.2, -3.0, 1.6]), targets()
    seen = ~rays.infrared_blocked(rays.segments(eye, points))
    hidden = shadows(rays, eye, 2.6)
    clear = shapely.distance(hidden.boundary, shapely.points(points[:, [0, 2]])) > 0.01
    np.testing.assert_array_equal(seen[clear], ~shapely.contains_xy(hidden, points[clear, 0], points[clear, 2]))
    assert clear.mean() > 0.8


def test_more_goods_never_let_more_be_seen() -> None:
    """From all through the frames but what steel hides, to less than a third of that past full ones."""
    eye, points = np.array([4.2, -3.0, 1.6]), targets()
    before, shares = np.ones(len(points), bool), []
    for fill in (0.0, 0.3, 0.6, 1.0):
        rays = RayScene(build(scene(racking=[{**RACK, "fill": fill}])))
        seen = ~rays.infrared_blocked(rays.segments(eye, points))
        assert not (seen & ~before).any()
        before = seen
        shares.append(float(seen.mean()))
    assert shares[0] > 0.7
    assert shares[-1] < shares[0] / 3


def test_someone_behind_an_empty_rack_is_noticed_and_behind_a_full_one_not() -> None:
    """A unit 3.5 m up, before a rack 4.8 m high: the floor behind it, from 3 to 5 m off, to infrared."""
    unit = detector((4.2, -1.5), 3.5, pattern({"circle": {"diameter": 30}}, mounting=3.5))
    share = []
    for goods in (False, True):
        floor = raycover.solve(open_floor(unit, half=8, racking=[{**RACK, "goods": goods}]))["floor"]
        x, y = np.meshgrid(floor.x, floor.y)
        share.append(float(floor.detected[(y > 1.5) & (y < 3.5) & (x > 1) & (x < 7)].mean()))
    assert share[0] > 0.6
    assert share[1] < 0.1


@pytest.mark.parametrize(
    ("material", "db_per_m"), [("goods", 12), ("cartons", 6), ("liquid", 840), ("metal goods", np.inf)]
)
def test_a_load_costs_its_chord(material: str, db_per_m: float) -> None:
    """Straight through a load at half its height: its rate over the pallet's 1.2 m, one way."""
    rays = RayScene(build(scene(racking=[{**RACK, "goods_material": material}])))
    segments = rays.segments(np.array([4.25, -1.0, 0.7]), np.array([[4.25, 2.5, 0.7]]))
    assert rays.microwave_loss_db(segments, 5.8, "averaged")[0] == pytest.approx(1.2 * db_per_m, rel=1e-5)
    assert rays.infrared_blocked(segments).all()


def test_a_pallet_costs_its_chord_and_a_deck_its_slab() -> None:
    """Down between loads' pallets and the floor: 0.144 m of pallet; a chipboard deck at normal incidence; wire free."""
    loads = [{"level": 2, "bays": [2]}]
    for decks, board in (("none", 0.0), ("wire", 0.0), ("chipboard", None)):
        rays = RayScene(build(scene(racking=[{**RACK, "decks": decks, "loads": loads}])))
        down = rays.segments(np.array([4.25, 0.55, 1.7]), np.array([[4.25, 0.55, 0.5]]))
        if board is None:
            board = float(load_catalogue().constructions["chipboard-38"].loss_table(5.8, "averaged").loss_db(1.0))
            assert board > 1
        # from inside the pallet, 0.1 m above its underside, through the deck
        assert rays.microwave_loss_db(down, 5.8, "averaged")[0] == pytest.approx(0.1 * 11 + board, abs=0.02)
        empty = rays.segments(np.array([1.5, 0.55, 1.7]), np.array([[1.5, 0.55, 0.5]]))
        assert bool(rays.infrared_blocked(empty)[0]) == (decks == "chipboard")


def test_liquid_is_water() -> None:
    """Bulk loss of fresh water at 20 °C by the double-Debye formula of ITU-R P.840 [M], six tenths of a load."""
    theta, ghz = 300 / 293.15, 5.8
    static = 77.66 + 103.3 * (theta - 1)
    first, second = 0.0671 * static, 3.52
    slow = 20.20 - 146 * (theta - 1) + 316 * (theta - 1) ** 2
    fast = 39.8 * slow
    permittivity = second + (static - first) / (1 + 1j * ghz / slow) + (first - second) / (1 + 1j * ghz / fast)
    # tables of water at 20 °C and 5.8 GHz give about 72 − 23j [M]
    assert permittivity == pytest.approx(72.3 - 22.9j, abs=0.2)
    rate = 20 * np.log10(np.e) * 2 * np.pi * ghz * 1e9 / speed_of_light * -np.sqrt(permittivity).imag
    liquid = load_catalogue().solids["liquid"]
    assert liquid.loss_db_per_m(ghz) == pytest.approx(0.6 * rate, rel=0.01)


def test_a_pallet_is_three_tenths_wood() -> None:
    """25 kg of wood at 600 kg/m³ in a box of 1.2 × 0.8 × 0.144 m [M, EN 13698-1 for the size]."""
    solids = load_catalogue().solids
    share = 25 / 600 / (1.2 * 0.8 * 0.144)
    assert share == pytest.approx(0.3, abs=0.01)
    assert solids["pallet"].loss_db_per_m(5.8) == pytest.approx(0.3 * solids["timber"].loss_db_per_m(5.8), rel=0.03)


def test_the_narrow_aisle_store(narrow_aisles) -> None:  # type: ignore[no-untyped-def]
    """Twelve aisles of 1.6 to 1.8 m [M, PHYSICS §5] between loads of racks 10 m high, each seen by its own units.

    IECC C405.2.1.2 [V]: a unit controls its aisle and nothing beyond; here none sees a person in another aisle.
    """
    boxes, coverage = narrow_aisles.building.boxes, narrow_aisles.coverage
    kinds = np.array(boxes.kinds)
    plan = boxes.footprints()
    racked = np.array([owner.startswith("R") for owner in boxes.owners]) & (kinds == "goods")
    edges = np.unique(np.round(plan[racked][..., 1], 6))
    gaps = np.diff(edges)
    aisles = gaps[(gaps > 1.5) & (gaps < 2)]
    assert len(aisles) == 12
    assert ((aisles >= 1.6 - 1e-9) & (aisles <= 1.8 + 1e-9)).all()
    assert min(mark.top for mark in narrow_aisles.building.racks if mark.owner.startswith("R")) >= 10
    person = coverage["person"]
    middles = [(low + high) / 2 for low, high in pairwise(edges) if 1.5 < high - low < 2]
    x, y = np.meshgrid(person.x, person.y)
    for k, middle in enumerate(middles, 1):
        walked = (np.abs(y - middle) < 0.6) & (x > 7) & (x < 57.5)
        assert person.detected[walked].mean() > 0.99
        for unit in (f"A{k:02d}W", f"A{k:02d}E"):
            patch = person.patches[coverage.detector_names.index(unit)]
            seen = patch.margin_db >= 0
            inside = (person.x[patch.columns] > 7) & (person.x[patch.columns] < 57.5)
            off = np.abs(person.y[patch.rows] - middle)
            assert seen[off < 0.6].any()
            assert not seen[np.ix_(off > 1.8, inside)].any()

"""Sloped roofs, gables, roof lights, suspended ceilings and hung solids against closed forms, and for leaks."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
import trimesh
from small_scenes import detector, pattern, scene

from raycover.building.build import build
from raycover.building.mesh import sheet_triangles
from raycover.building.parts import Building
from raycover.errors import InputError
from raycover.rays.ray_scene import RayScene
from raycover.scene.roofs import clear_height, roof_form

OBLONG = [[0, 0], [12, 0], [12, 8], [0, 8]]
L_SHAPE = [[0, 0], [12, 0], [12, 4], [7, 4], [7, 8], [0, 8]]
PITCHED = {"kind": "pitched", "ridge": "x", "eaves": 3, "ridge_height": 5, "construction": "steel-panel"}
MONO = {"kind": "mono", "direction_deg": 90, "eaves": 3, "ridge_height": 5, "construction": "steel-panel"}


def turned(points: Any, turn_deg: float, at: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    a = np.radians(turn_deg)
    return np.asarray(points, float) @ np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]]) + at


def hall(outline: Any = OBLONG, roof: Any = PITCHED, **more: Any) -> dict[str, Any]:
    return {
        "name": "hall", "outline": np.asarray(outline).tolist(), "walls": "brick-215",
        "floor_construction": "concrete-150", "roof": roof, **more,
    }  # fmt: skip


def built(*rooms: Any, **parts: Any) -> Building:
    return build(scene(rooms=list(rooms), **parts))


def area(building: Building, part: str) -> float:
    return float(sum(sheet.polygon.area for sheet in building.sheets if part in sheet.name))


def codes(*rooms: Any, **parts: Any) -> list[str]:
    with pytest.raises(InputError) as caught:
        built(*rooms, **parts)
    return [problem.code for problem in caught.value.problems]


def solid_of(building: Building) -> trimesh.Trimesh:
    triangles = [
        sheet.frame.to_space(sheet_triangles(sheet.polygon).reshape(-1, 2)).reshape(-1, 3, 3)
        for sheet in building.sheets
    ]
    found = trimesh.Trimesh(**trimesh.triangles.to_kwargs(np.concatenate(triangles)))
    found.merge_vertices(digits_vertex=6)
    return found


def volume_of(building: Building) -> float:
    """By the divergence theorem with the field (0, 0, z): what covers the room counts up, its floor down."""
    total = 0.0
    for sheet in building.sheets:
        if sheet.kind in ("ceiling", "floor"):
            corners = sheet.frame.to_space(sheet_triangles(sheet.polygon).reshape(-1, 2)).reshape(-1, 3, 3)
            first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
            plan = np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) / 2
            total += float(plan @ corners[..., 2].mean(axis=1)) * (1 if sheet.kind == "ceiling" else -1)
    return total


def test_pitched_roof_areas() -> None:
    """Slopes of 4 m in plan that rise 2 m: √20 m long; gables are pentagons."""
    building = built(hall())
    assert area(building, "hall/roof") == pytest.approx(2 * 12 * np.sqrt(20))
    assert area(building, "hall/roof 1") == pytest.approx(12 * np.sqrt(20))
    for edge, expected in enumerate((12 * 3, 8 * 4, 12 * 3, 8 * 4)):
        assert area(building, f"wall {edge}") == pytest.approx(expected)
    assert not any(sheet.name == "hall/ceiling" for sheet in building.sheets)
    assert building.bounds[1, 2] == pytest.approx(5, abs=2e-3)


def test_mono_roof_areas() -> None:
    """One slope 8 m in plan that rises 2 m: √68 m long; the sides are trapezia of mean height 4 m."""
    building = built(hall(roof=MONO))
    assert area(building, "hall/roof") == pytest.approx(12 * np.sqrt(68))
    for edge, expected in enumerate((12 * 3, 8 * 4, 12 * 5, 8 * 4)):
        assert area(building, f"wall {edge}") == pytest.approx(expected)


@pytest.mark.parametrize("turn_deg", [0.0, 90.0, 33.0])
@pytest.mark.parametrize("outline", [OBLONG, L_SHAPE])
@pytest.mark.parametrize("kind", ["pitched", "mono"])
def test_closed_with_the_volume_of_its_prism(kind: str, outline: Any, turn_deg: float) -> None:
    """Walls, slopes and floor meet edge to edge. The roof is plane over each half of the plan: its volume is
    that half's area times the height over its centroid."""
    roof = {"kind": kind, "direction_deg": turn_deg + (0 if kind == "pitched" else 90), "eaves": 3, "ridge_height": 5,
            "construction": "steel-panel"}  # fmt: skip
    building = built(hall(turned(outline, turn_deg, (40, -7)), roof, floor=1.5))
    assert solid_of(building).is_watertight
    flat = shapely.Polygon(outline)
    volume = 0.0
    for low, high in ((0, 4), (4, 8)):
        half = flat.intersection(shapely.box(0, low, 12, high))
        y = half.centroid.y
        height = 5 - abs(y - 4) / 4 * 2 if kind == "pitched" else 3 + y / 8 * 2
        volume += half.area * height
    assert volume_of(building) == pytest.approx(volume, rel=1e-9)


def test_ridge_along_y_and_by_angle_agree() -> None:
    one = built(hall(roof={**PITCHED, "ridge": "y"}))
    two = built(hall(roof={**PITCHED, "ridge": None, "direction_deg": 90}))
    for sheet, other in zip(one.sheets, two.sheets, strict=True):
        assert sheet.polygon.area == pytest.approx(other.polygon.area)
    assert area(one, "hall/roof") == pytest.approx(2 * 8 * np.sqrt(36 + 4))
    assert area(one, "wall 0") == pytest.approx(12 * 4)


def test_clear_height() -> None:
    made = scene(rooms=[hall(floor=2)])
    for (x, y), height in (((5, 0), 3), ((5, 4), 5), ((1, 6), 4), ((11, 1), 3.5)):
        assert clear_height(made.rooms[0], x, y) == pytest.approx(height)
    form = roof_form(made.rooms[0])
    assert form is not None
    assert form.along == (1, 0)
    (room,) = build(made).rooms
    assert room.height == 5
    assert room.holds(5, 1, 2 + 3.49)
    assert not room.holds(5, 1, 2 + 3.51)
    building = build(made)
    assert building.rooms_at(np.array([[5, 1, 5.49], [5, 1, 5.51], [5, 4, 6.9]])).tolist() == [0, -1, 0]


def test_a_shared_wall_under_two_roofs_is_one_sheet() -> None:
    """A low flat room against the gable of a hall: the wall is crossed once, high and low."""
    low = {"name": "low", "outline": [[12, 0], [16, 0], [16, 8], [12, 8]], "height": 2.5, "walls": "brick-215"}
    building = built(hall(), low)
    assert area(building, "hall/wall 1") + area(building, "low/wall 3") == pytest.approx(8 * 4)


LIGHT = {"centre": [3, 2], "size": [1.2, 1.5]}


def test_roof_lights() -> None:
    """Three lights of 1.2 × 1.5 m on the slope, glazed; the slope gives up their area."""
    building = built(hall(roof={**PITCHED, "lights": [{**LIGHT, "count": 3, "pitch": 3}]}))
    lights = [sheet for sheet in building.sheets if "roof light" in sheet.name]
    assert [sheet.name for sheet in lights] == [f"hall/roof light 0.{k}" for k in (1, 2, 3)]
    assert {(sheet.kind, sheet.construction.name) for sheet in lights} == {("window", "double-glazing-6-16-6")}
    assert area(building, "roof light") == pytest.approx(3 * 1.8)
    assert area(building, "hall/roof 1") == pytest.approx(12 * np.sqrt(20) - 5.4)
    centres = [np.mean(sheet.frame.to_space(shapely.get_coordinates(sheet.polygon)[:-1]), axis=0) for sheet in lights]
    np.testing.assert_allclose(centres, [[3, 2, 4], [6, 2, 4], [9, 2, 4]], atol=1e-9)
    (mark,) = building.roofs
    np.testing.assert_allclose([light.mean(axis=0) for light in mark.lights], centres, atol=1e-9)


def test_an_open_roof_light_is_a_hole() -> None:
    rays = RayScene(built(hall(roof={**PITCHED, "lights": [{**LIGHT, "state": "open"}]})))
    start = np.array([3, 2, 1.0])
    through, beside = [3, 2, 9], [7, 2, 9]
    assert rays.infrared_blocked(rays.segments(start, np.array([through, beside]))).tolist() == [False, True]


@pytest.mark.parametrize(
    "light", [{"centre": [3, 4]}, {"centre": [0.3, 2]}, {"centre": [6, 2], "count": 4, "pitch": 3}, {"centre": [30, 2]}]
)
def test_roof_lights_keep_to_their_slope(light: Any) -> None:
    assert codes(hall(roof={**PITCHED, "lights": [{**LIGHT, **light}]})) == ["roof-light-outside"]


def test_openings_under_a_slope() -> None:
    """In the gable a door may rise with the roof, at the eaves it may not."""
    door = {"edge": 1, "at": 3, "width": 2, "height": 4.4, "fill": "steel-door"}
    building = built(hall(openings=[door]))
    assert area(building, "opening 0") == pytest.approx(2 * 4.4)
    assert codes(hall(openings=[{**door, "at": 0}])) == ["opening-outside-wall"]
    assert codes(hall(openings=[{**door, "height": 4.6}])) == ["opening-outside-wall"]  # 3 + 3 × 0.5 = 4.5 m there


@pytest.mark.parametrize("name", ["pitched", "mono", "pitched L, turned and far", "large"])
def test_nothing_leaks_under_a_roof(name: str) -> None:
    """A million segments a hall, half anywhere, half at joints: eaves, verges, ridge, roof lights, corners."""
    turn, at, outline, kind, size = {
        "pitched": (0, (0, 0), OBLONG, "pitched", 1),
        "mono": (0, (0, 0), OBLONG, "mono", 1),
        "pitched L, turned and far": (33, (150, -40), L_SHAPE, "pitched", 1),
        "large": (33, (0, 0), OBLONG, "pitched", 5),
    }[name]
    placed = turned(np.array(outline, float) * size, turn, at)
    centre = turned([[3 * size, 2 * size]], turn, at)[0].tolist()
    roof = {"kind": kind, "direction_deg": turn + (0 if kind == "pitched" else 90), "eaves": 3 * size,
            "ridge_height": 5 * size, "construction": "steel-panel",
            "lights": [{"centre": centre, "size": [1.2, 1.5]}]}  # fmt: skip
    building = built(hall(placed, roof))
    rays = RayScene(building)
    (room,), (mark,) = building.rooms, building.roofs
    ring = np.concatenate([np.stack([light, np.roll(light, -1, axis=0)], axis=1) for light in mark.lights])
    joints = np.concatenate([mark.lines, mark.ridges, ring])
    upright = [[[*p, 0.0], [*p, room.top_at(np.array([p]))[0]]] for p in placed]
    joints = np.concatenate([joints, np.array(upright)])
    rng = np.random.default_rng(3)
    x0, y0, x1, y1 = room.polygon.bounds
    starts = rng.uniform([x0, y0, 0.01], [x1, y1, 5 * size], (2000, 3))
    inside = shapely.contains_xy(room.polygon.buffer(-0.01), starts[:, 0], starts[:, 1])
    inside &= starts[:, 2] < room.top_at(starts[:, :2]) - 0.02
    starts = starts[inside][:100]
    assert len(starts) == 100
    far = 3 * (x1 - x0 + y1 - y0)
    n = 5000
    for start in starts:
        away = rng.normal(size=(n, 3))
        anywhere = start + away / np.linalg.norm(away, axis=1)[:, None] * far
        chosen = joints[rng.integers(0, len(joints), n - 200)]
        aimed = chosen[:, 0] + (chosen[:, 1] - chosen[:, 0]) * rng.uniform(0, 1, (n - 200, 1))
        aimed = np.concatenate([aimed, joints[rng.integers(0, len(joints), 200), 0]])
        aimed = start + (aimed - start) * (1 + far / np.linalg.norm(aimed - start, axis=1))[:, None]
        assert rays.infrared_blocked(rays.segments(start, np.concatenate([anywhere, aimed]))).all()


def test_detectors_follow_the_slope() -> None:
    """At y = 1 m the roof of the hall is 3.5 m high, at the ridge 5 m."""
    unit = pattern({"circle": {"diameter": 6}}, mounting=3)
    scene(rooms=[hall()], detectors=[detector((6, 4), 5.0, unit), detector((6, 1), 3.5, unit, "D2")])
    with pytest.raises(InputError) as caught:
        scene(rooms=[hall()], detectors=[detector((6, 1), 3.6, unit)])
    (problem,) = caught.value.problems
    assert problem.code == "detector-above-ceiling"
    assert "which is 3.5 m high there" in problem.message


def test_a_unit_on_a_slope_sees_the_floor() -> None:
    rays = RayScene(built(hall()))
    floor = np.array([[x, y, 0.002] for x in (1, 6, 11) for y in (1, 4, 7)], float)
    for place in ((6, 1, 3.5), (6, 4, 5)):
        assert not rays.infrared_blocked(rays.segments(np.array(place, float), floor)).any()


TILES = {"height": 2.6, "construction": "ceiling-tile-15"}
FLAT = {"name": "room", "outline": OBLONG, "height": 3.4, "walls": "brick-215", "ceiling": "concrete-150"}


def test_suspended_ceiling_is_one_level_sheet() -> None:
    building = built({**FLAT, "floor": 1, "suspended_ceiling": TILES})
    (tiles,) = (sheet for sheet in building.sheets if sheet.name == "room/suspended ceiling")
    assert (tiles.polygon.area, tiles.frame.origin[2], tiles.construction.name) == (96, 3.6, "ceiling-tile-15")
    assert area(building, "hall/suspended") == 0
    under = built(hall(suspended_ceiling=TILES))
    assert area(under, "suspended") == pytest.approx(96)


@pytest.mark.parametrize(("frequency_ghz", "loss_db"), [(5.8, 0.25), (24.125, 0.69)])
def test_microwave_above_tiles_loses_what_ceiling_board_costs(frequency_ghz: float, loss_db: float) -> None:
    """15 mm ceiling board at 0°, coherent: 0.25 dB at 5.8 GHz, 0.69 dB at 24.125 GHz (computed, P.2040 rows)."""
    rays = RayScene(built({**FLAT, "suspended_ceiling": TILES}))
    above, under = np.array([6, 4, 3.2]), np.array([[6, 4, 1.0]])
    segments = rays.segments(above, under)
    assert rays.microwave_loss_db(segments, frequency_ghz, "coherent")[0] == pytest.approx(loss_db, abs=0.006)
    assert rays.infrared_blocked(segments).tolist() == [True]
    in_tiles = rays.segments(np.array([6, 4, 2.6]), under)
    assert rays.microwave_loss_db(in_tiles, frequency_ghz, "coherent")[0] == 0
    assert rays.infrared_blocked(in_tiles).tolist() == [False]


def test_infrared_above_tiles_is_warned_about() -> None:
    infrared = pattern({"circle": {"diameter": 6}}, mounting=3)
    microwave = pattern({"circle": {"diameter": 6}}, mounting=3, frequency_ghz=5.8)
    tiled = {**FLAT, "suspended_ceiling": TILES}

    def warned(room: Any, mounting: float, made: Any) -> bool:
        found = scene(rooms=[room], detectors=[detector((6, 4), mounting, made)]).warnings
        return any(problem.code == "infrared-above-ceiling" for problem in found)

    assert warned(tiled, 3.0, infrared)
    assert not warned(tiled, 2.6, infrared)
    assert not warned(tiled, 3.0, microwave)
    assert not warned(FLAT, 3.0, infrared)
    mesh = {**FLAT, "suspended_ceiling": {"height": 2.6, "construction": "wire-mesh-50"}}
    assert not warned(mesh, 3.0, infrared)


def test_tiles_hang_below_their_ceiling() -> None:
    for room in ({**FLAT, "suspended_ceiling": {"height": 3.4}}, hall(suspended_ceiling={"height": 3.0})):
        with pytest.raises(InputError, match="suspended-too-high"):
            scene(rooms=[room])


def hung(**more: Any) -> dict[str, Any]:
    return {"name": "s", "centre": [6, 4], "size": [1, 1, 0.5], "material": "metal", **more}


@pytest.mark.parametrize(
    ("room", "solid", "top"),
    [
        (FLAT, hung(hang=0.6), 2.8),
        ({**FLAT, "floor": 2}, hung(hang=0), 5.4),
        # Mono, 3 m at y = 0 and 5 m at y = 8: a metre wide about y = 4 it is lowest at 3.5, 3.875 m.
        (hall(roof=MONO), hung(hang=0.6), 3.275),
        # Turned by 45° its corner lies √½ m off: 3 + (4 − 0.7071)/4.
        (hall(roof=MONO), hung(hang=0.6, turn_deg=45), 3 + (4 - np.sqrt(0.5)) / 4 - 0.6),
        # Under the ridge, half a metre down either slope; a tie beam across is as low as the eaves.
        (hall(), hung(hang=0.6), 4.75 - 0.6),
        (hall(), hung(hang=0.1, size=[0.2, 8, 0.3], kind="beam"), 2.9),
        (hall(), hung(hang=0.1, size=[12, 0.2, 0.3], kind="duct"), 4.95 - 0.1),
    ],
)
def test_tops_of_hung_solids(room: Any, solid: Any, top: float) -> None:
    building = built(room, solids=[solid])
    assert building.boxes.centre[0, 2] + solid["size"][2] / 2 == pytest.approx(top)
    (mark,) = building.hung
    assert (mark.top, mark.bottom) == (pytest.approx(top), pytest.approx(top - solid["size"][2]))
    assert building.boxes.kinds == ("hung",)
    # The box is cast against like any other.
    rays = RayScene(building)
    low, high = np.array([6, 4, top - 1]), np.array([[6, 4, top + 0.02]])
    assert rays.infrared_blocked(rays.segments(low, high)).all()


def test_where_nothing_can_hang() -> None:
    assert codes(FLAT, solids=[hung(centre=[40, 4], hang=0.5)]) == ["hang-nowhere"]
    assert codes(FLAT, solids=[hung(hang=3.0)]) == ["hang-too-low"]
    with pytest.raises(InputError, match="base-and-hang"):
        scene(rooms=[FLAT], solids=[hung(hang=0.5, base=1)])


def test_a_kind_with_a_base_stands_where_it_says() -> None:
    building = built(FLAT, solids=[hung(base=2.0, kind="crane")])
    assert (building.hung[0].kind, building.hung[0].bottom) == ("crane", 2.0)


def test_cells_above_a_low_eave_are_left_out() -> None:
    """Eaves at 0.5 m, ridge at 4.5: a plane at 1.5 m lies under the roof from y = 1 to y = 7."""
    import raycover

    roof = {**PITCHED, "eaves": 0.5, "ridge_height": 4.5}
    planes = [{"name": "high", "height": 1.5}, {"name": "floor", "height": 0}]
    coverage = raycover.solve(scene(rooms=[hall(roof=roof)], planes=planes, grid=0.25))
    assert coverage["floor"].area_m2 == pytest.approx(96)
    assert coverage["high"].area_m2 == pytest.approx(12 * 6)


@pytest.mark.parametrize(
    ("room", "code"),
    [
        (hall(height=4), "roof-and-height"),
        (hall(ceiling="concrete-150"), "roof-and-height"),
        (hall(roof={**PITCHED, "direction_deg": 0}), "roof-direction"),
        (hall(roof={**MONO, "ridge": "x"}), "roof-direction"),
        (hall(roof={**PITCHED, "ridge": None}), "roof-direction"),
        (hall(roof={**PITCHED, "ridge_height": 3}), "roof-flat"),
        (hall(roof={**PITCHED, "lights": [{**LIGHT, "count": 3}]}), "roof-light-row"),
        (hall(roof={**PITCHED, "lights": [{**LIGHT, "count": 3, "pitch": 1}]}), "roof-light-row"),
        (hall(roof={**PITCHED, "construction": "stele-panel"}), "unknown-construction"),
        (hall(roof={**PITCHED, "lights": [{**LIGHT, "fill": "glas-6"}]}), "unknown-construction"),
        ({**FLAT, "suspended_ceiling": {"height": 2.6, "construction": "tile"}}, "unknown-construction"),
        ({k: v for k, v in FLAT.items() if k != "height"}, "missing-key"),
    ],
)
def test_what_is_refused(room: Any, code: str) -> None:
    with pytest.raises(InputError) as caught:
        scene(rooms=[room])
    assert [problem.code for problem in caught.value.problems] == [code]
    assert caught.value.problems[0].position.line
    assert caught.value.problems[0].help

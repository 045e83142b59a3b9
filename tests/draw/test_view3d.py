"""The 3D still: what it shows, how it frames any building, and what it says where it cannot be drawn."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from displays import needs_3d
from PIL import Image
from processes import LONGEST
from view3d_scenes import SMALL, Made, made

from raycover.draw import palette
from raycover.draw.view3d import display_report, draw_view, environment, require_display
from raycover.draw.view3d.camera import View, choose_view, fit, hidden_by
from raycover.draw.view3d.cutaway import Cuts, UprightPiece, standing_things, upright_pieces
from raycover.draw.view3d.floor_map import make_map, whole_area
from raycover.draw.view3d.laying import representative
from raycover.draw.view3d.people import stand_people
from raycover.draw.view3d.solids import draw_solids
from raycover.draw.view3d.still import compose
from raycover.draw.view3d.walls import wall_bodies
from raycover.errors import MissingPart


@pytest.fixture
def small() -> Made:
    return made()


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The picture of the small depot, drawn once."""
    m, folder = made(), tmp_path_factory.mktemp("still")
    draw_view(m.scene, m.building, m.coverage, folder / "view.png", rays=m.rays)
    return folder / "view.png"


@needs_3d
def test_the_picture_is_whole_and_shows_the_map(still: Path) -> None:
    assert [p.name for p in still.parent.iterdir()] == ["view.png"]
    with Image.open(still) as opened:
        assert opened.size == (1920, 1080)
        pixels = np.asarray(opened.convert("RGB")).astype(int)
    building = pixels[110:980, 40:1440]
    assert (building.min(axis=-1) < 250).mean() > 0.25
    # Colours of what is assured and of what is not seen, where neither shell, shade nor hatch lies over them.
    for index, least in ((palette.ASSURED, 5000), (palette.NOT_SEEN, 500)):
        ends = np.stack([palette.class_rgb(index, where) for where in np.linspace(0, 1, 9)]).astype(int)
        near = np.abs(building[:, :, None] - ends).max(axis=-1).min(axis=-1) <= 8
        assert near.sum() > least


@needs_3d
def test_no_plotter_stays_open(still: Path) -> None:
    import pyvista

    assert still.is_file()
    assert not [p for p in pyvista._ALL_PLOTTERS.values() if not p._closed]


@needs_3d
def test_an_unknown_plane_and_a_missing_folder_leave_nothing_behind(small: Made, tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        draw_view(small.scene, small.building, small.coverage, tmp_path / "view.png", plane_name="roof")
    assert not list(tmp_path.iterdir())


def test_importing_it_loads_neither_pyvista_nor_vtk() -> None:
    code = (
        "import sys, raycover.draw.view3d as v; v.draw_view; v.require_display; "
        "print([m for m in ('pyvista', 'vtk', 'vtkmodules') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=LONGEST)
    assert done.stdout.strip() == "[]"


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="EGL and X are Linux's")
def test_without_egl_and_display_it_names_the_packages(
    small: Made, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.setattr(environment, "_library", lambda _name: None)
    with pytest.raises(MissingPart, match="apt-get install libegl1 libgl1-mesa-dri"):
        draw_view(small.scene, small.building, small.coverage, tmp_path / "view.png")
    with pytest.raises(MissingPart, match="libegl1"):
        display_report()
    assert not list(tmp_path.iterdir())


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="EGL and X are Linux's")
def test_a_display_that_is_absent_or_dead_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("DISPLAY", raising=False)
    with pytest.raises(MissingPart, match="DISPLAY is not set"):
        require_display()
    monkeypatch.setenv("DISPLAY", ":4242")
    with pytest.raises(MissingPart, match=r":4242 does not answer|libX11 is missing|libGL is missing"):
        require_display()


def boxes_of(kind: str) -> str:
    """Scenes whose shapes are hard to frame."""
    outline, height, at = {
        "long": ("[[0, 0], [90, 0], [90, 4], [0, 4]]", 3, "[45, 2]"),
        "tall": ("[[0, 0], [4, 0], [4, 4], [0, 4]]", 25, "[2, 2]"),
        "tiny": ("[[0, 0], [1.2, 0], [1.2, 1], [0, 1]]", 2.4, "[0.6, 0.5]"),
        "turned": ("[[0, 0], [8.66, 5], [3.66, 13.66], [-5, 8.66]]", 3, "[1.8, 6.8]"),
        "far": ("[[5000, -300], [5012, -300], [5012, -292], [5000, -292]]", 3, "[5006, -296]"),
    }[kind]
    return f"""
raycover: 1
rooms: [{{name: room, outline: {outline}, height: {height}, walls: brick-100}}]
detectors: [{{name: D, model: ceiling-infrared-general, at: {at}, mounting: {min(height - 0.1, 20)}}}]
planes: [{{name: floor, height: 0}}]
grid: 0.5
"""


@pytest.mark.parametrize("kind", ["long", "tall", "tiny", "turned", "far"])
def test_the_whole_building_is_in_the_frame(kind: str) -> None:
    m = made(boxes_of(kind))
    composed = compose(m.scene, m.building, m.coverage, "floor", m.rays, 1400, 820)
    pixels = composed.placed.pixels(composed.points)
    assert pixels.min() >= 10
    assert (pixels <= np.array([1400, 820]) - 10).all()
    # And fills it in one direction.
    assert (np.ptp(pixels, axis=0) / [1400, 820]).max() > 0.9


def test_no_rooms_no_detectors() -> None:
    m = made("raycover: 1\nplanes: [{name: ground, height: 0, extent: [0, 0, 6, 4]}]\ngrid: 0.5\n")
    composed = compose(m.scene, m.building, m.coverage, "ground", m.rays, 1400, 820)
    assert not composed.lobes
    assert not composed.figures
    assert composed.placed.pixels(composed.points).min() >= 10


def test_projection_is_parallel_and_true_to_the_horizontal() -> None:
    view = View(-90.0, 30.0)  # from the south: +x to the right, height by cos 30°, depth by sin 30°
    flat = view.project(np.array([[1.0, 0, 0], [0, 1, 0], [0, 0, 1]]))
    np.testing.assert_allclose(flat, [[1, 0], [0, 0.5], [0, np.sqrt(3) / 2]], atol=1e-12)
    assert view.compass(90.0) == "south"
    assert View(0.0).compass(90.0) == "east"
    placed = fit(view, np.array([[0, 0, 0], [10, 0, 0]]), 220, 100, margin_px=10)
    np.testing.assert_allclose(placed.pixels(np.array([[0, 0, 0], [10, 0, 0]])), [[10, 50], [210, 50]])


def test_what_a_thing_hides_is_its_shadow_along_the_view() -> None:
    # A wall 1 m high seen from the south at 45° hides 1 m of floor to the north.
    hidden = hidden_by(shapely.box(0, 0, 5, 0.1), 1.0, View(-90.0, 45.0))
    assert hidden.area == pytest.approx(5.0)
    assert hidden.buffer(-1e-6).bounds == pytest.approx((0, 0.1, 5, 1.1), abs=1e-5)


def test_tall_things_stand_at_the_back() -> None:
    area = shapely.box(0, 0, 12, 8)
    extremes = np.array([[x, y, z] for x in (0, 12) for y in (0, 8) for z in (0, 3)], float)
    for y, south in ((0.5, False), (7.5, True)):
        thing = (shapely.box(1, y - 0.4, 11, y + 0.4), 6.0)
        view = choose_view(area, [thing], extremes, 1.7)
        assert (view.toward[1] < 0) == south


def walls_of(made_: Made, view: View | None) -> list[UprightPiece]:
    area = whole_area(made_.coverage["floor"], made_.building)
    return upright_pieces(made_.building, area, view, Cuts(0.9, 3.0, 1.1, 1.7))


def test_near_walls_are_cut_low_and_far_ones_stay_high(small: Made) -> None:
    pieces = walls_of(small, View(-60.0))
    cut = {name: {round(p.cut, 3) for p in pieces if p.sheet.name == f"Store/wall {name}"} for name in (0, 2, 3)}
    assert cut == {0: {0.9}, 2: {3.0}, 3: {3.0}}  # south near; north and west far
    between = [p for p in pieces if p.sheet.name == "Store/wall 1"]
    assert all(p.cut == pytest.approx(0.9) for p in between if p.polygon.bounds[0] < 8)  # the office lies behind


def test_walls_meet_without_seams() -> None:
    """The ink on four walls of thickness t about a × b m is one frame: (a+t)(b+t) − (a−t)(b−t)."""
    text = boxes_of("turned")
    pieces = walls_of(made(text), None)
    _, caps = wall_bodies(pieces, 0.03)
    top = caps.triangles[..., 2].min(axis=1) > caps.triangles[..., 2].max() - 1e-9
    flat = caps.triangles[top][..., :2]
    area = shapely.union_all(shapely.polygons(flat)).area
    t = 0.1 + 2 * 0.003  # caps stand 3 mm proud of the wall
    assert area == pytest.approx((10 + t) ** 2 - (10 - t) ** 2, rel=1e-3)
    total = shapely.area(shapely.polygons(flat)).sum()
    assert total == pytest.approx(area, rel=1e-6)  # nothing twice


def test_an_opening_stays_open() -> None:
    """Between the jambs no wall stands below the lintel, whose underside is as wide as the opening."""
    opening = "walls: brick-100, openings: [{edge: 0, at: 2, width: 3, height: 2}]"
    walls, _ = wall_bodies(walls_of(made(boxes_of("turned").replace("walls: brick-100", opening)), None), 0.03)
    along = np.array([np.cos(np.radians(30)), np.sin(np.radians(30))])
    place = walls.triangles[..., :2] @ along
    beside = walls.triangles[..., :2] @ np.array([-along[1], along[0]])
    in_wall = (np.abs(beside) < 0.06).all(axis=1)
    standing = in_wall & (walls.triangles[..., 2].min(axis=1) < 1.9)
    between = (place[standing] > 2 + 1e-3) & (place[standing] < 5 - 1e-3)
    assert not between.all(axis=1).any()
    under = in_wall & (np.abs(walls.triangles[..., 2] - 2) < 1e-6).all(axis=1)
    assert (place[under].min(), place[under].max()) == pytest.approx((2, 5), abs=2e-3)


def test_racks_are_cut_where_they_hide_the_map(small: Made) -> None:
    area = whole_area(small.coverage["floor"], small.building)
    cuts = Cuts(0.9, 3.0, 1.1, 1.7)
    north = draw_solids(small.building, area, View(90.0), cuts)
    things = standing_things(small.building)
    assert [t.owner for t in things] == ["R1"]
    whole = draw_solids(small.building, area, None, cuts)
    assert whole.cut_at == [things[0].top]
    assert not len(whole.ghosts)
    south = draw_solids(small.building, area, View(-90.0), cuts)
    assert south.cut_at == [pytest.approx(1.7)]
    assert len(south.ghosts)
    assert north.points[:, 2].max() > south.bodies["goods 0"].triangles[..., 2].max()


def test_the_map_keeps_its_colours_and_is_engraved_where_nobody_is_noticed(small: Made) -> None:
    plane = small.coverage["floor"]
    plain = make_map(plane, small.building, px_per_m=20, hatch_m=0.5, hatched=False)
    hatched = make_map(plane, small.building, px_per_m=20, hatch_m=0.5)
    known = {tuple(c) for c in palette.margin_rgb(np.arange(-9, 15.25, 0.25), plane.reserve_db).tolist()}
    assert {tuple(c) for c in np.unique(plain.image.reshape(-1, 3), axis=0).tolist()} <= known
    changed = (plain.image != hatched.image).any(axis=-1)
    assert 0.01 < changed.mean() < 0.5
    row, column = np.argwhere(plane.margin_db >= plane.reserve_db)[0]
    assert not changed[row * 4 + 2, column * 4 + 2]


def test_people_stand_on_free_floor_where_they_are_noticed(small: Made) -> None:
    plane = small.coverage["floor"]
    people = stand_people(plane, small.building, np.zeros((0, 2)), m2_each=15)
    assert len(people) >= 3
    for at, _ in people:
        column, row = np.abs(plane.x - at[0]).argmin(), np.abs(plane.y - at[1]).argmin()
        assert plane.detected[row, column]
    rack = shapely.Polygon(small.building.racks[0].corners)
    assert all(rack.distance(shapely.Point(at[:2])) > 0.3 for at, _ in people)
    places = np.array([at[:2] for at, _ in people])
    apart = np.linalg.norm(places[:, None] - places, axis=-1)[np.triu_indices(len(places), 1)]
    assert apart.min() >= 1.6


def test_representatives_are_few_and_of_different_sorts(depot) -> None:  # type: ignore[no-untyped-def]
    plane = depot.coverage["floor"]
    chosen = representative(depot.coverage.units, plane)
    assert len(chosen) == 2
    assert len({unit.title for unit in chosen}) == 2


def test_the_small_scene_has_a_bit_of_everything(small: Made) -> None:
    assert "microwave" in SMALL
    area = whole_area(small.coverage["floor"], small.building)
    drawn = draw_solids(small.building, area, View(-60.0), Cuts(0.9, 3.0, 1.1, 1.7))
    assert {"wall", "cap", "door", "panel", "desk", "slab", "upright", "beam", "pallet"} <= set(drawn.bodies)
    assert not drawn.glass.empty
    for body in drawn.bodies.values():
        assert np.isfinite(body.triangles).all()
        assert np.isfinite(body.edges).all()

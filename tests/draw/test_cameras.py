"""Cameras and isometric sheets: projections by hand, what an eye sees, texts in place; nothing is rendered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place
from view3d_scenes import Made, made

from raycover.draw.view3d.camera import Lens, View
from raycover.draw.view3d.camera_still import shot_of
from raycover.draw.view3d.isometric import FORESHORTENED, VIEWS, isometric_page, lay_isometric
from raycover.draw.view3d.overhead import overhead_bodies, ruled_m, rules_on
from raycover.draw.view3d.people import figure, seated_figure
from raycover.draw.view3d.still import Shot, compose
from raycover.draw.view3d.still_page import FORMATS, draw_sheet
from raycover.scene.views import CameraSpec


@pytest.fixture
def small() -> Made:
    return made()


def test_a_lens_by_hand() -> None:
    """From 10 m off at 60° the frame is 2·10·tan 30° high; twice as far off things look half as large."""
    lens = Lens.between(np.array([0.0, -10.0, 1.7]), np.array([0.0, 0.0, 1.7]), 60.0, 1600, 1000)
    half = 10 * np.tan(np.radians(30))
    points = np.array([[0, 0, 1.7], [0, 0, 1.7 + half], [half, 0, 1.7], [half, 10, 1.7], [0, -11, 1.7]])
    expected = [[800, 500], [800, 1000], [1300, 500], [1050, 500]]
    assert lens.pixels(points)[:4] == pytest.approx(np.array(expected, float))
    assert (lens.pixels(points)[4] < -1e4).all()  # behind the eye
    assert lens.metres == pytest.approx(2 * half / 1000)
    assert lens.view.compass(90.0) == "south"
    assert lens.view.words == "level"


def test_a_lens_straight_down_has_y_up() -> None:
    lens = Lens.between(np.array([5.0, 5.0, 20.0]), np.array([5.0, 5.0, 0.0]), 40.0, 1000, 1000)
    right, up = lens.pixels(np.array([[6.0, 5, 0], [5.0, 6, 0]])) - 500
    assert right[0] > 10
    assert abs(right[1]) < 1e-6
    assert up[1] == pytest.approx(right[0])


def test_the_three_axes_of_an_isometric_are_alike() -> None:
    """ISO 5456-3: all foreshortened to √(2/3), 120° apart."""
    for view in VIEWS:
        ends = view.project(np.eye(3))
        assert np.linalg.norm(ends, axis=1) == pytest.approx([np.sqrt(2 / 3)] * 3)
        cosines = ends @ ends.T / (2 / 3)
        assert np.abs(cosines[np.triu_indices(3, 1)]) == pytest.approx([0.5] * 3)


def test_the_isometric_sheet_is_to_scale_and_in_place(small: Made) -> None:
    size = (297.0, 210.0)
    laid = lay_isometric(small.scene, small.building, small.coverage, rays=small.rays, dpi=72, size=size)
    placed = laid.composed.placed
    a, b = placed.pixels(np.array([[0.0, 0, 0], [0.0, 1, 0]]))
    assert np.linalg.norm(b - a) / laid.per_mm == pytest.approx(1000 / laid.scale)
    pixels = placed.pixels(laid.composed.points)
    assert pixels.min() >= 0
    assert (pixels <= [placed.width, placed.height]).all()
    picture = np.full((placed.height, placed.width, 3), 255, np.uint8)
    page = isometric_page(small.scene, small.building, small.coverage, laid, picture, dpi=72)
    assert_texts_are_in_place(page)
    texts = [text for text, _ in page.text_boxes()]
    assert f"1 : {laid.scale}" in texts
    assert any("along the three axes" in text for text in texts)
    assert placed.metres == pytest.approx(FORESHORTENED * laid.scale / 1000 / laid.per_mm)


@pytest.mark.parametrize("size", ["16:9", "A4"])
def test_texts_of_a_camera_are_in_place(size: str, small: Made) -> None:
    form = FORMATS[size]
    spec = CameraSpec.model_validate({"name": "Over the racks", "azimuth_deg": 200, "size": size})
    shot = shot_of(spec, small.scene)
    assert shot.views[0].compass(small.scene.north_deg) == "south"
    composed = compose(small.scene, small.building, small.coverage, "floor", small.rays, *form.viewport_px, shot)
    width, height = form.viewport_px
    picture = np.full((height, width, 3), 255, np.uint8)
    page = draw_sheet(small.scene, small.coverage, composed, picture, form, spec.name)
    assert_texts_are_in_place(page, fewest=15)
    assert page.size[0] / page.size[1] == pytest.approx(16 / 9 if size == "16:9" else np.sqrt(2), rel=1e-3)
    assert any(text.startswith("Over the racks · ") for text, _ in page.text_boxes())


def test_from_within_everything_is_whole(small: Made) -> None:
    """No wall, rack or load is cut, no shell veils the picture, people stand in sight."""
    room = small.building.rooms[0]
    x0, y0, x1, y1 = room.polygon.bounds
    eye = np.array([x0 + 0.6, y0 + 0.6, 1.7])
    shot = Shot(eye=eye, target=np.array([x1, y1, 1.5]), fov_deg=70)
    composed = compose(small.scene, small.building, small.coverage, "floor", small.rays, 1600, 900, shot)
    assert isinstance(composed.placed, Lens)
    tops = small.building.boxes.centre[:, 2] + small.building.boxes.size[:, 2] / 2
    assert composed.drawn.points[:, 2].max() >= max(tops.max(), room.floor + room.height) - 1e-3
    assert not composed.lobes
    ceiling = composed.drawn.bodies["ceiling"]
    assert ceiling.triangles[..., 2].max() == pytest.approx(room.floor + room.height, abs=0.02)
    assert not len(composed.drawn.ghosts)
    low = replace(shot, walls=2.0)
    cut = compose(small.scene, small.building, small.coverage, "floor", small.rays, 1600, 900, low)
    assert "ceiling" not in cut.drawn.bodies  # who asks for low walls wants to look over them
    for person in composed.figures:
        middle = composed.placed.pixels(person.reshape(-1, 3).mean(axis=0)[None])[0]
        assert (middle > 0).all()
        assert (middle < [1600, 900]).all()
    assert composed.hidden is not None
    assert composed.hidden.shape == (len(composed.units),)


def test_ceilings_are_ruled_to_read_depth_by(small: Made) -> None:
    """A room of 12 m by 8 m: 11 lines across and 7 along, each a metre from the next, all below the face."""
    sheet = next(s for s in small.building.sheets if s.kind == "ceiling" and s.owner == "Store")
    rules = rules_on(sheet, 1.0)
    assert len(rules) == 11 + 7
    along = rules[:, 1] - rules[:, 0]
    lengths = np.linalg.norm(along, axis=1)
    assert sorted(set(np.round(lengths, 6))) == [8, 12]
    across = np.sort(rules[np.abs(along[:, 0]) < 1e-9][:, 0, 0])
    assert np.diff(across) == pytest.approx(np.ones(10))
    assert (rules[..., 2] < 5.0).all()
    assert ruled_m(small.building) == 1.0
    faces, lights, hung = overhead_bodies(small.building)
    heights = faces.triangles[..., 2]
    under = faces.triangles[(np.ptp(heights, axis=1) < 1e-9) & (heights.min(axis=1) < 5)]
    sides = np.cross(under[:, 1] - under[:, 0], under[:, 2] - under[:, 0])
    assert np.abs(sides[:, 2]).sum() / 2 == pytest.approx(12 * 8)
    assert lights.empty
    assert hung.empty


def test_cuts_that_are_asked_for(small: Made) -> None:
    shot = Shot((View(-60.0, 40.0),), walls=0.5, things=1.0, detectors=False, people=False, lobes=())
    composed = compose(small.scene, small.building, small.coverage, "floor", small.rays, 800, 500, shot)
    for role in ("wall", "goods 0", "upright"):
        if role in composed.drawn.bodies:
            highest = composed.drawn.bodies[role].triangles[..., 2].max()
            assert highest <= (0.5 if role == "wall" else 1.0) + 1e-6
    assert not composed.units
    assert not composed.figures
    assert not composed.lobes


def test_parallel_says_how_high_the_picture_is(small: Made) -> None:
    shot = Shot((View(-60.0, 40.0),), parallel_m=12.0, target=np.array([5.0, 5.0, 0.0]))
    placed = compose(small.scene, small.building, small.coverage, "floor", small.rays, 800, 400, shot).placed
    assert placed.metres * 400 == pytest.approx(12)
    assert placed.pixels(np.array([[5.0, 5.0, 0.0]]))[0] == pytest.approx([400, 200])


def test_microwave_that_passes_a_wall_is_told_apart(corridor) -> None:  # type: ignore[no-untyped-def]
    """Shells of microwave end beyond the corridor's stud walls, those of infrared never."""
    units = {unit.name: unit for unit in corridor.coverage.units}
    shot = Shot((View(-60.0, 40.0),), lobes=("M1", "P7"), people=False)
    parts = corridor.scene, corridor.building, corridor.coverage
    composed = compose(*parts, next(iter(corridor.coverage.by_plane())), corridor.rays, 800, 400, shot)
    passed = {lobe.name: some.any() for lobe, some in zip(composed.lobes, composed.through, strict=True)}
    assert passed == {name: units[name].kind == "microwave" for name in ("M1", "P7")}


def test_people_are_closed_bodies() -> None:
    """A walker of 1.75 m has about the volume of 75 kg, faces outward; so has the mirror image."""
    for left in (True, False):
        triangles = figure(np.zeros(3), 0.4, left_foot_first=left)
        normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
        volume = float(np.einsum("ij,ij->", triangles.mean(axis=1), normal)) / 6
        assert 0.05 < volume < 0.08
        assert np.ptp(triangles[..., 2]) == pytest.approx(1.72, abs=0.06)
    seated = seated_figure(np.zeros(3), 0.0)
    assert 1.15 < seated[..., 2].max() < 1.4


def test_the_eye_of_a_storey(stairwell) -> None:  # type: ignore[no-untyped-def]
    """Looking at the first floor one sees that storey only."""
    target = np.array([1.4, 3.0, 3.4])
    shot = Shot(eye=target + np.array([6.0, -8.0, 9.0]), target=target)
    parts = stairwell.scene, stairwell.building, stairwell.coverage
    composed = compose(*parts, "floor", stairwell.rays, 800, 500, shot)
    assert [plane.surface.storey for plane in composed.planes] == ["First floor"]

"""The received plan under the map: it shows on every colour, leaves the classes readable and keeps its place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

import raycover
from raycover.building.build import build
from raycover.draw import palette
from raycover.draw.building_plan import make_building_plan
from raycover.draw.plan import make_plan
from raycover.draw.underlaid import tint
from raycover.draw.view3d.floor_map import make_map
from raycover.solving.coverage import make_units, solve
from raycover.solving.uncast import inventory
from raycover.underlay import read_underlay

RESERVE = 3.0
SCENE = """
raycover: 1
rooms: [{name: Room, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [2, 3], mounting: 3}]
planes: [{name: floor, height: 0}]
grid: 0.1
"""
UNDERLAY = "underlay: {file: plan.png, scale: {metres_per_pixel: 0.02, origin: [-2, -2]}}\n"


def luminance(rgb: np.ndarray) -> np.ndarray:
    return np.asarray(rgb @ np.array([0.2126, 0.7152, 0.0722]))


def test_lines_show_on_every_class_and_no_class_turns_into_another() -> None:
    margins = np.linspace(-9, 15, 200)[None]
    plain = palette.margin_rgb(margins, RESERVE)
    lined = tint(plain, np.full(margins.shape, 0.35, np.float32))
    assert np.abs(luminance(lined) - luminance(plain)).min() > 20  # about a tenth of full range: faint but there
    # Each tinted colour is still nearest, of the four classes' middles, to its own or to a neighbour in brightness.
    dark = palette.class_of(margins, RESERVE) <= palette.DOUBTFUL
    assert luminance(lined)[dark].max() < luminance(plain)[~dark].max()
    assert np.array_equal(tint(plain, np.zeros(margins.shape, np.float32)), plain)


def pixels(folder: Path, underlay: str) -> np.ndarray:
    (folder / "scene.yaml").write_text(SCENE + underlay)
    scene = raycover.load(folder / "scene.yaml")
    building = build(scene)
    return make_plan(scene, building, solve(scene, building=building), "floor", dpi=100).pixels().astype(int)


def test_a_plan_shows_it_at_its_place_and_nowhere_else(tmp_path: Path) -> None:
    image = Image.new("L", (600, 500), 255)
    ImageDraw.Draw(image).rectangle((0, 0, 50, 500), fill=0)  # x from -2 to -1 m, well outside the room
    image.save(tmp_path / "plan.png")
    changed = np.abs(pixels(tmp_path, UNDERLAY) - pixels(tmp_path, "")).sum(axis=-1) > 20
    rows, columns = np.nonzero(changed)
    # The frame is 219 mm wide about the middle of the room, x = 4, at 1 : 50, A4 at 100 dpi.
    middle, per_m = (10.0 + 229.0) / 2, 1000 / 50
    x_mm = np.array([columns.min(), columns.max() + 1]) * 25.4 / 100
    assert np.all(np.abs((x_mm - middle) / per_m + 4 - [-1.475, -1.0]) < 0.1)  # the neat line cuts it at -1.475
    assert len(rows) > 0.9 * (rows.max() - rows.min()) * (columns.max() - columns.min())


def test_the_building_alone_shows_it_too(tmp_path: Path) -> None:
    image = Image.new("L", (600, 500), 255)
    ImageDraw.Draw(image).rectangle((150, 100, 450, 400), fill=0)  # x from 1 to 7 m, y from 0 to 6 m
    image.save(tmp_path / "plan.png")
    drawn = []
    for text in (SCENE, SCENE + UNDERLAY):
        (tmp_path / "scene.yaml").write_text(text)
        scene = raycover.load(tmp_path / "scene.yaml")
        building = build(scene)
        units = make_units(scene, building)
        page = make_building_plan(scene, building, units, inventory(scene, building), dpi=50)
        drawn.append(page.pixels().astype(int))
    changed = np.abs(drawn[1] - drawn[0]).sum(axis=-1) > 20
    # 6 × 6 m at 1 : 50 are 120 × 120 mm; walls, marks and words hide some of it.
    assert changed.sum() * (25.4 / 50) ** 2 == pytest.approx(120 * 120, rel=0.1)


def test_it_lies_on_the_floor_in_3d(tmp_path: Path) -> None:
    image = Image.new("L", (600, 500), 255)
    ImageDraw.Draw(image).rectangle((100 + 250, 0, 600, 500), fill=0)  # from x = 5 m on
    image.save(tmp_path / "plan.png")
    (tmp_path / "scene.yaml").write_text(SCENE + UNDERLAY)
    scene = raycover.load(tmp_path / "scene.yaml")
    building = build(scene)
    plane = solve(scene, building=building)["floor"]
    plain, lined = (
        make_map(plane, building, px_per_m=20, hatch_m=0.5, hatched=False, underlay=some).image.astype(int)
        for some in (None, read_underlay(scene))
    )
    changed = np.abs(lined - plain).sum(axis=-1) > 10
    assert changed[:, : 5 * 20 - 1].sum() == 0
    assert changed[:, 5 * 20 + 1 :].all()

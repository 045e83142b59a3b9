"""Section sheets: texts in place on every sheet, marks in plan, colours that stay apart when pale."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place
from test_palette import DISTANCES, ciede2000, ends, lab

import raycover
from raycover.asking.upright import SectionField, solve_section
from raycover.building.build import build
from raycover.draw import palette, sheet
from raycover.draw.mannequin import TALL_M, silhouette
from raycover.draw.page import PAPERS
from raycover.draw.plan import make_plan
from raycover.draw.projection import DoesNotFit
from raycover.draw.section_sheet import make_section
from raycover.rays.ray_scene import RayScene


def fields_of(made) -> list[SectionField]:  # type: ignore[no-untyped-def]
    return [
        solve_section(spec, made.scene, made.building, made.rays, made.coverage.units, threads=1)
        for spec in made.scene.sections
    ]


@pytest.mark.parametrize("name", ["depot", "narrow_aisles", "stairwell", "corridor"])
def test_texts_are_in_place(name: str, request: pytest.FixtureRequest) -> None:
    made = request.getfixturevalue(name)
    for field in fields_of(made):
        page = make_section(made.scene, made.building, made.coverage, field, dpi=60)
        assert_texts_are_in_place(page)
        texts = [text for text, _ in page.text_boxes()]
        assert any(text.startswith(f"{field.name}–{field.name}") for text in texts)
        assert "people zone, up to 2.2 m" in texts
        assert texts.count(field.name) >= 2  # at either end of the cut in the key plan


def test_larger_paper_and_a_scale(stairwell) -> None:  # type: ignore[no-untyped-def]
    (field,) = fields_of(stairwell)
    parts = stairwell.scene, stairwell.building, stairwell.coverage, field
    page = make_section(*parts, dpi=60, size=PAPERS["A3"], scale=50, vector=True)
    assert any(text == "1 : 50" for text, _ in page.text_boxes())
    assert page.svg(title="s") == make_section(*parts, dpi=60, size=PAPERS["A3"], scale=50, vector=True).svg(title="s")
    with pytest.raises(DoesNotFit):
        make_section(*parts, dpi=60, scale=20)


def test_the_plan_marks_every_section(depot) -> None:  # type: ignore[no-untyped-def]
    page = make_plan(depot.scene, depot.building, depot.coverage, "floor", dpi=60)
    texts = [text for text, _ in page.text_boxes()]
    assert texts.count("A") == 3  # and the revision
    assert texts.count("B") == 2


def test_pale_colours_are_of_one_field_and_the_hatch_is_where_people_move(depot) -> None:  # type: ignore[no-untyped-def]
    """Some pixels have the full colours, some the pale ones, none of the shade lies above the highest detector."""
    field = fields_of(depot)[1]
    pixels = make_section(depot.scene, depot.building, depot.coverage, field, dpi=60).pixels().reshape(-1, 3)
    shade = palette.margin_rgb(-np.inf, 3)
    for colour in (shade, palette.pale(shade)):
        assert (np.abs(pixels.astype(int) - colour).max(axis=1) <= 2).sum() > 40


@pytest.mark.parametrize("eye", DISTANCES)
def test_pale_classes_stay_apart_for_every_eye_and_in_grey(eye: str) -> None:
    """Where nothing is hatched neighbouring classes must still differ: CIEDE2000 of 2.3 is a just noticeable
    difference (Mahy, Van Eycken and Oosterlinck 1994, from memory)."""
    parts = palette.classes(3)
    middles = [palette.pale(palette.margin_rgb(part.middle_db, 3)) for part in parts]
    assert min(ciede2000(lab(a, eye), lab(b, eye)) for a, b in pairwise(middles)) > 2 * 2.3
    between = [
        ciede2000(lab(palette.pale(a), eye), lab(palette.pale(b), eye))
        for first, second in combinations(parts, 2)
        for a in ends(first)
        for b in ends(second)
    ]
    assert min(between) > 2.3


def test_people_are_as_tall_as_the_key_says() -> None:
    rings = [ring for area in silhouette("walking") for ring in area]
    heights = np.concatenate(rings)[:, 1]
    assert np.ptp(heights) == pytest.approx(TALL_M, abs=0.06)
    assert abs(heights.min()) < 0.03
    mirrored = np.concatenate([ring for area in silhouette("walking", mirrored=True) for ring in area])
    assert mirrored[:, 0].min() == pytest.approx(-np.concatenate(rings)[:, 0].max())


def test_a_small_building_fills_the_middle_of_its_sheet() -> None:
    """As much paper is left of the section as right of it, up to the column of figures; the key plan begins with it.

    With its walls it is 5.215 m wide: at 1 : 40 130 mm, at 1 : 30 its 2.8 m would leave no room for the key plan.
    """
    scene = raycover.load_text(
        "raycover: 1\ntitle: Small office\ngrid: 0.5\n"
        "rooms: [{name: Office, outline: [[0, 0], [5, 0], [5, 4], [0, 4]], height: 2.8, walls: brick-215}]\n"
        "detectors: [{name: D, model: ceiling-infrared-general, at: [2.5, 2], mounting: 2.8}]\n"
        "planes: [{name: floor, height: 0}]\nsections: [{name: A, line: [[-0.5, 2], [5.5, 2]]}]\n"
    )
    building = build(scene)
    rays = RayScene(building)
    coverage = raycover.solve(scene, building=building, rays=rays, threads=1)
    field = solve_section(scene.sections[0], scene, building, rays, coverage.units, threads=1)
    page = make_section(scene, building, coverage, field, dpi=60)
    assert_texts_are_in_place(page)
    boxes = dict(page.text_boxes())
    x0, _, x1, _ = sheet.frame_on(page.size)
    left = boxes["A–A"][0] - x0
    right = x1 - boxes["+2.80"][2]
    assert sum(text == "1 : 40" for text, _ in page.text_boxes()) == 1
    assert 20 < left < 40
    assert left == pytest.approx(right, abs=6)
    assert boxes["Key plan"][0] == pytest.approx(boxes["A–A"][0], abs=0.5)

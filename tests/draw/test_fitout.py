"""Seated people, roofs, hung things and screens in plan and in 3D."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import pattern
from view3d_scenes import Made, made

from raycover.draw import palette
from raycover.draw.page import MM_PER_INCH
from raycover.draw.plan import make_plan
from raycover.draw.projection import Projection
from raycover.draw.sheet import FRAME
from raycover.draw.view3d.camera import View
from raycover.draw.view3d.cutaway import Cuts, standing_things, upright_pieces
from raycover.draw.view3d.laying import ceiling_over
from raycover.draw.view3d.people import seated_figure, seated_figures
from raycover.draw.view3d.solids import draw_solids
from raycover.draw.view3d.still import compose

ROOF = {"kind": "pitched", "ridge": "x", "eaves": 2.4, "ridge_height": 4.4, "construction": "steel-panel",
        "lights": [{"centre": [2, 1.5], "size": [0.8, 1.0]}]}  # fmt: skip
HALL: dict[str, Any] = {
    "raycover": 1,
    "title": "Hall",
    "rooms": [{"name": "Hall", "outline": [[0, 0], [10, 0], [10, 6], [0, 6]], "walls": "brick-215", "roof": ROOF}],
    "desks": [
        {"name": "Near", "at": [4, 3], "seat": True, "screen": {"height": 1.3}},
        {"name": "Far", "at": [8, 4], "seat": True},
    ],
    "solids": [
        {"name": "Duct", "centre": [5, 3], "size": [8, 0.5, 0.4], "hang": 0.2, "material": "metal", "kind": "duct"},
        {"name": "Lamp", "centre": [2, 4.4], "size": [1.2, 0.3, 0.1], "hang": 0.3, "material": "metal",
         "kind": "luminaire"},
        {"name": "Bridge", "centre": [9, 3], "size": [0.4, 5, 0.3], "hang": 0.1, "material": "metal", "kind": "crane"},
    ],
    "detectors": [{"name": "D1", "at": [4.8, 2.7], "mounting": 3.5, "pattern": pattern(
        {"circle": {"diameter": 5}}, mounting=3.5, plane=0.75, motion="presence")}],
    "planes": [{"name": "floor", "height": 0}],
    "grid": 0.25,
}  # fmt: skip


def solved(**parts: Any) -> Made:
    return made(json.dumps({**HALL, **parts}))


def colours(page: Any, places: np.ndarray) -> list[str]:
    """Colours of a page at places in mm."""
    pixels = page.pixels()
    per_mm = 200 / MM_PER_INCH
    return [palette.hex_of(pixels[len(pixels) - 1 - int(y * per_mm), int(x * per_mm)]) for x, y in places]


def test_seats_in_plan() -> None:
    """Heads are paper where people are noticed, ink where not; the key says so."""
    one = solved()
    assert [seat.noticed for seat in one.coverage.seats] == [True, False]
    page = make_plan(one.scene, one.building, one.coverage, "floor")
    texts = [text for text, _ in page.text_boxes()]
    assert {"seated, noticed", "not noticed"} <= set(texts)
    low, high = one.building.bounds[:, :2]
    projection = Projection.fitted((*low, *high), FRAME)
    heads = projection.to_paper([seat.at[:2] for seat in one.coverage.seats])
    shown = colours(page, heads)
    assert shown[0].upper() == palette.PAPER
    assert shown[1].upper() == palette.INK


def test_no_seats_no_key() -> None:
    one = solved(desks=[])
    texts = [text for text, _ in make_plan(one.scene, one.building, one.coverage, "floor").text_boxes()]
    assert "seated, noticed" not in texts


def test_names_keep_off_people() -> None:
    """However many sit in a room: no text lies on a head."""
    one = solved(desks=[{"name": f"Row {y}", "at": [0.6, y], "count": 5, "seat": True} for y in (1, 3, 5)])
    page = make_plan(one.scene, one.building, one.coverage, "floor")
    low, high = one.building.bounds[:, :2]
    heads = Projection.fitted((*low, *high), FRAME).to_paper([seat.at[:2] for seat in one.coverage.seats])
    for _, (x0, y0, x1, y1) in page.text_boxes():
        on = (heads[:, 0] > x0) & (heads[:, 0] < x1) & (heads[:, 1] > y0) & (heads[:, 1] < y1)
        assert not on.any()


@pytest.fixture(scope="module")
def drawn() -> Any:
    one = solved()
    area = one.building.rooms[0].polygon
    return draw_solids(one.building, area, View(-60), Cuts.for_area(area, 4.4))


def test_the_roof_and_what_hangs_are_outlines(drawn: Any) -> None:
    """Nothing opaque above the cut; the ridge, the roof light and the hung boxes show as lines."""
    assert drawn.triangles[..., 2].max() <= 3.0 + 0.05
    ghosts = drawn.ghosts.reshape(-1, 3)
    assert ghosts[:, 2].max() == pytest.approx(4.4)
    for corner in ([0, 3, 4.4], [10, 3, 4.4], [0, 0, 2.4]):
        assert np.linalg.norm(ghosts - corner, axis=1).min() < 1e-6
    duct = np.abs(ghosts[:, 0] - 1) < 1e-9
    assert duct.any()
    assert not any(thing.owner in ("Duct", "Lamp", "Bridge") for thing in standing_things(solved().building))


def test_gables_are_cut_where_they_begin_to_slope() -> None:
    one = solved()
    area = one.building.rooms[0].polygon
    for piece in upright_pieces(one.building, area, View(-60), Cuts.for_area(area, 4.4)):
        assert shapely.envelope(piece.polygon).difference(piece.polygon).area < 1e-9
        assert piece.polygon.bounds[3] <= 2.4 + 1e-9


def test_a_screen_is_never_cut_away() -> None:
    one = solved()
    area = one.building.rooms[0].polygon
    for low in (True, False):
        pieces = upright_pieces(one.building, area, None, Cuts.for_area(area, 4.4), low=low)
        (screen,) = (p for p in pieces if "screen" in p.sheet.name)
        assert screen.polygon.bounds[1::2] == pytest.approx((0.73, 1.3))


def test_seated_figures() -> None:
    """1.2 m to the middle of the head, feet on the ground, looking where they should."""
    figure = seated_figure(np.array([3.0, 4.0, 1.0]), np.pi / 2).reshape(-1, 3)
    assert figure[:, 2].min() == pytest.approx(1.0, abs=0.03)
    assert 2.2 < figure[:, 2].max() < 2.35
    ahead, behind = figure[:, 1].max() - 4, 4 - figure[:, 1].min()
    assert ahead > behind
    noticed, missed = seated_figures(solved().coverage.seats)
    assert (len(noticed), len(missed)) == (1, 1)


def test_a_still_holds_both() -> None:
    one = solved()
    composed = compose(one.scene, one.building, one.coverage, "floor", one.rays, 600, 400)
    assert len(composed.unnoticed) == 1
    assert len(composed.figures) >= 1


def test_a_lobe_ends_at_the_tiles_above_its_unit() -> None:
    room = {"name": "Hall", "outline": [[0, 0], [10, 0], [10, 6], [0, 6]], "height": 3.6, "walls": "brick-215",
            "suspended_ceiling": {"height": 2.9}}  # fmt: skip
    solids = [{**solid, "hang": 0.1} for solid in HALL["solids"]]
    one = solved(rooms=[room], solids=solids)
    (unit,) = one.coverage.units  # at 3.5 m, above the tiles
    assert ceiling_over(unit, one.building) == 3.6
    under = solved(rooms=[room], solids=solids, detectors=[{**HALL["detectors"][0], "mounting": 2.9}])
    assert ceiling_over(under.coverage.units[0], under.building) == 2.9

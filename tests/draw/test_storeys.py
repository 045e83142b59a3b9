"""Plans of one storey, sheets of unrolled stairs, and storeys in three dimensions."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapely
from storey_scenes import HOUSE, SPLIT, Made, made, tower
from test_plan import assert_texts_are_in_place
from test_window import needs_3d

from raycover.draw.page import Page
from raycover.draw.plan import make_plan
from raycover.draw.projection import SCALES
from raycover.draw.stair_cuts import CUT_HEIGHT, outline, profile, stair_cut
from raycover.draw.stair_sheet import draw_stairs, make_stair_sheet
from raycover.draw.storey_marks import cut_stairs, voids_of
from raycover.draw.storeys import shown_storey, top_of_shown, units_by_storey
from raycover.draw.unrolled import lay_out, piece_figures, places_of, run_map, runs_of
from raycover.draw.view3d.camera import View
from raycover.draw.view3d.stair_bodies import stair_body, stair_map
from raycover.draw.view3d.still import compose
from raycover.draw.view3d.trays import group_of, lifts, trays_of
from raycover.draw.view3d.window import Window
from raycover.editing.live import LiveCoverage

BOX = (13.0, 36.0, 158.0, 174.0)


def texts(page: Page) -> list[str]:
    return [text for text, _ in page.text_boxes()]


def plan(m: Made, name: str) -> Page:
    return make_plan(m.scene, m.building, m.coverage, name)


def stair_sheet(m: Made, name: str) -> Page:
    return make_stair_sheet(m.scene, m.building, m.coverage, name)


@pytest.mark.parametrize("scene", [HOUSE, SPLIT, tower(3), tower(9)], ids=["house", "split", "three", "nine"])
def test_texts_are_in_place(scene: str) -> None:
    m = made(scene)
    names = [*list(m.coverage)[:2], *(n for n, p in m.coverage.items() if p.surface.stairs is not None)]
    for name in names:
        page = (stair_sheet if m.coverage[name].surface.stairs is not None else plan)(m, name)
        assert_texts_are_in_place(page)


def test_a_plan_shows_its_own_storey() -> None:
    m = made(HOUSE)
    ground, upper = (texts(plan(m, f"floor {name}")) for name in ("Ground", "Upper"))
    assert {"Hall", "Kitchen"} <= set(ground)
    assert {"Gallery", "Bedroom"}.isdisjoint(ground)
    assert {"Gallery", "Bedroom", "M1", "P2"} <= set(upper)
    assert any(t.startswith("Ground (±0.00 m): where") for t in ground)
    assert "Coverage plan, floor, Upper (+2.80 m)" in upper
    assert "up" in ground
    assert "down" in upper
    assert "down" not in ground
    assert "void in the floor" in upper
    assert "void in the floor" not in ground
    assert "stair, mapped on sheet 3" in ground


def test_detectors_of_other_storeys_are_named_where_they_see_something() -> None:
    """P2 hangs over the void and sees the hall's floor below it; M1 is behind two concrete slabs."""
    m = made(HOUSE)
    shown = shown_storey(m.building, m.coverage["floor Ground"])
    mine, others = units_by_storey(m.building, shown, m.coverage["floor Ground"], m.coverage.units)
    assert [u.name for u in mine] == ["P1"]
    assert "P2" in [u.name for u in others]
    found = texts(plan(m, "floor Ground"))
    assert "P2 ↑" in found
    assert "other storey: above ↑, below ↓" in found
    assert "P2" not in found


def test_the_map_leaves_voids_white() -> None:
    m = made(HOUSE)
    page = plan(m, "floor Upper")
    pixels = page.pixels()
    dpmm = page.dpi / 25.4
    # The middle of the void, clear of stair and cross: the sheet is at 1:50, its middle shows (5, 2.5).
    x, y = (10 + 229) / 2 + (2.4 - 5) * 20, (33.5 + 176) / 2 + (1.0 - 2.5) * 20
    assert (pixels[round(len(pixels) - y * dpmm), round(x * dpmm)] == 255).all()


def test_a_flight_is_cut_above_the_floor_and_seen_from_above() -> None:
    """17 risers of 164.7 mm: the cut at 1.1 m passes the first flight (9 risers, 1.48 m) near its seventh tread."""
    m = made(HOUSE)
    (stairs,) = m.building.stairs
    below = stair_cut(stairs, 0.0, 2.8, None)
    assert [a.word for a in below.arrows] == ["up"]
    (broken,) = below.breaks
    along = (broken[:, 1].mean() - 0.6) / 0.25  # the flight runs up along y from 0.6
    assert along == pytest.approx(CUT_HEIGHT / (2.8 / 17) - 0.5, abs=0.1)
    seen = shapely.union_all(below.seen)
    assert seen.area == pytest.approx(along * 0.25 * 0.95, rel=0.05)
    above = stair_cut(stairs, 2.8, 5.4, voids_of(shown_storey(m.building, m.coverage["floor Upper"])))
    assert [a.word for a in above.arrows] == ["down"]
    assert not above.above
    assert not above.breaks
    assert shapely.union_all(above.seen).area == pytest.approx(sum(outline(p).area for p in stairs.pieces), rel=1e-3)


def test_a_slab_without_a_void_hides_the_stair_below() -> None:
    (stairs,) = made(HOUSE).building.stairs
    hidden = stair_cut(stairs, 2.8, 5.4, None)
    assert not hidden.seen
    assert not hidden.arrows


def test_between_storeys_the_lower_stair_shows_beyond_the_break() -> None:
    m = made(tower(3))
    plane = m.coverage["floor Level 1 of the tower"]
    shown = shown_storey(m.building, plane)
    (cut,) = cut_stairs(shown, top_of_shown(m.building, shown))
    assert sorted(a.word for a in cut.arrows) == ["down", "up"]
    # Flights and landing fill the same place on every storey: all is seen, nothing is left to dash.
    plans = shapely.union_all([outline(p) for p in m.building.stairs[0].pieces])
    assert shapely.union_all(cut.seen).area == pytest.approx(plans.area, rel=1e-3)
    assert not cut.above


def test_a_split_level_is_drawn_with_its_steps() -> None:
    m = made(SPLIT)
    found = texts(plan(m, "floor"))
    assert {"up", "Steps", "Shop", "Office", "stair, mapped on sheet 2"} <= set(found)
    assert "Coverage plan, floor" in found


def test_a_stair_is_unrolled_at_a_round_scale_with_its_levels() -> None:
    m = made(tower(3))
    page = stair_sheet(m, "floor S")
    found = texts(page)
    for text in ("Flight 1, 8 treads", "Landing 2", "Flight 6, 8 treads", "+1.50", "+4.50", "Key section", "Key plan"):
        assert text in found
    assert "Level 0 of the tower ±0.00" in found
    assert found.count("up") == 2
    assert "S (±0.00 to +6.00 m), unrolled: where a moving person is noticed, on the treads, air at 20 °C" in found
    laid = lay_out(m.building.stairs[0], 0.1, BOX)
    assert laid.scale in SCALES
    assert "Whole stair" in found
    assert any("of the stair is seen" in t for t in found)


def test_runs_lie_within_the_box_and_do_not_overlap() -> None:
    for n in (2, 3, 6, 9):
        laid = lay_out(made(tower(n)).building.stairs[0], 0.1, BOX)
        boxes = [shapely.box(*laid.box(k)) for k in range(len(laid.runs))]
        assert len(boxes) == n - 1
        assert all(shapely.box(*BOX).covers(b) for b in boxes)
        assert shapely.union_all(boxes).area == pytest.approx(sum(b.area for b in boxes))


def test_the_map_on_paper_is_that_of_the_cells() -> None:
    """The seen share of a run's pixels is that of its cells' area, within what smoothing the edges costs."""
    m = made(tower(3))
    plane, (stairs,) = m.coverage["floor S"], m.building.stairs
    laid = lay_out(stairs, 0.1, BOX)
    for run in range(2):
        picture = run_map(plane, stairs, laid, run, dpi=200)
        inside = picture.classes >= 0
        columns = slice(
            laid.runs[run].strips[0].column, laid.runs[run].strips[-1].column + laid.runs[run].strips[-1].n_columns
        )
        area = plane.surface.area[:, columns]
        share = area[plane.detected[:, columns]].sum() / area.sum()
        assert (picture.classes >= 2).sum() / inside.sum() == pytest.approx(share, abs=0.02)
        # Pixels that hold the map are as many as its area: flights and landing, no more.
        pixel = ((laid.box(run)[2] - laid.box(run)[0]) / inside.shape[1]) ** 2
        assert inside.sum() * pixel / laid.mm_per_m**2 == pytest.approx(area.sum(), rel=0.02)


def test_pieces_add_up_to_the_stair() -> None:
    m = made(tower(9))
    plane, (stairs,) = m.coverage["floor S"], m.building.stairs
    for by_run, n in ((False, 24), (True, 8)):
        parts = piece_figures(plane, stairs, runs_of(stairs, 0.1), by_run=by_run)
        assert len(parts) == n
        assert sum(area for _, area, _, _ in parts) == pytest.approx(plane.area_m2)
        assert sum(area * seen for _, area, seen, _ in parts) == pytest.approx(plane.share * plane.area_m2)


def test_places_on_the_unrolled_stair_are_where_the_points_lie() -> None:
    m = made(tower(3))
    surface, (stairs,) = m.coverage["floor S"].surface, m.building.stairs
    rows, columns = np.nonzero(surface.inside)
    some = slice(0, None, 97)
    places = places_of(surface, surface.points(rows[some], columns[some], surface.heights[0]).tolist())
    assert places == pytest.approx(np.stack([surface.x[columns[some]], surface.y[rows[some]]], axis=1))
    laid = lay_out(stairs, 0.1, BOX)
    first, last = laid.to_paper([(0.0, 0.0), (laid.runs[0].end - 1e-6, stairs.span)])
    x0, y0, x1, y1 = laid.box(0)
    # The right side of who climbs lies lowest: the strip is seen from above.
    assert first == pytest.approx([x0, y1], abs=1e-2)
    assert last == pytest.approx([x1, y0], abs=1e-2)


def test_a_stair_sheet_is_of_a_stair(tmp_path: Path) -> None:
    m = made(tower(3))
    with pytest.raises(KeyError):
        draw_stairs(m.scene, m.building, m.coverage, "roof", tmp_path / "x.png")
    with pytest.raises(ValueError, match="lies on no stair"):
        draw_stairs(m.scene, m.building, m.coverage, next(iter(m.coverage)), tmp_path / "x.png")
    draw_stairs(m.scene, m.building, m.coverage, "floor S", tmp_path / "s.png", sheet=(4, 5))
    assert [p.name for p in tmp_path.iterdir()] == ["s.png"]


# ---- three dimensions


def test_storeys_are_lifted_by_as_little_as_lets_them_be_seen() -> None:
    """Across a well 2.8 m wide a slab 3 m up hides nothing at 40°: 3 / tan 40° = 3.6 m. Along 6 m it would."""
    m = made(tower(3))
    trays = trays_of(m.building, m.coverage, group_of(m.coverage, "floor"))
    assert [tray.level for tray in trays] == [0, 3, 6]
    assert [len(tray.runs) for tray in trays] == [1, 1, 0]
    assert lifts(trays, View(0.0), 0.1)[:, 2] == pytest.approx([0, 0, 0], abs=0.6)
    along = lifts(trays, View(-90.0), 0.1)[:, 2]
    assert along[1] > 1.0
    assert along[2] >= 2 * along[1] - 0.2


def test_a_stair_body_is_closed_and_as_wide_as_its_piece() -> None:
    """Closed: every edge of its triangles belongs to two of them."""
    for piece in made(HOUSE).building.stairs[0].pieces:
        triangles = stair_body(piece, 0.15).triangles
        ends = np.round(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2, 3), 6)
        edges = [tuple(sorted(map(tuple, pair))) for pair in ends.tolist()]
        assert set(Counter(edges).values()) == {2}
        assert np.ptp(triangles.reshape(-1, 3) @ piece.across) == pytest.approx(piece.width)
        assert np.ptp(triangles[..., 2]) == pytest.approx(np.ptp(profile(piece, 0.15)[:, 1]))


def test_a_stair_map_lies_on_its_treads() -> None:
    m = made(tower(3))
    plane, (stairs,) = m.coverage["floor S"], m.building.stairs
    run = runs_of(stairs, 0.1)[1]
    lying = stair_map(plane, stairs, run, px_per_m=60, hatch_m=0.1)
    triangles = np.concatenate([sheet.triangles for sheet in lying.sheets])
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]) / 2
    assert (normal[:, 2] > 0).all()
    area = normal[:, 2].sum()
    assert area == pytest.approx(plane.area_m2 / 2)
    assert all((s.places >= -1e-9).all() and (s.places <= 1 + 1e-9).all() for s in lying.sheets)
    heights = sorted({round(float(s.triangles[0, 0, 2]), 3) for s in lying.sheets})
    assert heights[0] == pytest.approx(3 + 3 / 18, abs=0.01)
    assert heights[-1] == pytest.approx(6 - 3 / 18, abs=0.01)


def test_a_still_shows_every_storey_and_stair_of_a_plane() -> None:
    m = made(HOUSE)
    for name in ("floor", "floor Upper"):
        composed = compose(m.scene, m.building, m.coverage, name, m.rays, 1400, 820)
        assert [p.surface.name for p in composed.planes] == ["floor Ground", "floor Upper", "floor Main stair"]
        assert len(composed.laid) == 2
        assert len(composed.stair_maps) == 1
        pixels = composed.placed.pixels(composed.points)
        assert pixels.min() >= 10
        assert (pixels <= np.array([1400, 820]) - 10).all()
        by = composed.laid[1].offset[2]
        assert composed.tops[1, 2] == pytest.approx(2.8 + 2.6 + by)
        assert (len(composed.links) > 0) == (by > 0.1)
    with pytest.raises(KeyError):
        compose(m.scene, m.building, m.coverage, "roof", m.rays, 1400, 820)


@pytest.fixture(scope="module")
def window(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Window]:
    m = made(HOUSE)
    folder = tmp_path_factory.mktemp("saved")
    shown = Window(LiveCoverage(m.scene), off_screen=True, size=(800, 560), folder=folder)
    yield shown
    shown.plotter.close()


@needs_3d
def test_the_window_lists_a_plane_once(window: Window) -> None:
    assert window.live.planes == ("floor",)
    assert [p.surface.name for p in window.scenery.planes] == ["floor Ground", "floor Upper", "floor Main stair"]
    before = np.asarray(window.plotter.image).astype(int)
    window.press("Right")
    after = np.asarray(window.plotter.image).astype(int)
    assert (before != after).any()
    window.press("a")

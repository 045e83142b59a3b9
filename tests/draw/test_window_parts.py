"""Parts of the window by themselves: places of labels, pixels and places, the panel's texts at every size."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from view3d_scenes import made

from raycover.draw import palette
from raycover.draw.view3d.camera import View, fit
from raycover.draw.view3d.window.canvas import Canvas, Spot
from raycover.draw.view3d.window.keys import help_card
from raycover.draw.view3d.window.labels import arrange
from raycover.draw.view3d.window.panel import WIDTH, Row, Shown, Slider, draw_panel
from raycover.draw.view3d.window.picking import Eye, Nowhere, Target, nearest, place_under
from raycover.draw.view3d.window.verdict import Line, decibels, words_of
from raycover.editing.live import LiveCoverage, Look
from raycover.solving.surfaces import Surface

LONG = "a name as long as anybody would ever give to a thing"


def assert_apart(canvas: Canvas) -> None:
    """No text over another, none beyond the edges."""
    boxes = canvas.text_boxes()
    for text, (x0, y0, x1, y1) in boxes:
        assert x0 >= 0, text
        assert y0 >= 0, text
        assert x1 <= canvas.image.size[0], text
        assert y1 <= canvas.image.size[1], text
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        over = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
        assert min(over) <= 0, (one, other)


def shown(**changes: object) -> Shown:
    rows = tuple(Row(k, f"D{k}", "Ceiling infrared, general", "52.0 m²", k % 7 > 0, k == 3) for k in range(300))
    base = Shown(
        title="A depot", subtitle="Where a moving person is noticed, on the floor, air at 20 °C",
        seen="of the floor is seen, 3 off", by_class=(0.059, 0.0, 0.362, 0.579), reserve_db=3.0,
        planes=(("floor", 0, True), ("desk", 1, False), ("person", 2, False)), height=0.0, heights=(0.0, 11.0),
        height_text="0 m", is_free=False,
        motions=tuple((m, m, m == "any") for m in ("any", "tangential", "radial", "presence")), ambient_c=20.0,
        states=(("as drawn", "as drawn", True), ("summer", "summer", False)),
        tabs=(("Detectors (300)", "detectors", True), ("Doors and windows (120)", "doors", False)), rows=rows,
        row_action=("detector", "switch"), first=0, sliders=(), masks=(),
        list_buttons=(("Hang one more", "begin hanging", True), ("Take down", "take down", True)),
        chosen=(Line("D3: Ceiling infrared, general", "faint"), Line("at (1.00, 2.00)", "faint")),
        verdict=tuple(Line(f"D{k}  no margin, {k}.0 m, outside its lens") for k in range(20)),
        buttons=tuple((name, name.lower(), True) for name in ("Undo", "Redo", "Save", "Print", "Help")),
        message="",
    )  # fmt: skip
    return replace(base, **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize(("height", "scale"), [(700, 1.0), (800, 1.0), (1080, 1.5), (2160, 3.0), (490, 0.7)])
@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"message": f"detector {LONG} hangs inside {LONG}: move it out, or change its mounting height"},
        {"reserve_db": 0.0, "states": (), "verdict": (), "chosen": ()},
        {
            "title": LONG, "subtitle": f"{LONG}, {LONG}, {LONG}", "seen": LONG,
            "chosen": (Line(LONG * 2), Line(LONG * 2, "doubt")),
            "planes": tuple((f"{LONG} {k}", k, k == 30) for k in range(50)),
            "states": tuple((f"{LONG} {k}", str(k), k == 3) for k in range(9)),
            "rows": tuple(Row(k, LONG, LONG, "closed", True, False) for k in range(40)),
            "verdict": tuple(Line(LONG * 2, "head") for _ in range(40)), "message": LONG * 6,
        },
        {
            "sliders": tuple(Slider(LONG[:20], "−125°", -125.0, (-180.0, 180.0, 5.0), f"s{k}") for k in range(4)),
            "masks": tuple((f"−{k}0° to {k}5°", k, k == 1) for k in range(9)), "list_buttons": (),
            "tabs": (("Detectors (300)", "detectors", False), ("Setting", "setting", True)),
            "rows": tuple(Row(LONG, LONG, "infrared", "2.2 to 3.5 m", k == 1, k == 1) for k in range(11)),
        },
        {"rows": (), "height_text": "0.3 or 1 or 1.6 or 1.8 or 2.25 m", "ambient_c": -20.0},
    ],
    ids=["usual", "message", "bare", "long", "setting", "empty"],
)  # fmt: skip
def test_the_panel_fits_at_every_size(height: int, scale: float, changes: dict[str, object]) -> None:
    drawn = draw_panel(shown(**changes), height, scale)
    assert drawn.canvas.image.size == (round(WIDTH * scale), height)
    assert_apart(drawn.canvas)
    assert drawn.n_rows >= 2
    assert {spot.does for spot in drawn.canvas.spots} >= {"plane", "height", "motion", "air", "tab", "help"}


def test_the_panel_pages_through_long_lists() -> None:
    drawn = draw_panel(shown(), 800)
    names = [text for text, _ in drawn.canvas.text_boxes() if text.startswith("D") and text[1:].isdigit()]
    assert names == [f"D{k}" for k in range(drawn.n_rows)]
    later = draw_panel(shown(first=299), 800)
    names = [text for text, _ in later.canvas.text_boxes() if text.startswith("D") and text[1:].isdigit()]
    assert names[-1] == "D299"
    assert len(names) == later.n_rows
    assert {s.value for s in later.canvas.spots if s.does == "scroll"} == {later.n_rows, -later.n_rows}


def test_many_planes_are_stepped_through() -> None:
    planes = tuple((f"plane number {k}", k, k == 30) for k in range(50))
    spots = [spot for spot in draw_panel(shown(planes=planes), 800).canvas.spots if spot.does == "plane"]
    assert sorted(spot.value for spot in spots) == [29, 31]


@pytest.mark.parametrize("scale", [0.7, 1.0, 2.0])
def test_the_help_fits(scale: float) -> None:
    assert_apart(help_card(scale=scale))
    assert help_card(440, 600, scale).image.size[0] <= 440


def test_type_grows_with_the_scale() -> None:
    """Twice the pixels a point: letters twice as high and wide, controls in the same places in points."""
    one, two = (draw_panel(shown(), int(800 * scale), scale).canvas for scale in (1.0, 2.0))
    for (text, a), (other, b) in zip(one.text_boxes(), two.text_boxes(), strict=True):
        assert text == other
        assert (b[3] - b[1]) / (a[3] - a[1]) == pytest.approx(2, abs=0.5)
    assert [s.does for s in one.spots] == [s.does for s in two.spots]
    assert all(a.box == pytest.approx(b.box, abs=4) for a, b in zip(one.spots, two.spots, strict=True))


def test_the_legend_has_the_maps_colours() -> None:
    picture = np.asarray(draw_panel(shown(), 800).canvas.image)
    bar = picture[110:125].reshape(-1, 3)
    for index, where in ((palette.SEEN, 0.4), (palette.ASSURED, 0.5)):
        assert (np.abs(bar.astype(int) - palette.class_rgb(index, where).astype(int)).max(axis=1) < 6).any()


def test_a_slider_tells_its_value() -> None:
    spot = Spot((10, 0, 110, 20), "height", None, (0.0, 5.0, 0.05))
    assert [spot.value_at(x) for x in (0, 10, 60, 61, 110, 500)] == [0, 0, 2.5, 2.55, 5, 5]
    assert spot.holds(10, 0)
    assert not spot.holds(110, 10)


def test_text_is_shortened_and_broken() -> None:
    canvas = Canvas((300, 100))
    assert canvas.fitted("short", 11, 200) == "short"
    assert canvas.fitted(LONG, 11, 100).endswith("…")
    assert canvas.width_of(canvas.fitted(LONG, 11, 100), 11) <= 100
    lines = canvas.wrapped(LONG, 11, 120, 2)
    assert len(lines) == 2
    assert lines[1].endswith("…")
    assert " ".join(canvas.wrapped(LONG, 11, 120, 9)) == LONG


@settings(max_examples=40)
@given(
    st.lists(st.tuples(st.floats(-50, 650), st.floats(-50, 450)), min_size=1, max_size=60),
    st.integers(20, 120),
)
def test_labels_never_overlap_or_leave_the_frame(points: list[tuple[float, float]], width: int) -> None:
    sizes = np.tile([float(width), 17.0], (len(points), 1))
    corners = arrange(np.array(points), sizes, (600, 400))
    placed = corners[~np.isnan(corners[:, 0])]
    assert (placed >= 0).all()
    assert (placed + np.array([width, 17]) <= [600, 400]).all()
    for one, other in itertools.combinations(placed, 2):
        assert (np.abs(one - other) >= [width, 17]).any()


def test_the_first_label_is_served_first() -> None:
    corners = arrange(np.array([[100.0, 100.0]] * 12), np.tile([60.0, 17.0], (12, 1)), (600, 400))
    assert not np.isnan(corners[0]).any()
    assert np.isnan(corners[-1]).all()


def eye_of(view: View, size: tuple[int, int], metres: float) -> Eye:
    """A parallel eye, as `camera.Fit` has it: an outside word for what VTK's matrix says."""
    half = np.array(size) / 2 * metres
    matrix = np.eye(4)
    matrix[0, :3], matrix[1, :3] = view.right / half[0], view.up / half[1]
    matrix[2, :3] = -view.toward / 100
    return Eye(matrix, size)


def test_pixels_and_places_agree_with_the_camera() -> None:
    view, size = View(-52.0, 38.0), (800, 600)
    points = np.array([[1.0, 2.0, 0.0], [-3.0, 4.0, 2.5], [5.0, -1.0, 10.5]])
    placed = replace(fit(view, points, *size), metres=0.03, centre=np.zeros(2))
    eye = eye_of(view, size, 0.03)
    np.testing.assert_allclose(eye.pixels(points), placed.pixels(points), atol=1e-9)
    for point, (x, y) in zip(points, eye.pixels(points), strict=True):
        assert eye.on_level(x, y, float(point[2])) == pytest.approx(tuple(point[:2]), abs=1e-9)
    assert eye_of(View(0.0, 0.0), size, 0.03).on_level(3, 3, 1.0) is None
    assert nearest(eye.pixels(points), *eye.pixels(points)[1], 13) == 1
    assert nearest(eye.pixels(points), 0, 0, 13) is None


def surface() -> Surface:
    inside = np.ones((4, 6), bool)
    inside[1, 1] = False
    return Surface(
        "floor", "any", "point", (0.0,), 1.0, np.arange(6) + 0.5, np.arange(4) + 0.5, 2.0,
        np.where(inside, 0, -1).astype(np.int16), inside, inside * 1.0, ("Hall",),
    )  # fmt: skip


def test_the_map_in_front_is_asked() -> None:
    """Two storeys in line with the eye: the upper one, moved up by 3 m, answers in its own place."""
    square = np.array([[[0, 0, 2], [6, 0, 2], [6, 4, 2]], [[0, 0, 2], [6, 4, 2], [0, 4, 2]]], float)
    up = np.array([0.0, 0.0, 3.0])
    targets = [Target(surface(), square, np.zeros(3)), Target(surface(), square + up, up)]
    eye = eye_of(View(-90.0, 60.0), (800, 600), 0.05)
    x, y = eye.pixels(np.array([[3.2, 2.4, 5.0]]))[0]
    assert place_under(eye, targets, x, y) == pytest.approx((3.2, 2.4, 2.0))
    assert place_under(eye, targets[:1], *eye.pixels(np.array([[3.2, 2.4, 2.0]]))[0]) == pytest.approx((3.2, 2.4, 2.0))
    assert place_under(eye, targets, 1.0, 1.0) is None
    with pytest.raises(Nowhere):
        place_under(eye, targets, *eye.pixels(np.array([[1.5, 1.5, 5.0]]))[0])


def test_words_of_a_verdict() -> None:
    live = LiveCoverage(made().scene)
    assert decibels(-np.inf) == "no margin"
    assert decibels(-2.04) == "−2.0 dB"
    flat = live.coverage(Look(0))["floor"].surface
    lines = words_of(live.probe((8.0, 3.0, 0.0), Look(0)), (8.0, 3.0, 0.0), flat, "Store")
    assert lines[1].text == "Store, (8.00, 3.00) at 0 m"
    assert lines[0].style == "head"
    assert words_of([], (1.0, 1.0, 0.0), flat, "Store")[0].text == "Seen by nobody: no detector is on"

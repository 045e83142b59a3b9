"""The page of a scene, opened in a browser: no complaint, nothing fetched, and what a click says is the coverage's."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest
from browser import Browser, find_browser
from PIL import Image
from storey_scenes import HOUSE
from view3d_scenes import SMALL, made

import raycover
from raycover.draw import palette
from raycover.draw.sharing import page
from raycover.draw.sharing.pack import script_json
from raycover.errors import InputError

SPITEFUL = '"</script><script>alert(1)</script> & <b>%%DATA%%</b>"'


@lru_cache
def written(text: str = SMALL) -> str:
    found = made(text)
    return page.page_html(found.scene, found.building, found.coverage, found.rays)


def test_a_title_stays_text() -> None:
    text = written(SMALL.replace("Little depot", f'{SPITEFUL}\nrevision: "</script>"'))
    assert text.count("<script>alert") == 0
    assert "<title>&lt;/script&gt;&lt;script&gt;alert(1)" in text
    # Two blocks of data, the library and the page's own script; nothing typed in a scene adds one.
    assert len(re.findall(r"<script\b", text)) == len(re.findall(r"</script", text)) == 4
    assert script_json({"a": "</script><!-- & \u2028"}).count("<") == 0


def test_the_page_asks_for_nothing_and_evaluates_nothing() -> None:
    text = written()
    assert "default-src 'none'" in text
    assert "unsafe-eval" not in text
    assert not re.findall(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//""", text)
    assert "eval(" not in text
    assert "new Function" not in text
    assert "Permission is hereby granted" in text  # the licence of the library goes with it


def test_the_same_scene_gives_the_same_page() -> None:
    assert written() == written.__wrapped__()


def test_too_large_a_map_is_refused_with_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "MOST_CELLS", 1000)
    with pytest.raises(InputError, match="make grid coarser") as raised:
        written.__wrapped__()
    assert raised.value.problems[0].code == "page-too-large"


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    if find_browser() is None:
        pytest.skip("no Chromium here")
    opened = Browser(tmp_path_factory.mktemp("profile"), (1200, 760))
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def small(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Browser:
    path = tmp_path_factory.mktemp("page") / "small.html"
    path.write_text(written(SMALL.replace("Little depot", SPITEFUL)), encoding="utf-8")
    browser.open(path)
    return browser


def test_it_opens_without_a_complaint_and_draws(small: Browser) -> None:
    assert small.run("document.documentElement.dataset.ready") == "drawn"
    assert small.complaints == []
    assert [url for url in small.asked if not url.startswith(("file:", "data:"))] == []
    assert small.run("document.title") == small.run("document.getElementById('title').textContent")
    assert small.run("document.getElementById('title').textContent").startswith("</script>")
    pixels = _pixels(small)
    assert len(np.unique(pixels[110:660, 30:800].reshape(-1, 3), axis=0)) > 200


def _pixels(browser: Browser) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(browser.picture())).convert("RGB")).astype(int)


def test_cells_have_the_colours_of_their_margins(small: Browser) -> None:
    plane = made(SMALL.replace("Little depot", SPITEFUL)).coverage["floor"]
    small.run("Object.assign(raycover.state.show, {footprints: false, edges: false}); raycover.choosePlane(0)")
    for key in "ldnt":  # no lobes, no marks, no names, from above
        small.press(key)
    pixels = _pixels(small)
    rows, columns = np.nonzero(plane.surface.inside)
    cells = np.flatnonzero(plane.surface.x[columns] > 12.3)[::37]  # the office, which has no racking
    right = []
    for cell in cells:
        row, column = rows[cell], columns[cell]
        x, y = small.run(f"raycover.drawn.onScreen(0, {cell})")
        wanted = palette.margin_rgb(plane.margin_db[row, column], plane.reserve_db).astype(int)
        right.append(np.abs(pixels[int(y), int(x)] - wanted).max() <= 2 or not plane.detected[row, column])
    for key in "ldn":
        small.press(key)
    assert len(right) > 12
    assert np.mean(right) > 0.85  # the rest lie under a desk


@pytest.mark.parametrize("name", ["floor", "desk"])
def test_a_click_says_what_the_coverage_says(small: Browser, name: str) -> None:
    coverage = made(SMALL.replace("Little depot", SPITEFUL)).coverage
    plane = coverage[name]
    small.run(f"raycover.choosePlane({list(coverage).index(name)})")
    rows, columns = np.nonzero(plane.surface.inside)
    for cell in range(17, len(rows), len(rows) // 12):
        found = small.run(
            f"(({{margin, ...rest}}) => ({{...rest, margin: String(margin)}}))(raycover.probe(0, {cell}))"
        )
        row, column = rows[cell], columns[cell]
        assert (found["row"], found["column"]) == (row, column)
        assert float(found["margin"]) == plane.margin_db[row, column]
        wanted = palette.CLASS_NAMES[int(palette.class_of(plane.margin_db[row, column], plane.reserve_db))]
        assert found["class"] == wanted
        assert found["best"] == coverage.detector_names[plane.best_detector[row, column]]
        assert (found["cause"] is None) == bool(plane.detected[row, column])


def test_a_click_on_the_map_finds_its_cell(small: Browser) -> None:
    small.run("raycover.choosePlane(0)")
    small.press("t")
    plane = made(SMALL.replace("Little depot", SPITEFUL)).coverage["floor"]
    rows, columns = np.nonzero(plane.surface.inside)
    cell = int(np.argmax(plane.margin_db[rows, columns]))
    x, y = small.run(f"raycover.drawn.onScreen(0, {cell})")
    small.click(x, y)
    assert small.run("raycover.state.chosen") == {"map": 0, "cell": cell}
    assert "seen best by" in small.run("document.getElementById('probe').textContent")


def test_switching_a_detector_off_leaves_the_best_of_the_others(small: Browser) -> None:
    coverage = made(SMALL.replace("Little depot", SPITEFUL)).coverage
    plane = coverage["floor"]
    small.run("raycover.choosePlane(0); raycover.setOn(0, false)")
    alone = np.full(plane.surface.shape, -np.inf, np.float32)
    patch = plane.patches[1]
    assert patch is not None
    alone[patch.window] = patch.margin_db
    share = plane.area_where(plane.surface.inside & (alone >= 0)) / plane.area_m2
    assert small.run("document.getElementById('share').textContent") == f"{100 * share:.1f} %"
    small.press("a")
    assert small.run("document.getElementById('share').textContent") == f"{100 * plane.share:.1f} %"


def test_keys_work(small: Browser) -> None:
    small.press("2")
    assert small.run("raycover.state.plane") == 1
    assert "seated person" in small.run("document.getElementById('words').textContent")
    small.press("1")
    small.press("ArrowRight")
    assert small.run("raycover.state.on") == [True, False]
    small.press("a")
    before = small.run("raycover.state.cut")
    small.press("PageUp")
    assert small.run("raycover.state.cut") == pytest.approx(before + 0.25, abs=0.03)
    small.press("h")
    assert small.run("document.getElementById('help').hidden") is False
    small.press("Escape")
    assert small.run("document.getElementById('help').hidden") is True
    assert small.complaints == []


def test_storeys_and_stairs_have_maps_of_their_own(browser: Browser, tmp_path: Path) -> None:
    path = tmp_path / "house.html"
    path.write_text(written(HOUSE), encoding="utf-8")
    browser.open(path)
    coverage = made(HOUSE).coverage
    shown = browser.run("raycover.maps().map((m) => [m.name, raycover.probe(raycover.maps().indexOf(m), 3).plane])")
    assert {name for name, _ in shown} == set(coverage)
    share = sum(p.area_where(p.detected) for p in coverage.values()) / sum(p.area_m2 for p in coverage.values())
    assert browser.run("document.getElementById('share').textContent") == f"{100 * share:.1f} %"
    assert browser.complaints == []


def test_a_map_too_large_to_follow_says_so(browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(page, "MOST_MARGINS", 10)
    path = tmp_path / "large.html"
    path.write_text(written.__wrapped__(), encoding="utf-8")
    browser.open(path)
    before = browser.run("document.getElementById('share').textContent")
    browser.run("raycover.setOn(0, false)")
    assert browser.run("document.getElementById('share').textContent") == before
    assert "does not follow" in browser.run("document.getElementById('shares').textContent")


def test_without_webgl_the_figures_stand(tmp_path: Path, browser: Browser) -> None:
    blind = "<script>HTMLCanvasElement.prototype.getContext = () => null;</script><script>"
    text = written().replace("<script>", blind, 1)
    path = tmp_path / "blind.html"
    path.write_text(text, encoding="utf-8")
    browser.open(path)
    browser.complaints.clear()
    assert browser.run("document.documentElement.dataset.ready") == "figures"
    assert "WebGL" in browser.run("document.getElementById('problem').textContent")
    share = raycover.solve(made().scene).share("floor")
    assert browser.run("document.getElementById('share').textContent") == f"{100 * share:.1f} %"

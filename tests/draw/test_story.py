"""Slides of a scene and the film of a walk: what they say and show. The 3D pictures themselves are tested elsewhere."""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place, assert_words_are_german
from PIL import Image

import raycover
from raycover.building.build import build
from raycover.draw import palette
from raycover.draw.page import Page
from raycover.draw.story import door_film, views
from raycover.draw.story import film as filming
from raycover.draw.story.film import _steps, film
from raycover.draw.story.slide import Slide
from raycover.draw.story.telling import need_told, tell
from raycover.draw.story.views import Told
from raycover.draw.view3d import environment, still
from raycover.proving.needs import prove
from raycover.proving.swinging import door_named, swings
from raycover.rays.ray_scene import RayScene
from raycover.report.words import report_words
from raycover.solving.coverage import solve
from raycover.walking.walk import Walk, walk

SCENE = """
raycover: 1
title: Millrace House
date: 3 Feb 2026
grid: 0.2
rooms:
  - {name: Store, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: brick-215,
     openings: [{edge: 1, at: 2, width: 1, height: 2.1, fill: door-wood-40}]}
  - {name: Office, outline: [[8, 0], [12, 0], [12, 6], [8, 6]], height: 3, walls: brick-215}
detectors:
  - {name: A, model: ceiling-infrared-general, at: [3, 3], mounting: 3}
planes: [{name: floor, height: 0}]
needs:
  - {name: Office floor, rooms: [Office], plane: floor, share: 0.5}
  - {name: Store floor, rooms: [Store], plane: floor, share: 0.2}
routes: [{name: In, line: [[1, 2.5], [11, 2.5]], pauses: [{at: 2, seconds: 60}]}]
"""
MORE = SCENE.replace("planes:", "  - {name: B, model: ceiling-infrared-general, at: [10, 3], mounting: 3}\nplanes:")


@lru_cache
def told(text: str = SCENE) -> Told:
    scene = raycover.load_text(text)
    building = build(scene)
    rays = RayScene(building)
    return Told(scene, building, rays, solve(scene, building=building, rays=rays))


@pytest.fixture
def pages(monkeypatch: pytest.MonkeyPatch) -> list[Page]:
    """Every page drawn meanwhile; the building itself is left white."""

    def white(_: Any, composed: Any) -> np.ndarray:
        assert len(composed.lobes) == len(composed.through)  # what the true one counts on
        return np.full((composed.placed.height, composed.placed.width, 3), 255, np.uint8)

    drawn: list[Page] = []
    pixels = Page.pixels

    def noted(page: Page) -> np.ndarray:
        drawn.append(page)
        return pixels(page)

    monkeypatch.setattr(environment, "load_for_pictures", lambda: None)
    for module in (still, views, filming):
        monkeypatch.setattr(module, "render", white)
    monkeypatch.setattr(Page, "pixels", noted)
    return drawn


def test_the_slides_come_in_their_order_and_say_their_figures(pages: list[Page]) -> None:
    now, then = told(), told(MORE)
    slides = tell(now, after=then, proof=prove(then.scene))
    keys = [slide.key for slide in slides]
    assert keys == ["space", "need", "detectors", "coverage floor", "hidden", "proposal floor", "proof"]
    by_key = dict(zip(keys, slides, strict=True))
    before, after = now.coverage.share("floor"), then.coverage.share("floor")
    assert by_key["coverage floor"].title == f"On the floor: {100 * before:.1f} % is seen"
    assert by_key["proposal floor"].title == f"With the proposal: {100 * before:.1f} % becomes {100 * after:.1f} %"
    assert "needs are met" in by_key["proof"].title or "need is met" in by_key["proof"].title
    assert "no detector" in by_key["hidden"].alt or "of A" in by_key["hidden"].alt
    for slide in slides:
        assert slide.body.shape == (1080, 1920, 3)
        assert slide.alt
        assert any("walk-test" in line for line in slide.notes)
        assert any("licensed" in line for line in slide.notes)
    assert len(pages) == len(slides)
    for page in pages:
        assert_texts_are_in_place(page, fewest=5)
        assert min(text.get_fontsize() for text in page.axes.texts) >= 8.0  # the least that a slide may have


#: What the scenes here call their things; models, planes and P.2040 keep their names in every language.
NAMES = ("Millrace House", "Store/wall", "Store", "Office", "floor", "ITU-R P.2040", "Ceiling infrared, general", "In")


def test_slides_can_be_told_in_german(pages: list[Page]) -> None:
    wording = report_words("de").wording
    now, then = (replace(one, wording=wording) for one in (told(), told(MORE)))
    slides = tell(now, after=then, proof=prove(then.scene))
    by_key = {slide.key: slide for slide in slides}
    share = f"{100 * now.coverage.share('floor'):.1f}".replace(".", ",")
    assert by_key["coverage floor"].title == f"Erfasst auf dem Boden: {share} %"
    assert by_key["need"].subtitle == "Anforderungen: 2, jede Ort für Ort beurteilt."
    assert by_key["coverage floor"].subtitle == "Wo ein Mensch in Bewegung bemerkt wird, auf dem Boden, Luft von 20 °C"
    for slide in slides:
        assert any("keine Prüfung vor Ort" in line for line in slide.notes)
        names = [name.replace("floor", "Office floor") for name in NAMES]
        assert_words_are_german((slide.title, slide.subtitle, slide.alt, *slide.notes), [*NAMES, *names])
    assert len(pages) == len(slides)
    for page in pages:
        assert_texts_are_in_place(page, fewest=5)
        assert_words_are_german([text.get_text() for text in page.axes.texts], NAMES)
        cautions = [text.get_text() for text in page.axes.texts if "Vorhersage" in text.get_text()]
        assert [line.endswith("örtliche Regeln.") for line in cautions] == [True]  # whole, however long


def test_films_say_their_words_in_german() -> None:
    label = report_words("de").wording
    assert label("1:05 min, 12.5 m") == "1:05 min, 12,5 m"
    assert label("noticed by A, B and 2 more") == "bemerkt von A, B und 2 weiteren"
    assert label("nobody notices who is inside; 50.4 % of the plane is seen") == (
        "niemand bemerkt, wer darin ist; 50,4 % der Karte erfasst"
    )
    assert label("WC/door 1: 40° open") == "WC/door 1: 40° offen"
    assert label("Nobody's house") == "Nobody's house"  # a name is left alone


def test_a_title_is_in_the_picture_and_not_in_the_body(pages: list[Page]) -> None:
    body = np.full((1080, 1920, 3), 255, np.uint8)
    slide = Slide("k", "Title " * 30, "subtitle", body, "alt", ())
    assert (slide.body == 255).all()
    ink = (slide.pixels < 128).all(axis=2)
    assert ink[40:110, 60:].any()
    assert not ink[:, 1460:].any()  # the headline's place stays free, however long the title


def test_without_needs_the_planes_are_listed(pages: list[Page]) -> None:
    slide = need_told(told(), None)
    assert "no needs" in slide.subtitle
    texts = [text.get_text() for text in pages[0].axes.texts]
    assert "floor" in texts
    assert_texts_are_in_place(pages[0], fewest=5)


@lru_cache
def _walked() -> Walk:
    now = told(MORE)
    return walk(now.scene, building=now.building, rays=now.rays, declared=True)[0]


def test_stays_are_cut_short_and_every_metre_is_shown() -> None:
    found = _walked()
    steps = _steps(found)
    still_ = ~found.track.moving[steps]
    assert 40 < len(steps) <= 84
    assert still_.sum() < 0.5 * len(steps)  # a minute's stay in a walk of some ten seconds
    assert steps[0] == 0
    assert steps[-1] == len(found.track.time_s) - 1
    assert np.diff(found.track.walked_m[steps]).max() < 0.5


@pytest.mark.skipif(sys.platform.startswith("linux") and not environment.egl_works(), reason="no way to draw 3D here")
def test_the_film_shows_the_building() -> None:
    moving = Image.open(io.BytesIO(film(told(MORE), _walked(), "floor", n_frames=2)))
    pixels = np.asarray(moving.convert("RGB")).reshape(-1, 3).astype(int)
    assured = palette.class_rgb(palette.ASSURED).astype(int)
    assert (np.abs(pixels - assured).sum(axis=1) < 30).mean() > 0.01


def test_the_film_lights_who_notices(pages: list[Page]) -> None:
    found = _walked()
    data = film(told(MORE), found, "floor", n_frames=30)
    moving = Image.open(io.BytesIO(data))
    assert moving.size == filming.SIZE_PX
    assert len(data) < 1.5e6
    steps = _steps(found, 30)
    noticed = found.noticed[steps]
    assert noticed.any()
    assert not noticed.all()
    shell = np.array([int(palette.SHELL[k : k + 2], 16) for k in (1, 3, 5)])
    lit = []
    shown = 0
    for k in range(moving.n_frames):
        moving.seek(k)
        pixels = np.asarray(moving.convert("RGB")).astype(int)[: 540 - 62]
        tinted = 255 - (255 - shell) * 78 / 255
        lit.append((np.abs(pixels - tinted).sum(axis=2) < 40).mean() > 0.004)
        shown += moving.info["duration"]
    # Frames that look alike may be merged by the format: what counts is that both kinds are there.
    assert True in lit
    assert False in lit
    assert shown == pytest.approx(100 * (len(steps) - 1) + 1800, abs=10)


def test_a_door_closes_frame_by_frame(pages: list[Page], monkeypatch: pytest.MonkeyPatch) -> None:
    """By one camera; who sits behind a cubicle's door is drawn noticed while somebody sees them, and else not."""
    row = "cubicles: [{name: WC, at: [3.9, 6], turn_deg: 180, count: 2, opens: outward}]"
    text = SCENE.replace("planes: [", f"{row}\nplanes: [{{name: low, height: 1}}, ")
    scene = raycover.load_text(text)
    door = door_named(scene, "WC/door 2")
    assert door is not None
    shown: list[Any] = []

    def white(_: Any, composed: Any) -> np.ndarray:
        shown.append(composed)
        return np.full((composed.placed.height, composed.placed.width, 3), 255, np.uint8)

    monkeypatch.setattr(door_film, "render", white)
    moments = list(swings(scene, door, "low", angles=(90.0, 40.0, 0.0)))
    data = door_film.door_film(moments, door, "low")
    with Image.open(io.BytesIO(data)) as image:
        assert (image.n_frames, image.size) == (3, (960, 540))
        assert image.info["loop"] == 0
    assert len({id(composed.placed) for composed in shown}) == 1
    for composed, moment in zip(shown, moments, strict=True):
        found = door_film.cell_at(composed.planes, door.inside)
        assert found is not None
        noticed = moment.coverage["low"].margin_db[found[1], found[2]] >= 0
        assert (len(composed.figures), len(composed.unnoticed)) == ((1, 0) if noticed else (0, 1))
    assert len(shown[0].figures) == 1
    assert len(shown[-1].unnoticed) == 1
    assert data == door_film.door_film(moments, door, "low")


SEATED = """
raycover: 1
title: Millrace House
date: 3 Feb 2026
grid: 0.2
rooms:
  - {name: Store, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 3, walls: plasterboard-12.5}
  - {name: Office, outline: [[8, 0], [12, 0], [12, 6], [8, 6]], height: 3, walls: plasterboard-12.5}
  - {name: Archive, outline: [[12, 0], [15, 0], [15, 6], [12, 6]], height: 3,
     walls: [brick-215, brick-215, brick-215, none]}
desks: [{name: Desks, at: [13.2, 1.5], count: 1, seat: true}]
detectors:
  - {name: A, model: microwave-omni-5.8, at: [6, 3], mounting: 3}
planes: [{name: seated, height: 1.0, motion: presence, body: seated}]
"""


@pytest.mark.parametrize(
    ("lang", "wanted"),
    [
        ("en", ["seated, not noticed", "seen by A, in 3D", "what has passed a wall"]),
        ("de", ["sitzend, nicht bemerkt", "erfasst von A, in 3D", "durch eine Wand gelangt"]),
    ],
)
def test_the_slide_of_what_is_not_seen_has_a_key(lang: str, wanted: list[str], pages: list[Page]) -> None:
    """Of the seated people and the shells that the picture shows; eight gaps leave it its place."""
    seen = replace(told(SEATED), wording=report_words(lang).wording)
    composed = still.compose(seen.scene, seen.building, seen.coverage, "seated", seen.rays, *views.viewport_px())
    picture = np.full((composed.placed.height, composed.placed.width, 3), 255, np.uint8)
    one = views.gaps_of(composed)[0]
    views.gaps_view(seen, composed, picture, [replace(one, letter=letter) for letter in "abcdefgh"])
    said = [text.get_text().replace("\N{NO-BREAK SPACE}", " ") for text in pages[-1].axes.texts]
    assert set(wanted) <= set(said)
    # The letters lie over each other on the map; in the column nothing does.
    column = [(text, box) for text, box in pages[-1].text_boxes() if text.strip() and box[0] > views.COLUMN - 1]
    for k, (text, a) in enumerate(column):
        for other, b in column[k + 1 :]:
            shared = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
            assert min(shared) <= 0.05, (text, other)

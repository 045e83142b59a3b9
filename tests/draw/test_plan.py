"""Whole plans: every text in its place on awkward scenes and on the examples, the file, and what it says."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from page_texts import assert_texts_are_in_place
from PIL import Image

import raycover
from raycover.building.build import build
from raycover.draw import words
from raycover.draw.lettering import clean
from raycover.draw.page import Page
from raycover.draw.plan import draw_plan, make_plan
from raycover.draw.stair_sheet import make_stair_sheet
from raycover.shares import percent
from raycover.solving.coverage import solve
from raycover.solving.gaps import Gap

DATE = 'date: "3 Feb 2026"'


def turned(*points: tuple[float, float], deg: float = 23.0) -> str:
    a = np.radians(deg)
    return str([[round(float(x * np.cos(a) - y * np.sin(a)), 4), round(float(x * np.sin(a) + y * np.cos(a)), 4)]
                for x, y in points])  # fmt: skip


SCENES = {
    "L-shaped office": """
grid: 0.2
north_deg: 62
conditions: {ambient_c: 27}
rooms:
  - {name: Open office, outline: [[0,0],[14,0],[14,6],[7,6],[7,12],[0,12]], height: 2.8, walls: brick-215,
     openings: [{edge: 0, at: 1, width: 3, height: 1.4, sill: 0.9, fill: double-glazing-6-16-6},
                {edge: 0, at: 6, width: 3, height: 0.6, sill: 1.9, fill: glass-6},
                {edge: 5, at: 2, width: 1.8, height: 2.1, fill: door-wood-40},
                {edge: 4, at: 2, width: 3.2, height: 2.4, fill: steel-door, state: open}]}
partitions:
  - {name: Screen, line: [[3.5,3],[3.5,6],[5.5,6]], height: 1.4, construction: chipboard-18}
  - {name: Mesh, line: [[1,10],[5,10]], height: 2.8, construction: wire-mesh-50}
  - {name: Stud, line: [[0,8.5],[4,8.5]], height: 2.8, construction: stud-wall-100,
     openings: [{at: 2.5, width: 0.9, height: 2.1, fill: door-wood-40, state: open}, {at: 0.5, width: 1, height: 2}]}
  - {name: Bulkhead, line: [[8,1],[13,1]], base: 2.2, height: 0.6, construction: plasterboard-12.5}
desks: [{name: North desks, at: [8,1.2], count: 3}, {name: South desks, at: [8,3.2], count: 3}]
cubicles: [{name: Booths, at: [6.5, 11.9], turn_deg: 180, count: 2, doors: [open, closed]}]
sheets: [{name: Shelf, corners: [[1,1,1],[2,1,1],[2,2,1],[1,2,1]], construction: chipboard-18},
         {name: Ramp, corners: [[9,4.5,0],[12,4.5,1.5],[12,5.5,1.5],[9,5.5,0]], construction: chipboard-18}]
solids: [{name: Cabinet, centre: [0.3,5.5], size: [0.4,1.2,2.0], material: metal},
         {name: Duct, centre: [11,5], size: [3,0.4,0.4], base: 2.2, material: metal},
         {name: Column, centre: [7,3], size: [0.3,0.3,2.8], material: concrete}]
detectors:
  - {name: D1, model: microwave-omni-5.8, at: [3.4,3.0], mounting: 2.8}
  - {name: D2, model: wide-infrared-rectangular, at: [10.5,3], mounting: 2.8, masks: [{from_deg: 60, to_deg: 100}]}
  - {name: D3, model: wall-infrared, at: [0.15,11.8], mounting: 2.4, turn_deg: -45, tilt_deg: 10}
  - {name: D4, model: microwave-corridor-24, at: [3.4,10], mounting: 2.8, turn_deg: 90}
planes: [{name: floor, height: 0}, {name: desk, height: 0.75, motion: presence}, {name: people, target: person}]
""",
    "turned rooms with awkward names": f"""
grid: 0.2
north_deg: 200
rooms:
  - {{name: 'Größe_$x$ 房间 \U0001f6aa', outline: {turned((0, 0), (20, 0), (20, 10), (0, 10))},
     height: 4, walls: brick-215}}
  - {{name: Side room with an exceedingly long name for its size, outline: {turned((20, 0), (24, 0), (24, 4), (20, 4))},
     height: 4, walls: brick-215}}
  - {{name: Store, outline: {turned((20, 4), (21.5, 4), (21.5, 6), (20, 6))}, height: 4, walls: brick-215}}
detectors:
  - {{name: A detector with a name that is far too long, model: ceiling-infrared-general, at: [3, 7], mounting: 4}}
  - {{name: D2, model: wide-infrared-rectangular, at: [11, 10], mounting: 4, turn_deg: 23, tilt_deg: 15}}
  - {{name: D3, model: wide-infrared-rectangular, at: [11, 10], mounting: 4, turn_deg: 23}}
""",
    "tiny washroom": """
grid: 0.05
rooms: [{name: Accessible washroom, outline: [[0,0],[1.9,0],[1.9,1.2],[0,1.2]], height: 2.4, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [0.95,0.6], mounting: 2.4}]
""",
    "hall of 60 detectors": """
grid: 1
rooms: [{name: Hall, outline: [[0,0],[200,0],[200,80],[0,80]], height: 12, walls: steel-panel}]
racking: ["""
    + ",".join(f"{{name: R{i}, at: [20,{6 + i * 6}], bays: 55, levels: 3, back_to_back: true}}" for i in range(11))
    + "]\ndetectors: ["
    + ",".join(
        f"{{name: D{i}-{j}, model: high-bay-infrared-round, at: [{10 + 20 * j},{7 + 13 * i}], mounting: 11}}"
        for i in range(6)
        for j in range(10)
    )
    + "]",
    "no detectors": "rooms: [{name: Room, outline: [[0,0],[8,0],[8,6],[0,6]], height: 3, walls: none}]",
    "no gaps": """
rooms: [{name: Room, outline: [[0,0],[4,0],[4,3],[0,3]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [2,1.5], mounting: 2.8}]
""",
    "nothing but gaps": """
conditions: {ambient_c: 34, reserve_db: 0.5}
rooms: [{name: Boiler room, outline: [[0,0],[8,0],[8,6],[0,6]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [2,1.5], mounting: 2.8}]
""",
    "extent without rooms": """
conditions: {reserve_db: 0}
solids: [{name: Container, centre: [6,5], size: [6,2.4,2.6], turn_deg: 30, material: metal}]
detectors: [{name: D1, model: microwave-omni-24, at: [3,9], mounting: 3},
            {name: Far, model: microwave-omni-24, at: [90,9], mounting: 3}]
planes: [{name: yard, height: 0, extent: [0,0,16.1,12.05]}]
""",
    "tall narrow corridor": """
grid: 0.2
rooms: [{name: Corridor, outline: [[0,0],[2,0],[2,40],[0,40]], height: 2.6, walls: stud-wall-100},
        {name: Cupboard, outline: [[2,10],[3,10],[3,11],[2,11]], height: 2.6, walls: stud-wall-100}]
detectors: [{name: D1, model: microwave-corridor-24, at: [1,10], mounting: 2.6, turn_deg: 90}]
""",
    "a crowd": "grid: 0.5\nrooms: ["
    + ",".join(
        f"{{name: Cell {i}-{j}, outline: [[{j * 4},{i * 5}],[{j * 4 + 4},{i * 5}],[{j * 4 + 4},{i * 5 + 5}],"
        f"[{j * 4},{i * 5 + 5}]], height: 2.7, walls: brick-215}}"
        for i in range(20)
        for j in range(8)
    )
    + "]\ndetectors: ["
    + ",".join(
        f"{{name: P{i}-{j}, model: wide-infrared-rectangular, at: [{j * 4 + 2},{i * 5 + 2.5}], mounting: 2.7}}"
        for i in range(20)
        for j in range(8)
    )
    + "]",
    "forty rooms": "grid: 0.2\nrooms: ["
    + ",".join(
        f"{{name: Room {i}-{j}, outline: [[{j * 3},{i * 4}],[{j * 3 + 3},{i * 4}],[{j * 3 + 3},{i * 4 + 4}],"
        f"[{j * 3},{i * 4 + 4}]], height: 2.7, walls: stud-wall-100}}"
        for i in range(4)
        for j in range(10)
    )
    + "]\ndetectors: [{name: P, model: ceiling-infrared-general, at: [4.5,2], mounting: 2.7}]",
}
LONG_TITLE = r"A very long title with $math$, \backslash and under_scores that never comes to an end 房间, never at all"


def solved(name: str) -> Any:
    body = SCENES[name]
    planes = "" if "planes:" in body else "\nplanes: [{name: floor, height: 0}]"
    scene = raycover.load_text(f"raycover: 1\ntitle: '{LONG_TITLE}'\n{DATE}\n{body}{planes}\n")
    building = build(scene)
    return scene, building, solve(scene, building=building)


@pytest.mark.parametrize("name", SCENES)
def test_texts_neither_overlap_nor_leave_the_page(name: str) -> None:
    scene, building, coverage = solved(name)
    for plane in coverage:
        assert_texts_are_in_place(make_plan(scene, building, coverage, plane))


def page_of(example: Any, name: str) -> Page:
    """The sheet of one of an example's maps, a storey's plan or an unrolled stair; its texts do not mind its dots."""
    make = make_plan if example.coverage[name].surface.stairs is None else make_stair_sheet
    return make(example.scene, example.building, example.coverage, name, dpi=60)


def texts_of(example: Any, name: str) -> list[str]:
    """Every text of such a sheet, which is made once for all tests."""
    key = example.path, name
    if key not in _TEXTS:
        _TEXTS[key] = [text for text, _ in page_of(example, name).text_boxes()]
    return list(_TEXTS[key])


_TEXTS: dict[tuple[Path, str], list[str]] = {}


def test_texts_of_the_examples_neither_overlap_nor_leave_the_page(example: Any) -> None:
    for plane, found in example.coverage.items():
        page = page_of(example, plane)
        assert_texts_are_in_place(page)
        texts = _TEXTS[example.path, plane] = [text for text, _ in page.text_boxes()]
        hung = [example.building.room_at(*unit.position) for unit in example.coverage.units]
        here = {
            unit.name
            for unit, room in zip(example.coverage.units, hung, strict=True)
            if found.surface.storey is None or (room is not None and room.name in found.surface.room_names)
        }
        assert found.surface.stairs is not None or here <= set(texts)
        assert percent(example.coverage.share(plane)) in texts


def test_a_plan_is_a_small_a4_palette_png(depot: Any, tmp_path: Path) -> None:
    draw_plan(depot.scene, depot.building, depot.coverage, "floor", tmp_path / "floor.png", sheet=(2, 5))
    with Image.open(tmp_path / "floor.png") as image:
        assert (image.mode, image.size) == ("P", (2338, 1653))
        colours = {tuple(c) for c in np.array(image.convert("RGB").getcolors(1 << 16), object)[:, 1]}
    assert 20_000 < (tmp_path / "floor.png").stat().st_size < 600_000
    assert {(0xB0, 0x3A, 0x1C), (0x1F, 0x2B, 0x33), (255, 255, 255)} <= colours
    assert [p.name for p in tmp_path.iterdir()] == ["floor.png"]


def test_the_same_input_gives_the_same_bytes(tmp_path: Path) -> None:
    scene, building, coverage = solved("tiny washroom")
    for name in ("a", "b"):
        draw_plan(scene, building, coverage, "floor", tmp_path / f"{name}.png", dpi=100)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_an_unknown_plane_is_refused(depot: Any, tmp_path: Path) -> None:
    with pytest.raises(KeyError):
        draw_plan(depot.scene, depot.building, depot.coverage, "roof", tmp_path / "roof.png")
    assert list(tmp_path.iterdir()) == []


def test_the_sheet_says_what_it_is_of(depot: Any) -> None:
    page = make_plan(depot.scene, depot.building, depot.coverage, "desk", sheet_number=(2, 5))
    texts = [text for text, _ in page.text_boxes()]
    assert "Coverage plan, desk" in texts
    assert "2 of 5" in texts
    assert any(text.startswith("1 : ") for text in texts)
    whole = " ".join(texts)
    cautions = ("walk-test", "Not a safety function", "licensed", "Makers")
    for phrase in ("at 0.75 m", "air at 20 °C", "reserve 3 dB", *cautions):
        assert phrase in whole
    for class_name in ("assured", "seen", "doubtful", "not seen"):
        assert class_name in texts


def test_listed_gaps_and_the_rest_add_up(example: Any) -> None:
    for name, plane in example.coverage.items():
        texts = texts_of(example, name)
        texts.remove("m")  # the unit of the scale bar
        letters = [t for t in texts if len(t) == 1 and t.islower()]
        n_listed = len(set(letters))
        rest = next((t for t in texts if " smaller, " in t or (" more, " in t and "m²" in t)), None)
        if n_listed < len(plane.gaps):
            assert rest is not None
            assert int(rest.split()[0]) == len(plane.gaps) - n_listed
        else:
            assert rest is None


def test_a_scene_without_detectors_says_so() -> None:
    texts = [text for text, _ in make_plan(*solved("no detectors"), "floor").text_boxes()]
    assert "0.0 %" in texts
    assert "there is no detector" in texts
    assert "no detector" in texts


def test_what_finds_no_place_is_counted() -> None:
    scene, building, coverage = solved("a crowd")
    texts = [text for text, _ in make_plan(scene, building, coverage, "floor").text_boxes()]
    note = next(text for text in texts if text.startswith("No room at this scale for "))
    drawn = sum(unit.name in texts for unit in coverage.units)
    assert f"{len(coverage.units) - drawn} detector tag" in note


def test_a_scene_without_gaps_says_so() -> None:
    texts = [text for text, _ in make_plan(*solved("no gaps"), "floor").text_boxes()]
    assert "No gap: the whole area is seen." in texts


@pytest.mark.parametrize(
    ("cause", "blocked_by", "said"),
    [
        (1, None, "beyond the reach of D2"),
        (2, None, "outside the lens of D2"),
        (3, None, "masked at D2"),
        (4, "R1", "hidden by R1"),
        (4, "Office", "hidden by a wall of Office"),
        (5, "Screen", "lost in Screen"),
        (6, None, "air too warm for D2"),
    ],
)
def test_causes_in_plain_words(cause: int, blocked_by: str | None, said: str) -> None:
    gap = Gap(1, "Hall", 2.0, 1.0, (0.0, 0.0, 0.0), cause, blocked_by, "D2")
    assert words.cause(gap, {"Office"}) == said


@pytest.mark.parametrize(
    ("share", "said"), [(0.0, "0.0 %"), (1e-5, "< 0.1 %"), (0.8777, "87.8 %"), (0.99999, "99.9 %"), (1.0, "100.0 %")]
)
def test_shares_are_never_rounded_to_all_or_nothing(share: float, said: str) -> None:
    assert percent(share) == said


def test_free_text_is_made_drawable() -> None:
    assert clean("  a\tb\n c\x07\u202e ") == "a b c"
    assert clean("房$_\\é") == "□$_\\é"

"""Buildings, studies, grid walks, walk tests and what came back, units and constructions in German."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from page_texts import assert_texts_are_in_place, assert_words_are_german

from raycover.asking.reach import unit_reach
from raycover.asking.studying import study
from raycover.building.build import build
from raycover.catalogue import load_catalogue
from raycover.cli.grid_walking import floors_of
from raycover.draw.building_plan import make_building_plan
from raycover.draw.chance_plan import MAPS, make_chance
from raycover.draw.material_sheet import material_page
from raycover.draw.multiples import Small
from raycover.draw.page import Page
from raycover.draw.reconcile_page import make_reconciliation
from raycover.draw.study import Shown, make_chart_sheet, make_plan_sheets
from raycover.draw.trips_plan import make_trips_plan
from raycover.draw.unit_sheet import unit_page
from raycover.draw.walktest_page import make_walk_test_pages
from raycover.exchange.entry_notes import notes
from raycover.exchange.results_file import COLUMNS, read_results
from raycover.exchange.walktest_files import sheet_csv, sheet_xlsx
from raycover.kit.sheet_figures import sheet_figures
from raycover.loading import load
from raycover.rays.ray_scene import RayScene
from raycover.report.words import report_words, words_for
from raycover.scene.devices import PlaneSpec
from raycover.scene.varying import Change
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units, solve
from raycover.solving.uncast import inventory
from raycover.walking.grid_walk import grid_walk
from raycover.walking.sensing import sensors_of
from raycover.walktest.making import WalkTest, make_walk_test
from raycover.walktest.returned import compare

if TYPE_CHECKING:
    from collections.abc import Iterable

    from conftest import Solved

    from raycover.trips import Trips

GERMAN = report_words("de").wording
CATALOGUE = load_catalogue()
EXAMPLES = Path(__file__).parents[2] / "examples"
#: Names of things and pieces in the examples, and words that are the same in German.
NAMES = (
    "Ground floor", "First floor", "Second floor", "Stair B", "person", "Every cubicle", "Open office", "WC/door",
    "Larkmoor House, second floor", "stud-wall-100", "door-wood-40", "/wall", "floor",
    "plasterboard-12.5", "microwave-omni-5.8", "plasterboard", "WC/front",
    "once in four tries", "low-emissivity glass", "People in the corridor", "Sun on the floor",
    "Yard door in the wind", "Van in the yard", "People in the corridor",
)  # fmt: skip


def _assert_german(page: Page, also: Iterable[str | None] = ()) -> list[str]:
    """The page's texts; what the catalogue says (`also`) stays as it is, line by line."""
    assert_texts_are_in_place(page, fewest=15)
    said = [text for text, _ in page.text_boxes()]
    given = [text for text in also if text]
    lines = [text.removeprefix("andere Angaben: ").rstrip("…").strip() for text in said]
    assert_words_are_german([line for line in lines if not any(line in one for one in given)], (*NAMES, *given))
    for text, (_, _, right, _) in page.text_boxes():
        assert right <= page.size[0] - 9.5, text
    return said


def test_the_building_alone(stairwell: Solved, office: Solved) -> None:
    for one in (stairwell, office):
        scene, building = one.scene, one.building
        held, units = inventory(scene, building), make_units(scene, building)
        for storey in building.storeys if len(building.storeys) > 1 else (None,):
            page = make_building_plan(scene, building, units, held, storey=storey, dpi=60, wording=GERMAN)
            assert {"Raum", "Boden", "Höhe", "Besteht aus", "nichts ist gerechnet"} <= set(_assert_german(page))


def test_a_grid_walk() -> None:
    scene = load(EXAMPLES / "office" / "scene.yaml").model_copy(update={"grid": 2.0})
    building = build(scene)
    units = make_units(scene, building)
    sensors = sensors_of(scene, units)
    surface = floors_of(scene, building)[0]
    found = grid_walk(surface, units, sensors, RayScene(building), Weather.of(scene), threads=1)
    for which in MAPS:
        said = _assert_german(make_chance(scene, building, units, found, which, dpi=60, wording=GERMAN))
        assert {"werden bemerkt", "Wie oft bemerkt", "quer zum Blick"} <= set(said)
        assert any(text.startswith("Begehung im Raster: ") for text in said)


def test_a_study() -> None:
    scene = load(EXAMPLES / "washroom" / "scene.yaml").model_copy(update={"grid": 0.5})
    found = study(scene, [Change(mounting=h) for h in (2.3, 2.5)], [scene.detectors[0].name])
    page = make_chart_sheet(scene, found, need=0.95, now=2.4, sheet_number=(1, 1), dpi=60, wording=GERMAN)
    said = _assert_german(page)
    assert {"Montagehöhe, m", "größte Lücke", "verlangt: 95 %", "Vergleich: Montagehöhe"} <= set(said)


@lru_cache
def _washroom_test() -> WalkTest:
    return make_walk_test(load(EXAMPLES / "washroom" / "scene.yaml"), n_points=10)


def test_a_walk_test() -> None:
    plan, *tables = make_walk_test_pages(
        _washroom_test(), dpi=60, wording=words_for(_washroom_test().scene, "de").wording
    )
    assert {"Nr", "Bewegung", "erwartet", "Punkte zu prüfen,", "Weg der Begehung"} <= set(_assert_german(plan))
    for table in tables:
        said = _assert_german(table)
        assert {"Von den Wänden", "Was zu tun ist", "Warum hier", "ja", "nein", "Geprüft von"} <= set(said)
        assert any(text.endswith(" m von der Nordwand") for text in said)


@pytest.mark.parametrize("code", ["en", "de"])
@pytest.mark.parametrize("ending", ["csv", "xlsx"])
def test_tables_come_back_in_either_language(code: str, ending: str, tmp_path: Path) -> None:
    """What was handed out, filled in, is read as the same points, moves and units: their codes still hold."""
    test, wording = _washroom_test(), words_for(_washroom_test().scene, code).wording
    path = tmp_path / f"walk-test.{ending}"
    yes, no = ("yes", "no") if code == "en" else ("ja", "nein")
    if ending == "csv":
        head, *rows = sheet_csv(test, code, wording).splitlines()
        between = ";" if code == "de" else ","
        assert (between.join(COLUMNS) in head) == (code == "en")
        filled = [row[:-1] + (no if k else yes) + between for k, row in enumerate(rows)]
        path.write_text("\n".join([head, *filled]), encoding="utf-8")
    else:
        openpyxl = pytest.importorskip("openpyxl")
        path.write_bytes(sheet_xlsx(test, code, wording))
        book = openpyxl.load_workbook(path)
        for k in range(len(test.points)):
            book.active.cell(4 + k, COLUMNS.index("seen") + 1).value = no if k else yes
        book.save(path)
    answers = read_results(path)
    assert [a.seen for a in answers.answers] == [True, *[False] * (len(test.points) - 1)]
    assert [(a.number, a.move, a.watch) for a in answers.answers] == [
        (p.number, p.move.key, p.watch) for p in test.points
    ]
    assert [a.at for a in answers.answers] == [pytest.approx(p.at, abs=0.006) for p in test.points]


def test_a_table_in_german_has_german_sentences() -> None:
    head, *rows = sheet_csv(_washroom_test(), "de", words_for(_washroom_test().scene, "de").wording).splitlines()
    assert head.lstrip("\ufeff").split(";")[-2:] == ["bemerkt", "Bemerkung"]
    assert_words_are_german(rows, NAMES)


def test_what_came_back(washroom: Solved) -> None:
    scene = washroom.scene
    returned = compare(scene, read_results(EXAMPLES / "washroom" / "walk-test.csv"))
    wording = words_for(scene, "de").wording
    for page in make_reconciliation(returned, washroom.coverage, dpi=60, wording=wording):
        said = _assert_german(page)
        assert {"Was die Antworten sagen", "Mit der Korrektur", "bemerkt wie vorhergesagt", "Vorschlag"} <= set(said)


def test_false_trips_have_room_for_who_disturbs_whom(workshop: Solved, workshop_trips: Trips) -> None:
    for wording, head in ((GERMAN, "Stören sich evtl."), (report_words("en").wording, "Disturb each other")):
        page = make_trips_plan(workshop.scene, workshop.building, workshop_trips, dpi=60, wording=wording)
        assert_texts_are_in_place(page)
        assert head in [text for text, _ in page.text_boxes()]


@pytest.mark.parametrize("name", sorted(CATALOGUE.detectors))
def test_units(name: str) -> None:
    model = CATALOGUE.detectors[name]
    for part in model.parts:
        page = unit_page(unit_reach(part), notes=tuple(notes(part)), dpi=60, wording=GERMAN)
        given = (model.title, model.description, model.family, model.source, part.source, part.family,
                       *(d.source for d in part.declared))  # fmt: skip
        said = _assert_german(page, (name, *given))
        assert {"Grundriss", "Technik", "Quellen", "Boden", "Tisch"} <= set(said)


@pytest.mark.parametrize(
    "name", ["stud-wall-100", "concrete-150", "wire-mesh-50", "steel-panel", "coated-glazing", "brick"]
)
def test_constructions(name: str) -> None:
    figures = sheet_figures(CATALOGUE, name)
    page = material_page(figures, dpi=60, wording=GERMAN)
    given = (figures.source, *figures.material_sources, figures.edition, *(m.name for m in figures.made.materials))
    said = _assert_german(page, (name, *given))
    assert {"Schnitt", "Über der Frequenz", "Über dem Winkel", "Was gespiegelt wird"} <= set(said)


def test_planes_of_racking_are_named_in_german_those_of_a_scene_stay() -> None:
    """Feet, waist and head are the package's words; a plane that a scene calls head is not put into German."""
    scene = load(EXAMPLES / "washroom" / "scene.yaml").model_copy(update={"grid": 0.5})
    building = build(scene)
    scene = scene.changed({"planes": [PlaneSpec(name="head", height=1.6)]}, scene.state, lambda places: places)
    coverage = solve(scene, building=building)
    plans = {"head": Small(building, coverage["head"], coverage.units)}
    for given, head in ((True, "head"), (False, "Kopf")):
        (page,) = make_plan_sheets(
            scene, "s", "Plans of chosen steps", [Shown(Change(), plans)], (), GERMAN, names_given=given
        ).values()
        assert head in [text for text, _ in page.text_boxes()]


def test_titles_of_files() -> None:
    assert GERMAN("loss of microwave") == "Mikrowellenverlust"
    assert GERMAN("coverage plan, floor") == "Erfassungsplan, floor"
    assert GERMAN("section A") == "Schnitt A"
    assert [GERMAN(text) for text in ("proof", "walk test", "walk test reconciled", "masks to cut")] == [
        "Nachweis", "Begehung", "Begehung ausgewertet", "Abdeckungen zum Ausschneiden",
    ]  # fmt: skip

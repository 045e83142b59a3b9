"""What a report says: alike in both renderings and every language; long tables; missing parts; nothing half written."""

from __future__ import annotations

import ast
import importlib.util
import io
import re
import shutil
import string
import subprocess
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from processes import LONGEST
from report_scenes import EVERYTHING, PLAIN  # type: ignore[import-not-found]
from small_scenes import scene

import raycover
from raycover.catalogue import load_need_sets
from raycover.cli import reporting
from raycover.cli.main import main
from raycover.errors import InputError, MissingPart, Position, Problem
from raycover.language import languages
from raycover.physics.motion import MOTIONS
from raycover.proving.needs import ready_made
from raycover.report import figures, gather, html, pdf
from raycover.report.compose import compose
from raycover.report.content import Block, Bullets, Column, Content, Paragraph, Section, Signatures, Table, row
from raycover.report.figures import Drawing, Drawings
from raycover.report.gather import Report
from raycover.report.words import report_words
from raycover.scene.need_sets import OURS
from raycover.scene.needs import NeedSpec

_PIXEL = io.BytesIO()
Image.new("RGB", (1, 1), "white").save(_PIXEL, "PNG")


class Blank(Drawings):
    """A drawing for every name, none drawn."""

    def __contains__(self, name: str) -> bool:
        return True

    def __getitem__(self, name: str) -> Drawing:
        return Drawing(20.0, 10.0, png=_PIXEL.getvalue(), scale=100 if name.startswith("map") else None)


@lru_cache
def gathered() -> Report:
    text = "\n".join(line for line in EVERYTHING.splitlines() if not line.startswith("project:"))
    return gather.gather(raycover.load_text(text))


def told(code: str) -> Content:
    return compose(gathered(), report_words(code), Blank())


def texts(blocks: tuple[Block, ...]) -> Iterator[str]:
    for block in blocks:
        if isinstance(block, Paragraph):
            yield block.text
        elif isinstance(block, Bullets):
            yield from block.items
        elif isinstance(block, Table):
            yield from (block.caption, block.note, *(column.head for column in block.columns))
            yield from (cell.text for cells in block.rows for cell in cells)
        elif isinstance(block, Signatures):
            yield from (*block.heads, *(cell for cells in block.rows for cell in cells))
        else:
            yield block.caption


def all_texts(content: Content, *but: str) -> list[str]:
    found = [content.cover.title, content.cover.headline, content.cover.verdict_words, *content.cover.points]
    for section in content.sections:
        if section.key not in but:
            for part in (section, *section.parts):
                found += [part.title, *texts(part.blocks)]
    return found


def words_of(text: str) -> Counter[str]:
    return Counter(re.findall(r"[^\W\d_]{2,}", text))


# ---- both renderings ----


@pytest.mark.parametrize("code", ["en", "de"])
def test_html_and_pdf_say_all_of_the_content(code: str, tmp_path: Path) -> None:
    content = told(code)
    wanted = words_of(" ".join(all_texts(content)))
    page = re.sub(r"<style>.*?</style>", "", html.html_of(content, Blank(), None), flags=re.DOTALL)
    assert not wanted - words_of(re.sub(r"<[^>]*>", " ", page))
    (tmp_path / "report.pdf").write_bytes(pdf.pdf_of(content, Blank(), None))
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler-utils is not installed")
    done = subprocess.run(["pdftotext", str(tmp_path / "report.pdf"), "-"], capture_output=True, timeout=LONGEST)
    assert not wanted - words_of(done.stdout.decode("utf-8"))


def test_a_long_table_repeats_its_heads(tmp_path: Path) -> None:
    if shutil.which("pdftotext") is None:
        pytest.skip("poppler-utils is not installed")
    table = Table("Long", (Column("Headword"), Column("What", share=1.0)), tuple(row(f"r{k}", "x") for k in range(120)))
    content = replace(told("en"), sections=(Section("long", "1 Long", (table,), own_page=True),))
    (tmp_path / "report.pdf").write_bytes(pdf.pdf_of(content, Blank(), None))
    done = subprocess.run(["pdftotext", str(tmp_path / "report.pdf"), "-"], capture_output=True, timeout=LONGEST)
    pages = [page for page in done.stdout.decode("utf-8").split("\f") if re.search(r"\br\d+\b", page)]
    assert len(pages) >= 2
    assert all("Headword" in page for page in pages)
    assert sum(len(re.findall(r"\br\d+\b", page)) for page in pages) == 120


# ---- languages ----


def placeholders(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


@pytest.mark.parametrize("code", [code for code in languages() if code != "en"])
def test_every_language_has_the_same_sentences(code: str) -> None:
    english, other = report_words("en").texts, report_words(code).texts
    assert set(english) == set(other)
    assert {k: placeholders(v) for k, v in english.items()} == {k: placeholders(v) for k, v in other.items()}


def test_a_german_report_is_german() -> None:
    """But for names and sources, which stay in the words of scene and catalogue."""
    content = told("de")
    for text in all_texts(content, "entries", "materials"):
        assert not re.search(r"(?<!/)\b(the|and|of|is|seen|gap|with|nobody|not|through|wall|sensitivity)\b", text), text
        assert not re.search(r"\d\.\d", text.replace("5.8", "")) or "P.2040" in text or text[0].isdigit(), text
    whole = " ".join(all_texts(content))
    assert "1 von 2" in whole
    assert re.search(r"\d,\d %", whole)


@pytest.mark.parametrize("code", [code for code in languages() if code != "en"])
def test_needs_that_nobody_wrote_down_have_a_name_in_every_language(code: str) -> None:
    rows = [{"name": "WC", "at": [1, 3], "count": 2}]
    made = scene(rooms=[{"name": "A", "outline": [[0, 0], [6, 0], [6, 9], [0, 9]], "height": 3, "walls": "brick-100"}],
                 cubicles=rows, stairs=[{"name": "S", "at": [4, 1], "rise": 3}])  # fmt: skip
    names = [need.name for need in ready_made(made)]
    assert len(names) == 2
    assert all(report_words(code).assumed(name) != name == report_words("en").assumed(name) for name in names)


@pytest.mark.parametrize("code", [code for code in languages() if code != "en"])
def test_ready_made_needs_have_their_name_and_reason_in_every_language(code: str) -> None:
    w = report_words(code)
    sets = load_need_sets(None)
    for title, spec in sets.items():
        for need in spec.needs:
            made = NeedSpec(name=f"{title} 2, {need.name}", rooms="all", why=need.why, source=need.source)
            said = w.need(made.model_copy(update={"set": title}))
            assert said.name == f"{w.need_sets[title]} 2, {w.need_sets[need.name]}"
            assert said.why == w.reasons[need.why]
            assert said.source == w.reasons.get(need.source, need.source)
            assert (said.source != need.source) == (need.source == OURS)
            # What a scene says itself stays in its words.
            assert w.need(made) == made
            assert w.need(made.model_copy(update={"set": title, "name": f"Mine, {need.name}"})).name.startswith(
                "Mine, "
            )


def templates_of_warnings() -> Iterator[tuple[str, str]]:
    """Messages and advice of every warning that a load, a building or a solve may raise, a figure in each place."""
    package = Path(raycover.__file__).parent
    for folder in ("scene", "building", "."):
        for path in sorted((package / folder).glob("*.py")):
            for node in ast.walk(ast.parse(path.read_text())):
                if not isinstance(node, ast.Call) or ast.unparse(node.func) != "Problem":
                    continue
                named = {k.arg: k.value for k in node.keywords}
                if ast.unparse(named.get("severity", ast.Constant(""))) not in ("'warning'", "'note'"):
                    continue
                for text in (node.args[1], node.args[3] if len(node.args) > 3 else named.get("help")):
                    if isinstance(text, ast.Constant | ast.JoinedStr):
                        parts = text.values if isinstance(text, ast.JoinedStr) else [text]
                        yield path.name, "".join(map(_filled, parts))


def _filled(part: ast.expr) -> str:
    """A piece of a message with a figure where one stands; a temperature comes with its unit."""
    if isinstance(part, ast.Constant):
        return str(part.value)
    assert isinstance(part, ast.FormattedValue)
    return "7 °C" if ast.unparse(part.value).startswith("degrees(") else "7"


@pytest.mark.parametrize("code", [code for code in languages() if code != "en"])
def test_every_warning_is_said_in_every_language(code: str) -> None:
    w = report_words(code)
    found = list(templates_of_warnings())
    assert len(found) > 40
    for where, text in found:
        # A motion, a range of heights and what a stair's step misses are words of their own, each with its pattern.
        variants = {
            "7: 7 motion is not declared, taken 7": [f"7: {m} motion is not declared, taken 7" for m in MOTIONS],
            '"7" is mounted at 7 m, outside the 7 it is meant for': [
                '"7" is mounted at 7 m, outside the 7 to 7 m it is meant for'
            ],
            'stair "7": 7 (Approved Document K, 7 stairs)': [
                f'stair "7": {what} (Approved Document K, general stairs)'
                for what in ("a rise of 7 mm is outside 7 to 7 mm", "a landing 7 mm deep is short of 1200 mm",
                             "a going of 7 mm is outside 7 to 7 mm",
                             "twice the rise plus the going is 7 mm, not 550 to 700 mm")
            ],
        }.get(text, [text])  # fmt: skip
        for variant in variants:
            if set(variant) - set("7 "):
                assert any(pattern.fullmatch(variant) for pattern, _ in w.warning_patterns), (where, variant)
    problem = Problem("x", '"A" is mounted at 2.7 m, outside the declared mounting heights (2.5 m): the nearest one\'s '
                      "angles and slant ranges are used", Position("s"), "make grid finer")  # fmt: skip
    assert report_words("de").warning(problem).startswith("„A“ ist auf 2,7 m montiert")
    assert report_words("de").warning(problem).endswith("gelten (das Raster feiner machen)")
    assert report_words("en").warning(problem) == f"{problem.message} (make grid finer)"


@pytest.mark.parametrize(
    ("text", "german"),
    [
        ("coverage plan, Hall, as drawn", "Erfassungsplan, Hall, wie gezeichnet"),
        ("walk test, as drawn", "Begehung, wie gezeichnet"),
        ("Walk test: noticed by any detector counts · as drawn", "Begehung: jeder Melder zählt · wie gezeichnet"),
        (
            "Walk test, Upper: noticed by any detector counts · as drawn",
            "Begehung, Upper: jeder Melder zählt · wie gezeichnet",
        ),
        ("Walk test, Upper: watch A, B only · Doors open", "Begehung, Upper: nur A, B beobachten · Doors open"),
        (
            "Walk test against prediction, Upper; map: where a walking person is noticed · as drawn",
            "Begehung und Vorhersage, Upper; Karte: wo ein gehender Mensch bemerkt wird · wie gezeichnet",
        ),
        ("Shop: trips from 12 %", "Shop: löst auf 12 % aus"),
    ],
)
def test_titles_of_sheets_of_one_state_and_storey(text: str, german: str) -> None:
    assert report_words("de").wording(text) == german


def test_the_state_that_nobody_named_is_said_in_the_language() -> None:
    assert report_words("de").state("as drawn") == "wie gezeichnet"
    assert report_words("de").state("Doors open") == "Doors open"


def test_names_keep_their_point() -> None:
    w = report_words("de")
    assert w.comma("2.5 m, microwave-omni-5.8 at 0.3 m") == "2,5 m, microwave-omni-5.8 at 0,3 m"


def test_what_a_margin_of_3_db_means() -> None:
    """Signals fall with the fourth power of the distance: 40·log10(x) = 3 gives x = 1.1885 by hand."""
    assert round(100 * (10 ** (3 / 40) - 1)) == 19
    for code, words in (("en", "19 % further"), ("de", "19 % weiter")):
        assert words in report_words(code)("margin means")


def test_an_unknown_language(tmp_path: Path, capsys: Any) -> None:
    (tmp_path / "scene.yaml").write_text(PLAIN)
    with pytest.raises(SystemExit) as left:
        main(["report", str(tmp_path / "scene.yaml"), "-o", str(tmp_path / "out"), "--lang", "dee"])
    assert left.value.code == 2
    assert "unknown-language" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


# ---- what is not there ----


def test_a_scene_with_nothing_asked(monkeypatch: Any) -> None:
    scene = raycover.load_text(PLAIN)
    report = gather.gather(scene)
    assert report.met is None
    assert not report.doors
    content = compose(report, report_words("en"), Blank(), "1 Jan 2027")
    whole = " ".join(all_texts(content))
    assert "nothing is judged" in whole
    assert not {section.key for section in content.sections} & {"lines"}
    assert "1 Jan 2027" in content.foot


def test_without_typst_it_says_what_to_install(tmp_path: Path, monkeypatch: Any, capsys: Any) -> None:
    find = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: None if name == "typst" else find(name, *more)
    )  # fmt: skip
    (tmp_path / "scene.yaml").write_text(PLAIN)
    with pytest.raises(SystemExit) as left:
        main(["report", str(tmp_path / "scene.yaml"), "-o", str(tmp_path / "out")])
    assert left.value.code == 3
    said = capsys.readouterr().err
    assert "raycover[report]" in said
    assert "--html-only" in said
    assert not (tmp_path / "out").exists()


def blank_figures(monkeypatch: Any) -> None:
    monkeypatch.setattr(figures, "draw_figures", lambda *some, **more: Blank())


def test_html_only_needs_no_typst(tmp_path: Path, monkeypatch: Any) -> None:
    blank_figures(monkeypatch)
    (tmp_path / "scene.yaml").write_text(PLAIN)
    reporting.report_scene(
        tmp_path / "scene.yaml", tmp_path / "out", lang="de", date=None, with_pdf=False, threads=1, as_json=False
    )
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["report.html"]


def test_nothing_is_left_half_written(tmp_path: Path, monkeypatch: Any) -> None:
    def fails(*some: Any) -> bytes:
        raise MissingPart("no fonts")

    blank_figures(monkeypatch)
    monkeypatch.setattr(pdf, "pdf_of", fails)
    (tmp_path / "scene.yaml").write_text(PLAIN)
    with pytest.raises(MissingPart):
        reporting.report_scene(
            tmp_path / "scene.yaml", tmp_path / "out", lang=None, date=None, with_pdf=True, threads=1, as_json=False
        )
    assert not (tmp_path / "out").exists()


def test_missing_fonts_are_told(monkeypatch: Any, tmp_path: Path) -> None:
    monkeypatch.setattr(pdf, "font_path", lambda font: tmp_path / "none.ttf")
    with pytest.raises(MissingPart, match="DejaVu Sans and STIXGeneral"):
        pdf.pdf_of(told("en"), Blank(), None)


def test_dates_that_do_not_fit(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="--date"):
        reporting.report_scene(
            tmp_path / "no.yaml", tmp_path, lang=None, date="x" * 40, with_pdf=False, threads=1, as_json=False
        )


def test_templates_lie_within_the_package() -> None:
    """So that a wheel, which holds the package's folder, holds them too."""
    folder = html.templates()
    assert {path.name for path in folder.iterdir()} >= {"report.html.j2", "report.css", "report.typ"}
    assert folder.is_relative_to(Path(raycover.__file__).parent)


# ---- doors ----


def test_doors_of_every_kind_and_no_windows() -> None:
    from raycover.scene.stating import with_doors

    scene = raycover.load_text(
        """\
raycover: 1
rooms:
  - name: A
    outline: [[0, 0], [9, 0], [9, 5], [0, 5]]
    height: 3
    walls: brick-100
    openings:
      - {edge: 0, at: 1, width: 1, height: 2.1, fill: door-wood-40}
      - {edge: 2, at: 1, width: 1, height: 1, sill: 1, fill: glass-6}
      - {edge: 0, at: 4, width: 1, height: 2.1}
partitions:
  - name: P
    line: [[6, 0], [6, 5]]
    height: 3
    construction: stud-wall-100
    openings: [{at: 1, width: 1, height: 2, fill: door-wood-40, state: open}]
cubicles: [{name: WC, at: [4, 5], turn_deg: 180, count: 2, doors: closed}]
"""
    )
    opened, shut = with_doors(scene, "open"), with_doors(scene, "closed")
    assert [o.state for o in opened.rooms[0].openings] == ["open", "closed", "closed"]
    assert [o.state for o in shut.rooms[0].openings] == ["closed"] * 3
    assert (opened.partitions[0].openings[0].state, shut.partitions[0].openings[0].state) == ("open", "closed")
    assert (opened.cubicles[0].doors, shut.cubicles[0].doors) == ("open", "closed")
    assert scene.rooms[0].openings[0].state == "closed"

"""The two files of a report, written as a user would: text, pages, no markup from names, nothing loaded, same bytes."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from processes import LONGEST, ended
from report_scenes import EVERYTHING, NASTY, ROOM  # type: ignore[import-not-found]

import raycover

#: For Chromium as root and without a network.
_QUIET = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
)  # fmt: skip


@dataclass(frozen=True)
class Written:
    """Two runs of one command, and what the first printed."""

    scene: Path
    first: Path
    second: Path
    figures: dict[str, Any]
    talk: str

    @property
    def html(self) -> str:
        return (self.first / "report.html").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Written:
    """A report of everything, written twice side by side by processes that hash differently."""
    folder = tmp_path_factory.mktemp("report")
    scene = folder / "scene.yaml"
    scene.write_text(EVERYTHING, encoding="utf-8")
    Image.new("RGB", (60, 30), (20, 40, 60)).save(folder / "logo.png")
    runs = []
    for seed in ("1", "2"):
        command = [sys.executable, "-m", "raycover.cli.main", "report", str(scene), "-o", str(folder / seed), "--json"]
        environment = {**os.environ, "PYTHONHASHSEED": seed, "PYTHONIOENCODING": "utf-8"}
        runs.append(subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment))
    try:
        said = [(*run.communicate(timeout=LONGEST), run.returncode) for run in runs]
    finally:
        for run in runs:
            ended(run)
    assert [code for _, _, code in said] == [0, 0], said[0][1].decode()
    return Written(scene, folder / "1", folder / "2", json.loads(said[0][0]), said[0][1].decode())


def test_both_files_and_no_more(written: Written) -> None:
    assert sorted(path.name for path in written.first.iterdir()) == ["report.html", "report.pdf"]
    assert "Not met: Store" in written.talk  # a need is missed, yet the report is written and the command succeeds


@pytest.mark.parametrize("name", ["report.html", "report.pdf"])
def test_same_scene_same_bytes(written: Written, name: str) -> None:
    assert (written.first / name).read_bytes() == (written.second / name).read_bytes()


def test_figures_are_those_of_a_solve(written: Written) -> None:
    coverage = raycover.solve(raycover.load(written.scene))
    told = written.figures["coverage"]["planes"]["floor #1"]
    assert told["share"] == pytest.approx(coverage.share("floor #1"))
    assert told["gaps"][0]["area_m2"] == pytest.approx(coverage["floor #1"].gaps[0].area_m2, abs=1e-5)
    assert written.figures["met"] is False
    assert [need["met"] for need in written.figures["proof"]["needs"]] == [True, False]
    assert set(written.figures["doors"]) == {"closed", "open"}
    assert written.figures["lines"][0]["holds"] is False


# ---- HTML ----


class Outline(HTMLParser):
    """What a page is made of: tags with attributes, headings, and its text."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self._skip = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._skip = tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._skip:
            self.text.append(data)

    @property
    def words(self) -> str:
        return " ".join(" ".join(self.text).split())


def test_html_asks_for_nothing_outside(written: Written) -> None:
    page = Outline(written.html)
    sources = [value for _, attrs in page.tags for key, value in attrs.items() if key in ("src", "href")]
    assert sources
    assert all(value and value.startswith(("data:", "#")) for value in sources)
    assert set(re.findall(r"url\(\"?([a-z]+:)", written.html)) == {"data:"}
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "b"}
    policy = next(a["content"] for tag, a in page.tags if a.get("http-equiv") == "Content-Security-Policy")
    assert policy is not None
    assert policy.startswith("default-src 'none'")


def test_html_can_be_read_aloud(written: Written) -> None:
    page = Outline(written.html)
    assert next(a for tag, a in page.tags if tag == "html")["lang"] == "en"
    assert all((a.get("alt") or "").strip() for tag, a in page.tags if tag == "img")
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h\d", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    assert sum(tag == "caption" for tag, _ in page.tags) > 15
    assert all(a.get("scope") in ("col", "row") for tag, a in page.tags if tag == "th")
    anchors = {a["id"] for _, a in page.tags if a.get("id")}
    assert {a["href"][1:] for tag, a in page.tags if tag == "a" and a["href"]} == anchors


def test_free_text_stays_text(written: Written) -> None:
    words = Outline(written.html).words
    for text in (NASTY, "<b>A & B</b> #eval(1)", "_x_ `y` // z", "=1+1", "=HYPERLINK(1)", ROOM, "D1 _a_", "Open #2"):
        assert text in words
    assert "49" not in words.split(NASTY)[1][:20]


@pytest.mark.skipif(shutil.which("chromium") is None, reason="Chromium is not installed")
def test_a_browser_shows_it(written: Written) -> None:
    with tempfile.TemporaryDirectory() as profile:
        done = subprocess.run(
            ["chromium", *_QUIET, f"--user-data-dir={profile}", "--dump-dom", (written.first / "report.html").as_uri()],
            capture_output=True, timeout=120,
        )  # fmt: skip
    page = Outline(done.stdout.decode("utf-8"))
    assert NASTY in page.words
    assert not any(tag == "script" for tag, _ in page.tags)
    for title in written.figures["sections"]:
        assert title in page.words


# ---- PDF ----


def poppler(command: str, path: Path, *more: str) -> str:
    if shutil.which(command) is None:
        pytest.skip(f"{command} (poppler-utils) is not installed")
    to = ["-"] if command == "pdftotext" else []
    done = subprocess.run([command, *more, str(path), *to], capture_output=True, timeout=LONGEST)
    return done.stdout.decode("utf-8")


@pytest.fixture(scope="module")
def pages(written: Written) -> list[str]:
    """The PDF's text by page, blanks as one."""
    text = poppler("pdftotext", written.first / "report.pdf", "-layout")
    return [" ".join(page.split()) for page in text.split("\f")[:-1]]


def test_pages_are_numbered(written: Written, pages: list[str]) -> None:
    told = poppler("pdfinfo", written.first / "report.pdf")
    n = int(re.search(r"Pages:\s+(\d+)", told)[1])  # type: ignore[index]
    assert len(pages) == n
    assert all(f"Page {k} of {n}" in page for k, page in enumerate(pages, 1))
    assert re.search(r"Tagged:\s+yes", told)
    assert "Nov 25" in re.search(r"CreationDate:(.*)", told)[1]  # type: ignore[index]


def test_pdf_says_what_html_says(written: Written, pages: list[str]) -> None:
    whole = " ".join(pages)
    shown = Outline(written.html).words
    for title in written.figures["sections"]:
        assert title in whole
        assert title in shown
    share = written.figures["coverage"]["planes"]["floor #1"]["share"]
    for text in (f"{100 * share:.1f} %", "1 of 2", "Not met: “Store”", "Checked by", "walk-test", "hold time of D2"):
        assert text in whole
        assert text in shown


def test_free_text_stays_text_in_the_pdf(pages: list[str]) -> None:
    squeezed = "".join(pages[0].split())
    assert "".join(NASTY.split()) in squeezed
    assert "".join(["<b>A", "&", "B</b>", "#eval(1)"]) in squeezed
    assert any("=HYPERLINK(1)" in page for page in pages)


def test_every_font_is_in_the_pdf(written: Written) -> None:
    rows = poppler("pdffonts", written.first / "report.pdf").splitlines()[2:]
    assert rows
    families = {row.split()[0].split("+")[-1].split("-")[0] for row in rows}
    assert families <= {"DejaVuSans", "STIXGeneral"}
    assert all(" yes " in row for row in rows)


def test_contents_name_the_pages(written: Written, pages: list[str]) -> None:
    """The table of contents says which page a section begins on, and there its heading stands."""
    for title in written.figures["sections"]:
        number = re.search(rf"{re.escape(title)} [.\u2060 ]*(\d+)", pages[1])
        assert number is not None
        assert title in pages[int(number[1]) - 1]

"""The project's logo and language: read safely, or refused with its line."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

import raycover
from raycover.errors import InputError, Problem
from raycover.letterhead import read_logo

ROOM = "rooms: [{name: A, outline: [[0, 0], [4, 0], [4, 3], [0, 3]], height: 3, walls: brick-100}]\n"


def scene_with(folder: Path, project: str) -> Path:
    path = folder / "scene.yaml"
    path.write_text(f"raycover: 1\n{ROOM}project:\n  client: Somebody\n  {project}\n", encoding="utf-8")
    return path


def problem_of(folder: Path, project: str) -> Problem:
    with pytest.raises(InputError) as found:
        raycover.load(scene_with(folder, project))
    (problem,) = found.value.problems
    assert problem.position.line == 5
    return problem


def test_a_logo_brings_its_pixels_and_nothing_else(tmp_path: Path) -> None:
    info = PngInfo()
    info.add_text("Comment", "where it was taken")
    Image.new("RGBA", (40, 10), (200, 10, 10, 128)).save(tmp_path / "logo.png", pnginfo=info)
    logo = read_logo(raycover.load(scene_with(tmp_path, "logo: logo.png")))
    assert logo is not None
    assert logo.ratio == 4
    again = Image.open(io.BytesIO(logo.png))
    assert again.info == {}
    assert again.getpixel((3, 3)) == (200, 10, 10, 128)


def test_a_large_logo_is_brought_down(tmp_path: Path) -> None:
    Image.new("RGB", (3000, 1500)).save(tmp_path / "logo.jpg")
    logo = read_logo(raycover.load(scene_with(tmp_path, "logo: logo.jpg")))
    assert logo is not None
    assert Image.open(io.BytesIO(logo.png)).size == (1000, 500)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>', "an SVG may hold scripts"),
        (b"\x89PNG\r\n\x1a\n and no more", "broken"),
        (b"nothing at all", "no PNG or JPEG"),
    ],
)
def test_what_is_no_logo(tmp_path: Path, content: bytes, words: str) -> None:
    (tmp_path / "logo.png").write_bytes(content)
    problem = problem_of(tmp_path, "logo: logo.png")
    assert problem.code == "bad-logo"
    assert words in problem.message
    assert problem.help


def test_a_missing_logo_and_one_outside(tmp_path: Path) -> None:
    assert problem_of(tmp_path, "logo: lgo.png").code == "missing-file"
    assert problem_of(tmp_path, "logo: ../logo.png").code == "outside-folder"


def test_a_language_nobody_wrote(tmp_path: Path) -> None:
    problem = problem_of(tmp_path, "language: fr")
    assert problem.code == "unknown-language"
    assert "de, en" in problem.help


def test_a_key_that_is_none(tmp_path: Path) -> None:
    assert "clients" in problem_of(tmp_path, "clients: two").message


def test_no_project() -> None:
    assert read_logo(raycover.load_text(f"raycover: 1\n{ROOM}")) is None

"""The plan as received: where its pixels lie on the scene, and every file that is none, told with its line."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

import raycover
from raycover import underlay
from raycover.errors import InputError, MissingPart, Problem
from raycover.underlay import PDF_DPI, read_underlay

ROOM = "rooms: [{name: Room, outline: [[0, 0], [4, 0], [4, 3], [0, 3]], height: 3, walls: none}]\n"
SCALE = "scale: {metres_per_pixel: 0.01}"


def text(place: str, file: str = "plan.png") -> str:
    return f"raycover: 1\n{ROOM}underlay:\n  file: {file}\n  {place}\n"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A plan of 400 × 300 pixels with a dark square of 20 at its upper right, as PNG, JPEG and PDF of two pages."""
    image = Image.new("L", (400, 300), 255)
    image.paste(0, (380, 0, 400, 20))
    image.save(tmp_path / "plan.png")
    image.save(tmp_path / "plan.jpg", quality=95)
    blank = Image.new("L", (400, 300), 255)
    blank.save(tmp_path / "plan.pdf", save_all=True, append_images=[image], resolution=PDF_DPI)
    return tmp_path


def made(folder: Path, place: str, file: str = "plan.png") -> underlay.Underlay:
    (folder / "scene.yaml").write_text(text(place, file))
    found = read_underlay(raycover.load(folder / "scene.yaml"))
    assert found is not None
    return found


def problem(folder: Path, place: str = SCALE, file: str = "plan.png") -> Problem:
    (folder / "scene.yaml").write_text(text(place, file))
    with pytest.raises(InputError) as caught:
        raycover.load(folder / "scene.yaml")
    (found,) = caught.value.problems
    assert found.help
    return found


# ---- where it lies


def test_by_scale(folder: Path) -> None:
    plan = made(folder, "scale: {metres_per_pixel: 0.01, origin: [10, 20]}")
    assert plan.corners == pytest.approx(np.array([(10, 20), (14, 20), (14, 23), (10, 23)]))
    assert (plan.opacity, plan.turn_deg) == (0.35, 0.0)


def test_by_scale_and_turned_about_its_origin(folder: Path) -> None:
    plan = made(folder, "scale: {metres_per_pixel: 0.01, origin: [10, 20]}\n  turn_deg: 90")
    assert plan.corners == pytest.approx(np.array([(10, 20), (10, 24), (7, 24), (7, 20)]))


def test_by_two_points(folder: Path) -> None:
    # The drawing turned a quarter to the left: its right is north.
    plan = made(folder, "points: [{pixel: [0, 300], at: [5, 5]}, {pixel: [400, 300], at: [5, 25]}]")
    assert plan.metres_per_pixel == pytest.approx(0.05)
    assert plan.turn_deg == pytest.approx(90)
    assert plan.to_plan([(0, 0), (400, 0)]) == pytest.approx(np.array([(-10, 5), (-10, 25)]))


@given(
    st.floats(0.001, 0.5), st.floats(-180, 180), st.floats(-1e3, 1e3), st.floats(-1e3, 1e3),
    st.lists(st.tuples(st.floats(0, 4000), st.floats(0, 3000)), min_size=3, max_size=6),
)  # fmt: skip
def test_any_similarity_comes_back_from_its_points(
    size: float, turn: float, x: float, y: float, pixels: list[tuple[float, float]]
) -> None:
    z = np.array([complex(px, -py) for px, py in pixels])
    if np.abs(z - z[0]).max() < 10:
        return
    a, b = size * np.exp(1j * np.radians(turn)), complex(x, y)
    found_a, found_b, misfit = underlay._fitted(z, a * z + b)
    assert abs(found_a - a) < 1e-6 * size + 1e-9
    assert abs(found_b - b) < 1e-3
    assert misfit < 1e-6


def test_ink_over_a_box_lies_where_the_picture_says(folder: Path) -> None:
    plan = made(folder, "scale: {metres_per_pixel: 0.01, origin: [10, 20]}")
    ink = plan.over((9, 19, 15, 24), (500, 600))  # a raster of 1 cm, a metre more on every side
    rows, columns = np.nonzero(ink > 0.5)
    # The square: 3.8 to 4 m from the left edge, 2.8 to 3 m above the lower.
    assert (rows.min(), rows.max() + 1) == (100 + 280, 100 + 300)
    assert (columns.min(), columns.max() + 1) == (100 + 380, 100 + 400)


@pytest.mark.parametrize("shape", [(50, 60), (25, 30)])
def test_coarser_rasters_keep_the_amount_of_ink(folder: Path, shape: tuple[int, int]) -> None:
    plan = made(folder, "scale: {metres_per_pixel: 0.01, origin: [10, 20]}")
    ink = plan.over((9, 19, 15, 24), shape)
    assert ink.mean() * 30 == pytest.approx(0.2 * 0.2, rel=0.1)


def test_jpeg_and_pdf_lie_like_the_png(folder: Path) -> None:
    png = made(folder, SCALE).over((0, 0, 4, 3), (300, 400))
    for file, place in (("plan.jpg", SCALE), ("plan.pdf", f"page: 2\n  {SCALE}")):
        other = made(folder, place, file)
        assert other.ink.shape == (300, 400)
        assert np.abs(other.over((0, 0, 4, 3), (300, 400)) - png).mean() < 0.01
    assert made(folder, f"page: 1\n  {SCALE}", "plan.pdf").ink.max() < 10


def test_white_on_black_is_turned_over(folder: Path) -> None:
    image = Image.new("RGB", (400, 300), "black")
    image.paste("white", (380, 0, 400, 20))
    image.save(folder / "night.png")
    assert np.array_equal(made(folder, SCALE, "night.png").ink, made(folder, SCALE).ink)


@pytest.mark.parametrize("mode", ["RGBA", "P", "1", "I;16", "LA"])
def test_every_mode_of_png(folder: Path, mode: str) -> None:
    if mode == "RGBA":  # what is clear is paper, whatever colour it hides
        image = Image.new("RGBA", (400, 300), (0, 0, 0, 0))
        image.paste((0, 0, 0, 255), (380, 0, 400, 20))
    elif mode == "I;16":
        grey = np.full((300, 400), 65535, np.uint16)
        grey[:20, 380:] = 0
        image = Image.fromarray(grey)
    else:
        image = Image.open(folder / "plan.png").convert(mode)
    image.save(folder / "mode.png")
    assert np.array_equal(made(folder, SCALE, "mode.png").ink, made(folder, SCALE).ink)


def test_a_photo_lies_as_viewers_turn_it(folder: Path) -> None:
    image = Image.open(folder / "plan.png").transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = 6  # EXIF: shown turned by 90° clockwise
    image.save(folder / "turned.png", exif=exif)
    assert np.array_equal(made(folder, SCALE, "turned.png").ink, made(folder, SCALE).ink)


# ---- what is wrong with it


def test_two_points_that_turn_it_oddly_are_warned_of(folder: Path) -> None:
    # Pixels counted up from the lower edge, as no picture has them: a room of 4 × 3 m comes out turned.
    (folder / "scene.yaml").write_text(text("points: [{pixel: [0, 0], at: [0, 0]}, {pixel: [400, 300], at: [4, 3]}]"))
    (warning,) = raycover.load(folder / "scene.yaml").warnings
    assert (warning.code, warning.position.line) == ("underlay-turned", 5)
    assert "73.7°" in warning.message  # twice atan(3/4)


@pytest.mark.parametrize(
    ("place", "said"),
    [
        ("points: [{pixel: [5, 5], at: [0, 0]}, {pixel: [5, 5], at: [9, 0]}]", "pixels of the known points coincide"),
        ("points: [{pixel: [5, 5], at: [1, 0]}, {pixel: [90, 5], at: [1, 0]}]", "places of the known points coincide"),
        ("points: [{pixel: [0, 0], at: [0, 0]}, {pixel: [400, 0], at: [4, 0]}, {pixel: [400, 300], at: [4, 3]}]",
         "mirror the underlay"),
        ("points: [{pixel: [0, 0], at: [0, 0]}, {pixel: [400, 0], at: [4, 0]}, {pixel: [200, 0], at: [1, 0]}]",
         "disagree by 0.67 m"),
        ("points: [{pixel: [0, 0], at: [0, 0]}]", "at least 2"),
        ("opacity: 0.5", "two known points or by a scale"),
        (f"{SCALE}\n  points: [{{pixel: [0, 0], at: [0, 0]}}, {{pixel: [9, 0], at: [9, 0]}}]", "not both"),
        ("points: [{pixel: [0, 0], at: [0, 0]}, {pixel: [9, 0], at: [9, 0]}]\n  turn_deg: 3", "already say"),
        ("scale: {metres_per_pixel: 100}", "40 km long"),
        ("scale: {metres_per_pixel: 0}", "more than 0"),
        (f"{SCALE}\n  opacity: 0", "more than 0"),
        (f"{SCALE}\n  page: 2", "a picture has no page 2"),
    ],
)  # fmt: skip
def test_places_that_are_none(folder: Path, place: str, said: str) -> None:
    found = problem(folder, place)
    assert said in found.message + found.help
    assert found.position.line in (4, 5, 6)


def test_files_that_are_none(folder: Path) -> None:
    whole = (folder / "plan.png").read_bytes()
    (folder / "cut.png").write_bytes(whole[: len(whole) // 2])
    (folder / "cut.pdf").write_bytes((folder / "plan.pdf").read_bytes()[:200])
    (folder / "words.png").write_text("not a picture at all")
    (folder / "empty.png").write_bytes(b"")
    (folder / "plans").mkdir()
    for file, said in (
        ("gone.png", "there is no file"),
        ("../gone.png", "outside the scene's folder"),
        ("plans", "is a folder"),
        ("cut.png", "the picture is broken"),
        ("cut.pdf", "the PDF is broken"),
        ("words.png", "no PNG, JPEG or PDF"),
        ("empty.png", "no PNG, JPEG or PDF"),
    ):
        found = problem(folder, file=file)
        assert said in found.message, file
        assert (found.position.line, found.position.column) == (4, 9)
    assert "the PDF has 2 pages, not 3" in problem(folder, f"page: 3\n  {SCALE}", "plan.pdf").message


def test_huge_files_are_refused_before_they_are_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with open(folder / "big.png", "wb") as file:
        file.write((folder / "plan.png").read_bytes())
        file.truncate(300 * 1024 * 1024)  # sparse: no disk is used
    assert "300 MB" in problem(folder, file="big.png").message
    # A picture of 65,000 pixels square says so in its first bytes; the rest of it need not exist.
    head = bytearray((folder / "plan.png").read_bytes())
    head[16:24] = (65_000).to_bytes(4, "big") * 2
    head[29:33] = __import__("zlib").crc32(bytes(head[12:29])).to_bytes(4, "big")
    (folder / "bomb.png").write_bytes(head)
    found = problem(folder, file="bomb.png")
    assert found.code == "bad-underlay"
    assert "pixels" in found.message


def test_folders_that_the_scene_allows(folder: Path) -> None:
    (folder / "scene").mkdir()
    scene = folder / "scene" / "scene.yaml"
    scene.write_text(text(SCALE, "../plan.png"))
    with pytest.raises(InputError, match="allow_folders"):
        raycover.load(scene)
    scene.write_text(text(SCALE, "../plan.png") + "allow_folders: [..]\n")
    assert read_underlay(raycover.load(scene)) is not None


def test_a_pdf_without_its_reader(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pypdfium2", None)
    underlay._ink.cache_clear()
    (folder / "scene.yaml").write_text(text(SCALE, "plan.pdf"))
    scene: Any = raycover.load(folder / "scene.yaml")  # a sound scene: only its drawing needs the reader
    with pytest.raises(MissingPart, match=r"raycover\[pdf\]"):
        read_underlay(scene)


def test_no_underlay() -> None:
    assert read_underlay(raycover.load_text(f"raycover: 1\n{ROOM}")) is None

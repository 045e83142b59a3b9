"""Pictures on disk: a palette that keeps inks and accent, files that appear whole or not at all."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from raycover.draw import palette
from raycover.draw.png import indexed, save_png
from raycover.whole_file import write_whole


def busy_picture() -> np.ndarray:
    """More colours than a palette holds, with a few pixels of ink and accent."""
    rng = np.random.default_rng(7)
    picture = palette.margin_rgb(rng.uniform(-9, 15, (200, 300)), 3)
    picture = np.clip(picture.astype(int) + rng.integers(-9, 10, picture.shape), 0, 255).astype(np.uint8)
    picture[:2, :10] = [0xB0, 0x3A, 0x1C]
    picture[2:4, :10] = [0x1F, 0x2B, 0x33]
    return picture


def test_accent_and_ink_survive_exactly_and_the_rest_nearly() -> None:
    picture = busy_picture()
    index, colours = indexed(picture)
    back = colours[index]
    assert len(colours) <= 256
    assert (back[:4, :10] == picture[:4, :10]).all()
    assert np.abs(back.astype(int) - picture).mean() < 4


def test_few_colours_stay_as_they_are() -> None:
    picture = palette.margin_rgb(np.linspace(-9, 15, 400).reshape(20, 20), 3)
    index, colours = indexed(picture)
    assert (colours[index] == picture).all()


def test_saved_file_is_a_palette_png_with_its_resolution(tmp_path: Path) -> None:
    save_png(busy_picture(), tmp_path / "a.png", dpi=200)
    with Image.open(tmp_path / "a.png") as image:
        assert (image.mode, image.size) == ("P", (300, 200))
        assert image.info["dpi"] == pytest.approx((200, 200), abs=0.01)
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "a.png"
    target.write_bytes(b"old")

    def refuse(*_: object) -> None:
        raise OSError("disk full")

    monkeypatch.setattr("os.replace", refuse)
    with pytest.raises(OSError, match="disk full"):
        write_whole(target, b"new")
    assert target.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.png"]


def test_a_missing_folder_is_an_os_error(tmp_path: Path) -> None:
    with pytest.raises(OSError):  # noqa: PT011 - whatever the system says
        write_whole(tmp_path / "nowhere" / "a.png", b"x")

"""A presentation read again by python-pptx: titles to edit, alternative texts, notes, 16:9."""

from __future__ import annotations

import builtins
import io
from typing import Any

import pytest
from PIL import Image

from raycover.errors import MissingPart
from raycover.exchange.slides import SlideParts, presentation

pptx = pytest.importorskip("pptx")


def picture(kind: str = "PNG") -> bytes:
    file = io.BytesIO()
    Image.new("RGB", (160, 90), "#fbfbeb").save(file, kind)
    return file.getvalue()


SLIDES = [
    SlideParts(
        "On the floor: 94.1 % is seen", "air at 20 °C", picture(), "A map & <its> legend", ("Say this.", "Caution.")
    ),
    SlideParts("Walking: Aisle 2\x0b", "", picture("GIF"), "A film", ("Caution.",)),
]


def test_what_was_written_is_read_again() -> None:
    made = pptx.Presentation(io.BytesIO(presentation(SLIDES, title="Depot")))
    assert made.slide_width / made.slide_height == pytest.approx(16 / 9, rel=1e-3)
    assert made.core_properties.title == "Depot"
    first, second = made.slides
    assert first.shapes.title.text_frame.text == "On the floor: 94.1 % is seen"
    assert first.shapes.title.text_frame.paragraphs[0].runs[0].font.size.pt == 28
    assert second.shapes.title.text_frame.text == "Walking: Aisle 2 "
    shapes = list(first.shapes)
    assert [s.name for s in shapes] == ["Picture", shapes[1].name, "Subtitle"]  # the picture lies behind the title
    assert shapes[0]._element.nvPicPr.cNvPr.get("descr") == "A map & <its> legend"
    assert (shapes[0].width, shapes[0].height) == (made.slide_width, made.slide_height)
    assert first.notes_slide.notes_text_frame.text == "Say this.\nCaution."
    sizes = [run.font.size.pt for s in shapes if s.has_text_frame for p in s.text_frame.paragraphs for run in p.runs]
    assert min(sizes) >= 8


def test_the_same_slides_give_the_same_bytes() -> None:
    assert presentation(SLIDES, title="Depot") == presentation(SLIDES, title="Depot")


def test_without_the_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    real = builtins.__import__

    def without(name: str, *more: Any) -> Any:
        if name.split(".")[0] == "pptx":
            raise ImportError(name)
        return real(name, *more)

    monkeypatch.setattr(builtins, "__import__", without)
    with pytest.raises(MissingPart, match=r"raycover\[slides\]"):
        presentation(SLIDES, title="Depot")

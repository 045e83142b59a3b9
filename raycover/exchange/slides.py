"""Slides as a presentation (.pptx, ISO/IEC 29500) with titles to edit, pictures that say what they show, and notes."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from raycover.errors import MissingPart

#: 13.33 × 7.5 in.
_WIDE_IN, _HIGH_IN = 13.333, 7.5
_MM = 1 / 25.4
_INK, _SECOND_INK = "1F2B33", "5E6B73"
#: A date that every file in the package carries, so that the same slides give the same bytes.
_DATE = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True)
class SlideParts:
    """What a slide of a presentation is made of; `picture` is a PNG, JPEG or GIF that fills it under the title."""

    title: str
    subtitle: str
    picture: bytes
    alt: str
    notes: tuple[str, ...]


def presentation(slides: Sequence[SlideParts], *, title: str) -> bytes:
    """The presentation's bytes. Raises MissingPart without python-pptx."""
    try:
        from pptx import Presentation
        from pptx.util import Inches
    except ImportError:
        raise MissingPart("presentations need python-pptx: pip install 'raycover[slides]'") from None
    made = Presentation()
    made.slide_width, made.slide_height = Inches(_WIDE_IN), Inches(_HIGH_IN)
    layout = next(layout for layout in made.slide_layouts if layout.name == "Title Only")
    for parts in slides:
        _add(made.slides.add_slide(layout), parts)
    about = made.core_properties
    about.title, about.author, about.last_modified_by = title, "raycover", "raycover"
    for element in list(about._element):
        if element.tag.endswith(("}created", "}modified")):
            about._element.remove(element)
    file = io.BytesIO()
    made.save(file)
    return _undated(file.getvalue())


def _add(slide: Any, parts: SlideParts) -> None:
    from pptx.enum.text import MSO_ANCHOR, MSO_AUTO_SIZE
    from pptx.util import Inches, Pt

    picture = slide.shapes.add_picture(io.BytesIO(parts.picture), 0, 0, Inches(_WIDE_IN), Inches(_HIGH_IN))
    picture.name = "Picture"
    picture._element.nvPicPr.cNvPr.set("descr", parts.alt)
    # Behind the title, which came first with the layout.
    tree = slide.shapes._spTree
    tree.remove(picture._element)
    tree.insert(2, picture._element)
    title = slide.shapes.title
    texts = [(title, parts.title, (12.0, 3.8, 241.0, 14.5), 28.0, _INK, "Times New Roman")]
    if parts.subtitle:
        box = slide.shapes.add_textbox(0, 0, Inches(1), Inches(1))
        box.name = "Subtitle"
        texts.append((box, parts.subtitle, (12.0, 18.6, 241.0, 7.5), 11.5, _SECOND_INK, "Verdana"))
    for shape, text, (x, y, wide, high), size, color, font in texts:
        shape.left, shape.top, shape.width, shape.height = (Inches(v * _MM) for v in (x, y, wide, high))
        frame = shape.text_frame
        frame.margin_left = frame.margin_right = frame.margin_top = frame.margin_bottom = 0
        frame.word_wrap, frame.vertical_anchor, frame.auto_size = True, MSO_ANCHOR.BOTTOM, MSO_AUTO_SIZE.NONE
        frame.text = _plain(text)
        from pptx.dml.color import RGBColor
        from pptx.enum.text import PP_ALIGN

        paragraph = frame.paragraphs[0]
        paragraph.alignment = PP_ALIGN.LEFT
        run = paragraph.runs[0] if paragraph.runs else paragraph.add_run()
        run.font.size, run.font.name = Pt(size if len(text) < 60 or size < 20 else 22.0), font
        run.font.color.rgb = RGBColor.from_string(color)
    slide.notes_slide.notes_text_frame.text = "\n".join(_plain(line) for line in parts.notes)


def _plain(text: str) -> str:
    """Without control characters, which XML does not hold."""
    return "".join(" " if ord(c) < 32 else c for c in text)


def _undated(data: bytes) -> bytes:
    """A package packed anew with one date for all its parts."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            entry = zipfile.ZipInfo(name, _DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(entry, old.read(name))
    return file.getvalue()

"""What films have in common: their size, the line of words below the picture, frames as one GIF."""

from __future__ import annotations

import io
from collections.abc import Sequence

from PIL import Image, ImageDraw, ImageFont

from raycover.draw import palette
from raycover.draw.lettering import ENGLISH, Font, Wording, font_path

#: A frame, and the foot below its picture (px).
SIZE_PX, FOOT_PX = (960, 540), 62
_COLOURS = 160
#: Where what is said begins behind the figures, and how far the title keeps from the caution (px).
_SAID_PX, _APART_PX = 190, 18
_CAUTION = "A prediction, not a site test. Not a safety function."


def foot(
    draw: ImageDraw.ImageDraw, figures: str, said: str, colour: str, title: str, wording: Wording = ENGLISH
) -> None:
    """Rule and words below a frame: figures, what is noticed (in a colour), the title, the caution."""
    figures, said, title, caution = (wording(text) for text in (figures, said, title, _CAUTION))
    top = SIZE_PX[1] - FOOT_PX
    draw.line([(20, top + 6), (SIZE_PX[0] - 20, top + 6)], fill=palette.INK, width=2)
    draw.text((20, top + 30), figures, font=lettered("sans", 15), fill=palette.INK, anchor="ls")
    left = max(_SAID_PX, 20 + round(lettered("sans", 15).getlength(figures)) + 24)
    draw.text((left, top + 30), said, font=lettered("bold", 15), fill=colour, anchor="ls")
    small = lettered("sans", 11)
    widest = SIZE_PX[0] - 40 - small.getlength(caution) - _APART_PX
    while small.getlength(title) > widest:
        title = title[:-2].rstrip() + "…"
    draw.text((20, top + 52), title, font=small, fill=palette.SECOND_INK, anchor="ls")
    draw.text((SIZE_PX[0] - 20, top + 52), caution, font=small, fill=palette.SECOND_INK, anchor="rs")


def as_gif(frames: Sequence[Image.Image], durations_ms: Sequence[int]) -> bytes:
    """Frames as a GIF that goes on for ever, one palette for all: that of the first, the middle and the last.

    The same frames give the same bytes.
    """
    width, height = frames[0].size
    sample = Image.new("RGB", (width, height * 3))
    for row, k in enumerate((0, len(frames) // 2, len(frames) - 1)):
        sample.paste(frames[k], (0, row * height))
    table = sample.quantize(_COLOURS, method=Image.Quantize.MEDIANCUT, kmeans=1)
    flat = [frame.quantize(palette=table, dither=Image.Dither.NONE) for frame in frames]
    file = io.BytesIO()
    flat[0].save(
        file, "GIF", save_all=True, append_images=flat[1:], duration=list(durations_ms), loop=0, optimize=False
    )  # fmt: skip
    return file.getvalue()


def lettered(font: Font, size_px: int) -> ImageFont.FreeTypeFont:
    """A font of a size in pixels."""
    return ImageFont.truetype(str(font_path(font)), size_px)

"""Pictures that a scene names, opened safely: PNG and JPEG only, of bounded size, as every viewer shows them."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any


class BadPicture(Exception):
    """A file that is no picture to use; `help` says what to do."""

    def __init__(self, message: str, help_text: str) -> None:
        super().__init__(message)
        self.help = help_text


def open_picture(path: Path, most_pixels: int) -> tuple[Any, bool]:
    """The picture (a PIL image) turned as its file says, and whether it has transparency. Raises BadPicture."""
    from PIL import Image, ImageOps

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # our own bound is tighter than the one that Pillow warns of
            with Image.open(path, formats=("PNG", "JPEG")) as file:
                if file.width * file.height > most_pixels:
                    raise too_many_pixels(file.width, file.height, "the picture", most_pixels)
                clear = file.mode in ("RGBA", "LA", "PA") or "transparency" in file.info
                return ImageOps.exif_transpose(file), clear
    except Image.DecompressionBombError as error:
        raise BadPicture(str(error), "shrink the picture") from None
    except (OSError, SyntaxError, ValueError, EOFError) as error:
        raise BadPicture(f"the picture is broken: {error}", "save it again, or ask for the file once more") from None


def too_many_pixels(width: float, height: float, what: str, most_pixels: int) -> BadPicture:
    """The problem of a picture that is too large."""
    hint = f"at most {most_pixels // 10**6} million are read: shrink it"
    return BadPicture(f"{what} has {width:.0f} × {height:.0f} pixels", hint)


def is_picture(start: bytes) -> bool:
    """Whether a file that begins so is a PNG or JPEG."""
    return start[:3] == b"\xff\xd8\xff" or start[:8] == b"\x89PNG\r\n\x1a\n"

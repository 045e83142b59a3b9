"""The project's data for a report: its logo, read and checked, and the language it asks for."""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

from raycover.errors import InputError, Problem, did_you_mean
from raycover.language import languages
from raycover.pictures import BadPicture, is_picture, open_picture
from raycover.scene.schema import Scene

#: Larger files and pictures are refused: a logo is small.
_MOST_BYTES, _MOST_PIXELS = 20 * 1024 * 1024, 40_000_000
#: A logo is brought down to this many pixels along its longer side: 300 dpi over 85 mm.
_LONGEST_PX = 1000


@dataclass(frozen=True)
class Logo:
    """A picture as PNG, with nothing of its file but the pixels; `ratio` is width over height."""

    png: bytes
    ratio: float


def read_logo(scene: Scene) -> Logo | None:
    """The project's logo, or None. Raises InputError at its line for a file that cannot be read."""
    if scene.project is None or scene.project.logo is None:
        return None
    path = scene.file(scene.project.logo, "project", "logo")
    try:
        return _logo(path)
    except BadPicture as error:
        at = scene.position("project", "logo")
        raise InputError([Problem("bad-logo", str(error), at, error.help)]) from None


def _logo(path: Path) -> Logo:
    from PIL import Image

    if (n_bytes := path.stat().st_size) > _MOST_BYTES:
        most = f"at most {_MOST_BYTES // 1024**2} MB are read"
        raise BadPicture(f"the file has {n_bytes / 1024**2:.0f} MB", most)
    with open(path, "rb") as file:
        start = file.read(1024)
    if not is_picture(start):
        what = "an SVG may hold scripts and links" if b"<svg" in start else "the file is no PNG or JPEG"
        raise BadPicture(f"{what}: a logo is a PNG or JPEG", "save the logo as a PNG")
    image, clear = open_picture(path, _MOST_PIXELS)
    image = image.convert("RGBA" if clear else "RGB")
    if max(image.size) > _LONGEST_PX:
        image.thumbnail((_LONGEST_PX, _LONGEST_PX), Image.Resampling.LANCZOS)
    plain = Image.frombytes(image.mode, image.size, image.tobytes())  # leaves profiles and other data behind
    data = io.BytesIO()
    plain.save(data, "PNG")
    return Logo(data.getvalue(), image.width / image.height)


def check_project(scene: Scene) -> list[Problem]:
    """What is wrong with the project's logo and language."""
    if scene.project is None:
        return []
    found: list[Problem] = []
    code = scene.project.language
    if code is not None and code not in languages():
        at = scene.position("project", "language")
        found.append(Problem("unknown-language", f'no words for the language "{code}"', at, _known(code)))
    try:
        read_logo(scene)
    except InputError as error:
        found += error.problems
    return found


def _known(code: str) -> str:
    return did_you_mean(code, languages()) if len(code) > 2 else f"known: {', '.join(languages())}"

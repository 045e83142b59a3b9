"""The plan as received: a picture, or a page of a PDF, and how it lies on the scene.

A similarity takes pixels to metres: at = a·z + b with z = right − i·down, complex numbers standing for points.
It turns, scales and moves and never mirrors.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from raycover.errors import InputError, MissingPart, Problem, did_you_mean
from raycover.pictures import BadPicture, is_picture, open_picture, too_many_pixels
from raycover.scene.received import UnderlaySpec
from raycover.scene.schema import Scene

Floats = NDArray[np.float64]
Box = tuple[float, float, float, float]
#: A page of a PDF becomes a picture of this many pixels an inch; pixels of the scene file are these.
PDF_DPI = 150
#: Larger files and pictures are refused: an A0 page at 150 dpi has 35 million pixels.
_MOST_BYTES, _MOST_PIXELS = 200 * 1024 * 1024, 120_000_000
#: Known points may disagree by this share of the distance between them before they are refused.
_MISFIT = 0.02
#: Two points that turn a picture by more than this off square (degrees), while mirrored they would not, are doubtful.
_OFF_SQUARE_DEG, _SQUARE_DEG = 2.0, 0.5
#: The longest building that a scene may hold, m.
_LONGEST_M = 20_000.0


@dataclass(frozen=True)
class Underlay:
    """A picture on the scene. `ink` (ny, nx) uint8 is 0 paper to 255 ink, row 0 at the top."""

    ink: NDArray[np.uint8]
    a: complex
    b: complex
    opacity: float
    storey: str | None = None

    def shows_on(self, storey: str | None) -> bool:
        """Whether it lies under the maps of a storey; None where a building has but one."""
        return None in (storey, self.storey) or storey == self.storey

    @property
    def metres_per_pixel(self) -> float:
        return abs(self.a)

    @property
    def turn_deg(self) -> float:
        return float(np.degrees(np.angle(self.a)))

    def to_plan(self, pixels: ArrayLike) -> Floats:
        """(n, 2) right and down in pixels → (n, 2) metres."""
        p = np.asarray(pixels, float)
        at = self.a * (p[..., 0] - 1j * p[..., 1]) + self.b
        return np.stack([at.real, at.imag], axis=-1)

    def to_pixels(self, points: ArrayLike) -> Floats:
        """(n, 2) metres → (n, 2) right and down in pixels."""
        p = np.asarray(points, float)
        z = (p[..., 0] + 1j * p[..., 1] - self.b) / self.a
        return np.stack([z.real, -z.imag], axis=-1)

    @property
    def corners(self) -> Floats:
        """(4, 2) its corners in the scene, anticlockwise from the lower left one."""
        ny, nx = self.ink.shape
        return self.to_plan([(0, ny), (nx, ny), (nx, 0), (0, 0)])

    def over(self, box: Box, shape: tuple[int, int]) -> NDArray[np.float32]:
        """Ink (ny, nx), 0 to 1, of a raster over a box (m), row 0 lowest; 0 beyond the picture."""
        from PIL import Image

        ny, nx = shape
        x0, y0, x1, y1 = box
        # Several pixels of the picture to one of the raster are averaged first: thin lines turn grey, not away.
        wanted = min((x1 - x0) / nx, (y1 - y0) / ny) / self.metres_per_pixel
        step = max(1, int(wanted))
        image = Image.fromarray(self.ink)
        image = image.reduce(step) if step > 1 else image
        corner, right, up = self.to_pixels([(x0, y0), (x1, y0), (x0, y1)]) / step
        across, down = (right - corner) / nx, (up - corner) / ny
        data = (across[0], down[0], corner[0], across[1], down[1], corner[1])
        placed = image.transform((nx, ny), Image.Transform.AFFINE, data, Image.Resampling.BILINEAR, fillcolor=0)
        return np.asarray(placed, np.float32) / np.float32(255)


def read_underlay(scene: Scene) -> Underlay | None:
    """The scene's underlay ready to draw, or None.

    Raises InputError at the line for a file that is missing, broken, too large or outside the scene's folders
    and for points that place nothing; MissingPart for a PDF where pypdfium2 is not installed.
    """
    spec = scene.underlay
    if spec is None:
        return None
    path = scene.file(spec.file, "underlay", "file")
    stat = path.stat()
    try:
        ink = _ink(path, spec.page, stat.st_mtime_ns, stat.st_size)
    except BadPicture as error:
        at = scene.position("underlay", "page" if getattr(error, "page", False) else "file")
        raise InputError([Problem("bad-underlay", str(error), at, error.help)]) from None
    a, b = _placed(scene, spec, ink.shape[0])
    made = Underlay(ink, a, b, spec.opacity, spec.storey)
    if max(ink.shape) * made.metres_per_pixel > _LONGEST_M:
        long_km = max(ink.shape) * made.metres_per_pixel / 1000
        at = scene.position("underlay", "scale" if spec.scale is not None else "points")
        message = f"the underlay would be {long_km:.3g} km long"
        raise InputError([Problem("underlay-size", message, at, "check units: lengths are metres")])
    return made


def check_underlay(scene: Scene) -> list[Problem]:
    """What is wrong or doubtful with the underlay; what is missing to read it is left to the drawing."""
    spec = scene.underlay
    names = [storey.name for storey in scene.storeys]
    if spec is not None and spec.storey is not None and names and spec.storey not in names:
        message = f'no storey is named "{spec.storey}"'
        help_ = did_you_mean(spec.storey, names)
        return [Problem("unknown-storey", message, scene.position("underlay", "storey"), help_)]
    try:
        made = read_underlay(scene)
    except InputError as error:
        return list(error.problems)
    except MissingPart:
        return []
    if made is None or spec is None or spec.points is None or len(spec.points) > 2:
        return []
    z, at = _point_pairs(spec)
    mirrored = (at[1] - at[0]) / np.conj(z[1] - z[0])
    if _off_square(made.a) > _OFF_SQUARE_DEG and _off_square(mirrored) < _SQUARE_DEG:
        return [
            Problem(
                "underlay-turned",
                f"the two known points turn the underlay by {made.turn_deg:.1f}°",
                scene.position("underlay", "points"),
                "pixels count down from the upper edge: [right, down]; a third point settles it",
                severity="warning",
            )
        ]
    return []


def _off_square(a: complex) -> float:
    turn = float(np.degrees(np.angle(a))) % 90
    return min(turn, 90 - turn)


def _point_pairs(spec: UnderlaySpec) -> tuple[NDArray[np.complex128], NDArray[np.complex128]]:
    points = spec.points or []
    z = np.array([complex(p.pixel[0], -p.pixel[1]) for p in points])
    return z, np.array([complex(*p.at) for p in points])


def _placed(scene: Scene, spec: UnderlaySpec, n_rows: int) -> tuple[complex, complex]:
    """The similarity of an underlay: least squares over its points, or by its scale."""
    if spec.scale is not None:
        a = spec.scale.metres_per_pixel * np.exp(1j * np.radians(spec.turn_deg if spec.turn_deg is not None else 0.0))
        return complex(a), complex(complex(*spec.scale.origin) - a * -1j * n_rows)
    z, at = _point_pairs(spec)
    where = scene.position("underlay", "points")
    apart, wide = np.abs(z[:, None] - z).max(), np.abs(at[:, None] - at).max()
    if apart < 2 or wide < 0.01:
        what = "pixels" if apart < 2 else "places"
        hint = "take two points far apart, corners of the building say"
        raise InputError([Problem("underlay-points", f"the {what} of the known points coincide", where, hint)])
    a, b, misfit = _fitted(z, at)
    _, _, mirrored = _fitted(np.conj(z), at)
    if misfit > _MISFIT * wide:
        if mirrored < misfit / 2:
            message = "the known points mirror the underlay"
            hint = "pixels count right and down from the picture's upper left corner: [right, down]"
        else:
            message = f"the known points disagree by {misfit:.2g} m"
            hint = "check each pixel and place, or keep the two that are sure"
        raise InputError([Problem("underlay-points", message, where, hint)])
    return a, b


def _fitted(z: NDArray[np.complex128], at: NDArray[np.complex128]) -> tuple[complex, complex, float]:
    """a, b of the least squares at = a·z + b, and the worst misfit (m)."""
    middle, mean = z.mean(), at.mean()
    spread = z - middle
    a = np.sum(np.conj(spread) * (at - mean)) / np.sum(np.abs(spread) ** 2)
    b = mean - a * middle
    return complex(a), complex(b), float(np.abs(a * z + b - at).max())


class _Unreadable(BadPicture):
    """A file that is no picture; `page` where the page is at fault."""

    def __init__(self, message: str, help_text: str, *, page: bool = False) -> None:
        super().__init__(message, help_text)
        self.page = page


@lru_cache(maxsize=2)
def _ink(path: Path, page: int, _modified: int, n_bytes: int) -> NDArray[np.uint8]:
    """Darkness (ny, nx) of a picture on white paper; a drawing in white on black is turned over."""
    if n_bytes > _MOST_BYTES:
        raise _Unreadable(f"the file has {n_bytes / 1024**2:.0f} MB", f"at most {_MOST_BYTES // 1024**2} MB are read")
    with open(path, "rb") as file:
        start = file.read(1024)
    if not is_picture(start) and b"%PDF-" not in start:
        raise _Unreadable("the file is no PNG, JPEG or PDF", "save the plan as one of these")
    is_pdf = b"%PDF-" in start
    if page != 1 and not is_pdf:
        raise _Unreadable(f"a picture has no page {page}", "take page out", page=True)
    grey = np.asarray(_pdf_page(path, page) if is_pdf else _picture(path))
    ink = (255 - grey).astype(np.uint8)
    return ink if np.median(ink) < 128 else grey


def _picture(path: Path) -> Any:
    from PIL import Image

    image, clear = open_picture(path, _MOST_PIXELS)
    if clear:
        paper = Image.new("RGBA", image.size, "white")
        image = Image.alpha_composite(paper, image.convert("RGBA"))
    if image.mode.startswith("I"):  # 16 bits a pixel
        return Image.fromarray((np.asarray(image, np.uint32) >> 8).clip(0, 255).astype(np.uint8))
    return image.convert("L")


def _pdf_page(path: Path, page: int) -> Any:
    try:
        import pypdfium2
    except ImportError:
        hint = "an underlay from a PDF needs pypdfium2: pip install 'raycover[pdf]', or save the page as a PNG"
        raise MissingPart(hint) from None
    try:
        document = pypdfium2.PdfDocument(path)
    except pypdfium2.PdfiumError as error:
        locked = "password" in str(error).lower()
        what = "the PDF asks for a password" if locked else f"the PDF is broken: {error}"
        raise _Unreadable(what, "save it again without" if locked else "ask for the file once more") from None
    try:
        if page > len(document):
            n = len(document)
            hint = f"page 1 to {n}" if n > 1 else "write page: 1, or leave it out"
            raise _Unreadable(f"the PDF has {n} page{'s' * (n != 1)}, not {page}", hint, page=True)
        leaf = document[page - 1]
        width, height = (side / 72 * PDF_DPI for side in leaf.get_size())
        if width * height > _MOST_PIXELS:
            raise too_many_pixels(width, height, f"page {page} at {PDF_DPI} dpi", _MOST_PIXELS)
        return leaf.render(scale=PDF_DPI / 72, grayscale=True).to_pil().convert("L")
    except pypdfium2.PdfiumError as error:
        raise _Unreadable(f"page {page} of the PDF is broken: {error}", "ask for the file once more") from None
    finally:
        document.close()

"""What a mesh file may hold at most, and the error of one that cannot be taken."""

from __future__ import annotations

MAX_BYTES = 200 * 10**6
MAX_TRIANGLES = 2_000_000


class MeshFileError(Exception):
    """A mesh file that cannot be taken: a short `code`, what is wrong (a predicate of the file), what to do."""

    def __init__(self, code: str, message: str, help: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.help = help


def too_many_triangles(n: int) -> MeshFileError:
    return MeshFileError(
        "mesh-too-large",
        f"holds {n:,} triangles, {MAX_TRIANGLES:,} are the most",
        "reduce it (a decimate or simplify command), and leave out screws, cables and pictures",
    )

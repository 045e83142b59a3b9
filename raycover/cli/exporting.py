"""The command `export`: a solved scene back to the drawing office."""

from __future__ import annotations

from pathlib import Path

from raycover.cli.choosing import loaded
from raycover.cli.printing import talk
from raycover.cli.solving import solved
from raycover.errors import InputError, Position, Problem


def export_scene(path: Path, output: Path, *, state: str | None, threads: int | None, force: bool) -> None:
    """Solve a scene, in a state if one is named, and write a DXF."""
    from raycover.draw.dxf import write_dxf

    if output.suffix.lower() != ".dxf":
        raise _refused("wrong-ending", "the drawing is a DXF", output, f"write -o {output.stem}.dxf")
    if output.exists() and not force:
        raise _refused("file-exists", "the file is already there", output, "choose another name, or use --force")
    scene, building, _, coverage = solved(loaded(path, state), threads)
    try:
        output.parent.mkdir(parents=True, exist_ok=True)
        write_dxf(scene, building, coverage, output)
    except OSError as error:
        why = f"cannot write: {error.strerror or error}"
        raise _refused("cannot-write", why, output, "choose another place with -o") from error
    units = scene.plan.units if scene.plan is not None else "m"
    talk(f"Written {output} in {units}: layers RAYCOVER-…, one set a plane; the first plane's are switched on.")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _refused(code: str, message: str, path: Path, hint: str) -> InputError:
    return InputError([Problem(code, message, Position(str(path)), hint)])

"""The command `import`: a plan that others drew becomes a scene file."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from raycover.cli.printing import data, progress, talk
from raycover.errors import InputError, Position, Problem
from raycover.exchange.files import write_whole
from raycover.exchange.summary import stamp
from raycover.importing.dxf_options import DxfOptions
from raycover.importing.imported import Imported, Progress

#: Called with the file, the folder where the scene will stand, and a callback (done, all).
Importer = Callable[[Path, Path, Progress], Imported]


def _ifc(path: Path, folder: Path, step: Progress) -> Imported:
    from raycover.importing.separately import import_ifc_separately

    return import_ifc_separately(path, progress=step, folder=folder)


def _dxf(options: DxfOptions) -> Importer:
    def read(path: Path, folder: Path, step: Progress) -> Imported:
        from raycover.importing.dxf import import_dxf

        return import_dxf(path, options, progress=step, folder=folder)

    return read


#: By how the file's name ends.
IMPORTERS: dict[str, Importer] = {".ifc": _ifc, ".dxf": _dxf(DxfOptions())}
#: Near relatives of what is read: the ending, and what to do.
_RELATIVES = {
    ".ifczip": "unpack it (it is a ZIP) and import the .ifc inside",
    ".ifcxml": "export it as IFC-SPF, the plain .ifc",
    ".zip": "unpack it first",
    ".dwg": "save it as DXF in the drawing program",
}


def import_file(path: Path, output: Path, *, force: bool, as_json: bool, dxf: DxfOptions | None = None) -> None:
    """Read `path` by its ending and write the scene, whole or not at all; the report goes to stderr."""
    importer = IMPORTERS.get(path.suffix.lower())
    if importer is None:
        known = ", ".join(IMPORTERS)
        hint = _RELATIVES.get(path.suffix.lower(), f"known: {known}")
        raise _refused("unknown-format", f'files ending in "{path.suffix}" cannot be imported', path, hint)
    if dxf is not None and dxf.given:
        if path.suffix.lower() != ".dxf":
            hint = "leave --units, --rooms, --partitions, --height and --walls out"
            raise _refused("bad-option", "options for drawings do not suit a building model", path, hint)
        importer = _dxf(dxf)
    if output.suffix not in (".yaml", ".yml"):
        raise _refused("not-yaml", "a scene file ends in .yaml", output, f"write -o {output.name}.yaml")
    if output.exists() and not force:
        hint = "choose another name, or overwrite it with --force"
        raise _refused("file-exists", "the file is already there", output, hint)
    with progress("reading") as step:
        made = importer(path, output.parent, step)
    write_whole(output, made.text)
    if as_json:
        data({**stamp(), "file": str(path), "scene": str(output), **made.report.as_json()})
    for line in made.report.lines():
        talk(line)
    talk(f"Written {output}. Look it over (guesses are marked there), add detectors, then: raycover map {output}")


def _refused(code: str, message: str, path: Path, hint: str) -> InputError:
    return InputError([Problem(code, message, Position(str(path)), hint)])

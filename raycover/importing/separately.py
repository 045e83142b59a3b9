"""Reading an IFC file in a process of its own.

The geometry kernel is native code, and a damaged body can crash it (about 1 in 150 files with random damage).
A crash must end in a message, so it happens elsewhere.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from raycover.errors import InputError, MissingPart, Position, Problem
from raycover.importing.ifc import import_ifc
from raycover.importing.ifc_file import EXPORT
from raycover.importing.imported import Imported, Progress

_MARK = "raycover-progress"


def import_ifc_separately(path: Path, *, progress: Progress | None = None, folder: Path | None = None) -> Imported:
    """As `import_ifc`, and InputError too where the kernel crashes or the system ends it for want of memory."""
    with tempfile.TemporaryDirectory(prefix="raycover-") as place:
        result, talk = Path(place) / "result", Path(place) / "talk"
        command = [sys.executable, "-c", f"from {__name__} import main; main()", str(path), str(result)]
        if folder is not None:
            command.append(str(folder))
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        with (
            talk.open("wb") as errors,
            subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, env=environment) as child,
        ):
            assert child.stdout is not None
            try:
                for line in child.stdout:
                    words = line.decode("utf-8", "replace").split()
                    if progress is not None and len(words) == 3 and words[0] == _MARK:
                        progress(int(words[1]), int(words[2]))
            except BaseException:  # ^C: the kernel does not hear it
                child.kill()
                raise
        if result.is_file() and child.returncode == 0:
            return _taken(pickle.loads(result.read_bytes()))
        if child.returncode == 1:
            raise RuntimeError(talk.read_text(encoding="utf-8", errors="replace"))
        raise InputError([Problem("damaged", _told(child.returncode), Position(str(path)), EXPORT)])


def _taken(answer: tuple[str, object]) -> Imported:
    kind, value = answer
    if kind == "problems":
        raise InputError(value)  # type: ignore[arg-type]
    if kind == "missing":
        raise MissingPart(str(value))
    assert isinstance(value, Imported)
    return value


def _told(code: int) -> str:
    name = signal.Signals(-code).name if -code in set(signal.Signals) else f"code {code}"
    if name == "SIGKILL":
        return "reading it was ended by the system, most likely for want of memory"
    return f"reading it crashed the geometry kernel ({name}): some body in it is damaged"


def main() -> None:
    """The child's side: read the file named first, leave the answer in the file named second."""
    path, result, *folder = map(Path, sys.argv[1:])

    def step(done: int, everything: int) -> None:
        print(_MARK, done, everything, flush=True)

    answer: tuple[str, object]
    try:
        answer = "made", import_ifc(path, progress=step, folder=folder[0] if folder else None)
    except InputError as error:
        answer = "problems", error.problems
    except MissingPart as error:
        answer = "missing", str(error)
    draft = result.with_suffix(".draft")
    draft.write_bytes(pickle.dumps(answer))
    draft.replace(result)

"""Reading an IFC file in a process of its own.

The geometry kernel is native code, and a damaged body can crash it (about 1 in 150 files with random damage).
A crash must end in a message, so it happens elsewhere. So must a body that keeps the kernel busy for ever.
"""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from types import TracebackType

from raycover.errors import InputError, MissingPart, Position, Problem
from raycover.importing.ifc import import_ifc
from raycover.importing.ifc_file import EXPORT
from raycover.importing.imported import Imported, Progress

_MARK = "raycover-progress"
#: Seconds without another element read, after which reading is given up: one body takes seconds, opening a large file
#: minutes (common practice, no source).
PATIENCE_S = 600.0


def import_ifc_separately(path: Path, *, progress: Progress | None = None, folder: Path | None = None) -> Imported:
    """As `import_ifc`, and InputError too where the kernel crashes or gets nowhere for `PATIENCE_S`, or the system ends
    it for want of memory."""
    with tempfile.TemporaryDirectory(prefix="raycover-") as place:
        result, talk = Path(place) / "result", Path(place) / "talk"
        command = [sys.executable, "-c", f"from {__name__} import main; main()", str(path), str(result)]
        if folder is not None:
            command.append(str(folder))
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(p for p in sys.path if p)}
        with (
            talk.open("wb") as errors,
            subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors, env=environment) as child,
            _Watch(child) as watch,
        ):
            assert child.stdout is not None
            try:
                for line in child.stdout:
                    words = line.decode("utf-8", "replace").split()
                    if len(words) == 3 and words[0] == _MARK:
                        watch.heard(int(words[1]), int(words[2]))
                        if progress is not None:
                            progress(watch.done, watch.everything)
            except BaseException:  # ^C: the kernel does not hear it
                child.kill()
                raise
        if result.is_file() and child.returncode == 0:
            return _taken(pickle.loads(result.read_bytes()))
        if watch.gave_up:
            raise InputError([Problem("damaged", watch.told(), Position(str(path)), EXPORT)])
        if child.returncode == 1:
            raise RuntimeError(talk.read_text(encoding="utf-8", errors="replace"))
        raise InputError([Problem("damaged", _told(child.returncode), Position(str(path)), EXPORT)])


class _Watch:
    """Ends a process that gets nowhere: a thread beside it, from entering to leaving."""

    def __init__(self, child: subprocess.Popen[bytes]) -> None:
        self.child, self.gave_up = child, False
        self.done = self.everything = 0
        self._heard = time.monotonic()
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> _Watch:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join()

    def heard(self, done: int, everything: int) -> None:
        """Another element is read; what comes after the last is ours, and ends."""
        self._heard, self.done, self.everything = time.monotonic(), done, everything
        if done >= everything:
            self._over.set()

    def told(self) -> str:
        """Why it was ended."""
        where = f" after {self.done} of {self.everything} elements" if self.everything else ""
        return f"reading it got nowhere for {PATIENCE_S / 60:.3g} minutes{where}: some body in it is damaged"

    def _look(self) -> None:
        while not self._over.wait(max(self._heard + PATIENCE_S - time.monotonic(), 0.0)):
            if time.monotonic() - self._heard >= PATIENCE_S:
                self.gave_up = True
                self.child.kill()
                return


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

"""Processes that tests begin: none is waited for without an end, none stays."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import time
from contextlib import suppress

#: Seconds: no program that a test waits for takes a tenth of this on a busy machine.
LONGEST = 240.0


def ended(process: subprocess.Popen[bytes] | subprocess.Popen[str], *, group: bool = False) -> None:
    """End a process, by force where it does not hear; with all of its session if it was begun in one of its own."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)
    if group:
        with suppress(ProcessLookupError):  # nobody is left
            os.killpg(process.pid, signal.SIGKILL)


def told(pipe: int, end: bytes, seconds: float, who: str) -> bytes:
    """What comes out of a pipe up to `end` or its closing. Raises TimeoutError where that takes longer than given."""
    said, until = b"", time.monotonic() + seconds
    while end not in said:
        if not select.select([pipe], [], [], max(until - time.monotonic(), 0.0))[0]:
            raise TimeoutError(f"{who} said {said!r} and no more within {seconds:g} s")
        more = os.read(pipe, 1 << 20)
        if not more:
            break
        said += more
    return said

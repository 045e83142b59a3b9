"""What is freed is kept: no page is asked of the system twice. Against what the system itself counts."""

from __future__ import annotations

import os
import platform
import subprocess
import sys

import pytest

_PROGRAM = """
import mmap, resource, sys
import numpy as np
from raycover.rays.heap import keep_what_is_freed
if sys.argv[1] == "kept":
    keep_what_is_freed()
def fresh():
    block = mmap.mmap(-1, 1_600_000)
    block[::4096] = bytes(len(range(0, len(block), 4096)))
def batch():
    if sys.argv[1] == "fresh":
        return [fresh() for _ in range(4)]
    return sum(float(np.ones(200_000)[-1]) for _ in [[np.ones(200_000) for _ in range(4)] for _ in range(1)])
for _ in range(3):
    batch()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
for _ in range(20):
    batch()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def _pages_asked(how: str) -> int:
    """In a process where nobody tells glibc what to keep; workers of other tests leave such words behind."""
    untold = {name: value for name, value in os.environ.items() if not name.startswith("MALLOC_")}
    command = [sys.executable, "-c", _PROGRAM, how]
    return int(subprocess.run(command, check=True, capture_output=True, text=True, env=untold, timeout=60).stdout)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc learns by what is freed")
def test_what_is_freed_is_kept_for_the_next_batch() -> None:
    """Twenty batches of four blocks of 1.6 MB: what is asked anew costs 31,000 pages of 4 kB, what is kept none."""
    fresh = _pages_asked("fresh")
    if fresh < 10_000:
        pytest.skip(f"this system counts {fresh} pages where 31,000 are touched for the first time")
    assert _pages_asked("given back") > 2000
    assert _pages_asked("kept") < 200

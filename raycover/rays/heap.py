"""Memory that numpy frees, kept for its next arrays.

Rays are cast a batch after the other, each with arrays of a few megabytes in all. The C library of Linux would give
those back to the system after every batch, and be handed them page by page, cleared, for the next: a tenth of the time.
"""

from __future__ import annotations

from functools import cache

import numpy as np

#: The largest block (bytes) that teaches glibc anything: 32 MB, less what it writes before and after a block.
_LARGEST = 2**25 - 2**14


@cache
def keep_what_is_freed() -> None:
    """Let the process keep some 64 MB of what it frees; elsewhere than on glibc this does nothing.

    glibc takes the size of the largest block freed so far, up to 32 MB, for a measure of what will be asked again, and
    keeps twice as much (mallopt(3), M_MMAP_THRESHOLD and M_TRIM_THRESHOLD). Nobody writes to this block, so that it
    never takes up memory.
    """
    np.empty(_LARGEST, np.uint8)

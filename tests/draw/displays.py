"""Whether pictures in 3D can be drawn here."""

from __future__ import annotations

import pytest

from raycover.draw.view3d import display_report
from raycover.errors import MissingPart


def drawable() -> bool:
    try:
        display_report()
    except MissingPart:
        return False
    return True


needs_3d = pytest.mark.skipif(not drawable(), reason="neither EGL nor an X display here (apt-get install libegl1)")

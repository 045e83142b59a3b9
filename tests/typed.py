"""Command lines as somebody types them."""

from __future__ import annotations

import pytest

from raycover.cli.main import main


def run(*words: str) -> int:
    """Runs a command line in this process; its exit code."""
    with pytest.raises(SystemExit) as left:
        main(list(words))
    return int(left.value.code or 0)

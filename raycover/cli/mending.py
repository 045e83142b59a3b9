"""`prove --mended`: the best remedies written into a new scene, and what that scene proves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from raycover.cli.new_scenes import for_folder
from raycover.cli.printing import progress, talk
from raycover.cli.tables import table
from raycover.exchange.files import write_whole
from raycover.proving.mending.applying import Mended, mend_text
from raycover.scene.reading import read_source


def mend_file(path: Path, target: Path, *, state: str | None) -> Mended:
    """Find the remedies and write the new scene."""
    with progress("mending") as step:
        mended = mend_text(read_source(path), str(path), path.parent, state=state, progress=step)
    write_whole(target, for_folder(mended.text, path, target))
    return mended


def mended_json(mended: Mended, target: Path) -> dict[str, Any]:
    return {
        "file": str(target),
        "met": mended.proof.met,
        "missed": [verdict.need.name for verdict in mended.proof.needs if not verdict.met],
        "steps": [
            {"need": step.need, "detector": step.unit, "new": step.is_new, "remedy": step.words, "keys": step.keys}
            for step in mended.steps
        ],
    }


def print_mended(mended: Mended, target: Path) -> None:
    """What was changed, and what the new scene still misses."""
    if not mended.steps:
        print("Nothing that was tried helps without harm: the new scene is the old one")
    else:
        rows = [[str(k), step.unit, step.words, step.need] for k, step in enumerate(mended.steps, 1)]
        table(["", "unit", "change", "for"], rows, title=f"Changed in {target}")
    missed = [verdict.need.name for verdict in mended.proof.needs if not verdict.met]
    n = len(mended.proof.needs)
    print(
        f"{n - len(missed)} of {n} need{'s' * (n != 1)} met there" + (f"; not: {', '.join(missed)}" if missed else "")
    )
    talk(f"Written to {target}")

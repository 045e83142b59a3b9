"""A sweep that is ended from outside, as real processes: what was finished is kept, and nobody is left behind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from processes import LONGEST, ended

import raycover

SCENE = """raycover: 1
title: Store
rooms: [{name: Store, outline: [[0, 0], [10, 0], [10, 8], [0, 8]], height: 4, walls: brick-215}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [4, 3], mounting: 3}]
planes: [{name: floor, height: 0}]
grid: 0.5
"""
COMMAND = (
    "sweep", "scene.yaml", "--set", "detectors/D1/mounting=2.5:3.9:0.05", "--processes", "2", "-o", "out",
)  # fmt: skip

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="looks into /proc")


def until(happens: Callable[[], object], seconds: float = 120.0) -> bool:
    """Whether something happens in time."""
    end = time.monotonic() + seconds
    while not happens():
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


def children(pid: int) -> list[int]:
    """Who has it for a parent; not every system's /proc lists that by the parent."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):  # it has just ended
            if int(path.read_text().rpartition(")")[2].split()[1]) == pid:
                found.append(int(path.parent.name))
    return found


def gone(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def folders(place: Path) -> list[Path]:
    """What a sweep keeps in the folder for temporary files."""
    return list(place.glob("temporary/raycover-*"))


@pytest.mark.parametrize(("how", "code"), [(signal.SIGKILL, -signal.SIGKILL), (signal.SIGINT, 130)])
def test_what_was_finished_is_kept_and_nobody_is_left(how: signal.Signals, code: int, tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text(SCENE)
    words = [sys.executable, "-m", "raycover.cli.main", *COMMAND]
    (tmp_path / "temporary").mkdir()
    here = {
        **os.environ, "PYTHONPATH": str(Path(raycover.__file__).parents[1]), "TMPDIR": str(tmp_path / "temporary"),
    }  # fmt: skip
    begun = subprocess.Popen(words, cwd=tmp_path, env=here, stderr=subprocess.PIPE, text=True)
    rows = tmp_path / "out" / "rows"
    try:
        assert until(lambda: len(list(rows.glob("*.json"))) >= 2)
        workers = children(begun.pid)
        assert folders(tmp_path)
        assert len(workers) >= 2
        os.kill(begun.pid, how)
        said = begun.communicate(timeout=120)[1]
    finally:
        ended(begun)
    assert begun.returncode == code
    assert until(lambda: all(map(gone, workers)), 30)
    assert until(lambda: not folders(tmp_path), 30)
    kept = {path.name: path.read_bytes() for path in rows.glob("*.json")}
    assert 2 <= len(kept) < 29
    assert not (tmp_path / "out" / "sweep.csv").exists()
    if how == signal.SIGINT:
        assert f"{len(kept)} of 29 rows are kept" in said
        return
    # The same command goes on from there: rows that were finished are not solved again.
    few = [*COMMAND[:3], "detectors/D1/mounting=2.5:2.65:0.05", "--processes", "1", "-o", "out"]
    done = subprocess.run(
        [*words[:3], *few], cwd=tmp_path, env=here, capture_output=True, text=True, check=True, timeout=LONGEST
    )
    assert "rows are there from before" in done.stderr
    assert {path.name: path.read_bytes() for path in rows.glob("*.json")}.items() >= kept.items()
    assert not folders(tmp_path)


#: Of two workers of a killed sweep one tidies first; the other has begun a row since, and made the folder anew.
LATE = """
import shutil, sys, threading
from pathlib import Path
from raycover.sweeping.sources import lying, read, removed_for_good, unpacked
source = read(Path(sys.argv[1]), [])
place = Path(sys.argv[2])
place.mkdir()
lying({source.digest: place})
assert unpacked(source)[0].parent == place
shutil.rmtree(place)
anew = unpacked(source)[0].parent
assert anew.is_dir() and anew != place
removed_for_good({source.digest: place})
late = threading.Thread(target=unpacked, args=(source,), daemon=True)
late.start()
late.join(1)
assert late.is_alive() and not anew.exists()
"""


def test_a_folder_made_anew_by_a_worker_that_ends_goes_too(tmp_path: Path) -> None:
    (tmp_path / "scene.yaml").write_text(SCENE)
    (tmp_path / "temporary").mkdir()
    here = {
        **os.environ, "PYTHONPATH": str(Path(raycover.__file__).parents[1]), "TMPDIR": str(tmp_path / "temporary"),
    }  # fmt: skip
    command = [sys.executable, "-c", LATE, str(tmp_path / "scene.yaml"), str(tmp_path / "temporary" / "raycover-given")]
    done = subprocess.run(command, env=here, capture_output=True, text=True, check=False, timeout=LONGEST)
    assert done.returncode == 0, done.stderr
    assert not folders(tmp_path)

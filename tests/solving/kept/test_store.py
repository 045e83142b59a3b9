"""Files of kept answers: whole or as good as none, private, bounded, and safe among processes."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from processes import LONGEST, ended

from raycover.solving.kept import store as stores
from raycover.solving.kept.store import Store

KEY = bytes(range(32))
ARRAYS = {
    "margin_db": np.array([[1.5, -np.inf, np.nan], [0.0, -0.0, 3.25]], np.float32),
    "few": np.where(np.arange(99) % 9, -np.inf, np.arange(99.0)).reshape(9, 11),
    "dark": np.full((3, 5), -np.inf),
    "none": np.zeros((0, 4)),
    "n": np.array(7),
    "seen": np.array([True, False, True]),
}


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store(tmp_path / "kept")


def assert_kept(store: Store) -> None:
    found = store.get(KEY)
    assert found is not None
    assert list(found) == list(ARRAYS)
    for name, array in ARRAYS.items():
        assert found[name].dtype == array.dtype
        assert found[name].shape == array.shape
        assert found[name].tobytes() == array.tobytes()
        found[name][...] = 0  # they are the caller's own


def test_arrays_come_back_bit_for_bit_and_are_ones_own(store: Store) -> None:
    assert store.get(KEY) is None
    store.put(KEY, ARRAYS)
    assert_kept(store)
    assert_kept(store)
    assert store.size() == (1, 4096)


def test_a_torn_changed_or_foreign_file_is_as_good_as_none_and_replaced(store: Store) -> None:
    store.put(KEY, ARRAYS)
    path = store.path(KEY)
    whole = path.read_bytes()
    flipped = [bytes([*whole[:k], whole[k] ^ 1, *whole[k + 1 :]]) for k in range(0, len(whole), 5)]
    cut = [whole[:k] for k in range(0, len(whole), 5)]
    for damaged in (*flipped, *cut, whole + b"\0", b"another program's file", b"\0" * len(whole)):
        path.write_bytes(damaged)
        assert store.get(KEY) is None
    store.put(KEY, ARRAYS)
    assert_kept(store)


def test_a_file_under_another_key_does_not_count(store: Store) -> None:
    store.put(KEY, ARRAYS)
    other = bytes(32)
    store.path(other).parent.mkdir(exist_ok=True)
    os.rename(store.path(KEY), store.path(other))
    assert store.get(other) is None


def test_what_is_not_a_number_is_never_read(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even with a right checksum: objects would have to be unpickled."""
    monkeypatch.setattr(stores, "_KINDS", frozenset("biufOU"))
    store.put(KEY, {"text": np.array(["a"])})
    assert store.get(KEY) is not None
    monkeypatch.undo()
    assert store.get(KEY) is None


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_files_and_folders_are_ones_own(store: Store) -> None:
    store.put(KEY, ARRAYS)
    store.tell()
    for path in store.folder.rglob("*"):
        assert path.stat().st_mode & 0o077 == 0, path
    assert (
        (store.folder / "v1" / "CACHEDIR.TAG").read_bytes().startswith(b"Signature: 8a477f597d28d172789f06886806bc55")
    )


def test_the_least_recently_used_go_first(tmp_path: Path) -> None:
    store = Store(tmp_path, limit=10 * 4096)
    keys = [bytes([k] * 32) for k in range(10)]
    for age, key in enumerate(keys):
        store.put(key, ARRAYS)
        past = time.time() - 1e5 + age
        os.utime(store.path(key), (past, past))
    draft = store.path(keys[0]).parent / ".raycover-x.part"
    draft.write_bytes(b"left behind")
    os.utime(draft, (0, 0))
    assert store.get(keys[0]) is not None  # the oldest, but used just now
    store.tell()
    assert store.size()[0] == 10
    store.put(bytes([99] * 32), ARRAYS)
    store.tell()
    assert store.size()[0] == 8
    kept = [key for key in keys if store.path(key).exists()]
    assert kept == [keys[0], *keys[4:]]
    assert not draft.exists()


def test_a_damaged_account_is_counted_anew(store: Store) -> None:
    store.put(KEY, ARRAYS)
    store.tell()
    account = store.folder / "v1" / "written"
    account.write_bytes(b"many\n")
    store.put(KEY, ARRAYS)
    store.tell()
    assert account.read_bytes() == b"4096\n"


def test_emptying_leaves_what_is_not_its_own(store: Store) -> None:
    store.put(KEY, ARRAYS)
    store.tell()
    mine = store.folder / "v1" / "notes.txt"
    mine.write_text("mine")
    (store.folder / "photo.jpg").write_bytes(b"mine too")
    store.empty()
    assert store.size() == (0, 0)
    assert sorted(p.name for p in store.folder.rglob("*")) == ["notes.txt", "photo.jpg", "v1"]
    store.put(KEY, ARRAYS)
    assert_kept(store)


def test_a_full_disk_is_done_without_and_noted_once(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    tried = []

    def full(path: Path, *_: object, **__: object) -> None:
        tried.append(path)
        raise OSError(errno.ENOSPC, "No space left on device")

    store.put(KEY, ARRAYS)
    monkeypatch.setattr(stores, "write_whole", full)
    for k in range(3):
        store.put(bytes([k] * 32), ARRAYS)
    assert store.trouble == "No space left on device"
    assert len(tried) == 1
    assert_kept(store)  # what is there is read all the same


def test_where_no_folder_can_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    store = Store(tmp_path / "file" / "kept")
    assert store.get(KEY) is None
    store.put(KEY, ARRAYS)
    store.tell()
    assert store.trouble is not None
    assert store.size() == (0, 0)


@pytest.mark.skipif(os.name != "posix", reason="a limit of file sizes")
def test_a_file_cut_short_by_a_limit_leaves_nothing(tmp_path: Path) -> None:
    code = """
import resource, signal, sys
import numpy as np
from pathlib import Path
from raycover.solving.kept.store import Store
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
store = Store(Path(sys.argv[1]))
store.put(bytes(32), {"a": np.zeros(10_000)})
print(store.trouble, store.get(bytes(32)))
"""
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=True, timeout=LONGEST
    )
    assert done.stdout == "File too large None\n"
    assert not [path for path in tmp_path.rglob("*") if path.suffix in (".part", ".kept")]


def test_processes_that_write_read_and_throw_away_at_once(tmp_path: Path) -> None:
    """Each reads only what is whole, whoever wrote it, though the folder holds no more than half of it all."""
    code = """
import sys
import numpy as np
from pathlib import Path
from raycover.solving.kept.store import Store, _BLOCK
store = Store(Path(sys.argv[1]), limit=20 * _BLOCK)
found = 0
for turn in range(12):
    for k in range(40):
        key = bytes([k] * 32)
        kept = store.get(key)
        if kept is None:
            store.put(key, {"a": np.full(100, float(k))})
        else:
            found += 1
            assert kept["a"].tolist() == [float(k)] * 100
    store.tell()
assert store.trouble is None, store.trouble
print(found)
"""
    many = [
        subprocess.Popen([sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, text=True)
        for _ in range(3)
    ]
    try:
        found = [one.communicate(timeout=LONGEST)[0] for one in many]
    finally:
        for one in many:
            ended(one)
    assert [one.returncode for one in many] == [0, 0, 0]
    assert sum(map(int, found)) > 0
    store = Store(tmp_path, limit=20 * 4096)
    store.tidy()
    assert store.size()[0] <= 16

"""IFC files that are broken, foreign, too large or empty of a building: a message that says what to do."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest

pytest.importorskip("ifcopenshell", reason="the extra ifc is not installed")

from houses import one_storey, shell
from ifc_maker import IfcMaker, rectangle
from processes import LONGEST

import raycover
from raycover.errors import InputError, MissingPart
from raycover.importing.ifc import import_ifc

EMPTY_MODEL = b"""ISO-10303-21;
HEADER;
FILE_DESCRIPTION((''),'2;1');
FILE_NAME('x','2026-01-01T00:00:00',(''),(''),'','','');
FILE_SCHEMA(('IFC4'));
ENDSEC;
DATA;
ENDSEC;
END-ISO-10303-21;
"""


@pytest.fixture(scope="module")
def sound() -> str:
    return one_storey().path.read_text()


def refused(path: Path, code: str) -> str:
    with pytest.raises(InputError) as caught:
        import_ifc(path)
    (problem,) = caught.value.problems
    assert problem.code == code
    assert problem.help
    assert str(path) in str(caught.value)
    return str(caught.value)


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "bad-ifc"),
        (b"   \n", "bad-ifc"),
        (b"\x00" * 5000, "bad-ifc"),
        (b"raycover: 1\n", "bad-ifc"),
        (b"PK\x03\x04" + b"x" * 100, "bad-ifc"),
        (b"ISO-10303-21;\nHEADER;\n", "cut-short"),
        (b"ISO-10303-21;\nHEADER;\nENDSEC;\nEND-ISO-10303-21;\n", "unknown-schema"),
        (b"ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('AP214'));\nENDSEC;\nEND-ISO-10303-21;\n", "unknown-schema"),
        (b"ISO-10303-21;\nHEADER;\nFILE_SCHEMA(('IFC4'));\nENDSEC;\nDATA;\nENDSEC;\nEND-ISO-10303-21;\n", "bad-ifc"),
        (EMPTY_MODEL, "no-project"),
    ],
)
def test_what_is_no_ifc_file(tmp_path: Path, content: bytes, code: str) -> None:
    path = tmp_path / "plan.ifc"
    path.write_bytes(content)
    assert "Traceback" not in refused(path, code)


def test_missing_and_unreadable(tmp_path: Path) -> None:
    assert "No such file" in refused(tmp_path / "no.ifc", "cannot-read")
    (tmp_path / "folder.ifc").mkdir()
    refused(tmp_path / "folder.ifc", "cannot-read")


def test_a_huge_file_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.ifc"
    with path.open("wb") as file:
        os.truncate(file.fileno(), 2 * 1024**3)  # sparse: takes no room
    assert "2.0 GB" in refused(path, "too-large")


def test_a_file_cut_short_anywhere(tmp_path: Path, sound: str) -> None:
    path = tmp_path / "cut.ifc"
    for share in (0.1, 0.5, 0.9, 0.99):
        path.write_text(sound[: int(share * len(sound))])
        refused(path, "cut-short")


CHILD = """
import sys
from pathlib import Path
import raycover
from raycover.errors import InputError
from raycover.importing.ifc import import_ifc
for name in sys.argv[1:]:
    try:
        raycover.load_text(import_ifc(Path(name)).text)
        print("sound", flush=True)
    except InputError as error:
        print("refused" if str(error).strip() else "silent", flush=True)
"""


def test_garbled_files_never_end_in_a_traceback(tmp_path: Path, sound: str) -> None:
    """Lines dropped, doubled, numbers and references changed: a scene that is sound, or a message.

    In a process of its own, for the geometry kernel may crash on such files; the command line catches that.
    """
    rng = random.Random(11)
    lines = sound.splitlines()
    first = lines.index("DATA;") + 1
    files = []
    for n in range(30):
        mangled = list(lines)
        for _ in range(rng.randint(1, 6)):
            k = rng.randrange(first, len(mangled) - 2)
            kind = rng.randrange(5)
            if kind == 0:
                mangled[k] = ""
            elif kind == 1:
                mangled[k] = re.sub(r"#\d+(?=[,)])", lambda _: f"#{rng.randrange(1, 300)}", mangled[k])
            elif kind == 2:
                mangled[k] = re.sub(r"-?\d+\.\d*", lambda _: rng.choice(["0.", "1e30", "-5.", ""]), mangled[k])
            elif kind == 3:
                mangled[k] = mangled[k].replace("IFCCARTESIANPOINT", "IFCDIRECTION")
            else:
                mangled[k] = mangled[k][: rng.randrange(len(mangled[k]) + 1)] + ");"
        files.append(tmp_path / f"{n}.ifc")
        files[-1].write_text("\n".join(mangled))
    outcomes: list[str] = []
    while len(outcomes) < len(files):
        left = [str(path) for path in files[len(outcomes) :]]
        command = [sys.executable, "-c", CHILD, *left]
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=LONGEST)
        outcomes += [word for word in done.stdout.split() if word in ("sound", "refused", "silent")]
        if done.returncode:
            assert done.returncode < 0, done.stderr  # by a signal, not by an exception
            outcomes.append("crash")
    assert "silent" not in outcomes
    assert outcomes.count("sound") > len(files) / 4  # small damage is often survived
    assert outcomes.count("crash") < len(files) / 10


def test_no_building_in_it(tmp_path: Path) -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    m.extruded("IfcFurnishingElement", "Chair", rectangle(0, 0, 1, 1), 0, 1)
    text = refused(m.write(tmp_path / "chairs.ifc"), "no-building")
    assert "1 IfcFurnishingElement" in text


def test_a_building_of_many_kilometres(tmp_path: Path) -> None:
    """A house drawn in millimetres whose file says metres."""
    m = IfcMaker("IFC4", "m")
    m.storey("Ground", 0)
    m.wall("Long", (0, 0), (40_000, 0), ("Brick", 300), height=2600)
    assert "40 km" in refused(m.write(tmp_path / "wide.ifc"), "too-wide")
    m = IfcMaker("IFC4", "m")
    m.storey("Ground", 0)
    m.wall("Tall", (0, 0), (9000, 0), ("Brick", 300), height=2600)
    assert '"Tall" is 2600 m high' in refused(m.write(tmp_path / "tall.ifc"), "too-wide")


def test_no_unit_of_length(tmp_path: Path) -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    m.project.UnitsInContext = None
    refused(m.write(tmp_path / "units.ifc"), "no-units")


def test_bodies_that_are_missing_are_left_out(tmp_path: Path) -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    walls = shell(m)
    walls[0].Representation = None
    m.space("No body", rectangle(1, 1, 2, 2), 2.5).Representation = None
    made = import_ifc(m.write(tmp_path / "x.ifc"))
    assert made.report.left_out["walls without a body"] == ["South"]
    assert made.report.left_out["spaces without a body"] == ["No body"]
    assert made.report.mapped["walls"] == 3


def test_strange_names(tmp_path: Path) -> None:
    m = IfcMaker()
    m.storey('A/B: "1"', 0)
    names = ["", "a\\b/c:d", "x" * 300, " . ", "Zoë – ä漢\U0001f600", "# no comment\n- {x: 1}", "a\\b/c:d"]
    for k, name in enumerate(names):
        wall = m.wall("w", (0, k), (4, k), ("Brick", 0.1))
        wall.Name = name
    scene = raycover.load_text(import_ifc(m.write(tmp_path / "x.ifc")).text)
    assert len({p.name for p in scene.partitions}) == len(names)
    assert all(len(p.name) <= 80 for p in scene.partitions)


def test_without_the_extra(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ifcopenshell", None)
    with pytest.raises(MissingPart, match=r"pip install 'raycover\[ifc\]'") as caught:
        import_ifc(tmp_path / "x.ifc")
    assert caught.value.exit_code == 3

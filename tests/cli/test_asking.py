"""`raycover models new` by questions: each answer checked, back, a summary, and nothing left behind."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from processes import ended

from raycover.catalogue import packaged_folder
from raycover.cli.asking import Dialog, Stopped
from raycover.cli.entering import enter
from raycover.exchange import data_sheet
from raycover.exchange.detector_file import read_entry
from raycover.scene.devices import DetectorModel

LINE = "tangential 2.5 circle 7"


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Questions answered from a list, in an empty folder; returns all that was said."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("RAYCOVER_MODELS", raising=False)

    def talk(*answers: str, **given: str) -> str:
        said: list[str] = []
        rest: Iterator[str] = iter(answers)

        def read(prompt: str) -> str:
            try:
                return next(rest)
            except StopIteration:
                raise Stopped from None

        dialog = Dialog(read, said.append)
        enter(dict(given), [], Path("models"), drawing=False, force=False, as_json=False, dialog=dialog)
        assert list(rest) == []
        return "\n".join(said)

    return talk


def written(folder: Path, name: str = "corner") -> DetectorModel:
    path = folder / "models" / "detectors" / f"{name}.yaml"
    return read_entry(path.read_text(encoding="utf-8"), str(path))


def test_the_shortest_way_through(ask: Callable[..., str], tmp_path: Path) -> None:
    ask("corner", "", "i", "sheet 4", LINE, "", "", "", "", "", "")
    model = written(tmp_path)
    assert (model.title, model.kind, model.source) == ("Corner", "infrared", "sheet 4")
    assert model == entry_like(model, LINE)


def entry_like(model: DetectorModel, *lines: str) -> DetectorModel:
    """The same entry with these footprints, each with the entry's source."""
    declared = [{**data_sheet.declared(line), "source": model.source} for line in lines]
    return DetectorModel.model_validate({**model.model_dump(by_alias=True, exclude_none=True), "declared": declared})


def test_every_answer_is_checked_and_asked_again(ask: Callable[..., str], tmp_path: Path) -> None:
    said = ask(
        "a/b",
        "wall-infrared",
        "corner",
        "?",
        "Corner unit",
        "",
        "ultrasonic",
        "m",
        "5,8",
        "5.8 GHz",
        "",
        "sheet 4",
        "",
        "walking",
        "tangential 2,5 circle 7",
        "radial",
        "2500",
        "2500 mm",
        "3",
        "",
        "star",
        "circle",
        "seven",
        "7 m",
        "radial 2.5 circle 8",
        "presence",
        "",
        "0.75",
        "",
        "radius 1.5",
        "",
        "4 to 2",
        "2.2 to 4 m",
        "25",
        "25 %",
        "",
        "30%",
        "",
        "",
    )
    model = written(tmp_path)
    assert model == entry_like(model, "radial 2.5 circle 7", "presence 2.5 on 0.75 circle 3")
    assert (model.frequency_ghz, model.reach_behind, model.largest_mask_share) == (5.8, 0.3, 0.25)
    assert model.mounting is not None
    assert (model.mounting.from_m, model.mounting.to_m) == (2.2, 4)
    assert model.bus_current_ma is None
    for words in (
        "cannot hold",
        "already in",
        "One line, up to 120",
        "unknown kind",
        "write 5.8 with a point",
        "this one is needed",
        "at least one is needed",
        "unknown motion",
        "2500 mm if these are millimetres",
        "3 m is not below the unit",
        "unknown shape",
        "is expected here",
        "already declared from 2.5 m",
        "ends below its start",
        "25 % or 0.25",
        "walking toward the unit",
        "7 m across (diameter)",
        "3 m across (diameter)",
    ):
        assert words in said


def test_going_back(ask: Callable[..., str], tmp_path: Path) -> None:
    ask(
        "crner",
        "back",
        "corner",
        "Titel",
        "back",
        "Title",
        "i",
        "sheet 4",
        "back",
        "sheet 5",  # back to the source, before any footprint
        "radial",
        "3",
        "back",
        "2.5",
        "",
        "circle",
        "back",
        "circle",
        "7",
        "tangential 2.5 circle 9",
        "back",
        "tangential 2.5 circle 8",
        "",
        "2 to 3",
        "back",
        "2 to 4",
        "",
        "",
        "",
        "",
    )
    model = written(tmp_path)
    assert (model.title, model.source) == ("Title", "sheet 5")
    assert model == entry_like(model, "radial 2.5 circle 7", "tangential 2.5 circle 8")
    assert model.mounting is not None
    assert model.mounting.to_m == 4


def test_the_summary_can_be_changed(ask: Callable[..., str], tmp_path: Path) -> None:
    said = ask(
        "corner",
        "",
        "i",
        "sheet 4",
        LINE,
        "radial 2.5 circle 8",
        "",
        "",
        "",
        "",
        "",
        "8",  # the mask share
        "25 %",
        "6",  # the second footprint, larger than the first: noted
        "radial 2.5 circle 5",
        "",
        "add",
        "presence 2.5 on 0.75 circle 3",
        "",
        "3",  # infrared to microwave: a frequency is needed, the reach behind may be
        "m",
        "24.125",
        "",
        "99",
        "stop here",
        "",
    )
    model = written(tmp_path)
    assert model == entry_like(model, LINE, "radial 2.5 circle 5", "presence 2.5 on 0.75 circle 3")
    assert (model.kind, model.frequency_ghz, model.largest_mask_share) == ("microwave", 24.125, 0.25)
    assert "are the two swapped" in said
    assert "write a number from 1 to" in said


def test_options_are_not_asked_again(ask: Callable[..., str], tmp_path: Path) -> None:
    said = ask("i", LINE, "", "", "", "", "", "", name="corner", title="T", source="sheet 4")
    assert written(tmp_path).title == "T"
    assert "Where do the figures" not in said


@pytest.mark.parametrize("end", [["stop"], []])
def test_stopping_leaves_nothing_behind(ask: Callable[..., str], tmp_path: Path, end: list[str]) -> None:
    import typer

    with pytest.raises(typer.Exit) as caught:
        ask("corner", "", "i", "sheet 4", LINE, "", "", "", "", "", *end)
    assert caught.value.exit_code == 130  # 128 + SIGINT, common practice of shells
    assert list(tmp_path.iterdir()) == []


def test_on_a_real_terminal_ctrl_c_leaves_nothing(tmp_path: Path) -> None:
    """A pseudo-terminal: questions come, and ^C at the second one ends the program without a trace."""
    code = "from raycover.cli.main import main; main(['models', 'new'])"
    master, slave = pty.openpty()
    environment = {**os.environ, "PYTHONPATH": str(packaged_folder().parent), "TERM": "dumb"}
    process = subprocess.Popen(
        [sys.executable, "-c", code],
        stdin=slave,
        stdout=slave,
        stderr=slave,
        cwd=tmp_path,
        env=environment,
        start_new_session=True,
        preexec_fn=_own_terminal,
    )
    os.close(slave)
    try:
        said = _until(master, "Name that scenes use")
        os.write(master, b"corner\n")
        said += _until(master, "Title for")
        os.write(master, b"\x03")
        said += _until(master, "nothing was written")
        assert process.wait(30) == 130
    finally:
        ended(process)
        os.close(master)
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def _own_terminal() -> None:
    import fcntl
    import signal
    import termios

    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    # Tests started in the background of a script inherit an ignored ^C, which Python would keep.
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _until(master: int, words: str) -> str:
    """What the program says up to some words; fails where a minute passes in silence."""
    said = ""
    while words not in said:
        if not select.select([master], [], [], 60)[0]:
            pytest.fail(f"the program never said {words!r}: {said}")
        try:
            said += os.read(master, 4096).decode(errors="replace")
        except OSError:
            pytest.fail(f"the program ended before saying {words!r}: {said}")
    return said

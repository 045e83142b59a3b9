"""Sweeps end to end: rows against scenes changed by hand, what is kept, what dies, what a cluster says."""

from __future__ import annotations

import csv
import errno
import json
import os
import signal
from collections.abc import Callable, Generator
from pathlib import Path
from typing import Any

import pytest

import raycover
from raycover.cli.main import main
from raycover.errors import Interrupted
from raycover.exchange.kept_rows import KeptRows
from raycover.proving.needs import prove
from raycover.scene.schema import Scene
from raycover.sweeping import designs, local, rows
from raycover.sweeping.local import CRASHED, on_processes
from raycover.sweeping.planned import Plan, plan
from raycover.sweeping.rows import Figures, Job, figures_of, key_of
from raycover.sweeping.sources import Source
from raycover.sweeping.values import parse

SCENE = """\
raycover: 1
title: Store
grid: 0.5
rooms: [{name: Store, outline: [[0, 0], [8, 0], [8, 6], [0, 6]], height: 4, walls: brick-100}]
racking: [{name: R1, at: [2, 3], bays: 1, levels: 1}]   # beside the door
desks: [{name: Row, at: [5, 1], count: 2}]
detectors: [{name: D1, model: own-unit, at: [4, 2], mounting: 3}]
planes: [{name: floor, height: 0}]
needs: [{name: all of it, rooms: [Store], plane: floor, share: 0.9}]
"""
UNIT = """\
raycover_detector: 1
name: own-unit
title: A unit of the tests
kind: infrared
source: made up for the tests
declared:
  - {mounting: 3, plane: 0, motion: tangential, shape: {circle: {diameter: 9}}}
  - {mounting: 3, plane: 0.75, motion: presence, shape: {circle: {diameter: 5}}}
"""
SETTINGS = ("detectors/D1/mounting=2.5,3", "racking/R1/fill=0,1")
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(autouse=True)
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("models/detectors").mkdir(parents=True)
    Path("models/detectors/own-unit.yaml").write_text(UNIT)
    Path("store.yaml").write_text(SCENE)
    return tmp_path


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def command(*words: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main(["sweep", *words])
        out, err = capsys.readouterr()
        return int(left.value.code or 0), out, err

    return command


def options(*settings: str, **more: str) -> list[str]:
    words = [word for text in settings for word in ("--set", text)]
    more = {"processes": "1", **more}
    return [*words, *(word for name, value in more.items() for word in (f"--{name}", value)), "-o", "out"]


def planned(*settings: str, needs: bool = False) -> Plan:
    factors = [parse(text, spans=False) for text in settings]
    return plan([Path("store.yaml")], factors, designs.every(factors), needs=needs)


def table() -> list[dict[str, str]]:
    return list(csv.DictReader(Path("out/sweep.csv").read_text().splitlines()))


def by_hand(mounting: str, fill: str) -> Scene:
    text = SCENE.replace("mounting: 3", f"mounting: {mounting}").replace("levels: 1", f"levels: 1, fill: {fill}")
    return raycover.load_text(text, folder=Path.cwd())


def test_rows_are_those_of_scenes_changed_by_hand(run: Run) -> None:
    code, out, err = run("store.yaml", "--needs", *options(*SETTINGS))
    assert code == 0, err
    found = table()
    assert [(r["detectors/D1/mounting"], r["racking/R1/fill"]) for r in found] == [
        ("2.5", "0"), ("2.5", "1"), ("3", "0"), ("3", "1"),
    ]  # fmt: skip
    for row in found:
        scene = by_hand(row["detectors/D1/mounting"], row["racking/R1/fill"])
        coverage = raycover.solve(scene)
        assert row["floor share"] == f"{coverage.share('floor'):.5f}"
        assert row["floor assured_share"] == f"{coverage['floor'].assured_share:.5f}"
        assert row["floor largest_gap_m2"] == f"{coverage['floor'].gaps[0].area_m2:.3f}"
        assert row["seats_unnoticed"] == str(sum(not seat.noticed for seat in coverage.seats))
        proof = prove(scene)
        assert (row["needs_met"], row["needs"]) == (str(int(proof.met)), "1")
    assert len({row["floor share"] for row in found}) > 1
    figures = json.loads(Path("out/sweep.json").read_text())
    assert [row["values"]["racking/R1/fill"] for row in figures["rows"]] == [0, 1, 0, 1]
    assert "seconds" not in json.dumps(figures)
    assert "of 1" in out


def test_a_second_run_solves_only_what_is_missing(run: Run) -> None:
    assert run("store.yaml", *options(*SETTINGS))[0] == 0
    first = Path("out/sweep.csv").read_bytes()
    files = sorted(Path("out/rows").iterdir())
    assert len(files) == 4
    files[0].write_text(files[0].read_text()[:-40])  # cut short
    said = json.loads(files[1].read_text())
    said["figures"]["planes"]["floor"]["share"] = 1.0  # changed
    files[1].write_text(json.dumps(said))
    files[2].unlink()
    (Path("out/rows") / ".raycover-half").write_text("{")
    before = files[3].stat().st_mtime_ns
    _, _, err = run("store.yaml", *options(*SETTINGS))
    assert "1 of 4 rows are there from before, 3 to solve" in err
    assert files[3].stat().st_mtime_ns == before
    assert Path("out/sweep.csv").read_bytes() == first
    assert "4 of 4 rows are there from before, 0 to solve" in run("store.yaml", *options(*SETTINGS))[2]


def test_comments_change_no_row_values_and_catalogue_do() -> None:
    def keys() -> list[str]:
        made = planned(*SETTINGS)
        return [key_of(made.sources[0], job) for job in made.jobs]

    first = keys()
    assert len(set(first)) == 4
    Path("store.yaml").write_text(SCENE.replace("# beside the door", "# elsewhere"))
    assert keys() == first
    Path("store.yaml").write_text(SCENE.replace("height: 4", "height: 3.9"))
    assert not set(keys()) & set(first)
    Path("store.yaml").write_text(SCENE)
    Path("models/detectors/own-unit.yaml").write_text(UNIT.replace("diameter: 9", "diameter: 8"))
    assert not set(keys()) & set(first)


def interrupting(after: int) -> Callable[..., Generator[local.Outcome, None, None]]:
    def outcomes(sources: Any, jobs: Any, n: int) -> Generator[local.Outcome, None, None]:
        for k, job in enumerate(jobs):
            if k == after:
                raise KeyboardInterrupt
            yield job, figures_of(sources[job.scene], job)

    return outcomes


def test_an_interrupted_sweep_keeps_what_was_finished(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patched:
        patched.setattr("raycover.cli.sweeping_values.on_processes", interrupting(2))
        code, _, err = run("store.yaml", *options(*SETTINGS))
    assert code == Interrupted.exit_code == 130
    assert "2 of 4 rows are kept" in err
    assert "goes on from there" in err
    assert not Path("out/sweep.csv").exists()
    assert "2 of 4 rows are there from before, 2 to solve" in run("store.yaml", *options(*SETTINGS))[2]


def test_a_full_disk_loses_nothing_that_was_finished(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    keep, done = KeptRows.keep, []

    def full(self: KeptRows, key: str, figures: Figures) -> None:
        if done:
            monkeypatch.setattr("os.replace", no_space)
        done.append(key)
        keep(self, key, figures)

    def no_space(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(KeptRows, "keep", full)
        code, _, err = run("store.yaml", *options(*SETTINGS))
        monkeypatch.setattr("os.replace", os.rename)
    assert code == 2
    assert "No space left on device" in err
    assert "Traceback" not in err
    assert [p.name for p in Path("out/rows").iterdir()] == [KeptRows(Path()).path(done[0]).name]


def dying(job: Job) -> Figures | str:
    """As the worker's own, but that row 1 kills its process."""
    if job.row == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return local.attempt(local._SOURCES[job.scene], job)


def test_a_row_that_kills_its_process_is_tried_twice_and_told(monkeypatch: pytest.MonkeyPatch) -> None:
    made = planned(*SETTINGS)
    monkeypatch.setattr(local, "_work", dying)
    found = {job.row: figures for job, figures in on_processes(made.sources, made.jobs, 2)}
    assert found[1] == CRASHED
    for row in (0, 2, 3):
        assert found[row] == figures_of(made.sources[0], made.jobs[row])


@pytest.fixture
def own_environment() -> Generator[None, None, None]:
    """Nannies of a cluster set variables that whatever runs later in this process would be told too."""
    before = dict(os.environ)
    yield
    os.environ.clear()
    os.environ.update(before)


@pytest.mark.usefixtures("own_environment")
def test_a_cluster_gives_the_same_rows() -> None:
    distributed = pytest.importorskip("distributed")
    from raycover.sweeping.cluster import on_cluster

    made = planned(*SETTINGS, needs=True)
    expected = {job.row: figures_of(made.sources[0], job) for job in made.jobs}
    Path("models/detectors/own-unit.yaml").unlink()  # workers go by what was sent
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        found = {job.row: figures for job, figures in on_cluster(made.sources, made.jobs, cluster.scheduler_address)}
    assert found == expected


@pytest.mark.usefixtures("own_environment")
def test_a_worker_of_a_cluster_that_dies_takes_no_row_with_it() -> None:
    distributed = pytest.importorskip("distributed")
    from raycover.sweeping.cluster import on_cluster

    made = planned("detectors/D1/mounting=2.5:3:0.1")
    found: dict[int, Figures | str] = {}
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
    ) as cluster:
        for job, figures in on_cluster(made.sources, made.jobs, cluster.scheduler_address):
            if not found:
                os.kill(next(iter(cluster.workers.values())).pid, signal.SIGKILL)
            found[job.row] = figures
    assert found == {job.row: figures_of(made.sources[0], job) for job in made.jobs}


@pytest.mark.usefixtures("own_environment")
def test_a_cluster_whose_workers_all_vanish_is_not_waited_for_for_ever(
    run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    distributed = pytest.importorskip("distributed")
    from raycover.sweeping import cluster

    monkeypatch.setattr(cluster, "PATIENCE_S", 1.0)
    monkeypatch.setattr(cluster, "_COUNT_S", 0.1)
    keep, workers = KeptRows.keep, []

    def last(self: KeptRows, key: str, figures: Figures) -> None:
        keep(self, key, figures)
        if workers:
            workers.pop().scale(0)

    monkeypatch.setattr(KeptRows, "keep", last)
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as made:
        workers.append(made)
        code, _, err = run("store.yaml", *options("detectors/D1/mounting=2.5:3:0.01", cluster=made.scheduler_address))
    assert code == 2
    assert "--cluster: error: all workers of the scheduler at tcp://127.0.0.1:" in err
    kept = len(list(Path("out/rows").glob("*.json")))
    assert 1 <= kept < 51
    assert f"have been gone for 1 s: {kept} of 51 rows are kept in out/rows" in err
    assert "goes on from there" in err
    assert not Path("out/sweep.csv").exists()


@pytest.mark.usefixtures("own_environment")
def test_a_cluster_goes_on_when_others_come_for_all_workers_that_vanished() -> None:
    distributed = pytest.importorskip("distributed")
    from raycover.sweeping.cluster import on_cluster

    made = planned("detectors/D1/mounting=2.5:3:0.1")
    found: dict[int, Figures | str] = {}
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        for job, figures in on_cluster(made.sources, made.jobs, cluster.scheduler_address):
            if not found:
                cluster.scale(0)
                cluster.sync(cluster._correct_state)
                cluster.scale(1)
            found[job.row] = figures
    assert found == {job.row: figures_of(made.sources[0], job) for job in made.jobs}


def test_a_cluster_that_is_not_there_is_said(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr("raycover.sweeping.cluster.TIMEOUT_S", 0.3)
    code, _, err = run("store.yaml", *options(*SETTINGS, cluster="tcp://127.0.0.1:9"))
    assert code == 2
    assert "no scheduler answers at tcp://127.0.0.1:9" in err


def test_without_distributed_a_cluster_says_what_to_install(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    code, _, err = run("store.yaml", *options(*SETTINGS, cluster="tcp://127.0.0.1:9"))
    assert code == 3
    assert "raycover[cluster]" in err


def test_several_scenes_in_one_table_and_a_row_drawn(run: Run) -> None:
    Path("other.yaml").write_text(SCENE.replace("at: [4, 2]", "at: [1, 1]"))
    code, _, err = run("store.yaml", "other.yaml", *options("state=as drawn", rows="2"))
    assert code == 0, err
    assert [row["scene"] for row in table()] == ["store.yaml", "other.yaml"]
    assert table()[0]["floor share"] > table()[1]["floor share"]
    assert Path("out/row 2.png").stat().st_size > 10_000


def test_what_two_values_together_have_wrong_is_told_in_their_row(run: Run) -> None:
    code, _, err = run("store.yaml", *options("rooms/Store/height=3.5,5", "detectors/D1/mounting=3,4.5"))
    assert code == 0
    assert [bool(row["problem"]) for row in table()] == [False, True, False, False]
    assert "row 2 cannot stand (rooms/Store/height=3.5, detectors/D1/mounting=4.5)" in err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("store.yaml", "--set", "detectors/D1/model=own-unit,own-unti"), "with --set detectors/D1/model=own-unti"),
        (("store.yaml", "--set", "detectors/D1/model=own-unit,own-unti"), 'did you mean "own-unit"?'),
        (("store.yaml", "--set", "detectors/D1/mounting=3,9"), "with --set detectors/D1/mounting=9"),
        (("store.yaml", "--set", "conditions/ambient_c=20,warm"), "with --set conditions/ambient_c=warm"),
        (("store.yaml", "--set", "detectors/D1/mounting=0.5:3:0.02", "--set", "grid=0.1:0.9:0.01"),
         "are more than 5000"),
        (("store.yaml", "--set", "grid=0.5", "--rows", "2"), "write numbers from 1 to 1"),
        (("store.yaml", "--set", "grid=0.5", "--mounting", "3"), "--mounting: error: goes without --set"),
        (("store.yaml", "--latin", "4"), "--latin: error: goes with --set"),
        (("store.yaml", "--set", "grid=0.5", "--set", "grid=0.6"), "grid is set twice"),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_said_and_nothing_written(run: Run, words: tuple[str, ...], told: str) -> None:
    code, out, err = run(*words, "-o", "out")
    assert (code, out) == (2, "")
    assert told in err
    assert "Traceback" not in err
    assert not Path("out").exists()


def test_a_worker_of_another_version_refuses() -> None:
    made = planned(*SETTINGS)
    source: Source = made.sources[0]
    with pytest.raises(rows.OtherVersion):
        figures_of(source, Job(0, 0, (), stamp="raycover of old"))


def test_mesh_files_go_along_from_wherever_they_lie(place: Path) -> None:
    """A file outside the scene's folder, and a glTF with its buffers: solved from what was sent as beside the files."""
    trimesh = pytest.importorskip("trimesh")
    (place / "shared").mkdir()
    (place / "job" / "lib").mkdir(parents=True)
    trimesh.creation.box((2, 2, 2)).export(place / "shared/box.glb")
    for name, content in trimesh.exchange.gltf.export_gltf(trimesh.Scene(trimesh.creation.box((1, 1, 1)))).items():
        (place / "job/lib" / name.replace("model", "small")).write_bytes(content)
    mesh = "meshes: [{name: M, file: FILE, at: [5, 4], base: 1, material: metal, axis: z-up}]\n"
    text = "allow_folders: [../shared]\n" + SCENE.replace("own-unit", "ceiling-infrared-general") + mesh
    files = ("../shared/box.glb", "lib/small.gltf")
    path = place / "job/store.yaml"
    path.write_text(text.replace("FILE", files[0]))
    factors = [parse(f"meshes/M/file={','.join(files)}", spans=False)]
    made = plan([path], factors, designs.every(factors), needs=False)
    expected = [raycover.solve(raycover.load_text(text.replace("FILE", f), folder=path.parent)) for f in files]
    for found in (place / "shared/box.glb", *(place / "job/lib").iterdir()):
        found.unlink()
    for job, coverage in zip(made.jobs, expected, strict=True):
        assert figures_of(made.sources[0], job).planes["floor"].share == coverage.share("floor")
    assert expected[0].share("floor") != expected[1].share("floor")


def test_entries_go_along_from_folders_that_the_scene_names(place: Path) -> None:
    """A scene beside no `models/` names one elsewhere: solved from what was sent, as beside it."""
    (place / "job").mkdir()
    path = place / "job/store.yaml"
    path.write_text("model_folders: [../models]\nallow_folders: [..]\n" + SCENE)
    factors = [parse("detectors/D1/mounting=2.5", spans=False)]
    made = plan([path], factors, designs.every(factors), needs=False)
    expected = raycover.solve(
        raycover.load_text(path.read_text().replace("mounting: 3}", "mounting: 2.5}"), folder=path.parent)
    )
    Path("models/detectors/own-unit.yaml").unlink()
    (job,) = made.jobs
    assert figures_of(made.sources[0], job).planes["floor"].share == expected.share("floor")

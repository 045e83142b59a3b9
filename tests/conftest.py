"""What tests share: small scenes from text, and each example solved once."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import hypothesis
import pytest

import raycover
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.solving.coverage import Coverage, solve
from raycover.trips import Trips, find_trips

hypothesis.settings.register_profile("raycover", deadline=None, derandomize=True)
hypothesis.settings.load_profile("raycover")

# What tests change in the physics must not be answered by what was kept before, nor kept.
os.environ["RAYCOVER_CACHE"] = "off"

# A gate started in the background inherits an ignored ^C: here it comes through, as it does in a terminal.
signal.signal(signal.SIGINT, signal.default_int_handler)

EXAMPLES = Path(__file__).parents[1] / "examples"


@dataclass(frozen=True)
class Solved:
    """A scene with everything made of it."""

    path: Path
    scene: Scene
    building: Building
    rays: RayScene
    coverage: Coverage


@lru_cache
def _solved(name: str) -> Solved:
    path = EXAMPLES / name / "scene.yaml"
    scene = raycover.load(path)
    building = build(scene)
    rays = RayScene(building)
    return Solved(path, scene, building, rays, solve(scene, building=building, rays=rays))


EVERY = [
    "depot", "office", "washroom", "stairwell", "narrow-aisles", "sports-hall", "corridor", "imported-house",
    "workshop", "classroom",
]  # fmt: skip


@pytest.fixture(params=EVERY)
def example(request: pytest.FixtureRequest) -> Solved:
    """Every example in turn, solved once for all tests."""
    return _solved(request.param)


@pytest.fixture
def depot() -> Solved:
    return _solved("depot")


@pytest.fixture
def office() -> Solved:
    return _solved("office")


@pytest.fixture
def washroom() -> Solved:
    return _solved("washroom")


@pytest.fixture
def narrow_aisles() -> Solved:
    return _solved("narrow-aisles")


@pytest.fixture
def sports_hall() -> Solved:
    return _solved("sports-hall")


@pytest.fixture
def corridor() -> Solved:
    return _solved("corridor")


@pytest.fixture
def imported_house() -> Solved:
    return _solved("imported-house")


@pytest.fixture
def classroom() -> Solved:
    return _solved("classroom")


@pytest.fixture
def workshop() -> Solved:
    return _solved("workshop")


@lru_cache
def _workshop_trips() -> Trips:
    made = _solved("workshop")
    return find_trips(made.scene, building=made.building, rays=made.rays)


@pytest.fixture
def workshop_trips() -> Trips:
    """What may trip falsely in the workshop, found once for all tests."""
    return _workshop_trips()


@pytest.fixture
def stairwell() -> Solved:
    return _solved("stairwell")


@pytest.fixture
def command_line(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Runs a command line as typed: (exit code, stdout, stderr)."""
    from raycover.cli.main import main

    def run(*words: str) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as left:
            main(list(words))
        out, err = capsys.readouterr()
        return int(left.value.code or 0), out, err

    return run


@pytest.fixture
def run(
    command_line: Callable[..., tuple[int, str, str]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    request: pytest.FixtureRequest,
) -> Callable[..., tuple[int, str, str]]:  # fmt: skip
    """As `command_line`, in a folder that holds the test module's SCENE as `scene.yaml`."""
    monkeypatch.chdir(tmp_path)
    Path("scene.yaml").write_text(request.module.SCENE)
    return command_line

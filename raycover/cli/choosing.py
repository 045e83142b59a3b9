"""Which of a scene's states a command is about, and how a wrong option is told."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from raycover.errors import did_you_mean, option_error
from raycover.loading import in_state, load
from raycover.scene.schema import Scene


def chosen_states(scene: Scene, states: Sequence[str], *, all_states: bool) -> list[str]:
    """Names of the states asked for, each once, in the scene's order; the one drawn if none is asked for."""
    for name in states:
        if name not in scene.state_names:
            raise option_error("--state", f'no state is named "{name}"', did_you_mean(name, scene.state_names))
    if all_states:
        return list(scene.state_names)
    return [name for name in scene.state_names if name in states] or [scene.state_name]


def loaded(path: Path, state: str | None) -> Scene:
    """A scene file in one of its states, the one drawn if none is named."""
    scene = load(path)
    return in_state(scene, chosen_states(scene, [] if state is None else [state], all_states=False)[0])

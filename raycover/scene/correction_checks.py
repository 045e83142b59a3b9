"""Checks of corrections: what they name is there, and has something to correct. A note where any are in force."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from raycover.errors import Problem, did_you_mean
from raycover.scene.schema import Scene

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue


def check_corrections(scene: Scene, catalogue: Catalogue) -> Iterator[Problem]:
    """Every problem of a scene's corrections."""
    spec = scene.corrections
    if spec is None:
        return
    used = {detector.model or detector.name for detector in scene.detectors}
    for name in spec.reach_db:
        here = scene.position("corrections", "reach_db", name, key=True)
        if name not in used | set(catalogue.detectors):
            known = sorted(used) or sorted(catalogue.detectors)
            yield Problem("unknown-model", f'no detector of the scene is a "{name}"', here, did_you_mean(name, known))
        elif name not in used:
            yield Problem(
                "correction-unused", f'no detector of the scene is a "{name}": its correction does nothing', here,
                "take it out", severity="warning",
            )  # fmt: skip
    made = {one.name: one for one in scene.constructions_used()}
    for name in spec.loss_db:
        here = scene.position("corrections", "loss_db", name, key=True)
        known_as = made.get(name, catalogue.constructions.get(name))
        if known_as is None:
            yield Problem("unknown-construction", f'nothing in the scene is made of "{name}"', here,
                          did_you_mean(name, sorted(made)))  # fmt: skip
        elif known_as.kind in ("opaque", "open"):
            what = "stops everything" if known_as.kind == "opaque" else "stops nothing"
            yield Problem("nothing-to-correct", f'"{name}" {what}: it has no loss to correct', here, "take it out")
        elif name not in made:
            yield Problem("correction-unused", f'nothing in the scene is made of "{name}": its correction does nothing',
                          here, "take it out", severity="warning")  # fmt: skip
    if spec.in_force:
        yield Problem(
            "corrections", f"corrections are in force: {spec.words()}", scene.position("corrections", key=True),
            "take corrections out to see the scene as its data sheets and layers say", severity="note",
        )  # fmt: skip

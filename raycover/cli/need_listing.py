"""`raycover models --needs`: the ready-made sets of needs, with reasons."""

from __future__ import annotations

from pathlib import Path

from raycover.catalogue import load_need_sets
from raycover.cli.listing import own_folder
from raycover.cli.printing import data, talk
from raycover.cli.tables import table
from raycover.exchange.summary import stamp
from raycover.proving.proof_words import asked_words
from raycover.scene.needs import NeedSpec


def list_sets(scene_folder: Path | None, *, as_json: bool) -> None:
    """Print every set with its needs, what they ask, why, and by whose word. Raises InputError."""
    sets = load_need_sets(own_folder(scene_folder))
    if as_json:
        data({**stamp(), "sets": {name: spec.model_dump(mode="json") for name, spec in sets.items()}})
        return
    rows = []
    for name, spec in sets.items():
        for k, (need, made) in enumerate(zip(spec.needs, spec.needs_at(name, NeedSpec(set=name)), strict=True)):
            rows.append(
                [
                    name if not k else "",
                    need.name,
                    need.places.replace("_", " "),
                    asked_words(made),
                    f"{need.why} ({need.source})",
                ]
            )
    table(["set", "need", "of", "asked", "why, and by whose word"], rows)
    talk("In a scene: needs: [{set: open office, rooms: [Office]}]; without rooms, all of them.")

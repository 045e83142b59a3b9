"""A room with a plasterboard screen and one unit: dual, or one of its halves by itself."""

from __future__ import annotations

from typing import Any

from small_scenes import scene

from raycover.scene.schema import Scene

SQUARE = {"rectangle": {"length": 4, "width": 4}}
ROUND = {"circle": {"diameter": 12}}
MOTIONS = ("tangential", "radial", "presence")


def declared(shape: dict[str, Any], motions: tuple[str, ...] = MOTIONS) -> list[dict[str, Any]]:
    return [{"mounting": 2.5, "motion": motion, "shape": shape} for motion in motions]


def halves(infrared: tuple[str, ...] = MOTIONS, microwave: tuple[str, ...] = MOTIONS) -> dict[str, Any]:
    return {
        "infrared": {"declared": declared(SQUARE, infrared)},
        "microwave": {"frequency_ghz": 5.8, "declared": declared(ROUND, microwave), "reach_behind": 0.3},
    }


def room(kind: str = "dual", *, detector: dict[str, Any] | None = None, **parts: Any) -> Scene:
    """8 × 6 m, the unit 2.5 m up at (3.5, 3), a full screen of plasterboard at x = 5.

    `kind`: dual, or infrared or microwave for that half as a unit of its own; `combine`, `trigger` and the like go
    into the detector, other parts into the scene.
    """
    made = halves()
    own = {"kind": "dual", "combine": "or", **made} if kind == "dual" else {"kind": kind, **made[kind]}
    given = {"name": "D1", "at": [3.5, 3], "mounting": 2.5, "pattern": own, **(detector or {})}
    known = {
        "rooms": [{"name": "R", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "height": 2.8, "walls": "brick-100"}],
        "partitions": [
            {"name": "Screen", "line": [[5, 0], [5, 6]], "base": 0, "height": 2.8, "construction": "plasterboard-12.5"}
        ],
        "planes": [
            {"name": "floor", "height": 0},
            {"name": "sit", "height": 0.75, "motion": "presence"},
            {"name": "people", "target": "person", "heights": [0.3, 1.0, 1.6]},
        ],
        "grid": 0.25,
    }
    return scene(detectors=[given], **{**known, **parts})

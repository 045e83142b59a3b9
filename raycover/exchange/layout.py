"""A proposed layout as JSON."""

from __future__ import annotations

from collections import Counter
from typing import Any

from raycover.exchange.proof import proof_json
from raycover.exchange.summary import finite, stamp
from raycover.placing.layout import Layout


def layout_json(layout: Layout) -> dict[str, Any]:
    """What is proposed, how near to the best it is, and the needs judged with it."""
    return {
        **stamp(),
        "title": layout.scene.title,
        "met": layout.met,
        "detectors": [d.model_dump(exclude_defaults=True, by_alias=True, mode="json") for d in layout.detectors],
        "new": list(layout.new),
        "models": dict(Counter(d.model for d in layout.detectors if d.name in layout.new)),
        "cost": layout.cost,
        "cost_is": "units" if layout.per_unit else "prices",
        "bound": finite(layout.bound),
        "bound_of_all_cells": layout.bound_of_all,
        "optimal": layout.optimal,
        "out_of_time": layout.out_of_time,
        "candidates": layout.n_candidates,
        "candidates_forbidden": layout.n_banned,
        "candidates_quieter": layout.n_quieter,
        "cells_looked_at": layout.n_cells,
        "rounds": layout.rounds,
        "notes": list(layout.notes),
        "lacking": [problem.message for problem in layout.lacking],
        "interrupted": layout.interrupted,
        "undone": list(layout.undone),
        "needs": proof_json(layout.proof)["needs"],
    }

"""The depot example enlarged: as many copies beside each other as give the detectors asked for."""

from __future__ import annotations

import copy
from pathlib import Path
from typing import Any

import yaml

DEPOT = Path(__file__).parents[2] / "examples" / "depot" / "scene.yaml"


def enlarged_depot(n_copies: int, *, columns: int = 4, planes: int = 2) -> str:
    """YAML of `n_copies` depots on a grid of plots, with the first `planes` planes."""
    scene = yaml.safe_load(DEPOT.read_text())
    whole: dict[str, Any] = {k: v for k, v in scene.items() if not isinstance(v, list)}
    whole["planes"] = scene["planes"][:planes]
    for index in range(n_copies):
        dx, dy = 52.0 * (index % columns), 32.0 * (index // columns)
        for kind in ("rooms", "racking", "desks", "solids", "detectors"):
            for item in copy.deepcopy(scene[kind]):
                item["name"] = f"{item['name']} of {index + 1}"
                for key in ("at", "centre"):
                    if key in item:
                        item[key] = [item[key][0] + dx, item[key][1] + dy]
                if "outline" in item:
                    item["outline"] = [[x + dx, y + dy] for x, y in item["outline"]]
                whole.setdefault(kind, []).append(item)
    return yaml.safe_dump(whole, default_flow_style=None, sort_keys=False)

"""An invented distribution centre of any size, a hall of modules of 100 m by 100 m, the same every time.

Each module: eight double rows of pallet racking between two single ones, in two blocks with cross aisles; a strip with
packing benches and stacks of goods; a strip along the docks. Dock doors stand in the south wall, columns on a grid.
Ten modules are 100,000 m².
"""

from __future__ import annotations

import json
from typing import Any

#: Side of a module (m), and its area (m²).
SIDE = 100.0
AREA = SIDE * SIDE
#: A row of 16 bays is this long (m), with its last upright.
_ROW = 16 * 2.8 + 0.1
#: From one double row to the next (m): 2.45 of frames, and 2.9 to pass.
_PITCH = 5.35
_HEIGHT = 12.0


def distribution_centre(n_modules: int) -> str:
    """The scene (JSON is YAML) of a hall of `n_modules` modules, up to five side by side."""
    across = min(n_modules, 5)
    n_rows = -(-n_modules // across)
    if across * n_rows != n_modules:
        raise ValueError("1 to 5 modules, or a multiple of five")
    width, depth = across * SIDE, n_rows * SIDE
    made: dict[str, list[dict[str, Any]]] = {k: [] for k in ("racking", "desks", "solids", "detectors")}
    for index in range(n_modules):
        _module(made, f"M{index + 1}", SIDE * (index % across), SIDE * (index // across))
    docks = [
        {"edge": 0, "at": 10.0 * k + 3, "width": 4, "height": 4.5, "fill": "steel-door"} for k in range(int(width / 10))
    ]
    hall = {
        "name": "Hall", "outline": [[0, 0], [width, 0], [width, depth], [0, depth]], "height": _HEIGHT,
        "walls": "steel-panel", "ceiling": "steel-panel", "floor_construction": "concrete-200", "openings": docks,
    }  # fmt: skip
    return json.dumps({
        "raycover": 1, "title": f"Distribution centre of {n_modules * AREA:,.0f} m²", "grid": 0.25, "rooms": [hall],
        "planes": [{"name": "floor", "height": 0}, {"name": "chest", "height": 1.0}], **made,
    }, indent=1)  # fmt: skip


def _module(into: dict[str, list[dict[str, Any]]], name: str, x0: float, y0: float) -> None:
    """Racks, benches, stacks, columns and detectors of the module whose lowest corner is (x0, y0)."""

    def unit(model: str, x: float, y: float) -> None:
        into["detectors"].append({
            "name": f"{name} D{len(into['detectors']) + 1}", "model": model, "at": [round(x0 + x, 3), round(y0 + y, 3)],
            "mounting": 11.0,
        })  # fmt: skip

    # Docks from 0 to 22 m, packing to 44 m, racking from 46 to 98 m.
    blocks = (2.6, 2.6 + _ROW + 4.4)
    for block, x in enumerate(blocks, 1):
        for row in range(10):
            y, double = 47.3 + _PITCH * (row - 1) + 3.995, 0 < row < 9
            if row == 0:
                y = 47.3
            into["racking"].append({
                "name": f"{name} B{block} R{row + 1}", "at": [round(x0 + x, 3), round(y0 + y, 3)], "bays": 16,
                "levels": 5, "level_pitch": 1.7, "back_to_back": double, "fill": 0.9, "seed": 100 * block + row,
            })  # fmt: skip
        for aisle in range(9):
            for k in range(4):
                unit("high-bay-infrared-aisle", x + _ROW * (k + 0.5) / 4, 47.3 + 2.545 + _PITCH * aisle)
    for y in (6.0, 17.0, 28.0, 39.0):
        for k in range(8):
            unit("high-bay-infrared-round", 6.25 + 12.5 * k, y)
    for k in range(4):
        into["desks"].append({
            "name": f"{name} benches {k + 1}", "at": [x0 + 8 + 24 * k, y0 + 25], "turn_deg": 90, "size": [2.4, 0.9],
            "height": 0.9, "count": 5, "gap": 1.2,
        })  # fmt: skip
        for j in range(6):
            into["solids"].append({
                "name": f"{name} stack {6 * k + j + 1}", "centre": [x0 + 14 + 24 * k, y0 + 4 + 3.1 * j],
                "size": [2.4, 1.2, 1.2 + 0.2 * ((k + j) % 5)], "turn_deg": 7 * ((3 * k + j) % 5), "material": "goods",
            })  # fmt: skip
    for x in (12.5, 37.5, 62.5, 87.5):
        for y in (22.0, 44.0):
            into["solids"].append({
                "name": f"{name} column {x:g} {y:g}", "centre": [x0 + x, y0 + y], "size": [0.5, 0.5, _HEIGHT],
                "material": "concrete",
            })  # fmt: skip

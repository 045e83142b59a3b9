"""Random small scenes as plain data, for comparisons: two rooms, doors, screens, boxes, all technologies."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

WALLS = ["plasterboard-12.5", "stud-wall-100", "brick-100", "glass-6", "steel-panel", "wire-mesh-50", "none"]
SCREENS = ["chipboard-18", "plywood-18", "glass-6", "plasterboard-12.5", "steel-panel", "wire-mesh-50"]
FILLS = ["door-wood-40", "steel-door", "glass-6", "none"]
MATERIALS = ["goods", "concrete", "timber", "metal"]


@dataclass(frozen=True)
class Case:
    """A scene's data and what is asked of it: points (n, 3), a motion, a radar cross section."""

    scene: dict[str, Any]
    points: np.ndarray
    motion: str
    target_m2: float | None


class Draw:
    """Draws that depend on the seed alone, to the millimetre."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def of(self, choices: Any) -> Any:
        return choices[int(self.rng.integers(len(choices)))]

    def within(self, low: float, high: float) -> float:
        return round(float(self.rng.uniform(low, high)), 3)

    def often(self, chance: float) -> bool:
        return bool(self.rng.random() < chance)


def declared(draw: Draw, kinds: tuple[str, ...]) -> list[dict[str, Any]]:
    heights = sorted({draw.within(2.2, 5) for _ in range(int(draw.rng.integers(1, 4)))})
    motions = [m for m in ("tangential", "radial", "presence") if draw.often(0.6)] or ["tangential"]
    rows = []
    for motion in motions:
        kind, plane = draw.of(kinds), draw.of([0, 0.75])
        spread = draw.within(60, 200)
        for mounting in heights:
            shape: dict[str, float] = {"length": draw.within(6, 18), "width": draw.within(4, 9)}
            if kind == "circle":
                shape = {"diameter": draw.within(5, 16)}
            elif kind == "sector":
                shape = {"reach": draw.within(5, 12), "spread_deg": spread}
            rows.append({"mounting": mounting, "plane": plane, "motion": motion, "shape": {kind: shape}})
    return rows


def pattern(draw: Draw, kind: str) -> dict[str, Any]:
    if kind == "infrared":
        return {"kind": kind, "declared": declared(draw, ("circle", "rectangle", "ellipse", "sector"))}
    if kind == "microwave":
        made = {"kind": kind, "frequency_ghz": draw.of([5.8, 10.5, 24.125])}
        if draw.often(0.5):
            made["reach_behind"] = draw.within(0.1, 1)
        return {**made, "declared": declared(draw, ("circle", "rectangle", "ellipse"))}
    halves = {k: {n: v for n, v in pattern(draw, k).items() if n != "kind"} for k in ("infrared", "microwave")}
    combine = draw.of(["or", "and", "trigger-then-hold"])
    trigger = {"trigger": draw.of(["infrared", "both"])} if combine == "trigger-then-hold" else {}
    return {"kind": kind, "combine": combine, **trigger, **halves}


def detector(draw: Draw, name: str, at: list[float], height: float, kind: str) -> dict[str, Any]:
    """One third hangs at the very height of the ceiling."""
    spec = {"name": name, "at": at, "mounting": height if draw.often(0.33) else draw.within(1.9, height - 0.05)}
    spec["pattern"] = {**pattern(draw, kind), "largest_mask_share": 1.0}
    spec["turn_deg"] = draw.within(0, 360)
    if draw.often(0.4):
        spec["tilt_deg"] = draw.within(-40, 60)
    if draw.often(0.3):
        spec["sensitivity_pct"] = draw.within(40, 100)
    if kind == "dual" and draw.often(0.3):
        spec["microwave_pct"] = draw.within(30, 100)
    if draw.often(0.3):
        start = draw.within(-180, 180)
        mask = {"from_deg": start, "to_deg": round(start + draw.within(20, 110), 3)}
        if kind == "microwave":
            mask["loss_db"] = draw.within(1, 6)
        if draw.often(0.4):
            mask["off_axis_from_deg"] = draw.within(20, 50)
        spec["masks"] = [mask]
    return spec


def case(seed: int, reflections: int) -> Case:
    """Two rooms that share a wall, at any turn; half the time averaged losses, then of single layers only."""
    draw = Draw(seed)
    turn, move = math.radians(draw.of([0, 0, 17.3, 61.0])), draw.rng.uniform(-30, 30, 2)

    def at(x: float, y: float) -> list[float]:
        cos, sin = math.cos(turn), math.sin(turn)
        return [float(x * cos - y * sin + move[0]), float(x * sin + y * cos + move[1])]

    losses = draw.of(["averaged", "coherent"])
    walls_of = [w for w in WALLS if losses == "coherent" or w != "stud-wall-100"]
    slabs = ["plasterboard-12.5", "ceiling-tile-15", "concrete-150"]
    width, depth, beyond = draw.within(5, 11), draw.within(4, 8), draw.within(3, 7)
    height, floor = draw.within(2.6, 5), draw.of([0.0, 3.2, -1.5])
    shared = draw.of(walls_of)
    rooms = []
    for name, left, right in (("A", 0.0, width), ("B", width, width + beyond)):
        walls = [draw.of(walls_of) for _ in range(4)]
        walls[1 if name == "A" else 3] = shared
        outline = [at(left, 0), at(right, 0), at(right, depth), at(left, depth)]
        rooms.append({"name": name, "outline": outline, "floor": floor, "height": height, "walls": walls})
        if draw.often(0.7):
            rooms[-1]["ceiling"] = draw.of(slabs)
    rooms[0]["floor_construction"] = "concrete-150"
    if draw.often(0.3):
        rooms[0]["suspended_ceiling"] = {"height": round(height - draw.within(0.2, 0.5), 3)}
    below = rooms[0].get("suspended_ceiling", {}).get("height", height)
    openings = []
    for edge in (0, 2, 3):
        if rooms[0]["walls"][edge] != "none" and draw.often(0.6):
            opening = {"edge": edge, "at": draw.within(0.3, 2), "width": draw.within(0.7, 1.5)}
            opening |= {"height": draw.within(1, 1.5), "fill": draw.of(FILLS), "state": draw.of(["open", "closed"])}
            openings.append({**opening, "sill": draw.within(0.1, 0.9)} if draw.often(0.4) else opening)
    rooms[0]["openings"] = openings
    scene: dict[str, Any] = {"rooms": rooms, "partitions": [], "solids": [], "sheets": []}
    for i in range(int(draw.rng.integers(0, 4))):
        ends = [at(draw.within(0.4, width - 0.4), draw.within(0.4, depth - 0.4)) for _ in range(2)]
        part = {"name": f"P{i}", "line": ends, "height": draw.within(1, height - 0.3), "construction": draw.of(SCREENS)}
        if draw.often(0.3):
            part["base"] = 0.15
        elif math.dist(*ends) > 1.5 and draw.often(0.5):
            door = {"at": 0.3, "width": 0.8, "height": round(part["height"] * 0.7, 3)}
            part["openings"] = [{**door, "fill": draw.of(FILLS), "state": draw.of(["open", "closed"])}]
        scene["partitions"].append(part)
    taken: list[tuple[float, float]] = []
    for i in range(int(draw.rng.integers(0, 5))):
        x, y = draw.within(1, width - 1), draw.within(1, depth - 1)
        if all(math.dist((x, y), other) > 2.2 for other in taken):
            taken.append((x, y))
            box = {"name": f"S{i}", "centre": at(x, y), "turn_deg": draw.within(0, 180), "base": draw.of([0, 0.5])}
            box["size"] = [draw.within(0.2, 1.5), draw.within(0.2, 1.5), draw.within(0.2, height - 1.2)]
            scene["solids"].append({**box, "material": "metal" if reflections else draw.of(MATERIALS)})
    for i in range(int(draw.rng.integers(0, 3))):
        u, v = np.linalg.qr(draw.rng.normal(size=(3, 2)))[0].T
        middle = np.array(
            [draw.within(1, width - 1), draw.within(1, depth - 1), floor + draw.within(0.9, height - 0.9)]
        )
        half = draw.rng.uniform(0.3, 0.8, 2)
        corners = [middle + a * half[0] * u + b * half[1] * v for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        made = {"name": f"F{i}", "corners": [[*at(*c[:2]), float(c[2])] for c in corners]}
        scene["sheets"].append({**made, "construction": draw.of(SCREENS)})
    kinds = ["microwave", "microwave"] if reflections else ["infrared", "microwave", "dual"]
    scene["detectors"] = [
        detector(draw, f"D{i}", at(draw.within(0.3, width - 0.3), draw.within(0.3, depth - 0.3)), below, kind)
        for i, kind in enumerate(kinds)
    ]
    ambient = draw.of([20, 10, 26, 30])
    scene["conditions"] = {"ambient_c": ambient, "losses": losses, "reflections": reflections}
    scene["planes"] = [{"name": "floor", "height": 0}]
    points = []
    for _ in range(16):
        x, y = draw.within(0.05, width - 0.05), draw.within(0.05, depth - 0.05)
        if draw.often(0.4):
            x, y = draw.within(-3, width + beyond + 2), draw.within(-2, depth + 2)
        points.append([*at(x, y), floor + draw.of([0.0, 0.3, 1.0, 1.6, draw.within(0.1, height + 1)])])
    motion = draw.of(["any", "any", "tangential", "radial", "presence"])
    return Case({k: v for k, v in scene.items() if v}, np.array(points), motion, draw.of([None, None, 0.1]))

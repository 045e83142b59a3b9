"""What the pages of a proof show: needs in one situation that look for the same, and the map they lie on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from raycover.draw.page import Box
from raycover.draw.proof_panels import Shown
from raycover.proving.needs import NeedVerdict, Proof, Situation
from raycover.scene.devices import PlaneSpec
from raycover.solving.coverage import Coverage, PlaneCoverage, solve

#: Maps by situation and what is looked for; situations are kept, since they are told apart by identity.
Solved = dict[object, tuple[Situation, Coverage]]
#: At most so many storeys side by side.
_MOST_PANELS = 3


@dataclass(frozen=True)
class Group:
    """What one page shows: needs in one situation that look for the same, in plan or on one stair."""

    situation: Situation
    heights: tuple[float, ...]
    motion: str
    target_m2: float | None
    stairs: str | None
    storeys: tuple[str | None, ...]
    shown: tuple[Shown, ...]

    @property
    def verdicts(self) -> list[NeedVerdict]:
        return list({id(one.verdict): one.verdict for one in self.shown}.values())


def groups_of(proof: Proof) -> Iterator[Group]:
    """Plans before stairs, as the scene asks; storeys of one group side by side, a few a page."""
    found: dict[tuple[object, ...], list[Shown]] = {}
    for verdict in proof.needs:
        for place in verdict.places:
            site = place.site
            on_stairs = site.owner if site.piece >= 0 else None
            key = (id(verdict.situation), site.heights, site.motion, site.target_m2, on_stairs, site.kind == "way")
            found.setdefault(key, []).append(Shown(verdict, place))
    for (_, heights, motion, target, stairs, _), shown in found.items():
        situation = shown[0].verdict.situation
        if stairs is not None:
            yield Group(situation, heights, motion, target, stairs, (), tuple(shown))  # type: ignore[arg-type]
            continue
        order = [storey.name for storey in situation.building.storeys]
        storeys = sorted({one.place.site.storey for one in shown}, key=lambda s: order.index(s) if s in order else -1)
        for start in range(0, len(storeys), _MOST_PANELS):
            some = tuple(storeys[start : start + _MOST_PANELS])
            here = tuple(one for one in shown if one.place.site.storey in some)
            yield Group(situation, heights, motion, target, None, some, here)  # type: ignore[arg-type]


def coverage_of(group: Group, solved: Solved) -> Coverage:
    """The group's heights and motion, mapped everywhere."""
    key = (id(group.situation), group.heights, group.motion, group.target_m2)
    if key not in solved:
        situation = group.situation
        if len(group.heights) == 1:
            plane = PlaneSpec(name="proof", height=group.heights[0], motion=group.motion)
        else:
            plane = PlaneSpec(name="proof", target="person", heights=list(group.heights), motion=group.motion)
        plane = plane.model_copy(update={"target_m2": group.target_m2})
        if not situation.scene.rooms:
            plane = plane.model_copy(update={"extent": _extent(group)})
        scene = situation.scene.changed({"planes": [plane]}, situation.scene.state, lambda places: places)
        solved[key] = situation, solve(scene, building=situation.building, rays=situation.rays)
    return solved[key][1]


def _extent(group: Group) -> Box:
    """Of a scene without rooms: what is judged, and the units about it."""
    bounds = [one.place.site.outline.bounds for one in group.shown]
    at = [(*unit.position[:2], *unit.position[:2]) for unit in group.situation.units]
    every = np.array([*bounds, *at], float)
    low, high = every[:, :2].min(axis=0) - 1.0, every[:, 2:].max(axis=0) + 1.0
    return float(low[0]), float(low[1]), float(high[0]), float(high[1])


def planes_of(group: Group, coverage: Coverage) -> list[PlaneCoverage]:
    """The maps that a group's panels show."""
    if group.stairs is not None:
        return [plane for plane in coverage.values() if plane.surface.stairs == group.stairs]
    flat = [plane for plane in coverage.values() if plane.surface.stairs is None]
    by_storey = {plane.surface.storey: plane for plane in flat}
    return [by_storey.get(storey, flat[0]) for storey in group.storeys]

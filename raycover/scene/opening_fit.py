"""Openings against the walls they stand in: plain lengths, so that they can be asked before anything is built."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from raycover.errors import Problem
from raycover.scene.parts import Opening, Partition
from raycover.scene.roofs import roof_form
from raycover.scene.schema import Scene

Loc = tuple[str | int, ...]
#: Openings may overrun their wall by rounding, no more.
SLACK = 1e-6


def misfit(
    scene: Scene, loc: Loc, opening: Opening, at: float, length: float, heights: tuple[float, float], face: str
) -> Problem | None:
    """What is wrong with an opening `at` m along a wall `length` m long that stands between two heights (m above the
    floor that its sill counts from); None where it fits."""
    bottom, top = heights
    low, high = opening.sill, opening.sill + opening.height
    overrun = []
    if at < -SLACK or at + opening.width > length + SLACK:
        overrun.append(f"from {at:g} to {at + opening.width:g} m along a wall {length:.4g} m long")
    if low < bottom - SLACK or high > top + SLACK:
        overrun.append(f"from {low:g} to {high:g} m in a wall that stands from {bottom:g} to {top:.4g} m")
    if not overrun:
        return None
    return Problem(
        "opening-outside-wall",
        f'the opening runs {" and ".join(overrun)} ("{face}")',
        scene.position(*loc),
        "change at, width, sill or height so that it fits",
    )


def openings_by_segment(partition: Partition) -> list[tuple[int, int, float]]:
    """(number of the opening, segment of the line that it stands in, metres from that segment's start)."""
    lengths = np.linalg.norm(np.diff(np.asarray(partition.line, float), axis=0), axis=1)
    reached = np.concatenate([[0.0], np.cumsum(lengths)])
    found = []
    for k, opening in enumerate(partition.openings):
        segment = int(np.clip(np.searchsorted(reached, opening.at + SLACK, side="right") - 1, 0, len(lengths) - 1))
        found.append((k, segment, float(opening.at - reached[segment])))
    return found


def segment_name(partition: Partition, segment: int) -> str:
    return partition.name if len(partition.line) == 2 else f"{partition.name}/part {segment}"


def misfits(scene: Scene) -> Iterator[Problem]:
    """Every opening of a scene that overruns its wall. Under a sloped roof only its place along the wall is asked."""
    for index, room in enumerate(scene.rooms):
        outline = np.asarray(room.outline, float)
        lengths = np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1)
        top = room.height if roof_form(room) is None else np.inf
        for k, opening in enumerate(room.openings):
            if opening.edge < len(lengths):
                loc: Loc = ("rooms", index, "openings", k)
                name = f"{room.name}/wall {opening.edge}"
                found = misfit(scene, loc, opening, opening.at, float(lengths[opening.edge]), (0.0, top), name)
                if found is not None:
                    yield found
    for index, partition in enumerate(scene.partitions):
        ends = [np.subtract(end, start) for start, end in pairwise(partition.line)]
        heights = (partition.base, partition.base + partition.height)
        for k, segment, at in openings_by_segment(partition):
            loc = ("partitions", index, "openings", k)
            length, name = float(np.linalg.norm(ends[segment])), segment_name(partition, segment)
            found = misfit(scene, loc, partition.openings[k], at, length, heights, name)
            if found is not None:
                yield found

"""What counts as a door: by one rule for what is counted, listed, drawn and set."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from raycover.building.parts import Building, OpeningMark


def distinct(openings: Sequence[OpeningMark]) -> list[OpeningMark]:
    """Openings less those that a second room declares in the same place."""
    known: dict[tuple[int, ...], OpeningMark] = {}
    for mark in openings:
        key = tuple(sorted([tuple(np.round(np.multiply(mark.start, 100)).astype(int)),
                            tuple(np.round(np.multiply(mark.end, 100)).astype(int))]))  # fmt: skip
        known.setdefault((*key[0], *key[1], round(mark.sill * 100)), mark)
    return list(known.values())


def doors_of(building: Building) -> list[OpeningMark]:
    """The doors in walls and partitions, each once; those of cubicles are counted by `cubicle_doors`."""
    return [mark for mark in distinct(building.openings) if mark.is_door]


def cubicle_doors(building: Building) -> tuple[int, int]:
    """How many doors of cubicles stand open, ajar too, and how many there are."""
    kinds = [sheet.kind for sheet in building.sheets if sheet.loc[:1] == ("cubicles",)]
    n_open = kinds.count("leaf")
    return n_open, n_open + kinds.count("door")

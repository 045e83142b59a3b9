"""Of layouts of as many units one of fewer different models; counted over by brute force."""

from __future__ import annotations

from itertools import combinations, product
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from placing_scenes import circle, entries, floor_of, made, room

from raycover.placing import kinds, layout
from raycover.placing.judging import Judged
from raycover.placing.layout import Layout, place
from raycover.placing.searching import Search
from raycover.proving.needs import prove
from raycover.scene.devices import DetectorSpec
from raycover.scene.schema import Scene

#: Two rooms 4 m square. A lens of 3 m holds one from its middle, 2.83 m off its corners; one of 2.4 m does not.
ROOMS = [room(4, 4, "A"), room(4, 4, "B", (5, 0))]
MIDDLES = [(2.0, 2.0), (7.0, 2.0)]


def two_rooms(folder: Path, models: list[str]) -> Scene:
    placing = {"models": models, "pitch": 1.0}
    return made(folder, rooms=ROOMS, needs=[floor_of("A"), floor_of("B")], placing=placing)


def models_of(found: Layout) -> set[str | None]:
    return {d.model for d in found.detectors if d.name in found.new}


def fewest(scene: Scene, models: list[str], places: list[tuple[float, float]], most: int) -> tuple[int, int]:
    """(units, models) of the least of all choices at some places, proved one by one."""
    each = [
        DetectorSpec(name=f"U{k}", model=m, at=at, mounting=3.0) for k, (m, at) in enumerate(product(models, places))
    ]
    for n in range(1, most + 1):
        lots = [lot for lot in combinations(each, n) if prove(scene.model_copy(update={"detectors": list(lot)})).met]
        if lots:
            return n, min(len({d.model for d in lot}) for lot in lots)
    raise AssertionError("none does it")


def test_as_many_units_of_one_model(tmp_path: Path) -> None:
    """Either of two wide lenses holds a room, a narrow one none: one of each of the wide is never proposed."""
    entries(tmp_path, narrow=circle(2.4), one=circle(3), other=circle(3.1))
    scene = two_rooms(tmp_path, ["narrow", "one", "other"])
    found = place(scene)
    assert found.met
    assert (len(found.new), len(models_of(found))) == fewest(scene, ["narrow", "one", "other"], MIDDLES, 2) == (2, 1)
    assert found.bound == 2


def mixed(folder: Path) -> Scene:
    """Rooms of 4 m and of 3 m square: both lenses hold the small one, the wide one alone the large."""
    entries(folder, wide=circle(3.3), small=circle(2.4))
    rooms = [room(4, 4, "A"), room(3, 3, "B", (5, 0))]
    return made(
        folder, rooms=rooms, needs=[floor_of("A"), floor_of("B")], placing={"models": ["small", "wide"], "pitch": 0.5}
    )


def test_what_was_chosen_of_two_models_gives_way_to_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The small lens holds the small room as well: a mixed choice is as few units, and all of the wide is taken."""
    scene = mixed(tmp_path)

    def of_mixed(search: Search, best: Judged, *more: Any) -> Judged:
        every = search.pool.candidates
        names = np.array([every.offers[k].model.name for k in every.offer])
        middles = {"wide": (2.0, 2.0), "small": (6.5, 1.5)}
        both = [
            int(np.argmin(np.where(names == name, np.linalg.norm(every.at - at, axis=1), np.inf)))
            for name, at in middles.items()
        ]
        one_each = search.judge.judge(every.some(np.array(both)))
        assert one_each.met.all()
        assert kinds.models_of(one_each) == ("small", "wide")
        return kinds.of_fewer_models(search, one_each, *more)

    monkeypatch.setattr(layout, "of_fewer_models", of_mixed)
    found = place(scene)
    assert found.met
    assert (len(found.new), models_of(found)) == (2, {"wide"})
    assert fewest(scene, ["small", "wide"], [(2.0, 2.0), (6.5, 1.5)], 2) == (2, 1)


def test_no_unit_more_for_one_model(tmp_path: Path) -> None:
    """1.5 for a wide lens and 1 for a small one is less than two wide, or two small in the large room and one."""
    scene = mixed(tmp_path)
    assert scene.placing is not None
    priced = scene.placing.model_copy(update={"prices": {"wide": 1.5, "small": 1.0}})
    found = layout.place(scene, priced)
    assert found.met
    assert (found.cost, models_of(found)) == (2.5, {"wide", "small"})
    assert found.bound == pytest.approx(2.5)

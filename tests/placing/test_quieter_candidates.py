"""Masks and lower settings as candidates, and units that belong to places, against every choice there is."""

from __future__ import annotations

import json
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from placing_scenes import beside, circle, entries, floor_of, made, radio, room

from raycover.placing.candidates import find_candidates
from raycover.placing.judging import Judge
from raycover.placing.layout import place
from raycover.placing.offers import Candidates
from raycover.placing.proposing import proposed_text
from raycover.placing.searching import Search
from raycover.placing.visibility import margins_by
from raycover.proving.needs import prove
from raycover.scene.placing import PlacingSpec
from raycover.scene.schema import Scene

NEVER = {"name": "corridor quiet", "rooms": ["Corridor"], "height": 1.0, "never": True}


def searched(scene: Scene, rooms: tuple[int, ...] = (0,)) -> Search:
    """What `place` chooses from, before it does."""
    spec = scene.placing or PlacingSpec()
    bare = prove(scene.model_copy(update={"detectors": []}))
    candidates = find_candidates(scene, bare.needs[0].situation.building, spec, rooms)
    return Search(scene, spec, [], bare, candidates, None)


def fewest(scene: Scene, candidates: Candidates, most: int) -> int | None:
    """Of how many the smallest choice is that meets every need on all cells, by trying each; None above `most`."""
    bare = prove(scene.model_copy(update={"detectors": []}))
    judge = Judge(scene, [], bare)
    for n in range(1, most + 1):
        for chosen in combinations(range(len(candidates)), n):
            if judge.judge(candidates.some(np.array(chosen))).proof.met:
                return n
    return None


@pytest.mark.parametrize(("radius", "share", "masks"), [(3.6, 0.45, True), (3.6, 0.8, True), (3.2, 0.55, False)])
def test_against_every_choice(radius: float, share: float, masks: bool, tmp_path: Path) -> None:
    """Brute force over plain candidates and all quieter ones, judged on all cells."""
    radio(tmp_path, "radio", circle(radius))
    placing = {"models": ["radio"], "pitch": 2.4, "masks": masks}
    scene = made(tmp_path, rooms=beside(), needs=[floor_of(share=share), NEVER], placing=placing, grid=0.5)
    found = place(scene)
    search = searched(scene)
    pool = search.pool
    assert (~pool.candidates.plain).any()
    alive = pool.candidates.some(pool.alive)
    truth = fewest(scene, alive, 3)
    assert found.met
    assert found.bound <= len(found.new)
    assert truth is not None
    # Cells not looked at may forbid a quieter one that was first thought to do; then more are needed, never fewer.
    assert len(found.new) == truth
    assert found.bound_of_all


def test_a_lower_setting_is_what_a_cast_gives(tmp_path: Path) -> None:
    """Margins go with 40·log10 of the reach: the column of a lower setting is that of a unit cast as it is set."""
    radio(tmp_path, "radio", circle(3.6))
    placing = {"models": ["radio"], "pitch": 1.2}
    search = searched(made(tmp_path, rooms=beside(), needs=[floor_of(share=0.5), NEVER], placing=placing, grid=0.5))
    pool, (task,) = search.pool, search.tasks
    lower = np.flatnonzero(~np.isnan(pool.shift_db))
    assert len(lower) >= 4
    cast = margins_by(pool.candidates.units, task.asked, only=lower)[:, lower].toarray()
    known = task.margins[:, lower].toarray()
    np.testing.assert_allclose(known, cast, atol=1e-9)
    assert (pool.candidates.pct[lower] < 100).all()


def test_as_the_entry_permits(tmp_path: Path) -> None:
    """An entry that can be set to 80 % at the least, with masks over a tenth at most, is never offered otherwise."""
    more = "\nsensitivity_pct: {from: 80, to: 100}\nlargest_mask_share: 0.1"
    radio(tmp_path, "radio", circle(3.6), more)
    placing = {"models": ["radio"], "pitch": 1.6}
    search = searched(made(tmp_path, rooms=beside(), needs=[floor_of(share=0.3), NEVER], placing=placing, grid=0.5))
    candidates = search.pool.candidates
    assert candidates.pct.min() >= 80
    # Of a circle of 3.6 m, declared 3 m below, a sector from θ off the axis on takes its part of 1 − (3·tan θ / 3.6)².
    shares = [
        mask.span_deg / 360 * (1 - min((3 * np.tan(np.radians(mask.off_axis_from_deg)) / 3.6) ** 2, 1))
        for masks in candidates.masks
        for mask in masks
    ]
    assert 0 < max(shares) <= 0.1 + 1e-6
    off = {"masks": False, "settings": False}
    parts: dict[str, Any] = {"rooms": beside(), "needs": [floor_of(share=0.3), NEVER], "grid": 0.5}
    bare = searched(made(tmp_path, **parts, placing=placing | off))
    assert bare.pool.candidates.plain.all()


def test_plain_ones_win_ties(tmp_path: Path) -> None:
    """A unit at the near wall does plain; those at the far wall would do with a mask."""
    radio(tmp_path, "radio", circle(3.6))
    placing = {"models": ["radio"], "pitch": 1.0, "regular": False}
    found = place(made(tmp_path, rooms=beside(), needs=[floor_of(share=0.3), NEVER], placing=placing, grid=0.5))
    assert len(found.new) == 1
    (unit,) = found.detectors
    assert (unit.sensitivity_pct, unit.masks) == (100.0, [])


def test_quieter_ones_are_written_as_they_are_set(tmp_path: Path) -> None:
    """The new scene, loaded and judged by itself, is met, its masks and settings in it."""
    radio(tmp_path, "radio", circle(3.6))
    placing = {"models": ["radio"], "pitch": 1.6}
    scene = made(tmp_path, rooms=beside(), needs=[floor_of(share=0.9), NEVER], placing=placing, grid=0.5)
    found = place(scene)
    text = json.dumps({
        "raycover": 1, "title": "test", "grid": 0.5, "rooms": beside(), "needs": [floor_of(share=0.9), NEVER],
    }, indent=1)  # fmt: skip
    _, fresh, _ = proposed_text(found, text, tmp_path / "scene.yaml")
    assert any(d.masks or d.sensitivity_pct < 100 for d in fresh.detectors)
    assert prove(fresh).met


ZONES = [
    {"name": "West", "detectors": ["W*"], "area": [[0, 0], [6, 0], [6, 6], [0, 6]], "rooms": ["Room"], "hold_s": 300},
    {"name": "East", "detectors": ["E1"], "area": [[6, 0], [10, 0], [10, 6], [6, 6]], "rooms": ["Room"]},
]
DRAWN = [
    {"name": "W1", "model": "disc", "at": [2, 3], "mounting": 3},
    {"name": "E1", "model": "disc", "at": [8, 3], "mounting": 3},
]


def test_zones_are_seen_by_their_own_units(tmp_path: Path) -> None:
    """One large circle sees 90 % of both zones from over one; each by its own units takes two (by brute force too)."""
    entries(tmp_path, disc=circle(5.0))
    parts: dict[str, Any] = {
        "rooms": [room(10, 6)], "detectors": DRAWN, "zones": ZONES, "grid": 0.5,
        "placing": {"models": ["disc"], "pitch": 2.0},
    }  # fmt: skip
    any_unit = {"name": "seen", "zones": "all", "share": 0.9, "height": 0.0}
    free, own = (place(made(tmp_path, needs=[need], **parts)) for need in (any_unit, any_unit | {"whose": "own"}))
    assert (len(free.new), len(own.new)) == (1, 2)
    assert free.met
    assert own.met
    assert sorted(len(names) for names in own.zones.values()) == [1, 1]
    scene = made(tmp_path, needs=[any_unit | {"whose": "own"}], **parts)
    assert fewest(scene, searched(scene).pool.candidates, 2) == 2
    text = json.dumps({"raycover": 1, "title": "t", **parts, "needs": [any_unit | {"whose": "own"}]}, indent=1)
    _, fresh, notes = proposed_text(own, text, tmp_path / "scene.yaml")
    assert {zone.name: tuple(zone.detectors) for zone in fresh.zones} == own.zones
    assert fresh.zones[0].hold_s == 300
    assert any("hang over it" in note for note in notes)
    assert prove(fresh).met


def test_who_sits_is_noticed_within_the_hold_time(tmp_path: Path) -> None:
    """Nothing is asked but that who sits at the far end for longer than the hold time is noticed there."""
    route = {"name": "To the desk", "from": [1.0, 2.5], "to": [12.6, 2.5], "seated_s": 900}
    need = {"name": "nobody in the dark", "routes": ["To the desk"]}
    parts: dict[str, Any] = {
        "rooms": [room(14, 5)], "routes": [route], "needs": [need], "conditions": {"hold_s": 600}, "grid": 0.5,
    }  # fmt: skip
    placing = {"models": ["ceiling-infrared-general"], "mounting": [2.5], "pitch": 1.0}
    found = place(made(tmp_path, **parts, placing=placing))
    assert found.met
    assert len(found.new) == found.bound == 1
    assert found.detectors[0].at[0] > 8
    assert any("the room that one walks in" in note for note in found.notes)


@pytest.mark.parametrize("seed", range(3))
def test_a_bound_of_all_cells_is_no_more_than_the_fewest(seed: int, tmp_path: Path) -> None:
    """Random rooms, circles and shares: bound ≤ fewest (brute force, on all cells) ≤ found."""
    draw = np.random.default_rng(seed)
    width, depth = (float(v) for v in draw.uniform(5, 8, 2).round(1))
    entries(tmp_path, disc=circle(round(float(draw.uniform(1.6, 2.6)), 2)))
    need = floor_of(share=round(float(draw.uniform(0.45, 0.7)), 2)) | ({"largest_gap": 5.0} if seed % 2 else {})
    scene = made(
        tmp_path, rooms=[room(width, depth)], needs=[need], placing={"models": ["disc"], "pitch": 2.2}, grid=0.4
    )
    found = place(scene)
    truth = fewest(scene, searched(scene).pool.candidates, 3)
    assert found.met
    assert found.bound_of_all
    assert truth is None or found.bound <= truth <= len(found.new)


def test_a_room_is_seen_by_its_own_units(tmp_path: Path) -> None:
    """Through no wall at all one circle between them sees 40 % of both rooms; by their own units it takes one each."""
    entries(tmp_path, disc=circle(5.0))
    parts: dict[str, Any] = {
        "rooms": [room(4, 4, "A") | {"walls": "none"}, room(4, 4, "B", (4, 0)) | {"walls": "none"}], "grid": 0.5,
        "placing": {"models": ["disc"], "pitch": 2.0},
    }  # fmt: skip
    need = {"name": "seen", "rooms": "all", "share": 0.4, "height": 0.0}
    free, own = (place(made(tmp_path, needs=[one], **parts)) for one in (need, need | {"whose": "own"}))
    assert (len(free.new), len(own.new)) == (1, 2)
    assert own.met
    assert sorted(unit.at[0] > 4 for unit in own.detectors) == [False, True]
    scene = made(tmp_path, needs=[need | {"whose": "own"}], **parts)
    assert fewest(scene, searched(scene, (0, 1)).pool.candidates, 2) == 2

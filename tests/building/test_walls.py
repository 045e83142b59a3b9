"""Rooms, partitions and flat sheets become sheets where the file puts them; closed forms by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from small_scenes import scene

import raycover
from raycover.building.build import build
from raycover.building.parts import Building, Sheet
from raycover.errors import InputError

BOX = [[0, 0], [8, 0], [8, 5], [0, 5]]


def built(**parts: Any) -> Building:
    return build(scene(**parts))


def named(building: Building, name: str) -> Sheet:
    return next(sheet for sheet in building.sheets if sheet.name == name)


def corners(sheet: Sheet) -> np.ndarray:
    return sheet.frame.to_space(np.array(sheet.polygon.exterior.coords)[:-1])


def heights(sheet: Sheet) -> tuple[float, float]:
    z = corners(sheet)[:, 2]
    return float(z.min()), float(z.max())


def room(**more: Any) -> dict[str, Any]:
    return {"name": "hall", "outline": BOX, "height": 3, "walls": "brick-100", **more}


def door(**more: Any) -> dict[str, Any]:
    return {"at": 1, "width": 0.9, "height": 2.1, "fill": "door-wood-40", **more}


def test_walls_stand_on_the_outline() -> None:
    """Each wall is one sheet over its edge, at the centre line, from floor to ceiling."""
    building = built(rooms=[room(floor=1.5)])
    assert [sheet.name for sheet in building.sheets] == [f"hall/wall {i}" for i in range(4)]
    for i, sheet in enumerate(building.sheets):
        found = np.unique(corners(sheet).round(9), axis=0)
        ends = np.array([BOX[i], BOX[(i + 1) % 4]], float)
        expected = np.unique([[*end, z] for end in ends for z in (1.5, 4.5)], axis=0)
        np.testing.assert_allclose(found, expected, atol=1e-9)
        assert sheet.vertical
        assert sheet.construction.name == "brick-100"


@pytest.mark.parametrize("turned_round", [False, True], ids=["anticlockwise", "clockwise"])
def test_ceiling_and_floor(turned_round: bool) -> None:
    outline = BOX[::-1] if turned_round else BOX
    building = built(rooms=[room(outline=outline, ceiling="plasterboard-12.5", floor_construction="concrete-150")])
    for name, z in (("hall/ceiling", 3.0), ("hall/floor", 0.0)):
        assert named(building, name).polygon.area == pytest.approx(40)
        assert heights(named(building, name)) == (z, z)


def test_one_construction_an_edge_and_none() -> None:
    building = built(rooms=[room(walls=["none", "glass-6", "none", "brick-215"])])
    assert {s.name: s.construction.name for s in building.sheets} == {
        "hall/wall 1": "glass-6",
        "hall/wall 3": "brick-215",
    }


def test_collinear_points_make_two_walls() -> None:
    building = built(rooms=[room(outline=[[0, 0], [4, 0], [8, 0], [8, 5], [0, 5]])])
    assert sum(s.polygon.area for s in building.sheets) == pytest.approx(2 * 13 * 3)


@pytest.mark.parametrize(
    ("opening", "left", "fill", "kind"),
    [
        (door(), 24 - 0.9 * 2.1, 0.9 * 2.1, "door"),
        (door(state="open"), 24 - 0.9 * 2.1, 0, None),
        (door(fill="none"), 24 - 0.9 * 2.1, 0, None),
        (door(sill=0.9, height=1.2, width=2, fill="glass-6"), 24 - 2.4, 2.4, "window"),
        (door(sill=0.9, height=2.1, fill="glass-6"), 24 - 0.9 * 2.1, 0.9 * 2.1, "window"),  # up to the ceiling
        (door(at=7.1), 24 - 0.9 * 2.1, 0.9 * 2.1, "door"),  # at the very end of the wall
        (door(at=0, width=8, height=3), 0, 24, "door"),  # the whole wall
    ],
    ids=["door", "open", "gap", "window", "to the ceiling", "at the end", "whole wall"],
)
@pytest.mark.parametrize("floor", [0, 3.2])
def test_openings_are_cut_exactly(
    opening: dict[str, Any], left: float, fill: float, kind: str | None, floor: float
) -> None:
    building = built(rooms=[room(floor=floor, openings=[{"edge": 0, **opening}])])
    wall = sum(s.polygon.area for s in building.sheets if s.name == "hall/wall 0")
    assert wall == pytest.approx(left, abs=1e-9)
    filling = [s for s in building.sheets if s.name == "hall/opening 0"]
    assert sum(s.polygon.area for s in filling) == pytest.approx(fill, abs=1e-9)
    assert [s.kind for s in filling] == ([] if kind is None else [kind])
    if filling:
        low, high = heights(filling[0])
        assert low == pytest.approx(floor + opening.get("sill", 0))
        assert high == pytest.approx(floor + opening.get("sill", 0) + opening["height"])
        along = corners(filling[0])[:, 0]
        assert along.min() == pytest.approx(opening["at"])
        assert along.max() == pytest.approx(opening["at"] + opening["width"])
    mark = building.openings[0]
    assert (mark.sill, mark.top) == pytest.approx(
        (floor + opening.get("sill", 0), floor + opening.get("sill", 0) + opening["height"])
    )
    assert mark.state == opening.get("state", "closed")


def test_opening_runs_in_the_direction_of_its_edge() -> None:
    """Edge 2 of an anticlockwise outline runs from right to left: `at` counts from its start."""
    building = built(rooms=[room(openings=[door(edge=2, at=1)])])
    x = corners(named(building, "hall/opening 0"))[:, 0]
    assert (x.min(), x.max()) == pytest.approx((6.1, 7.0))
    assert building.openings[0].start == pytest.approx((7.0, 5.0))
    assert building.openings[0].end == pytest.approx((6.1, 5.0))


def test_two_doors_side_by_side_share_an_edge() -> None:
    building = built(rooms=[room(openings=[door(edge=0), door(edge=0, at=1.9)])])
    assert named(building, "hall/wall 0").polygon.area == pytest.approx(24 - 2 * 0.9 * 2.1)


def test_partition_over_several_segments() -> None:
    """Openings count along the whole line; one at a corner belongs to the segment that starts there."""
    screen = {
        "name": "screen",
        "line": [[1, 1], [4, 1], [4, 4]],
        "base": 0.1,
        "height": 2.0,
        "construction": "chipboard-18",
        "openings": [door(at=3, width=1, height=1.5, sill=0.1), door(at=0.5, width=1, height=1, sill=0.5, fill="none")],
    }
    building = built(rooms=[room(floor=0.5, walls="none")], partitions=[screen])
    assert {s.name for s in building.sheets} == {"screen/part 0", "screen/part 1", "screen/opening 0"}
    assert named(building, "screen/part 0").polygon.area == pytest.approx(6 - 1)
    assert named(building, "screen/part 1").polygon.area == pytest.approx(6 - 1.5)
    assert heights(named(building, "screen/part 0")) == pytest.approx((0.6, 2.6))
    filling = corners(named(building, "screen/opening 0"))
    assert filling[:, 0] == pytest.approx(4)
    assert (filling[:, 1].min(), filling[:, 1].max()) == pytest.approx((1, 2))
    assert heights(named(building, "screen/opening 0")) == pytest.approx((0.6, 2.1))


def test_heights_count_from_the_room_that_holds_the_middle() -> None:
    low = room(name="low", walls="none")
    high = room(name="high", outline=[[8, 0], [16, 0], [16, 5], [8, 5]], floor=1.2, walls="none")
    lines = {"a": [[1, 1], [3, 1]], "b": [[9, 1], [12, 1]], "c": [[30, 1], [33, 1]]}
    screens = [{"name": k, "line": v, "height": 2, "construction": "glass-6"} for k, v in lines.items()]
    building = built(rooms=[low, high], partitions=screens)
    assert [heights(named(building, k))[0] for k in lines] == pytest.approx([0, 1.2, 0])


def flat(corners: list[list[float]]) -> dict[str, Any]:
    return {"name": "flight", "corners": corners, "construction": "concrete-150"}


def test_slanted_sheet_keeps_its_area() -> None:
    """A flight 1.2 m wide over 3 m and 1.5 m up: 1.2·√(3² + 1.5²)."""
    building = built(sheets=[flat([[0, 1, 0], [1.2, 1, 0], [1.2, 4, 1.5], [0, 4, 1.5]])])
    assert building.sheets[0].polygon.area == pytest.approx(1.2 * np.hypot(3, 1.5))
    assert abs(building.sheets[0].frame.normal[2]) == pytest.approx(3 / np.hypot(3, 1.5))


#: (text put in, the words that mark the line at fault, code)
WRONG = {
    "past the end": ("openings: [\n    {edge: 0, at: 7.2, width: 0.9, height: 2}]", "at: 7.2", "opening-outside-wall"),
    "too high": ("openings: [\n    {edge: 0, at: 1, width: 0.9, height: 3.01}]", "3.01", "opening-outside-wall"),
    "overlap": (
        "openings: [\n    {edge: 0, at: 1, width: 0.9, height: 2},\n    {edge: 0, at: 1.8, width: 0.9, height: 2}]",
        "at: 1.8",
        "openings-overlap",
    ),
    "in nothing": ("openings: [\n    {edge: 1, at: 1, width: 0.9, height: 2}]", "edge: 1", "opening-in-nothing"),
}


@pytest.mark.parametrize("wrong", WRONG)
def test_openings_that_do_not_fit(wrong: str) -> None:
    text, mark, code = WRONG[wrong]
    yaml = (
        "raycover: 1\nrooms:\n  - name: hall\n    outline: [[0, 0], [8, 0], [8, 5], [0, 5]]\n    height: 3\n"
        f"    walls: [brick-100, none, brick-100, brick-100]\n    {text}\n"
    )
    with pytest.raises(InputError) as caught:
        build(raycover.load_text(yaml))
    (problem,) = caught.value.problems
    line = next(i for i, row in enumerate(yaml.splitlines(), 1) if mark in row)
    assert (problem.code, problem.position.line) == (code, line)
    assert problem.help


@pytest.mark.parametrize(
    ("yaml", "line", "code"),
    [
        (
            "partitions:\n  - {name: p, line: [[0, 0], [2, 0], [2, 2]], height: 2, construction: glass-6,\n"
            "     openings: [\n      {at: 1.5, width: 0.9, height: 2}]}",
            5,
            "opening-outside-wall",
        ),
        (
            "partitions:\n  - {name: p, line: [[0, 0], [2, 0]], base: 0.2, height: 2, construction: glass-6,\n"
            "     openings: [\n      {at: 0.5, width: 0.9, height: 2}]}",
            5,
            "opening-outside-wall",
        ),
        (
            "partitions:\n  - {name: p, line: [[0, 0], [2, 0]], height: 2,\n     construction: none}",
            4,
            "no-construction",
        ),
        (
            "sheets:\n  - name: s\n    construction: glass-6\n    "
            "corners: [[0, 0, 0], [1, 0, 0], [1, 1, 0.02], [0, 1, 0]]",
            5,
            "bad-sheet",
        ),
        (
            "sheets:\n  - name: s\n    construction: glass-6\n    "
            "corners: [[0, 0, 0], [1, 1, 0], [1, 0, 0], [0, 1, 0]]",
            5,
            "bad-sheet",
        ),
        (
            "sheets:\n  - name: s\n    construction: glass-6\n    corners: [[0, 0, 0], [1, 1, 1], [2, 2, 2]]",
            5,
            "bad-sheet",
        ),
        (
            "sheets:\n  - name: s\n    corners: [[0, 0, 0], [1, 0, 0], [1, 1, 0]]\n    construction: none",
            5,
            "no-construction",
        ),
    ],
    ids=["across a corner", "below a raised base", "no partition", "bent", "crossing", "no area", "no sheet"],
)
def test_what_cannot_be_built(yaml: str, line: int, code: str) -> None:
    with pytest.raises(InputError) as caught:
        build(raycover.load_text(f"raycover: 1\n{yaml}\n"))
    assert [(p.code, p.position.line) for p in caught.value.problems] == [(code, line)]


def test_everything_wrong_comes_at_once() -> None:
    rooms = [room(openings=[door(edge=0, at=7.5), door(edge=1, at=4.5), door(edge=2, height=4)])]
    with pytest.raises(InputError) as caught:
        built(rooms=rooms)
    assert len(caught.value.problems) == 3

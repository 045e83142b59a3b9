"""Sun through openings on a floor: shadows of hand-worked geometry."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import scene

from raycover.building.build import build
from raycover.errors import InputError
from raycover.trips import find_trips
from raycover.trips.places import Source, place

#: A window in the south wall (edge 0, y = 0), north along +y: 2 m wide, from 1 to 2 m up.
WINDOW = {"name": "Window", "edge": 0, "at": 3, "width": 2, "height": 1, "sill": 1, "fill": "glass-6"}
ROOM = {"name": "Room", "outline": [[0, 0], [8, 0], [8, 6], [0, 6]], "height": 3, "walls": "brick-100",
        "openings": [WINDOW]}  # fmt: skip
PATCH = {"name": "Sun", "kind": "sunlit-patch", "through": "Window"}


def patch(azimuth: float, elevation: float, through: str = "Window", **parts: Any) -> Source:
    spec = {**PATCH, "through": through, "sun": {"azimuth_deg": azimuth, "elevation_deg": elevation}}
    made = scene(**{"rooms": [ROOM], "nuisances": [spec], **parts})
    return place(made, build(made))[0]


def test_from_due_south_at_45_degrees() -> None:
    """What is 1 to 2 m up falls as far behind: 2 × 1 m from y = 1 to 2."""
    found = patch(180, 45)
    (ring,) = found.outlines
    assert sorted(map(tuple, np.round(ring, 6))) == [(3, 1), (3, 2), (5, 1), (5, 2)]
    assert found.flat_m2 is not None
    assert found.flat_m2 == pytest.approx(2.0)
    assert found.area_m2(np.array([4.0, 1.5, 1e5])) == pytest.approx(2.0, rel=1e-3)
    assert np.ptp(found.points[:, 0]) == pytest.approx(2)


def test_an_afternoon_sun_falls_towards_the_east() -> None:
    """From south-west at 45°: 1 m of height is 0.707 m east and 0.707 m north."""
    (ring,) = patch(225, 45).outlines
    side = np.sqrt(0.5)
    expected = shapely.Polygon([[3 + side, side], [5 + side, side], [5 + 2 * side, 2 * side], [3 + 2 * side, 2 * side]])
    assert shapely.Polygon(ring).symmetric_difference(expected).area == pytest.approx(0, abs=1e-9)


def test_north_turns_with_the_scene() -> None:
    """With north along +x, south is −x: no sun through the wall that faces −y from the north-west."""
    turned = {"north_deg": 0.0}
    (ring,) = patch(90, 45, **turned).outlines  # east is −y there
    assert sorted(map(tuple, np.round(ring, 6))) == [(3, 1), (3, 2), (5, 1), (5, 2)]


def test_what_falls_on_a_wall_is_not_on_the_floor() -> None:
    """At 15° 2 m of height are 7.46 m: the room is 6 m deep."""
    (ring,) = patch(180, 15).outlines
    assert ring[:, 1].max() == pytest.approx(6)
    assert ring[:, 1].min() == pytest.approx(1 / np.tan(np.radians(15)))


def test_from_the_north_it_does_not_come_in() -> None:
    with pytest.raises(InputError) as error:
        patch(0, 45)
    assert [p.code for p in error.value.problems] == ["no-sun"]


def test_a_row_of_roof_lights() -> None:
    """Three lights of 1 × 1.2 m in a slope: each patch is as long along the eaves and lies 4 m apart."""
    roof = {"kind": "mono", "direction_deg": 90, "eaves": 4, "ridge_height": 5, "construction": "steel-panel",
            "lights": [{"centre": [2, 1], "size": [0.5, 0.5]},
                       {"centre": [3, 4], "size": [1, 1.2], "count": 3, "pitch": 4}]}  # fmt: skip
    hall = {"name": "Hall", "outline": [[0, 0], [16, 0], [16, 8], [0, 8]], "walls": "steel-panel", "roof": roof}
    found = patch(180, 60, "Hall/roof light 1", rooms=[hall])
    assert len(found.outlines) == 3
    areas = [shapely.Polygon(ring).area for ring in found.outlines]
    middles = np.array([ring.mean(axis=0) for ring in found.outlines])
    assert np.abs(np.diff(middles[:, 0])) == pytest.approx([4, 4])
    # a slope of 1 in 8: up it 1.2 m are 1.2·8/√65 in plan and 1.2/√65 higher, which falls 1/tan 60° as far north
    long = 1.2 * 8 / np.sqrt(65) + 1.2 / np.sqrt(65) / np.tan(np.radians(60))
    assert areas == pytest.approx([long] * 3)
    assert middles[0, 1] == pytest.approx(4 + 4.5 / np.tan(np.radians(60)))


def test_it_is_judged_like_any_patch() -> None:
    hung = [{"name": "D", "model": "ceiling-infrared-general", "at": [4, 2], "mounting": 3}]
    spec = {**PATCH, "sun": {"azimuth_deg": 180, "elevation_deg": 45}, "change_s": 1}
    typed = {"name": "Sun", "kind": "sunlit-patch", "at": [4, 1.5], "size": [2, 1], "change_s": 1}
    found, same = (
        find_trips(scene(rooms=[ROOM], detectors=hung, nuisances=[n], grid=0.5)).effects[0] for n in (spec, typed)
    )
    assert found.margin_db == pytest.approx(same.margin_db, abs=0.05)


def test_wrong_words() -> None:
    sun = {"azimuth_deg": 180, "elevation_deg": 45}
    for spec, code in (
        ({**PATCH, "through": "Windw", "sun": sun}, "unknown-opening"),
        (PATCH, "sun-through"),
        ({**PATCH, "kind": "heater", "sun": sun}, "sun-through"),
        ({**PATCH, "at": [1, 1], "sun": sun}, "one-place"),
    ):
        with pytest.raises(InputError) as error:
            scene(rooms=[ROOM], nuisances=[spec])
        assert [p.code for p in error.value.problems] == [code]

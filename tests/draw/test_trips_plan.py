"""The plan of false trips: every text in its place, marks told apart by shape and fill, sectors where masks are."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely
from page_texts import assert_texts_are_in_place, assert_words_are_german
from small_scenes import detector, pattern, scene

import raycover
from raycover.building.build import build
from raycover.draw.nuisance_marks import sector, sort_of
from raycover.draw.trips_plan import make_trips_plan
from raycover.physics.margin import mask_loss_db, to_local
from raycover.physics.pattern import Mask
from raycover.report.words import report_words
from raycover.solving.coverage import make_units
from raycover.trips import Trips, find_trips
from raycover.trips.remedies import masked


def test_the_workshop(workshop: Any, workshop_trips: Trips) -> None:
    trips = workshop_trips
    page = make_trips_plan(workshop.scene, workshop.building, trips, dpi=100)
    assert_texts_are_in_place(page)
    texts = [text for text, _ in page.text_boxes()]
    assert {"P1", "P2", "M1", "M2", "M3", "Gas heater", "Waste pipe"} <= set(texts)
    n_trip = len({r.effect.nuisance for r in trips.remedies if r.effect.verdict == "trips"})
    assert str(n_trip) in texts
    # every nuisance has its number on the plan and in the table
    assert all(texts.count(str(k)) >= 2 for k in range(1, len(trips.sources) + 1))


def test_the_workshop_in_german(workshop: Any, workshop_trips: Trips) -> None:
    wording = report_words("de").wording
    page = make_trips_plan(workshop.scene, workshop.building, workshop_trips, dpi=60, wording=wording)
    assert_texts_are_in_place(page)
    texts = [text for text, _ in page.text_boxes()]
    names = [source.spec.name for source in workshop_trips.sources]
    cut = [text for text in texts if any(name.startswith(text.removesuffix("…")) for name in names)]
    assert_words_are_german([text for text in texts if text not in cut], names)
    assert {"Störquelle", "Urteil", "Fehlauslösungen", "abgestellt durch"} <= set(texts)


ROOM = {"name": "Room", "outline": [[0, 0], [10, 0], [10, 8], [0, 8]], "height": 3, "walls": "brick-215"}


@pytest.mark.parametrize("n", [0, 1, 25])
def test_none_one_and_many(n: int) -> None:
    rng = np.random.default_rng(1)
    listed = [
        {"name": f"A heater with quite a long name {k}", "kind": "heater", "at": at, "height": 0.5}
        for k, at in enumerate((1 + rng.random((n, 2)) * [8, 6]).tolist())
    ]
    made = scene(
        rooms=[ROOM], nuisances=listed, planes=[{"name": "floor", "height": 0}], grid=0.5,
        detectors=[detector((4, 4), 3, pattern({"circle": {"diameter": 10}}, mounting=3))],
    )  # fmt: skip
    building = build(made)
    page = make_trips_plan(made, building, find_trips(made, building=building), dpi=80)
    boxes = [(text, box) for text, box in page.text_boxes()]
    assert boxes
    assert_texts_are_in_place(page)


@pytest.mark.parametrize("tilt", [0.0, 25.0])
@pytest.mark.parametrize("mask", [Mask(30, 75, 20, 50), Mask(300, 40, 0, 35), Mask(0, 360, 10, 30)])
def test_a_sector_is_where_its_mask_is(mask: Mask, tilt: float) -> None:
    """Against the masks that casting uses, on a level 2 m below the unit, a little off its edges."""
    made = scene(
        rooms=[ROOM],
        detectors=[detector((4, 4), 3, pattern({"circle": {"diameter": 10}}, mounting=3), turn_deg=40, tilt_deg=tilt)],
    )
    (unit,) = make_units(made, build(made))
    shape = sector(unit, mask, -2.0, 5.0)
    x, y = np.meshgrid(np.linspace(-1, 9, 120), np.linspace(-1, 9, 120))
    flat = np.stack([x.ravel(), y.ravel()], axis=1)
    offset = (flat[:, 0] - 4, flat[:, 1] - 4, np.full(len(flat), -2.0))
    hidden = np.isinf(mask_loss_db(to_local(unit.rotation, offset), masked(unit, [mask]).masks))
    points = shapely.points(flat)
    off_edge = (shapely.distance(shape.boundary, points) > 0.06) & (np.hypot(offset[0], offset[1]) < 4.9)
    assert (shapely.contains(shape, points) == hidden)[off_edge].all()
    assert hidden.any()


def test_sorts() -> None:
    made = scene(
        nuisances=[
            {"name": "a", "kind": "fan", "at": [0, 0]},
            {"name": "b", "kind": "heater", "at": [0, 0]},
            {"name": "c", "kind": "vehicle", "at": [0, 0]},
            {"name": "d", "kind": "doorway", "at": [0, 0]},
        ]
    )
    assert [sort_of(spec) for spec in made.nuisances] == ["moves", "hot", "moves and hot", "people"]


def test_a_sector_above_the_unit() -> None:
    """A mask 100° to 150° off the axis meets a level 1 m up between tan 30° and tan 80° of it: 0.577 and 5.67 m."""
    made = scene(
        rooms=[ROOM], detectors=[detector((4, 4), 2, pattern({"circle": {"diameter": 10}}, mounting=3))]
    )  # fmt: skip
    (unit,) = make_units(made, build(made))
    ring = sector(unit, Mask(0, 360, 100, 150), 1.0, 5.0)
    wedge = sector(unit, Mask(0, 90, 100, 150), 1.0, 5.0)
    expected = np.pi * (5**2 - np.tan(np.radians(30)) ** 2)
    assert ring.area == pytest.approx(expected, rel=0.01)
    assert wedge.area == pytest.approx(expected / 4, rel=0.01)


STAIRWELL = Path(__file__).parents[2] / "examples" / "stairwell" / "scene.yaml"


def test_storeys() -> None:
    """Nuisances beside, above and below units of other storeys: a sheet each, every text in its place."""
    text = STAIRWELL.read_text(encoding="utf-8")
    listed = """
nuisances:
  - {name: Lift, kind: lift, at: [5, 1], room: Lobby 1}
  - {name: Hanging sign, kind: sign, at: [1.4, 3.6], room: Stair 1}
  - {name: Somebody, kind: doorway, at: [1.2, 2], room: Stair 2}
"""
    made = raycover.load_text(text.replace("grid: 0.1", "grid: 0.3") + listed)
    building = build(made)
    trips = find_trips(made, building=building)
    assert trips.remedies
    for number, storey in enumerate(building.storeys, 1):
        page = make_trips_plan(made, building, trips, storey=storey, sheet_number=(number, 3), dpi=80)
        page.pixels()
        assert_texts_are_in_place(page)
        texts = [text for text, _ in page.text_boxes()]
        assert ("Hanging sign" in texts) is (storey.name != "Ground floor")
        assert ("other storey" in texts) is (storey.name != "Ground floor")

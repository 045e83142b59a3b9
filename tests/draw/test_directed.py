"""Outlines, lobes and sheets of units set, aimed or given an elevation table: what is drawn is what is cast."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from small_scenes import detector, open_floor, pattern

import raycover
from raycover.asking.lobes import make_lobe
from raycover.asking.reach import unit_reach
from raycover.building.build import build
from raycover.catalogue import load_catalogue
from raycover.detectors import Unit
from raycover.draw.footprints import outline
from raycover.draw.unit_sheet import unit_page
from raycover.kit.unit_words import facts
from raycover.scene.devices import DetectorModel
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.solving.open_air import open_margin_db

CLEAR = Weather(0.0, "averaged")
BEAMS = [{"azimuth_deg": a, "off_axis_deg": 50, "width_deg": 80} for a in (0, 180)]
TABLE = [[0, 0.9], [45, 1], [90, 0.8], [120, 0.4], [180, 0.2]]
ELLIPSE = {"ellipse": {"length": 16, "width": 4}}


def unit(shape: dict[str, Any], *, infrared: bool = False, more: dict[str, Any] | None = None, **own: Any) -> Unit:
    keys = {} if infrared else {"frequency_ghz": 5.8, "reach_behind": 0.1}
    if more and "elevation" in more:
        keys.pop("reach_behind")
    made = pattern(shape, mounting=2.5, motion="radial", **keys, **(more or {}))
    placed = open_floor(detector((0, 0), 2.5, made, **own))
    (only,) = make_units(placed, build(placed))
    return only


@pytest.mark.parametrize("z", [0.0, 0.75])
@pytest.mark.parametrize(
    "made",
    [
        unit(ELLIPSE, more={"beams": BEAMS}),
        unit({"circle": {"diameter": 10}}, more={"elevation": TABLE}),
        unit({"circle": {"diameter": 10}}, sensitivity_pct=70),
        unit({"circle": {"diameter": 10}}, infrared=True, sensitivity_pct=70),
        unit(ELLIPSE, more={"beams": BEAMS}, sensitivity_pct=80, turn_deg=30),
    ],
    ids=["beams", "elevation", "set", "infrared set", "beams set and turned"],
)
def test_the_outline_on_a_plan_is_where_the_margin_ends(made: Unit, z: float) -> None:
    line = outline(made, "radial", z)
    assert line is not None
    inside, outside = (
        open_margin_db(
            made, (share * line[:, 0], share * line[:, 1], np.full(len(line), z - 2.5)), made.footprints, CLEAR
        )
        for share in (0.99, 1.01)
    )
    assert (inside >= 0).all()
    assert (outside < 0).all()


def test_declared_outline_on_the_declared_plane() -> None:
    line = outline(unit(ELLIPSE, more={"beams": BEAMS}), "any", 0.0)
    assert line is not None
    assert np.hypot(line[:, 0] / 8, line[:, 1] / 2) == pytest.approx(1, abs=1e-6)


@pytest.mark.parametrize("more", [{"beams": BEAMS}, {"elevation": TABLE}])
def test_a_lobe_ends_where_the_margin_does_behind_the_unit_too(more: dict[str, Any]) -> None:
    made = unit(ELLIPSE, more=more)
    lobe = make_lobe(made, None, CLEAR, n_azimuths=36, n_rings=19)
    free = ~lobe.on_floor & (lobe.distance_m > 0)
    x, y, z = (lobe.points - made.position)[free].T
    assert open_margin_db(made, (x, y, z), made.footprints, CLEAR) == pytest.approx(0, abs=1e-9)
    assert (z > 0.2).any()


def model(**more: Any) -> DetectorModel:
    made = pattern({"circle": {"diameter": 10}}, mounting=2.5, motion="radial", frequency_ghz=5.8, **more)
    return DetectorModel.model_validate({"raycover_detector": 1, "name": "own", "title": "Own", **made})


def test_a_section_shows_all_that_is_reached_above() -> None:
    """10 m across: s0 = √(25 + 6.25) = 5.59 m, the edge 63.4° off the axis at a share of 0.9183; straight back 0.2 of
    it, 1.217 m, and 2.435 m at 120°, 1.217 m up; 1.83 m at 135°, 1.29 m up."""
    edge = 1 - 0.2 * (math.degrees(math.atan(2)) - 45) / 45
    s0 = math.hypot(5, 2.5)
    reach = unit_reach(model(elevation=TABLE))
    above = reach.along.z[(reach.along.margin_db >= 0).any(axis=1)].max() - 2.5
    assert above >= s0 * (0.4 - 0.2 * 15 / 60) / edge * math.cos(math.radians(45)) - 0.02
    assert reach.top > 2.5 + above


def test_the_sheet_draws_and_says_it() -> None:
    for made in (
        load_catalogue().detectors["microwave-corridor-5.8"],
        model(elevation=TABLE, band_hz=[10, 100], sensitivity_pct={"from": 30, "to": 120}),
    ):
        said = dict(facts(made))
        page = unit_page(unit_reach(made), dpi=50)
        assert page.pixels().shape[2] in (3, 4)
        if made.beams is not None:
            assert "50° off its axis" in said["Beams (2)"]
            assert said["Reach behind it"].startswith("at least 10 %")
        else:
            assert said["Reach off axis"].startswith("0° 90 % · 45° 100 %")
            assert said["Radial speeds"] == "0.26 to 2.6 m/s (10 to 100 Hz)"
            assert said["Sensitivity"] == "30 to 120 % of the reach"


def test_a_front_to_back_ratio_in_words() -> None:
    assert dict(facts(model(front_to_back_db=20)))["Reach behind it"].startswith(
        "10 % of the reach (20 dB front to back)"
    )


def test_a_map_of_a_set_unit_agrees_with_its_outline() -> None:
    made = pattern({"circle": {"diameter": 10}}, mounting=2.5, motion="radial", frequency_ghz=5.8)
    floor = raycover.solve(open_floor(detector((0, 0), 2.5, made, sensitivity_pct=70), half=6, grid=0.05))["floor"]
    line = outline(unit({"circle": {"diameter": 10}}, sensitivity_pct=70), "any", 0.0)
    assert line is not None
    radius = float(np.linalg.norm(line[0]))
    assert radius == pytest.approx(math.sqrt((0.7 * math.hypot(5, 2.5)) ** 2 - 2.5**2))
    assert floor.area_where(floor.detected) == pytest.approx(math.pi * radius**2, rel=0.005)

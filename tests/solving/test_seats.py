"""Whether seated people are noticed: verdicts worked by hand, and how they are told."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from small_scenes import detector, pattern, scene

import raycover
from raycover.cli.main import main
from raycover.exchange.summary import summary
from raycover.solving.seats import seat_line

ROOM = {"name": "room", "outline": [[0, 0], [12, 0], [12, 8], [0, 8]], "height": 3, "walls": "brick-100"}
#: Presence over a circle of 6 m at 0.75 m from 2.75 m: a lens edge of tan θ = 3/2, slant range √13.
PRESENCE = pattern({"circle": {"diameter": 6}}, mounting=2.75, plane=0.75, motion="presence")
MICROWAVE = pattern({"circle": {"diameter": 6}}, mounting=2.75, plane=0.75, motion="presence", frequency_ghz=5.8)
DESK = {"name": "D", "at": [4, 4], "seat": True}  # the seat is at (4.8, 3.75)


def solved(**parts: Any) -> raycover.Coverage:
    planes = [{"name": "floor", "height": 0}]
    return raycover.solve(scene(**{"rooms": [ROOM], "desks": [DESK], "planes": planes, "grid": 0.5, **parts}))


def test_right_above_by_hand() -> None:
    """From 2.75 m straight above the head at 1.2 m: slant 1.55 of √13 (on the axis of a circle), 14.7 dB."""
    (seat,) = solved(detectors=[detector((4.8, 3.75), 2.75, PRESENCE)]).seats
    assert seat.noticed
    assert (seat.detector, seat.cause, seat.height_m) == ("D1", "none", 1.2)
    assert seat.margin_db == pytest.approx(40 * math.log10(math.sqrt(13) / 1.55), abs=1e-6)


def test_the_lens_edge_by_height() -> None:
    """A lens edge of tan θ = 3/2: 3 m away at 0.75 m, 2.57 m at the shoulders (1.035 m), 2.33 m at the head."""
    for away, height in ((2.9, 0.75), (2.5, 1.035), (2.3, 1.2)):
        (seat,) = solved(detectors=[detector((4.8, 3.75 - away), 2.75, PRESENCE)]).seats
        assert seat.noticed
        assert seat.height_m == pytest.approx(height)
        slant = math.hypot(away, 2.75 - height)
        assert seat.margin_db == pytest.approx(40 * math.log10(math.sqrt(13) / slant), abs=1e-6)
    (seat,) = solved(detectors=[detector((4.8, 3.75 - 3.1), 2.75, PRESENCE)]).seats
    assert (seat.noticed, seat.cause) == (False, "outside-lens")


def test_a_screen_hides_and_a_higher_unit_looks_over_it() -> None:
    """Screen at y = 4.78 up to 1.6 m. A unit at 2.75 m and y = 6.2: over the screen its ray meets the seat's axis
    at 2.75 − 1.15·(6.2 − 3.75)/(6.2 − 4.78) = 0.77 m: the whole person shows but the hands; a screen of 2.3 m hides
    up to 1.97 m, the head and all."""
    unit = detector((4.8, 6.2), 2.75, pattern({"circle": {"diameter": 12}}, mounting=2.75, motion="presence"))
    low = solved(desks=[{**DESK, "screen": {"height": 1.6}}], detectors=[unit]).seats[0]
    assert (low.noticed, low.cause) == (True, "none")
    high = solved(desks=[{**DESK, "screen": {"height": 2.3}}], detectors=[unit]).seats[0]
    assert (high.noticed, high.cause, high.blocked_by, high.detector) == (False, "blocked", "D", "D1")
    assert high.margin_db == -math.inf
    microwave = {**unit, "pattern": {**unit["pattern"], "kind": "microwave", "frequency_ghz": 5.8}}
    assert solved(desks=[{**DESK, "screen": {"height": 2.3}}], detectors=[microwave]).seats[0].noticed


def test_above_tiles_infrared_misses_and_microwave_notices() -> None:
    """Through 15 mm ceiling board at 0°, coherent, 0.25 dB one way at 5.8 GHz (computed): twice that off the margin."""
    room = {**ROOM, "suspended_ceiling": {"height": 2.5}}
    parts = {"rooms": [room], "conditions": {"losses": "coherent"}}
    (hidden,) = solved(detectors=[detector((4.8, 3.75), 2.75, PRESENCE)], **parts).seats
    assert (hidden.noticed, hidden.cause, hidden.blocked_by) == (False, "blocked", "room")
    (seen,) = solved(detectors=[detector((4.8, 3.75), 2.75, MICROWAVE)], **parts).seats
    open_air = 40 * math.log10(math.sqrt(13) / 1.55)
    assert seen.margin_db == pytest.approx(open_air - 2 * 0.25, abs=0.02)


def test_only_presence_counts() -> None:
    moving = pattern({"circle": {"diameter": 9}}, mounting=2.75)
    (seat,) = solved(detectors=[detector((4.8, 3.75), 2.75, moving)]).seats
    assert (seat.noticed, seat.cause, seat.detector) == (False, "out-of-reach", None)
    (nobody,) = solved().seats
    assert (nobody.noticed, nobody.detector) == (False, None)


def test_the_best_of_several_detectors_is_named() -> None:
    units = [detector((3, 3.75), 2.75, PRESENCE, "far"), detector((4.8, 3.75), 2.75, PRESENCE, "near")]
    assert solved(detectors=units).seats[0].detector == "near"
    assert solved(detectors=units[::-1]).seats[0].detector == "near"


def test_masks_and_warm_air_count() -> None:
    masked = detector((4.8, 2.0), 2.75, PRESENCE, masks=[{"from_deg": 60, "to_deg": 120}])
    assert solved(detectors=[masked]).seats[0].cause == "masked"
    edge = [detector((4.8, 3.75 - 2.99), 2.75, PRESENCE)]
    assert solved(detectors=edge).seats[0].noticed
    assert solved(detectors=edge, conditions={"ambient_c": 28}).seats[0].cause == "too-warm"


def test_summary_and_line() -> None:
    units = [detector((4.8, 3.75), 2.75, PRESENCE)]
    tables = [{"name": "T", "centre": [10, 6], "diameter": 1, "seats": 8}]
    coverage = solved(detectors=units, tables=tables)
    told = summary(coverage)["seats"]
    assert len(told) == 9
    assert told["D/seat 1"] == {
        "at": [4.8, 3.75, 0.0],
        "noticed": True,
        "margin_db": pytest.approx(40 * math.log10(math.sqrt(13) / 1.55)),
        "height_m": 1.2,
        "detector": "D1",
        "cause": "none",
        "blocked_by": None,
    }
    assert told["T/seat 1"]["noticed"] is False
    assert told["T/seat 1"]["margin_db"] is None
    json.dumps(told, allow_nan=False)
    line = seat_line(coverage.seats)
    assert line.startswith("seats: 1 of 9 seated people noticed by small movements; not: T/seat 1 (outside-lens), ")
    assert line.endswith(" and 2 more")
    assert seat_line(coverage.seats[:1]) == "seats: 1 of 1 seated people noticed by small movements"


def test_map_tells_of_seats(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = {"raycover": 1, "rooms": [ROOM], "desks": [DESK], "planes": [{"name": "floor", "height": 0}], "grid": 0.5,
            "detectors": [detector((4.8, 3.75), 2.75, PRESENCE)]}  # fmt: skip
    path = tmp_path / "scene.yaml"
    path.write_text(json.dumps(text))
    with pytest.raises(SystemExit) as left:
        main(["map", str(path), "-o", str(tmp_path / "out"), "--no-view"])
    assert left.value.code == 0
    assert "seats: 1 of 1 seated people noticed" in capsys.readouterr().err
    assert json.loads((tmp_path / "out" / "summary.json").read_text())["seats"]["D/seat 1"]["noticed"] is True


def test_examples_seat_people(corridor, sports_hall) -> None:  # type: ignore[no-untyped-def]
    """Under a wide unit everyone at a desk is noticed; at the ends of the meeting table nobody is."""
    by_name = {seat.name: seat for seat in corridor.coverage.seats}
    assert all(seat.noticed for name, seat in by_name.items() if name.startswith(("Desks D", "Desks E")))
    missed = {name for name, seat in by_name.items() if name.startswith("Meeting table") and not seat.noticed}
    assert missed
    assert missed < {name for name in by_name if name.startswith("Meeting table")}
    assert len(sports_hall.coverage.seats) == 13

"""A scene's lines: who hangs on them, what they draw, and what is said where a limit is passed."""

from __future__ import annotations

from typing import Any

import pytest
from small_scenes import detector, open_floor, pattern

from raycover.errors import InputError
from raycover.kit.bus import check_lines, unwired

UNIT = pattern({"circle": {"diameter": 8}}, mounting=2.5, bus_current_ma=6)
SILENT = pattern({"circle": {"diameter": 6}}, mounting=2.5)


def line(**more: Any) -> dict[str, Any]:
    return {"name": "L1", "detectors": ["A*"], "supply_ma": 100, **more}


def test_currents_and_counts_by_hand() -> None:
    made = open_floor(
        detector((0, 0), 2.5, UNIT, "A1"), detector((3, 0), 2.5, SILENT, "A2"), detector((6, 0), 2.5, UNIT, "B1"),
        lines=[line(devices=[{"kind": "button panel", "count": 3}, {"kind": "gear", "count": 10, "current_ma": 1.5}],
                    cable={"length": "200 m", "area_mm2": 0.75})],
    )  # fmt: skip
    (report,) = check_lines(made)
    # 6 + 20 (assumed) + 3·6 (assumed) + 10·1.5 = 59 mA; 2·200·24.5e-3·0.25 = 2.45 V.
    assert report.current_ma == pytest.approx(59)
    figures = {v.what: (v.figure, v.holds) for v in report.verdicts}
    assert figures["control devices"] == (5, True)
    assert figures["gear"] == (10, True)
    assert figures["voltage drop"] == (pytest.approx(2.45), False)
    assert "1 mm² would do" in next(v.advice for v in report.verdicts if v.what == "voltage drop")
    assert report.notes == (
        "20 mA a detector of an own pattern is assumed: its data sheet decides",
        "6 mA a button panel is assumed: its data sheet decides",
    )
    assert unwired(made) == ["B1"]
    assert not report.holds


def test_sixty_four_and_one_more() -> None:
    for n, holds in ((64, True), (65, False)):
        (report,) = check_lines(
            open_floor(
                detector((0, 0), 2.5, UNIT, "A1"),
                lines=[line(supply_ma=250, devices=[{"kind": "input unit", "count": n - 1, "current_ma": 1}])],
            )
        )
        assert report.verdicts[0].figure == n
        assert report.holds is holds


def test_everything_wrong_at_once() -> None:
    units = [detector((3 * k, 0), 2.5, UNIT, f"A{k}", address=5) for k in (1, 2)]
    with pytest.raises(InputError) as caught:
        open_floor(
            *units,
            lines=[line(detectors=["A*", "C9"]), line(name="L2", detectors=["A2"], supply_ma=200, most_ma=150)],
            zones=[{"name": "Z", "detectors": ["Q*"], "neighbours": ["Z", "Y"]}],
        )
    codes = sorted(p.code for p in caught.value.problems)
    assert codes == [
        "address-taken", "on-two-lines", "supply-order", "unknown-detector", "unknown-detector", "unknown-zone",
        "unknown-zone",
    ]  # fmt: skip
    assert all(p.position.line for p in caught.value.problems)


def test_a_hold_time_that_no_timer_takes() -> None:
    made = open_floor(detector((0, 0), 2.5, UNIT, "A1", hold_s=905), lines=[line()])
    (report,) = check_lines(made)
    assert [v.what for v in report.verdicts if not v.holds] == ["hold time of A1"]

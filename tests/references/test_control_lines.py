"""Control lines against IEC 62386 as second hand, guidelines of the interface's association, and python-dali."""

from __future__ import annotations

import dali.address
import dali.device.occupancy
import pytest

from raycover.kit import bus


def test_voltage_drop_over_300_m() -> None:
    # 2·300·12.1e-3·0.25 = 1.815 V at 20 °C [C from V: guidelines of the association; 12.1 Ω/km IEC 60228 from memory]
    assert bus.drop_v(300, 1.5, 250) == pytest.approx(1.815, abs=1e-12)
    assert bus.longest_m(1.5, 250) == 300
    assert bus.longest_m(1.0, 250) == pytest.approx(2 / (2 * 18.1e-3 * 0.25))
    # Copper at 60 °C: +15.7 % [C, 0.00393 per kelvin from memory].
    assert bus.drop_v(300, 1.5, 250, 60) == pytest.approx(1.815 * 1.1572, abs=1e-4)


def test_addresses_as_python_dali_knows_them() -> None:
    """An open library of the interface takes short addresses 0 to 63, for gear and for devices, and no more."""
    for kind in (dali.address.GearShort, dali.address.DeviceShort):
        assert kind(bus.ADDRESSES - 1).address == 63
        with pytest.raises(ValueError, match="range"):
            kind(bus.ADDRESSES)
    assert dali.device.occupancy.instance_type == 3


def test_hold_timers() -> None:
    # Steps of 10 s; 90 steps are the default of 15 min; 254 steps are 42 min 20 s; 0 steps 1 s [second hand].
    assert bus.hold_steps(90 * 10) == 90
    assert bus.hold_steps(42 * 60 + 20) == 254
    assert bus.hold_steps(1) == 0
    assert [bus.hold_steps(s) for s in (5, 905, 2550, 0)] == [None] * 4
    assert [bus.nearest_hold_s(s) for s in (2, 5, 7, 904, 905, 9999)] == [1, 1, 10, 900, 910, 2540]

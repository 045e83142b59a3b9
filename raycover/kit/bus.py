"""Lighting control lines (IEC 62386) checked: addresses, current, voltage drop, hold timers.

The figures: 64 short addresses for control devices and 64 more for gear [second hand]; a supply gives 250 mA at
most, and 2 V may drop along the cable, which is 300 m of 1.5 mm² [read in guidelines of the interface's association];
copper by IEC 60228 [from memory]; hold timers run in steps of 10 s up to 42 min 20 s, or 1 s [second hand]. Usual
currents of devices are from memory. A check of figures, never a statement that an installation complies.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from raycover.scene.schema import Scene
from raycover.scene.wiring import OHM_PER_KM, BusDevice, Line
from raycover.scene.wiring_checks import members

#: Short addresses for control devices (detectors, panels, input units, light sensors), and for gear.
ADDRESSES = 64
#: Largest current of a supply (mA) and drop along the cable (V).
LARGEST_SUPPLY_MA, LARGEST_DROP_V = 250.0, 2.0
#: No line is longer (m), whatever its copper.
LONGEST_M = 300.0
#: Rise of copper's resistance per kelvin.
PER_KELVIN = 0.00393
#: Current (mA) of one device where nothing is given: from memory, common practice.
USUAL_MA = {"button panel": 6.0, "input unit": 6.0, "light sensor": 6.0, "gear": 2.0, "gateway": 10.0}
#: A detector whose entry declares none: the top of the usual 5 to 20 mA [from memory].
DETECTOR_MA = 20.0
#: Hold timers: steps of 10 s, the largest 254 steps; 0 steps stand for 1 s.
HOLD_STEP_S, HOLD_MOST_STEPS, HOLD_LEAST_S = 10, 254, 1


@dataclass(frozen=True)
class Item:
    """Devices of one kind on a line: how many, the current of one (mA), whether that is our assumption."""

    what: str
    count: int
    current_ma: float
    assumed: bool
    gear: bool

    @property
    def total_ma(self) -> float:
        return self.count * self.current_ma


@dataclass(frozen=True)
class Verdict:
    """One check of a line: `figure` of `limit`, in words what follows where it does not hold."""

    what: str
    figure: float
    limit: float
    unit: str
    holds: bool
    advice: str = ""


@dataclass(frozen=True)
class LineReport:
    name: str
    items: tuple[Item, ...]
    verdicts: tuple[Verdict, ...]
    notes: tuple[str, ...]

    @property
    def holds(self) -> bool:
        return all(v.holds for v in self.verdicts)

    @property
    def current_ma(self) -> float:
        return sum(item.total_ma for item in self.items)


def drop_v(length_m: float, area_mm2: float, current_ma: float, conductor_c: float = 20.0) -> float:
    """Voltage (V) that drops along both cores of a cable with the whole current at its far end.

    2·l·R·I with R by IEC 60228. While a device talks it draws all that the supply can give, so the current is the
    supply's largest, not the devices' sum.
    """
    ohm = 2 * length_m * OHM_PER_KM[area_mm2] / 1000 * (1 + PER_KELVIN * (conductor_c - 20.0))
    return ohm * current_ma / 1000


def longest_m(area_mm2: float, current_ma: float, conductor_c: float = 20.0) -> float:
    """Longest cable (m) along which no more than 2 V drops, 300 m at most."""
    return min(LARGEST_DROP_V / drop_v(1.0, area_mm2, current_ma, conductor_c), LONGEST_M)


def hold_steps(hold_s: float) -> int | None:
    """Steps of a hold timer that are just this time (s), None where there are none."""
    if hold_s == HOLD_LEAST_S:
        return 0
    steps = round(hold_s / HOLD_STEP_S)
    exact = abs(steps * HOLD_STEP_S - hold_s) < 1e-6 and 1 <= steps <= HOLD_MOST_STEPS
    return steps if exact else None


def nearest_hold_s(hold_s: float) -> int:
    """The nearest time (s) that a hold timer can take."""
    if hold_s < (HOLD_LEAST_S + HOLD_STEP_S) / 2:
        return HOLD_LEAST_S
    return HOLD_STEP_S * min(max(int(hold_s / HOLD_STEP_S + 0.5), 1), HOLD_MOST_STEPS)


def check_lines(scene: Scene) -> tuple[LineReport, ...]:
    """Every line of a scene, checked."""
    return tuple(_check(scene, line) for line in scene.lines)


def unwired(scene: Scene) -> list[str]:
    """Detectors on no line."""
    wired = {name for line in scene.lines for name in members(scene, line.detectors)}
    return [d.name for d in scene.detectors if d.name not in wired]


def _check(scene: Scene, line: Line) -> LineReport:
    names = members(scene, line.detectors)
    items = (*_detector_items(scene, names), *(_device_item(d) for d in line.devices))
    n_control = sum(i.count for i in items if not i.gear)
    n_gear = sum(i.count for i in items if i.gear)
    total = sum(i.total_ma for i in items)
    verdicts = [
        Verdict("control devices", n_control, ADDRESSES, "", n_control <= ADDRESSES, "share them over two lines"),
        Verdict("gear", n_gear, ADDRESSES, "", n_gear <= ADDRESSES, "share it over two lines"),
        Verdict(
            "current", total, line.supply_ma, "mA", total <= line.supply_ma + 1e-9,
            "take a larger supply" if total <= LARGEST_SUPPLY_MA else "share the devices over two lines",
        ),
    ]  # fmt: skip
    if line.cable is not None:
        c = line.cable
        drop = drop_v(c.length, c.area_mm2, line.most_ma, c.conductor_c)
        most = longest_m(c.area_mm2, line.most_ma, c.conductor_c)
        wider = next(
            (a for a in sorted(OHM_PER_KM) if longest_m(a, line.most_ma, c.conductor_c) >= c.length - 1e-9), None
        )
        advice = f"{most:.0f} m is the most for {c.area_mm2:g} mm²"
        advice += (
            f"; {wider:g} mm² would do" if wider is not None else "; move the supply to the middle, or part the line"
        )
        verdicts.append(Verdict("voltage drop", drop, LARGEST_DROP_V, "V", drop <= LARGEST_DROP_V + 1e-9, advice))
        verdicts.append(Verdict("length", c.length, LONGEST_M, "m", c.length <= LONGEST_M + 1e-9, advice))
    verdicts += _hold_verdicts(scene, names)
    notes = [f"{i.current_ma:g} mA a {i.what} is assumed: its data sheet decides" for i in items if i.assumed]
    if line.cable is None:
        notes.append("no cable is given: no voltage drop worked out")
    return LineReport(line.name, items, tuple(verdicts), tuple(dict.fromkeys(notes)))


def _detector_items(scene: Scene, names: Iterable[str]) -> list[Item]:
    found: dict[tuple[str, float, bool], int] = {}
    by_name = {d.name: d for d in scene.detectors}
    for name in names:
        pattern = scene.pattern_of(by_name[name])
        current = pattern.bus_current_ma
        key = (
            getattr(pattern, "title", "detector of an own pattern"),
            DETECTOR_MA if current is None else current,
            current is None,
        )
        found[key] = found.get(key, 0) + 1
    return [Item(what, n, current, assumed, gear=False) for (what, current, assumed), n in found.items()]


def _device_item(device: BusDevice) -> Item:
    current = USUAL_MA[device.kind] if device.current_ma is None else device.current_ma
    return Item(device.kind, device.count, current, device.current_ma is None, gear=device.kind == "gear")


def _hold_verdicts(scene: Scene, names: list[str]) -> list[Verdict]:
    """A verdict for each detector whose hold time no timer can take."""
    found = []
    for detector in scene.detectors:
        if detector.name in names and detector.hold_s is not None and hold_steps(detector.hold_s) is None:
            near = nearest_hold_s(detector.hold_s)
            found.append(
                Verdict(
                    f"hold time of {detector.name}", detector.hold_s, near, "s", False,
                    f"timers run in steps of {HOLD_STEP_S} s up to {HOLD_STEP_S * HOLD_MOST_STEPS} s: set {near} s",
                )
            )  # fmt: skip
    return found

"""What the panel says under "Setting": the entries to choose from, the chosen detector's setting and masks."""

from __future__ import annotations

from raycover.draw.lettering import clean
from raycover.draw.view3d.window.fitting import EDGE_DEG, SET_PCT, masked_words
from raycover.draw.view3d.window.panel import Option, Row, Slider
from raycover.draw.view3d.window.state import State
from raycover.draw.view3d.window.verdict import Line
from raycover.editing.live import LiveCoverage
from raycover.scene.devices import MaskSpec
from raycover.signs import minus

_WHOLE_TURN = (-180.0, 180.0, EDGE_DEG)


def entries(live: LiveCoverage, state: State) -> tuple[Row, ...]:
    """Every entry of the catalogue, that of the chosen detector marked."""
    catalogue, chosen = live.scene.catalogue.detectors, state.detector
    now = state.model if chosen is None else live.design.detectors[chosen].model
    return tuple(
        Row(name, clean(entry.title), entry.kind, str(entry.mounting or ""), name == now, name == now)
        for name, entry in catalogue.items()
    )


def sliders(live: LiveCoverage, state: State) -> tuple[Slider, ...]:
    """The chosen detector's setting, and the edges of the chosen mask."""
    if state.detector is None:
        return ()
    spec = live.design.detectors[state.detector]
    pattern = live.scene.pattern_of(spec)
    low, high = pattern.settings_pct
    found = [Slider("set to", f"{spec.sensitivity_pct:g} % of its reach", spec.sensitivity_pct,
                    (low, max(high, low + 1.0), SET_PCT), "sensitivity")]  # fmt: skip
    if pattern.kind == "dual":
        value = spec.sensitivity_pct if spec.microwave_pct is None else spec.microwave_pct
        low, high = pattern.parts[-1].settings_pct
        found.append(
            Slider("its microwave half", f"{value:g} %", value, (low, max(high, low + 1.0), SET_PCT), "microwave")
        )
    if state.mask is not None:
        mask = spec.masks[state.mask]
        for label, value, does in (("mask from", mask.from_deg, "mask from"), ("mask to", mask.to_deg, "mask to")):
            angle = (value + 180) % 360 - 180
            found.append(Slider(label, minus(f"{angle:g}°"), angle, _WHOLE_TURN, does))
    return tuple(found)


def masks(live: LiveCoverage, state: State) -> tuple[Option, ...]:
    """A chip a mask, and one for a new one."""
    if state.detector is None:
        return ()
    spec = live.design.detectors[state.detector]
    chips: list[Option] = [(_said(mask), k, k == state.mask) for k, mask in enumerate(spec.masks)]
    return (*chips, ("+ mask", None, False))


def chosen_lines(live: LiveCoverage, state: State) -> tuple[Line, ...]:
    """The chosen detector in lines: what it is, where it hangs, how it is set, what speaks against it."""
    if state.detector is None:
        return ()
    spec, unit = live.design.detectors[state.detector], live.units[state.detector]
    place = f"at ({spec.at[0]:.2f}, {spec.at[1]:.2f}), {spec.mounting:.2f} m high, turn {spec.turn_deg:g}°"
    lines = [
        Line(f"{clean(unit.name)}: {clean(unit.title)}", "faint"),
        Line(minus(f"{place}, tilt {spec.tilt_deg:g}°"), "faint"),
    ]
    given = [f"set to {spec.sensitivity_pct:g} %"] if spec.sensitivity_pct != 100 else []
    given += [masked_words(mask.from_deg, mask.to_deg) for mask in spec.masks]
    if given:
        lines.append(Line(", ".join(given), "faint"))
    doubts = live.doubts(state.detector)
    if doubts:
        said = clean(doubts[0]).removeprefix(f'"{clean(unit.name)}" ')
        lines.append(Line(said.removeprefix(f"is mounted at {spec.mounting:g} m, "), "doubt"))
    return tuple(lines)


def _said(mask: MaskSpec) -> str:
    return minus(f"{mask.from_deg:g}° to {mask.to_deg:g}°")

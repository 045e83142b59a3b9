"""A catalogue's infrared entry as a simulated detector: its lens, and how its calibration scatters."""

from __future__ import annotations

from typing import Any

from raycover.cli.tables import table
from raycover.detectors import make_unit
from raycover.physics.calibration import CannotCalibrate
from raycover.scene.devices import DetectorModel, DetectorSpec
from raycover.signs import minus
from raycover.walking.sensing import MODEL_CAUTION, Sensor, sensor_of


def simulated(model: DetectorModel, mounting: float) -> Sensor:
    """The entry mounted at a height (m). Raises CannotCalibrate."""
    spec = DetectorSpec(name=model.name, model=model.name, at=(0.0, 0.0), mounting=mounting)
    return sensor_of(make_unit(spec, model, 0.0), model)


def simulated_json(model: DetectorModel, mounting: float) -> dict[str, Any] | None:
    """Lens, threshold and scatter; why not where it cannot be; None for microwave."""
    from raycover.exchange.walk_maps import sensor_json

    if model.kind != "infrared":
        return None
    try:
        found = sensor_json(simulated(model, mounting))
    except CannotCalibrate as error:
        return {"impossible": f"{error}; {error.help}", "caution": MODEL_CAUTION}
    return {**found, "caution": MODEL_CAUTION}


def print_simulated(model: DetectorModel, mounting: float) -> None:
    """The same as a table on stdout; nothing for microwave."""
    if model.kind != "infrared":
        return
    print()
    try:
        sensor = simulated(model, mounting)
    except CannotCalibrate as error:
        print(f"Simulated detector: none. {str(error)[0].upper()}{str(error)[1:]}; {error.help}.")
        return
    zones, found = sensor.zones, sensor.calibration
    lens = "derived from the footprint" if sensor.generic else "of the entry"
    n_zones = sum(ring.count for ring in zones.rings)
    rows = [
        [
            s.motion,
            f"{s.edge_m:.1f}",
            minus(f"{found.offset_db[s.motion]:+.1f}") if s.motion != found.base else "0",
            minus(f"{s.low_db:+.1f} to {s.high_db:+.1f}"),
            f"{s.run_db:.1f}",
            f"{s.share:.0%}",
            f"{s.share_azimuths:.0%}",
        ]
        for s in found.scatter
    ]
    table(
        ["motion", "edge, m", "sensitivity, dB", "azimuths 10–90 %, dB", "runs s.d., dB", "runs noticed", "always"],
        rows,
        title=(
            f"Simulated detector, calibrated at {found.mounting:g} m, 20 °C "
            f"(lens {lens}: {n_zones} {zones.element} zones in {len(zones.rings)} rings, pairs {zones.pitch_deg:.1f}°)"
        ),
        right=(1, 2, 3, 4, 5, 6),
    )
    for text in found.warnings:
        print(f"  note: {text}")
    print(MODEL_CAUTION)

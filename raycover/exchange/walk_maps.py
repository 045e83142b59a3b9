"""Grid walks as files: figures as JSON, maps as VTK image data."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.exchange.image_data import write_cells
from raycover.exchange.summary import stamp
from raycover.physics.calibration import Calibration
from raycover.walking.grid_walk import HEADINGS_RAD, GridWalk
from raycover.walking.sensing import MODEL_CAUTION, Sensor


def grid_walk_json(found: Mapping[str, GridWalk], sensors: Mapping[str, Sensor], ambient_c: float) -> dict[str, Any]:
    """Figures of grid walks by plane, and how each simulated detector was calibrated."""
    return {
        **stamp(),
        "caution": MODEL_CAUTION,
        "ambient_c": ambient_c,
        "planes": {name: _figures(one) for name, one in found.items()},
        "detectors": {
            name: {"zones": _zones(one), **calibration_json(one.calibration)} for name, one in sensors.items()
        },
    }


def sensor_json(sensor: Sensor) -> dict[str, Any]:
    """A simulated detector's lens and calibration."""
    return {"zones": _zones(sensor), **calibration_json(sensor.calibration)}


def calibration_json(found: Calibration) -> dict[str, Any]:
    """A calibration with the scatter that its median hides."""
    return {
        "calibrated_at_m": found.mounting,
        "threshold_w_m2": found.threshold,
        "motions": {
            s.motion: {
                "edge_m": round(s.edge_m, 3),
                "offset_db": round(found.offset_db[s.motion], 2),
                "azimuth_10_db": round(s.low_db, 2),
                "azimuth_90_db": round(s.high_db, 2),
                "runs_sd_db": round(s.run_db, 2),
                "share_of_runs": round(s.share, 4),
                "share_of_azimuths_always": round(s.share_azimuths, 4),
            }
            for s in found.scatter
        },
        "warnings": list(found.warnings),
    }


def _zones(sensor: Sensor) -> dict[str, Any]:
    return {
        "derived": sensor.generic,
        "element": sensor.zones.element,
        "rings": len(sensor.zones.rings),
        "zones": sum(ring.count for ring in sensor.zones.rings),
        "pair_pitch_deg": round(sensor.zones.pitch_deg, 2),
        "pulses": sensor.zones.n_pulses,
    }


def _figures(found: GridWalk) -> dict[str, Any]:
    area = np.asarray(found.surface.area, float)
    maps = {
        "walking": found.mean,
        "worst_direction": found.worst,
        "best_direction": found.best,
        "across": found.tangential,
        "toward": found.radial,
        "seated": found.seated,
    }
    directions = {
        f"{round(np.degrees(heading))}": _mean(chance, area)
        for heading, chance in zip(HEADINGS_RAD, found.chance, strict=True)
    }
    surface = found.surface
    by_room = {key: _means(values, area, surface.room, len(surface.room_names)) for key, values in maps.items()}
    rooms = {
        name: {key: means[index] for key, means in by_room.items()} for index, name in enumerate(surface.room_names)
    }
    return {
        "cells": found.n_cells,
        "walks": found.n_walks,
        "walkable_m2": round(float(area[np.isfinite(found.mean)].sum()), 3),
        "chance": {key: _mean(values, area) for key, values in maps.items()},
        "share_noticed_by_half": {key: _share(values, area) for key, values in maps.items()},
        "chance_by_direction_deg": directions,
        "rooms": rooms,
        "simulated_detectors": found.n_infrared,
        "declared_detectors": found.n_microwave,
    }


def _mean(values: NDArray[np.float32], area: NDArray[np.float64]) -> float | None:
    weight = np.where(np.isfinite(values), area, 0.0)
    return round(float((np.nan_to_num(values) * weight).sum() / weight.sum()), 4) if weight.sum() else None


def _means(
    values: NDArray[np.float32], area: NDArray[np.float64], room: NDArray[np.integer], n_rooms: int
) -> list[float | None]:
    """As `_mean`, of each room."""
    known = np.isfinite(values) & (room >= 0)
    weight = np.bincount(room[known], area[known], n_rooms)
    summed = np.bincount(room[known], values[known] * area[known], n_rooms)
    return [round(s / w, 4) if w else None for s, w in zip(summed.tolist(), weight.tolist(), strict=True)]


def _share(values: NDArray[np.float32], area: NDArray[np.float64]) -> float | None:
    weight = np.where(np.isfinite(values), area, 0.0)
    return round(float(weight[np.nan_to_num(values) >= 0.5].sum() / weight.sum()), 4) if weight.sum() else None


def write_walk_maps(found: GridWalk, path: Path) -> None:
    """Cell arrays `chance_walking`, `_worst`, `_best`, `_across`, `_toward`, `_seated`, `worst_heading_deg`.

    NaN outside, and where nobody can walk.
    """
    worst = np.where(found.worst_heading >= 0, np.degrees(HEADINGS_RAD)[found.worst_heading], np.nan)
    arrays = {
        "chance_walking": found.mean,
        "chance_worst": found.worst,
        "chance_best": found.best,
        "chance_across": found.tangential,
        "chance_toward": found.radial,
        "chance_seated": found.seated,
        "worst_heading_deg": worst,
    }
    write_cells(found.surface, arrays, path)

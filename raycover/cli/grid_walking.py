"""`walk --grid`: every cell of every storey walked in eight directions and sat on."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.cli.choosing import loaded
from raycover.cli.printing import data, progress, talk, warn
from raycover.detectors import Unit
from raycover.errors import InputError, Position, Problem
from raycover.exchange.files import whole_folder
from raycover.exchange.walk_maps import grid_walk_json, write_walk_maps
from raycover.rays.ray_scene import RayScene
from raycover.rays.tracers import SLOW_WARNING
from raycover.scene.schema import Scene
from raycover.solving.casting import Weather
from raycover.solving.coverage import make_units
from raycover.solving.surfaces import Surface, make_surfaces
from raycover.walking.grid_walk import GridWalk, grid_walk
from raycover.walking.sensing import MODEL_CAUTION, Sensor, sensors_of
from raycover.walking.simulated import check_airs

if TYPE_CHECKING:
    from raycover.draw.lettering import Wording


def grid_walk_scene(
    path: Path,
    output: Path | None,
    *,
    state: str | None = None,
    threads: int | None = None,
    lang: str | None = None,
    as_json: bool = False,
) -> None:
    """Walk a scene's floors in a grid; with `output`, write walk-grid.json, and maps as pictures and image data.

    `lang` is the language of the pages, the scene's own if None.
    """
    from raycover.report.words import words_for

    scene = loaded(path, state)
    wording = words_for(scene, lang).wording
    building = build(scene)
    units = make_units(scene, building)
    if not units:
        raise InputError(
            [Problem("no-detector", "there is no detector to notice anybody", scene.position(), "add detectors:")]
        )
    sensors = sensors_of(scene, units)
    surfaces = floors_of(scene, building)
    weather = Weather.of(scene)
    for surface in surfaces if sensors else ():
        rows, columns = np.nonzero(surface.inside)
        check_airs(scene, weather, surface.points(rows, columns, 0.0))
    rays = RayScene(building)
    if rays.backend != "embree":
        talk(SLOW_WARNING)
    found: dict[str, GridWalk] = {}
    with progress("walking") as step:
        for index, surface in enumerate(surfaces):
            found[surface.name] = grid_walk(
                surface, units, sensors, rays, weather, threads=threads,
                progress=lambda done, n, index=index: step(index * n + done, len(surfaces) * n),  # type: ignore[misc]
            )  # fmt: skip
    warn([*scene.warnings, *building.warnings, *_doubts(scene, sensors)])
    figures = grid_walk_json(found, sensors, scene.conditions.ambient_c)
    if output is not None:
        _write(scene, building, units, found, figures, output, wording)
    if as_json:
        data(figures)
    else:
        _say(found)


def floors_of(scene: Scene, building: Building) -> list[Surface]:
    """The floor of each storey once, or of each extent where planes lie in extents. Raises InputError for none."""
    flat: dict[tuple[object, ...], Surface] = {}
    for surface in make_surfaces(scene, building)[0]:
        if surface.stairs is None and surface.inside.any():
            name = f"floor {surface.storey}" if surface.storey is not None else "floor"
            key = (surface.storey, surface.edges, surface.room_names)
            flat.setdefault(key, replace(surface, name=name, motion="any", target="point", heights=(0.0,)))
    if not flat:
        raise InputError(
            [Problem("nothing-to-walk", "there is no floor to walk on", Position("planes"), "give the scene rooms")]
        )
    made = list(flat.values())
    names = [surface.name for surface in made]
    return [
        surface if names.count(surface.name) == 1 else replace(surface, name=f"{surface.name} {index}")
        for index, surface in enumerate(made, 1)
    ]


def _doubts(scene: Scene, sensors: dict[str, Sensor]) -> list[Problem]:
    """What calibration found doubtful, each model once."""
    said: dict[str, Problem] = {}
    for index, spec in enumerate(scene.detectors):
        for sensor in (s for s in sensors.values() if s.unit.tag == spec.name):
            for text in sensor.calibration.warnings:
                where = scene.position("detectors", index)
                hint = "rings of its own under zones: in the entry would tell more than the derived lens"
                said.setdefault(
                    text, Problem("doubtful-lens", f'"{spec.name}": {text}', where, hint, severity="warning")
                )
    return list(said.values())


def _write(
    scene: Scene,
    building: Building,
    units: Sequence[Unit],
    found: dict[str, GridWalk],
    figures: object,
    output: Path,
    wording: Wording,
) -> None:
    from raycover.draw.chance_plan import MAPS, draw_chance

    with whole_folder(output) as draft, progress("drawing") as step:
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        (draft / "walk-grid.json").write_text(text, encoding="utf-8", errors="replace")
        n_sheets = len(found) * len(MAPS)
        for index, (name, one) in enumerate(found.items()):
            write_walk_maps(one, draft / f"{name} walked.vti")
            for k, which in enumerate(MAPS):
                step(index * len(MAPS) + k, n_sheets)
                number = (index * len(MAPS) + k + 1, n_sheets)
                draw_chance(
                    scene, building, units, one, which, draft / f"{name} walked, {which.key}.png",
                    sheet_number=number, wording=wording,
                )  # fmt: skip
    talk(f"Written to {output}.")


def _say(found: dict[str, GridWalk]) -> None:
    for name, one in found.items():
        figures = grid_walk_json({name: one}, {}, one.ambient_c)["planes"][name]
        chance = {key: "–" if value is None else f"{value:.0%}" for key, value in figures["chance"].items()}
        print(
            f"{name}: walking 1 m, {chance['walking']} are noticed ({chance['worst_direction']} in the worst way, "
            f"{chance['best_direction']} in the best); across the line of sight {chance['across']}, toward "
            f"{chance['toward']}; seated and moving an arm {chance['seated']}"
        )
        walks = f"{one.n_walks:,} simulated walks over {one.n_cells:,} cells"
        talk(f"{walks}: {one.seconds:.0f} s of processor time, {one.ray_seconds:.1f} s of it casting rays")
        if one.n_microwave:
            units = "unit by its" if one.n_microwave == 1 else "units by their"
            talk(f"{one.n_microwave} microwave {units} declared footprints.")
    talk(MODEL_CAUTION)
    talk("Not a safety function.")

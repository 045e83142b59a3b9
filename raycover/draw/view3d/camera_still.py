"""Stills from the scene's own cameras: from a place in perspective, or from a direction in parallel projection."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from raycover.building.parts import Building
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.view3d import environment
from raycover.draw.view3d.camera import View
from raycover.draw.view3d.still import Shot, compose, render, save_still
from raycover.draw.view3d.still_page import FORMATS, draw_sheet
from raycover.rays.ray_scene import RayScene
from raycover.scene.schema import Scene
from raycover.scene.views import CameraSpec
from raycover.solving.coverage import Coverage


def draw_camera(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    spec: CameraSpec,
    path: str | Path,
    *,
    rays: RayScene,
    wording: Wording = ENGLISH,
) -> None:
    """Draw the still of one camera. The file appears whole or not at all.

    Raises MissingPart where 3D cannot be drawn, OSError where the file cannot be written.
    """
    pyvista = environment.load_for_pictures()
    form = FORMATS[spec.size]
    name = spec.plane if spec.plane is not None else next(iter(coverage.by_plane()))
    composed = compose(scene, building, coverage, name, rays, *form.viewport_px, shot_of(spec, scene))
    picture = render(pyvista, composed)
    page = draw_sheet(scene, coverage, composed, picture, form, spec.name, wording=wording)
    save_still(page.pixels(), path)


def shot_of(spec: CameraSpec, scene: Scene) -> Shot:
    """What a camera of the scene asks of a still."""
    lobes = tuple(spec.lobes) if isinstance(spec.lobes, list) else None if spec.lobes else ()
    views: tuple[View, ...] = ()
    eye = None
    if spec.azimuth_deg is not None:
        # Clockwise from north, as on a compass; views count anticlockwise from +x.
        views = (View(scene.north_deg - spec.azimuth_deg, spec.elevation_deg),)
    if spec.from_ is not None:
        eye = np.array(spec.from_)
    return Shot(
        views, eye, None if spec.at is None else np.array(spec.at), spec.fov_deg, spec.parallel, spec.cut.walls,
        spec.cut.things, lobes, spec.detectors, spec.people,
    )  # fmt: skip

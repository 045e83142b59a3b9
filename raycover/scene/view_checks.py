"""Checks of sections and cameras against the rest of a scene, on its words and outlines alone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import shapely

from raycover.errors import Problem, did_you_mean
from raycover.scene.schema import Scene

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue

#: A section must run through rooms for at least this far (m).
_LEAST_M = 0.1
#: A camera further from every room than this (m) sees a speck.
_FAR_M = 1000.0


def check_views(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Sections cut something, cameras look at something, names they name are there."""
    outlines = _outlines(scene)
    for index, section in enumerate(scene.sections):
        line = shapely.LineString(section.line)
        if outlines is not None and line.intersection(outlines).length < _LEAST_M:
            (x0, y0), (x1, y1) = section.line
            yield Problem(
                "section-outside",
                f'section "{section.name}" from ({x0:g}, {y0:g}) to ({x1:g}, {y1:g}) runs through no room',
                scene.position("sections", index, "line"),
                _reach(outlines, "rooms"),
            )
    planes, detectors = [p.name for p in scene.planes], [d.name for d in scene.detectors]
    for index, camera in enumerate(scene.cameras):
        if camera.plane is not None and camera.plane not in planes:
            yield Problem(
                "unknown-plane",
                f'unknown plane "{camera.plane}"',
                scene.position("cameras", index, "plane"),
                did_you_mean(camera.plane, planes),
            )
        for k, name in enumerate(camera.lobes if isinstance(camera.lobes, list) else ()):
            if name not in detectors:
                yield Problem(
                    "unknown-detector",
                    f'unknown detector "{name}"',
                    scene.position("cameras", index, "lobes", k),
                    did_you_mean(name, detectors),
                )
        if outlines is not None:
            for key, point in (("from", camera.from_), ("at", camera.at)):
                if point is not None and outlines.distance(shapely.Point(point[:2])) > _FAR_M:
                    yield Problem(
                        "camera-far",
                        f'camera "{camera.name}": ({point[0]:g}, {point[1]:g}, {point[2]:g}) lies more than '
                        f"{_FAR_M:g} m from every room",
                        scene.position("cameras", index, key),
                        _reach(outlines, "rooms"),
                    )


def _outlines(scene: Scene) -> Any | None:
    """What rooms and planes cover; None where there are neither, or where outlines are wrong (said elsewhere)."""
    shapes = [shapely.Polygon(room.outline) for room in scene.rooms]
    shapes += [shapely.box(*plane.extent) for plane in scene.planes if plane.extent is not None]
    if not shapes or not all(shape.is_valid for shape in shapes):
        return None
    return shapely.union_all(shapes)


def _reach(outlines: Any, what: str) -> str:
    x0, y0, x1, y1 = outlines.bounds
    return f"the {what} lie between ({x0:g}, {y0:g}) and ({x1:g}, {y1:g})"

"""Checks of `placing:` across the scene: entries and detectors that nobody has, areas that cross themselves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.validation import explain_validity

from raycover.errors import Problem, did_you_mean
from raycover.scene.roofs import highest
from raycover.scene.schema import Scene

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue


def check_placing(scene: Scene, catalogue: Catalogue) -> Iterator[Problem]:
    spec = scene.placing
    if spec is None or scene.state != scene.state_name:
        return
    known = sorted(catalogue.detectors)
    for k, name in enumerate(spec.models or ()):
        if name not in catalogue.detectors:
            yield Problem("unknown-model", f'unknown detector model "{name}"',
                          scene.position("placing", "models", k), did_you_mean(name, known))  # fmt: skip
    for name in spec.prices:
        if name not in catalogue.detectors:
            yield Problem("unknown-model", f'a price for an unknown detector model "{name}"',
                          scene.position("placing", "prices", name, key=True), did_you_mean(name, known))  # fmt: skip
    offered = spec.models if spec.models is not None else [d.model for d in scene.detectors if d.model is not None]
    lacking = [name for name in dict.fromkeys(offered) if name in catalogue.detectors and name not in spec.prices]
    if spec.prices and lacking:
        yield Problem("no-price", f"no price for {', '.join(lacking)}", scene.position("placing", "prices"),
                      "give every entry offered a price, or none: then units are counted")  # fmt: skip
    tags = [d.name for d in scene.detectors]
    for k, pattern in enumerate(spec.keep):
        if not any(fnmatchcase(tag, pattern) for tag in tags):
            yield Problem("unknown-detector", f'no detector is named "{pattern}"',
                          scene.position("placing", "keep", k), did_you_mean(pattern, tags))  # fmt: skip
    yield from _heights(scene, spec.mounting or ())
    for key in ("within", "not_within"):
        for k, outline in enumerate(getattr(spec, key)):
            polygon = shapely.Polygon(np.asarray(outline, float))
            if not polygon.is_valid or polygon.area < 1e-6:
                why = explain_validity(polygon).split("[")[0].lower() if not polygon.is_valid else "it has no area"
                yield Problem("bad-outline", f"the area is no polygon: {why}", scene.position("placing", key, k),
                              "give its corners in order, without crossing")  # fmt: skip


def _heights(scene: Scene, offered: Sequence[float]) -> Iterator[Problem]:
    """Heights above every room's: 25 typed for 2.5 offers no place at all."""
    if not scene.rooms:
        return
    tallest = max(scene.rooms, key=highest)
    for k, height in enumerate(offered):
        if height > highest(tallest) + 1e-6:
            yield Problem(
                "mounting-above-ceiling",
                f'no room is {height:g} m high: the highest, "{tallest.name}", is {highest(tallest):.4g} m',
                scene.position("placing", "mounting", k),
                "offer heights at or below the ceiling; they count from the floor of each room",
            )

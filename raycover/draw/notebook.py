"""A map on ordinary matplotlib Axes, for notebooks and scripts: colours and hatches of the plans, axes in metres."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from matplotlib.patches import Patch, PathPatch
from matplotlib.path import Path
from matplotlib.patheffects import withStroke

from raycover.draw import palette
from raycover.draw.cuts import traces, wall_areas
from raycover.draw.legend import distribution
from raycover.draw.lettering import clean
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.draw.view3d.floor_map import FloorMap, make_map, mapped_area
from raycover.shares import percent
from raycover.solving.coverage import Coverage, PlaneCoverage

#: Pixels along the longer side of a map, hatch lines along it, and the thinnest wall (m).
_PX, _HATCHES, _THINNEST_M = 1400, 90, 0.05
#: Detectors beyond this many keep their marks and lose their names.
_MOST_NAMES = 60


def plot(coverage: Coverage, name: str | None = None, *, ax: Any = None) -> Any:
    """Draw one of a coverage's maps; returns the Axes. `ax` None: on new ones. Raises KeyError for an unknown map."""
    name = next(iter(coverage)) if name is None else name
    plane = coverage[name]
    if ax is None:
        import matplotlib.pyplot as plt

        _, ax = plt.subplots(figsize=(9.0, 5.6), layout="constrained")
    if plane.surface.stairs is None:
        _flat(ax, coverage, plane)
    else:
        _unrolled(ax, plane)
    shares = distribution(plane.margin_db, np.asarray(plane.surface.area, float), plane.reserve_db).by_class
    patches = [
        Patch(
            facecolor=palette.hex_of(palette.class_rgb(k)), edgecolor=palette.INK,
            label=f"{palette.CLASS_NAMES[k]}  {percent(float(shares[k]))}",
        )
        for k in reversed(range(len(palette.CLASS_NAMES)))
    ]  # fmt: skip
    ax.legend(handles=patches, loc="upper left", bbox_to_anchor=(1.01, 1.0), frameon=False, borderaxespad=0.0)
    ax.set(title=f"{clean(coverage.title)}: {clean(name)}, {percent(plane.share)} seen", aspect="equal")
    return ax


def _flat(ax: Any, coverage: Coverage, plane: PlaneCoverage) -> None:
    building = coverage.rays.building
    shown = shown_storey(building, plane)
    x0, x1, y0, y1 = plane.surface.edges
    span = max(x1 - x0, y1 - y0)
    made = make_map(plane, shown, px_per_m=_PX / span, hatch_m=span / _HATCHES)
    _image(ax, made, [polygon for polygon, _ in mapped_area(plane, shown)])
    for line in made.limits:
        ax.plot(line[:, 0], line[:, 1], color=palette.INK, linewidth=0.7, zorder=2)
    standing = [s for s in shown.sheets if s.kind not in ("floor", "ceiling", "desk", "deck")]
    walls = wall_areas([t for t in traces(shown, standing) if t.level == "cut"], _THINNEST_M)
    ax.add_collection(_areas(walls, facecolors=palette.INK, edgecolors="none", zorder=4), autolim=False)
    boxes = [shapely.Polygon(p) for p in shown.boxes.footprints(_low(shown))]
    ax.add_collection(
        _areas(boxes, facecolors=palette.GOODS, edgecolors=palette.THIRD_INK, linewidths=0.4, zorder=3), autolim=False
    )
    mine, _ = units_by_storey(building, shown, plane, coverage.units)
    places = np.array([unit.position[:2] for unit in mine]).reshape(-1, 2)
    ax.plot(
        *places.T, "o", color=palette.ACCENT, markerfacecolor=palette.PAPER, markersize=7, markeredgewidth=1.4, zorder=5
    )
    ax.plot(*places.T, ".", color=palette.ACCENT, markersize=4, zorder=5)
    for unit, place in zip(mine if len(mine) <= _MOST_NAMES else (), places, strict=False):
        ax.annotate(
            clean(unit.name), place, xytext=(5, 4), textcoords="offset points", color=palette.ACCENT, weight="bold",
            size=8, parse_math=False, zorder=6, path_effects=[withStroke(linewidth=2, foreground=palette.PAPER)],
        )  # fmt: skip
    edge = 0.02 * span
    ax.set(xlim=(x0 - edge, x1 + edge), ylim=(y0 - edge, y1 + edge), xlabel="x, m", ylabel="y, m")


def _low(building: Any) -> Any:
    """Boxes that a plan shows: what stands on the floor, not what hangs or lies on racks' upper levels."""
    every = building.boxes
    bottom = every.centre[:, 2] - every.size[:, 2] / 2
    ground = min((room.floor for room in building.rooms), default=building.ground)
    return np.flatnonzero((bottom < ground + 1.1) & (np.array(every.kinds, object) != "hung"))


def _image(ax: Any, made: FloorMap, outlines: list[Any]) -> None:
    x0, y0, x1, y1 = made.box
    drawn = ax.imshow(made.image, extent=(x0, x1, y0, y1), origin="lower", interpolation="bilinear")
    drawn.set_clip_path(PathPatch(_path(shapely.union_all(outlines)), transform=ax.transData))


def _unrolled(ax: Any, plane: PlaneCoverage) -> None:
    """A stair's map, unrolled from the foot."""
    image = palette.margin_rgb(plane.margin_db, plane.reserve_db)
    ax.imshow(image, extent=plane.surface.edges, origin="lower", interpolation="nearest")
    ax.set(xlabel="way up, unrolled, m", ylabel="across, m")


def _areas(polygons: list[Any], **style: Any) -> Any:
    from matplotlib.collections import PathCollection

    return PathCollection([_path(polygon) for polygon in polygons], **style)


def _path(polygon: Any) -> Path:
    rings = [
        np.asarray(ring.coords)[:, :2]
        for part in shapely.get_parts(polygon)
        if part.geom_type == "Polygon"
        for ring in (part.exterior, *part.interiors)
    ]
    return Path.make_compound_path(*(Path(ring, closed=True) for ring in rings)) if rings else Path(np.zeros((0, 2)))

"""The command that asks about one point: probe."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from raycover.asking.probe import CAUSE_WORDS, View, probe
from raycover.building.build import build
from raycover.cli.asked_target import Asked, target_of
from raycover.cli.choosing import loaded
from raycover.cli.printing import at_words, data, talk, warn
from raycover.exchange.summary import probe_json
from raycover.kit.unit_words import combining_words
from raycover.rays.ray_scene import LIFT, Crossing
from raycover.scene.air import degrees
from raycover.signs import minus
from raycover.solving.open_air import Weather

#: Causes that what stands in the way has no part in: nobody asks what such a ray would have crossed.
_OUT_OF_IT = ("out-of-reach", "outside-lens", "masked")
#: Detectors that are out of it are listed one by one up to so many, the nearest to seeing first, then counted.
_LISTED = 4


def probe_scene(path: Path, at: str, asked: Asked, *, as_json: bool, state: str | None = None) -> None:
    """Print every detector's view of a point, or of somebody as a plane asks."""
    scene = loaded(path, state)
    building = build(scene)
    target = target_of(scene, building, at, asked)
    point = target.point
    warn(p for p in scene.warnings if p.code == "corrections")
    views = probe(
        scene, point, motion=target.motion, target_m2=target.target_m2, heights=target.heights, building=building
    )
    weather = Weather.of(scene)
    ambient_c = float(weather.ambient_at(np.array([point]))[0])
    if as_json:
        data(probe_json(point, views, ambient_c) | target.as_json())
        return
    mirrored = [view for view in views if len(view.ways) > 1]
    if mirrored:
        n_ways, left_out = sum(len(v.ways) - 1 for v in mirrored), max(v.left_out_db for v in mirrored)
        talk(f"{n_ways} ways by one mirror; weaker ones left out would add {left_out:.1f} dB at the very most")
    x, y, z = point
    room = building.room_at(x, y, z + LIFT) or building.room_at(x, y, z)  # on a slab one stands in the room above
    seen = [view.name for view in views if view.detected]
    where = f'in room "{room.name}"' if room is not None else "outside every room"
    where += f", air at {degrees(ambient_c)}" if weather.airs is not None else ""
    print(f"{at_words(point)}, {where}: " + (f"seen by {', '.join(seen)}" if seen else "seen by no detector"))
    if asked != Asked():
        print(f"  taken: {target.words}")
    print("\n".join(_told(views)))


def _told(views: Sequence[View]) -> list[str]:
    """All that have something to do with the point in full, best first; the rest by name, then by number."""
    near = [v for v in views if v.margin_db > -math.inf or v.halves or v.cause not in _OUT_OF_IT]
    near.sort(key=lambda v: (-v.margin_db, -v.potential_db))
    far = sorted((v for v in views if v not in near), key=lambda v: -v.potential_db)
    lines = [line for view in near for line in _view_lines(view)]
    listed = len(far) if len(far) <= _LISTED + 1 else _LISTED
    lines += [line for view in far[:listed] for line in _view_lines(view)]
    if rest := far[listed:]:
        counts = Counter(CAUSE_WORDS[view.cause] for view in rest)
        why = ", ".join(f"{n} {words}" for words, n in counts.items())
        lines.append(f"  and {len(rest)} more, farther from seeing it: {why} (--json lists all)")
    return lines


def _view_lines(view: View) -> list[str]:
    lines = [
        f"  {view.name} ({view.unit.title}), {view.distance_m:.2f} m away: {_margin(view.margin_db)}, "
        f"{CAUSE_WORDS[view.cause]}"
    ]
    if view.halves:
        lines[0] += f" ({combining_words(view.unit)})"
        return lines + [f"  {line}" for half in view.halves for line in _view_lines(half)]
    if view.unit.housing:
        lines = [f"  {view.unit.kind} half: {_margin(view.margin_db)}, {CAUSE_WORDS[view.cause]}"]
    lines += [f"    {motion} motion taken {how}" for motion, how in view.unit.derived_motions.items()]
    if len(view.ways) < 2:
        return lines + _crossing_lines(view, view.crossings, 4)
    for way in view.ways:
        what = "straight"
        if way.mirror is not None:
            what = (
                f"by {way.mirror} ({way.construction}), {way.incidence_deg:.0f}° off square, "
                f"{way.reflect_db:.2f} dB lost in the mirror, {way.length_m:.2f} m"
            )
        lines.append(f"    {what}: {_margin(way.margin_db)}")
        lines += _crossing_lines(view, way.crossings, 6)
    return lines


def _margin(margin_db: float) -> str:
    return minus(f"{margin_db:+.1f} dB") if math.isfinite(margin_db) else "no margin"


def _crossing_lines(view: View, crossings: Sequence[Crossing], indent: int) -> list[str]:
    """What a way crosses, up to what stops it."""
    if view.cause in _OUT_OF_IT and view.margin_db == -math.inf:
        return []
    lines = []
    for k, crossing in enumerate(crossings):
        lines.append(_crossing_line(crossing, indent))
        if math.isinf(crossing.loss_db):
            if more := len(crossings) - k - 1:
                lines.append(f"{' ' * indent}and {more} {'thing' if more == 1 else 'things'} more behind it")
            break
    return lines


def _crossing_line(crossing: Crossing, indent: int) -> str:
    loss = f"{crossing.loss_db:.2f} dB one way" if math.isfinite(crossing.loss_db) else "stops it"
    return (
        f"{' ' * indent}at {crossing.distance_m:6.2f} m  {crossing.object} ({crossing.construction}), "
        f"{crossing.incidence_deg:.0f}° off square: {loss}"
    )

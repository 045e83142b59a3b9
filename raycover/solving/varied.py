"""One unit's margins at points, case by case: rays are cast for the scene as drawn, and at two more mounting heights.

What changes with a case and how it is followed:

- sheets' thickness and materials, solids' bulk, polarisation, cross section, contrast, reach: in dB, on the ways and
  crossings already found; no ray is cast again.
- aim: what lies in the open, worked out again for each pose of the unit; what stands in the way stays.
- mounting height: in the open exactly; what stands in the way is found at three heights (the middles of the lowest,
  middle and highest third of the range), and a case takes that of its third. A unit under a ceiling is not raised
  through it.
- further reflections than the first: added as `spreads` says; into shadows only within the unit's own room, elsewhere
  less what the straight way loses on its way.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from raycover.catalogue import Construction, SolidMaterial
from raycover.detectors import Unit
from raycover.physics.margin import largest_reach_m, undominated
from raycover.physics.pattern import Footprint
from raycover.rays.ray_scene import LIFT, RayScene
from raycover.solving.open_air import Weather, open_margin_db
from raycover.solving.paths import Traced, amplitude, margin_of, trace
from raycover.spreads import FILL_TOP_DB, Draws, Poses

Floats = NDArray[np.floating]
Single = NDArray[np.float32]
Bools = NDArray[np.bool_]
Index = NDArray[np.intp]


#: What further ways can lift a point above the straight one in open air (dB): four times its one-way power.
_WAYS_ABOVE_DB = 12.0


@dataclass(frozen=True)
class UnitCases:
    """Margins of one unit at those points (by index, `at` (k,)) that some case may bring up to what was asked.

    `drawn_db` (k,) as drawn, `margin_db` (n_cases, k) in every case; −inf where nothing is noticed.
    """

    at: Index
    drawn_db: Floats
    margin_db: Single


def farthest_m(unit: Unit, motion: str, weather: Weather, draws: Draws, lowest_db: float) -> float:
    """Distance (m) beyond which no case brings a point up to `lowest_db`; 0 where the motion is not declared."""
    reach = max((_largest_m(f, unit.reach_behind) for f in unit.footprints_for(motion)), default=0.0)
    above = _WAYS_ABOVE_DB if unit.kind == "microwave" and weather.reflections else 0.0
    most = float(_gains_db(unit, weather, draws).max(initial=-np.inf)) + above
    return reach * 10 ** ((most - lowest_db) / 40) + draws.doubt.mounting if np.isfinite(most) else 0.0


#: Asked of every tile, and not cheap where a directivity shapes the reach.
_largest_m = lru_cache(maxsize=4096)(largest_reach_m)


def _gains_db(unit: Unit, weather: Weather, draws: Draws) -> Floats:
    """(n_airs, n_cases) what raises or lowers all margins of a unit alike in each air that it tells apart."""
    if unit.kind != "infrared":
        person = draws.cross_section_db[None]
    else:
        airs = weather.airs_of(unit)
        person = np.stack([draws.contrast_db(c) for c in (airs.ambient_c if airs else (weather.ambient_c,))])
    return person + draws.unit_reach_db(unit.name)


def unit_cases(
    unit: Unit,
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    draws: Draws,
    *,
    lifted: Bools | None = None,
    lowest_db: float = -30.0,
) -> UnitCases:
    """Margins of a unit at points (n, 3) in every case; points that no case brings up to `lowest_db` are left out.

    `lifted` (n,) marks points on a floor.
    """
    offset = np.asarray(points - unit.position, float)
    farthest = farthest_m(unit, motion, weather, draws, lowest_db)
    live = np.flatnonzero(np.einsum("ij,ij->i", offset, offset) <= farthest**2)
    footprints = undominated(unit.footprints_for(motion))
    gains = _gains_db(unit, weather, draws)
    gain = gains[0]
    lit = weather.unheated
    poses = draws.poses(unit.tag)
    posed = [_posed(unit, poses, p) for p in range(len(poses.raised_m))]
    in_open, air = np.zeros((0, 0)), np.zeros(1, np.intp)
    if unit.kind == "infrared" and len(live):
        x, y, z = offset[live].T
        in_open = np.stack(
            [
                open_margin_db(one, (x, y, z - up), footprints, lit)
                for one, up in zip(posed, poses.raised_m, strict=True)
            ]
        )
        air = _air_of(unit, points[live], weather)
        some = in_open.max(axis=0) + gains.max(axis=1)[air] >= lowest_db
        live, in_open, air = live[some], in_open[:, some].astype(np.float32), air if len(air) == 1 else air[some]
    drawn, margin = np.full(len(live), -np.inf), np.full((draws.n, len(live)), -np.inf, np.float32)
    if not len(live):
        return UnitCases(live, drawn, margin)
    on_floor = None if lifted is None else lifted[live]
    heights, third = _heights(unit, poses, rays, draws.doubt.mounting)
    case_third = third[poses.of]
    for k, up in enumerate(heights.tolist()):
        cases = np.flatnonzero(case_third == k)
        middle = k == len(heights) // 2
        if not len(cases) and not middle:
            continue
        moved = replace(unit, position=unit.position + np.array([0, 0, up]), mounting=unit.mounting + up)
        if unit.kind == "infrared":
            targets = points[live] if on_floor is None else points[live] + on_floor[:, None] * [0, 0, LIFT]
            blocked = rays.infrared_blocked(rays.segments(moved.position, targets, moved.ahead))
            if middle:
                x, y, z = offset[live].T
                open_db = open_margin_db(unit, (x, y, z), footprints, weather)
                drawn = np.where(blocked, -np.inf, open_db)
            found = in_open[poses.of[cases]] + gains.T[np.ix_(cases, air)].astype(np.float32)
            found[:, blocked] = -np.inf
        else:
            traced = trace(moved, points[live], motion, rays, weather, lifted=on_floor)
            if middle:
                drawn = traced.margin_db()
            worth = np.flatnonzero(_worth_varying(traced, weather, draws) + gain.max() >= lowest_db)
            some_ways = _only(traced, worth)
            total = _microwave(unit, posed, some_ways, rays, weather, draws, cases, footprints, up)
            found = np.full((len(cases), len(live)), -np.inf, np.float32)
            found[:, worth] = margin_of(total).T + gain[cases, None]
        margin[cases] = found
    return UnitCases(live, drawn, margin)


def _air_of(unit: Unit, points: Floats, weather: Weather) -> Index:
    """(n,) which air points (n, 3) are in, by index; (1,) where one is everywhere."""
    airs = weather.airs_of(unit)
    return np.zeros(1, np.intp) if airs is None else airs.at(*points.T)


def _worth_varying(traced: Traced, weather: Weather, draws: Draws) -> Floats:
    """(n,) dB that no case exceeds before the unit's and the person's gain: no margin grows by more than 6 dB and half
    of what is lost on the way, but for what fills shadows."""
    margin, in_open = traced.margin_db(), traced.open_db[: traced.n_points]
    with np.errstate(invalid="ignore"):  # behind a mask both are −inf
        lost = np.where(np.isfinite(margin), np.maximum(in_open - margin, 0.0), 0.0)
    most = margin + 6.0 + np.where(np.isfinite(lost), lost, 0.0) / 2
    if weather.reflections and draws.doubt.deeper:
        most = np.maximum(most, in_open + 2 * FILL_TOP_DB)
    return np.asarray(most)


def _only(traced: Traced, points: Index) -> Traced:
    """The ways to some of the points, by rising index; points, ways and crossings numbered anew."""
    if len(points) == traced.n_points:
        return traced
    kept = np.zeros(traced.n_points, bool)
    kept[points] = True
    ways = np.flatnonzero(kept[traced.point])
    crossings = np.flatnonzero(kept[traced.point[traced.way]])
    new_point, new_way = np.cumsum(kept) - 1, np.zeros(len(traced.point), np.intp)
    new_way[ways] = np.arange(len(ways))
    by_way = ("mirror", "mirror_part", "open_db", "offset", "reflect_cosine", "reflect_db")
    by_crossing = ("part", "cosine", "chord_m", "loss_db")
    return replace(
        traced,
        n_points=len(points),
        point=new_point[traced.point[ways]],
        way=new_way[traced.way[crossings]],
        dropped=traced.dropped[points],
        **{name: getattr(traced, name)[ways] for name in by_way},
        **{name: getattr(traced, name)[crossings] for name in by_crossing},
    )


def _posed(unit: Unit, poses: Poses, pose: int) -> Unit:
    turned = unit.rotation @ Rotation.from_rotvec(poses.turned_rad[pose]).as_matrix()
    return replace(unit, rotation=turned)


def _heights(unit: Unit, poses: Poses, rays: RayScene, spread: float) -> tuple[Floats, NDArray[np.intp]]:
    """Heights (k,) relative to the drawn one at which rays are cast, and which of them stands for each pose."""
    if not spread:
        return np.zeros(1), np.zeros(len(poses.raised_m), np.intp)
    clear = 0.01
    over, _ = rays.first_above((unit.position - [0, 0, clear])[None], 2 * spread + clear)
    room = max(float(over[0]) - clear - 0.002, 0.0)
    step = 2 / 3 * spread
    third = np.digitize(poses.raised_m, [-spread / 3, spread / 3])
    return np.array([-step, 0.0, min(step, room) if room < 2 * spread else step]), third


def _microwave(
    unit: Unit,
    posed: list[Unit],
    traced: Traced,
    rays: RayScene,
    weather: Weather,
    draws: Draws,
    cases: Index,
    footprints: Sequence[Footprint],
    up: float,
) -> Floats:
    """One-way power (n, cases) of all ways together, relative to that which is just noticed."""
    n, m = traced.n_points, len(traced.point)
    poses = draws.poses(unit.tag)
    pose = poses.of[cases]
    in_open = np.zeros((m, len(cases)), np.float32)
    x, y, z = traced.offset.T
    for p in np.unique(pose).tolist():
        open_db = open_margin_db(posed[p], (x, y, z + up - poses.raised_m[p]), footprints, weather)
        in_open[:, pose == p] = amplitude(open_db)[:, None]
    power = in_open * _passed(unit, traced, rays, draws, cases)
    by_mirror = np.zeros((n, len(cases)), np.float32)
    if m > n:
        order = n + np.argsort(traced.point[n:], kind="stable")
        starts = np.flatnonzero(np.diff(traced.point[order], prepend=-1))
        by_mirror[traced.point[order[starts]]] = np.add.reduceat(power[order], starts, axis=0)
    total = power[:n].astype(float) + by_mirror * (1 + draws.deeper_share(unit.name)[cases])
    if weather.reflections and draws.doubt.deeper:
        total += in_open[:n] * _filled(unit, traced, rays)[:, None] * draws.fill_power(unit.name)[cases]
    return total


def _filled(unit: Unit, traced: Traced, rays: RayScene) -> Floats:
    """Share (n,) of what fills shadows that reaches points: all in the unit's own room, else as the straight way."""
    building, n = rays.building, traced.n_points
    points = unit.position + traced.offset[:n]
    own = building.rooms_at(unit.position[None])[0]
    loss = np.bincount(traced.way, traced.loss_db, minlength=len(traced.point))[:n]
    return np.where(building.rooms_at(points) == own, 1.0, 10 ** (-loss / 10))


def _passed(unit: Unit, traced: Traced, rays: RayScene, draws: Draws, cases: Index) -> Single:
    """(m, cases) share of the power that mirrors and crossings leave of each way."""
    m = len(traced.point)
    frequency = unit.frequency_ghz
    assert frequency is not None
    left = np.ones((m, len(cases)), np.float32)
    psi = draws.polarisation_rad(unit.name)[cases] if draws.doubt.polarised else None
    direction = traced.offset / np.maximum(np.linalg.norm(traced.offset, axis=1, keepdims=True), 1e-12)
    mirrors = rays.mirrors if np.any(traced.mirror >= 0) else None
    normal = np.zeros((m, 3))
    if mirrors is not None:
        bent = np.flatnonzero(traced.mirror >= 0)
        normal[bent] = mirrors.normal[mirrors.plane[traced.mirror[bent]]]
        for made, rows in _grouped(mirrors.made[traced.mirror[bent]], mirrors.made_of, bent):
            if isinstance(made, Construction) and made.kind == "layers" and made.layers:
                sheet = draws.sheet(made, frequency)
                te, tm = sheet.at(sheet.mirrored[:, :, cases], traced.reflect_cosine[rows])
                left[rows] = _mixed(te, tm, _te_share(unit, direction[rows], normal[rows], psi))
            else:
                left[rows] = (10 ** (-traced.reflect_db[rows] / 10))[:, None]
    if not len(traced.way):
        return left
    building = rays.building
    passed = np.empty((len(traced.way), len(cases)), np.float32)
    parts, number = np.unique(traced.part, return_inverse=True)
    made_of = [building.part_made_of(int(part)) for part in parts]
    distinct = list(dict.fromkeys(made_of))
    which = np.array([distinct.index(made) for made in made_of])[number.ravel()]
    frames = np.array(
        [building.sheets[p].frame.normal if p < len(building.sheets) else np.zeros(3) for p in parts.tolist()]
    )[number.ravel()]
    for made, rows in _grouped(which, tuple(distinct), np.arange(len(traced.way))):
        if isinstance(made, Construction) and made.kind == "layers" and made.layers:
            sheet = draws.sheet(made, frequency)
            te, tm = sheet.at(sheet.passed[:, :, cases], traced.cosine[rows])
            way = traced.way[rows]
            across = _unfolded(direction[way], frames[rows], normal[way], traced.cosine[rows])
            passed[rows] = _mixed(te, tm, _te_share(unit, direction[way], across, psi))
        else:
            with np.errstate(invalid="ignore"):
                loss = traced.loss_db[rows, None] * draws.loss_factor(made)[cases]
            passed[rows] = 10 ** (-loss / 10)
    order = np.argsort(traced.way, kind="stable")
    starts = np.flatnonzero(np.diff(traced.way[order], prepend=-1))
    left[traced.way[order[starts]]] *= np.multiply.reduceat(passed[order], starts, axis=0)
    return left


def _grouped(
    number: NDArray[np.integer], made_of: tuple[Construction | SolidMaterial, ...], rows: Index
) -> list[tuple[Construction | SolidMaterial, Index]]:
    """What rows are made of, with the rows of each."""
    return [(made_of[k], rows[number == k]) for k in np.unique(number).tolist()]


def _mixed(te: Single, tm: Single, share: Single | float) -> Single:
    return np.asarray(tm + share * (te - tm), np.float32)


def _unfolded(direction: Floats, normal: Floats, mirror: Floats, cosine: Floats) -> Floats:
    """Normals (k, 3) of crossed sheets as the straight, unfolded way meets them.

    Those met behind the mirror are turned over in it: which leg a crossing lies on shows in its cosine.
    """
    turned = normal - 2 * np.einsum("ij,ij->i", normal, mirror)[:, None] * mirror
    here = np.abs(np.abs(np.einsum("ij,ij->i", direction, normal)) - cosine)
    there = np.abs(np.abs(np.einsum("ij,ij->i", direction, turned)) - cosine)
    return np.where((there < here)[:, None], turned, normal)


def _te_share(unit: Unit, direction: Floats, normal: Floats, psi: Floats | None) -> Single | float:
    """Share (k, cases) of the power that arrives across the plane of incidence, the field launched along `psi`.

    The field lies along a line in the unit's plane, less its part along the way. Half where nothing tells: no
    polarisation in doubt, a way square to the sheet, a body without a normal of its own.
    """
    if psi is None:
        return 0.5
    crossed = np.cross(direction, normal)
    size = np.linalg.norm(crossed, axis=1, keepdims=True)
    known = size[:, 0] > 1e-6
    across = np.asarray(crossed / np.where(size > 1e-6, size, 1.0))
    x, y = unit.rotation[:, 0], unit.rotation[:, 1]
    cos, sin = np.cos(psi).astype(np.float32), np.sin(psi).astype(np.float32)

    def along(vectors: Floats) -> Single:
        one, two = (vectors @ x).astype(np.float32), (vectors @ y).astype(np.float32)
        return np.asarray(one[:, None] * cos + two[:, None] * sin, np.float32)

    whole = np.maximum(1 - along(direction) ** 2, 1e-4)
    return np.asarray(np.where(known[:, None], np.minimum(along(across) ** 2 / whole, 1.0), 0.5), np.float32)

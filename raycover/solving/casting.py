"""One detector against points: the margin in open air, then what stands in the way, then the cause of a miss.

A dual unit's parts are cast each by itself, and `combining` says what becomes of the two.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from raycover.detectors import Unit
from raycover.physics.margin import largest_reach_m, undominated
from raycover.rays.ray_scene import LIFT, RayScene, Segments, take
from raycover.rays.recall import Recall
from raycover.rays.segments import joined, off_floor
from raycover.solving.combining import combined_db, deciding, for_people, over_parts
from raycover.solving.open_air import Weather as Weather
from raycover.solving.open_air import distance_margin_db, open_air, open_margin_db
from raycover.solving.open_views import LOWEST_DB as LOWEST_DB
from raycover.solving.open_views import Placed, View, gathered, place_unit, views, window
from raycover.solving.paths import Imaging, Mirrored, amplitude, imaging
from raycover.solving.surfaces import Surface

Floats = NDArray[np.floating]
Single = NDArray[np.float32]
Bools = NDArray[np.bool_]

#: Segments of several views are cast in one go up to this many: what numpy takes for each call is paid once, and
#: memory stays bounded. By measurement: with half as many or fewer crossings take longer, with more nothing is gained.
_TOGETHER = 65536
#: What each part of a unit feels of conditions, None where it reaches nothing.
Felt = tuple[Weather | None, ...]
#: Cause codes, in the order in which the first that holds is taken (0: detected).
CAUSES = ("none", "out-of-reach", "outside-lens", "masked", "blocked", "material-loss", "too-warm")
NONE, OUT_OF_REACH, OUTSIDE_LENS, MASKED, BLOCKED, MATERIAL_LOSS, TOO_WARM = range(7)


@dataclass(frozen=True)
class Patch:
    """A detector's margins over the window of a surface that it can reach; −inf where it sees nothing.

    `mirrored` tells of the ways by mirrors, None where none were looked for; `n_rays` how many segments were traced, of
    microwave where it was cast by itself.
    """

    rows: slice
    columns: slice
    margin_db: Single
    mirrored: Mirrored | None = None
    n_rays: int = 0

    @property
    def window(self) -> tuple[slice, slice]:
        return self.rows, self.columns


def cast(unit: Unit, surface: Surface, rays: RayScene, weather: Weather) -> Patch | None:
    """Margins of one detector on one surface, or None where it reaches no cell of it."""
    return cast_many([unit], surface, rays, weather)[0]


def cast_many(units: Sequence[Unit], surface: Surface, rays: RayScene, weather: Weather) -> list[Patch | None]:
    """As `cast`, of several detectors in one go, in their order: the same patches to the last bit."""
    patches = _cast([part for unit in units for part in unit.parts], surface, rays, weather)
    found, first = [], 0
    for unit in units:
        mine = patches[first : first + len(unit.parts)]
        found.append(mine[0] if len(mine) == 1 else _combined(unit, surface.motion, mine))
        first += len(mine)
    return found


def _combined(unit: Unit, motion: str, patches: list[Patch | None]) -> Patch | None:
    """One patch of those of a dual unit's parts; None where it reaches no cell."""
    held = [patch for patch in patches if patch is not None]
    if not held:
        return None
    rows, columns = (
        slice(min(p.window[axis].start for p in held), max(p.window[axis].stop for p in held)) for axis in (0, 1)
    )
    whole = []
    for patch in patches:
        margin = np.full((rows.stop - rows.start, columns.stop - columns.start), -np.inf, np.float32)
        if patch is not None:
            at = tuple(
                slice(own.start - all_.start, own.stop - all_.start)
                for own, all_ in zip(patch.window, (rows, columns), strict=True)
            )
            margin[at] = patch.margin_db
        whole.append(margin)
    mirrored = [patch.mirrored for patch in held if patch.mirrored is not None]
    n_rays = sum(patch.n_rays for patch in held)
    return Patch(rows, columns, combined_db(unit, motion, whole), mirrored[0] if mirrored else None, n_rays)


def _cast(units: Sequence[Unit], surface: Surface, rays: RayScene, weather: Weather) -> list[Patch | None]:
    """A patch of each unit of one technology."""
    patches: list[Patch | None] = [None] * len(units)
    straight: list[Placed] = []
    best: list[Single] = []
    of: list[int] = []
    for index, unit in enumerate(units):
        footprints = undominated(unit.footprints_for(surface.motion, surface.target_m2))
        if (seen := imaging(unit, footprints, rays, weather)) is not None:
            before = rays.n_rays_here
            patch = _cast_by_mirrors(seen, surface)
            patches[index] = None if patch is None else replace(patch, n_rays=rays.n_rays_here - before)
        elif (one := place_unit(unit, footprints, surface, weather)) is not None:
            rows, columns = one.window
            straight.append(one)
            best.append(np.full((rows.stop - rows.start, columns.stop - columns.start), -np.inf, np.float32))
            of.append(index)
    n_rays = np.zeros(len(straight), int)
    for batch in _batches(views(straight, surface, rays.launch), straight):
        segments = joined([view.segments for view in batch])
        firsts = np.cumsum([0, *(len(view.cells) for view in batch[:-1])])
        before, unit = rays.n_rays_here, straight[batch[0].index].unit
        obstacles = _obstacles_db(unit, segments, rays, weather, firsts)
        if unit.kind == "infrared":
            n_rays += np.bincount([v.index for v in batch], [len(v.cells) for v in batch], len(straight)).astype(int)
        else:
            n_rays[batch[0].index] += rays.n_rays_here - before
        first = 0
        for view in batch:
            flat = best[view.index].reshape(-1)
            through = (view.margin_db + obstacles[first : first + len(view.cells)]).astype(np.float32)
            flat[view.cells] = np.maximum(flat[view.cells], through) if len(surface.heights) > 1 else through
            first += len(view.cells)
    for index, one, margin, n in zip(of, straight, best, n_rays.tolist(), strict=True):
        patches[index] = Patch(*one.window, margin, n_rays=n)
    return patches


def _batches(found: Iterable[View], placed: Sequence[Placed]) -> Iterator[list[View]]:
    """Views after each other that are cast in one go: of one technology and frequency."""
    batch: list[View] = []
    n, kind = 0, None
    for view in found:
        unit = placed[view.index].unit
        if batch and (n + len(view.cells) > _TOGETHER or (unit.kind, unit.frequency_ghz) != kind):
            yield batch
            batch, n = [], 0
        batch.append(view)
        n, kind = n + len(view.cells), (unit.kind, unit.frequency_ghz)
    if batch:
        yield batch


def _cast_by_mirrors(seen: Imaging, surface: Surface) -> Patch | None:
    """Margins of a detector with images: ways by mirrors are added to the straight one."""
    unit, rays, weather = seen.unit, seen.rays, seen.weather
    near = _mirrored_window(seen, surface)
    if near is None:
        return None
    rows, columns = near
    best = np.full((rows.stop - rows.start, columns.stop - columns.start), -np.inf, np.float32)
    row, column = np.nonzero(surface.inside[rows, columns])
    x, y = surface.plan(rows, columns)
    floor = np.asarray(surface.floor_at(rows, columns), float)
    offset = np.empty((len(row), 3))
    offset[:, 0] = gathered(x, row, column) - unit.position[0]
    offset[:, 1] = gathered(y, row, column) - unit.position[1]
    ground = (floor if floor.ndim == 0 else floor[row, column]) - unit.position[2]
    mirrored = Mirrored()
    for height in surface.heights:
        offset[:, 2] = ground + height
        margin = open_margin_db(unit, tuple(offset.T), seen.footprints, weather)  # type: ignore[arg-type]
        offset[:, 2] += LIFT if height < LIFT else 0.0
        pairs = seen.pairs(offset)
        followed = np.flatnonzero(amplitude(margin) + pairs.total >= 10 ** (LOWEST_DB / 20))
        if not len(followed):
            continue
        to = offset[followed]
        straight = rays.launch.along(unit.position, to.astype(np.float32), unit.ahead)
        through: Floats = margin[followed] + _obstacles_db(unit, straight, rays, weather)
        ways = seen.ways(to, through, pairs.of(followed))
        through, more = ways.added_to(through)
        mirrored += more
        cells = row[followed], column[followed]
        best[cells] = np.maximum(best[cells], through)
    found = np.isfinite(best)
    if not found.any():
        return None
    # The window was wide, for what mirrors might have added: what is kept is what they did.
    some, other = (np.flatnonzero(found.any(axis=axis)) for axis in (1, 0))
    some_rows, some_columns = slice(some[0], some[-1] + 1), slice(other[0], other[-1] + 1)
    return Patch(
        slice(rows.start + some_rows.start, rows.start + some_rows.stop),
        slice(columns.start + some_columns.start, columns.start + some_columns.stop),
        best[some_rows, some_columns].copy(),
        mirrored,
    )


def _mirrored_window(seen: Imaging, surface: Surface) -> tuple[slice, slice] | None:
    """The rows and columns that a detector and its images can reach: no way is shorter than the straight one."""
    lowest_db = LOWEST_DB - 20 * np.log10(len(seen.images) + 1)
    return window(seen.unit, seen.footprints, surface, seen.weather, lowest_db)


def reached(part: Unit, surface: Surface, weather: Weather) -> Placed | None:
    """The rows and columns that a unit of one technology can reach at all straight on, with the air that it can see
    people in there; None where there are none."""
    return place_unit(part, undominated(part.footprints_for(surface.motion, surface.target_m2)), surface, weather)


def felt(unit: Unit, surface: Surface, weather: Weather) -> Felt:
    """What each part of a unit feels of conditions on a surface, None where it reaches nothing of it. While that stays
    as it is, so does the patch that is cast, to the last bit."""
    found: list[Weather | None] = []
    for part in unit.parts:
        if weather.reflections and part.kind == "microwave":
            found.append(weather.felt_by(part))
        else:
            one = reached(part, surface, weather)
            found.append(None if one is None else one.weather)
    return tuple(found)


def n_pairs(unit: Unit, surface: Surface, rays: RayScene, weather: Weather) -> tuple[int, int]:
    """How many images a detector has on a surface, and how many pairs of image and cell are to be looked at."""
    unit = unit.parts[-1]  # of a dual one the microwave half: infrared has no images
    seen = imaging(unit, unit.footprints_for(surface.motion, surface.target_m2), rays, weather)
    near = None if seen is None else _mirrored_window(seen, surface)
    if seen is None or near is None:
        return 0, 0
    n_cells = int(surface.inside[near].sum()) * len(surface.heights)
    return len(seen.images), len(seen.images) * n_cells


def in_reach(unit: Unit, points: Floats, motion: str, weather: Weather) -> Bools:
    """Which points (n, 3) are worth a ray, by the margins that distance alone gives them and by their distance.

    By a mirror a unit may see in a direction in which it sees little; never farther than its farthest reach.
    """
    near = np.zeros(len(points), bool)
    for part in unit.parts:
        near |= potential_db(part, points, motion) + max(weather.most_db(part), 0.0) >= LOWEST_DB
        if weather.reflections and part.kind == "microwave":
            reach = max((largest_reach_m(f, part.reach_behind) for f in part.footprints_for(motion)), default=0.0)
            near |= np.linalg.norm(points - part.position, axis=1) <= reach * 10 ** (-LOWEST_DB / 40)
    return near


def _obstacles_db(
    unit: Unit, segments: Segments, rays: RayScene, weather: Weather, firsts: NDArray[np.intp] | None = None
) -> Floats:
    """What obstacles add to the margin, (n,): 0, −2 L, or −inf. `firsts`: where segments of one unit each begin."""
    if unit.kind == "infrared":
        return np.where(rays.infrared_blocked(segments), -np.inf, 0.0)
    assert unit.frequency_ghz is not None
    return -2 * rays.microwave_loss_db(segments, unit.frequency_ghz, weather.losses, firsts)


@dataclass(frozen=True)
class Judgement:
    """One detector's view of points (n,).

    `margin_db` may be −inf, `straight_db` is that of the straight way alone; `potential_db` is the margin from
    distance alone at 20 °C, lens and masks aside; `cause` codes as `CAUSES`; `blocker` the part that stops or costs
    most, −1 where none matters. `half` is the part of a dual unit that the margin hangs on, 0 of others: cause and
    blocker are its own.
    """

    margin_db: Floats
    potential_db: Floats
    cause: NDArray[np.int8]
    blocker: NDArray[np.int32]
    distance_m: Floats
    straight_db: Floats
    half: NDArray[np.int8]


def potential_db(unit: Unit, points: Floats, motion: str, target_m2: float | None = None) -> Floats:
    """Margin (n,) from distance alone, the best declared motion that counts; −inf where none is declared."""
    dx, dy, dz = (points - unit.position).T
    return over_parts(
        unit, motion, lambda part: distance_margin_db(part, (dx, dy, dz), part.footprints_for(motion, target_m2))
    )


def margins(
    unit: Unit,
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    *,
    lifted: Bools | None = None,
    lowest_db: float = -np.inf,
    least_db: Floats | float = -np.inf,
    recall: Recall | None = None,
) -> Floats:
    """Margins (n,) of a unit's part at points (n, 3), as `judge` finds them, without the causes.

    Points that distance alone puts below `lowest_db` are not followed: −inf. Nor are those that the open air puts
    below `least_db` (n,), unless mirrors may add to them. `recall`: what is known from before of straight ways in the
    same building and air.
    """
    found = np.full(len(points), -np.inf)
    offset = (points - unit.position).T
    footprints = unit.footprints_for(motion)
    air = open_air(unit, (offset[0], offset[1], offset[2]), footprints, weather)
    near = air.potential_db + np.maximum(air.heat_db, 0.0) >= lowest_db
    live = near & air.in_lens & np.isfinite(air.margin_db)
    seen = imaging(unit, footprints, rays, weather)
    if seen is None:
        live &= air.margin_db >= least_db
    followed = np.flatnonzero(live if seen is None else near)
    if not len(followed):
        return found
    targets = off_floor(points, lifted)
    margin = np.full(len(followed), -np.inf)
    straight = np.flatnonzero(live[followed])

    def obstacles_db(some: Floats) -> Floats:
        return _obstacles_db(unit, rays.segments(unit.position, some, unit.ahead), rays, weather)

    if len(straight):
        cells = followed[straight]
        added = obstacles_db(targets[cells]) if recall is None else recall.of(unit, targets, cells, obstacles_db)
        margin[straight] = air.margin_db[cells] + added
    if seen is not None:
        margin = seen.by_mirrors(targets[followed] - unit.position, margin).added_to(margin)[0]
    found[followed] = margin
    return found


def judge(
    unit: Unit,
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    *,
    lifted: Bools | None = None,
    target_m2: float | None = None,
    people: NDArray[np.integer] | None = None,
) -> Judgement:
    """How one detector sees points (n, 3) and why not where it doesn't. `lifted` (n,) marks points on a floor.

    The margin is that of all ways together; the cause of a miss is that of the straight way.
    `target_m2`: radar cross section (m²) of what moves there; None: what each declaration assumes.
    `people` (n,): whose points they are, where several heights are of one person: for dual units, see `combining`.
    """
    judged = [_judge(part, points, motion, rays, weather, lifted, target_m2) for part in unit.parts]
    if len(judged) == 1:
        return judged[0]
    margins = [one.margin_db for one in judged]
    which = deciding(unit, motion, margins, [one.potential_db for one in judged])
    combined = combined_db(unit, motion, margins)
    if people is not None:
        combined, which = for_people(unit, motion, margins, which, people)
    picked = {f.name: np.choose(which, [getattr(one, f.name) for one in judged]) for f in fields(Judgement)}
    return Judgement(**{**picked, "margin_db": combined, "half": which.astype(np.int8)})


def _judge(
    unit: Unit,
    points: Floats,
    motion: str,
    rays: RayScene,
    weather: Weather,
    lifted: Bools | None,
    target_m2: float | None,
) -> Judgement:
    n = len(points)
    offset = (points - unit.position).T
    air = open_air(unit, (offset[0], offset[1], offset[2]), unit.footprints_for(motion, target_m2), weather)
    targets = off_floor(points, lifted)
    segments = rays.segments(unit.position, targets, unit.ahead)
    obstacles = np.full(n, -np.inf)
    blocker = np.full(n, -1, np.int32)
    live = air.in_lens & np.isfinite(air.margin_db)
    taken = np.flatnonzero(live)
    if len(taken):
        some = take(segments, taken)
        stops = rays.first_blocker(some, unit.frequency_ghz)
        blocker[taken] = stops
        obstacles[taken] = np.where(stops >= 0, -np.inf, 0.0)
        if unit.frequency_ghz is not None and (through := np.flatnonzero(stops < 0)).size:
            some = take(some, through)
            loss, worst = rays.partial_loss_db(some, unit.frequency_ghz, weather.losses)
            obstacles[taken[through]] = -2 * loss
            blocker[taken[through]] = worst
    with np.errstate(invalid="ignore"):
        margin = np.where(live, air.margin_db + obstacles, -np.inf)

    blocked = live & np.isneginf(obstacles)
    straight = margin
    if (seen := imaging(unit, unit.footprints_for(motion, target_m2), rays, weather)) is not None:
        to = targets - unit.position
        margin = seen.by_mirrors(to, margin).added_to(margin)[0]
    cause = np.select(
        [
            margin >= 0,
            ~air.in_lens,
            np.isinf(air.mask_db) | ((air.unmasked_db >= 0) & (air.margin_db < 0)),
            (air.reach_db >= 0) & (air.unmasked_db < 0),
            air.unmasked_db < 0,
            blocked,
        ],
        [NONE, OUTSIDE_LENS, MASKED, TOO_WARM, OUT_OF_REACH, BLOCKED],
        MATERIAL_LOSS,
    ).astype(np.int8)
    blocker[(cause != BLOCKED) & (cause != MATERIAL_LOSS)] = -1
    half = np.zeros(n, np.int8)
    return Judgement(margin, air.potential_db, cause, blocker, np.linalg.norm(offset, axis=0), straight, half)

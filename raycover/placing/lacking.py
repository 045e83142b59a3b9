"""Needs that nothing offered can meet: named with the place, the spot and what stands against it.

All else is placed for, and of such a place as much as can be seen.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from raycover.errors import InputError, Problem
from raycover.placing.covering import Wanted
from raycover.placing.pool import Pool
from raycover.placing.tasks import Task
from raycover.proving.needs import Proof
from raycover.scene.needs import NeedSpec
from raycover.scene.schema import Scene
from raycover.shares import close_percent

_HELP = "offer other models, heights or places (placing:), or ask for less"


def check_reach(scene: Scene, proof: Proof, tasks: Sequence[Task], pool: Pool) -> None:
    """Raises InputError naming every place that all candidates together cannot see as asked."""
    problems = find_lacking(scene, proof, tasks, pool)
    if problems:
        raise InputError(problems)


def find_lacking(scene: Scene, proof: Proof, tasks: Sequence[Task], pool: Pool) -> list[Problem]:
    """What nothing offered can meet, place by place."""
    return [problem for task in tasks for problem in _lacking(scene, proof, task, pool)]


def reachable(one: Wanted, over: float = 0.0) -> Wanted:
    """The same where all candidates together can do it; else asked only where they can, the same share of that.

    `over` is asked on top of a share, as far as that can be done.
    """
    lost = np.asarray(one.seen.sum(axis=1)).ravel() < one.lacking
    most = float(one.weight[~lost].sum() / one.weight.sum())
    if most >= one.share - 1e-9:
        return replace(one, share=min(one.share + over, most)) if over and one.share < 1 else one
    kept = np.flatnonzero(~lost)
    have = None if one.have is None else one.have[kept]
    return replace(one, seen=one.seen.tocsr()[kept], weight=one.weight[kept], have=have)


def _lacking(scene: Scene, proof: Proof, task: Task, pool: Pool) -> Iterator[Problem]:
    need, asked = task.need, task.asked
    free = _with_forbidden(task, pool)
    for k, (one, other) in enumerate(zip(task.wanted(pool), free, strict=True)):
        count = np.asarray(one.seen.sum(axis=1)).ravel()
        lost = count < one.lacking
        share = 1 - float(one.weight[lost].sum() / one.weight.sum())
        if share >= one.share - 1e-9:
            continue
        cured = np.asarray(other.seen.sum(axis=1)).ravel()[lost] >= one.lacking[lost]
        blocked = ""
        if cured.any():
            names = ", ".join(f'"{v.need.name}"' for v in proof.needs if v.need.never)
            blocked = f"; {cured.mean():.0%} of the rest is seen only by candidates that {names} forbids"
        code = "contradiction" if blocked else "out-of-all-reach"
        if k > 0 or need.least_share is None:
            where = _of_groups(task, one, np.flatnonzero(lost))
        else:
            spot = asked.thinned.ground[np.flatnonzero(lost)]
            x, y = spot[np.argmin(np.linalg.norm(spot - spot.mean(axis=0), axis=1))][:2]
            where = (
                f"{asked.site.name}: all candidates together see {close_percent(share)} of it, "
                f"{need.least_share:.0%} is asked, not around ({x:.2f}, {y:.2f})"
            )
        message = f'need "{need.name}" cannot be met by what is offered: {where}{blocked}'
        yield Problem(code, message, _position(scene, need), _HELP)


def _of_groups(task: Task, one: Wanted, lost: Any) -> str:
    """Doors, ways and gaps of which not even all candidates together see enough."""
    site = task.asked.site
    if task.need.first_within is not None:
        line = site.lines[int(np.unique(site.line_of[task.asked.cells])[lost[0]])]
        return f"{site.name}: no candidate notices who comes in {line.words} within {task.need.first_within:g} m"
    if task.need.routes is not None:
        return f"{site.name}: all candidates together leave somebody unnoticed for {task.hold_s:g} s"
    return f"{site.name}: all candidates together leave a gap of {task.need.largest_gap:g} m or more"


def _with_forbidden(task: Task, pool: Pool) -> list[Wanted]:
    """The same asked of all candidates, those too that trip where nobody may."""
    alive = pool.alive
    pool.alive = np.ones_like(alive)
    try:
        return task.wanted(pool)
    finally:
        pool.alive = alive


def _position(scene: Scene, need: NeedSpec) -> Any:
    names = [one.name for one in scene.needs]
    return scene.position("needs", names.index(need.name)) if need.name in names else scene.position()

"""What the sheet says in words: headings, causes, conditions, cautions, dates and figures."""

from __future__ import annotations

from collections.abc import Sequence, Set
from datetime import date
from typing import TYPE_CHECKING

from raycover.building.doors import cubicle_doors, doors_of
from raycover.building.parts import Building
from raycover.shares import percent
from raycover.signs import minus
from raycover.solving.casting import CAUSES
from raycover.solving.gaps import Gap
from raycover.solving.surfaces import Surface

if TYPE_CHECKING:
    from raycover.solving.coverage import Coverage

CAUTION = (
    "A prediction, not a site test: walk-test before hand-over. Not a safety function: escape, stair and emergency "
    "lighting follow local codes.",
    "Work on mains and at height is for licensed, equipped people. Makers' instructions come before this drawing.",
)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_WHO = {
    "any": "Where a moving person is noticed",
    "tangential": "Where a person walking past is noticed",
    "radial": "Where a person walking towards a detector is noticed",
    "presence": "Where a seated person is noticed by small movements",
}


def today() -> str:
    now = date.today()
    return f"{now.day} {_MONTHS[now.month - 1]} {now.year}"


def area(value: float) -> str:
    """Square metres without their unit."""
    return f"{value:.2f}" if 0 < value < 0.095 else f"{value:.1f}" if value < 99.95 else f"{value:.0f}"


def height_phrase(surface: Surface) -> str:
    heights = [f"{h:g}" for h in surface.heights]
    if surface.target == "person" and len(heights) > 1:
        return f"at {', '.join(heights[:-1])} or {heights[-1]} m"
    what = "floor" if surface.stairs is None else "treads"
    return f"on the {what}" if surface.heights[0] == 0 else f"at {heights[0]} m above the {what}"


def level(z: float) -> str:
    """A level as drawings write it, in m with two decimals and its sign."""
    return "±0.00" if abs(z) < 5e-3 else minus(f"{z:+.2f}")


def subtitle(surface: Surface, air: str, state: Sequence[str] = (), where: str = "") -> str:
    """What a map shows, in which air (words as `scene.air` has them); `state` is the one it is of, where there are
    several, `where` the storey or the stair."""
    what = f"{_WHO[surface.motion]}, {height_phrase(surface)}, air at {air}"
    what = f"{where}: {what[0].lower()}{what[1:]}" if where else what
    return " · ".join([what, *state])


def section(motion: str, air: str, state: Sequence[str] = ()) -> str:
    """What a section shows."""
    who = _WHO[motion].replace("Where", "Who sees a body at which height: where", 1)
    return " · ".join([f"{who}, air at {air}", *state])


def difference(surface: Surface) -> str:
    """What a difference plan shows."""
    return f"Change in {_WHO[surface.motion].lower()}, {height_phrase(surface)}"


def chances(surface: Surface, state: Sequence[str] = (), where: str = "") -> str:
    """What a probability plan shows."""
    who = _WHO[surface.motion].lower().replace("where", "How surely", 1)
    what = f"{who}, {height_phrase(surface)}"
    what = f"{where}: {what[0].lower()}{what[1:]}" if where else what
    return " · ".join([what, *state])


def mapped(surface: Surface) -> str:
    """What the shares are of."""
    return "stair" if surface.stairs is not None else "floor" if surface.heights == (0.0,) else "area"


def headline(surface: Surface, assured_share: float, n_detectors: int) -> tuple[str, str]:
    """Two lines beside the headline figure."""
    what = f"of the {mapped(surface)} is seen,"
    return what, f"{percent(assured_share)} assured" if n_detectors else "there is no detector"


#: Why nobody is noticed, by `cause_key`.
_CAUSES = {
    "no-detector": "no detector",
    "blocked": "hidden by {what}",
    "blocked-from": "hidden from {who}",
    "material-loss": "lost in {what}",
    "material-loss-from": "too weak from {who}",
    "out-of-reach": "beyond the reach of {who}",
    "out-of-reach-half": "beyond {who}",
    "outside-lens": "outside the lens of {unit}",
    "masked": "masked at {who}",
    "too-warm": "air too warm for {who}",
}


def cause_key(gap: Gap) -> str:
    """Which of the sentences about causes is true of a gap: by its cause, and by whether what hides has a name."""
    if gap.detector is None or (code := CAUSES[gap.cause]) == "none":
        return "no-detector"
    if code == "out-of-reach" and gap.half:
        return "out-of-reach-half"
    return f"{code}-from" if code in ("blocked", "material-loss") and not gap.blocked_by else code


def cause(gap: Gap, rooms: Set[str] = frozenset(), *, short: bool = False, stacked: bool = False) -> str:
    """Why nobody is noticed there; `rooms` are names that mean a room and so its walls, unnamed if `short`.

    `stacked`: rooms lie one above another, so that what hides may be a slab as well.
    """
    what = gap.blocked_by
    if what in rooms:
        part = "a wall or slab" if stacked else "a wall"
        what = part if short else f"{part} of {what}"
    who = f"{gap.detector}'s {gap.half}" if gap.half else gap.detector
    return _CAUSES[cause_key(gap)].format(what=what, who=who, unit=gap.detector)


def conditions(coverage: Coverage, building: Building) -> str:
    parts = [coverage.air, f"reserve {coverage.reserve_db:g} dB"]
    state = doors(building)
    return " · ".join([*parts, state] if state else parts)


def doors(building: Building) -> str:
    """How the doors stand, empty where there are none; those of cubicles by themselves where they stand otherwise."""
    states = [mark.state for mark in doors_of(building)]
    said = _doors_words("doors", states.count("open"), len(states))
    cubicles = _doors_words("cubicle doors", *cubicle_doors(building))
    if not said or not cubicles or cubicles == f"cubicle {said}":
        return said or cubicles.removeprefix("cubicle ")
    return f"{said}, {cubicles}"


def _doors_words(what: str, n_open: int, n_doors: int) -> str:
    if not n_doors:
        return ""
    if n_open in (0, n_doors):
        return f"{what} open" if n_open else f"{what} closed"
    return f"{n_open} of {n_doors} {what} open"

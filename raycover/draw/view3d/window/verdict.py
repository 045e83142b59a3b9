"""What is said of a place that was clicked: in words for the panel, as lines of sight with labels for the picture."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from raycover.asking.probe import CAUSE_WORDS, View
from raycover.draw import palette
from raycover.draw.lettering import clean
from raycover.draw.view3d.window.labels import Label
from raycover.rays.ray_scene import Crossing
from raycover.signs import margin_words
from raycover.solving.surfaces import Surface

Floats = NDArray[np.floating[Any]]

#: Lines of sight of so many detectors are shown at once, the best first.
MOST_WAYS = 12
#: Lines of sight that reach, and that don't.
REACHES, FAILS = palette.ACCENT, palette.SECOND_INK
_STOPS = "stops it"
#: Causes of a miss that lie on the way.
_ON_THE_WAY = ("blocked", "material-loss")
#: So many that do not see the place are told of beside those that do.
_MISSING = 3


@dataclass(frozen=True)
class Line:
    """A line of text; `style` is head, strong, plain or faint."""

    text: str
    style: str = "plain"


def decibels(value: float) -> str:
    """A margin with its sign."""
    return margin_words(value) if math.isfinite(value) else "no margin"


def loss(crossing: Crossing) -> str:
    """What a crossing costs, there and back: a margin counts it twice."""
    return f"−{2 * crossing.loss_db:.1f} dB" if math.isfinite(crossing.loss_db) else _STOPS


def words_of(views: Sequence[View], place: tuple[float, float, float], surface: Surface, room: str) -> list[Line]:
    """The verdict on a place from views of it, the best first: seen by whom, or why not, and what the best meets."""
    x, y, _ = place
    heights = " or ".join(f"{h:g}" for h in surface.heights)
    where = f"{clean(room)}, ({x:.2f}, {y:.2f}) at {heights} m"
    if not views:
        return [Line("Seen by nobody: no detector is on", "head"), Line(where, "faint")]
    best, seeing = views[0], sum(view.detected for view in views)
    if seeing:
        more = f" and {seeing - 1} more" if seeing > 1 else ""
        head = f"Seen by {clean(best.name)}{more}, {decibels(best.margin_db)}"
    else:
        head = f"Not seen: {_why(best)}"
    lines = [Line(head, "head"), Line(where, "faint")]
    told = views[: max(seeing, 1) + _MISSING]
    for index, view in enumerate(told):
        said = f"{clean(view.name)}  {decibels(view.margin_db)}, {view.distance_m:.1f} m"
        reason = "" if view.detected else f", {CAUSE_WORDS[view.cause]}"
        lines.append(Line(said + reason, "strong" if view.detected else "plain"))
        if index == 0 and len(view.ways) > 1:
            lines.append(Line(f"   of {len(view.ways)} ways, by mirrors too", "faint"))
        if index == 0:
            lines += [Line(f"   at {c.distance_m:.1f} m {clean(c.object)}: {loss(c)}", "faint") for c in view.crossings]
    return [*lines, *_rest(views[len(told) :])]


def _why(view: View) -> str:
    """Why the detector that is nearest to seeing a place does not."""
    stop = next((c for c in view.crossings if not math.isfinite(c.loss_db)), None)
    if view.cause == "blocked" and stop is not None:
        return f"hidden from {clean(view.name)} by {clean(stop.owner)}"
    return f"{CAUSE_WORDS[view.cause]} ({clean(view.name)})"


def _rest(views: Sequence[View]) -> list[Line]:
    """Those that are not told one by one, by why they see nothing."""
    if not views:
        return []
    causes = Counter(CAUSE_WORDS[view.cause] for view in views)
    return [Line("others: " + ", ".join(f"{n} {cause}" for cause, n in causes.most_common()), "faint")]


def ways_of(
    views: Sequence[View], tops: dict[str, Floats], moved: Floats, *, every: bool
) -> tuple[Floats, Floats, list[Label], Floats]:
    """Lines of sight (n, 2, 3) from detectors at `tops` to the place viewed, best first, `moved` by a vector (3,).

    First those that reach, then those that don't; then labels, and dots (n, 3) at what they meet.

    The best one has everything that it meets; of `every` one that comes near to seeing, the others just their margin.
    """
    near = [view for view in views[1:] if math.isfinite(view.margin_db) or view.cause in _ON_THE_WAY]
    reach: list[Floats] = []
    fail: list[Floats] = []
    dots: list[Floats] = []
    labels: list[Label] = []
    for index, view in enumerate([*views[:1], *(near[: MOST_WAYS - 1] if every else ())]):
        top, goal = tops[view.name], np.asarray(view.point) + moved
        (reach if view.detected else fail).append(np.stack([top, goal]))
        for crossing in view.crossings if index == 0 else ():
            at = top + (goal - top) * min(crossing.distance_m / max(view.distance_m, 1e-9), 1.0)
            dots.append(at)
            text = f"{clean(crossing.object)}: {loss(crossing)}"
            labels.append(Label(text, at, palette.INK, 11.0, "sans", palette.PAPER))
        said = decibels(view.margin_db) if math.isfinite(view.margin_db) else CAUSE_WORDS[view.cause]
        colour, share = REACHES if view.detected else FAILS, 0.55 if index == 0 else 0.35
        at = top + share * (goal - top)
        labels.append(Label(f"{clean(view.name)}: {said}", at, colour, 11.0, "bold", palette.PAPER))
    return (
        np.array(reach).reshape(-1, 2, 3), np.array(fail).reshape(-1, 2, 3), labels, np.array(dots).reshape(-1, 3),
    )  # fmt: skip

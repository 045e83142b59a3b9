"""A walk test as JSON, and its traces as CSV."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from raycover.building.parts import Building
from raycover.exchange.summary import combining_json, conditions_json, finite, stamp
from raycover.scene.air import own_air
from raycover.scene.schema import Scene
from raycover.walking.kinematics import POSES
from raycover.walking.walk import Entry, First, Gap, Seen, Walk

CAUTION = "A prediction, not a site test: walk-test before hand-over. Not a safety function."


def file_name(name: str) -> str:
    """A route's name as part of a file's: what file names cannot hold becomes a blank."""
    return " ".join(re.sub(r'[/\\:*?"<>|]', " ", name).split())


def walks_json(scene: Scene, building: Building, walks: Sequence[Walk]) -> dict[str, Any]:
    """Figures of every route, and over all of them."""
    return {
        **stamp(),
        "title": scene.title,
        "state": scene.state,
        "conditions": conditions_json(scene.conditions.ambient_c, scene.conditions.reserve_db, own_air(scene)),
        "routes": {walk.name: walk_json(walk) for walk in walks},
        "all": over_all(walks),
        "detectors": {name: _over_routes(walks, k) for k, name in enumerate(_names(walks))},
        "caution": CAUTION,
    }


def walk_json(walk: Walk) -> dict[str, Any]:
    """Figures of one route: seconds from its start, metres walked."""
    track = walk.track
    return {
        "route": walk.way.route,
        "person": walk.way.person,
        "speed_m_s": walk.way.speed,
        "length_m": _round(track.length_m),
        "seconds": _round(track.seconds),
        "line": [[_round(v) for v in point] for point in walk.way.line],
        "first": _first(walk.first),
        "rooms_entered": [_entry(entry) for entry in walk.entries],
        "longest_unnoticed": _gap(walk.longest),
        "share_noticed": _round(walk.share),
        "light": {
            "waits_s": [[_round(a), _round(b)] for a, b in walk.light.waits],
            "left_in_the_dark_s": [[_round(a), _round(b)] for a, b in walk.light.left],
            "off_at_s": None if walk.light.off_at_s is None else _round(walk.light.off_at_s),
            "shortest_hold_s": None if walk.shortest_hold_s is None else _round(walk.shortest_hold_s),
        },
        "noticed_from_elsewhere_by": list(walk.others),
        "zones_lit_s": {zone: [[_round(a), _round(b)] for a, b in lit] for zone, lit in walk.zones.items()},
        "detectors": {seen.name: _seen(walk, seen) for seen in walk.seen},
    }


def over_all(walks: Sequence[Walk]) -> dict[str, Any]:
    """The worst of all routes, and the share of all time in which people are noticed."""
    seconds = sum(walk.track.seconds for walk in walks)
    late = [walk for walk in walks if walk.first is not None]
    gaps = [walk for walk in walks if walk.longest is not None]
    worst = max(late, key=lambda w: w.first.seconds, default=None)  # type: ignore[union-attr]
    longest = max(gaps, key=lambda w: w.longest.seconds, default=None)  # type: ignore[union-attr]
    holds = [walk.shortest_hold_s for walk in walks if walk.shortest_hold_s is not None]
    return {
        "routes": len(walks),
        "seconds": _round(seconds),
        "never_noticed": [walk.name for walk in walks if walk.first is None],
        "latest_first": None if worst is None else {"route": worst.name, **(_first(worst.first) or {})},
        "longest_unnoticed": None if longest is None else {"route": longest.name, **(_gap(longest.longest) or {})},
        "share_noticed": _round(sum(w.share * w.track.seconds for w in walks) / seconds) if seconds else 0.0,
        "left_in_the_dark": [walk.name for walk in walks if walk.light.left],
        "shortest_hold_s": _round(max(holds)) if holds else None,
    }


def write_traces(walk: Walk, path: Path) -> None:
    """The track and every detector's trace, one line a time step; empty where a detector can see nothing."""
    track = walk.track
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        heads = ["time_s", "x_m", "y_m", "z_m", "heading_deg", "walked_m", "pose", "light_on"]
        for seen in walk.seen:
            heads += [f"{seen.name} margin_db", f"{seen.name} noticed"]
            heads += [f"{seen.name} signal"] if seen.signal is not None else []
        writer.writerow(heads)
        columns: list[list[Any]] = [
            [f"{v:.2f}" for v in track.time_s],
            *([f"{v:.3f}" for v in track.position[:, k]] for k in range(3)),
            [f"{v:.1f}" for v in np.degrees(track.heading_rad) % 360],
            [f"{v:.3f}" for v in track.walked_m],
            [POSES[k] for k in track.pose],
            walk.light.on.astype(int).tolist(),
        ]
        for seen in walk.seen:
            columns.append([f"{v:.2f}" if np.isfinite(v) else "" for v in seen.margin_db])
            columns.append(seen.noticed.astype(int).tolist())
            if seen.signal is not None:
                columns.append([f"{v:.3f}" for v in seen.signal])
        writer.writerows(zip(*columns, strict=True))


def _first(first: First | None) -> dict[str, Any] | None:
    if first is None:
        return None
    at = [_round(v) for v in first.at]
    return {"seconds": _round(first.seconds), "metres": _round(first.metres), "detector": first.detector, "at": at}


def _entry(entry: Entry) -> dict[str, Any]:
    return {"room": entry.room, "at_s": _round(entry.at_s), "first_from_threshold": _first(entry.first)}


def _gap(gap: Gap | None) -> dict[str, Any] | None:
    if gap is None:
        return None
    return {
        "from_s": _round(gap.from_s),
        "to_s": _round(gap.to_s),
        "seconds": _round(gap.seconds),
        "metres": _round(gap.metres),
        "cause": gap.why.cause,
        "detector": gap.why.detector,
        "blocked_by": gap.why.blocked_by,
        **({"half": gap.why.half} if gap.why.half else {}),
    }


def _seen(walk: Walk, seen: Seen) -> dict[str, Any]:
    at = np.flatnonzero(seen.noticed)
    return {
        "model": seen.mode,
        "hold_s": seen.hold_s,
        "zones": list(seen.switch.zones),
        "first_s": _round(walk.track.time_s[at[0]]) if len(at) else None,
        "first_m": _round(walk.track.walked_m[at[0]]) if len(at) else None,
        "share_noticed": _round(seen.noticed.mean()),
        "longest_unnoticed_s": _round(longest_of(walk, seen)),
        "best_db": finite(_round(seen.best_db)),
        **_halves(walk, seen),
    }


def _halves(walk: Walk, seen: Seen) -> dict[str, Any]:
    """How a dual detector is set, and its halves by themselves; nothing of others."""
    if not seen.halves:
        return {}
    kept = ("model", "first_s", "first_m", "share_noticed", "longest_unnoticed_s", "best_db")
    halves = {
        one.unit.kind: {key: value for key, value in _seen(walk, one).items() if key in kept} for one in seen.halves
    }
    return {**combining_json(seen.unit), "halves": halves}


def longest_of(walk: Walk, seen: Seen) -> float:
    """The longest stretch (s) in which one detector notices nothing."""
    from raycover.walking.light import stretches

    return max((b - a for a, b in stretches(walk.track.time_s, ~seen.noticed)), default=0.0)


def _names(walks: Sequence[Walk]) -> list[str]:
    return [seen.name for seen in walks[0].seen] if walks else []


def _over_routes(walks: Sequence[Walk], k: int) -> dict[str, Any]:
    seen = [(walk, walk.seen[k]) for walk in walks]
    first = [(walk.name, one) for walk, one in seen if one.noticed.any()]
    seconds = sum(walk.track.seconds for walk, _ in seen)
    share = sum(one.noticed.mean() * walk.track.seconds for walk, one in seen) / seconds if seconds else 0.0
    alone = sum(float((one.noticed_here & (walk.n_noticing == 1)).mean()) * walk.track.seconds for walk, one in seen)
    return {
        "routes_noticed": [name for name, _ in first],
        "share_noticed": _round(share),
        "alone_s": _round(alone),
        "best_db": finite(_round(max(one.best_db for _, one in seen))),
    }


def _round(value: float) -> float:
    return round(float(value), 4)

"""`walk`: people walk the scene's routes; who notices them when, and what the light does."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence, Set
from pathlib import Path

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.cli.choosing import loaded
from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.errors import did_you_mean, option_error
from raycover.exchange.files import whole_folder
from raycover.exchange.walk_files import CAUTION, file_name, over_all, walks_json, write_traces
from raycover.listing import some_of
from raycover.rays.ray_scene import RayScene
from raycover.rays.tracers import SLOW_WARNING
from raycover.scene.schema import Scene
from raycover.walking.walk import Walk, walk
from raycover.walking.ways import Way, make_ways
from raycover.walking.words import cause_words, hold_words, span

#: At most so many pages are drawn unless one route is asked for: of more, those that tell most.
MOST_PAGES = 12


def walk_scene(
    path: Path,
    output: Path | None,
    *,
    route: str | None = None,
    hold: str | None = None,
    declared: bool = False,
    state: str | None = None,
    lang: str | None = None,
    as_json: bool = False,
) -> None:
    """Walk a scene's routes; print figures, and with `output` write walk.json, a page and the traces of each route.

    `lang` is the language of the pages, the scene's own if None.
    """
    hold_s = None if hold is None else hold_asked(hold)
    scene = loaded(path, state)
    building = build(scene)
    ways = _ways(scene, building, route)
    rays = RayScene(building)
    if rays.backend != "embree":
        talk(SLOW_WARNING)
    with progress("walking") as step:
        walks = walk(
            scene, building=building, rays=rays, ways=ways, hold_s=hold_s, declared=declared, progress=step
        )  # fmt: skip
    warn([*scene.warnings, *building.warnings])
    figures = walks_json(scene, building, walks)
    if output is not None:
        _write(scene, building, walks, figures, output, lang, everything=route is not None)
    if as_json:
        data(figures)
    else:
        _say(walks, frozenset(room.name for room in building.rooms))


def _ways(scene: Scene, building: Building, route: str | None) -> list[Way]:
    if scene.routes:
        ways = make_ways(scene, building)
    else:
        from raycover.walking.usual import usual_ways

        ways = usual_ways(scene, building)
        usual = f"{len(ways)} usual ones are" if len(ways) != 1 else "a usual one is"
        talk(
            f"The scene has no routes: {usual} walked, from the nearest door to every seat and through each aisle. "
            "Write routes: for your own."
        )
    if route is None:
        return ways
    chosen = [way for way in ways if route in (way.name, way.route)]
    if not chosen:
        names = list(dict.fromkeys([*(way.route for way in ways if way.route != "usual"), *(way.name for way in ways)]))
        raise option_error("--route", f'no route is named "{route}"', did_you_mean(route, names))
    return chosen


def hold_asked(text: str) -> float:
    """Seconds of a hold time: 15:00, 900, 900 s, 15 min. Raises InputError."""
    found = re.fullmatch(r"\s*(\d{1,4}):([0-5]?\d)\s*", text)
    if found:
        seconds = 60.0 * int(found[1]) + int(found[2])
    else:
        plain = re.fullmatch(r"\s*(\d+(?:\.\d+)?)\s*(s|min)?\s*", text)
        if not plain:
            raise option_error(
                "--hold", f'expects minutes and seconds, got "{text}"', "write --hold 15:00, or --hold 90"
            )
        seconds = float(plain[1]) * (60 if plain[2] == "min" else 1)
    if not 1 <= seconds <= 86_400:
        raise option_error(
            "--hold", f"a hold time is 1 s to 24 h, got {seconds:g} s", "write --hold 15:00, or --hold 90"
        )
    return seconds


def _write(
    scene: Scene,
    building: Building,
    walks: Sequence[Walk],
    figures: object,
    output: Path,
    lang: str | None,
    *,
    everything: bool,
) -> None:
    from raycover.draw.walk_page import draw_walk
    from raycover.report.words import words_for

    wording = words_for(scene, lang).wording
    drawn = list(walks) if everything or len(walks) <= MOST_PAGES else telling(walks, MOST_PAGES)
    with whole_folder(output) as draft, progress("drawing") as step:
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        (draft / "walk.json").write_text(text, encoding="utf-8", errors="replace")
        for one in walks:
            write_traces(one, draft / f"walk-{file_name(one.name)}.csv")
        for number, one in enumerate(drawn, 1):
            step(number - 1, len(drawn))
            page = draft / f"walk-{file_name(one.name)}.png"
            draw_walk(scene, building, one, page, sheet_number=(number, len(drawn)), wording=wording)
    if len(drawn) < len(walks):
        talk(
            f"Drawn are the {len(drawn)} of {len(walks)} routes that tell most; all are in walk.json, "
            "and --route NAME draws any."
        )
    talk(f"Written to {output}.")


def telling(walks: Sequence[Walk], n: int) -> list[Walk]:
    """The `n` walks that tell most, in their order: never noticed, in the dark longest, unnoticed longest."""

    def ill(walk: Walk) -> tuple[float, float, float]:
        dark = sum(b - a for a, b in (*walk.light.left, *walk.light.waits))
        gap = walk.longest.seconds if walk.longest is not None else 0.0
        return (float(walk.first is None), dark, gap)

    order = sorted(range(len(walks)), key=lambda k: (*(-v for v in ill(walks[k])), k))
    return [walks[k] for k in sorted(order[:n])]


def _say(walks: Sequence[Walk], rooms: Set[str]) -> None:
    heads = ("route", "m", "s", "first noticed", "in its last room", "longest unnoticed", "noticed", "light")
    rows = [
        (
            one.name,
            f"{one.track.length_m:.1f}",
            f"{one.track.seconds:.1f}",
            "never"
            if one.first is None
            else f"{one.first.seconds:.1f} s, {one.first.metres:.1f} m, {one.first.detector}",
            _last_room(one),
            "–"
            if one.longest is None
            else f"{one.longest.seconds:.1f} s, {one.longest.metres:.1f} m: {cause_words(one.longest.why, rooms)}",
            f"{one.share:.0%}",
            _light(one),
        )
        for one in walks
    ]
    table(heads, rows, right=(1, 2, 6))
    found = over_all(walks)
    line = f"{len(walks)} route{'s' * (len(walks) != 1)}, noticed {found['share_noticed']:.0%} of the time"
    if found["longest_unnoticed"] is not None:
        worst = found["longest_unnoticed"]
        line += f"; longest unnoticed {worst['seconds']:.1f} s on {worst['route']}"
    if found["shortest_hold_s"] is not None:
        line += f"; the hold time that just keeps every light on: {hold_words(found['shortest_hold_s'])}"
    if never := [one.name for one in walks if one.shortest_hold_s is None]:
        line += f"; dark whatever the hold time, as nobody is ever noticed: {some_of(never, 3)}"
    talk(f"{line}.")
    talk(CAUTION)


def _last_room(one: Walk) -> str:
    if not one.entries:
        return "–"
    entry = one.entries[-1]
    if entry.first is None:
        return f"{entry.room}: never"
    return f"{entry.room}: {entry.first.seconds:.1f} s, {entry.first.metres:.1f} m"


def _light(one: Walk) -> str:
    waits = sum(b - a for a, b in one.light.waits)
    left = sum(b - a for a, b in one.light.left)
    parts = [f"dark {waits:.1f} s on entering"] if waits > 0.05 else []
    parts += [f"left in the dark {span(left)}"] if left > 0.05 else []
    said = ", ".join(parts) if parts else "on throughout"
    return f"{said}; elsewhere {', '.join(one.others)} notice{'s' * (len(one.others) == 1)}" if one.others else said

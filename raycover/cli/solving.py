"""Commands that solve a scene: map, probe."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

from raycover.building.build import build
from raycover.chance_maps import ChanceMaps
from raycover.cli import chances as chance_talk
from raycover.cli.choosing import chosen_states, loaded
from raycover.cli.paper import SCREEN, Sheets
from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.solved import Solved
from raycover.coverage import solve
from raycover.errors import did_you_mean, option_error
from raycover.exchange.files import whole_folder
from raycover.exchange.summary import probe_json, states_summary, summary
from raycover.loading import in_state, load
from raycover.probe import CAUSE_WORDS, View, probe
from raycover.rays import Crossing, RayScene
from raycover.scene.devices import Motion
from raycover.scene.lengths import length_m
from raycover.scene.schema import Scene
from raycover.seats import seat_line
from raycover.sighting import refuse_blind_cameras
from raycover.tracers import SLOW_WARNING
from raycover.unit_words import combining_words
from raycover.upright import SectionField, solve_sections

MOTIONS = ("any", *Motion.__args__)  # type: ignore[attr-defined]


def solved(scene: Scene, threads: int | None) -> Solved:
    """Build and cast a scene, saying what is doubtful."""
    building = build(scene)
    refuse_blind_cameras(scene, building)
    rays = RayScene(building)
    if rays.backend != "embree":
        talk(SLOW_WARNING)
    with progress("casting") as step:
        coverage = solve(scene, building=building, rays=rays, threads=threads, progress=step)
    warn(coverage.warnings)
    return Solved(scene, building, rays, coverage)


def map_scene(
    path: Path,
    output: Path,
    *,
    with_view: bool,
    threads: int | None,
    as_json: bool,
    states: Sequence[str] = (),
    all_states: bool = False,
    sheets: Sheets = SCREEN,
    isometric: bool = False,
    chances: bool = False,
) -> None:
    """Solve and write: a picture and data (.vti, on stairs .vtp) a map, view.png, summary.json; so for each state.

    Every section of the scene comes as `section NAME.png`, every camera as `camera NAME.png`. Files of a state other
    than the one drawn carry its name: `PLANE, STATE.png`. `sheets` says which other forms are wanted, `isometric` an
    isometric sheet too. `chances` looks at varied cases: `PLANE probability.png`, and more in the data.
    """
    import json

    from raycover.cli.map_files import Wanted, write_maps

    missing: str | None = None
    with whole_folder(output) as draft:
        scene = load(path)
        chosen = chosen_states(scene, states, all_states=all_states)
        results: list[Solved] = []
        maps: dict[str, ChanceMaps] = {}
        fields: dict[str, tuple[SectionField, ...]] = {}
        for state in chosen:
            done = solved(in_state(scene, state), threads)
            if chances:
                maps[state] = chance_talk.varied(done.scene, done.coverage, threads)
            fields[state] = solve_sections(
                done.scene, done.building, done.rays, done.coverage.units, threads=threads
            )  # fmt: skip
            wanted = Wanted(sheets, with_view, isometric)
            missing = write_maps(done, fields[state], draft, wanted, maps.get(state)) or missing
            results.append(done)
        # the state drawn leads if it is among them: what scripts read stays what it was
        results.sort(key=lambda r: r.scene.state != scene.state_name)
        figures = summary(
            results[0].coverage, maps.get(results[0].scene.state), fields[results[0].scene.state]
        )  # fmt: skip
        if scene.states:
            of_states = {r.scene.state: (r.coverage, maps.get(r.scene.state), fields[r.scene.state]) for r in results}
            figures = {**figures, **states_summary(of_states)}
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        # errors: a file name that is no UTF-8 may stand in a warning
        (draft / "summary.json").write_text(text, encoding="utf-8", errors="replace")
    if missing:
        talk(f"The plans are written, the 3D picture is not: {missing}")
    if as_json:
        data(figures)
    else:
        _say(results, maps, fields, output)


def _say(
    results: Sequence[Solved],
    maps: Mapping[str, ChanceMaps],
    fields: Mapping[str, Sequence[SectionField]],
    output: Path,
) -> None:
    for done in results:
        label = "" if done.scene.state == done.scene.state_name else f", {done.scene.state}"
        for name, plane in done.coverage.items():
            gaps = plane.gaps
            worst = f"; largest gap {gaps[0].area_m2:.1f} m² at {_place(gaps[0].at)}" if gaps else ""
            seen = f"{plane.share:.1%} of {plane.area_m2:.1f} m² seen, {plane.assured_share:.1%} assured"
            talk(f"{name}{label}: {seen}{worst}")
        for field in fields[done.scene.state]:
            seen = f"{field.share:.1%} of where people move seen, {field.assured_share:.1%} assured"
            talk(f"section {field.name}{label}: {seen}")
        if done.coverage.seats:
            talk(seat_line(done.coverage.seats))
        if done.scene.state in maps:
            chance_talk.say(maps[done.scene.state], label)
    for done in results:
        if (mirrored := done.coverage.reflections) is not None:
            label = "" if done.scene.state == done.scene.state_name else f", {done.scene.state}"
            talk(f"reflections{label}: {mirrored.line()}")
    if maps:
        chance_talk.say_miss_rate(results[0].scene, results[0].coverage)
    n_rays, seconds = sum(r.coverage.n_rays for r in results), sum(r.coverage.seconds for r in results)
    talk(f"{n_rays:,} rays in {seconds:.1f} s by {results[0].coverage.backend}; written to {output}")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def probe_scene(path: Path, at: str, *, motion: str, as_json: bool, state: str | None = None) -> None:
    """Print every detector's view of a point."""
    point = _point(at)
    if motion not in MOTIONS:
        raise option_error("--motion", f'unknown motion "{motion}"', did_you_mean(motion, MOTIONS))
    scene = loaded(path, state)
    building = build(scene)
    warn(p for p in scene.warnings if p.code == "corrections")
    views = probe(scene, point, motion=motion, building=building)
    if as_json:
        data(probe_json(point, views))
        return
    mirrored = [view for view in views if len(view.ways) > 1]
    if mirrored:
        n_ways, left_out = sum(len(v.ways) - 1 for v in mirrored), max(v.left_out_db for v in mirrored)
        talk(f"{n_ways} ways by one mirror; weaker ones left out would add {left_out:.1f} dB at the very most")
    room = building.room_at(*point)
    seen = [view.name for view in views if view.detected]
    where = f'in room "{room.name}"' if room is not None else "outside every room"
    print(f"{_place(point)}, {where}: " + (f"seen by {', '.join(seen)}" if seen else "seen by no detector"))
    for view in sorted(views, key=lambda v: -v.margin_db):
        print("\n".join(_view_lines(view)))


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
        return lines + [_crossing_line(crossing, 4) for crossing in view.crossings]
    for way in view.ways:
        what = "straight"
        if way.mirror is not None:
            what = (
                f"by {way.mirror} ({way.construction}), {way.incidence_deg:.0f}° off square, "
                f"{way.reflect_db:.2f} dB lost in the mirror, {way.length_m:.2f} m"
            )
        lines.append(f"    {what}: {_margin(way.margin_db)}")
        lines += [_crossing_line(crossing, 6) for crossing in way.crossings]
    return lines


def _margin(margin_db: float) -> str:
    return f"{margin_db:+.1f} dB" if math.isfinite(margin_db) else "no margin"


def _crossing_line(crossing: Crossing, indent: int) -> str:
    loss = f"{crossing.loss_db:.2f} dB one way" if math.isfinite(crossing.loss_db) else "stops it"
    return (
        f"{' ' * indent}at {crossing.distance_m:6.2f} m  {crossing.object} ({crossing.construction}), "
        f"{crossing.incidence_deg:.0f}° off square: {loss}"
    )


def _point(text: str) -> tuple[float, float, float]:
    try:
        x, y, z = (_metres(part) for part in text.split(","))
    except ValueError:
        raise option_error(
            "--at",
            f'expects three numbers X,Y,Z, got "{text}"',
            "write --at 6.2,1.4,0.75 (metres, points for decimals)",
        ) from None
    if not all(map(math.isfinite, (x, y, z))):
        raise option_error("--at", f'expects finite numbers, got "{text}"', "write --at 6.2,1.4,0.75")
    return x, y, z


def _metres(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return length_m(text)


def _place(point: tuple[float, float, float]) -> str:
    return "(" + ", ".join(f"{v:.2f}" for v in point) + ")"

"""The command that solves a scene and draws it: map."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from raycover.asking.sighting import refuse_blind_cameras
from raycover.asking.upright import SectionField, solve_sections
from raycover.building.build import build
from raycover.cli import chances as chance_talk
from raycover.cli.choosing import chosen_states
from raycover.cli.paper import SCREEN, Sheets
from raycover.cli.printing import at_words, data, progress, talk, warn
from raycover.cli.solved import Solved
from raycover.exchange.files import whole_folder
from raycover.exchange.summary import states_summary, summary
from raycover.kit.aisle_words import ALONG_AISLES, maps_along_aisles
from raycover.loading import in_state, load
from raycover.rays.ray_scene import RayScene
from raycover.rays.tracers import SLOW_WARNING
from raycover.scene.schema import Scene
from raycover.shares import close_percent
from raycover.solving.chance_maps import ChanceMaps
from raycover.solving.coverage import solve
from raycover.solving.seats import seat_line


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
    lang: str | None = None,
) -> None:
    """Solve and write: a picture and data (.vti, on stairs .vtp) a map, view.png, summary.json; so for each state.

    Every section of the scene comes as `section NAME.png`, every camera as `camera NAME.png`. Files of a state other
    than the one drawn carry its name: `PLANE, STATE.png`. `sheets` says which other forms are wanted, `isometric` an
    isometric sheet too. `chances` looks at varied cases: `PLANE probability.png`, and more in the data. `lang` is the
    language of what is drawn, the scene's own if None. Raises InputError for one that there are no words for.
    """
    import json

    from raycover.cli.map_files import Wanted, write_maps

    missing: str | None = None
    with whole_folder(output) as draft:
        scene = load(path)
        from raycover.report.words import words_for  # draws, so it comes after what a scene file may have wrong

        wanted = Wanted(sheets, with_view, isometric, words_for(scene, lang).wording)
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
            worst = f"; largest gap {gaps[0].area_m2:.1f} m² at {at_words(gaps[0].at)}" if gaps else ""
            share, assured = close_percent(plane.share), close_percent(plane.assured_share)
            seen = f"{share} of {plane.area_m2:.1f} m² seen, {assured} assured"
            talk(f"{name}{label}: {seen}{worst}")
        for field in fields[done.scene.state]:
            share, assured = close_percent(field.share), close_percent(field.assured_share)
            seen = f"{share} of where people move seen, {assured} assured"
            talk(f"section {field.name}{label}: {seen}")
        if done.coverage.seats:
            talk(seat_line(done.coverage.seats))
        if done.scene.state in maps:
            chance_talk.say(maps[done.scene.state], label)
    if any(maps_along_aisles(done.coverage) for done in results):
        talk(ALONG_AISLES)
    for done in results:
        if (mirrored := done.coverage.reflections) is not None:
            label = "" if done.scene.state == done.scene.state_name else f", {done.scene.state}"
            talk(f"reflections{label}: {mirrored.line()}")
    if maps:
        chance_talk.say_miss_rate(results[0].scene, results[0].coverage)
    n_rays, seconds = sum(r.coverage.n_rays for r in results), sum(r.coverage.seconds for r in results)
    talk(f"{n_rays:,} rays in {seconds:.1f} s by {results[0].coverage.backend}; written to {output}")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")

"""Commands on a scene: map, view, probe, check."""

from __future__ import annotations

import math
from pathlib import Path

from raycover.building.build import build
from raycover.building.parts import Building
from raycover.cli.printing import data, progress, talk, warn
from raycover.coverage import Coverage, make_units, solve
from raycover.errors import InputError, MissingPart, Position, Problem, did_you_mean
from raycover.exchange.files import whole_folder
from raycover.exchange.image_data import write_image_data
from raycover.exchange.summary import probe_json, problem, stamp, summary
from raycover.loading import load
from raycover.probe import View, probe
from raycover.rays import RayScene
from raycover.scene.devices import Motion
from raycover.scene.schema import Scene
from raycover.surfaces import make_surfaces
from raycover.tracers import SLOW_WARNING

MOTIONS = ("any", *Motion.__args__)  # type: ignore[attr-defined]
_CAUSE_WORDS = {
    "none": "seen",
    "out-of-reach": "beyond its reach",
    "outside-lens": "outside its lens",
    "masked": "masked",
    "blocked": "hidden",
    "material-loss": "too much lost on the way",
    "too-warm": "in reach at 20 °C, too little contrast in this air",
}


def _solve(path: Path, threads: int | None) -> tuple[Scene, Building, RayScene, Coverage]:
    scene = load(path)
    building = build(scene)
    rays = RayScene(building)
    if rays.backend != "embree":
        talk(SLOW_WARNING)
    with progress("casting") as step:
        coverage = solve(scene, building=building, rays=rays, threads=threads, progress=step)
    warn(coverage.warnings)
    return scene, building, rays, coverage


def map_scene(path: Path, output: Path, *, with_view: bool, threads: int | None, as_json: bool) -> None:
    """Solve and write: PLANE.png and PLANE.vti a plane, view.png, summary.json."""
    import json

    from raycover.draw.plan import draw_plan

    with whole_folder(output) as draft:
        scene, building, rays, coverage = _solve(path, threads)
        figures = summary(coverage)
        n_sheets = len(coverage) + 1
        with progress("drawing") as step:
            for index, (name, plane) in enumerate(coverage.items()):
                step(index, n_sheets)
                draw_plan(scene, building, coverage, name, draft / f"{name}.png", sheet=(index + 1, n_sheets))
                write_image_data(plane, draft / f"{name}.vti")
            missing = _draw_view(scene, building, rays, coverage, draft / "view.png") if with_view else None
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        # errors: a file name that is no UTF-8 may stand in a warning
        (draft / "summary.json").write_text(text, encoding="utf-8", errors="replace")
    if with_view and missing:
        talk(f"The plans are written, the 3D picture is not: {missing}")
    if as_json:
        data(figures)
    else:
        _say(coverage, output)


def _draw_view(scene: Scene, building: Building, rays: RayScene, coverage: Coverage, path: Path) -> str | None:
    """Draw the 3D picture, or say what is missing for it."""
    from raycover.draw.view3d import draw_view

    try:
        draw_view(scene, building, coverage, path, rays=rays)
    except MissingPart as error:
        return str(error)
    return None


def _say(coverage: Coverage, output: Path) -> None:
    for name, plane in coverage.items():
        gaps = plane.gaps
        worst = f"; largest gap {gaps[0].area_m2:.1f} m² at {_place(gaps[0].at)}" if gaps else ""
        talk(f"{name}: {plane.share:.1%} of {plane.area_m2:.1f} m² seen, {plane.assured_share:.1%} assured{worst}")
    talk(f"{coverage.n_rays:,} rays in {coverage.seconds:.1f} s by {coverage.backend}; written to {output}")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def view_scene(path: Path, *, threads: int | None) -> None:
    """Solve and open the window."""
    from raycover.draw.view3d import open_window, require_display

    require_display()
    scene, building, rays, coverage = _solve(path, threads)
    open_window(scene, building, coverage, rays)


def probe_scene(path: Path, at: str, *, motion: str, as_json: bool) -> None:
    """Print every detector's view of a point."""
    point = _point(at)
    if motion not in MOTIONS:
        raise _option_error("--motion", f'unknown motion "{motion}"', did_you_mean(motion, MOTIONS))
    scene = load(path)
    building = build(scene)
    views = probe(scene, point, motion=motion, building=building)
    if as_json:
        data(probe_json(point, views))
        return
    room = building.room_at(*point)
    seen = [view.name for view in views if view.detected]
    where = f'in room "{room.name}"' if room is not None else "outside every room"
    print(f"{_place(point)}, {where}: " + (f"seen by {', '.join(seen)}" if seen else "seen by no detector"))
    for view in sorted(views, key=lambda v: -v.margin_db):
        print("\n".join(_view_lines(view)))


def _view_lines(view: View) -> list[str]:
    margin = f"{view.margin_db:+.1f} dB" if math.isfinite(view.margin_db) else "no margin"
    lines = [f"  {view.name} ({view.unit.title}), {view.distance_m:.2f} m away: {margin}, {_CAUSE_WORDS[view.cause]}"]
    for crossing in view.crossings:
        loss = f"{crossing.loss_db:.2f} dB one way" if math.isfinite(crossing.loss_db) else "stops it"
        lines.append(
            f"    at {crossing.distance_m:6.2f} m  {crossing.object} ({crossing.construction}), "
            f"{crossing.incidence_deg:.0f}° off square: {loss}"
        )
    return lines


def check_scene(path: Path, *, as_json: bool) -> None:
    """Load, build and hang the detectors; say what is wrong or doubtful."""
    found: list[Problem] = []
    try:
        scene = load(path)
        building = build(scene)
        make_units(scene, building)
        found = [*scene.warnings, *building.warnings]
        if scene.rooms or "planes" in scene.model_fields_set:  # without either the scene is for probe
            found += make_surfaces(scene, building)[1]
    except InputError as error:
        if as_json:
            data({**stamp(), "sound": False, "problems": [problem(p) for p in error.problems]})
        raise
    if as_json:
        data({**stamp(), "sound": True, "problems": [problem(p) for p in found]})
        return
    warn(found)
    rooms, detectors = len(scene.rooms), len(scene.detectors)
    print(
        f"{path}: sound; {rooms} room{'s' * (rooms != 1)}, {detectors} detector{'s' * (detectors != 1)}, "
        f"{building.n_parts} parts, {len(building.mesh.triangles)} triangles"
        + (f", {len(found)} warning{'s' * (len(found) != 1)}" if found else "")
    )


def _point(text: str) -> tuple[float, float, float]:
    try:
        x, y, z = (float(part) for part in text.split(","))
    except ValueError:
        raise _option_error(
            "--at",
            f'expects three numbers X,Y,Z, got "{text}"',
            "write --at 6.2,1.4,0.75 (metres, points for decimals)",
        ) from None
    if not all(map(math.isfinite, (x, y, z))):
        raise _option_error("--at", f'expects finite numbers, got "{text}"', "write --at 6.2,1.4,0.75")
    return x, y, z


def _option_error(option: str, message: str, help_text: str) -> InputError:
    return InputError([Problem("bad-option", message, Position(option), help_text)])


def _place(point: tuple[float, float, float]) -> str:
    return "(" + ", ".join(f"{v:.2f}" for v in point) + ")"

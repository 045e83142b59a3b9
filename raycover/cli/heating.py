"""`heat`: what warm air leaves of a scene's coverage, temperatures side by side."""

from __future__ import annotations

from pathlib import Path

from raycover.asking.summer import SummerRow, summer_reach
from raycover.building.build import build
from raycover.cli.printing import asked_numbers, data, progress, talk, warn
from raycover.cli.tables import table
from raycover.exchange.files import whole_folder
from raycover.exchange.studies import heat_json
from raycover.loading import load
from raycover.physics.infrared import WARM_FROM_C
from raycover.rays.ray_scene import RayScene
from raycover.scene.air import kept_words, own_air
from raycover.scene.quantities import COLDEST_C, WARMEST_C
from raycover.scene.varying import Change, varied
from raycover.shares import percent
from raycover.solving.coverage import Coverage, solve

AMBIENTS = "20,25,30,35"


def heat_scene(path: Path, ambient: str, output: Path, *, lang: str | None, threads: int | None, as_json: bool) -> None:
    """Solve at each air temperature, draw the maps side by side and print the reach that is left."""
    import json

    from raycover.draw.heat import draw_heat
    from raycover.report.words import worded

    ambients = asked_numbers("--ambient", ambient, COLDEST_C, WARMEST_C, "°C")
    with whole_folder(output) as draft:
        words, scene = worded(load(path), lang)
        building = build(scene)
        rays = RayScene(building)
        found: dict[float, Coverage] = {}
        with progress("casting") as step:
            for index, value in enumerate(ambients):
                step(index, len(ambients))
                found[value] = solve(
                    varied(scene, Change(ambient_c=value)), building=building, rays=rays, threads=threads
                )
        warn(next(iter(found.values())).warnings)
        rows = summer_reach(next(iter(found.values())).units, ambients)
        files = draw_heat(scene, building, found, rows, draft, words.wording)
        figures = heat_json(found, rows)
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        (draft / "heat.json").write_text(text, encoding="utf-8", errors="replace")
    if as_json:
        data(figures)
    else:
        _print(found, rows)
    if kept := kept_words(own_air(scene)):
        talk(f"{kept}.")
    if any(row.kind == "infrared" for row in rows) and any(v >= WARM_FROM_C for v in ambients):
        talk(f"From {WARM_FROM_C:g} °C up people stand out little: expect infrared detectors to miss them.")
    talk(f"Written to {output}: {', '.join(files)}, heat.json")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _print(found: dict[float, Coverage], rows: tuple[SummerRow, ...]) -> None:
    heads = [f"{v:g} °C" for v in found]
    right = range(1, len(heads) + 1)
    shares = [
        [name, *(percent(coverage[name].share) for coverage in found.values())] for name in next(iter(found.values()))
    ]
    table(["seen", *heads], shares, title="Share of each plane that is seen", right=tuple(right))
    reach = [
        [f"{row.title}, {row.mounting:g} m", row.motion, *(f"{r.plan_m:.1f}" for r in row.reaches)] for row in rows
    ]
    title = "Furthest reach in plan, m (declared plane, best direction)"
    table(["model, mounting", "motion", *heads], reach, title=title, right=tuple(k + 1 for k in right))

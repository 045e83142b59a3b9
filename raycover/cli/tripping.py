"""The command `trips`: what may trip units though nobody is there."""

from __future__ import annotations

import json
from pathlib import Path

from raycover.building.build import build
from raycover.cli.choosing import loaded
from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.exchange.files import whole_folder
from raycover.exchange.trips_json import trips_json
from raycover.rays.ray_scene import RayScene
from raycover.rays.tracers import SLOW_WARNING
from raycover.shares import percent
from raycover.signs import margin_words
from raycover.trips import Trips, find_trips
from raycover.trips import words as said
from raycover.trips.interference import RULE


def trip_scene(
    path: Path, output: Path | None, *, state: str | None, lang: str | None, threads: int | None, as_json: bool
) -> None:
    """Judge a scene's nuisances; print tables, and write trips.json and trips.png where a folder is given.

    `lang` is the language of the plans, the scene's own if None.
    """
    scene = loaded(path, state)
    building = build(scene)
    rays = RayScene(building)
    if rays.backend != "embree":
        talk(SLOW_WARNING)
    with progress("what each costs") as step:
        trips = find_trips(scene, building=building, rays=rays, threads=threads, progress=step)
    warn(scene.warnings)
    figures = trips_json(trips)
    if output is not None:
        from raycover.draw.trips_plan import draw_trips
        from raycover.report.words import words_for

        wording = words_for(scene, lang).wording
        storeys = building.storeys if len(building.storeys) > 1 else (None,)
        with whole_folder(output) as draft, progress("drawing"):
            for number, storey in enumerate(storeys, 1):
                name = "trips.png" if storey is None else f"trips, {storey.name}.png"
                sheet = (number, len(storeys))
                draw_trips(scene, building, trips, draft / name, storey=storey, sheet_number=sheet, wording=wording)
            text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
            (draft / "trips.json").write_text(text, encoding="utf-8", errors="replace")
    if as_json:
        data(figures)
    else:
        _say(trips)
    if trips.sources:
        talk("Sizes, speeds and heat that the scene leaves out are rough assumptions of ours: give what you know.")
    else:
        talk("No nuisances are listed: add them to the scene under nuisances.")
    if output is not None:
        talk(f"Written to {output}: trips.json and {'a plan' if len(building.storeys) < 2 else 'a plan a storey'}.")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _say(trips: Trips) -> None:
    opens = {source.spec.name: source.spec.opens for source in trips.sources}
    if trips.remedies:
        rows = [
            [
                r.effect.nuisance,
                r.effect.unit,
                margin_words(r.effect.margin_db),
                r.effect.verdict,
                said.way(r.effect, opens[r.effect.nuisance]),
                said.best_words(r),
            ]
            for r in trips.remedies
        ]
        heads = ["nuisance", "unit", "margin", "verdict", "way", "what stops it at least cost"]
        table(heads, rows, title="What may trip units though nobody is there", right=(2,))
        print()
        rows = [
            [
                r.effect.nuisance,
                r.effect.unit,
                said.mask_words(r.mask.mask),
                said.mask_verdict(r),
                f"{r.sensitivity.to_percent} %" if r.sensitivity.to_percent > 0 else "–",
                said.cost_words(r.sensitivity.cost),
                said.move_words(r),
                f"{r.keep_m:.1f} m",
            ]
            for r in trips.remedies
        ]
        heads = [
            "nuisance",
            "unit",
            "mask",
            "what it takes",
            "or reach at",
            "what that takes",
            "or hang it at",
            "or keep away",
        ]
        table(heads, rows, title="Every way to stop it (masks in the unit's own frame)", right=(4, 7))
        print()
    if trips.masks:
        rows = [
            [
                m.unit,
                f"{len(m.masks)}",
                percent(m.share),
                "–" if m.allowed is None else percent(m.allowed),
                "fits" if m.fits else "too much",
                said.cost_words(m.cost),
            ]
            for m in trips.masks
        ]
        heads = ["unit", "masks", "share", "at most", "together", "cost"]
        table(heads, rows, title="All masks of a unit together", right=(1, 2, 3))
        print()
    _say_zones(trips)
    harmless = said.nearest_miss(trips)
    if harmless:
        rows = [
            [
                spec.name,
                effect.unit if effect is not None else "–",
                margin_words(effect.margin_db) if effect is not None else "–",
                said.reason(effect) if effect is not None else "no unit here answers to such a thing",
            ]
            for spec, effect in harmless
        ]
        table(["nuisance", "nearest", "margin", "why not"], rows, title="What trips no unit", right=(2,))
        print()
    _say_interference(trips)


def _say_zones(trips: Trips) -> None:
    seen = [(e, e.zones) for e in trips.effects if e.zones is not None]
    if not seen:
        return
    rows = [
        [e.nuisance, e.unit, said.zone_words(zones), margin_words(zones.signal_db), margin_words(e.margin_db)]
        for e, zones in seen
    ]
    heads = ["hot thing", "unit", "zones on it", "simulated", "by its footprint"]
    table(heads, rows, title="Zones that fall on hot things (a simulated lens, a second opinion)", right=(3, 4))
    print()


def _say_interference(trips: Trips) -> None:
    if not trips.flagged:
        if trips.interference:
            print("No two microwave units of one band are near enough to disturb each other.")
        return
    rows = [
        [
            " and ".join(p.units),
            p.band,
            f"{p.distance_m:.1f} m",
            f"{p.loss_db:.1f} dB",
            margin_words(p.index_db),
            f"{p.clear_m:.1f} m",
        ]
        for p in trips.flagged
    ]
    heads = ["units", "band", "apart", "lost between", "above the limit", "clear from"]
    table(heads, rows, title="Microwave units that may disturb each other", right=(2, 3, 4, 5))
    print(RULE)

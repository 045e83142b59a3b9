"""`sweep`: what other mounting heights, tilts or turns of some detectors change, and what racking takes away."""

from __future__ import annotations

import json
from collections.abc import Sequence
from fnmatch import fnmatchcase
from itertools import product
from pathlib import Path

from raycover.asking.studying import Caster, Step, Study, holds, study
from raycover.cli.printing import asked_numbers, data, progress, talk, warn
from raycover.cli.tables import table
from raycover.draw.multiples import Small
from raycover.draw.study import Shown, along_axis, axis_of, draw_study
from raycover.errors import InputError, Problem, did_you_mean, option_error
from raycover.exchange.files import whole_folder
from raycover.exchange.studies import study_csv, study_json
from raycover.loading import load
from raycover.scene.devices import PlaneSpec
from raycover.scene.schema import Scene
from raycover.scene.varying import Change
from raycover.shares import percent

#: Heights at which racking is shown to hide people: feet, waist, head (m).
RACK_PLANES = (("feet", 0.0), ("waist", 1.0), ("head", 1.6))
#: More combinations than these are not solved in one go.
MOST_STEPS = 400


def sweep_scene(
    path: Path,
    detectors: Sequence[str],
    output: Path,
    *,
    mounting: str | None,
    tilt: str | None,
    turn: str | None,
    share: float | None,
    lang: str | None = None,
    as_json: bool,
) -> None:
    """Solve every combination, print and draw what it changes; `lang` is the language of the pictures, the scene's own
    if None."""
    from raycover.report.words import words_for

    with whole_folder(output) as draft:
        scene = load(path)
        wording = words_for(scene, lang).wording
        names = _chosen(scene, detectors, path)
        changes = _changes(mounting, tilt, turn)
        with progress("casting") as step:
            caster = Caster(scene, names)
            found = study(scene, changes, names, caster=caster, progress=step)
            lined = along_axis(found)
            drawn = _few(lined)
            warn(scene.warnings)
            shown = [_shown(caster, s.change) for s in drawn]
            racks = _racking(scene, names) if scene.racking else None
        figures = study_json(found)
        if racks is not None:
            figures["racking"] = study_json(racks[0])["steps"]
        with progress("drawing"):
            now = next(getattr(d, axis_of(found)[0]) for d in scene.detectors if d.name in names)
            files = draw_study(scene, found, shown, racks, draft, need=share, now=now, wording=wording)
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        (draft / "sweep.json").write_text(text, encoding="utf-8", errors="replace")
        (draft / "sweep.csv").write_text(study_csv(found), encoding="utf-8", errors="replace")
    if as_json:
        data(figures)
    else:
        _print(found, racks[0] if racks is not None else None, share)
    talk(f"Written to {output}: {', '.join(files)}, sweep.csv, sweep.json")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _chosen(scene: Scene, patterns: Sequence[str], path: Path) -> list[str]:
    """Names of the detectors meant: names or patterns such as `B*`; all if none is given."""
    known = [d.name for d in scene.detectors]
    if not known:
        raise InputError(
            [Problem("no-detector", "the scene has no detector to vary", scene.position(), "add one under detectors:")]
        )
    chosen: list[str] = []
    for pattern in patterns or ["*"]:
        found = [name for name in known if fnmatchcase(name, pattern)]
        if not found:
            raise option_error("--detector", f'no detector is named "{pattern}"', did_you_mean(pattern, known))
        chosen += found
    return [name for name in known if name in chosen]


def _changes(mounting: str | None, tilt: str | None, turn: str | None) -> list[Change]:
    heights = asked_numbers("--mounting", mounting, 0.1, 100.0, "m") if mounting is not None else [None]
    tilts = asked_numbers("--tilt", tilt, -180.0, 180.0, "degrees") if tilt is not None else [None]
    turns = asked_numbers("--turn", turn, -360.0, 360.0, "degrees") if turn is not None else [None]
    if heights == tilts == turns == [None]:
        raise option_error(
            "--mounting", "nothing to vary", "write --mounting 6:14:0.5, --tilt -20:20:5 or --turn 0:90:15"
        )
    if (n := len(heights) * len(tilts) * len(turns)) > MOST_STEPS:
        raise option_error("--mounting", f"{n} combinations are more than {MOST_STEPS}", "take coarser steps")
    return [Change(mounting=m, tilt_deg=t, turn_deg=r) for m, t, r in product(heights, tilts, turns)]


def _few(lined: Study) -> list[Step]:
    """At most four steps to draw: the ends, and between them evenly."""
    n = len(lined.steps)
    return [lined.steps[k] for k in sorted({round(i * (n - 1) / 3) for i in range(4)})]


def _shown(caster: Caster, change: Change) -> Shown:
    planes, building, units = caster.planes(change), caster.building(change), caster.units(change)
    flat = {name: plane for name, plane in planes.items() if plane.surface.stairs is None}
    return Shown(change, {name: Small(building, plane, units) for name, plane in flat.items()})


def _racking(scene: Scene, names: Sequence[str]) -> tuple[Study, list[Shown]]:
    """The scene as drawn with every place loaded, with bare frames, without racking, at feet, waist and head."""
    planes = [PlaneSpec(name=name, height=height) for name, height in RACK_PLANES]
    # Needs and cameras speak of aisles and planes that are not there now, and nobody asks them here.
    levels = scene.model_copy(update={"planes": planes, "needs": [], "cameras": []})
    changes = [Change(racks=racks) for racks in ("full", "empty", "none")]
    caster = Caster(levels, names)
    return study(levels, changes, names, ladder=False, caster=caster), [_shown(caster, change) for change in changes]


def _print(found: Study, racks: Study | None, share: float | None) -> None:
    planes = list(found.steps[0].planes)
    rows = []
    for step in found.steps:
        tall = "–" if step.unseen is None else "over 2" if step.unseen.tall_m is None else f"{step.unseen.tall_m:.1f}"
        adult = "–" if step.unseen is None else f"{step.unseen.adult_m2:.1f}"
        worst = max(step.planes.values(), key=lambda p: p.gap_m2)
        met = [] if share is None else ["yes" if holds(step, share) else "no"]
        rows.append(
            [step.change.words(), *(percent(step.planes[p].share) for p in planes), f"{worst.gap_m2:.1f}",
             tall, adult, *met]
        )  # fmt: skip
    heads = ["with", *planes, "largest gap m²", "tall m", "adult unseen m²"]
    heads += [] if share is None else [f"{100 * share:g} % held"]
    title = f"{', '.join(found.detectors)} in {', '.join(found.rooms) or 'no room'}: share seen"
    table(heads, rows, title=title, right=tuple(range(1, len(heads))))
    talk("tall: on all but 5 % of the floor nobody taller passes unseen. adult: floor on which 1.7 m stands unseen.")
    if racks is not None:
        rows = [
            [step.change.words(), *(percent(step.planes[name].share) for name, _ in RACK_PLANES)]
            for step in racks.steps
        ]
        heads = ["with", *(f"{name} ({height:g} m)" for name, height in RACK_PLANES)]
        table(heads, rows, title="What the racking takes away: share seen", right=(1, 2, 3))

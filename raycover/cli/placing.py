"""`place`: propose detectors for the needs of a scene and write them as a new scene."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from raycover.cli.new_scenes import check_target, for_folder
from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.errors import InputError, Interrupted, Problem, did_you_mean, option_error
from raycover.exchange.files import check_writable, write_whole
from raycover.exchange.layout import layout_json
from raycover.loading import load
from raycover.placing.layout import Layout, place
from raycover.placing.proposing import proposed_text
from raycover.proving.needs import Proof, prove
from raycover.proving.proof_words import CAUTION
from raycover.scene.devices import DetectorSpec
from raycover.scene.placing import PlacingSpec
from raycover.scene.reading import read_source
from raycover.scene.schema import Scene
from raycover.scene.wiring_checks import members
from raycover.shares import close_percent
from raycover.signs import minus


def place_scene(
    path: Path, output: Path, *, models: Sequence[str], keep: Sequence[str], pitch: float | None, regular: bool | None,
    seconds: float, force: bool, as_json: bool,
) -> bool:  # fmt: skip
    """Propose, print and write; whether every need is met."""
    text = read_source(path)
    scene = load(path)
    warn(scene.warnings)
    check_target(path, output, force=force)
    spec = _spec(scene, models, keep, pitch, regular)
    check_writable(output.absolute().parent)
    try:
        with progress("looking from every candidate") as step:
            layout = place(scene, spec, seconds=seconds, progress=step, on_interrupt=_say_interrupted)
    except KeyboardInterrupt:
        raise Interrupted(
            "Interrupted: nothing is written, there was no layout yet; a coarser --pitch, fewer --models take less time"
        ) from None
    changed, _, forgotten = proposed_text(layout, text, path)
    unwritten: InputError | None = None
    try:
        write_whole(output, for_folder(changed, path, output))
    except InputError as error:  # what took long to find is told all the same
        unwritten = error
    if as_json:
        data(layout_json(layout))
    else:
        _print(layout, prove(scene) if scene.detectors else None)
    warn(replace(problem, severity="warning") for problem in layout.lacking)
    for note in layout.notes:
        talk(f"note: {note}")
    if forgotten:
        talk(f"note: the detectors are other ones now; taken out: {'; '.join(forgotten)}")
    if unwritten is not None:
        raise unwritten
    if layout.interrupted:
        talk(CAUTION)
        undone = "; ".join(layout.undone)
        raise Interrupted(f"Interrupted: written to {output} is the best layout until then; not done: {undone}")
    talk(f"Written to {output}. Compare: raycover compare {path} {output}")
    talk(CAUTION)
    return layout.met


def _say_interrupted() -> None:
    talk("Interrupted: units are added to the best so far where it misses places, for some seconds; ^C leaves them off")


def _spec(
    scene: Scene, models: Sequence[str], keep: Sequence[str], pitch: float | None, regular: bool | None
) -> PlacingSpec:
    """The scene's `placing`, with what the command line says instead."""
    spec = scene.placing if scene.placing is not None else PlacingSpec()
    known = sorted(scene.catalogue.detectors)
    for name in models:
        if name not in scene.catalogue.detectors:
            raise option_error("--models", f'unknown detector model "{name}"', did_you_mean(name, known))
    tags = [d.name for d in scene.detectors]
    for pattern in keep:
        if not members(scene, [pattern]):
            raise option_error("--keep", f'no detector is named "{pattern}"', did_you_mean(pattern, tags))
    given = {"models": list(models) or None, "keep": list(keep) or None, "pitch": pitch, "regular": regular}
    spec = spec.model_copy(update={key: value for key, value in given.items() if value is not None})
    if spec.prices and spec.models and (lacking := [name for name in spec.models if name not in spec.prices]):
        raise option_error("--models", f"no price for {', '.join(lacking)}", "add them to placing: {prices: {…}}")
    if spec.models is None and not any(d.model for d in scene.detectors):
        raise InputError([Problem(
            "no-model", "there is no detector model to place",
            scene.position("placing") if scene.placing is not None else scene.position(),
            "offer some: placing: {models: [ceiling-infrared-general]}, or --models; raycover models lists them",
        )])  # fmt: skip
    return spec


def _print(layout: Layout, before: Proof | None) -> None:
    rows = [
        [d.name, d.model or "own pattern", f"{d.at[0]:g}, {d.at[1]:g}", f"{d.mounting:g} m", _turned(d), _set(d),
         "new" if d.name in layout.new else "stays"]
        for d in layout.detectors
    ]  # fmt: skip
    table(["tag", "model", "at", "mounting", "turn", "set", ""], rows, title="Proposed detectors", right=(3, 4))
    print()
    old = {} if before is None else {verdict.need.name: verdict for verdict in before.needs}
    rows = []
    for verdict in layout.proof.needs:
        was = old.get(verdict.need.name)
        worst = (max if verdict.need.never else min)(place.figures.share for place in verdict.places)
        gap = max(place.figures.largest_gap_m for place in verdict.places)
        rows.append([
            verdict.need.name, "yes" if verdict.met else "no", "–" if was is None else "yes" if was.met else "no",
            close_percent(worst), "" if verdict.need.never else f"{gap:.2f} m",
        ])  # fmt: skip
    table(["need", "met", "before", "worst share", "widest gap"], rows, title="Needs with them", right=(3, 4))
    print()
    print(verdict_words(layout))


def _turned(detector: DetectorSpec) -> str:
    tilt = minus(f", tilt {detector.tilt_deg:g}°") if detector.tilt_deg else ""
    return f"{detector.turn_deg:g}°{tilt}"


def _set(detector: DetectorSpec) -> str:
    """What is set or stuck on at a unit, in words; nothing where it hangs as it comes."""
    words = [] if detector.sensitivity_pct == 100 else [f"{detector.sensitivity_pct:g} %"]
    for mask in detector.masks:
        inner = f" beyond {mask.off_axis_from_deg:g}° off axis" if mask.off_axis_from_deg else ""
        words.append(f"mask {mask.from_deg:g}° to {mask.to_deg:g}°{inner}")
    return ", ".join(words)


def verdict_words(layout: Layout) -> str:
    """How many units, and how near that is to the fewest there can be."""
    counted = Counter(d.model for d in layout.detectors if d.name in layout.new)
    units = f"{len(layout.new)} unit{'s' * (len(layout.new) != 1)}"
    kinds = ", ".join(f"{n} {model}" for model, n in counted.most_common())
    price = "" if layout.per_unit else f" for {layout.cost:g}"
    bound = (
        f"fewer than {layout.bound:g} unit{'s' * (layout.bound != 1)}"
        if layout.per_unit
        else f"less than {layout.bound:g}"
    )
    if layout.interrupted:
        near = "the best found before it was interrupted" + ("" if layout.met else "; some needs are missed")
    elif layout.lacking:
        near = "all is met that these candidates can meet; what they cannot is named below"
    elif not layout.met:
        near = "some needs are missed: more time (--seconds) or other candidates may meet them"
    elif layout.optimal:
        near = f"no layout of these candidates does it with {'fewer' if layout.per_unit else 'less'}"
    elif layout.bound <= 0:
        near = "the best found in the time, too short to say how few there can be (--seconds)"
    else:
        best = "the best found in the time" if layout.out_of_time else "the best found"
        near = f"{best}; no layout of these candidates does it with {bound}"
    if layout.met and not layout.bound_of_all and not layout.interrupted:
        near += ", as far as the cells looked at tell"
    quieter = f", and {layout.n_quieter:,} masked or set lower" if layout.n_quieter else ""
    offered = f"{layout.n_candidates:,} candidates{quieter}, {layout.n_cells:,} places looked at"
    return f"{units}{price} ({kinds}): {near} ({offered})"

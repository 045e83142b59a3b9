"""`compare`: two states of a scene, or two scenes, side by side."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from raycover.cli.printing import data, progress, talk
from raycover.cli.solving import Solved, solved
from raycover.cli.tables import table
from raycover.errors import InputError, Position, Problem, did_you_mean, option_error
from raycover.exchange.comparison import CAUTION, comparison_json
from raycover.exchange.files import whole_folder
from raycover.loading import in_state, load
from raycover.scene.air import air_of, degrees
from raycover.scene.schema import Scene
from raycover.shares import close_percent
from raycover.signs import minus
from raycover.solving.comparing import GAINED, LOST, Comparison, compare


def compare_scenes(
    path: Path,
    other: Path | None,
    states: tuple[str, str] | None,
    output: Path,
    *,
    lang: str | None,
    threads: int | None,
    as_json: bool,
) -> None:
    """Solve both, print them side by side, and write a difference map a plane with the figures.

    `lang` is the language of the maps, that of the second scene if None.
    """
    import json

    from raycover.draw.difference import draw_difference
    from raycover.report.words import words_for

    with whole_folder(output) as draft:
        scenes, labels = _both(path, other, states)
        wording = words_for(scenes[1], lang).wording
        before, after = solved(scenes[0], threads), solved(scenes[1], threads)
        found = compare(before.coverage, after.coverage, labels)
        if not found.planes:
            raise InputError([_nothing_shared(before, after, path)])
        figures = comparison_json(found)
        with progress("drawing") as step:
            flat = [name for name, plane in found.planes.items() if plane.surface.stairs is None]
            for index, name in enumerate(flat):
                step(index, len(flat))
                file = draft / f"{name}, {labels[0]} to {labels[1]}.png"
                draw_difference(
                    scenes[1], after.building, found, name, file, what_changes=_what_changes(*scenes, labels),
                    sheet_number=(index + 1, len(flat)), wording=wording,
                )  # fmt: skip
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        (draft / "comparison.json").write_text(text, encoding="utf-8", errors="replace")
    for words in found.mismatches:
        talk(f"Warning: {words}")
    if as_json:
        data(figures)
        return
    _print(found)
    for which, names in zip(labels, found.unpaired, strict=True):
        if names:
            talk(f"Only {which} has: {', '.join(names)}")
    talk(f"Written to {output}")
    talk(CAUTION)


def _both(
    path: Path, other: Path | None, states: tuple[str, str] | None
) -> tuple[tuple[Scene, Scene], tuple[str, str]]:
    """The two scenes and what to call them."""
    if other is not None:
        if states is not None:
            raise option_error("--states", "two files are compared as drawn", "leave --states out, or name one file")
        labels = (path.stem, other.stem) if path.stem != other.stem else (path.parent.name, other.parent.name)
        if labels[0] == labels[1] or not all(labels):
            labels = ("first", "second")
        return (load(path), load(other)), labels
    scene = load(path)
    if states is None:
        if len(scene.states) != 1:
            known = ", ".join(f'"{name}"' for name in scene.state_names)
            raise option_error("--states", "two states to compare are needed", f"write --states A B; states: {known}")
        states = (scene.state_names[0], scene.state_names[1])
    for name in states:
        if name not in scene.state_names:
            raise option_error("--states", f'no state is named "{name}"', did_you_mean(name, scene.state_names))
    if states[0] == states[1]:
        raise option_error("--states", "a state is compared with itself", "name two")
    return (in_state(scene, states[0]), in_state(scene, states[1])), states


def _nothing_shared(before: Solved, after: Solved, path: Path) -> Problem:
    names = [", ".join(done.coverage) for done in (before, after)]
    return Problem(
        "no-shared-plane",
        f"no plane has the same name in both ({names[0]}; {names[1]})",
        Position(str(path)),
        "give the planes to compare one name",
    )


def _what_changes(before: Scene, after: Scene, labels: tuple[str, str]) -> list[str]:
    """What the two states set, in a few words each; of two files whether their air differs."""
    found = []
    for scene in (before, after):
        spec = next((s for s in scene.states if s.name == scene.state and scene.state != scene.state_name), None)
        if spec is None:
            continue
        said = [f"{target}: {_words(value)}" for target, value in spec.set.items()]
        if spec.conditions is not None:
            said.append(f"air at {degrees(spec.conditions.ambient_c)}")
        found += [f"{scene.state}: {text}" for text in said] if before.state != before.state_name else said
    if not found and air_of(before) != air_of(after):
        return [f"{label}: air at {air_of(scene)}" for label, scene in zip(labels, (before, after), strict=True)]
    return found


def _words(value: object) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, list):
        return ", ".join(value)
    given = value.model_dump(exclude_unset=True)  # type: ignore[attr-defined]
    words = []
    for key, new in given.items():
        if key == "goods":
            words.append("loaded" if new else "empty")
        elif key == "ambient_c":
            words.append(f"air at {degrees(new)}")
        elif isinstance(new, Sequence):
            words.append(minus(f"at ({', '.join(f'{v:g}' for v in new)})"))
        else:
            words.append(f"{key.removesuffix('_deg')} {minus(f'{new:g}')}{'°' if key.endswith('_deg') else ' m'}")
    return ", ".join(words)


def _print(found: Comparison) -> None:
    one, two = found.labels
    airs = [coverage.air for coverage in found.coverages]
    if airs[0] != airs[1]:
        print(f"Air: {airs[0]} → {airs[1]}")
    rows = []
    for name, plane in found.planes.items():
        largest = [f"{p.gaps[0].area_m2:.1f}" if p.gaps else "0" for p in (plane.before, plane.after)]
        rows.append(
            [
                name,
                close_percent(plane.before.share),
                close_percent(plane.after.share),
                minus(f"{100 * (plane.after.share - plane.before.share):+.1f}"),
                close_percent(plane.before.assured_share),
                close_percent(plane.after.assured_share),
                f"{plane.area_of(GAINED):.1f}",
                f"{plane.area_of(LOST):.1f}",
                f"{len(plane.before.gaps)} / {len(plane.after.gaps)}",
                " / ".join(largest),
            ]
        )
    heads = ("plane", "seen", "→", "points", "assured", "→", "gained m²", "lost m²", "gaps", "largest m²")
    table(heads, rows, title=f"{one} → {two}", right=range(1, 10))
    print()
    detector_rows = []
    for plane_name in found.planes:
        for name, pair in found.detector_areas(plane_name).items():
            if not any(areas is not None and areas[0] > 0 for areas in pair):
                continue
            seen = [f"{areas[0]:.1f}" if areas is not None else "–" for areas in pair]
            alone = [f"{areas[1]:.1f}" if areas is not None else "–" for areas in pair]
            detector_rows.append([name, plane_name, *seen, *alone])
    columns = ("detector", "plane", "seen m²", "→", "alone m²", "→")
    table(columns, detector_rows, title="detectors", right=range(2, 6))

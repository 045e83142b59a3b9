"""`raycover models new`: an entry from a data sheet's figures, given as options or asked one by one."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from raycover.asking.reach import unit_reach
from raycover.catalogue import own_folders, packaged_folder
from raycover.cli.asking import HELP, Answers, Dialog, Stopped, terminal
from raycover.cli.entry_questions import check_new, converse, questions, title_from
from raycover.cli.printing import data, talk
from raycover.cli.showing import draw, option_problem
from raycover.errors import InputError, Position, Problem
from raycover.exchange import data_sheet
from raycover.exchange.data_sheet import Refused
from raycover.exchange.detector_file import check_free, typed, write_entry
from raycover.exchange.entry_notes import notes
from raycover.scene.devices import DetectorModel
from raycover.scene.quantities import Name

_LONGEST = {"title": 120, "description": 4000, "source": 1000}
_OPTIONS: dict[str, Callable[[str], Any]] = {
    "kind": data_sheet.kind,
    "frequency_ghz": data_sheet.frequency,
    "mounting_from": data_sheet.mounting,
    "mounting_to": data_sheet.mounting,
    "largest_mask_share": data_sheet.share,
    "bus_current_ma": data_sheet.current,
    "reach_behind": data_sheet.share,
}


def enter(
    given: dict[str, str | None],
    declared: list[str],
    folder: Path,
    *,
    drawing: bool,
    force: bool,
    as_json: bool,
    dialog: Dialog | None = None,
) -> None:
    """Make, check, write and draw an entry. `dialog` stands in for the terminal. Raises InputError."""
    taken_in = [packaged_folder(), *own_folders(folder.parent if folder.name == "models" else None)]

    def check_name(text: str) -> str:
        name = _named(text)
        try:
            check_free(name, folder, taken_in=taken_in, force=force)
        except InputError as error:
            first = error.problems[0]
            message = first.message if first.code == "name-taken" else f"{first.position} is there already"
            raise Refused(first.code, message, first.help) from None
        return name

    answers, problems = _from_options(given, declared, check_name)
    if dialog is None and sys.stdin.isatty():
        dialog = terminal()
    refused = {p.position.file for p in problems}
    missing = [(option, why) for option, why in _missing(answers) if option not in refused]
    if dialog is None:
        problems += [
            Problem("missing-option", f"{option} is missing", Position(option), why) for option, why in missing
        ]
    if problems:
        raise InputError(problems)
    if missing and dialog is not None:
        _ask(dialog, answers, check_name)
    model = _model(answers)
    path = write_entry(model, folder, taken_in=taken_in, force=force)
    picture = _drawn(model, path) if drawing else None
    if as_json:
        from raycover.exchange.summary import stamp

        shown = None if picture is None else str(picture)
        data({**stamp(), "name": model.name, "file": str(path), "picture": shown, "notes": notes(model)})
    else:
        print(path)
        if picture is not None:
            print(picture)
    _next_steps(model, folder)


def _ask(dialog: Dialog, answers: Answers, check_name: Callable[[str], str]) -> None:
    dialog.say(HELP)
    try:
        converse(dialog, questions(check_name, _line), answers, lambda a: notes(_model(a)))
    except (Stopped, KeyboardInterrupt):
        import typer

        dialog.say("\nstopped: nothing was written")
        raise typer.Exit(130) from None


def _from_options(
    given: dict[str, str | None], declared: list[str], check_name: Callable[[str], str]
) -> tuple[Answers, list[Problem]]:
    """Answers from the options, and a problem for every one that cannot be taken."""
    answers: Answers = {}
    problems: list[Problem] = []

    def take(option: str, text: str, parse: Callable[[str], Any], number: int = 1) -> Any:
        try:
            return parse(text)
        except Refused as refused:
            problems.append(option_problem(option, text, refused, number))
            return None

    for key, text in given.items():
        if text is None:
            continue
        option = "NAME" if key == "name" else f"--{key.replace('_', '-')}"
        parse = check_name if key == "name" else _OPTIONS.get(key) or _liner(key)
        if (value := take(option, text, parse)) is not None:
            answers[key] = value
    footprints: list[dict[str, Any]] = []
    for number, text in enumerate(declared, 1):
        footprint = take("--declared", text, data_sheet.declared, number)
        if footprint is not None:
            try:
                check_new(footprint, footprints)
            except Refused as refused:
                problems.append(option_problem("--declared", text, refused, number))
            footprints.append(footprint)
    if footprints:
        answers["declared"] = footprints
    low, high = answers.pop("mounting_from", None), answers.pop("mounting_to", None)
    for one, other, name in ((low, high, "--mounting-to"), (high, low, "--mounting-from")):
        if one is not None and other is None and given.get(name[2:].replace("-", "_")) is None:
            problems.append(
                Problem("missing-option", f"{name} is missing", Position(name), "a mounting range has two ends")
            )
    if low is not None and high is not None:
        if high < low:
            why = "the mounting range ends below its start"
            problems.append(Problem("range-order", why, Position("--mounting-to"), "swap the two"))
        answers["mounting_range"] = (low, high)
    if answers.get("kind") == "infrared":
        for key in ("frequency_ghz", "reach_behind"):
            if answers.pop(key, None) is not None:
                option = f"--{key.replace('_', '-')}"
                problems.append(
                    Problem("not-for-infrared", f"{option} is for microwave only", Position(option), "take it out")
                )
    return answers, problems


def _missing(answers: Answers) -> list[tuple[str, str]]:
    """(option, what it is for) of all that an entry cannot do without."""
    needed = [
        ("name", "NAME", "the name that scenes use"),
        ("kind", "--kind", "infrared or microwave"),
        ("declared", "--declared", f'a footprint: {data_sheet.FORMS}; for example "tangential 2.5 circle 7"'),
        ("source", "--source", "where the figures come from, such as the data sheet and its page"),
    ]
    if answers.get("kind") == "microwave":
        needed.insert(2, ("frequency_ghz", "--frequency-ghz", "5.8 or 24.125, say"))
    return [(option, why) for key, option, why in needed if key not in answers]


def _named(text: str) -> str:
    try:
        return str(TypeAdapter(Name).validate_python(text))
    except ValidationError as error:
        details = error.errors()[0]
        raise Refused("bad-name", details["msg"], str(details.get("ctx", {}).get("help", ""))) from None


def _line(key: str, text: str) -> str:
    """Text of one line that a file and a drawing can hold. Raises Refused."""
    line = " ".join(text.split())
    if not line:
        raise Refused("empty-text", "nothing but blanks", "write a few words, or leave it out")
    if len(line) > _LONGEST[key]:
        raise Refused("too-long", f"{len(line)} characters, {_LONGEST[key]} is the most", "shorten it")
    if not all(c.isprintable() for c in line):
        raise Refused("unprintable", "a character here cannot be printed", "write plain text")
    return line


def _liner(key: str) -> Callable[[str], str]:
    return lambda text: _line(key, text)


def _model(answers: Answers) -> DetectorModel:
    """The whole entry, checked by the catalogue's schema. Raises InputError."""
    source = answers["source"]
    entry: dict[str, Any] = {
        "raycover_detector": 1,
        "name": answers["name"],
        "title": answers.get("title") or title_from(answers["name"]),
        "kind": answers["kind"],
        "declared": [{**footprint, "source": source} for footprint in answers["declared"]],
        "source": source,
    }
    if (allowed := answers.get("mounting_range")) is not None:
        entry["mounting"] = {"from": allowed[0], "to": allowed[1]}
    microwave = answers["kind"] == "microwave"
    optional = [
        "largest_mask_share",
        "bus_current_ma",
        "description",
        *(["frequency_ghz", "reach_behind"] if microwave else []),
    ]
    entry |= {key: answers[key] for key in optional if answers.get(key) is not None}
    return typed(entry)


def _drawn(model: DetectorModel, entry: Path) -> Path | None:
    """The sheet beside the entry; where it cannot be drawn the entry stays and the reason is told."""
    picture = entry.with_name(f"{model.name}.png")
    try:
        draw(unit_reach(model), picture)
    except InputError as error:
        talk(f"The entry is written, its drawing is not: {error}")
        return None
    return picture


def _next_steps(model: DetectorModel, folder: Path) -> None:
    for note in notes(model):
        talk(f"note: {note}")
    height = min(d.mounting for d in model.declared)
    talk("In a scene:")
    quoted = (
        model.name
        if model.name.replace("-", "").replace(".", "").isalnum() and model.name[0].isalpha()
        else f'"{model.name}"'
    )
    talk(f"  detectors:\n    - {{name: D1, model: {quoted}, at: [2, 3], mounting: {height:g}}}")
    if folder.name == "models":
        talk(f"Scenes in {folder.parent.resolve()} find it; for others set RAYCOVER_MODELS={folder.resolve()}")
    else:
        talk(f"For scenes to find it set RAYCOVER_MODELS={folder.resolve()}, or put the folder beside them as models/")

"""What is asked for a detector's entry, in the order of a data sheet, and the summary before it is written."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from raycover.cli.asking import Answers, Back, Dialog, Question, Step, Stopped
from raycover.exchange import data_sheet
from raycover.exchange.data_sheet import MEANING, Refused

_SHAPE_FIGURES = {
    "circle": ("Diameter, the whole width", "7, 7 m, or radius 3.5"),
    "rectangle": ("Length along azimuth 0 and width across", "12 x 10"),
    "ellipse": ("Length along azimuth 0 and width across", "18 x 2.6"),
    "sector": ("Reach from the unit and full opening angle", "11 m 110 deg"),
    "polar": ("Azimuth and radius, pair by pair", "0:5, 90:3.5, 180:5, 270:3.5"),
}


def title_from(name: str) -> str:
    """`corner-unit` → `Corner unit`."""
    words = name.replace("-", " ").replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def _is_microwave(answers: Answers) -> bool:
    return answers.get("kind") == "microwave"


def questions(check_name: Callable[[str], str], check_text: Callable[[str, str], str]) -> list[Step]:
    """Every question for an entry. `check_name(text)` and `check_text(key, text)` raise Refused."""
    return [
        Question(
            "name",
            "Name that scenes use, such as corner-unit",
            "One word or a few; `model: NAME` in a scene.",
            check_name,
        ),
        Question(
            "title",
            "Title for schedules and pictures",
            "One line, up to 120 characters.",
            lambda t: check_text("title", t),
            default=lambda a: title_from(a["name"]),
        ),
        Question(
            "kind",
            "Kind: infrared (i) or microwave (m)",
            "Infrared needs a free line to the person; microwave (high frequency, radar) passes light walls.",
            data_sheet.kind,
        ),
        Question(
            "frequency_ghz",
            "Frequency in GHz, such as 5.8 or 24.125",
            "It decides what walls cost: look for it on the data sheet.",
            data_sheet.frequency,
            shown=lambda v: f"{v:g}",
            when=_is_microwave,
        ),
        Question(
            "source",
            "Where do the figures come from? (maker's sheet, edition, page)",
            "Written beside each figure, so that others can check it.",
            lambda t: check_text("source", t),
        ),
        Footprints(),
        Question(
            "mounting_range",
            "Mounting range, lowest to highest, such as 2.2 to 4",
            "Heights the maker allows; others are warned about.",
            data_sheet.mounting_range,
            optional=True,
            shown=lambda v: f"{v[0]:g} to {v[1]:g} m",
        ),
        Question(
            "largest_mask_share",
            "Largest share that masks may take, such as 25 %",
            "Masks beyond it are refused in a scene.",
            data_sheet.share,
            optional=True,
            shown=lambda v: f"{100 * v:g} %",
        ),
        Question(
            "bus_current_ma",
            "Bus current in mA",
            "What one unit draws from the control bus.",
            data_sheet.current,
            optional=True,
            shown=lambda v: f"{v:g} mA",
        ),
        Question(
            "reach_behind",
            "Reach behind the mounting plane, as a share such as 30 %",
            "How far it senses above the ceiling or behind the wall it hangs on; 0 where left out.",
            data_sheet.share,
            optional=True,
            shown=lambda v: f"{100 * v:g} %",
            when=_is_microwave,
        ),
        Question(
            "description",
            "What it is for, in a sentence",
            "Shown on its sheet.",
            lambda t: check_text("description", t),
            optional=True,
        ),
    ]


@dataclass(frozen=True)
class Footprints:
    """The declared footprints, one after another, each figure by figure or in one line."""

    key: str = "declared"

    def applies(self, answers: Answers) -> bool:
        return True

    def ask(self, dialog: Dialog, answers: Answers) -> list[dict[str, Any]]:
        """The list of footprints, at least one. Raises Back when `back` is said before the first."""
        taken: list[dict[str, Any]] = list(answers.get("was declared", []))
        if taken:
            dialog.say(f"{len(taken)} footprints so far; Enter when all are in, `back` to drop the last.")
        else:
            dialog.say("Now the declared footprints: a motion, a mounting height, a plane and a shape each.")
            for name, words in MEANING.items():
                dialog.say(f"  {name}: {words}")
        while True:
            try:
                found = self._one(dialog, taken)
            except Back:
                if not taken:
                    raise
                dialog.say(f"  dropped: {data_sheet.in_words(taken.pop())}")
                continue
            if found is None:
                return taken
            taken.append(found)
            dialog.say(f"  {data_sheet.in_words(found)}")

    def _one(self, dialog: Dialog, taken: list[dict[str, Any]]) -> dict[str, Any] | None:
        """One more footprint, None when Enter says that all are in."""
        ends = "; Enter when all are in" if taken else ""
        words = f"Footprint {len(taken) + 1}: motion, or a whole line such as tangential 2.5 circle 7{ends}"
        while True:
            answer = dialog.line(words, f"Motion: {', '.join(MEANING)}. A whole line: {data_sheet.FORMS}")
            if not answer and taken:
                return None
            if not answer:
                dialog.say("  at least one is needed")
                continue
            try:
                if any(c.isdigit() for c in answer):
                    found = data_sheet.declared(answer)
                else:
                    found = self._figure_by_figure(dialog, data_sheet.motion(answer), taken)
                check_new(found, taken)
            except Refused as refused:
                dialog.refuse(answer, refused)
                continue
            except Back:
                continue  # back from the first figure: the motion again
            return found

    def _figure_by_figure(self, dialog: Dialog, motion: str, taken: list[dict[str, Any]]) -> dict[str, Any]:
        last = taken[-1] if taken else None
        metres = "{:g}".format
        figures: Answers = {}
        steps: list[Step] = [
            Question(
                "mounting",
                "  Mounting height of the unit for this footprint",
                "Metres above the floor; mm and cm with their unit.",
                data_sheet.mounting,
                default=lambda a: last["mounting"] if last else None,
                shown=metres,
            ),
            Question(
                "plane",
                "  Height of the plane it is declared on (0 is the floor)",
                "Data sheets often give presence at desk height, 0.75, and walking on the floor.",
                _below(figures),
                default=lambda a: 0.0,
                shown=metres,
            ),
            Question(
                "shape",
                f"  Shape: {', '.join(data_sheet.SHAPES)}",
                "Seen from above. A two-lobe pattern is an ellipse or polar.",
                data_sheet.shape_name,
                default=lambda a: next(iter(last["shape"])) if last else None,
            ),
        ]
        while True:
            dialog.run(steps, figures)
            words, example = _SHAPE_FIGURES[figures["shape"]]
            size = Question(
                "size", f"  {words}, such as {example}", f"Metres; for example {example}.", _sized(figures["shape"])
            )
            try:
                shape = size.ask(dialog, figures)
            except Back:
                figures["was shape"] = figures.pop("shape")
                continue
            return {"mounting": figures["mounting"], "plane": figures["plane"], "motion": motion, "shape": shape}


def _below(figures: Answers) -> Callable[[str], float]:
    def parse(text: str) -> float:
        height = data_sheet.plane(text)
        if height >= figures["mounting"]:
            raise Refused(
                "plane-above-unit", f"{height:g} m is not below the unit at {figures['mounting']:g} m", "check both"
            )
        return height

    return parse


def _sized(shape: str) -> Callable[[str], dict[str, Any]]:
    return lambda text: data_sheet.dimensions(shape, text)


def check_new(footprint: dict[str, Any], taken: list[dict[str, Any]]) -> None:
    """Raise Refused where the motion is already declared at this mounting height."""
    if any(f["motion"] == footprint["motion"] and f["mounting"] == footprint["mounting"] for f in taken):
        raise Refused(
            "declared-twice",
            f"{footprint['motion']} is already declared from {footprint['mounting']:g} m",
            "one footprint a motion and height",
        )


def converse(dialog: Dialog, steps: list[Step], answers: Answers, notes: Callable[[Answers], list[str]]) -> None:
    """Ask what is missing, then show the summary until it is confirmed. Raises Stopped."""
    while True:
        try:
            dialog.run(steps, answers)
        except Back:
            dialog.say("  this is the first question; Ctrl-C stops")
            continue
        lines = list(_summary(steps, answers))
        dialog.say("")
        for number, (_, label, value) in enumerate(lines, 1):
            dialog.say(f"{number:3}  {label:<20} {value}")
        for note in notes(answers):
            dialog.say(f"     note: {note}")
        if not _confirmed(dialog, [key for key, _, _ in lines], answers):
            continue
        return


def _confirmed(dialog: Dialog, keys: list[str], answers: Answers) -> bool:
    """Whether to write; otherwise the answer to change has been taken out of `answers`."""
    try:
        answer = dialog.line(
            "Enter writes it; a number changes that line; `add` adds a footprint; `stop` leaves without writing",
            "Nothing is written yet.",
        )
    except Back:
        answer = str(len(keys))
    if answer.lower() in ("", "y", "yes", "ok"):
        return True
    if answer.lower() in ("stop", "quit", "q", "n", "no"):
        raise Stopped
    if answer.lower() == "add":
        answers["was declared"] = answers.pop("declared")
        return False
    if not (answer.isdecimal() and 1 <= int(answer) <= len(keys)):
        dialog.say(f"  write a number from 1 to {len(keys)}, or nothing")
        return False
    key = keys[int(answer) - 1]
    if key == "declared":
        # one footprint is asked anew: the others stay as they are
        place = int(answer) - 1 - keys.index("declared")
        answers["was declared"] = [f for k, f in enumerate(answers.pop("declared")) if k != place]
    else:
        answers[f"was {key}"] = answers.pop(key)
        if key == "kind":
            for other in ("frequency_ghz", "reach_behind"):
                answers.pop(other, None)
    return False


def _summary(steps: list[Step], answers: Answers) -> Iterator[tuple[str, str, str]]:
    """(key, label, value) of each line of the summary."""
    for step in steps:
        if not step.applies(answers):
            continue
        if isinstance(step, Question):
            value = answers.get(step.key)
            yield step.key, step.key.replace("_", " "), "left out" if value is None else step.shown(value)
        else:
            for number, footprint in enumerate(answers["declared"], 1):
                yield step.key, f"footprint {number}", data_sheet.in_words(footprint)

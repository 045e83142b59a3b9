"""Ready-made sets of needs: each entry `{set: …}` of a scene becomes the needs that it stands for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import ValidationError

from raycover.catalogue import load_need_sets
from raycover.errors import Position, Problem, did_you_mean
from raycover.scene.need_sets import NeedSetSpec
from raycover.scene.needs import NeedSpec
from raycover.scene.schema import Places, Scene

#: Keys of a set's needs that the scene says by another: who reads the file looks for that one.
_SAID_AS = {"seats": "rooms", "within": "rooms", "cubicles": "rooms", "beyond_aisles": "aisles"}
#: No name is longer: it stands on drawings.
_LONGEST_NAME = 40


@dataclass(frozen=True)
class SetPlaces:
    """Where the values of a scene's needs were written: those of a set at the entry that stands for it."""

    written: Places
    entry: tuple[int, ...]
    of_set: frozenset[int]

    def position(self, loc: Iterable[str | int], *, key: bool = False) -> Position:
        at = tuple(loc)
        if len(at) > 1 and at[0] == "needs" and isinstance(at[1], int) and at[1] < len(self.entry):
            rest = at[2:]
            if at[1] in self.of_set and rest:
                rest = (_SAID_AS.get(str(rest[0]), rest[0]), *rest[1:])
            at = ("needs", self.entry[at[1]], *rest)
        return self.written.position(at, key=key)


def expand(
    scene: Scene, written: Places, folder: Path | None, more: Sequence[Path] = ()
) -> tuple[Scene, Places, list[Problem]]:
    """The scene with every set of needs written out, where its values stood, and what is wrong with the sets.

    `more` are folders of the user's models besides `models/` in `folder`.
    Wrong are names that no set has, keys that a set has no use for, and needs that cannot be: they are left out.
    """
    if not any(need.set is not None for need in scene.needs):
        return scene, written, []
    sets = load_need_sets(folder, more)
    needs: list[NeedSpec] = []
    entry: list[int] = []
    of_set: list[int] = []
    problems: list[Problem] = []
    used: dict[str, int] = {}
    for index, said in enumerate(scene.needs):
        if said.set is None:
            made = [said]
        elif said.set not in sets:
            where = written.position(("needs", index, "set"))
            help_ = did_you_mean(said.set, sorted(sets))
            problems.append(Problem("unknown-set", f'unknown set of needs "{said.set}"', where, help_))
            continue
        else:
            used[said.set] = used.get(said.set, 0) + 1
            name = said.name or (said.set if used[said.set] == 1 else f"{said.set} {used[said.set]}")
            made = _made(sets[said.set], name, said, index, written, problems)
            of_set += range(len(needs), len(needs) + len(made))
        needs += made
        entry += [index] * len(made)
    places = SetPlaces(written, tuple(entry), frozenset(of_set))
    return scene.model_copy(update={"needs": needs}), places, problems


def _made(
    spec: NeedSetSpec, name: str, said: NeedSpec, index: int, written: Places, problems: list[Problem]
) -> list[NeedSpec]:
    """The needs of one entry; what is wrong with it goes to `problems`."""
    before = len(problems)
    given = said.model_fields_set
    for key in sorted(given & {"rooms", "stairs", "aisles", "zones", "routes"} - {spec.asks}):
        problems.append(
            Problem(
                "not-for-set", f'the set "{said.set}" is asked of {spec.asks}, not of {key}',
                written.position(("needs", index, key), key=True), f"write {spec.asks}: [NAME, …] or leave it out",
            )
        )  # fmt: skip
    for key in sorted(given & {"share", "largest_gap", "by", "clear_db", "whose"}):
        if not spec.takes(key):
            problems.append(
                Problem(
                    "not-for-set", f'no need of the set "{said.set}" has a {key}',
                    written.position(("needs", index, key), key=True), "take it out",
                )
            )  # fmt: skip
    longest = max((f"{name}, {need.name}" for need in spec.needs), key=len)
    if len(longest) > _LONGEST_NAME:
        problems.append(
            Problem(
                "long-name", f'"{longest}" would be the name of a need: {len(longest)} characters are too many',
                written.position(("needs", index, "name")), f"{_LONGEST_NAME} at most: choose a shorter name",
            )
        )  # fmt: skip
    if len(problems) > before:
        return []
    try:
        return spec.needs_at(name, said)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        problems.append(
            Problem(
                "not-for-set", f'the set "{said.set}": {first["msg"]}', written.position(("needs", index)),
                str(first.get("ctx", {}).get("help", "")),
            )
        )  # fmt: skip
        return []

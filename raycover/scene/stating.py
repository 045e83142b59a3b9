"""A scene in one of its states: a new Scene, its values still knowing where they were written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Any, Literal

from raycover.errors import Position, Problem, did_you_mean
from raycover.scene.fittings import Ajar
from raycover.scene.parts import DOOR_SILL_M, opens_for_people
from raycover.scene.schema import Scene
from raycover.scene.states import Change, SetValue, StateSpec

if TYPE_CHECKING:
    from raycover.scene.schema import Places

Loc = tuple[str | int, ...]
#: Lists whose things a state can move or take away, with what one of them is called in messages.
_THINGS = {
    "solids": "a solid",
    "racking": "racking",
    "cubicles": "a row of cubicles",
    "fixtures": "a row of fixtures",
    "desks": "a row of desks",
    "tables": "a table",
    "partitions": "a partition",
    "sheets": "a sheet",
    "meshes": "a mesh",
    "nuisances": "a nuisance",
}
#: A room is known by its name where its air is set, and so that what it does not take can be told: a row of cubicles
#: may be called as the room that it stands in.
_ROOMS = "rooms"
#: Keys of a rack that say what lies in it: one in a state stands for all of them.
LOADS = {"goods", "fill", "loads", "seed"}


@dataclass(frozen=True)
class Target:
    """What a name in `set` may mean: `loc` in the scene, `kind` its list, `openings` for an opening."""

    name: str
    kind: str
    loc: Loc
    item: Any


@dataclass(frozen=True)
class StatePlaces:
    """Where the values of a scene in a state were written: what the state sets stands in the state."""

    drawn: Places
    moved: dict[Loc, Loc]
    kept: dict[str, list[int]]

    def position(self, loc: Iterable[str | int], *, key: bool = False) -> Position:
        at = tuple(loc)
        if len(at) > 1 and at[0] in self.kept and isinstance(at[1], int):
            at = (at[0], self.kept[str(at[0])][at[1]], *at[2:])
        for n in range(len(at), 0, -1):
            if at[:n] in self.moved:
                return self.drawn.position(self.moved[at[:n]])
        return self.drawn.position(at, key=key)


def means(said: str, name: str) -> bool:
    """Whether a name that a state says, in which `*` stands for any letters, means a thing of that name."""
    return fnmatchcase(name, said.replace("[", "[[]")) if "*" in said else name == said


def targets(scene: Scene) -> Iterator[Target]:
    """Everything that a state can set: openings under both their names, then things, then rooms."""
    for kind in ("rooms", "partitions"):
        for i, owner in enumerate(getattr(scene, kind)):
            for k, opening in enumerate(owner.openings):
                loc: Loc = (kind, i, "openings", k)
                yield Target(f"{owner.name}/opening {k}", "openings", loc, opening)
                if opening.name is not None:
                    yield Target(opening.name, "openings", loc, opening)
    for i, room in enumerate(scene.rooms):
        for k, light in enumerate(room.roof.lights if room.roof is not None else ()):
            yield Target(f"{room.name}/roof light {k}", "openings", ("rooms", i, "roof", "lights", k), light)
    for kind in _THINGS:
        for i, thing in enumerate(getattr(scene, kind, None) or ()):
            yield Target(thing.name, kind, (kind, i), thing)
    for i, room in enumerate(scene.rooms):
        yield Target(room.name, _ROOMS, (_ROOMS, i), room)


def state_problems(scene: Scene) -> list[Problem]:
    """What is wrong with the names of states and with what they set."""
    found: list[Problem] = []
    taken = {scene.state_name.lower(): scene.position("state_name")}
    planes = {plane.name.lower() for plane in scene.planes}
    for index, state in enumerate(scene.states):
        here = scene.position("states", index, "name")
        if state.name.lower() in taken:
            line = taken[state.name.lower()].line
            again = f" (first on line {line})" if "state_name" in scene.model_fields_set or index else ""
            found.append(
                Problem(
                    "same-name",
                    f'the name "{state.name}" is used twice among the states{again}',
                    here,
                    "rename one of the two; the scene as drawn has the name that state_name gives it",
                )
            )
        taken.setdefault(state.name.lower(), here)
        clash = next((p.name for p in scene.planes if f"{p.name}, {state.name}".lower() in planes), None)
        if clash is not None:
            found.append(
                Problem("taken-name", f'a plane is named as "{clash}" in this state would be', here, "rename the state")
            )
        found += _apply(scene, index)[1]
    return found


def apply_state(scene: Scene, index: int) -> Scene:
    """The scene in its state number `index`: a new Scene; the states must be sound (see `state_problems`)."""
    changed, problems = _apply(scene, index)
    assert not problems, problems[0]
    return changed


def with_open(scene: Scene, names: Iterable[str]) -> Scene:
    """The scene with some openings open, by either of their names: a new Scene in the same state."""
    wanted = set(names)
    return with_openings(scene, {t.loc: "open" for t in targets(scene) if t.kind == "openings" and t.name in wanted})


def with_openings(scene: Scene, states: Mapping[Loc, str]) -> Scene:
    """The scene with openings, by where they stand in it, open or closed: a new Scene in the same state."""
    fields = _changed_lists(scene, {loc: {"state": state} for loc, state in states.items()}, {})
    return scene.changed(fields, scene.state, lambda drawn: drawn)


def with_doors(scene: Scene, state: Literal["open", "closed"]) -> Scene:
    """The scene with every door open or closed, those of cubicles too, windows as they are: a new Scene.

    A door is an opening that reaches down to the floor and that people pass: see `opens_for_people`.
    """
    updates: dict[Loc, dict[str, Any]] = {}
    for target in targets(scene):
        if target.kind == "openings" and target.loc[2] == "openings":
            item, fill = target.item, scene.catalogue.construction(target.item.fill)
            if item.sill < DOOR_SILL_M and opens_for_people(item.width, item.height, fill):
                updates[target.loc] = {"state": state}
        elif target.kind == "cubicles":
            updates[target.loc] = {"doors": state}
    return scene.changed(_changed_lists(scene, updates, {}), scene.state, lambda drawn: drawn)


def _apply(scene: Scene, index: int) -> tuple[Scene, list[Problem]]:
    state = scene.states[index]
    known = list(targets(scene))
    problems: list[Problem] = []
    updates: dict[Loc, dict[str, Any]] = {}
    absent: dict[str, set[int]] = {}
    moved: dict[Loc, Loc] = {}
    for name, value in state.set.items():
        loc: Loc = ("states", index, "set", name)
        chosen = _chosen(scene, name, value, known, loc, problems)
        for target in chosen:
            wrong = _unfit(target, value)
            if wrong is not None:
                problems.append(Problem("wrong-state", wrong[0], scene.position(*loc), wrong[1]))
                break
            if value == "absent":
                absent.setdefault(target.kind, set()).add(int(target.loc[1]))
                continue
            for key, new in _new_values(target, value).items():
                updates.setdefault(target.loc, {})[key] = new
                inside = (*loc, key) if isinstance(value, Change) and key != "doors" else loc
                moved[(*target.loc, key)] = inside
    if problems:
        return scene, problems
    fields = _changed_lists(scene, updates, absent)
    if state.conditions is not None:
        fields["conditions"] = scene.conditions.model_copy(update={"ambient_c": state.conditions.ambient_c})
        moved[("conditions", "ambient_c")] = ("states", index, "conditions", "ambient_c")
    kept = {kind: [i for i in range(len(getattr(scene, kind))) if i not in gone] for kind, gone in absent.items()}
    return scene.changed(fields, state.name, lambda drawn: StatePlaces(drawn, moved, kept)), []


def _sets_air(value: SetValue) -> bool:
    return isinstance(value, Change) and "ambient_c" in value.model_fields_set


def _chosen(
    scene: Scene, name: str, value: SetValue, known: list[Target], loc: Loc, problems: list[Problem]
) -> list[Target]:
    """The targets that a name means: rooms where their air is set, else all but rooms, if there are such; of several
    sorts it would mean none."""
    here = scene.position(*loc, key=True)
    air = _sets_air(value)
    fit = [t for t in known if (t.kind == _ROOMS) == air]
    found = [t for t in fit if means(name, t.name)] or [t for t in known if means(name, t.name)]
    if not found:
        names = sorted({t.name for t in fit})
        nothing = "the scene has no room" if air else "the scene has nothing that a state can set"
        help_ = did_you_mean(name, names) if names else nothing
        own = name.rpartition("/")[2]
        if "/" in name and any(t.kind == "openings" and means(own, t.name) for t in fit):  # as routes may call it
            help_ = f'write "{own}": an opening goes by its own name alone, or by its number, as OWNER/opening 0'
        missing = f'no room "{name}" whose air could be set' if air else f'no opening or thing "{name}" to set'
        problems.append(Problem("unknown-target", f"there is {missing}", here, help_))
    elif len({t.kind for t in found}) > 1:
        lines = ", ".join(f"{t.kind} on line {scene.position(*t.loc).line}" for t in found[:4])
        help_ = "rename one of them" if "*" not in name else "write out the names"
        problems.append(Problem("ambiguous-target", f'"{name}" means several things: {lines}', here, help_))
        return []
    elif "*" not in name and found[0].kind != "openings" and len(found) > 1:
        return found[:1]  # the name used twice is reported by itself
    unique = {t.loc: t for t in found}
    return list(unique.values())


def _unfit(target: Target, value: SetValue) -> tuple[str, str] | None:
    """Why a target cannot be set to a value, and what it can be set to; None where it can."""
    if target.kind == "openings":
        if value in ("open", "closed"):
            return None
        return f'"{target.name}" is an opening: it is open or closed', "write open or closed"
    what = "a room" if target.kind == _ROOMS else _THINGS[target.kind]
    keys = sorted(set(Change.model_fields) & set(type(target.item).model_fields))
    if target.kind == "nuisances" and target.item.at is None:
        keys.remove("at")  # what moves along a line has no place
    if target.kind == "cubicles":
        keys = sorted([*keys, "ajar_deg"])
    ways = [] if target.kind == _ROOMS else ["absent"]
    ways += [f"a new {' or '.join(keys)}, such as {{{keys[0]}: …}}"] if keys else []
    if target.kind == "cubicles":
        ways = ["open", "closed", "a list with one state a cubicle", *ways]
    help_ = f"{what} takes " + ", ".join(ways)
    if isinstance(value, Change):
        strange = sorted(value.model_fields_set - set(keys))
        nothing = sorted(key for key in value.model_fields_set if getattr(value, key) is None)
        if strange:
            return f'"{target.name}" is {what}: it has no {" and no ".join(strange)}', help_
        if nothing:
            return f'"{target.name}": {nothing[0]} has no value', help_
        return None
    if (value == "absent" and target.kind != _ROOMS) or target.kind == "cubicles":
        return None
    shown = value if isinstance(value, str) else "a list of states"
    return f'"{target.name}" is {what}: it cannot be {shown}', help_


def _new_values(target: Target, value: SetValue) -> dict[str, Any]:
    if isinstance(value, Change):
        found = {key: getattr(value, key) for key in sorted(value.model_fields_set)}
        if "ajar_deg" in found:
            found["doors"] = Ajar(ajar_deg=found.pop("ajar_deg"))
        if target.kind == "meshes" and "at" in found:  # a height that was given stays
            found["at"] = [*found["at"], *target.item.at[2:]]
        return found
    return {"state" if target.kind == "openings" else "doors": value}


def _changed_lists(scene: Scene, updates: dict[Loc, dict[str, Any]], absent: dict[str, set[int]]) -> dict[str, Any]:
    """The scene's lists that differ, with new copies of what is changed in them."""
    fields: dict[str, list[Any]] = {}

    def of(kind: str) -> list[Any]:
        return fields.setdefault(kind, list(getattr(scene, kind)))

    for loc, values in updates.items():
        items, i = of(str(loc[0])), int(loc[1])
        items[i] = _changed(items[i], loc[2:], values)
    for kind, gone in absent.items():
        fields[kind] = [item for i, item in enumerate(of(kind)) if i not in gone]
    return dict(fields)


def _changed(item: Any, path: Loc, values: dict[str, Any]) -> Any:
    """A copy in which what stands at a path has other values; the path runs by keys and indices in turn."""
    if not path:
        return _replaced(item, values)
    key, rest = str(path[0]), path[1:]
    inner = getattr(item, key)
    if isinstance(inner, list):
        inner = list(inner)
        inner[int(rest[0])] = _changed(inner[int(rest[0])], rest[1:], values)
    else:
        inner = _changed(inner, rest, values)
    return item.model_copy(update={key: inner})


def _replaced(item: Any, values: dict[str, Any]) -> Any:
    """A copy with other values. What a rack is said to hold takes the place of what else says so."""
    dropped = LOADS - set(values) if LOADS & set(values) else set()
    defaults = {key: type(item).model_fields[key].get_default() for key in dropped if key in type(item).model_fields}
    copy = item.model_copy(update={**defaults, **values})
    copy.model_fields_set.difference_update(dropped)
    return copy


__all__ = [
    "LOADS",
    "StatePlaces",
    "StateSpec",
    "Target",
    "apply_state",
    "means",
    "state_problems",
    "targets",
    "with_doors",
    "with_open",
    "with_openings",
]

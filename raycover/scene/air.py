"""The air of a scene in words: its own, and that of rooms which have one of their own."""

from __future__ import annotations

from collections.abc import Mapping

from raycover.scene.schema import Scene
from raycover.signs import minus

#: A room is named where it alone has an air of its own and its name has no more letters than this.
_SHORT = 16


def own_air(scene: Scene) -> dict[str, float]:
    """{room: °C} of the rooms whose air is another than the scene's."""
    general = scene.conditions.ambient_c
    return {r.name: r.ambient_c for r in scene.rooms if r.ambient_c is not None and r.ambient_c != general}


def air_words(ambient_c: float, rooms_c: Mapping[str, float]) -> str:
    """ "20 °C", with rooms of their own "20 °C (Freezer −20 °C)" or "20 °C (3 rooms −20 to 4 °C)": short, for
    titles. `rooms_c` as `own_air` finds them."""
    if not rooms_c:
        return degrees(ambient_c)
    low, high = min(rooms_c.values()), max(rooms_c.values())
    span = degrees(low) if low == high else minus(f"{low:g} to {degrees(high)}")
    n, (first, *_) = len(rooms_c), rooms_c
    which = f"{n} room{'s' * (n != 1)}" if n > 1 or len(first) > _SHORT else first
    return f"{degrees(ambient_c)} ({which} {span})"


def kept_words(rooms_c: Mapping[str, float]) -> str:
    """What is said where the scene's air is varied and rooms have their own; empty where none has."""
    if not rooms_c:
        return ""
    rooms = ", ".join(f"{name} {degrees(value)}" for name, value in rooms_c.items())
    return f"Rooms with an air of their own keep it: {rooms}"


def air_of(scene: Scene) -> str:
    """The air of a scene in words."""
    return air_words(scene.conditions.ambient_c, own_air(scene))


def in_one_air(scene: Scene, ambient_c: float) -> dict[str, object]:
    """The fields of a scene that change where the same air is to be everywhere, rooms of their own included."""
    return {
        "conditions": scene.conditions.model_copy(update={"ambient_c": ambient_c}),
        "rooms": [room.model_copy(update={"ambient_c": None}) for room in scene.rooms],
    }


def differ_in_air_alone(one: Scene, other: Scene) -> bool:
    """Whether two states of a scene, or two scenes, have the same parts, detectors and questions: air apart."""
    for key in type(one).model_fields:
        if key in ("conditions", "rooms"):
            continue
        if (mine := getattr(one, key)) is not (its := getattr(other, key)) and mine != its:
            return False
    mine, its = (in_one_air(scene, 20.0) for scene in (one, other))
    return mine == its


def degrees(value: float) -> str:
    """A temperature in words, with a proper minus."""
    return minus(f"{value:g} °C")

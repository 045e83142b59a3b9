"""The air of a scene in words: its own, and that of rooms which have one of their own."""

from __future__ import annotations

from collections.abc import Mapping

from raycover.scene.schema import Scene

#: So many airs of rooms are told one by one.
_MOST = 2


def own_air(scene: Scene) -> dict[str, float]:
    """{room: °C} of the rooms whose air is another than the scene's."""
    general = scene.conditions.ambient_c
    return {r.name: r.ambient_c for r in scene.rooms if r.ambient_c is not None and r.ambient_c != general}


def air_words(ambient_c: float, rooms_c: Mapping[str, float]) -> str:
    """ "20 °C", with rooms of their own "20 °C (Freezer −20 °C)"; `rooms_c` as `own_air` finds them."""
    of_air: dict[float, list[str]] = {}
    for name, value in rooms_c.items():
        of_air.setdefault(value, []).append(name)
    if len(of_air) > _MOST or any(len(names) > 1 for names in of_air.values()):
        low, high = min(of_air), max(of_air)
        span = _degrees(low) if low == high else f"{low:g} to {_degrees(high)}".replace("-", "−")
        rooms = f"{len(rooms_c)} rooms {span}"
    else:
        rooms = ", ".join(f"{names[0]} {_degrees(value)}" for value, names in of_air.items())
    return f"{_degrees(ambient_c)} ({rooms})" if rooms else _degrees(ambient_c)


def air_of(scene: Scene) -> str:
    """The air of a scene in words."""
    return air_words(scene.conditions.ambient_c, own_air(scene))


def in_one_air(scene: Scene, ambient_c: float) -> dict[str, object]:
    """The fields of a scene that change where the same air is to be everywhere, rooms of their own included."""
    return {
        "conditions": scene.conditions.model_copy(update={"ambient_c": ambient_c}),
        "rooms": [room.model_copy(update={"ambient_c": None}) for room in scene.rooms],
    }


def _degrees(value: float) -> str:
    return f"{value:g} °C".replace("-", "−")

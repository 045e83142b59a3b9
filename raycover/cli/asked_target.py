"""What `probe` asks about: where, at which heights, which motion of which body; by a plane or by single options."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from raycover.building.parts import Building
from raycover.errors import did_you_mean, option_error
from raycover.physics.microwave import BODIES_M2
from raycover.scene.declared import ASKED_MOTIONS
from raycover.scene.devices import PlaneSpec
from raycover.scene.lengths import length_m
from raycover.scene.schema import Scene
from raycover.signs import minus

Point = tuple[float, float, float]
#: The largest radar cross section (m²) that a plane of a scene may have too.
_MOST_M2 = 1000.0


@dataclass(frozen=True)
class Asked:
    """The options as given, None where they are not."""

    plane: str | None = None
    motion: str | None = None
    body: str | None = None
    target_m2: float | None = None


@dataclass(frozen=True)
class Target:
    """Somebody at `point` (x, y, z, m), seen at one of `heights` (m) over it; `target_m2` None: as declared."""

    point: Point
    heights: tuple[float, ...]
    motion: str
    body: str | None
    target_m2: float | None
    plane: str | None

    @property
    def words(self) -> str:
        """What was taken, in one line."""
        parts = [] if self.plane is None else [f'plane "{self.plane}"']
        if self.heights != (0.0,):
            parts.append(minus(f"{' or '.join(f'{h:g}' for h in self.heights)} m over the floor"))
        parts.append(f"{self.motion} motion")
        if self.target_m2 is None:
            parts.append("body as declared")
        else:
            parts.append((f"{self.body}, " if self.body else "body of ") + f"{self.target_m2:g} m² to microwave")
        return ", ".join(parts)

    def as_json(self) -> dict[str, Any]:
        """Additions to a probe's JSON."""
        return {
            "plane": self.plane, "motion": self.motion, "body": self.body, "target_m2": self.target_m2,
            "heights_m": list(self.heights),
        }  # fmt: skip


def target_of(scene: Scene, building: Building, at: str, asked: Asked) -> Target:
    """What is asked about. Three numbers are the point itself; two, with a plane, stand for the heights of the plane
    over the floor there. Single options go before what the plane says. Raises InputError.
    """
    plane = None if asked.plane is None else _plane(scene, asked.plane)
    place = _place(at, with_plane=plane is not None)
    motion = asked.motion if asked.motion is not None else "any" if plane is None else plane.motion
    if motion not in ASKED_MOTIONS:
        raise option_error("--motion", f'unknown motion "{motion}"', did_you_mean(motion, ASKED_MOTIONS))
    body, target_m2 = _body(asked)
    if plane is not None and target_m2 is None:
        body, target_m2 = plane.body, plane.cross_section_m2
    point: tuple[float, ...] = place
    heights: tuple[float, ...] = (0.0,)
    if len(place) == 2 and plane is not None:
        point, heights = (*place, _floor(building, *place)), plane.target_heights
    return Target(point, heights, motion, body, target_m2, asked.plane)  # type: ignore[arg-type]


def _plane(scene: Scene, name: str) -> PlaneSpec:
    for plane in scene.planes:
        if plane.name == name:
            return plane
    names = [plane.name for plane in scene.planes]
    raise option_error("--plane", f'no plane is named "{name}"', did_you_mean(name, names) or "the scene has no planes")


def _body(asked: Asked) -> tuple[str | None, float | None]:
    if asked.body is not None and asked.target_m2 is not None:
        raise option_error(
            "--target-m2", "--body and --target-m2 say the same thing in two ways", "keep one of the two"
        )
    if asked.body is not None:
        if asked.body not in BODIES_M2:
            raise option_error("--body", f'unknown body "{asked.body}"', did_you_mean(asked.body, list(BODIES_M2)))
        return asked.body, BODIES_M2[asked.body]
    if asked.target_m2 is not None and not 0 < asked.target_m2 <= _MOST_M2:
        raise option_error(
            "--target-m2",
            f"expects a radar cross section over 0 and up to {_MOST_M2:g} m², got {asked.target_m2:g}",
            "write --target-m2 0.73 for a walker, 0.03 for a seated person",
        )
    return None, asked.target_m2


def _floor(building: Building, x: float, y: float) -> float:
    """The floor under a place; refused where rooms lie one above another."""
    floors = sorted({room.floor for room in building.rooms if room.holds(x, y)})
    if len(floors) > 1:
        listed = ", ".join(f"{floor:g}" for floor in floors)
        raise option_error(
            "--at",
            f"rooms lie one above another there, with floors at {listed} m",
            f"write the point itself: --at {x:g},{y:g},{floors[0]:g} (the plane's motion and body still count)",
        )
    return building.floor_at(x, y)


def _place(text: str, *, with_plane: bool) -> tuple[float, ...]:
    allowed = (2, 3) if with_plane else (3,)
    try:
        numbers = tuple(_metres(part) for part in text.split(","))
        if len(numbers) not in allowed:
            raise ValueError
    except ValueError:
        either = " (or X,Y: the plane's heights over the floor)" if with_plane else ""
        raise option_error(
            "--at",
            f'expects three numbers X,Y,Z{either}, got "{text}"',
            "write --at 6.2,1.4,0.75 (metres, points for decimals)" + ("" if with_plane else "; X,Y needs --plane"),
        ) from None
    if not all(map(math.isfinite, numbers)):
        raise option_error("--at", f'expects finite numbers, got "{text}"', "write --at 6.2,1.4,0.75")
    return numbers


def _metres(text: str) -> float:
    text = text.replace("\N{MINUS SIGN}", "-")  # as points are printed
    try:
        return float(text)
    except ValueError:
        return length_m(text)

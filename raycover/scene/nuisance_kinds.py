"""What is known of each kind of nuisance where a scene does not say: size, echo, movement, heat.

Nearly every figure here is our assumption, not a measurement: rough sizes of things of the trade, so that a list of
nuisances can be typed in minutes. Whatever a scene gives wins. Status beside each: [C] computed, [M] from memory,
"ours" an assumption without source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Moves = Literal["always", "sometimes", "never"]
KindName = Literal[
    "fan", "pipe", "lift", "roller-door", "vehicle", "curtain", "sign", "machine",
    "heater", "sunlit-patch", "duct-outlet", "hot-process", "doorway",
]  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """Defaults of a kind.

    `size` [x, y, z] and `height` of its middle above the floor (m); `cross_section_m2` None: no echo worth naming,
    so no matter for microwave; `speed_mps` slowest and fastest part; `above_ambient_k` None: as warm as the room, so
    no matter for infrared; `change_s`, `flicker_hz` how its heat changes while it stands still. `person`: people are
    what is noticed there, warm and moving as a walker.
    """

    words: str
    size: tuple[float, float, float]
    height: float
    moves: Moves
    source: str
    cross_section_m2: float | None = None
    speed_mps: tuple[float, float] | None = None
    above_ambient_k: float | None = None
    change_s: float | None = None
    flicker_hz: float | None = None
    person: bool = False


KINDS: dict[KindName, Kind] = {
    "fan": Kind(
        "fan", (0.4, 0.1, 0.4), 2.2, "sometimes",
        "blades of metal or wet plastic, a seventh of a walker: ours; hub to tip 0 to 6 m/s: ours",
        cross_section_m2=0.1, speed_mps=(0.0, 6.0),
    ),
    "pipe": Kind(
        "pipe with falling or flowing water", (0.1, 0.1, 2.4), 1.2, "sometimes",
        "what of a waste pipe's water moves unevenly: ours; falling water 0.5 to 4 m/s: [M]",
        cross_section_m2=0.02, speed_mps=(0.5, 4.0),
    ),
    "lift": Kind(
        "lift car in its shaft", (1.5, 1.5, 2.3), 1.15, "sometimes",
        "a metal box, like a car: [M]; 0.3 to 1.6 m/s: [M]",
        cross_section_m2=10.0, speed_mps=(0.3, 1.6),
    ),
    "roller-door": Kind(
        "roller door", (3.0, 0.1, 3.0), 1.5, "sometimes",
        "slats that run and rattle: ours; up to 0.5 m/s: ours",
        cross_section_m2=3.0, speed_mps=(0.0, 0.5),
    ),
    "vehicle": Kind(
        "passing vehicle", (4.5, 1.8, 1.5), 0.75, "sometimes",
        "cross section of a car, 10 m²: [M]; 5 m/s and 15 K of bonnet and wheels: ours",
        cross_section_m2=10.0, speed_mps=(5.0, 5.0), above_ambient_k=15.0,
    ),
    "curtain": Kind(
        "curtain or blind in a draught", (1.5, 0.1, 2.0), 1.2, "sometimes",
        "cloth or thin slats: ours; 0.05 to 0.5 m/s: ours",
        cross_section_m2=0.1, speed_mps=(0.05, 0.5),
    ),
    "sign": Kind(
        "hanging sign in a draught", (0.8, 0.05, 0.4), 2.5, "sometimes",
        "a board that swings: ours; 0.05 to 0.5 m/s: ours",
        cross_section_m2=0.1, speed_mps=(0.05, 0.5),
    ),
    "machine": Kind(
        "machine with moving parts", (1.0, 1.0, 1.2), 0.6, "sometimes",
        "parts the size of an arm to a torso: ours; up to 2 m/s: ours",
        cross_section_m2=0.5, speed_mps=(0.0, 2.0),
    ),
    "heater": Kind(
        "heater that switches", (1.2, 0.15, 0.3), 2.2, "never",
        "80 °C in a room of 20 °C, warm within 20 s: ours",
        above_ambient_k=60.0, change_s=20.0,
    ),
    "sunlit-patch": Kind(
        "sunlit patch", (1.5, 1.2, 0.0), 0.0, "never",
        "a light floor in the sun and clouds, 15 K within 10 s: ours",
        above_ambient_k=15.0, change_s=10.0,
    ),
    "duct-outlet": Kind(
        "duct outlet", (0.6, 0.6, 0.05), 2.6, "never",
        "its grille, 10 K within 20 s of starting (the air itself hardly radiates): ours",
        above_ambient_k=10.0, change_s=20.0,
    ),
    "hot-process": Kind(
        "hot process", (1.0, 1.0, 1.0), 1.0, "never",
        "120 °C in a room of 20 °C, flickering once a second: ours",
        above_ambient_k=100.0, flicker_hz=1.0,
    ),
    "doorway": Kind(
        "people beyond an open door", (0.5, 0.5, 1.75), 0.875, "sometimes",
        "a walker: 0.73 m² and the sample body of 3GPP TR 38.901 [2nd]",
        cross_section_m2=0.73, speed_mps=(0.0, 1.22), person=True,
    ),
}  # fmt: skip

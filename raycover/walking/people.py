"""Who walks: how wide a way they need and at which heights they are noticed. Plain numbers with their sources."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Figure:
    """A person for path finding and for declared footprints (m).

    `radius`: half the width that obstacles must leave; `tall`: what hangs or stands no higher stops nobody;
    `walking`, `standing`, `seated`: heights above the floor, of which the best counts.
    """

    radius: float
    tall: float
    walking: tuple[float, ...]
    standing: tuple[float, ...]
    seated: tuple[float, ...]


#: Adult: a body 0.5 × 0.5 × 1.75 m (3GPP TR 38.901's sample body, second hand), heights as the plane `person` and the
#: seats have them. Child: about six years, 1.17 m tall, from memory, heights in proportion. Wheelchair: 0.75 m wide and
#: 1.35 m tall with its user, seated eye and shoulder heights, from memory.
FIGURES = {
    "adult": Figure(0.25, 1.75, (0.3, 1.0, 1.6), (1.0, 1.3, 1.6), (0.75, 1.035, 1.2)),
    "child": Figure(0.2, 1.2, (0.2, 0.67, 1.07), (0.67, 0.87, 1.07), (0.6, 0.75, 0.9)),
    "wheelchair": Figure(0.375, 1.35, (0.3, 0.75, 1.2), (0.75, 1.035, 1.2), (0.75, 1.035, 1.2)),
}
#: Where there is room people keep this far (m) from things, measured from their axis. Our assumption.
COMFORT = 0.45

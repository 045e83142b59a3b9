"""What is done at a point of a walk test: which motion it stands for, at which heights, and how to say it."""

from __future__ import annotations

from dataclasses import dataclass

from raycover.scene.seating import SEAT_HEIGHTS
from raycover.walking.people import FIGURES

_ADULT = FIGURES["adult"]


@dataclass(frozen=True)
class Move:
    """One thing to do: `key` in files, the declared `motion` it stands for, `heights` (m) above the floor of which the
    best counts, `words` for the sheet (`{unit}` the unit to walk by)."""

    key: str
    motion: str
    heights: tuple[float, ...]
    words: str

    def said(self, unit: str) -> str:
        return self.words.format(unit=unit)


MOVES = {
    move.key: move
    for move in (
        Move("walk", "any", _ADULT.walking, "walk to and fro over the spot, a metre each way"),
        Move("across", "tangential", _ADULT.walking, "walk across the line to {unit}, a metre each way"),
        Move("toward", "radial", _ADULT.walking, "walk a metre toward {unit} and back"),
        Move("sit", "presence", SEAT_HEIGHTS, "sit, move hands and forearms only"),
        Move("stand", "presence", _ADULT.standing, "stand still, move hands and forearms only"),
    )
}
#: Motions of planes and needs: what is done for them on open floor, and on a seat.
ON_FOOT = {"any": "walk", "tangential": "across", "radial": "toward", "presence": "stand"}

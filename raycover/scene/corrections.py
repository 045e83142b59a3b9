"""`corrections:` of a scene: what a test on site has put right, added to what data sheets and layers say."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from raycover.scene.quantities import Number, Strict
from raycover.signs import minus

#: A figure that is further off (dB) than this is no correction: something else is wrong.
MOST_DB = 40.0
Decibels = Annotated[Number, Field(ge=-MOST_DB, le=MOST_DB)]


class CorrectionsSpec(Strict):
    """Decibels added to what is declared and computed, wherever the scene is cast."""

    reach_db: dict[str, Decibels] = Field(
        default_factory=dict,
        max_length=1000,
        description="model (or a detector with a pattern of its own): dB added to its margin everywhere",
    )
    loss_db: dict[str, Decibels] = Field(
        default_factory=dict,
        max_length=1000,
        description="construction: dB added to its microwave loss, one way, at every incidence",
    )

    def words(self) -> str:
        """What is corrected: `reach of X −1.2 dB; loss of Y +2.5 dB one way`."""
        reach = [f"reach of {name} {_signed(db)}" for name, db in self.reach_db.items()]
        loss = [f"loss of {name} {_signed(db)} one way" for name, db in self.loss_db.items()]
        return "; ".join([*reach, *loss])

    @property
    def in_force(self) -> bool:
        return any((*self.reach_db.values(), *self.loss_db.values()))


def _signed(db: float) -> str:
    return minus(f"{db:+.1f} dB")

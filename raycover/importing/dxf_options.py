"""What may be said about a drawing on import: kept light, since the command line needs it at once."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class DxfOptions:
    """What the command line may say. `height` and `walls` are for what a plan cannot know."""

    units: str | None = None
    rooms: tuple[str, ...] = ()
    partitions: tuple[str, ...] = ()
    height: float | None = None
    walls: str | None = None

    @property
    def given(self) -> bool:
        return self != DxfOptions()

"""What the window shows, apart from the design itself."""

from __future__ import annotations

from dataclasses import dataclass, field

from raycover.editing.live import Look

Place = tuple[float, float, float]


@dataclass
class State:
    """`detector` (index in the scene) is the one chosen, whose map is shown `alone` or with all others.

    `place` is the ground (x, y, z) asked about; `first` is the first row of the list shown under each tab. While
    `hanging`, the next place clicked gets a detector: with none chosen, one of `model`. `mask` is the number of the
    chosen detector's mask whose edges can be moved. `enlarged` is what type and controls are enlarged by by hand.
    """

    look: Look = field(default_factory=lambda: Look(0))
    detector: int | None = None
    alone: bool = False
    marks: bool = True
    lobes: bool = False
    low_walls: bool = True
    hatched: bool = True
    help: bool = False
    side: int = 0
    tab: str = "detectors"
    first: dict[str, int] = field(default_factory=dict)
    place: Place | None = None
    every_ray: bool = False
    hanging: bool = False
    model: str | None = None
    mask: int | None = None
    enlarged: float = 1.0
    message: str = ""

    @property
    def plane(self) -> int:
        """Index of the scene's plane."""
        return self.look.plane

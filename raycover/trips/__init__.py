"""What may trip units though nobody is there: nuisances judged, what stops them, units that disturb units."""

from __future__ import annotations

from raycover.trips.finding import Trips, UnitMasks, find_trips
from raycover.trips.interference import Interference
from raycover.trips.judging import Effect
from raycover.trips.remedies import Cost, MaskRemedy, MoveRemedy, Remedies, SensitivityRemedy

__all__ = [
    "Cost", "Effect", "Interference", "MaskRemedy", "MoveRemedy", "Remedies", "SensitivityRemedy", "Trips", "UnitMasks",
    "find_trips",
]  # fmt: skip

"""Zones that say their floor: new units that hang over it are theirs."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building
from raycover.detectors import Unit
from raycover.scene.needs import NeedSpec, named
from raycover.scene.schema import Scene
from raycover.scene.wiring import Zone

Bools = NDArray[np.bool_]
#: Metres.
_ASIDE = 1e-6


class ZoneFloors:
    """Which units hang over the floor of which zone of a scene's state."""

    def __init__(self, scene: Scene, building: Building) -> None:
        self._building = building
        self.zones = [zone for zone in scene.zones if zone.area is not None or zone.rooms is not None]

    def over(self, zone: Zone, units: Sequence[Unit]) -> Bools:
        """(n,) units that hang over a zone's floor."""
        at = np.array([unit.position for unit in units]).reshape(-1, 3)
        home = self._building.rooms_at(at)
        found = home >= 0
        if zone.rooms is not None:
            found &= np.isin(home, [k for k, room in enumerate(self._building.rooms) if room.name in zone.rooms])
        if zone.area is not None:
            # Over the border of two zones a unit belongs to one.
            found &= shapely.intersects_xy(shapely.Polygon(zone.area), at[:, 0] + _ASIDE, at[:, 1] + _ASIDE)
        return np.asarray(found)

    def belonging(self, need: NeedSpec, units: Sequence[Unit]) -> dict[str, tuple[Bools, Bools]]:
        """{zone: which units (n,) are its own, which are the others'} of a need of zones."""
        wanted = named(need.zones, [zone.name for zone in self.zones])
        over = {zone.name: self.over(zone, units) for zone in self.zones}
        some = np.any([*over.values(), np.zeros(len(units), bool)], axis=0)
        return {name: (over[name], some & ~over[name]) for name in wanted if name in over}

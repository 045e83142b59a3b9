"""Cross-object checks of a building: what can be built but hardly stands so.

`check_building` runs them all. Errors are what cannot stand (a rack through a wall), warnings what is probably a
slip, notes what is worth knowing. Solving needs none of them: only `raycover check` asks.
"""

from __future__ import annotations

from collections.abc import Sequence

from raycover.asking.sighting import check_cameras
from raycover.building.parts import Building
from raycover.checking.doors import check_doors
from raycover.checking.floors import check_floors
from raycover.checking.hanging import check_hanging
from raycover.checking.joints import check_joints
from raycover.checking.placed import check_placed
from raycover.checking.stair_heads import check_stair_heads
from raycover.checking.standing import check_standing
from raycover.checking.uprights import Uprights
from raycover.detectors import Unit
from raycover.errors import Problem
from raycover.scene.schema import Scene


def check_building(scene: Scene, building: Building, units: Sequence[Unit]) -> list[Problem]:
    """Everything found, in the order of the file."""
    uprights = Uprights.of(building)
    found = [
        *check_standing(scene, building, uprights),
        *check_placed(scene, building, uprights),
        *check_stair_heads(scene, building),
        *check_joints(scene, building, uprights),
        *check_doors(scene, building, uprights),
        *check_floors(scene, building),
        *check_hanging(scene, building, units, uprights),
        *check_cameras(scene, building),
    ]
    return sorted(found, key=lambda p: (p.position.line, p.position.column))


__all__ = ["check_building"]

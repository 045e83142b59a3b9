"""Where cameras stand: one in a wall, a slab or a solid sees nothing."""

from __future__ import annotations

import numpy as np
import shapely

from raycover.building.parts import Building, Floats
from raycover.errors import InputError, Problem
from raycover.rays.enclosed import Enclosures
from raycover.scene.schema import Scene
from raycover.solving.coverage import inside_boxes

#: A camera keeps so far (m) off whatever it stands before, or that fills its picture.
_OFF_M = 0.02


def check_cameras(scene: Scene, building: Building) -> list[Problem]:
    """A problem for every camera whose eye lies in something or below every floor."""
    found = []
    for index, camera in enumerate(scene.cameras):
        if camera.from_ is None:
            continue
        eye = np.array(camera.from_)
        holder = _holder(building, eye)
        where = f'camera "{camera.name}" at ({eye[0]:g}, {eye[1]:g}, {eye[2]:g})'
        if holder is not None:
            found.append(
                Problem(
                    "camera-inside", f'{where} stands in "{holder}"', scene.position("cameras", index, "from"),
                    "move it out: it would see nothing else",
                )
            )  # fmt: skip
        elif building.rooms and eye[2] < min(room.floor for room in building.rooms):
            found.append(
                Problem(
                    "camera-below", f"{where} lies below every floor", scene.position("cameras", index, "from"),
                    "its third number is an absolute height in metres",
                )
            )  # fmt: skip
    return found


def refuse_blind_cameras(scene: Scene, building: Building) -> None:
    """Raises InputError for cameras that would see nothing."""
    if problems := check_cameras(scene, building):
        raise InputError(problems)


def _holder(building: Building, eye: Floats) -> str | None:
    """What an eye (3,) lies in: a box, a closed object, or a sheet drawn at its thickness."""
    if held := inside_boxes(building, eye[None]):
        return building.boxes.owners[held[0]]
    if (one := Enclosures(building).holding(eye, _OFF_M)) is not None:
        return building.objects[one].name
    for sheet in building.sheets:
        frame = sheet.frame
        off = abs(float((eye - frame.origin) @ frame.normal))
        if off <= sheet.construction.thickness_m / 2 + _OFF_M:
            a, b = frame.to_plane(eye[None])[0]
            if shapely.intersects_xy(sheet.polygon, a, b):
                return sheet.name
    return None

"""Where a plane runs into a sloped roof: cells there lie outside their room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import RoomShape

Floats = NDArray[np.floating]


def above_roof(
    rooms: Sequence[RoomShape], x: Floats, y: Floats, room: NDArray[np.integer], height: float
) -> NDArray[np.bool_]:
    """(ny, nx): cells whose centre, `height` (m) over the floor, lies on or above the sloped roof of their room.

    `x` (nx,), `y` (ny,) are cell centres, `room` (ny, nx) the index in `rooms` of a cell's room, −1 for none.
    """
    found = np.zeros(room.shape, bool)
    for index, shape in enumerate(rooms):
        if shape.form is not None and shape.form.eaves < height:
            rows, columns = np.nonzero(room == index)
            found[rows, columns] = shape.form.clear(np.column_stack([x[columns], y[rows]])) <= height
    return found

"""Where people sit at desks and tables: places in plan and the heights at which they are noticed. Plain numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raycover.scene.fittings import Desks, Table

Floats = NDArray[np.floating]

#: A seated person's axis stands this far (m) from the edge: half the depth of a body 0.5 × 0.5 m in plan (3GPP
#: TR 38.901's sample body, second hand).
BEHIND_EDGE = 0.25
#: Least width (m) of edge a person takes at a table, and on the ring where they sit. From memory, common practice.
EDGE_EACH, RING_EACH = 0.6, 0.5
#: Popliteal height and seat to shoulder (m), British adults, men, 50th percentile.
POPLITEAL, SEAT_TO_SHOULDER = 0.440, 0.595
#: Heights (m) above the floor at which being noticed counts, presence motion: at the desk's, the shoulders and the
#: head of a seated person. Desk 0.75 m after EN 12464-1, seated head 1.2 m: from memory.
SEAT_HEIGHTS = (0.75, POPLITEAL + SEAT_TO_SHOULDER, 1.2)

Place = tuple[float, float, float]


def desk_places(desks: Desks) -> list[Place]:
    """(x, y, heading in degrees) in the row's own frame of the person at each desk."""
    if not desks.seat:
        return []
    pitch = desks.size[0] + desks.gap
    return [(k * pitch + desks.size[0] / 2, -BEHIND_EDGE, 90.0) for k in range(desks.count)]


def table_places(table: Table) -> list[Place]:
    """(x, y, heading in degrees) about the table's centre, anticlockwise from the near side's left end, or from +x."""
    if table.diameter is not None:
        reach = table.diameter / 2 + BEHIND_EDGE
        angles = np.arange(table.seats) * 360 / max(table.seats, 1)
        return [
            (float(reach * np.cos(a)), float(reach * np.sin(a)), float(d + 180))
            for a, d in zip(np.radians(angles), angles, strict=True)
        ]
    assert table.size is not None
    length, width = table.size
    side, ends = _shared_out(table)
    x = (np.arange(side) + 0.5) / max(side, 1) * length - length / 2
    out = width / 2 + BEHIND_EDGE
    places = [(float(v), -out, 90.0) for v in x]
    places += [(length / 2 + BEHIND_EDGE, 0.0, 180.0)] if ends == 2 else []
    places += [(float(v), out, -90.0) for v in x[::-1]]
    places += [(-length / 2 - BEHIND_EDGE, 0.0, 0.0)] if ends else []
    return places


def _shared_out(table: Table) -> tuple[int, int]:
    """(seats a long side, seats at the ends) of a rectangular table."""
    most = _side_holds(table)
    side = min(table.seats // 2, most)
    return side, table.seats - 2 * side


def _side_holds(table: Table) -> int:
    assert table.size is not None
    return int(table.size[0] / EDGE_EACH + 1e-9)


def room_for_seats(table: Table) -> int:
    """How many a table holds."""
    if table.diameter is not None:
        return int(np.pi * (table.diameter + 2 * BEHIND_EDGE) / RING_EACH + 1e-9)
    assert table.size is not None
    return 2 * _side_holds(table) + (2 if table.size[1] >= EDGE_EACH else 0)

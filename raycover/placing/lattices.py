"""Regular layouts: rows and columns evenly spread over a room, as installers like to set them out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.placing.candidates import aisles_along, as_declared, beside_middles, free_places
from raycover.placing.offers import Candidates, Offer
from raycover.proving.hanging import HangingPlaces
from raycover.scene.placing import PlacingSpec

Floats = NDArray[np.floating]
#: So many of one price are worth a look, the squarest; long and thin fields waste a round unit.
_SQUAREST = 4


@dataclass(frozen=True)
class Lattice:
    """`at` (n, 2) of equal units in rows and columns over a room."""

    offer: Offer
    at: Floats
    rows: int
    columns: int

    @property
    def price(self) -> float:
        return self.offer.price * len(self.at)

    def oblong(self, width: float, depth: float) -> float:
        """How far its fields are from squares, in a room so wide and deep; 0 where they are squares."""
        return float(abs(np.log((width / self.columns) / (depth / self.rows))))


def lattices(
    hanging: HangingPlaces, spec: PlacingSpec, candidates: Candidates, room_index: int, least: int, most: float
) -> Iterator[Lattice]:
    """Regular layouts of a room of `least` units or more that cost no more than `most`, cheapest first, then squarest.

    Spacings within a room are even and half a spacing is kept from its walls. A lattice of which a place is not free
    (a solid, an area to keep clear, beyond an L-shaped room's wall) is left out, and one beside the middle of an aisle.
    """
    if "ceiling" not in spec.sorts:
        return
    room = hanging.building.rooms[room_index]
    offers = [candidates.offers[k] for k in np.unique(candidates.offer[candidates.room == room_index])]
    offers = [offer for offer in offers if not as_declared(offer.model).is_one_sided]
    x0, y0, x1, y1 = room.polygon.bounds
    found = []
    for offer in offers:
        most_units = int(most / offer.price + 1e-9)
        for rows in range(1, most_units + 1):
            for columns in range(-(-least // rows), most_units // rows + 1):
                x = x0 + (np.arange(columns) + 0.5) * (x1 - x0) / columns
                y = y0 + (np.arange(rows) + 0.5) * (y1 - y0) / rows
                grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2).round(3)
                found.append(Lattice(offer, grid, rows, columns))
    tried: dict[float, int] = {}
    for lattice in sorted(found, key=lambda one: (one.price, one.oblong(x1 - x0, y1 - y0))):
        tried[lattice.price] = tried.get(lattice.price, 0) + 1
        if tried[lattice.price] > _SQUAREST:
            continue
        if (
            shapely.contains_xy(room.polygon, *lattice.at.T).all()
            and free_places(hanging, spec, room, lattice.at, lattice.offer.mounting).all()
            and not beside_middles(spec, aisles_along(hanging, spec, room, lattice.offer.mounting), lattice.at).any()
        ):
            yield lattice

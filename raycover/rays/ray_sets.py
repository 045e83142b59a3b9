"""The sets that rays are asked of: which parts of a building stop infrared or microwave, or weaken it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from raycover.building.parts import Building, MeshObject
from raycover.catalogue import Construction

Floats = NDArray[np.floating]
Bools = NDArray[np.bool_]


class RaySets:
    """A building's parts by what they do to rays."""

    def __init__(self, building: Building) -> None:
        self.building = building

    def of(self, kind: str, frequency_ghz: float | None) -> Bools:
        """Which parts (n_parts,) belong to a set.

        `infrared` and `microwave`: what stops it altogether; `weakening`: what stops or weakens microwave;
        `lossy boxes`, `lossy objects`: what weakens microwave by its bulk; `boxes`, `objects`: every box, every closed
        imported object; `everything`: every part.
        """
        building = self.building
        if kind == "everything":
            return np.ones(building.n_parts, bool)
        sheets, boxes, objects = (
            np.zeros(n, bool) for n in (len(building.sheets), len(building.boxes), len(building.objects))
        )
        if kind == "infrared":
            sheets[:] = [s.construction.stops_infrared for s in building.sheets]
            boxes[:] = True
            objects[:] = [one.stops_infrared for one in building.objects]
        elif kind == "microwave":
            sheets[:] = [s.construction.kind == "opaque" for s in building.sheets]
            boxes[:] = np.isinf(self.box_rates(frequency_ghz))
            objects[:] = [_opaque(one, frequency_ghz) for one in building.objects]
        elif kind == "weakening":
            sheets[:] = [_weakens(s.construction) for s in building.sheets]
            boxes[:] = True
            objects[:] = [not isinstance(o.made_of, Construction) or _weakens(o.made_of) for o in building.objects]
        elif kind == "lossy boxes":
            boxes[:] = ~np.isinf(self.box_rates(frequency_ghz))
        elif kind == "lossy objects":
            objects[:] = [one.closed and _lossy(one, frequency_ghz) for one in building.objects]
        else:
            boxes[:] = kind == "boxes"
            objects[:] = [kind == "objects" and one.closed for one in building.objects]
        return np.concatenate([sheets, boxes, objects])

    def box_rates(self, frequency_ghz: float | None) -> Floats:
        """Bulk loss (n_boxes,) in dB per metre, infinite where opaque; infrared is stopped by every box."""
        materials, which = self.building.boxes.made_of
        if not materials or frequency_ghz is None:
            return np.full(len(self.building.boxes), np.inf)
        return np.array([m.loss_db_per_m(frequency_ghz) for m in materials])[which]


def _opaque(one: MeshObject, frequency_ghz: float | None) -> bool:
    """Whether nothing passes an imported object."""
    if isinstance(one.made_of, Construction):
        return one.made_of.kind == "opaque"
    return frequency_ghz is None or bool(np.isinf(one.made_of.loss_db_per_m(frequency_ghz)))


def _weakens(construction: Construction) -> bool:
    """Whether microwave loses anything in a sheet."""
    return construction.kind != "open" and not (construction.kind == "layers" and not construction.layers)


def _lossy(one: MeshObject, frequency_ghz: float | None) -> bool:
    """Whether an imported object weakens what passes it."""
    return not _opaque(one, frequency_ghz) and getattr(one.made_of, "kind", "") != "open"

"""What rays in a part of a building can meet, as a digest: it stays the same while nothing there changes.

The building is taken in tiles, each known by the parts that reach into it; a region by its tiles. Infrared asks where
the parts are that stop it, microwave also what they are made of. A ray asks sheets of one construction together, and
which of two that it meets at the very same distance comes first is up to their tree: so where microwave meets one
sheet of a construction, every sheet of it counts. Ways by mirrors go anywhere: for them, the building as a whole.
"""

from __future__ import annotations

import hashlib
import threading
from functools import cached_property
from itertools import product

import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.building.parts import Building, Sheet
from raycover.catalogue import Construction, SolidMaterial
from raycover.content import SHORT, digest
from raycover.rays.ray_sets import RaySets

Floats = NDArray[np.floating]
Index = NDArray[np.intp]
#: Sides of a tile (m) at least; of a very large building a share of it, so that there are at most so many a side.
_TILE, _MOST = np.array([8.0, 8.0, 6.0]), 256
#: Rays may be this far (m) off where they are asked: tolerances, joints, single precision.
_SLACK = 0.02


class Surroundings:
    """A building's tiles. `backend` is that of its rays."""

    def __init__(self, building: Building, backend: str) -> None:
        self._building = building
        self._sets = RaySets(building)
        self._frame = digest(backend, building.bounds.mean(axis=0), size=SHORT)
        self._grid = _Grid(building.bounds)
        self._tiles: dict[tuple[str, float | None], _Tiles] = {}
        self._known: dict[tuple[object, ...], bytes] = {}
        self._lock = threading.Lock()

    def near(self, kind: str, frequency_ghz: float | None, region: Floats) -> bytes:
        """The digest of what a technology can meet between the corners of a region (2, 3)."""
        low, high = region[0] - _SLACK, region[1] + _SLACK
        first, last = (self._grid.place(end).tolist() for end in (low, high))
        key = (kind, frequency_ghz, *first, *last)
        if (found := self._known.get(key)) is None:
            with self._lock:
                tiles = self._tiles_of(kind, frequency_ghz)
                spans = product(*(range(a, b + 1) for a, b in zip(first, last, strict=True)))
                found = self._known[key] = digest(self._frame, b"".join(map(tiles.of, spans)), size=SHORT)
        return found if kind == "infrared" else found + self._sheets_met(low, high)

    @cached_property
    def whole(self) -> bytes:
        """The digest of all of it: every part in its order, what it belongs to, and the rooms."""
        building = self._building
        named = [sheet.kind for sheet in building.sheets]
        what = self._geometry, self._made, building.mesh.face
        return digest(self._frame, building.bounds, named, *building.owners, *what, building.rooms, size=SHORT)

    def _tiles_of(self, kind: str, frequency_ghz: float | None) -> _Tiles:
        key = kind, frequency_ghz
        if key not in self._tiles:
            chosen = self._sets.of("infrared" if kind == "infrared" else "weakening", frequency_ghz)
            rows = self._geometry if kind == "infrared" else np.concatenate([self._geometry, self._made], axis=1)
            # Whether anything weakens by its bulk decides how often rays are asked at all.
            bulky = [] if kind == "infrared" else [
                bool(self._sets.of(one, frequency_ghz).any()) for one in ("lossy boxes", "lossy objects")
            ]  # fmt: skip
            places = self._grid.place(self._extents[chosen])
            self._tiles[key] = _Tiles(np.flatnonzero(chosen), places, rows, digest(bulky, size=SHORT))
        return self._tiles[key]

    def _sheets_met(self, low: Floats, high: Floats) -> bytes:
        """The digests of constructions with a sheet between two corners (3,), in the order in which they are asked."""
        flat, number, of_sets = self._constructions
        there = ((self._extents[flat, 0] <= high) & (low <= self._extents[flat, 1])).all(axis=1)
        return b"".join(of_sets[k] for k in np.unique(number[there]).tolist())

    @cached_property
    def _constructions(self) -> tuple[Index, Index, list[bytes]]:
        """Parts that are sheets of something microwave passes, the number of its construction, and a digest of each."""
        sheets, objects = self._building.sheets, self._building.objects
        first = len(sheets) + len(self._building.boxes)
        made = [(k, sheet.construction) for k, sheet in enumerate(sheets)]
        made += [
            (first + k, one.made_of)
            for k, one in enumerate(objects)
            if not one.closed and isinstance(one.made_of, Construction)
        ]
        made = [(part, of) for part, of in made if of.kind not in ("opaque", "open")]
        numbers: dict[Construction, int] = {}
        number = np.array([numbers.setdefault(of, len(numbers)) for _, of in made], np.intp)
        parts = np.array([part for part, _ in made], np.intp)
        of_sets = [
            digest(self._geometry[parts[number == k]], self._of_material(of), size=SHORT) for of, k in numbers.items()
        ]
        return parts, number, of_sets

    @cached_property
    def _geometry(self) -> NDArray[np.uint8]:
        """(n_parts, 56) where each part is and what shape it has: of boxes as numbers, of others as a digest."""
        building = self._building
        boxes, first = building.boxes, len(building.sheets)
        found = np.zeros((building.n_parts, 56), np.uint8)
        for part, (sheet, triangles) in enumerate(zip(building.sheets, self._of_sheets, strict=True)):
            found[part, :SHORT] = np.frombuffer(_sheet(sheet, triangles), np.uint8)
        numbers = np.column_stack([boxes.centre, boxes.size, boxes.turn_rad]).astype(float)
        found[first : first + len(boxes)] = np.ascontiguousarray(numbers).view(np.uint8).reshape(len(boxes), 56)
        for k, one in enumerate(building.objects):
            row = digest(one.triangles, one.facet, one.closed, size=SHORT)
            found[first + len(boxes) + k, :SHORT] = np.frombuffer(row, np.uint8)
        return found

    @cached_property
    def _made(self) -> NDArray[np.uint8]:
        """(n_parts, 16) digests of what each part is made of."""
        building = self._building
        materials = [
            *(sheet.construction for sheet in building.sheets),
            *building.boxes.materials,
            *(one.made_of for one in building.objects),
        ]
        distinct = {id(one): one for one in materials}
        number = {one: k for k, one in enumerate(distinct)}
        digests = [np.frombuffer(self._of_material(one), np.uint8) for one in distinct.values()]
        which = np.fromiter((number[id(one)] for one in materials), np.intp, len(materials))
        return np.reshape(digests, (-1, SHORT)).astype(np.uint8)[which]

    def _of_material(self, material: Construction | SolidMaterial) -> bytes:
        return digest(material, size=SHORT)

    @cached_property
    def _of_sheets(self) -> list[Floats]:
        """The triangles (n, 3, 3) of each sheet, which stand first in the mesh."""
        mesh, n_sheets = self._building.mesh, len(self._building.sheets)
        starts = np.searchsorted(mesh.part, np.arange(n_sheets + 1))
        return [mesh.triangles[a:b] for a, b in zip(starts[:-1].tolist(), starts[1:].tolist(), strict=True)]

    @cached_property
    def _extents(self) -> Floats:
        """(n_parts, 2, 3) lowest and highest corner of each part; of a sheet without a face, a place of its own."""
        building = self._building
        boxes = building.boxes
        plan, up = boxes.footprints(), boxes.size[:, 2:] / 2
        middle = boxes.centre[:, 2:]
        of_boxes = np.stack(
            [np.hstack([plan.min(axis=1), middle - up]), np.hstack([plan.max(axis=1), middle + up])], axis=1
        )
        of_sheets = [
            np.stack([t.min(axis=(0, 1)), t.max(axis=(0, 1))]) if len(t) else [sheet.frame.origin] * 2
            for t, sheet in zip(self._of_sheets, building.sheets, strict=True)
        ]
        of_objects = [one.bounds for one in building.objects]
        return np.concatenate([np.reshape(some, (-1, 2, 3)) for some in (of_sheets, of_boxes, of_objects)])


class _Grid:
    """Places (i, j, k) of tiles in a building's bounds (2, 3); what lies outside is in tiles around them."""

    def __init__(self, bounds: Floats) -> None:
        self._low = bounds[0]
        self._side = np.maximum(_TILE, np.ptp(bounds, axis=0) / _MOST)

    def place(self, points: Floats) -> NDArray[np.int64]:
        """Of the tiles (…, 3) that hold points (…, 3)."""
        return np.clip(np.floor((points - self._low) / self._side), -1, _MOST + 1).astype(np.int64)


class _Tiles:
    """Tiles of some parts (n,) from place to place (n, 2, 3): `rows` says of every part of the building what it is."""

    def __init__(self, parts: Index, places: NDArray[np.int64], rows: NDArray[np.uint8], frame: bytes) -> None:
        self._rows, self._frame = rows, frame
        self._digests: dict[tuple[int, ...], bytes] = {}
        first, last = places[:, 0], places[:, 1]
        span = last - first + 1
        size = span.prod(axis=1)
        pair = np.repeat(np.arange(len(parts)), size)
        within = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size)
        across, deep = span[pair, 1], span[pair, 2]
        place = first[pair] + np.stack([within // (across * deep), within // deep % across, within % deep], axis=1)
        number = _number(place)
        order = np.argsort(number, kind="stable")  # parts of a tile stay in the building's order
        self._part = parts[pair[order]]
        self._tile, start = np.unique(number[order], return_index=True)
        self._start = np.append(start, len(order))

    def of(self, place: tuple[int, ...]) -> bytes:
        """The digest of the tile at a place (i, j, k)."""
        if (found := self._digests.get(place)) is None:
            number = int(_number(np.array([place]))[0])
            at = int(np.searchsorted(self._tile, number))
            there = at < len(self._tile) and self._tile[at] == number
            parts = self._part[self._start[at] : self._start[at + 1]] if there else self._part[:0]
            found = hashlib.blake2b(self._frame + self._rows[parts].tobytes(), digest_size=SHORT).digest()
            self._digests[place] = found
        return found


def _number(place: NDArray[np.int64]) -> NDArray[np.int64]:
    """One number for each place (n, 3)."""
    i, j, k = (place + 1).T
    return np.asarray((i * (_MOST + 3) + j) * (_MOST + 3) + k)


def _sheet(sheet: Sheet, triangles: Floats) -> bytes:
    """The digest of a sheet's shape."""
    frame = sheet.frame
    return digest(shapely.to_wkb(sheet.polygon), frame.origin, frame.u, frame.v, triangles, size=SHORT)

"""What a building is made of once built: flat sheets, boxes, imported objects, rooms, and marks for the drawings.

Coordinates are metres in the scene's frame, float64. A sheet is crossed once whatever its thickness.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.spatial import ConvexHull, QhullError, cKDTree

from raycover.building.upright_sheets import UprightSheets
from raycover.catalogue import Construction, SolidMaterial
from raycover.errors import Problem
from raycover.scene.parts import SolidKind, opens_for_people
from raycover.scene.roofs import RoofForm

if TYPE_CHECKING:
    from raycover.building.aisles import Aisle

Floats = NDArray[np.floating]
Ints = NDArray[np.int32]

SheetKind = Literal[
    "wall", "floor", "ceiling", "partition", "door", "window", "panel", "leaf", "desk", "sheet", "deck",
    "tread", "riser", "string", "soffit",
]  # fmt: skip
BoxKind = Literal["solid", "goods", "pallet", "upright", "beam", "guard", "fixture", "hung"]
Loc = tuple[str | int, ...]


@dataclass(frozen=True)
class Frame:
    """A plane in space: origin and two unit vectors (3,), x = origin + a·u + b·v."""

    origin: Floats
    u: Floats
    v: Floats

    @property
    def normal(self) -> Floats:
        # As np.cross, which takes ten times longer over a pair of vectors.
        (a, b, c), (d, e, f) = self.u.tolist(), self.v.tolist()
        return np.array([b * f - c * e, c * d - a * f, a * e - b * d])

    def to_space(self, points: Floats) -> Floats:
        """(n, 2) in the plane → (n, 3)."""
        points = np.asarray(points, float)
        return self.origin + points[:, :1] * self.u + points[:, 1:2] * self.v

    def to_plane(self, points: Floats) -> Floats:
        """(n, 3) → (n, 2), dropping what stands off the plane."""
        offset = np.asarray(points, float) - self.origin
        return np.stack([offset @ self.u, offset @ self.v], axis=1)


@dataclass(frozen=True)
class Sheet:
    """A flat part with a construction. `polygon` is a shapely (multi)polygon in `frame`'s plane.

    `name` is the part ("hall/wall 2", "WC/door 1"), `owner` the thing of the scene it belongs to ("hall"),
    `loc` where that stands in the scene file.
    """

    name: str
    owner: str
    kind: SheetKind
    frame: Frame
    polygon: Any
    construction: Construction
    loc: Loc

    @property
    def vertical(self) -> bool:
        return abs(float(self.frame.normal[2])) < 1e-6


@dataclass(frozen=True)
class Boxes:
    """All boxes as arrays: `centre` (n, 3) middle, `size` (n, 3) before turning, `turn_rad` (n,)."""

    centre: Floats
    size: Floats
    turn_rad: Floats
    kinds: tuple[BoxKind, ...]
    names: tuple[str, ...]
    owners: tuple[str, ...]
    materials: tuple[SolidMaterial, ...]
    locs: tuple[Loc, ...]

    def __len__(self) -> int:
        return len(self.names)

    def footprints(self, chosen: Any = slice(None)) -> Floats:
        """(n, 4, 2) corners in plan, anticlockwise, of all boxes or the chosen ones."""
        half = self.size[chosen, None, :2] / 2 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
        cos, sin = np.cos(self.turn_rad[chosen])[:, None], np.sin(self.turn_rad[chosen])[:, None]
        x = half[..., 0] * cos - half[..., 1] * sin
        y = half[..., 0] * sin + half[..., 1] * cos
        return np.stack([x, y], axis=-1) + self.centre[chosen, None, :2]

    @cached_property
    def plan_bounds(self) -> Floats:
        """(2, n, 2) lowest and highest x and y (m) of each."""
        half = self.size[:, :2] / 2
        cos, sin = np.abs(np.cos(self.turn_rad)), np.abs(np.sin(self.turn_rad))
        reach = np.stack([half[:, 0] * cos + half[:, 1] * sin, half[:, 0] * sin + half[:, 1] * cos], axis=-1)
        return np.stack([self.centre[:, :2] - reach, self.centre[:, :2] + reach])

    @cached_property
    def made_of(self) -> tuple[list[SolidMaterial], NDArray[np.intp]]:
        """The materials there are, each once, and which (n,) of them each box is made of."""
        # By number: hashing a material a box takes long, and most boxes share the very same object.
        objects, which = np.unique(np.fromiter(map(id, self.materials), np.int64), return_inverse=True)
        by_id = {id(material): material for material in self.materials}
        distinct = [by_id[one] for one in objects.tolist()]
        materials = list(dict.fromkeys(distinct))
        number = {material: i for i, material in enumerate(materials)}
        return materials, np.array([number[m] for m in distinct], np.intp)[which]

    def near(self, points: Floats) -> Sequence[list[int]]:
        """For each point (n, 2 or more) the boxes that may reach over it in plan; there must be boxes."""
        tree, reach = self._places
        found: Sequence[list[int]] = tree.query_ball_point(points[:, :2], reach)
        return found

    @cached_property
    def _places(self) -> tuple[cKDTree, float]:
        """Their middles in plan, and how far (m) any of them reaches from its own."""
        return cKDTree(self.centre[:, :2]), float(np.linalg.norm(self.size[:, :2], axis=1).max()) / 2

    @classmethod
    def join(cls, many: Sequence[Boxes]) -> Boxes:
        if not many:
            return cls(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0), (), (), (), (), ())
        return cls(
            np.concatenate([b.centre for b in many]),
            np.concatenate([b.size for b in many]),
            np.concatenate([b.turn_rad for b in many]),
            tuple(chain.from_iterable(b.kinds for b in many)),
            tuple(chain.from_iterable(b.names for b in many)),
            tuple(chain.from_iterable(b.owners for b in many)),
            tuple(chain.from_iterable(b.materials for b in many)),
            tuple(chain.from_iterable(b.locs for b in many)),
        )


@dataclass(frozen=True)
class RoomShape:
    """A room in plan: shapely polygon at wall centre lines, floor (m) and greatest height (m).

    `void` is what its floor leaves open (a shapely geometry, or None), `form` that of a sloped roof, `tiles` the
    height (m) above the floor of a suspended ceiling.
    """

    name: str
    polygon: Any
    floor: float
    height: float
    void: Any = None
    form: RoofForm | None = None
    tiles: float | None = None

    @property
    def walkable(self) -> Any:
        """The polygon less the voids of its floor."""
        return self.polygon if self.void is None else self.polygon.difference(self.void)

    def top_at(self, points: Floats) -> Floats:
        """Height (n,), absolute, of the ceiling or roof over points (n, 2)."""
        if self.form is None:
            return np.full(len(points), self.floor + self.height)
        return self.floor + self.form.clear(points)

    def holds(self, x: float, y: float, z: float | None = None) -> bool:
        """Whether a point lies in it, borders included; without z, in plan only."""
        flat = bool(shapely.intersects_xy(self.polygon, x, y)) or self.polygon.distance(shapely.Point(x, y)) < 1e-6
        return flat and (z is None or self.floor - 1e-6 <= z <= float(self.top_at(np.array([[x, y]]))[0]) + 1e-6)


@dataclass(frozen=True)
class OpeningMark:
    """An opening for the drawings: from `start` to `end` (x, y) along its wall, `sill` and `top` absolute."""

    owner: str
    kind: Literal["door", "window", "gap"]
    start: tuple[float, float]
    end: tuple[float, float]
    sill: float
    top: float
    state: Literal["closed", "open"]
    construction: Construction | None
    wall_thickness: float
    name: str = ""
    loc: Loc = ()

    @property
    def is_door(self) -> bool:
        """Whether it opens and people pass: no window, gap, hatch or fixed front of glass."""
        wide = math.dist(self.start, self.end)
        return self.kind == "door" and opens_for_people(wide, self.top - self.sill, self.construction)


@dataclass(frozen=True)
class RackMark:
    """The outline of a rack's row in plan, (4, 2) anticlockwise, its bays, and its height range.

    `kind` is pallet, shelving or cantilever; `loaded_bays` (bays,) which of them hold anything; `facing_back` tells
    the rear row of a back-to-back rack.
    """

    owner: str
    corners: Floats
    bays: int
    bottom: float
    top: float
    loaded: bool
    kind: str = "pallet"
    loaded_bays: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, bool))
    facing_back: bool = False


@dataclass(frozen=True)
class StairPiece:
    """A flight or a landing to walk on: from `origin` (3,) at its foot, left, `along` the way up, `across` right.

    `length` and `width` in m; a flight has `n_treads` of depth `going`, the first one riser (`rise`) above the
    foot; a landing lies level at its origin. `across_from` is its place across the unrolled stair.
    """

    kind: Literal["flight", "landing"]
    origin: Floats
    along: Floats
    across: Floats
    length: float
    width: float
    across_from: float
    n_treads: int = 0
    going: float = 0.0
    rise: float = 0.0

    def height(self, along: Floats) -> Floats:
        """Height (m, absolute) of the walking surface at distances `along` from the foot."""
        if self.kind == "landing":
            return np.full(np.shape(along), float(self.origin[2]))
        tread = np.clip(np.floor(np.asarray(along) / self.going + 1e-9), 0, self.n_treads - 1)
        return self.origin[2] + (tread + 1) * self.rise

    def carries(self, point: Floats, within: float) -> bool:
        """Whether a point (3,) lies on its walking surface, to within some metres."""
        away = np.asarray(point, float) - self.origin
        along, across = float(away @ self.along), float(away @ self.across)
        over = -1e-6 <= along <= self.length + 1e-6 and -1e-6 <= across <= self.width + 1e-6
        return over and abs(float(self.height(np.array(along))) - float(point[2])) < within


@dataclass(frozen=True)
class StairShape:
    """A stair to walk on, piece by piece from the foot; `span` is its whole width unrolled (m)."""

    name: str
    pieces: tuple[StairPiece, ...]
    span: float
    foot: float
    head: float


@dataclass(frozen=True)
class StoreyShape:
    """Rooms of one level, by index; `level` (m) is that of the lowest floor."""

    name: str
    level: float
    rooms: tuple[int, ...]


@dataclass(frozen=True)
class SeatMark:
    """A seated person's place: `at` (x, y), the ground (m, absolute) their chair stands on, where they look."""

    owner: str
    name: str
    at: tuple[float, float]
    ground: float
    heading_deg: float


@dataclass(frozen=True)
class RoofMark:
    """A sloped roof for the drawings: lines (n, 2, 3) of eaves and verges, and of its ridge; roof lights (4, 3)."""

    owner: str
    lines: Floats
    ridges: Floats
    lights: tuple[Floats, ...]


@dataclass(frozen=True)
class HungMark:
    """A hung solid for the drawings: corners (4, 2) in plan, anticlockwise, and its height range."""

    owner: str
    kind: SolidKind
    corners: Floats
    bottom: float
    top: float


@dataclass(frozen=True)
class MeshObject:
    """One object of an imported file, in the scene's frame.

    `triangles` (n, 3, 3). Where `closed` they face outward and rays pass through it from face to face: a solid
    of a material, or a plate of a construction that is crossed once. Else each flat face, numbered by `facet`
    (n,), is a sheet of the construction `made_of`.
    """

    name: str
    owner: str
    triangles: Floats
    facet: Ints
    closed: bool
    made_of: Construction | SolidMaterial
    loc: Loc

    @cached_property
    def bounds(self) -> Floats:
        """(2, 3) lowest and highest corner."""
        return np.stack([self.triangles.min(axis=(0, 1)), self.triangles.max(axis=(0, 1))])

    @cached_property
    def normals(self) -> Floats:
        """(n, 3) unit normals; zero for a triangle without area."""
        cross = np.cross(self.triangles[:, 1] - self.triangles[:, 0], self.triangles[:, 2] - self.triangles[:, 0])
        length = np.linalg.norm(cross, axis=1)
        return np.asarray(cross / np.where(length > 0, length, 1.0)[:, None])

    @cached_property
    def footprint(self) -> Any:
        """The convex hull (shapely) in plan: a polygon, or a line for what stands upright and flat."""
        plan = self.triangles.reshape(-1, 3)[:, :2]
        if len(plan) > 1000:
            try:
                plan = plan[ConvexHull(plan).vertices]
            except QhullError:  # all in one line
                along = plan[np.argmax(np.abs(plan - plan[0]).sum(axis=1))] - plan[0]
                plan = plan[[np.argmin(plan @ along), np.argmax(plan @ along)]]
        return shapely.convex_hull(shapely.multipoints(plan))

    @property
    def stops_infrared(self) -> bool:
        return not isinstance(self.made_of, Construction) or self.made_of.stops_infrared


@dataclass(frozen=True)
class Mesh:
    """Every face as triangles: (n, 3, 3), the part each belongs to, (n,), and its flat face, (n,).

    Parts are numbered sheets first, then boxes, then objects of imported files. A flat face is crossed once by
    a straight ray: the number of its part, but for imported objects, whose faces are numbered beyond the parts.
    """

    triangles: Floats
    part: Ints
    face: Ints


@dataclass(frozen=True)
class Building:
    """A scene as geometry. `envelopes` are racks as whole boxes: no one stands in them, no ray meets them.

    `ground` (m) is the level outside its rooms: 0, or the level of a storey taken by itself. `aisles` are those found
    so far, with walls and without: see `aisles.find_aisles`.
    """

    sheets: tuple[Sheet, ...]
    boxes: Boxes
    rooms: tuple[RoomShape, ...]
    mesh: Mesh
    openings: tuple[OpeningMark, ...] = ()
    racks: tuple[RackMark, ...] = ()
    envelopes: Boxes = field(default_factory=lambda: Boxes.join([]))
    storeys: tuple[StoreyShape, ...] = ()
    stairs: tuple[StairShape, ...] = ()
    objects: tuple[MeshObject, ...] = ()
    bounds: Floats = field(default_factory=lambda: np.array([[0.0, 0, 0], [1, 1, 1]]))
    seats: tuple[SeatMark, ...] = ()
    roofs: tuple[RoofMark, ...] = ()
    hung: tuple[HungMark, ...] = ()
    warnings: tuple[Problem, ...] = ()
    ground: float = 0.0
    aisles: dict[bool, tuple[Aisle, ...]] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def n_parts(self) -> int:
        return len(self.sheets) + len(self.boxes) + len(self.objects)

    def part_name(self, part: int) -> str:
        k = part - len(self.sheets)
        if k < 0:
            return self.sheets[part].name
        return self.boxes.names[k] if k < len(self.boxes) else self.objects[k - len(self.boxes)].name

    def part_owner(self, part: int) -> str:
        k = part - len(self.sheets)
        if k < 0:
            return self.sheets[part].owner
        return self.boxes.owners[k] if k < len(self.boxes) else self.objects[k - len(self.boxes)].owner

    def part_made_of(self, part: int) -> Construction | SolidMaterial:
        k = part - len(self.sheets)
        if k < 0:
            return self.sheets[part].construction
        return self.boxes.materials[k] if k < len(self.boxes) else self.objects[k - len(self.boxes)].made_of

    @cached_property
    def owners(self) -> tuple[tuple[str, ...], NDArray[np.intp]]:
        """What parts belong to: names in alphabetical order, and the index (n_parts,) of each part's among them."""
        of_parts = [
            *(sheet.owner for sheet in self.sheets), *self.boxes.owners, *(one.owner for one in self.objects)
        ]  # fmt: skip
        names = sorted(set(of_parts))
        number = {name: index for index, name in enumerate(names)}
        return tuple(names), np.fromiter(map(number.__getitem__, of_parts), np.intp, len(of_parts))

    @cached_property
    def upright(self) -> UprightSheets:
        """Its upright sheets as arrays."""
        return UprightSheets.of(self.sheets)

    @cached_property
    def _room_tree(self) -> Any:
        return shapely.STRtree([room.polygon for room in self.rooms])

    def rooms_at(self, points: Floats) -> Ints:
        """Index (n,) of the room that holds each point (n, 3), borders included, −1 for none.

        Where several do (a border, storeys), the first whose height takes the point in.
        """
        found = np.full(len(points), -1, np.int32)
        if not self.rooms or not len(points):
            return found
        point, room = self._room_tree.query(shapely.points(points[:, :2]), predicate="dwithin", distance=1e-6)
        floor = np.array([r.floor for r in self.rooms])
        top = floor + [r.height for r in self.rooms]
        z = points[point, 2]
        over = top[room]
        for sloped in (k for k, r in enumerate(self.rooms) if r.form is not None):
            over[room == sloped] = self.rooms[sloped].top_at(points[point[room == sloped], :2])
        held = (floor[room] - 1e-6 <= z) & (z <= over + 1e-6)
        order = np.lexsort((-room[held], point[held]))  # the lowest index is written last
        found[point[held][order]] = room[held][order]
        return found

    def floor_at(self, x: float, y: float) -> float:
        """Floor (m) of the first room that holds (x, y) in plan, else `ground`. For a building of one storey."""
        return next((room.floor for room in self.rooms if room.holds(x, y)), self.ground)

    def is_on_floor(self, point: Floats, within: float) -> bool:
        """Whether a point (3,) lies, to within some metres, on a room's floor (though it be the ceiling of another), on
        a stair, or outside every outline on the ground."""
        x, y, z = (float(v) for v in point)
        floors = [room.floor for room in self.rooms if room.holds(x, y)] or [self.ground]
        return any(abs(z - floor) < within for floor in floors) or any(
            piece.carries(point, within) for stair in self.stairs for piece in stair.pieces
        )

    def room_at(self, x: float, y: float, z: float | None = None) -> RoomShape | None:
        return next((room for room in self.rooms if room.holds(x, y, z)), None)

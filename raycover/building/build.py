"""`build`: a scene becomes a building, or one InputError with everything that does not fit together."""

from __future__ import annotations

import numpy as np

from raycover.building.cubicles import add_cubicles
from raycover.building.faces import Gathered
from raycover.building.fittings import add_solid
from raycover.building.furniture import add_desks, add_fixtures, add_table
from raycover.building.hung import add_hung, hangs
from raycover.building.imported import Shelf, add_mesh
from raycover.building.merge import merge
from raycover.building.mesh import triangulate
from raycover.building.parts import Boxes, Building, Floats, RoomShape
from raycover.building.racking import add_racking
from raycover.building.stairs import add_stairs
from raycover.building.storeys import Floors, storeys_of
from raycover.building.walls import add_partition, add_room, add_sheet, room_shapes
from raycover.errors import InputError
from raycover.scene.schema import Scene


def build(scene: Scene) -> Building:
    """Sheets and solids of a scene, each face knowing its part and construction.

    Raises InputError, each problem at its line: openings that don't fit their wall, bent sheets, coincident
    faces of different constructions, mesh files that cannot be taken. Warnings stay with the building.
    """
    rooms = room_shapes(scene)
    storeys, stacked = storeys_of(scene, rooms)
    floors = Floors(scene, rooms)
    gathered = Gathered()
    shelf = Shelf()
    for index, room in enumerate(scene.rooms):
        add_room(scene, index, room, gathered)
    for index, partition in enumerate(scene.partitions):
        add_partition(scene, index, partition, floors.under("partitions", index, partition), gathered)
    for index, sheet in enumerate(scene.sheets):
        add_sheet(scene, index, sheet, gathered)
    for index, row in enumerate(scene.cubicles):
        holder = floors.holder("cubicles", index, row)
        add_cubicles(scene, index, row, holder, gathered)
    for index, desks in enumerate(scene.desks):
        add_desks(scene, index, desks, floors.under("desks", index, desks), gathered)
    for index, table in enumerate(scene.tables):
        add_table(scene, index, table, floors.under("tables", index, table), gathered)
    for index, ware in enumerate(scene.fixtures):
        add_fixtures(scene, index, ware, floors.under("fixtures", index, ware), gathered)
    for index, solid in enumerate(scene.solids):
        if hangs(solid):
            add_hung(scene, index, solid, floors.holder("solids", index, solid), gathered)
        else:
            add_solid(scene, index, solid, floors.under("solids", index, solid), gathered)
    for index, rack in enumerate(scene.racking):
        add_racking(scene, index, rack, floors.under("racking", index, rack), gathered)
    for index, stairs in enumerate(scene.stairs):
        add_stairs(scene, index, stairs, floors.under("stairs", index, stairs), gathered)
    for index, spec in enumerate(scene.meshes):
        add_mesh(scene, index, spec, floors.under("meshes", index, spec), shelf, gathered)
    sheets, problems = merge(scene, gathered.faces)
    everything = [*stacked, *floors.problems, *gathered.problems, *problems]
    if errors := [problem for problem in everything if problem.severity == "error"]:
        raise InputError(errors)
    boxes = Boxes.join(gathered.boxes)
    objects = tuple(gathered.objects)
    mesh = triangulate(sheets, boxes, objects)
    return Building(
        sheets=tuple(sheets),
        boxes=boxes,
        rooms=rooms,
        mesh=mesh,
        openings=tuple(gathered.openings),
        racks=tuple(gathered.racks),
        envelopes=Boxes.join(gathered.envelopes),
        storeys=storeys,
        stairs=tuple(gathered.stairs),
        objects=objects,
        bounds=_bounds(mesh.triangles, rooms),
        seats=tuple(gathered.seats),
        roofs=tuple(gathered.roofs),
        hung=tuple(gathered.hung),
        warnings=tuple(everything),
    )


def _bounds(triangles: Floats, rooms: tuple[RoomShape, ...]) -> Floats:
    """(2, 3) lowest and highest corner of everything, rooms without walls included."""
    corners = []
    if len(triangles):
        # Nine columns at once reduce several times faster than three.
        flat = triangles.reshape(-1, 9)
        corners += [flat.min(axis=0).reshape(3, 3).min(axis=0), flat.max(axis=0).reshape(3, 3).max(axis=0)]
    for room in rooms:
        x0, y0, x1, y1 = room.polygon.bounds
        corners += [np.array([x0, y0, room.floor]), np.array([x1, y1, room.floor + room.height])]
    if not corners:
        return np.array([[0.0, 0.0, 0.0], [1.0, 1.0, 1.0]])
    return np.stack([np.min(corners, axis=0), np.max(corners, axis=0)])

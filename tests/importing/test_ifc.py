"""IFC files made by ifcopenshell itself → scenes: what stands where, how much of it, and that it solves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

pytest.importorskip("ifcopenshell", reason="the extra ifc is not installed")

import ifcopenshell.geom
import ifcopenshell.util.shape
from houses import DEEP, HALF, STOREY, WIDE, Read, ground_floor, one_storey, outer, read, shell, two_storeys
from ifc_maker import IfcMaker, rectangle
from make_house import house

import raycover
from raycover.importing.ifc import import_ifc
from raycover.rays.ray_scene import RayScene

EXAMPLE = Path(__file__).parents[2] / "examples" / "imported-house"

VARIANTS = [("IFC4", "mm", 0.0, 0.0), ("IFC2X3", "ft", 33.0, 0.0), ("IFC4", "m", -71.5, 451_230.0)]


def kernel_volume(r: Read, kind: str) -> float:
    """ifcopenshell's own volume (m³) of all bodies of a class, openings subtracted."""
    settings = ifcopenshell.geom.settings()
    shapes = [ifcopenshell.geom.create_shape(settings, e) for e in r.maker.file.by_type(kind)]
    return sum(ifcopenshell.util.shape.get_volume(shape.geometry) for shape in shapes)


def kernel_plan_area(r: Read, name: str) -> float:
    """ifcopenshell's own plan area (m²) of a space."""
    element = next(e for e in r.maker.file.by_type("IfcSpace") if e.Name == name)
    shape = ifcopenshell.geom.create_shape(ifcopenshell.geom.settings(), element)
    return ifcopenshell.util.shape.get_footprint_area(shape.geometry)


def bands(r: Read) -> object:
    """Our walls in plan, each a half thickness to both sides of its line and beyond its ends."""
    made = [r.scene.catalogue.construction(p.construction) for p in r.scene.partitions]
    lines = [shapely.LineString(p.line) for p in r.scene.partitions]
    return shapely.union_all(
        [line.buffer(c.thickness_m / 2, cap_style="square") for line, c in zip(lines, made, strict=True)]
    )


@pytest.mark.parametrize("variant", VARIANTS)
def test_quantities_agree_with_the_kernel_of_the_format(variant: tuple[str, str, float, float]) -> None:
    """Wall volume and space areas within 0.5 %, net of the half thickness that centre lines take."""
    r = one_storey(*variant)
    catalogue = r.scene.catalogue
    holes = sum(
        o.width * o.height * catalogue.construction(p.construction).thickness_m
        for p in r.scene.partitions
        for o in p.openings
    )
    ours = bands(r).area * 2.6 - holes
    kinds = "IfcWallStandardCase" if variant[0] == "IFC2X3" else "IfcWall"
    assert ours == pytest.approx(kernel_volume(r, kinds), rel=0.005)
    for room in r.scene.rooms:
        net = shapely.Polygon(room.outline).difference(bands(r)).area
        assert net == pytest.approx(kernel_plan_area(r, room.name[:2]), rel=0.005)


@pytest.mark.parametrize("variant", VARIANTS)
def test_the_house_is_the_same_in_any_schema_unit_and_place(variant: tuple[str, str, float, float]) -> None:
    r = one_storey(*variant)
    turn = np.radians(variant[2])
    back = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])  # row vectors: turns back
    room = r.room("01 Living")
    corner = np.asarray(r.room("01 Living").outline)
    origin = corner[np.argmin((corner @ back).sum(axis=1))] @ back

    def placed(points: object) -> list[list[float]]:
        return sorted((np.round(np.asarray(points) @ back - origin, 2) + 0.0).tolist())

    assert placed(room.outline) == [[0, 0], [0, 6], [5, 0], [5, 6]]
    assert placed(r.room("02 Kitchen").outline) == [[5, 0], [5, 3], [9, 0], [9, 3]]
    assert placed(r.wall("South").line) == [[0, 0], [9, 0]]
    assert placed(r.wall("Cross").line) == [[5, 3], [9, 3]]
    assert (room.floor, room.height) == (0, 2.5)
    assert r.wall("Partition").construction == "stud-wall-100"
    layers = [(x.material, x.thickness_mm, x.air_mm) for x in r.wall("West").construction.layers]
    assert layers == [("brick", 102, None), (None, None, 100), ("brick", 100, None)]
    (door,) = r.wall("South").openings
    assert (door.width, door.height, door.sill, door.fill, door.state) == (0.9, 2.1, 0, "door-wood-40", "closed")
    (window,) = r.wall("North").openings
    assert (window.width, window.height, window.sill, window.fill) == (1.5, 1.2, 0.9, "double-glazing-6-16-6")
    assert r.wall("Cross").openings[0].fill == "none"
    (column,) = r.scene.solids
    assert column.material == "metal"
    assert column.size == pytest.approx((0.2, 0.2, 2.6))
    assert np.cos(np.radians(4 * (column.turn_deg - variant[2]))) == pytest.approx(1)
    assert r.imported.report.mapped == {"rooms": 3, "walls": 6, "columns and beams": 1, "openings": 4}
    assert ("Moved to the origin" in r.imported.text) == (variant[3] > 0)


def test_two_storeys_stand_on_each_other() -> None:
    r = two_storeys()
    assert [(s.name, s.floor) for s in r.scene.storeys] == [("Ground floor", 0), ("First floor", STOREY)]
    assert [room.floor for room in r.scene.rooms] == [0, 0, 0, STOREY, STOREY, STOREY]
    # Each slab is there once: under its rooms, and the roof over all of them.
    assert {room.floor_construction.layers[0].thickness_mm for room in r.scene.rooms} == {250}
    assert [room.ceiling for room in r.scene.rooms] == ["none"] * 6
    assert [sheet.name for sheet in r.scene.sheets] == ["Flat roof"]
    # Walls of the lower storey end at the underside of the slab, 250 mm under its sheet: brought up to it.
    lower, upper = r.wall("South"), r.wall("South - First floor")
    assert (lower.base, lower.height) == (0, STOREY)
    assert (upper.room, upper.base, upper.height) == ("01 Living - First floor", 0, 2.6)
    tops = {s.name: s.frame.to_space(shapely.get_coordinates(s.polygon))[:, 2] for s in r.building.sheets}
    assert tops["South"].max() == pytest.approx(STOREY)
    assert tops["South - First floor"].min() == pytest.approx(STOREY)
    door = next(o for o in r.building.openings if o.sill > 1 and o.kind == "door")
    assert (door.sill, door.top) == pytest.approx((STOREY, STOREY + 2.1)) or door.top == pytest.approx(STOREY + 2.0)


@pytest.mark.parametrize("schema", ["IFC4", "IFC2X3"])
def test_nothing_leaks_out_of_the_imported_house(schema: str) -> None:
    """Infrared from inside meets something on every way out, at joints of walls and slabs too."""
    r = two_storeys(schema)
    rays = RayScene(r.building)
    rng = np.random.default_rng(3)
    posts = np.array([[0, 0], [WIDE, 0], [WIDE, DEEP], [0, DEEP], [5, 0], [5, DEEP], [5, 3], [WIDE, 3]], float)
    levels = [0, 2.1, 2.6, STOREY, STOREY + 2.1, STOREY + 2.6]
    joints = np.array([[*p, z] for p in posts for z in levels])
    for start in ([2.1, 2.2, 1.0], [7, 1.5, 2.0], [7, 4.4, 0.4], [2.1, 2.2, 4.0], [7, 1.5, 5.0]):
        away = rng.normal(size=(20_000, 3))
        through = joints[rng.integers(0, len(joints), 5000)] + rng.normal(scale=2e-4, size=(5000, 3)) - start
        ways = np.concatenate([away / np.linalg.norm(away, axis=1)[:, None], through])
        ends = (start + ways / np.linalg.norm(ways, axis=1)[:, None] * 40).astype(np.float32)
        assert rays.infrared_blocked(rays.segments(np.array(start), ends)).all()


def test_the_scene_solves_with_detectors() -> None:
    r = two_storeys()
    detectors = "\ndetectors:\n" + "".join(
        f"  - {{name: D{k}, model: ceiling-infrared-general, room: {room}, at: [2.5, 3.3], mounting: 2.5}}\n"
        for k, room in enumerate(('"01 Living"', '"01 Living - First floor"'))
    )
    coverage = raycover.solve(raycover.load_text(r.imported.text.replace("grid: 0.1", "grid: 0.3") + detectors))
    assert list(coverage) == ["floor Ground floor", "floor First floor", "desk Ground floor", "desk First floor"]
    for floor in ("Ground floor", "First floor"):
        plane = coverage[f"floor {floor}"]
        seen = plane.detected
        assert seen[:, plane.x < 4.8].mean() > 0.6
        assert not seen[:, plane.x > 5.3].any()  # behind the partition


def test_rooms_come_from_walls_where_there_are_no_spaces() -> None:
    m = IfcMaker("IFC2X3", "mm")
    m.storey("Level 0", 0)
    ground_floor(m, spaces=False)
    r = read(m)
    assert [r_.name for r_ in r.scene.rooms] == ["Level 0 room 1", "Level 0 room 2", "Level 0 room 3"]
    assert [shapely.Polygon(r_.outline).area for r_ in r.scene.rooms] == pytest.approx([30, 12, 12])
    assert r.scene.rooms[0].floor_construction.layers[0].material == "concrete"
    assert "guessed: a closed loop of walls" in r.imported.text
    assert len(r.imported.report.guessed["rooms from closed loops of walls, since the file has no spaces"]) == 3


def test_gables_and_a_pitched_roof() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    h = HALF
    for name, x in (("West", 0.0), ("East", WIDE)):
        shape = [[0, 0], [DEEP + 2 * h, 0], [DEEP + 2 * h, 2.6], [DEEP / 2 + h, 4.6], [0, 2.6]]
        gable = m.upright("IfcWall", name, (x, -h), (x, DEEP + h), shape, 2 * h)
        m.made_of(gable, "Brickwork")
    for name, y in (("South", 0.0), ("North", DEEP)):
        m.wall(name, (h, y), (WIDE - h, y), "Brickwork", thickness=2 * h)
    for name, y in (("Roof south", -h), ("Roof north", DEEP + h)):
        crest = DEEP / 2
        shape = [[0, 2.6], [0, 2.8], [crest + h, 4.8], [crest + h, 4.6]]
        roof = m.upright("IfcSlab", name, (WIDE / 2, y), (WIDE / 2, crest), shape, WIDE + 2 * h)
        m.made_of(roof, ("Roof tile", 0.02), ("Timber boarding", 0.025))
    r = read(m)
    west = r.wall("West")
    assert (west.base, west.height) == (0, 2.6)
    assert west.line == [(0, 0), (0, 6)]
    above = next(s for s in r.scene.sheets if s.name == "West above")
    assert above.construction == west.construction
    area = shapely.Polygon([(y, z) for _, y, z in above.corners]).area
    assert area == pytest.approx((DEEP + 2 * h) * 2 / 2, rel=0.06)  # its foot ends at the lines of the long walls
    slopes = [s for s in r.building.sheets if s.name.startswith("Roof")]
    assert len(slopes) == 2
    for slope in slopes:
        assert abs(slope.frame.normal[2]) == pytest.approx((DEEP / 2 + h) / np.hypot(DEEP / 2 + h, 2), rel=1e-3)
        assert slope.polygon.area == pytest.approx((WIDE + 2 * h) * np.hypot(DEEP / 2 + h, 2), rel=1e-3)
    assert "guessed: not an oblong in elevation" in r.imported.text


def test_a_curved_wall_becomes_chords_with_its_door_in_one() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    angles = np.linspace(0, np.pi, 61)
    arc = lambda radius: np.stack([radius * np.cos(angles), radius * np.sin(angles)], axis=1)  # noqa: E731
    ring = np.concatenate([arc(4.1), arc(3.9)[::-1]]).tolist()
    curved = m.made_of(m.extruded("IfcWall", "Apse", ring, 0, 3), ("Concrete", 0.2))
    m.opening(curved, "Door", (-0.45, 4.0), (0.45, 4.0), 0, 2.1, fill="IfcDoor")
    m.wall("Chord", (-4.1, 0), (4.1, 0), ("Concrete", 0.2), height=3)
    r = read(m)
    apse = r.wall("Apse")
    line = np.asarray(apse.line)
    assert np.abs(np.hypot(*line.T) - 4).max() < 0.03
    assert shapely.LineString(line).length == pytest.approx(4 * np.pi, rel=0.005)
    (door,) = apse.openings
    assert door.width == pytest.approx(0.9, abs=0.01)
    mark = next(o for o in r.building.openings if o.kind == "door")
    assert [mark.start, mark.end][0][1] == pytest.approx(3.97, abs=0.05)
    assert "guessed: curved or bent, written as straight pieces" in r.imported.text
    assert [room.name for room in r.scene.rooms] == ["Ground room 1"]
    assert shapely.Polygon(r.scene.rooms[0].outline).area == pytest.approx(8 * np.pi, rel=0.01)


def test_a_curtain_wall_with_its_door() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    front = m._make("IfcCurtainWall", "Front")
    posts = [m.extruded("IfcMember", f"M{k}", rectangle(x, 2.97, x + 0.06, 3.03), 0, 2.6)
             for k, x in enumerate(np.linspace(HALF, WIDE - HALF - 0.06, 5))]  # fmt: skip
    glass = m.extruded("IfcPlate", "Pane", rectangle(HALF, 2.99, WIDE - HALF, 3.01), 0, 2.6)
    leaf = m.extruded("IfcDoor", "Glass door", rectangle(4, 2.98, 5, 3.02), 0, 2.2)
    import ifcopenshell.api.aggregate as aggregate
    import ifcopenshell.api.spatial as spatial

    parts = [*posts, glass, leaf]
    for part in parts:
        spatial.unassign_container(m.file, products=[part])
    aggregate.assign_object(m.file, products=parts, relating_object=front)
    spatial.assign_container(m.file, products=[front], relating_structure=m._storey)
    r = read(m)
    wall = r.wall("Front")
    assert wall.line == [(0, 3), (9, 3)]
    assert wall.construction == "double-glazing-6-16-6"
    (door,) = wall.openings
    assert (door.at, door.width, door.height, door.fill) == (4, 1, 2.2, "glass-10")
    assert "plates and members outside curtain walls" not in r.imported.report.left_out


def test_doors_without_an_opening_are_put_into_their_wall() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    m.extruded("IfcDoor", "Steel door", rectangle(3, -0.03, 4, 0.03), 0, 2.1)
    m.extruded("IfcWindow", "Lost window", rectangle(20, 20, 21, 20.1), 1, 1)
    r = read(m)
    (door,) = r.wall("South").openings
    assert (door.at, door.width, door.height, door.fill) == (3, 1, 2.1, "steel-door")
    assert "the file has no opening for it" in r.line_of("Steel door;")
    assert r.imported.report.left_out["doors and windows in no wall"] == ["Lost window"]


def test_a_stair_well_and_its_flight() -> None:
    m = IfcMaker()
    for name, level in (("Ground", 0.0), ("Upper", 3.0)):
        m.storey(name, level)
        shell(m, height=2.8)
        m.space(f"{name} hall", rectangle(HALF, HALF, WIDE - HALF, DEEP - HALF), 2.7)
        ring = outer() if level == 0 else [outer(), rectangle(2, 2, 5, 3.2)]
        m.slab("Slab", ring, 0, 0.2, ("Concrete", 0.2))
    m.storey("Ground again", 0.0)
    n, going, rise = 15, 0.2, 0.2
    top = [[k * going + d, (k + 1) * rise] for k in range(n) for d in (0, going)]
    shape = [[0, 0], *top, [n * going, n * rise - 0.2], [0.2, 0]]
    flight = m.upright("IfcStairFlight", "Flight", (2, 2.6), (5, 2.6), shape, 1.0)
    m.made_of(flight, "Concrete")
    r = read(m)
    upper = r.room("Upper hall")
    (void,) = upper.voids
    assert void.through == "floor"
    assert shapely.Polygon(void.outline).equals(shapely.box(2, 2, 5, 3.2))
    assert upper.floor_construction == "concrete-200"
    (sheet,) = r.scene.sheets
    corners = np.asarray(sheet.corners)
    assert corners.min(axis=0) == pytest.approx([2, 2.1, 0])
    assert corners.max(axis=0) == pytest.approx([5, 3.1, 3])
    assert np.corrcoef(corners[:, 0], corners[:, 2])[0, 1] == pytest.approx(1)
    assert "guessed: a flight as one sloping sheet" in r.imported.text


def test_columns_and_beams() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    circle = [[3 + 0.2 * np.cos(a), 3 + 0.2 * np.sin(a)] for a in np.linspace(0, 2 * np.pi, 33)[:-1]]
    m.made_of(m.extruded("IfcColumn", "Round", circle, 0, 2.6), "Beton C25/30")
    turned = np.array([[-0.3, -0.1], [0.3, -0.1], [0.3, 0.1], [-0.3, 0.1]])
    c, s = np.cos(np.radians(20)), np.sin(np.radians(20))
    m.made_of(m.extruded("IfcColumn", "Turned", (turned @ [[c, s], [-s, c]] + [6, 3]).tolist(), 0, 2.6), "Glulam")
    beam = m.upright("IfcBeam", "Level beam", (1, 1), (7, 1), [[0, 2.2], [6, 2.2], [6, 2.6], [0, 2.6]], 0.2)
    m.made_of(beam, "Unobtainium")
    m.upright("IfcBeam", "Rafter", (1, 1), (7, 1), [[0, 1], [6, 3], [6, 3.2], [0, 1.2]], 0.1)
    r = read(m)
    solids = {solid.name: solid for solid in r.scene.solids}
    assert list(solids) == ["Round", "Turned", "Level beam"]
    assert (solids["Round"].size[0], solids["Round"].material) == (pytest.approx(0.4, abs=0.01), "concrete")
    assert "# guessed: the box around it: it is round, hollow or profiled" in r.imported.text
    assert solids["Round"].turn_deg == 0
    assert solids["Turned"].size == pytest.approx((0.6, 0.2, 2.6))
    assert (solids["Turned"].turn_deg, solids["Turned"].material) == (pytest.approx(20), "timber")
    assert (solids["Level beam"].base, solids["Level beam"].material) == (pytest.approx(2.2), "concrete")
    assert r.imported.report.left_out["beams that climb"] == ["Rafter"]
    assert r.imported.report.guessed["what columns and beams are made of"] == ["Level beam"]


def test_what_has_no_place_is_counted_by_its_class() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    for k in range(15):
        m.extruded("IfcFurnishingElement", f"Chair {k}", rectangle(1, 1, 1.5, 1.5), 0, 0.9)
    m.made_of(m.wall("Odd", (2, HALF), (2, 4), ("Moon rock", 0.2)), ("Moon rock", 0.2))
    m.wall("Plain", (4, HALF), (4, 4), thickness=0.1)
    r = read(m)
    assert len(r.imported.report.left_out["IfcFurnishingElement"]) == 15
    assert "# left out: IfcFurnishingElement (15): Chair 0" in r.imported.text
    assert "and 3 more" in r.imported.text
    assert r.imported.report.guessed["materials that the table does not know"] == ["Moon rock"]
    assert '"Moon rock" counts as brick' in r.imported.text
    assert r.wall("Plain").construction == "stud-wall-100"
    assert "no material given, taken as boards on studs" in r.imported.text


def test_ends_of_walls_that_meet_nothing_stay() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    m.wall("Nib", (3, HALF), (3, 1.2), ("Plasterboard", 0.1))
    r = read(m)
    assert r.wall("Nib").line == [(3, 0), (3, 1.2)]


@pytest.mark.parametrize("units", ["mm", "ft"])
def test_north(units: str) -> None:
    m = IfcMaker("IFC4", units)
    m.storey("Ground", 0)
    shell(m)
    m.context.TrueNorth = m.file.createIfcDirection([-0.5, 0.75**0.5])
    assert read(m).scene.north_deg == pytest.approx(120)
    m.context.TrueNorth = None
    m.file.create_entity(
        "IfcMapConversion",
        SourceCRS=m.context,
        TargetCRS=m.file.create_entity("IfcProjectedCRS", Name="invented grid"),
        Eastings=1000.0,
        Northings=2000.0,
        OrthogonalHeight=0.0,
        XAxisAbscissa=0.75**0.5,
        XAxisOrdinate=0.5,
    )
    r = read(m)
    assert r.scene.north_deg == pytest.approx(60)
    assert "# North is grid north of the map conversion." in r.imported.text


def test_doubled_and_overlapping_walls() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    m.wall("Inner", (3, 1), (3, 4), ("Plasterboard", 0.1))
    m.wall("Double", (3, 1.5), (3, 4), ("Brick", 0.1))
    m.wall("Overlap", (3, 3), (3, 5), ("Brick", 0.1))
    r = read(m)
    assert [p.name for p in r.scene.partitions][4:] == ["Inner", "Overlap"]
    assert r.wall("Overlap").line[0][0] == pytest.approx(3, abs=0.0021)
    assert "moved 2 mm aside" in r.imported.text


def test_spaces_that_overlap_or_take_in_others() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    m.space("Gross", rectangle(HALF, HALF, WIDE - HALF, DEEP - HALF), 2.5)
    m.space("A", rectangle(HALF, HALF, 4, DEEP - HALF), 2.5)
    m.space("B", rectangle(3.9, HALF, WIDE - HALF, DEEP - HALF), 2.5)
    r = read(m)
    assert [room.name for room in r.scene.rooms] == ["A", "B"]
    assert r.imported.report.left_out["spaces that take in others"] == ["Gross"]
    assert min(x for x, _ in r.room("B").outline) == pytest.approx(4, abs=0.003)


def test_a_space_round_a_core_is_cut_in_two() -> None:
    m = IfcMaker()
    m.storey("Ground", 0)
    shell(m)
    m.space("Ring", [rectangle(HALF, HALF, WIDE - HALF, DEEP - HALF), rectangle(4, 2, 5, 4)], 2.5)
    m.slab("Slab", outer(), 0, 0.2, ("Concrete", 0.2))
    r = read(m)
    assert [room.name for room in r.scene.rooms] == ["Ring part 1", "Ring part 2"]
    assert sum(shapely.Polygon(room.outline).area for room in r.scene.rooms) == pytest.approx(WIDE * DEEP - 2)
    assert "guessed: cut in two" in r.imported.text


def test_the_example_is_what_its_file_gives_and_was_edited() -> None:
    """The house's file as its script makes it, and the scene beside it: the same building, a stair for a sheet."""
    committed = EXAMPLE / "house.ifc"
    made = import_ifc(committed)
    assert read(house()).imported.text == made.text
    fresh, edited = raycover.load_text(made.text), raycover.load(EXAMPLE / "scene.yaml")
    for key in ("north_deg", "storeys", "rooms", "partitions", "solids"):
        assert getattr(fresh, key) == getattr(edited, key)
    assert [s for s in fresh.sheets if s.name != "Stair"] == edited.sheets
    assert [s.name for s in edited.stairs] == ["Stair"]
    assert made.report.left_out["IfcFurnishingElement"] == ["Sofa", "Dining table", "Worktop"]


def test_the_example_maps_as_it_should(imported_house) -> None:  # type: ignore[no-untyped-def]
    """Rooms with a detector are seen, rooms without are not: walls and slabs stand between."""
    coverage = imported_house.coverage
    ground, first = coverage["floor Ground floor"], coverage["floor First floor"]
    assert ground.share > 0.95
    names = [room.name for room in imported_house.scene.rooms]

    def seen(plane, name: str) -> float:  # type: ignore[no-untyped-def]
        room = shapely.Polygon(imported_house.scene.rooms[names.index(name)].outline).buffer(-0.3)
        x, y = np.meshgrid(plane.x, plane.y)
        inside = shapely.contains_xy(room, x, y) & plane.surface.inside
        return float(plane.detected[inside].mean())

    for name in ("0.1 Living room", "0.2 Hall", "0.3 Kitchen", "0.4 Utility", "0.5 WC"):
        assert seen(ground, name) > 0.9
    for name in ("1.3 Landing", "1.4 Bathroom"):
        assert seen(first, name) > 0.9
    for name in ("1.1 Bedroom 1", "1.2 Bedroom 2", "1.5 Bedroom 3", "1.6 Box room"):
        assert seen(first, name) == 0
    assert coverage["person Stair"].share > 0.9

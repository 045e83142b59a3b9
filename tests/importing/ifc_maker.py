"""IFC files for the tests and the example, made by ifcopenshell itself: plain bodies, layers, openings, fillings."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import ifcopenshell.api.aggregate as aggregate
import ifcopenshell.api.context as context
import ifcopenshell.api.feature as feature
import ifcopenshell.api.geometry as geometry
import ifcopenshell.api.material as material
import ifcopenshell.api.owner as owner
import ifcopenshell.api.owner.settings as owner_settings
import ifcopenshell.api.project as project
import ifcopenshell.api.root as root
import ifcopenshell.api.spatial as spatial
import ifcopenshell.api.unit as unit
import numpy as np

#: Metres in a unit of length, and what ifcopenshell calls it.
UNITS: dict[str, tuple[float, dict[str, Any]]] = {
    "m": (1.0, {"is_metric": True, "raw": "METERS"}),
    "mm": (0.001, {"is_metric": True, "raw": "MILLIMETERS"}),
    "ft": (0.3048, {"is_metric": False, "raw": "FEET"}),
}
Layers = Sequence[tuple[str, float]]


class IfcMaker:
    """A building in the making: metres in, the file's own units inside. `turn_deg` and `at` place the building."""

    def __init__(
        self,
        schema: str = "IFC4",
        units: str = "mm",
        *,
        turn_deg: float = 0.0,
        at: Sequence[float] = (0, 0, 0),
        name: str = "Test house",
    ) -> None:
        self.file = project.create_file(version=schema)
        self.schema = schema
        self.scale, assigned = UNITS[units]
        if schema == "IFC2X3":
            self._sign()
        self.project = self._make("IfcProject", name)
        unit.assign_unit(self.file, length=assigned, area=assigned, volume=assigned)
        whole = context.add_context(self.file, context_type="Model")
        self.context = whole
        self.body = context.add_context(
            self.file, context_type="Model", context_identifier="Body", target_view="MODEL_VIEW", parent=whole
        )
        self.site, self.building = self._make("IfcSite", "Site"), self._make("IfcBuilding", "House")
        aggregate.assign_object(self.file, products=[self.site], relating_object=self.project)
        aggregate.assign_object(self.file, products=[self.building], relating_object=self.site)
        turn = np.radians(turn_deg)
        self.place = np.eye(4)
        self.place[:2, :2] = [[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]
        self.place[:3, 3] = at
        for thing in (self.site, self.building):
            self._put(thing, self.place)
        self._storey: Any = None
        self.elevation = 0.0
        self._materials: dict[str, Any] = {}

    def _sign(self) -> None:
        """IFC2X3 asks who owns each thing."""
        person = owner.add_person(self.file, identification="me", family_name="Me", given_name="I")
        firm = owner.add_organisation(self.file, identification="we", name="We")
        user = owner.add_person_and_organisation(self.file, person=person, organisation=firm)
        application = owner.add_application(self.file, application_developer=firm)
        owner_settings.get_user = lambda _: user
        owner_settings.get_application = lambda _: application

    def _make(self, kind: str, name: str) -> Any:
        return root.create_entity(self.file, ifc_class=kind, name=name)

    def _put(self, thing: Any, matrix: Any) -> None:
        geometry.edit_object_placement(self.file, product=thing, matrix=matrix)

    def storey(self, name: str, elevation: float) -> Any:
        """Begin a storey: what follows stands in it, heights from its level."""
        self._storey = self._make("IfcBuildingStorey", name)
        self.elevation = elevation
        aggregate.assign_object(self.file, products=[self._storey], relating_object=self.building)
        self._put(self._storey, self.place @ _shift(0, 0, elevation))
        self._storey.Elevation = elevation / self.scale
        return self._storey

    def extruded(self, kind: str, name: str, ring: Any, z: float, height: float, *, at: Any = None) -> Any:
        """An element whose body is a ring in plan, extruded upward; `at` (4, 4) places it in the storey."""
        element = self._make(kind, name)
        outer, *holes = ring if isinstance(ring, list) and np.ndim(ring[0]) == 2 else [ring]
        solid = self._prism(self._profile(outer, holes), height)
        return self._finish(element, solid, _shift(0, 0, z) if at is None else at)

    def upright(self, kind: str, name: str, start: Any, end: Any, shape: Any, thickness: float) -> Any:
        """An element whose body is a shape (along, height) in elevation, `thickness` deep about the line."""
        element = self._make(kind, name)
        start, end = np.asarray(start, float), np.asarray(end, float)
        along = (end - start) / np.linalg.norm(end - start)
        solid = self._prism(self._profile(shape, []), thickness)
        frame = np.eye(4)  # local x along the wall, local y up, local z to the side
        frame[:3, 0], frame[:3, 1] = [*along, 0], [0, 0, 1]
        frame[:3, 2] = [along[1], -along[0], 0]
        frame[:3, 3] = [*start, 0] - frame[:3, 2] * thickness / 2
        return self._finish(element, solid, frame)

    def _finish(self, element: Any, solid: Any, matrix: Any) -> Any:
        kind = "SweptSolid" if solid.is_a("IfcExtrudedAreaSolid") else "Brep"
        shape = self.file.create_entity("IfcShapeRepresentation", self.body, "Body", kind, [solid])
        geometry.assign_representation(self.file, product=element, representation=shape)
        self._put(element, self.place @ _shift(0, 0, self.elevation) @ matrix)
        if self._storey is not None and not element.is_a("IfcOpeningElement"):
            if element.is_a("IfcSpace"):
                aggregate.assign_object(self.file, products=[element], relating_object=self._storey)
            else:
                spatial.assign_container(self.file, products=[element], relating_structure=self._storey)
        return element

    def _profile(self, outer: Any, holes: Sequence[Any]) -> Any:
        curve, *inner = [self._polyline(ring) for ring in (outer, *holes)]
        if inner:
            return self.file.create_entity("IfcArbitraryProfileDefWithVoids", "AREA", None, curve, inner)
        return self.file.create_entity("IfcArbitraryClosedProfileDef", "AREA", None, curve)

    def _polyline(self, ring: Any) -> Any:
        points = [self.file.createIfcCartesianPoint([float(v) / self.scale for v in p]) for p in ring]
        return self.file.createIfcPolyline([*points, points[0]])

    def _prism(self, profile: Any, depth: float) -> Any:
        f = self.file
        origin = f.createIfcAxis2Placement3D(f.createIfcCartesianPoint([0.0, 0.0, 0.0]))
        return f.createIfcExtrudedAreaSolid(profile, origin, f.createIfcDirection([0.0, 0.0, 1.0]), depth / self.scale)

    def made_of(self, element: Any, *layers: tuple[str, float] | str) -> Any:
        """Give an element layers (name, metres), or one material by its name."""
        if isinstance(layers[0], str):
            material.assign_material(self.file, products=[element], material=self._material(layers[0]))
            return element
        layer_set = material.add_material_set(self.file, name="layers", set_type="IfcMaterialLayerSet")
        for name, thickness in layers:
            layer = material.add_layer(self.file, layer_set=layer_set, material=self._material(name))
            layer.LayerThickness = thickness / self.scale
        # As architects' programs do: the layers at the type, their use at each wall.
        relation = self.file.create_entity(
            "IfcRelAssociatesMaterial",
            ifcopenshell_guid(),
            element.OwnerHistory,
            RelatedObjects=[element],
            RelatingMaterial=self.file.create_entity(
                "IfcMaterialLayerSetUsage", layer_set, "AXIS2", "POSITIVE", -sum(t for _, t in layers) / 2 / self.scale
            ),
        )
        assert relation is not None
        return element

    def _material(self, name: str) -> Any:
        if name not in self._materials:
            self._materials[name] = material.add_material(self.file, name=name)
        return self._materials[name]

    def wall(
        self, name: str, start: Any, end: Any, *layers: tuple[str, float] | str, height: float = 2.6,
        thickness: float | None = None, base: float = 0.0,
    ) -> Any:  # fmt: skip
        """A straight wall about its centre line, from `start` to `end` in plan."""
        listed = [layer for layer in layers if not isinstance(layer, str)]
        deep = thickness if thickness is not None else sum(t for _, t in listed)
        length = float(np.linalg.norm(np.subtract(end, start)))
        kind = "IfcWallStandardCase" if self.schema == "IFC2X3" else "IfcWall"
        ring = [[0, -deep / 2], [length, -deep / 2], [length, deep / 2], [0, deep / 2]]
        element = self.extruded(kind, name, ring, 0, height, at=_along(start, end, base))
        return self.made_of(element, *layers) if layers else element

    def opening(
        self, wall: Any, name: str, start: Any, end: Any, sill: float, height: float, *, fill: str | None = None,
        thickness: float = 0.6,
    ) -> Any:  # fmt: skip
        """An opening through a wall between two points of its line, filled by a `fill` (IfcDoor, IfcWindow)."""
        length = float(np.linalg.norm(np.subtract(end, start)))
        half = thickness / 2
        ring = [[0, -half], [length, -half], [length, half], [0, half]]
        hole = self.extruded("IfcOpeningElement", f"{name} hole", ring, 0, height, at=_along(start, end, sill))
        feature.add_feature(self.file, feature=hole, element=wall)
        if fill is None:
            return hole
        ring = [[0, -0.02], [length, -0.02], [length, 0.02], [0, 0.02]]
        leaf = self.extruded(fill, name, ring, 0, height, at=_along(start, end, sill))
        feature.add_filling(self.file, opening=hole, element=leaf)
        leaf.OverallWidth, leaf.OverallHeight = length / self.scale, height / self.scale
        return leaf

    def space(self, name: str, ring: Any, height: float, *, floor: float = 0.0, long_name: str | None = None) -> Any:
        element = self.extruded("IfcSpace", name, ring, floor, height)
        element.LongName = long_name
        return element

    def slab(self, name: str, ring: Any, top: float, thickness: float, *layers: tuple[str, float] | str) -> Any:
        element = self.extruded("IfcSlab", name, ring, top - thickness, thickness)
        return self.made_of(element, *layers) if layers else element

    def write(self, path: Path) -> Path:
        self.file.write(str(path))
        return path


def ifcopenshell_guid() -> str:
    import ifcopenshell.guid

    return str(ifcopenshell.guid.new())


def rectangle(x0: float, y0: float, x1: float, y1: float) -> list[list[float]]:
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def _shift(x: float, y: float, z: float) -> Any:
    matrix = np.eye(4)
    matrix[:3, 3] = x, y, z
    return matrix


def _along(start: Any, end: Any, z: float) -> Any:
    """A frame at `start` with local x toward `end`."""
    way = np.subtract(end, start) / np.linalg.norm(np.subtract(end, start))
    matrix = np.eye(4)
    matrix[:2, 0], matrix[:2, 1] = way, [-way[1], way[0]]
    matrix[:3, 3] = [*start, z]
    return matrix

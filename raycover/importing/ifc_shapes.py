"""Bodies and facts of IFC elements: triangles in metres, layers, names, storeys. Asks ifcopenshell only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import ifcopenshell
import ifcopenshell.geom
import ifcopenshell.util.element
import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.importing.materials import LayerRead

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class Body:
    """Triangles of an element: vertices (n, 3) in metres, faces (m, 3)."""

    vertices: Floats
    faces: NDArray[np.integer]

    @property
    def volume(self) -> float:
        """Volume (m³) by the divergence theorem; of a closed body."""
        a, b, c = (self.vertices[self.faces[:, k]] for k in range(3))
        return abs(float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6))


#: What damaged files make of reading: references to the wrong kind of thing, missing values, impossible bodies.
FAULTS = (
    ArithmeticError, AssertionError, AttributeError, IndexError, KeyError, RecursionError, RuntimeError, TypeError,
    ValueError, shapely.errors.ShapelyError,
)  # fmt: skip


class Shapes:
    """Bodies of a model's elements, made one by one; `shift` (3,) m is taken off every coordinate."""

    def __init__(self, model: Any, scale: float) -> None:
        self._model = model
        self._scale = scale
        self.shift = np.zeros(3)
        self._settings = {}
        for cut in (False, True):
            settings = ifcopenshell.geom.settings()
            settings.set("use-world-coords", True)
            settings.set("disable-opening-subtractions", not cut)
            self._settings[cut] = settings

    def body(self, element: Any, *, cut: bool = False) -> Body | None:
        """The body of an element or of its parts together, with (`cut`) or without its openings; None where none."""
        if element.Representation is not None:
            made = self._make(element, cut=cut)
            if made is not None:
                return made
        made_parts = [self.body(part, cut=cut) for part in parts(element) if hasattr(part, "Representation")]
        bodies = [part for part in made_parts if part is not None]
        if not bodies:
            return None
        starts = np.cumsum([0, *(len(b.vertices) for b in bodies[:-1])])
        return Body(
            np.concatenate([b.vertices for b in bodies]),
            np.concatenate([b.faces + s for b, s in zip(bodies, starts, strict=True)]),
        )

    def _make(self, element: Any, *, cut: bool) -> Body | None:
        try:
            shape = ifcopenshell.geom.create_shape(self._settings[cut], element)
        except FAULTS:  # what the geometry kernel says of a body it cannot make
            return None
        vertices = np.array(shape.geometry.verts, float).reshape(-1, 3)
        faces = np.array(shape.geometry.faces, np.int64).reshape(-1, 3)
        if not len(faces) or not np.isfinite(vertices).all():
            return None
        return Body(vertices - self.shift, faces)

    def metres(self, value: Any) -> float | None:
        return None if value is None else float(value) * self._scale

    def layers(self, element: Any) -> list[LayerRead]:
        """The layers of an element or its type, in order; a single material is one layer without a thickness."""
        return self._layers_of(ifcopenshell.util.element.get_material(element, should_skip_usage=True))

    def _layers_of(self, material: Any) -> list[LayerRead]:
        if material is None:
            return []
        kind = material.is_a()
        if kind == "IfcMaterialLayerSet":
            return [self._layer(layer) for layer in material.MaterialLayers or ()]
        if kind == "IfcMaterialList":
            return [LayerRead(_material_name(m), None) for m in material.Materials or ()]
        if kind == "IfcMaterialConstituentSet":
            return [LayerRead(_material_name(c.Material), None) for c in material.MaterialConstituents or ()]
        if kind == "IfcMaterialProfileSet":
            return [LayerRead(_material_name(p.Material), None) for p in (material.MaterialProfiles or ())[:1]]
        if kind == "IfcMaterialLayer":
            return [self._layer(material)]
        return [LayerRead(_material_name(material), None)] if kind == "IfcMaterial" else []

    def _layer(self, layer: Any) -> LayerRead:
        ventilated = layer.IsVentilated is True
        name = _material_name(layer.Material) or getattr(layer, "Name", None)
        return LayerRead(name, self.metres(layer.LayerThickness), ventilated)


def _material_name(material: Any) -> str | None:
    """A material's name; its category where the name says nothing that the table could know."""
    if material is None:
        return None
    category = getattr(material, "Category", None)
    return " ".join(str(part) for part in (material.Name, category) if part) or None


def parts(element: Any) -> list[Any]:
    """What an element is put together from."""
    return [part for relation in getattr(element, "IsDecomposedBy", ()) for part in relation.RelatedObjects]


def whole(element: Any) -> Any | None:
    """What an element is a part of, where that is an element too."""
    for relation in getattr(element, "Decomposes", ()):
        if relation.RelatingObject.is_a("IfcElement"):
            return relation.RelatingObject
    return None


def openings(element: Any) -> Iterator[tuple[Any, list[Any]]]:
    """The openings in an element with what fills each."""
    for relation in getattr(element, "HasOpenings", ()):
        opening = relation.RelatedOpeningElement
        yield opening, [fill.RelatedBuildingElement for fill in getattr(opening, "HasFillings", ())]


def words(element: Any) -> list[str]:
    """Every word spoken of an element that may tell what it is: materials, type, names, description."""
    said: list[str] = []
    if ifcopenshell.util.element.get_material(element, should_skip_usage=True) is not None:
        said += [n for m in ifcopenshell.util.element.get_materials(element) if (n := _material_name(m))]
    kind = ifcopenshell.util.element.get_type(element)
    for thing in (kind, element):
        if thing is not None:
            texts = (getattr(thing, key, None) for key in ("Name", "Description", "ObjectType"))
            said += [text for text in texts if text]
    return said


def storey_of(element: Any) -> Any | None:
    """The storey that holds an element, through whatever it is part of."""
    for _ in range(20):
        if element is None or element.is_a("IfcBuildingStorey"):
            return element
        holder = ifcopenshell.util.element.get_container(element, should_get_direct=True)
        if holder is None:
            holder = ifcopenshell.util.element.get_aggregate(element)
        element = holder
    return None


def label(element: Any) -> str:
    """What people call an element: its name, else its class and id."""
    name = " ".join(str(element.Name or "").split())
    return name or f"{element.is_a()} {element.id()}"

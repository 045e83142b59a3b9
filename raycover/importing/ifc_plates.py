"""IFC slabs, roofs, ceilings, floorings and flights of stairs → level plates and sloping sheets."""

from __future__ import annotations

from typing import Any

import ifcopenshell.util.element
import numpy as np
import shapely
from numpy.typing import NDArray

from raycover.catalogue import Catalogue
from raycover.importing import materials
from raycover.importing.ifc_shapes import Body, Shapes, label, openings, parts, words
from raycover.importing.imported import Report
from raycover.importing.materials import Made
from raycover.importing.outlines import without_holes
from raycover.importing.plates import FlatSheet, Plate, facets, on_plane
from raycover.importing.walls import footprint_of

Floats = NDArray[np.floating]
#: Undersides flatter than this (share of the normal that is upright) are level.
_LEVEL = 0.9998
#: Smallest flat side (m²) of a roof worth a sheet.
_SMALLEST = 0.25
#: Flights whose climb shows less clearly than this (correlation of height and run) are winding.
_STRAIGHT_CLIMB = 0.8


def plate_elements(model: Any) -> list[Any]:
    """Slabs, roofs with a body of their own, ceilings and floorings."""
    found = list(model.by_type("IfcSlab"))
    found += [roof for roof in model.by_type("IfcRoof") if not parts(roof)]
    for covering in model.by_type("IfcCovering"):
        if ifcopenshell.util.element.get_predefined_type(covering) in ("CEILING", "FLOORING"):
            found.append(covering)
    return found


class PlateReader:
    """Reads slabs one after another into plates (level) and sheets (sloping)."""

    def __init__(self, shapes: Shapes, catalogue: Catalogue, report: Report) -> None:
        self._shapes = shapes
        self._catalogue = catalogue
        self._report = report
        self.plates: list[Plate] = []
        self.sheets: list[FlatSheet] = []
        self.placed: set[int] = set()

    def read(self, element: Any, storey: str) -> None:
        name = label(element)
        body = self._shapes.body(element, cut=True)
        undersides = [] if body is None else facets(body.vertices, body.faces)
        if body is None or not undersides:
            self._report.leave("slabs and roofs without an underside", name)
            return
        area = sum(plan.area for _, plan in undersides)
        thickness = body.volume / sum(plan.area / abs(plane[2]) for plane, plan in undersides)
        made = self._made_of(element, thickness)
        plane, plan = undersides[0]
        fills = self._fills(element)
        if abs(plane[2]) > _LEVEL and plan.area > 0.8 * area:
            footprint = shapely.union_all([part for p, part in undersides if abs(p[2]) > _LEVEL])
            low, high = float(body.vertices[:, 2].min()), float(body.vertices[:, 2].max())
            plate = Plate(name, footprint, low, high, made.ref, made.guesses, storey)
            plate.fills = [(hole, ref, label_, notes) for hole, ref, label_, notes in fills]
            self.plates.append(plate)
            return
        pieces = [(p, part) for p, part in undersides if part.area > _SMALLEST]
        shapes = [(p, piece) for p, part in pieces for piece in without_holes(part.simplify(1e-3))]
        for k, (p, piece) in enumerate(shapes):
            corners = on_plane(shapely.get_coordinates(piece.exterior)[:-1], p)
            text = name if len(shapes) == 1 else f"{name} part {k + 1}"
            self.sheets.append(FlatSheet(text, corners, made.ref, list(made.guesses), storey))
        for hole, ref, text, notes in fills:
            host = next((p for p, part in pieces if shapely.Polygon(part.exterior).intersects(hole)), None)
            if host is not None:
                corners = on_plane(shapely.get_coordinates(hole.exterior)[:-1], host)
                self.sheets.append(FlatSheet(text, corners, ref, notes, storey))

    def _made_of(self, element: Any, thickness: float) -> Made:
        made = materials.layered(self._shapes.layers(element), thickness, self._catalogue)
        if made is None:
            made = self._by_words(element, thickness)
        for material in made.unknown:
            self._report.guess("materials that the table does not know", material)
        if made.guesses:
            self._report.guess("what slabs and roofs are made of", label(element))
        return made

    def _by_words(self, element: Any, thickness: float) -> Made:
        for said in words(element):
            found = materials.material_of(said)
            if found is not None and found[0] != materials.AIR:
                rows = [(found[0], max(1000 * thickness, 1.0))]
                return Made(materials.named(rows, self._catalogue), [f'material by its name "{said[:40]}"'])
        return materials.default_slab(thickness, self._catalogue)

    def _fills(self, element: Any) -> list[tuple[Any, Any, str, list[str]]]:
        """Roof windows and hatches in the openings of a slab: (plan, construction, name, notes)."""
        found = []
        for opening, fillings in openings(element):
            body = self._shapes.body(opening)
            for filling in fillings:
                self.placed.add(filling.id())
                if body is None:
                    self._report.leave("openings without a body", label(filling))
                    continue
                is_window = filling.is_a("IfcWindow")
                made = (materials.window if is_window else materials.door)(words(filling))
                if made.guesses:
                    self._report.guess(f"what {'windows' if is_window else 'doors'} are made of", label(filling))
                plan = footprint_of(body.vertices, body.faces)
                found.append((plan, made.ref, label(filling), made.guesses))
        return found

    def read_flight(self, element: Any, storey: str) -> None:
        """A straight flight of stairs or a ramp as one sloping sheet from its foot to its head."""
        name = label(element)
        body = self._shapes.body(element)
        corners = None if body is None else _slope(body)
        if body is None or corners is None:
            self._report.leave("stairs that are not straight flights", name)
            return
        made = materials.layered(self._shapes.layers(element), 0.15, self._catalogue)
        if made is None:
            made = self._by_words(element, 0.15)
        notes = ["a flight as one sloping sheet", *made.guesses]
        self._report.guess("flights of stairs, written as one sloping sheet each", name)
        self.sheets.append(FlatSheet(name, corners, made.ref, notes, storey))


def flight_elements(model: Any) -> list[Any]:
    """Flights of stairs and ramps, and stairs whose body is their own."""
    found = [e for kind in ("IfcStairFlight", "IfcRampFlight") for e in model.by_type(kind)]
    return found + [e for kind in ("IfcStair", "IfcRamp") for e in model.by_type(kind) if not parts(e)]


def _slope(body: Body) -> Floats | None:
    """Corners (4, 3) of the sheet through a flight: its foot at the low end, its head at the high end."""
    hull = shapely.convex_hull(shapely.multipoints(body.vertices[:, :2]))
    if hull.geom_type != "Polygon":
        return None
    ring = shapely.get_coordinates(shapely.minimum_rotated_rectangle(hull))[:4]
    upper = facets(body.vertices, body.faces, downward=False)
    if not upper:
        return None
    # Treads, each with its middle and height, show which way the flight climbs.
    middles = np.array([[*part.centroid.coords[0], 0.0] for _, part in upper])
    middles[:, 2] = [on_plane(m[None, :2], plane)[0, 2] for m, (plane, _) in zip(middles, upper, strict=True)]
    best: tuple[float, Floats] | None = None
    for k in (0, 1):
        way = ring[k + 1] - ring[k]
        run = (middles[:, :2] - ring[k]) @ way / (way @ way)
        if len(middles) < 2 or np.ptp(run) < 1e-6 or np.ptp(middles[:, 2]) < 1e-6:
            continue
        climb = float(np.corrcoef(run, middles[:, 2])[0, 1])
        if abs(climb) < _STRAIGHT_CLIMB or (best is not None and abs(climb) <= abs(best[0])):
            continue
        side = ring[(k + 3) % 4] - ring[k]
        foot, head = (ring[k], ring[k] + way) if climb > 0 else (ring[k] + way, ring[k])
        low, high = float(body.vertices[:, 2].min()), float(middles[:, 2].max())
        best = climb, np.array([[*foot, low], [*(foot + side), low], [*(head + side), high], [*head, high]])
    if best is None and len(upper) == 1 and abs(upper[0][0][2]) < _LEVEL:  # a ramp: its upper side is the sheet
        plane, part = upper[0]
        return on_plane(shapely.get_coordinates(shapely.minimum_rotated_rectangle(part))[:4], plane)
    return None if best is None else best[1]

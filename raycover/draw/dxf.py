"""Back to the drawing office: detectors, coverage, gaps and the building as DXF, each on layers of their own.

Coordinates are those of the drawing that the scene was taken from (`plan:` of the scene), so that the file lies
over it; metres otherwise. Lengths of symbols and texts are those of a plan at 1:100.
"""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from raycover import __version__
from raycover.asking.outlines import gap_outlines, seen_areas
from raycover.building.doors import distinct
from raycover.building.one_storey import one_storey
from raycover.building.parts import Building
from raycover.building.sections import outline as covered_by
from raycover.detectors import Unit
from raycover.draw import dxf_marks, footprints, palette, words
from raycover.draw.cuts import traces, wall_areas
from raycover.draw.glyphs import sort_of
from raycover.draw.storeys import shown_storey, units_by_storey
from raycover.draw.tables import letters
from raycover.errors import MissingPart
from raycover.scene.received import UNITS_M, PlanSpec
from raycover.scene.schema import Scene
from raycover.shares import percent
from raycover.solving.coverage import Coverage, PlaneCoverage
from raycover.whole_file import write_whole

Floats = NDArray[np.float64]
#: $INSUNITS of the DXF reference (header section).
INSUNITS = {"in": 1, "ft": 2, "mm": 4, "cm": 5, "m": 6, "dm": 14}
PREFIX = "RAYCOVER"
#: Thinnest wall drawn (m), and the sizes of texts (m): 2.5 mm and 3.5 mm of paper at 1:100, ISO 3098-1's steps.
_THINNEST_M, _TEXT_M, _LETTER_M = 0.02, 0.25, 0.35
#: Gaps smaller than this (m²) get no letter, and a letter keeps hatching off this far (m).
_LETTERED_M2, _CLEAR_M = 0.05, 0.3
_STANDING = ("wall", "partition", "panel", "sheet")


class DxfSheet:
    """A DXF document with our layers, taking metres of the scene."""

    def __init__(self, plan: PlanSpec) -> None:
        try:
            import ezdxf
        except ImportError:
            raise MissingPart("writing DXF needs ezdxf: pip install 'raycover[dxf]'") from None
        self.factor = 1 / UNITS_M[plan.units]
        self._origin = np.array(plan.origin)
        self.document = ezdxf.new("R2010")
        self.document.header["$INSUNITS"] = INSUNITS[plan.units]
        self.document.header["$MEASUREMENT"] = 0 if plan.units in ("in", "ft") else 1
        self.document.header["$LUNITS"] = 2
        dash = 0.3 * self.factor
        self.document.linetypes.add(f"{PREFIX}-DASH", [1.5 * dash, dash, -0.5 * dash], description="dashed")
        self.document.styles.add(PREFIX, font="arial.ttf")
        self.space: Any = self.document.modelspace()
        self._layers: dict[str, str] = {}

    def layer(self, *parts: str, color: str = palette.INK, shown: bool = True, dashed: bool = False) -> str:
        """The layer of this name, made when first asked for: `RAYCOVER-GAPS-FLOOR`."""
        wanted = "-".join((PREFIX, *parts))
        if wanted in self._layers:
            return self._layers[wanted]
        # What the DXF reference forbids in names, and capitals throughout.
        plain = re.sub(r'[<>/\\":;?*|=`,\x00-\x1f]', "_", wanted).upper()[:240]
        name, n = plain, 2
        while name in self._layers.values():  # two planes whose names differ by forbidden characters only
            name, n = f"{plain}-{n}", n + 1
        made = self.document.layers.add(name)
        made.rgb = tuple(int(color[k : k + 2], 16) for k in (1, 3, 5))
        if dashed:
            made.dxf.linetype = f"{PREFIX}-DASH"
        if not shown:
            made.off()
        self._layers[wanted] = name
        return name

    def place(self, points: ArrayLike) -> Floats:
        """(…, 2) metres of the scene → the drawing's units and origin."""
        return np.asarray(points, float)[..., :2] * self.factor + self._origin

    def area(self, polygon: Any, layer: str) -> None:
        """A polygon's rings as closed polylines: the outer one anticlockwise, holes clockwise."""
        turned = shapely.orient_polygons(polygon)
        for ring in (turned.exterior, *turned.interiors):
            self.line(shapely.get_coordinates(ring)[:-1], layer, closed=True)

    def line(self, points: ArrayLike, layer: str, *, closed: bool = False) -> None:
        placed = self.place(points).tolist()
        self.space.add_lwpolyline(placed, format="xy", close=closed, dxfattribs={"layer": layer})

    def hatch(self, polygons: Sequence[Any], layer: str) -> None:
        """Lines at 45° over polygons."""
        if not polygons:
            return
        hatch = self.space.add_hatch(dxfattribs={"layer": layer})
        hatch.set_pattern_fill("ANSI31", scale=0.1 * self.factor)
        for polygon in polygons:
            for k, ring in enumerate((polygon.exterior, *polygon.interiors)):
                points = self.place(shapely.get_coordinates(ring)[:-1]).tolist()
                hatch.paths.add_polyline_path(points, is_closed=True, flags=1 if k == 0 else 16)

    def text(self, text: str, at: ArrayLike, layer: str, height_m: float, *, middle: bool = False) -> None:
        from ezdxf.enums import TextEntityAlignment

        about = {"layer": layer, "height": height_m * self.factor, "style": PREFIX}
        made = self.space.add_text(_plain(text), dxfattribs=about)
        align = TextEntityAlignment.MIDDLE_CENTER if middle else TextEntityAlignment.LEFT
        made.set_placement(tuple(self.place(at)), align=align)


def write_dxf(scene: Scene, building: Building, coverage: Coverage, path: Path) -> None:
    """Write a solved scene. The same input gives the same bytes. Raises OSError, MissingPart without ezdxf."""
    sheet = DxfSheet(scene.plan if scene.plan is not None else PlanSpec())
    dxf_marks.define(sheet.document)
    storeys = sorted(building.storeys, key=lambda s: s.level) if len(building.storeys) > 1 else []
    for index, storey in enumerate(storeys):
        _building(sheet, one_storey(building, storey), (storey.name,), shown=index == 0)
    if not storeys:
        _building(sheet, building, (), shown=True)
    levels = [storey.level for storey in storeys[1:]]
    for unit in coverage.units:
        # One under a ceiling that is the next floor too belongs below it.
        home = int(np.searchsorted(levels, float(unit.position[2])))
        _detector(sheet, unit, (storeys[home].name,) if storeys else (), shown=home == 0)
    for index, (name, plane) in enumerate(coverage.items()):
        if plane.surface.stairs is None:  # unrolled: it has no place in plan
            _plane(sheet, building, coverage, name, plane, shown=index == 0)
    _notes(sheet, scene, building, coverage)
    _save(sheet.document, path)


def _building(sheet: DxfSheet, building: Building, where: tuple[str, ...], *, shown: bool) -> None:
    """Walls as cut at 1.1 m, openings, racks, other boxes, rooms with their names; `where` names a storey."""

    def layer(part: str, color: str) -> str:
        return sheet.layer(part, *where, color=color, shown=shown)

    found = traces(building, [s for s in building.sheets if s.kind in _STANDING])
    for area in wall_areas([t for t in found if t.level == "cut"], _THINNEST_M):
        sheet.area(area, layer("WALLS", palette.SECOND_INK))
    for trace in (t for t in found if t.level != "cut"):
        sheet.line([trace.start, trace.end], layer("WALLS-LOW-HIGH", palette.SECOND_INK))
    for trace in traces(building, [s for s in building.sheets if s.kind in ("door", "leaf")]):
        sheet.line([trace.start, trace.end], layer("DOORS", palette.GLASS))
    for mark in distinct(building.openings):
        sheet.line([mark.start, mark.end], layer("OPENINGS", palette.GLASS))
    for rack in building.racks:
        sheet.area(shapely.Polygon(rack.corners), layer("RACKING", palette.THIRD_INK))
    solids = [k for k, kind in enumerate(building.boxes.kinds) if kind == "solid"]
    for corners in building.boxes.footprints()[solids] if solids else ():
        sheet.area(shapely.Polygon(corners), layer("OBJECTS", palette.THIRD_INK))
    for owner in dict.fromkeys(one.owner for one in building.objects):
        covered = covered_by(one for one in building.objects if one.owner == owner)
        for part in shapely.get_parts(covered):
            sheet.area(part, layer("OBJECTS", palette.THIRD_INK))
    for stair in building.stairs:
        for piece in stair.pieces:
            run, wide = piece.along * piece.length, piece.across * piece.width
            corners = [piece.origin, piece.origin + run, piece.origin + run + wide, piece.origin + wide]
            sheet.area(shapely.Polygon(np.array(corners)[:, :2]), layer("STAIRS", palette.THIRD_INK))
    for room in building.rooms:
        sheet.area(room.polygon, layer("ROOMS", palette.RULE))
        spot = (
            room.polygon.centroid if room.polygon.contains(room.polygon.centroid) else room.polygon.point_on_surface()
        )
        sheet.text(room.name, (spot.x, spot.y), layer("ROOM-NAMES", palette.SECOND_INK), _TEXT_M, middle=True)


def _detector(sheet: DxfSheet, unit: Unit, where: tuple[str, ...], *, shown: bool) -> None:
    """A block with its tag, model and mounting as attributes, and its masked sectors."""
    layer = sheet.layer("DETECTORS", *where, color=palette.ACCENT, shown=shown)
    tags = sheet.layer("TAGS", *where, color=palette.ACCENT, shown=shown)
    x, y, z = (float(v) for v in unit.position)
    size = {"xscale": sheet.factor, "yscale": sheet.factor, "zscale": sheet.factor}
    block = dxf_marks.block_name(sort_of(unit))
    about = {"layer": layer, "rotation": unit.turn_deg, **size}
    made = sheet.space.add_blockref(block, tuple(sheet.place((x, y))), dxfattribs=about)
    for tag, text, up, visible in (
        ("TAG", unit.name, 0.24, True),
        ("MODEL", unit.title, -0.1, False),
        ("HEIGHT", f"{z:g} m", -0.44, False),
    ):
        style = {"layer": tags, "height": _TEXT_M * sheet.factor, "style": PREFIX}
        attribute = made.add_attrib(tag, _plain(text), tuple(sheet.place((x + 0.24, y + up))), dxfattribs=style)
        attribute.is_invisible = not visible
    for mask in unit.all_masks:
        start = unit.turn_deg + mask.from_deg
        outline = dxf_marks.wedge((x, y), start, start + mask.span_deg)
        sheet.line(outline, sheet.layer("MASKS", *where, color=palette.ACCENT, shown=shown), closed=True)


def _plane(
    sheet: DxfSheet, building: Building, coverage: Coverage, name: str, plane: PlaneCoverage, *, shown: bool
) -> None:
    """One plane's coverage, gaps with letters, and declared footprints."""
    seen = sheet.layer("COVERAGE", name, color=palette.hex_of(palette.class_rgb(palette.SEEN)), shown=shown)
    for area in seen_areas(plane, building):
        sheet.area(area, seen)
    shade = palette.hex_of(palette.class_rgb(palette.NOT_SEEN))
    edge = sheet.layer("GAPS", name, color=shade, shown=shown)
    hatched = sheet.layer("GAP-HATCH", name, color=shade, shown=shown)
    lettered = sheet.layer("GAP-LETTERS", name, color=shade, shown=shown)
    outlines, shaded = gap_outlines(plane, building), []
    for found, letter in zip(outlines, letters(len(outlines)), strict=True):
        for area in found.areas:
            sheet.area(area, edge)
        clear = shapely.Point(found.gap.at[:2]).buffer(_CLEAR_M, 8) if found.gap.area_m2 >= _LETTERED_M2 else None
        if clear is not None:
            sheet.text(letter, found.gap.at[:2], lettered, _LETTER_M, middle=True)
        rest = [area if clear is None else area.difference(clear) for area in found.areas]
        shaded += [p for area in rest for p in shapely.get_parts(area) if p.geom_type == "Polygon"]
    sheet.hatch(shaded, hatched)
    dashed = sheet.layer("FOOTPRINTS", name, color=palette.SHELL, shown=shown, dashed=True)
    for unit in units_by_storey(building, shown_storey(building, plane), plane, coverage.units)[0]:
        room = building.room_at(*(float(v) for v in unit.position))
        floor = room.floor if room is not None else 0.0
        outline = footprints.outline(unit, plane.surface.motion, floor + min(plane.surface.heights))
        if outline is not None:
            for part in footprints.within(outline, room.polygon) if room is not None else [outline]:
                sheet.line(part, dashed)


def _notes(sheet: DxfSheet, scene: Scene, building: Building, coverage: Coverage) -> None:
    """What this is, the figures, the gaps by letter, and the cautions, below the plan."""
    layer = sheet.layer("NOTES", color=palette.SECOND_INK)
    date = scene.date if scene.date is not None else words.today()
    lines = [f"{scene.title}, revision {scene.revision}, {date}: detector coverage by raycover {__version__}"]
    lines.append(words.conditions(coverage, building))
    for name, plane in coverage.items():
        lines.append(f"{name}: {percent(plane.share)} of {words.area(plane.area_m2)} m² seen, "
                     f"{percent(plane.assured_share)} assured, {len(plane.gaps)} gaps")  # fmt: skip
    lines += words.CAUTION
    x, y = building.bounds[0, :2]
    for k, line in enumerate(lines):
        sheet.text(line, (x, y - 1.0 - 1.6 * _TEXT_M * k), layer, _TEXT_M)


def _plain(text: str) -> str:
    """Text as DXF holds it on one line: no control characters, and % kept from starting a code."""
    one_line = " ".join("".join(c if c.isprintable() else " " for c in text).split())
    return one_line.replace("%%", "% %").replace("^", "^ ")


def _save(document: Any, path: Path) -> None:
    """Write without times and random identifiers: the same drawing gives the same bytes."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document.ezdxf_metadata()["CREATED_BY_EZDXF"] = f"raycover {__version__}"  # else the time of day
        text = io.StringIO()
        document.write(text)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
    write_whole(path, text.getvalue().encode("utf-8"))

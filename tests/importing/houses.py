"""Invented houses as IFC files, and one import of each shared by the tests."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from tempfile import mkdtemp
from typing import Any

from ifc_maker import IfcMaker, rectangle

import raycover
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.importing.ifc import import_ifc
from raycover.importing.imported import Imported
from raycover.scene.schema import Scene

BRICK = (("Facing brick", 0.102), ("Mineral wool insulation", 0.1), ("Dense block", 0.1))
STUD = (("Gypsum plasterboard", 0.0125), ("Metal stud framing", 0.075), ("Gypsum plasterboard", 0.0125))
HALF = 0.151  # half of BRICK
WIDE, DEEP = 9.0, 6.0
STOREY = 2.85


@dataclass(frozen=True)
class Read:
    """An IFC file with everything made of it."""

    maker: IfcMaker
    path: Path
    imported: Imported

    @cached_property
    def scene(self) -> Scene:
        return raycover.load_text(self.imported.text)

    @cached_property
    def building(self) -> Building:
        return build(self.scene)

    def wall(self, name: str) -> Any:
        return next(p for p in self.scene.partitions if p.name == name)

    def room(self, name: str) -> Any:
        return next(r for r in self.scene.rooms if r.name == name)

    def line_of(self, text: str) -> str:
        """The first line of the scene's text with `text` in it."""
        return next(line for line in self.imported.text.splitlines() if text in line)


def read(maker: IfcMaker) -> Read:
    path = maker.write(Path(mkdtemp()) / "house.ifc")
    return Read(maker, path, import_ifc(path))


def shell(m: IfcMaker, height: float = 2.6) -> tuple[Any, Any, Any, Any]:
    """Four outer walls that butt: south and north run to the outer corners, west and east stand between."""
    h = HALF
    south = m.wall("South", (-h, 0), (WIDE + h, 0), *BRICK, height=height)
    north = m.wall("North", (WIDE + h, DEEP), (-h, DEEP), *BRICK, height=height)
    west = m.wall("West", (0, DEEP - h), (0, h), *BRICK, height=height)
    east = m.wall("East", (WIDE, h), (WIDE, DEEP - h), *BRICK, height=height)
    return south, north, west, east


def ground_floor(m: IfcMaker, *, spaces: bool = True, slab: bool = True) -> dict[str, Any]:
    """A storey of three rooms: shell, stud partitions, two doors, a gap, a window, a steel column."""
    h = HALF
    south, north, west, east = shell(m)
    long = m.wall("Partition", (5, h), (5, DEEP - h), *STUD)
    cross = m.wall("Cross", (5.05, 3), (WIDE - h, 3), *STUD)
    m.opening(south, "D1", (1, 0), (1.9, 0), 0, 2.1, fill="IfcDoor")
    m.opening(long, "D2", (5, 1), (5, 1.8), 0, 2.0, fill="IfcDoor")
    m.opening(cross, "Passage", (6, 3), (7, 3), 0, 2.0)
    m.opening(north, "W1", (3, DEEP), (1.5, DEEP), 0.9, 1.2, fill="IfcWindow")
    if spaces:
        m.space("01", rectangle(h, h, 4.95, DEEP - h), 2.5, long_name="Living")
        m.space("02", rectangle(5.05, h, WIDE - h, 2.95), 2.5, long_name="Kitchen")
        m.space("03", rectangle(5.05, 3.05, WIDE - h, DEEP - h), 2.5, long_name="Study")
    if slab:
        m.slab("Slab", outer(), 0, 0.25, ("Reinforced concrete C30", 0.25))
    m.made_of(m.extruded("IfcColumn", "C1", rectangle(2.9, 2.9, 3.1, 3.1), 0, 2.6), "Steel S355")
    return {"south": south, "north": north, "west": west, "east": east, "partition": long, "cross": cross}


def outer() -> list[list[float]]:
    return rectangle(-HALF, -HALF, WIDE + HALF, DEEP + HALF)


@lru_cache
def one_storey(schema: str = "IFC4", units: str = "mm", turn_deg: float = 0.0, east: float = 0.0) -> Read:
    """One storey without slabs, so that no wall's height is touched."""
    m = IfcMaker(schema, units, turn_deg=turn_deg, at=(east, 0, 0))
    m.storey("Ground floor", 0)
    ground_floor(m, slab=False)
    return read(m)


@lru_cache
def two_storeys(schema: str = "IFC4") -> Read:
    """Two storeys alike under a flat roof."""
    m = IfcMaker(schema, "m")
    for name, level in (("Ground floor", 0.0), ("First floor", STOREY)):
        m.storey(name, level)
        ground_floor(m)
    m.storey("Roof", 2 * STOREY)
    m.slab("Flat roof", outer(), 0, 0.25, ("Reinforced concrete C30", 0.25))
    return read(m)

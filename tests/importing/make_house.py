"""The house of examples/imported-house, invented: two storeys of brick with stud walls under a pitched roof.

python tests/importing/make_house.py examples/imported-house/house.ifc
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from ifc_maker import IfcMaker, rectangle

CAVITY = (("Facing brick", 0.1025), ("Mineral wool insulation", 0.1), ("Aerated concrete block", 0.1))
STUD = (("Gypsum plasterboard", 0.0125), ("Timber studs", 0.075), ("Gypsum plasterboard", 0.0125))
FLOOR = (("Chipboard flooring", 0.022), ("Timber framing", 0.2), ("Gypsum plasterboard", 0.0125))
CEILING = (("Mineral wool insulation", 0.2), ("Gypsum plasterboard", 0.0125))
H, S = 0.15125, 0.05  # half thicknesses: cavity wall, stud wall
WIDE, DEEP = 10.0, 8.0
UP = 2.8  # level of the first floor
CLEAR = UP - 0.2345  # under the joists


def house() -> IfcMaker:
    m = IfcMaker("IFC4", "mm", name="Hollybank Lane 7")
    m.building.Name = "House"
    m.context.TrueNorth = m.file.createIfcDirection([0.2588190451, 0.9659258263])
    m.storey("Ground floor", 0.0)
    _ground(m)
    m.storey("First floor", UP)
    _first(m)
    m.storey("Roof", UP + 2.5)
    _roof(m)
    return m


def _outline() -> list[list[float]]:
    return rectangle(-H, -H, WIDE + H, DEEP + H)


def _ground(m: IfcMaker) -> None:
    m.slab("Ground slab", _outline(), 0, 0.2, ("Reinforced concrete", 0.2))
    south = m.wall("Front wall", (-H, 0), (WIDE + H, 0), *CAVITY, height=CLEAR)
    north = m.wall("Garden wall", (WIDE + H, DEEP), (-H, DEEP), *CAVITY, height=CLEAR)
    m.wall("West wall", (0, DEEP - H), (0, H), *CAVITY, height=CLEAR)
    east = m.wall("East wall", (WIDE, H), (WIDE, DEEP - H), *CAVITY, height=CLEAR)
    hall_west = m.wall("Hall west", (4, H), (4, DEEP - H), *STUD, height=CLEAR)
    hall_east = m.wall("Hall east", (6, H), (6, DEEP - H), ("Brick masonry", 0.1), height=CLEAR)
    kitchen = m.wall("Kitchen north", (6 + S, 5), (WIDE - H, 5), *STUD, height=CLEAR)
    wc = m.wall("WC west", (8.2, 5 + S), (8.2, DEEP - H), *STUD, height=CLEAR)

    _named(m.opening(south, "Front door", (4.5, 0), (5.5, 0), 0, 2.1, fill="IfcDoor"), "Hardwood door")
    m.opening(hall_west, "Living room door", (4, 6.6), (4, 7.4), 0, 2.0, fill="IfcDoor")
    m.opening(hall_east, "Archway", (6, 0.3), (6, 1.4), 0, 2.2)
    m.opening(hall_east, "Utility door", (6, 6.2), (6, 7.0), 0, 2.0, fill="IfcDoor")
    m.opening(wc, "WC door", (8.2, 6.2), (8.2, 6.9), 0, 2.0, fill="IfcDoor")
    m.opening(kitchen, "Pipe sleeve", (9.0, 5), (9.1, 5), 0.2, 0.1)
    _named(m.opening(north, "Garden doors", (3.0, DEEP), (1.0, DEEP), 0, 2.1, fill="IfcDoor"), "Glazed double doors")
    for name, wall, start, end, sill, height in (
        ("Living room window", south, (1, 0), (3, 0), 0.9, 1.2),
        ("Kitchen window", south, (7, 0), (9, 0), 1.05, 1.05),
        ("Dining window", east, (WIDE, 2), (WIDE, 3.8), 0.9, 1.2),
        ("WC window", east, (WIDE, 6.3), (WIDE, 6.9), 1.3, 0.8),
        ("Utility window", north, (7.6, DEEP), (6.8, DEEP), 1.05, 1.05),
    ):
        _named(m.opening(wall, name, start, end, sill, height, fill="IfcWindow"), "Low-E double glazed casement")

    for name, long_name, ring in (
        ("0.1", "Living room", rectangle(H, H, 4 - S, DEEP - H)),
        ("0.2", "Hall", rectangle(4 + S, H, 6 - S, DEEP - H)),
        ("0.3", "Kitchen", rectangle(6 + S, H, WIDE - H, 5 - S)),
        ("0.4", "Utility", rectangle(6 + S, 5 + S, 8.2 - S, DEEP - H)),
        ("0.5", "WC", rectangle(8.2 + S, 5 + S, WIDE - H, DEEP - H)),
    ):
        m.space(name, ring, CLEAR, long_name=long_name)
    breast = m.extruded("IfcColumn", "Chimney breast", rectangle(H, 3.4, H + 0.5, 4.8), 0, CLEAR)
    m.made_of(breast, "Brick masonry")
    girder = [[0, 2.3], [4 - S - H, 2.3], [4 - S - H, CLEAR], [0, CLEAR]]
    m.made_of(m.upright("IfcBeam", "Kitchen beam", (6 + S, 3), (WIDE - H, 3), girder, 0.15), "Steel S275")
    n, going, rise = 14, 0.24, 0.2
    steps = [[k * going + d, (k + 1) * rise] for k in range(n - 1) for d in (0, going)]
    shape = [[0, 0], *steps, [(n - 1) * going, (n - 1) * rise - 0.2], [0.24, 0]]
    m.made_of(m.upright("IfcStairFlight", "Stair", (5.4, 1.8), (5.4, 4.92), shape, 0.9), "Softwood")
    for name, ring, height in (
        ("Sofa", rectangle(1.2, 5.4, 3.2, 6.3), 0.8),
        ("Dining table", rectangle(8.0, 2.2, 9.0, 3.8), 0.75),
        ("Worktop", rectangle(6.2, 4.3, 9.8, 4.9), 0.9),
    ):
        m.extruded("IfcFurnishingElement", name, ring, 0, height)


def _first(m: IfcMaker) -> None:
    m.slab("First floor", [_outline(), rectangle(4.9, 1.7, 5.9, 4.92)], 0, 0.2345, *FLOOR)
    height, crest = 2.5, 2.9
    south = m.wall("Front wall", (-H, 0), (WIDE + H, 0), *CAVITY, height=height)
    north = m.wall("Garden wall", (WIDE + H, DEEP), (-H, DEEP), *CAVITY, height=height)
    for name, x in (("West wall", 0.0), ("East wall", WIDE)):  # they rise to the ridge
        y0, y1 = H, DEEP - H
        slope = crest / (DEEP / 2 + H)
        shape = [[0, 0], [y1 - y0, 0], [y1 - y0, height], [(y1 - y0) / 2, height + slope * (DEEP / 2 - H)], [0, height]]
        m.made_of(m.upright("IfcWall", name, (x, y0), (x, y1), shape, 2 * H), *CAVITY)
    west = m.wall("Landing west", (4, H), (4, DEEP - H), *STUD, height=height)
    east = m.wall("Landing east", (6, H), (6, DEEP - H), *STUD, height=height)
    bath = m.wall("Bathroom south", (4 + S, 6.1), (6 - S, 6.1), *STUD, height=height)
    m.wall("Bedrooms", (H, 4), (4 - S, 4), *STUD, height=height)
    m.wall("Box room south", (6 + S, 5), (WIDE - H, 5), *STUD, height=height)
    for name, wall, start, end in (
        ("Bedroom 1 door", west, (4, 2.8), (4, 3.6)),
        ("Bedroom 2 door", west, (4, 4.4), (4, 5.2)),
        ("Bedroom 3 door", east, (6, 0.4), (6, 1.2)),
        ("Box room door", east, (6, 5.15), (6, 5.9)),
        ("Bathroom door", bath, (4.3, 6.1), (5.0, 6.1)),
    ):
        m.opening(wall, name, start, end, 0, 2.0, fill="IfcDoor")
    for name, wall, start, end, sill, high in (
        ("Bedroom 1 window", south, (1, 0), (3, 0), 0.9, 1.2),
        ("Landing window", south, (4.6, 0), (5.4, 0), 0.9, 1.2),
        ("Bedroom 3 window", south, (7, 0), (9, 0), 0.9, 1.2),
        ("Bedroom 2 window", north, (3, DEEP), (1, DEEP), 0.9, 1.2),
        ("Bathroom window", north, (5.4, DEEP), (4.6, DEEP), 1.2, 0.9),
        ("Box room window", north, (8.6, DEEP), (7.4, DEEP), 0.9, 1.2),
    ):
        _named(m.opening(wall, name, start, end, sill, high, fill="IfcWindow"), "Low-E double glazed casement")
    for name, long_name, ring in (
        ("1.1", "Bedroom 1", rectangle(H, H, 4 - S, 4 - S)),
        ("1.2", "Bedroom 2", rectangle(H, 4 + S, 4 - S, DEEP - H)),
        ("1.3", "Landing", rectangle(4 + S, H, 6 - S, 6.1 - S)),
        ("1.4", "Bathroom", rectangle(4 + S, 6.1 + S, 6 - S, DEEP - H)),
        ("1.5", "Bedroom 3", rectangle(6 + S, H, WIDE - H, 5 - S)),
        ("1.6", "Box room", rectangle(6 + S, 5 + S, WIDE - H, DEEP - H)),
    ):
        m.space(name, ring, height, long_name=long_name)


def _roof(m: IfcMaker) -> None:
    m.slab("Loft ceiling", _outline(), 0.2125, 0.2125, *CEILING)
    eaves, crest = 0.3, 2.9
    slope = crest / (DEEP / 2 + H)
    low = -slope * eaves
    for name, y in (("Roof front", -H - eaves), ("Roof garden", DEEP + H + eaves)):
        run = DEEP / 2 + H + eaves
        shape = [[0, low], [run, crest], [run, crest + 0.15], [0, low + 0.15]]
        roof = m.upright("IfcSlab", name, (WIDE / 2, y), (WIDE / 2, DEEP / 2), shape, WIDE + 2 * H + 0.4)
        m.made_of(roof, ("Clay roof tiles", 0.02), ("Roofing felt", 0.0005), ("Timber rafters", 0.12))


def _named(element: Any, description: str) -> None:
    element.Description = description


if __name__ == "__main__":
    house().write(Path(sys.argv[1]))

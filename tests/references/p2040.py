"""Material rows and constructions for the reference tests.

Rows: ITU-R P.2040 edition 3/4, 1–100 GHz rows as carried by the open library sionna-rt 2.2.0, eight of them
agreeing with a second published table at 9 GHz [V]; the ITU text itself not read. Edition 1 differs.
"""

from __future__ import annotations

from raycover.physics.slab import Layer, Material

EDITION = "ITU-R P.2040-3/4"

MATERIALS = {
    row[0]: Material(*row)
    for row in (
        ("concrete", 5.24, 0, 0.0462, 0.7822, 1, 100),
        ("brick", 3.91, 0, 0.0238, 0.16, 1, 40),
        ("plasterboard", 2.73, 0, 0.0085, 0.9395, 1, 100),
        ("wood", 1.99, 0, 0.0047, 1.0718, 0.001, 100),
        ("glass", 6.31, 0, 0.0036, 1.3394, 0.1, 100),
        ("ceiling board", 1.48, 0, 0.0011, 1.0750, 1, 100),
        ("chipboard", 2.58, 0, 0.0217, 0.78, 1, 100),
        ("plywood", 2.71, 0, 0.33, 0, 1, 40),
    )
}


def stack(*layers: tuple[float, str | None]) -> list[Layer]:
    """Layers from (thickness in mm, material or None for air)."""
    return [Layer(mm / 1000, None if name is None else MATERIALS[name]) for mm, name in layers]


CONSTRUCTIONS = {
    "12.5 mm plasterboard": stack((12.5, "plasterboard")),
    "12.5 + 75 air + 12.5 plasterboard": stack((12.5, "plasterboard"), (75, None), (12.5, "plasterboard")),
    "6 mm glass": stack((6, "glass")),
    "6-16-6 uncoated glazing": stack((6, "glass"), (16, None), (6, "glass")),
    "40 mm wood": stack((40, "wood")),
    "13 mm chipboard": stack((13, "chipboard")),
    "18 mm plywood": stack((18, "plywood")),
    "15 mm ceiling board": stack((15, "ceiling board")),
    "100 mm brick": stack((100, "brick")),
    "215 mm brick": stack((215, "brick")),
    "150 mm concrete": stack((150, "concrete")),
}

# Coherent one-way loss in dB [C]: at 0°, and the mean power of both polarisations at 45° and 60°; 5.8 GHz
# first, then 24.125 GHz. Computed outside this package from the rows above.
COHERENT_DB = {
    "12.5 mm plasterboard": ((0.92, 1.31, 1.88), (2.81, 2.60, 3.21)),
    "12.5 + 75 air + 12.5 plasterboard": ((1.53, 2.58, 3.80), (4.61, 5.29, 6.14)),
    "6 mm glass": ((3.20, 3.10, 2.77), (3.88, 3.43, 3.21)),
    "6-16-6 uncoated glazing": ((8.66, 8.01, 4.38), (10.89, 7.22, 5.00)),
    "40 mm wood": ((1.64, 1.80, 2.50), (6.82, 7.93, 8.98)),
    "13 mm chipboard": ((1.42, 1.83, 2.44), (4.09, 4.19, 4.84)),
    "18 mm plywood": ((6.36, 6.93, 7.57), (6.39, 7.22, 7.76)),
    "15 mm ceiling board": ((0.25, 0.40, 0.80), (0.69, 1.04, 1.06)),
    "100 mm brick": ((3.89, 3.59, 3.89), (4.07, 4.66, 5.27)),
    "215 mm brick": ((6.84, 7.23, 7.54), (8.20, 8.48, 9.33)),
    "150 mm concrete": ((21.02, 22.06, 22.80), (61.14, 64.25, 66.14)),
}

BANDS_GHZ = (5.8, 24.125)

"""Random rooms in which truths are drawn: offices, washrooms with cubicles, stairwells, of flat sheets.

Sheets are plain parallelograms, so that the independent engine and the package can both hold them. Own floor and
ceiling of a room are left out in both: a declared reach was found with them. Sizes are our own invention within
PHYSICS.md §5; constructions are those of the catalogue that have layers.
"""

from __future__ import annotations

from dataclasses import dataclass

import coherent_engine as engine
import numpy as np
from numpy.typing import NDArray

from raycover.catalogue import Construction, load_catalogue

Floats = NDArray[np.float64]

WALLS = ("brick-100", "brick-215", "concrete-150", "stud-wall-100", "plasterboard-12.5", "double-glazing-6-16-6")
SCREENS = ("plasterboard-12.5", "stud-wall-100", "glass-6", "glass-10", "chipboard-18", "laminate-13", "door-wood-40")
N_SHEETS = 9
MOST_LAYERS = 3
_NOWHERE = ((900.0, 900.0, 900.0), (1.0, 0, 0), (0, 1.0, 0))


@dataclass(frozen=True)
class Truths:
    """R rooms: corners and edges of their sheets (R, S, 3), names of constructions (R, S) with "" for none, the unit
    (R, 3), points (R, N, 3), frequency (R,) GHz, and the kind of each room."""

    origin: Floats
    u: Floats
    v: Floats
    made_of: NDArray[np.str_]
    unit: Floats
    points: Floats
    frequency_ghz: Floats
    kind: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.unit)

    def constructions(self) -> dict[str, Construction]:
        catalogue = load_catalogue()
        return {name: catalogue.constructions[name] for name in np.unique(self.made_of) if name}

    def nominal(self) -> engine.Rooms:
        """As drawn, for the engine."""
        return self._rooms(np.ones((*self.made_of.shape, MOST_LAYERS, 3)))

    def perturbed(self, rng: np.random.Generator) -> engine.Rooms:
        """Every layer of every sheet by itself: thickness even in ±10 %, permittivity s.d. 5 %, conductivity 30 %."""
        shape = (*self.made_of.shape, MOST_LAYERS)
        thickness = rng.uniform(0.9, 1.1, shape)
        a = np.exp(0.05 * rng.standard_normal(shape))
        c = np.exp(0.30 * rng.standard_normal(shape))
        return self._rooms(np.stack([thickness, a, c], axis=-1))

    def _rooms(self, factors: Floats) -> engine.Rooms:
        eta = np.ones((*self.made_of.shape, MOST_LAYERS), complex)
        thickness = np.zeros(eta.shape)
        made = self.constructions()
        for r, s in np.argwhere(self.made_of != ""):
            for i, layer in enumerate(made[self.made_of[r, s]].layers):
                by_t, by_a, by_c = factors[r, s, i]
                thickness[r, s, i] = layer.thickness_m * by_t
                if layer.material is not None:
                    drawn = layer.permittivity(float(self.frequency_ghz[r]))
                    eta[r, s, i] = max(drawn.real * by_a, 1.0) + 1j * drawn.imag * by_c
        return engine.Rooms(self.origin, self.u, self.v, eta, thickness, self.frequency_ghz)


def truths(n_rooms: int, n_points: int, seed: int) -> Truths:
    """Random rooms, a third of each kind; the same for the same seed."""
    rng = np.random.default_rng(seed)
    rows = [(_office, _washroom, _stairwell)[index % 3](rng, n_points) for index in range(n_rooms)]
    sheets = np.array([[(*sheet[:3],) for sheet in _padded(row[0])] for row in rows], float)
    made = np.array([[sheet[3] for sheet in _padded(row[0])] for row in rows])
    return Truths(
        sheets[:, :, 0], sheets[:, :, 1], sheets[:, :, 2], made,
        np.array([row[1] for row in rows]), np.array([row[2] for row in rows]),
        rng.choice([5.8, 24.125], n_rooms), np.array(["office", "washroom", "stairwell"] * n_rooms)[:n_rooms],
    )  # fmt: skip


def _padded(sheets):  # type: ignore[no-untyped-def]
    return [*sheets, *[(*_NOWHERE, "")] * (N_SHEETS - len(sheets))]


def _shell(rng, x, y, height):  # type: ignore[no-untyped-def]
    one, other = rng.choice(WALLS, 2)
    up = (0, 0, height)
    return [
        ((0, 0, 0), (x, 0, 0), up, one), ((0, y, 0), (x, 0, 0), up, one),
        ((0, 0, 0), (0, y, 0), up, other), ((x, 0, 0), (0, y, 0), up, other),
    ]  # fmt: skip


def _office(rng, n):  # type: ignore[no-untyped-def]
    """A room with a partition across and another from it to a wall, some of them not up to the ceiling."""
    x, y, height = rng.uniform(5, 10), rng.uniform(4, 8), rng.uniform(2.5, 3.2)
    at, across = rng.uniform(0.35, 0.65) * x, rng.uniform(0.35, 0.65) * y
    tall = [height if rng.random() < 0.6 else rng.uniform(1.6, 2.1) for _ in range(2)]
    sheets = _shell(rng, x, y, height)
    sheets.append(((at, 0, 0), (0, y * rng.choice([1.0, 0.7]), 0), (0, 0, tall[0]), rng.choice(SCREENS)))
    sheets.append(((at, across, 0), (x - at, 0, 0), (0, 0, tall[1]), rng.choice(SCREENS)))
    unit = np.array([rng.uniform(0.4, at - 0.4), rng.uniform(0.4, y - 0.4), height - 0.05])
    points = rng.uniform([0.3, 0.3, 0.05], [x - 0.3, y - 0.3, 1.6], (n, 3))
    return sheets, unit, points


def _washroom(rng, n):  # type: ignore[no-untyped-def]
    """A row of cubicles along a wall: panels and fronts 0.1 m clear of the floor, doors closed; points in them too."""
    count = 3
    width, deep, high = rng.uniform(0.85, 1.0), rng.uniform(1.5, 1.7), rng.uniform(1.85, 1.95)
    x, y, height = count * width + rng.uniform(0.5, 2.5), deep + rng.uniform(1.5, 3), rng.uniform(2.4, 2.9)
    board = rng.choice(["laminate-13", "chipboard-18"])
    sheets = _shell(rng, x, y, height)
    sheets += [((k * width, 0, 0.1), (0, deep, 0), (0, 0, high), board) for k in range(1, count + 1)]
    sheets.append(((0, deep, 0.1), (count * width, 0, 0), (0, 0, high), board))
    unit = np.array([rng.uniform(0.3, x - 0.3), rng.uniform(deep + 0.3, y - 0.3), height - 0.05])
    points = rng.uniform([0.2, 0.2, 0.05], [x - 0.2, y - 0.2, 1.6], (n, 3))
    cubicles = rng.random(n) < 0.6
    points[cubicles, :2] = rng.uniform([0.1, 0.1], [count * width - 0.1, deep - 0.1], (n, 2))[cubicles]
    return sheets, unit, points


def _stairwell(rng, n):  # type: ignore[no-untyped-def]
    """Two storeys: landing, two flights and a half landing as slabs that mirror and are crossed; the unit above."""
    x, run, landing, storey = rng.uniform(2.2, 3), rng.uniform(2.2, 3.2), rng.uniform(1.2, 1.5), rng.uniform(2.7, 3.2)
    y, wide = run + 2 * landing, x / 2 - 0.1
    slab = rng.choice(["concrete-150", "concrete-200", "door-wood-40"])
    sheets = [
        *_shell(rng, x, y, 2 * storey),
        ((0, 0, storey), (x, 0, 0), (0, landing, 0), slab),
        ((0, y - landing, storey / 2), (x, 0, 0), (0, landing, 0), slab),
        ((0, landing, 0), (wide, 0, 0), (0, run, storey / 2), slab),
        ((x - wide, landing, storey), (wide, 0, 0), (0, run, -storey / 2), slab),
    ]
    unit = np.array([rng.uniform(0.4, x - 0.4), rng.uniform(0.2, landing), 2 * storey - 0.1])
    points = rng.uniform([0.15, 0.15, 0.05], [x - 0.15, y - 0.15, 1.5 * storey], (n, 3))
    return sheets, unit, points

"""An independent engine for radio truths: flat sheets, coherent slabs, polarisation carried along, several reflections.

It shares no line with the package. Slabs by the Airy recursion (the package multiplies characteristic matrices), images
by enumeration, fields as vectors: at every crossing and every mirror the field is split into its part across the
plane of incidence (TE) and its part in it (TM), each with its own complex coefficient. Sheets are parallelograms.
Everything runs over many rooms at once: R rooms of S sheets, N points each.

Sources: Airy's sum for a plane layer and Fresnel's coefficients (any optics textbook) [M]; P.2040 rows where a test
names them.
Diffraction at edges and scattering by rough faces are not in it.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]
C0, EPS0 = 299_792_458.0, 8.8541878128e-12
CLEAR = 1e-9


@dataclass(frozen=True)
class Rooms:
    """Sheets of rooms: `origin`, `u`, `v` (R, S, 3), corner and both edges; layers from the side that u × v points
    away from: `eta` (R, S, L) complex relative permittivity with Im <= 0, `thickness_m` (R, S, L). A sheet that a room
    has not is one without thickness."""

    origin: Floats
    u: Floats
    v: Floats
    eta: Complexes
    thickness_m: Floats
    frequency_ghz: Floats

    @property
    def normal(self) -> Floats:
        n = np.cross(self.u, self.v)
        return n / np.linalg.norm(n, axis=-1, keepdims=True)


@dataclass(frozen=True)
class Ways:
    """Paths, one a row: room, point, number of reflections, mirrors (M, order) −1 none, length [m], one-way `power`
    relative to 1 m of open air (mean over launched polarisations), and the field arriving (M, P, 3) with its phase."""

    room: NDArray[np.int64]
    point: NDArray[np.int64]
    n_reflections: NDArray[np.int64]
    mirrors: NDArray[np.int64]
    length_m: Floats
    first_direction: Floats
    power: Floats
    field: Complexes

    def total(self, shape: tuple[int, int], *, most: int = 99, weight: Floats | float = 1.0) -> Floats:
        """One-way power (R, N), paths of up to `most` reflections added without their phases."""
        total = np.zeros(shape)
        chosen = self.n_reflections <= most
        np.add.at(total, (self.room[chosen], self.point[chosen]), (self.power * weight)[chosen])
        return total

    def coherent_total(self, shape: tuple[int, int]) -> Floats:
        """One-way power (R, N), fields of all paths added with their phases."""
        total = np.zeros((*shape, *self.field.shape[1:]), complex)
        np.add.at(total, (self.room, self.point), self.field)
        return (np.abs(total) ** 2).sum(axis=-1).mean(axis=-1)


def permittivity(relative: float, conductivity: float, frequency_ghz: float) -> complex:
    """ε_r − jσ/(2πf·ε0), σ in S/m."""
    return complex(relative, -conductivity / (2 * np.pi * frequency_ghz * 1e9 * EPS0))


def slab(
    eta: Complexes, thickness_m: Floats, cos: Floats, frequency_ghz: Floats
) -> tuple[Complexes, Complexes, Complexes, Complexes]:
    """(T_te, T_tm, R_te, R_tm) of layers (..., L) in air at cosines (...). R_tm is that of the tangential field."""
    k0 = 2 * np.pi * frequency_ghz * 1e9 / C0
    cos = np.clip(cos, 1e-9, 1)
    inside = np.sqrt(eta - (1 - cos**2)[..., None] + 0j)
    inside = np.where(inside.imag > 0, -inside, inside)
    turned = np.exp(-1j * k0[..., None] * thickness_m * inside)
    results: list[Complexes] = []
    for admittance, air in ((inside, cos), (eta / inside, 1 / cos)):
        y = np.concatenate([(air + 0j)[..., None], admittance, (air + 0j)[..., None]], axis=-1)
        step = (y[..., :-1] - y[..., 1:]) / (y[..., :-1] + y[..., 1:])
        reflected, passed = step[..., -1], 1 + step[..., -1]
        for i in range(eta.shape[-1] - 1, -1, -1):
            e = turned[..., i]
            many = 1 + step[..., i] * reflected * e * e
            passed = (1 + step[..., i]) * e * passed / many
            reflected = (step[..., i] + reflected * e * e) / many
        results += [passed, reflected]
    t_te, r_te, t_tm, r_tm = results
    return t_te, t_tm, r_te, r_tm


def trace(
    rooms: Rooms,
    source: Floats,
    points: Floats,
    *,
    order: int,
    polarisation: Floats | None = None,
    forbidden: frozenset[int] = frozenset(),
) -> Ways:
    """All paths of up to `order` reflections from `source` (R, 3) to `points` (R, N, 3).

    `polarisation` (R, 3): the field is launched along it, less its part along the way, at full strength; without one,
    two launches across each other are averaged. `forbidden`: sheets that never mirror (they are still crossed).
    """
    n_rooms, n_points = points.shape[:2]
    n_sheets = rooms.origin.shape[1]
    room, point = (a.ravel() for a in np.meshgrid(np.arange(n_rooms), np.arange(n_points), indexing="ij"))
    mirrors = [s for s in range(n_sheets) if s not in forbidden]
    found = []
    for n in range(order + 1):
        sequences = [q for q in itertools.product(mirrors, repeat=n) if all(a != b for a, b in itertools.pairwise(q))]
        for some in np.array_split(
            np.array(sequences, int).reshape(len(sequences), n), max(1, len(sequences) * len(room) // 400_000)
        ):
            if len(some):
                found.append(_of_sequences(rooms, source, points, room, point, some, order, polarisation))
    return Ways(*(np.concatenate(parts) for parts in zip(*found, strict=True)))


def _of_sequences(rooms, source, points, room, point, sequences, order, polarisation):  # type: ignore[no-untyped-def]
    n = sequences.shape[1]
    row_room, row_point = np.tile(room, len(sequences)), np.tile(point, len(sequences))
    sequence = np.repeat(sequences, len(room), axis=0)
    normal = rooms.normal
    images = [source[row_room]]
    for i in range(n):
        at, through = rooms.origin[row_room, sequence[:, i]], normal[row_room, sequence[:, i]]
        off = np.einsum("ij,ij->i", images[-1] - at, through)
        images.append(images[-1] - 2 * off[:, None] * through)
    valid = np.ones(len(row_room), bool)
    corners = [points[row_room, row_point]]  # from the point back to the source
    for i in range(n - 1, -1, -1):
        sheet = sequence[:, i]
        t, inside = _meet(rooms, row_room, sheet, corners[-1], images[i + 1])
        valid &= inside & (t > CLEAR) & (t < 1 - CLEAR)
        corners.append(corners[-1] + np.where(valid, t, 0.5)[:, None] * (images[i + 1] - corners[-1]))
    corners.append(source[row_room])
    corners = [c[valid] for c in reversed(corners)]
    row_room, row_point, sequence = row_room[valid], row_point[valid], sequence[valid]
    length = np.linalg.norm(points[row_room, row_point] - images[-1][valid], axis=1)

    first = _unit(corners[1] - corners[0])
    if polarisation is None:
        one = _unit(np.cross(first, np.where(np.abs(first[:, 2:]) < 0.9, [[0.0, 0, 1]], [[1.0, 0, 0]])))
        launched = np.stack([one, np.cross(first, one)], axis=1)
    else:
        along = polarisation[row_room]
        launched = _unit(along - np.einsum("ij,ij->i", along, first)[:, None] * first)[:, None]
    field = launched.astype(complex)
    for i in range(n + 1):
        way = corners[i + 1] - corners[i]
        direction = _unit(way)
        skip = [sequence[:, j] for j in (i - 1, i) if 0 <= j < n]
        field = _cross(rooms, row_room, corners[i], corners[i + 1], direction, skip, field)
        if i < n:
            field = _mirror(rooms, row_room, sequence[:, i], direction, field)
    phase = np.exp(-2j * np.pi * rooms.frequency_ghz[row_room] * 1e9 / C0 * length) / length
    field = field * phase[:, None, None]
    power = (np.abs(field) ** 2).sum(axis=-1).mean(axis=-1)
    padded = np.full((len(row_room), max(order, 1)), -1)
    padded[:, :n] = sequence
    return row_room, row_point, np.full(len(row_room), n), padded, length, first, power, field


def _unit(vectors: Floats) -> Floats:
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-300)


def _meet(rooms, room, sheet, start, end):  # type: ignore[no-untyped-def]
    """Where (share of the way) a line meets a sheet's plane, and whether within the sheet."""
    o, u, v = rooms.origin[room, sheet], rooms.u[room, sheet], rooms.v[room, sheet]
    n = np.cross(u, v)
    way = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.einsum("ij,ij->i", o - start, n) / np.einsum("ij,ij->i", way, n)
        at = start + t[:, None] * way - o
        square = np.einsum("ij,ij->i", n, n)
        a = np.einsum("ij,ij->i", np.cross(at, v), n) / square
        b = np.einsum("ij,ij->i", np.cross(u, at), n) / square
    return t, (a >= 0) & (a <= 1) & (b >= 0) & (b <= 1)


def _cross(rooms, room, start, end, direction, skip, field):  # type: ignore[no-untyped-def]
    """The field after all sheets between two points, in the order in which they are met."""
    n_sheets = rooms.origin.shape[1]
    shares = np.full((len(room), n_sheets), np.inf)
    for s in range(n_sheets):
        t, inside = _meet(rooms, room, np.full(len(room), s), start, end)
        met = inside & (t > CLEAR) & (t < 1 - CLEAR)
        for index in skip:
            met &= index != s
        shares[met, s] = t[met]
    order = np.argsort(shares, axis=1)
    for rank in range(n_sheets):
        sheet = order[:, rank]
        rows = np.flatnonzero(np.isfinite(shares[np.arange(len(room)), sheet]))
        if not len(rows):
            break
        te, tm, cos, _ = _bases(rooms, room[rows], sheet[rows], direction[rows])
        t_te, t_tm, _, _ = slab(*_layers(rooms, room[rows], sheet[rows]), cos, rooms.frequency_ghz[room[rows]])
        field[rows] = _project(field[rows], te, te, t_te) + _project(field[rows], tm, tm, t_tm)
    return field


def _mirror(rooms, room, sheet, direction, field):  # type: ignore[no-untyped-def]
    te, tm, cos, along = _bases(rooms, room, sheet, direction)
    normal = rooms.normal[room, sheet]
    back = direction - 2 * np.einsum("ij,ij->i", direction, normal)[:, None] * normal
    _, _, r_te, r_tm = slab(*_layers(rooms, room, sheet, reverse=along < 0), cos, rooms.frequency_ghz[room])
    # R_tm holds for the tangential field; across the reflected way the same sense of turning has it reversed.
    return _project(field, te, te, r_te) + _project(field, tm, np.cross(back, te), -r_tm)


def _bases(rooms, room, sheet, direction):  # type: ignore[no-untyped-def]
    normal = rooms.normal[room, sheet]
    along = np.einsum("ij,ij->i", direction, normal)
    te = np.cross(direction, normal)
    size = np.linalg.norm(te, axis=1, keepdims=True)
    side = _unit(np.cross(direction, np.where(np.abs(direction[:, 2:]) < 0.9, [[0.0, 0, 1]], [[1.0, 0, 0]])))
    te = np.where(size > 1e-9, te / np.maximum(size, 1e-300), side)
    return te, np.cross(direction, te), np.abs(along), along


def _project(field, onto, then, coefficient):  # type: ignore[no-untyped-def]
    part = np.einsum("ipj,ij->ip", field, onto) * coefficient[:, None]
    return part[..., None] * then[:, None, :]


def _layers(rooms, room, sheet, reverse=None):  # type: ignore[no-untyped-def]
    eta, thickness = rooms.eta[room, sheet], rooms.thickness_m[room, sheet]
    if reverse is None:
        return eta, thickness
    turn = reverse[:, None]
    return np.where(turn, eta[:, ::-1], eta), np.where(turn, thickness[:, ::-1], thickness)


def one_room(sheets: list[tuple[Floats, Floats, Floats, list[tuple[complex, float]]]], frequency_ghz: float) -> Rooms:
    """A room from (corner, edge, edge, [(permittivity, thickness m), …]) of each sheet."""
    most = max((len(layers) for *_, layers in sheets), default=1)
    eta = np.ones((1, len(sheets), most), complex)
    thickness = np.zeros((1, len(sheets), most))
    for s, (*_, layers) in enumerate(sheets):
        for i, (permitted, thick) in enumerate(layers):
            eta[0, s, i], thickness[0, s, i] = permitted, thick
    corner, u, v = (np.array([[np.asarray(sheet[i], float) for sheet in sheets]]).reshape(1, -1, 3) for i in range(3))
    return Rooms(corner, u, v, eta, thickness, np.array([frequency_ghz]))

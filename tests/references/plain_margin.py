"""The detection margin written a second time: one unit, one point, plain float64, nothing of raycover imported.

Written from the project's statement of its physics alone, for `test_plain_margin.py` to hold raycover to. Slow on
purpose: every ray meets every part by analytic geometry, every sheet is evaluated at its own angle. Rays whose answer
hangs on a millimetre (edges, joints, ends beside a face) raise `Doubtful`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import Any

import numpy as np
from scipy.constants import Boltzmann, Planck, epsilon_0, speed_of_light
from scipy.integrate import quad

Vector = np.ndarray
#: Crossings nearer to each other than this (m) count once; rays start and end this clear of what they touch.
NEAR = 1e-3

# ITU-R P.2040, edition 3/4 rows: relative permittivity a, conductivity c·f^d S/m with f in GHz (b = 0 in all of them).
ROWS = {
    "concrete": (5.24, 0.0462, 0.7822), "brick": (3.91, 0.0238, 0.16), "plasterboard": (2.73, 0.0085, 0.9395),
    "wood": (1.99, 0.0047, 1.0718), "glass": (6.31, 0.0036, 1.3394), "ceiling board": (1.48, 0.0011, 1.0750),
    "chipboard": (2.58, 0.0217, 0.78), "plywood": (2.71, 0.33, 0.0),
}  # fmt: skip
#: Layers (material or None for air, mm).
LAYERS: dict[str, list[tuple[str | None, float]]] = {
    "plasterboard-12.5": [("plasterboard", 12.5)], "chipboard-18": [("chipboard", 18)], "glass-6": [("glass", 6)],
    "plywood-18": [("plywood", 18)], "brick-100": [("brick", 100)], "concrete-150": [("concrete", 150)],
    "door-wood-40": [("wood", 40)], "ceiling-tile-15": [("ceiling board", 15)],
    "stud-wall-100": [("plasterboard", 12.5), (None, 75), ("plasterboard", 12.5)],
    "double-glazing-6-16-6": [("glass", 6), (None, 16), ("glass", 6)],
}  # fmt: skip
OPAQUE = {"steel-panel", "steel-door"}
OPEN = {"wire-mesh-50", "none"}
#: Nodes of the mean over thicknesses, by number of layers.
NODES = {n: np.polynomial.legendre.leggauss(size) for n, size in {1: 120, 3: 22}.items()}


class Doubtful(Exception):
    """Within a millimetre of an edge, a joint or a face: rounding decides."""


# --- What passes and what is mirrored


def permittivity(material: str | None, ghz: float) -> complex:
    """η = ε_r − jσ/(2πf ε0), ITU-R P.2040 §3."""
    if material is None:
        return 1.0 + 0j
    a, c, d = ROWS[material]
    return a - 1j * c * ghz**d / (2 * math.pi * ghz * 1e9 * epsilon_0)


def coherent(layers: list[tuple[str | None, float]], ghz: float, cosine: float, factors: list[Any]) -> tuple[Any, Any]:
    """Mean over TE and TM of |T|² and |R|² by characteristic matrices (Born & Wolf, Principles of Optics, §1.6)."""
    wavenumber = 2 * math.pi * ghz * 1e9 / speed_of_light
    passed: Any = 0.0
    mirrored: Any = 0.0
    for transverse_electric in (True, False):
        outside = cosine if transverse_electric else 1 / cosine
        a, b, c, d = 1.0, 0.0, 0.0, 1.0
        for (material, mm), factor in zip(layers, factors, strict=True):
            eta = permittivity(material, ghz)
            root = np.sqrt(eta - (1 - cosine * cosine))
            root = -root if root.imag > 0 else root
            phase = wavenumber * mm * 1e-3 * factor * root
            admittance = root if transverse_electric else eta / root
            cos, sin = np.cos(phase), 1j * np.sin(phase)
            a, b = a * cos + b * admittance * sin, a * sin / admittance + b * cos
            c, d = c * cos + d * admittance * sin, c * sin / admittance + d * cos
        below = a * outside + b * outside**2 + c + d * outside
        passed = passed + abs(2 * outside / below) ** 2 / 2
        mirrored = mirrored + abs((a * outside + b * outside**2 - c - d * outside) / below) ** 2 / 2
    return passed, mirrored


@lru_cache(maxsize=100_000)
def powers(name: str, ghz: float, cosine: float, losses: str) -> tuple[float, float]:
    """Shares of power that a sheet passes and mirrors: coherent, or the mean over ±10 % of every thickness."""
    if name in OPAQUE:
        return 0.0, 1.0
    if name in OPEN:
        return 1.0, 0.0
    layers = LAYERS[name]
    n = len(layers)
    if losses == "coherent":
        passed, mirrored = coherent(layers, ghz, cosine, [1.0] * n)
        return float(passed), float(mirrored)
    nodes, weights = NODES[n]
    factors = np.meshgrid(*[1 + 0.1 * nodes] * n, indexing="ij")
    weight: Any = 1.0
    for grid in np.meshgrid(*[weights / 2] * n, indexing="ij"):
        weight = weight * grid
    passed, mirrored = coherent(layers, ghz, cosine, factors)
    return float((passed * weight).sum()), float((mirrored * weight).sum())


def bulk_db_per_m(material: str, ghz: float) -> float:
    """Attenuation of a plane wave within a medium, 20·log10(e)·k0·|Im √η|; the catalogue's stated rate of goods."""
    if material in ("metal", "goods"):
        return {"metal": math.inf, "goods": 12.0}[material]
    root = np.sqrt(permittivity({"timber": "wood"}.get(material, material), ghz))
    return float(20 * math.log10(math.e) * 2 * math.pi * ghz * 1e9 / speed_of_light * abs(root.imag))


# --- Heat


@lru_cache
def radiance(celsius: float) -> float:
    """W/m²/sr of a black body within 8–14 µm: Planck's law, CODATA constants."""
    kelvin = celsius + 273.15

    def spectral(wavelength: float) -> float:
        exponent = Planck * speed_of_light / (wavelength * Boltzmann * kelvin)
        return 2 * Planck * speed_of_light**2 / wavelength**5 / math.expm1(exponent)

    return float(quad(spectral, 8e-6, 14e-6, epsrel=1e-10)[0])


@lru_cache
def contrast_db(ambient_c: float) -> float:
    """20·log10|k| of a clothed person (0.7 clo; ISO 7730 insulation) relative to 20 °C."""

    def signal(air: float) -> float:
        skin = 33.5 + 0.13 * (air - 22)
        boundary, clothing = 1 / 11.7, 0.155 * 0.7
        surface = air + (skin - air) * boundary / (clothing + boundary)
        body = 0.85 * 0.95 * (radiance(surface) - radiance(air))
        return body + 0.15 * 0.98 * (radiance(skin) - radiance(air))

    return 20 * math.log10(abs(signal(ambient_c) / signal(20.0)))


# --- Geometry

Ring = list[tuple[float, float]]


def inside(ring: Ring, a: float, b: float) -> bool:
    """Even-odd rule."""
    odd = False
    for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True):
        if (y0 > b) != (y1 > b) and a < x0 + (b - y0) * (x1 - x0) / (y1 - y0):
            odd = not odd
    return odd


def from_edge(ring: Ring, a: float, b: float) -> float:
    """Distance from the nearest edge."""
    best = math.inf
    for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True):
        dx, dy = x1 - x0, y1 - y0
        share = max(0.0, min(1.0, ((a - x0) * dx + (b - y0) * dy) / (dx * dx + dy * dy)))
        best = min(best, math.hypot(a - x0 - share * dx, b - y0 - share * dy))
    return best


def ring_area(ring: Ring) -> float:
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(ring, ring[1:] + ring[:1], strict=True))) / 2


class Sheet:
    """A flat part: a ring with holes in the plane through `origin` along unit vectors `u`, `v`."""

    def __init__(self, name: str, made_of: str, corners: Any, holes: list[Ring] | None = None) -> None:
        corners = np.asarray(corners, float)
        self.name, self.made_of, self.holes = name, made_of, holes or []
        self.origin = corners[0]
        self.u = (corners[1] - corners[0]) / np.linalg.norm(corners[1] - corners[0])
        normal = sum(np.cross(corners[i] - corners[0], corners[i + 1] - corners[0]) for i in range(1, len(corners) - 1))
        self.normal = normal / np.linalg.norm(normal)
        self.v = np.cross(self.normal, self.u)
        self.ring = [self.flat(corner) for corner in corners]

    def flat(self, point: Vector) -> tuple[float, float]:
        return float((point - self.origin) @ self.u), float((point - self.origin) @ self.v)

    def off(self, point: Vector) -> float:
        return float((point - self.origin) @ self.normal)

    def has(self, point: Vector) -> bool:
        at = self.flat(point)
        return inside(self.ring, *at) and not any(inside(hole, *at) for hole in self.holes)

    def from_edge(self, point: Vector) -> float:
        return min(from_edge(ring, *self.flat(point)) for ring in [self.ring, *self.holes])

    @property
    def shorter_side(self) -> float:
        spans = np.ptp(np.array(self.ring), axis=0)
        return float((ring_area(self.ring) - sum(map(ring_area, self.holes))) / spans.max())


class Box:
    """A turned box of a material."""

    def __init__(self, spec: dict[str, Any], floor: float) -> None:
        turn, size = math.radians(spec.get("turn_deg", 0)), np.array(spec["size"], float)
        self.centre = np.array([*spec["centre"], floor + spec.get("base", 0) + size[2] / 2])
        self.half, self.material = size / 2, spec["material"]
        self.axes = np.array(
            [[math.cos(turn), math.sin(turn), 0], [-math.sin(turn), math.cos(turn), 0], [0, 0, 1]], float
        )

    def holds(self, point: Vector, clear: float = 0.0) -> bool:
        return bool((abs(self.axes @ (point - self.centre)) <= self.half + clear).all())

    def chord(self, start: Vector, end: Vector, grown: float = 0.0) -> float:
        """Length (m) of a segment within it, by slabs (Kay & Kajiya 1986)."""
        first, last = self.axes @ (start - self.centre), self.axes @ (end - self.centre)
        low, high = 0.0, 1.0
        for at, to, half in zip(first, last, self.half + grown, strict=True):
            if at == to:
                if abs(at) > half:
                    return 0.0
                continue
            one, two = sorted(((-half - at) / (to - at), (half - at) / (to - at)))
            low, high = max(low, one), min(high, two)
        return max(high - low, 0.0) * float(np.linalg.norm(end - start))

    def loss_db(self, start: Vector, end: Vector, ghz: float | None) -> float:
        if (self.chord(start, end, NEAR) > 0) != (self.chord(start, end, -NEAR) > 0):
            raise Doubtful
        chord = self.chord(start, end)
        return 0.0 if chord == 0 else math.inf if ghz is None else chord * bulk_db_per_m(self.material, ghz)

    def sides(self) -> Iterator[Sheet]:
        for axis in range(3):
            i, j = (axis + 1) % 3, (axis + 2) % 3
            for sign in (-1, 1):
                middle = self.centre + sign * self.half[axis] * self.axes[axis]
                across, up = self.half[i] * self.axes[i], self.half[j] * self.axes[j]
                signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
                yield Sheet("side", "steel-panel", [middle + a * across + b * up for a, b in signs])


class Building:
    """The parts of a scene's data: rooms (flat ceilings), partitions, free sheets, boxes."""

    def __init__(self, scene: dict[str, Any]) -> None:
        self.rooms = scene.get("rooms", [])
        self.sheets: list[Sheet] = []
        for room in self.rooms:
            floor, top, outline = room.get("floor", 0.0), room.get("floor", 0.0) + room["height"], room["outline"]
            for edge, made_of in enumerate(room["walls"]):
                line = outline[edge], outline[(edge + 1) % len(outline)]
                openings = [o for o in room.get("openings", []) if o["edge"] == edge]
                self._upright(f"{room['name']}/wall {edge}", line, (floor, top), floor, made_of, openings)
            for key, level in (("floor_construction", floor), ("ceiling", top)):
                if key in room:
                    self._add(f"{room['name']}/slab", room[key], [[*corner, level] for corner in outline])
            if "suspended_ceiling" in room:
                level = floor + room["suspended_ceiling"]["height"]
                self._add(f"{room['name']}/slab", "ceiling-tile-15", [[*corner, level] for corner in outline])
        for part in scene.get("partitions", []):
            floor = self.floor_at(part["line"][0])
            low = floor + part.get("base", 0.0)
            line = part["line"][0], part["line"][1]
            spans = low, low + part["height"]
            self._upright(part["name"], line, spans, floor, part["construction"], part.get("openings", []))
        for part in scene.get("sheets", []):
            self._add(part["name"], part["construction"], part["corners"])
        self.boxes = [Box(part, self.floor_at(part["centre"])) for part in scene.get("solids", [])]
        self.sides = [side for box in self.boxes if box.material == "metal" for side in box.sides()]

    def _add(self, name: str, made_of: str, corners: Any, holes: list[Ring] | None = None) -> None:
        if made_of not in OPEN:
            self.sheets.append(Sheet(name, made_of, corners, holes))

    def _upright(
        self, name: str, line: Any, levels: tuple[float, float], floor: float, made_of: str, openings: list[Any]
    ) -> None:
        start, end = np.array(line, float)
        along = (end - start) / np.linalg.norm(end - start)
        low, high = levels
        holes = []
        for opening in openings:
            left, right = opening["at"], opening["at"] + opening["width"]
            sill = floor + opening.get("sill", 0.0)
            top = sill + opening["height"]
            holes.append([(left, sill - low), (right, sill - low), (right, top - low), (left, top - low)])
            if opening["state"] == "closed":
                a, b = start + left * along, start + right * along
                self._add(f"{name}/fill", opening["fill"], [[*a, sill], [*b, sill], [*b, top], [*a, top]])
        self._add(name, made_of, [[*start, low], [*end, low], [*end, high], [*start, high]], holes)

    def room_at(self, place: Any) -> dict[str, Any] | None:
        return next((r for r in self.rooms if inside([tuple(c) for c in r["outline"]], place[0], place[1])), None)

    def floor_at(self, place: Any) -> float:
        room = self.room_at(place)
        return 0.0 if room is None else float(room.get("floor", 0.0))

    def loss_db(
        self, start: Vector, end: Vector, ghz: float | None, losses: str, without: tuple[Sheet, ...] = ()
    ) -> float:
        """One-way loss of all that stands between; infrared (no frequency): 0 or infinite."""
        length = float(np.linalg.norm(end - start))
        met = []
        for sheet in self.sheets:
            if any(sheet is other for other in without):
                continue
            here, there = sheet.off(start), sheet.off(end)
            if here * there > 0:
                nearer = start if abs(here) < abs(there) else end
                if min(abs(here), abs(there)) < 2 * NEAR and (sheet.has(nearer) or sheet.from_edge(nearer) < 3 * NEAR):
                    raise Doubtful
                continue
            if here == 0 or there == 0:
                continue
            share = here / (here - there)
            point = start + share * (end - start)
            cosine = abs(here - there) / length
            if sheet.from_edge(point) < NEAR / max(cosine, 0.02):
                raise Doubtful
            if sheet.has(point):
                if min(abs(here), abs(there)) < 1.5 * NEAR:
                    raise Doubtful
                passed = powers(sheet.made_of, ghz, round(cosine, 12), losses)[0] if ghz is not None else 0.0
                met.append((share * length, -10 * math.log10(passed) if passed > 0 else math.inf))
        met.sort()
        total, last = 0.0, -math.inf
        for index, (at, loss) in enumerate(met):
            # Crossings within the tolerance of each other count once, the lossiest of them.
            if NEAR / 2 < at - last < 2 * NEAR:
                raise Doubtful
            total += loss - (min(loss, met[index - 1][1]) if at - last <= NEAR / 2 and loss < math.inf else 0.0)
            last = at
        return total + sum(box.loss_db(start, end, ghz) for box in self.boxes)


# --- Footprint and margin


def polar_radius(shape: dict[str, Any], phi: Any) -> Any:
    """Radius (m) of a declared shape at azimuths."""
    ((kind, spec),) = shape.items()
    cos, sin = np.abs(np.cos(phi)), np.abs(np.sin(phi))
    if kind == "circle":
        return np.full_like(cos, spec["diameter"] / 2)
    if kind == "sector":
        off = np.abs((phi + math.pi) % math.tau - math.pi)
        return np.where(off <= math.radians(spec["spread_deg"]) / 2, spec["reach"], 0.0)
    length, width = spec["length"] / 2, spec["width"] / 2
    if kind == "ellipse":
        return length * width / np.hypot(width * cos, length * sin)
    return np.minimum(length / np.maximum(cos, 1e-12), width / np.maximum(sin, 1e-12))


class Footprint:
    """What a motion's declarations say at a mounting height: radius linear between the declared heights, the nearest
    one's angles and slant ranges beyond them."""

    def __init__(self, declared: list[dict[str, Any]], motion: str, mounting: float) -> None:
        self.rows = sorted((d["mounting"], d["plane"], d["shape"]) for d in declared if d["motion"] == motion)
        self.motion = motion
        heights = [row[0] for row in self.rows]
        self.held = min(max(mounting, heights[0]), heights[-1])
        self.drop = self.held - float(np.interp(self.held, heights, [row[1] for row in self.rows]))
        self.weights = [np.interp(self.held, heights, np.eye(len(heights))[k]) for k in range(len(heights))]
        self.mean_log = float(
            np.mean(np.log(np.hypot(self.radius((np.arange(36_000) + 0.5) * math.tau / 36_000), self.drop)))
        )

    def radius(self, phi: Any) -> Any:
        """Of the edge (m), `drop` below the unit."""
        return sum(weight * polar_radius(row[2], phi) for weight, row in zip(self.weights, self.rows, strict=True))


class Unit:
    """A detector of one technology as the scene's data describe it."""

    def __init__(self, building: Building, spec: dict[str, Any], pattern: dict[str, Any], kind: str) -> None:
        self.spec, self.pattern, self.infrared = spec, pattern, kind == "infrared"
        self.ghz: float | None = None if self.infrared else pattern["frequency_ghz"]
        self.place = np.array([*spec["at"], building.floor_at(spec["at"]) + spec["mounting"]], float)
        turn, tilt = math.radians(spec.get("turn_deg", 0)), math.radians(spec.get("tilt_deg", 0))
        about_z = np.array([[math.cos(turn), -math.sin(turn), 0], [math.sin(turn), math.cos(turn), 0], [0, 0, 1]])
        about_y = np.array([[math.cos(tilt), 0, -math.sin(tilt)], [0, 1, 0], [math.sin(tilt), 0, math.cos(tilt)]])
        self.axes = about_z @ about_y
        motions = {d["motion"] for d in pattern["declared"]}
        self.footprints = [Footprint(pattern["declared"], motion, spec["mounting"]) for motion in sorted(motions)]
        self.masks = [m for m in spec.get("masks", []) if m.get("half", kind) == kind]
        own = "microwave_pct" if kind == "microwave" and "microwave_pct" in spec else "sensitivity_pct"
        self.setting_db = 40 * math.log10(spec.get(own, 100) / 100)

    def open_db(self, way: Vector, length: float, motion: str, ambient_c: float, target_m2: float | None) -> float:
        """Margin along a direction with nothing in the way: distance, lens edge, heat, body, setting, masks.

        Air of 10 °C and more: in colder air people dress for it, which is not said here.
        """
        x, y, z = self.axes.T @ way / np.linalg.norm(way)
        off_axis, phi = math.atan2(math.hypot(x, y), -z), math.atan2(y, x)
        best = -math.inf
        for footprint in self.footprints:
            if motion not in ("any", footprint.motion):
                continue
            radius, drop = float(footprint.radius(phi)), footprint.drop
            if self.infrared and (z >= 0 or math.hypot(x, y) / -z > radius / drop):
                continue
            slant = math.hypot(radius, drop)
            weight = min((math.sin(off_axis) * slant / radius) ** 2, 1.0) if radius else 1.0
            reach = (1 - weight) * footprint.mean_log + weight * math.log(slant)
            margin = 40 * (reach - math.log(length)) / math.log(10)
            if target_m2 is not None and not self.infrared:
                # 0.73 m² is the walker of a walking declaration, 0.03 m² what somebody seated moves; more of a body
                # does not make small movements larger.
                seated = footprint.motion == "presence"
                margin += min(10 * math.log10(target_m2 / 0.03), 0) if seated else 10 * math.log10(target_m2 / 0.73)
            best = max(best, margin)
        if not self.infrared and z > 0:
            behind = self.pattern.get("reach_behind", 0)
            best += 40 * math.log10(behind) if behind else -math.inf
        for mask in self.masks:
            width = (mask["to_deg"] - mask["from_deg"]) % 360
            within = mask.get("off_axis_from_deg", 0) <= math.degrees(off_axis) <= mask.get("off_axis_to_deg", 180)
            if within and (math.degrees(phi) - mask["from_deg"]) % 360 <= width:
                best -= 2 * mask.get("loss_db", math.inf)
        return best + self.setting_db + (contrast_db(ambient_c) if self.infrared else 0.0)


def hung_on(building: Building, unit: Unit, towards: Vector) -> tuple[tuple[Sheet, ...], Vector]:
    """Sheets that a unit hangs on, and where its ray starts: 1 mm before an upright one, under a level one."""
    start, sheets = unit.place.copy(), []
    for sheet in building.sheets:
        if abs(sheet.off(unit.place)) < 1e-9 and sheet.has(unit.place):
            level = abs(sheet.normal[2]) > 0.1
            side = -math.copysign(1, sheet.normal[2]) if level else math.copysign(1, sheet.off(towards))
            above = level and sheet.off(towards) * side < 0
            start = start + (2 if above else 1) * NEAR * side * sheet.normal
            if not above:
                sheets.append(sheet)
    return tuple(sheets), start


def one_technology_db(
    building: Building,
    unit: Unit,
    point: Vector,
    motion: str,
    scene: dict[str, Any],
    target_m2: float | None,
    lift: float,
) -> float:
    """Margin of all ways together. `lift` (m) raises a target that stands on a floor off it, for casting."""
    conditions = scene["conditions"]
    losses = conditions["losses"]
    around = building.room_at(point)  # whose air somebody there is dressed for and seen against
    if around is not None and not 0 <= point[2] - around.get("floor", 0.0) <= around["height"]:
        around = None
    ambient_c = conditions["ambient_c"] if around is None else around.get("ambient_c", conditions["ambient_c"])

    def open_db(way: Vector, length: float) -> float:
        return unit.open_db(way, length, motion, ambient_c, target_m2)

    margin = open_db(point - unit.place, float(np.linalg.norm(point - unit.place)))
    point = point + np.array([0, 0, lift])
    hung, start = hung_on(building, unit, point)
    if margin > -math.inf:
        margin -= 2 * building.loss_db(start, point, unit.ghz, losses, hung)
    if not conditions["reflections"] or unit.ghz is None:
        return margin
    room = building.room_at(unit.place)
    own = [sheet for sheet in building.sheets if room is not None and sheet.name == f"{room['name']}/slab"]
    # The unit's own floor and ceiling, and what continues them: slabs on their levels.
    levels = {round(float(sheet.origin[2]), 6) for sheet in own}
    if room is not None:
        levels |= {room.get("floor", 0.0), round(room.get("floor", 0.0) + room["height"], 6)}
    ways, met = [margin], []
    for mirror in [*building.sheets, *building.sides]:
        here, there = mirror.off(unit.place), mirror.off(point)
        slab = mirror.name.endswith("/slab") and round(float(mirror.origin[2]), 6) in levels
        if slab or here * there <= 0 or min(abs(here), abs(there)) < 2 * NEAR:
            continue
        image = unit.place - 2 * here * mirror.normal
        hit = image + here / (here + there) * (point - image)
        if mirror.from_edge(hit) < 2 * NEAR:
            raise Doubtful
        # Large enough to mirror: as wide as the first Fresnel zone between legs of 3 m, 2·√(λ·3·3/6).
        if not mirror.has(hit) or mirror.shorter_side < 2 * math.sqrt(speed_of_light / unit.ghz / 1e9 * 1.5):
            continue
        length = float(np.linalg.norm(point - image))
        share = powers(mirror.made_of, unit.ghz, round(abs(here + there) / length, 12), losses)[1]
        way = open_db(hit - unit.place, length)
        if way == -math.inf or share == 0 or any(np.linalg.norm(hit - other) < 1e-6 for other in met):
            continue
        near = hit + 1e-6 * math.copysign(1, here) * mirror.normal
        coplanar = tuple(
            s for s in building.sheets if abs(s.off(hit)) < 1e-6 and abs(s.normal @ mirror.normal) > 1 - 1e-9
        )
        hung, start = hung_on(building, unit, near)
        legs = building.loss_db(start, near, unit.ghz, losses, (*coplanar, *hung))
        legs += building.loss_db(near, point, unit.ghz, losses, coplanar)
        way -= 2 * (legs - 10 * math.log10(share))
        met.append(hit)
        # What could add next to nothing is left out: below −40 dB, or 40 dB below the straight way.
        if way >= max(-40, margin - 40):
            ways.append(way)
    total = sum(10 ** (way / 20) for way in ways)
    return 20 * math.log10(total) if total > 0 else -math.inf


class Detector:
    """A detector of the scene's data, a dual one with both its halves."""

    def __init__(self, building: Building, scene: dict[str, Any], spec: dict[str, Any]) -> None:
        pattern = spec["pattern"]
        kinds = ("infrared", "microwave") if pattern["kind"] == "dual" else (pattern["kind"],)
        self.building, self.scene, self.pattern = building, scene, pattern
        self.units = {k: Unit(building, spec, pattern[k] if len(kinds) > 1 else pattern, k) for k in kinds}

    def margin_db(self, point: Any, motion: str, target_m2: float | None = None, lift: float = 0.0) -> float:
        """The margin at a point; of a dual unit what it makes of its halves."""
        place = np.array(point, float)
        margins = {
            kind: one_technology_db(self.building, unit, place, motion, self.scene, target_m2, lift)
            for kind, unit in self.units.items()
        }
        low, high = min(margins.values()), max(margins.values())
        if len(margins) == 1:
            return low
        combine = self.pattern["combine"]
        if combine == "or" or (combine == "trigger-then-hold" and motion == "presence"):
            return high
        return low if combine == "and" or self.pattern["trigger"] == "both" else margins["infrared"]

"""Racking in pictures: what a plan marks in each bay, and what the 3D view draws of decks, pallets and loads."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely
from small_scenes import scene

import raycover
from raycover.building.build import build
from raycover.draw import palette
from raycover.draw.linework import draw_building, draw_racks
from raycover.draw.view3d.cutaway import Cuts
from raycover.draw.view3d.people import stand_people
from raycover.draw.view3d.solids import draw_solids
from raycover.solving.surfaces import make_surfaces

RACK: dict[str, Any] = {"name": "R", "at": [1, 1], "bays": 4, "levels": 3}
SHELVES = {"name": "S", "kind": "shelving", "at": [1, 4], "bays": 4, "levels": 3}
ARMS = {"name": "C", "kind": "cantilever", "at": [1, 6], "bays": 4, "levels": 3}
AREA = shapely.box(0, 0, 20, 12)


class Noted:
    """A drawing that notes what it is asked for, in metres."""

    class projection:
        mm_per_m = 5.0

    def __init__(self) -> None:
        self.drawn: list[tuple[str, str | None, list[np.ndarray]]] = []

    def areas(self, polygons: Any, z: float, *, face: str | None = None, **_: Any) -> None:
        self.drawn.append(("areas", face, list(polygons)))

    def lines(self, lines: Any, color: str, width_pt: float, z: float, **_: Any) -> None:
        self.drawn.append(("lines", color, [np.asarray(line) for line in lines]))

    def cased(self, *_: Any, **__: Any) -> None:
        pass

    def of(self, what: str, colour: str | None) -> list[np.ndarray]:
        return [shape for how, c, shapes in self.drawn if (how, c) == (what, colour) for shape in shapes]


def plan(rack: dict[str, Any]) -> Noted:
    noted = Noted()
    draw_racks(noted, build(scene(racking=[rack])).racks)  # type: ignore[arg-type]
    return noted


def bays(shapes: list[np.ndarray], first: float, pitch: float) -> list[int]:
    """Which bays the middles of shapes lie in, from 1."""
    return sorted({int((s[:, 0].mean() - first) / pitch) + 1 for s in shapes})


@pytest.mark.parametrize("rack", [RACK, SHELVES, ARMS], ids=["pallet", "shelving", "cantilever"])
def test_only_loaded_bays_are_shaded_and_marked(rack: dict[str, Any]) -> None:
    noted = plan({**rack, "loads": [{"level": 2, "bays": [1, 4]}]})
    pitch = {"R": 2.8, "S": 1.0, "C": 1.5}[rack["name"]]
    assert bays(noted.of("areas", palette.GOODS), 1.0, pitch) == [1, 4]
    assert bays(noted.of("lines", palette.THIRD_INK), 1.0, pitch) == [1, 4]
    empty = plan({**rack, "goods": False})
    assert not empty.of("areas", palette.GOODS)
    assert not empty.of("lines", palette.THIRD_INK)


@pytest.mark.parametrize(("rack", "strokes"), [(RACK, 2), (SHELVES, 1), (ARMS, 2)])
def test_each_kind_has_its_mark(rack: dict[str, Any], strokes: int) -> None:
    """A cross a bay over pallets, one stroke over shelves, two lines along long goods and their columns in ink."""
    noted = plan(rack)
    marks = noted.of("lines", palette.THIRD_INK)
    assert len(marks) == 4 * strokes
    level = [bool(np.ptp(mark[:, 1]) < 1e-9) for mark in marks]
    assert all(level) == (rack is ARMS)
    along = [line for line in noted.of("lines", palette.INK) if np.ptp(line[:, 0]) > 3]
    assert len(along) == (1 if rack is ARMS else 0)


def test_the_rear_row_is_marked_where_it_is_loaded_and_backs_onto_the_front_one() -> None:
    noted = plan({**ARMS, "back_to_back": True, "loads": [{"level": 1, "row": "rear", "bays": [1]}]})
    (shaded,) = noted.of("areas", palette.GOODS)
    assert shaded[:, 0].max() < 1 + 1.5 + 0.2
    assert shaded[:, 1].min() == pytest.approx(6 + 1.2)
    spines = [line[:, 1].mean() for line in noted.of("lines", palette.INK) if np.ptp(line[:, 0]) > 3]
    assert spines == pytest.approx([6 + 1.2, 6 + 1.2])


def test_a_plan_shows_the_guards() -> None:
    room = {"name": "h", "outline": [[0, 0], [20, 0], [20, 12], [0, 12]], "height": 6, "walls": "steel-panel"}
    made = scene(rooms=[room], racking=[{**RACK, "end_guards": True, "decks": "wire"}], grid=0.5)
    building = build(made)
    noted = Noted()
    (surface, *_), _ = make_surfaces(made, building)
    draw_building(noted, building, surface)  # type: ignore[arg-type]
    guards = [a for a in noted.of("areas", palette.INK) if isinstance(a, np.ndarray) and a.shape == (4, 2)]
    assert sorted(g[:, 0].mean() for g in guards) == pytest.approx([1 - 0.15, 1 + 11.3 + 0.15])


def drawn(*racks: dict[str, Any], low: bool = False) -> Any:
    return draw_solids(build(scene(racking=list(racks))), AREA, None, Cuts(0.9, 3.0, 1.2, 1.75), low=low)


def tops(body: Any) -> list[float]:
    """Heights of level faces, each once."""
    z = body.triangles[..., 2]
    return sorted({round(float(t), 3) for t in z[np.ptp(z, axis=1) < 1e-9, 0]})


def test_decks_are_plates_or_wires() -> None:
    board = drawn({**RACK, "decks": "chipboard"}).bodies
    assert tops(board["deck"]) == [1.6, 3.2]
    assert "wire" not in board
    wire = drawn({**RACK, "decks": "wire"}).bodies
    assert tops(wire["wire"]) == [1.6, 3.2]
    assert "deck" not in wire
    # see-through: wires cover a small part of the decks
    flat = wire["wire"].triangles
    level = flat[np.ptp(flat[..., 2], axis=1) < 1e-9]
    sides = level[:, 1:, :2] - level[:, :1, :2]
    area = np.abs(sides[:, 0, 0] * sides[:, 1, 1] - sides[:, 0, 1] * sides[:, 1, 0]).sum() / 2
    assert area < 0.2 * 2 * 4 * 2.7 * 1.0
    assert tops(drawn(SHELVES).bodies["deck"]) == [0.1, 0.5, 0.9]


def test_a_cut_rack_shows_whole_loads_on_their_pallets_and_no_deck_above() -> None:
    """Cut at 1.75 m: the lowest loads, 1.33 m high; the pallets of the next level carry nothing, so they go too."""
    bodies = drawn({**RACK, "decks": "chipboard"}, low=True).bodies
    assert tops(bodies["pallet"]) == [0.144]
    assert sorted({h for t in range(3) for h in tops(bodies[f"goods {t}"])}) == [1.33]
    assert tops(bodies["deck"]) == [1.6]
    assert max(tops(bodies["upright"])) == 1.75


def test_people_stand_in_no_rack() -> None:
    """Figures keep off racks however many parts a scene has."""
    room = {"name": "h", "outline": [[0, 0], [20, 0], [20, 12], [0, 12]], "height": 6, "walls": "steel-panel"}
    unit = {"name": "D", "model": "high-bay-infrared-round", "at": [10, 8], "mounting": 6}
    rack = {**RACK, "back_to_back": True, "bays": 6, "goods": False}
    made = scene(rooms=[room], racking=[rack], detectors=[unit], planes=[{"name": "floor", "height": 0}])
    building = build(made)
    standing = stand_people(raycover.solve(made)["floor"], building, np.zeros((0, 2)))
    outline = shapely.box(1, 1, 1 + 6 * 2.8 + 0.1, 1 + 2.45)
    assert standing
    assert not any(outline.contains(shapely.Point(place[:2])) for place, _ in standing)

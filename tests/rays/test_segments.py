"""Where segments start: clear of whatever their unit hangs on, in a building of many boxes."""

from __future__ import annotations

import numpy as np
import pytest

import raycover
from raycover.asking.probe import probe
from raycover.building.build import build
from raycover.building.parts import Building
from raycover.rays.segments import TOLERANCE, Launch, turned
from raycover.solving.coverage import make_units


@pytest.fixture(scope="module")
def store() -> Building:
    """Racks in three directions and one long thing, which makes the widest box of all."""
    return build(
        raycover.load_text("""
raycover: 1
title: store
rooms: [{name: Hall, outline: [[0, 0], [40, 0], [40, 30], [0, 30]], height: 9, walls: steel-panel}]
racking:
  - {name: R1, at: [2, 2], bays: 6, levels: 4, back_to_back: true}
  - {name: R2, at: [30, 3], turn_deg: 90, bays: 5, levels: 3}
  - {name: R3, at: [12, 12], turn_deg: 27, bays: 4, levels: 4}
solids: [{name: Beam, centre: [20, 28], size: [36, 0.4, 0.4], base: 6, material: metal}]
planes: [{name: floor, height: 0}]
""")
    )


def test_a_unit_on_a_box_hangs_on_its_face(store: Building) -> None:
    """Of places on the side of every seventh box, each finds that side, whatever the box is and wherever it stands."""
    launch = Launch(store, np.zeros(3))
    boxes = store.boxes
    for k in range(0, len(boxes), 7):
        side = turned(np.array([[boxes.size[k, 0] / 2, 0.0, 0.0]]), -boxes.turn_rad[[k]])[0]
        outward = side / np.linalg.norm(side)
        # Two boxes that meet there may bring the same plane from either side: each plane is told once.
        found = launch._hung_on(boxes.centre[k] + side)
        assert any(abs(on.normal @ outward) > 0.999 and abs(on.distance) <= TOLERANCE for on in found)


def test_a_unit_in_the_open_hangs_on_nothing(store: Building) -> None:
    launch = Launch(store, np.zeros(3))
    assert launch._hung_on(np.array([38.0, 26.0, 5.0])) == []


def test_owners_are_those_of_the_parts(store: Building) -> None:
    names, index = store.owners
    assert [names[k] for k in index] == [store.part_owner(part) for part in range(store.n_parts)]
    assert list(names) == sorted(set(names))


STOREYS = """
raycover: 1
title: two storeys
rooms:
  - {name: Below, outline: [[0, 0], [6, 0], [6, 5], [0, 5]], height: 3, walls: brick-100, ceiling: concrete-150}
  - {name: Above, outline: [[0, 0], [6, 0], [6, 5], [0, 5]], floor: 3, height: 3, walls: brick-100}
detectors:
  - name: D1
    room: Below
    at: [3, 2.5]
    mounting: MOUNTING
    tilt_deg: TILT
    pattern: {kind: KIND, declared: [{mounting: 3, motion: radial, shape: {circle: {diameter: 20}}}]}
planes: [{name: body, height: 1}]
conditions: {losses: coherent}
"""


@pytest.mark.parametrize("short_of_it", ["3", "2.999999", "2.9995", "2.999", "2.998", "2.99"])
@pytest.mark.parametrize("across", [0.0, 0.7, 2.5])
def test_a_unit_under_a_slab_sees_the_storey_above_through_it(short_of_it: str, across: float) -> None:
    """However exactly the height of the ceiling is typed. 150 mm concrete costs 21.02 dB one way square on [C].

    Somebody 1 m above the slab is 1 m from the unit there, whose reach is √(10² + 3²) = 10.44 m all round:
    40·log10(10.44) − 2·21.02 = 40.75 − 42.04 = −1.29 dB. Without the slab it would be 40.75 dB.
    """
    text = STOREYS.replace("MOUNTING", short_of_it).replace("TILT", "0")
    kind = "microwave, frequency_ghz: 5.8, reach_behind: 1"
    made = raycover.load_text(text.replace("KIND", kind))
    (view,) = probe(made, (3 + across, 2.5, 4))
    assert [c.construction for c in view.crossings] == ["concrete-150"]
    if across == 0:
        assert view.margin_db == pytest.approx(-1.29, abs=0.4 if short_of_it == "2.99" else 0.1)


@pytest.mark.parametrize("mounting", ["3", "2.9995", "2.9"])
def test_a_tilted_infrared_unit_does_not_see_through_its_own_ceiling(mounting: str) -> None:
    """Raised by 60°, half of its field points up: at the slab, which stops it, wherever exactly it hangs."""
    text = STOREYS.replace("MOUNTING", mounting).replace("TILT", "60").replace("KIND", "infrared")
    solved = raycover.solve(raycover.load_text(text))
    assert solved["body +0.00"].share > 0.1
    assert solved["body +3.00"].share == 0


BESIDE = """
raycover: 1
title: two rooms
rooms:
  - {name: Here, outline: [[0, 0], [6, 0], [6, 5], [0, 5]], height: 3, walls: brick-100}
  - {name: Beyond, outline: [[6, 0], [12, 0], [12, 5], [6, 5]], height: 3, walls: brick-100}
detectors:
  - {name: D1, at: [AT, 2.5], mounting: 2.2, turn_deg: TURN, pattern: {kind: microwave, frequency_ghz: 5.8, declared: [
      {mounting: 2.2, motion: radial, shape: SHAPE}]}}
planes: [{name: floor, height: 0}]
conditions: {losses: coherent}
"""


@pytest.mark.parametrize(("turn_deg", "behind"), [(180, 7.5), (0, 4.5), (215, 7.5), (-60, 4.5)])
@pytest.mark.parametrize("off", [-9e-4, -1e-4, 0.0, 1e-4, 9e-4])
def test_a_unit_on_a_wall_that_looks_one_way_sees_what_is_behind_it_through_the_wall(
    turn_deg: float, behind: float, off: float
) -> None:
    """A sector of 120° reaches 2.2 m behind, straight down being as far as it knows. At 1.5 m beyond the wall and 1 m
    up that is s = 1.921 m, 40·log10(2.2/1.921) = 2.36 dB; 100 mm brick at 38.7° costs 3.84 dB one way [C]."""
    text = BESIDE.replace("AT", str(6 + off)).replace("TURN", str(turn_deg))
    made = raycover.load_text(text.replace("SHAPE", "{sector: {reach: 8, spread_deg: 120}}"))
    (view,) = probe(made, (behind, 2.5, 1.0))
    assert [c.object for c in view.crossings] == ["Here/wall 1"]
    (crossing,) = view.crossings
    assert crossing.loss_db == pytest.approx(3.84, abs=0.02)
    assert view.margin_db == pytest.approx(2.36 - 2 * crossing.loss_db, abs=0.05)
    (ahead,) = probe(made, (12 - behind, 2.5, 1.0))
    assert not ahead.crossings


@pytest.mark.parametrize(
    ("shape", "looks"),
    [
        ("{sector: {reach: 8, spread_deg: 300}}", True),
        ("{polar: [[-60, 1], [0, 9], [60, 1]]}", True),
        ("{circle: {diameter: 9}}", False),
        ("{rectangle: {length: 9, width: 2}}", False),
        ("{sector: {reach: 8, spread_deg: 350}}", False),
    ],
)
def test_which_units_look_one_way(shape: str, looks: bool) -> None:
    """A sector of 300°: the mean of cos φ over it is sin 150°/(150·π/180) = 0.191; of 350°, 0.0285."""
    made = raycover.load_text(BESIDE.replace("AT", "3").replace("TURN", "30").replace("SHAPE", shape))
    (unit,) = make_units(made, build(made))
    assert (unit.ahead is not None) == looks
    if unit.ahead is not None:
        assert unit.ahead == pytest.approx([np.cos(np.pi / 6), 0.5, 0], abs=1e-6)

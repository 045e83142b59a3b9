"""A small building with a bit of everything, solved once for the tests of pictures in 3D."""

from __future__ import annotations

from storey_scenes import Made
from storey_scenes import made as _made

SMALL = """
raycover: 1
title: Little depot
rooms:
  - {name: Store, outline: [[0, 0], [12, 0], [12, 8], [0, 8]], height: 5, walls: brick-215, ceiling: steel-panel,
     openings: [{edge: 2, at: 2, width: 3, height: 1.2, sill: 1.0, fill: double-glazing-6-16-6},
                {edge: 1, at: 3, width: 1, height: 2.1, fill: door-wood-40}]}
  - {name: Office, outline: [[12, 0], [16, 0], [16, 8], [12, 8]], height: 3, walls: brick-215}
partitions:
  - {name: Glass, line: [[12, 5], [16, 5]], height: 3, construction: glass-6}
racking:
  - {name: R1, at: [2, 2], bays: 2, levels: 3}
desks:
  - {name: Desks, at: [13, 1], count: 1}
cubicles:
  - {name: WC, at: [10, 8], turn_deg: 180, count: 2}
detectors:
  - {name: A, model: wide-infrared-rectangular, at: [5, 5], mounting: 4.5}
  - {name: B, model: microwave-omni-5.8, at: [14, 4], mounting: 2.6}
planes: [{name: floor, height: 0}, {name: desk, height: 0.75, motion: presence}]
grid: 0.2
"""


def made(text: str = SMALL) -> Made:
    return _made(text)

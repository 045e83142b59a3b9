"""Scenes for reports: small, with something of everything, and free text that looks like markup everywhere."""

from __future__ import annotations

#: Text that HTML, typst, spreadsheets or templates would take for something else.
NASTY = '<script>alert(1)</script> #include $x$ *bold* @ref =HYPERLINK("x") {{ 7*7 }}'
ROOM = "#room $1$ & Co"

EVERYTHING = f"""\
raycover: 1
title: '{NASTY}'
date: 25 Nov 2026
project: {{client: "<b>A & B</b> #eval(1)", site: "_x_ `y` // z", number: "=1+1", checked_by: "@me", logo: logo.png}}
state_name: Doors closed
rooms:
  - name: "{ROOM}"
    outline: [[0, 0], [8, 0], [8, 5], [0, 5]]
    height: 3
    walls: plasterboard-12.5
    openings: [{{edge: 0, at: 1, width: 1, height: 2.1, fill: door-wood-40}}]
  - {{name: Store, outline: [[0, -4], [8, -4], [8, 0], [0, 0]], height: 3, walls: plasterboard-12.5}}
cubicles: [{{name: WC, at: [3, 5], turn_deg: 180, count: 2}}]
desks: [{{name: Desks, at: [4.5, 0.6], count: 1, seat: true}}]
detectors:
  - {{name: "D1 _a_", model: ceiling-infrared-general, at: [2, 2.5], mounting: 2.7, note: "=HYPERLINK(1)", address: 3}}
  - {{name: D2, model: microwave-omni-5.8, at: [6, 2.5], mounting: 2.7, hold_s: 605}}
planes: [{{name: "floor #1", height: 0}}]
grid: 0.2
lines: [{{name: L 1 &, detectors: ["*"], supply_ma: 10, cable: {{length: 320}}, devices: [{{kind: gear, count: 70}}]}}]
states: [{{name: "Open #2", set: {{"{ROOM}/opening *": open}}}}]
needs:
  - {{name: "Need #1 _x_", area: [[1, 1], [4, 1], [4, 4], [1, 4]], share: 0.9}}
  - {{name: Store, rooms: [Store], never: true}}
doubt: {{cases: 16}}
"""

#: A room with one infrared unit, nothing needed, no door, nobody seated.
PLAIN = """\
raycover: 1
title: Plain
rooms: [{name: Room, outline: [[0, 0], [8, 0], [8, 5], [0, 5]], height: 3, walls: brick-100}]
detectors: [{name: D1, model: ceiling-infrared-general, at: [2, 2.5], mounting: 2.5}]
planes: [{name: floor, height: 0}]
"""

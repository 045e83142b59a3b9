"""A small scene with every kind of thing in it, which the tests of the commands spoil in turn."""

SCENE = """\
raycover: 1
title: Small
conditions: {ambient_c: 20, reserve_db: 3, reflections: 0, losses: averaged}
rooms:
  - name: room
    outline: [[0, 0], [8, 0], [8, 6], [0, 6]]
    floor: 0
    height: 3
    walls: brick-100
    ceiling: concrete-150
    floor_construction: concrete-150
    openings: [{edge: 0, at: 1, width: 1, height: 2, fill: glass-6}]
partitions:
  - name: screen
    line: [[4, 0], [4, 6]]
    base: 0
    height: 3
    construction: plasterboard-12.5
    openings: [{at: 2.5, width: 0.9, height: 2.0, sill: 0, fill: door-wood-40, state: closed}]
solids:
  - {name: column, centre: [6, 3], size: [0.4, 0.4, 3], base: 0, turn_deg: 15, material: concrete}
racking:
  - {name: R1, at: [0.4, 4.2], bays: 1, levels: 1, bay_width: 1.8, depth: 0.9}
cubicles:
  - {name: WC, at: [4.2, 4.3], count: 2, doors: [open, closed]}
desks:
  - {name: row, at: [4.6, 0.4], count: 2}
sheets:
  - name: shelf
    corners: [[1, 5.2, 2], [2, 5.2, 2], [2, 5.8, 2], [1, 5.8, 2]]
    construction: {layers: [{material: chipboard, thickness_mm: 18}]}
detectors:
  - name: H
    at: [2, 3]
    mounting: 2.5
    turn_deg: 10
    masks: [{from_deg: 350, to_deg: 20}]
    pattern:
      kind: microwave
      frequency_ghz: 5.8
      mounting: {from: 2, to: 4}
      largest_mask_share: 0.25
      reach_behind: 0
      declared:
        - {mounting: 2.5, plane: 0, motion: radial, shape: {circle: {diameter: 9}}}
  - name: P
    at: [6, 1.5]
    mounting: 2.8
    pattern:
      kind: infrared
      declared:
        - {mounting: 2.8, plane: 0, motion: tangential, shape: {rectangle: {length: 5, width: 3}}}
        - {mounting: 2.8, plane: 0, motion: presence, shape: {circle: {diameter: 2}}}
  - {name: M, model: ceiling-infrared-general, at: [1, 1], mounting: 2.6, tilt_deg: 0}
planes:
  - {name: floor, height: 0.0}
  - {name: desk, height: 0.75, motion: presence}
  - {name: people, target: person, heights: [0.3, 1.0, 1.6]}
grid: 0.5
"""

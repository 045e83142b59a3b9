"""The keys and what they are called, and the card that lists them all."""

from __future__ import annotations

import numpy as np

from raycover.draw import palette
from raycover.draw.view3d.window.canvas import Canvas

#: (keys as shown, what they do) by heading.
KEYS: tuple[tuple[str, tuple[tuple[str, str], ...]], ...] = (
    (
        "Map",
        (
            ("1 … 9", "plane by number"),
            ("n  p", "next, previous plane"),
            ("PgUp  PgDn", "plane up, down, 0.1 m"),
            ("m", "next motion kind"),
            ("+  −", "air warmer, cooler, 1 °C"),
            ("e", "next state of the scene"),
            ("o", "next list of the panel"),
            ("b", "rays of the best, of all"),
            ("x", "verdict, choice away"),
        ),
    ),
    (
        "Detector",
        (
            ("→  ←", "next, previous detector"),
            ("a", "map of it alone, of all"),
            ("f", "hang one more; Ins"),
            ("r", "take it down; Del"),
            ("[  ]", "entry before, after"),
            ("j  k", "set 5 % less, more"),
            ("z", "mask toward the place"),
            ("space", "chosen one on, off"),
            ("↑  ↓", "higher, lower, 0.1 m"),
            (",  .", "turn right, left, 5°"),
            ("<  >", "tilt down, up, 5°"),
            ("u  y", "undo, redo; Ctrl+Z, Ctrl+Y"),
            ("s", "save into the scene; Ctrl+S"),
        ),
    ),
    (
        "Picture",
        (
            ("t  i", "plan, oblique view"),
            ("v", "from the next side"),
            ("d", "detectors on, off"),
            ("l", "lobes on, off"),
            ("w", "walls low, high"),
            ("g", "gaps hatched, plain"),
            ("c", "picture for print, A4"),
            ("h  ?", "help on, off"),
            ("q  Esc", "close"),
        ),
    ),
)
MOUSE = (
    ("click on the map", "who sees that place, and why not; after f: hang a detector"),
    ("drag a detector", "move it, steps of 5 cm; Ctrl 1 cm"),
    ("wheel over the chosen one", "turn it; with Shift its height"),
    ("drag, left button", "turn the building"),
    ("drag, middle, or left with Shift", "move it"),
    ("wheel, or drag with right button", "nearer, farther"),
    ("Ctrl and + − 0", "type and controls larger, smaller, as they were"),
)
_WIDTH, _HEIGHT, _MARGIN, _STEP = 656, 536, 22, 18
#: Where columns start, and how far their words stand from the keys.
_COLUMNS = ((0, 82), (224, 46), (440, 50))


def help_card(width_px: float = np.inf, height_px: float = np.inf, scale: float = 1.0) -> Canvas:
    """A card of all keys and what the mouse does, no larger than the room there is."""
    canvas = Canvas((_WIDTH, _HEIGHT), min(scale, width_px / _WIDTH, height_px / _HEIGHT))
    canvas.box((0, 0, _WIDTH, _HEIGHT), edge=palette.INK)
    canvas.box((1, 1, _WIDTH - 1, _HEIGHT - 1), edge=palette.INK)
    canvas.text(_MARGIN, 36, "Keys and mouse", 22, font="serif")
    canvas.text(_WIDTH - _MARGIN, 36, "h puts this away", 11, color=palette.SECOND_INK, ha="right")
    canvas.rule(_MARGIN, _WIDTH - _MARGIN, 46, 1, palette.INK)
    for (start, indent), (heading, keys) in zip(_COLUMNS, KEYS, strict=True):
        x = _MARGIN + start
        canvas.text(x, 70, heading, 14, font="serif")
        for n, (key, does) in enumerate(keys):
            y = 92 + n * _STEP
            canvas.text(x, y, key, 11, font="bold")
            canvas.text(x + indent, y, does, 10.5)
    y = 92 + max(len(keys) for _, keys in KEYS) * _STEP + 10
    canvas.rule(_MARGIN, _WIDTH - _MARGIN, y - 12)
    canvas.text(_MARGIN, y + 10, "Mouse", 14, font="serif")
    for n, (what, does) in enumerate(MOUSE):
        canvas.text(_MARGIN, y + 32 + n * _STEP, what, 11, font="bold")
        canvas.text(_MARGIN + 232, y + 32 + n * _STEP, does, 11)
    y += 32 + len(MOUSE) * _STEP + 8
    for n, line in enumerate((
        "Saving keeps detectors: those hung and taken down, entries, places, heights, turns, tilts, settings, masks.",
        "Air, doors, states and what is switched off are looked at here and change no file.",
    )):  # fmt: skip
        canvas.text(_MARGIN, y + 14 * n, line, 10.5, color=palette.SECOND_INK)
    return canvas

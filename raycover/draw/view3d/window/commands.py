"""What keys and controls do: to the design, to what is looked at, to the window."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from raycover.draw.view3d.camera import View, long_side_deg
from raycover.draw.view3d.window.fitting import SET_PCT, Fitting
from raycover.draw.view3d.window.speaking import TABS
from raycover.draw.view3d.window.state import Place
from raycover.editing.live import LiveCoverage, Look
from raycover.errors import InputError
from raycover.scene.declared import ASKED_MOTIONS
from raycover.scene.quantities import COLDEST_C, WARMEST_C
from raycover.signs import minus

if TYPE_CHECKING:
    from raycover.draw.view3d.window.app import Window
    from raycover.draw.view3d.window.state import State

#: Steps of wheel and keys, in degrees, m and °C.
TURN_DEG, LIFT_M, PLANE_M, AIR_C = 5.0, 0.1, 0.1, 1.0
_SIDE_DEG = 24.0
#: Rows of the list that what is told of a chosen detector may take.
_TOLD = 4
_CHOOSE_FIRST = "Choose a detector first: click it, or → and ←"
_BOUNDS = {"mounting": (LIFT_M, np.inf), "turn_deg": (-180.0, 180.0), "tilt_deg": (-180.0, 180.0)}
_SAID = {"mounting": "mounted at {:g} m", "turn_deg": "turned to {:g}°", "tilt_deg": "tilted to {:g}°"}
#: VTK's names of keys, as the help shows them.
_SHOWN = {
    "Prior": "PgUp", "Next": "PgDn", "Up": "↑", "Down": "↓", "Right": "→", "Left": "←", "comma": ",", "period": ".",
    "less": "<", "greater": ">", "plus": "+", "equal": "+", "KP_Add": "+", "minus": "−", "KP_Subtract": "−",
    "question": "?", "Escape": "Esc", "bracketleft": "[", "bracketright": "]", "Insert": "f", "KP_Insert": "f",
    "Delete": "r", "KP_Delete": "r", "BackSpace": "r",
}  # fmt: skip
#: Of a longer path its end is told: the panel is narrow.
_LONGEST_PATH = 40
_WITH_CONTROL = {"z": "u", "y": "y", "s": "s", "p": "c", "q": "q", "w": "q"}
#: With Ctrl, what makes type and controls larger, smaller, as they were.
_SIZES = {"plus": 1, "equal": 1, "KP_Add": 1, "minus": -1, "KP_Subtract": -1, "0": 0, "KP_0": 0}


class Commands:
    """Keys, controls and gestures, each one frame; what is wrong with one is said in the panel."""

    def __init__(self, window: Window) -> None:
        self.window = window
        self.fitting = Fitting(window, self._edit, self._choose)

    @property
    def state(self) -> State:
        return self.window.state

    @property
    def live(self) -> LiveCoverage:
        return self.window.live

    def press(self, key: str, *, control: bool = False, shift: bool = False) -> None:
        """Do what a key (VTK's name of it) stands for; others do nothing, nor does any while something is dragged."""
        window, state = self.window, self.state
        if key == "Escape" and (window.pointer.cancel() or state.help or state.hanging):
            self.live.back()
            state.help = state.hanging = False
            with window.frame(fresh=True):
                window.update()
                window.draw_help()
            return
        if window.pointer.busy:
            return
        if control and key in _SIZES:
            window.enlarge(_SIZES[key])
            return
        if control:
            key = "y" if shift and key.lower() == "z" else _WITH_CONTROL.get(key.lower(), "")
        if key in ("q", "Escape"):
            window.leave()
            return
        action = self.actions().get(_SHOWN.get(key, key))
        if action is None and key.isdigit() and 0 < int(key) <= len(self.live.planes):
            chosen = int(key) - 1
            action = lambda: self._look_at(Look(chosen, None, self.state.look.motion))  # noqa: E731
        if action is not None:
            with window.frame(fresh=True):
                action()

    def actions(self) -> dict[str, Callable[[], None]]:
        """What keys do, by how they are shown in the help."""
        state, live, scenery = self.state, self.live, self.window.scenery
        n = len(live.planes)
        return {
            "n": lambda: self._look_at(Look((state.plane + 1) % n, None, state.look.motion)),
            "p": lambda: self._look_at(Look((state.plane - 1) % n, None, state.look.motion)),
            "PgUp": lambda: self._set_height(self.window.look_height + PLANE_M),
            "PgDn": lambda: self._set_height(self.window.look_height - PLANE_M),
            "m": self._next_motion,
            "+": lambda: self._set_air(live.weather.ambient_c + AIR_C),
            "−": lambda: self._set_air(live.weather.ambient_c - AIR_C),
            "e": self._next_state,
            "o": lambda: self._set(tab=TABS[(TABS.index(state.tab) + 1) % len(TABS)]),
            "b": lambda: self._set(every_ray=not state.every_ray),
            "x": self._put_away,
            "→": lambda: self._step(1),
            "←": lambda: self._step(-1),
            "a": self._alone,
            "space": lambda: self._switch(state.detector),
            "↑": lambda: self._nudge("mounting", LIFT_M),
            "↓": lambda: self._nudge("mounting", -LIFT_M),
            ",": lambda: self._nudge("turn_deg", -TURN_DEG),
            ".": lambda: self._nudge("turn_deg", TURN_DEG),
            "<": lambda: self._nudge("tilt_deg", -TURN_DEG),
            ">": lambda: self._nudge("tilt_deg", TURN_DEG),
            "f": self.fitting.begin,
            "r": self.fitting.take_down,
            "[": lambda: self.fitting.next_model(-1),
            "]": lambda: self.fitting.next_model(1),
            "j": lambda: self.fitting.nudge_percent(-SET_PCT),
            "k": lambda: self.fitting.nudge_percent(SET_PCT),
            "z": self.fitting.toggle_mask,
            "u": self._undo,
            "y": self._redo,
            "s": self._save,
            "t": lambda: self.window.look(View(long_side_deg(scenery.area) - 90, 89.9)),
            "i": lambda: self.window.look(scenery.oblique),
            "v": self._next_side,
            "d": lambda: self._flip("marks", scenery.marks),
            "l": lambda: self._flip("lobes", scenery.lobes),
            "w": lambda: self._flip("low_walls", scenery.solids),
            "g": lambda: self._flip("hatched", scenery.map),
            "c": self._print,
            "h": self._help,
            "?": self._help,
        }

    def act(self, does: str, value: Any = None, *, trial: bool = False) -> None:
        """Do what a control stands for; a `trial` comes while a slider is dragged."""
        if trial and self.window.is_slow:
            return
        look = self.state.look
        actions: dict[str, Callable[[], None]] = {
            "plane": lambda: self._look_at(Look(value, None, look.motion)),
            "height": lambda: self._set_height(value, trial=trial),
            "motion": lambda: self._look_at(replace(look, motion=value)),
            "air": lambda: self._set_air(value, trial=trial),
            "state": lambda: self._edit(lambda: self.live.set_state(value)),
            "tab": lambda: self._set(tab=value),
            "scroll": lambda: self._scroll(value),
            "detector": lambda: self._choose(value),
            "switch": lambda: self._switch(value),
            "door": lambda: self._turn_door(value),
            "place": lambda: self._ask(value),
            "nowhere": self._nowhere,
            "begin hanging": self.fitting.begin,
            "hang": lambda: self.fitting.hang(value),
            "take down": self.fitting.take_down,
            "model": lambda: self.fitting.to_model(value),
            "sensitivity": lambda: self.fitting.set_percent(value, trial=trial),
            "microwave": lambda: self.fitting.set_percent(value, "microwave_pct", trial=trial),
            "mask": lambda: self.fitting.mask(value),
            "mask from": lambda: self.fitting.move_edge(value, "from_deg", trial=trial),
            "mask to": lambda: self.fitting.move_edge(value, "to_deg", trial=trial),
            "turn": lambda: self._nudge("turn_deg", value),
            "lift": lambda: self._nudge("mounting", value),
            "undo": self._undo,
            "redo": self._redo,
            "save": self._save,
            "print": self._print,
            "help": self._help,
        }
        with self.window.frame(fresh=True, timed=trial):
            actions[does]()

    def drag(self, index: int, at: tuple[float, float]) -> None:
        """A detector is held over a place; the map follows."""
        window, slow = self.window, self.window.is_slow
        with window.frame(fresh=True, timed=True):
            self.live.move(index, trial=True, at=at)
            place = minus(f"({at[0]:.2f}, {at[1]:.2f})")
            self.state.message = f"{self.live.design.detectors[index].name} at {place}"
            if slow:
                window.scenery.marks()
                window.draw_labels()
            else:
                window.update(trial=True)

    def drop(self, index: int) -> None:
        """A dragged detector is let go: that is an edit, or goes back where it cannot stand."""
        spec = self.live.design.detectors[index]
        words = f"{spec.name} moved to ({spec.at[0]:g}, {spec.at[1]:g})"
        with self.window.frame(fresh=True):
            self._edit(lambda: self.live.move(index, words, at=spec.at))

    # What is looked at.

    def _look_at(self, look: Look, *, trial: bool = False) -> None:
        before, self.state.look = self.state.look, look
        try:
            self.window.update(trial=trial)
        except InputError:
            self.state.look = before
            raise

    def _set_height(self, height: float, *, trial: bool = False) -> None:
        low, high = self.window.heights
        height = round(min(max(height, low), high), 2)
        self._look_at(replace(self.state.look, height=height), trial=trial)

    def _next_motion(self) -> None:
        now = self.state.look.spec(self.live.scene).motion
        following = ASKED_MOTIONS[(ASKED_MOTIONS.index(now) + 1) % len(ASKED_MOTIONS)]
        self._look_at(replace(self.state.look, motion=following))

    def _choose(self, index: int | None) -> None:
        self.live.edits.part()
        if index == self.state.detector and index is not None:
            return
        self.state.detector, self.state.mask = index, None
        self.state.alone = self.state.alone and index is not None
        if index is not None:
            self.state.lobes = True
            self.state.first.pop("setting", None)
            if self.state.tab == "doors":
                self.state.tab = "detectors"
            first, n_rows = self.state.first.get("detectors", 0), max(self.window.n_rows - _TOLD, 1)
            if not first <= index < first + n_rows:
                self.state.first["detectors"] = max(index - n_rows // 2, 0)
        scenery = self.window.scenery
        for draw in (scenery.map, scenery.lobes, scenery.marks, self.window.draw_labels):
            draw()

    def _alone(self) -> None:
        """The map of the chosen detector by itself, or that of all again."""
        if self.state.detector is None:
            self.state.message = _CHOOSE_FIRST
        self.state.alone = not self.state.alone and self.state.detector is not None
        self.window.scenery.map()

    def _put_away(self) -> None:
        self.state.place, self.state.alone = None, False
        self.window.judge()
        self._choose(None)

    def _step(self, by: int) -> None:
        if n := len(self.live.units):
            now = self.state.detector
            self._choose((0 if by > 0 else n - 1) if now is None else (now + by) % n)

    def _ask(self, place: Place | None) -> None:
        self.state.place = place
        self.window.judge()
        self.window.draw_labels()

    def _nowhere(self) -> None:
        self._ask(None)
        self.state.message = "Nobody can be there, inside something: click the floor between things"

    def _next_side(self) -> None:
        self.state.side += 1
        turn = long_side_deg(self.window.scenery.area) - 90 + 90 * (self.state.side - 1)
        self.window.look(View(turn, _SIDE_DEG))

    def _flip(self, what: str, draw: Callable[[], None]) -> None:
        setattr(self.state, what, not getattr(self.state, what))
        draw()
        self.window.draw_labels()

    def _set(self, **values: Any) -> None:
        for name, value in values.items():
            setattr(self.state, name, value)
        self.window.judge()
        self.window.draw_labels()

    def _help(self) -> None:
        self.state.help = not self.state.help
        self.window.draw_help()

    def _scroll(self, by: int) -> None:
        shown, n_rows = self.window.shown(), self.window.n_rows
        self.state.first[self.state.tab] = min(max(shown.first + by, 0), max(len(shown.rows) - n_rows, 0))

    # Edits.

    def _edit(self, edit: Callable[[], object]) -> None:
        """Do an edit and show it; one that cannot stand, or be mapped, changes nothing and says why."""
        before, chosen = self.live.edits.now, self._chosen_name
        try:
            edit()
            self._show_again(chosen)
        except InputError:
            if self.live.edits.now is not before:
                self.live.undo()
            self.live.back()
            self._show_again(chosen)
            raise

    @property
    def _chosen_name(self) -> str | None:
        return None if self.state.detector is None else self.live.edits.now.detectors[self.state.detector].name

    def _show_again(self, chosen: str | None) -> None:
        """Show the design, the same detector chosen as before, wherever it now stands in the list."""
        state, names = self.state, [spec.name for spec in self.live.design.detectors]
        state.detector = names.index(chosen) if chosen in names else None
        state.alone = state.alone and state.detector is not None
        n_masks = 0 if state.detector is None else len(self.live.design.detectors[state.detector].masks)
        state.mask = None if state.mask is None or state.mask >= n_masks else state.mask
        self.window.update()

    def _nudge(self, what: str, by: float) -> None:
        """Change the chosen detector's mounting, turn or tilt by a step."""
        chosen = self.state.detector
        if chosen is None:
            self.state.message = _CHOOSE_FIRST
            return
        spec = self.live.design.detectors[chosen]
        low, high = _BOUNDS[what]
        value = round(getattr(spec, what) + by, 3)
        # A turn goes on past the half circle; all else ends where a file's values would.
        value = (value + 180) % 360 - 180 if what == "turn_deg" else min(max(value, low), high)
        words, thread = f"{spec.name} {_SAID[what].format(value)}", f"{chosen} {what}"
        self._edit(lambda: self.live.move(chosen, words, thread=thread, **{what: value}))

    def _set_air(self, ambient_c: float, *, trial: bool = False) -> None:
        value = min(max(ambient_c, COLDEST_C), WARMEST_C)
        if trial:
            self.live.set_ambient(value, trial=True)
            self.window.update(trial=True)
        else:
            self._edit(lambda: self.live.set_ambient(value))

    def _next_state(self) -> None:
        names = self.live.drawn.state_names
        if len(names) < 2:
            self.state.message = "The scene has one state only"
            return
        following = names[(names.index(self.live.design.state) + 1) % len(names)]
        self._edit(lambda: self.live.set_state(following))

    def _turn_door(self, index: int) -> None:
        door = self.live.doors[index]
        self._edit(lambda: self.live.set_door(door, "closed" if door.state == "open" else "open"))

    def _switch(self, index: int | None) -> None:
        if index is None:
            self.state.message = _CHOOSE_FIRST
        else:
            self._edit(lambda: self.live.switch(index))

    def _undo(self) -> None:
        chosen = self._chosen_name
        words = self.live.undo()
        self._show_again(chosen)
        self.state.message = f"Undone: {words}" if words else "Nothing to undo"

    def _redo(self) -> None:
        chosen = self._chosen_name
        words = self.live.redo()
        self._show_again(chosen)
        self.state.message = f"Done again: {words}" if words else "Nothing to do again"

    # Files.

    def _save(self) -> None:
        file = self.window.file
        if file is None:
            self.state.message = "There is no scene file to save into"
        elif not self.live.changed:
            self.state.message = "Nothing to save: every detector is as the file has it"
        else:
            self.live.saved(file.save(self.live.design.detectors, self.live.design.mentions))
            self.state.message = f"Saved into {file.path.name}"

    def _print(self) -> None:
        """Save a picture at print size under the first free name."""
        from raycover.draw.view3d.window.print_page import save_print  # slow to import: matplotlib

        folder = self.window.folder
        taken = {p.name for p in folder.glob("raycover-view-*.png")}
        name = next(n for k in range(1, 10_000) if (n := f"raycover-view-{k:03d}.png") not in taken)
        try:
            save_print(self.window, folder / name)
            where = str(folder.resolve())
            where = where if len(where) <= _LONGEST_PATH else f"…{where[1 - _LONGEST_PATH :]}"
            self.state.message = f"Saved {name}, A4 at 300 dpi, in {where}"
        except OSError as error:
            self.state.message = f"Not saved: {error.strerror or error}"

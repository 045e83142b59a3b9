"""A detector hung, taken down, made another entry, set and masked: edits by key, button and slider."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from raycover.detectors import Unit
from raycover.draw.view3d.window.state import Place
from raycover.editing.designs import Design
from raycover.editing.live import LiveCoverage
from raycover.editing.mentions import words as told_where
from raycover.errors import InputError
from raycover.scene.devices import DetectorSpec, MaskSpec
from raycover.signs import minus

if TYPE_CHECKING:
    from raycover.draw.view3d.window.app import Window
    from raycover.draw.view3d.window.state import State

#: Steps of a setting (per cent of the reach) and of a mask's edges (degrees); a new mask is so wide (degrees).
SET_PCT, EDGE_DEG, WIDE_DEG = 5.0, 5.0, 30.0
_CHOOSE = "Choose a detector first: click it, or → and ←"


class Fitting:
    """What is done at detectors themselves. `edit` does an edit and shows it, `choose` makes one the chosen one."""

    def __init__(
        self, window: Window, edit: Callable[[Callable[[], object]], None], choose: Callable[[int | None], None]
    ) -> None:
        self.window, self.edit, self.choose = window, edit, choose
        self._asked: tuple[Design, int] | None = None

    @property
    def live(self) -> LiveCoverage:
        return self.window.live

    @property
    def state(self) -> State:
        return self.window.state

    @property
    def chosen(self) -> DetectorSpec | None:
        """The detector chosen; where there is none, that is said."""
        index = self.state.detector
        if index is None:
            self.state.message = _CHOOSE
            return None
        return self.live.design.detectors[index]

    # Hanging and taking down.

    def begin(self) -> None:
        """Hang one more over the place asked about, else over the next place clicked."""
        place = self.state.place
        if place is not None and all(math.dist(spec.at, place[:2]) > 0.3 for spec in self.live.design.detectors):
            self.hang(place)
        else:
            self.state.hanging = True
            self.state.message = "Click the place over which it shall hang; Esc: none"

    def hang(self, place: Place | None) -> None:
        """Hang one more, like the chosen one, over a place on the ground."""
        if place is None:
            self.state.message = "Click the floor of a room: a detector hangs over a place on a map"
            return
        made: list[int] = []
        self.edit(lambda: made.append(self.live.add(place, self.state.detector, model=self._next_model())))
        self.state.hanging = False
        self.choose(made[0])
        spec = self.live.design.detectors[made[0]]
        self._say(made[0], f"{spec.name} hangs at ({spec.at[0]:g}, {spec.at[1]:g}), {spec.mounting:g} m high")

    def take_down(self) -> None:
        """Take the chosen one down; one that is named elsewhere only when that is said a second time."""
        spec, index = self.chosen, self.state.detector
        if spec is None or index is None:
            return
        asked, where = self._asked == (self.live.design, index), ""
        if asked:
            where = f", and out of {told_where(self.live.design.mentions, spec.name)}"
        self._asked = None
        try:
            self.edit(lambda: self.live.remove(index, unnamed=asked))
        except InputError as error:
            if error.problems[0].code == "detector-named":
                self._asked = self.live.design, index
                self.state.message = f"{error.problems[0].message}: once more (r) takes it down there, too"
                return
            raise
        self.choose(None)
        self.state.message = f"{spec.name} is taken down{where}; u brings it back"

    # Entries.

    def to_model(self, model: str) -> None:
        """Make the chosen one of an entry, or, with none chosen, the next one that is hung."""
        index = self.state.detector
        if index is None:
            self.state.model = model
            title = self.live.scene.catalogue.detectors[model].title
            self.state.message = f"The next one hung: {title}"
            return
        self.edit(lambda: self.live.choose_model(index, model))
        self._say(index, f"{self.live.design.detectors[index].name} is now {self.live.units[index].title}")

    def next_model(self, by: int) -> None:
        """The next entry of the catalogue that can hang there; those that cannot are passed over, and named."""
        spec, names = self.chosen, list(self.live.scene.catalogue.detectors)
        if spec is None:
            return
        at = names.index(spec.model) if spec.model in names else -1 if by > 0 else 0
        refused: list[str] = []
        for step in range(1, len(names) + 1):
            model = names[(at + by * step) % len(names)]
            try:
                self.to_model(model)
            except InputError as error:
                refused.append(f"{model}: {error.problems[0].message}")
                continue
            if refused:
                self.state.message += f". Passed over {'; '.join(refused)}"
            return

    def _next_model(self) -> str | None:
        return self.state.model if self.state.detector is None else None

    # Settings.

    def set_percent(self, value: float, key: str = "sensitivity_pct", *, trial: bool = False) -> None:
        """Set the chosen one to a share (per cent) of its reach, a dual one's microwave half by `microwave_pct`."""
        spec, index = self.chosen, self.state.detector
        if spec is None or index is None:
            return
        if trial:
            self._try(index, **{key: value})
            return
        values: dict[str, Any] = {key: value}
        half = "microwave half " if key == "microwave_pct" else ""
        self.edit(lambda: self.live.move(
            index, f"{spec.name} {half}set to {value:g} %", thread=f"{spec.name} {key}", **values
        ))  # fmt: skip

    def nudge_percent(self, by: float) -> None:
        """A step more or less sensitive, within what its entry allows."""
        spec = self.chosen
        if spec is not None:
            low, high = self.live.scene.pattern_of(spec).settings_pct
            self.set_percent(min(max(round(spec.sensitivity_pct + by, 3), low), high))

    # Masks.

    def mask(self, number: int | None) -> None:
        """Choose a mask by its number, None adds one, the chosen one again is taken out."""
        spec = self.chosen
        if spec is None:
            return
        if number is None:
            self.toggle_mask(add=True)
        elif number == self.state.mask:
            self._put_masks([m for k, m in enumerate(spec.masks) if k != number], "has a mask less")
            self.state.mask = None
        else:
            self.state.mask = number
            self.state.message = f"Mask {number + 1}: drag its edges below, press it again to take it out"

    def toggle_mask(self, *, add: bool = False) -> None:
        """Mask the chosen one toward the place asked about, 30° wide; where a mask covers it already, take that out."""
        spec, index = self.chosen, self.state.detector
        if spec is None or index is None:
            return
        place = self.state.place
        if place is None and not add:
            self.state.message = "Click the place that it shall not see first, then mask it"
            return
        azimuth = 0.0 if place is None else azimuth_deg(self.live.units[index], place)
        over = [k for k, mask in enumerate(spec.masks) if covers(mask, azimuth)]
        if over and not add:
            self._put_masks([m for k, m in enumerate(spec.masks) if k not in over], "sees that way again")
            self.state.mask = None
            return
        middle = round(azimuth / EDGE_DEG) * EDGE_DEG
        start, end = (_turned(middle - WIDE_DEG / 2), _turned(middle + WIDE_DEG / 2))
        self._put_masks([*spec.masks, MaskSpec(from_deg=start, to_deg=end)], masked_words(start, end))
        self.state.mask = len(spec.masks)

    def move_edge(self, value: float, key: str, *, trial: bool = False) -> None:
        """Put an edge (`from_deg`, `to_deg`) of the chosen mask elsewhere."""
        spec, index, number = self.chosen, self.state.detector, self.state.mask
        if spec is None or index is None or number is None:
            return
        mask = spec.masks[number].model_copy(update={key: value})
        if mask.from_deg == mask.to_deg:
            self.state.message = "The mask would cover nothing"
            return
        masks = [mask if k == number else other for k, other in enumerate(spec.masks)]
        if trial:
            self._try(index, masks=masks)
        else:
            self._put_masks(masks, masked_words(mask.from_deg, mask.to_deg), thread=f"{spec.name} mask {number}")

    def _put_masks(self, masks: Sequence[MaskSpec], said: str, thread: str | None = None) -> None:
        index = self.state.detector
        assert index is not None
        name = self.live.design.detectors[index].name
        self.edit(lambda: self.live.move(index, f"{name} {said}", thread=thread, masks=list(masks)))
        self.state.message = f"{name} {said}"

    # Within.

    def _try(self, index: int, **values: Any) -> None:
        self.live.move(index, trial=True, **values)
        self.window.update(trial=True)

    def _say(self, index: int, words: str) -> None:
        """What was done, and what speaks against it."""
        self.state.message = ". But ".join([words, *self.live.doubts(index)[:1]])


def azimuth_deg(unit: Unit, place: Place) -> float:
    """In which direction, degrees anticlockwise in the unit's own frame, a place lies."""
    x, y, _ = (np.asarray(place, float) - unit.position) @ unit.rotation
    return float(np.degrees(np.arctan2(y, x)))


def masked_words(start_deg: float, end_deg: float) -> str:
    """A mask in words."""
    return minus(f"masked {start_deg:g}° to {end_deg:g}°")


def covers(mask: MaskSpec, azimuth: float) -> bool:
    """Whether a mask's sector holds an azimuth (degrees)."""
    return (azimuth - mask.from_deg) % 360 <= (mask.to_deg - mask.from_deg) % 360


def _turned(angle_deg: float) -> float:
    """The same angle from −180 up to 180 degrees."""
    return (angle_deg + 180) % 360 - 180

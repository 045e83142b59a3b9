"""What panel and labels say of a design as it stands: figures put into words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy import ndimage

from raycover.building.doors import doors_of
from raycover.building.parts import OpeningMark
from raycover.draw import palette, words
from raycover.draw.legend import distribution
from raycover.draw.lettering import clean
from raycover.draw.view3d.floor_map import map_level_m
from raycover.draw.view3d.laying import seen_areas
from raycover.draw.view3d.people import furniture
from raycover.draw.view3d.window.labels import Label
from raycover.draw.view3d.window.panel import Row, Shown
from raycover.draw.view3d.window.scenery import Scenery
from raycover.draw.view3d.window.setting import chosen_lines, entries, masks, sliders
from raycover.draw.view3d.window.state import State
from raycover.draw.view3d.window.verdict import Line
from raycover.editing.live import LiveCoverage
from raycover.scene.air import air_of
from raycover.scene.declared import ASKED_MOTIONS
from raycover.scene.parts import LOWEST_DOOR_M

#: Lists of the panel, in their order.
TABS = ("detectors", "setting", "doors")
#: Names of more detectors than this are written smaller.
_MANY = 60
#: Names of more rooms than this would hide the map.
_MOST_ROOMS = 24
#: Of places that are so nearly as free as the freest, the one nearest to the middle of its room takes the name.
_NEARLY = 0.8
_HINT = (Line("Click the map: who sees that place, and why not.", "faint"),
         Line("Drag a detector to move it; h lists all keys.", "faint"))  # fmt: skip


def shown_of(
    live: LiveCoverage, scenery: Scenery, state: State, verdict: Sequence[Line], heights: tuple[float, float], *,
    can_save: bool,
) -> Shown:  # fmt: skip
    """Everything the panel shows."""
    planes, look = scenery.planes, state.look
    surface, spec = planes[0].surface, look.spec(live.scene)
    margins = np.concatenate([scenery.margins(plane).ravel() for plane in planes])
    area = np.concatenate([np.asarray(plane.surface.area, float).ravel() for plane in planes])
    shares = distribution(margins, area, planes[0].reserve_db).by_class
    names = live.drawn.state_names
    tab = state.tab
    rows = {
        "detectors": lambda: _detectors(live, scenery, state),
        "setting": lambda: entries(live, state),
        "doors": lambda: _doors(live),
    }[tab]()
    setting, chosen = tab == "setting", state.detector is not None
    return Shown(
        title=clean(live.scene.title),
        subtitle=words.subtitle(surface, air_of(live.scene)),
        seen=_seen(live, scenery, state),
        by_class=tuple(float(v) for v in shares),
        reserve_db=planes[0].reserve_db,
        planes=tuple(
            (clean(name), k, k == look.plane and look.height is None) for k, name in enumerate(live.planes)
        ),
        height=float(np.median(spec.target_heights)),
        heights=heights,
        height_text=" or ".join(f"{h:g}" for h in spec.target_heights) + " m",
        is_free=look.height is not None,
        motions=tuple((kind, kind, kind == spec.motion) for kind in ASKED_MOTIONS),
        ambient_c=live.weather.ambient_c,
        states=tuple((clean(name), name, name == live.design.state) for name in names),
        tabs=tabs_of(live, tab),
        rows=rows,
        row_action={"detectors": ("detector", "switch"), "setting": ("model", "model"), "doors": ("door", "door")}[tab],
        first=state.first.get(tab, _at_chosen(rows) if setting else 0),
        sliders=sliders(live, state) if setting else (),
        masks=masks(live, state) if setting else (),
        list_buttons=(("Hang one more", "begin hanging", True), ("Take down", "take down", chosen))
        if tab == "detectors" else (),
        chosen=chosen_lines(live, state) if tab != "doors" else (),
        verdict=tuple(verdict) or _HINT,
        buttons=(
            ("Undo", "undo", live.edits.can_undo),
            ("Redo", "redo", live.edits.can_redo),
            ("Save", "save", can_save and live.changed),
            ("Print", "print", True),
            ("Help", "help", True),
        ),
        message=clean(state.message),
    )  # fmt: skip


def tabs_of(live: LiveCoverage, chosen: str) -> tuple[tuple[str, str, bool], ...]:
    """Tabs of the list: text, name, whether it is chosen. Doors as everywhere; windows come after them."""
    said = f"Detectors ({len(live.units)})", "Setting", f"Doors ({len(doors_of(live.building))})"
    return tuple((text, name, name == chosen) for text, name in zip(said, TABS, strict=True))


def _seen(live: LiveCoverage, scenery: Scenery, state: State) -> str:
    planes = scenery.planes
    if state.alone and state.detector is not None and state.detector in live.on:
        return f"is what {clean(live.units[state.detector].name)} sees by itself"
    if not live.on:
        return "seen: no detector is on" if live.units else "seen: there is no detector"
    what = f"of the {words.mapped(planes[0].surface)} is seen" if len(planes) == 1 else f"of {len(planes)} maps is seen"
    off = len(live.units) - len(live.on)
    return f"{what}, {off} off" if off else what


def _detectors(live: LiveCoverage, scenery: Scenery, state: State) -> tuple[Row, ...]:
    on = live.on
    seen = dict(zip(on, seen_areas(scenery.planes).tolist() if on else (), strict=True))
    return tuple(
        Row(k, clean(u.name), clean(u.title), f"{words.area(seen[k])} m²" if k in seen else "off", k in seen,
            k == state.detector)
        for k, u in enumerate(live.units)
    )  # fmt: skip


def _doors(live: LiveCoverage) -> tuple[Row, ...]:
    return tuple(
        Row(
            k,
            clean(door.name or door.owner),
            _sort(door),
            door.state,
            door.state == "open",
            False,
        )
        for k, door in enumerate(live.doors)
    )


def _sort(mark: OpeningMark) -> str:
    """What an opening is called in the list."""
    if mark.kind != "door" or mark.is_door:
        return mark.kind
    return "hatch" if mark.top - mark.sill < LOWEST_DOOR_M else "front"


def _at_chosen(rows: Sequence[Row]) -> int:
    """The first row to show so that the chosen one shows, the one before it too."""
    return max(next((k for k, row in enumerate(rows) if row.chosen), 0) - 1, 0)


def room_labels(scenery: Scenery) -> list[Label]:
    """Names of rooms where their floor is freest; none where a scene has one room, or very many.

    They are looked for once for the same maps: a dragged detector asks for them at every step.
    """
    now = [tray.plane.surface for tray in scenery.trays]
    if scenery.named is None or len(now) != len(scenery.named[0]) or any(
        one is not other for one, other in zip(now, scenery.named[0], strict=True)
    ):  # fmt: skip
        scenery.named = now, _room_labels(scenery)
    return scenery.named[1]


def _room_labels(scenery: Scenery) -> list[Label]:
    wanted = [(tray, by, name) for tray, by in zip(scenery.trays, scenery.moved, strict=True)
              for name in tray.plane.surface.room_names]  # fmt: skip
    if not 2 <= len(wanted) <= _MOST_ROOMS:
        return []
    found = []
    for tray, by, name in wanted:
        surface = tray.plane.surface
        mine = (surface.room == surface.room_names.index(name)) & surface.inside
        if surface.places is not None or not mine.any():
            continue
        bare = mine & ~furniture(tray.building, surface.x, surface.y)
        mine = bare if bare.any() else mine
        away = ndimage.distance_transform_edt(np.pad(mine, 1))[1:-1, 1:-1]
        rows, columns = np.nonzero(away >= _NEARLY * away.max())
        middle = np.mean(np.nonzero(mine), axis=1)
        nearest = int(np.argmin(np.hypot(rows - middle[0], columns - middle[1])))
        row, column = rows[nearest], columns[nearest]
        floor = float(np.asarray(surface.floor_at(np.array([row]), np.array([column]))).ravel()[0])
        at = np.array([surface.x[column], surface.y[row], floor + map_level_m(tray.plane)]) + by
        found.append(Label(clean(name), at, palette.INK, 15.0, "italic", beside=False))
    return found


def labels_of(live: LiveCoverage, scenery: Scenery, state: State) -> list[Label]:
    """Names of detectors, the chosen one first, then of rooms."""
    if not state.marks:
        return []
    tops, on = scenery.tops, set(live.on)
    order = sorted(range(len(live.units)), key=lambda k: k != state.detector)
    found = []
    for k in order:
        mine = state.detector in (None, k)
        colour = palette.ACCENT if mine and k in on else "#A86A5B" if k in on else palette.SECOND_INK
        size = 14.0 if k == state.detector else 12.0 if len(order) <= _MANY else 10.0
        found.append(Label(clean(live.units[k].name), tops[k], colour, size))
    return found + room_labels(scenery)

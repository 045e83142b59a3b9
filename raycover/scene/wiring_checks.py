"""Checks of lines and zones against the rest of the scene: names, addresses, who belongs where."""

from __future__ import annotations

from collections.abc import Iterator
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING

from raycover.errors import Position, Problem, did_you_mean
from raycover.scene.schema import Scene

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue

#: A daylight sensor nearer to glazing than this (m) sees the window, not the room: common practice, no source.
NEAR_GLAZING_M = 1.0


def members(scene: Scene, patterns: list[str]) -> list[str]:
    """Names of the detectors that patterns mean, in the scene's order."""
    return [d.name for d in scene.detectors if any(fnmatchcase(d.name, pattern) for pattern in patterns)]


def check_wiring(scene: Scene, _: Catalogue) -> Iterator[Problem]:
    """Unknown names, detectors on two lines, one address twice, zones that link to themselves."""
    known = [d.name for d in scene.detectors]
    for kind in ("lines", "zones"):
        for index, item in enumerate(getattr(scene, kind)):
            for k, pattern in enumerate(item.detectors):
                if not any(fnmatchcase(name, pattern) for name in known):
                    yield Problem(
                        "unknown-detector",
                        f'{kind[:-1]} "{item.name}": no detector is named "{pattern}"',
                        scene.position(kind, index, "detectors", k),
                        did_you_mean(pattern, known),
                    )
    yield from _once_on_a_line(scene)
    yield from _addresses(scene)
    names = [zone.name for zone in scene.zones]
    for index, zone in enumerate(scene.zones):
        for k, other in enumerate(zone.neighbours):
            if other not in names or other == zone.name:
                own = other == zone.name
                yield Problem(
                    "unknown-zone",
                    f'zone "{zone.name}" is its own neighbour' if own else f'no zone is named "{other}"',
                    scene.position("zones", index, "neighbours", k),
                    "take it out" if own else did_you_mean(other, names),
                )


def _once_on_a_line(scene: Scene) -> Iterator[Problem]:
    home: dict[str, str] = {}
    for index, line in enumerate(scene.lines):
        for name in members(scene, line.detectors):
            if name in home:
                yield Problem(
                    "on-two-lines",
                    f'detector "{name}" is on line "{home[name]}" and on "{line.name}"',
                    scene.position("lines", index, "detectors"),
                    "a device hangs on one line: take it out of the other",
                )
            home.setdefault(name, line.name)
        if line.supply_ma > line.most_ma:
            yield Problem(
                "supply-order",
                f'line "{line.name}": the supply guarantees {line.supply_ma:g} mA, more than its largest '
                f"{line.most_ma:g} mA",
                scene.position("lines", index, "supply_ma"),
                "take both from the supply's data sheet",
            )


def _addresses(scene: Scene) -> Iterator[Problem]:
    index_of = {d.name: k for k, d in enumerate(scene.detectors)}
    for line in scene.lines:
        taken: dict[int, str] = {}
        for name in members(scene, line.detectors):
            address = scene.detectors[index_of[name]].address
            if address is None:
                continue
            if address in taken:
                where: Position = scene.position("detectors", index_of[name], "address")
                free = next(a for a in range(64) if a not in taken)
                yield Problem(
                    "address-taken",
                    f'line "{line.name}": "{name}" has the short address {address} of "{taken[address]}"',
                    where,
                    f"{free} is free, say",
                )
            taken.setdefault(address, name)

"""`map --chances`: every plane in varied cases, as pictures and in words."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from raycover.building.parts import Building
from raycover.cli.printing import progress, talk
from raycover.scene.schema import Scene
from raycover.shares import close_percent
from raycover.solving.chance_maps import ChanceMaps, vary
from raycover.solving.coverage import Coverage
from raycover.solving.doubt import MISS_RATE
from raycover.spreads import in_words

if TYPE_CHECKING:
    from raycover.draw.lettering import Wording


def varied(scene: Scene, coverage: Coverage, threads: int | None) -> ChanceMaps:
    """Look at every plane in the varied cases of the scene's `doubt:`."""
    with progress("varying") as step:
        return vary(scene, coverage, threads=threads, progress=step)


def draw(
    scene: Scene,
    building: Building,
    coverage: Coverage,
    maps: ChanceMaps,
    name: str,
    path: Path,
    sheet: tuple[int, int],
    wording: Wording,
) -> None:
    """Draw the probability plan of one map."""
    from raycover.draw.probability_plan import draw_chances

    notes = in_words(scene.doubt, {kind for unit in coverage.units for kind in unit.technologies})
    draw_chances(scene, building, coverage, maps, name, path, sheet_number=sheet, notes=notes, wording=wording)


def say(maps: ChanceMaps, label: str) -> None:
    """How firm each plane is, on stderr."""
    for name, plane in maps.items():
        talk(
            f"{name}{label}, in {maps.draws.n} varied cases: "
            f"{close_percent(plane.firm_share)} seen in at least 95 % of them, "
            f"{close_percent(plane.expected_share)} on average"
        )


def say_miss_rate(scene: Scene, coverage: Coverage) -> None:
    """What the bands of microwave were tested against, where there is any."""
    if any("microwave" in unit.technologies for unit in coverage.units):
        if scene.conditions.reflections:
            talk(MISS_RATE.words)
        else:
            talk("Microwave varies on straight ways only; with conditions: {reflections: 1} more is seen, as in truth.")

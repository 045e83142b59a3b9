"""`check --draw`: the building alone, plan and 3D, nothing solved."""

from __future__ import annotations

from pathlib import Path

from raycover.building.parts import Building
from raycover.cli.printing import talk
from raycover.errors import MissingPart
from raycover.exchange.files import whole_folder
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units

PLAN, VIEW = "building", "building view"


def draw(scene: Scene, building: Building, output: Path, *, with_view: bool, lang: str | None = None) -> None:
    """Write `building.png`, one a storey where there are several, and `building view.png`.

    The plans are there before the 3D picture is begun. `lang` is their language, the scene's own if None.
    """
    from raycover.draw.building_plan import draw_building_plan
    from raycover.report.words import words_for
    from raycover.solving.uncast import inventory, uncast

    wording = words_for(scene, lang).wording
    held = inventory(scene, building)
    units = make_units(scene, building)
    storeys = building.storeys if len(building.storeys) > 1 else (None,)
    n_sheets = len(storeys) + with_view
    with whole_folder(output) as draft:
        for number, storey in enumerate(storeys, 1):
            name = f"{PLAN}.png" if storey is None else f"{PLAN} {storey.name}.png"
            draw_building_plan(
                scene, building, units, held, draft / name,
                storey=storey, sheet_number=(number, n_sheets), wording=wording,
            )  # fmt: skip
    talk(f"Drawn in {output}: the building as it stands, nothing solved.")
    if not with_view:
        return
    from raycover.draw.view3d import draw_building_view

    try:
        with whole_folder(output) as draft:
            draw_building_view(scene, building, uncast(scene, building), held, draft / f"{VIEW}.png", wording=wording)
    except MissingPart as error:
        talk(f"The plan is written, the 3D picture is not: {error}")

"""A plane's map in its building as an ordinary PyVista Plotter, for notebooks and scripts."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from raycover.draw import palette
from raycover.draw.sharing.shells import make_shells
from raycover.draw.sharing.storeys import ShownPlane, show_plane
from raycover.draw.view3d import environment, stage
from raycover.draw.view3d.camera import fit
from raycover.errors import did_you_mean
from raycover.solving.coverage import Coverage


def show(
    coverage: Coverage, plane: str | None = None, *, lobes: Sequence[str] = (), off_screen: bool | None = None
) -> Any:
    """See `Coverage.show`. The map is one mesh a storey and stair, `map NAME`, with `margin_db` and `rgb` a cell."""
    name = next(iter(coverage.by_plane())) if plane is None else plane
    units = [unit for unit in coverage.units if unit.name in lobes]
    for wanted in lobes:
        if wanted not in coverage.detector_names:
            raise KeyError(f'no detector "{wanted}"; {did_you_mean(wanted, coverage.detector_names)}')
    if off_screen is None:
        off_screen = environment.display_problem() is not None
    pyvista = environment.load_for_pictures() if off_screen else environment.load_for_window()
    building = coverage.rays.building
    shown = show_plane(building, coverage, name, cut_m=None, apart=True, whole=False)
    plotter = pyvista.Plotter(off_screen=off_screen, lighting="none")
    plotter.set_background("white")
    stage.light(pyvista, plotter, shown.view.toward, shown.view.right)
    for level in shown.levels:
        stage.add_solids(pyvista, plotter, level.drawn, line_px=1.0, ghosts=stage.FAINT_GHOSTS)
        stage.add_glass(pyvista, plotter, level.drawn)
        for some in level.maps:
            margin = some.plane.margin_db[some.cells.rows, some.cells.columns]
            n = len(margin)
            faces = np.column_stack([np.full(n, 4), np.arange(4 * n).reshape(-1, 4)])
            mesh = pyvista.PolyData(np.ascontiguousarray(some.cells.corners.reshape(-1, 3), np.float32), faces=faces)
            mesh.cell_data["margin_db"] = margin
            mesh.cell_data["rgb"] = palette.margin_rgb(margin, some.plane.reserve_db)
            plotter.add_mesh(
                mesh, scalars="rgb", rgb=True, lighting=False, name=f"map {some.name}", reset_camera=False
            )  # fmt: skip
        for figure, colour in ((level.seated, stage.PEOPLE), (level.unnoticed, stage.UNNOTICED)):
            if len(figure):
                stage.add_people(pyvista, plotter, [figure], colour=colour)
    _add_units(pyvista, plotter, shown)
    first = shown.planes[0]
    found = make_shells(first.explainer.weather, building, coverage.rays, units, first.surface.motion)
    for shell in found.values():
        stage.add_lobe(
            pyvista, plotter, shell.lobe, line_px=1.0, through=shell.through, colours=palette.TINTS[shell.tint]
        )
    points = np.concatenate([*(level.drawn.points for level in shown.levels), shown.tops])
    stage.aim(plotter, fit(shown.view, points, *(int(v) for v in plotter.window_size)), points)
    plotter.renderer.ResetCameraClippingRange()
    return plotter


def _add_units(pyvista: Any, plotter: Any, shown: ShownPlane) -> None:
    if len(shown.tops):
        corners = np.concatenate([some.cells.corners.reshape(-1, 3) for level in shown.levels for some in level.maps])
        dot = float(np.hypot(*np.ptp(corners[:, :2], axis=0))) / 420 if len(corners) else 0.1
        stage.add_drops(pyvista, plotter, shown.tops, shown.feet, dot, line_px=1.2)
        stage.add_dots(pyvista, plotter, shown.tops, np.ones(len(shown.tops), bool))
        plotter.add_point_labels(
            np.asarray(shown.tops), [f"  {unit.name}" for unit in shown.units], show_points=False, shape=None,
            text_color=palette.ACCENT, font_size=12, bold=True, always_visible=True, reset_camera=False,
            render=False, justification_horizontal="left", justification_vertical="bottom",
        )  # fmt: skip

"""`models --for SPACE`: the catalogue ranked for a kind of space."""

from __future__ import annotations

import math
from pathlib import Path

from raycover.asking.suiting import Fit, rank
from raycover.catalogue import load_spaces
from raycover.cli.listing import catalogue_for
from raycover.cli.printing import data, talk
from raycover.cli.tables import table
from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.signs import minus


def rank_for(
    name: str, mounting: float | None, air_c: float | None, scene_folder: Path | None, *, as_json: bool
) -> None:
    """Print every detector for a space, the best first, and why the others fall out. Raises InputError."""
    spaces = load_spaces(scene_folder)
    problems = []
    if name not in spaces:
        hint = did_you_mean(name, sorted(spaces))
        problems.append(Problem("unknown-space", f'no space is named "{name}"', Position("--for"), hint))
    if mounting is not None and not 0.1 <= mounting <= 100:
        problems.append(_range("--mounting", f"{mounting:g} m", "0.1 to 100 m"))
    if air_c is not None and not -20 <= air_c <= 50:
        problems.append(_range("--air", f"{air_c:g} °C", "−20 to 50 °C"))
    if problems:
        raise InputError(problems)
    space = spaces[name]
    fits = rank(space, list(catalogue_for(scene_folder).detectors.values()), mounting=mounting, air_c=air_c)
    height, air = (space.mounting if mounting is None else mounting), (space.air_c if air_c is None else air_c)
    if as_json:
        data(
            {
                "raycover_suiting": 1,
                "space": name,
                "mounting_m": height,
                "air_c": air,
                "reason": space.reason,
                "detectors": [
                    {
                        "name": f.name,
                        "suits": f.suits,
                        "margin_db": f.margin_db if math.isfinite(f.margin_db) else None,
                        "turn_deg": f.turn_deg,
                        "falls_out": list(f.falls_out),
                        "mind": list(f.mind),
                    }
                    for f in fits
                ],
            }
        )
        return
    rows = [[f.name, "suits" if f.suits else "falls out", _margin(f), "\n".join((*f.falls_out, *f.mind))] for f in fits]
    title = f"{name}, units at {height:g} m, air up to {air:g} °C: {space.reason}"
    table(["model", "", "least margin", "why, or what to mind"], rows, title=title, right=(2,))
    for need in space.needs:
        talk(f"needed: {need.motion} motion at {need.plane:g} m, {need.length:g} × {need.width:g} m each way of a unit")
    talk("A first choice over open floor, our own judgement of what such spaces need: the scene decides.")


def _margin(fit: Fit) -> str:
    return minus(f"{fit.margin_db:+.1f} dB") if math.isfinite(fit.margin_db) else "none"


def _range(option: str, said: str, allowed: str) -> Problem:
    return Problem("bad-option", f"{said} is out of range", Position(option), f"{allowed} is allowed")

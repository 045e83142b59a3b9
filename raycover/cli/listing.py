"""`raycover models`: the catalogue as tables or JSON."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from raycover.asking.reach import is_sector, outline
from raycover.catalogue import Catalogue, Losses, load_catalogue, packaged_folder
from raycover.cli.printing import data, talk
from raycover.cli.tables import table
from raycover.detectors import declarations_of
from raycover.errors import InputError, Position, Problem
from raycover.kit.unit_words import size_words
from raycover.physics.pattern import resolve
from raycover.physics.slab import Layer, LossTable, Material, loss_db
from raycover.scene.devices import DetectorModel

BANDS_GHZ = (5.8, 24.125)
ANGLES_DEG = (0, 45, 60)
#: Materials are compared as a sheet this thick (m).
SHEET_M = 0.010
_COS = np.cos(np.radians(ANGLES_DEG))


def catalogue_for(scene_folder: Path | None) -> Catalogue:
    """The catalogue with the folder's own models; by default those beside here.

    A checkout's own `models/` is the packaged catalogue over again and adds nothing. Raises InputError.
    """
    return load_catalogue(own_folder(scene_folder))


def own_folder(scene_folder: Path | None) -> Path | None:
    """The folder whose `models/` is read too: the one given, or here. Raises InputError where there is none."""
    if scene_folder is not None and not scene_folder.is_dir():
        raise InputError(
            [Problem("missing-folder", "there is no such folder", Position(str(scene_folder)), "check --scene-folder")]
        )
    if scene_folder is None:
        here = Path.cwd()
        return None if _is_packaged_again(here / "models") else here
    return scene_folder


def _is_packaged_again(folder: Path) -> bool:
    own, packaged = folder / "constructions.yaml", packaged_folder() / "constructions.yaml"
    try:
        return own.read_bytes() == packaged.read_bytes()
    except OSError:
        return False


def list_models(scene_folder: Path | None, *, constructions: bool, materials: bool, losses: str, as_json: bool) -> None:
    """Print detectors, or constructions and materials where asked. Raises InputError."""
    if losses not in ("averaged", "coherent"):
        raise InputError(
            [Problem("unknown-losses", f'losses are not "{losses}"', Position("--losses"), "averaged or coherent")]
        )
    catalogue = catalogue_for(scene_folder)
    parts: dict[str, tuple[Callable[[Catalogue, Losses], list[dict[str, Any]]], Callable[..., None]]] = {}
    if constructions:
        parts["constructions"] = (_constructions, _print_losses)
    if materials:
        parts["materials"] = (_materials, _print_losses)
        parts["solids"] = (_solids, _print_solids)
    if not parts:
        parts["detectors"] = (_detectors, _print_detectors)
    how: Losses = "coherent" if losses == "coherent" else "averaged"
    listed = {name: collect(catalogue, how) for name, (collect, _) in parts.items()}
    if as_json:
        from raycover.exchange.summary import stamp

        data(
            {**stamp(), **({} if "detectors" in parts else {"losses": losses, "edition": catalogue.edition}), **listed}
        )
        return
    for name, (_, show) in parts.items():
        show(name, listed[name], catalogue, how)


def refuse_without_material(
    frequencies: list[str] | None, output: Path | None, *, drawing: bool, lang: str = "en"
) -> None:
    """Refuse what only means something with `--material`. Raises InputError."""
    given = {
        "--frequency-ghz": bool(frequencies),
        "--output": output is not None,
        "--no-drawing": not drawing,
        "--lang": lang != "en",
    }
    if problems := [
        Problem("needs-material", f"{option} needs --material", Position(option), "name one: --material glass-6, say")
        for option, is_given in given.items()
        if is_given
    ]:
        raise InputError(problems)


def _detectors(catalogue: Catalogue, losses: Losses) -> list[dict[str, Any]]:
    return [
        {**entry_json(model), "file": str(catalogue.origins["detector", name])}
        for name, model in sorted(catalogue.detectors.items())
    ]


def entry_json(model: DetectorModel) -> dict[str, Any]:
    """An entry as its file says it, without what was left out; lengths in metres."""
    whole = model.model_dump(mode="json", by_alias=True, exclude_none=True)
    return {k: v for k, v in whole.items() if v not in ("", [])}


def _print_detectors(name: str, listed: list[dict[str, Any]], catalogue: Catalogue, losses: Losses) -> None:
    packaged = packaged_folder().resolve()
    rows = []
    for entry in listed:
        model = catalogue.detectors[entry["name"]]
        frequency = model.parts[-1].frequency_ghz
        band = "" if frequency is None else f"{frequency:g} GHz"
        allowed = "" if model.mounting is None else f"{model.mounting.from_m:g} to {model.mounting.to_m:g}"
        own = "" if Path(entry["file"]).resolve().is_relative_to(packaged) else " (own)"
        rows.append([model.name + own, model.title, f"{model.kind} {band}".strip(), _reach(model), allowed])
    table(["name", "title", "kind", "reach where declared, m", "mounting, m"], rows)
    talk("Next: raycover models show NAME draws one, raycover models new enters your own.")


def _reach(model: DetectorModel) -> str:
    """A line a motion: its size at each declared height, on the plane it is declared on."""
    if len(model.parts) > 1:
        return "\n".join(f"{part.kind} {line}" for part in model.parts for line in _reach(part).splitlines())
    lines: dict[str, list[str]] = {}
    for spec, declaration in zip(model.declared, declarations_of(model), strict=True):
        (footprint,) = resolve((declaration,), declaration.mounting)
        limit = outline(footprint, model.kind, declaration.mounting, declaration.plane)
        lines.setdefault(spec.motion, []).append(f"{size_words(limit, sector=is_sector(model))} at {spec.mounting:g}")
    return "\n".join(f"{motion} {', '.join(sizes)}" for motion, sizes in lines.items())


def _constructions(catalogue: Catalogue, losses: Losses) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "kind": made.kind,
            "thickness_m": made.thickness_m,
            "layers": [
                {"material": layer.material.name if layer.material else "air", "thickness_m": layer.thickness_m}
                for layer in made.layers
            ],
            "stops_infrared": made.stops_infrared,
            "loss_db": _losses(partial(made.loss_table, losses=losses)),
            "source": made.source,
            "file": str(catalogue.origins["construction", name]),
        }
        for name, made in sorted(catalogue.constructions.items())
    ]


def _materials(catalogue: Catalogue, losses: Losses) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "valid_ghz": [made.from_ghz, made.to_ghz],
            "opaque": made.is_metal,
            "loss_db": _losses(partial(_sheet, made, losses=losses)),
            "sheet_thickness_m": SHEET_M,
            "source": catalogue.sources[f"material {name}"],
            "file": str(catalogue.origins["material", name]),
        }
        for name, made in sorted(catalogue.materials.items())
    ]


def _sheet(material: Material, frequency_ghz: float, *, losses: Losses) -> LossTable | list[float]:
    if material.is_metal:
        return LossTable.opaque()
    layers = [Layer(SHEET_M, material)]
    how: Any = losses
    return [float(v) for v in loss_db(layers, frequency_ghz, _COS, losses=how)]


def _losses(at: Callable[[float], LossTable | list[float]]) -> dict[str, list[float | None] | None]:
    """Loss (dB) at `ANGLES_DEG` by band; None inside a list where opaque, None instead of it where no row holds."""
    found: dict[str, list[float | None] | None] = {}
    for frequency in BANDS_GHZ:
        try:
            values = at(frequency)
        except ValueError:
            found[f"{frequency:g}"] = None
            continue
        listed = values.loss_db(_COS).tolist() if isinstance(values, LossTable) else values
        found[f"{frequency:g}"] = [round(v, 3) if math.isfinite(v) else None for v in listed]
    return found


def _print_losses(name: str, listed: list[dict[str, Any]], catalogue: Catalogue, losses: Losses) -> None:
    angles = "/".join(f"{a}" for a in ANGLES_DEG)
    columns = ["name", *(f"{f:g} GHz at {angles}°, dB" for f in BANDS_GHZ), "source"]
    rows = [[e["name"], *(_three(e["loss_db"][f"{f:g}"]) for f in BANDS_GHZ), e["source"]] for e in listed]
    what = "constructions" if name == "constructions" else f"materials, as a sheet of {1000 * SHEET_M:g} mm"
    table(columns, rows, title=f"{what}: one-way loss, {losses} ({catalogue.edition})", right=(1, 2))
    if name == "constructions":
        talk("Infrared stops at all of them but the open ones (wire mesh).")
    talk("Next: raycover models --material NAME draws one, against angle and frequency.")


def _three(values: list[float | None] | None) -> str:
    if values is None:
        return "no figure"
    if all(v is None for v in values):
        return "opaque"
    return " / ".join("opaque" if v is None else f"{v:.1f}" for v in values)


def _solids(catalogue: Catalogue, losses: Losses) -> list[dict[str, Any]]:
    found = []
    for name, made in sorted(catalogue.solids.items()):
        bulk = {f"{f:g}": made.loss_db_per_m(f) for f in BANDS_GHZ}
        per_metre = {f: round(v, 3) if math.isfinite(v) else None for f, v in bulk.items()}
        found.append({"name": name, "opaque": made.opaque, "loss_db_per_m": per_metre, "source": made.source})
    return found


def _print_solids(name: str, listed: list[dict[str, Any]], catalogue: Catalogue, losses: Losses) -> None:
    rows = [
        [e["name"], *("opaque" if v is None else f"{v:.1f}" for v in e["loss_db_per_m"].values()), e["source"]]
        for e in listed
    ]
    table(
        ["name", *(f"{f:g} GHz, dB/m" for f in BANDS_GHZ), "source"],
        rows,
        title="solids: loss a metre of chord, one way",
        right=(1, 2),
    )

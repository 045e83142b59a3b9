"""`raycover models --material`: a construction's or material's losses as a sheet, a table or JSON."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

import raycover
from raycover.catalogue import Catalogue, SolidMaterial
from raycover.cli.listing import BANDS_GHZ, catalogue_for
from raycover.cli.printing import data, talk
from raycover.cli.showing import option_values
from raycover.cli.tables import table
from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.exchange import data_sheet
from raycover.exchange.files import writing
from raycover.kit.sheet_figures import TABLE_DEG, NoFigure, SheetFigures, sheet_figures
from raycover.kit.sheet_words import facts, notes, percent, summary

if TYPE_CHECKING:
    from raycover.draw.lettering import Wording

CAUTION = "A prediction, not a site test: walk-test before hand-over. What is built differs from what is drawn."
_CHORDS_M = (0.25, 0.5, 1.0, 2.0)


def show_material(
    name: str,
    output: Path | None,
    frequencies: list[str],
    scene_folder: Path | None,
    *,
    drawing: bool,
    lang: str = "en",
    as_json: bool,
) -> None:
    """Draw a construction or material of the catalogue and print its figures. Raises InputError."""
    from raycover.report.words import report_words

    wording = report_words(lang).wording
    asked = _frequencies(frequencies)
    catalogue = catalogue_for(scene_folder)
    if name in catalogue.solids and name not in {**catalogue.constructions, **catalogue.materials}:
        _show_solid(catalogue, name, asked, frequencies, output, as_json=as_json)
        return
    if name not in {**catalogue.constructions, **catalogue.materials}:
        known = sorted({**catalogue.constructions, **catalogue.materials, **catalogue.solids})
        what = f'no construction or material is named "{name}"'
        raise InputError([Problem("unknown-material", what, Position("--material"), did_you_mean(name, known))])
    try:
        figures = sheet_figures(catalogue, name, asked)
    except NoFigure as missing:
        raise InputError([_no_figure(missing, asked, frequencies)]) from None
    target = output if output is not None else None if as_json else Path(f"{name}.png")
    if target is not None and drawing:
        _draw(figures, target, wording)
    else:
        target = None
    if as_json:
        from raycover.exchange.summary import stamp

        picture = None if target is None else str(target)
        kind = "material" if figures.is_material else "construction"
        data({**stamp(), **_as_json(figures), "file": str(catalogue.origins[kind, name]), "picture": picture})
        return
    _print(figures)
    if target is not None:
        talk(f"Drawn {target}.")


def _frequencies(given: list[str]) -> list[float]:
    found, problems = option_values("--frequency-ghz", given, data_sheet.frequency)
    if len(given) > 4:
        few = "four at the most share a sheet"
        problems.append(Problem("too-many", f"{len(given)} frequencies", Position("--frequency-ghz"), few))
    if problems:
        raise InputError(problems)
    return found


def _no_figure(missing: NoFigure, asked: list[float], texts: list[str]) -> Problem:
    number = asked.index(missing.frequency_ghz)
    return Problem(
        "frequency-outside-material",
        f"at {missing.frequency_ghz:g} GHz there is no figure for {', '.join(missing.known)}",
        Position("--frequency-ghz", number + 1, 1, texts[number]),
        "ask within that range",
    )


def _draw(figures: SheetFigures, path: Path, wording: Wording) -> None:
    """Draw the sheet; its folder is made where missing. Raises InputError where it cannot be written."""
    from raycover.draw.material_sheet import ENDINGS, draw_material_sheet

    if path.suffix.lower() not in ENDINGS:
        why = "the drawing is a PNG, SVG or PDF"
        raise InputError([Problem("wrong-ending", why, Position(str(path)), f"write -o {path.name}.png")])
    with writing(path):
        draw_material_sheet(figures, path, version=raycover.__version__, wording=wording)


def _print(figures: SheetFigures) -> None:
    made = figures.made
    print(f"{made.name}: {summary(figures)}")
    for label, value in facts(figures):
        print(f"{label:<16} {value}")
    print()
    for band in figures.bands:
        rows = []
        for angle, coarse, row in zip(TABLE_DEG, figures.rows(), figures.rows(fine=True), strict=True):
            loss = float(band.averaged_db[row])
            spread = f"{_db(band.low_db[coarse])} to {_db(band.high_db[coarse])}" if not figures.is_fixed else "–"
            rows.append(
                [
                    f"{angle}",
                    _db(loss),
                    spread,
                    _db(band.coherent_db[row]),
                    percent(10 ** (-loss / 20)),
                    percent(float(band.mirrored[row])),
                ]
            )
        stands_in = f", those measured at {band.stands_in}" if band.stands_in else ""
        columns = ["angle, °", "averaged, dB", "within ±10 % thickness", "coherent, dB", "reach left", "mirrored"]
        table(columns, rows, title=f"{band.frequency_ghz:g} GHz, one way{stands_in}", right=range(6))
        print()
    print("Sources")
    for source in (figures.source, *figures.material_sources):
        print(f"  {source}")
    for note in notes(figures):
        print(f"  note: {note}")
    print(CAUTION)


def _db(value: float) -> str:
    return f"{value:.1f}" if math.isfinite(value) else "opaque"


def _as_json(figures: SheetFigures) -> dict[str, Any]:
    """Figures at the angles of the table and against frequency; null where nothing passes or nothing is mirrored."""
    made = figures.made
    studs, mats = made.studs, made.mats
    return {
        "name": made.name,
        "kind": "material" if figures.is_material else made.kind,
        "thickness_m": made.thickness_m,
        "layers": [
            {"material": layer.material.name if layer.material else "air", "thickness_m": layer.thickness_m}
            for layer in made.layers
        ],
        "studs": studs and {"material": studs.material.name, "pitch_m": studs.pitch_m, "width_m": studs.width_m},
        "reinforcement": mats and {"pitch_m": mats.pitch_m, "bar_m": mats.bar_m, "mats": mats.n_mats},
        "stops_infrared": made.stops_infrared,
        "edition": figures.edition,
        "sources": [figures.source, *figures.material_sources],
        "notes": notes(figures),
        "losses": [
            {
                "frequency_ghz": band.frequency_ghz,
                "measured_at": band.stands_in or None,
                "angles": [
                    {
                        "incidence_deg": angle,
                        "averaged_db": _number(band.averaged_db[row]),
                        "low_db": _number(band.low_db[coarse]),
                        "high_db": _number(band.high_db[coarse]),
                        "coherent_db": _number(band.coherent_db[row]),
                        "reach_share": round(float(10 ** (-band.averaged_db[row] / 20)), 5),
                        "mirrored_share": round(float(band.mirrored[row]), 5),
                        "mirrored_low": round(float(band.mirrored_low[coarse]), 5),
                        "mirrored_high": round(float(band.mirrored_high[coarse]), 5),
                        "mirrored_coherent": round(float(band.mirrored_coherent[row]), 5),
                    }
                    for angle, coarse, row in zip(TABLE_DEG, figures.rows(), figures.rows(fine=True), strict=True)
                ],
            }
            for band in figures.bands
        ],
        "against_frequency": [
            {
                "frequency_ghz": [round(float(f), 4) for f in stretch.frequency_ghz],
                "averaged_db": [_number(v) for v in stretch.averaged_db],
                "low_db": [_number(v) for v in stretch.low_db],
                "high_db": [_number(v) for v in stretch.high_db],
            }
            for stretch in figures.stretches
        ],
        "caution": CAUTION,
    }


def _number(value: float) -> float | None:
    return round(float(value), 4) if np.isfinite(value) else None


def _show_solid(
    catalogue: Catalogue, name: str, asked: list[float], texts: list[str], output: Path | None, *, as_json: bool
) -> None:
    """What a solid costs a metre: a table, since there is nothing to draw. Raises InputError."""
    made: SolidMaterial = catalogue.solids[name]
    if output is not None:
        why = f'"{name}" is what solids are made of: it has a loss a metre, and no sheet to draw'
        raise InputError([Problem("no-sheet", why, Position("--output"), "leave -o out for its figures")])
    material = made.material
    for frequency in asked:
        if material is not None and not material.holds_at(frequency):
            raise InputError([_no_figure(NoFigure(frequency, [material.known_words]), asked, texts)])
    chosen = [f for f in asked or BANDS_GHZ if material is None or material.holds_at(f)]
    rates = {f: made.loss_db_per_m(f) for f in chosen}
    if as_json:
        from raycover.exchange.summary import stamp

        per_metre = [{"frequency_ghz": f, "loss_db_per_m": _number(rate)} for f, rate in rates.items()]
        file = str(catalogue.origins["solid", name])
        told = {"name": name, "kind": "solid", "opaque": made.opaque, "losses": per_metre}
        data({**stamp(), **told, "sources": [made.source], "caution": CAUTION, "file": file, "picture": None})
        return
    print(f"{name}: what solids are made of; infrared stops at it.")
    columns = ["GHz", "dB/m", *(f"reach left behind {chord:g} m" for chord in _CHORDS_M)]
    left = [[percent(10 ** (-rate * chord / 20)) for chord in _CHORDS_M] for rate in rates.values()]
    rows = [[f"{f:g}", _db(rate), *cells] for (f, rate), cells in zip(rates.items(), left, strict=True)]
    table(columns, rows, title="Loss a metre of chord, one way", right=range(len(columns)))
    print(f"Source\n  {made.source}\n{CAUTION}")

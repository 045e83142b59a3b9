"""`prove`: judge the needs of a scene, print verdicts, write the proof."""

from __future__ import annotations

import math
from pathlib import Path

from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.exchange.files import whole_folder
from raycover.exchange.proof import CAUTION, asked_words, proof_json
from raycover.loading import load
from raycover.needs import NeedVerdict, PlaceVerdict, Proof, prove


def prove_scene(path: Path, output: Path | None, *, state: str | None, as_json: bool) -> bool:
    """Judge, print or write; whether every need is met."""
    import json

    scene = load(path)
    warn(scene.warnings)
    with progress("judging") as step:
        proof = prove(scene, state=state, progress=step)
    figures = proof_json(proof)
    if output is not None:
        with whole_folder(output) as draft:
            text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
            (draft / "proof.json").write_text(text, encoding="utf-8", errors="replace")
    if as_json:
        data(figures)
    else:
        _print(proof)
    if output is not None:
        talk(f"Written to {output}")
    if proof.assumed:
        talk("The scene says no needs: every cubicle with its doors closed, every flight and landing were assumed.")
    talk(CAUTION)
    return proof.met


def _print(proof: Proof) -> None:
    for verdict in proof.needs:
        _print_need(verdict)
    missed = [verdict.need.name for verdict in proof.needs if not verdict.met]
    n = len(proof.needs)
    print(f"{n - len(missed)} of {n} need{'s' * (n != 1)} met" + (f"; not: {', '.join(missed)}" if missed else ""))


def _print_need(verdict: NeedVerdict) -> None:
    never = verdict.need.never
    heads = ["place", "yes/no", "seen" if not never else "trips", "widest gap" if not never else "", "margin", "unit",
             "worst place", "way there"]  # fmt: skip
    rows = [_row(verdict, place) for place in verdict.places]
    if never:
        heads.pop(3)
        rows = [[*row[:3], *row[4:]] for row in rows]
    state = "" if not verdict.situation.scene.states else f", {verdict.situation.scene.state}"
    title = f"{verdict.need.name}{state}: {verdict.words} ({asked_words(verdict)})"
    table(heads, rows, title=title, right=range(2, 4 if never else 5))
    print()


def _row(verdict: NeedVerdict, place: PlaceVerdict) -> list[str]:
    found, way = place.figures, place.way
    margin = f"{found.worst_db:+.1f} dB" if math.isfinite(found.worst_db) else "none"
    return [
        place.site.name,
        "yes" if place.met else "no",
        f"{found.share:.1%}",
        f"{found.largest_gap_m:.2f} m",
        margin,
        way.unit if way is not None else "–",
        "(" + ", ".join(f"{v:.2f}" for v in way.at) + ")" if way is not None else "",
        way.words if way is not None else "no detector",
    ]

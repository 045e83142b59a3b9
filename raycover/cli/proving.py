"""`prove`: judge the needs of a scene, print verdicts, write the proof."""

from __future__ import annotations

from pathlib import Path

from raycover.cli.mending import mend_file, mended_json, print_mended
from raycover.cli.new_scenes import check_target
from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.errors import InputError
from raycover.exchange.files import whole_folder
from raycover.exchange.proof import proof_json
from raycover.kit.aisle_words import ALONG_AISLES
from raycover.loading import load
from raycover.proving.firmness import with_chances, with_firm_mends, with_quiet
from raycover.proving.mending import Mending, find_mending
from raycover.proving.mending_words import NOT_TRIED, mend_rows, mending_notes, mending_title, seen_head
from raycover.proving.needs import NeedVerdict, PlaceVerdict, Proof, prove
from raycover.proving.proof_words import (
    CAUTION,
    asked_words,
    assumptions,
    cell_words,
    chance_words,
    matrix_words,
    remedy_cost,
    walked_words,
    way_words,
    why_words,
)
from raycover.proving.remedies import Trouble, find_remedies
from raycover.shares import close_percent
from raycover.signs import margin_words
from raycover.solving.coverage import solve


def prove_scene(
    path: Path,
    output: Path | None,
    *,
    state: str | None,
    lang: str | None,
    as_json: bool,
    mended: Path | None = None,
    force: bool = False,
) -> bool:
    """Judge, print or write; whether every need of the scene as it stands is met.

    `lang` is the language of the pages, and of the names of ready-made needs. `mended`: where to write the scene with
    the best remedies in it.
    """
    import json

    from raycover.draw.proof_sheets import draw_proof
    from raycover.report.words import worded

    words, scene = worded(load(path), lang)
    warn(scene.warnings)
    if mended is not None:
        check_target(path, mended, force=force)
    with progress("judging") as step:
        proof = prove(scene, state=state, progress=step).named(words.assumed)
    with progress("varying") as step:
        proof = with_chances(proof, step)
    troubles, mendings = _remedies(proof), _mendings(proof)
    figures = proof_json(proof, troubles, mendings)
    made = None if mended is None else mend_file(path, mended, state=state)
    if made is not None and mended is not None:
        figures["mended_scene"] = mended_json(made, mended)
    if output is not None:
        with whole_folder(output) as draft:
            text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
            (draft / "proof.json").write_text(text, encoding="utf-8", errors="replace")
            with progress("drawing"):
                draw_proof(proof, draft, troubles, mendings=mendings, wording=words.wording)
    if as_json:
        data(figures)
    else:
        _print(proof, troubles, mendings)
        if made is not None and mended is not None:
            print()
            print_mended(made, mended)
    if output is not None:
        talk(f"Written to {output}")
    if proof.assumed:
        talk("The scene says no needs: every cubicle with its doors closed, every flight and landing were assumed.")
    if ALONG_AISLES in assumptions(proof):
        talk(ALONG_AISLES)
    talk(CAUTION)
    return proof.met


def _remedies(proof: Proof) -> tuple[Trouble, ...]:
    """What would stop the units that see too far, where there are any."""
    if all(verdict.met for verdict in proof.needs if verdict.need.never):
        return ()
    with progress("trying remedies") as step:
        try:
            coverage = solve(proof.scene)
        except InputError:  # no plane has a place to lie in: then there is no map to lose anything of
            coverage = None
        troubles = find_remedies(proof, coverage, step)
    with progress("varying remedies") as step:
        return with_quiet(proof, troubles, step)


def _mendings(proof: Proof) -> tuple[Mending, ...]:
    """What would mend the needs whose places are missed, where there are any."""
    if all(verdict.met for verdict in proof.needs if not verdict.need.never):
        return ()
    with progress("trying changes") as step:
        mendings = find_mending(proof, step)
    with progress("varying changes") as step:
        return with_firm_mends(proof, mendings, step)


def _print(proof: Proof, troubles: tuple[Trouble, ...], mendings: tuple[Mending, ...]) -> None:
    for verdict in proof.needs:
        _print_need(verdict)
    for matrix in proof.matrices:
        state = f", {matrix.state}" if matrix.state else ""
        rows = [
            [name, *(cell_words(float(share), int(kind)) for share, kind in zip(shares, kinds, strict=True))]
            for name, shares, kinds in zip(matrix.rows, matrix.share, matrix.kind, strict=True)
        ]
        title = f"{matrix.title}{state}, who trips whom: {matrix_words(matrix)}"
        table(["from", *matrix.units], rows, title=title, right=range(1, len(matrix.units) + 1))
        print()
    for trouble in troubles:
        rows = [
            [
                r.words,
                "yes" if r.stops else "no",
                margin_words(r.worst_db),
                chance_words(r.quiet) or NOT_TRIED,
                remedy_cost(r),
                r.note,
            ]
            for r in trouble.remedies
        ]
        title = f"{trouble.unit} is tripped from {', '.join(trouble.needs)}; what would stop it, best first"
        table(["remedy", "stops it", "margin left", "quiet", "costs inside", "remark"], rows, title=title, right=[2, 3])
        if any(r.quiet is None for r in trouble.remedies):
            print(f"{NOT_TRIED} in quiet: not tried, since it is only asked of what stops it.")
        print()
    for mending in mendings:
        _print_mending(mending)
    if proof.left_out:
        print(f"Left out, since nothing of the kind stands there: {', '.join(proof.left_out)}")
    missed = [verdict.need.name for verdict in proof.needs if not verdict.met]
    n = len(proof.needs)
    print(f"{n - len(missed)} of {n} need{'s' * (n != 1)} met" + (f"; not: {'; '.join(missed)}" if missed else ""))


def _print_mending(mending: Mending) -> None:
    rows = [
        [one.words, one.mends, one.seen, f"{one.mend.gap_m:.2f} m", one.margin, one.chance, one.cost, one.effect]
        for one in mend_rows(mending)
    ]
    heads = ["remedy", "mends it", seen_head(mending), "widest gap", "margin", "chance", "asks for", "and else"]
    if rows:
        table(heads, rows, title=mending_title(mending), right=range(2, 6))
    if notes := mending_notes(mending):
        print(f"{mending.need}: {notes}")
    print()


def _print_need(verdict: NeedVerdict) -> None:
    never = verdict.need.never
    heads = ["place", "clear" if never else "met", "trips" if never else "seen", "widest gap", "margin", "chance",
             "unit", "worst place", "way there"]  # fmt: skip
    rows = [_row(verdict, place) for place in verdict.places]
    if verdict.need.first_within is not None:
        heads[2] = "noticed after"
    if verdict.need.routes is not None:
        heads[2] = "unnoticed for"
    narrow = never or verdict.need.walked
    if narrow:
        heads.pop(3)
        rows = [[*row[:3], *row[4:]] for row in rows]
    state = "" if not verdict.situation.scene.states else f", {verdict.situation.scene.state}"
    chance = chance_words(verdict.probability)
    firm = f", {chance} of the varied cases" if chance else ""
    title = f"{verdict.need.name}{state}: {verdict.words}{firm} ({asked_words(verdict.need)})"
    table(heads, rows, title=title, right=range(2, 5 if narrow else 6))
    if why := why_words(verdict.need):
        print(f"why: {why}")
    print()


def _row(verdict: NeedVerdict, place: PlaceVerdict) -> list[str]:
    found, way = place.figures, place.way
    if verdict.need.only_area:
        return [place.site.name, "yes" if place.met else "no", *["–"] * 4, "", "", way_words(verdict, place)]
    return [
        place.site.name,
        "yes" if place.met else "no",
        walked_words(found) if verdict.need.walked else close_percent(found.share),
        f"{found.largest_gap_m:.2f} m",
        margin_words(found.worst_db),
        chance_words(place.probability),
        way.unit if way is not None else "–",
        "(" + ", ".join(f"{v:.2f}" for v in way.at) + ")" if way is not None else "",
        way_words(verdict, place),
    ]

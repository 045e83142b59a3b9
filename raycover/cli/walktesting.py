"""`walktest` and `reconcile`: the sheet that goes to site, and what comes back."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from raycover.cli.new_scenes import for_folder
from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.errors import InputError, MissingPart, did_you_mean, option_error
from raycover.exchange.files import whole_folder
from raycover.exchange.results_file import read_results
from raycover.exchange.walktest_files import (
    corrected_text,
    from_walls,
    reconcile_json,
    sheet_csv,
    sheet_xlsx,
    walktest_json,
)
from raycover.loading import load, load_text
from raycover.proving.proof_words import CAUTION, chance_words
from raycover.scene.devices import PlaneSpec
from raycover.scene.needs import PERSON_HEIGHTS
from raycover.scene.schema import Scene
from raycover.signs import margin_words
from raycover.solving.coverage import Coverage, solve
from raycover.walktest.making import WalkTest, make_walk_test
from raycover.walktest.reconciling import Estimate, Share
from raycover.walktest.returned import Returned, compare, conclusions, differing, estimate_words

#: Paper that plans of a sheet come on.
PAPERS = ("A4", "A3")


def walk_test_scene(
    path: Path,
    output: Path,
    *,
    n_points: int,
    detectors: Sequence[str],
    paper: str,
    state: str | None,
    lang: str | None = None,
    as_json: bool,
) -> None:
    """Choose points; write the sheet as PDF, PNG, CSV, JSON, and XLSX where openpyxl is there.

    `lang` is the language of sheet and tables, the scene's own if None.
    """
    from raycover.draw.walktest_page import draw_walk_test
    from raycover.report.words import words_for

    if paper.upper() not in PAPERS:
        raise option_error("--paper", f'a sheet comes on A4 or A3, not "{paper}"', did_you_mean(paper.upper(), PAPERS))
    scene = load(path)
    words = words_for(scene, lang)
    _known(scene, state, detectors)
    warn(scene.warnings)
    with progress("choosing") as step:
        test = make_walk_test(scene, state=state, detectors=detectors, n_points=n_points, progress=step)
    figures = walktest_json(test)
    with whole_folder(output) as draft, progress("drawing"):
        (draft / "walk-test.csv").write_text(
            sheet_csv(test, words.code, words.wording), encoding="utf-8", errors="replace"
        )
        text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
        (draft / "walk-test.json").write_text(text, encoding="utf-8", errors="replace")
        missing = None
        try:
            (draft / "walk-test.xlsx").write_bytes(sheet_xlsx(test, words.code, words.wording))
        except MissingPart as error:
            missing = str(error)
        draw_walk_test(test, draft, paper=paper.upper(), wording=words.wording)
    if as_json:
        data(figures)
    else:
        _print_sheet(test)
    if test.left_out:
        some = ", ".join(test.left_out[:6]) + (f" and {len(test.left_out) - 6} more" if len(test.left_out) > 6 else "")
        talk(f"No point was left for: {some}. --points gives more, 60 at most.")
    if missing:
        talk(missing)
    talk(
        f"Written to {output}. Fill in seen (yes or no) in walk-test.csv or .xlsx, then: "
        f"raycover reconcile {path} {output / 'walk-test.csv'} -o {output}"
    )
    talk(CAUTION)


def _known(scene: Scene, state: str | None, detectors: Sequence[str]) -> None:
    if state is not None and state not in scene.state_names:
        raise option_error("--state", f'no state is named "{state}"', did_you_mean(state, scene.state_names))
    names = [detector.name for detector in scene.detectors]
    for name in detectors:
        if name not in names:
            raise option_error("--detector", f'no detector is named "{name}"', did_you_mean(name, names))


def _print_sheet(test: WalkTest) -> None:
    heads = ("no", "room", "from the walls", "do", "expected", "chance", "margin", "why")
    rows = [
        (
            str(p.number), " ".join(w for w in (p.storey, p.place or p.room) if w), from_walls(p), p.move.key,
            p.expected, chance_words(p.chance), margin_words(p.margin_db), p.why,
        )
        for p in test.points
    ]  # fmt: skip
    table(heads, rows, right=(0, 5, 6))
    told = [
        f"{test.unknowns.words(k)} ±{before:.1f} to ±{after:.1f} dB"
        for k, (before, after) in enumerate(zip(test.unknowns.prior_db, test.known_db, strict=True))
        if after < 0.9 * before
    ]
    talk(f"{len(test.points)} points, {test.length_m:.0f} m to walk; the answers should narrow "
         f"{', '.join(told) if told else 'nothing much: no point lies near an edge'}.")  # fmt: skip


def reconcile_scene(
    path: Path,
    results: Path,
    output: Path,
    *,
    state: str | None,
    lang: str | None = None,
    as_json: bool,
    anyway: bool = False,
) -> None:
    """Lay a filled-in table over a scene; write figures, pages and, where answers support one, the corrected scene.

    Answers that no correction fits write none, unless it is wanted `anyway`. `lang` is the language of the pages, the
    scene's own if None.
    """
    from raycover.draw.reconcile_page import draw_reconciliation
    from raycover.report.words import words_for

    scene = load(path)
    wording = words_for(scene, lang).wording
    _known(scene, state, ())
    answers = read_results(results)
    warn(scene.warnings)
    with progress("comparing"):
        returned = compare(scene, answers, state=state)
    figures = reconcile_json(returned)
    corrections = returned.corrections()
    withheld = corrections is not None and not returned.found.fits and not anyway
    name = f"{path.stem}-corrected.yaml"
    text, beside = None, ""
    if corrections is not None and not withheld:
        text, beside = _corrected(path, corrections, output / name)
    with whole_folder(output) as draft, progress("drawing"):
        (draft / "reconcile.json").write_text(
            json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1), encoding="utf-8", errors="replace"
        )
        draw_reconciliation(returned, _walking(returned), draft, wording=wording)
        if text is not None:
            (draft / name).write_bytes(text.encode("utf-8"))
    if as_json:
        data(figures)
    else:
        _print_returned(returned)
    talk(f"Written to {output}.")
    if withheld:
        talk("No corrected scene is written: the answers do not fit one cause. --anyway writes it all the same.")
    if text is not None:
        talk(
            f"The corrected scene is {output / name}; the old one stays as it is. Look at it by: "
            f"raycover map {output / name}{beside}"
        )
    talk(CAUTION)


def _corrected(path: Path, corrections: dict[str, dict[str, float]], target: Path) -> tuple[str, str]:
    """The scene's text with corrections, read again to be sure that it is sound; what else to do with it, in words."""
    text = path.read_bytes().decode("utf-8")
    changed = corrected_text(text, str(path), corrections)
    load_text(changed.removeprefix("\ufeff"), str(path), path.parent)
    try:
        return for_folder(changed, path, target), ""
    except InputError:  # the answers are worth their figures all the same
        return changed, " (put it beside the old one first: it needs the models/ there)"


def _walking(returned: Returned) -> Coverage:
    """The map beneath: where a walking person is noticed, as the scene stands."""
    there = returned.there
    plane = PlaneSpec(name="walk test", target="person", heights=list(PERSON_HEIGHTS))
    if not there.scene.rooms:
        at = [(*p.at[:2], *p.at[:2]) for p in returned.points]
        at += [(*unit.position[:2].tolist(), *unit.position[:2].tolist()) for unit in there.units]
        columns = list(zip(*at, strict=True))
        low, high = [min(c) for c in columns[:2]], [max(c) for c in columns[2:]]
        plane = plane.model_copy(update={"extent": (low[0] - 1, low[1] - 1, high[0] + 1, high[1] + 1)})
    scene = there.scene.changed({"planes": [plane]}, there.scene.state, lambda places: places)
    return solve(scene, building=there.building, rays=there.rays)


def _print_returned(returned: Returned) -> None:
    found = returned.found
    tables = [("as the scene stands", found.before)]
    if found.supported:
        tables.append(("with the correction", found.after))
    rows = [
        (label, str(one.hits), str(one.missed), str(one.false), str(one.quiet),
         *map(_share, (one.noticed_of_predicted, one.noticed_of_others, one.right)))
        for label, one in tables
    ]  # fmt: skip
    heads = ("", "hit", "missed", "false", "quiet", "noticed of predicted", "noticed of others", "as predicted")
    table(heads, rows, right=(1, 2, 3, 4))
    print()
    rows = [
        (
            e.words, f"±{e.prior_db:.1f} dB", estimate_words(e.estimate_db, e.sd_db),
            _proposed(e),
            ", ".join(str(returned.points[k].answer.number) for k in e.deciding),
        )
        for e in found.estimates if e.told >= 0.05
    ]  # fmt: skip
    if rows:
        table(("unknown", "before", "the answers say", "proposed", "decided by points"), rows, right=(1, 2, 3))
        print()
    for p in differing(returned.points):
        remark = f" ({p.answer.remark})" if p.answer.remark else ""
        print(
            f"point {p.answer.number}, {p.room}: {p.verdict}, {p.unit} {margin_words(p.margin_db)}, {p.cause}{remark}"
        )
    for line in conclusions(returned):
        print(line)
    if returned.n_blank:
        rows_are = "row without an answer is" if returned.n_blank == 1 else "rows without an answer are"
        talk(f"{returned.n_blank} {rows_are} left out.")


def _proposed(e: Estimate) -> str:
    if e.proposed_db is None or e.proposed_sd_db is None:
        return "–"
    return estimate_words(e.proposed_db, e.proposed_sd_db)


def _share(share: Share) -> str:
    if not share.n:
        return "–"
    low, high = share.interval
    return f"{share.k}/{share.n}, {low:.0%} to {high:.0%}"

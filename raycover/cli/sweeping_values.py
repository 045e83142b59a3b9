"""`sweep --set`: any values of one or several scenes over lists and ranges, a row of figures each, kept."""

from __future__ import annotations

import json
import os
from collections.abc import Generator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from raycover.cli.printing import data, progress, talk, warn
from raycover.cli.tables import table
from raycover.errors import Interrupted, did_you_mean, option_error
from raycover.exchange.files import check_writable, whole_folder
from raycover.exchange.kept_rows import KeptRows
from raycover.exchange.sweep_table import planes_of, problem_of, sweep_csv, sweep_json
from raycover.language import language
from raycover.shares import percent
from raycover.sweeping import designs
from raycover.sweeping.local import Abandoned, Outcome, on_processes
from raycover.sweeping.planned import Plan, plan
from raycover.sweeping.rows import Figures, Job, key_of, scene_of, solved
from raycover.sweeping.values import Factor, parse, shown

#: Where rows are kept within the folder for the results.
ROWS = "rows"
#: Rows printed: the table in the file has them all.
MOST_PRINTED = 60
_GOES_ON = "the same command goes on from there"


@dataclass(frozen=True)
class Asked:
    """Options of the command, as typed."""

    settings: Sequence[str]
    latin: int | None = None
    seed: int = 0
    needs: bool = False
    share: float | None = None
    pictures: int = 0
    rows: str | None = None
    plane: str | None = None
    processes: int | None = None
    cluster: str | None = None
    lang: str | None = None


def sweep_values(paths: Sequence[Path], output: Path, asked: Asked, *, as_json: bool) -> None:
    """Solve what is missing, write the table, draw the rows asked for."""
    if asked.lang is not None:
        language(asked.lang)  # before anything is solved
    factors = [parse(text, spans=asked.latin is not None) for text in asked.settings]
    for factor in factors:
        if factor.doubt is not None:
            talk(factor.doubt)
    combinations = _combinations(factors, asked, len(paths))
    made = plan(paths, factors, combinations, needs=asked.needs)
    picked = _picked(asked, made)
    for scene in made.scenes:
        warn(scene.warnings)
    found = _solve(made, output, asked)
    figures = sweep_json(made, found)
    text = json.dumps(figures, ensure_ascii=False, allow_nan=False, indent=1)
    plane = _plane(asked, found)
    chosen = picked or _extremes(made, found, plane, asked.pictures)
    with whole_folder(output) as draft:
        (draft / "sweep.csv").write_text(sweep_csv(made, found), encoding="utf-8", errors="replace")
        (draft / "sweep.json").write_text(text + "\n", encoding="utf-8", errors="replace")
        files = _draw(made, found, chosen, plane, draft, asked.lang) if chosen else []
    if as_json:
        data(figures)
    else:
        _print(made, found, asked)
    talk(f"Written to {output}: {', '.join([*files, 'sweep.csv', 'sweep.json'])}")
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _combinations(factors: Sequence[Factor], asked: Asked, n_scenes: int) -> list[designs.Values]:
    paths = [factor.path for factor in factors]
    twice = next((path for k, path in enumerate(paths) if path in paths[:k]), None)
    if twice is not None:
        raise option_error("--set", f"{twice} is set twice", "write its values in one list")
    if asked.latin is None:
        return designs.every(factors, n_scenes)
    if not factors:
        raise option_error("--latin", "there is nothing to draw", "say what varies: --set 'conditions/ambient_c=10:30'")
    return designs.latin(factors, asked.latin, asked.seed, n_scenes)


def _solve(made: Plan, output: Path, asked: Asked) -> dict[int, Figures | str]:
    """Figures of every row: kept ones from the folder, the others solved and kept as they come."""
    kept = KeptRows(output / ROWS)
    keys = {job.row: key_of(made.sources[job.scene], job) for job in made.jobs}
    found: dict[int, Figures | str] = {}
    first: dict[str, Job] = {}
    for job in made.jobs:
        if (figures := kept.get(keys[job.row])) is not None:
            found[job.row] = figures
        else:
            first.setdefault(keys[job.row], job)
    missing = list(first.values())
    n = len(made.jobs)
    if found:
        talk(f"{len(found)} of {n} rows are there from before, {len(missing)} to solve")
    check_writable(kept.folder)
    done = 0
    try:
        with progress("solving") as step, closing(_outcomes(made, missing, asked)) as outcomes:
            step(0, len(missing))
            for job, outcome in outcomes:
                if isinstance(outcome, Figures):
                    kept.keep(keys[job.row], outcome)
                found[job.row] = outcome
                done += 1
                step(done, len(missing))
    except KeyboardInterrupt:
        raise Interrupted(f"Interrupted: {_kept(found, n, kept)}; {_GOES_ON}") from None
    except Abandoned as error:
        help_ = f"start what is missing (dask scheduler, dask worker ADDRESS); {_GOES_ON}"
        raise option_error("--cluster", f"{error}: {_kept(found, n, kept)}", help_) from None
    for job in made.jobs:  # rows that say the same as another
        found.setdefault(job.row, found[first[keys[job.row]].row] if keys[job.row] in first else "")
    return found


def _kept(found: dict[int, Figures | str], n: int, kept: KeptRows) -> str:
    return f"{sum(isinstance(outcome, Figures) for outcome in found.values())} of {n} rows are kept in {kept.folder}"


def _outcomes(made: Plan, jobs: Sequence[Job], asked: Asked) -> Generator[Outcome, None, None]:
    if asked.cluster is not None:
        from raycover.sweeping.cluster import on_cluster

        return on_cluster(made.sources, jobs, asked.cluster)
    wanted = asked.processes if asked.processes is not None else os.cpu_count() or 1
    return on_processes(made.sources, jobs, max(1, min(wanted, len(jobs))))


def _picked(asked: Asked, made: Plan) -> list[Job]:
    """The rows to draw by number, as typed."""
    if asked.rows is None:
        return []
    if asked.pictures:
        raise option_error("--rows", "with --pictures the rows are chosen already", "give one of the two")
    chosen = []
    for word in asked.rows.split(","):
        if not word.strip().isdecimal() or not 1 <= int(word) <= len(made.jobs):
            raise option_error("--rows", f'"{word.strip()}" is no row', f"write numbers from 1 to {len(made.jobs)}")
        chosen.append(made.jobs[int(word) - 1])
    return list(dict.fromkeys(chosen))


def _plane(asked: Asked, found: dict[int, Figures | str]) -> str:
    """The plane that is drawn and that rows are ranked by: the first if none is named."""
    known = planes_of(found)
    if asked.plane is None:
        return known[0] if known else ""
    if asked.plane not in known:
        raise option_error("--plane", f'no plane is named "{asked.plane}"', did_you_mean(asked.plane, known))
    return asked.plane


def _extremes(made: Plan, found: dict[int, Figures | str], plane: str, n: int) -> list[Job]:
    """The best and the worst rows: by needs met where they are judged, then by the share seen on a plane."""

    def rank(job: Job) -> tuple[float, float]:
        figures = found[job.row]
        assert isinstance(figures, Figures)
        met = (figures.needs_met or 0) / figures.needs if figures.needs else 1.0
        return -met, -figures.planes[plane].share

    able = [job for job in made.jobs if isinstance(f := found[job.row], Figures) and plane in f.planes]
    order = sorted(able, key=rank)
    return list(dict.fromkeys([*order[:n], *order[len(order) - n :]])) if n else []


def _draw(
    made: Plan, found: dict[int, Figures | str], chosen: Sequence[Job], plane: str, draft: Path, lang: str | None
) -> list[str]:  # fmt: skip
    """A plan a row, its values in the title; names of the files."""
    from raycover.draw.plan import draw_plan
    from raycover.report.words import words_for

    files = []
    with progress("drawing") as step:
        for index, job in enumerate(chosen):
            step(index, len(chosen))
            if problem := problem_of(found[job.row]):
                talk(f"Row {job.row + 1} cannot be drawn: {problem}")
                continue
            scene, building, coverage = solved(scene_of(made.sources[job.scene], job), job)
            if plane not in coverage:
                talk(f'Row {job.row + 1} has no plane "{plane}"')
                continue
            name = f"row {job.row + 1}.png"
            titled = scene.model_copy(update={"title": f"{scene.title}, {made.heading(job)}"})
            draw_plan(
                titled,
                building,
                coverage,
                plane,
                draft / name,
                sheet=(index + 1, len(chosen)),
                wording=words_for(scene, lang).wording,
            )
            files.append(name)
    return files


def _print(made: Plan, found: dict[int, Figures | str], asked: Asked) -> None:
    planes = planes_of(found)
    several = len(made.sources) > 1
    heads = ["row", *(["scene"] if several else []), *(f.path for f in made.factors), *planes, "largest gap m²"]
    heads += ["seats unnoticed"] if any(isinstance(f, Figures) and f.seats for f in found.values()) else []
    heads += ["needs met"] if asked.needs else []
    heads += [f"{100 * asked.share:g} % held"] if asked.share is not None else []
    rows = []
    for job in made.jobs[:MOST_PRINTED]:
        figures = found[job.row]
        start = [str(job.row + 1), *([made.sources[job.scene].name] if several else [])]
        start += [shown(value) for value in made.values(job)]
        if isinstance(figures, str) or figures.problem:
            rows.append([*start, *["–"] * (len(heads) - len(start))])
            continue
        cells = [percent(figures.planes[p].share) if p in figures.planes else "–" for p in planes]
        cells.append(f"{max((p.gap_m2 for p in figures.planes.values()), default=0.0):.1f}")
        if "seats unnoticed" in heads:
            cells.append(f"{figures.seats_unnoticed} of {figures.seats}")
        if asked.needs:
            cells.append(f"{figures.needs_met} of {figures.needs}")
        if asked.share is not None:
            cells.append("yes" if _holds(figures, asked.share) else "no")
        rows.append([*start, *cells])
    left = 1 + several
    right = [0, *range(left + len(made.factors), len(heads))]
    table(heads, rows, title="Share seen, by plane", right=right)
    if len(made.jobs) > MOST_PRINTED:
        talk(f"{len(made.jobs) - MOST_PRINTED} more rows stand in sweep.csv")
    if asked.share is not None:
        n = sum(isinstance(f, Figures) and not f.problem and _holds(f, asked.share) for f in found.values())
        print(f"{100 * asked.share:g} % on every plane holds in {n} of {len(made.jobs)} rows")
    _print_problems(made, found)


def _print_problems(made: Plan, found: dict[int, Figures | str]) -> None:
    """Rows without figures, those of one reason together."""
    reasons: dict[str, list[Job]] = {}
    for job in made.jobs:
        if problem := problem_of(found[job.row]):
            reasons.setdefault(problem, []).append(job)
    for reason, jobs in list(reasons.items())[:20]:
        numbers = ", ".join(str(job.row + 1) for job in jobs[:12]) + (", …" if len(jobs) > 12 else "")
        solved_not = any(isinstance(found[job.row], str) for job in jobs)
        what = "not solved" if solved_not else "cannot stand"
        talk(f"row{'s' * (len(jobs) > 1)} {numbers} {what} ({made.words(jobs[0])}): {reason}")


def _holds(figures: Figures, share: float) -> bool:
    return all(plane.share >= share - 1e-9 for plane in figures.planes.values())

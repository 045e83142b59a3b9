"""Drawings of a report by name, each as SVG for HTML and as PDF, both from one page; the 3D picture as PNG."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from raycover.building.parts import Building
from raycover.draw import extracts, glyphs
from raycover.draw.lettering import Wording
from raycover.draw.multiples import Small
from raycover.draw.page import Page
from raycover.draw.proof_groups import Group, Solved, coverage_of, groups_of
from raycover.draw.section_sheet import make_section_extract
from raycover.draw.tables import worth_listing
from raycover.errors import MissingPart
from raycover.report.gather import Report, Stages
from raycover.report.words import Words
from raycover.shares import percent
from raycover.solving.coverage import Coverage

#: So many gaps of a map are listed and lettered.
MOST_GAPS = 12
#: So many states are drawn side by side.
_MOST_STATES = 8


@dataclass(frozen=True)
class Drawing:
    """A drawing of a size (mm): `svg` and `pdf`, or `png`. `scale` is the denominator of a plan's scale."""

    width: float
    height: float
    svg: bytes = b""
    pdf: bytes = b""
    png: bytes = b""
    scale: int | None = None


@dataclass
class Drawings:
    """What was drawn, by name; `missing` says why the 3D picture is not there."""

    by_name: dict[str, Drawing] = field(default_factory=dict)
    groups: tuple[tuple[str, Group, str | None], ...] = ()
    missing: str = ""

    def __contains__(self, name: str) -> bool:
        return name in self.by_name

    def __getitem__(self, name: str) -> Drawing:
        return self.by_name[name]


def gaps_listed(report: Report, name: str) -> int:
    """How many gaps of a map are listed and carry a letter."""
    return min(len(worth_listing(report.coverage[name])), MOST_GAPS)


def draw_figures(report: Report, words: Words, *, pdf: bool = True, stages: Stages | None = None) -> Drawings:
    """Draw everything that the report shows; without `pdf` as SVG only."""
    stages = report.stages if stages is None else stages
    made = Drawings()
    wording = words.wording

    def keep(name: str, page: Page, scale: int | None = None) -> None:
        made.by_name[name] = Drawing(
            *page.size, svg=page.svg(title=name), pdf=page.pdf(title=name) if pdf else b"", scale=scale
        )

    with stages.stage("plans") as step:
        jobs = list(_plans(report, words, wording, keep))
        needs = list(_needs(report, wording, keep, made))
        for done, job in enumerate([*jobs, *needs]):
            step(done, len(jobs) + len(needs))
            job()
    with stages.stage("signs"):
        reserve = report.coverage.reserve_db
        for sign in (*extracts.SIGNS, *glyphs.WORDS, *(f"class {k}" for k in range(4))):
            keep(f"sign {sign}", extracts.make_sign(sign, reserve))
    with stages.stage("3D picture"):
        _view(report, wording, made)
    return made


Keep = Callable[..., None]


def _plans(report: Report, words: Words, wording: Wording, keep: Keep) -> Iterator[Callable[[], None]]:
    for name, plane in report.coverage.items():
        if plane.surface.stairs is not None:
            yield lambda name=name: keep(  # type: ignore[misc]
                f"map {name}", extracts.make_stair_extract(report.building, report.coverage, name, wording=wording)
            )
            continue

        def plan(name: str = name) -> None:
            page, scale = extracts.make_plan_extract(
                report.scene, report.building, report.coverage, name, n_gaps=gaps_listed(report, name), wording=wording
            )
            keep(f"map {name}", page, scale)

        yield plan
    room = (extracts.WIDEST, extracts.TALLEST)
    for cut in report.sections:
        yield lambda cut=cut: keep(  # type: ignore[misc]
            f"section {cut.name}",
            *make_section_extract(cut, report.building, room, dpi=extracts.DPI, wording=wording),
        )
    first = shown_small(report.coverage)
    if first is None:
        return

    def smalls(key: str, some: list[tuple[str, Small]]) -> Callable[[], None]:
        def told(small: Small) -> str:
            seen, assured = percent(small.plane.share), percent(small.plane.assured_share)
            return words("small figures", seen=seen, assured=assured)

        plans = [(title, told(small), small) for title, small in some]
        return lambda: keep(key, extracts.make_small_extract(report.scene, plans, wording=wording))

    def small(building: Building, coverage: Coverage) -> Small:
        return Small(building, coverage[first], coverage.units)

    if report.heat:
        warm = [(f"{words.short(value)} °C", small(report.building, found)) for value, found in report.heat.items()]
        yield smalls("heat", warm)
    if report.doors:
        doors = [(words(f"doors {way}"), small(v.building, v.coverage)) for way, v in report.doors.items()]
        yield smalls("doors", doors)
    if report.states:
        drawn = [(report.scene.state, small(report.building, report.coverage))]
        others = [(v.name, small(v.building, v.coverage)) for v in report.states[: _MOST_STATES - 1]]
        yield smalls("states", drawn + others)


def shown_small(coverage: Coverage) -> str | None:
    """The map that small plans show: the first flat one that has gaps, else the first flat one."""
    flat = [name for name, plane in coverage.items() if plane.surface.stairs is None]
    return next((name for name in flat if coverage[name].gaps), flat[0] if flat else None)


def _needs(report: Report, wording: Wording, keep: Keep, made: Drawings) -> Iterator[Callable[[], None]]:
    if report.proof is None:
        return
    solved: Solved = {}
    for k, group in enumerate(groups_of(report.proof)):

        def panels(k: int = k, group: Group = group) -> None:
            coverage = coverage_of(group, solved)
            found = extracts.make_need_extracts(report.scene, group, coverage, wording=wording)
            for j, (storey, page) in enumerate(found):
                keep(f"need {k}.{j}", page)
                made.groups += ((f"need {k}.{j}", group, storey),)

        yield panels


def _view(report: Report, wording: Wording, made: Drawings) -> None:
    """The 3D picture, or why there is none."""
    from raycover.draw.view3d import view_picture

    try:
        png, ratio = view_picture(report.scene, report.building, report.coverage, rays=report.rays, wording=wording)
    except MissingPart as error:
        made.missing = str(error)
        return
    made.by_name["view"] = Drawing(extracts.WIDEST, extracts.WIDEST / ratio, png=png)

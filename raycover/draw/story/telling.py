"""The slides of a scene in their order, with what to say of each."""

from __future__ import annotations

from collections.abc import Callable

from raycover.draw import words
from raycover.draw.story.slide import Slide
from raycover.draw.story.tables import need_slide, proof_slide
from raycover.draw.story.views import Marked, Pixels, Told, coverage_view, detectors_view, gaps_of, gaps_view, pair_view
from raycover.draw.title_block import state_shown
from raycover.draw.view3d.building_still import building_sheet
from raycover.proving.needs import Proof
from raycover.proving.proof_words import assumptions
from raycover.shares import percent
from raycover.solving.uncast import inventory, uncast

Progress = Callable[[int, int], None]
#: Maps of planes told at most, the first of the scene.
MOST_PLANES = 3


def tell(
    told: Told, *, after: Told | None = None, proof: Proof | None = None, progress: Progress | None = None
) -> list[Slide]:
    """The slides: space, need, detectors, coverage a plane, what is hidden, before and after, proof.

    `after` is the proposal, shown beside what there is now; `proof` judges the needs, of the proposal where there is
    one. Raises MissingPart where 3D cannot be drawn.
    """
    scene, building, coverage = told.scene, told.building, told.coverage
    last = after if after is not None else told
    planes = list(coverage.by_plane())[:MOST_PLANES]
    shared = [name for name in planes if after is not None and name in after.coverage.by_plane()]
    n_slides = 4 + len(planes) + len(shared) + (proof is not None)
    slides: list[Slide] = []

    def add(slide: Slide) -> None:
        slides.append(slide.told_in(told.wording))
        if progress is not None:
            progress(len(slides), n_slides)

    state = " · ".join(state_shown(scene))
    held = inventory(scene, building)
    about = f"{len(held.rooms)} rooms, {words.area(held.floor_m2)} m² of floor" if held.rooms else "no rooms"
    holds = ", ".join(f"{n} {name}" for name, n in held.counts)
    bare = building_sheet(scene, building, uncast(scene, building), held, heading=False, wording=told.wording)
    add(
        Slide(
            "space", scene.title, " · ".join(part for part in ("The building, cut open", state) if part), bare,
            f"The building cut open, seen obliquely: {about}.", _notes(f"{scene.title}: {about}. It holds {holds}."),
        )
    )  # fmt: skip
    add(need_told(told, proof))
    pictures = {name: coverage_view(told, name) for name in planes}
    _, composed, picture = pictures[planes[0]]
    n = len(coverage.units)
    add(
        Slide(
            "detectors", f"{n} detector{'s' * (n != 1)}", "Where they hang, and what some of them see in the air",
            detectors_view(told, composed.placed.view),
            f"The building with {n} detectors in their places and the space in which some of them notice a person.",
            _notes("A lobe ends where the reach ends, or at what stands in the way."),
        )
    )  # fmt: skip
    for name in planes:
        add(_coverage(told, name, pictures[name][0]))
    marked = gaps_of(composed)
    add(_hidden(told, planes[0], marked, gaps_view(told, composed, picture, marked)))
    for name in shared:
        assert after is not None
        body, (seen, then) = pair_view(told, after, name)
        same = percent(seen) == percent(then)
        title = f"{percent(seen)} becomes {percent(then)}" if not same else f"{percent(seen)} stays"
        what = words.height_phrase(coverage[coverage.by_plane()[name][0]].surface)
        add(
            Slide(
                f"proposal {name}", f"With the proposal: {title}",
                f"Plane {name}, {what}; one camera, one scale", body,
                f"Two pictures of the building side by side: before {percent(seen)} is seen, after "
                f"{percent(then)}.",
                _notes(f"Before: {told.scene.title}. After: {after.scene.title}."),
            )
        )  # fmt: skip
    if proof is not None:
        add(_proof(last, proof, proposed=after is not None))
    return slides


def _notes(*said: str) -> tuple[str, ...]:
    """What to say, then the cautions."""
    return (*said, *words.CAUTION)


def need_told(told: Told, proof: Proof | None) -> Slide:
    """What is asked; without a proof, what the maps show."""
    body = need_slide(told.scene, told.coverage, proof, told.wording)
    if proof is None:
        title, said = "What the maps show", "The scene states no needs: the maps of its planes are read instead."
    elif proof.assumed:
        title = "What is asked"
        said = "The scene states no needs: every cubicle with its doors closed, every flight and landing are assumed."
    else:
        title, said = "What is asked", f"{len(proof.needs)} needs, each judged place by place."
    rows = [v.need.name for v in proof.needs] if proof is not None else list(told.coverage.by_plane())
    return Slide("need", title, said, body, f"A table: {', '.join(rows)}.", _notes(said))


def _coverage(told: Told, name: str, body: Pixels) -> Slide:
    maps = [told.coverage[one] for one in told.coverage.by_plane()[name]]
    area = max(sum(m.area_m2 for m in maps), 1e-9)
    seen = percent(sum(m.area_where(m.detected) for m in maps) / area)
    assured = percent(sum(m.area_where(m.assured) for m in maps) / area)
    surface = maps[0].surface
    where = words.height_phrase(surface)
    return Slide(
        f"coverage {name}", f"{where[0].upper()}{where[1:]}: {seen} is seen",
        words.subtitle(surface, told.coverage.air, state_shown(told.scene)), body,
        f"The building cut open with the map of plane {name}: {seen} is seen, {assured} assured. Light is seen, "
        "hatched dark blue is not.",
        _notes(
            f"{seen} of {words.area(area)} m² is seen, {assured} with a reserve of {told.coverage.reserve_db:g} dB.",
            "0 dB is the edge of what the data sheets declare.",
        ),
    )  # fmt: skip


def _hidden(told: Told, name: str, marked: list[Marked], body: Pixels) -> Slide:
    rooms = {room.name for room in told.building.rooms}
    listed = [
        f"{one.letter}: {words.area(one.gap.area_m2)} m², {words.cause(one.gap, rooms)}, {one.gap.room}"
        for one in marked
    ]
    surface = told.coverage[told.coverage.by_plane()[name][0]].surface
    title = "What is not seen, and why" if marked else "Nothing is missed"
    return Slide(
        "hidden", title, words.subtitle(surface, told.coverage.air, state_shown(told.scene)), body,
        "The building with its gaps lettered: " + ("; ".join(listed) if listed else "none") + ".", _notes(*listed),
    )  # fmt: skip


def _proof(told: Told, proof: Proof, *, proposed: bool) -> Slide:
    n, met = len(proof.needs), sum(verdict.met for verdict in proof.needs)
    with_ = "With the proposal, " if proposed else ""
    title = f"{with_}{met} of {n} need{'s' * (n != 1)} {'are' if met != 1 else 'is'} met"
    missed = [verdict.need.name for verdict in proof.needs if not verdict.met]
    said = f"Not met: {', '.join(missed)}." if missed else "All needs are met."
    return Slide(
        "proof", f"{title[0].upper()}{title[1:]}", f"{told.scene.title}: judged at every cell of every place",
        proof_slide(told.scene, proof, told.wording), f"A table of {n} needs with their verdicts. {said}",
        _notes(said, *map(told.wording.said, assumptions(proof))),
    )  # fmt: skip

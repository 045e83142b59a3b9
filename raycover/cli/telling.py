"""The command `slides`: a scene told in numbered pictures, a presentation and short films."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from raycover.building.build import build
from raycover.cli.choosing import loaded
from raycover.cli.printing import progress, talk
from raycover.cli.solving import solved
from raycover.draw.lettering import ENGLISH, Wording
from raycover.draw.story.film import film
from raycover.draw.story.slide import Slide
from raycover.draw.story.telling import tell
from raycover.draw.story.views import Told
from raycover.errors import InputError, MissingPart, Position, Problem, did_you_mean
from raycover.exchange.files import whole_folder
from raycover.exchange.slides import SlideParts, presentation
from raycover.proving.needs import Proof, prove, ready_made
from raycover.proving.swinging import Door, door_named, plane_for, swings
from raycover.report.words import worded
from raycover.scene.schema import Scene
from raycover.walking.walk import walk
from raycover.walking.ways import Way, make_ways


def tell_scene(
    path: Path, output: Path, *, after: Path | None, route: str | None, door: str | None, with_film: bool,
    state: str | None, lang: str | None, threads: int | None,
) -> None:  # fmt: skip
    """Solve one scene, or two; write `NN NAME.png` a slide, `story.pptx`, `walk.gif` and `door.gif` into a folder."""
    from raycover.draw.view3d import environment

    environment.load_for_pictures()  # without 3D there is no story: said before anything is solved
    words, scene = worded(loaded(path, state), lang)
    proposed = worded(loaded(after, None), words.code)[1] if after is not None else None
    say = words.wording
    way = _way(proposed if proposed is not None else scene, route) if with_film else None
    swung = door_named(proposed if proposed is not None else scene, door) if with_film else None
    if proposed is not None and not {p.name for p in scene.planes} & {p.name for p in proposed.planes}:
        raise InputError(
            [Problem("bad-option", "the two scenes have no plane of one name", Position("--after"),
                     f"planes of {path.name}: {', '.join(p.name for p in scene.planes)}")]
        )  # fmt: skip
    now = Told(*solved(scene, threads), say)
    then = Told(*solved(proposed, threads), say) if proposed is not None else None
    proof = _proof(proposed if proposed is not None else scene)
    proof = proof.named(words.assumed) if proof is not None else None
    missing = None
    with whole_folder(output) as draft:
        with progress("drawing") as step:
            slides = tell(now, after=then, proof=proof, progress=step)
        pictures = [_png(slide) for slide in slides]
        for number, (slide, (whole, _)) in enumerate(zip(slides, pictures, strict=True), start=1):
            (draft / f"{number:02d} {slide.key}.png").write_bytes(whole)
        parts = [
            SlideParts(slide.title, slide.subtitle, body, slide.alt, slide.notes)
            for slide, (_, body) in zip(slides, pictures, strict=True)
        ]
        if way is not None:
            last = then if then is not None else now
            with progress("filming"):
                moving = _film(last, way)
            (draft / "walk.gif").write_bytes(moving)
            said = say(f"A person walks {way.name}; the lobes of those who notice light up.")
            parts.append(SlideParts(say(f"Walking: {way.name}"), "", moving, said, (said, *slides[0].notes[-2:])))
        if swung is not None:
            with progress("filming the door"):
                moving = film_of_door((then if then is not None else now).scene, swung, threads, wording=say)
            (draft / "door.gif").write_bytes(moving)
            said = say(f"{swung.name} swings shut, and the map follows.")
            title = say(f"What {swung.name} changes")
            parts.append(SlideParts(title, "", moving, said, (said, *slides[0].notes[-2:])))
        try:
            (draft / "story.pptx").write_bytes(presentation(parts, title=scene.title))
        except MissingPart as error:
            missing = str(error)
    if missing:
        talk(f"The pictures are written, the presentation is not: {missing}")
    films = [name for name, made in (("walk.gif", way), ("door.gif", swung)) if made is not None]
    talk(f"{len(slides)} slides written to {output}" + (f", and {' and '.join(films)}" if films else ""))
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _png(slide: Slide) -> tuple[bytes, bytes]:
    """The slide as a picture, and without its title for a presentation."""
    found = []
    for pixels in (slide.pixels, slide.body):
        file = io.BytesIO()
        Image.fromarray(pixels).save(file, "PNG", optimize=True, dpi=(144, 144))
        found.append(file.getvalue())
    return found[0], found[1]


def _proof(scene: Scene) -> Proof | None:
    """The needs judged, where there are any."""
    if not scene.needs and not ready_made(scene):
        return None
    with progress("judging") as step:
        return prove(scene, progress=step)


def _way(scene: Scene, name: str | None) -> Way | None:
    """The route to film: that of the name, else the first; None, and a word about it, where nobody can walk."""
    building = build(scene)
    if scene.routes:
        ways = make_ways(scene, building)
    else:
        from raycover.walking.usual import usual_ways

        try:
            ways = usual_ways(scene, building)
        except InputError as error:
            if name is not None:
                raise
            talk(f"No film: {error.problems[0].message}")
            return None
    if name is None:
        return ways[0]
    chosen = [way for way in ways if name in (way.name, way.route)]
    if not chosen:
        hint = did_you_mean(name, list(dict.fromkeys(way.route if way.route != "usual" else way.name for way in ways)))
        raise InputError([Problem("bad-option", f'no route is named "{name}"', Position("--route"), hint)])
    return chosen[0]


def film_of_door(
    scene: Scene, door: Door, threads: int | None, plane: str | None = None, wording: Wording = ENGLISH
) -> bytes:
    """The film of a door over a plane, that for people who hardly move if none is named."""
    from raycover.draw.story.door_film import door_film

    name = plane_for(scene) if plane is None else plane
    return door_film(swings(scene, door, name, threads=threads), door, name, wording)


def _film(told: Told, way: Way) -> bytes:
    found = walk(told.scene, building=told.building, rays=told.rays, ways=[way])[0]
    return film(told, found, next(iter(told.coverage.by_plane())))

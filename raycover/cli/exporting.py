"""The command `export`: a solved scene as a drawing, a model or a page for others."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from raycover.cli.choosing import loaded
from raycover.cli.printing import progress, talk
from raycover.cli.solving import Solved, solved
from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.exchange.files import writing
from raycover.scene.schema import Scene

#: What can be written, by the file's ending.
ENDINGS = (".dxf", ".glb", ".html", ".gif")
LOBES = ("few", "all", "none")
#: The lowest that walls of a model are cut at (m): lower, nothing of them is left.
_LOWEST_CUT_M = 0.05


@dataclass(frozen=True)
class ModelOptions:
    """Options of models and pages, None where not given."""

    plane: str | None = None
    cut_m: float | None = None
    lobes: str | None = None
    door: str | None = None


def export_scene(
    path: Path, output: Path, *, state: str | None, threads: int | None, force: bool, options: ModelOptions
) -> None:
    """Solve a scene, in a state if one is named, and write a DXF, a GLB, a page or a film, by the file's ending."""
    ending = output.suffix.lower()
    problems = _wrong_options(ending, options)
    if ending not in ENDINGS:
        hint = f"write -o {output.stem or 'coverage'}.dxf (a drawing), .glb (a model), .html (a page) or .gif (a film)"
        problems.insert(0, Problem("wrong-ending", "what to write goes by the ending", Position(str(output)), hint))
    elif output.exists() and not force:
        hint = "choose another name, or use --force"
        problems.insert(0, Problem("file-exists", "the file is already there", Position(str(output)), hint))
    if problems:
        raise InputError(problems)
    scene = _with_plane(loaded(path, state), options.plane)
    if ending == ".gif":
        said = _gif(scene, output, options, threads)
    else:
        done = solved(scene, threads)
        with writing(output):
            said = {".dxf": _dxf, ".glb": _glb, ".html": _html}[ending](done, output, options)
    talk(said)
    talk("A prediction, not a site test: walk-test before hand-over. Not a safety function.")


def _wrong_options(ending: str, options: ModelOptions) -> list[Problem]:
    """What is wrong with options before anything is solved."""
    found = []
    given = {"--plane": options.plane, "--cut": options.cut_m, "--lobes": options.lobes, "--door": options.door}
    meant = {".dxf": "", ".html": "--cut", ".glb": "--plane --cut --lobes", ".gif": "--plane --door"}
    for option, value in given.items():
        if value is not None and ending in meant and option not in meant[ending].split():
            message = f"has no meaning for {ending}"
            hint = f"leave it out, or write a {'.gif' if option == '--door' else '.glb'}"
            found.append(Problem("bad-option", message, Position(option), hint))
    if options.lobes is not None and options.lobes not in LOBES:
        message = f'unknown choice "{options.lobes}"'
        found.append(Problem("bad-option", message, Position("--lobes"), did_you_mean(options.lobes, LOBES)))
    if options.cut_m is not None and not _LOWEST_CUT_M <= options.cut_m <= 1000:
        message = f"expects a height from {_LOWEST_CUT_M} to 1000 m, got {options.cut_m:g}"
        found.append(Problem("bad-option", message, Position("--cut"), "write --cut 1.2"))
    return found


def _with_plane(scene: Scene, name: str | None) -> Scene:
    """The scene, if it has a plane of this name. Raises InputError otherwise, before anything is solved."""
    names = [plane.name for plane in scene.planes]
    if name is not None and name not in names:
        message = f'no plane is named "{name}"'
        raise InputError([Problem("bad-option", message, Position("--plane"), did_you_mean(name, names))])
    return scene


def _dxf(done: Solved, output: Path, options: ModelOptions) -> str:
    from raycover.draw.dxf import write_dxf

    scene, building, _, coverage = done
    write_dxf(scene, building, coverage, output)
    units = scene.plan.units if scene.plan is not None else "m"
    return f"Written {output} in {units}: layers RAYCOVER-…, one set a plane; the first plane's are switched on."


def _glb(done: Solved, output: Path, options: ModelOptions) -> str:
    from raycover.draw.sharing.model import model_glb
    from raycover.exchange.files import write_bytes_whole

    scene, building, rays, coverage = done
    data = model_glb(
        scene, building, coverage, rays, plane_name=options.plane, cut_m=options.cut_m, lobes=options.lobes or "few"
    )
    write_bytes_whole(output, data)
    plane = options.plane or next(iter(coverage.by_plane()))
    return f'Written {output}, {len(data) / 1e6:.1f} MB, in metres, y up: plane "{plane}"; every part is a named node.'


def _gif(scene: Scene, output: Path, options: ModelOptions, threads: int | None) -> str:
    from raycover.cli.telling import film_of_door
    from raycover.draw.view3d import environment
    from raycover.exchange.files import check_writable, write_bytes_whole
    from raycover.proving.swinging import door_named

    environment.load_for_pictures()  # without 3D there is no film: said before anything is solved
    door = door_named(scene, options.door)
    if door is None:
        hint = "name one with --door, or give the scene a row of cubicles"
        raise InputError([Problem("no-door", "which door? the scene has no cubicles", Position("--door"), hint)])
    check_writable(output.absolute().parent)
    with progress("filming"):
        data = film_of_door(scene, door, threads, options.plane)
    write_bytes_whole(output, data)
    return f"Written {output}, {len(data) / 1e6:.1f} MB: {door.name} closes, and the map follows."


def _html(done: Solved, output: Path, options: ModelOptions) -> str:
    from raycover.draw.sharing.page import page_html
    from raycover.exchange.files import write_whole

    scene, building, rays, coverage = done
    text = page_html(scene, building, coverage, rays, cut_m=options.cut_m)
    write_whole(output, text)
    size = len(text.encode("utf-8")) / 1e6
    return f"Written {output}, {size:.1f} MB: opens in any browser, without a network."

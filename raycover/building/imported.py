"""Objects of mesh files set into the scene: placed, told apart by name, taken as solids, plates or sheets.

- closed and given a material: a solid, opaque or of a bulk loss along the chord;
- closed, given a construction and about as thick as it: a plate, crossed once (a pane, a door leaf, a wall
  drawn with its thickness);
- else given a construction: every flat face is a sheet of it;
- open and given an opaque material: its faces are opaque sheets, with a warning; of a bulk loss: an error,
  since what has no inside has no chord.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from functools import partial
from pathlib import Path

import numpy as np

from raycover.building.faces import Gathered, Placing
from raycover.building.mending import Mended, facets, mend
from raycover.building.mesh_files import FileObject, read_bytes, read_mesh_file
from raycover.building.mesh_limits import MAX_TRIANGLES, MeshFileError, too_many_triangles
from raycover.building.mesh_sizes import outside_rooms, size_problem
from raycover.building.parts import Floats, Loc, MeshObject
from raycover.catalogue import Construction, SolidMaterial
from raycover.errors import InputError, Problem
from raycover.scene.meshes import MeshPart, MeshSpec
from raycover.scene.schema import Scene

FloorAt = Callable[[float, float], float]
#: A closed object is a plate where its mean thickness is within this many times its construction's, and …
_PLATE_TIMES = 2.0
#: … this (m) more: frames and linings are drawn with the pane or leaf that they hold.
_PLATE_MORE = 0.01
#: A closed object thinner than this (m) has no inside to speak of.
_THINNEST = 1e-4
#: How many names a message lists.
_LISTED = 8


@dataclass(frozen=True)
class _Given:
    """What an object is made of, and where the scene says so."""

    made_of: Construction | SolidMaterial
    loc: Loc


@dataclass
class Shelf:
    """Files read and objects mended so far: one machine often stands in a building many times."""

    files: dict[Path, list[FileObject]] = field(default_factory=dict)
    mended: dict[tuple[Path, int, float], Mended] = field(default_factory=dict)
    n_triangles: int = 0


def add_mesh(scene: Scene, index: int, spec: MeshSpec, floor_at: FloorAt, shelf: Shelf, into: Gathered) -> None:
    """Objects of one of the scene's mesh files; problems and warnings go with them."""
    try:
        path = scene.file(spec.file, "meshes", index, "file")
        if path not in shelf.files:
            shelf.files[path] = _unlike(read_mesh_file(path, partial(_fetch, scene, index, path)))
        objects = shelf.files[path]
        chosen = _chosen(scene, index, spec, objects, into.problems)
        shelf.n_triangles += sum(len(objects[k].faces) for k in chosen)
        if shelf.n_triangles > MAX_TRIANGLES:
            raise too_many_triangles(shelf.n_triangles)
    except MeshFileError as error:
        where = scene.position("meshes", index, "file")
        into.problems.append(Problem(error.code, f'"{spec.file}" {error.message}', where, error.help))
    except InputError as error:
        into.problems += error.problems
    else:
        into.problems += _set(scene, index, chosen, path, shelf, floor_at, into.objects)


def _fetch(scene: Scene, index: int, path: Path, name: str) -> bytes:
    """A file that a glTF names, from beside it; the scene's rules for files hold."""
    return read_bytes(scene.file(str(path.parent / name), "meshes", index, "file"))


def _unlike(objects: list[FileObject]) -> list[FileObject]:
    """Objects with names that differ: the second of a name gets a number."""
    seen: dict[str, int] = {}
    found = []
    for one in objects:
        seen[one.name] = seen.get(one.name, 0) + 1
        name = one.name if seen[one.name] == 1 else f"{one.name} {seen[one.name]}"
        found.append(FileObject(name, one.vertices, one.faces))
    return found


def _chosen(
    scene: Scene, index: int, spec: MeshSpec, objects: list[FileObject], problems: list[Problem]
) -> dict[int, _Given]:
    """What each object that isn't ignored is made of, by its number; objects without say are problems."""
    found: dict[int, _Given] = {}
    nameless = []
    matched = [False] * len(spec.parts)
    for k, one in enumerate(objects):
        said: MeshPart | MeshSpec | None = None
        loc: Loc = ("meshes", index)
        for p, part in enumerate(spec.parts):
            if fnmatchcase(one.name.lower(), part.match.lower()):
                matched[p] = True
                if said is None:
                    said, loc = part, ("meshes", index, "parts", p)
        if said is None and (spec.material is not None or spec.construction is not None):
            said = spec
        if said is None:
            nameless.append(one.name)
        elif not (isinstance(said, MeshPart) and said.ignore):
            found[k] = _Given(_made_of(scene, said), loc)
    if nameless:
        be = "is" if len(nameless) == 1 else "are"
        problems.append(
            Problem(
                "mesh-no-material",
                f'nothing says what {_listed(nameless)} of "{spec.name}" {be} made of',
                scene.position("meshes", index, "name"),
                'add a part for it, end the parts with {match: "*", ignore: true}, or give the mesh a material',
            )
        )
    for p, part in enumerate(spec.parts):
        if not matched[p]:
            problems.append(
                Problem(
                    "mesh-no-match",
                    f'no object of "{spec.file}" is named like "{part.match}"',
                    scene.position("meshes", index, "parts", p, "match"),
                    f"its objects: {_listed([one.name for one in objects])}",
                    severity="warning",
                )
            )
    if not found and not nameless:
        problems.append(
            Problem(
                "mesh-all-ignored",
                f'every object of "{spec.name}" is ignored',
                scene.position("meshes", index, "name"),
                "take the mesh out, or give one of its objects a material or construction",
                severity="warning",
            )
        )
    return found


def _made_of(scene: Scene, said: MeshPart | MeshSpec) -> Construction | SolidMaterial:
    if said.material is not None:
        return scene.catalogue.solids[said.material]
    assert said.construction is not None
    made = scene.catalogue.construction(said.construction)
    assert made is not None  # `none` is refused by the schema
    return made


def _set(
    scene: Scene,
    index: int,
    chosen: dict[int, _Given],
    path: Path,
    shelf: Shelf,
    floor_at: FloorAt,
    into: list[MeshObject],
) -> list[Problem]:
    """Place the chosen objects of one mesh; what is wrong or doubtful about them."""
    spec, objects = scene.meshes[index], shelf.files[path]
    unsound = [k for k in chosen if not np.isfinite(objects[k].vertices).all()]
    if unsound:
        return [
            Problem(
                "mesh-not-finite",
                f'{_listed([objects[k].name for k in unsound])} of "{spec.name}" has corners that are no numbers',
                scene.position("meshes", index, "file"),
                "mend the object where it was drawn and export it again, or ignore it",
            )
        ]
    if not chosen:
        return []
    corners = np.concatenate([objects[k].corners for k in chosen])
    corners = _upright(spec, path, corners)
    if (wrong := size_problem(scene, index, corners)) is not None and wrong.severity == "error":
        return [wrong]
    problems = [] if wrong is None else [wrong]
    placing = Placing((spec.at[0], spec.at[1]), spec.turn_deg)
    height = spec.at[2] if len(spec.at) == 3 else floor_at(spec.at[0], spec.at[1]) + spec.base
    for k, given in chosen.items():
        key = path, k, spec.metres
        if key not in shelf.mended:
            shelf.mended[key] = mend(objects[k].vertices * spec.metres, objects[k].faces)
        name = f"{spec.name}/{objects[k].name}"
        taken, more = _take(scene, name, spec.name, shelf.mended[key], given)
        problems += more
        if taken is not None:
            local = _upright(spec, path, taken.triangles.reshape(-1, 3), scaled=True)
            plan = placing.points(local[:, :2])
            triangles = np.column_stack([plan, local[:, 2] + height]).reshape(-1, 3, 3)
            into.append(MeshObject(name, spec.name, triangles, taken.facet, taken.closed, taken.made_of, given.loc))
    return problems + outside_rooms(scene, index, np.column_stack([placing.points(corners[:, :2]), corners[:, 2]]))


def _upright(spec: MeshSpec, path: Path, points: Floats, *, scaled: bool = False) -> Floats:
    """Points (n, 3) of a file in metres with z upward, before turning."""
    axis = spec.axis
    if axis is None:
        axis = "y-up" if path.suffix.lower() in (".glb", ".gltf") else "z-up"
    metres = points if scaled else points * spec.metres
    return np.stack([metres[:, 0], -metres[:, 2], metres[:, 1]], axis=1) if axis == "y-up" else metres


def _take(scene: Scene, name: str, owner: str, shape: Mended, given: _Given) -> tuple[MeshObject | None, list[Problem]]:
    """An object as solid, plate or sheets, still in the file's frame; or None, and why."""

    def problem(code: str, message: str, help_: str, severity: str = "error") -> Problem:
        return Problem(code, f'"{name}" {message}', scene.position(*given.loc), help_, severity)

    warnings = []
    if shape.area <= 1e-10:
        message = "has no area: its faces are lines or points"
        return None, [problem("mesh-no-area", message, "mend it where it was drawn, or ignore it")]
    if shape.n_turned:
        warnings.append(
            problem(
                "mesh-turned",
                f"had {shape.n_turned:,} of its {len(shape.faces):,} faces turned inside out; they were turned back",
                "nothing to do, unless the pictures look wrong",
                "warning",
            )
        )
    made, closed = given.made_of, shape.closed
    thin = closed and shape.thickness < _THINNEST
    if isinstance(made, SolidMaterial):
        if thin:
            message = f"has no thickness ({shape.thickness * 1000:.2g} mm), so it can be no solid of {made.name}"
            return None, [problem("mesh-no-thickness", message, "give it a construction instead of a material")]
        if not closed:
            hole = "its faces have no outside"
            if shape.n_open:
                hole = f"{shape.n_open:,} edges have a face on one side only"
            if not made.opaque:
                message = f"is not closed ({hole}), so there is no way through {made.name} to reckon with"
                help_ = "close its holes where it was drawn, or give it a construction: its faces are sheets then"
                return None, [problem("mesh-open", message, help_)]
            warnings.append(
                problem(
                    "mesh-open",
                    f"is not closed ({hole}): its faces are taken as sheets of {made.name}, and maps run on inside it",
                    "close its holes where it was drawn, or give it a construction",
                    "warning",
                )
            )
            made = Construction(made.name, "opaque", 0.002, source=made.source)
    elif closed:
        closed = not thin and shape.thickness <= _PLATE_TIMES * made.thickness_m + _PLATE_MORE
    facet = np.arange(len(shape.faces)) if closed else facets(shape.vertices, shape.faces)
    return MeshObject(name, owner, shape.triangles, facet.astype(np.int32), closed, made, given.loc), warnings


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - _LISTED} more" if len(names) > _LISTED else ""
    return ", ".join(f'"{name}"' for name in names[:_LISTED]) + more

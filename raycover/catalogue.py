"""Materials, constructions and detector models: the packaged `models/` first, then the user's own folders.

A user's folder has the same layout (materials.yaml, constructions.yaml, detectors/*.yaml or *.yml, each optional).
Folders, in order: those in RAYCOVER_MODELS (separated as PATH is), `models/` beside the scene, the scene's
`model_folders`. A name that is already taken is refused rather than shadowed: a schedule must not mean two things by
one name.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from importlib import resources
from pathlib import Path
from typing import Any, Literal

import numpy as np

from raycover.constructions import Construction as Construction
from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.physics.buildup import Buildup, Mats, Studs
from raycover.physics.measured import Measured, MeasuredRow
from raycover.physics.microwave import bulk_loss_db_per_m
from raycover.physics.slab import Layer, Material
from raycover.physics.slab import Losses as Losses
from raycover.scene.construction import InlineConstruction, LayerSpec, Metalwork
from raycover.scene.devices import DetectorModel
from raycover.scene.need_sets import NeedSetsFile, NeedSetSpec
from raycover.scene.reading import Document, read_yaml
from raycover.scene.spaces import SpacesFile, SpaceSpec
from raycover.scene.stock import ConstructionsFile, ConstructionSpec, MaterialsFile, MaterialSpec
from raycover.scene.validate import validate


@dataclass(frozen=True)
class SolidMaterial:
    """What a solid is made of: opaque to microwave, or a bulk loss; infrared it always stops."""

    name: str
    opaque: bool = False
    fixed_db_per_m: float | None = None
    material: Material | None = None
    source: str = ""
    share: float = 1.0

    def loss_db_per_m(self, frequency_ghz: float) -> float:
        """Bulk loss (dB per metre of chord), infinite where opaque."""
        if self.opaque:
            return float(np.inf)
        if self.fixed_db_per_m is not None:
            return self.fixed_db_per_m
        assert self.material is not None
        return self.share * float(bulk_loss_db_per_m(self.material, frequency_ghz))


@dataclass(frozen=True)
class Catalogue:
    """Everything names can refer to. `origins` says which file an entry came from."""

    materials: Mapping[str, Material]
    solids: Mapping[str, SolidMaterial]
    constructions: Mapping[str, Construction]
    detectors: Mapping[str, DetectorModel]
    edition: str = ""
    origins: Mapping[tuple[str, str], Path] = field(default_factory=dict)
    sources: Mapping[str, str] = field(default_factory=dict)
    added_db: Mapping[str, float] = field(default_factory=dict)

    def corrected(self, added_db: Mapping[str, float]) -> Catalogue:
        """The catalogue with losses (dB, one way) added to what scenes refer to, by name of the construction."""
        return replace(self, added_db=dict(added_db))

    def construction(self, ref: str | InlineConstruction) -> Construction | None:
        """The construction a scene refers to, corrected, or None for `none`. Raises KeyError for an unknown name."""
        made = self._plain(ref)
        if made is None or not self.added_db.get(made.name):
            return made
        return replace(made, added_db=self.added_db[made.name])

    def _plain(self, ref: str | InlineConstruction) -> Construction | None:
        if isinstance(ref, str):
            return None if ref == "none" else self.constructions[ref]
        name = " + ".join(
            f"{layer.air_mm:g} mm air" if layer.air_mm is not None else f"{layer.thickness_mm:g} mm {layer.material}"
            for layer in ref.layers
        )
        if (studs := ref.studs) is not None:
            name += f" on {studs.width_mm:g} mm studs of {studs.material} each {studs.pitch_mm:g} mm"
        if (bars := ref.reinforcement) is not None:
            name += f" with {bars.mats} × bars of {bars.bar_mm:g} mm each {bars.pitch_mm:g} mm"
        return _built_up(name, ref, self.materials, source="given in the scene")


def _built_up(name: str, spec: Metalwork, materials: Mapping[str, Material], **more: Any) -> Construction:
    """A construction of layers, studs and mats; one with metal right through it is opaque, unless measured."""
    layers = tuple(_layer(layer, materials) for layer in spec.layers or [])
    studs = mats = None
    if spec.studs is not None:
        made_of = materials[spec.studs.material]
        studs = Studs(spec.studs.pitch_mm / 1000, spec.studs.width_mm / 1000, made_of)
    if (bars := spec.reinforcement) is not None:
        mats = Mats(bars.pitch_mm / 1000, bars.bar_mm / 1000, bars.mats)
    buildup = Buildup(layers, studs, mats)
    kind: Literal["layers", "opaque", "measured"] = "opaque" if buildup.is_opaque else "layers"
    if more.get("measured"):
        kind = "measured"
    more.setdefault("thickness_m", sum(layer.thickness_m for layer in layers))
    return Construction(name, kind, layers=layers, studs=studs, mats=mats, **more)


def _layer(spec: LayerSpec, materials: Mapping[str, Material]) -> Layer:
    if spec.air_mm is not None:
        return Layer(spec.air_mm / 1000, None)
    assert spec.material is not None
    assert spec.thickness_mm is not None
    return Layer(spec.thickness_mm / 1000, materials[spec.material])


def packaged_folder() -> Path:
    """The catalogue that raycover brings: in the wheel, or the checkout's `models/` in an editable install."""
    inside = Path(str(resources.files("raycover"))) / "models"
    return inside if inside.is_dir() else Path(__file__).resolve().parent.parent / "models"


def detector_files(folder: Path) -> list[Path]:
    """The detector entries in a folder of models, in the order of their names."""
    return sorted(path for path in (folder / "detectors").glob("*") if path.suffix in (".yaml", ".yml"))


#: The user's folders where they are not to be looked for, as where a scene is solved away from its place.
_GIVEN: ContextVar[tuple[Path, ...] | None] = ContextVar("_GIVEN", default=None)


@contextmanager
def given_folders(folders: Sequence[Path]) -> Iterator[None]:
    """Within the block the user's folders are these, whatever stands beside a scene or in the environment."""
    token = _GIVEN.set(tuple(folders))
    try:
        yield
    finally:
        _GIVEN.reset(token)


def own_folders(scene_folder: Path | None, more: Sequence[Path] = ()) -> list[Path]:
    """The user's folders, those that exist, in the order they are read; `more` are those that a scene names."""
    if (given := _GIVEN.get()) is not None:
        return list(given)
    listed = [Path(p) for p in os.environ.get("RAYCOVER_MODELS", "").split(os.pathsep) if p]
    if scene_folder is not None:
        listed.append(scene_folder / "models")
    listed += more
    seen: list[Path] = []
    for folder in listed:
        resolved = folder.resolve()
        if resolved.is_dir() and resolved not in seen and resolved != packaged_folder().resolve():
            seen.append(resolved)
    return seen


def load_catalogue(scene_folder: Path | None = None, more: Sequence[Path] = ()) -> Catalogue:
    """The packaged entries and the user's. Raises InputError with every problem of every file."""
    return _load((packaged_folder(), *own_folders(scene_folder, more)))


def load_spaces(scene_folder: Path | None = None) -> dict[str, SpaceSpec]:
    """Kinds of space by name, the packaged and the user's. Raises InputError with every problem of every file."""
    return _listed(own_folders(scene_folder), "spaces", SpacesFile, "space")


def load_need_sets(scene_folder: Path | None = None, more: Sequence[Path] = ()) -> dict[str, NeedSetSpec]:
    """Sets of needs by name, the packaged and the user's. Raises InputError with every problem of every file."""
    return _listed(own_folders(scene_folder, more), "sets", NeedSetsFile, "set of needs", "need_sets.yaml")


def _listed(
    own: Sequence[Path], key: str, model: Any, what: str, file: str | None = None
) -> dict[str, Any]:  # fmt: skip
    """What files of one name in every folder of models list under a key."""
    problems: list[Problem] = []
    known: dict[str, Any] = {}
    for folder in (packaged_folder(), *own):
        if (found := _read(folder / (file or f"{key}.yaml"), model, problems)) is not None:
            document, listed = found
            for name, spec in getattr(listed, key).items():
                if known.setdefault(name, spec) != spec:
                    where = document.position((key, name), key=True)
                    problems.append(
                        Problem("name-taken", f'the {what} "{name}" is there already', where, "give yours another name")
                    )
    if problems:
        raise InputError(problems)
    return known


def _load(folders: Sequence[Path]) -> Catalogue:
    problems: list[Problem] = []
    materials: dict[str, Material] = {}
    solids: dict[str, SolidMaterial] = {}
    constructions: dict[str, Construction] = {}
    detectors: dict[str, DetectorModel] = {}
    origins: dict[tuple[str, str], Path] = {}
    sources: dict[str, str] = {}
    edition = ""

    def add(kind: str, table: dict[str, Any], name: str, value: Any, document: Document, loc: tuple[Any, ...]) -> None:
        if table.get(name) == value:
            return  # the same entry once more, as in a checkout beside an installed copy
        if name in table:
            problems.append(
                Problem(
                    "name-taken",
                    f'the {kind} "{name}" is already in {origins[kind, name]}',
                    document.position(loc, key=True),
                    "give yours a name of its own",
                )
            )
        else:
            table[name] = value
            origins[kind, name] = document.path

    for folder in folders:
        if (found := _read(folder / "materials.yaml", MaterialsFile, problems)) is not None:
            document, listed = found
            edition = edition or listed.edition
            for name, row in listed.materials.items():
                material = _material(name, row)
                sources[f"material {name}"] = row.source
                add("material", materials, name, material, document, ("materials", name))
            for name, solid in listed.solids.items():
                if solid.material is not None and solid.material not in materials:
                    at = ("solids", name, "material")
                    problems.append(_unknown("material", solid.material, materials, document, at))
                    continue
                made_of = materials[solid.material] if solid.material is not None else None
                entry = SolidMaterial(
                    name, solid.opaque, solid.loss_db_per_m, made_of, solid.source, solid.share or 1.0
                )
                add("solid", solids, name, entry, document, ("solids", name))
    for folder in folders:
        if (found := _read(folder / "constructions.yaml", ConstructionsFile, problems)) is not None:
            document, listed = found
            for name, spec in listed.constructions.items():
                loc = ("constructions", name)
                unknown = [
                    _unknown("material", layer.material, materials, document, (*loc, "layers", i, "material"))
                    for i, layer in enumerate(spec.layers or [])
                    if layer.material is not None and layer.material not in materials
                ]
                if spec.studs is not None and spec.studs.material not in materials:
                    unknown.append(
                        _unknown("material", spec.studs.material, materials, document, (*loc, "studs", "material"))
                    )
                problems += unknown
                if not unknown:
                    add("construction", constructions, name, _construction(name, spec, materials), document, loc)
    for folder in folders:
        for path in detector_files(folder):
            if (found := _read(path, DetectorModel, problems)) is not None:
                document, model = found
                add("detector", detectors, model.name, model, document, ("name",))
    if problems:
        raise InputError(problems)
    return Catalogue(materials, solids, constructions, detectors, edition, origins, sources)


def _material(name: str, row: MaterialSpec) -> Material:
    """A row, or what was measured: then the row, never asked, is that of the first measurement."""
    measured = tuple(
        sorted((each.frequency_ghz, each.permittivity, each.conductivity_s_per_m) for each in row.measured or [])
    )
    more: dict[str, Any] = {"measured": measured}
    if row.spread is not None:
        more |= {"spread_a": row.spread.a, "spread_c": row.spread.c}
    if row.a is None or row.b is None or row.c is None or row.d is None or row.valid_ghz is None:
        (low, permittivity, sigma), high = measured[0], measured[-1][0]
        return Material(name, permittivity, 0.0, sigma, 0.0, low, high, **more)
    return Material(name, row.a, row.b, row.c, row.d, *row.valid_ghz, **more)


def _construction(name: str, spec: ConstructionSpec, materials: Mapping[str, Material]) -> Construction:
    rows = tuple(
        MeasuredRow(row.frequency_ghz, row.loss_db, row.incidence_deg, row.reflection_db) for row in spec.measured or []
    )
    more: dict[str, Any] = {"measured": Measured(rows), "glazing": spec.glazing, "source": spec.source}
    if spec.thickness_mm is not None or spec.layers is None:
        more["thickness_m"] = (spec.thickness_mm if spec.thickness_mm is not None else 20) / 1000
    if spec.opaque or spec.open_to_both:
        return Construction(name, "opaque" if spec.opaque else "open", **more)
    return _built_up(name, spec, materials, **more)


def _read(path: Path, model: type[Any], problems: list[Problem]) -> tuple[Document, Any] | None:
    if not path.is_file():
        return None
    try:
        document = read_yaml(path)
        return document, validate(model, document)
    except InputError as error:
        problems.extend(error.problems)
        return None


def _unknown(kind: str, name: str, known: Iterable[str], document: Document, loc: tuple[Any, ...]) -> Problem:
    return unknown_name(kind, name, known, document.position(loc))


def unknown_name(kind: str, name: str, known: Iterable[str], position: Position) -> Problem:
    """The problem of a name that the catalogue does not have."""
    return Problem(f"unknown-{kind}", f'unknown {kind} "{name}"', position, did_you_mean(name, sorted(known)))

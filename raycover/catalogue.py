"""Materials, constructions and detector models: the packaged `models/` first, then the user's own folders.

A user's folder has the same layout (materials.yaml, constructions.yaml, detectors/*.yaml or *.yml, each optional).
Folders, in order: those in RAYCOVER_MODELS (separated as PATH is), `models/` beside the scene. A name that is
already taken is refused rather than shadowed: a schedule must not mean two things by one name.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from raycover.errors import InputError, Position, Problem, did_you_mean
from raycover.physics.microwave import bulk_loss_db_per_m
from raycover.physics.slab import Layer, LossTable, Material
from raycover.scene.construction import InlineConstruction, LayerSpec
from raycover.scene.devices import DetectorModel
from raycover.scene.quantities import Number, Strict
from raycover.scene.reading import Document, read_yaml
from raycover.scene.spaces import SpacesFile, SpaceSpec
from raycover.scene.validate import validate

Positive = Annotated[Number, Field(gt=0)]
NonNegative = Annotated[Number, Field(ge=0)]
Source = Annotated[
    str, Field(min_length=1, description="where the figures come from: a standard, a data sheet, a measurement")
]


class MaterialSpec(Strict):
    """A row of ITU-R P.2040: relative permittivity a·f^b, conductivity c·f^d (S/m), f in GHz."""

    a: Positive
    b: Number
    c: NonNegative
    d: Number
    valid_ghz: tuple[Positive, Positive]
    source: Source

    @model_validator(mode="after")
    def _rising(self) -> MaterialSpec:
        if self.valid_ghz[1] < self.valid_ghz[0]:
            raise PydanticCustomError(
                "range_order", "the range ends below its start", {"at": ["valid_ghz"], "help": "swap the two"}
            )
        return self


class SolidSpec(Strict):
    """What a solid is made of: opaque, a bulk loss, or a material whose bulk loss follows from its row."""

    opaque: bool = Field(False, strict=True)
    loss_db_per_m: NonNegative | None = None
    material: str | None = None
    source: Source

    @model_validator(mode="after")
    def _one_way(self) -> SolidSpec:
        if self.opaque + (self.loss_db_per_m is not None) + (self.material is not None) != 1:
            raise PydanticCustomError(
                "one_loss", "a solid is opaque, or has loss_db_per_m, or a material", {"help": "keep one of the three"}
            )
        return self


class MaterialsFile(Strict):
    edition: str = ""
    materials: dict[str, MaterialSpec] = Field(default_factory=dict)
    solids: dict[str, SolidSpec] = Field(default_factory=dict)


class MeasuredLoss(Strict):
    frequency_ghz: Positive
    loss_db: NonNegative


class ConstructionSpec(Strict):
    """Layers, or opaque to both technologies, or open to both, or a measured loss (infrared stopped)."""

    layers: list[LayerSpec] | None = Field(None, min_length=1, max_length=20)
    opaque: bool = Field(False, strict=True)
    open_to_both: bool = Field(False, strict=True)
    measured: list[MeasuredLoss] | None = Field(None, min_length=1)
    thickness_mm: Positive | None = None
    glazing: bool = Field(False, strict=True)
    source: Source

    @model_validator(mode="after")
    def _one_way(self) -> ConstructionSpec:
        if (self.layers is not None) + self.opaque + self.open_to_both + (self.measured is not None) != 1:
            raise PydanticCustomError(
                "one_loss",
                "a construction has layers, or is opaque, or open_to_both, or has a measured loss",
                {"help": "keep one of the four"},
            )
        return self


class ConstructionsFile(Strict):
    constructions: dict[str, ConstructionSpec] = Field(default_factory=dict)


Losses = Literal["averaged", "coherent"]


@dataclass(frozen=True)
class Construction:
    """What a sheet is made of. `thickness_m` is for drawing; losses come from `layers` or `measured`."""

    name: str
    kind: Literal["layers", "opaque", "open", "measured"]
    thickness_m: float
    layers: tuple[Layer, ...] = ()
    measured: tuple[tuple[float, float], ...] = ()
    glazing: bool = False
    source: str = ""

    @property
    def stops_infrared(self) -> bool:
        return self.kind != "open"

    def loss_table(self, frequency_ghz: float, losses: Losses) -> LossTable:
        """One-way microwave loss against incidence; the value of the nearest measured frequency where so given.

        Raises ValueError where a material's row does not hold at the frequency.
        """
        return _loss_table(self, frequency_ghz, losses)


@lru_cache(maxsize=1024)
def _loss_table(construction: Construction, frequency_ghz: float, losses: Losses) -> LossTable:
    if construction.kind == "opaque":
        return LossTable.opaque()
    if construction.kind == "open" or (construction.kind == "layers" and not construction.layers):
        return LossTable.constant(0.0)
    if construction.kind == "measured":
        nearest = min(construction.measured, key=lambda row: abs(np.log(row[0] / frequency_ghz)))
        return LossTable.constant(nearest[1])
    return LossTable(construction.layers, frequency_ghz, losses=losses)


@dataclass(frozen=True)
class SolidMaterial:
    """What a solid is made of: opaque to microwave, or a bulk loss; infrared it always stops."""

    name: str
    opaque: bool = False
    fixed_db_per_m: float | None = None
    material: Material | None = None
    source: str = ""

    def loss_db_per_m(self, frequency_ghz: float) -> float:
        """Bulk loss (dB per metre of chord), infinite where opaque."""
        if self.opaque:
            return float(np.inf)
        if self.fixed_db_per_m is not None:
            return self.fixed_db_per_m
        assert self.material is not None
        return float(bulk_loss_db_per_m(self.material, frequency_ghz))


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

    def construction(self, ref: str | InlineConstruction) -> Construction | None:
        """The construction a scene refers to, or None for `none`. Raises KeyError for an unknown name."""
        if isinstance(ref, str):
            return None if ref == "none" else self.constructions[ref]
        layers = tuple(self._layer(layer) for layer in ref.layers)
        name = " + ".join(
            f"{layer.air_mm:g} mm air" if layer.air_mm is not None else f"{layer.thickness_mm:g} mm {layer.material}"
            for layer in ref.layers
        )
        return _of_layers(name, layers, source="given in the scene")

    def _layer(self, spec: LayerSpec) -> Layer:
        if spec.air_mm is not None:
            return Layer(spec.air_mm / 1000, None)
        assert spec.material is not None
        assert spec.thickness_mm is not None
        return Layer(spec.thickness_mm / 1000, self.materials[spec.material])


def _of_layers(name: str, layers: tuple[Layer, ...], **more: Any) -> Construction:
    """Layers as they are; one with metal in it is opaque, since a metal sheet is not worth evaluating."""
    thickness = sum(layer.thickness_m for layer in layers)
    metal = any(layer.material is not None and layer.material.name == "metal" for layer in layers)
    return Construction(name, "opaque" if metal else "layers", thickness, layers, **more)


def packaged_folder() -> Path:
    """The catalogue that raycover brings: in the wheel, or the checkout's `models/` in an editable install."""
    inside = Path(str(resources.files("raycover"))) / "models"
    return inside if inside.is_dir() else Path(__file__).resolve().parent.parent / "models"


def detector_files(folder: Path) -> list[Path]:
    """The detector entries in a folder of models, in the order of their names."""
    return sorted(path for path in (folder / "detectors").glob("*") if path.suffix in (".yaml", ".yml"))


def own_folders(scene_folder: Path | None) -> list[Path]:
    """The user's folders, those that exist, in the order they are read."""
    listed = [Path(p) for p in os.environ.get("RAYCOVER_MODELS", "").split(os.pathsep) if p]
    if scene_folder is not None:
        listed.append(scene_folder / "models")
    seen: list[Path] = []
    for folder in listed:
        resolved = folder.resolve()
        if resolved.is_dir() and resolved not in seen and resolved != packaged_folder().resolve():
            seen.append(resolved)
    return seen


def load_catalogue(scene_folder: Path | None = None) -> Catalogue:
    """The packaged entries and the user's. Raises InputError with every problem of every file."""
    return _load((packaged_folder(), *own_folders(scene_folder)))


def load_spaces(scene_folder: Path | None = None) -> dict[str, SpaceSpec]:
    """Kinds of space by name, the packaged and the user's. Raises InputError with every problem of every file."""
    problems: list[Problem] = []
    spaces: dict[str, SpaceSpec] = {}
    for folder in (packaged_folder(), *own_folders(scene_folder)):
        if (found := _read(folder / "spaces.yaml", SpacesFile, problems)) is not None:
            document, listed = found
            for name, spec in listed.spaces.items():
                if spaces.setdefault(name, spec) != spec:
                    where = document.position(("spaces", name), key=True)
                    problems.append(
                        Problem("name-taken", f'the space "{name}" is there already', where, "give yours another name")
                    )
    if problems:
        raise InputError(problems)
    return spaces


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
                material = Material(name, row.a, row.b, row.c, row.d, *row.valid_ghz)
                sources[f"material {name}"] = row.source
                add("material", materials, name, material, document, ("materials", name))
            for name, solid in listed.solids.items():
                if solid.material is not None and solid.material not in materials:
                    at = ("solids", name, "material")
                    problems.append(_unknown("material", solid.material, materials, document, at))
                    continue
                made_of = materials[solid.material] if solid.material is not None else None
                entry = SolidMaterial(name, solid.opaque, solid.loss_db_per_m, made_of, solid.source)
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


def _construction(name: str, spec: ConstructionSpec, materials: Mapping[str, Material]) -> Construction:
    if spec.layers is not None:
        layers = tuple(Catalogue(materials, {}, {}, {})._layer(layer) for layer in spec.layers)
        return _of_layers(name, layers, glazing=spec.glazing, source=spec.source)
    thickness = (spec.thickness_mm if spec.thickness_mm is not None else 20) / 1000
    measured = tuple((row.frequency_ghz, row.loss_db) for row in spec.measured or [])
    kind: Literal["opaque", "open", "measured"] = "measured"
    if spec.opaque or spec.open_to_both:
        kind = "opaque" if spec.opaque else "open"
    return Construction(name, kind, thickness, (), measured, spec.glazing, spec.source)


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

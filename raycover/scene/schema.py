"""The scene file as a whole. `Scene` is what `load` gives: typed, in metres, knowing where each value stood."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Protocol

from pydantic import Field, PrivateAttr

from raycover.errors import Position, Problem
from raycover.scene.construction import ConstructionRef
from raycover.scene.corrections import CorrectionsSpec
from raycover.scene.devices import DetectorSpec, Grid, PlaneSpec
from raycover.scene.doubt import DoubtSpec
from raycover.scene.fittings import Cubicles, Desks, Fixtures, Table
from raycover.scene.meshes import MeshSpec
from raycover.scene.needs import NeedSpec
from raycover.scene.nuisances import Nuisance
from raycover.scene.parts import Conditions, Partition, Room, SheetSpec, Solid
from raycover.scene.paths import resolve
from raycover.scene.placing import PlacingSpec
from raycover.scene.project import ProjectSpec
from raycover.scene.quantities import Degrees, ShortName, Strict, Version
from raycover.scene.received import PlanSpec, UnderlaySpec
from raycover.scene.references import fitout_references
from raycover.scene.routes import Route
from raycover.scene.states import StateSpec
from raycover.scene.storage import Racking
from raycover.scene.storeys import Stairs, Storey
from raycover.scene.views import CameraSpec, SectionSpec
from raycover.scene.wiring import Line, Zone

#: The state that a scene is drawn in, where its author gives it no name.
AS_DRAWN = "as drawn"
FolderText = Annotated[str, Field(min_length=1, max_length=1000)]

if TYPE_CHECKING:
    from raycover.catalogue import Catalogue, Construction


class Places(Protocol):
    """What knows where values were written: a Document, or one with the places of a state."""

    def position(self, loc: Iterable[str | int], *, key: bool = False) -> Position: ...


def _default_planes() -> list[PlaneSpec]:
    return [PlaneSpec(name="floor", height=0.0), PlaneSpec(name="desk", height=0.75)]


class Scene(Strict):
    """A building with its detectors and what is asked of them."""

    raycover: Version = Field(description="version of the scene format: 1")
    title: str = Field("Untitled", max_length=120, description="title of the drawings")
    revision: str = Field("A", max_length=12, description="revision for the title block")
    date: str | None = Field(None, max_length=20, description="date for the title block; today if not given")
    project: ProjectSpec | None = Field(None, description="client, site, logo and the like, for the report")
    north_deg: Degrees = Field(90.0, description="direction of north, anticlockwise from +x")
    conditions: Conditions = Field(default_factory=Conditions)
    doubt: DoubtSpec = Field(default_factory=DoubtSpec, description="how uncertain things are, for varied cases")
    corrections: CorrectionsSpec | None = Field(None, description="dB added to reaches and losses, from a test on site")
    rooms: list[Room] = Field(default_factory=list, max_length=10_000)
    storeys: list[Storey] = Field(default_factory=list, max_length=200, description="names of levels")
    partitions: list[Partition] = Field(default_factory=list, max_length=100_000)
    solids: list[Solid] = Field(default_factory=list, max_length=100_000)
    racking: list[Racking] = Field(default_factory=list, max_length=100_000)
    cubicles: list[Cubicles] = Field(default_factory=list, max_length=10_000)
    fixtures: list[Fixtures] = Field(default_factory=list, max_length=10_000)
    desks: list[Desks] = Field(default_factory=list, max_length=100_000)
    tables: list[Table] = Field(default_factory=list, max_length=100_000)
    stairs: list[Stairs] = Field(default_factory=list, max_length=10_000)
    sheets: list[SheetSpec] = Field(default_factory=list, max_length=100_000)
    meshes: list[MeshSpec] = Field(default_factory=list, max_length=10_000)
    detectors: list[DetectorSpec] = Field(default_factory=list, max_length=20_000)
    nuisances: list[Nuisance] = Field(
        default_factory=list, max_length=10_000, description="what may trip a detector though nobody is there"
    )
    planes: list[PlaneSpec] = Field(default_factory=_default_planes, min_length=1, max_length=50)
    grid: Grid = Field(0.25, description="cell size of the maps")
    state_name: ShortName = Field(AS_DRAWN, description="name of the state that the scene is drawn in")
    states: list[StateSpec] = Field(default_factory=list, max_length=100, description="other states, by what differs")
    allow_folders: list[FolderText] = Field(
        default_factory=list, max_length=20, description="folders beside the scene's own that its files may lie in"
    )
    model_folders: list[FolderText] = Field(
        default_factory=list, max_length=20, description="folders of entries of your own, beside the scene's models/"
    )
    underlay: UnderlaySpec | None = Field(None, description="a plan as received, shown faintly under the maps")
    plan: PlanSpec | None = Field(None, description="the drawing that this scene was taken from: units and origin")
    needs: list[NeedSpec] = Field(default_factory=list, max_length=1000, description="what `prove` judges")
    lines: list[Line] = Field(default_factory=list, max_length=200, description="lighting control lines")
    zones: list[Zone] = Field(default_factory=list, max_length=2000, description="luminaires switched together")
    placing: PlacingSpec | None = Field(None, description="what `place` may choose from, and where it may hang it")
    routes: list[Route] = Field(default_factory=list, max_length=1000, description="ways that people walk")
    sections: list[SectionSpec] = Field(default_factory=list, max_length=100, description="vertical cuts, a sheet each")
    cameras: list[CameraSpec] = Field(default_factory=list, max_length=100, description="3D pictures to draw")

    _document: Places | None = PrivateAttr(None)
    _catalogue: Catalogue | None = PrivateAttr(None)
    _warnings: tuple[Problem, ...] = PrivateAttr(())
    _state: str | None = PrivateAttr(None)
    _folder: Path | None = PrivateAttr(None)

    def attach(
        self, document: Places, catalogue: Catalogue, warnings: Sequence[Problem] = (), folder: Path | None = None
    ) -> None:
        """Remember where the values stood and what their names refer to (called by `load`)."""
        self._document = document
        self._catalogue = catalogue
        self._warnings = tuple(warnings)
        self._folder = folder

    def warn(self, warnings: Sequence[Problem]) -> None:
        """Remember what is doubtful (called by `load`)."""
        self._warnings = tuple(warnings)

    def changed(self, fields: Mapping[str, Any], state: str, places: Callable[[Places], Places]) -> Scene:
        """A copy in another state: other `fields`, its values written where `places` says."""
        copy = self.model_copy(update=fields)
        copy._state = state
        if self._document is not None:
            copy._document = places(self._document)
        return copy

    @property
    def state(self) -> str:
        """Name of the state that this scene is in."""
        return self.state_name if self._state is None else self._state

    @property
    def state_names(self) -> tuple[str, ...]:
        """Every state there is, the one drawn first."""
        return (self.state_name, *(state.name for state in self.states))

    @property
    def warnings(self) -> tuple[Problem, ...]:
        """What is doubtful but not wrong."""
        return self._warnings

    @property
    def catalogue(self) -> Catalogue:
        """The materials, constructions and detector models that this scene's names refer to."""
        if self._catalogue is None:
            raise RuntimeError("a scene made without load() has no catalogue: call attach() first")
        return self._catalogue

    def position(self, *loc: str | int, key: bool = False) -> Position:
        """Where a value stands in the file, e.g. `scene.position("detectors", 0, "at")`."""
        if self._document is None:
            return Position("scene")
        return self._document.position(tuple(loc), key=key)

    def file(self, text: str, *loc: str | int) -> Path:
        """The file that the value at `loc` names. Raises InputError there for one it may not or cannot read."""
        return resolve(self._folder, self.allow_folders, text, self.position(*loc))

    def pattern_of(self, detector: DetectorSpec) -> Any:
        """The pattern of a detector: its own, or that of its model."""
        return detector.pattern if detector.pattern is not None else self.catalogue.detectors[detector.model or ""]

    def reach_correction_db(self, detector: DetectorSpec) -> float:
        """What the scene's corrections add to a detector's margin (dB)."""
        return 0.0 if self.corrections is None else self.corrections.reach_db.get(detector.model or detector.name, 0.0)

    def constructions_used(self) -> list[Construction]:
        """Every construction that the scene refers to and the catalogue holds, each once."""
        found: dict[str, Construction] = {}
        for ref in self._references():
            try:
                made = self.catalogue.construction(ref)
            except KeyError:
                continue
            if made is not None:
                found[made.name] = made
        return list(found.values())

    def _references(self) -> Iterator[ConstructionRef]:
        for room in self.rooms:
            yield from room.walls if isinstance(room.walls, list) else [room.walls]
            yield from (room.ceiling, room.floor_construction)
            yield from (opening.fill for opening in room.openings)
        for partition in self.partitions:
            yield partition.construction
            yield from (opening.fill for opening in partition.openings)
        yield from (sheet.construction for sheet in self.sheets)
        yield from (rack.surface for rack in self.racking if rack.surface is not None)
        yield from (ref for ref, _ in fitout_references(self))
        yield from (stairs.construction for stairs in self.stairs)
        for mesh in self.meshes:
            yield from (made.construction for _, made in mesh.said if made.construction is not None)

"""The JSON Schema of a scene: valid by its own standard, in step with what reading a scene accepts and refuses."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from pydantic import BaseModel

from raycover.catalogue import load_catalogue
from raycover.cli.main import main
from raycover.cli.starting import SCHEMA_FILE, STARTER, schema_text
from raycover.scene.json_schema import DIALECT, EXAMPLES, IDENTIFIER, scene_schema
from raycover.scene.quantities import Strict
from raycover.scene.reading import read_text
from raycover.scene.schema import Scene

ROOT = Path(__file__).parents[2]
EVERYTHING = json.loads(schema_text())
VALIDATOR = jsonschema.Draft202012Validator(EVERYTHING)
EXAMPLE_FILES = sorted((ROOT / "examples").rglob("scene.yaml"))
README = (ROOT / "README.md").read_text(encoding="utf-8")


def data(text: str) -> Any:
    return read_text(text, "scene.yaml").data


def errors(scene: Any) -> list[str]:
    return [error.message for error in VALIDATOR.iter_errors(scene)]


def objects() -> Iterator[tuple[str, dict[str, Any]]]:
    yield "Scene", EVERYTHING
    yield from EVERYTHING["$defs"].items()


def test_it_is_a_valid_schema() -> None:
    """By the meta-schema of JSON Schema draft 2020-12, as the reference implementation jsonschema carries it."""
    jsonschema.Draft202012Validator.check_schema(EVERYTHING)
    assert EVERYTHING["$schema"] == DIALECT == jsonschema.Draft202012Validator.META_SCHEMA["$id"]
    assert EVERYTHING["$id"] == IDENTIFIER
    assert EVERYTHING["title"]


@pytest.mark.parametrize("path", EXAMPLE_FILES, ids=lambda p: p.parent.name)
def test_it_accepts_every_example(path: Path) -> None:
    assert errors(data(path.read_text(encoding="utf-8"))) == []


def test_it_accepts_the_starter_and_the_scenes_of_the_readme() -> None:
    assert errors(data(STARTER)) == []
    scenes = [b for b in re.findall(r"^```yaml\n(.*?)^```", README, re.M | re.S) if b.startswith("raycover: 1")]
    assert scenes
    for text in scenes:
        assert errors(data(text)) == []


def test_it_accepts_lengths_with_units_wherever_numbers_of_metres_stand() -> None:
    scene = data(STARTER)
    scene["rooms"][0]["height"] = "9 ft 2 in"
    scene["rooms"][0]["outline"][1] = ["29 ft 6 in", "0 mm"]
    scene["grid"] = "3/4 in"
    scene["planes"][0]["height"] = '2 1/2"'
    assert errors(scene) == []
    scene["rooms"][0]["height"] = "9 furlongs"
    assert errors(scene)


@pytest.mark.parametrize("depth", ["top", "room", "opening", "partition", "detector", "plane", "desks", "conditions"])
def test_it_refuses_a_wrong_key(depth: str) -> None:
    scene = data(STARTER)
    place = {
        "top": scene,
        "room": scene["rooms"][0],
        "opening": scene["rooms"][0]["openings"][0],
        "partition": scene["partitions"][0],
        "detector": scene["detectors"][0],
        "plane": scene["planes"][0],
        "desks": scene["desks"][0],
        "conditions": scene["conditions"],
    }[depth]
    place["colour"] = "red"
    assert any("colour" in message for message in errors(scene))


def _with(change: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
    scene = copy.deepcopy(data(STARTER))
    change(scene)
    return scene


@pytest.mark.parametrize(
    "change",
    [
        lambda s: s.pop("raycover"),
        lambda s: s.update(raycover=2),
        lambda s: s["rooms"][0].pop("outline"),
        lambda s: s["rooms"][0].update(outline=[[0, 0], [1, 1]]),
        lambda s: s["rooms"][0].update(outline=[[0, 0, 0], [1, 1], [2, 2]]),
        lambda s: s["rooms"][0].update(height=0),
        lambda s: s["rooms"][0].update(height=-1),
        lambda s: s["rooms"][0].update(height=30_000),
        lambda s: s["rooms"][0].update(height=True),
        lambda s: s["rooms"][0]["openings"][0].update(state="ajar"),
        lambda s: s.update(grid=0.001),
        lambda s: s.update(detectors={}),
        lambda s: s.update(states=[{"name": "a", "set": {"x": "sideways"}}]),
    ],
)
def test_what_it_refuses_reading_refuses_too(change: Callable[[dict[str, Any]], Any]) -> None:
    scene = _with(change)
    assert errors(scene)
    with pytest.raises(ValueError):  # noqa: PT011 - pydantic's own error is a ValueError
        Scene.model_validate(scene)


def test_keys_that_are_not_built_yet_are_absent() -> None:
    reserved = [name for name, field in Scene.model_fields.items() if _is_reserved(field)]
    assert not set(reserved) & set(EVERYTHING["properties"])
    assert set(EVERYTHING["properties"]) | set(reserved) == set(Scene.model_fields)
    assert "not_built" not in schema_text()


def _is_reserved(field: Any) -> bool:
    extra = field.json_schema_extra
    return isinstance(extra, dict) and bool(extra.get("not_built_yet"))


def test_every_key_has_words_and_no_bound_is_lost() -> None:
    bare = [f"{name}.{key}" for name, part in objects() for key, f in part.get("properties", {}).items()
            if not f.get("description")]  # fmt: skip
    assert bare == []
    assert re.findall(r'"(?:ge|gt|le|lt)":', schema_text()) == []
    room = EVERYTHING["$defs"]["Room"]["properties"]["height"]
    assert room["anyOf"][0] == {"type": "number", "exclusiveMinimum": 0, "maximum": 20_000}
    assert room["description"] == "height from floor to ceiling; under a roof that of its ridge, in metres"
    solid = EVERYTHING["$defs"]["Solid"]["properties"]
    assert solid["turn_deg"]["description"].endswith(", in degrees")
    assert solid["turn_deg"]["default"] == 0


def test_every_reference_leads_somewhere() -> None:
    references = set(re.findall(r'"#/\$defs/([^"]+)"', schema_text()))
    assert references <= set(EVERYTHING["$defs"])


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_in_it_are_right(name: str) -> None:
    """Each example of a part is one that the schema and the reader both take."""
    part = {"$schema": DIALECT, "$ref": f"#/$defs/{name}", "$defs": EVERYTHING["$defs"]}
    assert list(jsonschema.Draft202012Validator(part).iter_errors(EXAMPLES[name])) == []
    models: dict[str, type[BaseModel]] = {model.__name__: model for model in _models(Strict)}
    models[name].model_validate(EXAMPLES[name])
    assert EVERYTHING["$defs"][name]["examples"] == [EXAMPLES[name]]


def _models(root: type[BaseModel]) -> Iterator[type[BaseModel]]:
    for model in root.__subclasses__():
        yield model
        yield from _models(model)


def test_names_of_the_catalogue_are_offered_and_others_taken() -> None:
    catalogue = load_catalogue()
    model = EVERYTHING["$defs"]["DetectorSpec"]["properties"]["model"]["anyOf"]
    assert model[0] == {"enum": sorted(catalogue.detectors)}
    scene = _with(lambda s: s["detectors"][0].update(model="our-own-unit"))
    assert errors(scene) == []
    assert "enum" not in json.dumps(scene_schema()["$defs"]["DetectorSpec"]["properties"]["model"])


# ---- the command


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        main(["schema"])
    out, err = capsys.readouterr()
    assert (left.value.code or 0, err) == (0, "")
    assert json.loads(out) == EVERYTHING
    with pytest.raises(SystemExit) as left:
        main(["schema", "-o", str(tmp_path / "deep" / "s.json")])
    assert (left.value.code or 0) == 0
    assert json.loads((tmp_path / "deep" / "s.json").read_text(encoding="utf-8")) == EVERYTHING
    assert "# yaml-language-server: $schema=s.json" in capsys.readouterr().err
    with pytest.raises(SystemExit) as left:
        main(["schema", "-o", str(tmp_path)])
    assert left.value.code == 2


def test_a_new_scene_has_its_schema_beside_it(tmp_path: Path) -> None:
    with pytest.raises(SystemExit):
        main(["new", str(tmp_path / "office.yaml")])
    first = (tmp_path / "office.yaml").read_text(encoding="utf-8").splitlines()[0]
    assert first == f"# yaml-language-server: $schema={SCHEMA_FILE}"
    assert json.loads((tmp_path / SCHEMA_FILE).read_text(encoding="utf-8")) == EVERYTHING


def test_a_file_of_that_name_that_is_none_of_ours_stays(tmp_path: Path) -> None:
    (tmp_path / SCHEMA_FILE).write_text("mine")
    with pytest.raises(SystemExit) as left:
        main(["new", str(tmp_path / "office.yaml")])
    assert (left.value.code or 0) == 0
    assert (tmp_path / SCHEMA_FILE).read_text() == "mine"

"""Which unit for which space: ranks by hand-worked margins, reasons why others fall out."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from small_scenes import pattern

from raycover.asking.suiting import digits, rank
from raycover.catalogue import load_catalogue, load_spaces
from raycover.cli.main import main
from raycover.errors import InputError
from raycover.scene.devices import DetectorModel
from raycover.scene.spaces import SpaceSpec


def entry(name: str, made: object, **more: object) -> DetectorModel:
    return DetectorModel(raycover_detector=1, name=name, title=name, **{**made, **more})  # type: ignore[dict-item]


def space(**more: object) -> SpaceSpec:
    needs = [{"motion": "tangential", "length": 3, "width": 3}]
    return SpaceSpec.model_validate({"needs": needs, "mounting": 2.5, "air_c": 20, "reason": "test", **more})


CIRCLE = pattern({"circle": {"diameter": 8}}, mounting=2.5)
RADIO = pattern({"circle": {"diameter": 10}}, mounting=2.5, frequency_ghz=5.8)


def test_margins_by_hand() -> None:
    # r = 4 m from 2.5 m: slant 4.717 m; the need's furthest point 3 m off: slant 3.905 m; 40·log10(4.717/3.905) = 3.28.
    # Microwave r = 5 m: slant 5.590 m: 40·log10(5.590/3.905) = 6.23. [C]
    fits = rank(space(), [entry("infrared", CIRCLE), entry("radio", RADIO)])
    assert [f.name for f in fits] == ["radio", "infrared"]
    assert [f.margin_db for f in fits] == pytest.approx([6.23, 3.28], abs=0.01)
    assert all(f.suits for f in fits)


@pytest.mark.parametrize(
    ("asked", "more", "why"),
    [
        ({"needs": [{"motion": "presence", "length": 1, "width": 1}]}, {}, "declares no presence motion"),
        ({"mounting": 4.0}, {"mounting": {"from": 2.2, "to": 3}}, "meant for 2.2 to 3 m, not 4 m"),
        ({"sight": "obstructed"}, {}, "infrared stops at closed doors"),
        # 30 °C: k = .37 takes 8.6 dB of the 3.28 dB. [C]
        ({"air_c": 30}, {}, "too little contrast at 30 °C"),
        # All of 8 m is seen at half: 4 m is the lens edge. [C]
        ({"needs": [{"motion": "tangential", "length": 8, "width": 8}]}, {}, "sees 50% of 8 × 8 m"),
        ({"protection": "IP44"}, {"protection": "IP20"}, "IP20, IP44 is needed"),
    ],
)
def test_why_an_entry_falls_out(asked: dict[str, object], more: dict[str, object], why: str) -> None:
    (fit,) = rank(space(**asked), [entry("infrared", CIRCLE, **more)])
    assert not fit.suits
    assert any(why in reason for reason in fit.falls_out), fit.falls_out


def test_a_long_field_is_turned_along_the_need() -> None:
    along = pattern({"rectangle": {"length": 4, "width": 12}}, mounting=2.5)
    (fit,) = rank(space(needs=[{"motion": "tangential", "length": 5, "width": 1}]), [entry("long", along)])
    assert (fit.turn_deg, fit.suits) == (90, True)


def test_a_wall_unit_is_asked_for_what_lies_before_it() -> None:
    wall = pattern({"sector": {"reach": 8, "spread_deg": 120}}, mounting=2.2)
    need = [{"motion": "tangential", "length": 3, "width": 1}]
    assert rank(space(needs=need, mounting=2.2), [entry("wall", wall)])[0].suits
    assert not rank(
        space(needs=need, mounting=2.2), [entry("half", pattern({"circle": {"diameter": 5}}, mounting=2.2))]
    )[0].suits


def test_microwave_beside_light_walls_is_a_reservation() -> None:
    (fit,) = rank(space(beyond="light walls"), [entry("radio", RADIO)])
    assert fit.suits
    assert "light walls" in fit.mind[0]


def test_facts_of_the_trade() -> None:
    """Common practice, no source: microwave for washrooms and stairs, high-bay infrared for stores and halls."""
    entries, spaces = list(load_catalogue().detectors.values()), load_spaces()
    first = {name: rank(spec, entries)[0] for name, spec in spaces.items()}
    assert all(fit.suits for fit in first.values()), {n: f.falls_out for n, f in first.items() if not f.suits}
    for name in ("washroom", "stairwell"):
        assert first[name].name.startswith("microwave")
        assert not any(f.suits for f in rank(spaces[name], entries) if "infrared" in f.name)
    for name in ("aisle store", "bulk store", "sports hall"):
        assert first[name].name.startswith("high-bay-infrared")


def test_protection_classes() -> None:
    assert digits("IP54") == (5, 4)
    assert digits("IPX4") == (0, 4)


def test_own_spaces_and_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "models"
    folder.mkdir()
    own = "{needs: [{motion: presence, length: 1, width: 1}], mounting: 2.4, reason: small}"
    (folder / "spaces.yaml").write_text(f"spaces:\n  booth: {own}\n")
    with pytest.raises(SystemExit) as left:
        main(["models", "--for", "booth", "--scene-folder", str(tmp_path), "--json"])
    assert not left.value.code
    found = json.loads(capsys.readouterr().out)
    assert found["mounting_m"] == 2.4
    assert found["detectors"][0]["suits"]
    assert all(d["margin_db"] is None or math.isfinite(d["margin_db"]) for d in found["detectors"])
    with pytest.raises(SystemExit) as left:
        main(["models", "--for", "boot", "--air", "99", "--scene-folder", str(tmp_path)])
    assert left.value.code == 2
    err = capsys.readouterr().err
    assert 'did you mean "booth"' in err
    assert "99 °C is out of range" in err
    (folder / "spaces.yaml").write_text("spaces:\n  booth: {mounting: 2.4}\n")
    with pytest.raises(InputError) as wrong:
        load_spaces(tmp_path)
    assert {p.position.line for p in wrong.value.problems} == {2}

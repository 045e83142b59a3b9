"""Figures of a data sheet read, odd ones noted, entries written and read back."""

from __future__ import annotations

import pytest

from raycover.errors import InputError
from raycover.exchange import data_sheet
from raycover.exchange.data_sheet import Refused
from raycover.exchange.detector_file import entry_text, read_entry, typed
from raycover.exchange.entry_notes import notes
from raycover.scene.devices import DetectorModel

LINE = "tangential 2.5 circle 7"


# --- figures as people write them -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "shape"),
    [
        ("tangential 2.5 circle 7", {"circle": {"diameter": 7}}),
        ("Across, at 2.5 m: circle Ø7 m", {"circle": {"diameter": 7}}),
        ("tangential 2500mm circle radius 350 cm", {"circle": {"diameter": 7}}),
        ("tangential 2.5 rectangle 12x10", {"rectangle": {"length": 12, "width": 10}}),
        ("tangential 2.5 m rectangle 12 m × 10 m", {"rectangle": {"length": 12, "width": 10}}),
        ("tangential 2.5 ellipse length 18 width 2.6", {"ellipse": {"length": 18, "width": 2.6}}),
        ("tangential 2.5 sector 11 m 110°", {"sector": {"reach": 11, "spread_deg": 110}}),
        ("tangential 2.5 sector 11 110 deg", {"sector": {"reach": 11, "spread_deg": 110}}),
        ("tangential 2.5 polar 0:5, 120:3 240:900mm", {"polar": [[0, 5], [120, 3], [240, 0.9]]}),
    ],
)
def test_declared_lines_are_read(text: str, shape: dict[str, object]) -> None:
    read = data_sheet.declared(text)
    assert read == {"motion": "tangential", "mounting": 2.5, "plane": 0, "shape": shape}


@pytest.mark.parametrize(
    ("text", "column", "words"),
    [
        ("tangential 2,5 circle 7", 11, "decimal comma"),
        ("tangential 2500 circle 7", 11, "beyond 60 m"),
        ("walking 2.5 circle 7", 0, "unknown motion"),
        ("tangential 2.5 circel 7", 15, "unknown shape"),
        ("tangential 2.5 circle 7 8", 24, "1 figure, not 2"),
        ("tangential 2.5 circle", 21, "1 figure, not 0"),
        ("tangential 2.5 circle -7", 22, "-7 m"),
        ("tangential 2.5 circle 0", 22, "0 m"),
        ("tangential 2.5 circle 23 ft", 22, "not metric"),
        ("tangential 2.5 circle nan", 22, "expected"),
        ("tangential 2.5 circle 7000", 22, "beyond 300 m"),
        ("tangential 2.5 on 3 circle 7", 11, "not below"),
        ("tangential 2.5 sector 5 400", 24, "400 degrees"),
        ("tangential 2.5 polar 0:5,90:3,5", 30, "azimuth and a radius"),
        ("tangential 2.5 polar 90:5,0:3,180:1", 26, "does not rise"),
        ("tangential 2.5 polar 0:0,90:0,180:0", 35, "above 0 m"),
        ("tangential", 10, "mounting height is missing"),
        ("", 0, "nothing is declared"),
    ],
)
def test_declared_lines_that_are_refused(text: str, column: int, words: str) -> None:
    with pytest.raises(Refused) as caught:
        data_sheet.declared(text)
    assert words in caught.value.message
    assert caught.value.column == column
    assert caught.value.help


def test_feet_are_told_in_metres() -> None:
    """1 ft is 0.3048 m, 1 in is 25.4 mm exactly (international yard and pound agreement, 1959; from memory)."""
    with pytest.raises(Refused) as caught:
        data_sheet.mounting("10 ft")
    assert "3.048 m" in caught.value.help
    with pytest.raises(Refused) as caught:
        data_sheet.mounting('100"')
    assert "2.54 m" in caught.value.help


# --- what is worth a second look --------------------------------------------------------------------------------------


def entry(kind: str, *lines: str, **more: object) -> DetectorModel:
    declared = [data_sheet.declared(line) for line in lines]
    return typed({"raycover_detector": 1, "name": "x", "title": "x", "kind": kind, "declared": declared, **more})


@pytest.mark.parametrize(
    ("model", "words"),
    [
        (entry("infrared", "tangential 2.5 circle 5", "radial 2.5 circle 7"), "are the two swapped"),
        (
            entry("microwave", "tangential 2.5 circle 7", "radial 2.5 circle 5", frequency_ghz=5.8),
            "are the two swapped",
        ),
        # tan 80° = 5.67, so 14.3 m from 2.5 m lies just beyond and 14.1 m just within
        (entry("infrared", "tangential 2.5 circle radius 14.3"), "more than 80°"),
        (entry("infrared", "tangential 3 circle 7", "tangential 4 circle 6"), "is larger at 3 m"),
        (entry("infrared", "presence 8 circle 6"), "seated person from above 6 m"),
        (entry("microwave", "radial 2.5 circle 5", frequency_ghz=10.525), "licence-exempt"),
        (entry("infrared", "tangential 9 circle 20", mounting={"from": 2, "to": 4}), "outside the mounting range"),
    ],
)
def test_odd_figures_are_noted(model: DetectorModel, words: str) -> None:
    assert any(words in note for note in notes(model))


def test_sound_figures_are_not() -> None:
    sound = {"largest_mask_share": 0.25, "mounting": {"from": 2.2, "to": 4}}
    lines = ["radial 2.5 circle 5", "presence 2.5 on 0.75 circle 3"]
    assert notes(entry("infrared", "tangential 2.5 circle radius 14.1", *lines, **sound)) == []
    # a sphere's floor circle shrinks as the unit goes up: no cause for a note
    lower = ["radial 2.5 circle 7", "radial 3.5 circle 6", "tangential 2.5 circle 5", "presence 2.5 on 0.75 circle 3"]
    assert notes(entry("microwave", *lower, frequency_ghz=5.8, **sound)) == []


# --- written and read back --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "null",
        "1e3",
        "0x10",
        "yes: no",
        "# not a comment",
        '"',
        "back\\slash",
        "two  blanks",
        " lead",
        "ü検😀",
        "\u00a0",
        "{a}",
        "it's",
        "trailing:",
        "- dash",
        "word " * 40 + "end",
        "long " * 30 + " double",
        "a\tb",
        "x" * 300,
    ],
)
def test_any_words_read_back_equal(text: str) -> None:
    model = entry("infrared", LINE, description=text, source=text, family=text[:80])
    assert read_entry(entry_text(model), "x") == model


def test_any_number_reads_back_equal() -> None:
    model = entry("infrared", "tangential 2.5 circle 7", bus_current_ma=0.1 + 0.2, largest_mask_share=1e-7)
    assert read_entry(entry_text(model), "x") == model


def test_typed_entries_are_checked_whole() -> None:
    with pytest.raises(InputError, match="frequency_ghz"):
        entry("microwave", LINE)


def test_a_lens_reads_back() -> None:
    rings = [{"off_axis_deg": 60, "count": 20, "width_deg": 11, "height_deg": 9, "offset_deg": 4.5}]
    model = typed(
        {
            "raycover_detector": 1,
            "name": "own",
            "title": "Own",
            "kind": "infrared",
            "declared": [{"mounting": 2.5, "motion": "tangential", "shape": {"circle": {"diameter": 7}}}],
            "zones": {"element": "dual", "pulses": 2, "rings": rings},
        }
    )
    assert model.zones is not None
    assert read_entry(entry_text(model), "own.yaml") == model
    rings[0]["count"] = 30
    with pytest.raises(InputError, match=r"30 zones of 11° do not fit into the ring, which is 312° round"):
        typed({**model.model_dump(by_alias=True, exclude_none=True), "zones": {"rings": rings}})

"""Names of materials → the catalogue: words architects use, layers with and without thickness, what is guessed."""

from __future__ import annotations

import pytest

from raycover.catalogue import load_catalogue
from raycover.importing import materials
from raycover.importing.materials import AIR, LayerRead, layered, material_of


@pytest.mark.parametrize(
    ("name", "material"),
    [
        ("Concrete, cast in situ", "concrete"), ("Stahlbeton C30/37", "concrete"), ("béton armé", "concrete"),
        ("Hormigón", "concrete"), ("Brick, common", "brick"), ("Kalksandstein", "brick"), ("Maçonnerie", "brick"),
        ("Baksteen", "brick"), ("Concrete masonry units", "concrete"), ("Porenbeton", "brick"),
        ("Gypsum Wall Board", "plasterboard"), ("Gipskartonplatte", "plasterboard"), ("Placo BA13", "plasterboard"),
        ("Kalkzementputz", "plasterboard"), ("Softwood, pine", "wood"), ("Brettschichtholz", "wood"),
        ("Plywood sheathing", "plywood"), ("OSB 3", "chipboard"), ("MDF", "chipboard"), ("Glass, clear", "glass"),
        ("Glazing", "glass"), ("Steel S355", "metal"), ("Aluminium", "metal"), ("Acier", "metal"), ("Zinc", "metal"),
        ("Rigid insulation", AIR), ("Mineralwolle", AIR), ("Glass wool", AIR), ("XPS", AIR), ("Laine de verre", AIR),
        ("Metal Stud Layer", AIR), ("Air gap", AIR), ("Luftschicht", AIR), ("Vapour retarder", AIR),
        ("Carpet tile", "carpet tile"), ("Vinyl composition", "vinyl tile"), ("Ceramic tile", "marble"),
        ("Suspended ceiling tile", "ceiling board"), ("Granite", "marble"),
    ],
)  # fmt: skip
def test_names(name: str, material: str) -> None:
    found = material_of(name)
    assert found is not None
    assert found[0] == material


@pytest.mark.parametrize("name", ["Default", "Unnamed", "M-01", "Kryptonite", ""])
def test_unknown_names(name: str) -> None:
    assert material_of(name) is None


def test_every_material_of_the_table_is_in_the_catalogue() -> None:
    catalogue = load_catalogue()
    assert {row[1] for row in materials._NAMES} - {AIR} <= set(catalogue.materials)


def test_layers() -> None:
    catalogue = load_catalogue()
    made = layered([LayerRead("Concrete", 0.15)], 0.15, catalogue)
    assert (made.ref, made.guesses) == ("concrete-150", [])
    made = layered([LayerRead("Brick", 0.1), LayerRead(None, 0.05, air=True), LayerRead("Brick", 0.1)], 0.25, catalogue)
    assert made.ref == {"layers": [{"material": "brick", "thickness_mm": 100}, {"air_mm": 50},
                                   {"material": "brick", "thickness_mm": 100}]}  # fmt: skip
    # One material without a thickness takes the body's; several share it.
    assert layered([LayerRead("Concrete", None)], 0.2, catalogue).ref == "concrete-200"
    shared = layered([LayerRead("Brick", None), LayerRead("Plaster", None)], 0.3, catalogue)
    assert [layer["thickness_mm"] for layer in shared.ref["layers"]] == [150, 150]
    assert "share its thickness" in shared.guesses[0]
    # Unknown ones are guessed by their thickness, films left out, a sum that is not the body's told.
    odd = layered([LayerRead("X1", 0.01), LayerRead("X2", 0.1), LayerRead("Vapour foil", 0.0002)], 0.2, catalogue)
    assert [layer["material"] for layer in odd.ref["layers"]] == ["plasterboard", "brick"]
    assert odd.unknown == ["X1", "X2"]
    assert "its layers are 110 mm thick, its body 200 mm" in odd.guesses
    assert layered([], 0.2, catalogue) is None
    assert layered([LayerRead("Foil", 0.0001)], 0.2, catalogue) is None
    # A great many layers still make a construction that a scene takes.
    many = layered([LayerRead(("Brick", "Wood")[k % 2], 0.01) for k in range(50)], 0.5, catalogue)
    assert len(many.ref["layers"]) == 20


def test_doors_windows_and_solids() -> None:
    assert materials.door(["Steel door"]).ref == "steel-door"
    assert materials.door(["Glazed entrance"]).ref == "glass-10"
    assert (materials.door(["Hardwood"]).ref, materials.door(["Hardwood"]).guesses) == ("door-wood-40", [])
    assert materials.door([]).guesses
    assert materials.window(["Low-E"]).ref == "coated-glazing"
    assert materials.window(["single pane"]).ref == "glass-6"
    assert materials.window(["x"]).ref == "double-glazing-6-16-6"
    assert materials.solid(["Steel"]) == ("metal", "")
    assert materials.solid(["Oak post"]) == ("timber", "")
    assert materials.solid(["Brick"])[0] == "concrete"
    assert materials.solid([])[1] == "no material given, taken as concrete"

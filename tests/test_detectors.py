"""Detectors made ready: the words of a scene as the numbers that the physics takes, and what is refused."""

from __future__ import annotations

import numpy as np
import pytest

import raycover
from raycover.building.build import build
from raycover.detectors import Unit, declarations_of, make_unit, masks_of, shape_of
from raycover.errors import InputError, Problem
from raycover.scene.devices import MaskSpec, ShapeSpec
from raycover.scene.schema import Scene
from raycover.solving.coverage import make_units

INFRARED = "kind: infrared"
MICROWAVE = "kind: microwave, frequency_ghz: 5.8"
CIRCLE = "{circle: {diameter: 6}}"


def load(
    pattern: str = INFRARED,
    *,
    shape: str = CIRCLE,
    more: str = "",
    keys: str = "",
    mounting: float = 2.5,
    walls: str = "none",
) -> Scene:
    declared = f"declared: [{{mounting: 2.5, motion: radial, shape: {shape}}}]"
    return raycover.load_text(
        "raycover: 1\n"
        f"rooms: [{{name: r, outline: [[0, 0], [9, 0], [9, 9], [0, 9]], floor: 2, height: 6, walls: {walls}}}]\n"
        f"detectors: [{{name: D, at: [4, 5], mounting: {mounting}{more}, pattern: {{{pattern}{keys}, {declared}}}}}]\n"
    )


def unit(scene: Scene) -> Unit:
    (made,) = make_units(scene, build(scene))
    return made


def only(**words: str) -> Problem:
    with pytest.raises(InputError) as caught:
        load(**words)  # type: ignore[arg-type]
    (problem,) = caught.value.problems
    return problem


@pytest.mark.parametrize(
    ("spec", "azimuth_deg", "radius"),
    [
        ({"circle": {"diameter": 6}}, 77, 3.0),
        ({"rectangle": {"length": 8, "width": 6}}, 0, 4.0),
        ({"rectangle": {"length": 8, "width": 6}}, 90, 3.0),
        ({"ellipse": {"length": 8, "width": 6}}, 180, 4.0),
        ({"ellipse": {"length": 8, "width": 6}}, 270, 3.0),
        ({"sector": {"reach": 5, "spread_deg": 90}}, 40, 5.0),
        ({"sector": {"reach": 5, "spread_deg": 90}}, 50, 0.0),
        ({"polar": [[0, 4], [90, 2], [180, 4], [270, 2]]}, 45, 3.0),
        ({"polar": [[10, 4], [90, 2], [190, 4]]}, 10, 4.0),
    ],
)
def test_shapes(spec: dict, azimuth_deg: float, radius: float) -> None:
    """The long side lies along azimuth 0; radii of the plain figures, worked by hand."""
    phi = np.radians([azimuth_deg])
    shape = shape_of(ShapeSpec.model_validate(spec))
    assert shape.radius(np.cos(phi), np.sin(phi))[0] == pytest.approx(radius, abs=1e-6)


def test_a_unit_in_its_place() -> None:
    made = unit(load(more=", turn_deg: 30, tilt_deg: 20"))
    np.testing.assert_allclose(made.position, [4, 5, 4.5])  # above the floor of its room, which is at 2 m
    assert made.mounting == 2.5
    # R = Rz(turn)·Ry(tilt), positive tilt raising the unit's x axis
    x_axis = [np.cos(np.radians(20)) * np.cos(np.radians(30)), np.cos(np.radians(20)) * 0.5, np.sin(np.radians(20))]
    np.testing.assert_allclose(made.rotation[:, 0], x_axis, atol=1e-12)
    np.testing.assert_allclose(made.rotation @ made.rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(made.rotation) == pytest.approx(1)
    assert (made.name, made.title, made.kind) == ("D", "own pattern", "infrared")
    assert made.reach_behind is None


def test_reach_behind_is_for_microwave_and_zero_by_default() -> None:
    assert unit(load(MICROWAVE)).reach_behind == 0
    assert unit(load(MICROWAVE, keys=", reach_behind: 1")).reach_behind == 1
    assert unit(load(MICROWAVE, keys=", reach_behind: 0")).reach_behind == 0


def test_footprints_by_motion() -> None:
    scene = raycover.load_text(
        "raycover: 1\ndetectors: [{name: D, model: ceiling-infrared-general, at: [0, 0], mounting: 2.5}]\n"
        "planes: [{name: p, height: 0, extent: [-1, -1, 1, 1]}]\n"
    )
    made = unit(scene)
    assert made.title == scene.catalogue.detectors["ceiling-infrared-general"].title
    declared = {d.motion for d in scene.catalogue.detectors["ceiling-infrared-general"].declared}
    assert {f.motion for f in made.footprints_for("any")} == declared
    for motion in declared:
        assert [f.motion for f in made.footprints_for(motion)] == [motion]
    assert unit(load()).footprints_for("presence") == ()


def test_declarations_keep_their_planes() -> None:
    pattern = load(keys=", mounting: {from: 2, to: 3}").detectors[0].pattern
    assert pattern is not None
    (declaration,) = declarations_of(pattern)
    assert (declaration.mounting, declaration.plane, declaration.motion) == (2.5, 0, "radial")


def test_masks() -> None:
    total, partial = masks_of(
        [
            MaskSpec(from_deg=350, to_deg=20),
            MaskSpec(from_deg=0, to_deg=90, off_axis_from_deg=10, off_axis_to_deg=40, loss_db=6),
        ]
    )
    assert np.isinf(total.loss_db)
    assert total.span_deg == pytest.approx(30)
    assert (partial.loss_db, partial.off_axis_from_deg, partial.off_axis_to_deg) == (6, 10, 40)


def test_a_unit_without_a_room_counts_from_zero() -> None:
    scene = raycover.load_text(
        "raycover: 1\ndetectors: [{name: D, model: wall-infrared, at: [1, 2], mounting: 2}]\n"
        "planes: [{name: p, height: 0, extent: [0, 0, 1, 1]}]\n"
    )
    made = make_unit(scene.detectors[0], scene.pattern_of(scene.detectors[0]), 0.0)
    np.testing.assert_allclose(made.position, [1, 2, 2])
    np.testing.assert_allclose(unit(scene).position, made.position)


# ---- masks that are refused


@pytest.mark.parametrize(
    ("masks", "share"),
    [
        ("{from_deg: 0, to_deg: 90}", None),
        ("{from_deg: 0, to_deg: 91}", "25.3%"),
        ("{from_deg: 0, to_deg: 60}, {from_deg: 30, to_deg: 90}", None),  # the union counts
        ("{from_deg: 0, to_deg: 60}, {from_deg: 100, to_deg: 140}", "27.8%"),
        ("{from_deg: 300, to_deg: 30}", None),  # wraps over 0
        ("{from_deg: 0, to_deg: 360}", "100.0%"),
    ],
)
def test_the_largest_mask_share(masks: str, share: str | None) -> None:
    """A circle seen from its middle: a mask's share is its azimuths' share of the full turn."""
    words = {"more": f", masks: [{masks}]", "keys": ", largest_mask_share: 0.25"}
    if share is None:
        assert unit(load(**words)).masks  # type: ignore[arg-type]
    else:
        problem = only(**words)
        assert problem.code == "mask-too-large"
        assert f"take {share} of the pattern, 25% is the most" in problem.message


def test_a_share_of_zero_forbids_masks_and_none_allows_all() -> None:
    mask = ", masks: [{from_deg: 0, to_deg: 5}]"
    assert only(more=mask, keys=", largest_mask_share: 0").code == "mask-too-large"
    load(more=", masks: [{from_deg: 0, to_deg: 359}]")


def test_a_partial_mask_is_for_microwave_only() -> None:
    mask = ", masks: [{from_deg: 0, to_deg: 5, loss_db: 3}]"
    load(MICROWAVE, more=mask)
    assert only(more=mask).code == "mask-loss"


# ---- heights


def warnings(**words: object) -> list[tuple[str, str]]:
    return [(p.code, p.severity) for p in load(**words).warnings]  # type: ignore[arg-type]


def test_mounting_heights_nobody_declared_are_a_warning() -> None:
    assert warnings() == []
    assert warnings(mounting=3.0) == [("outside-declared-heights", "warning")]
    assert warnings(mounting=3.0, keys=", mounting: {from: 2, to: 2.8}") == [("mounting-height", "warning")]
    assert warnings(mounting=2.5, keys=", mounting: {from: 2.5, to: 2.5}") == []
    scene = load(mounting=3.0)
    place = scene.warnings[0].position
    assert (place.file, place.line) == ("scene.yaml", 3)
    assert place.text[place.column - 1 :].startswith("3.0, pattern")


# ---- frequencies


def test_a_frequency_outside_a_material_is_refused() -> None:
    pattern = "kind: microwave, frequency_ghz: 60"
    load(pattern)  # nothing to cross
    problem = only(pattern=pattern, walls="brick-100")
    assert problem.code == "frequency-outside-material"
    assert problem.message == "at 60 GHz there is no figure for brick (1 to 40 GHz)"
    assert problem.position.text[problem.position.column - 1 :].startswith("60,")
    load(walls="brick-100")  # infrared asks for none


@pytest.mark.parametrize(
    ("thing", "refused"),
    [
        ("solids: [{name: s, centre: [7, 7], size: [1, 1, 3], material: timber}]", True),
        ("solids: [{name: s, centre: [7, 7], size: [1, 1, 3], material: metal}]", False),
        ("racking: [{name: R, at: [1, 1], bays: 1, levels: 1, goods_material: timber}]", True),
        ("racking: [{name: R, at: [1, 1], bays: 1, levels: 1, goods: false, goods_material: timber}]", False),
        ("cubicles: [{name: C, at: [1, 1], count: 1}]", True),
        ("partitions: [{name: P, line: [[1, 1], [2, 1]], height: 1, construction: steel-panel}]", False),
        ("partitions: [{name: P, line: [[1, 1], [2, 1]], height: 1, construction: wire-mesh-50}]", False),
        ("sheets: [{name: S, corners: [[1, 1, 1], [2, 1, 1], [2, 2, 1]], construction: {layers: [{material: wood, "
         "thickness_mm: 9}, {air_mm: 9}]}}]", True),
    ],
)  # fmt: skip
def test_frequencies_are_checked_for_all_that_is_crossed(thing: str, refused: bool) -> None:
    text = (
        "raycover: 1\nrooms: [{name: r, outline: [[0, 0], [9, 0], [9, 9], [0, 9]], height: 6, walls: none}]\n"
        "detectors: [{name: D, at: [4, 5], mounting: 2.5, pattern: {kind: microwave, frequency_ghz: 150, "
        f"declared: [{{mounting: 2.5, motion: radial, shape: {CIRCLE}}}]}}}}]\n{thing}\n"
    )
    if refused:
        with pytest.raises(InputError, match="at 150 GHz there is no figure for"):
            raycover.load_text(text)
    else:
        coverage = raycover.solve(raycover.load_text(text), threads=1)
        assert coverage.share("floor") > 0


@pytest.mark.parametrize(
    ("shape", "one_sided", "ahead"),
    [
        (CIRCLE, False, False),
        ("{sector: {reach: 8, spread_deg: 180}}", True, True),
        ("{sector: {reach: 8, spread_deg: 300}}", True, True),  # middle at 8·(2/3)·sin 150°/(150° in rad): off the unit
        # A wall unit that declares half a metre behind its wall hangs on a wall all the same.
        ("{polar: [[0, 8], [60, 8], [90, 2], [180, 0.5], [270, 2], [300, 8]]}", True, True),
        # Half as far behind as ahead: it looks one way more than the other, but hangs in a ceiling.
        ("{polar: [[0, 8], [89, 8], [91, 4], [269, 4], [271, 8]]}", False, True),
        # Nothing straight behind, yet as much to either side: a gap, not a side.
        ("{polar: [[0, 6], [170, 6], [178, 0], [182, 0], [190, 6]]}", False, False),
        # To the side of azimuth 90° it would hang on a wall the wrong way round.
        ("{polar: [[0, 0], [10, 8], [170, 8], [180, 0], [270, 0]]}", False, True),
    ],
)
def test_which_units_hang_on_walls(shape: str, one_sided: bool, ahead: bool) -> None:  # common practice, no source
    made = unit(load(shape=shape))
    assert made.is_one_sided == one_sided
    assert (made.ahead is not None) == ahead


def test_a_round_footprint_with_aimed_beams_is_not_round() -> None:
    """Its turn decides where beams stand above and below the declared plane; an elevation table is alike all round."""
    beams = ", beams: [{azimuth_deg: 0, off_axis_deg: 40, width_deg: 30}]"
    down = ", beams: [{azimuth_deg: 0, off_axis_deg: 0, width_deg: 60}]"
    table = ", elevation: [[0, 1], [90, 0.8], [180, 0.1]]"
    assert unit(load(MICROWAVE)).is_round
    assert unit(load(MICROWAVE, keys=table)).is_round
    assert unit(load(MICROWAVE, keys=down)).is_round
    assert not unit(load(MICROWAVE, keys=beams)).is_round
    assert not unit(load(shape="{rectangle: {length: 8, width: 6}}")).is_round


def test_heights_that_an_entry_is_meant_for() -> None:
    """As it says, the ends included whatever the rounding; else from the lowest to the highest declared."""
    own = load(keys=", mounting: {from: 2.2, to: 3.5}").detectors[0].pattern
    none = load().detectors[0].pattern
    assert own is not None
    assert none is not None
    assert [own.meant_for.holds(h) for h in (2.2, 2.2 - 1e-12, 3.5 + 1e-12, 2.19, 3.51)] == [True] * 3 + [False] * 2
    assert str(own.meant_for) == "2.2 to 3.5 m"
    assert [none.meant_for.holds(h) for h in (2.5, 2.4)] == [True, False]

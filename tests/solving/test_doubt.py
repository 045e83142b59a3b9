"""Chances in varied cases, against numbers worked by hand: one thing in doubt at a time."""

from __future__ import annotations

import numpy as np
import pytest
import small_scenes
from numpy.typing import NDArray
from scipy.stats import norm

import raycover
from raycover.building.build import build
from raycover.physics.slab import loss_spread_db
from raycover.rays.ray_scene import RayScene
from raycover.scene.doubt import DoubtSpec
from raycover.solving.coverage import make_units
from raycover.solving.doubt import MET_AS_EXPECTED, MET_BARELY, MET_FIRMLY, NOT_MET, Chances, chances, verdict
from raycover.solving.open_air import Weather
from raycover.spreads import Draws

SURE = DoubtSpec(
    thickness_percent=0, materials=0, cross_section_db=0, mounting=0, aim_deg=0, reach_percent=0, polarised=False,
    deeper=False, ambient_k=0, clo=(0.7, 0.7),
)  # fmt: skip
CIRCLE = {"circle": {"diameter": 8.0}}


def microwave(at: tuple[float, float] = (0, 0), name: str = "D1", **more: object) -> dict[str, object]:
    made = small_scenes.pattern(
        CIRCLE, mounting=2.5, motion="radial", frequency_ghz=more.pop("frequency_ghz", 5.8), reach_behind=1
    )
    return small_scenes.detector(at, 2.5, made, name, **more)


def infrared(at: tuple[float, float] = (0, 0), name: str = "D1") -> dict[str, object]:
    return small_scenes.detector(at, 2.5, small_scenes.pattern(CIRCLE, mounting=2.5), name)


def asked(scene: raycover.Scene, points: object, doubt: DoubtSpec | Draws, **more: object) -> Chances:
    building = build(scene)
    weather = Weather.of(scene)
    return chances(
        make_units(scene, building), np.array(points, float), "any", RayScene(building), weather, doubt, **more
    )  # type: ignore[arg-type]


def out_to(share: float) -> list[float]:
    """A point on the floor at a share of the slant reach, √(4² + 2.5²) m."""
    slant = share * np.hypot(4, 2.5)
    return [float(np.sqrt(slant**2 - 2.5**2)), 0.0, 0.0]


def test_nothing_in_doubt_changes_nothing() -> None:
    scene = small_scenes.open_floor(microwave(), infrared((3, 1), "D2"))
    found = asked(scene, [out_to(s) for s in (0.7, 0.99, 1.01, 1.5)], SURE)
    np.testing.assert_allclose(found.draws, np.tile(found.margin_db, (128, 1)), atol=1e-5)
    assert set(found.probability) <= {0.0, 1.0}


def test_cross_section_alone_is_the_normal_distribution() -> None:
    """P(m + N(0, 3.94) ≥ 0) = Φ(m / 3.94); s.d. 3.94 dB: 3GPP TR 38.901 sensing model [2nd]; Φ by scipy."""
    doubt = SURE.model_copy(update={"cross_section_db": 3.94, "cases": 512})
    found = asked(small_scenes.open_floor(microwave()), [out_to(s) for s in (0.7, 0.9, 1.0, 1.1, 1.3)], doubt)
    np.testing.assert_allclose(found.probability, norm.cdf(found.margin_db / 3.94), atol=1.5 / 512)
    low, high = found.band_db()
    np.testing.assert_allclose((high - low) / 2, 1.96 * 3.94, rtol=0.02)


@pytest.mark.parametrize("unit", [microwave(), infrared()])
def test_reach_alone_by_hand(unit: dict[str, object]) -> None:
    """Reach even within ±10 %: a point at 0.95 of the reach is seen in three of four cases, at 1.05 in one [C].

    Infrared ends at its lens edge, whatever the reach: inside it only.
    """
    doubt = SURE.model_copy(update={"reach_percent": 10})
    found = asked(small_scenes.open_floor(unit), [out_to(0.95), out_to(1.05)], doubt)
    beyond = 0.0 if "frequency_ghz" not in unit["pattern"] else 0.25  # type: ignore[operator]
    np.testing.assert_allclose(found.probability, [0.75, beyond], atol=1.5 / 128)


def test_warm_and_thinly_dressed_by_the_contrast_table() -> None:
    """At 20 ± 2 °C and 0.7 clo the contrast runs from k = 1.11 to 0.88 (PHYSICS table: 0.88 at 22 °C [C])."""
    doubt = SURE.model_copy(update={"ambient_k": 2.0})
    found = asked(small_scenes.open_floor(infrared()), [out_to(0.9)], doubt)
    spread = found.draws[:, 0] - found.margin_db[0]
    assert spread.min() == pytest.approx(20 * np.log10(0.88), abs=0.05)
    assert spread.max() == pytest.approx(20 * np.log10(1.11), abs=0.05)


def test_sheet_alone_stays_within_its_ripple() -> None:
    """Thickness even within ±10 %: twice the least and the greatest coherent loss bound every case."""
    wall = {"name": "wall", "line": [[1, -5], [1, 5]], "height": 3, "construction": "plasterboard-12.5"}
    scene = small_scenes.open_floor(microwave(frequency_ghz=24.125), partitions=[wall])
    doubt = SURE.model_copy(update={"thickness_percent": 10})
    found = asked(scene, [[2, 0, 2.5]], doubt)
    made = scene.catalogue.constructions["plasterboard-12.5"]
    least, most = loss_spread_db(made.layers, 24.125, 1.0)
    lost = (40 * np.log10(np.hypot(4, 2.5) / 2) - found.draws[:, 0]) / 2
    assert least - 0.01 <= lost.min() <= least + 0.1
    assert most - 0.1 <= lost.max() <= most + 0.01
    assert lost.mean() == pytest.approx((40 * np.log10(np.hypot(4, 2.5) / 2) - found.margin_db[0]) / 2, abs=0.05)


def test_polarisation_lies_between_te_and_tm() -> None:
    """12.5 mm plasterboard, 5.8 GHz, 60°: TE 3.60 dB, TM 0.65 dB, also by sionna-rt [V]; all directions between."""
    wall = {"name": "wall", "line": [[1, -9], [1, 9]], "height": 3, "construction": "plasterboard-12.5"}
    scene = small_scenes.open_floor(microwave(), partitions=[wall], conditions={"losses": "coherent"})
    doubt = SURE.model_copy(update={"polarised": True, "cases": 512})
    # The way runs level, 60° off square: the field across it is upright for every direction but one, so TE.
    level = asked(scene, [[2, 2 * np.sqrt(3), 2.5]], doubt)
    lost = (40 * np.log10(np.hypot(4, 2.5) / 4) - level.draws[:, 0]) / 2
    assert lost.max() <= 3.61
    assert lost.min() >= 0.64
    # A level field launched along a level way can only lie level: in the plane of incidence.
    np.testing.assert_allclose(lost, 0.65, atol=0.01)
    # Straight down past the wall's foot, 45° off square in the wall's own plane of incidence: both take part.
    slanted = asked(scene, [[2, 0, 0.5]], doubt)
    lost = (40 * np.log10(np.hypot(4, 2.5) / np.hypot(2, 2)) - slanted.draws[:, 0]) / 2
    assert lost.min() == pytest.approx(0.75, abs=0.01)
    assert lost.max() == pytest.approx(1.94, abs=0.01)


def test_mounting_moves_the_edge_of_a_shadow() -> None:
    """A wall 1 m high 2 m off a unit at 2.5 m hides the floor out to 3.33 m; raised by 67 mm to 3.28, lowered 3.39 [C].

    A third of the cases each is judged from those heights.
    """
    wall = {"name": "wall", "line": [[2, -5], [2, 5]], "height": 1, "construction": "steel-panel"}
    scene = small_scenes.open_floor(infrared(), partitions=[wall])
    doubt = SURE.model_copy(update={"mounting": 0.1, "reach_percent": 0})
    points = [[x, 0, 0] for x in (3.2, 3.30, 3.36, 3.45)]
    found = asked(scene, points, doubt, lifted=np.ones(4, bool))
    np.testing.assert_allclose(found.probability, [0, 1 / 3, 2 / 3, 1], atol=0.05)
    assert np.isneginf(found.margin_db).tolist() == [True, True, False, False]


def test_under_a_ceiling_no_unit_is_raised_through_it() -> None:
    room = {
        "name": "hall", "outline": [[-5, -5], [5, -5], [5, 5], [-5, 5]], "height": 2.5, "walls": "none",
        "ceiling": "steel-panel",
    }  # fmt: skip
    scene = small_scenes.scene(rooms=[room], detectors=[infrared()])
    found = asked(scene, [[1, 0, 0]], SURE.model_copy(update={"mounting": 0.1}), lifted=np.ones(1, bool))
    assert found.probability[0] == 1


def test_several_units_see_together_and_the_person_is_the_same() -> None:
    """Two units at one place share the person: their chance together is that of one, not 1 − (1 − p)²."""
    doubt = SURE.model_copy(update={"cross_section_db": 3.94})
    one = asked(small_scenes.open_floor(microwave()), [out_to(1.0)], doubt)
    two = asked(small_scenes.open_floor(microwave(), microwave(name="D2")), [out_to(1.0)], doubt)
    assert one.probability[0] == two.probability[0] == 0.5


def test_another_unit_changes_no_cases() -> None:
    scene = small_scenes.open_floor(microwave())
    more = small_scenes.open_floor(microwave(), microwave((30, 30), "D2"))
    points = [out_to(s) for s in (0.8, 1.0, 1.2)]
    np.testing.assert_array_equal(asked(scene, points, DoubtSpec()).draws, asked(more, points, DoubtSpec()).draws)
    other = asked(scene, points, DoubtSpec(seed=2))
    assert not np.array_equal(asked(scene, points, DoubtSpec()).draws, other.draws)


def test_chunks_do_not_show(monkeypatch: pytest.MonkeyPatch) -> None:
    wall = {"name": "wall", "line": [[2, -5], [2, 5]], "height": 2, "construction": "brick-100"}
    scene = small_scenes.open_floor(microwave(), partitions=[wall], conditions={"reflections": 1})
    points = np.random.default_rng(1).uniform([-4, -4, 0], [4, 4, 1.5], (40, 3))
    whole = asked(scene, points, DoubtSpec())
    monkeypatch.setattr("raycover.solving.doubt._CHUNK", 7)
    np.testing.assert_allclose(asked(scene, points, DoubtSpec()).draws, whole.draws, atol=1e-4)


def test_further_reflections_only_add() -> None:
    wall = {"name": "wall", "line": [[3, -5], [3, 5]], "height": 3, "construction": "brick-215"}
    scene = small_scenes.open_floor(microwave(), partitions=[wall], conditions={"reflections": 1})
    points = [[1, 1, 1.0], [2.5, -1, 0.5]]
    without = asked(scene, points, SURE)
    found = asked(scene, points, SURE.model_copy(update={"deeper": True}))
    more: NDArray[np.floating] = (found.draws - without.draws) / 2
    assert (more >= -1e-5).all()
    assert 0.02 < np.median(more) < 0.6  # PHYSICS.md: 0.2–0.6 dB one way in the median of rooms [C]; one wall, less
    # With straight paths only nothing is credited that nobody asked for.
    straight = small_scenes.open_floor(microwave(), partitions=[wall])
    np.testing.assert_array_equal(
        asked(straight, points, SURE).draws, asked(straight, points, SURE.model_copy(update={"deeper": True})).draws
    )


def test_words_of_a_verdict() -> None:
    assert verdict(True, 0.95) == MET_FIRMLY == "met in ≥ 95 % of varied cases"
    assert verdict(True, np.arange(100) < 94) == MET_AS_EXPECTED == "met as expected"
    assert verdict(True, 0.5) == MET_AS_EXPECTED
    assert verdict(True, np.arange(100) < 40) == MET_BARELY == "met as drawn, in most varied cases not"
    assert verdict(False, 1.0) == NOT_MET == "not met"


def test_shares_and_silence_by_hand() -> None:
    draws = np.array([[1, 1, -1], [1, -1, -1], [-1, -1, -1], [1, 1, 1]], np.float32)
    found = Chances(np.array([1.0, 0, -1]), draws)
    np.testing.assert_allclose(found.probability, [0.75, 0.5, 0.25])
    assert found.share_met(np.array([1.0, 1, 2]), 0.5).tolist() == [True, False, False, True]
    assert found.quiet().tolist() == [False, False, True, False]

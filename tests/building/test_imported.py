"""Mesh objects in a scene: where they stand, what they are made of, and what is said of those that can't be taken."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh
from mesh_scenes import GHZ, built, loss, mesh_scene, refusal, soup, sphere_of_lines, write

from raycover.building.build import build
from raycover.errors import InputError, Problem
from raycover.rays.ray_scene import RayScene
from raycover.scene.meshes import METRES
from raycover.scene.stating import apply_state

BOX = trimesh.creation.box((4, 1, 2)).apply_translation([0, 0, 1])
ROOM = {"name": "hall", "outline": [[0, 0], [20, 0], [20, 12], [0, 12]], "height": 5, "walls": "none", "floor": 0.5}


def quad(corners: Any) -> trimesh.Trimesh:
    return trimesh.Trimesh(corners, [[0, 1, 2], [0, 2, 3]], process=False)


def scene_of(**shapes: trimesh.Trimesh) -> trimesh.Scene:
    made = trimesh.Scene()
    for name, shape in shapes.items():
        made.add_geometry(shape, node_name=name.replace("_", " "), geom_name=name)
    return made


def warned(folder: Path, *meshes: dict[str, Any], **parts: Any) -> list[Problem]:
    return list(built(folder, *meshes, **parts).warnings)


# ---- place, units, axis


def test_placing(tmp_path: Path) -> None:
    """The file's origin stands at `at`, turned; `base` counts from the room's floor, a third coordinate from 0."""
    write(tmp_path, "m.stl", BOX)
    cases = (
        ({"at": [8, 6]}, 0.5),
        ({"at": [8, 6], "base": 0.25}, 0.75),
        ({"at": [8, 6, 2]}, 2.0),
        ({"at": [40, 6], "base": 1.5}, 1.5),
    )
    for given, bottom in cases:
        (one,) = built(tmp_path, {"file": "m.stl", "turn_deg": 90, **given}, rooms=[ROOM]).objects
        x, y = given["at"][:2]
        np.testing.assert_allclose(one.bounds, [[x - 0.5, y - 2, bottom], [x + 0.5, y + 2, bottom + 2]], atol=1e-6)


@pytest.mark.parametrize("units", METRES)
def test_units(units: str, tmp_path: Path) -> None:
    """Inch 25.4 mm and foot 304.8 mm exactly (international yard and pound agreement of 1959)."""
    exact = {"mm": 0.001, "cm": 0.01, "m": 1, "in": 0.0254, "ft": 0.3048}[units]
    write(tmp_path, "m.stl", BOX.copy().apply_scale(1 / exact))
    for given in ({"units": units}, {"scale": exact}):
        (one,) = built(tmp_path, {"file": "m.stl", **given}).objects
        np.testing.assert_allclose(one.bounds, BOX.bounds, rtol=1e-6, atol=1e-6)
        assert one.closed


@pytest.mark.parametrize("name", ["m.glb", "m.gltf", "m.obj", "m.stl", "m.ply"])
def test_axis(name: str, tmp_path: Path) -> None:
    """glTF has y upward (specification 2.0, 3.4) and −z turned to scene's y; the others are taken with z upward."""
    write(tmp_path, name, scene_of(body=BOX) if name.startswith("m.g") else BOX)
    as_is, turned = BOX.bounds, np.array([[-2, -2, -0.5], [2, 0, 0.5]])
    for axis, expected in (("z-up", as_is), ("y-up", turned), (None, turned if name.startswith("m.g") else as_is)):
        given = {"file": name} if axis is None else {"file": name, "axis": axis}
        (one,) = built(tmp_path, given).objects
        np.testing.assert_allclose(one.bounds, expected, atol=1e-6)
        assert one.closed
        volume = (
            np.einsum("ij,ij->i", one.triangles[:, 0], np.cross(one.triangles[:, 1], one.triangles[:, 2])).sum() / 6
        )
        assert volume == pytest.approx(8)  # turned, not mirrored


def test_soup_in_millimetres_far_away(tmp_path: Path) -> None:
    """An STL in millimetres with its origin 300 m off: merged, closed, a solid, in spite of single precision."""
    far = soup(trimesh.creation.cylinder(0.4, 1.2, sections=40).apply_translation([300, 200, 0.6]).apply_scale(1000))
    write(tmp_path, "m.stl", far)
    (one,) = built(tmp_path, {"file": "m.stl", "units": "mm", "at": [-290, -195]}).objects
    assert one.closed
    np.testing.assert_allclose(one.bounds, [[9.6, 4.6, 0], [10.4, 5.4, 1.2]], atol=1e-4)


# ---- names


def test_patterns(tmp_path: Path) -> None:
    """The first part that matches counts, whatever the capitals; the rest is as the mesh says, or ignored."""
    shapes = {"Body": BOX, "Body_guard": BOX, "Window_Glass": BOX, "bolt_1": BOX, "bolt_2": BOX}
    write(tmp_path, "m.glb", scene_of(**shapes))
    parts = [
        {"match": "*glass*", "construction": "glass-6"},
        {"match": "body ?????", "material": "timber"},
        {"match": "BODY*", "material": "metal"},
        {"match": "*", "ignore": True},
    ]
    objects = {o.name: o for o in built(tmp_path, {"file": "m.glb", "parts": parts}).objects}
    assert {name: o.made_of.name for name, o in objects.items()} == {
        "M1/Body": "metal",
        "M1/Body guard": "timber",
        "M1/Window Glass": "glass-6",
    }
    assert {o.owner for o in objects.values()} == {"M1"}
    assert objects["M1/Body"].loc == ("meshes", 0, "parts", 2)
    given = {"file": "m.glb", "parts": [{"match": "bolt*", "ignore": True}], "material": "goods"}
    assert [o.made_of.name for o in built(tmp_path, given).objects] == ["goods"] * 3


def test_patterns_that_match_nothing(tmp_path: Path) -> None:
    write(tmp_path, "m.glb", scene_of(body=BOX, pane=BOX))
    parts = [{"match": "*glas*", "construction": "glass-6"}, {"match": "*", "material": "metal"}]
    (warning,) = warned(tmp_path, {"file": "m.glb", "parts": parts})
    assert (warning.code, warning.severity) == ("mesh-no-match", "warning")
    assert '"*glas*"' in warning.message
    assert warning.help == 'its objects: "body", "pane"'
    assert "*glas*" in warning.position.text
    problem = refusal(tmp_path, {"file": "m.glb", "parts": [{"match": "body", "material": "metal"}]})
    assert problem.code == "mesh-no-material"
    assert 'nothing says what "pane" of "M1" is made of' in problem.message
    (warning,) = warned(tmp_path, {"file": "m.glb", "parts": [{"match": "*", "ignore": True}]})
    assert warning.code == "mesh-all-ignored"


def test_objects_of_one_name(tmp_path: Path) -> None:
    write(tmp_path, "m.glb", scene_of(body=BOX, pane=BOX))
    data = (tmp_path / "m.glb").read_bytes()
    (tmp_path / "m.glb").write_bytes(data.replace(b'"name":"pane"', b'"name":"body"'))
    names = [o.name for o in built(tmp_path, {"file": "m.glb"}).objects]
    assert len(set(names)) == 2
    assert all(name.startswith("M1/body") for name in names)


@pytest.mark.parametrize(
    ("part", "said"),
    [
        ({"material": "goods", "construction": "glass-6"}, "a material, or a construction, or ignore: true"),
        ({"ignore": False}, "a material, or a construction, or ignore: true"),
        ({"construction": "none"}, "write ignore: true"),
        ({"material": "good"}, 'did you mean "goods"?'),
        ({"construction": "glass"}, 'did you mean "glass-6"?'),
        ({"construction": {"layers": [{"material": "glas", "thickness_mm": 6}]}}, 'did you mean "glass"?'),
    ],
)
def test_what_parts_may_say(part: dict[str, Any], said: str, tmp_path: Path) -> None:
    write(tmp_path, "m.stl", BOX)
    assert said in str(refusal(tmp_path, {"file": "m.stl", "parts": [{"match": "*", **part}]}).frame())


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"units": "mm", "scale": 0.001}, "units and scale say the same thing"),
        ({"material": "metal", "construction": "glass-6"}, "a material or a construction, not both"),
        ({"at": [1, 2, 3], "base": 1}, "at already gives the height"),
        ({"at": [1]}, "at least 2 entries"),
        ({"parts": []}, "nothing says what the mesh is made of"),
        ({"units": "yd"}, 'one of "mm", "cm", "m", "in", "ft"'),
        ({"axis": "up"}, "z-up"),
        ({"scale": 0}, "more than 0"),
        ({"construction": "none"}, "a mesh of nothing"),
    ],
)
def test_what_a_mesh_may_say(given: dict[str, Any], said: str, tmp_path: Path) -> None:
    write(tmp_path, "m.stl", BOX)
    assert said in refusal(tmp_path, {"file": "m.stl", **given}).frame()


# ---- solids, plates and sheets


def test_turned_faces_are_said(tmp_path: Path) -> None:
    faces = np.array(BOX.faces)
    faces[:5] = faces[:5, ::-1]
    write(tmp_path, "m.stl", soup(trimesh.Trimesh(BOX.vertices, faces, process=False)))
    building = built(tmp_path, {"file": "m.stl"})
    (warning,) = building.warnings
    assert (warning.code, warning.severity) == ("mesh-turned", "warning")
    assert '"M1/m" had 5 of its 12 faces turned inside out' in warning.message
    assert building.objects[0].closed
    assert loss(building, [-5, 0.1, 0.7], [5, 0.1, 0.7]) == pytest.approx([48], abs=1e-3)


def test_holes_and_turned_faces(tmp_path: Path) -> None:
    """A machine with a hole and faces turned: opaque sheets with a warning if of metal, refused if of goods."""
    ball = trimesh.creation.icosphere(3, 1.0)
    faces = np.array(ball.faces)[20:]
    faces[::3] = faces[::3, ::-1]
    write(tmp_path, "m.ply", trimesh.Trimesh(ball.vertices, faces, process=False))
    problem = refusal(tmp_path, {"file": "m.ply", "material": "goods"})
    assert problem.code == "mesh-open"
    assert '"M1/m" is not closed' in problem.message
    assert "edges have a face on one side only" in problem.message
    assert "construction" in problem.help
    building = built(tmp_path, {"file": "m.ply", "material": "metal"})
    assert [w.code for w in building.warnings] == ["mesh-open"]
    rays = RayScene(building)
    ends = -sphere_of_lines(500) * 3
    hit = rays.infrared_blocked(rays.segments(np.array([0, 0, 3.0]), ends))
    clear = np.isinf(rays.microwave_loss_db(rays.segments(np.array([0, 0, 3.0]), ends), GHZ, "averaged"))
    np.testing.assert_array_equal(hit, clear)
    assert 0.1 < hit.mean() < 0.9
    assert building.part_name(rays.first_blocker(rays.segments(np.array([0, 0, 3.0]), ends[hit][:1]))[0]) == "M1/m"


@pytest.mark.parametrize("construction", ["glass-6", "brick-100", "steel-panel", "wire-mesh-50"])
def test_open_faces_equal_sheets(construction: str, tmp_path: Path) -> None:
    """A folded screen of two flat faces, and the same two polygons as `sheets`: the same losses at every angle."""
    one = [[0, -3, 0], [0, 0, 0], [0, 0, 2.5], [0, -3, 2.5]]
    two = [[0, 0, 0], [2, 2, 0], [2, 2, 2.5], [0, 0, 2.5]]
    both = trimesh.util.concatenate([quad(one), quad(two)])
    write(tmp_path, "m.obj", both.subdivide().subdivide())
    meshed = built(tmp_path, {"file": "m.obj", "construction": construction})
    sheets = [{"name": f"s{k}", "corners": c, "construction": construction} for k, c in enumerate((one, two))]
    flat = build(mesh_scene(tmp_path, sheets=sheets))
    start = np.array([-3, 1.3, 1.1])
    ends = np.array([2.5, -1, 1.2]) + np.random.default_rng(1).uniform(-2, 2, (3000, 3))
    grazing = np.column_stack([np.full(300, 1e-3), np.linspace(-2.9, -0.1, 300), np.full(300, 1.0)])
    ends = np.concatenate([ends, grazing, [[3, 1.3, 1.1]]])
    found, expected = loss(meshed, start, ends), loss(flat, start, ends)
    # The rim of a sheet in its own words reaches a millimetre further.
    near_rim = np.isclose(found, expected, rtol=1e-3, atol=1e-3)
    assert near_rim.mean() > 0.995
    assert (expected > 0).mean() > 0.2 or construction == "wire-mesh-50"
    rays, other = RayScene(meshed), RayScene(flat)
    segments = rays.segments(start, ends)
    blocked = rays.infrared_blocked(segments)
    np.testing.assert_array_equal(blocked[near_rim], other.infrared_blocked(other.segments(start, ends))[near_rim])
    met = rays.crossings(rays.segments(start, np.array([[2.5, -1, 1.2]])), GHZ, "averaged")
    known = other.crossings(other.segments(start, np.array([[2.5, -1, 1.2]])), GHZ, "averaged")
    assert [(c.distance_m, c.incidence_deg, c.loss_db) for c in met] == [
        pytest.approx((c.distance_m, c.incidence_deg, c.loss_db), rel=1e-4) for c in known
    ]
    assert {c.object for c in met} == {"M1/m"}


def test_a_curved_sheet_is_crossed_at_both_its_sides(tmp_path: Path) -> None:
    """A tube open at its ends: each side costs one sheet at the angle of its own face."""
    tube = trimesh.creation.cylinder(1, 3, sections=64)
    walls = np.abs(tube.face_normals[:, 2]) < 0.5
    write(tmp_path, "m.ply", trimesh.Trimesh(tube.vertices, tube.faces[walls], process=False))
    building = built(tmp_path, {"file": "m.ply", "construction": "plasterboard-12.5"})
    assert not building.objects[0].closed
    table = building.objects[0].made_of.loss_table(GHZ, "averaged")  # type: ignore[union-attr]
    off = np.linspace(-0.9, 0.9, 37)
    for y in off:
        (found,) = loss(building, [-4, y, 0.2], [[4, y, 0.2]])
        # The flat face over the angle that the ray meets: 64 of them stand in for the circle.
        angle = (np.floor(np.degrees(np.arcsin(y)) / 5.625) + 0.5) * 5.625
        assert found == pytest.approx(2 * float(table.loss_db(np.cos(np.radians(angle)))), rel=0.02)


def test_two_faces_within_a_millimetre_count_once(tmp_path: Path) -> None:
    def screen(x: float) -> trimesh.Trimesh:
        return quad([[x, -1, 0], [x, 1, 0], [x, 1, 2], [x, -1, 2]])

    write(tmp_path, "m.glb", scene_of(a=screen(0), b=screen(0.0008), c=screen(1)))
    parts = [{"match": "b", "construction": "brick-100"}, {"match": "*", "construction": "glass-6"}]
    building = built(tmp_path, {"file": "m.glb", "axis": "z-up", "parts": parts})
    brick, glass = (
        float(next(o.made_of for o in building.objects if o.name == name).loss_table(GHZ, "averaged").loss_db(1.0))  # type: ignore[union-attr]
        for name in ("M1/b", "M1/a")
    )
    assert loss(building, [-3, 0, 1], [[3, 0, 1]])[0] == pytest.approx(brick + glass, abs=1e-3)


@pytest.mark.parametrize(
    ("construction", "thick"), [("glass-6", 0.006), ("stud-wall-100", 0.12), ("door-wood-40", 0.04)]
)
def test_a_closed_plate_is_crossed_once(construction: str, thick: float, tmp_path: Path) -> None:
    """A pane, a wall, a leaf drawn with its thickness: what one sheet of it costs, from face to face and by the rim."""
    write(tmp_path, "m.stl", trimesh.creation.box((3, thick, 2.4)))
    building = built(tmp_path, {"file": "m.stl", "construction": construction})
    assert building.objects[0].closed
    table = building.objects[0].made_of.loss_table(GHZ, "averaged")  # type: ignore[union-attr]
    for turn in (0.0, 30.0, 60.0, 75.0):
        away = np.array([np.sin(np.radians(turn)), np.cos(np.radians(turn)), 0.0])
        found = loss(building, -4 * away, [4 * away])
        expected = float(table.loss_db(np.cos(np.radians(turn))))
        assert found[0] == pytest.approx(expected, rel=1e-3)
    rim = np.array([[1.5 + 0.4, -0.1, 0.0], [1.5 - 3.6, 0.1 * 8, 0.0]])
    assert loss(building, rim[0], rim[1:])[0] > 0
    (met,) = RayScene(building).crossings(
        RayScene(building).segments(np.array([0, -1, 0.0]), np.array([[0, 1, 0.0]])), GHZ, "averaged"
    )
    assert (met.object, met.construction, met.incidence_deg) == ("M1/m", construction, pytest.approx(0, abs=0.1))


def test_a_closed_hull_is_crossed_on_either_side(tmp_path: Path) -> None:
    """A cabinet a metre deep of 18 mm chipboard is hollow: two sheets, and its inside is floor like any other."""
    write(tmp_path, "m.stl", trimesh.creation.box((1, 1, 2)).apply_translation([0, 0, 1]))
    building = built(tmp_path, {"file": "m.stl", "construction": "chipboard-18"})
    assert not building.objects[0].closed
    once = float(building.objects[0].made_of.loss_table(GHZ, "averaged").loss_db(1.0))  # type: ignore[union-attr]
    assert loss(building, [-3, 0.1, 1], [[3, 0.1, 1]])[0] == pytest.approx(2 * once, rel=1e-4)
    assert loss(building, [-3, 0.1, 1], [[0, 0.1, 1]])[0] == pytest.approx(once, rel=1e-4)


# ---- refused


def test_broken_shapes(tmp_path: Path) -> None:
    flat = BOX.copy().apply_scale([1, 0, 1])  # a box squeezed to no thickness: two sides in one place
    line = trimesh.Trimesh([[0, 0, 0], [1, 0, 0], [2, 0, 0]], [[0, 1, 2]], process=False)
    lost = BOX.copy()
    lost.vertices[3, 1] = np.nan
    for name, shape, material, code, said in (
        ("flat.stl", flat, "goods", "mesh-no-thickness", '"M1/flat" has no thickness'),
        ("flat.stl", flat, "metal", "mesh-no-thickness", "a construction instead of a material"),
        ("line.stl", line, "metal", "mesh-no-area", '"M1/line" has no area'),
        ("lost.stl", lost, "metal", "mesh-not-finite", '"lost" of "M1" has corners that are no numbers'),
    ):
        write(tmp_path, name, shape)
        problem = refusal(tmp_path, {"file": name, "material": material})
        assert (problem.code, problem.severity) == (code, "error")
        assert said in problem.frame()
    sheet = built(tmp_path, {"file": "flat.stl", "construction": "glass-6"})
    once = float(sheet.objects[0].made_of.loss_table(GHZ, "averaged").loss_db(1.0))  # type: ignore[union-attr]
    assert loss(sheet, [0.1, -3, 0.9], [[0.1, 3, 0.9]])[0] == pytest.approx(once, rel=1e-4)


def test_wrong_units(tmp_path: Path) -> None:
    """A 4 m machine in millimetres taken as metres, in a hall of 20 m; and one shrunk to a speck."""
    write(tmp_path, "m.stl", BOX.copy().apply_scale(1000))
    problem = refusal(tmp_path, {"file": "m.stl"}, rooms=[ROOM])
    assert problem.code == "mesh-units"
    assert '"M1" measures 4,000 × 1,000 × 2,000 m, far larger than the scene' in problem.message
    assert problem.help.startswith('check units: "units: mm" makes it 4 × 1 × 2 m')
    write(tmp_path, "far.stl", BOX.copy().apply_scale(10_000))
    problem = refusal(tmp_path, {"file": "far.stl"})
    assert "no building is so large" in problem.message
    write(tmp_path, "small.stl", BOX)
    problem = refusal(tmp_path, {"file": "small.stl", "units": "mm"}, rooms=[ROOM])
    assert "smaller than a finger" in problem.message
    assert '"units: m" makes it 4 × 1 × 2 m' in problem.help
    assert "units" in problem.position.text
    (warning,) = warned(tmp_path, {"file": "small.stl", "scale": 10, "at": [10, 6]}, rooms=[ROOM])
    assert warning.code == "mesh-units"
    assert "larger than the building" in warning.message


def test_outside_every_room(tmp_path: Path) -> None:
    write(tmp_path, "m.stl", BOX.copy().apply_translation([500, 0, 0]))
    (warning,) = warned(tmp_path, {"file": "m.stl", "at": [10, 6]}, rooms=[ROOM])
    assert warning.code == "mesh-outside"
    assert "x 508.0 to 512.0" in warning.message
    assert "(500.0, 0.0) m from there" in warning.help


def test_files_outside_the_folder(tmp_path: Path) -> None:
    inner = tmp_path / "scene"
    inner.mkdir()
    write(tmp_path, "m.stl", BOX)
    for name in ("../m.stl", str(tmp_path / "m.stl")):
        problem = refusal(inner, {"file": name})
        assert problem.code == "outside-folder"
        assert "allow_folders" in problem.help
        for allowed in ("..", str(tmp_path)):
            assert len(built(inner, {"file": name}, allow_folders=[allowed]).objects) == 1
    write(inner, "machine.stl", BOX)
    problem = refusal(inner, {"file": "machin.stl"})
    assert (problem.code, problem.help) == ("missing-file", 'did you mean "machine.stl"?')


def test_all_problems_at_once(tmp_path: Path) -> None:
    write(tmp_path, "m.stl", BOX)
    (tmp_path / "e.glb").write_bytes(b"")
    meshes = [{"file": "e.glb"}, {"file": "n.stl"}, {"file": "m.stl", "parts": [{"match": "x", "material": "metal"}]}]
    with pytest.raises(InputError) as caught:
        built(tmp_path, *meshes)
    assert [p.code for p in caught.value.problems] == ["mesh-empty", "missing-file", "mesh-no-material"]


def test_one_file_many_times(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve of one machine: the file is read once, its objects mended once."""
    from raycover.building import imported

    write(tmp_path, "m.stl", BOX)
    seen = []
    read = imported.read_mesh_file
    monkeypatch.setattr(imported, "read_mesh_file", lambda *words: seen.append(words) or read(*words))
    building = built(tmp_path, *({"file": "m.stl", "at": [6 * k, 0], "turn_deg": 15 * k} for k in range(12)))
    assert len(seen) == 1
    assert [o.name for o in building.objects] == [f"M{k}/m" for k in range(1, 13)]
    assert building.n_parts == 12
    np.testing.assert_array_equal(np.bincount(building.mesh.part), 12)


def test_a_mesh_in_states(tmp_path: Path) -> None:
    """A machine moved, and taken away: the file is found from the scene's folder in every state."""
    inner = tmp_path / "scene"
    inner.mkdir()
    write(inner, "m.stl", BOX)
    states = [{"name": "moved", "set": {"M1": {"at": [15, 6]}}}, {"name": "gone", "set": {"M1": "absent"}}]
    drawn = mesh_scene(inner, {"file": "m.stl", "at": [5, 6]}, rooms=[ROOM], states=states)
    moved, gone = (build(apply_state(drawn, k)) for k in range(2))
    np.testing.assert_allclose(moved.objects[0].bounds[:, 0], [13, 17], atol=1e-6)
    assert gone.objects == ()
    assert build(drawn).objects[0].bounds[0, 0] == pytest.approx(3)

"""Mesh files become bodies: cleaned, judged, stood on the ground, put into the layout."""

from pathlib import Path

import numpy as np
import pytest
import trimesh
from msgspec.structs import replace

from geometry.body import cleaning, mesh_files, placement, scan, shape
from geometry.body.cleaning import Cleaned
from geometry.body.scan import Choice, Part, Scan
from geometry.errors import BodyFileError, GeometryError
from geometry.layout import Body, Layout, Mesh, Panel

SEDAN, RALLY, TRUCK = "sedan_chassis_vis.obj", "autoRallyPlatform.stl", "vehicle-truck-yellow.glb"


def car(unit: float = 1.0) -> trimesh.Trimesh:
    """A plain car of 4.0 x 1.6 x 1.4 m: bonnet at +x, z up, standing on z = 0.3 m."""
    profile = [(-2, 0), (2, 0), (2, 0.6), (0.9, 0.75), (0.3, 1.4), (-1.6, 1.4), (-2, 0.8)]
    polygon = np.array(profile) * (1, 1)
    half = trimesh.creation.extrude_triangulation(polygon, fan(len(polygon)), 1.6)
    turn = np.array([[1, 0, 0, 0], [0, 0, 1, -0.8], [0, 1, 0, 0.3], [0, 0, 0, 1]], float)
    half.apply_transform(turn)
    narrow = np.where(half.vertices[:, 2] > 1.5, 0.7, 1.0)
    half.vertices[:, 1] *= narrow
    return half.apply_scale(1000 * unit)


def fan(count: int) -> np.ndarray:
    return np.array([(0, i, i + 1) for i in range(1, count - 1)])


def scan_of(shape_: trimesh.Trimesh, **stated: object) -> Scan:
    mesh, counts = cleaning.cleaned(np.array(shape_.vertices), np.array(shape_.faces))
    file = mesh_files.MeshFile((), **stated)  # type: ignore[arg-type]
    return scan._scan("car.stl", [Part("car", "car", mesh)], file, counts)


def read(folder: Path, text: str) -> Scan:
    path = folder / "some.obj"
    path.write_text(text)
    return scan.read(path)


# Refusals


@pytest.mark.parametrize("bad", ["nan", "inf", "-inf", "1e30"])
def test_points_that_are_nowhere_are_refused(tmp_path: Path, bad: str) -> None:
    with pytest.raises(BodyFileError, match=r"some\.obj has .* Export it again\."):
        read(tmp_path, f"v 0 0 0\nv 1 0 0\nv 0 {bad} 0\nf 1 2 3\n")


def test_points_that_no_triangle_uses_may_be_nowhere(tmp_path: Path) -> None:
    path = tmp_path / "some.off"
    path.write_text("OFF\n4 1 0\n0 0 0\n1 0 0\n0 1 0\nnan nan nan\n3 0 1 2\n")
    found = scan.read(path)
    assert found.cleaned.unused_vertices == 1


def test_file_without_triangles_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BodyFileError, match="holds no triangles"):
        read(tmp_path, "v 0 0 0\nv 1 0 0\n")


def test_file_whose_triangles_are_all_collapsed_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BodyFileError, match=r"Every triangle of some\.obj is collapsed"):
        read(tmp_path, "v 0 0 0\nv 1 0 0\nv 2 0 0\nf 1 2 3\nf 1 1 2\n")


# Parts


def test_the_pieces_of_a_file_without_names_become_parts(tmp_path: Path) -> None:
    two = trimesh.util.concatenate([car(), trimesh.creation.icosphere(1).apply_translation((9000, 0, 0))])
    path = tmp_path / "two.stl"
    two.export(path)
    assert [part.name for part in scan.read(path).parts] == ["piece 1", "piece 2"]


def test_long_names_lose_what_all_of_them_begin_with_but_are_matched_whole(meshes: Path) -> None:
    parts = scan.read(meshes / SEDAN).parts
    assert {part.name for part in parts} >= {"visuali.010", "visualizati"}
    assert all(part.source.endswith(part.name) and len(part.source) > 40 for part in parts)


def test_names_that_a_file_uses_twice_are_told_apart(tmp_path: Path) -> None:
    text = "".join(f"v {n} 0 0\nv {n} 1 0\nv {n} 0 1\n" for n in range(3))
    found = read(tmp_path, text + "o a\nf 1 2 3\no b\nf 4 5 6\no a\nf 7 8 9\n")
    assert len({part.source for part in found.parts}) == len(found.parts) == 2
    twice = [Part("door", "door", found.parts[0].mesh)] * 3
    assert [part.source for part in scan._with_single_sources(twice)] == ["door", "door 2", "door 3"]


# The real meshes


def test_sedan_is_read_in_metres_with_its_bonnet_at_plus_x(meshes: Path) -> None:
    found = scan.read(meshes / SEDAN)
    reading = scan.judge(found)
    assert (reading.unit, reading.up, reading.forward) == ("m", "+z", "+x")
    assert reading.unit_guessed
    assert reading.up_guessed
    assert reading.forward_guessed
    assert reading.size == pytest.approx((4889.501, 1849.12, 1465.576), abs=1e-6)
    assert found.cleaned == Cleaned(collapsed_faces=182, unused_vertices=26)
    assert reading.symmetry is not None
    assert reading.symmetry.deviation < 10.0
    assert not reading.warnings
    assert 800 < reading.front_axle < 1200


def test_truck_stands_up_although_its_file_has_y_up(meshes: Path) -> None:
    found = scan.read(meshes / TRUCK)
    reading = scan.judge(found)
    assert (reading.unit, reading.unit_guessed) == ("m", False)
    assert (reading.up, reading.forward) == ("+y", "+z")
    assert reading.size == pytest.approx((2800, 1500, 1550), abs=0.01)
    assert found.cleaned.duplicate_faces == 10
    layout, body, panels = scan.add_to(Layout(), found, reading)
    by_name = {layout.panels[id].name: layout.panels[id] for id in panels}
    wheel = placement.panel_vertices(layout, by_name["wheel-front-left"])
    assert wheel.mean(axis=0)[0] == pytest.approx(0.0, abs=20.0)  # x = 0 at the front axle
    assert wheel.min(axis=0)[1] > 0  # left is +y
    assert scan.placed_bounds(layout, body)[0][2] == pytest.approx(0.0, abs=1e-9)


def test_axes_that_the_file_states_and_the_shape_confirms_are_no_guess(meshes: Path) -> None:
    found = scan.read(meshes / TRUCK)  # glTF 2.0, section 3.4: +y up, the front faces +z
    reading = scan.judge(found)
    assert (reading.unit_guessed, reading.up_guessed, reading.forward_guessed) == (False, False, False)
    unsaid = scan.judge(replace(found, stated_up=None, stated_forward="+x"))
    assert (unsaid.up, unsaid.forward) == (reading.up, reading.forward)
    assert unsaid.up_guessed
    assert unsaid.forward_guessed


def test_scale_model_is_read_in_centimetres_with_a_warning(meshes: Path) -> None:
    reading = scan.judge(scan.read(meshes / RALLY))
    assert (reading.unit, reading.up, reading.forward) == ("cm", "+z", "+x")
    assert reading.size == pytest.approx((939.064, 450.0, 320.0), abs=1e-3)
    assert "0.939 m long" in reading.warnings[0]


@pytest.mark.parametrize("name", [SEDAN, TRUCK])
def test_up_and_forward_are_found_however_the_file_is_turned(meshes: Path, name: str) -> None:
    found = scan.read(meshes / name)
    own = np.array(scan.judge(found).placement.turn)
    for up in shape.AXES:
        for forward in shape.AXES:
            if up[1] == forward[1]:
                continue
            turn = shape.turn_of(up, forward).T @ own
            parts = [
                Part(
                    part.name,
                    str(number),
                    cleaning.frozen_mesh(part.mesh.vertices @ turn.T, part.mesh.triangles),
                )
                for number, part in enumerate(found.parts)
            ]
            turned = scan._scan("turned", parts, mesh_files.MeshFile(()), found.cleaned)
            reading = scan.judge(turned)
            assert (reading.up, reading.forward) == (up, forward)


# Judging


@pytest.mark.parametrize(
    ("unit", "scale"), [("mm", 1.0), ("cm", 0.1), ("m", 0.001), ("in", 1 / 25.4), ("ft", 1 / 304.8)]
)
def test_unit_is_guessed_from_the_size(unit: str, scale: float) -> None:
    reading = scan.judge(scan_of(car(scale)))
    assert (reading.unit, reading.unit_guessed) == (unit, True)
    assert reading.size == pytest.approx((4000, 1600, 1400), rel=1e-9)
    assert not reading.warnings


def test_body_stands_on_the_ground_about_its_centre_plane_with_the_axle_at_zero() -> None:
    mesh = car().apply_translation((700, 333, -120))
    found = scan_of(mesh)
    reading = scan.judge(found, front_axle=750.0)
    layout, body, _ = scan.add_to(Layout(), found, reading)
    low, high = scan.placed_bounds(layout, body)
    assert low[2] == pytest.approx(0.0, abs=1e-9)
    assert high[0] == pytest.approx(750.0, abs=1e-9)
    assert (low[1], high[1]) == pytest.approx((-800.0, 800.0), abs=2.0)
    assert reading.symmetry is not None
    assert reading.symmetry.y == pytest.approx(333.0, abs=2.0)


def test_aerial_on_one_side_does_not_move_the_centre_plane() -> None:
    aerial = trimesh.creation.box((10, 10, 600)).apply_translation((-1500, 900, 1400))
    reading = scan.judge(scan_of(trimesh.util.concatenate([car(), aerial])))
    assert reading.symmetry is not None
    assert reading.symmetry.y == pytest.approx(0.0, abs=3.0)


def test_body_that_is_not_symmetrical_says_so_and_is_centred_on_its_width() -> None:
    half = car()
    half.vertices[:, 1] = np.where(half.vertices[:, 1] > 0, half.vertices[:, 1] * 2.0, half.vertices[:, 1])
    half.vertices[:, 1] += np.where(half.vertices[:, 1] > 0, half.vertices[:, 0] * 0.5, 0)
    found = scan_of(half)
    reading = scan.judge(found, up="+z", forward="+x", unit="mm")
    assert reading.symmetry is None
    assert scan.UNEVEN_SIDES in reading.warnings
    layout, body, _ = scan.add_to(Layout(), found, reading)
    low, high = scan.placed_bounds(layout, body)
    assert low[1] == pytest.approx(-high[1])


def test_what_is_given_is_not_guessed() -> None:
    reading = scan.judge(scan_of(car()), unit="in", up="+y", forward="-z", front_axle=100.0)
    assert (reading.unit, reading.up, reading.forward, reading.front_axle) == ("in", "+y", "-z", 100.0)
    assert not any(
        (reading.unit_guessed, reading.up_guessed, reading.forward_guessed, reading.front_axle_guessed)
    )


def test_up_along_forward_is_refused() -> None:
    with pytest.raises(GeometryError, match="one line"):
        scan.judge(scan_of(car()), up="+z", forward="-z")


def test_known_dimension_sets_the_scale() -> None:
    reading = scan.judge(scan_of(car(0.01)), known=(16.0, 1650.0))
    assert reading.placement.scale == pytest.approx(1650.0 / 16.0)
    assert reading.size == pytest.approx((4125, 1650, 1443.75))
    assert reading.is_scaled
    assert not reading.unit_guessed


@pytest.mark.parametrize("known", [(0.0, 100.0), (5.0, -1.0), (float("nan"), 1.0)])
def test_known_dimension_of_nothing_is_refused(known: tuple[float, float]) -> None:
    with pytest.raises(GeometryError):
        scan.judge(scan_of(car()), known=known)


def test_parts_left_out_do_not_count_for_size_and_ground() -> None:
    floor = trimesh.creation.box((9000, 9000, 10))
    mesh = scan_of(car()).parts[0].mesh
    plate = cleaning.cleaned(np.array(floor.vertices), np.array(floor.faces))[0]
    parts = [Part("car", "car", mesh), Part("floor", "floor", plate)]
    found = scan._scan("hall.stl", parts, mesh_files.MeshFile(()), Cleaned())
    reading = scan.judge(found, kept=[0])
    assert reading.size == pytest.approx((4000, 1600, 1400))
    assert reading.placement.shift[2] == pytest.approx(-300.0)
    with pytest.raises(GeometryError, match="left out"):
        scan.judge(found, kept=[])


def test_turn_is_right_handed_for_every_choice() -> None:
    for up in shape.AXES:
        for forward in shape.AXES:
            if up[1] != forward[1]:
                assert np.linalg.det(shape.turn_of(up, forward)) == pytest.approx(1.0)


def test_names_of_parts_tell_the_front() -> None:
    mesh = scan_of(trimesh.creation.box((4000, 1700, 1500))).parts[0].mesh
    ends = [
        cleaning.frozen_mesh(mesh.vertices * (0.1, 1, 0.3) + (x, 0, 0), mesh.triangles) for x in (-1800, 1800)
    ]
    parts = [
        Part("body", "body", mesh),
        Part("bonnet", "Bonnet_01", ends[0]),
        Part("b", "rearBumper", ends[1]),
    ]
    found = scan._scan("van.obj", parts, mesh_files.MeshFile(()), Cleaned())
    assert scan.judge(found, up="+z").forward == "-x"


def turned_by(angle: float, axis: int) -> np.ndarray:
    turn = np.eye(3)
    a, b = (index for index in range(3) if index != axis)
    turn[a, a] = turn[b, b] = np.cos(angle)
    turn[a, b], turn[b, a] = -np.sin(angle), np.sin(angle)
    return turn


@pytest.mark.parametrize("degrees", [4.0, -23.0, 37.0, 45.0])
def test_body_that_lies_askew_in_its_file_is_turned_straight(meshes: Path, degrees: float) -> None:
    found = scan.read(meshes / SEDAN)
    turn = turned_by(np.radians(1.5), 0) @ turned_by(np.radians(degrees), 2)
    parts = [
        Part(part.name, part.source, cleaning.frozen_mesh(part.mesh.vertices @ turn.T, part.mesh.triangles))
        for part in found.parts
    ]
    askew = scan._scan("askew.obj", parts, mesh_files.MeshFile(()), found.cleaned)
    reading = scan.judge(askew)
    assert np.degrees(reading.straightened) == pytest.approx(abs(degrees), abs=0.5)
    left = np.array(reading.placement.turn)[1]
    assert abs(left @ turn[:, 1]) == pytest.approx(1.0, abs=1e-5)  # within a quarter of a degree
    assert reading.unit == "m"
    assert reading.size[:2] == pytest.approx((4889.5, 1849.1), rel=0.02)
    assert np.allclose(np.array(reading.placement.turn) @ np.array(reading.placement.turn).T, np.eye(3))
    kept_askew = scan.judge(askew, straighten=False)
    assert kept_askew.straightened == 0.0
    assert set(np.abs(np.array(kept_askew.placement.turn)).ravel()) == {0.0, 1.0}


@pytest.mark.parametrize("name", [SEDAN, RALLY, TRUCK])
def test_body_that_stands_straight_in_its_file_stays_so(meshes: Path, name: str) -> None:
    found = scan.read(meshes / name)
    assert found.straightened is None
    assert set(np.abs(np.array(scan.judge(found).placement.turn)).ravel()) == {0.0, 1.0}


# The layout


def test_two_files_stand_in_one_layout_with_ids_of_their_own() -> None:
    found = scan_of(car())
    reading = scan.judge(found)
    first, one, _ = scan.add_to(Layout(), found, reading)
    second, two, panels = scan.add_to(first, found, reading)
    assert len(second.bodies) == len(second.panels) == 2
    assert len({one, two, *second.panels}) == 4
    assert second.next_id > max(second.panels)
    assert second.panels[panels[0]].name == "car 2"
    assert len(first.panels) == 1


def test_choices_name_leave_out_hide_and_colour() -> None:
    found = scan_of(car())
    choice = Choice("shell", kept=False, shown=False, colour="#123456")
    layout, _, (panel,) = scan.add_to(Layout(), found, scan.judge(found), [choice])
    made = layout.panels[panel]
    assert (made.name, made.source, made.kept, made.shown, made.colour) == (
        "shell",
        "car",
        False,
        False,
        "#123456",
    )


def test_body_can_be_turned_after_it_came_in() -> None:
    found = scan_of(car())
    layout, body, panels = scan.add_to(Layout(), found, scan.judge(found))
    turned = scan.set_reading(layout, body, scan.judge(scan.scan_of(layout, body), forward="-x", up="+z"))
    assert (layout.bodies[body].forward, turned.bodies[body].forward) == ("+x", "-x")
    assert turned.panels[panels[0]] is layout.panels[panels[0]]
    before, after = (placement.panel_vertices(some, some.panels[panels[0]]) for some in (layout, turned))
    assert np.allclose(np.ptp(before, axis=0), np.ptp(after, axis=0))


def test_panels_keep_their_id_and_looks_when_the_body_is_replaced() -> None:
    found = scan_of(car())
    layout, body, (panel,) = scan.add_to(
        Layout(), found, scan.judge(found), [Choice("shell", colour="#00ff00")]
    )
    finer = scan_of(car().subdivide())
    extra = Part("mirror", "mirror", found.parts[0].mesh)
    both = scan._scan("car2.stl", [*finer.parts, extra], mesh_files.MeshFile(()), Cleaned())
    replaced = scan.replace_body(layout, body, both, scan.judge(both))
    kept = replaced.panels[panel]
    assert (kept.name, kept.colour, kept.mesh) == ("shell", "#00ff00", finer.parts[0].mesh)
    assert [each.name for each in replaced.panels.values()] == ["shell", "mirror"]
    assert list(replaced.bodies) == [body]


@pytest.mark.parametrize("triangles", [[], [[0, 1, 2]]], ids=["none", "of no area"])
def test_a_body_with_a_panel_without_surface_is_not_placed_anew(triangles: list[list[int]]) -> None:
    line = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.0], [9.0, 0.0, 0.0]])
    mesh = Mesh(line, np.array(triangles, np.int32).reshape(-1, 3))
    layout = Layout(bodies={1: Body(1, "Car")}, panels={2: Panel(2, "flap", 1, mesh)})
    with pytest.raises(GeometryError, match="Panel flap has no surface"):
        scan.scan_of(layout, 1)

"""Files of every kind, whole and broken, become the same triangles or one sentence."""

import json
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh

from geometry.body import mesh_files, scan
from geometry.errors import BodyFileError, GeometryError
from geometry.progress import Cancelled

BOX = trimesh.creation.box(extents=(4.0, 2.0, 1.5))


def corners_of(file: mesh_files.MeshFile) -> np.ndarray:
    """Return the sorted corner coordinates of all triangles, whatever the order in the file."""
    rows = np.concatenate([soup.vertices[soup.triangles].reshape(-1, 9) for soup in file.soups])
    turned = [np.roll(rows, -3 * turn, axis=1) for turn in range(3)]
    firsts = np.min([[tuple(row) for row in some] for some in turned], axis=0)
    return np.round(firsts[np.lexsort(firsts.T)], 6)


def sentence_of(path: Path) -> str:
    with pytest.raises(BodyFileError) as caught:
        scan.read(path)
    assert caught.value.path == path
    message = caught.value.message
    assert path.name in message
    assert message.endswith(".")
    assert "\n" not in message
    return message


def exported(path: Path, mesh: trimesh.Trimesh = BOX, **options: object) -> Path:
    mesh.export(path, **options)
    return path


@pytest.mark.parametrize(
    "name", ["box.stl", "box.obj", "box.ply", "box.off", "box.glb", "box.3mf", "BOX.STL"]
)
def test_each_format_gives_the_triangles_that_were_written(tmp_path: Path, name: str) -> None:
    found = scan.read(exported(tmp_path / name, file_type=name[-3:].lower()))
    (part,) = found.parts
    assert len(part.mesh.vertices) == 8
    assert len(part.mesh.triangles) == 12
    assert np.allclose(np.ptp(part.mesh.vertices, axis=0), (4.0, 2.0, 1.5))


@pytest.mark.parametrize(("kind", "ending"), [("stl_ascii", "stl"), ("ply", "ply")])
def test_text_and_binary_give_the_same_triangles(tmp_path: Path, kind: str, ending: str) -> None:
    options = {"encoding": "ascii"} if ending == "ply" else {}
    text = exported(tmp_path / f"text.{ending}", file_type=kind, **options)
    binary = exported(tmp_path / f"binary.{ending}")
    assert np.array_equal(corners_of(mesh_files.read(text)), corners_of(mesh_files.read(binary)))


def test_gltf_with_its_buffer_beside_it_is_read(tmp_path: Path) -> None:
    for name, data in trimesh.exchange.gltf.export_gltf(trimesh.Scene(BOX)).items():
        (tmp_path / name).write_bytes(data)
    found = mesh_files.read(tmp_path / "model.gltf")
    assert (found.stated_unit, found.stated_up) == ("m", "+y")
    assert sum(len(soup.triangles) for soup in found.soups) == 12


def test_gltf_parts_stand_where_the_scene_puts_them(tmp_path: Path) -> None:
    scene = trimesh.Scene()
    for name, x in (("left door", 0.0), ("right door", 10.0)):
        at = trimesh.transformations.translation_matrix((x, 0, 0))
        scene.add_geometry(BOX, node_name=name, geom_name="door", transform=at)
    path = tmp_path / "doors.glb"
    scene.export(path)
    middles = {part.source: part.mesh.vertices.mean(axis=0)[0] for part in scan.read(path).parts}
    assert middles == pytest.approx({"left door": 0.0, "right door": 10.0})


# STL


def binary_stl(triangles: np.ndarray, said: int | None = None, header: bytes = b"") -> bytes:
    record = np.zeros(len(triangles), [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    record["v"] = triangles
    return (
        header.ljust(80, b" ")
        + struct.pack("<I", len(triangles) if said is None else said)
        + record.tobytes()
    )


def test_binary_stl_that_begins_with_solid_is_read_as_binary(tmp_path: Path) -> None:
    path = tmp_path / "liar.stl"
    path.write_bytes(binary_stl(BOX.triangles, header=b"solid facet of a box"))
    assert len(scan.read(path).parts[0].mesh.triangles) == 12


@pytest.mark.parametrize("said", [0, 11, 13, 4_000_000_000])
def test_binary_stl_whose_header_lies_about_the_count_is_refused(tmp_path: Path, said: int) -> None:
    path = tmp_path / "liar.stl"
    path.write_bytes(binary_stl(BOX.triangles, said))
    message = sentence_of(path)
    assert str(said) in message
    assert "12" in message


def test_stray_bytes_after_the_last_triangle_are_no_reason_to_refuse(tmp_path: Path) -> None:
    path = tmp_path / "long.stl"
    path.write_bytes(binary_stl(BOX.triangles) + b"made by hand")
    assert len(scan.read(path).parts[0].mesh.triangles) == 12


def test_stl_that_states_its_unit_says_so(tmp_path: Path) -> None:
    path = tmp_path / "inches.stl"
    path.write_bytes(binary_stl(BOX.triangles, header=b"binary UNITS=in"))
    assert mesh_files.read(path).stated_unit == "in"


def test_text_named_stl_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "notes.stl"
    path.write_text("Remember to measure the tailgate. " * 40)
    assert "is no STL file" in sentence_of(path)


def test_text_stl_may_begin_with_space_but_not_with_another_word(tmp_path: Path) -> None:
    path = tmp_path / "first.stl"
    text = trimesh.exchange.stl.export_stl_ascii(BOX)
    path.write_text("\f\v\r\n  " + text)
    assert len(scan.read(path).parts[0].mesh.triangles) == 12
    path.write_text("solide" + text[5:])
    assert "is no STL file" in sentence_of(path)


def test_text_stl_of_several_solids_gives_several_parts(tmp_path: Path) -> None:
    path = tmp_path / "two.stl"
    one = trimesh.exchange.stl.export_stl_ascii(BOX)
    path.write_text("\r\n".join(f"solid {name}\n{one.split(chr(10), 1)[1]}" for name in ("door", "roof")))
    assert [part.source for part in scan.read(path).parts] == ["door", "roof"]


def test_solids_may_be_named_with_the_words_of_the_format(tmp_path: Path) -> None:
    path = tmp_path / "words.stl"
    one = trimesh.exchange.stl.export_stl_ascii(BOX).split("\n", 1)[1].strip()
    names = ("Solid 1", "facet normal vertex")
    path.write_text("".join(f"solid {name}\n{one} {name}\n" for name in names))
    found = mesh_files.read(path)
    assert [(soup.name, len(soup.triangles)) for soup in found.soups] == [(name, 12) for name in names]


def test_text_stl_cut_short_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "short.stl"
    text = trimesh.exchange.stl.export_stl_ascii(BOX)
    path.write_text(text[: len(text) // 2])
    assert "ends too early" in sentence_of(path)


def test_text_stl_with_a_word_for_a_number_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "words.stl"
    text = trimesh.exchange.stl.export_stl_ascii(BOX)
    path.write_text(text.replace("vertex -2", "vertex two", 1))
    assert "damaged" in sentence_of(path)


# OBJ


def read_obj(folder: Path, text: str) -> scan.Scan:
    path = folder / "some.obj"
    path.write_text(text)
    return scan.read(path)


SQUARE = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\n"


def test_obj_faces_of_many_corners_become_fans(tmp_path: Path) -> None:
    found = read_obj(tmp_path, SQUARE + "v 2 2 0\nf 1 2 3 4\nf 3 5 4\n")
    assert found.parts[0].mesh.triangles.tolist() == [[0, 1, 2], [0, 2, 3], [2, 4, 3]]


def test_obj_normals_and_texture_do_not_part_the_points(tmp_path: Path) -> None:
    found = read_obj(tmp_path, SQUARE + "vn 0 0 1\nvt 0 0\nf 1/1/1 2/1/1 3//1\nf 1/1 3/1 4\n")
    assert found.parts[0].mesh.triangles.tolist() == [[0, 1, 2], [0, 2, 3]]


def test_obj_faces_may_count_backwards(tmp_path: Path) -> None:
    found = read_obj(tmp_path, "v 9 9 9\n" + SQUARE + "f -4 -3 -2\nv 0 0 5\nf -5 -4 -1\n")
    corners = found.parts[0].mesh.vertices[found.parts[0].mesh.triangles]
    assert corners.tolist() == [[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 0, 0], [0, 0, 5]]]


def test_obj_colours_comments_and_broken_lines_do_no_harm(tmp_path: Path) -> None:
    text = SQUARE.replace("v 0 0 0", "# hello\nv 0 0 0 0.5 0.5 0.5")
    found = read_obj(tmp_path, text + "f 1 2 \\\n3 # first\r\n  f 1 3 4\n")
    assert len(found.parts[0].mesh.triangles) == 2


def test_obj_objects_become_parts_under_their_names(tmp_path: Path) -> None:
    found = read_obj(tmp_path, SQUARE + "o left door\nf 1 2 3\no roof\nusemtl red\nf 1 3 4\nf 1 2 4\n")
    assert [(part.source, len(part.mesh.triangles)) for part in found.parts] == [
        ("left door", 1),
        ("roof", 2),
    ]


def test_obj_without_objects_falls_back_to_groups_then_materials(tmp_path: Path) -> None:
    groups = read_obj(tmp_path, SQUARE + "g a\nusemtl red\nf 1 2 3\ng b\nf 1 3 4\n")
    materials = read_obj(tmp_path, SQUARE + "usemtl red\nf 1 2 3\nusemtl blue\nf 1 3 4\n")
    assert [part.source for part in groups.parts] == ["a", "b"]
    assert [part.source for part in materials.parts] == ["red", "blue"]


@pytest.mark.parametrize("face", ["f 1 2 9", "f 1 2 -9", "f 0 1 2", "f 1 2", "f 1 2 x", "f 1.5 2 3"])
def test_obj_face_that_names_no_point_is_refused(tmp_path: Path, face: str) -> None:
    path = tmp_path / "bad.obj"
    path.write_text(SQUARE + face + "\n")
    sentence_of(path)


def test_sedan_objects_keep_their_own_names(meshes: Path) -> None:
    found = mesh_files.read(meshes / "sedan_chassis_vis.obj")
    assert len(found.soups) == 12
    assert sum(len(soup.triangles) for soup in found.soups) == 39170
    assert found.soups[0].name == "sedan_chassis_visualization_Plane.002_sedan_chassis_visuali.010"
    assert len({soup.name for soup in found.soups}) == 12


# OFF and PLY


def test_off_with_squares_colours_and_comments_is_read(tmp_path: Path) -> None:
    path = tmp_path / "some.off"
    path.write_text("OFF # a sheet\n4 2 0\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n\n3 0 1 2 255 0 0\n3 0 2 3\n")
    assert len(scan.read(path).parts[0].mesh.triangles) == 2
    path.write_text("OFF\n4 1 0\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n4 0 1 2 3\n")
    assert len(scan.read(path).parts[0].mesh.triangles) == 2


@pytest.mark.parametrize(
    "text",
    ["OFF\n4 2 0\n0 0 0\n1 0 0\n", "OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n3 0 1 7\n", "ON\n", "OFF\nx y z\n"],
)
def test_broken_off_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "bad.off"
    path.write_text(text)
    sentence_of(path)


def test_cloud_of_points_is_refused_with_what_to_do(tmp_path: Path) -> None:
    path = exported(tmp_path / "cloud.ply", trimesh.PointCloud(np.eye(3)))
    assert "Make a surface" in sentence_of(path)


@pytest.mark.parametrize("options", [{}, {"encoding": "ascii"}])
def test_ply_cut_short_is_refused(tmp_path: Path, options: dict[str, str]) -> None:
    path = exported(tmp_path / "short.ply", **options)
    data = path.read_bytes()
    path.write_bytes(data[: len(data) * 3 // 4])
    sentence_of(path)


def ply_header(kind: str, points: int, faces: int, point_columns: str, face_columns: str) -> bytes:
    columns = [f"property {column}\n" for column in point_columns.split(", ")]
    of_faces = [f"property {column}\n" for column in face_columns.split(", ")]
    lines = ["ply\n", f"format {kind} 1.0\n", "comment by hand\n", f"element vertex {points}\n", *columns]
    return "".join([*lines, f"element face {faces}\n", *of_faces, "end_header\n"]).encode()


FLAT = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (2, 2, 0)]


@pytest.mark.parametrize(("kind", "order"), [("binary_little_endian", "<"), ("binary_big_endian", ">")])
def test_ply_of_either_byte_order_with_normals_colours_and_mixed_faces_is_read(
    tmp_path: Path, kind: str, order: str
) -> None:
    path = tmp_path / "mixed.ply"
    points = "double x, double y, double z, float nx, uchar red"
    head = ply_header(kind, 5, 3, points, "uchar flags, list uchar int vertex_indices, float quality")
    rows = b"".join(struct.pack(f"{order}dddfB", *point, 1.0, 7) for point in FLAT)
    for corners in ((0, 1, 2, 3), (2, 4, 3), (0, 1)):  # the last is an edge, no face
        rows += struct.pack(f"{order}BB{len(corners)}if", 9, len(corners), *corners, 0.5)
    path.write_bytes(head + rows)
    mesh = scan.read(path).parts[0].mesh
    assert mesh.vertices.tolist() == [list(map(float, point)) for point in FLAT]
    assert mesh.triangles.tolist() == [[0, 1, 2], [0, 2, 3], [2, 4, 3]]


def test_ply_in_words_with_columns_in_another_order_is_read(tmp_path: Path) -> None:
    path = tmp_path / "words.ply"
    head = ply_header("ascii", 5, 2, "float z, float y, float x", "list uchar int vertex_index")
    rows = "".join(f"{z} {y} {x}\n" for x, y, z in FLAT) + "\n4 0 1 2 3\n3 2 4 3\n"
    path.write_bytes(head + rows.encode())
    mesh = scan.read(path).parts[0].mesh
    assert mesh.vertices.tolist() == [list(map(float, point)) for point in FLAT]
    assert sorted(mesh.triangles.tolist()) == [[0, 1, 2], [2, 3, 0], [2, 4, 3]]


@pytest.mark.parametrize("sizes", [(3, 4, 2), (4, 3, 5), (5, 5), (4, 4)])
def test_binary_ply_faces_of_any_sizes_become_fans(tmp_path: Path, sizes: tuple[int, ...]) -> None:
    path = tmp_path / "sizes.ply"
    head = ply_header(
        "binary_big_endian", 5, len(sizes), "float x, float y, float z", "list uchar uint vertex_index"
    )
    head = head.replace(b"ply\n", b"ply\ncomment ascii art\n", 1)
    rows = b"".join(struct.pack(">fff", *point) for point in FLAT)
    rows += b"".join(struct.pack(f">B{size}I", size, *range(size)) for size in sizes)
    path.write_bytes(head + rows)
    (soup,) = mesh_files.read(path).soups
    assert soup.vertices.tolist() == [list(map(float, point)) for point in FLAT]
    fans = [[0, corner + 1, corner + 2] for size in sizes for corner in range(size - 2)]
    assert soup.triangles.tolist() == fans
    path.write_bytes(head + rows[:-2])
    assert "ends too early" in sentence_of(path)


def test_words_cut_short_within_the_last_face_are_refused(tmp_path: Path) -> None:
    for name, options in (("short.ply", {"encoding": "ascii"}), ("short.off", {})):
        path = exported(tmp_path / name, **options)
        path.write_text(path.read_text().rstrip().rsplit(" ", 1)[0])
        assert "ends too early" in sentence_of(path)


def test_vertex_colours_are_not_read(tmp_path: Path) -> None:
    box = BOX.copy()
    box.visual.vertex_colors = np.full((8, 4), 200, np.uint8)
    for name, options in (("box.ply", {}), ("text.ply", {"encoding": "ascii"}), ("box.obj", {})):
        path = exported(tmp_path / name, box, **options)
        assert np.array_equal(
            corners_of(mesh_files.read(path)), corners_of(mesh_files.read(exported(tmp_path / "b.stl")))
        )


def test_ply_of_strips_or_unknown_columns_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "odd.ply"
    path.write_bytes(
        ply_header("ascii", 0, 3, "float x, float y, float z", "list uchar int strips") + b"1\n" * 3
    )
    assert "where its points and faces are" in sentence_of(path)
    odd = ply_header("ascii", 3, 1, "quad x, float y, float z", "list uchar int vertex_index")
    path.write_bytes(odd + b"0 0 0\n" * 3 + b"3 0 1 2\n")
    assert "quad" in sentence_of(path)


# glTF and 3MF


def glb(description: dict[str, object], binary: bytes = b"") -> bytes:
    text = json.dumps(description).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    if binary:
        chunks += struct.pack("<II", len(binary), 0x004E4942) + binary
    return struct.pack("<III", 0x46546C67, 2, 12 + len(chunks)) + chunks


@pytest.mark.parametrize("extension", ["KHR_draco_mesh_compression", "EXT_meshopt_compression"])
def test_compressed_gltf_is_refused_by_name(tmp_path: Path, extension: str) -> None:
    path = tmp_path / "packed.glb"
    path.write_bytes(glb({"asset": {"version": "2.0"}, "extensionsRequired": [extension]}))
    message = sentence_of(path)
    assert extension in message
    assert "without mesh compression" in message


def test_draco_that_is_used_but_not_required_is_not_read_as_nonsense(tmp_path: Path) -> None:
    primitive = {
        "attributes": {"POSITION": 0},
        "extensions": {"KHR_draco_mesh_compression": {"bufferView": 0}},
    }
    path = tmp_path / "packed.glb"
    path.write_bytes(
        glb(
            {
                "asset": {"version": "2.0"},
                "extensionsUsed": ["KHR_draco_mesh_compression"],
                "meshes": [{"primitives": [primitive]}],
                "nodes": [{"mesh": 0}],
                "scenes": [{"nodes": [0]}],
                "accessors": [{"componentType": 5126, "count": 3, "type": "VEC3"}],
            },
            b"\0" * 8,
        )
    )
    sentence_of(path)


def test_gltf_that_needs_an_unknown_extension_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "new.glb"
    path.write_bytes(glb({"asset": {"version": "2.0"}, "extensionsRequired": ["KHR_mesh_quantization"]}))
    assert "KHR_mesh_quantization" in sentence_of(path)


def test_gltf_whose_buffer_is_missing_is_refused(tmp_path: Path) -> None:
    for name, data in trimesh.exchange.gltf.export_gltf(trimesh.Scene(BOX)).items():
        if name.endswith(".gltf"):
            (tmp_path / name).write_bytes(data)
    sentence_of(tmp_path / "model.gltf")


def test_gltf_without_meshes_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "empty.glb"
    path.write_bytes(glb({"asset": {"version": "2.0"}, "scenes": [{"nodes": []}], "scene": 0}))
    sentence_of(path)


def test_3mf_states_its_unit(tmp_path: Path) -> None:
    path = exported(tmp_path / "box.3mf")
    assert mesh_files.read(path).stated_unit == "mm"
    with zipfile.ZipFile(path) as archive:
        entries = {name: archive.read(name) for name in archive.namelist()}
    model = next(name for name in entries if name.endswith(".model"))
    entries[model] = entries[model].replace(b'unit="millimeter"', b'unit="inch"')
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in entries.items():
            archive.writestr(name, data)
    assert mesh_files.read(path).stated_unit == "in"


@pytest.mark.parametrize("name", ["box.stl", "box.ply", "box.glb", "box.3mf", "box.off"])
@pytest.mark.parametrize("part", [0.02, 0.3, 0.6, 0.9, 0.97])
def test_truncated_files_are_refused_with_a_sentence(tmp_path: Path, name: str, part: float) -> None:
    path = exported(tmp_path / name)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * part)])
    sentence_of(path)


@pytest.mark.parametrize("ending", sorted(mesh_files.FORMATS))
def test_noise_empty_and_missing_files_are_refused(tmp_path: Path, ending: str) -> None:
    noise = tmp_path / f"noise{ending}"
    noise.write_bytes(np.random.default_rng(1).bytes(5000))
    sentence_of(noise)
    empty = tmp_path / f"empty{ending}"
    empty.touch()
    assert "is empty" in sentence_of(empty)
    sentence_of(tmp_path / f"missing{ending}")
    folder = tmp_path / f"folder{ending}"
    folder.mkdir()
    sentence_of(folder)


def test_another_kind_of_file_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "drawing.dwg"
    path.write_bytes(b"AC1032")
    assert "STL, OBJ, PLY" in sentence_of(path)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize(
    ("ending", "options"),
    [
        ("stl", {}),
        ("stl", {"file_type": "stl_ascii"}),
        ("obj", {}),
        ("ply", {}),
        ("ply", {"encoding": "ascii"}),
        ("off", {}),
        ("glb", {}),
        ("3mf", {}),
    ],
)
def test_damaged_files_are_read_or_refused_but_never_a_fault(
    tmp_path: Path, ending: str, options: dict[str, str], seed: int
) -> None:
    path = exported(tmp_path / f"box.{ending}", **options)
    whole = path.read_bytes()
    random = np.random.default_rng(seed)
    for _ in range(6):
        data = bytearray(whole)
        at = int(random.integers(len(data)))
        match int(random.integers(4)):
            case 0:
                data[at] = int(random.integers(256))
            case 1:
                data[at:at] = random.bytes(5)
            case 2:
                del data[at : at + 7]
            case _:
                data[min(at, 300)] = int(random.choice(list(b"0123456789-ne.{} ")))
        path.write_bytes(data)
        try:
            size = scan.judge(scan.read(path)).size
        except (BodyFileError, GeometryError):
            continue
        assert np.isfinite(size).all()


def test_cancelling_ends_the_reading(tmp_path: Path) -> None:
    def cancel(done: float, doing: str) -> None:
        raise Cancelled

    for ending in ("stl", "obj", "ply", "off", "glb", "3mf"):
        path = exported(tmp_path / f"box.{ending}")
        with pytest.raises(Cancelled):
            scan.read(path, cancel)

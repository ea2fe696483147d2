"""A body from tape measurements: closed, named, where the tape said, and plain about bad numbers."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry.body import measured
from geometry.body.measured_checks import COLUMNS
from geometry.errors import GeometryError
from geometry.layout import Layout, Measured, Mesh, Station, WheelArch

SHAPES = measured.shapes()


def merged(panels: tuple[tuple[str, Mesh], ...]) -> trimesh.Trimesh:
    starts = np.cumsum([0] + [len(mesh.vertices) for _, mesh in panels])
    vertices = np.concatenate([mesh.vertices for _, mesh in panels])
    triangles = np.concatenate([m.triangles + start for (_, m), start in zip(panels, starts, strict=False)])
    whole = trimesh.Trimesh(vertices, triangles, process=False)
    whole.merge_vertices(digits_vertex=6)
    return whole


@pytest.mark.parametrize("shape", SHAPES)
def test_merged_panels_are_one_closed_skin_facing_outwards(shape: str) -> None:
    skin = merged(measured.build(SHAPES[shape]))
    assert skin.is_watertight
    assert skin.is_winding_consistent
    assert skin.body_count == 1
    assert skin.volume > 1e9
    assert skin.area_faces.min() > 1e-3
    assert len(skin.faces) < 30_000


@pytest.mark.parametrize("shape", SHAPES)
def test_left_and_right_are_exact_mirror_images(shape: str) -> None:
    panels = dict(measured.build(SHAPES[shape]))
    lefts = [name for name in panels if name.startswith("left ")]
    assert lefts
    for left in lefts:
        here, there = panels[left].vertices, panels["right " + left.removeprefix("left ")].vertices
        one = {tuple(point) for point in here.tolist()}
        assert one == {(x, -y, z) for x, y, z in there.tolist()}


def test_body_is_as_large_as_the_tape_said() -> None:
    stations = SHAPES["two-box"].stations
    low, high = merged(measured.build(SHAPES["two-box"])).bounds
    assert low[0] == stations[-1].x
    assert high[0] == stations[0].x
    assert low[2] == min(station.sill_height for station in stations)
    # Creases and edges are rounded, so the highest and widest places lie a little inside the corners.
    assert high[2] == pytest.approx(max(station.roof_height for station in stations), abs=1.0)
    assert high[1] == pytest.approx(max(station.waist_half_width for station in stations), abs=1.0)


def test_windscreen_follows_its_two_rows() -> None:
    screen = dict(measured.build(SHAPES["two-box"]))["windscreen"].vertices
    cowl, header = SHAPES["two-box"].stations[2:4]
    middle = screen[(screen[:, 1] == 0.0) & (np.abs(screen[:, 0] - 0.5 * (cowl.x + header.x)) < 100.0)]
    share = (cowl.x - middle[:, 0]) / (cowl.x - header.x)
    assert len(middle) >= 2
    assert middle[:, 2] == pytest.approx(cowl.roof_height + share * (header.roof_height - cowl.roof_height))


def test_wheel_arch_is_round_and_as_deep_as_asked() -> None:
    arch = SHAPES["two-box"].arches[0]
    vertices = dict(measured.build(SHAPES["two-box"]))["left front wheel arch"].vertices
    above_sill = vertices[vertices[:, 2] > 560.0]
    far = np.hypot(above_sill[:, 0] - arch.x, above_sill[:, 2] - arch.z)
    assert far.max() == pytest.approx(arch.radius, abs=1e-9)
    assert vertices[:, 1].min() == pytest.approx(665.0 - 45.0 - arch.depth)


def test_faces_are_read_only() -> None:
    mesh = measured.build(SHAPES["two-box"])[0][1]
    assert not mesh.vertices.flags.writeable
    assert not mesh.triangles.flags.writeable


def test_add_to_gives_body_and_panels_ids_of_their_own() -> None:
    layout, body, panels = measured.add_to(Layout(next_id=7), SHAPES["pick-up"], "Pick-up")
    assert body == 7
    assert list(panels) == list(range(8, 8 + len(panels)))
    assert layout.next_id == 8 + len(panels)
    assert layout.bodies[7].measured == SHAPES["pick-up"]
    assert all(layout.panels[id].body == 7 for id in panels)


def test_replace_keeps_ids_names_and_what_did_not_change() -> None:
    layout, body, _ = measured.add_to(Layout(), SHAPES["two-box"], "Car")
    bonnet = next(panel for panel in layout.panels.values() if panel.name == "bonnet")
    renamed = replace(layout, panels=layout.panels | {bonnet.id: replace(bonnet, name="hood panel")})
    wider = replace(SHAPES["two-box"], stations=(*SHAPES["two-box"].stations[:-1], _longer()))
    after = measured.replace(renamed, body, wider)
    assert set(after.panels) == set(layout.panels)
    assert after.panels[bonnet.id] is renamed.panels[bonnet.id]
    changed = [id for id in after.panels if after.panels[id] is not renamed.panels[id]]
    assert {after.panels[id].name for id in changed} >= {"tailgate", "rear window"}


def _longer() -> Station:
    last = SHAPES["two-box"].stations[-1]
    return replace(last, x=last.x - 60.0)


def test_replace_with_another_shape_gives_new_panels_new_ids() -> None:
    layout, body, ids = measured.add_to(Layout(), SHAPES["two-box"], "Car")
    after = measured.replace(layout, body, SHAPES["open tub"])
    tub = next(panel for panel in after.panels.values() if panel.name == "tub")
    assert tub.id not in ids
    assert "roof" not in {panel.name for panel in after.panels.values()}


def test_an_arch_centred_above_the_sill_is_closed_too() -> None:
    high = replace(SHAPES["two-box"], arches=(WheelArch(0.0, 560.0, 300.0), WheelArch(-2230.0, 520.0, 330.0)))
    assert merged(measured.build(high)).is_watertight


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.floats(-25.0, 25.0), min_size=49, max_size=49),
    st.floats(300.0, 400.0),
    st.floats(350.0, 520.0),
)
def test_slips_of_a_tape_still_make_a_closed_skin(
    slips: list[float], radius: float, centre_height: float
) -> None:
    base = SHAPES["two-box"]
    columns = tuple(COLUMNS)
    stations = tuple(
        replace(station, **{c: getattr(station, c) + slips[7 * i + k] for k, c in enumerate(columns)})
        for i, station in enumerate(base.stations)
    )
    arches = (WheelArch(0.0, centre_height, radius), WheelArch(-2230.0, centre_height, radius))
    body = Measured("two-box", stations, arches, base.doors)
    try:
        panels = measured.build(body)
    except GeometryError:
        return
    skin = merged(panels)
    assert skin.is_watertight
    assert skin.volume > 1e9

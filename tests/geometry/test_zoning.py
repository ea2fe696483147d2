"""Access zones as solids: meshes, gaps and bounds against brute force, usual shapes, and what is refused."""

import math
from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry import edits, zoning
from geometry.aids import BoxShape, ConeShape, Purpose
from geometry.body.distance import PanelIndex
from geometry.errors import GeometryError
from geometry.layout import Axle, Layout, Tyre
from geometry.vectors import Floats, Vec3
from geometry.zoning import Shape

CONE = ConeShape((0.0, 0.0, 0.0), (300.0, 0.0, 0.0), 60.0, 100.0)
BOX = BoxShape((10.0, 20.0, 30.0), (180.0, 110.0, 60.0))

places = st.tuples(*[st.floats(-400.0, 400.0)] * 3)
radii = st.floats(0.0, 300.0)
cones = st.builds(ConeShape, places, places, radii, radii).filter(
    lambda cone: math.dist(cone.start, cone.end) > 5.0 and max(cone.start_radius, cone.end_radius) > 5.0
)
boxes = st.builds(
    lambda middle, size, azimuth, tilt: zoning.turned_to(BoxShape(middle, size), azimuth, tilt),
    places,
    st.tuples(*[st.floats(5.0, 500.0)] * 3),
    st.floats(-3.0, 3.0),
    st.floats(-1.5, 1.5),
)
shapes = st.one_of(cones, boxes)


def scattered(shape: Shape, count: int = 400) -> Floats:
    low, high = zoning.bounds(shape)
    return np.random.default_rng(1).uniform(low - 80.0, high + 80.0, (count, 3))


@given(shapes)
def test_the_mesh_is_closed_faces_out_and_fills_the_shape(shape: Shape) -> None:
    vertices, triangles = zoning.mesh(shape)
    assert PanelIndex(vertices, triangles).is_closed
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    volume = float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)
    if isinstance(shape, BoxShape):
        assert volume == pytest.approx(math.prod(shape.size), rel=1e-9)
    else:
        r, s = shape.start_radius, shape.end_radius
        true = math.pi * math.dist(shape.start, shape.end) * (r * r + r * s + s * s) / 3.0
        assert true < volume < true * 1.05 + 1.0


@given(shapes)
def test_the_mesh_stands_out_of_the_shape_by_less_than_it_says_and_never_in(shape: Shape) -> None:
    vertices, triangles = zoning.mesh(shape)
    on_faces = vertices[triangles].mean(axis=1)
    for points in (vertices, on_faces):
        gaps = zoning.gaps(shape, points)
        assert gaps.min() > -1e-6
        assert gaps.max() < zoning.ROUND_ERROR


@given(shapes)
def test_gaps_are_those_to_the_mesh_negative_where_it_wraps_the_point(shape: Shape) -> None:
    index = PanelIndex(*zoning.mesh(shape))
    points = scattered(shape)
    away, _, _ = index.closest(points)
    gaps = zoning.gaps(shape, points)
    assert np.abs(np.abs(gaps) - away).max() < zoning.ROUND_ERROR + 0.02
    clear = np.abs(gaps) > 1.0
    assert ((gaps < 0.0) == index.inside(points))[clear].all()


@given(shapes)
def test_bounds_are_those_of_the_mesh(shape: Shape) -> None:
    vertices, _ = zoning.mesh(shape)
    low, high = zoning.bounds(shape)
    for mine, meshed in ((low, vertices.min(axis=0)), (-high, -vertices.max(axis=0))):
        assert (mine > meshed - 1e-6).all()
        assert (mine < meshed + 3.0).all()  # a corner of many sides need not lie at the extreme


@given(shapes)
def test_a_mirrored_shape_is_where_mirrored_points_say(shape: Shape) -> None:
    points = scattered(shape, 50)
    image = zoning.mirrored(shape)
    assert zoning.gaps(image, points * [1.0, -1.0, 1.0]) == pytest.approx(
        zoning.gaps(shape, points), abs=1e-6
    )
    assert zoning.is_same(zoning.mirrored(image), shape)
    if isinstance(image, BoxShape):
        assert np.linalg.det(np.array(image.turn)) == pytest.approx(1.0)


@given(boxes)
def test_a_box_is_turned_as_its_angles_say(box: BoxShape) -> None:
    assert np.array(zoning.turned_to(box, *zoning.angles_of(box)).turn) == pytest.approx(
        np.array(box.turn), abs=1e-7
    )


def test_a_round_has_as_many_sides_as_its_size_needs() -> None:
    for radius in (0.1, 5.0, 60.0, 500.0, 20_000.0):
        n = zoning.sides_of(radius)
        assert radius / math.cos(math.pi / n) - radius < zoning.ROUND_ERROR
    assert zoning.sides_of(500.0) < 150


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (BoxShape((0.0, 0.0, 0.0), (0.0, 10.0, 10.0)), "at least 1 mm"),
        (BoxShape((0.0, 0.0, 0.0), (math.nan, 10.0, 10.0)), "at least 1 mm"),
        (BoxShape((math.inf, 0.0, 0.0), (10.0, 10.0, 10.0)), "not a number"),
        (BoxShape((0.0, 0.0, 0.0), (10.0, 10.0, 10.0), ((1.0, 0.0, 0.0),) * 3), "not square"),
        (ConeShape((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 5.0, 5.0), "long"),
        (ConeShape((0.0, 0.0, 0.0), (9.0, 0.0, 0.0), -1.0, 5.0), "radii"),
        (ConeShape((0.0, 0.0, 0.0), (9.0, 0.0, 0.0), 0.0, 0.0), "radii"),
        (ConeShape((0.0, 0.0, 0.0), (9.0, 0.0, 0.0), math.inf, 0.0), "radii"),
    ],
)
def test_shapes_that_cannot_be_are_refused_in_words(shape: Shape, words: str) -> None:
    with pytest.raises(GeometryError, match=words):
        zoning.add_zone(Layout(), "other", shape)
    layout, id = zoning.add_zone(Layout(), "other", BOX)
    with pytest.raises(GeometryError, match=words):
        zoning.set_zone(layout, id, shape=shape)


def test_every_purpose_has_words_and_a_usual_shape_with_its_source() -> None:
    assert tuple(zoning.PURPOSES) == get_args(Purpose)
    for purpose, info in zoning.PURPOSES.items():
        assert "no source" in info.source
        for normal in ((0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (-0.6, -0.8, 0.0), (0.0, 0.0, 0.0)):
            at = (-800.0, 700.0, 900.0)
            shape = zoning.starting_shape(Layout(), purpose, at, normal)
            layout, id = zoning.add_zone(Layout(), purpose, shape)
            assert layout.zones[id].name == info.label
            assert zoning.gaps(shape, np.array([at]))[0] < 1e-6, "the place picked belongs to the room"


def test_usual_shapes_look_where_they_should() -> None:
    out: Vec3 = (0.0, 1.0, 0.0)
    at: Vec3 = (100.0, 700.0, 800.0)
    handle = zoning.starting_shape(Layout(), "door handle", at, out)
    low, high = zoning.bounds(handle)
    assert (high - low) == pytest.approx((180.0, zoning.HAND_ROOM, 110.0))
    assert low[1] == pytest.approx(700.0)
    lamp = zoning.starting_shape(Layout(), "lamp beam", at, (0.7, 0.5, 0.1))
    assert isinstance(lamp, ConeShape)
    assert lamp.end == pytest.approx((900.0, 700.0, 800.0))
    rear = zoning.starting_shape(Layout(), "number plate", at, (-1.0, 0.0, 0.0))
    assert isinstance(rear, ConeShape)
    assert rear.end[0] < at[0]
    eye = zoning.starting_shape(Layout(), "view ahead", at, (0.5, 0.0, 0.5))
    assert isinstance(eye, ConeShape)
    assert eye.start[0] < at[0] < eye.end[0]
    assert eye.start_radius == 0.0


def test_the_jack_stands_on_the_ground() -> None:
    tyre = Tyre(800.0, 250.0, 40.0)
    axles = {1: Axle(1, "front", 0.0, 350.0, 1500.0, tyre, 80.0, 60.0)}
    column = zoning.starting_shape(Layout(axles=axles), "jack", (0.0, 600.0, 300.0), (0.0, 0.0, -1.0))
    assert isinstance(column, ConeShape)
    assert column.start == pytest.approx((0.0, 600.0, -50.0))
    assert column.end == pytest.approx((0.0, 600.0, 300.0))


def test_the_other_side_is_added_once() -> None:
    at, out = (100.0, 700.0, 800.0), (0.0, 1.0, 0.0)
    shape = zoning.starting_shape(Layout(), "mirror", at, out)
    layout, left = zoning.add_zone(Layout(), "mirror", shape, "Left mirror")
    layout, right = zoning.mirror_zone(layout, left)
    assert layout.zones[right].name == "Right mirror"
    assert zoning.mirror_zone(layout, left) == (layout, right)
    plain, id = zoning.add_zone(Layout(), "other", BoxShape((0.0, 0.0, 0.0), (10.0, 10.0, 10.0)))
    with pytest.raises(GeometryError, match="both sides"):
        zoning.mirror_zone(plain, id)


def test_a_purpose_is_unset_until_it_has_a_zone_or_is_said_not_to_be_needed() -> None:
    layout = Layout()
    assert zoning.unset(layout) == [one for one in get_args(Purpose) if one != "other"]
    layout = zoning.set_needed(layout, "winch rope", False)
    assert "winch rope" not in zoning.unset(layout)
    assert zoning.set_needed(layout, "winch rope", False).not_needed == ("winch rope",)
    layout, rope = zoning.add_zone(layout, "winch rope", CONE)
    assert layout.not_needed == ()
    with pytest.raises(GeometryError, match="Delete that first"):
        zoning.set_needed(layout, "winch rope", False)
    layout = edits.delete(layout, (rope,))
    assert "winch rope" in zoning.unset(layout)
    layout = zoning.set_needed(layout, "tow eye", False)
    assert zoning.set_needed(layout, "tow eye", True).not_needed == ()


def test_changing_nothing_returns_the_same_layout() -> None:
    layout, id = zoning.add_zone(Layout(), "jack", CONE)
    assert zoning.set_zone(layout, id, shape=CONE, shown=True) is layout
    assert zoning.set_needed(layout, "mirror", True) is layout
    hidden = zoning.set_zone(layout, id, shown=False)
    assert not hidden.zones[id].shown
    assert layout.zones[id].shown


@pytest.mark.parametrize("purpose", get_args(Purpose))
def test_a_zone_put_elsewhere_keeps_its_sizes_and_touches_the_new_place(purpose: Purpose) -> None:
    shape = zoning.starting_shape(Layout(), purpose, (-800.0, 700.0, 900.0), (0.0, 1.0, 0.0))
    layout, id = zoning.add_zone(Layout(), purpose, shape)
    at = (-1500.0, -600.0, 950.0)
    moved = zoning.placed(layout, id, at, (0.0, -1.0, 0.0))
    assert zoning.gaps(moved, np.array([at]))[0] < 1e-6
    if isinstance(shape, BoxShape):
        assert isinstance(moved, BoxShape)
        assert moved.size == shape.size
    else:
        assert isinstance(moved, ConeShape)
        assert (moved.start_radius, moved.end_radius) == (shape.start_radius, shape.end_radius)

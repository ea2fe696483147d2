"""References against arithmetic done by hand, and limit planes against arcs worked out on paper."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, references
from geometry.aids import LineShape, PlaneShape, PointShape
from geometry.errors import GeometryError
from geometry.layout import Axle, Layout, Stock, Tyre
from geometry.references import Shape
from geometry.tube import centreline
from geometry.vectors import Vec3

UP: Vec3 = (0.0, 0.0, 1.0)
OD, CLR = 40.0, 120.0


def job(*runs: list[Vec3]) -> Layout:
    layout = Layout(next_id=10, stocks={5: Stock(5, "40 x 2", OD, 2.0, least_clr_ratio=CLR / OD)})
    for run in runs:
        layout, _ = edits.add_tube(layout, run, 5)
    return layout


def with_plane(layout: Layout, height: float, normal: Vec3 = UP) -> tuple[Layout, int]:
    return references.add_reference(layout, PlaneShape((0.0, 0.0, height), normal))


def past(layout: Layout, plane: int) -> float:
    return references.outside(layout, plane)[0].past


def test_references_are_named_in_turn_and_names_are_not_given_twice() -> None:
    layout, first = references.add_reference(Layout(), PointShape((0.0, 0.0, 0.0)))
    layout, second = references.add_reference(layout, PointShape((1.0, 0.0, 0.0)))
    layout, sill = references.add_reference(layout, PointShape((2.0, 0.0, 0.0)), "Sill edge")
    layout, again = references.add_reference(layout, PointShape((3.0, 0.0, 0.0)), "Sill edge")
    names = [layout.references[id].name for id in (first, second, sill, again)]
    assert names == ["Reference 1", "Reference 2", "Sill edge", "Sill edge 2"]
    layout = edits.delete(layout, (first,))
    layout, third = references.add_reference(layout, PointShape((4.0, 0.0, 0.0)))
    assert layout.references[third].name == "Reference 3"
    assert third not in (first, second, sill, again)


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (PointShape((math.nan, 0.0, 0.0)), "not a number"),
        (PointShape((2e6, 0.0, 0.0)), "kilometre"),
        (LineShape((0.0, 0.0, 0.0), (0.5, 0.0, 0.0)), "less than 1 mm apart"),
        (PlaneShape((0.0, 0.0, 0.0), (0.0, 0.0, 0.0)), "no way that it faces"),
        (PlaneShape((0.0, 0.0, 0.0), (1.0, 1.0, 0.0)), "no way that it faces"),
        (PlaneShape((0.0, 0.0, 0.0), (math.inf, 0.0, 0.0)), "no way that it faces"),
    ],
)
def test_shapes_that_cannot_be_are_refused_in_words(shape: Shape, words: str) -> None:
    with pytest.raises(GeometryError, match=words):
        references.add_reference(Layout(), shape)
    layout, id = references.add_reference(Layout(), PointShape((0.0, 0.0, 0.0)))
    with pytest.raises(GeometryError, match=words):
        references.set_reference(layout, id, shape=shape)


def test_only_a_plane_can_be_a_limit() -> None:
    layout, id = references.add_reference(Layout(), PointShape((0.0, 0.0, 0.0)))
    with pytest.raises(GeometryError, match="only a plane"):
        references.set_reference(layout, id, limit=True)
    layout = references.set_reference(layout, id, shape=PlaneShape((0.0, 0.0, 9.0), UP), limit=True)
    assert references.limits(layout) == (layout.references[id],)
    layout = references.set_reference(layout, id, shape=PointShape((0.0, 0.0, 9.0)))
    assert not layout.references[id].limit


def test_setting_what_is_so_already_returns_the_same_layout() -> None:
    layout, id = with_plane(Layout(), 100.0)
    assert references.set_reference(layout, id, limit=False, shown=True) is layout


def test_the_other_side_is_added_once_and_what_lies_on_both_has_none() -> None:
    layout, left = references.add_reference(Layout(), PointShape((10.0, 700.0, 300.0)), "Left sill edge")
    layout, right = references.mirror_reference(layout, left)
    assert layout.references[right].shape == PointShape((10.0, -700.0, 300.0))
    assert layout.references[right].name == "Right sill edge"
    assert references.mirror_reference(layout, left) == (layout, right)
    assert references.mirror_reference(layout, right) == (layout, left)
    for shape in (
        PointShape((5.0, 0.0, 5.0)),
        PlaneShape((0.0, 300.0, 5.0), UP),
        LineShape((0.0, -7.0, 5.0), (0.0, 7.0, 5.0)),
    ):
        central, id = references.add_reference(Layout(), shape)
        with pytest.raises(GeometryError, match="both sides"):
            references.mirror_reference(central, id)


def test_a_limit_stays_a_limit_on_the_other_side_and_faces_outward_there() -> None:
    layout, (left, _) = references.add_width_limits(Layout(), 1800.0)
    alone = edits.delete(layout, [id for id in layout.references if id != left])
    mirrored, right = references.mirror_reference(alone, left)
    assert mirrored.references[right].limit
    assert mirrored.references[right].shape == PlaneShape((0.0, -900.0, 0.0), (0.0, -1.0, 0.0))
    assert mirrored.references[right].name == "Width limit, right"


def test_feet_are_those_of_the_endless_line_and_plane() -> None:
    point = (3.0, 4.0, 12.0)
    assert references.foot(PointShape((0.0, 0.0, 0.0)), point) == (0.0, 0.0, 0.0)
    line = LineShape((0.0, 0.0, -5.0), (0.0, 0.0, -4.0))
    assert references.foot(line, point) == pytest.approx((0.0, 0.0, 12.0))
    plane = PlaneShape((100.0, 50.0, 2.0), UP)
    assert references.foot(plane, point) == pytest.approx((3.0, 4.0, 2.0))
    assert references.past(plane, point) == pytest.approx(10.0)


def test_planes_through_places_look_up_or_outward() -> None:
    a, b, c = (0.0, 0.0, 1.0), (100.0, 0.0, 1.0), (0.0, 100.0, 1.0)
    assert references.plane_through(a, b, c).normal == pytest.approx(UP)
    assert references.plane_through(a, c, b).normal == pytest.approx(UP)
    upright = references.upright_through((0.0, -700.0, 0.0), (100.0, -700.0, 50.0))
    assert upright.normal == pytest.approx((0.0, -1.0, 0.0))
    with pytest.raises(GeometryError, match="one line"):
        references.plane_through(a, b, (50.0, 0.0, 1.0))
    with pytest.raises(GeometryError, match="above each other"):
        references.upright_through((0.0, 0.0, 0.0), (0.0, 0.0, 500.0))
    with pytest.raises(GeometryError, match="farther off"):
        references.line_through(a, a)
    with pytest.raises(GeometryError, match="faces one way"):
        references.facing(a, (0.0, 0.0, 0.0))


# How far the cage reaches past a plane


def test_a_level_tube_reaches_half_its_diameter_above_its_axis() -> None:
    layout, plane = with_plane(job([(0.0, 0.0, 1000.0), (800.0, 0.0, 1000.0)]), 990.0)
    assert past(layout, plane) == pytest.approx(10.0 + OD / 2.0)


def test_an_upright_tube_ends_where_it_is_sawn() -> None:
    layout, plane = with_plane(job([(0.0, 0.0, 0.0), (0.0, 0.0, 1000.0)]), 990.0)
    reach = references.outside(layout, plane)[0]
    assert reach.past == pytest.approx(10.0)
    assert reach.station == pytest.approx(1000.0)


def test_a_leaning_tube_ends_at_the_rim_of_its_sawn_end() -> None:
    # At 60° the rim of the end stands OD/2 cos 60° above its middle.
    top = (1000.0 * math.cos(math.radians(60.0)), 0.0, 1000.0 * math.sin(math.radians(60.0)))
    layout, plane = with_plane(job([(0.0, 0.0, 0.0), top]), 0.0)
    reach = references.outside(layout, plane)[0]
    assert reach.past == pytest.approx(top[2] + OD / 2.0 * 0.5)
    assert reach.at[2] == pytest.approx(reach.past)
    assert math.dist(reach.at, top) == pytest.approx(OD / 2.0)


def test_a_bend_that_tops_out_in_its_arc_stays_below_its_corner() -> None:
    # Two legs at 45°: the top of the arc lies below the corner by CLR (1 / cos 45° - 1).
    run = [(-500.0, 0.0, 0.0), (0.0, 0.0, 500.0), (500.0, 0.0, 0.0)]
    layout, plane = with_plane(job(run), 0.0)
    expected = 500.0 - CLR * (math.sqrt(2.0) - 1.0) + OD / 2.0
    reach = references.outside(layout, plane)[0]
    assert reach.past == pytest.approx(expected, abs=1e-9)
    assert reach.at == pytest.approx((0.0, 0.0, expected), abs=1e-9)
    line = centreline.of(layout, next(iter(layout.tubes.values())))
    assert reach.station == pytest.approx(line.length / 2.0)


def test_a_quarter_bend_seen_askew_reaches_as_its_circle_does() -> None:
    # From +x to -z with its centre at (0, 0, 0): along (1, 0, 1)/sqrt 2 the circle reaches CLR.
    run = [(-500.0, 0.0, CLR), (CLR, 0.0, CLR), (CLR, 0.0, -500.0)]
    askew = (math.sqrt(0.5), 0.0, math.sqrt(0.5))
    layout, plane = references.add_reference(job(run), PlaneShape((0.0, 0.0, 0.0), askew))
    assert past(layout, plane) == pytest.approx(CLR + OD / 2.0, abs=1e-9)


places = st.tuples(*[st.floats(-800.0, 800.0)] * 3)


@given(places, places, places, places)
def test_no_place_of_the_surface_reaches_farther_than_is_said(a: Vec3, b: Vec3, c: Vec3, way: Vec3) -> None:
    if min(math.dist(a, b), math.dist(b, c), math.hypot(*way)) < 1.0:
        return
    layout, plane = references.add_reference(job([a, b, c]), references.facing((0.0, 0.0, 0.0), way))
    tube = next(iter(layout.tubes.values()))
    line = centreline.of(layout, tube)
    normal = np.array(layout.references[plane].shape.normal)  # type: ignore[union-attr]
    stations = np.linspace(0.0, line.length, 2000)
    along = centreline.direction_at(line, stations) @ normal
    rims = centreline.point_at(line, stations) @ normal + OD / 2.0 * np.sqrt(np.maximum(1.0 - along**2, 0.0))
    reach = references.reach_of(layout, tube.id, layout.references[plane].shape)  # type: ignore[arg-type]
    assert reach.past >= rims.max() - 1e-6
    sharp = any(bend.start == bend.end for bend in line.bends)
    tight = any(0.0 < bend.drawn_radius < OD / 2.0 for bend in line.bends)
    if not sharp and not tight:
        assert reach.past <= rims.max() + line.length / 2000.0


def test_tubes_are_listed_by_how_far_they_reach() -> None:
    low, high = [(0.0, 0.0, 0.0), (500.0, 0.0, 0.0)], [(0.0, 90.0, 700.0), (500.0, 90.0, 700.0)]
    layout, plane = with_plane(job(low, high), 500.0)
    assert [round(row.past) for row in references.outside(layout, plane)] == [220, -480]
    point, id = references.add_reference(layout, PointShape((0.0, 0.0, 0.0)))
    with pytest.raises(GeometryError, match="Only a plane"):
        references.outside(point, id)


# Ready-made ones


def test_the_ground_is_where_the_tyres_stand_and_the_cage_stays_above_it() -> None:
    tyre = Tyre(800.0, 250.0, 40.0)
    front, rear = (
        Axle(id, f"axle {id}", x, height, 1500.0, tyre, 80.0, 60.0)
        for id, x, height in ((1, 0.0, 360.0), (2, -2000.0, 400.0))
    )
    layout = replace(job([(0.0, 0.0, -30.0), (0.0, 0.0, 500.0)]), axles={1: front, 2: rear})
    layout, ground = references.add_ground(layout)
    shape = layout.references[ground].shape
    assert isinstance(shape, PlaneShape)
    for x, z in ((0.0, -40.0), (-2000.0, 0.0)):
        assert references.past(shape, (x, 0.0, z)) == pytest.approx(0.0, abs=1e-9)
    assert references.past(shape, (0.0, 0.0, -50.0)) > 0.0
    assert layout.references[ground].limit


def test_height_and_width_limits_are_what_was_typed() -> None:
    layout, roof = references.add_height_limit(Layout(), 1900.0)
    assert layout.references[roof].shape == PlaneShape((0.0, 0.0, 1900.0), UP)
    layout, sides = references.add_trailer_limits(layout, 2000.0)
    assert [layout.references[id].name for id in sides] == ["Trailer side, left", "Trailer side, right"]
    assert all(layout.references[id].limit for id in (roof, *sides))
    for wrong in (0.0, -5.0, math.nan, 1e9):
        with pytest.raises(GeometryError, match="more than 0"):
            references.add_height_limit(layout, wrong)


def test_limits_either_side_move_alike_and_others_alone() -> None:
    layout, (left, right) = references.add_width_limits(Layout(), 1800.0)
    layout = references.set_shape(layout, left, PlaneShape((0.0, 950.0, 0.0), (0.0, 1.0, 0.0)))
    assert layout.references[right].shape == PlaneShape((0.0, -950.0, 0.0), (0.0, -1.0, 0.0))
    layout = references.set_reference(layout, right, limit=False)
    layout = references.set_shape(layout, left, PlaneShape((0.0, 800.0, 0.0), (0.0, 1.0, 0.0)))
    assert layout.references[right].shape == PlaneShape((0.0, -950.0, 0.0), (0.0, -1.0, 0.0))

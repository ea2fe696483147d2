"""Axles are added where a car has them, and changed only to what can be."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import axles, edits, sample
from geometry.body import tyres
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Mesh, Panel


def wide(width: float) -> Layout:
    corners = np.array([(0.0, -width / 2, 500.0), (0.0, width / 2, 500.0), (1000.0, 0.0, 600.0)])
    mesh = Mesh(corners, np.array([[0, 1, 2]], np.int32))
    return Layout(next_id=5, bodies={1: Body(1, "shell")}, panels={2: Panel(2, "roof", 1, mesh)})


def test_the_first_axle_is_the_front_one_stands_on_the_ground_and_is_as_wide_as_the_body() -> None:
    layout, id = axles.add(wide(1600.0))
    axle = layout.axles[id]
    assert (axle.name, axle.x, id, layout.next_id) == ("Front axle", 0.0, 5, 6)
    assert axle.height == axle.tyre.od / 2.0
    assert axle.track + axle.tyre.width == pytest.approx(1600.0)
    assert axle.steer_inner > axle.steer_outer > 0.0
    assert math.sin(axle.roll) * axle.track == pytest.approx(axles.USUAL_ROLL_HEIGHT)


def test_the_next_axle_is_behind_it_with_the_same_tyres_and_does_not_steer() -> None:
    layout, front = axles.add(wide(1600.0))
    layout = axles.change(layout, front, tyre=tyres.parsed("33x12.50R15"))
    layout, rear = axles.add(layout)
    axle = layout.axles[rear]
    assert (axle.name, axle.x, axle.steer_inner) == ("Rear axle", -axles.USUAL_WHEELBASE, 0.0)
    assert axle.tyre.code == "33x12.50R15"
    layout, third = axles.duplicate(layout, rear)
    assert layout.axles[third].name == "Rear axle 2"
    assert layout.axles[third].x == -2 * axles.USUAL_WHEELBASE


def test_a_measured_body_tells_where_the_rear_axle_is() -> None:
    layout, front = axles.add(sample.build())
    layout, rear = axles.add(layout)
    measured = next(body.measured for body in layout.bodies.values() if body.measured is not None)
    assert layout.axles[front].x == 0.0
    assert layout.axles[rear].x in {arch.x for arch in measured.arches}


def test_a_layout_without_a_body_gets_a_usual_axle() -> None:
    layout, id = axles.add(Layout())
    assert layout.axles[id].track == axles.USUAL_TRACK


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"bump": 0.0, "droop": 0.0}, "has no travel"),
        ({"track": 100.0}, "into each other"),
        ({"height": -5.0}, "hubs above the ground"),
        ({"x": 1.0e5}, "within 20 m"),
        ({"bump": math.nan}, "not finite"),
        ({"steer_inner": 2.0}, "Give an angle from"),
        ({"name": "  "}, "at least one letter"),
    ],
)
def test_what_no_axle_can_be_is_refused_in_words(changes: dict, says: str) -> None:
    layout, id = axles.add(Layout())
    with pytest.raises(GeometryError, match=says):
        axles.change(layout, id, **changes)


def test_axles_are_renamed_and_deleted_like_all_else() -> None:
    layout, id = axles.add(Layout())
    assert edits.rename(layout, id, "Steering axle").axles[id].name == "Steering axle"
    assert edits.delete(layout, [id]).axles == {}
    with pytest.raises(GeometryError, match="no longer in the job"):
        axles.change(edits.delete(layout, [id]), id, x=1.0)
    assert replace(layout, axles={}).axles == {}


def on_feet(*feet: tuple[float, float]) -> Layout:
    """Axles at places x whose tyres touch the ground at heights z."""
    layout = Layout()
    for x, z in feet:
        layout, id = axles.add(layout)
        radius = layout.axles[id].tyre.od / 2.0
        layout = axles.change(layout, id, x=x, height=radius + z)
    return layout


def test_new_tyres_move_the_ground_not_the_axle() -> None:
    layout, front = axles.add(Layout())
    layout, _ = axles.add(layout)
    assert axles.ground(layout) == (pytest.approx(0.0), pytest.approx(0.0))
    radius, hub = layout.axles[front].tyre.od / 2.0, layout.axles[front].height
    larger = axles.change(layout, front, tyre=tyres.parsed("35x12.50R15"))
    assert larger.axles[front].height == hub
    height, rise = axles.ground(larger)
    lower = 35.0 * 25.4 / 2.0 - radius
    assert height == pytest.approx(-lower)
    assert rise == pytest.approx(-lower / axles.USUAL_WHEELBASE)


@pytest.mark.parametrize(
    ("feet", "height", "rise"),
    [
        ([], 0.0, 0.0),
        ([(0.0, -40.0)], -40.0, 0.0),
        ([(0.0, -40.0), (-100.0, 0.0)], -40.0, 0.0),
        ([(0.0, -40.0), (-2000.0, 60.0)], -40.0, -0.05),
        ([(0.0, 0.0), (-1000.0, 20.0), (-2000.0, 0.0)], 0.0, 0.0),
        ([(0.0, 0.0), (-1200.0, -30.0), (-2000.0, 0.0)], 0.0, 0.025),
    ],
)
def test_the_ground_is_what_the_tyres_stand_on(
    feet: list[tuple[float, float]], height: float, rise: float
) -> None:
    layout = on_feet(*feet)
    assert axles.ground(layout) == (pytest.approx(height), pytest.approx(rise))
    for x, z in feet if rise else []:
        assert z >= height + rise * x - 1e-9

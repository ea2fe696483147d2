"""Wheels and what they sweep through, as they are drawn."""

import numpy as np
import pytest
from vtkmodules.vtkRenderingCore import vtkActor, vtkRenderer

from app.viewport import colours, movers
from app.viewport.scene import Scene
from geometry import axles
from geometry.checks import tyres
from geometry.checks.tyres import WheelKey
from geometry.layout import Layout, Mesh


@pytest.fixture
def scene() -> Scene:
    return Scene(vtkRenderer(), colours.LIGHT)


LAYOUT, AXLE = axles.add(Layout())
KEYS: tuple[WheelKey, WheelKey] = ((AXLE, "left"), (AXLE, "right"))
ROUGH = Mesh(np.array([(0.0, 0.0, 0.0), (9.0, 0.0, 0.0), (0.0, 9.0, 0.0)]), np.array([[0, 1, 2]], np.int32))


def spaces(layout: Layout) -> dict[WheelKey, tyres.Shown]:
    return tyres.shown(layout, dict.fromkeys(KEYS, ROUGH))


def box(actor: vtkActor) -> np.ndarray:
    return np.array(actor.GetBounds()).reshape(3, 2)


def test_wheels_stand_where_the_axle_says(scene: Scene) -> None:
    scene.show(LAYOUT)
    axle, tyre = LAYOUT.axles[AXLE], LAYOUT.axles[AXLE].tyre
    left, right = (box(scene.movers._wheels[key]) for key in KEYS)
    middle = np.array([axle.x, axle.track / 2.0, axle.height])
    half = np.array([tyre.od, tyre.width, tyre.od]) / 2.0
    assert left.mean(axis=1) == pytest.approx(middle, abs=0.5)
    assert right.mean(axis=1) == pytest.approx(middle * (1.0, -1.0, 1.0), abs=0.5)
    assert (left[:, 1] - left[:, 0]) / 2.0 == pytest.approx(half, abs=1.0)


def test_a_pose_moves_the_wheels_of_its_axle_and_another_job_forgets_it(scene: Scene) -> None:
    scene.show(LAYOUT)
    at_rest = box(scene.movers._wheels[KEYS[0]])
    scene.movers.set_pose(AXLE, (1.0, 0.0, 0.0))
    lifted = box(scene.movers._wheels[KEYS[0]])
    assert lifted[2] - at_rest[2] == pytest.approx([axles.USUAL_BUMP] * 2, abs=1e-6)
    scene.movers.set_pose(AXLE, (0.0, 0.0, 1.0))
    steered = box(scene.movers._wheels[KEYS[0]])
    assert steered[1, 1] - steered[1, 0] > at_rest[1, 1] - at_rest[1, 0] + 50.0
    scene.movers.start_anew()
    assert box(scene.movers._wheels[KEYS[0]]) == pytest.approx(at_rest)


def test_swept_spaces_are_drawn_only_when_asked_for_and_wheels_can_go(scene: Scene) -> None:
    scene.show(LAYOUT)
    scene.movers.set_envelopes(spaces(LAYOUT))
    for shows, wheel, swept in (("wheels", 1, 0), ("swept", 1, 1), ("neither", 0, 0)):
        scene.movers.set_shows(shows)
        assert scene.movers._wheels[KEYS[0]].GetVisibility() == wheel
        assert scene.movers._swept[KEYS[0]].GetVisibility() == swept


def test_a_space_that_is_older_than_its_wheel_is_pale(scene: Scene) -> None:
    scene.show(LAYOUT)
    scene.movers.set_envelopes(spaces(LAYOUT))
    actor = scene.movers._swept[KEYS[0]]
    assert actor.GetProperty().GetOpacity() == movers.OPACITY
    higher = axles.change(LAYOUT, AXLE, bump=140.0)
    scene.show(higher)
    assert actor.GetProperty().GetOpacity() == movers.STALE_OPACITY
    scene.show(LAYOUT)
    assert actor.GetProperty().GetOpacity() == movers.OPACITY
    scene.show(higher)
    scene.movers.set_envelopes(spaces(LAYOUT))  # an answer that comes late
    assert actor.GetProperty().GetOpacity() == movers.STALE_OPACITY
    scene.movers.set_envelopes(spaces(higher))
    assert actor.GetProperty().GetOpacity() == movers.OPACITY


def test_nothing_is_left_of_an_axle_that_is_gone(scene: Scene) -> None:
    scene.show(LAYOUT)
    scene.movers.set_envelopes(spaces(LAYOUT))
    scene.show(Layout())
    assert scene.movers._wheels == scene.movers._swept == {}


def test_the_wheels_of_a_selected_axle_stand_out(scene: Scene) -> None:
    scene.show(LAYOUT)
    plain = scene.movers._wheels[KEYS[0]].GetProperty().GetColor()
    scene.emphasise(frozenset({AXLE}), None)
    assert scene.movers._wheels[KEYS[0]].GetProperty().GetColor() != plain
    scene.emphasise(frozenset(), None)
    assert scene.movers._wheels[KEYS[0]].GetProperty().GetColor() == plain


def test_the_grid_lies_under_the_tyres(scene: Scene) -> None:
    scene.show(LAYOUT)
    assert box(scene._grid[0])[2] == pytest.approx([0.0, 0.0])
    lower = axles.change(LAYOUT, AXLE, height=LAYOUT.axles[AXLE].height - 30.0)
    scene.show(lower)
    assert box(scene._grid[0])[2] == pytest.approx([-30.0, -30.0])
    scene.show(Layout())
    assert box(scene._grid[0])[2] == pytest.approx([0.0, 0.0])

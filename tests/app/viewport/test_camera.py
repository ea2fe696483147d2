"""The camera keeps what it is asked to keep."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.viewport import camera as cameras
from app.viewport.camera import Camera, Size

SIZE = Size(900.0, 600.0)
angles = st.floats(-3.0, 3.0)
pitches = st.floats(-1.5, 1.5)
places = st.tuples(*[st.floats(-2000.0, 2000.0)] * 3)
cameras_anywhere = st.builds(Camera, places, angles, pitches, st.floats(6000.0, 20000.0), st.booleans())


def on_screen(camera: Camera, point: tuple[float, float, float]) -> np.ndarray:
    return cameras.project(camera, SIZE, np.array([point]))[0][0]


@given(cameras_anywhere, places)
def test_a_ray_passes_through_the_point_that_its_pixel_shows(camera: Camera, point: tuple) -> None:
    x, y = on_screen(camera, point)
    ray = cameras.ray(camera, SIZE, x, y)
    away = np.subtract(point, ray.origin)
    assert np.linalg.norm(np.cross(away, ray.direction)) < 1e-5


@given(cameras_anywhere, places, angles, pitches)
def test_orbiting_keeps_the_pivot_where_it_is_on_the_screen(camera, pivot, turn, lift) -> None:
    after = cameras.orbited(camera, pivot, turn, lift)
    assert on_screen(after, pivot) == pytest.approx(on_screen(camera, pivot), abs=1e-5)


@given(cameras_anywhere, places, st.floats(0.3, 3.0))
def test_zooming_keeps_the_point_under_the_pointer(camera, pivot, factor) -> None:
    after = cameras.zoomed(camera, pivot, factor)
    assert on_screen(after, pivot) == pytest.approx(on_screen(camera, pivot), abs=1e-5)


@given(cameras_anywhere, places, places)
def test_anchoring_changes_nothing_that_is_seen(camera, pivot, point) -> None:
    after = cameras.anchored(camera, pivot)
    assert on_screen(after, point) == pytest.approx(on_screen(camera, point), abs=1e-5)


def test_zooming_reaches_a_thing_far_behind_the_focus() -> None:
    camera, pivot = Camera(focus=(0.0, 0.0, 0.0), yaw=0.0, pitch=0.0, distance=100.0), (-5000.0, 0.0, 0.0)
    for _ in range(20):
        camera = cameras.zoomed(cameras.anchored(camera, pivot), pivot, 0.8)
    assert np.linalg.norm(np.subtract(cameras.eye(camera), pivot)) < 100.0


@given(cameras_anywhere, places, st.floats(-300.0, 300.0), st.floats(-300.0, 300.0))
def test_panning_carries_the_point_with_the_pointer(camera, pivot, dx, dy) -> None:
    after = cameras.panned(camera, SIZE, pivot, dx, dy)
    assert on_screen(after, pivot) == pytest.approx(on_screen(camera, pivot) + np.array((dx, dy)), abs=1e-5)


@given(cameras_anywhere, st.lists(places, min_size=2, max_size=8))
def test_fitting_shows_every_point(camera, points) -> None:
    screen, _ = cameras.project(camera, SIZE, np.array(points))
    after = cameras.fitted(camera, SIZE, np.array(points))
    screen, depth = cameras.project(after, SIZE, np.array(points))
    assert np.all(screen >= 0.0)
    assert np.all(screen <= (SIZE.width, SIZE.height))
    assert after.is_parallel or np.all(depth > 0.0)


def test_changing_to_parallel_keeps_the_size_of_what_is_looked_at() -> None:
    near, flat = Camera(), Camera(is_parallel=True)
    assert cameras.pixels_per_mm(near, SIZE) == cameras.pixels_per_mm(flat, SIZE)


@pytest.mark.parametrize(
    ("side", "right", "up"),
    [
        ("front", (0, 1, 0), (0, 0, 1)),
        ("back", (0, -1, 0), (0, 0, 1)),
        ("left", (-1, 0, 0), (0, 0, 1)),
        ("right", (1, 0, 0), (0, 0, 1)),
        ("top", (-1, 0, 0), (0, -1, 0)),
        ("bottom", (-1, 0, 0), (0, 1, 0)),
    ],
)
def test_each_side_shows_the_car_as_a_person_standing_there_sees_it(side, right, up) -> None:
    seen = cameras.axes(cameras.from_side(Camera(), side))
    assert seen[0] == pytest.approx(np.array(right), abs=1e-12)
    assert seen[1] == pytest.approx(np.array(up), abs=1e-12)


def test_a_flight_starts_and_ends_where_it_says_and_takes_the_short_way_round() -> None:
    a, b = Camera(yaw=math.radians(170)), Camera(yaw=math.radians(-170), distance=3000.0)
    assert cameras.between(a, b, 0.0).yaw == pytest.approx(a.yaw)
    assert cameras.between(a, b, 1.0) == b
    assert abs(cameras.between(a, b, 0.5).yaw) == pytest.approx(math.pi)


@given(cameras_anywhere)
def test_a_camera_survives_being_saved(camera: Camera) -> None:
    assert cameras.from_plain(cameras.to_plain(camera)) == camera


@pytest.mark.parametrize(
    "plain", [{}, {"focus": [0, 0]}, {"distance": -5}, {"yaw": "left"}, {"distance": math.inf}]
)
def test_nonsense_is_no_camera(plain: dict) -> None:
    found = cameras.from_plain(plain)
    assert found is None or found == Camera()

"""Unit, turns, symmetry and front axle from the shape alone."""

import numpy as np
import pytest
import trimesh

from geometry.body import cleaning, shape
from geometry.layout import MM_PER_UNIT, LengthUnit, Mesh

VEHICLES_MM = {
    "small city car": (2700.0, 1560.0, 1550.0),
    "small 4x4": (3600.0, 1600.0, 1700.0),
    "saloon": (4900.0, 1850.0, 1450.0),
    "pick-up": (5900.0, 2050.0, 1950.0),
    "van": (6900.0, 2050.0, 2700.0),
    "open tub without wheels": (3200.0, 1450.0, 900.0),
}


def mesh_of(*shapes: trimesh.Trimesh) -> Mesh:
    whole = trimesh.util.concatenate(list(shapes))
    return cleaning.cleaned(np.array(whole.vertices), np.array(whole.faces))[0]


def box(size: tuple[float, float, float], at: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.box(size).apply_translation(at)


@pytest.mark.parametrize("unit", list(MM_PER_UNIT))
@pytest.mark.parametrize("name", list(VEHICLES_MM))
def test_every_vehicle_is_read_in_the_unit_it_was_written_in(name: str, unit: LengthUnit) -> None:
    size = np.array(VEHICLES_MM[name]) / MM_PER_UNIT[unit]
    assert shape.guess_unit(size) == (unit, "")


def test_stated_unit_is_believed_but_an_odd_size_is_said() -> None:
    assert shape.guess_unit(np.array([4.0, 1.7, 1.5]), "m") == ("m", "")
    unit, warning = shape.guess_unit(np.array([4000.0, 1700.0, 1500.0]), "m")
    assert unit == "m"
    assert "is 4000 m long" in warning


def test_size_of_a_vehicle_is_not_odd_however_it_is_turned() -> None:
    for size in ((4.0, 1.7, 1.5), (1.7, 4.0, 1.5), (1.7, 1.5, 4.0)):
        assert shape.odd_size(np.array(size), "m") == ""
    assert "0.004 m long" in shape.odd_size(np.array((4.0, 1.7, 1.5)), "mm")


@pytest.mark.parametrize("up", shape.AXES)
@pytest.mark.parametrize("forward", shape.AXES)
def test_turns_keep_two_different_axes_and_come_round(up: shape.Axis, forward: shape.Axis) -> None:
    if up[1] == forward[1]:
        return
    for how, count in (("end for end", 2), ("quarter", 4), ("tip", 4), ("roll", 4)):
        now = (up, forward)
        for step in range(1, count + 1):
            now = shape.turned(how, *now)  # type: ignore[arg-type]
            assert now[0][1] != now[1][1]
            assert (now == (up, forward)) == (step == count)


def test_sample_lies_on_the_surface_and_spreads_by_area() -> None:
    large, small = mesh_of(box((3, 3, 3), (0, 0, 0))), mesh_of(box((1, 1, 1), (9, 0, 0)))
    sample = shape.sampled([large, small])
    assert len(sample.points) == shape.SAMPLES
    share = float((sample.parts == 0).mean())
    assert share == pytest.approx(0.9, abs=0.01)
    on_large = np.abs(sample.points[sample.parts == 0]).max(axis=1)
    assert np.allclose(on_large, 1.5)
    assert np.array_equal(shape.sampled([large, small]).points, sample.points)


def test_mirror_plane_lies_where_the_body_was_moved() -> None:
    body = mesh_of(box((4, 1.7, 0.8), (0, 0.3, 0.4)), box((1.5, 1.4, 0.6), (-0.4, 0.3, 1.1)))
    plane = shape.mirror(shape.sampled([body]), 1)
    assert plane.offset == pytest.approx(0.3, abs=0.003)
    assert plane.deviation < 0.003
    assert shape.mirror(shape.sampled([body]), 2).deviation > 0.1


def axle_of(*shapes: trimesh.Trimesh) -> float:
    mesh = mesh_of(*shapes)
    sample = shape.sampled([mesh])
    return shape.guess_front_axle(sample.points, ["body"], sample.lows, sample.highs)


def test_front_axle_is_where_the_front_wheels_touch_the_ground() -> None:
    shell = box((4000, 1700, 800), (0, 0, 700))
    turn = trimesh.transformations.rotation_matrix(np.pi / 2, (1, 0, 0))
    wheels = [
        trimesh.creation.cylinder(320, 200, sections=64).apply_transform(turn).apply_translation((x, y, 320))
        for x in (1250, -1300)
        for y in (-750, 750)
    ]
    assert axle_of(shell, *wheels) == pytest.approx(750.0, abs=60.0)


def test_front_axle_is_in_the_middle_of_the_front_arch() -> None:
    arches = [1600.0, 900.0, -900.0, -1600.0]
    low = [
        box((400, 1700, 500), (1800, 0, 250)),
        box((1800, 1700, 500), (0, 0, 250)),
        box((400, 1700, 500), (-1800, 0, 250)),
    ]
    assert axle_of(box((4000, 1700, 500), (0, 0, 750)), *low) == pytest.approx(
        2000.0 - (arches[0] + arches[1]) / 2, abs=60.0
    )


def test_front_axle_of_a_plain_box_is_a_usual_overhang() -> None:
    assert axle_of(box((4000, 1700, 1300), (0, 0, 650))) == pytest.approx(0.19 * 4000)


def test_named_wheels_tell_the_front_axle() -> None:
    parts = [
        mesh_of(box((4000, 1700, 800), (0, 0, 700))),
        *(mesh_of(box((600, 200, 600), (x, y, 300))) for x in (1200, -1300) for y in (-750, 750)),
    ]
    sample = shape.sampled(parts)
    names = ["shell", *(f"Wheel_{number}" for number in range(4))]
    assert shape.guess_front_axle(sample.points, names, sample.lows, sample.highs) == pytest.approx(800.0)


@pytest.mark.parametrize(
    ("name", "words"),
    [("frontLeft_wheel.001", {"front", "left", "wheel"}), ("BONNET", {"bonnet"}), ("door-2", {"door"})],
)
def test_names_are_read_as_words(name: str, words: set[str]) -> None:
    assert shape.words_of(name) == words

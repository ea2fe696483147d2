"""Where the points of a first cage are guessed, on bodies whose measures are known."""

from pathlib import Path

import pytest

from geometry import rack
from geometry.body import measured, scan
from geometry.laying.wish import Place
from geometry.layout import Layout
from geometry.starting import families, points

IN = 60.0  # mm that a guess may be beside the edge it is named after


def guesses(shape: str) -> dict[str, points.Guess]:
    layout = rack.with_starting_rack(Layout(name="job"))
    return points.guessed(measured.add_to(layout, measured.shapes()[shape], shape)[0])


def at(found: dict[str, points.Guess], key: str) -> tuple[float, float, float]:
    place = found[key].place
    assert place is not None, key
    return place.point


def test_every_point_has_a_name_and_a_meaning_and_every_family_knows_its_points() -> None:
    assert len({name.title for name in points.NAMES}) == len(points.NAMES) == 15
    assert all(name.meaning.endswith(".") for name in points.NAMES)
    assert all(key in points.KEYS for family in families.FAMILIES for key in family.needs)


@pytest.mark.parametrize("shape", ["two-box", "pick-up"])
def test_a_measured_body_is_read_as_it_was_measured(shape: str) -> None:
    body = measured.shapes()[shape]
    roof = [station for station in body.stations if station.roof_height > 1600.0]
    foot = next(a for a, b in zip(body.stations, body.stations[1:], strict=False) if b is roof[0])
    front, rear = body.arches
    found = guesses(shape)
    for key, station in (("a_head", roof[0]), ("c_head", roof[-1])):
        x, y, z = at(found, key)
        assert abs(x - station.x) < IN + 30.0
        assert abs(y - station.roof_half_width) < IN
        assert abs(z - station.roof_height) < IN
    assert abs(at(found, "a_foot")[0] - foot.x) < IN
    assert 0.0 < front.x - front.radius - at(found, "sill_front")[0] < 1.5 * IN + 20.0
    assert 0.0 < at(found, "sill_rear")[0] - (rear.x + rear.radius) < 1.5 * IN + 20.0
    assert abs(at(found, "nose")[0] - body.stations[0].x) < 15.0
    assert abs(at(found, "tail")[0] - body.stations[-1].x) < 30.0
    assert all(found[key].sureness == "sure" for key in ("a_head", "a_foot", "sill_front", "sill_rear"))


def test_the_b_pillar_stands_behind_the_measured_door() -> None:
    found = guesses("two-box")
    assert -1500.0 - 2.0 * IN < at(found, "b_head")[0] < -1500.0
    assert found["b_head"].sureness == "sure"
    assert guesses("pick-up")["b_head"].sureness in ("sure", "unsure")


def test_points_are_on_the_left_or_in_the_centre_plane() -> None:
    found = guesses("two-box")
    for name in points.NAMES:
        y = at(found, name.key)[1]
        assert y == 0.0 if name.is_central else y > 100.0


def test_a_body_without_a_roof_has_no_roof_points() -> None:
    found = guesses("open tub")
    assert all(found[key].place is None for key in ("a_head", "b_head", "c_head", "roof_front"))
    assert all(found[key].place is not None for key in ("sill_front", "sill_rear", "bonnet_front", "nose"))


def test_no_body_has_no_points() -> None:
    assert all(guess.place is None for guess in points.guessed(Layout(name="job")).values())


def test_a_place_pointed_at_on_the_right_is_meant_on_the_left() -> None:
    right = Place((1.0, -700.0, 500.0), (0.0, -1.0, 0.0))
    assert points.on_left(right, is_central=False) == Place((1.0, 700.0, 500.0), (0.0, 1.0, 0.0))
    roof = Place((1.0, 12.0, 1700.0), (0.0, 0.0, 1.0))
    assert points.on_left(roof, is_central=True) == Place((1.0, 0.0, 1700.0), (0.0, 0.0, 1.0))


def test_the_sedan_has_its_pillars_where_they_are_seen(meshes: Path) -> None:
    found_scan = scan.read(meshes / "sedan_chassis_vis.obj")
    layout, _, _ = scan.add_to(Layout(name="job"), found_scan, scan.judge(found_scan))
    found = points.guessed(layout)
    assert all(guess.place is not None for guess in found.values())
    order = ["nose", "bonnet_front", "bonnet_rear", "a_foot", "a_head", "b_head", "c_head", "c_foot", "tail"]
    along = [at(found, key)[0] for key in order]
    assert along == sorted(along, reverse=True)
    assert at(found, "a_foot")[2] < 900.0 < 1300.0 < at(found, "a_head")[2]

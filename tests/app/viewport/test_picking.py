"""What lies under the pointer."""

import numpy as np
import pytest

from app.viewport import camera as cameras
from app.viewport import picking
from app.viewport.camera import Camera, Size
from geometry.tube import centreline

SIZE = Size(900.0, 600.0)


@pytest.fixture
def sight(caged):
    camera = cameras.fitted(
        cameras.from_side(Camera(), "left"), SIZE, np.array([(-3000.0, 0, 0), (600.0, 0, 1500.0)])
    )
    return picking.look(caged, camera, SIZE)


def place_on_screen(sight, point):
    return cameras.project(sight.camera, SIZE, np.array([point]))[0][0]


def test_a_node_is_taken_within_its_reach_and_not_beyond(sight, caged) -> None:
    id, node = next(iter(caged.nodes.items()))
    x, y = place_on_screen(sight, node.position)
    assert picking.nodes_at(sight, x + 11.0, y) == [id]
    assert picking.nodes_at(sight, x + 13.0, y) == []


def test_a_tube_gives_the_place_of_its_centreline_under_the_pointer(sight, caged) -> None:
    (tube,) = caged.tubes.values()
    line = centreline.of(caged, tube)
    wanted = centreline.point_at(line, [900.0])[0]
    x, y = place_on_screen(sight, wanted)
    (pick,) = picking.tubes_at(sight, x, y)
    assert pick.tube == tube.id
    assert pick.station == pytest.approx(900.0, abs=0.5)
    assert pick.point == pytest.approx(tuple(wanted), abs=0.5)


def test_the_tube_itself_is_picked_not_the_corner_that_its_bend_cuts(sight, caged) -> None:
    (tube,) = caged.tubes.values()
    bend = centreline.of(caged, tube).bends[0]
    middle = centreline.point_at(centreline.of(caged, tube), [(bend.start + bend.end) / 2.0])[0]
    assert picking.tubes_at(sight, *place_on_screen(sight, middle))


def test_a_box_takes_the_nodes_inside_and_tubes_that_lie_in_it_whole(sight, caged) -> None:
    (tube,) = caged.tubes.values()
    assert picking.things_in_box(sight, 0.0, 0.0, 900.0, 600.0) == {tube.id, *tube.nodes}
    x, y = place_on_screen(sight, caged.nodes[tube.nodes[0]].position)
    assert picking.things_in_box(sight, x + 20.0, y + 20.0, x - 20.0, y - 20.0) == {tube.nodes[0]}


def test_an_empty_layout_has_nothing_to_pick(empty) -> None:
    sight = picking.look(empty, Camera(), SIZE)
    assert picking.nodes_at(sight, 450.0, 300.0) == []
    assert picking.tubes_at(sight, 450.0, 300.0) == []
    assert picking.things_in_box(sight, 0.0, 0.0, 900.0, 600.0) == frozenset()

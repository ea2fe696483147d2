"""Templates keep true lengths, marks lie on the line, and tape distances are what a tape says."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import trimming
from geometry.layout import Body, Layout, Limits, Mesh, Panel
from geometry.shop import templates
from geometry.shop.templates import Template

WING, RADIUS, MARGIN = 60, 300.0, 25.0


def grid(bulge: float = 0.0, count: int = 61) -> Mesh:
    """A left wing: 1600 long, 900 high, bulging outwards as a cylinder about an upright line, or flat."""
    x, z = np.meshgrid(np.linspace(-800.0, 800.0, count), np.linspace(200.0, 1100.0, count))
    y = 800.0 - (bulge and bulge - np.sqrt(bulge**2 - x**2))
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    return Mesh(np.stack([x, np.broadcast_to(y, x.shape), z], axis=-1).reshape(-1, 3), triangles)


def trimmed(mesh: Mesh) -> Layout:
    layout = Layout(
        next_id=100,
        bodies={1: Body(1, "shell")},
        panels={WING: Panel(WING, "left front wing", 1, mesh)},
        limits=Limits(tyre_margin=MARGIN),
    )

    def cylinder(points: np.ndarray) -> np.ndarray:
        """The tyre: round about an axle across the car, 400 up."""
        return np.hypot(points[:, 0], points[:, 2] - 400.0) - RADIUS

    return trimming.set_trimmed(layout, [trimming.cut_for(layout, WING, cylinder)])


@pytest.fixture(scope="module")
def flat() -> Template:
    (template,) = templates.of(trimmed(grid()))
    return template


def test_a_flat_panel_is_one_stretch_of_true_size(flat: Template) -> None:
    (stretch,) = flat.stretches
    on_paper = np.linalg.norm(np.diff(stretch.line, axis=0), axis=1).sum()
    assert on_paper == pytest.approx(flat.length)
    # An arc about the hub, from the panel's lower rim up and over: 325 mm about a hub 200 above the rim.
    opening = 2.0 * math.asin(200.0 / 325.0)
    assert flat.length == pytest.approx(325.0 * (math.pi + opening), rel=1e-3)
    assert stretch.off == pytest.approx(0.0, abs=1e-6)
    assert flat.side == "left"
    assert not flat.is_closed
    assert flat.margin == MARGIN


def test_the_flat_line_is_the_same_shape_as_the_line_on_the_panel(flat: Template) -> None:
    line, paper = flat.line, flat.stretches[0].line
    apart = np.linalg.norm(line[:, None] - line[None], axis=2)
    assert np.linalg.norm(paper[:, None] - paper[None], axis=2) == pytest.approx(apart, abs=1e-6)


def test_the_waste_is_on_the_tyre_s_side(flat: Template) -> None:
    paper, waste = flat.stretches[0].line, flat.stretches[0].waste
    middle = paper[len(paper) // 2]
    hub = paper.mean(axis=0)
    assert np.linalg.norm(waste - hub) < np.linalg.norm(middle - hub)


def test_marks_lie_on_the_line_and_count_along_it(flat: Template) -> None:
    assert [mark.number for mark in flat.marks] == list(range(1, len(flat.marks) + 1))
    steps = np.diff([mark.along for mark in flat.marks])
    assert steps == pytest.approx(steps[0])
    assert steps[0] == pytest.approx(templates.MARK_EVERY, rel=0.1)
    for mark in flat.marks:
        radius = math.hypot(mark.place[0], mark.place[2] - 400.0)
        assert radius == pytest.approx(RADIUS + MARGIN, abs=0.5)


def test_tape_distances_on_a_flat_panel_are_straight_and_name_their_edge(flat: Template) -> None:
    top = max(flat.marks, key=lambda mark: mark.place[2])
    told = {offset.edge: offset.distance for offset in top.offsets}
    assert told["upper"] == pytest.approx(1100.0 - top.place[2], abs=0.1)
    first = flat.marks[0]
    edges = {offset.edge for mark in flat.marks for offset in mark.offsets}
    assert edges <= {"front", "rear", "upper", "lower"}
    for mark in (first, flat.marks[-1]):
        for offset in mark.offsets:
            assert offset.distance == pytest.approx(math.dist(mark.place, offset.place), abs=0.1)


def test_a_bulging_panel_is_parted_into_stretches_that_are_nearly_flat() -> None:
    (template,) = templates.of(trimmed(grid(bulge=1500.0)))
    assert len(template.stretches) > 1
    for stretch in template.stretches:
        length = np.linalg.norm(np.diff(stretch.line, axis=0), axis=1).sum()
        assert stretch.off <= templates.FLAT or length < 2.0 * templates.SHORTEST
    total = sum(np.linalg.norm(np.diff(s.line, axis=0), axis=1).sum() for s in template.stretches)
    assert total == pytest.approx(template.length, rel=0.01)
    begins = [stretch.begins for stretch in template.stretches]
    assert begins == sorted(begins)


def test_a_tape_over_a_bulge_is_longer_than_the_straight_way() -> None:
    (template,) = templates.of(trimmed(grid(bulge=900.0, count=121)))
    over = [
        (offset.distance, math.dist(mark.place, offset.place))
        for mark in template.marks
        for offset in mark.offsets
        if offset.edge in ("front", "rear")
    ]
    assert all(tape >= straight - 1e-9 for tape, straight in over)
    # On a cylinder of radius r the way round is longer than its chord c: 2 r asin(c / 2r), level ways only.
    level = [
        (offset.distance, math.dist(mark.place[:2], offset.place[:2]))
        for mark in template.marks
        for offset in mark.offsets
        if offset.edge in ("front", "rear") and abs(mark.place[2] - offset.place[2]) < 8.0
    ]
    for tape, chord in level:
        assert tape == pytest.approx(1800.0 * math.asin(chord / 1800.0), rel=3e-3)


def test_layouts_without_a_cut_have_no_template() -> None:
    layout = trimmed(grid())
    assert templates.of(trimming.untrimmed(layout, WING)) == ()
    left_out = replace(layout, panels={WING: replace(layout.panels[WING], kept=False)})
    assert templates.of(left_out) == ()

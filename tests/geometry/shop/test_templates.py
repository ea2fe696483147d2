"""Templates keep true lengths, marks lie on the line, and tape distances are what a tape says."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import trimming
from geometry.layout import Body, Layout, Limits, Mesh, Panel
from geometry.shop import templates
from geometry.shop.templates import Strip, Template

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


def test_a_flat_panel_s_template_is_of_true_size(flat: Template) -> None:
    on_paper = np.linalg.norm(np.diff(strip_of(flat).line, axis=0), axis=1).sum()
    assert on_paper == pytest.approx(flat.length)
    # An arc about the hub, from the panel's lower rim up and over: 325 mm about a hub 200 above the rim.
    opening = 2.0 * math.asin(200.0 / 325.0)
    assert flat.length == pytest.approx(325.0 * (math.pi + opening), rel=1e-3)
    assert strip_of(flat).off == pytest.approx(0.0, abs=1e-6)
    assert strip_of(flat).puckers == pytest.approx(0.0, abs=1e-6)
    assert strip_of(flat).is_flat
    assert flat.side == "left"
    assert not flat.is_closed
    assert flat.margin == MARGIN


def strip_of(template: Template) -> Strip:
    (strip,) = template.strips
    return strip


def gaps(points: np.ndarray) -> np.ndarray:
    return np.linalg.norm(points[:, None] - points[None], axis=2)


def test_the_flat_line_is_the_same_shape_as_the_line_on_the_panel(flat: Template) -> None:
    assert gaps(strip_of(flat).line) == pytest.approx(gaps(flat.line), abs=1e-6)
    # Seen from outside a left side's front is on the left: turning its line to the paper mirrors nothing.
    seen = np.stack([-flat.line[:, 0], flat.line[:, 2]], axis=1)
    assert turning(strip_of(flat).line) == pytest.approx(turning(seen), abs=1e-6)


def turning(line: np.ndarray) -> float:
    """Return twice the signed area between a line and its chord: mirrored lines have it negated."""
    x, y = (line - line[0]).T
    return float((x[:-1] * y[1:] - x[1:] * y[:-1]).sum())


@pytest.mark.parametrize("radius", [900.0, 1500.0])
def test_a_cylinder_is_unrolled(radius: float) -> None:
    (template,) = templates.of(trimmed(grid(bulge=radius, count=121)))
    x, _, z = template.line.T
    unrolled = np.stack([radius * np.arcsin(x / radius), z], axis=1)
    assert gaps(strip_of(template).line) == pytest.approx(gaps(unrolled), abs=0.3)
    assert strip_of(template).puckers < 0.1
    assert not strip_of(template).is_flat
    assert template.bare == ()


def test_rims_and_marks_keep_their_places_beside_the_unrolled_line() -> None:
    (template,) = templates.of(trimmed(grid(bulge=900.0, count=121)))
    strip = strip_of(template)
    places = dict(strip.marks)
    first = template.marks[0]  # on the lower rim
    assert min(np.linalg.norm(np.subtract(rim, places[first.number]), axis=1).min() for rim in strip.rims) < 5
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(strip.line, axis=0), axis=1))])
    for mark in template.marks:
        at = [np.interp(mark.along, along, strip.line[:, axis]) for axis in (0, 1)]
        assert places[mark.number] == pytest.approx(at, abs=0.2)


def ball(radius: float) -> Mesh:
    """A patch of a ball: it curves both ways."""
    count = 121
    x, z = radius * np.array(np.meshgrid(*2 * [np.linspace(-0.65, 0.65, count)]))
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    y = 800.0 + np.sqrt(radius**2 - x**2 - z**2)
    return Mesh(np.stack([x, y, z + 400.0], axis=-1).reshape(-1, 3), triangles)


@pytest.mark.parametrize(("radius", "lies"), [(1000.0, True), (100.0, False)])
def test_paper_does_not_lie_on_what_curves_both_ways_tightly(radius: float, lies: bool) -> None:
    layout = Layout(
        next_id=100,
        bodies={1: Body(1, "shell")},
        panels={WING: Panel(WING, "left front wing", 1, ball(radius))},
        limits=Limits(tyre_margin=MARGIN),
    )
    made = trimming.cut_for(layout, WING, lambda p: 10.0 + MARGIN - p[:, 0])  # a straight cut at x = 10
    (template,) = templates.of(trimming.set_trimmed(layout, [made]))
    # Beside a line on a ball the paper is too long, by w^2 / 2 r^2 of it at w to the side.
    expected = templates.PUCKER_OVER * templates.PUCKER_SIDE**2 / (2.0 * radius**2)
    if lies:
        assert strip_of(template).puckers == pytest.approx(expected, abs=0.05)
        assert template.bare == ()
    else:
        assert expected > templates.PUCKERS
        assert template.strips == ()
        assert template.bare == ((0.0, template.length),)


def test_a_long_line_is_parted_for_paper_that_can_be_handled_and_goes_on_where_it_stopped() -> None:
    layout = trimmed(grid())
    (one,) = templates.of(layout)
    runs = list(templates._runs(np.ones(1000, dtype=bool), 4.0 * np.arange(1001)))
    assert runs == [(0, 334), (334, 667), (667, 1000)]
    spoilt = np.ones(1000, dtype=bool)
    spoilt[[100, 130, 990]] = False  # what is left between two of them and at the end is too short
    assert list(templates._runs(spoilt, 4.0 * np.arange(1001))) == [
        (0, 100),
        (131, 418),
        (418, 704),
        (704, 990),
    ]
    assert (strip_of(one).begins, strip_of(one).ends) == (0.0, pytest.approx(one.length))


def test_the_waste_is_on_the_tyre_s_side(flat: Template) -> None:
    line, waste = strip_of(flat).line, strip_of(flat).waste
    middle = len(line) // 2
    way = line[middle + 1] - line[middle]
    inwards = line.mean(axis=0) - line[middle]
    assert np.sign(way[0] * inwards[1] - way[1] * inwards[0]) == waste


def test_marks_lie_on_the_line_and_count_along_it(flat: Template) -> None:
    assert [mark.number for mark in flat.marks] == list(range(1, len(flat.marks) + 1))
    along = [mark.along for mark in flat.marks]
    assert along[:-1] == pytest.approx(templates.MARK_EVERY * np.arange(len(along) - 1))
    assert along[-1] == pytest.approx(flat.length)
    assert templates.SHORT * templates.MARK_EVERY < along[-1] - along[-2] < 1.31 * templates.MARK_EVERY
    for mark in flat.marks:
        radius = math.hypot(mark.place[0], mark.place[2] - 400.0)
        assert radius == pytest.approx(RADIUS + MARGIN, abs=0.5)


def test_tape_distances_on_a_flat_panel_are_straight_and_name_their_edge(flat: Template) -> None:
    top = max(flat.marks, key=lambda mark: mark.place[2])
    told = {offset.edge: offset.distance for offset in top.offsets}
    assert told["upper"] == pytest.approx(1100.0 - top.place[2], abs=0.1)
    assert {offset.edge for mark in flat.marks for offset in mark.offsets} <= {
        "front",
        "rear",
        "upper",
        "lower",
    }
    for mark in flat.marks:
        for offset in mark.offsets:
            assert offset.distance == pytest.approx(math.dist(mark.place, offset.place), abs=0.1)
    for mark in (flat.marks[0], flat.marks[-1]):  # the line begins and ends on the lower rim
        assert (mark.offsets[0].edge, mark.offsets[0].distance) == ("lower", pytest.approx(0.0, abs=0.1))


def test_edges_are_named_by_where_they_face() -> None:
    def named(*rims: tuple[float, ...], inner: tuple[float, float, float]) -> list[str]:
        ends = np.array([((a, b, c), (d, e, f)) for a, b, c, d, e, f in rims], dtype=float)
        return templates.edge_names(ends, np.tile(inner, (len(ends), 1)).astype(float))

    side = ((500, 800, 0, 500, 800, 9), (-500, 800, 0, -500, 800, 9), (0, 790, 300, 9, 790, 300))
    assert named(*side, inner=(0.0, 800.0, 100.0)) == ["front", "rear", "upper"]
    roof = ((0, 600, 1500, 9, 600, 1500), (0, -600, 1500, 9, -600, 1500), (700, 0, 1510, 700, 9, 1510))
    assert named(*roof, inner=(0.0, 0.0, 1500.0)) == ["left", "right", "front"]
    # A flange that faces into the car belongs to the side it is at; an arch has the panel's rim beyond it.
    flange = (*side, (0, 780, 300, 9, 780, 300), (100, 800, 4, 100, 800, 12))
    inner = np.array([(0, 800, 100), (0, 800, 100), (0, 800, 100), (4, 800, 300), (0, 800, 8)], dtype=float)
    ends = np.array([(row[:3], row[3:]) for row in flange], dtype=float)
    assert templates.edge_names(ends, inner)[3:] == ["upper", "opening"]


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

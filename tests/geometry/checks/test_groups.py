"""Which tubes hang together, what they are tied to, and when that cannot be."""

import numpy as np
import pytest

from geometry import edits, fixing
from geometry.body import distance
from geometry.checks import findings, groups
from geometry.layout import Body, Landing, Layout, Mesh, Panel, Stock, Weld

FLOOR = Mesh(
    np.array([[-9000.0, -9000.0, 0.0], [9000.0, -9000.0, 0.0], [0.0, 9000.0, 0.0]]),
    np.array([[0, 1, 2]], np.int32),
)


def job(runs: list[list[edits.Item]]) -> tuple[Layout, list[int]]:
    layout = Layout(
        next_id=10,
        stocks={1: Stock(1, "45 x 2.5", 45.0, 2.5)},
        bodies={2: Body(2, "body")},
        panels={3: Panel(3, "floor", 2, FLOOR)},
    )
    tubes = []
    for run in runs:
        layout, tube = edits.add_tube(layout, run, 1)
        tubes.append(tube)
    return layout, tubes


def chain() -> tuple[Layout, list[int]]:
    """A tube, one that sits on it, one that shares a node with that, and one apart."""
    layout, (host,) = job([[(0.0, 0.0, 500.0), (1000.0, 0.0, 500.0)]])
    layout, post = edits.add_tube(layout, [Landing(host, 400.0), (400.0, 0.0, 900.0)], 1)
    layout, rail = edits.add_tube(layout, [layout.tubes[post].nodes[1], (900.0, 300.0, 900.0)], 1)
    layout, apart = edits.add_tube(layout, [(0.0, 900.0, 500.0), (500.0, 900.0, 500.0)], 1)
    return layout, [host, post, rail, apart]


def test_tubes_joined_by_nodes_and_landings_are_one_group() -> None:
    layout, (host, post, rail, apart) = chain()
    assert [group.tubes for group in groups.groups(layout)] == [(host, post, rail), (apart,)]


def test_tubes_joined_over_a_sleeve_are_one_group() -> None:
    layout, (host, *_) = chain()
    layout, half = edits.split_with_sleeve(layout, host, 700.0)
    assert any({host, half} <= set(group.tubes) for group in groups.groups(layout))


def test_a_tie_to_the_frame_is_shared_by_all_that_hang_together() -> None:
    layout, (host, post, rail, _) = chain()
    assert groups.tied_to_frame(layout) == frozenset()
    assert groups.tied_to_frame(fixing.set_tied(layout, [rail], "frame")) == {host, post, rail}
    assert groups.tied_to_frame(fixing.set_tied(layout, [rail], "body")) == frozenset()


def test_a_group_tied_to_body_and_frame_is_a_warning_that_names_both() -> None:
    layout, (host, _, rail, _) = chain()
    layout = fixing.set_tied(fixing.set_tied(layout, [host], "frame"), [rail], "body")
    (found,) = groups.findings(layout)
    assert (found.rule, found.severity, found.tubes) == ("group.tied_both", "warning", (rail, host))


def test_two_groups_may_be_tied_to_different_things() -> None:
    layout, (host, _, _, apart) = chain()
    layout = fixing.set_tied(fixing.set_tied(layout, [host], "frame"), [apart], "body")
    assert groups.findings(layout) == ()


def test_a_weld_to_a_panel_ties_to_the_body_as_well() -> None:
    layout, (host, post, _, _) = chain()
    layout = fixing.set_tied(layout, [host], "frame")
    layout = fixing.add_weld(layout, post, Weld(3, 0.0, 50.0))
    (found,) = groups.findings(layout)
    assert (found.tubes, found.panels) == ((post, host), (3,))
    assert "welded to {panel}" in found.message
    left_out = edits.set_panel(layout, 3, kept=False)
    assert groups.findings(left_out) == ()


def test_one_tube_tied_to_the_frame_and_welded_to_the_body_is_said_to_be_both() -> None:
    layout, (*_, apart) = chain()
    layout = fixing.add_weld(fixing.set_tied(layout, [apart], "frame"), apart, Weld(3))
    (found,) = groups.findings(layout)
    assert found.tubes == (apart,)
    assert "{other}" not in found.message


def test_more_tied_tubes_are_counted_and_listed() -> None:
    layout, (host, post, rail, _) = chain()
    layout = fixing.set_tied(fixing.set_tied(layout, [host, post], "frame"), [rail], "body")
    (found,) = groups.findings(layout)
    assert found.tubes == (rail, host, post)
    assert "(1 more of their group is tied as well)" in found.message


@pytest.mark.parametrize("tied", ["frame", "body", "neither"])
def test_a_tie_far_away_in_the_group_has_its_tubes_judged_again(tied: str) -> None:
    layout, (_, _, rail, _) = chain()
    index = distance.build(layout)
    layout = fixing.set_tied(layout, [rail], "frame" if tied != "frame" else "neither")
    first = findings.check(layout, index)
    after = fixing.set_tied(layout, [rail], tied)
    second = findings.check(after, index, first)
    fresh = findings.check(after, index)
    assert second.nearest == fresh.nearest
    assert second.findings == fresh.findings

"""What is checked again and what is taken from the previous report."""

import string

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, fixing
from geometry.body import distance
from geometry.checks import clearance, findings
from geometry.checks.finding import Mend
from geometry.checks.findings import Report
from geometry.checks.report import SEVERITIES
from geometry.layout import Body, Die, Landing, Layout, Limits, Mesh, Node, Panel, Stock, Tube

FLOOR = Mesh(
    np.array([[-2000.0, -2000.0, 0.0], [4000.0, -2000.0, 0.0], [0.0, 4000.0, 0.0]]),
    np.array([[0, 1, 2]], np.int32),
)


def cage(tubes: int = 5) -> Layout:
    """Bent tubes side by side over a floor, each a little lower than the one before; one cuts in."""
    nodes, laid = {}, {}
    for number in range(tubes):
        y, z = 300.0 * number, 90.0 - 20.0 * number
        ids = tuple(100 + 10 * number + i for i in range(3))
        for id, x, up in zip(ids, (-500.0, 0.0, 500.0), (0.0, 0.0, 300.0), strict=True):
            nodes[id] = Node(id, (x, y, z + up))
        laid[number + 1] = Tube(number + 1, f"T{number + 1}", ids, 50)
    return Layout(
        nodes=nodes,
        tubes=laid,
        stocks={50: Stock(50, "45 x 2.5", 45.0, 2.5)},
        dies={51: Die(51, "former", 45.0, 150.0)},
        bodies={52: Body(52, "body")},
        panels={53: Panel(53, "floor", 52, FLOOR), 54: Panel(54, "floor again", 52, FLOOR)},
    )


def moved(layout: Layout, node: int, up: float) -> Layout:
    old = layout.nodes[node]
    x, y, z = old.position
    return replace(layout, nodes={**layout.nodes, node: replace(old, position=(x, y, z + up))})


def same(first: Report, second: Report) -> bool:
    return (first.clearances, first.nearest, first.findings, first.checked) == (
        second.clearances,
        second.nearest,
        second.findings,
        second.checked,
    )


@pytest.fixture
def measured(monkeypatch: pytest.MonkeyPatch) -> list[list[int]]:
    """The tubes of each search for clearances."""
    asked: list[list[int]] = []
    inner = clearance.measured

    def watched(layout, index, tubes):  # type: ignore[no-untyped-def]
        asked.append(sorted(tubes))
        return inner(layout, index, tubes)

    monkeypatch.setattr(clearance, "measured", watched)
    return asked


def test_only_tubes_whose_inputs_changed_are_measured_again(measured: list[list[int]]) -> None:
    layout = cage()
    index = distance.build(layout)
    first = findings.check(layout, index)
    after = moved(layout, 111, 4.0)
    second = findings.check(after, index, first)
    assert measured == [[1, 2, 3, 4, 5], [2]]
    assert same(second, findings.check(after, index))


def test_nothing_is_measured_again_for_a_name_or_a_colour(measured: list[list[int]]) -> None:
    layout = cage()
    index = distance.build(layout)
    first = findings.check(layout, index)
    painted = replace(layout, panels={**layout.panels, 53: replace(layout.panels[53], colour="#808080")})
    second = findings.check(painted, distance.build(painted, index), first)
    assert measured[1] == []
    assert same(first, second)


@pytest.mark.parametrize("kept", [1, 54], ids=["another tube", "a panel left out"])
def test_what_others_ask_for_has_no_say_in_what_is_said_of_a_tube(
    kept: int, measured: list[list[int]]
) -> None:
    layout = edits.set_panel(cage(), 54, kept=False)
    index = distance.build(layout)
    first = findings.check(layout, index)
    after = fixing.set_standoff(layout, [kept], closest=90.0, farthest=200.0)
    second = findings.check(after, index, first)
    assert measured[1] == [1] * (kept == 1)
    assert same(second, findings.check(after, index))


@pytest.mark.parametrize(
    "change",
    [
        {"limits": Limits(scan_error=0.0)},
        {"stocks": {50: Stock(50, "45 x 2.5", 45.0, 2.5, stick=500.0)}},
        {"dies": {}},
        {"panels": {}},
    ],
    ids=["limits", "stock", "dies", "panels"],
)
def test_what_all_tubes_hang_on_has_all_checked_again(change: dict[str, object]) -> None:
    layout = cage()
    index = distance.build(layout)
    first = findings.check(layout, index)
    after = replace(layout, **change)
    now = distance.build(after, index)
    assert same(findings.check(after, now, first), findings.check(after, now))
    assert not same(findings.check(after, now), first)


def test_what_mends_a_tube_is_looked_for_again_where_another_one_comes_to_sit_on_it() -> None:
    layout = Layout(
        next_id=100,
        nodes={1: Node(1, (0.0, 0.0, 900.0)), 2: Node(2, (4000.0, 0.0, 900.0))},
        tubes={20: Tube(20, "T1", (1, 2), 50)},
        stocks={50: Stock(50, "45 x 2.5", 45.0, 2.5, stick=3000.0)},
    )
    first = findings.check(layout, {})
    after, _ = edits.add_tube(layout, [Landing(20, 2000.0), (2000.0, 500.0, 900.0)], 50)
    second = findings.check(after, {}, first)
    assert same(second, findings.check(after, {}))
    assert mend_of(first).amount == pytest.approx(2000.0)
    assert mend_of(second).amount != pytest.approx(2000.0)


def mend_of(report: Report) -> Mend:
    (mend,) = [found.mend for found in report.findings if found.mend]
    return mend


def test_tubes_not_asked_for_keep_old_figures_and_do_not_count_as_checked() -> None:
    layout = cage()
    index = distance.build(layout)
    first = findings.check(layout, index)
    after = moved(moved(layout, 101, 30.0), 121, 30.0)
    part = findings.check(after, index, first, frozenset({1}))
    assert part.checked == {1, 2, 4, 5}
    assert part.nearest[3] == first.nearest[3]
    assert part.nearest[1] == findings.check(after, index).nearest[1]
    rest = findings.check(after, index, part)
    assert same(rest, findings.check(after, index))


def test_a_tube_that_is_gone_leaves_nothing_behind() -> None:
    layout = cage()
    index = distance.build(layout)
    first = findings.check(layout, index)
    after = replace(layout, tubes={id: tube for id, tube in layout.tubes.items() if id != 5})
    second = findings.check(after, index, first, frozenset())
    assert 5 in first.checked
    assert same(second, findings.check(after, index))


steps = st.lists(
    st.tuples(st.integers(0, 4), st.integers(0, 2), st.floats(-60.0, 60.0), st.booleans()),
    min_size=1,
    max_size=6,
)


@settings(max_examples=25)
@given(steps)
def test_any_walk_of_partial_checks_ends_where_a_fresh_check_ends(
    steps: list[tuple[int, int, float, bool]],
) -> None:
    layout = cage()
    index = distance.build(layout)
    report = findings.check(layout, index)
    for tube, node, up, is_asked in steps:
        layout = moved(layout, 100 + 10 * tube + node, up)
        report = findings.check(layout, index, report, frozenset({tube + 1} if is_asked else {}))
    assert same(findings.check(layout, index, report), findings.check(layout, index))


def test_findings_come_worst_first() -> None:
    layout = cage()
    report = findings.check(layout, distance.build(layout))
    order = [SEVERITIES.index(found.severity) for found in report.findings]
    assert order == sorted(order)
    assert report.findings[0].rule == "clearance.crossing"


def test_the_sentences_have_their_figures() -> None:
    layout = cage()
    report = findings.check(layout, distance.build(layout))
    assert {found.rule for found in report.findings} >= {"clearance.crossing", "clearance.too_close"}
    for found in report.findings:
        slots = {name for _, name, _, _ in string.Formatter().parse(found.message) if name}
        assert slots <= {"tube", "panel", "value", "limit", "difference", *found.amounts, *found.words}


def test_a_layout_without_a_body_says_so_once_it_has_tubes() -> None:
    layout = replace(cage(), panels={})
    assert [found.rule for found in findings.check_layout(layout).findings] == ["body.no_panels"]
    assert findings.check_layout(Layout()).findings == ()


def test_checking_a_layout_from_nothing_reports_progress_and_carries_no_layout() -> None:
    said: list[float] = []
    report = findings.check_layout(cage(), lambda done, doing: said.append(done))
    assert said == sorted(said)
    assert said
    assert report.basis is None
    assert report.checked == {1, 2, 3, 4, 5}

"""Checks beside the window: what arrives, in which order, and what is left alive."""

import os
import signal
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot

from app import check_process, layout_changes, live_checks
from app.check_process import Answer, Nudge, Request
from app.live_checks import ENDED_ONCE, ENDED_TWICE, LiveChecks
from geometry.body import distance
from geometry.checks import findings
from geometry.checks.findings import Report
from geometry.layout import Body, Die, Layout, Limits, Mesh, Node, Panel, Placement, Stock, Tube

LONG = 30_000  # ms; a busy machine starts a process slowly


def cage(tubes: int = 4) -> Layout:
    floor = Mesh(
        np.array([[-2000.0, -2000.0, 0.0], [4000.0, -2000.0, 0.0], [0.0, 4000.0, 0.0]]),
        np.array([[0, 1, 2]], np.int32),
    )
    nodes, laid = {}, {}
    for number in range(tubes):
        ids = tuple(100 + 10 * number + i for i in range(3))
        for id, x, up in zip(ids, (-500.0, 0.0, 500.0), (0.0, 0.0, 300.0), strict=True):
            nodes[id] = Node(id, (x, 300.0 * number, 90.0 - 20.0 * number + up))
        laid[number + 1] = Tube(number + 1, f"T{number + 1}", ids, 50)
    return Layout(
        nodes=nodes,
        tubes=laid,
        stocks={50: Stock(50, "45 x 2.5", 45.0, 2.5)},
        dies={51: Die(51, "former", 45.0, 150.0)},
        bodies={52: Body(52, "body")},
        panels={53: Panel(53, "floor", 52, floor)},
    )


def moved(layout: Layout, node: int, up: float) -> Layout:
    x, y, z = layout.nodes[node].position
    return replace(layout, nodes={**layout.nodes, node: Node(node, (x, y, z + up))})


def same(first: Report, second: Report) -> bool:
    names = ("clearances", "nearest", "findings", "checked")
    return all(getattr(first, name) == getattr(second, name) for name in names)


def checked_here(layout: Layout) -> Report:
    index = distance.build(layout)
    report, is_whole = findings.completed(layout, index, {}, findings.check(layout, index), lambda: True)
    assert is_whole
    return report


class Watched:
    """Live checks with all that they said, in order."""

    def __init__(self, qtbot: QtBot) -> None:
        self.checks = LiveChecks()
        self.reports: list[tuple[int, Report]] = []
        self.failures: list[str] = []
        self.busy: list[bool] = []
        self.checks.ready.connect(self._on_ready)
        self.checks.failed.connect(self.failures.append)
        self.checks.busy_changed.connect(self.busy.append)
        self._bot = qtbot

    def _on_ready(self, revision: int, report: Report) -> None:
        self.reports.append((revision, report))

    def until(self, is_so: Callable[[], bool]) -> None:
        self._bot.waitUntil(is_so, timeout=LONG)

    def until_whole(self, revision: int) -> Report:
        self.until(lambda: not self.checks.is_busy)
        assert self.reports[-1][0] == revision
        return self.reports[-1][1]


@pytest.fixture
def watched(qtbot: QtBot) -> Iterator[Watched]:
    watched = Watched(qtbot)
    yield watched
    watched.checks.stop()


def test_a_layout_gets_the_report_that_a_check_here_gives(watched: Watched) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    report = watched.until_whole(1)
    assert same(report, checked_here(layout))
    assert watched.busy == [True, False]
    assert watched.failures == []


def test_while_dragging_the_newest_layout_wins(watched: Watched) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    watched.until_whole(1)
    watched.reports.clear()
    for revision in range(2, 42):
        layout = moved(layout, 101, 1.0)
        watched.checks.request(revision, layout)
    report = watched.until_whole(41)
    revisions = [revision for revision, _ in watched.reports]
    assert revisions == sorted(revisions)
    assert len(revisions) < 40
    assert same(report, checked_here(layout))


def test_the_tubes_under_the_hand_come_first_and_the_rest_follows(watched: Watched) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    watched.until_whole(1)
    watched.reports.clear()
    # Two tubes change; the hand holds one of them.
    watched.checks.request(2, moved(moved(layout, 101, 7.0), 121, 7.0), frozenset({1}))
    report = watched.until_whole(2)
    assert [sorted(report.checked) for _, report in watched.reports] == 2 * [[1, 2, 4]] + 2 * [[1, 2, 3, 4]]
    assert report.nearest[1] == watched.reports[0][1].nearest[1]


def test_requests_that_replace_one_another_keep_all_their_tubes(watched: Watched) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    watched.until_whole(1)
    watched.reports.clear()
    for revision, node in ((2, 101), (3, 111), (4, 121)):
        layout = moved(layout, node, 5.0)
        watched.checks.request(revision, layout)
    watched.until(lambda: watched.reports[-1:] != [] and watched.reports[-1][0] == 4)
    assert watched.reports[-1][1].checked == {1, 2, 3, 4}


def test_a_hand_that_moves_tubes_goes_before_a_whole_layout_that_waits() -> None:
    layout = cage()
    whole = live_checks._Asked(1, layout, None)
    first, second = (live_checks._Asked(i, layout, frozenset({i})) for i in (2, 3))
    assert first.after(whole).tubes == {2}
    assert second.after(first.after(whole)).tubes == {2, 3}
    assert whole.after(second).tubes is None


@pytest.mark.parametrize(
    "change",
    [
        {"limits": Limits(standoff_closest=60.0)},
        {"bodies": {52: Body(52, "body", Placement(shift=(0.0, 0.0, -40.0)))}},
        {"panels": {}},
        {"dies": {}},
        {"tubes": {}},
    ],
    ids=["limits", "placement", "panels", "dies", "tubes"],
)
def test_every_change_reaches_the_checks_and_can_be_undone(watched: Watched, change: dict[str, Any]) -> None:
    layout = cage()
    after = replace(layout, **change)
    for revision, shown in enumerate((layout, after, layout), start=1):
        watched.checks.request(revision, shown)
        assert same(watched.until_whole(revision), checked_here(shown))


def test_reports_of_another_job_are_dropped(watched: Watched) -> None:
    watched.checks.request(1, cage())
    watched.checks.request(2, cage(2))
    watched.checks.forget_before(2)
    assert watched.until_whole(2).checked == {1, 2}
    assert [revision for revision, _ in watched.reports] == [2] * len(watched.reports)


def test_a_process_that_is_killed_is_reported_and_started_again(watched: Watched) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    watched.until_whole(1)
    first = watched.checks.process_id
    assert first is not None
    os.kill(first, signal.SIGKILL)
    watched.until(lambda: watched.failures == [ENDED_ONCE])
    layout = moved(layout, 101, 3.0)
    watched.checks.request(2, layout)
    assert same(watched.until_whole(2), checked_here(layout))
    assert watched.checks.process_id not in (None, first)
    assert watched.failures == [ENDED_ONCE]


def test_a_layout_that_ends_the_process_twice_is_given_up_until_the_next_change(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    watched.until_whole(1)
    deadly = moved(layout, 101, 3.0)
    inner = live_checks._Process.answer

    def killed(process: Any, asked: Any, woken: Any, deliver: Any) -> Answer:
        if asked.layout is deadly:
            process.kill()
        return inner(process, asked, woken, deliver)

    monkeypatch.setattr(live_checks._Process, "answer", killed)
    watched.checks.request(2, deadly)
    watched.until(lambda: watched.failures[-1:] == [ENDED_TWICE] and not watched.checks.is_busy)
    watched.checks.request(3, layout)
    assert watched.until_whole(3).checked == {1, 2, 3, 4}


def test_a_check_that_fails_says_so_once_and_the_next_change_is_checked(watched: Watched) -> None:
    broken = replace(cage(), stocks={})  # a tube of no stock: a fault of ours
    watched.checks.request(1, broken)
    watched.until(lambda: not watched.checks.is_busy)
    watched.checks.request(2, moved(broken, 101, 1.0))
    watched.until(lambda: not watched.checks.is_busy)
    assert watched.failures == [live_checks.CHECK_FAILED]
    watched.checks.request(3, cage())
    assert watched.until_whole(3).checked == {1, 2, 3, 4}


def test_stopping_at_any_time_leaves_nothing_alive(qtbot: QtBot) -> None:
    for wait_for in (None, "started", "asked", "done"):
        watched = Watched(qtbot)
        if wait_for:
            watched.until(lambda checks=watched.checks: checks.process_id is not None)
        if wait_for in ("asked", "done"):
            watched.checks.request(1, cage())
        if wait_for == "done":
            watched.until_whole(1)
        watched.checks.stop()
        watched.checks.stop()
        watched.checks.request(2, cage())
        assert watched.checks.process_id is None


# The two ends without a process between them.


class Wire:
    """A connection whose other end is a list."""

    def __init__(self, nudges: bool = False) -> None:
        self.sent: list[bytes] = []
        self.nudges = nudges

    def send_bytes(self, data: Any) -> None:
        self.sent.append(bytes(data))

    def recv_bytes(self) -> bytes:
        return self.sent.pop(0)

    def poll(self, timeout: float = 0.0) -> bool:
        return self.nudges


def request(before: Layout, after: Layout, tubes: frozenset[int] | None = None) -> Request:
    return Request(1, layout_changes.between(before, after, lambda mesh: 7), tubes, (7,), ())


def test_a_nudge_ends_the_check_of_a_whole_layout_but_not_of_tubes_asked_for() -> None:
    layout = cage()
    for tubes, is_answered in ((None, False), (frozenset({1}), True)):
        wire: Any = Wire(nudges=True)
        check_process.send_mesh(wire, layout.panels[53].mesh)
        answer = check_process._Judge(wire).answer(request(Layout(), layout, tubes))
        assert (answer.report is not None) is is_answered
        assert answer.error is None


def test_triangles_travel_unchanged() -> None:
    wire: Any = Wire()
    mesh = cage().panels[53].mesh
    check_process.send_mesh(wire, mesh)
    judge = check_process._Judge(wire)
    judge.answer(request(Layout(), cage()))
    arrived = judge._layout.panels[53].mesh
    assert np.array_equal(arrived.vertices, mesh.vertices)
    assert np.array_equal(arrived.triangles, mesh.triangles)


def test_a_change_leads_from_one_layout_to_the_other_and_carries_only_what_is_new() -> None:
    before, after = cage(), moved(cage(5), 101, 2.0)
    after = replace(after, tubes={id: tube for id, tube in after.tubes.items() if id != 2})
    mesh = after.panels[53].mesh
    change = layout_changes.between(before, after, lambda mesh: 3)
    assert change.tables["panels"].entries[53].mesh is not mesh
    arrived = layout_changes.applied(before, change, {3: mesh})
    for name in ("nodes", "tubes", "bodies", "stocks", "dies", "limits"):
        assert getattr(arrived, name) == getattr(after, name)
    assert arrived.panels[53].mesh is mesh
    small = layout_changes.between(after, moved(after, 101, 1.0), lambda mesh: 3)
    assert list(small.tables) == ["nodes"]
    assert list(small.tables["nodes"].entries) == [101]
    assert Nudge() == Nudge()


def test_every_table_that_is_judged_travels() -> None:
    tables = [name for name in Layout.__struct_fields__ if isinstance(getattr(Layout(), name), dict)]
    not_judged = ["measures", "snapshots"]
    assert sorted((*layout_changes.TABLES, *not_judged)) == sorted(tables)


class Busy(Wire):
    """A connection on which something newer turns up after some looks."""

    def __init__(self, looks: int) -> None:
        super().__init__()
        self.looks = looks

    def poll(self, timeout: float = 0.0) -> bool:
        self.looks -= 1
        return self.looks < 0


def test_what_takes_longer_ends_early_when_something_newer_waits_and_says_so() -> None:
    layout = cage(2)
    for looks, is_answered in ((3, False), (99, True)):
        wire: Any = Busy(looks)
        check_process.send_mesh(wire, layout.panels[53].mesh)
        judge = check_process._Judge(wire)
        asked = request(Layout(), layout)
        first = judge.answer(asked)
        assert first.follows
        assert not first.is_second
        second = judge.second_answer(asked)
        assert second.is_second
        assert not second.follows
        assert (second.report is not None) is is_answered


def test_a_panel_that_goes_after_the_last_tube_is_no_fault() -> None:
    wire: Any = Wire()
    layout = cage()
    check_process.send_mesh(wire, layout.panels[53].mesh)
    judge = check_process._Judge(wire)
    judge.answer(request(Layout(), layout))
    bare = replace(layout, tubes={}, nodes={}, panels={})
    asked = replace(request(layout, bare), meshes=())
    assert judge.answer(asked).error is None
    second = judge.second_answer(asked)
    assert second.error is None
    assert second.report is not None


def test_a_fault_in_what_takes_longer_is_said_and_ends_the_waiting(
    watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    inner = live_checks._Process._deliver_second

    def failed(process: Any, answer: Answer, deliver: Any) -> None:
        inner(process, Answer(answer.revision, error="a fault", is_second=True), deliver)

    monkeypatch.setattr(live_checks._Process, "_deliver_second", failed)
    watched.checks.request(1, cage())
    watched.until(lambda: not watched.checks.is_busy)
    assert watched.failures == [live_checks.CHECK_FAILED]
    assert [report.checked for _, report in watched.reports] == [{1, 2, 3, 4}]


def test_profiles_travel_once_and_every_report_has_them_all(watched: Watched) -> None:
    layout = cage()
    watched.checks.request(1, layout)
    first = watched.until_whole(1)
    assert set(first.profiles) == {1, 2, 3, 4}
    watched.checks.request(2, moved(layout, 101, 3.0))
    second = watched.until_whole(2)
    assert [id for id in first.profiles if second.profiles[id] is first.profiles[id]] == [2, 3, 4]
    expected = checked_here(moved(layout, 101, 3.0)).profiles
    for id, known in second.profiles.items():
        assert np.array_equal(known.clearances, expected[id].clearances)

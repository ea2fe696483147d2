"""What follows a check: each part is done again only for what it hangs on, and says its own anew."""

from collections.abc import Iterable
from typing import Any

import pytest
from msgspec.structs import replace

from geometry import edits
from geometry.body import distance
from geometry.body.distance import BodyIndex
from geometry.checks import completing, findings, moving, profile, tyres
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.checks.tyres import Envelopes
from geometry.layout import Hinge, Layout, Limits, Node, Tube
from tests.geometry.checks.test_findings import cage, moved

Call = tuple[str, list[int], list[int]]


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[Call]:
    """What each part was asked to measure: its name, panels or tyres, tubes."""
    asked: list[Call] = []

    def profiles(_layout: Layout, _index: BodyIndex, tubes: Iterable[int]) -> dict[int, Any]:
        asked.append(("profiles", [], list(tubes)))
        return dict.fromkeys(tubes, "a profile")

    def touches(_layout: Layout, _index: BodyIndex, panels: Iterable[int], tubes: Iterable[int]) -> tuple:
        if list(panels) and list(tubes):
            asked.append(("doors", list(panels), list(tubes)))
        return ()

    def rows(_layout: Layout, envelopes: Envelopes, tubes: Iterable[int]) -> tuple:
        if envelopes and list(tubes):
            asked.append(("tyres", [axle for axle, _ in envelopes], list(tubes)))
        return ()

    monkeypatch.setattr(profile, "measured", profiles)
    monkeypatch.setattr(moving, "measured", touches)
    monkeypatch.setattr(tyres, "against_tubes", rows)
    monkeypatch.setattr(tyres, "against_panels", lambda *_: ())
    monkeypatch.setattr(completing.standing_off, "findings", lambda *_: ())
    return asked


def completed(layout: Layout, index: BodyIndex, report: Report, envelopes: Envelopes | None = None) -> Report:
    checked = findings.check(layout, index, report)
    after, is_whole = findings.completed(layout, index, envelopes or {}, checked, lambda: True)
    assert is_whole
    return after


def with_door(layout: Layout, angle: float = 1.0) -> Layout:
    door = replace(layout.panels[54], motion=Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 900.0), angle))
    return replace(layout, panels={**layout.panels, 54: door})


def test_each_part_is_done_again_only_for_tubes_that_changed(calls: list[Call]) -> None:
    layout = with_door(cage())
    index = distance.build(layout)
    report = completed(layout, index, Report())
    assert calls == [("profiles", [], [1, 2, 3, 4, 5]), ("doors", [54], [1, 2, 3, 4, 5])]
    calls.clear()
    report = completed(layout, index, report)
    assert calls == []
    completed(moved(layout, 111, 4.0), index, report)
    assert calls == [("profiles", [], [2]), ("doors", [54], [2])]


def test_a_door_that_opens_otherwise_is_swept_again_past_all_tubes(calls: list[Call]) -> None:
    layout = with_door(cage())
    index = distance.build(layout)
    report = completed(layout, index, Report())
    calls.clear()
    wider = with_door(layout, angle=1.2)
    carried = replace(wider, panels={**wider.panels, 53: replace(wider.panels[53], moves_with=54)})
    completed(carried, index, report)
    assert calls == [("doors", [53, 54], [1, 2, 3, 4, 5])]


def test_a_tyre_that_is_new_is_held_against_all_tubes(calls: list[Call]) -> None:
    layout, old, new = cage(), object(), object()
    index = distance.build(layout)
    report = completed(layout, index, Report(), {(7, "left"): old})  # type: ignore[dict-item]
    calls.clear()
    both: Any = {(7, "left"): old, (8, "left"): new}
    report = completed(moved(layout, 111, 4.0), index, report, both)
    assert calls[1:] == [("tyres", [8], [1, 2, 3, 4, 5]), ("tyres", [7], [2])]


def test_limits_that_change_have_everything_done_again(calls: list[Call]) -> None:
    layout = with_door(cage())
    index = distance.build(layout)
    report = completed(layout, index, Report())
    calls.clear()
    completed(replace(layout, limits=Limits(swing_margin=40.0)), index, report)
    assert calls == [("profiles", [], [1, 2, 3, 4, 5]), ("doors", [54], [1, 2, 3, 4, 5])]


def test_what_was_said_stays_until_it_is_said_anew_and_goes_with_its_tube(
    calls: list[Call], monkeypatch: pytest.MonkeyPatch
) -> None:
    layout = with_door(cage())
    index = distance.build(layout)
    said = Finding("door.hits", "error", "", (2,), panels=(54,))
    monkeypatch.setattr(moving, "findings", lambda *_: (said,))
    report = completed(layout, index, Report())
    assert said in report.findings
    after = moved(layout, 111, 4.0)
    checked = findings.check(after, index, report)
    assert said in checked.findings
    monkeypatch.setattr(moving, "findings", lambda *_: ())
    assert said not in completed(after, index, checked).findings
    gone = replace(layout, tubes={id: tube for id, tube in layout.tubes.items() if id != 2})
    assert said not in findings.check(gone, index, report).findings


def test_a_part_that_was_left_out_catches_up(calls: list[Call]) -> None:
    layout = with_door(cage())
    index = distance.build(layout)
    looks = iter((True, False))
    part, is_whole = findings.completed(layout, index, {}, findings.check(layout, index), lambda: next(looks))
    assert not is_whole
    assert [name for name, _, _ in calls] == ["profiles"]
    completed(layout, index, part)
    assert [name for name, _, _ in calls] == ["profiles", "doors"]


def test_what_goes_and_comes_back_before_all_is_done_is_found_again() -> None:
    layout = cage()
    ends = {id: Node(id, (-300.0, y, 70.0)) for id, y in ((200, -100.0), (201, 700.0))}
    layout = replace(layout, nodes={**layout.nodes, **ends})
    layout = replace(layout, tubes={**layout.tubes, 6: Tube(6, "T6", (200, 201), 50)})
    rising = Hinge((-2000.0, 0.0, 0.0), (-2000.0, 900.0, 0.0), -1.0)
    opening = replace(layout.panels[54], motion=rising)
    layout = replace(layout, panels={**layout.panels, 54: opening})
    index = distance.build(layout)
    whole = completed(layout, index, Report())
    assert whole.pairs
    assert whole.touches
    for gone in (6, 1, 54, 53):
        missing = edits.delete(layout, [gone])
        checked = findings.check(missing, distance.build(missing, index), whole)
        again = completed(layout, index, checked)
        assert (again.pairs, again.touches) == (whole.pairs, whole.touches)
        assert again.findings == whole.findings

"""Versions in their tab: taken, compared, gone back to, renamed, deleted, and other jobs beside them."""

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QTreeWidgetItem
from pytestqt.qtbot import QtBot

from app import wording
from app.panels import version_rows
from app.panels.versions import MASS, NAME, TUBES, VersionsPanel, when
from app.session import Session
from app.units import INCHES, MILLIMETRES
from geometry import comparing, edits
from geometry.checks import findings
from geometry.files import job
from geometry.layout import Layout
from geometry.shop import schedule

LEFT, NO_KEY = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
CONTROL = Qt.KeyboardModifier.ControlModifier
ENOUGH = 20_000  # ms for a check in a process of its own on a busy machine


@pytest.fixture
def panel(qtbot: QtBot, session: Session):
    panel = VersionsPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(760, 200)
    panel.show()
    yield panel
    panel.stop()


def items(panel: VersionsPanel) -> list[QTreeWidgetItem]:
    found = [panel.list.topLevelItem(number) for number in range(panel.list.topLevelItemCount())]
    return [item for item in found if item is not None]


def names(panel: VersionsPanel) -> list[str]:
    return [item.text(NAME) for item in items(panel)]


def click(qtbot: QtBot, panel: VersionsPanel, name: str, keys: Qt.KeyboardModifier = NO_KEY) -> None:
    item = items(panel)[names(panel).index(name)]
    qtbot.mouseClick(panel.list.viewport(), LEFT, keys, panel.list.visualItemRect(item).center())


def take(qtbot: QtBot, panel: VersionsPanel, name: str) -> None:
    panel.begin()
    qtbot.keyClicks(panel.name, name)
    qtbot.keyClick(panel.name, Qt.Key.Key_Return)


def table(panel: VersionsPanel) -> list[list[str]]:
    while panel._slice.isActive():
        QApplication.processEvents()
    rows = [panel.table.topLevelItem(number) for number in range(panel.table.topLevelItemCount())]
    return [[row.text(column) for column in range(5)] for row in rows if row is not None]


def raise_hoop(session: Session, by: float = 40.0) -> None:
    tube = next(tube for tube in session.layout.tubes.values() if tube.name == "Hoop")
    session.apply("Raise", lambda now: edits.move_nodes(now, tube.nodes[1:3], (0.0, 0.0, by)))


def test_enter_keeps_the_layout_under_the_typed_name(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    before = session.layout
    assert panel.name.text() == "Version 1"
    take(qtbot, panel, "First cage")
    (kept,) = session.layout.snapshots.values()
    assert kept.name == "First cage"
    assert kept.layout.tubes is before.tubes
    assert names(panel) == ["Now", "First cage"]
    assert session.undo_stack.undoText() == "Take snapshot First cage"
    now, first = items(panel)
    assert first.text(TUBES) == now.text(TUBES) == "2"
    assert first.text(MASS) == f"{comparing.mass(before):.2f}"
    assert panel.name.text() == "Version 2"
    session.undo()
    assert names(panel) == ["Now"]


def test_a_name_of_blanks_is_refused_with_a_sentence(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    with qtbot.waitSignal(session.refused) as said:
        take(qtbot, panel, "   ")
    assert said.args[0].endswith(".")
    assert not session.layout.snapshots


def test_no_snapshot_is_taken_of_what_is_still_under_the_hand(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    session.preview(edits.rename_job(session.layout, "Other"))
    with qtbot.waitSignal(panel.refused):
        panel.take()
    assert not session.layout.snapshots


def test_what_has_changed_since_is_shown_and_follows(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    take(qtbot, panel, "First")
    assert table(panel)[0][:3] == ["All tubes", "2", "2"]
    assert panel.words.text().startswith("No tube differs")
    raise_hoop(session)
    qtbot.waitUntil(lambda: len(table(panel)) > 2 and table(panel)[1][0] == "Hoop")
    rows = table(panel)
    assert rows[1][1] == "40 mm"
    before, after = rows[1][3].split(version_rows.ARROW)
    assert int(after) - int(before) == 80
    assert version_rows.ARROW in rows[0][4]
    tip = panel.table.topLevelItem(0).toolTip(0)  # type: ignore[union-attr]
    assert tip.startswith("Mass +")
    assert tip.endswith("blanks +80.0 mm, the second against the first.")
    assert "1 the same" in panel.words.text() or "0 the same" in panel.words.text()
    panel.set_units(INCHES)
    assert table(panel)[1][1].endswith("in")


def test_blanks_are_those_of_the_schedule(qtbot: QtBot, panel: VersionsPanel, session: Session) -> None:
    take(qtbot, panel, "First")
    raise_hoop(session, 40.0 / 3.0)
    qtbot.waitUntil(lambda: len(table(panel)) > 2 and table(panel)[1][0] == "Hoop")
    layout = session.layout
    records = schedule.build(layout).records
    sawn = {each.name: wording.blank_text(each, layout, MILLIMETRES, unit=False) for each in records}
    assert table(panel)[1][3].split(version_rows.ARROW)[-1] == sawn["Hoop"]
    whole = table(panel)[0][3].split(version_rows.ARROW)[-1]
    assert int(whole) == sum(map(int, sawn.values()))


def test_two_snapshots_are_held_against_each_other_the_older_first(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    take(qtbot, panel, "First")
    raise_hoop(session)
    take(qtbot, panel, "Second")
    raise_hoop(session, 100.0)
    click(qtbot, panel, "First")
    click(qtbot, panel, "Second", CONTROL)
    pair = panel.pair()
    assert pair is not None
    assert [version.name for version in pair] == ["First", "Second"]
    assert panel.words.text().startswith("First → Second: ")
    assert next(row for row in table(panel) if row[0] == "Hoop")[1] == "40 mm"


def test_findings_of_a_snapshot_come_from_a_process_of_its_own(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    take(qtbot, panel, "First")
    raise_hoop(session, -100.0)
    report = findings.check_layout(session.layout)
    expected = comparing.compared(
        next(iter(session.layout.snapshots.values())).layout,
        session.layout,
        findings.check_layout(next(iter(session.layout.snapshots.values())).layout),
        report,
    )
    assert expected.new
    panel.show_report(report, True)
    panel.refresh()
    qtbot.waitUntil(
        lambda: f"New findings ({len(expected.new)})" in [row[0] for row in table(panel)], timeout=ENOUGH
    )
    words = version_rows.summary(expected, MILLIMETRES)
    assert panel.words.text() == words


def test_a_snapshot_of_what_is_checked_is_not_checked_again(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    panel.show_report(findings.check_layout(session.layout), True)
    take(qtbot, panel, "First")
    assert panel._job is None
    assert table(panel)[-1][0] == "The same is found in both."


def test_going_back_is_one_step(qtbot: QtBot, panel: VersionsPanel, session: Session) -> None:
    nodes = session.layout.nodes
    take(qtbot, panel, "First")
    raise_hoop(session)
    changed = session.layout
    click(qtbot, panel, "First")
    qtbot.mouseClick(panel.back_button, LEFT)
    assert session.layout.nodes is nodes
    assert session.layout.snapshots is changed.snapshots
    session.undo()
    assert session.layout is changed


def test_a_snapshot_is_renamed_where_it_stands_and_deleted_by_key(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    take(qtbot, panel, "First")
    click(qtbot, panel, "First")
    qtbot.mouseClick(panel.rename_button, LEFT)
    editor = panel.list.viewport().findChild(type(panel.name))
    assert editor is not None
    editor.selectAll()
    qtbot.keyClicks(editor, "Best so far")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: [each.name for each in session.layout.snapshots.values()] == ["Best so far"])
    qtbot.waitUntil(lambda: names(panel) == ["Now", "Best so far"])
    click(qtbot, panel, "Best so far")
    qtbot.keyClick(panel.list, Qt.Key.Key_Delete)
    assert not session.layout.snapshots
    assert names(panel) == ["Now"]
    session.undo()
    assert names(panel) == ["Now", "Best so far"]


def test_another_job_is_read_to_compare_and_never_becomes_part_of_this_one(
    qtbot: QtBot, panel: VersionsPanel, session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other, _ = edits.add_tube(
        session.layout, [(0.0, 0.0, 1500.0), (500.0, 0.0, 1500.0)], min(session.layout.stocks), "Extra"
    )
    path = tmp_path / "other.outrib"
    job.save(other, path)
    monkeypatch.setattr("app.dialogs.ask_open_path", lambda *_: path)
    before = session.layout
    qtbot.mouseClick(panel.open_button, LEFT)
    qtbot.waitUntil(lambda: names(panel) == ["Now", "other"], timeout=ENOUGH)
    row = next(row for row in table(panel) if row[0] == "Extra")
    assert row[1] == "removed"  # it is in the other one, not in this
    assert not panel.back_button.isEnabled()
    assert not panel.rename_button.isEnabled()
    assert session.layout is before
    panel.delete()
    assert names(panel) == ["Now"]
    assert session.layout is before


def test_a_file_that_is_no_job_is_refused_with_a_sentence(
    qtbot: QtBot, panel: VersionsPanel, tmp_path: Path
) -> None:
    path = tmp_path / "x.outrib"
    path.write_text("nothing")
    with qtbot.waitSignal(panel.refused, timeout=ENOUGH) as said:
        panel.open_other(path)
    assert "x.outrib" in said.args[0]
    assert names(panel) == ["Now"]


def test_ghosts_are_wanted_while_the_button_is_down(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    wanted: list[Layout | None] = []
    panel.ghosts_wanted.connect(wanted.append)
    take(qtbot, panel, "First")
    qtbot.mouseClick(panel.ghost_button, LEFT)
    kept = next(iter(session.layout.snapshots.values())).layout
    assert wanted == [kept]
    click(qtbot, panel, "Now")
    assert wanted == [kept, None]
    click(qtbot, panel, "First")
    qtbot.mouseClick(panel.ghost_button, LEFT)
    assert wanted == [kept, None, kept, None]


def test_a_row_selects_its_tube(qtbot: QtBot, panel: VersionsPanel, session: Session) -> None:
    take(qtbot, panel, "First")
    raise_hoop(session)
    panel.refresh()
    row = panel.table.topLevelItem(1)
    assert row is not None
    qtbot.mouseClick(panel.table.viewport(), LEFT, pos=panel.table.visualItemRect(row).center())
    assert [session.layout.tubes[id].name for id in session.selection] == ["Hoop"]


def test_another_job_in_the_window_leaves_nothing_of_the_old_one(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    take(qtbot, panel, "First")
    qtbot.mouseClick(panel.ghost_button, LEFT)
    wanted: list[Layout | None] = []
    panel.ghosts_wanted.connect(wanted.append)
    session.open(Layout(), None)
    assert names(panel) == ["Now"]
    assert wanted == [None]
    assert panel._job is None
    assert not panel.ghost_button.isChecked()


def test_at_the_size_of_the_tab_nothing_scrolls_sideways(
    qtbot: QtBot, panel: VersionsPanel, session: Session
) -> None:
    take(qtbot, panel, "First")
    raise_hoop(session)
    panel.refresh()
    assert panel.width() == 760
    for tree in (panel.list, panel.table):
        assert not tree.horizontalScrollBar().isVisible()
    assert panel.table.header().length() <= panel.table.viewport().width()
    assert panel.table.viewport().height() >= 3 * panel.table.sizeHintForRow(0)


def test_a_time_is_as_short_as_it_can_be() -> None:
    assert when("2001-02-03T04:05:06+00:00").endswith("2001")
    assert when("yesterday") == "yesterday"

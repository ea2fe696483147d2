"""The list of what needs room: set, not needed, unset; by mouse and by keys."""

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.panels.checklist import NAME, STATE, WHERE, Checklist
from app.session import Session
from geometry import edits, zoning
from geometry.aids import BoxShape
from geometry.checks import findings

BOX = BoxShape((0.0, 0.0, 5000.0), (200.0, 100.0, 60.0))
Key = Qt.Key


@pytest.fixture
def access(qtbot: QtBot, session: Session) -> Checklist:
    access = Checklist(session)
    qtbot.addWidget(access)
    access.resize(800, 300)
    access.show()
    return access


def row(access: Checklist, label: str) -> list[str]:
    (item,) = access.tree.findItems(label, Qt.MatchFlag.MatchExactly, NAME)
    return [item.text(column) for column in (NAME, STATE, WHERE)]


def test_every_purpose_has_a_row_that_says_where_to_click(access: Checklist) -> None:
    assert access.tree.topLevelItemCount() == len(zoning.PURPOSES)
    assert row(access, "Filler nozzle") == ["Filler nozzle", "○ unset", "the filler cap"]
    assert row(access, "Other")[STATE] == ""
    assert access.summary.text() == f"{len(zoning.ASKED_FOR)} purposes left to look at."


def test_a_zone_sets_its_purpose_and_undo_unsets_it(access: Checklist, session: Session) -> None:
    layout, _ = zoning.add_zone(session.layout, "jack", BOX, "Left jack")
    session.commit("Keep free", layout)
    assert row(access, "Jack")[STATE] == "✔ Left jack"
    access.choose("jack")
    assert access.set_it.text() == "Set an&other"
    assert not access.need.isEnabled()
    session.undo()
    assert row(access, "Jack")[STATE] == "○ unset"


def test_space_and_button_say_what_is_not_needed(qtbot: QtBot, access: Checklist, session: Session) -> None:
    access.choose("winch rope")
    qtbot.keyClick(access.tree, Key.Key_Space)
    assert session.layout.not_needed == ("winch rope",)
    assert row(access, "Winch rope")[STATE] == "– not needed"
    assert access.need.text() == "&Needed"
    qtbot.mouseClick(access.need, Qt.MouseButton.LeftButton)
    assert session.layout.not_needed == ()
    assert session.undo_stack.undoText() == "Winch rope is needed"


def test_enter_button_and_double_click_ask_for_the_place(qtbot: QtBot, access: Checklist) -> None:
    asked: list[str] = []
    access.zone_wanted.connect(asked.append)
    access.choose("mirror")
    qtbot.keyClick(access.tree, Key.Key_Return)
    qtbot.mouseClick(access.set_it, Qt.MouseButton.LeftButton)
    item = access.tree.currentItem()
    access.tree.itemDoubleClicked.emit(item, 0)
    assert asked == ["mirror"] * 3


def test_a_tube_in_the_way_is_said_in_its_row(access: Checklist, session: Session) -> None:
    stock = next(iter(session.layout.stocks))
    layout, _ = edits.add_tube(session.layout, [(-900.0, 0.0, 5000.0), (900.0, 0.0, 5000.0)], stock)
    layout, _ = zoning.add_zone(layout, "mirror", BOX)
    session.commit("Keep free", layout)
    report, _ = findings.completed(layout, {}, {}, findings.check(layout, {}), lambda: True)
    access.show_report(report)
    assert row(access, "Mirror")[STATE] == "▲ Mirror: a tube is in the way"


def test_nothing_is_set_while_another_step_is_open(access: Checklist, session: Session) -> None:
    layout, _ = zoning.add_zone(session.layout, "jack", BOX)
    access.choose("mirror")
    session.preview(layout)
    assert not access.set_it.isEnabled()
    session.cancel()
    assert access.set_it.isEnabled()


def test_when_everything_is_looked_at_it_says_so(access: Checklist, session: Session) -> None:
    layout = session.layout
    for purpose in zoning.ASKED_FOR:
        layout = zoning.set_needed(layout, purpose, False)
    session.commit("Nothing needed", layout)
    assert access.summary.text() == "Everything is set, or said not to be needed."


def test_once_one_is_set_the_next_that_is_left_is_chosen(
    qtbot: QtBot, access: Checklist, session: Session
) -> None:
    session.commit("Not needed", zoning.set_needed(session.layout, "winch rope", False))
    access.choose("mirror")
    qtbot.keyClick(access.tree, Key.Key_Return)
    layout, _ = zoning.add_zone(session.layout, "mirror", BOX)
    session.preview(layout)
    assert access.purpose == "mirror"
    session.commit("Keep free: Mirror")
    assert access.purpose == "jack"

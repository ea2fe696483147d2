"""The sheet of keys: grouped as the menus, narrowed by words, and nothing on it untrue."""

from collections.abc import Iterator
from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QKeySequence
from pytestqt.qtbot import QtBot

from app import actions
from app.panels.keys import BY_HAND, Group, KeysPanel, Row
from app.panels.rows import children
from app.viewport.tools import Key

LEFT = Qt.MouseButton.LeftButton
ON_THE_LEFT = [(-200.0, 700.0, 500.0), (-600.0, 700.0, 700.0), (-1000.0, 700.0, 900.0)]
HAND = ("click", "Click", "drag", "Drag", "Wheel", "Menu")
NAMES = {
    "Enter": Qt.Key.Key_Return,
    "Backspace": Qt.Key.Key_Backspace,
    "Esc": Qt.Key.Key_Escape,
    "Tab": Qt.Key.Key_Tab,
    "Ins": Qt.Key.Key_Insert,
    "PgUp": Qt.Key.Key_PageUp,
    "PgDown": Qt.Key.Key_PageDown,
    "Arrows": Qt.Key.Key_Left,
}


@pytest.fixture
def panel(qtbot: QtBot) -> KeysPanel:
    panel = KeysPanel()
    qtbot.addWidget(panel)
    return panel


def words(panel: KeysPanel) -> list[str]:
    return [row.text(0) for row in panel.rows_shown()]


def own(group: str, *rows: tuple[str, str, str]) -> Group:
    return Group(group, tuple(Row(*row, name=row[0].lower()) for row in rows))


def test_typing_narrows_the_sheet_by_every_word(panel: KeysPanel) -> None:
    tube = own("Tube", ("Lay a tube", "T", "Click nodes."), ("Split a tube", "K", "Cut it."))
    panel.set_groups([tube, own("View", ("Fit", "F", "Show all."))])
    whole = len(words(panel))
    assert words(panel)[:3] == ["Lay a tube", "Split a tube", "Fit"]
    panel.search.setText("split cut")
    assert words(panel) == ["Split a tube"]
    panel.search.setText("")
    assert len(words(panel)) == whole


def test_the_words_of_a_group_find_all_of_it(panel: KeysPanel) -> None:
    panel.search.setText("along the body (w)")
    panel.set_groups(())
    group = next(group for group in BY_HAND if group.title == "Along the body (W)")
    assert words(panel) == [row.words for row in group.rows]


def test_words_that_nothing_goes_by_are_said_to_find_nothing(panel: KeysPanel) -> None:
    panel.set_groups(())
    assert panel.nothing.isHidden()
    panel.search.setText("upholstery")
    assert words(panel) == []
    assert not panel.nothing.isHidden()


def test_down_goes_to_the_first_line_and_enter_asks_for_its_command(qtbot: QtBot, panel: KeysPanel) -> None:
    panel.set_groups([own("View", ("Fit", "F", "Show all."), ("Grid", "G", "Lines on the ground."))])
    panel.show()
    panel.search.setText("lines ground")
    qtbot.keyClick(panel.search, Qt.Key.Key_Down)
    with qtbot.waitSignal(panel.command_wanted) as wanted:
        qtbot.keyClick(panel.tree, Qt.Key.Key_Return)
    assert wanted.args == ["grid"]


def test_what_is_no_command_asks_for_none(qtbot: QtBot, panel: KeysPanel) -> None:
    panel.set_groups(())
    panel.tree.setCurrentItem(panel.rows_shown()[0])
    with qtbot.assertNotEmitted(panel.command_wanted):
        qtbot.keyClick(panel.tree, Qt.Key.Key_Return)


def test_escape_clears_the_words(qtbot: QtBot, panel: KeysPanel) -> None:
    panel.search.setText("fit")
    qtbot.keyClick(panel.search, Qt.Key.Key_Escape)
    assert panel.search.text() == ""


# In the window


def test_the_sheet_holds_every_command_with_its_key_under_its_menu(cage: Any) -> None:
    sheet = {
        (group.text(0), row.text(0)): row.text(1)
        for group in children(cage.keys.tree.invisibleRootItem())
        for row in children(group)
    }
    for title, commands in actions.by_menu():
        for command in commands:
            assert sheet[title, actions.plain_text(command)] == command.key
            assert cage.commands[command.name].shortcut() == QKeySequence(command.key)
    listed = {command.name for _, commands in actions.by_menu() for command in commands}
    assert listed == {command.name for command in actions.COMMANDS}


def test_every_key_of_a_command_is_one_that_there_is() -> None:
    for command in actions.COMMANDS:
        assert QKeySequence(command.key).toString() == command.key, command.name


def test_f1_opens_the_sheet_and_typing_finds_at_once(qtbot: QtBot, cage: Any) -> None:
    qtbot.keyClick(cage.view, Qt.Key.Key_F1)
    assert cage.furniture.tabs.currentWidget() is cage.keys
    assert cage.keys.search.hasFocus()
    qtbot.keyClicks(cage.keys.search, "every tube of the job")
    assert words(cage.keys) == ["Select all tubes"]
    qtbot.keyClick(cage.keys.search, Qt.Key.Key_Return)
    qtbot.keyClick(cage.keys.tree, Qt.Key.Key_Return)
    assert cage.session.selection == cage.session.layout.tubes.keys()
    assert cage.view.hasFocus()


def test_a_command_that_has_nothing_to_work_on_says_so(cage: Any) -> None:
    cage.keys.command_wanted.emit("reverse")
    assert cage.message.text == "“Reverse” has nothing to work on now."


def keys_of(row: Row) -> list[Key]:
    """The keys that a line names; none for what the mouse does."""
    if any(word in row.key for word in HAND):
        return []
    named = row.key.replace("Hold ", "").replace(", dragging", "").replace(" or ", ", ").split(", ")
    if row.key == ",":
        named = [","]
    if row.key.startswith("Hold Shift+X, "):
        named = [named[0], *(f"Shift+{letter}" for letter in named[1:])]
    return [key for name in named for key in _keys(name)]


def _keys(name: str) -> Iterator[Key]:
    *holds, last = name.split("+") if len(name) > 1 else [name]
    shift, ctrl = "Shift" in holds, "Ctrl" in holds
    if name in ("Ctrl", "Shift", "Space"):
        return
    if last == "0 to 9":
        for digit in "0123456789":
            yield Key(ord(digit), digit)
    elif last in NAMES:
        yield Key(NAMES[last], shift=shift, ctrl=ctrl)
    else:
        yield Key(ord(last), last.lower(), shift, ctrl)


IN_A_TOOL = {
    "Laying a tube (T)": "tube",
    "Along the body (W)": "follow",
    "Measuring (D)": "measure",
    "References (E)": "reference",
}


@pytest.mark.parametrize("title", list(IN_A_TOOL))
def test_each_key_of_a_tool_is_one_that_the_tool_takes(qtbot: QtBot, cage: Any, title: str) -> None:
    view = cage.view
    cage.commands[f"tool_{IN_A_TOOL[title]}"].trigger()
    group = next(group for group in BY_HAND if group.title == title)
    left = {(row.words, key) for row in group.rows for key in keys_of(row)}
    assert left
    for place in [*ON_THE_LEFT[:2], None]:
        left = {(said, key) for said, key in left if not is_taken(view, key)}
        if place is not None:
            x, y = view.to_screen(place)
            qtbot.mouseClick(view, LEFT, pos=QPoint(round(x), round(y)))
    assert left == set()


def is_taken(view: Any, key: Key) -> bool:
    return view.current_tool.wants(key) or view._is_axis_key(key)


def test_the_keys_of_the_select_tool_are_taken_with_a_selection(qtbot: QtBot, cage: Any) -> None:
    cage.session.select({next(iter(cage.session.layout.nodes))})
    group = next(group for group in BY_HAND if group.title == "In the view: select and move")
    axes = {Qt.Key.Key_X, Qt.Key.Key_Y, Qt.Key.Key_Z}  # while dragging; see the tests of the view
    for row in group.rows:
        for key in keys_of(row):
            assert key.code in axes or cage.view.current_tool.wants(key), row


def test_the_keys_that_look_round_move_the_camera(qtbot: QtBot, cage: Any) -> None:
    cage.session.select(())
    for key, keys in (
        (Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_Up, Qt.KeyboardModifier.ControlModifier),
        (Qt.Key.Key_Plus, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_Minus, Qt.KeyboardModifier.NoModifier),
    ):
        before = cage.view.camera()
        qtbot.keyClick(cage.view, key, keys)
        assert cage.view.camera() != before, key


def test_the_sentences_are_sentences() -> None:
    for group in BY_HAND:
        said = [row.words for row in group.rows]
        assert len(set(said)) == len(said)
        for row in group.rows:
            assert row.tip.endswith(".")
            assert "!" not in row.tip

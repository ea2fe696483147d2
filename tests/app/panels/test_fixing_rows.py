"""Stand-off, ties and welds at the side: by mouse and keys, each one undo step."""

from collections.abc import Callable

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.panels.fields import LengthField
from app.panels.fixing_rows import tie_words
from app.panels.properties import PropertiesPanel
from app.panels.rows import ChoiceBox
from app.session import Session
from app.units import INCH_FRACTIONS, MILLIMETRES
from geometry import edits, fixing
from geometry.checks import findings
from geometry.layout import Weld
from geometry.tube import centreline

Named = Callable[[str], int]


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> PropertiesPanel:
    panel = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(292, 900)
    panel.show()
    return panel


def enter(qtbot: QtBot, field: LengthField, text: str) -> None:
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text) if text else qtbot.keyClick(field, Qt.Key.Key_Delete)
    qtbot.keyClick(field, Qt.Key.Key_Return)


def choose(box: ChoiceBox, words: str) -> None:
    place = box.findText(words)
    assert place >= 0
    box.setCurrentIndex(place)
    box.activated.emit(place)


def test_an_own_stand_off_is_typed_and_emptied_again(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    fields = panel.tube.fixing.standoff
    assert (fields.closest.text(), fields.closest.placeholderText()) == ("", "15.0 mm")
    assert (fields.farthest.text(), fields.farthest.placeholderText()) == ("", "40.0 mm")
    enter(qtbot, fields.closest, "1 in")
    enter(qtbot, fields.farthest, "60")
    tube = session.layout.tubes[named("Hoop")]
    assert (tube.standoff_closest, tube.standoff_farthest) == (pytest.approx(25.4), 60.0)
    assert session.undo_stack.undoText() == "Set stand-off"
    enter(qtbot, fields.closest, "")
    assert session.layout.tubes[named("Hoop")].standoff_closest is None
    assert session.undo_stack.count() == 3


def test_a_stand_off_that_cannot_be_is_refused_and_shown_as_it_was(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("box"),))
    enter(qtbot, panel.panel.standoff.farthest, "20")
    with qtbot.waitSignal(session.refused) as refused:
        enter(qtbot, panel.panel.standoff.closest, "30")
    assert "more than its farthest" in refused.args[0]
    assert panel.panel.standoff.closest.text() == ""
    assert session.layout.panels[named("box")].standoff_farthest == 20.0


def test_what_a_tube_is_fixed_to_is_chosen(panel: PropertiesPanel, session: Session, named: Named) -> None:
    session.select((named("Hoop"),))
    choose(panel.tube.fixing.tied, "the frame")
    assert session.layout.tubes[named("Hoop")].tied == "frame"
    assert session.undo_stack.undoText() == "Tie to the frame"
    session.undo()
    assert panel.tube.fixing.tied.currentText() == "neither"


def test_a_tube_says_what_it_is_tied_to_through_others(session: Session, named: Named) -> None:
    hoop, brace = named("Hoop"), named("Brace")
    tied = fixing.set_tied(session.layout, [brace], "frame")  # it lands on the hoop
    assert tie_words(tied, [hoop]) == "Tied to the frame through Brace."
    assert tie_words(tied, [brace]) == ""
    both = fixing.set_tied(tied, [hoop], "body")
    assert tie_words(both, [hoop]) == "Its group of tubes is tied to the body and to the frame."
    assert tie_words(both, [hoop, brace]) == ""


def test_whether_a_tube_follows_the_body_is_ticked_by_key(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    box = panel.tube.fixing.hugs
    assert box.isChecked()
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Space)
    assert session.layout.tubes[named("Hoop")].hugs is False
    session.undo()
    assert box.isChecked()


def test_a_weld_is_marked_changed_and_removed(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop, box = named("Hoop"), named("box")
    session.select((hoop,))
    panel.show_report(findings.check_layout(session.layout))
    welds = panel.tube.fixing.welds
    qtbot.mouseClick(welds.add, Qt.MouseButton.LeftButton)
    assert session.layout.tubes[hoop].welds == (Weld(box),)
    row = welds.rows[0]
    assert QApplication.focusWidget() is row.panel
    length = centreline.of(session.layout, session.layout.tubes[hoop]).length
    assert row.end.placeholderText() == f"{length:.1f} mm"
    enter(qtbot, row.start, "100")
    enter(qtbot, row.end, "300")
    assert session.layout.tubes[hoop].welds == (Weld(box, 100.0, 300.0),)
    enter(qtbot, row.end, "")
    assert session.layout.tubes[hoop].welds == (Weld(box, 100.0, None),)
    row.remove.setFocus()
    qtbot.keyClick(row.remove, Qt.Key.Key_Space)
    assert session.layout.tubes[hoop].welds == ()
    assert not row.isVisible()
    assert QApplication.focusWidget() is welds.add
    assert [session.undo_stack.text(i) for i in range(5)] == [
        "Mark weld",
        *["Change weld mark"] * 3,
        "Remove weld mark",
    ]


def test_a_second_weld_is_a_second_row_in_the_order_of_tab(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    welds = panel.tube.fixing.welds
    for _ in range(2):
        welds.add.setFocus()
        qtbot.keyClick(welds.add, Qt.Key.Key_Space)
    first, second = welds.rows
    for before, after in (
        (first.end, first.remove),
        (first.remove, second.panel),
        (second.remove, welds.add),
    ):
        before.setFocus()
        qtbot.keyClick(before, Qt.Key.Key_Tab)
        assert QApplication.focusWidget() is after
    enter(qtbot, second.start, "50")
    assert [weld.start for weld in session.layout.tubes[hoop].welds] == [0.0, 50.0]


def test_a_weld_beyond_the_tube_is_refused(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop, box = named("Hoop"), named("box")
    session.select((hoop,))
    session.apply("Mark", lambda now: fixing.add_weld(now, hoop, Weld(box, 10.0, 90.0)))
    with qtbot.waitSignal(session.refused) as refused:
        enter(qtbot, panel.tube.fixing.welds.rows[0].start, "99000")
    assert "not so long" in refused.args[0]
    assert panel.tube.fixing.welds.rows[0].start.text() == "10.0 mm"


def test_several_tubes_are_set_at_once(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop, brace = named("Hoop"), named("Brace")
    session.apply("Tie", lambda now: fixing.set_tied(now, [hoop], "frame"))
    session.apply("Stand off", lambda now: fixing.set_standoff(now, [hoop], closest=20.0))
    session.apply("Free", lambda now: fixing.set_hugs(now, [hoop], False))
    session.select((hoop, brace))
    rows = panel.many.fixing
    assert rows.tied.currentText() == ""
    assert rows.hugs.checkState() == Qt.CheckState.PartiallyChecked
    assert rows.standoff.closest.placeholderText() == "several"
    assert not rows.welds.isVisible()
    choose(rows.tied, "the body")
    enter(qtbot, rows.standoff.closest, "18")
    qtbot.keyClick(rows.hugs, Qt.Key.Key_Space)
    for id in (hoop, brace):
        tube = session.layout.tubes[id]
        assert (tube.tied, tube.standoff_closest, tube.hugs) == ("body", 18.0, True)


def test_nothing_is_wider_than_the_dock_with_a_weld(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop, box = named("Hoop"), named("box")
    session.apply("Mark", lambda now: fixing.add_weld(now, hoop, Weld(box, 10.0, 90.0)))
    session.apply("Tie", lambda now: fixing.set_tied(now, [hoop], "frame"))
    for ids in ((hoop,), (hoop, named("Brace")), (box,), (box, hoop)):
        session.select(ids)
        for units in (MILLIMETRES, INCH_FRACTIONS):
            panel.set_units(units)
            assert panel.page.minimumSizeHint().width() <= panel.viewport().width()


def test_a_panel_left_out_stays_in_the_list_of_its_weld(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop, box = named("Hoop"), named("box")
    session.apply("Mark", lambda now: fixing.add_weld(now, hoop, Weld(box)))
    session.apply("Leave out", lambda now: edits.set_panel(now, box, kept=False))
    session.select((hoop,))
    assert panel.tube.fixing.welds.rows[0].panel.currentText() == "box (left out)"

"""The guided page for trial bends: typed by keyboard, one undo step each, and what they tell."""

import datetime
import math

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot

from app import theme, units
from app.panels.trial_form import too_long
from app.panels.trials import NO_PAIR, TrialsPage
from app.session import Session
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES
from geometry import rack
from geometry.layout import Die, Layout, Stock, TrialBend
from geometry.tube import bending, trials

CLR_GROWS, TAKEN, OFFSET, ZERO, SLOPE = 1.02, 0.99, 6.0, math.radians(0.5), 1.03  # the real bender
Key = Qt.Key


@pytest.fixture
def page(qtbot: QtBot, session: Session) -> TrialsPage:
    page = TrialsPage(session, MILLIMETRES)
    qtbot.addWidget(page)
    page.resize(1280, 680)
    page.show()
    page.activateWindow()
    page.begin()
    return page


def used_pair(session: Session) -> tuple[Die, Stock]:
    tube = next(iter(session.layout.tubes.values()))
    die = bending.die_of(session.layout, tube)
    assert die is not None
    return die, session.layout.stocks[tube.stock]


def simulated(die: Die, stock: Stock, degrees: float, mark: float = 250.0, batch: str = "") -> TrialBend:
    """A trial bend as the real bender makes it, measured without error."""
    angle, clr = math.radians(degrees), CLR_GROWS * die.clr
    start = mark + OFFSET
    outside = (clr + stock.od / 2.0) * math.tan(angle / 2.0)
    tail = 900.0 - start - TAKEN * die.clr * angle
    return TrialBend(
        *(0, die.id, stock.id, batch, "2026-11-20", 900.0, mark, ZERO + SLOPE * angle, angle),
        lead_leg=start + outside,
        tail_leg=tail + outside,
    )


def with_trials(layout: Layout, *made: TrialBend) -> Layout:
    for trial in made:
        layout, _ = rack.add_trial(layout, trial)
    return layout


def type_over(qtbot: QtBot, field: QLineEdit, text: str) -> None:
    field.setFocus()
    field.selectAll()
    if text:
        qtbot.keyClicks(field, text)
    else:
        qtbot.keyClick(field, Key.Key_Backspace)


def type_trial(qtbot: QtBot, page: TrialsPage, **values: str) -> None:
    numbers = page.form.numbers
    for name, text in {"length": "800", "angle": "86.5", **values}.items():
        type_over(qtbot, numbers[name], text)


def only(session: Session) -> TrialBend:
    (trial,) = session.layout.trials.values()
    return trial


def press(qtbot: QtBot, text: str = "") -> None:
    """Type where the focus is, then Enter."""
    field = QApplication.focusWidget()
    assert field is not None
    if text:
        qtbot.keyClicks(field, text)
    qtbot.keyClick(field, Key.Key_Return)


def test_it_opens_on_the_die_and_stock_of_the_selected_tube(page: TrialsPage, session: Session) -> None:
    assert page.pair == used_pair(session)


def test_a_trial_bend_is_typed_by_keyboard_alone(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    for text in ("800.25", "200", "90", "86.55", "", "345.5", "552", "44.9", "43.6"):
        press(qtbot, text)
    press(qtbot)
    press(qtbot, "oiled")
    die, stock = used_pair(session)
    today = datetime.date.today().isoformat()
    (id,) = session.layout.trials
    assert only(session) == TrialBend(
        *(id, die.id, stock.id, "", today, 800.25, 200.0, math.radians(90.0), math.radians(86.55)),
        *(345.5, 552.0, "corner", 44.9, 43.6, True, "oiled"),
    )
    assert session.undo_stack.undoText() == "Add trial bend of 86.55°"


def test_adding_is_one_undo_step_and_comes_back(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    before = session.layout
    type_trial(qtbot, page)
    page.form.add.click()
    added = session.layout
    assert session.undo_stack.count() == 1
    session.undo()
    assert session.layout is before
    assert page.list.rowCount() == 0
    session.redo()
    assert session.layout is added
    assert page.list.rowCount() == 1


def test_fields_are_empty_again_with_the_next_bend_proposed(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    numbers = page.form.numbers
    assert numbers["dial"].value == pytest.approx(math.radians(90.0))
    type_trial(qtbot, page, lead_leg="345.5", tail_leg="552")
    page.form.add.click()
    assert [numbers[name].text() for name in ("length", "angle", "lead_leg")] == ["", "", ""]
    dial = numbers["dial"].value
    assert dial is not None
    assert dial < math.radians(61.0)
    assert units.format_angle(dial) in page.guide.text()


def test_the_proposed_bend_is_one_that_the_die_holds(page: TrialsPage, session: Session) -> None:
    die, _ = used_pair(session)
    mark = page.form.numbers["mark"].value
    assert mark is not None
    assert mark >= die.first_straight
    assert f"<b>{units.format_mark(mark, MILLIMETRES)}</b>" in page.guide.text()


@pytest.mark.parametrize(
    ("shown", "typed", "length"),
    [(INCHES, "31.5", 800.1), (INCH_FRACTIONS, "31 1/2", 800.1), (INCHES, "80 cm", 800.0)],
)
def test_lengths_are_in_the_persons_units(
    qtbot: QtBot, page: TrialsPage, session: Session, shown: units.Units, typed: str, length: float
) -> None:
    page.set_units(shown)
    assert " in</b>" in page.guide.text()
    type_trial(qtbot, page, length=typed)
    page.form.add.click()
    assert only(session).length == pytest.approx(length)
    assert page.list.item(0, 3).text() == units.format_length(length, shown, unit=False)  # type: ignore[union-attr]


def test_changing_units_keeps_what_was_typed(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    type_trial(qtbot, page, length="800.25", mark="210")
    page.set_units(INCHES)
    page.form.add.click()
    assert only(session).length == 800.25
    assert only(session).mark == 210.0


@pytest.mark.parametrize(
    ("field", "text", "words"),
    [
        ("length", "", "Type the scrap's length"),
        ("angle", "", "Type the angle that came out"),
        ("mark", "900", "The mark must lie on the scrap"),
        ("angle", "190", "less than 180°"),
        ("dial", "0", "more than 0°"),
        ("lead_leg", "-3", "more than 0"),
        ("tail_leg", "long", "can't be read"),
    ],
)
def test_what_cannot_be_is_refused_at_its_field(
    qtbot: QtBot, page: TrialsPage, session: Session, field: str, text: str, words: str
) -> None:
    type_trial(qtbot, page, **{field: text})
    page.form.add.click()
    assert words in page.form.fault.text()
    assert page.form.numbers[field].is_refused
    assert page.form.numbers[field].hasFocus()
    assert not session.layout.trials


def test_diameters_the_wrong_way_round_are_refused(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    type_trial(qtbot, page, widest="40", narrowest="44")
    page.form.add.click()
    assert "least diameter" in page.form.fault.text()
    assert not session.layout.trials


def test_a_day_that_is_none_is_refused(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    type_trial(qtbot, page)
    type_over(qtbot, page.form.made, "yesterday")
    page.form.add.click()
    assert "such as 2026-11-25" in page.form.fault.text()
    type_over(qtbot, page.form.made, "2026-10-01")
    page.form.add.click()
    assert only(session).made == "2026-10-01"


def test_the_back_of_a_bend_needs_90_degrees(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    type_trial(qtbot, page, angle="60")
    page.form.measured_to.setCurrentIndex(1)
    page.form.add.click()
    assert "back of a bend" in page.form.fault.text()
    type_over(qtbot, page.form.numbers["angle"], "91")
    page.form.add.click()
    assert only(session).measured_to == "back"


def test_a_new_batch_asks_for_one_check_bend(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    made = [simulated(die, stock, angle) for angle in (30.0, 60.0, 90.0)]
    session.commit("Trials", with_trials(session.layout, *made))
    assert "all is known" in page.head.state
    type_over(qtbot, page.head.batch, "B 7")
    qtbot.keyClick(page.head.batch, Key.Key_Return)
    assert session.layout.stocks[stock.id].batch == "B 7"
    assert session.undo_stack.undoText() == f"Set batch of {stock.name}"
    assert "check bend first" in page.head.state
    assert "Make one check bend" in page.result.missing.text()
    session.undo()
    assert page.head.batch.text() == ""
    assert "all is known" in page.head.state


def test_a_trial_bend_belongs_to_the_batch_on_the_rack(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    type_over(qtbot, page.head.batch, "B 7")
    qtbot.keyClick(page.head.batch, Key.Key_Return)
    type_trial(qtbot, page)
    page.form.add.click()
    assert only(session).batch == "B 7"


def test_the_state_is_said_in_a_sentence(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    assert "geometry only" in page.head.state
    session.commit("One", with_trials(session.layout, simulated(die, stock, 90.0)))
    assert page.head.state == "1 trial bend of 2026-11-20: not all is known yet."
    assert page.result.missing.text().startswith("▲ Bend one more")
    session.commit("Two", with_trials(session.layout, simulated(die, stock, 30.0)))
    assert page.head.state == "2 trial bends, the newest of 2026-11-20: all is known."


def test_what_was_learnt_stands_beside_with_its_doubt(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    sources = [labels[2].text() for labels in page.result.rows if labels[2].text()]
    assert set(sources) == {"○ assumed"}
    made = [simulated(die, stock, angle) for angle in (30.0, 60.0, 90.0)]
    session.commit("Trials", with_trials(session.layout, *made))
    shown = {labels[0].text(): labels[1].text() for labels in page.result.rows}
    learnt = trials.learnt(session.layout, die, stock)
    dial = math.degrees(trials.dial(learnt, math.radians(45.0)))
    assert shown["Bend starts"].startswith("6.0 mm ± ")
    assert shown["Bend starts"].endswith(" behind the mark")
    assert shown["Dial for 45°"].startswith(f"{dial:.1f}° ± ")
    assert shown["Radius (CLR)"].startswith(f"{CLR_GROWS * die.clr:.1f} mm ± ")
    assert {labels[2].text() for labels in page.result.rows if labels[2].text()} == {"● told"}


def test_a_contradicting_trial_bend_is_marked_and_can_be_left_out(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    made = [simulated(die, stock, angle) for angle in (30.0, 45.0, 60.0, 90.0)]
    made.append(replace(simulated(die, stock, 75.0), lead_leg=made[0].lead_leg))
    session.commit("Trials", with_trials(session.layout, *made))
    wrong = max(session.layout.trials)
    item = page.list.item(0, 0)
    assert item is not None
    assert item.text() == "▲"
    item.setCheckState(Qt.CheckState.Unchecked)
    assert session.undo_stack.undoText() == "Leave out trial bend of 75°"
    assert not session.layout.trials[wrong].used
    assert "all is known" in page.head.state
    assert page.list.rowCount() == 5


def test_trial_bends_of_all_batches_are_listed_newest_first(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    made = [
        replace(simulated(die, stock, 30.0), made="2026-10-01", batch="old"),
        simulated(die, stock, 60.0),
        replace(simulated(die, stock, 90.0), made="2026-11-01"),
    ]
    session.commit("Trials", with_trials(session.layout, *made))
    angles = [page.list.item(row, 6).text() for row in range(3)]  # type: ignore[union-attr]
    assert angles == ["60°", "90°", "30°"]


def test_a_trial_bend_is_changed_in_the_fields(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    odd = replace(simulated(die, stock, 86.537), batch="old", note="kept")
    session.commit("Trial", with_trials(session.layout, odd))
    before = only(session)
    page.list.selectRow(0)
    qtbot.keyClick(page.list, Key.Key_Return)
    assert page.form.title.text() == "Change the trial bend of 86.54°"
    type_over(qtbot, page.form.numbers["tail_leg"], "512")
    qtbot.keyClick(page.form.numbers["tail_leg"], Key.Key_Return, Qt.KeyboardModifier.ControlModifier)
    assert only(session) == replace(before, tail_leg=512.0)
    assert page.form.title.text() == "Next trial bend"


def test_escape_leaves_a_trial_bend_as_it_was_then_the_page(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    die, stock = used_pair(session)
    session.commit("Trial", with_trials(session.layout, simulated(die, stock, 90.0)))
    before = session.layout
    page.list.selectRow(0)
    page.change.click()
    qtbot.keyClick(page.form.numbers["mark"], Key.Key_Escape)
    assert page.form.title.text() == "Next trial bend"
    assert session.layout is before
    with qtbot.waitSignal(page.left):
        qtbot.keyClick(page.form.numbers["mark"], Key.Key_Escape)


def test_a_trial_bend_is_deleted_by_key_and_comes_back(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    die, stock = used_pair(session)
    session.commit("Trial", with_trials(session.layout, simulated(die, stock, 90.0)))
    page.list.selectRow(0)
    qtbot.keyClick(page.list, Key.Key_Delete)
    assert not session.layout.trials
    assert session.undo_stack.undoText() == "Delete trial bend of 90°"
    session.undo()
    assert page.list.rowCount() == 1


def test_deleting_what_stands_in_the_fields_empties_them(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    session.commit("Trial", with_trials(session.layout, simulated(die, stock, 90.0)))
    page.list.selectRow(0)
    page.change.click()
    session.undo()
    assert page.form.title.text() == "Next trial bend"


def test_only_tubes_of_the_dies_diameter_are_offered(page: TrialsPage, session: Session) -> None:
    layout = session.layout
    for row in range(page.head.die.count()):
        page.head.die.setCurrentIndex(row)
        page.head.die.activated.emit(row)
        assert page.pair is not None
        offered = [page.head.stock.itemData(at) for at in range(page.head.stock.count())]
        assert offered == [id for id, stock in layout.stocks.items() if bending.is_for(page.pair[0], stock)]


def test_another_die_shows_its_own_trial_bends(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    session.commit("Trial", with_trials(session.layout, simulated(die, stock, 90.0)))
    other = next(id for id in session.layout.dies if id != die.id)
    page.open_on(other)
    assert page.pair is not None
    assert page.pair[0].id == other
    assert page.list.rowCount() == 0
    page.open_on(die.id)
    assert page.list.rowCount() == 1


def test_measurements_typed_for_the_wrong_die_go_along_to_the_right_one(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    die, _ = used_pair(session)
    type_trial(qtbot, page, lead_leg="345.5")
    other = next(id for id in session.layout.dies if id != die.id)
    page.open_on(other)
    page.form.add.click()
    assert only(session).die == other
    assert only(session).lead_leg == 345.5


def test_measurements_wait_while_the_person_looks_at_another_tube(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    die, _ = used_pair(session)
    type_trial(qtbot, page)
    session.select(list(session.layout.tubes)[-1:])
    page.open_on()
    page.form.add.click()
    assert (only(session).die, only(session).length) == (die.id, 800.0)


def test_undo_shows_the_die_whose_trial_bend_it_takes_back(page: TrialsPage, session: Session) -> None:
    die, stock = used_pair(session)
    session.commit("Trial", with_trials(session.layout, simulated(die, stock, 90.0)))
    page.open_on(next(id for id in session.layout.dies if id != die.id))
    session.undo()
    assert page.pair == (die, stock)


def test_another_job_starts_the_page_anew(qtbot: QtBot, page: TrialsPage, session: Session) -> None:
    type_trial(qtbot, page)
    session.open(rack.with_starting_rack(Layout()), None)
    assert page.form.numbers["length"].text() == ""
    assert page.pair is not None


def test_a_job_without_dies_says_so(page: TrialsPage, session: Session) -> None:
    session.open(Layout(), None)
    assert page.pair is None
    assert page.head.state == NO_PAIR
    assert not page.form.isEnabled()
    page.form.add_wanted.emit()
    assert not session.layout.trials


def test_what_is_being_typed_outlives_changes_elsewhere(
    qtbot: QtBot, page: TrialsPage, session: Session
) -> None:
    type_trial(qtbot, page, mark="222")
    die, stock = used_pair(session)
    session.commit("Trial", with_trials(session.layout, simulated(die, stock, 60.0)))
    page.form.add.click()
    assert session.layout.trials[max(session.layout.trials)].mark == 222.0


def test_the_drawing_shows_the_field_that_is_typed_into(qtbot: QtBot, page: TrialsPage) -> None:
    page.form.numbers["tail_leg"].setFocus()
    assert page.drawing.active == "tail_leg"
    page.head.back.setFocus()
    assert page.drawing.active == ""


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("shown", [MILLIMETRES, INCH_FRACTIONS])
def test_nothing_is_cut_off_at_1280_by_800(
    qapp: QApplication, page: TrialsPage, session: Session, dark: bool, shown: units.Units
) -> None:
    theme.apply(qapp, dark)
    die, stock = used_pair(session)
    odd = "delivery of the third of March, second bundle"
    made = [replace(simulated(die, stock, angle + 0.25), batch=odd) for angle in (30.0, 60.0, 90.0)]
    made = [replace(trial, widest=44.9, narrowest=43.7, note=odd) for trial in made]
    session.commit("Trials", with_trials(session.layout, *made))
    page.set_units(shown)
    qapp.processEvents()
    assert page.widget().width() <= page.viewport().width()
    assert page.widget().height() <= page.viewport().height()
    assert page.list.horizontalHeader().length() <= page.list.viewport().width()
    for labels in page.result.rows:
        for label in labels:
            assert label.width() >= label.sizeHint().width()


@pytest.mark.parametrize(("legs", "named"), [(("306", "1381"), "tail_leg"), (("1381", "306"), "lead_leg")])
def test_legs_that_the_scrap_is_too_short_for_are_refused_with_both_lengths(
    qtbot: QtBot, page: TrialsPage, session: Session, legs: tuple[str, str], named: str
) -> None:
    lead, tail = legs
    values = {"mark": "200", "dial": "62.2", "angle": "60", "lead_leg": lead, "tail_leg": tail}
    type_trial(qtbot, page, length="600", **values)
    page.add()
    assert not session.layout.trials
    said = page.form.fault.text()
    assert "600.0 mm" in said
    assert "1687.0 mm" in said
    assert page.form.numbers[named].is_refused
    type_over(qtbot, page.form.numbers[named], "339")
    page.add()
    assert {only(session).lead_leg, only(session).tail_leg} == {306.0, 339.0}


@pytest.mark.parametrize("degrees", [20.0, 90.0, 115.0])
def test_legs_that_can_be_are_never_refused(session: Session, degrees: float) -> None:
    die, stock = used_pair(session)
    assert too_long(simulated(die, stock, degrees), die, stock, MILLIMETRES) is None

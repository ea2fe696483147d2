"""The window as a whole: first page, files, furniture, commands, and what it leaves behind."""

from pathlib import Path
from typing import Any

import pytest
import trimesh
from PySide6.QtCore import QEvent, QMimeData, QPoint, QPointF, QRect, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QApplication, QDockWidget, QMenu, QToolButton
from pytestqt.qtbot import QtBot

from app import actions, job_files
from app.main_window import TABS, MainWindow
from app.session import Session
from app.settings import Settings
from app.units import INCH_FRACTIONS, INCHES
from geometry import edits
from geometry.files import job as job_file
from geometry.layout import Layout

Window = MainWindow
Key = Qt.Key


def tube(window: Window, name: str) -> int:
    return next(tube.id for tube in window.session.layout.tubes.values() if tube.name == name)


def trigger(window: Window, *names: str) -> None:
    for name in names:
        assert window.commands[name].isEnabled(), name
        window.commands[name].trigger()


def visible_docks(window: Window) -> set[str]:
    return {dock.objectName() for dock in window.findChildren(QDockWidget) if dock.isVisible()}


# The first page


def test_the_window_begins_with_its_first_page(window: Window) -> None:
    assert not window.is_in_room
    assert visible_docks(window) == set()
    assert window.windowTitle() == "Untitled[*]"


def test_what_needs_a_job_is_grey_on_the_first_page(window: Window) -> None:
    for name in ("save", "export", "delete", "fit", "tool_tube", "check_now", "undo"):
        assert not window.commands[name].isEnabled(), name
    for name in ("new", "open", "sample", "import_body", "measured_body", "keys"):
        assert window.commands[name].isEnabled(), name


def test_every_command_does_something(window: Window) -> None:
    kinds = ("fold", "units", "theme", "paper")
    for command in actions.COMMANDS:
        by_name = command.name in window._doing or command.name in TABS
        assert by_name or command.name.partition("_")[0] in kinds, command.name


def test_a_new_job_has_the_usual_rack(window: Window) -> None:
    trigger(window, "new")
    assert window.is_in_room
    assert window.session.layout.stocks
    assert visible_docks(window) == {"dock-job", "dock-selection", "dock-below"}


def test_the_sample_opens_and_keeps_its_own_file(qtbot: QtBot, window: Window, answers: Any) -> None:
    trigger(window, "sample")
    qtbot.waitUntil(lambda: window.is_in_room, timeout=20_000)
    assert len(window.session.layout.tubes) > 15
    assert window.session.path is None
    trigger(window, "save")
    assert answers.asked == ["Save job"]


def test_the_sample_opened_by_its_path_keeps_its_own_file_too(qtbot: QtBot, window: Window) -> None:
    window.files.open(job_files.SAMPLE)
    qtbot.waitUntil(lambda: len(window.session.layout.tubes) > 20, timeout=20_000)
    assert window.session.path is None


# Files


def saved(window: Window, answers: Any, path: Path) -> None:
    answers.save_path = path
    trigger(window, "save_as")


def test_saving_writes_the_job_and_remembers_it(cage: Window, answers: Any, tmp_path: Path) -> None:
    saved(cage, answers, tmp_path / "crate")
    path = tmp_path / "crate.outrib"
    assert set(job_file.load(path).tubes) == set(cage.session.layout.tubes)
    assert cage.session.path == path
    assert cage.windowTitle() == "crate[*]"
    assert cage.settings.recent_jobs == (path,)
    assert cage.settings.picture_of(path).stat().st_size > 1000
    assert str(path) in cage.message.text


def test_a_job_nobody_named_is_called_like_its_file(cage: Window, answers: Any, tmp_path: Path) -> None:
    cage.session.open(edits.rename_job(cage.session.layout, Layout().name), None)
    saved(cage, answers, tmp_path / "four by four.outrib")
    assert cage.session.layout.name == "four by four"
    assert job_file.load(tmp_path / "four by four.outrib").name == "four by four"
    assert not cage.session.is_modified
    saved(cage, answers, tmp_path / "copy.outrib")
    assert cage.session.layout.name == "four by four"


def test_the_title_marks_what_is_not_saved(cage: Window, answers: Any, tmp_path: Path) -> None:
    saved(cage, answers, tmp_path / "crate.outrib")
    assert not cage.isWindowModified()
    cage.session.select((tube(cage, "Brace"),))
    trigger(cage, "delete")
    assert cage.isWindowModified()
    trigger(cage, "undo")
    assert not cage.isWindowModified()


@pytest.mark.parametrize(("choice", "goes"), [("Don't save", True), (None, False)])
def test_unsaved_work_is_asked_about(cage: Window, answers: Any, choice: str | None, goes: bool) -> None:
    cage.session.select((tube(cage, "Brace"),))
    trigger(cage, "delete")
    answers.choice = choice
    trigger(cage, "new")
    assert answers.asked == ["Unsaved changes"]
    assert (not cage.session.layout.tubes) is goes


def test_unsaved_work_can_be_saved_when_asked(cage: Window, answers: Any, tmp_path: Path) -> None:
    cage.session.select((tube(cage, "Brace"),))
    trigger(cage, "delete")
    answers.choice, answers.save_path = "Save", tmp_path / "kept.outrib"
    trigger(cage, "new")
    assert answers.asked == ["Unsaved changes", "Save job"]
    assert len(job_file.load(tmp_path / "kept.outrib").tubes) == 1
    assert not cage.session.layout.tubes


def test_closing_can_be_called_off(cage: Window, answers: Any) -> None:
    cage.session.select((tube(cage, "Brace"),))
    trigger(cage, "delete")
    answers.choice = None
    assert not cage.close()
    assert cage.isVisible()


def test_nothing_is_asked_when_all_is_saved(cage: Window, answers: Any) -> None:
    assert cage.close()
    assert answers.asked == []


def test_a_file_that_is_no_job_is_refused_in_a_sentence(qtbot: QtBot, window: Window, tmp_path: Path) -> None:
    bad = tmp_path / "bad.outrib"
    bad.write_text("not a job")
    window.files.open(bad)
    qtbot.waitUntil(lambda: "bad.outrib" in window.message.text)
    assert not window.is_in_room
    window.files.open(tmp_path / "letter.doc")
    assert "neither a job nor a mesh" in window.message.text


def test_a_folder_that_can_not_be_written_is_said(cage: Window, answers: Any, tmp_path: Path) -> None:
    saved(cage, answers, tmp_path / "nowhere" / "crate.outrib")
    assert "could not be saved" in cage.message.text
    assert cage.session.path is None


def test_a_job_opens_where_it_was_left(
    qtbot: QtBot, cage: Window, answers: Any, tmp_path: Path, layout: Layout
) -> None:
    path = tmp_path / "crate.outrib"
    cage.session.select((tube(cage, "Hoop"),))
    saved(cage, answers, path)
    trigger(cage, "look_left", "fold_job", "schedule")
    camera = cage.view.camera()
    trigger(cage, "new")
    trigger(cage, "fold_job", "findings")
    cage.files.open(path)
    qtbot.waitUntil(lambda: bool(cage.session.layout.tubes))
    qtbot.waitUntil(lambda: cage.view.camera() == camera)
    assert cage.session.selection == {tube(cage, "Hoop")}
    assert cage.furniture.is_folded("job")
    assert cage.furniture.tabs.currentWidget() is cage.schedule


def drop(window: Window, path: Path) -> None:
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path))])
    event = QDropEvent(
        QPointF(50, 50),
        Qt.DropAction.CopyAction,
        data,
        Qt.MouseButton.LeftButton,
        Qt.KeyboardModifier.NoModifier,
    )
    window.dropEvent(event)


def test_a_job_can_be_dropped_on_the_window(
    qtbot: QtBot, window: Window, tmp_path: Path, layout: Layout
) -> None:
    job_file.save(layout, tmp_path / "crate.outrib")
    drop(window, tmp_path / "crate.outrib")
    qtbot.waitUntil(lambda: bool(window.session.layout.tubes))
    assert window.session.path == tmp_path / "crate.outrib"


# A body comes in


@pytest.fixture
def mesh(tmp_path: Path) -> Path:
    path = tmp_path / "van.stl"
    trimesh.creation.box((4000.0, 1700.0, 1400.0)).export(path)
    return path


def bring_in(qtbot: QtBot, window: Window, mesh: Path) -> None:
    drop(window, mesh)
    qtbot.waitUntil(lambda: window.on_steps.is_open, timeout=30_000)


def test_a_mesh_that_is_dropped_is_seen_before_it_is_taken(qtbot: QtBot, window: Window, mesh: Path) -> None:
    bring_in(qtbot, window, mesh)
    assert window.is_in_room
    assert window.session.is_previewing
    assert "dock-step" in visible_docks(window)
    assert "dock-selection" not in visible_docks(window)
    assert window.hint.text().startswith("See that size and direction are right")
    assert not window.commands["tool_tube"].isEnabled()


def test_enter_in_the_view_brings_the_body_in(qtbot: QtBot, window: Window, mesh: Path) -> None:
    bring_in(qtbot, window, mesh)
    qtbot.keyClick(window.view, Key.Key_Return)
    assert len(window.session.recorded.bodies) == 1
    assert window.session.undo_stack.undoText() == "Bring in body"
    assert window.commands["undo"].text() == "&Undo Bring in body"
    assert visible_docks(window) == {"dock-job", "dock-selection", "dock-below"}


def test_escape_in_the_view_leaves_the_body_out(qtbot: QtBot, window: Window, mesh: Path) -> None:
    bring_in(qtbot, window, mesh)
    qtbot.keyClick(window.view, Key.Key_Escape)
    assert not window.session.layout.bodies
    assert not window.on_steps.is_open
    assert not window.session.undo_stack.canUndo()


def test_points_picked_in_the_view_reach_the_step(qtbot: QtBot, window: Window, mesh: Path) -> None:
    bring_in(qtbot, window, mesh)
    panel = window.on_steps._step
    panel.pick_two.click()
    assert window.view.tool == "pick points"
    assert "points" in window.hint.text()
    qtbot.keyClick(window.view, Key.Key_Escape)
    assert window.view.tool == "select"


def test_another_job_ends_the_step(qtbot: QtBot, window: Window, mesh: Path) -> None:
    bring_in(qtbot, window, mesh)
    trigger(window, "new")
    assert not window.on_steps.is_open
    assert not window.session.layout.bodies


def test_a_body_is_built_from_measurements(qtbot: QtBot, window: Window) -> None:
    trigger(window, "measured_body")
    assert window.on_steps.is_open
    window.on_steps.accept()
    (body,) = window.session.recorded.bodies.values()
    assert body.measured is not None
    trigger(window, "change_measurements")
    assert window.on_steps.is_open
    window.on_steps.cancel()
    assert not window.on_steps.is_open


@pytest.mark.parametrize(("choice", "bodies"), [("Accept them", 1), ("Drop them", 0), (None, 0)])
def test_measurements_that_were_typed_are_asked_about(
    window: Window, answers: Any, choice: str | None, bodies: int
) -> None:
    trigger(window, "new", "measured_body")
    answers.choice = choice
    assert window.on_steps.settle() is (choice is not None)
    assert answers.asked == ["Measured body"]
    assert len(window.session.recorded.bodies) == bodies
    answers.choice = "Drop them"
    window.on_steps.settle()
    answers.choice = "Don't save"


def test_saving_leaves_an_open_step_alone(
    qtbot: QtBot, window: Window, mesh: Path, answers: Any, tmp_path: Path
) -> None:
    bring_in(qtbot, window, mesh)
    saved(window, answers, tmp_path / "early.outrib")
    assert window.on_steps.is_open
    assert window.session.is_previewing
    assert not job_file.load(tmp_path / "early.outrib").bodies


def test_a_body_can_be_placed_again(cage: Window) -> None:
    trigger(cage, "place_body")
    assert cage.on_steps.is_open
    cage.on_steps.cancel()
    assert cage.session.layout is cage.session.recorded


def test_a_panel_can_be_split(cage: Window) -> None:
    cage.session.select([id for id, panel in cage.session.layout.panels.items() if panel.name == "box"])
    trigger(cage, "split_panel")
    assert cage.view.tool == "pick points"
    cage.on_steps.close()
    assert not cage.on_steps.is_open
    assert cage.view.tool == "select"


# The packet


def test_the_packet_says_where_it_went(qtbot: QtBot, cage: Window, answers: Any, tmp_path: Path) -> None:
    answers.folder = tmp_path / "packet"
    answers.folder.mkdir()
    trigger(cage, "export")
    qtbot.waitUntil(lambda: str(answers.folder) in cage.message.text, timeout=60_000)
    assert {file.suffix for file in answers.folder.iterdir()} >= {".pdf", ".csv", ".json"}
    assert not cage.files.is_busy


def test_work_that_runs_can_be_cancelled(qtbot: QtBot, cage: Window, answers: Any, tmp_path: Path) -> None:
    answers.folder = tmp_path
    trigger(cage, "export")
    assert cage.progress.isVisible()
    cage.progress.cancel()
    qtbot.waitUntil(lambda: not cage.files.is_busy, timeout=20_000)
    assert not cage.progress.isVisible()
    assert not (tmp_path / "packet.pdf").exists()


def test_closing_while_work_runs_ends_it(cage: Window, answers: Any, tmp_path: Path) -> None:
    answers.folder = tmp_path
    trigger(cage, "export")
    assert cage.close()


# Furniture


@pytest.mark.parametrize(
    ("key", "dock"), [(Key.Key_F6, "dock-job"), (Key.Key_F7, "dock-selection"), (Key.Key_F8, "dock-below")]
)
def test_each_piece_of_furniture_folds_with_its_key(qtbot: QtBot, cage: Window, key: Key, dock: str) -> None:
    qtbot.keyClick(cage, key)
    assert dock not in visible_docks(cage)
    qtbot.keyClick(cage, key)
    assert dock in visible_docks(cage)


def test_the_view_can_be_alone(qtbot: QtBot, cage: Window) -> None:
    trigger(cage, "fold_job", "view_alone")
    assert visible_docks(cage) == set()
    assert not cage.menuBar().isVisible()
    assert cage.view.isVisible()
    trigger(cage, "view_alone")
    assert visible_docks(cage) == {"dock-selection", "dock-below"}
    assert cage.menuBar().isVisible()


def test_tabs_open_on_demand_and_close_again(cage: Window) -> None:
    trigger(cage, "rack", "limits", "keys")
    assert cage.furniture.tabs.count() == 5
    assert cage.furniture.tabs.currentWidget() is cage.keys
    for button in cage.furniture.tabs.tabBar().findChildren(QToolButton, "fold"):
        button.click()
    assert cage.furniture.tabs.count() == 2


def test_nothing_is_cut_off_on_a_small_screen(qtbot: QtBot, cage: Window) -> None:
    QApplication.processEvents()
    assert (cage.width(), cage.height()) == (1280, 780)
    assert cage.minimumSizeHint().width() <= 1280
    assert cage.minimumSizeHint().height() <= 780
    extension = cage._toolbar.findChild(QToolButton, "qt_toolbar_ext_button")
    assert extension is None or not extension.isVisible()
    assert cage.view.width() >= 640
    assert cage.view.height() >= 400


# Commands


def test_a_key_takes_a_tool_and_the_button_shows_it(qtbot: QtBot, cage: Window) -> None:
    cage.view.setFocus()
    qtbot.keyClick(cage.view, Key.Key_T)
    assert cage.view.tool == "tube"
    assert cage.commands["tool_tube"].isChecked()
    qtbot.keyClick(cage.view, Key.Key_Escape)
    assert cage.commands["tool_select"].isChecked()


def test_letters_typed_in_a_field_take_no_tool(qtbot: QtBot, cage: Window) -> None:
    name = cage.properties.job.name
    name.setFocus()
    qtbot.keyClicks(name, "tdm")
    assert cage.view.tool == "select"
    assert "tdm" in name.text()


def test_commands_grey_with_the_selection(cage: Window) -> None:
    assert not cage.commands["mirror"].isEnabled()
    cage.session.select((tube(cage, "Brace"),))
    assert cage.commands["mirror"].isEnabled()
    assert not cage.commands["split_here"].isEnabled()
    nodes = cage.session.layout.tubes[tube(cage, "Hoop")].nodes
    cage.session.select(nodes[1:2])
    assert cage.commands["split_here"].isEnabled()
    cage.session.select(nodes[:2])
    assert cage.commands["join_nodes"].isEnabled()


def test_tools_can_be_changed_in_the_middle_of_a_drag_or_a_tube(cage: Window) -> None:
    node = cage.session.layout.tubes[tube(cage, "Hoop")].nodes[0]
    cage.session.preview(edits.move_nodes(cage.session.layout, (node,), (0.0, 0.0, 5.0)))
    for name in actions.TOOLS:
        assert cage.commands[name].isEnabled(), name
    assert not cage.commands["undo"].isEnabled()
    cage.session.cancel()


def test_undo_names_what_it_takes_back(cage: Window) -> None:
    cage.session.select((tube(cage, "Brace"),))
    trigger(cage, "delete")
    assert cage.commands["undo"].text() == "&Undo Delete Brace"
    trigger(cage, "undo")
    assert cage.commands["redo"].text() == "&Redo Delete Brace"
    assert cage.hint.text() == "Undone: Delete Brace."
    assert not cage.commands["undo"].isEnabled()


def test_a_refusal_stands_over_the_view_and_stops_nothing(cage: Window) -> None:
    hoop = tube(cage, "Hoop")
    cage.session.select((cage.session.layout.tubes[hoop].nodes[0],))
    trigger(cage, "split_here")
    assert cage.message.isVisible()
    assert cage.message.text.endswith(".")
    assert cage.message.parentWidget() is cage.centralWidget()
    assert QApplication.activeModalWidget() is None
    cage.session.select((tube(cage, "Brace"),))
    trigger(cage, "reverse")
    assert not cage.message.isVisible()


@pytest.mark.parametrize("times", [1, 2])
def test_renaming_types_in_the_list(cage: Window, times: int) -> None:
    cage.session.select((tube(cage, "Brace"),))
    cage.outline.tree.collapseAll()
    for _ in range(times):
        trigger(cage, "rename")
    assert cage.outline.tree.state() == cage.outline.tree.State.EditingState


def test_a_context_menu_offers_what_is_possible(qtbot: QtBot, cage: Window) -> None:
    cage.view.context_menu_wanted.emit(QPoint(10, 10), frozenset((tube(cage, "Brace"),)))
    menu = QApplication.activePopupWidget()
    assert isinstance(menu, QMenu)
    names = {action.objectName() for action in menu.actions()}
    assert {"mirror", "reverse", "delete", "rename"} <= names
    assert "split_panel" not in names
    menu.close()


def test_a_context_menu_can_be_asked_for_again(qtbot: QtBot, cage: Window) -> None:
    for _ in range(3):
        cage.view.context_menu_wanted.emit(QPoint(10, 10), frozenset((tube(cage, "Brace"),)))
        menu = QApplication.activePopupWidget()
        assert isinstance(menu, QMenu)
        menu.close()
        QApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
        cage.menus["stock"].aboutToShow.emit()
        assert cage.menus["stock"].actions()


def test_stock_is_changed_from_a_menu(cage: Window) -> None:
    brace = tube(cage, "Brace")
    cage.session.select((brace,))
    menu = cage.menus["stock"]
    menu.aboutToShow.emit()
    menu.actions()[3].trigger()
    assert cage.session.layout.tubes[brace].stock == list(cage.session.layout.stocks)[3]


def test_the_stock_of_new_tubes_is_one_for_menu_panel_and_view(cage: Window) -> None:
    menu = cage.menus["new_stock"]
    menu.aboutToShow.emit()
    menu.actions()[2].trigger()
    wanted = list(cage.session.layout.stocks)[2]
    assert cage.view.current_stock == wanted
    assert cage.properties.job.chosen_stock == wanted


def test_units_change_everywhere_at_once(cage: Window) -> None:
    trigger(cage, "units_16")
    assert cage.view.units == INCH_FRACTIONS
    assert cage.properties.job.length.text().endswith(" in")
    assert cage.properties.job.standoff.text() == "1 3/16 in"
    assert Settings().units == INCH_FRACTIONS


def test_the_look_changes_at_once(cage: Window) -> None:
    for name, is_dark in (("theme_dark", True), ("theme_light", False)):
        trigger(cage, name)
        ground = cage.palette().window().color().lightness()
        assert (ground < 128) is is_dark


def test_every_look_of_the_view_can_be_asked_for(cage: Window) -> None:
    trigger(cage, "look_front")
    cameras = [cage.view.camera()]
    for name in ("look_back", "look_left", "look_right", "look_top", "look_bottom", "look_corner"):
        trigger(cage, name)
        cameras.append(cage.view.camera())
    assert len({str(camera) for camera in cameras}) == 7
    trigger(cage, "parallel", "grid", "figure", "fainter", "denser", "fit", "fly_to")
    trigger(cage, "section_x", "section_on", "section_back", "section_y", "section_z", "section_off")


# Checks


def test_a_finding_that_is_chosen_is_flown_to(qtbot: QtBot, cage: Window) -> None:
    cage.session.apply("Move", lambda now: edits.move_nodes(now, (tube(cage, "Hoop"),), (0.0, -40.0, 0.0)))
    qtbot.waitUntil(lambda: bool(cage.findings._rows()), timeout=30_000)
    before = cage.view.camera()
    trigger(cage, "next_finding")
    assert cage.session.selection == {tube(cage, "Hoop")}
    assert cage.view.camera() != before
    assert cage.furniture.tabs.tabText(0).startswith("Findings (")


def test_what_the_checks_say_reaches_every_panel(qtbot: QtBot, cage: Window) -> None:
    cage.session.select((tube(cage, "Hoop"),))
    qtbot.waitUntil(lambda: "box" in cage.properties.tube.nearest_panel.text(), timeout=30_000)
    assert "box" in str(cage.schedule.model.index(0, 6).data())


def test_a_window_can_be_made_and_closed_again_and_again(qtbot: QtBot, answers: Any, layout: Layout) -> None:
    for _ in range(4):
        window = MainWindow(Session(layout), Settings())
        window.show()
        window.show_room()
        window.live.request(window.session.revision, layout)
        assert window.close()
        window.deleteLater()


def test_trial_bends_have_a_page_of_their_own_and_escape_leads_back(qtbot: QtBot, cage: Window) -> None:
    cage.session.select([tube(cage, "Hoop")])
    trigger(cage, "trial_bends")
    assert cage.trials.isVisible()
    assert not cage.view.isVisible()
    assert visible_docks(cage) == set()
    assert cage.trials.pair is not None
    assert cage.trials.pair[1].id == cage.session.layout.tubes[tube(cage, "Hoop")].stock
    assert cage.commands["save"].isEnabled()
    assert not cage.commands["tool_tube"].isEnabled()
    qtbot.keyClick(cage.trials.form.numbers["length"], Key.Key_Escape)
    assert cage.view.isVisible()
    assert cage.commands["tool_tube"].isEnabled()


def test_the_rack_leads_to_the_trial_bends_of_a_die(cage: Window) -> None:
    die = list(cage.session.layout.dies)[-1]
    cage.rack.trials_wanted.emit(die)
    assert cage.trials.isVisible()
    assert cage.trials.pair is not None
    assert cage.trials.pair[0].id == die


def test_a_trial_bend_that_is_added_can_be_undone_from_its_page(qtbot: QtBot, cage: Window) -> None:
    trigger(cage, "trial_bends")
    for name, text in (("length", "800"), ("angle", "86.5")):
        qtbot.keyClicks(cage.trials.form.numbers[name], text)
    cage.trials.form.add.click()
    assert len(cage.session.layout.trials) == 1
    trigger(cage, "undo")
    assert not cage.session.layout.trials
    assert cage.trials.isVisible()


def test_arrows_move_by_the_step_that_was_chosen(qtbot: QtBot, cage: Window) -> None:
    hoop = cage.session.layout.tubes[tube(cage, "Hoop")]
    assert cage.view.nudge_step == 5.0
    cage.properties.job.step.setFocus()
    cage.properties.job.step.setText("2")
    qtbot.keyClick(cage.properties.job.step, Qt.Key.Key_Return)
    before = cage.session.layout.nodes[hoop.nodes[1]].position
    cage.view.look_from("left")
    cage.session.select({hoop.nodes[1]})
    cage.view.setFocus()
    qtbot.keyClick(cage.view, Qt.Key.Key_Up)
    assert cage.session.layout.nodes[hoop.nodes[1]].position[2] == pytest.approx(before[2] + 2.0)
    assert cage.settings.nudge_step == 2.0
    cage.settings.set_units(INCHES)
    assert cage.view.nudge_step == 2.0


def test_the_job_page_lays_on_both_sides(cage: Window) -> None:
    cage.properties.job.both_sides.click()
    assert cage.session.layout.both_sides
    assert cage.commands["both_sides"].isChecked()
    assert cage.session.layout.tubes[tube(cage, "Hoop")].twin == tube(cage, "Hoop")
    assert not cage.session.layout.tubes[tube(cage, "Brace")].mirrors
    trigger(cage, "undo")
    assert not cage.properties.job.both_sides.isChecked()


def test_a_message_does_not_cover_the_legend(qtbot: QtBot, cage: Window) -> None:
    cage.view.set_colouring("ramp")
    qtbot.waitUntil(cage.view.legend.isVisible)
    cage.resize(1024, 700)
    cage.message.refuse("This is a long sentence that says what is wrong and what to do about it. " * 3)
    covered = QRect(cage.message.mapToGlobal(QPoint()), cage.message.size())
    legend = QRect(cage.view.legend.mapToGlobal(QPoint()), cage.view.legend.size())
    assert not covered.intersects(legend)
    assert cage.view.rect().contains(cage.view.legend.geometry())

"""The window: it makes the rooms, connects them with each other, and arranges the furniture."""

import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

from PySide6.QtCore import QPoint, QSize, Qt, QTimer, QUrl
from PySide6.QtGui import (
    QCloseEvent,
    QDesktopServices,
    QDragEnterEvent,
    QDropEvent,
    QGuiApplication,
    QKeyEvent,
    QSurfaceFormat,
)
from PySide6.QtWidgets import (
    QApplication,
    QMainWindow,
    QMenu,
    QScrollArea,
    QSlider,
    QStackedWidget,
    QToolBar,
    QVBoxLayout,
    QWidget,
)

from app import actions, possible, rack_files, theme
from app import settings as places
from app.aid_commands import AidCommands
from app.arranging_commands import ArrangingCommands
from app.bars import HintLine, JobBar, MessageBar
from app.crash import CrashHook, start_log
from app.furniture import Furniture
from app.garbage import TidyGarbage
from app.guarded import guarded
from app.job_files import JobFiles
from app.laying_commands import LayingCommands
from app.live_checks import LiveChecks
from app.moving_commands import MovingCommands
from app.panels.checklist import Checklist
from app.panels.cross_section import CrossSectionPanel
from app.panels.findings import FindingsPanel
from app.panels.keys import Group, KeysPanel, Row
from app.panels.limits import LimitsPanel
from app.panels.measures_panel import MeasuresPanel
from app.panels.outline import OutlinePanel
from app.panels.properties import PropertiesPanel
from app.panels.rack import RackPanel
from app.panels.schedule import SchedulePanel
from app.panels.start import CHOICES, StartPage
from app.panels.trials import TrialsPage
from app.panels.versions import VersionsPanel
from app.rack_files import RackFiles
from app.selection_commands import SelectionCommands
from app.session import Session
from app.settings import Settings
from app.step_commands import StepCommands
from app.tour_commands import TourCommands
from app.units import Units
from app.view_commands import ViewCommands
from app.viewport.view import View
from geometry.aids import MeasureKind
from geometry.checks.findings import Finding, Report
from geometry.layout import Layout

TITLE = "Outrib"
FEW, FEW_MS, MANY_MS = 40, 60, 400  # ms that lists of findings may be behind the hand
FIRST_SIZE = QSize(1280, 760)
ROOMY = QSize(1440, 900)  # a smaller screen is filled
LARGEST = QSize(1680, 1000)  # that the window takes without being asked
SMALLEST = QSize(900, 560)
PICTURE = QSize(528, 330)  # of a recent job; three times the card's, for sharp screens
COVER = QSize(1600, 1000)  # of the packet's cover
TABS = {
    "findings": ("Findings", "What the checks say, worst first."),
    "schedule": ("Schedule", "Blanks, bends and masses, one row a tube."),
    "cross_section": ("Cross-section", "The selected tube cut square, with the metal round it."),
    "access": ("Access", "What needs room on a car, and which of it is kept free."),
    "measures": ("Measures", "Overall sizes, approach and departure, and what was measured."),
    "versions": ("Versions", "Snapshots of this job, and what differs between two of them."),
    "rack": ("Rack", "The tubes, dies and benders the shop has."),
    "limits": ("Limits", "What the checks judge by."),
    "keys": ("Keys", "Every command with its key, and what hand and keys do in the view."),
}
ABOUT = (
    "Outrib {version}, MIT licence. It lays out an external tube cage and computes geometry and estimates. "
    "It certifies nothing: strength and safety are for a licensed engineer, a qualified welder, local codes "
    "and the event's rule book."
)


def run(path: Path | None = None, safe_graphics: bool = False) -> int:
    """Open the window, optionally on a file, and stay until it is closed."""
    from app.viewport import viewport

    QSurfaceFormat.setDefaultFormat(viewport.default_format())
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("outrib")
    app.setApplicationDisplayName(TITLE)
    app.setDesktopFileName("outrib")
    app.setAttribute(Qt.ApplicationAttribute.AA_DontShowIconsInMenus)
    start_log()
    settings = Settings()
    layout, trouble = rack_files.empty_job()
    session = Session(layout)
    window = MainWindow(session, settings, safe_graphics or settings.safe_graphics)
    if trouble:
        window.message.tell(trouble)
    hook = CrashHook(partial(getattr, session, "recorded"), app)
    hook.install()
    window.show()
    tidy = TidyGarbage(app)
    if path is not None:
        window.files.open(path.absolute())
    try:
        return int(app.exec())
    finally:
        tidy.stop()
        hook.remove()


class MainWindow(QMainWindow):
    """One job at a time."""

    def __init__(self, session: Session, settings: Settings, safe_graphics: bool = False) -> None:
        super().__init__()
        self.session = session
        self.settings = settings
        self.setMinimumSize(SMALLEST)
        self.resize(FIRST_SIZE)
        self.setAcceptDrops(True)
        self._state_before = self.windowState()  # before the view was alone
        self.setContextMenuPolicy(Qt.ContextMenuPolicy.NoContextMenu)
        self._listed: tuple[int, Report] | None = None  # what the lists do not show yet
        self._list_timer = QTimer(self)
        self._list_timer.setSingleShot(True)
        self._list_timer.timeout.connect(self._list_report)
        self._make_middle(safe_graphics)
        self._make_panels()
        self.furniture = Furniture(self)
        self._arrange_panels()
        self.files = JobFiles(session, settings, self)
        self.rack_files = RackFiles(session, settings, self)
        self.files.make_empty = self.rack_files.empty_job
        self.live = LiveChecks(self)
        self.on_selection = SelectionCommands(session, self)
        self.on_view = ViewCommands(self.view, session, self)
        self.on_aids = AidCommands(session, self.view, self)
        self.on_arranging = ArrangingCommands(session, self.view, settings, self)
        self.on_moving = MovingCommands(session, self.view, self.properties, self)
        self.on_laying = LayingCommands(session, self.view, self.properties, settings, self)
        self.on_steps = StepCommands(session, self.view, self.furniture, settings, self)
        self.files.settle_step = self.on_steps.settle
        self.on_tour = TourCommands(session, self.view, self.findings, self.files, settings, self)
        self.commands = actions.make_actions(self, self._on_triggered)
        self._doing = self._what_commands_do()
        self.menus = actions.fill_menus(self.menuBar(), self.commands)
        self._toolbar = self._make_toolbar()
        self._connect()
        self._show_choices()
        self._show_step()
        self._dress()
        self._restore_window()
        self._show_hint()
        self._show_title()
        self.show_start()

    # What there is

    def _make_middle(self, safe_graphics: bool) -> None:
        self.start = StartPage()
        self.room = QWidget()
        self.view = View(self.session, self.settings.units, self.room, safe_graphics=safe_graphics)
        self.hint = HintLine()
        column = QVBoxLayout(self.room)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.view, 1)
        column.addWidget(self.hint)
        self._middle = QStackedWidget()
        self._middle.addWidget(self.start)
        self._middle.addWidget(self.room)
        self.trials = TrialsPage(self.session, self.settings.units)
        self._middle.addWidget(self.trials)
        self.setCentralWidget(self._middle)
        self.message = MessageBar(self._middle)
        self.progress = JobBar(self._middle)
        self.message.stand_below(self.progress)

    def _make_panels(self) -> None:
        session, units = self.session, self.settings.units
        self.outline = OutlinePanel(session, units)
        self.properties = PropertiesPanel(session, units)
        self.findings = FindingsPanel(session, units)
        self.schedule = SchedulePanel(session, units)
        self.cross_section = CrossSectionPanel(session, units)
        self.access = Checklist(session)
        self.measures = MeasuresPanel(session, units)
        self.versions = VersionsPanel(session, units)
        self.rack = RackPanel(session, units)
        self.limits = LimitsPanel(session, units)
        self.keys = KeysPanel()
        self.keys.set_groups(_key_groups())

    def _arrange_panels(self) -> None:
        furniture = self.furniture
        furniture.set_side("job", "Job", "F6", self.outline)
        furniture.set_side("selection", "Selection", "F7", self.properties)
        furniture.set_below("F8")
        for name in ("findings", "schedule"):
            furniture.add_tab(getattr(self, name), *TABS[name])
        furniture.first_arrangement()

    def _make_toolbar(self) -> QToolBar:
        bar = QToolBar("Tools", self)
        bar.setObjectName("toolbar")
        bar.setMovable(False)
        bar.setIconSize(QSize(20, 20))
        bar.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        for name in actions.TOOLBAR.split():
            if name == actions.SEPARATOR:
                bar.addSeparator()
                continue
            bar.addAction(self.commands[name])
            if name in actions.ICONS_ALONE:
                button = bar.widgetForAction(self.commands[name])
                button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonIconOnly)  # type: ignore[attr-defined]
        self.addToolBar(bar)
        return bar

    def _what_commands_do(self) -> dict[str, Callable[..., object]]:
        """What each command calls; switches are handed their tick."""
        doing: dict[str, Callable[..., object]] = {
            "new": self.files.new,
            "open": self.files.ask_open,
            "sample": self.files.open_sample,
            "save": self.files.save,
            "save_as": self.files.save_as,
            "import_body": self.files.ask_bring_in,
            "measured_body": self._on_measures_wanted,
            "export": self._on_export,
            "write_cuts": self.files.write_cuts,
            "quit": self.close,
            "undo": self._on_undo,
            "redo": self._on_redo,
            "rename": self._on_rename,
            "check_now": self._on_check_now,
            "take_snapshot": self._on_take_snapshot,
            "trial_bends": self.show_trials,
            "next_finding": self._on_next_finding,
            "previous_finding": self._on_previous_finding,
            "view_alone": self._on_view_alone,
            "start_page": self.show_start,
            "safe_graphics": self._on_safe_graphics,
            "log": self._on_log,
            "about": self._on_about,
        }
        for group in (
            self.on_selection,
            self.on_view,
            self.on_laying,
            self.on_aids,
            self.on_arranging,
            self.on_moving,
            self.on_steps,
            self.on_tour,
        ):
            for command in actions.COMMANDS:
                if command.name not in doing and hasattr(type(group), command.name):
                    doing[command.name] = getattr(group, command.name)
        return doing | self.on_aids.zone_commands()

    def _on_triggered(self, ticked: bool) -> None:
        """Run the command whose action was triggered."""
        name = self.sender().objectName()
        kind, _, choice = name.partition("_")
        if name in TABS:
            self._show_tab(name)
            if name == "findings":  # F4 leaves the keys with the view
                self.findings.setFocus(Qt.FocusReason.ShortcutFocusReason)
        elif kind == "fold":
            self.furniture.fold(choice, not ticked)  # type: ignore[arg-type]
        elif kind == "units":
            self.settings.set_units(UNIT_CHOICES[choice])
        elif kind == "theme":
            self.settings.set_theme(choice)  # type: ignore[arg-type]
        elif kind == "paper":
            self.settings.set_paper("A4" if choice == "a4" else "letter")
        elif name in SWITCHES:
            self._doing[name](ticked)
        else:
            self._doing[name]()

    # How it hangs together

    def _connect(self) -> None:
        session, view, files = self.session, self.view, self.files
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._update_actions)
        session.previewing_changed.connect(self._update_actions)
        session.previewing_changed.connect(self._list_report)
        session.refused.connect(self.message.refuse)
        session.path_changed.connect(self._show_title)
        session.committed.connect(self._on_committed)
        session.undo_stack.cleanChanged.connect(self._show_title)
        session.undo_stack.undoTextChanged.connect(self._update_undo)
        session.undo_stack.redoTextChanged.connect(self._update_undo)
        view.hint_changed.connect(self._show_hint)
        view.tool_changed.connect(self._on_tool_changed)
        view.context_menu_wanted.connect(self._on_context_menu)
        self.outline.fly_to_wanted.connect(self.on_view.fly_to_ids)
        self.outline.menu_wanted.connect(self._on_outline_menu)
        self.schedule.fly_to_wanted.connect(self.on_view.fly_to_ids)
        self.rack.import_wanted.connect(self.rack_files.bring_in)
        self.rack.export_wanted.connect(self.rack_files.write)
        self.rack.keep_wanted.connect(self.rack_files.keep)
        self.rack.forget_wanted.connect(self.rack_files.forget)
        self.rack.trials_wanted.connect(self.show_trials)
        self.trials.left.connect(self.show_room)
        self.rack_files.refused.connect(self.message.refuse)
        self.rack_files.told.connect(self.message.tell)
        self.access.zone_wanted.connect(view.set_zone)
        self.versions.ghosts_wanted.connect(view.show_ghosts)
        self.versions.fly_to_wanted.connect(self.on_view.fly_to_ids)
        self.versions.refused.connect(self.message.refuse)
        self.versions.told.connect(self.message.tell)
        self.measures.kind_wanted.connect(self._on_measure_kind)
        self.measures.fly_to_wanted.connect(self.on_view.fly_to_ids)
        self.keys.command_wanted.connect(self._on_key_row)
        self.cross_section.ring_changed.connect(view.show_ring)
        self.findings.chosen.connect(self._on_finding)
        self.findings.counted.connect(self._on_counted)
        self.properties.command_wanted.connect(self._on_command)
        self.properties.stock_chosen.connect(self._on_stock_chosen)
        self.properties.job.step_chosen.connect(self._on_step_chosen)
        self.live.ready.connect(self._on_report)
        self.live.failed.connect(self.findings.show_failure)
        self.live.envelopes_changed.connect(view.show_envelopes)
        self.live.envelopes_changed.connect(self.properties.axle.show_envelopes)
        self.on_arranging.told.connect(self.message.tell)
        self.on_moving.refused.connect(self.message.refuse)
        self.on_moving.told.connect(self.message.tell)
        self.on_moving.job_started.connect(self.progress.follow)
        files.job_started.connect(self.progress.follow)
        files.refused.connect(self.message.refuse)
        files.told.connect(self._on_told)
        files.scan_read.connect(self._on_scan)
        files.job_opened.connect(self._on_job_opened)
        files.about_to_leave.connect(self._on_leaving)
        files.saved.connect(self._on_saved)
        self.on_steps.refused.connect(self.message.refuse)
        self.on_steps.job_started.connect(self.progress.follow)
        self.on_steps.changed.connect(self._on_step_changed)
        self.furniture.folded_changed.connect(self._on_folded)
        self.start.scan_wanted.connect(files.ask_bring_in)
        self.start.measures_wanted.connect(self._on_measures_wanted)
        self.start.sample_wanted.connect(files.open_sample)
        self.start.open_wanted.connect(files.ask_open)
        self.start.job_wanted.connect(files.open)
        self.start.tour_wanted.connect(self.on_tour.tour)
        self.start.tour_declined.connect(self._on_tour_declined)
        self.settings.units_changed.connect(self._on_units_changed)
        self.settings.theme_changed.connect(self._dress)
        self.settings.recent_changed.connect(self._show_recent)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._dress)
        self.menus["recent"].aboutToShow.connect(self._fill_recent)
        for name in STOCK_MENUS:
            self.menus[name].aboutToShow.connect(self._fill_stocks)

    def show_start(self) -> None:
        """Show the first page; the job that is open stays open."""
        self._show_recent()
        self.start.offer_tour(self.settings.tour == "new")
        self._middle.setCurrentWidget(self.start)
        self._toolbar.hide()
        self.furniture.set_away(True)
        self._update_actions()

    def show_room(self) -> None:
        """Show the view with its furniture."""
        if self._middle.currentWidget() is self.room:
            return
        self._middle.setCurrentWidget(self.room)
        self._arrange_for_view_alone()
        self.view.setFocus()
        self._update_actions()

    def show_trials(self, die: int | None = None) -> None:
        """Show the page of trial bends, of a die or of what the selected tube uses."""
        self.on_steps.close()
        self.trials.open_on(die)
        self._middle.setCurrentWidget(self.trials)
        self.menuBar().show()
        self._toolbar.show()
        self.furniture.set_away(True)
        self.trials.begin()
        self._update_actions()

    @property
    def is_in_room(self) -> bool:
        return self._middle.currentWidget() is self.room

    @property
    def is_at_job(self) -> bool:
        """The job is shown: its view, or its trial bends."""
        return self._middle.currentWidget() is not self.start

    # What changes in the job

    def _on_changed(self, before: Layout, after: Layout) -> None:
        self.live.request(self.session.revision, after)

    def _on_undo(self) -> None:
        words = self.session.undo_stack.undoText()
        self.session.undo()
        self.view.say(f"Undone: {words}.")

    def _on_redo(self) -> None:
        words = self.session.undo_stack.redoText()
        self.session.redo()
        self.view.say(f"Done again: {words}.")

    def _on_committed(self, layout: Layout) -> None:
        self.message.forget_refusal()
        self._show_title()
        self.commands["both_sides"].setChecked(layout.both_sides)
        self._update_actions()

    def _on_report(self, revision: int, report: Report) -> None:
        self.view.show_report(revision, report)
        self.properties.show_report(report)
        self.cross_section.show_report(report)
        self.access.show_report(report)
        self.on_steps.show_report(revision, report)
        self.versions.show_report(report, revision == self.session.revision)
        self._listed = (revision, report)
        if not self.session.is_previewing:
            self._list_report()
        elif not self._list_timer.isActive():
            self._list_timer.start(FEW_MS if len(report.findings) < FEW else MANY_MS)

    def _list_report(self) -> None:
        """Show the newest report in the lists; under a moving hand they follow some frames behind."""
        self._list_timer.stop()
        if self._listed is None:
            return
        (revision, report), self._listed = self._listed, None
        self.findings.show_report(report, revision == self.session.revision)
        self.schedule.show_report(report)
        self.outline.show_report(report)

    def _on_check_now(self) -> None:
        self.live.request(self.session.revision, self.session.layout)
        self._show_tab("findings")

    def _on_take_snapshot(self) -> None:
        self._show_tab("versions")
        self.versions.begin()

    def _on_counted(self, serious: int, notes: int) -> None:
        count = serious + notes
        title = TABS["findings"][0]
        self.furniture.name_tab(self.findings, f"{title} ({count})" if count else title)
        for name in ("next_finding", "previous_finding"):
            self.commands[name].setEnabled(bool(count) and self.is_in_room)

    def _on_finding(self, finding: Finding) -> None:
        self.on_view.show_finding(finding)

    def _on_next_finding(self) -> None:
        self._show_tab("findings")
        self.findings.step(1)

    def _on_previous_finding(self) -> None:
        self._show_tab("findings")
        self.findings.step(-1)

    # Files

    def _on_saved(self, path: Path) -> None:
        self._remember_job(path)
        if not self.settings.picture_of(path).is_file():
            self._keep_picture(path)
        without = "; the step that is still open is not in it" if self.session.is_previewing else ""
        self.message.tell(f"Saved as {path}{without}")

    def _on_export(self) -> None:
        if self.session.is_previewing:
            self.session.cancel()
        self.files.write_packet(self.view.picture(COVER.width(), COVER.height()))

    def _on_told(self, sentence: str, folder: Path | None) -> None:
        if folder is None:
            self.message.tell(sentence)
        else:
            self.message.tell(sentence, "Open the folder", partial(_open_folder, folder))

    def _on_scan(self, scan: object) -> None:
        self.show_room()
        self.on_steps.bring_in(scan)

    def _on_measures_wanted(self) -> None:
        self.show_room()
        self.on_steps.measured_body()

    def _on_job_opened(self, path: Path | None) -> None:
        self.on_steps.close()
        self.message.hide()
        self.show_room()
        state = self.settings.job_state(path) if path is not None else {}
        self.furniture.restore(state)
        self._arrange_for_view_alone()
        self.session.select(id for id in state.get("selection", ()) if isinstance(id, int))
        camera = state.get("camera")
        if isinstance(camera, dict):
            self.view.set_camera(camera)
        else:
            # The room has its size only after the event loop has laid it out.
            QTimer.singleShot(0, self.view, self.view.fit)
        self.live.forget_before(self.session.revision)
        self.live.request(self.session.revision, self.session.layout)

    def _on_leaving(self) -> None:
        self.on_steps.close()
        if self.session.is_previewing:
            self.session.cancel()
        path = self.session.path
        if path is not None and self.is_at_job:
            self._remember_job(path)
            self._keep_picture(path)

    def _remember_job(self, path: Path) -> None:
        """Keep how the window is now for the next time this job is opened."""
        state = self.furniture.state()
        state |= {"camera": self.view.camera(), "selection": sorted(self.session.selection)}
        self.settings.set_job_state(path, state)

    def _keep_picture(self, path: Path) -> None:
        """Draw the job for the first page; with a large scan it takes a while, so not at each save."""
        picture = self.settings.picture_of(path)
        picture.parent.mkdir(parents=True, exist_ok=True)
        picture.write_bytes(self.view.picture(PICTURE.width(), PICTURE.height()))

    # What is shown where

    def _show_title(self) -> None:
        session = self.session
        name = session.path.stem if session.path is not None else session.layout.name
        self.setWindowTitle(f"{name}[*]")
        self.setWindowFilePath(str(session.path) if session.path is not None else "")
        self.setWindowModified(session.is_modified)

    def _update_undo(self) -> None:
        stack = self.session.undo_stack
        for name, words, text in (("undo", "&Undo", stack.undoText()), ("redo", "&Redo", stack.redoText())):
            self.commands[name].setText(f"{words} {text}".strip().replace("&&", "&"))
            self.commands[name].setIconText(words.replace("&", ""))
        self._update_actions()

    def _update_actions(self) -> None:
        """Grey what makes no sense now."""
        now = possible.commands(
            self.session,
            self.on_selection,
            self.on_steps,
            self.on_aids,
            self.on_arranging,
            self.is_at_job,
            self.is_in_room,
        )
        for name, is_possible in now.items():
            self.commands[name].setEnabled(is_possible)

    def _on_command(self, name: str) -> None:
        self.commands[name].trigger()

    def _on_key_row(self, name: str) -> None:
        """Run a command from the sheet of keys; say so where it makes no sense now."""
        command = self.commands[name]
        self.view.setFocus()
        if command.isEnabled():
            command.trigger()
        else:
            self.message.refuse(f"“{command.iconText()}” has nothing to work on now.")

    def _on_tool_changed(self, tool: str) -> None:
        action = self.commands.get(f"tool_{tool}")
        if action is not None:
            action.setChecked(True)

    def _on_step_changed(self) -> None:
        self.findings.set_mending(not self.on_steps.is_open)
        self._show_hint()
        self._update_actions()

    def _show_hint(self, *_: object) -> None:
        """What the step waits for, else what the tool waits for."""
        asks_for_points = self.view.tool == "pick points"
        self.hint.setText(self.view.hint if asks_for_points else self.on_steps.hint or self.view.hint)

    def _on_measure_kind(self, kind: MeasureKind) -> None:
        if self.commands["tool_measure"].isEnabled():
            self.view.set_measuring(kind)
        else:
            self.message.refuse("Finish or cancel the open step first.")

    def _on_step_chosen(self, step: float) -> None:
        if step > 0.0:
            self.settings.set_nudge_step(step)
        self._show_step()

    def _show_step(self) -> None:
        """Let arrow keys move by the step that was chosen, or one that suits the units."""
        self.view.nudge_step = self.settings.nudge_step or self.view.usual_step
        self.properties.job.step.set_value(self.view.nudge_step)

    def _on_stock_chosen(self, stock: int) -> None:
        self.view.current_stock = stock

    def _on_rename(self) -> None:
        self.furniture.fold("job", False)
        self.outline.rename_current()

    def _show_tab(self, name: str) -> None:
        self.show_room()
        self.furniture.show_tab(getattr(self, name), *TABS[name])
        if name == "access":
            self.access.tree.setFocus(Qt.FocusReason.ShortcutFocusReason)
        elif name == "keys":
            self.keys.search.setFocus(Qt.FocusReason.ShortcutFocusReason)
            self.keys.search.selectAll()

    def _on_folded(self, place: str, folded: bool) -> None:
        self.commands[f"fold_{place}"].setChecked(not folded)

    def _on_view_alone(self, alone: bool) -> None:
        self.show_room()
        if alone:
            self._state_before = self.windowState()
            self.showFullScreen()
        else:
            self.setWindowState(self._state_before)
        self._arrange_for_view_alone()

    def _arrange_for_view_alone(self) -> None:
        alone = self.commands["view_alone"].isChecked()
        self.menuBar().setVisible(not alone)
        self._toolbar.setVisible(not alone)
        self.furniture.set_away(alone)

    def _on_context_menu(self, place: QPoint, ids: frozenset[int]) -> None:
        if ids and not ids <= self.session.selection:
            self.session.select(ids)
        self._show_menu(place)

    def _on_outline_menu(self, place: QPoint) -> None:
        self._show_menu(place)

    def _show_menu(self, place: QPoint) -> None:
        """What can be done with the selection, or with nothing selected."""
        menu = QMenu(self)
        menu.setToolTipsVisible(True)
        menu.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        for group in actions.CONTEXT if self.session.selection else actions.CONTEXT_OF_NOTHING:
            possible = [self.commands[name] for name in group if self.commands[name].isEnabled()]
            if possible:
                menu.addActions(possible)
                menu.addSeparator()
        if any(self.commands[name].isEnabled() for name in self.on_arranging.possible()):
            menu.addAction(self.menus["arrange"].menuAction())
        if self.on_selection.tubes:
            menu.addAction(self.menus["stock"].menuAction())  # addMenu would hand its life to this menu
        if not menu.isEmpty():
            menu.popup(place)

    def _fill_recent(self) -> None:
        menu = self.menus["recent"]
        menu.clear()
        for job in self.settings.recent_jobs:
            entry = menu.addAction(job.stem, self._on_recent)
            entry.setToolTip(str(job))
            entry.setData(str(job))
        if menu.isEmpty():
            menu.addAction("No job yet").setEnabled(False)

    def _on_recent(self) -> None:
        self.files.open(Path(str(self.sender().data())))  # type: ignore[attr-defined]

    def _fill_stocks(self) -> None:
        """List the rack: what new tubes are made of, or what the selected ones shall be."""
        for_new, change = (self.menus[name] for name in STOCK_MENUS)
        for menu, chosen in ((for_new, self.view.current_stock), (change, self._stock_of_selection())):
            menu.clear()
            for stock in self.session.layout.stocks.values():
                entry = menu.addAction(stock.name, self._on_stock_menu)
                entry.setCheckable(True)
                entry.setChecked(stock.id == chosen)
                entry.setData((menu is for_new, stock.id))
        change.setEnabled(True)

    def _stock_of_selection(self) -> int | None:
        stocks = {self.session.layout.tubes[id].stock for id in self.on_selection.tubes}
        return stocks.pop() if len(stocks) == 1 else None

    def _on_stock_menu(self) -> None:
        is_for_new, stock = self.sender().data()  # type: ignore[attr-defined]
        if is_for_new:
            self.properties.job.choose_stock(stock)
        elif self.on_selection.tubes:
            self.on_selection.set_stock(stock)
        else:
            self.message.refuse("Select the tubes that shall be of this stock first.")

    def _show_recent(self) -> None:
        self.start.set_recent([(job, self.settings.picture_of(job)) for job in self.settings.recent_jobs])

    # What the person prefers

    def _show_choices(self) -> None:
        """Tick what is chosen in the menus."""
        settings = self.settings
        units = next(name for name, units in UNIT_CHOICES.items() if _same_units(units, settings.units))
        for name in (f"units_{units}", f"theme_{settings.theme}", f"paper_{settings.paper.lower()}"):
            self.commands[name].setChecked(True)
        for name in (
            "fold_job",
            "fold_selection",
            "fold_below",
            "tool_select",
            "section_off",
            "grid",
            "guides",
            "show_measures",
            "show_wheels",
        ):
            self.commands[name].setChecked(True)
        self.commands["safe_graphics"].setChecked(settings.safe_graphics)

    def _on_units_changed(self, units: Units) -> None:
        for part in (
            self.view,
            self.properties,
            self.findings,
            self.schedule,
            self.cross_section,
            self.measures,
            self.versions,
            self.rack,
            self.limits,
            self.trials,
        ):
            part.set_units(units)
        self.outline.set_units(units)
        self.on_steps.set_units(units)
        self._show_step()

    def _on_safe_graphics(self, on: bool) -> None:
        self.settings.set_safe_graphics(on)
        self.message.tell(
            f"From the next start the view draws {'without' if on else 'with'} the graphics card."
        )

    def _dress(self, *_: object) -> None:
        """Light or dark, everywhere at once."""
        app = QApplication.instance()
        dark = theme.is_dark(self.settings.theme)
        if isinstance(app, QApplication):
            theme.apply(app, dark)
        self.view.set_theme(dark)
        for command in actions.COMMANDS:
            if command.icon:
                self.commands[command.name].setIcon(theme.icon(command.icon, dark))
        self.start.set_icons([theme.icon(name, dark, 52) for name, _, _ in CHOICES])
        self.findings.set_sign_colours(theme.severity_colours(dark))
        self.outline.set_sign_colours(theme.band_colours(dark))
        self.cross_section.set_sign_colours(theme.band_colours(dark))
        self.setWindowIcon(theme.icon("outrib", dark, 64))

    def _on_tour_declined(self) -> None:
        self.on_tour.decline()
        self.start.offer_tour(False)

    def _on_log(self) -> None:
        _open_folder(places.state_folder())

    def _on_about(self) -> None:
        from app.version import version

        self.message.tell(ABOUT.format(version=version()))

    # Coming and going

    def _restore_window(self) -> None:
        """As it was left; the first time as large as it needs, on a small screen as large as there is."""
        if self.restoreGeometry(self.settings.bytes_at("window/geometry")):
            return
        room = self.screen().availableSize()
        if room.width() < ROOMY.width() or room.height() < ROOMY.height():
            self.setWindowState(Qt.WindowState.WindowMaximized)
        else:
            self.resize(
                QSize(min(room.width() - 160, LARGEST.width()), min(room.height() - 120, LARGEST.height()))
            )

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        """What nobody else wanted: Enter and Escape end an open step."""
        if self.on_steps.is_open and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.on_steps.accept()
        elif self.on_steps.is_open and event.key() == Qt.Key.Key_Escape:
            self.on_steps.cancel()
        elif self.on_tour.is_running and event.key() == Qt.Key.Key_Escape:
            self.on_tour.leave()
        elif isinstance(self.focusWidget(), QSlider | QScrollArea) and self.view.tool_takes(event):
            event.accept()  # beside the view, but with no use for the key
        else:
            super().keyPressEvent(event)

    @guarded()
    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if _dropped_file(event) is not None:
            event.acceptProposedAction()

    @guarded()
    def dropEvent(self, event: QDropEvent) -> None:
        path = _dropped_file(event)
        if path is not None:
            event.acceptProposedAction()
            # The other program waits for its drop to end; questions come after that.
            QTimer.singleShot(0, self, partial(self.files.open, path))

    @guarded()
    def closeEvent(self, event: QCloseEvent) -> None:
        if not self.files.may_leave():
            event.ignore()
            return
        if not self.isFullScreen():
            self.settings.set_bytes("window/geometry", self.saveGeometry())
        self.settings.sync()
        self.on_steps.close()
        self.on_steps.stop()
        self.files.stop()
        self.on_moving.stop()
        self.on_laying.stop()
        self.versions.stop()
        self.live.stop()
        self.view.shutdown()
        self.session.undo_stack.blockSignals(True)  # it empties itself when it goes
        event.accept()


STOCK_MENUS = ("new_stock", "stock")
SWITCHES = {command.name for command in actions.COMMANDS if command.is_switch}
UNIT_CHOICES = {
    "mm": Units("mm"),
    "in": Units("in"),
    "8": Units("in-fraction", 8),
    "16": Units("in-fraction", 16),
    "32": Units("in-fraction", 32),
}


def _key_groups() -> list[Group]:
    """Every command as the sheet of keys lists it."""
    groups = actions.by_menu()
    return [
        Group(title, tuple(Row(actions.plain_text(c), c.key, c.tip, c.name) for c in commands))
        for title, commands in groups
    ]


def _same_units(a: Units, b: Units) -> bool:
    return a.length == b.length and (a.length != "in-fraction" or a.fraction == b.fraction)


def _open_folder(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(folder)))


def _dropped_file(event: QDropEvent) -> Path | None:
    files = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
    return Path(files[0]) if files else None

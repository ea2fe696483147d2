"""What is selected, with its numbers; with nothing selected, the job as a whole."""

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import QScrollArea, QVBoxLayout, QWidget

from app.panels.axle_page import AxlePage
from app.panels.body_pages import BodyPage, PanelPage
from app.panels.follow_page import FollowPage
from app.panels.job_page import JobPage
from app.panels.many_page import ManyPage
from app.panels.measure_page import MeasurePage
from app.panels.node_page import NodePage
from app.panels.reference_page import ReferencePage
from app.panels.rows import Page
from app.panels.tube_page import TubePage
from app.panels.zone_page import ZonePage
from app.session import Session
from app.units import Units
from geometry.checks.findings import Report
from geometry.layout import Layout

FOLLOW_MS = 40  # between two looks at a drag


class PropertiesPanel(QScrollArea):
    """Shows the page that suits the selection and keeps it up to date."""

    command_wanted = Signal(str)  # name of a command
    stock_chosen = Signal(int)  # for new tubes

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.job = JobPage(session, units)
        self.tube = TubePage(session, units)
        self.node = NodePage(session, units)
        self.panel = PanelPage(session, units)
        self.body = BodyPage(session, units)
        self.axle = AxlePage(session, units)
        self.reference = ReferencePage(session, units)
        self.zone = ZonePage(session, units)
        self.measure = MeasurePage(session, units)
        self.many = ManyPage(session, units)
        self.follow = FollowPage(session, units)
        self._is_following = False
        self._page: Page = self.job
        holder = QWidget()
        column = QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        for page in self._all_pages():
            page.setVisible(page is self._page)
            page.command_wanted.connect(self.command_wanted)
            column.addWidget(page)
        self.setWidget(holder)
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.job.stock_chosen.connect(self.stock_chosen)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(FOLLOW_MS)
        self._timer.timeout.connect(self._refresh)
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._on_selection)
        self._on_selection(session.selection)

    @property
    def page(self) -> Page:
        """The page that is shown."""
        return self._page

    def set_units(self, units: Units) -> None:
        for page in self._all_pages():
            page.set_units(units)

    def show_report(self, report: Report) -> None:
        self.tube.show_report(report)
        self.panel.show_report(report)
        self.axle.show_report(report)
        self.zone.show_report(report)

    def _all_pages(self) -> tuple[Page, ...]:
        return (
            self.job,
            self.tube,
            self.node,
            self.panel,
            self.body,
            self.axle,
            self.reference,
            self.zone,
            self.measure,
            self.many,
            self.follow,
        )

    def show_following(self, on: bool) -> None:
        """Show the page of a tube along the body while that is laid."""
        self._is_following = on
        self._on_selection(self._session.selection)

    def _on_changed(self, before: Layout, after: Layout) -> None:
        # The hand comes first: while dragging, the numbers follow a few frames behind.
        if not self._session.is_previewing:
            self._refresh()
        elif not self._timer.isActive():
            self._timer.start()

    def _refresh(self) -> None:
        self._timer.stop()
        self._page.refresh()

    def _on_selection(self, selection: frozenset[int]) -> None:
        page = self._page_for(selection)
        page.show_ids(selection)
        if page is not self._page:
            self._page.hide()
            self._page = page
            page.show()
            self.verticalScrollBar().setValue(0)
        self._keep_wide_enough()

    def _keep_wide_enough(self) -> None:
        """Grow to what the page needs beside a scroll bar, so that nothing lies under that."""
        needed = self._page.minimumSizeHint().width() + self.verticalScrollBar().sizeHint().width()
        self.setMinimumWidth(max(self.minimumWidth(), needed))

    def _page_for(self, selection: frozenset[int]) -> Page:
        layout = self._session.layout
        if self._is_following:
            return self.follow
        if not selection:
            return self.job
        if len(selection) > 1:
            return self.many
        (id,) = selection
        if id in layout.tubes:
            return self.tube
        if id in layout.nodes:
            return self.node
        if id in layout.axles:
            return self.axle
        if id in layout.references:
            return self.reference
        if id in layout.zones:
            return self.zone
        if id in layout.measures:
            return self.measure
        return self.panel if id in layout.panels else self.body

"""What the checks say: sentences, worst first, grouped by tube."""

from collections.abc import Iterable

from PySide6.QtCore import QDateTime, QLocale, QModelIndex, QPersistentModelIndex, QRect, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QPainter, QPalette, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QLabel,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import wording
from app.guarded import guarded
from app.panels.mending import MendButton, Mending
from app.panels.rows import children, keep_to_width
from app.session import Session
from app.units import Units
from geometry.checks.finding import Mend
from geometry.checks.findings import Finding, Report
from geometry.layout import Layout

FINDING = Qt.ItemDataRole.UserRole
SIGN = Qt.ItemDataRole.UserRole + 1
SIGN_WIDTH = 22
PADDING, LEFT, RIGHT = 3, 2, 4
BUTTON_GAP = 10
LEAST_SENTENCE = 260  # pixels; in a narrower list the button goes below its sentence
WHOLE_JOB = "The job"
Index = QModelIndex | QPersistentModelIndex


class FindingsPanel(QWidget):
    """Click a sentence to select what it speaks of and to fly there."""

    chosen = Signal(object)  # Finding
    counted = Signal(int, int)  # errors and warnings; notes
    mended = Signal()  # a mend was taken and recorded

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._report: Report | None = None
        self._is_current = False
        self._when = ""
        self._mending = Mending(session, self)
        self._buttons: list[MendButton] = []
        self._shape: list[object] = []
        self._summary = QLabel(wordWrap=True)
        self._summary.setContentsMargins(10, 5, 10, 3)
        keep_to_width(self._summary)
        self._tree = FindingsList()
        self._delegate = SentenceDelegate(self._tree)
        self._tree.setItemDelegate(self._delegate)
        self._tree.currentItemChanged.connect(self._on_current)
        self._tree.itemClicked.connect(self._on_clicked)
        self._tree.mend_wanted.connect(self._on_mend_wanted)
        self.setFocusProxy(self._tree)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self._summary)
        column.addWidget(self._tree, 1)
        session.opened.connect(self._on_opened)
        session.changed.connect(self._on_changed)
        session.committed.connect(self._update_buttons)
        session.previewing_changed.connect(self._update_buttons)
        self._mending.refused.connect(self.show_failure)
        self._show_summary()

    @property
    def tree(self) -> QTreeWidget:
        return self._tree

    @property
    def summary(self) -> str:
        return self._summary.text()

    def set_units(self, units: Units) -> None:
        self._units = units
        self._fill()

    def set_sign_colours(self, colours: dict[str, str]) -> None:
        """Colour the signs by severity; their shapes differ as well."""
        self._delegate.colours = {name: QColor(value) for name, value in colours.items()}
        self._tree.viewport().update()

    def set_mending(self, allowed: bool) -> None:
        """Offer mends, or not while a step is open."""
        self._mending.set_allowed(allowed)
        self._update_buttons()

    def show_report(self, report: Report, is_current: bool) -> None:
        """Show what the checks say; while a mend is looked at, its button must stay where it is."""
        if self._mending.is_shown:
            self._show_outcome(report)
            return
        old, self._report = self._report, report
        self._is_current = is_current
        if is_current:
            self._mending.set_judged(self._session.layout)
            now = QDateTime.currentDateTime().time()
            self._when = QLocale().toString(now, QLocale.FormatType.ShortFormat)
        if old is None or old.findings != report.findings:
            self._fill()
        else:
            self._show_summary()
            self._update_buttons()

    def show_failure(self, sentence: str) -> None:
        """Say why there are no findings."""
        self._summary.setText(sentence)

    def step(self, by: int) -> None:
        """Go to the next finding or the one before, round the end."""
        rows = [item for item in self._rows() if item.data(0, FINDING) is not None]
        if not rows:
            return
        current = self._tree.currentItem()
        place = rows.index(current) + by if current in rows else (0 if by > 0 else -1)
        item = rows[place % len(rows)]
        self._tree.setCurrentItem(item)

    def _rows(self) -> list[QTreeWidgetItem]:
        return [row for group in children(self._tree.invisibleRootItem()) for row in children(group)]

    def _fill(self) -> None:
        """Show the findings; where only their numbers differ from those shown, the rows stay."""
        report = self._report
        if report is None:
            return
        layout = self._session.layout
        groups = [(group_name(tube, layout), found) for tube, found in by_tube(report.findings)]
        shape = [(name, [what_is_found(finding) for finding in found]) for name, found in groups]
        self._tree.blockSignals(True)
        if shape != self._shape:
            self._shape = list(shape)
            self._make_rows(groups)
        for item, finding in zip(self._rows(), (one for _, found in groups for one in found), strict=True):
            self._word(item, finding, layout)
        self._tree.blockSignals(False)
        self._update_buttons()
        notes = sum(finding.severity == "note" for finding in report.findings)
        self.counted.emit(len(report.findings) - notes, notes)
        self._show_summary()

    def _make_rows(self, groups: list[tuple[str, list[Finding]]]) -> None:
        """Make a row for each finding, anew; what was chosen stays chosen if it is still found."""
        current = self._tree.currentItem()
        chosen = current.data(0, FINDING) if current is not None else None
        place = self._tree.verticalScrollBar().value()
        self._buttons = []
        self._tree.clear()
        for name, findings in groups:
            group = QTreeWidgetItem(self._tree, [name])
            group.setFlags(Qt.ItemFlag.ItemIsEnabled)
            font = group.font(0)
            font.setWeight(font.Weight.DemiBold)
            group.setFont(0, font)
            for finding in findings:
                item = QTreeWidgetItem(group)
                if finding == chosen:
                    self._tree.setCurrentItem(item)
                if finding.mend is not None:
                    self._add_button(item, finding.mend)
        self._tree.expandAll()
        self._tree.verticalScrollBar().setValue(place)
        self._order_buttons()

    def _word(self, item: QTreeWidgetItem, finding: Finding, layout: Layout) -> None:
        """Write a finding and its mend into its row."""
        sentence = wording.say(finding, layout, self._units)
        item.setText(0, sentence)
        item.setData(0, FINDING, finding)
        item.setData(0, SIGN, finding.severity)
        words = f"{wording.rule_title(finding.rule)}: {wording.SEVERITY_WORDS[finding.severity]}"
        item.setToolTip(0, words)
        item.setData(0, Qt.ItemDataRole.AccessibleTextRole, f"{words}. {sentence}")
        button = self._tree.itemWidget(item, 0)
        if isinstance(button, MendButton) and finding.mend is not None:
            button.set_mend(finding.mend, wording.say_mend(finding.mend, layout, self._units))
            self._tree.scheduleDelayedItemsLayout()  # it may be wider now

    def _add_button(self, item: QTreeWidgetItem, mend: Mend) -> None:
        button = MendButton(mend)
        button.looked_at.connect(self._on_looked_at)
        button.wanted.connect(self._on_mend)
        button.left.connect(self._tree.setFocus)
        self._tree.setItemWidget(item, 0, button)
        self._buttons.append(button)

    def _order_buttons(self) -> None:
        """Let Tab go from the list to its buttons, from above to below."""
        before: QWidget = self._tree
        for button in self._buttons:
            QWidget.setTabOrder(before, button)
            before = button

    def _update_buttons(self, *_: object) -> None:
        is_offered = self._mending.is_offered
        for button in self._buttons:
            button.setEnabled(is_offered and button.mend.tube in self._session.recorded.tubes)

    def _show_outcome(self, report: Report) -> None:
        """Say what the checks would find with the mend that is looked at."""
        layout = self._session.layout
        words = wording.report_summary(report, layout, self._units)
        self._summary.setText(f"As it would be: {words}")

    def _show_summary(self) -> None:
        layout = self._session.layout
        if not layout.tubes and not layout.axles:
            self._summary.setText("No tube yet; the checks begin with the first one.")
        elif self._report is None:
            self._summary.setText("Checking.")
        else:
            words = wording.report_summary(self._report, layout, self._units)
            when = f" At {self._when}." if self._is_current else " Checking again."
            self._summary.setText(words + when)

    def _on_changed(self, before: Layout, after: Layout) -> None:
        self._is_current = False
        self._update_buttons()
        if not after.tubes:  # no report follows without tubes and axles
            self._show_summary()

    def _on_opened(self) -> None:
        self._report = None
        self._mending.set_judged(None)
        self._buttons, self._shape = [], []
        self._tree.clear()
        self.counted.emit(0, 0)
        self._show_summary()

    def _on_current(self, item: QTreeWidgetItem | None) -> None:
        finding = item.data(0, FINDING) if item is not None else None
        if finding is not None:
            self._choose(finding)

    def _on_clicked(self, item: QTreeWidgetItem) -> None:
        if item.data(0, FINDING) is not None and set(item.data(0, FINDING).tubes) - self._session.selection:
            self._choose(item.data(0, FINDING))

    def _on_looked_at(self, mend: Mend, is_looked_at: bool) -> None:
        if is_looked_at:
            self._mending.show(mend)
            return
        self._mending.leave()
        self._show_summary()

    def _on_mend(self, mend: Mend, words: str) -> None:
        if any(button.hasFocus() for button in self._buttons):
            self._tree.setFocus()  # the button goes with its finding
        if self._mending.make(mend, words):
            self.mended.emit()

    def _on_mend_wanted(self, item: QTreeWidgetItem) -> None:
        """Go from a sentence to its button by a key."""
        button = self._tree.itemWidget(item, 0)
        if button is not None:
            button.setFocus(Qt.FocusReason.OtherFocusReason)

    def _choose(self, finding: Finding) -> None:
        self._session.select(finding.tubes or finding.nodes or finding.panels)
        self.chosen.emit(finding)


def by_tube(findings: Iterable[Finding]) -> list[tuple[int | None, list[Finding]]]:
    """Group findings by their first tube, the group with the worst finding first."""
    groups: dict[int | None, list[Finding]] = {}
    for finding in findings:
        groups.setdefault(finding.tubes[0] if finding.tubes else None, []).append(finding)
    return list(groups.items())


def what_is_found(finding: Finding) -> tuple[object, ...]:
    """Return what a finding is, whatever its numbers are just now."""
    return (
        finding.rule,
        finding.severity,
        finding.tubes,
        finding.nodes,
        finding.panels,
        finding.mend is None,
    )


def group_name(tube: int | None, layout: Layout) -> str:
    return layout.tubes[tube].name if tube in layout.tubes else WHOLE_JOB


class FindingsList(QTreeWidget):
    """One column of wrapped sentences; the right arrow goes to a sentence's button."""

    mend_wanted = Signal(QTreeWidgetItem)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setHeaderHidden(True)
        self.setIndentation(12)
        self.setWordWrap(True)
        self.setRootIsDecorated(False)
        self.setAccessibleName("Findings")
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()  # sentences wrap elsewhere now

    @guarded(False)
    def edit(self, *_: object) -> bool:
        """Keep the focus: a sentence that becomes the current one would hand it to its button."""
        return False

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        item = self.currentItem()
        if event.key() == Qt.Key.Key_Right and item is not None and self.itemWidget(item, 0) is not None:
            self.mend_wanted.emit(item)
            return
        super().keyPressEvent(event)


class SentenceDelegate(QStyledItemDelegate):
    """Draws a coloured sign and the sentence, as high as it wraps, with room for the button beside it."""

    def __init__(self, view: QTreeWidget) -> None:
        super().__init__(view)
        self._view = view
        self.colours: dict[str, QColor] = {}

    @guarded(QSize(10, 20))
    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        width = max(self._view.viewport().width() - self._view.indentation(), 60)
        button, beside, below = self._room_for_button(index, width)
        box = QRect(0, 0, width - SIGN_WIDTH - LEFT - RIGHT - beside, 10_000)
        wrapped = option.fontMetrics.boundingRect(box, Qt.TextFlag.TextWordWrap, index.data())
        height = wrapped.height() + below
        return QSize(width, max(height, button.height() if beside else 0) + 2 * PADDING)

    def _room_for_button(self, index: Index, width: int) -> tuple[QSize, int, int]:
        """Return how large a row's button is, and what it takes beside and below the sentence."""
        button: QWidget | None = self._view.indexWidget(index)
        if button is None:
            return QSize(0, 0), 0, 0
        size = button.sizeHint().boundedTo(QSize(width - SIGN_WIDTH - LEFT - RIGHT, 100))
        beside = size.width() + BUTTON_GAP
        if width - SIGN_WIDTH - LEFT - RIGHT - beside >= LEAST_SENTENCE:
            return size, beside, 0
        return size, 0, size.height() + PADDING

    @guarded()
    def updateEditorGeometry(self, editor: QWidget, option: QStyleOptionViewItem, index: Index) -> None:
        """Place the button at the right of its sentence, or below where there is no room."""
        row = option.rect.adjusted(LEFT, PADDING, -RIGHT, -PADDING)
        size, beside, _ = self._room_for_button(index, option.rect.width())
        left = row.right() - size.width() + 1 if beside else row.left() + SIGN_WIDTH
        top = row.top() if beside else row.bottom() - size.height() + 1
        editor.setGeometry(left, top, size.width(), size.height())

    @guarded()
    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        severity = index.data(SIGN)
        if severity is None:
            super().paint(painter, option, index)
            return
        chosen = bool(option.state & QStyle.StateFlag.State_Selected)
        role = QPalette.ColorRole.HighlightedText if chosen else QPalette.ColorRole.Text
        if chosen:
            painter.fillRect(option.rect, option.palette.highlight())
        text = option.palette.color(role)
        inner = option.rect.adjusted(LEFT, PADDING, -RIGHT, -PADDING)
        painter.save()
        painter.setPen(text if chosen else self.colours.get(severity, text))
        painter.drawText(inner, Qt.AlignmentFlag.AlignTop, wording.SEVERITY_SIGNS[severity])
        painter.setPen(text)
        _, beside, _ = self._room_for_button(index, option.rect.width())
        painter.drawText(inner.adjusted(SIGN_WIDTH, 0, -beside, 0), Qt.TextFlag.TextWordWrap, index.data())
        painter.restore()

"""What the checks say: sentences, worst first, grouped by tube."""

from collections.abc import Iterable

from PySide6.QtCore import QDateTime, QLocale, QModelIndex, QPersistentModelIndex, QRect, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPalette, QResizeEvent
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
from app.panels.rows import children, keep_to_width
from app.session import Session
from app.units import Units
from geometry.checks.findings import Finding, Report
from geometry.layout import Layout

FINDING = Qt.ItemDataRole.UserRole
SIGN = Qt.ItemDataRole.UserRole + 1
SIGN_WIDTH = 22
PADDING, LEFT, RIGHT = 3, 2, 4
WHOLE_JOB = "The job"
Index = QModelIndex | QPersistentModelIndex


class FindingsPanel(QWidget):
    """Click a sentence to select what it speaks of and to fly there."""

    chosen = Signal(object)  # Finding
    counted = Signal(int, int)  # errors and warnings; notes

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._report: Report | None = None
        self._is_current = False
        self._when = ""
        self._summary = QLabel(wordWrap=True)
        self._summary.setContentsMargins(10, 5, 10, 3)
        keep_to_width(self._summary)
        self._tree = FindingsList()
        self._delegate = SentenceDelegate(self._tree)
        self._tree.setItemDelegate(self._delegate)
        self._tree.currentItemChanged.connect(self._on_current)
        self._tree.itemClicked.connect(self._on_clicked)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self._summary)
        column.addWidget(self._tree, 1)
        session.opened.connect(self._on_opened)
        session.changed.connect(self._on_changed)
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

    def show_report(self, report: Report, is_current: bool) -> None:
        """Show what the checks say; pale while the layout is ahead of them."""
        old, self._report = self._report, report
        self._is_current = is_current
        if is_current:
            now = QDateTime.currentDateTime().time()
            self._when = QLocale().toString(now, QLocale.FormatType.ShortFormat)
        if old is None or old.findings != report.findings:
            self._fill()
        else:
            self._show_summary()

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
        report = self._report
        if report is None:
            return
        self._tree.blockSignals(True)
        current = self._tree.currentItem()
        chosen = current.data(0, FINDING) if current is not None else None
        place = self._tree.verticalScrollBar().value()
        self._tree.clear()
        layout = self._session.layout
        for tube, findings in by_tube(report.findings):
            self._add_group(group_name(tube, layout), findings, layout, chosen)
        self._tree.expandAll()
        self._tree.verticalScrollBar().setValue(place)
        self._tree.blockSignals(False)
        notes = sum(finding.severity == "note" for finding in report.findings)
        self.counted.emit(len(report.findings) - notes, notes)
        self._show_summary()

    def _add_group(self, name: str, findings: list[Finding], layout: Layout, chosen: Finding | None) -> None:
        group = QTreeWidgetItem(self._tree, [name])
        group.setFlags(Qt.ItemFlag.ItemIsEnabled)
        font = group.font(0)
        font.setWeight(font.Weight.DemiBold)
        group.setFont(0, font)
        for finding in findings:
            sentence = wording.say(finding, layout, self._units)
            item = QTreeWidgetItem(group, [sentence])
            item.setData(0, FINDING, finding)
            item.setData(0, SIGN, finding.severity)
            words = f"{wording.rule_title(finding.rule)}: {wording.SEVERITY_WORDS[finding.severity]}"
            item.setToolTip(0, words)
            item.setData(0, Qt.ItemDataRole.AccessibleTextRole, f"{words}. {sentence}")
            if finding == chosen:
                self._tree.setCurrentItem(item)

    def _show_summary(self) -> None:
        layout = self._session.layout
        if not layout.tubes:
            self._summary.setText("No tube yet; the checks begin with the first one.")
        elif self._report is None:
            self._summary.setText("Checking.")
        else:
            words = wording.report_summary(self._report, layout, self._units)
            when = f" At {self._when}." if self._is_current else " Checking again."
            self._summary.setText(words + when)

    def _on_changed(self, before: Layout, after: Layout) -> None:
        self._is_current = False
        if not after.tubes:
            self._show_summary()

    def _on_opened(self) -> None:
        self._report = None
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

    def _choose(self, finding: Finding) -> None:
        self._session.select(finding.tubes or finding.nodes or finding.panels)
        self.chosen.emit(finding)


def by_tube(findings: Iterable[Finding]) -> list[tuple[int | None, list[Finding]]]:
    """Group findings by their first tube, the group with the worst finding first."""
    groups: dict[int | None, list[Finding]] = {}
    for finding in findings:
        groups.setdefault(finding.tubes[0] if finding.tubes else None, []).append(finding)
    return list(groups.items())


def group_name(tube: int | None, layout: Layout) -> str:
    return layout.tubes[tube].name if tube in layout.tubes else WHOLE_JOB


class FindingsList(QTreeWidget):
    """One column of wrapped sentences."""

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


class SentenceDelegate(QStyledItemDelegate):
    """Draws a coloured sign and the sentence, as high as it wraps."""

    def __init__(self, view: QTreeWidget) -> None:
        super().__init__(view)
        self._view = view
        self.colours: dict[str, QColor] = {}

    @guarded(QSize(10, 20))
    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        width = self._view.viewport().width() - self._view.indentation() - SIGN_WIDTH - LEFT - RIGHT
        box = QRect(0, 0, max(width, 60), 10_000)
        wrapped = option.fontMetrics.boundingRect(box, Qt.TextFlag.TextWordWrap, index.data())
        return QSize(max(width, 60), wrapped.height() + 2 * PADDING)

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
        painter.drawText(inner.adjusted(SIGN_WIDTH, 0, 0, 0), Qt.TextFlag.TextWordWrap, index.data())
        painter.restore()

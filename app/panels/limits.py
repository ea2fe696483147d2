"""What the checks judge by: each limit with its meaning and where its default comes from."""

from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QScrollArea, QWidget

from app.panels.fields import AngleField, LengthField, NumberField
from app.panels.rows import keep_to_width
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.layout import LIMITS, Layout, LimitInfo, Limits


class LimitsPanel(QScrollArea):
    """One row a limit; Enter records the new value as one undo step."""

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._fields: dict[str, NumberField] = {}
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setWidget(self._make_rows(units))
        session.changed.connect(self._on_changed)
        self._show(session.layout.limits)

    @property
    def fields(self) -> dict[str, NumberField]:
        return self._fields

    def set_units(self, units: Units) -> None:
        for field in self._fields.values():
            if isinstance(field, LengthField):
                field.set_units(units)

    def _make_rows(self, units: Units) -> QWidget:
        page = QWidget()
        grid = QGridLayout(page)
        grid.setHorizontalSpacing(12)
        grid.setVerticalSpacing(6)
        grid.setContentsMargins(10, 8, 10, 8)
        for row, (name, info) in enumerate(LIMITS.items()):
            field = _field_for(info, units)
            field.setAccessibleName(info.label)
            field.setFixedWidth(110)
            field.entered.connect(partial(self._on_entered, name))
            self._fields[name] = field
            label = QLabel(info.label)
            label.setBuddy(field)
            says = QLabel(f"{info.meaning} Default from: {info.source}.", wordWrap=True)
            says.setProperty("kind", "faint")
            keep_to_width(says)
            for place, part in enumerate((label, field, says)):
                grid.addWidget(part, row, place)
        grid.setColumnStretch(2, 1)
        back = QPushButton("Back to the defaults")
        back.setToolTip("Set every limit to the value a new job has.")
        back.clicked.connect(self._on_defaults)
        grid.addWidget(back, len(LIMITS), 0, 1, 2, Qt.AlignmentFlag.AlignLeft)
        grid.setRowStretch(len(LIMITS) + 1, 1)
        return page

    def _show(self, limits: Limits) -> None:
        for name, field in self._fields.items():
            field.set_value(getattr(limits, name))

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.limits != after.limits:
            self._show(after.limits)

    def _on_entered(self, name: str, value: float) -> None:
        label = LIMITS[name].label.lower()
        if not self._session.apply(f"Set {label}", lambda now: edits.set_limits(now, **{name: value})):
            self._show(self._session.layout.limits)

    def _on_defaults(self) -> None:
        defaults = {name: getattr(Limits(), name) for name in LIMITS}
        self._session.apply("Set default limits", lambda now: edits.set_limits(now, **defaults))


def _field_for(info: LimitInfo, units: Units) -> NumberField:
    match info.quantity:
        case "length":
            return LengthField(units)
        case "angle":
            return AngleField()
    return NumberField()

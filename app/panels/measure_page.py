"""One selected measure: its value, what it lies between, and whether it is printed."""

from PySide6.QtWidgets import QCheckBox, QLabel

from app import measure_words
from app.panels.rows import NamedPage
from app.session import Session
from app.units import Units
from geometry.measuring import kept, values
from geometry.measuring.values import NoValue

MOST_PARTS = 3


class MeasurePage(NamedPage):
    """Shows a measure; its value follows the cage and can't be typed."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Measure", "Its name, as it stands on the sheets.")
        self.value = self.number("Value", "It follows the cage; nothing is stored but where it was taken.")
        self.kind = self.words()
        self.parts: list[tuple[QLabel, QLabel]] = []
        for _ in range(MOST_PARTS):
            number = self.number("", "")
            self.parts.append((self.label_of(number), number))
        self.heading("Taken from")
        self.between = self.words()
        self.printed = QCheckBox("On the &sheets")
        self.printed.setToolTip("Print it with the packet, under measures and sizes.")
        self.printed.clicked.connect(self._on_printed)
        self.whole(self.printed)
        self.whole(self.command_button("Delete", "delete", "Take this measure away."))
        self.finish()

    def refresh(self) -> None:
        layout = self._session.layout
        measure = layout.measures.get(self._id)
        if measure is None:
            return
        self._show_name()
        value = values.of(layout, measure)
        self.value.setText(measure_words.number(value, self._units))
        kind = measure_words.KINDS[measure.kind]
        said = measure_words.NUMBERS.get(measure.kind, "")
        self.kind.setText(
            value.why if isinstance(value, NoValue) else f"{kind}: {said}." if said else f"{kind}."
        )
        parts = measure_words.parts(value, self._units)
        for number, (name, shown) in enumerate(self.parts):
            is_there = number < len(parts)
            name.setVisible(is_there)
            shown.setVisible(is_there)
            if is_there:
                name.setText(parts[number][0][:1].upper() + parts[number][0][1:])
                shown.setText(parts[number][1])
        self.between.setText(f"{measure_words.between(layout, measure)}.")
        self.printed.setChecked(measure.printed)

    def _on_printed(self, printed: bool) -> None:
        id = self._id
        name = self._session.layout.measures[id].name
        words = f"Print {name}" if printed else f"Leave {name} off the sheets"
        self._session.apply(words, lambda now: kept.set_printed(now, id, printed))

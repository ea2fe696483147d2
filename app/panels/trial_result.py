"""What the trial bends of a die with a stock tell: numbers, what is missing, and the fit drawn."""

import math

from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from app import calibration_words
from app.panels.rows import keep_to_width, set_kind
from app.panels.trial_charts import Bar, Bent, DialChart, MissChart
from app.units import MM_PER_INCH, Units
from geometry.layout import Die, Layout, Stock
from geometry.tube import trials
from geometry.tube.trials import Calibration

MOST_ROWS = 3 + len(calibration_words.ANGLES)
PLUS_MINUS = (
    "± is one standard deviation. Dashed: a dial without springback. Grey: what tape and gauge leave open."
)
NO_LEGS = "What legs miss the fit by stands here once legs are measured."
NO_DIAL = "What the dial misses the line by stands here."


class ResultView(QWidget):
    """Follows a calibration."""

    def __init__(self) -> None:
        super().__init__()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(6)
        title = QLabel("What the trial bends tell")
        title.setProperty("kind", "heading")
        column.addWidget(title)
        column.addLayout(self._make_rows())
        self.missing = QLabel(wordWrap=True)
        self.missing.setProperty("kind", "near")
        keep_to_width(self.missing)
        column.addWidget(self.missing)
        column.addLayout(self._make_charts(), 1)
        says = QLabel(PLUS_MINUS, wordWrap=True)
        says.setProperty("kind", "faint")
        keep_to_width(says)
        column.addWidget(says)

    def _make_rows(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(10)
        grid.setVerticalSpacing(3)
        grid.setColumnStretch(1, 1)
        self.rows: list[tuple[QLabel, QLabel, QLabel]] = []
        for row in range(MOST_ROWS):
            labels = (QLabel(), QLabel(), QLabel())
            for place, label in enumerate(labels):
                grid.addWidget(label, row, place)
            labels[1].setStyleSheet("font-weight: 600;")
            self.rows.append(labels)
        return grid

    def _make_charts(self) -> QHBoxLayout:
        self.dial_chart = DialChart()
        self.leg_chart = MissChart("Legs less fitted: leading, tail", NO_LEGS, "mm")
        self.miss_chart = MissChart("Dial less fitted", NO_DIAL, "°")
        beside = QVBoxLayout()
        beside.setSpacing(6)
        beside.addWidget(self.leg_chart, 1)
        beside.addWidget(self.miss_chart, 1)
        row = QHBoxLayout()
        row.setSpacing(8)
        row.addWidget(self.dial_chart, 6)
        row.addLayout(beside, 5)
        return row

    def show_learnt(
        self, calibration: Calibration, die: Die, stock: Stock, layout: Layout, units: Units
    ) -> None:
        """Show what is known of a die with a stock."""
        told = calibration_words.rows(calibration, die, stock, units)
        for place, labels in enumerate(self.rows):
            row = told[place] if place < len(told) else None
            texts = (row.name, row.value, row.source) if row else ("", "", "")
            for label, text in zip(labels, texts, strict=True):
                label.setText(text)
                label.setToolTip(row.tip if row else "")
                label.setVisible(row is not None)
            if row is not None:
                set_kind(labels[2], "fine" if row.source == calibration_words.TOLD else "faint")
        self._say(calibration)
        self._draw(calibration, die, layout, units)

    def show_nothing(self, sentence: str) -> None:
        """Say why there is nothing to show."""
        for labels in self.rows:
            for label in labels:
                label.hide()
        self.missing.setText(sentence)
        self.dial_chart.show_fit((), ())
        for chart in (self.leg_chart, self.miss_chart):
            chart.show_bars((), "")

    def _say(self, calibration: Calibration) -> None:
        sentences = calibration.missing
        self.missing.setText("\n".join(f"▲ {sentence}" for sentence in sentences))
        self.missing.setVisible(bool(sentences))
        set_kind(self.missing, "bad" if calibration.contradicting else "near")

    def _draw(self, calibration: Calibration, die: Die, layout: Layout, units: Units) -> None:
        bends = [layout.trials[id] for id in calibration.trials if id in layout.trials]
        wrong = calibration.contradicting
        farthest = max([die.largest_angle, *(bend.angle for bend in bends)])
        self.dial_chart.show_fit(
            trials.dial_line(calibration, farthest),
            [Bent(bend.angle, bend.dial, bend.id in wrong) for bend in bends],
        )
        per_mm = 1.0 if units.length == "mm" else 1.0 / MM_PER_INCH
        legs: list[Bar] = []
        dials: list[Bar] = []
        order = {bend.id: (bend.angle, bend.id) for bend in bends}
        known = [r for r in calibration.residuals if r.trial in order]
        for residual in sorted(known, key=lambda r: order[r.trial]):
            scale = math.degrees(1.0) if residual.what == "dial" else per_mm
            bar = Bar(
                f"{math.degrees(layout.trials[residual.trial].angle):.0f}° {residual.trial}",
                residual.what,
                residual.value * scale,
                residual.sd * scale,
                residual.trial in wrong,
            )
            (dials if residual.what == "dial" else legs).append(bar)
        self.leg_chart.show_bars(legs, "mm" if units.length == "mm" else "in")
        self.miss_chart.show_bars(dials, "°")

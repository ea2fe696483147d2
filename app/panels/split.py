"""The step in which faces of a panel become a panel of their own."""

import math
from collections.abc import Callable, Sequence
from typing import Any, Literal

import numpy as np
from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QRadioButton,
    QWidget,
)

from app import wording
from app.guarded import guarded
from app.jobs import Job
from app.panels.fields import AngleField, LengthField, TextField
from app.panels.rows import Rows
from app.session import Session
from app.units import MILLIMETRES, Units
from geometry.body import placement, split
from geometry.errors import GeometryError
from geometry.layout import Layout, Mesh
from geometry.vectors import Ints, Vec3

Way = Literal["grow", "loop", "box"]
WAYS: dict[Way, tuple[str, str]] = {
    "grow": ("&Grow to the creases", "From a point you pick, across the panel until it folds."),
    "loop": ("Inside a &loop", "What lies inside a line of points you pick round it."),
    "box": ("Inside a bo&x", "What lies between two corners, picked or typed."),
}
ASKS: dict[Way, tuple[int, str]] = {
    "grow": (1, "Click a place on the part you want to split off."),
    "loop": (-1, "Click points round the part."),
    "box": (2, "Click two opposite corners of the box."),
}
CREASE = math.radians(30.0)
CHOSEN_COLOUR = "#c9b99a"  # the theme's body is quiet; what would be split off stands out
EDGES = ("x", "y", "z")


class SplitPanel(Rows):
    """Splits faces off a panel; the choice is previewed through the session as if it were made.

    `open_panel(id)` starts with a panel of the job. When `pick_points_wanted` asks, let the person
    pick on the body and call `take_points` with the points and what they lie on; a count of -1 means
    as many as the person likes, 0 that nothing is waited for any more. `accept()` (Enter) makes one undo
    step and stays open for the next part; `cancel()` (Escape) drops the choice, and with nothing
    chosen it closes the step and emits `closed`.
    """

    pick_points_wanted = Signal(int, str)  # how many points, and what for, as a sentence
    accepted = Signal(int)  # the new panel's id
    closed = Signal()
    refused = Signal(str)  # why something could not be done

    def __init__(self, session: Session, units: Units = MILLIMETRES, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._panel: int | None = None
        self._chosen: Ints = np.empty(0, np.int64)
        self._added_to: Ints = np.empty(0, np.int64)  # what was chosen before the last choice joined it
        self._links: tuple[Mesh, split.Links] | None = None
        self._seed: int | None = None
        self._job: Job | None = None
        self._after_job: Callable[[Any], None] | None = None
        self.title = self.heading("Split a panel")
        self._make_ways()
        self._make_crease()
        self._make_box(units)
        self._make_end()
        session.opened.connect(self._on_opened)
        session.committed.connect(self._on_committed)
        self._show()

    # What the window calls

    @property
    def is_open(self) -> bool:
        return self._panel is not None

    @property
    def way(self) -> Way:
        return list(WAYS)[self.ways.checkedId()]

    @property
    def chosen(self) -> Ints:
        """The triangles of the panel that would be split off."""
        return self._chosen

    def set_units(self, units: Units) -> None:
        for field in (*self.low, *self.high):
            field.set_units(units)

    def open_panel(self, panel: int) -> None:
        """Start with a panel of the job and ask for the first point."""
        self._drop()
        self._panel = panel
        low, high = self._bounds(panel)
        for fields, corner in ((self.low, low), (self.high, high)):
            for field, value in zip(fields, corner, strict=True):
                field.set_value(value)
        self._show()
        self._ask()

    def take_points(self, points: Sequence[Vec3], hits: Sequence[tuple[int, int]]) -> None:
        """Take what was picked: points in the car's axes, and the panel and triangle each lies on."""
        if self._panel is None:
            return
        if not points:
            self.cancel()  # Escape in the view
            return
        if self.way == "grow":
            self._grow_from(*hits[0])
        elif self.way == "loop":
            self._choose_loop(points)
        else:
            self._set_box(points)
        if self._panel is not None and self._job is None:
            self._ask()

    def accept(self) -> None:
        """Split off what is chosen as one undo step."""
        if self._panel is None:
            return
        try:
            after, new = self._split(self._session.recorded)
        except GeometryError as error:
            self.refused.emit(error.message)
            return
        panel = self._panel
        self._panel = None  # our own step is not somebody else's change
        self._session.commit(f"Split off {after.panels[new].name}", after)
        self.name.clear()
        self.open_panel(panel)
        self._session.select((new,))
        self.accepted.emit(new)

    def cancel(self) -> None:
        """Drop what is chosen; with nothing chosen, end the step."""
        if len(self._chosen):
            self._drop()
            self._show()
            self._ask()
        else:
            self.close_step()

    def close_step(self) -> None:
        """End the step; the job stays as it was last recorded."""
        if self._panel is None:
            return
        self._drop()
        self._panel = None
        self._stop_job()
        self._show()
        self.pick_points_wanted.emit(0, "")
        self.closed.emit()

    # What the panel is made of

    def _make_ways(self) -> None:
        self.ways = QButtonGroup(self)
        for number, (words, tip) in enumerate(WAYS.values()):
            button = QRadioButton(words)
            button.setToolTip(tip)
            button.setChecked(number == 0)
            self.ways.addButton(button, number)
            self.whole(button)
        self.ways.idClicked.connect(self._on_way)
        self.add = QCheckBox("&Add to what is chosen")
        self.add.setToolTip("The next choice joins the one there is instead of replacing it.")
        self.whole(self.add)

    def _make_crease(self) -> None:
        self.crease = AngleField()
        self.crease.set_value(CREASE)
        self.crease.entered.connect(self._on_crease)
        self.crease_label = self.field("Crease", self.crease, "Growth stops where the sheet folds by more.")

    def _make_box(self, units: Units) -> None:
        self.box = QWidget()
        grid = QGridLayout(self.box)
        grid.setContentsMargins(0, 0, 0, 0)
        self.low = [LengthField(units) for _ in EDGES]
        self.high = [LengthField(units) for _ in EDGES]
        for row, edge in enumerate(EDGES):
            grid.addWidget(QLabel(edge), row, 0)
            for column, (field, word) in enumerate(
                ((self.low[row], "from"), (self.high[row], "to")), start=1
            ):
                field.setAccessibleName(f"Box {edge} {word}")
                field.setToolTip(f"Where the box is along {edge}, {word} here.")
                field.entered.connect(self._on_box)
                grid.addWidget(field, row, column)
        self.whole(self.box)

    def _make_end(self) -> None:
        self.count = self.words()
        self.name = TextField()
        self.name.setPlaceholderText("roof, left door, …")
        self.field("Name", self.name, "What the new panel is called.")
        self.ok = QPushButton("Split off")
        self.ok.setProperty("main", True)
        self.ok.setToolTip("Make a panel of what is chosen, as one undo step. Enter")
        self.ok.clicked.connect(self.accept)
        self.back = QPushButton("Cancel")
        self.back.setToolTip("Drop the choice; with nothing chosen, end splitting. Escape")
        self.back.clicked.connect(self.cancel)
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.ok)
        row.addWidget(self.back)
        self.whole(holder)
        self.pieces = QPushButton("Split into loose &pieces")
        self.pieces.setToolTip("Make each part that hangs together a panel of its own; the largest stays.")
        self.pieces.clicked.connect(self._on_pieces)
        self.whole(self.pieces)
        self.finish()

    # Choosing

    def _grow_from(self, panel: int, triangle: int) -> None:
        panel, triangle = self._as_recorded(panel, triangle)
        if panel != self._panel and self._is_adding:
            self._refuse_other(panel)
            return
        if panel != self._panel:
            self.open_panel(panel)
        self._seed = triangle
        mesh = self._mesh()
        if self._links is not None and self._links[0] is mesh:
            self._grow()
            return
        # A million triangles take about a second; meanwhile the window stays awake.
        self._run("Looking for creases", lambda progress: (mesh, split.links(mesh)), self._on_links)

    @property
    def _is_adding(self) -> bool:
        return self.add.isChecked() and len(self._chosen) > 0

    def _refuse_other(self, panel: int) -> None:
        """Say that a part grows from one panel only; turning to another would lose what is chosen."""
        panels = self._session.recorded.panels
        assert self._panel is not None
        here, there = panels[self._panel].name, panels[panel].name
        self.refused.emit(
            f"That place is on {there}. Click one on {here}, or split off what is chosen of it first."
        )

    def _as_recorded(self, panel: int, triangle: int) -> tuple[int, int]:
        """Return what a pick in the preview names in the recorded job, where the panel is still whole."""
        recorded = self._session.recorded.panels
        if not self._session.is_previewing or (panel in recorded and panel != self._panel):
            return panel, triangle
        assert self._panel is not None
        is_chosen = np.zeros(len(self._mesh().triangles), bool)
        is_chosen[self._chosen] = True
        places = np.flatnonzero(is_chosen != (panel == self._panel))
        return self._panel, int(places[triangle])

    def _on_links(self, found: tuple[Mesh, split.Links]) -> None:
        self._links = found
        if self._panel is not None and self._mesh() is found[0]:
            self._grow()
            self._ask()

    def _grow(self) -> None:
        assert self._links is not None
        assert self._seed is not None
        mesh, links = self._links
        self._choose(split.grown(mesh, self._seed, self.crease.value or CREASE, links))

    def _choose_loop(self, points: Sequence[Vec3]) -> None:
        layout, panel = self._session.recorded, self._panel
        assert panel is not None
        vertices = placement.panel_vertices(layout, layout.panels[panel])
        try:
            self._choose(split.inside_loop(vertices, self._mesh().triangles, points))
        except GeometryError as error:
            self.refused.emit(error.message)

    def _set_box(self, points: Sequence[Vec3]) -> None:
        if len(points) < 2:
            return
        for axis in range(3):
            ends = sorted(point[axis] for point in points[:2])
            self.low[axis].set_value(ends[0])
            self.high[axis].set_value(ends[1])
        self._on_box()

    def _on_box(self) -> None:
        layout, panel = self._session.recorded, self._panel
        if panel is None:
            return
        corners = [[field.value or 0.0 for field in fields] for fields in (self.low, self.high)]
        low, high = ((x, y, z) for x, y, z in corners)
        vertices = placement.panel_vertices(layout, layout.panels[panel])
        self._choose(split.in_box(vertices, self._mesh().triangles, low, high))

    def _on_crease(self) -> None:
        if self._panel is not None and self._seed is not None and self._links is not None:
            mesh, links = self._links
            self._take(split.grown(mesh, self._seed, self.crease.value or CREASE, links))

    def _choose(self, triangles: Ints) -> None:
        """Take a choice over, or add it to the one there is, and preview it."""
        self._added_to = self._chosen if self.add.isChecked() else np.empty(0, np.int64)
        self._take(triangles)

    def _take(self, triangles: Ints) -> None:
        self._chosen = np.union1d(self._added_to, triangles)
        self._preview()
        self._show()

    def _preview(self) -> None:
        before = self._session.recorded
        total = len(self._mesh().triangles)
        if not 0 < len(self._chosen) < total:
            self._session.cancel()
            return
        after, new = self._split(before)
        shown = replace(after.panels[new], colour=CHOSEN_COLOUR, shown=True)
        self._session.preview(replace(after, panels={**after.panels, new: shown}))

    def _split(self, layout: Layout) -> tuple[Layout, int]:
        assert self._panel is not None
        return split.split_panel(layout, self._panel, self._chosen, self.name.text())

    # The rest

    def _on_way(self, number: int) -> None:
        self._show()
        self._ask()

    def _on_pieces(self) -> None:
        panel = self._panel
        if panel is None:
            return
        self._drop()
        layout = self._session.recorded
        self._run(
            "Looking for pieces", lambda progress: split.split_pieces(layout, panel), self._on_pieces_found
        )

    def _on_pieces_found(self, found: tuple[Layout, tuple[int, ...]]) -> None:
        panel, self._panel = self._panel, None
        assert panel is not None
        self._session.commit("Split into pieces", found[0])
        self.open_panel(panel)
        self._session.select((panel, *found[1]))

    def _on_opened(self) -> None:
        if self._panel is not None:
            self.close_step()

    def _on_committed(self, layout: Layout) -> None:
        """Somebody else changed the job, or a step was undone: the choice may not fit any more."""
        if self._panel is None:
            return
        if self._panel not in layout.panels:
            self.close_step()
            return
        self._forget()
        self._show()

    def _ask(self) -> None:
        if self._panel is not None:
            self.pick_points_wanted.emit(*ASKS[self.way])

    def _forget(self) -> None:
        self._chosen = self._added_to = np.empty(0, np.int64)
        self._seed = None

    def _drop(self) -> None:
        self._forget()
        if self._session.is_previewing:
            self._session.cancel()

    def _show(self) -> None:
        panel = self._session.recorded.panels.get(self._panel or 0)
        self.setEnabled(panel is not None and self._job is None)
        is_open = panel is not None
        self.title.setText(f"Split {wording.one_line(panel.name)}" if panel is not None else "Split a panel")
        self.crease.setVisible(self.way == "grow")
        self.crease_label.setVisible(self.way == "grow")
        self.box.setVisible(self.way == "box")
        total = len(panel.mesh.triangles) if panel is not None else 0
        chosen = len(self._chosen)
        self.ok.setEnabled(is_open and 0 < chosen < total)
        if self._job is not None:
            self.count.setText(f"{self._job.title}…")
        elif chosen and chosen == total:
            self.count.setText("All of it is chosen; choose less.")
        else:
            self.count.setText(f"{chosen} of {wording.counted(total, 'triangle')} chosen.")

    def _mesh(self) -> Mesh:
        assert self._panel is not None
        return self._session.recorded.panels[self._panel].mesh

    def _bounds(self, panel: int) -> tuple[list[float], list[float]]:
        layout = self._session.recorded
        vertices = placement.panel_vertices(layout, layout.panels[panel])
        return vertices.min(axis=0).tolist(), vertices.max(axis=0).tolist()

    def _run(self, title: str, work: Callable[[Any], Any], then: Callable[[Any], None]) -> None:
        self._stop_job()
        self._job = Job(title, work, self)
        self._after_job = then
        self._job.done.connect(self._on_job_done)
        self._job.failed.connect(self._on_job_failed)
        self._job.start()
        self._show()

    def _on_job_done(self, value: object) -> None:
        then, self._after_job, self._job = self._after_job, None, None
        self._show()
        if then is not None and self._panel is not None:
            then(value)

    def _on_job_failed(self, error: Exception) -> None:
        self._job = self._after_job = None
        self._show()
        if not isinstance(error, GeometryError):
            raise error
        self.refused.emit(error.message)

    def _stop_job(self) -> None:
        job, self._job, self._after_job = self._job, None, None
        if job is not None:
            job.done.disconnect(self._on_job_done)
            job.failed.disconnect(self._on_job_failed)
            job.cancel()
            job.wait()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if event.key() == Qt.Key.Key_Escape or (is_enter and self.back.hasFocus()):
            self.cancel()
        elif is_enter:
            self.accept()
        else:
            super().keyPressEvent(event)

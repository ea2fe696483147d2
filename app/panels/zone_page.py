"""One selected access zone: what it is for, where it lies, how large it is, and what stands in it."""

from msgspec.structs import replace
from PySide6.QtWidgets import QCheckBox, QWidget

from app import units as unit_text
from app import wording
from app.panels.fields import AngleField, LengthField
from app.panels.motion_rows import PointFields
from app.panels.rows import ChoiceBox, NamedPage
from app.session import Session
from app.units import Units
from geometry import zoning
from geometry.aids import BoxShape, ConeShape, Purpose
from geometry.checks.findings import Report
from geometry.vectors import Vec3, direction, distance, plus, times
from geometry.zoning import Shape

ALL: tuple[Purpose, ...] = tuple(zoning.PURPOSES)
SIZES = (
    ("Width", "Level, along what it stands on."),
    ("Height", "Across that."),
    ("Depth", "Out of what it stands on."),
)


class ZonePage(NamedPage):
    """Shows a zone and records what is typed."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Name", "How lists, labels and findings call it.")
        self._report: Report | None = None
        self.purpose = ChoiceBox()
        self.purpose.activated.connect(self._on_purpose)
        self.field("Room for", self.purpose, "What it is kept free for.")
        self.result = self.words()
        self.kind = self.heading("Box")
        self._make_box(units)
        self._make_cone(units)
        self.shown = QCheckBox("Shown in the view")
        self.shown.setToolTip("Hidden zones are checked all the same.")
        self.shown.clicked.connect(self._on_shown)
        self.whole(self.shown)
        tip = "Click another place on the body for it; its sizes stay."
        self.elsewhere = self.command_button("Put it elsewhere", "move_zone", tip)
        self.whole(self.elsewhere)
        tip = "Add its mirror image across the centre plane."
        self.other_side = self.command_button("Copy to the other side", "aid_other_side", tip)
        self.whole(self.other_side)
        self.source = self.words()
        self.finish()
        session.committed.connect(self._on_committed)

    def _make_box(self, units: Units) -> None:
        self.middle = PointFields(units, "Middle")
        self.middle.entered.connect(self._on_middle)
        names: list[QWidget] = [
            self.field("Middle", self.middle, "x forward of the front axle, y left, z up.")
        ]
        self.sides = tuple(LengthField(units) for _ in SIZES)
        for axis, (field, (name, tip)) in enumerate(zip(self.sides, SIZES, strict=True)):
            field.setProperty("axis", axis)
            field.entered.connect(self._on_size)
            names.append(self.field(name, field, tip))
        self.azimuth, self.tilt = AngleField(), AngleField()
        for angle, name, tip in (
            (self.azimuth, "Faces", "0° forward, 90° left, 180° back, -90° right."),
            (self.tilt, "Tilted up", "How far it faces up; negative: down."),
        ):
            angle.entered.connect(self._on_turned)
            names.append(self.field(name, angle, tip))
        self._box: list[QWidget] = [self.middle, *self.sides, self.azimuth, self.tilt, *names]

    def _make_cone(self, units: Units) -> None:
        self.start, self.end = PointFields(units, "From"), PointFields(units, "To")
        self.start.entered.connect(self._on_start)
        self.end.entered.connect(self._on_end)
        names: list[QWidget] = [
            self.field("From", self.start, "The middle of its first face; typing carries all of it there."),
            self.field("To", self.end, "The middle of its other face."),
        ]
        self.length, self.start_radius, self.end_radius = (LengthField(units) for _ in range(3))
        for field, name, tip in (
            (self.length, "Length", "From face to face; its first face stays."),
            (self.start_radius, "Radius", "Of the face it starts from; 0 is a point."),
            (self.end_radius, "End radius", "Of the face it ends in; 0 is a point."),
        ):
            field.entered.connect(self._on_cone)
            names.append(self.field(name, field, tip))
        self._cone: list[QWidget] = [
            *(self.start, self.end, self.length, self.start_radius, self.end_radius),
            *names,
        ]

    def _on_committed(self) -> None:
        if self._id in self._session.layout.zones:
            self.refresh()

    def show_report(self, report: Report) -> None:
        self._report = report
        self.refresh()

    def refresh(self) -> None:
        layout = self._session.layout
        zone = layout.zones.get(self._id)
        if zone is None:
            return
        self._show_name()
        info = zoning.PURPOSES[zone.purpose]
        rows = ((place, zoning.PURPOSES[one].label) for place, one in enumerate(ALL))
        self.purpose.show_choices(rows, ALL.index(zone.purpose))
        is_box = isinstance(zone.shape, BoxShape)
        self.kind.setText("Box" if is_box else "Cone")
        for parts, are_shown in ((self._box, is_box), (self._cone, not is_box)):
            for part in parts:
                part.setVisible(are_shown)
        self._show_shape(zone.shape)
        self.result.setText(self._result_words())
        self.shown.setChecked(zone.shown)
        self.source.setText(f"{info.size} First sizes: {info.source}.")
        self.other_side.setEnabled(not zoning.is_same(zoning.mirrored(zone.shape), zone.shape))
        self.setEnabled(zone.id in self._session.recorded.zones)  # one that is not kept yet cannot be changed

    def _show_shape(self, shape: Shape) -> None:
        if isinstance(shape, BoxShape):
            self.middle.show_point(shape.middle)
            for field, value in zip(self.sides, shape.size, strict=True):
                field.set_value(value)
            azimuth, tilt = zoning.angles_of(shape)
            self.azimuth.set_value(azimuth)
            self.tilt.set_value(tilt)
            return
        self.start.show_point(shape.start)
        self.end.show_point(shape.end)
        self.length.set_value(distance(shape.start, shape.end))
        self.start_radius.set_value(shape.start_radius)
        self.end_radius.set_value(shape.end_radius)

    def _result_words(self) -> str:
        """Say which tubes stand in it, as the last check found."""
        layout, report = self._session.layout, self._report
        if report is None or not report.is_complete:
            return "It is being checked."
        rows = [row for row in report.zones if row.zone == self._id and row.tube in layout.tubes]
        if not rows:
            return "No tube reaches into it."
        deepest = sorted(rows, key=lambda row: -row.depth)
        return (
            wording.listed(
                [
                    f"{wording.one_line(layout.tubes[row.tube].name)} by "
                    f"{unit_text.format_length(row.depth, self._units)}"
                    for row in deepest
                ]
            )
            + " in it."
        )

    def _shape(self) -> Shape | None:
        """How large it is and where; None where it was deleted while something was typed."""
        zone = self._session.layout.zones.get(self._id)
        return zone.shape if zone is not None else None

    def _on_purpose(self) -> None:
        chosen = self.purpose.chosen
        if chosen is not None:
            id, purpose = self._id, ALL[chosen]
            words = f"Set what {self._session.layout.zones[id].name} is for"
            self._session.apply(words, lambda now: zoning.set_zone(now, id, purpose=purpose))
        self.refresh()

    def _on_middle(self, place: Vec3) -> None:
        if (shape := self._shape()) is not None:
            self._set(zoning.moved_to(shape, place), "Move")

    def _on_size(self, value: float) -> None:
        shape = self._shape()
        if isinstance(shape, BoxShape):
            size = list(shape.size)
            size[int(self.sender().property("axis"))] = value
            self._set(replace(shape, size=(size[0], size[1], size[2])), "Size of")

    def _on_turned(self) -> None:
        shape = self._shape()
        azimuth, tilt = self.azimuth.value, self.tilt.value
        if isinstance(shape, BoxShape) and azimuth is not None and tilt is not None:
            self._set(zoning.turned_to(shape, azimuth, tilt), "Turn")

    def _on_start(self, place: Vec3) -> None:
        if (shape := self._shape()) is not None:
            self._set(zoning.moved_to(shape, place), "Move")

    def _on_end(self, place: Vec3) -> None:
        shape = self._shape()
        if isinstance(shape, ConeShape):
            self._set(replace(shape, end=place), "Turn")

    def _on_cone(self) -> None:
        shape = self._shape()
        values = [field.value for field in (self.length, self.start_radius, self.end_radius)]
        if isinstance(shape, ConeShape) and all(value is not None for value in values):
            length, start, end = (float(value or 0.0) for value in values)
            away = plus(shape.start, times(direction(shape.start, shape.end), length))
            self._set(ConeShape(shape.start, away, start, end), "Size of")

    def _set(self, shape: Shape, word: str) -> None:
        id = self._id
        words = f"{word} {self._session.layout.zones[id].name}"
        self._session.apply(words, lambda now: zoning.set_zone(now, id, shape=shape))
        self.refresh()

    def _on_shown(self, on: bool) -> None:
        id = self._id
        words = f"{'Show' if on else 'Hide'} {self._session.layout.zones[id].name}"
        self._session.apply(words, lambda now: zoning.set_zone(now, id, shown=on))
        self.refresh()

"""The page of one reference: typed numbers, limit, other side; each one undo step."""

import pytest
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app.panels import reference_page
from app.panels.properties import PropertiesPanel
from app.panels.reference_page import ReferencePage, kind_words
from app.session import Session
from app.units import MILLIMETRES, format_length
from geometry import edits, references
from geometry.aids import LineShape, PlaneShape, PointShape
from geometry.references import Shape


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> PropertiesPanel:
    panel = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(292, 900)
    panel.show()
    return panel


def page_of(panel: PropertiesPanel, session: Session, shape: Shape) -> ReferencePage:
    layout, id = references.add_reference(session.layout, shape)
    session.commit("Set reference", layout)
    session.select((id,))
    assert panel.page is panel.reference
    return panel.reference


def only(session: Session) -> Shape:
    return next(iter(session.layout.references.values())).shape


def type_into(field: QLineEdit, text: str) -> None:
    field.setText(text)
    field.editingFinished.emit()


def shown(page: ReferencePage) -> set[str]:
    parts = {
        "away": page.away,
        "at": page.at,
        "end": page.end,
        "normal": page.normal,
        "limit": page.limit,
        "turn": page.turn,
        "length": page.length,
    }
    return {name for name, part in parts.items() if part.isVisible()}


def test_each_kind_shows_what_it_has(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, PointShape((1.0, 2.0, 3.0)))
    assert shown(page) == {"at"}
    page = page_of(panel, session, LineShape((0.0, 0.0, 0.0), (900.0, 0.0, 0.0)))
    assert shown(page) == {"at", "end", "length"}
    assert page.length.text() == "900.0 mm"
    page = page_of(panel, session, PlaneShape((0.0, 0.0, 1800.0), (0.0, 0.0, 1.0)))
    assert shown(page) == {"away", "limit", "turn"}
    page = page_of(panel, session, PlaneShape((0.0, 0.0, 1800.0), (0.6, 0.0, 0.8)))
    assert shown(page) == {"at", "normal", "limit", "turn"}


def test_a_typed_height_moves_a_level_plane_in_one_step(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, PlaneShape((5.0, 6.0, 1800.0), (0.0, 0.0, 1.0)))
    steps = session.undo_stack.count()
    type_into(page.away, "1900")
    assert only(session) == PlaneShape((5.0, 6.0, 1900.0), (0.0, 0.0, 1.0))
    assert session.undo_stack.count() == steps + 1
    assert page.kind.text() == "A level plane, facing up."


def test_typed_places_move_points_and_ends_of_lines(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, LineShape((0.0, 0.0, 0.0), (900.0, 0.0, 0.0)))
    type_into(page.end.fields[2], "1200")
    assert only(session) == LineShape((0.0, 0.0, 0.0), (900.0, 0.0, 1200.0))
    type_into(page.at.fields[0], "-100")
    assert only(session) == LineShape((-100.0, 0.0, 0.0), (900.0, 0.0, 1200.0))


def test_a_direction_of_any_length_will_do_but_none(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, PlaneShape((0.0, 0.0, 0.0), (0.6, 0.0, 0.8)))
    type_into(page.normal.fields[0], "0")
    assert only(session) == PlaneShape((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    refused: list[str] = []
    session.refused.connect(refused.append)
    page.normal.entered.emit((0.0, 0.0, 0.0))
    assert "faces one way" in refused[0]


def test_ends_brought_together_are_refused(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, LineShape((0.0, 0.0, 0.0), (900.0, 0.0, 0.0)))
    refused: list[str] = []
    session.refused.connect(refused.append)
    type_into(page.end.fields[0], "0")
    assert "too near" in refused[0]
    assert page.end.fields[0].value == 900.0


def test_a_limit_says_how_the_cage_stands_to_it(panel: PropertiesPanel, session: Session) -> None:
    stock = next(iter(session.layout.stocks))
    od = session.layout.stocks[stock].od
    layout, tube = edits.add_tube(session.layout, [(0.0, 0.0, 5000.0), (500.0, 0.0, 5000.0)], stock)
    session.commit("Add tube", layout)
    page = page_of(panel, session, PlaneShape((0.0, 0.0, 6000.0), (0.0, 0.0, 1.0)))
    assert not page.result.isVisible()
    page.limit.click()
    assert next(iter(session.layout.references.values())).limit
    assert page.result.text().startswith(f"The cage keeps {1000.0 - od / 2.0:.1f} mm before it")
    type_into(page.away, "4900")
    name = session.layout.tubes[tube].name
    assert page.result.text() == f"{name} reaches {format_length(100.0 + od / 2.0, MILLIMETRES)} past it."
    page.turn.click()
    assert only(session) == PlaneShape((0.0, 0.0, 4900.0), (0.0, 0.0, -1.0))


def test_hiding_and_renaming_are_steps_too(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, PointShape((1.0, 2.0, 3.0)))
    page.shown.click()
    assert not next(iter(session.layout.references.values())).shown
    type_into(page.name, "A-pillar head")
    assert next(iter(session.layout.references.values())).name == "A-pillar head"


def test_what_lies_on_both_sides_has_no_other_side(panel: PropertiesPanel, session: Session) -> None:
    assert not page_of(panel, session, PointShape((1.0, 0.0, 3.0))).other_side.isEnabled()
    page = page_of(panel, session, PointShape((1.0, 2.0, 3.0)))
    asked: list[str] = []
    page.command_wanted.connect(asked.append)
    page.other_side.click()
    assert asked == ["aid_other_side"]


def test_planes_are_called_as_they_lie() -> None:
    upright = PlaneShape((0.0, 900.0, 0.0), (0.0, 1.0, 0.0))
    assert kind_words(upright, MILLIMETRES) == "An upright plane along the car, facing left."
    assert kind_words(PlaneShape((0.0, 0.0, 0.0), (-1.0, 0.0, 0.0)), MILLIMETRES).endswith("backward.")
    assert kind_words(PlaneShape((0.0, 0.0, 0.0), (0.6, 0.0, 0.8)), MILLIMETRES).startswith("A plane, 36.9°")
    assert kind_words(LineShape((0.0, 0.0, 0.0), (1.0, 0.0, 1.0)), MILLIMETRES).startswith("A line, 45")


@pytest.mark.parametrize("what", ["away", "at", "end", "normal"])
def test_what_is_typed_while_its_reference_goes_is_forgotten(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, what: str
) -> None:
    shapes: dict[str, Shape] = {
        "away": PlaneShape((0.0, 0.0, 1800.0), (0.0, 0.0, 1.0)),
        "at": PointShape((1.0, 2.0, 3.0)),
        "end": LineShape((0.0, 0.0, 0.0), (900.0, 0.0, 0.0)),
        "normal": PlaneShape((0.0, 0.0, 1800.0), (0.6, 0.0, 0.8)),
    }
    page = page_of(panel, session, shapes[what])
    field = {"away": page.away, "at": page.at, "end": page.end, "normal": page.normal}[what]
    field = getattr(field, "fields", (field,))[0]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "30")
    session.apply("Delete", lambda now: edits.delete(now, tuple(now.references)))
    after = session.layout
    field.finish()
    assert session.layout is after


def test_a_tube_that_just_touches_a_limit_does_not_reach_past_it(
    panel: PropertiesPanel, session: Session
) -> None:
    page_of(panel, session, PlaneShape((0.0, 0.0, 9000.0), (0.0, 0.0, 1.0)))
    (id,) = session.layout.references
    session.apply("Limit", lambda now: references.set_reference(now, id, limit=True))
    top = references.outside(session.layout, id)[0].at[2]
    session.apply(
        "Touch",
        lambda now: references.set_shape(now, id, PlaneShape((0.0, 0.0, top - 1e-9), (0.0, 0.0, 1.0))),
    )
    words = reference_page.limit_words(session.layout, session.layout.references[id], MILLIMETRES)
    assert words.startswith("The cage keeps 0.0 mm before it")

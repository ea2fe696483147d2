"""The step that begins a cage, without a window: what it asks for, shows, and records."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.panels import starter
from app.panels.starter import StarterPanel
from app.session import Session
from geometry import rack
from geometry.body import measured
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.starting import families, points

FEW = ("sills", "rails")


@pytest.fixture
def session(qtbot):
    layout = rack.with_starting_rack(Layout(name="job"))
    return Session(measured.add_to(layout, measured.shapes()["two-box"], "two-box")[0])


class Bench:
    """Does the work that the panel wants at once, or keeps it waiting; remembers what was marked."""

    def __init__(self, panel: StarterPanel) -> None:
        self.panel, self.waits = panel, False
        self.waiting, self.marks, self.asked, self.refused = [], [], [], []
        panel.work_wanted.connect(self.on_work)
        panel.work_unwanted.connect(self.on_unwanted)
        panel.marked.connect(self.on_marked)
        panel.pick_points_wanted.connect(self.on_pick)
        panel.refused.connect(self.refused.append)

    def on_work(self, title, work, values, then) -> None:
        self.waiting.append((title, work, values, then))
        if not self.waits:
            self.go_on()

    def go_on(self) -> None:
        _, work, values, then = self.waiting.pop(0)
        try:
            then(work(*values))
        except GeometryError as error:
            self.refused.append(error.message)
        self.panel.work_ended()

    def on_unwanted(self) -> None:
        self.waiting.clear()
        self.panel.work_ended()

    def on_marked(self, marks) -> None:
        self.marks = marks

    def on_pick(self, count, text) -> None:
        self.asked.append((count, text))


@pytest.fixture
def panel(qtbot, session):
    made = StarterPanel(session)
    qtbot.addWidget(made)
    made.resize(320, 700)
    made.show()
    made.bench = Bench(made)
    made.open_cage(None)
    yield made
    made.cancel()


def only(panel: StarterPanel, *wanted: str) -> None:
    for key, box in panel.boxes.items():
        box.setChecked(key in wanted)


def states(panel: StarterPanel) -> dict[str, str]:
    return {item.data(starter.TITLE, starter.KEY): item.text(starter.STATE) for item in panel._items}


def click(panel: StarterPanel, key: str) -> None:
    """Click a point of the list with the mouse."""
    item = next(item for item in panel._items if item.data(starter.TITLE, starter.KEY) == key)
    place = panel.list.visualItemRect(item).center()
    QTest.mouseClick(panel.list.viewport(), Qt.MouseButton.LeftButton, pos=place)


def test_the_points_are_guessed_and_marked_at_once(panel) -> None:
    assert set(states(panel).values()) == {starter.SURE}
    assert {mark[0] for mark in panel.bench.marks} == set(points.KEYS)
    assert all(box.isChecked() for box in panel.boxes.values())


def test_building_shows_the_cage_and_records_nothing(session, panel) -> None:
    only(panel, *FEW)
    QTest.mouseClick(panel.build_button, Qt.MouseButton.LeftButton)
    assert session.is_previewing
    assert {tube.name for tube in session.layout.tubes.values()} == {
        f"{side} {tube}" for side in ("Left", "Right") for tube in ("sill tube", "roof rail")
    }
    assert not session.recorded.tubes
    assert panel.result.text().startswith("4 tubes")


def test_accepting_is_one_undo_step(session, panel) -> None:
    only(panel, *FEW)
    panel.accept()  # builds
    panel.accept()
    assert len(session.recorded.tubes) == 4
    assert session.undo_stack.count() == 1
    assert session.undo_stack.undoText() == "Start a cage"
    assert panel.bench.marks == []
    session.undo()
    assert not session.layout.tubes


def test_leaving_leaves_no_trace(session, panel) -> None:
    before = session.recorded
    only(panel, "sills")
    panel.build()
    panel.cancel()
    assert session.layout is before
    assert not session.undo_stack.count()


def test_a_family_ticked_off_goes_at_once_and_comes_back_without_laying_again(session, panel) -> None:
    only(panel, *FEW)
    panel.build()
    panel.boxes["rails"].click()
    assert {tube.name for tube in session.layout.tubes.values()} == {"Left sill tube", "Right sill tube"}
    panel.boxes["rails"].click()
    assert len(session.layout.tubes) == 4
    assert panel.accept_button.isEnabled()
    panel.boxes["b_uprights"].click()  # was not laid
    assert not session.is_previewing
    assert panel.build_button.isEnabled()
    assert not panel.accept_button.isEnabled()


def test_a_point_is_asked_for_by_a_click_and_moved_by_the_next(session, panel) -> None:
    click(panel, "b_head")
    assert panel.bench.asked[-1] == (1, "Click the body where this is: B-pillar, head")
    assert [mark[0] for mark in panel.bench.marks if mark[3]] == ["b_head"]
    roof = next(panel for panel in session.layout.panels.values() if panel.name == "roof")
    a, b, c = roof.mesh.vertices[roof.mesh.triangles[7]]
    middle = tuple(float(value) for value in (a + b + c) / 3.0)
    panel.take_points([middle], [(roof.id, 7)])
    assert states(panel)["b_head"] == starter.PLACED
    x, y, z = middle
    assert panel.places["b_head"].point == (x, abs(y), z)
    assert panel.places["b_head"].normal[2] > 0.5


def test_a_point_not_given_stays_where_it_was(panel) -> None:
    before = panel.places
    click(panel, "nose")
    panel.take_points([], [])
    assert panel.places == before


def test_guessing_again_forgets_what_was_placed(session, panel) -> None:
    panel._placed["nose"] = panel.places["tail"]
    panel.again.click()
    assert states(panel)["nose"] == starter.SURE


def test_another_stock_needs_building_again(session, panel) -> None:
    only(panel, "sills")
    panel.build()
    panel.stock.setCurrentIndex((panel.stock.currentIndex() + 1) % panel.stock.count())
    panel.stock.activated.emit(panel.stock.currentIndex())
    assert not session.is_previewing
    panel.build()
    assert {tube.stock for tube in session.layout.tubes.values()} == {panel.stock.chosen}


def test_one_side_alone_says_what_it_leaves_out(session, panel) -> None:
    only(panel, "sills", "headers")
    panel.both.click()
    panel.build()
    assert [tube.name for tube in session.layout.tubes.values()] == ["Left sill tube"]
    assert "Windscreen header" in panel.left_out.text()


def test_while_it_works_it_can_be_stopped_and_nothing_else_done(session, panel) -> None:
    panel.bench.waits = True
    panel.build()
    assert panel.build_button.text() == "Sto&p"
    assert not panel.stock.isEnabled()
    panel.accept()
    assert not session.is_previewing
    panel.build_button.click()
    assert panel.build_button.text() == "Bu&ild"
    assert panel.stock.isEnabled()


def test_a_cage_of_a_layout_that_has_changed_is_not_taken(session, panel) -> None:
    panel.bench.waits = True
    only(panel, "sills")
    panel.build()
    session.commit("Rename", measured.add_to(session.layout, measured.shapes()["pick-up"], "other")[0])
    panel.bench.go_on()
    assert not session.is_previewing
    assert not panel.accept_button.isEnabled()


def test_no_family_is_refused_in_words(panel) -> None:
    only(panel)
    panel.build()
    assert panel.bench.refused == ["No tubes are ticked. Tick the ones that the cage shall have."]


def test_another_job_ends_the_step(qtbot, session, panel) -> None:
    with qtbot.waitSignal(panel.cancelled):
        session.open(Layout(name="other"), None)
    assert not panel.is_open


def test_there_is_a_box_for_each_family(panel) -> None:
    assert tuple(panel.boxes) == families.KEYS

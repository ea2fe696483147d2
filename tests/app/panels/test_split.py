"""Faces are chosen by a pick, a loop or a box, previewed, and split off as one undo step."""

import math

import numpy as np
import pytest
import trimesh
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.panels.split import CHOSEN_COLOUR, SplitPanel
from app.session import Session
from geometry.body import cleaning, placement
from geometry.layout import Body, Layout, Mesh, Panel, Placement

KEY = Qt.Key


def fine_box() -> Mesh:
    """A box of 2 x 1 x 0.8 whose faces are many triangles; the job has it in metres."""
    shape = trimesh.creation.box((2.0, 1.0, 0.8))
    for _ in range(4):
        shape = shape.subdivide()
    return cleaning.cleaned(np.array(shape.vertices), np.array(shape.faces))[0]


@pytest.fixture
def session(qapp: object) -> Session:
    body = Body(1, "van", Placement(1000.0))
    panels = {2: Panel(2, "shell", 1, fine_box()), 3: Panel(3, "other", 1, fine_box())}
    return Session(Layout(next_id=4, bodies={1: body}, panels=panels))


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> SplitPanel:
    panel = SplitPanel(session)
    qtbot.addWidget(panel)
    panel.resize(320, 600)
    panel.show()
    panel.open_panel(2)
    yield panel
    panel.close_step()


def place(panel: SplitPanel, session: Session, point: tuple[float, float, float]) -> tuple[int, int]:
    """Return the panel and triangle of the shown job nearest to a point, among the panel and its parts."""
    best = (math.inf, 0, 0)
    for id, shown in session.layout.panels.items():
        if id == 3:
            continue
        middles = placement.panel_vertices(session.layout, shown)[shown.mesh.triangles].mean(axis=1)
        away = np.linalg.norm(middles - point, axis=1)
        best = min(best, (float(away.min()), id, int(away.argmin())))
    return best[1], best[2]


def pick(qtbot: QtBot, panel: SplitPanel, session: Session, *points: tuple[float, float, float]) -> None:
    panel.take_points(points, [place(panel, session, point) for point in points])
    qtbot.waitUntil(lambda: panel._job is None)


def choose_way(panel: SplitPanel, number: int) -> None:
    panel.ways.button(number).click()


def heights(session: Session, id: int) -> np.ndarray:
    panel = session.layout.panels[id]
    return placement.panel_vertices(session.layout, panel)[panel.mesh.triangles][..., 2]


TOP = (0.0, 0.0, 400.0)
SIDE = (0.0, 500.0, 0.0)


def test_one_pick_previews_the_part_up_to_the_creases(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    pick(qtbot, panel, session, TOP)
    assert session.is_previewing
    assert list(session.recorded.panels) == [2, 3]
    assert session.layout.panels[4].colour == CHOSEN_COLOUR
    assert (heights(session, 4) == 400.0).all()
    assert panel.count.text() == "512 of 3072 triangles chosen."


def test_enter_splits_it_off_as_one_undo_step_and_stays_open(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    pick(qtbot, panel, session, TOP)
    panel.name.setText("roof")
    with qtbot.waitSignal(panel.accepted) as accepted:
        qtbot.keyClick(panel, KEY.Key_Return)
    assert accepted.args == [4]
    made = session.recorded.panels[4]
    assert (made.name, made.colour) == ("roof", None)
    assert session.undo_stack.count() == 1
    assert session.undo_stack.undoText() == "Split off roof"
    assert session.selection == {4}
    assert panel.is_open
    session.undo()
    assert len(session.layout.panels[2].mesh.triangles) == 3072


def test_another_pick_while_previewing_counts_in_the_whole_panel(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    pick(qtbot, panel, session, TOP)
    pick(qtbot, panel, session, SIDE)
    assert (placement.panel_vertices(session.layout, session.layout.panels[4])[:, 1] == 500.0).all()
    pick(qtbot, panel, session, SIDE)
    assert (placement.panel_vertices(session.layout, session.layout.panels[4])[:, 1] == 500.0).all()


def test_choices_add_up_when_asked(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    panel.add.setChecked(True)
    pick(qtbot, panel, session, SIDE)
    assert len(panel.chosen) == 1024


def test_wider_crease_grows_over_the_edges(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    panel.crease.setFocus()
    panel.crease.selectAll()
    qtbot.keyClicks(panel.crease, "100")
    qtbot.keyClick(panel.crease, KEY.Key_Return)
    assert len(panel.chosen) == 3072
    assert panel.count.text() == "All of it is chosen; choose less."
    assert not panel.ok.isEnabled()
    assert not session.is_previewing


def test_loop_of_picked_points(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    with qtbot.waitSignal(panel.pick_points_wanted) as wanted:
        choose_way(panel, 1)
    assert wanted.args[0] == -1
    corners = [(-500.0, -300.0, 400.0), (500.0, -300.0, 400.0), (500.0, 300.0, 400.0), (-500.0, 300.0, 400.0)]
    pick(qtbot, panel, session, *corners)
    assert (heights(session, 4) == 400.0).all()
    assert 0 < len(panel.chosen) < 512


def test_loop_on_one_line_is_refused_in_a_sentence(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    choose_way(panel, 1)
    with qtbot.waitSignal(panel.refused) as refused:
        pick(qtbot, panel, session, (0.0, 0.0, 400.0), (10.0, 0.0, 400.0), (20.0, 0.0, 400.0))
    assert "line" in refused.args[0]


def test_box_by_two_corners_then_by_numbers(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    choose_way(panel, 2)
    pick(qtbot, panel, session, (1000.0, 500.0, 400.0), (0.0, -500.0, -400.0))
    half = len(panel.chosen)
    assert 0 < half < 3072
    panel.low[0].setFocus()
    panel.low[0].selectAll()
    qtbot.keyClicks(panel.low[0], "500")
    qtbot.keyClick(panel.low[0], KEY.Key_Return)
    assert 0 < len(panel.chosen) < half
    assert panel.is_open


def test_escape_drops_the_choice_and_then_ends_the_step(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    before = session.recorded
    pick(qtbot, panel, session, TOP)
    qtbot.keyClick(panel, KEY.Key_Escape)
    assert session.layout is before
    assert panel.is_open
    with qtbot.waitSignals([panel.closed, panel.pick_points_wanted]):
        qtbot.keyClick(panel, KEY.Key_Escape)
    assert not panel.is_open


def test_pick_on_another_panel_turns_to_that_one(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    panel.take_points([TOP], [(3, 0)])
    qtbot.waitUntil(lambda: panel._job is None)
    assert panel.title.text() == "Split other"
    assert len(session.layout.panels[2].mesh.triangles) == 3072
    assert len(session.layout.panels[3].mesh.triangles) == 3072 - len(panel.chosen)


def test_crease_changed_while_adding_keeps_what_was_chosen_before(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    pick(qtbot, panel, session, TOP)
    panel.add.setChecked(True)
    pick(qtbot, panel, session, SIDE)
    panel.crease.setFocus()
    panel.crease.selectAll()
    qtbot.keyClicks(panel.crease, "40")
    qtbot.keyClick(panel.crease, KEY.Key_Return)
    assert len(panel.chosen) == 1024


def test_pick_on_another_panel_while_adding_keeps_what_is_chosen(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    pick(qtbot, panel, session, TOP)
    panel.add.setChecked(True)
    with qtbot.waitSignal(panel.refused) as said:
        panel.take_points([TOP], [(3, 0)])
    assert said.args == [
        "That place is on other. Click one on shell, or split off what is chosen of it first."
    ]
    assert panel.title.text() == "Split shell"
    assert len(panel.chosen) == 512


def test_escape_in_the_view_drops_the_choice_and_asks_again(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    pick(qtbot, panel, session, TOP)
    with qtbot.waitSignal(panel.pick_points_wanted):
        panel.take_points([], [])
    assert not session.is_previewing
    with qtbot.waitSignal(panel.closed):
        panel.take_points([], [])


def test_enter_on_cancel_cancels(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    panel.back.setFocus()
    qtbot.keyClick(panel.back, KEY.Key_Return)
    assert not session.is_previewing
    assert list(session.recorded.panels) == [2, 3]


def test_loose_pieces_become_panels(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    panel.accept()
    from geometry.body import split

    session.apply("Join", lambda now: split.join_panels(now, (2, 3)))
    panel.open_panel(2)
    with qtbot.waitSignal(panel.refused) as refused:
        panel.pieces.click()
    assert "one piece" in refused.args[0]


def test_undo_by_somebody_else_drops_the_choice(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    panel.accept()
    session.undo()
    assert panel.is_open
    assert not len(panel.chosen)
    assert panel.count.text() == "0 of 3072 triangles chosen."


def test_another_job_ends_the_step(qtbot: QtBot, panel: SplitPanel, session: Session) -> None:
    pick(qtbot, panel, session, TOP)
    with qtbot.waitSignal(panel.closed):
        session.open(Layout(name="other"), None)
    assert session.layout.name == "other"


def test_closing_while_creases_are_looked_for_leaves_no_thread(
    qtbot: QtBot, panel: SplitPanel, session: Session
) -> None:
    panel.take_points([TOP], [(2, 0)])
    panel.close_step()
    qtbot.wait(20)
    assert not session.is_previewing


def test_everything_keeps_to_320_pixels(qtbot: QtBot, panel: SplitPanel) -> None:
    for number in range(3):
        choose_way(panel, number)
        assert panel.minimumSizeHint().width() <= 320

"""Changing one's mind in the real window, by its keys: arranging, parts, another stock."""

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QAction, QKeySequence, QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMenu
from pytestqt.qtbot import QtBot

from app.main_window import MainWindow
from app.viewport.view import View
from geometry import edits
from geometry.files import part_file
from geometry.layout import Layout
from geometry.tube import centreline

Window = MainWindow
Key = Qt.Key
LEFT = Qt.MouseButton.LeftButton


def tube(window: Window, name: str) -> int:
    return next(tube.id for tube in window.session.layout.tubes.values() if tube.name == name)


def lay(window: Window, *points: tuple[float, float, float], name: str) -> int:
    """Record one more tube."""
    stock = next(iter(window.session.layout.stocks))
    layout, id = edits.add_tube(window.session.layout, list(points), stock, name)
    window.session.commit(f"Lay {name}", layout)
    return id


def press(window: Window, name: str) -> None:
    """Press the key of a command in the view."""
    assert window.commands[name].isEnabled(), name
    window.view.setFocus()
    QTest.keySequence(window, QKeySequence(window.commands[name].shortcut()))


def places(layout: Layout, id: int) -> np.ndarray:
    return np.array([layout.nodes[node].position for node in layout.tubes[id].nodes])


def hover(view: View, place: QPoint) -> None:
    """Move the mouse there with no button held."""
    at, none = QPointF(place), Qt.MouseButton.NoButton
    everywhere = view.mapToGlobal(place).toPointF()
    event = QMouseEvent(QEvent.Type.MouseMove, at, everywhere, none, none, Qt.KeyboardModifier.NoModifier)
    QApplication.sendEvent(view, event)


def said(window: Window) -> str:
    return window.message.text


def test_a_bent_tube_is_straightened_as_one_step(cage: Window) -> None:
    session = cage.session
    wavy = lay(cage, (0, 900, 0), (50, 930, 500), (0, 900, 1000), name="Wavy")
    session.select((wavy,))
    before = session.undo_stack.count()
    press(cage, "straighten")
    assert len(session.layout.tubes[wavy].nodes) == 2
    assert session.undo_stack.count() == before + 1
    assert session.undo_stack.undoText() == "Straighten Wavy"
    assert not cage.commands["straighten"].isEnabled()  # nothing is bent any more
    session.undo()
    assert len(session.layout.tubes[wavy].nodes) == 3


def test_selected_corners_alone_are_straightened(cage: Window) -> None:
    session = cage.session
    wavy = lay(cage, (0, 900, 0), (50, 930, 500), (0, 990, 800), (0, 900, 1200), name="Wavy")
    corner = session.layout.tubes[wavy].nodes[1]
    session.select((corner,))
    press(cage, "straighten")
    assert [bend.index for bend in centreline.of(session.layout, session.layout.tubes[wavy]).bends] == [2]
    press(cage, "straighten")
    assert said(cage) == "What is selected is on the line already."


def test_a_tube_is_flattened_into_the_plane_asked_for(cage: Window) -> None:
    session = cage.session
    bow = lay(cage, (0, 900, 0), (50, 930, 500), (0, 960, 900), (10, 900, 1300), name="Bow")
    for name, axis in (("flatten_level", 2), ("flatten_across", 0), ("flatten_lengthwise", 1)):
        session.select((bow,))
        cage.commands[name].trigger()
        assert np.ptp(places(session.layout, bow)[:, axis]) == pytest.approx(0.0, abs=1e-6)
        session.undo()
    session.select((bow,))
    press(cage, "flatten_best")
    assert session.undo_stack.undoText() == "Flatten Bow"
    off = places(session.layout, bow) - places(session.layout, bow).mean(axis=0)
    assert np.linalg.svd(off)[1][2] == pytest.approx(0.0, abs=1e-6)
    cage.commands["flatten_best"].trigger()
    assert said(cage) == "What is selected is in one plane already."


def test_nodes_go_to_the_height_of_the_first_selected(cage: Window) -> None:
    session = cage.session
    ends = []
    for i, height in enumerate((1000.0, 1100.0, 1300.0)):
        id = lay(cage, (300.0 * i, 900, 0), (300.0 * i, 900, height), name=f"Post {i}")
        ends.append(session.layout.tubes[id].nodes[1])
    session.select((ends[1],))
    session.select((ends[1], ends[2]))
    session.select(ends)
    press(cage, "align_height")
    assert [session.layout.nodes[id].position[2] for id in ends] == [1100.0] * 3
    assert session.undo_stack.undoText() == "Align 3 nodes"


def test_what_a_box_selected_goes_to_the_mean(cage: Window) -> None:
    session = cage.session
    ends = []
    for i, height in enumerate((1000.0, 1100.0, 1300.0)):
        id = lay(cage, (300.0 * i, 900, 0), (300.0 * i, 900, height), name=f"Post {i}")
        ends.append(session.layout.tubes[id].nodes[1])
    session.select(())
    session.select(ends)
    press(cage, "align_height")
    heights = [session.layout.nodes[id].position[2] for id in ends]
    assert heights == pytest.approx([3400.0 / 3.0] * 3)


def tops_at(window: Window, *places: tuple[float, float]) -> list[int]:
    """Set posts, and select their tops one by one."""
    session, tops = window.session, []
    for x, y in places:
        id = lay(window, (x, y, 0), (x, y, 1000.0), name=f"Post {x:.0f}")
        tops.append(session.layout.tubes[id].nodes[1])
    session.select(())
    for id in tops:
        session.select((*session.selection, id))
    return tops


def test_both_sides_go_to_the_distance_of_the_first(cage: Window) -> None:
    tops = tops_at(cage, (0.0, 900.0), (200.0, -950.0))
    press(cage, "align_side")
    assert [cage.session.layout.nodes[id].position[1] for id in tops] == [900.0, -900.0]


def test_nodes_are_brought_onto_a_line_and_spaced_and_to_one_station(cage: Window) -> None:
    session = cage.session
    tops = tops_at(cage, (0.0, 900.0), (200.0, 950.0), (900.0, 900.0))
    press(cage, "align_line")
    press(cage, "space_evenly")
    positions = [session.layout.nodes[id].position for id in tops]
    assert positions == [pytest.approx((x, 900.0, 1000.0)) for x in (0.0, 450.0, 900.0)]
    assert session.undo_stack.undoText() == "Space 3 nodes evenly"
    press(cage, "align_station")
    assert {session.layout.nodes[id].position[0] for id in tops} == {0.0}


def test_parallel_tubes_are_spaced(cage: Window) -> None:
    session = cage.session
    rungs = [lay(cage, (x, 700, 1500), (x, -700, 1500), name=f"Rung {x}") for x in (0, -100, -900)]
    session.select(rungs)
    press(cage, "space_evenly")
    assert [places(session.layout, id)[0, 0] for id in rungs] == [0.0, -450.0, -900.0]


def test_two_tubes_become_one_and_undo_makes_two_again(cage: Window) -> None:
    session = cage.session
    post = lay(cage, (0, 900, 0), (0, 900, 1000), name="Post")
    joint = session.layout.tubes[post].nodes[1]
    layout, rail = edits.add_tube(session.layout, [joint, (-900.0, 900.0, 1000.0)], 1, "Rail")
    session.commit("Lay Rail", layout)
    session.select((rail,))
    assert not cage.commands["merge_tubes"].isEnabled()
    session.select((rail, post))
    press(cage, "merge_tubes")
    assert session.undo_stack.undoText() == "Merge Rail and Post"
    assert session.selection == {rail}
    assert post not in session.layout.tubes
    assert len(centreline.of(session.layout, session.layout.tubes[rail]).bends) == 1
    session.undo()
    assert {post, rail} <= session.layout.tubes.keys()


def test_the_tube_that_ends_at_another_can_run_through(cage: Window) -> None:
    session = cage.session
    post = lay(cage, (0, 900, 0), (0, 900, 500), (0, 900, 1000), name="Post")
    joint = session.layout.tubes[post].nodes[1]
    assert session.layout.nodes[joint].landing is None
    layout, rail = edits.add_tube(session.layout, [(-900.0, 900.0, 100.0), joint], 1, "Rail")
    session.commit("Lay Rail", edits.set_stock(layout, [rail], layout.tubes[post].stock))
    session.select((joint,))
    press(cage, "swap_through")
    assert session.undo_stack.undoText() == "Let Rail run through Post"
    assert len(session.layout.tubes[rail].nodes) == 3
    assert len(session.layout.tubes[post].nodes) == 2
    session.select((session.layout.tubes[post].nodes[0],))
    assert not cage.commands["swap_through"].isEnabled()


def test_bends_are_rounded_and_it_is_said_how_far_corners_went(cage: Window) -> None:
    session = cage.session
    bow = lay(cage, (0, 900, 0), (40, 900, 1000), (-700, 900, 1330), name="Bow")
    session.select((bow,))
    press(cage, "round_bends_5")
    (bend,) = centreline.of(session.layout, session.layout.tubes[bow]).bends
    assert math.degrees(bend.angle) / 5.0 == pytest.approx(round(math.degrees(bend.angle) / 5.0), abs=1e-6)
    assert session.undo_stack.undoText() == "Round the bends of Bow"
    assert said(cage).startswith("Corners moved by ")


def test_refusals_are_sentences_and_leave_no_step(cage: Window) -> None:
    session = cage.session
    bow = lay(cage, (0, 900, 0), (0, 930, 500), (0, 900, 1000), name="Bow")
    session.apply("Lock", lambda now: edits.set_tubes(now, [bow], locked=True))
    session.select((bow,))
    steps = session.undo_stack.count()
    press(cage, "straighten")
    assert said(cage) == "Tube Bow is locked; Ctrl+K unlocks it when it is selected."
    session.select((tube(cage, "Hoop"), tube(cage, "Brace"), bow))
    press(cage, "space_evenly")
    assert "locked" in said(cage) or "not parallel" in said(cage)
    assert session.undo_stack.count() == steps


def test_nothing_can_be_arranged_with_nothing_selected(cage: Window) -> None:
    cage.session.select(())
    names = [name for name in cage.on_arranging.possible() if name != "place_part"]
    assert not any(cage.commands[name].isEnabled() for name in names)
    assert cage.commands["place_part"].isEnabled()


def test_the_context_menu_has_the_arrangements(qtbot: QtBot, cage: Window) -> None:
    cage.session.select((tube(cage, "Hoop"),))
    cage.view.context_menu_wanted.emit(QPoint(10, 10), frozenset((tube(cage, "Hoop"),)))
    menu = next(menu for menu in cage.findChildren(QMenu) if menu.isVisible())
    arrange = next(action for action in menu.actions() if action.text() == "Arrang&e")
    inner: list[QAction] = arrange.menu().actions()  # type: ignore[union-attr]
    possible = {action.objectName() for action in inner if action.isEnabled()}
    assert {"straighten", "flatten_best", "round_bends_5"} <= possible
    assert "merge_tubes" not in possible
    menu.close()


# Parts


@pytest.fixture
def part(cage: Window, answers: Any, tmp_path: Path) -> Path:
    """The hoop of the cage, kept as a part by its key."""
    answers.save_path = tmp_path / "hoop"
    cage.session.select((tube(cage, "Hoop"),))
    press(cage, "save_part")
    return tmp_path / "hoop.outrib-part"


def test_selected_tubes_are_kept_as_a_part(cage: Window, part: Path) -> None:
    kept = part_file.load(part)
    assert kept.name == "hoop"
    assert [row.name for row in kept.tubes] == ["Hoop"]
    assert "kept as part" in said(cage)
    assert cage.settings.folder("parts") == part.parent


def test_a_name_with_a_dot_in_it_is_kept_whole(cage: Window, answers: Any, tmp_path: Path) -> None:
    answers.save_path = tmp_path / "hoop 1.5"
    cage.session.select((tube(cage, "Hoop"),))
    press(cage, "save_part")
    assert part_file.load(tmp_path / "hoop 1.5.outrib-part").name == "hoop 1.5"


def test_a_part_hangs_at_the_pointer_and_a_click_places_it(
    qtbot: QtBot, cage: Window, answers: Any, part: Path
) -> None:
    session, view = cage.session, cage.view
    session.select(())
    answers.open_path = part
    steps = session.undo_stack.count()
    press(cage, "place_part")
    assert view.tool == "part"
    hover(view, QPoint(400, 200))
    qtbot.waitUntil(lambda: session.is_previewing)
    assert len(session.layout.tubes) == 3
    assert len(session.recorded.tubes) == 2
    before = places(session.layout, max(session.layout.tubes))
    for _ in range(6):
        qtbot.keyClick(view, Key.Key_R)
    turned = places(session.layout, max(session.layout.tubes))
    assert turned[0] == pytest.approx(before[0])
    across, along = turned[-1] - turned[0], before[-1] - before[0]
    assert across @ along == pytest.approx(0.0, abs=1e-3)
    assert "turned 90°" in view.hint
    qtbot.mouseClick(view, LEFT, pos=QPoint(400, 200))
    assert not session.is_previewing
    assert session.undo_stack.count() == steps + 1
    assert session.undo_stack.undoText() == "Place hoop"
    (placed,) = session.selection
    assert session.layout.tubes[placed].name == "Hoop 2"
    hover(view, QPoint(300, 300))
    qtbot.waitUntil(lambda: len(session.layout.tubes) == 4)  # the next one hangs there already
    qtbot.keyClick(view, Key.Key_Escape)
    assert len(session.layout.tubes) == 3
    assert view.tool == "select"


def test_a_part_is_joined_to_the_node_that_is_pointed_at(
    qtbot: QtBot, cage: Window, answers: Any, part: Path
) -> None:
    session, view = cage.session, cage.view
    answers.open_path = part
    end = session.layout.tubes[tube(cage, "Brace")].nodes[1]
    press(cage, "place_part")
    at = QPoint(*(round(value) for value in view.to_screen(session.layout.nodes[end].position)))
    hover(view, at)
    qtbot.mouseClick(view, LEFT, pos=at)
    (placed,) = session.selection
    assert end in session.layout.tubes[placed].nodes


def test_a_file_that_is_no_part_is_refused_in_words(cage: Window, answers: Any, tmp_path: Path) -> None:
    answers.open_path = tmp_path / "x.outrib-part"
    answers.open_path.write_text("{}")
    press(cage, "place_part")
    assert said(cage).startswith("x.outrib-part can't be used.")
    assert cage.view.tool == "select"


def test_backing_out_of_the_questions_does_nothing(cage: Window) -> None:
    cage.session.select((tube(cage, "Hoop"),))
    steps = cage.session.undo_stack.count()
    press(cage, "save_part")
    press(cage, "place_part")
    assert cage.session.undo_stack.count() == steps
    assert cage.view.tool == "select"


# Another stock


def test_exchanged_stock_is_seen_before_it_is_kept(qtbot: QtBot, cage: Window) -> None:
    session = cage.session
    qtbot.waitUntil(lambda: cage.on_steps._report is not None, timeout=30_000)
    session.select(())
    press(cage, "restock")
    panel = cage.on_steps._restock
    assert panel.summary.text() == "The same stock and die: nothing changes."
    assert not panel.ok.isEnabled()
    wide = next(row.id for row in session.layout.stocks.values() if row.name == "2.00 × 0.120 in")
    panel.stock.setCurrentIndex(panel.stock.findData(wide))
    panel.stock.activated.emit(panel.stock.currentIndex())
    assert session.is_previewing
    assert {row.stock for row in session.layout.tubes.values()} == {wide}
    assert panel.change.text().endswith("kg more")
    qtbot.waitUntil(lambda: panel.summary.text() != "Checking…", timeout=30_000)
    counted = [panel.list.item(row).text().split(":")[0] for row in range(panel.list.count())]
    assert set(counted) <= {"New", "Worse", "Gone"}
    assert panel.summary.text().endswith(".")
    qtbot.keyClick(panel, Key.Key_Return)
    assert not cage.on_steps.is_open
    assert session.undo_stack.undoText() == "Make 2 tubes of 2.00 × 0.120 in"
    session.undo()
    assert {row.stock for row in session.layout.tubes.values()} != {wide}


def test_another_job_is_not_held_against_what_was_found_of_the_last_one(qtbot: QtBot, cage: Window) -> None:
    qtbot.waitUntil(lambda: cage.on_steps._report is not None, timeout=30_000)
    cage.session.open(replace(cage.session.layout, name="Another"), None)
    assert cage.on_steps._report is None


def test_escape_leaves_the_stock_as_it_was(qtbot: QtBot, cage: Window) -> None:
    session = cage.session
    hoop = tube(cage, "Hoop")
    session.select((hoop,))
    press(cage, "restock")
    panel = cage.on_steps._restock
    before = session.recorded
    other = [id for id in before.stocks if id != before.tubes[hoop].stock][-1]
    panel.stock.setCurrentIndex(panel.stock.findData(other))
    panel.stock.activated.emit(panel.stock.currentIndex())
    changed = {id for id, row in session.layout.tubes.items() if row.stock == other}
    assert changed == {hoop}
    qtbot.keyClick(cage.view, Key.Key_Escape)
    assert session.layout is before
    assert not cage.on_steps.is_open
    assert session.selection == {hoop}

"""Commands on the selection: each one undo step, named as the Edit menu says it."""

import pytest
from pytestqt.qtbot import QtBot

from app.selection_commands import SelectionCommands, longest_leg, names
from app.session import Session
from geometry import edits
from geometry.layout import Layout
from geometry.tube import centreline


@pytest.fixture
def session(qapp: object, layout: Layout) -> Session:
    return Session(layout)


@pytest.fixture
def commands(session: Session) -> SelectionCommands:
    return SelectionCommands(session, session)


def named(session: Session, name: str) -> int:
    layout = session.layout
    things = [*layout.tubes.values(), *layout.panels.values(), *layout.bodies.values()]
    return next(thing.id for thing in things if thing.name == name)  # type: ignore[attr-defined]


def test_delete_says_what_it_deletes(commands: SelectionCommands, session: Session) -> None:
    session.select((named(session, "Brace"),))
    commands.delete()
    assert session.undo_stack.undoText() == "Delete Brace"
    assert len(session.layout.tubes) == 1
    assert session.selection == frozenset()


def test_a_tube_and_its_new_twin_are_selected_and_follow_each_other(
    commands: SelectionCommands, session: Session
) -> None:
    brace = named(session, "Brace")
    session.select((brace,))
    commands.mirror()
    (twin,) = session.selection - {brace}
    ends = [session.layout.nodes[id].position for id in session.layout.tubes[twin].nodes]
    assert ends[1] == pytest.approx((-1400.0, -760.0, 700.0))
    end = session.layout.tubes[brace].nodes[1]
    session.apply("Move", lambda now: edits.place_node(now, end, (-1400.0, 800.0, 720.0)))
    other = session.layout.tubes[twin].nodes[1]
    assert session.layout.nodes[other].position == pytest.approx((-1400.0, -800.0, 720.0))
    commands.release_twins()
    session.apply("Move", lambda now: edits.place_node(now, end, (-1400.0, 700.0, 720.0)))
    assert session.layout.nodes[other].position == pytest.approx((-1400.0, -800.0, 720.0))
    for _ in range(4):
        session.undo()
    assert len(session.layout.tubes) == 2


def test_a_tube_that_has_its_twin_is_refused_in_words(
    qtbot: QtBot, commands: SelectionCommands, session: Session
) -> None:
    session.select((named(session, "Hoop"),))
    commands.mirror()
    with qtbot.waitSignal(session.refused):
        commands.mirror()
    assert session.undo_stack.count() == 1


def test_reverse_turns_each_tube_round(commands: SelectionCommands, session: Session) -> None:
    both = (named(session, "Hoop"), named(session, "Brace"))
    before = [session.layout.tubes[id].nodes for id in both]
    session.select(both)
    commands.reverse()
    assert [session.layout.tubes[id].nodes for id in both] == [nodes[::-1] for nodes in before]
    assert session.undo_stack.undoText() == "Reverse 2 tubes"


def test_a_corner_goes_into_the_longest_leg(commands: SelectionCommands, session: Session) -> None:
    hoop = named(session, "Hoop")
    session.select((hoop,))
    assert longest_leg(session.layout, hoop) == (1, (0.0, 0.0, 1260.0))
    commands.add_corner()
    (node,) = session.selection
    assert session.layout.tubes[hoop].nodes[2] == node
    commands.remove_corner()
    assert len(session.layout.tubes[hoop].nodes) == 4


def test_a_tube_is_split_at_its_node(commands: SelectionCommands, session: Session) -> None:
    hoop = named(session, "Hoop")
    session.select((session.layout.tubes[hoop].nodes[1],))
    commands.split_here()
    assert len(session.layout.tubes) == 3


def test_the_end_of_a_tube_is_no_place_to_split(
    qtbot: QtBot, commands: SelectionCommands, session: Session
) -> None:
    session.select((session.layout.tubes[named(session, "Hoop")].nodes[0],))
    with qtbot.waitSignal(session.refused):
        commands.split_here()


def test_a_sleeve_goes_into_a_joint_of_two_ends_and_out_again(
    commands: SelectionCommands, session: Session
) -> None:
    hoop = named(session, "Hoop")
    session.select(session.layout.tubes[hoop].nodes[1:2])
    assert not commands.may_toggle_sleeve
    session.apply("Split", lambda now: edits.split_tube(now, hoop, station=300.0)[0])
    joint = session.layout.tubes[hoop].nodes[-1]
    session.select((joint,))
    assert commands.may_toggle_sleeve
    commands.sleeve()
    assert session.layout.nodes[joint].sleeve
    assert session.undo_stack.undoText() == "Join over a sleeve"
    commands.sleeve()
    assert not session.layout.nodes[joint].sleeve
    assert session.undo_stack.undoText() == "Take the sleeve out"


def test_a_tube_is_split_where_a_sleeve_joins_it_best(commands: SelectionCommands, session: Session) -> None:
    hoop = named(session, "Hoop")
    session.select((hoop,))
    before = centreline.of(session.layout, session.layout.tubes[hoop]).length
    commands.split_sleeve()
    first, second = (session.layout.tubes[id] for id in sorted(session.selection))
    joint = session.layout.nodes[first.nodes[-1]]
    assert joint.sleeve
    assert second.nodes[0] == joint.id
    lengths = [centreline.of(session.layout, tube).length for tube in (first, second)]
    assert sum(lengths) == pytest.approx(before)
    assert session.undo_stack.undoText() == "Split Hoop with a sleeve"


def test_a_tube_without_room_for_a_sleeve_is_left_whole(
    qtbot: QtBot, commands: SelectionCommands, session: Session
) -> None:
    stock = next(iter(session.layout.stocks))
    short = [(0.0, 900.0, 300.0), (0.0, 900.0, 350.0)]
    session.apply("Lay", lambda now: edits.add_tube(now, short, stock, "Short")[0])
    session.select((named(session, "Short"),))
    with qtbot.waitSignal(session.refused) as refused:
        commands.split_sleeve()
    assert refused.args[0].startswith("Short has no straight where a sleeve")
    assert session.undo_stack.count() == 1


def test_two_nodes_are_joined_half_way(commands: SelectionCommands, session: Session) -> None:
    stock = next(iter(session.layout.stocks))
    line = [(200.0, 900.0, 300.0), (600.0, 900.0, 300.0)]
    session.apply("Tube", lambda now: edits.add_tube(now, line, stock, "Sill")[0])
    hoop, sill = (session.layout.tubes[named(session, name)] for name in ("Hoop", "Sill"))
    session.select((hoop.nodes[0], sill.nodes[0]))
    commands.join_nodes()
    hoop, sill = (session.layout.tubes[tube.id] for tube in (hoop, sill))
    assert hoop.nodes[0] == sill.nodes[0]
    assert session.layout.nodes[hoop.nodes[0]].position == (100.0, 830.0, 300.0)


def test_a_landing_is_freed_where_it_is(commands: SelectionCommands, session: Session) -> None:
    node = session.layout.tubes[named(session, "Brace")].nodes[0]
    place = session.layout.nodes[node].position
    session.select((node,))
    commands.free_end()
    assert session.layout.nodes[node].landing is None
    assert session.layout.nodes[node].position == place


def test_hiding_twice_shows_again(commands: SelectionCommands, session: Session) -> None:
    session.select((named(session, "Crate"),))
    commands.hide()
    assert not any(panel.shown for panel in session.layout.panels.values())
    commands.hide()
    assert all(panel.shown for panel in session.layout.panels.values())
    commands.leave_out()
    assert not any(panel.kept for panel in session.layout.panels.values())


def test_show_all_shows_what_is_hidden(commands: SelectionCommands, session: Session) -> None:
    session.select((named(session, "seat"),))
    commands.hide()
    commands.show_all()
    assert session.undo_stack.undoText() == "Show seat"


def test_names_count_kinds(session: Session) -> None:
    layout = session.layout
    assert names(layout, [named(session, "Hoop")]) == "Hoop"
    assert names(layout, [*layout.tubes, *layout.panels]) == "2 tubes and 2 panels"
    assert names(layout, [next(iter(layout.nodes))]) == "node"


def test_tubes_are_hidden_shown_alone_and_shown_again(commands: SelectionCommands, session: Session) -> None:
    hoop, brace = named(session, "Hoop"), named(session, "Brace")
    session.select((brace,))
    commands.hide()
    assert [session.layout.tubes[id].shown for id in (hoop, brace)] == [True, False]
    commands.hide()
    assert session.layout.tubes[brace].shown
    session.select((hoop,))
    commands.isolate()
    assert [session.layout.tubes[id].shown for id in (hoop, brace)] == [True, False]
    assert session.undo_stack.undoText() == "Show Hoop alone"
    commands.show_all()
    assert all(tube.shown for tube in session.layout.tubes.values())


def test_a_lock_holds_until_it_is_taken_off(commands: SelectionCommands, session: Session) -> None:
    hoop = named(session, "Hoop")
    session.select((hoop,))
    commands.lock()
    assert edits.locked_by(session.layout, session.layout.tubes[hoop].nodes[0]) is session.layout.tubes[hoop]
    commands.lock()
    assert edits.locked_by(session.layout, hoop) is None

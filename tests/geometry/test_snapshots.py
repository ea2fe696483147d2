"""A snapshot is the layout as it was, and the way back to it, whatever was done since."""

import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import fields, replace

from app.session import Session
from geometry import edits, rack, sample, snapshots
from geometry.aids import FreeSpot, TubeSpot
from geometry.errors import GeometryError, LayoutFileError
from geometry.files import consistency, job
from geometry.layout import Layout, TrialBend
from geometry.measuring import kept as measures

MADE = "2026-11-25T21:00:00+00:00"


@pytest.fixture(scope="module")
def cage() -> Layout:
    return sample.build()


def first_tube(layout: Layout) -> int:
    return next(iter(layout.tubes))


def moved(layout: Layout, shift: tuple[float, float, float] = (0.0, 0.0, 5.0)) -> Layout:
    return edits.move_nodes(layout, layout.tubes[first_tube(layout)].nodes[1:2], shift)


def test_a_snapshot_shares_what_it_holds_and_holds_no_snapshots(cage: Layout) -> None:
    once, first = snapshots.take(cage, "  first   cage ", MADE)
    twice, second = snapshots.take(once, "second", MADE)
    kept = twice.snapshots[second]
    assert (twice.snapshots[first].name, kept.made, kept.id) == ("first cage", MADE, second)
    assert kept.layout.snapshots == {}
    assert first != second
    assert kept.layout.tubes is cage.tubes
    assert kept.layout.panels is cage.panels
    assert twice.tubes is cage.tubes
    assert twice.next_id == cage.next_id + 2


def test_a_name_is_needed_and_can_be_changed(cage: Layout) -> None:
    with pytest.raises(GeometryError, match="name"):
        snapshots.take(cage, "   ", MADE)
    layout, id = snapshots.take(cage, "one", MADE)
    renamed = snapshots.rename(layout, id, "two")
    assert renamed.snapshots[id].name == "two"
    assert snapshots.rename(layout, id, "one") is layout
    assert snapshots.delete(layout, id).snapshots == {}
    for edit in (snapshots.delete, snapshots.returned):
        with pytest.raises(GeometryError, match="no longer"):
            edit(cage, id)


def test_a_proposed_name_is_free(cage: Layout) -> None:
    layout = cage
    for _ in range(3):
        name = snapshots.free_name(layout)
        assert name not in {each.name for each in layout.snapshots.values()}
        layout, _ = snapshots.take(layout, name, MADE)
    layout = snapshots.delete(layout, min(layout.snapshots))
    assert snapshots.free_name(layout) == "Version 4"


def test_going_back_gives_the_very_same_things_and_keeps_the_snapshots(cage: Layout) -> None:
    layout, id = snapshots.take(cage, "one", MADE)
    later, other = snapshots.take(moved(layout), "two", MADE)
    back = snapshots.returned(later, id)
    for each in fields(Layout):
        if each.name not in ("next_id", "snapshots"):
            assert getattr(back, each.name) is getattr(cage, each.name), each.name
    assert back.snapshots.keys() == {id, other}
    assert back.next_id == later.next_id
    assert snapshots.returned(back, other).nodes is later.nodes


@given(st.lists(st.sampled_from(("take", "add", "delete", "return", "forget")), max_size=12))
def test_an_id_never_stands_for_two_things(steps: list[str]) -> None:
    """Whatever is taken, laid, deleted and gone back to: an id has one kind and one name for ever."""
    layout = rack.with_starting_rack(Layout())
    known: dict[int, str] = {}
    for number, step in enumerate(steps):
        if step == "take":
            layout, _ = snapshots.take(layout, f"{number}", MADE)
        elif step == "add":
            run = ((float(number), 0.0, 0.0), (float(number), 0.0, 900.0))
            layout, _ = edits.add_tube(layout, run, min(layout.stocks), f"tube {number}")
        elif step == "delete" and layout.tubes:
            layout = edits.delete(layout, [max(layout.tubes)])
        elif step == "return" and layout.snapshots:
            layout = snapshots.returned(layout, max(layout.snapshots))
        elif step == "forget" and layout.snapshots:
            layout = snapshots.delete(layout, min(layout.snapshots))
        for id, what in stands_for(layout).items():
            assert known.setdefault(id, what) == what
    assert list(consistency.broken_promises(layout)) == []


def stands_for(layout: Layout) -> dict[int, str]:
    named = {id: f"tube {tube.name}" for id, tube in layout.tubes.items()}
    return (
        named
        | {id: f"node at {node.position}" for id, node in layout.nodes.items()}
        | {id: f"snapshot {each.name}" for id, each in layout.snapshots.items()}
    )


def test_trial_bends_made_since_stay_and_the_name_of_the_job_too(cage: Layout) -> None:
    layout, id = snapshots.take(cage, "one", MADE)
    trial = TrialBend(
        layout.next_id, min(layout.dies), min(layout.stocks), "", "2026-11-25", 600.0, 300.0, 0.8, 0.78
    )
    later = replace(
        layout, name="Another", next_id=layout.next_id + 1, trials={**layout.trials, trial.id: trial}
    )
    back = snapshots.returned(later, id)
    assert back.trials == {**cage.trials, trial.id: trial}
    assert back.name == "Another"
    without = replace(later, trials={trial.id: replace(trial, die=999_999)})
    assert snapshots.returned(without, id).trials == cage.trials


def test_going_back_is_one_step_that_nothing_follows(cage: Layout, qapp: object) -> None:
    """Twins and measures are as they were at the snapshot, though both differ now."""
    tube = first_tube(cage)
    layout, measure = measures.add(cage, "along", (TubeSpot(tube, 10.0), TubeSpot(tube, 700.0)))
    layout, _ = measures.add(layout, "distance", (FreeSpot((0.0, 0.0, 0.0)), TubeSpot(tube, 500.0)))
    layout, id = snapshots.take(layout, "one", MADE)
    session = Session(layout)
    session.apply("Move", lambda now: edits.move_nodes(now, now.tubes[tube].nodes[:1], (-90.0, 0.0, 0.0)))
    assert session.layout.measures[measure] != layout.measures[measure]
    for side in ("left", "right"):
        session.apply("Lead", lambda now, side=side: replace(now, leads=side))
    session.apply("Back", lambda now: snapshots.returned(now, id))
    assert session.layout.nodes is layout.nodes
    assert session.layout.measures is layout.measures
    assert session.layout.tubes is layout.tubes
    assert session.layout.leads == layout.leads
    session.undo()
    assert session.layout.measures[measure] != layout.measures[measure]


# -- in the job's file ---------------------------------------------------------------


def with_snapshots(cage: Layout, count: int) -> Layout:
    layout = cage
    for number in range(count):
        layout = moved(layout, (0.1 * (number + 1), 0.0, 1 / 3))
        layout, _ = snapshots.take(layout, f"Version {number + 1}", MADE)
    return layout


def test_snapshots_open_again_as_they_were_saved_and_share_what_they_shared(
    cage: Layout, tmp_path: Path
) -> None:
    layout = with_snapshots(cage, 3)
    job.save(layout, tmp_path / "a.outrib")
    opened = job.load(tmp_path / "a.outrib")
    job.save(opened, tmp_path / "b.outrib")
    assert (tmp_path / "a.outrib").read_bytes() == (tmp_path / "b.outrib").read_bytes()
    for kept in opened.snapshots.values():
        assert kept.layout.panels is opened.panels
        assert kept.layout.stocks is opened.stocks
        assert kept.layout.nodes == layout.snapshots[kept.id].layout.nodes
    assert opened.snapshots[max(opened.snapshots)].layout.nodes is opened.nodes


def test_a_zero_with_another_sign_is_another_number(cage: Layout, tmp_path: Path) -> None:
    node = min(cage.nodes)
    plus = edits.place_node(cage, node, (100.0, 0.0, 100.0))
    layout, id = snapshots.take(plus, "one", MADE)
    minus = {**layout.nodes, node: replace(layout.nodes[node], position=(100.0, -0.0, 100.0))}
    job.save(replace(layout, nodes=minus), tmp_path / "a.outrib")
    opened = job.load(tmp_path / "a.outrib")
    assert math.copysign(1.0, opened.nodes[node].position[1]) == -1.0
    assert math.copysign(1.0, opened.snapshots[id].layout.nodes[node].position[1]) == 1.0


def test_what_is_wrong_in_a_snapshot_is_told_with_its_name(cage: Layout, tmp_path: Path) -> None:
    layout, id = snapshots.take(cage, "first cage", MADE)
    kept = layout.snapshots[id]

    def fault(inner: Layout) -> str:
        broken = replace(layout, snapshots={id: replace(kept, layout=inner)})
        with pytest.raises(LayoutFileError) as refused:
            job.save(broken, tmp_path / "x.outrib")
        return str(refused.value)

    tube = first_tube(cage)
    lost = {**cage.tubes, tube: replace(cage.tubes[tube], stock=999_999)}
    assert "in the snapshot first cage, tube" in fault(replace(kept.layout, tubes=lost))
    assert "snapshots again" in fault(replace(kept.layout, snapshots=layout.snapshots))
    assert "no count" in fault(replace(kept.layout, next_id=layout.next_id + 5))
    stock = replace(cage.stocks[min(cage.stocks)], id=tube)
    swapped = replace(Layout(), next_id=kept.layout.next_id, stocks={tube: stock})
    assert "used twice" in fault(swapped)

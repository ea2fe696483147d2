"""A first cage on bodies of known shape and on a scan: what is laid can be bent and keeps clear."""

from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from geometry import edits, rack, sample
from geometry.body import distance, measured, scan
from geometry.checks import clearance, findings
from geometry.errors import GeometryError
from geometry.laying.wish import Place
from geometry.layout import Layout
from geometry.progress import Cancelled
from geometry.starting import cage, families, points
from geometry.starting.cage import Started

CLOSEST = 15.0 + 3.0 + 5.0  # closest allowed, scan error, build tolerance


@cache
def measured_body(shape: str) -> Layout:
    layout = rack.with_starting_rack(Layout(name="job"))
    return measured.add_to(layout, measured.shapes()[shape], shape)[0]


@cache
def sample_body() -> Layout:
    layout = sample.build()
    return edits.delete(layout, list(layout.tubes))


@cache
def sedan(file: Path) -> Layout:
    found = scan.read(file)
    return scan.add_to(rack.with_starting_rack(Layout(name="job")), found, scan.judge(found))[0]


def stock_of(layout: Layout) -> int:
    return next(stock.id for stock in layout.stocks.values() if stock.name == sample.MAIN)


def places(layout: Layout) -> dict[str, Place]:
    guesses = points.guessed(layout)
    return {key: guess.place for key, guess in guesses.items() if guess.place is not None}


def begun(
    layout: Layout, wanted: tuple[str, ...] = families.KEYS, given: Mapping[str, Place] | None = None
) -> Started:
    if given is None:
        return _guessed(layout, wanted)
    return cage.started(layout, given, wanted, distance.build(layout), stock_of(layout))


@cache
def _guessed(layout: Layout, wanted: tuple[str, ...]) -> Started:
    return cage.started(layout, places(layout), wanted, distance.build(layout), stock_of(layout))


def named(made: Started) -> set[str]:
    return {made.layout.tubes[id].name for id in made.tubes}


WHOLE = {
    *(
        f"{side} {tube}"
        for side in ("Left", "Right")
        for tube in ("sill tube", "roof rail", "A upright", "B upright", "C upright", "rear down tube")
    ),
    "Windscreen header",
    "Rear header",
    "Bonnet hoop",
    "Roof cross tube",
    "Rear cross tube",
}


@pytest.fixture(params=["two-box", "pick-up", "sample", "sedan"])
def body(request: pytest.FixtureRequest) -> Layout:
    if request.param == "sample":
        return sample_body()
    if request.param == "sedan":
        return sedan(request.getfixturevalue("meshes") / "sedan_chassis_vis.obj")
    return measured_body(request.param)


def test_a_whole_cage_is_laid_with_nothing_to_find(body: Layout) -> None:
    made = begun(body)
    assert named(made) == WHOLE
    assert made.left_out == ()
    report = findings.check_layout(made.layout)
    rules = [found.rule for found in report.findings]
    assert not [rule for rule in rules if rule.startswith("bends.")]
    assert "clearance.crossing" not in rules
    assert "clearance.too_close" not in rules
    assert not [found for found in report.findings if found.severity == "error"]
    rows = clearance.clearances(made.layout, distance.build(body))
    assert min(row.clearance for row in rows) >= CLOSEST - 0.05


def test_both_sides_are_mirror_images_and_tubes_across_their_own(body: Layout) -> None:
    made = begun(body, ("sills", "rails", "headers"))
    layout = made.layout
    for id in made.tubes:
        tube = layout.tubes[id]
        assert tube.twin in layout.tubes
        run = np.array([layout.nodes[node].position for node in tube.nodes])
        other = layout.tubes[tube.twin or 0]
        twin = np.array([layout.nodes[node].position for node in other.nodes])
        mirrored = (twin[::-1] if other is tube else twin) * (1.0, -1.0, 1.0)
        assert np.abs(run - mirrored).max() < 0.02


def test_tubes_meet_at_shared_nodes_and_landings() -> None:
    made = begun(measured_body("two-box"))
    layout = made.layout
    tubes = {tube.name: tube for tube in layout.tubes.values()}
    rail, sill = tubes["Left roof rail"], tubes["Left sill tube"]
    assert tubes["Left A upright"].nodes[-1] == rail.nodes[0]
    assert tubes["Left C upright"].nodes[0] == rail.nodes[-1]
    assert tubes["Left rear down tube"].nodes[0] == tubes["Left C upright"].nodes[-1]
    foot = layout.nodes[tubes["Left B upright"].nodes[0]].landing
    assert foot is not None
    assert foot.tube == sill.id
    hoop = [layout.nodes[tubes["Bonnet hoop"].nodes[end]].landing for end in (0, -1)]
    assert [end.tube for end in hoop if end] == [tubes["Left A upright"].id, tubes["Right A upright"].id]


def test_only_the_families_wanted_are_laid() -> None:
    made = begun(measured_body("two-box"), ("b_uprights",))
    assert named(made) == {"Left B upright", "Right B upright"}
    assert set(made.families.values()) == {"b_uprights"}


def test_what_lacks_a_point_is_left_out_and_said_and_the_rest_is_laid() -> None:
    layout = measured_body("two-box")
    given = places(layout)
    del given["nose"]
    made = begun(layout, ("sills", "bonnet"), given)
    assert named(made) == {"Left sill tube", "Right sill tube"}
    assert made.left_out == ("Bonnet hoop: point at “Front of the bonnet, middle” first.",)


def test_a_point_off_the_body_is_left_out_and_said() -> None:
    layout = measured_body("two-box")
    astray = {**places(layout), "sill_rear": Place((-1800.0, 2000.0, 500.0), (0.0, 1.0, 0.0))}
    made = begun(layout, ("sills", "rails"), astray)
    assert named(made) == {"Left roof rail", "Right roof rail"}
    assert made.left_out[0].startswith("Left sill tube: There is nothing of the body near")


def test_a_body_without_a_roof_gets_what_it_can_have() -> None:
    made = begun(measured_body("open tub"))
    assert {"Left sill tube", "Right sill tube", "Rear cross tube"} <= named(made)
    assert any("roof rail" in said for said in made.left_out)


def test_nothing_to_lay_is_refused_in_words() -> None:
    layout = measured_body("two-box")
    with pytest.raises(GeometryError, match="Tick at least one"):
        begun(layout, ())
    with pytest.raises(GeometryError, match="None of the tubes could be laid"):
        begun(layout, ("bonnet",), {"a_head": places(layout)["a_head"]})


def test_one_side_alone_leaves_out_what_crosses() -> None:
    layout = measured_body("two-box")
    made = cage.started(
        layout,
        places(layout),
        ("sills", "headers"),
        distance.build(layout),
        stock_of(layout),
        both_sides=False,
    )
    assert named(made) == {"Left sill tube"}
    assert len(made.left_out) == 2
    assert not made.layout.tubes[made.tubes[0]].mirrors  # no twin is given to it later


def test_names_that_are_taken_get_a_number() -> None:
    layout = measured_body("two-box")
    stock = stock_of(layout)
    layout, _ = edits.add_tube(layout, [(0.0, 3000.0, 0.0), (900.0, 3000.0, 0.0)], stock, "Right sill tube")
    assert named(begun(layout, ("sills",))) == {"Left sill tube 2", "Right sill tube 2"}


def test_the_tubes_that_came_back_are_put_in_without_families_not_wanted() -> None:
    layout = measured_body("two-box")
    made = cage.laid(layout, places(layout), ("sills", "b_uprights"), stock_of(layout), True)
    whole = cage.with_laid(layout, made, ("sills", "b_uprights"))
    few = cage.with_laid(layout, made, ("b_uprights",))
    assert whole.panels is layout.panels
    assert {tube.name for tube in few.tubes.values()} == {"Left B upright", "Right B upright"}
    assert {tube.name for tube in whole.tubes.values()} > {tube.name for tube in few.tubes.values()}


def test_progress_goes_up_names_the_tubes_and_can_stop_the_work() -> None:
    layout = measured_body("two-box")
    told: list[tuple[float, str]] = []

    def listen(done: float, doing: str) -> None:
        told.append((done, doing))

    def stop(done: float, doing: str) -> None:
        if "A upright" in doing:
            raise Cancelled

    lay: Callable[..., Started] = cage.started
    asked = (layout, places(layout), ("sills", "a_uprights"), distance.build(layout), stock_of(layout), True)
    lay(*asked, listen)
    done = [part for part, _ in told]
    assert done == sorted(done)
    assert done[-1] <= 1.0
    assert told[0][1] == "Laying the left sill tube"
    with pytest.raises(Cancelled):
        lay(*asked, stop)

"""What the view says of bends, held against what the checks find."""

import pytest
from msgspec.structs import replace

from app.viewport import annotations, picking
from app.viewport.annotator import leads_of
from app.viewport.camera import Camera, Size
from app.viewport.marks import Whisper
from app.viewport.placing import Outlook
from app.viewport.surface import Surface
from geometry import edits, rack
from geometry.checks import bends
from geometry.layout import BendFrom, Cut, Die, Layout
from geometry.tube import centreline, feeding
from geometry.vectors import Vec3

OD, CLR, LEAST = 38.1, 114.3, 76.2  # mm: 1 1/2 in tube on a die of three diameters


def hoop(width: float, **die: float) -> Layout:
    """Return a layout with one tube of two right angles, so far apart."""
    layout = rack.with_starting_rack(Layout())
    stock = next(stock for stock in layout.stocks.values() if stock.od == OD)
    layout = replace(layout, dies={1: replace(Die(1, "Die", OD, CLR), **die)})
    corners: list[Vec3] = [(0.0, 0.0, 0.0), (0.0, 0.0, 900.0), (0.0, width, 900.0), (0.0, width, 0.0)]
    return edits.add_tube(layout, corners, stock.id)[0]


def seen(layout: Layout) -> Outlook:
    """Return the layout as it is looked at, with no body before it."""
    nothing = Surface(layout, [])
    return Outlook(picking.look(layout, Camera(), Size(800.0, 600.0)), nothing, nothing)


def said(layout: Layout) -> list[tuple[str | None, str]]:
    (tube,) = layout.tubes.values()
    facts = annotations.bend_facts(layout, tube, centreline.of(layout, tube), lambda mm: f"{mm:.1f} mm")
    return [(fact.shape, fact.words) for fact in facts]


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (hoop(2 * CLR + LEAST - 10.0), [("close", "straight 66.2 mm, die assumed to need 76.2 mm")]),
        (hoop(2 * CLR + 40.0, between_straight=50.0), [("bad", "straight 40.0 mm, die needs 50.0 mm")]),
        (hoop(2 * CLR + LEAST), []),
        (hoop(900.0, clr=100.0), [("close", "radius 100.0 mm under the stock's least")] * 2),
        (hoop(900.0, largest_angle=1.0), [("bad", "90.0°, die goes to 57°")] * 2),
    ],
)
def test_bends_carry_the_sign_that_the_list_gives_them(layout: Layout, words: list[tuple[str, str]]) -> None:
    assert said(layout) == words
    (tube,) = layout.tubes.values()
    signs = {"error": "bad", "warning": "close"}
    assert {signs[found.severity] for found in bends.findings(layout, tube)} == {shape for shape, _ in words}


def test_a_joint_over_a_sleeve_says_so() -> None:
    layout = hoop(900.0)
    (tube,) = layout.tubes
    layout, _ = edits.split_with_sleeve(layout, tube, 300.0)
    joint = layout.tubes[tube].nodes[-1]
    marks = annotations.sleeve_words(seen(layout), layout.nodes, lambda place: (place[1], place[2]))
    assert [mark.text for mark in marks if isinstance(mark, Whisper)] == ["sleeve"]
    assert layout.nodes[joint].sleeve


def test_a_blank_that_the_die_needs_longer_is_a_word_and_no_sign() -> None:
    layout = hoop(900.0, first_straight=855.7, tail=300.0)  # 785.7 of straight and 25 of allowance
    (tube,) = layout.tubes.values()
    longer = annotations.longer_blank(layout, tube)
    words = annotations.blank_words(
        seen(layout), tube, longer, lambda mm: f"{mm:.0f} mm", lambda place: place[:2]
    )
    assert [word.text for word in words if isinstance(word, Whisper)] == [
        "blank +70 mm"
    ]  # as the page of the tube has it
    assert said(layout) == []


@pytest.mark.parametrize("bend_from", ["start", "end", "middle"])
@pytest.mark.parametrize("cut", ["after", "before"])
def test_under_the_hand_the_longer_blank_is_what_the_order_of_before_makes_it(
    bend_from: BendFrom, cut: Cut
) -> None:
    layout = hoop(900.0, first_straight=855.7, tail=990.0)
    layout = edits.set_bend_from(layout, layout.tubes, bend_from)
    layout = edits.set_cuts(layout, layout.tubes, cut, "after")
    (tube,) = layout.tubes.values()
    leads = {feed.bend: feed.leads for feed in feeding.of(layout, tube).feeds}
    moved = edits.move_nodes(layout, tube.nodes[:1], (0.0, 0.0, 30.0))
    exact = annotations.longer_blank(moved, moved.tubes[tube.id])
    assert annotations.longer_blank(moved, moved.tubes[tube.id], leads) == pytest.approx(exact)


def test_an_end_cut_before_bending_that_the_die_cannot_hold_is_marked_as_the_list_marks_it() -> None:
    layout = hoop(900.0, first_straight=200.0, tail=800.0)
    layout = edits.set_cuts(layout, layout.tubes, "before", "before")
    layout = edits.set_bend_from(layout, layout.tubes, "start")
    (tube,) = layout.tubes.values()
    line = centreline.of(layout, tube)
    facts = annotations.cut_facts(layout, tube, line, leads_of(layout, tube), lambda mm: f"{mm:.1f} mm")
    assert [(fact.shape, fact.words) for fact in facts] == [("bad", "straight 785.7 mm, die needs 800.0 mm")]
    (found,) = bends.findings(layout, tube)
    assert (found.rule, found.value, found.limit) == ("end.cut_before", pytest.approx(785.7), 800.0)

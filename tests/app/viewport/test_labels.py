"""Labels hide neither one another nor their own anchor, stay inside, and stay put."""

from hypothesis import given
from hypothesis import strategies as st

from app.viewport import labels
from app.viewport.labels import Rect, Wish

ROOM = Rect(0.0, 0.0, 1280.0, 800.0)


def wishes_near(x: float, y: float, count: int) -> list[Wish]:
    return [Wish(i, x + 7.0 * i, y + 3.0 * i, 170.0, 26.0) for i in range(count)]


def rects(placed: dict) -> list[Rect]:
    return [place.rect for place in placed.values()]


def test_eight_labels_that_want_the_same_place_do_not_overlap() -> None:
    found = rects(labels.arranged(wishes_near(640.0, 400.0, 8), ROOM))
    assert all(labels.overlap(a, b) == 0.0 for i, a in enumerate(found) for b in found[:i])


@given(st.floats(0.0, 1280.0), st.floats(0.0, 800.0))
def test_a_label_stays_inside_the_view(x: float, y: float) -> None:
    (rect,) = rects(labels.arranged(wishes_near(x, y, 1), ROOM))
    assert rect.left >= ROOM.left
    assert rect.right <= ROOM.right
    assert rect.top >= ROOM.top
    assert rect.bottom <= ROOM.bottom


@given(st.floats(0.0, 1280.0), st.floats(0.0, 800.0))
def test_a_label_does_not_cover_what_it_belongs_to(x: float, y: float) -> None:
    (rect,) = rects(labels.arranged(wishes_near(x, y, 1), ROOM))
    assert not (rect.left < x < rect.right and rect.top < y < rect.bottom)


def test_a_label_keeps_its_side_while_its_anchor_wanders() -> None:
    before: dict[object, int] = {}
    seen = set()
    for step in range(40):
        placed = labels.arranged(wishes_near(300.0 + 5.0 * step, 300.0 + step, 2), ROOM, (), before)
        before = {key: place.candidate for key, place in placed.items()}
        seen.add(tuple(before.values()))
    assert len(seen) == 1


def test_labels_keep_clear_of_what_is_taken() -> None:
    taken = Rect(640.0, 340.0, 260.0, 60.0)
    (rect,) = rects(labels.arranged(wishes_near(640.0, 400.0, 1), ROOM, (taken,)))
    assert labels.overlap(rect, taken) == 0.0

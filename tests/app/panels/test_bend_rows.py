"""The bends in the order of bending, held against the plan."""

import pytest

from app.panels import bend_rows
from geometry import edits, rack
from geometry.layout import BendFrom, Layout
from geometry.tube import bending, plan
from geometry.vectors import Vec3

PLACES: list[Vec3] = [
    (0.0, 0.0, 0.0),
    (900.0, 0.0, 0.0),
    (900.0, 900.0, 300.0),
    (1800.0, 900.0, 0.0),
    (1900.0, 200.0, 900.0),
]


@pytest.mark.parametrize("bend_from", ["best", "start", "end", "middle"])
def test_rows_turn_as_the_plan_says_and_show_the_straight_ahead(bend_from: BendFrom) -> None:
    layout = rack.with_starting_rack(Layout())
    layout, id = edits.add_tube(layout, PLACES, next(iter(layout.stocks)))
    layout = edits.set_bend_from(layout, (id,), bend_from)
    tube = layout.tubes[id]
    planned = plan.of(layout, tube)
    data = bending.bend_data(PLACES, bending.clr_of(layout, tube))
    rows = bend_rows.in_order(data, bend_rows.order_of(planned, 3))
    assert [row.number for row in rows] == [step.bend for step in planned.steps]
    assert [row.rotation for row in rows] == pytest.approx([step.rotation for step in planned.steps])
    assert [row.angle for row in rows] == pytest.approx([step.angle for step in planned.steps])
    straights = [*(row.straight_before for row in data.rows), data.last_straight]
    ahead = [straights[step.bend - (step.leads == "start")] for step in planned.steps]
    assert [row.straight for row in rows] == ahead


def test_without_a_plan_the_bends_stand_from_the_start_on() -> None:
    layout = rack.with_starting_rack(Layout())
    layout = edits.add_tube(layout, [*PLACES[:3], (900.0, 900.0, 250.0)], next(iter(layout.stocks)))[0]
    (tube,) = layout.tubes.values()
    unmakeable = plan.of(layout, tube)
    assert not unmakeable.steps
    assert bend_rows.order_of(unmakeable, 2) == ((0, "start"), (1, "start"))

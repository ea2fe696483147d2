"""The drawings of trial bends: what is measured where, and scales that can be read."""

import math

import pytest
from pytestqt.qtbot import QtBot

from app.panels import trial_charts, trial_drawing
from app.panels.trial_charts import Bar, Bent, DialChart, MissChart
from app.panels.trial_drawing import LEAD, RADIUS, TAIL, TUBE, TrialDrawing
from geometry.tube.trials import DialPoint


@pytest.mark.parametrize("degrees", [25.0, 60.0, 90.0, 120.0, 140.0])
def test_both_legs_end_where_the_outsides_cross(degrees: float) -> None:
    shape = trial_drawing.bent(math.radians(degrees), False)
    reach = (RADIUS + TUBE / 2.0) * math.tan(math.radians(degrees) / 2.0)
    assert math.dist(*shape.tail_leg) == pytest.approx(TAIL + reach)
    assert math.dist(*shape.lead_leg) == pytest.approx(LEAD + reach)
    assert shape.lead_leg[1] == pytest.approx(shape.tail_leg[1])


@pytest.mark.parametrize("degrees", [90.0, 120.0, 140.0])
def test_legs_to_the_back_end_square_at_the_bend(degrees: float) -> None:
    shape = trial_drawing.bent(math.radians(degrees), True)
    farthest = max(x for x, _ in shape.run) + TUBE / 2.0
    assert shape.tail_leg[1][0] == pytest.approx(farthest, abs=0.5)
    assert math.dist(*shape.lead_leg) == pytest.approx(LEAD + RADIUS + TUBE / 2.0)


@pytest.mark.parametrize(
    ("value", "nice"), [(7.3, 5.0), (0.26, 0.2), (1.0, 1.0), (0.0019, 0.001), (60.0, 50.0)]
)
def test_scales_have_plain_numbers(value: float, nice: float) -> None:
    assert trial_charts._nice(value) == pytest.approx(nice)


def test_every_drawing_is_painted_with_and_without_trial_bends(qtbot: QtBot) -> None:
    drawing, dial, miss = TrialDrawing(), DialChart(), MissChart("Legs", "None yet.", "mm")
    for part in (drawing, dial, miss):
        qtbot.addWidget(part)
        part.resize(300, 240)
        part.grab()
    drawing.set_active("angle")
    drawing.show_bend(math.radians(100.0), True)
    dial.show_fit([DialPoint(0.0, 0.0, 0.01), DialPoint(2.0, 2.1, 0.01)], [Bent(1.0, 1.05, True)])
    miss.show_bars(
        [Bar("30° 1", "lead leg", 0.0, 0.0, False), Bar("30° 1", "tail leg", -2.0, 1.0, True)], "mm"
    )
    for part in (drawing, dial, miss):
        part.grab()
    assert "30°, tail leg: -2 mm" in miss.accessibleDescription()
    assert dial.accessibleDescription() == "60.16° gave 57.3°"


@pytest.mark.parametrize("value", [0.4, 1037.0, -123456.0])
def test_the_scale_of_what_is_missed_is_not_cut_off_at_the_left(qtbot: QtBot, value: float) -> None:
    miss = MissChart("", "None yet.", "mm")
    qtbot.addWidget(miss)
    miss.resize(240, 200)
    miss.show_bars([Bar("60° 1", "tail leg", value, 1.0, False)], "mm")
    image = miss.grab().toImage()
    assert len({image.pixel(0, y) for y in range(image.height())}) == 1

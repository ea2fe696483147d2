import numpy as np
import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.panels import cross_section_drawing as drawing
from app.panels.cross_section import STEP, CrossSectionPanel
from app.session import Session
from app.units import MILLIMETRES, Units
from geometry import edits
from geometry.body import distance
from geometry.checks import cross_section, findings
from geometry.layout import Layout
from geometry.tube import centreline


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> CrossSectionPanel:
    panel = CrossSectionPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(900, 300)
    panel.show()
    return panel


def tube_of(layout: Layout) -> int:
    return next(iter(layout.tubes))


def test_with_nothing_selected_nothing_is_cut(panel: CrossSectionPanel) -> None:
    panel._cut_anew()
    assert panel.cut is None
    assert not panel.slider.isEnabled()


def test_it_cuts_where_the_tube_is_closest(panel: CrossSectionPanel, session: Session) -> None:
    layout = session.layout
    report = findings.check(layout, distance.build(layout))
    tube, near = next(iter(report.nearest.items()))
    session.select({tube})
    panel.show_report(report)
    panel._cut_anew()
    assert panel.cut is not None
    assert panel.station == pytest.approx(near.station)
    assert panel.cut.true_gap is not None
    assert panel.cut.true_gap.standing.raw == pytest.approx(near.clearance, abs=0.05)


def test_left_and_right_step_along_the_tube_and_stop_at_its_ends(
    qtbot: QtBot, panel: CrossSectionPanel, session: Session
) -> None:
    session.select({tube_of(session.layout)})
    panel._cut_anew()
    before = panel.station
    qtbot.keyClick(panel.sheet, Qt.Key.Key_Right)
    assert panel.station == pytest.approx(before + STEP)
    assert not panel.follows.isChecked()
    panel.set_station(-50.0)
    assert panel.station == 0.0


def test_it_follows_a_drag(qtbot: QtBot, panel: CrossSectionPanel, session: Session) -> None:
    layout = session.layout
    tube = tube_of(layout)
    session.select({tube})
    panel._cut_anew()
    assert panel.cut is not None
    before = panel.cut.plane.origin
    session.preview(edits.move_nodes(layout, layout.tubes[tube].nodes, (0.0, 0.0, 40.0)))
    qtbot.waitUntil(lambda: panel.cut is not None and panel.cut.plane.origin != before, timeout=2000)
    assert panel.cut.plane.origin[2] == pytest.approx(before[2] + 40.0)


def test_the_ring_in_the_view_goes_with_the_panel(panel: CrossSectionPanel, session: Session) -> None:
    rings: list[np.ndarray] = []
    panel.ring_changed.connect(rings.append)
    session.select({tube_of(session.layout)})
    panel._cut_anew()
    assert len(rings[-1])
    panel.hide()
    assert not len(rings[-1])


@pytest.mark.parametrize("units", [MILLIMETRES, Units("in"), Units("in-fraction", 16)])
def test_it_speaks_the_user_s_units(panel: CrossSectionPanel, session: Session, units: Units) -> None:
    session.select({tube_of(session.layout)})
    panel.set_units(units)
    panel._cut_anew()
    assert panel.cut is not None
    bar = drawing.drawn(panel.cut, session.layout, (400.0, 260.0), panel._length, 1.0).words[-2].text
    assert ("mm" in bar) == (units.length == "mm")


def test_the_drawing_is_to_scale_and_its_words_lie_inside(session: Session) -> None:
    layout = session.layout
    for id, tube in layout.tubes.items():
        length = centreline.of(layout, tube).length
        cut = cross_section.of(layout, id, length / 2.0)
        whole = drawing.drawn(cut, layout, (500.0, 300.0), lambda mm: f"{mm:.1f} mm", 1.0)
        scale = (300.0 / 2.0 - drawing.MARGIN) / cut.half
        outside = next(stroke for stroke in whole.strokes if stroke.is_filled)
        wide = np.ptp(outside.points[:, 0])
        assert wide == pytest.approx(2.0 * cut.radius * scale, rel=1e-3)
        for words in whole.words:
            assert -20.0 <= words.at[0] <= 520.0


def test_what_a_cut_says_names_raw_and_safe(session: Session) -> None:
    layout = session.layout
    cuts = [
        cross_section.of(layout, id, part * centreline.of(layout, tube).length)
        for id, tube in layout.tubes.items()
        for part in (0.2, 0.5)
    ]
    gaps = [cut for cut in cuts if cut.gap is not None and cut.gap.standing.raw > 0.0]
    assert gaps
    for cut in gaps:
        said = " ".join(drawing.said(cut, layout, lambda mm: f"{mm:.1f} mm"))
        assert cut.gap is not None
        assert f"{cut.gap.standing.raw:.1f} mm drawn" in said
        assert f"{cut.gap.standing.safe:.1f} mm safe" in said

"""A large body is drawn by a stand-in that a child process made."""

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QObject

from app.viewport.proxy import DRAWN_TRIANGLES, Decimation
from geometry.layout import Placement


@pytest.fixture
def heavy_body(empty, block, with_body):
    """A block with 192,000 triangles."""
    return with_body(empty, block((-3000.0, -800.0, 300.0), (600.0, 800.0, 1300.0), 127))


@pytest.mark.slow
def test_a_large_body_is_drawn_with_fewer_triangles_and_picked_with_all(qtbot, open_view, heavy_body) -> None:
    (panel,) = heavy_body.panels.values()
    assert len(panel.mesh.triangles) > DRAWN_TRIANGLES
    view = open_view(heavy_body)
    qtbot.waitUntil(lambda: view.scene.body_triangles <= DRAWN_TRIANGLES, timeout=30_000)
    place = view.outlook.body_at(view.outlook.ray(*view.to_screen((-900.0, 800.0, 800.0))))
    assert place.triangle < len(panel.mesh.triangles)
    assert place.point[1] == pytest.approx(800.0)


@pytest.mark.slow
def test_a_body_that_is_turned_keeps_its_stand_in(qtbot, open_view, heavy_body) -> None:
    view = open_view(heavy_body)
    qtbot.waitUntil(lambda: view.scene.body_triangles <= DRAWN_TRIANGLES, timeout=30_000)
    drawn = view.scene.body_triangles
    (body,) = heavy_body.bodies.values()
    moved = replace(body, placement=Placement(shift=(500.0, 0.0, 0.0)))
    view.session.preview(replace(heavy_body, bodies={body.id: moved}))
    view.fit()
    assert view.scene.body_triangles == drawn
    assert not view._decimation.is_running
    assert view.scene.points()[:, 0].max() == pytest.approx(1100.0, abs=5.0)
    view.session.cancel()


@pytest.mark.slow
def test_stopping_ends_the_child_at_once(qtbot, heavy_body) -> None:
    owner = QObject()
    work = Decimation(owner)
    (panel,) = heavy_body.panels.values()
    work.start([panel.mesh], 0.5)
    assert work.is_running
    work.stop()
    assert not work.is_running


def test_a_small_body_needs_no_child(open_view, body) -> None:
    view = open_view(body)
    assert not view._decimation.is_running


def test_a_graphics_card_draws_the_body_itself(open_view, heavy_body, monkeypatch) -> None:
    (panel,) = heavy_body.panels.values()
    view = open_view(heavy_body)
    monkeypatch.setattr(view.viewport, "is_software", False)
    view._prepare_frame()
    assert not view._decimation.is_running
    monkeypatch.setattr(view.viewport, "is_software", True)
    view._prepare_frame()
    assert view._decimation.is_running or view.scene.has_proxy(panel.mesh)

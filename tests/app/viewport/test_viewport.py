"""Both widgets draw the same scene, at any scale, and let go of it when told."""

import numpy as np
import pytest
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QApplication, QMainWindow, QWidget

from app.session import Session
from app.viewport import viewport as viewports
from app.viewport.view import View
from app.viewport.viewport import GlViewport, ImageViewport


def colours(image: QImage) -> np.ndarray:
    image = image.convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    return rows[:, : image.width() * 3].reshape(image.height(), image.width(), 3).astype(int)


def shown(qtbot, caged, safe: bool) -> tuple[QMainWindow, View]:
    window = QMainWindow()
    view = View(Session(caged), parent=window, safe_graphics=safe)
    view.navigation.flies = False
    window.setCentralWidget(view)
    window.resize(640, 420)
    qtbot.addWidget(window)
    with qtbot.waitExposed(window):
        window.show()
    wait_for_frames(qtbot, view, 1)
    return window, view


def wait_for_frames(qtbot, view: View, count: int) -> None:
    seen = []
    view.viewport.rendered.connect(lambda: seen.append(1))
    view.redraw()
    qtbot.waitUntil(lambda: len(seen) >= count, timeout=10_000)


def test_without_opengl_the_image_viewport_is_taken(qapp) -> None:
    parent = QWidget()
    made = viewports.make_viewport(parent, safe_graphics=True)
    assert isinstance(made, ImageViewport)
    made.shutdown()


def test_the_image_viewport_draws_the_scene(qtbot, caged) -> None:
    window, view = shown(qtbot, caged, safe=True)
    picture = colours(view.grab().toImage())
    assert len(np.unique(picture[::4, ::4].reshape(-1, 3), axis=0)) > 30
    view.shutdown()
    window.close()


def test_many_changes_make_one_frame(qtbot, caged) -> None:
    window, view = shown(qtbot, caged, safe=True)
    qtbot.wait(400)  # the smooth frame after a rest
    frames = []
    view.viewport.rendered.connect(lambda: frames.append(1))
    for opacity in (0.9, 0.8, 0.7, 0.6):
        view.set_body_opacity(opacity)
    qtbot.wait(100)
    assert len(frames) == 1
    view.shutdown()
    window.close()


def test_a_moved_label_paints_no_new_frame(qtbot, caged) -> None:
    window, view = shown(qtbot, caged, safe=True)
    qtbot.wait(400)
    frames = []
    view.viewport.rendered.connect(lambda: frames.append(1))
    view._rest_timer.stop()
    view.overlay.update()
    qtbot.wait(60)
    assert frames == []
    view.shutdown()
    window.close()


@pytest.mark.gl
def test_the_opengl_viewport_draws_what_the_image_viewport_draws(qtbot, caged) -> None:
    pictures = []
    for safe in (False, True):
        window, view = shown(qtbot, caged, safe)
        assert isinstance(view.viewport, ImageViewport if safe else GlViewport)
        view.overlay.hide()
        wait_for_frames(qtbot, view, 2)  # the second one, at rest, is smoothed
        pictures.append(colours(view.grab().toImage()))
        view.shutdown()
        window.close()
    differing = np.abs(pictures[0] - pictures[1]).max(axis=2) > 24
    assert differing.mean() < 0.02


@pytest.mark.gl
def test_labels_lie_over_the_opengl_picture(qtbot, caged) -> None:
    window, view = shown(qtbot, caged, safe=False)
    view.session.select(caged.tubes)
    wait_for_frames(qtbot, view, 1)
    with_marks = colours(view.grab().toImage())
    view.overlay.hide()
    without = colours(view.grab().toImage())
    assert 0.0005 < (np.abs(with_marks - without).max(axis=2) > 24).mean() < 0.2
    view.shutdown()
    window.close()


@pytest.mark.gl
def test_the_opengl_viewport_survives_another_window(qtbot, caged) -> None:
    window, view = shown(qtbot, caged, safe=False)
    other = QMainWindow()
    qtbot.addWidget(other)
    other.resize(500, 400)
    other.setCentralWidget(view)
    with qtbot.waitExposed(other):
        other.show()
    wait_for_frames(qtbot, view, 1)
    picture = colours(view.grab().toImage())
    assert len(np.unique(picture[::4, ::4].reshape(-1, 3), axis=0)) > 30
    view.shutdown()
    other.close()
    window.close()


@pytest.mark.gl
def test_an_opengl_view_may_go_without_a_word(qtbot, caged) -> None:
    window, view = shown(qtbot, caged, safe=False)
    window.close()
    window.deleteLater()
    del view
    QApplication.processEvents()


@pytest.mark.gl
def test_ten_opengl_windows_open_and_close(qtbot, caged) -> None:
    for _ in range(10):
        window, view = shown(qtbot, caged, safe=False)
        view.shutdown()
        window.close()

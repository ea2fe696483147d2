"""The first page: three ways to begin and the jobs used last."""

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPixmap
from pytestqt.qtbot import QtBot

from app import theme
from app.panels.start import CHOICES, StartPage


@pytest.fixture
def page(qtbot: QtBot) -> StartPage:
    page = StartPage()
    page.set_icons([theme.icon(name, False, 52) for name, _, _ in CHOICES])
    qtbot.addWidget(page)
    page.resize(1280, 700)
    page.show()
    return page


@pytest.mark.parametrize("key", [Qt.Key.Key_Space, None])
def test_each_choice_works_by_mouse_and_key(qtbot: QtBot, page: StartPage, key: Qt.Key | None) -> None:
    signals = (page.scan_wanted, page.measures_wanted, page.sample_wanted)
    for card, signal in zip(page._choices, signals, strict=True):
        with qtbot.waitSignal(signal):
            if key is None:
                qtbot.mouseClick(card, Qt.MouseButton.LeftButton)
            else:
                card.setFocus()
                qtbot.keyClick(card, key)


def test_a_recent_job_opens_with_a_click(qtbot: QtBot, page: StartPage, tmp_path: Path) -> None:
    jobs = [tmp_path / "first.outrib", tmp_path / "second.outrib"]
    page.set_recent([(job, tmp_path / "none.png") for job in jobs])
    with qtbot.waitSignal(page.job_wanted) as wanted:
        qtbot.mouseClick(page._cards[1], Qt.MouseButton.LeftButton)
    assert wanted.args == [jobs[1]]


def test_recent_jobs_show_their_picture_and_are_of_one_size(page: StartPage, tmp_path: Path) -> None:
    picture = QPixmap(528, 330)
    picture.fill(QColor("#884422"))
    assert picture.save(str(tmp_path / "a.png"))
    page.set_recent(
        [(tmp_path / "a.outrib", tmp_path / "a.png"), (tmp_path / "b.outrib", tmp_path / "b.png")]
    )
    with_picture, without = page._cards
    shown = with_picture.icon().pixmap(with_picture.iconSize()).toImage()
    assert shown.pixelColor(shown.width() // 2, shown.height() // 2) == QColor("#884422")
    assert with_picture.sizeHint() == without.sizeHint()


def test_a_list_that_is_set_again_replaces_the_old(page: StartPage, tmp_path: Path) -> None:
    page.set_recent([(tmp_path / f"{number}.outrib", tmp_path / "none.png") for number in range(20)])
    assert len(page._cards) == 8
    page.set_recent([])
    assert page._cards == []
    assert not page._jobs_title.isVisible()

"""Light and dark: text can be read on every ground it stands on."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPalette
from PySide6.QtWidgets import QApplication, QTreeWidget, QTreeWidgetItem
from pytestqt.qtbot import QtBot

from app import theme

READABLE = 4.5  # contrast for text of normal size
PAIRS = [
    ("text", "window"),
    ("text", "base"),
    ("text", "raised"),
    ("text", "hover"),
    ("faint", "window"),
    ("faint", "base"),
    ("accent_text", "accent"),
    ("bad", "window"),
    ("bad", "base"),
    ("near", "window"),
    ("near", "base"),
    ("fine", "window"),
    ("fine", "base"),
]


def luminance(colour: str) -> float:
    parts = [
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4
        for part in QColor(colour).getRgbF()[:3]
    ]
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]


def contrast(a: str, b: str) -> float:
    high, low = sorted((luminance(a), luminance(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize(("text", "ground"), PAIRS)
def test_text_stands_out_from_its_ground(dark: bool, text: str, ground: str) -> None:
    colours = theme.colours(dark)
    assert contrast(colours[text], colours[ground]) >= READABLE


def test_both_looks_have_the_same_colours() -> None:
    assert theme.LIGHT.keys() == theme.DARK.keys()


def test_a_palette_is_dark_when_asked(qapp: object) -> None:
    for dark in (False, True):
        palette = theme.palette(dark)
        window = palette.color(QPalette.ColorRole.Window).lightness()
        text = palette.color(QPalette.ColorRole.WindowText).lightness()
        assert (window < text) is dark


def test_every_icon_can_be_drawn(qapp: object) -> None:
    for file in theme.ICONS.glob("*.svg"):
        image = theme.icon(file.stem, False).pixmap(20, 20).toImage()
        drawn = sum(
            image.pixelColor(x, y).alpha() > 0 for x in range(image.width()) for y in range(image.height())
        )
        assert drawn > 20, file.name


@pytest.mark.parametrize("dark", [False, True])
def test_an_empty_tick_box_can_be_seen(qtbot: QtBot, qapp: QApplication, dark: bool) -> None:
    theme.apply(qapp, dark)
    tree = QTreeWidget()
    tree.setHeaderHidden(True)
    tree.setIndentation(0)
    item = QTreeWidgetItem(tree, [""])
    item.setCheckState(0, Qt.CheckState.Unchecked)
    qtbot.addWidget(tree)
    tree.resize(120, 60)
    tree.show()
    image = tree.grab().toImage()
    ground = theme.colours(dark)["base"]
    seen = {image.pixelColor(x, y).name() for x in range(24) for y in range(24)}
    assert max(contrast(colour, ground) for colour in seen) >= 3.0

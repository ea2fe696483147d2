"""Light and dark: palettes, style sheet and icons. The view has its own colours, told by `is_dark`."""

from pathlib import Path

from PySide6.QtCore import QByteArray, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QGuiApplication, QIcon, QPainter, QPalette, QPixmap
from PySide6.QtWidgets import QApplication

from app.settings import Theme
from app.wording import Band

ICONS = Path(__file__).parent.parent / "assets" / "icons"
Role = QPalette.ColorRole
Group = QPalette.ColorGroup

# One quiet ground, one accent that is none of the three signs' colours.
LIGHT = {
    "window": "#e9e7e2",
    "base": "#f7f6f3",
    "raised": "#f1efea",
    "line": "#c9c5bc",
    "text": "#1f2421",
    "faint": "#5f655f",
    "disabled": "#a09d95",
    "accent": "#1d6660",
    "accent_text": "#ffffff",
    "hover": "#dcd9d1",
    "bad": "#a83f00",
    "near": "#7a5200",
    "fine": "#005a8e",
}
DARK = {
    "window": "#24282a",
    "base": "#1b1e20",
    "raised": "#2e3336",
    "line": "#454b4e",
    "text": "#e4e6e3",
    "faint": "#a3aaa6",
    "disabled": "#6b7270",
    "accent": "#5bb5aa",
    "accent_text": "#0e1514",
    "hover": "#3a4043",
    "bad": "#ff9466",
    "near": "#f0b64a",
    "fine": "#6fbbea",
}


def is_dark(theme: Theme) -> bool:
    """Whether a choice means dark; "system" follows the desktop."""
    if theme != "system":
        return theme == "dark"
    return QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark


def colours(dark: bool) -> dict[str, str]:
    return DARK if dark else LIGHT


def severity_colours(dark: bool) -> dict[str, str]:
    """The colours of findings' signs, dark enough to be read as text."""
    c = colours(dark)
    return {"error": c["bad"], "warning": c["bad"], "note": c["near"]}


def band_colours(dark: bool) -> dict[Band, str]:
    """The same for the three signs of clearance."""
    c = colours(dark)
    return {"close": c["bad"], "fine": c["fine"], "far": c["near"]}


def apply(app: QApplication, dark: bool) -> None:
    """Dress the whole application, unless it wears this already: every widget would be polished anew."""
    colours_wanted, sheet = palette(dark), style_sheet(dark)
    if app.styleSheet() == sheet and app.palette() == colours_wanted:
        return
    app.setStyle("Fusion")
    app.setPalette(colours_wanted)
    app.setStyleSheet(sheet)


def palette(dark: bool) -> QPalette:
    c = {name: QColor(value) for name, value in colours(dark).items()}
    result = QPalette()
    for role, colour in (
        (Role.Window, "window"),
        (Role.WindowText, "text"),
        (Role.Base, "base"),
        (Role.AlternateBase, "raised"),
        (Role.Text, "text"),
        (Role.Button, "raised"),
        (Role.ButtonText, "text"),
        (Role.BrightText, "bad"),
        (Role.ToolTipBase, "raised"),
        (Role.ToolTipText, "text"),
        (Role.PlaceholderText, "faint"),
        (Role.Highlight, "accent"),
        (Role.HighlightedText, "accent_text"),
        (Role.Link, "accent"),
        (Role.Mid, "line"),
        (Role.Midlight, "hover"),
    ):
        result.setColor(role, c[colour])
    for role in (Role.WindowText, Role.Text, Role.ButtonText):
        result.setColor(Group.Disabled, role, c["disabled"])
    return result


def style_sheet(dark: bool) -> str:
    return SHEET.format(**colours(dark))


SHEET = """
QToolTip {{ background: {raised}; color: {text}; border: 1px solid {line}; padding: 4px 6px; }}
QMainWindow::separator {{ background: {line}; width: 1px; height: 1px; margin: 1px; }}
QMainWindow::separator:hover {{ background: {accent}; }}
QMenuBar {{ background: {window}; padding: 1px 4px; }}
QMenuBar::item {{ padding: 4px 9px; background: transparent; border-radius: 3px; }}
QMenuBar::item:selected {{ background: {hover}; }}
QToolBar {{ border: 0; border-bottom: 1px solid {line}; padding: 2px 6px; spacing: 1px; }}
QToolBar QToolButton {{ padding: 3px 4px; border-radius: 4px; border: 1px solid transparent; }}
QToolBar QToolButton:hover {{ background: {hover}; }}
QToolBar QToolButton:checked {{ background: {accent}; color: {accent_text}; }}
QToolBar QToolButton:checked:disabled {{ background: {hover}; color: {disabled}; }}
QToolBar QToolButton:focus {{ border-color: {accent}; }}
QToolBar::separator {{ background: {line}; width: 1px; margin: 5px 3px; }}
QLineEdit {{ background: {base}; border: 1px solid {line}; border-radius: 3px; padding: 2px 5px;
    min-height: 19px; selection-background-color: {accent}; selection-color: {accent_text}; }}
QLineEdit:focus {{ border: 1px solid {accent}; }}
QLineEdit:disabled {{ color: {disabled}; }}
QLineEdit[refused="true"] {{ border: 2px solid {bad}; }}
QComboBox QLineEdit {{ border: 0; border-radius: 0; padding: 0 3px; min-height: 0; }}
QPushButton {{ background: {raised}; border: 1px solid {line}; border-radius: 4px; padding: 4px 6px; }}
QPushButton:hover {{ background: {hover}; }}
QPushButton:focus {{ border-color: {accent}; }}
QPushButton:checked {{ background: {accent}; color: {accent_text}; border-color: {accent}; }}
QPushButton:disabled {{ color: {disabled}; }}
QPushButton#mend:focus {{ border: 2px solid {text}; padding: 3px 5px; }}
QPushButton[main="true"] {{ background: {accent}; color: {accent_text}; border-color: {accent}; }}
QPushButton[main="true"]:disabled {{ background: {window}; color: {disabled}; border-color: {line}; }}
QTreeView, QTableView, QListView {{ background: {base}; border: 0; alternate-background-color: {raised};
    selection-background-color: {accent}; selection-color: {accent_text}; outline: 0; }}
QTreeView::item {{ padding: 2px 0; }}
QTreeView::indicator:unchecked, QListView::indicator:unchecked, QTableView::indicator:unchecked,
QCheckBox::indicator:unchecked {{ border: 1px solid {faint}; border-radius: 2px; background: {base}; }}
QTableView {{ gridline-color: {line}; }}
QTableView::item {{ padding: 0 5px; }}
QTableView[tight="true"]::item {{ padding: 0 2px; }}
QTableView QLineEdit, QTreeView QLineEdit {{ border-radius: 0; padding: 0 3px; min-height: 0; }}
QHeaderView::section {{ background: {window}; color: {faint}; border: 0; border-bottom: 1px solid {line};
    padding: 3px 6px; }}
QTabBar::tab {{ padding: 5px 12px; color: {faint}; border: 0; border-bottom: 2px solid transparent; }}
QTabBar::tab:selected {{ color: {text}; border-bottom: 2px solid {accent}; }}
QTabBar::tab:hover {{ color: {text}; }}
QTabBar::tab:focus {{ color: {accent}; }}
QTabWidget::pane {{ border: 0; border-top: 1px solid {line}; }}
QTabWidget::tab-bar {{ left: 4px; }}
QScrollArea {{ border: 0; }}
QLabel[kind="heading"] {{ font-weight: 600; }}
QLabel[ruled="true"] {{ border-top: 1px solid {line}; padding-top: 6px; margin-top: 2px; }}
QLabel[kind="faint"] {{ color: {faint}; }}
QLabel[kind="number"] {{ font-size: 17px; font-weight: 600; }}
QLabel[kind="bad"] {{ color: {bad}; }}
QLabel[kind="near"] {{ color: {near}; }}
QLabel[kind="fine"] {{ color: {fine}; }}
QLabel[band="close"] {{ color: {bad}; }}
QLabel[band="far"] {{ color: {near}; }}
QLabel[band="fine"] {{ color: {fine}; }}
QLabel#hint {{ color: {faint}; padding: 3px 10px; border-top: 1px solid {line}; }}
QLabel#dock-title {{ font-weight: 600; padding: 5px 4px 5px 8px; }}
QToolButton#fold {{ border: 0; border-radius: 3px; padding: 1px 5px; color: {faint}; }}
QToolButton#fold:hover {{ background: {hover}; color: {text}; }}
QFrame#bar {{ background: {raised}; border: 1px solid {line}; border-left: 4px solid {accent};
    border-radius: 4px; }}
QFrame#bar[kind="refused"] {{ border-left: 4px solid {bad}; }}
QToolButton#card {{ background: {base}; border: 1px solid {line}; border-radius: 8px; padding: 10px; }}
QLabel#card-title {{ font-size: 17px; font-weight: 600; }}
QToolButton#card:hover, QToolButton#card:focus {{ border: 1px solid {accent}; background: {raised}; }}
QProgressBar {{ border: 1px solid {line}; border-radius: 3px; background: {base}; text-align: center;
    max-height: 14px; }}
QProgressBar::chunk {{ background: {accent}; border-radius: 2px; }}
QMenu {{ background: {raised}; border: 1px solid {line}; padding: 4px 0; }}
QMenu::item {{ padding: 4px 26px 4px 10px; }}
QMenu::indicator {{ margin-left: 6px; }}
QMenu::item:selected {{ background: {accent}; color: {accent_text}; }}
QMenu::item:disabled {{ color: {disabled}; }}
QMenu::separator {{ height: 1px; background: {line}; margin: 4px 8px; }}
"""


def icon(name: str, dark: bool, size: int = 20) -> QIcon:
    """A line icon in the text colour, and in the accent's text colour when checked."""
    drawing = (ICONS / f"{name}.svg").read_text(encoding="utf-8")
    c = colours(dark)
    result = QIcon()
    for colour, mode, state in (
        (c["text"], QIcon.Mode.Normal, QIcon.State.Off),
        (c["accent_text"], QIcon.Mode.Normal, QIcon.State.On),
        (c["disabled"], QIcon.Mode.Disabled, QIcon.State.Off),
    ):
        for scale in (1, 2):
            result.addPixmap(_drawn(drawing, colour, size, scale), mode, state)
    return result


def _drawn(drawing: str, colour: str, size: int, scale: int) -> QPixmap:
    from PySide6.QtSvg import QSvgRenderer

    pixmap = QPixmap(QSize(size, size) * scale)
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    data = QByteArray(drawing.replace("currentColor", colour).encode())
    QSvgRenderer(data).render(painter, QRectF(0, 0, size * scale, size * scale))
    painter.end()
    pixmap.setDevicePixelRatio(scale)
    return pixmap

"""Make the pictures of README.md from the program itself: python packaging/make_pictures.py

Needs no screen: the window is drawn off screen. The sheet needs pdftoppm and is left as it is without.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "assets" / "pictures"

sys.path.insert(0, str(ROOT))
os.environ["QT_QPA_PLATFORM"] = "offscreen"
os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
os.environ["XDG_CONFIG_HOME"] = tempfile.mkdtemp()

from PySide6.QtCore import QPoint, QRect, Qt  # noqa: E402
from PySide6.QtTest import QTest  # noqa: E402
from PySide6.QtWidgets import QApplication  # noqa: E402

from app.main_window import MainWindow  # noqa: E402
from app.session import Session  # noqa: E402
from app.settings import Settings  # noqa: E402
from geometry import axles, edits, hinges, rack  # noqa: E402
from geometry.body import measured  # noqa: E402
from geometry.layout import Layout  # noqa: E402


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    app = QApplication([])
    window = MainWindow(Session(rack.with_starting_rack(Layout())), Settings())
    window.view.navigation.flies = False
    window.setWindowState(Qt.WindowState.WindowNoState)
    window.setGeometry(QRect(0, 0, 1280, 780))
    window.show()
    measuring(window)
    laying(window)
    checking(window)
    opening(window)
    window.session.undo_stack.setClean()
    window.close()
    app.processEvents()
    sheet()


def measuring(window: MainWindow) -> None:
    """The step in which a body is made from tape measurements."""
    window.commands["measured_body"].trigger()
    wait(1.0)
    keep(window, "measure")
    window.on_steps.cancel()


def laying(window: MainWindow) -> None:
    """A tube that is being laid over the body."""
    layout = rack.with_starting_rack(Layout(name="First cage"))
    layout, *_ = measured.add_to(layout, measured.shapes()["two-box"], "Two-box")
    window.session.open(layout, None)
    window.files.job_opened.emit(None)
    wait(1.0)
    view = window.view
    view.set_tool("tube")
    for point in ((-560.0, 750.0, 600.0), (-600.0, 768.0, 1040.0), (-860.0, 660.0, 1640.0)):
        click(window, point)
    hover(window, (-1700.0, 655.0, 1670.0))
    wait(2.5)  # for the checks beside the window
    keep(window, "lay")
    view.set_tool("select")


def checking(window: MainWindow) -> None:
    """The sample with its findings, the first one flown to."""
    window.session.undo_stack.setClean()
    window.files.open_sample()
    wait_until(lambda: len(window.session.layout.tubes) > 20)
    wait(3.0)
    keep(window, "check")


def opening(window: MainWindow) -> None:
    """A door of the sample that meets a tube, over the space that the front tyres sweep through."""
    session = window.session
    door = next(panel.id for panel in session.layout.panels.values() if panel.name == "left door")
    hinge = hinges.hinge_at(session.layout, door, "front")
    x, y, z = hinge.start
    bar = [(x - 520.0, y + 380.0, z - 250.0), (x - 520.0, y + 380.0, z + 420.0)]
    session.apply("Lay tube", lambda now: edits.add_tube(now, bar, min(now.stocks))[0])
    session.apply("Let panel open", lambda now: hinges.set_motion(now, door, hinge))
    session.apply("Add axle", lambda now: axles.add(now)[0])
    window.commands["show_swept"].trigger()
    session.select((door,))
    wait_until(lambda: "meets" in window.properties.panel.motion.result.text())
    slider = window.properties.panel.motion.slider
    slider.setValue(round((slider.notch or 1.0) * slider.maximum()))
    wait(2.0)
    keep(window, "moves")


def sheet() -> None:
    """The sheet of one tube, as printed."""
    if shutil.which("pdftoppm") is None:
        print("pdftoppm is missing; the picture of the sheet is left as it is")
        return
    with tempfile.TemporaryDirectory() as folder:
        job = ROOT / "assets" / "sample.outrib"
        subprocess.run([sys.executable, "-m", "app", "schedule", str(job), "-o", folder], cwd=ROOT)
        pdf = Path(folder, "packet.pdf")
        page = ["-f", "7", "-l", "7", "-r", "80", "-png", "-gray", "-singlefile"]
        subprocess.run(["pdftoppm", *page, str(pdf), str(FOLDER / "sheet")], check=True)


def click(window: MainWindow, point: tuple[float, float, float]) -> None:
    """Click in the view where the point is seen."""
    hover(window, point)
    QTest.mouseClick(window.view.viewport, Qt.MouseButton.LeftButton, pos=seen_at(window, point))
    wait(0.2)


def hover(window: MainWindow, point: tuple[float, float, float]) -> None:
    at = seen_at(window, point)
    for step in (QPoint(6, 6), QPoint(2, 2), QPoint(0, 0)):
        QTest.mouseMove(window.view.viewport, at + step)
        wait(0.1)


def seen_at(window: MainWindow, point: tuple[float, float, float]) -> QPoint:
    x, y = window.view.to_screen(point)
    return QPoint(round(x), round(y))


def wait(seconds: float) -> None:
    QTest.qWait(round(1000 * seconds))


def wait_until(is_so: Callable[[], bool]) -> None:
    for _ in range(100):
        if is_so():
            break
        wait(0.1)
    wait(0.3)


def keep(window: MainWindow, name: str) -> None:
    path = FOLDER / f"{name}.png"
    window.grab().save(str(path))
    print(path.relative_to(ROOT), f"{path.stat().st_size // 1024} KB")


if __name__ == "__main__":
    main()

"""Mouse, wheel and keys: which of them are the tool's, and which move the camera."""

from typing import cast

from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, Qt, Signal
from PySide6.QtGui import QContextMenuEvent, QFocusEvent, QKeyEvent, QMouseEvent, QWheelEvent
from PySide6.QtWidgets import QWidget

from app.guarded import guarded
from app.session import Session
from app.viewport.navigation import Motion, Navigation
from app.viewport.select_tool import SelectTool
from app.viewport.tools import DRAG_STARTS, Key, Pointer, Tool
from app.viewport.tube_tool import TubeTool

KEY_ORBIT = 0.26  # radians
KEY_PAN = 60.0  # pixels
AXIS_KEYS: dict[int, str] = {Qt.Key.Key_X: "x", Qt.Key.Key_Y: "y", Qt.Key.Key_Z: "z"}
ARROWS: dict[int, tuple[float, float]] = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, -1.0),
    Qt.Key.Key_Down: (0.0, 1.0),
}
BY_KEYBOARD = (
    Qt.FocusReason.TabFocusReason,
    Qt.FocusReason.BacktabFocusReason,
    Qt.FocusReason.ShortcutFocusReason,
)


class PointingWidget(QWidget):
    """Turns Qt's events into what tools and navigation understand; the View says what they work on."""

    context_menu_wanted = Signal(QPoint, object)  # global place, frozenset of ids

    session: Session
    navigation: Navigation
    current_tool: Tool
    select_tool: SelectTool

    def __init__(self, parent: QWidget | None) -> None:
        super().__init__(parent)
        self.is_shut = False
        self.shows_focus = False  # reached by keyboard: a frame says so
        self.held_axis: str | None = None  # the only one to move along
        self.held_plane: str | None = None  # the one not to move along
        self.snaps = True
        self._turned_at: Pointer | None = None  # where the next thing under the pointer was asked for
        self.held: str | None = None  # "tool", or the button that moves the camera or may start to
        self.pointer: Pointer | None = None  # None: outside
        self._press: Pointer | None = None
        self._pending: Pointer | None = None
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def redraw(self) -> None:
        """Ask for a frame, before which settle_pending is called."""
        raise NotImplementedError

    def hover(self, id: int | None) -> None:
        raise NotImplementedError

    def hint_may_have_changed(self) -> None:
        raise NotImplementedError

    @property
    def has_pending(self) -> bool:
        """Whether the pointer moved since the last settling."""
        return self._pending is not None

    @guarded()
    def mousePressEvent(self, event: QMouseEvent) -> None:
        self.settle_pending()
        if self.held is not None:
            return
        self._press = self.pointer = pointer = self._pointed(event)
        self.shows_focus = False
        self.navigation.land()
        if event.button() == Qt.MouseButton.LeftButton:
            self.held = "tool" if self.current_tool.press(pointer) else "left"
        elif event.button() == Qt.MouseButton.RightButton:
            self.held = "right"
        elif event.button() == Qt.MouseButton.MiddleButton:
            self._begin("pan", pointer)
        self.redraw()

    @guarded()
    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        self.settle_pending()
        if event.button() == Qt.MouseButton.LeftButton and self.current_tool.double_click(
            self._pointed(event)
        ):
            self.held = "done"
            self.redraw()
            return
        self.mousePressEvent(event)

    @guarded()
    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        # Only the newest place counts: the work is done once a frame.
        self._pending = self._pointed(event)
        self.redraw()

    @guarded()
    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        held, pointer = self.held, self._pointed(event)
        if held is None or event.button() != _button(held, self.navigation.motion):
            return
        if self._press is not None and (pointer.x, pointer.y) != (self._press.x, self._press.y):
            self._pending = pointer
        self.settle_pending()
        held, self.held = self.held, None
        self.navigation.end()
        if held == "tool":
            self.current_tool.release(pointer)
        elif held == "left":
            self.current_tool.click(pointer)
        elif held == "right":
            self._ask_for_menu(pointer)
        else:
            self._pending = pointer  # the camera moved: other things lie under it now
        self.hint_may_have_changed()
        self.redraw()

    def settle_pending(self) -> None:
        """Act on the newest place of the pointer."""
        pointer, self._pending = self._pending, None
        if pointer is None or self.is_shut:
            return
        self.pointer = pointer
        if self.held == "tool":
            self.current_tool.drag(pointer)
        elif self.held in ("left", "right"):
            if self._press is not None and pointer.is_far_from(self._press):
                is_pan = self.held == "right" and self._press.shift
                self._begin("pan" if is_pan else "orbit", self._press, self.held)
                self.navigation.drag(pointer.x, pointer.y)
        elif self.navigation.motion is not None:
            self.navigation.drag(pointer.x, pointer.y)
        elif self.held is None:
            self.current_tool.move(pointer)

    def _begin(self, motion: Motion, at: Pointer, button: str = "middle") -> None:
        self.held = f"camera {button}"
        self.hover(None)
        self.navigation.begin(motion, at.x, at.y)

    def _ask_for_menu(self, pointer: Pointer) -> None:
        found = self.select_tool.under(pointer)
        if found is not None and found not in self.session.selection and not self.session.is_previewing:
            self.session.select({found})
        ids = frozenset() if found is None else self.session.selection
        self.context_menu_wanted.emit(self.mapToGlobal(QPoint(round(pointer.x), round(pointer.y))), ids)

    @guarded()
    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        # A right press may become an orbit, so the mouse asks for the menu at its release.
        if event.reason() != QContextMenuEvent.Reason.Mouse:
            self.context_menu_wanted.emit(self.mapToGlobal(self.rect().center()), self.session.selection)
        event.accept()

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        self.settle_pending()
        place = event.position()
        if event.angleDelta().y():
            self.navigation.wheel(place.x(), place.y(), float(event.angleDelta().y()))
            self._pending = _pointer(event)  # other things lie under the pointer now
        event.accept()

    @guarded()
    def leaveEvent(self, event: QEvent) -> None:
        if self.held is None:
            self._pending = self.pointer = None
            self.current_tool.move(None)
            self.redraw()

    @guarded(False)
    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.ShortcutOverride:
            key = _key(cast(QKeyEvent, event))
            if self.current_tool.wants(key) or (
                self._takes_axis() and key.code in AXIS_KEYS and not key.ctrl
            ):
                event.accept()
                return True
        return bool(super().event(event))

    @guarded(False)
    def focusNextPrevChild(self, forward: bool) -> bool:
        """Let Tab go to a tool that has a use for it; elsewhere it leaves the view."""
        return not self.current_tool.wants(Key(Qt.Key.Key_Tab)) and bool(super().focusNextPrevChild(forward))

    def _is_axis_key(self, key: Key) -> bool:
        return key.code in AXIS_KEYS and not key.ctrl and self._takes_axis()

    def _takes_axis(self) -> bool:
        """Whether X, Y and Z hold an axis now: while dragging, and while laying a tube."""
        tool = self.current_tool
        return (isinstance(tool, SelectTool) and self.held == "tool") or (
            isinstance(tool, TubeTool) and tool.is_drawing
        )

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        self.settle_pending()
        key = _key(event)
        if self._is_axis_key(key):
            if not event.isAutoRepeat():
                axis = AXIS_KEYS[key.code]
                self._hold(*((None, axis) if key.shift else (axis, None)))
            return
        if self.current_tool.key(key) or self._look_by_key(key):
            self.redraw()
            return
        if key.is_any(Qt.Key.Key_Space) and self.turn_to_next():
            return
        event.ignore()

    def tool_takes(self, event: QKeyEvent) -> bool:
        """Let the tool in the hand have a key pressed beside the view; say whether it had a use for it."""
        if self.held is not None or not self.current_tool.key(_key(event)):
            return False
        self.redraw()
        return True

    def _hold(self, axis: str | None, plane: str | None) -> None:
        self.held_axis, self.held_plane = axis, plane
        self.current_tool.axis_changed()
        self.redraw()

    def turn_to_next(self) -> bool:
        """Mean the next of the things that lie under the pointer."""
        if self.pointer is None or self.held is not None:
            return False
        self._turned_at = self.pointer
        self.pointer = replace(self.pointer, turn=self.pointer.turn + 1)
        self.current_tool.move(self.pointer)
        self.hint_may_have_changed()
        self.redraw()
        return True

    def _pointed(self, event: QMouseEvent | QWheelEvent) -> Pointer:
        """Return the pointer; while it rests it means what was last asked for."""
        pointer, before = _pointer(event), self._turned_at
        if before is None or abs(pointer.x - before.x) + abs(pointer.y - before.y) >= DRAG_STARTS:
            self._turned_at = None
            return pointer
        return replace(pointer, turn=self.pointer.turn if self.pointer is not None else 0)

    @guarded()
    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        if event.isAutoRepeat():
            return
        key = _key(event)
        if key.code in AXIS_KEYS and AXIS_KEYS[key.code] in (self.held_axis, self.held_plane):
            self.settle_pending()
            self._hold(None, None)
        self.current_tool.key_released(key)

    def _look_by_key(self, key: Key) -> bool:
        """Orbit with the arrows, pan with Ctrl, zoom with plus and minus."""
        if key.code in ARROWS:
            dx, dy = ARROWS[key.code]
            if key.ctrl:
                self.navigation.shift(-dx * KEY_PAN, -dy * KEY_PAN)
            else:
                self.navigation.step(dx * KEY_ORBIT, -dy * KEY_ORBIT, self.navigation.camera.focus)
            return True
        if key.text in ("+", "=", "-"):
            self.navigation.zoom(1.25 if key.text == "-" else 0.8)
            return True
        return False

    @guarded()
    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.shows_focus = event.reason() in BY_KEYBOARD
        self.redraw()

    @guarded()
    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.held_axis = self.held_plane = None
        self.shows_focus = False
        self.redraw()
        if event.reason() != Qt.FocusReason.PopupFocusReason and isinstance(self.current_tool, SelectTool):
            self.settle_pending()
            self.current_tool.leave()
            self.held = None if self.held == "tool" else self.held


def _pointer(event: QMouseEvent | QWheelEvent) -> Pointer:
    place, keys = event.position(), event.modifiers()
    return Pointer(
        place.x(),
        place.y(),
        bool(keys & Qt.KeyboardModifier.ShiftModifier),
        bool(keys & Qt.KeyboardModifier.ControlModifier),
    )


def _key(event: QKeyEvent) -> Key:
    keys = event.modifiers()
    return Key(
        event.key(),
        event.text(),
        bool(keys & Qt.KeyboardModifier.ShiftModifier),
        bool(keys & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier)),
    )


def _button(held: str, motion: Motion | None) -> Qt.MouseButton:
    """Return the button whose release ends what is held."""
    if held in ("right", "camera right"):
        return Qt.MouseButton.RightButton
    if held == "camera middle":
        return Qt.MouseButton.MiddleButton
    return Qt.MouseButton.LeftButton

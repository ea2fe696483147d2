"""Laying tube along the body: the tool in the view, the page beside it, and the work between them."""

from PySide6.QtCore import QObject

from app.layer import Layer
from app.panels import follow_page
from app.panels.properties import PropertiesPanel
from app.session import Session
from app.settings import Settings
from app.viewport.follow_tool import Along
from app.viewport.view import View
from geometry.laying.wish import Angles, Wish


class LayingCommands(QObject):
    """Carries wishes from the view to the process that works them out, and what comes of them back."""

    def __init__(
        self, session: Session, view: View, properties: PropertiesPanel, settings: Settings, parent: QObject
    ) -> None:
        super().__init__(parent)
        self._session, self._view, self._settings = session, view, settings
        self._properties, self._page = properties, properties.follow
        self._layer = Layer(self)
        view.laying_wanted.connect(self._on_wanted)
        view.laying_changed.connect(self._on_changed)
        view.tool_changed.connect(self._on_tool)
        self._layer.found.connect(self._on_found)
        self._layer.refused.connect(self._on_refused)
        self._layer.progressed.connect(self._on_progressed)
        self._page.chosen.connect(view.follow_tool.choose)
        self._page.angles_chosen.connect(self._on_angles)
        self._page.lay_wanted.connect(view.follow_tool.finish)
        self._page.anew_wanted.connect(view.follow_tool.leave)
        self._take_kept_angles()

    def tool_follow(self) -> None:
        self._view.set_tool("follow")
        self._view.setFocus()

    def stop(self) -> None:
        self._layer.stop()

    def _take_kept_angles(self) -> None:
        kept = self._settings.liked_angles
        self._page.show_kept_angles(kept)
        try:
            self._view.follow_tool.set_angles(follow_page.angles_of(kept))
        except ValueError:
            self._settings.set_liked_angles("")

    def _on_tool(self, tool: str) -> None:
        self._properties.show_following(tool == "follow")
        if tool == "follow":
            self._layer.prepare(self._session.layout)
        else:
            self._layer.rest()

    def _on_wanted(self, wish: Wish | None) -> None:
        if wish is None:
            self._layer.forget()
        else:
            self._layer.ask(self._session.recorded, wish)

    def _on_found(self, _number: int, proposals: object) -> None:
        self._view.follow_tool.take(proposals)  # type: ignore[arg-type]

    def _on_refused(self, _number: int, sentence: str) -> None:
        self._view.follow_tool.refuse(sentence)

    def _on_progressed(self, _number: int, _done: float, doing: str) -> None:
        self._view.follow_tool.take_progress(doing)

    def _on_angles(self, angles: Angles, kept: str) -> None:
        self._settings.set_liked_angles(kept)
        self._view.follow_tool.set_angles(angles)

    def _on_changed(self, state: Along) -> None:
        self._page.show_laying(
            state.places, state.is_working, state.doing, state.proposals, state.chosen, state.trouble
        )

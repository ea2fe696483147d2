"""The list of keys: typing narrows it."""

from pytestqt.qtbot import QtBot

from app.panels.keys import KeysPanel
from app.panels.rows import children


def test_typing_narrows_the_list_by_every_word(qtbot: QtBot) -> None:
    panel = KeysPanel()
    qtbot.addWidget(panel)
    panel.set_commands(
        [("Lay a tube", "T", "Click nodes."), ("Split a tube", "K", "Cut it."), ("Fit", "F", "Show all.")]
    )

    def shown() -> list[str]:
        rows = children(panel.tree.invisibleRootItem())
        return [row.text(0) for row in rows if not row.isHidden()]

    assert len(shown()) == 3
    panel.search.setText("tube cut")
    assert shown() == ["Split a tube"]
    panel.search.setText("")
    assert len(shown()) == 3

"""Commands: each is reachable by menu, says what it does, and no key means two things."""

from collections import Counter

import pytest
from PySide6.QtWidgets import QAbstractButton, QLabel

from app import actions, theme
from app.panels.body_in import BodyInPanel
from app.panels.measured import MeasuredPanel
from app.panels.restock import RestockPanel
from app.panels.split import SplitPanel
from app.panels.starter import StarterPanel
from app.session import Session

NAMES = [command.name for command in actions.COMMANDS]


def in_menus() -> list[str]:
    entries = [*actions.MENUS.values(), *(inner for _, inner in actions.SUBMENUS.values())]
    return [name for text in entries for name in text.split()]


def test_every_command_stands_in_a_menu() -> None:
    assert set(NAMES) == {name for name in in_menus() if name != "-" and name[0] != ">"}


def test_every_submenu_is_used_once() -> None:
    assert Counter(name[1:] for name in in_menus() if name[0] == ">") == Counter(list(actions.SUBMENUS))


def test_no_key_is_given_twice() -> None:
    keys = Counter(command.key for command in actions.COMMANDS if command.key)
    assert [key for key, count in keys.items() if count > 1] == []


@pytest.mark.parametrize("step", [BodyInPanel, MeasuredPanel, RestockPanel, SplitPanel, StarterPanel])
def test_letters_of_a_step_open_no_menu_and_mean_one_thing(qtbot, step) -> None:
    made = step(Session())
    qtbot.addWidget(made)
    texts = [child.text() for child in [*made.findChildren(QAbstractButton), *made.findChildren(QLabel)]]
    letters = Counter(text[text.index("&") + 1].lower() for text in texts if "&" in text)
    menus = {title[title.index("&") + 1].lower() for title in actions.MENUS}
    assert menus.isdisjoint(letters)
    assert max(letters.values()) == 1


def test_names_are_given_once() -> None:
    assert len(set(NAMES)) == len(NAMES)


@pytest.mark.parametrize("command", actions.COMMANDS, ids=NAMES)
def test_a_tip_is_a_sentence_and_not_the_name_again(command: actions.Command) -> None:
    assert command.tip.endswith(".")
    assert command.tip.rstrip(".").lower() != actions.plain_text(command).lower()
    assert "!" not in command.tip


@pytest.mark.parametrize("title", list(actions.MENUS))
def test_no_two_entries_of_a_menu_share_a_letter(title: str) -> None:
    texts = {command.name: command.text for command in actions.COMMANDS}
    texts |= {f">{name}": words for name, (words, _) in actions.SUBMENUS.items()}
    letters = [texts[name].split("&")[1][0].lower() for name in actions.MENUS[title].split() if name != "-"]
    assert [letter for letter, count in Counter(letters).items() if count > 1] == []


def test_every_icon_is_there() -> None:
    for command in actions.COMMANDS:
        if command.icon:
            assert (theme.ICONS / f"{command.icon}.svg").is_file()


def test_toolbar_and_context_menus_name_commands() -> None:
    used = {name for name in actions.TOOLBAR.split() if name != "-"}
    used |= {name for group in (*actions.CONTEXT, *actions.CONTEXT_OF_NOTHING) for name in group}
    used |= {*actions.TOOLS, *actions.SHORT_WORDS, *actions.ICONS_ALONE}
    assert used <= set(NAMES)

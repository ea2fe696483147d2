"""What the panels show in their tests."""

from collections.abc import Callable

import pytest

from app.session import Session
from geometry.layout import Layout


@pytest.fixture
def session(qapp: object, layout: Layout) -> Session:
    """A session of the small cage."""
    return Session(layout)


@pytest.fixture
def named(session: Session) -> Callable[[str], int]:
    """The id of the tube, panel or body of a name."""

    def find(name: str) -> int:
        layout = session.layout
        things = [*layout.tubes.values(), *layout.panels.values(), *layout.bodies.values()]
        return next(thing.id for thing in things if thing.name == name)  # type: ignore[attr-defined]

    return find

"""How tubes and the rest are named."""

import re
from collections.abc import Sequence

from geometry.errors import GeometryError
from geometry.layout import Layout, Tube


def checked(name: str) -> str:
    """Return a name with single spaces, or refuse one that is empty."""
    stripped = " ".join(name.split())
    if not stripped:
        raise GeometryError("A name needs at least one letter or number.")
    return stripped


def free_for_tube(layout: Layout, name: str) -> str:
    """Return a name that no tube has, or refuse it."""
    name = checked(name)
    for tube in layout.tubes.values():
        if tube.name == name:
            raise GeometryError(f"There is a tube {name} already; choose another name.", (tube.id,))
    return name


def next_for_tube(layout: Layout) -> str:
    """Return the first of T1, T2 ... after all that are in use."""
    numbers = (re.fullmatch(r"T(\d+)", tube.name) for tube in layout.tubes.values())
    return f"T{max((int(number[1]) for number in numbers if number), default=0) + 1}"


def twin_of(layout: Layout, name: str) -> str:
    """Return the name with left and right exchanged, or the next number."""
    sides = {"left": "right", "right": "left", "Left": "Right", "Right": "Left"}
    twin = re.sub(r"\b(left|right|Left|Right)\b", lambda side: sides[side[0]], name)
    is_free = twin != name and all(tube.name != twin for tube in layout.tubes.values())
    return twin if is_free else next_for_tube(layout)


def listed(tubes: Sequence[Tube]) -> str:
    """List tubes as a person would: T1, T2 and T3."""
    names = [tube.name for tube in tubes]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"

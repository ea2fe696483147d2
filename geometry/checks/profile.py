"""The clearance of tubes all along them."""

from collections.abc import Iterable

from msgspec import Struct

from geometry.body.distance import BodyIndex
from geometry.layout import Layout
from geometry.vectors import Floats


class Profile(Struct, frozen=True, eq=False):
    """Raw clearance (n,) at stations (n,) of a tube to its nearest kept panel, at most REACH."""

    stations: Floats
    clearances: Floats


def measured(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> dict[int, Profile]:
    return {}

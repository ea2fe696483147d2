"""The families of tubes that a first cage may have, and which points each of them needs."""

from msgspec import Struct


class Family(Struct, frozen=True):
    """Tubes that are wanted or not wanted together."""

    key: str
    title: str
    meaning: str
    needs: tuple[str, ...]
    is_across: bool = False  # its tubes cross the centre plane


FAMILIES: tuple[Family, ...] = (
    Family("sills", "Sill tubes", "Along both sills, from wheel to wheel.", ("sill_front", "sill_rear")),
    Family(
        "rails",
        "Roof rails",
        "Along the edges of the roof, from front to rear.",
        ("a_head", "b_head", "c_head"),
    ),
    Family(
        "a_uprights",
        "A uprights",
        "From the sill up the side and along the windscreen pillar to the roof.",
        ("sill_front", "a_foot", "a_head"),
    ),
    Family(
        "b_uprights",
        "B uprights",
        "From the sill up behind the front door to the roof.",
        ("sill_front", "b_head"),
    ),
    Family("c_uprights", "C uprights", "From the roof down the rearmost pillar.", ("c_head", "c_foot")),
    Family(
        "rear_downs",
        "Rear down tubes",
        "From the foot of the rearmost pillar down to the rear corner.",
        ("c_foot", "rear_bottom"),
    ),
    Family(
        "headers",
        "Headers",
        "Across the roof above windscreen and rear window.",
        ("a_head", "c_head", "roof_front", "roof_rear"),
        is_across=True,
    ),
    Family(
        "bonnet",
        "Bonnet hoop",
        "From one A upright along the wing, round the front and back.",
        ("bonnet_rear", "bonnet_front", "nose"),
        is_across=True,
    ),
    Family(
        "cross",
        "Cross tubes",
        "Across the roof between the B uprights, and across the tail.",
        ("b_head", "roof_middle", "rear_bottom", "tail"),
        is_across=True,
    ),
)
KEYS = tuple(family.key for family in FAMILIES)


def family_of(key: str) -> Family:
    return next(family for family in FAMILIES if family.key == key)

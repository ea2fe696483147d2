"""The sample job: a small two-door 4x4 of our own invention in a complete cage.

Measures are whole millimetres, as one would mark them out; left tubes are mirrored. Three findings
are left in to show what the checks say: the rear header is too close to the roof, the two bends of
the winch hoop are too close to each other, and the lamp bar stands off the roof on purpose.
"""

from typing import NamedTuple

from geometry import edits, fixing, rack, symmetry
from geometry.body import measured
from geometry.layout import Layout
from geometry.vectors import Vec3

NAME = "Sample: two-door 4x4"
MAIN, BRACE = "1.75 × 0.120 in", "1.50 × 0.095 in"


class _On(NamedTuple):
    """An end on another tube, at its place nearest to a point."""

    tube: str
    near: Vec3


_Run = tuple[Vec3 | _On, ...]


class _Laid(NamedTuple):
    """One tube: its name, stock and the run of its centreline."""

    name: str
    stock: str
    run: _Run
    farthest: float | None = None  # a stand-off of its own


def _outrigger(x: float) -> _Run:
    """From the sill tube, cranked under the sill, to a foot on the frame rail."""
    return (_On("Left sill tube", (x, 783.0, 448.0)), (x, 733.0, 416.0), (x, 440.0, 416.0))


def _header(x: float, top: float) -> _Run:
    """Across the roof from hoop to hoop, raised over its crown."""
    return (
        _On("Left side hoop", (x, 692.0, 1712.0)),
        (x, 570.0, top),
        (x, -570.0, top),
        _On("Right side hoop", (x, -692.0, 1712.0)),
    )


# x forward of the front axle, y left of the centre plane, z above the ground. Each tube sits on
# tubes above it in the list; one whose name begins with Left gets its twin at once.
TUBES = (
    _Laid(
        "Front bumper",
        MAIN,
        ((425.0, 776.0, 600.0), (706.0, 764.0, 600.0), (706.0, -764.0, 600.0), (425.0, -776.0, 600.0)),
    ),
    _Laid(
        "Rear bumper",
        MAIN,
        (
            (-2650.0, 788.0, 590.0),
            (-2990.0, 788.0, 590.0),
            (-2990.0, -788.0, 590.0),
            (-2650.0, -788.0, 590.0),
        ),
    ),
    _Laid("Left sill tube", MAIN, ((-405.0, 783.0, 448.0), (-1805.0, 783.0, 448.0))),
    _Laid(
        "Left side hoop",
        MAIN,
        (
            _On("Left sill tube", (-440.0, 783.0, 448.0)),
            (-448.0, 822.0, 1082.0),
            (-786.0, 693.0, 1712.0),
            (-2800.0, 693.0, 1712.0),
            (-2840.0, 822.0, 1082.0),
            _On("Rear bumper", (-2800.0, 788.0, 590.0)),
        ),
        farthest=80.0,  # straight past the waist and along the roof, which are not
    ),
    _Laid(
        "Left B upright",
        MAIN,
        (
            _On("Left sill tube", (-1575.0, 783.0, 448.0)),
            (-1578.0, 832.0, 1080.0),
            _On("Left side hoop", (-1595.0, 692.0, 1712.0)),
        ),
    ),
    _Laid(
        "Left belt tube",
        BRACE,
        (
            _On("Left B upright", (-1578.0, 820.0, 980.0)),
            _On("Left side hoop", (-2834.0, 816.0, 980.0)),
        ),
    ),
    _Laid(
        "Left rear brace",
        BRACE,
        (
            _On("Left side hoop", (-1680.0, 692.0, 1712.0)),
            _On("Left side hoop", (-2835.0, 800.0, 1180.0)),
        ),
    ),
    _Laid("Left front outrigger", BRACE, _outrigger(-520.0)),
    _Laid("Left rear outrigger", BRACE, _outrigger(-1690.0)),
    _Laid(
        "Bonnet hoop",
        MAIN,
        (
            _On("Left side hoop", (-435.0, 817.0, 990.0)),
            (706.0, 784.0, 925.0),
            (706.0, -784.0, 925.0),
            _On("Right side hoop", (-435.0, -817.0, 990.0)),
        ),
    ),
    _Laid(
        "Left wing upright",
        BRACE,
        (_On("Front bumper", (500.0, 774.0, 600.0)), _On("Bonnet hoop", (500.0, 790.0, 940.0))),
    ),
    _Laid(
        "Winch hoop",
        BRACE,
        (
            _On("Front bumper", (706.0, 150.0, 600.0)),
            (706.0, 150.0, 800.0),
            (706.0, -150.0, 800.0),
            _On("Front bumper", (706.0, -150.0, 600.0)),
        ),
    ),
    _Laid("Front header", MAIN, _header(-985.0, 1752.0)),
    _Laid("B header", MAIN, _header(-1595.0, 1757.0)),
    _Laid("Rear header", BRACE, _header(-2600.0, 1731.0)),
    _Laid(
        "Left roof brace",
        BRACE,
        (
            _On("Left side hoop", (-1075.0, 692.0, 1712.0)),
            (-1140.0, 580.0, 1746.0),
            _On("B header", (-1595.0, 0.0, 1757.0)),
        ),
    ),
    _Laid(
        "Lamp bar",
        BRACE,
        (
            _On("Left side hoop", (-895.0, 693.0, 1712.0)),
            (-840.0, 585.0, 1820.0),
            (-840.0, -585.0, 1820.0),
            _On("Right side hoop", (-895.0, -693.0, 1712.0)),
        ),
    ),
)


def build() -> Layout:
    """Lay the sample job."""
    layout = rack.with_starting_rack(Layout(name=NAME))
    layout, _, _ = measured.add_to(layout, measured.shapes()["two-box"], "Two-door 4x4")
    for laid in TUBES:
        layout, tube = edits.add_tube(
            layout, [_item(layout, item) for item in laid.run], _stock(layout, laid.stock), laid.name
        )
        layout = fixing.set_standoff(layout, [tube], farthest=laid.farthest)
        if laid.name.startswith("Left "):
            layout, _ = symmetry.paired(layout, [tube])
    return symmetry.set_both_sides(layout, True)


def _item(layout: Layout, item: Vec3 | _On) -> edits.Item:
    if isinstance(item, _On):
        return edits.landing_at(layout, _tube(layout, item.tube), item.near)
    return item


def _tube(layout: Layout, name: str) -> int:
    return next(tube.id for tube in layout.tubes.values() if tube.name == name)


def _stock(layout: Layout, name: str) -> int:
    return next(stock.id for stock in layout.stocks.values() if stock.name == name)

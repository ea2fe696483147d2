"""Bends against handbook formulas, worked tubes, and published dihedral angles."""

import itertools
import math

import pytest

from geometry.layout import Die, Layout, Stock, Tube
from geometry.tube import bending, centreline
from geometry.tube.bending import BendData, BendRow
from geometry.tube.centreline import Arc

R = 152.4

# The simple circular curve of surveying, per unit radius: angle in degrees, then tangent, arc, gain,
# external distance, chord, sagitta. Formulas: easycalculation.com, transportation, horizontal curve.
UNIT_BENDS = [
    (10, 0.08748866, 0.17453293, 0.00044440, 0.00381984, 0.17431149, 0.00380530),
    (15, 0.13165250, 0.26179939, 0.00150561, 0.00862896, 0.26105238, 0.00855514),
    (20, 0.17632698, 0.34906585, 0.00358811, 0.01542661, 0.34729636, 0.01519225),
    (30, 0.26794919, 0.52359878, 0.01229961, 0.03527618, 0.51763809, 0.03407417),
    (45, 0.41421356, 0.78539816, 0.04302896, 0.08239220, 0.76536686, 0.07612047),
    (60, 0.57735027, 1.04719755, 0.10750299, 0.15470054, 1.00000000, 0.13397460),
    (75, 0.76732699, 1.30899694, 0.22565704, 0.26047241, 1.21752286, 0.20664666),
    (90, 1.00000000, 1.57079633, 0.42920367, 0.41421356, 1.41421356, 0.29289322),
    (105, 1.30322537, 1.83259571, 0.77385503, 0.64267963, 1.58670668, 0.39123857),
    (120, 1.73205081, 2.09439510, 1.36970651, 1.00000000, 1.73205081, 0.50000000),
    (135, 2.41421356, 2.35619449, 2.47223263, 1.61312593, 1.84775907, 0.61731657),
    (150, 3.73205081, 2.61799388, 4.84610774, 2.86370331, 1.93185165, 0.74118095),
    (160, 5.67128182, 2.79252680, 8.55003684, 4.75877048, 1.96961551, 0.82635182),
]

# Points and dihedral angles of the test suites of gemmi and of the crate `dihedral` (docs.rs).
P = (
    (24.969, 13.428, 30.692),
    (24.044, 12.661, 29.808),
    (22.785, 13.482, 29.543),
    (21.951, 13.670, 30.431),
    (23.672, 11.328, 30.466),
    (22.881, 10.326, 29.620),
    (23.691, 9.935, 28.389),
    (22.557, 9.096, 30.459),
)
DIHEDRALS = [
    ((0, 1, 2, 3), -71.215151147),
    ((0, 1, 4, 5), -171.943199480),
    ((1, 4, 5, 6), 60.822267353),
    ((1, 4, 5, 7), -177.636411515),
]

HOOP = ((0, -700, 0), (0, -700, 1100), (0, 700, 1100), (0, 700, 0))
ZED = ((0, 0, 0), (600, 0, 0), (900, 300, 0), (1500, 300, 0))
THREE_AXES = ((0, 0, 0), (600, 0, 0), (600, 500, 0), (600, 500, 700))
GENERAL = ((0, 0, 0), (0, 0, 900), (250, 0, 1250), (1100, 150, 1300), (1250, 700, 1250), (1250, 1100, 700))

# Worked tubes on CLR 152.4, computed from the closed forms: straights, angles, rotations, cut length.
WORKED = {
    "planar hoop": (HOOP, (947.6, 1095.2, 947.6), (90, 90), (0, 0), 3469.1787204),
    "planar zed": (ZED, (536.8738531, 298.0117749, 536.8738531), (45, 45), (0, 180), 1611.1488413),
    "three axes": (THREE_AXES, (447.6, 195.2, 547.6), (90, 90), (0, 90), 1669.1787204),
    "general": (
        GENERAL,
        (851.1611259, 307.2863337, 693.1172775, 402.9100404, 608.1798991),
        (35.5376778, 51.7936668, 65.2046022, 50.5105300),
        (0, 12.75545488, 75.53955106, -72.43557203),
        3402.7343006,
    ),
}


def one_bend(angle_deg: float, radius: float) -> centreline.Centreline:
    """Return a tube with one bend and legs of ten radii."""
    angle, leg = math.radians(angle_deg), 10.0 * radius
    end = (leg * (1.0 + math.cos(angle)), leg * math.sin(angle), 0.0)
    return centreline.build(((0.0, 0.0, 0.0), (leg, 0.0, 0.0), end), radius)


def straights(data: BendData) -> list[float]:
    return [*(row.straight_before for row in data.rows), data.last_straight]


def mirrored(points: tuple) -> list:
    return [(x, -y, z) for x, y, z in points]


@pytest.mark.parametrize("row", UNIT_BENDS, ids=lambda row: f"{row[0]} degrees")
def test_one_bend_measures_as_the_circular_curve(row: tuple) -> None:
    angle_deg, tangent, arc, gain, external, chord, sagitta = row
    line = one_bend(angle_deg, 1.0)
    bend = line.bends[0]
    start, middle, end = centreline.point_at(line, [bend.start, (bend.start + bend.end) / 2, bend.end])
    assert bend.tangent == pytest.approx(tangent, abs=5.1e-9)
    assert bend.end - bend.start == pytest.approx(arc, abs=5.1e-9)
    assert 20.0 - line.length == pytest.approx(gain, abs=5.1e-9)
    assert math.dist(bend.corner, middle) == pytest.approx(external, abs=5.1e-9)
    assert math.dist(start, end) == pytest.approx(chord, abs=5.1e-9)
    assert math.dist(middle, (start + end) / 2) == pytest.approx(sagitta, abs=5.1e-9)


@pytest.mark.parametrize(
    ("angle_deg", "tangent", "arc", "gain"),
    [
        (45, 63.126147, 119.694680, 6.557614),
        (90, 152.4, 239.389360, 65.410640),
        (120, 263.964543, 319.185814, 208.743273),
    ],
)
def test_bends_of_a_six_inch_die(angle_deg: float, tangent: float, arc: float, gain: float) -> None:
    line = one_bend(angle_deg, R)
    bend = line.bends[0]
    assert bend.tangent == pytest.approx(tangent, abs=5.1e-7)
    assert bend.end - bend.start == pytest.approx(arc, abs=5.1e-7)
    assert 20 * R - line.length == pytest.approx(gain, abs=5.1e-7)


def test_a_surveyed_curve() -> None:
    """Problem data: educateecom.com, horizontal curves; degree of curve 7, deflection 63 deg 15' 34"."""
    radius = 5729.578 / 7
    line = one_bend(63 + 15 / 60 + 34 / 3600, radius)
    bend = line.bends[0]
    start, middle, end = centreline.point_at(line, [bend.start, (bend.start + bend.end) / 2, bend.end])
    assert radius == pytest.approx(818.511143, abs=5.1e-7)
    assert bend.tangent == pytest.approx(504.136907, abs=5.1e-7)
    # Surveyors take the arc as 100 ft a degree of curve, with 5729.578 rounded: 8e-6 ft apart.
    assert bend.end - bend.start == pytest.approx(903.706349, abs=1e-5)
    assert math.dist(bend.corner, middle) == pytest.approx(142.797607, abs=5.1e-7)
    assert math.dist(middle, (start + end) / 2) == pytest.approx(121.585736, abs=5.1e-7)


@pytest.mark.parametrize("angle_deg", [175.001, 179.9, 180.0])
def test_a_turn_too_sharp_for_a_corner_is_refused(angle_deg: float) -> None:
    line = one_bend(angle_deg, R)
    assert not line.is_makeable
    assert not line.bends[0].fits
    assert line.bends[0].drawn_radius == 0.0


@pytest.mark.parametrize(("indexes", "phi"), DIHEDRALS)
def test_rotations_are_the_published_dihedral_angles(indexes: tuple, phi: float) -> None:
    data = bending.bend_data([P[i] for i in indexes], 0.1)
    assert math.degrees(data.rows[1].rotation) == pytest.approx(phi, abs=1e-5)


@pytest.mark.parametrize(("indexes", "phi"), DIHEDRALS)
def test_walking_backwards_leaves_a_dihedral_angle_unchanged(indexes: tuple, phi: float) -> None:
    data = bending.bend_data([P[i] for i in reversed(indexes)], 0.1)
    assert math.degrees(data.rows[1].rotation) == pytest.approx(phi, abs=1e-5)


@pytest.mark.parametrize(("indexes", "phi"), DIHEDRALS)
@pytest.mark.parametrize("flip", [(-1, 1, 1), (1, -1, 1), (1, 1, -1)])
def test_mirroring_in_any_plane_negates_a_dihedral_angle(indexes: tuple, phi: float, flip: tuple) -> None:
    points = [tuple(f * value for f, value in zip(flip, P[i], strict=True)) for i in indexes]
    data = bending.bend_data(points, 0.1)
    assert math.degrees(data.rows[1].rotation) == pytest.approx(-phi, abs=1e-5)


@pytest.mark.parametrize("name", WORKED)
def test_worked_tubes(name: str) -> None:
    points, lengths, angles, rotations, cut = WORKED[name]
    data = bending.bend_data(points, R)
    assert straights(data) == pytest.approx(lengths, abs=5.1e-8)
    assert [math.degrees(row.angle) for row in data.rows] == pytest.approx(angles, abs=5.1e-8)
    assert [math.degrees(row.rotation) for row in data.rows] == pytest.approx(rotations, abs=5.1e-9)
    assert data.length == pytest.approx(cut, abs=5.1e-8)
    assert centreline.build(points, R).length == pytest.approx(cut, abs=5.1e-8)


@pytest.mark.parametrize("name", WORKED)
def test_walking_the_rows_of_a_worked_tube_gives_back_its_nodes(name: str) -> None:
    points = WORKED[name][0]
    first = bending.turns(points)[0]
    along = tuple(b - a for a, b in zip(points[0], points[1], strict=True))
    nodes = bending.nodes_from(bending.bend_data(points, R), points[0], along, first.axis)
    for node, point in zip(nodes, points, strict=True):
        assert node == pytest.approx(point, abs=1e-9)


def test_gain_of_the_hoop() -> None:
    assert 3600 - centreline.build(HOOP, R).length == pytest.approx(130.8212796, abs=5.1e-8)


def test_marks_of_the_hoop() -> None:
    bends = centreline.build(HOOP, R).bends
    assert [bend.start for bend in bends] == pytest.approx([947.6, 2282.189360], abs=5.1e-7)
    assert bends[0].end - bends[0].start == pytest.approx(239.3893602, abs=5.1e-8)


def test_marks_of_the_general_tube() -> None:
    line = centreline.build(GENERAL, R)
    assert [bend.tangent for bend in line.bends] == pytest.approx(
        [48.8388741, 73.9910555, 97.4724904, 71.8936264], abs=5.1e-8
    )
    assert [bend.end - bend.start for bend in line.bends] == pytest.approx(
        [94.5260217, 137.7650306, 173.4365334, 134.3520385], abs=5.1e-8
    )
    assert [bend.start for bend in line.bends] == pytest.approx(
        [851.161126, 1252.973481, 2083.855789, 2660.202363], abs=5.1e-7
    )
    assert [(bend.start + bend.end) / 2 for bend in line.bends] == pytest.approx(
        [898.424137, 1321.855997, 2170.574056, 2727.378382], abs=5.1e-7
    )
    assert [bend.end for bend in line.bends] == pytest.approx(
        [945.687148, 1390.738512, 2257.292323, 2794.554402], abs=5.1e-7
    )


def test_the_general_tube_reversed() -> None:
    points, lengths, angles, rotations, _ = WORKED["general"]
    data = bending.bend_data(points[::-1], R)
    assert straights(data) == pytest.approx(lengths[::-1], abs=5.1e-8)
    assert [math.degrees(row.angle) for row in data.rows] == pytest.approx(angles[::-1], abs=5.1e-8)
    assert [math.degrees(row.rotation) for row in data.rows] == pytest.approx(
        (0, *rotations[:0:-1]), abs=5.1e-9
    )
    starts = [bend.start for bend in centreline.build(points[::-1], R).bends]
    assert starts == pytest.approx([608.179899, 1145.441978, 2011.995789, 2457.047153], abs=5.1e-7)


@pytest.mark.parametrize("name", ["three axes", "general"])
def test_worked_tubes_mirrored(name: str) -> None:
    points, lengths, angles, rotations, cut = WORKED[name]
    data = bending.bend_data(mirrored(points), R)
    assert straights(data) == pytest.approx(lengths, abs=5.1e-8)
    assert [math.degrees(row.angle) for row in data.rows] == pytest.approx(angles, abs=5.1e-8)
    assert [math.degrees(row.rotation) for row in data.rows] == pytest.approx(
        [-rotation for rotation in rotations], abs=5.1e-9
    )
    assert data.length == pytest.approx(cut, abs=5.1e-8)


def test_nodes_from_bend_data() -> None:
    """The inverse example: CLR 100 from the origin along x, turning first towards y."""
    lengths, angles, rotations = (300, 200, 250), (90, 45, 60), (0, 30, -45)
    rows = tuple(
        BendRow(straight, math.radians(rotation), math.radians(angle), 100.0)
        for straight, rotation, angle in zip(lengths, rotations, angles, strict=True)
    )
    nodes = bending.nodes_from(BendData(rows, 400.0, 0.0), (0, 0, 0), (1, 0, 0), (0, 0, 1))
    expected = [
        (0, 0, 0),
        (400, 0, 0),
        (400, 341.421356237, 0),
        (186.186255208, 588.312202462, 123.445423112),
        (-265.768693224, 551.940892465, 60.714192730),
    ]
    for node, place in zip(nodes, expected, strict=True):
        assert node == pytest.approx(place, abs=5.1e-10)
    assert centreline.build(nodes, 100.0).length == pytest.approx(1490.3392041, abs=5.1e-8)


# Cold bends of at least three diameters: FIA Appendix J 2009 article 253-8.3.3, as quoted at
# greenpower.co.uk/forum/discussion/3278; equal counts as enough.
@pytest.mark.parametrize(
    ("od", "least"), [(38.1, 114.3), (44.45, 133.35), (50.8, 152.4), (45.0, 135.0), (50.0, 150.0)]
)
def test_a_die_of_exactly_three_diameters_is_wide_enough(od: float, least: float) -> None:
    stock = Stock(1, "size", od, 2.5)
    dies = {2: Die(2, "tight", od, least - 1.0), 3: Die(3, "equal", od, least), 4: Die(4, "wide", od, 200.0)}
    layout = Layout(stocks={1: stock}, dies=dies)
    assert bending.least_clr(stock) == pytest.approx(least, abs=1e-9)
    assert bending.die_of(layout, Tube(5, "T1", (), 1)) is dies[3]


@pytest.mark.parametrize(
    ("radius", "sagitta", "chords"), [(152.4, 0.1, 22), (152.4, 0.5, 10), (152.4, 1.0, 7), (114.3, 0.1, 19)]
)
def test_chords_of_a_right_angle(radius: float, sagitta: float, chords: int) -> None:
    line = one_bend(90, radius)
    _, _, stations = centreline.sample(line, sagitta)
    bend = line.bends[0]
    inside = stations[(stations > bend.start - 1e-9) & (stations < bend.end + 1e-9)]
    assert len(inside) == chords + 1


@pytest.mark.parametrize(
    ("radius", "sagitta", "step_deg"),
    [(152.4, 0.1, 4.151441), (152.4, 0.5, 9.284937), (152.4, 1.0, 13.134481), (114.3, 0.1, 4.793759)],
)
def test_the_chord_that_just_keeps_within_a_sagitta(radius: float, sagitta: float, step_deg: float) -> None:
    line = one_bend(90, radius)
    step = radius * math.radians(step_deg)
    first = line.bends[0].start
    a, middle, b = centreline.point_at(line, [first, first + step / 2, first + step])
    assert math.dist(middle, (a + b) / 2) == pytest.approx(sagitta, abs=1e-7 * radius)
    assert centreline.chord_count(radius, math.radians(step_deg - 1e-5), sagitta) == 1
    assert centreline.chord_count(radius, math.radians(step_deg + 1e-5), sagitta) == 2


def test_drawn_chords_are_shorter_than_the_arc_and_the_length_is_not_taken_from_them() -> None:
    line = one_bend(90, R)
    points, _, _ = centreline.sample(line, 0.1)
    drawn = sum(math.dist(a, b) for a, b in itertools.pairwise(points))
    arc = next(piece for piece in line.pieces if isinstance(piece, Arc))
    assert (line.length - drawn) / (R * arc.angle) == pytest.approx(0.02124e-2, abs=5.1e-8)

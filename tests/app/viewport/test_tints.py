"""Colours along tubes say what is judged: close, far for long, and how far by lightness."""

import numpy as np
import pytest

from app.viewport import colours, tints
from app.viewport.colours import rgb
from geometry.checks.profile import Profile
from geometry.layout import Die, Layout, Limits, Node, Stock, Tube

LIMITS = Limits(
    standoff_closest=15.0, standoff_farthest=40.0, standoff_run=300.0, scan_error=3.0, build_tolerance=5.0
)
CLOSE_BELOW = 23.0  # the closest allowed, scan error and build tolerance


def layout(hugs: bool = True) -> Layout:
    return Layout(
        nodes={1: Node(1, (0.0, 0.0, 0.0)), 2: Node(2, (2000.0, 0.0, 0.0))},
        tubes={9: Tube(9, "T1", (1, 2), 5, hugs=hugs)},
        stocks={5: Stock(5, "45 x 2.5", 45.0, 2.5)},
        dies={6: Die(6, "former", 45.0, 150.0)},
        limits=LIMITS,
    )


def profile(gap: object) -> Profile:
    stations = np.linspace(0.0, 2000.0, 135)
    gaps = gap(stations) if callable(gap) else np.full(len(stations), gap)
    return Profile(stations, gaps, np.full(len(stations), -1))


@pytest.mark.parametrize("theme", [colours.LIGHT, colours.DARK], ids=["light", "dark"])
def test_a_stretch_that_is_too_close_is_coloured_from_where_it_begins(theme: colours.Theme) -> None:
    tint = tints.of("bands", layout(), 9, profile(lambda s: np.minimum(10.0 + 0.02 * s, 35.0)), theme)
    assert tint is not None
    turn = (CLOSE_BELOW - 10.0) / 0.02
    for station, colour in (
        (0.0, theme.signs["close"]),
        (turn - 1.0, theme.signs["close"]),
        (turn + 1.0, theme.tube),
    ):
        assert tint.at(np.array([station]))[0] == pytest.approx(rgb(colour), abs=1e-6)
    assert tint.rings == pytest.approx([turn - tints.EDGE, turn + tints.EDGE])


def test_what_is_fine_all_along_stays_as_tubes_are() -> None:
    assert tints.of("bands", layout(), 9, profile(30.0), colours.LIGHT) is None
    assert tints.of("plain", layout(), 9, profile(1.0), colours.LIGHT) is None


def test_far_stretches_are_coloured_only_where_they_are_remarked() -> None:
    def bump(length: float) -> Profile:
        return profile(lambda s: np.where(np.abs(s - 1000.0) < length / 2.0, 60.0, 30.0))

    assert tints.of("bands", layout(), 9, bump(200.0), colours.LIGHT) is None
    tint = tints.of("bands", layout(), 9, bump(600.0), colours.LIGHT)
    assert tint is not None
    assert tint.at(np.array([1000.0]))[0] == pytest.approx(rgb(colours.LIGHT.signs["far"]))
    assert tints.of("bands", layout(hugs=False), 9, bump(600.0), colours.LIGHT) is None


def lightness(colour: np.ndarray) -> float:
    linear = np.where(colour <= 0.04045, colour / 12.92, ((colour + 0.055) / 1.055) ** 2.4)
    return float(linear @ np.array([0.2126, 0.7152, 0.0722])) ** (1.0 / 3.0)


@pytest.mark.parametrize("theme", [colours.LIGHT, colours.DARK], ids=["light", "dark"])
def test_the_ramp_is_read_by_lightness_alone(theme: colours.Theme) -> None:
    shades = [lightness(shade) for shade in tints.ramp(np.linspace(0.0, 1.0, 21), theme)]
    steps = np.diff(shades)
    assert (steps > 0.0).all() or (steps < 0.0).all()
    assert abs(shades[-1] - shades[0]) > 0.2


def test_the_ramp_follows_the_gap_and_ends_where_more_makes_no_difference() -> None:
    end = tints.ramp_end(LIMITS)
    assert tints.ramp_part(np.array([-5.0, 0.0, end / 2.0, end, 900.0]), LIMITS) == pytest.approx(
        [0, 0, 0.5, 1, 1]
    )
    tint = tints.of("ramp", layout(), 9, profile(lambda s: s / 2000.0 * end), colours.LIGHT)
    assert tint is not None
    middle = tint.at(np.array([1000.0]))[0]
    assert middle == pytest.approx(tints.ramp(np.array([0.5]), colours.LIGHT)[0], abs=0.01)
    assert np.diff(tint.rings).max() <= tints.RING_STEP + 1e-9

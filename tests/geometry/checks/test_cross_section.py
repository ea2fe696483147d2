import numpy as np
import pytest

from geometry import sample
from geometry.body import distance
from geometry.checks import cross_section, standoff
from geometry.layout import Layout
from geometry.tube import centreline


@pytest.fixture(scope="module")
def layout() -> Layout:
    return sample.build()


def cuts(layout: Layout) -> list[cross_section.CrossSection]:
    return [
        cross_section.of(layout, id, part * centreline.of(layout, tube).length)
        for id, tube in layout.tubes.items()
        for part in (0.0, 0.3, 0.8)
    ]


def test_the_gap_in_space_is_that_of_the_index(layout: Layout) -> None:
    index = distance.build(layout)
    for cut in cuts(layout):
        at = np.array([cut.plane.origin])
        least = min(panel.closest(at)[0][0] for panel in index.values()) - cut.radius
        if cut.true_gap is None:
            assert least > cut.half - 1e-6
        else:
            assert cut.true_gap.standing.raw == pytest.approx(least, abs=1e-6)


def test_the_gap_in_the_plane_is_never_less_than_that_in_space(layout: Layout) -> None:
    for cut in cuts(layout):
        if cut.gap is not None:
            assert cut.true_gap is not None
            assert cut.gap.standing.raw >= cut.true_gap.standing.raw - 1e-6


def test_the_gap_in_the_plane_runs_from_the_tube_to_an_outline(layout: Layout) -> None:
    for cut in cuts(layout):
        if cut.gap is None:
            continue
        assert np.hypot(*cut.gap.start) == pytest.approx(cut.radius)
        ends = cut.panels[cut.gap.panel]
        flat = np.concatenate([ends, np.zeros((*ends.shape[:2], 1))], axis=2)
        from geometry.body import outline

        assert outline.distances(flat, (*cut.gap.end, 0.0)).min() < 1e-6


def test_the_paper_s_up_is_the_car_s_up_but_for_upright_tubes(layout: Layout) -> None:
    for cut in cuts(layout):
        plane = cut.plane
        assert np.dot(plane.up, plane.right) == pytest.approx(0.0, abs=1e-12)
        assert np.linalg.norm(plane.up) == pytest.approx(1.0)
        assert plane.up[2 if plane.is_up else 0] > 0.0


def test_safe_takes_off_what_scan_and_building_may_be_out_by(layout: Layout) -> None:
    gaps = [cut.gap for cut in cuts(layout) if cut.gap is not None]
    assert gaps
    for gap in gaps:
        assert gap.standing.safe == pytest.approx(gap.standing.raw - standoff.error(layout.limits))


def test_tubes_that_cross_the_plane_are_cut(layout: Layout) -> None:
    crossed = [cut for cut in cuts(layout) if cut.tubes]
    assert crossed
    assert all(id != cut.tube for cut in crossed for id in cut.tubes)

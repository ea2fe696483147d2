"""The sample job: a complete cage that checks clean but for what is left in on purpose."""

import math
from pathlib import Path

import numpy as np
import pytest

from geometry import sample
from geometry.checks import findings
from geometry.checks.findings import Report
from geometry.files import job
from geometry.layout import Layout, Tube
from geometry.tube import centreline

ASSET = Path(__file__).resolve().parents[2] / "assets" / "sample.outrib"
ON_PURPOSE = {
    "Rear header": "clearance.too_close",
    "Winch hoop": "bend.between_short",
    "Lamp bar": "clearance.too_far",
}
FEET = {"Front bumper", "Rear bumper", "Left sill tube", "Right sill tube"}


@pytest.fixture(scope="module")
def layout() -> Layout:
    return sample.build()


@pytest.fixture(scope="module")
def report(layout: Layout) -> Report:
    return findings.check_layout(layout)


def named(layout: Layout, name: str) -> Tube:
    return next(tube for tube in layout.tubes.values() if tube.name == name)


def test_only_the_findings_left_in_on_purpose_stand(layout: Layout, report: Report) -> None:
    said = sorted((layout.tubes[finding.tubes[0]].name, finding.rule) for finding in report.findings)
    assert said == sorted(ON_PURPOSE.items())


def test_every_other_tube_keeps_the_stand_off_band(layout: Layout, report: Report) -> None:
    nearest = {layout.tubes[id].name: row.clearance for id, row in report.nearest.items()}
    others = {name: gap for name, gap in nearest.items() if name not in ("Rear header", "Lamp bar")}
    assert len(others) == len(layout.tubes) - 2
    assert min(others.values()) >= 23.0
    assert max(others.values()) <= 40.0


def test_every_tube_can_be_bent_and_is_of_one_of_two_sizes(layout: Layout) -> None:
    assert 20 <= len(layout.tubes) <= 30
    assert {layout.stocks[tube.stock].name for tube in layout.tubes.values()} == {sample.MAIN, sample.BRACE}
    assert all(centreline.of(layout, tube).is_makeable for tube in layout.tubes.values())


def test_each_side_mirrors_the_other(layout: Layout) -> None:
    for tube in layout.tubes.values():
        if tube.name.startswith("Left "):
            twin = named(layout, tube.name.replace("Left", "Right"))
            assert twin.stock == tube.stock
            here = np.array([layout.nodes[id].position for id in tube.nodes])
            there = np.array([layout.nodes[id].position for id in twin.nodes])
            assert here == pytest.approx(there * (1.0, -1.0, 1.0), abs=1e-6)


def test_every_end_sits_on_a_tube_or_on_a_foot(layout: Layout) -> None:
    for tube in layout.tubes.values():
        for end in (tube.nodes[0], tube.nodes[-1]):
            node = layout.nodes[end]
            is_foot = tube.name in FEET or "outrigger" in tube.name
            assert node.landing is not None or is_foot, tube.name


def test_twins_sit_on_the_twins_of_what_the_left_tubes_sit_on(layout: Layout) -> None:
    for tube in layout.tubes.values():
        if not tube.name.startswith("Left "):
            continue
        twin = named(layout, tube.name.replace("Left", "Right"))
        for left, right in zip(tube.nodes, twin.nodes, strict=True):
            here, there = layout.nodes[left].landing, layout.nodes[right].landing
            assert (here is None) == (there is None), twin.name
            if here is not None and there is not None:
                host = layout.tubes[here.tube].name.replace("Left", "Right")
                assert layout.tubes[there.tube].name == host


def test_no_end_lands_on_a_bend(layout: Layout) -> None:
    for node in layout.nodes.values():
        if node.landing is not None:
            host = centreline.of(layout, layout.tubes[node.landing.tube])
            assert centreline.bend_at(host, node.landing.station) is None


def test_no_tube_crosses_the_doors_the_bonnet_or_the_tailgate(layout: Layout) -> None:
    """Doors are free from sill to rail, the bonnet from above, the tailgate from behind."""
    for tube in layout.tubes.values():
        line = centreline.of(layout, tube)
        points = centreline.point_at(line, np.arange(0.0, line.length, 5.0))
        radius = layout.stocks[tube.stock].od / 2.0
        x, y, z = points.T
        beside_door = (x < -500.0 - radius) & (x > -1500.0 + radius) & (np.abs(y) > 600.0)
        assert not (beside_door & (z > 560.0 + radius) & (z < 1600.0) & (x < _behind_pillar(z))).any(), (
            tube.name
        )
        over_bonnet = (x < 640.0) & (x > -440.0) & (np.abs(y) < 650.0) & (z > 700.0)
        assert not over_bonnet.any(), tube.name
        behind_tailgate = (x < -2920.0) & (np.abs(y) < 660.0) & (z > 650.0)
        assert not behind_tailgate.any(), tube.name


def _behind_pillar(z: np.ndarray) -> np.ndarray:
    """Return the x of the door's edge along the raked A-pillar at a height."""
    return -500.0 - np.clip((z - 1060.0) / 630.0, 0.0, 1.0) * 330.0


def test_longest_blank_comes_from_one_stick(layout: Layout) -> None:
    longest = max(centreline.of(layout, tube).length for tube in layout.tubes.values())
    assert longest + 2 * layout.limits.end_allowance < 6096.0
    assert math.isfinite(longest)


def test_the_file_that_ships_is_what_the_code_lays() -> None:
    """Write it anew with packaging/make_sample.py when this fails."""
    shipped, laid = job.load(ASSET), sample.build()
    assert shipped.next_id == laid.next_id
    assert (shipped.name, shipped.limits, shipped.bodies) == (laid.name, laid.limits, laid.bodies)
    assert (shipped.stocks, shipped.dies, shipped.tubes) == (laid.stocks, laid.dies, laid.tubes)
    assert shipped.nodes.keys() == laid.nodes.keys()
    # Sines differ in their last digit from one system to another.
    for id, node in laid.nodes.items():
        assert shipped.nodes[id].position == pytest.approx(node.position, abs=1e-6)
        assert (shipped.nodes[id].landing is None) == (node.landing is None)
    assert shipped.panels.keys() == laid.panels.keys()
    for id, panel in laid.panels.items():
        assert (shipped.panels[id].name, shipped.panels[id].colour) == (panel.name, panel.colour)
        assert shipped.panels[id].mesh.vertices == pytest.approx(panel.mesh.vertices, abs=1e-6)
        assert np.array_equal(shipped.panels[id].mesh.triangles, panel.mesh.triangles)

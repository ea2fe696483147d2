from geometry import edits, rack
from geometry.checks import findings, joints
from geometry.layout import Layout


def test_a_sleeve_in_line_is_fine_and_one_whose_tubes_were_moved_is_told() -> None:
    layout = rack.with_starting_rack(Layout())
    layout, tube = edits.add_tube(layout, [(0, 0, 0), (2000, 0, 0)], next(iter(layout.stocks)))
    layout, other = edits.split_with_sleeve(layout, tube, 900.0)
    assert list(joints.findings(layout)) == []
    moved = edits.move_nodes(layout, [layout.tubes[other].nodes[-1]], (0.0, 300.0, 0.0))
    report = findings.check(moved, {}, findings.check(layout, {}))
    (found,) = [finding for finding in report.findings if finding.rule == "joint.sleeve"]
    assert found.nodes == (layout.tubes[other].nodes[0],)
    assert "turn by 15.3°" in found.words["why"]
    again = findings.check(layout, {}, report)
    assert "joint.sleeve" not in {finding.rule for finding in again.findings}

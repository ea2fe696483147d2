"""What tubes and panels say of a panel goes when it goes, and follows when it is joined to another."""

import numpy as np
from msgspec.structs import replace

from geometry import edits
from geometry.aids import BoxShape, ConeShape, LineShape, PlaneShape, PointShape, Reference, Zone
from geometry.body import panels, split
from geometry.layout import Body, Layout, Mesh, Node, Panel, Placement, Stock, Trim, Tube, Weld

SQUARE = Mesh(
    np.array([(0.0, 0.0, 0.0), (100.0, 0.0, 0.0), (100.0, 100.0, 0.0), (0.0, 100.0, 0.0)]),
    np.array([(0, 1, 2), (0, 2, 3)], dtype=np.int32),
)
BODY, DOOR, GLASS, TUBE = 1, 2, 3, 7


def _layout() -> Layout:
    return Layout(
        next_id=8,
        nodes={5: Node(5, (0.0, 0.0, 50.0)), 6: Node(6, (300.0, 0.0, 50.0))},
        tubes={TUBE: Tube(TUBE, "T1", (5, 6), 4, welds=(Weld(DOOR), Weld(GLASS, 10.0, 20.0)))},
        bodies={BODY: Body(BODY, "body")},
        panels={
            DOOR: Panel(DOOR, "door", BODY, SQUARE),
            GLASS: Panel(GLASS, "glass", BODY, SQUARE, moves_with=DOOR),
        },
        stocks={4: Stock(4, "44.45 x 2", 44.45, 2.0)},
    )


def test_a_deleted_panel_leaves_no_weld_and_carries_nothing() -> None:
    after = edits.delete(_layout(), [DOOR])
    assert after.tubes[TUBE].welds == (Weld(GLASS, 10.0, 20.0),)
    assert after.panels[GLASS].moves_with is None


def test_deleting_a_body_leaves_nothing_said_of_its_panels() -> None:
    after = edits.delete(_layout(), [BODY])
    assert after.tubes[TUBE].welds == ()
    assert after.panels == {}


def test_joined_panels_take_over_what_was_said_of_each() -> None:
    after = split.join_panels(_layout(), [GLASS, DOOR])
    assert after.tubes[TUBE].welds == (Weld(GLASS), Weld(GLASS, 10.0, 20.0))
    assert after.panels[GLASS].moves_with is None


def test_what_says_nothing_of_the_panels_stays_the_same_object() -> None:
    layout = _layout()
    after = panels.pointed(layout, {99: None})
    assert after.tubes is layout.tubes
    assert after.panels is layout.panels


def test_a_panel_with_another_mesh_is_no_longer_trimmed() -> None:
    trimmed = replace(_layout().panels[DOOR], trim=Trim(SQUARE, (), 25.0))
    assert trimmed.whole is SQUARE
    made = panels.remade(trimmed, Mesh(SQUARE.vertices + 1.0, SQUARE.triangles))
    assert made.trim is None
    assert made.whole is made.mesh


def test_references_and_zones_go_along_with_the_only_body_and_limits_stay() -> None:
    body = Body(1, "shell")
    aids = {
        2: Reference(2, "point", PointShape((1.0, 2.0, 3.0))),
        3: Reference(3, "line", LineShape((0.0, 0.0, 0.0), (10.0, 0.0, 0.0))),
        4: Reference(4, "plane", PlaneShape((1.0, 0.0, 0.0), (1.0, 0.0, 0.0))),
        5: Reference(5, "roof", PlaneShape((0.0, 0.0, 9.0), (0.0, 0.0, 1.0)), limit=True),
    }
    zones = {
        6: Zone(6, "box", "other", BoxShape((1.0, 0.0, 0.0), (3.0, 2.0, 1.0))),
        7: Zone(7, "cone", "jack", ConeShape((1.0, 0.0, 0.0), (4.0, 0.0, 0.0), 5.0, 6.0)),
    }
    layout = Layout(bodies={1: body}, references=aids, zones=zones, next_id=8)
    quarter = Placement(2.0, ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), (10.0, 20.0, 30.0))
    after = panels.placed_anew(layout, 1, quarter)
    shapes = [after.references[id].shape for id in aids]
    assert shapes == [
        PointShape((6.0, 22.0, 36.0)),
        LineShape((10.0, 20.0, 30.0), (10.0, 40.0, 30.0)),
        PlaneShape((10.0, 22.0, 30.0), (0.0, 1.0, 0.0)),
        aids[5].shape,
    ]
    box, cone = (after.zones[id].shape for id in zones)
    assert box == BoxShape((10.0, 22.0, 30.0), (3.0, 2.0, 1.0), quarter_rows())
    assert cone == ConeShape((10.0, 22.0, 30.0), (10.0, 25.0, 30.0), 5.0, 6.0)
    tiny = panels.placed_anew(layout, 1, Placement(0.001))
    assert tiny.references[3].shape == aids[3].shape
    two = replace(layout, bodies={1: body, 9: Body(9, "trailer")})
    assert panels.placed_anew(two, 1, quarter).references is two.references


def quarter_rows() -> tuple:
    return ((0.0, 1.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0))

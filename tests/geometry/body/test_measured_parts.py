"""The parts of a measured body carry the names a fabricator would give them."""

from msgspec.structs import replace

from geometry.body import measured
from geometry.layout import DoorOpening

SHAPES = measured.shapes()


def names(shape: str) -> set[str]:
    return {name for name, _ in measured.build(SHAPES[shape])}


def test_two_box_has_the_panels_a_fabricator_names() -> None:
    names = {name for name, _ in measured.build(SHAPES["two-box"])}
    assert names >= {
        "bonnet",
        "windscreen",
        "roof",
        "tailgate",
        "floor",
        "left door",
        "right door",
        "left front wing",
        "right sill",
    }


def test_pick_up_has_a_bed_behind_its_cab() -> None:
    assert names("pick-up") >= {"bed", "cab back", "tailgate", "left bed side", "roof", "bonnet"}


def test_open_tub_has_neither_roof_nor_glass() -> None:
    found = names("open tub")
    assert found >= {"tub", "left tub side", "bonnet", "rear deck"}
    assert not {name for name in found if "glass" in name or name in ("roof", "windscreen")}


def test_a_lone_arch_at_the_back_is_the_rear_one() -> None:
    rear_only = replace(SHAPES["two-box"], arches=SHAPES["two-box"].arches[1:])
    found = {name for name, _ in measured.build(rear_only)}
    assert "left rear wheel arch" in found
    assert "left front wheel arch" not in found


def test_door_panel_reaches_exactly_from_edge_to_edge() -> None:
    door = DoorOpening(-560.0, -1444.0)
    panels = dict(measured.build(replace(SHAPES["two-box"], doors=(door,))))
    along = panels["left door"].vertices[:, 0]
    assert (along.max(), along.min()) == (door.front, door.back)
    glass = panels["left door glass"].vertices
    assert glass[:, 0].max() < door.front
    assert glass[:, 0].min() > door.back
    assert glass[:, 2].min() > 1040.0


def test_without_doors_the_side_is_wing_and_quarter() -> None:
    found = {name for name, _ in measured.build(replace(SHAPES["two-box"], doors=()))}
    assert found >= {"left front wing", "left rear quarter", "left sill"}
    assert not {name for name in found if "door" in name}

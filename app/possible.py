"""Which commands make sense now: the window greys the others."""

from app import actions
from app.aid_commands import ZONE_COMMANDS, AidCommands
from app.arranging_commands import ArrangingCommands
from app.selection_commands import SelectionCommands
from app.session import Session
from app.step_commands import StepCommands

ON_A_BODY = (
    *("reference_ground", "reference_height", "reference_width", "reference_trailer"),
    *ZONE_COMMANDS,
)
NEED_THE_ROOM = (
    *("fit", "fly_to", "parallel", "guides", "grid", "figure", "show_measures", "fainter", "denser"),
    *(
        "show_wheels",
        "show_swept",
        "show_no_wheels",
        "colour_bands",
        "colour_ramp",
        "colour_sides",
        "colour_plain",
    ),
    *("section_off", "section_x", "section_y", "section_z", "section_back", "section_on"),
    *("look_front", "look_back", "look_left", "look_right", "look_top", "look_bottom", "look_corner"),
    *("fold_job", "fold_selection", "fold_below"),
)


def commands(
    session: Session,
    selection: SelectionCommands,
    steps: StepCommands,
    aids: AidCommands,
    arranging: ArrangingCommands,
    is_at_job: bool,
    is_in_room: bool,
) -> dict[str, bool]:
    """Say of each command that is not always possible whether it is now.

    At the job the window shows its view or its trial bends; in the room, the view.
    """
    layout, stack, chosen = session.layout, session.undo_stack, selection
    tubes, nodes, panels, bodies = chosen.tubes, chosen.nodes, chosen.panels, chosen.bodies
    inside, quiet = is_in_room, not session.is_previewing
    free = inside and quiet and not steps.is_open
    landed = any(layout.nodes[id].landing for id in nodes)
    measured = any(layout.bodies[id].measured for id in steps.bodies_meant())
    possible = {
        "save": is_at_job,
        "save_as": is_at_job,
        "export": is_at_job and not steps.is_open and bool(layout.tubes),
        "undo": quiet and stack.canUndo(),
        "redo": quiet and stack.canRedo(),
        "rename": free and len(session.selection) == 1 and not nodes,
        "delete": free and bool(session.selection),
        "select_all": free and bool(layout.tubes),
        "select_nodes": free and bool(tubes),
        "mirror": free and any(layout.tubes[id].twin is None for id in tubes),
        "release_twins": free and any(layout.tubes[id].twin is not None for id in tubes),
        "both_sides": free,
        "reverse": free and bool(tubes),
        "add_corner": free and bool(tubes),
        "remove_corner": free and bool(nodes),
        "stand_off": free and bool(nodes) and bool(layout.panels),
        "ride": free and bool(nodes or tubes) and bool(layout.panels),
        "split_here": free and len(nodes) == 1,
        "split_sleeve": free and len(tubes) == 1,
        "sleeve": free and len(nodes) == 1 and chosen.may_toggle_sleeve,
        "join_nodes": free and len(nodes) == 2,
        "free_end": free and landed,
        "start_cage": free and any(panel.kept for panel in layout.panels.values()),
        "place_body": free and bool(steps.bodies_meant()) and not measured,
        "change_measurements": free and measured,
        "split_panel": free and len(panels) == 1,
        "join_panels": free and len(panels) > 1,
        "hide": free and bool(panels or bodies or tubes or aids.chosen),
        "leave_out": free and bool(panels or bodies),
        "show_all": free and chosen.has_hidden,
        "isolate": free and bool(tubes),
        "lock": free and bool(tubes),
        "select_chain": free and len(tubes) + len(nodes) > 1,
        "select_connected": free and bool(tubes),
        "restock": free and bool(layout.tubes),
        "check_now": inside and not steps.is_open and bool(layout.tubes or layout.axles),
        "trial_bends": not steps.is_open,
        "open_panel": inside and len(panels) == 1,
        "trim_panels": free and bool(panels) and bool(layout.axles),
        "write_cuts": free and any(panel.trim is not None for panel in layout.panels.values()),
        "add_axle": free,
        "move_zone": free and len(aids.zones) == 1 == len(session.selection),
        "aid_other_side": free and bool(aids.chosen),
        "duplicate_axle": free and len(session.selection & layout.axles.keys()) == 1,
    }
    possible |= {name: free and fits for name, fits in arranging.possible().items()}
    possible |= dict.fromkeys(NEED_THE_ROOM, inside)
    possible |= dict.fromkeys(ON_A_BODY, free)
    possible |= dict.fromkeys(actions.TOOLS, inside and not steps.is_open)
    return possible

"""Every command of the window: its words, its key, and what it does in a sentence."""

from collections.abc import Callable, Mapping

from msgspec import Struct
from PySide6.QtGui import QAction, QActionGroup, QKeySequence
from PySide6.QtWidgets import QMenu, QMenuBar, QWidget

from geometry import zoning
from geometry.aids import Purpose


class Command(Struct, frozen=True):
    """One command; `choice` names the group in which only one can be ticked."""

    name: str
    text: str
    key: str
    tip: str
    icon: str = ""
    is_switch: bool = False
    choice: str = ""


# Words of the menu for each purpose that room is kept free for, with a letter of its own.
ZONE_WORDS: dict[Purpose, str] = {
    "filler nozzle": "&Filler nozzle",
    "door handle": "&Door handle",
    "lamp beam": "&Lamp beam",
    "number plate": "&Number plate view",
    "wiper": "W&iper",
    "mirror": "&Mirror",
    "winch rope": "&Winch rope",
    "jack": "&Jack",
    "tow eye": "&Tow eye",
    "belt anchorage": "&Belt anchorage",
    "view ahead": "&View ahead",
    "other": "&Other",
}
COMMANDS: tuple[Command, ...] = (
    Command("new", "&New job", "Ctrl+N", "Start an empty job with the usual rack and limits.", "new"),
    Command("open", "&Open…", "Ctrl+O", "Open a job, or a mesh file as the body of this one.", "open"),
    Command("sample", "Open &the sample", "", "Open a finished small job to look around in."),
    Command("save", "&Save", "Ctrl+S", "Write the job to its file.", "save"),
    Command("save_as", "Save &as…", "Ctrl+Shift+S", "Write the job to another file and go on with that one."),
    Command(
        "import_body",
        "&Bring in a body…",
        "Ctrl+I",
        "Read a scan or mesh, then say which way is up, forward and what unit it has.",
        "body",
    ),
    Command(
        "measured_body",
        "Body from &measurements…",
        "Ctrl+B",
        "Build a body from heights and widths taken with a tape and a plumb line.",
        "tape",
    ),
    Command(
        "export",
        "&Export packet…",
        "Ctrl+E",
        "Write the sheets for bender and saw, the tables and the JSON into a folder.",
        "packet",
    ),
    Command("quit", "&Quit", "Ctrl+Q", "Close the window; asks first when work is not saved."),
    Command("undo", "&Undo", "Ctrl+Z", "Take the last change back.", "undo"),
    Command("redo", "&Redo", "Ctrl+Shift+Z", "Make the change again that was taken back.", "redo"),
    Command(
        "take_snapshot",
        "Take a &snapshot…",
        "Ctrl+D",
        "Keep the layout as it is now under a name, in the job's file.",
    ),
    Command("rename", "Re&name", "F2", "Give the selected tube, panel or body another name."),
    Command("delete", "&Delete", "Del", "Take the selected tubes, nodes, panels or bodies out of the job."),
    Command("select_all", "Select all &tubes", "Ctrl+A", "Select every tube of the job."),
    Command("select_nodes", "Select their n&odes", "Ctrl+Shift+A", "Select the nodes of the selected tubes."),
    Command(
        "tool_select",
        "Select &and move",
        "V",
        "Click to select, drag a node to move it; it rides on the body it stands off.",
        "select",
        choice="tool",
    ),
    Command(
        "tool_tube",
        "Lay a &tube",
        "T",
        "Click node after node; Enter ends the tube, Backspace takes the last node back.",
        "tube",
        choice="tool",
    ),
    Command(
        "tool_follow",
        "Along the bod&y",
        "W",
        "Click places on the body; the tube with the fewest bends that keeps its stand-off follows them.",
        "follow",
        choice="tool",
    ),
    Command(
        "tool_node",
        "&Insert a corner",
        "N",
        "Click on a tube to put a new corner there; on the body it is a lone node.",
        "node",
        choice="tool",
    ),
    Command(
        "tool_split",
        "S&plit a tube",
        "K",
        "Click on a tube to make two of it there.",
        "split",
        choice="tool",
    ),
    Command(
        "tool_measure",
        "&Measure a distance",
        "D",
        "Click two places to read the distance between them.",
        "measure",
        choice="tool",
    ),
    Command(
        "guides",
        "Draw to &guides",
        "Shift+G",
        "Draw places to heights, stations, middles and lines near by; Shift leaves them out for a moment.",
        is_switch=True,
    ),
    Command(
        "mirror",
        "Pair with the &other side",
        "M",
        "Make the selected tubes' twins across the centre plane; from then on each follows the other.",
        "mirror",
    ),
    Command(
        "release_twins",
        "Let t&he sides differ",
        "Shift+M",
        "Let the selected tubes and their twins each go their own way.",
    ),
    Command(
        "both_sides",
        "Lay on &both sides",
        "B",
        "What is laid from now on appears on both sides, and each side follows the other.",
        "sides",
        is_switch=True,
    ),
    Command("reverse", "&Reverse", "R", "Let the selected tube start at its other end; the shape stays."),
    Command(
        "add_corner",
        "Corner in the &longest leg",
        "Shift+N",
        "Put a node in the middle of the selected tube's longest leg.",
    ),
    Command(
        "remove_corner",
        "Take the &corner out",
        "Shift+Del",
        "Take the selected node out of its tube; the tube runs straight on.",
    ),
    Command(
        "stand_off",
        "O&ut to the stand-off",
        "O",
        "Move the selected corners off the nearest metal, to the stand-off for new tubes.",
    ),
    Command(
        "ride",
        "&Keep to the body, or not",
        "Shift+R",
        "Let the selected corners or tubes keep the stand-off and slide along the body when moved.",
    ),
    Command(
        "split_here",
        "Split at the selecte&d node",
        "Shift+K",
        "Make two tubes of one at the selected node.",
    ),
    Command(
        "split_sleeve",
        "Split &with a sleeve",
        "S",
        "Make two tubes of the selected one, joined over an inner sleeve at the best place for it.",
    ),
    Command(
        "sleeve",
        "Slee&ve in or out",
        "Shift+S",
        "Join the two tubes that end at the selected node over an inner sleeve, or no longer.",
    ),
    Command(
        "join_nodes", "&Join two nodes", "J", "Bring two selected nodes together, half way between them."
    ),
    Command(
        "free_end", "&Free the landing", "L", "Let the selected end no longer follow the tube it sits on."
    ),
    Command(
        "straighten",
        "&Straighten",
        "I",
        "Take the bends out of the selected tubes, or out of the selected corners alone.",
    ),
    Command(
        "flatten_best",
        "Flatten, &best plane",
        "Ctrl+Shift+F",
        "Move the corners into the nearest plane through both ends; a tube in one plane is easier to bend.",
    ),
    Command(
        "flatten_upright",
        "Flatten, &upright plane",
        "",
        "Move the corners of the selected tubes into the upright plane through both ends.",
    ),
    Command(
        "flatten_level", "Flatten, le&vel plane", "", "Bring the selected tubes to one height all along."
    ),
    Command(
        "flatten_lengthwise",
        "Flatten, len&gthwise plane",
        "",
        "Bring the selected tubes to one distance from the centre plane all along.",
    ),
    Command(
        "flatten_across", "Flatten, &across the car", "", "Bring the selected tubes to one station all along."
    ),
    Command(
        "align_height",
        "Same &height",
        "Ctrl+Shift+H",
        "Bring the selected nodes to the height of the first, or to the mean of what a box selected.",
    ),
    Command(
        "align_station",
        "Same s&tation",
        "Ctrl+Shift+J",
        "Bring the selected nodes to the station x of the first, or to the mean.",
    ),
    Command(
        "align_side",
        "Same distance from the &centre plane",
        "Ctrl+Shift+D",
        "Bring the selected nodes to the distance y of the first, each on its own side.",
    ),
    Command(
        "align_line",
        "On one &line",
        "Ctrl+Shift+L",
        "Bring the selected nodes onto the line through the two outermost.",
    ),
    Command(
        "space_evenly",
        "Space &evenly",
        "Ctrl+Shift+E",
        "Leave equal gaps between the selected nodes or parallel tubes; the two outermost stay.",
    ),
    Command(
        "merge_tubes",
        "&Merge two tubes",
        "Ctrl+J",
        "Make one bent tube of two selected ones that end at one node; it is the first selected.",
    ),
    Command(
        "swap_through",
        "Swap which tube &runs through",
        "Ctrl+Shift+R",
        "Where the selected end meets a tube that runs through, let it run on and let the other end there.",
    ),
    *(
        Command(
            f"round_bends_{step}",
            f"Bends to multiples of {words}°",
            key,
            f"Move the corners as little as possible until every bend turns by a multiple of {step}°.",
        )
        for step, words, key in ((1, "&1", ""), (5, "&5", "Ctrl+Shift+B"), (15, "15", ""))
    ),
    Command(
        "save_part",
        "Sa&ve as a part…",
        "Ctrl+Shift+P",
        "Keep the selected tubes in a file of their own, to place them in this job or another one.",
    ),
    Command(
        "place_part",
        "P&lace a part…",
        "Ctrl+P",
        "Choose tubes that were kept as a part; they hang at the pointer until a click places them.",
    ),
    Command(
        "restock",
        "E&xchange stock…",
        "Ctrl+Shift+K",
        "Choose another stock for the selected tubes, or all, and see what it breaks before it is kept.",
    ),
    Command(
        "start_cage",
        "&First cage from points…",
        "Shift+T",
        "Lay a whole cage on the body in one step, from points that are read from it and can be moved.",
    ),
    Command(
        "place_body",
        "&Place the body again…",
        "",
        "Change unit, up, forward, front axle and which panels are kept.",
    ),
    Command(
        "change_measurements",
        "&Change measurements…",
        "",
        "Change the numbers a measured body is built from.",
    ),
    Command(
        "split_panel", "&Split a panel…", "", "Make a panel of its own of some faces of the selected panel."
    ),
    Command("join_panels", "&Join panels", "", "Make one panel of the selected ones."),
    Command(
        "hide",
        "&Hide or show",
        "H",
        "Hide the selected panels and tubes, or show them again.",
        "eye",
    ),
    Command("show_all", "Show &all", "Shift+H", "Show every tube, and every panel that is kept."),
    Command(
        "isolate",
        "Show thes&e alone",
        "Shift+I",
        "Hide all tubes but the selected ones and those they sit on.",
    ),
    Command(
        "lock",
        "&Lock or unlock",
        "Ctrl+K",
        "Keep the selected tubes from being moved by hand, or let them be moved again.",
    ),
    Command(
        "select_chain",
        "Select the &way between",
        "Ctrl+Shift+W",
        "Select the tubes that lead from one selected tube or node to the others.",
    ),
    Command(
        "select_connected",
        "Select what hangs to&gether",
        "Ctrl+Shift+G",
        "Select every tube that is joined to the selected ones, directly or through others.",
    ),
    Command("leave_out", "&Leave out or keep", "", "Left-out panels are neither drawn nor checked."),
    Command(
        "open_panel",
        "&Open or close the panel",
        "Shift+O",
        "Show the selected door, bonnet or slide open in the view, or closed again.",
    ),
    Command(
        "trim_panels",
        "&Trim for the tyres",
        "",
        "Cut away of the selected panels what tyres and the room for them need.",
    ),
    Command(
        "write_cuts",
        "&Write cut templates…",
        "",
        "Write sheets and templates at true size of the trimmed panels that are selected, or of all.",
    ),
    Command(
        "tool_reference",
        "Set a &reference",
        "E",
        "Click one place for a point, two for a line, three for a plane, to snap to and to measure from.",
        choice="tool",
    ),
    Command(
        "reference_ground",
        "The &ground",
        "",
        "Set the ground that the tyres stand on as a limit; the cage must stay above it.",
    ),
    Command(
        "reference_height",
        "Roof &height limit",
        "",
        "Set a level plane that the cage must stay below, at an assumed height; type yours at the right.",
    ),
    Command(
        "reference_width",
        "&Width limits",
        "",
        "Set two upright planes that the cage must stay between, assumed at first; type yours at the right.",
    ),
    Command(
        "reference_trailer",
        "&Trailer sides",
        "",
        "Set a trailer's insides as two upright planes, assumed at first; type yours at the right.",
    ),
    *(
        Command(
            f"zone_{purpose.replace(' ', '_')}",
            ZONE_WORDS[purpose],
            "",
            f"Keep room free: click {info.where}. {info.size}",
        )
        for purpose, info in zoning.PURPOSES.items()
    ),
    Command(
        "access",
        "Access chec&klist",
        "Q",
        "Show what needs room on a car: what is set, what is not needed, what is left to look at.",
    ),
    Command(
        "move_zone",
        "P&ut the zone elsewhere",
        "",
        "Click another place on the body for the selected access zone; its sizes stay.",
    ),
    Command(
        "aid_other_side",
        "Cop&y to the other side",
        "",
        "Add the mirror image of the selected references and access zones across the centre plane.",
    ),
    Command(
        "add_axle",
        "Add an a&xle",
        "Shift+A",
        "Put a pair of wheels under the body; the space their tyres need is checked.",
    ),
    Command("duplicate_axle", "Copy the axl&e", "", "Put a copy of the selected axle behind the last one."),
    Command(
        "check_now",
        "&Check everything now",
        "F5",
        "Check all tubes against all panels, dies and limits at once.",
        "check",
    ),
    Command("next_finding", "&Next finding", "F4", "Select the next finding and fly there."),
    Command("previous_finding", "&Previous finding", "Shift+F4", "Select the finding before and fly there."),
    Command("limits", "&Limits…", "Ctrl+L", "See and change what the checks judge by."),
    Command(
        "rack", "&Rack: stock, dies, benders…", "Ctrl+R", "See and change the shop's tubes, dies and benders."
    ),
    Command(
        "trial_bends",
        "&Trial bends…",
        "Ctrl+Shift+T",
        "Bend scrap, measure it, and let the sheets learn what die and tube really do.",
    ),
    Command("schedule", "S&chedule", "Ctrl+T", "Show the table of blanks, bends and masses."),
    Command("findings", "Fi&ndings", "Ctrl+F", "Show what the checks say."),
    Command(
        "cross_section",
        "C&ross-section",
        "Shift+C",
        "Show the selected tube cut square, with the metal round it and the gap.",
    ),
    Command(
        "measures",
        "&Measures and sizes",
        "Shift+D",
        "Show how large the whole is with and without the cage, and everything that was measured.",
    ),
    Command(
        "versions",
        "Vers&ions and snapshots",
        "Shift+W",
        "Hold snapshots against the layout as it is now, and go back to one.",
    ),
    Command("fit", "&Fit", "F", "Bring the whole job into the view.", "fit"),
    Command("fly_to", "Go &to the selection", "C", "Bring what is selected into the middle of the view."),
    Command("look_front", "From &the front", "Ctrl+1", "Look at the front of the body."),
    Command("look_back", "From the &back", "Ctrl+2", "Look at the back of the body."),
    Command("look_left", "From the &left", "Ctrl+3", "Look at the left side, as the driver sees left."),
    Command("look_right", "From the &right", "Ctrl+4", "Look at the right side."),
    Command("look_top", "From &above", "Ctrl+5", "Look down on the body."),
    Command("look_bottom", "From belo&w", "Ctrl+6", "Look up at the floor."),
    Command(
        "look_corner", "From a &corner", "Ctrl+7", "Look from the front left corner, from a little above."
    ),
    Command(
        "parallel",
        "&Parallel picture",
        "P",
        "Draw without perspective: equal lengths look equal.",
        is_switch=True,
    ),
    Command("grid", "Gri&d", "G", "Show the grid on the ground.", is_switch=True),
    Command(
        "show_measures",
        "Measures in the &view",
        "Shift+V",
        "Draw what was measured; a selected measure is drawn all the same.",
        is_switch=True,
    ),
    Command("figure", "Person for si&ze", "U", "Show a person-high figure beside the body.", is_switch=True),
    Command("show_wheels", "&Wheels", "Ctrl+Shift+X", "Show the wheels at ride height.", choice="wheels"),
    Command(
        "show_swept",
        "Wheels and what they &sweep through",
        "Shift+X",
        "Show the space that tyres need through bump, droop, roll and steering as well.",
        choice="wheels",
    ),
    Command(
        "show_no_wheels", "&No wheels", "", "Show no wheels; they are checked all the same.", choice="wheels"
    ),
    Command(
        "colour_bands",
        "Colour what is too &close or too far",
        "Alt+1",
        "Colour the stretches of tubes that lie outside their stand-off.",
        choice="colour",
    ),
    Command(
        "colour_ramp",
        "Colour by the &gap",
        "Alt+2",
        "Colour tubes all along by how far the metal is.",
        choice="colour",
    ),
    Command(
        "colour_sides",
        "Colour what is not the &same on both sides",
        "Alt+4",
        "Colour tubes that stand on one side only or are off their mirror image, and say by how much.",
        choice="colour",
    ),
    Command("colour_plain", "&Plain tubes", "Alt+3", "Draw all tubes in one colour.", choice="colour"),
    Command("fainter", "Bod&y fainter", "[", "Make the body more see-through."),
    Command("denser", "&Body denser", "]", "Make the body less see-through."),
    Command("section_off", "&Whole body", "", "Show the body uncut.", choice="section"),
    Command("section_x", "Cut &across", "", "Cut the body across the car.", choice="section"),
    Command("section_y", "Cu&t lengthwise", "", "Cut the body along the car.", choice="section"),
    Command("section_z", "Cut &level", "", "Cut the body level with the ground.", choice="section"),
    Command("section_back", "Move the cut &back", ",", "Move the cut 50 mm back, right or down."),
    Command("section_on", "Move the cut &on", ".", "Move the cut 50 mm forward, left or up."),
    Command("fold_job", "&Job list", "F6", "Fold the list at the left away, or back.", is_switch=True),
    Command(
        "fold_selection", "S&election", "F7", "Fold the numbers at the right away, or back.", is_switch=True
    ),
    Command(
        "fold_below", "Findings &and schedule", "F8", "Fold the tables below away, or back.", is_switch=True
    ),
    Command(
        "view_alone",
        "The view al&one",
        "F11",
        "Fill the screen with the view; press again to come back.",
        is_switch=True,
    ),
    Command("start_page", "Start pa&ge", "", "Show the first choices and the recent jobs."),
    Command("units_mm", "&Millimetres", "", "Show lengths in mm and masses in kg.", choice="units"),
    Command(
        "units_in", "Decimal &inches", "", "Show lengths in decimal inches and masses in lb.", choice="units"
    ),
    Command("units_8", "Inches, 1/&8", "", "Show lengths in inches to the nearest 1/8.", choice="units"),
    Command("units_16", "Inches, 1/1&6", "", "Show lengths in inches to the nearest 1/16.", choice="units"),
    Command("units_32", "Inches, 1/&32", "", "Show lengths in inches to the nearest 1/32.", choice="units"),
    Command("theme_system", "As the &desktop", "", "Light or dark as the desktop is.", choice="theme"),
    Command("theme_light", "&Light", "", "Dark text on light ground.", choice="theme"),
    Command("theme_dark", "Dar&k", "", "Light text on dark ground.", choice="theme"),
    Command("paper_a4", "A&4", "", "Print the packet on A4.", choice="paper"),
    Command("paper_letter", "&Letter", "", "Print the packet on letter paper.", choice="paper"),
    Command(
        "safe_graphics",
        "&Safe graphics",
        "",
        "Draw without the graphics card, for machines where the view stays black; from the next start.",
        is_switch=True,
    ),
    Command("keys", "&Keys", "F1", "List every command with its key, and what hand and keys do in the view."),
    Command(
        "tour",
        "Take the &tour",
        "Shift+F1",
        "Open the sample with a small card that leads from one thing to the next.",
    ),
    Command("log", "Open the &log folder", "", "Show where the log and recovery copies lie."),
    Command("about", "&About Outrib", "", "Version, licence and what this program does not do."),
)

SEPARATOR = "-"
# Names of commands; a name with ">" is a menu of its own, "-" a line.
MENUS = {
    "&File": "new open >recent sample - save save_as - save_part place_part - import_body measured_body - "
    "export >paper - quit",
    "&Edit": "undo redo - take_snapshot - rename delete - select_all select_nodes select_chain "
    "select_connected - lock isolate",
    "&Tube": "tool_select tool_tube tool_follow tool_node tool_split tool_measure - guides >new_stock "
    ">stock restock - >arrange both_sides mirror release_twins reverse add_corner remove_corner "
    "stand_off ride split_here split_sleeve sleeve join_nodes free_end",
    "&Body": "import_body measured_body - start_cage - place_body change_measurements - split_panel "
    "join_panels - hide show_all leave_out - open_panel trim_panels write_cuts - add_axle duplicate_axle - "
    "tool_reference >references >zones access move_zone aid_other_side",
    "&Check": "check_now next_finding previous_finding - limits rack trial_bends",
    "&View": "fit fly_to >look parallel grid figure show_measures - fainter denser >section >wheels "
    ">colour - fold_job fold_selection fold_below view_alone - findings schedule measures versions "
    "cross_section start_page",
    "&Settings": ">units >theme safe_graphics",
    "&Help": "keys tour log about",
}
SUBMENUS = {
    "recent": ("Open &recent", ""),
    "paper": ("&Paper", "paper_a4 paper_letter"),
    "new_stock": ("Stock for &new tubes", ""),
    "stock": ("Change &stock", ""),
    "arrange": (
        "Arrang&e",
        "straighten flatten_best flatten_upright flatten_level flatten_lengthwise flatten_across - "
        "align_height align_station align_side align_line space_evenly - "
        "merge_tubes swap_through round_bends_1 round_bends_5 round_bends_15",
    ),
    "look": ("&Look", "look_front look_back look_left look_right look_top look_bottom look_corner"),
    "section": ("&Section", "section_off section_x section_y section_z - section_back section_on"),
    "wheels": ("W&heels", "show_wheels show_swept show_no_wheels"),
    "colour": ("Colo&ur of tubes", "colour_bands colour_ramp colour_sides colour_plain"),
    "references": ("Usual l&imits", "reference_ground reference_height reference_width reference_trailer"),
    "zones": ("Access &zone", " ".join(f"zone_{purpose.replace(' ', '_')}" for purpose in ZONE_WORDS)),
    "units": ("&Units", "units_mm units_in units_8 units_16 units_32"),
    "theme": ("&Light or dark", "theme_system theme_light theme_dark"),
}
TOOLBAR = (
    "open save undo redo - tool_select tool_tube tool_follow tool_node tool_split tool_measure - "
    "both_sides mirror hide fit - check_now export"
)
TOOLS: tuple[str, ...] = (
    "tool_select",
    "tool_tube",
    "tool_follow",
    "tool_node",
    "tool_split",
    "tool_measure",
    "tool_reference",
)
ICONS_ALONE = ("open", "save", "undo", "redo", "hide", "fit")  # known from elsewhere; their tips say the rest
SHORT_WORDS = {
    "tool_select": "Select",
    "tool_tube": "Tube",
    "tool_follow": "Along body",
    "tool_node": "Corner",
    "tool_split": "Split",
    "tool_measure": "Measure",
    "both_sides": "Both sides",
    "mirror": "Pair",
    "check_now": "Check",
    "export": "Packet",
}
CONTEXT: tuple[tuple[str, ...], ...] = (
    ("fly_to", "rename"),
    ("mirror", "release_twins", "reverse", "select_nodes", "add_corner", "save_part"),
    ("stand_off", "ride", "split_here", "split_sleeve", "sleeve", "remove_corner", "join_nodes", "free_end"),
    ("select_chain", "select_connected", "restock", "lock", "isolate"),
    ("hide", "leave_out", "split_panel", "join_panels", "place_body", "change_measurements"),
    ("open_panel", "trim_panels", "duplicate_axle"),
    ("move_zone", "aid_other_side"),
    ("delete",),
)
CONTEXT_OF_NOTHING: tuple[tuple[str, ...], ...] = (
    ("tool_tube", "start_cage", "tool_measure", "place_part"),
    ("fit", "show_all", "select_all"),
    ("import_body", "measured_body", "add_axle"),
)


def make_actions(parent: QWidget, slot: Callable[[bool], object]) -> dict[str, QAction]:
    """Return an action for each command; all of them call one slot, which asks who sent it."""
    groups: dict[str, QActionGroup] = {}
    made: dict[str, QAction] = {}
    for command in COMMANDS:
        action = QAction(command.text, parent)
        action.setObjectName(command.name)
        action.setIconText(SHORT_WORDS.get(command.name, plain_text(command)))
        if command.key:
            action.setShortcut(QKeySequence(command.key))
        action.setToolTip(tip_text(command))
        action.setCheckable(command.is_switch or bool(command.choice))
        if command.choice:
            if command.choice not in groups:
                groups[command.choice] = QActionGroup(parent)
            groups[command.choice].addAction(action)
        action.triggered.connect(slot)
        made[command.name] = action
    parent.addActions(list(made.values()))
    return made


def tip_text(command: Command) -> str:
    """What the command does, with its key behind it."""
    return f"{command.tip}  ({command.key})" if command.key else command.tip


def plain_text(command: Command) -> str:
    """The command's words without mnemonics and dots."""
    return command.text.replace("&", "").rstrip("…")


def by_menu() -> list[tuple[str, list[Command]]]:
    """Return the commands as the menus group them, each submenu behind its menu."""
    known = {command.name: command for command in COMMANDS}
    groups: list[tuple[str, list[Command]]] = []
    for title, entries in MENUS.items():
        names = [entry for entry in entries.split() if entry != SEPARATOR]
        menu = title.replace("&", "")
        groups.append((menu, [known[name] for name in names if name[0] != ">"]))
        for inner, text in (SUBMENUS[name[1:]] for name in names if name[0] == ">"):
            found = [known[name] for name in text.split() if name != SEPARATOR]
            groups.append((f"{menu}: {inner.replace('&', '')}", found))
    return [(title, commands) for title, commands in groups if commands]


def fill_menus(bar: QMenuBar, made: Mapping[str, QAction]) -> dict[str, QMenu]:
    """Build the menus; returns the submenus by name, so that lists can be filled in later."""
    submenus: dict[str, QMenu] = {}
    for title, entries in MENUS.items():
        _fill(bar.addMenu(title), entries, made, submenus)
    return submenus


def _fill(menu: QMenu, entries: str, made: Mapping[str, QAction], submenus: dict[str, QMenu]) -> None:
    menu.setToolTipsVisible(True)
    for entry in entries.split():
        if entry == SEPARATOR:
            menu.addSeparator()
        elif entry.startswith(">"):
            title, inner = SUBMENUS[entry[1:]]
            submenus[entry[1:]] = menu.addMenu(title)
            _fill(submenus[entry[1:]], inner, made, submenus)
        else:
            menu.addAction(made[entry])

"""What tubes and panels say of other panels, kept true while panels come and go."""

from collections.abc import Mapping, Set

from msgspec.structs import replace

from geometry.layout import Layout, Mesh, Panel, Tube


def without(layout: Layout, gone: Set[int]) -> Layout:
    """Return the layout without some panels, and without what others say of them."""
    if not gone:
        return layout
    left = {id: panel for id, panel in layout.panels.items() if id not in gone}
    return pointed(replace(layout, panels=left), dict.fromkeys(gone))


def pointed(layout: Layout, instead: Mapping[int, int | None]) -> Layout:
    """Return the layout with what is said of some panels said of others, or of none."""
    tubes = {id: _tube(tube, instead) for id, tube in layout.tubes.items()}
    panels = {id: _panel(panel, instead) for id, panel in layout.panels.items()}
    same_tubes = all(tubes[id] is tube for id, tube in layout.tubes.items())
    same_panels = all(panels[id] is panel for id, panel in layout.panels.items())
    return replace(
        layout,
        tubes=layout.tubes if same_tubes else tubes,
        panels=layout.panels if same_panels else panels,
    )


def remade(panel: Panel, mesh: Mesh) -> Panel:
    """Return a panel with another mesh; what was trimmed off the old one says nothing of it."""
    return replace(panel, mesh=mesh, trim=None)


def _tube(tube: Tube, instead: Mapping[int, int | None]) -> Tube:
    if not any(weld.panel in instead for weld in tube.welds):
        return tube
    welds = []
    for weld in tube.welds:
        panel = instead.get(weld.panel, weld.panel)
        if panel is not None:
            welds.append(replace(weld, panel=panel))
    return replace(tube, welds=tuple(dict.fromkeys(welds)))


def _panel(panel: Panel, instead: Mapping[int, int | None]) -> Panel:
    if panel.moves_with is None or panel.moves_with not in instead:
        return panel
    carrier = instead[panel.moves_with]
    return replace(panel, moves_with=None if carrier == panel.id else carrier)

"""Another version's tubes: pale and dashed beside those of the layout, in one actor. Needs no Qt."""

import numpy as np
from vtkmodules.vtkCommonDataModel import vtkPolyData
from vtkmodules.vtkRenderingCore import vtkRenderer

from app.viewport import actors, colours, shapes
from app.viewport.colours import Theme, rgb
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.tube.centreline import Centreline

DASH, RING = 60.0, 15.0  # mm: as long as the gap after it; at most between two rings
SLIMMER = 0.97  # so that a tube that is the same hides its ghost
SIDES = 12
PALENESS, OPACITY = 0.25, 0.85


class Ghosts:
    """Draws the tubes of one other layout, or none."""

    def __init__(self, renderer: vtkRenderer, theme: Theme) -> None:
        self.actor = actors.plain_actor()
        self.actor.SetVisibility(False)
        self.actor.PickableOff()
        self.actor.GetProperty().SetOpacity(OPACITY)
        renderer.AddActor(self.actor)
        self.set_theme(theme)

    @property
    def is_shown(self) -> bool:
        return bool(self.actor.GetVisibility())

    def set_theme(self, theme: Theme) -> None:
        self.actor.GetProperty().SetColor(*rgb(colours.mixed(theme.reference, theme.sky, PALENESS)))

    def show(self, layout: Layout | None) -> None:
        """Draw the tubes of a layout; None takes them away."""
        tubes = () if layout is None else layout.tubes.values()
        parts = [
            dashed(centreline.of(layout, tube), SLIMMER * layout.stocks[tube.stock].od / 2.0)
            for tube in tubes
            if layout is not None
        ]
        self.actor.SetVisibility(bool(parts))
        if parts:
            actors.set_surface(self.actor, shapes.joined(parts))
        else:
            self.actor.GetMapper().SetInputData(vtkPolyData())


def dashed(line: Centreline, radius: float) -> shapes.Surface:
    """Return a tube in dashes; the first begins at its start."""
    points, directions, stations = centreline.sample(line, sagitta=0.5, longest=RING)
    skin = shapes.sweep(points, directions, radius, SIDES)
    between = 0.5 * (stations[:-1] + stations[1:])
    is_dash = np.floor(between / DASH) % 2 == 0
    kept = np.repeat(is_dash, 2 * SIDES)
    caps = np.ones(len(skin.triangles) - len(kept), dtype=bool)
    caps[len(caps) // 2 :] = is_dash[-1]
    return shapes.Surface(skin.points, skin.normals, skin.triangles[np.concatenate((kept, caps))])

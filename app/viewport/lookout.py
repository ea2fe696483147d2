"""What can be pointed at now: kept until layout, camera, body or section change. Imports no Qt."""

from app.viewport import picking
from app.viewport.camera import Camera, Size
from app.viewport.placing import Outlook
from app.viewport.scene import Cut
from app.viewport.surface import Surface
from geometry.layout import Layout
from geometry.vectors import Vec3

SEE_THROUGH = 0.85  # below this opacity what lies behind the metal can be picked
INVISIBLE = 0.02
MOST_ASKED = 60  # nodes that may be asked for in each frame of a moving camera whether metal hides them


class Lookout:
    """Keeps the last outlook and the body's surfaces, and renews only what changed."""

    def __init__(self) -> None:
        self._opacity = 1.0
        self._cut: Cut | None = None
        self._shows_wheels = True
        self._outlook: Outlook | None = None
        self._surfaces: tuple[object, Surface, Surface] | None = None
        self._turn = 0

    def set_opacity(self, opacity: float) -> None:
        self._opacity = opacity
        self._outlook = self._surfaces = None

    def set_cut(self, cut: Cut | None) -> None:
        self._cut = cut
        self._outlook = None

    def set_wheels(self, are_shown: bool) -> None:
        self._shows_wheels = are_shown
        self._outlook = None

    def forget(self) -> None:
        """Ask everything anew."""
        self._outlook = None

    def over(self, layout: Layout, camera: Camera, size: Size, is_moving: bool) -> Outlook:
        """Return the outlook on a layout from a camera."""
        known = self._outlook
        if known is not None:
            sight = known.sight
            if sight.layout is layout and sight.camera is camera and sight.size == size:
                return known
        shown, solid = self._body_surfaces(layout)
        sight = picking.look(layout, camera, size)
        seen = self._seen_before(known, shown, camera, size, is_moving)
        sees_through = self._opacity < SEE_THROUGH
        self._outlook = Outlook(sight, shown, solid, self._cut, sees_through, seen, self._shows_wheels)
        return self._outlook

    def _seen_before(
        self, known: Outlook | None, shown: Surface, camera: Camera, size: Size, is_moving: bool
    ) -> dict[tuple[Vec3, float], bool]:
        """Return what is known to be hidden: all of it under the same camera, most of it while that moves."""
        if known is None or known.shown is not shown or known.cut != self._cut:
            return {}
        if known.sight.camera is camera and known.sight.size == size:
            return known.seen
        if is_moving and len(known.seen) > MOST_ASKED:
            # A frame asks anew for a quarter only, in turn; after the last move all are asked.
            self._turn = (self._turn + 1) % 4
            return {key: seen for i, (key, seen) in enumerate(known.seen.items()) if i % 4 != self._turn}
        return {}

    def _body_surfaces(self, layout: Layout) -> tuple[Surface, Surface]:
        """Return the metal that can be pointed at, and all the metal; rebuilt only when it changed."""
        is_drawn = self._opacity > INVISIBLE
        solid = [panel for panel in layout.panels.values() if panel.kept]
        shown = [panel for panel in solid if panel.shown] if is_drawn else []
        key = (tuple((p.id, id(p.mesh), p.shown, layout.bodies[p.body].placement) for p in solid), is_drawn)
        if self._surfaces is None or self._surfaces[0] != key:
            whole = Surface(layout, solid)
            seen = whole if len(shown) == len(solid) else Surface(layout, shown)
            self._surfaces = (key, seen, whole)
        return self._surfaces[1], self._surfaces[2]

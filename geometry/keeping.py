"""What stays true whatever is edited: the session passes every new layout through here."""

from geometry import symmetry
from geometry.layout import Layout


def kept(before: Layout, after: Layout) -> Layout:
    """Return an edited layout with everything that follows what was edited; `before` is the recorded one."""
    return symmetry.followed(before, after)

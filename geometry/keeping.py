"""What stays true whatever is edited: the session passes every new layout through here."""

from geometry import snapshots, symmetry
from geometry.layout import Layout
from geometry.measuring import kept as measures


def kept(before: Layout, after: Layout) -> Layout:
    """Return an edited layout with everything that follows what was edited; `before` is the recorded one."""
    if snapshots.is_of_a_snapshot(after, before.snapshots):
        return after
    return measures.followed(before, symmetry.followed(before, after))

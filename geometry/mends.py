"""Do what a finding proposes: the change behind the button."""

from geometry.checks.finding import Mend
from geometry.layout import Layout


def mended(layout: Layout, mend: Mend) -> Layout:
    """Return the layout with a mend made, or refuse with a sentence where it no longer applies."""
    raise NotImplementedError

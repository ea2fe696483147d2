"""Whether what was said of a joint still holds."""

from collections.abc import Iterator

from geometry import refusals
from geometry.checks.finding import Finding
from geometry.errors import GeometryError
from geometry.layout import Layout


def findings(layout: Layout) -> Iterator[Finding]:
    """Yield the sleeves that no longer fit the tubes that meet over them."""
    for node in layout.nodes.values():
        if not node.sleeve:
            continue
        try:
            refusals.checked_sleeve(layout, node)
        except GeometryError as error:
            yield Finding(
                rule="joint.sleeve",
                severity="warning",
                message="A sleeve no longer fits where it was put: {why} Mend that, or take the sleeve out.",
                nodes=(node.id,),
                at=node.position,
                words={"why": error.message},
            )

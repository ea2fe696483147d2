"""A flat drawing of lines with numbered places, fitted into a page. Imports no Qt."""

from msgspec import Struct

from app.export.drawing import Disc, Mark, Stroke, Words

Xy = tuple[float, float]
DISC = 7.0  # points; the radius of a number's ring
EDGE = 12.0  # points kept free round the drawing


class Line(Struct, frozen=True):
    """A line of the drawing, in its own units."""

    points: tuple[Xy, ...]
    width: float = 0.6
    dash: tuple[float, ...] = ()


class Plan(Struct, frozen=True):
    """Lines and numbered places; y runs up."""

    lines: tuple[Line, ...]
    numbers: tuple[tuple[int, Xy], ...] = ()
    words: tuple[tuple[str, Xy], ...] = ()
    height: float = 230.0  # points, at most


def drawn(plan: Plan, width: float) -> tuple[tuple[Mark, ...], float]:
    """Return the plan as marks from the origin up, fitted into a width, and the height it takes."""
    every = [point for line in plan.lines for point in line.points]
    if not every:
        return (), 0.0
    low = tuple(min(point[axis] for point in every) for axis in (0, 1))
    size = [max(max(point[axis] for point in every) - low[axis], 1e-6) for axis in (0, 1)]
    scale = min((width - 2.0 * EDGE) / size[0], (plan.height - 2.0 * EDGE) / size[1])
    left = (width - scale * size[0]) / 2.0

    def at(point: Xy) -> Xy:
        return (left + scale * (point[0] - low[0]), EDGE + scale * (point[1] - low[1]))

    marks: list[Mark] = [
        Stroke(tuple(at(point) for point in line.points), line.width, 0.0, line.dash) for line in plan.lines
    ]
    for number, place in plan.numbers:
        marks += [Disc(at(place), DISC), Words(at(place), str(number), 8.0, True)]
    marks += [Words(at(place), text, 9.0, False) for text, place in plan.words]
    return tuple(marks), scale * size[1] + 2.0 * EDGE

"""What the benchmarks share: sixty tubes round a scanned body of a million triangles in ten panels."""

import math
import time
from collections.abc import Callable
from contextlib import AbstractContextManager
from statistics import median

import numpy as np
import pytest
from msgspec import Struct
from msgspec.structs import replace

from geometry.body import distance
from geometry.body.distance import BodyIndex, PanelIndex
from geometry.layout import Body, Die, Layout, Mesh, Node, Panel, Stock, Tube
from geometry.tube.stock import starting_bender
from geometry.vectors import Floats

ALONG, ROUND = 1000, 500  # squares of two triangles along the body and round it
FRONT, BACK = 800.0, -2800.0
SCAN_NOISE = 0.3


class BigJob(Struct, frozen=True, eq=False):
    """A layout with its index, and a node where three tubes meet."""

    layout: Layout
    index: BodyIndex
    joint: int

    @property
    def at_joint(self) -> frozenset[int]:
        return frozenset(id for id, tube in self.layout.tubes.items() if self.joint in tube.nodes)

    def dragged(self, up: float) -> Layout:
        """Return the layout with the joint moved up."""
        x, y, z = self.layout.nodes[self.joint].position
        moved = Node(self.joint, (x, y, z + up))
        return replace(self.layout, nodes={**self.layout.nodes, self.joint: moved})

    def moved(self, along: float) -> Layout:
        """Return the layout with every other node moved along the car."""
        nodes = {
            id: replace(node, position=(node.position[0] + along * (id % 2), *node.position[1:]))
            for id, node in self.layout.nodes.items()
        }
        return replace(self.layout, nodes=nodes)

    def bare_queries(self, work: Callable[[], object]) -> tuple[int, Callable[[], object]]:
        """Return how many nearest points work asks for, and what asks for the same ones and nothing else."""
        asked: list[tuple[PanelIndex, Floats]] = []
        inner = PanelIndex.closest

        def noted(panel: PanelIndex, points: Floats) -> object:
            asked.append((panel, np.array(points)))
            return inner(panel, points)

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(PanelIndex, "closest", noted)
            work()
        return sum(len(points) for _, points in asked), lambda: [inner(*query) for query in asked]


@pytest.fixture(scope="session")
def big_job() -> BigJob:
    layout, joint = _cage()
    return BigJob(layout, distance.build(layout), joint)


@pytest.fixture(scope="session")
def scene() -> Callable[..., BigJob]:
    """Return jobs of another size, without their index: so many triangles, so many tubes."""

    def made(triangles: int = 1_000_000, tubes: int = 60) -> BigJob:
        part = math.sqrt(triangles / 1_000_000)
        layout, joint = _cage(max(int(ALONG * part), 10), max(int(ROUND * part), 4), tubes)
        return BigJob(layout, {}, joint)

    return made


@pytest.fixture(scope="session")
def seconds() -> Callable[[Callable[[], object]], float]:
    """Return the median time that work takes."""

    def measured(work: Callable[[], object], times: int = 9) -> float:
        spent = []
        for _ in range(times):
            start = time.perf_counter()
            work()
            spent.append(time.perf_counter() - start)
        return median(spent)

    return measured


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str]) -> Callable[[str], None]:
    """Print past pytest's capture."""

    def printed(line: str) -> None:
        shown: AbstractContextManager[None] = capsys.disabled()
        with shown:
            print(f"\n{line}", end="")

    return printed


def _cage(along: int = ALONG, around: int = ROUND, count: int = 60) -> tuple[Layout, int]:
    """Return the layout and the node of the three-tube joint."""
    runs = [
        *(_lengthwise(number) for number in range(24)),
        *(_hoop(number) for number in range(16)),
        *_short(np.random.default_rng(2), max(count - 42, 18)),
    ][: count - 2]
    nodes: dict[int, Node] = {}
    tubes: dict[int, Tube] = {}
    for run in runs:
        _lay(nodes, tubes, [_noded(nodes, point) for point in run])
    # Two tubes more end on the second corner of the first one.
    joint = tubes[min(tubes)].nodes[2]
    for turn in (0.3, -0.3):
        far = _skin(np.array([-1400.0]), np.array([0.13 + turn]), 65.0)[0]
        _lay(nodes, tubes, [joint, _noded(nodes, far)])
    panels = {
        10 + number: Panel(10 + number, f"panel {number}", 3, mesh)
        for number, mesh in enumerate(_body(along, around))
    }
    layout = Layout(
        nodes=nodes,
        tubes=tubes,
        stocks={1: Stock(1, "44.45 x 2.41", 44.45, 2.41)},
        dies={2: Die(2, "152 former", 44.45, 152.4, bender=4)},
        benders={4: starting_bender(4)},
        bodies={3: Body(3, "scan")},
        panels=panels,
    )
    return layout, joint


def _noded(nodes: dict[int, Node], point: Floats) -> int:
    id = 1000 + len(nodes)
    nodes[id] = Node(id, tuple(point.tolist()))
    return id


def _lay(nodes: dict[int, Node], tubes: dict[int, Tube], run: list[int]) -> None:
    id = 100 + len(tubes)
    tubes[id] = Tube(id, f"T{len(tubes) + 1}", tuple(run), 1)


def _lengthwise(number: int) -> Floats:
    start = BACK + 100.0 + (number // 12) * 1700.0
    return _skin(
        np.linspace(start, start + 1600.0, 5), np.full(5, 0.13 + math.pi * (number % 12) / 6.0), 62.0
    )


def _hoop(number: int) -> Floats:
    return _skin(np.full(7, BACK + 200.0 + 3200.0 * number / 15.0), np.linspace(0.1, math.pi - 0.1, 7), 75.0)


def _short(random: np.random.Generator, count: int) -> list[Floats]:
    starts = random.uniform((BACK + 200.0, 0.0), (FRONT - 300.0, 2.0 * math.pi), (count, 2))
    return [_skin(np.array([x, x + 250.0]), np.array([angle, angle + 0.35]), 70.0) for x, angle in starts]


def _skin(x: Floats, angle: Floats, out: float = 0.0) -> Floats:
    """Return points (..., 3) on a rounded box that tapers to both ends, or that far out of it."""
    taper = 1.0 - 0.35 * np.clip((np.abs(x + 1000.0) - 900.0) / 900.0, 0.0, 1.0) ** 2
    cos, sin = np.cos(angle), np.sin(angle)
    y = (800.0 * taper + out) * np.sign(cos) * np.sqrt(np.abs(cos))
    z = 900.0 + (600.0 * taper + out) * np.sign(sin) * np.sqrt(np.abs(sin))
    return np.stack(np.broadcast_arrays(x, y, z), axis=-1)


def _body(along: int, around: int) -> list[Mesh]:
    """Return five lengths of a rippled, noisy skin, each in two halves."""
    x, angle = np.linspace(BACK, FRONT, along + 1), np.linspace(0.0, 2.0 * math.pi, around + 1)[:-1]
    skin = _skin(x[:, None], angle[None, :])
    ripple = 8.0 * np.sin(skin[..., :1] / 90.0) * np.cos(skin[..., 2:] / 70.0)
    skin = (
        skin + ripple * np.array([0.0, 1.0, 1.0]) + np.random.default_rng(1).normal(0, SCAN_NOISE, skin.shape)
    )
    return [
        _patch(skin[np.ix_(rows, columns % around)])
        for rows in (np.arange(i * along // 5, (i + 1) * along // 5 + 1) for i in range(5))
        for columns in (np.arange(i * around // 2, (i + 1) * around // 2 + 1) for i in range(2))
    ]


def _patch(points: Floats) -> Mesh:
    grid = np.arange(points.shape[0] * points.shape[1]).reshape(points.shape[:2])
    a, b, c, d = (part.ravel() for part in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return Mesh(points.reshape(-1, 3), triangles.astype(np.int32))

"""Snapshots: the layout as it was, kept under a name within the job, and the way back to it."""

from typing import Any

import msgspec
from msgspec.structs import fields, replace

from geometry import naming
from geometry.errors import GeometryError
from geometry.layout import Layout, Mesh, Panel, Snapshot, TrialBend

TABLES = tuple(each.name for each in fields(Layout) if isinstance(getattr(Layout(), each.name), dict))
THINGS = tuple(name for name in TABLES if name != "snapshots")
# What is of the job rather than of one version of its layout.
OF_THE_JOB = ("name", "next_id", "trials", "snapshots")
COMPARED = tuple(each.name for each in fields(Layout) if each.name not in OF_THE_JOB)


def take(layout: Layout, name: str, made: str) -> tuple[Layout, int]:
    """Keep the layout as it is under a name; it shares everything with the layout, nothing is copied."""
    id = layout.next_id
    kept = Snapshot(id, naming.checked(name), made, bare(layout))
    return replace(layout, next_id=id + 1, snapshots={**layout.snapshots, id: kept}), id


def rename(layout: Layout, id: int, name: str) -> Layout:
    """Give a snapshot another name."""
    kept, name = known(layout, id), naming.checked(name)
    if kept.name == name:
        return layout
    return replace(layout, snapshots={**layout.snapshots, id: replace(kept, name=name)})


def delete(layout: Layout, id: int) -> Layout:
    """Forget a snapshot."""
    known(layout, id)
    return replace(layout, snapshots={key: each for key, each in layout.snapshots.items() if key != id})


def returned(layout: Layout, id: int) -> Layout:
    """Return the layout as it was at a snapshot; all snapshots stay, and so does what is of the job.

    Ids go on from the layout's, so one given out since then never names anything else. Trial bends
    are measured facts: those made since stay too, where their die and stock are known to the snapshot.
    """
    then = known(layout, id).layout
    return replace(
        then,
        name=layout.name,
        next_id=layout.next_id,
        trials=_trials(layout, then),
        snapshots=layout.snapshots,
    )


def bare(layout: Layout) -> Layout:
    """Return the layout without its snapshots."""
    return replace(layout, snapshots={}) if layout.snapshots else layout


def known(layout: Layout, id: int) -> Snapshot:
    """Return a snapshot, or refuse in words."""
    if id not in layout.snapshots:
        raise GeometryError("This snapshot is no longer in the job.", (id,))
    return layout.snapshots[id]


def is_of_a_snapshot(layout: Layout, snapshots: dict[int, Snapshot]) -> bool:
    """Say whether a layout is one of the snapshots, taken back as a whole: nothing has to follow an edit."""
    return any(
        all(getattr(layout, name) is getattr(kept.layout, name) for name in COMPARED)
        for kept in snapshots.values()
    )


def free_name(layout: Layout) -> str:
    """Propose a name that no snapshot has."""
    taken = {each.name for each in layout.snapshots.values()}
    number = len(taken) + 1
    while f"Version {number}" in taken:
        number += 1
    return f"Version {number}"


def sharing(layout: Layout) -> Layout:
    """Return the same layout in which what snapshots have in common is one object, as when they were taken.

    Reading a file makes each anew; views and checks take what is the same object for unchanged.
    """
    if not layout.snapshots:
        return layout
    pool = _Pool()
    for name in THINGS:
        for id, thing in getattr(layout, name).items():
            pool.one_of(name, id, thing)
    snapshots = {
        id: replace(kept, layout=_shared(kept.layout, layout, pool)) for id, kept in layout.snapshots.items()
    }
    return replace(layout, snapshots=snapshots)


def _trials(now: Layout, then: Layout) -> dict[int, TrialBend]:
    since = {
        id: trial for id, trial in now.trials.items() if trial.die in then.dies and trial.stock in then.stocks
    }
    return then.trials if since.keys() <= then.trials.keys() else {**then.trials, **since}


class _Pool:
    """The things that were seen, by what they are to the last digit."""

    def __init__(self) -> None:
        self._things: dict[tuple[str, int, bytes], Any] = {}
        self._meshes: dict[tuple[int, int], Mesh] = {}

    def one_of(self, name: str, id: int, thing: Any) -> Any:
        """Return the first thing seen that is the same in every respect."""
        key = (name, id, _likeness(thing))
        if key not in self._things:
            self._things[key] = self._with_seen_meshes(thing) if isinstance(thing, Panel) else thing
        return self._things[key]

    def _with_seen_meshes(self, panel: Panel) -> Panel:
        mesh = self._mesh(panel.mesh)
        trim = panel.trim
        if trim is not None and (whole := self._mesh(trim.whole)) is not trim.whole:
            trim = replace(trim, whole=whole)
        is_same = mesh is panel.mesh and trim is panel.trim
        return panel if is_same else replace(panel, mesh=mesh, trim=trim)

    def _mesh(self, mesh: Mesh) -> Mesh:
        return self._meshes.setdefault((id(mesh.vertices), id(mesh.triangles)), mesh)


def _shared(inner: Layout, outer: Layout, pool: _Pool) -> Layout:
    tables = {}
    for name in THINGS:
        table = {id: pool.one_of(name, id, thing) for id, thing in getattr(inner, name).items()}
        other = getattr(outer, name)
        tables[name] = other if _is_same_table(table, other) else table
    is_same = _likeness(inner.limits) == _likeness(outer.limits)
    return replace(inner, limits=outer.limits if is_same else inner.limits, **tables)


def _is_same_table(one: dict[int, Any], other: dict[int, Any]) -> bool:
    return list(one) == list(other) and all(one[id] is other[id] for id in one)


def _likeness(thing: Any) -> bytes:
    """Return what tells a thing from one that differs anywhere, be it in the sign of a zero."""
    return msgspec.json.encode(thing, enc_hook=id)

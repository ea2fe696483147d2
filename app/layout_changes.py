"""What of a layout is new since another one: all that has to travel to a process that holds the other."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.layout import Layout, Limits, Mesh, Panel

TABLES = (
    *("nodes", "tubes", "bodies", "panels", "stocks", "dies", "benders", "trials", "axles"),
    *("references", "zones"),
)  # by id
NO_TRIANGLES = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))


class TableChange(Struct, frozen=True, eq=False):
    """The entries that are new or other than before, and the ids that are gone."""

    entries: dict[int, Any]
    gone: tuple[int, ...]


class Change(Struct, frozen=True, eq=False):
    """From one layout to the next; panels travel without their triangles, which `meshes` names by key."""

    tables: dict[str, TableChange]
    limits: Limits
    meshes: dict[int, int]  # by panel id


def between(before: Layout, after: Layout, key_of: Callable[[Mesh], int]) -> Change:
    """Return what leads from one layout to the other; entries are compared by identity."""
    tables = {name: _table_change(getattr(before, name), getattr(after, name)) for name in TABLES}
    panels = tables["panels"].entries
    meshes = {id: key_of(panel.mesh) for id, panel in panels.items()}
    light = {id: _without_triangles(panel) for id, panel in panels.items()}
    tables["panels"] = TableChange(light, tables["panels"].gone)
    changed = {name: change for name, change in tables.items() if change.entries or change.gone}
    return Change(changed, after.limits, meshes)


def applied(before: Layout, change: Change, mesh_of: Mapping[int, Mesh]) -> Layout:
    """Return the layout that a change leads to; what did not change stays the same object."""
    tables = {name: _applied(getattr(before, name), table) for name, table in change.tables.items()}
    if change.meshes:
        tables["panels"] |= {
            id: _with_mesh(tables["panels"][id], mesh_of[key]) for id, key in change.meshes.items()
        }
    limits = before.limits if before.limits == change.limits else change.limits
    return replace(before, limits=limits, **tables)


def _table_change(before: dict[int, Any], after: dict[int, Any]) -> TableChange:
    if before is after:
        return TableChange({}, ())
    entries = {id: entry for id, entry in after.items() if before.get(id) is not entry}
    return TableChange(entries, tuple(id for id in before if id not in after))


def _applied(table: dict[int, Any], change: TableChange) -> dict[int, Any]:
    left = {id: entry for id, entry in table.items() if id not in change.gone}
    return left | change.entries


def _without_triangles(panel: Panel) -> Panel:
    """Return the panel as it travels; what it was before it was trimmed stays behind."""
    trim = panel.trim and replace(panel.trim, whole=NO_TRIANGLES)
    return replace(panel, mesh=NO_TRIANGLES, trim=trim)


def _with_mesh(panel: Panel, mesh: Mesh) -> Panel:
    return replace(panel, mesh=mesh)

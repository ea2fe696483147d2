"""The shop's rack as a layout holds it: changes of tube sizes, dies, benders and trial bends.

Like `edits`, each function goes from layout to layout and refuses with a sentence what cannot be kept.
"""

from msgspec.structs import replace

from geometry import edits, naming, refusals
from geometry.errors import GeometryError
from geometry.layout import Bender, Die, Layout, Stock, TrialBend
from geometry.tolerances import SAME_POINT
from geometry.tube import bending, stock

MOST_NAMED = 3  # dies in one sentence


def with_starting_rack(layout: Layout) -> Layout:
    """Add the common tube sizes and dies, and one bender that the dies are used in."""
    stocks, dies, id = stock.starting_rack(layout.next_id)
    return replace(
        layout,
        stocks={**layout.stocks, **stocks},
        dies={**layout.dies, **{die.id: replace(die, bender=id) for die in dies.values()}},
        benders={**layout.benders, id: stock.starting_bender(id)},
        next_id=id + 1,
    )


def add_stock(layout: Layout, new: Stock) -> tuple[Layout, int]:
    """Add a tube size under a fresh id."""
    id = layout.next_id
    row = replace(refusals.checked_stock(new), id=id)
    return replace(layout, stocks={**layout.stocks, id: row}, next_id=id + 1), id


def replace_stock(layout: Layout, changed: Stock) -> Layout:
    """Change a tube size; tubes made of it follow, and let go of dies of another OD."""
    before = edits.known_stock(layout, changed.id)
    if abs(before.od - changed.od) > SAME_POINT:
        _refuse_with_trials(layout, before, "keep its diameter")
    after = replace(layout, stocks={**layout.stocks, changed.id: refusals.checked_stock(changed)})
    tubes = {
        tube.id: edits.fitted(layout, tube, changed)
        for tube in layout.tubes.values()
        if tube.stock == changed.id
    }
    return edits.settled(layout, edits.with_tubes(after, tubes))


def remove_stock(layout: Layout, id: int) -> Layout:
    """Take a tube size off the rack; refused while a tube is made of it."""
    gone = edits.known_stock(layout, id)
    users = [tube for tube in layout.tubes.values() if tube.stock == id]
    if users:
        raise GeometryError(
            f"{gone.name} is used by {naming.listed(users)}; give them another stock first.",
            [tube.id for tube in users],
        )
    _refuse_with_trials(layout, gone, "keep it")
    return replace(layout, stocks=edits.without(layout.stocks, {id}))


def add_die(layout: Layout, new: Die) -> tuple[Layout, int]:
    """Add a die under a fresh id."""
    id = layout.next_id
    after = replace(
        layout, dies={**layout.dies, id: replace(refusals.checked_die(new), id=id)}, next_id=id + 1
    )
    return edits.settled(layout, after), id


def replace_die(layout: Layout, changed: Die) -> Layout:
    """Change a die; refused where its OD would no longer fit a tube that chose it."""
    if changed.id not in layout.dies:
        raise GeometryError("This die is no longer in the rack.", (changed.id,))
    refusals.checked_die(changed)
    if abs(layout.dies[changed.id].od - changed.od) > SAME_POINT:
        _refuse_with_trials(layout, layout.dies[changed.id], "keep its diameter")
    misfits = [
        tube
        for tube in layout.tubes.values()
        if tube.die == changed.id and not bending.is_for(changed, layout.stocks[tube.stock])
    ]
    if misfits:
        raise GeometryError(
            f"{changed.name} bends {naming.listed(misfits)} of another diameter; give them another die.",
            [tube.id for tube in misfits],
        )
    return edits.settled(layout, replace(layout, dies={**layout.dies, changed.id: changed}))


def remove_die(layout: Layout, id: int) -> Layout:
    """Take a die off the rack; refused while a tube has chosen it."""
    if id not in layout.dies:
        raise GeometryError("This die is no longer in the rack.", (id,))
    users = [tube for tube in layout.tubes.values() if tube.die == id]
    if users:
        raise GeometryError(
            f"{layout.dies[id].name} is used by {naming.listed(users)}; give them another die first.",
            [tube.id for tube in users],
        )
    _refuse_with_trials(layout, layout.dies[id], "keep it")
    return edits.settled(layout, replace(layout, dies=edits.without(layout.dies, {id})))


def add_bender(layout: Layout, new: Bender) -> tuple[Layout, int]:
    """Add a machine under a fresh id."""
    id = layout.next_id
    row = replace(refusals.checked_bender(new), id=id)
    return replace(layout, benders={**layout.benders, id: row}, next_id=id + 1), id


def replace_bender(layout: Layout, changed: Bender) -> Layout:
    """Change a machine."""
    if changed.id not in layout.benders:
        raise GeometryError("This bender is no longer in the rack.", (changed.id,))
    return replace(layout, benders={**layout.benders, changed.id: refusals.checked_bender(changed)})


def remove_bender(layout: Layout, id: int) -> Layout:
    """Take a machine off the rack; refused while a die is used in it."""
    if id not in layout.benders:
        raise GeometryError("This bender is no longer in the rack.", (id,))
    users = [die for die in layout.dies.values() if die.bender == id]
    if users:
        named = "; ".join(die.name for die in users[:MOST_NAMED])
        more = f"; and {len(users) - MOST_NAMED} more" if len(users) > MOST_NAMED else ""
        raise GeometryError(
            f"{layout.benders[id].name} is used by the dies {named}{more}. Give them another bender first.",
            [die.id for die in users],
        )
    return replace(layout, benders=edits.without(layout.benders, {id}))


def add_trial(layout: Layout, new: TrialBend) -> tuple[Layout, int]:
    """Add a trial bend under a fresh id; what it teaches changes the tubes of its die and stock."""
    id = layout.next_id
    row = replace(refusals.checked_trial(layout, new), id=id)
    after = replace(layout, trials={**layout.trials, id: row}, next_id=id + 1)
    return edits.settled(layout, after), id


def replace_trial(layout: Layout, changed: TrialBend) -> Layout:
    """Change what was measured of a trial bend."""
    if changed.id not in layout.trials:
        raise GeometryError("This trial bend is no longer in the job.", (changed.id,))
    row = refusals.checked_trial(layout, changed)
    return edits.settled(layout, replace(layout, trials={**layout.trials, row.id: row}))


def remove_trial(layout: Layout, id: int) -> Layout:
    """Forget a trial bend and what it taught."""
    if id not in layout.trials:
        raise GeometryError("This trial bend is no longer in the job.", (id,))
    return edits.settled(layout, replace(layout, trials=edits.without(layout.trials, {id})))


def _refuse_with_trials(layout: Layout, row: Stock | Die, mend: str) -> None:
    """Refuse what would leave trial bends without their die or tube size."""
    measured = [trial.id for trial in layout.trials.values() if row.id in (trial.die, trial.stock)]
    if measured:
        count = f"{len(measured)} trial bend{'s' if len(measured) > 1 else ''}"
        raise GeometryError(
            f"{row.name} has {count} measured on it; {mend}, or remove the trial bends first.",
            (row.id, *measured),
        )

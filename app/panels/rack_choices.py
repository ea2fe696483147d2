"""What the rack offers, as lists to choose from."""

from geometry.layout import Layout, Stock
from geometry.tube import bending

BEST_DIE = 0  # no id is 0: the rack's best


def stock_choices(layout: Layout) -> list[tuple[int, str]]:
    return [(stock.id, stock.name) for stock in layout.stocks.values()]


def die_choices(layout: Layout, stock: Stock) -> list[tuple[int, str]]:
    """The dies for a stock; the first choice is the rack's best."""
    best = bending.best_die(layout, stock)
    words = f"best: {best.name}" if best is not None else "none in the rack"
    fitting = [(die.id, die.name) for die in layout.dies.values() if bending.is_for(die, stock)]
    return [(BEST_DIE, words), *fitting]

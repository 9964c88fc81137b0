"""What a product does that nobody asked for: the least that serves comes first.

An attribute with a `plain` level counts against a product as far as it goes beyond that level, or
beyond what is asked, in parts of the attribute's tolerance and by its weight `unasked`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from recommend.catalogue.loading import Item
from recommend.match.needs import Active, Floats, NeedTable, in_steps
from recommend.rulebook.comparisons import COMPARISONS


class Unasked:
    """What m products of one kind do beyond what is asked.

    Parameters
    ----------
    table : the needs that can be asked.
    kind : ``shoe`` or ``insole``.
    items : m products.

    Attributes
    ----------
    attributes : the a attributes of the kind that have a plain level.
    levels : (m, a) levels of the products, NaN where not stated.
    """

    def __init__(self, table: NeedTable, kind: str, items: Sequence[Item]) -> None:
        self.table, self.kind, self.items = table, kind, tuple(items)
        self._defs = {
            name: one
            for name, one in table.book.attributes.items()
            if name.startswith(f"{kind}.") and one.plain is not None
        }
        self.attributes = tuple(self._defs)
        rows = [[item.levels.get(name, np.nan) for name in self.attributes] for item in items]
        self.levels = np.array(rows, float).reshape(len(rows), len(self.attributes))
        weights = [table.book.parameters.rank[f"weight-{o.unasked}"] for o in self._defs.values()]
        self.weights = np.array(weights, float)

    def beyond(self, active: Active) -> Floats:
        """How far each goes beyond what is asked, from 0 to 1, shape (g, m, a).

        What is not stated cannot be shown to be plain: it counts as far beyond. What the customer
        has is described as far as anybody could, and nothing more is held against it.
        """
        unknown = np.array([float(item.offered == "shop") for item in self.items])
        shape = (len(active.asked), *self.levels.shape)
        found = np.zeros(shape)
        for a, (name, definition) in enumerate(self._defs.items()):
            low, high = self._asked(name, active)
            level = self.levels[None, :, a]
            over = np.maximum(level - high[:, None], low[:, None] - level)
            part = np.where(np.isnan(over), unknown, over / definition.tolerance).clip(0, 1)
            found[:, :, a] = -in_steps(-part, self.table.book)
        return found

    def _asked(self, name: str, active: Active) -> tuple[Floats, Floats]:
        """From where to where an attribute is plain or asked, shapes (g,) and (g,)."""
        plain = self._defs[name].plain_level
        assert plain is not None
        low, high = np.full((2, len(active.asked)), plain)
        for n, need in enumerate(self.table.needs):
            if need.attribute != name or need.strength == "never":
                continue
            if COMPARISONS[need.comparison].lower:
                high = np.where(active.asked[:, n], np.maximum(high, need.target), high)
            else:
                low = np.where(active.asked[:, n], np.minimum(low, need.target), low)
        return low, high

    def cost(self, active: Active) -> Floats:
        """The weight of it all, shape (g, m); a product where none is asked for counts as well."""
        bought = np.array([item.offered == "shop" for item in self.items], np.bool_)
        weight = self.table.book.parameters.rank.weight_unasked_product
        unasked = ~self.table.asks_more(self.kind, active)[:, None] & bought
        return np.asarray(self.beyond(active) @ self.weights + weight * unasked)

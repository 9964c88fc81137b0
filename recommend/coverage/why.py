"""Why groups of customers are not served: the size, or what the nearest product lacks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from recommend.catalogue.loading import Item
from recommend.catalogue.models import Kind, Product
from recommend.coverage.evaluate import Evaluator, Level, Served, Stand, judged_alone
from recommend.coverage.rows import Array
from recommend.match.needs import NeedTable

Why = Literal["size", "needs", "not-stated", "opposed", "partner", "none", "size-unknown"]
NEW = "new"
AS_MANY = 999  # more attributes than any product can lack


@dataclass(frozen=True, slots=True, order=True)
class Reason:
    """Why some customers are not served.

    Attributes
    ----------
    level : whether even nothing harmless is there, or only nothing that serves well.
    why : ``size`` (something would do, not in their size), ``needs`` (the nearest product lacks
        `what`), ``not-stated`` (it does not state `what`), ``opposed`` (no level of `what` would
        do for both feet), ``partner`` (no shoe and insole go together), ``none`` (no product of
        the kind is sold) or ``size-unknown``.
    what : attributes, such as ``shoe.width``; for want of a size, ``shoe`` and ``insole``.
    """

    level: Level
    why: Why
    what: tuple[str, ...]


def reasons_of(evaluator: Evaluator, served: Served) -> tuple[tuple[Reason, ...], Array]:
    """The reasons that occur, and for each group its place among them; -1 where it is served."""
    found: dict[Reason, int] = {}
    place = np.full(len(served.well), -1)
    lacking: dict[Level, Array] = {
        "harmless": ~served.harmless, "well": served.harmless & ~served.well,
    }  # fmt: skip
    for level, lost in lacking.items():
        groups = np.flatnonzero(lost)
        for part in (groups[s] for s in evaluator.parts(len(groups))):
            for group, reason in zip(part, _of_groups(evaluator, level, part), strict=True):
                place[group] = found.setdefault(reason, len(found))
    return tuple(found), place


def _of_groups(evaluator: Evaluator, level: Level, groups: Array) -> list[Reason]:
    everywhere = evaluator.usable(level, groups, shoes=True, insoles=True).any
    if_shoes = evaluator.usable(level, groups, shoes=True).any
    if_insoles = evaluator.usable(level, groups, insoles=True).any
    kinds, row = np.unique(evaluator.kinds.kind[groups], return_inverse=True)
    nearest = _Nearest(evaluator, level, kinds)
    by_kind = [nearest.reason(n) for n in range(len(kinds))]
    size = evaluator.kinds.sizes[evaluator.kinds.size[groups]]
    out = []
    for n in range(len(groups)):
        if not everywhere[n]:
            out.append(by_kind[row.ravel()[n]])
        elif size[n] == evaluator.classes.unknown:
            out.append(Reason(level, "size-unknown", ()))
        else:
            out.append(Reason(level, "size", _lacks(bool(if_shoes[n]), bool(if_insoles[n]))))
    return out


def _lacks(if_shoes: bool, if_insoles: bool) -> tuple[str, ...]:
    """Which kind is missing in the size; both where neither alone would do."""
    if if_shoes and not if_insoles:
        return ("shoe",)
    return ("insole",) if if_insoles and not if_shoes else ("shoe", "insole")


class _Nearest:
    """What the nearest shoe and the nearest insole lack, for some kinds."""

    def __init__(self, evaluator: Evaluator, level: Level, kinds: Array) -> None:
        self.evaluator, self.level, self.kinds = evaluator, level, kinds
        self.table = evaluator.table
        self._opposites: dict[str, Array] = {}
        self.sold = sorted(evaluator.terms.kinds, reverse=True)  # the shoe first
        self.lacks = {one: self._lacks(one) for one in self.sold}

    def _lacks(self, kind: str) -> list[tuple[str, ...] | None]:
        """By kind of customers, what the nearest product lacks; None where none is sold."""
        items = self.evaluator.made(kind)
        if not items:
            return [None] * len(self.kinds)
        attributes = sorted({need.attribute for need in self.table.needs if
                             need.attribute.startswith(f"{kind}.")})  # fmt: skip
        short = np.array([self._short(kind, name)[:, : len(items)] for name in attributes])
        far = short.sum(axis=0)
        if self.level == "well":  # the nearest of those that do no harm
            far = far + AS_MANY * ~self._harmless(kind)[:, : len(items)]
        nearest = far.argmin(axis=1)
        at = short[:, np.arange(len(self.kinds)), nearest]
        out: list[tuple[str, ...] | None] = []
        for k in range(len(self.kinds)):
            names = [name for name, lacks in zip(attributes, at[:, k], strict=True) if lacks]
            stated = items[nearest[k]].levels
            out.append(tuple(n if n in stated else f"?{n}" for n in names))
        return out

    def _harmless(self, kind: str) -> Array:
        return self.evaluator.fits(f"{kind} in pair", "harmless", self.kinds)

    def _short(self, kind: str, attribute: str) -> Array:
        """Whether each product fails what is asked of an attribute, (kinds, products)."""
        judged = self.evaluator.stands[f"{kind} in pair"].judged
        return ~Stand(judged, self.table.of(attribute)).fits(self.level, *self._asked)

    @property
    def _asked(self) -> tuple[Array, Array]:
        return self.evaluator.kinds.binding[self.kinds], self.evaluator.required[self.kinds]

    def reason(self, k: int) -> Reason:
        """The reason for one kind of customers whom nothing would do in any size."""
        lacks = [self.lacks[one][k] for one in self.sold]
        gone = tuple(one for one, found in zip(self.sold, lacks, strict=True) if found is None)
        if gone:
            return Reason(self.level, "none", gone)
        names = tuple(name for found in lacks for name in found or ())
        if not names:
            return Reason(self.level, "partner", ())
        opposed = tuple(n for n in names if not n.startswith("?") and self._opposed(n)[k])
        if opposed:
            return Reason(self.level, "opposed", opposed)
        stated = tuple(name for name in names if not name.startswith("?"))
        unstated = tuple(name[1:] for name in names if name.startswith("?"))
        return Reason(self.level, "needs" if stated else "not-stated", stated or unstated)

    def _opposed(self, attribute: str) -> Array:
        """Of which kinds no level at all would do, because the feet ask for opposite things."""
        if attribute not in self._opposites:
            self._opposites[attribute] = opposite(self.table, attribute, self.level, *self._asked)
        return self._opposites[attribute]


def opposite(
    table: NeedTable, attribute: str, level: Level, binding: Array, required: Array
) -> Array:
    """Of which of k kinds, by what they ask, no level of an attribute would do, (k,)."""
    levels = levels_of(table, attribute)
    return np.asarray(~levels_that_do(table, attribute, levels)(level, binding, required).any(1))


def levels_that_do(
    table: NeedTable, attribute: str, levels: Iterable[float | None]
) -> Callable[[Level, Array, Array], Array]:
    """Tells which levels (None: not stated) do for k kinds, by what they ask, (k, levels)."""
    kind: Kind = "insole" if attribute.startswith("insole") else "shoe"
    made = [item_with(kind, {} if one is None else {attribute: float(one)}) for one in levels]
    return Stand(judged_alone(table, made), table.of(attribute)).fits


def item_with(kind: Kind, levels: Mapping[str, float]) -> Item:
    """A product that is not there yet, of these levels."""
    made = Product(id=NEW, kind=kind, title="a product that is not there yet", attributes={},
                   stock={"265": 1})  # fmt: skip
    return Item(made, dict(levels), {265.0: 1})


def levels_of(table: NeedTable, attribute: str) -> Array:
    """Levels of an attribute that tell needs apart: a scale's steps, or around every target."""
    definition = table.book.attributes[attribute]
    if definition.scale:
        return np.arange(len(definition.scale), dtype=float)
    targets = {need.target for need in table.needs if need.attribute == attribute}
    reach = definition.tolerance
    edges = {t + d for t in targets for d in (-reach, -reach / 2, 0.0, reach / 2, reach)}
    low, high = definition.low or 0.0, definition.high or 0.0
    return np.array(sorted({low, high, *(edge for edge in edges if low <= edge <= high)}))

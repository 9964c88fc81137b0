"""What a buyer is told about a catalogue and the customers it is for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.anyone import holds_for_anyone
from recommend.coverage.cells import Cell, CellSums, ranges_of
from recommend.coverage.evaluate import Evaluator, Kinds, Progress, Served, Wishes, kinds_of
from recommend.coverage.interval import Share, share_of
from recommend.coverage.numbers import Array
from recommend.coverage.tally import Layout, Tally, layout_of
from recommend.match.needs import NeedTable
from recommend.match.sizes import SizeClasses
from recommend.match.weighing import Shelf
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE

Never = Literal["", "no-partner", "ruled-out", "low-score"]


@dataclass(frozen=True, slots=True)
class ProductUse:
    """One product: whom it serves, and who would be lost without it (shares of customers).

    `suits_drawn` : whether any customer counted could wear it if every size were there;
    `suits_anyone` : whether any foot at all could, as far as a search over every limit found;
    `never` : why not: ``no-partner`` (nothing here fits it), ``ruled-out`` (a must or a never of
    every foot) or ``low-score``; empty when it suits.
    """

    id: str
    kind: str
    reach: float
    sole: float
    suits_drawn: bool
    never: Never = ""

    @property
    def suits_anyone(self) -> bool:
        """Whether any foot at all could wear it."""
        return not self.never


@dataclass(frozen=True, slots=True)
class Blocking:
    """What one attribute rules out.

    Attributes
    ----------
    attribute : such as ``shoe.width``.
    excluded : share of the products of its kind that it rules out, for the average customer.
    alone : share of customers who are not served and would be if this one were waived.
    """

    attribute: str
    excluded: float
    alone: float


@dataclass(frozen=True, slots=True)
class MissingSize:
    """A Mondopoint size (mm) and the customers not served only for lack of it.

    Attributes
    ----------
    share : share of customers; `shoes`, `insoles` : of these, where that kind alone is missing;
        the rest lacks both.
    """

    size: float
    share: float
    shoes: float
    insoles: float


@dataclass(frozen=True, slots=True)
class Unserved:
    """Why customers are not served, as shares of all customers; they add up.

    `size` : something suits but not in their size; `score` : everything that meets the binding
    needs scores too low; `needs` : nothing meets the binding needs; `stopped` : a stop withholds
    the shortlist.
    """

    size: float
    score: float
    needs: float
    stopped: float


@dataclass(frozen=True, slots=True)
class Coverage:
    """A catalogue against a population; shares are of the customers no stop withholds."""

    customers: int
    served: Share
    choice: Share
    unserved: Unserved
    size_labels: tuple[str, ...]
    cells: tuple[Cell, ...]
    products: tuple[ProductUse, ...]
    blocking: tuple[Blocking, ...]
    missing_sizes: tuple[MissingSize, ...]


class Assessor:
    """Answers about one rulebook; prepared once, used for several catalogues and tallies."""

    def __init__(self, book: Rulebook, classes: SizeClasses, wishes: Wishes) -> None:
        self.book, self.classes, self.wishes = book, classes, wishes
        self.layout: Layout = layout_of(book)
        self.table = NeedTable(book, self.layout.needs)

    def evaluator(self, catalogue: Catalogue, kinds: Kinds) -> Evaluator:
        """What judges `kinds` against the catalogue."""
        return self.evaluator_of(catalogue.shoes, catalogue.insoles, kinds)

    def evaluator_of(
        self, shoes: tuple[Item, ...], insoles: tuple[Item, ...], kinds: Kinds
    ) -> Evaluator:
        """What judges `kinds` against some shoes and insoles."""
        return Evaluator(Shelf(self.table, shoes, insoles), self.classes, kinds, self.wishes)

    def headline(self, catalogue: Catalogue, tally: Tally) -> Share:
        """Share of customers served, with its interval."""
        kinds = kinds_of(tally, self.layout)
        served = self.evaluator(catalogue, kinds).evaluate()
        return self._share(kinds, served.served)

    def cover(
        self, catalogue: Catalogue, tally: Tally, progress: Progress | None = None
    ) -> Coverage:
        """The whole report for one catalogue."""
        kinds = kinds_of(tally, self.layout)
        evaluator = self.evaluator(catalogue, kinds)
        types = tuple(self.book.axes[FOOT_TYPE].values)
        ranges = ranges_of(self.classes, kinds.sizes, self.book.parameters)
        sums = CellSums(evaluator, tally, self.layout, ranges, len(types))
        served = evaluator.evaluate(progress, sums.add)
        enough = served.choices >= self.book.parameters.coverage.choice
        return Coverage(
            customers=tally.customers,
            served=self._share(kinds, served.served),
            choice=self._share(kinds, enough),
            unserved=self._unserved(kinds, served, tally.customers),
            size_labels=tuple(ranges.labels[k] for k in np.unique(ranges.of_class)),
            cells=sums.cells(served, types),
            products=tuple(self._products(evaluator, kinds, served)),
            blocking=tuple(self._blocking(evaluator, kinds, served)),
            missing_sizes=self._missing_sizes(kinds, served),
        )

    def _share(self, kinds: Kinds, which: Array) -> Share:
        total = int(kinds.weights.sum())
        return share_of(
            float(kinds.weights[which].sum()), total, self.book.parameters.coverage.confidence
        )

    def _unserved(self, kinds: Kinds, served: Served, customers: int) -> Unserved:
        lost = np.where(served.served, 0, kinds.weights).sum(axis=1)
        by_size = float(lost[served.any_size].sum())
        by_score = float(lost[~served.any_size & served.any_score].sum())
        by_needs = float(lost[~served.any_score].sum())
        stopped = customers - kinds.weights.sum()
        return Unserved(*(float(n) / customers for n in (by_size, by_score, by_needs, stopped)))

    def _products(self, evaluator: Evaluator, kinds: Kinds, served: Served) -> Iterator[ProductUse]:
        total = max(1.0, float(kinds.weights.sum()))
        never = self._never(evaluator, served)
        for n, item in enumerate(evaluator.shelf.items):
            if item.product.kind in self.wishes.kinds:
                yield ProductUse(
                    item.id,
                    item.product.kind,
                    float(served.reach[n]) / total,
                    float(served.sole[n]) / total,
                    bool(served.fits_someone[n]),
                    never.get(item.id, ""),
                )

    def _never(self, evaluator: Evaluator, served: Served) -> dict[str, Never]:
        """Products that no foot could wear, and why; those that suit no customer are searched."""
        shelf = evaluator.shelf
        unfit = [i for i, fits in zip(shelf.items, served.fits_someone, strict=True) if not fits]
        if not unfit:
            return {}
        feet = self.book.parameters.coverage.search_feet
        holds = holds_for_anyone(self.book, self.layout.needs, feet, seed=0)
        none = np.zeros(0, int)
        kinds = Kinds(holds, none, np.zeros((len(holds), 0)), none, none)
        out: dict[str, Never] = {}
        for item in unfit:
            shoes = (item,) if item.product.kind == "shoe" else shelf.shoes
            insoles = (item,) if item.product.kind == "insole" else shelf.insoles
            why = self._why_never(self.evaluator_of(shoes, insoles, kinds), item)
            if why:
                out[item.id] = why
        return out

    def _why_never(self, search: Evaluator, item: Item) -> Never:
        """Why an item suits no foot of a search in which it is the only one of its kind."""
        searched = search.evaluate()
        n = search.shelf.items.index(item)
        if searched.fits_someone[n]:
            return ""
        if not np.isfinite(search.shelf.scores(item.product.kind, search.active)).any():
            return "ruled-out"
        return "low-score" if search.shelf.any_fit else "no-partner"

    def _blocking(self, evaluator: Evaluator, kinds: Kinds, served: Served) -> Iterator[Blocking]:
        """Every attribute with binding needs, the one that rules out most first."""
        weights = kinds.weights.sum(axis=1)
        lost = np.flatnonzero(~served.any_size & (weights > 0))
        found = []
        binding = self.table.must | self.table.never
        for attribute in sorted({self.table.needs[n].attribute for n in np.flatnonzero(binding)}):
            mask = self.table.of(attribute) & binding
            excluded = self._excluded(evaluator, mask, weights)
            alone = self._waived(evaluator, mask, lost, weights)
            found.append(Blocking(attribute, excluded, alone))
        yield from sorted(found, key=lambda b: (-b.alone, -b.excluded, b.attribute))

    def _excluded(self, evaluator: Evaluator, mask: Array, weights: Array) -> float:
        """Share of products of the kind that the needs rule out for the average customer."""
        kind = self.table.needs[int(np.flatnonzero(mask)[0])].attribute.partition(".")[0]
        broken, counts = evaluator.shelf.breaks(kind, mask)
        if not counts.sum() or not weights.sum():
            return 0.0
        binding = evaluator.active.binding[:, mask].astype(np.float32)
        out = (binding @ broken.T.astype(np.float32) > 0) @ (counts / counts.sum())
        return float(out @ weights / weights.sum())

    def _waived(self, evaluator: Evaluator, mask: Array, lost: Array, weights: Array) -> float:
        """Share of customers whom something would suit if the needs of a mask were waived."""
        saved = 0.0
        active = evaluator.active.rows(lost).without(mask)
        for rows in evaluator.parts(len(lost)):
            scores = evaluator.scores(active.rows(rows)).values()
            suits = [(s >= evaluator.floor).reshape(len(s), -1).any(axis=1) for s in scores]
            saved += float(weights[lost[rows]] @ np.logical_or.reduce(suits))
        return saved / max(1.0, float(weights.sum()))

    def _missing_sizes(self, kinds: Kinds, served: Served) -> tuple[MissingSize, ...]:
        """Sizes for want of which most customers are lost, worst first."""
        lost = np.where(served.served | ~served.any_size[:, None], 0, kinds.weights)
        parts = (np.ones_like(served.served), served.if_shoes, served.if_insoles)
        counts = np.column_stack([np.where(part, lost, 0).sum(axis=0) for part in parts])
        by_size: dict[float, Array] = {}
        for index, count in zip(kinds.sizes, counts, strict=True):
            size = self.classes.mondopoint(int(index))
            if size is not None and count[0]:
                by_size[size] = by_size.get(size, np.zeros(3)) + count
        total = max(1.0, float(kinds.weights.sum()))
        ordered = sorted(by_size.items(), key=lambda pair: (-pair[1][0], pair[0]))
        return tuple(MissingSize(size, *(float(n) / total for n in c)) for size, c in ordered)


def by_type(cells: tuple[Cell, ...]) -> Mapping[str, tuple[float, float]]:
    """Share of feet, and share of them served, of every foot type; most common first."""
    sums: dict[str, list[float]] = {}
    for cell in cells:
        one = sums.setdefault(cell.foot_type, [0.0, 0.0])
        one[0] += cell.share
        one[1] += cell.share * (cell.served or 0.0)
    ordered = sorted(sums.items(), key=lambda pair: -pair[1][0])
    return {name: (share, served / share) for name, (share, served) in ordered}

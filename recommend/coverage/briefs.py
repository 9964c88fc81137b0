"""What to buy next: the product that would serve most of those who are not served.

A brief is found by search and then tried: its gain is what the very same judging gives to a
product with these attributes, so it is counted, not guessed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.catalogue.models import Kind, Product
from recommend.coverage.evaluate import Evaluator, Kinds, Progress, Served
from recommend.coverage.numbers import Array
from recommend.coverage.report import Assessor
from recommend.match.needs import rule_needs
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import AttributeDef

Levels = dict[str, float]
NEW = "new"


@dataclass(frozen=True, slots=True)
class Want:
    """What a brief asks of one attribute: a level from `low` to `high`, or None for no bound."""

    attribute: str
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Brief:
    """A product that is not there and would serve customers who are not served.

    Attributes
    ----------
    kind : shoe or insole.
    wants : what it must be; attributes that make no difference are left out.
    smallest, largest : Mondopoint sizes (mm) that its customers take, the outermost few apart.
    adds : share of customers who are served with it and not without.
    """

    kind: Kind
    wants: tuple[Want, ...]
    smallest: float | None
    largest: float | None
    adds: float


@dataclass(frozen=True, slots=True)
class Restock:
    """A product that is there, in sizes that are not: what it would add (share of customers)."""

    product: str
    smallest: float
    largest: float
    adds: float


@dataclass(frozen=True, slots=True)
class Gaps:
    """Who is not served, and what would serve them.

    Attributes
    ----------
    missed : share of customers aimed at: not served, or with too little choice.
    briefs : products to look for, each counted after those before it.
    restocks : sizes to order of what is there, each counted after those before it.
    left : share of customers that no brief reaches.
    """

    missed: float
    briefs: tuple[Brief, ...]
    restocks: tuple[Restock, ...]
    left: float


class Searcher:
    """Looks for products that would serve the customers in `aim`.

    Parameters
    ----------
    assessor : the rulebook's side.
    catalogue : what is there.
    kinds : the customers.
    aim : customers aimed at by need kind and size class, shape (g, z).
    """

    def __init__(self, assessor: Assessor, catalogue: Catalogue, kinds: Kinds, aim: Array) -> None:
        self.assessor, self.catalogue, self.kinds = assessor, catalogue, kinds
        self.book, self.aim = assessor.book, aim.copy()
        self.total = max(1.0, float(kinds.weights.sum()))
        self.all_sizes = self._sizes()
        self.of_purpose = frozenset(_of_purpose(self.book, assessor.layout.needs))

    def briefs(self, most: int, least: float) -> Iterator[Brief]:
        """Up to `most` briefs, as long as each adds at least the share `least`."""
        for _ in range(most):
            found = [self._best(kind) for kind in self._sold()]
            gain, kind, levels = max(found, key=lambda one: one[0])
            if gain / self.total < max(least, 1e-12):
                return
            yield self._brief(kind, levels, gain)
            self.aim = np.where(self._served_by(kind, [levels])[0], 0, self.aim)

    def _sold(self) -> tuple[Kind, ...]:
        """Kinds of product that can add something in the ways products are sold."""
        ways = self.assessor.wishes.ways
        kinds: list[Kind] = []
        if "insole" in ways or ("pair" in ways and self.catalogue.shoes):
            kinds.append("insole")
        if "shoe" in ways or ("pair" in ways and self.catalogue.insoles):
            kinds.append("shoe")
        return tuple(kinds)

    def _best(self, kind: Kind) -> tuple[float, Kind, Levels]:
        """The best product of a kind: the ideal of the commonest needs, improved step by step."""
        parameters = self.book.parameters
        order = np.argsort(-self.aim.sum(axis=1), kind="stable")
        seeds = [self._ideal(kind, int(g)) for g in order[: parameters.coverage.seeds]]
        gains = self._gains(kind, seeds)
        gain, levels = float(gains.max()), seeds[int(gains.argmax())]
        improved = True
        while improved:
            improved = False
            for attribute, tried in self._domains(kind).items():
                if attribute in self.of_purpose:
                    continue  # a brief is for the purpose it started from, not for all at once
                variants = [{**levels, attribute: level} for level in tried]
                gains = self._gains(kind, variants)
                if float(gains.max()) > gain:
                    gain, levels = float(gains.max()), variants[int(gains.argmax())]
                    improved = True
        return gain, kind, levels

    def _brief(self, kind: Kind, levels: Levels, gain: float) -> Brief:
        wants = tuple(
            want
            for attribute, tried in self._domains(kind).items()
            if (want := self._want(kind, levels, attribute, tried, gain)) is not None
        )
        served = np.where(self._served_by(kind, [levels])[0], self.aim, 0).sum(axis=0)
        smallest, largest = self._size_range(served)
        return Brief(kind, wants, smallest, largest, gain / self.total)

    def _want(
        self, kind: Kind, levels: Levels, attribute: str, tried: list[float], gain: float
    ) -> Want | None:
        """The levels around the chosen one that keep nearly all of the gain."""
        unstated = {name: level for name, level in levels.items() if name != attribute}
        variants = [{**levels, attribute: level} for level in tried]
        gains = self._gains(kind, [*variants, unstated])
        keeps = gains >= gain * self.book.parameters.coverage.brief_keeps
        if keeps[-1]:
            return None  # it need not even be stated
        at = tried.index(levels[attribute]) if levels.get(attribute) in tried else -1
        if at < 0:
            return None
        low = high = at
        while low > 0 and keeps[low - 1]:
            low -= 1
        while high + 1 < len(tried) and keeps[high + 1]:
            high += 1
        return Want(
            attribute,
            tried[low] if low > 0 else None,
            tried[high] if high + 1 < len(tried) else None,
        )

    def _ideal(self, kind: Kind, g: int) -> Levels:
        """Levels that meet what one kind of customer needs, as far as they agree."""
        active = self.assessor.table.active(self.kinds.holds[[g]])
        levels = {name: self._usual(name) for name in self._domains(kind)}
        wanted = np.argsort(-active.weights[0] - 1e6 * active.binding[0], kind="stable")
        for n in wanted[::-1]:  # the weightiest last, so that it has the last word
            need = self.assessor.table.needs[int(n)]
            if not (active.weights[0, n] or active.binding[0, n]):
                continue
            for name in self.book.sums.get(need.attribute, (need.attribute,)):
                if name in levels and need.met(levels[name]) == (need.strength == "never"):
                    levels[name] = self._meeting(name, need.met, need.strength == "never")
        return levels

    def _meeting(self, name: str, met: object, avoid: bool) -> float:
        """The level nearest to the gentler end that meets a need, or does not where it must not."""
        assert callable(met)
        tried = self._levels(name)
        ordered = tried if self.book.attributes[name].gentler == "low" else tried[::-1]
        return next((level for level in ordered if met(level) != avoid), ordered[0])

    def _usual(self, name: str) -> float:
        """The middle of the levels that the catalogue has, else the gentler end.

        What only a purpose asks for starts at its lowest step: not made for it.
        """
        if name in self.of_purpose:
            return self._levels(name)[0]
        there = sorted(i.levels[name] for i in self.catalogue.items if name in i.levels)
        if there:
            return there[len(there) // 2]
        tried = self._levels(name)
        return tried[0] if self.book.attributes[name].gentler == "low" else tried[-1]

    def _domains(self, kind: Kind) -> dict[str, list[float]]:
        """Levels that are tried, for every attribute of a kind."""
        names = [name for name in self.book.attributes if name.startswith(f"{kind}.")]
        return {name: self._levels(name) for name in names}

    def _levels(self, name: str) -> list[float]:
        """Steps of a scale; of a number, what the catalogue has and what needs ask for."""
        definition: AttributeDef = self.book.attributes[name]
        if definition.scale:
            return [float(step) for step in range(len(definition.scale))]
        found = {item.levels[name] for item in self.catalogue.items if name in item.levels}
        found |= {n.target for n in self.assessor.table.needs if n.attribute == name}
        return sorted(found or {definition.low or 0.0})

    def _gains(self, kind: Kind, candidates: list[Levels]) -> Array:
        """Customers aimed at whom each candidate alone would serve."""
        served = self._served_by(kind, candidates)
        return np.asarray([float(self.aim[one].sum()) for one in served])

    def _served_by(self, kind: Kind, candidates: list[Levels]) -> Array:
        """Whether each candidate serves each kind and size, bool, shape (candidates, g, z)."""
        items = tuple(self._item(kind, n, levels) for n, levels in enumerate(candidates))
        rows = np.flatnonzero(self.aim.any(axis=1))
        out = np.zeros((len(items), *self.aim.shape), bool)
        shoes, insoles = self.catalogue.shoes, self.catalogue.insoles
        if kind == "shoe":
            shoes = items
        else:
            insoles = items
        some = Kinds(
            self.kinds.holds[rows],
            self.kinds.sizes,
            self.aim[rows],
            self.kinds.kind,
            self.kinds.size,
        )
        evaluator = self.assessor.evaluator_of(shoes, insoles, some)
        for part in evaluator.parts(len(rows)):
            judged = evaluator.part(part, evaluator.active.rows(part))
            usable = judged.shoes if kind == "shoe" else judged.insoles
            out[:, rows[part]] = usable.transpose(1, 0, 2)
        return out

    def _item(self, kind: Kind, number: int, levels: Levels) -> Item:
        product = Product(
            id=f"{NEW}-{number}",
            kind=kind,
            title="a product that is not there yet",
            attributes={},
            stock={f"{size:g}": 1 for size in self.all_sizes},
        )
        return Item(product, levels, dict.fromkeys(self.all_sizes, 1))

    def _sizes(self) -> list[float]:
        """Every whole size that some customer takes."""
        taken = [self.assessor.classes.mondopoint(int(index)) for index in self.kinds.sizes]
        return sorted({size for size in taken if size is not None}) or [265.0]

    def _size_range(self, by_class: Array) -> tuple[float | None, float | None]:
        """Sizes of the customers, without the outermost few at both ends."""
        edge = self.book.parameters.coverage.brief_edge
        by_size: dict[float, float] = {}
        for index, count in zip(self.kinds.sizes, by_class, strict=True):
            size = self.assessor.classes.mondopoint(int(index))
            if size is not None and count:
                by_size[size] = by_size.get(size, 0.0) + float(count)
        if not by_size:
            return None, None
        sizes = sorted(by_size)
        reached = np.cumsum([by_size[size] for size in sizes]) / sum(by_size.values())
        low = int(np.searchsorted(reached, edge, side="right"))
        high = min(int(np.searchsorted(reached, 1 - edge)), len(sizes) - 1)
        return sizes[low], sizes[max(low, high)]

    def restocks(self, evaluator: Evaluator, most: int, least: float) -> Iterator[Restock]:
        """Products that are there and would serve most if they were there in every size."""
        aim = self.aim.copy()
        could = list(self._could(evaluator))
        for _ in range(most):
            gains = [float(aim[one].sum()) for one in could]
            best = int(np.argmax(gains))
            if gains[best] / self.total < max(least, 1e-12):
                return
            smallest, largest = self._size_range(np.where(could[best], aim, 0).sum(axis=0))
            if smallest is not None and largest is not None:
                name = evaluator.shelf.items[best].id
                yield Restock(name, smallest, largest, gains[best] / self.total)
            aim = np.where(could[best], 0, aim)

    def _could(self, evaluator: Evaluator) -> Iterator[Array]:
        """For every product, whom it would serve if it were there in their size, (g, z)."""
        shape = (len(evaluator.shelf.items), *self.aim.shape)
        out = np.zeros(shape, bool)
        shoes = len(evaluator.shelf.shoes)
        rows = np.flatnonzero(self.aim.any(axis=1))
        for part in evaluator.parts(len(rows)):
            active = evaluator.active.rows(rows[part])
            for way, scores in evaluator.scores(active).items():
                one, other = evaluator.usable(way, scores >= evaluator.floor)
                if one is not None:
                    out[:shoes, rows[part]] |= one.transpose(1, 0, 2)
                if other is not None:
                    out[shoes:, rows[part]] |= other.transpose(1, 0, 2)
        yield from out


def _of_purpose(book: Rulebook, rules: tuple[str, ...]) -> Iterator[str]:
    """Attributes that are asked for because of the purpose, such as being made for running."""
    for rule in rules:
        if "visit_purpose" in book.by_id[rule].facts:
            yield from (n.attribute for n in rule_needs(book, rule) if n.strength == "must")


def find_gaps(
    assessor: Assessor,
    catalogue: Catalogue,
    kinds: Kinds,
    *,
    thin: bool = False,
    most: int,
    progress: Progress | None = None,
) -> Gaps:
    """Briefs and restocks for customers who are not served, or have too little choice.

    Parameters
    ----------
    thin : aim at customers with less than ``coverage.choice`` to choose from instead.
    most : most briefs, and most restocks, to give.
    progress : called with how many briefs are done, and of how many.
    """
    evaluator = assessor.evaluator(catalogue, kinds)
    served: Served = evaluator.evaluate()
    enough = assessor.book.parameters.coverage.choice if thin else 1
    aim = np.where(served.choices < enough, kinds.weights, 0)
    searcher = Searcher(assessor, catalogue, kinds, aim)
    least = assessor.book.parameters.coverage.brief_least
    restocks = tuple(searcher.restocks(evaluator, most, least))
    missed = float(aim.sum()) / searcher.total
    briefs: list[Brief] = []
    for brief in searcher.briefs(most, least):
        briefs.append(brief)
        if progress:
            progress(len(briefs), most)
    return Gaps(missed, tuple(briefs), restocks, float(searcher.aim.sum()) / searcher.total)

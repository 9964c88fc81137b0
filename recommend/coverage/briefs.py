"""What to buy next: the product that would serve most of those who are not served.

A brief is a range for each attribute that matters. Its gain is what *every* product within the
ranges adds: each attribute by itself rules a product out or not, and what it asks is met throughout
a range where it is met at both ends, so customers are counted whom all of them serve. What pairs a
product with others (whether they fit, what they come to together) is tried at all ends.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product as every

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.catalogue.models import Kind, Product
from recommend.coverage.evaluate import (
    Kinds,
    Pairing,
    Progress,
    Stand,
    judged_alone,
)
from recommend.coverage.report import Assessor, Share
from recommend.coverage.rows import Alike, Array, alike
from recommend.coverage.why import item_with, levels_of, levels_that_do, opposite
from recommend.match.judge import INSOLE_READS, SHOE_READS
from recommend.match.needs import NeedTable, rule_needs
from recommend.rulebook.vocabulary import PURPOSE

GRID = (130.0, 330.0)  # feet that any shop sees, of small children as well, mm
Levels = dict[str, float]
Box = dict[str, tuple[float, float]]  # attributes left out are free, and need not be stated


@dataclass(frozen=True, slots=True)
class BriefWant:
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
    plain : attributes in which it does nothing that nobody asks for.
    smallest, largest : Mondopoint sizes (mm) it comes in, every whole size between included.
    adds : share of customers who are served with any such product and not without, and its
        interval; `by_size` the same by the size they take.
    """

    kind: Kind
    wants: tuple[BriefWant, ...]
    plain: tuple[str, ...]
    smallest: float | None
    largest: float | None
    adds: Share
    by_size: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class JointBrief:
    """A shoe and an insole that serve customers together whom no single product serves.

    What they add is what any shoe of the one wording and any insole of the other add together.
    """

    shoe: Brief
    insole: Brief
    adds: Share


@dataclass(frozen=True, slots=True)
class Restock:
    """A product that is there, in sizes that are not: what it would add (share of customers)."""

    product: str
    smallest: float
    largest: float
    adds: Share


@dataclass(frozen=True, slots=True)
class Gaps:
    """Who is not served, and what would serve them.

    Attributes
    ----------
    missed : share of customers aimed at: not served, or with too little choice.
    briefs : products to look for, each counted after those before it.
    joint : shoes with insoles to look for, counted after all of those.
    restocks : sizes to order of what is there, each counted after those before it.
    left : share of customers that no brief reaches; `opposed` of them can be served by no product,
        because their feet ask for opposites; `stopped` are with a clinician first.
    """

    missed: float
    briefs: tuple[Brief, ...]
    joint: tuple[JointBrief, ...]
    restocks: tuple[Restock, ...]
    left: float
    opposed: float
    stopped: float


def whole_sizes(step: float) -> Item:
    """A product in every whole size, so that sizes nobody makes yet are told apart."""
    sizes = np.arange(GRID[0], GRID[1] + step, step)
    stock = {f"{size:g}": 1 for size in sizes}
    made = Product(id="whole-sizes", kind="shoe", title="every whole size", attributes={},
                   stock=stock)  # fmt: skip
    return Item(made, {}, {float(size): 1 for size in sizes})


class Searcher:
    """Looks for products that would serve the customers in `aim`.

    Parameters
    ----------
    assessor : the rulebook's side.
    catalogue : what is there.
    kinds : the customers.
    aim : customers aimed at in each group, (n,).
    customers : all customers, those whom a stop withholds included.
    """

    def __init__(self, assessor: Assessor, catalogue: Catalogue, kinds: Kinds, aim: Array,
                 customers: int) -> None:  # fmt: skip
        self.assessor, self.catalogue, self.customers = assessor, catalogue, customers
        self.book, self.table = assessor.book, assessor.table
        groups = np.flatnonzero((aim > 0) & (kinds.sizes[kinds.size] != assessor.classes.unknown))
        self.kinds, self.aim = kinds.only(groups), aim[groups].astype(float)
        self.evaluator = assessor.evaluator(catalogue.items, self.kinds)
        self.sides = {kind: Side(self, kind) for kind in self._sold()}
        index = self.kinds.sizes[self.kinds.size]
        self.size = np.array([assessor.classes.mondopoint(int(i)) or 0.0 for i in index])

    def _sold(self) -> tuple[Kind, ...]:
        """Kinds of product that can add something in the ways products are sold."""
        ways = self.assessor.terms.ways
        kinds: list[Kind] = []
        if "insole" in ways or ("pair" in ways and self.catalogue.shoes):
            kinds.append("insole")
        if "shoe" in ways or "pair" in ways:
            kinds.append("shoe")
        return tuple(kinds)

    def briefs(self, most: int, least: float) -> Iterator[Brief]:
        """Up to `most` briefs, as long as each adds at least the share `least`."""
        for _ in range(most):
            if not self.aim.any():
                return
            found = [(*side.best(), side) for side in self.sides.values()]
            gain, levels, side = max(found, key=lambda one: one[0])
            if not self.enough(gain, least):
                return
            box = {name: (one, one) for name, one in levels.items()}
            box = widened(box, (side,), side.served, self.aim)
            served = self.sized(side.served(box))
            yield self.worded(side, box, served)
            self.aim[served] = 0.0

    def enough(self, gain: float, least: float) -> bool:
        """Whether so many customers are worth telling: a share of all of at least `least`."""
        return gain / self.customers >= max(least, 1e-12)

    def commonest(self, row: Array, count: int) -> list[int]:
        """The kinds of customers, by the kind of each group, that most who are aimed at have."""
        weight = np.bincount(row, self.aim, count)
        order = np.argsort(-weight, kind="stable")[: self.book.parameters.coverage.seeds]
        return [int(kind) for kind in order if weight[kind] > 0]

    def sized(self, served: Array) -> Array:
        """Of groups that are served those within the sizes that most of them take."""
        _, _, within = self._most_sizes(np.where(served, self.aim, 0.0))
        return np.asarray(served & (self.aim > 0) & within)

    def _most_sizes(self, counts: Array) -> tuple[float, float, Array]:
        """From which size to which most of some customers are, and who of all is within."""
        edge = self.book.parameters.coverage.brief_edge
        smallest, largest = size_range(self.size, counts, edge)
        return smallest, largest, (self.size >= smallest) & (self.size <= largest)

    def worded(self, side: Side, box: Box, served: Array) -> Brief:
        """A box as a brief whose products serve these groups."""
        wants = tuple(side.want(name, *ends) for name, ends in box.items() if name in side.levels)
        plain = tuple(name for name in side.plain(box) if name not in box)
        sizes = np.unique(self.size[served])
        counts = [self.aim[served & (self.size == size)].sum() for size in sizes]
        each = [(float(s), float(n) / self.customers) for s, n in zip(sizes, counts, strict=True)]
        adds = self.assessor.share(float(self.aim[served].sum()), self.customers)
        smallest, largest = float(sizes[0]), float(sizes[-1])
        return Brief(side.kind, wants, plain, smallest, largest, adds, tuple(each))

    def restocks(self, most: int, least: float) -> Iterator[Restock]:
        """Products that are there and would serve most if they were there in every size."""
        aim = self.aim.copy()
        shoes = self.evaluator.usable("well", slice(None), shoes=True).shoes.all
        insoles = self.evaluator.usable("well", slice(None), insoles=True).insoles.all
        could = np.concatenate([shoes, insoles[:, : self.evaluator.bought]], axis=1)
        for _ in range(most):
            gains = aim @ could
            if not self.enough(gains.max(initial=0.0), least):
                return
            best = int(np.argmax(gains))
            smallest, largest, within = self._most_sizes(np.where(could[:, best], aim, 0.0))
            served = could[:, best] & within
            share = self.assessor.share(float(aim[served].sum()), self.customers)
            yield Restock(self.evaluator.items[best].id, smallest, largest, share)
            aim = np.where(could[:, best], 0, aim)

    def opposed(self) -> float:
        """Customers still aimed at whose feet ask for opposites, so that no product serves both."""
        asked, never = (self.kinds.binding, self.evaluator.required), np.zeros(1, bool)
        for name in {need.attribute for need in self.table.needs}:
            never = never | opposite(self.table, name, "well", *asked)
        return float(self.aim[never[self.kinds.kind]].sum())


class Side:
    """Shoes, or insoles, that could be made, for the customers of a searcher."""

    def __init__(self, searcher: Searcher, kind: Kind) -> None:
        self.searcher, self.kind = searcher, kind
        self.table, self.book = searcher.table, searcher.book
        self.used, row = np.unique(searcher.kinds.kind, return_inverse=True)
        self.row = row.ravel()
        names = [n for n in self.book.attributes if n.startswith(f"{kind}.")]
        self.fit = reads = SHOE_READS if kind == "shoe" else INSOLE_READS
        there = {name: {item.levels.get(name) for item in searcher.catalogue.items} - {None}
                 for name in reads}  # fmt: skip
        self.levels = {
            name: np.unique([*levels_of(self.table, name), *there.get(name, ())]) for name in names
        }
        self.does = {name: self._does(name) for name in names}
        summed = {part for parts in self.book.sums.values() for part in parts}
        self.pairing = [name for name in names if name in (*reads, *summed)]
        self.of_purpose = frozenset(_of_purpose(self.table))
        self._seen: dict[tuple[float | None, ...], Array] = {}

    def _does(self, name: str) -> Array:
        """Whether each level, and last an unstated one, meets what is asked, (kinds, levels)."""
        binding = self.searcher.kinds.binding[self.used]
        required = self.searcher.evaluator.required[self.used]
        do = levels_that_do(self.table, name, [*self.levels[name], None])
        return do("well", binding, required)

    # --- the best single product ------------------------------------------------------------

    def best(self) -> tuple[float, Levels]:
        """The best product of the kind: the ideal of the commonest needs, improved step by step."""
        common = self.searcher.commonest(self.row, len(self.used))
        found = [self._climbed(self.ideal(kind)) for kind in common]
        return max(found, key=lambda one: one[0], default=(0.0, {}))

    def ideal(self, k: int) -> Levels:
        """The gentlest levels that meet what one kind of customers asks."""
        return {name: self._gentlest(name, does[k, :-1]) for name, does in self.does.items()}

    def _gentlest(self, name: str, does: Array) -> float:
        definition, levels = self.book.attributes[name], self.levels[name]
        start = definition.plain_level
        if name in self.of_purpose:
            start = float(levels[0])  # not made for it, unless that is asked
        elif start is None:
            start = levels[0] if definition.gentler == "low" else levels[-1]
        able = levels[does] if does.any() else levels
        return float(able[np.abs(able - start).argmin()])

    def _climbed(self, levels: Levels) -> tuple[float, Levels]:
        gain, improved = self._gain(levels), True
        while improved:
            improved = False
            for name in self.levels:
                if name in self.of_purpose:
                    continue  # a brief is for the purpose it started from, not for all at once
                tried = [{**levels, name: float(one)} for one in self.levels[name]]
                gains = [self._gain(one) for one in tried] if name in self.pairing else (
                    self._gains(levels, name))  # fmt: skip
                at = int(np.argmax(gains))
                if gains[at] > gain + 1e-9:
                    gain, levels, improved = float(gains[at]), tried[at], True
        return gain, levels

    def _gains(self, levels: Levels, name: str) -> Array:
        """Customers aimed at who are served at each level of one attribute, the others as said."""
        rest = self._meets({n: one for n, one in levels.items() if n != name})
        goes = self._goes(tuple(levels[n] for n in self.pairing))
        weight = np.bincount(self.row, self.searcher.aim * goes, len(self.used)) * rest
        return np.asarray(weight @ self.does[name][:, :-1])

    def _gain(self, levels: Levels) -> float:
        goes = self._goes(tuple(levels[n] for n in self.pairing))
        return float(self.searcher.aim @ (goes & self._meets(levels)[self.row]))

    def _meets(self, levels: Levels) -> Array:
        """Whether a product meets what each kind of customers asks of it alone, (kinds,)."""
        meets = np.ones(len(self.used), bool)
        for name, level in levels.items():
            meets &= self.does[name][:, self._at(name, level)]
        return meets

    def _at(self, name: str, level: float) -> int:
        return int(np.flatnonzero(self.levels[name] == level)[0])

    # --- as wide as it may be ---------------------------------------------------------------

    def beyond(self, name: str, ends: tuple[float, float], end: int) -> list[tuple[float, float]]:
        """The range with one end further out, step by step."""
        (low, high), levels = ends, self.levels[name].tolist()
        if end == 0:
            return [(one, high) for one in levels[::-1] if one < low]
        return [(low, one) for one in levels if one > high]

    def served(self, box: Box) -> Array:
        """Whether every product within a box serves each group, (n,)."""
        served = self.within(box)[self.row]
        for levels in every(*(self.tried(name, box) for name in self.pairing)):
            served &= self._goes(levels)
        return served

    def within(self, box: Box) -> Array:
        """Whether every product within a box does by itself for each kind of `used`, (kinds,)."""
        meets = np.ones(len(self.used), bool)
        for name, does in self.does.items():
            at = [self._at(name, one) for one in box[name]] if name in box else slice(None)
            meets &= does[:, at].all(axis=1)
        return meets

    def tried(self, name: str, box: Box) -> tuple[float | None, ...]:
        """Levels of an attribute that pairing is tried at: all of a sum's, the ends of others."""
        levels = self.levels[name]
        low, high = box.get(name, (float(levels[0]), float(levels[-1])))
        unstated: tuple[float | None, ...] = () if name in box else (None,)
        summed = any(name in parts for parts in self.book.sums.values())
        inside = levels[(levels >= low) & (levels <= high)] if summed else (low, high)
        return (*dict.fromkeys(float(one) for one in inside), *unstated)

    def _goes(self, levels: tuple[float | None, ...]) -> Array:
        """Whether a product with these levels of what matters to pairs can be sold, (n,)."""
        if levels not in self._seen:
            self._seen[levels] = self._gone(levels)
        return self._seen[levels]

    def _gone(self, levels: tuple[float | None, ...]) -> Array:
        item = item_with(self.kind, _stated(self.pairing, levels))
        evaluator, kinds = self.searcher.evaluator, self.searcher.kinds
        binding, required = kinds.binding, evaluator.required
        found = np.zeros(len(kinds.kind), bool)
        if self.kind in evaluator.terms.ways:
            alone = Stand(judged_alone(self.table, [item]), self.table.kinds("pair"))
            found |= alone.fits("well", binding, required)[kinds.kind, 0]
        if "pair" in evaluator.terms.ways:
            mine = Alike(np.ones((1, 1), bool), np.zeros(len(kinds.kind), np.intp))
            shoe = self.kind == "shoe"
            there = self._partners
            both = (mine, there) if shoe else (there, mine)
            shoes = (item,) if shoe else evaluator.shoes
            insoles = evaluator.insoles if shoe else (item,)
            pairing = Pairing(self.table, shoes, insoles, binding, required)
            found |= pairing.partnered("well", kinds.kind, *both).any
        return found

    @cached_property
    def _partners(self) -> Alike:
        """What is in stock of the other kind and will do by itself, (n, products)."""
        kinds, other = self.searcher.kinds, "insole" if self.kind == "shoe" else "shoe"
        there = self.searcher.evaluator.there
        return there(f"{other} in pair", "well", kinds.kind, kinds.size)

    # --- in words ---------------------------------------------------------------------------

    def want(self, name: str, low: float, high: float) -> BriefWant:
        """A range as it is worded: an end of the scale is no bound."""
        levels = self.levels[name]
        return BriefWant(
            name, low if low > levels[0] else None, high if high < levels[-1] else None
        )

    def plain(self, box: Mapping[str, object]) -> Iterator[str]:
        """Free attributes in which a product should do nothing, since nobody asks for more."""
        for name in self.levels:
            definition = self.book.attributes[name]
            if name not in box and definition.unasked in ("usual", "strong"):
                yield name


def widened(box: Box, sides: Sequence[Side], served: Callable[[Box], Array], aim: Array) -> Box:
    """A box as wide as may be while it keeps nearly all of its gain.

    Parameters
    ----------
    sides : the kinds of product whose attributes are in the box.
    served : whether whatever is within a box serves each group.
    aim : customers aimed at in each group.
    """
    least = float(aim @ served(box)) * sides[0].book.parameters.coverage.brief_keeps
    for side in sides:
        for name in side.levels:
            free = {n: ends for n, ends in box.items() if n != name}
            if float(aim @ served(free)) >= least:
                box = free
                continue
            for end in (0, 1):
                for wider in side.beyond(name, box[name], end):
                    tried = {**box, name: wider}
                    if float(aim @ served(tried)) < least:
                        break
                    box = tried
    return box


def _of_purpose(table: NeedTable) -> Iterator[str]:
    """Attributes that are asked for because of the purpose, such as being made for running."""
    for rule in table.rules:
        if PURPOSE in table.book.by_id[rule].facts:
            needs = rule_needs(table.book, rule)
            yield from (need.attribute for need in needs if need.strength == "must")


def _stated(names: Sequence[str], levels: Sequence[float | None]) -> dict[str, float]:
    return {name: one for name, one in zip(names, levels, strict=True) if one is not None}


def size_range(sizes: Array, counts: Array, edge: float) -> tuple[float, float]:
    """Sizes of the customers, without the outermost few at both ends."""
    known, where = np.unique(sizes, return_inverse=True)
    by_size = np.bincount(where.ravel(), counts, len(known))
    known, by_size = known[by_size > 0], by_size[by_size > 0]
    if not len(known):
        return 0.0, 0.0
    reached = np.cumsum(by_size) / by_size.sum()
    low = int(np.searchsorted(reached, edge, side="right"))
    high = min(int(np.searchsorted(reached, 1 - edge)), len(known) - 1)
    return float(known[low]), float(known[max(low, high)])


class _Two:
    """Shoes and insoles that could be made together, for the customers of a searcher."""

    def __init__(self, searcher: Searcher) -> None:
        self.searcher = searcher
        there = searcher.sides
        self.sides = tuple(
            there[kind] if kind in there else Side(searcher, kind) for kind in ("shoe", "insole")
        )
        self.used, self.row = self.sides[0].used, self.sides[0].row
        kinds, table = searcher.kinds, searcher.table
        mask = np.flatnonzero(table.kinds("pair"))
        binding, required = kinds.binding[self.used], searcher.evaluator.required[self.used]
        first, self.pattern = alike(np.column_stack([binding[:, mask], required[:, mask]]))
        self.asked = binding[first], required[first]
        self._seen: dict[tuple[object, ...], Array] = {}

    def served(self, box: Box) -> Array:
        """Whether every shoe and insole within a box of both serve each group together, (n,)."""
        shoe, insole = self.sides
        goes = self._go(
            tuple(tuple(side.tried(n, box) for n in side.pairing) for side in self.sides)
        )
        return np.asarray((shoe.within(box) & insole.within(box) & goes[self.pattern])[self.row])

    def _go(self, tried: tuple[tuple[tuple[float | None, ...], ...], ...]) -> Array:
        """Whether all that have some of these levels go together, by what is asked of pairs."""
        if tried not in self._seen:
            shoes, insoles = (
                [item_with(side.kind, _stated(side.pairing, levels)) for levels in every(*some)]
                for side, some in zip(self.sides, tried, strict=True)
            )
            pairing = Pairing(self.searcher.table, shoes, insoles, *self.asked)
            together = np.asarray(pairing.goes["well"].all(axis=(1, 2)))
            self._seen[tried] = together[pairing.pattern]
        return self._seen[tried]

    def best(self) -> tuple[float, Box]:
        """The best pair found from what the commonest kinds of customers need."""
        common = self.searcher.commonest(self.row, len(self.used))
        found = [self._climbed(kind) for kind in common]
        return max(found, key=lambda one: one[0], default=(0.0, {}))

    def _climbed(self, k: int) -> tuple[float, Box]:
        """The ideal pair of one kind, of a middling fit, changed where they do not go together."""
        levels: Levels = {}
        for side in self.sides:
            fit = {n: float(side.levels[n][len(side.levels[n]) // 2]) for n in side.fit}
            levels |= {**side.ideal(k), **fit}
        box: Box = {n: (one, one) for n, one in levels.items()}
        aim = self.searcher.aim
        gain = float(aim @ self.served(box))
        for side in self.sides:
            for name in side.pairing:
                for level in side.levels[name]:
                    tried = {**box, name: (float(level), float(level))}
                    more = float(aim @ self.served(tried))
                    if more > gain + 1e-9:
                        gain, box = more, tried
        return gain, box


def joint_briefs(searcher: Searcher, most: int, least: float) -> Iterator[JointBrief]:
    """Shoes with insoles that serve customers whom no brief before them reaches."""
    if "pair" not in searcher.assessor.terms.ways or not searcher.aim.any():
        return
    two = _Two(searcher)
    for _ in range(most):
        gain, box = two.best()
        if not searcher.enough(gain, least):
            return
        box = widened(box, two.sides[::-1], two.served, searcher.aim)
        served = searcher.sized(two.served(box))
        shoe, insole = (searcher.worded(side, box, served) for side in two.sides)
        yield JointBrief(shoe, insole, shoe.adds)
        searcher.aim[served] = 0.0


def find_gaps(
    assessor: Assessor,
    catalogue: Catalogue,
    kinds: Kinds,
    customers: int,
    *,
    thin: bool = False,
    most: int,
    progress: Progress | None = None,
) -> Gaps:
    """Briefs and restocks for customers who are not served, or have too little choice.

    Parameters
    ----------
    customers : all customers counted.
    thin : aim at customers with less than ``coverage.choice`` to choose from instead.
    most : most briefs, and most restocks, to give.
    progress : called with how many briefs are done, and of how many.
    """
    served = assessor.evaluator(catalogue.items, kinds).evaluate()
    enough = assessor.book.parameters.coverage.choice if thin else 0
    aim = np.where(served.well & (served.choices >= enough), 0, kinds.weights)
    searcher = Searcher(assessor, catalogue, kinds, aim, customers)
    least = assessor.book.parameters.coverage.brief_least
    restocks = tuple(searcher.restocks(most, least))
    briefs: list[Brief] = []
    for brief in searcher.briefs(most, least):
        briefs.append(brief)
        if progress:
            progress(len(briefs), most)
    joint = tuple(joint_briefs(searcher, most, least))
    stopped = (customers - float(kinds.weights.sum())) / customers
    opposed = searcher.opposed() / customers
    left = float(searcher.aim.sum()) / customers
    missed = float(aim.sum()) / customers
    return Gaps(missed, tuple(briefs), joint, restocks, left, opposed, stopped)

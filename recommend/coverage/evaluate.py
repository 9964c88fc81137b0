"""Groups of customers against a catalogue: what may be sold to each, and whether it serves.

A *group* has the same needs and the same size. Everything is judged as rarely as can be: needs that
bind alike once, products that stand to them alike once, and pairs by what shoe and insole do to
each other alone (whether one fits into the other, and what they come to together).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property, reduce
from typing import Literal

import numpy as np

from recommend.catalogue.loading import Item
from recommend.coverage.rows import Alike, Array, alike, together
from recommend.coverage.tally import Layout, Tally
from recommend.match.judge import INSOLE_READS, SHOE_READS, Judged, fit
from recommend.match.needs import NeedTable
from recommend.match.ranking import without_insole
from recommend.match.sizes import Availability, SizeClasses
from recommend.match.weighing import Way

CELLS = 100_000_000  # products times groups looked at together; bounds memory
CHUNK = 20_000  # kinds whose needs are reconciled together
HUNDREDTHS = 100

Level = Literal["harmless", "well"]
LEVELS: tuple[Level, ...] = ("harmless", "well")
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Terms:
    """How products are sold.

    Attributes
    ----------
    ways : pairs of shoe and insole (or no insole, where none is asked for), shoes alone, insoles
        alone; one of them is enough.
    accepted : in stock only, or also made but sold out.
    parts : factor on the part of each wish that must be met; 0 leaves the musts alone.
    """

    ways: tuple[Way, ...]
    accepted: tuple[Availability, ...] = ("in-stock",)
    parts: float = 1.0

    @property
    def kinds(self) -> frozenset[str]:
        """Kinds of product that are sold in these ways."""
        parts = {"pair": ("shoe", "insole"), "shoe": ("shoe",), "insole": ("insole",)}
        return frozenset(kind for way in self.ways for kind in parts[way])


@dataclass(frozen=True, slots=True)
class Kinds:
    """Customers grouped by what their needs come to, and by size.

    Attributes
    ----------
    binding : needs that rule products out, for each of k kinds, bool, (k, needs).
    required : part of each wish that must be met to serve, in hundredths, uint8, (k, needs).
    more : by ``shoe`` and ``insole``, whether the feet ask for more than none, (k,).
    sizes : the size classes that occur, ascending, (z,).
    kind, size : of each of n groups, its row in the above and its place in `sizes`, (n,).
    weights : customers of each group whom no stop withholds, (n,).
    group : the group of each case of the tally.
    """

    binding: Array
    required: Array
    more: dict[str, Array]
    sizes: Array
    kind: Array
    size: Array
    weights: Array
    group: Array

    def only(self, groups: Array) -> Kinds:
        """Some groups alone; `group` is left as it is."""
        return Kinds(self.binding, self.required, self.more, self.sizes, self.kind[groups],
                     self.size[groups], self.weights[groups], self.group)  # fmt: skip


def kinds_of(tally: Tally, layout: Layout, table: NeedTable) -> Kinds:
    """Group the cases of a tally by what their needs come to and by size."""
    left, right = (tally.cases[:, columns] for columns in layout.of_needs)
    either = left | right
    first, rules = alike(either)
    binding, required, more = needs_of_rules(table, layout.unpack(either[first]))
    asked = [*more.values()]
    key = np.column_stack([np.packbits(binding, axis=1), required, *asked]).astype(np.uint8)
    first, same = alike(key)
    kind = same[rules]
    sizes, size = np.unique(tally.cases[:, layout.size], return_inverse=True)
    groups, group = np.unique(kind * len(sizes) + size.ravel(), return_inverse=True)
    open_ = np.where(tally.cases[:, layout.stop] == 0, tally.counts, 0)
    return Kinds(
        binding=binding[first],
        required=required[first],
        more={name: one[first] for name, one in more.items()},
        sizes=sizes,
        kind=groups // len(sizes),
        size=groups % len(sizes),
        weights=np.bincount(group.ravel(), open_, len(groups)),
        group=group.ravel(),
    )


def needs_of_rules(table: NeedTable, holds: Array) -> tuple[Array, Array, dict[str, Array]]:
    """What sets of rules come to: `binding`, `required` and `more` of `Kinds`."""
    binding, required, more = [], [], []
    for start in range(0, len(holds), CHUNK):
        some = holds[start : start + CHUNK]
        active = table.active(some)
        binding.append(active.binding)
        required.append(np.rint(HUNDREDTHS * table.required(some)).astype(np.uint8))
        more.append([table.asks_more(kind, active) for kind in ("shoe", "insole")])
    shoe, insole = (np.concatenate([one[k] for one in more]) for k in (0, 1))
    return np.concatenate(binding), np.concatenate(required), {"shoe": shoe, "insole": insole}


class Stand:
    """How products stand to every kind of customers, those that stand alike once.

    Parameters
    ----------
    judged : m products, or pairs, judged by every need.
    mask : which needs are looked at.
    """

    def __init__(self, judged: Judged, mask: Array) -> None:
        self.judged, self.mask = judged, np.flatnonzero(mask)
        met = np.rint(HUNDREDTHS * judged.satisfaction[:, mask]).astype(np.uint8)
        broken = judged.broken[:, mask]
        key = np.column_stack([np.packbits(broken, axis=1), met]).astype(np.uint8)
        first, self.which = alike(key)
        self.broken, self.met = broken[first], met[first]

    def fits(self, level: Level, binding: Array, required: Array) -> Array:
        """Whether each product will do for kinds of these needs, bool, (k, m)."""
        out = any_of(binding[:, self.mask], self.broken)
        if level == "well":
            wanted = required[:, self.mask]
            for part in np.unique(wanted[wanted > 0]):
                out |= any_of(wanted == part, self.met < part)
        return np.asarray(~out[:, self.which])


def judged_alone(table: NeedTable, items: Sequence[Item]) -> Judged:
    """Products judged one by one, by every need."""
    return Judged(table.book, table.needs, [(item,) for item in items])


def any_of(asked: Array, lacking: Array) -> Array:
    """Whether a product (rows of `lacking`) lacks something that is asked (rows of `asked`)."""
    return np.asarray(asked.astype(np.float32) @ lacking.T.astype(np.float32) > 0)


@dataclass(frozen=True, slots=True)
class Usable:
    """What may be sold to some groups: shoes (n, s) and insoles (n, i), and whether anything."""

    shoes: Alike
    insoles: Alike
    any: Array


def merged_usable(found: Sequence[Usable]) -> Usable:
    """What may be sold in one way or another."""
    return reduce(
        lambda a, b: Usable(a.shoes | b.shoes, a.insoles | b.insoles, a.any | b.any), found
    )


@dataclass(frozen=True, slots=True)
class JudgedGroups:
    """Some groups judged.

    Attributes
    ----------
    groups : which.
    usable : what serves them, by group and product.
    harmless : whether something at least meets musts and nevers, (n,).
    choices : among how many they can choose: of pairs the rarer part, (n,).
    """

    groups: slice
    usable: Usable
    harmless: Array
    choices: Array


@dataclass(frozen=True, slots=True)
class Served:
    """What a catalogue does for n groups.

    Attributes
    ----------
    well : whether something serves them, (n,).
    harmless : whether something at least meets every must and breaks no never, (n,).
    choices : among how many products they can choose, (n,).
    reach, sole : customers each product serves, and whom nothing else serves, (items,).
    """

    well: Array
    harmless: Array
    choices: Array
    reach: Array
    sole: Array


class Evaluator:
    """Judges groups of customers against shoes and insoles, some groups at a time.

    Parameters
    ----------
    table : the needs.
    items : what is sold; no insole at all is there besides, where none is asked for.
    classes : size classes.
    kinds : the customers.
    terms : how products are sold.
    """

    def __init__(self, table: NeedTable, items: Sequence[Item], classes: SizeClasses, kinds: Kinds,
                 terms: Terms) -> None:  # fmt: skip
        self.table, self.classes, self.kinds, self.terms = table, classes, kinds, terms
        self.shoes = tuple(item for item in items if item.product.kind == "shoe")
        insoles = tuple(item for item in items if item.product.kind == "insole")
        self.items, self.bought = (*self.shoes, *insoles), len(insoles)
        self.insoles = (*insoles, *without_insole(table.book))
        has = {
            "shoe": classes.having(self.shoes, terms.accepted)[kinds.sizes],
            "insole": classes.having(self.insoles, terms.accepted)[kinds.sizes],
        }
        if classes.unknown in kinds.sizes:  # nobody can be handed a size that nobody knows
            has["shoe"][-1] = has["insole"][-1, : self.bought] = False
        self.has = {kind: Alike.made(one, np.arange(len(one))) for kind, one in has.items()}
        self.required = np.rint(kinds.required * np.float32(terms.parts)).astype(np.uint8)
        self._judged: dict[tuple[str, Level], Alike] = {}

    # --- products by themselves -------------------------------------------------------------

    @cached_property
    def stands(self) -> dict[str, Stand]:
        """How products stand to the needs: in a pair, or sold alone."""
        stands = {}
        for kind, items in (("shoe", self.shoes), ("insole", self.insoles)):
            judged = judged_alone(self.table, items)
            stands[f"{kind} in pair"] = Stand(judged, self.table.kinds(kind))
            if kind in self.terms.ways:
                stands[kind] = Stand(judged, self.table.kinds(kind, "pair"))
        return stands

    def fits(self, stand: str, level: Level, kinds: Array) -> Array:
        """Whether each product of a stand will do for some kinds, bool, (kinds, products)."""
        return self._fits(stand, level)[kinds].all

    def _fits(self, stand: str, level: Level) -> Alike:
        """The same for all kinds, those of which the stand is asked the same judged once."""
        if (stand, level) not in self._judged:
            one, more = self.stands[stand], self.kinds.more["insole"]
            asked = [self.kinds.binding[:, one.mask], self.required[:, one.mask]]
            first, of = alike(np.column_stack([*asked, more]).astype(np.uint8))
            found = one.fits(level, self.kinds.binding[first], self.required[first])
            if stand.startswith("insole") and len(self.insoles) > self.bought:
                found[:, -1] &= ~more[first]
            self._judged[stand, level] = Alike.made(found, of)
        return self._judged[stand, level]

    def there(self, stand: str, level: Level, kind: Array, size: Array,
              anyway: bool = False) -> Alike:  # fmt: skip
        """What will do by itself, and is in the size (or would be, `anyway`), (n, products)."""
        fits = self._fits(stand, level)[kind]
        return fits if anyway else fits & self.has[stand.partition(" ")[0]][size]

    def could(self, product: int) -> Array:
        """Whether one of `items` will do by itself for each group and is in the size, (n,)."""
        kind, n = self.place(product)
        found = np.zeros(len(self.kinds.kind), bool)
        for stand in (one for one in self.stands if one.startswith(kind)):
            fits = self._fits(stand, "well")
            found |= fits.rows[:, n][fits.of[self.kinds.kind]]
        has = self.has[kind]
        return np.asarray(found & has.rows[:, n][has.of[self.kinds.size]])

    def does(self, kind: str) -> Array:
        """All that tells products of a kind apart: whom they suit, sizes, partners, (m, f)."""
        stands = [self._fits(one, "well").rows for one in self.stands if one.startswith(kind)]
        table = np.concatenate([*stands, self.has[kind].rows]).T
        if "pair" not in self.terms.ways:
            return np.asarray(table)
        goes = self.pairing.goes["well"] > 0
        if kind == "shoe":
            goes, of = goes.transpose(1, 0, 2), self.pairing.shoe
        else:
            goes, of = goes.transpose(2, 0, 1), self.pairing.insole
        return np.column_stack([table, goes.reshape(len(goes), -1)[of]])

    def made(self, kind: str) -> tuple[Item, ...]:
        """What is sold of a kind, the place of no insole left out."""
        return self.shoes if kind == "shoe" else self.insoles[: self.bought]

    def place(self, product: int) -> tuple[str, int]:
        """Kind of one of `items`, and its place among those of the kind."""
        shoes = len(self.shoes)
        return ("shoe", product) if product < shoes else ("insole", product - shoes)

    def without(self, product: int) -> Evaluator:
        """The same with one of `items` sold out for ever."""
        found, (kind, n) = copy(self), self.place(product)
        found.has = {**self.has, kind: self.has[kind].without(slice(n, n + 1))}
        return found

    def over(self, groups: Array) -> Evaluator:
        """The same over some groups alone."""
        found = copy(self)
        found.kinds = self.kinds.only(groups)
        return found

    # --- pairs ------------------------------------------------------------------------------

    @cached_property
    def pairing(self) -> Pairing:
        """Which shoes go with which insoles."""
        return Pairing(self.table, self.shoes, self.insoles, self.kinds.binding, self.required)

    def sold(self, way: Way, level: Level, kind: Array, size: Array, shoes: bool = False,
             insoles: bool = False) -> Usable:  # fmt: skip
        """What may be sold in one way to groups of these kinds and places among the sizes.

        `shoes`, `insoles` : as if all were there in the size.
        """
        if way == "pair":
            one = self.there("shoe in pair", level, kind, size, shoes)
            other = self.there("insole in pair", level, kind, size, insoles)
            return self.pairing.partnered(level, kind, one, other)
        usable = self.there(way, level, kind, size, shoes if way == "shoe" else insoles)
        others = len(self.insoles if way == "shoe" else self.shoes)
        none = Alike(np.zeros((1, others), bool), np.zeros(len(kind), np.intp))
        both = (usable, none) if way == "shoe" else (none, usable)
        return Usable(*both, usable.any)

    def usable(self, level: Level, groups: Array | slice, shoes: bool = False,
               insoles: bool = False) -> Usable:  # fmt: skip
        """What may be sold to some groups; `shoes`, `insoles`: as if all were there in the size."""
        kind, size = self.kinds.kind[groups], self.kinds.size[groups]
        ways = self.terms.ways
        return merged_usable([self.sold(w, level, kind, size, shoes, insoles) for w in ways])

    # --- all groups -------------------------------------------------------------------------

    def parts(self, count: int) -> Iterator[slice]:
        """Slices of `count` groups that fit into memory together."""
        step = max(1, CELLS // max(1, len(self.shoes) + len(self.insoles)))
        yield from (slice(at, min(at + step, count)) for at in range(0, count, step))

    def part(self, groups: slice) -> JudgedGroups:
        """Judge the groups of a slice."""
        usable = self.usable("well", groups)
        lost = np.flatnonzero(~usable.any) + groups.start
        harmless = usable.any.copy()
        if len(lost):
            harmless[lost - groups.start] = self.usable("harmless", lost).any
        return JudgedGroups(groups, usable, harmless, self.choices(usable))

    def choices(self, usable: Usable) -> Array:
        """Among how many products each group can choose: of pairs the rarer part, (n,)."""
        bought = usable.insoles.only(slice(0, self.bought))
        shoes, insoles = usable.shoes.count, bought.count
        if self.terms.ways != ("pair",):
            return np.asarray(np.maximum(shoes, insoles))
        bare = usable.insoles.only(slice(self.bought, None)).any
        return np.asarray(np.where(bare, shoes, np.minimum(shoes, insoles)))

    def evaluate(self, progress: Progress | None = None,
                 collect: Callable[[JudgedGroups], None] | None = None) -> Served:  # fmt: skip
        """What the catalogue does for all groups.

        Parameters
        ----------
        progress : called with how many groups are done, and how many there are.
        collect : called with every part, for sums of its own.
        """
        count, found = len(self.kinds.kind), []
        reach, sole = np.zeros(len(self.items)), np.zeros(len(self.items))
        for groups in self.parts(count):
            part = self.part(groups)
            found.append((part.usable.any, part.harmless, part.choices))
            weights = self.kinds.weights[groups]
            reach += self._weighed(part.usable, weights, weights)
            sole += self._weighed(part.usable, *self._alone(part, weights))
            if collect:
                collect(part)
            if progress:
                progress(groups.stop, count)
        columns = [np.concatenate([one[k] for one in found]) for k in range(3)]
        return Served(columns[0], columns[1], columns[2], reach, sole)

    def _weighed(self, usable: Usable, shoe: Array, insole: Array) -> Array:
        """Customers for whom each product is usable, those of shoes and of insoles weighed."""
        insoles = usable.insoles.weighed(insole)[: self.bought]
        return np.concatenate([usable.shoes.weighed(shoe), insoles])

    def _alone(self, part: JudgedGroups, weights: Array) -> tuple[Array, Array]:
        """Weights of groups who are served by one shoe alone, and by one insole alone."""
        ways, usable = self.terms.ways, part.usable
        shoe = (usable.shoes.count == 1) & usable.any
        insole = (usable.insoles.count == 1) & usable.any
        if "insole" in ways:
            shoe &= ~self._by_itself("insole", part.groups)
        if "shoe" in ways:
            insole &= ~self._by_itself("shoe", part.groups)
        return weights * shoe, weights * insole

    def _by_itself(self, way: Way, groups: slice) -> Array:
        return self.sold(way, "well", self.kinds.kind[groups], self.kinds.size[groups]).any


class Pairing:
    """Which shoes go with which insoles, by what each does to the other alone.

    Shoes that take the same insoles and add the same to a pair are one class; so are insoles.
    """

    def __init__(self, table: NeedTable, shoes: Sequence[Item], insoles: Sequence[Item],
                 binding: Array, required: Array) -> None:  # fmt: skip
        self.book = table.book
        summed = sorted({part for parts in self.book.sums.values() for part in parts})
        self.shoe, one = _classes(shoes, SHOE_READS, summed)
        self.insole, other = _classes(insoles, INSOLE_READS, summed)
        self.sides = [(shoes[n], tuple(shoes[n].levels.get(s) for s in summed)) for n in one]
        self.others = [(insoles[n], tuple(insoles[n].levels.get(s) for s in summed)) for n in other]
        mask = np.flatnonzero(table.kinds("pair"))
        key = np.column_stack([binding[:, mask], required[:, mask]])
        first, self.pattern = alike(key)
        self._needs = [table.needs[n] for n in mask]
        self._asked = binding[first][:, mask], required[first][:, mask]

    @cached_property
    def goes(self) -> dict[Level, Array]:
        """By level, whether the classes go together, float32, (patterns, shoes, insoles)."""
        sums: dict[tuple[object, object], int] = {}
        known: dict[tuple[object, ...], bool] = {}
        pairs: list[tuple[Item, Item]] = []
        which = np.zeros((len(self.sides), len(self.others)), np.intp)
        fits = np.zeros(which.shape, bool)
        rooms = [(i.offered, *(i.levels.get(n) for n in INSOLE_READS)) for i, _ in self.others]
        for s, (shoe, adds) in enumerate(self.sides):
            room = tuple(shoe.levels.get(name) for name in SHOE_READS)
            for i, (insole, more) in enumerate(self.others):
                if (adds, more) not in sums:
                    sums[adds, more] = len(pairs)
                    pairs.append((shoe, insole))
                which[s, i] = sums[adds, more]
                key = (room, rooms[i])
                if key not in known:
                    known[key] = fit(shoe, insole, self.book.parameters).fits
                fits[s, i] = known[key]
        judged = Judged(self.book, self._needs, pairs)
        stand = Stand(judged, np.ones(len(self._needs), bool))
        do = {level: stand.fits(level, *self._asked)[:, which] & fits for level in LEVELS}
        return {level: one.astype(np.float32) for level, one in do.items()}

    def partnered(self, level: Level, kind: Array, shoes: Alike, insoles: Alike) -> Usable:
        """Of shoes (n, s) and insoles (n, i) that will do, those with a partner that goes."""
        if not (self.sides and self.others):
            none = slice(None)
            return Usable(shoes.without(none), insoles.without(none), np.zeros(len(kind), bool))
        one = _per_class(shoes, self.shoe, len(self.sides))
        other = _per_class(insoles, self.insole, len(self.others))
        first, of = together(self.pattern[kind], one.of, other.of)
        with_shoe = np.zeros((len(first), len(self.sides)), bool)
        with_insole = np.zeros((len(first), len(self.others)), bool)
        patterns = self.pattern[kind[first]]
        for pattern in np.unique(patterns):
            rows, goes = patterns == pattern, self.goes[level][pattern]
            with_shoe[rows] = other.rows[other.of[first[rows]]].astype(np.float32) @ goes.T > 0
            with_insole[rows] = one.rows[one.of[first[rows]]].astype(np.float32) @ goes > 0
        shoes = shoes & Alike(with_shoe[:, self.shoe], of)
        insoles = insoles & Alike(with_insole[:, self.insole], of)
        return Usable(shoes, insoles, shoes.any)


def _classes(items: Sequence[Item], reads: Sequence[str], summed: list[str]) -> tuple[Array, Array]:
    """Class of each item, and the first item of each class."""
    seen: dict[object, int] = {}
    of: list[int] = []
    first: list[int] = []
    for n, item in enumerate(items):
        levels = tuple(item.levels.get(name) for name in (*reads, *summed))
        key = (item.offered == "none", levels)
        if key not in seen:
            seen[key] = len(first)
            first.append(n)
        of.append(seen[key])
    return np.array(of, np.intp), np.array(first, np.intp)


def _per_class(usable: Alike, of: Array, count: int) -> Alike:
    """Whether each class has a usable product, (n, classes)."""
    order = np.argsort(of, kind="stable")
    starts = np.searchsorted(of[order], np.arange(count))
    rows = np.logical_or.reduceat(usable.rows[:, order], starts, axis=1)
    return Alike.made(rows, usable.of)

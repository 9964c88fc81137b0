"""What a buyer is told about a catalogue and the customers it is for.

All shares are of all customers, those whom a stop sends to a clinician included.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist
from typing import Literal

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.evaluate import (
    Evaluator,
    Kinds,
    Progress,
    Served,
    Terms,
    kinds_of,
    needs_of_rules,
)
from recommend.coverage.rows import Array
from recommend.coverage.split import (
    OUTCOMES,
    SERVED,
    Cell,
    Gap,
    Shelves,
    Shown,
    Split,
    codes_of,
)
from recommend.coverage.tally import Layout, Tally, error_of_mean, layout_of
from recommend.coverage.why import Reason, reasons_of
from recommend.infer.many import Column, conclude_many
from recommend.match.needs import NeedTable
from recommend.match.sizes import SizeClasses
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import Fact, about, ends_of


@dataclass(frozen=True, slots=True)
class Share:
    """A share with its interval; all three from 0 to 1."""

    value: float
    low: float
    high: float


def share_of(count: float, total: int, confidence: float) -> Share:
    """The share `count` / `total` with Wilson's score interval at `confidence`.

    Chosen because it keeps its promise near 0 and 1, where shares of a well-stocked shop lie.
    Nobody in the sample gives the interval from 0 to 1.

    References
    ----------
    Wilson EB 1927, J Am Stat Assoc 22:209-212.
    """
    if total == 0:
        return Share(0.0, 0.0, 1.0)
    z = NormalDist().inv_cdf((1 + confidence) / 2)
    p = count / total
    middle = (p + z * z / (2 * total)) / (1 + z * z / total)
    half = z / (1 + z * z / total) * sqrt(p * (1 - p) / total + z * z / (4 * total * total))
    return Share(p, max(0.0, min(p, middle - half)), min(1.0, max(p, middle + half)))


Never = Literal["", "no-partner", "ruled-out", "not-stated", "never-well"]


@dataclass(frozen=True, slots=True)
class ProductUse:
    """One product: whom it serves, and who would be lost without it (shares of customers).

    `suits_drawn` : whether it would serve any customer counted if every size were there; `never` :
    why a search over every limit found no foot that it serves: ``no-partner`` (nothing here goes
    with it), ``ruled-out`` or ``not-stated`` (by `what`), or ``never-well`` (it does no harm, and
    serves nobody well); empty when it serves somebody.
    """

    id: str
    kind: str
    reach: float
    sole: float
    suits_drawn: bool
    never: Never = ""
    what: str = ""


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
class Coverage:
    """A catalogue against a population.

    Attributes
    ----------
    customers : how many were counted.
    served : those who are served well, or need nothing and find something that fits.
    outcomes : customers by `OUTCOMES`.
    choice : those served with ``coverage.choice`` or more to choose from.
    reasons : why the others are not served, the commonest first.
    gaps : the groups that are served less than others, worst first.
    by : the two ways of the matrix, and its `cells`; `shown` says what is sold in each.
    """

    customers: int
    served: Share
    outcomes: Mapping[str, Share]
    choice: Share
    reasons: tuple[tuple[Reason, float], ...]
    gaps: tuple[Gap, ...]
    by: tuple[str, str]
    cells: tuple[Cell, ...]
    rows: tuple[Cell, ...]
    columns: tuple[str, ...]
    shown: tuple[Shown, ...]
    products: tuple[ProductUse, ...]
    missing_sizes: tuple[MissingSize, ...]
    split: Split


class Assessor:
    """Answers about one rulebook; prepared once, used for several catalogues and tallies."""

    def __init__(self, book: Rulebook, classes: SizeClasses, terms: Terms) -> None:
        self.book, self.classes, self.terms = book, classes, terms
        self.layout: Layout = layout_of(book)
        self.table = NeedTable(book, self.layout.needs)

    def kinds(self, tally: Tally) -> Kinds:
        """The customers of a tally in groups."""
        return kinds_of(tally, self.layout, self.table)

    def evaluator(
        self, items: Sequence[Item], kinds: Kinds, terms: Terms | None = None
    ) -> Evaluator:
        """What judges `kinds` against some products."""
        return Evaluator(self.table, items, self.classes, kinds, terms or self.terms)

    def share(self, count: float, customers: int) -> Share:
        """So many of all customers, as a share with its interval."""
        return share_of(count, customers, self.book.parameters.coverage.confidence)

    def headline(self, catalogue: Catalogue, tally: Tally, kinds: Kinds | None = None,
                 terms: Terms | None = None) -> Share:  # fmt: skip
        """Share of customers served, with its interval; `kinds` where they are known."""
        kinds = kinds or self.kinds(tally)
        well = self.evaluator(catalogue.items, kinds, terms).evaluate().well
        return self.share(float(kinds.weights[well].sum()), tally.customers)

    def cover(
        self,
        catalogue: Catalogue,
        tally: Tally,
        progress: Progress | None = None,
        by: tuple[str, str] = ("foot-type", "size"),
    ) -> Coverage:
        """The whole report for one catalogue; `by` are the two ways of its matrix."""
        kinds = self.kinds(tally)
        evaluator = self.evaluator(catalogue.items, kinds)
        codes = codes_of(self.book, tally, self.layout, self.classes, kinds)
        shelves = Shelves(codes, by, tally, evaluator)
        served = evaluator.evaluate(progress, shelves.add)
        reasons = reasons_of(evaluator, served)
        split = Split(tally, self.layout, codes, evaluator, served, reasons)
        outcomes, cells = split.outcomes(), split.cells(*by)
        across = codes.names[by[1]]
        at = [codes.names[by[0]].index(c.row) * len(across) + across.index(c.column) for c in cells]
        enough = served.well & (served.choices >= self.book.parameters.coverage.choice)
        there = {cell.column for cell in cells}
        return Coverage(
            customers=tally.customers,
            served=self.share(sum(outcomes[:SERVED]), tally.customers),
            outcomes={n: self.share(o, tally.customers)
                      for n, o in zip(OUTCOMES, outcomes, strict=True)},
            choice=self.share(float(kinds.weights[enough].sum()), tally.customers),
            reasons=tuple(split.by_reason()),
            gaps=tuple(split.gaps(3)),
            by=by,
            cells=cells,
            rows=tuple(sorted(split.cells(by[0]), key=lambda cell: -cell.share)),
            columns=tuple(name for name in across if name in there),
            shown=tuple(shelves.shown(n) for n in at),
            products=tuple(self._products(evaluator, served, tally.customers)),
            missing_sizes=self._missing_sizes(evaluator, reasons, tally.customers),
            split=split,
        )  # fmt: skip

    def _products(self, evaluator: Evaluator, served: Served, total: int) -> Iterator[ProductUse]:
        drawn = _anywhere(evaluator, "well")
        never = self._never(evaluator, drawn)
        for n, item in enumerate(evaluator.items):
            if item.product.kind in self.terms.kinds:
                why, what = never.get(item.id, ("", ""))
                reach, sole = float(served.reach[n]) / total, float(served.sole[n]) / total
                yield ProductUse(item.id, item.product.kind, reach, sole, bool(drawn[n]), why, what)

    def _never(self, evaluator: Evaluator, drawn: Array) -> dict[str, tuple[Never, str]]:
        """Products that no foot of a search over every limit could be sold, and why."""
        if drawn.all():
            return {}
        feet = self.book.parameters.coverage.search_feet
        holds = holds_for_anyone(self.book, self.layout.needs, feet, seed=0)
        binding, required, more = needs_of_rules(self.table, holds)
        none = np.zeros(len(holds), np.intp)
        kinds = Kinds(binding, required, more, np.zeros(1, np.intp), np.arange(len(holds)), none,
                      np.ones(len(holds)), none)  # fmt: skip
        search = self.evaluator(evaluator.items, kinds)
        well = drawn | _anywhere(search, "well")
        harmless = well | _anywhere(evaluator, "harmless") | _anywhere(search, "harmless")
        out: dict[str, tuple[Never, str]] = {}
        for n, item in enumerate(evaluator.items):
            if not well[n]:
                why = self._ruled_out(search, item)
                out[item.id] = ("never-well", "") if harmless[n] else why
        return out

    def _ruled_out(self, search: Evaluator, item: Item) -> tuple[Never, str]:
        """What keeps an item from every foot of a search: what rules it out most often."""
        kind = item.product.kind
        everyone = np.arange(len(search.kinds.binding))
        n = search.made(kind).index(item)
        if search.fits(f"{kind} in pair", "harmless", everyone)[:, n].any():
            return "no-partner", ""
        broken = search.stands[f"{kind} in pair"].judged.broken[n] & self.table.kinds(kind)
        often = search.kinds.binding[:, broken].sum(axis=0)
        need = self.table.needs[np.flatnonzero(broken)[int(often.argmax())]]
        unstated = need.attribute not in item.levels
        return ("not-stated" if unstated else "ruled-out"), need.attribute

    def _missing_sizes(self, evaluator: Evaluator, reasons: tuple[tuple[Reason, ...], Array],
                       total: int) -> tuple[MissingSize, ...]:  # fmt: skip
        """Sizes for want of which most customers are lost, worst first."""
        kinds = evaluator.kinds
        by_size: dict[float | None, Array] = {}
        for n, reason in enumerate(reasons[0]):
            if reason.why != "size":
                continue
            alone = np.array([1.0, reason.what == ("shoe",), reason.what == ("insole",)])
            rows = np.flatnonzero(reasons[1] == n)
            for place in np.unique(kinds.size[rows]):
                size = self.classes.mondopoint(int(kinds.sizes[place]))
                count = float(kinds.weights[rows[kinds.size[rows] == place]].sum())
                by_size[size] = by_size.get(size, np.zeros(3)) + count * alone
        ordered = sorted(by_size.items(), key=lambda pair: (-pair[1][0], pair[0]))
        return tuple(
            MissingSize(size, *(float(n) / total for n in count))
            for size, count in ordered if size is not None and count[0]
        )  # fmt: skip


def _anywhere(evaluator: Evaluator, level: Literal["harmless", "well"]) -> Array:
    """Whether each item could be sold to some kind of customers if every size were there."""
    _, first = np.unique(evaluator.kinds.kind, return_index=True)
    found = np.zeros(len(evaluator.items), bool)
    for part in evaluator.parts(len(first)):
        usable = evaluator.usable(level, first[part], shoes=True, insoles=True)
        insoles = usable.insoles.rows[:, : evaluator.bought]
        found |= np.concatenate([usable.shoes.rows.any(axis=0), insoles.any(axis=0)])
    return found


MISSING = 0.1  # share of readings left out


def holds_for_anyone(book: Rulebook, rules: tuple[str, ...], count: int, seed: int) -> Array:
    """Which of `rules` hold for `count` feet spread over all limits and words, (n, rules).

    A population draws the likely. To find a product that no rule can ever list, one needs feet on
    both sides of every limit in every combination that chance finds, missing readings, all ages
    and all answers included. Sets that repeat are given once.
    """
    columns = dict(_columns(book, count, np.random.default_rng(seed)))
    holds = conclude_many(book, columns, count).holds
    return np.unique(np.column_stack([holds[rule] for rule in rules]), axis=0)


def _columns(book: Rulebook, count: int, rng: np.random.Generator) -> Iterator[tuple[str, Column]]:
    known = {name: rng.random(count) >= MISSING for name in book.measures}
    for name, definition in book.measures.items():
        yield Fact("known", name).name, known[name].astype(np.int8)
        if definition.values:
            continue
        limits = sorted({value for _, value in book.constants.get(name, ())})
        values = _around(limits, count, rng)
        margin = book.parameters.noise.clearly * error_of_mean(definition, 1)
        for fact, end in ends_of(name, values, np.array(margin)).items():
            yield fact, np.where(known[name], end, np.nan)
    for fact, words in book.vocabulary.words.items():
        one = about(fact)
        if one.concluded or one.kind in ("known", "asked"):
            continue
        codes = rng.integers(0, len(words), count)
        here = known[one.of] if one.kind == "measure" else rng.random(count) >= MISSING
        yield fact, np.where(here | (fact == "side"), codes, -1).astype(np.int8)
        if one.kind == "answer":
            yield Fact("asked", one.of).name, here.astype(np.int8)


def _around(limits: list[float], count: int, rng: np.random.Generator) -> Array:
    """Values in every gap between the limits and beyond both ends, all gaps alike."""
    if not limits:
        return np.zeros(count)
    width = max(limits[-1] - limits[0], abs(limits[0]), 1.0)
    edges = np.array([limits[0] - width, *limits, limits[-1] + width])
    gap = rng.integers(0, len(edges) - 1, count)
    return np.asarray(edges[gap] + rng.random(count) * (edges[gap + 1] - edges[gap]))

"""One question of the buyer answered: who is counted, what is covered, how sure.

Two catalogues, or two rulebooks, are compared by who is won and lost, by foot type. A list of
products is held against the modelled population: what it does not state, and whom that costs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import hypot
from statistics import NormalDist
from typing import Any

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.crowd import Crowd, added, crowd_of
from recommend.coverage.evaluate import Terms
from recommend.coverage.report import Assessor, Coverage, Share
from recommend.coverage.rows import Array
from recommend.coverage.split import SERVED, UNDETERMINED
from recommend.coverage.tally import PEOPLE, Tally, add
from recommend.coverage.tally import tally as tallied
from recommend.coverage.visits import resampled
from recommend.errors import counted
from recommend.match.sizes import CHILD, Availability, SizeClasses
from recommend.match.weighing import WAYS, Way
from recommend.parameters import Figure
from recommend.reading.texts import Texts
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE

Stage = Callable[[str], Callable[[int, int], None]]
SOLD: dict[str, tuple[Way, ...]] = {**{way: (way,) for way in WAYS}, "any": WAYS}
LISTED, SEED = 2_000, 1  # customers for a list: a share is then sure to about two points


@dataclass(frozen=True, slots=True)
class Scenario:
    """The share served where something assumed is otherwise: from `low` to `high`."""

    name: str
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Run:
    """Everything one `recommend coverage` says."""

    book: Rulebook
    catalogue: Catalogue
    crowd: Crowd
    sold: str
    sold_out_counts: bool
    coverage: Coverage
    scenarios: tuple[Scenario, ...]
    agreement: float | None
    comparison: Comparison | None
    shops: Mapping[str, Share]


@dataclass(frozen=True, slots=True)
class CoverageQuestion:
    """What the buyer asks.

    Attributes
    ----------
    sold : ``pair``, ``shoe``, ``insole`` or ``any``.
    sold_out_counts : whether a size that is made but sold out counts as there.
    sensitivity : whether the headline is also shown where what is assumed is otherwise.
    by : the two ways in which the matrix splits the customers.
    shops : by name, the stock of each shop of a chain, counted by itself as well.
    against, against_rules : another catalogue, or another rulebook, to compare with.
    """

    book: Rulebook
    catalogue: Catalogue
    crowd: Crowd
    sold: str = "pair"
    sold_out_counts: bool = False
    sensitivity: bool = True
    by: tuple[str, str] = ("foot-type", "size")
    shops: Mapping[str, Catalogue] = field(default_factory=dict)
    against: Catalogue | None = None
    against_rules: Rulebook | None = None

    def terms(self) -> Terms:
        """How products are sold."""
        accepted: tuple[Availability, ...] = ("in-stock",)
        if self.sold_out_counts:
            accepted = ("in-stock", "out-of-stock")
        return Terms(SOLD[self.sold], accepted)

    def tally(self, assessor: Assessor, stage: Stage) -> Tally:
        """The customers it is about, drawn and classified."""
        progress = stage("drawing and classifying feet")
        return self.crowd.tally(self.book, assessor.classes, progress=progress)

    def assessor(self, book: Rulebook | None = None, more: Iterable[Item] = ()) -> Assessor:
        """What answers it, under its own or another rulebook.

        Parameters
        ----------
        more : further products whose sizes must be told apart.
        """
        items = [*self.catalogue.items, *(self.against.items if self.against else ()), *more]
        classes = SizeClasses(items, self.book.parameters)
        return Assessor(book or self.book, classes, self.terms())


def answer(question: CoverageQuestion, stage: Stage) -> Run:
    """Count, judge, vary and compare.

    Parameters
    ----------
    stage : opens a stage with a name and gives what to call as it advances.
    """
    assessor, crowd, book = question.assessor(), question.crowd, question.book
    parts = crowd.by_shop(book, assessor.classes)
    tally = add(parts.values()) if parts else question.tally(assessor, stage)
    coverage = assessor.cover(question.catalogue, tally, stage("judging products"), question.by)
    if crowd.mode == "both":
        apart = _spread_of_visits(question, assessor, stage("drawing the visits again"))
        coverage = replace(coverage, served=_wider(coverage.served, apart, book))
    comparison = None
    if question.against is not None:
        comparison = compare_catalogues(assessor, question.catalogue, question.against, tally)
    elif question.against_rules is not None:
        there = question.assessor(question.against_rules)
        comparison = compare_rules(assessor, there, question.catalogue, crowd)
    scenarios: list[Scenario] = []
    if question.sensitivity:
        trying = stage("trying other assumptions")
        for one in _scenarios(question, assessor, tally, coverage):
            scenarios.append(one)
            trying(len(scenarios), 8)
    return Run(
        book=book,
        catalogue=question.catalogue,
        crowd=crowd,
        sold=question.sold,
        sold_out_counts=question.sold_out_counts,
        coverage=coverage,
        scenarios=tuple(scenarios),
        agreement=crowd.agreement(book),
        comparison=comparison,
        shops=_by_shop(question, assessor, tally, parts),
    )


def _by_shop(question: CoverageQuestion, assessor: Assessor, tally: Tally,
             parts: Mapping[str, Tally]) -> dict[str, Share]:  # fmt: skip
    """The headline of each shop: its own customers and its own stock, where they are told."""
    named = {name: one for name, one in parts.items() if name}
    names = sorted({*question.shops, *(named if len(parts) > 1 else ())})
    whole = question.catalogue
    return {
        name: assessor.headline(question.shops.get(name, whole), named.get(name, tally))
        for name in names
    }


def _spread_of_visits(
    question: CoverageQuestion, assessor: Assessor, progress: Callable[[int, int], None]
) -> float:
    """Standard deviation of the share served when the shop's visits are drawn again.

    References
    ----------
    Efron B 1979, Ann Stat 7:1-26 (the bootstrap).
    """
    crowd, parameters = question.crowd, question.book.parameters
    draws, count = (int(parameters.coverage[f"visit-{n}"]) for n in ("draws", "customers"))
    rng, found = np.random.default_rng(crowd.seed), []
    assert crowd.shop is not None
    for n in range(draws):
        again = replace(crowd, shop=resampled(crowd.shop, rng))
        tally = again.tally(question.book, assessor.classes, count=min(count, crowd.count))
        found.append(assessor.headline(question.catalogue, tally).value)
        progress(n + 1, draws)
    return float(np.std(found, ddof=1))


def _wider(share: Share, apart: float, book: Rulebook) -> Share:
    """The interval of a share with an error of its own added to that of drawing."""
    z = NormalDist().inv_cdf((1 + book.parameters.coverage.confidence) / 2)
    low, high = (hypot(end - share.value, z * apart) for end in (share.low, share.high))
    return Share(share.value, max(0.0, share.value - low), min(1.0, share.value + high))


def _scenarios(
    question: CoverageQuestion, assessor: Assessor, tally: Tally, coverage: Coverage
) -> Iterator[Scenario]:
    catalogue, terms = question.catalogue, assessor.terms
    kinds = assessor.kinds(tally)
    for name, parts in (("half-wishes", 0.5), ("no-wishes", 0.0)):
        one = assessor.headline(catalogue, tally, kinds, replace(terms, parts=parts)).value
        yield Scenario(name, one, one)
    if not question.crowd.drawn:
        return  # nothing is assumed about feet that were measured
    yield from _other_shares(question, coverage)
    parameters = question.book.parameters
    count = min(question.crowd.count, parameters.coverage.scenario_customers)
    found = []
    for name in ("none", "half", "strong"):
        factor = parameters.coverage[f"correlation-{name}"]
        other = question.crowd.tally(question.book, assessor.classes, assumed=factor, count=count)
        found.append(assessor.headline(catalogue, other).value)
    yield Scenario("correlations", min(found), max(found))
    if question.crowd.mode == "both":
        weighed = [replace(question.crowd, weight=w) for w in (0.5, 2.0)]
        tallies = [c.tally(question.book, assessor.classes, count=count) for c in weighed]
        ends = [assessor.headline(catalogue, one).value for one in tallies]
        yield Scenario("prior-visits", min(ends), max(ends))


def _other_shares(question: CoverageQuestion, coverage: Coverage) -> Iterator[Scenario]:
    """The headline where shares of purposes, ages and sexes stand at the ends of their ranges."""
    split, people = coverage.split, question.crowd.population
    figures: dict[str, Mapping[Any, Figure]] = {**people.words, "sex": people.sex}
    if question.crowd.children and people.children:
        figures["age-band"] = {**figures["age-band"], CHILD: people.children.share}
    served = split.weight * (split.outcome < SERVED)
    for way in PEOPLE:
        found = []
        for word, figure in figures.get(way, {}).items():
            mine = split.codes[way] == split.names[way].index(word)
            here, all_ = float(split.weight[mine].sum()), float(split.weight.sum())
            if figure.range_ is None or not 0 < here < all_:
                continue
            rates = np.array([served[mine].sum() / here, served[~mine].sum() / (all_ - here)])
            found += [float(rates @ (share, 1 - share)) for share in figure.range_]
        if found:
            yield Scenario(way, min(found), max(found))


@dataclass(frozen=True, slots=True)
class GroupChange:
    """Feet of one type, or of all: shares of all customers.

    Attributes
    ----------
    foot_type : the type here (not there); ``all`` for the sum.
    share : share of all feet.
    here, there : share of all feet whose owner is served here, and there.
    won, lost : served here and not there, and the reverse.
    """

    foot_type: str
    share: float
    here: float
    there: float
    won: float
    lost: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two ways of serving the same customers."""

    other: str
    changes: tuple[GroupChange, ...]

    @property
    def overall(self) -> GroupChange:
        """The change over all feet."""
        return self.changes[0]


def compare_catalogues(
    assessor: Assessor, here: Catalogue, there: Catalogue, tally: Tally
) -> Comparison:
    """The same customers under the same rules, from two catalogues."""
    first, second = (_served(assessor, one, tally) for one in (here, there))
    return _comparison(assessor, tally, first, second, there.folder)


def compare_rules(
    here: Assessor, there: Assessor, catalogue: Catalogue, crowd: Crowd
) -> Comparison:
    """The same customers and catalogue under two rulebooks."""
    pairs = zip(*(crowd.cases(one.book, one.classes) for one in (here, there)), strict=True)
    both = added(tallied(np.column_stack(pair)) for pair in pairs)
    width = here.layout.stop + 1
    mine = Tally(both.cases[:, :width], both.counts)
    theirs = Tally(both.cases[:, width:], both.counts)
    first, second = _served(here, catalogue, mine), _served(there, catalogue, theirs)
    return _comparison(here, mine, first, second, there.book.folder)


def _served(assessor: Assessor, catalogue: Catalogue, tally: Tally) -> Array:
    """Whether the customers of each row of the tally are served."""
    kinds = assessor.kinds(tally)
    served = assessor.evaluator(catalogue.items, kinds).evaluate().well[kinds.group]
    return np.asarray(served & (tally.cases[:, assessor.layout.stop] == 0))


def _comparison(
    assessor: Assessor, tally: Tally, here: Array, there: Array, other: str
) -> Comparison:
    names = (UNDETERMINED, *assessor.book.axes[FOOT_TYPE].values)
    columns = list(assessor.layout.columns("foot-type"))
    types = tally.cases[:, columns].T.ravel() + 1
    weight = np.tile(tally.counts, 2) / (2 * tally.customers)
    flags = (np.ones_like(here), here, there, here & ~there, there & ~here)
    sums = [np.bincount(types, weight * np.tile(flag, 2), len(names)) for flag in flags]
    overall = GroupChange("all", *(float(one.sum()) for one in sums))
    rows = [GroupChange(name, *(float(one[k]) for one in sums)) for k, name in enumerate(names)]
    rows = [row for row in rows if row.share > 0]
    rows.sort(key=lambda row: (-row.won - row.lost, -row.share))
    return Comparison(other, (overall, *rows))


def unstated_lines(items: Sequence[Item], book: Rulebook) -> Iterator[str]:
    """Sentences on attributes that rule products out because nobody states them.

    Counted over the modelled population, sizes not looked at. Nothing is said when every product
    states what it must.
    """
    catalogue = Catalogue("", "", "", tuple(items), (), Texts.of("", {}))
    crowd = crowd_of(book, None, "modelled", LISTED, SEED, items=items)
    assessor = CoverageQuestion(book, catalogue, crowd).assessor()
    kinds = assessor.kinds(crowd.tally(book, assessor.classes))
    evaluator, everyone = assessor.evaluator(items, kinds), np.arange(len(kinds.binding))
    weight = np.bincount(kinds.kind, kinds.weights, len(kinds.binding)) / LISTED
    for kind in ("shoe", "insole"):
        some = evaluator.made(kind)
        for name in (n for n in book.attributes if n.startswith(f"{kind}.")):
            asked = kinds.binding[:, assessor.table.of(name)].any(axis=1)
            lacking = sum(name not in item.levels for item in some)
            if lacking and float(weight @ asked) > 0:
                yield (
                    f"{lacking} of {counted(len(some), kind)} do not state "
                    f"`{name.partition('.')[2]}` ({book.attributes[name].title}): ruled out for "
                    f"{100 * float(weight @ asked):.0f} % of expected customers"
                )
        does = evaluator.fits(f"{kind} in pair", "harmless", everyone)[:, : len(some)]
        nobody = int((~does.any(axis=0)).sum())
        if nobody:
            yield (
                f"As the list stands {nobody} of {counted(len(some), kind)} can be offered to none "
                f"of {LISTED:,} expected customers"
            )

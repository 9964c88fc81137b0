"""One question of the buyer answered: who is counted, what is covered, how sure, compared."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from recommend.catalogue.loading import Catalogue, Item
from recommend.coverage.compare import Comparison, compare_catalogues, compare_rules
from recommend.coverage.crowd import Crowd
from recommend.coverage.evaluate import Wishes
from recommend.coverage.interval import Share
from recommend.coverage.report import Assessor, Coverage
from recommend.match.sizes import Availability, SizeClasses
from recommend.match.weighing import WAYS, Way
from recommend.rulebook.book import Rulebook

Stage = Callable[[str], Callable[[int, int], None]]
SOLD: dict[str, tuple[Way, ...]] = {**{way: (way,) for way in WAYS}, "any": WAYS}


@dataclass(frozen=True, slots=True)
class Scenario:
    """The headline with the assumed correlations multiplied by `factor`."""

    name: str
    factor: float
    served: Share


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


@dataclass(frozen=True, slots=True)
class Question:
    """What the buyer asks.

    Attributes
    ----------
    sold : ``pair``, ``shoe``, ``insole`` or ``any``.
    sold_out_counts : whether a size that is made but sold out counts as there.
    sensitivity : whether the headline is also shown under other assumed correlations.
    against, against_rules : another catalogue, or another rulebook, to compare with.
    """

    book: Rulebook
    catalogue: Catalogue
    crowd: Crowd
    sold: str = "pair"
    sold_out_counts: bool = False
    sensitivity: bool = True
    against: Catalogue | None = None
    against_rules: Rulebook | None = None

    def wishes(self, book: Rulebook) -> Wishes:
        """What counts as served under a rulebook."""
        accepted: tuple[Availability, ...] = ("in-stock",)
        if self.sold_out_counts:
            accepted = ("in-stock", "out-of-stock")
        return Wishes(SOLD[self.sold], book.parameters.rank.served / 100, accepted)

    def assessor(self, book: Rulebook | None = None, more: Iterable[Item] = ()) -> Assessor:
        """What answers it, under its own or another rulebook.

        Parameters
        ----------
        more : further products whose sizes must be told apart.
        """
        items = [*self.catalogue.items, *(self.against.items if self.against else ()), *more]
        classes = SizeClasses(items, self.book.parameters)
        asked = book or self.book
        return Assessor(asked, classes, self.wishes(asked))


def answer(question: Question, stage: Stage) -> Run:
    """Count, judge, vary and compare.

    Parameters
    ----------
    stage : opens a stage with a name and gives what to call as it advances.
    """
    assessor, crowd, book = question.assessor(), question.crowd, question.book
    tally = crowd.tally(book, assessor.classes, progress=stage("drawing and classifying feet"))
    coverage = assessor.cover(question.catalogue, tally, stage("judging products"))
    comparison = None
    if question.against is not None:
        comparison = compare_catalogues(assessor, question.catalogue, question.against, tally)
    elif question.against_rules is not None:
        there = question.assessor(question.against_rules)
        comparison = compare_rules(assessor, there, question.catalogue, crowd)
    scenarios = tuple(_scenarios(question, assessor)) if question.sensitivity else ()
    return Run(
        book=book,
        catalogue=question.catalogue,
        crowd=crowd,
        sold=question.sold,
        sold_out_counts=question.sold_out_counts,
        coverage=coverage,
        scenarios=scenarios,
        agreement=crowd.agreement(book),
        comparison=comparison,
    )


def _scenarios(question: Question, assessor: Assessor) -> Iterator[Scenario]:
    if not question.crowd.drawn:
        return  # nothing is assumed about feet that were measured
    parameters = question.book.parameters
    count = min(question.crowd.count, parameters.coverage.scenario_customers)
    for name in ("none", "half", "strong"):
        factor = parameters.coverage[f"correlation-{name}"]
        tally = question.crowd.tally(question.book, assessor.classes, assumed=factor, count=count)
        yield Scenario(name, factor, assessor.headline(question.catalogue, tally))

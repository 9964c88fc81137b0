"""Modelled customers under a rulebook: adults as they are, or with more that is rare.

The modelled adults have no pain, calm answers, one gait and everything measured. In the *mixture*
some are made children, some hurt, some answer otherwise or were not asked, some lack a reading,
some were filmed in another gait and from another zero, so that rules for few people meet somebody:
so many as ``parameters/compare.yaml`` says, which is more than a shop sees. Each customer's weight
takes that back, so that shares are a shop's. Draws go by the name of what is drawn, so that two
rulebooks meet the same customers.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Self, TypeAlias

import numpy as np
from numpy.typing import NDArray

from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import Column as Drawn
from recommend.coverage.sampling import Customers, Sampler, Words
from recommend.coverage.tally import FactColumns, age_columns
from recommend.errors import InputError, Place
from recommend.infer.many import Column, ManyConclusions, conclude_many
from recommend.match.cases import Cases, cases_of
from recommend.match.ranking import Ranking
from recommend.measure.derived import derivations
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import AGE_BAND, ENDS, YES_NO, Fact, about, part_of

FILE = "population.yaml"
COUNT, SEED = 20_000, 1

Columns: TypeAlias = dict[str, Column]
Bools: TypeAlias = NDArray[np.bool_]

YES, NO = (YES_NO.index(word) for word in ("yes", "no"))
_WORST = 10  # the top of the scale on which pain is asked for
_PAIN, _WEEKS = "pain-score", "pain-weeks"
_FILMED = ("gait", "reference")


class Mixture:
    """Makes unusual customers of modelled ones.

    Parameters
    ----------
    shares : the rulebook whose ``parameters/compare.yaml`` says how many; both meet the same.
    count : customers n.
    """

    def __init__(self, shares: Rulebook, count: int, seed: int) -> None:
        self.shares, self.parameters = shares, shares.parameters
        self.count, self.seed = count, seed

    @cached_property
    def weights(self) -> NDArray[np.float64]:
        """How many customers of a shop each stands for, shape (n,), 1 on average."""
        pains = [n for n in self.shares.vocabulary.words if about(n).kind == "pain"]
        drawn = [("children", "age"), ("otherwise", "film")]
        drawn += [("answering", question) for question in self.shares.questions]
        out = np.ones(self.count)
        for share, *names in [*drawn, *(("painful", s, p) for s in SIDES for p in pains)]:
            here, shop = self._share(share), self._share(f"shop_{share}")
            if shop > 0.0 and 0.0 < here < 1.0:
                some = self._some(share, *names)
                out *= np.where(some, shop / here, (1 - shop) / (1 - here))
        return np.asarray(out / out.mean())

    def applied(self, book: Rulebook, feet: Mapping[Side, Columns]) -> dict[Side, Columns]:
        """The fact columns of n left and n right feet under `book`, made unusual."""
        return {side: self._of_foot(book, side, dict(feet[side])) for side in SIDES}

    def words(self) -> str:
        """The mixture in a line."""
        names = {
            "children": "children or teenagers", "painful": "of feet with pain at each site",
            "answering": "alarming at each question", "unasked": "not asked each question",
            "unmeasured": "without each reading", "otherwise": "in any gait from any zero",
        }  # fmt: skip
        return ", ".join(f"{self._share(name):.0%} {words}" for name, words in names.items())

    def _share(self, name: str) -> float:
        return self.parameters.compare[name]

    def _rng(self, *names: str) -> np.random.Generator:
        return np.random.default_rng([self.seed, *(zlib.crc32(name.encode()) for name in names)])

    def _some(self, share: str, *names: str) -> Bools:
        return np.asarray(self._rng(share, *names).random(self.count) < self._share(share))

    def _of_foot(self, book: Rulebook, side: Side, columns: Columns) -> Columns:
        self._answers(book, columns)
        self._ages(book, columns)
        self._pain(book, side, columns)
        self._filmed(book, columns)
        self._left_out(book, columns)
        return columns

    def _answers(self, book: Rulebook, columns: Columns) -> None:
        for question in book.questions:
            usual = columns.get(Fact("answer", question).name, np.array([NO], np.int8))
            answer = np.where(self._some("answering", question), 1 - usual, usual)
            unasked = self._some("unasked", question)
            columns[Fact("answer", question).name] = np.where(unasked, -1, answer).astype(np.int8)
            if Fact("asked", question).name in columns:
                columns[Fact("asked", question).name] = np.where(unasked, NO, YES).astype(np.int8)

    def _ages(self, book: Rulebook, columns: Columns) -> None:
        name = AGE_BAND
        if name in columns:
            ages = book.vocabulary.words[name]
            young = np.array([ages.index(word) for word in ("child", "teen")])
            drawn = young[self._rng("which age").integers(0, len(young), self.count)]
            made = np.where(self._some("children", "age"), drawn, columns[name])
            columns[name] = made.astype(np.int8)
            columns |= age_columns(book, made == ages.index("child"))

    def _pain(self, book: Rulebook, side: Side, columns: Columns) -> None:
        hurts = np.zeros(self.count, np.bool_)
        for fact in (name for name in book.vocabulary.words if about(name).kind == "pain"):
            here = self._some("painful", side, fact)
            hurts |= here
            columns[fact] = np.where(here, YES, NO).astype(np.int8)
        longest = self.parameters.compare.longest_pain
        for name, most in ((_PAIN, _WORST), (_WEEKS, longest)):
            drawn = self._rng(side, name).integers(1, most + 1, self.count).astype(np.float64)
            for fact in (part_of(name, end) for end in ENDS):
                if fact in columns:
                    columns[fact] = np.where(hurts, drawn, columns[fact])

    def _filmed(self, book: Rulebook, columns: Columns) -> None:
        other = self._some("otherwise", "film")
        for fact in [name for name in columns if about(name).part in _FILMED]:
            words = book.vocabulary.words[fact]
            word = about(fact).part
            drawn = self._rng("which", word).integers(0, len(words), self.count)
            columns[fact] = np.where(other, drawn, columns[fact]).astype(np.int8)

    def _left_out(self, book: Rulebook, columns: Columns) -> None:
        """Readings that were not taken; what follows from others goes with its own name."""
        for measure in (one for one in book.measures if one != "growing"):  # its age says that
            gone = self._some("unmeasured", measure)
            for fact in [name for name in columns if _of(name, measure)]:
                if fact == Fact("known", measure).name:
                    columns[fact] = np.where(gone, NO, columns[fact]).astype(np.int8)
                elif columns[fact].dtype == np.float64:
                    columns[fact] = np.where(gone, np.nan, columns[fact])
                else:
                    columns[fact] = np.where(gone, -1, columns[fact]).astype(np.int8)


class People:
    """Customers drawn from the population of a rulebook, and what the rules say of them.

    Attributes
    ----------
    customers : as drawn, readings with their error.
    mixture : what makes them unusual; None for adults as they are modelled.
    """

    def __init__(
        self,
        book: Rulebook,
        population: Population,
        customers: Customers,
        mixture: Mixture | None = None,
    ) -> None:
        self.book, self.population, self.mixture = book, population, mixture
        self.customers, self.count = customers, customers.count

    @classmethod
    def of(cls, book: Rulebook, count: int = COUNT, seed: int = SEED) -> Self | None:
        """The adults of a rulebook; None when it has no population.

        Raises
        ------
        InputError
            If its population file does not fit.
        """
        file = Path(book.folder) / FILE
        if not file.is_file():
            return None
        population = load_population(file, set(book.sources))
        return cls(book, population, Sampler(population).block(seed, 0, count))

    @classmethod
    def mixed(cls, book: Rulebook, count: int, seed: int) -> Self:
        """`count` customers of the mixture.

        Raises
        ------
        InputError
            If the rulebook has no population, or its file does not fit.
        """
        file = Path(book.folder) / FILE
        if not file.is_file():
            raise InputError(Place(book.folder), f"no {file.name} is here, so nobody can be drawn")
        population = load_population(file)
        drawn = Sampler(population).block(seed, 0, count)
        return cls(book, population, drawn, Mixture(book, count, seed))

    @cached_property
    def builder(self) -> FactColumns:
        """Makes the facts of the drawn feet."""
        return FactColumns(self.book, self.population)

    @cached_property
    def columns(self) -> dict[Side, Columns]:
        """Fact columns of the left and of the right feet."""
        usual = {side: self.builder.of_foot(self.customers, side) for side in SIDES}
        return self.mixture.applied(self.book, usual) if self.mixture else usual

    @cached_property
    def feet(self) -> Mapping[Side, ManyConclusions]:
        """What the rules conclude of both feet."""
        return {side: conclude_many(self.book, self.columns[side], self.count) for side in SIDES}

    @cached_property
    def weights(self) -> NDArray[np.float64]:
        """How many customers of a shop each stands for, shape (n,), 1 on average."""
        return self.mixture.weights if self.mixture else np.ones(self.count)

    @property
    def ages(self) -> list[str]:
        """The age band of each, children and teenagers of a mixture among them."""
        if self.mixture is None:
            return self.customers.texts("age-band")
        words = np.array([*self.book.vocabulary.words.get(AGE_BAND, ()), ""])
        codes = self.columns["left"].get(AGE_BAND, np.array([-1]))
        return [str(word) for word in np.broadcast_to(words[codes], self.count)]

    def cases(self, ranking: Ranking) -> Cases:
        """What each comes to in a catalogue."""
        lengths = self.customers.lengths(self.book.parameters, self.ages)
        return cases_of(ranking, self.feet, lengths)

    def spared(self, rules: Collection[str]) -> bool:
        """Whether some foot of theirs is touched by none of some rules."""
        return not rules or any(
            not np.logical_or.reduce([made.holds[rule] for rule in rules]).all()
            for made in self.feet.values()
        )

    def touched(self, rule: str) -> tuple[int, float]:
        """How many of them a rule holds for, at one foot or both, and a shop's share."""
        some = np.logical_or.reduce([made.holds[rule] for made in self.feet.values()])
        return int(some.sum()), float(self.weights[some].sum() / self.count)

    def share_of_value(self, axis: str, values: tuple[str, ...]) -> float:
        """Share of the feet with one of some values, of those with any; NaN where none has."""
        codes = np.concatenate([made.axes[axis] for made in self.feet.values()])
        known = codes >= 0
        wanted = [list(self.book.axes[axis].values).index(value) for value in values]
        return float(np.isin(codes[known], wanted).mean()) if known.any() else float("nan")

    def share_of_rule(self, rule: str) -> float:
        """Share of the feet for which a rule holds."""
        return float(np.mean([made.holds[rule].mean() for made in self.feet.values()]))

    def reach(self) -> dict[str, float]:
        """Share of the adults whom some note of each level reaches."""
        due: dict[str, NDArray[np.bool_]] = {}
        for rule in self.book.noting():
            left, right = (made.holds[rule.id] for made in self.feet.values())
            before = due.get(rule.level or "", np.zeros(len(left), np.bool_))
            due[rule.level or ""] = before | left | right
        return {level: float(who.mean()) for level, who in due.items()}

    def redrawn(self, seed: int = SEED) -> Customers:
        """The same adults read once more: every reading moved by its own error.

        What follows from other readings is reckoned anew from them.
        """
        stream = np.random.default_rng(seed + 1)
        feet = {side: dict(self._again(self.customers.feet[side], stream)) for side in SIDES}
        return replace(self.customers, feet=feet)

    def _again(
        self, foot: Mapping[str, Drawn], stream: np.random.Generator
    ) -> Iterator[tuple[str, Drawn]]:
        drawn = self.population.quantities
        follow = set(derivations(self.book.measures)) - set(drawn)
        for name, column in foot.items():
            if isinstance(column, Words):
                yield name, column
            elif name not in follow:
                error = self.builder.errors.get(name, 0.0)
                moved = column + error * stream.standard_normal(len(column))
                step = drawn[name].step if name in drawn else None
                yield name, np.rint(moved / step) * step if step else moved


def _of(fact: str, measure: str) -> bool:
    """Whether a fact belongs to a measure."""
    one = about(fact)
    return one.kind in ("measure", "known") and one.of == measure

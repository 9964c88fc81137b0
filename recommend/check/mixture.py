"""Customers with more that is rare than a shop sees, so that rules for few people meet somebody.

The modelled adults have no pain, calm answers, one gait and everything measured. Here some are
made children, some hurt, some answer otherwise or were not asked, some lack a reading, some were
filmed in another gait and from another zero: so many as ``parameters/compare.yaml`` says, which is
more than a shop sees. Each customer's weight takes that back, so that shares are a shop's. Draws go
by the name of what is drawn, so that two rulebooks meet the same customers.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from recommend.coverage.columns import FactColumns, age_columns
from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import Customers, Sampler
from recommend.errors import InputError, Place
from recommend.infer.many import Column, ManyConclusions, conclude_many
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import AGE_BAND, ENDS, YES_NO, Fact, about, part_of

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


class Crowd:
    """Customers of the mixture under a rulebook.

    Attributes
    ----------
    columns : fact columns of the left and of the right feet.
    done : what the rules conclude of them.
    weights : (n,) how many customers of a shop each stands for, 1 on average.
    errors : usual error of each measure.
    """

    def __init__(
        self, book: Rulebook, population: Population, customers: Customers, mixture: Mixture
    ) -> None:
        self.book, self.count, self.customers = book, customers.count, customers
        builder = FactColumns(book, population)
        self.errors, self.weights = builder.errors, mixture.weights
        usual = {side: builder.of_foot(customers, side) for side in SIDES}
        self.columns: dict[Side, Columns] = mixture.applied(book, usual)
        self.done: dict[Side, ManyConclusions] = {
            side: conclude_many(book, self.columns[side], self.count) for side in SIDES
        }

    @property
    def ages(self) -> list[str]:
        """The age band of each, children and teenagers among them."""
        name = AGE_BAND
        words = np.array([*self.book.vocabulary.words.get(name, ()), ""])
        codes = self.columns["left"].get(name, np.array([-1]))
        return [str(word) for word in np.broadcast_to(words[codes], self.count)]

    @classmethod
    def of(cls, book: Rulebook, count: int, seed: int) -> Crowd:
        """`count` customers of the population of `book`.

        Raises
        ------
        InputError
            If it has none, or its file does not fit.
        """
        file = Path(book.folder) / "population.yaml"
        if not file.is_file():
            raise InputError(Place(book.folder), f"no {file.name} is here, so nobody can be drawn")
        population = load_population(file)
        drawn = Sampler(population).block(seed, 0, count)
        return cls(book, population, drawn, Mixture(book, count, seed))

    def touched(self, rule: str) -> tuple[int, float]:
        """How many of the customers a rule holds for, at one foot or both, and a shop's share."""
        some = np.logical_or.reduce([done.holds[rule] for done in self.done.values()])
        return int(some.sum()), float(self.weights[some].sum() / self.count)


def _of(fact: str, measure: str) -> bool:
    """Whether a fact belongs to a measure."""
    one = about(fact)
    return one.kind in ("measure", "known") and one.of == measure

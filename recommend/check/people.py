"""Modelled adults under a rulebook: what their feet are called, and whether it holds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from recommend.check.finding import Finding
from recommend.check.wording import FILE as WORDING
from recommend.check.wording import OWN, has, wording_of_rules
from recommend.coverage.columns import FactColumns
from recommend.coverage.population import Population, load_population
from recommend.coverage.sampling import Column, Customers, Sampler, Words
from recommend.errors import Place
from recommend.infer.many import ManyConclusions, conclude_many
from recommend.measure.derived import derivations
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE

FILE = "population.yaml"
COUNT = 20_000
SEED = 1
HOLDS = 2 / 3  # of redraws, below which a label is called unsteady
_FEWEST = 50  # feet that carry a label, below which nothing is said of it


@dataclass(frozen=True)
class People:
    """`count` adults drawn from the population of a rulebook, and what the rules say of them.

    Attributes
    ----------
    customers : the adults as drawn, readings with their error.
    """

    book: Rulebook
    population: Population
    customers: Customers

    @classmethod
    def of(cls, book: Rulebook, count: int = COUNT, seed: int = SEED) -> People | None:
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
        return cls(book, population, next(Sampler(population).blocks(count, seed)))

    @cached_property
    def facts(self) -> FactColumns:
        """Makes the facts of the drawn feet."""
        return FactColumns(self.book, self.population)

    @cached_property
    def feet(self) -> Mapping[Side, ManyConclusions]:
        """What the rules conclude of both feet."""
        return {side: self.conclude(self.customers, side) for side in SIDES}

    def conclude(self, customers: Customers, side: Side) -> ManyConclusions:
        """What the rules conclude of the feet of some customers."""
        columns = self.facts.of_foot(customers, side)
        return conclude_many(self.book, columns, customers.count)

    def share_of_value(self, axis: str, values: tuple[str, ...]) -> float:
        """Share of the feet with one of some values, of those with any; NaN where none has."""
        codes = np.concatenate([made.axes[axis] for made in self.feet.values()])
        known = codes >= 0
        wanted = [list(self.book.axes[axis].values).index(value) for value in values]
        return float(np.isin(codes[known], wanted).mean()) if known.any() else float("nan")

    def share_of_rule(self, rule: str) -> float:
        """Share of the feet for which a rule holds."""
        return float(np.mean([made.holds[rule].mean() for made in self.feet.values()]))

    def share_noted(self, rule: str) -> float:
        """Share of the adults one of whose feet a rule holds for."""
        left, right = (made.holds[rule] for made in self.feet.values())
        return float((left | right).mean())

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
        self, foot: Mapping[str, Column], stream: np.random.Generator
    ) -> Iterator[tuple[str, Column]]:
        drawn = self.population.quantities
        follow = set(derivations(self.book.measures)) - set(drawn)
        for name, column in foot.items():
            if isinstance(column, Words):
                yield name, column
            elif name not in follow:
                error = self.facts.errors.get(name, 0.0)
                moved = column + error * stream.standard_normal(len(column))
                step = drawn[name].step if name in drawn else None
                yield name, np.rint(moved / step) * step if step else moved


def steadiness(people: People) -> Iterator[tuple[str, str, float, int]]:
    """Axis, value, share of the feet that keep it when read again, and feet that carry it."""
    again = people.conclude(people.redrawn(), "left")
    before = people.feet["left"]
    for axis, definition in people.book.axes.items():
        for code, value in enumerate(definition.values):
            carry = before.axes[axis] == code
            if carry.sum() >= _FEWEST:
                kept = float((again.axes[axis][carry] == code).mean())
                yield axis, value, kept, int(carry.sum())


def unsteady_findings(people: People) -> Iterator[Finding]:
    """Labels that hold in fewer than two thirds of redraws over the feet that carry them.

    Foot types whose sentence says as much are left out.
    """
    said = wording_of_rules(people.book)
    unsure = said.languages[OWN].unsure if said and OWN in said.languages else []
    for axis, value, kept, carried in steadiness(people):
        owned = axis == FOOT_TYPE and any(
            has(people.book.types[value].sentence, words) for words in unsure
        )
        if kept < HOLDS and not owned:
            name = f"foot type `{value}`" if axis == FOOT_TYPE else f"`{axis}: {value}`"
            file = "types.yaml" if axis == FOOT_TYPE else "axes.yaml"
            yield Finding(
                "unsteady", "note", Place(str(Path(people.book.folder) / file)),
                f"{name} holds for {100 * kept:.0f} % of the {carried} modelled feet that carry "
                "it when they are read again",
                f"at least {100 * HOLDS:.0f} %",
                "ask for more readings, or for more than the error beyond the limit; or let the "
                f"sentence say so in one of the words under `unsure` of {WORDING}",
            )  # fmt: skip

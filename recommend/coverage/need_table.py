"""The needs of many customers at once: the same reconciling as for one, over arrays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from recommend.coverage.numbers import Array
from recommend.match.needs import Need, contradict, gentler, need_order, rule_needs
from recommend.rulebook.book import Rulebook


@dataclass(frozen=True, slots=True)
class Active:
    """What g customers need.

    Attributes
    ----------
    weights : weight of each need in the score, 0 where it is not asked, shape (g, n).
    binding : whether the need rules products out, shape (g, n).
    """

    weights: Array
    binding: Array

    def rows(self, part: slice | Array) -> Active:
        """The same of some customers only."""
        return Active(self.weights[part], self.binding[part])

    def without(self, needs: Array) -> Active:
        """The same with the binding needs of a mask, shape (n,), waived."""
        return Active(self.weights, self.binding & ~needs)


class NeedTable:
    """Every need that the rules of a rulebook can give, and which rule gives which.

    Attributes
    ----------
    needs : the n different needs, in the order in which they are reconciled.
    """

    def __init__(self, book: Rulebook, rules: tuple[str, ...]) -> None:
        self.book = book
        given = [list(rule_needs(book, rule, "left")) for rule in rules]
        keyed = {_key(need): replace(need, rules=(), because=()) for one in given for need in one}
        self.needs: tuple[Need, ...] = tuple(sorted(keyed.values(), key=need_order))
        index = {_key(need): n for n, need in enumerate(self.needs)}
        shape = (len(rules), len(self.needs))
        self._gives = np.zeros(shape, bool)
        self._weights = np.zeros(shape, np.float32)
        for r, one in enumerate(given):
            for need in one:
                n = index[_key(need)]
                self._gives[r, n] = True
                self._weights[r, n] = max(self._weights[r, n], need.weight)
        self.must = np.array([need.strength == "must" for need in self.needs])
        self.never = np.array([need.strength == "never" for need in self.needs])
        self._strong = np.float32(book.parameters["rank.weight-strong"])
        self._conflicts = list(self._contradictions())

    def kinds(self, *kinds: str) -> Array:
        """Which needs speak of an attribute of one of `kinds`, shape (n,)."""
        return np.array([need.attribute.partition(".")[0] in kinds for need in self.needs])

    def of(self, attribute: str) -> Array:
        """Which needs speak of `attribute`, shape (n,)."""
        return np.array([need.attribute == attribute for need in self.needs])

    def active(self, holds: Array) -> Active:
        """Needs of customers of whom the given rules hold for one foot or both.

        Parameters
        ----------
        holds : which rules hold, bool, shape (g, rules).

        Notes
        -----
        As `match.needs` does for one customer: contradicting musts and nevers are looked at in
        order; a must that gives way becomes a strong wish, a never does not give way.
        """
        asked = holds.astype(np.float32) @ self._gives.astype(np.float32) > 0
        weights = np.zeros(asked.shape, np.float32)
        for column, given in zip(holds.T, self._weights, strict=True):
            np.maximum(weights, np.where(column[:, None], given, 0), out=weights)
        eased = np.zeros(asked.shape, bool)
        for one, other, gives_way in self._conflicts:
            both = asked[:, one] & asked[:, other] & ~eased[:, one] & ~eased[:, other]
            eased[:, gives_way] |= both
        binding = asked & (self.must | self.never) & ~eased
        return Active(np.where(eased, self._strong, weights), binding)

    def _contradictions(self) -> Iterator[tuple[int, int, int]]:
        """Pairs of binding needs that no product can meet, and the must that gives way."""
        bound = [n for n in range(len(self.needs)) if self.must[n] or self.never[n]]
        for place, i in enumerate(bound):
            for j in bound[place + 1 :]:
                if contradict(self.needs[i], self.needs[j]):
                    _, given_up = gentler(self.needs[i], self.needs[j], self.book)
                    if given_up.strength == "must":
                        yield i, j, (i if given_up is self.needs[i] else j)


def _key(need: Need) -> tuple[object, ...]:
    return (need.attribute, need.comparison, need.target, need.strength)

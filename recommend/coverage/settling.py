"""Which readings settle most, over the modelled population: what to take when minutes are short."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

import numpy as np

from recommend.coverage.population import Population
from recommend.coverage.rows import Array
from recommend.coverage.sampling import Customers, Sampler
from recommend.coverage.tally import FactColumns
from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE

CUSTOMERS, SEED = 2_000, 1  # two in a thousand can be told apart; the same plan every day


@dataclass(frozen=True, slots=True)
class ReadingPlan:
    """Readings in the order in which they are taken, and what was given up.

    Attributes
    ----------
    readings : those for which there is time, the one that settles most a minute first.
    settled : of 1, how many foot types, notes and needs that readings can decide are as with
        every reading.
    given_up : by reading, the share that it would settle besides.
    minutes : what all of it takes, screening and sizes included.
    """

    readings: tuple[str, ...]
    settled: float
    given_up: Mapping[str, float]
    minutes: float


def plan(
    book: Rulebook,
    population: Population,
    feeds: Mapping[str, Collection[str]],
    takes: Mapping[str, float],
    fixed: float,
    minutes: float,
) -> ReadingPlan:
    """Choose readings for the minutes there are, greedily by what they settle a minute.

    Parameters
    ----------
    feeds : by reading, the measures that it gives.
    takes : by reading, minutes that it takes.
    fixed : minutes for what is always taken: screening, purpose, sizes.
    minutes : minutes there are in all.
    """
    settling = _Settling(book, population, feeds)
    chosen: tuple[str, ...] = ()
    left = minutes - fixed
    while True:
        now = settling.share(chosen)
        gains = {r: settling.share((*chosen, r)) - now for r in feeds if r not in chosen}
        able = {r: gain for r, gain in gains.items() if takes[r] <= left and gain > 0}
        if not able:
            return ReadingPlan(chosen, now, gains, minutes - left)
        best = max(able, key=lambda r: able[r] / takes[r])
        chosen, left = (*chosen, best), left - takes[best]


class _Settling:
    """Concludes the same customers with some readings only, and compares."""

    def __init__(
        self, book: Rulebook, population: Population, feeds: Mapping[str, Collection[str]]
    ) -> None:
        self.book, self.feeds = book, feeds
        self.columns = FactColumns(book, population)
        self.customers = Sampler(population).block(SEED, 0, CUSTOMERS)
        self.whole = self._concluded(self.customers)
        self.open = (self._with(()) != self.whole).any(axis=0)

    def share(self, readings: Collection[str]) -> float:
        """Of what readings can decide, how much is concluded with `readings` as with all, of 1."""
        if not self.open.any():
            return 1.0
        return float((self._with(readings) == self.whole)[:, self.open].mean())

    def _with(self, readings: Collection[str]) -> Array:
        """What is concluded where `readings` alone were taken."""
        kept = {measure for one in readings for measure in self.feeds[one]}
        gone = {m for measures in self.feeds.values() for m in measures} - kept
        feet = {
            side: {name: column for name, column in columns.items() if name not in gone}
            for side, columns in self.customers.feet.items()
        }
        return self._concluded(replace(self.customers, feet=feet))

    def _concluded(self, customers: Customers) -> Array:
        """(customers, conclusions) foot types, notes and needs of both feet."""
        parts = []
        for side in SIDES:
            feet = self.columns.concluded(customers, side)
            said = [feet.holds[rule.id] for rule in self.book.rules if not rule.concludes]
            parts += [*said, feet.axes[FOOT_TYPE]]
        return np.stack(parts, axis=1)

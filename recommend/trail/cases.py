"""Many outcomes fall into few cases: the same needs, the same sizes. Each is ranked once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.infer.many import ManyConclusions
from recommend.match.needs import PairNeeds, needs_of
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NeedsThen, NoteThen
from recommend.trail.leaders import Leaders, Leading, Order

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Case:
    """One set of needs and sizes: what the pair needs, and the products that lead."""

    needs: PairNeeds
    leading: Leading


class CaseRanking:
    """Ranks one catalogue for many pairs of feet.

    Parameters
    ----------
    leaders : the catalogue made ready for ranking.
    top : how many leading products of each group are told.
    """

    def __init__(self, leaders: Leaders, top: int) -> None:
        self.leaders, self.top = leaders, top
        self.book = leaders.book
        rules = self.book.rules
        self._rules = [rule.id for rule in rules if isinstance(rule.rule.then, NeedsThen)]
        self._known: dict[bytes, Case] = {}
        self._length_of: dict[int, float] = {}
        self._last: tuple[bytes, tuple[PairNeeds, Order]] | None = None

    def rank(
        self, feet: Mapping[Side, ManyConclusions], lengths: Floats
    ) -> tuple[NDArray[np.intp], tuple[Case, ...]]:
        """Which case each of n pairs of feet is, and what each case comes to.

        Parameters
        ----------
        feet : what the rulebook says of n left and n right feet.
        lengths : (n,) the length in mm the pair is made for, NaN when it is not known.
        """
        bits = [np.stack([feet[s].holds[r] for r in self._rules], axis=1) for s in SIDES]
        steps = _steps(lengths, self.size_steps)
        rows = _packed(bits, steps)
        _, first, case = np.unique(rows, return_index=True, return_inverse=True)
        cases = []
        for row in first:
            key = rows[row].tobytes()
            if key not in self._known:
                # Every length of a stretch takes the same sizes, so one of them stands for all.
                length = self._length_of.setdefault(int(steps[row]), float(lengths[row]))
                known = None if np.isnan(length) else length
                needs, order = self._suitable(np.stack([one[row] for one in bits]))
                self._known[key] = Case(needs, self.leaders.in_stock(order, known, self.top))
            cases.append(self._known[key])
        return case.ravel(), tuple(cases)

    def _suitable(self, bits: Bools) -> tuple[PairNeeds, Order]:
        """What is needed and what suits; the last is kept, for equal needs follow each other."""
        key = bits.tobytes()
        if self._last is None or self._last[0] != key:
            fired = {
                side: [rule for rule, on in zip(self._rules, one, strict=True) if on]
                for side, one in zip(SIDES, bits, strict=True)
            }
            needs = needs_of(self.book, fired)
            self._last = (key, (needs, self.leaders.suitable(needs)))
        return self._last[1]

    @cached_property
    def size_steps(self) -> Floats:
        """Lengths of foot (mm) at which `match.sizes` takes another size of some product.

        A size fits a foot from ``longest-over`` shorter than it to ``length-slack`` longer.
        """
        sizes = {size for item in self.leaders.catalogue.items for size in item.stock}
        slack = self.book.parameters["sizing.length-slack"]
        over = self.book.parameters["sizing.longest-over"]
        return np.array(sorted({s + slack for s in sizes} | {s - over for s in sizes}))


def stopped(book: Rulebook, notes: Mapping[str, Bools], count: int) -> Bools:
    """(count,) whether a stop withholds the shortlist, given which notes are due."""
    out = np.zeros(count, np.bool_)
    for name, due in notes.items():
        then = book.by_id[name].rule.then
        if isinstance(then, NoteThen) and then.note == "stop":
            out |= due
    return out


def _steps(lengths: Floats, steps: Floats) -> NDArray[np.int64]:
    """A number for each stretch between steps and for each step itself; -1 for no length."""
    below, upto = (np.searchsorted(steps, lengths, side=side) for side in ("left", "right"))
    return np.where(np.isnan(lengths), -1, below + upto).astype(np.int64)


def _packed(bits: list[NDArray[np.bool_]], steps: NDArray[np.int64]) -> NDArray[np.void]:
    """Each row as one value, so that equal rows can be found at once."""
    parts = [*(one.astype(np.uint8) for one in bits), steps[:, None].view(np.uint8)]
    rows = np.ascontiguousarray(np.concatenate(parts, axis=1))
    return rows.view(np.dtype((np.void, rows.shape[1]))).ravel()

"""How sure an outcome is: its readings redrawn, and how often it holds.

Whatever other readings come to (redrawn, or moved) is worked out here for n of them at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from recommend.dataclass import dataclass
from recommend.infer.variations import Floats, Key, Readings, Variations
from recommend.match.cases import Cases, cases_with, notes_due
from recommend.match.needs import Bools
from recommend.match.outcome import Outcome
from recommend.match.ranking import Ranking
from recommend.match.shortlist import GROUPS, Candidate, Group, ranking_of
from recommend.measure.model import SIDES, Side
from recommend.rulebook.vocabulary import FOOT_TYPE

Firsts = Mapping[Group, tuple[str, ...]]  # ids of the equals that come first, by group
WITHHELD: Firsts = {}  # what comes first when a stop withholds the shortlist


@dataclass(frozen=True)
class Outcomes:
    """What n what-ifs come to.

    Attributes
    ----------
    types : by foot, (n,) position of the foot type in the rulebook's axis, -1 undetermined.
    notes : by rule id, (n,) whether the note is due for either foot.
    cases : the distinct cases of needs and size.
    case : (n,) which of them each what-if is.
    stopped : (n,) whether a stop withholds the shortlist.
    """

    types: Mapping[Side, NDArray[np.int8]]
    notes: Mapping[str, Bools]
    cases: Cases
    case: NDArray[np.intp]
    stopped: Bools

    @cached_property
    def _firsts(self) -> list[Firsts]:
        found = {group: self.cases.first_groups(group) for group in GROUPS}
        return [
            {g: found[g][n] for g in GROUPS if found[g][n]} for n in range(len(self.cases.sizes))
        ]

    def firsts_of(self, row: int) -> Firsts:
        """The equals that come first in one what-if; none at all where a stop withholds them."""
        return WITHHELD if self.stopped[row] else self._firsts[int(self.case[row])]

    def differ_from(self, firsts: Firsts) -> Bools:
        """(n,) whether other candidates come first."""
        differs = np.array([one != firsts for one in self._firsts], np.bool_)
        return np.where(self.stopped, bool(firsts), differs[self.case])

    def part(self, rows: slice) -> Outcomes:
        """The outcomes of some of the what-ifs."""
        return Outcomes(
            {side: codes[rows] for side, codes in self.types.items()},
            {rule: due[rows] for rule, due in self.notes.items()},
            self.cases,
            self.case[rows],
            self.stopped[rows],
        )


@dataclass
class WhatIf:
    """Answers what-ifs about one visit that was taken through the whole way."""

    outcome: Outcome
    variations: Variations = field(init=False)
    ranking: Ranking = field(init=False)

    def __post_init__(self) -> None:
        book, assessment = self.outcome.book, self.outcome.assessment
        self.variations = self.outcome.variations or Variations(assessment, book)
        visit = assessment.visit
        self.ranking = ranking_of(book, self.outcome.catalogue, visit)

    @cached_property
    def length_edges(self) -> list[float]:
        """Lengths of foot (mm) at which another size is taken."""
        return self.ranking.length_edges(self.outcome.assessment.visit)

    def breakpoints(self, key: Key) -> list[float]:
        """Every value of a reading at which a comparison of the rules, or a size, changes."""
        edges = self.variations.length_edges(key, self.length_edges)
        return [*self.variations.breakpoints(key), *edges]

    def outcomes(self, readings: Readings, count: int) -> Outcomes:
        """Outcomes of `count` what-ifs; a reading that is not given stays as it was.

        Parameters
        ----------
        readings : by foot and measure, (count,) values in the measure's unit.
        """
        feet, cases = cases_with(self.ranking, self.variations, readings, count)
        types = {side: feet[side].axes[FOOT_TYPE] for side in SIDES}
        notes = notes_due(self.outcome.book, feet)
        return Outcomes(types, notes, cases, cases.case, cases.stopped)

    def together(self, blocks: Sequence[tuple[Readings, int]]) -> list[Outcomes]:
        """Outcomes of several groups of what-ifs, each as `outcomes` gives them, in one run."""
        whole = self.one_run(blocks)
        sizes = [size for _, size in blocks]
        ends = np.cumsum(sizes)
        return [whole.part(slice(end - n, end)) for end, n in zip(ends, sizes, strict=True)]

    def one_run(self, blocks: Sequence[tuple[Readings, int]]) -> Outcomes:
        """The same, one group after the other."""
        keys = {key for readings, _ in blocks for key in readings}
        columns: dict[Key, Floats] = {
            key: np.concatenate([self.variations.filled(key, one, n) for one, n in blocks])
            for key in keys
        }
        return self.outcomes(columns, sum(size for _, size in blocks))


@dataclass(frozen=True, slots=True)
class Repeat:
    """A reading that is worth taking again.

    Attributes
    ----------
    side, measure : which reading; no side when one reading stands for both feet.
    held : share of redraws in which the outcome would hold if this reading had no error.
    """

    side: Side | None
    measure: str
    held: float


@dataclass(frozen=True, slots=True)
class HowSure:
    """How often an outcome holds when its readings are redrawn within their errors.

    Attributes
    ----------
    draws : how many redraws; `seed` is the hash they were drawn from.
    choice : the one number for the choice: share in which what to bring first holds; of redraws
        in which no stop withholds the shortlist.
    group : which group that is.
    holds : share in which both foot types, every note and what comes first hold.
    types_hold, notes_hold : share in which both foot types, and all notes, hold.
    types : by foot, the share of each foot type that occurred ('undetermined' among them).
    notes : by rule id, the share in which the note is due, for notes that were ever due.
    first : by group, the share in which the first equals hold: all of them are listed, and none
        is further behind the best than the width of a group.
    top : by group, by product that is shown, the same of it alone.
    repeat : readings worth taking again, the one that would settle most first.
    """

    draws: int
    seed: str
    choice: float
    group: Group | None
    holds: float
    types_hold: float
    notes_hold: float
    types: Mapping[Side, Mapping[str, float]]
    notes: Mapping[str, float]
    first: Mapping[Group, float]
    top: Mapping[Group, Mapping[str, float]]
    repeat: tuple[Repeat, ...]


def sureness(outcome: Outcome, whatif: WhatIf | None = None) -> HowSure:
    """Redraws of a visit, ``sure.draws`` of them, the same that its order rests on."""
    whatif = whatif or WhatIf(outcome)
    return how_sure(whatif, whatif.variations.seed, outcome.book.parameters.sure.draws)


_BROUGHT: tuple[Group, ...] = ("pair", "shoe", "insole")


def how_sure(whatif: WhatIf, seed: str, draws: int) -> HowSure:
    """Redraw the readings of a visit `draws` times.

    Parameters
    ----------
    seed : a hash in hexadecimal; the same seed gives the same redraws on every machine.
    """
    drawn = whatif.variations.redrawn(seed, draws, whatif.length_edges)
    without = [{k: values for k, values in drawn.items() if k != key} for key in drawn]
    redrawn = [(readings, draws) for readings in (drawn, *without)]
    whole = whatif.one_run([({}, 1), *redrawn])
    before, after = whole.part(slice(1)), whole.part(slice(1, 1 + draws))
    first = {group: _holding(whatif, after, group, ids) for group, ids in _shown(whatif).items()}
    brought = next((group for group in _BROUGHT if group in first), None)
    held, *others = _all_holds(whatif, before, whole)[1:].reshape(-1, draws).mean(axis=1).tolist()
    exact = dict(zip(drawn, others, strict=True))
    return HowSure(
        draws=draws,
        seed=seed,
        choice=_share(first[brought], after) if brought else 1.0,
        group=brought,
        holds=held,
        types_hold=float(_same_types(before, after).mean()),
        notes_hold=float(_same_notes(before, after).mean()),
        types={side: _type_shares(whatif, after.types[side]) for side in SIDES},
        notes={rule: float(due.mean()) for rule, due in after.notes.items() if due.any()},
        first={group: _share(holds, after) for group, holds in first.items()},
        top=_top_shares(whatif, after),
        repeat=_repeats(whatif, exact, held),
    )


def _share(holds: Bools, outcomes: Outcomes) -> float:
    """Share of redraws that no stop withholds; 1 where all are withheld."""
    open_ = ~outcomes.stopped
    return float(holds[open_].mean()) if open_.any() else 1.0


def _shown(whatif: WhatIf) -> dict[Group, tuple[Candidate, ...]]:
    """By group, the equals that come first on the screen."""
    ranked = whatif.outcome.shortlist
    groups = {} if ranked is None else ranked.groups
    return {group: groups[group][0].members for group in GROUPS if groups.get(group)}


def _holding(
    whatif: WhatIf, outcomes: Outcomes, group: Group, members: tuple[Candidate, ...]
) -> Bools:
    """(n,) whether all of some candidates are listed and no more than the width behind."""
    rows = whatif.ranking.rows(group, (one.id for one in members))
    within = outcomes.cases.within(group)[1][:, rows]
    return np.asarray(np.all(within, axis=1)[outcomes.case], np.bool_)


def _all_holds(whatif: WhatIf, before: Outcomes, after: Outcomes) -> Bools:
    """(n,) whether all of the outcome is as it was; a stop is told among the notes."""
    found = _same_types(before, after) & _same_notes(before, after)
    for group, members in _shown(whatif).items():
        found = found & (_holding(whatif, after, group, members) | after.stopped)
    return np.asarray(found, np.bool_)


def _same_types(before: Outcomes, after: Outcomes) -> Bools:
    same = [after.types[side] == before.types[side][0] for side in SIDES]
    return np.asarray(np.logical_and.reduce(same), np.bool_)


def _same_notes(before: Outcomes, after: Outcomes) -> Bools:
    same = [due == before.notes[rule][0] for rule, due in after.notes.items()]
    return np.asarray(np.logical_and.reduce(same), np.bool_)


def _type_shares(whatif: WhatIf, codes: NDArray[np.int8]) -> dict[str, float]:
    names = [*whatif.outcome.book.types, "undetermined"]  # code -1 is the last one
    found, counts = np.unique(codes, return_counts=True)
    shares = {names[code]: float(n / len(codes)) for code, n in zip(found, counts, strict=True)}
    return dict(sorted(shares.items(), key=lambda item: (-item[1], item[0])))


def _top_shares(whatif: WhatIf, after: Outcomes) -> dict[Group, dict[str, float]]:
    """How often each of the products that are shown is no more than the width behind."""
    ranked = whatif.outcome.shortlist
    shown = whatif.outcome.book.parameters.rank.shown
    if ranked is None:
        return {}
    return {
        group: {
            one.id: _share(_holding(whatif, after, group, (one,)), after)
            for one in ranked.ranked[group][:shown]
        }
        for group in GROUPS
        if ranked.ranked[group]
    }


def _repeats(whatif: WhatIf, exact: Mapping[Key, float], held: float) -> tuple[Repeat, ...]:
    """Readings by how much surer the outcome were without their error; gainless ones left out."""
    found = [
        Repeat(whatif.variations.foot_of(key), key[1], share)
        for key, share in exact.items()
        if share > held
    ]
    return tuple(sorted(found, key=lambda one: (-one.held, one.side or "", one.measure)))

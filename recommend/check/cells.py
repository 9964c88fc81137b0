"""All feet that a set of rules can tell apart, one of each: exact, because limits are finite.

Rules compare readings with finitely many constants. Two feet on the same side of every one of
them are the same foot to the rules, so one representative of each combination is enough.
"""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Set
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from recommend.check.feet import MOVING, PAIN, STRIDES, smallest_margin
from recommend.infer.facts import quantize
from recommend.infer.many import (
    Bools,
    Column,
    ManyConclusions,
    behind,
    columns_of,
    conclude_many,
    facts_at,
)
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.models import NoteThen
from recommend.rulebook.terms import Conjunction, Facts, Number, Term, term_holds
from recommend.rulebook.vocabulary import Fact, about, ends_of, part_of

MAX_ROWS = 2_000_000  # a guard of time and memory; beyond it rows are drawn, and it is said
_MUTE = NoteThen(note="caution", say="-")


@dataclass(frozen=True)
class Space:
    """Representatives of all feet that some rules can tell apart.

    `exhausted` is False when there were too many and `MAX_ROWS` of them were drawn.
    """

    book: Rulebook
    columns: dict[str, Column]
    count: int
    exhausted: bool

    def facts(self, row: int) -> dict[str, float | str]:
        """The facts of one foot; what is missing is left out."""
        return facts_at(self.columns, row, self.book.vocabulary)

    def simplest(self, mask: Bools) -> int:
        """The row within `mask` with the fewest facts known."""
        rows = np.flatnonzero(mask)
        known = np.zeros(len(rows), np.int32)
        for name, column in self.columns.items():
            if len(column) == 1 or about(name).kind in ("known", "asked"):
                continue
            values = column[rows]
            known += ~np.isnan(values) if values.dtype == np.float64 else values >= 0
        return int(rows[int(np.argmin(known))])


def below(book: Rulebook, rules: Iterable[CompiledRule]) -> tuple[CompiledRule, ...]:
    """`rules` and every rule that concludes an axis they read, however far below."""
    return behind(book, [rule.id for rule in rules])


def axes_by_stratum(book: Rulebook) -> list[str]:
    """The axes that rules conclude, those first on which others stand."""
    stratum = {rule.concludes.axis: rule.stratum for rule in book.rules if rule.concludes}
    return sorted(stratum, key=lambda axis: (stratum[axis], axis))


def base_facts(book: Rulebook, rules: Iterable[CompiledRule]) -> frozenset[str]:
    """Names of the measures, answers and facts of the visit on which `rules` depend."""
    facts = frozenset().union(*(rule.facts for rule in below(book, rules)))
    return frozenset(_base(f) for f in facts if not about(f).concluded) - {"side"}


def space_of(
    book: Rulebook,
    rules: Iterable[CompiledRule],
    most: int = MAX_ROWS,
    within: Set[str] | None = None,
) -> Space:
    """Representatives of every foot that `rules`, and the rules behind them, can tell apart.

    Where there are more than `most` of them, so many are drawn. With `within`, of those feet of
    which only these measures, answers and facts are known.
    """
    parts: dict[str, set[Conjunction]] = defaultdict(set)
    for rule in below(book, rules):
        for branch in (*rule.holds, *rule.fails):
            for base, part in _by_base(branch).items():
                if within is None or base in within or base == "side":
                    parts[base].add(part)
    parts.setdefault("side", set())
    options = {base: list(_options(base, found, book)) for base, found in sorted(parts.items())}
    sizes = [len(one) for one in options.values()]
    total = int(np.prod(sizes, dtype=object))
    if total <= most:
        picks = np.indices(sizes, dtype=np.int32).reshape(len(sizes), -1)
    else:
        rng = np.random.default_rng(0)  # the same rows in every run
        picks = np.array([rng.integers(0, size, most) for size in sizes])
    columns: dict[str, Column] = {}
    for pick, one in zip(picks, options.values(), strict=True):
        columns |= {
            name: c[pick] for name, c in columns_of(list[Facts](one), book.vocabulary).items()
        }
    columns, count = _of_one_film(columns, picks.shape[1])
    return Space(book, columns, count, total <= most)


def truths(book: Rulebook, rules: tuple[CompiledRule, ...], space: Space) -> ManyConclusions:
    """Which of `rules` hold on every row, even where they contradict each other.

    Raises
    ------
    ContradictionError
        If rules below them contradict each other.
    """
    own = {rule.id for rule in rules}
    within = tuple(muted(rule) if rule.id in own else rule for rule in below(book, rules))
    return conclude_many(replace(book, rules=within), space.columns, space.count)


def muted(rule: CompiledRule) -> CompiledRule:
    """The rule with nothing to conclude: whether it holds can be asked without consequence."""
    return replace(rule, rule=rule.rule.model_copy(update={"then": _MUTE}))


def _base(fact: str) -> str:
    """The measure, answer or fact of the visit that a fact belongs to."""
    one = about(fact)
    if one.told:
        return fact
    return Fact("answer", one.of).name if one.kind == "asked" else one.of


def _by_base(branch: Conjunction) -> dict[str, Conjunction]:
    """A branch as one part for each measure, answer or fact of the visit that it reads."""
    out: dict[str, Conjunction] = {}
    for term in branch:
        if not about(term.fact).concluded:
            base = _base(term.fact)
            out[base] = (*out.get(base, ()), term)
    return out


def _options(
    base: str, parts: set[Conjunction], book: Rulebook
) -> Iterator[dict[str, float | str]]:
    """One bundle of facts for each way in which `parts` can come out, and for not measured."""
    measure = book.measures.get(base)
    seen: set[tuple[bool, ...]] = set()
    terms = {term: 1 << n for n, term in enumerate({t for part in parts for t in part})}
    masks = [sum(terms[t] for t in set(part)) for part in sorted(parts, key=repr)]
    if measure is None:
        words: Iterable[Facts] = (_told(base, word, book) for word in book.vocabulary.words[base])
        missing: Facts = _told(base, None, book)
    elif measure.values:
        words = ({base: word, Fact("known", base).name: "yes"} for word in measure.values)
        missing = {Fact("known", base).name: "no"}
    else:
        words = _readings(base, {t for part in parts for t in part}, book)
        missing = {Fact("known", base).name: "no"}
    for facts in itertools.chain([missing], words):
        true = sum(bit for term, bit in terms.items() if term_holds(term, facts))
        signature = tuple(mask & true == mask for mask in masks)
        if facts is missing or signature not in seen:
            yield dict(facts)
        if facts is not missing or base == "side":
            seen.add(signature)


def _told(base: str, word: str | None, book: Rulebook) -> dict[str, float | str]:
    """The facts of a side, an answer or a fact of the visit, or of its being left out."""
    facts: dict[str, float | str] = {} if word is None else {base: word}
    if base == "side" and word is None:
        facts = {"side": "left"}
    asked = book.open_questions.get(about(base).of)
    if asked is not None:
        facts[asked] = "no" if word is None else "yes"
    return facts


def _readings(name: str, terms: set[Term], book: Rulebook) -> Iterator[dict[str, float | str]]:
    """Readings just at, below and above every constant, the most ordinary first."""
    definition = book.measures[name]
    step = 10.0**-definition.decimals
    least = smallest_margin(name, book)
    margins = [least, 4 * least + step] if name in STRIDES else [least]
    numbers = [t for t in terms if isinstance(t, Number)]
    usual = definition.norm.mean if definition.norm else 0.0
    usual = min(max(usual, definition.lowest), definition.highest)
    pool: set[tuple[float, float]] = {(round(usual, definition.decimals), least)}
    for term, margin in itertools.product(numbers, margins):
        shift = -about(term.fact).margins * margin
        pool |= {(quantize(term.value + shift + k * step), margin) for k in (-1, 0, 1)}
    inside = [p for p in pool if definition.lowest <= p[0] <= definition.highest]
    inside.sort(key=lambda p: (p[1], abs(p[0] - usual), p[0]))
    asked = {about(t.fact).part for t in terms}
    choices = [words if q in asked else words[:1] for q, words in definition.qualifiers.items()]
    for words in itertools.product(*choices):
        qualifiers = {
            part_of(name, q): w for q, w in zip(definition.qualifiers, words, strict=True)
        }
        for value, error in inside:
            margin = 0.0 if name == PAIN and value == 0 else error
            yield {
                **{fact: quantize(end) for fact, end in ends_of(name, value, margin).items()},
                Fact("known", name).name: "yes",
                **qualifiers,
            }


def _of_one_film(columns: dict[str, Column], count: int) -> tuple[dict[str, Column], int]:
    """Leave out rows whose phases come from different films: no visit has them."""
    keep = np.ones(count, np.bool_)
    for qualifier in ("gait", "reference"):
        filmed = (part_of(measure, qualifier) for measure in MOVING)
        there = [columns[fact] for fact in filmed if fact in columns]
        for one, other in itertools.combinations(there, 2):
            keep &= (one < 0) | (other < 0) | (one == other)
    if keep.all():
        return columns, count
    return {name: column[keep] for name, column in columns.items()}, int(keep.sum())


def comparable(space: Space, rules: Iterable[CompiledRule]) -> NDArray[np.bool_]:
    """Rows in which everything that `rules` read is known, and taken as their limits ask."""
    out = np.ones(space.count, np.bool_)
    for name, column in space.columns.items():
        if name in space.book.measures or (about(name).told and name != "side"):
            out &= ~np.isnan(column) if column.dtype == np.float64 else column >= 0
    limits: set[tuple[str, str]] = set()
    for rule in rules:
        for term in rule.terms:
            if isinstance(term, Number) and term.limit:
                limits.add((about(term.fact).of, term.limit))
    for measure, limit in limits:
        meant = [_where(space, measure, v.where) for v in space.book.limits[limit].values]
        out &= np.logical_or.reduce(meant)
    return out


def _where(space: Space, measure: str, where: Mapping[str, str]) -> NDArray[np.bool_]:
    out = np.ones(space.count, np.bool_)
    for qualifier, word in where.items():
        fact = part_of(measure, qualifier)
        words = space.book.vocabulary.words[fact]
        out &= space.columns[fact] == words.index(word) if word in words else False
    return out

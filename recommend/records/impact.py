"""Rule impact: what other rules would have said at past visits, and what would be read otherwise.

Past visits go through the vectorised path, some thousand at a time. What engines read of each
foot was kept with the record; it is made anew from the visit when the rules measure otherwise.
"""

from __future__ import annotations

import json
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np

from recommend.cluster import pieces
from recommend.errors import InputError, Place
from recommend.infer.engine import engine_of
from recommend.infer.facts import facts_of
from recommend.infer.many import columns_of, conclude_many
from recommend.match.cases import Cases, cases_of, notes_due
from recommend.match.out import Out
from recommend.match.ranking import Ranking
from recommend.match.shortlist import GROUPS, ranking_of
from recommend.match.sizes import wanted_length
from recommend.measure.model import SIDES
from recommend.measure.observed import observe
from recommend.reading.document import parse_document
from recommend.records.keeping import (
    Archive,
    basis_of,
    binding_of,
    catalogue_from,
    firsts_listed,
    out_document,
    summary_of,
    wording_of,
)
from recommend.records.store import SHORTLIST, Record
from recommend.rulebook.book import Rulebook
from recommend.rulebook.contents import (
    Contents,
    Edit,
    contents_of,
    contents_of_files,
    edits_between,
)
from recommend.rulebook.models import NOTE_LEVELS
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.visit.models import Visit
from recommend.way import outcome_of

CHUNK = 5_000  # records at a time; bounds memory
CLINICAL = NOTE_LEVELS[:2]
# What two summaries are compared in; a record kept by an early version knows only some of it.
COMPARED = ("foot type", "notes", "nevers and musts", "listed products")
_LATER = frozenset({"said", "listed", "binding"})

Summary = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Changed:
    """One record that other rules would have answered otherwise.

    Attributes
    ----------
    lost, gained : notes by rule id, with their level.
    types : by foot, the foot type then and now; only feet that changed.
    firsts : by group, the first product then and now; only groups that changed.
    listed : the same for the products that the screen lists.
    unbound, bound : nevers and musts that would no longer be there, or would be new; one with
        another bound is among both. Nothing where a stop withholds a shortlist.
    reworded : rules whose note would be said in other words.
    """

    seq: int
    lost: Mapping[str, str]
    gained: Mapping[str, str]
    types: Mapping[str, tuple[str | None, str | None]]
    firsts: Mapping[str, tuple[str | None, str | None]]
    listed: Mapping[str, tuple[Sequence[str] | None, Sequence[str] | None]]
    unbound: tuple[str, ...]
    bound: tuple[str, ...]
    reworded: tuple[str, ...]

    @property
    def lost_clinical(self) -> tuple[str, ...]:
        """Stops and see-a-clinician notes that would no longer be given."""
        return tuple(rule for rule, level in self.lost.items() if level in CLINICAL)

    @property
    def size(self) -> tuple[int, ...]:
        """How much changed: lost clinical notes first, lost nevers and musts, then the rest."""
        notes = len(self.types) + len(self.lost) + len(self.gained) + len(self.reworded)
        losses = (len(self.lost_clinical), len(self.unbound))
        return (*losses, notes, len(self.bound), len(self.firsts), len(self.listed))


@dataclass
class Impact:
    """What other rules change over many records.

    `lost` holds every record that loses a stop or a see-a-clinician note; `unbound` the most
    changed of the others that lose a never or a must, of which there are `losing` in all;
    `sample` the most changed of the rest. `older` records were kept before nevers and musts,
    wordings and listed products were part of a summary, and are compared without them.
    """

    records: int = 0
    remeasured: int = 0
    changed: int = 0
    older: int = 0
    types: int = 0
    losing: int = 0
    firsts: Counter[str] = field(default_factory=Counter)
    listed: Counter[str] = field(default_factory=Counter)
    needs_lost: Counter[str] = field(default_factory=Counter)
    needs_gained: Counter[str] = field(default_factory=Counter)
    reworded: Counter[str] = field(default_factory=Counter)
    lost_notes: Counter[tuple[str, str]] = field(default_factory=Counter)
    gained_notes: Counter[tuple[str, str]] = field(default_factory=Counter)
    lost: list[Changed] = field(default_factory=list)
    unbound: list[Changed] = field(default_factory=list)
    sample: list[Changed] = field(default_factory=list)

    def add(self, one: Changed, keep: int) -> None:
        """Count a changed record; at most `keep` are held as a sample."""
        self.changed += 1
        self.types += bool(one.types)
        self.losing += bool(one.unbound)
        self.firsts.update(one.firsts.keys())
        self.listed.update(one.listed.keys())
        self.needs_lost.update(one.unbound)
        self.needs_gained.update(one.bound)
        self.reworded.update(one.reworded)
        self.lost_notes.update((level, rule) for rule, level in one.lost.items())
        self.gained_notes.update((level, rule) for rule, level in one.gained.items())
        if one.lost_clinical:
            self.lost.append(one)
            return
        some = self.unbound if one.unbound else self.sample
        some.append(one)
        if len(some) > 4 * keep:
            _trim(some, keep)

    def finish(self, keep: int) -> None:
        """Put lists in order: the most changed first."""
        _trim(self.lost, len(self.lost))
        _trim(self.unbound, keep)
        _trim(self.sample, keep)


def _trim(some: list[Changed], keep: int) -> None:
    some.sort(key=lambda one: (*(-n for n in one.size), one.seq))
    del some[keep:]


_Shelf = tuple[str, str, tuple[Any, ...]]  # rulebook, catalogue, what is out for the customer


class PastVisits:
    """Runs one rulebook over the visits of many records.

    Parameters
    ----------
    archive : where the records are.
    book : the rulebook to run; None for the one each record was made with.
    """

    def __init__(self, archive: Archive, book: Rulebook | None) -> None:
        self.archive, self.book = archive, book
        self.remeasured = 0
        self._rankings: dict[tuple[str, str], Ranking] = {}
        self._made: dict[int, dict[str, Any]] = {}  # facts of the records in hand
        self._bases: dict[str, str] = {}

    def summaries(self, records: Iterable[Record]) -> Iterator[tuple[Record, Summary]]:
        """What the rulebook says of each record's visit, through the vectorised path.

        Groups of alike records are told where `cluster.connected` says.
        """
        under_way, here = deque[list[Record]](), deque[tuple[Record, Summary]]()
        for told in pieces(told_of, self._groups(records, under_way, here)):
            yield from zip(under_way.popleft(), told, strict=True)
            while here:
                yield here.popleft()
        yield from here

    def _groups(
        self,
        records: Iterable[Record],
        under_way: deque[list[Record]],
        here: deque[tuple[Record, Summary]],
    ) -> Iterator[tuple[tuple[Rulebook, Ranking], tuple[list[dict[str, Any]]]]]:
        """Records of one rulebook, one catalogue, and with the same out; one after the other.

        Where own shoes were described each is ranked by itself, `here` and at once.
        """
        visits = (record for record in records if record.kind == SHORTLIST)
        while chunk := list(islice(visits, CHUNK)):
            groups: dict[_Shelf, list[Record]] = {}
            self._made.clear()
            for record in chunk:
                groups.setdefault(self._key(record), []).append(record)
            for key, group in groups.items():
                if key[2][-1]:
                    here += ((record, self.one_by_one(record)) for record in group)
                    continue
                under_way.append(group)
                book, ranking = self._book(group[0]), self._ranking(group[0])
                yield (book, ranking), ([self._facts(record, book) for record in group],)

    def one_by_one(self, record: Record) -> Summary:
        """The same for one record, through the reference engine."""
        book, ranking = self._book(record), self._ranking(record)
        visit = asked_of(self.archive.visit(record), book)
        outcome = outcome_of(visit, book, ranking.catalogue, engine_of(book))
        return summary_of(outcome)

    def _key(self, record: Record) -> _Shelf:
        rulebook = "" if self.book is not None else record.bodies["rulebook"]
        facts = self._facts(record, self._book(record))
        out = (*facts["did-harm"], facts.get("price-limit"), facts.get("own-shoes", False))
        return rulebook, record.bodies["catalogue"], out

    def _book(self, record: Record) -> Rulebook:
        return self.book if self.book is not None else self.archive.book(record)

    def _ranking(self, record: Record) -> Ranking:
        rulebook = "" if self.book is not None else record.bodies["rulebook"]
        key = (rulebook, record.bodies["catalogue"])
        if key not in self._rankings:
            book = self._book(record)
            try:
                catalogue = catalogue_from(self.archive.store.body(key[1]), book)
            except InputError as error:
                raise InputError(
                    Place(book.folder),
                    f"the catalogue of record {record.seq} does not fit these rules "
                    f"({error.found})",
                    mend="keep the attributes that past catalogues state",
                ) from error
            self._rankings[key] = ranking_of(book, catalogue)
        return self._rankings[key]

    def _facts(self, record: Record, book: Rulebook) -> dict[str, Any]:
        if record.seq not in self._made:
            self._made[record.seq] = self._kept_or_made(record, book)
        return self._made[record.seq]

    def _kept_or_made(self, record: Record, book: Rulebook) -> dict[str, Any]:
        if book.digest not in self._bases:
            self._bases[book.digest] = basis_of(book)
        if "facts" in record.bodies:
            kept: dict[str, Any] = self.archive.store.body(record.bodies["facts"])
            if kept["basis"] == self._bases[book.digest] and "did-harm" in kept:
                return kept
        self.remeasured += 1
        visit = asked_of(self.archive.visit(record), book)
        used = observe(visit, book.measures, book.parameters).used
        made: dict[str, Any] = {s: facts_of(visit, s, used[s], book) for s in SIDES}
        length = wanted_length(visit, book.parameters).length
        catalogue = self._ranking(record).catalogue
        return made | {"length": length, **out_document(visit, book, catalogue)}


def told_of(book: Rulebook, ranking: Ranking, facts: Sequence[Mapping[str, Any]]) -> list[Summary]:
    """Summaries of visits with one rulebook, one catalogue and the same out, from their facts."""
    count = len(facts)
    feet = {
        side: conclude_many(book, columns_of([one[side] for one in facts], book.vocabulary), count)
        for side in SIDES
    }
    lengths = [np.nan if one["length"] is None else one["length"] for one in facts]
    names, limit = facts[0]["did-harm"], facts[0].get("price-limit")
    out = Out(dict.fromkeys(names, ""), limit)  # the same for all of a group
    cases = cases_of(ranking, feet, np.array(lengths, np.float64), out)
    products = list(_products(cases))
    due = notes_due(book, feet)
    notes = {rule.id: rule.note for rule in book.rules if rule.note is not None}
    said = {rule: wording_of(then.say) for rule, then in notes.items()}
    stop, case = cases.stopped, cases.case
    types = [*book.types, None]
    return [
        {
            "stopped": bool(stop[row]),
            "types": {side: types[feet[side].axes[FOOT_TYPE][row]] for side in SIDES},
            "notes": {rule: then.note for rule, then in notes.items() if due[rule][row]},
            "said": {rule: words for rule, words in said.items() if due[rule][row]},
            **(_WITHHELD if stop[row] else products[case[row]]),
        }
        for row in range(count)
    ]


_WITHHELD: Summary = {"first": {}, "listed": {}, "binding": None}


def _products(cases: Cases) -> Iterator[Summary]:
    """The part of a summary that depends on needs and sizes alone; shared by every such visit."""
    ranking = cases.ranking
    shown = ranking.book.parameters.rank.shown
    leading = {group: cases.leading(group, shown) for group in GROUPS}
    for case, holds in enumerate(cases.holds):
        fired = [rule for rule, on in zip(ranking.table.rules, holds, strict=True) if on]
        needs = ranking.table.of_pair({"left": fired})
        listed = {group: list(leading[group][case]) for group in GROUPS}
        binding = binding_of(needs, ranking.book)
        yield {"first": firsts_listed(listed), "listed": listed, "binding": binding}


def asked_of(visit: Visit, book: Rulebook) -> Visit:
    """The visit without answers to questions that these rules do not know."""
    known = {question: a for question, a in visit.answers.items() if question in book.questions}
    return visit if known == visit.answers else visit.model_copy(update={"answers": known})


def impact_of(
    past: PastVisits,
    records: Iterable[Record],
    keep: int,
    tell: Callable[[int], None] = lambda _: None,
) -> Impact:
    """Compare what was said at each record's visit with what `past` says of it.

    Parameters
    ----------
    keep : how many of the most changed records to hold as a sample.
    tell : called now and then with the number of records done.
    """
    impact = Impact()
    for record, now in past.summaries(records):
        impact.records += 1
        impact.older += not record.head["summary"].keys() >= _LATER
        changed = compared(record, now)
        if changed is not None:
            impact.add(changed, keep)
        if impact.records % 1000 == 0:
            tell(impact.records)
    impact.remeasured = past.remeasured
    impact.finish(keep)
    return impact


def compared(record: Record, now: Summary) -> Changed | None:
    """What differs between a record's summary and another one of the same visit.

    Only what both know is compared: summaries of an early version lack some of it.
    """
    kept: Summary = record.head["summary"]
    if kept == now:
        return None
    was = {key: value for key, value in kept.items() if key in now}
    now = {key: value for key, value in now.items() if key in was}
    if was == now:
        return None
    then_notes, now_notes = was["notes"], now["notes"]
    return Changed(
        seq=record.seq,
        lost=_stronger(then_notes, now_notes),
        gained=_stronger(now_notes, then_notes),
        types=_pairs(was["types"], now["types"]),
        firsts=_pairs(was["first"], now["first"]),
        listed=_pairs(was.get("listed", {}), now.get("listed", {})),
        unbound=_only_in(was.get("binding"), now.get("binding")),
        bound=_only_in(now.get("binding"), was.get("binding")),
        reworded=_reworded(was.get("said", {}), now.get("said", {})),
    )


def _only_in(these: Sequence[str] | None, others: Sequence[str] | None) -> tuple[str, ...]:
    """Needs of one side alone; none where a stop withholds either shortlist."""
    if these is None or others is None:
        return ()
    return tuple(need for need in these if need not in others)


def _reworded(was: Mapping[str, str], now: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(sorted(rule for rule in was if rule in now and was[rule] != now[rule]))


def _stronger(these: Mapping[str, str], others: Mapping[str, str]) -> dict[str, str]:
    """Notes that stand here and not, or only at a milder level, among the others."""
    return {
        rule: level
        for rule, level in these.items()
        if rule not in others or NOTE_LEVELS.index(level) < NOTE_LEVELS.index(others[rule])
    }


def _pairs(was: Mapping[str, Any], now: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    return {
        key: (was.get(key), now.get(key))
        for key in sorted({*was, *now})
        if was.get(key) != now.get(key)
    }


def disagreements(
    past: PastVisits, records: Iterable[Record]
) -> list[tuple[Record, Summary, Summary]]:
    """Records of which the vectorised path and the reference engine say different things."""
    found = []
    for record, many in past.summaries(records):
        one = past.one_by_one(record)
        if one != many:
            found.append((record, one, many))
    return found


# Read only at visits that they said something at, or at which the question was answered.
_OWN = frozenset({"rule", "type", "question"})


class Retold:
    """Other rules held beside those of past records, in what is read.

    Parameters
    ----------
    archive : where the records are.
    folder : the folder of the other rules.
    """

    def __init__(self, archive: Archive, folder: Path | str) -> None:
        self.archive, self.now = archive, contents_of(folder)
        self._edits: dict[str, tuple[Edit, ...]] = {}

    def over(self, records: Iterable[Record]) -> Counter[str]:
        """How many visits would have read each thing otherwise, by what changed in words."""
        counts: Counter[str] = Counter()
        for record in records:
            if record.kind == SHORTLIST:
                counts.update(edit.words for edit in self.of(record))
        return counts

    def of(self, record: Record) -> tuple[Edit, ...]:
        """What would be read otherwise at the visit of one record."""
        edits = self._of_rules(record.bodies["rulebook"])
        if not any(_named(one) for one in edits):
            return edits
        bodies = (record.bodies["outcome"], record.bodies["visit"])
        told = "".join(json.dumps(self.archive.store.body(one)) for one in bodies)
        return tuple(one for one in edits if not _named(one) or f'"{_named(one)}"' in told)

    def _of_rules(self, content: str) -> tuple[Edit, ...]:
        """What is read otherwise of the whole rulebook of a record."""
        if content not in self._edits:
            was = _contents(self.archive.store.body(content)["files"])
            words = (one for one in edits_between(was, self.now) if one.bearing == "words")
            self._edits[content] = tuple(words)
        return self._edits[content]


def _contents(files: dict[str, str]) -> Contents:
    return contents_of_files({n: parse_document(text, n).data for n, text in files.items()})


def _named(edit: Edit) -> str:
    """The id of the rule, type or question whose words these are; empty of what all visits read."""
    if edit.thing in _OWN:
        return edit.id
    parts = edit.field.split(".")
    if edit.thing == "translation" and parts[0] in ("rules", "types") and len(parts) > 1:
        return parts[1]
    return ""

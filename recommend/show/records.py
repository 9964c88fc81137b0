"""Records and the state of a store, records derived again, and rule impact, as lines of text."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from recommend.errors import counted
from recommend.records.impact import COMPARED, Changed, Impact
from recommend.records.replay import Replayed
from recommend.records.stamps import Stamp
from recommend.records.store import EVENT, FORGOTTEN, Record, Store
from recommend.records.verify import StoreVerdict


def list_lines(store: Store, limit: int) -> Iterator[str]:
    """The newest `limit` records, newest first, at most 80 columns."""
    total = len(store)
    yield f"{counted(total, 'record')} in {store.path}"
    yield f"{'No.':>6}  {'kept at':<25} {'hash':<12}  of"
    gone = store.forgotten()
    newest = list(store.records(max(1, total - limit + 1)))
    for record in reversed(newest):
        subject = _of(store, record, gone)
        yield f"{record.seq:>6}  {record.made_at:<25} {record.hash[:12]}  {subject}"


def _of(store: Store, record: Record, gone: dict[int, int]) -> str:
    if record.kind == FORGOTTEN:
        return f"declares {len(record.head['forgets'])} forgotten"
    if record.kind == EVENT:
        return f"{record.head['event']}, after record {record.head['of']['seq']}"
    if record.seq in gone:
        return f"(forgotten, see record {gone[record.seq]})"
    private = store.private(record) or {}
    return str(private.get("visit/reference", "(no reference)"))


@dataclass(frozen=True, slots=True)
class RecordOutcome:
    """What came of a record, and where its products' attributes came from."""

    came: Sequence[tuple[Record, Mapping[str, Any]]]
    origins: Mapping[str, Mapping[str, Any]]

    def lines(self, width: int) -> Iterator[str]:
        """The same in lines of at most `width`, as far as their words allow."""
        if self.came:
            yield "\nWhat came of it"
        for record, told in self.came:
            by = f" by {record.head['by']}" if record.head["by"] else ""
            head = f"{record.made_at[:16]}, record {record.seq}: {record.head['event']}{by}"
            words = [f"{key} {_plain(one)}" for key, one in told.items() if key not in _NOT_SAID]
            yield from textwrap.wrap(
                f"- {'; '.join([head, *words])}", width, subsequent_indent="  "
            )
        if self.origins:
            yield "\nWhere the attributes of products stand"
        for name, one in self.origins.items():
            told = one if isinstance(one, Mapping) else {}
            day = told.get("as-of")
            dated = f", the maker's of {day}" if day else ", without a date"
            yield from textwrap.wrap(
                f"- {name}: {told.get('place')}{dated}", width, subsequent_indent="  "
            )

    def data(self) -> dict[str, Any]:
        """The same as plain data."""
        events = [
            {"number": r.seq, "kept-at": r.made_at, "what": r.head["event"], "by": r.head["by"]}
            | {key: one for key, one in told.items() if key not in ("text", "token")}
            for r, told in self.came
        ]
        return {"came-of-it": events, "origins": dict(self.origins)}


_NOT_SAID = ("reference", "text", "token")  # known already, or not to be read by people


def _plain(value: Any) -> str:
    if isinstance(value, list):
        return ", ".join(map(str, value)) or "none"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {one}" for key, one in value.items())
    return {True: "yes", False: "no"}[value] if isinstance(value, bool) else str(value)


def verdict_lines(verdict: StoreVerdict, path: str) -> Iterator[str]:
    """What a check of a store found."""
    if not verdict.sound:
        yield f"DIFFERS: {verdict.differs}"
        yield "Restore the store from a copy, and verify the copy. Nothing was changed."
        return
    yield f"Sound: {counted(verdict.records, 'record')} in {path}"
    for words, numbers in (
        ("Forgotten on request, as declared", verdict.forgotten),
        ("The clock was behind: made before the record that they follow", verdict.behind),
    ):
        if numbers:
            yield f"{words}: {', '.join(map(str, numbers))}"
    if verdict.last:
        yield f"Last record: {verdict.last}"
        yield "Note it elsewhere: `store verify --expect HASH` then also finds a cut-off end."


def stamp_line(stamp: Stamp) -> str:
    """What a check of one time stamp found."""
    of = f"Time stamp {stamp.seq} of record {stamp.stamps}"
    if stamp.fault and stamp.checked:
        return f"DIFFERS: {of}: {stamp.fault}"
    clock = "; it says that it was made later: check the clock" if stamp.late else ""
    when = f" says it was there at {stamp.at}{clock}" if stamp.at else ""
    return f"{of}{when}{'; ' if when and stamp.fault else ''}{stamp.fault}"


SHOWN = 12  # differences shown of one record


def replayed_lines(one: Replayed) -> Iterator[str]:
    """Whether a record replays identically, or exactly what differs and which version."""
    record = one.record
    if one.identical:
        yield f"record {record.seq} ({record.hash[:12]}): identical, byte for byte"
        return
    places = counted(len(one.differences), "place")
    yield f"record {record.seq} ({record.hash[:12]}): DIFFERS in {places}"
    for difference in one.differences[:SHOWN]:
        yield f"  {difference.path}: was {difference.was}, is {difference.now}"
    if len(one.differences) > SHOWN:
        yield f"  and {len(one.differences) - SHOWN} more (--json lists all)"
    for name, then, now in one.versions:
        yield f"  version of {name}: was {then}, is {now}"
    if not one.versions:
        yield "  no version differs: the store or the program was altered; run `store verify`"


def replayed_data(one: Replayed) -> dict[str, Any]:
    """The same for programs."""
    return {
        "number": one.record.seq,
        "sha256": one.record.hash,
        "identical": one.identical,
        "differences": [{"path": d.path, "was": d.was, "now": d.now} for d in one.differences],
        "versions": [{"name": n, "was": then, "now": now} for n, then, now in one.versions],
    }


def impact_lines(impact: Impact, keep: int, width: int) -> Iterator[str]:
    """Rule impact, what endangers people first."""
    for line in _impact_lines(impact, keep):
        indent = len(line) - len(line.lstrip())
        yield from textwrap.wrap(
            line, width, subsequent_indent=" " * (indent + 2), break_on_hyphens=False
        ) or [""]


def retold_lines(retold: Counter[str], keep: int, width: int) -> Iterator[str]:
    """What would be read otherwise at past visits: sentences, cautions, questions, sources."""
    if not retold:
        yield "Nothing would be read otherwise at any of them."
        return
    yield ""
    if any(words.startswith("question ") and ", ask: " in words for words in retold):
        yield "A question is asked otherwise: what was answered then may mean another thing now."
    yield "Would be read otherwise, with the number of visits:"
    for words, count in retold.most_common(keep):
        yield from textwrap.wrap(f"  {count}: {words}", width, subsequent_indent="     ")
    if len(retold) > keep:
        yield f"  and {len(retold) - keep} more (--json lists all)"


def _impact_lines(impact: Impact, keep: int) -> Iterator[str]:
    yield from _lost(impact, keep)
    yield from _unbound(impact, keep)
    compared = f"{', '.join(COMPARED[:-1])}, or {COMPARED[-1]}"
    visits = counted(impact.records, "visit")
    yield f"Of {visits}, {impact.changed} would come out otherwise in {compared}:"
    yield from _tallies(impact)
    if impact.older:
        yield (
            f"  ({impact.older} kept by an earlier version, without nevers and musts: compared "
            "only in foot type, notes and first products)"
        )
    if impact.remeasured:
        yield f"  ({impact.remeasured} measured anew: these rules measure otherwise)"
    if impact.sample:
        yield ""
        yield "The most changed of the others:"
        for one in impact.sample[:keep]:
            yield f"  {changed_words(one)}"


def _tallies(impact: Impact) -> Iterator[str]:
    """How often each thing changed; losses of nevers and musts are told before."""
    for need, count in impact.needs_gained.most_common():
        yield f"  gained, {need}: {count}"
    for word, counts in (("lost", impact.lost_notes), ("gained", impact.gained_notes)):
        for (level, rule), count in counts.most_common():
            yield f"  {level} note {rule} {word}: {count}"
    for rule, count in impact.reworded.most_common():
        yield f"  note {rule} in other words: {count}"
    yield f"  foot type: {impact.types}"
    for word, groups in (("first", impact.firsts), ("listed", impact.listed)):
        for group, count in sorted(groups.items()):
            yield f"  {word} {group}: {count}"


def _lost(impact: Impact, keep: int) -> Iterator[str]:
    if not impact.lost:
        yield "No stop and no see-a-clinician note would be lost."
        yield ""
        return
    count = len(impact.lost)
    yield f"LOST: {counted(count, 'visit')} would lose a stop or a see-a-clinician note."
    for one in impact.lost[:keep]:
        yield f"  {changed_words(one)}"
    if count > keep:
        yield f"  and {count - keep} more (--json lists all)"
    yield ""


def _unbound(impact: Impact, keep: int) -> Iterator[str]:
    if not impact.losing:
        known = impact.records - impact.older
        among = f" at the {counted(known, 'visit')} whose record holds them" if impact.older else ""
        yield f"No never and no must would be lost{among}."
        yield ""
        return
    visits = counted(impact.losing, "visit")
    yield f"{visits} would lose a never or a must, or have it with another bound:"
    for need, count in impact.needs_lost.most_common():
        yield f"  lost, {need}: {count}"
    for one in impact.unbound[:keep]:
        yield f"  {changed_words(one)}"
    yield ""


def changed_words(one: Changed) -> str:
    """One changed record in a line."""
    parts = [f"loses {level} {rule}" for rule, level in one.lost.items()]
    parts += [f"loses {need}" for need in one.unbound]
    parts += [f"gains {need}" for need in one.bound]
    parts += [f"gains {level} {rule}" for rule, level in one.gained.items()]
    parts += [f"{rule} in other words" for rule in one.reworded]
    turned = {**one.types, **{f"first {group}": pair for group, pair in one.firsts.items()}}
    parts += [f"{what} {was or 'none'} -> {now or 'none'}" for what, (was, now) in turned.items()]
    below = ((g, *pair) for g, pair in one.listed.items() if g not in one.firsts)
    parts += [f"listed {group}: {_moved(a or (), b or ())}" for group, a, b in below]
    return f"record {one.seq}: {'; '.join(parts)}"


def _moved(was: Sequence[str], now: Sequence[str]) -> str:
    """What joined a list and what left it, or that it stands in another order."""
    moves = [f"+{one}" for one in now if one not in was] + [f"-{o}" for o in was if o not in now]
    return " ".join(moves) or "another order"


def impact_data(impact: Impact, keep: int) -> dict[str, Any]:
    """The same for programs; every record that loses a clinical note is listed."""
    return {
        "format": 1,
        "records": impact.records,
        "changed": impact.changed,
        "compared-in": list(COMPARED),
        "kept-by-an-earlier-version": impact.older,
        "measured-anew": impact.remeasured,
        "foot-type": impact.types,
        "first": dict(sorted(impact.firsts.items())),
        "listed": dict(sorted(impact.listed.items())),
        "losing-a-never-or-must": impact.losing,
        "nevers-and-musts-lost": _counts("need", impact.needs_lost),
        "nevers-and-musts-gained": _counts("need", impact.needs_gained),
        "notes-reworded": _counts("rule", impact.reworded),
        "notes-lost": _notes(impact.lost_notes),
        "notes-gained": _notes(impact.gained_notes),
        "lost-clinical": [_changed(one) for one in impact.lost],
        "lost-nevers-and-musts": [_changed(one) for one in impact.unbound[:keep]],
        "sample": [_changed(one) for one in impact.sample[:keep]],
    }


def _notes(counts: Any) -> list[dict[str, Any]]:
    return [{"level": lv, "rule": rule, "count": n} for (lv, rule), n in counts.most_common()]


def _counts(key: str, counts: Counter[str]) -> list[dict[str, Any]]:
    return [{key: name, "count": n} for name, n in counts.most_common()]


def _changed(one: Changed) -> dict[str, Any]:
    return {
        "number": one.seq,
        "lost": dict(one.lost),
        "gained": dict(one.gained),
        "types": {side: {"was": a, "now": b} for side, (a, b) in one.types.items()},
        "first": {group: {"was": a, "now": b} for group, (a, b) in one.firsts.items()},
        "listed": {group: {"was": a, "now": b} for group, (a, b) in one.listed.items()},
        "nevers-and-musts-lost": list(one.unbound),
        "nevers-and-musts-gained": list(one.bound),
        "notes-reworded": list(one.reworded),
    }

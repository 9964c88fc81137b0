"""What a record of a visit holds, what came of it later, and getting both back.

What came of a visit stands in records of their own that name the one they follow: nothing of the
first record changes.
"""

from __future__ import annotations

import hashlib
import json
import platform
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from recommend import __version__
from recommend.catalogue.loading import Catalogue, prepared_catalogue
from recommend.door import visible
from recommend.errors import InputError, Place
from recommend.infer.engine import REFERENCE
from recommend.match.needs import PairNeeds, asked_words
from recommend.match.out import out_for, own_items
from recommend.match.outcome import Outcome, as_document
from recommend.match.shortlist import GROUPS, Group
from recommend.match.sizes import wanted_length
from recommend.reading.texts import Texts
from recommend.records.documents import canonical, digest, forgotten_parts, join, separate, sha256
from recommend.records.store import EVENT, SHORTLIST, Record, Store, ToRecord
from recommend.records.verify import tell
from recommend.rulebook import Rulebook, prepared_rulebook
from recommend.rulebook.vocabulary import about
from recommend.settings import setting
from recommend.visit.models import KEPT, Visit

# Groups of parameters that are used only after facts have been made.
_NOT_OF_FACTS = frozenset({"rank", "sure", "coverage", "trial", "effects", "sheet"})
_PREFIX = 12  # characters of a hash that tell one wording from another


def entry_of(
    outcome: Outcome,
    shows: str = "shortlist",
    heeds: Mapping[str, Any] | None = None,
    more: Mapping[str, Any] | None = None,
) -> ToRecord:
    """The outcome of a visit as a record: everything that is needed to derive it again.

    Parameters
    ----------
    shows : which screen was shown: ``shortlist`` or ``trial``.
    heeds : what its order heeds beside the rules, and the documents that it is derived from.
    more : documents of what else was shown.

    Raises
    ------
    InputError
        If a file of the rulebook or catalogue was changed since it was read.
    """
    documents = {
        "visit": visit_document(outcome.assessment.visit),
        "rulebook": rulebook_document(outcome.book),
        "catalogue": catalogue_document(outcome.catalogue),
        "facts": facts_document(outcome),
        "outcome": outcome_document(outcome),
        "origins": origins_of(outcome),
        **{name: kept for name, kept in (heeds or {}).items() if kept is not None},
        **(more or {}),
    }
    facts = {
        "shows": shows,
        "heeds": sorted(heeds or {}),
        "by": {
            "measured": outcome.assessment.visit.measured_by,
            "kept": setting("fitter").value or None,
        },
        "program": program_digest(),
        "summary": summary_of(outcome),
        "versions": dict(versions()),
        "case": case_of(outcome),
        "engine": outcome.assessment.engine,
    }
    return ToRecord(documents, facts)


def visit_document(visit: Visit) -> dict[str, Any]:
    """A visit as plain data, without what was left out."""
    return visit.model_dump(mode="json", by_alias=True, exclude_unset=True)


def origins_of(outcome: Outcome) -> dict[str, Any]:
    """Where the attributes of each product shown stand: file, line, date of the maker's data."""
    ranked = outcome.shortlist
    shown = outcome.book.parameters.rank.shown
    groups = [one for group in GROUPS for one in ranked.groups[group][:shown]] if ranked else []
    parts = {part.id: part for one in groups for c in one.members for part in c.parts}
    return {
        name: {"place": visible(part.place), "as-of": part.as_of}
        for name, part in sorted(parts.items())
        if part.offered == "shop"
    }


def origins_kept(store: Store, record: Record) -> dict[str, Any]:
    """What `origins_of` said when the record was kept; nothing of a record that is older."""
    content = record.bodies.get("origins")
    return dict(store.body(content)) if content else {}


@cache
def program_digest() -> str:
    """SHA-256 over the program's own files, by name."""
    root = Path(__file__).resolve().parents[1]
    running = hashlib.sha256()
    for file in sorted(root.rglob("*")):
        if file.suffix in (".py", ".yaml", ".css") and file.is_file():
            running.update(f"{file.relative_to(root).as_posix()}\n".encode() + file.read_bytes())
    return running.hexdigest()


def keep_event(
    path: Path,
    visit: Visit,
    what: str,
    told: Mapping[str, Any],
    by: str = "",
    make: Callable[[], ToRecord] | None = None,
) -> Record | None:
    """Keep what came of a visit; None where no record of the visit is there to be named.

    Parameters
    ----------
    what, told, by : as `event` has them.
    make : makes the record of the visit where there is none, to be kept first.
    """
    with Store(path, write=True) as store:
        first = newest_of(store, visit) or (store.append(make()) if make else None)
        if first is None:
            return None
        kept = store.append(event(first, visit.reference, what, told, by))
        tell_witnesses(kept)
    _tell_clock(kept)
    return kept


def last_kept(path: Path, visit: Visit, make: Callable[[], ToRecord]) -> Record:
    """The newest record of all, after one of the visit was made if there was none.

    So that a page of the visit can bear its hash: that of the record of the page itself, which
    holds the hash of the page, cannot stand on it.
    """
    with Store(path, write=True) as store:
        if newest_of(store, visit) is None:
            tell_witnesses(store.append(make()))
        return store.record(len(store))


def newest_of(store: Store, visit: Visit) -> Record | None:
    """The newest record of this visit as it stands, whatever was decided since."""
    wanted = _undecided(separate({"visit": visit_document(visit)})[0]["visit"])
    for record in reversed(store.of_reference(visit.reference)):
        if record.kind != SHORTLIST:
            continue
        if _undecided(store.body(record.bodies["visit"])) == wanted:
            return record
    return None


def _undecided(visit: Mapping[str, Any]) -> dict[str, Any]:
    plain: dict[str, Any] = json.loads(canonical(visit))
    plain.pop("decision", None)
    return plain


def kept_words(kept: Record | None) -> str:
    """What to tell of a record that was kept, or why none was."""
    if kept is None:
        return "Not kept: no record of the visit that it belongs to is there."
    return f"Kept as record {kept.seq}."


def keeps(option: bool | None = None) -> bool:
    """Whether what is shown is kept: as the option says, else the settings."""
    return option if option is not None else setting("keep").value == "yes"


def kept_in(path: Path, entries: Sequence[ToRecord]) -> list[Record]:
    """Keep records in the store at `path`, and tell the shop's witnesses of the last one.

    A witness that cannot be told is said and loses nothing: the next record tells it.
    """
    with Store(path, write=True) as store:
        records = store.append_all(entries)
        tell_witnesses(records[-1])
    _tell_clock(records[0])
    return records


def _tell_clock(record: Record) -> None:
    if record.head.get("clock"):
        told = "the clock is behind that of the record before; check it"
        print(f"Record {record.seq}: {told}.", file=sys.stderr)


def tell_witnesses(last: Record) -> None:
    """Put the hash of the last record wherever the shop chose."""
    for witness in setting("witnesses").value:
        try:
            tell(witness, last)
        except InputError as error:
            print(f"Kept, but a witness could not be told: {error}", file=sys.stderr)


def outcome_document(outcome: Outcome) -> dict[str, Any]:
    """The outcome as it is kept: alike whichever engine concluded, which the head names."""
    whole = as_document(outcome)
    del whole["engine"]
    return whole


def engine_kept(record: Record) -> str:
    """The engine that concluded a record; the first records name none and had but one."""
    name: str = record.head.get("engine", REFERENCE)
    return name


def facts_document(outcome: Outcome) -> dict[str, Any]:
    """What the engines read of each foot, so that other rules can be run over many visits fast.

    ``basis`` names everything that facts depend on beside the visit: under a rulebook with
    another basis they are measured anew from the visit.
    """
    assessment, book = outcome.assessment, outcome.book
    facts: dict[str, Any] = {
        side: {
            name: value
            for name, value in foot.conclusions.facts.items()
            if not about(name).concluded
        }
        for side, foot in assessment.feet.items()
    }
    length = wanted_length(assessment.visit, book.parameters).length
    out = out_document(assessment.visit, book, outcome.catalogue)
    return {**facts, "length": length, **out, "basis": basis_of(book)}


def out_document(visit: Visit, book: Rulebook, catalogue: Catalogue) -> dict[str, Any]:
    """What is out for a customer beside the rules, and whether own shoes were described."""
    out = out_for(visit, catalogue.items, book)
    told: dict[str, Any] = {"did-harm": sorted(out.why)}
    if out.price_limit is not None:
        told["price-limit"] = out.price_limit
    if own_items(visit, book):
        told["own-shoes"] = True
    return told


def basis_of(book: Rulebook) -> str:
    """SHA-256 over the measures and numbers of a rulebook that facts are made with."""
    numbers = {
        name: value
        for name, value in book.parameters.numbers.items()
        if name.partition(".")[0] not in _NOT_OF_FACTS
    }
    measures = {name: one.model_dump(mode="json") for name, one in book.measures.items()}
    words = {
        name: list(values)
        for name, values in book.vocabulary.words.items()
        if not about(name).concluded
    }
    return digest([__version__, numbers, measures, words])


def case_of(outcome: Outcome) -> str:
    """SHA-256 that names the visit, rulebook and catalogue, whenever and wherever it is kept.

    Redraws take their seed from it, so that what the shortlist says is what the record says.
    """
    visit, _ = separate({"visit": visit_document(outcome.assessment.visit)})
    return digest([visit["visit"], outcome.book.digest, outcome.catalogue.digest])


def summary_of(outcome: Outcome) -> dict[str, Any]:
    """The heart of an outcome, small and easily compared.

    ``stopped``; ``types`` by foot; ``notes`` by rule, with their level, and ``said``, a hash of
    each one's wording; by group, the ``first`` product and the first ones ``listed``, by the
    readings as they stand;
    ``binding``, the nevers and musts of the pair, null when a stop withholds the shortlist.
    """
    assessment, ranked = outcome.assessment, outcome.shortlist
    shown = outcome.book.parameters.rank.shown
    listed: dict[Group, list[str]] = {}
    if ranked and ranked.as_read:
        listed = {g: list(ranked.as_read.leading(g, shown)[0]) for g in GROUPS}
    return {
        "stopped": assessment.stopped,
        "types": {side: foot.foot_type for side, foot in assessment.feet.items()},
        "notes": {note.rule: note.level for note in assessment.notes},
        "said": {note.rule: wording_of(note.say) for note in assessment.notes},
        "first": firsts_listed(listed),
        "listed": listed,
        "binding": binding_of(ranked.needs, outcome.book) if ranked else None,
    }


def firsts_listed(listed: Mapping[Group, Sequence[str]]) -> dict[str, str | None]:
    """The first product of each group that is listed; None where a group has none."""
    return {group: ids[0] if ids else None for group, ids in listed.items()}


def wording_of(text: str) -> str:
    """The beginning of the SHA-256 of what a note says, so that another wording shows."""
    return sha256(text.encode())[:_PREFIX]


def binding_of(needs: PairNeeds, book: Rulebook) -> list[str]:
    """The nevers and musts of a pair as sorted texts: ``must insole.heel-cup at least 12 mm``."""
    return sorted(asked_words(need, book) for need in needs.needs if need.strength != "prefer")


@cache
def versions() -> tuple[tuple[str, str], ...]:
    """Versions of everything that a derivation depends on."""
    packages = ("durable-rules", "numpy", "pydantic")
    own = (("recommend", __version__), ("python", platform.python_version()))
    return (*own, *((name, _version(name)) for name in packages))


def _version(package: str) -> str:
    try:
        return version(package)
    except PackageNotFoundError:
        return "none"


@dataclass
class Archive:
    """Reopens records; rulebooks and catalogues that several records share are read once."""

    store: Store
    _books: dict[str, Rulebook] = field(default_factory=dict)
    _catalogues: dict[tuple[str, str], Catalogue] = field(default_factory=dict)

    def visit(self, record: Record) -> Visit:
        """The visit of a record, its private part put back where it is still there."""
        try:
            return Visit.model_validate(self.documents(record, "visit")["visit"], context=KEPT)
        except (ValidationError, KeyError) as error:
            raise self._other(record, "visit") from error

    def _other(self, record: Record, what: str) -> InputError:
        return InputError(
            Place(str(self.store.path)),
            f"the {what} of record {record.seq} is not one that this version reads",
            mend="see `recommend store verify`; read it with the version that kept it",
        )

    def documents(self, record: Record, *names: str) -> dict[str, Any]:
        """Documents of a record by name, private parts put back; all of them without `names`.

        Raises
        ------
        InputError
            If the record is not of a visit, or a document is damaged.
        """
        if record.kind != SHORTLIST:
            what = "declares what was forgotten"
            if record.kind == EVENT:
                what = f"tells what came of record {record.head['of']['seq']}"
            raise InputError(
                Place(str(self.store.path)),
                f"record {record.seq} is not of a visit: it {what}",
                mend="see `recommend store list`",
            )
        public = {
            n: self.store.body(h) for n, h in record.bodies.items() if not names or n in names
        }
        private = self.store.private(record)
        if private is None and record.head["private"] is not None:
            private = forgotten_parts(public)
        kept = {p: v for p, v in (private or {}).items() if p.partition("/")[0] in public}
        return join(public, kept)

    def book(self, record: Record) -> Rulebook:
        """The rulebook of a record, as it was then."""
        content = record.bodies["rulebook"]
        if content not in self._books:
            self._books[content] = rulebook_from(self.store.body(content))
        return self._books[content]

    def catalogue(self, record: Record) -> Catalogue:
        """The catalogue of a record, as it was then."""
        key = (record.bodies["catalogue"], record.bodies["rulebook"])
        if key not in self._catalogues:
            self._catalogues[key] = catalogue_from(self.store.body(key[0]), self.book(record))
        return self._catalogues[key]


_SEE = "see `recommend store verify`"
RULES, PRODUCTS = "rules", "products"  # what their folders are called in places of messages


def rulebook_document(book: Rulebook) -> dict[str, Any]:
    """Every file of the rulebook as it was read, by its name within the folder."""
    return {"files": book.texts.as_document(), "sha256": book.digest}


def catalogue_document(catalogue: Catalogue) -> dict[str, Any]:
    """Every file of the catalogue as it was read, by its name within the folder."""
    return {"files": catalogue.texts.as_document(), "sha256": catalogue.digest}


def rulebook_from(document: Mapping[str, Any]) -> Rulebook:
    """The rulebook that `rulebook_document` made the document of.

    Raises
    ------
    InputError
        If this version of the tool no longer understands it, or it is not the same.
    """
    book = prepared_rulebook(Texts.of(RULES, _files(document, "rulebook")), kept=True)
    _same(book.digest, document["sha256"], "rulebook")
    return book


def catalogue_from(document: Mapping[str, Any], book: Rulebook) -> Catalogue:
    """The catalogue that `catalogue_document` made the document of; errors likewise."""
    files = _files(document, "catalogue")
    catalogue = prepared_catalogue(Texts.of(PRODUCTS, files), book)
    _same(catalogue.digest, document["sha256"], "catalogue")
    return catalogue


def _files(document: object, what: str) -> dict[str, str]:
    """The texts by name; a record that holds something else was forged."""
    if isinstance(document, Mapping) and isinstance(document.get("sha256"), str):
        files = document.get("files")
        if isinstance(files, dict) and all(isinstance(text, str) for text in files.values()):
            return files
    raise InputError(Place(what), f"the {what} of this record holds no files", mend=_SEE)


def _same(found: str, promised: str, what: str) -> None:
    if found != promised:
        raise InputError(
            Place(what),
            f"the files of the {what} are not the ones that were used ({found[:12]} is not "
            f"{promised[:12]}): the record was changed",
            mend=_SEE,
        )


def event(
    first: Record, reference: str, what: str, told: Mapping[str, Any], by: str = ""
) -> ToRecord:
    """What came of the record `first`, to be kept.

    Parameters
    ----------
    reference : the customer's code; '' of what belongs to no customer.
    what : in a word, such as ``sold``, ``read-out``, ``page`` or ``came-back``.
    told : plain data; free text in it stands under ``remark`` or ``text``.
    by : code of who did it, never a name.
    """
    facts = {"event": what, "of": {"seq": first.seq, "hash": first.hash}, "by": by}
    # The reference is kept apart, so that forgetting reaches events as well.
    whose = {"reference": reference} if reference else {}
    return ToRecord({"event": {**whose, **told}}, facts, kind=EVENT)


def events_of(store: Store, first: Record) -> Iterator[tuple[Record, dict[str, Any]]]:
    """What came of the record `first`, oldest first: the records, and what they tell."""
    for record in store.records(first.seq + 1):
        if record.kind == EVENT and record.head["of"]["hash"] == first.hash:
            yield record, {**store.body(record.bodies["event"]), **_private(store, record)}


def _private(store: Store, record: Record) -> dict[str, Any]:
    kept = store.private(record) or {}
    return {path.partition("/")[2]: value for path, value in kept.items()}

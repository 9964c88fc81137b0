"""What a version was when it was released: every note with its condition, and what it said.

``released/VERSION.yaml`` is written by `recommend rulebook release` and not edited. Conditions
stand there as they ran, limits as numbers and with the rules of the axes that they read, so that
neither another limit nor another way to classify weakens a note in silence. A `draft` is a version
that is still being made: its notes are guarded, its words may change.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field

from recommend.atomic import write_atomically
from recommend.check.changes import accepted_after, weakened
from recommend.check.finding import Finding, from_error
from recommend.check.logic import fate_of, past_note
from recommend.check.wording import PAGE
from recommend.errors import InputError, Place
from recommend.infer.conclusions import ContradictionError
from recommend.infer.many import behind
from recommend.reading import Document, Id, Strict, problems_in, read_document, written
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.contents import Bearing, contents_of, contents_of_files, hashes_of
from recommend.rulebook.loading import STAGES
from recommend.rulebook.models import AxisThen, NoteLevel, Rule
from recommend.rulebook.terms import OPS, Disjunction, Number, Term, Word

FOLDER = "released"
_KEPT: tuple[Bearing, ...] = ("decides", "words")  # of a released version
_NUMBER = re.compile(r"(\S+) (>=|<=|>|<) (\S+)")
_WORD = re.compile(r"(\S+) is (.+)")
_HEAD = """\
# Written by `recommend rulebook release`; not edited by hand. Each `when` lists ways, any of which
# suffices; of a way, every line holds.
"""
Branches = Annotated[list[list[str]], Field(min_length=1)]


class NoteWas(Strict):
    """A note as it was: it came where every line of one of the branches was so."""

    rule: Id
    note: NoteLevel
    when: Branches


class AxisWas(Strict):
    """A value of an axis that notes read, and where it was concluded."""

    rule: Id
    axis: str
    value: str
    when: Branches
    fails: list[list[str]]


class ReleasedFile(Strict):
    """``released/VERSION.yaml``."""

    title: str
    version: str
    by: Annotated[str, Field(min_length=2)]
    draft: Literal["yes", "no"] = "no"
    words: str
    decides: str
    page: str = ""
    notes: list[NoteWas]
    axes: list[AxisWas] = []


def released_findings(book: Rulebook) -> Iterator[Finding]:
    """Whether the newest version written down still stands, in its notes and as a whole."""
    file, document, problems = _newest(Path(book.folder))
    if document is None:
        yield Finding(
            "not-released", "note", Place(book.folder),
            f"the notes of version {book.heading.version} are not written down",
            mend="when it is finished: `recommend rulebook release FOLDER --by CODE`",
        )  # fmt: skip
        return
    yield from map(from_error, problems)
    if file is not None:
        yield from _notes(book, file, document)
        yield from _same(book, file, document)


def gone_findings(folder: Path) -> Iterator[Finding]:
    """Notes of the newest version written down whose rules are in no file any more.

    For a folder that is no rulebook without them, because something else names them.
    """
    file, document, _ = _newest(folder)
    if document is None or file is None:
        return
    there: set[str] = set()
    for path in (path for stage in STAGES for path in (folder / stage).rglob("*.yaml")):
        with suppress(InputError):
            rules = read_document(path).data.get("rules") or []
            there |= {str(one.get("id")) for one in rules if isinstance(one, dict)}
    for index, note in enumerate(file.notes):
        if note.rule not in there:
            code = "weakened-stop" if note.note == "stop" else "weakened-note"
            yield Finding(
                code, "error", document.place(("notes", index)),
                f"the {note.note} note of `{note.rule}` is gone",
                mend="restore the rule; or take it from what names it too, and accept the loss in "
                "changes.yaml",
            )  # fmt: skip


def _newest(folder: Path) -> tuple[ReleasedFile | None, Document | None, list[InputError]]:
    """The newest version written down, checked and as it was read, and what does not fit."""

    def version(file: Path) -> tuple[int, ...]:
        return tuple(int(part) for part in file.stem.split(".") if part.isdigit())

    files = sorted((folder / FOLDER).glob("*.yaml"), key=version)
    if not files:
        return None, None, []
    document = read_document(files[-1])
    file, problems = problems_in(ReleasedFile, document)
    return file, document, problems


def _notes(book: Rulebook, file: ReleasedFile, at: Document) -> Iterator[Finding]:
    accepted = accepted_after(book, file.version)
    old = replace(book, rules=(*_axes(file, book), *(r for r in book.rules if not r.concludes)))
    for index, note in enumerate(file.notes):
        if note.rule in accepted:
            continue
        place = at.place(("notes", index))
        try:
            was = past_note(old, note.rule, note.note, _disjunction(note.when, book, place))
        except InputError as error:
            yield from_error(error)
            continue
        with suppress(ContradictionError):  # which is told by itself
            fate = fate_of(book, old, was)
            if fate.lost:
                yield weakened(fate, place, book)
            if fate.more and file.draft == "no":
                yield Finding(
                    "stronger-note", "note", place,
                    f"`{note.rule}` comes for more feet than in version {file.version}",
                    mend="release the version that brings it, so that this is guarded too",
                )  # fmt: skip


def _same(book: Rulebook, file: ReleasedFile, at: Document) -> Iterator[Finding]:
    """Nothing of a released version may change; what has changed says which step is asked for."""
    now = hashes_of(contents_of(book.texts))
    if page_edited(book):
        yield Finding(
            "released-edited", "warning", at.place(("page",)),
            f"the texts around the rulebook's own on the customer's page are not those of version "
            f"{file.version} any more",
            mend=f"read {PAGE.name}, and release a version of the rulebook that you print with it",
        )  # fmt: skip
    if file.draft == "yes" or file.version != book.heading.version:
        return
    changed = [kind for kind in _KEPT if getattr(file, kind) != now[kind]]
    if changed:
        what = "what decides" if "decides" in changed else "words"
        yield Finding(
            "released-edited", "error", at.place(("version",)),
            f"version {file.version} was released, and the files say something else now ({what})",
            mend=f"give the edited rulebook a version of its own, {_step(file.version, changed)}, "
            "in rulebook.yaml and at the top of changes.yaml",
        )  # fmt: skip


def page_hash() -> str:
    """A hash of the texts that the program itself puts on the customer's page."""
    said = contents_of_files({PAGE.name: read_document(PAGE).data})
    return hashlib.sha256(repr(sorted(said.items())).encode()).hexdigest()[:16]


def page_edited(book: Rulebook) -> str:
    """The version with which the page's own texts were released, where they are others now."""
    file, _, _ = _newest(Path(book.folder))
    if file is None or file.draft == "yes" or file.page in ("", page_hash()):
        return ""
    return file.version


def _step(version: str, changed: list[Bearing]) -> str:
    """The next version: the second number where something decides otherwise, else the third."""
    major, minor, patch = map(int, version.split("."))
    if "decides" in changed:
        return f"{major}.{minor + 1}.0 (or {major + 1}.0.0 where a note is weaker)"
    return f"{major}.{minor}.{patch + 1}"


def write_released(book: Rulebook, by: str, *, draft: bool) -> Path:
    """Write down what the version of `book` is; the file.

    Raises
    ------
    InputError
        If that version was released before, and is no draft any more.
    """
    path = Path(book.folder) / FOLDER / f"{book.heading.version}.yaml"
    if path.exists():
        file, _ = problems_in(ReleasedFile, read_document(path))
        if file is None or file.draft == "no":
            raise InputError(
                Place(str(path)), f"version {book.heading.version} was released already",
                mend="give the rulebook a version of its own in rulebook.yaml",
            )  # fmt: skip
    now = hashes_of(contents_of(book.texts))
    notes = book.noting()
    axes = [r for r in behind(book, [one.id for one in notes]) if r.concludes]
    data = {
        "title": f"What version {book.heading.version} says, and whom it warns",
        "version": book.heading.version,
        "by": by,
        "draft": "yes" if draft else "no",
        "words": now["words"],
        "decides": now["decides"],
        "page": page_hash(),
        "notes": [{"rule": one.id, "note": one.level, "when": _texts(one.holds)} for one in notes],
        "axes": [_axis(one) for one in axes],
    }
    body = written(data, width=96, default_flow_style=None)
    write_atomically(path, _HEAD + body, private=False)
    return path


def _axis(rule: CompiledRule) -> Mapping[str, object]:
    assert rule.concludes is not None
    return {
        "rule": rule.id, "axis": rule.concludes.axis, "value": rule.concludes.value,
        "when": _texts(rule.holds), "fails": _texts(rule.fails),
    }  # fmt: skip


def _axes(file: ReleasedFile, book: Rulebook) -> Iterator[CompiledRule]:
    """The rules of the axes as they were; those that cannot be read any more are left out."""
    model = book.rules[0]
    for one in file.axes:
        place = Place(f"{FOLDER}/{file.version}.yaml")
        with suppress(InputError):
            body: Rule = model.rule.model_copy(
                update={"id": one.rule, "then": AxisThen(axis=one.axis, value=one.value)}
            )
            yield replace(
                model,
                rule=body,
                holds=_disjunction(one.when, book, place),
                fails=_disjunction(one.fails, book, place),
            )


def _texts(disjunction: Disjunction) -> list[list[str]]:
    return [[_text(term) for term in branch] for branch in disjunction]


def _text(term: Term) -> str:
    if isinstance(term, Number):
        return f"{term.fact} {OPS[term.op].sign} {term.value:.12g}"
    return f"{term.fact} is {' or '.join(sorted(term.values))}"


def _disjunction(branches: list[list[str]], book: Rulebook, place: Place) -> Disjunction:
    return tuple(tuple(_term(text, book, place) for text in branch) for branch in branches)


def _term(text: str, book: Rulebook, place: Place) -> Term:
    number, word = _NUMBER.fullmatch(text), _WORD.fullmatch(text)
    if number and number[1] in book.vocabulary.numbers:
        op = next(name for name, one in OPS.items() if one.sign == number[2])
        return Number(number[1], op, float(number[3]))
    if word and word[1] in book.vocabulary.words:
        return Word(word[1], frozenset(word[2].split(" or ")))
    raise InputError(
        place, f"`{text}` is nothing that this rulebook can ask any more",
        mend="accept the loss of the note in changes.yaml, or bring back what it asks",
    )  # fmt: skip

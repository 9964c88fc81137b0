"""What is defined and nothing reads, and what is read and not defined."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from recommend.check.finding import Finding
from recommend.errors import Place, nearest
from recommend.reading.document import Loc
from recommend.rulebook.book import Rulebook
from recommend.rulebook.contents import FILES, FOLDERS, is_read
from recommend.rulebook.models import AxisThen, NeedsThen
from recommend.rulebook.terms import Number
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.trial.bands import LOAD_LIMITS


def unused_findings(book: Rulebook) -> Iterator[Finding]:
    """Limits, sources, questions and axis values that nothing reads or concludes."""
    yield from _files(book)
    yield from _limits(book)
    yield from _sources(book)
    yield from _questions(book)
    yield from _axes(book)


def _files(book: Rulebook) -> Iterator[Finding]:
    """Files of the folder that nothing reads, whatever rules are in them."""
    folder = Path(book.folder)
    found = (*folder.rglob("*.yaml"), *folder.rglob("*.yml"))
    for name in sorted(file.relative_to(folder).as_posix() for file in found):
        if not is_read(name):
            yield Finding(
                "unused", "warning", book.texts.place(name), "this file is read by nothing",
                ", ".join(f"{one}/NAME.yaml" for one in FOLDERS) + f"; {', '.join(FILES)}",
                "name it so, or remove it from the rulebook",
            )  # fmt: skip


def _unused(place: Place, what: str, mend: str) -> Finding:
    return Finding("unused", "warning", place, f"{what} is used by nothing", mend=mend)


def _limits(book: Rulebook) -> Iterator[Finding]:
    used = set(LOAD_LIMITS)
    for rule in book.rules:
        for branch in (*rule.holds, *rule.fails):
            used |= {term.limit for term in branch if isinstance(term, Number)}
        if isinstance(rule.rule.then, NeedsThen):
            used |= {need.limit for need in rule.rule.then.needs if need.limit}
    document = book.texts.document("limits.yaml")
    for name in book.limits:
        if name not in used:
            place = document.place(("limits", name), key=True)
            yield _unused(place, f"limit `{name}`", "let a rule refer to it, or remove it")


def _sources(book: Rulebook) -> Iterator[Finding]:
    used: set[str] = set()
    for document in map(book.texts.document, book.texts):
        for loc, source in _named_sources(document.data, ()):
            used.add(source)
            if source not in book.sources:
                yield Finding(
                    "missing-source", "error", document.place(loc),
                    f"no source is called `{source}`",
                    mend=nearest(source, book.sources) or "add it to sources.yaml",
                )  # fmt: skip
        for loc in _published_without(document.data, ()):
            yield Finding(
                "missing-source", "error", document.place(loc), "`kind: published` names no source",
                mend="name a `source` of sources.yaml, or say what kind it really is",
            )  # fmt: skip
    document = book.texts.document("sources.yaml")
    for entry in book.sources.values():  # a conflict names the source that it is with
        used |= set(re.findall(r"[a-z0-9-]+", entry.conflict))
    for name, entry in book.sources.items():
        if name not in used and not entry.defines:
            place = document.place(("sources", name), key=True)
            yield _unused(
                place, f"source `{name}`", "refer to it where it is leant on, or remove it"
            )


def _named_sources(data: object, loc: Loc) -> Iterator[tuple[Loc, str]]:
    """Every value of a key `source` or `sources`, with its path."""
    if isinstance(data, list):
        for index, part in enumerate(data):
            yield from _named_sources(part, (*loc, index))
    if not isinstance(data, dict):
        return
    for key, part in data.items():
        if key == "source" and isinstance(part, str):
            yield (*loc, key), part
        elif key == "sources" and isinstance(part, list):
            yield from (((*loc, key, i), one) for i, one in enumerate(part) if isinstance(one, str))
        else:
            yield from _named_sources(part, (*loc, str(key)))


def _published_without(data: object, loc: Loc) -> Iterator[Loc]:
    """Paths of mappings that claim to be published and name no source."""
    if isinstance(data, list):
        for index, part in enumerate(data):
            yield from _published_without(part, (*loc, index))
    if isinstance(data, dict):
        if data.get("kind") == "published" and not (data.get("source") or data.get("sources")):
            yield loc
        for key, part in data.items():
            yield from _published_without(part, (*loc, str(key)))


def _questions(book: Rulebook) -> Iterator[Finding]:
    document = book.texts.document("questions.yaml")
    for name in book.questions:
        if f"answer_{name}" not in book.read:
            place = document.place(("questions", name), key=True)
            yield _unused(place, f"question `{name}`", "let a rule read its answer, or remove it")


def _axes(book: Rulebook) -> Iterator[Finding]:
    concluded = {
        (rule.rule.then.axis, rule.rule.then.value)
        for rule in book.rules
        if isinstance(rule.rule.then, AxisThen)
    }
    document = book.texts.document("axes.yaml")
    for name, axis in book.axes.items():
        if name == FOOT_TYPE:
            continue
        for value in axis.values:
            if (name, value) not in concluded:
                place = document.place(("axes", name, "values", value), key=True)
                what = f"the value `{value}` of axis `{name}` is concluded by nothing"
                yield Finding("unused", "warning", place, what, mend="add a rule, or remove it")

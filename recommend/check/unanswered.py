"""What nothing reads, and what nobody can answer, state, offer or meant to leave in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.check.authoring import UNFINISHED
from recommend.check.cells import base_facts
from recommend.check.finding import Finding, from_error
from recommend.check.people import FILE as PEOPLE
from recommend.check.people import SEED, People
from recommend.check.reach import places_of
from recommend.check.wording import SaidOfProduct, has, wording_of_rules
from recommend.errors import InputError, Place, nearest
from recommend.match.judge import FITTED, judge
from recommend.match.needs import NeedTable, level_words, need_words, needs_of
from recommend.measure.observed import OBSERVED
from recommend.reading import Document
from recommend.reading.document import Loc
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.contents import FILES, FOLDERS, is_read
from recommend.rulebook.serving import FILE, required_wishes
from recommend.rulebook.terms import COMPARISONS
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact
from recommend.trial.verdict import LOAD_LIMITS

_NUMBER = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) degrees")
_CUSTOMERS = 4000  # of the mixture, who are counted where a need can be met by nothing


def unanswered_findings(book: Rulebook) -> Iterator[Finding]:
    """Measures that no visit can carry, and texts to finish."""
    for rule in book.rules:
        for name in sorted(base_facts(book, [rule])):
            if name in book.measures and not _carried(book, name):
                yield Finding(
                    "never-answered", "error", rule.place,
                    f"rule `{rule.id}` reads `{name}`, and no visit can carry it",
                    mend="say in measures.yaml that it is `typed` or how it is `derived`, or drop "
                    "the rule",
                )  # fmt: skip
    yield from _unfinished(book)
    yield from _unmarked(book)


def _unmarked(book: Rulebook) -> Iterator[Finding]:
    """Rules that ask for more than nothing, of which no wish is marked to be met."""
    if FILE not in book.texts:
        return  # there the musts decide
    try:
        marked = {rule for rule, _ in required_wishes(book)}
    except InputError as error:
        yield from_error(error)
        return
    table = NeedTable(book)
    active = table.active(np.eye(len(table.rules), dtype=bool))
    more = table.asks_more("shoe", active) | table.asks_more("insole", active)
    for name, asks in zip(table.rules, more, strict=True):
        wishes = [one for one in book.by_id[name].asks if one.strength == "prefer"]
        if asks and wishes and name not in marked:
            yield Finding(
                "not-marked", "warning", book.by_id[name].place,
                f"rule `{name}` asks for a product, and any that does no harm would serve",
                mend=f"mark in {FILE} which of its wishes must be met",
            )  # fmt: skip


def _carried(book: Rulebook, name: str) -> bool:
    """Whether a visit has a field for a measure, or it follows from others."""
    one = book.measures[name]
    if one.derived is not None:
        return all(part in book.measures and _carried(book, part) for part in one.derived.parts)
    return one.typed or bool(one.beside) or name in OBSERVED


def _unfinished(book: Rulebook) -> Iterator[Finding]:
    for rule in book.rules:
        said = rule.note.say if rule.note else ""
        texts = (rule.rule.title, rule.rule.because, rule.rule.basis.note, said)
        for text in sorted(UNFINISHED.intersection(texts)):
            yield Finding(
                "unfinished", "warning", rule.place,
                f"rule `{rule.id}` still says \"{text}\", as it was begun",
                mend="say what you mean",
            )  # fmt: skip


def shelf_findings(book: Rulebook, catalogue: Catalogue) -> Iterator[Finding]:
    """Attributes that no product states, needs that none meets, titles that say something else."""
    yield from _unstated(book, catalogue)
    yield from _unmet(book, catalogue)
    places = places_of(catalogue)
    said = wording_of_rules(book)
    for item in catalogue.items:
        for words in _contradicted(book, item, said.titles if said else []):
            yield Finding(
                "title-contradicts", "warning", places[item.id], f"product `{item.id}` {words}",
                mend="correct the title or the attribute; mind the sign of a wedge",
            )  # fmt: skip


def _unstated(book: Rulebook, catalogue: Catalogue) -> Iterator[Finding]:
    stated = {name for item in catalogue.items for name in item.levels}
    asking: dict[str, CompiledRule] = {}
    for rule in book.rules:
        for need in rule.asks:
            asking.setdefault(need.attribute, rule)
    for name, rule in asking.items():
        if name not in stated and name not in book.sums:
            yield Finding(
                "never-stated", "warning", rule.place,
                f"rule `{rule.id}` asks for `{name}`, and no product of the catalogue states it",
                mend="state it for the products that have it, or do not ask for it",
            )  # fmt: skip


def _unmet(book: Rulebook, catalogue: Catalogue) -> Iterator[Finding]:
    """Rules whose musts and nevers leave nothing of a kind, with whom that would be."""
    crowd: People | None = None
    for rule in book.rules:
        for kind in ("shoe", "insole"):
            binding = [n for n in rule.asks if n.strength != "prefer"]
            items = [item for item in catalogue.items if item.product.kind == kind]
            if not items or not any(need.attribute.startswith(kind) for need in binding):
                continue
            needs = needs_of(book, {"left": [rule.id]})
            if any(judge((item,), needs, book).suitable for item in items):
                continue
            if (Path(book.folder) / PEOPLE).is_file():
                crowd = crowd or People.mixed(book, _CUSTOMERS, SEED)
            bound = [n for n in needs.needs if n.attribute.startswith(kind)]
            words = "; ".join(need_words(n, book) for n in bound if n.strength != "prefer")
            few, whom = _whom(crowd, rule)
            yield Finding(
                "never-met", "note" if few else "warning", rule.place,
                f"no {kind} of the catalogue has what rule `{rule.id}` binds ({words}); "
                f"{whom} left with none",
                mend="stock one, state what is not stated, or let the rule prefer",
            )  # fmt: skip


def _whom(crowd: People | None, rule: CompiledRule) -> tuple[bool, str]:
    """Whether they are few, and who they are."""
    met, share = crowd.touched(rule.id) if crowd else (0, 0.0)
    if crowd is None or not met:
        return False, "its feet (none of those drawn) are"
    words = f"{100 * share:.2g} % of a shop's customers ({met} of {_CUSTOMERS} drawn) are"
    return share < crowd.book.parameters.compare.few, words


def _contradicted(book: Rulebook, item: Item, said: list[SaidOfProduct]) -> Iterator[str]:
    """Where the title of a product says something else than its attributes."""
    title = item.product.title
    for name, level in item.levels.items():
        attribute = book.attributes[name]
        for step, words in enumerate(attribute.scale.values()):
            if " " in words and has(title, words) and step != level:
                yield f'is called "{title}", and its {name} is {level_words(name, level, book)}'
    for one in said:
        stated = item.levels.get(one.attribute)
        if stated is None or not has(title, one.words):
            continue
        scale = list(book.attributes[one.attribute].scale)
        target = float(scale.index(str(one.value)) if scale else one.value)
        if not COMPARISONS[one.is_].holds(stated, target):
            yield (
                f'is called "{title}", and its {one.attribute} is '
                f"{level_words(one.attribute, stated, book)}"
            )
    yield from _turned_wedge(item, said)


def _turned_wedge(item: Item, said: list[SaidOfProduct]) -> Iterator[str]:
    """A wedge of another size, or of the other side, than the title has: unsaid it is medial."""
    wedge, title = item.levels.get("insole.wedge"), item.product.title
    degrees = _NUMBER.search(title)
    if wedge is None or degrees is None:
        return
    outer = [one for one in said if (one.attribute, one.is_) == ("insole.wedge", "below")]
    sign = -1 if any(has(title, one.words) for one in outer) else 1
    if wedge != sign * float(degrees[1]):
        yield (
            f'is called "{title}", and its wedge is {wedge:g} degrees (below 0 its outer side is '
            "up, and the title has to say so)"
        )


def unused_findings(book: Rulebook) -> Iterator[Finding]:
    """What nothing reads, asks for or concludes, and sources that are not there."""
    yield from _files(book)
    documents: list[Document] = []
    for file in book.texts:
        try:
            documents.append(book.texts.document(file))
        except InputError as error:
            yield from_error(error)
    named = list(_named_sources(documents))
    for place, source in named:
        if source not in book.sources:
            yield Finding(
                "missing-source", "error", place, f"no source is called `{source}`",
                mend=nearest(source, book.sources) or "add it to sources.yaml",
            )  # fmt: skip
    for document, loc, one in _mappings(documents):
        if one.get("kind") == "published" and not (one.get("source") or one.get("sources")):
            yield Finding(
                "missing-source", "error", document.place(loc), "`kind: published` names no source",
                mend="name a `source` of sources.yaml, or say what kind it really is",
            )  # fmt: skip
    for name, loc, what, mend in _unused(book, {source for _, source in named}):
        place = book.texts.document(name).place(loc, key=True)
        yield Finding("unused", "warning", place, what, mend=mend)


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


def _unused(book: Rulebook, named: set[str]) -> Iterator[tuple[str, Loc, str, str]]:
    """File, path, what is wrong and what to do of each thing that is there in vain."""
    asked = {need.attribute for rule in book.rules for need in rule.asks}
    asked |= {part for attribute in book.attributes.values() for part in attribute.sum_of}
    for name, attribute in book.attributes.items():
        if name not in asked and attribute.unasked is None and name not in FITTED:
            what = f"attribute `{name}` is asked for by nothing"
            yield "attributes.yaml", tuple(name.split(".", 1)), what, "let a rule ask, or remove it"
    limits = set(LOAD_LIMITS).union(*(rule.limits for rule in book.rules))
    limits |= {need.limit for rule in book.rules for need in rule.asks if need.limit}
    for entry in book.sources.values():  # a conflict names the source that it is with
        named |= set(re.findall(r"[a-z0-9-]+", entry.conflict))
    named |= {name for name, entry in book.sources.items() if entry.defines}
    read = {name for name in book.questions if Fact("answer", name).name in book.read}
    for kind, there, used, mend in (
        ("limit", book.limits, limits, "let a rule refer to it, or remove it"),
        ("source", book.sources, named, "refer to it where it is leant on, or remove it"),
        ("question", book.questions, read, "let a rule read its answer, or remove it"),
    ):
        for name in (name for name in there if name not in used):
            what = f"{kind} `{name}` is used by nothing"
            yield f"{kind}s.yaml", (f"{kind}s", name), what, mend
    concluded = {(one.axis, one.value) for rule in book.rules if (one := rule.concludes)}
    for axis, value in ((axis, value) for axis, one in book.axes.items() for value in one.values):
        if axis != FOOT_TYPE and (axis, value) not in concluded:
            what = f"the value `{value}` of axis `{axis}` is concluded by nothing"
            yield "axes.yaml", ("axes", axis, "values", value), what, "add a rule, or remove it"


def _mappings(documents: list[Document]) -> Iterator[tuple[Document, Loc, dict[str, Any]]]:
    """Every mapping in some documents, with its path."""

    def below(data: Any, loc: Loc) -> Iterator[tuple[Loc, dict[str, Any]]]:
        if isinstance(data, dict):
            yield loc, data
        if isinstance(data, (dict, list)):
            for key, part in data.items() if isinstance(data, dict) else enumerate(data):
                yield from below(part, (*loc, key if isinstance(key, int) else str(key)))

    for document in documents:
        yield from ((document, loc, one) for loc, one in below(document.data, ()))


def _named_sources(documents: list[Document]) -> Iterator[tuple[Place, str]]:
    """Every source that is named under `source` or `sources`, with its place."""
    for document, loc, one in _mappings(documents):
        listed = one["sources"] if isinstance(one.get("sources"), list) else []
        found = {("source",): one.get("source")} | {("sources", n): s for n, s in enumerate(listed)}
        for end, source in found.items():
            if isinstance(source, str):
                yield document.place((*loc, *end)), source

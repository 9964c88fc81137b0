"""What nothing reads, and what nobody can answer, state, offer or meant to leave in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from recommend.catalogue.loading import Catalogue, Item
from recommend.check.cells import base_facts
from recommend.check.finding import Finding, from_error
from recommend.check.mixture import Crowd
from recommend.check.people import FILE as PEOPLE
from recommend.check.people import SEED
from recommend.check.reach import places_of
from recommend.check.scaffold import UNFINISHED
from recommend.check.wording import SaidOfProduct, has, wording_of_rules
from recommend.errors import InputError, Place, nearest
from recommend.match.judge import FITTED, judge
from recommend.match.needs import NeedTable, level_words, need_words, needs_of
from recommend.measure.observed import OBSERVED
from recommend.reading.document import Loc
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.comparisons import COMPARISONS
from recommend.rulebook.contents import FILES, FOLDERS, is_read
from recommend.rulebook.models import AxisThen, NeedsThen
from recommend.rulebook.serving import FILE, required_wishes
from recommend.rulebook.terms import Number
from recommend.rulebook.vocabulary import FOOT_TYPE, Fact
from recommend.trial.verdict import LOAD_LIMITS

_NUMBER = re.compile(r"(?<![\w.])(\d+(?:\.\d+)?) degrees")
_CUSTOMERS = 4000  # of the mixture, who are counted where a need can be met by nothing


def unanswered_findings(book: Rulebook) -> Iterator[Finding]:
    """Measures that no visit can carry, attributes that no rule asks for, texts to finish."""
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
    asked = {need.attribute for rule in book.rules for need in rule.asks}
    asked |= {part for attribute in book.attributes.values() for part in attribute.sum_of}
    document = book.texts.document("attributes.yaml")
    for name, attribute in book.attributes.items():
        if name not in asked and attribute.unasked is None and name not in FITTED:
            group, _, key = name.partition(".")
            yield Finding(
                "unused", "warning", document.place((group, key), key=True),
                f"attribute `{name}` is asked for by nothing", mend="let a rule ask, or remove it",
            )  # fmt: skip


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
        for text in UNFINISHED.intersection(texts):
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
    crowd: Crowd | None = None
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
                crowd = crowd or Crowd.of(book, _CUSTOMERS, SEED)
            bound = [n for n in needs.needs if n.attribute.startswith(kind)]
            words = "; ".join(need_words(n, book) for n in bound if n.strength != "prefer")
            few, whom = _whom(crowd, rule)
            yield Finding(
                "never-met", "note" if few else "warning", rule.place,
                f"no {kind} of the catalogue has what rule `{rule.id}` binds ({words}); "
                f"{whom} left with none",
                mend="stock one, state what is not stated, or let the rule prefer",
            )  # fmt: skip


def _whom(crowd: Crowd | None, rule: CompiledRule) -> tuple[bool, str]:
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
    for file in book.texts:
        try:
            document = book.texts.document(file)
        except InputError as error:
            yield from_error(error)
            continue
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
        if Fact("answer", name).name not in book.read:
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

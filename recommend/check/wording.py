"""Sentences held to the words that they must and must not have: ``wording.yaml`` of a rulebook.

A small vocabulary for each language. It cannot tell a good sentence from a bad one; it tells a stop
that does not stop, a note that sends to nobody, a promise of cure, a question turned round, and
inwards said for outwards. `recommend rulebook diff` hands every changed sentence to a reader.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from pydantic import Field

import recommend
from recommend.check.finding import Finding, from_error
from recommend.errors import Place, nearest
from recommend.reading import Document, Id, Strict, problems_in, read_document
from recommend.rulebook.book import CompiledRule, Rulebook
from recommend.rulebook.conditions import Condition, OfMeasure
from recommend.rulebook.models import NoteLevel
from recommend.rulebook.terms import Comparison, Word
from recommend.rulebook.translations import Key, Translation, plain
from recommend.rulebook.vocabulary import about

FILE = "wording.yaml"
OWN = "en"  # the language that the rulebook itself is written in
PAGE = Path(recommend.__file__).parent / "show" / "sheet" / "messages.yaml"
_BEGINNING = 4  # words of a question that are looked at for a negation
Side = Literal["inwards", "outwards"]


class OfLevel(Strict):
    """What a note of a level says: of each list of `needs` one, and nothing of `never`."""

    needs: list[list[str]] = []
    never: list[str] = []


class LanguageWords(Strict):
    """The words of one language; see ``wording.yaml``."""

    levels: dict[NoteLevel, OfLevel] = {}
    claims: list[str] = []
    denials: list[str] = []
    unsure: list[str] = []
    negations: list[str] = []
    sides: dict[Side, list[str]] = {}


class Turn(Strict):
    """To which side a foot goes where a measure is above, and below, a limit."""

    above: Side
    below: Side


class SaidOfProduct(Strict):
    """Words in the title of a product, and what its attribute then is."""

    words: str
    attribute: str
    is_: Comparison = Field(alias="is")
    value: float | str


class Order(Strict):
    """Words of scales from least to most; only of attributes whose title has one of `of`."""

    words: list[str] = Field(min_length=2)
    of: list[str] = []


class WordingFile(Strict):
    """``wording.yaml``."""

    title: str
    titles: list[SaidOfProduct] = []
    turns: dict[Id, Turn] = {}
    orders: list[Order] = []
    languages: dict[str, LanguageWords] = Field(min_length=1)


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence that people read, with where it stands and what it is."""

    text: str
    place: Place
    what: str


def wording_of_rules(book: Rulebook) -> WordingFile | None:
    """What ``wording.yaml`` says; None where there is none that can be read."""
    texts = book.texts
    return problems_in(WordingFile, texts.document(FILE))[0] if FILE in texts else None


def wording_findings(book: Rulebook) -> Iterator[Finding]:
    """Sentences, in every language, that lack words they need, or have some they must not."""
    yield from _questions_turned(book)
    if FILE not in book.texts:
        return
    document = book.texts.document(FILE)
    file, problems = problems_in(WordingFile, document)
    yield from map(from_error, problems)
    if file is None:
        return
    yield from _turned_scales(book, file.orders)
    for code, words in file.languages.items():
        yield from _notes(book, code, words)
        for one in _sentences(book, code):
            bare = replace(one, text=_undenied(one.text, words.denials))
            yield from _without(
                bare, words.claims, "claim-of-cure", "promises what a fitting cannot do"
            )
        yield from _sides(book, code, words, file.turns)
        if code == OWN:
            yield from _negated(book, words)


def _undenied(text: str, denials: Iterable[str]) -> str:
    """A text without the words that deny a claim."""
    for words in denials:
        text = re.sub(re.escape(words), "", text, flags=re.IGNORECASE)
    return text


def _said(book: Rulebook, rule: CompiledRule, code: str) -> Iterator[Sentence]:
    """What the note of a rule says in a language; nothing where it has none, or none there."""
    what, key = f"what `{rule.id}` says", Key("rules", rule.id, "say")
    if rule.note and code == OWN:
        yield Sentence(rule.note.say, rule.place, what)
    elif rule.note and (found := book.translations.get(code, {}).get(key)):
        yield Sentence(found.translation, _translated(book, code), f"{what} ({code})")


def _translated(book: Rulebook, code: str) -> Place:
    return book.texts.place(f"translations/{code}.yaml")


def _notes(book: Rulebook, code: str, words: LanguageWords) -> Iterator[Finding]:
    for level, asked in words.levels.items():
        for said in (said for rule in book.noting(level) for said in _said(book, rule, code)):
            for wanted in asked.needs:
                if not any(has(said.text, word) for word in wanted):
                    yield Finding(
                        "weak-words", "error", said.place,
                        f"{said.what} has none of the words that a {level} note needs",
                        ", ".join(wanted),
                        f"say it, or add your word to {FILE} under `{code}`, `{level}`",
                    )  # fmt: skip
            yield from _without(said, asked.never, "weak-words", f"weakens a {level} note")


def _without(one: Sentence, words: Iterable[str], code: str, why: str) -> Iterator[Finding]:
    for word in words:
        if has(one.text, word):
            found = f"{one.what} has `{word.rstrip('*')}`, which {why}: {plain(one.text)}"
            yield Finding(code, "error", one.place, found, mend="say what is known, and no more")


def _sentences(book: Rulebook, code: str) -> Iterator[Sentence]:
    """What people read of a rulebook, citations aside, and of the frame of the customer's page."""
    page = read_document(PAGE)
    for key, said in page.data["page"].items():
        if code in said:
            where = page.place(("page", key, code))
            yield Sentence(said[code], where, f"`{key}` of the page's own texts ({code})")
    if code != OWN:
        for key, one in book.translations.get(code, {}).items():
            what = f"`{key.field}` of `{key.id}` ({code})"
            yield Sentence(one.translation, _translated(book, code), what)
        return
    for rule in book.rules:
        for text in (rule.rule.title, rule.rule.because, *((rule.note.say,) if rule.note else ())):
            yield Sentence(text, rule.place, f"what is read of `{rule.id}`")
    scaled = book.attributes.items()
    others: dict[str, dict[str, Iterable[str]]] = {
        "rulebook": {"cautions": book.heading.cautions},
        "types": {name: (one.title, one.sentence) for name, one in book.types.items()},
        "questions": {name: (one.ask, one.why) for name, one in book.questions.items()},
        "attributes": {n: (one.title, one.short, *one.scale.values()) for n, one in scaled},
        "measures": {name: (one.title, one.plain) for name, one in book.measures.items()},
        "axes": {name: one.values.values() for name, one in book.axes.items()},
    }
    for things, said_of in others.items():
        file = book.texts.place(f"{things}.yaml")
        for name, texts in said_of.items():
            yield from (Sentence(text, file, f"what is read of `{name}`") for text in texts)


def _negated(book: Rulebook, words: LanguageWords) -> Iterator[Finding]:
    document = book.texts.document("questions.yaml")
    for name, question in book.questions.items():
        start = " ".join(question.ask.split()[:_BEGINNING])
        for word in words.negations:
            if has(start, word):
                yield Finding(
                    "question-turned", "error", document.place(("questions", name, "ask")),
                    f"question `{name}` asks by saying `{word}`: what does a yes mean then?",
                    mend="ask for the thing itself, and say which answer alarms with `alarming`",
                )  # fmt: skip


def _questions_turned(book: Rulebook) -> Iterator[Finding]:
    """Notes that come by the answer that is said not to alarm."""
    for rule in book.noting():
        answers = {term for branch in rule.holds for term in branch if isinstance(term, Word)}
        for term in sorted(answers, key=lambda one: one.fact):
            kind, name, _ = about(term.fact)
            question = book.questions.get(name) if kind == "answer" else None
            if question is not None and term.values == {question.calm}:
                yield Finding(
                    "question-turned", "error", rule.place,
                    f"`{rule.id}` comes when `{name}` is answered {question.calm}; the question "
                    f"says that {question.alarming} is the answer that alarms",
                    mend=f"correct the rule, or `alarming` of `{name}` in questions.yaml",
                )  # fmt: skip


def _sides(
    book: Rulebook, code: str, words: LanguageWords, turns: Mapping[str, Turn]
) -> Iterator[Finding]:
    """Rules that fire on one side of a measure alone and speak of the other side."""
    for rule in book.rules:
        side = _side_of(rule.rule.when, turns)
        if side is None:
            continue
        other: Side = "outwards" if side == "inwards" else "inwards"
        wrong, right = words.sides.get(other, []), words.sides.get(side, [])
        for one in _of_rule(book, rule, code):
            if any(has(one.text, w) for w in wrong) and not any(has(one.text, w) for w in right):
                yield Finding(
                    "turned-side", "error", one.place,
                    f"{one.what} speaks of {other}, and the rule fires on feet that go {side}: "
                    f"{plain(one.text)}",
                    mend="correct the sentence, or the comparison",
                )  # fmt: skip


def _of_rule(book: Rulebook, rule: CompiledRule, code: str) -> Iterator[Sentence]:
    yield from _said(book, rule, code)
    if code != OWN:
        return
    yield Sentence(rule.rule.title, rule.place, f"the title of `{rule.id}`")
    if then := rule.concludes:
        text = book.axes[then.axis].values[then.value]
        yield Sentence(text, rule.place, f"`{then.value}`, which `{rule.id}` concludes,")


def _turned_scales(book: Rulebook, orders: list[Order]) -> Iterator[Finding]:
    """Scales whose words do not go from least to most, and those of which nothing says how."""
    document = book.texts.document("attributes.yaml")
    for name, attribute in book.attributes.items():
        group, _, key = name.partition(".")
        place = document.place((group, key), key=True)
        steps = list(attribute.scale)
        title = attribute.title
        meant = [o for o in orders if not o.of or any(has(title, word) for word in o.of)]
        known = [[word for word in o.words if word in steps] for o in meant]
        for words in known:
            there = [step for step in steps if step in words]
            if there != words:
                yield Finding(
                    "turned-scale", "error", place,
                    f"the scale of `{name}` goes {', '.join(steps)}, and its words go "
                    f"{', '.join(words)}", f"from least to most, as {FILE} has these words",
                    "put the steps in that order; targets, tolerance and `gentler` count by it",
                )  # fmt: skip
        if steps and not any(len(words) == len(steps) for words in known):
            yield Finding(
                "turned-scale", "note", place,
                f"nothing says in which order {', '.join(steps)} of `{name}` go",
                mend=f"add its words, least first, to `orders` of {FILE}",
            )  # fmt: skip


def _side_of(when: Condition, turns: Mapping[str, Turn]) -> Side | None:
    """The side on which a single comparison fires; None of anything else."""
    if not isinstance(when, OfMeasure) or when.measure not in turns or when.limit is None:
        return None
    turn, way = turns[when.measure], when.is_[0]
    return turn.above if way in ("above", "at-least", "clearly-above") else turn.below


def has(text: str, word: str) -> bool:
    """Whether `word` stands in `text` as a whole, letters large or small; * is any ending."""
    body = re.escape(word.rstrip("*")).replace(r"\ ", r"\s+")
    end = r"\w*" if word.endswith("*") else r"(?!\w)"
    return re.search(rf"(?<!\w){body}{end}", text, re.IGNORECASE) is not None


def translation_findings(book: Rulebook) -> Iterator[Finding]:
    """For each language that the rulebook has: what is missing, stale, or translates nothing."""
    for code, translated in book.translations.items():
        at = book.texts.document(f"translations/{code}.yaml")
        yield from _missing(book, code, translated, at)
        for key, one in translated.items():
            yield from _needless_or_stale(book, key, one, at)


def _missing(
    book: Rulebook, code: str, translated: Mapping[Key, Translation], at: Document
) -> Iterator[Finding]:
    for key, text in book.customer_texts.items():
        if key not in translated:
            yield Finding(
                "not-translated",
                "warning",
                at.place((key.things,) if key.things in at.data else (), key=True),
                f"`{key.id}` of {key.things} has no `{key.field}` in `{code}`",
                mend=f"under `{key.things}`, `{key.id}`, `{key.field}` write the `original` "
                f'"{" ".join(text.split())}" and its `translation`',
            )


def _needless_or_stale(
    book: Rulebook, key: Key, one: Translation, at: Document
) -> Iterator[Finding]:
    text = book.customer_texts.get(key)
    place = at.place(tuple(key), key=True)
    if text is None:
        known = [other for other in book.customer_texts if other.things == key.things]
        fields = [other.field for other in known if other.id == key.id]
        ids = {other.id for other in known}
        hint = nearest(key.field, fields) if fields else nearest(key.id, ids)
        yield Finding(
            "needless-translation",
            "error",
            place,
            f"customers read no `{key.field}` of `{key.id}` in {key.things}",
            ", ".join(f"`{field}`" for field in fields),
            hint or "remove it",
        )
    elif not one.of(text):
        yield Finding(
            "stale-translation",
            "error",
            place,
            f"`{key.field}` of `{key.id}` was translated from another sentence than it has now",
            mend=f'look at the translation, and write the `original` as "{" ".join(text.split())}"',
        )

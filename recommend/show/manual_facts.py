"""What the pages of the manual take from the rulebook: single numbers, and lists.

``{{coverage.choice}}`` is a parameter, ``{{trial.confidence percent}}`` a share as percent,
``{{limits.NAME}}`` the value or values of a limit, ``{{measures.NAME.error}}`` the standard error
of one reading with its unit, ``{{install.prove}}`` the command that adds an extra to this
installation, and ``{{cautions}}`` (no dot) one of the lists of `LISTS`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator

from recommend.check.examples import load_examples
from recommend.check.finding import CODES
from recommend.errors import EXIT_WORDS, RecommendError, nearest
from recommend.extras import how_to_add
from recommend.measure.definitions import MeasureDef, number, unit_words
from recommend.rulebook import Rulebook
from recommend.rulebook.models import NeedsThen
from recommend.rulebook.words import kind_words
from recommend.show.told import came_words

PLACE = re.compile(r"\{\{([a-z0-9.-]+)(?:\s+(percent))?\}\}")
_PERCENT = 100


def has_places(text: str) -> bool:
    """Whether something in `text` is to be filled in."""
    return bool(PLACE.search(text))


def filled(text: str, book: Rulebook) -> str:
    """`text` with every name in double braces replaced by what the rulebook says.

    Raises
    ------
    RecommendError
        If the rulebook has nothing of that name.
    """
    return PLACE.sub(lambda place: _value(place[1], place[2], book), text)


def _value(name: str, form: str | None, book: Rulebook) -> str:
    if "." not in name:
        if name not in LISTS:
            raise RecommendError(f"the manual has no list `{name}`; {nearest(name, LISTS)}.")
        return "\n".join(LISTS[name](book))
    kind, _, rest = name.partition(".")
    if kind == "limits":
        return _limit(rest, book)
    if kind == "install":
        return how_to_add(rest)
    if kind == "measures":
        return _error(book.measures[rest.removesuffix(".error")]) or "an unknown error"
    value = book.parameters.named(name)
    return f"{_PERCENT * value if form else value:g}"


def _limit(name: str, book: Rulebook) -> str:
    if name not in book.limits:
        raise RecommendError(f"no limit is called `{name}`; {nearest(name, book.limits)}.")
    values = dict.fromkeys(f"{one.value:g}" for one in book.limits[name].values)
    return " or ".join(values)


def _error(one: MeasureDef) -> str:
    if one.error is None or not one.error.single:
        return ""
    return f"{number(one.error.single, one.decimals + 1)}{unit_words(one.unit)}"


def how_to_measure(book: Rulebook) -> Iterator[str]:
    """How each measure is taken."""
    return (f"- `{name}`: {one.how}" for name, one in book.measures.items() if one.how)


def meanings(book: Rulebook) -> Iterator[str]:
    """What each measure is, with the error of one reading and the mean of a studied group."""
    for name, one in book.measures.items():
        yield f"- `{name}`: {one.title}.{_error_words(one)}{_norm_words(one)}"


def _error_words(one: MeasureDef) -> str:
    size = _error(one)
    return f" One reading ±{size} ({kind_words(one.error.kind)})." if size and one.error else ""


def _norm_words(one: MeasureDef) -> str:
    if one.norm is None:
        return ""
    mean, sd = number(one.norm.mean, one.decimals), number(one.norm.sd, one.decimals + 1)
    return f" Mean of a studied group {mean}, SD {sd} ({kind_words(one.norm.kind)})."


def limit_kinds(book: Rulebook) -> Iterator[str]:
    """How many limits there are, and how well they are known."""
    kinds = Counter(value.kind for value in book.limit_values)
    parts = ", ".join(f"{count} are {kind_words(kind)}" for kind, count in kinds.most_common())
    total = sum(kinds.values())
    yield f"{len(book.limits)} limits with {total} values, those of every norm counted: {parts}"


def cautions(book: Rulebook) -> Iterator[str]:
    """What stands on every shortlist."""
    return (f"- {caution}" for caution in book.heading.cautions)


def published_names(book: Rulebook) -> Iterator[str]:
    """Each published name with the paper that defines it."""
    for one in book.sources.values():
        if one.defines:
            memory = " (from memory, to be verified)" if one.seen == "from-memory" else ""
            yield f"- {', '.join(one.defines)}: {one.cite}{memory}"


def exit_codes(_book: Rulebook) -> Iterator[str]:
    """What each command returns."""
    return (f"| {code.value} | {words} |" for code, words in EXIT_WORDS.items())


def told_cases(book: Rulebook) -> Iterator[str]:
    """The worked examples that say why, each with what comes of it."""
    cases, _ = load_examples(book)
    for case in cases:
        if case.example.why:
            yield f"- **{case.example.name}.** {case.example.why}"
            yield ""
            yield f"  {came_words(case.example, book)}"
            yield ""


def findings(_book: Rulebook) -> Iterator[str]:
    """What each finding of `recommend check` means."""
    return (f"- `{code}`: {words}" for code, words in CODES.items())


_CARE = {
    "wedge": ("insole.wedge", "shoe.wedge"), "firm arch": ("insole.arch-firmness",),
    "rigid shell": ("insole.shell",), "tight toes": ("shoe.toe-room", "shoe.width"),
    "seam at the toes": ("shoe.toe-seamless",), "high heel": ("shoe.heel-height",),
    "heel lift": ("insole.heel-lift",), "stable shoe": ("shoe.stability",),
}  # fmt: skip


def care(book: Rulebook) -> Iterator[str]:
    """A table of topics by what must not be handed over until a clinician has agreed."""
    yield "| topic | until a clinician has agreed |"
    yield "|---|---|"
    unplaced = {rule.id for rule in book.rules if rule.note is not None and rule.note.unplaced}
    for rule in book.rules:
        then = rule.rule.then
        if rule.id.startswith("care-") and isinstance(then, NeedsThen):
            never = {need.attribute for need in then.needs if need.strength == "never"}
            out = [words for words, names in _CARE.items() if never & set(names)]
            note = rule.id.replace("care-", "see-", 1)
            first = ["everything without a first place"] if note in unplaced else []
            topic = rule.rule.title.removesuffix(", until a clinician has agreed")
            yield f"| {topic} | {'; '.join([*first, 'out: ' + ', '.join(out)])} |"
    for rule in book.rules:
        if rule.note is not None and rule.note.note == "stop":
            yield f"| {rule.rule.title} | withheld: no product at all |"


LISTS: dict[str, Callable[[Rulebook], Iterator[str]]] = {
    "how-to-measure": how_to_measure,
    "what-numbers-mean": meanings,
    "limit-kinds": limit_kinds,
    "cautions": cautions,
    "published-names": published_names,
    "exit-codes": exit_codes,
    "findings": findings,
    "told-cases": told_cases,
    "care": care,
}

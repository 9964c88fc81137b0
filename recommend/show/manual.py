"""The manual: pages of Markdown that ship with the package, shown by `recommend help`.

A page says what it is about at its head; its numbers come from the rulebook in use, by the names
in double braces that `filled` fills in: ``{{coverage.choice}}`` is a parameter,
``{{trial.confidence percent}}`` a share as percent, ``{{limits.NAME}}`` the value or values of a
limit, ``{{measures.NAME.error}}`` the standard error of one reading with its unit,
``{{install.prove}}`` the command that adds an extra to this installation, and ``{{cautions}}`` (no
dot) one of the lists of `LISTS`.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from importlib import resources
from importlib.resources.abc import Traversable
from typing import ClassVar

import yaml
from rich.console import Console, ConsoleOptions, RenderResult
from rich.markdown import CodeBlock, Markdown, MarkdownElement
from rich.padding import Padding
from rich.text import Text
from rich.theme import Theme

from recommend.check.examples import load_examples
from recommend.check.finding import CODES
from recommend.errors import EXIT_WORDS, RecommendError, nearest
from recommend.extras import how_to_add
from recommend.measure.definitions import MeasureDef, number, unit_words
from recommend.rulebook import Rulebook
from recommend.rulebook.models import NeedsThen
from recommend.rulebook.words import kind_words
from recommend.show.console import console, print_paged
from recommend.show.rulebook import came_words

# Who a page is for, in the order of the table of contents.
READERS = {
    "fitter": "For the fitter",
    "buyer": "For the buyer",
    "lead": "For the lead fitter and the auditor",
    "all": "For everybody",
}
WIDEST = 100
_PLAIN_CODE = Theme({"markdown.code": "bold"})
_CODE = re.compile(r"(?<!`)`([^`]+)`(?!`)")
_FILL = re.compile(r"[ \t]+$", re.MULTILINE)
_APART = re.compile(r"\n{3,}")


class _Code(CodeBlock):
    """Lines to type, moved in and without colours."""

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        yield Padding(Text(str(self.text).rstrip()), (0, 0, 0, 1))


class _Text(Markdown):
    elements: ClassVar[dict[str, type[MarkdownElement]]] = {
        **Markdown.elements,
        "fence": _Code,
        "code_block": _Code,
    }


@dataclass(frozen=True, slots=True)
class Page:
    """One page: `says` in a line what it holds, `reader` whom it is for, `place` where it stands.

    `own_numbers` are the words with figures in them that stand in no rule; `text` is Markdown.
    """

    name: str
    says: str
    reader: str
    place: int
    own_numbers: tuple[str, ...]
    text: str


@cache
def pages() -> dict[str, Page]:
    """All pages by name, in the order of the table of contents."""
    found = [_page(one.name.removesuffix(".md"), one.read_text("utf-8")) for one in _files()]
    order = list(READERS)
    found.sort(key=lambda page: (order.index(page.reader), page.place, page.name))
    return {page.name: page for page in found}


def names() -> list[str]:
    """Names of the pages, read without opening one: for completion in the shell."""
    return sorted(one.name.removesuffix(".md") for one in _files())


def _files() -> list[Traversable]:
    folder = resources.files("recommend") / "manual"
    return [one for one in folder.iterdir() if one.name.endswith(".md")]


def _page(name: str, whole: str) -> Page:
    _, head, text = whole.split("---\n", 2)
    told = yaml.safe_load(head)
    own = tuple(told.get("own-numbers", ()))
    return Page(name, told["says"], told["for"], told["place"], own, text.strip() + "\n")


def contents() -> str:
    """The table of contents, as plain lines."""
    lines = ["Pages of the manual, each with `recommend help TOPIC`:"]
    longest = max(map(len, pages()))
    for reader, title in READERS.items():
        lines += ["", title]
        mine = [page for page in pages().values() if page.reader == reader]
        lines += [f"  {page.name:<{longest}}  {page.says}" for page in mine]
    return "\n".join(lines)


def show(page: Page, rulebook: Callable[[], Rulebook]) -> None:
    """Print `page`, in the pager where it is longer than the terminal.

    The rulebook is opened only for a page that has a number of it, so that the page on settings
    can be read while the settings are broken.
    """
    if not PLACE.search(page.text):
        print_paged([_rendered(page.text)])
        return
    book = rulebook()
    byline = Text(f"\nFigures {book.byline}", style="dim")
    print_paged([_rendered(filled(page.text, book)), byline])


def _rendered(text: str) -> Text:
    """`text` as lines; words of code keep their marks, which a plain screen needs."""
    out = console()
    title, _, rest = text.partition("\n")
    marked = _CODE.sub(r"`` `\1` ``", rest)
    with out.use_theme(_PLAIN_CODE), out.capture() as held:
        out.print(title.removeprefix("# "), style="bold")
        out.print()
        out.print(_Text(marked, hyperlinks=False), width=min(out.width, WIDEST))
    return Text.from_ansi(_APART.sub("\n\n", _FILL.sub("", held.get())).rstrip())


PLACE = re.compile(r"\{\{([a-z0-9.-]+)(?:\s+(percent))?\}\}")
_PERCENT = 100


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

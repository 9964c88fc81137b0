"""The manual: pages of Markdown that ship with the package, shown by `recommend help`.

A page says what it is about at its head; its numbers come from the rulebook in use, by the names
in double braces that `manual_facts` fills in.
"""

from __future__ import annotations

import re
from collections.abc import Callable
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

from recommend.rulebook import Rulebook
from recommend.show.console import console, print_paged
from recommend.show.manual_facts import filled, has_places

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
    files = [one for one in _folder().iterdir() if one.name.endswith(".md")]
    found = [_page(one.name.removesuffix(".md"), one.read_text("utf-8")) for one in files]
    order = list(READERS)
    found.sort(key=lambda page: (order.index(page.reader), page.place, page.name))
    return {page.name: page for page in found}


def names() -> list[str]:
    """Names of the pages, read without opening one: for completion in the shell."""
    return sorted(
        one.name.removesuffix(".md") for one in _folder().iterdir() if one.name.endswith(".md")
    )


def _folder() -> Traversable:
    return resources.files("recommend") / "manual"


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
    if not has_places(page.text):
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

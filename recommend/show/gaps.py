"""What to stock next, at the terminal: briefs, sizes to order, lines to choose or let go."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from rich.console import Console, RenderableType
from rich.text import Text

from recommend.coverage.briefs import Brief, Gaps, Restock, Want
from recommend.coverage.crowd import Crowd
from recommend.coverage.stocking import Dropping, Stocking
from recommend.errors import counted
from recommend.match.needs import level_words
from recommend.rulebook.book import Rulebook
from recommend.show.coverage import crowd_lines, percent
from recommend.show.layout import bullet, heading, inset, plain_table


def print_gaps(gaps: Gaps, crowd: Crowd, book: Rulebook, console: Console, thin: bool) -> None:
    """Print who is missed and what would serve them."""
    for block in _gaps(gaps, crowd, book, thin):
        console.print(block)


def _gaps(gaps: Gaps, crowd: Crowd, book: Rulebook, thin: bool) -> Iterator[RenderableType]:
    choice = book.parameters.coverage.choice
    what = f"have fewer than {choice} to choose from" if thin else "are not served"
    yield Text(f"{percent(gaps.missed)} of customers {what}.", style="bold")
    verb = "also suits" if thin else "adds"
    yield heading("What to look for")
    yield inset("Each is counted after those above it.", 2)
    yield from _numbered(brief_words(one, book, verb) for one in gaps.briefs)
    yield heading("Or sizes to order of what is there")
    yield inset("Instead of the above; each is counted after those above it.", 2)
    yield from _numbered(restock_words(one, verb) for one in gaps.restocks)
    if gaps.left > 0:
        yield Text(
            f"\n{percent(gaps.left)} of customers are reached by none of the products above: they "
            "need a shoe and an insole at once, or the groups are too small to list."
        )
    yield heading("Who is counted")
    yield from (bullet(line) for line in crowd_lines(crowd, None))


def _numbered(lines: Iterable[str]) -> Iterator[RenderableType]:
    texts = list(lines)
    if not texts:
        yield bullet("nothing that would serve a group worth listing")
    yield from (inset(f"{n}. {text}", 2) for n, text in enumerate(texts, 1))


def brief_words(brief: Brief, book: Rulebook, verb: str = "adds") -> str:
    """A brief as one sentence for a supplier."""
    article = "an" if brief.kind == "insole" else "a"
    wants = ", ".join(want_words(want, book) for want in brief.wants)
    wants = f", {wants}" if wants else " of any build"
    return (
        f"{article} {brief.kind}{wants}, {_sizes(brief.smallest, brief.largest)}: {verb} "
        f"{percent(brief.adds)} of customers"
    )


def want_words(want: Want, book: Rulebook) -> str:
    """What is wanted of one attribute: ``heel cup at least 14 mm``, ``made for running``."""
    definition = book.attributes[want.attribute]
    if list(definition.scale) == ["no", "yes"] and (want.low is None) != (want.high is None):
        return definition.title if want.high is None else f"no {definition.title}"
    low, high = (
        None if level is None else level_words(want.attribute, level, book)
        for level in (want.low, want.high)
    )
    if low is None and high is None:
        return f"{definition.short} stated, whatever it is"
    if low == high:
        return f"{definition.short} {low}"
    if high is None:
        return f"{definition.short} at least {low}"
    return f"{definition.short} " + (f"at most {high}" if low is None else f"{low} to {high}")


def restock_words(restock: Restock, verb: str) -> str:
    """An order of sizes as one sentence."""
    return (
        f"{restock.product} {_sizes(restock.smallest, restock.largest)}: {verb} "
        f"{percent(restock.adds)} of customers"
    )


def _sizes(smallest: float | None, largest: float | None) -> str:
    if smallest is None or largest is None:
        return "in any size"
    if smallest == largest:
        return f"for Mondopoint {smallest:g}"
    return f"for Mondopoint {smallest:g} to {largest:g}"


def print_stocking(stocking: Stocking, currency: str, console: Console) -> None:
    """Print the candidates chosen, what each adds, and what is proven about the choice."""
    console.print(
        Text(
            f"Serves {percent(stocking.before)} without, {percent(stocking.after)} with "
            f"{'this' if len(stocking.lines) == 1 else 'these'} "
            f"{counted(len(stocking.lines), 'line')}.",
            style="bold",
        )
    )
    priced = any(line.cost is not None for line in stocking.lines)  # only where money counts
    table = plain_table("  line", "kind", "adds", *(["cost"] if priced else []))
    for line in stocking.lines:
        cost = "" if line.cost is None else f"{line.cost:,.2f} {currency}".strip()
        cells = (f"  {line.id}", line.kind, percent(line.share), cost)
        table.add_row(*cells[: len(table.columns)])
    if stocking.lines:
        console.print(table)
    if priced:
        total = sum(line.cost or 0.0 for line in stocking.lines)
        console.print(
            inset(f"together {total:,.2f} {currency}; a line costs its price times the pieces "
                  "in its stock list", 2)
        )  # fmt: skip
    console.print(Text("\n" + proof_words(stocking)))


def proof_words(stocking: Stocking) -> str:
    """How the lines were chosen, and how far from the best they can be."""
    selection = stocking.selection
    if selection.method == "exact":
        return "Chosen by an integer program: no other choice within the limit serves more."
    bound = f"no choice within the limit serves more than {percent(stocking.at_most)}"
    if selection.method == "within-gap":
        return f"Chosen by an integer program that ran out of time; {bound}."
    text = f"Chosen greedily, the most gain first; {bound}."
    if selection.promise is None:
        return f"{text} A shoe and an insole may serve only together, so nothing more is proven."
    return (
        f"{text} On any list this way reaches at least {percent(selection.promise)} of what the "
        "best choice would add."
    )


def print_dropping(dropping: Dropping, console: Console) -> None:
    """Print the lines that can go, and what each loses."""
    these, them = ("this", "it") if len(dropping.lines) == 1 else ("these", "them")
    console.print(
        Text(
            f"Without {these} {counted(len(dropping.lines), 'line')} {percent(dropping.after)} of "
            f"customers are served, with {them} {percent(dropping.before)}.",
            style="bold",
        )
    )
    table = plain_table("  line", "kind", "loses")
    for line in dropping.lines:
        table.add_row(f"  {line.id}", line.kind, percent(line.share))
    console.print(table)
    if dropping.exact:
        console.print(Text("No other choice of as many lines loses less."))
    else:
        console.print(
            Text(
                "Let go one at a time, the least loss first; another choice of as many lines may "
                "lose less. Loss of choice is not counted, only of being served at all."
            )
        )

"""What to stock next, at the terminal: briefs, sizes to order, lines to choose or let go."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from recommend.catalogue.loading import Catalogue
from recommend.coverage.briefs import Brief, BriefWant, Gaps, JointBrief, Restock
from recommend.coverage.orders import Demand, OrderLine, SeasonOrder
from recommend.coverage.run import CoverageQuestion
from recommend.coverage.stocking import Dropping, Stocking
from recommend.errors import counted
from recommend.match.needs import level_words
from recommend.measure.sizing import size_label
from recommend.rulebook.book import Rulebook
from recommend.show.console import (
    WIDE,
    bullet,
    console,
    first_screen,
    heading,
    inset,
    numbered,
    plain_table,
    print_paged,
)
from recommend.show.coverage import SYSTEMS, crowd_lines, interval_words, percent

_NOTHING = "nothing that would serve a group worth listing"
SHOWN = 11  # sizes of an order before the rest is only counted


def print_gaps(
    gaps: Gaps, question: CoverageQuestion, thin: bool, season: int | None, *, full: bool
) -> None:
    """Print who is missed and what would serve most of them on one screen, or everything.

    For a season the briefs say how many pieces as well.
    """
    blocks: Iterable[RenderableType] = _gaps(gaps, question, thin, season)
    if not full:
        rest = f"{len(gaps.briefs)} briefs, {len(gaps.joint)} for a shoe with an insole, "
        blocks = first_screen(blocks, f"\nMore: --full ({rest}sizes to order, who is counted)")
    print_paged(blocks)


def _gaps(
    gaps: Gaps, question: CoverageQuestion, thin: bool, season: int | None
) -> Iterator[RenderableType]:
    book, titles = question.book, question.catalogue.titles
    choice = book.parameters.coverage.choice
    what = f"have fewer than {choice} to choose from" if thin else "are not served"
    yield Text(f"{percent(gaps.missed)} of customers {what}.", style="bold")
    yield Text(book.byline, style="dim")
    verb = "also suits" if thin else "adds"
    yield heading("What to look for")
    yield inset("Each is counted after those above it.", 2)
    briefs = (brief_words(one, book, verb) + pieces_words(one, book, season) for one in gaps.briefs)
    yield from numbered(briefs, _NOTHING)
    if gaps.joint:
        yield heading("What only a shoe and an insole together would serve")
        yield inset("Counted after all of the above, and after each other.", 2)
        joint = (
            joint_words(one, book, verb) + pieces_words(one.shoe, book, season, " of each")
            for one in gaps.joint
        )
        yield from numbered(joint, _NOTHING)
    yield heading("Or sizes to order of what is there")
    yield inset("Instead of the above; each is counted after those above it.", 2)
    yield from numbered((restock_words(one, titles, verb) for one in gaps.restocks), _NOTHING)
    yield from _left(gaps)
    yield heading("Who is counted")
    yield from map(bullet, crowd_lines(question.crowd, book.parameters))


def _left(gaps: Gaps) -> Iterator[RenderableType]:
    """What stays open, and why."""
    if gaps.left <= 0:
        return
    words = f"{percent(gaps.left)} of customers are surely reached by none of the products above"
    rest = gaps.left - gaps.opposed
    reasons = []
    if gaps.opposed:
        asks = "by no single pair, because their feet ask for opposites"
        reasons.append(f"{percent(gaps.opposed)} {asks}")
    if rest > 1e-12:
        reasons.append(
            f"{percent(rest)} are in groups too small to list, or outside the sizes named"
        )
    yield Text(f"\n{words}: {'; '.join(reasons)}.")


def brief_words(brief: Brief, book: Rulebook, verb: str = "adds") -> str:
    """A brief as one sentence for a supplier."""
    return (
        f"{_asked(brief, book)}; {_sizes(brief.smallest, brief.largest)}: any such "
        f"{brief.kind} {verb} at least {interval_words(brief.adds)} of customers"
    )


def joint_words(joint: JointBrief, book: Rulebook, verb: str = "adds") -> str:
    """A shoe and an insole as one sentence."""
    return (
        f"{_asked(joint.shoe, book)}; together with {_asked(joint.insole, book)}; both "
        f"{_sizes(joint.shoe.smallest, joint.shoe.largest)}: any such pair {verb} at least "
        f"{interval_words(joint.adds)} of customers"
    )


def _asked(brief: Brief, book: Rulebook) -> str:
    """What a brief asks of the product, without its sizes."""
    article = "an" if brief.kind == "insole" else "a"
    wants = ", ".join(want_words(want, book) for want in brief.wants)
    wants = f", {wants}" if wants else " of any build"
    plain = ", ".join(book.attributes[name].short for name in brief.plain)
    wants += f"; nothing that nobody asks for ({plain})" if plain else ""
    return f"{article} {brief.kind}{wants}"


def pieces_words(brief: Brief, book: Rulebook, season: int | None, each: str = "") -> str:
    """How many pieces of a brief in which size a season asks for; nothing without a season.

    They are for those whom nothing else serves, as `recommend order` reckons.
    """
    if season is None:
        return ""
    buys, service = book.parameters.orders.buys, book.parameters.orders.service
    pieces = [(s, Demand(share * season * buys).enough(service)) for s, share in brief.by_size]
    said = ", ".join(f"{size:g}: {count}" for size, count in pieces if count)
    if not said:
        return f"; for {season:,} customers not one piece is asked for with that chance"
    return f"; pieces{each} by size for {season:,} customers: {said}"


def want_words(want: BriefWant, book: Rulebook) -> str:
    """What is wanted of one attribute: ``heel cup at least 14 mm``, ``made for running``."""
    definition = book.attributes[want.attribute]
    if definition.yes_no and (want.low is None) != (want.high is None):
        return definition.title if want.high is None else f"not {definition.title}"
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


def restock_words(restock: Restock, titles: Mapping[str, str], verb: str) -> str:
    """An order of sizes as one sentence."""
    sizes = _sizes(restock.smallest, restock.largest)
    return (
        f"{titles[restock.product]} ({restock.product}) {sizes}: {verb} "
        f"{interval_words(restock.adds)} of customers"
    )


def _sizes(smallest: float | None, largest: float | None) -> str:
    if smallest is None or largest is None:
        return "in any size"
    if smallest == largest:
        return f"in Mondopoint {smallest:g}"
    return f"in every Mondopoint size from {smallest:g} to {largest:g}"


def stocking_blocks(stocking: Stocking, currency: str) -> Iterator[RenderableType]:
    """The candidates chosen, what each adds, and what is proven about the choice."""
    yield Text(
        f"Serves {percent(stocking.before)} without, {percent(stocking.after)} with "
        f"{'this' if len(stocking.lines) == 1 else 'these'} "
        f"{counted(len(stocking.lines), 'line')}.",
        style="bold",
    )
    priced = any(line.cost is not None for line in stocking.lines)  # only where money counts
    table = plain_table("  line", "kind", "adds", "serves", *(["cost"] if priced else []))
    for line in stocking.lines:
        cost = "" if line.cost is None else f"{line.cost:,.2f} {currency}".strip()
        cells = (f"  {line.id}", line.kind, percent(line.share), percent(line.suits), cost)
        table.add_row(*cells[: len(table.columns)])
    if stocking.lines:
        yield table
    if priced:
        total = f"{sum(line.cost or 0.0 for line in stocking.lines):,.2f} {currency}"
        cost = "a line costs its price times the pieces in its stock list"
        yield inset(f"together {total}; {cost}", 2)
    if stocking.cheapest:
        line = stocking.cheapest
        text = f"The budget buys none of them. The cheapest that serves anybody is {line.id} "
        text += f"({line.cost or 0.0:,.2f} {currency}): it serves {percent(line.suits)} of "
        text += f"customers, and adds {percent(line.share)} to those served."
        yield Text(text)
    yield Text("\n" + proof_words(stocking))


def proof_words(stocking: Stocking) -> str:
    """How the lines were chosen, and how far from the best they can be."""
    selection = stocking.selection
    if selection.method == "exact":
        return (
            "Chosen by an integer program: no other choice within the limit is worth more, where a "
            "little is counted for choice as well (coverage.choice-worth)."
        )
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


def dropping_blocks(dropping: Dropping) -> Iterator[RenderableType]:
    """The lines that can go, and what each loses."""
    these, them = ("this", "it") if len(dropping.lines) == 1 else ("these", "them")
    yield Text(
        f"Without {these} {counted(len(dropping.lines), 'line')} {percent(dropping.after)} of "
        f"customers are served, with {them} {percent(dropping.before)}.",
        style="bold",
    )
    if dropping.choice_before != dropping.choice_after:
        choice = f"{percent(dropping.choice_after)} in place of {percent(dropping.choice_before)}"
        yield Text(f"With a choice: {choice}.")
    table = plain_table("  line", "kind", "loses", "serves", "most of whom")
    for line in dropping.lines:
        whom = ", ".join(word for word in line.whom if word) or "nobody counted"
        cells = (line.kind, percent(line.share), percent(line.suits), whom)
        table.add_row(f"  {line.id}", *cells)
    yield table
    if dropping.exact:
        yield Text("No other choice of as many lines loses less, choice included.")
    else:
        yield Text(
            "Let go one at a time, the least loss of service and choice first; another choice of "
            "as many lines may lose less."
        )


def print_orders(
    orders: SeasonOrder,
    catalogue: Catalogue,
    book: Rulebook,
    season: int,
    service: float,
    *,
    full: bool,
) -> None:
    """Print what to order, most customers in want first: one screen of it, or all.

    A narrow terminal has room for the code alone, by which a supplier is asked.
    """
    shown = orders.lines if full else orders.lines[:SHOWN]
    blocks = [*_orders(orders, catalogue, book, season, service)]
    if orders.lines:
        blocks.append(_ordered(shown, orders, catalogue, book, console().width >= WIDE))
        if more := len(orders.lines) - len(shown):
            blocks.append(inset(f"and {counted(more, 'size')} more: --full", 2))
        blocks.append(inset(_COLUMNS, 2))
    print_paged(blocks)


_COLUMNS = (
    "asked: pieces in the season, on average; empty, then: of those who ask for it, the "
    "share who find none, now and with the order. Pieces come in whole packs, and nothing "
    "is ordered of which the supplier would not send so few."
)


def _orders(
    orders: SeasonOrder, catalogue: Catalogue, book: Rulebook, season: int, service: float
) -> Iterator[RenderableType]:
    """What the whole order costs and what it is good for."""
    yield Text(book.byline, style="dim")
    yield Text(
        f"Order {counted(orders.pieces, 'piece')} for {orders.cost:,.2f} "
        f"{catalogue.currency}: then {percent(orders.empty_after)} of those who ask meet an "
        f"empty size, in place of {percent(orders.empty_before)} with the stock of now.",
        style="bold",
    )
    yield Text(
        f"{season:,} customers in the season ask for {orders.asked:,.0f} pieces of what is "
        f"there; a size lasts the season with a chance of {100 * service:g} % where no budget "
        f"ends it. {counted(orders.rest, 'size')} of products here have enough."
    )
    if orders.unpriced:
        yield Text(f"{counted(orders.unpriced, 'piece')} have no price and cost nothing.")


def _ordered(
    shown: Sequence[OrderLine],
    orders: SeasonOrder,
    catalogue: Catalogue,
    book: Rulebook,
    wide: bool,
) -> Table:
    """The sizes to order, a line each."""
    again = any(line.again_at is not None for line in orders.lines)
    beside = ["EU", "UK"] if wide else ["EU"]
    called = {item.id: item.product.title if wide else item.id for item in catalogue.items}
    names = ["size", *beside, "asked", "there", "order", "empty", "then"]
    first = "product" if wide else "code"
    names += ["again at"] if again else []
    table = plain_table(first, *names, right=slice(1, None))
    for line in shown:
        sizes = [size_label(system, line.size, book.parameters) or "" for system in SYSTEMS]
        said = [" ".join(one.split()[1:]) for one in sizes[: len(beside)]]
        cells = (
            called[line.product], f"{line.size:g}", *said, f"{line.asked:.1f}", str(line.stock),
            str(line.order), percent(line.empty_before, 0), percent(line.empty_after, 0),
        )  # fmt: skip
        last = [] if not again else ["" if line.again_at is None else str(line.again_at)]
        table.add_row(*cells, *last)
    return table

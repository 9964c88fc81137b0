"""Coverage at the terminal: the headline, what it stands on, the matrix, what to look at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from itertools import chain
from textwrap import fill

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from recommend.coverage.crowd import Crowd, assumed_figures
from recommend.coverage.report import MissingSize, Share
from recommend.coverage.run import Comparison, Run
from recommend.coverage.split import UNDETERMINED, UNKNOWN, WAYS, Cell, Gap, PriceBand, Shown
from recommend.coverage.visits import refusing
from recommend.coverage.why import Reason
from recommend.errors import counted
from recommend.measure.sizing import size_label
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.show.console import (
    bullet,
    bullets,
    console,
    first_screen,
    heading,
    inset,
    numbered,
    plain_table,
    print_paged,
)
from recommend.visit.models import SizeSystem

CELLS = ("served", "share", "choices", "products", "prices", "stock")
SHOWN = 8  # lines of a list before the rest is only counted
TITLES_FROM = 120  # columns from which titles of foot types stand on one line
_NARROW = 21  # columns of a foot type where there are fewer
SMALL = 0.0005  # a share that would round to 0.0 %

_SOLD = {
    "pair": "a shoe with an insole (with none where none is asked for)",
    "shoe": "a shoe alone",
    "insole": "an insole alone",
    "any": "a shoe with an insole, or either alone",
}
_OUTCOMES = {
    "well": "need something and are served well",
    "plain": "need nothing, and something fits should they buy",
    "harmless": "find only what does no harm",
    "nothing": "find nothing",
    "stopped": "see a clinician first: a stop",
}
# Parameter with the share from which it holds, symbol, word, colour. Symbol and number carry the
# meaning, colour only repeats it.
_GRADES = (
    ("grade-full", "●", "nearly all", "green"),
    ("grade-most", "◐", "most", "yellow"),
)
_LEAST = ("○", "fewer", "red")
_THIN = "?"
SYSTEMS: tuple[SizeSystem, SizeSystem] = ("eu", "uk")
_NEVER = {
    "no-partner": "nothing here goes with it",
    "ruled-out": "ruled out by a must or a never, most often on {what}",
    "not-stated": "{what} is not stated, so it cannot be shown to be safe",
    "never-well": "it does no harm, but serves none of them",
}
_SCENARIOS = {
    "half-wishes": "half of each marked wish is enough",
    "no-wishes": "musts and nevers alone, no wish",
    "purpose": "other shares of purposes",
    "age-band": "other shares of ages",
    "sex": "other shares of women and men",
    "correlations": "assumed correlations from none to a quarter more",
    "prior-visits": "the shop's visits weigh half or double",
}
_WAYS = {
    "purpose": "purpose",
    "age-band": "age",
    "sex": "sex",
    "size": "size",
    "width": "width",
    "foot-type": "foot type",
}


def percent(share: float, places: int = 1) -> str:
    """A share as a percentage; one that would round to nothing is said to be below it."""
    if 0 < share < SMALL and places:
        return "<0.1 %"
    return f"{100 * share:.{places}f} %"


def interval_words(share: Share) -> str:
    """A share with its interval: ``91.3 % (95 % interval 90.8 to 91.8)``."""
    return f"{percent(share.value)} (95 % interval {100 * share.low:.1f} to {100 * share.high:.1f})"


def print_coverage(
    run: Run, show: str = "served", *, matrix_asked: bool = False, full: bool = False
) -> None:
    """Print the headline and where most are lost on one screen, or everything.

    Parameters
    ----------
    show : which number of `CELLS` the matrix shows.
    matrix_asked : the matrix was asked for; it stands below the headline then.
    full : everything that the buyer may want to know, the headline first.
    """
    width = console().width
    if full:
        print_paged(_blocks(run, width, show))
        return
    asked = [*(_matrix_blocks(run, width, show) if matrix_asked else ()), *_beside_it(run, width)]
    if asked:
        print_paged([*_headline(run), *asked, Text(_MORE, style="dim")])
        return
    print_paged(first_screen(chain(_headline(run), _lost(run), _why(run)), _MORE))


_MORE = "\nMore: --split WAY,WAY | --full (why, leaning, products, sizes, who is counted)"


def _blocks(run: Run, width: int, show: str) -> Iterator[RenderableType]:
    yield from _headline(run)
    yield from _lost(run)
    yield from _why(run)
    if run.scenarios:
        yield heading("How much the headline leans on what is assumed")
        yield _scenarios(run)
    yield from _matrix_blocks(run, width, show)
    yield from _beside_it(run, width)
    yield from _lists(run)
    yield heading("Who is counted")
    yield from (bullet(line) for line in crowd_lines(run.crowd, run.book.parameters, run.agreement))


def _lost(run: Run) -> Iterator[RenderableType]:
    yield heading("Where most are lost")
    lost = [gap_words(gap, run.book) for gap in run.coverage.gaps]
    yield from numbered(lost or ["nowhere more than elsewhere"], "")


def _why(run: Run) -> Iterator[RenderableType]:
    lines = [f"{percent(s)}: {reason_words(r, run.book)}" for r, s in run.coverage.reasons]
    if lines:
        yield from _list("Why the others are not served (per cent of all customers)", lines)


def _matrix_blocks(run: Run, width: int, show: str) -> Iterator[RenderableType]:
    row, column = run.coverage.by
    yield heading(f"{_WAYS[row]} by {_WAYS[column]}: {_MEANING[show]}".capitalize())
    yield matrix(run, width, show)
    yield from _legend(show, run)


def _beside_it(run: Run, width: int) -> Iterator[RenderableType]:
    """Shop by shop, and against another catalogue or rulebook, where that was asked."""
    if run.shops:
        yield heading("Shop by shop: share served of its own customers, from its own stock")
        yield inset("Where only stock or only customers are told by shop, the other is of all.", 2)
        worst = sorted(run.shops.items(), key=lambda pair: pair[1].value)
        yield from (bullet(f"{name}: {interval_words(share)}") for name, share in worst)
    if run.comparison:
        yield heading(f"Compared with {run.comparison.other}")
        yield from _comparison(run.comparison, run, width)


def _headline(run: Run) -> Iterator[RenderableType]:
    coverage, catalogue = run.coverage, run.catalogue
    crowd = f"{coverage.customers:,} customers {'drawn' if run.crowd.drawn else 'counted'}"
    yield Text(
        f"{catalogue.name}: {counted(len(catalogue.shoes), 'shoe')}, "
        f"{counted(len(catalogue.insoles), 'insole')}; {crowd}; "
        f"{run.book.heading.name} {run.book.stamp}"
    )
    choice = run.book.parameters.coverage.choice
    who = "expected customers" if run.crowd.drawn else "the customers counted"
    yield Text(
        f"\nServes {interval_words(coverage.served)} of {who}, "
        f"{percent(coverage.choice.value)} with a choice of {choice}.",
        style="bold",
    )
    for name, words in _OUTCOMES.items():
        share = coverage.outcomes[name].value
        if share or name in ("well", "plain"):
            yield Text(f"  {percent(share):>7} {words}")
    stock = "made, in stock or sold out" if run.sold_out_counts else "in stock in the size"
    yield Text(
        f"Served well: {_SOLD[run.sold]}, {stock}; every must, never and wish marked in "
        "serving.yaml is met."
    )
    if run.scenarios:
        widest = max(run.scenarios, key=lambda one: one.high - one.low)
        words = f"{100 * widest.low:.1f} to {100 * widest.high:.1f} %"
        yield Text(f"Leans most on what is assumed: {_SCENARIOS[widest.name]}, {words}.")


def gap_words(gap: Gap, book: Rulebook) -> str:
    """A group that is served less than others, in a sentence."""
    names = ", ".join(value_words(way, word, book) for way, word in gap.names)
    served = 1 - gap.lost / gap.share if gap.share else 0.0
    reason = f"; {reason_words(gap.reason, book)}" if gap.reason else ""
    return (
        f"{names}: {percent(gap.share)} of customers, {100 * served:.0f} % of them served, "
        f"{percent(gap.lost)} lost{reason}"
    )


def value_words(way: str, word: str, book: Rulebook) -> str:
    """One value of a way to split: ``size 230-240``, ``running``, ``upright foot``."""
    if word in (UNKNOWN, UNDETERMINED):
        return f"{_WAYS[way]} {word}"
    if way == "foot-type":
        return book.types[word].title
    return f"{_WAYS[way]} {word}" if way in ("size", "width", "age-band") else word


def reason_words(reason: Reason, book: Rulebook) -> str:
    """Why some are not served: the size, or what the nearest product lacks or does not state."""
    what = " and ".join(attribute_words(name, book) for name in reason.what)
    words = {
        "size": f"no {what} in their size",
        "needs": f"for want of what they need in {what}",
        "not-stated": f"{what} is not stated",
        "opposed": f"the two feet ask for opposites in {what}",
        "partner": "no shoe and insole go together",
        "none": f"no {what} is sold",
        "size-unknown": "their size is not known",
    }[reason.why]
    return words if reason.level == "harmless" else f"to be served well: {words}"


def attribute_words(name: str, book: Rulebook) -> str:
    """An attribute as it is said: ``shoe, made for running``; a kind of product as it is."""
    if name not in book.attributes:
        return name
    return f"{name.partition('.')[0]}: {book.attributes[name].title}"


def crowd_lines(
    crowd: Crowd, parameters: Parameters, agreement: float | None = None
) -> Iterator[str]:
    """What the customers stand on, one statement a line."""
    if crowd.mode == "shop":
        yield from _visits_alone(crowd, parameters)
    elif crowd.mode == "columns":
        yield f"Measured customers read from {crowd.columns}{_when(crowd)}; none is drawn."
        yield "Every screening question is taken as answered no, and no foot as painful."
        yield from _columns_read(crowd)
    else:
        yield from _drawn(crowd, agreement)


def _visits_alone(crowd: Crowd, parameters: Parameters) -> Iterator[str]:
    yield (
        f"Only the shop's own visits: {crowd.visits}{_when(crowd)}, as they were measured; "
        "none is drawn."
    )
    if out := refusing(crowd.shop, parameters) if crowd.shop else 0:
        verb = "names" if out == 1 else "name"
        yield (
            f"{counted(out, 'visit')} {verb} what the customer would not wear or pay, or what "
            "did harm: this count does not look at that, the counter does."
        )


def _drawn(crowd: Crowd, agreement: float | None) -> Iterator[str]:
    """Of customers that are drawn: from what, how old, and how their measures agree."""
    assumed, total = assumed_figures(crowd.population)
    shop = "No visit of this shop stands behind them."
    if crowd.mode == "both":
        shop = f"Moved towards {counted(crowd.visits, 'visit')} of this shop{_when(crowd)}; "
        shop += "the interval holds the error of so few as well."
    yield f"{crowd.count:,} customers drawn (seed {crowd.seed}): {crowd.population.title}. {shop}"
    yield (
        f"Of {total} figures of that population {total - assumed} are published or derived from "
        f"published ones, {assumed} are assumed or from memory (population.yaml says which)."
    )
    ages = ", ".join(crowd.ages)
    made = crowd.population.children
    if crowd.children and made:
        few, many = made.youngest.value, made.oldest.value
        ages += (
            f"; {percent(made.share.value)} of customers taken as children of {few:g} to {many:g}, "
            "since something is made for them"
        )
    yield f"Ages: {ages}. Without pain, every screening question answered no."
    if agreement is not None and crowd.population.agreement is not None:
        published = crowd.population.agreement.published
        low, high = published.range_ or (published.value, published.value)
        yield (
            f"Static measures agree with a Fleiss kappa of {agreement:.2f} here, reading error "
            f"and all; a study of 30 people found {published.value:.2f} ({low:.2f} to {high:.2f}) "
            "with other bands. Nothing is fitted to it: published correlations of such measures "
            "cannot give as much."
        )


def _scenarios(run: Run) -> Table:
    table = plain_table("  if", "served")
    table.add_row("  as written", percent(run.coverage.served.value))
    for one in run.scenarios:
        low, high = f"{100 * one.low:.1f}", f"{100 * one.high:.1f}"
        table.add_row(
            f"  {_SCENARIOS[one.name]}", f"{low} to {high} %" if low != high else f"{high} %"
        )
    return table


_MEANING = {
    "served": "of the people of each cell, per cent served",
    "share": "share of all customers",
    "choices": "choices of a customer, on average",
    "products": "products that suit somebody",
    "prices": "prices of shoes, below of insoles",
    "stock": "pieces in stock of what suits",
}


def _when(crowd: Crowd, today: date | None = None) -> str:
    """From when to when the customers are, how old the newest is, and which months are missing."""
    days = crowd.days
    if not days:
        return " (none is dated)"
    today, last = today or date.today(), date.fromisoformat(days[-1][:10])
    months = max(0, 12 * (today.year - last.year) + today.month - last.month)
    old = f", the newest {counted(months, 'month')} old" if months else ""
    quarters = {(int(day[5:7]) - 1) // 3 for day in days}
    missing = [f"{3 * q + 1}-{3 * q + 3}" for q in range(4) if q not in quarters]
    gap = f"; none from months {', '.join(missing)}" if missing else ""
    span = days[0] if days[0] == days[-1] else f"{days[0]} to {days[-1]}"
    return f" ({span}{old}{gap})"


def _columns_read(crowd: Crowd) -> Iterator[str]:
    """Which columns of measured feet were read, which were not, and which measures are missing."""
    if crowd.read is None:
        return
    yield f"{counted(len(crowd.read.read), 'column')} read."
    unread = [f"{n} (perhaps {near})" if near else n for n, near in crowd.read.unread]
    if unread:
        yield f"Not read: {', '.join(unread)}."
    if crowd.read.absent:
        yield f"No column holds {', '.join(crowd.read.absent)}, which rules ask for."


def matrix(run: Run, width: int, show: str) -> Table:
    """One way to split down, another across."""
    coverage = run.coverage
    row, column = coverage.by
    cells = {(c.row, c.column): (c, s) for c, s in zip(coverage.cells, coverage.shown, strict=True)}
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column(_WAYS[row])
    for label in ("of all", "served", *(_title(column, one, run) for one in coverage.columns)):
        table.add_column(label.replace(" ", "\n").replace("-", "-\n"), justify="right")
    for one in coverage.rows:
        found = [_cell_text(cells.get((one.row, name)), show, run) for name in coverage.columns]
        name = _name(row, one.row, run, width)
        table.add_row(name, percent(one.share), _graded(one, run), *found)
    if column == "size":
        for system in SYSTEMS:
            labels = [_beside(name, system, run) for name in coverage.columns]
            table.add_row(f"  in {system.upper()} sizes", "", "", *labels, style="dim")
    return table


def _beside(label: str, system: SizeSystem, run: Run) -> str:
    """A range of Mondopoint sizes in another system; the first size over the last."""
    sizes = [float(word) for word in label.replace("-", " ").split() if word.isdigit()]
    found = [size_label(system, size, run.book.parameters) or "" for size in sizes]
    return "\n".join(" ".join(one.split()[1:]).replace(" child", "c") for one in found)


def _name(way: str, word: str, run: Run, width: int) -> str:
    """The title of a foot type, over several lines where there is little room."""
    title = _title(way, word, run)
    if way != "foot-type" or width >= TITLES_FROM:
        return title
    return fill(title, _NARROW, subsequent_indent=" ")


def _title(way: str, word: str, run: Run) -> str:
    return run.book.types[word].title if word in run.book.types and way == "foot-type" else word


def _graded(cell: Cell, run: Run) -> Text:
    parameters = run.book.parameters
    grades = (rest for floor, *rest in _GRADES if cell.served >= parameters.coverage[floor])
    symbol, _, style = next(grades, _LEAST)
    thin = run.crowd.drawn and cell.people < parameters.coverage.thin
    mark, style = (_THIN, "dim") if thin else ("", style)
    return Text(f"{symbol}{100 * cell.served:3.0f}{mark}", style=style)


def _cell_text(found: tuple[Cell, Shown] | None, show: str, run: Run) -> Text:
    if found is None:
        return Text("·")
    cell, shown = found
    if show == "served":
        return _graded(cell, run)
    texts = {
        "share": percent(cell.share),
        "choices": f"{cell.choices:.1f}",
        "products": str(shown.products),
        "prices": f"{_band(shown.shoe_prices)}\n{_band(shown.insole_prices)}",
        "stock": str(shown.stock),
    }
    return Text(texts[show])


def _band(band: PriceBand) -> str:
    if band.low is None or band.high is None:
        return "-"
    return f"{band.low:.0f}-{band.high:.0f}"


def _legend(show: str, run: Run) -> Iterator[RenderableType]:
    currency, parameters = run.catalogue.currency, run.book.parameters
    if show == "served":
        floors = [(s, word, parameters.coverage[floor]) for floor, s, word, _ in _GRADES]
        grades = ", ".join(f"{s} {word} (from {100 * f:.0f} %)" for s, word, f in floors)
        least = f"{_LEAST[0]} {_LEAST[1]}; · nobody"
        thin = f"; {_THIN} fewer than {parameters.coverage.thin:g} counted"
        yield inset(f"{grades}, {least}{thin if run.crowd.drawn else ''}.", 2)
    if show == "prices" and currency:
        yield inset(f"Prices in {currency}; · nobody, - nothing serves.", 2)
    yield inset(
        f"Each foot counts half a customer. Other numbers: --matrix {', '.join(CELLS)}. "
        f"Other splits: --split {','.join(run.coverage.by)} of {', '.join(WAYS)}.", 2
    )  # fmt: skip


def _lists(run: Run) -> Iterator[RenderableType]:
    coverage = run.coverage
    never = [p for p in coverage.products if p.never]
    feet = run.book.parameters.coverage.search_feet
    titles = run.catalogue.titles
    reasons = [
        f"{titles[p.id]}: {_NEVER[p.never].format(what=_attribute(p.what, run))}" for p in never
    ]
    yield from _list(f"Products that serve none of {feet:,} feet spread over every limit", reasons)
    unfit = [titles[p.id] for p in coverage.products if not p.never and not p.suits_drawn]
    if unfit:
        yield from _list("Products that serve none of these customers, whatever the size", unfit)
    idle = [p for p in coverage.products if p.suits_drawn and not p.sole]
    idle.sort(key=lambda p: p.reach)
    yield from _list(
        "Products that serve nobody the others do not",
        [f"{titles[p.id]}: serves {percent(p.reach)} of customers" for p in idle],
        f"{len(idle)} of {len(coverage.products)}; least used first. Each alone can go without "
        "loss, but not all of them together: see `recommend gaps --drop N`.",
    )
    needed = sorted((p for p in coverage.products if p.sole), key=lambda p: -p.sole)
    yield from _list(
        "Products that some customers depend on alone",
        [f"{titles[p.id]}: {percent(p.sole)} of customers" for p in needed],
    )
    missing = [_missing_words(one, run) for one in coverage.missing_sizes if one.share >= SMALL]
    why = "Something would serve these customers, but not in their size."
    yield from _list("Sizes missing", missing, why)


def _attribute(name: str, run: Run) -> str:
    return run.book.attributes[name].title if name else ""


def _missing_words(one: MissingSize, run: Run) -> str:
    both = one.share - one.shoes - one.insoles
    parts = ((one.shoes, "shoes"), (one.insoles, "insoles"), (both, "both"))
    lacking = ", ".join(f"{what} {percent(share)}" for share, what in parts if share >= SMALL)
    said = [size_label(system, one.size, run.book.parameters) for system in SYSTEMS]
    beside = ", ".join(label for label in said if label)
    return f"Mondopoint {one.size:g} ({beside}): {percent(one.share)} of customers ({lacking})"


def _list(title: str, lines: Sequence[str], intro: str = "") -> Iterator[RenderableType]:
    yield heading(title)
    if intro:
        yield inset(intro, 2)
    yield from bullets(lines, SHOWN, "--json and --csv hold all")


def _comparison(comparison: Comparison, run: Run, width: int) -> Iterator[RenderableType]:
    heads = ("  foot type", "feet", "here", "there", "won", "lost")
    table = plain_table(*heads, right=slice(1, None))
    overall, *types = comparison.changes
    moved = [one for one in types if one.won or one.lost]
    for one in (overall, *moved):
        name = "all feet" if one is overall else _name("foot-type", one.foot_type, run, width)
        shares = (one.share, one.here, one.there, one.won, one.lost)
        table.add_row(f"  {name}", *(percent(share) for share in shares))
    yield table
    if len(moved) < len(types):
        yield inset(f"{len(types) - len(moved)} foot types with nothing won or lost.", 2)
    yield inset(
        "Shares of all feet; won: served here and not there; lost: the reverse. Foot types are "
        f"those of {run.book.heading.name} {run.book.heading.version} (here); a foot may be of "
        "another type there.", 2
    )  # fmt: skip

"""Coverage at the terminal: the headline, what it stands on, the matrix, what to look at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Console, RenderableType
from rich.table import Table
from rich.text import Text

from recommend.coverage.cells import UNDETERMINED, Cell
from recommend.coverage.compare import Comparison
from recommend.coverage.crowd import Crowd, assumed_figures
from recommend.coverage.interval import Share
from recommend.coverage.report import Coverage, MissingSize, by_type
from recommend.coverage.run import Run
from recommend.errors import counted
from recommend.show.layout import bullet, heading, inset, plain_table

CELLS = ("served", "share", "choices", "products", "best", "prices", "stock")
SHOWN = 8  # lines of a list before the rest is only counted
TITLES_FROM = 120  # columns from which foot types are named by their titles
SMALL = 0.0005  # a share that would round to 0.0 %

_SOLD = {
    "pair": "a shoe with an insole",
    "shoe": "a shoe alone",
    "insole": "an insole alone",
    "any": "a shoe with an insole, or either alone",
}
# Parameter with the share from which it holds, symbol, word, colour. Symbol and number carry the
# meaning, colour only repeats it.
_GRADES = (
    ("coverage.grade-full", "●", "nearly all", "green"),
    ("coverage.grade-most", "◐", "most", "yellow"),
)
_LEAST = ("○", "fewer", "red")
_NEVER = {
    "no-partner": "nothing here fits it",
    "ruled-out": "a must or a never rules it out for every foot",
    "low-score": "nothing with it meets every need and scores enough",
}
_FACTORS = {
    "none": "none of them",
    "half": "half as strong",
    "strong": "stronger by a quarter",
}


def percent(share: float, places: int = 1) -> str:
    """A share as a percentage; one that would round to nothing is said to be below it."""
    if 0 < share < SMALL and places:
        return "<0.1 %"
    return f"{100 * share:.{places}f} %"


def interval_words(share: Share) -> str:
    """A share with its interval: ``91.3 % (95 % interval 90.8 to 91.8)``."""
    return f"{percent(share.value)} (95 % interval {100 * share.low:.1f} to {100 * share.high:.1f})"


def print_coverage(run: Run, console: Console, show: str = "served") -> None:
    """Print everything the buyer needs, the headline first.

    Parameters
    ----------
    show : which number of `CELLS` the matrix shows.
    """
    for block in _blocks(run, console.width, show):
        console.print(block)


def _blocks(run: Run, width: int, show: str) -> Iterator[RenderableType]:
    yield from _headline(run)
    yield heading("Who is counted")
    yield from (bullet(line) for line in crowd_lines(run.crowd, run.agreement))
    if run.scenarios:
        yield heading("How much it leans on the assumed correlations")
        yield _scenarios(run)
        yield inset("The intervals are the error of drawing so many customers, nothing else.", 2)
    yield heading(f"Foot types by size (Mondopoint, mm): {_MEANING[show]}")
    yield matrix(run, width, show)
    yield from _legend(show, run)
    if run.comparison:
        yield heading(f"Compared with {run.comparison.other}")
        yield from _comparison(run.comparison, run, width)
    yield from _lists(run)


def _headline(run: Run) -> Iterator[RenderableType]:
    coverage, catalogue = run.coverage, run.catalogue
    yield Text(
        f"{catalogue.name}: {counted(len(catalogue.shoes), 'shoe')}, "
        f"{counted(len(catalogue.insoles), 'insole')}, "
        f"under {run.book.heading.name} {run.book.stamp}"
    )
    choice = int(run.book.parameters["coverage.choice"])
    who = "expected customers" if run.crowd.drawn else "the customers counted"
    yield Text(
        f"\nServes {interval_words(coverage.served)} of {who}, "
        f"{percent(coverage.choice.value)} with a choice of {choice}.",
        style="bold",
    )
    stock = "made, in stock or sold out" if run.sold_out_counts else "in stock in the size"
    yield Text(
        f"Served means: {_SOLD[run.sold]}, {stock}, meets every must, breaks no never, and "
        f"scores at least {run.book.parameters['rank.served']:g} of 100."
    )
    why = coverage.unserved
    reasons = (
        (why.size, "for want of the size"),
        (why.needs, "because nothing meets the musts and nevers"),
        (why.score, "because what meets them scores too low"),
        (why.stopped, "withheld: a stop sends them to a clinician first"),
    )
    if run.sold == "pair" and not (catalogue.shoes and catalogue.insoles):
        what = "shoe" if not catalogue.shoes else "insole"
        yield Text(f"There is no {what} at all, so there are no pairs; see --sold.")
        return
    lost = [f"{percent(share)} {words}" for share, words in reasons if share]
    if lost:
        yield Text(f"Not served: {'; '.join(lost)}.")


def crowd_lines(crowd: Crowd, agreement: float | None) -> Iterator[str]:
    """What the customers stand on, one statement a line."""
    if crowd.mode == "shop":
        yield f"Only the shop's own visits: {crowd.visits}, as they were measured; none is drawn."
        return
    if crowd.mode == "columns":
        yield f"Measured customers read from {crowd.columns}; none is drawn."
        yield "Every screening question is taken as answered no, and no foot as painful."
        return
    assumed, total = assumed_figures(crowd.population)
    shop = "No visit of this shop stands behind them."
    if crowd.mode == "both":
        shop = f"Moved towards {counted(crowd.visits, 'visit')} of this shop."
    yield f"{crowd.count:,} customers drawn (seed {crowd.seed}): {crowd.population.title}. {shop}"
    yield (
        f"Of {total} figures of that population {total - assumed} are published or derived from "
        f"published ones, {assumed} are assumed or from memory (population.yaml says which)."
    )
    yield "Adults only, without pain, every screening question answered no."
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
    table = plain_table("  assumed correlations", "served", "95 % interval")
    rows = [(_FACTORS[one.name], one.served) for one in run.scenarios]
    rows.insert(2, ("as written", run.coverage.served))
    for name, share in rows:
        table.add_row(
            f"  {name}", percent(share.value), f"{100 * share.low:.1f} to {100 * share.high:.1f}"
        )
    return table


_MEANING = {
    "served": "share served",
    "share": "share of all feet",
    "choices": "choices of a customer, on average",
    "products": "products that suit somebody",
    "best": "best score",
    "prices": "prices of shoes, below of insoles",
    "stock": "pieces in stock of what suits",
}


def matrix(run: Run, width: int, show: str) -> Table:
    """Foot types down, size ranges across; ids where titles would not fit."""
    cells = {(cell.foot_type, cell.sizes): cell for cell in run.coverage.cells}
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    table.add_column("foot type")
    for label in ("feet", "served", *run.coverage.size_labels):
        table.add_column(label.replace(" ", "\n").replace("-", "-\n"), justify="right")
    for foot_type, (share, served) in by_type(run.coverage.cells).items():
        name = _name(foot_type, run, width)
        row = [_cell_text(cells.get((foot_type, s)), show, run) for s in run.coverage.size_labels]
        table.add_row(name, percent(share), _graded(served, run), *row)
    return table


def _name(foot_type: str, run: Run, width: int) -> str:
    """The title of a foot type where there is room, else its id."""
    if foot_type == UNDETERMINED or width < TITLES_FROM:
        return foot_type
    return run.book.types[foot_type].title


def _graded(share: float, run: Run) -> Text:
    symbol, _, style = next(
        (rest for floor, *rest in _GRADES if share >= run.book.parameters[floor]), _LEAST
    )
    return Text(f"{symbol}{100 * share:3.0f}", style=style)


def _cell_text(cell: Cell | None, show: str, run: Run) -> Text:
    if cell is None or cell.served is None:
        return Text("·")
    if show == "served":
        return _graded(cell.served, run)
    texts = {
        "share": percent(cell.share),
        "choices": f"{cell.choices:.1f}",
        "products": str(cell.products),
        "best": "-" if cell.best is None else f"{cell.best:.0f}",
        "prices": f"{_band(cell.shoe_prices)}\n{_band(cell.insole_prices)}",
        "stock": str(cell.stock),
    }
    return Text(texts[show])


def _band(band: object) -> str:
    low, high = getattr(band, "low", None), getattr(band, "high", None)
    return "-" if low is None or high is None else f"{low:.0f}-{high:.0f}"


def _legend(show: str, run: Run) -> Iterator[RenderableType]:
    currency = run.catalogue.currency
    if show == "served":
        floors = [(s, word, run.book.parameters[floor]) for floor, s, word, _ in _GRADES]
        grades = ", ".join(f"{s} {word} (from {100 * f:.0f} %)" for s, word, f in floors)
        least = f"{_LEAST[0]} {_LEAST[1]}; · no feet drawn"
        yield inset(f"{grades}, {least}. Numbers are per cent.", 2)
    if show == "prices" and currency:
        yield inset(f"Prices in {currency}; · no feet drawn, - nothing suits.", 2)
    yield inset("Each foot counts half a customer. Other numbers: --show " + ", ".join(CELLS), 2)


def _lists(run: Run) -> Iterator[RenderableType]:
    coverage = run.coverage
    never = [p for p in coverage.products if not p.suits_anyone]
    reasons = [f"{p.id}: {_NEVER[p.never]}" for p in never]
    yield from _list("Products that no rule can ever list", reasons)
    unfit = [p.id for p in coverage.products if p.suits_anyone and not p.suits_drawn]
    if unfit:
        yield from _list("Products that suit none of these customers, whatever the size", unfit)
    idle = [p for p in coverage.products if p.suits_drawn and not p.sole]
    yield heading("Products that serve nobody the others do not")
    yield inset(
        f"{len(idle)} of {len(coverage.products)}; least used first. Each alone can go without "
        "loss, but not all of them together: see `recommend gaps --drop N`.",
        2,
    )
    idle.sort(key=lambda p: p.reach)
    yield from _bullets([f"{p.id}: suits {percent(p.reach)} of customers" for p in idle])
    needed = sorted((p for p in coverage.products if p.sole), key=lambda p: -p.sole)
    yield from _list(
        "Products that some customers depend on alone",
        [f"{p.id}: {percent(p.sole)} of customers" for p in needed],
    )
    yield from _list("Attributes that rule out most", list(_blocking(coverage, run)))
    yield heading("Sizes missing")
    yield inset("Something suits these customers, but not in their size.", 2)
    yield from _bullets(
        [_missing_words(one) for one in coverage.missing_sizes if one.share >= SMALL]
    )


def _missing_words(one: MissingSize) -> str:
    both = one.share - one.shoes - one.insoles
    parts = ((one.shoes, "shoes"), (one.insoles, "insoles"), (both, "both"))
    lacking = ", ".join(f"{what} {percent(share)}" for share, what in parts if share >= SMALL)
    return f"Mondopoint {one.size:g}: {percent(one.share)} of customers ({lacking})"


def _blocking(coverage: Coverage, run: Run) -> Iterator[str]:
    for one in coverage.blocking:
        kind, _, _ = one.attribute.partition(".")
        title = run.book.attributes[one.attribute].title
        text = f"{kind}, {title}: rules out {percent(one.excluded, 0)} of {kind}s for the average "
        text += "customer"
        if one.alone:
            text += f"; alone keeps {percent(one.alone)} of customers from being served"
        yield text


def _list(title: str, lines: Sequence[str]) -> Iterator[RenderableType]:
    yield heading(title)
    yield from _bullets(lines)


def _bullets(lines: Sequence[str]) -> Iterator[RenderableType]:
    if not lines:
        yield bullet("none")
    yield from (bullet(line) for line in lines[:SHOWN])
    if len(lines) > SHOWN:
        yield bullet(f"and {len(lines) - SHOWN} more (--json and --csv hold all)")


def _comparison(comparison: Comparison, run: Run, width: int) -> Iterator[RenderableType]:
    table = plain_table("  foot type", "feet", "here", "there", "won", "lost")
    for column in table.columns[1:]:
        column.justify = "right"
    overall, *types = comparison.changes
    moved = [one for one in types if one.won or one.lost]
    for one in (overall, *moved):
        name = "all feet" if one is overall else _name(one.foot_type, run, width)
        shares = (one.share, one.here, one.there, one.won, one.lost)
        table.add_row(f"  {name}", *(percent(share) for share in shares))
    yield table
    if len(moved) < len(types):
        yield inset(f"{len(types) - len(moved)} foot types with nothing won or lost.", 2)
    yield inset("Shares of all feet; won: served here and not there; lost: the reverse.", 2)

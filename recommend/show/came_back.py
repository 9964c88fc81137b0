"""What became of products, as a table: those to look at first stand first."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from recommend.trial.came_back import CameBack

EXPLAINED = (
    "Comfort: mean of 0 to 10, and of how many. Pain: places that hurt before, each by itself "
    "(feet, where the places are not known), less, the same or more (-/=/+); less and more only "
    "beyond the error of asking twice (95 %). New: places that hurt now and did not before. "
    "Customers choose who comes back, so this is no trial: it says where to look, not what works."
)
_HEADS = ("of", "weeks", "comfort", "given back", "pain -/=/+, new", "product")
_ROW = "{:>4} {:>5}  {:<9} {:<10} {:<15} {}"
_LEFT = 49  # columns before the title of a product
_MOST = 12  # products on the first screen


def came_back_lines(
    rows: Sequence[CameBack], titles: Mapping[str, str], *, full: bool = False, width: int = 80
) -> Iterator[str]:
    """A row for each product: given back or more pain first, then those of most customers."""
    ordered = sorted(rows, key=lambda one: (-one.returned - one.more, -one.customers, one.product))
    yield "What came back, by product (given back and more pain first)"
    yield _ROW.format(*_HEADS)
    shown = ordered if full else ordered[:_MOST]
    for one in shown:
        weeks = "-" if one.weeks is None else f"{one.weeks:g}"
        comfort = "-" if one.comfort is None else f"{one.comfort:.1f} ({one.rated})"
        back = f"{one.returned} of {one.told}" if one.told else "-"
        pain = f"{one.less}/{one.same}/{one.more}, {len(one.new)}"
        name, *rest = textwrap.wrap(titles.get(one.product, one.product), width - _LEFT)
        yield _ROW.format(one.customers, weeks, comfort, back, pain, name)
        yield from (f"{'':<{_LEFT}}{line}" for line in rest)
        if one.new:
            counts = Counter(one.new).most_common()
            told = ", ".join(f"{site} ({count})" for site, count in counts)
            yield from textwrap.wrap(f"     new pain: {told}", width, subsequent_indent=" " * 15)
    if len(ordered) > len(shown):
        yield f"and {len(ordered) - len(shown)} more products: --full"

"""What became of products, as a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from recommend.trial.came_back import CameBack

EXPLAINED = (
    "Comfort: mean of 0 to 10, and of how many. Pain: places that hurt before, each by itself "
    "(feet, where the places are not known), less, the same or more (-/=/+); less and more only "
    "beyond the error of asking twice (95 %). New: places that hurt now and did not before. "
    "Customers choose who comes back, so this is no trial: it says where to look, not what works."
)
_HEADS = ("product", "came back", "weeks", "comfort", "given back", "pain -/=/+, new")


def came_back_lines(rows: Sequence[CameBack]) -> Iterator[str]:
    """One line for each product, 80 columns."""
    yield "{:<25} {:>9} {:>5} {:>9} {:>10}  {}".format(*_HEADS)
    for one in rows:
        weeks = "-" if one.weeks is None else f"{one.weeks:g}"
        comfort = "-" if one.comfort is None else f"{one.comfort:.1f} ({one.rated})"
        back = f"{one.returned} of {one.told}" if one.told else "-"
        pain = f"{one.less}/{one.same}/{one.more}, {len(one.new)}"
        yield f"{one.product:<25} {one.customers:>9} {weeks:>5} {comfort:>9} {back:>10}  {pain}"
        if one.new:
            counts = Counter(one.new).most_common()
            yield "  new pain: " + ", ".join(f"{site} ({count})" for site, count in counts)

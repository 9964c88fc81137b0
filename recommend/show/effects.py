"""What the shop learned from its trials and of what came back, at the terminal and as JSON.

And what is expected of each product on a list that heeds it.
"""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from statistics import fmean
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from recommend.catalogue.loading import Catalogue
from recommend.errors import counted
from recommend.match.shortlist import GROUPS
from recommend.measure.model import SIDES
from recommend.rulebook.book import Rulebook
from recommend.show.console import bullet, heading, inset, plain_table
from recommend.show.trial_words import READING_WORDS, interval_words
from recommend.trial.came_back import CameBack, Liked
from recommend.trial.heeding import Expected, LearnedList
from recommend.trial.judged_steps import order
from recommend.trial.kept_trials import ShopTrials, item_of
from recommend.trial.steps import LEARNED, ReadingKey


def liked_blocks(rows: Sequence[Liked], book: Rulebook) -> Iterator[RenderableType]:
    """Comfort, returns and new pain of each product, a block for each kind of foot."""
    for kind in dict.fromkeys(one.foot_type for one in rows):
        title = book.types[kind].title if kind in book.types else "not known"
        yield heading(f"Comfort (0 to 10), returns and new pain; kind of foot: {title}")
        table = plain_table(
            "product", "tried", "comfort", "hurt", "worn", "comfort", "given back", "new pain",
            whole=slice(None),
        )  # fmt: skip
        for one in rows:
            if one.foot_type == kind:
                table.add_row(one.product, *_liked_cells(one))
        yield table
    if rows:
        yield bullet(
            "feet, not customers; comfort: mean when tried, and of those who came back after "
            "wearing it. Counts as they are, not drawn towards anything: few say little, and "
            "customers choose what they keep and whether they come back."
        )


def _liked_cells(one: Liked) -> tuple[str, ...]:
    return (
        str(len(one.tried)), _mean(one.tried), str(one.hurt) if one.tried else "-",
        str(len(one.worn)), _mean(one.worn),
        f"{one.returned} of {one.returned_known}" if one.returned_known else "-",
        f"{one.new_pain} of {one.new_pain_known}" if one.new_pain_known else "-",
    )  # fmt: skip


def _mean(ratings: Sequence[float]) -> str:
    return f"{fmean(ratings):.1f}" if ratings else "-"


def check_blocks(shop: ShopTrials) -> Iterator[RenderableType]:
    """Whether learned effects foretell visits that they have not seen."""
    yield heading("Each visit foretold from all the others")
    table = plain_table("gait", "reading", "foretold", "in interval", "error", "published", "")
    for (gait, reading), check in shop.checks.items():
        table.add_row(
            gait, READING_WORDS[reading], f"{check.predictions} of {check.visits} visits",
            f"{check.held} of {check.predictions}", f"{check.error:.2f}°",
            f"{check.published:.2f}°", "used" if check.better else "not used",
        )  # fmt: skip
    yield table
    yield bullet(
        "in interval: 95 of 100 are meant. error: root of the mean squared error of what was "
        "foretold; published: of the published mean alone. used: better by more than the standard "
        "error of the difference; only that moves products with `shortlist --learned`."
    )


def effects_blocks(
    shop: ShopTrials, book: Rulebook, catalogue: Catalogue
) -> Iterator[RenderableType]:
    """The table of effects, a block for each gait, and how to read it."""
    yield Text(f"Effects learned from {counted(shop.visits, 'visit')} with a trial", style="bold")
    if not shop.learned:
        yield inset("No step of a trial could be compared: nothing is learned yet.", 2)
    for gait in dict.fromkeys(gait for gait, _ in shop.learned):
        yield heading(f"{gait.capitalize()}: change on average over people (95 %), degrees")
        yield from _tables(gait, shop, book, catalogue)
    for name in sorted(shop.unknown):
        yield bullet(f"left out, not in this catalogue: {name}")
    if shop.doubtful:
        yield bullet(
            f"left out, changed by more than footwear is known to: {counted(shop.doubtful, 'step')}"
        )
    yield heading("How to read this")
    for text in _reading(shop, book):
        yield bullet(text)


def _tables(
    gait: str, shop: ShopTrials, book: Rulebook, catalogue: Catalogue
) -> Iterator[RenderableType]:
    confidence = book.parameters.trial.confidence
    for kind in ("shoe", "insole"):
        heads = (kind, "phase", "visits", "change (95 %)", "in band", "over")
        table = plain_table(*heads, whole=slice(None), right=slice(2, None))
        for (of, product), tally in sorted(shop.tallies.items()):
            ware = catalogue.by_id[product]
            if ware.product.kind != kind or of != gait:
                continue
            first = True
            for phase in LEARNED:
                learned = shop.learned.get((gait, phase))
                if learned is None or not learned.tried(product):
                    continue
                effect = learned.effect(item_of(ware, book, phase), confidence)
                feet = (f"{count} of {tally.feet}" for count in (tally.landed, tally.over))
                table.add_row(
                    product if first else "", phase, str(len(tally.visits)) if first else "",
                    interval_words(effect), *(feet if first else ("", "")),
                )  # fmt: skip
                first = False
        if table.row_count:
            yield table
            yield Text()


def _reading(shop: ShopTrials, book: Rulebook) -> Iterator[str]:
    yield (
        "on average: one foot may differ, try it. The interval is that of the average; people's "
        f"responses spread by about {_person(shop)} around it."
    )
    yield (
        "few trials are drawn towards products of the same attributes, those towards their kind, "
        "and kinds weakly towards published work (peak only: no effect on the means of "
        "midstance and propulsion was found published). Where intervals overlap much, do not "
        "prefer one product to the other for it."
    )
    yield (
        "in band: feet with every reading in its band with the product on; it also depends on "
        "the feet it was tried on. over: feet over-corrected, below the band or load moved "
        "outwards."
    )
    yield (
        "customers who tried a product are not a random sample; an effect here is what "
        "happened in this shop, no promise and no cure."
    )


def _person(shop: ShopTrials) -> str:
    spreads = [learned.person_sd for learned in shop.learned.values()]
    if not spreads:
        return "an unknown amount"
    low, high = min(spreads), max(spreads)
    return f"{low:.1f}°" if round(low, 1) == round(high, 1) else f"{low:.1f} to {high:.1f}°"


def as_document(
    shop: ShopTrials, told: Sequence[Liked], book: Rulebook, catalogue: Catalogue
) -> dict[str, Any]:
    """The effects as plain data: a row for each product and gait, in degrees by phase.

    ``comfort`` has a row for each product and foot type, with every rating.
    """
    confidence = book.parameters.trial.confidence
    rows = [
        {
            "product": product,
            "kind": catalogue.by_id[product].product.kind,
            "gait": gait,
            "visits": len(tally.visits),
            "feet": tally.feet,
            "in-band": tally.landed,
            "over-corrected": tally.over,
            "effects": {
                phase: {
                    "on-average": asdict(learned.effect(item, confidence)),
                    "one-more-foot": asdict(learned.expected([item], confidence)),
                }
                for (of, phase), learned in shop.learned.items()
                if of == gait and learned.tried(product)
                for item in [item_of(catalogue.by_id[product], book, phase)]
            },
        }
        for (gait, product), tally in sorted(shop.tallies.items())
    ]
    return {
        "format": 1,
        "visits": shop.visits,
        "effects": rows,
        "comfort": [asdict(one) for one in told],
        "unknown": sorted(shop.unknown),
        "doubtful": shop.doubtful,
        "checks": [
            {"gait": gait, "reading": reading, **asdict(check)}
            for (gait, reading), check in shop.checks.items()
        ],
    }


CAME_BACK = (
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


def notice_blocks(one: LearnedList) -> Iterator[RenderableType]:
    """Say before anything else that learned effects took part in the order."""
    if not one.heeded:
        yield inset(
            "Learned effects are ON and move nothing: they do not yet foretell visits better than "
            "published effects do (`recommend effects KEPT --check`).",
            0,
            "bold",
        )
        return
    yield inset(
        f"Learned effects are ON: the order below heeds {counted(one.visits, 'visit')} with a "
        "trial of this shop. Never, must, stops and notes are untouched.",
        0,
        "bold",
    )


def expected_blocks(one: LearnedList, book: Rulebook) -> Iterator[RenderableType]:
    """The motion to expect with each product shown, foot by foot and phase by phase."""
    shown = book.parameters.rank.shown
    yield heading("Motion to expect, from the shop's own trials (degrees, 95 % for one foot)")
    if not any(one.expected.values()):
        yield bullet("nothing that foretells was learned in a gait of this customer's film")
        return
    for group in GROUPS:
        for candidate in one.shortlist.ranked[group][:shown]:
            yield inset(candidate.id, 2, "bold")
            yield _table(one.expected[candidate.id])
    yield bullet(
        "on average; one foot may differ: try it. below band: the chance of over-correction, left "
        "and right. An insole alone is shown without the part of "
        "its shoe. Fewer trials, wider interval."
    )


def _table(readings: Mapping[ReadingKey, Expected]) -> RenderableType:
    """A row for each phase and gait, the two feet side by side."""
    table = plain_table("  ", "", "left", "right", "below band")
    for column, width in zip(table.columns, (2, 19, 18, 18, 10), strict=True):
        column.no_wrap, column.min_width = True, width
    for phase, gait in dict.fromkeys((k.reading, k.gait) for k in sorted(readings, key=order)):
        feet = {k.side: e for k, e in readings.items() if (k.reading, k.gait) == (phase, gait)}
        angles = [
            interval_words(feet[side].residual).replace("+", "") if side in feet else "-"
            for side in SIDES
        ]
        risks = ", ".join(f"{feet[side].below:.0%}" if side in feet else "-" for side in SIDES)
        table.add_row("", f"{phase}, {gait}", *angles, risks)
    return table


def learned_document(one: LearnedList) -> dict[str, Any]:
    """The same as plain data, by product."""
    return {
        "visits": one.visits,
        "expected": {
            name: [{**asdict(key), **asdict(found)} for key, found in readings.items()]
            for name, readings in one.expected.items()
        },
    }

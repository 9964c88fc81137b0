"""Two versions of a rulebook compared, as lines of text and as plain data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from itertools import groupby
from typing import Any

from rich.console import Console
from rich.text import Text

from recommend.check.differing import Difference, Moves
from recommend.check.same_customers import Ranked, Share
from recommend.errors import counted
from recommend.rulebook.book import Rulebook
from recommend.rulebook.contents import Bearing, Edit
from recommend.show.console import bullet, heading, inset, plain_table
from recommend.show.findings import print_finding

_FEW, _FIRSTS = 4, 5  # places of one thing, and products, told one by one
_TOP = 8  # transitions shown in words, the most frequent; JSON has them all


def print_difference(found: Difference, out: Console) -> None:
    """Print what the changes do to the customers that were drawn; see `print_edits` for them."""
    if found.moves is not None:
        _print_moves(found.moves, out)
    elif found.turned:
        words = (
            "No condition has changed, and yet outcomes may: asked otherwise, a yes may mean "
            f"another thing. Read before and after: {', '.join(found.turned)}."
        )
        out.print(inset(words, 0))
    elif found.edits:
        out.print(Text("Nothing that decides has changed: every outcome is what it was."))
    for finding in found.weakened:
        print_finding(finding, out)
    _print_to_do(found, out)


def _print_moves(found: Moves, out: Console) -> None:
    feet = 2 * found.customers
    customers = counted(found.customers, "customer")
    out.print(heading(f"What it does to {customers} of the modelled population"))
    words = f"Drawn with more that is rare than a shop sees: {found.mixture}. Shares are a shop's."
    out.print(inset(words, 0))
    _print_types(found, feet, out)
    _print_held(found, out)
    for word, needs in (("lose", found.unbound), ("gain", found.bound)):
        for need, count in needs.items():
            out.print(Text(f"Customers whose pair would {word}, {need}: {count}"))
    for kind, ranked in found.ranked.items():
        _print_ranked(kind, ranked, out)
    if found.silent:
        out.print(inset(f"Rules that fire for none of them: {', '.join(found.silent)}.", 0))


_TO_SEE: dict[Bearing, str] = {
    "decides": "what decides",
    "words": "what is read",
    "holds": "what holds the rest",
}
_HEADS: dict[Bearing, str] = {
    "decides": "What decides",
    "words": "What is read: words, marks and sources; it needs a reader",
    "holds": "What holds the rest in place: promises, claims and guarded words",
    "guards": "What else is beside it: examples, the change log, order of asking",
}


def print_books(books: tuple[Rulebook, Rulebook], out: Console) -> None:
    """Print which two rulebooks are compared."""
    old, new = books
    out.print(heading(f"What changed from {old.heading.name} {old.stamp} to {new.stamp}"))


def print_edits(found: Sequence[Edit], out: Console) -> None:
    """Print every difference of what the two folders say."""
    if not found:
        out.print(bullet("nothing that decides, that is read, or that guards either"))
    for bearing, words in _HEADS.items():
        edits = [one for one in found if one.bearing == bearing]
        if edits:
            out.print(Text(f"{words}:"))
        for line in _grouped(edits) if bearing == "guards" else (one.words for one in edits):
            out.print(bullet(line))


def _grouped(edits: list[Edit]) -> Iterator[str]:
    """A thing changed in many places in one line; --json has them all."""
    for (thing, name), some in groupby(edits, lambda one: (one.thing, one.id)):
        all_ = list(some)
        if len(all_) <= _FEW:
            yield from (one.words for one in all_)
        else:
            yield f"{thing} {name}: {len(all_)} places (--json lists them)".replace(" :", ":")


def _print_to_do(found: Difference, out: Console) -> None:
    if found.accepted:
        out.print(Text(f"Losses that the change log accepts: {', '.join(found.accepted)}"))
    if found.stronger:
        out.print(Text(f"Notes that come for more feet than before: {', '.join(found.stronger)}"))
    if found.page:
        words = f"The page's own texts are not those of version {found.page}: read a page anew."
        out.print(inset(words, 0))
    if found.same_version:
        out.print(
            Text("Both call themselves the same version; give the new one a version of its own.")
        )
    if found.unread:
        what = " and ".join(_TO_SEE[bearing] for bearing in found.unread)
        have = "has" if len(found.unread) == 1 else "have"
        words = f"To be seen: {what} {have} changed, and the change log has no code for it."
        out.print(inset(words, 0))
        out.print(bullet(f"when you have seen it, add to its newest entry: {found.sign}"))


def _share(share: Share) -> str:
    percent = 100 * share.of_shop
    few = "under 0.1" if share.count and percent < 0.05 else f"{percent:.1f}"
    return f"{share.count} ({few} %)"


def _print_types(found: Moves, feet: int, out: Console) -> None:
    total = sum((one.feet for one in found.types), Share())
    out.print(Text(f"Feet that change type: {_share(total)} of {feet}"))
    for one in found.types[:_TOP]:
        out.print(bullet(f"{one.was} -> {one.now}: {one.feet.count}"))
        out.print(inset(f"such as {one.foot}", 6))


def _print_held(found: Moves, out: Console) -> None:
    told = (
        ("gain the note of", "gain a note", found.gained),
        ("lose the note of", "lose a note", found.lost),
        ("are asked something by", "are asked something more", found.asked),
        ("are asked nothing more by", "are asked something less", found.unasked),
    )
    for one, none, rules in told:
        if not rules:
            out.print(Text(f"Feet that {none}: none"))
        for rule, count in rules.items():
            out.print(Text(f"Feet that {one} {rule}: {_share(count)}"))


def _print_ranked(kind: str, ranked: Ranked, out: Console) -> None:
    total = sum((share for _, _, share in ranked.firsts), Share())
    out.print(Text(f"Customers whose first {kind} changes: {_share(total)}"))
    table = plain_table("  was", "is", "customers")
    for was, now, share in ranked.firsts[:_FIRSTS]:
        table.add_row(f"  {was}", now, str(share.count))
    if ranked.firsts:
        out.print(table)
    out.print(Text(f"Customers whose {kind}s come in another order: {_share(ranked.order)}"))
    for words, products in (("now ruled out", ranked.out), ("no longer ruled out", ranked.back)):
        named = [f"{name} for {count}" for name, count in list(products.items())[:_FIRSTS]]
        more = f" and {len(products) - _FIRSTS} more" if len(products) > _FIRSTS else ""
        if named:
            out.print(Text(f"{kind.capitalize()}s {words}: {', '.join(named)}{more}"))


def difference_json(found: Difference) -> dict[str, Any]:
    """The comparison as plain data; fields as in `Difference`, and every edit as a line."""
    return {"said": [one.words for one in found.edits], **asdict(found)}

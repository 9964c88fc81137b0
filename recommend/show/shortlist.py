"""The shortlist at the terminal: needs and reasons, size, ranked products laid open."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TypeAlias

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from recommend.errors import is_are
from recommend.match.judge import NeedVerdict
from recommend.match.needs import Need, level_words, need_words
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Equals, Group, Shortlist
from recommend.match.sizes import Sized, worn_gap
from recommend.match.telling import against_lines, fit_lines, unplaced_words, why_lines
from recommend.measure.model import SIDES, Side
from recommend.measure.sizing import size_label
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import COMPARISONS
from recommend.show.answer import price_words
from recommend.show.assessment import feet_blocks, measure_blocks, note_blocks, who_blocks
from recommend.show.console import WIDE, bullet, heading, inset, plain_table
from recommend.show.labels import brought, capital, first_choices, size_words, wish_words
from recommend.visit.models import SizeSystem

_Reasons: TypeAlias = tuple[tuple[str, tuple[Side, ...]], ...]  # and the feet each is true of
_TITLES = {"shoe": "Shoes", "insole": "Insoles", "pair": "Shoe with insole"}
# What can be shown by itself, in the order of a fitting, and in words.
_GROUP_OF: dict[str, Group] = {"shoes": "shoe", "insoles": "insole", "pairs": "pair"}
_ABOUT: tuple[SizeSystem, ...] = ("eu", "uk", "us-men", "us-women")
_WORDS = {"never": "never", "must": "must", "prefer": "better"}


def section_blocks(outcome: Outcome, names: Iterable[str], width: int) -> Iterator[RenderableType]:
    """The sections called `names`; headed by whose visit it is."""
    yield from who_blocks(outcome.assessment, outcome.book)
    for name in names:
        yield from _section(name, outcome, width)


def _section(name: str, outcome: Outcome, width: int) -> Iterator[RenderableType]:
    book, assessment, ranked = outcome.book, outcome.assessment, outcome.shortlist
    if name == "notes":
        yield from note_blocks(assessment, book)
    elif name == "measures":
        yield from measure_blocks(assessment, book, width)
    elif name == "feet":
        yield from feet_blocks(assessment, book)
    elif name == "cautions":
        yield heading("Before it is worn")
        yield from (bullet(caution) for caution in book.heading.cautions)
    elif ranked is not None:
        yield from _of_the_list(name, ranked, outcome, width)
    elif name == "wants":  # said once, where the list would begin
        yield heading("Shortlist")
        yield inset("Withheld: a stop stands above. See a clinician first.", 2, "bold")


def _of_the_list(
    name: str, ranked: Shortlist, outcome: Outcome, width: int
) -> Iterator[RenderableType]:
    if name == "wants":
        yield heading("What the feet need, and why")
        yield from _needs(ranked, outcome)
    elif name == "size":
        yield heading("Size")
        yield from _sizes(ranked, outcome)
    elif name == "fetch":
        yield from _to_fetch(ranked, outcome.book)
    else:
        yield from _group(ranked, _GROUP_OF[name], outcome, width)


def _needs(ranked: Shortlist, outcome: Outcome) -> Iterator[RenderableType]:
    for conflict in ranked.needs.conflicts:
        yield bullet(f"THE TWO FEET: {conflict.text}", "bold yellow")
    for reasons, needs in _by_reason(ranked.needs.needs, outcome).items():
        for because, feet in reasons:
            who = "both feet" if len(feet) == len(SIDES) else f"{feet[0]} foot"
            line = Text(f"{who}: ", style="bold")
            line.append(because, style="not bold")
            yield inset(line, 2)
        for strength in ("never", "must", "prefer"):
            same = [need for need in needs if need.strength == strength]
            if same:
                yield inset(_need_line(_WORDS[strength], same, outcome.book), 4)


def _by_reason(needs: Iterable[Need], outcome: Outcome) -> dict[_Reasons, list[Need]]:
    """Needs grouped by their reasons, in the order of the needs.

    The first reason that is true of every foot that asks stands for all; where none is, each
    foot's own first reason.
    """
    groups: dict[_Reasons, list[Need]] = {}
    for need in needs:
        told = outcome.assessment.reasons(need.rules, outcome.book)
        whole = [(because, feet) for because, feet in told.items() if feet == need.sides]
        own = [next(item for item in told.items() if side in item[1]) for side in need.sides]
        groups.setdefault(tuple(whole[:1] or dict.fromkeys(own)), []).append(need)
    return groups


def _need_line(word: str, needs: list[Need], book: Rulebook) -> Text:
    text = Text(f"{word} ", style="dim" if word == "better" else "bold")
    for index, need in enumerate(needs):
        text.append("; " if index else "", style="not bold not dim")
        text.append(need_title(need, book), style="not bold not dim")
    return text


def need_title(need: Need, book: Rulebook) -> str:
    """A need in a few words: part, what is wanted of it, and how much a wish counts."""
    part = need.attribute.partition(".")[0]
    lead = "" if part == "pair" else f"{part} "
    if need.strength == "prefer":
        return f"{lead}{wish_words(need, book)} (counts {need.weight:g})"
    if need.strength == "must":
        return f"{lead}{wish_words(need, book)}"
    definition = book.attributes[need.attribute]
    if definition.yes_no:  # never what is made for children
        return f"{lead}{'' if COMPARISONS[need.comparison].lower else 'not '}{definition.title}"
    return f"{lead}{definition.short} {need_words(need, book).removeprefix('never ')}"


def _sizes(ranked: Shortlist, outcome: Outcome) -> Iterator[RenderableType]:
    book = outcome.book
    if ranked.wanted.length is None:
        yield bullet("no foot length and no shoe size: measure both feet; stock is not checked")
        return
    length = ranked.wanted.length
    labels = [size_label(system, length, book.parameters) for system in _ABOUT]
    allowance = book.parameters.sizing.toe_allowance
    offset = book.parameters.sizing.us_women_offset
    yield bullet(
        f"Mondopoint {length:.0f} mm ({ranked.wanted.basis}); about "
        + ", ".join(label for label in labels if label)
    )
    if ranked.wanted.smaller:
        yield bullet(f"{capital(ranked.wanted.smaller)}.", "bold")
    gap = worn_gap(outcome.assessment.visit, book.parameters)
    if gap is not None:
        words = "longer" if gap > 0 else "shorter"
        yield bullet(
            f"The longer foot is {abs(gap):.0f} mm {words} than the shoe worn now is made for: "
            "measure again, and look how that shoe fits.",
            "bold",
        )
    yield inset(
        f"EU, UK and US by their definitions, on a last {allowance:g} mm longer than the foot (EU "
        f"numbers count the last; US women = US men + {offset:g}). Makers differ: try it.",
        4,
        "dim",
    )


def _group(
    ranked: Shortlist, group: Group, outcome: Outcome, width: int
) -> Iterator[RenderableType]:
    most = outcome.book.parameters.rank.shown
    yield heading(f"{_TITLES[group]} (in groups that serve alike; best group first, cheaper first)")
    listed = ranked.ranked[group] or ranked.without_place[group]
    if not listed:
        why = "; ".join(ranked.nothing_because(group, outcome.book))
        yield inset(f"Nothing suitable is in stock in this size. {why}", 2, "bold")
    elif ranked.unplaced:
        yield inset(f"Nothing has a place yet: {unplaced_words(ranked)}. By name:", 2, "bold")
        yield _members(listed[:most], outcome, 0)
    else:
        yield from _equals(ranked, group, most, outcome)
    if listed and group != "pair" and not ranked.unplaced:
        yield from _laid_open(listed[:most], outcome.book, width)
    yield from _left_out(ranked, group, min(most, len(listed)))


def _equals(
    ranked: Shortlist, group: Group, most: int, outcome: Outcome
) -> Iterator[RenderableType]:
    """Groups of equals until `most` members were shown: what is true of all, then each."""
    shown = 0
    for number, equals in enumerate(ranked.groups[group], 1):
        if shown >= most:
            return
        members = equals.members[: most - shown]
        yield inset(_alike_words(number, equals), 2, "bold")
        for line in _told(equals.first, outcome.book):
            yield inset(line, 4, "dim")
        yield _members(members, outcome, shown)
        shown += len(members)


def _alike_words(number: int, equals: Equals) -> str:
    count = len(equals.members)
    alike = f"{count} that serve alike" if count > 1 else "alone"
    holds = "" if equals.holds is None else f"; holds in {100 * equals.holds:.0f} of 100 repeats"
    place = "first group" if number == 1 else f"group {number}"
    return f"{place}: {alike}{holds}"


def _told(one: Candidate, book: Rulebook) -> Iterator[str]:
    """What is true of each member of a group: how it fits, what is for it and against it."""
    for name, lines in (("fit", fit_lines), ("for", why_lines), ("against", against_lines)):
        text = "; ".join(lines(one, book))
        if text:
            yield f"{name}: {text}"


def _members(shown: Sequence[Candidate], outcome: Outcome, before: int) -> RenderableType:
    table = Table.grid(padding=(0, 2, 0, 0))
    letters = {one.id: letter for letter, one in first_choices(outcome).items()}
    for number, candidate in enumerate(shown, before + 1):
        body = Text(candidate.title, style="bold")
        stock = _stock(candidate, outcome.book)
        body.append(f"\n{stock}; {price_words(candidate.parts, outcome)}", style="not bold")
        table.add_row(f"  {letters.get(candidate.id) or number}", body)
    return table


def _stock(candidate: Candidate, book: Rulebook) -> str:
    pairs = zip(candidate.parts, candidate.sized, strict=True)
    shop = ((part, sized) for part, sized in pairs if part.offered == "shop")
    return "; ".join(_stock_of(part.id, sized, book) for part, sized in shop) or "nothing to buy"


def _stock_of(product_id: str, sized: Sized, book: Rulebook) -> str:
    if sized.size is None:
        return f"code {product_id}, size not checked"
    text = f"code {product_id}, {size_words(sized.size, book)}, {sized.count} in stock"
    if sized.short_of is not None:
        short = f"{sized.smaller:g} is {sized.short_of:g} mm shorter than the foot"
        text += f" (between sizes: {short})"
    return text


def _to_fetch(ranked: Shortlist, book: Rulebook) -> Iterator[RenderableType]:
    """What to bring from the shelf first, where the eye rests when all is printed."""
    group = brought(ranked)
    if group is None:
        return
    yield heading("To fetch first")
    first = ranked.ranked[group][0]
    for part, sized in zip(first.parts, first.sized, strict=True):
        if part.offered != "shop":
            continue
        size = "size not checked" if sized.size is None else size_words(sized.size, book)
        yield bullet(f"{part.product.title}, {size}", "bold")


def _laid_open(shown: Sequence[Candidate], book: Rulebook, width: int) -> Iterator[RenderableType]:
    """The score need by need: what each product has against what was wished, with weights."""
    places = [f"{number}" for number in range(1, len(shown) + 1)]
    table = plain_table("wished (counts)", *places, gap=2 if width >= WIDE else 1)
    table.columns[0].no_wrap = True
    bound = 0
    found = [{v.need: v for v in candidate.judgement.verdicts} for candidate in shown]
    for need in dict.fromkeys(need for verdicts in found for need in verdicts):
        if need.strength == "prefer":
            held = (verdicts.get(need) for verdicts in found)
            table.add_row(
                _wish(need, book), *("" if v is None else _cell(v, book, width) for v in held)
            )
        else:
            bound += 1
    yield inset(f"all {bound} musts and nevers are met" if bound else "no must, no never", 4)
    if table.row_count:
        yield inset(table, 4)
        yield inset("+ met   ~ in part   - not met   ? not stated", 4, "dim")


def _wish(need: Need, book: Rulebook) -> str:
    sign = COMPARISONS[need.comparison].sign.replace(">=", "≥").replace("<=", "≤")
    level = level_words(need.attribute, need.target, book)
    return f"{book.attributes[need.attribute].short} {sign} {level} ({need.weight:g})"


def _cell(verdict: NeedVerdict, book: Rulebook, width: int) -> str:
    if verdict.level is None:
        return "?"
    mark = "+" if verdict.satisfaction == 1 else "-" if verdict.satisfaction == 0 else "~"
    level = level_words(verdict.need.attribute, verdict.level, book)
    return f"{mark}{level}" if width >= WIDE else mark


def _left_out(ranked: Shortlist, group: Group, shown: int) -> Iterator[RenderableType]:
    parts = []
    if len(ranked.ranked[group]) > shown:
        more = ranked.ranked[group][shown:]
        parts.append(f"{len(more)} more {is_are(len(more))} suitable and in stock")
    gone = [c for c in ranked.missing[group] if _sold_out(c)]
    if gone:
        names = "; ".join(candidate.title for candidate in gone[:2]) + "; ..." * (len(gone) > 2)
        parts.append(
            f"{len(gone)} would suit but {is_are(len(gone))} out of stock in this size ({names})"
        )
    never_made = [c for c in ranked.missing[group] if not _sold_out(c)]
    if never_made:
        parts.append(f"{len(never_made)} {is_are(len(never_made))} not made in it")
    if excluded := ranked.excluded[group]:
        parts.append(f"{len(excluded)} {is_are(len(excluded))} ruled out by a must or a never")
    if parts:
        yield inset("; ".join(parts) + ".", 2, "dim")


def _sold_out(candidate: Candidate) -> bool:
    return all(one.availability != "not-made" for one in candidate.sized)

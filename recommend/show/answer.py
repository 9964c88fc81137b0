"""The answer in one screen: who, what stops, what the feet are, what to bring, what to do next.

Each part of the screen has wordings from long to short. Where notes need the room, the other
parts fall back on shorter wordings, in `_SHORTENED`'s order; a stop or a note is never cut.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from rich.text import Text

from recommend.catalogue.loading import Item
from recommend.errors import counted
from recommend.infer.assess import Note
from recommend.match.judge import Verdict
from recommend.match.needs import level_words, need_words
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Group
from recommend.measure.model import SIDES, Side
from recommend.rulebook.book import Rulebook
from recommend.show.wanted import wanted, wants_line, wish_words
from recommend.show.words import LEVEL_WORDS, lacking_words, size_words
from recommend.trail.redraw import HowSure

SCREEN = 24  # lines of the smallest terminal in use
LABEL = 9  # columns of the word that says what a line is for
_BRING: tuple[Group, ...] = ("pair", "shoe", "insole")  # the first group that there is
_LETTERS = "abc"  # as many choices as fit


@dataclass(slots=True)
class Part:
    """One part of the screen: its label and its wordings, each a list of lines, long to short."""

    name: str
    label: str
    wordings: Sequence[Sequence[str]]
    style: str = ""
    chosen: int = 0

    def shorten(self) -> bool:
        """Take the next shorter wording; whether there was one."""
        self.chosen += 1
        if self.chosen < len(self.wordings):
            return True
        self.chosen -= 1
        return False

    def lines(self, width: int) -> list[Text]:
        """The chosen wording as lines of at most `width` columns."""
        paragraphs = self.wordings[self.chosen]
        wrapped = [line for text in paragraphs for line in _wrapped(text, width - LABEL)]
        return [self._line(line, index == 0) for index, line in enumerate(wrapped)]

    def _line(self, line: str, first: bool) -> Text:
        label = self.label if first else ""
        if len(label) >= LABEL:  # a stop's label stands on the line it heads
            return Text.assemble((f"{label} ", self.style or "bold"), line.lstrip())
        return Text.assemble((label.ljust(LABEL), self.style or "bold"), line)


def _wrapped(text: str, width: int) -> list[str]:
    """A paragraph in lines; what it is moved in by, it stays moved in by."""
    moved = text[: len(text) - len(text.lstrip())]
    hang = moved + "  " if moved or text.startswith(("- ", "a  ", "b  ", "c  ")) else moved
    return textwrap.wrap(
        text.lstrip(), width, initial_indent=moved, subsequent_indent=hang,
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


# Which part gives way first, one wording at a time.
_SHORTENED = (
    "say", "wants", "sure", "bring", "feet", "known", "say", "bring", "wants", "cautions",
    "ask", "known", "feet", "more", "bring", "next", "cautions", "notes",
)  # fmt: skip


def answer_lines(outcome: Outcome, sure: HowSure | None, width: int) -> list[Text]:
    """The screen, at most `SCREEN` lines unless the notes alone need more."""
    parts = [part for part in _parts(outcome, sure) if part.wordings]
    for name in _SHORTENED:
        if sum(len(part.lines(width)) for part in parts) <= SCREEN:
            break
        for part in parts:
            if part.name == name:
                part.shorten()
    return [line for part in parts for line in part.lines(width)]


def _parts(outcome: Outcome, sure: HowSure | None) -> Iterator[Part]:
    yield _who(outcome)
    yield from _notes(outcome)
    if outcome.shortlist is None:
        yield Part("more", "More", [["--show notes, measures, feet | --full"]])
        return
    yield _open_questions(outcome)
    yield from _feet(outcome)
    yield _wants(outcome)
    yield from _bring(outcome)
    yield _sure(sure, outcome)
    yield _next(outcome, sure)
    yield _say(outcome)
    yield _known(outcome.book)
    yield Part("more", "More", [["--show wants, measures, pairs, sure, ... | --full"]])


def _who(outcome: Outcome) -> Part:
    visit = outcome.assessment.visit
    told = [
        day_words(visit.date),
        visit.age_band or "age not said",
        f"{visit.body_mass_kg:g} kg" if visit.body_mass_kg else "",
        visit.purpose.replace("-", " ") if visit.purpose else "purpose not said",
        _lengths(outcome),
    ]
    return Part("who", visit.reference, [["  ".join(filter(None, told))]])


def _lengths(outcome: Outcome) -> str:
    feet = outcome.assessment.visit.feet
    known = [
        f"{letter} {length:.0f}"
        for letter, length in (("L", feet.left.foot_length_mm), ("R", feet.right.foot_length_mm))
        if length
    ]
    wanted = outcome.shortlist.wanted if outcome.shortlist else None
    if wanted is None or wanted.length is None:
        return "length not measured" if outcome.shortlist else ""
    return f"{'  '.join(known)} -> {size_words(wanted.length, outcome.book)}".strip()


def day_words(day: str | None) -> str:
    """A date as people say it: ``10 March 2025``."""
    if not day:
        return "no date"
    read = date.fromisoformat(day)
    return f"{read.day} {read:%B %Y}"


def _notes(outcome: Outcome) -> Iterator[Part]:
    notes = outcome.assessment.notes
    for level in ("stop", "see-clinician"):
        yield from _note_part(level, [n for n in notes if n.level == level], outcome.book)
    cautions = [note for note in notes if note.level == "caution"]
    if cautions:
        whole = [f"- {_said(note)}" for note in cautions]
        short = [f"- {outcome.book.by_id[note.rule].rule.title}" for note in cautions]
        one = ["; ".join(outcome.book.by_id[note.rule].rule.title for note in cautions)]
        yield Part("cautions", "Care", [whole, short, one])
    if not notes and not outcome.assessment.to_ask:
        asked = sum(answer != "not-asked" for answer in outcome.assessment.visit.answers.values())
        yield Part(
            "clear",
            "First",
            [[f"Nothing asked or measured speaks against a fitting (all {asked} asked)."]],
        )


def _note_part(level: str, notes: Sequence[Note], book: Rulebook) -> Iterator[Part]:
    if not notes:
        return
    head = "No shoe or insole today." if level == "stop" else "before anything is worn:"
    style = "bold red" if level == "stop" else "bold magenta"
    yield Part("head", LEVEL_WORDS[level], [[head]], style)
    whole = [f"- {_said(note)}" for note in notes]
    short = [f"- {book.by_id[note.rule].rule.title}" for note in notes]
    yield Part("notes", "", [whole, short])


def _said(note: Note) -> str:
    return note.say + (f" ({note.sides[0]} foot)" if len(note.sides) == 1 else "")


def _open_questions(outcome: Outcome) -> Part:
    to_ask = outcome.assessment.to_ask
    if not to_ask:
        return Part("ask", "", [])
    names = ", ".join(one.replace("-", " ") for one in to_ask)
    count = counted(len(to_ask), "question")
    verb = "is" if len(to_ask) == 1 else "are"
    head = f"{count} {verb} open that can change this ('not asked' is not 'no')"
    return Part("ask", "Ask", [[f"{head}: {names}"], [f"{head}: --show notes"]])


def _feet(outcome: Outcome) -> Iterator[Part]:
    words = {side: _foot_words(outcome, side) for side in SIDES}
    if words["left"] == words["right"]:
        yield Part("feet", "Both", [[words["left"]]])
        return
    for side in SIDES:
        yield Part("feet", side.capitalize(), [[words[side]]])


def _foot_words(outcome: Outcome, side: Side) -> str:
    foot = outcome.assessment.feet[side]
    if foot.foot_type is None:
        return f"not known yet. To tell: {lacking_words(foot.lacking['foot-type'], outcome.book)}"
    title = outcome.book.types[foot.foot_type].title
    return f"{title[0].upper()}{title[1:]}."


def _wants(outcome: Outcome) -> Part:
    assert outcome.shortlist is not None
    wants = wanted(outcome.shortlist.needs.needs, outcome.book)
    if not wants:
        return Part("wants", "Wants", [["nothing beyond a shoe that fits"]])
    return Part("wants", "Wants", [[wants_line(wants, count)] for count in (9, 6, 4)])


def first_choices(outcome: Outcome) -> dict[str, Candidate]:
    """What the screen offers, by its letter; empty when nothing suits or a stop withholds it."""
    if outcome.shortlist is None:
        return {}
    ranked = outcome.shortlist.ranked
    group = next((one for one in _BRING if ranked[one]), None)
    return dict(zip(_LETTERS, ranked[group] if group else (), strict=False))


def _bring(outcome: Outcome) -> Iterator[Part]:
    shortlist = outcome.shortlist
    assert shortlist is not None
    chosen = first_choices(outcome)
    if not chosen:
        yield Part("bring", "Bring", [["nothing suitable is in stock in this size: --show pairs"]])
        return
    long = [line for pair in chosen.items() for line in _choice(*pair, outcome)]
    short = [_one_line(letter, one, outcome) for letter, one in chosen.items()]
    more = len(shortlist.ranked[chosen[_LETTERS[0]].group]) - len(chosen)
    tail = f"  {more} more: --show pairs" if more else ""
    yield Part("bring", "Bring", [[*long, tail], [*short, tail], short[:2]])


def _choice(letter: str, candidate: Candidate, outcome: Outcome) -> Iterator[str]:
    for index, (part, sized) in enumerate(zip(candidate.parts, candidate.sized, strict=True)):
        size = size_words(sized.size, outcome.book) if sized.size else "size not checked"
        here = f", {sized.count} here" if sized.size else ""
        lead = f"{letter}  " if index == 0 else "    "
        yield f"{lead}{part.product.title}, {size}{here}, {_price((part,), outcome)}"
    yield f"    {_for_and_against(candidate, outcome.book)}"


def _one_line(letter: str, candidate: Candidate, outcome: Outcome) -> str:
    names = " + ".join(part.product.title for part in candidate.parts)
    return f"{letter}  {names}, {_price(candidate.parts, outcome)}"


def _price(parts: Iterable[Item], outcome: Outcome) -> str:
    prices = [part.product.price for part in parts]
    known = [price for price in prices if price is not None]
    if len(known) < len(prices):
        return "price not stated"
    return f"{sum(known):.2f} {outcome.catalogue.currency}".rstrip()


def _for_and_against(candidate: Candidate, book: Rulebook) -> str:
    met = [v for v in candidate.judgement.verdicts if v.satisfaction == 1]
    met.sort(key=lambda v: (v.need.strength != "prefer", -v.need.weight))
    told = [f"for it: {wish_words(met[0].need, book)}"] if met else []
    if candidate.against:
        told.append(f"against it: {falls_short(candidate.against[0], book)}")
    elif met:
        told = [f"meets all {len(candidate.judgement.verdicts)} things asked for"]
    return "; ".join(told) or "nothing was asked of it"


def falls_short(verdict: Verdict, book: Rulebook) -> str:
    """What a product lacks, short: ``heel cushioning medium, soft wanted``."""
    need = verdict.need
    definition = book.attributes[need.attribute]
    if verdict.level is None:
        return f"{definition.short} not stated"
    wanted = need_words(need, book)
    if definition.scale and need.target in (0, len(definition.scale) - 1):
        wanted = level_words(need.attribute, need.target, book)
    return f"{definition.short} {level_words(need.attribute, verdict.level, book)}, {wanted} wanted"


def _sure(sure: HowSure | None, outcome: Outcome) -> Part:
    if sure is None:
        return Part("sure", "", [])
    share = round(100 * sure.choice)
    return Part(
        "sure", "Sure",
        [[f"The first choice stays first in {share} of 100 repeats of the readings."]],
    )  # fmt: skip


def _next(outcome: Outcome, sure: HowSure | None) -> Part:
    reference = outcome.assessment.visit.reference
    notes = {note.level for note in outcome.assessment.notes}
    if outcome.assessment.to_ask:
        return Part("next", "Next", [[f"Ask what is open: recommend visit edit {reference}"]])
    if "see-clinician" in notes:
        return Part("next", "Next", [["A clinician first; the page says so: recommend sheet "
                                      f"{reference}"]])  # fmt: skip
    if outcome.shortlist is not None and outcome.shortlist.wanted.length is None:
        return Part("next", "Next", [["Measure the length of both feet first."]])
    again = ""
    if sure is not None and sure.repeat:
        first = sure.repeat[0]
        side = f"the {first.side} " if first.side else ""
        plain = outcome.book.measures[first.measure].plain
        again = (
            f" To be surer, measure {side}foot's {plain} again."
            if first.side
            else (f" To be surer, take {plain} again.")
        )
    return Part(
        "next", "Next",
        [[f"Try a and b: recommend trial {reference}.{again}"],
         [f"Try a and b: recommend trial {reference}"]],
    )  # fmt: skip


def _say(outcome: Outcome) -> Part:
    types = [foot.foot_type for foot in outcome.assessment.feet.values()]
    known = list(dict.fromkeys(one for one in types if one))
    if not known:
        return Part("say", "", [])
    said = [f"'{outcome.book.types[one].sentence}'" for one in known]
    return Part("say", "Say", [[" ".join(said)], said[:1], []])


def _known(book: Rulebook) -> Part:
    cautions = book.heading.cautions
    return Part("known", "Known", [[*cautions[:3]], [*cautions[:2]]])

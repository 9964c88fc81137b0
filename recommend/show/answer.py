"""The answer in one screen: who, what stops, what the feet are, what to bring, what to do next.

Each part of the screen has wordings from long to short. Where notes need the room, the other
parts fall back on shorter wordings, in `_SHORTENED`'s order; a stop or a note is never cut, and
where these alone need more lines, they have them.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import field
from datetime import date
from functools import cache, partial
from typing import TYPE_CHECKING

from recommend.catalogue.loading import Item
from recommend.dataclass import dataclass
from recommend.errors import counted
from recommend.infer.assess import Note
from recommend.match.out import harmful
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Equals, Shortlist
from recommend.match.sizes import Sized
from recommend.match.telling import against_lines, unplaced_words, verdict_words, why_lines
from recommend.measure.model import SIDES, Side
from recommend.measure.unlikely import unlikely
from recommend.rulebook.book import Rulebook
from recommend.show.labels import (
    LEVEL_WORDS,
    again_words,
    brought,
    capital,
    captured_doubts,
    first_choices,
    lacking_words,
    size_words,
    wanted,
    wants_line,
)
from recommend.show.lines import ScreenLine
from recommend.visit.models import Pain

if TYPE_CHECKING:
    from recommend.match.sureness import HowSure

SCREEN = 23  # lines of the smallest terminal in use, and one for what is typed next
LABEL = 9  # columns of the word that says what a line is for


Told = str | Callable[[], str]
Sure = Callable[[], "HowSure | None"]


@dataclass(slots=True)
class Part:
    """One part of the screen: its label and its wordings, each a list of lines, long to short.

    A line that costs time to find out is given as what finds it; '' is no line then, and the next
    wording leaves it out.
    """

    name: str
    label: str
    wordings: Sequence[Sequence[Told]]
    style: str = ""
    chosen: int = 0
    _lines: dict[tuple[int, int], list[ScreenLine]] = field(default_factory=dict, repr=False)

    def shorten(self) -> bool:
        """Take the next shorter wording; whether there was one."""
        self.chosen += 1
        if self.chosen < len(self.wordings):
            return True
        self.chosen -= 1
        return False

    def lines(self, width: int) -> list[ScreenLine]:
        """The chosen wording as lines of at most `width` columns."""
        if (self.chosen, width) not in self._lines:
            paragraphs = [one if isinstance(one, str) else one() for one in self._chosen]
            wrapped = [line for text in paragraphs for line in _wrapped(text, width - LABEL)]
            told = [self._line(line, index == 0) for index, line in enumerate(wrapped)]
            self._lines[self.chosen, width] = told
        return self._lines[self.chosen, width]

    def least(self, width: int) -> int:
        """How many lines that is at least, nothing found out for it."""
        if not self.late:
            return len(self.lines(width))
        known = (one for one in self._chosen if isinstance(one, str))
        return sum(len(_wrapped(text, width - LABEL)) for text in known)

    @property
    def late(self) -> bool:
        """Whether a line of the chosen wording is yet to be found out."""
        return not all(isinstance(one, str) for one in self._chosen)

    @property
    def _chosen(self) -> Sequence[Told]:
        return self.wordings[self.chosen]

    def _line(self, line: str, first: bool) -> ScreenLine:
        label = self.label if first else ""
        if len(label) >= LABEL:  # a stop's label stands on the line it heads
            return ScreenLine(f"{label} ", self.style or "bold", line.lstrip())
        return ScreenLine(label.ljust(LABEL), self.style or "bold", line)


@cache
def _wrapped(text: str, width: int) -> list[str]:
    """A paragraph in lines; what it is moved in by, it stays moved in by."""
    moved = text[: len(text) - len(text.lstrip())]
    hang = moved + "  " if moved or re.match("- |[a-z]  ", text) else moved
    return textwrap.wrap(
        text.lstrip(), width, initial_indent=moved, subsequent_indent=hang,
        break_on_hyphens=False,
    )  # fmt: skip


# Which part gives way first, one wording at a time.
_SHORTENED = (
    "doubt", "since", "unlike", "feet", "ask", "say", "ask", "wants", "else", "unlike", "say",
    "next", "else", "ask", "bring", "wants", "captured", "else", "unlike", "ask", "known", "else",
    "bring",
    "bring", "doubt", "since", "next", "cautions", "cautions", "ask", "sure",
)  # fmt: skip


def answer_lines(
    outcome: Outcome,
    sure: Sure,
    width: int,
    called: str = "",
    kept: int | None = None,
    notice: str = "",
) -> list[ScreenLine]:
    """The screen, at most `SCREEN` lines unless the notes alone need more.

    `sure` tells how sure the outcome is, if that is asked for: often there is no room to tell.
    `called` is what the visit was called by, a reference code or a file, for what to type next;
    `kept` the number of the record it was kept as, if it was; `notice` what its order heeds
    beside the rules, such as what was tried on.
    """
    visit = called or outcome.assessment.visit.reference or "VISIT"
    heeds = Part("heeds", "Order", [[f"{notice} How sure: by the rules alone."], [notice]])
    parts = [*_parts(outcome, sure, visit), *([heeds] if notice else []), *_more(outcome, kept)]
    return fitted(parts, _SHORTENED, width)


def _more(outcome: Outcome, kept: int | None) -> Iterator[Part]:
    sections = "notes" if outcome.shortlist is None else "wants"
    further = "measures" if kept is None else f"... | explain {kept}"
    shown = f"{further}, ... | --full" if kept is None else f"{further} | --full"
    more = f"--show {sections}, {shown} | rules {outcome.book.stamp}"
    yield Part("more", "More", [[more]])


def fitted(parts: Iterable[Part], shortened: Sequence[str], width: int) -> list[ScreenLine]:
    """The parts as lines, shortened in the order of `shortened` until they fit the screen."""
    kept = [part for part in parts if part.wordings]
    for name in shortened:
        least = sum(part.least(width) for part in kept)
        # Where there is no room for a late line, its part is the same without it, or shortened now.
        least += any(part.late for part in kept if part.name == name)
        if least <= SCREEN and sum(len(part.lines(width)) for part in kept) <= SCREEN:
            break
        for part in kept:
            if part.name == name:
                part.shorten()
    return [line for part in kept for line in part.lines(width)]


def _parts(outcome: Outcome, sure: Sure, called: str) -> Iterator[Part]:
    yield _who(outcome)
    yield from _notes(outcome)
    yield from _since(outcome)
    yield from _doubtful(outcome)
    yield from _captured(outcome)
    ranked = outcome.shortlist
    if ranked is None:
        page = f"Read it out. The page: recommend sheet {called}; that it was heard:"
        yield Part("next", "Next", [[f"{page} recommend visit decide {called}"]])
        return
    yield _open_questions(outcome)
    yield from _feet(outcome)
    yield from _two_feet(ranked, outcome.book)
    yield _wants(ranked, outcome.book)
    yield from _bring(ranked, outcome)
    yield _sure(ranked)
    yield _next(ranked, outcome, sure, called)
    yield _say(outcome)
    known = outcome.book.heading.brief or " ".join(outcome.book.heading.cautions[:2])
    yield Part("known", "Known", [[known]])


def _who(outcome: Outcome) -> Part:
    visit = outcome.assessment.visit
    told = [
        day_words(visit.date),
        visit.age_band or "age not said",
        f"{visit.body_mass_kg:g} kg" if visit.body_mass_kg else "",
        visit.purpose.replace("-", " ") if visit.purpose else "purpose not said",
        f"{visit.keeps.socks} socks" if visit.keeps and visit.keeps.socks else "",
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
    for level, head in (("stop", STOPPED), ("see-clinician", "before anything is worn:")):
        yield from note_parts(level, head, map(_said, noted(outcome, level)))
    cautions = noted(outcome, "caution")
    if cautions:
        whole = [f"- {_said(note)}" for note in cautions]
        short = [f"- {outcome.book.by_id[note.rule].rule.title}" for note in cautions]
        one = ["; ".join(outcome.book.by_id[note.rule].rule.title for note in cautions)]
        yield Part("cautions", "Care", [whole, short, one])
    if not notes and not outcome.assessment.to_ask:
        asked = sum(answer != "not-asked" for answer in outcome.assessment.visit.answers.values())
        clear = f"Nothing asked or measured speaks against a fitting (all {asked} asked)."
        yield Part("clear", "First", [[clear]])


def _doubtful(outcome: Outcome) -> Iterator[Part]:
    """What hardly anybody has, angles too: the entry asks about it, a file cannot be asked."""
    found = unlikely(outcome.assessment.visit, outcome.book.parameters)
    doubts = [f"{capital(text)}." for text in found]
    if doubts:
        more = f", and {len(doubts) - 1} more" if len(doubts) > 1 else ""
        short = f"{counted(len(doubts), 'reading')} hardly possible: --show notes"
        yield Part(
            "doubt", "Doubt", [doubts, [f"{doubts[0].rstrip('.')}{more}: --show notes"], [short]]
        )


def _captured(outcome: Outcome) -> Iterator[Part]:
    """Captures whose errors were widened, or of which something was withdrawn, and why."""
    lines = captured_doubts(outcome.assessment.visit)
    if lines:
        short = f"{counted(len(lines), 'doubt')} about captures: --show measures"
        yield Part("captured", "Doubt", [lines, [short]])


def _since(outcome: Outcome) -> Iterator[Part]:
    """What changed since the visit before: pain by site first, then what was worn and how."""
    visit = outcome.assessment.visit
    again = visit.follow_up
    if again is None:
        return
    from recommend.show.history import wear_words  # only here: most visits are first ones

    titles = outcome.catalogue.titles
    pain = _pain_since(visit.pain, again.pain_sites_before)
    worn = f"Worn: {wear_words(again, titles)}."
    short = worn.partition(", ")[0]
    yield Part("since", "Since", [[*pain, worn], [*pain, f"{short}."], [*pain]])


def _pain_since(now: Sequence[Pain] | None, before: Sequence[Pain] | None) -> list[str]:
    """Pain by site, now against then, in one line; nothing where either was not asked."""
    if now is None or before is None:
        return []
    then, today = ({(p.site, p.side): p for p in told} for told in (before, now))
    words = []
    for site in {**today, **then}:
        place = f"{site[0].replace('-', ' ')} {site[1]}"
        old, new = _score(then.get(site)), _score(today.get(site))
        if not old:
            words.append(f"new: {place} {new}")
        elif not new:
            words.append(f"gone: {place} (was {old})")
        else:
            words.append(f"{place} {new}{'' if new == old else f' (was {old})'}")
    return [f"Pain: {', '.join(words)}." if words else "No pain, then or now."]


def _score(pain: Pain | None) -> str:
    if pain is None:
        return ""
    return f"{pain.score} of 10" if pain.score is not None else "not scored"


STOPPED = "No shoe or insole today."


def noted(outcome: Outcome, level: str) -> list[Note]:
    """The notes of a visit that are of this level."""
    return [note for note in outcome.assessment.notes if note.level == level]


def note_parts(level: str, head: str, said: Iterable[str]) -> Iterator[Part]:
    """What a stop or a see-a-clinician note says, under its own head; nothing where none does."""
    lines = [f"- {text}" for text in said]
    if lines:
        style = "bold red" if level == "stop" else "bold magenta"
        yield Part("head", LEVEL_WORDS[level], [[head]], style)
        yield Part("notes", "", [lines])


def _said(note: Note) -> str:
    return note.say + (f" ({note.sides[0]} foot)" if len(note.sides) == 1 else "")


def _open_questions(outcome: Outcome) -> Part:
    to_ask = outcome.assessment.to_ask
    if not to_ask:
        return Part("ask", "", [])
    asks = [outcome.book.questions[one].ask for one in to_ask]
    count = counted(len(to_ask), "question")
    verb = "is" if len(to_ask) == 1 else "are"
    head = f"{count} {verb} open that can change this ('not asked' is not 'no'):"
    whole = [head, *(f"- {ask}" for ask in asks)]
    fewer = [
        [head, *whole[1 : count + 1], f"- and {len(asks) - count} more"]
        for count in (8, 5, 3, 2, 1)
        if count + 1 < len(asks)
    ]
    return Part("ask", "Ask", [whole, *fewer])


def _feet(outcome: Outcome) -> Iterator[Part]:
    words = {side: _foot_words(outcome, side) for side in SIDES}
    if words["left"] == words["right"]:
        yield Part("feet", "Both", words["left"])
        return
    for side in SIDES:
        yield Part("feet", side.capitalize(), words[side])


def _foot_words(outcome: Outcome, side: Side) -> list[list[str]]:
    foot, book = outcome.assessment.feet[side], outcome.book
    if foot.foot_type is None:
        whole = f"Not known yet. To tell: {lacking_words(foot.lacking['foot-type'], book)}"
        signs = [book.axes[a].values[v] for a, v in foot.conclusions.axes.items() if v is not None]
        short = f"Not known yet ({', '.join(signs[:2])})" if signs else "Not known yet"
        return [[whole], [f"{short}: --show feet"]]
    title = book.types[foot.foot_type].title
    return [[f"{capital(title)}."]]


def _one(ranked: Shortlist) -> list[str]:
    """The same in a line that says where the rest is."""
    conflicts = [one.text.partition(":")[0].lower() for one in ranked.needs.conflicts]
    told = [f"feet want different {', '.join(conflicts)}" if conflicts else ""]
    told.append(ranked.wanted.smaller.partition(":")[0].replace("the ", "").replace(" is ", " "))
    words = "; ".join(filter(None, told)) or "the insole they keep has to stay out"
    return [f"{capital(words)} (--show wants)"]


def _kept_words(ranked: Shortlist, book: Rulebook) -> Iterator[str]:
    """That the insole the customer keeps will not do, and why."""
    for one in ranked.will_not_do["insole"]:
        if one.parts[0].offered == "own":
            broken = [v for v in one.judgement.verdicts if v.broken]
            why = "; ".join(verdict_words(verdict, book) for verdict in broken[:2])
            yield f"{one.parts[0].product.title.capitalize()} has to stay out: {why or one.refused}"


def _two_feet(ranked: Shortlist, book: Rulebook) -> Iterator[Part]:
    """What one pair cannot be for both feet, and what can be done for what they have."""
    told = [one.text for one in ranked.needs.conflicts]
    short = [text.partition(";")[0] for text in told]
    smaller = ranked.wanted.smaller
    fit = [f"{capital(smaller)}."] if smaller else []
    fit += [f"{line}." for line in _kept_words(ranked, book)]
    if told or fit:
        least = [f"{text}: one pair cannot do both" for text in short[:1]]
        wordings = [[*fit, *told], [*fit, *short], [*fit, *least], _one(ranked)]
        yield Part("unlike", "Unlike", wordings)


def _wants(ranked: Shortlist, book: Rulebook) -> Part:
    wants = wanted(ranked.needs.needs, book)
    if not wants:
        return Part("wants", "Wants", [["nothing beyond a shoe that fits"]])
    return Part("wants", "Wants", [[wants_line(wants, count)] for count in (9, 6, 4)])


def _bring(ranked: Shortlist, outcome: Outcome) -> Iterator[Part]:
    if ranked.unplaced:
        yield from _without_place(ranked)
        return
    group, nothing = brought(ranked), partial(ranked.nothing_because, book=outcome.book)
    if group is None:
        why = (*nothing("shoe"), *nothing("insole"))
        yield Part("bring", "Bring", [["nothing suits: " + "; ".join(why)], ["nothing suits"]])
        return
    equals = ranked.groups[group][0].members
    chosen = list(first_choices(outcome).items())
    first = [pair for pair in chosen if pair[1] in equals]
    no_pair = [] if group == "pair" else [f"no pair: {'; '.join(nothing('pair'))}"]
    heads = [*no_pair, *_agreed(outcome), *_serves(outcome), *_alike(len(equals), len(first))]
    yield _choices("bring", "Bring", heads, first, outcome)
    rest = [pair for pair in chosen if pair[1] not in equals]
    if rest:
        yield _choices("else", "Else", [], rest, outcome)


def _agreed(outcome: Outcome) -> list[str]:
    return ["only once the clinician has agreed:"] if outcome.assessment.clinician_first else []


def _serves(outcome: Outcome) -> list[str]:
    """That what was worn since the last visit goes on, where it did no harm and is comfortable."""
    visit = outcome.assessment.visit
    again = visit.follow_up
    if again is None or not again.comfort or not (again.shoe or again.insole):
        return []
    if outcome.assessment.clinician_first or harmful(visit, outcome.book.parameters):
        return []
    return ["first what was worn, which did no harm: go on with it while it serves; else:"]


def _alike(count: int, shown: int) -> list[str]:
    if count == 1:
        return []
    of = f"{shown} of {count} that" if count > shown else f"these {count}"
    return [f"{of} serve alike: let comfort decide, then price"]


UNPLACED = "Nothing has a first place yet: "


def _without_place(ranked: Shortlist) -> Iterator[Part]:
    count = sum(len(ranked.without_place[group]) for group in ("shoe", "insole"))
    why = unplaced_words(ranked)
    short = f"{UNPLACED}{why}"
    whole = f"{short}. By what is known {counted(count, 'product')} would suit: --show shoes"
    yield Part("bring", "Bring", [[whole], [short]])


def _choices(
    name: str, label: str, heads: list[str], chosen: list[tuple[str, Candidate]], outcome: Outcome
) -> Part:
    told = [list(_choice(*pair, outcome)) for pair in chosen]
    long = [line for lines in told for line in lines]
    middle = [line for lines in told for line in lines[:-1]]
    short = [f"{letter}  {one.title}, {price_words(one.parts, outcome)}" for letter, one in chosen]
    wordings = [[*heads, *lines] for lines in (long, middle, short, short[:2])]
    return Part(name, label, [*wordings, []] if name == "else" else wordings)


def _choice(letter: str, candidate: Candidate, outcome: Outcome) -> Iterator[str]:
    lead = f"{letter}  "
    if not any(part.offered == "shop" for part in candidate.parts):
        yield f"{lead}nothing new: {candidate.title}"
    else:
        for part, sized in zip(candidate.parts, candidate.sized, strict=True):
            yield f"{lead}{_part_words(part, sized, outcome)}"
            lead = "   "
    yield f"   {for_and_against(candidate, outcome.book)}"


def _part_words(part: Item, sized: Sized, outcome: Outcome) -> str:
    if part.offered != "shop":
        return part.product.title
    size = size_words(sized.size, outcome.book) if sized.size else "size not checked"
    here = f", {sized.count} here" if sized.size else ""
    return f"{part.product.title}, {size}{here}, {price_words((part,), outcome)}"


def price_words(parts: Iterable[Item], outcome: Outcome) -> str:
    """What parts cost together; what the customer owns costs nothing and is not counted."""
    prices = [part.product.price for part in parts if part.offered == "shop"]
    known = [price for price in prices if price is not None]
    if len(known) < len(prices):
        return "price not stated"
    return f"{sum(known):.2f} {outcome.catalogue.currency}".rstrip() if prices else "no cost"


def for_and_against(candidate: Candidate, book: Rulebook) -> str:
    """The one reason for it and the one thing against it."""
    against = next(iter(against_lines(candidate, book)), "")
    reasons = why_lines(candidate, book)  # what falls short in one thing is no reason for it
    reason = next((one for one in reasons if not against.startswith(f"{one},")), "")
    wishes = sum(v.need.strength == "prefer" for v in candidate.judgement.verdicts)
    if not against and wishes and any(part.offered == "shop" for part in candidate.parts):
        return f"meets all of the {counted(wishes, 'wish', 'wishes')} asked for"
    told = [f"for: {reason}" if reason else "", f"against: {against}" if against else ""]
    return "; ".join(filter(None, told)) or "nothing was asked of it"


def _sure(ranked: Shortlist) -> Part:
    first = _first(ranked)
    if first is not None and not ranked.measured:
        return Part("sure", "Sure", [["How sure cannot be said: no sign of these feet was read."]])
    if first is None or (holds := first.holds) is None:
        return Part("sure", "", [])
    what = "group holds" if len(first.members) > 1 else "choice stays first"
    said = f"This {what} in {100 * holds:.0f} of 100 repeats of the readings."
    return Part("sure", "Sure", [[said], []])


def _first(ranked: Shortlist) -> Equals | None:
    """The group that is brought first."""
    group = brought(ranked)
    return ranked.groups[group][0] if group is not None else None


def _next(ranked: Shortlist, outcome: Outcome, sure: Sure, reference: str) -> Part:
    if outcome.assessment.to_ask and outcome.assessment.unscreened:
        return Part("next", "Next", [[f"Ask what is open: recommend visit edit {reference}"]])
    if outcome.assessment.clinician_first:
        page = f"The page for the clinician: recommend sheet {reference}"
        return Part("next", "Next", [[page]])
    if ranked.wanted.length is None:
        return Part("next", "Next", [["Measure the length of both feet first."]])
    tried = f"{_trying(outcome)} recommend trial step {reference}"
    first = _first(ranked)
    holds = first.holds if first is not None else None
    if holds is None or holds >= outcome.book.parameters.rank.sure:
        return Part("next", "Next", [[tried, lambda: _again(outcome, sure())], [tried]])
    again = _again(outcome, sure())
    return Part("next", "Next", [[again, tried], [again or tried]])


def _trying(outcome: Outcome) -> str:
    """What to try; nothing to try where what they have will do."""
    choices = first_choices(outcome)
    new = [
        letter
        for letter, one in choices.items()
        if any(part.offered == "shop" for part in one.parts)
    ]
    if len(new) == len(choices):
        return f"Try {' and '.join(new[:2])}:" if new else ""
    return "Nothing need be bought: look at fit, wear and age of their own. Else try:"


def _again(outcome: Outcome, sure: HowSure | None) -> str:
    """Which reading to take again to be surer, in words."""
    if sure is None or not sure.repeat:
        return ""
    return again_words(sure.repeat[0], outcome.book)


def _say(outcome: Outcome) -> Part:
    types = [foot.foot_type for foot in outcome.assessment.feet.values()]
    known = list(dict.fromkeys(one for one in types if one))
    if not known:
        return Part("say", "", [])
    said = [f"'{outcome.book.types[one].sentence}'" for one in known]
    return Part("say", "Say", [[" ".join(said)], said[:1], []])

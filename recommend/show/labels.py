"""What everything is called on every screen: measures, sizes, wishes, and products by letters.

One lettering goes through a visit: what the shortlist calls a, the try-on and the decision do too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from recommend.dataclass import dataclass
from recommend.errors import counted
from recommend.infer.derivation import Lacking
from recommend.match.needs import Need, bound_words, level_words
from recommend.match.out import NO_INSOLE, OWN, OWN_SHOES, worn_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Group, Shortlist
from recommend.measure.model import SIDES, Measure
from recommend.measure.sizing import size_label
from recommend.rulebook.book import Rulebook
from recommend.rulebook.terms import COMPARISONS, Comparison, opposite
from recommend.settings import setting
from recommend.visit.models import Visit
from recommend.way import outcome_of

if TYPE_CHECKING:
    from recommend.match.sureness import Repeat

LEVEL_WORDS = {"stop": "STOP", "see-clinician": "SEE A CLINICIAN", "caution": "CAUTION"}
# What a doubt did to a reading.
EFFECT_WORDS = {"noted": "noted", "widened": "error widened", "removed": "withdrawn"}
_CAPTURED = {"pressure": "mat", "marks": "film", None: "capture"}
_COUNTED = {"mean of strides": "stride", "mean of readings": "reading"}

# What a shortlist can be asked to show, in the order of a fitting.
SECTIONS = {
    "notes": "stops, see-a-clinician notes, cautions, open questions",
    "measures": "every reading with its error",
    "feet": "the kind of each foot, and by which signs",
    "wants": "what the feet need, and why",
    "size": "the size in every system",
    "shoes": "shoes in order, wish by wish",
    "insoles": "insoles in order, wish by wish",
    "pairs": "shoe with insole in order",
    "fetch": "what to bring from the shelf first",
    "cautions": "what to say before anything is worn",
}


def capital(text: str) -> str:
    """The text with a capital at its beginning."""
    return f"{text[:1].upper()}{text[1:]}"


def sure_words(measure: Measure) -> str:
    """How sure a reading is, in words: what it stands on and what is doubted."""
    unit = _COUNTED.get(measure.method)
    words = [counted(measure.n, unit) if unit else measure.method]
    for name, value in measure.qualifiers.items():
        if name != "age":
            words.append(f"from {value}" if name == "reference" else value)
        elif value == "child":
            words.append("by norms of children")
    words += [flag.name.replace("-", " ").upper() for flag in measure.flags]
    return ", ".join(words)


def person_words(visit: Visit) -> str:
    """Who was measured, without a name."""
    mass = f"{visit.body_mass_kg:g} kg" if visit.body_mass_kg else "body mass not given"
    age = visit.age_band or "age band not given"
    purpose = f"for {visit.purpose}" if visit.purpose else "purpose not given"
    return ", ".join((visit.date or "no date", age, mass, purpose))


def pain_words(visit: Visit) -> str:
    """Where it hurts, how much and how long."""
    if visit.pain is None:
        return "pain: not asked"
    if not visit.pain:
        return "pain: none"
    places = []
    for pain in visit.pain:
        text = f"{pain.site.replace('-', ' ')} {pain.side}"
        text += f" {pain.score} of 10" if pain.score is not None else ", not scored"
        text += f" for {pain.weeks:g} weeks" if pain.weeks is not None else ""
        places.append(text)
    return "pain: " + "; ".join(places)


def lacking_words(lacking: Lacking, book: Rulebook) -> str:
    """What to do to decide something, as an instruction."""
    parts = []
    hows = [book.measures[name].how for name in book.measures if name in lacking.measures]
    if hows:
        parts.append("; ".join(dict.fromkeys(hows)))
    if lacking.visit:
        parts.append("ask " + ", ".join(sorted(lacking.visit)))
    if lacking.incomparable:
        names = ", ".join(book.measures[name].plain for name in sorted(lacking.incomparable))
        parts.append(f"no limit is meant for how this was taken: {names}; take it from vertical")
    return "; ".join(parts) or "the rules leave this combination open"


def size_words(size: float, book: Rulebook) -> str:
    """A Mondopoint size (mm), and what the shop's own system calls it: ``270 (EU 42.5)``."""
    system = setting("sizes").value
    label = None if system == "mondopoint" else size_label(system, size, book.parameters)
    return f"{size:g} ({label})" if label else f"{size:g}"


def again_words(repeat: Repeat, book: Rulebook) -> str:
    """Which reading to take again to be surer, as an instruction."""
    foot = f", {repeat.side} foot" if repeat.side else ""
    return f"To be surer, take again: {book.measures[repeat.measure].plain}{foot}."


def captured_doubts(visit: Visit) -> list[str]:
    """A sentence for each capture that widened errors, or of which something was withdrawn.

    Only of those that readings are still from: a later capture takes the place of an earlier.
    """
    feet = {side: getattr(visit.feet, side).from_captures for side in SIDES}
    read = {(side, reading.file) for side, readings in feet.items() for reading in readings}
    lines = []
    for one in (one for one in visit.captures if (one.side, one.file) in read):
        for effect in ("widened", "removed"):
            why = [doubt.name.replace("-", " ") for doubt in one.doubts if doubt.effect == effect]
            if why:
                what = f"{one.side} {_CAPTURED[one.kind]}, {Path(one.file).name}"
                lines.append(f"{what}: {EFFECT_WORDS[effect]}: {', '.join(why)}.")
    return lines


BARE, OWN_LETTER = "o", "w"  # barefoot, and the shoe that is worn now
FETCHED = 3  # choices on the first screen
# Not o and w; not q and x, which leave the entry and leave a question out.
LETTERS = "abcdefghijklmnprstuvyz"
_BRING: tuple[Group, ...] = ("pair", "shoe", "insole")  # the first group that there is


@dataclass(frozen=True, slots=True)
class Names:
    """What combinations are called, by their id as a try-on.

    `letters` are those of the visit, `titles` those of the catalogue's products; `own` and
    `joined` are the words for the customer's own shoe, and between a shoe and its insole.
    """

    letters: Mapping[str, str]
    titles: Mapping[str, str]
    own: str = "own shoe"
    barefoot: str = "barefoot"
    joined: str = " with "

    def worn(self, name: str) -> str:
        """What is worn: ``own shoe with Ommerstead insole``."""
        words = {OWN: self.own, "barefoot": self.barefoot, OWN_SHOES: self.own,
                 NO_INSOLE: "no insole"}  # fmt: skip
        parts = [words.get(one) or self.titles.get(one, one) for one in name.split("+")]
        return self.joined.join(parts)

    def called(self, name: str) -> str:
        """Its letter and what it is."""
        return f"{self.letters.get(name, '')}  {self.worn(name)}".lstrip()

    def short(self, names: Iterable[str]) -> str:
        """Letters alone, joined by `or`."""
        return " or ".join(self.letters.get(name, self.worn(name)) for name in names)


def worn_as(shoe: str | None, insole: str | None) -> str:
    """The id of what is worn: shoe and insole joined, empty where there is neither."""
    return "+".join(part for part in (shoe, insole) if part)


def brought(ranked: Shortlist) -> Group | None:
    """What is brought from the shelf: pairs where there are some, else shoes, else insoles."""
    return next((one for one in _BRING if ranked.ranked[one]), None)


def fetched(ranked: Shortlist | None) -> Sequence[Candidate]:
    """What the first screen offers; nothing when nothing suits or a stop withholds it."""
    group = brought(ranked) if ranked is not None else None
    return () if ranked is None or group is None else ranked.ranked[group][:FETCHED]


def first_choices(outcome: Outcome) -> dict[str, Candidate]:
    """What the screen offers, by its letter, which it keeps through the visit."""
    offered = fetched(outcome.shortlist)
    letters = letters_of(outcome)
    return {letters[name_of(one)]: one for one in offered if name_of(one) in letters}


def name_of(candidate: Candidate) -> str:
    """Its id as a try-on; no insole alone, which is tried on nowhere, by its own id."""
    return worn_id(candidate) or candidate.id


def letters_of(outcome: Outcome, further: Iterable[str] = ()) -> dict[str, str]:
    """The letter of each combination, by its id as a try-on.

    First what the shortlist offered before anything was tried, so that what hurts in a try-on
    moves no other letter; then what was tried, in order, `further` ones, and what is offered now.
    """
    visit = outcome.assessment.visit
    begun = outcome
    if visit.trials:
        untried = visit.model_copy(update={"trials": []})
        begun = outcome_of(untried, outcome.book, outcome.catalogue)
    tried = [worn_as(one.shoe, one.insole) for one in visit.trials]
    names = [
        *map(name_of, fetched(begun.shortlist)), *filter(None, tried), *further,
        *map(name_of, fetched(outcome.shortlist)),
    ]  # fmt: skip
    first = {name_of(one) for one in fetched(begun.shortlist)}
    lettered = [name for name in dict.fromkeys(names) if name != OWN or OWN in first]
    found = dict(zip(lettered, LETTERS, strict=False))
    return {OWN: OWN_LETTER, "barefoot": BARE} | found


def names_of(outcome: Outcome, further: Iterable[str] = ()) -> Names:
    """What everything in a visit is called; `further` are ids that have no letter of their own."""
    titles = outcome.catalogue.titles
    return Names(letters_of(outcome, further), titles)


_PARTS = {"insole": "insole", "shoe": "shoe", "pair": "together"}


@dataclass(frozen=True, slots=True)
class Want:
    """One thing that is wanted of a part; `weight` is infinite where it binds."""

    part: str
    words: str
    weight: float


def wanted(needs: Iterable[Need], book: Rulebook) -> list[Want]:
    """What is wanted, once for each attribute: what binds as a range, else the strongest wish."""
    by_attribute: dict[str, list[Need]] = {}
    for need in (one for one in needs if not book.attributes[one.attribute].unsaid):
        by_attribute.setdefault(need.attribute, []).append(need)
    said = (name for name in by_attribute if not _follows(name, by_attribute, book))
    found = [(_of_fit(name, book), _want(name, by_attribute[name], book)) for name in said]
    return [want for _, want in sorted(found, key=lambda one: (one[0], -one[1].weight))]


def _of_fit(attribute: str, book: Rulebook) -> bool:
    """Whether it is about fit or purpose, which every shoe is looked at for and goes last here."""
    definition = book.attributes[attribute]
    return definition.about == "fit" or definition.yes_no


def _follows(attribute: str, asked: Mapping[str, Sequence[Need]], book: Rulebook) -> bool:
    """Whether a bound on a sum follows from those on its parts, so that it need not be said."""
    parts = book.attributes[attribute].sum_of
    if not parts or not all(part in asked for part in parts):
        return False
    bounds = [_range([n for n in asked[part] if n.strength != "prefer"]) for part in parts]
    low, high = (sum(bound[end] for bound in bounds) for end in (0, 1))
    least, most = _range([n for n in asked[attribute] if n.strength != "prefer"])
    return low >= least and high <= most


def wants_line(wants: Sequence[Want], count: int) -> str:
    """The first `count` wants by part, and how many more there are."""
    shown = wants[:count]
    by_part = (
        (words, ", ".join(want.words for want in shown if want.part == part))
        for part, words in _PARTS.items()
    )
    more = len(wants) - len(shown)
    rest = f"; {more} more" if more else ""
    return "; ".join(f"{part}: {words}" for part, words in by_part if words) + rest


def _want(attribute: str, asked: Sequence[Need], book: Rulebook) -> Want:
    part = attribute.partition(".")[0]
    binding = [need for need in asked if need.strength != "prefer"]
    if binding:
        return Want(part, _range_words(attribute, _range(binding), book), math.inf)
    wish = max(asked, key=lambda need: need.weight)
    return Want(part, wish_words(wish, book), wish.weight)


def _range(binding: Iterable[Need]) -> tuple[float, float]:
    """The lowest and the highest level that every binding need allows."""
    low, high = -math.inf, math.inf
    for need in binding:
        comparison = need.comparison if need.strength == "must" else opposite(need.comparison)
        if COMPARISONS[comparison].lower:
            low = max(low, need.target)
        else:
            high = min(high, need.target)
    return low, high


def _range_words(attribute: str, bounds: tuple[float, float], book: Rulebook) -> str:
    low, high = bounds
    name = _name(attribute, book)
    if (low, high) == (0, 0) and not book.attributes[attribute].scale:
        return f"no {name}"
    if math.isinf(high):
        return _at(attribute, "at-least", low, book)
    if math.isinf(low):
        return _at(attribute, "at-most", high, book)
    if low == high:
        return f"{name} {level_words(attribute, low, book)}"
    return f"{name} {level_words(attribute, low, book)} to {level_words(attribute, high, book)}"


def wish_words(need: Need, book: Rulebook) -> str:
    """One need: ``soft heel cushioning``, ``heel cup 14 mm or more``, ``made for running``."""
    if need.strength == "never":
        return _range_words(need.attribute, _range([need]), book)
    return _at(need.attribute, need.comparison, need.target, book)


def _at(attribute: str, comparison: Comparison, level: float, book: Rulebook) -> str:
    """An attribute and what is wanted of it; the end of a scale stands before its name."""
    definition = book.attributes[attribute]
    if definition.yes_no:
        return definition.title if level >= 1 else f"not {definition.title}"
    words = bound_words(attribute, comparison, level, book)
    at_the_end = definition.scale and words == level_words(attribute, level, book)
    name = _name(attribute, book)
    if at_the_end and words == "none":
        return f"no {name}"
    return f"{words} {name}" if at_the_end else f"{name} {words}"


def _name(attribute: str, book: Rulebook) -> str:
    """What an attribute is called behind the name of its part; both parts are said already."""
    short = book.attributes[attribute].short
    return short.partition(",")[0] if attribute.startswith("pair.") else short

"""One lettering through a visit: what the shortlist calls a, the try-on and the decision do too."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from recommend.dataclass import dataclass
from recommend.match.out import NO_INSOLE, OWN, OWN_SHOES, worn_id
from recommend.match.outcome import Outcome
from recommend.match.shortlist import Candidate, Group, Shortlist
from recommend.way import outcome_of

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
    tried = ["+".join(filter(None, (one.shoe, one.insole))) for one in visit.trials]
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

"""A whole visit through the rulebook: both feet measured, screened, classified, their needs."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from recommend.dataclass import dataclass
from recommend.infer.conclusions import Conclusions
from recommend.infer.derivation import (
    CloseCall,
    Firing,
    Lacking,
    Lacks,
    close_calls,
    derivations,
)
from recommend.infer.engine import Engine, engine_of
from recommend.infer.facts import facts_of
from recommend.measure.model import SIDES, Measure, Side
from recommend.measure.observed import Observed, observe
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import NOTE_LEVELS, NoteLevel
from recommend.rulebook.vocabulary import FOOT_TYPE
from recommend.visit.models import Visit


@dataclass(frozen=True, slots=True)
class Note:
    """Something to say before any product: a stop, a see-a-clinician note or a caution."""

    level: NoteLevel
    say: str
    because: str
    rule: str
    sides: tuple[Side, ...]


@dataclass(frozen=True, slots=True)
class FootAssessment:
    """One foot: what was measured, what the rules concluded, what is missing.

    `lacking` tells by axis what would decide it, for axes that are undetermined;
    `close_calls` are readings beyond a limit by less than their error.
    """

    side: Side
    measures: Mapping[str, Measure]
    further: tuple[Measure, ...]
    conclusions: Conclusions
    derivations: tuple[Firing, ...]
    lacking: Mapping[str, Lacking]
    close_calls: tuple[CloseCall, ...]

    @property
    def foot_type(self) -> str | None:
        """The foot type's id, or None when undetermined."""
        return self.conclusions.axes[FOOT_TYPE]


@dataclass(frozen=True, slots=True)
class Assessment:
    """A visit assessed: notes first; `to_ask` are questions that are still open.

    `unscreened` are those of them on which a stop rests: until they are asked, nothing is first.
    `engine` is the one that concluded.
    """

    visit: Visit
    feet: Mapping[Side, FootAssessment]
    notes: tuple[Note, ...]
    to_ask: tuple[str, ...]
    unscreened: tuple[str, ...]
    engine: str

    @property
    def clinician_first(self) -> bool:
        """Whether a see-a-clinician note stands: what is listed waits until they agree."""
        return any(note.level == "see-clinician" for note in self.notes)

    @property
    def stopped(self) -> bool:
        """Whether a stop withholds the shortlist."""
        return any(note.level == "stop" for note in self.notes)

    def reasons(self, rules: Iterable[str], book: Rulebook) -> dict[str, tuple[Side, ...]]:
        """Why these rules say what they say, and of which feet each reason is true."""
        found: dict[str, set[Side]] = {}
        for rule in rules:
            true = {side for side in SIDES if self.feet[side].conclusions.truth.get(rule)}
            found.setdefault(book.by_id[rule].rule.because, set()).update(true)
        return {because: tuple(s for s in SIDES if s in who) for because, who in found.items()}


def assess(visit: Visit, book: Rulebook, engine: Engine | None = None) -> Assessment:
    """Measure, screen and classify both feet of a visit: the way up to the conclusions.

    Raises
    ------
    ContradictionError
        If the rulebook contradicts itself on this foot.
    """
    observed = observe(visit, book.measures, book.parameters)
    return concluded(visit, observed, engine or engine_of(book))


def concluded(visit: Visit, observed: Observed, engine: Engine) -> Assessment:
    """What the rulebook says of both feet, and what it rests on; as `assess`, once measured."""
    book = engine.book
    feet = {side: _foot(visit, side, observed, engine) for side in SIDES}
    to_ask = tuple(_open(visit, book, feet, stops_alone=False))
    unscreened = tuple(_open(visit, book, feet, stops_alone=True))
    return Assessment(visit, feet, tuple(_notes(book, feet)), to_ask, unscreened, engine.name)


def _foot(visit: Visit, side: Side, observed: Observed, engine: Engine) -> FootAssessment:
    measures = observed.used[side]
    conclusions = engine.conclude(facts_of(visit, side, measures, engine.book))
    lacks = Lacks(engine.book, conclusions)
    undetermined = [axis for axis, value in conclusions.axes.items() if value is None]
    return FootAssessment(
        side=side,
        measures=measures,
        further=observed.further[side],
        conclusions=conclusions,
        derivations=derivations(engine.book, conclusions, side),
        lacking={axis: lacks.for_axis(axis) for axis in undetermined},
        close_calls=close_calls(engine.book, conclusions.facts),
    )


def _notes(book: Rulebook, feet: Mapping[Side, FootAssessment]) -> Iterator[Note]:
    """Notes of both feet, worst first; the same note of both feet is said once."""
    pairs = [(rule, rule.note) for rule in book.rules if rule.note is not None]
    for rule, then in sorted(pairs, key=lambda pair: NOTE_LEVELS.index(pair[1].note)):
        sides = tuple(side for side in SIDES if feet[side].conclusions.truth[rule.id])
        if sides:
            yield Note(then.note, then.say, rule.rule.because, rule.id, sides)


def _open(
    visit: Visit, book: Rulebook, feet: Mapping[Side, FootAssessment], *, stops_alone: bool
) -> Iterator[str]:
    """Questions not asked on which a note or a need, or only a stop, still depends, in order."""
    open_: set[str] = set()
    for foot in feet.values():
        lacks = Lacks(book, foot.conclusions)
        for rule in book.rules:
            stops = rule.note is not None and rule.note.note == "stop"
            if stops or (rule.stage != "classify" and not stops_alone):
                open_ |= lacks.for_rule(rule).answers
    again = visit.follow_up is not None
    for name, question in book.questions.items():
        if name in open_ and question.arises(visit.answers, again=again):
            yield name

"""The rulebook while a visit is typed: stops and doubts, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from recommend.dataclass import dataclass
from recommend.infer.assess import Assessment, Note, assess
from recommend.infer.derivation import Lacks
from recommend.infer.engine import engine_of
from recommend.infer.facts import facts_of
from recommend.measure.model import SIDES, Side
from recommend.measure.observed import observe
from recommend.measure.unlikely import ANGLES, unlikely
from recommend.rulebook.book import Rulebook
from recommend.rulebook.vocabulary import FOOT_TYPE, about
from recommend.visit.models import Foot, Visit

SIGN_HINT = "Inwards (everted) is plus, outwards (inverted) minus: is the sign turned round?"


@dataclass(frozen=True, slots=True)
class Progress:
    """What is known so far, and the next most useful measure.

    `foot` has by side what is known in words; `next_how` says how to take the measure that
    would settle most, empty when nothing is missing for the foot types.
    """

    asked: int
    questions: int
    notes: tuple[Note, ...]
    foot: Mapping[Side, tuple[str, ...]]
    next_measure: str
    next_how: str
    next_sides: tuple[Side, ...]


class Adviser:
    """Judges a visit that is being typed, by one rulebook."""

    def __init__(self, book: Rulebook) -> None:
        self.book, self.engine = book, engine_of(book)
        self._assessed: tuple[Visit, Assessment] | None = None

    def assess(self, visit: Visit) -> Assessment:
        """The visit assessed as it stands; asked twice of the same, it is assessed once."""
        if self._assessed is None or self._assessed[0] is not visit:
            self._assessed = visit, assess(visit, self.book, self.engine)
        return self._assessed[1]

    def stops(self, visit: Visit) -> dict[str, str]:
        """Stops that hold, by rule, each as a sentence."""
        return self._said(visit, "stop")

    def advice(self, visit: Visit) -> dict[str, str]:
        """See-a-clinician notes that hold, by rule, each as a sentence."""
        return self._said(visit, "see-clinician")

    def _said(self, visit: Visit, level: str) -> dict[str, str]:
        notes = self.assess(visit).notes
        return {note.rule: note.say for note in notes if note.level == level}

    def still_open(self, visit: Visit) -> frozenset[str]:
        """Measures that can still change a note, a foot type or a need of either foot.

        Three-valued logic decides it: what is not measured yet is unknown here, not missing for
        good, so that a rule which asks whether a reading was taken stays open as well.
        """
        observed = observe(visit, self.book.measures, self.book.parameters)
        found: frozenset[str] = frozenset()
        for side in SIDES:
            facts = facts_of(visit, side, observed.used[side], self.book)
            known = {
                name: fact
                for name, fact in facts.items()
                if about(name).kind != "known" or fact == "yes"
            }
            lacks = Lacks(self.book, self.engine.conclude(known))
            found |= lacks.for_axis(FOOT_TYPE).open_measures
            for rule in self.book.rules:
                if rule.concludes is None:
                    found |= lacks.for_rule(rule).open_measures
        return found

    def doubt(self, before: Visit, after: Visit) -> str:
        """Why the newest answer is hardly possible; empty when it is plausible.

        Where new angles would be plausible with the other sign, the convention is said as well.
        """
        doubt = self._new_doubt(before, after)
        turned = _signs_turned(before, after)
        if doubt and turned != after and not self._new_doubt(before, turned):
            return f"{doubt}. {SIGN_HINT}"
        return doubt

    def progress(self, visit: Visit) -> Progress:
        """What is known so far, and what to measure next."""
        seen = self.assess(visit)
        axes = self.book.axes
        known = {
            side: tuple(
                axes[axis].values[value]
                for axis, value in foot.conclusions.axes.items()
                if value is not None and (axis == FOOT_TYPE or foot.foot_type is None)
            )
            for side, foot in seen.feet.items()
        }
        measure, sides = self._next(seen)
        return Progress(
            asked=sum(a != "not-asked" for a in visit.answers.values()),
            questions=sum(
                one.arises(visit.answers, again=visit.follow_up is not None)
                for one in self.book.questions.values()
            ),
            notes=seen.notes,
            foot={
                side: words[-1:] if seen.feet[side].foot_type else words
                for side, words in known.items()
            },
            next_measure=measure,
            next_how=self.book.measures[measure].how if measure else "",
            next_sides=sides,
        )

    def _next(self, seen: Assessment) -> tuple[str, tuple[Side, ...]]:
        """The measure that the most undecided axes wait for; that of both feet before one."""
        waits: dict[str, dict[Side, int]] = {}
        for side, foot in seen.feet.items():
            wanted = foot.lacking.get(FOOT_TYPE)
            for measure in wanted.measures if wanted else ():
                count = sum(measure in one.measures for one in foot.lacking.values())
                waits.setdefault(measure, {})[side] = count
        order = list(self.book.measures)
        best = max(waits, key=lambda m: (sum(waits[m].values()), -order.index(m)), default="")
        return best, tuple(side for side in SIDES if side in waits.get(best, {}))

    def _new_doubt(self, before: Visit, after: Visit) -> str:
        old = set(self.doubts(before))
        return next((text for text in self.doubts(after) if text not in old), "")

    def doubts(self, visit: Visit) -> Iterator[str]:
        """Everything in a visit that is hardly possible, however it was written down."""
        # As typed first: that is plainer than a measure derived of it.
        yield from unlikely(visit, self.book.parameters, strides=True)
        observed = observe(visit, self.book.measures, self.book.parameters)
        for side in SIDES:
            for measure in observed.used[side].values():
                title = self.book.measures[measure.name].plain
                for flag in measure.flags:
                    if flag.name == "implausible":
                        yield f"{side}, {title}: {flag.detail}"


def _signs_turned(before: Visit, after: Visit) -> Visit:
    """`after` with the other sign for every angle that `before` does not hold."""
    old, new = before.feet, after.feet
    turned = {
        "left": _foot_turned(old.left, new.left),
        "right": _foot_turned(old.right, new.right),
    }
    return after.model_copy(update={"feet": new.model_copy(update=turned)})


def _foot_turned(before: Foot, after: Foot) -> Foot:
    known = [getattr(entry, phase) for entry in before.rearfoot for phase in ANGLES]
    entries = []
    for entry in after.rearfoot:
        strides = {phase: getattr(entry, phase) or [] for phase in ANGLES}
        new = {phase: [-one for one in s] for phase, s in strides.items() if s and s not in known}
        entries.append(entry.model_copy(update=new))
    return after.model_copy(update={"rearfoot": entries})

"""The rulebook at the counter: stops and doubts while a visit is typed, and what to do next."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from statistics import fmean, stdev

from recommend.dataclass import dataclass
from recommend.errors import counted
from recommend.infer.assess import Assessment, Note, assess
from recommend.infer.derivation import Lacks
from recommend.infer.engine import engine_of
from recommend.infer.facts import facts_of
from recommend.measure.model import SIDES, Side
from recommend.measure.observed import PHASES, observe
from recommend.rulebook.book import Rulebook
from recommend.rulebook.models import AxisThen
from recommend.rulebook.vocabulary import FOOT_TYPE, about
from recommend.visit.models import Foot, Visit
from recommend.visit.tree import days_since

SIGN_HINT = "Inwards (everted) is plus, outwards (inverted) minus: is the sign turned round?"
ANGLES = ("angle", *PHASES)


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


class Counter:
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
                if not isinstance(rule.rule.then, AxisThen):
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
        yield from self.doubted(visit, strides=True)  # as typed; plainer than a derived measure
        observed = observe(visit, self.book.measures, self.book.parameters)
        for side in SIDES:
            for measure in observed.used[side].values():
                title = self.book.measures[measure.name].plain
                for flag in measure.flags:
                    if flag.name == "implausible":
                        yield f"{side}, {title}: {flag.detail}"

    def doubted(self, visit: Visit, *, strides: bool = False) -> Iterator[str]:
        """Weight, sizes, wear and angles that hardly anybody has, and strides that read oddly."""
        yield from self.doubted_sizes(visit)
        for side, foot in zip(SIDES, (visit.feet.left, visit.feet.right), strict=True):
            if strides:
                yield from self._strides(side, foot)
            yield from self._angles(side, foot)

    def _usual(self, name: str) -> float:
        return self.book.parameters.entry[f"{name}"]

    def doubted_sizes(self, visit: Visit) -> Iterator[str]:
        """Weight, lengths, heights and wear that hardly anybody has."""
        feet: dict[Side, Foot] = {"left": visit.feet.left, "right": visit.feet.right}
        yield from self._mass(visit)
        yield from self._wear(visit)
        for side, foot in feet.items():
            length = foot.foot_length_mm
            yield from self._outside(side, "foot length", "foot-length", length, "mm")
            if length:
                truncated, width = foot.truncated_foot_length_mm, foot.forefoot_width_mm
                shares = (
                    ("heel-to-ball length over foot length", "truncated-share", truncated),
                    ("forefoot width over foot length", "width-share", width),
                    ("heel width over foot length", "heel-share", foot.heel_width_mm),
                )
                for words, name, part in shares:
                    yield from self._outside(side, words, name, part and part / length, "")
            yield from self._heights(side, foot)
        lengths = [foot.foot_length_mm for foot in feet.values() if foot.foot_length_mm]
        if len(lengths) == len(SIDES) and abs(lengths[0] - lengths[1]) > self._usual("side-gap"):
            yield f"left {lengths[0]:g} mm and right {lengths[1]:g} mm differ by two sizes or more"

    def _mass(self, visit: Visit) -> Iterator[str]:
        low, high = self._usual("body-mass-low"), self._usual("body-mass-high")
        mass = visit.body_mass_kg
        if mass is None or visit.age_band in ("child", "teen") or low <= mass <= high:
            return
        yield f"the body mass would be {mass:g} kg; {low:g} to {high:g} is usual"

    def _wear(self, visit: Visit) -> Iterator[str]:
        """Longer wear than the time since the visit before."""
        again = visit.follow_up
        if again is None or again.weeks_of_wear is None:
            return
        days = days_since({"date": visit.date, "follow-up": {"of": again.of}})
        if days is not None and 7 * again.weeks_of_wear >= days + 7:
            since = "today" if days == 0 else f"{counted(days, 'day')} ago"
            yield f"{again.weeks_of_wear:g} weeks of wear, and the last visit was {since}"

    def _outside(
        self, side: Side, words: str, name: str, value: float | None, unit: str
    ) -> Iterator[str]:
        low, high = self._usual(f"{name}-low"), self._usual(f"{name}-high")
        if value is not None and not low <= value <= high:
            shown = f"{value:.3g} {unit}".strip()
            yield f"{side}: {words} would be {shown}; {low:g} to {high:g} is usual"

    def _heights(self, side: Side, foot: Foot) -> Iterator[str]:
        pairs = (
            ("instep", foot.dorsum_height_mm),
            ("inner arch bone", foot.navicular_height_mm),
        )
        for words, height in pairs:
            if height is None or height.mean_sitting is None or height.mean_standing is None:
                continue
            if height.mean_standing - height.mean_sitting > self._usual("rise-under-load"):
                yield (
                    f"{side}: the height of the {words} rises from {height.mean_sitting:g} mm "
                    f"sitting to {height.mean_standing:g} mm standing; it usually sinks"
                )

    def _angles(self, side: Side, foot: Foot) -> Iterator[str]:
        """Angles that few feet have, phase by phase; mostly the sign was turned round."""
        for entry in foot.rearfoot:
            shift = self._usual("relaxed-shift") if entry.reference == "relaxed-standing" else 0.0
            for phase in ANGLES:
                strides = getattr(entry, phase)
                if phase == "contact" or not strides:
                    continue
                name, mean = "standing" if phase == "angle" else phase, fmean(strides)
                low, high = self._usual(f"{name}-low") - shift, self._usual(f"{name}-high")
                if not low <= mean <= high:
                    yield (
                        f"{side}: {mean:.3g} degrees at {name}, measured from "
                        f"{entry.reference.replace('-', ' ')}; "
                        f"{low:g} to {high:g} is usual"
                    )

    def _strides(self, side: Side, foot: Foot) -> Iterator[str]:
        for entry in foot.rearfoot:
            for phase in ANGLES:
                strides = getattr(entry, phase) or []
                if len(strides) > 1 and stdev(strides) > self._usual("stride-spread"):
                    yield (
                        f"{side}: the {phase} readings run from {min(strides):g} to "
                        f"{max(strides):g} deg, more than strides of one person usually scatter"
                    )


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

"""From what a visit file says to measures: values, units, errors, flags. Knows nothing of rules.

Sources: FPI-6 total, Redmond and others 2006 (sum of six items); arch height ratio = dorsum
height at half foot length over truncated foot length, Williams and McClay 2000; arch
rigidity index = standing over sitting ratio, a name of the Temple University gait study center.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from statistics import fmean

from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, RecommendError
from recommend.measure.carried import as_captured
from recommend.measure.cop import DriftClass, cpei, drift_class
from recommend.measure.definitions import (
    COMPUTED,
    Derivation,
    MeasureDef,
    MeasureDefs,
    known_as,
    unit_words,
)
from recommend.measure.derived import derivations, error_of, parts_of, reckoned
from recommend.measure.model import SIDES, Flag, Measure, Side
from recommend.measure.spread import standard_error
from recommend.parameters import Parameters
from recommend.visit.models import Foot, Pain, Rearfoot, Visit
from recommend.visit.pain import most_grown, pain_since

# Angles of a moving entry by the name of their field; all turn with the sign.
PHASES = ("touchdown", "contact", "peak", "midstance", "propulsion")
# How rulebooks took the range that knew the peak in contact alone; no capture was kept with it.
_OLD_RANGE = "first contact to peak"
# Measures that a visit carries in fields of their own, or that the age and the complaint give.
OBSERVED = frozenset(COMPUTED) - {
    "fpi-difference", "peak-difference", "contact-difference", "length-difference", "width-ratio",
}  # fmt: skip

# What a mean is called by what stands behind it: only a published one is called so.
_MEANS = {
    "published": "published",
    "derived": "derived",
    "common-practice": "customary",
    "from-memory": "remembered",
    "assumption": "assumed",
}


@dataclass(frozen=True, slots=True)
class Observed:
    """Measures of both feet.

    `used` is what rules read, by side and measure name; `further` are readings shown beside
    them (another gait, another zero reference, too large an error) that rules do not read.
    """

    used: Mapping[Side, Mapping[str, Measure]]
    further: Mapping[Side, tuple[Measure, ...]]


def observe(visit: Visit, defs: MeasureDefs, parameters: Parameters) -> Observed:
    """All measures that follow from a visit; a missing reading gives no measure."""
    table = _Table({side: _Maker(visit, defs, parameters, side) for side in SIDES})
    table.add(_Maker.of_foot)
    table.add_derived(between_feet=False)
    table.add(_Maker.person)
    table.add_derived(between_feet=True)
    used = {
        side: {name: _captured(measure, visit) for name, measure in table.used[side].items()}
        for side in SIDES
    }
    further = {
        side: (*maker.further(), *map(maker.too_unsure, table.unsure[side]))
        for side, maker in table.makers.items()
    }
    return Observed(used, further)


class _Table:
    """Measures of both feet as they come; what is too unsure to be read stands apart."""

    def __init__(self, makers: Mapping[Side, _Maker]) -> None:
        self.makers = makers
        self.used: dict[Side, dict[str, Measure]] = {side: {} for side in SIDES}
        self.unsure: dict[Side, list[Measure]] = {side: [] for side in SIDES}

    def add(self, made: Callable[[_Maker], Iterable[Measure]]) -> None:
        """Add what `made` gives for each foot."""
        for side, maker in self.makers.items():
            for measure in made(maker):
                if maker.limit(measure) is None:
                    self.used[side][measure.name] = measure
                else:
                    self.unsure[side].append(measure)

    def add_derived(self, *, between_feet: bool) -> None:
        """Add the measures that follow, as the rulebook declares; none that was read itself."""
        films = {side: list(maker.filmed()) for side, maker in self.makers.items() if between_feet}
        for name, how in derivations(self.makers["left"].defs).items():
            if between_feet or how.between_feet is None:
                for side, made in list(self._derived(name, how, films)):
                    self.used[side].setdefault(name, made)

    def _derived(
        self, name: str, how: Derivation, films: Mapping[Side, list[Measure]]
    ) -> Iterator[tuple[Side, Measure]]:
        for side, maker in self.makers.items():
            read = [self.used[foot].get(part) for foot, part in parts_of(how, side)]
            parts = read if how.between_feet is None else self._alike(how.between_feet, films)
            known = [part for part in parts if part is not None]
            if len(known) < len(parts) or not known:
                continue
            by_name = {foot: {m.name: m.value} for foot, m in zip(SIDES, known, strict=False)}
            values = {side: {m.name: m.value for m in known}} if not how.between_feet else by_name
            value = float(reckoned(how, side, values))
            yield side, replace(maker.derived(name, how, value, known), follows=known == read)

    def _alike(self, name: str, films: Mapping[Side, list[Measure]]) -> tuple[Measure, ...]:
        """A reading of each foot taken alike: those used, or of the first film in common."""
        taken = ([self.used[side].get(name), *films[side]] for side in SIDES)
        left, right = ([m for m in one if m is not None and m.name == name] for one in taken)
        pairs = ((a, b) for a in left for b in right)
        return next(((a, b) for a, b in pairs if a.qualifiers == b.qualifiers), ())


def _capture_kind(measure: Measure) -> str:
    """Which kind of capture a measure can have been read from; '' where none gives it."""
    if measure.name == "arch-index":
        return "pressure" if measure.qualifiers["kind"].startswith("pressure") else ""
    if measure.name in ("cop-pattern", "cpei"):
        return "pressure"
    _, qualifiers = COMPUTED.get(measure.name, ("", ()))
    film = {"gait", "reference"} & set(qualifiers) and measure.method != _OLD_RANGE
    return "marks" if film else ""


def _captured(measure: Measure, visit: Visit) -> Measure:
    """The measure with the hash of the capture that the visit says it was read from."""
    kind = _capture_kind(measure) if visit.captures else ""
    for capture in visit.captures if kind else ():
        gait = measure.qualifiers.get("gait", capture.gait)
        if (capture.kind, capture.side, capture.gait) == (kind, measure.side, gait):
            return replace(measure, capture=capture.sha256)
    return measure


def reading_error(
    definition: MeasureDef, values: Sequence[float], parameters: Parameters, mean_of: int = 1
) -> float:
    """Standard error of the mean of `values`, in the measure's unit.

    From the scatter of the readings when there are at least ``noise.few-strides`` of them;
    with fewer, the larger of that and the published error of one reading over the square root
    of their number, which is `mean_of` where one value is itself a mean. What repeating cannot
    remove (`floor`) is added in quadrature.
    """
    known = definition.error
    single = known.single if known else 0.0
    return standard_error(
        values,
        single=single / math.sqrt(mean_of) if len(values) == 1 else single,
        few=parameters.noise.few_strides,
        floor=known.floor if known else 0.0,
    )


def _count(values: Sequence[float], mean_of: int) -> int:
    """How many strides stand behind the numbers that are written down."""
    return mean_of if len(values) == 1 else len(values)


@dataclass(frozen=True, slots=True)
class _Maker:
    """What a visit says of one foot, and of the person, as measures of that foot."""

    visit: Visit
    defs: MeasureDefs
    parameters: Parameters
    side: Side

    @property
    def foot(self) -> Foot:
        return self.visit.feet.left if self.side == "left" else self.visit.feet.right

    def of_foot(self) -> Iterator[Measure]:
        yield from self._fpi()
        yield from self._arch()
        yield from self._rearfoot()
        yield from self._cop()
        yield from self._sizes()
        yield from self._typed()

    def derived(
        self, name: str, how: Derivation, value: float, parts: Sequence[Measure]
    ) -> Measure:
        """A measure that follows from `parts`, with what qualifies it as it does the first."""
        error = error_of(how, self._single(name), [part.error or 0.0 for part in parts])
        own, known = self.defs[name].qualifiers, parts[0].qualifiers
        words = {key: known[key] for key in own if key in known}
        return self._measure(name, value, error, 1, _method(how), words)

    def too_unsure(self, measure: Measure) -> Measure:
        """The reading with the flag that says why no rule reads it."""
        text = (
            f"its error of {measure.error:.2g} is above {self.limit(measure):.2g}, so it is called "
            "nothing; repeat it until the error is below"
        )
        return measure.flagged(Flag("too-unsure", text))

    def limit(self, measure: Measure) -> float | None:
        """The largest error with which rules read a measure, where this one is above it."""
        known = self.defs[measure.name].error
        most = known.most if known else None
        return most if most is not None and (measure.error or 0.0) > most else None

    def further(self) -> Iterator[Measure]:
        """Readings that were taken but are not the ones rules read, each with why."""
        if self._rises():
            text = (
                "the instep is higher standing than sitting, and usually it sinks: take both again"
            )
            for measure in self._instep():
                yield measure.flagged(Flag("rises-under-load", text, "removed"))
        chosen = self._chosen()
        for measure in self.filmed():
            used = chosen[measure.name]
            if used.qualifiers != measure.qualifiers:
                yield measure.flagged(Flag("beside", _why_beside(measure, used)))
        standing = self._standing()
        for entry in self.foot.rearfoot:
            if entry.gait == "standing" and entry is not standing and entry.angle:
                yield self._angle("standing-angle", entry, entry.angle)

    def _fpi(self) -> Iterator[Measure]:
        if self.foot.fpi is None:
            return
        scores = self.foot.fpi.items.scores() if self.foot.fpi.items else []
        known = [score for score in scores if score is not None]
        total = self.foot.fpi.total
        method = "total as written"
        if total is None and scores and len(known) == len(scores):
            total, method = sum(known), "sum of six items"
        if total is not None:
            words = {"age": "child" if self.visit.age_band == "child" else "grown"}
            words = words if "age" in self.defs["fpi"].qualifiers else {}
            yield self._once("fpi", float(total), method, words)

    def _arch(self) -> Iterator[Measure]:
        if not self._rises():
            yield from self._instep()
        yield from self._navicular()
        if self.foot.arch_index:
            index = self.foot.arch_index
            words: dict[str, str] = {"kind": index.kind, "load": index.load}
            yield self._once("arch-index", index.value, words=words)

    def _rises(self) -> bool:
        """Whether the instep is written higher standing than sitting, beyond the error of reading.

        No instep rises under load, so neither height can be told from the other.
        """
        dorsum = self.foot.dorsum_height_mm
        if dorsum is None or not dorsum.standing or not dorsum.sitting:
            return False
        rise = fmean(dorsum.standing) - fmean(dorsum.sitting)
        return rise > self.parameters.entry.rise_under_load

    def _instep(self) -> Iterator[Measure]:
        dorsum, length = self.foot.dorsum_height_mm, self.foot.truncated_foot_length_mm
        if dorsum and dorsum.standing and length:
            ratios = [height / length for height in dorsum.standing]
            yield self._repeated("arch-height-ratio", ratios, "dorsum height, standing")
        if dorsum and dorsum.standing and dorsum.sitting:
            name = known_as("arch-rigidity", self.defs)
            pairs = _in_pairs(dorsum.standing, dorsum.sitting)
            ratios = [standing / sitting for standing, sitting in pairs]
            yield self._repeated(name, ratios, "standing over sitting")

    def _navicular(self) -> Iterator[Measure]:
        navicular = self.foot.navicular_height_mm
        if navicular and navicular.sitting and navicular.standing:
            drops = [up - down for up, down in _in_pairs(navicular.sitting, navicular.standing)]
            yield self._repeated("navicular-drop", drops, "sitting less standing")

    def _repeated(self, name: str, values: Sequence[float], method: str) -> Measure:
        """The mean of readings taken by hand; never surer than their usual error allows.

        Hand readings are whole millimetres: alike readings are rounded, not free of noise.
        """
        known, count = self.defs[name].error, len(values)
        single, floor = (known.single, known.floor) if known else (0.0, 0.0)
        error = standard_error(values, single=single, few=count + 1, floor=floor)
        return self._measure(name, fmean(values), error, count, method)

    def _rearfoot(self) -> Iterator[Measure]:
        standing = self._standing()
        if standing and standing.angle:
            yield self._angle("standing-angle", standing, standing.angle)
        chosen = self._chosen()
        yield from map(self._of_purpose, chosen.values())
        yield from self._beside(chosen)

    def _beside(self, chosen: Mapping[str, Measure]) -> Iterator[Measure]:
        """The largest angle of each film that rules do not go by, for the notes that ask it."""
        for name, definition in self.defs.items():
            for entry in self._films if definition.beside else ():
                film = {"gait": entry.gait, "reference": entry.reference}
                top, strides = ("peak", entry.peak) if entry.peak else ("contact", entry.contact)
                used = chosen.get(f"{top}-angle")
                if film == definition.beside and strides and used and used.qualifiers != film:
                    yield self._angle(name, entry, strides)

    def _of_purpose(self, measure: Measure) -> Measure:
        """Flag an angle of another gait than the one the customer comes for."""
        if self._gait != "running" or measure.qualifiers.get("gait") == "running":
            return measure
        text = "the purpose is running, but only walking was filmed; film running too"
        return measure.flagged(Flag("other-gait", text))

    @property
    def _films(self) -> list[Rearfoot]:
        """Films of the foot in order of choice: by gait, then the zero that limits are for."""
        moving = [entry for entry in self.foot.rearfoot if entry.gait != "standing"]
        return sorted(moving, key=lambda e: (e.gait != self._gait, e.reference != "vertical"))

    def filmed(self) -> Iterator[Measure]:
        """The angles of every film in that order."""
        for entry in self._films:
            yield from self._angles(entry)

    @property
    def _gait(self) -> str:
        """The gait of the purpose, whose films come first."""
        return "running" if self.visit.purpose == "running" else "walking"

    def _chosen(self) -> dict[str, Measure]:
        """The moving angles that rules read: each from the first film that has it."""
        chosen: dict[str, Measure] = {}
        for measure in self.filmed():
            chosen.setdefault(measure.name, measure)
        return chosen

    def _standing(self) -> Rearfoot | None:
        standing = [entry for entry in self.foot.rearfoot if entry.gait == "standing"]
        standing.sort(key=lambda e: e.reference != "vertical")
        return standing[0] if standing else None

    def _angles(self, entry: Rearfoot) -> Iterator[Measure]:
        for phase in PHASES:
            strides = getattr(entry, phase)
            if strides and f"{phase}-angle" in self.defs:
                yield self._angle(f"{phase}-angle", entry, strides)
        if entry.peak_time and "peak-time" in self.defs:
            yield self._angle("peak-time", entry, entry.peak_time)
        if entry.range:
            yield self._angle("rearfoot-range", entry, entry.range)
        else:
            yield from self._less("rearfoot-range", entry, entry.touchdown)
            yield from self._range_of_contact(entry)
        yield from self._less("rearfoot-return", entry, entry.propulsion)

    def _range_of_contact(self, entry: Rearfoot) -> Iterator[Measure]:
        """The range as rulebooks took it that knew the peak in contact alone."""
        start, peak = entry.touchdown, entry.contact
        if "peak-angle" in self.defs or not start or not peak or len(start) != len(peak):
            return
        ranges = [top - low for low, top in zip(start, peak, strict=True)]
        error = reading_error(self.defs["rearfoot-range"], ranges, self.parameters)
        words: dict[str, str] = {"gait": entry.gait}
        count = len(ranges)
        yield self._measure("rearfoot-range", fmean(ranges), error, count, _OLD_RANGE, words)

    def _less(self, name: str, entry: Rearfoot, other: list[float] | None) -> Iterator[Measure]:
        """How far the peak lies above another angle of the same strides.

        Stride by stride where both were read in as many; else mean less mean, as two readings.
        """
        peak, means = entry.peak, entry.mean_of or 1
        if not peak or not other or name not in self.defs:
            return
        words: dict[str, str] = {"gait": entry.gait}
        if len(peak) == len(other):
            gaps = [top - low for top, low in zip(peak, other, strict=True)]
            error = reading_error(self.defs[name], gaps, self.parameters, means)
            method = "stride by stride"
        else:
            one, two = (reading_error(self.defs["peak-angle"], s, self.parameters, means)
                        for s in (peak, other))  # fmt: skip
            error, method = math.hypot(one, two), "mean less mean, of different strides"
            gaps = [fmean(peak) - fmean(other)]
        count = min(_count(peak, means), _count(other, means))
        made = self._measure(name, fmean(gaps), error, count, method, words)
        yield replace(made, follows=True)

    def _angle(self, name: str, entry: Rearfoot, strides: list[float]) -> Measure:
        means = entry.mean_of or 1
        error = reading_error(self.defs[name], strides, self.parameters, means)
        both: dict[str, str] = {"gait": entry.gait, "reference": entry.reference}
        words = {key: both[key] for key in self.defs[name].qualifiers}
        method = "mean of readings" if entry.gait == "standing" else "mean of strides"
        count = _count(strides, means)
        return self._measure(name, fmean(strides), error, count, method, words)

    def _cop(self) -> Iterator[Measure]:
        cop = self.foot.cop
        if cop is None:
            return
        length, width = self.foot.foot_length_mm, self.foot.forefoot_width_mm
        pattern, index, method = cop.pattern, cop.excursion_index_percent, "as written"
        flags: tuple[Flag, ...] = ()
        if cop.path_mm and length and width:
            drift, excursion = self._read_path(cop.path_mm, length, width)
            if pattern not in (None, drift):
                text = f"`{pattern}` was written, the path itself reads `{drift}`, which is used"
                flags = (Flag("pattern-differs-from-path", text),)
            pattern, method = drift, "from the path"
            index = excursion
        if pattern:
            made = Measure("cop-pattern", self.side, pattern, "class", None, 1, method, {}, flags)
            yield as_captured(made, self.visit, self.parameters.capture)
        if index is not None:
            yield self._once("cpei", index, method)

    def _read_path(
        self, path: list[list[float]], length: float, width: float
    ) -> tuple[DriftClass, float]:
        """Drift class and excursion index of a path; an error says whose foot it is."""
        try:
            drift = drift_class(path, length, width, self.parameters.capture)
            return drift, cpei(path, length, width, self.parameters.capture)
        except RecommendError as error:
            raise InputError(
                Place(f"visit {self.visit.reference}, {self.side} foot"), str(error)
            ) from error

    def _sizes(self) -> Iterator[Measure]:
        sizes = {
            "foot-length": self.foot.foot_length_mm,
            "forefoot-width": self.foot.forefoot_width_mm,
            "heel-width": self.foot.heel_width_mm,
        }
        for name, value in sizes.items():
            if value:
                yield self._once(name, value)

    def _typed(self) -> Iterator[Measure]:
        """What the rulebook asks to be typed, and nothing else knows of."""
        for name, values in self.foot.measures.items():
            if name in self.defs and self.defs[name].typed:
                error = reading_error(self.defs[name], values, self.parameters)
                count = len(values)
                yield self._measure(name, fmean(values), error, count, "as written")

    def person(self) -> Iterator[Measure]:
        if self.visit.body_mass_kg:
            yield self._once("body-mass", self.visit.body_mass_kg, shared=True)
        if self.visit.age_band == "child" and "growing" in self.defs:
            yield self._asked("growing", 1.0, "by the age band", shared=True)
        if self.visit.pain is None:
            yield from self._again(None)
            return
        # What is said to hurt 0 of 10 does not hurt, however long ago it began.
        here = [p for p in self.visit.pain if p.side in (self.side, "both") and p.score != 0]
        scores = [pain.score for pain in here if pain.score is not None]
        weeks = [pain.weeks for pain in here if pain.weeks is not None]
        # No pain on this side is known to be none; pain without a score stays unknown.
        worst = float(max(scores, default=0)) if scores or not here else None
        yield from self._again(worst)
        if worst is not None:
            # 'None' is told, not read off a scale: it has no reading error.
            told = self._once if here else self._asked
            shared = _of_both_sides([(pain, pain.score) for pain in self.visit.pain])
            yield told("pain-score", worst, "asked", shared=shared)
        if weeks or not here:
            shared = _of_both_sides([(pain, pain.weeks) for pain in self.visit.pain])
            yield self._asked("pain-weeks", float(max(weeks, default=0)), shared=shared)

    def _again(self, worst: float | None) -> Iterator[Measure]:
        """What the customer who came back tells of the time since."""
        again = self.visit.follow_up
        if again is None:
            return
        if again.weeks_of_wear is not None:
            yield self._asked("wear-weeks", again.weeks_of_wear, shared=True)
        comfort = again.comfort_of(self.side)
        if comfort and "wear-comfort" in self.defs:
            least, shared = min(comfort.values()), comfort == again.comfort
            yield self._asked("wear-comfort", least, shared=shared)
        before: int | None = getattr(again.pain_before, self.side)
        if "pain-again" in self.defs:
            yield from self._by_site(before, worst)
        elif before is not None and "pain-before" in self.defs:  # rulebooks before it was by site
            yield self._once("pain-before", float(before), "asked then")
        elif worst is not None and before is not None:  # rulebooks before it was declared
            error = self._single("pain-change")
            yield self._measure("pain-change", worst - before, error, 2, "now less then")

    def _by_site(self, before: int | None, worst: float | None) -> Iterator[Measure]:
        """Then and now at one site, and how many sites are new.

        Of several sites that hurt then, the one that grew most counts. Without a list of sites
        the worst pain of the side then and now is all there is.
        """
        since = pain_since(self.visit)
        now, sites = worst, 1
        if since is not None:
            here = [one for one in since if one.side == self.side]
            sites = sum(bool(one.now) for one in here)
            grown = most_grown(here, self.side)
            unsaid = any(one.change is None for one in here if not one.new)
            if grown is None or unsaid:
                before, now = (None, None) if unsaid else (0, 0.0)
            else:
                before, now = grown.before, float(grown.now or 0)
            yield self._asked("new-pain-sites", float(sum(one.new for one in here)))
        # None is told, not read off a scale.
        if before is not None:
            told = self._once if before else self._asked
            yield told("pain-before", float(before), "asked then")
        if now is not None:
            again = (self._once if now else self._asked)("pain-again", now, "asked")
            one_answer = sites == 1 and now == worst
            yield replace(again, answer="pain-score" if one_answer else "")

    def _once(
        self,
        name: str,
        value: float,
        method: str = "as written",
        words: dict[str, str] | None = None,
        *,
        shared: bool = False,
    ) -> Measure:
        """One reading with its usual error."""
        made = self._measure(name, value, self._single(name), 1, method, words)
        return replace(made, shared=shared)

    def _asked(
        self, name: str, value: float, method: str = "asked", *, shared: bool = False
    ) -> Measure:
        """What was told, and has no error of reading."""
        return replace(self._measure(name, value, 0.0, 1, method), shared=shared)

    def _single(self, name: str) -> float:
        error = self.defs[name].error
        return math.hypot(error.single, error.floor) if error else 0.0

    def _measure(
        self,
        name: str,
        value: float,
        error: float,
        count: int,
        method: str,
        qualifiers: dict[str, str] | None = None,
    ) -> Measure:
        unit = self.defs[name].unit
        made = Measure(name, self.side, value, unit, error, count, method, qualifiers or {})
        return self._doubted(as_captured(made, self.visit, self.parameters.capture))

    def _doubted(self, measure: Measure) -> Measure:
        """Flag a value that is far outside the norm, or beyond what is likely at all."""
        definition = self.defs[measure.name]
        unlikely, value = definition.unlikely, f"{float(measure.value):.{definition.decimals}f}"
        if unlikely and not unlikely.low <= float(measure.value) <= unlikely.high:
            text = (
                f"{value} {measure.unit} is hardly possible (usually "
                f"{unlikely.low:g} to {unlikely.high:g}); measure again"
            )
            return measure.flagged(Flag("implausible", text))
        norm = definition.norm_of(measure.qualifiers)
        bound = self.parameters.noise.implausible
        if norm is None or abs(float(measure.value) - norm.mean) <= bound * norm.sd:
            return measure
        text = (
            f"{value}{unit_words(measure.unit)} is far from what people have "
            f"({_MEANS[norm.kind]} mean {norm.mean:g}, SD {norm.sd:g}); measure again"
        )
        return measure.flagged(Flag("implausible", text))


def _method(how: Derivation) -> str:
    """How a derived measure was made, in words: ``width over length``."""
    if how.between_feet is not None:
        return "both feet"
    joining = {"ratio": " over ", "difference": " less ", "sum": " and "}[how.way]
    return joining.join(part.rpartition("-")[2] for part in how.parts)


def _in_pairs(one: Sequence[float], other: Sequence[float]) -> list[tuple[float, float]]:
    """Readings taken in as many, pair by pair; else the two means as one pair."""
    if len(one) == len(other):
        return list(zip(one, other, strict=True))
    return [(fmean(one), fmean(other))]


def _why_beside(measure: Measure, used: Measure) -> str:
    """Why rules go by `used` and not by `measure`, in words."""
    both = (measure.qualifiers, used.qualifiers)
    mine, theirs = ({key: w.replace("-", " ") for key, w in one.items()} for one in both)
    if mine.get("gait") != theirs.get("gait"):
        return f"{mine['gait']} stands beside {theirs['gait']}, which is the gait to be fitted for"
    return f"from {mine['reference']} stands beside from {theirs['reference']}: one zero at a time"


def _of_both_sides(answers: Sequence[tuple[Pain, float | None]]) -> bool:
    """Whether the largest of some answers was given once, of both sides together."""
    given = [(value, pain.side == "both") for pain, value in answers if value is not None]
    return bool(given) and max(given)[1]

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
# Which kind of capture a measure can have been read from.
_CAPTURE_KIND = {
    **dict.fromkeys(("arch-index", "cop-pattern", "cpei"), "pressure"),
    **dict.fromkeys(
        (
            *(f"{phase}-angle" for phase in PHASES),
            "peak-time",
            "rearfoot-range",
            "rearfoot-return",
            "standing-angle",
        ),
        "marks",
    ),
}


# Measures that a visit carries in fields of their own, or that the age and the complaint give.
OBSERVED = frozenset(
    {
        *_CAPTURE_KIND, "fpi", "arch-height-ratio", "arch-rigidity", "navicular-drop",
        "foot-length", "forefoot-width", "heel-width", "body-mass", "pain-score", "pain-weeks",
        "pain-before", "pain-again", "new-pain-sites", "growing", "wear-comfort", "wear-weeks",
    }
)  # fmt: skip

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
    maker = _Maker(visit, defs, parameters)
    feet: dict[Side, Foot] = {"left": visit.feet.left, "right": visit.feet.right}
    used: dict[Side, dict[str, Measure]] = {side: {} for side in SIDES}
    unsure: dict[Side, list[Measure]] = {side: [] for side in SIDES}
    maker.add(used, unsure, lambda side: maker.of_foot(side, feet[side]))
    maker.add_derived(used, feet, between_feet=False)
    maker.add(used, unsure, maker.person)
    maker.add_derived(used, feet, between_feet=True)
    for side in SIDES:
        used[side] = {name: _captured(m, visit) for name, m in used[side].items()}
    further = {
        side: (
            *maker.further(side, feet[side]),
            *(maker.too_unsure(measure) for measure in unsure[side]),
        )
        for side in SIDES
    }
    return Observed(used, further)


def _captured(measure: Measure, visit: Visit) -> Measure:
    """The measure with the hash of the capture that the visit says it was read from."""
    kind = None if measure.method == _OLD_RANGE else _CAPTURE_KIND.get(measure.name)
    if measure.name == "arch-index" and not measure.qualifiers["kind"].startswith("pressure"):
        return measure
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
    visit: Visit
    defs: MeasureDefs
    parameters: Parameters

    def of_foot(self, side: Side, foot: Foot) -> Iterator[Measure]:
        yield from self._fpi(side, foot)
        yield from self._arch(side, foot)
        yield from self._rearfoot(side, foot)
        yield from self._cop(side, foot)
        yield from self._sizes(side, foot)
        yield from self._typed(side, foot)

    def add(
        self,
        used: dict[Side, dict[str, Measure]],
        unsure: dict[Side, list[Measure]],
        made: Callable[[Side], Iterable[Measure]],
    ) -> None:
        """Add what `made` gives for each foot; what is too unsure to be read goes to `unsure`."""
        for side in SIDES:
            for measure in made(side):
                if self.sure_enough(measure):
                    used[side][measure.name] = measure
                else:
                    unsure[side].append(measure)

    def add_derived(
        self,
        used: dict[Side, dict[str, Measure]],
        feet: Mapping[Side, Foot],
        *,
        between_feet: bool,
    ) -> None:
        """Add the measures that follow, as the rulebook declares; none that was read itself."""
        films = {s: [m for e in _moving(feet[s], self._gait) for m in self._angles(s, e)]
                 for s in SIDES if between_feet}  # fmt: skip
        for name, how in derivations(self.defs).items():
            if between_feet or how.between_feet is None:
                for side, made in list(self._derived(name, how, used, films)):
                    used[side].setdefault(name, made)

    def _derived(
        self,
        name: str,
        how: Derivation,
        used: Mapping[Side, Mapping[str, Measure]],
        films: Mapping[Side, list[Measure]],
    ) -> Iterator[tuple[Side, Measure]]:
        for side in SIDES:
            read = [used[foot].get(part) for foot, part in parts_of(how, side)]
            parts = read if how.between_feet is None else _alike(how.between_feet, used, films)
            known = [part for part in parts if part is not None]
            if len(known) < len(parts) or not known:
                continue
            by_name = {foot: {m.name: m.value} for foot, m in zip(SIDES, known, strict=False)}
            values = {side: {m.name: m.value for m in known}} if not how.between_feet else by_name
            errors = [part.error or 0.0 for part in known]
            error = error_of(how, self._single(name), errors)
            words = {q: known[0].qualifiers[q] for q in self.defs[name].qualifiers
                     if q in known[0].qualifiers}  # fmt: skip
            value = float(reckoned(how, side, values))
            made = self._measure(name, side, value, error, 1, _method(how), words)
            yield side, replace(made, follows=known == read)

    def sure_enough(self, measure: Measure) -> bool:
        """Whether the error of a reading is small enough for rules to read it."""
        return self._most(measure) is None

    def too_unsure(self, measure: Measure) -> Measure:
        """The reading with the flag that says why no rule reads it."""
        text = (
            f"its error of {measure.error:.2g} is above {self._most(measure):.2g}, so it is called "
            "nothing; repeat it until the error is below"
        )
        return measure.flagged(Flag("too-unsure", text))

    def _most(self, measure: Measure) -> float | None:
        """The largest error with which rules read a measure, where this one is above it."""
        known = self.defs[measure.name].error
        most = known.most if known else None
        return most if most is not None and (measure.error or 0.0) > most else None

    def further(self, side: Side, foot: Foot) -> Iterator[Measure]:
        """Readings that were taken but are not the ones rules read, each with why."""
        if self._rises(foot):
            text = (
                "the instep is higher standing than sitting, and usually it sinks: take both again"
            )
            for measure in self._instep(side, foot):
                yield measure.flagged(Flag("rises-under-load", text, "removed"))
        chosen = self._chosen(side, foot)
        for entry in _moving(foot, self._gait):
            for measure in self._angles(side, entry):
                used = chosen[measure.name]
                if used.qualifiers != measure.qualifiers:
                    yield measure.flagged(Flag("beside", _why_beside(measure, used)))
        standing = self._standing(foot)
        for entry in foot.rearfoot:
            if entry.gait == "standing" and entry is not standing and entry.angle:
                yield self._angle("standing-angle", side, entry, entry.angle)

    def _fpi(self, side: Side, foot: Foot) -> Iterator[Measure]:
        if foot.fpi is None:
            return
        scores = foot.fpi.items.scores() if foot.fpi.items else []
        known = [score for score in scores if score is not None]
        total = foot.fpi.total
        method = "total as written"
        if total is None and scores and len(known) == len(scores):
            total, method = sum(known), "sum of six items"
        if total is not None:
            words = {"age": "child" if self.visit.age_band == "child" else "grown"}
            words = words if "age" in self.defs["fpi"].qualifiers else {}
            error = self._single("fpi")
            yield self._measure("fpi", side, float(total), error, 1, method, words)

    def _arch(self, side: Side, foot: Foot) -> Iterator[Measure]:
        if not self._rises(foot):
            yield from self._instep(side, foot)
        yield from self._navicular(side, foot)
        if foot.arch_index:
            index = foot.arch_index
            words: dict[str, str] = {"kind": index.kind, "load": index.load}
            error = self._single("arch-index")
            yield self._measure("arch-index", side, index.value, error, 1, "as written", words)

    def _rises(self, foot: Foot) -> bool:
        """Whether the instep is written higher standing than sitting, beyond the error of reading.

        No instep rises under load, so neither height can be told from the other.
        """
        dorsum = foot.dorsum_height_mm
        if dorsum is None or not dorsum.standing or not dorsum.sitting:
            return False
        rise = fmean(dorsum.standing) - fmean(dorsum.sitting)
        return rise > self.parameters.entry.rise_under_load

    def _instep(self, side: Side, foot: Foot) -> Iterator[Measure]:
        dorsum, length = foot.dorsum_height_mm, foot.truncated_foot_length_mm
        if dorsum and dorsum.standing and length:
            ratios = [height / length for height in dorsum.standing]
            yield self._repeated("arch-height-ratio", side, ratios, "dorsum height, standing")
        if dorsum and dorsum.standing and dorsum.sitting:
            name = known_as("arch-rigidity", self.defs)
            pairs = _in_pairs(dorsum.standing, dorsum.sitting)
            ratios = [standing / sitting for standing, sitting in pairs]
            yield self._repeated(name, side, ratios, "standing over sitting")

    def _navicular(self, side: Side, foot: Foot) -> Iterator[Measure]:
        navicular = foot.navicular_height_mm
        if navicular and navicular.sitting and navicular.standing:
            drops = [up - down for up, down in _in_pairs(navicular.sitting, navicular.standing)]
            yield self._repeated("navicular-drop", side, drops, "sitting less standing")

    def _repeated(self, name: str, side: Side, values: Sequence[float], method: str) -> Measure:
        """The mean of readings taken by hand; never surer than their usual error allows.

        Hand readings are whole millimetres: alike readings are rounded, not free of noise.
        """
        known, count = self.defs[name].error, len(values)
        single, floor = (known.single, known.floor) if known else (0.0, 0.0)
        error = standard_error(values, single=single, few=count + 1, floor=floor)
        return self._measure(name, side, fmean(values), error, count, method)

    def _rearfoot(self, side: Side, foot: Foot) -> Iterator[Measure]:
        standing = self._standing(foot)
        if standing and standing.angle:
            yield self._angle("standing-angle", side, standing, standing.angle)
        chosen = self._chosen(side, foot)
        yield from map(self._of_purpose, chosen.values())
        yield from self._beside(side, foot, chosen)

    def _beside(self, side: Side, foot: Foot, chosen: Mapping[str, Measure]) -> Iterator[Measure]:
        """The largest angle of each film that rules do not go by, for the notes that ask it."""
        for name, definition in self.defs.items():
            for entry in _moving(foot, self._gait) if definition.beside else ():
                film = {"gait": entry.gait, "reference": entry.reference}
                top, strides = ("peak", entry.peak) if entry.peak else ("contact", entry.contact)
                used = chosen.get(f"{top}-angle")
                if film == definition.beside and strides and used and used.qualifiers != film:
                    yield self._angle(name, side, entry, strides)

    def _of_purpose(self, measure: Measure) -> Measure:
        """Flag an angle of another gait than the one the customer comes for."""
        if self._gait != "running" or measure.qualifiers.get("gait") == "running":
            return measure
        text = "the purpose is running, but only walking was filmed; film running too"
        return measure.flagged(Flag("other-gait", text))

    @property
    def _gait(self) -> str:
        """The gait of the purpose, whose films come first."""
        return "running" if self.visit.purpose == "running" else "walking"

    def _chosen(self, side: Side, foot: Foot) -> dict[str, Measure]:
        """The moving angles that rules read: each from the first film that has it."""
        chosen: dict[str, Measure] = {}
        for entry in _moving(foot, self._gait):
            for measure in self._angles(side, entry):
                chosen.setdefault(measure.name, measure)
        return chosen

    def _standing(self, foot: Foot) -> Rearfoot | None:
        standing = [entry for entry in foot.rearfoot if entry.gait == "standing"]
        standing.sort(key=lambda e: e.reference != "vertical")
        return standing[0] if standing else None

    def _angles(self, side: Side, entry: Rearfoot) -> Iterator[Measure]:
        for phase in PHASES:
            strides = getattr(entry, phase)
            if strides and f"{phase}-angle" in self.defs:
                yield self._angle(f"{phase}-angle", side, entry, strides)
        if entry.peak_time and "peak-time" in self.defs:
            yield self._angle("peak-time", side, entry, entry.peak_time)
        if entry.range:
            yield self._angle("rearfoot-range", side, entry, entry.range)
        else:
            yield from self._less("rearfoot-range", side, entry, entry.touchdown)
            yield from self._range_of_contact(side, entry)
        yield from self._less("rearfoot-return", side, entry, entry.propulsion)

    def _range_of_contact(self, side: Side, entry: Rearfoot) -> Iterator[Measure]:
        """The range as rulebooks took it that knew the peak in contact alone."""
        start, peak = entry.touchdown, entry.contact
        if "peak-angle" in self.defs or not start or not peak or len(start) != len(peak):
            return
        ranges = [top - low for low, top in zip(start, peak, strict=True)]
        error = reading_error(self.defs["rearfoot-range"], ranges, self.parameters)
        words: dict[str, str] = {"gait": entry.gait}
        count = len(ranges)
        yield self._measure("rearfoot-range", side, fmean(ranges), error, count, _OLD_RANGE, words)

    def _less(
        self, name: str, side: Side, entry: Rearfoot, other: list[float] | None
    ) -> Iterator[Measure]:
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
        made = self._measure(name, side, fmean(gaps), error, count, method, words)
        yield replace(made, follows=True)

    def _angle(self, name: str, side: Side, entry: Rearfoot, strides: list[float]) -> Measure:
        means = entry.mean_of or 1
        error = reading_error(self.defs[name], strides, self.parameters, means)
        both: dict[str, str] = {"gait": entry.gait, "reference": entry.reference}
        words = {key: both[key] for key in self.defs[name].qualifiers}
        method = "mean of readings" if entry.gait == "standing" else "mean of strides"
        count = _count(strides, means)
        return self._measure(name, side, fmean(strides), error, count, method, words)

    def _cop(self, side: Side, foot: Foot) -> Iterator[Measure]:
        cop = foot.cop
        if cop is None:
            return
        length, width = foot.foot_length_mm, foot.forefoot_width_mm
        pattern, index, method = cop.pattern, cop.excursion_index_percent, "as written"
        flags: tuple[Flag, ...] = ()
        if cop.path_mm and length and width:
            drift, excursion = self._read_path(side, cop.path_mm, length, width)
            if pattern not in (None, drift):
                text = f"`{pattern}` was written, the path itself reads `{drift}`, which is used"
                flags = (Flag("pattern-differs-from-path", text),)
            pattern, method = drift, "from the path"
            index = excursion
        if pattern:
            made = Measure("cop-pattern", side, pattern, "class", None, 1, method, {}, flags)
            yield as_captured(made, self.visit, self.parameters.capture)
        if index is not None:
            yield self._measure("cpei", side, index, self._single("cpei"), 1, method)

    def _read_path(
        self, side: Side, path: list[list[float]], length: float, width: float
    ) -> tuple[DriftClass, float]:
        """Drift class and excursion index of a path; an error says whose foot it is."""
        try:
            drift = drift_class(path, length, width, self.parameters.capture)
            return drift, cpei(path, length, width, self.parameters.capture)
        except RecommendError as error:
            raise InputError(
                Place(f"visit {self.visit.reference}, {side} foot"), str(error)
            ) from error

    def _sizes(self, side: Side, foot: Foot) -> Iterator[Measure]:
        length, width = foot.foot_length_mm, foot.forefoot_width_mm
        sizes = (
            ("foot-length", length),
            ("forefoot-width", width),
            ("heel-width", foot.heel_width_mm),
        )
        for name, value in sizes:
            if value:
                yield self._measure(name, side, value, self._single(name), 1, "as written")

    def _typed(self, side: Side, foot: Foot) -> Iterator[Measure]:
        """What the rulebook asks to be typed, and nothing else knows of."""
        for name, values in foot.measures.items():
            if name in self.defs and self.defs[name].typed:
                error = reading_error(self.defs[name], values, self.parameters)
                count = len(values)
                yield self._measure(name, side, fmean(values), error, count, "as written")

    def person(self, side: Side) -> Iterator[Measure]:
        if self.visit.body_mass_kg:
            mass = self.visit.body_mass_kg
            error = self._single("body-mass")
            weight = self._measure("body-mass", side, mass, error, 1, "as written")
            yield replace(weight, shared=True)
        if self.visit.age_band == "child" and "growing" in self.defs:
            growing = self._measure("growing", side, 1.0, 0.0, 1, "by the age band")
            yield replace(growing, shared=True)
        if self.visit.pain is None:
            yield from self._again(side, None)
            return
        # What is said to hurt 0 of 10 does not hurt, however long ago it began.
        here = [p for p in self.visit.pain if p.side in (side, "both") and p.score != 0]
        scores = [pain.score for pain in here if pain.score is not None]
        weeks = [pain.weeks for pain in here if pain.weeks is not None]
        # No pain on this side is known to be none; pain without a score stays unknown.
        worst = float(max(scores, default=0)) if scores or not here else None
        yield from self._again(side, worst)
        if worst is not None:
            # 'None' is told, not read off a scale: it has no reading error.
            error = self._single("pain-score") if here else 0.0
            score = self._measure("pain-score", side, worst, error, 1, "asked")
            shared = _of_both_sides([(pain, pain.score) for pain in self.visit.pain])
            yield replace(score, shared=shared)
        if weeks or not here:
            longest = float(max(weeks, default=0))
            shared = _of_both_sides([(pain, pain.weeks) for pain in self.visit.pain])
            yield replace(
                self._measure("pain-weeks", side, longest, 0.0, 1, "asked"), shared=shared
            )

    def _again(self, side: Side, worst: float | None) -> Iterator[Measure]:
        """What the customer who came back tells of the time since."""
        again = self.visit.follow_up
        if again is None:
            return
        if again.weeks_of_wear is not None:
            weeks = again.weeks_of_wear
            wear = self._measure("wear-weeks", side, weeks, 0.0, 1, "asked")
            yield replace(wear, shared=True)
        comfort = again.comfort_of(side)
        if comfort and "wear-comfort" in self.defs:
            worst_region = self._measure(
                "wear-comfort", side, min(comfort.values()), 0.0, 1, "asked"
            )
            yield replace(worst_region, shared=comfort == again.comfort)
        before: int | None = getattr(again.pain_before, side)
        if "pain-again" in self.defs:
            yield from self._by_site(side, before, worst)
        elif before is not None and "pain-before" in self.defs:  # rulebooks before it was by site
            error = self._single("pain-before")
            yield self._measure("pain-before", side, float(before), error, 1, "asked then")
        elif worst is not None and before is not None:  # rulebooks before it was declared
            error = self._single("pain-change")
            yield self._measure("pain-change", side, worst - before, error, 2, "now less then")

    def _by_site(self, side: Side, before: int | None, worst: float | None) -> Iterator[Measure]:
        """Then and now at one site, and how many sites are new.

        Of several sites that hurt then, the one that grew most counts. Without a list of sites
        the worst pain of the side then and now is all there is.
        """
        since = pain_since(self.visit)
        now, sites = worst, 1
        if since is not None:
            here = [one for one in since if one.side == side]
            sites = sum(bool(one.now) for one in here)
            grown = most_grown(here, side)
            unsaid = any(one.change is None for one in here if not one.new)
            if grown is None or unsaid:
                before, now = (None, None) if unsaid else (0, 0.0)
            else:
                before, now = grown.before, float(grown.now or 0)
            new = float(sum(one.new for one in here))
            yield self._measure("new-pain-sites", side, new, 0.0, 1, "asked")
        if before is not None:
            error = self._single("pain-before") if before else 0.0
            yield self._measure("pain-before", side, float(before), error, 1, "asked then")
        if now is not None:
            error = self._single("pain-again") if now else 0.0
            again = self._measure("pain-again", side, now, error, 1, "asked")
            one_answer = sites == 1 and now == worst
            yield replace(again, answer="pain-score" if one_answer else "")

    def _single(self, name: str) -> float:
        error = self.defs[name].error
        return math.hypot(error.single, error.floor) if error else 0.0

    def _measure(
        self,
        name: str,
        side: Side,
        value: float,
        error: float,
        count: int,
        method: str,
        qualifiers: dict[str, str] | None = None,
    ) -> Measure:
        unit = self.defs[name].unit
        made = Measure(name, side, value, unit, error, count, method, qualifiers or {})
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


def _alike(
    name: str,
    used: Mapping[Side, Mapping[str, Measure]],
    films: Mapping[Side, list[Measure]],
) -> tuple[Measure, ...]:
    """A reading of each foot taken alike: the used ones, else those of the first film in common."""
    left, right = (
        [m for m in (*filter(None, [used[side].get(name)]), *films[side]) if m.name == name]
        for side in SIDES
    )
    pairs = ((a, b) for a in left for b in right)
    return next(((a, b) for a, b in pairs if a.qualifiers == b.qualifiers), ())


def _in_pairs(one: Sequence[float], other: Sequence[float]) -> list[tuple[float, float]]:
    """Readings taken in as many, pair by pair; else the two means as one pair."""
    if len(one) == len(other):
        return list(zip(one, other, strict=True))
    return [(fmean(one), fmean(other))]


def _moving(foot: Foot, gait: str) -> list[Rearfoot]:
    """Films of a foot in the order of choice: `gait` first, then the zero that limits are for."""
    moving = [entry for entry in foot.rearfoot if entry.gait != "standing"]
    return sorted(moving, key=lambda e: (e.gait != gait, e.reference != "vertical"))


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

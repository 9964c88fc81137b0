"""Entering a step of a trial: what the fitter types, added to the visit file."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_args

from ruamel.yaml.comments import CommentedMap

from recommend.atomic import held, write_atomically
from recommend.errors import InputError, Place, nearest
from recommend.measure.measured import Measured
from recommend.measure.model import SIDES, Side
from recommend.reading import read_document, validate
from recommend.trial.steps import READINGS, STANDING, TYPED, field_of, steps_of
from recommend.visit.answers import Readings, RefusedError
from recommend.visit.models import Region, TrialFeet, Visit
from recommend.visit.writing import child, edited, flow, not_written

_LOAD = "lateral-load"
_FILMED = tuple(name for name in TYPED if name != "range")  # it follows from the others
_ANGLES = tuple(one.measure for one in READINGS.values() if one.angle)
_TYPED = Place("the command line")


@dataclass
class StepEntry:
    """What is added to one step.

    Attributes
    ----------
    shoe, insole : what was worn.
    readings : degrees by side, gait, zero reference and phase.
    load : lateral share of load in percent, by side.
    comfort, again : 0 to 10 by side and region, and a second rating of the same.
    curves : mean angle at 0 to 100 % of stance, by side, gait and zero reference.
    """

    shoe: str | None = None
    insole: str | None = None
    readings: dict[tuple[Side, str, str], dict[str, list[float]]] = field(default_factory=dict)
    load: dict[Side, list[float]] = field(default_factory=dict)
    comfort: dict[tuple[Side, str], float] = field(default_factory=dict)
    curves: dict[tuple[Side, str, str], list[float]] = field(default_factory=dict)
    again: dict[tuple[Side, str], float] = field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """Whether nothing was read."""
        return not (self.readings or self.load or self.comfort or self.again)


@dataclass(frozen=True, slots=True)
class Zero:
    """Gait and zero reference that typed angles are meant in; None where not said."""

    gait: str | None
    reference: str | None


def read_angle(entry: StepEntry, text: str, visit: Visit, zero: Zero) -> None:
    """Add one typed reading, such as ``left.contact=2.7,1.9,2.4``.

    Raises
    ------
    InputError
        If the side, phase or a number is not understood, or gait and zero reference are
        neither said nor clear from the bare foot.
    """
    name, _, numbers = text.partition("=")
    side, phase = _side_and(name, text, (*TYPED, STANDING, _LOAD))
    strides = _numbers(numbers, text)
    for one in side:
        if phase == _LOAD:
            entry.load.setdefault(one, []).extend(strides)
            continue
        gait, reference = _meant(one, phase, visit, zero, text)
        phases = entry.readings.setdefault((one, gait, reference), {})
        phases.setdefault("angle" if phase == STANDING else phase, []).extend(strides)


def read_capture(entry: StepEntry, one: Measured) -> None:
    """Add what a capture was measured to be.

    From marks the angles of each stride, as far as no doubt removed them, and the mean curve;
    from pressure the lateral share of load in midstance, where the foot bears most, step by
    step.

    Raises
    ------
    InputError
        If the capture says that something else was worn.
    """
    worn = {part for part in (entry.shoe, entry.insole) if part} or {"barefoot"}
    if not set(one.condition.split("+")) <= worn:
        raise InputError(
            Place(one.file),
            f"the capture was taken in `{one.condition}`, the step is `{'+'.join(sorted(worn))}`",
            mend="name what was worn in the head of the capture (`# condition: ...`) or the step",
        )
    if one.kind == "pressure":
        ratios = one.strides.get("medial-lateral-midstance", ())
        shares = [round(100 / (1 + ratio), 1) for ratio in ratios]
        if shares:
            entry.load.setdefault(one.side, []).extend(shares)
        return
    angle = next((m for m in map(one.find, _ANGLES) if m is not None), None)
    for phase in (STANDING, *_FILMED):
        name = READINGS[phase].measure
        strides = one.strides.get(name, ())
        if angle is None or one.find(name) is None or not strides:
            continue
        where = (one.side, one.gait, angle.qualifiers["reference"])
        name = "angle" if phase == STANDING else phase
        known = entry.readings.setdefault(where, {}).setdefault(name, [])
        known.extend(round(angle, 1) for angle in strides)
        if "rearfoot-angle" in one.curves:
            entry.curves[where] = one.curves["rearfoot-angle"].mean.round(1).tolist()


def read_comfort(ratings: dict[tuple[Side, str], float], text: str) -> None:
    """Add one typed rating, such as ``left.heel=8`` or ``both.arch=6``.

    Raises
    ------
    InputError
        If the side, region or number is not understood.
    """
    name, _, number = text.partition("=")
    sides, region = _side_and(name, text, get_args(Region))
    values = _numbers(number, text)
    if len(values) != 1:
        raise InputError(_TYPED, f"`{text}` holds {len(values)} ratings", "one from 0 to 10")
    ratings.update({(side, region): values[0] for side in sides})


def read_step_file(entry: StepEntry, path: Path) -> None:
    """Add the ``feet`` of a file that is written like a step of a visit.

    Raises
    ------
    InputError
        If the file does not fit.
    """
    feet = validate(TrialFeet, read_document(path), ("feet",))
    for side in SIDES:
        foot = feet.of(side)
        for one in foot.rearfoot:
            phases = entry.readings.setdefault((side, one.gait, one.reference), {})
            for name in (STANDING, *TYPED):
                if strides := getattr(one, field_of(name), None):
                    phases.setdefault("angle" if name == STANDING else name, []).extend(strides)
            if one.curve:
                entry.curves[side, one.gait, one.reference] = one.curve
        if foot.lateral_load_percent:
            entry.load.setdefault(side, []).extend(foot.lateral_load_percent)
        entry.comfort.update({(side, region): value for region, value in foot.comfort.items()})
        entry.again.update({(side, r): value for r, value in foot.comfort_again.items()})


def add_step(path: Path, entry: StepEntry, *, anew: bool = False) -> Visit:
    """Write a step into a visit file.

    A step that is there already gets the further strides, and the new ratings in place of the
    old; with `anew` it is written from scratch.

    Raises
    ------
    InputError
        If the visit would no longer be valid, or the step was read from another zero than the
        bare foot; nothing is written then.
    """

    def edit(trials: Any) -> None:
        head = {"shoe": entry.shoe, "insole": entry.insole}
        head = {part: product for part, product in head.items() if product}
        _fill(_step_with(trials, head, anew=anew), entry)

    with held(path):
        document = edited(read_document(path), "trials", edit, [])
        visit = validate(Visit, document)
        try:
            steps_of(visit, document)  # refuses another zero before anything is written
        except InputError as error:
            raise not_written(error) from None
        write_atomically(path, document.text)
    return visit


def write_step(path: Path, step: Mapping[str, Any] | None) -> None:
    """Make the step of a visit file that has the same shoe and insole be `step`.

    What did not change stays as it is written, comments included.

    Raises
    ------
    InputError
        If the visit would no longer be valid; nothing is written then.
    """
    if step is None:
        return
    head = {key: step[key] for key in ("shoe", "insole") if key in step}
    kept = head | {"feet": {}} | dict(step)

    def edit(trials: Any) -> None:
        _become(_step_with(trials, head), kept)

    with held(path):  # another terminal may add to the same visit
        document = read_document(path)
        if kept not in (document.data.get("trials") or []):
            write_atomically(path, edited(document, "trials", edit, []).text)


def _step_with(trials: Any, head: Mapping[str, Any], *, anew: bool = False) -> Any:
    """The step of a file with this shoe and insole, added where it is not there, or `anew`."""
    worn = (head.get("shoe"), head.get("insole"))
    found = [s for s in trials if (s.get("shoe"), s.get("insole")) == worn]
    if found and anew:
        trials.remove(found.pop())
    if not found:
        trials.append(CommentedMap(head))
    return found[0] if found else trials[-1]


def _become(written: Any, wanted: Mapping[str, Any]) -> None:
    """Make a mapping that keeps its comments hold just what is wanted."""
    for key in [key for key in written if key not in wanted]:
        del written[key]
    for key, value in wanted.items():
        if isinstance(value, Mapping):
            _become(child(written, key), value)
        elif isinstance(value, list) and value and isinstance(value[0], Mapping):
            rows = written.setdefault(key, [])
            del rows[len(value) :]
            rows.extend(CommentedMap() for _ in value[len(rows) :])
            for row, one in zip(rows, value, strict=True):
                _become(row, one)
        elif written.get(key) != value:
            written[key] = flow(value) if isinstance(value, list) else value


def _fill(step: Any, entry: StepEntry) -> None:
    feet = child(step, "feet")
    for (side, gait, reference), phases in entry.readings.items():
        rows = child(feet, side).setdefault("rearfoot", [])
        same = [r for r in rows if (r["gait"], r["reference"]) == (gait, reference)]
        if not same:
            same = [CommentedMap({"gait": gait, "reference": reference})]
            rows.append(same[0])
        for phase, strides in phases.items():
            same[0][phase] = flow([*_listed(same[0].get(phase)), *strides])
        if (side, gait, reference) in entry.curves:
            same[0]["curve"] = flow(entry.curves[side, gait, reference])
    for side, shares in entry.load.items():
        foot = child(feet, side)
        foot["lateral-load-percent"] = flow([*_listed(foot.get("lateral-load-percent")), *shares])
    for name, ratings in (("comfort", entry.comfort), ("comfort-again", entry.again)):
        for (side, region), rating in ratings.items():
            child(child(feet, side), name)[region] = rating


def _listed(value: Any) -> list[float]:
    """What stands there already; one number may stand without brackets."""
    if value is None:
        return []
    return list(value) if isinstance(value, list) else [value]


def _side_and(name: str, text: str, known: Sequence[str]) -> tuple[tuple[Side, ...], str]:
    side, _, rest = name.strip().partition(".")
    allowed = f"left, right or both, a dot, one of {', '.join(known)}, = and numbers"
    if side not in (*SIDES, "both"):
        raise InputError(_TYPED, f"`{text}` does not begin with a foot", allowed)
    if rest not in known:
        raise InputError(
            _TYPED, f"`{rest}` in `{text}` is not known", allowed, nearest(rest, known)
        )
    return (SIDES if side == "both" else tuple(s for s in SIDES if s == side)), rest


def _numbers(text: str, whole: str) -> list[float | int]:
    """Numbers as they are typed everywhere; a list that reads in two ways is not guessed at."""
    try:
        return Readings("deg").parse(text)
    except RefusedError as error:
        raise InputError(_TYPED, f"in `{whole}`: {error}") from None


def _meant(side: Side, phase: str, visit: Visit, zero: Zero, text: str) -> tuple[str, str]:
    """Gait and zero reference of a typed angle: as said, else as the bare foot was read."""
    foot = visit.feet.of(side)
    gaits = [entry.gait for entry in foot.rearfoot if entry.gait != "standing"]
    usual = "running" if visit.purpose == "running" else "walking"
    gait = "standing" if phase == STANDING else zero.gait or _only({usual} & set(gaits) or gaits)
    bare = {entry.reference for entry in foot.rearfoot if entry.gait == gait}
    reference = zero.reference or _only(bare)
    if gait is None or reference is None:
        missing = "--gait and --reference" if gait is None else "--reference"
        raise InputError(
            _TYPED,
            f"`{text}` does not say what it was read in, and the bare {side} foot does not tell",
            "a gait (walking, running) and a zero (vertical, relaxed-standing, subtalar-neutral)",
            f"add {missing}",
        )
    return gait, reference


def _only(values: Iterable[str]) -> str | None:
    """The one value of several that agree; None when there is none or they differ."""
    different = set(values)
    return different.pop() if len(different) == 1 else None

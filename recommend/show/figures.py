"""Measures, errors and sizes in words, the same everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from recommend.errors import counted
from recommend.infer.derivation import Lacking
from recommend.measure.model import SIDES, Measure
from recommend.measure.sizing import size_label
from recommend.rulebook.book import Rulebook
from recommend.settings import setting
from recommend.visit.models import Visit

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


def again_words(repeat: Repeat, book: Rulebook) -> str:
    """Which reading to take again to be surer, as an instruction."""
    foot = f", {repeat.side} foot" if repeat.side else ""
    return f"To be surer, take again: {book.measures[repeat.measure].plain}{foot}."

"""Verdicts of a trial in words that promise nothing; the same on the screen and on the page."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from recommend.measure.definitions import number, unit_words
from recommend.rulebook.book import Rulebook
from recommend.trial.change import Interval, StepChange, Told
from recommend.trial.judged_steps import StepResult
from recommend.trial.plan import Worth
from recommend.trial.steps import READINGS, ReadingKey
from recommend.trial.tried import Bar
from recommend.trial.verdict import Band, JudgedReading, Verdict

# A sign beside each verdict, so that it can be found without reading; never instead of words.
SIGNS = {
    Verdict.OVER_CORRECTED: "!",
    Verdict.AWAY: "<",
    Verdict.UNCLEAR: "?",
    Verdict.NEAR_LOWER: "~",
    Verdict.TOWARDS: ">",
    Verdict.WITHIN: "=",
    Verdict.NO_BAND: " ",
}
# One word for one reading on every screen, on the page and at the command line.
READING_WORDS = {name: name for name in READINGS} | {"peak-time": "time of peak"}
# The same in a sentence, where a word alone reads badly.
_AT_LENGTH = READING_WORDS | {
    "peak-time": "time of the peak",
    "range": "how far it rolls in",
    "return": "how far it comes back",
}
_BOTH = "both feet"


def signed(value: float, places: int = 1) -> str:
    """A change with its sign; no sign at zero."""
    text = number(value, places)
    return f"+{text}" if float(text) > 0 else text


def interval_words(interval: Interval, places: int = 1) -> str:
    """A change with its interval: ``-1.4 (-2.3 to -0.5)``."""
    low, high = signed(interval.low, places), signed(interval.high, places)
    return f"{signed(interval.value, places)} ({low} to {high})"


def band_words(band: Band | None) -> str:
    """The band: ``1.1 to 4.0``; an open end is said."""
    if band is None:
        return "none"
    if math.isinf(band.low):
        return f"to {band.high:.1f}"
    return f"from {band.low:.1f}" if math.isinf(band.high) else f"{band.low:.1f} to {band.high:.1f}"


def key_words(key: ReadingKey) -> str:
    """A reading: ``left peak``."""
    return f"{key.side} {READING_WORDS[key.reading]}"


def keys_words(keys: Iterable[ReadingKey]) -> str:
    """Readings by foot, those of both feet once: ``both feet peak and return, left midstance``."""
    names = _by_foot(keys, READING_WORDS)
    return ", ".join(f"{foot} {' and '.join(read)}" for foot, read in names.items())


def missing_words(keys: Iterable[ReadingKey]) -> str:
    """Readings that were not taken: ``time of the peak, propulsion, and how far it comes back``."""
    names = {foot: _listed(read) for foot, read in _by_foot(keys, _AT_LENGTH).items()}
    if list(names) == [_BOTH]:
        return names[_BOTH]
    return "; ".join(f"{foot}: {read}" for foot, read in names.items())


def _listed(names: list[str]) -> str:
    if len(names) < 3:
        return " and ".join(names)
    return f"{', '.join(names[:-1])}, and {names[-1]}"


def _by_foot(keys: Iterable[ReadingKey], words: Mapping[str, str]) -> dict[str, list[str]]:
    """Readings in words by foot; those of both feet once."""
    sides: dict[str, set[str]] = {}
    for key in keys:
        sides.setdefault(words[key.reading], set()).add(key.side)
    names: dict[str, list[str]] = {}
    for name, found in sides.items():
        names.setdefault(_BOTH if len(found) > 1 else found.pop(), []).append(name)
    return names


def unit_of(key: ReadingKey | Worth) -> str:
    """What follows a number of this reading."""
    return unit_words("percent" if key.reading == "peak-time" else "deg")


DOUBTFUL = (
    "doubtful, larger than footwear is known to bring about: check the sign and the marks, and "
    "film again"
)


def verdict_words(judged: JudgedReading, unit: str = "°") -> str:
    """The verdict of one reading as a clause; what is doubtful about it comes first."""
    words = _verdict_words(judged, unit)
    return f"{DOUBTFUL}; as it stands, {words}" if judged.doubtful else words


def _verdict_words(judged: JudgedReading, unit: str) -> str:
    moved, band = judged.change, judged.band
    if judged.verdict is Verdict.NO_BAND or band is None:
        told = "less" if moved.value < 0 else "more"
        change = f"{told}, a real change" if moved.told else strides_words(moved)
        return f"{change}; no usual band is known for it"
    if judged.verdict is Verdict.UNCLEAR:
        return f"{strides_words(moved)}; {_where(judged, unit)}"
    if judged.verdict is Verdict.OVER_CORRECTED:
        return f"OVER-CORRECTED, {band.low - moved.after.mean:.1f}{unit} below the band"
    if judged.verdict is Verdict.NEAR_LOWER:
        return (
            f"at the lower edge of the band ({band.low - moved.after.mean:.1f}{unit} below, within "
            "noise): do no more"
        )
    if judged.verdict is Verdict.WITHIN:
        return _within_words(judged)
    if judged.verdict is Verdict.AWAY:
        return f"away from it, a real change, {_where(judged, unit)}"
    return f"towards it, a real change, still {_where(judged, unit)}"


def _where(judged: JudgedReading, unit: str) -> str:
    band, after = judged.band, judged.change.after.mean
    if band is None or not judged.residual:
        return "within the band"
    side = "above" if after > band.high else "below"
    edge = "" if judged.clear else ", its edge within noise"
    return f"{judged.residual:.1f}{unit} {side} the band{edge}"


def _within_words(judged: JudgedReading) -> str:
    moved = judged.change
    came = judged.band is not None and judged.band.outside(moved.before.mean) > 0
    text = "within the band, as before"
    if came or moved.told:
        text = f"within the band, moved {'there' if came else 'in it'}, a real change"
    return text if judged.clear else f"{text}; its edge within noise"


def strides_words(moved: StepChange) -> str:
    """Whether a change is there, and what would tell it."""
    if moved.state is Told.YES:
        return "a real change"
    if moved.needed is None:
        return "too small to matter: let comfort decide"
    if not moved.more:
        return f"not sure yet; {moved.needed} strides in each try-on show such a change 4 in 5"
    return f"not sure yet; {moved.more} more strides ({moved.needed} each) would show it"


def outside_words(result: StepResult) -> str:
    """How far outside the band a try-on leaves the feet, by all of its own readings."""
    judged = {k: j.residual for k, j in result.whole.items() if result.counts(k)}
    if not judged:
        return "no reading of it has a band"
    worst = max(judged, key=lambda key: judged[key])
    if not judged[worst]:
        several = f"all {len(judged)} readings" if len(judged) > 1 else "the one reading taken"
        return f"within the band in {several}"
    outside = sum(1 for residual in judged.values() if residual)
    at_most = f"at most {judged[worst]:.1f}° ({key_words(worst)})"
    return f"outside the band in {outside} of {len(judged)} readings, {at_most}"


def bar_words(bar: Bar, result: StepResult, against: str, book: Rulebook) -> str:
    """What speaks against a tried combination, as a clause."""
    hurts = ", ".join(f"{r.side} {r.region} {r.value:g}" for r in result.hurts)
    poor = book.parameters.trial.comfort_poor
    return {
        Bar.RULED_OUT: f"the rules exclude it ({against})",
        Bar.OVER_CORRECTED: f"over-corrected ({_over(result)})",
        Bar.HURTS: f"it hurts ({hurts} of 10; {poor:g} or less counts as hurting)",
        Bar.AWAY: f"away from the band ({keys_words(result.away)})",
        Bar.DOUBTFUL: "changed by more than footwear is known to bring about "
        f"({keys_words(result.doubtful)}); film again",
        Bar.NOTHING_TOLD: "no change that can be told, and comfort was not asked",
        Bar.NOT_COMPARED: "nothing barefoot to compare it with, and comfort was not asked",
    }[bar]


def _over(result: StepResult) -> str:
    keys = [one for one in result.over if isinstance(one, ReadingKey)]
    loads = [f"{one} load" for one in result.over if not isinstance(one, ReadingKey)]
    return ", ".join(dict.fromkeys(filter(None, [keys_words(keys), *loads])))

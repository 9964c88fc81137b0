"""Verdicts of a trial in words that promise nothing."""

from __future__ import annotations

import math

from recommend.rulebook.book import Rulebook
from recommend.show.words import number
from recommend.trial.change import Change, Interval
from recommend.trial.judge import Band, Judged, Verdict
from recommend.trial.report import StepResult
from recommend.trial.steps import OWN, Key, Step
from recommend.trial.tried import Bar

# A sign beside each verdict, so that it can be found without reading; never instead of words.
SIGNS = {
    Verdict.OVER_CORRECTED: "!",
    Verdict.AWAY: "<",
    Verdict.UNCLEAR: "?",
    Verdict.TOWARDS: ">",
    Verdict.WITHIN: "=",
    Verdict.NO_BAND: " ",
}


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


def worn_words(step: Step) -> str:
    """What was worn: ``barefoot``, ``hasperlow-road``, ``hasperlow-road with ommerstead-firm``."""
    if step.shoe is None:
        return "barefoot"
    shoe = "own shoe" if step.shoe == OWN else step.shoe
    return f"{shoe} with {step.insole}" if step.insole else shoe


def key_words(key: Key) -> str:
    """A reading: ``left contact``."""
    return f"{key.side} {key.phase}"


DOUBTFUL = (
    "doubtful, larger than footwear is known to bring about: check the sign and the marks, and "
    "film again"
)


def verdict_words(judged: Judged) -> str:
    """The verdict of one foot and phase as a clause; what is doubtful about it comes first."""
    words = _verdict_words(judged)
    return f"{DOUBTFUL}; as it stands, {words}" if judged.doubtful else words


def _verdict_words(judged: Judged) -> str:
    moved, band = judged.change, judged.band
    if judged.verdict is Verdict.UNCLEAR:
        return f"no change that can be told from noise; {strides_words(moved)}"
    if judged.verdict is Verdict.NO_BAND or band is None:
        told = "less" if moved.value < 0 else "more"
        change = f"{told} beyond noise" if moved.told else "no change that can be told from noise"
        return f"{change}; the rulebook has no band for this zero reference"
    after = moved.after.mean
    if judged.verdict is Verdict.OVER_CORRECTED:
        sure = "beyond noise" if judged.clear else "its edge within noise"
        return f"over-corrected: {band.low - after:.1f}° below the band, {sure}"
    if judged.verdict is Verdict.WITHIN:
        return _within_words(judged)
    where = f"{judged.residual:.1f}° {'above' if after > band.high else 'below'} it"
    if judged.verdict is Verdict.AWAY:
        return f"away from the band beyond noise, {where}"
    return f"towards the band beyond noise, still {where}"


def _within_words(judged: Judged) -> str:
    moved = judged.change
    came = judged.band is not None and judged.band.outside(moved.before.mean) > 0
    text = "within the band, as before"
    if came or moved.told:
        text = f"within the band, moved {'there' if came else 'in it'} beyond noise"
    return text if judged.clear else f"{text}; not clear of its edge"


def strides_words(moved: Change) -> str:
    """How many strides would tell a change of the size seen."""
    if moved.needed is None:
        return "too small to tell with any practical number of strides"
    if not moved.more:
        return f"as large as seen, {moved.needed} strides in each step tell it 4 times in 5"
    return f"measure {moved.more} more strides ({moved.needed} in each step) to tell"


def bar_words(bar: Bar, result: StepResult, against: str, book: Rulebook) -> str:
    """What speaks against a tried combination, as a clause."""
    return {
        Bar.RULED_OUT: f"the rules exclude it ({against})",
        Bar.OVER_CORRECTED: f"over-corrected ({_where(result)})",
        Bar.HURTS: "it hurts ("
        + ", ".join(f"{r.side} {r.region} {r.value:g}" for r in result.hurts)
        + f" of 10; {book.parameters['trial.comfort-poor']:g} or less counts as hurting)",
        Bar.AWAY: "away from the band beyond noise ("
        + ", ".join(key_words(key) for key in result.away)
        + ")",
        Bar.DOUBTFUL: "changed by more than footwear is known to bring about ("
        + ", ".join(key_words(key) for key in result.doubtful)
        + "); film again",
        Bar.NOTHING_TOLD: "no change that can be told from noise",
        Bar.NOT_COMPARED: "nothing barefoot to compare it with",
    }[bar]


def _where(result: StepResult) -> str:
    parts = [key_words(one) if isinstance(one, Key) else f"{one} load" for one in result.over]
    return ", ".join(dict.fromkeys(parts))

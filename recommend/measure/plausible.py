"""Contact times and forces that no one has: rate, gait or unit is written wrongly."""

from __future__ import annotations

from math import log
from typing import Final

from recommend.measure.doubts import Doubt
from recommend.measure.model import Flag
from recommend.parameters import Parameters

# Rates that cameras and mats are sold with, to name one that would fit.
_RATES: Final = (24, 25, 30, 50, 60, 90, 100, 120, 200, 240, 250, 300, 400, 500)
# How often a rate is written that is not that of the recording: slow motion, or a setting halved.
_TIMES: Final = (0.125, 0.25, 0.5, 2.0, 4.0, 8.0)


def wrong_pace(
    seconds: float,
    rate_hz: float,
    gait: str,
    parameters: Parameters,
    *,
    sure: bool = True,
    rate_said: str = "`rate-hz`",
) -> str | None:
    """What is wrong with a mean contact time of `seconds`, and, if it is `sure`, what would fit.

    `rate_said` is the word by which the rate is put right.
    """
    word = "running" if gait == "running" else "walking"
    least, most = (parameters.capture[f"contact-{end}-{word}"] for end in ("least", "most"))
    if least <= seconds <= most:
        return None
    text = f"the foot is down for {seconds:.2f} s, which is not {word}; check {rate_said}"
    if not sure:
        return f"{text} ({rate_hz:g} a second now) and `gait`"
    slowest, fastest = (seconds * rate_hz / end for end in (most, least))
    known = [rate for rate in _RATES if slowest <= rate <= fastest]
    simple = [rate for rate in known if rate / rate_hz in _TIMES] or known
    middle = (slowest * fastest) ** 0.5
    likely = f", likely {min(simple, key=lambda rate: abs(log(rate / middle)))}" if simple else ""
    fits = f"{slowest:.0f} to {fastest:.0f} would fit{likely}"
    return f"{text} ({rate_hz:g} a second now, {fits}) and `gait`"


def time_doubts(
    seconds: float,
    rate_hz: float,
    gait: str,
    concerns: tuple[str, ...],
    parameters: Parameters,
    rate_said: str = "`rate-hz`",
) -> list[Doubt]:
    """The doubt that a mean contact time of `seconds` raises; what it `concerns` is withdrawn."""
    text = wrong_pace(seconds, rate_hz, gait, parameters, rate_said=rate_said)
    return [Doubt(Flag("implausible-rate", text, "removed"), concerns)] if text else []


def wrong_force(force_n: float, length_mm: float | None, parameters: Parameters) -> str:
    """What is wrong with a force that no walker has, and the unit that would fit; else nothing.

    Parameters
    ----------
    force_n : highest force of a step in N, or on the mat where no step was found.
    length_mm : of its footprint; None where it is not known.
    """
    capture = parameters.capture
    least, most = capture.force_least, capture.force_most
    if length_mm is not None:
        least = max(least, capture.force_per_length * length_mm)
        most = min(most, capture.load_most * length_mm**2)
    if least <= force_n <= most:
        return ""
    said = f"{force_n:.0f}" if force_n >= 10 else f"{force_n:.2g}"
    text = f"the foot bears {said} N, which no walker does; check `unit` and `pitch-mm`"
    unit = likely_unit(force_n, least, most)
    return f"{text} (the numbers look like {unit})" if unit else text


def likely_unit(force: float, least: float, most: float) -> str:
    """The unit in which numbers that make this force would make one from `least` to `most`."""
    return next((name for factor, name in _UNITS if least <= factor * force <= most), "")


# What numbers are that are right if taken so many times, where kPa or N/cm2 was written.
_UNITS: Final = ((10.0, "N/cm2"), (0.1, "kPa"), (1000.0, "MPa"), (0.001, "Pa"))

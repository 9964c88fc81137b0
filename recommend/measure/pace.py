"""Contact times that no one has: the frame rate, or the gait, is written wrongly."""

from __future__ import annotations

from math import log
from typing import Final

from recommend.measure.doubts import Doubt
from recommend.measure.model import Flag
from recommend.parameters import Parameters

# Rates that cameras and mats are sold with, to name one that would fit.
_RATES: Final = (24, 25, 30, 50, 60, 90, 100, 120, 200, 240, 250, 300, 400, 500)


def time_doubts(
    seconds: float,
    rate_hz: float,
    gait: str,
    concerns: tuple[str, ...],
    parameters: Parameters,
) -> list[Doubt]:
    """The doubt that a mean contact time of `seconds` raises; what it `concerns` is withdrawn."""
    word = "running" if gait == "running" else "walking"
    least, most = (parameters.capture[f"contact-{end}-{word}"] for end in ("least", "most"))
    if least <= seconds <= most:
        return []
    usual = (least * most) ** 0.5
    likely = min(_RATES, key=lambda rate: abs(log(seconds * rate_hz / rate / usual)))
    text = (
        f"the foot is down for {seconds:.2f} s, which is not {word}; check `rate-hz` "
        f"({rate_hz:g} written, {likely} would fit) and `gait`"
    )
    return [Doubt(Flag("implausible-rate", text, "removed"), concerns)]

"""Facts of one foot, as every engine reads them: finite decimals and words of a vocabulary."""

from __future__ import annotations

from collections.abc import Mapping
from typing import get_args

from recommend.measure.model import Measure, Side
from recommend.rulebook.book import Rulebook
from recommend.rulebook.naming import DECIMALS
from recommend.visit.models import PainSite, Visit


def facts_of(
    visit: Visit, side: Side, measures: Mapping[str, Measure], book: Rulebook
) -> dict[str, float | str]:
    """Facts of the foot on `side`; what is missing gives no fact.

    Numbers are rounded to four decimals, so that no engine meets an exponent and all engines
    compare the same number.
    """
    facts: dict[str, float | str] = {"side": side}
    for name in book.measures:
        facts[f"known_{name}"] = "yes" if name in measures else "no"
    for measure in measures.values():
        facts |= measure_facts(measure, book.parameters["noise.clearly"])
    facts |= _person_facts(visit, side)
    known = {q: a for q, a in visit.answers.items() if a != "not-asked"}
    facts |= {f"answer_{question}": answer for question, answer in known.items()}
    return facts | book.asked_facts(known)


def measure_facts(measure: Measure, clearly: float) -> dict[str, float | str]:
    """The facts one measure gives: the reading, and the reading less and plus its error."""
    if isinstance(measure.value, str):
        return {measure.name: measure.value}
    margin = clearly * (measure.error or 0.0)
    facts: dict[str, float | str] = {
        measure.name: quantize(measure.value),
        f"{measure.name}_low": quantize(measure.value - margin),
        f"{measure.name}_high": quantize(measure.value + margin),
    }
    return facts | {f"{measure.name}_{q}": word for q, word in measure.qualifiers.items()}


def quantize(value: float) -> float:
    """`value` rounded to the decimals that engines compare; never a negative zero."""
    return round(float(value), DECIMALS) + 0.0


def _person_facts(visit: Visit, side: Side) -> dict[str, float | str]:
    facts: dict[str, float | str] = {}
    if visit.age_band:
        facts["visit_age-band"] = visit.age_band
    if visit.purpose:
        facts["visit_purpose"] = visit.purpose
    if visit.pain is not None:
        here = {pain.site for pain in visit.pain if pain.side in (side, "both") and pain.score != 0}
        facts |= {f"pain_{s}": "yes" if s in here else "no" for s in get_args(PainSite)}
    return facts

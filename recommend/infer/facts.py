"""Facts of one foot, as every engine reads them: finite decimals and words of a vocabulary."""

from __future__ import annotations

from collections.abc import Container, Mapping
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from recommend.measure.model import Measure, Side
from recommend.parameters import Parameters
from recommend.rulebook.book import Rulebook
from recommend.rulebook.naming import DECIMALS
from recommend.rulebook.vocabulary import AGE_BAND, PURPOSE, SOCKS, Fact, ends_of, part_of
from recommend.visit.models import PainSite, Visit

Floats = NDArray[np.float64]


def facts_of(
    visit: Visit, side: Side, measures: Mapping[str, Measure], book: Rulebook
) -> dict[str, float | str]:
    """Facts of the foot on `side`; what is missing gives no fact.

    Numbers are rounded to four decimals, so that no engine meets an exponent and all engines
    compare the same number.
    """
    facts: dict[str, float | str] = {"side": side}
    for name in book.measures:
        facts[Fact("known", name).name] = "yes" if name in measures else "no"
    for measure in measures.values():
        facts |= measure_facts(measure, book.parameters)
    return facts | _person_facts(visit) | told_facts(book, visit.answers, _sites(visit, side))


def told_facts(
    book: Rulebook, answers: Mapping[str, str], sites: Container[str] | None
) -> dict[str, float | str]:
    """The facts of what was answered, and of where a foot hurts; None: where was not asked."""
    known = {q: a for q, a in answers.items() if a != "not-asked"}
    facts: dict[str, float | str] = {Fact("answer", q).name: a for q, a in known.items()}
    if sites is not None:
        facts |= {Fact("pain", s).name: "yes" if s in sites else "no" for s in get_args(PainSite)}
    return facts | book.asked_facts(known)


def measure_facts(measure: Measure, parameters: Parameters) -> dict[str, float | str]:
    """The facts one measure gives: the reading, its qualifiers, and its reading less and plus."""
    if isinstance(measure.value, str):
        return {measure.name: measure.value}
    numbers = reading_facts(measure, np.array([measure.value]), parameters)
    facts: dict[str, float | str] = {name: float(column[0]) for name, column in numbers.items()}
    words = measure.qualifiers.items()
    return facts | {part_of(measure.name, q): word for q, word in words}


def reading_facts(
    measure: Measure, values: Floats, parameters: Parameters, only: Container[str] | None = None
) -> dict[str, Floats]:
    """The facts of n readings that are as sure as `measure`: each, and less and plus its error."""
    return number_facts(measure.name, values, measure.error or 0.0, parameters, only)


def number_facts(
    name: str,
    values: Floats,
    error: float,
    parameters: Parameters,
    only: Container[str] | None = None,
) -> dict[str, Floats]:
    """The facts of n readings of a measure with one standard error, as every engine reads them.

    `only` names the facts that are wanted, all three by default.
    """
    shifts = ends_of(name, 0.0, parameters.noise.clearly * error)
    wanted = shifts if only is None else {f: by for f, by in shifts.items() if f in only}
    numbers = quantized(np.add.outer(list(wanted.values()), values))
    return dict(zip(wanted, numbers, strict=True))


def quantized(values: Floats) -> Floats:
    """Numbers rounded to the decimals that engines compare; never a negative zero."""
    return np.asarray(np.round(values, DECIMALS) + 0.0)


def quantize(value: float) -> float:
    """One number rounded likewise."""
    return float(quantized(np.array(float(value))))


def _person_facts(visit: Visit) -> dict[str, float | str]:
    words = {
        AGE_BAND: visit.age_band,
        PURPOSE: visit.purpose,
        SOCKS: visit.keeps.socks if visit.keeps else None,
    }
    return {fact: word for fact, word in words.items() if word}


def _sites(visit: Visit, side: Side) -> set[str] | None:
    """Where the foot on `side` hurts; None where nobody asked."""
    if visit.pain is None:
        return None
    return {pain.site for pain in visit.pain if pain.side in (side, "both") and pain.score != 0}

"""The outcome of a visit as one plain document: what ``--json`` prints and records keep.

Two outcomes are compared statement by statement (`changes`).
"""

from __future__ import annotations

from dataclasses import asdict, field
from typing import Any

from recommend.catalogue.loading import Catalogue
from recommend.dataclass import dataclass
from recommend.infer.assess import Assessment, FootAssessment
from recommend.infer.derivation import Firing, Lacking, marks_of, share_below
from recommend.infer.variations import Variations
from recommend.match.judge import NeedVerdict
from recommend.match.needs import Need, need_words
from recommend.match.shortlist import GROUPS, Candidate, Equals, Group, Shortlist
from recommend.match.telling import against_lines, fit_lines, why_lines
from recommend.measure.model import Measure
from recommend.rulebook.book import Rulebook, within

FORMAT = 2  # raised when a field changes its meaning or goes away


@dataclass(frozen=True, slots=True)
class Outcome:
    """A visit assessed and, unless a stop withholds it, the shortlist.

    `variations` are the same readings made ready to be redrawn, where the way made them.
    """

    assessment: Assessment
    shortlist: Shortlist | None
    book: Rulebook
    catalogue: Catalogue
    variations: Variations | None = field(default=None, repr=False, compare=False)


def as_document(outcome: Outcome) -> dict[str, Any]:
    """The outcome as plain data (str, float, int, None, list, dict), in a stable order.

    Fields: ``format``, ``rulebook`` and ``catalogue`` (name, version, SHA-256), ``visit``
    (reference, date, age-band, purpose), ``notes``, ``to-ask``, ``feet`` (measures, axes,
    foot type, derivations), ``needs``, ``conflicts``, ``size``, ``shortlist`` (null when a stop
    withholds it), ``cautions`` and ``engine`` (which one concluded; nothing else depends on it).
    In ``shortlist`` each of ``shoe``, ``insole`` and ``pair`` holds ``groups`` of equals, best
    first; see `group_document`.
    """
    ranked, book = outcome.shortlist, outcome.book
    return {
        "format": FORMAT,
        **assessed_document(outcome),
        "shortlist": _shortlist(ranked, book) if ranked else None,
        "cautions": list(book.heading.cautions),
        "engine": outcome.assessment.engine,
    }


def assessed_document(outcome: Outcome) -> dict[str, Any]:
    """Everything but the products: the part that has not changed since the first format."""
    book, assessment = outcome.book, outcome.assessment
    visit, ranked = assessment.visit, outcome.shortlist
    return {
        "rulebook": {
            "name": book.heading.name,
            "version": book.heading.version,
            "sha256": book.digest,
        },
        "catalogue": {"sha256": outcome.catalogue.digest, "currency": outcome.catalogue.currency},
        "visit": {
            "reference": visit.reference,
            "date": visit.date,
            "age-band": visit.age_band,
            "purpose": visit.purpose,
        },
        "stopped": assessment.stopped,
        "notes": [asdict(note) for note in assessment.notes],
        "clinician-first": assessment.clinician_first,
        "not-screened": list(assessment.unscreened),
        "to-ask": [{"id": q, "ask": book.questions[q].ask} for q in assessment.to_ask],
        "feet": {side: _foot(foot, book) for side, foot in assessment.feet.items()},
        "needs": [_need(need, book) for need in ranked.needs.needs] if ranked else None,
        "conflicts": [c.text for c in ranked.needs.conflicts] if ranked else None,
        "size": {
            "length-mm": ranked.wanted.length,
            "basis": ranked.wanted.basis,
            "shorter-foot": ranked.wanted.smaller or None,
        }
        if ranked
        else None,
    }


def _foot(foot: FootAssessment, book: Rulebook) -> dict[str, Any]:
    kind = foot.foot_type
    return {
        "measures": [_measure(measure, book) for measure in foot.measures.values()],
        "further-readings": [_measure(measure, book) for measure in foot.further],
        "axes": dict(foot.conclusions.axes),
        "foot-type": None
        if kind is None
        else {"id": kind, "title": book.types[kind].title, "sentence": book.types[kind].sentence},
        "undetermined": {axis: _lacking(lack) for axis, lack in foot.lacking.items()},
        "close-calls": [asdict(call) for call in foot.close_calls],
        "undecided-rules": sorted(r for r, t in foot.conclusions.truth.items() if t is None),
        "derivations": [_derivation(one, book) for one in foot.derivations],
    }


def _derivation(one: Firing, book: Rulebook) -> dict[str, Any]:
    """A derivation; its place counts from the rulebook's folder, wherever that is today."""
    return {**asdict(one), "place": within(one.place, book.folder)}


def _measure(measure: Measure, book: Rulebook) -> dict[str, Any]:
    below = share_below(measure, book)
    return {
        "name": measure.name,
        "value": measure.value,
        "unit": measure.unit,
        "error": measure.error,
        "n": measure.n,
        "method": measure.method,
        "qualifiers": dict(measure.qualifiers),
        "flags": [asdict(flag) for flag in measure.flags],
        "capture": measure.capture,
        "marks": list(marks_of(measure, book)),
        "share-of-people-below": None if below is None else round(below, 4),
    }


def _lacking(lacking: Lacking) -> dict[str, list[str]]:
    return {name: sorted(known) for name, known in asdict(lacking).items()}


def _need(need: Need, book: Rulebook) -> dict[str, Any]:
    return {
        "attribute": need.attribute,
        "comparison": need.comparison,
        "target": need.target,
        "words": need_words(need, book),
        "strength": need.strength,
        "weight": need.weight,
        "feet": list(need.sides),
        "rules": list(need.rules),
        "because": list(need.because),
    }


def _shortlist(ranked: Shortlist, book: Rulebook) -> dict[str, Any]:
    shown = book.parameters.rank.shown
    return {
        "unplaced": list(ranked.unplaced),
        **{group: _list(ranked, group, shown, book) for group in GROUPS},
    }


def _list(ranked: Shortlist, group: Group, shown: int, book: Rulebook) -> dict[str, Any]:
    """One list: the first `shown` groups of equals whole, and what is left out with its reason."""
    return {
        "groups": [group_document(one, book) for one in ranked.groups[group][:shown]],
        "suitable": len(ranked.ranked[group]) + len(ranked.without_place[group]),
        "without-place": [c.id for c in ranked.without_place[group]],
        "suitable-not-in-stock": [c.id for c in ranked.missing[group]],
        "excluded": {c.id: broken_document(c) for c in ranked.excluded[group]},
        "close-to-harm": {
            c.id: c.close for c in (*ranked.ranked[group], *ranked.without_place[group]) if c.close
        },
        "did-harm": {c.id: c.harm for c in ranked.excluded[group] if c.harm},
        "not-wanted": {c.id: c.refused for c in ranked.excluded[group] if c.refused},
        "nothing-because": list(ranked.nothing_because(group, book)),
    }


def group_document(equals: Equals, book: Rulebook) -> dict[str, Any]:
    """A group of equals as plain data.

    ``members`` in order of price; ``fit`` (``length-step`` and lines for people), ``asked`` and
    ``met`` (how many wishes and their weight), ``why``, ``against`` and ``beyond`` (lines),
    ``stands-back`` and ``holds`` (share of repeats of the readings; null when not repeated).
    """
    one = equals.first
    return {
        "members": [candidate_document(member) for member in equals.members],
        "fit": {
            "length-step": one.length_step,
            "weight-against": one.fit,
            "lines": list(fit_lines(one, book)),
        },
        "asked": _counted(one, met=False),
        "met": _counted(one, met=True),
        "weight-against": one.function,
        "why": list(why_lines(one, book)),
        "against": list(against_lines(one, book)),
        "beyond": [asdict(beyond) for beyond in one.beyond],
        "stands-back": one.back,
        "holds": equals.holds,
    }


def _counted(one: Candidate, *, met: bool) -> dict[str, float]:
    """How many wishes there are and their weight; of those met, whole or in part."""
    wishes = [v for v in one.judgement.verdicts if v.need.strength == "prefer"]
    some = [v for v in wishes if v.satisfaction == 1] if met else wishes
    weight = sum(v.need.weight * (v.satisfaction if met else 1) for v in wishes)
    return {"wishes": len(some), "weight": round(weight, 6)}


def candidate_document(candidate: Candidate) -> dict[str, Any]:
    """One candidate as plain data."""
    return {
        "id": candidate.id,
        "titles": [part.product.title for part in candidate.parts],
        "offered": [part.offered for part in candidate.parts],
        "prices": [part.product.price for part in candidate.parts],
        "score": round(candidate.score, 4),
        "sizes": [asdict(one) for one in candidate.sized],
        "unsure": list(candidate.unsure),
        "verdicts": [verdict_document(verdict) for verdict in candidate.judgement.verdicts],
    }


def verdict_document(verdict: NeedVerdict) -> dict[str, Any]:
    """How a product stands to one need, as plain data."""
    return {
        "attribute": verdict.need.attribute,
        "comparison": verdict.need.comparison,
        "target": verdict.need.target,
        "strength": verdict.need.strength,
        "weight": verdict.need.weight,
        "level": verdict.level,
        "shortfall": verdict.shortfall,
        "satisfaction": round(verdict.satisfaction, 6),
    }


def broken_document(candidate: Candidate) -> list[dict[str, Any]]:
    """The verdicts that rule a product out."""
    return [verdict_document(v) for v in candidate.judgement.verdicts if v.broken]

"""The outcome of a visit as one plain document: what ``--json`` prints and records keep."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from recommend.catalogue.loading import Catalogue
from recommend.infer.assess import Assessment, FootAssessment, assess
from recommend.infer.derivation import Derivation, Lacking
from recommend.infer.engine import Engine
from recommend.match.judge import Verdict
from recommend.match.needs import Need, need_words
from recommend.match.shortlist import GROUPS, Candidate, Shortlist, shortlist
from recommend.measure.model import Measure
from recommend.rulebook.book import Rulebook, within
from recommend.visit.models import Visit

FORMAT = 1  # raised when a field changes its meaning or goes away


@dataclass(frozen=True, slots=True)
class Outcome:
    """A visit assessed and, unless a stop withholds it, the shortlist."""

    assessment: Assessment
    shortlist: Shortlist | None
    book: Rulebook
    catalogue: Catalogue


def outcome_of(
    visit: Visit, book: Rulebook, catalogue: Catalogue, engine: Engine | None = None
) -> Outcome:
    """Take a visit through the whole path; a stop withholds the shortlist."""
    assessment = assess(visit, book, engine)
    ranked = None if assessment.stopped else shortlist(assessment, book, catalogue)
    return Outcome(assessment, ranked, book, catalogue)


def as_document(outcome: Outcome) -> dict[str, Any]:
    """The outcome as plain data (str, float, int, None, list, dict), in a stable order.

    Fields: ``format``, ``rulebook`` and ``catalogue`` (name, version, SHA-256), ``visit``
    (reference, date, age-band, purpose), ``notes``, ``to-ask``, ``feet`` (measures, axes,
    foot type, derivations), ``needs``, ``conflicts``, ``size``, ``shortlist`` (null when a stop
    withholds it), ``cautions`` and ``engine`` (which one concluded; nothing else depends on it).
    """
    book, assessment = outcome.book, outcome.assessment
    visit, ranked = assessment.visit, outcome.shortlist
    return {
        "format": FORMAT,
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
        "size": {"length-mm": ranked.wanted.length, "basis": ranked.wanted.basis}
        if ranked
        else None,
        "shortlist": _shortlist(ranked, book) if ranked else None,
        "cautions": list(book.heading.cautions),
        "engine": assessment.engine,
    }


def _foot(foot: FootAssessment, book: Rulebook) -> dict[str, Any]:
    kind = foot.foot_type
    return {
        "measures": [_measure(measure) for measure in foot.measures.values()],
        "further-readings": [_measure(measure) for measure in foot.further],
        "axes": dict(foot.conclusions.axes),
        "foot-type": None
        if kind is None
        else {"id": kind, "title": book.types[kind].title, "sentence": book.types[kind].sentence},
        "undetermined": {axis: _lacking(lack) for axis, lack in foot.lacking.items()},
        "close-calls": [asdict(call) for call in foot.close_calls],
        "undecided-rules": sorted(r for r, t in foot.conclusions.truth.items() if t is None),
        "derivations": [_derivation(one, book) for one in foot.derivations],
    }


def _derivation(one: Derivation, book: Rulebook) -> dict[str, Any]:
    """A derivation; its place counts from the rulebook's folder, wherever that is today."""
    return {**asdict(one), "place": within(one.place, book.folder)}


def _measure(measure: Measure) -> dict[str, Any]:
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
    }


def _lacking(lacking: Lacking) -> dict[str, list[str]]:
    return {
        "measures": sorted(lacking.measures),
        "answers": sorted(lacking.answers),
        "visit": sorted(lacking.visit),
        "incomparable": sorted(lacking.incomparable),
    }


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
    shown = int(book.parameters["rank.shown"])
    return {
        group: {
            "ranked": [_candidate(c) for c in ranked.ranked[group][:shown]],
            "suitable": len(ranked.ranked[group]),
            "suitable-not-in-stock": [c.id for c in ranked.missing[group][:shown]],
            "excluded": {c.id: _broken(c) for c in ranked.excluded[group]},
            "did-harm": {c.id: c.harm for c in ranked.excluded[group] if c.harm},
        }
        for group in GROUPS
    }


def _candidate(candidate: Candidate) -> dict[str, Any]:
    return {
        "id": candidate.id,
        "titles": [part.product.title for part in candidate.parts],
        "prices": [part.product.price for part in candidate.parts],
        "score": round(candidate.score, 4),
        "sizes": [asdict(one) for one in candidate.sized],
        "unsure": list(candidate.unsure),
        "verdicts": [_verdict(verdict) for verdict in candidate.judgement.verdicts],
    }


def _verdict(verdict: Verdict) -> dict[str, Any]:
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


def _broken(candidate: Candidate) -> list[dict[str, Any]]:
    return [_verdict(v) for v in candidate.judgement.verdicts if v.broken]

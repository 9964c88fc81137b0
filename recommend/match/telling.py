"""What is said for and against a group of equals, in short lines for people."""

from __future__ import annotations

from collections.abc import Iterator

from recommend.catalogue.loading import Item
from recommend.match.judge import NeedVerdict
from recommend.match.needs import level_words, need_words, wanted_words
from recommend.match.shortlist import Beyond, Candidate, Shortlist
from recommend.rulebook.book import Rulebook

STRONGEST = 3  # reasons that are told
_UNPLACED = {
    "not-screened": "not screened (questions that can stop it are open)",
    "pain-not-looked-at": "a new pain is to be looked at first",
    "length-unknown": "the length of the feet is not known",
}


def unplaced_words(ranked: Shortlist) -> str:
    """Why nothing has a place yet."""
    return "; ".join(_UNPLACED[reason] for reason in ranked.unplaced)


def fit_lines(one: Candidate, book: Rulebook) -> Iterator[str]:
    """How it fits the feet, length first; what fits is said as well."""
    for part, sized in zip(one.parts, one.sized, strict=True):
        if part.offered == "shop":
            yield _length_line(part.product.kind, sized.size, sized.over)
    unknown = any(part.offered == "own" and not part.levels for part in one.parts)
    about = [] if unknown else list(_about(one, book, fit=True))
    missed = {verdict.need.attribute for verdict in about if verdict.satisfaction != 1}
    yield from dict.fromkeys(
        _fit_line(verdict, book)
        for verdict in about
        # one wish may be for more and one for less: it fits only where both are met
        if verdict.satisfaction != 1 or verdict.need.attribute not in missed
    )


def _fit_line(verdict: NeedVerdict, book: Rulebook) -> str:
    title = book.attributes[verdict.need.attribute].short
    if verdict.satisfaction == 1:
        return f"{title} fits"
    if verdict.level is None:
        return f"{title} not stated"
    level = level_words(verdict.need.attribute, verdict.level, book)
    return f"{title} {level}, {wanted_words(verdict.need, book)} wanted"


def _length_line(kind: str, size: float | None, over: float | None) -> str:
    if size is None or over is None:
        return f"{kind}: size not checked"
    off = f"{abs(over):.0f}"
    if off == "0":
        return f"{kind} {size:g}, as long as wanted"
    if kind == "insole" and over > 0:
        return f"{kind} {size:g}, to be cut to the shoe"
    return f"{kind} {size:g}, {off} mm {'longer' if over > 0 else 'shorter'} than wanted"


def why_lines(one: Candidate, book: Rulebook) -> Iterator[str]:
    """The strongest wishes that it meets, or why nothing need be bought."""
    for part in one.parts:
        if part.offered == "none":
            yield (
                "an insole is asked for, and left out for the price"
                if one.spared
                else "nothing measured or told asks for an insole"
            )
        elif part.offered == "own" and part.product.kind == "insole":
            yield "it is the insole they keep"
        elif part.offered == "own" and not part.levels:
            yield "nothing measured or told asks for another shoe; look at its fit, wear and age"
    met = [v for v in _about(one, book, fit=False) if v.satisfaction == 1 and v.need.weight]
    met.sort(key=lambda verdict: -verdict.need.weight)
    said = dict.fromkeys(_has(verdict, book) for verdict in met)  # two wishes may be of one kind
    yield from list(said)[:STRONGEST]


def against_lines(one: Candidate, book: Rulebook) -> Iterator[str]:
    """What speaks against it, worst first: wishes it misses, what it does unasked, doubts."""
    fit = [verdict.need for verdict in _about(one, book, fit=True)]
    told = {f"{part.product.kind}." for part in one.parts if _will_do(part, one)}
    if "shoe." in told:
        told.add("pair.")
    said = set()
    for verdict in one.against:
        name = verdict.need.attribute
        if verdict.need not in fit and name not in said and not name.startswith(tuple(told)):
            yield f"{_has(verdict, book)}, {wanted_words(verdict.need, book)} wanted"
            said.add(name)
    if one.instead:
        yield one.instead
    for beyond in sorted(one.beyond, key=lambda b: -b.part):
        if beyond.attribute not in said:
            yield _unasked(beyond, book)
    yield from one.unsure
    if one.close:
        yield one.close
    elif one.back:
        yield "repeated readings would often rule it out, or put others well before it"


def _will_do(part: Item, one: Candidate) -> bool:
    """Whether it is no insole, or shoes nobody described, where nothing asks for more."""
    return (part.offered == "none" and not one.spared) or (
        part.offered == "own" and not part.levels
    )


def _about(one: Candidate, book: Rulebook, *, fit: bool) -> list[NeedVerdict]:
    """Wishes about the fit, or all the others."""
    return [
        verdict
        for verdict in one.judgement.verdicts
        if verdict.need.strength == "prefer"
        and (book.attributes[verdict.need.attribute].about == "fit") == fit
    ]


def verdict_words(verdict: NeedVerdict, book: Rulebook) -> str:
    """What a product has and what was wanted: ``wedge 8 deg, no more than 4 deg wanted``."""
    need = verdict.need
    if need.strength != "never":
        return f"{_has(verdict, book)}, {wanted_words(need, book)} wanted"
    return f"{_has(verdict, book)}, {need_words(need, book)}"


def _has(verdict: NeedVerdict, book: Rulebook) -> str:
    title = book.attributes[verdict.need.attribute].short
    if verdict.level is None:
        return f"{title} not stated"
    return f"{title} {level_words(verdict.need.attribute, verdict.level, book)}"


def _unasked(beyond: Beyond, book: Rulebook) -> str:
    """What it does unasked: made for another use, more than asked, or nobody knows."""
    definition = book.attributes[beyond.attribute]
    if beyond.level is None:
        return f"{definition.short} not stated: may be more than asked"
    if definition.about == "use":
        return f"made {definition.short}, which nobody asked for"
    return (
        f"{definition.short} {level_words(beyond.attribute, beyond.level, book)}: more than asked"
    )

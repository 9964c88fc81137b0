"""The ranked shortlist: shoes, insoles, and pairs of both that fit each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from recommend.catalogue.fitting import fit
from recommend.catalogue.loading import Catalogue, Item
from recommend.infer.assess import Assessment
from recommend.match.harm import harmful
from recommend.match.judge import Judgement, Verdict, joined, judge_alone, judge_together
from recommend.match.needs import PairNeeds, needs_of
from recommend.match.sizes import Sized, Wanted, size_for, wanted_length
from recommend.rulebook.book import Rulebook

Group = Literal["shoe", "insole", "pair"]
GROUPS: tuple[Group, ...] = ("shoe", "insole", "pair")


@dataclass(frozen=True, slots=True)
class Candidate:
    """A shoe, an insole or a pair that was judged.

    `sized` holds one entry for each part; `unsure` says what about their fit is not stated;
    `harm` is what a part did to these feet when it was worn, which rules it out.
    """

    group: Group
    parts: tuple[Item, ...]
    sized: tuple[Sized, ...]
    judgement: Judgement
    unsure: tuple[str, ...] = ()
    harm: str = ""

    @property
    def suitable(self) -> bool:
        """Whether neither its attributes nor what it did rule it out."""
        return self.judgement.suitable and not self.harm

    @property
    def id(self) -> str:
        """Ids of the parts, joined by +."""
        return "+".join(part.id for part in self.parts)

    @property
    def score(self) -> float:
        """The score of 100; 100 when nothing was asked of it."""
        return 100.0 if self.judgement.score is None else self.judgement.score

    @property
    def available(self) -> bool:
        """Whether every part is in stock in the size, or the size is not known."""
        return all(one.availability in ("in-stock", "size-unknown") for one in self.sized)

    @property
    def against(self) -> tuple[Verdict, ...]:
        """What speaks against it: verdicts that are not fully satisfied, worst first."""
        unmet = [v for v in self.judgement.verdicts if v.satisfaction < 1]
        unmet.sort(key=lambda v: (not v.broken, -v.need.weight * (1 - v.satisfaction)))
        return tuple(unmet)


@dataclass(frozen=True, slots=True)
class Shortlist:
    """All candidates judged for one visit.

    Attributes
    ----------
    needs : what the pair should be.
    wanted : the length it must be made for.
    ranked : by group, suitable and available, best first.
    missing : by group, suitable but not in stock in the size, best first.
    excluded : by group, ruled out by a must, a never, or because it was worn and did harm.
    """

    needs: PairNeeds
    wanted: Wanted
    ranked: dict[Group, tuple[Candidate, ...]]
    missing: dict[Group, tuple[Candidate, ...]]
    excluded: dict[Group, tuple[Candidate, ...]]

    @property
    def empty(self) -> bool:
        """Whether nothing suitable is available at all."""
        return not any(self.ranked.values())


def shortlist(assessment: Assessment, book: Rulebook, catalogue: Catalogue) -> Shortlist:
    """Judge and rank the catalogue for an assessed visit.

    A stop is not looked at here: who calls this for a stopped visit must not show it.
    """
    fired = {
        side: [rule for rule, truth in foot.conclusions.truth.items() if truth]
        for side, foot in assessment.feet.items()
    }
    needs = needs_of(book, fired)
    wanted = wanted_length(assessment.visit, book.parameters)
    placed: dict[tuple[str, Group], list[Candidate]] = {}
    harm = harmful(assessment.visit, book.parameters)
    for candidate in _candidates(catalogue, needs, wanted, book):
        candidate = replace(candidate, harm=_harm_of(candidate, harm))
        placed.setdefault((_place(candidate), candidate.group), []).append(candidate)
    groups = [
        {group: ranked(placed.get((place, group), ())) for group in GROUPS}
        for place in ("ranked", "missing", "excluded")
    ]
    return Shortlist(needs, wanted, *groups)


def _harm_of(candidate: Candidate, harm: Mapping[str, str]) -> str:
    return "; ".join(dict.fromkeys(harm[p.id] for p in candidate.parts if p.id in harm))


def _place(candidate: Candidate) -> str:
    if not candidate.suitable:
        return "excluded"
    return "ranked" if candidate.available else "missing"


def ranked(candidates: Iterable[Candidate]) -> tuple[Candidate, ...]:
    """Best first: by score, then the cheaper, then by id, so that ties never change places."""
    return tuple(sorted(candidates, key=rank_key))


def rank_key(candidate: Candidate) -> tuple[float, float, str]:
    """What candidates are ordered by; a product without a price comes after one with."""
    prices = [part.product.price for part in candidate.parts]
    price = sum(p for p in prices if p is not None) if None not in prices else float("inf")
    return (-round(candidate.score, 6), price, candidate.id)


def _candidates(
    catalogue: Catalogue, needs: PairNeeds, wanted: Wanted, book: Rulebook
) -> Iterator[Candidate]:
    sized = {item.id: size_for(item, wanted, book.parameters) for item in catalogue.items}
    alone = {item.id: judge_alone(item, needs, book) for item in catalogue.items}
    for item in catalogue.items:
        judgement = joined(alone[item.id], judge_together((item,), needs, book))
        yield Candidate(item.product.kind, (item,), (sized[item.id],), judgement)
    for parts in _fitting_pairs(catalogue, alone):
        together = fit(*parts, book.parameters)
        if together.fits:
            judgements = [alone[part.id] for part in parts]
            judgement = joined(*judgements, judge_together(parts, needs, book))
            both = tuple(sized[part.id] for part in parts)
            yield Candidate("pair", parts, both, judgement, together.unsure)


def _fitting_pairs(
    catalogue: Catalogue, single: dict[str, Judgement]
) -> Iterator[tuple[Item, Item]]:
    """Shoes and insoles whose own attributes rule neither out."""
    for shoe in catalogue.shoes:
        if single[shoe.id].suitable:
            for insole in catalogue.insoles:
                if single[insole.id].suitable:
                    yield shoe, insole

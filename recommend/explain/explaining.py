"""The derivation of an outcome as a tree: product, need, rule, axis, measure, capture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from recommend.errors import RecommendError, nearest
from recommend.explain.node import Node
from recommend.explain.reasons import FootReasons
from recommend.match.judge import NeedVerdict, fit
from recommend.match.needs import Need, asked_words, level_words
from recommend.match.out import lifted_words
from recommend.match.outcome import Outcome
from recommend.match.shortlist import GROUPS, Candidate, Group, Shortlist
from recommend.match.telling import unplaced_words
from recommend.measure.model import SIDES, Side
from recommend.rulebook.terms import COMPARISONS
from recommend.rulebook.vocabulary import FOOT_TYPE

_VISIBLE = 0.05  # points of 100; less is not seen in one decimal

GROUP_TITLES: dict[Group, str] = {"shoe": "shoes", "insole": "insoles", "pair": "shoe with insole"}


@dataclass(frozen=True)
class Explanation:
    """Explains one outcome, part by part."""

    outcome: Outcome

    @cached_property
    def feet(self) -> dict[Side, FootReasons]:
        """What the rulebook says of each foot, explained."""
        feet = self.outcome.assessment.feet
        return {side: FootReasons(self.outcome.book, feet[side]) for side in SIDES}

    def of(self, product: str | None, why_not: str | None, rule: str | None) -> Node:
        """The derivation of what is named, of the whole where nothing is."""
        if product is not None:
            return self.product(product)
        if why_not is not None:
            return self.why_not(why_not)
        return self.whole() if rule is None else self.rule(rule)

    def whole(self) -> Node:
        """Notes, foot types, and the first product of each group laid open."""
        children = [*self._notes(), *(self.feet[side].axis(FOOT_TYPE) for side in SIDES)]
        ranked = self.outcome.shortlist
        if ranked is None:
            children.append(Node("remark", "the shortlist was withheld: a stop stands above"))
        else:
            children += [self._group(ranked, group) for group in GROUPS]
        reference = self.outcome.assessment.visit.reference
        return Node("shortlist", f"outcome of visit {reference}", children=tuple(children))

    def rule(self, rule_id: str) -> Node:
        """Why a rule fired, did not fire, or could not be decided, on each foot.

        Raises
        ------
        InputError
            If there is no such rule, with the nearest spelling.
        """
        children = tuple(self.feet[side].rule(rule_id) for side in SIDES)
        return Node("shortlist", f"rule {rule_id} at this visit", children=children)

    def product(self, product_id: str) -> Node:
        """Why a product stands where it stands: its place, and every need laid open.

        Raises
        ------
        RecommendError
            If the catalogue has no such product, with the nearest spelling.
        """
        candidate = self.candidate(product_id)
        verdicts = sorted(candidate.judgement.verdicts, key=lambda verdict: not verdict.broken)
        why = [Node("remark", line) for line in self._why_out(candidate)]
        children = [*why, *(self._verdict(verdict, open_=True) for verdict in verdicts)]
        return Node("product", self._line(candidate), id=candidate.id, children=tuple(children))

    def why_not(self, product_id: str) -> Node:
        """Why a product is not listed, or ranks lower: need by need, against the first one.

        Raises
        ------
        RecommendError
            If the catalogue has no such product, with the nearest spelling.
        """
        ranked = self._ranked()
        pair = self._pair_that_cannot_be(product_id)
        if pair is not None:
            return pair
        candidate = self.candidate(product_id)
        first = next(iter(ranked.ranked[candidate.group]), None)
        children = [Node("remark", line) for line in self._standing(candidate, first)]
        if first is not None and first.id != candidate.id:
            children += self._against(candidate, first)
        else:
            children += [self._verdict(v, open_=v.broken) for v in candidate.judgement.verdicts]
        return Node("product", self._line(candidate), id=candidate.id, children=tuple(children))

    def candidate(self, product_id: str) -> Candidate:
        """The judged product or pair called `product_id`.

        Raises
        ------
        RecommendError
            If there is none, with the nearest spelling.
        """
        everything = self._everything(self._ranked())
        if product_id not in everything:
            hint = nearest(product_id, everything)
            raise RecommendError(
                f"no product or pair that was judged is called `{product_id}`; "
                f"{hint or 'write the id of a product, or of a shoe and an insole as SHOE+INSOLE'}"
            )
        return everything[product_id]

    def _ranked(self) -> Shortlist:
        if self.outcome.shortlist is None:
            raise RecommendError(
                "no product was judged: a stop withholds the shortlist; explain without a product"
            )
        return self.outcome.shortlist

    def _everything(self, ranked: Shortlist) -> dict[str, Candidate]:
        tables = (
            ranked.ranked, ranked.missing, ranked.excluded, ranked.without_place, ranked.will_not_do
        )  # fmt: skip
        return {c.id: c for table in tables for group in GROUPS for c in table[group]}

    def _notes(self) -> Iterator[Node]:
        for note in self.outcome.assessment.notes:
            feet = tuple(self.feet[side].rule(note.rule) for side in note.sides)
            text = f"{note.level.upper()} ({', '.join(note.sides)}): {note.say}"
            yield Node("note", text, id=note.rule, children=feet)

    def _group(self, ranked: Shortlist, group: Group) -> Node:
        shown = ranked.ranked[group][: self.outcome.book.parameters.rank.shown]
        children = []
        for candidate in shown:
            verdicts = candidate.judgement.verdicts if candidate is shown[0] else ()
            below = tuple(self._verdict(verdict, open_=True) for verdict in verdicts)
            children.append(Node("product", self._line(candidate), id=candidate.id, children=below))
        waiting = ranked.without_place[group]
        if waiting:
            text = f"nothing has a place yet: {unplaced_words(ranked)}; by name these would suit"
            children.append(Node("remark", text))
            children += [Node("product", self._line(one), id=one.id) for one in waiting]
        if not children:
            children.append(Node("remark", "nothing suitable is in stock in this size"))
        return Node("list", GROUP_TITLES[group], children=tuple(children))

    def _line(self, candidate: Candidate) -> str:
        place = self._place(candidate)
        score = "" if place.startswith("ruled out") else f", {candidate.score:.1f} of 100"
        return f"{place}: {candidate.title} ({candidate.id}){score}"

    def _place(self, candidate: Candidate) -> str:
        ranked = self._ranked()
        listed = ranked.ranked[candidate.group]
        if candidate in listed:
            return f"rank {listed.index(candidate) + 1} of {len(listed)}"
        if candidate.harm or candidate.refused:
            return f"ruled out ({candidate.harm or candidate.refused})"
        if candidate in ranked.without_place[candidate.group]:
            return "would suit, without a place yet"
        if candidate in ranked.missing[candidate.group]:
            return "suitable, not in stock"
        return "ruled out"

    def _verdict(self, verdict: NeedVerdict, *, open_: bool) -> Node:
        """One need and how the product stands to it; with `open_`, the rules it comes from."""
        need = verdict.need
        text = f"{self.need_line(need)}: {self._standing_to(verdict)}"
        facts = {
            "level": verdict.level,
            "target": need.target,
            "shortfall": verdict.shortfall,
            "satisfaction": verdict.satisfaction,
            "weight": need.weight,
        }
        rules = self._rules(need) if open_ else ()
        return Node("need", text, not verdict.broken, need.attribute, facts, rules)

    def _rules(self, need: Need) -> tuple[Node, ...]:
        return tuple(
            self.feet[side].rule(rule)
            for rule in need.rules
            for side in need.sides
            if self.outcome.assessment.feet[side].conclusions.truth[rule]
        )

    def need_line(self, need: Need) -> str:
        """A need in words, with its strength and weight."""
        title = self.outcome.book.attributes[need.attribute].title
        weight = f", weight {need.weight:g}" if need.weight else ""
        return f"{asked_words(need, self.outcome.book)} ({title}{weight})"

    def _standing_to(self, verdict: NeedVerdict) -> str:
        if verdict.level is None:
            return "not stated of this product" + (", rules it out" if verdict.broken else "")
        has = f"it has {self._level(verdict)}"
        if verdict.broken:
            return f"{has}, which rules it out"
        if verdict.need.strength == "never":
            return f"{has}, which is allowed"
        if verdict.need.strength == "must" or verdict.satisfaction == 1:
            return f"{has}, met"
        return f"{has}, {verdict.satisfaction:.0%} met"

    def _level(self, verdict: NeedVerdict) -> str:
        assert verdict.level is not None
        return level_words(verdict.need.attribute, verdict.level, self.outcome.book)

    def _why_out(self, candidate: Candidate) -> Iterator[str]:
        """What keeps it from being listed, the rules first; nothing where it is listed."""
        book, ranked = self.outcome.book, self._ranked()
        if candidate in ranked.ranked[candidate.group]:
            return  # the customer's own shoes have a place though nothing is known of them
        broken = [verdict for verdict in candidate.judgement.verdicts if verdict.broken]
        if candidate in ranked.will_not_do[candidate.group] and not _described(candidate):
            yield f"it will not do: {self._asks_more(candidate)}"
            return
        for verdict in broken:
            reasons = dict.fromkeys(verdict.need.because)
            because = f", because {next(iter(reasons))}" if reasons else ""
            feet = " and ".join(verdict.need.sides)
            yield (
                f"ruled out by: {asked_words(verdict.need, book)} ({feet}); "
                f"{self._standing_to(verdict)}{because}"
            )
        yield from (f"out: {why}" for why in (candidate.harm, candidate.refused) if why)
        if ranked.unplaced and candidate in ranked.without_place[candidate.group]:
            yield f"it would suit; nothing has a place yet: {', '.join(ranked.unplaced)}"

    def _asks_more(self, candidate: Candidate) -> str:
        """Why nothing of the shop, or nothing at all, is not enough."""
        kinds = {part.product.kind for part in candidate.parts if part.offered != "shop"}
        asked = [
            asked_words(need, self.outcome.book)
            for need in self._ranked().needs.needs
            if need.attribute.partition(".")[0] in kinds
            and need.strength != "never"
            and COMPARISONS[need.comparison].lower
            and self.outcome.book.attributes[need.attribute].about == "function"
        ]
        mend = "; describe them under `own-shoes` to have them judged" if "shoe" in kinds else ""
        return f"the feet ask for {', '.join(asked[:3]) or 'more'}{mend}"

    def _standing(self, candidate: Candidate, first: Candidate | None) -> Iterator[str]:
        """Why it is where it is, in a line or two."""
        yield from self._why_out(candidate)
        yield from self._after_harm(candidate)
        for part, sized in zip(candidate.parts, candidate.sized, strict=True):
            if sized.availability in ("out-of-stock", "not-made"):
                yield f"it is not listed: {part.id} is {sized.availability} in this size"
        ranked = self._ranked()
        if candidate in ranked.without_place[candidate.group]:
            yield f"it would suit, and nothing has a place yet: {unplaced_words(ranked)}"
        elif first is None:
            yield "nothing of its kind is listed"
        elif first.id == candidate.id:
            yield "it is listed, and first"
        elif candidate in self._ranked().ranked[candidate.group]:
            yield f"it is listed, below {self._line(first)}"
            yield from self._why_lower(first, candidate)

    def _after_harm(self, candidate: Candidate) -> Iterator[str]:
        """What it did to these feet before, or what does as much, and who lifted it."""
        for part in candidate.parts:
            if part.id in (lifted := lifted_words(self.outcome.assessment.visit)):
                yield f"{part.id}: {lifted[part.id]}"
        if candidate.harm:
            words = f"recommend visit lift {self.outcome.assessment.visit.reference or 'VISIT'}"
            yield f"it did harm, and stays out until a fitter lifts it with a reason: {words}"
        if candidate.close:
            yield f"it stands back: it {candidate.close}"

    def _why_lower(self, first: Candidate, candidate: Candidate) -> Iterator[str]:
        """What put it below the first: noise, fit, function, or among equals the price."""
        if candidate.back and not first.back:
            yield "it stands back: repeated readings would often rule it out or overtake it"
        elif candidate.tier > first.tier:
            yield f"it fits less well: {candidate.fit:g} against {first.fit:g} (weights of wishes)"
        elif candidate.fit + candidate.function > first.fit + first.function:
            yield (
                "it fits less well, meets less of what is asked, or does more that nobody asked "
                f"for: {candidate.fit + candidate.function:g} against "
                f"{first.fit + first.function:g}, in weights of wishes"
            )
        elif candidate.alike == first.alike:
            yield (
                "both serve alike; among equals the cheaper is named first: "
                f"{first.id} {self._price(first)}, {candidate.id} {self._price(candidate)}"
            )
        else:
            yield "as much speaks against both, on other wishes; the stronger wish decides"

    def _price(self, candidate: Candidate) -> str:
        if candidate.price is None:
            return "price not stated"
        return f"{candidate.price:.2f} {self.outcome.catalogue.currency}".rstrip()

    def _against(self, candidate: Candidate, first: Candidate) -> Iterator[Node]:
        """Need by need what it has and what the first one has; what rules it out comes first."""
        theirs = {verdict.need: verdict for verdict in first.judgement.verdicts}
        total = sum(verdict.need.weight for verdict in candidate.judgement.verdicts) or 1.0
        rows, alike = [], []
        for verdict in candidate.judgement.verdicts:
            other = theirs.get(verdict.need)
            lost = (other.satisfaction if other else 0.0) - verdict.satisfaction
            points = 100 * verdict.need.weight * lost / total
            if verdict.broken or abs(points) >= _VISIBLE:
                rows.append((not verdict.broken, -points, self._contrast(verdict, other, points)))
            else:
                asked = asked_words(verdict.need, self.outcome.book)
                alike.append(Node("remark", f"{asked}: {self._standing_to(verdict)}"))
        rows.sort(key=lambda row: row[:2])
        yield from (node for _, _, node in rows)
        if alike:
            yield Node("remark", "no difference in points:", children=tuple(alike))

    def _contrast(self, verdict: NeedVerdict, other: NeedVerdict | None, points: float) -> Node:
        node = self._verdict(verdict, open_=False)
        if other is None or other.level is None:
            has = "of the first it is not stated"
        else:
            has = f"the first has {self._level(other)}"
        if abs(points) >= _VISIBLE:
            has += f": {abs(points):.1f} points {'lost' if points > 0 else 'gained'}"
        reasons = tuple(
            Node("remark", f"asked by rule {rule} because {because}")
            for rule, because in zip(verdict.need.rules, verdict.need.because, strict=False)
        )
        return replace(node, text=f"{node.text}; {has}", children=reasons)

    def _pair_that_cannot_be(self, product_id: str) -> Node | None:
        """Why a shoe and an insole were not judged as a pair; None if they were, or are not two."""
        ranked, names = self._ranked(), product_id.split("+")
        if len(names) != 2 or product_id in self._everything(ranked):
            return None
        first, second = (self.outcome.catalogue.item(name) for name in names)
        if (first.product.kind, second.product.kind) != ("shoe", "insole"):
            raise RecommendError(f"`{product_id}` is not SHOE+INSOLE; write the shoe first")
        misfit = fit(first, second, self.outcome.book.parameters).against
        children = [Node("remark", f"they do not fit: {why}") for why in misfit]
        for name in names:
            alone = self.candidate(name)
            if not alone.judgement.suitable:
                broken = [v for v in alone.judgement.verdicts if v.broken]
                below = tuple(self._verdict(v, open_=True) for v in broken)
                children.append(Node("product", self._line(alone), id=name, children=below))
        text = f"not judged as a pair: {product_id}"
        return Node("product", text, id=product_id, children=tuple(children))


def _described(candidate: Candidate) -> bool:
    """Whether something is known of every part that is not of the shop."""
    return all(part.levels for part in candidate.parts if part.offered == "own") and not any(
        part.offered == "none" for part in candidate.parts
    )

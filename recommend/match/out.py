"""What is out for one customer beside the rules: harm, wishes, weight; and what they have.

What was worn or tried on and did harm is out, whatever its attributes: a finding about one pair on
these feet, not about a kind of product. A wish is told by a person, not by a foot. What is out for
this customer is said with its reason.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import field
from typing import TYPE_CHECKING

from recommend.catalogue.loading import Item, attribute_of, level_of
from recommend.catalogue.models import Kind, Product
from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, nearest
from recommend.match.needs import level_words
from recommend.match.sizes import worn_gap
from recommend.rulebook.book import Rulebook
from recommend.visit.models import OwnInsole, OwnShoes, Visit

if TYPE_CHECKING:
    from recommend.match.shortlist import Candidate
from collections.abc import Mapping

from recommend.measure.model import SIDES
from recommend.parameters import Parameters
from recommend.visit.models import FollowUp, FoundHow, Pain, TrialStep
from recommend.visit.pain import PainSince, pain_since

# What makes a product as much as another: all of these as high or higher.
_AS_MUCH = {
    "insole": ("insole.wedge", "insole.arch-firmness"),
    "shoe": ("shoe.wedge", "shoe.stability"),
}


def harmful(visit: Visit, parameters: Parameters) -> dict[str, str]:
    """Products that did harm to these feet, each with what they did.

    Of a shoe and an insole that were worn together it is not known which one did it, so both are
    out. What did harm before stays out, unless a fitter lifted it with a reason; a lift is of what
    was known then, and what does harm after that counts anew. `parameters` gives
    ``trial.comfort-poor``, the comfort at or below which wear hurts.
    """
    lifted = {(one.product, one.found) for one in visit.out if one.is_lifted}
    return {
        product: words
        for product, how, words in findings(visit, parameters)
        if (product, how) not in lifted
    }


def findings(visit: Visit, parameters: Parameters) -> Iterator[tuple[str, FoundHow, str]]:
    """What did harm, how it was found and what it did, lifted or not; the newest of one last."""
    poor = parameters.trial.comfort_poor
    for one in visit.out:
        if one.found == "before":
            yield one.product, one.found, one.because
    if visit.follow_up is not None and (what := _since(visit, visit.follow_up, poor)):
        words = f"worn since the last visit, and then: {', '.join(what)}"
        for product in _products(visit.follow_up.shoe, visit.follow_up.insole):
            yield product, "worn", words
    for step in visit.trials:
        if regions := _sore(step, poor):
            words = f"tried on, and hurt: {', '.join(regions)}"
            for product in _products(step.shoe, step.insole):
                yield product, "tried", words


def lifted_words(visit: Visit) -> dict[str, str]:
    """By product that a fitter lifted: what it had done, by whom it was lifted, when and why."""
    return {
        one.product: f"it had done harm ({one.because}), and fitter {one.lifted_by or 'not named'} "
        f"lifted it{f' on {one.lifted_on}' if one.lifted_on else ''}: {one.lifted or 'forgotten'}"
        for one in visit.out
        if one.is_lifted
    }


def handed_on(earlier: Visit, parameters: Parameters) -> list[dict[str, str]]:
    """What the next visit of this customer begins with under ``out``: it stays out until lifted."""
    harm = harmful(earlier, parameters)
    return [{"product": product, "because": words} for product, words in sorted(harm.items())]


def close_to_harm(items: Iterable[Item], harm: Mapping[str, str]) -> dict[str, str]:
    """Products that do as much as one that did harm, or more, and so stand back; with why.

    Of an insole wedge and firmness count, of a shoe wedge and hold. One that did nothing of this
    has nothing close to it.
    """
    listed = list(items)
    found: dict[str, str] = {}
    for worn in (item for item in listed if item.id in harm):
        names = _AS_MUCH[worn.product.kind]
        levels = [worn.levels.get(name) for name in names]
        if None in levels or not any(levels):
            continue
        for item in listed:
            if item.product.kind == worn.product.kind and item.id not in harm:
                own = [item.levels.get(name) for name in names]
                if all(o is not None and o >= (w or 0.0) for o, w in zip(own, levels, strict=True)):
                    found[item.id] = f"does as much as {worn.product.title}, which hurt"
    return found


def _since(visit: Visit, again: FollowUp, poor: float) -> list[str]:
    """What the time of wear brought, in words."""
    answers, pain = visit.answers, pain_since(visit)
    new = [f"{one.site} {one.side}" for one in pain or () if one.new]
    told = {
        "new pain": answers.get("new-pain") == "yes" and not new,
        f"new pain ({', '.join(new)})": bool(new),
        "skin trouble": answers.get("skin-trouble") == "yes",
        "left off because it hurt": answers.get("left-off-for-pain") == "yes",
        "numbness or weakness": answers.get("numbness-or-weakness") == "yes",
        "more pain": any(_grew(visit, again, pain)),
    }
    words = [name for name, true in told.items() if true]
    return [*words, *dict.fromkeys(_uncomfortable(again, poor))]


def _uncomfortable(again: FollowUp, poor: float) -> Iterator[str]:
    """Regions that were poor, of one foot or of both alike."""
    left, right = again.comfort_of("left"), again.comfort_of("right")
    for side, own, other in (("left", left, right), ("right", right, left)):
        for region, value in own.items():
            if value <= poor:
                foot = "" if other.get(region) == value else f"{side} "
                yield f"comfort {foot}{region} {value:g} of 10"


def _grew(visit: Visit, again: FollowUp, pain: tuple[PainSince, ...] | None) -> Iterator[bool]:
    """Whether pain grew, site by site; without sites, whether the worst of a side did."""
    if pain is not None:
        yield from (one.change is not None and one.change > 0 for one in pain)
        return
    for side, before in (("left", again.pain_before.left), ("right", again.pain_before.right)):
        now = _worst(visit.pain or (), side)
        yield before is not None and now is not None and now > before


def _worst(pains: Iterable[Pain], side: str) -> int | None:
    return max((p.score for p in pains if p.side in (side, "both") and p.score is not None),
               default=None)  # fmt: skip


def _sore(step: TrialStep, poor: float) -> list[str]:
    return [
        f"{side} {region} {value:g} of 10"
        for side in SIDES
        for region, value in step.feet.of(side).comfort.items()
        if value <= poor
    ]


def _products(*worn: str | None) -> list[str]:
    return [one for one in worn if one not in (None, OWN)]


OWN_SHOES, OWN_INSOLE, NO_INSOLE = "own-shoes", "own-insole", "no-insole"
LOAD_LIMIT = "load-limit"  # attribute: the heaviest person the maker makes it for


@dataclass(frozen=True, slots=True)
class Out:
    """What is out for one customer, whatever is needed.

    Attributes
    ----------
    why : by product id, the reason.
    price_limit : most that everything together may cost; None where none was told.
    close : by product id, why it stands back although it is not out.
    """

    why: dict[str, str]
    price_limit: float | None = None
    close: dict[str, str] = field(default_factory=dict)


def out_for(visit: Visit, items: Iterable[Item], book: Rulebook) -> Out:
    """What did harm, what is not wanted or not made for as much weight, own shoes that are done.

    Raises
    ------
    InputError
        If a wish names a product or an attribute that is not known.
    """
    items = list(items)
    why = dict(_own_worn(visit, book)) | dict(_too_light(visit, items))
    why |= dict(_refused(visit, items, book))
    harm = harmful(visit, book.parameters)
    limit = visit.wishes.price_limit if visit.wishes else None
    return Out(why | harm, limit, close_to_harm(items, harm))


def _refused(visit: Visit, items: list[Item], book: Rulebook) -> Iterator[tuple[str, str]]:
    wishes = visit.wishes
    if wishes is None:
        return
    place = Place(f"visit {visit.reference}, wishes.would-not-wear")
    for name in wishes.would_not_wear.products:
        if name not in {item.id for item in items}:
            mend = nearest(name, [item.id for item in items])
            raise InputError(place, f"no product is called `{name}`", mend=mend)
        yield name, "the customer would not wear it"
    for attribute, words in wishes.would_not_wear.attributes.items():
        if attribute not in book.attributes:
            mend = nearest(attribute, book.attributes)
            raise InputError(place, f"no attribute is called `{attribute}`", mend=mend)
        levels = {level_of(attribute, word, book.attributes[attribute], place) for word in words}
        for item in items:
            level = item.levels.get(attribute)
            if level in levels and level is not None:
                title = book.attributes[attribute].short
                words_ = level_words(attribute, level, book)
                yield item.id, f"the customer would not wear {title} {words_}"


def _too_light(visit: Visit, items: list[Item]) -> Iterator[tuple[str, str]]:
    """What its maker makes for people who weigh less than this customer."""
    mass = visit.body_mass_kg
    for item in items if mass is not None else ():
        limit = item.levels.get(f"{item.product.kind}.{LOAD_LIMIT}")
        if mass is not None and limit is not None and limit < mass:
            yield item.id, f"made for people of up to {limit:g} kg, and this one has {mass:g} kg"


def _own_worn(visit: Visit, book: Rulebook) -> Iterator[tuple[str, str]]:
    """Why the shoes that the customer has will not do, whatever they are like."""
    own, parameters = visit.own_shoes, book.parameters
    if own is not None and own.wear == "worn-out":
        yield OWN_SHOES, "they are worn out"
    oldest = parameters.rank.own_oldest
    if own is not None and own.months is not None and own.months > oldest:
        yield OWN_SHOES, f"they are older than {oldest:g} months"
    gap = worn_gap(visit, parameters)
    if gap is not None:
        words = "longer" if gap > 0 else "shorter"
        yield OWN_SHOES, f"the longer foot is {abs(gap):.0f} mm {words} than they are made for"


def own_items(visit: Visit, book: Rulebook) -> tuple[Item, ...]:
    """The customer's own shoes, and the insole they keep, to be judged; what was described of it.

    Raises
    ------
    InputError
        If one is described by an attribute or a level that is not known.
    """
    found = []
    if visit.own_shoes is not None and visit.own_shoes.attributes:
        found.append(_own_item("shoe", visit.own_shoes, "own-shoes", visit, book))
    if visit.keeps is not None and visit.keeps.insole is not None:
        found.append(_own_item("insole", visit.keeps.insole, "keeps.insole", visit, book))
    return tuple(found)


def _own_item(
    kind: Kind, own: OwnShoes | OwnInsole, path: str, visit: Visit, book: Rulebook
) -> Item:
    place = Place(f"visit {visit.reference}, {path}.attributes")
    levels = {}
    for name, stated in own.attributes.items():
        full, definition = f"{kind}.{name}", attribute_of(kind, name, book.attributes, place)
        levels[full] = level_of(full, stated, definition, place)
    called = {"shoe": (OWN_SHOES, "your own shoes"), "insole": (OWN_INSOLE, "your own insole")}
    name, title = called[kind]
    return Item(not_bought(kind, name, own.title or title), levels, {}, "own")


def not_bought(kind: Kind, name: str, title: str) -> Product:
    """What a customer has, or does without: it costs nothing."""
    # Nobody wrote it, so there is nothing to check, and no check need be made ready.
    return Product.model_construct(
        id=name, kind=kind, title=title, price=0.0, attributes={}, stock={"100": 0}
    )


OWN = "own"  # the shoe the customer came in: no product of the catalogue
_AS_WORN = {OWN_SHOES: OWN, OWN_INSOLE: OWN, NO_INSOLE: ""}


def step_id(candidate: str) -> str:
    """What a candidate of the shortlist is called as a step; empty for no insole alone.

    The customer's own shoes are ``own``, and a shoe without an insole is the shoe.
    """
    return "+".join(filter(None, (_AS_WORN.get(part, part) for part in candidate.split("+"))))


def worn_id(candidate: Candidate) -> str:
    """Its id as a step: an insole is tried in the customer's own shoe; empty for no insole."""
    name = step_id(candidate.id)
    return f"{OWN}+{name}" if candidate.group == "insole" and name else name

"""What the customer wants, has and tries: a price limit, what is not worn, what is theirs.

A wish is told by a person, not by a foot, so it stands beside the rules: what is not wanted is out
for this customer, and the reason is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import field
from typing import TYPE_CHECKING

from recommend.catalogue.loading import Item, level_of
from recommend.catalogue.models import Kind, Product
from recommend.dataclass import dataclass
from recommend.errors import InputError, Place, nearest
from recommend.match.harm import close_to_harm, harmful
from recommend.match.needs import level_words
from recommend.match.sizes import worn_gap
from recommend.rulebook.book import Rulebook
from recommend.visit.models import OwnInsole, OwnShoes, Visit

if TYPE_CHECKING:
    from recommend.match.shortlist import Candidate

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
        full = f"{kind}.{name}"
        if full not in book.attributes:
            start = f"{kind}."
            known = [one.removeprefix(start) for one in book.attributes if one.startswith(start)]
            raise InputError(
                place, f"`{name}` is not an attribute of a {kind}".replace("a i", "an i"),
                ", ".join(known), nearest(name, known),
            )  # fmt: skip
        levels[full] = level_of(full, stated, book.attributes[full], place)
    called = {"shoe": (OWN_SHOES, "your own shoes"), "insole": (OWN_INSOLE, "your own insole")}
    name, title = called[kind]
    product = Product(
        id=name, kind=kind, title=own.title or title, price=0, attributes={}, stock={"100": 0}
    )
    return Item(product, levels, {}, "own")


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

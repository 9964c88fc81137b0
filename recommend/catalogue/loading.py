"""Reading a catalogue folder against the attributes that a rulebook knows."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from recommend.catalogue.models import CatalogueFile, Product
from recommend.errors import InputError, Place, nearest
from recommend.reading import Document, read_document, validate
from recommend.reading.document import Loc
from recommend.rulebook.models import AttributeDef


@dataclass(frozen=True, slots=True)
class Item:
    """A product with its attributes as numbers: a value in its unit, or a step of its scale.

    `levels` maps ``shoe.width`` and the like to a number; an attribute not stated is absent.
    `stock` maps Mondopoint length in mm to the number in stock.
    """

    product: Product
    levels: Mapping[str, float]
    stock: Mapping[float, int]

    @property
    def id(self) -> str:
        """The product's id."""
        return self.product.id


@dataclass(frozen=True)
class Catalogue:
    """All products of one or more folders; `digest` is the SHA-256 of the files."""

    folder: str
    digest: str
    currency: str
    items: tuple[Item, ...]

    @cached_property
    def shoes(self) -> tuple[Item, ...]:
        """The shoes, by id."""
        return tuple(item for item in self.items if item.product.kind == "shoe")

    @cached_property
    def insoles(self) -> tuple[Item, ...]:
        """The insoles, by id."""
        return tuple(item for item in self.items if item.product.kind == "insole")

    @cached_property
    def by_id(self) -> dict[str, Item]:
        """Items by product id."""
        return {item.id: item for item in self.items}

    def item(self, product_id: str) -> Item:
        """The product called `product_id`.

        Raises
        ------
        InputError
            If there is none, with the nearest spelling.
        """
        if product_id not in self.by_id:
            raise InputError(
                Place(self.folder),
                f"no product is called `{product_id}`",
                mend=nearest(product_id, self.by_id),
            )
        return self.by_id[product_id]


def load_catalogue(folder: Path | str, attributes: Mapping[str, AttributeDef]) -> Catalogue:
    """Read every ``*.yaml`` of `folder` (its ``products`` folder when it has one).

    Raises
    ------
    InputError
        For the first thing that does not fit: an unknown attribute, a value outside its range
        or scale, a duplicate id.
    """
    folder = Path(folder)
    inner = folder / "products" if (folder / "products").is_dir() else folder
    files = sorted(inner.glob("*.yaml"))
    if not files:
        raise InputError(Place(str(folder)), "no product files (*.yaml) are here")
    running, currency = hashlib.sha256(), ""
    seen: dict[str, Place] = {}
    items: list[Item] = []
    for file in files:
        document = read_document(file)
        running.update(f"{file.name}\n{document.text}".encode())
        parsed = validate(CatalogueFile, document)
        if currency and parsed.currency not in ("", currency):
            raise InputError(
                document.place(("currency",)),
                f"the currency is `{parsed.currency}`, in another file it is `{currency}`",
                "one currency for a catalogue",
            )
        currency = parsed.currency or currency
        for index, product in enumerate(parsed.products):
            loc: Loc = ("products", index)
            if product.id in seen:
                raise InputError(
                    document.place((*loc, "id")),
                    f"the id `{product.id}` stands twice (first at {seen[product.id]})",
                    "each id once",
                )
            seen[product.id] = document.place((*loc, "id"))
            items.append(as_item(product, attributes, document, loc))
    items.sort(key=lambda item: item.id)
    return Catalogue(str(folder), running.hexdigest(), currency, tuple(items))


def as_item(
    product: Product, attributes: Mapping[str, AttributeDef], at: Document, loc: Loc
) -> Item:
    """Check a product's attributes and turn them into numbers.

    Raises
    ------
    InputError
        For an attribute that is not known, or a value outside its range or scale.
    """
    levels = {}
    for name, value in product.attributes.items():
        where: Loc = (*loc, "attributes", name)
        full = f"{product.kind}.{name}"
        if full not in attributes:
            known = [a.partition(".")[2] for a in attributes if a.startswith(product.kind)]
            raise InputError(
                at.place(where, key=True),
                f"`{name}` is not an attribute of a {product.kind}",
                ", ".join(sorted(known)),
                nearest(name, known),
            )
        levels[full] = level_of(full, value, attributes[full], at.place(where))
    stock = {float(size): count for size, count in product.stock.items()}
    return Item(product, levels, stock)


def level_of(name: str, value: float | str, attribute: AttributeDef, place: Place) -> float:
    """One attribute's value as a number: in its unit, or the step of its scale.

    Raises
    ------
    InputError
        If the value is not on the scale or outside the range.
    """
    if attribute.scale:
        steps = list(attribute.scale)
        if str(value) not in steps:
            hint = nearest(str(value), steps)
            raise InputError(place, f"`{name}` is `{value}`", ", ".join(steps), hint)
        return float(steps.index(str(value)))
    low, high = attribute.low, attribute.high
    if isinstance(value, str):
        raise InputError(
            place,
            f"`{name}` is the text `{value}`",
            f"a number, {attribute.unit}",
            "drop the quotes",
        )
    if low is None or high is None or not low <= value <= high:
        raise InputError(
            place, f"`{name}` is `{value}`", f"a number from {low:g} to {high:g} {attribute.unit}"
        )
    return float(value)
